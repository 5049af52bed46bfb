package estimate

import (
	"fmt"
	"math"
)

// Fit is a negative binomial fit to one sample or to several groups with one
// common k.
type Fit struct {
	N          int
	Means      []float64 // of each group; one for a single sample
	LogLik     float64   // all constants kept; at k = +Inf it is the Poisson one
	PoissonLL  float64
	Outcome    Outcome
	Iterations int

	k, se    float64
	variance float64
	sizes    []int
}

// K returns the maximum likelihood k, +Inf in the Poisson limit, and whether
// there is an estimate: with no animals or a single unit there is none.
func (f Fit) K() (float64, bool) {
	return f.k, f.Outcome == Converged || f.Outcome == PoissonLimit || f.Outcome == Capped
}

// SEK returns the standard error of k from the observed information, and
// false where k is not a finite estimate.
func (f Fit) SEK() (float64, bool) { return f.se, f.Outcome == Converged && f.se > 0 }

// Mean returns the mean of the first group, 0 of the zero Fit.
func (f Fit) Mean() float64 {
	if len(f.Means) == 0 {
		return 0
	}
	return f.Means[0]
}

// SEMean returns sqrt((m + m²/k)/n) of the first group, animals per unit;
// with the Poisson variance where k is not estimable. It is 0 of the zero Fit.
func (f Fit) SEMean() float64 {
	if len(f.sizes) == 0 {
		return 0
	}
	m, v := f.Means[0], f.Means[0]
	if f.Outcome == Converged || f.Outcome == Capped {
		v += m * m / f.k
	}
	return math.Sqrt(v / float64(f.sizes[0]))
}

// MomentK returns k = m²/(s² - m) of the first group and whether it exists
// (s² > m).
func (f Fit) MomentK() (float64, bool) {
	m := f.Mean()
	if !(f.variance > m) {
		return 0, false
	}
	return m * m / (f.variance - m), true
}

// SEKExpected returns the standard error of k from the expected information,
// and false where k is not a finite estimate or its tail is too long to sum.
//
//	J = n [ Σ_j P(X>j)/(k+j)² - m/(k(k+m)) ]
//
// Source: Bliss & Fisher 1953, Biometrics 9:176-200.
func (f Fit) SEKExpected() (float64, bool) {
	if f.Outcome != Converged {
		return 0, false
	}
	k, info := f.k, 0.0
	for g, m := range f.Means {
		if m == 0 {
			continue
		}
		// Stable form: the terms of order 1/k² have been taken out, because
		// the sum of P(X>j) is m.
		q := k / (k + m)
		p := math.Exp(-logZeroTerm(m, k))
		tail, s := 1-p, 0.0
		if tail < 0.5 {
			tail = -math.Expm1(-logZeroTerm(m, k))
		}
		for j := 0.0; tail > 1e-16 && (j <= m || p > 1e-17*q) && j < 5e6; j++ {
			s += tail * j * (2*k + j) / (k * k * (k + j) * (k + j))
			p *= (j + k) / (j + 1) * (1 - q)
			tail -= p
		}
		if tail > 1e-6 {
			return 0, false
		}
		info += float64(f.sizes[g]) * (m*m/(k*k*(k+m)) - s)
	}
	if !(info > 0) {
		return 0, false
	}
	return 1 / math.Sqrt(info), true
}

// FitNB fits a negative binomial to counts by maximum likelihood: the mean is
// the sample mean and k solves
//
//	Σ_j N(x>j)/(k+j) + n ln(k/(k+m)) = 0
//
// by Newton steps in ln k, N(x>j) being the number of units with more than j.
// A finite k exists only when the variance with divisor n exceeds the mean;
// otherwise the Outcome is PoissonLimit and K is +Inf. Zeros only and a
// single unit have their own outcomes and no k.
//
// Errors: ErrEmpty; ErrDomain for a count outside 0..MaxCount.
// Source: Bliss & Fisher 1953, Biometrics 9:176-200; existence: Levin & Reeds
// 1977, Annals of Statistics 5:79-87 (from memory).
func FitNB(counts []int) (Fit, error) { return fitGroups([][]int{counts}) }

// FitCommonK fits one k over groups that each have their own mean. Groups
// with no units are refused; groups with no animals carry no information.
// Errors as FitNB.
func FitCommonK(groups [][]int) (Fit, error) {
	if len(groups) == 0 {
		return Fit{}, ErrEmpty
	}
	return fitGroups(groups)
}

