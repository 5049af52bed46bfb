package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/label"
	"leafturn/internal/schedule"
	"leafturn/internal/store"
	"leafturn/internal/units"
	"leafturn/internal/week"
)

// TreatOptions are the words of `treat`.
type TreatOptions struct {
	Label                                                   string
	Beds                                                    []string
	Date                                                    civil.Date
	DateGiven                                               bool
	Pest, Amount, Start, End, Part, Area, Who, Reason, Note string
	TreatMore
}

// Treat stores an application in each bed. What happened is stored even where
// it broke the label; what it broke is said as a warning.
func (a *App) Treat(ctx context.Context, o TreatOptions) (Said, error) {
	beds, err := a.names.findBeds(o.Beds)
	if err != nil {
		return Said{}, err
	}
	l, _, err := a.labelFor(ctx, o.Label)
	if err != nil {
		return Said{}, err
	}
	var problems diag.List
	bad := func(do, format string, args ...any) { problems.Add(diag.Usagef(do, format, args...)) }
	t := farm.Treatment{Label: l.Key, Part: o.Part, Who: o.Who, Reason: o.Reason, Note: o.Note}
	var res Said
	if o.Pest == "" {
		bad("say which with --pest, such as --pest slug", "the treatment has no pest")
	} else if p, err := a.names.findPest(o.Pest); err != nil {
		problems.Add(err.(*diag.Problem))
	} else {
		t.Pest = p.Key
	}
	if o.Amount == "" {
		bad(`give what was used on each bed, such as --amount "120 g"`, "the treatment has no amount")
	} else if q, err := units.Parse(o.Amount); err != nil {
		bad(`write it with its unit, such as "120 g", "4 oz wt" or "2 US fl oz"`, "--amount: %v", err)
	} else if q.Value <= 0 {
		bad("give what was used on each bed", "--amount %q is not above zero", o.Amount)
	} else if d := q.Unit.Dimension; d != units.Mass && d != units.Volume && d != units.Count {
		bad("give the amount on each bed, not a rate", "--amount %q is a %s", o.Amount, d)
	} else {
		t.Amount = q
	}
	area := 0.0
	if o.Area != "" {
		q, err := units.ParseAs(o.Area, units.Area, "")
		if err != nil || q.Value <= 0 {
			bad(`write it with its unit, such as "12 m2"`, "--area %q is not an area", o.Area)
		} else {
			area = q.Base()
		}
	}
	a.treatTimes(&t, o, &res, bad)
	a.treatMore(&t, o.TreatMore, bad)
	if err := problems.Err(); err != nil {
		return Said{}, err
	}
	s, err := a.snapshot(ctx, t.Date)
	if err != nil {
		return Said{}, err
	}
	// An application is judged by the version in force on its day.
	if i := slices.IndexFunc(s.labels, func(x farm.Label) bool { return x.Key == l.Key }); i >= 0 {
		l = s.labels[i]
	}
	if err := a.notLongAgo(ctx, "the treatment of", t.Date); err != nil {
		return res, err
	}
	if err := a.treatDates(t, l); err != nil {
		return Said{}, err
	}
	err = a.st.View(ctx, func(tx *store.Tx) error { // with what was read of it since
		all, err := tx.LabelVersions(l.Key)
		if err != nil {
			return err
		}
		l = label.ReadSince(l, slices.DeleteFunc(all, func(x farm.Label) bool { return x.Version <= l.Version }))
		s.versions, err = labelsThen(tx, s.treatments, a.Today())
		return err
	})
	if err != nil {
		return Said{}, err
	}
	history := s.treatments
	var stored, worked []string
	var done []farm.Treatment
	var found [][]label.Rule
	led, err := a.because(ctx, s, o.Because, t.Pest, t.Date)
	if err != nil {
		return Said{}, err
	}
	err = a.st.Update(ctx, func(tx *store.Tx) error {
		for _, b := range beds {
			if label.BeyondRows(t.Part, b) {
				return diag.Usagef("name rows that it has, or correct it with `leafturn bed set "+b.Code+" --rows N`", "--part %q: %s has %s", t.Part, b.Code, rowWords(b.Rows))
			}
			x := t
			x.Bed, x.AreaM2 = b.Code, area
			if area == 0 {
				x.AreaM2 = label.PartArea(t.Part, b)
			}
			most := label.PartArea(t.Part, b)
			if most == 0 {
				most = b.AreaM2()
			}
			if area > 1.01*most { // a bed's own area is rounded when it is written down
				return diag.Usagef("give the area that was treated", "--area %s is more ground than there is in %s (%s)", o.Area, b.Code, a.farm.Units.Area(most))
			}
			if x.AreaM2 == 0 {
				return diag.Usagef("give the area that was treated, such as --area \"4 m2\"", "how much of %s %q is cannot be told", b.Code, t.Part)
			}
			visit, why, err := led(b)
			if err != nil {
				return err
			}
			x.Visit = visit
			req := a.labelRequest(s, b, l, x, history)
			found = append(found, label.Findings(x, req))
			x.Breaches, _ = label.Breaches(x, req)
			id, err := tx.AddTreatment(x, l.Version, a.now)
			if err != nil {
				return err
			}
			x.ID = id
			history, done = append(history, x), append(done, x)
			s.versions[id] = l
			stored = append(stored, fmt.Sprintf("%s (treatment %d)", b.Code, id))
			if low := label.Low(x, req); low != "" {
				res.Warnings = append(res.Warnings, b.Code+": "+low)
			}
			worked = append(worked, fmt.Sprintf("%s: %s; %s", b.Code, label.RateWords(x, label.At(l, b.Site, b.CropWord()), a.farm.Units), why))
		}
		return nil
	})
	if err != nil {
		return Said{}, kept(err, "nothing was stored")
	}
	// What is to be done now also follows from what was recorded of later days.
	now, err := a.snapshot(ctx, a.Today())
	if err != nil {
		return Said{}, err
	}
	var broke []string
	for i, b := range beds {
		broke = append(broke, a.breachWords(b, found[i], a.after(b, done[i], now))...)
	}
	res.Warnings = append(broke, res.Warnings...)
	for _, rel := range s.lately {
		if in(beds, rel.Bed) {
			res.Warnings = append(res.Warnings, a.afterRelease(rel, l, t.Date)...)
		}
	}
	for _, rel := range now.lately { // let out since, and recorded before this
		if rel.Date.After(t.Date) && in(beds, rel.Bed) {
			res.Warnings = append(res.Warnings, a.residueOn(rel.Bed, t.Date, l, rel.Agent, rel.Date)...)
		}
	}
	since, err := a.nowBroken(ctx, beds, t.Date)
	if err != nil {
		return Said{}, err
	}
	res.Warnings = append(res.Warnings, since...)
	res.Said = fmt.Sprintf("noted: %s, %s on each of %s", l.Product, t.Amount, strings.Join(stored, ", "))
	res.Said += "\n" + strings.Join(worked, "\n")
	for _, c := range a.careProduct(l) {
		res.Said += "\ncare: " + c
	}
	res.Said += "\n" + a.reentryWords(now.versions, beds, now.treatments)
	return res, nil
}

