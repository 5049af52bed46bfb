package cover

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/allot"
)

// None is the key of leaving a window of a bed without a cover.
const None = "none"

// Cell is one option in one window of one bed: its value, or why it is refused.
type Cell struct {
	Option  Option // the zero Option when Key is None
	Key     string
	Allowed bool
	Fit     Fit
	// After is, for a rest-year crop, whether and when it fits after a cover
	// before planting; Fit is then without one.
	After  *Fit
	Score  Score
	Value  float64 // points; Score.Net, or minus the bare-soil penalty for None before planting
	Seeds  []PartSeed
	SeedOK bool // false: a rate is not known
	Pinned bool // a pin holds the bed to it, in this window
}

// rests reports whether the bed carries no dahlias.
func (c Cell) rests() bool { return c.Option.Rest }

// unknowns counts what the cell rests on without knowing.
func (c Cell) unknowns() int {
	n := len(c.Score.Unknown) + len(c.Score.SoilOpen)
	for _, r := range c.Fit.Reasons {
		if r.Kind == NotKnown {
			n++
		}
	}
	if c.Key != None && !c.Score.CostKnown {
		n++
	}
	return n
}

// Alternative is another use of a bed. GivesUp is how many points the best plan
// holding it has less than the plan; AtLeast says that it may be more, because
// that plan was not searched to the end.
type Alternative struct {
	Winter, Rest Cell
	GivesUp      float64
	AtLeast      bool
	Displace     []string // other beds whose choice then changes
}

// BedPlan is the plan of one bed.
type BedPlan struct {
	Bed          string
	Winter, Rest Cell // chosen
	Untreated    bool // without any cover
	Alternatives []Alternative
	Cells        []Cell   // every option of both windows in key order, each None first
	Unknown      []string // what the choice rests on without knowing
	Notes        []string // warnings, harm to other pests, contested evidence
}

// Chosen are the covers chosen for the bed, none, one or two.
func (b BedPlan) Chosen() []Cell {
	var out []Cell
	for _, c := range []Cell{b.Winter, b.Rest} {
		if c.Key != None {
			out = append(out, c)
		}
	}
	return out
}

// Value is what the bed's choices are worth, without the points for neighbours
// sown alike.
func (b BedPlan) Value() float64 { return b.Winter.Value + b.Rest.Value }

// Binding is a rule and what the plan would gain without it, in points.
type Binding struct {
	Rule   string // in words, such as "budget 120 USD"
	From   string // where it was stated; "" is a default
	Gain   float64
	AtMost bool // the plan without it was not searched to the end: the gain is no more than this
	Pin    bool // a pin: the gain is what it costs
}

// Plan is the best choice for every bed, with its proof.
type Plan struct {
	Beds   []BedPlan // by bed code
	Total  float64   // points
	Alike  float64   // of them for neighbours sown alike
	Rested []string  // beds without dahlias
	Bare   []string  // beds without any cover
	Spent  float64   // USD of seed, as far as prices are known
	Lots   []string  // ids of the crops to buy
	// Bound is a value that no plan under the rules can exceed; Gap is
	// Bound - Total. Proved says that it is zero, to 0.000001 points.
	Bound, Gap float64
	Proved     bool
	// NextRest is what one more rested bed would add, in points (0 or more).
	NextRest float64
	Binding  []Binding // rules that cost points, the dearest first
	// Combinations is the number of allowed combinations that were each valued
	// one by one; 0 when there were too many.
	Combinations int
	Proof        string // in words
}

const (
	maxEnumerate = 100_000 // combinations that PlanBeds values one by one
	maxInput     = 1e6     // points, USD per kg or ha, kg per ha; m2 of a bed: more is a slip of the pen
	mostWork     = 3000    // millions of steps for the plan itself, some 30 s; after that it says what is proved
	sideWork     = 4       // the same for a plan that is compared with it
	nodesAside   = 400     // and parts of the search
)

// ErrConflict is what rules that contradict each other are; see Conflict.
var ErrConflict = errors.New("no plan keeps all rules")