func fitGroups(groups [][]int) (Fit, error) {
	var t tailSums
	f := Fit{Means: make([]float64, len(groups)), sizes: make([]int, len(groups))}
	var meanBuf [8]groupMean
	means := meanBuf[:0]
	excess := 0.0 // Σ x(x-1) - n m², positive when the n-divisor variance is above the mean
	spare := 0    // units beyond the first of each group
	lgam := 0.0
	for g, counts := range groups {
		if len(counts) == 0 {
			return Fit{}, fmt.Errorf("group %d: %w", g+1, ErrEmpty)
		}
		n, sum, pairs := float64(len(counts)), 0.0, 0.0
		for _, x := range counts {
			if x < 0 || x > MaxCount {
				return Fit{}, fmt.Errorf("a count of %d, want 0 to %d: %w", x, MaxCount, ErrDomain)
			}
			fx := float64(x)
			sum += fx
			pairs += float64(fx * (fx - 1))
			lgam += lnFactorial(x)
		}
		m := sum / n
		f.Means[g], f.sizes[g] = m, len(counts)
		f.N += len(counts)
		f.PoissonLL -= n * m
		if m > 0 {
			f.PoissonLL += sum * math.Log(m)
			excess += (n*pairs - sum*sum) / n
			means = append(means, groupMean{n, m, m})
			spare += len(counts) - 1
		}
	}
	f.PoissonLL -= lgam
	f.LogLik = f.PoissonLL
	if len(groups[0]) > 1 {
		for _, x := range groups[0] {
			d := float64(x) - f.Means[0]
			f.variance += float64(d * d)
		}
		f.variance /= float64(len(groups[0]) - 1)
	}
	switch {
	case len(means) == 0:
		f.Outcome = NoAnimals
		return f, nil
	case spare == 0:
		f.Outcome = OneUnit
		return f, nil
	case excess <= 0:
		f.Outcome, f.k = PoissonLimit, math.Inf(1)
		return f, nil
	}
	t.fill(groups)
	start := 0.0
	for _, g := range means {
		start += g.n * g.m * g.m
	}
	f.k, f.Iterations, f.Outcome = solveK(&t, means, start/excess)
	if f.Outcome == PoissonLimit {
		return f, nil
	}
	_, j := t.score(f.k, means)
	if j < 0 {
		f.se = 1 / math.Sqrt(-j)
	}
	f.LogLik = t.logRise(f.k) - lgam
	for _, g := range means {
		l := math.Log1p(g.m / f.k)
		f.LogLik += g.n * (g.m*(math.Log(g.m)-l) - f.k*l)
	}
	return f, nil
}

// groupMean is n units whose fitted mean is m and observed mean is x.
type groupMean struct{ n, m, x float64 }

// closeStep is a Newton step after which the next one, of the order of its
// square, would change nothing.
const closeStep = 1e-7

// solveK finds the root of the score for k by Newton steps in ln k. The sign
// of the score tells the side of the root, so a step that points the wrong
// way or is too long is replaced by a step of fixed length or a halving.
func solveK(t *tailSums, means []groupMean, start float64) (k float64, iter int, out Outcome) {
	limit := 1.0
	for _, g := range means {
		limit = max(limit, g.m)
	}
	limit *= 1e7
	k = min(max(start, 4e-18), limit)
	lo, hi := 0.0, math.Inf(1)
	for iter = 1; iter <= 100; iter++ {
		s, d := t.score(k, means)
		g := k * s
		dg := g + k*k*d
		if g > 0 {
			lo = k
		} else {
			hi = k
		}
		step := -g / dg
		if !(dg < 0) || math.Abs(step) > 1.5 {
			step = math.Copysign(1.5, g)
		}
		next := k * (1 + step*(1+step/2*(1+step/3)))
		if math.Abs(step) > 0.1 {
			next = k * math.Exp(step)
		}
		if math.Abs(step) < closeStep {
			return next, iter, Converged
		}
		if next <= lo || next >= hi {
			if mid := math.Sqrt(lo) * math.Sqrt(hi); mid > 0 && !math.IsInf(mid, 0) {
				next = mid
			}
		}
		if math.Abs(next-k) < 1e-11*k { // between bounds
			return next, iter, Converged
		}
		if next > limit {
			return math.Inf(1), iter, PoissonLimit
		}
		if next < 1e-26 {
			return k, iter, Capped
		}
		k = next
	}
	return k, iter - 1, Capped
}

// maxDense is the largest count kept in a histogram by single counts; above
// it the sums over j use differences of the psi function.
const maxDense = 1 << 11

// tailSums holds N(x>j): dense by j for small counts, by runs of equal value
// for large ones.
type tailSums struct {
	dense []float64
	runs  []tailRun
}

// tailRun says that n units hold more than j animals for j in [from, to).
type tailRun struct{ n, from, to float64 }

