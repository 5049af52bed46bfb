package phenology_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/climate"
	"leafturn/internal/degreeday"
	"leafturn/internal/growth"
	"leafturn/internal/phenology"
	"leafturn/internal/testkit"
)

func day(s string) civil.Date { return civil.MustParse(s) }

func over(base float64) degreeday.Model {
	return degreeday.Model{Method: degreeday.SingleSine, Lower: base, Upper: math.Inf(1)}
}

// flat is a row of days at one temperature.
func flat(t *testing.T, first, last string, temp float64) climate.Series {
	t.Helper()
	var days []climate.Day
	for d := day(first); !d.After(day(last)); d = d.AddDays(1) {
		days = append(days, climate.Day{Date: d, Min: temp, Max: temp, Kind: climate.Measured})
	}
	s, err := climate.Lay(day(first), day(last), days)
	require.NoError(t, err)
	return s
}

func seattle(t *testing.T) (out []climate.Day) {
	for _, d := range testkit.Seattle(t) {
		out = append(out, climate.Day{Date: day(d.Date), Min: d.Low, Max: d.High, Kind: climate.Measured})
	}
	return out
}

// At one temperature the days are those of growth.Requirement, rounded up to
// the day in which the sum is reached.
func TestRun_AgainstConstantTemperature(t *testing.T) {
	for _, x := range []struct {
		name           string
		base, dd, temp float64
	}{
		{"mites, fluctuating (Bayu et al. 2017)", 8.63, 150.69, 18},
		{"thrips (Katayama 1997)", 9.5, 194, 20},
		{"green peach aphid (Kim et al. 2012), DYN-22", 3.0, 111.1, 14.6},
		{"green peach aphid (Kim et al. 2012), DYN-22", 3.0, 111.1, 26.7},
	} {
		days, ok := growth.Requirement{Base: x.base, DD: x.dd}.Days(x.temp)
		require.True(t, ok)
		c := phenology.Clock{Start: day("2026-05-01"), Stages: []phenology.Stage{{Model: over(x.base), DD: x.dd, Low: 0.7, High: 1.5}}}
		r, err := c.Run(flat(t, "2026-05-01", "2026-07-31", x.temp), nil, day("2026-05-01"))
		require.NoError(t, err)
		require.Equal(t, day("2026-05-01").AddDays(int(math.Ceil(days))-1), r[0].Expected.Date, x.name)
		require.Equal(t, day("2026-05-01").AddDays(int(math.Ceil(0.7*days))-1), r[0].Earliest.Date, x.name)
		require.Equal(t, day("2026-05-01").AddDays(int(math.Ceil(1.5*days))-1), r[0].Latest.Date, x.name)
		require.Equal(t, climate.Measured, r[0].Expected.Kind)
		require.InDelta(t, x.temp-x.base, r[0].Sum, 1e-9)
		require.InDelta(t, (x.temp-x.base)/x.dd, r[0].Progress, 1e-9)
	}
}

// DYN-14: the three stages of Aphidoletes (Havelka 1980) take about as long as
// the whole: 20.37 and 20.3 days at 20 °C; each stage is rounded up to a day.
func TestRun_Chain(t *testing.T) {
	c := phenology.Clock{Start: day("2026-05-01"), Stages: []phenology.Stage{
		{over(10.1), 25, 0.7, 1.5}, {over(4.3), 110.9, 0.7, 1.5}, {over(5.7), 154.1, 0.7, 1.5}}}
	r, err := c.Run(flat(t, "2026-05-01", "2026-06-30", 20), nil, day("2026-05-05"))
	require.NoError(t, err)
	require.Equal(t, []civil.Date{day("2026-05-03"), day("2026-05-11"), day("2026-05-22")}, []civil.Date{r[0].Expected.Date, r[1].Expected.Date, r[2].Expected.Date})
	require.InDelta(t, 1, r[0].Progress, 0)
	require.InDelta(t, 2*15.7/110.9, r[1].Progress, 1e-9)
	require.Zero(t, r[2].Progress, "the pupa has not begun")
}

