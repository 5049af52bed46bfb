package sheet_test

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/diag"
	"leafturn/internal/sheet"
)

// endless gives the same bytes for ever.
type endless string

func (e endless) Read(b []byte) (int, error) {
	n := 0
	for n < len(b) {
		n += copy(b[n:], e)
	}
	return n, nil
}

func put(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	return path
}

const fine = "date,bed,pest,count\n2026-07-13,B3,slug,4\n2026-07-13,B4,slug,2\n"

// A file that another program writes to while it is read is refused, whether
// its size, its content or the file itself changes.
func TestFileThatChangesWhileItIsRead(t *testing.T) {
	later := time.Now().Add(time.Hour)
	for name, change := range map[string]func(path string) error{
		"appended": func(p string) error { return os.WriteFile(p, []byte(fine+"2026-07-13,A2,slug,2\n"), 0o644) },
		"shorter":  func(p string) error { return os.Truncate(p, 45) },
		"replaced": func(p string) error {
			if err := os.WriteFile(p+".new", []byte(fine), 0o644); err != nil {
				return err
			}
			return os.Rename(p+".new", p)
		},
		"touched": func(p string) error { return os.Chtimes(p, later, later) },
		"in place, at the same time": func(p string) error {
			info, err := os.Stat(p)
			if err != nil {
				return err
			}
			return errors.Join(os.WriteFile(p, []byte(strings.Replace(fine, "slug,4", "slug,7", 1)), 0o644), os.Chtimes(p, info.ModTime(), info.ModTime()))
		},
	} {
		t.Run(name, func(t *testing.T) {
			path := put(t, "x.csv", fine)
			s, err := sheet.Open(path, nil)
			require.NoError(t, err)
			defer s.Close()
			_, _, err = readSource(s, sheet.Map{}, nil)
			require.NoError(t, err, "as long as nothing changes")
			require.NoError(t, change(path))
			_, _, err = readSource(s, sheet.Map{}, nil)
			require.ErrorContains(t, err, "changed while it was being read")
		})
	}
}

// Whatever never ends, or has no end of a line, is stopped without gathering
// it.
func TestEndlessInput(t *testing.T) {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	for name, in := range map[string]io.Reader{
		"no line end":   endless("0123456789"),
		"an open quote": io.MultiReader(strings.NewReader(fine), strings.NewReader(`"`), io.LimitReader(endless("x,\n"), 30<<20)),
		"a long row":    io.MultiReader(strings.NewReader(fine), io.LimitReader(endless("x,"), 3<<20)),
	} {
		s, err := sheet.Open("-", in)
		if err == nil {
			_, _, err = readSource(s, sheet.Map{}, nil)
			s.Close()
		}
		var p *diag.Problem
		require.ErrorAs(t, err, &p, name)
		require.Contains(t, p.What, "longer than 256 KiB", name)
		require.NotEmpty(t, p.Do)
	}
	runtime.ReadMemStats(&after)
	require.Less(t, int64(after.HeapSys)-int64(before.HeapSys), int64(24<<20), "bytes that the heap grew by")
}

// A pipe leaves no copy behind, read well or not.
func TestPipesLeaveNothing(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir)
	for _, in := range []io.Reader{strings.NewReader(fine), strings.NewReader(""), endless("x"), failing{}} {
		if s, err := sheet.Open("-", in); err == nil {
			s.Close()
		}
	}
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Empty(t, left)
}

type failing struct{}

func (failing) Read([]byte) (int, error) { return 0, errors.New("the wire broke") }

func TestFilesOfOtherKinds(t *testing.T) {
	for text, want := range map[string]string{
		"%PDF-1.7":                      "is a PDF",
		"\x1f\x8b\x08":                  "packed with gzip",
		"\xff\xfe\x00\x00d\x00\x00\x00": "text in UTF-32",
		"\xd0\xcf\x11\xe0\xa1":          "old .xls workbook",
		"<!DOCTYPE html><p>":            "web page",
		"<TR><TH>Date</TH>":             "web page",
		"[{\"Date\":\"2026-07-13\"":     "is JSON",
		"{\"Date\":{\"0\":4}}":          "is JSON",
		"ID;PWXL;N;E\r\nC;X1":           "SYLK",
		"TABLE\n0,1\n\"Counts\"":        "DIF",
		"{\\rtf1\\ansi":                 "RTF",
		`<?xml version="1.0"?>`:         "is XML",
		"PK\x03\x04 and nothing else":   "damaged workbook",
		"date,bed\x00,pest\n":           "NUL byte",
		"\n\n,,\n":                      "no row of headings",
		strings.Repeat("a,", 2000):      "at most 1000 are read",
		"date,bed,pest,count\n\"a\"b,":  "quotation marks do not match",
	} {
		_, res, err := read(put(t, "x", text), sheet.Map{})
		if err == nil {
			require.NotEmpty(t, res.Problems, "%q", text)
			err = res.Problems[0].Diag()
		}
		require.ErrorContains(t, err, want, "%q", text)
		var p *diag.Problem
		require.ErrorAs(t, err, &p)
		require.NotEmpty(t, p.Do, "%q", text)
	}
}

func TestFileNamedAsWorkbook(t *testing.T) {
	_, _, err := read(put(t, "x.XLSX", "\x8f\x00\x13 no zip"), sheet.Map{})
	require.ErrorContains(t, err, "is no workbook, though its name says so")
}

// Many faults of one kind are one problem with all its rows; rows read in any
// number take no more memory than their faults.
func TestTheSameFaultInManyRows(t *testing.T) {
	var b strings.Builder
	b.WriteString("date,bed,pest,count\n")
	for range 5000 {
		b.WriteString("2026-07-13,B33,slug,4\n")
	}
	_, res, err := read(put(t, "x.csv", b.String()), sheet.Map{})
	require.NoError(t, err)
	require.Len(t, res.Problems, 1)
	require.Equal(t, []sheet.Span{{From: 3, To: 5001}}, res.Problems[0].Also)
	require.Contains(t, res.Problems[0].Diag().What, "(the same in 4999 more rows: 3-5001)")
	require.Len(t, res.Rest, 5000)
}

func TestLetters(t *testing.T) {
	for n, want := range map[int]string{1: "A", 26: "Z", 27: "AA", 52: "AZ", 702: "ZZ", 703: "AAA"} {
		require.Equal(t, want, sheet.Letter(n))
	}
}

// A line beyond all measure is told with its number, wherever its ends lie in the
// blocks that are read, and one that is just within is left to the reader of rows.
func TestLongLine_Row(t *testing.T) {
	const limit, block = 4 * 256 << 10, 64 << 10
	for _, before := range []int{0, 1, 2, block - 2, block - 1, block, block + 1, 3*block - 1, 3 * block} {
		for _, length := range []int{limit, limit + 1, limit + block - 1, limit + block, limit + block + 1} {
			for _, end := range []string{"\n1,2\n", ""} {
				short := strings.Repeat("a,b\n", before/4) + strings.Repeat("\n", before%4)
				_, err := sheet.Open(put(t, "long.csv", short+strings.Repeat("x", length)+end), nil)
				if length <= limit {
					require.NoError(t, err, "%d %d %q", before, length, end)
					continue
				}
				var p *diag.Problem
				require.ErrorAs(t, err, &p, "%d %d %q", before, length, end)
				require.Equal(t, strings.Count(short, "\n")+1, p.Row, "%d %d %q", before, length, end)
			}
		}
	}
}
