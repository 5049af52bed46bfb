package schedule_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/farm"
	"leafturn/internal/schedule"
	"leafturn/internal/units"
)

// 18 °C is 64.4 °F, 30 is 86, 15 is 59, 32 is 89.6 (°F = 1.8 °C + 32).
func TestRelease_InTheFarmsUnits(t *testing.T) {
	words := func(low, high, night float64, s units.System) string {
		q := wanted("2026-07-01")
		q.Units, q.Forecast = s, week("2026-07-01", 60, low, high, 70)
		q.Agent.Days = []schedule.DayLimit{{Hours: 24, NightsBelow: num(night), Words: "they rest"}}
		p := schedule.Release(q)
		return fmt.Sprint(p.Gates, p.Refusals, p.Words, p.LookUp, p.Warnings)
	}
	for _, c := range []struct {
		low, high, night float64
		metric, us       []string
	}{
		{14, 26, 15, []string{"while nights are under 15 °C (here 14 °C on average)"},
			[]string{"while nights are under 59 °F (here 57.2 °F on average)"}},
		{16, 26, 15, []string{"mean 21 °C in", "at least 18 °C", "at most 26 °C in", "limit 30 °C", "nights of 16 °C on average are not under 15 °C"}, []string{"mean 69.8 °F in", "at least 64.4 °F", "at most 78.8 °F in", "limit 86 °F", "nights of 60.8 °F on average are not under 59 °F"}},
		{9.98, 25.98, 5, []string{"a mean of 17.9 °C in", "is too cold", "(at least 18 °C)"}, []string{"a mean of 64.3 °F in", "(at least 64.4 °F)"}}, // 17.98 °C are 64.36 °F
		{20, 31, 5, []string{"31 °C in", "is too hot", "(at most 30 °C)"}, []string{"87.8 °F in", "(at most 86 °F)"}},
	} {
		metric, us := words(c.low, c.high, c.night, units.Metric), words(c.low, c.high, c.night, units.US)
		for _, want := range c.metric {
			require.Contains(t, metric, want)
		}
		for _, want := range c.us {
			require.Contains(t, us, want)
		}
		require.NotContains(t, metric, "°F")
		require.NotContains(t, us, "°C")
	}
	require.Equal(t, "91.4 °F is forecast for Mon 27 Jul, too hot for the parcel (common practice: at most 89.6 °F)",
		schedule.ParcelDay(farm.WeatherDay{Date: day("2026-07-27"), MaxC: num(33)}, units.US))
}
