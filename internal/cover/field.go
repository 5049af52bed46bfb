package cover

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/allot"
	"leafturn/internal/diag"
)

// field is the plan's beds, in the order of rows, with their cells. Choice 0 of
// each window is None; choice k is the option keys[k] in that window. A crop
// that stands in both windows has one number.
type field struct {
	beds  []Bed
	site  Site
	Rules Rules
	ids   []string    // by choice: crop id, "" for None
	lots  []uint64    // by choice: bits of crops
	cells [][2][]Cell // by bed and window: None, then the options of the window in key order
	at    [][2][]int  // by bed and window: choice -> place in cells, -1 none
	apart [][]uint64  // by bed and first choice: second choices that may not follow
	row   []int
	crops []string // by lot
}

func newField(beds []Bed, options []Option, site Site, rules Rules) (*field, error) {
	f := &field{beds: slices.Clone(beds), site: site, Rules: rules}
	slices.SortStableFunc(f.beds, func(a, b Bed) int {
		if c := strings.Compare(a.Row, b.Row); c != 0 {
			return c
		}
		if a.Row != "" && a.Place != b.Place {
			if a.Place < b.Place {
				return -1
			}
			return 1
		}
		return strings.Compare(a.Code, b.Code)
	})
	options = slices.Clone(options)
	slices.SortStableFunc(options, func(a, b Option) int { return strings.Compare(a.Key(), b.Key()) })
	if err := checkInput(f.beds, options, rules); err != nil {
		return nil, err
	}
	options = append(options, Mixes(options, rules.Species)...)
	slices.SortStableFunc(options, func(a, b Option) int { return strings.Compare(a.Key(), b.Key()) })
	f.ids = []string{""}
	f.lots = []uint64{0}
	type fitted struct{ plain, after Fit }
	fits := make([][]fitted, len(options))
	for k, o := range options {
		open := false
		for _, b := range f.beds {
			x := fitted{plain: fit(o, b, site, rules, false)}
			if o.Rest && !rules.OneEach {
				x.after = FeasibleAfter(o, b, site, rules)
			}
			open = open || x.plain.OK || x.after.OK
			fits[k] = append(fits[k], x)
		}
		if open && !slices.Contains(f.ids, o.Crop.ID) {
			var lots uint64
			for _, p := range o.Parts() {
				lots |= 1 << f.lot(p.Crop.ID)
			}
			f.ids, f.lots = append(f.ids, o.Crop.ID), append(f.lots, lots)
		}
	}
	if len(f.ids) > allot.MostCovers || len(f.crops) > allot.MostCovers {
		return nil, diag.Failf(nil, "allow fewer crops in a mix, or forbid some covers", "%d covers and mixes fit these beds, more than the %d that can be planned at once", len(f.ids)-1, allot.MostCovers-1)
	}
	for i, b := range f.beds {
		var cells [2][]Cell
		for w := range cells {
			none := Cell{Key: None, Allowed: true, Fit: Fit{OK: true}, SeedOK: true}
			if w == 0 && b.Standing == "" {
				none.Value = 0 - rules.BarePenalty
			}
			cells[w] = append(cells[w], none)
		}
		for k, o := range options {
			c := Cell{Option: o, Key: o.Key(), Fit: fits[k][i].plain, Score: ScoreOption(o, b, rules), Seeds: o.seeds(b.AreaM2), SeedOK: true}
			w := 0
			if o.Rest {
				w = 1
				c.After = &fits[k][i].after
			}
			c.Allowed = c.Fit.OK || c.After != nil && c.After.OK
			for _, s := range c.Seeds {
				c.SeedOK = c.SeedOK && s.OK
			}
			if c.Allowed && rules.Budget != nil && !c.Score.CostKnown {
				c.Allowed = false
				c.Fit.OK = false
				unpriced := Reason{Unpriced, Refused, "its price is not known, so a plan with it cannot be held to the budget; give its price"}
				c.Fit.Reasons = append([]Reason{unpriced}, c.Fit.Reasons...) // it stands first: it alone refuses the cover
			}
			c.Score.dated(o, c.Fit, rules)
			cells[w] = append(cells[w], c)
		}
		for w := range cells {
			belowTrials(cells[w])
			for k := range cells[w] {
				if c := &cells[w][k]; c.Key != None {
					c.Value = c.Score.Net
				}
			}
		}
		f.cells = append(f.cells, cells)
	}
	f.index()
	return f, f.checkPins()
}

func (f *field) lot(id string) int {
	k := slices.Index(f.crops, id)
	if k < 0 {
		k = len(f.crops)
		f.crops = append(f.crops, id)
	}
	return k
}

