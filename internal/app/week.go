package app

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sort"
	"strings"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/degreeday"
	"leafturn/internal/diag"
	"leafturn/internal/effect"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/report"
	"leafturn/internal/verdict"
	"leafturn/internal/week"
)

// watched lists the pests that the farm watches and those that it has counted
// this season, by name.
func (a *App) watched(s snapshot) []string {
	keys := slices.Clone(a.farm.Pests)
	for pest := range s.byPest {
		keys = append(keys, pest)
	}
	sort.Strings(keys)
	return slices.Compact(keys)
}

// assessments gives the verdict of every bed and watched pest on the
// snapshot's day. A brief one leaves the numbers of earlier visits out, see
// assess.Input.
func (a *App) assessments(s snapshot, brief bool) ([]assess.Assessment, error) {
	return a.assessmentsOf(s, a.watched(s), brief)
}

// assessmentsOf are those of some pests.
func (a *App) assessmentsOf(s snapshot, watched []string, brief bool) ([]assess.Assessment, error) {
	f, err := a.dayFacts(s, watched)
	if err != nil {
		return nil, err
	}
	return a.assessmentsBy(s, f, brief)
}

// dayFacts are what the verdicts of a day on some pests share.
type dayFacts struct {
	watched []string
	facts   map[factsOf]*assess.Pest
	grows   map[string]assess.Grows
}

func (a *App) dayFacts(s snapshot, watched []string) (dayFacts, error) {
	a.memory.makeRoom(s.on)
	facts, err := a.allFacts(s, watched)
	if err != nil {
		return dayFacts{}, err
	}
	f := dayFacts{watched, facts, map[string]assess.Grows{}}
	for _, key := range watched {
		f.grows[key] = a.memory.sameGrows(growsOf{key, s.on}, a.grows(s, key))
	}
	return f, nil
}

// assessmentsBy are those of the pests whose facts are given. Those of two days
// may be made side by side where what is known of them is in parts.
func (a *App) assessmentsBy(s snapshot, day dayFacts, brief bool) ([]assess.Assessment, error) {
	holds := a.conditions(s)
	actAt, holdBelow := a.farm.ActAt()
	steps, confirmed, suspects := s.stepDays(), s.confirmed(), a.suspects(s)
	watched, facts, grows := day.watched, day.facts, day.grows
	if s.kept != nil {
		s.kept.begin(facts, grows)
	}
	out := make([]assess.Assessment, len(s.beds)*len(watched))
	at := 0
	type question struct {
		at   int // in out
		in   assess.Input
		pest *assess.Pest
	}
	var asked []question
	for _, b := range s.beds {
		stage, since := s.year.StageOn(s.stages[b.Code], s.on)
		for _, key := range watched {
			f := facts[factsOf{key, stage, s.on}]
			in := assess.Input{
				Today: s.on, Bed: b, Stage: stage, StageSince: since, Pest: *f,
				Events: s.stages[b.Code], Visits: s.byPair[[2]string{b.Code, key}], Holds: holds,
				Steps: steps[[2]string{b.Code, key}], ActAt: actAt, HoldBelow: holdBelow, Brief: brief, Beliefs: &a.memory.beliefs, Noted: s.noted, Confirmed: confirmed[[2]string{b.Code, key}], Suspects: suspects,
				Grows: grows[key], South: a.farm.South(),
			}
			var ok bool
			if s.kept != nil {
				out[at], ok = s.kept.get(in, f)
			} else {
				out[at], ok = a.memory.known(in, f)
			}
			if !ok {
				asked = append(asked, question{at, in, f})
			}
			at++
		}
	}
	if s.kept != nil {
		var lists []*[]farm.Visit
		for i := range asked {
			lists = append(lists, &asked[i].in.Visits)
		}
		if err := s.parts.count(s.year, lists...); err != nil {
			return nil, err
		}
	}
	err := inParallel(len(asked), func(i int) (err error) {
		out[asked[i].at], err = assess.Assess(asked[i].in)
		return err
	})
	if err != nil {
		return nil, err
	}
	for _, q := range asked {
		if s.kept != nil {
			s.kept.put(&out[q.at])
			if s.on == s.parts.on {
				out[q.at].SaveBeliefs()
			}
			continue
		}
		a.memory.keep(q.in, q.pest, out[q.at])
	}
	return out, nil
}

