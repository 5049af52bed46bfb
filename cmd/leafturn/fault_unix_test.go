//go:build unix

package main

import (
	"bytes"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/cli"
	"leafturn/internal/store"
)

func init() {
	// shortdisk LIMIT WORD... is leafturn at $NOW with files of LIMIT bytes at
	// most: a write across the limit is cut short, one beyond it fails.
	programs["shortdisk"] = func() {
		limit, err := strconv.ParseUint(os.Args[1], 10, 64)
		signal.Ignore(syscall.SIGXFSZ)
		if err = errors.Join(err, syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: limit, Max: limit})); err != nil {
			fmt.Fprintln(os.Stderr, "shortdisk:", err)
			os.Exit(3)
		}
		os.Args = append(os.Args[:1], os.Args[2:]...)
		atNow()
		main()
	}
	// writer N enters a count on N days, one command after the other, in bed
	// B of its number, and tells of each what it was told.
	programs["writer"] = func() {
		for day := range 12 {
			var out, errs bytes.Buffer
			words := []string{"leafturn", "--now", os.Getenv("NOW"), "count", os.Args[1], "slug", "1", "0", "2", "--date", fmt.Sprintf("2026-06-%02d", day+1)}
			code := cli.Main(ctx, words, cli.Streams{In: strings.NewReader(""), Out: &out, Err: &errs, Now: time.Now, Getenv: os.Getenv})
			fmt.Printf("%d %s%s\n", code, strings.SplitN(out.String(), "\n", 2)[0], strings.SplitN(errs.String(), "\n", 2)[0])
		}
	}
}

// faultStore makes a farm with a count in it and returns its file.
func faultStore(t *testing.T, dir string) string {
	t.Helper()
	file := filepath.Join(dir, "Grünes Feld – 畑", "farm.leafturn")
	for _, words := range [][]string{
		{"farm", "new", "--name", "Test field (invented)", "--zone", "UTC"},
		{"bed", "add", "B1", "--size", "25 m x 1.2 m"}, {"bed", "add", "B2", "--size", "25 m x 1.2 m"}, {"bed", "add", "B3", "--size", "25 m x 1.2 m"}, {"bed", "add", "B4", "--size", "25 m x 1.2 m"},
		{"bed", "add", "B5", "--size", "25 m x 1.2 m"}, {"bed", "add", "B6", "--size", "25 m x 1.2 m"}, {"bed", "add", "B7", "--size", "25 m x 1.2 m"}, {"bed", "add", "B8", "--size", "25 m x 1.2 m"},
		{"count", "B1", "slug", "4", "0", "2", "7", "1", "--date", "2026-05-01"},
	} {
		out, err := program(t, file, "lt", words...).CombinedOutput()
		require.NoError(t, err, string(out))
	}
	return file
}

// faultPath is where the programs are: without the race detector, which has
// nothing to see in them and makes hundreds of starts slow.
var faultPath = sync.OnceValue(func() string { return os.Getenv("PATH") })

func program(t *testing.T, file, name string, words ...string) *exec.Cmd {
	t.Helper()
	bin, err := exec.LookPath(name)
	require.NoError(t, err)
	cmd := exec.Command(bin, words...)
	cmd.Env = append(os.Environ(), "LEAFTURN_DB="+file, "NOW=2026-07-20T18:00:00Z", "NO_COLOR=1", "TZ=UTC", "USER=")
	return cmd
}

func copyTo(t *testing.T, from, to string) {
	t.Helper()
	in, err := os.Open(from)
	require.NoError(t, err)
	defer in.Close()
	require.NoError(t, os.MkdirAll(filepath.Dir(to), 0o755))
	out, err := os.Create(to)
	require.NoError(t, err)
	_, err = io.Copy(out, in)
	require.NoError(t, errors.Join(err, out.Close()))
}

// held is what a store holds, after its checks.
type held struct{ visits, live, changes int }

func holds(t *testing.T, file string) held {
	t.Helper()
	s, err := store.Open(ctx, file)
	require.NoError(t, err)
	defer s.Close()
	found, err := s.Check(ctx)
	require.NoError(t, err)
	require.Empty(t, found)
	var h held
	require.NoError(t, s.View(ctx, func(tx *store.Tx) error {
		all, err := tx.Headers(store.Filter{IncludeVoided: true})
		if err != nil {
			return err
		}
		n, err := tx.CountVisits(store.Filter{})
		if err != nil {
			return err
		}
		changes, err := tx.Changes(0)
		h = held{len(all), n, len(changes)}
		return err
	}))
	return h
}

