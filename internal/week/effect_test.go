package week_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/effect"
	"leafturn/internal/farm"
	"leafturn/internal/week"
)

// The farm's own results stand with a step; one that failed twice is passed
// over, with the reason; one try passes nothing over.
func TestBuild_OwnResults(t *testing.T) {
	in := input(found("B1", slugs(), today, 9))
	in.Labels = []farm.Label{bait()}
	good := effect.Own{Key: "slug_pick", Name: "pick", Tries: 2, Percent: 60, Low: 40, High: 75, Compared: true}
	in.Own = map[string][]effect.Own{"slug": {good}}
	l := build(t, in, nil)
	require.Contains(t, line(t, l, "do:slug:slug_pick").Details, "tried here 2 times this season: 60 % fewer (likely between 40 % fewer and 75 % fewer)")

	for _, key := range []string{"slug_pick", "label:bait"} {
		bad := effect.Own{Key: key, Name: "x", Tries: 1, Percent: 0, Low: -40, High: 20}
		in.Own = map[string][]effect.Own{"slug": {bad}}
		require.True(t, has(build(t, in, nil), "do:slug:"+key), "once")
		bad.Tries = 2
		in.Own = map[string][]effect.Own{"slug": {bad}}
		l = build(t, in, nil)
		require.False(t, has(l, "do:slug:"+key), key)
		no := line(t, l, "not:slug:"+key+":failed")
		require.Equal(t, week.Avoid, no.Section)
		require.Contains(t, no.Why, "tried here 2 times this season")
		require.Contains(t, no.Why, "take another step first")
	}
}
