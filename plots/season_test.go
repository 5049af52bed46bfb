package plots

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
)

func num(v float64) *float64 { return &v }

// sampleWeather is invented: days from first on, some without a record.
func sampleWeather(first civil.Date, days int) []WeatherDay {
	var out []WeatherDay
	for i := range days {
		w := WeatherDay{Date: first.AddDays(i)}
		swing := math.Sin(float64(i)*0.7) * 3
		if i%31 < 27 {
			w.Min, w.Max = num(8+swing), num(19+2*swing)
		}
		if i%23 != 5 {
			w.Rain = num(max(0, 4*math.Sin(float64(i)*1.9)*math.Sin(float64(i)*0.23)))
		}
		out = append(out, w)
	}
	return out
}

// band is a belief that is drawn together at each visit and widens after it.
func band(visits []Visit, until civil.Date) []Likely {
	var out []Likely
	for i, v := range visits {
		end := until
		if i+1 < len(visits) {
			end = visits[i+1].Date
		}
		for d := v.Date; !d.After(end); d = d.AddDays(1) {
			wide := 1 + 0.12*float64(d.Sub(v.Date))
			out = append(out, Likely{d, v.Mean * 0.7 / wide, (v.Mean*1.3 + 0.2) * wide})
		}
	}
	return out
}

func sampleSeason() Season {
	b := samplePanel("B3", 1, 9)
	b.Visits = b.Visits[:12]
	at := time.Date(2026, 7, 21, 20, 30, 0, 0, time.UTC)
	s := Season{
		Pest: "slugs", Bed: "B3", Measure: "slugs per trap", Scale: Sqrt, AsOf: day("2026-07-22"), Source: "board traps read at dawn, 10 per bed (invented data)",
		Visits: b.Visits, Act: b.Act, Watch: b.Watch, Stages: b.Stages,
		Treatments: []Event{{day("2026-06-03"), "iron phosphate bait"}, {day("2026-07-21"), "iron phosphate bait"}},
		Releases:   []Event{{day("2026-06-12"), "nematodes"}},
		Steps:      []Event{{day("2026-05-20"), "board check"}, {day("2026-06-17"), "board check"}, {day("2026-07-08"), "morning water"}},
		Closed:     []Closure{{at, at.Add(36 * time.Hour)}},
		Weather:    sampleWeather(day("2026-04-28"), 86),
		Verdict:    LookAgain, Due: day("2026-07-27"),
		Next: "Look again by Mon 27 Jul: 12 more traps would probably settle it. Keep out until Thu 23 Jul 08:30 (re-entry).",
	}
	for i := range 5 {
		w := sampleWeather(day("2026-07-23"), 5)[i]
		w.Forecast = true
		s.Weather = append(s.Weather, w)
	}
	s.Likely = band(s.Visits, s.AsOf)
	return s
}

