package plots

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
)

// yearOf is an invented season by week: a wave with its top in a week.
func yearOf(name string, from, to int, top, at float64) YearLine {
	l := YearLine{Name: name, Compared: true}
	for w := from; w <= to; w++ {
		v := 0.3 + top*math.Exp(-math.Pow((float64(w)-at)/3.5, 2))
		l.Weeks = append(l.Weeks, WeekValue{w, v})
		if v >= 10 && l.Passed == 0 {
			l.Passed = w
		}
	}
	return l
}

func sampleYears() Years {
	gap := yearOf("2023", 22, 36, 22, 28)
	gap.Weeks = slices.Delete(gap.Weeks, 6, 11)
	return Years{
		Pest: "spider mites", Where: "bed D5", Measure: "spider mites per leaf", Scale: Sqrt, AsOf: day("2026-07-20"), Source: "20 leaves at each visit (invented data)",
		This: yearOf("2026", 24, 30, 9, 31), Earlier: []YearLine{yearOf("2022", 23, 36, 9, 29), gap, yearOf("2024", 24, 37, 6, 31), yearOf("2025", 22, 35, 16, 27)},
		Act: []WeekLevel{{20, 28, 5}, {29, 39, 10}}, Verdict: LookAgain, Next: "Look again by Thu 23 Jul: 36 more leaves.",
	}
}

func yearEdges() map[string]Figure {
	with := func(change func(y *Years)) Years {
		y := sampleYears()
		change(&y)
		return y
	}
	return map[string]Figure{
		"years of one week": Years{Pest: "slugs", This: YearLine{Name: "2026", Weeks: []WeekValue{{30, 2}}}},
		"years of zeros":    Years{Pest: "slugs", AsOf: day("2026-07-20"), This: YearLine{Name: "2026", Weeks: []WeekValue{{28, 0}, {30, 0}}}, Earlier: []YearLine{{Name: "2025", Weeks: []WeekValue{{29, 0}}}}},
		"years before this": with(func(y *Years) { y.This = YearLine{Name: "2026"} }),
		"years with week 53": with(func(y *Years) {
			y.AsOf = day("2026-12-31") // 2026 has 53 weeks (ISO 8601)
			y.This.Weeks = []WeekValue{{50, 3}, {52, 4}, {53, 5}}
			y.Earlier[0].Weeks = []WeekValue{{51, 1}, {52, 2}}
		}),
		"years in the south": with(func(y *Years) {
			y.South, y.AsOf = true, day("2027-02-10")
			y.This = YearLine{Name: "2026/27", Weeks: []WeekValue{{48, 1}, {51, 4}, {53, 6}, {1, 7}, {4, 12}}, Passed: 4, Compared: true}
			y.Earlier = []YearLine{
				{Name: "2023/24", Weeks: []WeekValue{{47, 0}, {50, 2}, {52, 5}, {2, 9}, {5, 3}}, Compared: true},
				{Name: "2024/25", Weeks: []WeekValue{{49, 3}, {51, 8}, {1, 15}, {3, 12}, {6, 6}}, Compared: true, Passed: 1},
				{Name: "2025/26", Weeks: []WeekValue{{48, 2}, {51, 4}, {1, 5}, {4, 8}}, Compared: true}}
			y.Act = []WeekLevel{{27, 26, 10}}
		}),
		"years of percent": with(func(y *Years) { y.Percent, y.Scale, y.Measure = true, Linear, "leaves with mites" }),
		"years of long names": with(func(y *Years) {
			y.Pest, y.Where, y.Measure, y.Source, y.Next = long, long+long, long+long, strings.Repeat(long, 9), strings.Repeat(long, 9)
			y.This.Name = long
			for i := range y.Earlier {
				y.Earlier[i].Name = fmt.Sprint(i, long)
			}
		}),
		"twelve years": with(func(y *Years) {
			y.Earlier = nil
			for i := range 12 {
				y.Earlier = append(y.Earlier, yearOf(fmt.Sprint(2014+i), 20, 38, float64(2*i), 28))
			}
		}),
	}
}

func TestYears_EveryMark(t *testing.T) {
	y := sampleYears()
	ms := traced(t, y)
	require.Equal(t, len(y.This.Weeks), countOf(ms, "visit"))
	require.Equal(t, 6, countOf(ms, "year"), "2023 has a gap of five weeks that no line bridges")
	require.Equal(t, 2, countOf(ms, "act"))
	texts := textsOf(ms)
	for _, want := range []string{"2022", "2023", "2024", "2025", "2026", "act at 5", "act at 10", "ISO week", "30", "July", "range of earlier years", "this week", "look again"} {
		require.Contains(t, texts, want)
	}
	// Each earlier name stands right of the plot, those of one height apart.
	l := y.layout()
	for i, n := range l.names {
		require.Greater(t, n.x, l.plot.x1)
		if i > 0 {
			require.GreaterOrEqual(t, n.y-l.names[i-1].y, 14.0-1e-9)
		}
	}
}

