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

// fanDays are invented: from a value on, times a factor each day, with bands
// that widen.
func fanDays(from civil.Date, n int, value, times, level float64) []FanDay {
	var out []FanDay
	for i := range n {
		w := 0.1 + 0.06*float64(i)
		d := FanDay{Date: from.AddDays(i), Median: value, Low50: value * math.Exp(-w), High50: value * math.Exp(w), Low90: value * math.Exp(-2.5*w), High90: value * math.Exp(2.5*w), Weather: "usual"}
		if i < 5 {
			d.Weather = "forecast"
		}
		if i == n-1 {
			d.Weather = ""
		}
		if level > 0 {
			over := 1 / (1 + math.Pow(level/max(value, 1e-9), 3))
			d.Over = &over
		}
		out = append(out, d)
		value *= times
	}
	return out
}

func sampleFan(ways int) Fan {
	today := day("2026-07-20")
	f := Fan{Pest: "spider mites", Place: "bed D5", Measure: "mites per leaf", Level: 10, Cap: 50, Today: today,
		Visits:  season(3, day("2026-06-15"), 6, 12, 1, func(w int) float64 { return 1 + 1.5*float64(w) }),
		Nothing: fanDays(today, 15, 10, 1.07, 10), Source: "leaves, 12 to a bed (invented data)",
		NotDrawn: []string{"Not open: an invented spray."}, Next: "put out predators on Tue 21 Jul, then count D5 again by Mon 27 Jul."}
	for i := range ways {
		f.Ways = append(f.Ways, FanWay{fmt.Sprintf("step %d", i+1), today.AddDays(1 + i), fanDays(today, 15, 10, 0.8+0.07*float64(i), 10)})
	}
	for _, days := range append([][]FanDay{f.Nothing}, waysOf(f)...) {
		for i := range days {
			d := &days[i]
			for _, v := range []*float64{&d.Median, &d.Low50, &d.High50, &d.Low90, &d.High90} {
				*v = min(*v, f.Cap)
			}
		}
	}
	return f
}

func waysOf(f Fan) (out [][]FanDay) {
	for _, w := range f.Ways {
		out = append(out, w.Days)
	}
	return out
}

func fanEdges() map[string]Figure {
	today := day("2026-07-20")
	fan := func(change func(*Fan)) Fan {
		f := sampleFan(3)
		change(&f)
		return f
	}
	return map[string]Figure{
		"fan one visit":  fan(func(f *Fan) { f.Visits = []Visit{{Date: today, Mean: 2}} }),
		"fan no visit":   fan(func(f *Fan) { f.Visits = nil }),
		"fan none valid": fan(func(f *Fan) { f.Visits = []Visit{{Date: today.AddDays(-7), Mean: 2, Invalid: "wet"}} }),
		"fan no action":  fan(func(f *Fan) { f.Ways, f.NotDrawn, f.Next = nil, nil, "" }),
		"fan 9 actions":  sampleFan(9),
		"fan 12 actions": sampleFan(12),
		"fan one day":    fan(func(f *Fan) { f.Nothing, f.Ways = f.Nothing[:1], f.Ways[:1]; f.Ways[0].Days = f.Ways[0].Days[:1] }),
		"fan zero":       fan(func(f *Fan) { f.Visits, f.Nothing, f.Ways = nil, fanDays(today, 15, 0, 1, 10), nil }),
		"fan no level": fan(func(f *Fan) {
			f.Level = 0
			f.Nothing = fanDays(today, 15, 3, 1.1, 0)
			f.Ways[0].Days = fanDays(today, 15, 3, 1, 0)
		}),
		"fan all overrun": fan(func(f *Fan) { f.Nothing = overrun(today, 50); f.Ways[0].Days = overrun(today, 50) }),
		"fan beyond axis": fan(func(f *Fan) { f.Cap = 0; f.Nothing = fanDays(today, 15, 10, 2.5, 10) }),
		"fan southern":    fan(func(f *Fan) { f.move(day("2026-12-26")) }),
		"fan percent": fan(func(f *Fan) {
			f.Percent, f.Cap, f.Level, f.Measure = true, 0, 30, "leaves with mites"
			f.Visits = nil
			f.Ways = nil
			f.Nothing = fanDays(today, 8, 20, 1.01, 30)
		}),
		"fan long names": fan(func(f *Fan) {
			f.Pest, f.Place, f.Measure, f.Next, f.Source = long, long+long, long, strings.Repeat(long, 6), strings.Repeat(long, 9)
			for i := range f.Ways {
				f.Ways[i].Name = long + long
			}
			f.NotDrawn = []string{strings.Repeat(long, 5), long}
		}),
	}
}

// overrun is days that all lie at the top.
func overrun(from civil.Date, v float64) []FanDay {
	one := 1.0
	var out []FanDay
	for i := range 15 {
		out = append(out, FanDay{from.AddDays(i), v, v, v, v, v, &one, "usual"})
	}
	return out
}