// grows is how fast a pest could grow on each day of the season with measured
// temperatures; nil where no published rate supports a line.
func (a *App) grows(s snapshot, pest string) assess.Grows {
	c, ok := a.cat.GrowthCurve(pest, catalog.Increase)
	if !ok || len(s.season) == 0 || len(s.byPest[pest]) == 0 {
		return nil
	}
	first, rate := s.byPest[pest][0].Date, curveOf(c)
	out := assess.Grows{}
	for _, d := range s.season {
		if d.Date.Before(first) {
			continue
		}
		if r, err := rate.Day(degreeday.Day{Min: *d.MinC, Max: *d.MaxC, NextMin: math.NaN()}); err == nil { // else hotter than the rates go
			out[d.Date] = r
		}
	}
	return out
}

// inParallel does n things on all cores, and returns an error of one of them.
func inParallel(n int, do func(i int) error) error {
	var g errgroup.Group
	var next atomic.Int64
	for range min(n, runtime.GOMAXPROCS(0)) {
		g.Go(func() error {
			for {
				i := int(next.Add(1)) - 1
				if i >= n {
					return nil
				}
				if err := do(i); err != nil {
					return err
				}
			}
		})
	}
	return g.Wait()
}

// allFacts are the facts of each watched pest at each stage that a bed is at.
func (a *App) allFacts(s snapshot, watched []string) (map[factsOf]*assess.Pest, error) {
	pests := make([]catalog.Pest, len(watched))
	for i, key := range watched {
		var ok bool
		if pests[i], ok = a.cat.Pest(key); !ok {
			return nil, diag.Failf(nil, "see what to do with `leafturn doctor`, or use the leafturn that entered it", "the store holds the pest %q, which this version does not know", key)
		}
	}
	var ids []factsOf
	var of []catalog.Pest
	seen := map[farm.Stage]bool{}
	for _, b := range s.beds {
		stage, _ := s.year.StageOn(s.stages[b.Code], s.on)
		if seen[stage] {
			continue
		}
		seen[stage] = true
		for i, key := range watched {
			ids, of = append(ids, factsOf{key, stage, s.on}), append(of, pests[i])
		}
	}
	made := make([]assess.Pest, len(ids))
	err := inParallel(len(ids), func(i int) (err error) {
		made[i], err = a.pestFacts(of[i], ids[i].stage, s)
		return err
	})
	if err != nil {
		return nil, err
	}
	out := map[factsOf]*assess.Pest{}
	for i, id := range ids {
		out[id] = a.memory.same(id, made[i])
	}
	return out, nil
}

// conditions are those that action levels depend on: true, false by what was
// said or found, or absent where it is not known. A positive test for a
// tospovirus this season outranks what the farm said of its area.
func (a *App) conditions(s snapshot) map[string]bool {
	holds := map[string]bool{}
	say := func(c string) {
		holds[c] = true
		if o := farm.Opposite(c); o != "" {
			holds[o] = false
		}
	}
	for _, c := range a.farm.Area {
		say(c)
	}
	for _, v := range s.byPest["tospovirus"] {
		u, ok := a.cat.Protocol(v.Pest, v.Unit)
		if ok && u.Measure == "plants_confirmed" && v.Presence != nil && v.Presence.Infested > 0 {
			say("tospovirus_confirmed")
		}
	}
	return holds
}

// plannedWork is the work in the beds that the plan of covers holds from the
// day on: sowing them, and ending them.
func (a *App) plannedWork(s snapshot) map[string][]label.Work {
	out := map[string][]label.Work{}
	for _, c := range s.covers {
		name := c.Cover
		for _, x := range a.cat.Covers() {
			if x.Key == c.Cover {
				name = x.Name
			}
		}
		if !c.Sow.Before(s.on) {
			out[c.Bed] = append(out[c.Bed], label.Work{What: "sowing " + name, Date: c.Sow, Plants: true})
		}
		if !c.Kill.Before(s.on) && !c.Kill.IsZero() {
			out[c.Bed] = append(out[c.Bed], label.Work{What: "ending " + name, Date: c.Kill})
		}
	}
	return out
}

