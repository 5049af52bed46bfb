//go:build unix

package store_test

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"

	"github.com/stretchr/testify/require"
)

// The benchmarks of this file stand beside the sqlite3 shell: what is printed
// as "x-shell" is our time over its time on the same rows and the same tables,
// both taken in turn in the same run, each the median. They skip where there is
// no sqlite3 (apt install sqlite3).

const (
	shellBeds   = 60
	shellPests  = 5
	unitsOfEach = 43 // 1,000,000 counts are some 23,000 visits
)

// countRows writes a CSV of n invented counts, one a row, visit by visit.
func countRows(path string, n int) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	w := bufio.NewWriterSize(f, 1<<16)
	fmt.Fprintln(w, "bed,pest,date,unit,count")
	rng := rand.New(rand.NewPCG(7, 7))
	pests := []string{"slug", "mite", "thrips", "earwig", "wireworm"}
	for i := range n {
		v := i / unitsOfEach
		fmt.Fprintf(w, "B%d,%s,%s,%d,%d\n", v%shellBeds+1, pests[v/shellBeds%shellPests],
			day("2020-01-06").AddDays(7*(v/(shellBeds*shellPests))), i%unitsOfEach+1, int(rng.ExpFloat64()*3))
	}
	return errors.Join(w.Flush(), f.Close())
}

// readCounts reads what countRows writes, checked cell by cell.
func readCounts(in io.Reader) iter.Seq2[farm.Visit, error] {
	return func(yield func(farm.Visit, error) bool) {
		r := csv.NewReader(in)
		r.ReuseRecord, r.FieldsPerRecord = true, 5
		if _, err := r.Read(); err != nil {
			yield(farm.Visit{}, err)
			return
		}
		var v farm.Visit
		var date string
		for {
			row, err := r.Read()
			if err == io.EOF {
				break
			}
			wrong := func(column int, err error) bool {
				line, _ := r.FieldPos(column)
				return yield(farm.Visit{}, fmt.Errorf("row %d, column %d: %w", line, column+1, err))
			}
			if err != nil {
				yield(farm.Visit{}, err)
				return
			}
			if v.Bed != row[0] || v.Pest != row[1] || date != row[2] {
				if len(v.Counts) > 0 && !yield(v, nil) {
					return
				}
				date = strings.Clone(row[2])
				d, err := civil.Parse(date)
				if err != nil {
					wrong(2, err)
					return
				}
				v = farm.Visit{Bed: strings.Clone(row[0]), Pest: strings.Clone(row[1]), Unit: "unit", Stratum: farm.Random, Date: d, Counts: make([]farm.UnitCount, 0, unitsOfEach)}
			}
			if n, err := strconv.Atoi(row[3]); err != nil || n != len(v.Counts)+1 {
				wrong(3, fmt.Errorf("unit %q, want %d", row[3], len(v.Counts)+1))
				return
			}
			n, err := strconv.Atoi(row[4])
			if err != nil {
				wrong(4, err)
				return
			}
			v.Counts = append(v.Counts, farm.UnitCount{Count: n, Seen: true})
		}
		if len(v.Counts) > 0 {
			yield(v, nil)
		}
	}
}

// emptyStore makes a store with the beds of countRows and closes it.
func emptyStore(tb testing.TB, path string) {
	s, err := store.Create(ctx, path, testFarm)
	require.NoError(tb, err)
	update(tb, s, func(tx *store.Tx) error {
		for i := range shellBeds {
			if _, err := tx.AddBed(testBed(fmt.Sprintf("B%d", i+1))); err != nil {
				return err
			}
		}
		return nil
	})
	require.NoError(tb, s.Close())
}

func init() {
	// load is the whole of an import: a CSV, checked, into the store.
	children["load"] = func(path string) error {
		debug.SetGCPercent(400) // as the program does
		s, err := store.Open(ctx, path)
		if err != nil {
			return err
		}
		defer s.Close()
		in, err := os.Open(os.Getenv(childCSV))
		if err != nil {
			return err
		}
		defer in.Close()
		return s.Bulk(ctx, func(tx *store.Tx) error {
			_, err := tx.AddVisits(readCounts(bufio.NewReaderSize(in, 1<<16)), at, store.Load{})
			return err
		})
	}
}

const childCSV = "LEAFTURN_TEST_CSV"

// loadIn runs the import in a process of its own, and returns its time and its
// peak of memory in megabytes.
func loadIn(tb testing.TB, path, csv string) (time.Duration, float64) {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childEnv+"=load", childStore+"="+path, childCSV+"="+csv)
	start := time.Now()
	out, err := cmd.CombinedOutput()
	took := time.Since(start)
	require.NoError(tb, err, "%s", out)
	return took, peakMB(cmd.ProcessState)
}

// peakMB is the most memory that a process that has ended held.
func peakMB(p *os.ProcessState) float64 {
	kb := float64(p.SysUsage().(*syscall.Rusage).Maxrss)
	if runtime.GOOS == "darwin" {
		kb /= 1024
	}
	return kb / 1024
}

