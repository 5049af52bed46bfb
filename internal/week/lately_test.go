package week_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/farm"
)

// Animals that were let out before the new year still live, and so do those
// that are not offered for this farm: a product that harms them is no step.
func TestProduct_HarmsAnimalsLetOutLately(t *testing.T) {
	for name, x := range map[string]struct {
		agent, ago string
		want       bool
	}{
		"last season's": {"cool", "2026-06-20", true},
		"not offered":   {"own_mites", "2026-07-01", true},
		"long ago":      {"cool", "2026-05-20", false},
		"another bed":   {"", "", false},
	} {
		l := read("oil", "oil", "slug")
		in := input(found("B1", slugs(), today, 9))
		in.Labels = []farm.Label{l}
		in.Lately = []farm.Release{{Bed: "B9", Agent: "cool", Date: today}}
		if x.agent != "" {
			in.Lately = append(in.Lately, farm.Release{Bed: "B1", Agent: x.agent, Date: day(x.ago)})
		}
		list := build(t, in, nil)
		require.Equal(t, !x.want, has(list, "do:slug:label:oil"), name)
		require.Equal(t, x.want, has(list, "not:slug:oil:agents"), name)
	}
}

// A bed whose re-entry interval nobody has read stays closed, however long ago
// the application was.
func TestReentry_UnreadStaysClosed(t *testing.T) {
	l := bait()
	l.REIHours = farm.Stated[float64]{}
	in := input(found("B1", slugs(), today, 1))
	treated(&in, []farm.Label{l}, put(1, "B1", l, "slug", "2026-03-01"))
	list := build(t, in, nil)
	require.Contains(t, text(list), "B1 is closed until the label is read")
	require.Len(t, list.Closed, 1)
}
