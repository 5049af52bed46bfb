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
