package plots

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
)

func value(v float64) *float64 { return &v }

// sampleWorked is invented.
func sampleWorked() Worked {
	return Worked{AsOf: day("2026-07-20"), Source: "an invented farm", Next: "count D3 from Wed 22 Jul to Wed 12 Aug.", Tries: []Try{
		{Date: day("2026-06-02"), Step: "night pick", Pest: "slugs", Beds: "A1", Unit: "slugs per trap", BeforeOn: day("2026-06-01"), AfterOn: day("2026-06-08"),
			Before: &Mean{10, 9}, After: &Mean{2, 9}, CheckBefore: &Mean{10, 9}, CheckAfter: &Mean{10, 9}, Expected: value(10), Effect: &Effect{80, 20, 95},
			Finding: "80 % fewer than untreated beds would lead one to expect; likely between 20 % fewer and 95 % fewer."},
		{Date: day("2026-07-14"), Step: "water jet", Pest: "mites", Beds: "D4", Unit: "mites per leaf", BeforeOn: day("2026-07-13"), AfterOn: day("2026-07-20"),
			Before: &Mean{3.55, 20}, After: &Mean{4.85, 20}, CheckBefore: &Mean{5.9, 60}, CheckAfter: &Mean{7.15, 60}, Expected: value(4.31), Effect: &Effect{-12, -189, 56},
			Finding: "12 % more than untreated beds would lead one to expect; likely between 189 % more and 56 % fewer."},
		{Date: day("2026-07-19"), Step: "spray (invented)", Pest: "mites", Beds: "D3", Finding: "No valid count from Wed 22 Jul on: count until Wed 12 Aug."},
	}}
}

func workedEdges() map[string]Figure {
	with := func(change func(*Try)) Worked {
		w := sampleWorked()
		w.Tries = w.Tries[:1]
		change(&w.Tries[0])
		return w
	}
	many := sampleWorked()
	for i := range 9 {
		t := many.Tries[i%3]
		t.Date, t.BeforeOn, t.AfterOn = t.Date.AddDays(i), day("2026-05-20"), day("2026-08-01")
		many.Tries = append(many.Tries, t)
	}
	out := map[string]Figure{
		"worked without untreated": with(func(t *Try) {
			t.CheckBefore, t.CheckAfter, t.ExpectedBy = nil, nil, "as before"
			t.Finding += " There was no untreated bed to compare with: weather, season or luck may have done it."
		}),
		"worked after alone": with(func(t *Try) { t.Before, t.CheckBefore = nil, nil }),
		"worked zeros": with(func(t *Try) {
			t.Before, t.After, t.CheckBefore, t.CheckAfter = &Mean{0, 5}, &Mean{0, 5}, nil, nil
			t.Expected, t.Effect = value(0), &Effect{0, 0, 0}
		}),
		"worked all gone":      with(func(t *Try) { t.After, t.Effect = &Mean{0, 9}, &Effect{100, 60, 100} }),
		"worked many times":    with(func(t *Try) { t.After, t.Effect = &Mean{900, 9}, &Effect{-9000, -99000, -800} }),
		"worked next day":      with(func(t *Try) { t.BeforeOn, t.AfterOn = t.Date, t.Date.AddDays(1) }),
		"worked far expected":  with(func(t *Try) { t.Expected = value(9000) }),
		"worked over new year": with(func(t *Try) { t.Date, t.BeforeOn, t.AfterOn = day("2026-12-29"), day("2026-12-28"), day("2027-01-11") }),
		"worked nothing known": with(func(t *Try) { *t = Try{Date: t.Date, Step: "bait", Finding: "It cannot be told."} }),
		"worked long names": with(func(t *Try) {
			t.Step, t.Pest, t.Beds, t.Unit, t.Finding = long+long, long, long, long+long, strings.Repeat(long, 6)
		}),
	}
	for i, p := range many.Pages() {
		out[fmt.Sprint("worked page ", i+1)] = p
	}
	return out
}

