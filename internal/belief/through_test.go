package belief_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/belief"
	"leafturn/internal/estimate"
)

// Through is Carry and Update one after the other, to the last bit.
func TestThrough(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from := belief.Weak()
		if rapid.Bool().Draw(t, "known") {
			from = must(belief.Update(from, belief.Evidence{Date: day, Counts: []int{0, 4, 1}}, mites))
		} else {
			from.Date = day
		}
		b, before := from, from.Exceeds(2)
		var steps []belief.Step
		for range rapid.IntRange(0, 8).Draw(t, "steps") {
			g := belief.UnknownGrowth()
			g.Rate = rapid.SampledFrom([]float64{0, 0, 0.1, -0.06}).Draw(t, "rate")
			like, err := belief.NewLikelihood(rapid.SampledFrom(laws).Draw(t, "law"), 1)
			require.NoError(t, err)
			s := belief.Step{Days: rapid.SampledFrom([]int{0, 0, 1, 7, 7, 30, 130}).Draw(t, "days"), Growth: g, Like: like}
			s.Evidence.Date = b.Date.AddDays(s.Days)
			s.Evidence.Counts = rapid.SliceOfN(rapid.IntRange(0, 30), 0, 9).Draw(t, "counts")
			if rapid.Bool().Draw(t, "scored") {
				s.Evidence.Presence = estimate.Presence{Infested: 2, Looked: 9}
			}
			steps = append(steps, s)
			b = must(belief.Carry(b, s.Days, s.Growth))
			b = must(like.Update(b, s.Evidence))
		}
		got := must(belief.Through(from, steps))
		require.Equal(t, b, got)
		require.Equal(t, before, from.Exceeds(2), "it changed what it began with")
		again := must(belief.Through(from, steps))
		require.Equal(t, got, again)
	})
	like, err := belief.NewLikelihood(mites, 1)
	require.NoError(t, err)
	_, err = belief.Through(belief.Weak(), []belief.Step{{Days: -1, Growth: belief.UnknownGrowth(), Like: like}})
	require.ErrorIs(t, err, belief.ErrDomain)
	_, err = belief.Through(belief.Weak(), []belief.Step{{Growth: belief.UnknownGrowth(), Like: like, Evidence: belief.Evidence{Counts: []int{-1}}}})
	require.ErrorIs(t, err, belief.ErrDomain)
}
