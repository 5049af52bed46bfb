package app

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/companion"
	"leafturn/internal/cover"
	"leafturn/internal/report"
)

func (a *App) companionDocument(p *companionPlan, day civil.Date) *report.Document {
	doc := a.document("Companion plants", day)
	doc.Subtitle = "for the season of " + p.season.Name()
	if a.farm.South() {
		doc.Warnings = report.Lines("The months of sowing and bloom in the facts are those of the north. Here they are read 26 weeks later (common practice), so take no day that rests on them for granted. Days counted from frost or planting hold.")
	}
	src := &sources{}
	first := report.Section{Key: "answer", Lead: report.Plain(a.spaced(p.lead + " " + upperWord(p.advice.Answer) + "."))}
	for _, x := range p.advice.Pests {
		first.Notes = append(first.Notes, a.says(x.Text)...)
	}
	w := cover.DefaultWeights
	first.Notes = append(first.Notes, report.Plain(fmt.Sprintf("evidence, and its weight: A replicated field trials %g, B one trial, survey or greenhouse %g, C extension advice %g, D anecdote %g, all on other crops than dahlia. Points: pressure (0 to 3) times the fall of the pest (score -3 to +3) times the weight; an anecdote alone never stands before a trial", w.A, w.B, w.C, w.D)))
	if len(p.advice.Pests) == 0 {
		first.Notes = append(first.Notes, report.Plain("count pests first (`leafturn count`), or name those you know, such as `leafturn companions aphid`"))
	}
	if short := p.shortChoice(); len(short) > 0 && len(short) < len(p.chosen) {
		var names, keys []string
		for _, x := range short {
			names, keys = append(names, x.Plant), append(keys, x.facts.Key)
		}
		verb := "cover"
		if len(names) == 1 {
			verb = "covers"
		}
		first.Notes = append(first.Notes, report.Plain(fmt.Sprintf("you need not plant all of them: going by the evidence first, %s %s as many of the weeks of need as all together: `leafturn companions --only %s`", strings.Join(names, " and "), verb, strings.Join(keys, ","))))
	}
	first.Notes = append(first.Notes, a.says(p.skipped...)...)
	doc.Sections = append(doc.Sections, first)
	doc.Sections = append(doc.Sections, a.plantSections(p, src)...)
	if s := a.sowingSection(p); s.Table != nil {
		doc.Sections = append(doc.Sections, s)
	}
	doc.Sections = append(doc.Sections, a.calendarSection(p))
	avoid := report.Section{Key: "avoid", Title: "What to avoid here"}
	for _, v := range p.avoid {
		avoid.Notes = append(avoid.Notes, report.Plain(a.spaced(v.Text)).Cite(src.cite(v.Refs...)...))
	}
	doc.Sections = append(doc.Sections, avoid)
	doc.Sections = append(doc.Sections, a.otherSections(p, src)...)
	if lines := a.companionUnknowns(p); len(lines) > 0 {
		doc.Sections = append(doc.Sections, report.Section{Key: "unknown", Title: "What is not known", Notes: a.says(lines...)})
	}
	doc.Sources = src.list
	doc.Data = a.companionsData(p)
	return doc
}

func effectRefs(g companion.Suggestion) []assess.Ref {
	var refs []assess.Ref
	for _, e := range g.Effects {
		refs = append(refs, assess.Ref{Basis: e.Row.Basis, Source: e.Row.Source, URL: e.Row.URL})
	}
	return refs
}

func effectWords(g companion.Suggestion) string {
	var out []string
	for _, e := range g.Effects {
		out = append(out, fmt.Sprintf("%s %+d (%s)", e.Row.Pest, e.Row.Score, e.Grade))
	}
	return strings.Join(out, ", ")
}

// enemyWords say which natural enemies a plant feeds or houses, by pest.
func enemyWords(g companion.Suggestion) []string {
	var out []string
	for _, e := range g.Effects {
		if e.Row.Enemies != "" && e.Row.Enemies != "none" && e.Row.Score <= 0 {
			out = append(out, "for "+e.Row.Pest+": "+e.Row.Enemies)
		}
	}
	return out
}

