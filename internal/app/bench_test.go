package app

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime/debug"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"
)

var (
	lastRound = civil.MustParse("2026-07-20")
	benchNow  = time.Date(2026, 7, 21, 12, 0, 0, 0, time.UTC)
)

// bigFarm is an invented farm of 200 beds and 12 pests. In each season up to
// 2026 every pest was counted in every bed in eight weekly rounds. The function
// opens a copy of its store, and gives the function that adds another round to
// it, in so many of the beds.
func bigFarm(b *testing.B, seasons int) func(b *testing.B) (*App, func(day civil.Date, beds int)) {
	ctx := context.Background()
	cat, err := loadCatalog()
	require.NoError(b, err)
	f := farm.Farm{Name: "Bench (invented)", TimeZone: "UTC", Units: "metric"}
	units := map[string]string{}
	for _, p := range cat.Pests() {
		if proto, ok := cat.Protocol(p.Key, ""); ok && len(f.Pests) < 12 {
			f.Pests = append(f.Pests, p.Key)
			units[p.Key] = proto.Unit
		}
	}
	require.Len(b, f.Pests, 12)
	first := filepath.Join(b.TempDir(), "first.leafturn")
	st, err := store.Create(ctx, first, f)
	require.NoError(b, err)
	rng := rand.New(rand.NewPCG(1, 1))
	code := func(i int) string { return fmt.Sprintf("B%d", i+1) }
	round := func(tx *store.Tx, day civil.Date, beds int) error {
		for i := range beds {
			for _, pest := range f.Pests {
				v := farm.Visit{Bed: code(i), Pest: pest, Unit: units[pest], Stratum: farm.Random, Date: day, Counts: make([]farm.UnitCount, 10)}
				for u := range v.Counts {
					v.Counts[u] = farm.UnitCount{Count: int(rng.ExpFloat64() * 2), Seen: true}
				}
				if _, err := tx.AddVisit(v, benchNow); err != nil {
					return err
				}
			}
		}
		return nil
	}
	require.NoError(b, st.Update(ctx, func(tx *store.Tx) error {
		for i := range 200 {
			if _, err := tx.AddBed(farm.Bed{Code: code(i), LengthM: 20, WidthM: 1, Plants: 60}); err != nil {
				return err
			}
		}
		for season := range seasons {
			end := lastRound
			end.Year -= season
			for week := range 8 {
				if err := round(tx, end.AddDays(-7*week), 200); err != nil {
					return err
				}
			}
		}
		return nil
	}))
	require.NoError(b, st.Close())
	whole, err := os.ReadFile(first)
	require.NoError(b, err)
	return func(b *testing.B) (*App, func(day civil.Date, beds int)) {
		path := filepath.Join(b.TempDir(), "farm.leafturn")
		require.NoError(b, os.WriteFile(path, whole, 0o600))
		st, err := store.Open(ctx, path)
		require.NoError(b, err)
		b.Cleanup(func() { _ = st.Close() })
		a, err := newApp(ctx, st, benchNow, false)
		require.NoError(b, err)
		return a, func(day civil.Date, beds int) {
			require.NoError(b, st.Update(ctx, func(tx *store.Tx) error { return round(tx, day, beds) }))
		}
	}
}

// BenchmarkVerdicts gives the verdicts of a week for 200 beds and 12 pests,
// eight rounds into the season: by a program that has only just started, by
// one that runs on a week later, when a round has been stored since its last list
// (in all beds, in a quarter of them, in none), and the same list asked for
// again. Five seasons should cost what one does.
func BenchmarkVerdicts(b *testing.B) {
	defer debug.SetGCPercent(debug.SetGCPercent(400)) // as the program does
	for _, seasons := range []int{1, 5} {
		verdicts := func(b *testing.B, a *App, on civil.Date) {
			s, err := a.snapshot(context.Background(), on)
			require.NoError(b, err)
			list, err := a.assessments(s, true)
			require.NoError(b, err)
			require.Len(b, list, 2400)
		}
		open := bigFarm(b, seasons)
		day := lastRound.AddDays(1)
		a, _ := open(b)
		b.Run(fmt.Sprintf("seasons=%d/just-started", seasons), func(b *testing.B) {
			for b.Loop() {
				a.memory = memory{}
				verdicts(b, a, day)
			}
		})
		b.Run(fmt.Sprintf("seasons=%d/again", seasons), func(b *testing.B) {
			verdicts(b, a, day)
			for b.Loop() {
				verdicts(b, a, day)
			}
		})
		for _, beds := range []int{0, 50, 200} {
			b.Run(fmt.Sprintf("seasons=%d/new-visits=%d", seasons, 12*beds), func(b *testing.B) {
				for b.Loop() {
					b.StopTimer()
					a, store := open(b)
					verdicts(b, a, day)
					store(lastRound.AddDays(7), beds)
					b.StartTimer()
					verdicts(b, a, lastRound.AddDays(8))
				}
			})
		}
	}
}