// bigNotes writes a file of many counts.
func bigNotes(t *testing.T, file string, lines int) {
	t.Helper()
	var b strings.Builder
	for i := range lines {
		fmt.Fprintf(&b, "2026-0%d-%02d B%d slug", i/224+3, i/8%28+1, i%8+1)
		for u := range 30 {
			fmt.Fprintf(&b, " %d", (i+u)%7)
		}
		b.WriteString("\n")
	}
	require.NoError(t, os.WriteFile(file, []byte(b.String()), 0o644))
}

// withoutRace lets a test run the plain programs: a race detector is slow.
func withoutRace(t *testing.T) {
	t.Helper()
	if race {
		t.Setenv("PATH", plainPrograms(t)+string(filepath.ListSeparator)+faultPath())
	}
}

// faultFarm makes a folder with a store and a file of so many lines of notes.
func faultFarm(t *testing.T, lines int) (dir, file, notes string) {
	t.Helper()
	withoutRace(t)
	dir = t.TempDir()
	file, notes = faultStore(t, dir), filepath.Join(dir, "notes.txt")
	bigNotes(t, notes, lines)
	return dir, file, notes
}

// A process that is killed at any point of a file of counts, an amendment or a
// migration leaves a store that opens, is sound and holds all or nothing of the
// command. At least 70 kills of each.
func TestKilled(t *testing.T) {
	dir, file, notes := faultFarm(t, 400)
	whole := filepath.Join(dir, "whole.leafturn")
	copyTo(t, file, whole)
	out, err := program(t, whole, "lt", "count", "--file", notes).CombinedOutput()
	require.NoError(t, err, string(out))
	many := "B1 slug" + strings.Repeat(" 1 0 5", 600)
	old := filepath.Join(dir, "old.leafturn")
	oldStore(t, old)

	const wanted = 70
	var sums sync.Map
	t.Run("at once", func(t *testing.T) {
		for name, c := range map[string]struct {
			from  string
			words []string
		}{
			"file of counts": {file, []string{"count", "--file", notes}},
			"amendment":      {whole, append([]string{"amend", "visit", "1", "--reason", "misread"}, strings.Fields(many)...)},
			"migration":      {old, []string{"farm", "show"}},
		} {
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				work := filepath.Join(dir, name, "farm.leafturn")
				fresh := func() {
					require.NoError(t, os.RemoveAll(filepath.Dir(work)))
					copyTo(t, c.from, work)
				}
				before := held{}
				if name != "migration" {
					before = holds(t, c.from)
				}
				fresh()
				start := time.Now()
				out, err := program(t, work, "lt", c.words...).CombinedOutput()
				took := time.Since(start)
				require.NoError(t, err, string(out))
				after := holds(t, work)
				if name == "migration" {
					before = after // what it holds is the same either way
				} else {
					require.NotEqual(t, before, after)
				}
				rng := rand.New(rand.NewPCG(7, uint64(len(name))))
				kills, none, all, ended, midway := 0, 0, 0, 0, 0
				for kills < wanted && kills+ended < 10*wanted {
					fresh()
					cmd := program(t, work, "lt", c.words...)
					if !killAt(t, cmd, work, took, rng, kills) {
						if ended++; ended%8 == 1 { // it was quicker than the signal
							require.Equal(t, after, holds(t, work))
						}
						continue
					}
					kills++
					if logged(work) {
						midway++
					}
					if name == "migration" {
						if version(t, work) == store.SchemaVersion {
							all++
						} else {
							none++
						}
						require.Equal(t, after, holds(t, work))
						continue
					}
					switch got := holds(t, work); got {
					case before:
						none++
					case after:
						all++
					default:
						require.Fail(t, "a part of the command", "before %+v, after %+v, got %+v", before, after, got)
					}
				}
				require.GreaterOrEqual(t, kills, wanted)
				require.Positive(t, midway, "some were killed while they wrote")
				sums.Store(name, kills)
				t.Logf("%s: %d kills in %d runs of about %d ms: %d left nothing, %d all; %d left a log behind; 0 a part", name, kills, kills+ended, took.Milliseconds(), none, all, midway)
			})
		}
	})
	total := 0
	sums.Range(func(_, n any) bool { total += n.(int); return true })
	require.GreaterOrEqual(t, total, 200)
	t.Logf("%d kills in all", total)
}

// logged reports whether there is something in the log of a store.
func logged(file string) bool {
	info, err := os.Stat(file + "-wal")
	return err == nil && info.Size() > 0
}

