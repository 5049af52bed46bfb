// Package effect tells afterwards whether a step against a pest worked: from
// the counts before and after it in the beds where it was taken, against beds
// where nothing was done in the same time.
//
// Everything is arithmetic on the arguments. Not here: which counts are valid
// and how the pest clumps (the caller says), and why a step did not work.
package effect

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/estimate"
)

// How far before and after a step counts are looked for, and how far apart the
// counts of treated and untreated beds may lie. Common practice.
const (
	beforeDays = 14
	afterDays  = 21
	apartDays  = 4
	leastK     = 1e-100
	mostDays   = 3650 // a wait is not longer
)

// Step is something done against a pest on one day, in one or more beds.
type Step struct {
	Name     string // what people call it
	Key      string // what it is known by, the same for each time it is done
	Product  bool   // an application, with its mode-of-action groups
	Groups   []string
	Beds     []string
	Date     civil.Date
	WaitDays int // a count sooner than so many days after says nothing yet
}

// Count is one visit to randomly chosen units of a bed. One without units, or
// with a total that no units hold, does not count.
type Count struct {
	Bed    string
	Date   civil.Date
	Unit   string // sample unit, with the nights it stood where that matters
	Total  int
	Units  int
	Visit  int64
	Reason string // why it does not count, "" where it does
}

func (c *Count) counts() bool {
	return c.Reason == "" && c.Units >= 1 && c.Total >= 0 && float64(c.Total) <= estimate.MaxCount*float64(c.Units)
}

// Method is how a result was reached.
type Method string

// The methods. None is a result that cannot be given; Missing says why.
const (
	None             Method = ""
	HendersonTilton  Method = "Henderson-Tilton"
	Abbott           Method = "Abbott"
	BeforeAndAfter   Method = "before and after"
	level                   = 0.95
	askResistance           = 50.0 // percent
	passedOverBelow         = 30.0 // percent
	passedOverTries         = 2
	resistanceRepeat        = 2
)

// Result is whether one step worked.
type Result struct {
	Step
	Unit                    string
	Before, After           estimate.Cell // in the beds of the step; Units 0: no count
	CheckBefore, CheckAfter estimate.Cell // in beds where nothing was done
	BeforeFrom, BeforeTo    civil.Date
	AfterFrom, AfterTo      civil.Date
	Counted                 []string // beds of the step that have the counts
	CheckBeds               []string
	Method                  Method
	Efficacy                estimate.Efficacy // of None: zero; of BeforeAndAfter the change
	Missing                 string            // what keeps the result back, in a sentence
	Course                  []civil.Date      // applications of the product between the same two counts, this one the last; nil: it stands alone
	CountFrom, CountBy      civil.Date        // when a count would still tell
	Warnings                []string
}

// Known reports whether there is a number.
func (r Result) Known() bool { return r.Method != None }

// Judge returns a result for each step, in the order of their days. steps are
// all steps against the pest, counts all its counts, in any order. k gives the
// k of the negative binomial for a unit at a mean; without one, or where it is
// no number above 0, there is no result. today tells what can still be counted.
//
// Of each bed the last valid count within 14 days before the step and the
// first within 21 days after its wait are taken. Another step between the two
// makes them useless: what did it cannot be told apart, unless it is the same
// product again: then the last application is judged for all of them. With untreated beds
// counted in both times the efficacy is Henderson and Tilton's, with untreated
// beds counted afterwards alone Abbott's, and without any there is only the
// change from before to after, which weather and season have a part in.
//
// Sources: Henderson & Tilton 1955, J. Economic Entomology 48:157-161; Abbott
// 1925, J. Economic Entomology 18:265-267; the windows are common practice.
func Judge(steps []Step, counts []Count, k func(unit string, mean float64) float64, today civil.Date) []Result {
	counts = slices.Clone(counts)
	slices.SortStableFunc(counts, func(a, b Count) int {
		return cmp.Or(a.Date.Compare(b.Date), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.Visit, b.Visit))
	})
	out := make([]Result, 0, len(steps))
	for _, s := range steps {
		s.WaitDays = min(max(s.WaitDays, 0), mostDays)
		out = append(out, judge(s, steps, counts, k, today))
	}
	slices.SortStableFunc(out, func(a, b Result) int { return a.Date.Compare(b.Date) })
	return out
}

