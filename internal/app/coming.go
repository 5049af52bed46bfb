package app

import (
	"context"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/forecast"
	"leafturn/internal/verdict"
	"leafturn/internal/week"
)

// coming adds to the week's facts what the forecast says of the beds that it
// may move a line of: those on hold or to be acted in, with a fresh count that
// found some.
func (a *App) coming(ctx context.Context, s snapshot, in *week.Input) error {
	for _, key := range a.watched(s) {
		p, ok := a.cat.Pest(key)
		if _, rate := a.cat.GrowthCurve(key, catalog.Increase); !ok || !rate {
			continue
		}
		var mine []*assess.Assessment
		for i := range in.Assessments {
			if x := &in.Assessments[i]; x.Pest.Key == key && asksForForecast(x) && !s.kept.foretold(in, x) {
				mine = append(mine, x)
			}
		}
		if len(mine) == 0 {
			continue
		}
		if err := s.kept.whole(s, mine); err != nil {
			return err
		}
		o, _, err := a.outlooksOf(ctx, s, p, forecast.MostDays, forecast.UsualPath, 1, false)
		if err != nil {
			return err
		}
		if err := a.comingOf(in, o, mine); err != nil {
			return err
		}
		s.kept.putForetold(in, mine)
	}
	return nil
}

// asksForForecast reports whether a forecast can move a line on a bed.
func asksForForecast(x *assess.Assessment) bool {
	r := x.Decider
	return x.InSeason && r != nil && r.Valid() && r.Found() > 0 && x.Age() < forecast.MostDays &&
		r.Act != nil && r.Act.Operator != "none" && r.Act.Value > 0 && (x.Result.Verdict == verdict.Hold || x.Result.Verdict == verdict.Act)
}

func (a *App) comingOf(in *week.Input, o *outlooks, mine []*assess.Assessment) error {
	// What beds of one day share is made first, then the beds side by side.
	for _, x := range mine {
		if _, err := o.start(x.Decider.Visit.Date); err != nil {
			return err
		}
	}
	got := make([]*week.Coming, len(mine))
	err := inParallel(len(mine), func(i int) error {
		out, err := o.outlook(mine[i], mine[i].Decider)
		if err != nil || out.why != "" || !(out.bed.Threshold > 0) {
			return err
		}
		out.bed.Alternatives = []forecast.Alternative{out.with("nothing")}
		res, err := out.start.f.Bed(out.bed)
		if err != nil {
			return err
		}
		c := &week.Coming{From: out.start.day, Within: within(res.Ways[0]), Over: over(res.Ways[0])}
		got[i] = c
		// A release is only looked at where the list could offer one.
		if !mine[i].Result.Watched && mine[i].Result.Verdict != verdict.Act && c.Within[len(c.Within)-1] < week.ComesAt {
			return nil
		}
		q := &foreseen{out: out}
		x, step := q.release(o, *in)
		if step == nil {
			return nil
		}
		out.bed.Alternatives = []forecast.Alternative{out.with(x.Name, *step)}
		if res, err = out.start.f.Bed(out.bed); err != nil {
			return err
		}
		c.With, c.Agent, c.Name, c.Let = over(res.Ways[0]), strings.TrimPrefix(x.Key, "agent:"), x.Name, x.Day
		return nil
	})
	if err != nil {
		return err
	}
	for i, c := range got {
		if c == nil {
			continue
		}
		if in.Coming == nil {
			in.Coming = map[[2]string]week.Coming{}
		}
		in.Coming[[2]string{mine[i].Bed.Code, mine[i].Pest.Key}] = *c
	}
	return nil
}

func within(w forecast.Way) []float64 {
	out := make([]float64, len(w.Days))
	for i, d := range w.Days {
		out[i] = d.Within
	}
	return out
}

func over(w forecast.Way) []float64 {
	out := make([]float64, len(w.Days))
	for i, d := range w.Days {
		out[i] = d.Over
	}
	return out
}

// release is the natural enemy that the list would offer at the bed's level,
// and the step of letting it out; nil where there is none that can be reckoned.
func (q *foreseen) release(o *outlooks, in week.Input) (week.Option, *forecast.Step) {
	level := "watch"
	if q.out.x.Result.Verdict == verdict.Act {
		level = "act"
	}
	all := week.Releases(in, q.out.x)
	suits := func(x week.Option) bool {
		return slices.ContainsFunc(in.Actions[q.out.x.Pest.Key], func(a week.Action) bool { return "agent:"+a.Agent == x.Key && a.Level == level })
	}
	slices.SortStableFunc(all, func(x, y week.Option) int {
		switch a, b := suits(x), suits(y); {
		case a && !b:
			return -1
		case b && !a:
			return 1
		}
		return 0
	})
	for _, x := range all {
		day := x.Day.Sub(q.out.start.day)
		if !x.Open() || day >= len(q.out.start.used) {
			continue
		}
		if step, _ := q.step(o, x, day); step != nil {
			return x, step
		}
	}
	return week.Option{}, nil
}
