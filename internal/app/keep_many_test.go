package app_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/farm"
	"leafturn/internal/store"
)

// manyVisits is a farm of 18 beds and 4 pests with a round a week for fifteen weeks,
// some units not looked at, some visits with notes, enemies and scored plants.
func manyVisits(t *testing.T, path string) {
	a := newFarm(t, path, summer, app.FarmOptions{Pests: p("slug, mite, thrips, earwig"), LastFrost: p("04-25")})
	today := a.Today()
	require.NoError(t, a.Close())
	st, err := store.Open(ctx, path)
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(11, 29))
	require.NoError(t, st.Update(ctx, func(tx *store.Tx) error {
		for i := range 18 {
			bed := fmt.Sprintf("B%d", i+1)
			if _, err := tx.AddBed(farm.Bed{Code: bed, LengthM: 10, WidthM: 1, Plants: 60}); err != nil {
				return err
			}
			if _, err := tx.AddStage(farm.StageEvent{Bed: bed, Stage: farm.Planted, Date: today.AddDays(-110)}, summer); err != nil {
				return err
			}
			for pest, unit := range map[string]string{"slug": "trap", "spider_mite": "leaf", "thrips": "card", "earwig": "shelter"} {
				for w := range 15 {
					v := farm.Visit{Bed: bed, Pest: pest, Unit: unit, Stratum: farm.Random, Date: today.AddDays(-7*w - 1), Counts: make([]farm.UnitCount, 12)}
					for u := range v.Counts {
						v.Counts[u] = farm.UnitCount{Count: int(rng.ExpFloat64() * 3), Seen: true}
						if rng.IntN(20) == 0 {
							v.Counts[u] = farm.UnitCount{}
						}
					}
					switch rng.IntN(6) {
					case 0:
						v.Note, v.Observer = "after rain; \"wet\"", "Ann Ö"
					case 1:
						v.Enemies = []farm.EnemyCount{{Enemy: "predatory_mite", Count: 2}}
					case 2:
						v.Presence = &farm.Presence{Infested: 3, Looked: 20}
					}
					if _, err := tx.AddVisit(v, summer.Add(-time.Hour)); err != nil {
						return err
					}
				}
			}
		}
		return nil
	}))
	require.NoError(t, st.Close())
}

// On a new day the counts of the visits, and what was believed some visits ago,
// are not read from the store and not worked out again; the list says what a new
// one says. So it does where their files are damaged.
func TestKeepLists_NewDay(t *testing.T) {
	path, lists := testPath(t), t.TempDir()
	manyVisits(t, path)
	time.Sleep(50 * time.Millisecond)
	reads := func(now time.Time) int64 {
		all, some := readsOfCounts(t, path, lists, now)
		return all + some
	}
	require.NotZero(t, reads(summer))
	for _, kind := range []string{".parts", ".counts", ".beliefs"} {
		require.True(t, slices.ContainsFunc(slices.Collect(maps.Keys(filesIn(t, lists))), func(name string) bool { return strings.HasSuffix(name, kind) }), kind)
	}
	now := summer
	for range 3 {
		now = now.AddDate(0, 0, 1)
		require.Zero(t, reads(now), "no count is read")
		a, err := app.Open(ctx, path, now)
		require.NoError(t, err)
		_, err = a.CountWords(ctx, strings.Fields(fmt.Sprintf("B%d slug 4 0 2 11 - 3 1 0 soil=moist", 1+now.Day()%18)), app.CountOptions{Date: a.Today()})
		require.NoError(t, err)
		on := a.Today()
		require.NoError(t, a.Close())
		require.Equal(t, listOf(t, path, "", now, on), listOf(t, path, lists, now, on))
		for name := range filesIn(t, lists) { // what is kept of the day goes; one bit of the rest is wrong
			file := filepath.Join(lists, name)
			switch filepath.Ext(name) {
			case "", ".parts":
				require.NoError(t, os.Remove(file))
			case ".counts", ".beliefs":
				b, err := os.ReadFile(file)
				require.NoError(t, err)
				spoilt := append([]byte(nil), b...)
				spoilt[len(b)*now.Day()/40] ^= 2
				require.NoError(t, os.WriteFile(file, spoilt, 0o600))
			}
		}
		require.Equal(t, listOf(t, path, "", now, on), listOf(t, path, lists, now, on))
	}
}
