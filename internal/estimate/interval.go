package estimate

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// zOf returns the normal quantile of a two-sided level: 1.96 for 0.95.
func zOf(level float64) float64 { return distuv.UnitNormal.Quantile(0.5 + level/2) }

// chi1 returns the chi-square quantile on one degree of freedom, z².
func chi1(level float64) float64 { z := zOf(level); return z * z }

// PoissonExact returns the exact two-sided limits of the expected total when
// total animals were counted; divide by the number of units for a mean. The
// lower limit at 0 is 0. Valid only for unclumped counts.
//
// Errors: ErrDomain for total < 0 or a level outside (0, 1).
// Source: Garwood 1936, Biometrika 28:437-442.
func PoissonExact(total int, level float64) (Interval, error) {
	if err := levelOK(level); err != nil {
		return Interval{}, err
	}
	if total < 0 || float64(total) > maxUnits*MaxCount {
		return Interval{}, fmt.Errorf("total %d: %w", total, ErrDomain)
	}
	a := (1 - level) / 2
	out := Interval{High: gammaQuantile(1-a, float64(total)+1)}
	if total > 0 {
		out.Low = gammaQuantile(a, float64(total))
	}
	return out, nil
}

// gammaQuantile is the p quantile of a gamma law with the shape and rate 1,
// half the chi-square quantile on 2·shape degrees of freedom. The library's
// value is polished by Newton steps on its own distribution function; for a
// huge shape, where it fails, the cube root is normal (Wilson & Hilferty 1931,
// PNAS 17:684-688, from memory).
func gammaQuantile(p, shape float64) float64 {
	if shape > 1e12 {
		c := 1 - 1/(9*shape) + distuv.UnitNormal.Quantile(p)/(3*math.Sqrt(shape))
		return shape * c * c * c
	}
	g := distuv.Gamma{Alpha: shape, Beta: 1}
	x := g.Quantile(p)
	for range 4 {
		d := (g.CDF(x) - p) / g.Prob(x)
		if math.IsNaN(d) || math.IsInf(d, 0) || math.Abs(d) > x/2 {
			break
		}
		x -= d
	}
	return x
}

// ZeroUpper returns the one-sided upper limit of the mean per unit when n
// units held nothing: the mean at which that has the chance 1-level.
//
//	k finite: k ((1-level)^(-1/(nk)) - 1); k = +Inf: -ln(1-level)/n
//
// At level 0.95 and k = +Inf it is 2.9957/n, the "rule of three". For a few
// units and a k near 0 it can be +Inf: they set no bound.
// Errors: ErrDomain. Source: Hanley & Lippman-Hand 1983, JAMA 249:1743 (from
// memory); the form with k follows from (1+m/k)^(-nk) = 1-level.
func ZeroUpper(n int, k, level float64) (float64, error) {
	if err := levelOK(level); err != nil {
		return 0, err
	}
	if n < 1 || !kOK(k) {
		return 0, fmt.Errorf("n %d, k %v: %w", n, k, ErrDomain)
	}
	e := -math.Log1p(-level) / float64(n)
	if math.IsInf(k, 1) {
		return e, nil
	}
	return k * math.Expm1(e/k), nil
}

// StudentInterval returns mean -/+ t s/sqrt(n). It may go below 0, which a
// report shows as 0 with a remark. One unit gives (-Inf, +Inf).
// Errors: ErrEmpty, ErrDomain.
func StudentInterval(counts []int, level float64) (Interval, error) {
	t, err := newTally(counts)
	if err == nil {
		err = levelOK(level)
	}
	if err != nil {
		return Interval{}, err
	}
	if t.n == 1 {
		return Interval{math.Inf(-1), math.Inf(1)}, nil
	}
	q := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(t.n - 1)}.Quantile(0.5 + level/2)
	h := q * math.Sqrt(t.variance()/float64(t.n))
	return Interval{t.mean() - h, t.mean() + h}, nil
}

