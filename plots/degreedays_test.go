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

// sampleSums is an invented season: 8 degree-days a day, and other years that
// had 6, 7 and 9.
func sampleSums() DegreeDays {
	start, today := day("2026-05-01"), day("2026-07-20")
	d := DegreeDays{Of: "spider mites", Unit: "degree-days C above 8.6 °C", Today: today, BandWords: "5 earlier years, the line their middle",
		Marks:  []SumMark{{Sum: 300, Date: start.AddDays(37)}, {Sum: 5000}},
		Next:   "look under low leaves on dry edges from Mon 3 Aug on.",
		Source: "Added up: an invented farm.",
		Stages: []StageMark{
			{"generation 2, egg to adult", day("2026-07-03"), day("2026-07-09"), day("2026-07-19")},
			{"generation 3, egg to adult", day("2026-07-10"), day("2026-07-28"), day("2026-08-08")},
			{Name: "summer adults", Expected: day("2026-08-10")},
		}}
	for i := range 110 {
		x := SumDay{Date: start.AddDays(i), Sum: 8 * float64(i+1), Filled: i == 30 || i == 31}
		x.Ahead = x.Date.After(today)
		d.Days = append(d.Days, x)
		d.Band = append(d.Band, BandDay{x.Date, 6 * float64(i+1), 7 * float64(i+1), 9 * float64(i+1)})
	}
	return d
}

func sumEdges() map[string]Figure {
	sum := func(change func(*DegreeDays)) DegreeDays {
		d := sampleSums()
		change(&d)
		return d
	}
	return map[string]Figure{
		"sums one day": sum(func(d *DegreeDays) { d.Days, d.Band, d.Stages, d.Marks = d.Days[:1], nil, nil, nil }),
		"sums zero": sum(func(d *DegreeDays) {
			d.Band, d.Marks, d.Stages = nil, nil, nil
			for i := range d.Days {
				d.Days[i].Sum = 0
			}
		}),
		"sums gap": sum(func(d *DegreeDays) {
			d.Days = d.Days[:40]
			d.Gap = Span{day("2026-06-10"), day("2026-08-18"), "2026-06-10 has no lowest and highest temperature"}
		}),
		"sums gap at the end": sum(func(d *DegreeDays) {
			d.Days = d.Days[:81]
			d.Gap = Span{day("2026-07-21"), day("2026-07-21"), strings.Repeat(long, 3)}
		}),
		"sums all ahead": sum(func(d *DegreeDays) {
			d.Today = day("2026-04-20")
			for i := range d.Days {
				d.Days[i].Ahead = true
			}
		}),
		"sums usual year": sum(func(d *DegreeDays) {
			for i := range d.Band {
				d.Band[i].Low, d.Band[i].High = d.Band[i].Middle, d.Band[i].Middle
			}
		}),
		"sums southern": sum(func(d *DegreeDays) { d.move(day("2026-11-01")) }),
		"sums US": sum(func(d *DegreeDays) {
			d.Unit = "degree-days F above 47.53 °F"
			for i := range d.Days {
				d.Days[i].Sum *= 1.8
			}
		}),
		"sums 14 stages": sum(func(d *DegreeDays) {
			for i := range 11 {
				d.Stages = append(d.Stages, StageMark{fmt.Sprint(i, long), day("2026-05-02").AddDays(4 * i), day("2026-05-04").AddDays(6 * i), day("2026-05-14").AddDays(9 * i)})
			}
		}),
		"sums long names": sum(func(d *DegreeDays) {
			d.Of, d.Unit, d.BandWords, d.Next, d.Source, d.Notes = long+long, long+long, long, strings.Repeat(long, 5), strings.Repeat(long, 9), long
			for i := range d.Stages {
				d.Stages[i].Name = long + long
			}
		}),
		"sums many marks": sum(func(d *DegreeDays) {
			d.Marks = nil
			for i := range 9 {
				d.Marks = append(d.Marks, SumMark{Sum: 80 * float64(i+1), Date: d.Days[0].Date.AddDays(10*i + 9)})
			}
		}),
		"sums a start long ago": sum(func(d *DegreeDays) { d.Days[0].Date = day("2025-08-01"); d.Band = nil }),
	}
}

