// Package estimate turns counts of animals on sample units into densities
// with their uncertainty: negative binomial fits, intervals, dispersion,
// presence-absence, the chance of being over an action level, control
// efficacy, trend and economic levels.
//
// Everything is arithmetic on the arguments: no clock, no files, no
// randomness, and no argument is modified. Counts are whole animals per
// sample unit; means and densities are animals per sample unit; k is the
// negative binomial exponent with variance = mean + mean²/k, small = clumped,
// +Inf = Poisson.
//
// Not here: zero-inflated laws, spatial autocorrelation, errors in both
// variables for Taylor's regression, simulated bootstraps (the exact one is
// here, for small samples). Sample sizes and stop lines are in package
// sampling.
package estimate

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Errors that callers tell apart with errors.Is.
var (
	ErrDomain = errors.New("argument out of range")
	ErrEmpty  = errors.New("no sample units")
	ErrFew    = errors.New("too few points")
	ErrLarge  = errors.New("too large for the exact method")
)

// Outcome says how a fit ended.
type Outcome string

// The outcomes.
const (
	Converged    Outcome = "converged"
	PoissonLimit Outcome = "Poisson limit"   // not clumped more than chance: k = +Inf
	NoAnimals    Outcome = "no animals"      // zeros only: k cannot be estimated
	OneUnit      Outcome = "one unit"        // k cannot be estimated from one unit
	Capped       Outcome = "iterations used" // the last value is returned
)

// MaxCount is the largest count on one unit that is accepted.
const MaxCount = 1_000_000_000

// Bounds far outside what anybody counts, within which nothing here leaves
// the range of numbers: of k (but for +Inf) and of Taylor's a, of the level of
// an interval, and of sample units given as a number.
const (
	minK     = 1e-100
	maxA     = 1e100
	minLevel = 1e-12
	maxLevel = 1 - minLevel
	maxUnits = 1e12
)

// kOK reports whether k is one that can be computed with; +Inf is Poisson.
func kOK(k float64) bool { return k >= minK }

// checked gives an answer, or ErrDomain where some of its numbers are too
// large to be one.
func checked[T any](answer T, v ...float64) (T, error) {
	if !finite(v...) {
		var none T
		return none, fmt.Errorf("the numbers lie too far apart to compute with: %w", ErrDomain)
	}
	return answer, nil
}

// Interval is a two-sided interval. High may be +Inf when the data set no
// upper bound; it is never NaN.
type Interval struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// tally is the counts of a sample as sorted distinct values.
type tally struct {
	value, freq []int
	n           int
	total       float64 // sum of x
	pairs       float64 // sum of x(x-1)
	squares     float64 // sum of (x-mean)²
	max         int
}

func newTally(counts []int) (tally, error) {
	var t tally
	if len(counts) == 0 {
		return t, ErrEmpty
	}
	s := slices.Clone(counts)
	slices.Sort(s)
	if s[0] < 0 || s[len(s)-1] > MaxCount {
		return t, fmt.Errorf("a count of %d to %d, want 0 to %d: %w", s[0], s[len(s)-1], MaxCount, ErrDomain)
	}
	t.n, t.max = len(s), s[len(s)-1]
	for _, x := range s {
		if k := len(t.value) - 1; k >= 0 && t.value[k] == x {
			t.freq[k]++
		} else {
			t.value, t.freq = append(t.value, x), append(t.freq, 1)
		}
		f := float64(x)
		t.total += f
		t.pairs += float64(f * (f - 1))
	}
	m := t.mean()
	for i, x := range t.value {
		d := float64(x) - m
		t.squares += float64(float64(t.freq[i]) * d * d)
	}
	return t, nil
}

func (t tally) mean() float64 { return t.total / float64(t.n) }

// variance is with divisor n-1, and 0 for one unit.
func (t tally) variance() float64 {
	if t.n < 2 {
		return 0
	}
	return t.squares / float64(t.n-1)
}

// Summary is the plain arithmetic of a sample.
type Summary struct {
	N        int
	Total    int
	Mean     float64
	Variance float64 // divisor n-1; 0 for one unit
	Max      int
	Zeros    int
}

// Summarize returns the plain arithmetic of counts. Errors: ErrEmpty,
// ErrDomain.
func Summarize(counts []int) (Summary, error) {
	t, err := newTally(counts)
	if err != nil {
		return Summary{}, err
	}
	s := Summary{N: t.n, Total: int(t.total), Mean: t.mean(), Variance: t.variance(), Max: t.max}
	if t.value[0] == 0 {
		s.Zeros = t.freq[0]
	}
	return s, nil
}

func levelOK(level float64) error {
	if !(level >= minLevel && level <= maxLevel) {
		return fmt.Errorf("level %v, want between 0 and 1 and not within 1e-12 of them: %w", level, ErrDomain)
	}
	return nil
}

// root finds u in [lo, hi] with f(u) = 0 by bisection sped up with the
// Illinois rule; f(lo) and f(hi) must differ in sign. It returns the end
// nearer to zero when they do not.
func root(f func(float64) float64, lo, hi, tol float64) float64 {
	flo, fhi := f(lo), f(hi)
	if flo == 0 {
		return lo
	}
	if fhi == 0 {
		return hi
	}
	if (flo > 0) == (fhi > 0) {
		if math.Abs(flo) < math.Abs(fhi) {
			return lo
		}
		return hi
	}
	side := 0
	for i := 0; i < 200 && hi-lo > tol; i++ {
		mid := (lo + hi) / 2
		if i%3 != 2 { // two false-position steps, then one halving
			if s := hi - fhi*(hi-lo)/(fhi-flo); s > lo && s < hi {
				mid = s
			}
		}
		fm := f(mid)
		switch {
		case fm == 0:
			return mid
		case (fm > 0) == (flo > 0):
			lo, flo = mid, fm
			if side == -1 {
				fhi /= 2
			}
			side = -1
		default:
			hi, fhi = mid, fm
			if side == 1 {
				flo /= 2
			}
			side = 1
		}
	}
	return (lo + hi) / 2
}