// weekInput joins everything that the list is made from, as it was known on a day.
func (a *App) weekInput(ctx context.Context, on civil.Date) (week.Input, error) {
	return a.weekInputBy(ctx, on, nil)
}

// weekInputBy is weekInput with what is known already. Its assessments then are
// short, see assess.Short, and its visits without counts.
func (a *App) weekInputBy(ctx context.Context, on civil.Date, p *parts) (week.Input, error) {
	d, err := a.weekDay(ctx, on, p)
	if err != nil {
		return week.Input{}, err
	}
	return a.weekInputOf(ctx, d)
}

// weekDay is what the list of a day begins with.
type weekDay struct {
	s     snapshot
	facts dayFacts
}

func (a *App) weekDay(ctx context.Context, on civil.Date, p *parts) (d weekDay, err error) {
	if d.s, err = a.snapshotOf(ctx, on, "", p); err == nil {
		d.facts, err = a.dayFacts(d.s, a.watched(d.s))
	}
	return d, err
}

// weekInputOf is what follows from it. Two days may be asked for side by side
// where what is known is in parts.
func (a *App) weekInputOf(ctx context.Context, d weekDay) (week.Input, error) {
	s := d.s
	list, err := a.assessmentsBy(s, d.facts, true)
	if err != nil {
		return week.Input{}, err
	}
	if err := a.settleNear(s, list); err != nil {
		return week.Input{}, err
	}
	in, err := a.weekFacts(s, list)
	if err != nil {
		return in, err
	}
	return in, a.coming(ctx, s, &in)
}

// weekFacts joins the assessments of a day with what else the list is made from.
func (a *App) weekFacts(s snapshot, list []assess.Assessment) (week.Input, error) {
	on := s.on
	in := week.Input{
		Today: on, Farm: a.farm, Zone: a.loc, Beds: s.beds, Stages: map[string]farm.Stage{}, Assessments: list,
		Actions: map[string][]week.Action{}, Safety: map[string]week.Safety{}, Own: map[string][]effect.Own{}, Questions: map[string][]effect.Question{}, Agents: map[string][]week.AgentOffer{},
		Labels: inUse(s.labels), Treatments: s.treatments, Versions: s.versions, Releases: s.releases, Lately: s.lately, Done: s.done, Visits: s.visits,
		Weather: s.weather, Wait: a.wait, Planted: s.planted, ActiveKey: a.cat.ActiveKey, ProductSafety: a.productSafety, Apart: a.aparts(), Looks: a.looks(), Lasts: a.lasts(s.weather),
	}
	in.Work = a.plannedWork(s)
	for _, b := range s.beds {
		in.Stages[b.Code], _ = s.year.StageOn(s.stages[b.Code], on)
	}
	for _, key := range a.watched(s) {
		in.Actions[key] = a.stepMonths(actionFacts(a.cat.Actions(key)))
		for _, g := range a.cat.Agents(key) {
			in.Agents[g.Key] = a.agentOffers(g.Key)
		}
	}
	for _, key := range a.watched(s) {
		p, ok := a.cat.Pest(key)
		if !ok {
			continue
		}
		results, err := a.effects(s, p)
		if err != nil {
			return week.Input{}, err
		}
		if own := effect.Pool(results); len(own) > 0 {
			in.Own[key] = own
		}
		if q := effect.Resistance(results); len(q) > 0 {
			in.Questions[key] = q
		}
	}
	for _, x := range a.cat.AllSafety() {
		in.Safety[x.Key] = week.Safety{Line: strings.Join(x.Lines, " "), Detail: x.Detail, Ref: refOf(x.Provenance)}
	}
	return in, nil
}

