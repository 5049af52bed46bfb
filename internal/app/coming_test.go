package app

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/forecast"
	"leafturn/internal/store"
)

// hotFarm is an invented farm of ten beds in bud in a hot spell, counted once
// for mites, each bed twice as full as the one before.
func hotFarm(t *testing.T) (*App, civil.Date) {
	t.Helper()
	ctx := context.Background()
	day := civil.MustParse("2026-07-20")
	now := time.Date(2026, 7, 20, 12, 0, 0, 0, time.UTC)
	st, err := store.Create(ctx, filepath.Join(t.TempDir(), "farm.leafturn"), farm.Farm{Name: "Hot (invented)", TimeZone: "UTC", Units: "metric", Country: "US", Pests: []string{"spider_mite", "slug"}})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, st.Close()) })
	require.NoError(t, st.Update(ctx, func(tx *store.Tx) error {
		for i := range 10 {
			code := fmt.Sprintf("B%d", i+1)
			if _, err := tx.AddBed(farm.Bed{Code: code, LengthM: 20, WidthM: 1, Plants: 60}); err != nil {
				return err
			}
			v := farm.Visit{Bed: code, Pest: "spider_mite", Unit: "leaf", Stratum: farm.Random, Date: day, Conditions: farm.Conditions{Foliage: farm.Dry}}
			for u := range 40 {
				v.Counts = append(v.Counts, farm.UnitCount{Count: (u%3*3 + u%2) << i / 16, Seen: true})
			}
			if _, err := tx.AddVisit(v, now); err != nil {
				return err
			}
		}
		return nil
	}))
	a, err := newApp(ctx, st, now, false)
	require.NoError(t, err)
	for i := range 10 {
		_, err := a.Stage(ctx, day.AddDays(-20), "budding", []string{fmt.Sprintf("B%d", i+1)}, "")
		require.NoError(t, err)
	}
	months := "month,min_c,max_c\n"
	for m := range 12 {
		months += fmt.Sprintf("%d,18,30\n", m+1)
	}
	_, err = a.WeatherNormals(ctx, strings.NewReader(months), "months.csv")
	require.NoError(t, err)
	_, err = a.Weather(ctx, WeatherOptions{Date: day.String(), Min: "18C", Max: "30C"})
	require.NoError(t, err)
	return a, day
}

// The chances of the list are those of `forecast`, whatever the number of
// cores; a bed with none, one to look at again and one without a level is left
// out.
func TestComing_IsTheForecast(t *testing.T) {
	ctx := context.Background()
	a, day := hotFarm(t)
	in, err := a.weekInput(ctx, day)
	require.NoError(t, err)
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	alone, err := a.weekInput(ctx, day)
	require.NoError(t, err)
	require.Equal(t, in.Coming, alone.Coming)
	require.GreaterOrEqual(t, len(in.Coming), 4)
	released := 0
	for i := range 10 {
		code := fmt.Sprintf("B%d", i+1)
		c, ok := in.Coming[[2]string{code, "spider_mite"}]
		if !ok {
			continue
		}
		doc, err := a.Forecast(ctx, ForecastOptions{Pest: "mite", Bed: code}, day)
		require.NoError(t, err)
		b := doc.Data.(ForecastData).Beds[0]
		require.Len(t, c.Within, len(b.Ways[0].Days))
		require.Len(t, c.Within, forecast.MostDays+1)
		for d, x := range b.Ways[0].Days {
			require.InDelta(t, *x.Within, c.Within[d], 1e-12, "%s, day %d", code, d)
			require.InDelta(t, *x.Over, c.Over[d], 1e-12, "%s, day %d", code, d)
		}
		if c.With == nil {
			continue
		}
		released++
		for _, w := range b.Ways {
			if w.Key == "agent:"+c.Agent {
				require.Equal(t, *w.On, c.Let)
				for d, x := range w.Days {
					require.InDelta(t, *x.Over, c.With[d], 1e-12, "%s with %s, day %d", code, c.Agent, d)
				}
			}
		}
	}
	require.Positive(t, released)
}

// Errors are compared as they are printed: 1.71 and 1.74 both print as 1.7.
func TestBetter(t *testing.T) {
	for _, x := range []struct {
		ours, other float64
		says        string
	}{
		{1.71, 1.74, "the forecast was about as good"},
		{1.74, 1.71, "the forecast was about as good"},
		{1.5, 1.5, "the forecast was about as good"},
		{1.5, 1.7, "the forecast was better"},
		{1.7, 1.5, "the forecast was not better"},
	} {
		require.Equal(t, x.says, better(math.Log(x.ours), math.Log(x.other)), "%g and %g", x.ours, x.other)
	}
}

// The round leaves out a bed at the forecast's own chance for the week.
func TestRound_ChanceIsTheForecasts(t *testing.T) {
	ctx := context.Background()
	a, day := hotFarm(t)
	in, err := a.weekInput(ctx, day)
	require.NoError(t, err)
	doc, err := a.Round(ctx, day, "", "13:00")
	require.NoError(t, err)
	seen := 0
	for _, s := range doc.Data.(RoundData).Stops {
		for _, l := range s.Looks {
			if c, ok := in.Coming[[2]string{s.Bed, l.Pest}]; ok {
				seen++
				require.InDelta(t, c.Within[7], *l.Chance, 1e-12, s.Bed)
			}
		}
	}
	require.Positive(t, seen)
}

// What is believed today of a bed counted days ago has grown with the warm days
// since, as they were stored; asked on the day itself nothing has.
func TestAssessments_GrowWithTheWeather(t *testing.T) {
	ctx := context.Background()
	a, day := hotFarm(t)
	a.now = a.now.AddDate(0, 0, 6)
	median := func() (sum float64) {
		s, err := a.snapshot(ctx, day.AddDays(6))
		require.NoError(t, err)
		list, err := a.assessments(s, true)
		require.NoError(t, err)
		for _, x := range list {
			if x.Pest.Key == "spider_mite" {
				sum += x.Now().Median()
			}
		}
		return sum
	}
	plain := median() // one day of seven is known
	for d := 1; d < 6; d++ {
		_, err := a.Weather(ctx, WeatherOptions{Date: day.AddDays(d).String(), Min: "18C", Max: "30C"})
		require.NoError(t, err)
	}
	warm := median()
	// A fifth of 0.0142 (24 - 9.06) a day for six days is 1.29 times, blended with
	// what forgets.
	require.Greater(t, warm, 1.15*plain)
	require.Less(t, warm, 1.35*plain)
	require.Equal(t, warm, median(), "what is kept says the same")
	later, err := a.weekInput(ctx, day)
	require.NoError(t, err)
	for _, x := range later.Assessments {
		if x.Pest.Key == "spider_mite" {
			require.Equal(t, x.Decider.Belief.Median(), x.Now().Median())
		}
	}
}
