package app

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/report"
	"leafturn/internal/sampling"
	"leafturn/internal/units"
	"leafturn/internal/verdict"
	"leafturn/internal/week"
)

// everyLine is the longest plan that is shown with a row for each unit.
const everyLine = 30

// SampleOptions are the words of `sample`.
type SampleOptions struct {
	Date                   civil.Date
	Pest, Bed, Unit, Stage string
	Most                   string
	Needless, Missed       string   // risks in percent
	SoFar                  []string // counts in the field so far
}

// SampleData is a sampling plan for machines.
type SampleData struct {
	Pest         string        `json:"pest"`
	Bed          string        `json:"bed"`
	Stage        string        `json:"stage"`
	Unit         string        `json:"unit"`
	Measure      string        `json:"measure"`
	Threshold    float64       `json:"threshold"` // in measure
	Safe         float64       `json:"safe"`
	Action       float64       `json:"action"`
	Least        int           `json:"least_units"`
	Most         int           `json:"most_units"`
	Lines        []SampleLine  `json:"lines"`
	ActNeedless  float64       `json:"chance_to_act_at_safe"`
	HoldWrongly  float64       `json:"chance_to_hold_at_action"`
	UnitsSafe    float64       `json:"units_at_safe"`
	UnitsAt      float64       `json:"units_at_threshold"`
	UnitsAction  float64       `json:"units_at_action"`
	Protocol     int           `json:"protocol_units"`
	ProtocolAct  *float64      `json:"protocol_chance_to_act_at_safe"`
	ProtocolHold *float64      `json:"protocol_chance_to_hold_at_action"`
	Shortfall    string        `json:"shortfall"`
	Advice       *SampleAdvice `json:"advice"`
}

// SampleLine is one row of the stop lines; null is "not yet".
type SampleLine struct {
	Units  int  `json:"units"`
	HoldAt *int `json:"hold_at_or_below"`
	ActAt  *int `json:"act_at_or_above"`
}

// SampleAdvice is what the plan says to counts in the field so far.
type SampleAdvice struct {
	Units       int     `json:"units"`
	Total       int     `json:"total"`
	Stop        string  `json:"stop"` // act, hold or go on
	More        float64 `json:"more_units_expected"`
	ChanceToAct float64 `json:"chance_it_ends_in_act"`
}

// percentOf reads a percentage between 0 and 50, both excluded.
func percentOf(flag, text string) (float64, error) {
	v, err := units.ParseNumber(strings.TrimSuffix(text, "%"))
	if err != nil || v <= 0 || v >= 50 {
		return 0, diag.Usagef("write a percentage above 0 and below 50, such as 10", "--%s %q is no risk", flag, text)
	}
	return v / 100, nil
}

