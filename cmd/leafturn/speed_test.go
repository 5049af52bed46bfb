package main_test

import (
	"bufio"
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"
	"leafturn/internal/testkit"
	"leafturn/internal/units"
)

// built is the program as it is given to people, made once.
func built(b testing.TB) string {
	exe := filepath.Join(b.TempDir(), "leafturn")
	out, err := exec.Command("go", "build", "-o", exe, ".").CombinedOutput()
	require.NoError(b, err, "%s", out)
	return exe
}

const benchNow = "2026-07-21T12:00:00Z"

// years makes the store of an invented farm with the counts of yearsVisits.
func years(b *testing.B) string {
	path := yearsFarm(b)
	st, err := store.Open(context.Background(), path)
	require.NoError(b, err)
	var done store.Loaded
	require.NoError(b, st.Bulk(context.Background(), func(tx *store.Tx) (err error) {
		done, err = tx.AddVisits(yearsVisits(b), benchEntered, store.Load{})
		return err
	}))
	require.Equal(b, 1_000_000, done.Counts)
	require.NoError(b, st.Close())
	return path
}

var (
	benchEntered = time.Date(2026, 7, 21, 9, 0, 0, 0, time.UTC)
	benchPests   = []string{"slug", "spider_mite", "thrips", "earwig", "wireworm"}
)

// yearsFarm makes the store of an invented farm of 60 beds without counts. The
// beds have stages and each day its weather, so that all of a list's work is
// asked for.
func yearsFarm(b *testing.B) string {
	ctx := context.Background()
	path := filepath.Join(b.TempDir(), "farm.leafturn")
	st, err := store.Create(ctx, path, farm.Farm{Name: "Bench (invented)", TimeZone: "UTC", Units: "metric", Pests: benchPests})
	require.NoError(b, err)
	stages := []farm.StageEvent{
		{Date: civil.MustParse("2025-05-10"), Stage: farm.Planted}, {Date: civil.MustParse("2025-05-28"), Stage: farm.Emerged}, {Date: civil.MustParse("2025-11-10"), Stage: farm.Dug},
		{Date: civil.MustParse("2026-05-08"), Stage: farm.Planted}, {Date: civil.MustParse("2026-05-26"), Stage: farm.Emerged}, {Date: civil.MustParse("2026-07-10"), Stage: farm.Budding},
	}
	require.NoError(b, st.Update(ctx, func(tx *store.Tx) error {
		for i := range 60 {
			code := fmt.Sprintf("B%d", i+1)
			if _, err := tx.AddBed(farm.Bed{Code: code, LengthM: 20, WidthM: 1, Plants: 60}); err != nil {
				return err
			}
			for _, e := range stages {
				e.Bed = code
				if _, err := tx.AddStage(e, benchEntered); err != nil {
					return err
				}
			}
		}
		for d := civil.MustParse("2025-01-01"); d.Before(civil.MustParse("2026-07-21")); d = d.AddDays(1) {
			mean := 10 - 9*math.Cos(2*math.Pi*float64(d.Time().YearDay()-15)/365)
			low, high := mean-5, mean+5
			if _, err := tx.AddWeather(farm.WeatherDay{Date: d, MinC: &low, MaxC: &high}, benchEntered); err != nil {
				return err
			}
		}
		return nil
	}))
	require.NoError(b, st.Close())
	return path
}

// yearsVisits are 1,000,000 invented counts in some 23,000 visits: 60 beds, 5
// pests, 43 units a visit, a round each week of the last year and a half.
func yearsVisits(b *testing.B) iter.Seq2[farm.Visit, error] {
	cat, err := catalog.Load(units.Metric)
	require.NoError(b, err)
	unit := map[string]string{}
	for _, p := range benchPests {
		proto, ok := cat.Protocol(p, "")
		require.True(b, ok)
		unit[p] = proto.Unit
	}
	return func(yield func(farm.Visit, error) bool) {
		rng := rand.New(rand.NewPCG(1, 1))
		last := civil.MustParse("2026-07-20")
		for i, left := 0, 1_000_000; left > 0; i, left = i+1, left-unitsOfVisit {
			pest := benchPests[i%5]
			v := farm.Visit{Bed: fmt.Sprintf("B%d", i/5%60+1), Pest: pest, Unit: unit[pest], Stratum: farm.Random, Date: last.AddDays(-7 * (i / 300)), Counts: make([]farm.UnitCount, min(unitsOfVisit, left))}
			for u := range v.Counts {
				v.Counts[u] = farm.UnitCount{Count: int(rng.ExpFloat64() * 2), Seen: true}
			}
			if !yield(v, nil) {
				return
			}
		}
	}
}

