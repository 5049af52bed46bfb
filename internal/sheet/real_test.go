package sheet_test

import (
	"archive/zip"
	"bytes"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leafturn/internal/sheet"
)

// Of a workbook with one sheet in view, the hidden ones are told and not read; with two
// in view, or none, it has to be said which.
func TestHiddenSheets(t *testing.T) {
	for _, c := range []struct {
		hidden []string
		want   string
	}{
		{[]string{"Lists", "Old"}, `workbook, sheet "Sheet1"; hidden in it, and not read: "Lists", "Old"`},
		{[]string{"Lists"}, ""},
		{nil, ""},
	} {
		path := workbook(t, [][]any{{"Date", "Bed", "Pest", "Count"}, {"2026-07-13", "B3", "slug", 4}}, nil, func(f *excelize.File) {
			for _, name := range []string{"Lists", "Old", "Empty"} {
				_, err := f.NewSheet(name)
				require.NoError(t, err)
			}
			require.NoError(t, f.SetSheetRow("Lists", "A1", &[]any{"slug", "earwig"}))
			require.NoError(t, f.SetSheetRow("Old", "A1", &[]any{"Date", "Bed", "Pest", "Count"}))
			for _, name := range c.hidden {
				require.NoError(t, f.SetSheetVisible(name, false, true))
			}
		})
		visits, res, err := read(path, sheet.Map{})
		if c.want == "" {
			require.ErrorContains(t, err, "holds 3 sheets")
			continue
		}
		require.NoError(t, err)
		require.Equal(t, c.want, res.Format.Words())
		require.Len(t, visits, 1)
		_, res, err = read(path, sheet.Map{Sheet: "Old"})
		require.NoError(t, err)
		require.Equal(t, `workbook, sheet "Old"`, res.Format.Words())
	}
}

// A count beside the mean and another figure of several units may be how many there were.
func TestCountsBesideStatistics(t *testing.T) {
	for _, c := range []struct {
		head    []any
		row     []any
		refused bool
	}{
		{[]any{"Date", "Bed", "Pest", "count", "mean", "std"}, []any{"2026-07-13", "B3", "slug", 2, 5.5, 0.7}, true},
		{[]any{"Date", "Bed", "Pest", "n", "count", "mean"}, []any{"2026-07-13", "B3", "slug", 2, 11, 5.5}, true},
		{[]any{"Date", "Bed", "Pest", "Count", "Sum", "Average"}, []any{"2026-07-13", "B3", "slug", 2, 11, 5.5}, true},
		{[]any{"Date", "Bed", "Pest", "Count", "Sum", "Average"}, []any{"2026-07-13", "B3", "slug", "4 7", 11, 5.5}, false},
		{[]any{"Date", "Bed", "Pest", "Trap", "Count", "Sum", "Mean"}, []any{"2026-07-13", "B3", "slug", 1, 4, 11, 5.5}, false},
		{[]any{"Date", "Bed", "Pest", "Trap 1", "Trap 2", "Total", "Mean"}, []any{"2026-07-13", "B3", "slug", 4, 7, 11, 5.5}, false},
		{[]any{"Date", "Bed", "Pest", "Count", "Min", "Max"}, []any{"2026-07-13", "B3", "slug", 4, 11, 25}, false},
	} {
		path := workbook(t, [][]any{c.head, c.row}, nil, nil)
		visits, res, err := read(path, sheet.Map{})
		require.NoError(t, err)
		if !c.refused {
			require.Empty(t, res.Problems, "%v", c.head)
			require.Len(t, visits, 1, "%v", c.head)
			continue
		}
		require.NotEmpty(t, res.Problems, "%v", c.head)
		require.Empty(t, visits, "%v", c.head)
	}
}

