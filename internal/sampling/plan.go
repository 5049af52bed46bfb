package sampling

import (
	"fmt"
	"math"

	"leafturn/internal/diag"
	"leafturn/internal/estimate"
)

// Risk is what a plan does at one true density.
type Risk struct {
	Level float64 // animals per unit, or share
	Act   float64 // chance to act
	Hold  float64 // chance to hold: 1 - Act
	Units float64 // mean number of units looked at
}

// Robust is the exact risks when the animals are clumped otherwise than the
// plan took them to be: the true k is Factor times the planned one.
type Robust struct {
	Factor      float64
	Alpha, Beta float64 // chance to act at the safe, to hold at the action level
	UnitsSafe   float64
	UnitsAction float64
}

// Plan is a sequential sampling plan with its exact risks.
type Plan struct {
	Question Question // with the defaults filled in

	Safe, Action                  float64 // the two levels, in the unit of the threshold
	KSafe, KThreshold, KAction    float64 // +Inf is Poisson; 0 with Percent
	ShareSafe, ShareAction        float64 // presence plans: of units infested; else 0
	T                             float64 // Iwao's multiplier; 0 otherwise
	Wald                          *SPRT   // Wald's lines with the asked risks; nil for Iwao
	Lines                         []Line  // row i is for i+1 units; the last row always decides
	AtSafe, AtThreshold, AtAction Risk    // exact

	// WaldSafe and WaldAction are the exact risks of Wald's own lines with the
	// same least and most units: what the stated risks turn into. Nil for Iwao.
	WaldSafe, WaldAction *Risk

	AlphaMet, BetaMet bool
	// Shortfall says in words which risk is not met and what would meet it; ""
	// when both are.
	Shortfall string
	// NeedUnits is the smallest fixed sample that meets both risks; 0 when
	// 2000 units do not. A plan that stops early needs about as many at the
	// most, and a few more to stop early often.
	NeedUnits int

	// Robust is for a true k of half and of double the planned one; empty with
	// Percent, where no k is used.
	Robust []Robust

	top int
}

// mostNeeded is how far needUnits looks.
const mostNeeded = 2000

// MakePlan returns a sequential plan for q: after every unit from the least
// to the most, at or below which running total to hold and at or above which
// to act. At the most units one of the two is always decided.
//
// The lines come from Wald's test between the safe and the action level, with
// k taken at the threshold; the risks told are not Wald's but exact, with k
// taken at each true density, the least and the most units and the whole
// numbers included. For MethodTuned see there; when the asked risks cannot be
// kept within the most units, both are widened by the same factor and
// Shortfall says so.
//
// Not valid when units are not taken at random over the whole bed.
// Errors: a diag.Problem in words, wrapping estimate.ErrDomain or
// estimate.ErrLarge.
// Sources: Wald 1947, Sequential Analysis; Iwao 1975, Researches on Population
// Ecology 16:281-288 (both from memory).
func MakePlan(q Question) (Plan, error) {
	q, err := q.filled()
	if err != nil {
		return Plan{}, err
	}
	p := newPlan(q)
	d := drawing{q: q}
	lo, hi := p.Safe, p.Action
	if q.shares() {
		lo, hi = q.share(lo, 1), q.share(hi, 1)
	}
	var wald SPRT
	if q.shares() {
		wald, err = NewBinomial(lo, hi, q.Alpha, q.Beta)
	} else {
		wald, err = NewNegBin(lo, hi, p.KThreshold, q.Alpha, q.Beta)
	}
	if err != nil {
		return Plan{}, problem("move the levels further apart or nearer together", "no lines fit between the levels %.3g and %.3g: %v", lo, hi, err)
	}
	if wald.HUpper > mostTotal || -wald.HLower > mostTotal {
		return Plan{}, &diag.Problem{
			What: fmt.Sprintf("the stop lines would lie %.0f animals apart", wald.HUpper-wald.HLower),
			Do:   "the animals are so clumped that counting them tells little: judge by how many units hold more than a tally number", Usage: true, Err: estimate.ErrLarge,
		}
	}
	d.slope = wald.Slope
	cut := int(math.Floor(wald.Slope*float64(q.MaxUnits))) + 1
	own := d.straight(-wald.HLower, wald.HUpper, cut, false)
	// No line of use lies above twice the totals of the action level.
	top := max(topOf(own), int(2*hi*float64(q.MaxUnits))+2)
	d.safe, d.action = q.law(p.Safe, 1, top), q.law(p.Action, 1, top)
	switch q.Method {
	case MethodIwao:
		if p.T = q.T; q.T > 0 {
			p.Lines = d.confidence(q.T)
		} else {
			p.Lines, p.T = d.confident()
		}
	case MethodWald:
		p.Lines = own
	default:
		d.belief = q.Belief
		if len(d.belief.Levels) == 0 {
			if d.belief, err = SeasonBelief(q.Threshold, q.Percent, 9); err != nil {
				return Plan{}, err
			}
		}
		d.belief = d.belief.norm()
		for _, l := range d.belief.Levels {
			d.beliefLaws = append(d.beliefLaws, q.law(l, 1, top))
		}
		p.Lines = d.tuned()
	}
	p.finish()
	if q.Method != MethodIwao {
		p.Wald = &wald
		a, b := p.riskOf(own, p.Safe, 1), p.riskOf(own, p.Action, 1)
		p.WaldSafe, p.WaldAction = &a, &b
	}
	return p, nil
}

