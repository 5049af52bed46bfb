//go:build unix

package main

import (
	"bytes"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// shut is what a folder of tables holds, all of it or nothing.
func shut(t *testing.T, dir string) (files int) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if os.IsNotExist(err) {
		return 0
	}
	require.NoError(t, err)
	return len(entries)
}

// An export that is killed at any point leaves the whole folder or none of that
// name; a restore that is killed leaves the store as it was, or the new one.
func TestKilled_ExportAndRestore(t *testing.T) {
	dir, file, notes := faultFarm(t, 400)
	small := filepath.Join(dir, "small.leafturn")
	copyTo(t, file, small)
	out, err := program(t, file, "lt", "count", "--file", notes).CombinedOutput()
	require.NoError(t, err, string(out))
	whole := filepath.Join(dir, "whole")
	start := time.Now()
	out, err = program(t, file, "lt", "export", whole).CombinedOutput()
	took := time.Since(start)
	require.NoError(t, err, string(out))
	want := shut(t, whole)
	require.Equal(t, 18, want)
	rng := rand.New(rand.NewPCG(7, 8))

	kills, none, all := 0, 0, 0
	for i := 0; kills < 25 && i < 250; i++ {
		target := filepath.Join(dir, "x", strconv.Itoa(i))
		require.NoError(t, os.MkdirAll(filepath.Dir(target), 0o755))
		cmd := program(t, file, "lt", "export", target)
		require.NoError(t, cmd.Start())
		time.Sleep(time.Duration(rng.Float64() * float64(took)))
		_ = cmd.Process.Kill()
		killed := cmd.Wait() != nil
		switch n := shut(t, target); {
		case n == 0 && killed:
			none++
		case n == want:
			all++
		default:
			require.Fail(t, "a part of a folder", "%d files, killed %v", n, killed)
		}
		if killed {
			kills++
		}
		require.NoError(t, os.RemoveAll(filepath.Dir(target)))
	}
	require.Equal(t, 25, kills)
	require.Positive(t, none)
	t.Logf("export: %d kills: %d left no folder, %d the whole; 0 a part", kills, none, all)

	before, after := holds(t, small), holds(t, file)
	kills, none, all = 0, 0, 0
	for i := 0; kills < 15 && i < 150; i++ {
		work := filepath.Join(dir, "r", "farm.leafturn")
		require.NoError(t, os.RemoveAll(filepath.Dir(work)))
		copyTo(t, small, work)
		cmd := program(t, work, "lt", "restore", whole)
		require.NoError(t, cmd.Start())
		time.Sleep(time.Duration(rng.Float64() * 2 * float64(took)))
		_ = cmd.Process.Kill()
		if cmd.Wait() != nil {
			kills++
		}
		switch got := holds(t, work); got {
		case before:
			none++
		case after:
			all++
		default:
			require.Fail(t, "a part of a store", "got %+v", got)
		}
	}
	require.Equal(t, 15, kills)
	require.Positive(t, none)
	t.Logf("restore: %d kills: %d left the old store, %d the new one; 0 a part", kills, none, all)
}

// Writes that are cut short and then fail, at many lengths: told, with nothing
// left of the export.
func TestShortWrites_Export(t *testing.T) {
	dir, file, notes := faultFarm(t, 200)
	out, err := program(t, file, "lt", "count", "--file", notes).CombinedOutput()
	require.NoError(t, err, string(out))
	for _, name := range []string{"out", "farm.xlsx"} {
		refused, done := 0, false
		for limit := int64(33_001); !done; limit += 9_973 { // the file that readers of the store share has 32 KB
			require.Less(t, limit, int64(2_000_000))
			work := filepath.Join(dir, "w")
			require.NoError(t, os.RemoveAll(work))
			require.NoError(t, os.Mkdir(work, 0o755))
			var errs bytes.Buffer
			cmd := program(t, file, "shortdisk", strconv.FormatInt(limit, 10), "export", filepath.Join(work, name))
			cmd.Stderr = &errs
			if done = cmd.Run() == nil; done {
				continue
			}
			refused++
			require.Equal(t, 1, cmd.ProcessState.ExitCode(), errs.String())
			require.Contains(t, errs.String(), "cannot be written: file too large")
			require.Contains(t, errs.String(), "do: ")
			entries, err := os.ReadDir(work)
			require.NoError(t, err)
			require.Empty(t, entries, "limit %d", limit)
		}
		require.Greater(t, refused, 1)
		t.Logf("%s: %d lengths refused and told, nothing left; then all", name, refused)
	}
}