// What is struck out in a bed, a day or a heading does not hold; in a note it is kept.
func TestWordsThatAreStruckOut(t *testing.T) {
	rows := [][]any{{"Date", "Bed", "Pest", "Trap 1", "Trap 2", "Note"}, {46216, "B3", "slug", 4, 0, "dry"}, {46216, "B4", "slug", 1, 2, "wet"}}
	for at, want := range map[string]string{
		"A2": `A: "2026-07-13" is struck out or raised`, "B2": `B: "B3" is struck out or raised`, "C2": `C: "slug" is struck out or raised`,
		"E1": `E: the heading "Trap 2" is struck out or raised`, "F1": `F: the heading "Note" is struck out or raised`, "F2": "", "H9": "",
	} {
		path := workbook(t, rows, nil, func(f *excelize.File) {
			form := "d.m.yyyy"
			day, err := f.NewStyle(&excelize.Style{CustomNumFmt: &form})
			require.NoError(t, err)
			require.NoError(t, f.SetCellStyle("Sheet1", "A2", "A3", day))
			style := &excelize.Style{Font: &excelize.Font{Strike: true}}
			if at == "A2" {
				style.CustomNumFmt = &form
			}
			struck, err := f.NewStyle(style)
			require.NoError(t, err)
			require.NoError(t, f.SetCellStyle("Sheet1", at, at, struck))
		})
		visits, res, err := read(path, sheet.Map{})
		require.NoError(t, err)
		if want == "" {
			require.Empty(t, res.Problems, at)
			require.Equal(t, []string{"2026-07-13 B3 slug 4 0 unit=trap # dry", "2026-07-13 B4 slug 1 2 unit=trap # wet"}, lines(visits), at)
			continue
		}
		require.Equal(t, []string{want}, whats(res), at)
		require.LessOrEqual(t, len(visits), 1, at)
	}
}

// 23:59:59.999 is shown as the next day by spreadsheets and meant as the day before by
// what wrote it; a tenth of a second earlier there is no doubt.
func TestJustBeforeMidnight(t *testing.T) {
	for at, want := range map[float64]string{46215.99999999999: "", 46215.9999995: "", 46215.99999: "2026-07-12", 46216: "2026-07-13", 46216.00000001: "2026-07-13"} {
		for _, wide := range []bool{false, true} {
			rows, cell := [][]any{{"Date", "Bed", "Pest", "Count"}, {at, "B3", "slug", 4}}, "A2"
			if wide {
				rows, cell = [][]any{{"Bed", "Pest", at}, {"B3", "slug", 4}}, "C1"
			}
			path := workbook(t, rows, map[string]string{cell: "yyyy-mm-dd"}, nil)
			visits, res, err := read(path, sheet.Map{})
			require.NoError(t, err)
			if want != "" {
				require.Equal(t, []string{want + " B3 slug 4 unit=trap"}, lines(visits))
				continue
			}
			require.Empty(t, visits)
			require.Len(t, res.Problems, 1)
			require.Equal(t, "the spreadsheet has a split second before midnight there: 2026-07-12 or 2026-07-13", res.Problems[0].What)
		}
	}
}

// A sheet that is called after another bed, pest or day than was said for it may be the
// wrong one.
func TestNamesOfSheets(t *testing.T) {
	for _, c := range []struct {
		name string
		said sheet.Map
		of   string // what its counts may be of
	}{
		{"B4", sheet.Map{Bed: "B3"}, "B4"},
		{"Bed B4", sheet.Map{Bed: "B3"}, "B4"},
		{"B4 in July", sheet.Map{Bed: "B3"}, "B4"},
		{"B3", sheet.Map{Bed: "B3"}, ""},
		{"Sheet 1", sheet.Map{Bed: "B3"}, ""},
		{"Earwigs", sheet.Map{Bed: "B3"}, ""}, // the rows say the pest
		{"2026-07-06", sheet.Map{Bed: "B3"}, ""},
	} {
		path := workbook(t, [][]any{{"Date", "Pest", "Count"}, {"2026-07-13", "slug", 4}}, nil, func(f *excelize.File) { require.NoError(t, f.SetSheetName("Sheet1", c.name)) })
		visits, res, err := read(path, c.said)
		require.NoError(t, err)
		if c.of == "" {
			require.Empty(t, res.Problems, c.name)
			require.Len(t, visits, 1)
			continue
		}
		require.Empty(t, visits)
		require.Len(t, res.Problems, 1, c.name)
		require.Contains(t, res.Problems[0].What, "its counts may be of "+c.of)
	}
	path := workbook(t, [][]any{{"Bed", "Count"}, {"B3", 4}}, nil, func(f *excelize.File) { require.NoError(t, f.SetSheetName("Sheet1", "Slugs 2026-07-06")) })
	_, res, err := read(path, sheet.Map{Pest: "slug", Date: today})
	require.NoError(t, err)
	require.Equal(t, []string{`: the sheet is called "Slugs 2026-07-06", and another was said for all of it: its counts may be of 2026-07-06`}, whats(res))
}

