package app

import (
	"fmt"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/climate"
	"leafturn/internal/report"
)

// stepWords are the kinds of steps as they are shown.
var stepWords = map[string]string{"traps": "put out", "young": "young", "bait": "bait", "look": "look"}

func (a *App) aheadDocument(d AheadData, today civil.Date) *report.Document {
	u := tempUnits(a.farm.Units)
	doc := a.document("What is ahead", today)
	stages := &report.Table{Columns: []report.Column{{Title: "Of"}, {Title: "Stage"}, {Title: "Start"}, {Title: "Done"}, {Title: "Earliest"}, {Title: "Expected"}, {Title: "Latest"}, {Title: "Weather"}}}
	var notes []string
	told := map[string]bool{}
	note := func(s string) {
		if !told[s] {
			told[s] = true
			notes = append(notes, s)
		}
	}
	for _, c := range d.Clocks {
		if c.Unknown != "" {
			for _, s := range c.Stages {
				note(fmt.Sprintf("%s, %s: not known; %s.", c.Name, s.Row.Stage, c.Unknown))
			}
			continue
		}
		note(fmt.Sprintf("%s: start %s (%s).", c.Name, dayWords(*c.Start, today), c.StartWhy))
		for i, s := range c.Stages {
			if !shownStage(c.Stages, i, today) {
				continue
			}
			stages.Rows = append(stages.Rows, stageCells(c, s, today))
			r := s.Row
			note(fmt.Sprintf("%s, %s: %.4g degree-days %s above %s (%s).%s", r.Animal, r.Stage, u.dd(*r.DD), u.name(), u.temp(*r.Base), sourceOf(r.Basis), noteWords(r.Note)))
		}
	}
	notes = append(notes, "A number behind a stage is the generation, from the start on. Earliest and latest hold the range in which the figures were seen to fail, mostly 0.7 to 1.5 times: they come from laboratories, and from other crops.")
	if d.Usual.Members > 0 {
		notes = append(notes, fmt.Sprintf("They also hold how the rest of the season went in %s of the farm's own.", yearsWords(d.Usual.Members)))
	} else {
		notes = append(notes, fmt.Sprintf("How far years differ is not in them: that takes %d years of the farm's own weather.", climate.LeastMembers))
	}
	notes = append(notes, "A stage in the past is reckoned from what was measured; it was not seen. Densities are not told here: scout.")
	sec := report.Section{Key: "stages", Title: "Stages", Notes: report.Lines(append(d.Words, notes...)...)}
	if len(stages.Rows) > 0 {
		sec.Table = stages
	} else {
		sec.Lead = report.Plain("No clock runs.")
	}
	doc.Sections = append(doc.Sections, a.aheadSteps(d, today), sec)
	if len(d.Nights) > 0 {
		doc.Sections = append(doc.Sections, a.nightSection(d, u))
	}
	doc.Data = d
	return doc
}

// shownStage keeps what helps a reader: of generations the last that was
// reached and the next two.
func shownStage(all []StageData, i int, today civil.Date) bool {
	if all[i].Generation == 1 && (len(all) == 1 || all[len(all)-1].Generation == 1) {
		return true
	}
	past := 0
	for past < len(all) && all[past].Expected != nil && all[past].Expected.Before(today) {
		past++
	}
	return i >= past-1 && i < past+2
}

func stageCells(c ClockData, s StageData, today civil.Date) []report.Value {
	day := func(d *civil.Date) report.Value {
		switch {
		case d != nil:
			return report.Text(dayWords(*d, today))
		case s.Missing != nil:
			return report.MissingAs("not known", "a day is missing")
		}
		return report.MissingAs("not reached", "not within the time looked at")
	}
	done := report.MissingAs("–", "a day is missing")
	if s.Progress != nil {
		done = report.Percent(*s.Progress)
	}
	kind := report.MissingAs("–", "not reached")
	if s.Expected != nil {
		kind = report.Text(kindWord(climate.Kind(s.Kind)))
	}
	return []report.Value{report.Text(c.Name), report.Text(stageName(c, s)), report.Text(dayWords(*c.Start, today)), done, day(s.Earliest), day(s.Expected), day(s.Latest), kind}
}

func sourceOf(b Basis) string {
	if b.Source == "" {
		return b.Basis
	}
	return b.Source + ", " + b.Basis
}

func (a *App) aheadSteps(d AheadData, today civil.Date) report.Section {
	sec := report.Section{Key: "steps", Title: "What to do, and when"}
	if len(d.Steps) == 0 {
		sec.Lead = report.Plain("Nothing hangs on the clocks that run.")
	}
	for _, s := range d.Steps {
		name := s.Of
		if p, ok := a.cat.Pest(s.Of); ok {
			name = p.Name
		} else if g, ok := a.cat.Agent(s.Of); ok {
			name = g.Name
		}
		head := fmt.Sprintf("%s, %s: %s", dayWords(s.Date, today), name, s.Text)
		if s.Date.Before(today) {
			head = fmt.Sprintf("since %s, %s: %s", dayWords(s.Date, today), name, s.Text)
		}
		sec.Items = append(sec.Items, report.Item{Mark: stepWords[s.Kind], Head: report.Plain(head)})
	}
	return sec
}

func (a *App) nightSection(d AheadData, u tempUnits) report.Section {
	t := &report.Table{Columns: []report.Column{{Title: "Evening"}, {Title: "Night", Unit: "°" + u.name(), Decimals: 0}, {Title: "Weather"}, {Title: "Slugs"}, {Title: "Soil baits valid"}, {Title: "Mites at rest"}, {Title: "Why"}}}
	for _, n := range d.Nights {
		night := report.MissingAs("–", "a day is missing")
		if n.NightC != nil {
			night = report.Num(u.of(*n.NightC), 0)
		}
		slug := n.Slug
		if n.SlugIf != "" {
			slug = "favourable if " + n.SlugIf
		}
		t.Rows = append(t.Rows, []report.Value{report.Day(n.Date), night, report.Text(kindWord(climate.Kind(n.Kind))), report.Text(slug), report.Text(n.Bait), report.Text(n.Rest), report.Text(strings.Join(n.Why, "; "))})
	}
	notes := []string{"Bait slugs on a favourable night, where counts ask for it and as the label allows; traps on other nights tell nothing.",
		"The night's temperature is reckoned from the day's highest and the next day's lowest; wind is not in the record: --wind gives tonight's.",
		"Mites at rest: no growth is told, and releases stop."}
	if a.farm.Latitude == nil {
		notes = append(notes, "The length of the day is not known: give the farm's place with `leafturn farm set --at`.")
	}
	return report.Section{Key: "nights", Title: "The coming nights and days", Table: t, Notes: report.Lines(notes...)}
}