// findings are what is known of the effects, pest by pest. Of contested ones
// both sides are told, each with its source.
func (a *App) findings(g companion.Suggestion, src *sources, contestedOnly bool) []report.Line {
	var out []report.Line
	for _, e := range g.Effects {
		note := strings.TrimPrefix(e.Row.Note, "CONTESTED: ")
		d, both := a.cat.CompanionDispute(g.Plant, e.Row.Pest)
		switch {
		case both:
			other := assess.Ref{Basis: d.Basis, Source: d.OtherSource, URL: d.OtherURL}
			against := d.Other
			if other.Source == "" {
				against += " (no source given)"
			} else {
				other.Basis = catalog.Published
			}
			cites := src.cite(assess.Ref{Basis: d.Basis, Source: d.Source, URL: d.URL})
			if other.Source != "" {
				cites = append(cites, src.cite(other)...)
			}
			out = append(out, report.Plain(a.spaced("contested, "+e.Row.Pest+": "+d.Finding+"; against it: "+against)).Cite(slices.Compact(cites)...))
		case note == "":
		case e.Contested():
			out = append(out, a.says("contested, "+e.Row.Pest+": "+note)...)
		case !contestedOnly:
			out = append(out, a.says("evidence, "+e.Row.Pest+": "+note)...)
		}
	}
	return out
}

// plantSections are the plants that are planned: those with a place, and those
// for which there is none.
func (a *App) plantSections(p *companionPlan, src *sources) []report.Section {
	placed := report.Section{Key: "worth_trying", Title: "Worth trying, and where"}
	none := report.Section{Key: "no_place", Title: "No place for them here"}
	for _, x := range p.chosen {
		refs := append(effectRefs(x.Suggestion), placeRefs(x)...)
		it := report.Item{
			Head: report.Plain(fmt.Sprintf("%s (%s), %s", x.Plant, x.Latin, strings.Join(x.Roles, "; "))).Cite(src.cite(refs...)...),
			Why:  report.Say("points {}: {}", report.Num(x.Value, 1), a.spaced(effectWords(x.Suggestion))),
		}
		add := func(s string) { it.Details = append(it.Details, report.Plain(a.spaced(s))) }
		if x.Verdict != companion.Try {
			add("chosen by you; here it counts as: " + string(x.Verdict))
		}
		it.Details = append(it.Details, a.findings(x.Suggestion, src, false)...)
		for _, w := range enemyWords(x.Suggestion) {
			add(w)
		}
		sec := &placed
		if !x.placed() {
			sec = &none
			add("not placed: " + x.layout.Why)
		} else {
			where := strings.Join(a.spotWords(x.layout), "; ")
			if x.facts.ReachM != nil {
				least := "they bring"
				if x.layout.Proven {
					least = "the fewest places that bring"
				}
				where += fmt.Sprintf(" (%s every dahlia within %s)", least, a.farm.Units.Length(*x.facts.ReachM))
			}
			add("where: " + where)
			add("how much: " + a.amountWords(x))
			if n := x.parts(); n > 1 {
				add(fmt.Sprintf("in %d parts, for %d sowings that stand at one time: sow one part after the other", n, n))
			} else if len(x.timing.Sowings) > 1 && x.layout.Plants != nil {
				add("each sowing takes all of these plants, set beside those that fade")
			}
			for _, n := range x.layout.Notes {
				add("note: " + n)
			}
		}
		a.timingLines(x, add, p.season)
		it.Safety = a.says(append(slices.Clone(x.Warnings), petWords(x)...)...)
		sec.Items = append(sec.Items, it)
	}
	var out []report.Section
	for _, s := range []report.Section{placed, none} {
		if len(s.Items) > 0 {
			out = append(out, s)
		}
	}
	if len(out) == 0 {
		return []report.Section{{Key: placed.Key, Title: placed.Title, Lead: report.Plain("No plant is planned: see the answer above.")}}
	}
	return out
}

func petWords(x chosenPlant) []string {
	switch {
	case x.facts.Dog == "yes" && x.facts.Cat == "yes":
		return []string{"poisonous to dogs and cats (" + x.facts.PetsBasis + ")"}
	case x.facts.Dog == "yes":
		return []string{"poisonous to dogs (" + x.facts.PetsBasis + ")"}
	case x.facts.Cat == "yes":
		return []string{"poisonous to cats (" + x.facts.PetsBasis + ")"}
	}
	return nil
}

