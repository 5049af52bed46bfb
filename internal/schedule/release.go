// Package schedule lays the dates of natural enemies out: when they are
// ordered, released and looked at again, and on which days a parcel may come.
//
// Rates, waits and temperature limits are arguments: the caller looks them up
// with their sources.
//
// Not here: day length and vapour-pressure limits of natural enemies, permits
// for releases, and the time a predator generation takes. Each has to be
// looked up by the grower.
package schedule

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// Kind tells how an agent's rate is meant.
type Kind string

// The kinds of rate.
const (
	PerM2  Kind = "per_m2" // animals per square metre of bed and release
	Ratio  Kind = "ratio"  // animals per animal of the pest
	Sachet Kind = "sachet" // sachets per square metre of bed and release
)

// AgentRate is one row of release facts, looked up by the caller. Zero and
// nil are "not known".
type AgentRate struct {
	Agent, Name, Pest string
	Kind              Kind
	Rate, RateMax     float64 // per release
	Releases          int
	IntervalDays      int
	TempMin, TempMax  *float64   // °C: mean of the week, highest of any day
	RHMin             *float64   // %, mean of the week
	Days              []DayLimit // none: what length of day it needs is not known
	LeadDays          int        // from ordering to arrival
	NotWhen           string
	CheckDays         []int  // days after each release to look again
	CheckFor          string // what shows that it took
	Basis             string
	Source, URL       string
}

// DayLimit is a length of day below which a release is wasted, because the
// natural enemy or its prey then goes to rest.
type DayLimit struct {
	Hours       float64  // of daylight, from the release on for restDays
	NightsBelow *float64 // °C: it holds only while the week's nights are colder on average; nil is always
	Pest        string   // the pest that rests; "" is the enemy itself
	Words       string   // who rests, and how that was seen
	Basis       string
	Source, URL string
}

// Density is the estimated pest density per leaf (sample unit).
type Density struct {
	Known           bool
	Mean, Low, High float64 // Low and High may both be 0: no range
}

// Residue is one treatment, done or planned, and how long it harms the agent.
type Residue struct {
	Date     civil.Date
	Label    string
	Active   string
	WaitDays int  // worst class and longest window of the sources
	Known    bool // false: no side effect of the active on the agent is known
	Source   string
}

// ReleaseRequest asks when and how many natural enemies to release in a bed.
type ReleaseRequest struct {
	Today    civil.Date
	From     civil.Date // release wanted; zero is as soon as possible
	Until    civil.Date // last useful day, such as before digging; zero is not known
	Bed      farm.Bed
	Agent    AgentRate
	Density  Density
	Leaves   float64           // leaves (sample units) with the pest in the bed; 0 is not known
	Residues []Residue         // every treatment of the bed, done and planned
	Forecast []farm.WeatherDay // measured or forecast, any order
	Latitude *float64          // of the farm, degrees north; nil is not known
	Units    units.System      // in which temperatures are told
	Pack     int               // animals or sachets per pack; 0 is not known
	// Parcel is true where each release comes by parcel on its day: then a day on
	// which no parcel is to arrive is no day for a release.
	Parcel bool

	daylight map[civil.Date]float64 // hours, as far as they were asked for
}

// Gate is one condition of a release.
type Gate struct {
	Name  string
	State string // Passed, Failed or Open
	Words string
}

// The states of a gate.
const (
	Passed = "passed"
	Failed = "failed"
	Open   = "unknown"
)

// Refusal is one reason why nothing is released, and what to look up or do.
type Refusal struct{ Code, Words, LookUp string }

// Check is a day to look whether a release took.
type Check struct {
	Date  civil.Date
	Words string
}

// ReleasePlan is the answer. When Refusals is not empty there are no dates.
// When Firm is false a gate is unknown: the dates hold only if what LookUp
// names turns out well.
type ReleasePlan struct {
	Refusals []Refusal
	Firm     bool
	LookUp   []string
	Gates    []Gate
	Warnings []string

	Order, Release civil.Date
	Repeats        []civil.Date // the further releases
	Checks         []Check

	Count    int // animals or sachets per release, rounded up to whole ones
	CountMax int // at the top of the rate or of the density's range; 0 when there is none
	Unit     string
	Packs    int // 0 when the pack size is not known
	Words    string
}