// Sample makes a sampling plan for a pest: stop lines with their exact risks,
// and what they say to the counts so far.
func (a *App) Sample(ctx context.Context, o SampleOptions) (*report.Document, error) {
	p, err := a.names.findPest(o.Pest)
	if err != nil {
		return nil, err
	}
	s, err := a.snapshot(ctx, o.Date)
	if err != nil {
		return nil, err
	}
	var bed farm.Bed
	stage := a.usualStage(s)
	if o.Bed != "" {
		beds, err := a.names.findBeds([]string{o.Bed})
		if err != nil {
			return nil, err
		}
		bed = beds[0]
		stage, _ = farm.StageOn(s.stages[bed.Code], o.Date)
	}
	if o.Stage != "" {
		if stage, err = findStage(o.Stage); err != nil {
			return nil, err
		}
	}
	facts, err := a.pestFacts(p, stage, s)
	if err != nil {
		return nil, err
	}
	proto, ok := a.cat.Protocol(p.Key, o.Unit)
	if !ok {
		return nil, diag.Usagef("one of: "+strings.Join(a.names.UnitWords(p.Key), ", "), "unknown unit %q for %s", o.Unit, p.Name)
	}
	u, _ := facts.Unit(proto.Unit)
	act, _, _ := assess.LevelsAt(facts.Levels, u.Measure, stage, a.conditions(s))
	switch {
	case act == nil || act.Operator == "none":
		return nil, diag.Failf(nil, "see `leafturn threshold list "+p.Key+"`, or name another --unit or --stage", "there is no action level for %s in %s at the stage %s, so nothing to plan for", p.Name, u.Words, stage)
	case act.Value == 0:
		return nil, diag.Failf(nil, "walk every plant", "one find is over the action level for %s: no sample can stand for a walk", p.Name)
	case u.Wanted == 0:
		return nil, diag.Failf(nil, "walk every plant", "%s are counted on every %s", p.Name, u.Label)
	}
	q := question(u, act.Value)
	if q.Alpha, err = percentOf("needless", o.Needless); err != nil {
		return nil, err
	}
	if q.Beta, err = percentOf("missed", o.Missed); err != nil {
		return nil, err
	}
	if o.Most != "" {
		n, err := strconv.Atoi(o.Most)
		if err != nil || n < q.MinUnits || n > 500 {
			return nil, diag.Usagef(fmt.Sprintf("give %d to 500", q.MinUnits), "--most %q is not a number of units", o.Most)
		}
		q.MaxUnits = n
	}
	if o.Bed != "" {
		if q.Belief, err = a.priorBelief(s, bed, facts, u, act.Value); err != nil {
			return nil, err
		}
	}
	plan, err := sampling.MakePlan(q)
	if err != nil {
		return nil, err
	}
	return a.sampleDocument(o, p.Name, p.Key, bed, stage, u, act, plan)
}

// question asks for a plan around a level in the unit's measure.
func question(u assess.Unit, level float64) sampling.Question {
	q := sampling.Question{MinUnits: min(5, u.Wanted), MaxUnits: max((3*u.Wanted+1)/2, 5)}
	if u.Percent {
		q.Percent, q.Threshold, q.Tally = true, level/100, max(u.Tally, 1)-1
		return q
	}
	q.Threshold = level / u.Scale(0)
	q.Clump = u.SamplingClump()
	return q
}

// usualStage is the stage that most beds are in.
func (a *App) usualStage(s snapshot) farm.Stage {
	n := map[farm.Stage]int{}
	for _, b := range s.beds {
		st, _ := farm.StageOn(s.stages[b.Code], s.on)
		n[st]++
	}
	best := farm.PrePlant
	for _, st := range farm.Stages {
		if n[st] > n[best] {
			best = st
		}
	}
	return best
}

// priorBelief is what earlier visits say of the bed, in the plan's terms;
// empty where there are none.
func (a *App) priorBelief(s snapshot, bed farm.Bed, facts assess.Pest, u assess.Unit, level float64) (sampling.Belief, error) {
	stage, _ := farm.StageOn(s.stages[bed.Code], s.on)
	x, err := assess.Assess(assess.Input{
		Today: s.on, Bed: bed, Stage: stage, Pest: facts, Events: s.stages[bed.Code],
		Visits: s.byPair[[2]string{bed.Code, facts.Key}], Holds: a.conditions(s), Steps: s.stepDays()[[2]string{bed.Code, facts.Key}],
	})
	if err != nil || x.Now() == nil || x.Decider == nil || x.Decider.Unit.Measure != u.Measure {
		return sampling.Belief{}, err
	}
	return x.Decider.Levels(*x.Now(), level), nil
}