// belowTrials keeps anecdote under trials: in a window of a bed, an option whose
// help rests on anecdote alone gets no more help than the least that an allowed
// option has from better evidence. Source: common practice.
func belowTrials(cells []Cell) {
	least := math.Inf(1)
	for _, c := range cells {
		if c.Allowed && c.Score.Help > 0 && !c.Score.Anecdote {
			least = min(least, c.Score.Help)
		}
	}
	for k := range cells {
		s := &cells[k].Score
		if s.Anecdote && s.Help > least {
			s.AnecdotePts = s.Help - least
			s.net()
		}
	}
}

// index lays out where the choices stand and which do not follow each other.
func (f *field) index() {
	last := ""
	for i, b := range f.beds {
		switch {
		case i == 0:
			f.row = append(f.row, 0)
		case b.Row != "" && b.Row == last:
			f.row = append(f.row, f.row[i-1])
		default:
			f.row = append(f.row, f.row[i-1]+1)
		}
		last = b.Row
		var at [2][]int
		for w := range at {
			at[w] = make([]int, len(f.ids))
			for k, id := range f.ids {
				at[w][k] = slices.IndexFunc(f.cells[i][w], func(c Cell) bool { return k == 0 && c.Key == None || k > 0 && c.Option.Crop.ID == id })
			}
		}
		f.at = append(f.at, at)
		apart := make([]uint64, len(f.ids))
		for c := range f.ids {
			for d := range f.ids {
				x, y := at[0][c], at[1][d]
				if x < 0 || y < 0 || d == 0 {
					continue
				}
				winter, rest := f.cells[i][0][x], f.cells[i][1][y]
				if c == 0 && !rest.Fit.OK || c > 0 && (f.Rules.OneEach || !rest.After.OK || Apart(winter.Option, rest.Option)) {
					apart[c] |= 1 << d
				}
			}
		}
		f.apart = append(f.apart, apart)
	}
}

// cell is a choice of a bed and window.
func (f *field) cell(i, w, choice int) Cell { return f.cells[i][w][f.at[i][w][choice]] }

// open reports whether a choice is open in a bed and window by dates and soil.
func (f *field) open(i, w, choice int) bool {
	k := f.at[i][w][choice]
	return k >= 0 && f.cells[i][w][k].Allowed
}

// rule is one rule that may be dropped or kept: a limit on all beds, the number
// of seed lots, a pin or a forbid.
type rule struct {
	words, from string
	limit       *allot.Limit
	lots        int
	pin         *Pin
	forbid      *Pin
}

func (f *field) stated(name string) string { return f.Rules.Stated[name] }

// uses makes the use of a limit from that of each cell.
func (f *field) uses(do func(i int, c Cell) float64) [][allot.Windows][]float64 {
	out := make([][allot.Windows][]float64, len(f.beds))
	for i := range f.beds {
		for w := range allot.Windows {
			for k := range f.ids {
				u := 0.0
				if k > 0 && f.open(i, w, k) {
					u = do(i, f.cell(i, w, k))
				}
				out[i][w] = append(out[i][w], u)
			}
		}
	}
	return out
}

// part is the share of an option that is of a crop, a family or a legume.
func part(o Option, what string) float64 {
	share := 0.0
	for _, p := range o.Parts() {
		if what == Legumes && p.Crop.Legume || p.Crop.ID == what || family(p.Crop.Family) == what {
			share += p.Share
		}
	}
	return share
}

// Unpriced is the rule of a Reason that refuses a cover under a budget because
// its price is not known.
const Unpriced = "budget"

// Legumes names all legumes in an Area.
const Legumes = "legumes"

