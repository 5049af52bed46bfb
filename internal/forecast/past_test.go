package forecast_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"leafturn/internal/forecast"
)

func fill(n int, v float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = v
	}
	return out
}

// Drawn readings against the mean and the variance of the negative binomial law
// (m + m²/k for a unit, n times that for n units) and of the binomial one.
func TestCounted_Laws(t *testing.T) {
	const n, paths = 20, 40_000
	found := func(c forecast.Count, ln float64) []float64 {
		y, err := c.Counted(fill(paths, ln), 3)
		require.NoError(t, err)
		for i, v := range y {
			y[i] = math.Exp(v)*n - 0.5
		}
		return y
	}
	for _, k := range []float64{0.5, 2, math.Inf(1)} {
		x := found(forecast.Count{Units: n, Scale: 1, K: func(float64) float64 { return k }}, math.Log(3))
		mean, variance := stat.MeanVariance(x, nil)
		want := n * (3 + 9/k)
		require.InDelta(t, 60, mean, 4*math.Sqrt(want/paths))
		require.InEpsilon(t, want, variance, 0.06)
	}
	// A trap that stood two nights, in animals a night: six on it at three a night.
	x := found(forecast.Count{Units: n, Scale: 0.5, K: func(mean float64) float64 {
		require.InDelta(t, 6, mean, 1e-9)
		return math.Inf(1)
	}}, math.Log(3))
	require.InDelta(t, 120, stat.Mean(x, nil), 0.3)
	x = found(forecast.Count{Units: n, Share: func(d float64) float64 { return 1 - math.Exp(-d) }}, math.Log(0.5))
	p := 1 - math.Exp(-0.5)
	mean, variance := stat.MeanVariance(x, nil)
	require.InDelta(t, n*p, mean, 0.05)
	require.InEpsilon(t, n*p*(1-p), variance, 0.05)
	none := found(forecast.Count{Units: n, Scale: 1, K: func(float64) float64 { return 1 }}, -46)
	require.InDelta(t, 0, slices.Max(none), 1e-9)
}

func TestCounted_Refuses(t *testing.T) {
	k := func(float64) float64 { return 1 }
	for _, c := range []forecast.Count{{}, {Units: 0, Scale: 1, K: k}, {Units: 5, K: k}, {Units: 5, Scale: 1}, {Found: -1, Units: 5, Scale: 1, K: k}, {Found: 6, Units: 5, Share: k}} {
		_, err := c.Counted(nil, 1)
		require.ErrorIs(t, err, forecast.ErrDomain, "%+v", c)
	}
	_, err := forecast.Judge(fill(19, 1), 0, 0, 0)
	require.ErrorIs(t, err, forecast.ErrDomain)
	_, err = forecast.Judge(fill(50, 1), math.NaN(), 0, 0)
	require.ErrorIs(t, err, forecast.ErrDomain)
}

// Worked by hand: 101 readings 0 to 100, of which 5 and 95 are the 90 % band.
func TestJudge_ByHand(t *testing.T) {
	var x []float64
	for i := range 101 {
		x = append(x, float64(100-i))
	}
	for came, in := range map[float64][2]bool{4.9: {false, false}, 5: {false, true}, 25: {true, true}, 75.1: {false, true}, 95.1: {false, false}} {
		j, err := forecast.Judge(x, came, 60, math.NaN())
		require.NoError(t, err)
		require.Equal(t, []float64{50, 25, 75, 5, 95}, []float64{j.Middle, j.Low50, j.High50, j.Low90, j.High90})
		require.Equal(t, in, [2]bool{j.In50, j.In90}, "%v", came)
	}
	require.Equal(t, 100.0, x[0], "the argument stays as it was")
	a, _ := forecast.Judge(x, 53, 49, 57)
	b, _ := forecast.Judge(x, 46, 46, math.NaN())
	r := forecast.Sum([]forecast.Judged{a, b})
	require.Equal(t, 2, r.In50)
	require.InDelta(t, math.Sqrt((9+16)/2.0), r.Ours, 1e-12)
	require.InDelta(t, math.Sqrt(16/2.0), r.Same, 1e-12)
	require.Equal(t, 1, r.Both)
	require.InDelta(t, 3, r.OursOfBoth, 1e-12)
	require.InDelta(t, 4, r.Last, 1e-12)
	require.InDelta(t, 2, r.SameAbsolute, 1e-12)
	require.True(t, r.Few())
	require.False(t, forecast.Record{Forecasts: forecast.LeastPast}.Few())
	none := forecast.Sum(nil)
	require.True(t, math.IsNaN(none.Ours) && math.IsNaN(none.Last) && none.Few())
}

// Where the forecast is the truth, its 90 % band holds 90 % of the readings.
func TestJudge_Calibrated(t *testing.T) {
	rng := seeded(5, 5)
	held := 0
	const n = 400
	for i := range n {
		ln := make([]float64, 400)
		for p := range ln {
			ln[p] = 1 + 0.6*rng.NormFloat64()
		}
		c := forecast.Count{Units: 20, Scale: 1, K: func(float64) float64 { return 0.8 }}
		drawn, err := c.Counted(ln, uint64(i))
		require.NoError(t, err)
		came, err := c.Counted([]float64{1 + 0.6*rng.NormFloat64()}, uint64(n+i))
		require.NoError(t, err)
		j, err := forecast.Judge(drawn, came[0], 1, math.NaN())
		require.NoError(t, err)
		if j.In90 {
			held++
		}
	}
	require.InDelta(t, 0.9, float64(held)/n, 4*math.Sqrt(0.09/n))
}
