package app

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/report"
	"leafturn/internal/sampling"
	"leafturn/internal/units"
	"leafturn/internal/week"
)

// SampleOptions are the words of `sample`.
type SampleOptions struct {
	Date                   civil.Date
	Pest, Bed, Unit, Stage string
	Most                   string
	Needless, Missed       string   // risks in percent, "" is 10
	SoFar                  []string // counts in the field so far
	Method                 string   // tuned, wald or iwao, "" is tuned
	K                      string   // "" is what is known of the pest on the unit
	Curve                  bool     // the whole operating characteristic
	Precision              string   // in percent: how well to know a mean, instead of a decision
	Draw                   string   // file of the picture of a plan
}

// percentOf reads a percentage between 0 and 50, both excluded; "" is 10.
func percentOf(flag, text string) (float64, error) {
	if text == "" {
		return sampling.DefaultRisk, nil
	}
	v, err := units.ParseNumber(strings.TrimSuffix(text, "%"))
	if err != nil || v <= 0 || v >= 50 {
		return 0, diag.Usagef("write a percentage above 0 and below 50, such as 10", "--%s %q is no risk", flag, text)
	}
	return v / 100, nil
}

// methodOf reads how the lines are drawn.
func methodOf(word string) (sampling.Method, error) {
	switch strings.ToLower(word) {
	case "", "tuned":
		return sampling.MethodTuned, nil
	case "wald":
		return sampling.MethodWald, nil
	case "iwao":
		return sampling.MethodIwao, nil
	}
	return "", diag.Usagef("write tuned, wald or iwao", "--method %q is not known", word)
}

// asked is what a sampling question is about.
type asked struct {
	o     SampleOptions
	s     snapshot
	pest  catalog.Pest
	bed   farm.Bed // without a code: any bed
	stage farm.Stage
	facts assess.Pest
	unit  assess.Unit
	clump sampling.Clump
	words string        // where the clumping comes from
	act   *assess.Level // nil where there is none
}

// ask finds the pest, the bed, the unit and the level that words are about.
func (a *App) ask(ctx context.Context, o SampleOptions) (asked, error) {
	q := asked{o: o}
	var err error
	if q.pest, err = a.names.findPest(o.Pest); err != nil {
		return q, err
	}
	if q.s, err = a.snapshot(ctx, o.Date); err != nil {
		return q, err
	}
	q.stage = a.usualStage(q.s)
	if o.Bed != "" {
		beds, err := a.names.findBeds([]string{o.Bed})
		if err != nil {
			return q, err
		}
		q.bed = beds[0]
		q.stage, _ = q.s.year.StageOn(q.s.stages[q.bed.Code], o.Date)
	}
	if o.Stage != "" {
		if q.stage, err = findStage(o.Stage); err != nil {
			return q, err
		}
	}
	if q.facts, err = a.pestFacts(q.pest, q.stage, q.s); err != nil {
		return q, err
	}
	proto, ok := a.cat.Protocol(q.pest.Key, o.Unit)
	if !ok {
		return q, diag.Usagef("one of: "+strings.Join(a.names.UnitWords(q.pest.Key), ", "), "unknown unit %q for %s", o.Unit, q.pest.Name)
	}
	q.unit, _ = q.facts.Unit(proto.Unit)
	if q.unit.Wanted == 0 {
		return q, diag.Failf(nil, "walk every plant", "there is no plan for %s: every %s is looked at", q.pest.Name, q.unit.Label)
	}
	if q.clump, q.words, err = clumpOf(q.unit, o.K); err != nil {
		return q, err
	}
	q.act, _, _ = assess.LevelsAt(q.facts.Levels, q.unit.Measure, q.stage, a.conditions(q.s), o.Date)
	if q.act != nil && q.act.Operator == "none" {
		q.act = nil
	}
	return q, nil
}

// clumpOf is how the pest clumps on the unit, by the adviser's k if one is
// given, with where it comes from.
func clumpOf(u assess.Unit, k string) (sampling.Clump, string, error) {
	switch {
	case u.Percent && k != "":
		return sampling.Clump{}, "", diag.Usagef("leave it out", "--clumping is of no use here: of %s it is told only whether they are infested", assess.Plural(u.Label, 2))
	case u.Percent:
		return sampling.Clump{}, "units taken as independent", nil
	case k == "" && u.Dispersed.Words != "":
		return u.SamplingClump(), u.Dispersed.Words, nil
	case k == "":
		return u.SamplingClump(), "k 1, common practice", nil
	case strings.EqualFold(k, "poisson"):
		return sampling.Clump{K: math.Inf(1)}, "none, as you say (Poisson)", nil
	}
	v, err := units.ParseNumber(k)
	if err != nil || v < 0.01 || v > 1000 {
		return sampling.Clump{}, "", diag.Usagef("write a number from 0.01 to 1000, such as 0.8, or poisson for animals that do not clump", "--clumping %q is no k", k)
	}
	return sampling.Clump{K: v}, "k " + week.Number(v) + ", as you say", nil
}

