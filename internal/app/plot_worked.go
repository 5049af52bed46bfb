package app

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/effect"
	"leafturn/internal/estimate"
	"leafturn/internal/report"
	"leafturn/plots"
)

// tried is a result with its pest.
type tried struct {
	pest catalog.Pest
	effect.Result
}

// drawWorked draws whether the steps worked.
func (a *App) drawWorked(ctx context.Context, doc *report.Document, day civil.Date, title string, all []tried, own []WorkedOwn, file string) error {
	fig := plots.Worked{Title: title, AsOf: day, Source: a.farm.Name + ", animals on randomly chosen units; the last valid count within 14 days before a step, the first within 21 days after its wait"}
	s, err := a.snapshot(ctx, day)
	if err != nil {
		return err
	}
	for _, r := range all {
		t := plots.Try{Date: r.Date, Step: strings.ReplaceAll(r.Name, "_", " "), Pest: r.pest.Name, Beds: strings.Join(r.Beds, ", "), Finding: findingOf(r.Result)}
		if r.Known() {
			facts, err := a.pestFacts(r.pest, a.usualStage(s), s)
			if err != nil {
				return err
			}
			key, nights, _ := strings.Cut(r.Unit, " of ")
			u, _ := facts.Unit(key)
			t.Unit = r.pest.Name + " per " + u.Label
			if nights != "" {
				t.Unit += " of " + nights
			}
			t.BeforeOn, t.AfterOn = middleDay(r.BeforeFrom, r.BeforeTo), middleDay(r.AfterFrom, r.AfterTo)
			t.Before, t.After, t.CheckBefore, t.CheckAfter = meanOf(r.Before), meanOf(r.After), meanOf(r.CheckBefore), meanOf(r.CheckAfter)
			t.Expected = expectedAfter(t)
			if r.Method == effect.BeforeAndAfter {
				t.ExpectedBy = "as before"
			}
			e := r.Efficacy
			if finite(e.Percent) != nil && finite(e.Low) != nil && finite(e.High) != nil {
				t.Effect = &plots.Effect{Percent: e.Percent, Low: min(e.Low, e.Percent), High: max(e.High, e.Percent)}
			}
		}
		fig.Tries = append(fig.Tries, t)
	}
	// What can be judged comes first, the rest behind it.
	slices.SortStableFunc(fig.Tries, func(x, y plots.Try) int { return cmp.Compare(notKnown(x), notKnown(y)) })
	fig.Next = workedNext(all, own, day)
	var figs []plots.Figure
	for _, page := range fig.Pages() {
		figs = append(figs, page)
	}
	if len(all) == 0 {
		return diag.Failf(plots.ErrNoData, "record what was done: `leafturn did`, `leafturn treat`, `leafturn release`", "no step is recorded this season, so there is nothing to draw")
	}
	return drawInto(doc, "did it work", figs, file)
}

func notKnown(t plots.Try) int {
	if t.Effect == nil {
		return 1
	}
	return 0
}

// findingOf is a result in a sentence with what to mind.
func findingOf(r effect.Result) string {
	said := strings.Join(append([]string{r.Words()}, r.Warnings...), "; ")
	return capital(strings.ReplaceAll(said, "_", " ")) + "."
}

func middleDay(from, to civil.Date) civil.Date {
	if from.IsZero() {
		return from
	}
	return from.AddDays(to.Sub(from) / 2)
}

func meanOf(c estimate.Cell) *plots.Mean {
	if c.Units == 0 {
		return nil
	}
	return &plots.Mean{Value: c.Total / float64(c.Units), Units: c.Units}
}

// expectedAfter is the mean after a step had it done nothing: as it went in
// untreated beds, as it was there, or as it was before.
func expectedAfter(t plots.Try) *float64 {
	switch {
	case t.CheckAfter != nil && t.CheckBefore != nil && t.Before != nil:
		if t.CheckBefore.Value == 0 {
			return nil
		}
		return finite(t.Before.Value * t.CheckAfter.Value / t.CheckBefore.Value)
	case t.CheckAfter != nil:
		return &t.CheckAfter.Value
	case t.Before != nil:
		return &t.Before.Value
	}
	return nil
}

// workedNext says what to do next: count what can still be counted, leave off
// what does not work, make the next try tell more.
func workedNext(all []tried, own []WorkedOwn, day civil.Date) string {
	var count, off, unsure, works []string
	untreated := false
	for _, r := range all {
		switch {
		case !r.Known() && r.After.Units == 0 && !day.After(r.CountBy):
			when := "by " + r.CountBy.Short()
			if r.CountFrom.After(day) {
				when = "from " + r.CountFrom.Short() + " to " + r.CountBy.Short()
			}
			count = append(count, fmt.Sprintf("%s %s (%s)", strings.Join(r.Beds, ", "), when, strings.ReplaceAll(r.Name, "_", " ")))
		case r.Known() && r.Method == effect.BeforeAndAfter:
			untreated = true
		}
	}
	for _, o := range own {
		name := strings.ReplaceAll(o.Name, "_", " ")
		switch {
		case o.PassedOver:
			off = append(off, name)
		case o.Low <= 0:
			unsure = append(unsure, name)
		case !slices.Contains(works, name):
			works = append(works, name)
		}
	}
	var out []string
	if len(count) > 0 {
		out = append(out, "count "+strings.Join(count[:min(3, len(count))], "; ")+".")
	}
	if len(off) > 0 {
		out = append(out, "Try the next step instead of "+strings.Join(off, ", ")+".")
	}
	if len(works) > 0 {
		out = append(out, "Go on with "+strings.Join(works, ", ")+" where counts ask for it.")
	}
	switch {
	case untreated:
		out = append(out, "Next time leave one bed untreated and count it too.")
	case len(unsure) > 0:
		out = append(out, "To be surer, count more units just before and after the next of these, in untreated beds too: "+fewNames(unsure)+".")
	}
	if len(out) == 0 {
		return "count each bed just before a step and after its wait, and one untreated bed with it."
	}
	return strings.ToLower(out[0][:1]) + strings.Join(out, " ")[1:]
}

// fewNames lists names, from the fourth on by their number.
func fewNames(names []string) string {
	if len(names) > 4 {
		return strings.Join(names[:3], ", ") + fmt.Sprintf(" and %d more", len(names)-3)
	}
	return strings.Join(names, ", ")
}
