package demo_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/demo"
)

// The whole script is run through the commands in package cli's TestDemo; here
// are the files and the script by themselves.

func TestSplit(t *testing.T) {
	for in, want := range map[string][]string{
		"":                        nil,
		"  week  ":                {"week"},
		`did mite "water jet" D4`: {"did", "mite", "water jet", "D4"},
		`--name "" x`:             {"--name", "", "x"},
		`a"b c"d`:                 {"ab cd"},
		`--note "it's wet"`:       {"--note", "it's wet"},
	} {
		got, err := demo.Split(in)
		require.NoError(t, err, in)
		require.Equal(t, want, got, in)
	}
	_, err := demo.Split(`--name "open`)
	require.ErrorContains(t, err, "not closed")
}

func TestScript_FilesAndDays(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, demo.Write(dir))
	lines, err := demo.Script()
	require.NoError(t, err)
	require.Equal(t, []string{"farm", "new"}, lines[0].Words[:2])

	used := map[string]bool{"season.script": true}
	last, season := 0, civil.DateIn(demo.Now, demo.Now.Location())
	for _, l := range lines {
		require.Greater(t, l.Number, last, "numbered by the line of the file")
		last = l.Number
		drawn := slices.Contains(l.Words, "--out")
		for i, w := range l.Words {
			require.NotContains(t, w, `"`)
			if name, ok := strings.CutPrefix(w, demo.InFolder); ok && !drawn {
				require.FileExists(t, filepath.Join(dir, filepath.FromSlash(name)), "line %d", l.Number)
				used[name] = true
			}
			if i > 0 && l.Words[i-1] == "--date" {
				d, err := civil.Parse(w)
				require.NoError(t, err)
				require.False(t, d.After(season), "line %d lies after the season", l.Number)
			}
		}
	}
	// No file lies about unused.
	err = filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		require.NoError(t, err)
		require.True(t, used[filepath.ToSlash(rel)], "no line of the script uses %s", rel)
		return nil
	})
	require.NoError(t, err)
	require.False(t, demo.Week.After(season))
}

// A farm of the size that the program is for, and marked as invented wherever
// a name could be taken for a real one.
func TestData_IsInvented(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, demo.Write(dir))
	f, err := os.Open(filepath.Join(dir, "beds.csv"))
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	plantsAt := slices.Index(rows[0], "plants")
	cultivarAt := slices.Index(rows[0], "cultivar")
	plants := 0
	for _, r := range rows[1:] {
		n, err := strconv.Atoi(r[plantsAt])
		require.NoError(t, err)
		plants += n
		require.Contains(t, r[cultivarAt], "(invented)")
	}
	require.InDelta(t, 20, len(rows)-1, 2)
	require.InDelta(t, 2000, plants, 100)
	labels, err := filepath.Glob(filepath.Join(dir, "labels", "*.toml"))
	require.NoError(t, err)
	require.NotEmpty(t, labels)
	for _, name := range labels {
		raw, err := os.ReadFile(name)
		require.NoError(t, err)
		require.Contains(t, string(raw), "INVENTED")
		require.Contains(t, string(raw), `(invented)"`)
	}
}

func TestWrite_SaysWhatFails(t *testing.T) {
	dir := t.TempDir()
	in := filepath.Join(dir, "file")
	require.NoError(t, os.WriteFile(in, nil, 0o644))
	require.Error(t, demo.Write(in), "a file is no folder")
}
