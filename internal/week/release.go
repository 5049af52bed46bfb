package week

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/schedule"
	"leafturn/internal/units"
	"leafturn/internal/verdict"
)

// AgentOffer is a rate at which an agent may be released outdoors.
type AgentOffer struct {
	Rate   schedule.AgentRate
	Use    string   // curative or preventive
	Permit string   // what is known of permits
	NotIn  []string // countries where it is known not to be allowed outdoors
	// What shows that it has settled, and what then if it has not.
	SuccessPct *float64 // share of what is looked at, in percent; nil: success is not a share
	Repeats    int      // how often a release that did not settle may be repeated
	IfNot      string
}

// releases plans the biological steps: what to order and by when, what to let
// out when it has come, what to look for afterwards, and what forbids it.
func (b *builder) releases() {
	for i := range b.in.Assessments {
		a := &b.in.Assessments[i]
		lvl := level(*a)
		var fit []Action
		early := false // before the counts ask for it
		for _, act := range b.in.Actions[a.Pest.Key] {
			if act.Rung != Biological || act.Agent == "" {
				continue
			}
			b.checks(a, act)
			if lvl != "" && act.fits(a.Stage, lvl) || b.goesOn(a, act) {
				fit = append(fit, act)
			} else if _, soon := b.forward(a, act.Agent); soon && lvl == "" && a.Result.Verdict == verdict.Hold && a.Result.Rule != verdict.RuleEnemies && act.fits(a.Stage, "watch") {
				fit, early = append(fit, act), true
			}
		}
		if early {
			lvl = "watch"
		}
		// One agent for a bed and pest: the one already under way, else that
		// which the catalogue keeps for this level, else the first that can be
		// scheduled. Only where none can is it said what forbids them.
		slices.SortStableFunc(fit, func(x, y Action) int {
			return cmp.Or(cmp.Compare(b.underWay(a, y), b.underWay(a, x)), cmp.Compare(boolInt(y.Level == lvl), boolInt(x.Level == lvl)))
		})
		var refused []Line
		for _, act := range fit {
			no, answered := b.release(a, act, lvl)
			if answered {
				refused = nil
				break
			}
			refused = append(refused, no...)
		}
		for _, l := range refused {
			b.add(l)
		}
	}
}

// goesOn reports whether what is under way goes on: also when the count has
// fallen, but not when the pest's season in the bed is over, nor where no count
// tells how many there are now and the next release has been due for longer than
// an order is waited for. What was ordered comes all the same.
func (b *builder) goesOn(a *assess.Assessment, act Action) bool {
	if b.ordered(a, act) {
		return true
	}
	n, last := b.released(a.Bed.Code, act.Agent)
	offer, ok := b.offer(a.Bed, act.Agent, "")
	if n == 0 || !ok || !a.InSeason {
		return false
	}
	told := a.Result.Verdict != verdict.Stale && a.Result.Verdict != verdict.LookAgain
	return told || b.in.Today.Sub(last.AddDays(offer.Rate.IntervalDays)) <= orderedDays
}

// ordered reports whether the agent was ordered and may still come.
func (b *builder) ordered(a *assess.Assessment, act Action) bool {
	d, ok := b.lastDone(a.Bed.Code, a.Pest.Key, act.Key)
	return ok && b.in.Today.Sub(d) <= orderedDays
}

// underWay is 2 where the agent was let out in the bed this season, 1 where it
// was ordered, 0 otherwise.
func (b *builder) underWay(a *assess.Assessment, act Action) int {
	if n, _ := b.released(a.Bed.Code, act.Agent); n > 0 {
		return 2
	}
	return boolInt(b.ordered(a, act))
}

// orderedDays is how long an order is waited for. Common practice.
const orderedDays = 21

