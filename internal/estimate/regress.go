package estimate

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"leafturn/internal/civil"
)

func sortDates(d []civil.Date) { slices.SortFunc(d, civil.Date.Compare) }

// Regression is a log-linear fit of counts, ln E(y) = offset + X b.
type Regression struct {
	Coef, SE     []float64 // standard errors take k as known
	LogLik       float64   // all constants kept
	Deviance     float64   // for the law fitted, at its k
	NullDeviance float64   // Poisson only: against one mean with the same offset
	AIC          float64   // counts k as a parameter when it was fitted
	Pearson      float64   // Pearson chi-square over N - p; above about 1.5 use the negative binomial
	K, SEK       float64   // +Inf and 0 for Poisson and in the Poisson limit
	Outcome      Outcome
	Iterations   int

	y      []int
	x      [][]float64
	offset []float64
	fitted []float64
}

// Law chooses the law of a regression.
type Law int

// The laws.
const (
	PoissonLaw Law = iota
	NegBinLaw
)

// Regress fits a Poisson or negative binomial regression with log link by
// iteratively reweighted least squares, k by maximum likelihood in turn. x
// has one row per count; give a column of ones for an intercept. offset may
// be nil; else it is ln(effort). A zero count is ordinary data.
//
// Errors: ErrEmpty; ErrDomain for ragged or non-finite rows, another law, or
// numbers too far apart to compute with; ErrFew with fewer rows than columns,
// columns that depend on each other, no animals (all-zero data have no slope),
// or counts so few and uneven that no fit settles.
// Source: Venables & Ripley 2002, Modern Applied Statistics with S, ch. 7.
func Regress(law Law, y []int, x [][]float64, offset []float64) (Regression, error) {
	t, err := newTally(y)
	if err != nil {
		return Regression{}, err
	}
	n := len(y)
	if law != PoissonLaw && law != NegBinLaw {
		return Regression{}, fmt.Errorf("law %d: %w", law, ErrDomain)
	}
	if len(x) != n || offset != nil && len(offset) != n || len(x[0]) == 0 {
		return Regression{}, fmt.Errorf("%d counts, %d rows, %d offsets: %w", n, len(x), len(offset), ErrDomain)
	}
	p := len(x[0])
	r := Regression{y: y, x: x, offset: offset, K: math.Inf(1), Outcome: Converged}
	if offset == nil {
		r.offset = make([]float64, n)
	}
	for i, row := range x {
		if len(row) != p || !finite(row...) || !finite(r.offset[i]) {
			return Regression{}, fmt.Errorf("row %d: %w", i+1, ErrDomain)
		}
	}
	if n < p || t.total == 0 {
		return Regression{}, fmt.Errorf("%d rows for %d columns, %v animals: %w", n, p, t.total, ErrFew)
	}
	mu := make([]float64, n)
	for i, c := range y {
		mu[i] = float64(c) + 0.1
	}
	r.fitted = mu
	var chol [][]float64
	if r.Coef, chol, err = irls(y, x, r.offset, r.K, mu); err != nil {
		return Regression{}, err
	}
	poisson := 0.0 // log-likelihood of Poisson's fit
	for i, c := range y {
		poisson += LogPMF(c, mu[i], math.Inf(1))
	}
	if law == NegBinLaw {
		var sums tailSums
		sums.fill([][]int{y})
		start := math.Inf(1)
		r.Outcome = Capped
		for r.Iterations = 1; r.Iterations <= 100; r.Iterations++ {
			k, sek, out := r.fitK(&sums, start)
			done := out == PoissonLimit || math.Abs(k-start) <= 1e-10*k
			r.K, r.SEK, start = k, sek, k
			if r.Coef, chol, err = irls(y, x, r.offset, r.K, mu); err != nil {
				return Regression{}, err
			}
			if done {
				r.Outcome = out
				break
			}
		}
	}
	r.SE = make([]float64, p)
	for j := range p {
		e := make([]float64, p)
		e[j] = 1
		r.SE[j] = math.Sqrt(cholSolve(chol, e)[j])
	}
	for i, c := range y {
		m, fy := mu[i], float64(c)
		r.LogLik += LogPMF(c, m, r.K)
		r.Deviance += devianceTerm(fy, m, r.K)
		r.Pearson += (fy - m) * (fy - m) / (m + m*m/r.K)
	}
	// A handful of counts can be so uneven that k runs away to 0 and the means
	// with it; then the fit is worse than Poisson's, which is a case of it.
	if !finite(r.Coef...) || !finite(r.SE...) || !finite(r.LogLik, r.Deviance, r.Pearson) || r.LogLik < poisson-1e-6*(1+math.Abs(poisson)) {
		return Regression{}, fmt.Errorf("no fit settles: the counts are too few and too uneven: %w", ErrFew)
	}
	if n > p {
		r.Pearson /= float64(n - p)
	} else {
		r.Pearson = 0
	}
	r.AIC = 2*float64(p) - 2*r.LogLik
	if law == NegBinLaw {
		r.AIC += 2
		return r.checked()
	}
	effort := 0.0
	for _, o := range r.offset {
		effort += math.Exp(o)
	}
	for i, c := range y {
		r.NullDeviance += devianceTerm(float64(c), t.total*math.Exp(r.offset[i])/effort, r.K)
	}
	return r.checked()
}