// move puts the picture's today elsewhere in the year.
func (f *Fan) move(today civil.Date) {
	by := today.Sub(f.Today)
	f.Today = today
	for i := range f.Visits {
		f.Visits[i].Date = f.Visits[i].Date.AddDays(by)
	}
	for i := range f.Nothing {
		f.Nothing[i].Date = f.Nothing[i].Date.AddDays(by)
	}
	for i := range f.Ways {
		f.Ways[i].On = f.Ways[i].On.AddDays(by)
		for j := range f.Ways[i].Days {
			f.Ways[i].Days[j].Date = f.Ways[i].Days[j].Date.AddDays(by)
		}
	}
}

func TestFan_EveryLabel(t *testing.T) {
	f := sampleFan(3)
	ms := traced(t, f)
	texts := textsOf(ms)
	for _, want := range []string{
		"Spider mites in bed D5 – what could come by 3 August", "mites per leaf (square-root scale), if nothing is done", "act at 10", "today, 20 Jul",
		"about 26", "high: 50+", "forecast", "weather: usual", "Mondays", "What could be done, the lowest chance first",
		"step 1, 21 Jul", "about 0.44 on 3 Aug", "27 Jul", "half of the chances", "9 in 10 chances", "middle if nothing is done", "day of the step", "Not open: an invented spray.",
		"Next: put out predators on Tue 21 Jul, then count D5 again by Mon 27 Jul.",
	} {
		require.Contains(t, texts, want)
	}
	require.Equal(t, 4, countOf(ms, "band90"), "doing nothing, and 3 ways")
	require.Equal(t, 4, countOf(ms, "band50"))
	require.Equal(t, 3, countOf(ms, "way"))
	require.Equal(t, 6, countOf(ms, "visit"))
	require.Equal(t, 1, countOf(ms, "next"))
}

// The bands lie where their numbers belong, measured from the tick labels:
// on a square-root scale heights go as roots.
func TestFan_AtItsValue(t *testing.T) {
	f := sampleFan(0)
	els := readSVG(t, write(t, f, "svg"))
	_, h := f.Size()
	tick := map[string]float64{}
	var edge, middle []point
	for _, e := range els {
		if e.name == "text" && e.x < plotLeft && strings.Contains(e.style, "fill:#55535F") {
			tick[e.text] = h + e.y - 0.36*sizeSmall
		}
		var d []point
		for _, part := range strings.FieldsFunc(e.d, func(r rune) bool { return r == 'M' || r == 'L' || r == 'Z' }) {
			var p point
			if n, _ := fmt.Sscanf(part, "%f,%f", &p.x, &p.y); n == 2 {
				p.y = h - p.y
				d = append(d, p)
			}
		}
		switch {
		case e.style == "fill:#C3D9E4" && edge == nil:
			edge = d
		case strings.Contains(e.style, "stroke:#0F4A6B") && len(d) == len(f.Nothing):
			middle = d
		}
	}
	y0, y20 := tick["0"], tick["20"]
	require.NotZero(t, y0)
	require.NotZero(t, y20)
	at := func(v float64) float64 { return y0 + (y20-y0)*math.Sqrt(v/20) }
	require.Len(t, edge, 2*len(f.Nothing))
	require.Len(t, middle, len(f.Nothing))
	n := len(f.Nothing)
	for i, d := range f.Nothing {
		require.InDelta(t, at(d.Median), middle[i].y, 0.1, d.Date)
		require.InDelta(t, at(d.Low90), edge[2*n-1-i].y, 0.1, d.Date)
		if d.High90 < 50 {
			require.InDelta(t, at(d.High90), edge[i].y, 0.1, d.Date)
		}
		if i > 0 {
			require.InDelta(t, middle[1].x-middle[0].x, middle[i].x-middle[i-1].x, 0.1, "days are even")
		}
	}
}

func TestFan_Alt(t *testing.T) {
	f := sampleFan(1)
	f.Visits = []Visit{{Date: day("2026-07-13"), Mean: 10.24}}
	low, high := 0.93, 0.09
	f.Nothing = []FanDay{{Date: f.Today.AddDays(14), Median: 27.9, Low50: 18, High50: 44, Low90: 8.71, High90: 50, Over: &low}}
	f.Ways = []FanWay{{"water jet", f.Today, f.Nothing}, {"predators", day("2026-07-21"), []FanDay{{Date: f.Today.AddDays(14), Median: 0.001, Low50: 0.001, High50: 2, High90: 28, Over: &high}}}}
	require.Equal(t, "Spider mites in bed D5 – what could come by 3 August. Counted 10.2 mites per leaf on 13 July. "+
		"If nothing is done: about 28 on 3 August, 9 in 10 chances between 8.7 and 50+; the chance of being over the action level of 10 then is 93 %. "+
		"Lowest chance of what is compared: predators on 21 July, 9 %. "+
		"predators on 21 July: almost none on 3 August, 9 % over the level. water jet on 20 July: about 28 on 3 August, 93 % over the level. "+
		"Next: put out predators on Tue 21 Jul, then count D5 again by Mon 27 Jul.", f.Alt())
	require.NotEmpty(t, Fan{}.Alt())
	f.Ways[1].Days[0].Over = &low
	require.Contains(t, f.Alt(), "then is 93 %. Nothing that is compared makes that chance lower.")
	f.Level, f.Ways, f.Next = 0, nil, ""
	require.Contains(t, f.Alt(), "no action level is known to hold it against. Nothing that is open can be reckoned to compare it with.")
}

