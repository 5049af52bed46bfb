package app

import (
	"fmt"

	"leafturn/internal/civil"
	"leafturn/internal/companion"
	"leafturn/plots"
)

// drawBloom draws the bloom calendar and returns what it shows, in words.
func (a *App) drawBloom(p *companionPlan, file string) ([]string, error) {
	b := plots.BloomCalendar{
		Title: fmt.Sprintf("Bloom of the companions, %d", p.season.Year), Year: p.season.Year,
		Source: a.farm.Name + "; cautious bloom windows, weeks of need from the farm's own counts",
	}
	b.From, b.To = civil.New(p.season.Year, 3, 1), civil.New(p.season.Year, 10, 31)
	if n := len(p.weeks); n > 0 {
		b.From, b.To = p.weeks[0].From, p.weeks[n-1].From.AddDays(6)
	}
	for _, x := range p.chosen {
		if !x.blooming() {
			continue
		}
		row := plots.BloomRow{Plant: x.Plant, Grade: x.BestGrade, Unknown: x.timing.Unknown}
		for _, s := range x.timing.Sowings {
			if s.On.Year == p.season.Year { // a picture shows one year
				row.Sow = append(row.Sow, s.On)
			}
		}
		row.Bloom = spans(x.timing.Bloom, "")
		b.Rows = append(b.Rows, row)
	}
	for _, n := range p.needs {
		if len(n.Weeks) > 0 {
			b.Needed = append(b.Needed, plots.BloomNeed{Pest: n.Pest, Spans: spans(companion.WeekDays(p.season.Year, n.Weeks), "")})
		}
	}
	for _, g := range p.gaps() {
		why := "nothing blooms"
		if g.pest != "" {
			why = "nothing for the enemies of " + g.pest
		}
		b.Gaps = append(b.Gaps, spans([]companion.Days{g.days}, why)...)
	}
	var figs []plots.Figure
	for _, page := range b.Pages() {
		figs = append(figs, page)
	}
	return saveFigures(figs, file)
}

func spans(runs []companion.Days, why string) []plots.Span {
	var out []plots.Span
	for _, r := range runs {
		out = append(out, plots.Span{From: r.From, To: r.To, Why: why})
	}
	return out
}
