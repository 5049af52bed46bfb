// Package week makes the week's list of one farm on one date: what to scout,
// what to do, what to order now, what must not be done, and what was left
// undone from the week before.
//
// The list climbs the ladder of integrated pest management: prevention,
// cultural and mechanical steps, biological releases, and a product last,
// and only where a label that the grower has transcribed allows it
// (Directive 2009/128/EC annex III; 7 CFR 205.206 sets the same order for
// organic farms). Lines are ordered by what cannot wait.
//
// Everything is an argument: assessments, catalogue steps, labels, records,
// weather. The same input gives the same list on any day and any machine.
//
// Not here: walking order and time budget (package round), one plan over
// several weeks with the farm's working days (package monthplan).
package week

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/effect"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/schedule"
	"leafturn/internal/verdict"
)

// Section is a part of the list.
type Section string

// The sections in the order in which they are printed.
const (
	Scout Section = "scout"
	Do    Section = "do"
	Order Section = "order"
	Avoid Section = "must not"
	Left  Section = "left undone"
)

// Sections lists the sections in print order.
var Sections = []Section{Do, Avoid, Order, Scout, Left}

// Rung is a step of the ladder.
type Rung int

// The rungs, lowest first.
const (
	Prevention Rung = iota + 1
	Cultural
	Biological
	Product
)

// String names the rung for people.
func (r Rung) String() string {
	switch r {
	case Prevention:
		return "prevention"
	case Cultural:
		return "cultural or mechanical"
	case Biological:
		return "biological"
	case Product:
		return "product by label"
	}
	return ""
}

// Action is a step that the catalogue knows against a pest.
type Action struct {
	Key, Pest  string
	Rung       Rung
	Text       string
	Amount     string
	When       string
	WithinDays int // days from the count to the step; below zero there is no such limit
	From, To   farm.Stage
	Level      string // prevent, watch or act: from which verdict on it is offered
	Why        string
	Safety     string // key of the safety line, "" when none
	Agent      string // the agent that a release step lets out
	Ref        assess.Ref
}

// Safety is the caution that goes with a step.
type Safety struct {
	Line   string
	Detail string
	Ref    assess.Ref
}

// Input is all that the list is made from.
type Input struct {
	Today       civil.Date
	Farm        farm.Farm
	Zone        *time.Location
	Beds        []farm.Bed
	Stages      map[string]farm.Stage // by bed code, on Today
	Assessments []assess.Assessment   // every bed and pest that the farm watches
	Actions     map[string][]Action   // by pest
	Safety      map[string]Safety
	// ProductSafety names the cautions that go with a product.
	ProductSafety func(l farm.Label) []string
	Agents        map[string][]AgentOffer // by agent, only those that may be offered outdoors
	Labels        []farm.Label            // the version in force on Today
	Treatments    []farm.Treatment        // all of them up to Today
	Versions      map[int64]farm.Label    // by treatment: the label version it was made under
	Releases      []farm.Release          // of the season
	Lately        []farm.Release          // those before it whose animals may still live
	Done          []farm.Done
	Visits        []farm.Visit
	Weather       map[civil.Date]farm.WeatherDay
	// Wait tells how many days a residue of an active harms an agent; known is
	// false where nothing is known of the pair.
	Wait func(active, agent string) (days int, known bool)
	// Planted is the day on which the present crop of a bed was planted, for
	// label limits per crop cycle; a bed that is not in it is not known.
	Planted map[string]civil.Date
	// Own is what the farm's own results of the season say of its steps, by pest.
	Own map[string][]effect.Own
	// Questions ask whether a pest resists a mode of action, by pest.
	Questions map[string][]effect.Question
	Work      map[string][]label.Work // planned in the beds, besides what the list asks for
	// Lasts tells how long a generation of a pest runs that begins on a day.
	Lasts func(pest string, from civil.Date) label.Lasting
	// ActiveKey and Apart are of label.Request.
	ActiveKey func(name string) (string, bool)
	Apart     []label.Apart
	Looks     []label.Look // what actives need to know of pests
	// Coming is what the forecast says, by bed and pest, where there is one.
	Coming map[[2]string]Coming
}