// seasonEdges are seasons at the limits of what can be drawn.
func seasonEdges() map[string]Figure {
	with := func(change func(s *Season)) Season {
		s := sampleSeason()
		change(&s)
		return s
	}
	return map[string]Figure{
		"season without weather": with(func(s *Season) { s.Weather = nil }),
		"season of one visit": with(func(s *Season) {
			*s = Season{Pest: "slugs", Bed: "A1", Visits: []Visit{{Date: day("2026-07-13"), Mean: 2, Counts: []int{1, 3}}}}
		}),
		"season of zeros": with(func(s *Season) {
			s.Visits = season(3, day("2026-05-04"), 8, 6, 1, func(int) float64 { return 0 })
			s.Likely, s.Act, s.Watch = []Likely{{day("2026-05-04"), 0, 0.4}, {day("2026-05-11"), 0, 1.2}, {day("2026-05-11"), 0, 0.2}}, nil, nil
		}),
		"season beyond the axis": with(func(s *Season) {
			for i := range s.Likely {
				s.Likely[i].High *= 900
			}
			s.Visits[3].Interval.High = 1e6
		}),
		"season of 200 units a visit": with(func(s *Season) {
			s.Visits = season(5, day("2026-05-04"), 11, 200, 0.5, wave(6, 6, 3))
			s.Likely = band(s.Visits, s.AsOf)
		}),
		"season in US units": with(func(s *Season) {
			s.TempUnit, s.RainUnit = "°F", "in"
			for i := range s.Weather {
				w := &s.Weather[i]
				if w.Min != nil {
					w.Min, w.Max = num(*w.Min*1.8+32), num(*w.Max*1.8+32)
				}
				if w.Rain != nil {
					w.Rain = num(*w.Rain / 25.4)
				}
			}
		}),
		"season in frost": with(func(s *Season) {
			for i := range s.Weather {
				if w := &s.Weather[i]; w.Min != nil {
					w.Min, w.Max, w.Rain = num(*w.Min-20), num(*w.Max-20), num(0)
				}
			}
		}),
		"season over new year": with(func(s *Season) {
			s.Visits = season(4, day("2026-11-02"), 16, 5, 1, wave(4, 6, 5))
			s.Likely = band(s.Visits, day("2027-02-20"))
			s.AsOf, s.Due, s.Stages, s.Treatments, s.Releases, s.Steps, s.Closed = day("2027-02-20"), day("2027-02-27"), nil, nil, nil, nil, nil
			s.Weather = sampleWeather(day("2026-11-20"), 60)
		}),
		"season of long names": with(func(s *Season) {
			s.Pest, s.Bed, s.Measure, s.Source, s.Next, s.Verdict = long+long, long, long+long, strings.Repeat(long, 9), strings.Repeat(long, 9), Verdict(long)
			for i := range 14 {
				s.Steps = append(s.Steps, Event{day("2026-05-04").AddDays(5 * i), fmt.Sprint(i, long)})
				s.Treatments = append(s.Treatments, Event{day("2026-05-05").AddDays(5 * i), fmt.Sprint(i, long)})
			}
		}),
		"season of a bed closed until read": with(func(s *Season) { s.Closed = []Closure{{From: time.Date(2026, 7, 21, 9, 0, 0, 0, time.UTC)}} }),
		"season due today":                  with(func(s *Season) { s.Due = s.AsOf }),
		"season of percent": with(func(s *Season) {
			s.Percent, s.Scale, s.Measure, s.Act, s.Watch = true, Linear, "leaves with mites", []Segment{{Value: 30}}, nil
			for i := range s.Visits {
				s.Visits[i].Counts, s.Visits[i].Mean, s.Visits[i].Interval = nil, float64(7*i), &Range{float64(5 * i), float64(9 * i)}
			}
			s.Likely = band(s.Visits, s.AsOf)
		}),
	}
}

// kindOf returns the marks of a kind in the order in which they were drawn.
func kindOf(ms []mark, kind string) (out []mark) {
	for _, m := range ms {
		if m.kind == kind {
			out = append(out, m)
		}
	}
	return out
}

