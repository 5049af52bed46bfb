package estimate

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Prior is the log of a prior density of the mean per unit, up to a constant.
type Prior func(mean float64) float64

// WeakPrior is the prior used when nobody gives another: the square root of
// the mean is half-Cauchy with scale 1, so the density of the mean is
// proportional to m^(-1/2)/(1+m). Half of it lies below one animal per unit,
// it is proper, and its tail is so long that a handful of units outweigh it.
// Common practice (a half-Cauchy prior for a scale); the scale is ours.
// A mean that is not above 0 has -Inf.
func WeakPrior(m float64) float64 {
	if !(m > 0) {
		return math.Inf(-1)
	}
	return -0.5*math.Log(m) - math.Log1p(m)
}

// GammaPrior is a gamma prior with the given shape and rate, both above 0.
// Otherwise it is NaN everywhere, which everything that takes a Prior refuses.
func GammaPrior(shape, rate float64) Prior {
	if !(shape > 0 && rate > 0 && finite(shape, rate)) {
		return func(float64) float64 { return math.NaN() }
	}
	return func(m float64) float64 { return (shape-1)*math.Log(m) - rate*m }
}

// GammaPoisson is the posterior of a Poisson mean under a gamma prior. One
// with a shape or rate outside 1e-100 to 1e100 says nothing: its interval is
// (0, +Inf), its mean +Inf and the chance of being over any threshold 1.
type GammaPoisson struct{ Shape, Rate float64 }

func (g GammaPoisson) ok() bool {
	return g.Shape >= 1e-100 && g.Shape <= 1e100 && g.Rate >= 1e-100 && g.Rate <= 1e100
}

// UpdateGamma returns the posterior Gamma(shape + total, rate + n).
// Errors: ErrEmpty; ErrDomain for a shape or rate below 0 or over 1e100, or a
// shape below 1e-100.
// Source: Gelman et al. 2013, Bayesian Data Analysis, ch. 2 (from memory).
func UpdateGamma(shape, rate float64, counts []int) (GammaPoisson, error) {
	t, err := newTally(counts)
	g := GammaPoisson{shape + t.total, rate + float64(t.n)}
	if err == nil && !(shape > 0 && rate >= 0 && g.ok()) {
		err = fmt.Errorf("shape %v, rate %v: %w", shape, rate, ErrDomain)
	}
	if err != nil {
		return GammaPoisson{}, err
	}
	return g, nil
}

// Mean returns the posterior mean.
func (g GammaPoisson) Mean() float64 {
	if !g.ok() {
		return math.Inf(1)
	}
	return g.Shape / g.Rate
}

// Exceeds returns the chance that the mean is at or over threshold. NaN gives 0.
func (g GammaPoisson) Exceeds(threshold float64) float64 {
	switch {
	case math.IsNaN(threshold):
		return 0
	case threshold <= 0 || !g.ok():
		return 1
	case math.IsInf(threshold, 1):
		return 0
	}
	return mathext.GammaIncRegComp(g.Shape, math.Min(g.Rate*threshold, math.MaxFloat64))
}

// Interval returns the central interval at level; (0, +Inf) for a level
// outside (0, 1).
func (g GammaPoisson) Interval(level float64) Interval {
	if levelOK(level) != nil || !g.ok() {
		return Interval{High: math.Inf(1)}
	}
	return Interval{gammaQuantile((1-level)/2, g.Shape) / g.Rate, gammaQuantile((1+level)/2, g.Shape) / g.Rate}
}

// Posterior is the posterior of a mean on a grid of ln mean.
type Posterior struct {
	u0, h float64
	f     []float64 // density of ln mean at the grid points
	below []float64 // probability below each point, summed from the left
	above []float64 // and above it, summed from the right
}

// gridPoints is the size of the grid; the cut is how far the log density has
// fallen at its ends.
const (
	gridPoints = 769
	gridCut    = 25.0
)

