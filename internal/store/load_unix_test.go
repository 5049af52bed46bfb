//go:build unix

package store_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"leafturn/internal/store"
	"leafturn/internal/testkit"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A load killed at any point left nothing, or was through.
func TestBulk_Killed(t *testing.T) {
	dir := t.TempDir()
	path, file := filepath.Join(dir, "farm.leafturn"), filepath.Join(dir, "counts.csv")
	const rows = 86_000
	require.NoError(t, countRows(file, rows))
	emptyStore(t, path)
	empty, err := os.ReadFile(path)
	require.NoError(t, err)
	whole, _ := loadIn(t, path, file)
	rng := testkit.Seeded(9, 9)
	none, all := 0, 0
	for range 25 {
		for _, suffix := range []string{"-wal", "-shm"} {
			_ = os.Remove(path + suffix)
		}
		require.NoError(t, os.WriteFile(path, empty, 0o600))
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), childEnv+"=load", childStore+"="+path, childCSV+"="+file)
		require.NoError(t, cmd.Start())
		time.Sleep(time.Duration(rng.Float64() * 1.2 * float64(whole)))
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		s, err := store.Open(ctx, path)
		require.NoError(t, err)
		sound(t, s)
		switch n := len(visits(t, s, store.Filter{})); n {
		case 0:
			none++
		case rows / unitsOfEach:
			all++
		default:
			t.Errorf("%d visits of %d", n, rows/unitsOfEach)
		}
		require.NoError(t, s.Close())
	}
	t.Logf("%d kills: %d left nothing, %d were through", none+all, none, all)
	assert.Positive(t, none)
}
