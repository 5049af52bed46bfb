package app

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/climate"
	"leafturn/internal/phenology"
	"leafturn/internal/report"
	"leafturn/plots"
)

// How far past today the picture of a sum reaches where no --to is given: to
// the latest day of the stages shown, within these bounds.
const (
	sumAheadLeast = 28
	sumAheadMost  = 75
)

// drawDegreeDays draws a sum of degree-days with the pest's stages.
func (a *App) drawDegreeDays(ctx context.Context, doc *report.Document, p ddPlan, s yearDays, o DegreeDaysOptions, today civil.Date) error {
	u := tempUnits(a.farm.Units)
	fig := plots.DegreeDays{Of: p.name, Unit: fmt.Sprintf("degree-days %s above %s", u.name(), u.temp(p.model.Lower)), Today: today}
	stages, steps, unknown, err := a.sumStages(ctx, p, s, o, today)
	if err != nil {
		return err
	}
	fig.Stages = stages
	to := p.to
	if o.To == "" {
		to = today.AddDays(sumAheadLeast)
		for _, m := range stages {
			if last := m.Latest.AddDays(3); last.After(to) {
				to = last
			}
		}
		if far := today.AddDays(sumAheadMost); to.After(far) {
			to = far
		}
	}
	series, err := s.lay(p.start, to.AddDays(1), o.Fill)
	if err != nil {
		return err
	}
	sums, gap, err := phenology.Sum(p.model, series, p.start)
	if err != nil {
		return err
	}
	for _, x := range sums {
		if !x.Date.After(to) {
			fig.Days = append(fig.Days, plots.SumDay{Date: x.Date, Sum: u.dd(x.Sum), Ahead: x.Kind == climate.Forecast || x.Kind == climate.Normal, Filled: x.Kind == climate.Filled})
		}
	}
	if !gap.IsZero() && !gap.After(to) {
		what, do := s.gap(gap, p.start, o.Fill)
		fig.Gap = plots.Span{From: gap, To: to, Why: what}
		if gap.Before(today) { // without that day nothing behind it is known
			fig.Next = "mend the weather: " + strings.ReplaceAll(do, "`", "") + "."
		} else {
			fig.Notes = sentences("To go on,", do+".")
		}
	}
	if err := a.sumBand(&fig, p, s, to, u); err != nil {
		return err
	}
	for _, need := range p.reach {
		m := plots.SumMark{Sum: u.dd(need)}
		if r := reachedIn(sums, need); r.Date != nil && !r.Date.After(to) {
			m.Date = *r.Date
		}
		fig.Marks = append(fig.Marks, m)
	}
	if fig.Next == "" {
		fig.Next = sumNext(stages, steps, fig.Marks, unknown, today)
	}
	fig.Source = fmt.Sprintf("Added up: %s, daily lowest and highest temperatures. Start: %s (%s).", a.farm.Name, p.start.Short(), p.startWhy)
	if len(stages) > 0 {
		fig.Notes = sentences("A stage was reckoned, not seen: look for it. Its earliest and latest day hold where published figures were seen to fail.", fig.Notes)
	}
	return drawInto(doc, "degree-days", []plots.Figure{fig}, o.Draw)
}

// sentences joins what is not empty with blanks.
func sentences(parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(s string) bool { return s == "" }), " ")
}

// sumStages are the stages of the pest whose dates are known, what to do
// around them, and why the others are not known.
func (a *App) sumStages(ctx context.Context, p ddPlan, s yearDays, o DegreeDaysOptions, today civil.Date) (stages []plots.StageMark, steps []ClockStep, unknown string, err error) {
	if p.key == "" || p.own {
		return nil, nil, "", nil
	}
	known, err := a.snapshot(ctx, today)
	if err != nil {
		return nil, nil, "", err
	}
	from := p.start
	if first := known.year.First; first.Before(from) {
		from = first
	}
	series, err := s.lay(from, maxDay(p.to, today.AddDays(aheadDays)), o.Fill)
	if err != nil {
		return nil, nil, "", err
	}
	var given civil.Date
	if o.Start != "" {
		given = p.start
	}
	var got AheadData
	if err := a.clocks(&got, p.animal, given, series, series.Members(s.readings), s, known, o.Fill); err != nil {
		return nil, nil, "", err
	}
	for _, c := range got.Clocks {
		if c.Unknown != "" {
			if len(c.Stages) > 0 {
				unknown = fmt.Sprintf("when to expect %s (%s)", c.Stages[0].Row.Stage, c.Unknown)
			}
			continue
		}
		for i, x := range c.Stages {
			if !shownStage(c.Stages, i, today) || x.Expected == nil || len(stages) == plots.MaxStages {
				continue
			}
			m := plots.StageMark{Name: x.Row.Stage, Expected: *x.Expected}
			if repeated(c, x) {
				m.Name = fmt.Sprintf("generation %d, %s", x.Generation, x.Row.Stage)
			}
			if x.Earliest != nil && x.Latest != nil {
				m.Earliest, m.Latest = *x.Earliest, *x.Latest
			}
			stages = append(stages, m)
		}
	}
	return stages, got.Steps, unknown, nil
}

