package app

import (
	"context"
	"fmt"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/companion"
	"leafturn/internal/cover"
	"leafturn/internal/report"
)

// Companions suggests companion plants for the farm's pests, or for those named.
func (a *App) Companions(ctx context.Context, day civil.Date, words []string) (*report.Document, error) {
	s, err := a.snapshot(ctx, day)
	if err != nil {
		return nil, err
	}
	list, err := a.assessments(s, false)
	if err != nil {
		return nil, err
	}
	field, err := a.fieldPressures(s, list)
	if err != nil {
		return nil, err
	}
	lead := "For the pressure counted on this farm this season."
	if len(words) > 0 {
		field = nil
		for _, w := range words {
			p, err := a.names.findPest(w)
			if err != nil {
				return nil, err
			}
			field = append(field, cover.Counted(p.Key, 1))
		}
		lead = "For the pests named, each with a pressure of 1."
	}
	var rows []companion.Row
	for _, c := range a.cat.Companions("") {
		rows = append(rows, companion.Row{
			Plant: c.Plant, Latin: c.Latin, Family: c.Family, Pest: c.Pest, Role: c.Role, Enemies: c.NaturalEnemies, Placement: c.Placement,
			SowWindow: c.SowWindow, BloomWindow: c.BloomWindow, Risk: c.Risk, Score: c.Score, Grade: c.Evidence,
			Basis: c.Basis, Source: c.Source, URL: c.URL, Note: c.Note,
		})
	}
	advice, err := companion.Suggest(field, companion.CapVisits(rows), companion.DefaultOptions())
	if err != nil {
		return nil, err
	}
	doc := a.document("Companion plants", day)
	src := &sources{}
	first := report.Section{Key: "answer", Lead: report.Plain(lead + " " + upperWord(advice.Answer) + ".")}
	for _, p := range advice.Pests {
		first.Notes = append(first.Notes, report.Plain(p.Text))
	}
	doc.Sections = append(doc.Sections, first)
	byVerdict := map[companion.Verdict]*report.Section{}
	var order []companion.Verdict
	for _, g := range advice.Suggestions {
		sec, ok := byVerdict[g.Verdict]
		if !ok {
			sec = &report.Section{Key: strings.ReplaceAll(string(g.Verdict), " ", "_"), Title: upperWord(string(g.Verdict))}
			byVerdict[g.Verdict] = sec
			order = append(order, g.Verdict)
		}
		var pests []string
		var refs []assess.Ref
		for _, e := range g.Effects {
			pests = append(pests, fmt.Sprintf("%s %+d (%s)", e.Row.Pest, e.Row.Score, e.Grade))
			refs = append(refs, assess.Ref{Basis: e.Row.Basis, Source: e.Row.Source, URL: e.Row.URL})
		}
		it := report.Item{
			Head:    report.Plain(fmt.Sprintf("%s (%s), %s", g.Plant, g.Latin, strings.Join(g.Roles, "; "))).Cite(src.cite(refs...)...),
			Why:     report.Say("points {}: {}", report.Num(g.Value, 1), strings.Join(pests, ", ")),
			Details: nil,
		}
		for _, x := range [][2]string{{"where", g.Placement}, {"sow", g.SowWindow}, {"bloom", g.BloomWindow}} {
			if x[1] != "" {
				it.Details = append(it.Details, report.Plain(x[0]+": "+x[1]))
			}
		}
		it.Safety = report.Lines(g.Warnings...)
		sec.Items = append(sec.Items, it)
	}
	for _, v := range order {
		doc.Sections = append(doc.Sections, *byVerdict[v])
	}
	doc.Sources = src.list
	doc.Data = companionsData(advice)
	return doc, nil
}

func upperWord(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
