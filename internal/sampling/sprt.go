package sampling

import (
	"math"

	"leafturn/internal/estimate"
)

// SPRT is Wald's sequential test between a safe level (H0) and a level that
// wants action (H1). The decision lines on the running total T after n units
// are Slope·n + HLower and Slope·n + HUpper.
//
// It is not valid when k differs from the planned k or when sampling begins
// at a hot spot: take units in random order over the whole bed, and set a
// least number of units (5 or more).
//
// Source: Wald 1947, Sequential Analysis; the negative binomial form as in
// Oakland 1950, Biometrics 6:59-67, and Waters 1955, Forest Science 1:68-79
// (all from memory).
type SPRT struct {
	Slope, HLower, HUpper float64

	g           float64
	m0, m1, k   float64 // binomial: shares, k = 0
	alpha, beta float64
}

// NewPoisson plans for Poisson counts with means m0 < m1 per unit. alpha is
// the risk of acting at m0, beta of holding at m1; both in (0, 0.5).
// Errors: estimate.ErrDomain.
func NewPoisson(m0, m1, alpha, beta float64) (SPRT, error) {
	return NewNegBin(m0, m1, math.Inf(1), alpha, beta)
}

// NewNegBin is NewPoisson for negative binomial counts with a known k.
func NewNegBin(m0, m1, k, alpha, beta float64) (SPRT, error) {
	if !pos(m0, m1) || m0 >= m1 || !(k > 0) {
		return SPRT{}, bad("means %v and %v, k %v", m0, m1, k)
	}
	p := SPRT{m0: m0, m1: m1, k: k}
	if math.IsInf(k, 1) {
		p.g = math.Log(m1 / m0)
		p.Slope = (m1 - m0) / p.g
	} else {
		l := math.Log1p((m1 - m0) / (k + m0)) // ln((k+m1)/(k+m0))
		p.g = math.Log(m1/m0) - l
		p.Slope = k * l / p.g
	}
	return p.lines(alpha, beta)
}

// NewBinomial plans for the number of units infested, with shares p0 < p1.
func NewBinomial(p0, p1, alpha, beta float64) (SPRT, error) {
	if !(p0 > 0 && p0 < p1 && p1 < 1) {
		return SPRT{}, bad("shares %v and %v", p0, p1)
	}
	p := SPRT{m0: p0, m1: p1}
	l := math.Log1p(-p0) - math.Log1p(-p1)
	p.g = math.Log(p1/p0) + l
	p.Slope = l / p.g
	return p.lines(alpha, beta)
}

func (p SPRT) lines(alpha, beta float64) (SPRT, error) {
	if !(alpha > 0 && alpha < 0.5 && beta > 0 && beta < 0.5) {
		return SPRT{}, bad("risks %v and %v", alpha, beta)
	}
	p.alpha, p.beta = alpha, beta
	p.HLower = math.Log(beta/(1-alpha)) / p.g
	p.HUpper = math.Log((1-beta)/alpha) / p.g
	if !pos(p.Slope, -p.HLower, p.HUpper, p.g) {
		return SPRT{}, bad("levels too close together or too far apart: %v and %v", p.m0, p.m1)
	}
	return p, nil
}

// HoldAt returns the largest running total that holds after n units, and
// false when no total can hold yet.
func (p SPRT) HoldAt(n int) (int, bool) {
	t := math.Floor(p.Slope*float64(n) + p.HLower)
	return whole(t), t >= 0
}

// ActAt returns the smallest running total that acts after n units.
func (p SPRT) ActAt(n int) int {
	return whole(math.Ceil(p.Slope*float64(n) + p.HUpper))
}

// FirstHold returns the smallest n at which a total of 0 can hold, at most
// math.MaxInt32.
func (p SPRT) FirstHold() int { return whole(math.Ceil(-p.HLower/p.Slope - 1e-12)) }

// Point is one point of the operating characteristic.
type Point struct {
	Level float64 // true mean, or share for a binomial plan
	Hold  float64 // chance to hold
	Units float64 // mean number of units
}

