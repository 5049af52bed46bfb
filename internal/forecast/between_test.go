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

// blended is the mean and the standard deviation of the rate by summing over a
// fine grid: the two bells of the prior, and the counts' own.
func blended(rate, sd, base float64) (mean, width float64) {
	bell := func(x, m, s float64) float64 { return math.Exp(-(x-m)*(x-m)/(2*s*s)) / s }
	var w, m, v float64
	for i := range 400_001 {
		x := -2 + float64(i)*1e-5
		p := bell(x, 0.7*base, 0.4*base) + bell(x, -0.3*base, 0.3*base)
		if sd > 0 {
			p *= bell(x, rate, math.Hypot(sd, 0.03))
		}
		w, m, v = w+p, m+p*x, v+p*x*x
	}
	return m / w, math.Sqrt(v/w - m/w*m/w)
}

// Without counts it is a fifth of the table's rate, the mean of 0.7 and -0.3 of
// it, with a variance of (0.4² + 0.3²)/2 + 0.5².
func TestBetween_Prior(t *testing.T) {
	day := civil.MustParse("2026-07-01")
	for _, seen := range [][]forecast.Seen{nil, {{Day: day, Ln: 1, Var: 0.1}}, {{Day: day, Ln: -3, Var: 1, None: true}, {Day: day.AddDays(7), Ln: -3, Var: 1, None: true}},
		{{Day: day, Ln: 1, Var: 0.1}, {Day: day, Ln: 2, Var: 0.1}}, {{Day: day, Ln: 1, Var: 0.1}, {Day: day.AddDays(60), Ln: 2, Var: 0.1}}} {
		rate, sd := forecast.Between(0.2, seen, flatBase(0.2))
		require.InDelta(t, 0.04, rate, 1e-12)
		require.InDelta(t, 0.2*math.Sqrt(0.375), sd, 1e-12)
	}
	// The same where the days of the counts are not known.
	two := []forecast.Seen{{Day: day, Ln: 1, Var: 0.1}, {Day: day.AddDays(7), Ln: 2, Var: 0.1}}
	rate, _ := forecast.Between(0.2, two, func(civil.Date, civil.Date) (float64, bool) { return 0, false })
	require.InDelta(t, 0.04, rate, 1e-12)
	mean, width := blended(0, 0, 0.2)
	require.InDelta(t, mean, rate, 1e-6)
	rate, sd := forecast.Between(0.2, nil, flatBase(0))
	require.InDelta(t, mean, rate, 1e-6)
	require.InDelta(t, width, sd, 1e-6)
	_, sd = forecast.Between(0, nil, flatBase(0))
	require.InDelta(t, 0.02*math.Sqrt(0.375), sd, 1e-12, "cold days are not sure to bring nothing")
}

// The line is that of a weighted regression by another library, put through
// blended, and goes with the temperature of the days ahead.
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
	want, width := blended(slope, sd, 0.15)
	rate, got := forecast.Between(0.3, seen, func(from, to civil.Date) (float64, bool) {
		require.Equal(t, day, from)
		require.Equal(t, day.AddDays(15), to)
		return 0.15, true
	})
	require.InDelta(t, 2*want, rate, 1e-6, "twice as warm, twice as fast")
	require.InDelta(t, 2*width, got, 1e-6)
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
		want, _ := blended(g.PerDay, g.SD, 0.15)
		rate, _ := forecast.Between(0.15, seen, flatBase(0.15))
		require.InDelta(t, want, rate, 0.05)
		off += (rate - want) / n
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

// Counts that fall while the table says growth are believed sooner than one bell
// around the table would, and a wild reading is not lost between the two.
func TestBetween_SaysWhichHolds(t *testing.T) {
	day := civil.MustParse("2026-07-01")
	at := func(perWeek float64) float64 {
		var seen []forecast.Seen
		for i := range 4 {
			seen = append(seen, forecast.Seen{Day: day.AddDays(7 * i), Ln: perWeek * float64(i), Var: 0.1})
		}
		rate, sd := forecast.Between(0.2, seen, flatBase(0.2))
		require.Greater(t, sd, 0.0)
		return rate
	}
	require.InDelta(t, 0.14, at(7*0.14), 0.01)
	require.InDelta(t, -0.06, at(-7*0.06), 0.01)
	last := math.Inf(-1)
	for w := -80.0; w <= 80; w += 0.5 {
		require.Greater(t, at(w), last, "%v a week", w)
		last = at(w)
	}
	require.InDelta(t, 5, at(7*5), 1)
}
