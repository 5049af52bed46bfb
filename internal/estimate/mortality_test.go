package estimate_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/estimate"
)

// 26 of 40 died and 1 of 40 in the check (the EPA's example of Abbott's
// formula, EF-02): the interval by hand, with SE² = 1/14 - 1/40 + 1/39 - 1/40.
func TestMortalityInterval(t *testing.T) {
	iv, err := estimate.MortalityInterval(26, 40, 1, 40, 0.95)
	require.NoError(t, err)
	se := math.Sqrt(1/14.0 - 1/40.0 + 1/39.0 - 1/40.0)
	lr := math.Log((14.0 / 40) / (39.0 / 40))
	require.InDelta(t, 1-math.Exp(lr+1.959963984540054*se), iv.Low, 1e-12)
	require.InDelta(t, 1-math.Exp(lr-1.959963984540054*se), iv.High, 1e-12)
	all, err := estimate.MortalityInterval(40, 40, 1, 40, 0.95)
	require.NoError(t, err)
	require.True(t, all.Low > 0.6 && all.High < 1 && all.Low < all.High, "%+v", all)
	for _, x := range [][4]int{{1, 0, 0, 1}, {2, 1, 0, 1}, {0, 1, 1, 1}, {-1, 1, 0, 1}} {
		_, err := estimate.MortalityInterval(x[0], x[1], x[2], x[3], 0.95)
		require.ErrorIs(t, err, estimate.ErrDomain)
	}
}

// Few animals of which none died say little: an interval of no width would be a
// lie. Its ends are where Pearson's chi-square of both sides, at the likeliest
// shares with that ratio of the living, is the quantile: searched for here.
func TestMortalityInterval_NoneDied(t *testing.T) {
	const z2 = 3.841458820694124
	chi := func(n, m, ratio float64) float64 { // all live; share that lives: ratio p of the treated, p of the check
		best := math.Inf(1)
		likeliest := math.Inf(-1)
		for i := 1; i <= 200_000; i++ {
			p := math.Min(1, 1/ratio) * float64(i) / 200_000
			if l := n*math.Log(ratio*p) + m*math.Log(p); l > likeliest {
				likeliest = l
				best = n*(1-ratio*p)/(ratio*p) + m*(1-p)/p
			}
		}
		return best
	}
	for _, n := range []int{1, 3, 10, 100} {
		iv, err := estimate.MortalityInterval(0, n, 0, 2*n, 0.95)
		require.NoError(t, err)
		require.InEpsilon(t, z2, chi(float64(n), float64(2*n), 1-iv.High), 1e-6)
		require.InEpsilon(t, z2, chi(float64(n), float64(2*n), 1-iv.Low), 1e-6)
		require.True(t, iv.Low < 0 && iv.High > 0)
	}
}
