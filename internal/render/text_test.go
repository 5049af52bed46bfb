package render

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/report"
)

// golden compares got with testdata/name; UPDATE_GOLDEN=1 rewrites it.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if os.Getenv("UPDATE_GOLDEN") == "1" {
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got))
}

func text(t require.TestingT, d report.Document, o Options) string {
	var b bytes.Buffer
	require.NoError(t, Text(&b, d, o))
	return b.String()
}

func TestTextGolden(t *testing.T) {
	for _, w := range []int{60, 80, 100} {
		golden(t, fmt.Sprintf("week-%d.txt", w), []byte(text(t, sampleWeek(), Options{Width: w})))
	}
}

// checkWidths fails when a line is too wide and is not one URL.
func checkWidths(t require.TestingT, out string, w int) {
	for _, line := range strings.Split(out, "\n") {
		trimmed := strings.TrimSpace(line)
		if strings.Contains(trimmed, "://") && !strings.Contains(trimmed, " ") {
			continue
		}
		require.LessOrEqual(t, width(line), w, "too wide: %q", line)
	}
}

func TestTextFitsEveryWidth(t *testing.T) {
	for w := MinWidth; w <= MaxWidth; w++ {
		checkWidths(t, text(t, sampleWeek(), Options{Width: w}), w)
	}
	require.Equal(t, text(t, sampleWeek(), Options{Width: 60}), text(t, sampleWeek(), Options{Width: 12}), "brought in to the least width")
	require.Equal(t, text(t, sampleWeek(), Options{Width: 100}), text(t, sampleWeek(), Options{Width: 300}))
	require.Equal(t, text(t, sampleWeek(), Options{Width: 88}), text(t, sampleWeek(), Options{}))
}

var ansi = regexp.MustCompile("\x1b\\[[0-9]+m")

func TestColorAddsNothingButColor(t *testing.T) {
	for _, w := range []int{60, 80} {
		colored := text(t, sampleWeek(), Options{Width: w, Color: true})
		require.Contains(t, colored, "\x1b[31m")
		plain := text(t, sampleWeek(), Options{Width: w})
		require.NotContains(t, plain, "\x1b")
		stripped := ansi.ReplaceAllString(colored, "")
		var lines []string // trailing spaces may stand before a reset
		for _, l := range strings.Split(stripped, "\n") {
			lines = append(lines, strings.TrimRight(l, " "))
		}
		require.Equal(t, plain, strings.Join(lines, "\n"))
	}
}

// Every word of every part is in the text, whatever the width: nothing is
// shortened, and safety lines least of all.
func TestTextIsComplete(t *testing.T) {
	doc := sampleWeek()
	for _, w := range []int{60, 73, 100} {
		out := strings.Join(strings.Fields(text(t, doc, Options{Width: w})), " ")
		for _, s := range doc.Sections {
			for _, it := range s.Items {
				lines := append(append([]report.Line{it.Head, it.Why}, it.Details...), it.Safety...)
				for _, l := range lines {
					require.Contains(t, out, strings.Join(strings.Fields(lineWords(l, doc.AsOf)), " "))
				}
			}
		}
		for _, s := range doc.Sources {
			require.Contains(t, out, s.URL)
		}
	}
}

func TestTextLayout(t *testing.T) {
	out := text(t, sampleWeek(), Options{Width: 80})
	require.Less(t, strings.Index(out, "!! B4: the label"), strings.Index(out, "\nDo\n--\n"), "warnings first")
	require.Contains(t, out, " 3. [x] do  Empty and reset")
	require.Contains(t, out, "12. not  No spray in bloom")
	require.Contains(t, out, "was due Fri 10 Jul (3 days ago)")
	require.Contains(t, out, "from Sun 19 Jul (in 6 days)")
	require.Contains(t, out, "Poisson")
	require.Contains(t, out, "12,346")
	require.NotContains(t, out, "-0.0")
	require.Contains(t, out, "(a) only 3 blooms looked at, 10 are needed")
	require.NotContains(t, out, "\n\n\n", "one blank line between parts")
	for _, l := range strings.Split(out, "\n") {
		require.Equal(t, strings.TrimRight(l, " "), l, "no spaces at the end")
	}
}