// productSafety names the cautions that go with a product.
func (a *App) productSafety(l farm.Label) []string {
	var keys []string
	for _, s := range a.cat.ProductSafety(l) {
		keys = append(keys, s.Key)
	}
	return keys
}

// list makes the week's list of a day, with what was left undone.
func (a *App) list(ctx context.Context, on civil.Date) (week.List, error) {
	return a.listBy(ctx, on, nil)
}

// listBy is list with what is known already.
func (a *App) listBy(ctx context.Context, on civil.Date, p *parts) (week.List, error) {
	in, before, err := a.twoWeeks(ctx, on, p)
	if err != nil {
		return week.List{}, err
	}
	if len(before.Visits)+len(before.Treatments)+len(before.Done)+len(before.Releases) == 0 {
		// Nothing was recorded by then: there was no list to leave undone.
		return week.Build(in, nil), nil
	}
	prev := week.Build(before, nil)
	return week.Build(in, &prev), nil
}

// twoWeeks is what the lists of a day and of the day a week before are made from.
func (a *App) twoWeeks(ctx context.Context, on civil.Date, p *parts) (now, before week.Input, err error) {
	if p == nil { // what the first leaves in memory serves the second
		if now, err = a.weekInputBy(ctx, on, nil); err == nil {
			before, err = a.weekInputBy(ctx, on.AddDays(-7), nil)
		}
		return now, before, err
	}
	var days [2]weekDay
	err = inParallel(2, func(i int) (err error) {
		days[i], err = a.weekDay(ctx, on.AddDays(-7*i), p)
		return err
	})
	if err != nil {
		return now, before, err
	}
	err = inParallel(2, func(i int) (err error) {
		into := []*week.Input{&now, &before}[i]
		*into, err = a.weekInputOf(ctx, days[i])
		return err
	})
	return now, before, err
}

// Week is the week's list of a day.
func (a *App) Week(ctx context.Context, on civil.Date) (*report.Document, error) {
	doc, _, err := a.weekWithEvents(ctx, on)
	return doc, err
}

// weekWithEvents also gives the events by what they are about, as package
// agenda takes them.
func (a *App) weekWithEvents(ctx context.Context, on civil.Date) (*report.Document, []report.Event, error) {
	if on.After(a.Today()) {
		return nil, nil, a.future("--date", on)
	}
	if len(a.names.codes) == 0 {
		return nil, nil, diag.Failf(nil, "add them with `leafturn bed add` or `leafturn bed import`", "the farm has no beds yet")
	}
	doc, events, err := a.weekMade(ctx, on)
	if err != nil {
		return nil, nil, err
	}
	if doc.Events, _, err = a.calendarEvents(ctx, events, on, weekPart); err != nil {
		return nil, nil, err
	}
	return doc, events, a.addDeviations(ctx, on, doc)
}

// weekWarnings are the cautions over the whole list.
func (a *App) weekWarnings(l week.List) []string {
	return []string{"The product label and local law outrank this list. Where work can hurt someone, follow them and ask a licensed adviser."}
}

// WhyLine explains a line of the week's list.
func (a *App) WhyLine(ctx context.Context, on civil.Date, number int) (*report.Document, error) {
	l, err := a.list(ctx, on)
	if err != nil {
		return nil, err
	}
	line, ok := l.Line(number)
	if !ok {
		return nil, diag.Usagef("see the numbers with `leafturn week --date "+on.String()+"`", "the list of %s has no line %d; it has 1 to %d", on, number, len(l.Lines))
	}
	s, err := a.snapshot(ctx, on)
	if err != nil {
		return nil, err
	}
	for i, t := range line.Traces {
		if t.Assessment == nil {
			continue
		}
		p, _ := a.cat.Pest(t.Assessment.Pest.Key)
		x, err := a.assessDeep(s, t.Assessment.Bed, p)
		if err != nil {
			return nil, err
		}
		line.Traces[i].Assessment = &x
	}
	return a.whyDocument(line, on), nil
}

