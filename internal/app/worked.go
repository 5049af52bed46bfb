package app

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/effect"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/report"
	"leafturn/internal/verdict"
	"leafturn/internal/week"
)

// Days after which a count tells whether a step worked, where the catalogue
// has nothing better. Common practice.
const (
	productWait = 3
	handWait    = 1
	agentWait   = 14
)

// effectSteps are the steps against a pest that a count can show, up to the
// snapshot's day: applications, releases, hand and mechanical work. Beds in
// which the same was done on the same day are one step.
func (a *App) effectSteps(s snapshot, pest string) []effect.Step {
	var out []effect.Step
	add := func(bed string, x effect.Step) {
		for i := range out {
			if out[i].Key == x.Key && out[i].Date == x.Date {
				if !slices.Contains(out[i].Beds, bed) {
					out[i].Beds = append(out[i].Beds, bed)
				}
				return
			}
		}
		x.Beds = []string{bed}
		out = append(out, x)
	}
	for _, t := range s.treatments {
		if t.Pest != pest || !s.year.Holds(t.Date) {
			continue
		}
		l := s.versions[t.ID]
		x := effect.Step{Name: l.Product, Key: "label:" + t.Label, Product: true, Date: t.Date, WaitDays: productWait}
		for _, act := range l.Actives {
			if code, ok := act.Group.Get(); ok {
				if g, ok := label.MainGroup(code); ok && !slices.Contains(x.Groups, g) {
					x.Groups = append(x.Groups, g)
				}
			}
		}
		add(t.Bed, x)
	}
	for _, r := range s.releases {
		if r.Pest != pest {
			continue
		}
		x := effect.Step{Name: r.Agent, Key: "agent:" + r.Agent, Date: r.Date, WaitDays: agentWait}
		if g, ok := a.cat.Agent(r.Agent); ok {
			x.Name = g.Latin
			if len(g.CheckDays) > 0 {
				x.WaitDays = g.CheckDays[0]
			}
		}
		add(r.Bed, x)
	}
	actions := a.cat.Actions(pest)
	for _, d := range s.done {
		i := slices.IndexFunc(actions, func(x catalog.Action) bool { return x.Key == d.Action })
		if d.Pest != pest || i < 0 || week.Rung(actions[i].Rung) != week.Cultural {
			continue
		}
		add(d.Bed, effect.Step{Name: strings.ReplaceAll(shortStep(d.Action), "_", " "), Key: d.Action, Date: d.Date, WaitDays: handWait})
	}
	return out
}

// effectCounts are the counts of a pest on randomly chosen units. A unit of
// which the nights matter is one by itself for each number of nights.
func (a *App) effectCounts(s snapshot, facts assess.Pest) []effect.Count {
	var out []effect.Count
	for _, v := range s.byPest[facts.Key] {
		u, ok := facts.Unit(v.Unit)
		n, total := s.counted(v)
		if !ok || u.Percent || v.Stratum == farm.HotSpot || v.Stratum == farm.Edge || v.Presence != nil || n == 0 {
			continue
		}
		c := effect.Count{Bed: v.Bed, Date: v.Date, Unit: u.Key, Units: n, Total: total, Visit: v.ID}
		if n := v.Conditions.Nights; u.PerNights > 0 && n > 0 && n != u.Nights {
			c.Unit += fmt.Sprintf(" of %d nights", n)
		}
		c.Reason = strings.Join(verdict.Validity(v, u.Needs), "; ")
		out = append(out, c)
	}
	return out
}

// effects judges the season's steps against a pest.
func (a *App) effects(s snapshot, p catalog.Pest) ([]effect.Result, error) {
	steps := a.effectSteps(s, p.Key)
	if len(steps) == 0 {
		return nil, nil
	}
	facts, err := a.pestFacts(p, a.usualStage(s), s)
	if err != nil {
		return nil, err
	}
	k := func(unit string, mean float64) float64 {
		unit, _, _ = strings.Cut(unit, " of ")
		u, _ := facts.Unit(unit)
		return u.ClumpAt(mean)
	}
	return effect.Judge(steps, a.effectCounts(s, facts), k, s.on), nil
}