// The band is the range of the earlier years in the weeks that three of them
// speak of; worked out here from the two weeks around each.
func TestYears_Band(t *testing.T) {
	y := sampleYears()
	value := func(l YearLine, week int) (float64, bool) {
		before, after := WeekValue{Week: -99}, WeekValue{Week: 99}
		for _, w := range l.Weeks {
			if w.Week <= week && w.Week > before.Week {
				before = w
			}
			if w.Week >= week && w.Week < after.Week {
				after = w
			}
		}
		if before.Week == week {
			return before.Value, true
		}
		if after.Week-before.Week > 3 {
			return 0, false
		}
		t := float64(week-before.Week) / float64(after.Week-before.Week)
		return before.Value*(1-t) + after.Value*t, true
	}
	got := map[int]weekBand{}
	for _, part := range y.band() {
		for _, b := range part {
			got[y.week(b.place)] = b
		}
	}
	for week := 1; week <= 53; week++ {
		low, high, n := math.Inf(1), 0.0, 0
		for _, l := range y.Earlier {
			if v, ok := value(l, week); ok {
				low, high, n = min(low, v), max(high, v), n+1
			}
		}
		b, ok := got[week]
		require.Equal(t, n >= 3, ok, "week %d", week)
		if ok {
			require.InDelta(t, low, b.low, 1e-12)
			require.InDelta(t, high, b.high, 1e-12)
		}
	}
	require.NotEmpty(t, got)
	y.Earlier = y.Earlier[:2]
	require.Empty(t, y.band(), "two years have no band")
}

// Weeks of the south run on over new year; the years are those of ISO 8601.
func TestYears_Weeks(t *testing.T) {
	north, south := Years{AsOf: day("2026-07-20")}, Years{South: true, AsOf: day("2027-02-10")}
	require.Equal(t, []int{0, 26, 52}, []int{north.place(1), north.place(27), north.place(53)})
	require.Equal(t, []int{0, 25, 26, 27, 52}, []int{south.place(27), south.place(52), south.place(53), south.place(1), south.place(26)})
	for p := range 53 {
		require.Equal(t, p, north.place(north.week(p)))
		require.Equal(t, p, south.place(south.week(p)))
	}
	for _, y := range []Years{north, south, {AsOf: day("2021-01-02")}, {South: true, AsOf: day("2025-08-01")}, {South: true, AsOf: day("2026-01-05")}} {
		for p := range 53 {
			d := y.monday(p)
			_, w := d.ISOWeek()
			require.Equal(t, 1, int(d.Weekday()))
			if y.week(p) == 53 && w == 1 {
				continue // a year of 52 weeks
			}
			require.Equal(t, y.week(p), w, "place %d of the season of %s", p, y.AsOf)
		}
		_, now := y.AsOf.ISOWeek()
		require.InDelta(t, 3, y.AsOf.Sub(y.monday(y.place(now))), 3, "the day lies in its week")
	}
}

func TestYears_Words(t *testing.T) {
	y := sampleYears()
	require.Equal(t, "2026: 8.59 in week 30, within the range of 3 earlier years (5.83 to 8.59); it has not reached the action level. "+
		"In 2 of 4 earlier years it reached the action level in week 25 (from 15 June). Earlier years were highest in weeks 27 to 31.", y.lead())
	y.Earlier[0].Passed, y.Earlier[1].Passed, y.This.Passed, y.Several = 31, 28, 29, true
	require.Contains(t, y.lead(), "the first bed reached the action level in week 29. In 3 of 4 earlier years a bed had reached the action level by week 31 (from 27 July), first in week 25.")
	require.True(t, strings.HasPrefix(y.Alt(), "Now: look again. Look again by Thu 23 Jul: 36 more leaves. Spider mites, bed D5: 2026 against 4 earlier years, spider mites per leaf. "), y.Alt())
	require.Contains(t, y.Alt(), "2025: highest 16.3 in week 27.")
	y.This.Weeks[6].Value = 40
	require.Contains(t, y.lead(), "40 in week 30, above all of 3 earlier years")
	y.This.Weeks[6].Value = 0.1
	require.Contains(t, y.lead(), "0.1 in week 30, below all of 3 earlier years")
	for i := range y.Earlier {
		y.Earlier[i].Passed = 0
	}
	require.Contains(t, y.lead(), "In none of 4 earlier years did a bed reach the action level.")
	y.Earlier = nil
	require.Contains(t, y.lead(), "No earlier year was counted.")
	y.This.Weeks = nil
	require.Contains(t, y.lead(), "Not counted in 2026 so far.")
}

