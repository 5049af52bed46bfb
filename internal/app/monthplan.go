package app

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/monthplan"
	"leafturn/internal/report"
	"leafturn/internal/sun"
	"leafturn/internal/units"
	"leafturn/internal/verdict"
	"leafturn/internal/week"
)

// MonthOptions are what the plan of the coming weeks is asked with.
type MonthOptions struct {
	Weeks, Days, Harvest, Water string
	Beds                        []string
}

// Minutes that a job is given. Common practice: the tool times nobody.
const (
	stepMinutes    = 30
	scoutMinutes   = 30
	productMinutes = 45
)

// MonthPlan lays the work of the coming weeks out on days and hours.
func (a *App) MonthPlan(ctx context.Context, on civil.Date, o MonthOptions) (*report.Document, error) {
	if on.After(a.Today()) {
		return nil, a.future("--date", on)
	}
	if len(a.names.codes) == 0 {
		return nil, diag.Failf(nil, "add them with `leafturn bed add` or `leafturn bed import`", "the farm has no beds yet")
	}
	weeks := 4
	if o.Weeks != "" {
		n, err := strconv.Atoi(o.Weeks)
		if err != nil || n < 1 || n > 8 {
			return nil, diag.Usagef("write 1 to 8", "--weeks %q is not a number of weeks", o.Weeks)
		}
		weeks = n
	}
	// Without hours a job that names its part of the day gets it, and the
	// others stand between 06:00 and 21:00.
	usual := monthplan.Span{}
	if o.Days == "" && (len(a.farm.WorkDays) == 0 || a.farm.WorkHours == "") {
		usual = monthplan.Span{From: 6 * 60, To: 21 * 60}
	}
	if o.Days == "" && len(a.farm.WorkDays) > 0 {
		o.Days = strings.ReplaceAll(farm.WeekdayWords(a.farm.WorkDays), " ", "") + " 00:00-24:00"
		if a.farm.WorkHours != "" {
			o.Days = strings.ReplaceAll(farm.WeekdayWords(a.farm.WorkDays)+"|"+a.farm.WorkHours, " ", "")
			o.Days = strings.ReplaceAll(o.Days, "|", " ")
		}
	}
	if o.Harvest == "" {
		o.Harvest = strings.ReplaceAll(farm.WeekdayWords(a.farm.HarvestDays), " ", "")
	}
	days := o.Days
	if days == "" {
		days = "Mon-Sun 00:00-24:00"
	}
	hours, err := ingest.WorkHours(days)
	if err != nil {
		return nil, ofFlag("--days", err)
	}
	w, err := a.weekInput(ctx, on)
	if err != nil {
		return nil, err
	}
	beds := w.Beds
	if len(o.Beds) > 0 {
		if beds, err = a.names.findBeds(o.Beds); err != nil {
			return nil, err
		}
	}
	in := monthplan.Input{
		Today: on, Days: 7 * weeks, Zone: a.loc, Beds: beds, Hours: hours, Usual: usual, Cut: map[string][]time.Weekday{}, Sick: infectedBeds(w),
		History: w.Treatments, Versions: w.Versions, Labels: map[string]farm.Label{}, Released: w.Releases, Weather: w.Weather, Units: a.farm.Units, Wait: w.Wait,
	}
	if on == a.Today() {
		in.Now = a.now
	}
	for _, l := range w.Labels {
		in.Labels[l.Key] = l
	}
	if o.Harvest != "" {
		cut, err := ingest.Weekdays(o.Harvest)
		if err != nil {
			return nil, err
		}
		for _, b := range beds {
			in.Cut[b.Code] = cut
		}
	}
	if o.Water != "" {
		if in.Water, err = ingest.Weekdays(o.Water); err != nil {
			return nil, err
		}
	}
	if f := a.farm; f.Latitude != nil && f.Longitude != nil {
		in.Sun = map[civil.Date][2]time.Time{}
		for d := range in.Days + 3 { // the nights before the first day and after the last, too
			day := on.AddDays(d - 1)
			if s, ok := sun.On(day, *f.Latitude, *f.Longitude); ok && !s.Rise.IsZero() {
				in.Sun[day] = [2]time.Time{s.Rise, s.Set}
			}
		}
	}
	in.Agents = map[string]string{}
	for key, offers := range w.Agents {
		if len(offers) > 0 {
			in.Agents[key] = offers[0].Rate.Name
		}
	}
	care := a.monthTasks(&in, w)
	a.monthOffers(&in, w)
	return a.monthDocument(monthplan.Make(in), o, usual, care, in.Labels), nil
}

func hasBed(beds []farm.Bed, code string) bool {
	return slices.ContainsFunc(beds, func(b farm.Bed) bool { return b.Code == code })
}

