package app

import (
	"fmt"
	"math"

	"leafturn/internal/assess"
	"leafturn/internal/farm"
	"leafturn/internal/report"
	"leafturn/internal/sampling"
	"leafturn/internal/week"
)

// precise reads the counts so far and says whether they know the mean, or the
// share, to so many percent of itself.
func (a *App) precise(x asked, d float64) (report.Section, *PrecisionAdvice, error) {
	no := func(err error) (report.Section, *PrecisionAdvice, error) { return report.Section{}, nil, err }
	u, per := x.unit, x.toMeasure()
	v, n, total, err := a.soFar(x)
	if err != nil {
		return no(err)
	}
	soFar := float64(total) / float64(n) * per
	b, err := a.beliefWith(x, v, soFar)
	if err != nil {
		return no(err)
	}
	least := min(sampling.DefaultMinUnits, u.Wanted)
	var p sampling.Precise
	if u.Percent {
		p, err = sampling.PreciseShare(d, n, total, least, b)
	} else {
		p, err = x.clump.Precise(d, n, total, least, b)
	}
	if err != nil {
		return no(err)
	}
	known := func(n int) *int {
		if n == sampling.Never {
			return nil
		}
		return &n
	}
	out := &PrecisionAdvice{Units: n, Total: total, Stop: "go on", StopAt: known(p.Line), Mean: soFar, Reached: finite(p.Reached), More: known(p.More), Low: known(p.Low), High: known(p.High)}
	sec := report.Section{Key: "advice", Title: "So far"}
	say := func(format string, args ...any) {
		sec.Notes = append(sec.Notes, report.Plain(fmt.Sprintf(format, args...)))
	}
	what := "mean"
	if u.Percent {
		what = "share"
	}
	switch {
	case p.Stop:
		out.Stop = "stop"
		sec.Lead = report.Plain("Stop: precise enough. " + x.found(total, n) + ".")
	case p.More > 1000:
		sec.Lead = report.Plain(fmt.Sprintf("Go on. More than 1000 further %s are to be expected: so well it can hardly be known here.", assess.Plural(u.Label, 2)))
	default:
		sec.Lead = report.Plain(fmt.Sprintf("Go on. Expect about %d more %s (%s).", p.More, assess.Plural(u.Label, p.More), moreRange(p)))
	}
	if total == 0 {
		say("nothing was found so far: a %s of 0 has no standard error in percent, and what is expected rests on what is believed beforehand", what)
	} else {
		say("so far %s; its standard error is %s %% of it, and %s %% is asked for", u.Say(week.Number(soFar)), week.Number(100*p.Reached), week.Number(100*d))
	}
	switch line := out.StopAt; {
	case !p.Stop && line != nil && total >= *line:
		say("no %s is taken as known before %s", what, x.units(least))
	case line != nil:
		say("on %s the line is at %d", x.units(n), *line)
	}
	if own := ownPrecision(v.Seen()); !u.Percent && !math.IsNaN(own) {
		out.Own = &own
		say("as a check: by the scatter of these counts alone the standard error is %s %% of the mean", week.Number(100*own))
	}
	if x.act != nil && x.act.Value > 0 {
		say("to decide is another question: `leafturn sample %s%s --so-far ...`", x.o.Pest, map[bool]string{true: " " + x.bed.Code}[x.bed.Code != ""])
	}
	return sec, out, nil
}

// found is a total on n units in words.
func (x asked) found(total, n int) string {
	if x.unit.Percent {
		return fmt.Sprintf("%d infested of %s", total, x.units(n))
	}
	return fmt.Sprintf("%d on %s", total, x.units(n))
}

// moreRange is the range of further units that is expected.
func moreRange(p sampling.Precise) string {
	switch {
	case p.High == sampling.Never || p.High > 1000:
		return fmt.Sprintf("8 in 10 chance: %d or more", p.Low)
	case p.Low == p.High:
		return "8 in 10 chance: just that"
	}
	return fmt.Sprintf("8 in 10 chance: %d to %d", p.Low, p.High)
}

// beliefWith is what is believed of the bed with one more visit, in the plan's
// terms; without a bed what that visit says by itself.
func (a *App) beliefWith(x asked, v farm.Visit, about float64) (sampling.Belief, error) {
	y, err := a.assessWith(x, &v)
	if err != nil {
		return sampling.Belief{}, err
	}
	for i := range y.Readings {
		if r := &y.Readings[i]; r.Visit.ID == v.ID && r.Belief != nil {
			return r.Levels(*r.Belief, about), nil
		}
	}
	return sampling.Belief{}, nil
}

// ownPrecision is the standard error of the mean of counts over that mean, NaN
// where there is none.
func ownPrecision(counts []int) float64 {
	n := float64(len(counts))
	sum, squares := 0.0, 0.0
	for _, c := range counts {
		sum += float64(c)
	}
	for _, c := range counts {
		squares += (float64(c) - sum/n) * (float64(c) - sum/n)
	}
	if n < 2 || sum == 0 {
		return math.NaN()
	}
	return math.Sqrt(squares/(n-1)/n) / (sum / n)
}