// Trace is what led to a line in one bed.
type Trace struct {
	Bed        string
	Assessment *assess.Assessment // nil where no count is behind it
	Rule       string             // the rule applied, in words
	Facts      []string           // what else was used: labels, records, dates
	// Release is what an order or a let-out was worked out from, nil elsewhere;
	// Ordered is zero where it is yet to be ordered.
	Release *schedule.ReleaseRequest
	Ordered civil.Date
}

// Line is one entry of the list.
type Line struct {
	Number   int
	Section  Section
	Ref      string // stable name, such as "do:slug:hand_pick"
	Pest     string
	PestName string
	Action   string // key of the step, "" where it is none
	Rung     Rung   // 0 where it is no step
	Beds     []string
	Head     string
	Details  []string
	Why      string
	Safety   []string
	From, By civil.Date // when: from From, by By at the latest; zero is "any time"
	Again    bool       // it stood in last week's list and was not done
	Record   string     // the command that records it as done
	Sources  []assess.Ref
	Traces   []Trace
}

// List is the week's list.
type List struct {
	Today civil.Date
	Lines []Line // in print order, numbered from 1
	// Closed is the beds that must not be entered for a time.
	Closed []Closure
	// Quiet is what needs nothing this week: bed and pest pairs on hold.
	Quiet []assess.Assessment
}

// In returns the lines of one section in order.
func (l List) In(s Section) []Line {
	var out []Line
	for _, x := range l.Lines {
		if x.Section == s {
			out = append(out, x)
		}
	}
	return out
}

// Line returns the line with the given number.
func (l List) Line(number int) (Line, bool) {
	if number < 1 || number > len(l.Lines) {
		return Line{}, false
	}
	return l.Lines[number-1], true
}

// Build makes the list. previous is the list of seven days before, made from
// what was known then; nil leaves out what was left undone.
func Build(in Input, previous *List) List {
	b := &builder{in: in}
	b.reentry()
	b.scouting()
	b.steps()
	b.releases()
	b.products()
	if previous != nil {
		b.leftUndone(*previous)
	}
	return b.finish()
}

type builder struct {
	in     Input
	lines  []Line
	at     map[string][]int // by bed: its places in lines
	quiet  []assess.Assessment
	closed []Closure
	shut   map[string]time.Time       // by bed: the end of re-entry, zero where it is unknown
	looked map[[2]string][]civil.Date // by bed and pest: the days of its visits
}

func (b *builder) add(l Line) {
	if b.at == nil {
		b.at = map[string][]int{}
	}
	for _, bed := range l.Beds {
		b.at[bed] = append(b.at[bed], len(b.lines))
	}
	b.lines = append(b.lines, l)
}

// finish merges, orders and numbers the lines.
func (b *builder) finish() List {
	merged := mergeByRef(b.lines)
	// What is to be done stands pest by pest, so that the ladder can be read
	// from its foot; the pest whose first step cannot wait comes first.
	first := map[string]civil.Date{}
	for _, l := range merged {
		if l.Section == Do && l.Rung != Prevention {
			if d, ok := first[l.Pest]; !ok || civil.CompareDeadline(l.By, d) < 0 {
				first[l.Pest] = l.By
			}
		}
	}
	slices.SortStableFunc(merged, func(x, y Line) int {
		if c := cmp.Compare(slices.Index(Sections, x.Section), slices.Index(Sections, y.Section)); c != 0 {
			return c
		}
		if x.Section == Do {
			return cmp.Or(
				civil.CompareDeadline(first[x.Pest], first[y.Pest]),
				cmp.Compare(x.PestName, y.PestName),
				cmp.Compare(x.Rung, y.Rung),
				cmp.Compare(b.doubt(x), b.doubt(y)),
				civil.CompareDeadline(x.By, y.By),
				cmp.Compare(x.Ref, y.Ref),
			)
		}
		return cmp.Or(civil.CompareDeadline(x.By, y.By), cmp.Compare(x.PestName, y.PestName), cmp.Compare(x.Ref, y.Ref))
	})
	for i := range merged {
		merged[i].Number = i + 1
		b.keepOut(&merged[i])
	}
	return List{Today: b.in.Today, Lines: merged, Closed: b.closed, Quiet: b.quiet}
}