// monthTasks turns the lines of the week's list into jobs, bed by bed, and
// returns the cautions of each.
func (a *App) monthTasks(in *monthplan.Input, w week.Input) map[string][]string {
	care := map[string][]string{}
	for _, l := range week.Build(w, nil).Lines {
		for _, t := range l.Traces {
			if t.Release != nil && hasBed(in.Beds, t.Bed) {
				in.Courses = append(in.Courses, monthplan.Course{ID: l.Ref + ":" + t.Bed, Pest: l.Pest, Agent: t.Release.Agent.Agent, Request: *t.Release, Ordered: t.Ordered,
					Part: manner(w, l.Pest, l.Action).Part, Why: l.Why})
			}
		}
		task := monthplan.Task{Pest: l.Pest, From: l.From, By: l.By, Minutes: stepMinutes, Why: l.Why, Kind: monthplan.Step, Text: l.Head}
		add := func(ref string, beds []string) {
			for _, bed := range beds {
				if hasBed(in.Beds, bed) {
					task.ID, task.Bed = ref+":"+bed, bed
					if task.Kind == monthplan.Look && !strings.Contains(l.Ref, ":settled:") {
						task.From, task.Traps = countFrom(l, bed, in.Today), trapsOf(l, bed)
					}
					in.Tasks = append(in.Tasks, task)
					care[task.ID] = l.Safety
				}
			}
		}
		switch {
		case l.Section == week.Do && l.Rung == week.Prevention:
			task.Rung = monthplan.Prevention
			for _, x := range w.Actions[l.Pest] { // one line of the list holds them all
				if x.Rung != week.Prevention || !slices.ContainsFunc(l.Details, func(d string) bool { return strings.HasPrefix(d, strings.TrimSuffix(x.Text, ".")) }) {
					continue
				}
				task.Text, task.Manner = x.Text, monthplan.ReadManner(x.Text, x.When)
				task.Why = l.Why + when(x.When)
				add("do:"+l.Pest+":"+x.Key, slices.DeleteFunc(slices.Clone(l.Beds), func(bed string) bool { return !w.Stages[bed].Between(x.From, x.To) }))
			}
		case l.Section == week.Do && l.Rung == week.Cultural:
			task.Rung = monthplan.Hand
			for _, x := range w.Actions[l.Pest] {
				if x.Key == l.Action {
					task.Manner = monthplan.ReadManner(x.Text, x.When)
					task.Why += when(x.When)
				}
			}
			add(l.Ref, l.Beds)
		case l.Section == week.Scout:
			task.Kind, task.Minutes = monthplan.Look, scoutMinutes
			add(l.Ref, l.Beds)
		}
	}
	return care
}

// when says a step's own time in the words of the catalogue.
func when(words string) string {
	if words == "" {
		return ""
	}
	return "; when: " + words
}

// manner is how a step of the catalogue is to be done.
func manner(w week.Input, pest, key string) monthplan.Manner {
	for _, x := range w.Actions[pest] {
		if x.Key == key && key != "" {
			return monthplan.ReadManner(x.Text, x.When)
		}
	}
	return monthplan.Manner{}
}

// monthOffers lists the labels that might be asked where a count says act.
// Where something was applied since, only what follows it is planned.
func (a *App) monthOffers(in *monthplan.Input, w week.Input) {
	for i := range w.Assessments {
		x := &w.Assessments[i]
		if x.Result.Verdict != verdict.Act || x.Decider == nil || !hasBed(in.Beds, x.Bed.Code) {
			continue
		}
		k := slices.IndexFunc(w.Actions[x.Pest.Key], func(s week.Action) bool { return s.Rung == week.Product && x.Stage.Between(s.From, s.To) })
		if k < 0 {
			continue
		}
		m := monthplan.ReadManner(w.Actions[x.Pest.Key][k].Text, w.Actions[x.Pest.Key][k].When)
		offer := monthplan.Offer{Bed: x.Bed.Code, Pest: x.Pest.Key, RecountDays: recountDays(x), Traps: traps(x), Minutes: productMinutes, Why: week.Short(*x),
			Part: m.Part, Dry: m.Dry, GenerationDays: a.generationDays(x.Pest.Key, w), Failed: map[string]string{}, Doubt: map[string]string{}}
		for _, t := range w.Treatments {
			if t.Bed == x.Bed.Code && t.Pest == x.Pest.Key && !t.Date.Before(x.Decider.Visit.Date) && !t.Date.Before(offer.Renews.Date) {
				offer.Renews = t
			}
		}
		for _, l := range w.Labels {
			if slices.Contains(l.Pests, x.Pest.Key) {
				ownResults(&offer, w, x.Pest.Key, l)
				offer.Products = append(offer.Products, week.Ask(w, x, l, w.Today))
			}
		}
		in.Offers = append(in.Offers, offer)
	}
}

