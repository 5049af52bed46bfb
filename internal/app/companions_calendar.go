package app

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/companion"
	"leafturn/internal/report"
)

// sowingJob is one line of the sowing list.
type sowingJob struct {
	on    civil.Date
	plant chosenPlant
	sow   companion.Sow
	out   bool // planting out, not sowing
	n     int  // which sowing of the plant, from 1
}

func (p *companionPlan) jobs() []sowingJob {
	var out []sowingJob
	for _, x := range p.chosen {
		if !x.placed() {
			continue
		}
		for i, s := range x.timing.Sowings {
			out = append(out, sowingJob{s.On, x, s, false, i + 1})
			if !s.PlantOut.IsZero() {
				out = append(out, sowingJob{s.PlantOut, x, s, true, i + 1})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b sowingJob) int { return a.on.Compare(b.on) })
	return out
}

// work says what is to be done.
func (j sowingJob) work() string {
	switch {
	case j.out:
		return "plant out"
	case !j.sow.PlantOut.IsZero():
		return "sow under cover"
	case j.plant.layout.Pieces != nil:
		return "lay out"
	case j.plant.layout.Plants != nil:
		return "sow or plant"
	}
	return "sow"
}

func (a *App) sowingSection(p *companionPlan) report.Section {
	s := report.Section{Key: "sowing", Title: "Sowing list"}
	for _, j := range p.jobs() {
		if s.Table == nil {
			s.Table = &report.Table{Columns: []report.Column{{Title: "Day"}, {Title: "Plant"}, {Title: "Work"}, {Title: "How much"}}}
		}
		s.Table.Rows = append(s.Table.Rows, []report.Value{report.Text(fullDay(j.on)), report.Text(j.plant.Plant), report.Text(j.work()), report.Text(a.sowingWords(j.plant))})
	}
	if s.Table != nil {
		s.Notes = report.Lines("the amount is for one sowing; a fifth more plants are raised than planted, for losses (common practice)")
	}
	return s
}

// The signs of the bloom calendar.
const (
	signNone  = "."
	signBloom = "o"
	signNeed  = "#"
	signGap   = "!"
	signBare  = "-"
	signSow   = "s"
)

// calendarSection shows the season week by week in signs, and its gaps in words.
func (a *App) calendarSection(p *companionPlan) report.Section {
	ruler := ""
	for i, w := range p.weeks {
		sign := signNone
		for d := range 7 {
			if day := w.From.AddDays(d); day.Day == 1 || i == 0 && d == 0 {
				sign = day.Month.String()[:1]
			}
		}
		ruler += sign
	}
	t := &report.Table{Columns: []report.Column{{Title: "Week by week"}, {Title: ruler}}}
	line := func(name string, sign func(companion.CalendarWeek) string) {
		s := ""
		for _, w := range p.weeks {
			s += sign(w)
		}
		t.Rows = append(t.Rows, []report.Value{report.Text(name), report.Text(s)})
	}
	for _, n := range p.needs {
		if len(n.Weeks) == 0 {
			continue
		}
		line("needed: "+a.spaced(n.Pest), func(w companion.CalendarWeek) string {
			switch {
			case slices.Contains(w.Gap, n.Pest):
				return signGap
			case slices.Contains(w.Needed, n.Pest):
				return signNeed
			}
			return signNone
		})
	}
	for _, x := range p.chosen {
		if !x.blooming() {
			continue
		}
		line(x.Plant, func(w companion.CalendarWeek) string {
			sown := slices.ContainsFunc(x.timing.Sowings, func(s companion.Sow) bool { n := s.On.Sub(w.From); return n >= 0 && n < 7 })
			switch {
			case slices.Contains(w.Plants, x.Plant):
				return signBloom
			case sown:
				return signSow
			case x.timing.Unknown != "":
				return "?"
			}
			return signNone
		})
	}
	line("nothing in bloom", func(w companion.CalendarWeek) string {
		if w.Bare {
			return signBare
		}
		return signNone
	})
	s := report.Section{Key: "calendar", Title: "Bloom calendar " + p.season.Name(), Table: t}
	if len(t.Rows) == 1 {
		s.Table, s.Lead = nil, report.Plain("Nothing to show: no flower is planned, and no week is known in which natural enemies are needed.")
		return s
	}
	from := civil.Date{}
	if len(p.weeks) > 0 {
		from = p.weeks[0].From
	}
	s.Notes = append(s.Notes, report.Plain(calendarSigns+fullDay(from)+", a letter where a month begins: o in bloom, s sown, # enemies needed and fed, ! needed and nothing that feeds them in bloom, - nothing at all in bloom, ? not known"))
	for _, g := range p.gaps() {
		s.Notes = append(s.Notes, report.Plain(a.spaced(g.words()+p.fillWords(g))))
	}
	if len(p.gaps()) == 0 {
		s.Notes = append(s.Notes, report.Plain("no gaps from "+calendarFrom(p.season.South)+" to the frost"))
	}
	if len(p.unfed) > 0 {
		s.Notes = append(s.Notes, report.Plain(a.spaced("no plant in the facts feeds the enemies of "+strings.Join(p.unfed, ", ")+" with its flowers, so bloom is not asked for there")))
	}
	for _, n := range p.needs {
		if len(n.Weeks) == 0 {
			s.Notes = append(s.Notes, report.Plain(a.spaced(n.Pest)+" was counted and never likely to be over its level, so no week needs its enemies"))
		}
	}
	o := companion.DefaultNeedOptions()
	s.Notes = append(s.Notes, report.Plain(fmt.Sprintf("enemies are needed in the weeks in which the chance of being over the action level was %d %% or more in some bed, in this season or the %d before, and in the %d weeks ahead of them (common practice)", int(100*o.Over), pastSeasons, o.LeadWeeks)))
	return s
}

// calendarFrom is the month with which a bloom calendar begins.
func calendarFrom(south bool) string {
	if south {
		return "September"
	}
	return "March"
}

// gap is a run of weeks without what is needed.
type gap struct {
	pest    string // "" is nothing in bloom at all
	weeks   []int  // of the season
	numbers []int  // the same by ISO 8601
	days    companion.Days
}

func (g gap) words() string {
	when := fmt.Sprintf("%s (%s)", weekWords(g.numbers), runWords([]companion.Days{g.days}))
	if g.pest == "" {
		return "gap: nothing here blooms in " + when
	}
	return "gap: " + g.pest + ": its enemies are needed in " + when + ", and nothing that feeds them blooms"
}

// fillWords names the plant of those planned that could fill the most of a gap
// with one more sowing.
func (p *companionPlan) fillWords(g gap) string {
	var best companion.Sow
	var weeks []int
	name := ""
	for _, x := range p.chosen {
		if !x.blooming() || g.pest != "" && !slices.Contains(x.serves, g.pest) {
			continue
		}
		if s, in := x.timing.Fill(p.season, g.weeks); len(in) > len(weeks) {
			best, weeks, name = s, in, x.Plant
		}
	}
	if name == "" {
		return "; no sowing of the plants planned here can fill it"
	}
	return fmt.Sprintf("; %s sown on %s would bloom in %s", name, fullDay(best.On), weekWords(p.season.ISOWeeks(weeks)))
}

// gaps lists the runs of weeks without nectar: by pest, then those in which
// nothing blooms.
func (p *companionPlan) gaps() []gap {
	var out []gap
	runs := func(pest string, in func(companion.CalendarWeek) bool) {
		var weeks []int
		for _, w := range p.weeks {
			if in(w) {
				weeks = append(weeks, w.Week)
			}
		}
		for _, d := range p.season.WeekDays(weeks) {
			g := gap{pest: pest, days: d}
			for _, w := range weeks {
				if m := p.season.Monday(w); !m.Before(d.From) && !m.After(d.To) {
					g.weeks = append(g.weeks, w)
				}
			}
			g.numbers = p.season.ISOWeeks(g.weeks)
			out = append(out, g)
		}
	}
	for _, n := range p.needs {
		runs(n.Pest, func(w companion.CalendarWeek) bool { return slices.Contains(w.Gap, n.Pest) })
	}
	runs("", func(w companion.CalendarWeek) bool { return w.Bare })
	return out
}

// companionPart is in front of what the entries of the sowing list are about;
// they have a calendar of their own for each season.
const companionPart = "companions"

// companionEvents makes an event of each job of the sowing list.
func (a *App) companionEvents(p *companionPlan) []report.Event {
	var out []report.Event
	seen := map[string]int{}
	for _, j := range p.jobs() {
		kind := "sow"
		if j.out {
			kind = "out"
		}
		var words []string
		words = append(words, a.spotWords(j.plant.layout)...)
		if !j.sow.Bloom.From.IsZero() {
			words = append(words, "in bloom "+runWords([]companion.Days{j.sow.Bloom}))
		}
		words = append(words, j.plant.Warnings...)
		words = append(words, petWords(j.plant)...)
		out = append(out, report.Event{
			UID:     eventBase(seen, fmt.Sprintf("%s%d", companionPart, p.season.Year), fmt.Sprintf("%s-%d", j.plant.facts.Key, j.n), kind),
			Summary: cmp.Or(upperWord(j.work()), "Sow") + ": " + j.plant.Plant + ", " + a.sowingWords(j.plant), Description: strings.Join(words, "\n"), Location: a.farm.Place,
			First: j.on, Last: j.on, Categories: []string{"SOWING"}, Transparent: true,
			Alarms: []report.Alarm{{Offset: 7 * time.Hour}},
		})
	}
	return out
}