func TestSeason_EveryMark(t *testing.T) {
	s := sampleSeason()
	ms := traced(t, s)
	units, valid, temps, rains := 0, 0, 0, 0
	for _, v := range s.Visits {
		units += len(v.Counts)
		if v.Invalid == "" {
			valid++
		}
	}
	axis := s.layout().axis
	for _, w := range s.Weather {
		if w.Date.Before(axis.from) || !w.Date.Before(axis.to) {
			continue
		}
		if w.Min != nil && w.Max != nil {
			temps++
		}
		if w.Rain != nil && *w.Rain > 0 {
			rains++
		}
	}
	for kind, want := range map[string]int{"unit": units, "visit": valid, "invalid": 1, "likely": 1, "closed": 1, "treatment": 2, "release": 1, "step": 3, "stage": 5, "temp": temps, "rain": rains, "banner": 1, "verdict": 1} {
		require.Equal(t, want, countOf(ms, kind), kind)
	}
	// The dots of a visit are one path of the SVG, a circle for each unit.
	arcs, paths := 0, 0
	for _, e := range readSVG(t, write(t, s, "svg")) {
		if e.style == "fill:#557689" && e.name == "path" {
			arcs, paths = arcs+strings.Count(e.d, "Z"), paths+1
		}
	}
	require.Equal(t, units+1, arcs, "and one in the key")
	require.Equal(t, len(s.Visits)+1, paths)
	// What happened on a day stands above or below its mark.
	for i, m := range kindOf(ms, "rain") {
		found := slices.ContainsFunc(s.Weather, func(w WeatherDay) bool { return math.Abs((m.box.x0+m.box.x1)/2-axis.x(w.Date)) < 1e-6 })
		require.True(t, found || i == 0 && m.box.x0 == axis.left, "%v is about no day", m.box)
	}

	texts := textsOf(ms)
	for _, want := range []string{"Slugs in bed B3 – slugs per trap", "look again", "slugs per trap (square-root scale)", "done: board check", "done: morning water", "treated: iron phosphate bait",
		"act at 3, young plants", "Lowest to highest of the day, °C", "Rain of the day, mm", "today, 22 Jul", "look again by 27 Jul", "Mondays", "bed closed (re-entry, by the label)", "weather forecast"} {
		require.Contains(t, texts, want)
	}
	require.Contains(t, strings.Join(texts, " "), s.Next)
	require.Contains(t, strings.Join(texts, " "), "As of 22 July 2026. Counted: board traps read at dawn")
}

// The bed of the sample is closed from 20:30 on 21 July for 36 hours; what is
// known only by its day stands at noon, so that begins 8.5 hours after the
// mark of the 21st, and a day is as wide as the day between two bars.
func TestSeason_ClosedToTheHour(t *testing.T) {
	s := sampleSeason()
	axis := s.layout().axis
	day1 := axis.x(day("2026-07-22")) - axis.x(day("2026-07-21"))
	r := kindOf(traced(t, s), "closed")[0].box
	require.InDelta(t, axis.x(day("2026-07-21"))+day1*8.5/24, r.x0, 1e-6)
	require.InDelta(t, day1*36/24, r.w(), 1e-6)

	s.Closed = []Closure{{From: time.Date(2026, 7, 21, 12, 0, 0, 0, time.UTC)}}
	r = kindOf(traced(t, s), "closed")[0].box
	require.InDelta(t, axis.x(day("2026-07-21")), r.x0, 1e-6)
	require.InDelta(t, axis.right, r.x1, 1e-6, "closed until somebody reads the label")

	at := time.Date(2026, 7, 1, 8, 0, 0, 0, time.UTC)
	s.Closed = []Closure{{at, at.Add(10 * time.Minute)}}
	require.InDelta(t, 2.5, kindOf(traced(t, s), "closed")[0].box.w(), 1e-6, "a short time is still seen")
}

// Equal counts stand beside each other about their day, apart where there is
// room, and no dot reaches the next visit's.
func TestSeason_Swarm(t *testing.T) {
	s := Season{Pest: "mites", Bed: "A1", Visits: []Visit{
		{Date: day("2026-06-01"), Mean: 1, Counts: []int{0, 4, 0, 0}},
		{Date: day("2026-06-08"), Mean: 0, Counts: slices.Repeat([]int{0}, 200)},
		{Date: day("2026-06-15"), Mean: 0, Counts: slices.Repeat([]int{0}, 200)}}}
	axis := s.layout().axis
	var xs [3][]float64
	for _, m := range kindOf(traced(t, s), "unit") {
		x := (m.box.x0 + m.box.x1) / 2
		near := 0
		for i, v := range s.Visits {
			if math.Abs(x-axis.x(v.Date)) < math.Abs(x-axis.x(s.Visits[near].Date)) {
				near = i
			}
		}
		xs[near] = append(xs[near], x)
	}
	require.Len(t, xs[0], 4)
	slices.Sort(xs[0])
	require.InDelta(t, axis.x(day("2026-06-01")), xs[0][1], 1e-6, "the middle of three zeros")
	require.InDelta(t, axis.x(day("2026-06-01")), xs[0][2], 1e-6, "the four")
	require.Greater(t, xs[0][3]-xs[0][2], 2*dotSize, "they do not touch")
	require.InDelta(t, xs[0][3]-xs[0][2], xs[0][1]-xs[0][0], 1e-6)
	require.Len(t, xs[1], 200)
	require.Less(t, slices.Max(xs[1]), slices.Min(xs[2]))
	require.Equal(t, traced(t, s), traced(t, s), "the same each time")
}

