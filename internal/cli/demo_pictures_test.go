package cli

import (
	"bytes"
	"context"
	"html"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/demo"
)

// Every kind of picture is drawn of the demo's season in every kind of file,
// and the page shows each with its words.
func TestDemo_Pictures(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "pictures")
	var out, errs bytes.Buffer
	s := Std()
	s.Out, s.Err, s.Cache = &out, &errs, ""
	require.Zero(t, Main(context.Background(), []string{"leafturn", "demo", "--quiet", "--pictures", dir}, s), errs.String())
	require.Contains(t, out.String(), "index.html")
	raw, err := os.ReadFile(filepath.Join(dir, "index.html"))
	require.NoError(t, err)
	images := regexp.MustCompile(`<img src="([^"]*)\.svg" alt="([^"]*)">`).FindAllStringSubmatch(string(raw), -1)
	require.GreaterOrEqual(t, len(images), len(demo.Pictures))
	shown := map[string]bool{"index.html": true}
	magic := map[string]string{".png": "\x89PNG\r\n\x1a\n", ".svg": "<?xml", ".pdf": "%PDF-"}
	for _, m := range images {
		require.Greater(t, len(html.UnescapeString(m[2])), 60, "%s: the picture in words", m[1])
		for ext, head := range magic {
			b, err := os.ReadFile(filepath.Join(dir, m[1]+ext))
			require.NoError(t, err)
			require.True(t, strings.HasPrefix(string(b), head), "%s%s", m[1], ext)
			require.Greater(t, len(b), 2000, "%s%s", m[1], ext)
			shown[m[1]+ext] = true
		}
	}
	for _, sheet := range demo.Sheets {
		b, err := os.ReadFile(filepath.Join(dir, sheet.File))
		require.NoError(t, err)
		require.Regexp(t, `^(%PDF-|<!DOCTYPE html>)`, string(b[:20]), sheet.File)
		require.Contains(t, string(raw), `<a href="`+sheet.File+`">`)
		shown[sheet.File] = true
	}
	years, err := os.ReadFile(filepath.Join(dir, "mites-years.svg"))
	require.NoError(t, err)
	require.Contains(t, string(years), "against 3 earlier years", "three invented years before the season")
	files, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, f := range files {
		require.True(t, shown[f.Name()], "%s is not on the page", f.Name())
	}
	for _, name := range []string{"forecast-D5-1", "degree-days", "worked-1", "sampling-plan", "bloom", "covers"} {
		b, err := os.ReadFile(filepath.Join(dir, name+".svg"))
		require.NoError(t, err)
		require.Contains(t, string(b), "Next: ", "%s says what to do next", name)
	}
	require.NotZero(t, Main(context.Background(), []string{"leafturn", "demo", "--quiet", "--pictures", dir}, s), "a folder with something in it is left alone")
}
