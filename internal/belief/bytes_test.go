package belief_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/belief"
	"leafturn/internal/civil"
)

// A belief that was written down is the very same, and goes on as it would have.
func TestBytes(t *testing.T) {
	c := belief.Clump{K: 0.7}
	seen := belief.Weak()
	seen.Date = civil.MustParse("2026-07-06")
	seen, err := belief.Update(seen, belief.Evidence{Counts: []int{0, 3, 1, 9}}, c)
	require.NoError(t, err)
	for _, b := range []belief.Belief{belief.Weak(), seen} {
		again, err := belief.FromBytes(b.Bytes())
		require.NoError(t, err)
		require.Equal(t, b, again)
		g := belief.Growth{Rate: 0.05, RateSD: 0.02, Noise: 0.01, HalfLife: 30, ResetAfter: 90}
		want, err := belief.Carry(b, 7, g)
		require.NoError(t, err)
		got, err := belief.Carry(again, 7, g)
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
	for _, bad := range [][]byte{nil, {1}, seen.Bytes()[:100], append(seen.Bytes(), 0)} {
		_, err := belief.FromBytes(bad)
		require.ErrorIs(t, err, belief.ErrDomain)
	}
}