// sampleDocument writes the plan out.
func (a *App) sampleDocument(o SampleOptions, name, key string, bed farm.Bed, stage farm.Stage, u assess.Unit, act *assess.Level, plan sampling.Plan) (*report.Document, error) {
	src := &sources{}
	toMeasure := u.Scale(0)
	if u.Percent {
		toMeasure = 100
	}
	show := func(v float64) string { return week.Number(v*toMeasure) + " " + u.Words }
	title := "Sampling plan: " + name
	if bed.Code != "" {
		title += ", " + bed.Code
	}
	doc := a.document(title, o.Date)
	doc.Subtitle = fmt.Sprintf("stage %s; action level %s %s", stage, week.LevelWords(*act), u.Words)
	d := SampleData{
		Pest: key, Bed: bed.Code, Stage: string(stage), Unit: u.Key, Measure: u.Measure, Threshold: act.Value,
		Safe: plan.Safe * toMeasure, Action: plan.Action * toMeasure, Least: plan.Question.MinUnits, Most: plan.Question.MaxUnits,
		Lines: []SampleLine{}, ActNeedless: plan.AtSafe.Act, HoldWrongly: plan.AtAction.Hold,
		UnitsSafe: plan.AtSafe.Units, UnitsAt: plan.AtThreshold.Units, UnitsAction: plan.AtAction.Units, Protocol: u.Wanted, Shortfall: plan.Shortfall,
	}
	if len(o.SoFar) > 0 {
		sec, adv, err := a.advice(o, u, plan)
		if err != nil {
			return nil, err
		}
		doc.Sections = append(doc.Sections, sec)
		d.Advice = adv
	}
	what := "running total of animals"
	if u.Percent {
		what = "running number of infested " + assess.Plural(u.Label, 2)
	}
	sheet := plan.Sheet()
	t := &report.Table{Columns: []report.Column{{Title: "After"}, {Title: "hold at or below"}, {Title: "act at or above"}}}
	lines := decidingLines(plan)
	short := len(lines) > everyLine
	for _, l := range lines {
		row := []report.Value{report.Count(l.N), report.MissingAs("go on", "no total can hold yet"), report.MissingAs("go on", "no total can act yet")}
		sl := SampleLine{Units: l.N}
		if l.CanHold() {
			row[1], sl.HoldAt = report.Count(l.Hold), &l.Hold
		}
		if l.CanAct() {
			row[2], sl.ActAt = report.Count(l.Act), &l.Act
		}
		d.Lines = append(d.Lines, sl)
		if !short || slices.ContainsFunc(sheet.Rows, func(r sampling.Line) bool { return r.N == l.N }) {
			t.Rows = append(t.Rows, row)
		}
	}
	last := lines[len(lines)-1].N
	stop := report.Section{Key: "lines", Title: "Stop lines", Table: t,
		Lead: report.Plain(fmt.Sprintf("Look at %s in any order over the whole bed and keep the %s. Stop when it reaches a line; between the lines go on. At %d the last line decides.",
			assess.Plural(u.Label, 2), what, last)).Cite(src.cite(act.Ref)...)}
	doc.Sections = append(doc.Sections, stop)

	risks := report.Section{Key: "risks", Title: "What it risks", Notes: []report.Line{
		report.Say("a bed with {} is acted on with a chance of {}; it takes {} units on average", show(plan.Safe), report.Percent(plan.AtSafe.Act), report.Num(plan.AtSafe.Units, 1)),
		report.Say("a bed with {} is held with a chance of {}; it takes {} units on average", show(plan.Action), report.Percent(plan.AtAction.Hold), report.Num(plan.AtAction.Units, 1)),
		report.Say("right at the level either answer will do: {} act, {} units on average", report.Percent(plan.AtThreshold.Act), report.Num(plan.AtThreshold.Units, 1)),
	}}
	if short {
		risks.Notes = append(risks.Notes, report.Say("these are for a look at the lines after each unit (`--json` has them all); when looked up at the rows above only, and going on between them, the two chances are {} and {}",
			report.Percent(sheet.AtSafe.Act), report.Percent(sheet.AtAction.Hold)))
	}
	if plan.Shortfall != "" {
		risks.Notes = append(risks.Notes, report.Plain(plan.Shortfall))
	}
	for _, r := range plan.Robust {
		how := "more clumped than planned (k half as large)"
		if r.Factor > 1 {
			how = "less clumped than planned (k twice as large)"
		}
		risks.Notes = append(risks.Notes, report.Say("if the animals are "+how+", the two chances are {} and {}", report.Percent(r.Alpha), report.Percent(r.Beta)))
	}
	if fixed, err := sampling.FixedPlan(plan.Question, u.Wanted); err == nil {
		d.ProtocolAct, d.ProtocolHold = finite(fixed.AtSafe.Act), finite(fixed.AtAction.Hold)
		risks.Notes = append(risks.Notes, report.Say("the protocol's {} units, acting when the mean is over the level, risk {} and {}", u.Wanted, report.Percent(fixed.AtSafe.Act), report.Percent(fixed.AtAction.Hold)).Cite(src.cite(u.Ref)...))
	}
	risks.Notes = append(risks.Notes,
		report.Plain("the chances are exact, with the last line and overshoot in them; a line \"go on\" never means hold"),
		report.Plain("sequential test: Wald 1947, Sequential Analysis; clumping: "+clumpWords(u)))
	doc.Sections = append(doc.Sections, risks)
	doc.Sources = src.list
	doc.Data = d
	return doc, nil
}

