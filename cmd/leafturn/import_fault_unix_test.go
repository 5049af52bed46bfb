//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// bigSheet writes a CSV of many visits of 30 traps each, from a visit on; the
// count in each row of bad is no count.
func bigSheet(t *testing.T, file string, from, visits int, bad ...int) {
	t.Helper()
	rows := []string{"date,bed,pest,trap,count"}
	for i := from; i < from+visits; i++ {
		for u := range 30 {
			rows = append(rows, fmt.Sprintf("2026-0%d-%02d,B%d,slug,%d,%d", i/224+3, i/8%28+1, i%8+1, u+1, (i+u)%7))
		}
	}
	for _, row := range bad {
		rows[row-1] += "x?"
	}
	require.NoError(t, os.WriteFile(file, []byte(strings.Join(rows, "\n")+"\n"), 0o644))
}

// A process that is killed at any point of an import leaves a store that opens,
// is sound and holds all or nothing of it. A rest file is whole or not there,
// and is there when the good rows are stored. Importing once more ends as if
// nothing had been killed.
func TestImportKilled(t *testing.T) {
	withoutRace(t)
	dir := t.TempDir()
	file := faultStore(t, dir)
	before := holds(t, file)
	const visits, wanted = 400, 45
	for name, bad := range map[string][]int{"all or none": nil, "good rows": {902, 5003, 11_000}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			in := filepath.Join(dir, name, "in")
			require.NoError(t, os.MkdirAll(in, 0o755))
			sheet, work := filepath.Join(in, "counts.csv"), filepath.Join(dir, name, "farm", "farm.leafturn")
			rest := filepath.Join(filepath.Dir(work), "rest.csv")
			bigSheet(t, sheet, 0, visits, bad...)
			words := []string{"import", sheet}
			if bad != nil {
				words = append(words, "--accept-good", "--rest", rest)
			}
			fresh := func() {
				require.NoError(t, os.RemoveAll(filepath.Dir(work)))
				copyTo(t, file, work)
			}
			fresh()
			start := time.Now()
			out, err := program(t, work, "lt", words...).CombinedOutput()
			took := time.Since(start)
			require.NoError(t, err, string(out))
			after := holds(t, work)
			require.Equal(t, held{before.visits + visits - len(bad), before.live + visits - len(bad), before.changes + 1}, after)
			kept, _ := os.ReadFile(rest)
			require.Equal(t, 30*len(bad), max(bytes.Count(kept, []byte("\n"))-1, 0), "all rows of the visits with a wrong one")

			rng := rand.New(rand.NewPCG(8, uint64(len(name))))
			kills, none, all, ended, midway, early := 0, 0, 0, 0, 0, 0
			for kills < wanted && kills+ended < 10*wanted {
				fresh()
				if !killAt(t, program(t, work, "lt", words...), work, took, rng, kills) {
					ended++
					continue
				}
				kills++
				if logged(work) {
					midway++
				}
				got := holds(t, work)
				text, err := os.ReadFile(rest)
				if err == nil {
					require.Equal(t, string(kept), string(text), "the rest is whole")
				}
				switch got {
				case before:
					if none++; err == nil {
						early++
					}
				case after:
					all++
					require.Equal(t, bad != nil, err == nil, "the rest is there when the others are stored")
				default:
					require.Fail(t, "a part of the import", "before %+v, after %+v, got %+v", before, after, got)
				}
				if kills%5 == 0 { // once more, as a person would
					require.NoError(t, os.RemoveAll(rest))
					out, err := program(t, work, "lt", words...).CombinedOutput()
					require.NoError(t, err, string(out))
					require.Equal(t, after, holds(t, work))
					again, _ := os.ReadFile(rest)
					require.Equal(t, string(kept), string(again))
				}
			}
			require.GreaterOrEqual(t, kills, wanted)
			require.Positive(t, midway, "some were killed while they wrote")
			t.Logf("%s: %d kills in %d runs of about %d ms: %d left nothing (%d of them a whole rest file), %d all; %d left a log behind; 0 a part",
				name, kills, kills+ended, took.Milliseconds(), none, early, all, midway)
		})
	}
}

// Two and eight processes import at once: the visits of each are all there, or
// it was told and none of them is.
func TestImporters(t *testing.T) {
	withoutRace(t)
	const visits = 50
	for _, n := range []int{2, 8} {
		dir := t.TempDir()
		file := faultStore(t, dir)
		before := holds(t, file)
		outs, errs := make([]bytes.Buffer, n), make([]bytes.Buffer, n)
		var waits []func() error
		for i := range n {
			sheet := filepath.Join(dir, fmt.Sprintf("%d.csv", i))
			bigSheet(t, sheet, i*visits, visits)
			cmd := program(t, file, "lt", "import", sheet, "--json")
			cmd.Stdout, cmd.Stderr = &outs[i], &errs[i]
			require.NoError(t, cmd.Start())
			waits = append(waits, cmd.Wait)
		}
		stored, told := 0, 0
		for i, wait := range waits {
			if err := wait(); err != nil {
				told++
				require.Contains(t, errs[i].String(), "is in use by another process")
				require.Contains(t, errs[i].String(), "kept: nothing")
				continue
			}
			stored++
			var doc struct {
				Data struct {
					Files []struct {
						New   int `json:"new_visits"`
						First int `json:"first_visit"`
						Last  int `json:"last_visit"`
					}
				}
			}
			require.NoError(t, json.Unmarshal(outs[i].Bytes(), &doc), outs[i].String())
			f := doc.Data.Files[0]
			require.Equal(t, []int{visits, visits}, []int{f.New, f.Last - f.First + 1}, "numbers of its own")
		}
		require.Positive(t, stored)
		after := holds(t, file)
		require.Equal(t, held{before.visits + visits*stored, before.live + visits*stored, before.changes + stored}, after)
		t.Logf("%d imports at once: %d stored, %d told to wait their turn", n, stored, told)
	}
}