// mergeByRef makes one line of those with the same Ref: their beds, details,
// traces and sources together, the earliest deadline, the first one's words.
func mergeByRef(lines []Line) []Line {
	var out []Line
	at := map[string]int{}
	for _, l := range lines {
		i, ok := at[l.Ref]
		if !ok {
			at[l.Ref] = len(out)
			l.Details = slices.Clone(l.Details)
			out = append(out, l)
			continue
		}
		m := &out[i]
		m.Beds = appendNew(m.Beds, l.Beds...)
		m.Details = appendNew(m.Details, l.Details...)
		m.Safety = appendNew(m.Safety, l.Safety...)
		m.Traces = mergeTraces(m.Traces, l.Traces)
		for _, s := range l.Sources {
			if !slices.Contains(m.Sources, s) {
				m.Sources = append(m.Sources, s)
			}
		}
		if civil.CompareDeadline(l.By, m.By) < 0 {
			m.By = l.By
		}
		if civil.CompareDeadline(l.From, m.From) < 0 {
			m.From = l.From
		}
		m.Again = m.Again || l.Again
		m.Why = joinWhy(m.Why, l.Why)
	}
	for i := range out {
		beds := strings.Join(out[i].Beds, " ")
		out[i].Record = strings.ReplaceAll(out[i].Record, bedsHere, beds)
		for j, d := range out[i].Details {
			out[i].Details[j] = strings.ReplaceAll(d, bedsHere, beds)
		}
	}
	return out
}

// mergeTraces joins the traces of the same bed and assessment.
func mergeTraces(to, more []Trace) []Trace {
	for _, t := range more {
		i := slices.IndexFunc(to, func(x Trace) bool { return x.Bed == t.Bed && x.Assessment == t.Assessment && x.Rule == t.Rule })
		if i < 0 {
			to = append(to, t)
			continue
		}
		to[i].Facts = appendNew(to[i].Facts, t.Facts...)
	}
	return to
}

// bedsHere stands for the beds of a line in its Record and Details until lines
// are merged.
const bedsHere = "{beds}"

func appendNew(to []string, items ...string) []string {
	for _, x := range items {
		if !slices.Contains(to, x) {
			to = append(to, x)
		}
	}
	return to
}

func joinWhy(a, b string) string {
	switch {
	case a == "":
		return b
	case b == "" || strings.Contains(a, b):
		return a
	}
	return a + "; " + b
}

// level tells how far up a bed and pest have come: "act", "watch" or "".
func level(a assess.Assessment) string {
	switch {
	case a.Result.Verdict == verdict.Act || a.HotSpotAct:
		return "act"
	case a.Result.Rule == verdict.RuleEnemies:
		return "" // natural enemies are at work: leave them to it and recount
	case a.Decider == nil || !a.Decider.Valid() || a.Result.Verdict == verdict.Stale:
		return ""
	case a.Result.Watched:
		return "watch"
	}
	return ""
}

// basis is the reading that the steps rest on: the hot spot where that alone
// calls for them, else the one that decided. It is nil where level is "".
func basis(a *assess.Assessment) *assess.Reading {
	if a.HotSpotAct && a.Result.Verdict != verdict.Act {
		return &a.HotSpots[len(a.HotSpots)-1]
	}
	return a.Decider
}

// steps adds the prevention and the cultural and mechanical steps.
func (b *builder) steps() {
	for i := range b.in.Assessments {
		a := &b.in.Assessments[i]
		lvl := level(*a)
		if lvl == "" {
			if a.Result.Verdict == verdict.Hold {
				b.quiet = append(b.quiet, *a)
			}
			continue
		}
		for _, act := range b.byResults(a.Pest.Key) {
			if act.Rung == Product || act.Agent != "" || !act.fits(a.Stage, lvl) {
				continue
			}
			if act.Rung == Prevention {
				b.prevention(a, act, lvl)
				continue
			}
			if b.doneSince(a.Bed.Code, a.Pest.Key, act.Key, basis(a).Visit.Date) {
				continue
			}
			if b.failedHere(a, act.Key, act.Text) {
				continue
			}
			b.add(Line{
				Section: Do, Ref: "do:" + a.Pest.Key + ":" + act.Key,
				Pest: a.Pest.Key, PestName: a.Pest.Name, Action: act.Key, Rung: act.Rung,
				Beds: []string{a.Bed.Code},
				Head: act.Text, Details: b.ownWords(a.Pest.Key, act.Key, stepDetails(act)), Why: Short(*a),
				Safety: b.safety(act.Safety),
				From:   b.in.Today, By: b.deadline(*a, act.WithinDays),
				Record:  didCommand(a.Pest.Key, act.Key),
				Sources: []assess.Ref{act.Ref},
				Traces: []Trace{{Bed: a.Bed.Code, Assessment: a, Rule: fmt.Sprintf(
					"%s: the verdict is %s, and this %s step is offered from %q on at this stage (%s)",
					a.Pest.Name, a.Result.Verdict, act.Rung, act.Level, a.Stage), Facts: nonEmpty(act.Why)}},
			})
		}
	}
}

