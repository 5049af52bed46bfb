package app

import (
	"fmt"
	"math"
	"strconv"

	"leafturn/internal/assess"
	"leafturn/internal/report"
	"leafturn/internal/sampling"
	"leafturn/internal/week"
)

// pageRows is how many stop lines fit a page.
const pageRows = 40

// toMeasure turns a plan's levels into the unit's measure.
func (x asked) toMeasure() float64 {
	if x.unit.Percent {
		return 100
	}
	return x.unit.Scale(0)
}

// units are n sample units in words.
func (x asked) units(n int) string { return fmt.Sprintf("%d %s", n, assess.Plural(x.unit.Label, n)) }

// total is what the running total counts.
func (x asked) total() string {
	if x.unit.Percent {
		return "running number of infested " + assess.Plural(x.unit.Label, 2)
	}
	return "running total of animals"
}

// title of a document about the pest and, if named, the bed.
func (x asked) title(what string) string {
	what += ": " + x.pest.Name
	if x.bed.Code != "" {
		what += ", " + x.bed.Code
	}
	return what
}

// average shows a mean number of units.
func average(v float64) report.Value {
	if math.Round(10*v) < 100 {
		return report.Num(v, 1)
	}
	return report.Num(v, 0)
}

// sampleDocument writes the plan out.
func (a *App) sampleDocument(x asked, plan sampling.Plan) (*report.Document, error) {
	src := &sources{}
	u, scale := x.unit, x.toMeasure()
	doc := a.document(x.title("Sampling plan"), x.o.Date)
	doc.Subtitle = fmt.Sprintf("stage %s; action level %s", x.stage, week.LevelOf(*x.act, u))
	method := map[sampling.Method]string{sampling.MethodWald: "wald", sampling.MethodIwao: "iwao"}[plan.Question.Method]
	if method == "" {
		method = "tuned"
	}
	d := SampleData{
		Pest: x.pest.Key, Bed: x.bed.Code, Stage: string(x.stage), Unit: u.Key, Measure: u.Measure, Threshold: x.act.Value,
		Safe: plan.Safe * scale, Action: plan.Action * scale, Least: plan.Question.MinUnits, Most: plan.Question.MaxUnits,
		Lines: []SampleLine{}, ActNeedless: plan.AtSafe.Act, HoldWrongly: plan.AtAction.Hold,
		UnitsSafe: plan.AtSafe.Units, UnitsAt: plan.AtThreshold.Units, UnitsAction: plan.AtAction.Units, Protocol: u.Wanted, Shortfall: plan.Shortfall,
		Method: method, Curve: []SampleCurve{},
	}
	if plan.KThreshold > 0 {
		d.K = finite(plan.KThreshold)
	}
	if plan.T > 0 {
		d.IwaoT = &plan.T
	}
	if len(x.o.SoFar) > 0 {
		sec, adv, err := a.advice(x, plan)
		if err != nil {
			return nil, err
		}
		doc.Sections = append(doc.Sections, sec)
		d.Advice = adv
	}
	for _, l := range plan.Deciding() {
		d.Lines = append(d.Lines, lineData(l))
	}
	sheet := plan.Sheet(pageRows)
	doc.Sections = append(doc.Sections, x.lines(sheet, src), x.risks(plan, sheet, &d, src))
	if x.o.Curve {
		sec, err := x.curve(plan, &d)
		if err != nil {
			return nil, err
		}
		doc.Sections = append(doc.Sections, sec)
	}
	doc.Sources = src.list
	doc.Data = d
	return doc, nil
}

func lineData(l sampling.Line) SampleLine {
	out := SampleLine{Units: l.N}
	if l.CanHold() {
		out.HoldAt = &l.Hold
	}
	if l.CanAct() {
		out.ActAt = &l.Act
	}
	return out
}

// lines is the table to take along.
func (x asked) lines(sheet sampling.Sheet, src *sources) report.Section {
	many := assess.Plural(x.unit.Label, 2)
	t := &report.Table{Columns: []report.Column{{Title: "After"}, {Title: "hold at or below"}, {Title: "act at or above"}}}
	for _, l := range sheet.Rows {
		row := []report.Value{report.Count(l.N), report.MissingAs("go on", "no total can hold yet"), report.MissingAs("go on", "no total can act yet")}
		if l.CanHold() {
			row[1] = report.Count(l.Hold)
		}
		if l.CanAct() {
			row[2] = report.Count(l.Act)
		}
		t.Rows = append(t.Rows, row)
	}
	first, last := sheet.Rows[0].N, sheet.Rows[len(sheet.Rows)-1].N
	lead := fmt.Sprintf("Look at %s in any order over the whole bed and keep the %s. From %d on, stop when it reaches a line; between the lines go on.", many, x.total(), first)
	switch {
	case first == last:
		lead = fmt.Sprintf("Look at %s in any order over the whole bed and keep the %s: after the last one it decides.", x.units(last), x.total())
	case sheet.Gaps:
		lead += fmt.Sprintf(" Look the total up at these numbers of %s only. At %d the last line decides.", many, last)
	case len(sheet.Rows) <= last-first:
		lead += fmt.Sprintf(" A row holds until the next one. At %d the last line decides.", last)
	default:
		lead += fmt.Sprintf(" At %d the last line decides.", last)
	}
	return report.Section{Key: "lines", Title: "Stop lines", Table: t, Lead: report.Plain(lead).Cite(src.cite(x.act.Ref)...)}
}