// newPosterior builds the grid for an unnormalised log density of the mean.
// start is a mean near the mode. It is ErrDomain where prior and likelihood
// have no place in common or leave the range of numbers.
func newPosterior(logLik func(m float64) float64, prior Prior, start float64) (Posterior, error) {
	if prior == nil || math.IsNaN(prior(start)) {
		return Posterior{}, fmt.Errorf("the prior is not a number at a mean of %v: %w", start, ErrDomain)
	}
	lp := func(u float64) float64 {
		m := math.Exp(u)
		v := logLik(m) + prior(m) + u
		if math.IsNaN(v) {
			return math.Inf(-1)
		}
		return v
	}
	// Walk to the mode, then outwards until the density is negligible.
	u := math.Log(start)
	best := lp(u)
	for step := 1.0; step > 1e-3; {
		if v := lp(u + step); v > best {
			u, best = u+step, v
		} else if v := lp(u - step); v > best {
			u, best = u-step, v
		} else {
			step /= 4
		}
		if u < -200 || u > 200 {
			break
		}
	}
	edge := func(dir float64) float64 {
		e, step := u, 0.02
		for math.Abs(e-u) < 150 {
			e += dir * step
			v := lp(e)
			if v > best {
				best = v
			}
			if v < best-gridCut {
				break
			}
			step *= 1.25
		}
		return e
	}
	lo, hi := edge(-1), edge(1)
	n := gridPoints
	p := Posterior{u0: lo, h: (hi - lo) / float64(n-1), f: make([]float64, n), below: make([]float64, n), above: make([]float64, n)}
	for i := range p.f {
		p.f[i] = math.Exp(lp(lo+float64(i)*p.h) - best)
	}
	at := func(i int) float64 { return p.f[min(max(i, 0), n-1)] }
	cell := func(i int) float64 { // between points i and i+1, by the cubic through four points
		return math.Max(0, p.h/24*(-at(i-1)+13*(at(i)+at(i+1))-at(i+2)))
	}
	for i := 1; i < n; i++ {
		p.below[i] = p.below[i-1] + cell(i-1)
	}
	for i := n - 2; i >= 0; i-- {
		p.above[i] = p.above[i+1] + cell(i)
	}
	total := p.below[n-1]
	if !(total > 0) || !finite(p.u0, p.h, total) {
		return Posterior{}, fmt.Errorf("no mean fits both the counts and the prior: %w", ErrDomain)
	}
	for i := range p.f {
		p.f[i] /= total
		p.below[i] /= total
		p.above[i] /= total
	}
	return p, nil
}

// Exceeds returns the chance that the mean is at or over threshold; a
// threshold of 0 or less gives 1. It falls as the threshold rises. NaN gives 0.
func (p Posterior) Exceeds(threshold float64) float64 {
	if len(p.f) == 0 || math.IsNaN(threshold) {
		return 0
	}
	if threshold <= 0 {
		return 1
	}
	x := (math.Log(threshold) - p.u0) / p.h
	switch {
	case x <= 0:
		return 1
	case x >= float64(len(p.f)-1):
		return 0
	}
	i := int(x)
	return hermite(p.above[i], p.above[i+1], -p.h*p.f[i], -p.h*p.f[i+1], x-float64(i))
}

// hermite interpolates between a and b with slopes da and db, and stays
// between a and b.
func hermite(a, b, da, db, t float64) float64 {
	v := a*(1+2*t)*(1-t)*(1-t) + b*t*t*(3-2*t) + t*(1-t)*(da*(1-t)-db*t)
	return math.Max(math.Min(a, b), math.Min(math.Max(a, b), v))
}

// Quantile returns the mean below which the share q of the posterior lies; a
// share outside 0 to 1 is taken as the nearer of them, and NaN as 1/2. The
// zero Posterior gives 0.
func (p Posterior) Quantile(q float64) float64 {
	if len(p.f) == 0 {
		return 0
	}
	if math.IsNaN(q) {
		q = 0.5
	}
	lo, hi := 0, len(p.f)-1
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; p.below[mid] <= q {
			lo = mid
		} else {
			hi = mid
		}
	}
	t := root(func(t float64) float64 {
		return hermite(p.below[lo], p.below[hi], p.h*p.f[lo], p.h*p.f[hi], t) - q
	}, 0, 1, 1e-12)
	return math.Exp(p.u0 + (float64(lo)+t)*p.h)
}

// Mean returns the posterior mean; with few clumped units it is much above
// the median.
func (p Posterior) Mean() float64 {
	s := 0.0
	for i, f := range p.f {
		s += f * math.Exp(p.u0+float64(i)*p.h) * p.h
	}
	return s
}

// lawK is what a likelihood knows of k: fixed, by Taylor's law, or a spread
// of values with weights.
type lawK struct {
	fixed float64 // when > 0
	a, b  float64 // Taylor, when a > 0
	// else ln k is normal with this mean and standard deviation
	lnMean, lnSD float64
}