// LogWald returns m exp(-/+ z SE/m) with SE = sqrt((m + m²/k)/n). At m = 0 it
// is (0, 0): use ZeroUpper. For a k near 0 High can be +Inf. Errors: ErrDomain.
func LogWald(mean, k float64, n int, level float64) (Interval, error) {
	if err := levelOK(level); err != nil {
		return Interval{}, err
	}
	if !(mean >= 0) || math.IsInf(mean, 1) || !kOK(k) || n < 1 {
		return Interval{}, fmt.Errorf("mean %v, k %v, n %d: %w", mean, k, n, ErrDomain)
	}
	if mean == 0 {
		return Interval{}, nil
	}
	h := zOf(level) * math.Sqrt((1/mean+1/k)/float64(n))
	return Interval{mean * math.Exp(-h), mean * math.Exp(h)}, nil
}

// maxLogMean bounds the search for the end of a profile interval: beyond
// exp(60) animals per unit the data are said to set no upper bound.
const maxLogMean = 60.0

// ProfileKnownK returns the likelihood ratio interval of the mean when k is
// known: all m with 2[l(m̂) - l(m)] <= the chi-square quantile on 1 degree of
// freedom. Of the intervals here it alone keeps its level at every n, mean
// and k, so k should be borrowed from history or from Taylor's law.
//
// Errors: ErrEmpty, ErrDomain.
// Source: Venables & Ripley 2002, Modern Applied Statistics with S, ch. 7.
func ProfileKnownK(counts []int, k, level float64) (Interval, error) {
	t, err := newTally(counts)
	if err == nil {
		err = levelOK(level)
	}
	if err == nil && !kOK(k) {
		err = fmt.Errorf("k %v: %w", k, ErrDomain)
	}
	if err != nil {
		return Interval{}, err
	}
	n, m := float64(t.n), t.mean()
	// drop is l(m̂) - l(m) per unit.
	drop := func(u float64) float64 {
		d := m * 0
		if m > 0 {
			d = m * (math.Log(m) - u)
		}
		if math.IsInf(k, 1) {
			return d - m + math.Exp(u)
		}
		// (x̄+k) ln((k+m)/(k+m̂)), written so that large k does not cancel.
		return d + (m+k)*math.Log1p((math.Exp(u)-m)/(k+m))
	}
	return ends(m, 1/n, func(u float64) float64 { return n*drop(u) - chi1(level)/2 }), nil
}

// ends finds where f, negative near the estimate m, turns positive on both
// sides, as a function of ln m. scale is where to begin when m is 0.
func ends(m, scale float64, f func(u float64) float64) Interval {
	out := Interval{High: math.Inf(1)}
	u0 := math.Log(scale)
	if m > 0 {
		u0 = math.Log(m)
		in := u0
		for step := 0.25; in > -700; step *= 2 {
			next := in - step
			if f(next) > 0 {
				out.Low = math.Exp(root(f, next, in, 1e-12))
				break
			}
			in = next
		}
	} else {
		for f(u0) > 0 && u0 > -700 {
			u0 -= 2
		}
	}
	in := u0
	for step := 0.25; in < maxLogMean; step *= 2 {
		next := in + step
		if f(next) > 0 {
			out.High = math.Exp(root(f, in, next, 1e-12))
			break
		}
		in = next
	}
	return out
}

