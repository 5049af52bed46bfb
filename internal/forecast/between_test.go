package forecast_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/forecast"
	"leafturn/internal/trend"
)

func flatBase(v float64) func(civil.Date, civil.Date) (float64, bool) {
	return func(civil.Date, civil.Date) (float64, bool) { return v, true }
}

// Without counts it is what Field takes before they speak: half of the table's
// rate, with a standard deviation of 0.7 of it.
func TestBetween_Prior(t *testing.T) {
	day := civil.MustParse("2026-07-01")
	for _, seen := range [][]forecast.Seen{nil, {{Day: day, Ln: 1, Var: 0.1}}, {{Day: day, Ln: -3, Var: 1, None: true}, {Day: day.AddDays(7), Ln: -3, Var: 1, None: true}},
		{{Day: day, Ln: 1, Var: 0.1}, {Day: day, Ln: 2, Var: 0.1}}, {{Day: day, Ln: 1, Var: 0.1}, {Day: day.AddDays(60), Ln: 2, Var: 0.1}}} {
		rate, sd := forecast.Between(0.2, seen, flatBase(0.2))
		require.InDelta(t, 0.1, rate, 1e-12)
		require.InDelta(t, 0.14, sd, 1e-12)
	}
	// The same where the days of the counts are not known.
	two := []forecast.Seen{{Day: day, Ln: 1, Var: 0.1}, {Day: day.AddDays(7), Ln: 2, Var: 0.1}}
	rate, _ := forecast.Between(0.2, two, func(civil.Date, civil.Date) (float64, bool) { return 0, false })
	require.InDelta(t, 0.1, rate, 1e-12)
	rate, sd := forecast.Between(0, nil, flatBase(0))
	require.InDelta(t, 0.01, rate, 1e-12, "cold days are not sure to bring nothing")
	require.InDelta(t, 0.014, sd, 1e-12)
}

// The line is that of a weighted regression by another library, put through
// Field, and goes with the temperature of the days ahead.
func TestBetween_Line(t *testing.T) {
	day := civil.MustParse("2026-07-01")
	seen := []forecast.Seen{
		{Day: day.AddDays(-50), Ln: 9, Var: 1e-6}, // too old
		{Day: day, Ln: 0.1, Var: 0.2}, {Day: day.AddDays(7), Ln: 0.4, Var: 0.1}, {Day: day.AddDays(15), Ln: 1.6, Var: 0.05},
	}
	x, y := []float64{0, 7, 15}, []float64{0.1, 0.4, 1.6}
	w := []float64{1 / 0.27, 1 / 0.17, 1 / 0.12}
	_, slope := stat.LinearRegression(x, y, w, false)
	sd := 1 / math.Sqrt((w[0]+w[1]+w[2])*func() float64 { // weighted sum of squares about the mean
		m := stat.Mean(x, w)
		s := 0.0
		for i := range x {
			s += w[i] * (x[i] - m) * (x[i] - m)
		}
		return s / (w[0] + w[1] + w[2])
	}())
	want := forecast.Field(forecast.Rate{Rate: slope, SD: sd, Base: 0.15})
	rate, got := forecast.Between(0.3, seen, func(from, to civil.Date) (float64, bool) {
		require.Equal(t, day, from)
		require.Equal(t, day.AddDays(15), to)
		return 0.15, true
	})
	require.InDelta(t, 2*want.Rate, rate, 1e-12, "twice as warm, twice as fast")
	require.InDelta(t, 2*want.SD, got, 1e-12)
}

// Against the regression of package trend on drawn seasons: the same rate, but
// for what the two do not share.
func TestBetween_IsNearTheTrend(t *testing.T) {
	day := civil.MustParse("2026-06-01")
	off := 0.0
	const n = 60
	for i := range n {
		rng := seeded(31, uint64(i))
		var seen []forecast.Seen
		var visits []trend.Visit
		for v := range 5 {
			m := 3 * math.Exp(0.1*float64(7*v))
			k := estimate.TaylorK(m, 3.3, 1.49)
			x := visit(rng, 30, m, k)
			seen = append(seen, forecast.SeenOf(day.AddDays(7*v), sum(x), 30, k, 1))
			visits = append(visits, trend.Visit{Date: day.AddDays(7 * v), Counts: x})
		}
		g, err := trend.Growth(visits, estimate.Dispersion{A: 3.3, B: 1.49})
		require.NoError(t, err)
		want := forecast.Field(forecast.Rate{Rate: g.PerDay, SD: g.SD, Base: 0.15})
		rate, _ := forecast.Between(0.15, seen, flatBase(0.15))
		require.InDelta(t, want.Rate, rate, 0.04)
		off += (rate - want.Rate) / n
	}
	require.InDelta(t, 0, off, 0.005)
}

// SeenOf by hand: 19 animals on 10 traps of two nights, with k 2, in animals a
// night.
func TestSeenOf(t *testing.T) {
	s := forecast.SeenOf(civil.MustParse("2026-07-01"), 19, 10, 2, 0.5)
	require.InDelta(t, math.Log(1.95*0.5), s.Ln, 1e-12)
	require.InDelta(t, (1/1.95+0.5)/10, s.Var, 1e-12)
	require.False(t, s.None)
	require.True(t, forecast.SeenOf(civil.Date{}, 0, 10, 2, 1).None)
}