// stageName is a stage with its generation, where there are several.
func stageName(c ClockData, s StageData) string {
	if repeated(c, s) {
		return fmt.Sprintf("%s (%d)", s.Row.Stage, s.Generation)
	}
	return s.Row.Stage
}

// repeated reports whether a stage comes again, generation after generation.
func repeated(c ClockData, s StageData) bool {
	return s.Generation > 1 || len(c.Stages) > 1 && c.Stages[1].Row.Key == s.Row.Key
}

func maxDay(x, y civil.Date) civil.Date {
	if x.Before(y) {
		return y
	}
	return x
}

// sumBand adds what the same days brought in the farm's earlier years, or in a
// usual year where there are too few of them.
func (a *App) sumBand(fig *plots.DegreeDays, p ddPlan, s yearDays, to civil.Date, u tempUnits) error {
	bare, err := climate.Lay(p.start, to, nil)
	if err != nil {
		return err
	}
	usual := bare.Carry(p.start, s.normals).Carry(p.start, s.spare)
	years := usual.Members(s.readings)
	if len(years) < climate.LeastMembers {
		years = []climate.Member{{Series: usual}}
		fig.BandWords = "a usual year"
	} else {
		fig.BandWords = fmt.Sprintf("%d earlier years, the line their middle", len(years))
	}
	var all [][]phenology.Step
	for _, y := range years {
		steps, _, err := phenology.Sum(p.model, y.Series, p.start)
		if err != nil {
			return err
		}
		all = append(all, steps)
	}
	for i := range to.Sub(p.start) + 1 {
		var sums []float64
		for _, steps := range all {
			if i < len(steps) {
				sums = append(sums, u.dd(steps[i].Sum))
			}
		}
		if len(sums) < len(all) {
			break
		}
		slices.Sort(sums)
		n := len(sums)
		fig.Band = append(fig.Band, plots.BandDay{Date: p.start.AddDays(i), Low: sums[0], Middle: (sums[(n-1)/2] + sums[n/2]) / 2, High: sums[n-1]})
	}
	return nil
}

// past reports whether there are stages and none is still to come.
func past(stages []plots.StageMark, today civil.Date) bool {
	for _, m := range stages {
		if !maxDay(m.Expected, m.Latest).Before(today) {
			return false
		}
	}
	return len(stages) > 0
}

// sumNext says what to do next: the steps around the stages, else the stage to
// look for, else the sum that comes next.
func sumNext(stages []plots.StageMark, steps []ClockStep, marks []plots.SumMark, unknown string, today civil.Date) string {
	steps = slices.SortedStableFunc(slices.Values(steps), func(x, y ClockStep) int { return x.Date.Compare(y.Date) })
	if past(stages, today) { // what was to be done about the last stage is over with it
		steps = slices.DeleteFunc(steps, func(x ClockStep) bool { return !x.Date.After(today) })
	}
	said, last := "", ""
	for _, x := range steps[:min(2, len(steps))] {
		when := "from " + x.Date.Short() + " on"
		if !x.Date.After(today) {
			when = "now"
		}
		text := strings.TrimSuffix(x.Text, ".")
		switch {
		case last == "" && when == "now":
			said = strings.ToLower(text[:1]) + text[1:]
		case last == "":
			said = when + ": " + strings.ToLower(text[:1]) + text[1:]
		case when == last:
			said += ". " + text
		default:
			said += ". " + capital(when) + ": " + strings.ToLower(text[:1]) + text[1:]
		}
		last = when
	}
	if said != "" {
		return said + "."
	}
	for _, m := range stages {
		last := maxDay(m.Expected, m.Latest)
		if last.Before(today) {
			continue
		}
		from := m.Expected
		if !m.Earliest.IsZero() {
			from = m.Earliest
		}
		return fmt.Sprintf("look for %s from %s to %s.", m.Name, maxDay(from, today).Short(), last.Short())
	}
	for _, m := range marks {
		if m.Date.After(today) {
			return fmt.Sprintf("the sum of %s is reached about %s.", plainNumber(m.Sum), m.Date.Short())
		}
	}
	switch {
	case unknown != "":
		return "go by the counts; not known is " + unknown + "."
	case len(stages) > 0:
		return "no stage is to come in these days: go by the counts."
	}
	return ""
}