// pair is the counts of one bed around a step.
type pair struct{ before, after *Count }

func judge(s Step, steps []Step, counts []Count, k func(string, float64) float64, today civil.Date) Result {
	r := Result{Step: s, CountFrom: s.Date.AddDays(max(s.WaitDays, 1)), CountBy: s.Date.AddDays(s.WaitDays + afterDays)}
	var best map[string]pair
	for _, unit := range units(counts) {
		pairs := map[string]pair{}
		for _, bed := range s.Beds {
			if p := around(s, bed, unit, counts); p.after != nil {
				pairs[bed] = p
			}
		}
		if score(pairs) > score(best) {
			best, r.Unit = pairs, unit
		}
	}
	if len(best) == 0 {
		r.Missing = fmt.Sprintf("no valid count from %s on", r.CountFrom.Short())
		if bad := invalid(s, counts); bad != "" {
			r.Missing += "; " + bad
		}
		if today.After(r.CountBy) {
			r.Missing += ", and now it is too late"
		} else {
			r.Missing += fmt.Sprintf(": count until %s", r.CountBy.Short())
		}
		return r
	}
	var courses map[string][]civil.Date
	best, courses = course(s, steps, counts, r.Unit, best)
	both := score(best) > len(best) // at least one bed has both
	var mixed []string
	for _, bed := range s.Beds {
		p, ok := best[bed]
		if !ok || both && p.before == nil {
			continue
		}
		start := s.Date
		if c := courses[bed]; len(c) > 0 {
			start = c[0]
		}
		from := start.AddDays(-beforeDays)
		if p.before != nil {
			from = p.before.Date
		}
		others := between(steps, s, bed, from, p.after.Date)
		others = slices.DeleteFunc(others, func(o Step) bool { return o.Key == s.Key && slices.Contains(courses[bed], o.Date) })
		if len(others) > 0 {
			for _, o := range others {
				if words := fmt.Sprintf("%s on %s", o.Name, o.Date.Short()); !slices.Contains(mixed, words) {
					mixed = append(mixed, words)
				}
			}
			continue
		}
		for _, d := range courses[bed] {
			if !slices.Contains(r.Course, d) {
				r.Course = append(r.Course, d)
			}
		}
		r.Counted = append(r.Counted, bed)
		add(&r.After, &r.AfterFrom, &r.AfterTo, p.after)
		if both {
			add(&r.Before, &r.BeforeFrom, &r.BeforeTo, p.before)
		}
	}
	if len(r.Counted) == 0 {
		r.Missing = "it cannot be told apart from " + strings.Join(mixed, ", ") + ", between the same two counts"
		return r
	}
	slices.SortFunc(r.Course, civil.Date.Compare)
	r.checks(steps, counts, both)
	r.estimate(k)
	if r.Known() && len(r.Course) > 1 {
		days := make([]string, len(r.Course))
		for i, d := range r.Course {
			days[i] = d.Short()
		}
		r.Warnings = append(r.Warnings, fmt.Sprintf("the %d applications of %s are judged together: nothing was counted between them", len(days), strings.Join(days, ", ")))
	}
	return r
}

// course finds, bed by bed, the applications of the same product before s that
// no count parts from it: the count before them is the one to compare with. The
// days of a course end with that of s; a bed without one is not among them.
func course(s Step, steps []Step, counts []Count, unit string, pairs map[string]pair) (map[string]pair, map[string][]civil.Date) {
	out, courses := map[string]pair{}, map[string][]civil.Date{}
	for bed, p := range pairs {
		first, days := s, []civil.Date{s.Date}
		for s.Product {
			from := first.Date.AddDays(-beforeDays)
			if p.before != nil {
				from = p.before.Date
			}
			var earlier *Step
			for _, o := range between(steps, s, bed, from, s.Date) {
				if o.Product && o.Key == s.Key && o.Date.Before(first.Date) && (earlier == nil || o.Date.After(earlier.Date)) {
					earlier = &o
				}
			}
			if earlier == nil {
				break
			}
			first, days = *earlier, append([]civil.Date{earlier.Date}, days...)
			// A count between the two would have been the one before s.
			p.before = around(first, bed, unit, counts).before
		}
		out[bed] = p
		if len(days) > 1 {
			courses[bed] = days
		}
	}
	return out, courses
}