// Days without a record are hatched: the sample lacks temperatures on 4 of 31
// days, rain on one of 23.
func TestSeason_Missing(t *testing.T) {
	s := sampleSeason()
	axis := s.layout().axis
	noTemp, noRain := 0, 0
	for _, w := range s.Weather {
		if !w.Date.Before(axis.from) && !w.Date.After(s.AsOf) {
			noTemp, noRain = noTemp+b2i(w.Min == nil), noRain+b2i(w.Rain == nil)
		}
	}
	days, gotTemp, gotRain := s.known(axis)
	require.Equal(t, []int{noTemp, noRain, s.AsOf.Sub(axis.from) + 1}, []int{gotTemp, gotRain, days})
	hatched := 0.0
	for _, m := range kindOf(traced(t, s), "missing") {
		if m.box.y0 == s.layout().temp.y0 {
			hatched += m.box.w()
		}
	}
	require.InDelta(t, float64(noTemp)*(axis.x(day("2026-07-02"))-axis.x(day("2026-07-01"))), hatched, 1e-6)

	s.Weather = nil
	require.Equal(t, 2, countOf(traced(t, s), "missing"))
	require.Contains(t, textsOf(traced(t, s)), "not recorded")
	require.Contains(t, s.Alt(), "No weather is recorded.")
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

func TestSeason_Alt(t *testing.T) {
	at := time.Date(2026, 7, 6, 20, 30, 0, 0, time.UTC)
	s := Season{
		Pest: "slugs", Bed: "B3", Measure: "slugs per trap", AsOf: day("2026-07-08"), Verdict: LookAgain, Next: "Look again by Fri 10 Jul: 12 more traps.", Due: day("2026-07-10"),
		Visits: []Visit{{Date: day("2026-06-29"), Mean: 6.1}, {Date: day("2026-07-06"), Mean: 4}}, Act: []Segment{{Value: 5}},
		Likely: []Likely{{day("2026-07-06"), 3, 5}, {day("2026-07-08"), 2.5, 6}},
		Steps:  []Event{{day("2026-07-01"), "board check"}}, Treatments: []Event{{day("2026-07-06"), "bait"}},
		Closed:  []Closure{{at, at.Add(4 * time.Hour)}},
		Weather: []WeatherDay{{Date: day("2026-07-06"), Min: num(-1.5), Max: num(20), Rain: num(3)}, {Date: day("2026-07-07"), Rain: num(2)}, {Date: day("2026-07-09"), Min: num(1), Max: num(40), Rain: num(9), Forecast: true}},
		From:    day("2026-07-04"), To: day("2026-07-10"),
	}
	require.Equal(t, "Now: look again. Look again by Fri 10 Jul: 12 more traps. Slugs in bed B3 – slugs per trap: 2 visits from 29 June to 6 July 2026. "+
		"Highest mean: 6.1 on 29 June. First at or above the action level: bed B3 on 29 June (6.1 against 5). Treated B3 on 6 July (bait). "+
		"Likely on 8 July: 2.5 to 6. Done in B3 on 1 July (board check). Closed from 6 July 20:30 to 7 July 00:30. "+
		"Temperatures -1.5 to 20 °C, not recorded on 12 of 13 days. Rain 5 mm in all, not recorded on 11 of 13 days.", s.Alt())
}

func TestSeason_Errors(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		change func(s *Season)
		is     error
	}{
		"nothing counted":  {func(s *Season) { s.Visits = nil }, ErrNoData},
		"belief upside":    {func(s *Season) { s.Likely[3].Low = 1e9 }, ErrValue},
		"belief not known": {func(s *Season) { s.Likely[3].High = nan }, ErrValue},
		"belief back":      {func(s *Season) { s.Likely[3].Date = day("2020-01-01") }, ErrValue},
		"opens too soon":   {func(s *Season) { s.Closed[0].To = s.Closed[0].From.Add(-time.Hour) }, ErrValue},
		"closes never":     {func(s *Season) { s.Closed[0].From = time.Time{} }, ErrValue},
		"cold noon":        {func(s *Season) { s.Weather[0].Min, s.Weather[0].Max = num(9), num(3) }, ErrValue},
		"dry rain":         {func(s *Season) { s.Weather[0].Rain = num(-1) }, ErrValue},
		"no number":        {func(s *Season) { s.Weather[0].Rain = num(nan) }, ErrValue},
		"far due":          {func(s *Season) { s.Due = day("2036-07-01") }, ErrValue},
		"step without day": {func(s *Season) { s.Steps[0].Date = civil.Date{} }, ErrValue},
		"scale":            {func(s *Season) { s.Scale = "cube" }, ErrValue},
	} {
		s := sampleSeason()
		c.change(&s)
		require.ErrorIs(t, s.Check(), c.is, name)
		require.ErrorIs(t, s.Draw(nil), c.is, name)
	}
}