// timingLines say when a plant is sown and blooms, and what that covers.
func (a *App) timingLines(x chosenPlant, add func(string), season companion.Season) {
	t := x.timing
	if !x.placed() {
		for _, w := range [][2]string{{"sow", x.SowWindow}, {"bloom", x.BloomWindow}} {
			if w[1] != "" {
				add(w[0] + ": " + a.months(w[1]))
			}
		}
		return
	}
	if len(t.Sowings) > 0 {
		var days []string
		for _, s := range t.Sowings {
			w := fullDay(s.On)
			if !s.PlantOut.IsZero() {
				w += " under cover, plant out " + fullDay(s.PlantOut)
			}
			days = append(days, w)
		}
		w := "sow: " + strings.Join(days, "; ")
		add(w + " (window: " + a.months(x.SowWindow) + ")")
	} else if len(t.Windows) > 0 {
		var days []string
		for _, w := range t.Windows {
			days = append(days, fullDay(w.From)+" to "+fullDay(w.To))
		}
		add("sow: no day is chosen; the window is " + strings.Join(days, ", and ") + " (" + a.months(x.SowWindow) + ")")
	} else if x.SowWindow != "" {
		add("sow: " + a.months(x.SowWindow))
	}
	switch {
	case t.Unknown != "":
		add("not known: " + t.Unknown)
	case x.Bloom.NotAFlower:
		add("bloom: not a flower")
	case len(t.Bloom) > 0:
		add(fmt.Sprintf("bloom: %s %s", runWords(t.Bloom), season.Name()))
	case len(t.Sowings) == 0 && x.BloomWindow != "":
		add("bloom: " + a.months(x.BloomWindow))
	case x.BloomWindow != "":
		add("bloom: none in " + season.Name())
	}
	if len(t.Needed) > 0 && t.Unknown == "" {
		share := fmt.Sprintf("%d of the %d", len(t.Covered), len(t.Needed))
		switch len(t.Covered) {
		case len(t.Needed):
			share = fmt.Sprintf("all %d", len(t.Needed))
		case 0:
			share = fmt.Sprintf("none of the %d", len(t.Needed))
		}
		w := fmt.Sprintf("covers %s weeks in which the enemies of %s are needed (%s)", share, strings.Join(x.serves, " and "), weekWords(season.ISOWeeks(t.Needed)))
		if len(t.Missed) > 0 {
			w += "; not covered: " + weekWords(season.ISOWeeks(t.Missed))
		}
		add(w)
	}
	for _, n := range t.Notes {
		add("note: " + n)
	}
}

// otherSections are the plants that are not planned, one line each with what
// speaks against them.
func (a *App) otherSections(p *companionPlan, src *sources) []report.Section {
	if p.named && len(p.rest) > 0 {
		s := report.Section{Key: "other", Title: "Not asked for"}
		for i, g := range p.rest {
			if i == 0 || g.Verdict != p.rest[i-1].Verdict {
				s.Notes = append(s.Notes, report.Plain(string(g.Verdict)+": "+g.Plant))
				continue
			}
			last := &s.Notes[len(s.Notes)-1]
			*last = report.Plain(last.Parts()[0].Words() + "; " + g.Plant)
		}
		return []report.Section{s}
	}
	byVerdict := map[companion.Verdict]*report.Section{}
	var order []companion.Verdict
	for _, g := range p.rest {
		sec, ok := byVerdict[g.Verdict]
		if !ok {
			title := upperWord(string(g.Verdict))
			if g.Verdict == companion.Try {
				title = "Worth trying, and left out by you"
			}
			sec = &report.Section{Key: otherKey(g.Verdict), Title: title}
			byVerdict[g.Verdict] = sec
			order = append(order, g.Verdict)
		}
		it := report.Item{
			Head: report.Plain(fmt.Sprintf("%s (%s)", g.Plant, g.Latin)).Cite(src.cite(effectRefs(g)...)...),
			Why:  report.Say("points {}: {}", report.Num(g.Value, 1), a.spaced(effectWords(g))), Safety: a.says(g.Warnings...),
		}
		it.Details = append(it.Details, a.findings(g, src, true)...)
		sec.Items = append(sec.Items, it)
	}
	var out []report.Section
	for _, v := range order {
		out = append(out, *byVerdict[v])
	}
	return out
}

// otherKey is the key of the section of plants with a verdict.
func otherKey(v companion.Verdict) string {
	return "other_" + strings.ReplaceAll(strings.ReplaceAll(string(v), ":", ""), " ", "_")
}

// companionUnknowns says in sentences what the plan does without.
func (a *App) companionUnknowns(p *companionPlan) []string {
	var out []string
	if a.farm.LastFrost.IsZero() || a.farm.FirstFrost.IsZero() {
		out = append(out, "the frost dates: without them sowings after the frost and bloom to the frost are not known; set them with `leafturn farm set --last-frost MM-DD --first-frost MM-DD`")
	}
	if len(p.never) > 0 {
		out = append(out, "how far these press: "+strings.Join(p.never, ", ")+" were not counted in the season that this goes by, so no plant is chosen for them")
	}
	if len(p.uncount) > 0 {
		out = append(out, "the weeks in which the enemies of "+strings.Join(p.uncount, ", ")+" are needed: no season stored has a count of them, so only the sowing windows are given")
	}
	for _, x := range p.chosen {
		if x.placed() && x.timing.Unknown != "" {
			out = append(out, x.Plant+": "+x.timing.Unknown)
		}
		if x.placed() && x.facts.Amount == nil {
			out = append(out, x.Plant+": how many plants or how much seed")
		}
	}
	out = append(out, "none of this was tried on dahlia: the effects are those found on other crops", "what else blooms round the field: wild flowers and hedges are not in the calendar")
	return out
}
