package app

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"
)

var (
	lastRound = civil.MustParse("2026-07-20")
	benchNow  = time.Date(2026, 7, 21, 12, 0, 0, 0, time.UTC)
)

// bigFarm is an invented farm of 200 beds and 12 pests. In each season up to
// 2026 every pest was counted in every bed in eight weekly rounds.
func bigFarm(b *testing.B, seasons int) *App {
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
	st, err := store.Create(ctx, filepath.Join(b.TempDir(), "farm.leafturn"), f)
	require.NoError(b, err)
	b.Cleanup(func() { _ = st.Close() })
	rng := rand.New(rand.NewPCG(1, 1))
	require.NoError(b, st.Update(ctx, func(tx *store.Tx) error {
		for i := range 200 {
			code := fmt.Sprintf("B%d", i+1)
			if _, err := tx.AddBed(farm.Bed{Code: code, LengthM: 20, WidthM: 1, Plants: 60}); err != nil {
				return err
			}
			for season := range seasons {
				end := lastRound
				end.Year -= season
				for _, pest := range f.Pests {
					for week := range 8 {
						v := farm.Visit{Bed: code, Pest: pest, Unit: units[pest], Stratum: farm.Random, Date: end.AddDays(-7 * week), Counts: make([]farm.UnitCount, 10)}
						for u := range v.Counts {
							v.Counts[u] = farm.UnitCount{Count: int(rng.ExpFloat64() * 2), Seen: true}
						}
						if _, err := tx.AddVisit(v, benchNow); err != nil {
							return err
						}
					}
				}
			}
		}
		return nil
	}))
	a, err := newApp(ctx, st, benchNow)
	require.NoError(b, err)
	return a
}

// BenchmarkVerdicts gives the verdicts of a week for 200 beds and 12 pests,
// eight rounds into the season: with nothing kept, and with the beliefs of the
// visits kept from an earlier list of the same run. Five seasons should cost
// what one does.
func BenchmarkVerdicts(b *testing.B) {
	for _, seasons := range []int{1, 5} {
		a := bigFarm(b, seasons)
		verdicts := func(b *testing.B) {
			s, err := a.snapshot(context.Background(), lastRound.AddDays(1))
			require.NoError(b, err)
			list, err := a.assessments(s, true)
			require.NoError(b, err)
			require.Len(b, list, 2400)
		}
		b.Run(fmt.Sprintf("seasons=%d/nothing-kept", seasons), func(b *testing.B) {
			for b.Loop() {
				a.beliefs = assess.Beliefs{}
				verdicts(b)
			}
		})
		b.Run(fmt.Sprintf("seasons=%d/kept", seasons), func(b *testing.B) {
			verdicts(b)
			for b.Loop() {
				verdicts(b)
			}
		})
	}
}