// killAt starts a command that takes about as long as took and kills it: by
// turns at any time, and from when it begins to write. It reports whether the
// signal came before its end.
func killAt(t *testing.T, cmd *exec.Cmd, file string, took time.Duration, rng *rand.Rand, turn int) bool {
	t.Helper()
	require.NoError(t, cmd.Start())
	if pause := rng.Float64() * float64(took); turn%2 == 0 {
		time.Sleep(time.Duration(1.05 * pause))
	} else {
		for began := time.Now(); time.Since(began) < 3*took && !logged(file); {
			time.Sleep(100 * time.Microsecond)
		}
		time.Sleep(min(time.Duration(pause/20), time.Duration(rng.IntN(3000))*time.Microsecond))
	}
	_ = cmd.Process.Kill()
	return cmd.Wait() != nil
}

// oldStore makes a store of schema version 1 with many visits.
func oldStore(t *testing.T, file string) {
	t.Helper()
	copyTo(t, "../../internal/store/testdata/v1.db", file)
	db, err := sql.Open("sqlite", "file:"+file+"?mode=rw")
	require.NoError(t, err)
	for _, q := range []string{
		`WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 200)
INSERT INTO visit (bed_id, date, pest, unit, stratum, units, n, sum, sumsq, zeros, soil, foliage, nights, disturbed, observer, note, entered_at)
SELECT 1, date('2000-01-01', i || ' days'), 'slug', 'board', 'random', 10, 10, 10, 10, 0, '', '', 0, 0, '', '', '2026-01-01T00:00:00Z' FROM n`,
		`WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 10)
INSERT INTO unit_count (visit_id, seq, count) SELECT v.id, i, 1 FROM visit v, n WHERE v.date < '2010-01-01'`,
	} {
		_, err := db.Exec(q)
		require.NoError(t, err)
	}
	require.NoError(t, db.Close())
}

// version reads the version of the tables with what is in the log.
func version(t *testing.T, file string) int {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+file+"?mode=rw")
	require.NoError(t, err)
	defer db.Close()
	n := 0
	require.NoError(t, db.QueryRow("PRAGMA user_version").Scan(&n))
	return n
}

// Writes that are cut short and then fail, at many lengths of the files: told,
// with nothing of the command stored.
func TestShortWrites(t *testing.T) {
	withoutRace(t)
	dir := t.TempDir()
	file := faultStore(t, dir)
	before := holds(t, file)
	notes := filepath.Join(dir, "notes.txt")
	bigNotes(t, notes, 200)
	info, err := os.Stat(file)
	require.NoError(t, err)
	work := filepath.Join(dir, "w", "farm.leafturn")
	refused, stored := 0, 0
	for limit := int64(20_001); stored == 0; limit += 9_973 { // odd, so that pages are cut
		require.Less(t, limit, info.Size()+2_000_000)
		require.NoError(t, os.RemoveAll(filepath.Dir(work)))
		copyTo(t, file, work)
		var errs bytes.Buffer
		cmd := program(t, work, "shortdisk", append([]string{strconv.FormatInt(limit, 10)}, "count", "--file", notes)...)
		cmd.Stderr = &errs
		err := cmd.Run()
		after := holds(t, work)
		if err == nil {
			stored++
			require.Equal(t, before.visits+200, after.visits)
			continue
		}
		refused++
		require.Equal(t, 1, cmd.ProcessState.ExitCode(), errs.String())
		require.Regexp(t, `the disk (is full|failed)`, errs.String())
		require.Contains(t, errs.String(), "do: ")
		require.Contains(t, errs.String(), "kept: nothing from this")
		require.Equal(t, before, after, "limit %d", limit)
	}
	require.Greater(t, refused, 10)
	t.Logf("%d lengths refused and told, nothing stored; then all", refused)
}

// Two and eight processes enter counts at once: every count is there, or its
// process was told.
func TestWriters(t *testing.T) {
	withoutRace(t)
	for _, n := range []int{2, 8} {
		file := faultStore(t, t.TempDir())
		before := holds(t, file)
		var cmds []*exec.Cmd
		outs := make([]bytes.Buffer, n)
		for i := range n {
			cmd := program(t, file, "writer", fmt.Sprintf("B%d", i+1))
			cmd.Stdout = &outs[i]
			require.NoError(t, cmd.Start())
			cmds = append(cmds, cmd)
		}
		stored, told := 0, 0
		for i, cmd := range cmds {
			require.NoError(t, cmd.Wait())
			for line := range strings.Lines(outs[i].String()) {
				switch {
				case strings.HasPrefix(line, "0 stored visit "):
					stored++
				case strings.HasPrefix(line, "1 ") && strings.Contains(line, "is in use by another process"):
					told++
				default:
					require.Fail(t, "neither stored nor told", line)
				}
			}
		}
		after := holds(t, file)
		require.Equal(t, 12*n, stored+told)
		require.Equal(t, before.visits+stored, after.visits)
		require.Equal(t, before.changes+stored, after.changes, "each in the journal")
		t.Logf("%d processes: %d counts stored, %d told to wait their turn", n, stored, told)
	}
}
