package phenology_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/climate"
	"leafturn/internal/growth"
	"leafturn/internal/phenology"
)

// limits are the catalogue's (Oregon State University; the rest common practice).
var limits = phenology.Limits{
	Slug:    growth.SlugLimits{LikedLow: 4.44, LikedHigh: 21.11, ActiveLow: 1.11, ActiveHigh: 29.44, WindMS: 2.235, FreezeDays: 5},
	FreezeC: 0, WetRainMM: 1, WetHumidity: 95, DryDays: 3, DryHumidity: 75, LightRainMM: 10,
	SoilC: 8, MoistRainMM: 5, NoteDays: 3, RestHours: 14, RestC: 15,
}

// place is a week of days of one minimum and maximum, with weather on top.
func place(t *testing.T, low, high float64, weather map[string]phenology.Weather) phenology.Place {
	t.Helper()
	var days []climate.Day
	for i := range 20 {
		days = append(days, climate.Day{Date: day("2026-05-01").AddDays(i), Min: low, Max: high, Kind: climate.Measured})
	}
	s, err := climate.Lay(day("2026-05-01"), day("2026-05-20"), days)
	require.NoError(t, err)
	p := phenology.Place{Series: s, Weather: map[civil.Date]phenology.Weather{}, DayHours: func(civil.Date) float64 { return 15 }, WindMS: math.NaN()}
	for d, w := range weather {
		p.Weather[day(d)] = w
	}
	return p
}

func weather(rain, soil, humidity float64) phenology.Weather {
	return phenology.Weather{RainMM: rain, SoilC: soil, Humidity: humidity}
}

func TestNightC(t *testing.T) {
	p := place(t, 6, 18, nil)
	// The integral of 12 + 6 cos(pi x) over the last two thirds of its fall.
	want := 12 + 6*(3/(2*math.Pi))*(math.Sin(math.Pi)-math.Sin(math.Pi/3))
	require.InDelta(t, want, phenology.NightC(p.Series, day("2026-05-10")), 0.05)
	require.True(t, math.IsNaN(phenology.NightC(p.Series, day("2026-05-20"))), "the next minimum is not known")
}

func TestNights_Slugs(t *testing.T) {
	nan := math.NaN()
	on := "2026-05-10"
	for name, x := range map[string]struct {
		low, high float64
		weather   map[string]phenology.Weather
		wind      float64
		want      growth.SlugNight
		only      string
		why       string
	}{
		"DYN-20: mild, wet, still": {12, 19, map[string]phenology.Weather{on: weather(2, nan, 100)}, 1, growth.Favourable, "", ""},
		"rain the day before":      {12, 19, map[string]phenology.Weather{on: weather(0, nan, nan), "2026-05-09": weather(4, nan, nan)}, 1, growth.Favourable, "", ""},
		"no wind reading":          {12, 19, map[string]phenology.Weather{on: weather(2, nan, nan)}, nan, growth.NotKnown, "calm", "slugs: not known: the wind"},
		"nothing but temperature":  {12, 19, nil, nan, growth.NotKnown, "wet, without driving rain, calm", "whether the ground is wet, the rain, the wind"},
		"much rain":                {12, 19, map[string]phenology.Weather{on: weather(14, nan, nan)}, 1, growth.NotKnown, "without driving rain", "the rain"},
		"windy":                    {12, 19, map[string]phenology.Weather{on: weather(2, nan, nan)}, 3, growth.Unfavourable, "", "windy"},
		"DYN-20: dry":              {8, 19, map[string]phenology.Weather{on: weather(0, nan, 60), "2026-05-09": weather(0, nan, nan), "2026-05-08": weather(0, nan, nan)}, nan, growth.Unfavourable, "", "the ground is dry"},
		"two dry days, not three":  {8, 19, map[string]phenology.Weather{on: weather(0, nan, 60), "2026-05-09": weather(0, nan, nan)}, 1, growth.NotKnown, "wet", "whether the ground is wet"},
		"DYN-20: 0.5 °C":           {0.2, 1.2, nil, nan, growth.Inactive, "", "slugs: too cold"},
		"cold":                     {1.5, 6, nil, nan, growth.Unfavourable, "", "slugs: cold"},
		"hot":                      {22, 34, nil, nan, growth.Unfavourable, "", "slugs: hot"},
	} {
		p := place(t, x.low, x.high, x.weather)
		p.WindMS = x.wind
		g := phenology.Nights(p, limits, day(on), 2)
		require.Equal(t, x.want, g[0].Slug, name)
		require.Equal(t, x.only, g[0].SlugIf, name)
		if x.why != "" {
			require.Contains(t, g[0].Why[0], x.why, name)
		}
		require.Equal(t, day("2026-05-11"), g[1].Date)
	}
}