// Worked says of each step of the season whether it worked, and draws it to a
// file where one is named.
func (a *App) Worked(ctx context.Context, day civil.Date, pestWord, bedWord, draw string) (*report.Document, error) {
	if err := checkDraw(draw); err != nil {
		return nil, err
	}
	if day.After(a.Today()) {
		return nil, a.future("--date", day)
	}
	s, err := a.snapshot(ctx, day)
	if err != nil {
		return nil, err
	}
	keys, bed := a.watched(s), ""
	title := "Did it work?"
	if pestWord != "" {
		p, err := a.names.findPest(pestWord)
		if err != nil {
			return nil, err
		}
		keys, title = []string{p.Key}, "Did it work? "+p.Name
	}
	if bedWord != "" {
		beds, err := a.names.findBeds([]string{bedWord})
		if err != nil {
			return nil, err
		}
		if len(beds) != 1 {
			return nil, diag.Usagef("name one bed", "%q is more than one bed", bedWord)
		}
		bed = beds[0].Code
	}
	doc := a.document(title, day)
	d := WorkedData{Steps: []WorkedStep{}, Own: []WorkedOwn{}, Questions: []WorkedQuestion{}}
	var own, questions []report.Line
	var all []tried
	for _, key := range keys {
		p, ok := a.cat.Pest(key)
		if !ok {
			continue
		}
		results, err := a.effects(s, p)
		if err != nil {
			return nil, err
		}
		t := &report.Table{Columns: []report.Column{{Title: "Day"}, {Title: "Step"}, {Title: "Beds"}, {Title: "Before"}, {Title: "After"}, {Title: "Untreated"}}}
		var said []report.Line
		for _, r := range results {
			if bed != "" && !slices.Contains(r.Beds, bed) {
				continue
			}
			d.Steps = append(d.Steps, workedStep(p.Key, r))
			all = append(all, tried{p, r})
			words := fmt.Sprintf("%s, %s: %s", r.Date.Short(), r.Name, r.Words())
			for _, w := range r.Warnings {
				words += "; " + w
			}
			said = append(said, report.Plain(words))
			t.Rows = append(t.Rows, []report.Value{report.Day(r.Date), report.Text(r.Name), report.Text(strings.Join(r.Beds, " ")),
				cellValue(r.Before.Total, r.Before.Units), cellValue(r.After.Total, r.After.Units), checkValue(r)})
		}
		if len(t.Rows) > 0 {
			doc.Sections = append(doc.Sections, report.Section{Key: "steps-" + p.Key, Title: strings.ToUpper(p.Name[:1]) + p.Name[1:], Table: t, Notes: said})
		}
		for _, o := range effect.Pool(results) {
			d.Own = append(d.Own, WorkedOwn{Pest: p.Key, Step: o.Key, Name: o.Name, Tries: o.Tries, Percent: o.Percent, Low: o.Low, High: o.High, Compared: o.Compared, PassedOver: o.PassedOver()})
			words := fmt.Sprintf("%s, %s: %s", p.Name, o.Name, o.Words())
			if o.PassedOver() {
				words += ". It is passed over in the list: try the next step"
			}
			own = append(own, report.Plain(words))
		}
		for _, q := range effect.Resistance(results) {
			d.Questions = append(d.Questions, WorkedQuestion{Pest: p.Key, Group: q.Group, Days: q.Days, Words: q.Words})
			questions = append(questions, report.Plain(p.Name+": "+q.Words))
		}
	}
	doc.Data = d
	if len(doc.Sections) == 0 && draw == "" {
		doc.Sections = []report.Section{{Key: "steps", Lead: report.Plain("No step is recorded this season: `leafturn did`, `leafturn treat` and `leafturn release` record them.")}}
		return doc, nil
	}
	if len(own) > 0 {
		doc.Sections = append(doc.Sections, report.Section{Key: "own", Title: "What works here", Notes: own})
	}
	if len(questions) > 0 {
		doc.Sections = append(doc.Sections, report.Section{Key: "questions", Title: "A question of resistance", Notes: questions})
	}
	doc.Sections = append(doc.Sections, report.Section{Key: "how", Title: "How it is reckoned", Notes: report.Lines(
		"before, after, untreated: animals on so many units; the last valid count within 14 days before the step, the first within 21 days after its wait",
		"Henderson & Tilton 1955, J. Economic Entomology 48:157-161; Abbott 1925, J. Economic Entomology 18:265-267; \"likely\" is the 95 % interval")})
	if draw != "" {
		if err := a.drawWorked(ctx, doc, day, title, all, d.Own, draw); err != nil {
			return nil, err
		}
	}
	return doc, nil
}

func cellValue(total float64, units int) report.Value {
	if units == 0 {
		return report.MissingAs("–", "no valid count")
	}
	return report.Text(fmt.Sprintf("%.0f on %d", total, units))
}

func checkValue(r effect.Result) report.Value {
	switch {
	case r.CheckAfter.Units == 0:
		return report.MissingAs("–", "no untreated bed was counted")
	case r.CheckBefore.Units == 0:
		return report.Text(fmt.Sprintf("%.0f on %d after", r.CheckAfter.Total, r.CheckAfter.Units))
	}
	return report.Text(fmt.Sprintf("%.0f on %d, then %.0f on %d", r.CheckBefore.Total, r.CheckBefore.Units, r.CheckAfter.Total, r.CheckAfter.Units))
}