// WhyBed explains the verdict on one bed and pest.
func (a *App) WhyBed(ctx context.Context, on civil.Date, bedWord, pestWord string) (*report.Document, error) {
	beds, err := a.names.findBeds([]string{bedWord})
	if err != nil {
		return nil, err
	}
	p, err := a.names.findPest(pestWord)
	if err != nil {
		return nil, err
	}
	s, err := a.snapshotOf(ctx, on, p.Key, nil)
	if err != nil {
		return nil, err
	}
	x, err := a.assessDeep(s, beds[0], p)
	if err != nil {
		return nil, err
	}
	src := &sources{}
	doc := a.document(fmt.Sprintf("%s, %s: %s", beds[0].Code, p.Name, x.Result.Verdict), on)
	doc.Sections = a.assessmentSections(x, src)
	doc.Sources = src.list
	doc.Data = verdictData(x)
	return doc, nil
}

// mostSettled is for how many verdicts of a list it is worked out how many more
// units would settle them, which takes some 10 ms each; the others leave the
// number to `why`.
const mostSettled = 24

// suspects are the beds with signs of a tospovirus of which no plant was tested
// since they were found. A walk that finds none clears no suspect: only a test
// does.
func (a *App) suspects(s snapshot) []assess.Suspect {
	last := map[string]civil.Date{}
	for _, v := range s.byPest["tospovirus"] { // oldest first
		u, ok := a.cat.Protocol(v.Pest, v.Unit)
		switch {
		case !ok || v.UnitsLooked() == 0:
		case u.Measure == "plants_confirmed":
			delete(last, v.Bed)
		case v.Presence != nil && v.Presence.Infested > 0 || slices.ContainsFunc(v.Seen(), func(n int) bool { return n > 0 }):
			last[v.Bed] = v.Date
		}
	}
	var out []assess.Suspect
	for bed, on := range last {
		out = append(out, assess.Suspect{Bed: bed, On: on})
	}
	slices.SortFunc(out, func(x, y assess.Suspect) int { return strings.Compare(x.Bed, y.Bed) })
	return out
}

// settleNear puts in the place of the rough number of further units, where a
// level is near, the one that `why` gives.
func (a *App) settleNear(s snapshot, list []assess.Assessment) error {
	var near []int
	for i := range list {
		if r := &list[i].Result; r.Rule == verdict.RuleNear {
			r.MoreUnits = 0
			near = append(near, i)
		}
	}
	near = near[:min(len(near), mostSettled)]
	if s.kept != nil {
		var err error
		if near, err = s.kept.settle(s, list, near); err != nil {
			return err
		}
	}
	return inParallel(len(near), func(n int) error {
		x := &list[near[n]]
		p, _ := a.cat.Pest(x.Pest.Key)
		deep, err := a.assessDeep(s, x.Bed, p)
		x.Result.MoreUnits, x.Result.SettleChance = deep.Result.MoreUnits, deep.Result.SettleChance
		if err == nil && s.kept != nil {
			s.kept.putSettled(x)
		}
		return err
	})
}

// assessDeep gives the verdict on one bed and pest with all there is to say.
func (a *App) assessDeep(s snapshot, bed farm.Bed, p catalog.Pest) (assess.Assessment, error) {
	stage, since := s.year.StageOn(s.stages[bed.Code], s.on)
	facts, err := a.pestFacts(p, stage, s)
	if err != nil {
		return assess.Assessment{}, err
	}
	actAt, holdBelow := a.farm.ActAt()
	return assess.Assess(assess.Input{
		Today: s.on, Bed: bed, Stage: stage, StageSince: since, Pest: facts,
		Events: s.stages[bed.Code], Visits: s.byPair[[2]string{bed.Code, p.Key}], Holds: a.conditions(s),
		Steps: s.stepDays()[[2]string{bed.Code, p.Key}], ActAt: actAt, HoldBelow: holdBelow, Deep: true, Noted: s.noted,
		Confirmed: s.confirmed()[[2]string{bed.Code, p.Key}], Suspects: a.suspects(s), Grows: a.grows(s, p.Key), South: a.farm.South(),
	})
}

// finite returns a pointer to v, nil when it is no number.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
