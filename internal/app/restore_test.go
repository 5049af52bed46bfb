package app_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
)

// A spreadsheet saves a table in letters of its own system: then a note would come
// back with other signs, and is refused, also with --changed.
func TestRestore_OtherLetters(t *testing.T) {
	a, _ := importFarm(t)
	_, err := a.Import(ctx, []string{sheetFile(t, "x.csv", "date,bed,pest,count,note", "2026-07-06,B1,slug,4,naß")}, app.ImportOptions{})
	require.NoError(t, err)
	out := filepath.Join(t.TempDir(), "out")
	_, _, err = a.Export(ctx, app.ExportOptions{Out: out})
	require.NoError(t, err)
	table := filepath.Join(out, "visits.csv")
	raw, err := os.ReadFile(table)
	require.NoError(t, err)
	require.Contains(t, string(raw), "naß")
	for text, says := range map[string]string{
		strings.ReplaceAll(string(raw), "naß", "na\xdf"):      "is not written in UTF-8",
		strings.ReplaceAll(string(raw), "naß", "wet"):         "",
		"\uFEFF" + string(raw):                                "",
		strings.ReplaceAll(string(raw), ",slug,", ",sl\xfc,"): "is not written in UTF-8",
	} {
		require.NoError(t, os.WriteFile(table, []byte(text), 0o644))
		_, _, err = app.Restore(ctx, testPath(t), app.RestoreOptions{From: out, Changed: true}, summer)
		if says == "" {
			require.NoError(t, err)
			continue
		}
		require.ErrorContains(t, err, says)
		require.ErrorContains(t, err, "save the file again as CSV UTF-8")
	}
}