// statements are all that the store was asked to make the week's list, with
// their values, as the shell takes them.
func statements(b *testing.B, path, lists string) string {
	now, err := time.Parse(time.RFC3339, benchNow)
	require.NoError(b, err)
	var sql strings.Builder
	var one sync.Mutex
	a, err := app.Open(context.Background(), path, now, store.WithTrace(func(query string, args []any) {
		if query == "BEGIN" {
			return
		}
		one.Lock()
		defer one.Unlock()
		for _, x := range args {
			if v, ok := x.(driver.Valuer); ok {
				x, err = v.Value()
				require.NoError(b, err)
			}
			text := fmt.Sprint(x)
			if s, ok := x.(string); ok {
				text = "'" + strings.ReplaceAll(s, "'", "''") + "'"
			}
			query = strings.Replace(query, "?", text, 1)
		}
		sql.WriteString(query + ";\n")
	}))
	require.NoError(b, err)
	a.KeepLists(lists)
	doc, err := a.Week(context.Background(), a.Today())
	require.NoError(b, err)
	require.NoError(b, a.CorrectedSince(context.Background(), doc))
	require.NoError(b, a.Close())
	return sql.String()
}

// program is a command that is timed, what it reads, and what is done before it
// each time.
type program struct {
	words  []string
	in     string
	before func()
}

// timed runs programs in turn, n times each, and returns the median of each in
// milliseconds. They write to nowhere.
func timed(b *testing.B, n int, env []string, programs ...program) []float64 {
	took := make([][]float64, len(programs))
	for range n {
		for i, p := range programs {
			if p.before != nil {
				p.before()
			}
			cmd := exec.Command(p.words[0], p.words[1:]...)
			cmd.Env = append(os.Environ(), env...)
			cmd.Stdin = strings.NewReader(p.in)
			var said strings.Builder
			cmd.Stderr = &said
			start := time.Now()
			err := cmd.Run()
			took[i] = append(took[i], float64(time.Since(start).Microseconds())/1000)
			require.NoError(b, err, "%v: %s", p.words, said.String())
		}
	}
	out := make([]float64, len(programs))
	for i := range took {
		slices.Sort(took[i])
		out[i] = took[i][n/2]
	}
	return out
}

// BenchmarkProcess times whole processes: with an empty store beside a program
// that does nothing, and the week's list and pictures on a store with 1,000,000
// counts. "x-shell" is the time over that of the sqlite3 shell (apt install
// sqlite3) for the same SQL, which is every statement that makes that very list,
// with its values; "x-cold" is the time over the shell's for the statements of a
// first list, where nothing is kept.
func BenchmarkProcess(b *testing.B) {
	exe, path, cache := built(b), years(b), b.TempDir()
	empty := filepath.Join(b.TempDir(), "empty.leafturn")
	st, err := store.Create(context.Background(), empty, farm.Farm{Name: "Empty (invented)", TimeZone: "UTC", Units: "metric"})
	require.NoError(b, err)
	require.NoError(b, st.Close())
	env := []string{"XDG_CACHE_HOME=" + cache, "HOME=" + cache}
	on := func(db string, words ...string) program {
		return program{words: append([]string{exe, "--db", db, "--now", benchNow}, words...)}
	}
	shell, shellErr := exec.LookPath("sqlite3")
	if shellErr != nil {
		b.Log("there is no sqlite3 to compare with: apt install sqlite3")
	}
	forget := func() { require.NoError(b, os.RemoveAll(filepath.Join(cache, "leafturn"))) }
	lists := b.TempDir() // of this program: what another one has made is not taken
	coldSQL := statements(b, path, lists)

	hello := nothing(b)
	for name, p := range map[string]program{"version": {words: []string{exe, "--version"}}, "empty": on(empty, "farm", "show")} {
		b.Run("start-"+name, func(b *testing.B) {
			for b.Loop() {
				ms := timed(b, 15, env, p, program{words: []string{hello}})
				b.ReportMetric(ms[0], "ms")
				b.ReportMetric(ms[1], "ms-nothing")
			}
		})
	}
	beside := func(b *testing.B, n int, ours program, sql string) {
		programs := []program{ours}
		if shellErr == nil {
			programs = append(programs, program{words: []string{shell, "-bail", path}, in: sql}, program{words: []string{shell, "-bail", path}, in: coldSQL})
		}
		var ms []float64
		for b.Loop() {
			ms = timed(b, n, env, programs...)
		}
		b.ReportMetric(ms[0], "ms")
		if shellErr == nil {
			b.ReportMetric(ms[1], "ms-shell")
			b.ReportMetric(ms[0]/ms[1], "x-shell")
			b.ReportMetric(ms[0]/ms[2], "x-cold")
		}
	}
	week := on(path, "week")
	b.Run("week-first", func(b *testing.B) {
		first := week
		first.before = forget
		beside(b, 5, first, coldSQL)
	})
	b.Run("week-new-day", func(b *testing.B) { // all verdicts are new ones
		for b.Loop() {
			forget()
			timed(b, 1, env, week)
			var ms []float64
			for day := range 5 {
				now := "2026-07-" + fmt.Sprint(22+day) + "T12:00:00Z"
				ms = append(ms, timed(b, 1, env, program{words: []string{exe, "--db", path, "--now", now, "week"}})...)
			}
			slices.Sort(ms)
			b.ReportMetric(ms[2], "ms")
		}
	})
	counts := 0
	count := func() { // by one bed after the other
		counts++
		timed(b, 1, env, on(path, append(strings.Fields("count B"+fmt.Sprint(counts%60+1)+" slug soil=moist air=14C --date "+civil.MustParse("2026-07-21").AddDays(-counts/60).String()), "3", "0", fmt.Sprint(counts%7), "1", "2")...))
	}
	b.Run("week-after-count", func(b *testing.B) {
		timed(b, 1, env, week)
		count()
		sql := statements(b, path, lists)
		timed(b, 1, env, week)
		after := week
		after.before = count
		beside(b, 9, after, sql)
	})
	b.Run("count", func(b *testing.B) {
		for b.Loop() {
			start := time.Now()
			for range 9 {
				count()
			}
			b.ReportMetric(float64(time.Since(start).Microseconds())/9000, "ms")
		}
	})
	timed(b, 1, env, week) // the list is kept from here on
	statements(b, path, lists)
	keptSQL := statements(b, path, lists)
	b.Run("week", func(b *testing.B) { beside(b, 9, week, keptSQL) })
	b.Run("week-json", func(b *testing.B) { beside(b, 9, on(path, "week", "--json"), keptSQL) })
	for _, kind := range []string{"svg", "png"} {
		b.Run("plot-"+kind, func(b *testing.B) {
			for b.Loop() {
				b.ReportMetric(timed(b, 9, env, on(path, "plot", "mite", "--bed", "B7", "--out", filepath.Join(cache, "b7."+kind)))[0], "ms")
			}
		})
	}
}