func TestStrayControlCharactersDoNotReachTheTerminal(t *testing.T) {
	d := report.Document{Title: "a\x1b[31mb\u202ec", AsOf: civil.MustParse("2026-07-13"),
		Sections: []report.Section{{Items: []report.Item{{Mark: "\x07do", Ref: "r\x1b", Head: report.Say("x{}y", "\x1b]0;\n\xff")}},
			Table: &report.Table{Columns: []report.Column{{Title: "\x1b"}}, Rows: [][]report.Value{{report.Text("\x00\x9b")}, {report.Missing("\x1bwhy")}}}}}}
	out := text(t, d, Options{})
	for _, r := range out {
		require.True(t, r == '\n' || r >= ' ' && (r < 0x7f || r > 0x9f), "%q in %q", r, out)
	}
	require.Contains(t, out, "\uFFFD")
}

func TestTableOfNarrowWidthBecomesRecords(t *testing.T) {
	cols := make([]report.Column, 12)
	row := make([]report.Value, 12)
	for i := range cols {
		cols[i] = report.Column{Title: fmt.Sprintf("Column%d", i), Unit: "mm"}
		row[i] = report.Num(float64(i)*1.25, 2)
	}
	d := report.Document{Title: "t", AsOf: civil.MustParse("2026-07-13"), Sections: []report.Section{{Table: &report.Table{Columns: cols, Rows: [][]report.Value{row, row}}}}}
	out := text(t, d, Options{Width: 60})
	require.Contains(t, out, "\n  Column11 (mm): 13.75\n")
	checkWidths(t, out, 60)
}

func TestTableDecimalsLineUp(t *testing.T) {
	d := report.Document{Title: "t", AsOf: civil.MustParse("2026-07-13"), Sections: []report.Section{{Table: &report.Table{
		Columns: []report.Column{{Title: "Bed"}, {Title: "Rain", Unit: "mm", Decimals: 1}},
		Rows:    [][]report.Value{{report.Text("A"), report.Num(3, 0)}, {report.Text("B"), report.Num(10.25, 2)}, {report.Text("C"), report.Value{}}}}}}}
	require.Equal(t, `t
=
as of Mon 13 Jul 2026

      Rain
Bed     mm
---  -----
A     3.00
B    10.25
C    – (a)
(a) not given
`, text(t, d, Options{}))
}

func TestEmptyTableAndEmptyDocument(t *testing.T) {
	d := report.Document{Title: "t", AsOf: civil.MustParse("2026-07-13")}
	require.Equal(t, "t\n=\nas of Mon 13 Jul 2026\n", text(t, d, Options{}))
	d.Sections = []report.Section{{Title: "S", Table: &report.Table{Columns: []report.Column{{Title: "x"}}}}}
	require.Contains(t, text(t, d, Options{}), "(nothing to show)")
}

type brokenPipe struct{ err error }

func (b brokenPipe) Write([]byte) (int, error) { return 0, b.err }

func TestFailedWritesAndBadDocumentsAreReported(t *testing.T) {
	gone := errors.New("gone")
	require.ErrorIs(t, Text(brokenPipe{gone}, sampleWeek(), Options{}), gone)
	require.ErrorIs(t, JSON(brokenPipe{gone}, sampleWeek()), gone)
	require.ErrorIs(t, ICS(brokenPipe{gone}, sampleWeek()), gone)
	bad := sampleWeek()
	bad.Sources = nil
	for _, err := range []error{Text(&bytes.Buffer{}, bad, Options{}), JSON(&bytes.Buffer{}, bad), ICS(&bytes.Buffer{}, bad)} {
		require.ErrorContains(t, err, "refers to source [1], which is not listed")
	}
}