// PlanBeds returns the choice for each bed and window that gives the highest
// total of points under the rules, with its proof, the next best uses of each
// bed, and what the rules cost.
//
// Method: package allot, whose bound proves that no plan is better, or says by
// how much one might be. Where few enough combinations are allowed (100,000),
// all are valued one by one as well. What an alternative gives up and what a
// rule costs come from solving again with it held or dropped.
//
// Ties go to fewer unknowns, then to None, then to the first key in the
// alphabet; among beds, the earlier code is sown. The order of beds and options
// does not matter.
//
// Errors: *diag.Problem for repeated or empty codes and keys, dates out of
// order, numbers out of range, pins and forbids of unknown beds or covers, a pin
// that a rule of dates or soil refuses, and (wrapping ErrConflict) rules that
// contradict each other, the smallest such set named; the context's error.
func PlanBeds(ctx context.Context, beds []Bed, options []Option, site Site, rules Rules) (Plan, error) {
	f, err := newField(beds, options, site, rules)
	if err != nil || len(beds) == 0 {
		return Plan{Proved: true, Proof: "there is no bed to plan"}, err
	}
	best, err := f.solve(ctx, f.rules(), allot.Options{Ceilings: true, Work: mostWork})
	switch {
	case errors.Is(err, allot.ErrImpossible):
		return Plan{}, f.conflict(ctx)
	case errors.Is(err, allot.ErrUnknown):
		return Plan{}, fmt.Errorf("cover plan: neither a plan that keeps all rules nor a proof that there is none was found: %w", err)
	case err != nil:
		return Plan{}, err
	}
	f.settle(best.Choice)
	p := Plan{Proved: best.Proved, Bound: best.Bound}
	f.fill(&p, best.Choice)
	if p.Gap = max(p.Bound-p.Total, 0); p.Proved {
		p.Gap = 0
	}
	if err := f.prove(&p); err != nil {
		return Plan{}, err
	}
	if err := f.compare(ctx, &p, best); err != nil {
		return Plan{}, err
	}
	return p, nil
}

// fill writes the choices into the plan.
func (f *field) fill(p *Plan, choice [][allot.Windows]int) {
	lots := map[string]bool{}
	for i, b := range f.beds {
		w, r := f.cell(i, 0, choice[i][0]), f.cell(i, 1, choice[i][1])
		if r.Key != None && w.Key != None {
			r.Fit = *r.After
		}
		for _, p := range f.Rules.Pins {
			w.Pinned = w.Pinned || p.Bed == b.Code && p.Window != RestYear
			r.Pinned = r.Pinned || p.Bed == b.Code && p.Window != BeforePlanting
		}
		bp := BedPlan{Bed: b.Code, Winter: w, Rest: r, Untreated: w.Key == None && r.Key == None}
		bp.Cells = append(slices.Clone(f.cells[i][0]), f.cells[i][1]...)
		if r.rests() {
			p.Rested = append(p.Rested, b.Code)
		}
		if bp.Untreated {
			p.Bare = append(p.Bare, b.Code)
		}
		for _, c := range bp.Chosen() {
			p.Spent += c.Score.CostUSD
			for _, part := range c.Option.Parts() {
				lots[part.Crop.ID] = true
			}
		}
		p.Total += bp.Value()
		bp.explain(b)
		p.Beds = append(p.Beds, bp)
	}
	p.Alike = f.alike(choice)
	p.Total += p.Alike
	for id := range lots {
		p.Lots = append(p.Lots, id)
	}
	slices.Sort(p.Lots)
	slices.Sort(p.Rested)
	slices.Sort(p.Bare)
	slices.SortFunc(p.Beds, func(a, b BedPlan) int { return strings.Compare(a.Bed, b.Bed) })
}

// prove says how the plan is proved, and where few enough combinations are
// allowed values them all.
func (f *field) prove(p *Plan) error {
	tol := 1e-6 * (1 + math.Abs(p.Total))
	switch {
	case p.Proved:
		p.Proof = fmt.Sprintf("no plan under the rules can exceed %s points, and this one reaches that", ceil3(p.Total))
	default:
		p.Proof = fmt.Sprintf("not proved best: no plan under the rules can exceed %s points, and this one is %.3f short of that", ceil3(p.Bound), p.Gap)
	}
	best, n := f.enumerate(maxEnumerate)
	if n == 0 {
		return nil
	}
	if math.Abs(best-p.Total) > tol {
		return fmt.Errorf("cover plan: %v points are not the best of all combinations, %v; this is a fault of the program", p.Total, best)
	}
	p.Combinations, p.Proved, p.Gap, p.Bound = n, true, 0, p.Total
	p.Proof = fmt.Sprintf("no plan under the rules can exceed %s points, and this one reaches that; every combination considered (%d allowed), none is better", ceil3(p.Total), n)
	return nil
}

// ceil3 writes a bound with three decimals, rounded up; zero has no sign.
func ceil3(v float64) string { return fmt.Sprintf("%.3f", math.Ceil(v*1000-1e-6)/1000+0) }