// decidingLines are the plan's lines from the least units on, up to the one
// where every total decides.
func decidingLines(plan sampling.Plan) []sampling.Line {
	lines := plan.Lines[max(plan.Question.MinUnits, 1)-1:]
	for i, l := range lines {
		if l.CanHold() && l.CanAct() && l.Act <= l.Hold+1 {
			return lines[:i+1]
		}
	}
	return lines
}

func clumpWords(u assess.Unit) string {
	if u.Percent {
		return "units taken as independent"
	}
	if u.Dispersed.Words != "" {
		return u.Dispersed.Words
	}
	return "k 1, common practice"
}

// advice reads the counts so far and asks the plan.
func (a *App) advice(o SampleOptions, u assess.Unit, plan sampling.Plan) (report.Section, *SampleAdvice, error) {
	v, err := ingest.ParseWords(append([]string{"list", o.Pest, "unit=" + u.Key}, o.SoFar...), ingest.Options{Today: o.Date, Date: o.Date, Names: listNames{a.names}})
	if err != nil {
		return report.Section{}, nil, asUsage(err)
	}
	if bad := verdict.Validity(v, u.Needs); len(bad) > 0 {
		return report.Section{}, nil, diag.Usagef("count again as soon as the conditions are right", "these counts decide nothing, and they are not low counts: %s", strings.Join(bad, "; "))
	}
	if v.Stratum != "" && v.Stratum != farm.Random {
		return report.Section{}, nil, diag.Usagef("give the units that were chosen at random", "%s units say nothing of the whole bed", v.Stratum)
	}
	if k := v.Conditions.Nights; k > 0 && u.Scale(k) != u.Scale(0) {
		return report.Section{}, nil, diag.Usagef("enter them with `leafturn count`, which reads them by their nights", "the stop lines are for units that stood as long as the protocol says, and these stood %d nights", k)
	}
	n, total := 0, 0
	for _, c := range v.Seen() {
		n++
		switch {
		case !u.Percent:
			total += c
		case c >= max(u.Tally, 1):
			total++
		}
	}
	if p := v.Presence; p != nil {
		if !u.Percent {
			return report.Section{}, nil, diag.Usagef("give the count of each unit", "the plan is for counts, and %d/%d only says how many had any", p.Infested, p.Looked)
		}
		n, total = n+p.Looked, total+p.Infested
	}
	if n > plan.Question.MaxUnits {
		return report.Section{}, nil, diag.Usagef("enter them with `leafturn count`", "%d units are more than the plan's last, %d: it has decided", n, plan.Question.MaxUnits)
	}
	adv, err := plan.At(n, total)
	if err != nil {
		return report.Section{}, nil, err
	}
	stop := map[sampling.Stop]string{sampling.StopAct: "act", sampling.StopHold: "hold"}[adv.Stop]
	if stop == "" {
		stop = "go on"
	}
	sec := report.Section{Key: "advice", Title: "So far", Lead: report.Plain(adv.Words())}
	if stop == "go on" {
		sec.Notes = []report.Line{report.Say("as things stand it ends in acting with a chance of {}", report.Percent(math.Min(1, math.Max(0, adv.Act))))}
	}
	return sec, &SampleAdvice{Units: n, Total: total, Stop: stop, More: adv.More, ChanceToAct: adv.Act}, nil
}
