package app

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/ingest"
	"leafturn/internal/report"
	"leafturn/internal/week"
)

// whyDocument says what led to a line: the rule, and for each bed the counts,
// the estimate, the action level with its source, and the records used.
func (a *App) whyDocument(line week.Line, on civil.Date) *report.Document {
	src := &sources{}
	doc := a.document(fmt.Sprintf("Line %d: %s", line.Number, headWords(line)), on)
	doc.Subtitle = fmt.Sprintf("the list of %s, part \"%s\"", on.Short(), line.Section)
	lead := report.Section{Key: "line", Notes: report.Lines(line.Details...)}
	if line.Why != "" {
		lead.Lead = report.Plain("Because: " + line.Why).Cite(src.cite(line.Sources...)...)
	}
	if line.Record != "" {
		lead.Notes = append(lead.Notes, report.Plain("when it is done: `"+line.Record+"`"))
	}
	doc.Sections = append(doc.Sections, lead)
	if len(line.Safety) > 0 {
		doc.Sections = append(doc.Sections, report.Section{Key: "safety", Title: "Safety", Notes: a.safetyNotes(line, src)})
	}
	for _, t := range line.Traces {
		s := report.Section{Key: "rule-" + strings.ToLower(t.Bed), Title: "Bed " + t.Bed, Lead: report.Plain("Rule: " + t.Rule + "."), Notes: report.Lines(t.Facts...)}
		doc.Sections = append(doc.Sections, s)
		if t.Assessment != nil {
			doc.Sections = append(doc.Sections, a.assessmentSections(*t.Assessment, src)...)
		}
	}
	doc.Sources = src.list
	d := weekData(week.List{Today: on, Lines: []week.Line{line}})
	doc.Data = d.Lines[0]
	return doc
}

// safetyNotes gives the short lines and the detail behind them.
func (a *App) safetyNotes(line week.Line, src *sources) []report.Line {
	var out []report.Line
	for _, x := range a.cat.AllSafety() {
		words := strings.Join(x.Lines, " ")
		if contains(line.Safety, words) {
			out = append(out, report.Plain(words+" "+x.Detail).Cite(src.cite(refOf(x.Provenance))...))
		}
	}
	return out
}

// assessmentSections explain one bed and pest.
func (a *App) assessmentSections(x assess.Assessment, src *sources) []report.Section {
	verdict := report.Section{
		Key: "verdict-" + strings.ToLower(x.Bed.Code) + "-" + x.Pest.Key, Title: fmt.Sprintf("%s, %s: %s", x.Bed.Code, x.Pest.Name, x.Result.Verdict),
	}
	stage := string(x.Stage)
	if n, ok := x.Stage.BBCH(); ok {
		stage += fmt.Sprintf(" (BBCH %d), since %s", n, x.StageSince.Short())
	}
	verdict.Lead = report.Plain("Growth stage: " + stage + ".")
	if w := plainWords(x); w != "" {
		verdict.Notes = append(verdict.Notes, report.Plain(w))
	}
	verdict.Notes = append(verdict.Notes, report.Lines(x.Result.Reasons...)...)
	if x.Prey != nil {
		verdict.Notes = append(verdict.Notes, report.Say("prey per predator ({}): {}", x.EnemyName, average(*x.Prey)).Cite(src.cite(x.EnemyRef)...))
	}
	out := []report.Section{verdict}
	d := x.Decider
	if d == nil {
		return out
	}
	out = append(out, a.countsSection(x, src), a.estimateSection(x, *d, src), levelSection(*d, src))
	if t, known, err := trendOf(x); err == nil && known {
		sec := report.Section{Key: "trend", Title: "The trend", Notes: report.Lines(fmt.Sprintf("%s, from %d visits since %s", t.Words, t.Visits, t.First.Short()))}
		if t.Over7 != nil {
			sec.Notes = append(sec.Notes, report.Say("chance of being at or over the action level: now {}, within a week {}, within two {}; it could, if growth goes on", report.Percent(*t.OverNow), report.Percent(*t.Over7), report.Percent(*t.Over14)))
		}
		out = append(out, sec)
	}
	return out
}