// warmDays is how many days of weather the pace of a generation is read from,
// of which half must be known. Common practice.
const warmDays = 28

// generationDays is the time of one generation of a pest at the warmth of the
// last four weeks; 0 where it is not known.
func (a *App) generationDays(pest string, w week.Input) int {
	g, ok := a.cat.Generation(pest)
	if !ok || g.Days > 0 {
		return g.Days
	}
	sum, n := 0.0, 0
	for d := range warmDays {
		x, ok := w.Weather[w.Today.AddDays(-d)]
		if ok && x.MinC != nil && x.MaxC != nil {
			sum += max(0, (*x.MinC+*x.MaxC)/2-g.BaseC)
			n++
		}
	}
	if n < warmDays/2 || sum == 0 {
		return 0
	}
	return int(math.Ceil(g.DegreeDays * float64(n) / sum))
}

// recountDays is half the pest's usual time between counts, at least two days:
// a hand step shows soon. Common practice.
func recountDays(x *assess.Assessment) int { return max(2, x.Pest.EveryDays/2) }

func (a *App) monthDocument(p monthplan.Plan, o MonthOptions, usual monthplan.Span, care map[string][]string, labels map[string]farm.Label) *report.Document {
	doc := a.document(fmt.Sprintf("The work from %s to %s", p.From.Short(), p.Through.Short()), p.From)
	doc.Warnings = []report.Line{report.Plain("The product label and local law outrank this plan. A product stands here only under its condition; look at the label again on the day.")}
	lead := "One person, job after job, in the hours " + o.Days + "."
	switch {
	case o.Days == "":
		lead = `No working days were given: every day is taken. Give them with --days "Mon-Sat 07:00-12:00".`
	case usual.To > 0:
		lead = "One person, job after job, on " + strings.TrimSuffix(o.Days, " 00:00-24:00") + "; no working hours were given."
	}
	if usual.To > 0 {
		lead += " A step that names its part of the day gets it; all others stand between 06:00 and 21:00"
		if a.farm.Latitude != nil {
			lead += ", by daylight"
		}
		lead += "."
	} else {
		lead += " A step that names its part of the day stands in it, or has no place."
	}
	if o.Harvest == "" {
		lead += " No cutting days were given, so none are kept free of re-entry: give them with --harvest \"Mon,Thu\"."
	}
	if o.Water == "" {
		lead += " No watering days were given, so no spray is kept dry of it: give them with --water \"Mon,Thu\"."
	}
	if a.farm.Latitude == nil {
		lead += " Sunrise and sunset are not known, so dawn, evening and dark go by the clock: give the farm its place with `leafturn farm set --at`."
	}
	lead += " The lengths of the jobs and of the parts of the day, what goes before what, the days to a recount, and the rules for parcels are common practice."
	doc.Sections = append(doc.Sections, report.Section{Key: "about", Title: "How it is laid out", Lead: report.Plain(lead)})
	if len(p.Standing) > 0 {
		doc.Sections = append(doc.Sections, a.standingSection(p.Standing))
	}
	var day civil.Date
	for _, s := range p.Slots {
		if s.Date != day {
			day = s.Date
			doc.Sections = append(doc.Sections, report.Section{Key: day.String(), Title: day.Short()})
		}
		sec := &doc.Sections[len(doc.Sections)-1]
		it := a.monthItem(s)
		for _, c := range care[s.ID] {
			it.Safety = append(it.Safety, report.Plain(c))
		}
		if s.Kind == monthplan.Applying {
			l := labels[s.Label]
			it.Safety = append(it.Safety, report.Lines(a.careInList(a.careLines(l), "`leafturn week`, then `leafturn why` of its line")...)...)
			if ppe, ok := l.PPE.Get(); ok && ppe != "" {
				it.Safety = append(it.Safety, report.Plain("Wear: "+ppe))
			}
		}
		sec.Items = append(sec.Items, it)
	}
	if len(p.Totals) > 0 {
		sec := report.Section{Key: "totals", Title: "To weigh out over all beds, at the most"}
		for _, t := range p.Totals {
			sec.Items = append(sec.Items, report.Item{Head: report.Plain(t.Product + ": " + a.weighed(t.Amount, units.Down))})
		}
		doc.Sections = append(doc.Sections, sec)
	}
	if len(p.Events) > 0 {
		sec := report.Section{Key: "events", Title: "Only if it happens"}
		for _, e := range p.Events {
			it := report.Item{Head: report.Plain(fmt.Sprintf("%s: %s again, when: %s", e.Bed, a.againstPest(e.Product, e.Pest), e.When)),
				Why: report.Plain("the label names this; no day can be set for it ahead. Count first.")}
			if e.From.IsZero() {
				it.Details = append(it.Details, report.Plain("the label allows no further day that is known"))
			} else {
				it.Details = append(it.Details, report.Plain("never before "+e.From.Short()+", whatever happens: the label allows it then at the soonest"))
			}
			if !e.Until.IsZero() {
				it.Details = append(it.Details, report.Plain("without that, the effect of the last one is reckoned until "+e.Until.Short()))
			}
			sec.Items = append(sec.Items, it)
		}
		doc.Sections = append(doc.Sections, sec)
	}
	if len(p.Unplaced) > 0 {
		sec := report.Section{Key: "unplaced", Title: "No place in this plan"}
		for _, u := range p.Unplaced {
			head := a.againstPest(u.Text, u.Pest)
			if u.Bed != "" {
				head = u.Bed + ": " + head
			}
			it := report.Item{Head: report.Plain(head), Why: report.Plain(u.Why)}
			if !u.Next.IsZero() {
				it.Details = append(it.Details, report.Plain("the next possible day: "+u.Next.Short()))
			}
			for _, l := range u.LookUp {
				if !strings.HasPrefix(l, "look today") {
					l = "look up: " + l
				}
				it.Details = append(it.Details, report.Plain(l))
			}
			sec.Items = append(sec.Items, it)
		}
		doc.Sections = append(doc.Sections, sec)
	}
	doc.Data = monthPlanData(p)
	return doc
}