// CountedOn is for how many days natural enemies that were let out are counted
// on. Common practice.
const CountedOn = 35

const (
	gateDays = 7   // the temperature and humidity of the week that begins with the release
	search   = 366 // days looked ahead
	restDays = 21  // days after the release that must be long enough too
	// longAhead is how far ahead a release is put off for longer days. Common
	// practice.
	longAhead = 28
)

// dayLength is the name of the gates of a day's length.
const dayLength = "day length"

// Release returns how many animals to release in a bed, when to order and
// release them, when to repeat and when to look.
//
// Number: area × rate, or rate × mean per leaf × leaves, rounded up. Release
// date: the first day that is not before the wanted one, not before today plus
// the lead time, and at least WaitDays after every residue; a day whose known
// weather fails the agent's limits is passed over, and where it comes by Parcel
// one that suits none. Order date: release − lead
// days. Weather that is not known leaves the plan not Firm. A treatment whose
// effect on the agent is not known refuses the plan.
func Release(q ReleaseRequest) ReleasePlan {
	var p ReleasePlan
	q.daylight = map[civil.Date]float64{}
	p.count(q)
	for _, r := range q.Residues {
		if !r.Known {
			p.Refusals = append(p.Refusals, Refusal{"unknown residue",
				fmt.Sprintf("%s was used on %s and its effect on %s is not known", or(r.Active, r.Label), r.Date, q.Agent.Name),
				fmt.Sprintf("the side effect of %s on %s: class and days of persistence", or(r.Active, r.Label), q.Agent.Name)})
		}
	}
	if len(p.Refusals) > 0 {
		p.Words = q.Bed.Code + ": cannot schedule: " + p.Refusals[0].Words
		return p
	}

	soonest := q.Today.AddDays(max(0, q.Agent.LeadDays))
	day := later(q.From, soonest)
	if !q.From.IsZero() && q.From.Before(soonest) {
		p.warn("the release wanted on %s moves to %s: ordering takes %d days", q.From.Short(), soonest.Short(), q.Agent.LeadDays)
	}
	weather := map[civil.Date]farm.WeatherDay{}
	for _, w := range q.Forecast {
		weather[w.Date] = w
	}
	last := day.AddDays(search)
	var moved []string
	for ; !day.After(last); day = day.AddDays(1) {
		free, why := q.free(day)
		if free.After(day) {
			moved = append(moved, why)
			day = free.AddDays(-1)
			continue
		}
		if why := q.noParcel(day, weather); why != "" {
			moved = append(moved, why)
			continue
		}
		p.Gates = q.gates(day, weather)
		bad := ""
		for _, g := range p.Gates {
			if g.State == Failed && bad == "" {
				bad = g.Words
			}
		}
		if bad == "" {
			break
		}
		if w := q.rests(day); w != "" {
			p.Refusals = append(p.Refusals, Refusal{dayLength, w, "another agent or another measure"})
			p.Gates, p.Words = nil, q.Bed.Code+": cannot schedule: "+w
			return p
		}
		moved = append(moved, bad)
	}
	// The first reason of a move, then the last: a week of failing days is one story.
	for i, m := range moved {
		if i == 0 || i == len(moved)-1 && m != moved[0] {
			p.Warnings = append(p.Warnings, m)
		}
	}
	if day.After(last) || !q.Until.IsZero() && day.After(q.Until) {
		p.Gates = nil
		words := fmt.Sprintf("no day for a release of %s before it is too late", q.Agent.Name)
		if !q.Until.IsZero() {
			words += fmt.Sprintf(" (%s)", q.Until)
		}
		p.Refusals = append(p.Refusals, Refusal{"no day", words, "another agent or another measure"})
		p.Words = q.Bed.Code + ": " + words
		return p
	}
	p.dates(q, day, weather)
	return p
}

