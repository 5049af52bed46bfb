package label_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/farm"
	"leafturn/internal/label"
)

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