func TestFan_Errors(t *testing.T) {
	with := func(change func(*Fan)) Fan {
		f := sampleFan(2)
		change(&f)
		return f
	}
	two := 2.0
	for _, c := range []struct {
		name string
		fig  Fan
		is   error
		says string
	}{
		{"nothing", Fan{Pest: "mites", Place: "bed D5"}, ErrNoData, "mites in bed D5: no day is forecast"},
		{"too many", sampleFan(13), ErrTooMany, "13 things"},
		{"today", with(func(f *Fan) { f.Today = civil.Date{} }), ErrValue, "today is not given"},
		{"level", with(func(f *Fan) { f.Level = math.NaN() }), ErrValue, "NaN"},
		{"visit", with(func(f *Fan) { f.Visits[0].Mean = -1 }), ErrValue, "-1"},
		{"order", with(func(f *Fan) { f.Nothing[3].Date = f.Nothing[2].Date }), ErrValue, "in order"},
		{"bands", with(func(f *Fan) { f.Nothing[3].Low50 = 40 }), ErrValue, "forecast of 2026-07-23"},
		{"inf", with(func(f *Fan) { f.Nothing[3].High90 = math.Inf(1) }), ErrValue, "not numbers"},
		{"chance", with(func(f *Fan) { f.Nothing[3].Over = &two }), ErrValue, "the chance 2"},
		{"way", with(func(f *Fan) { f.Ways[1].Days = nil }), ErrValue, "step 2"},
		{"way's day", with(func(f *Fan) { f.Ways[1].On = civil.Date{} }), ErrValue, "step 2"},
		{"year", with(func(f *Fan) { f.Visits[0].Date = day("2016-06-15") }), ErrValue, "a year may be mistyped"},
	} {
		requireRefused(t, c.name, c.fig, c.is, c.says)
	}
}

func TestRough(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 27.94: "28", 8.71: "8.7", 0.8149: "0.81", 1234: "1200", 99.6: "100", 0.0123: "0.012"} {
		require.Equal(t, want, number(rough(v)))
	}
}

// Whatever is accepted can be drawn: a panel for each way, in the order of
// their chances, and no words over others or off the sheet.
func TestFan_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		today := day("2026-01-01").AddDays(rapid.IntRange(0, 360).Draw(t, "today"))
		n := rapid.IntRange(1, 15).Draw(t, "days")
		level := rapid.SampledFrom([]float64{0, 3, 40}).Draw(t, "level")
		days := func() []FanDay {
			return fanDays(today, n, rapid.Float64Range(0, 60).Draw(t, "value"), rapid.Float64Range(0.5, 1.4).Draw(t, "times"), level)
		}
		f := Fan{Pest: rapid.StringN(0, 30, -1).Draw(t, "pest"), Place: "bed A1", Measure: rapid.StringN(0, 60, -1).Draw(t, "measure"), Level: level, Today: today, Nothing: days(),
			Cap: rapid.SampledFrom([]float64{0, 50}).Draw(t, "cap"), Next: rapid.StringN(0, 300, -1).Draw(t, "next")}
		for range rapid.IntRange(0, 6).Draw(t, "visits") {
			m := rapid.Float64Range(0, 80).Draw(t, "mean")
			f.Visits = append(f.Visits, Visit{Date: today.AddDays(-rapid.IntRange(0, 42).Draw(t, "ago")), Mean: m, Interval: &Range{m / 2, m * 3}})
		}
		for range rapid.IntRange(0, MaxWays).Draw(t, "ways") {
			f.Ways = append(f.Ways, FanWay{rapid.StringN(0, 50, -1).Draw(t, "name"), today.AddDays(rapid.IntRange(0, n).Draw(t, "on")), days()})
		}
		ms, w, h := requireDrawn(t, f)
		require.Equal(t, len(f.Ways), countOf(ms, "way"))
		require.Equal(t, len(f.Visits), countOf(ms, "visit"))
		last := -1.0
		for _, w := range f.sorted() {
			if o := lastOf(w).Over; o != nil {
				require.GreaterOrEqual(t, *o, last)
				last = *o
			}
		}
		requireWordsApart(t, ms, w, h)
	})
}