// Sample makes a sampling plan for a pest: stop lines with their exact risks,
// and what they say to the counts so far. With a precision it says how many
// units a mean takes.
func (a *App) Sample(ctx context.Context, o SampleOptions) (*report.Document, error) {
	if err := checkDraw(o.Draw); err != nil {
		return nil, err
	}
	if o.Draw != "" && o.Precision != "" {
		return nil, diag.Usagef("leave one of them out", "--draw draws a plan for a decision, and --precision asks how many units a mean takes")
	}
	x, err := a.ask(ctx, o)
	if err != nil {
		return nil, err
	}
	if o.Precision != "" {
		return a.precision(x)
	}
	switch p, u := x.pest, x.unit; {
	case x.act == nil:
		return nil, diag.Failf(nil, "see `leafturn threshold list "+p.Key+"`, name another --unit or --stage, or ask how many a mean takes with --precision",
			"there is no action level for %s in %s at the stage %s, so nothing to plan for: %s", p.Name, u.Words, x.stage,
			assess.NoLevelWords(assess.Input{Today: o.Date, Pest: x.facts, Stage: x.stage, Holds: a.conditions(x.s)}, u))
	case x.act.Value == 0:
		return nil, diag.Failf(nil, "walk every plant", "one find is over the action level for %s: no sample can stand for a walk", p.Name)
	}
	q := question(x)
	if q.Method, err = methodOf(o.Method); err != nil {
		return nil, err
	}
	if q.Alpha, err = percentOf("needless", o.Needless); err != nil {
		return nil, err
	}
	if q.Beta, err = percentOf("missed", o.Missed); err != nil {
		return nil, err
	}
	if o.Most != "" {
		n, err := strconv.Atoi(o.Most)
		if err != nil || n < q.MinUnits || n > 500 {
			return nil, diag.Usagef(fmt.Sprintf("give %d to 500: with fewer than %[1]d %s there is no verdict on %s", q.MinUnits, assess.Plural(x.unit.Label, 2), x.pest.Name),
				"--most %q is not a number of units for this plan", o.Most)
		}
		q.MaxUnits = n
	}
	if o.Bed != "" {
		if q.Belief, err = a.priorBelief(x, x.act.Value); err != nil {
			return nil, err
		}
	}
	plan, err := sampling.MakePlan(q)
	if err != nil {
		return nil, err
	}
	doc, err := a.sampleDocument(x, plan)
	if err == nil && o.Draw != "" {
		err = a.drawSample(doc, x, plan, o.Draw)
	}
	return doc, err
}

// question asks for a plan around the level. It stops no earlier than a
// verdict can be given.
func question(x asked) sampling.Question {
	u := x.unit
	q := sampling.Question{Unit: u.Label, Units: assess.Plural(u.Label, 2), MinUnits: max(u.Min, min(sampling.DefaultMinUnits, u.Wanted))}
	q.MaxUnits = max((3*u.Wanted+1)/2, q.MinUnits, 5)
	if u.Percent {
		q.Percent, q.Threshold, q.Tally = true, x.act.Value/100, max(u.Tally, 1)-1
		return q
	}
	q.Threshold, q.Clump = x.act.Value/u.Scale(0), x.clump
	return q
}

// usualStage is the stage that most beds are in.
func (a *App) usualStage(s snapshot) farm.Stage {
	n := map[farm.Stage]int{}
	for _, b := range s.beds {
		st, _ := s.year.StageOn(s.stages[b.Code], s.on)
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
func (a *App) priorBelief(x asked, level float64) (sampling.Belief, error) {
	y, err := a.assessWith(x, nil)
	if err != nil || y.Now() == nil || y.Decider == nil || y.Decider.Unit.Measure != x.unit.Measure {
		return sampling.Belief{}, err
	}
	return y.Decider.Levels(*y.Now(), level), nil
}

// assessWith assesses the bed with one more visit, which may be nil.
func (a *App) assessWith(x asked, more *farm.Visit) (assess.Assessment, error) {
	pair := [2]string{x.bed.Code, x.pest.Key}
	stage, since := x.s.year.StageOn(x.s.stages[x.bed.Code], x.s.on)
	visits := x.s.byPair[pair]
	if more != nil {
		visits = append(slices.Clone(visits), *more)
	}
	actAt, holdBelow := a.farm.ActAt()
	return assess.Assess(assess.Input{
		Today: x.s.on, Bed: x.bed, Stage: stage, StageSince: since, Pest: x.facts, Events: x.s.stages[x.bed.Code],
		Visits: visits, Holds: a.conditions(x.s), Steps: x.s.stepDays()[pair], ActAt: actAt, HoldBelow: holdBelow,
		Noted: x.s.noted, Confirmed: x.s.confirmed()[pair], Suspects: a.suspects(x.s), South: a.farm.South(),
	})
}
