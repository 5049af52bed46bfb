package app

import (
	"fmt"
	"math"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/report"
	"leafturn/internal/sampling"
	"leafturn/internal/verdict"
)

// soFar reads the counts so far: the visit that they would make, on how many
// units, and the total of animals or of infested units. It refuses what would
// say nothing of the bed.
func (a *App) soFar(x asked) (v farm.Visit, n, total int, err error) {
	no := func(err error) (farm.Visit, int, int, error) { return farm.Visit{}, 0, 0, err }
	o, u := x.o, x.unit
	v, err = ingest.ParseWords(append([]string{"list", o.Pest, "unit=" + u.Key}, o.SoFar...), ingest.Options{Today: o.Date, Date: o.Date, Names: listNames{a.names}})
	if err != nil {
		return no(asUsage(err))
	}
	if bad := verdict.Validity(v, u.Needs); len(bad) > 0 {
		return no(diag.Usagef("count again as soon as the conditions are right", "these counts decide nothing, and they are not low counts: %s", strings.Join(bad, "; ")))
	}
	if v.Stratum != "" && v.Stratum != farm.Random {
		return no(diag.Usagef("give the units that were chosen at random", "%s units say nothing of the whole bed", v.Stratum))
	}
	if k := v.Conditions.Nights; k > 0 && u.Scale(k) != u.Scale(0) {
		return no(diag.Usagef("enter them with `leafturn count`, which reads them by their nights", "the stop lines are for units that stood as long as the protocol says, and these stood %d nights", k))
	}
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
			return no(diag.Usagef("give the count of each unit", "the plan is for counts, and %d/%d only says how many had any", p.Infested, p.Looked))
		}
		n, total = n+p.Looked, total+p.Infested
	}
	v.ID, v.Bed, v.Pest, v.Unit, v.Date, v.Stratum = math.MaxInt64, x.bed.Code, x.pest.Key, u.Key, o.Date, farm.Random
	return v, n, total, nil
}

// advice reads the counts so far and asks the plan, and with a bed what the
// verdict would be if they were entered.
func (a *App) advice(x asked, plan sampling.Plan) (report.Section, *SampleAdvice, error) {
	no := func(err error) (report.Section, *SampleAdvice, error) { return report.Section{}, nil, err }
	u := x.unit
	v, n, total, err := a.soFar(x)
	if err != nil {
		return no(err)
	}
	if n > plan.Question.MaxUnits {
		return no(diag.Usagef("enter them with `leafturn count`", "%s are more than the plan's last, %d: it has decided", x.units(n), plan.Question.MaxUnits))
	}
	adv, err := plan.At(n, total)
	if err != nil {
		return no(err)
	}
	out := &SampleAdvice{Units: n, Total: total, Stop: "go on", More: adv.More, ChanceToAct: adv.Act}
	sec := report.Section{Key: "advice", Title: "So far", Lead: report.Plain(adv.Words())}
	switch adv.Stop {
	case sampling.StopAct:
		out.Stop = "act"
	case sampling.StopHold:
		out.Stop = "hold"
	default:
		if n < u.Min {
			sec.Notes = append(sec.Notes, report.Say("there is no verdict on fewer than {} {}, whatever the first ones show", u.Min, assess.Plural(u.Label, 2)))
		}
		sec.Notes = append(sec.Notes, report.Say("as things stand it ends in acting with a chance of {}", report.Percent(math.Min(1, math.Max(0, adv.Act)))))
		if x.bed.Code == "" || n < u.Min {
			return sec, out, nil
		}
	}
	if x.bed.Code == "" {
		sec.Notes = append(sec.Notes, report.Say("the week's verdict on a bed weighs earlier visits, natural enemies and what waiting costs as well: name the bed to hear it, `leafturn sample {} BED --so-far ...`", x.o.Pest))
		return sec, out, nil
	}
	y, err := a.assessWith(x, &v)
	if err != nil {
		return no(err)
	}
	out.Verdict = string(y.Result.Verdict)
	if out.Stop == "go on" {
		if out.Verdict == string(verdict.Act) || out.Verdict == string(verdict.Hold) {
			sec.Notes = append(sec.Notes, report.Say("entered now, they would already make the week's verdict on {}: {} ({}); it weighs earlier visits, natural enemies and what waiting costs as well, and the lines ask to be surer by these counts alone", x.bed.Code, out.Verdict, y.Result.Rule))
		}
		return sec, out, nil
	}
	if out.Verdict == out.Stop {
		sec.Notes = append(sec.Notes, report.Say("entered now, they make the week's verdict on {}: {} ({})", x.bed.Code, out.Verdict, y.Result.Rule))
		return sec, out, nil
	}
	sec.Lead = report.Plain("Stop looking; the verdict decides, and it differs from the plan's lines.")
	if y.Result.Verdict == verdict.LookAgain && y.Result.Rule != verdict.RuleUnnoted {
		sec.Lead = report.Plain("The lines would stop here, but these counts decide nothing yet: look again.")
		if n := y.Result.MoreUnits; n > 0 {
			sec.Lead = report.Plain(fmt.Sprintf("Go on: the lines would stop here, but about %d more %s are wanted for a verdict.", n, assess.Plural(u.Label, n)))
		}
	}
	sec.Notes = append(sec.Notes,
		report.Say("entered now, these counts make the week's verdict on {}: {} ({}); it weighs earlier visits, natural enemies and what waiting costs as well", x.bed.Code, out.Verdict, y.Result.Rule))
	if y.Result.ChanceKnown {
		actAt, holdBelow := a.farm.ActAt()
		sec.Notes = append(sec.Notes, report.Say("with all that the verdict knows the chance of being at or over the level is {}; the farm acts from {} and holds below {}",
			report.Percent(y.Result.Chance), report.Percent(actAt), report.Percent(holdBelow)))
	}
	if y.Result.Rule == verdict.RuleUnnoted {
		sec.Notes = append(sec.Notes, report.Plain(y.Result.Reasons[len(y.Result.Reasons)-1])) // what to note
	}
	sec.Notes = append(sec.Notes, report.Say("by the lines alone {} on {} {} is: {}", total, n, assess.Plural(u.Label, n), out.Stop))
	return sec, out, nil
}