// Wald returns Wald's approximate operating characteristic at the parameter
// h: h = 1 is the safe level (Hold = 1-alpha), h = -1 the action level (Hold
// = beta). It assumes no largest number of units. h = 0, or so near to it or
// so far off that nothing can be computed, is ErrDomain.
func (p SPRT) Wald(h float64) (Point, error) {
	if h == 0 || math.IsNaN(h) || math.Abs(h) > 200 || !(p.g > 0) {
		return Point{}, bad("h %v", h)
	}
	w := p.wald(h)
	if _, err := finite(w.Level + w.Hold + w.Units); err != nil {
		return Point{}, bad("h %v", h)
	}
	return w, nil
}

func (p SPRT) wald(h float64) Point {
	la, lb := h*math.Log((1-p.beta)/p.alpha), h*math.Log(p.beta/(1-p.alpha))
	hold := math.Expm1(la) / (math.Exp(la) - math.Exp(lb))
	if la > 700 { // the same, divided by what is too large for a number
		hold = 1 / (1 - math.Exp(lb-la))
	}
	var m float64
	switch {
	case p.k == 0:
		q := math.Pow((1-p.m1)/(1-p.m0), h)
		if m = (1 - q) / (math.Pow(p.m1/p.m0, h) - q); math.IsInf(q, 1) {
			m = 1
		}
	case math.IsInf(p.k, 1):
		m = (p.m1 - p.m0) * h / math.Expm1(h*math.Log(p.m1/p.m0))
	default:
		q := -h * math.Log1p((p.m1-p.m0)/(p.k+p.m0)) // h ln(q0/q1)
		m = p.k * -math.Expm1(q) / math.Expm1(h*math.Log(p.m1/p.m0)+q)
	}
	return Point{m, hold, (p.HLower + (p.HUpper-p.HLower)*(1-hold)) / (m - p.Slope)}
}

// Exact returns the real chance to hold and the real mean number of units
// when the true level is level (with true k for counts; ignored for a
// binomial plan) and the plan is cut off at nMax units, acting there if the
// total is above Slope·nMax. No decision is taken before nMin units. The
// distribution of the running total is carried from unit to unit and the mass
// that crosses a line is taken out: no simulation.
// Errors: estimate.ErrDomain; estimate.ErrLarge above 10⁸ steps.
// Source: direct enumeration; compare Nyrop & Binns 1991 (from memory).
func (p SPRT) Exact(level, k float64, nMin, nMax int) (Point, error) {
	if !(p.g > 0) || !(level >= 0) || math.IsInf(level, 1) || nMax < 1 || nMin > nMax || p.k == 0 && level > 1 || p.k > 0 && !(k > 0) {
		return Point{}, bad("level %v, k %v, %d to %d units", level, k, nMin, nMax)
	}
	if nMax > 1_000_000 {
		return Point{}, errLarge(p.ActAt(nMax), nMax)
	}
	act := func(n int) int {
		if n >= nMax {
			return whole(math.Floor(p.Slope*float64(nMax))) + 1
		}
		return p.ActAt(n)
	}
	top := 0
	for n := range nMax {
		top = max(top, act(n+1))
	}
	if float64(top)*float64(top)*float64(nMax) > 1e8 {
		return Point{}, errLarge(top, nMax)
	}
	// pmf[x] of one unit, and over[x] the chance of x or more.
	pmf := make([]float64, top+1)
	for x := range pmf {
		switch {
		case p.k > 0:
			pmf[x] = math.Exp(estimate.LogPMF(x, level, k))
		case x == 0:
			pmf[x] = 1 - level
		case x == 1:
			pmf[x] = level
		}
	}
	// live[t] is the chance to be undecided with total t; high holds totals at
	// or above top before nMin, which act as soon as a decision is allowed.
	live := []float64{1}
	high := 0.0
	out := Point{Level: level}
	for n := 1; n <= nMax; n++ {
		before := high
		for _, q := range live {
			before += q
		}
		out.Units += before
		next := make([]float64, top)
		for t, q := range live {
			if q == 0 {
				continue
			}
			for x := 0; x+t < top; x++ {
				next[t+x] += q * pmf[x]
			}
		}
		kept := 0.0
		for _, q := range next {
			kept += q
		}
		if n < nMin {
			high = before - kept
			live = next
			continue
		}
		high = 0
		hold, can := p.HoldAt(n)
		if n == nMax {
			hold, can = act(n)-1, true
		}
		for t := range next {
			switch {
			case can && t <= hold:
				out.Hold += next[t]
				next[t] = 0
			case t >= act(n):
				next[t] = 0
			}
		}
		live = next
	}
	return out, nil
}