// A part of a workbook that breaks off, or holds a sign that must not stand there, ends
// without a word in the library; rows that stand twice or below a later one are lost.
func TestPartsThatAreDamaged(t *testing.T) {
	for name, c := range map[string]struct {
		part   string
		damage func(s string) string
		want   string
	}{
		"cut short":         {"xl/worksheets/sheet1.xml", func(s string) string { return s[:strings.Index(s, `<row r="5"`)] }, "is a damaged workbook: it ends in row 4"},
		"cut short in row":  {"xl/worksheets/sheet1.xml", func(s string) string { return s[:strings.Index(s, `<c r="C5"`)] }, "is a damaged workbook: it ends in row 5"},
		"a sign":            {"xl/worksheets/sheet1.xml", func(s string) string { return strings.Replace(s, `<c r="C5"`, `<c r="C5" x="&"`, 1) }, "is a damaged workbook: row 6 cannot be read, nor what stands below it"},
		"a letter":          {"xl/worksheets/sheet1.xml", func(s string) string { return strings.Replace(s, `<row r="5"`, "\x0b<row r=\"5\"", 1) }, "is a damaged workbook: row 5 cannot be read, nor what stands below it"},
		"twice":             {"xl/worksheets/sheet1.xml", func(s string) string { return strings.Replace(s, `<row r="5"`, `<row r="4"`, 1) }, "is a damaged workbook: row 4 stands twice, or below a later one"},
		"below a later one": {"xl/worksheets/sheet1.xml", func(s string) string { return strings.Replace(s, `<row r="6"`, `<row r="3"`, 1) }, "is a damaged workbook: row 3 stands twice, or below a later one"},
		"texts cut short":   {"xl/sharedStrings.xml", func(s string) string { return s[:strings.LastIndex(s, "<si")] }, "the row cannot be read"},
		"in order":          {"xl/workbook.xml", func(s string) string { return s }, ""},
	} {
		t.Run(name, func(t *testing.T) {
			z, err := zip.OpenReader("testdata/dates-in-long-german.xlsx")
			require.NoError(t, err)
			defer z.Close()
			var out bytes.Buffer
			w := zip.NewWriter(&out)
			for _, f := range z.File {
				r, err := f.Open()
				require.NoError(t, err)
				text, err := io.ReadAll(r)
				require.NoError(t, err)
				if f.Name == c.part {
					text = []byte(c.damage(string(text)))
				}
				part, err := w.Create(f.Name)
				require.NoError(t, err)
				_, err = part.Write(text)
				require.NoError(t, err)
			}
			require.NoError(t, w.Close())
			_, res, err := read(put(t, "x.xlsx", out.String()), sheet.Map{})
			if c.want == "" {
				require.NoError(t, err)
				require.Empty(t, res.Problems)
				return
			}
			require.ErrorContains(t, err, c.want)
		})
	}
}

// Programs write the name of the format General in their own language too; it is none of
// dates, although a "d" stands in it. A day in a format of letters that mean nothing
// there is told as the number that it is.
func TestFormatsInOtherLanguages(t *testing.T) {
	for _, form := range []string{"Standard", "Standaard", "Estándar", "General"} {
		visits, res, err := read(workbook(t, [][]any{{"Date", "Bed", "Pest", "Count"}, {"2026-07-13", "B3", "slug", 4}}, map[string]string{"D2": form}, nil), sheet.Map{})
		require.NoError(t, err)
		require.Empty(t, res.Problems, form)
		require.Equal(t, []string{"2026-07-13 B3 slug 4 unit=trap"}, lines(visits))
	}
	_, res, err := read(workbook(t, [][]any{{"Date", "Bed", "Pest", "Count"}, {46216, "B3", "slug", 4}}, map[string]string{"A2": "[$-407]TTTT"}, nil), sheet.Map{})
	require.NoError(t, err)
	require.Equal(t, []string{`A: "46216" is a spreadsheet's number for a day, not a date`}, whats(res))
}