// ProfileFreeK returns the likelihood ratio interval of the mean with k
// fitted anew at every mean, k = +Inf included. Zeros only set no upper bound:
// High is +Inf; animals on a single unit of few set hardly any. It is a little
// wide for few units with a low mean and keeps its level from about 20 units.
//
// Errors: ErrEmpty, ErrDomain.
func ProfileFreeK(counts []int, level float64) (Interval, error) {
	fit, err := FitNB(counts)
	if err == nil {
		err = levelOK(level)
	}
	if err != nil {
		return Interval{}, err
	}
	if fit.Outcome == NoAnimals {
		return Interval{High: math.Inf(1)}, nil
	}
	t, err := newTally(counts)
	if err != nil {
		return Interval{}, err
	}
	var sums tailSums
	sums.fill([][]int{counts})
	lnFact := 0.0
	for i, x := range t.value {
		lnFact += float64(t.freq[i]) * lnFactorial(x)
	}
	n, xbar := float64(t.n), t.mean()
	last := 1.0
	if k, ok := fit.K(); ok && !math.IsInf(k, 1) {
		last = k
	}
	best := func(m float64) float64 {
		// Expanding l in 1/k: a finite k is better than +Inf when the mean
		// square about m exceeds the sample mean.
		d := xbar - m
		pois := t.total*math.Log(m) - n*m - lnFact
		if t.squares+n*d*d <= t.total {
			return pois
		}
		k, _, out := solveK(&sums, []groupMean{{n, m, xbar}}, last)
		if out == PoissonLimit {
			return pois
		}
		last = k
		l := math.Log1p(m / k)
		return sums.logRise(k) - lnFact + t.total*(math.Log(m)-l) - n*k*l
	}
	top := math.Max(fit.LogLik, best(xbar))
	return ends(xbar, 1/n, func(u float64) float64 {
		return top - best(math.Exp(u)) - chi1(level)/2
	}), nil
}

// Bootstrap is the exact bootstrap distribution of a mean: no simulation.
type Bootstrap struct {
	Percentile, BCa Interval
	Z0, Accel       float64
	Fallback        bool // all units equal: BCa is not defined and both intervals are the mean
}

// BootstrapMean returns the percentile and BCa intervals of the mean from the
// exact distribution of the mean of n units drawn with replacement, by n-fold
// convolution.
//
//	z0 = Φ⁻¹(P(T* < t)), a = Σ d³ / (6 (Σ d²)^1.5), d = x - mean
//
// It needs n² · max · distinct values <= 10⁸ steps, else ErrLarge. Other
// errors: ErrEmpty, ErrDomain.
// Source: Efron 1987, JASA 82:171-185.
func BootstrapMean(counts []int, level float64) (Bootstrap, error) {
	t, err := newTally(counts)
	if err == nil {
		err = levelOK(level)
	}
	if err != nil {
		return Bootstrap{}, err
	}
	low := t.value[0]
	span := t.max - low
	if float64(t.n)*float64(t.n)*float64(span)*float64(len(t.value)) > 1e8 {
		return Bootstrap{}, fmt.Errorf("%d units up to %d: %w", t.n, t.max, ErrLarge)
	}
	if span == 0 {
		m := t.mean()
		return Bootstrap{Percentile: Interval{m, m}, BCa: Interval{m, m}, Fallback: true}, nil
	}
	n := t.n
	p := make([]float64, n*span+1) // of the sum of (x - low)
	p[0] = 1
	for i := 1; i <= n; i++ {
		for s := i * span; s >= 0; s-- {
			acc := 0.0
			for v, x := range t.value {
				if o := s - (x - low); o >= 0 && o <= (i-1)*span {
					acc += float64(t.freq[v]) * p[o]
				}
			}
			p[s] = acc / float64(n)
		}
	}
	obs := int(t.total) - n*low
	below := 0.0
	for s := range obs {
		below += p[s]
	}
	var b Bootstrap
	s2, s3 := 0.0, 0.0
	for i, x := range t.value {
		d := float64(x) - t.mean()
		s2 += float64(t.freq[i]) * d * d
		s3 += float64(t.freq[i]) * d * d * d
	}
	b.Accel = s3 / (6 * math.Pow(s2, 1.5))
	b.Z0 = distuv.UnitNormal.Quantile(below)
	at := func(q float64) float64 {
		c := 0.0
		for s := range p {
			if c += p[s]; c >= q {
				return float64(low) + float64(s)/float64(n)
			}
		}
		return float64(t.max)
	}
	z := zOf(level)
	adj := func(z float64) float64 {
		w := b.Z0 + z
		return distuv.UnitNormal.CDF(b.Z0 + w/(1-b.Accel*w))
	}
	b.Percentile = Interval{at((1 - level) / 2), at((1 + level) / 2)}
	b.BCa = Interval{at(adj(-z)), at(adj(z))}
	return b, nil
}