// Wrapping keeps every character but spaces, and no line is too wide.
func TestWrapProperty(t *testing.T) {
	word := rapid.OneOf(
		rapid.StringMatching(`[a-z0-9.,/-]{1,90}`),
		rapid.SampledFrom([]string{"é", "ŽluťásekŽluťásek", "雪の花の小径雪の花の小径雪の花の小径雪の花の小径", "e\u0301e\u0301", "👩‍🌾👩‍🌾", "https://farm.invalid/" + strings.Repeat("x", 90)}))
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfN(word, 0, 30).Draw(t, "words")
		w := rapid.IntRange(4, 100).Draw(t, "width")
		lines := wrap(strings.Join(words, " "), w)
		require.Equal(t, strings.Join(words, ""), strings.ReplaceAll(strings.Join(lines, ""), " ", ""))
		for _, l := range lines {
			require.NotEmpty(t, l)
		}
		checkWidths(t, strings.Join(lines, "\n"), w)
	})
}

// Any document, with any text from people in any place, fits, is valid UTF-8
// without control characters, and says every number that the JSON must hold.
func TestTextProperty(t *testing.T) {
	str := rapid.OneOf(rapid.String(), rapid.StringMatching(`[A-Za-zé雪 ,-]{0,60}`), rapid.SampledFrom([]string{"https://farm.invalid/" + strings.Repeat("a", 120), "Mon 13 Jul 2026", "14 °C"}))
	val := rapid.Custom(func(t *rapid.T) report.Value {
		switch rapid.IntRange(0, 6).Draw(t, "kind") {
		case 0:
			return report.Num(rapid.Float64().Draw(t, "num"), rapid.IntRange(0, 4).Draw(t, "decimals"))
		case 1:
			return report.Count(rapid.Int().Draw(t, "count"))
		case 2:
			return report.Percent(rapid.Float64Range(0, 1).Draw(t, "p"))
		case 3:
			return report.Chance(rapid.Float64Range(0, 1).Draw(t, "p"))
		case 4:
			return report.Day(civil.New(2026, 7, rapid.IntRange(-900, 900).Draw(t, "day")))
		case 5:
			return report.Missing(str.Draw(t, "reason"))
		}
		return report.Text(str.Draw(t, "text"))
	})
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(t, "columns")
		tab := &report.Table{Title: str.Draw(t, "title")}
		for range n {
			tab.Columns = append(tab.Columns, report.Column{Title: str.Draw(t, "column"), Unit: str.Draw(t, "unit"), Align: report.Align(rapid.IntRange(0, 2).Draw(t, "align"))})
		}
		tab.Rows = rapid.SliceOfN(rapid.SliceOfN(val, n, n), 0, 4).Draw(t, "rows")
		d := report.Document{Title: "t" + str.Draw(t, "doc"), Farm: str.Draw(t, "farm"), AsOf: civil.MustParse("2026-07-13"),
			Warnings: report.Lines(str.Draw(t, "warning")),
			Sections: []report.Section{{Title: str.Draw(t, "section"), Table: tab, Notes: report.Lines(str.Draw(t, "note")),
				Items: []report.Item{{Number: 7, Mark: str.Draw(t, "mark"), Ref: str.Draw(t, "ref"), Head: report.Say("do {}: {}", str.Draw(t, "head"), val.Draw(t, "value")),
					Due: report.Due{Note: str.Draw(t, "due")}, Safety: report.Lines(str.Draw(t, "safety")), Why: report.Plain(str.Draw(t, "why"))}}}}}
		w := rapid.IntRange(MinWidth, MaxWidth).Draw(t, "width")
		out := text(t, d, Options{Width: w})
		checkWidths(t, out, w)
		require.True(t, utf8.ValidString(out))
		require.NotContains(t, out, "\x1b")
		require.NotContains(t, out, "\x00")
		asJSON(t, d)
	})
}
