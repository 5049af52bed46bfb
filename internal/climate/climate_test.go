package climate_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/climate"
	"leafturn/internal/testkit"
)

func day(s string) civil.Date { return civil.MustParse(s) }

func measured(date string, low, high float64) climate.Day {
	return climate.Day{Date: day(date), Min: low, Max: high, Kind: climate.Measured}
}

func lay(t *testing.T, first, last string, days ...climate.Day) climate.Series {
	t.Helper()
	s, err := climate.Lay(day(first), day(last), days)
	require.NoError(t, err)
	return s
}

func kinds(s climate.Series) string {
	out := ""
	for _, d := range s.Days() {
		out += string(d.Kind[:2]) + " "
	}
	return strings.TrimSpace(out)
}

func TestLay(t *testing.T) {
	forecast := measured("2026-05-02", 1, 9)
	forecast.Kind = climate.Forecast
	s := lay(t, "2026-05-01", "2026-05-04", measured("2026-05-02", 4, 14), forecast, measured("2026-05-03", 5, 15), measured("2026-06-01", 5, 15))
	require.Equal(t, "mi me me mi", kinds(s))
	x, ok := s.At(day("2026-05-02"))
	require.True(t, ok)
	require.Equal(t, measured("2026-05-02", 4, 14), x, "what was measured stands before a forecast")
	_, ok = s.At(day("2026-05-05"))
	require.False(t, ok)
	_, err := climate.Lay(day("2026-05-02"), day("2026-05-01"), nil)
	require.ErrorIs(t, err, climate.ErrDomain)
	_, err = climate.Lay(day("2026-05-01"), day("2026-05-02"), []climate.Day{measured("2026-05-01", 9, 3)})
	require.ErrorIs(t, err, climate.ErrDomain)
	_, err = climate.Lay(day("2026-05-01"), day("2026-05-02"), []climate.Day{measured("2026-05-01", math.NaN(), 3)})
	require.ErrorIs(t, err, climate.ErrDomain)
}

// A straight line over three days at most, and never past an end.
func TestFill(t *testing.T) {
	s := lay(t, "2026-05-01", "2026-05-05", measured("2026-05-01", 4, 10), measured("2026-05-05", 8, 18))
	f := s.Fill()
	require.Equal(t, "me fi fi fi me", kinds(f))
	for i, want := range [][2]float64{{4, 10}, {5, 12}, {6, 14}, {7, 16}, {8, 18}} {
		require.InDelta(t, want[0], f.Days()[i].Min, 1e-12)
		require.InDelta(t, want[1], f.Days()[i].Max, 1e-12)
	}
	require.Equal(t, "me mi mi mi me", kinds(s), "the series itself stays")
	s = lay(t, "2026-05-01", "2026-05-06", measured("2026-05-01", 4, 10), measured("2026-05-06", 8, 18))
	require.Equal(t, "me mi mi mi mi me", kinds(s.Fill()), "four days are not filled")
	s = lay(t, "2026-05-01", "2026-05-04", measured("2026-05-02", 4, 10))
	require.Equal(t, "mi me mi mi", kinds(s.Fill()), "an end has one neighbour only")
}

func seattle(t *testing.T) (out []climate.Day) {
	for _, d := range testkit.Seattle(t) {
		out = append(out, measured(d.Date, d.Low, d.High))
	}
	return out
}

// Against a plain sum over the 15 days of each year.
func TestFromYears(t *testing.T) {
	days := seattle(t)
	n := climate.FromYears(days)
	require.Equal(t, 2, n.Years)
	require.Equal(t, "the farm's own weather, 2012 to 2013", n.Source)
	byDate := map[civil.Date]climate.Day{}
	for _, d := range days {
		byDate[d.Date] = d
	}
	for _, on := range []string{"2026-06-15", "2026-04-20", "2026-09-30"} {
		low, high := 0.0, 0.0
		for _, year := range []int{2012, 2013} {
			for k := -7; k <= 7; k++ {
				d := byDate[civil.New(year, day(on).Month, day(on).Day+k)]
				low, high = low+d.Min/30, high+d.Max/30
			}
		}
		x, ok := n.On(day(on))
		require.True(t, ok)
		require.InDelta(t, low, x.Min, 1e-9, on)
		require.InDelta(t, high, x.Max, 1e-9, on)
		require.Equal(t, climate.Normal, x.Kind)
		require.Equal(t, day(on), x.Date)
		require.True(t, x.Spread > 0.5 && x.Spread < 6, x.Spread)
	}
	for _, on := range []string{"2026-01-01", "2028-02-29", "2026-12-31", "2026-03-01"} {
		_, ok := n.On(day(on))
		require.True(t, ok, on)
	}
	// 1 March is the same day whether or not the year has a 29 February.
	a, _ := n.On(day("2027-03-01"))
	b, _ := n.On(day("2028-03-01"))
	require.InDelta(t, a.Min, b.Min, 0)
}