// move puts the first day elsewhere in the year.
func (d *DegreeDays) move(first civil.Date) {
	by := first.Sub(d.Days[0].Date)
	d.Today = d.Today.AddDays(by)
	for i := range d.Days {
		d.Days[i].Date, d.Band[i].Date = d.Days[i].Date.AddDays(by), d.Band[i].Date.AddDays(by)
	}
	for i := range d.Stages {
		for _, x := range []*civil.Date{&d.Stages[i].Earliest, &d.Stages[i].Expected, &d.Stages[i].Latest} {
			if !x.IsZero() {
				*x = x.AddDays(by)
			}
		}
	}
	for i := range d.Marks {
		if !d.Marks[i].Date.IsZero() {
			d.Marks[i].Date = d.Marks[i].Date.AddDays(by)
		}
	}
}

func TestDegreeDays_EveryLabel(t *testing.T) {
	d := sampleSums()
	ms := traced(t, d)
	texts := textsOf(ms)
	for _, want := range []string{
		"Degree-days of spider mites from 1 May 2026", "degree-days C above 8.6 °C, added up since 1 May", "Mondays", "May 2026", "August",
		"Next: look under low leaves on dry edges from Mon 3 Aug on.", "648 on 20 Jul", "about 880 on 18 Aug", "today, 20 Jul", "300: 7 Jun",
		"generation 2, egg to adult: 9 Jul (3 to 19 Jul)", "generation 3, egg to adult: 28 Jul (10 Jul to 8 Aug)", "summer adults: 10 Aug",
		"measured", "forecast or usual", "filled in", "5 earlier years, the line their middle", "a stage: earliest to latest day, dark the expected one",
		"As of 20 July 2026. Added up: an invented farm.",
	} {
		require.Contains(t, texts, want)
	}
	require.NotContains(t, strings.Join(texts, "\n"), "5000:\n", "a sum that is not reached has no line")
	require.Equal(t, 3, countOf(ms, "stage"))
	require.Equal(t, 2, countOf(ms, "filled"))
	require.Equal(t, 1, countOf(ms, "mark"))
	require.Equal(t, 1, countOf(ms, "band"))
	require.Zero(t, countOf(traced(t, sumEdges()["sums usual year"]), "band"), "one year has no width")
	wide := sampleSums()
	wide.Stages[1].Earliest, wide.Stages[1].Latest = day("2026-06-05"), day("2026-08-12")
	require.Contains(t, textsOf(traced(t, wide)), "generation 3, egg to adult: 28 Jul", "no room for the range beside a wide bar, which shows it")
	gap := traced(t, sumEdges()["sums gap"])
	require.Equal(t, 1, countOf(gap, "hatch"))
	require.Contains(t, textsOf(gap), "2026-06-10 has no lowest and highest temperature")
	require.Contains(t, textsOf(traced(t, sumEdges()["sums US"])), "degree-days F above 47.53 °F, added up since 1 May")
}

// Stages and today stand at their days: measured from the Mondays.
func TestDegreeDays_AtItsDay(t *testing.T) {
	d := sampleSums()
	var first, last float64
	n := 0
	for _, e := range readSVG(t, write(t, d, "svg")) {
		if e.name != "text" || len(e.text) > 2 || !strings.Contains(e.style, "fill:#55535F") || e.x < plotLeft-4 {
			continue
		}
		if n++; n == 1 {
			first = e.x + tickFace.width(e.text)/2
		}
		last = e.x + tickFace.width(e.text)/2
	}
	// 4 May to 17 August 2026 are 16 Mondays.
	require.Equal(t, 16, n)
	perDay := (last - first) / 15 / 7
	at := func(x civil.Date) float64 { return first + perDay*float64(x.Sub(day("2026-05-04"))) }
	for i, m := range marksOf(traced(t, d), "stage")[:2] {
		require.InDelta(t, at(d.Stages[i].Earliest)-2, m.box.x0, 0.01)
		require.InDelta(t, at(d.Stages[i].Latest)+2, m.box.x1, 0.01)
	}
	require.InDelta(t, at(day("2026-06-07")), marksOf(traced(t, d), "mark")[0].box.x1, 0.01)
}

func TestDegreeDays_Alt(t *testing.T) {
	d := sampleSums()
	require.Equal(t, "Degree-days of spider mites from 1 May 2026: degree-days C above 8.6 °C. "+
		"648 degree-days C by 20 July, 14 % more than usual (567). "+
		"To come: generation 3, egg to adult: 28 July (10 July to 8 August) and summer adults: 10 August. "+
		"Sums: 300: 7 Jun and 5000: not reached by 18 Aug. "+
		"Generation 2, egg to adult: 9 July (3 to 19 July). Generation 3, egg to adult: 28 July (10 July to 8 August). Summer adults: 10 August. "+
		"Next: look under low leaves on dry edges from Mon 3 Aug on.", d.Alt())
	require.NotEmpty(t, DegreeDays{}.Alt())
	require.Contains(t, sumEdges()["sums gap"].Alt(), "2026-06-10 has no lowest and highest temperature.")
}