// offer picks the rate: curative at the action level, preventive below it,
// the other where there is only that.
// Where the leaves of the bed are known a rate per animal of the pest is taken
// before one per area, which knows nothing of how many there are.
func (b *builder) offer(bed farm.Bed, agent, lvl string) (AgentOffer, bool) {
	offers := b.in.Agents[agent]
	if ratio := slices.DeleteFunc(slices.Clone(offers), func(o AgentOffer) bool { return o.Rate.Kind != schedule.Ratio }); bed.LeavesPerPlant*bed.Plants > 0 && len(ratio) > 0 {
		offers = ratio
	}
	want := map[string]string{"act": "curative", "watch": "preventive"}[lvl]
	i := slices.IndexFunc(offers, func(o AgentOffer) bool { return o.Use == want })
	if i < 0 {
		i = 0
	}
	if i >= len(offers) {
		return AgentOffer{}, false
	}
	return offers[i], true
}

// release adds what a release asks for now. answered is true where the agent is
// the answer for this bed; otherwise no holds the lines that say what forbids it.
func (b *builder) release(a *assess.Assessment, act Action, lvl string) (no []Line, answered bool) {
	offer, ok := b.offer(a.Bed, act.Agent, lvl)
	if !ok {
		return nil, false
	}
	if words, lookUp := b.permit(offer); words != "" {
		return []Line{{
			Section: Avoid, Ref: "not:" + a.Pest.Key + ":permit:" + act.Agent, Pest: a.Pest.Key, PestName: a.Pest.Name,
			Beds: []string{a.Bed.Code}, Head: "Release of " + offer.Rate.Name, Why: words, Details: nonEmpty(lookUp),
			Traces: []Trace{{Bed: a.Bed.Code, Assessment: a, Rule: "natural enemies are let out only where the country allows it", Facts: nonEmpty(offer.Permit)}},
		}}, false
	}
	today := b.in.Today
	req := b.releaseRequest(a, offer)
	req.Until, req.Parcel = b.lastUseful(offer.Rate), true
	ordered, isOrdered := b.lastDone(a.Bed.Code, a.Pest.Key, act.Key)
	n, last := b.released(a.Bed.Code, act.Agent)
	coming := isOrdered && ordered.After(last) && today.Sub(ordered) <= orderedDays
	took := b.settling(a.Bed.Code, a.Pest.Key, act.Agent, offer)
	complete := n >= max(offer.Rate.Releases, 1)
	again := took.state == failed && lvl != ""
	switch {
	case coming:
	case took.state == settled:
		if !complete || lvl != "" {
			b.add(b.holdLine(a, act, offer, took))
		}
		return nil, true
	case again && took.failures > offer.Repeats:
		b.add(b.stopLine(a, act, offer, took))
		return nil, false
	}
	switch {
	case coming:
		next := ordered.AddDays(offer.Rate.LeadDays)
		if n > 0 {
			next = latest(next, last.AddDays(max(offer.Rate.IntervalDays, 1)))
		}
		b.arrived(a, act, offer, ordered, next)
		return nil, true
	case complete && again:
		req.Agent.Releases = 1 // once more
	case complete:
		return nil, true // the checks tell whether it took
	case n > 0:
		req.From = last.AddDays(max(offer.Rate.IntervalDays, 1))
		if req.From.AddDays(-offer.Rate.LeadDays).After(today.AddDays(horizonDays - 1)) {
			return nil, true // the next one is not to be ordered this week
		}
		req.Agent.Releases -= n
	}
	plan := schedule.Release(req)
	trace := Trace{Bed: a.Bed.Code, Assessment: a, Release: &req}
	for _, g := range plan.Gates {
		trace.Facts = append(trace.Facts, g.Name+" "+g.State+": "+g.Words)
	}
	if len(plan.Refusals) > 0 {
		return []Line{b.noRelease(a, act, offer, plan)}, false
	}
	ref := assess.Ref{Basis: offer.Rate.Basis, Source: offer.Rate.Source, URL: offer.Rate.URL}
	trace.Rule = fmt.Sprintf("%s at the %s level: a release of %s is offered, %d days before it can be let out", a.Pest.Name, lvl, offer.Rate.Name, offer.Rate.LeadDays)
	if lvl == "" {
		trace.Rule = fmt.Sprintf("the course of releases of %s goes on, %d days from order to release", offer.Rate.Name, offer.Rate.LeadDays)
	}
	when := plan.Release.Short()
	if len(plan.Repeats) > 0 {
		var days []string
		for _, d := range plan.Repeats {
			days = append(days, d.Short())
		}
		when += ", again on " + strings.Join(days, " and ")
	}
	details := []string{fmt.Sprintf("%s: %s to let out on %s", a.Bed.Code, countWords(plan), when),
		fmt.Sprintf("order by %s for a parcel on %s; tell the seller that day", plan.Order.Short(), plan.Release.Short())}
	if again {
		details = append(details, fmt.Sprintf("%s: the last one did not settle (%s); once more if the reason is gone:", a.Bed.Code, took.words))
		details = append(details, b.whyNotSettled(a, act, offer, took)...)
	}
	if words, _ := b.forward(a, act.Agent); words != "" {
		details = append(details, words)
	}
	details = append(details, "wants "+wants(offer.Rate, b.in.Farm.Units))
	if len(plan.Checks) > 0 {
		var days []string
		for _, c := range plan.Checks {
			days = appendNew(days, c.Date.Short())
		}
		details = append(details, a.Bed.Code+": look whether it has settled on "+strings.Join(days, ", "))
	}
	weather, daylight := plan.Unknown()
	if weather {
		details = append(details, fmt.Sprintf("the weather from %s on is not known here: look at the forecast before you order", plan.Release.Short()))
	}
	details = append(details, nonEmpty(daylight)...)
	if offer.Rate.NotWhen != "" {
		details = append(details, "not when: "+offer.Rate.NotWhen)
	}
	details = append(details, plan.Warnings...)
	if offer.Permit != "" {
		details = append(details, "look up before you order: "+offer.Permit)
	}
	b.add(Line{
		Section: Order, Ref: "order:" + a.Pest.Key + ":" + act.Key, Pest: a.Pest.Key, PestName: a.Pest.Name,
		Action: act.Key, Rung: Biological, Beds: []string{a.Bed.Code},
		Head: "Order " + offer.Rate.Name, Details: details, Why: Short(*a),
		Safety: b.safety(act.Safety), From: today, By: plan.Order,
		Record:  didCommand(a.Pest.Key, act.Key),
		Sources: []assess.Ref{ref}, Traces: []Trace{trace},
	})
	// A residue or the weather that moves the day is a thing not to do before.
	if early := b.parcelDay(today.AddDays(offer.Rate.LeadDays)); plan.Release.After(early) && n == 0 {
		b.add(Line{
			Section: Avoid, Ref: "not:" + a.Pest.Key + ":early:" + act.Agent, Pest: a.Pest.Key, PestName: a.Pest.Name,
			Beds: []string{a.Bed.Code}, Head: "No release of " + offer.Rate.Name + " before its day",
			Details: []string{fmt.Sprintf("%s: not before %s", a.Bed.Code, plan.Release.Short())},
			Why:     b.whyLater(a.Bed.Code, act.Agent, early), Traces: []Trace{trace},
		})
	}
	return nil, true
}