func (t *tailSums) fill(groups [][]int) {
	top := 0
	for _, g := range groups {
		for _, x := range g {
			top = max(top, x)
		}
	}
	if top <= maxDense {
		t.dense = make([]float64, top)
		for _, g := range groups {
			for _, x := range g {
				if x > 0 {
					t.dense[x-1]++
				}
			}
		}
		for j := top - 2; j >= 0; j-- {
			t.dense[j] += t.dense[j+1]
		}
		return
	}
	var all []int
	for _, g := range groups {
		all = append(all, g...)
	}
	h, err := newTally(all)
	if err != nil { // the caller has checked every count
		panic("estimate: " + err.Error())
	}
	left, from := float64(h.n), 0.0
	for i, v := range h.value {
		if to := float64(v); to > from {
			t.runs = append(t.runs, tailRun{left, from, to})
			from = to
		}
		left -= float64(h.freq[i])
	}
}

// score returns the score for k and its derivative. Where k is at least the
// largest mean the terms of order 1/k, which add to zero, are left out of
// every sum so that none cancels.
func (t *tailSums) score(k float64, means []groupMean) (s, d float64) {
	top := 0.0
	for _, g := range means {
		top = math.Max(top, g.m)
	}
	if k >= top && t.runs == nil {
		inv := 1 / k
		for j, n := range t.dense {
			fj := float64(j)
			r := 1 / (k + fj)
			a := n * fj * r * inv // N j / (k(k+j))
			s -= a
			d += a * (2*k + fj) * r * inv
		}
		for _, g := range means {
			km := k + g.m
			x := g.m / k
			s += g.n * (xMinusLog1p(x) - g.m*(g.m-g.x)/(k*km))
			d += g.n * g.m * (g.m*k - 2*g.x*k - g.x*g.m) / (k * k * km * km)
		}
		return s, d
	}
	for j, n := range t.dense {
		r := 1 / (k + float64(j))
		s += n * r
		d -= n * r * r
	}
	for _, r := range t.runs {
		p, q := psiDiff(k, r.from, r.to)
		s += r.n * p
		d -= r.n * q
	}
	for _, g := range means {
		km := k + g.m
		s += g.n * ((g.m-g.x)/km - math.Log1p(g.m/k))
		d += g.n * (g.m/(k*km) - (g.m-g.x)/(km*km))
	}
	return s, d
}

// logRise is Σ_j N(x>j) ln(1+j/k).
func (t *tailSums) logRise(k float64) float64 {
	s := 0.0
	for j, n := range t.dense {
		if j > 0 {
			s += n * math.Log1p(float64(j)/k)
		}
	}
	for i, r := range t.runs {
		next := 0.0
		if i+1 < len(t.runs) {
			next = t.runs[i+1].n
		}
		s += (r.n - next) * riseLog(k, int(r.to)) // the units that hold exactly r.to
	}
	return s
}

// psiDiff returns Σ 1/(k+j) and Σ 1/(k+j)² over whole j with from <= j < to.
func psiDiff(k, from, to float64) (p, q float64) {
	// The whole number j counts the terms: k+j would round.
	for ; from < to && k+from < 20; from++ {
		r := 1 / (k + from)
		p += r
		q += r * r
	}
	if from >= to {
		return p, q
	}
	a, b := k+from, k+to
	// Asymptotic series of psi and psi', differences taken term by term.
	ia, ib := 1/a, 1/b
	a2, b2 := ia*ia, ib*ib
	p += math.Log1p((to-from)/a) + (ia-ib)/2 + (a2-b2)/12 - (a2*a2-b2*b2)/120 + (a2*a2*a2-b2*b2*b2)/252
	tri := func(i, w float64) float64 { return w * (0.5 + i*(1.0/6-w*(1.0/30-w/42))) }
	q += (to-from)*ia*ib + tri(ia, a2) - tri(ib, b2)
	return p, q
}

// xMinusLog1p is x - ln(1+x) for x >= 0, without cancellation at small x.
func xMinusLog1p(x float64) float64 {
	if x > 0.1 {
		return x - math.Log1p(x)
	}
	s, p := 0.0, x
	for i := 2.0; i < 20; i++ {
		p *= -x
		s -= p / i
		if math.Abs(p) < 1e-18*x {
			break
		}
	}
	return s
}

// lnFactorials holds ln x! for the counts that are common.
var lnFactorials = func() (t [128]float64) {
	for i := 2; i < len(t); i++ {
		t[i] = t[i-1] + math.Log(float64(i))
	}
	return t
}()

func lnFactorial(x int) float64 {
	if x < len(lnFactorials) {
		return lnFactorials[x]
	}
	l, _ := math.Lgamma(float64(x) + 1)
	return l
}