func TestDegreeDays_Errors(t *testing.T) {
	with := func(change func(*DegreeDays)) DegreeDays {
		d := sampleSums()
		change(&d)
		return d
	}
	for _, c := range []struct {
		name string
		fig  DegreeDays
		is   error
		says string
	}{
		{"nothing", DegreeDays{}, ErrNoData, "no day has weather"},
		{"today", with(func(d *DegreeDays) { d.Today = civil.Date{} }), ErrValue, "today"},
		{"falls", with(func(d *DegreeDays) { d.Days[5].Sum = 3 }), ErrValue, "only grows"},
		{"nan", with(func(d *DegreeDays) { d.Days[5].Sum = math.NaN() }), ErrValue, "NaN"},
		{"order", with(func(d *DegreeDays) { d.Days[5].Date = d.Days[4].Date }), ErrValue, "in order"},
		{"band", with(func(d *DegreeDays) { d.Band[5].Low = 999 }), ErrValue, "other years"},
		{"band's days", with(func(d *DegreeDays) { d.Band[5].Date = civil.Date{} }), ErrValue, "other years"},
		{"mark", with(func(d *DegreeDays) { d.Marks[0].Sum = 0 }), ErrValue, "the sum 0"},
		{"stage", with(func(d *DegreeDays) { d.Stages[0].Expected = civil.Date{} }), ErrValue, "generation 2"},
		{"stage's order", with(func(d *DegreeDays) { d.Stages[0].Latest = day("2026-07-01") }), ErrValue, "not in order"},
		{"gap", with(func(d *DegreeDays) { d.Gap = Span{From: day("2026-07-01")} }), ErrValue, "a gap has no first"},
		{"year", with(func(d *DegreeDays) { d.Days[0].Date = day("2016-05-01") }), ErrValue, "a year may be mistyped"},
		{"many", with(func(d *DegreeDays) { d.Stages = make([]StageMark, MaxStages+1) }), ErrTooMany, "15 stages"},
	} {
		requireRefused(t, c.name, c.fig, c.is, c.says)
	}
}

func TestDegreeDays_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		start := day("2026-01-01").AddDays(rapid.IntRange(0, 300).Draw(t, "start"))
		n := rapid.IntRange(1, 200).Draw(t, "days")
		daily := rapid.Float64Range(0, 30).Draw(t, "a day")
		d := DegreeDays{Of: rapid.StringN(0, 30, -1).Draw(t, "of"), Unit: rapid.StringN(0, 60, -1).Draw(t, "unit"), Today: start.AddDays(rapid.IntRange(0, 220).Draw(t, "today")),
			BandWords: rapid.StringN(0, 60, -1).Draw(t, "band"), Next: rapid.StringN(0, 200, -1).Draw(t, "next")}
		for i := range n {
			x := SumDay{Date: start.AddDays(i), Sum: daily * float64(i), Ahead: start.AddDays(i).After(d.Today)}
			d.Days = append(d.Days, x)
			d.Band = append(d.Band, BandDay{x.Date, x.Sum * 0.8, x.Sum, x.Sum * 1.3})
		}
		for range rapid.IntRange(0, MaxStages).Draw(t, "stages") {
			m := StageMark{Name: rapid.StringN(0, 60, -1).Draw(t, "stage"), Expected: start.AddDays(rapid.IntRange(0, 250).Draw(t, "expected"))}
			if rapid.Bool().Draw(t, "range") {
				m.Earliest, m.Latest = m.Expected.AddDays(-rapid.IntRange(0, 20).Draw(t, "early")), m.Expected.AddDays(rapid.IntRange(0, 30).Draw(t, "late"))
			}
			d.Stages = append(d.Stages, m)
		}
		if rapid.Bool().Draw(t, "gap") {
			from := start.AddDays(n)
			d.Gap = Span{from, from.AddDays(rapid.IntRange(0, 40).Draw(t, "gap days")), rapid.StringN(0, 80, -1).Draw(t, "why")}
		}
		ms, w, h := requireDrawn(t, d)
		require.Equal(t, len(d.Stages), countOf(ms, "stage"))
		requireInside(t, ms, w, h)
		for i, m := range ms {
			for _, o := range ms[:i] {
				if m.kind == "stage" && o.kind == "stage" {
					require.Zero(t, m.box.overlap(o.box), "%q and %q", m.text, o.text)
				}
			}
		}
	})
}