// at returns k at a mean (for a spread, its middle).
func (l lawK) at(m float64) float64 {
	switch {
	case l.fixed > 0:
		return l.fixed
	case l.a > 0:
		return TaylorK(m, l.a, l.b)
	}
	return math.Exp(l.lnMean)
}

// logLik returns the log likelihood of the mean for counts and a presence
// sample, either of which may be empty.
func (l lawK) logLik(t tally, pr Presence) func(m float64) float64 {
	presence := func(m, k float64) float64 {
		if pr.Looked == 0 {
			return 0
		}
		var lp, lq float64 // ln of the chances of infested and clear
		if pr.Tally == 0 {
			lq = -logZeroTerm(m, k)
			lp = math.Log(-math.Expm1(lq))
		} else {
			q, p := tails(pr.Tally, m, k)
			lp, lq = math.Log(p), math.Log(q)
		}
		s := 0.0
		if pr.Infested > 0 {
			s += float64(pr.Infested) * lp
		}
		if c := pr.Looked - pr.Infested; c > 0 {
			s += float64(c) * lq
		}
		return s
	}
	n := float64(t.n)
	if l.fixed == 0 && l.a > 0 {
		return func(m float64) float64 {
			k := l.at(m)
			s := presence(m, k)
			for i, x := range t.value {
				s += float64(t.freq[i]) * logKernel(x, m, k)
			}
			return s
		}
	}
	// For a fixed k the counts enter only by their total.
	type point struct{ k, c float64 }
	var ks []point
	add := func(k, w float64) {
		for i, x := range t.value {
			if x > 0 && !math.IsInf(k, 1) {
				w += float64(t.freq[i]) * riseLog(k, x)
			}
		}
		ks = append(ks, point{k, w})
	}
	if l.fixed > 0 {
		add(l.fixed, 0)
	} else {
		for z := -4.0; z <= 4; z += 0.25 {
			add(math.Exp(l.lnMean+z*l.lnSD), -z*z/2)
		}
	}
	one := func(p point, m, lm float64) float64 {
		if math.IsInf(p.k, 1) {
			return t.total*lm - n*m + presence(m, p.k)
		}
		l1 := math.Log1p(m / p.k)
		return p.c + t.total*(lm-l1) - n*p.k*l1 + presence(m, p.k)
	}
	return func(m float64) float64 {
		lm := math.Log(m)
		top, s := math.Inf(-1), 0.0
		for _, p := range ks { // log of the sum, kept in range
			v := one(p, m, lm)
			if v > top {
				s, top = s*math.Exp(top-v)+1, v
			} else if !math.IsInf(v, -1) {
				s += math.Exp(v - top)
			}
		}
		return top + math.Log(s)
	}
}

// PosteriorKnownK returns the posterior of the mean for counts with k known,
// +Inf for Poisson. Errors: ErrEmpty; ErrDomain for a count or k out of range
// or a prior that is not a number or rules the counts out.
func PosteriorKnownK(counts []int, k float64, prior Prior) (Posterior, error) {
	t, err := newTally(counts)
	if err == nil && !kOK(k) {
		err = fmt.Errorf("k %v: %w", k, ErrDomain)
	}
	if err != nil {
		return Posterior{}, err
	}
	return newPosterior(lawK{fixed: k}.logLik(t, Presence{}), prior, startMean(t, Presence{}))
}

// PosteriorUnknownK returns the posterior of the mean with ln k ~ Normal(lnMean,
// lnSD) integrated out; lnMean from -50 to 50, lnSD up to 25. Errors as
// PosteriorKnownK.
func PosteriorUnknownK(counts []int, lnMean, lnSD float64, prior Prior) (Posterior, error) {
	t, err := newTally(counts)
	if err == nil && !(math.Abs(lnMean) <= 50 && lnSD > 0 && lnSD <= 25) {
		err = fmt.Errorf("ln k normal (%v, %v): %w", lnMean, lnSD, ErrDomain)
	}
	if err != nil {
		return Posterior{}, err
	}
	return newPosterior(lawK{lnMean: lnMean, lnSD: lnSD}.logLik(t, Presence{}), prior, startMean(t, Presence{}))
}

func startMean(t tally, p Presence) float64 {
	return (t.total + float64(p.Infested)*float64(p.Tally+1) + 0.5) / (float64(t.n+p.Looked) + 0.5)
}
