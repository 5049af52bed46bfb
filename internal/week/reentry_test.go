package week_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/farm"
)

// Where a label prints an interval beside each crop, a bed of another crop than
// dahlias keeps its own.
func TestBuild_ReentryOfTheBedsCrop(t *testing.T) {
	wide := bait()
	wide.REIHours = farm.None[float64]()
	wide.Sites = []farm.LabelSite{{Where: farm.Outdoor, Crop: "snapdragon", REIHours: farm.Value(48.0)}, {Where: farm.Outdoor, Crop: "dahlias", REIHours: farm.Value(4.0)}}
	for crop, closed := range map[string]int{"snapdragon": 1, "": 0, "dahlias": 0} {
		b := bed("B1")
		b.Crop = crop
		in := input(judged(b, slugs()))
		in.Today = day("2026-06-08")
		tr := put(7, "B1", wide, "slug", "2026-06-07")
		tr.End = at("2026-06-07T12:00:00-04:00")
		tr.Start = tr.End.Add(-time.Hour)
		in.Treatments, in.Versions = []farm.Treatment{tr}, map[int64]farm.Label{7: wide}
		require.Len(t, build(t, in, nil).Closed, closed, crop)
	}
}

// The farm's own rule may be stricter than the label, never looser (LR-054).
func TestBuild_TheFarmsOwnInterval(t *testing.T) {
	wide := bait()
	wide.MinIntervalDays = farm.Value(7)
	for _, x := range []struct {
		own, ago int
		refused  string
	}{{0, 8, ""}, {3, 8, ""}, {10, 8, "the farm's own rule"}, {3, 6, "the label asks for 7 days"}} {
		in := input(found("B1", slugs(), today, 9))
		in.Labels, in.Farm.ProductDays = []farm.Label{wide}, x.own
		treated(&in, in.Labels, put(7, "B1", wide, "slug", today.AddDays(-x.ago).String()))
		in.Today = today
		all := fmt.Sprintf("%+v", build(t, in, nil).Lines)
		for _, words := range []string{"the farm's own rule", "the label asks for 7 days"} {
			require.Equal(t, words == x.refused, strings.Contains(all, words), "%+v: %s", x, words)
		}
	}
}