// shell runs lines in the sqlite3 shell and returns its time.
func shell(tb testing.TB, path string, lines ...string) (time.Duration, float64) {
	cmd := exec.Command("sqlite3", "-bail", path)
	cmd.Stdin = strings.NewReader(strings.Join(lines, "\n") + "\n")
	start := time.Now()
	out, err := cmd.CombinedOutput()
	took := time.Since(start)
	require.NoError(tb, err, "%s", out)
	require.Empty(tb, string(out))
	return took, peakMB(cmd.ProcessState)
}

func needShell(b *testing.B) {
	if _, err := exec.LookPath("sqlite3"); err != nil {
		b.Skip("there is no sqlite3 to compare with: apt install sqlite3")
	}
}

func median(d []time.Duration) time.Duration {
	d = slices.Clone(d)
	slices.Sort(d)
	return d[len(d)/2]
}

// split writes the rows of a loaded store as the files that the shell imports.
func split(tb testing.TB, loaded, dir string) (visits, units string) {
	visits, units = filepath.Join(dir, "visits.csv"), filepath.Join(dir, "units.csv")
	shell(tb, loaded, ".mode csv", ".once "+visits, "SELECT * FROM visit;", ".once "+units, "SELECT * FROM unit_count;")
	return visits, units
}

// shellImport is the shell's way with the same tables. A CSV has no NULL, so the
// 23,000 visits go through a table of text; the counts go straight in.
func shellImport(tb testing.TB, path, visits, units string) (time.Duration, float64) {
	return shell(tb, path, ".mode csv",
		"CREATE TEMP TABLE v AS SELECT * FROM visit WHERE 0;", ".import --schema temp "+visits+" v",
		"INSERT INTO visit SELECT id, bed_id, date, pest, unit, stratum, units, n, sum, sumsq, zeros, nullif(infested, ''), nullif(looked, ''), nullif(damage_hurt, ''), nullif(damage_looked, ''), soil, foliage, nullif(air_c, ''), nullif(soil_c, ''), nights, disturbed, observer, note, entered_at, nullif(voided_at, ''), nullif(void_reason, '') FROM temp.v;",
		".import "+units+" unit_count")
}

// BenchmarkImport stores a CSV of 1,000,000 counts, read and checked, one row
// each, and beside it lets the shell import the same rows already split.
func BenchmarkImport(b *testing.B) {
	needShell(b)
	dir := b.TempDir()
	file := filepath.Join(dir, "counts.csv")
	require.NoError(b, countRows(file, 1_000_000))
	first := filepath.Join(dir, "first.leafturn")
	emptyStore(b, first)
	empty, err := os.ReadFile(first)
	require.NoError(b, err)
	loadIn(b, first, file)
	visits, units := split(b, first, dir)
	fresh := func(name string) string {
		path := filepath.Join(dir, name)
		for _, suffix := range []string{"", "-wal", "-shm"} {
			_ = os.Remove(path + suffix)
		}
		require.NoError(b, os.WriteFile(path, empty, 0o600))
		return path
	}
	var ours, theirs []time.Duration
	var peak, shellPeak float64
	for b.Loop() {
		for range 5 {
			took, mb := shellImport(b, fresh("shell.leafturn"), visits, units)
			theirs, shellPeak = append(theirs, took), mb
			took, mb = loadIn(b, fresh("ours.leafturn"), file)
			ours, peak = append(ours, took), mb
		}
	}
	same(b, dir, "visit", "unit_count")
	b.ReportMetric(median(ours).Seconds(), "s")
	b.ReportMetric(median(theirs).Seconds(), "s-shell")
	b.ReportMetric(float64(median(ours))/float64(median(theirs)), "x-shell")
	b.ReportMetric(peak, "MB-peak")
	b.ReportMetric(shellPeak, "MB-peak-shell")
}

// same fails unless both stores hold the same rows.
func same(b *testing.B, dir string, tables ...string) {
	for _, t := range tables {
		out, err := exec.Command("sqlite3", filepath.Join(dir, "ours.leafturn"),
			"ATTACH '"+filepath.Join(dir, "shell.leafturn")+"' AS s; SELECT count(*) FROM (SELECT * FROM main."+t+" EXCEPT SELECT * FROM s."+t+"); SELECT (SELECT count(*) FROM main."+t+") - (SELECT count(*) FROM s."+t+");").CombinedOutput()
		require.NoError(b, err, "%s", out)
		require.Equal(b, "0\n0\n", string(out), t)
	}
}

// BenchmarkImportMemory is the peak of memory of an import at 10,000 to
// 1,000,000 rows.
func BenchmarkImportMemory(b *testing.B) {
	for _, n := range []int{10_000, 100_000, 1_000_000} {
		b.Run(fmt.Sprintf("rows=%d", n), func(b *testing.B) {
			dir := b.TempDir()
			file := filepath.Join(dir, "counts.csv")
			require.NoError(b, countRows(file, n))
			peak := 0.0
			for i := 0; b.Loop(); i++ {
				path := filepath.Join(dir, fmt.Sprintf("%d.leafturn", i))
				emptyStore(b, path)
				_, mb := loadIn(b, path, file)
				peak = max(peak, mb)
			}
			b.ReportMetric(peak, "MB-peak")
		})
	}
}