func TestRun_Gap(t *testing.T) {
	s := flat(t, "2026-05-01", "2026-07-31", 20)
	var days []climate.Day
	for _, d := range s.Days() {
		if d.Date != day("2026-05-10") {
			days = append(days, d)
		}
	}
	s, err := climate.Lay(day("2026-05-01"), day("2026-07-31"), days)
	require.NoError(t, err)
	two := phenology.Clock{Start: day("2026-05-01"), Stages: []phenology.Stage{{over(10), 50, 1, 1}, {over(10), 80, 1, 1}, {over(10), 10, 1, 1}}}
	r, err := two.Run(s, nil, day("2026-05-20"))
	require.NoError(t, err)
	require.Equal(t, day("2026-05-05"), r[0].Expected.Date, "before the missing day all is well")
	for _, x := range r[1:] {
		require.False(t, x.Expected.Reached())
		require.False(t, x.Earliest.Reached())
		require.Equal(t, day("2026-05-10"), x.Expected.Gap)
		require.True(t, math.IsNaN(x.Progress))
	}
	r, err = two.Run(s.Fill(), nil, day("2026-05-20"))
	require.NoError(t, err)
	require.Equal(t, day("2026-05-13"), r[1].Expected.Date)
}

// The season that does not reach a stage gives no date and no gap.
func TestRun_NotReached(t *testing.T) {
	c := phenology.Clock{Start: day("2026-05-01"), Stages: []phenology.Stage{{over(10), 400, 0.7, 1.5}, {over(10), 1, 1, 1}}}
	r, err := c.Run(flat(t, "2026-05-01", "2026-05-30", 20), nil, day("2026-05-30"))
	require.NoError(t, err)
	require.False(t, r[0].Expected.Reached())
	require.True(t, r[0].Expected.Gap.IsZero())
	require.Equal(t, day("2026-05-28"), r[0].Earliest.Date)
	require.False(t, r[0].Latest.Reached())
	require.False(t, r[1].Expected.Reached())
	require.InDelta(t, 300.0/400, r[0].Progress, 1e-12)
}

// Three past years: the earliest and the latest of them, with the range of the
// requirement on top.
func TestRun_Years(t *testing.T) {
	first, last := "2026-05-01", "2026-08-31"
	s := flat(t, first, last, 20)
	members := []climate.Member{{Year: 2023, Series: flat(t, first, last, 15)}, {Year: 2024, Series: flat(t, first, last, 20)}, {Year: 2025, Series: flat(t, first, last, 30)}}
	c := phenology.Clock{Start: day(first), Stages: []phenology.Stage{{over(10), 100, 0.5, 2}}}
	r, err := c.Run(s, members, day(first))
	require.NoError(t, err)
	require.Equal(t, 3, r[0].Years)
	require.Equal(t, day("2026-05-10"), r[0].Expected.Date)
	require.Equal(t, day("2026-05-03"), r[0].Earliest.Date, "50 degree-days at 20 a day")
	require.Equal(t, day("2026-06-09"), r[0].Latest.Date, "200 degree-days at 5 a day")
	r, err = c.Run(s, members[:2], day(first))
	require.NoError(t, err)
	require.Zero(t, r[0].Years, "two years tell nothing of how far years differ")
	require.Equal(t, day("2026-05-20"), r[0].Latest.Date)
	// One year that never gets there leaves the end open.
	r, err = c.Run(s, append(members, climate.Member{Year: 2022, Series: flat(t, first, last, 9)}), day(first))
	require.NoError(t, err)
	require.False(t, r[0].Latest.Reached())
}

// A usual day counted as the days that make it up gives what those days gave:
// the year's sum from normals is within 3 % of the mean of the two years,
// where the bare usual day loses more.
func TestSum_UsualDay(t *testing.T) {
	days := seattle(t)
	n := climate.FromYears(days)
	s, err := climate.Lay(day("2014-01-01"), day("2014-12-31"), nil)
	require.NoError(t, err)
	s = s.Carry(day("2014-01-01"), n)
	bare := climate.Series{}
	{
		var list []climate.Day
		for _, d := range s.Days() {
			d.Spread = 0
			list = append(list, d)
		}
		bare, err = climate.Lay(day("2014-01-01"), day("2014-12-31"), list)
		require.NoError(t, err)
	}
	past, err := climate.Lay(day("2012-01-01"), day("2013-12-31"), days)
	require.NoError(t, err)
	total := func(s climate.Series, m degreeday.Model, from string) float64 {
		steps, gap, err := phenology.Sum(m, s, day(from))
		require.NoError(t, err)
		require.True(t, gap.IsZero())
		return steps[len(steps)-1].Sum
	}
	for _, base := range []float64{8.63, 10, 12.5} {
		want := total(past, over(base), "2012-01-01") / 2
		spread, plain := total(s, over(base), "2014-01-01"), total(bare, over(base), "2014-01-01")
		t.Logf("base %v: years %.0f, normals %.0f, bare %.0f", base, want, spread, plain)
		require.InDelta(t, want, spread, 0.03*want)
		require.Greater(t, math.Abs(want-plain), math.Abs(want-spread))
	}
}

