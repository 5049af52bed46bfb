package app

import (
	"fmt"

	"leafturn/internal/catalog"
	"leafturn/internal/estimate"
	"leafturn/internal/report"
	"leafturn/internal/units"
	"leafturn/internal/week"
)

// GrowthRate is a rate of growth, or of prey eaten, at one temperature.
type GrowthRate struct {
	Key    string  `json:"key"`
	Animal string  `json:"animal"`
	Kind   string  `json:"kind"`
	TempC  float64 `json:"temp_c"`
	Value  float64 `json:"value"`
	Host   string  `json:"host"`
	Used   bool    `json:"used"`
	Basis
}

// growthRates are the rates of a pest, then those of the natural enemies that
// can be let out against it.
func growthRates(cat *catalog.Catalog, p catalog.Pest) []catalog.GrowthRate {
	out := cat.GrowthRates(p.Key)
	for _, g := range cat.Agents(p.Key) {
		if _, ok := cat.GrowthCurve(g.Key, catalog.Appetite); ok {
			out = append(out, cat.GrowthRates(g.Key)...)
		}
	}
	return out
}

func growthData(cat *catalog.Catalog, p catalog.Pest) []GrowthRate {
	out := []GrowthRate{}
	for _, r := range growthRates(cat, p) {
		out = append(out, GrowthRate{r.Key, r.Animal, r.Kind, r.TempC, r.Value, r.Host, r.Used, basisOf(r.Provenance)})
	}
	return out
}

// growthSections say how fast a pest grows; none where nothing is known.
func growthSections(cat *catalog.Catalog, p catalog.Pest, system units.System, src *sources) []report.Section {
	rates := cat.GrowthRates(p.Key)
	if len(rates) == 0 {
		return nil
	}
	t := &report.Table{Columns: []report.Column{{Title: "Of"}, {Title: "At", Unit: system.TempUnit()}, {Title: "Rate a day"}, {Title: "Doubles in"}, {Title: "On"}, {Title: "Line"}, {Title: "Basis"}}}
	for _, r := range rates {
		used, doubles := "", report.MissingAs("–", "it does not grow")
		if r.Used {
			used = "yes"
		}
		if r.Value > 0 {
			doubles = report.Text(week.Number(estimate.DoublingTime(r.Value)) + " days")
		}
		basis := r.Basis
		if keys := src.cite(refOf(r.Provenance)); r.Source != "" && len(keys) > 0 {
			basis += fmt.Sprintf(" [%d]", keys[0])
		}
		t.Rows = append(t.Rows, []report.Value{report.Text(r.Animal), report.Text(system.TempNumber(r.TempC)), report.Text(fmt.Sprintf("%.3g", r.Value)), doubles, report.Text(r.Host), report.Text(used), report.Text(basis)})
	}
	sec := report.Section{Key: "growth", Title: "How fast it grows", Table: t}
	if len(growthRates(cat, p)) > len(rates) {
		sec.Notes = report.Lines("how fast its natural enemies breed and how much they eat is in --json")
	}
	if c, ok := cat.GrowthCurve(p.Key, catalog.Increase); ok {
		sec.Lead = report.Plain("Laboratory rates are upper bounds for the field, and none was measured on dahlia.")
		sec.Notes = append(sec.Notes, report.Lines(fmt.Sprintf("line: a point of the line that `leafturn forecast` goes by, straight between its points, times %g to %g; the others are as printed", c.Low, c.High))...)
	} else {
		sec.Lead = report.Plain("No line is made of these, and no density is forecast: arrival from outside outweighs growth.")
	}
	return []report.Section{sec}
}