// BenchmarkWeekAfterImport times the week's list after the import of a CSV with
// 1,000,000 counts: as soon as the list that is made ready is there, and in the
// same moment that the import ends.
func BenchmarkWeekAfterImport(b *testing.B) {
	exe, dir := built(b), b.TempDir()
	file, db := filepath.Join(dir, "counts.csv"), filepath.Join(dir, "farm.leafturn")
	f, err := os.Create(file)
	require.NoError(b, err)
	w := bufio.NewWriter(f)
	fmt.Fprintln(w, "bed,pest,date,sample unit,no,count")
	for v := range yearsVisits(b) {
		for i, c := range v.Counts {
			fmt.Fprintf(w, "%s,%s,%s,%s,%d,%d\n", v.Bed, v.Pest, v.Date, v.Unit, i+1, c.Count)
		}
	}
	require.NoError(b, errors.Join(w.Flush(), f.Close()))
	empty, err := os.ReadFile(yearsFarm(b))
	require.NoError(b, err)
	env := []string{"XDG_CACHE_HOME=" + dir, "HOME=" + dir}
	on := func(words ...string) program {
		return program{words: append([]string{exe, "--db", db, "--now", benchNow}, words...)}
	}
	after := func(wait bool) float64 {
		require.NoError(b, os.RemoveAll(filepath.Join(dir, "leafturn")))
		timed(b, 1, env, program{words: on("import", file).words, before: func() { testkit.Fresh(b, empty, db) }})
		if wait {
			keptList(b, dir)
		}
		ms := timed(b, 1, env, on("week"))[0]
		time.Sleep(time.Second) // what is made ready too late ends
		return ms
	}
	for b.Loop() {
		var ready, once []float64
		for range 5 {
			ready, once = append(ready, after(true)), append(once, after(false))
		}
		b.ReportMetric(testkit.Median(ready), "ms")
		b.ReportMetric(testkit.Median(once), "ms-at-once")
	}
}

// nothing is a program that does nothing.
func nothing(b *testing.B) string {
	dir := b.TempDir()
	file, exe := filepath.Join(dir, "main.go"), filepath.Join(dir, "nothing")
	require.NoError(b, os.WriteFile(file, []byte("package main\n\nimport \"fmt\"\n\nfunc main() { fmt.Println(\"done\") }\n"), 0o600))
	out, err := exec.Command("go", "build", "-o", exe, file).CombinedOutput()
	require.NoError(b, err, "%s", out)
	return exe
}