// units lists the units counted, in order of their names.
func units(counts []Count) []string {
	var out []string
	for _, c := range counts {
		if c.counts() && !slices.Contains(out, c.Unit) {
			out = append(out, c.Unit)
		}
	}
	slices.Sort(out)
	return out
}

// score prefers a unit with counts on both sides to one with counts after.
func score(pairs map[string]pair) int {
	n := 0
	for _, p := range pairs {
		if n++; p.before != nil {
			n += 1000
		}
	}
	return n
}

// around finds the last valid count before a step and the first after its
// wait. Of several on one day the one recorded last counts. A count of the
// same day led to the step.
func around(s Step, bed, unit string, counts []Count) pair {
	var p pair
	for i := range counts {
		c := &counts[i]
		if c.Bed != bed || c.Unit != unit || !c.counts() {
			continue
		}
		switch ago := s.Date.Sub(c.Date); {
		case ago >= 0 && ago <= beforeDays:
			if p.before == nil || c.Date.After(p.before.Date) || c.Date == p.before.Date && c.Visit > p.before.Visit {
				p.before = c
			}
		case -ago >= max(s.WaitDays, 1) && -ago <= s.WaitDays+afterDays:
			if p.after == nil || c.Date.Before(p.after.Date) || c.Date == p.after.Date && c.Visit > p.after.Visit {
				p.after = c
			}
		}
	}
	return p
}

// invalid says why counts in the time after the step do not count.
func invalid(s Step, counts []Count) string {
	for _, c := range counts {
		if c.Reason != "" && slices.Contains(s.Beds, c.Bed) && c.Date.After(s.Date) && c.Date.Sub(s.Date) <= s.WaitDays+afterDays {
			return fmt.Sprintf("that of %s in %s does not count: %s", c.Date.Short(), c.Bed, c.Reason)
		}
	}
	return ""
}

// between returns the other steps in a bed from one day to another.
func between(steps []Step, s Step, bed string, from, to civil.Date) []Step {
	var out []Step
	for _, o := range steps {
		if o.Key == s.Key && o.Date == s.Date || !slices.Contains(o.Beds, bed) || o.Date.Before(from) || !o.Date.Before(to) {
			continue
		}
		out = append(out, o)
	}
	return out
}

func add(c *estimate.Cell, from, to *civil.Date, n *Count) {
	c.Total += float64(n.Total)
	c.Units += n.Units
	if from.IsZero() || n.Date.Before(*from) {
		*from = n.Date
	}
	if n.Date.After(*to) {
		*to = n.Date
	}
}

// checks fills the cells of the beds in which nothing was done from the first
// count to the last.
func (r *Result) checks(steps []Step, counts []Count, both bool) {
	beds := map[string]bool{}
	for _, c := range counts {
		beds[c.Bed] = true
	}
	names := make([]string, 0, len(beds))
	for b := range beds {
		names = append(names, b)
	}
	slices.Sort(names)
	near := func(bed string, from, to civil.Date) *Count {
		var best *Count
		for i := range counts {
			c := &counts[i]
			if c.Bed == bed && c.Unit == r.Unit && c.counts() && !c.Date.Before(from) && !c.Date.After(to) &&
				(best == nil || c.Date.After(best.Date) || c.Date == best.Date && c.Visit > best.Visit) {
				best = c
			}
		}
		return best
	}
	for _, bed := range names {
		if slices.Contains(r.Beds, bed) {
			continue
		}
		after := near(bed, latest(r.AfterFrom.AddDays(-apartDays), r.Date.AddDays(1)), r.AfterTo.AddDays(apartDays))
		if after == nil {
			continue
		}
		from := r.Date
		var before *Count
		if both {
			if before = near(bed, r.BeforeFrom.AddDays(-apartDays), earliest(r.BeforeTo.AddDays(apartDays), r.Date)); before == nil {
				continue
			}
			from = before.Date
		}
		if len(between(steps, Step{}, bed, from.AddDays(-beforeDays), after.Date)) > 0 {
			continue // what was done there earlier may still work
		}
		r.CheckBeds = append(r.CheckBeds, bed)
		var d civil.Date
		add(&r.CheckAfter, &d, &d, after)
		if both {
			add(&r.CheckBefore, &d, &d, before)
		}
	}
}

