package app

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/companion"
	"leafturn/internal/farm"
	"leafturn/internal/report"
	"leafturn/plots"
)

// bloomCalendar is the picture of a plan.
func (a *App) bloomCalendar(p *companionPlan, today civil.Date) plots.BloomCalendar {
	b := plots.BloomCalendar{
		Title: "Bloom of the companions, " + p.season.Name(), Year: p.season.Year,
		Source: a.farm.Name + "; cautious bloom windows, weeks of need from the farm's own counts",
	}
	year := farm.SeasonOf(p.season.Monday(26), p.season.South)
	b.From, b.To = year.Like(civil.MonthDay{Month: time.March, Day: 1}), year.Like(civil.MonthDay{Month: time.October, Day: 31})
	if n := len(p.weeks); n > 0 {
		b.From, b.To = p.weeks[0].From, p.weeks[n-1].From.AddDays(6)
	}
	var sown []plots.BloomRow // with the sowings of the years before
	for _, x := range p.chosen {
		if !x.blooming() {
			continue
		}
		row := plots.BloomRow{Plant: x.Plant, Grade: x.BestGrade, Unknown: x.timing.Unknown}
		all := plots.BloomRow{Plant: x.Plant}
		for _, s := range x.timing.Sowings {
			all.Sow = append(all.Sow, s.On)
			if year.Holds(s.On) { // a picture shows one season
				row.Sow = append(row.Sow, s.On)
			}
		}
		row.Bloom = spans(x.timing.Bloom, "")
		b.Rows, sown = append(b.Rows, row), append(sown, all)
	}
	for _, n := range p.needs {
		if len(n.Weeks) > 0 {
			b.Needed = append(b.Needed, plots.BloomNeed{Pest: a.spaced(n.Pest), Spans: spans(p.season.WeekDays(n.Weeks), "")})
		}
	}
	for _, g := range p.gaps() {
		why := "nothing blooms"
		if g.pest != "" {
			why = "nothing for the enemies of " + a.spaced(g.pest)
		}
		b.Gaps = append(b.Gaps, spans([]companion.Days{g.days}, why)...)
	}
	b.AsOf, b.Next = today, bloomNext(sown, today)
	return b
}

// drawBloom draws the bloom calendar to a file, "" for none, puts it into the
// document and returns what it wrote.
func (a *App) drawBloom(p *companionPlan, doc *report.Document, today civil.Date, file string) ([]string, error) {
	if file == "" {
		return nil, nil
	}
	var figs []plots.Figure
	for _, page := range a.bloomCalendar(p, today).Pages() {
		figs = append(figs, page)
	}
	said, err := saveFigures(figs, file)
	if err != nil {
		return nil, err
	}
	var wrote []string
	i := slices.IndexFunc(doc.Sections, func(s report.Section) bool { return s.Key == "calendar" })
	for n := 0; n+1 < len(said); n += 2 { // the file, then what it shows
		wrote = append(wrote, said[n])
		doc.Sections[i].Figures = append(doc.Sections[i].Figures, report.Figure{
			Key: fmt.Sprintf("bloom-%d", n/2+1), Title: "bloom calendar", Alt: said[n+1], File: strings.TrimPrefix(said[n], "drawn: "),
		})
	}
	return wrote, nil
}

func spans(runs []companion.Days, why string) []plots.Span {
	var out []plots.Span
	for _, r := range runs {
		out = append(out, plots.Span{From: r.From, To: r.To, Why: why})
	}
	return out
}
