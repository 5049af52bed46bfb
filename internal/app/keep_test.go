package app_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/render"
	"leafturn/internal/report"
)

// listOf is the week's list of a program that has just started, with or without
// a folder of kept lists, in all three forms.
func listOf(t *testing.T, path, lists string, now time.Time, on civil.Date) string {
	t.Helper()
	a, err := app.Open(ctx, path, now)
	require.NoError(t, err)
	a.KeepLists(lists)
	doc, err := a.Week(ctx, on)
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, render.Text(&out, *doc, render.Options{Width: 88}))
	require.NoError(t, render.JSON(&out, *doc))
	if len(doc.Events) > 0 {
		require.NoError(t, render.ICS(&out, *doc))
	}
	require.NoError(t, a.Close())
	return out.String()
}

// names of a folder's files with the instants at which they were written.
func filesIn(t *testing.T, dir string) map[string]time.Time {
	t.Helper()
	all, err := os.ReadDir(dir)
	require.NoError(t, err)
	out := map[string]time.Time{}
	for _, e := range all {
		info, err := e.Info()
		require.NoError(t, err)
		require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
		out[e.Name()] = info.ModTime()
	}
	return out
}

// A list that is kept says what a new one says, at any instant of the day; it
// is found again, and left alone where it is damaged.
func TestKeepLists(t *testing.T) {
	path := testPath(t)
	a := newFarm(t, path, summer, app.FarmOptions{Pests: p("slug, mite, thrips"), LastFrost: p("04-25")})
	for _, code := range []string{"A1", "B1"} {
		_, err := a.AddBed(ctx, app.BedOptions{Code: code, Size: "10 m x 1.2 m", Plants: "60", Site: "outdoor"})
		require.NoError(t, err)
		for i, n := range []string{"0", "3", "9"} {
			_, err := a.CountWords(ctx, []string{code, "slug", n, "0", "4", "1", "7", "soil=moist", "air=14C"}, app.CountOptions{Date: a.Today().AddDays(7*i - 14)})
			require.NoError(t, err)
		}
	}
	on, lists := a.Today(), t.TempDir()
	require.NoError(t, a.Close())
	later := summer.Add(3 * time.Hour)

	first := listOf(t, path, lists, summer, on)
	require.Equal(t, listOf(t, path, "", summer, on), first)
	had := filesIn(t, lists)
	require.Len(t, had, 1)
	require.Equal(t, first, listOf(t, path, lists, summer, on))
	require.Equal(t, listOf(t, path, "", later, on), listOf(t, path, lists, later, on), "only the instant is another")
	require.Equal(t, had, filesIn(t, lists), "the kept list was found")

	for name := range had { // damaged at any place, or short
		file := filepath.Join(lists, name)
		whole, err := os.ReadFile(file)
		require.NoError(t, err)
		for _, spoil := range []func([]byte) []byte{
			func(b []byte) []byte { return nil },
			func(b []byte) []byte { return b[:len(b)/2] },
			func(b []byte) []byte { b[0] ^= 1; return b },
			func(b []byte) []byte { b[len(b)-9] ^= 1; return b },
		} {
			require.NoError(t, os.WriteFile(file, spoil(bytes.Clone(whole)), 0o600))
			require.Equal(t, first, listOf(t, path, lists, summer, on))
			again, err := os.ReadFile(file)
			require.NoError(t, err)
			require.Equal(t, whole, again, "mended")
		}
	}
	for i := range 20 { // as many as are kept, the last ones
		listOf(t, path, lists, summer, on.AddDays(-i))
	}
	require.Len(t, filesIn(t, lists), 8)

	for _, bad := range []string{path, filepath.Join(path, "below"), filepath.Join(t.TempDir(), "a", "b")} {
		require.Equal(t, first, listOf(t, path, bad, summer, on), "a folder that cannot be one is no reason to fail")
	}
}

// Every document of the kinds that are kept reads back as it was.
func TestKept_Document(t *testing.T) {
	one := 1.5
	type data struct {
		Words []string
		P, Q  *float64
		M     map[string]string
		Doc   report.Document
	}
	d := data{Words: []string{}, P: &one, M: map[string]string{"b": "", "a": "x"}, Doc: report.Document{
		Title: "ü", AsOf: civil.MustParse("2026-07-20"), Warnings: report.Lines("", "a"),
		Sections: []report.Section{{Key: "k", Lead: report.Say("{} of {}: {}", 3, report.Num(0.1, 2), civil.MustParse("2026-01-02")).Cite(4),
			Table: &report.Table{Columns: []report.Column{{Title: "c"}}, Rows: [][]report.Value{{report.Missing("lost")}, nil}},
			Items: []report.Item{{Number: -3, Box: true, Due: report.Due{By: civil.MustParse("2026-07-21")}}}}},
		Events: []report.Event{{UID: "u", Start: summer.UTC(), Alarms: []report.Alarm{{Offset: -time.Hour}}}},
	}}
	b, err := report.Keep(d)
	require.NoError(t, err)
	var got data
	require.NoError(t, report.Kept(b, &got))
	require.Equal(t, d, got)
	for i := range b {
		var x data
		require.ErrorIs(t, report.Kept(b[:i], &x), report.ErrKept, "%d bytes", i)
	}
	for _, bad := range []report.Document{
		{Data: 1}, {Made: summer.In(time.FixedZone("x", 60))}, {Sections: []report.Section{{Figures: []report.Figure{{Data: d}}}}},
	} {
		_, err := report.Keep(bad)
		require.Error(t, err)
	}
}
