//go:build unix

package store_test

import (
	"bufio"
	"bytes"
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
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/cli"
	"leafturn/internal/farm"
	"leafturn/internal/store"
	"leafturn/internal/tables"
	"leafturn/internal/testkit"

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
		defer tellPeak()
		return s.Bulk(ctx, func(tx *store.Tx) error {
			_, err := tx.AddVisits(readCounts(bufio.NewReaderSize(in, 1<<16)), at, store.Load{})
			return err
		})
	}
}

func init() {
	// export is the command: every table with every column.
	children["export"] = func(path string) error {
		defer tellPeak()
		code := cli.Main(ctx, []string{"leafturn", "--db", path, "export", os.Getenv(childCSV)}, cli.Streams{In: strings.NewReader(""), Out: io.Discard, Err: os.Stderr, Now: time.Now, Getenv: func(string) string { return "" }})
		if code != 0 {
			return fmt.Errorf("exit code %d", code)
		}
		return nil
	}
	// restore is the way back.
	children["restore"] = func(path string) error {
		defer tellPeak()
		code := cli.Main(ctx, []string{"leafturn", "--db", path, "restore", os.Getenv(childCSV)}, cli.Streams{In: strings.NewReader(""), Out: io.Discard, Err: os.Stderr, Now: time.Now, Getenv: func(string) string { return "" }})
		if code != 0 {
			return fmt.Errorf("exit code %d", code)
		}
		return nil
	}
}

// BenchmarkExport is `leafturn export` of 1,000,000 counts with everything else,
// and beside it the shell's `.mode csv` of the same tables. back-s is `leafturn
// restore` of the folder.
func BenchmarkExport(b *testing.B) {
	testkit.NeedShell(b)
	dir := b.TempDir()
	file, path := filepath.Join(dir, "counts.csv"), filepath.Join(dir, "farm.leafturn")
	require.NoError(b, countRows(file, 1_000_000))
	emptyStore(b, path)
	loadIn(b, path, file)
	lines := []string{".mode csv"}
	for _, t := range tables.All {
		lines = append(lines, ".once "+filepath.Join(dir, t.File+".shell"), `SELECT * FROM "`+t.Name+`";`)
	}
	var ours, theirs, back []time.Duration
	peak, peakBack := 0.0, 0.0
	n := 0
	for b.Loop() {
		for range 5 {
			theirs = append(theirs, testkit.Shell(b, path, lines...))
			n++
			took, mb := childIn(b, "export", path, filepath.Join(dir, fmt.Sprintf("out-%d", n)))
			ours, peak = append(ours, took), max(peak, mb)
		}
		took, mb := childIn(b, "restore", filepath.Join(dir, fmt.Sprintf("back-%d", n)), filepath.Join(dir, fmt.Sprintf("out-%d", n)))
		back, peakBack = append(back, took), max(peakBack, mb)
	}
	theirRows, err := os.ReadFile(filepath.Join(dir, "counts.shell"))
	require.NoError(b, err)
	f, err := os.Open(filepath.Join(dir, "out-1", "counts.csv"))
	require.NoError(b, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.ReuseRecord = true
	var ourRows bytes.Buffer
	for {
		row, err := r.Read()
		if err == io.EOF {
			break
		}
		require.NoError(b, err)
		fmt.Fprintf(&ourRows, "%s,%s,%s\n", row[0], row[4], row[5])
	}
	_, rows, _ := bytes.Cut(ourRows.Bytes(), []byte("\n"))
	require.True(b, bytes.Equal(bytes.ReplaceAll(theirRows, []byte("\r"), nil), rows), "the same rows")
	b.ReportMetric(testkit.Median(ours).Seconds(), "s")
	b.ReportMetric(testkit.Median(theirs).Seconds(), "s-shell")
	b.ReportMetric(float64(testkit.Median(ours))/float64(testkit.Median(theirs)), "x-shell")
	b.ReportMetric(peak, "MB-peak")
	b.ReportMetric(testkit.Median(back).Seconds(), "back-s")
	b.ReportMetric(peakBack, "back-MB-peak")
}

const childCSV = "LEAFTURN_TEST_CSV"

func loadIn(tb testing.TB, path, csv string) (time.Duration, float64) {
	return childIn(tb, "load", path, csv)
}

// childIn runs a job in a process of its own, and returns its time and its peak
// of memory in megabytes.
func childIn(tb testing.TB, job, path, files string) (time.Duration, float64) {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childEnv+"="+job, childStore+"="+path, childCSV+"="+files)
	start := time.Now()
	out, err := cmd.CombinedOutput()
	took := time.Since(start)
	require.NoError(tb, err, "%s", out)
	mb, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
	require.NoError(tb, err, "%s", out)
	return took, mb
}

// tellPeak prints the most memory that this process held, in megabytes. Linux
// counts into the usage of a child what its parent held when it was begun, so
// it is read off where that is not so.
func tellPeak() {
	if b, err := os.ReadFile("/proc/self/status"); err == nil {
		if _, rest, ok := strings.Cut(string(b), "VmHWM:"); ok {
			kb := 0.0
			if _, err := fmt.Sscan(rest, &kb); err == nil {
				fmt.Println(kb / 1024)
				return
			}
		}
	}
	var u syscall.Rusage
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	kb := float64(u.Maxrss)
	if runtime.GOOS == "darwin" {
		kb /= 1024
	}
	fmt.Println(kb / 1024)
}

// BenchmarkImport stores a CSV of 1,000,000 counts, read and checked, one row
// each, and beside it lets the shell import the same rows already split.
func BenchmarkImport(b *testing.B) {
	testkit.NeedShell(b)
	dir := b.TempDir()
	file := filepath.Join(dir, "counts.csv")
	require.NoError(b, countRows(file, 1_000_000))
	first := filepath.Join(dir, "first.leafturn")
	emptyStore(b, first)
	empty, err := os.ReadFile(first)
	require.NoError(b, err)
	loadIn(b, first, file)
	shellImport := testkit.ShellImport(b, first, dir)
	path, beside := filepath.Join(dir, "ours.leafturn"), filepath.Join(dir, "shell.leafturn")
	var ours, theirs []time.Duration
	peak := 0.0
	for b.Loop() {
		for range 5 {
			theirs = append(theirs, shellImport(testkit.Fresh(b, empty, beside)))
			took, mb := loadIn(b, testkit.Fresh(b, empty, path), file)
			ours, peak = append(ours, took), max(peak, mb)
		}
	}
	testkit.SameRows(b, path, beside)
	b.ReportMetric(testkit.Median(ours).Seconds(), "s")
	b.ReportMetric(testkit.Median(theirs).Seconds(), "s-shell")
	b.ReportMetric(float64(testkit.Median(ours))/float64(testkit.Median(theirs)), "x-shell")
	b.ReportMetric(peak, "MB-peak")
}