func rowWords(n int) string {
	if n == 0 {
		return "no such rows"
	}
	return fmt.Sprintf("rows 1 to %d", n)
}

// treatTimes reads when the application began and ended.
func (a *App) treatTimes(t *farm.Treatment, o TreatOptions, res *Said, bad func(do, format string, args ...any)) {
	clock := func(flag, text string) time.Time {
		at, warning, err := ingest.ParseClock(text, a.Today(), a.loc)
		if err != nil {
			do := `write it as "2026-07-13 18:30", on the farm's clock`
			if p := (*diag.Problem)(nil); errors.As(err, &p) && p.Do != "" {
				do = p.Do
			}
			bad(do, "--%s: %s", flag, firstLine(err))
			return time.Time{}
		}
		if warning != "" {
			res.Warnings = append(res.Warnings, warning)
		}
		return at
	}
	if o.Start != "" {
		t.Start = clock("start", o.Start)
	}
	if o.End != "" {
		t.End, t.EndKnown = clock("end", o.End), true
		if t.End.IsZero() {
			return
		}
		t.Date = civil.DateIn(t.End, a.loc)
		if o.DateGiven && t.Date != o.Date {
			bad("give one of them, or the same day in both", "--date %s and --end %q are two different days", o.Date, o.End)
		}
	} else {
		t.Date = o.Date
		// Without a time of day re-entry counts from the end of that day.
		t.End = o.Date.AddDays(1).In(a.loc)
		res.Warnings = append(res.Warnings, "the time of day was not given, so re-entry is counted from the end of the day; give --end next time")
	}
	switch {
	case t.Start.IsZero():
	case t.Start.After(t.End):
		bad("check both", "--start lies after --end")
	case t.End.Sub(t.Start) > 24*time.Hour:
		bad("record each day by itself", "--start lies more than a day before --end")
	}
}

