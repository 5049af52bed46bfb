package label_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/farm"
	"leafturn/internal/label"
)

// "Do not apply to water" is kept apart from a distance, in three states
// (labels.md: buffer distance; no application to water).
func TestPlan_NoWater(t *testing.T) {
	at := func(state farm.Stated[bool], metres *float64, applying bool) label.Decision {
		r := ask(with(func(l *farm.Label) { l.NoWater = state }), "2026-06-01")
		r.WaterM, r.Applying = metres, applying
		return label.Plan(r)
	}
	num := func(v float64) *float64 { return &v }
	yes, no := farm.Value(true), farm.Value(false)
	require.Equal(t, "no application to water", refused(t, at(farm.Stated[bool]{}, num(50), false), label.CodeUnknown, "").Field, "a blank is no permission")
	for _, s := range []farm.Stated[bool]{no, farm.None[bool]()} {
		d := at(s, nil, true)
		allowed(t, d)
		require.NotContains(t, strings.Join(d.Conditions, "|"), "water")
	}
	require.False(t, refused(t, at(yes, num(0), false), label.CodeWater, "2026-06-01").Unknown)
	require.True(t, refused(t, at(yes, nil, true), label.CodeWater, "2026-06-01").Unknown)
	for _, m := range []*float64{nil, num(0.5)} {
		d := at(yes, m, false)
		allowed(t, d)
		require.Contains(t, strings.Join(d.Conditions, "|"), "none of it into a ditch, pond, stream or standing water")
	}
}

// What the farm and the bed have said of their place is held against the
// label; what they have not stays unknown.
func TestWhere(t *testing.T) {
	num := func(v float64) *float64 { return &v }
	l := with(func(l *farm.Label) {
		l.WaterBuffer, l.Animals, l.Bees = farm.Value(10.0), farm.Value("keep pets out"), farm.Value(farm.BeesAfterSunset)
	})
	r := ask(l, "2026-07-20")
	r.Bloom, r.Ground = label.BloomNone, label.BloomNone
	r.Start, r.End, r.Applying = at("2026-07-21T01:40:00Z"), at("2026-07-21T02:00:00Z"), true // 22:00 in New York
	d := label.Plan(r.Where(farm.Farm{}))
	for _, code := range []string{label.CodeWater, label.CodeAnimals, label.CodeSunset} {
		require.True(t, d.Has(code), code)
	}
	for _, n := range d.Refusals {
		require.True(t, n.Unknown, "%+v", n)
	}

	f := farm.Farm{FarmMore: farm.FarmMore{Latitude: num(40.7), Longitude: num(-74)}}
	r.Bed.WaterM, r.Bed.Animals = num(12), " None "
	require.True(t, label.Plan(r.Where(f)).Allowed, "%+v", label.Plan(r.Where(f)).Refusals)

	r.Bed.WaterM, r.Bed.Animals = num(9.5), "hens"
	r.Start, r.End = r.Start.Add(-6*time.Hour), r.End.Add(-6*time.Hour)
	d = label.Plan(r.Where(f))
	for _, code := range []string{label.CodeWater, label.CodeAnimals, label.CodeSunset} {
		require.True(t, d.Has(code), code)
	}
	for _, n := range d.Refusals {
		require.False(t, n.Unknown, "%+v", n)
	}
	f.Latitude = num(95)
	require.True(t, r.Where(f).Sunset.IsZero(), "no such place")
}