// preventionDays is how long a prevention step that was recorded stays out of
// the list. Common practice.
const preventionDays = 28

// prevention gathers the prevention steps against a pest in one line: most
// are habits, to be kept up rather than done once.
func (b *builder) prevention(a *assess.Assessment, act Action, lvl string) {
	if b.doneSince(a.Bed.Code, a.Pest.Key, act.Key, b.in.Today.AddDays(-preventionDays)) {
		return
	}
	short := act.Key
	if _, rest, ok := strings.Cut(act.Key, "_"); ok {
		short = rest
	}
	b.add(Line{
		Section: Do, Ref: "do:" + a.Pest.Key + ":prevention", Pest: a.Pest.Key, PestName: a.Pest.Name, Action: "prevention", Rung: Prevention,
		Beds: []string{a.Bed.Code}, Head: "Prevention, to be kept up",
		Details: []string{strings.TrimSuffix(act.Text, ".") + " (" + short + ")"}, Why: Short(*a), Safety: b.safety(act.Safety),
		Record:  fmt.Sprintf("leafturn did %s STEP %s", a.Pest.Key, bedsHere),
		Sources: []assess.Ref{act.Ref},
		Traces: []Trace{{Bed: a.Bed.Code, Assessment: a, Rule: fmt.Sprintf(
			"%s at the %s level: prevention comes before every other step", a.Pest.Name, lvl), Facts: nonEmpty(act.Why)}},
	})
}

func stepDetails(act Action) []string {
	var d []string
	if act.Amount != "" {
		d = append(d, "how much: "+act.Amount)
	}
	if act.When != "" {
		d = append(d, "when: "+act.When)
	}
	return d
}

// fits reports whether the step is offered at a stage and level. A step for
// "prevent" or "watch" is offered at "act" as well: the ladder is climbed from
// its foot.
func (a Action) fits(stage farm.Stage, lvl string) bool {
	if !stage.Between(a.From, a.To) {
		return false
	}
	return lvl == "act" || lvl == "watch" && a.Level != "act"
}

// deadline is the last day for a step: so many days after the count that led
// to it, but never before today; no date where within is below zero.
func (b *builder) deadline(a assess.Assessment, within int) civil.Date {
	if within < 0 {
		return civil.Date{}
	}
	by := basis(&a).Visit.Date.AddDays(within)
	if by.Before(b.in.Today) {
		return b.in.Today
	}
	return by
}

// doneSince reports whether a step was recorded on or after a date.
func (b *builder) doneSince(bed, pest, action string, since civil.Date) bool {
	return slices.ContainsFunc(b.in.Done, func(d farm.Done) bool {
		return d.Bed == bed && d.Pest == pest && d.Action == action && !d.Date.Before(since) && !d.Date.After(b.in.Today)
	})
}

func (b *builder) safety(keys ...string) []string {
	var out []string
	for _, k := range keys {
		if s, ok := b.in.Safety[k]; ok {
			out = appendNew(out, s.Line)
		}
	}
	return out
}

// productSafety are the cautions of a product.
func (b *builder) productSafety(l farm.Label) []string {
	if b.in.ProductSafety == nil {
		return nil
	}
	return b.safety(b.in.ProductSafety(l)...)
}

func nonEmpty(items ...string) []string {
	return slices.DeleteFunc(slices.Clone(items), func(s string) bool { return s == "" })
}

// didCommand is the command that records a step. The step is named without
// the word for the pest in front of its key.
func didCommand(pest, key string) string {
	if _, rest, ok := strings.Cut(key, "_"); ok {
		key = rest
	}
	return fmt.Sprintf("leafturn did %s %s %s", pest, key, bedsHere)
}
