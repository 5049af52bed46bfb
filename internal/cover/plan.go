package cover

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"leafturn/internal/diag"
)

// None is the key of leaving the bed without a cover.
const None = "none"

// Cell is one option in one bed: its value, or why it is refused.
type Cell struct {
	Option  Option // the zero Option when Key is None
	Key     string
	Allowed bool
	Fit     Fit
	Score   Score
	Value   float64 // points; Score.Net, or minus the bare-soil penalty for None
	Seed    Seed
	SeedOK  bool // false: the rate is not known
}

// rests reports whether the bed carries no dahlias.
func (c Cell) rests() bool { return c.Option.Rest }

// unknowns counts what the cell rests on without knowing.
func (c Cell) unknowns() int {
	n := len(c.Score.Unknown)
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

// Alternative is another choice for a bed. GivesUp is how many points the
// best plan holding it has less than the plan.
type Alternative struct {
	Cell     Cell
	GivesUp  float64
	Displace []string // other beds whose choice then changes
}

// BedPlan is the plan of one bed.
type BedPlan struct {
	Bed          string
	Chosen       Cell
	Alternatives []Alternative // the next two best
	Cells        []Cell        // every option in key order, None first
	Unknown      []string      // what the choice rests on without knowing
	Notes        []string      // warnings, harm to other pests, contested evidence
}

// Plan is the best choice for every bed, with its proof.
type Plan struct {
	Beds   []BedPlan // by bed code
	Total  float64   // points
	Rested []string  // beds without dahlias
	// Bound is a value that no plan under the rules can exceed; Gap is
	// Bound - Total, zero up to rounding.
	Bound, Gap float64
	// NextRest is what one more rested bed would add, in points (0 or more).
	NextRest float64
	// Combinations is the number of allowed combinations that were each valued
	// one by one; 0 when there were too many.
	Combinations int
	Proof        string // in words
}

const (
	maxEnumerate = 100_000 // combinations that PlanBeds values one by one
	maxInput     = 1e6     // points, USD per kg or ha, kg per ha; m2 of a bed: more is a slip of the pen
)

// PlanBeds returns the choice for each bed (an option or None) that gives the
// highest total of points with at most rules.MaxRested rested beds.
//
// Method: the choices of two beds meet only in the number of rested beds. So
// each bed takes its best choice with dahlias, and the beds with the largest
// positive gains from resting are rested. The proof is the Lagrangian bound
//
//	bound = k x price + sum over beds of max(best with dahlias, best rested - price)
//
// for k rested beds at most and the price of the next gain; the total equals
// it. Up to 100,000 allowed combinations are also all valued.
//
// Ties go to fewer unknowns, then to None, then to the first key in the
// alphabet; among beds to rest, to the first bed code, and a gain of zero
// rests no bed. The order of beds and options does not matter.
//
// Errors: *diag.Problem for repeated or empty codes and keys, dates out of
// order, and numbers out of range.
func PlanBeds(beds []Bed, options []Option, site Site, rules Rules) (Plan, error) {
	beds = append([]Bed(nil), beds...)
	sort.SliceStable(beds, func(i, j int) bool { return beds[i].Code < beds[j].Code })
	options = append([]Option(nil), options...)
	sort.SliceStable(options, func(i, j int) bool { return options[i].Key() < options[j].Key() })
	if err := checkInput(beds, options, rules); err != nil {
		return Plan{}, err
	}
	all := make([][]Cell, len(beds))     // every option
	allowed := make([][]Cell, len(beds)) // those no rule forbids
	for i, b := range beds {
		all[i] = append(all[i], Cell{Key: None, Allowed: true, Fit: Fit{OK: true}, Value: 0 - rules.BarePenalty, SeedOK: true})
		for _, o := range options {
			c := Cell{Option: o, Key: o.Key(), Fit: Feasible(o, b, site, rules), Score: ScoreOption(o, b, rules)}
			c.Allowed, c.Value = c.Fit.OK, c.Score.Net
			if s, ok := o.seed(b.AreaM2); ok {
				c.Seed, c.SeedOK = s, true
			}
			all[i] = append(all[i], c)
		}
		for _, c := range all[i] {
			if c.Allowed {
				allowed[i] = append(allowed[i], c)
			}
		}
		sort.SliceStable(allowed[i], func(x, y int) bool { return better(allowed[i][x], allowed[i][y]) })
	}
	s := solve(allowed, rules.MaxRested)
	p := Plan{Total: s.total, Bound: s.bound, NextRest: s.price}
	p.Gap = p.Bound - p.Total
	p.prove(allowed, rules.MaxRested)
	for i, b := range beds {
		chosen := allowed[i][s.pick[i]]
		if chosen.rests() {
			p.Rested = append(p.Rested, b.Code)
		}
		bp := BedPlan{Bed: b.Code, Chosen: chosen, Cells: all[i], Alternatives: alternatives(beds, allowed, s, i, rules.MaxRested)}
		bp.explain(b)
		p.Beds = append(p.Beds, bp)
	}
	return p, nil
}

// better orders the cells of a bed: value, then the tie-breaks of PlanBeds.
func better(a, b Cell) bool {
	switch va, vb := round9(a.Value), round9(b.Value); {
	case va != vb:
		return va > vb
	case a.unknowns() != b.unknowns():
		return a.unknowns() < b.unknowns()
	case (a.Key == None) != (b.Key == None):
		return a.Key == None
	}
	return a.Key < b.Key
}

// solution is a best plan over cells: pick[i] is the cell of bed i.
type solution struct {
	pick         []int
	total, bound float64
	price        float64 // the gain of the next bed to rest
	ok           bool    // false: more beds must rest than may
}

// solve finds the best plan with at most k rested beds. The cells of each bed
// are in order, best first.
func solve(cells [][]Cell, k int) solution {
	type gain struct {
		bed, rest int
		points    float64
	}
	s := solution{pick: make([]int, len(cells)), ok: true}
	var gains []gain
	for i, list := range cells {
		with, rest := -1, -1
		for j, c := range list {
			if c.rests() && rest < 0 {
				rest = j
			}
			if !c.rests() && with < 0 {
				with = j
			}
		}
		s.pick[i] = with
		switch {
		case with < 0: // the bed is held to a rest crop
			s.pick[i] = rest
			k--
		case rest >= 0:
			gains = append(gains, gain{i, rest, list[rest].Value - list[with].Value})
		}
	}
	if k < 0 {
		return solution{}
	}
	for i, j := range s.pick {
		s.bound += cells[i][j].Value
	}
	sort.SliceStable(gains, func(a, b int) bool { return round9(gains[a].points) > round9(gains[b].points) })
	if k < len(gains) {
		s.price = max(0, round9(gains[k].points))
	}
	s.bound += float64(k) * s.price
	for n, g := range gains {
		s.bound += max(0, g.points-s.price)
		if n < k && round9(g.points) > 0 {
			s.pick[g.bed] = g.rest
		}
	}
	for i, j := range s.pick {
		s.total += cells[i][j].Value
	}
	return s
}

// prove checks the total against the bound and, where there are few enough,
// against every combination, and says so.
func (p *Plan) prove(cells [][]Cell, k int) {
	tol := 1e-9 * (1 + math.Abs(p.Bound)*float64(1+len(cells)))
	if math.Abs(p.Gap) > tol {
		panic(fmt.Sprintf("cover: plan %v does not reach its bound %v", p.Total, p.Bound))
	}
	p.Proof = fmt.Sprintf("no plan with at most %s can exceed %.3f points, and this one reaches that", rested(k), p.Bound)
	n := 1
	for _, list := range cells {
		if n *= len(list); n > maxEnumerate {
			return
		}
	}
	best := math.Inf(-1)
	var walk func(i, left int, sum float64)
	walk = func(i, left int, sum float64) {
		if i == len(cells) {
			p.Combinations++
			best = max(best, sum)
			return
		}
		for _, c := range cells[i] {
			switch {
			case !c.rests():
				walk(i+1, left, sum+c.Value)
			case left > 0:
				walk(i+1, left-1, sum+c.Value)
			}
		}
	}
	walk(0, k, 0)
	if math.Abs(best-p.Total) > tol {
		panic(fmt.Sprintf("cover: plan %v is not the best of all combinations, %v", p.Total, best))
	}
	p.Proof += fmt.Sprintf("; every combination considered (%d allowed), none is better", p.Combinations)
}

func rested(k int) string {
	if k == 1 {
		return "1 rested bed"
	}
	return fmt.Sprintf("%d rested beds", k)
}

// alternatives returns the two other choices of bed i that cost the plan least.
func alternatives(beds []Bed, cells [][]Cell, s solution, i, k int) []Alternative {
	var out []Alternative
	held := append([][]Cell(nil), cells...)
	for j, c := range cells[i] {
		if j == s.pick[i] {
			continue
		}
		held[i] = cells[i][j : j+1]
		t := solve(held, k)
		if !t.ok {
			continue
		}
		a := Alternative{Cell: c, GivesUp: s.total - t.total}
		for b := range beds {
			if b != i && t.pick[b] != s.pick[b] {
				a.Displace = append(a.Displace, beds[b].Code)
			}
		}
		out = append(out, a)
	}
	sort.SliceStable(out, func(a, b int) bool { return round9(out[a].GivesUp) < round9(out[b].GivesUp) })
	return out[:min(2, len(out))]
}

// explain fills in what the choice rests on and what to know about it.
func (bp *BedPlan) explain(b Bed) {
	c := bp.Chosen
	if c.Key == None {
		bp.Notes = append(bp.Notes, "bare soil in winter: open to rain and wind")
		return
	}
	for _, t := range c.Score.Unknown {
		bp.Unknown = append(bp.Unknown, fmt.Sprintf("its effect on %s is not known (pressure %g)", t.Pest, t.Pressure))
	}
	var worse, open []string
	for _, t := range c.Score.Terms {
		switch acts := t.Effect.Score != 0; {
		case t.State == PressureUnknown && acts:
			open = append(open, fmt.Sprintf("%s %s (%s)", verb(t.Effect.Score), t.Pest, t.Effect.Grade))
		case t.State == IsCounted && t.Effect.Score > 0:
			worse = append(worse, t.String())
		}
	}
	if len(open) > 0 {
		bp.Unknown = append(bp.Unknown, "pests never counted here, so not in the points: it "+strings.Join(open, ", "))
	}
	if !c.Score.CostKnown {
		bp.Unknown = append(bp.Unknown, "its seed cost is not known and was not taken off")
	}
	for _, r := range c.Fit.Reasons {
		if r.Kind == NotKnown {
			bp.Unknown = append(bp.Unknown, r.Rule+": "+r.Text)
		} else {
			bp.Notes = append(bp.Notes, r.Rule+": "+r.Text)
		}
	}
	if len(worse) > 0 {
		bp.Notes = append(bp.Notes, "makes worse: "+strings.Join(worse, "; "))
	}
	if len(c.Score.Contested) > 0 {
		words := make([]string, len(c.Score.Contested))
		for i, t := range c.Score.Contested {
			words[i] = t.String()
		}
		bp.Notes = append(bp.Notes, "sources disagree on: "+strings.Join(words, "; "))
	}
	if c.Option.TestedYears > 1 {
		bp.Notes = append(bp.Notes, fmt.Sprintf("the trial grew it %d years in a row; one year is part of that treatment, so plan it again next year", c.Option.TestedYears))
	}
	if p, known := b.pressure("slug"); known && p > 0 {
		bp.Notes = append(bp.Notes, "R15: slugs press on this bed; clear or turn in the residue 3 to 4 weeks before shoots show")
	}
}

func verb(score int) string {
	if score < 0 {
		return "lowers"
	}
	return "raises"
}

// checkInput returns the first thing wrong with the sorted input.
func checkInput(beds []Bed, options []Option, rules Rules) error {
	bad := func(do, format string, args ...any) error { return diag.Usagef(do, format, args...) }
	if err := rules.check(); err != nil {
		return bad("correct the rule", "cover plan: %v", err)
	}
	for i, b := range beds {
		switch {
		case b.Code == "":
			return bad("give every bed a code", "cover plan: a bed has no code")
		case i > 0 && beds[i-1].Code == b.Code:
			return bad("name each bed once", "cover plan: bed %s is given twice", b.Code)
		case !(b.AreaM2 > 0 && b.AreaM2 <= maxInput):
			return bad("give the bed's length and width", "cover plan: bed %s has an area of %v m2", b.Code, b.AreaM2)
		case b.FreeFrom.IsZero() || b.PlantBy.IsZero():
			return bad("give the day after digging and the planting day", "cover plan: bed %s has no dates", b.Code)
		case !b.FreeFrom.Before(b.PlantBy) || !b.PlantBy.Before(b.lastDay(true)):
			return bad("digging comes before planting, planting before the end of a rest year", "cover plan: bed %s is free from %s and planted %s", b.Code, b.FreeFrom, b.PlantBy)
		}
		seen := map[string]bool{}
		for _, p := range b.Pressure {
			if seen[p.Pest] {
				return bad("give each pest once", "cover plan: bed %s has two pressures of %s", b.Code, p.Pest)
			}
			seen[p.Pest] = true
			if p.Known && !(p.Score >= 0 && p.Score <= MaxPressure) {
				return bad("pressures run from 0 to 3", "cover plan: bed %s, %s: pressure %v", b.Code, p.Pest, p.Score)
			}
		}
	}
	for i, o := range options {
		if o.Crop.ID == "" || o.Key() == None || i > 0 && options[i-1].Key() == o.Key() {
			return bad("give each crop its own id", "cover plan: option %q is empty, reserved or given twice", o.Key())
		}
		if o.Sowings < 0 {
			return bad("give 1 or more", "cover plan: %s: %d sowings", o.Key(), o.Sowings)
		}
		for _, v := range []*float64{o.Crop.RateKgHa, o.Crop.USDPerKg, o.Crop.USDPerHa, o.Crop.MinSoilC, o.Crop.KillC} {
			if v != nil && !(math.Abs(*v) <= maxInput) {
				return bad("correct the crop's row", "cover plan: %s holds %v", o.Key(), *v)
			}
		}
		for _, v := range []*float64{o.Crop.USDPerKg, o.Crop.USDPerHa} {
			if v != nil && *v < 0 {
				return bad("correct the price", "cover plan: %s has a price of %v", o.Key(), *v)
			}
		}
		for _, n := range []*int{o.Crop.DaysToUsable, o.Crop.LeadDays} {
			if n != nil && (*n < 0 || *n > maxOffset) {
				return bad("correct the crop's row", "cover plan: %s: %d days", o.Key(), *n)
			}
		}
		seen := map[string]bool{}
		for _, e := range o.Effects {
			if err := e.check(); err != nil {
				return bad("correct the effect's row", "cover plan: %s on %s: %v", o.Key(), e.Pest, err)
			}
			if seen[e.Pest] {
				return bad("give each pest once", "cover plan: %s has two effects on %s", o.Key(), e.Pest)
			}
			seen[e.Pest] = true
		}
	}
	return nil
}
