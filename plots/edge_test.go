package plots

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
)

var long = "the very long bed behind the old glasshouse that nobody remembers the number of "

// edgeFigures are figures at the limits of what can be drawn.
func edgeFigures() map[string]Figure {
	one := Visit{Date: day("2026-07-13"), Mean: 2}
	zeros := season(3, day("2026-05-04"), 8, 6, 1, func(int) float64 { return 0 })
	wide := season(3, day("2026-05-04"), 8, 6, 1, func(int) float64 { return 2 })
	wide[2].Interval = &Range{0, 9000}
	bad := slices.Clone(zeros)
	for i := range bad {
		bad[i].Invalid = "rain"
	}
	fig := func(p Panel) Pressure {
		return Pressure{Pest: "slugs", Measure: "slugs per trap", AsOf: day("2026-07-20"), Source: "boards", Panels: []Panel{p}}
	}
	longBed := samplePanel(strings.Repeat(long, 3), 4, 8)
	for i := range longBed.Act {
		longBed.Act[i].Label = strings.Repeat(long, 4)
	}
	for i := range 12 {
		longBed.Treatments = append(longBed.Treatments, Event{day("2026-05-04").AddDays(9 * i), fmt.Sprint(i, long, long)})
	}
	longBed.Stages = []StageSpan{{From: day("2026-05-04"), Label: long}, {From: day("2026-05-06"), Label: long}, {From: day("2026-05-15"), Label: long}}
	longFig := fig(longBed)
	longFig.Pest, longFig.Measure, longFig.Source = strings.Repeat(long, 3), long+long, strings.Repeat(long, 9)
	longFig.Panels = append(longFig.Panels, Panel{Bed: "Z9"})

	o := sampleOverview(6)
	o.Column = "block"
	for i := range o.Columns {
		o.Columns[i] = fmt.Sprint(i, long, long)
	}
	for i := range o.Rows {
		o.Rows[i].Pest, o.Rows[i].Measure = fmt.Sprint("pest ", i, long), long+long
	}
	o.Rows[0].Cells[0].Verdict = "no level is known for this pest on this crop"

	v := 0.5
	tiny := FieldMap{Beds: []MapBed{{Code: "A1", EastM: 100, NorthM: 100, Over: &v, Act: true}, {Code: "A2", X: 101, EastM: 0.3, NorthM: 0.3, Over: &v}}}
	longMap := sampleMap()
	for i := range longMap.Beds {
		longMap.Beds[i].Code = fmt.Sprint(i, long)
		longMap.NoPlace = append(longMap.NoPlace, fmt.Sprint(i, long))
	}
	grid := FieldMap{Pest: "thrips"}
	for i := range 200 {
		c := float64(i) / 199
		grid.Beds = append(grid.Beds, MapBed{Code: fmt.Sprintf("K%d", i+1), X: float64(i%20) * 2, Y: float64(i/20) * 6, EastM: 1.2, NorthM: 5, Over: &c, Act: i > 180})
	}
	leap := one
	leap.Date = day("2028-02-29")
	out := map[string]Figure{
		"one visit":          fig(Panel{Bed: "A1", Visits: []Visit{one}}),
		"leap day":           fig(Panel{Bed: "A1", Visits: []Visit{leap}}),
		"zero without range": fig(Panel{Bed: "A1", Visits: []Visit{{Date: one.Date}}}),
		"all zeros":          fig(Panel{Bed: "A1", Visits: zeros, Act: []Segment{{Value: 0}}}),
		"none valid":         fig(Panel{Bed: "A1", Visits: bad}),
		"wide interval":      fig(Panel{Bed: "A1", Visits: wide}),
		"year wrap":          fig(Panel{Bed: "A1", Visits: season(4, day("2026-11-02"), 16, 5, 1, wave(4, 6, 5))}),
		"a whole year":       fig(Panel{Bed: "A1", Visits: season(4, day("2025-05-27"), 54, 5, 1, wave(4, 6, 5))}),
		"long names":         longFig,
		"long overview":      o,
		"tiny bed":           tiny,
		"long map":           longMap,
		"200 beds map":       grid,
		"a single bed map":   FieldMap{Pest: "slugs", Beds: []MapBed{{Code: "A1", EastM: 1.2, NorthM: 20, Over: &v}}},
		"one cell":           Overview{Columns: []string{"A1"}, Rows: []Row{{Pest: "slugs", Cells: []Cell{{Visits: []Visit{one}}}}}},
	}
	longPaper, longPacked := longFig, o
	longPaper.Wide, longPacked.Wide = paperWide, paperWide
	longPacked.Uncounted = []string{long, long}
	out["long names on paper"], out["long packed"] = longPaper, longPacked.Packed()[0]
	maps.Copy(out, coverEdges())
	maps.Copy(out, bloomEdges())
	maps.Copy(out, fanEdges())
	maps.Copy(out, sumEdges())
	maps.Copy(out, workedEdges())
	maps.Copy(out, planEdges())
	maps.Copy(out, seasonEdges())
	maps.Copy(out, yearEdges())
	return out
}