// standingSection lists what holds all the time, one line for each step.
func (a *App) standingSection(tasks []monthplan.Task) report.Section {
	sec := report.Section{Key: "standing", Title: "All the time"}
	beds := map[string][]string{}
	var texts []string
	for _, t := range tasks {
		text := a.againstPest(t.Text, t.Pest)
		if len(beds[text]) == 0 {
			texts = append(texts, text)
		}
		beds[text] = append(beds[text], t.Bed)
	}
	for _, t := range texts {
		slices.Sort(beds[t])
		sec.Notes = append(sec.Notes, report.Plain(strings.Join(beds[t], ", ")+": "+t))
	}
	return sec
}

// againstPest names the pest by its name for people where the text holds its key or none.
func (a *App) againstPest(text, key string) string {
	p, ok := a.cat.Pest(key)
	if !ok {
		return text
	}
	if base, found := strings.CutSuffix(text, " against "+key); found {
		return base + " against " + p.Name
	}
	if strings.Contains(strings.ToLower(text), strings.ToLower(p.Name)) {
		return text
	}
	return text + " (" + p.Name + ")"
}

func thousandsText(n int) string {
	s := strconv.Itoa(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// weighed writes an amount of product in the farm's units, rounded to the side
// that the label allows.
func (a *App) weighed(q units.Quantity, r units.Round) string { return a.farm.Units.Weighed(q, r) }

func (a *App) monthItem(s monthplan.Slot) report.Item {
	clock := func(t time.Time) string { return t.In(a.loc).Format("15:04") }
	end := clock(s.End)
	if end == "00:00" {
		end = "24:00"
	}
	head := fmt.Sprintf("%s-%s ", clock(s.Start), end)
	if s.Bed != "" {
		head += s.Bed + ": "
	}
	head += a.againstPest(s.Text, s.Pest)
	if s.If != "" {
		head += ", " + s.If
	}
	it := report.Item{Head: report.Plain(head), Box: true, Why: report.Plain(strings.Join(s.Why, "; "))}
	say := func(format string, args ...any) {
		it.Details = append(it.Details, report.Plain(fmt.Sprintf(format, args...)))
	}
	for _, w := range s.With {
		say("with it: %s", w)
	}
	if s.Count > 0 {
		say("at least %s", thousandsText(s.Count))
	}
	if s.Kind == monthplan.Applying {
		switch {
		case s.AmountMax.IsZero():
			say("the label gives no amount per area that can be worked out")
		case s.AmountMin.IsZero():
			say("weigh out at most %s", a.weighed(s.AmountMax, units.Down))
		default:
			say("weigh out %s to %s", a.weighed(s.AmountMin, units.Up), a.weighed(s.AmountMax, units.Down))
		}
		say("the label allows it from %s on; keep out until %s", s.OpenFrom.Short(), s.OpensAt.In(a.loc).Format("Mon 2 Jan 15:04"))
		if !s.UsefulTo.IsZero() {
			say("its effect is reckoned until %s", s.UsefulTo.Short())
		}
		if !s.NextFrom.IsZero() {
			say("not again before %s, and only after another count", s.NextFrom.Short())
		}
		if s.LeftKnown {
			say("%s left in the period after it", unitsOf(s.Left, "application"))
		}
		if !s.LeftAmount.IsZero() {
			say("left of the label's maximum before it: %s", a.weighed(s.LeftAmount, units.Down))
		}
		for _, c := range s.Conditions {
			say("%s", c)
		}
		for _, x := range s.Others {
			say("not chosen: %s", x)
		}
	}
	return it
}
