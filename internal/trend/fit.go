package trend

import (
	"fmt"
	"math"

	"leafturn/internal/estimate"
)

// law is how the variance of one unit grows with its mean: a fixed k, or
// Taylor's law (k and a both 0: not known).
type law struct{ k, a, b float64 }

func lawOf(d estimate.Dispersion) (law, error) {
	switch {
	case d.K > 0:
		return law{k: d.K}, nil
	case d.K != 0 || math.IsNaN(d.A) || math.IsInf(d.A, 0) || d.A < 0:
		return law{}, fmt.Errorf("k %v, a %v: %w", d.K, d.A, estimate.ErrDomain)
	case d.A > 0 && !(d.B >= 1 && d.B <= 2):
		return law{}, fmt.Errorf("b %v of Taylor's law, want 1 to 2: %w", d.B, estimate.ErrDomain)
	}
	return law{a: d.A, b: d.B}, nil
}

func (l law) at(m float64) float64 {
	if l.k > 0 {
		return l.k
	}
	return estimate.TaylorK(m, l.a, l.b)
}

// excess is variance/mean.
func (l law) excess(m float64) float64 {
	if l.k > 0 {
		return 1 + m/l.k
	}
	return math.Max(1, l.a*math.Pow(m, l.b-1))
}

// infested returns the chances that a unit holds more than tally animals, and
// not, at ln mean u, and the slope of the former in u.
func (l law) infested(tally int, u float64) (p, q, slope float64) {
	both := func(u float64) (p, q float64) {
		m := math.Exp(u)
		k := l.at(m)
		if tally == 0 && math.IsInf(k, 1) {
			return -math.Expm1(-m), math.Exp(-m)
		}
		if tally == 0 {
			z := -k * math.Log1p(m/k)
			return -math.Expm1(z), math.Exp(z)
		}
		return estimate.Survival(tally, m, k), estimate.CDF(tally, m, k)
	}
	const h = 1e-4
	p, q = both(u)
	p1, q1 := both(u - h)
	p2, q2 := both(u + h)
	if p > 0.5 {
		return p, q, (q1 - q2) / (2 * h)
	}
	return p, q, (p2 - p1) / (2 * h)
}

// line is a fitted line b[0] + b[1] x with the inverse of its expected
// information, and Pearson's chi-square of the cells about it.
type line struct {
	b       [2]float64
	cov     [2][2]float64
	pearson float64
	df      int
}

// work is the score, information, Pearson chi-square and number of parts of
// the cells at a line.
type work struct {
	u       [2]float64
	info    [2][2]float64
	pearson float64
	parts   int
}

func (w *work) add(x, score, info, pearson float64) {
	w.u[0] += score
	w.u[1] += score * x
	w.info[0][0] += info
	w.info[0][1] += info * x
	w.info[1][1] += info * x * x
	w.pearson += pearson
	w.parts++
}

func (l law) work(cells []cell, b [2]float64) (w work) {
	for _, c := range cells {
		u := math.Max(-200, math.Min(200, b[0]+b[1]*c.x)) - c.lnScale
		if c.n > 0 {
			m := math.Exp(u)
			v := l.excess(m) // the unit's variance is m v
			d := c.total - c.n*m
			w.add(c.x, d/v, c.n*m/v, d/(c.n*m)*d/v)
		}
		if c.pres.Looked > 0 {
			p, q, s := l.infested(c.pres.Tally, u)
			p, q = math.Max(p, 1e-300), math.Max(q, 1e-300)
			n := float64(c.pres.Looked)
			d := float64(c.pres.Infested) - n*p
			w.add(c.x, d/p/q*s, n*s/p*s/q, d/(n*p)*d/q)
		}
	}
	w.info[1][0] = w.info[0][1]
	return w
}

// fitLine solves the score equations by Fisher scoring. The criterion is
// concave, so along each step its slope only falls: the step is lengthened or
// cut until little slope is left. x must hold two values or more.
func fitLine(cells []cell, l law) (line, error) {
	b := start(cells)
	w := l.work(cells, b)
	for i := range 300 {
		cov, ok := inverse(w.info)
		if !ok {
			break
		}
		d := [2]float64{cov[0][0]*w.u[0] + cov[0][1]*w.u[1], cov[1][0]*w.u[0] + cov[1][1]*w.u[1]}
		gain := d[0]*w.u[0] + d[1]*w.u[1] // squared length of the step in standard errors
		move := 0.0
		for _, c := range cells {
			move = math.Max(move, math.Abs(d[0]+d[1]*c.x))
		}
		// Done at 1e-9 standard errors, or where a step changes no digit. Where
		// Taylor's line meets Poisson the slope of a presence sample breaks, and
		// steps shrink short of that; 1e-2 is then taken.
		if gain <= 1e-18 || move <= 1e-14*math.Abs(b[0]) || i > 200 && gain <= 1e-4 {
			return line{b, cov, w.pearson, w.parts - 2}, nil
		}
		at := func(s float64) ([2]float64, work) {
			nb := [2]float64{b[0] + s*d[0], b[1] + s*d[1]}
			return nb, l.work(cells, nb)
		}
		lo, hi, s := 0.0, math.Inf(1), math.Min(1, 4/move)
		nb, nw := at(s)
		for range 60 {
			if left := nw.u[0]*d[0] + nw.u[1]*d[1]; left > 0.5*gain {
				lo = s
			} else if !(left >= -0.5*gain) {
				hi = s
			} else {
				break
			}
			if s = 2 * s; !math.IsInf(hi, 1) {
				s = (lo + hi) / 2
			} else if s*move > 8 {
				break
			}
			nb, nw = at(s)
		}
		b, w = nb, nw
	}
	return line{}, fmt.Errorf("the fit does not settle: %w", ErrNoSlope)
}

// start is the least-squares line through ln of the means, with half an animal
// added.
func start(cells []cell) [2]float64 {
	var n, sx, sy, sxx, sxy float64
	for _, c := range cells {
		found := c.total + float64(c.pres.Infested)*float64(c.pres.Tally+1)
		y := math.Log((found+0.5)/(c.n+float64(c.pres.Looked)+0.5)) + c.lnScale
		n, sx, sy, sxx, sxy = n+1, sx+c.x, sy+y, sxx+c.x*c.x, sxy+c.x*y
	}
	slope := (n*sxy - sx*sy) / (n*sxx - sx*sx)
	return [2]float64{(sy - slope*sx) / n, slope}
}

func inverse(a [2][2]float64) (inv [2][2]float64, ok bool) {
	det := a[0][0]*a[1][1] - a[0][1]*a[1][0]
	if !(det > 1e-13*a[0][0]*a[1][1]) || math.IsInf(det, 1) {
		return inv, false
	}
	return [2][2]float64{{a[1][1] / det, -a[0][1] / det}, {-a[1][0] / det, a[0][0] / det}}, true
}