// parcelDay is the first day from d on on which a parcel may come.
func (b *builder) parcelDay(d civil.Date) civil.Date {
	for ; ; d = d.AddDays(1) {
		w := b.in.Weather[d]
		if w.Date = d; schedule.ParcelDay(w, b.in.Farm.Units) == "" {
			return d
		}
	}
}

// releaseRequest asks when and how many of an agent are to be let out in a bed.
func (b *builder) releaseRequest(a *assess.Assessment, offer AgentOffer) schedule.ReleaseRequest {
	rate := offer.Rate
	rate.Days = slices.DeleteFunc(slices.Clone(rate.Days), func(d schedule.DayLimit) bool { return d.Pest != "" && d.Pest != a.Pest.Key })
	return schedule.ReleaseRequest{
		Today: b.in.Today, Bed: a.Bed, Agent: rate, Residues: b.residues(a.Bed.Code, rate.Agent), Forecast: b.weatherList(),
		Density: density(a), Leaves: float64(a.Bed.LeavesPerPlant * a.Bed.Plants), Latitude: b.in.Farm.Latitude, Units: b.in.Farm.Units,
	}
}

// lastUseful is the last day for a release before the usual first frost: the
// last look whether it has settled still comes before it. It is zero where the
// farm's first frost is not known. Common practice.
func (b *builder) lastUseful(r schedule.AgentRate) civil.Date {
	frost := b.in.Farm.FirstFrost
	if frost.IsZero() {
		return civil.Date{}
	}
	day := frost.In(b.in.Today.Year)
	if day.Before(b.in.Today) {
		day = frost.In(b.in.Today.Year + 1)
	}
	if len(r.CheckDays) == 0 {
		return day
	}
	return day.AddDays(-slices.Max(r.CheckDays))
}

