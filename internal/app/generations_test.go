package app

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// One generation of the two-spotted spider mite takes 146.48 degree-days over
// 12.5 °C, of the slug 27 to 30 weeks (generations.csv and its sources).
func TestLasts(t *testing.T) {
	cat, err := catalog.Load(units.Metric)
	require.NoError(t, err)
	a := &App{cat: cat}
	june := civil.New(2026, time.June, 1)
	weather := map[civil.Date]farm.WeatherDay{}
	set := func(days int, low, high float64) {
		for i := range days {
			weather[june.AddDays(i)] = farm.WeatherDay{MinC: &low, MaxC: &high}
		}
	}
	set(40, 12.5, 22.5) // 5 degree-days a day: 29 days are 145, 30 are 150
	got := a.lasts(weather)("spider_mite", june)
	require.Equal(t, "2026-06-30", got.Last.String())
	require.True(t, got.Known && got.Sure)
	require.Contains(t, got.Words, "146.5 degree-days over 12.5 °C; two-spotted spider mite")

	// A day without a temperature counts as too cold: the end is never too soon.
	delete(weather, june.AddDays(3))
	got = a.lasts(weather)("spider_mite", june)
	require.Equal(t, "2026-07-01", got.Last.String())
	require.False(t, got.Sure)

	set(20, 12.5, 22.5)
	for i := 20; i < 40; i++ {
		delete(weather, june.AddDays(i))
	}
	got = a.lasts(weather)("spider_mite", june)
	require.True(t, got.Known && got.Last.IsZero() && !got.Sure)
	require.Contains(t, got.Words, "100 of the 146.5 degree-days over 12.5 °C are known to be reached by 2026-06-20, the last day with a temperature or a forecast")
	require.Contains(t, a.lasts(weather)("spider_mite", june.AddDays(50)).Words, "no temperature from then on")

	set(20, 2, 8) // never warm enough, and never below zero a day
	require.Contains(t, a.lasts(weather)("spider_mite", june).Words, "0 of the 146.5")

	got = a.lasts(nil)("slug", june)
	require.Equal(t, 30*7-1, got.Last.Sub(june), "the longest: 30 weeks")
	got = a.lasts(nil)("thrips", june)
	require.False(t, got.Known)
	require.Contains(t, got.Words, "look up how long one generation of thrips takes")
}