// noParcel says why no parcel is to come on a day.
func (q ReleaseRequest) noParcel(d civil.Date, weather map[civil.Date]farm.WeatherDay) string {
	if !q.Parcel {
		return ""
	}
	w := weather[d]
	w.Date = d
	return ParcelDay(w, q.Units)
}

func or(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

func later(a, b civil.Date) civil.Date {
	if a.After(b) {
		return a
	}
	return b
}

func (p *ReleasePlan) warn(format string, args ...any) {
	p.Warnings = append(p.Warnings, fmt.Sprintf(format, args...))
}

// free returns the first day from d on that lies in no residue's wait, and
// the reason when it is later than d.
func (q ReleaseRequest) free(d civil.Date) (civil.Date, string) {
	why, start := "", d
	for moved := true; moved; { // a later treatment may catch the moved day
		moved = false
		for _, r := range q.Residues {
			if end := r.Date.AddDays(r.WaitDays); !r.Date.After(d) && end.After(d) {
				d, moved = end, true
				why = fmt.Sprintf("%s of %s can harm %s for %s: the first day for a release after %s is %s", or(r.Active, r.Label), r.Date, q.Agent.Name, dayWords(r.WaitDays), start, end)
			}
		}
	}
	return d, why
}

// count fills in the number of animals, or refuses.
func (p *ReleasePlan) count(q ReleaseRequest) {
	a := q.Agent
	refuse := func(code, lookUp, format string, args ...any) {
		p.Refusals = append(p.Refusals, Refusal{code, fmt.Sprintf(format, args...), lookUp})
	}
	p.Unit = "animals"
	if a.Kind == Sachet {
		p.Unit = "sachets"
	}
	if !(a.Rate > 0) || math.IsInf(a.Rate, 0) {
		refuse("no rate", "a rate with its source", "no rate of %s is known, so nothing is scheduled", a.Name)
		return
	}
	var base, top float64
	switch a.Kind {
	case PerM2, Sachet:
		base = q.Bed.AreaM2()
		if !(base > 0) {
			refuse("area", "length and width of the bed", "the area of %s is not known", q.Bed.Code)
			return
		}
		top = base
	case Ratio:
		if !q.Density.Known {
			refuse("density", "a count of the pest per leaf", "how many of the pest sit on a leaf in %s is not known", q.Bed.Code)
		}
		if !(q.Leaves > 0) {
			refuse("leaves", "infested plants × infested leaves on each", "how many infested leaves %s has is not known, so the rate of %g per pest animal gives no number", q.Bed.Code, a.Rate)
		}
		if len(p.Refusals) > 0 {
			return
		}
		base = q.Density.Mean * q.Leaves
		top = math.Max(q.Density.High*q.Leaves, base)
		if base == 0 {
			refuse("no prey", "another count", "no pest was found in %s, and %s starves without prey", q.Bed.Code, a.Name)
			return
		}
	default:
		refuse("no rate", "a rate with its source", "the rate of %s is of the kind %q, which is not known", a.Name, a.Kind)
		return
	}
	p.Count = whole(a.Rate * base)
	if most := whole(math.Max(a.RateMax, a.Rate) * top); most > p.Count {
		p.CountMax = most
	}
	if q.Pack > 0 {
		p.Packs = (p.Count + q.Pack - 1) / q.Pack
	}
}

// whole rounds up to whole animals, forgiving the last digits of the product.
func whole(v float64) int { return int(math.Ceil(v - 1e-9*v)) }

// dates fills in everything that follows from the release day.
func (p *ReleasePlan) dates(q ReleaseRequest, day civil.Date, weather map[civil.Date]farm.WeatherDay) {
	a := q.Agent
	p.Release, p.Order = day, day.AddDays(-max(0, a.LeadDays))
	p.Firm = true
	for _, g := range p.Gates {
		if g.State == Open {
			p.Firm, p.LookUp = false, append(p.LookUp, g.Words)
		}
	}
	all := []civil.Date{day}
	switch {
	case a.Releases <= 0:
		p.warn("how often %s is released is not known; one release is planned", a.Name)
	case a.Releases > 1 && a.IntervalDays <= 0:
		p.warn("%d releases are advised and the days between them are not known; one is planned", a.Releases)
	default:
		for i := 1; i < a.Releases; i++ {
			d, why := q.free(later(day.AddDays(i*a.IntervalDays), all[len(all)-1].AddDays(a.IntervalDays)))
			for no := q.noParcel(d, weather); no != ""; no = q.noParcel(d, weather) {
				next, more := q.free(d.AddDays(1))
				d, why = next, or(or(more, why), no)
			}
			if why != "" && !slices.Contains(p.Warnings, why) {
				p.Warnings = append(p.Warnings, why)
			}
			if !q.Until.IsZero() && d.After(q.Until) {
				p.warn("release %d of %d would come on %s, after %s, and is left out", i+1, a.Releases, d, q.Until)
				break
			}
			all = append(all, d)
		}
		p.Repeats = all[1:]
	}
	for _, r := range all {
		for _, n := range a.CheckDays {
			p.Checks = append(p.Checks, Check{r.AddDays(n), fmt.Sprintf("%d days after the release of %s: %s", n, a.Name, or(a.CheckFor, "count the pest again in the same way"))})
		}
		for _, s := range q.Residues {
			if w := sprayAfter(a.Name, r, s); w != "" {
				p.Warnings = append(p.Warnings, w)
			}
		}
	}
	sort.SliceStable(p.Checks, func(i, j int) bool { return p.Checks[i].Date.Before(p.Checks[j].Date) })
	if len(a.CheckDays) == 0 {
		p.LookUp = append(p.LookUp, "when to look whether "+a.Name+" took")
	}
	if q.Pack <= 0 {
		p.LookUp = append(p.LookUp, "the pack size of "+a.Name+": order at least the number shown")
	}
	if a.NotWhen != "" {
		p.LookUp = append(p.LookUp, "do not release when: "+strings.TrimRight(a.NotWhen, "."))
	}
	p.Words = fmt.Sprintf("%s: order %d %s of %s on %s, release on %s", q.Bed.Code, p.Count, p.Unit, a.Name, p.Order, p.Release)
	if !p.Firm {
		p.Words += " if the weather allows (not known yet)"
	}
}

// sprayAfter says what a spray does to animals that were let out before it. The
// wait is for those let out after it: whoever lives in the bed is hit whenever a
// harmful product comes.
func sprayAfter(agent string, release civil.Date, s Residue) string {
	gap := s.Date.Sub(release)
	when := dayWords(gap) + " after"
	if gap == 0 {
		when = "on the day of"
	}
	switch what := or(s.Active, s.Label); {
	case gap < 0:
	case !s.Known:
		return fmt.Sprintf("%s on %s is %s the release of %s on %s, and what it does to them is not known: look it up", what, s.Date, when, agent, release)
	case s.WaitDays > 0 && gap <= CountedOn:
		return fmt.Sprintf("%s on %s is %s the release of %s on %s and can harm them (its residue does for %s)", what, s.Date, when, agent, release, dayWords(s.WaitDays))
	}
	return ""
}

func dayWords(n int) string {
	if n == 1 {
		return "1 day"
	}
	return fmt.Sprintf("%d days", n)
}

// AfterRelease returns a warning for every release that a spray of some date
// could undo: one made up to CountedOn days before it where its residue harms, or
// any earlier one when the effect is not known. agent gives the words for an agent's key; only
// releases of the agent that the residue was looked up for are to be passed.
func AfterRelease(releases []farm.Release, agent string, spray Residue) []string {
	var out []string
	for _, r := range releases {
		if w := sprayAfter(agent, r.Date, spray); w != "" {
			out = append(out, fmt.Sprintf("%s: %s", r.Bed, w))
		}
	}
	return out
}