func (r Regression) checked() (Regression, error) {
	if !finite(r.Coef...) || !finite(r.SE...) || !(r.K > 0) {
		return checked(Regression{}, math.NaN())
	}
	return checked(r, r.LogLik, r.Deviance, r.NullDeviance, r.AIC, r.Pearson, r.SEK)
}

func finite(v ...float64) bool {
	for _, f := range v {
		if math.IsNaN(f) || math.IsInf(f, 0) {
			return false
		}
	}
	return true
}

func devianceTerm(y, m, k float64) float64 {
	d := 0.0
	if y > 0 {
		d = y * math.Log(y/m)
	}
	if math.IsInf(k, 1) {
		return 2 * (d - (y - m))
	}
	return 2 * (d - (y+k)*math.Log1p((y-m)/(m+k)))
}

// fitK finds k for the fitted means. Every unit is its own group.
func (r *Regression) fitK(sums *tailSums, start float64) (k, se float64, out Outcome) {
	groups := make([]groupMean, len(r.y))
	excess, m2 := 0.0, 0.0
	for i, c := range r.y {
		m, fy := r.fitted[i], float64(c)
		groups[i] = groupMean{1, m, fy}
		excess += (fy-m)*(fy-m) - fy
		m2 += m * m
	}
	if excess <= 0 {
		return math.Inf(1), 0, PoissonLimit
	}
	if math.IsInf(start, 1) {
		start = m2 / excess
	}
	k, _, out = solveK(sums, groups, start)
	if out != PoissonLimit {
		if _, d := sums.score(k, groups); d < 0 {
			se = 1 / math.Sqrt(-d)
		}
	}
	return k, se, out
}

