package label_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
)

// A maximum per season, read as one per year, is never looser than the season
// of a farm of the south: what is allowed keeps to it there too.
func TestSeasonAsYear_NeverLooserInTheSouth(t *testing.T) {
	l := label.SeasonAsYear(with(func(l *farm.Label) { l.MaxApplications, l.MaxPer = farm.Value(2), farm.PerSeason }))

	// By hand: December and January are one season, and two calendar years.
	r := ask(l, "2027-02-01")
	r.History = puts(l, "2026-12-20", "2027-01-10")
	d := label.Plan(r)
	require.False(t, d.Allowed, "the third of the season, the second of the calendar year")
	require.Equal(t, "2027-12-20", d.Earliest.String())

	start := civil.MustParse("2025-01-01")
	rapid.Check(t, func(t *rapid.T) {
		r := ask(l, start.AddDays(rapid.IntRange(0, 1200).Draw(t, "day")).String())
		season := farm.SeasonOf(r.Date, true)
		in := 0
		for _, n := range rapid.SliceOfNDistinct(rapid.IntRange(0, 1200), 0, 6, rapid.ID[int]).Draw(t, "before") {
			on := start.AddDays(n)
			x := put(l, on.String())
			x.ID = int64(n + 1)
			r.History = append(r.History, x)
			if season.Holds(on) {
				in++
			}
		}
		if label.Plan(r).Allowed && in >= 2 {
			t.Fatalf("the third in %s was allowed", season.Name())
		}
	})
}