func TestSum_Properties(t *testing.T) {
	days := seattle(t)
	s, err := climate.Lay(day("2012-01-01"), day("2013-12-31"), days)
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		base := rapid.Float64Range(0, 20).Draw(t, "base")
		from := day("2012-01-01").AddDays(rapid.IntRange(0, 700).Draw(t, "from"))
		steps, gap, err := phenology.Sum(over(base), s, from)
		if err != nil || !gap.IsZero() || steps[0].Date != from || len(steps) != day("2013-12-31").Sub(from)+1 {
			t.Fatalf("%v %v %v", err, gap, len(steps))
		}
		warm, _, _ := phenology.Sum(over(base-1), s, from)
		last := 0.0
		for i, x := range steps {
			if x.Sum < last || warm[i].Sum < x.Sum {
				t.Fatalf("%+v", x)
			}
			last = x.Sum
		}
	})
}

// A higher requirement, a later start or a colder season is never earlier.
func TestRun_Properties(t *testing.T) {
	days := seattle(t)
	s, err := climate.Lay(day("2012-01-01"), day("2013-12-31"), days)
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		need := rapid.Float64Range(20, 600).Draw(t, "need")
		from := day("2012-01-01").AddDays(rapid.IntRange(0, 200).Draw(t, "from"))
		when := func(need float64, from civil.Date) phenology.Reaching {
			r, err := phenology.Clock{Start: from, Stages: []phenology.Stage{{over(10), need, 0.7, 1.5}}}.Run(s, nil, from)
			if err != nil {
				t.Fatal(err)
			}
			return r[0]
		}
		a, b, c := when(need, from), when(need+30, from), when(need, from.AddDays(9))
		if b.Expected.Date.Before(a.Expected.Date) || c.Expected.Date.Before(a.Expected.Date) ||
			a.Earliest.Date.After(a.Expected.Date) || a.Latest.Date.Before(a.Expected.Date) {
			t.Fatalf("%+v %+v %+v", a, b, c)
		}
	})
}

func TestRefusals(t *testing.T) {
	s := flat(t, "2026-05-01", "2026-05-30", 20)
	good := phenology.Stage{Model: over(10), DD: 100, Low: 0.7, High: 1.5}
	for name, change := range map[string]func(*phenology.Stage){
		"no requirement": func(x *phenology.Stage) { x.DD = 0 },
		"not a number":   func(x *phenology.Stage) { x.DD = math.NaN() },
		"low above 1":    func(x *phenology.Stage) { x.Low = 1.2 },
		"no low":         func(x *phenology.Stage) { x.Low = 0 },
		"high below 1":   func(x *phenology.Stage) { x.High = 0.9 },
		"model":          func(x *phenology.Stage) { x.Model.Method = "cubic" },
	} {
		bad := good
		change(&bad)
		_, err := phenology.Clock{Start: day("2026-05-01"), Stages: []phenology.Stage{bad}}.Run(s, nil, day("2026-05-01"))
		require.ErrorIs(t, err, phenology.ErrDomain, name)
	}
	_, err := phenology.Clock{Start: day("2026-04-01"), Stages: []phenology.Stage{good}}.Run(s, nil, day("2026-05-01"))
	require.ErrorIs(t, err, phenology.ErrDomain)
	_, _, err = phenology.Sum(over(10), climate.Series{}, day("2026-04-01"))
	require.ErrorIs(t, err, phenology.ErrDomain)
	_, _, err = phenology.Sum(degreeday.Model{}, s, day("2026-05-01"))
	require.ErrorIs(t, err, phenology.ErrDomain)
	require.ErrorIs(t, err, degreeday.ErrDomain)
}
