package sampling

import (
	"math"
)

// Settle is the question behind "look again": given what is believed of the
// density, will more units decide it? Levels and Weights are the belief now
// (a posterior on a grid, or samples with equal weights).
type Settle struct {
	Belief Belief
	// Threshold, Percent, Presence, Tally and Clump are as in Question.
	Threshold float64
	Percent   bool
	Presence  bool
	Tally     int
	Clump     Clump
	// ActAt decides to act when the chance that the density is at or over the
	// threshold is at least this; HoldBelow holds when it is less.
	ActAt, HoldBelow float64
}

func (s Settle) question() Question {
	return Question{Threshold: s.Threshold, Percent: s.Percent, Presence: s.Presence, Tally: s.Tally, Clump: s.Clump}
}

func (s Settle) check() error {
	switch {
	case !pos(s.Threshold) || s.Percent && s.Threshold >= 1:
		return problem("give the threshold as a number above 0, and a share below 1", "the threshold is %v", s.Threshold)
	case !s.Percent && s.Clump.check() != "":
		return problem("give k, or a and b of Taylor's law", "%s", s.Clump.check())
	case s.Tally < 0:
		return problem("give a tally number of 0 or more", "the tally number is %d", s.Tally)
	case !(s.HoldBelow >= 0 && s.HoldBelow <= s.ActAt && s.ActAt <= 1):
		return problem("give two chances between 0 and 1, hold below act", "hold below a chance of %v and act at %v", s.HoldBelow, s.ActAt)
	}
	return s.Belief.check(s.Percent)
}

// Chance returns the chance that n2 further units settle it, and its two
// parts: that they will say act and that they will say hold. n2 = 0 tells
// whether it is settled now.
//
// The totals of n2 units are predicted from the belief (the convolution of n2
// negative binomial counts is one with n2 k; of shares, binomial); for each
// total the belief is updated and the decision rule is asked. The chance of
// being over rises with the total, so two bounds are found and tails summed;
// nothing is simulated.
//
// The total alone is used, with k known: counts unit by unit say a little more
// when k changes with density. Errors: estimate.ErrDomain.
// Source: preposterior analysis, Raiffa & Schlaifer 1961, Applied Statistical
// Decision Theory (from memory).
func (s Settle) Chance(n2 int) (settled, act, hold float64, err error) {
	if err := s.check(); err != nil {
		return 0, 0, 0, err
	}
	if n2 < 0 || n2 > 100_000 {
		return 0, 0, 0, problem("give a number of further units of 0 or more", "%d further units", n2)
	}
	act, hold = s.prepared().chance(n2)
	return math.Min(1, act+hold), act, hold, nil
}

// More returns the smallest number of further units, up to most, that settles
// it with the asked chance, and that chance; n is 0 with chance 1 when it is
// settled now. When none does, ok is false and n and chance are those of the
// best number tried. Because totals are whole numbers the chance may dip by a
// little as units are added. Errors: estimate.ErrDomain.
func (s Settle) More(chance float64, most int) (n int, got float64, ok bool, err error) {
	if err := s.check(); err != nil {
		return 0, 0, false, err
	}
	if !(chance > 0 && chance < 1) || most < 1 || most > 5000 {
		return 0, 0, false, problem("give a chance between 0 and 1 and at most 5000 units", "a chance of %v within %d units", chance, most)
	}
	r := s.prepared()
	for i := 0; i <= most; i++ {
		a, h := r.chance(i)
		c := math.Min(1, a+h)
		if c > got {
			n, got = i, c
		}
		if c >= chance {
			return i, c, true, nil
		}
	}
	return n, got, false, nil
}

// settling is a Settle ready for many numbers of units.
type settling struct {
	Settle
	q    Question
	logW []float64
}

func (s Settle) prepared() settling {
	r := settling{Settle: s, q: s.question()}
	// Levels of no weight cost time and say nothing.
	b := Belief{}
	norm := s.Belief.norm()
	for i, w := range norm.Weights {
		if w > 1e-9 {
			b.Levels, b.Weights = append(b.Levels, norm.Levels[i]), append(b.Weights, w)
		}
	}
	r.Belief = b.norm()
	for _, w := range r.Belief.Weights {
		r.logW = append(r.logW, math.Log(w))
	}
	return r
}

// over returns the chance that the density is at or over the threshold after
// a total of x on n further units.
func (r settling) over(n, x int) float64 {
	best := math.Inf(-1)
	logs := make([]float64, len(r.logW))
	for i, l := range r.Belief.Levels {
		logs[i] = r.logW[i]
		if n > 0 {
			logs[i] += r.q.logTotal(n, x, l)
		}
		best = math.Max(best, logs[i])
	}
	over, sum := 0.0, 0.0
	for i, l := range logs {
		w := math.Exp(l - best)
		sum += w
		if r.Belief.Levels[i] >= r.Threshold {
			over += w
		}
	}
	if !(sum > 0) || math.IsNaN(sum) { // a total that no level can bring
		return 1
	}
	return over / sum
}

func (r settling) chance(n int) (act, hold float64) {
	if n == 0 {
		switch p := r.over(0, 0); {
		case p >= r.ActAt:
			return 1, 0
		case p < r.HoldBelow:
			return 0, 1
		}
		return 0, 0
	}
	top := n + 1
	if !r.q.shares() {
		top = 16
		for r.over(n, top) < r.ActAt && top < 1<<28 {
			top *= 2
		}
	}
	actAt := smallest(0, top, func(x int) bool { return r.over(n, x) >= r.ActAt })
	holdTo := smallest(0, top, func(x int) bool { return r.over(n, x) >= r.HoldBelow }) - 1
	holdTo = min(holdTo, actAt-1)
	for i, l := range r.Belief.Levels {
		w := r.Belief.Weights[i]
		_, more := r.q.totals(n, actAt-1, l, 1)
		if r.q.shares() && actAt > n {
			more = 0
		}
		act += w * more
		if holdTo >= 0 {
			atMost, _ := r.q.totals(n, holdTo, l, 1)
			hold += w * atMost
		}
	}
	return act, hold
}