// rules are those of the plan that beds share, and the pins and forbids.
func (f *field) rules() []rule {
	r := f.Rules
	out := []rule{{
		words: fmt.Sprintf("at most %s", rested(r.MaxRested)), from: f.stated("rest"),
		limit: &allot.Limit{Most: float64(r.MaxRested), Use: f.uses(func(_ int, c Cell) float64 {
			if c.rests() {
				return 1
			}
			return 0
		})},
	}}
	if r.Budget != nil {
		out = append(out, rule{
			words: fmt.Sprintf("a budget of %.2f USD", *r.Budget), from: f.stated("budget"),
			limit: &allot.Limit{Most: *r.Budget, Use: f.uses(func(_ int, c Cell) float64 { return c.Score.CostUSD })},
		})
	}
	if r.Lots > 0 {
		out = append(out, rule{words: fmt.Sprintf("at most %s", count(r.Lots, "seed lot")), from: f.stated("lots"), lots: r.Lots})
	}
	if r.Untreated > 0 {
		n := r.untreated(len(f.beds))
		l := allot.Limit{Most: -float64(n), Use: f.uses(func(int, Cell) float64 { return 0 })}
		for range f.beds {
			l.Bare = append(l.Bare, -1)
		}
		out = append(out, rule{words: fmt.Sprintf("%d in %d beds without a cover (%s)", r.Untreated, r.UntreatedOf, count(n, "bed")), from: f.stated("untreated"), limit: &l})
	}
	for _, x := range []struct {
		share *float64
		sign  float64
		words string
	}{{r.Legumes, 1, "at least"}, {r.LegumesMost, -1, "at most"}} {
		if x.share == nil {
			continue
		}
		out = append(out, rule{
			words: fmt.Sprintf("%s %.0f %% of the sown area in legumes", x.words, 100**x.share), from: f.stated("legumes"),
			limit: &allot.Limit{Use: f.uses(func(i int, c Cell) float64 { return x.sign * (*x.share - part(c.Option, Legumes)) * f.beds[i].AreaM2 })},
		})
	}
	for _, a := range r.Areas {
		sign, words := 1.0, "at most"
		if a.Least {
			sign, words = -1, "at least"
		}
		out = append(out, rule{
			words: fmt.Sprintf("%s %s of %s", words, f.site.Units.Area(a.M2), a.What), from: a.From,
			limit: &allot.Limit{Most: sign * a.M2, Use: f.uses(func(i int, c Cell) float64 { return sign * part(c.Option, a.What) * f.beds[i].AreaM2 })},
		})
	}
	for i := range r.Pins {
		out = append(out, rule{words: "pin " + r.Pins[i].String(), from: r.Pins[i].From, pin: &r.Pins[i]})
	}
	for i := range r.Forbids {
		out = append(out, rule{words: "forbid " + r.Forbids[i].String(), from: r.Forbids[i].From, forbid: &r.Forbids[i]})
	}
	return out
}

// problem is the plan under some rules, as the solver takes it.
func (f *field) problem(rules []rule) allot.Problem {
	p := allot.Problem{Lots: f.lots, Together: [allot.Windows]float64{f.Rules.Together, f.Rules.Together}}
	for i := range f.beds {
		b := allot.Bed{Row: f.row[i], Apart: f.apart[i]}
		for w := range allot.Windows {
			for k := range f.ids {
				v := math.NaN()
				if f.open(i, w, k) {
					v = f.cell(i, w, k).Value
				}
				b.Value[w] = append(b.Value[w], v)
			}
		}
		p.Beds = append(p.Beds, b)
	}
	for _, r := range rules {
		switch {
		case r.limit != nil:
			p.Limits = append(p.Limits, *r.limit)
		case r.lots > 0:
			p.MaxLots = r.lots
		case r.pin != nil:
			f.each(*r.pin, func(i, w, k int, same, _ bool) {
				if !same {
					p.Beds[i].Value[w][k] = math.NaN()
				}
			})
		case r.forbid != nil:
			f.each(*r.forbid, func(i, w, k int, _, has bool) {
				if has {
					p.Beds[i].Value[w][k] = math.NaN()
				}
			})
		}
	}
	return p
}

// each calls do for the choices of the beds and windows that a pin or forbid
// speaks of; same says that it speaks of that choice, has that the choice is it
// or a mix that holds it. Where only a bed and a window are forbidden, all covers
// there are meant, and None is not.
func (f *field) each(p Pin, do func(i, w, k int, same, has bool)) {
	for i, b := range f.beds {
		if p.Bed != "" && p.Bed != b.Code {
			continue
		}
		for w, stand := range [2]Stand{BeforePlanting, RestYear} {
			if p.Window != "" && p.Window != stand {
				continue
			}
			for k, id := range f.ids {
				same := k > 0 && (p.Cover == "" || p.Cover == id) || k == 0 && p.Cover == None
				has := same || k > 0 && slices.Contains(strings.Split(id, "+"), p.Cover)
				do(i, w, k, same, has)
			}
		}
	}
}

func (f *field) solve(ctx context.Context, rules []rule, o allot.Options) (allot.Plan, error) {
	return allot.Solve(ctx, f.problem(rules), o)
}

// alike are the points for neighbours sown alike.
func (f *field) alike(choice [][allot.Windows]int) float64 {
	sum := 0.0
	for i := range len(choice) - 1 {
		sum += f.pair(choice, i)
	}
	return sum
}

// pair are the points of bed i and the next for being sown alike.
func (f *field) pair(choice [][allot.Windows]int, i int) float64 {
	sum := 0.0
	for w := range allot.Windows {
		if f.row[i] == f.row[i+1] && choice[i][w] != 0 && choice[i][w] == choice[i+1][w] {
			sum += f.Rules.Together
		}
	}
	return sum
}

func rested(k int) string { return count(k, "rested bed") }
