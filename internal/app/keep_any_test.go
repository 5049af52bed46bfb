package app_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/civil"
)

// Whatever file comes to lie at the store's path, with whatever times, at
// whatever clock, around the day on which the season changes: a list that is put
// together from what was kept says what a new one says.
func TestParts_AnyStore(t *testing.T) {
	for name, c := range map[string]struct {
		at    string
		first time.Time // the first day of a season
	}{
		"north": {"51.5, -0.1", time.Date(2027, time.January, 1, 9, 0, 0, 0, time.UTC)},
		"south": {"-42.9, 147.3", time.Date(2026, time.July, 1, 9, 0, 0, 0, time.UTC)},
	} {
		t.Run(name, func(t *testing.T) { anyStore(t, c.at, c.first) })
	}
}

func anyStore(t *testing.T, at string, first time.Time) {
	path, lists := testPath(t), t.TempDir()
	rng := rand.New(rand.NewPCG(3, uint64(len(at))))
	pick := func(words ...string) string { return words[rng.IntN(len(words))] }
	clock := func() time.Time {
		return first.AddDate(0, 0, rng.IntN(16)-5).Add(time.Duration(rng.IntN(9)) * time.Hour)
	}
	farm := func(name string) {
		for _, end := range []string{"", "-wal", "-shm"} {
			os.Remove(path + end)
		}
		a := newFarm(t, path, first, app.FarmOptions{Name: p(name), Pests: p("slug, mite, thrips, tospovirus, earwig"), At: p(at)})
		for _, code := range []string{"A1", "A2", "B1"} {
			_, err := a.AddBed(ctx, app.BedOptions{Code: code, Size: "10 m x 1.2 m", Plants: "60", Site: "outdoor", Leaves: "40"})
			require.NoError(t, err)
			_, err = a.Stage(ctx, civil.DateIn(first, time.UTC).AddDays(-60), "planted", []string{code}, "")
			require.NoError(t, err)
			for week := range 4 {
				for _, line := range []string{"slug 0 3 1 4 1 5 2 6 0 soil=moist air=14C", "mite 20*0 12*3 8*9", "thrips 9*2 9*8 - -"} {
					_, err := a.CountWords(ctx, strings.Fields(code+" "+line+fmt.Sprint(" ", week)), app.CountOptions{Date: a.Today().AddDays(-7*week - 1)})
					require.NoError(t, err)
				}
			}
		}
		require.NoError(t, a.Close())
	}
	var shelf [][]byte
	lay := func() {
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		shelf = append(shelf, b)
	}
	farm("First field")
	lay()
	farm("Second field")
	lay()
	was, err := os.Stat(path)
	require.NoError(t, err)
	done := map[string]int{}
	for i := range 70 {
		now := clock()
		a, err := app.Open(ctx, path, now)
		require.NoError(t, err)
		today, did := a.Today(), ""
		switch rng.IntN(12) {
		case 0, 1, 2, 3:
			did = pick("A1", "A2", "B1") + " " + pick("slug 1 5 6 0", "slug 2 3 7 0", "slug 0 5 6 1", "mite 30*0 9*4 60", "mite 60 30*0 9*4", "mite 12/50", "thrips 9*8 - 9*2 hotspot", "thrips 4*9 edge by=AB", "tospovirus 1/60", "mite 9*12 40*1 +predatory_mite=30 note=x", "slug 6*9 damage=4/50", "earwig 9*1 5*2 30", "earwig 30 9*1 5*2", "earwig 9*1 30 5*2")
			a.As("count "+did, "")
			_, err = a.CountWords(ctx, strings.Fields(did), app.CountOptions{Date: today.AddDays(-rng.IntN(12))})
		case 4:
			did = "void"
			_, err = a.Void(ctx, "visit", fmt.Sprint(1+rng.IntN(40)), "a slip")
		case 5:
			did = "undo"
			_, _, err = a.Undo(ctx)
		case 6:
			did = "units"
			_, err = a.SetFarm(ctx, app.FarmOptions{Units: p(pick("us", "metric")), Organic: p(pick("yes", "no")), WorkDays: p(pick("Mon-Sat", "Tue"))})
		case 7:
			did = "place"
			_, err = a.SetFarm(ctx, app.FarmOptions{At: p(pick(at, "51.5, -0.1", "-42.9, 147.3")), Zone: p(pick("UTC", "Pacific/Auckland", "America/Los_Angeles")), Country: p(pick("US", "GB", ""))})
		case 8:
			did = "weather"
			_, err = a.Weather(ctx, app.WeatherOptions{Date: today.AddDays(rng.IntN(9) - 4).String(), Min: pick("6C", "9C"), Max: pick("21C", "29C"), Forecast: true})
		case 9:
			did = "bed"
			_, err = a.SetBed(ctx, app.BedOptions{Code: pick("A1", "A2"), Plants: fmt.Sprint(20 + rng.IntN(60))})
		default:
			did = "another file"
		}
		require.NoError(t, a.Close())
		if did == "another file" {
			k := rng.IntN(len(shelf))
			if rng.IntN(2) == 0 {
				lay()
			}
			if rng.IntN(2) == 0 {
				require.NoError(t, os.Remove(path))
			}
			require.NoError(t, os.WriteFile(path, shelf[k], 0o600))
			require.NoError(t, os.Chtimes(path, was.ModTime(), was.ModTime()))
		}
		if err == nil {
			done[strings.Fields(did)[0]]++
		}
		for range 1 + rng.IntN(2) {
			then := clock()
			if then.Before(now) {
				then = now
			}
			on := civil.DateIn(then, time.UTC).AddDays(-1 - rng.IntN(3)*rng.IntN(6))
			require.Equal(t, listOf(t, path, "", then, on), listOf(t, path, lists, then, on), "change %d, %s (%v), the list of %s at %s", i, did, err, on, then)
		}
	}
	require.Len(t, done, 10, "%v", done)
}