func firstLine(err error) string {
	s, _, _ := strings.Cut(err.Error(), "\n")
	return s
}

func (a *App) treatDates(t farm.Treatment, l farm.Label) error {
	if t.EndKnown && t.End.After(a.now) || t.Date.After(a.Today()) {
		return diag.Usagef("record it when it is done", "the treatment lies in the future: it is %s on the farm", a.now.In(a.loc).Format("2006-01-02 15:04"))
	}
	if t.Date.Before(l.Entered) {
		if e, ok := l.Expiry.Get(); ok && t.Date.After(e) {
			return diag.Usagef("use no more of it; enter the label of the container that was used, with its day, then the treatment",
				"the product of the label %s expired on %s, before the treatment of %s, and the label was transcribed only on %s", l.Key, e, t.Date, l.Entered)
		}
		return diag.Usagef("enter the label with its day first: `leafturn label add FILE --date "+t.Date.String()+"`",
			"the treatment of %s lies before the day on which the label %s was transcribed, %s", t.Date, l.Key, l.Entered)
	}
	return nil
}

// labelFor returns the label's latest version.
func (a *App) labelFor(ctx context.Context, key string) (farm.Label, int, error) {
	var l farm.Label
	var keys []string
	err := a.st.View(ctx, func(tx *store.Tx) error {
		all, err := tx.Labels()
		for _, x := range all {
			keys = append(keys, x.Key)
			if strings.EqualFold(x.Key, key) {
				l = x
			}
		}
		return err
	})
	if err != nil {
		return l, 0, err
	}
	if l.Key == "" {
		return l, 0, diag.Usagef("enter it with `leafturn label add`, or see `leafturn label list`", "no label %q has been entered%s", key, diag.DidYouMean(key, keys))
	}
	return l, l.Version, nil
}

// labelRequest is the question whether a treatment is within its label.
func (a *App) labelRequest(s snapshot, b farm.Bed, l farm.Label, t farm.Treatment, history []farm.Treatment) label.Request {
	labels := map[string]farm.Label{}
	for _, x := range s.labels {
		labels[x.Key] = x
	}
	stage, _ := a.farm.Season(t.Date).StageOn(s.stages[b.Code], t.Date)
	r := label.Request{
		Label: label.SeasonAsYear(l), Labels: labels, Versions: s.versions, ActiveKey: a.cat.ActiveKey, Apart: a.aparts(),
		Bed: b, Pest: t.Pest, Date: t.Date, Loc: a.loc, History: history, CycleStart: s.planted[b.Code], Organic: a.farm.Organic, Units: a.farm.Units,
	}
	lasts := a.lasts(s.weather)
	r.Lasts = func(from civil.Date) label.Lasting { return lasts(t.Pest, from) }
	r.Bloom, r.Ground = label.Flowering(stage, farm.FlowersOn(s.done, b.Code, t.Date))
	r.Looks = label.Looks(a.looks(), s.done, b.Code, t.Pest, t.Date)
	r = a.ladder(s, b, t.Pest, stage, t.Date).Ask(r)
	if w, ok := s.weather[t.Date]; ok {
		r.Weather = &w
	}
	return r.Where(a.farm)
}

// ladder is what was tried in a bed against a pest before a day.
func (a *App) ladder(s snapshot, b farm.Bed, pest string, stage farm.Stage, day civil.Date) week.Ladder {
	return week.ReadLadder(week.LadderInput{
		Bed: b.Code, Pest: pest, Stage: stage, Today: day, South: a.farm.South(), Actions: actionFacts(a.cat.Actions(pest)), Done: s.done, Releases: s.releases,
		Possible: func(agent string) bool { return week.Possible(a.agentOffers(agent), a.farm.Country) },
	})
}

