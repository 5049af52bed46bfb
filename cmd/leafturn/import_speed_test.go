package main_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"
	"leafturn/internal/testkit"
)

const unitsOfVisit = 43 // 1,000,000 counts are some 23,000 visits

// countRows writes a CSV of n invented counts, one a row, visit by visit or,
// scattered, unit by unit.
func countRows(tb testing.TB, path string, n int, scattered bool) {
	f, err := os.Create(path)
	require.NoError(tb, err)
	w := bufio.NewWriterSize(f, 1<<16)
	fmt.Fprintln(w, "bed,pest,date,unit,count")
	rng := rand.New(rand.NewPCG(7, 7))
	pests := []string{"slug", "earwig", "thrips", "aphid"}
	visits := (n + unitsOfVisit - 1) / unitsOfVisit
	for i := range n {
		v, u := i/unitsOfVisit, i%unitsOfVisit
		if scattered {
			v, u = i%visits, i/visits
		}
		fmt.Fprintf(w, "B%d,%s,%s,%d,%d\n", v%60+1, pests[v/60%len(pests)], civil.MustParse("2020-01-06").AddDays(7*(v/240)), u+1, int(rng.ExpFloat64()*3))
	}
	require.NoError(tb, errors.Join(w.Flush(), f.Close()))
}

// sixtyBeds makes the store of an invented farm without counts.
func sixtyBeds(tb testing.TB) []byte {
	ctx := context.Background()
	path := filepath.Join(tb.TempDir(), "empty.leafturn")
	st, err := store.Create(ctx, path, farm.Farm{Name: "Bench (invented)", TimeZone: "UTC", Units: "metric", Pests: []string{"slug"}})
	require.NoError(tb, err)
	require.NoError(tb, st.Update(ctx, func(tx *store.Tx) error {
		for i := range 60 {
			if _, err := tx.AddBed(farm.Bed{Code: fmt.Sprintf("B%d", i+1), LengthM: 20, WidthM: 1, Plants: 60}); err != nil {
				return err
			}
		}
		return nil
	}))
	require.NoError(tb, st.Close())
	b, err := os.ReadFile(path)
	require.NoError(tb, err)
	return b
}

// importing is `leafturn import` of a file as a process. What it keeps for the
// next list goes to the folder of the store.
func importing(exe, db, file string) *exec.Cmd {
	cmd := exec.Command(exe, "--db", db, "--now", "2027-12-31T12:00:00Z", "import", file)
	home := filepath.Dir(db)
	cmd.Env = append(os.Environ(), "HOME="+home, "XDG_CACHE_HOME="+home)
	return cmd
}

// importTime is how long it takes. The list that is made ready afterwards is
// waited for, so that it does not hold up what is timed next.
func importTime(tb testing.TB, exe, db, file string) time.Duration {
	cmd := importing(exe, db, file)
	start := time.Now()
	out, err := cmd.CombinedOutput()
	took := time.Since(start)
	require.NoError(tb, err, "%s", out)
	home := filepath.Dir(db)
	keptList(tb, home)
	require.NoError(tb, os.RemoveAll(filepath.Join(home, "leafturn")))
	return took
}

// keptList waits until a list is kept in the cache folder of a home; it is the
// last that is written there.
func keptList(tb testing.TB, home string) string {
	var name string
	require.Eventually(tb, func() bool {
		all, _ := os.ReadDir(filepath.Join(home, "leafturn"))
		for _, e := range all {
			if strings.Contains(e.Name(), "-") && !strings.HasPrefix(e.Name(), ".") {
				name = e.Name()
			}
		}
		return name != ""
	}, time.Minute, 5*time.Millisecond)
	return name
}

// importPeak is, on Linux, the most memory that it holds, in MB, as read off
// every few milliseconds.
func importPeak(tb testing.TB, exe, db, file string) float64 {
	cmd := importing(exe, db, file)
	cmd.Env = append(cmd.Env, "HOME=", "XDG_CACHE_HOME=") // no list is made ready
	var said strings.Builder
	cmd.Stderr = &said
	require.NoError(tb, cmd.Start())
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	peak := 0.0
	for {
		select {
		case err := <-ended:
			require.NoError(tb, err, "%s", said.String())
			return peak
		case <-time.After(4 * time.Millisecond):
			b, _ := os.ReadFile(fmt.Sprintf("/proc/%d/status", cmd.Process.Pid))
			if _, rest, ok := strings.Cut(string(b), "VmHWM:"); ok {
				kb := 0.0
				_, _ = fmt.Sscan(rest, &kb)
				peak = kb / 1024
			}
		}
	}
}

// BenchmarkImport is the whole process of `leafturn import` on a CSV of
// 1,000,000 counts, one a row, and beside it the sqlite3 shell's .import of the
// same rows, already split, into the same tables. x-shell is the time of the
// one over that of the other, each the median of those taken in turn.
func BenchmarkImport(b *testing.B) {
	testkit.NeedShell(b)
	exe, empty, dir := built(b), sixtyBeds(b), b.TempDir()
	file := filepath.Join(dir, "counts.csv")
	countRows(b, file, 1_000_000, false)
	path, beside := filepath.Join(dir, "ours.leafturn"), filepath.Join(dir, "shell.leafturn")
	importTime(b, exe, testkit.Fresh(b, empty, path), file)
	shellImport := testkit.ShellImport(b, path, dir)
	var ours, theirs []time.Duration
	for b.Loop() {
		for range 5 {
			theirs = append(theirs, shellImport(testkit.Fresh(b, empty, beside)))
			ours = append(ours, importTime(b, exe, testkit.Fresh(b, empty, path), file))
		}
	}
	testkit.SameRows(b, path, beside)
	b.ReportMetric(testkit.Median(ours).Seconds(), "s")
	b.ReportMetric(testkit.Median(theirs).Seconds(), "s-shell")
	b.ReportMetric(float64(testkit.Median(ours))/float64(testkit.Median(theirs)), "x-shell")
}

// BenchmarkImportMemory is the most memory that the process holds, by the rows
// of the sheet.
func BenchmarkImportMemory(b *testing.B) {
	exe, empty := built(b), sixtyBeds(b)
	for _, n := range []int{10_000, 100_000, 1_000_000} {
		for _, order := range []string{"by visit", "scattered"} {
			b.Run(fmt.Sprintf("%d rows, %s", n, order), func(b *testing.B) {
				dir := b.TempDir()
				file := filepath.Join(dir, "counts.csv")
				countRows(b, file, n, order == "scattered")
				peak := 0.0
				for b.Loop() {
					peak = max(peak, importPeak(b, exe, testkit.Fresh(b, empty, filepath.Join(dir, "farm.leafturn")), file))
				}
				b.ReportMetric(peak, "MB-peak")
			})
		}
	}
}