func newPlan(q Question) Plan {
	p := Plan{Question: q}
	p.Safe, p.Action = q.levels()
	if !q.Percent {
		p.KSafe, p.KThreshold, p.KAction = q.Clump.At(p.Safe), q.Clump.At(q.Threshold), q.Clump.At(p.Action)
	}
	if q.shares() {
		p.ShareSafe, p.ShareAction = q.share(p.Safe, 1), q.share(p.Action, 1)
	}
	return p
}

// finish fills in what follows from the lines.
func (p *Plan) finish() {
	q := p.Question
	p.top = topOf(p.Lines)
	p.AtSafe, p.AtThreshold, p.AtAction = p.riskOf(p.Lines, p.Safe, 1), p.riskOf(p.Lines, q.Threshold, 1), p.riskOf(p.Lines, p.Action, 1)
	p.AlphaMet, p.BetaMet = within(p.AtSafe.Act, q.Alpha), within(p.AtAction.Hold, q.Beta)
	p.NeedUnits = q.needUnits(mostNeeded)
	if !q.Percent {
		for _, f := range []float64{0.5, 2} {
			a, b := p.riskOf(p.Lines, p.Safe, f), p.riskOf(p.Lines, p.Action, f)
			p.Robust = append(p.Robust, Robust{f, a.Act, b.Hold, a.Units, b.Units})
		}
	}
	if p.AlphaMet && p.BetaMet {
		return
	}
	miss := fmt.Sprintf("the risk of acting needlessly is %.1f %% where %.1f %% was asked", 100*p.AtSafe.Act, 100*q.Alpha)
	if p.AlphaMet {
		miss = ""
	}
	if !p.BetaMet {
		if miss != "" {
			miss += " and "
		}
		miss += fmt.Sprintf("the risk of holding wrongly is %.1f %% where %.1f %% was asked", 100*p.AtAction.Hold, 100*q.Beta)
	}
	switch {
	case p.NeedUnits > q.MaxUnits:
		p.Shortfall = fmt.Sprintf("within %s %s; it takes about %s to keep both", q.many(q.MaxUnits), miss, q.many(p.NeedUnits))
	case p.NeedUnits == 0:
		p.Shortfall = fmt.Sprintf("within %s %s; not even %s would keep both: move the levels apart", q.many(q.MaxUnits), miss, q.many(mostNeeded))
	case q.Method == MethodTuned:
		p.Shortfall = fmt.Sprintf("with %d to %s %s; another least or most number would keep both", q.MinUnits, q.many(q.MaxUnits), miss)
	default:
		p.Shortfall = fmt.Sprintf("with these lines %s; tuned lines could keep both", miss)
	}
}

// topOf returns the largest total that decides.
func topOf(lines []Line) int {
	top := 1
	for _, l := range lines {
		if l.CanAct() {
			top = max(top, l.Act)
		}
	}
	return top
}