func TestEdges_Draw(t *testing.T) {
	for name, fig := range edgeFigures() {
		svg := string(write(t, fig, "svg"))
		require.NotContains(t, svg, "NaN", name)
		require.NotContains(t, svg, "Inf", name)
		require.NotEmpty(t, fig.Alt(), name)
	}
	e := edgeFigures()
	require.Equal(t, 1, countOf(traced(t, e["wide interval"]), "cut"))
	require.Contains(t, strings.Join(textsOf(traced(t, e["wide interval"])), " "), "the interval goes on")
	require.Zero(t, countOf(traced(t, e["one visit"]), "ribbon"), "one visit has no ribbon")
	require.Contains(t, textsOf(traced(t, e["long names"])), "not counted", "a bed without visits")
	require.Contains(t, strings.Join(textsOf(traced(t, e["tiny bed"])), " "), "Too small to label: A2 50 %")
	year := textsOf(traced(t, e["a whole year"]))
	require.Contains(t, year, "June 2025", "the year with the first month that has room for it")
	require.Contains(t, year, "Jan 2026")
	require.Contains(t, e["none valid"].Alt(), "No visit was valid.")
	require.Contains(t, e["all zeros"].Alt(), "None was found on any valid visit. Below the action level on every valid visit: bed A1.")
}

func TestOverview_200BedsPaged(t *testing.T) {
	o := sampleOverview(200)
	require.ErrorIs(t, o.Check(), ErrTooMany)
	pages := o.Pages()
	require.Len(t, pages, 17)
	var cols []string
	visits := 0
	axis := pages[0].span()
	for i, p := range pages {
		require.NoError(t, p.Check())
		require.LessOrEqual(t, len(p.Columns), 12)
		cols = append(cols, p.Columns...)
		require.Equal(t, axis, p.span(), "the same dates on each page")
		require.Equal(t, pages[0].reaches(), p.reaches(), "the same scale on each page")
		ms := traced(t, p)
		visits += countOf(ms, "visit") + countOf(ms, "invalid")
		require.Contains(t, strings.Join(textsOf(ms), " "), fmt.Sprintf("page %d of 17: beds %s to", i+1, p.Columns[0]))
	}
	require.Equal(t, o.Columns, cols, "every bed once, in order")
	want := 0
	for _, r := range o.Rows {
		for _, c := range r.Cells {
			want += len(c.Visits)
		}
	}
	require.Equal(t, want, visits)

	o.PerPage = 24
	require.Len(t, o.Pages(), 9)
	require.Len(t, sampleOverview(12).Pages(), 1)
}

// A page does not show rows that have no visit in its beds: it names them, and
// no visit is lost.
func TestOverview_UncountedRows(t *testing.T) {
	o := sampleOverview(24)
	o.PerPage = 12
	for _, r := range o.Rows[1:] {
		for j := range r.Cells[:12] {
			r.Cells[j].Visits = nil
		}
	}
	pages := o.Pages()
	require.Len(t, pages, 2)
	require.Len(t, pages[0].Rows, 1)
	require.Len(t, pages[1].Rows, len(o.Rows))
	require.Equal(t, o.reaches()[:1], pages[0].reaches(), "the scale of its own row")
	var names []string
	for _, r := range o.Rows[1:] {
		names = append(names, r.Pest)
	}
	words := "Not counted in these beds: " + strings.Join(names, ", ") + "."
	require.Contains(t, strings.Join(textsOf(traced(t, pages[0])), " "), words)
	require.Contains(t, pages[0].Alt(), words)
	require.NotContains(t, pages[1].Alt(), "in these beds")

	for _, r := range o.Rows {
		for j := range r.Cells[:12] {
			r.Cells[j].Visits = nil
		}
	}
	require.Len(t, o.Pages()[0].Rows, len(o.Rows), "beds without any count are shown as such")
}

func TestPressure_Paged(t *testing.T) {
	p := sampleSingle()
	p.Panels = nil
	for i := range 14 {
		p.Panels = append(p.Panels, samplePanel(fmt.Sprint("B", i), uint64(i), float64(2+3*i)))
	}
	p.Panels[13].Visits = nil
	pages := p.Pages()
	require.Len(t, pages, 3)
	for _, q := range pages {
		require.NoError(t, q.Check())
		require.Equal(t, pages[0].layout().axis, q.layout().axis)
		require.Equal(t, p.yReach(), q.yReach())
	}
}

