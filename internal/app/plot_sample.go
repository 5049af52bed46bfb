package app

import (
	"fmt"

	"leafturn/internal/assess"
	"leafturn/internal/report"
	"leafturn/internal/sampling"
	"leafturn/plots"
)

// drawSample draws a sampling plan: its curves and its stop lines.
func (a *App) drawSample(doc *report.Document, x asked, plan sampling.Plan, file string) error {
	data, _ := doc.Data.(SampleData)
	scale := x.toMeasure()
	fig := plots.SamplePlan{
		Pest: x.pest.Name, Unit: x.unit.Label, Units: assess.Plural(x.unit.Label, 2), Measure: x.unit.Words, Percent: x.unit.Percent,
		Threshold: plan.Question.Threshold * scale, Safe: plan.Safe * scale, Action: plan.Action * scale, AsOf: x.o.Date,
		Source: a.farm.Name + ". " + capital(methodWords(plan)) + "; clumping: " + x.words + ".",
	}
	if x.bed.Code != "" {
		fig.Place = "bed " + x.bed.Code
	}
	points, err := plan.Curve(nil)
	if err != nil {
		return err
	}
	for _, p := range points {
		fig.Points = append(fig.Points, plots.PlanPoint{Level: p.Level * scale, Hold: min(1, max(0, p.Hold)), Units: p.Units})
	}
	for _, l := range data.Lines {
		fig.Lines = append(fig.Lines, plots.PlanLine{N: l.Units, Hold: l.HoldAt, ActAt: l.ActAt})
	}
	first, last := fig.Lines[0], fig.Lines[len(fig.Lines)-1]
	fig.Next = fmt.Sprintf("look at %s one by one over the whole bed and keep the total. From %d on stop as soon as it lies in a shaded field; at %d the last line decides.", fig.Units, first.N, last.N)
	if first.N == last.N {
		fig.Next = fmt.Sprintf("look at %s over the whole bed and add them up: the total decides.", x.units(last.N))
	}
	if adv := data.Advice; adv != nil {
		fig.SoFar = &plots.PlanSoFar{Units: adv.Units, Total: adv.Total}
		fig.Next = soFarNext(x, *adv)
	}
	return drawInto(doc, "sampling plan for "+x.pest.Name, []plots.Figure{fig}, file)
}

// soFarNext says what the counts so far ask for. Where the verdict on the bed
// differs from the lines, it decides.
func soFarNext(x asked, adv SampleAdvice) string {
	switch {
	case adv.Stop == "go on":
		return fmt.Sprintf("go on: about %.0f more %s.", adv.More, assess.Plural(x.unit.Label, 2))
	case adv.Verdict != "" && adv.Verdict != adv.Stop:
		return fmt.Sprintf("the verdict decides, and it is: %s. The lines alone would say %s.", adv.Verdict, adv.Stop)
	}
	return "stop looking: " + adv.Stop + ". Enter the counts with `leafturn count`."
}