func TestYears_Errors(t *testing.T) {
	for name, c := range map[string]struct {
		change func(y *Years)
		is     error
	}{
		"nothing":       {func(y *Years) { *y = Years{Pest: "slugs"} }, ErrNoData},
		"week 0":        {func(y *Years) { y.This.Weeks[0].Week = 0 }, ErrValue},
		"week 54":       {func(y *Years) { y.Earlier[0].Weeks[0].Week = 54 }, ErrValue},
		"week twice":    {func(y *Years) { y.This.Weeks[0].Week = y.This.Weeks[1].Week }, ErrValue},
		"not a number":  {func(y *Years) { y.This.Weeks[0].Value = math.NaN() }, ErrValue},
		"below 0":       {func(y *Years) { y.This.Weeks[0].Value = -1 }, ErrValue},
		"over 100 %":    {func(y *Years) { y.Percent = true; y.This.Weeks[0].Value = 101 }, ErrValue},
		"passed in 60":  {func(y *Years) { y.This.Passed = 60 }, ErrValue},
		"level back":    {func(y *Years) { y.Act[0].From, y.Act[0].To = 30, 29 }, ErrValue},
		"level nowhere": {func(y *Years) { y.Act[0].From = 0 }, ErrValue},
		"too many":      {func(y *Years) { y.Earlier = make([]YearLine, 13) }, ErrValue},
		"scale":         {func(y *Years) { y.Scale = "cube" }, ErrValue},
	} {
		y := sampleYears()
		c.change(&y)
		require.ErrorIs(t, y.Check(), c.is, name)
		require.ErrorIs(t, y.Draw(nil), c.is, name)
	}
}

func TestYears_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y := Years{Pest: "pest", South: rapid.Bool().Draw(t, "south"), Scale: rapid.SampledFrom([]Scale{Linear, Sqrt, Log1p}).Draw(t, "scale"),
			AsOf: civil.New(2026, 1, 1).AddDays(rapid.IntRange(0, 800).Draw(t, "as of"))}
		line := func(name string, least int) YearLine {
			l := YearLine{Name: name, Compared: rapid.Bool().Draw(t, "compared"), Passed: rapid.IntRange(0, 53).Draw(t, "passed")}
			for _, w := range rapid.SliceOfNDistinct(rapid.IntRange(1, 53), least, 20, rapid.ID[int]).Draw(t, "weeks") {
				l.Weeks = append(l.Weeks, WeekValue{w, rapid.Float64Range(0, 300).Draw(t, "value")})
			}
			return l
		}
		y.This = line("now", 1)
		for i := range rapid.IntRange(0, 12).Draw(t, "years") {
			y.Earlier = append(y.Earlier, line(fmt.Sprint(2010+i), 0))
		}
		if rapid.Bool().Draw(t, "level") {
			y.Act = []WeekLevel{{y.week(rapid.IntRange(0, 20).Draw(t, "from")), y.week(rapid.IntRange(20, 52).Draw(t, "to")), rapid.Float64Range(0, 400).Draw(t, "act")}}
		}
		require.NoError(t, y.Check())
		ms := requireApart(t, y)
		require.Equal(t, len(y.This.Weeks), countOf(ms, "visit"))
		l := y.layout()
		for _, m := range kindOf(ms, "visit") {
			x, at := (m.box.x0+m.box.x1)/2, (m.box.y0+m.box.y1)/2
			require.True(t, x > l.plot.x0 && x < l.plot.x1 && at >= l.plot.y0-1e-6 && at <= l.plot.y1+1e-6)
		}
		require.NotEmpty(t, y.Alt())
	})
}

// Each earlier year's name has a sample of its line; a leader only where the
// line ends near by, so that lines that end together have no tangle.
func TestYears_Samples(t *testing.T) {
	y := yearEdges()["twelve years"].(Years)
	samples := kindOf(requireApart(t, y), "sample")
	require.Len(t, samples, len(y.Earlier))
	s := y.layout()
	far := 0
	for i, n := range s.names {
		require.Equal(t, n.word, samples[i].text)
		require.Greater(t, samples[i].box.w(), 10.0)
		require.Greater(t, samples[i].box.x0, s.plot.x1)
		require.Less(t, samples[i].box.x1, n.x)
		far += b2i(math.Abs(n.y-n.end.y) > yearsFar)
	}
	require.Positive(t, far, "some have no leader")
	b := string(write(t, y, "svg"))
	count := 0
	for i := range y.Earlier { // the sample has the dash of its line
		if d := yearDashes[i%len(yearDashes)]; d != nil {
			count++
		}
	}
	require.GreaterOrEqual(t, strings.Count(b, "stroke-width:1.2;stroke-dasharray"), 2*count)
}

// A season without a week 53 has none on its axis.
func TestYears_Week53(t *testing.T) {
	y := Years{Pest: "mites", Where: "bed D5", South: true, AsOf: day("2026-01-12"), This: YearLine{Name: "2025/26", Weeks: []WeekValue{{50, 1}, {52, 2}, {1, 3}, {2, 4}}}}
	require.NotContains(t, textsOf(requireApart(t, y)), "53")
	y.Earlier = []YearLine{{Name: "2020/21", Weeks: []WeekValue{{52, 1}, {53, 2}, {1, 1}}}}
	require.Contains(t, textsOf(requireApart(t, y)), "53")
}
