package cli_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/cli"
)

// bigSheet writes a sheet of n invented counts of slugs in bed B1, 250 a day.
func bigSheet(t *testing.T, file string, n int) {
	t.Helper()
	var b strings.Builder
	b.WriteString("bed,pest,date,unit,count\n")
	first := time.Date(2025, 9, 1, 0, 0, 0, 0, time.UTC)
	for i := range n {
		fmt.Fprintf(&b, "B1,slug,%s,%d,%d\n", first.AddDate(0, 0, i/250).Format(time.DateOnly), i%250+1, i*i%5)
	}
	require.NoError(t, os.WriteFile(file, []byte(b.String()), 0o600))
}

// The list is made ready after an import of many counts alone, once the store is
// closed, and the import says so.
func TestReady(t *testing.T) {
	for _, tt := range []struct {
		name   string
		counts int
		more   []string
		cache  string
		none   bool // nothing may go on
		code   int
		starts int
		says   bool
	}{
		{name: "many counts", counts: 50_000, cache: "cache", starts: 1, says: true},
		{name: "too few", counts: 49_999, cache: "cache"},
		{name: "looked at only", counts: 50_000, more: []string{"--check"}, cache: "cache"},
		{name: "refused", counts: 50_000, more: []string{"--bed", "B9"}, cache: "cache", code: 2},
		{name: "nowhere to keep it", counts: 50_000},
		{name: "nothing may go on", counts: 50_000, cache: "cache", none: true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := t.TempDir()
			db, sheet := filepath.Join(dir, "farm.leafturn"), filepath.Join(dir, "counts.csv")
			mustLT(t, db, "farm", "new", "--name", "Example (invented)", "--zone", "UTC", "--last-frost", "04-25", "--first-frost", "10-20")
			mustLT(t, db, "bed", "add", "B1", "--size", "20 m x 1 m", "--plants", "60")
			bigSheet(t, sheet, tt.counts)
			var out, errs bytes.Buffer
			var started [][]string
			s := cli.Streams{In: strings.NewReader(""), Out: &out, Err: &errs, Now: time.Now, Getenv: func(string) string { return "" }}
			if tt.cache != "" {
				s.Cache = filepath.Join(dir, tt.cache)
			}
			if !tt.none {
				s.Start = func(args ...string) error {
					require.NoFileExists(t, db+"-wal", "the store is not closed")
					require.Contains(t, out.String(), "Stored:")
					started = append(started, args)
					return nil
				}
			}
			words := append([]string{"leafturn", "--db", db, "--now", exportNow, "import", sheet}, tt.more...)
			require.Equal(t, tt.code, cli.Main(ctx, words, s), errs.String())
			require.Len(t, started, tt.starts)
			for _, args := range started {
				require.Equal(t, []string{"--db", db, "--now", exportNow, "week"}, args)
			}
			require.Equal(t, tt.says, strings.Contains(out.String(), "is being made ready"))
		})
	}
}