func (p Plan) riskOf(lines []Line, level, factor float64) Risk {
	var w walker
	r := w.walk(lines, 0, 0, p.Question.law(level, factor, topOf(lines)), false)
	return Risk{level, r.act, r.hold, r.units}
}

// Risk returns the exact chances to act and to hold and the mean number of
// units at a true level, when the true k is kFactor times the planned one (1
// for as planned; of no effect with Percent). Act and Hold are summed apart
// and add up to 1. Errors: estimate.ErrDomain, for a kFactor outside a
// millionth to a million and for the zero Plan as well.
func (p Plan) Risk(level, kFactor float64) (Risk, error) {
	if len(p.Lines) == 0 || !(level >= 0) || math.IsInf(level, 1) || p.Question.Percent && level > 1 || !(kFactor >= 1e-6 && kFactor <= 1e6) {
		return Risk{}, bad("level %v, k times %v", level, kFactor)
	}
	return p.riskOf(p.Lines, level, kFactor), nil
}

// CurvePoint is one point of the operating characteristic.
type CurvePoint struct {
	Risk       // exact
	Wald *Risk // by Wald's formulas at the asked risks, no least or most units; nil for Iwao
}

// Curve returns the operating characteristic and the mean number of units at
// the given true levels, or at Grid when levels is empty.
func (p Plan) Curve(levels []float64) ([]CurvePoint, error) {
	if len(levels) == 0 {
		levels = p.Grid()
	}
	out := make([]CurvePoint, 0, len(levels))
	for _, l := range levels {
		r, err := p.Risk(l, 1)
		if err != nil {
			return nil, err
		}
		c := CurvePoint{Risk: r}
		if p.Wald != nil {
			at := l
			if p.Question.shares() {
				at = p.Question.share(l, 1)
			}
			w := p.Wald.at(at)
			c.Wald = &Risk{l, 1 - w.Hold, w.Hold, w.Units}
		}
		out = append(out, c)
	}
	return out, nil
}

// Grid returns levels from 0 to 3 times the threshold in tenths of it, as far
// as shares go.
func (p Plan) Grid() []float64 {
	var out []float64
	for i := range 31 {
		if l := p.Question.Threshold * float64(i) / 10; !p.Question.Percent || l <= 1 {
			out = append(out, l)
		}
	}
	return out
}

// at returns Wald's approximation at a true level instead of at h. It is the
// limit where the level is the slope, and where it is 0 or far off.
func (p SPRT) at(level float64) Point {
	const most = 60
	a, b := -float64(most), float64(most) // the level falls as h rises
	far, near := p.wald(a), p.wald(b)
	switch {
	case level >= far.Level:
		return Point{level, 0, p.HUpper / (level - p.Slope)}
	case level <= near.Level:
		return Point{level, 1, p.HLower / (level - p.Slope)}
	}
	for range 100 {
		h := (a + b) / 2
		if h == 0 { // halve off the middle
			a += 1e-7
		} else if p.wald(h).Level > level {
			a = h
		} else {
			b = h
		}
	}
	if h := (a + b) / 2; math.Abs(h) > 1e-6 {
		w := p.wald(h)
		return Point{level, w.Hold, w.Units}
	}
	// h tends to 0: hold = hU/(hU-hL), units = -hL hU / variance.
	v := p.Slope + p.Slope*p.Slope/p.k
	if p.k == 0 {
		v = p.Slope * (1 - p.Slope)
	}
	return Point{level, p.HUpper / (p.HUpper - p.HLower), -p.HLower * p.HUpper / v}
}

// Expect returns the mean number of units and the chance to act when the true
// density is as in the belief.
func (p Plan) Expect(b Belief) (units, act float64, err error) {
	if len(p.Lines) == 0 {
		return 0, 0, bad("a plan without lines")
	}
	if err := b.check(p.Question.Percent); err != nil {
		return 0, 0, err
	}
	b = b.norm()
	for i, l := range b.Levels {
		r := p.riskOf(p.Lines, l, 1)
		units += b.Weights[i] * r.Units
		act += b.Weights[i] * r.Act
	}
	return units, act, nil
}