// countsSection shows the counts as they were entered, latest first.
func (a *App) countsSection(x assess.Assessment, src *sources) report.Section {
	s := report.Section{Key: "counts-" + strings.ToLower(x.Bed.Code) + "-" + x.Pest.Key, Title: "The counts"}
	t := &report.Table{Columns: []report.Column{{Title: "Visit"}, {Title: "Date"}, {Title: "Units"}, {Title: "As entered"}, {Title: "Valid"}}}
	all := slices.Concat(x.Readings, x.HotSpots, x.Edges)
	slices.SortStableFunc(all, func(x, y assess.Reading) int { return x.Visit.Date.Compare(y.Visit.Date) })
	shown := 0
	for i := len(all) - 1; i >= 0 && shown < 6; i-- {
		r := all[i]
		valid := "yes"
		if !r.Valid() {
			valid = "no: " + strings.Join(r.Invalid, "; ")
		}
		t.Rows = append(t.Rows, []report.Value{
			report.Count(int(r.Visit.ID)), report.Text(r.Visit.Date.String()), report.Text(fmt.Sprintf("%d %s", r.N, unitPlural(r.Unit.Label, r.N))),
			report.Text(ingest.FormatNoteIn(*r.Visit, a.farm.Units)), report.Text(valid),
		})
		shown++
	}
	s.Table = t
	if more := len(all) - shown; more > 0 {
		s.Notes = append(s.Notes, report.Plain(fmt.Sprintf("%d %s this season: `leafturn visits %s %s`", more, unitPlural("earlier visit", more), x.Bed.Code, x.Pest.Key)))
	}
	if u := x.Decider.Unit; u.Ref.Basis != "" {
		s.Notes = append(s.Notes, report.Plain("how: "+u.How).Cite(src.cite(u.Ref)...))
	}
	return s
}

// estimateSection shows the numbers for an adviser.
func (a *App) estimateSection(x assess.Assessment, r assess.Reading, src *sources) report.Section {
	s := report.Section{Key: "estimate", Title: "The estimate"}
	row := func(name string, v report.Value) []report.Value { return []report.Value{report.Text(name), v} }
	t := &report.Table{Columns: []report.Column{{Title: "Quantity"}, {Title: "Value"}}}
	t.Rows = append(t.Rows,
		row(r.Unit.Words, report.Text(week.Number(r.Value))),
		row("95 % interval of this visit alone", report.Text(week.Number(r.Low)+" to "+week.Number(r.High))),
		row("units looked at", report.Count(r.N)),
	)
	if r.Belief != nil && !r.Alone {
		t.Rows = append(t.Rows, row("likely, with earlier visits", report.Text(week.Number(r.LikelyL)+" to "+week.Number(r.LikelyH))))
	}
	if d := r.Density; d != nil {
		if p := r.Visit.Presence; p != nil {
			t.Rows = append(t.Rows, row("infested of looked at, not counted", report.Text(fmt.Sprintf("%d of %d", p.Infested, p.Looked))))
		}
		if len(r.Visit.Seen()) > 0 {
			t.Rows = append(t.Rows,
				row("animals counted", report.Count(d.Total)),
				row("share of units infested", report.Percent(d.PropInfested)),
			)
		}
		t.Rows = append(t.Rows,
			row("dispersion k of the negative binomial", kValue(d.K)),
			row("k from", report.Text(d.KSource)),
			row("method", report.Text(d.Method+"; interval: exact for the total of a negative binomial whose k goes with the density")),
		)
		if d.Outlier {
			t.Rows = append(t.Rows, row("far above the others", report.Text(fmt.Sprintf("unit %d with %d: a typing slip or a hot spot?", d.OutlierUnit, d.Max))))
		}
		between := "in between it spreads, as growth may go either way"
		if _, ok := a.cat.GrowthCurve(x.Pest.Key, catalog.Increase); ok {
			between = "in between it goes by the days' temperatures and by how the counts before went (internal/forecast/SCORES.md), and spreads; where temperatures are missing, or something was done, it only spreads"
		}
		s.Notes = report.Lines("the chance rests on the belief: a distribution over densities, carried from visit to visit (internal/belief/CALIBRATION.md); "+between, "negative binomial counts: Bliss & Fisher 1953, Biometrics 9:176-200; Taylor's power law: Taylor 1961, Nature 189:732-735")
	}
	if sh := r.Share; sh != nil {
		t.Rows = append(t.Rows, row("infested of looked at", report.Text(fmt.Sprintf("%d of %d", sh.Infested, sh.Looked))))
	}
	if n := r.Visit.Conditions.Nights; n > 0 && r.Unit.PerNights > 0 {
		t.Rows = append(t.Rows, row("nights the units stood", report.Count(n)))
	}
	s.Table = t
	return s
}

func kValue(k float64) report.Value {
	if math.IsInf(k, 1) {
		return report.Text("infinite: not more clumped than chance")
	}
	return report.Text(strconv.FormatFloat(k, 'g', 3, 64))
}

