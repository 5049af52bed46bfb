package sampling

import (
	"fmt"
	"math"

	"leafturn/internal/estimate"
)

// Stop is what to do after the units looked at so far.
type Stop string

// The advice in the field.
const (
	StopAct  Stop = "stop: act"
	StopHold Stop = "stop: hold"
	GoOn     Stop = "go on"
)

// Advice is what a plan says after some units.
type Advice struct {
	Stop   Stop
	N      int // units looked at
	Total  int // animals, or infested units
	HoldAt int // hold at this total or less after the next unit; -1: not yet
	ActAt  int // act at this total or more after the next unit; Never: not yet
	// More is the expected number of further units; 0 when stopped.
	More float64
	// Act is the chance that it will end in acting; 0 or 1 when stopped.
	Act float64

	settled []float64
	q       Question
}

// ChanceSettledBy returns the chance that the plan has stopped when n units
// have been looked at in all, those so far included.
func (a Advice) ChanceSettledBy(n int) float64 {
	switch {
	case a.Stop != GoOn && n >= a.N:
		return 1
	case n <= a.N || n < 1 || len(a.settled) == 0:
		return 0
	}
	return a.settled[min(n, len(a.settled))-1]
}

// At returns the advice after n units with the given running total: animals,
// or infested units in a presence plan. n = 0 is before the first unit. Past
// the most units the last row is stretched in proportion.
//
// What to expect is an average over the true density: the belief of the
// question, or a weak prior around the threshold, updated by the total so far.
// The law of the next units is the plan's.
// Errors: estimate.ErrDomain.
func (p Plan) At(n, total int) (Advice, error) {
	last := len(p.Lines)
	if n < 0 || total < 0 || last == 0 || n == 0 && total > 0 || p.Question.shares() && total > n || n > 1e6 || total > estimate.MaxCount {
		return Advice{}, problem("give the units looked at and the total on them so far", "%d units with a total of %d", n, total)
	}
	a := Advice{Stop: GoOn, N: n, Total: total, HoldAt: -1, ActAt: Never, q: p.Question}
	if n >= last {
		// The mean at which the last row acts.
		cut := float64(p.Lines[last-1].Act) * float64(n) / float64(last)
		a.Stop = Line{n, RoundUp(cut) - 1, RoundUp(cut)}.decide(total)
	} else if n > 0 {
		a.Stop = p.Lines[n-1].decide(total)
	}
	switch a.Stop {
	case StopAct:
		a.Act = 1
		return a, nil
	case StopHold:
		return a, nil
	}
	a.HoldAt, a.ActAt = p.Lines[n].Hold, p.Lines[n].Act
	b := p.updated(n, total)
	a.settled = make([]float64, last)
	var w walker
	for i, l := range b.Levels {
		if b.Weights[i] < 1e-7 {
			continue
		}
		r := w.walk(p.Lines, n, total, p.Question.law(l, 1, p.top), true)
		a.More += b.Weights[i] * r.units
		a.Act += b.Weights[i] * r.act
		for j, s := range r.stopped {
			a.settled[j] += b.Weights[i] * s
		}
	}
	for j := range a.settled {
		a.settled[j] = math.Min(1, a.settled[j])
	}
	return a, nil
}

// updated returns the belief after the total so far, adding up to 1.
func (p Plan) updated(n, total int) Belief {
	b := p.Question.Belief
	if len(b.Levels) == 0 {
		b = weakBelief(p.Question.Threshold, p.Question.Percent)
	}
	out := Belief{Levels: b.Levels, Weights: make([]float64, len(b.Levels))}
	logs := make([]float64, len(b.Levels))
	best := math.Inf(-1)
	for i, l := range b.Levels {
		logs[i] = math.Log(b.Weights[i])
		if n > 0 {
			logs[i] += p.Question.logTotal(n, total, l)
		}
		best = math.Max(best, logs[i])
	}
	if math.IsInf(best, -1) || math.IsNaN(best) { // the belief rules the total out
		return b.norm()
	}
	for i, l := range logs {
		out.Weights[i] = math.Exp(l - best)
	}
	return out.norm()
}

// weakBelief is estimate.WeakPrior with the threshold as its scale, on a grid
// of ln density from a hundredth to thirty times the threshold; for shares it
// is Beta(1/2, 1/2).
func weakBelief(threshold float64, share bool) Belief {
	const points = 49
	var b Belief
	for i := range points {
		x := (float64(i) + 0.5) / points
		if share { // x are the slices of equal weight
			s := math.Sin(math.Pi / 2 * x)
			b.Levels, b.Weights = append(b.Levels, s*s), append(b.Weights, 1)
			continue
		}
		r := math.Exp(math.Log(0.01) + x*math.Log(3000))
		b.Levels, b.Weights = append(b.Levels, r*threshold), append(b.Weights, r*math.Exp(estimate.WeakPrior(r)))
	}
	return b
}

// Words returns the advice as a sentence for the field.
func (a Advice) Words() string {
	switch a.Stop {
	case StopAct:
		return fmt.Sprintf("Stop: act. %d on %s is at or over the line.", a.Total, a.q.many(a.N))
	case StopHold:
		return fmt.Sprintf("Stop: hold. %d on %s is at or under the line.", a.Total, a.q.many(a.N))
	}
	more := int(math.Max(1, math.Round(a.More)))
	return fmt.Sprintf("Go on. Expect about %d more %s.", more, a.q.words(more))
}