// risks says what the plan gets wrong, and how it was made.
func (x asked) risks(plan sampling.Plan, sheet sampling.Sheet, d *SampleData, src *sources) report.Section {
	u, many := x.unit, assess.Plural(x.unit.Label, 2)
	show := func(v float64) string { return u.Say(week.Number(v * x.toMeasure())) }
	sec := report.Section{Key: "risks", Title: "What it risks"}
	say := func(l report.Line) { sec.Notes = append(sec.Notes, l) }
	say(report.Say("a bed with {} is acted on with a chance of {}; it takes {} {} on average", show(plan.Safe), report.Percent(plan.AtSafe.Act), average(plan.AtSafe.Units), many))
	say(report.Say("a bed with {} is held with a chance of {}; it takes {} {} on average", show(plan.Action), report.Percent(plan.AtAction.Hold), average(plan.AtAction.Units), many))
	say(report.Say("right at the level either answer will do: {} act, {} {} on average", report.Percent(plan.AtThreshold.Act), average(plan.AtThreshold.Units), many))
	if sheet.Gaps {
		say(report.Say("these are for a look at the lines after each unit (`--json` has them all); when looked up at the rows above only, and going on between them, the two chances are {} and {}",
			report.Percent(sheet.AtSafe.Act), report.Percent(sheet.AtAction.Hold)))
	}
	if plan.Shortfall != "" {
		say(report.Plain(plan.Shortfall))
	}
	for _, r := range plan.Robust {
		how := "more clumped than planned (k half as large)"
		if r.Factor > 1 {
			how = "less clumped than planned (k twice as large)"
		}
		say(report.Say("if the animals are "+how+", the two chances are {} and {}", report.Percent(r.Alpha), report.Percent(r.Beta)))
	}
	if fixed, err := sampling.FixedPlan(plan.Question, u.Wanted); err == nil {
		d.ProtocolAct, d.ProtocolHold = finite(fixed.AtSafe.Act), finite(fixed.AtAction.Hold)
		what := "mean"
		if u.Percent {
			what = "share"
		}
		say(report.Say("the protocol's {} {}, acting when the "+what+" is at or over the level, risk {} and {}", u.Wanted, many, report.Percent(fixed.AtSafe.Act), report.Percent(fixed.AtAction.Hold)).Cite(src.cite(u.Ref)...))
	}
	if plan.Question.MinUnits == u.Min {
		say(report.Say("it never stops before {} {}: with fewer there is no verdict", u.Min, many))
	}
	say(report.Plain("the chances are exact, with the first and the last line and whole animals in them; \"go on\" never means hold"))
	say(report.Plain(methodWords(plan) + "; clumping: " + x.words))
	return sec
}

// methodWords says how the lines were drawn.
func methodWords(plan sampling.Plan) string {
	q := plan.Question
	switch q.Method {
	case sampling.MethodIwao:
		return fmt.Sprintf("confidence lines about the action level, %s standard errors to each side: Iwao 1975, Researches on Population Ecology 16:281-288 (from memory)", week.Number(plan.T))
	case sampling.MethodWald:
		return fmt.Sprintf("Wald's own lines, Sequential Analysis, 1947 (from memory), for risks of %s %% and %s %%", week.Number(100*q.Alpha), week.Number(100*q.Beta))
	}
	return "sequential test: Wald 1947, Sequential Analysis (from memory), its lines moved until the exact chances are those asked for"
}

// curve is the whole operating characteristic, Wald's formulas beside it.
func (x asked) curve(plan sampling.Plan, d *SampleData) (report.Section, error) {
	points, err := plan.Curve(nil)
	if err != nil {
		return report.Section{}, err
	}
	many := assess.Plural(x.unit.Label, 2)
	t := &report.Table{Columns: []report.Column{{Title: x.unit.Words, Align: report.AlignRight}, {Title: "chance to act"}, {Title: many}}}
	if plan.Wald != nil {
		t.Columns = append(t.Columns, report.Column{Title: "Wald: chance to act"}, report.Column{Title: "Wald: " + many})
	}
	chance := func(p float64) float64 { return math.Min(1, math.Max(0, p)) }
	for _, p := range points {
		c := SampleCurve{Level: p.Level * x.toMeasure(), Act: chance(p.Act), Units: p.Units}
		row := []report.Value{report.Text(strconv.FormatFloat(c.Level, 'g', 3, 64)), report.Percent(c.Act), average(p.Units)}
		if w := p.Wald; w != nil {
			c.WaldAct, c.WaldUnits = finite(chance(w.Act)), finite(w.Units)
			row = append(row, report.Percent(chance(w.Act)), average(w.Units))
		}
		d.Curve = append(d.Curve, c)
		t.Rows = append(t.Rows, row)
	}
	sec := report.Section{Key: "curve", Title: "At every density", Table: t,
		Lead: report.Plain(fmt.Sprintf("For an adviser: what these lines do at each true density, the chance to act and the average number of %s, exactly (carried from one to the next, not simulated).", many))}
	if w := plan.Wald; w != nil {
		sec.Notes = append(sec.Notes,
			report.Plain("Wald's formula is for his own lines and the chances asked for: it knows no first and no last unit, no overshoot, and one k, that at the level; the chances above are the exact ones"),
			report.Say("Wald's own lines, from {} {} on and cut off at {}, would act on the bed to be held with a chance of {} and hold the one to be acted on with {}",
				plan.Question.MinUnits, many, plan.Question.MaxUnits, report.Percent(plan.WaldSafe.Act), report.Percent(plan.WaldAction.Hold)),
			report.Say("his lines on the total after n {}: {} n {} and {} n {}; a lower line below 0 cannot hold", many,
				report.Num(w.Slope, 3), signed(w.HLower), report.Num(w.Slope, 3), signed(w.HUpper)))
	}
	return sec, nil
}

// signed writes a number with its sign as a term of a sum.
func signed(v float64) string {
	if v < 0 {
		return "- " + week.Number(-v)
	}
	return "+ " + week.Number(v)
}