// Two copies of a store in which counts of the same sums were entered in the same
// second are told apart: the one at the path of the other shows its own.
func TestParts_OtherCopy(t *testing.T) {
	path, lists := testPath(t), t.TempDir()
	a := newFarm(t, path, summer, app.FarmOptions{Pests: p("earwig")})
	_, err := a.AddBed(ctx, app.BedOptions{Code: "B1", Size: "10 m x 1 m", Plants: "60", Site: "outdoor"})
	require.NoError(t, err)
	require.NoError(t, a.Close())
	copied, err := os.ReadFile(path)
	require.NoError(t, err)
	said := map[string]bool{}
	for _, line := range []string{"B1 earwig 9*1 5*2 30", "B1 earwig 30 9*1 5*2", "B1 earwig 9*1 30 5*2"} {
		require.NoError(t, os.WriteFile(path, copied, 0o600))
		a, err := app.Open(ctx, path, summer)
		require.NoError(t, err)
		a.As("count "+line, "")
		_, err = a.CountWords(ctx, strings.Fields(line), app.CountOptions{Date: a.Today()})
		require.NoError(t, err)
		require.NoError(t, a.Close())
		for range 2 {
			said[listOf(t, path, lists, summer, a.Today())] = true
		}
		require.True(t, said[listOf(t, path, "", summer, a.Today())])
	}
	require.Len(t, said, 3, "which unit stands out of the others")
}

// A kept list under the name of another is not taken, and what is no file is not
// waited for.
func TestKeepLists_OtherFiles(t *testing.T) {
	path, lists := testPath(t), t.TempDir()
	lightFarm(t, path)
	time.Sleep(50 * time.Millisecond)
	today := civil.DateIn(summer, time.UTC)
	days := []civil.Date{today, today.AddDays(-3)}
	var files []string
	for _, on := range days {
		listOf(t, path, lists, summer, on)
		for name := range filesIn(t, lists) {
			if file := filepath.Join(lists, name); strings.Contains(name, "-") && !slices.Contains(files, file) {
				files = append(files, file)
			}
		}
	}
	require.Len(t, files, 2)
	third := filepath.Join(t.TempDir(), "x")
	require.NoError(t, os.Rename(files[0], third))
	require.NoError(t, os.Rename(files[1], files[0]))
	require.NoError(t, os.Rename(third, files[1]))
	for _, on := range days {
		require.Equal(t, listOf(t, path, "", summer, on), listOf(t, path, lists, summer, on))
	}
	for name, spoil := range map[string]func(file string) error{
		"huge":   func(file string) error { return os.Truncate(file, 1<<40) },
		"folder": func(file string) error { return errors.Join(os.Remove(file), os.Mkdir(file, 0o700)) },
		"loop":   func(file string) error { return errors.Join(os.Remove(file), os.Symlink(file, file)) },
		"endless": func(file string) error {
			return errors.Join(os.Remove(file), os.Symlink("/dev/zero", file))
		},
	} {
		for file := range filesIn(t, lists) {
			require.NoError(t, spoil(filepath.Join(lists, file)), name)
		}
		for _, on := range days {
			require.Equal(t, listOf(t, path, "", summer, on), listOf(t, path, lists, summer, on), name)
		}
		require.NoError(t, os.RemoveAll(lists))
		for _, on := range days {
			listOf(t, path, lists, summer, on)
		}
	}
}
