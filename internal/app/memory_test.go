package app_test

import (
	"bytes"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/render"
)

// A program that runs on says what one that has just started says, after each
// thing that can change a list: what it keeps is never old.
func TestMemory_NeverOld(t *testing.T) {
	path := testPath(t)
	a := newFarm(t, path, summer, app.FarmOptions{Pests: p("slug, mite, earwig"), LastFrost: p("04-25")})
	step := func(said string, err error) {
		t.Helper()
		require.NoError(t, err)
		require.NotEmpty(t, said)
	}
	// The last two lists are of days that the next call begins with: they are kept.
	lists := t.TempDir()
	same := func(what string) string {
		t.Helper()
		keeps, err := app.Open(ctx, path, summer) // and one that finds the lists of those before it
		require.NoError(t, err)
		keeps.KeepLists(lists)
		defer func() { require.NoError(t, keeps.Close()) }()
		fresh, err := app.Open(ctx, path, summer)
		require.NoError(t, err)
		defer func() { require.NoError(t, fresh.Close()) }()
		var last string
		for _, back := range []int{0, 1, 7, 0, 30, 14, 1, 0} {
			on := fresh.Today().AddDays(-back)
			var out [3]bytes.Buffer
			for i, x := range []*app.App{fresh, a, keeps} {
				doc, err := x.Week(ctx, on)
				require.NoError(t, err, what)
				require.NoError(t, render.JSON(&out[i], *doc))
			}
			require.Equal(t, out[0].String(), out[1].String(), "%s, the list of %s", what, on)
			require.Equal(t, out[0].String(), out[2].String(), "%s, the list of %s", what, on)
			if back == 0 {
				last = out[0].String()
			}
		}
		return last
	}
	for _, code := range []string{"A1", "A2", "B1", "C9"} {
		step(a.AddBed(ctx, app.BedOptions{Code: code, Size: "10 m x 1.2 m", Plants: "60", Site: "outdoor"}))
	}
	other, err := app.Open(ctx, path, summer) // another process writes as well
	require.NoError(t, err)
	defer func() { require.NoError(t, other.Close()) }()
	before := same("bare beds")
	change := func(what string) {
		t.Helper()
		now := same(what)
		require.NotEqual(t, before, now, "%s changes the list", what)
		before = now
	}
	step(a.Stage(ctx, civil.MustParse("2026-05-20"), "emerged", []string{"A1", "A2", "B1", "C9"}, ""))
	change("a stage")
	for week := range 6 {
		on := a.Today().AddDays(-7*week - 1)
		for i, bed := range []string{"A1", "A2", "B1"} {
			step(a.CountWords(ctx, []string{bed, "slug", fmt.Sprint(week % 3), "0", fmt.Sprint(2 + i), "1", "0", "soil=moist", "air=14C"}, app.CountOptions{Date: on}))
		}
	}
	change("six rounds of counts")
	step(a.CountWords(ctx, []string{"A2", "slug", "9", "4", "0", "12", "1", "soil=moist", "air=14C"}, app.CountOptions{Date: a.Today()}))
	change("one more count")
	step(other.CountWords(ctx, []string{"B1", "slug", "9", "4", "0", "12", "1", "soil=moist", "air=14C"}, app.CountOptions{Date: a.Today()}))
	change("a count by another process")
	step(a.CountWords(ctx, []string{"A1", "slug", "0", "0", "30", "0", "0", "soil=moist", "air=14C"}, app.CountOptions{Date: a.Today().AddDays(-10)}))
	change("a count entered late")
	step(a.Void(ctx, "visit", "19", "the wrong bed"))
	change("a void")
	step(a.Void(ctx, "visit", "20", "the wrong bed"))
	step(a.CountWords(ctx, []string{"A1", "slug", "8", "7", "9", "12", "1", "soil=moist", "air=14C"}, app.CountOptions{Date: a.Today()}))
	change("a void and a count in its place")
	yesterday := a.Today().AddDays(-1)
	step(a.CountWords(ctx, []string{"C9", "slug", "0", "0", "0", "0", "0", "0", "0", "0", "0"}, app.CountOptions{Date: yesterday}))
	change("a count of none without a note of the soil")
	step(a.CountWords(ctx, []string{"C9", "earwig", "0", "0", "1", "soil=dry", "air=14C"}, app.CountOptions{Date: yesterday}))
	change("the soil noted with another pest")
	step(a.Did(ctx, a.Today(), "slug", "night_pick", []string{"A1"}, "", farm.DoneMore{}))
	change("a step done")
	step(a.Stage(ctx, civil.MustParse("2026-07-01"), "budding", []string{"A1"}, ""))
	change("a later stage")
	step(a.SetThreshold(ctx, a.Today(), "slug", "act", "40", "", "they do no harm here"))
	change("a level of the farm's own")
	cost := "5"
	step(a.SetFarm(ctx, app.FarmOptions{WaitingCost: &cost}))
	same("the cost of waiting")
	step(a.SetFarm(ctx, app.FarmOptions{Area: p("japanese_beetle_established"), Pests: p("slug, mite, earwig, aphid")}))
	change("another pest")
	step(a.AddBed(ctx, app.BedOptions{Code: "C1", Size: "10 m x 1.2 m", Plants: "60", Site: "outdoor"}))
	same("another bed")
}