// aparts are the pairs of actives that are kept apart where no label gives a
// figure.
func (a *App) aparts() []label.Apart {
	var out []label.Apart
	for _, x := range a.cat.Aparts() {
		source := x.Source
		if source == "" {
			source = x.Basis
		}
		out = append(out, label.Apart{A: x.A, B: x.B, Days: x.Days, Source: source})
	}
	return out
}

// looks are what actives need to know of pests before they go on.
func (a *App) looks() []label.Look {
	var out []label.Look
	for _, x := range a.cat.Looks() {
		out = append(out, label.Look{Active: x.Active, Pest: x.Pest, Fits: x.Fits, Fails: x.Fails, Question: x.Question, Why: x.Why, Instead: x.Instead, Days: x.Days})
	}
	return out
}

// reentryWords says when beds are open again after all that was put on them:
// the longest interval counts.
func (a *App) reentryWords(versions map[int64]farm.Label, beds []farm.Bed, history []farm.Treatment) string {
	var lines []string
	for _, o := range a.openings(history, versions, beds, a.now) {
		lines = append(lines, o.Words)
	}
	return strings.Join(lines, "\n")
}

func in(beds []farm.Bed, code string) bool {
	return slices.ContainsFunc(beds, func(b farm.Bed) bool { return b.Code == code })
}

// residueWarnings says what was used on a bed that still harms an agent.
func (a *App) residueWarnings(s snapshot, b farm.Bed, agent string, day civil.Date) []string {
	var out []string
	for _, t := range s.treatments {
		if t.Bed == b.Code {
			out = append(out, a.residueOn(b.Code, t.Date, s.versions[t.ID], agent, day)...)
		}
	}
	return out
}

// residueOn says what a product that was used on a bed does to an agent that is
// let out there on a later day. What is not known is said for 60 days.
func (a *App) residueOn(bed string, used civil.Date, l farm.Label, agent string, day civil.Date) []string {
	var out []string
	for _, x := range l.Actives {
		days, known := a.wait(x.Name, agent)
		switch {
		case !known && day.Sub(used) <= 60:
			out = append(out, fmt.Sprintf("%s: %s was used on %s and its effect on the animals is not known (%s, let out on %s)", bed, x.Name, used.Short(), a.agentName(agent), day.Short()))
		case known && day.Sub(used) < days:
			out = append(out, fmt.Sprintf("%s: %s of %s can still harm them until %s (%s, let out on %s)", bed, x.Name, used.Short(), used.AddDays(days).Short(), a.agentName(agent), day.Short()))
		}
	}
	return out
}

func (a *App) afterRelease(rel farm.Release, l farm.Label, day civil.Date) []string {
	var out []string
	for _, x := range l.Actives {
		days, known := a.wait(x.Name, rel.Agent)
		out = append(out, schedule.AfterRelease([]farm.Release{rel}, a.agentName(rel.Agent), schedule.Residue{Date: day, Label: l.Key, Active: x.Name, WaitDays: days, Known: known})...)
	}
	return out
}

// wait is how long a residue of an active harms an agent.
func (a *App) wait(active, agent string) (int, bool) {
	days, known, _, _ := a.cat.WaitDays(active, agent)
	return days, known
}

func (a *App) findAgent(word string) (catalog.Agent, error) {
	key := strings.ToLower(strings.NewReplacer("-", "_", " ", "_").Replace(word))
	if g, ok := a.cat.Agent(key); ok {
		return g, nil
	}
	var keys []string
	for _, p := range a.cat.Pests() {
		for _, g := range a.cat.Agents(p.Key) {
			if !contains(keys, g.Key) {
				keys = append(keys, g.Key)
			}
		}
	}
	if starts := slices.DeleteFunc(slices.Clone(keys), func(k string) bool { return key == "" || !strings.HasPrefix(k, key) }); len(starts) == 1 {
		g, _ := a.cat.Agent(starts[0])
		return g, nil
	}
	return catalog.Agent{}, diag.Usagef("one of: "+strings.Join(keys, ", "), "unknown agent %q%s", word, diag.DidYouMean(key, keys))
}