func latest(a, b civil.Date) civil.Date {
	if a.After(b) {
		return a
	}
	return b
}

func earliest(a, b civil.Date) civil.Date {
	if a.Before(b) {
		return a
	}
	return b
}

func (r *Result) estimate(k func(string, float64) float64) {
	mean := func(cells ...estimate.Cell) float64 {
		total, n := 0.0, 0
		for _, c := range cells {
			total, n = total+c.Total, n+c.Units
		}
		return total / math.Max(float64(n), 1)
	}
	if k == nil {
		k = func(string, float64) float64 { return 0 }
	}
	at := k(r.Unit, math.Max(mean(r.Before, r.After, r.CheckBefore, r.CheckAfter), 0.01))
	var err error
	switch {
	case !(at >= leastK):
		r.Missing = "how clumped the animals are is not known"
	case r.Before.Units > 0 && r.CheckAfter.Units > 0:
		r.Method = HendersonTilton
		r.Efficacy, err = estimate.HendersonTilton(r.Before, r.After, r.CheckBefore, r.CheckAfter, at, level)
		if err != nil && r.Before.Total == 0 {
			r.Missing = "none were counted before the step, so there is nothing to compare with"
		} else if err != nil {
			r.Missing = "none were counted in the untreated beds afterwards: they went without the step as well"
		}
	case r.CheckAfter.Units > 0:
		r.Method = Abbott
		r.Efficacy, err = estimate.AbbottCounts(r.After, r.CheckAfter, at, level)
		if err != nil {
			r.Missing = "none were counted in the untreated beds: there is nothing to compare with"
		}
		r.Warnings = append(r.Warnings, "nothing was counted before, so the beds are taken to have been alike")
	case r.Before.Units > 0:
		r.Method = BeforeAndAfter
		r.Efficacy, err = estimate.AbbottCounts(r.After, r.Before, at, level)
		if err != nil {
			r.Missing = "none were counted before the step, so there is nothing to compare with"
		}
		r.Warnings = append(r.Warnings, "there was no untreated bed to compare with: weather, season or luck may have done it")
	default:
		r.Missing = "nothing was counted before it, and no untreated bed after it"
	}
	if err != nil || r.Missing != "" {
		r.Method, r.Efficacy, r.Warnings = None, estimate.Efficacy{}, nil
		return
	}
	if len(r.Counted) < len(r.Beds) {
		r.Warnings = append(r.Warnings, fmt.Sprintf("%d of its %d beds have the counts", len(r.Counted), len(r.Beds)))
	}
}

// Words says the result for a grower.
func (r Result) Words() string {
	if !r.Known() {
		return r.Missing
	}
	what := "than untreated beds would lead one to expect"
	switch r.Method {
	case Abbott:
		what = "than in untreated beds"
	case BeforeAndAfter:
		what = "than before"
	}
	e := r.Efficacy
	if n := fewer(e.Percent); strings.HasSuffix(n, "as many") {
		what = strings.Replace(what, "than", "as", 1)
	}
	return fmt.Sprintf("%s %s; likely between %s and %s", fewer(e.Percent), what, fewer(e.Low), fewer(e.High))
}

// fewer says a percentage of control.
func fewer(p float64) string {
	switch {
	case p >= 99.5:
		return "nearly all gone"
	case p >= 0.5:
		return fmt.Sprintf("%.0f %% fewer", p)
	case p > -0.5:
		return "as many"
	case p < -1000:
		return "many times as many"
	}
	return fmt.Sprintf("%.0f %% more", -p)
}