func TestWorked_EveryLabel(t *testing.T) {
	w := sampleWorked()
	ms := traced(t, w)
	texts := textsOf(ms)
	for _, want := range []string{
		"Did it work?", "It worked: night pick on 2 June. Not sure: water jet on 14 July. Not known: spray (invented) on 19 July.", "Next: count D3 from Wed 22 Jul to Wed 12 Aug.",
		"2 June: night pick against slugs, bed A1", "it worked", "not sure", "not known", "slugs per trap", "treated: 2", "untreated: 10", "expected: 10", "80 % fewer", "12 % more",
		"1 Jun", "2 Jun", "8 Jun", "no effect", "half", "all gone", "twice as many", "against what was expected",
		"No valid count from Wed 22 Jul on: count until Wed 12 Aug.", "counted in beds of the step", "counted in untreated beds", "expected, had it done nothing", "effect with its 95 % interval",
	} {
		require.Contains(t, texts, want)
	}
	require.Equal(t, 3, countOf(ms, "try"))
	require.Equal(t, 2, countOf(ms, "effect"))
	require.Equal(t, 4, countOf(ms, "treated"))
	require.Equal(t, 4, countOf(ms, "untreated"))
	require.Equal(t, 2, countOf(ms, "expected"))
	require.Equal(t, 1, countOf(ms, "cut"), "189 % more lies left of twice as many")

	many := traced(t, workedEdges()["worked many times"])
	require.Equal(t, 2, countOf(many, "cut"), "the whole interval lies beyond the axis")
	require.Contains(t, textsOf(many), "many times as many")

	alone := workedEdges()["worked without untreated"]
	texts = textsOf(traced(t, alone))
	require.Contains(t, texts, "fewer than before", "no untreated bed: it may be the weather")
	require.NotContains(t, texts, "it worked")
	require.Contains(t, texts, "as before: 10")
	require.NotContains(t, texts, "counted in untreated beds", "the key holds only what is in the picture")
	require.Contains(t, alone.Alt(), "weather, season or luck may have done it")
}

// The interval lies where its numbers belong between the words of the axis.
func TestWorked_AtItsValue(t *testing.T) {
	w := sampleWorked()
	w.Tries = w.Tries[:1]
	ms := traced(t, w)
	x := map[string]float64{}
	for _, m := range ms {
		if m.kind == "text" && (m.text == "no effect" || m.text == "half") {
			x[m.text] = (m.box.x0 + m.box.x1) / 2
		}
	}
	at := func(v float64) float64 { return x["no effect"] + (x["half"]-x["no effect"])*v/50 }
	e := marksOf(ms, "effect")[0].box
	require.InDelta(t, at(20), e.x0, 0.01)
	require.InDelta(t, at(95), e.x1, 0.01)
}

func TestWorked_Verdict(t *testing.T) {
	check := &Mean{1, 5}
	for _, c := range []struct {
		t    Try
		want string
	}{
		{Try{Effect: &Effect{50, 0.1, 80}, CheckAfter: check}, "it worked"},
		{Try{Effect: &Effect{50, 0, 80}, CheckAfter: check}, "not sure"},
		{Try{Effect: &Effect{50, 0.1, 80}}, "fewer than before"},
		{Try{Effect: &Effect{-50, -90, -1}, CheckAfter: check}, "more than without it"},
		{Try{Effect: &Effect{-50, -90, -1}}, "more than before"},
		{Try{Effect: &Effect{-50, -90, 1}, CheckAfter: check}, "not sure"},
		{Try{}, "not known"},
	} {
		require.Equal(t, c.want, c.t.verdict())
	}
}

func TestWorked_Paged(t *testing.T) {
	w := sampleWorked()
	for range 4 {
		w.Tries = append(w.Tries, w.Tries[:3]...)
	}
	require.ErrorIs(t, w.Check(), ErrTooMany)
	n := 0
	pages := w.Pages()
	for i, p := range pages {
		require.NoError(t, p.Check())
		require.Contains(t, textsOf(traced(t, p))[0], fmt.Sprintf("(page %d of %d)", i+1, len(pages)))
		n += len(p.Tries)
	}
	require.Equal(t, len(w.Tries), n)
	require.Len(t, sampleWorked().Pages(), 1)
	require.Len(t, Worked{}.Pages(), 1)
}