// density is what the number of animals is worked out from.
func density(a *assess.Assessment) schedule.Density {
	r := basis(a)
	if r == nil {
		return schedule.Density{}
	}
	return schedule.Density{Known: true, Mean: r.Value, Low: r.Low, High: r.High}
}

func latest(days ...civil.Date) civil.Date { return slices.MaxFunc(days, civil.Date.Compare) }

// noRelease says what forbids a release.
func (b *builder) noRelease(a *assess.Assessment, act Action, offer AgentOffer, plan schedule.ReleasePlan) Line {
	trace := Trace{Bed: a.Bed.Code, Assessment: a, Rule: "no release: " + plan.Refusals[0].Words}
	for _, r := range plan.Refusals {
		trace.Facts = append(trace.Facts, r.Code+": "+r.Words)
	}
	line := Line{
		Section: Avoid, Ref: "not:" + a.Pest.Key + ":release:" + act.Agent + ":" + plan.Refusals[0].Code,
		Pest: a.Pest.Key, PestName: a.Pest.Name, Beds: []string{a.Bed.Code},
		Head: "Release of " + offer.Rate.Name, Why: plan.Refusals[0].Words, Traces: []Trace{trace},
	}
	for _, r := range plan.Refusals {
		if r.LookUp != "" {
			line.Details = appendNew(line.Details, "look up: "+r.LookUp)
		}
	}
	return line
}

// permit says why a release may not be allowed in the farm's country, and what
// to look up; both are empty where nothing known forbids it.
func (b *builder) permit(o AgentOffer) (words, lookUp string) {
	switch {
	case len(o.NotIn) == 0:
		return "", ""
	case b.in.Farm.Country == "":
		return "it is not allowed in every country, and the farm's country is not set", "set it: leafturn farm set --country"
	case slices.Contains(o.NotIn, b.in.Farm.Country):
		return o.Permit, ""
	}
	return "", ""
}

// wants says the weather that an agent needs.
func wants(r schedule.AgentRate, s units.System) string {
	var w []string
	if r.TempMin != nil {
		w = append(w, fmt.Sprintf("a week's mean of %s or more", s.Temp(*r.TempMin)))
	}
	if r.TempMax != nil {
		w = append(w, "no day above "+s.Temp(*r.TempMax))
	}
	if r.RHMin != nil {
		w = append(w, fmt.Sprintf("humidity of %s %% or more", Number(*r.RHMin)))
	}
	if len(w) == 0 {
		return "weather that is not known here: ask the seller"
	}
	return strings.Join(w, ", ")
}

// whyLater says why a release waits longer than its lead time.
func (b *builder) whyLater(bed, agent string, early civil.Date) string {
	words := ""
	for _, r := range b.residues(bed, agent) { // the longest governs
		if clear := r.Date.AddDays(r.WaitDays); clear.After(early) {
			early = clear
			words = fmt.Sprintf("%s of %s can still harm it until %s (%d days)", r.Active, r.Date.Short(), clear.Short(), r.WaitDays)
		}
	}
	if words != "" {
		return words
	}
	return "the known or forecast weather is outside its limits before"
}