// irls fits the coefficients at a known k. mu holds the starting means and
// receives the fitted ones. It returns the Cholesky factor of the information.
func irls(y []int, x [][]float64, offset []float64, k float64, mu []float64) (b []float64, chol [][]float64, err error) {
	n, p := len(y), len(x[0])
	last := math.Inf(1)
	b = make([]float64, p)
	for iter := range 200 {
		a := make([][]float64, p)
		rhs := make([]float64, p)
		for j := range a {
			a[j] = make([]float64, p)
		}
		for i := range n {
			m := mu[i]
			w := m / (1 + m/k)
			z := math.Log(m) - offset[i] + (float64(y[i])-m)/m
			for j, xj := range x[i] {
				if xj == 0 {
					continue
				}
				rhs[j] += xj * w * z
				for l := 0; l <= j; l++ {
					a[j][l] += xj * w * x[i][l]
				}
			}
		}
		if chol = cholesky(a); chol == nil {
			return nil, nil, fmt.Errorf("columns depend on each other: %w", ErrFew)
		}
		next := cholSolve(chol, rhs)
		// Halve the step while the deviance grows.
		var dev float64
		for half := 0; ; half++ {
			dev = 0
			for i := range n {
				eta := offset[i]
				for j, xj := range x[i] {
					eta += xj * next[j]
				}
				mu[i] = math.Exp(math.Max(-100, math.Min(100, eta)))
				dev += devianceTerm(float64(y[i]), mu[i], k)
			}
			if iter == 0 || half > 30 || dev <= last+1e-10*(math.Abs(last)+1) {
				break
			}
			for j := range next {
				next[j] = (next[j] + b[j]) / 2
			}
		}
		copy(b, next)
		if math.Abs(dev-last) <= 1e-13*(math.Abs(dev)+0.1) {
			break
		}
		last = dev
	}
	return b, chol, nil
}

// ProfileCoef returns the profile likelihood interval of coefficient j with
// the others fitted anew and k held at its estimate. An end is infinite when
// the likelihood does not fall below the cut within 30 standard errors.
// Errors: ErrDomain.
func (r Regression) ProfileCoef(j int, level float64) (Interval, error) {
	if err := levelOK(level); err != nil {
		return Interval{}, err
	}
	if j < 0 || j >= len(r.Coef) || len(r.x) == 0 || len(r.Coef) != len(r.x[0]) || len(r.SE) != len(r.Coef) {
		return Interval{}, fmt.Errorf("coefficient %d of %d: %w", j, len(r.Coef), ErrDomain)
	}
	n, cut := len(r.y), chi1(level)
	rest := make([][]float64, n)
	for i, row := range r.x {
		rest[i] = slices.Concat(row[:j], row[j+1:])
	}
	var failed error
	rise := func(b float64) float64 { // deviance above its minimum, less the cut
		off, mu := make([]float64, n), slices.Clone(r.fitted)
		for i, row := range r.x {
			off[i] = r.offset[i] + row[j]*b
		}
		if len(r.Coef) > 1 {
			if _, _, err := irls(r.y, rest, off, r.K, mu); err != nil {
				failed = err
			}
		} else {
			for i := range mu {
				mu[i] = math.Exp(off[i])
			}
		}
		d := 0.0
		for i, c := range r.y {
			d += devianceTerm(float64(c), mu[i], r.K)
		}
		return d - r.Deviance - cut
	}
	out := Interval{math.Inf(-1), math.Inf(1)}
	for s := 1.0; s <= 30; s++ {
		lo := r.Coef[j] - s*r.SE[j]
		if rise(lo) > 0 {
			out.Low = root(rise, lo, lo+r.SE[j], 1e-10)
			break
		}
	}
	for s := 1.0; s <= 30; s++ {
		hi := r.Coef[j] + s*r.SE[j]
		if rise(hi) > 0 {
			out.High = root(rise, hi-r.SE[j], hi, 1e-10)
			break
		}
	}
	return out, failed
}

// cholesky returns the lower factor of a symmetric matrix given by its lower
// triangle, or nil when it is not positive definite.
func cholesky(a [][]float64) [][]float64 {
	for j := range a {
		d := a[j][j]
		for l := range j {
			d -= a[j][l] * a[j][l]
		}
		if !(d > 1e-12*a[j][j]) || math.IsInf(d, 1) {
			return nil
		}
		a[j][j] = math.Sqrt(d)
		for i := j + 1; i < len(a); i++ {
			s := a[i][j]
			for l := range j {
				s -= a[i][l] * a[j][l]
			}
			a[i][j] = s / a[j][j]
		}
	}
	return a
}

