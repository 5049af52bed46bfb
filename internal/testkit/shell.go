package testkit

import (
	"cmp"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// NeedShell skips a benchmark that has no sqlite3 to stand beside.
func NeedShell(b *testing.B) {
	if _, err := exec.LookPath("sqlite3"); err != nil {
		b.Skip("there is no sqlite3 to compare with: apt install sqlite3")
	}
}

// Shell runs lines in the sqlite3 shell and returns its time.
func Shell(tb testing.TB, path string, lines ...string) time.Duration {
	cmd := exec.Command("sqlite3", "-bail", path)
	cmd.Stdin = strings.NewReader(strings.Join(lines, "\n") + "\n")
	start := time.Now()
	out, err := cmd.CombinedOutput()
	took := time.Since(start)
	require.NoError(tb, err, "%s", out)
	require.Empty(tb, string(out))
	return took
}

// Median is the middle of the times.
func Median[T cmp.Ordered](d []T) T {
	d = slices.Clone(d)
	slices.Sort(d)
	return d[len(d)/2]
}

// ShellImport writes the visits and counts of a store as CSV, already split,
// and returns the shell's way to import them into another one with the same
// tables. A CSV has no NULL, so the visits go through a table of text; the
// counts go straight in.
func ShellImport(tb testing.TB, loaded, dir string) func(path string) time.Duration {
	visits, units := filepath.Join(dir, "visits.csv"), filepath.Join(dir, "units.csv")
	Shell(tb, loaded, ".mode csv", ".once "+visits, "SELECT * FROM visit;", ".once "+units, "SELECT * FROM unit_count;")
	return func(path string) time.Duration {
		return Shell(tb, path, ".mode csv",
			"CREATE TEMP TABLE v AS SELECT * FROM visit WHERE 0;", ".import --schema temp "+visits+" v",
			"INSERT INTO visit SELECT id, bed_id, date, pest, unit, stratum, units, n, sum, sumsq, zeros, nullif(infested, ''), nullif(looked, ''), nullif(damage_hurt, ''), nullif(damage_looked, ''), soil, foliage, nullif(air_c, ''), nullif(soil_c, ''), nights, disturbed, observer, note, entered_at, nullif(voided_at, ''), nullif(void_reason, '') FROM temp.v;",
			".import "+units+" unit_count")
	}
}

// SameRows fails unless two stores hold the same visits and counts.
func SameRows(tb testing.TB, one, other string) {
	for _, t := range []string{"visit", "unit_count"} {
		out, err := exec.Command("sqlite3", one,
			"ATTACH '"+other+"' AS s; SELECT count(*) FROM (SELECT * FROM main."+t+" EXCEPT SELECT * FROM s."+t+"); SELECT (SELECT count(*) FROM main."+t+") - (SELECT count(*) FROM s."+t+");").CombinedOutput()
		require.NoError(tb, err, "%s", out)
		require.Equal(tb, "0\n0\n", string(out), t)
	}
}

// Fresh writes a store of those bytes to a file, without what may lie beside
// it, and returns its path.
func Fresh(tb testing.TB, store []byte, path string) string {
	for _, suffix := range []string{"", "-wal", "-shm"} {
		_ = os.Remove(path + suffix)
	}
	require.NoError(tb, os.WriteFile(path, store, 0o600))
	return path
}