// arrived is the step between ordering and letting out, from the day next on.
// Where it is late, today's residues count and not those of the day it was due.
func (b *builder) arrived(a *assess.Assessment, act Action, offer AgentOffer, ordered, next civil.Date) {
	req := b.releaseRequest(a, offer)
	req.Today, req.From = ordered, latest(next, b.in.Today)
	plan := schedule.Release(req)
	if len(plan.Refusals) > 0 {
		b.add(b.noRelease(a, act, offer, plan))
		return
	}
	by := plan.Release.AddDays(1)
	if by.Before(b.in.Today) {
		by = b.in.Today
	}
	details := []string{fmt.Sprintf("%s: %s from %s on", a.Bed.Code, countWords(plan), plan.Release.Short()),
		"in the evening, on moist leaves; open at once and look that they move"}
	if good := b.parcelDay(next); good != next && !next.Before(b.in.Today) {
		w := b.in.Weather[next]
		w.Date = next
		details = append(details, fmt.Sprintf("it may come on %s: %s; ask the seller to send it for %s", next.Short(), schedule.ParcelDay(w, b.in.Farm.Units), good.Short()))
	}
	b.add(Line{
		Section: Do, Ref: "do:" + a.Pest.Key + ":let-out:" + act.Agent, Pest: a.Pest.Key, PestName: a.Pest.Name,
		Rung: Biological, Beds: []string{a.Bed.Code},
		Head:    "Let out " + offer.Rate.Name + " on the day it comes",
		Details: append(details, plan.Warnings...),
		Why:     fmt.Sprintf("ordered on %s; %s", ordered.Short(), Short(*a)), From: plan.Release, By: by,
		Record:  fmt.Sprintf("leafturn release %s %s --amount N", act.Agent, bedsHere),
		Sources: []assess.Ref{{Basis: offer.Rate.Basis, Source: offer.Rate.Source, URL: offer.Rate.URL}},
		Traces: []Trace{{Bed: a.Bed.Code, Assessment: a, Release: &req, Ordered: ordered,
			Rule: fmt.Sprintf("ordered on %s, %d days to arrive", ordered, offer.Rate.LeadDays)}},
	})
}

func countWords(p schedule.ReleasePlan) string {
	switch {
	case p.Count <= 0:
		return "a number that cannot be worked out yet"
	case p.CountMax > p.Count:
		return fmt.Sprintf("%s to %s %s", thousands(p.Count), thousands(p.CountMax), p.Unit)
	}
	return thousands(p.Count) + " " + p.Unit
}

// residues lists every active used on a bed with the days for which it harms
// an agent.
func (b *builder) residues(bed, agent string) []schedule.Residue {
	labels := map[string]farm.Label{}
	for _, l := range b.in.Labels {
		labels[l.Key] = l
	}
	var out []schedule.Residue
	for _, t := range b.in.Treatments {
		if t.Bed != bed || b.in.Today.Sub(t.Date) > residueDays {
			continue
		}
		l, ok := b.in.Versions[t.ID]
		if !ok {
			l = labels[t.Label]
		}
		if len(l.Actives) == 0 {
			out = append(out, schedule.Residue{Date: t.Date, Label: t.Label})
		}
		for _, x := range l.Actives {
			days, known := b.in.Wait(x.Name, agent)
			out = append(out, schedule.Residue{Date: t.Date, Label: t.Label, Active: x.Name, WaitDays: days, Known: known})
		}
	}
	slices.SortStableFunc(out, func(x, y schedule.Residue) int {
		return cmp.Or(x.Date.Compare(y.Date), cmp.Compare(x.Label, y.Label), cmp.Compare(x.Active, y.Active))
	})
	return out
}

// residueDays is how far back residues are looked at; the longest window in
// the side-effect table is 120 days.
const residueDays = 150

func (b *builder) weatherList() []farm.WeatherDay {
	out := make([]farm.WeatherDay, 0, len(b.in.Weather))
	for _, w := range b.in.Weather {
		out = append(out, w)
	}
	slices.SortFunc(out, func(x, y farm.WeatherDay) int { return x.Date.Compare(y.Date) })
	return out
}

// lastDone returns the last day on which a step was recorded.
func (b *builder) lastDone(bed, pest, action string) (civil.Date, bool) {
	var best civil.Date
	for _, d := range b.in.Done {
		if d.Bed == bed && d.Pest == pest && d.Action == action && d.Date.After(best) && !d.Date.After(b.in.Today) {
			best = d.Date
		}
	}
	return best, !best.IsZero()
}

// released returns how often an agent was let out in a bed this season, and
// the last day.
func (b *builder) released(bed, agent string) (int, civil.Date) {
	n, last := 0, civil.Date{}
	for _, r := range b.in.Releases {
		if r.Bed == bed && r.Agent == agent {
			n++
			if r.Date.After(last) {
				last = r.Date
			}
		}
	}
	return n, last
}