func TestWorked_Alt(t *testing.T) {
	w := sampleWorked()
	w.Tries = w.Tries[1:]
	require.Equal(t, "Did it work? Not sure: water jet on 14 July. Not known: spray (invented) on 19 July. "+
		"14 July: water jet against mites, bed D4: 3.55 before and 4.85 mites per leaf after. 12 % more than untreated beds would lead one to expect; likely between 189 % more and 56 % fewer. "+
		"19 July: spray (invented) against mites, bed D3: No valid count from Wed 22 Jul on: count until Wed 12 Aug. "+
		"Next: count D3 from Wed 22 Jul to Wed 12 Aug.", w.Alt())
	require.NotEmpty(t, Worked{}.Alt())
}

func TestWorked_Errors(t *testing.T) {
	with := func(change func(*Try)) Worked {
		w := sampleWorked()
		change(&w.Tries[0])
		return w
	}
	for _, c := range []struct {
		name string
		fig  Worked
		is   error
		says string
	}{
		{"nothing", Worked{}, ErrNoData, "no step is recorded"},
		{"date", with(func(t *Try) { t.Date = civil.Date{} }), ErrValue, "night pick: the step has no date"},
		{"mean", with(func(t *Try) { t.After = &Mean{-1, 3} }), ErrValue, "-1 on 3 units"},
		{"units", with(func(t *Try) { t.After = &Mean{1, 0} }), ErrValue, "on 0 units"},
		{"nan", with(func(t *Try) { t.Expected = value(math.NaN()) }), ErrValue, "NaN"},
		{"above 100", with(func(t *Try) { t.Effect = &Effect{90, 80, 101} }), ErrValue, "at most 100"},
		{"order", with(func(t *Try) { t.Effect = &Effect{90, 95, 99} }), ErrValue, "in order"},
		{"no day", with(func(t *Try) { t.BeforeOn = civil.Date{} }), ErrValue, "no day"},
		{"year", with(func(t *Try) { t.BeforeOn = day("2016-06-01") }), ErrValue, "a year may be mistyped"},
	} {
		requireRefused(t, c.name, c.fig, c.is, c.says)
	}
}

func TestWorked_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var w Worked
		mean := func(name string) *Mean {
			if rapid.Bool().Draw(t, name) {
				return nil
			}
			return &Mean{rapid.Float64Range(0, 300).Draw(t, name), 5}
		}
		for range rapid.IntRange(1, 6).Draw(t, "steps") {
			d := day("2026-05-01").AddDays(rapid.IntRange(0, 150).Draw(t, "day"))
			x := Try{Date: d, Step: rapid.StringN(0, 50, -1).Draw(t, "step"), Pest: rapid.StringN(0, 40, -1).Draw(t, "pest"), Unit: rapid.StringN(0, 60, -1).Draw(t, "unit"),
				BeforeOn: d.AddDays(-rapid.IntRange(0, 14).Draw(t, "before")), AfterOn: d.AddDays(rapid.IntRange(1, 40).Draw(t, "after")),
				Before: mean("b"), After: mean("a"), CheckAfter: mean("ca"), Finding: rapid.StringN(0, 300, -1).Draw(t, "finding")}
			if x.Before != nil {
				x.CheckBefore = mean("cb")
			}
			if rapid.Bool().Draw(t, "known") {
				p := rapid.Float64Range(-400, 100).Draw(t, "percent")
				x.Effect = &Effect{p, p - rapid.Float64Range(0, 900).Draw(t, "low"), min(100, p+rapid.Float64Range(0, 200).Draw(t, "high"))}
				x.Expected = value(rapid.Float64Range(0, 900).Draw(t, "expected"))
			}
			w.Tries = append(w.Tries, x)
		}
		for _, p := range w.Pages() {
			ms, width, h := requireDrawn(t, p)
			require.Equal(t, len(p.Tries), countOf(ms, "try"))
			requireWordsApart(t, ms, width, h)
		}
	})
}