func TestAlt(t *testing.T) {
	v := func(d string, m float64) Visit { return Visit{Date: day(d), Mean: m} }
	wet := v("2026-07-06", 30)
	wet.Invalid = "rain in the night"
	p := Pressure{Pest: "slugs", Measure: "slugs per trap", Panels: []Panel{
		{Bed: "B3", Visits: []Visit{v("2026-07-13", 12.4), v("2026-06-29", 6.1), wet}, Act: []Segment{{Value: 5}}},
		{Bed: "B1", Visits: []Visit{v("2026-06-29", 1)}, Act: []Segment{{Value: 5}}},
		{Bed: "C1", Visits: []Visit{v("2026-06-29", 7)}, Act: []Segment{{From: day("2026-07-01"), Value: 5}},
			Treatments: []Event{{day("2026-07-02"), "bait"}}},
		{Bed: "C2"},
	}}
	require.Equal(t, "Slugs by bed – slugs per trap: 5 visits from 29 June to 13 July 2026. "+
		"Highest mean: bed B3, 12.4 on 13 July. "+
		"First at or above the action level: bed B3 on 29 June (6.1 against 5). "+
		"Below it on every valid visit: bed B1. Not compared with an action level: bed C1. "+
		"Not valid and left out: bed B3 on 6 July (rain in the night). Not counted: bed C2. "+
		"Treated C1 on 2 July (bait).", p.Alt())

	hi, lo := 0.92, 0.1
	m := FieldMap{Pest: "slugs", Level: "5 slugs per trap", AsOf: day("2026-07-13"), Beds: []MapBed{
		{Code: "A1", EastM: 1, NorthM: 9, Over: &lo}, {Code: "A2", X: 2, EastM: 1, NorthM: 9, Over: &hi, Act: true}, {Code: "A3", X: 4, EastM: 1, NorthM: 9}}}
	require.Equal(t, "Where slugs may be over the action level on 13 July 2026: map of 3 beds, shaded by that chance. "+
		"Action level: 5 slugs per trap. Highest: bed A2, 92 %. Act: bed A2. Not counted: bed A3.", m.Alt())

	o := Overview{Columns: []string{"B1", "B3"}, Rows: []Row{
		{Pest: "slugs", Cells: []Cell{{Visits: p.Panels[1].Visits, Verdict: Hold}, {Visits: p.Panels[0].Visits, Verdict: Act}}},
		{Pest: "thrips", Cells: []Cell{{}, {Visits: []Visit{v("2026-07-13", 0)}, Verdict: LookAgain}}}}}
	require.Equal(t, "Season overview: 2 pests in 2 beds from 29 June to 13 July 2026. Act: slugs in B3. Look again: thrips in B3. Hold: slugs in B1. "+
		"Highest mean of slugs: 12.4 in B3 on 13 July; thrips: none found. Not counted: 1 of 4 cells.", o.Alt())
}

func TestCaller_NotModified(t *testing.T) {
	p := sampleSeveral()
	slices.Reverse(p.Panels[0].Visits)
	p.Panels[0].Stages = slices.Clone(stages) // the samples share it
	slices.Reverse(p.Panels[0].Stages)
	before := fmt.Sprintf("%+v", p)
	write(t, p, "svg")
	_ = p.Alt()
	require.Equal(t, before, fmt.Sprintf("%+v", p))
}

func TestNumber(t *testing.T) {
	for _, c := range []struct {
		v    float64
		want string
	}{{0, "0"}, {12.44, "12.4"}, {0.346, "0.35"}, {0.05, "0.05"}, {0.0049, "0.005"}, {0.0001, "<0.001"}, {120.4, "120"}, {99.96, "100"}, {1200, "1200"}, {5, "5"}, {2.5, "2.5"}} {
		require.Equal(t, c.want, number(c.v))
	}
	for _, c := range []struct {
		v    float64
		want string
	}{{0, "0 %"}, {0.004, "<1 %"}, {0.55, "55 %"}, {0.997, ">99 %"}, {1, "100 %"}} {
		require.Equal(t, c.want, percent(c.v))
	}
}

func TestXAxis(t *testing.T) {
	a := xAxis{day("2026-05-02"), day("2026-06-30"), 0, 590}
	var got []string
	for _, d := range a.mondays() {
		got = append(got, d.String())
	}
	// 4 May 2026 is a Monday (ISO 8601 week 2026-W19).
	require.Equal(t, []string{"2026-05-04", "2026-05-11", "2026-05-18", "2026-05-25", "2026-06-01", "2026-06-08", "2026-06-15", "2026-06-22", "2026-06-29"}, got)
	require.Equal(t, 10.0, a.x(day("2026-05-03")))
	require.Equal(t, []civil.Date{day("2026-05-02"), day("2026-06-01")}, a.months())
}