// What is drawn on each other can be told apart in grey.
func TestSeason_Grey(t *testing.T) {
	require.GreaterOrEqual(t, contrast(dot, ribbon), 3.0, "WCAG 1.4.11: marks")
	require.GreaterOrEqual(t, contrast(dot, paper), 3.0)
	require.GreaterOrEqual(t, contrast(series, dot), 1.5, "means on units")
	require.GreaterOrEqual(t, contrast(stepCol, paper), 4.5, "words of steps")
	require.GreaterOrEqual(t, contrast(coldHot, paper), 3.0)
	require.GreaterOrEqual(t, contrast(rainCol, paper), 3.0)
	require.GreaterOrEqual(t, contrast(coldHot, ahead), 1.5, "measured and forecast")
	require.GreaterOrEqual(t, contrast(rainCol, ahead), 1.5)
	require.GreaterOrEqual(t, contrast(treatCol, closedFill), 4.5)
	require.GreaterOrEqual(t, contrast(rangeFill, paper), 1.3)
	require.GreaterOrEqual(t, contrast(series, rangeFill), 4.5)
	require.GreaterOrEqual(t, contrast(actCol, rangeFill), 3.0)
	for i, c := range yearCols {
		require.GreaterOrEqual(t, contrast(c, paper), 4.5, "name of an earlier year %d", i)
		require.GreaterOrEqual(t, contrast(c, rangeFill), 3.0)
		require.Greater(t, luminance(c), luminance(series), "this year is darkest")
	}
}

// requireInside asks that no words leave the sheet.
func requireInside(t require.TestingT, ms []mark, w, h float64) {
	for _, m := range kindOf(ms, "text") {
		require.True(t, m.box.x0 >= 0 && m.box.y0 >= 0 && m.box.x1 <= w && m.box.y1 <= h, "%q at %v leaves %v by %v", m.text, m.box, w, h)
	}
}

// requireWordsApart asks that no words leave the sheet or cover each other.
func requireWordsApart(t require.TestingT, ms []mark, w, h float64) {
	requireInside(t, ms, w, h)
	texts := kindOf(ms, "text")
	for i, m := range texts {
		for _, o := range texts[:i] {
			require.Zero(t, m.box.inset(1).overlap(o.box.inset(1)), "%q and %q", m.text, o.text)
		}
	}
}

// requireApart is requireWordsApart of a figure.
func requireApart(t require.TestingT, fig Figure) []mark {
	ms := traced(t, fig)
	w, h := fig.Size()
	requireWordsApart(t, ms, w, h)
	return ms
}

// requireRefused checks that a figure is refused with an error of a kind that
// says something, and that nothing is written or drawn.
func requireRefused(t *testing.T, name string, fig Figure, is error, says string) {
	t.Helper()
	var out bytes.Buffer
	err := Write(fig, &out, "svg")
	require.ErrorIs(t, err, is, name)
	require.Contains(t, err.Error(), says, name)
	require.Zero(t, out.Len(), name)
	require.ErrorIs(t, fig.Draw(nil), is, name)
}

