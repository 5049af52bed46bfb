package belief

import (
	"fmt"
	"math"
	"sort"

	"leafturn/internal/estimate"
)

// SampleInterval returns the interval of the true density that one visit alone
// supports at level, clumping being known from elsewhere. Unlike Interval it
// keeps its level at every density, and needs no prior: it holds exactly the
// densities under which the visit is not among the unlikely ones.
//
// The total S of animals counted is negative binomial with n k(m) and mean
// n m (units only looked at add Tally+1 for each one infested). At a density m
// and level 95 %, with p the share of the 5 % called unlikely below,
//
//	lo = the largest l with P(S < l) <= p; hi = the smallest h with
//	P(lo <= S <= h) >= 0.95
//
// so that the upper limit is the classical exact one at 2.5 % (Garwood 1936
// for Poisson), and the lower limit uses what it leaves. Where lumps in the
// chances of few animals carry P(lo <= S <= hi) over 97 %, hi is left out if
// 93 % remain. So the chance of covering is never below 93 %, from 93 to 97 %
// nearly wherever that is possible, and at least 95 % where it is not; other
// levels in proportion. CALIBRATION.md has it summed for 4,578 densities.
//
// Low is 0 when nothing was found; High is +Inf when the visit sets no upper
// limit (fewer than a few units of a very clumped pest).
//
// Errors: ErrDomain for evidence, clumping or level out of range, or no units.
// Sources: Garwood 1936, Biometrika 28:437-442; inverting acceptance regions:
// Crow & Gardner 1959, Biometrika 46:441-453 (from memory). The split is ours.
func SampleInterval(e Evidence, c Clump, level float64) (estimate.Interval, error) {
	var out estimate.Interval
	s, err := e.sample()
	if err == nil {
		err = c.check()
	}
	if err == nil {
		err = levelOK(level)
	}
	if err == nil && s.n+s.pr.Looked == 0 {
		err = fmt.Errorf("no units: %w", ErrDomain)
	}
	if err == nil && s.pr.Looked > 100_000 {
		err = fmt.Errorf("%d units looked at, want at most 100000: %w", s.pr.Looked, ErrDomain)
	}
	if stands := (s.pr.Tally + 1) * s.pr.Infested; err == nil && stands > 1_000_000 {
		err = fmt.Errorf("%d infested with a tally of %d, want at most a million animals together: %w", s.pr.Infested, s.pr.Tally, ErrDomain)
	}
	if err != nil {
		return out, err
	}
	x := exact{s, c.law(), int(s.total) + (s.pr.Tally+1)*s.pr.Infested, (1 - level) * lowerShare, level}
	out.High = math.Exp(x.upper()) * s.scale
	if x.seen > 0 {
		out.Low = math.Exp(x.lower()) * s.scale
	}
	return out, nil
}

// lowerShare is the share of the error that lies below: the visit showed
// fewer animals than the truth lets expect.
const lowerShare = 0.5

// exact finds the limits. Densities here are ln mean per unit.
type exact struct {
	sample
	law   func(lm float64) (k, lnR float64)
	seen  int
	p     float64 // error below
	level float64
}

// cdf is P(S <= x) at ln mean u. It falls as u rises.
func (e *exact) cdf(x int, u float64) float64 {
	if x < 0 {
		return 0
	}
	m := math.Exp(u)
	k, lnR := e.law(u)
	n := float64(e.n)
	counted := func(x int) float64 {
		if e.n == 0 {
			return 1
		}
		return estimate.CDF(x, n*m, n*k)
	}
	if e.pr.Looked == 0 {
		return counted(x)
	}
	// Over the number of infested units, which is binomial.
	q, p := lnTails(e.pr.Tally, m, k, lnR)
	looked, step := e.pr.Looked, e.pr.Tally+1
	all, _ := math.Lgamma(float64(looked) + 1)
	sum := 0.0
	for j := 0; j <= looked && j*step <= x; j++ {
		a, _ := math.Lgamma(float64(j) + 1)
		b, _ := math.Lgamma(float64(looked-j) + 1)
		if w := math.Exp(all - a - b + float64(j)*p + float64(looked-j)*q); w > 1e-18 {
			sum += w * counted(x-j*step)
		}
	}
	return math.Min(sum, 1)
}

// Where the search for limits ends: e^-40 and e^40 animals per unit.
const farthest = 40.0

// solve returns the u between lo and hi where f, above 0 at lo and not at hi,
// crosses 0: by the chord, with the Illinois correction, and by halving where
// that is slow.
func solve(f func(u float64) float64, lo, hi float64) float64 {
	fl, fh := f(lo), f(hi)
	kept := 0 // steps in a row that moved the same end: above 0 the lower one
	for turn := 0; hi-lo > 1e-10*(1+math.Abs(lo)); turn++ {
		mid := (lo + hi) / 2
		if d := fl - fh; turn%4 != 3 && fl > 0 && fh <= 0 && d > 0 {
			// Not so near an end that the next chord could not tell them apart.
			least := 0.25e-10 * (1 + math.Abs(lo))
			mid = min(max(lo+(hi-lo)*fl/d, lo+least), hi-least)
		}
		if v := f(mid); v > 0 {
			lo, fl = mid, v
			if kept = max(kept, 0) + 1; kept > 1 {
				fh /= 2
			}
		} else {
			hi, fh = mid, v
			if kept = min(kept, 0) - 1; kept < -1 {
				fl /= 2
			}
		}
	}
	return (lo + hi) / 2
}

// down returns the u where P(S <= x) has fallen to p.
func (e *exact) down(x int, p float64) float64 {
	at := math.Log((float64(x) + 1) / float64(e.n+e.pr.Looked))
	lo, hi := at, at
	for step := 0.25; e.cdf(x, lo) <= p && lo > -farthest; step *= 2 {
		lo -= step
	}
	for step := 0.25; e.cdf(x, hi) > p; step *= 2 {
		if hi += step; hi > farthest {
			return math.Inf(1)
		}
	}
	return solve(func(u float64) float64 { return e.cdf(x, u) - p }, lo, hi)
}

func (e *exact) upper() float64 { return e.down(e.seen, e.p) }

// lower returns the least u at which seen is at most hi. The error below, as a
// function of u, jumps up to p where lo moves on by one and falls from there,
// so each stretch between jumps is searched in turn.
func (e *exact) lower() float64 {
	var (
		s        = e.seen
		band     = 0.4 * (1 - e.level)
		top, low = e.level + band, e.level - band
	)
	u := e.down(s-1, math.Min(e.level+e.p, 1-1e-12))                   // no lower density accepts seen
	l := sort.Search(s, func(x int) bool { return e.cdf(x, u) > e.p }) // the largest l with P(S < l) <= p
	for ; l <= s; l++ {
		end := e.down(l, e.p) // where lo moves on
		if math.IsInf(end, 1) {
			end = farthest
		}
		upTo := func(x int) func(u float64) float64 {
			return func(u float64) float64 { return e.cdf(x, u) - e.cdf(l-1, u) }
		}
		before, with := upTo(s-1), upTo(s)
		// first returns the least u from here to end where f, which rises and
		// then falls, is at most v.
		first := func(f func(float64) float64, u, v float64) float64 {
			if u >= end || f(u) <= v {
				return u
			}
			if f(end) > v {
				return math.Inf(1)
			}
			return solve(func(x float64) float64 { return f(x) - v }, u, end)
		}
		at := first(before, u, e.level)
		if at <= end && with(at) > top {
			at = math.Min(first(before, at, low), first(with, at, top))
		}
		if at <= end {
			return at
		}
		u = end
	}
	return u
}