// levelSection shows the action level in force and what stands beside it.
func levelSection(r assess.Reading, src *sources) report.Section {
	s := report.Section{Key: "levels", Title: "The action level"}
	say := func(name string, l *assess.Level) {
		if l == nil {
			return
		}
		words := fmt.Sprintf("%s: %s", name, week.LevelOf(*l, *r.Unit))
		if l.Operator == "none" {
			words = name + ": no level is known; " + l.Conditions
		}
		if l.Overridden {
			words += fmt.Sprintf(", in place of the catalogue's %g: %s", l.Catalogue, l.Reason)
		} else if l.StageWords != "" {
			words += " (dahlia, " + l.StageWords + ")"
		}
		if l.NeedsDamagePct > 0 {
			words += fmt.Sprintf(", and at least %g %% damaged", l.NeedsDamagePct)
		}
		if l.Ref.Note != "" && !l.Overridden {
			words += "; " + l.Ref.Note
		}
		s.Notes = append(s.Notes, report.Plain(words).Cite(src.cite(l.Ref)...))
	}
	say("act", r.Act)
	say("watch", r.Watch)
	if r.Act == nil && r.Watch == nil {
		s.Notes = append(s.Notes, report.Plain("no level is known for dahlias in this measure at this stage"))
	}
	for i, l := range r.Nearest {
		if i == 4 {
			break
		}
		if !l.Overridden {
			l.Value = l.Own // in the source's own unit
		}
		words := fmt.Sprintf("for comparison, %s (%s): %s %s", l.Crop, l.StageWords, week.LevelWords(l), l.Unit)
		words += "; not made for dahlia"
		if note, ok := strings.CutPrefix(l.Ref.Note, "transferred; "); ok {
			words += "; " + note
		}
		s.Notes = append(s.Notes, report.Plain(words).Cite(src.cite(l.Ref)...))
	}
	if !math.IsNaN(r.Chance) {
		s.Notes = append(s.Notes, report.Say("chance that the truth is at or over the action level: {}", report.Chance(r.Chance)))
	}
	return s
}

// plainWords says the estimate as one would over the fence.
func plainWords(x assess.Assessment) string {
	r := x.Decider
	if r == nil || !r.Valid() {
		return ""
	}
	var parts []string
	if !math.IsNaN(r.Infested) {
		units, some, none := unitPlural(r.Unit.Label, 2), "some", "any"
		switch {
		case x.Pest.Disease:
			some, none = "signs", "signs"
		case r.Unit.Percent && r.Unit.Tally > 1:
			some = fmt.Sprintf("%d or more", r.Unit.Tally)
			none = some
		}
		switch p := r.Infested; {
		case p == 0 && r.N == 1:
			parts = append(parts, fmt.Sprintf("The one %s looked at had none.", r.Unit.Label))
		case p == 0:
			parts = append(parts, fmt.Sprintf("None of the %d %s had %s.", r.N, unitPlural(r.Unit.Label, r.N), none))
		case r.N == 1:
			parts = append(parts, fmt.Sprintf("The one %s looked at had %s.", r.Unit.Label, some))
		case p >= 0.95:
			parts = append(parts, fmt.Sprintf("Nearly all %s have %s.", units, some))
		case p < 0.5:
			parts = append(parts, fmt.Sprintf("About 1 in %d %s has %s.", int(math.Round(1/p)), units, some))
		default:
			parts = append(parts, fmt.Sprintf("About %d in 10 %s have %s.", int(math.Round(p*10)), units, some))
		}
	}
	low, high := r.Low, r.High
	when := ""
	if l, h, ok := x.LikelyNow(); ok {
		low, high, when = l, h, " today"
	} else if r.Belief != nil && !r.Alone { // of one visit alone, its own interval keeps its level
		low, high = r.LikelyL, r.LikelyH
	}
	if r.Unit.Percent {
		parts = append(parts, fmt.Sprintf("Likely %s %% to %s %%%s.", week.Number(low), week.Number(high), when))
	} else {
		parts = append(parts, fmt.Sprintf("Likely %s to %s %s%s.", week.Number(low), week.Number(high), r.Unit.Words, when))
	}
	if x.Result.ChanceKnown && r.Act != nil && r.Act.Value > 0 {
		parts = append(parts, fmt.Sprintf("%s chance of being at or over the action level of %s.", upperWord(inTen(x.Result.Chance)), week.Number(r.Act.Value)+percentSign(*r.Unit)))
	}
	if x.Rising() {
		parts = append(parts, fmt.Sprintf("It was %s on %s.", week.Number(x.Earlier.Value)+percentSign(*r.Unit), x.Earlier.Visit.Date.Short()))
	}
	return strings.Join(parts, " ")
}

func percentSign(u assess.Unit) string {
	if u.Percent {
		return " %"
	}
	return ""
}

// inTen says a chance as one would: 7 in 10.
func inTen(p float64) string {
	switch {
	case p < 0.01:
		return "less than 1 in 100"
	case p < 0.095:
		return fmt.Sprintf("about 1 in %d", int(math.Round(1/p)))
	case p > 0.99:
		return "more than 99 in 100"
	case p >= 0.945:
		return fmt.Sprintf("about %d in 100", int(math.Round(100*p)))
	}
	return fmt.Sprintf("about %d in 10", int(math.Round(10*p)))
}