func cholSolve(c [][]float64, b []float64) []float64 {
	x := slices.Clone(b)
	for i := range x {
		for j := range i {
			x[i] -= c[i][j] * x[j]
		}
		x[i] /= c[i][i]
	}
	for i := len(x) - 1; i >= 0; i-- {
		for j := i + 1; j < len(x); j++ {
			x[i] -= c[j][i] * x[j]
		}
		x[i] /= c[i][i]
	}
	return x
}

// Trend is growth per step of time from a negative binomial regression.
type Trend struct {
	Slope, SE float64  // of ln mean per unit of time
	Times     float64  // the interval reaches so many SE to each side; +Inf where it cannot be told
	Factor    float64  // e^slope
	FactorCI  Interval // e^(slope -/+ Times SE)
	Doubling  float64  // ln 2/slope: negative is a halving time
	Dates     int      // different times
	Fit       Regression
}

// leastForTwo is the least number of counts from which two dates give an
// interval: what they show of the clumping is worth nothing with fewer. Common
// practice.
const leastForTwo = 8

// FitTrend fits ln mean = b0 + b1 time. time has one value per count (such as
// weeks since the first visit); effort may be nil, else it is the units or
// trap-days behind each count. It needs counts on at least two different
// times (ErrFew). Standard errors take k as known. Other errors as Regress.
//
// Two times leave nothing to judge the line by: how far visits scatter about
// it cannot be told. The rate is then ln(second mean/first mean) over the time
// between. Its interval rests on how the counts of one visit scatter, with
// Student's quantile on n - 2 degrees of freedom where k is fitted; in
// simulated counts it holds the truth in 90 to 98 % (TestFitTrend_TwoDates).
// Fewer than 8 counts (such as one on each time) give no interval: Times is
// +Inf. Two times of which one found nothing have no rate (ErrFew).
func FitTrend(law Law, time []float64, counts []int, effort []float64, level float64) (Trend, error) {
	if err := levelOK(level); err != nil {
		return Trend{}, err
	}
	if len(time) != len(counts) || effort != nil && len(effort) != len(counts) {
		return Trend{}, fmt.Errorf("%d times, %d counts: %w", len(time), len(counts), ErrDomain)
	}
	seen, found := map[float64]bool{}, map[float64]bool{}
	x := make([][]float64, len(time))
	var off []float64
	for i, t := range time {
		seen[t] = true
		if counts[i] > 0 {
			found[t] = true
		}
		x[i] = []float64{1, t}
		if effort != nil {
			if !(effort[i] > 0) {
				return Trend{}, fmt.Errorf("effort %v: %w", effort[i], ErrDomain)
			}
			off = append(off, math.Log(effort[i]))
		}
	}
	if len(seen) < 2 {
		return Trend{}, fmt.Errorf("counts on %d times, want 2: %w", len(seen), ErrFew)
	}
	if len(seen) == 2 && len(found) == 1 {
		return Trend{}, fmt.Errorf("animals on one of two times only: %w", ErrFew)
	}
	r, err := Regress(law, counts, x, off)
	if err != nil {
		return Trend{}, err
	}
	t := Trend{Slope: r.Coef[1], SE: r.SE[1], Times: zOf(level), Dates: len(seen), Fit: r}
	t.Factor, t.Doubling = math.Exp(t.Slope), DoublingTime(t.Slope)
	switch n := len(counts); {
	case t.Dates == 2 && n < leastForTwo:
		t.Times, t.FactorCI = math.Inf(1), Interval{0, math.Inf(1)}
		return checked(t, t.Factor)
	case t.Dates == 2 && law == NegBinLaw:
		t.Times = distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(n - 2)}.Quantile(0.5 + level/2)
	}
	h := t.Times * t.SE
	t.FactorCI = Interval{math.Exp(t.Slope - h), math.Exp(t.Slope + h)}
	return checked(t, t.Factor, h)
}
