package main_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// After a big import the week's list is there before someone asks, and is the
// one that would have been made.
func TestReady(t *testing.T) {
	exe, dir := built(t), t.TempDir()
	home, db, file := filepath.Join(dir, "home"), filepath.Join(dir, "a farm.leafturn"), filepath.Join(dir, "counts.csv")
	require.NoError(t, os.WriteFile(db, sixtyBeds(t), 0o600))
	countRows(t, file, 50_000, false)
	run := func(home string, words ...string) string {
		cmd := exec.Command(exe, append([]string{"--db", filepath.Base(db), "--now", "2020-02-08T12:00:00Z"}, words...)...)
		cmd.Dir = dir
		cmd.Env = append(os.Environ(), "HOME="+home, "XDG_CACHE_HOME="+home)
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, "%s", out)
		return string(out)
	}
	require.Contains(t, run(home, "import", file), "is being made ready")
	list := keptList(t, home)
	before, err := os.Stat(filepath.Join(home, "leafturn", list))
	require.NoError(t, err)
	ready := run(home, "week")
	all, err := filepath.Glob(filepath.Join(home, "leafturn", "*-*"))
	require.NoError(t, err)
	require.Equal(t, []string{filepath.Join(home, "leafturn", list)}, all, "a list was made anew")
	after, err := os.Stat(all[0])
	require.NoError(t, err)
	require.Equal(t, before.ModTime(), after.ModTime())
	require.Equal(t, run(filepath.Join(dir, "another"), "week"), ready)
	require.Contains(t, ready, "B1")
}