func TestFromYears_Few(t *testing.T) {
	require.True(t, climate.FromYears(nil).IsZero())
	_, ok := climate.Normals{}.On(day("2026-05-01"))
	require.False(t, ok)
	var days []climate.Day
	for i := range 8 {
		d := measured("2026-05-01", 5, 15)
		d.Date = d.Date.AddDays(i)
		days = append(days, d)
	}
	require.True(t, climate.FromYears(days[:7]).IsZero(), "seven days of a window are too few")
	n := climate.FromYears(days)
	_, ok = n.On(day("2026-05-04"))
	require.True(t, ok)
	_, ok = n.On(day("2026-08-04"))
	require.False(t, ok, "what no year has is not known")
	forecast := append([]climate.Day(nil), days...)
	for i := range forecast {
		forecast[i].Kind = climate.Forecast
	}
	require.True(t, climate.FromYears(forecast).IsZero(), "a forecast was not measured")
	for i := range forecast {
		forecast[i].Date = forecast[i].Date.AddDays(365)
	}
	require.Equal(t, "the farm's own weather of 2026", climate.FromYears(append(forecast, days...)).Source)
}

// The daily values have the monthly means that were typed in, in both kinds of
// year, and meet at the new year.
func TestFromMonths(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var months [12]climate.Month
		top := rapid.Float64Range(8, 30).Draw(t, "top")
		for i := range months {
			mid := top/2 - top/2*math.Cos(2*math.Pi*(float64(i)-0.5)/12) + rapid.Float64Range(-1, 1).Draw(t, "off")
			months[i] = climate.Month{Min: mid - 5, Max: mid + 5}
		}
		n, err := climate.FromMonths(months, "typed")
		if err != nil {
			t.Fatal(err)
		}
		for _, year := range []int{2026, 2028} {
			for m := range months {
				var low, high, k float64
				for d := civil.New(year, time.Month(m+1), 1); d.Month == time.Month(m+1); d = d.AddDays(1) {
					x, ok := n.On(d)
					if !ok {
						t.Fatal(d)
					}
					low, high, k = low+x.Min, high+x.Max, k+1
				}
				if math.Abs(low/k-months[m].Min) > 1e-9 || math.Abs(high/k-months[m].Max) > 1e-9 {
					t.Fatalf("%d-%d: %v and %v, want %+v", year, m+1, low/k, high/k, months[m])
				}
			}
			a, _ := n.On(civil.New(year, time.December, 31))
			b, _ := n.On(civil.New(year+1, time.January, 1))
			if math.Abs(a.Min-b.Min) > 0.5 {
				t.Fatalf("a leap over the new year: %v to %v", a.Min, b.Min)
			}
		}
	})
}

func TestFromMonths_Refusals(t *testing.T) {
	var months [12]climate.Month
	for i := range months {
		months[i] = climate.Month{Min: 5, Max: 15}
	}
	n, err := climate.FromMonths(months, "typed")
	require.NoError(t, err)
	x, _ := n.On(day("2026-07-15"))
	require.InDelta(t, 5, x.Min, 1e-9, "equal months give a flat year")
	require.Zero(t, n.Years)
	bad := months
	bad[4].Max = 3
	_, err = climate.FromMonths(bad, "")
	require.ErrorIs(t, err, climate.ErrDomain)
	require.ErrorContains(t, err, "May")
	bad = months
	bad[6] = climate.Month{Min: 39, Max: 40}
	bad[7] = climate.Month{Min: -20, Max: 40}
	_, err = climate.FromMonths(bad, "")
	require.ErrorContains(t, err, "leap so far")
	bad = months
	bad[0].Min = math.Inf(-1)
	_, err = climate.FromMonths(bad, "")
	require.ErrorIs(t, err, climate.ErrDomain)
}

func TestCarryAndMembers(t *testing.T) {
	days := seattle(t)
	n := climate.FromYears(days)
	s := lay(t, "2014-05-01", "2014-05-10", measured("2014-05-01", 9, 19), measured("2014-05-03", 9, 19)).Carry(day("2014-05-04"), n)
	require.Equal(t, "me mi me no no no no no no no", kinds(s), "a gap in the past stays one")
	members := s.Members(days)
	require.Len(t, members, 2)
	require.Equal(t, []int{2012, 2013}, []int{members[0].Year, members[1].Year})
	x, _ := members[1].At(day("2014-05-08"))
	require.InDelta(t, 11.1, x.Min, 1e-9) // 2013-05-08 in the file: 11.1, 19.4
	x, _ = members[1].At(day("2014-05-01"))
	require.InDelta(t, 9, x.Min, 1e-9, "what was measured stays")
	require.Empty(t, s.Members(days[:100]), "a year without the days to come tells nothing")
	require.Empty(t, lay(t, "2014-05-01", "2014-05-02").Members(days), "nothing to come")
	later := append([]climate.Day(nil), days...)
	for d := day("2014-05-04"); !d.After(day("2014-05-10")); d = d.AddDays(1) {
		later = append(later, climate.Day{Date: d, Min: 3, Max: 4, Kind: climate.Measured})
	}
	require.Len(t, s.Members(later), 2, "the year itself is no past year")
}