// requireDrawn draws a figure that is accepted: it has words and leaves the
// caller's values alone. It returns what was drawn, and the size.
func requireDrawn(t require.TestingT, fig Figure) (ms []mark, w, h float64) {
	require.NoError(t, fig.Check())
	before := fmt.Sprintf("%+v", fig)
	w, h = fig.Size()
	ms = traced(t, fig)
	require.NotEmpty(t, fig.Alt())
	require.Equal(t, before, fmt.Sprintf("%+v", fig), "the caller's values are left alone")
	return ms, w, h
}

// Whatever is accepted can be drawn, with its parts on their axes.
func TestSeason_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		date := rapid.Custom(func(t *rapid.T) civil.Date { return day("2026-04-01").AddDays(rapid.IntRange(0, 200).Draw(t, "day")) })
		value := rapid.Float64Range(0, 500)
		s := Season{Pest: "pest", Bed: rapid.StringN(0, 12, -1).Draw(t, "bed"), Scale: rapid.SampledFrom([]Scale{Linear, Sqrt, Log1p}).Draw(t, "scale"), AsOf: date.Draw(t, "as of")}
		units := 0
		for range rapid.IntRange(1, 9).Draw(t, "visits") {
			v := Visit{Date: date.Draw(t, "date"), Mean: value.Draw(t, "mean"), Counts: rapid.SliceOfN(rapid.IntRange(0, 40), 0, 12).Draw(t, "counts")}
			units += len(v.Counts)
			s.Visits = append(s.Visits, v)
			s.Likely = append(s.Likely, Likely{v.Date, v.Mean / 2, v.Mean * rapid.Float64Range(1, 90).Draw(t, "wide")})
		}
		slices.SortFunc(s.Likely, func(a, b Likely) int { return a.Date.Compare(b.Date) })
		for range rapid.IntRange(0, 6).Draw(t, "events") {
			s.Steps = append(s.Steps, Event{date.Draw(t, "step"), rapid.StringN(0, 40, -1).Draw(t, "label")})
			s.Treatments = append(s.Treatments, Event{date.Draw(t, "treated"), "a product"})
			at := date.Draw(t, "closed").Time().Add(time.Duration(rapid.IntRange(0, 1400).Draw(t, "minute")) * time.Minute)
			s.Closed = append(s.Closed, Closure{at, at.Add(time.Duration(rapid.IntRange(0, 99).Draw(t, "hours")) * time.Hour)})
		}
		if rapid.Bool().Draw(t, "due") {
			s.Due, s.Verdict, s.Next = date.Draw(t, "due day"), Verdict(rapid.SampledFrom([]string{"act", "hold", "stale", "look again"}).Draw(t, "verdict")), rapid.StringN(0, 300, -1).Draw(t, "next")
		}
		for range rapid.IntRange(0, 30).Draw(t, "days") {
			low := rapid.Float64Range(-40, 40).Draw(t, "low")
			s.Weather = append(s.Weather, WeatherDay{Date: date.Draw(t, "weather"), Min: &low, Max: num(low + rapid.Float64Range(0, 30).Draw(t, "range")), Rain: num(rapid.Float64Range(0, 90).Draw(t, "rain")), Forecast: rapid.Bool().Draw(t, "forecast")})
		}
		require.NoError(t, s.Check())
		ms := requireApart(t, s)
		l := s.layout()
		require.Equal(t, units, countOf(ms, "unit"))
		for _, m := range ms {
			switch m.kind {
			case "temp", "rain":
				box := map[string]rect{"temp": l.temp, "rain": l.rain}[m.kind]
				require.True(t, m.box.y0 >= box.y0-1e-6 && m.box.y1 <= box.y1+1.001 && m.box.x0 >= box.x0 && m.box.x1 <= box.x1+1e-6, "%s at %v in %v", m.kind, m.box, box)
			case "closed":
				require.True(t, m.box.x0 >= l.plot.x0 && m.box.x0 <= l.plot.x1, "%v", m.box)
			}
		}
	})
}