// DYN-20's last night: two days after a freeze slugs stay still; on the sixth
// day they are about again (4 to 5 days; Oregon State University).
func TestNights_AfterFreeze(t *testing.T) {
	p := place(t, 8, 16, map[string]phenology.Weather{})
	days := append([]climate.Day(nil), p.Series.Days()...)
	days[4].Min = -1 // 5 May
	s, err := climate.Lay(day("2026-05-01"), day("2026-05-20"), days)
	require.NoError(t, err)
	p.Series = s
	g := phenology.Nights(p, limits, day("2026-05-06"), 6)
	for i, x := range g {
		if x.Date.After(day("2026-05-10")) {
			require.NotEqual(t, growth.Inactive, x.Slug, x.Date)
			continue
		}
		require.Equal(t, growth.Inactive, x.Slug, i)
		require.Contains(t, x.Why[0], "after a freeze")
	}
	// A missing day could hide a freeze.
	s, err = climate.Lay(day("2026-05-01"), day("2026-05-20"), append(append([]climate.Day(nil), days[5:8]...), days[9:]...))
	require.NoError(t, err)
	p.Series = s
	x := phenology.Nights(p, limits, day("2026-05-12"), 1)[0]
	require.Equal(t, growth.NotKnown, x.Slug)
	require.Empty(t, x.SlugIf)
	require.Contains(t, x.Why[0], "the last freeze")
}

// A usual day is no forecast of a night.
func TestNights_UsualDay(t *testing.T) {
	p := place(t, 12, 19, nil)
	days := append([]climate.Day(nil), p.Series.Days()...)
	for i := range days {
		days[i].Kind = climate.Normal
	}
	s, err := climate.Lay(day("2026-05-01"), day("2026-05-20"), days)
	require.NoError(t, err)
	p.Series = s
	g := phenology.Nights(p, limits, day("2026-05-10"), 1)[0]
	require.Equal(t, growth.NotKnown, g.Slug)
	require.Empty(t, g.SlugIf)
	require.Equal(t, climate.Normal, g.Kind)
	require.Contains(t, g.Why, "slugs: no forecast")
}

func TestNights_BaitAndRest(t *testing.T) {
	nan := math.NaN()
	on := day("2026-05-10")
	bait := func(w map[string]phenology.Weather, moist map[civil.Date]bool) phenology.Gate {
		p := place(t, 6, 16, w)
		p.Moist = moist
		p.DayHours = func(civil.Date) float64 { return 13.5 }
		return phenology.Nights(p, limits, on, 1)[0]
	}
	g := bait(map[string]phenology.Weather{"2026-05-08": weather(nan, 9, nan)}, map[civil.Date]bool{on.AddDays(-3): true})
	require.Equal(t, growth.Yes, g.Bait)
	require.Equal(t, growth.Yes, g.Rest, "13.5 hours and a cold night")
	require.Equal(t, growth.Unknown, bait(map[string]phenology.Weather{"2026-05-08": weather(nan, 9, nan)}, map[civil.Date]bool{on.AddDays(-4): true}).Bait, "a note of four days ago")
	require.Equal(t, growth.Unknown, bait(map[string]phenology.Weather{"2026-05-06": weather(nan, 9, nan)}, map[civil.Date]bool{on: true}).Bait, "a reading of four days ago")
	require.Equal(t, growth.Yes, bait(map[string]phenology.Weather{"2026-05-08": weather(3, 9, nan), "2026-05-09": weather(2, 9, nan)}, nil).Bait, "5 mm in three days")
	g = bait(map[string]phenology.Weather{"2026-05-08": weather(2, 7, nan)}, nil)
	require.Equal(t, growth.No, g.Bait)
	require.Contains(t, g.Why, "baits: the soil is too cold")
	g = bait(map[string]phenology.Weather{"2026-05-10": weather(0, 12, nan)}, map[civil.Date]bool{on: false})
	require.Equal(t, growth.No, g.Bait)
	require.Contains(t, g.Why, "baits: the soil is too dry")
	yesterday := map[civil.Date]bool{on.AddDays(-1): false}
	require.Equal(t, growth.No, bait(map[string]phenology.Weather{"2026-05-10": weather(0, 12, nan)}, yesterday).Bait, "dry yesterday, no rain since")
	require.Equal(t, growth.Unknown, bait(map[string]phenology.Weather{"2026-05-10": weather(nan, 12, nan)}, yesterday).Bait, "rain since is not known")
	g = bait(nil, nil)
	require.Equal(t, growth.Unknown, g.Bait)
	require.Contains(t, g.Why, "baits: the soil's temperature is not known")
}
