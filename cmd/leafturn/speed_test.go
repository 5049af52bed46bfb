package main_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"
)

// built is the program as it is given to people, made once.
func built(b *testing.B) string {
	exe := filepath.Join(b.TempDir(), "leafturn")
	out, err := exec.Command("go", "build", "-o", exe, ".").CombinedOutput()
	require.NoError(b, err, "%s", out)
	return exe
}

// million makes the store of an invented farm with 1,000,000 counts of one
// season: 200 beds, 12 pests, eight weekly rounds, 52 or 53 units a visit.
func million(b *testing.B) string {
	ctx := context.Background()
	cat, err := catalog.Load()
	require.NoError(b, err)
	f := farm.Farm{Name: "Bench (invented)", TimeZone: "UTC", Units: "metric"}
	units := map[string]string{}
	for _, p := range cat.Pests() {
		if proto, ok := cat.Protocol(p.Key, ""); ok && len(f.Pests) < 12 {
			f.Pests = append(f.Pests, p.Key)
			units[p.Key] = proto.Unit
		}
	}
	path := filepath.Join(b.TempDir(), "farm.leafturn")
	st, err := store.Create(ctx, path, f)
	require.NoError(b, err)
	at := time.Date(2026, 7, 21, 9, 0, 0, 0, time.UTC)
	require.NoError(b, st.Update(ctx, func(tx *store.Tx) error {
		for i := range 200 {
			if _, err := tx.AddBed(farm.Bed{Code: fmt.Sprintf("B%d", i+1), LengthM: 20, WidthM: 1, Plants: 60}); err != nil {
				return err
			}
		}
		return nil
	}))
	var done store.Loaded
	require.NoError(b, st.Bulk(ctx, func(tx *store.Tx) (err error) {
		rng := rand.New(rand.NewPCG(1, 1))
		done, err = tx.AddVisits(func(yield func(farm.Visit, error) bool) {
			last := civil.MustParse("2026-07-20")
			for i := range 8 * 200 * 12 {
				pest := f.Pests[i%12]
				v := farm.Visit{Bed: fmt.Sprintf("B%d", i/12%200+1), Pest: pest, Unit: units[pest], Stratum: farm.Random, Date: last.AddDays(-7 * (i / 2400)), Counts: make([]farm.UnitCount, 52+i%12/11)}
				for u := range v.Counts {
					v.Counts[u] = farm.UnitCount{Count: int(rng.ExpFloat64() * 2), Seen: true}
				}
				if !yield(v, nil) {
					return
				}
			}
		}, at, store.Load{})
		return err
	}))
	require.Equal(b, 1_000_000, done.Counts)
	require.NoError(b, st.Close())
	return path
}

// timed runs programs in turn, n times each, and returns the median of each in
// milliseconds. They write to nowhere.
func timed(b *testing.B, n int, env []string, programs ...[]string) []float64 {
	took := make([][]float64, len(programs))
	for range n {
		for i, p := range programs {
			cmd := exec.Command(p[0], p[1:]...)
			cmd.Env = append(os.Environ(), env...)
			var said strings.Builder
			cmd.Stderr = &said
			start := time.Now()
			err := cmd.Run()
			took[i] = append(took[i], float64(time.Since(start).Microseconds())/1000)
			require.NoError(b, err, "%v: %s", p, said.String())
		}
	}
	out := make([]float64, len(programs))
	for i := range took {
		slices.Sort(took[i])
		out[i] = took[i][n/2]
	}
	return out
}

// weekSQL reads what a week's list is made from: of each bed and pest the last
// count, and number, sum and sum of squares of the eight weeks before it.
const weekSQL = `WITH latest AS (SELECT bed_id, pest, unit, max(date) AS last FROM visit WHERE voided_at IS NULL AND date BETWEEN '2026-01-01' AND '2026-07-21' GROUP BY bed_id, pest, unit)
SELECT b.code, l.pest, l.unit, l.last, sum(v.n), sum(v.sum), sum(v.sumsq), sum(v.zeros)
FROM latest l JOIN bed b ON b.id = l.bed_id
JOIN visit v ON v.bed_id = l.bed_id AND v.pest = l.pest AND v.unit = l.unit AND v.stratum = 'random' AND v.voided_at IS NULL AND v.date > date(l.last, '-56 days') AND v.date <= l.last
GROUP BY l.bed_id, l.pest, l.unit`

// BenchmarkProcess times whole processes on a store with 1,000,000 counts, and
// on an empty one, beside the sqlite3 shell where it is there (apt install
// sqlite3).
func BenchmarkProcess(b *testing.B) {
	exe, path, cache := built(b), million(b), b.TempDir()
	empty := filepath.Join(b.TempDir(), "empty.leafturn")
	st, err := store.Create(context.Background(), empty, farm.Farm{Name: "Empty (invented)", TimeZone: "UTC", Units: "metric"})
	require.NoError(b, err)
	require.NoError(b, st.Close())
	env := []string{"XDG_CACHE_HOME=" + cache, "HOME=" + cache}
	on := func(db string, words ...string) []string {
		return append([]string{exe, "--db", db, "--now", "2026-07-21T12:00:00Z"}, words...)
	}
	shell, shellErr := exec.LookPath("sqlite3")
	beside := func(b *testing.B, db, sql string, ours []string, n int) {
		programs := [][]string{ours}
		if shellErr == nil {
			programs = append(programs, []string{shell, db, sql})
		}
		var ms []float64
		for b.Loop() {
			ms = timed(b, n, env, programs...)
		}
		b.ReportMetric(ms[0], "ms")
		if shellErr == nil {
			b.ReportMetric(ms[1], "ms-shell")
			b.ReportMetric(ms[0]/ms[1], "x-shell")
		} else {
			b.Log("there is no sqlite3 to compare with: apt install sqlite3")
		}
	}
	b.Run("start", func(b *testing.B) { beside(b, empty, "SELECT * FROM farm", on(empty, "farm", "show"), 15) })
	b.Run("week-first", func(b *testing.B) {
		for b.Loop() {
			var took []float64
			for range 3 {
				require.NoError(b, os.RemoveAll(filepath.Join(cache, "leafturn")))
				took = append(took, timed(b, 1, env, on(path, "week"))...)
			}
			b.ReportMetric(slices.Min(took), "ms")
		}
	})
	b.Run("week", func(b *testing.B) {
		timed(b, 1, env, on(path, "week")) // the list is kept from here on
		beside(b, path, weekSQL, on(path, "week"), 9)
	})
	b.Run("week-json", func(b *testing.B) { beside(b, path, weekSQL, on(path, "week", "--json"), 9) })
	b.Run("plot-svg", func(b *testing.B) {
		beside(b, path, weekSQL, on(path, "plot", "slug", "--bed", "B7", "--out", filepath.Join(cache, "b7.svg")), 5)
	})
	b.Run("plot-png", func(b *testing.B) {
		beside(b, path, weekSQL, on(path, "plot", "slug", "--bed", "B7", "--out", filepath.Join(cache, "b7.png")), 5)
	})
}