// Ticks lie on the axis, apart, and the axis shows what it must.
func TestYAxis_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom([]Scale{Linear, Sqrt, Log1p}).Draw(t, "scale")
		reach := math.Pow(10, rapid.Float64Range(-2, 5).Draw(t, "log reach"))
		a := newYAxis(s, reach, false, 0, rapid.Float64Range(40, 400).Draw(t, "height"))
		require.GreaterOrEqual(t, a.max, reach)
		require.LessOrEqual(t, a.max, 2.1*reach)
		require.InDelta(t, a.bottom, a.y(0), 1e-9)
		require.InDelta(t, a.top, a.y(a.max), 1e-9)
		ticks := a.ticks(13)
		require.Contains(t, ticks, 0.0)
		require.GreaterOrEqual(t, len(ticks), 2)
		for i, v := range ticks {
			require.True(t, v >= 0 && v <= a.max*1.001, "%v", v)
			for _, w := range ticks[:i] {
				require.GreaterOrEqual(t, math.Abs(a.y(v)-a.y(w)), 12.0)
			}
		}
		v, w := rapid.Float64Range(0, reach).Draw(t, "v"), rapid.Float64Range(0, reach).Draw(t, "w")
		if w > v+1e-6*reach {
			require.Less(t, a.y(w), a.y(v), "more is higher")
		}
	})
}

// Whatever is accepted can be drawn: one mark per visit, no words off the
// sheet, no number that is none.
func TestPressure_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := Pressure{Pest: "pest", Measure: "per trap", Scale: rapid.SampledFrom([]Scale{Linear, Sqrt, Log1p}).Draw(t, "scale")}
		date := rapid.Custom(func(t *rapid.T) civil.Date {
			return day("2026-04-01").AddDays(rapid.IntRange(0, 200).Draw(t, "day"))
		})
		visits := 0
		for range rapid.IntRange(1, 4).Draw(t, "beds") {
			b := Panel{Bed: rapid.StringN(0, 20, -1).Draw(t, "bed")}
			for range rapid.IntRange(0, 12).Draw(t, "visits") {
				m := rapid.Float64Range(0, 500).Draw(t, "mean")
				v := Visit{Date: date.Draw(t, "date"), Mean: m, Counts: rapid.SliceOfN(rapid.IntRange(0, 900), 0, 5).Draw(t, "counts")}
				if rapid.Bool().Draw(t, "interval") {
					v.Interval = &Range{m * 0.5, m * rapid.Float64Range(1, 50).Draw(t, "up")}
				}
				if rapid.IntRange(0, 4).Draw(t, "invalid") == 0 {
					v.Invalid = "wet"
				}
				b.Visits = append(b.Visits, v)
				visits++
			}
			for range rapid.IntRange(0, 4).Draw(t, "events") {
				b.Treatments = append(b.Treatments, Event{date.Draw(t, "date"), rapid.StringN(0, 60, -1).Draw(t, "label")})
				b.Releases = append(b.Releases, Event{date.Draw(t, "date"), "agent"})
			}
			from := date.Draw(t, "from")
			b.Act = []Segment{{From: from, Value: rapid.Float64Range(0, 600).Draw(t, "act")}, {To: from.AddDays(-1), Value: 3, Label: "before"}}
			p.Panels = append(p.Panels, b)
		}
		if visits == 0 {
			require.ErrorIs(t, p.Check(), ErrNoData)
			return
		}
		require.NoError(t, p.Check())
		var ms []mark
		w, h := p.Size()
		g := newPen(&nullCanvas{}, p)
		g.trace = &ms
		p.draw(g)
		require.Equal(t, visits, countOf(ms, "visit")+countOf(ms, "invalid"))
		requireInside(t, ms, w, h)
	})
}

// What to do next is never cut: it goes on below, on paper too, and nothing
// stands on it.
func TestPressure_LongNext(t *testing.T) {
	next := "Look again by Sun 25 Oct: 25 more refuge traps would probably settle it. By Sun 25 Oct: lift boards every morning and remove the slugs under them."
	for _, wide := range []float64{0, 560} {
		p := Pressure{Pest: "slugs", Measure: "slugs per trap", Wide: wide, AsOf: day("2026-07-20")}
		for _, bed := range []string{"A1", "A2"} {
			p.Panels = append(p.Panels, Panel{Bed: bed, Verdict: LookAgain, Next: next, Visits: []Visit{{Date: day("2026-07-06"), Mean: 2}, {Date: day("2026-07-13"), Mean: 3}}})
		}
		words := strings.Join(textsOf(requireApart(t, p)), " ")
		require.Equal(t, 2, strings.Count(words, next), words)
	}
}
