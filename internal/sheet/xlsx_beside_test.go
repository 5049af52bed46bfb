package sheet_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leafturn/internal/sheet"
)

func whats(res *sheet.Result) []string {
	var out []string
	for _, p := range res.Problems {
		out = append(out, sheet.Letter(p.Col)+": "+p.What)
	}
	return out
}

// A formula without its value, as programs write workbooks that no spreadsheet has
// worked out, is no blank: the count would be left out.
func TestFormulasWithoutValues(t *testing.T) {
	path := workbook(t, [][]any{
		{"Date", "Bed", "Pest", "Trap", "Count", "Twice"},
		{"2026-07-13", "B3", "slug", 1, 4, nil},
		{"2026-07-13", "B3", "slug", 2, nil, nil},
		{"2026-07-13", "B4", "slug", 1, 7, nil},
		{"2026-07-13", "B4", "slug", 2, nil, nil},
	}, nil, func(f *excelize.File) {
		require.NoError(t, f.SetCellFormula("Sheet1", "E3", "2+3"))
		for _, c := range []string{"F2", "F3", "F4", "F5"} {
			require.NoError(t, f.SetCellFormula("Sheet1", c, "2*E2"))
		}
	})
	visits, res, err := read(path, sheet.Map{})
	require.NoError(t, err)
	require.Equal(t, []string{`E: "=2+3" is a formula without its value`}, whats(res))
	require.Equal(t, 3, res.Problems[0].Row)
	require.Equal(t, []string{"2026-07-13 B4 slug 7 unit=trap"}, lines(visits), "formulas in a column that is not read do not matter")
}

// A count in cells that are joined over several rows is that of several units.
func TestJoinedCells(t *testing.T) {
	path := workbook(t, [][]any{
		{"Date", "Bed", "Pest", "Trap", "Count"},
		{"2026-07-13", "B3", "slug", 1, 12},
		{"2026-07-13", "B3", "slug", 2, nil},
		{"2026-07-13", "B3", "slug", 3, nil},
		{"2026-07-13", "B4", "slug", 1, 7},
	}, nil, func(f *excelize.File) { require.NoError(t, f.MergeCell("Sheet1", "E2", "E4")) })
	visits, res, err := read(path, sheet.Map{})
	require.NoError(t, err)
	require.Equal(t, []string{"E: the count is joined over the cells E2:E4, and may be the sum of several units"}, whats(res))
	require.Equal(t, []string{"2026-07-13 B4 slug 7 unit=trap"}, lines(visits))

	// A heading over two columns stands in the first of them alone.
	path = workbook(t, [][]any{{"Slugs in July", nil, nil, nil}, {"Date", "Bed", "Slugs", nil}, {"2026-07-13", "B3", 4, 9}}, nil, func(f *excelize.File) {
		require.NoError(t, f.MergeCell("Sheet1", "A1", "D1"))
		require.NoError(t, f.MergeCell("Sheet1", "C2", "D2"))
	})
	visits, res, err = read(path, sheet.Map{})
	require.NoError(t, err)
	require.Empty(t, visits)
	require.Len(t, res.Problems, 1)
	require.Contains(t, res.Problems[0].What, "they have no headings")

	// The same sheet with cells that are joined beside the counts alone is in order.
	path = workbook(t, [][]any{{"Slugs in July", nil, nil}, {"Date", "Bed", "Slugs", "Note", nil}, {"2026-07-13", "B3", 4, "wet", nil}}, nil, func(f *excelize.File) {
		require.NoError(t, f.MergeCell("Sheet1", "A1", "E1"))
		require.NoError(t, f.MergeCell("Sheet1", "D2", "E2"))
		require.NoError(t, f.MergeCell("Sheet1", "D3", "E3"))
	})
	visits, res, err = read(path, sheet.Map{})
	require.NoError(t, err)
	require.Empty(t, res.Problems)
	require.Equal(t, []string{"2026-07-13 B3 slug 4 unit=trap # wet"}, lines(visits))
}

// A hidden column is read like the others, and that is told; one that is not read is not.
func TestHiddenColumns(t *testing.T) {
	path := workbook(t, [][]any{{"Date", "Bed", "Pest", "Trap 1", "Trap 2", "Total"}, {"2026-07-13", "B3", "slug", 4, 5, 9}}, nil, func(f *excelize.File) {
		require.NoError(t, f.SetColVisible("Sheet1", "E:F", false))
	})
	visits, res, err := read(path, sheet.Map{})
	require.NoError(t, err)
	require.Empty(t, res.Problems)
	require.Equal(t, []string{"2026-07-13 B3 slug 4 5 unit=trap"}, lines(visits))
	require.Equal(t, []string{"E"}, res.HiddenCols)
}

// Whole numbers right of the last heading are told as those of a column without one:
// one is taken for sums, several for counts whose heading was meant for all of them.
func TestNumbersBesideTheHeadings(t *testing.T) {
	head := []any{"Date", "Bed", "Slugs"}
	visits, res, err := read(workbook(t, [][]any{head, {"2026-07-13", "B3", 4, 9}, {"2026-07-13", "B4", 0, 2}}, nil, nil), sheet.Map{})
	require.NoError(t, err)
	require.Empty(t, res.Problems)
	require.Equal(t, []string{"2026-07-13 B3 slug 4 unit=trap", "2026-07-13 B4 slug 0 unit=trap"}, lines(visits))
	require.Len(t, res.Columns, 4)
	require.True(t, res.Columns[3].Numbers)

	visits, res, err = read(workbook(t, [][]any{head, {"2026-07-13", "B3", 4, 0, 2}, {"2026-07-13", "B4", 0, 1, 1}}, nil, nil), sheet.Map{})
	require.NoError(t, err)
	require.Empty(t, visits)
	require.Len(t, res.Problems, 1)
	require.Contains(t, res.Problems[0].What, "they have no headings")
}

// A count that the workbook adds up, or takes the mean of, is that of several units.
func TestFormulasThatAddUp(t *testing.T) {
	for formula, several := range map[string]bool{
		"SUM(F2:I2)": true, "AVERAGE(F2:I2)": true, "ROUND(AVERAGE(F2:I2),0)": true, "F2+G2+H2": true, "$F2+G$2": true, "COUNTIF(F2:I2,1)": true, "SUMIF(F2:I2,1)": true,
		"4+2": true, "4+0+2+7": true, "(F2+G2)/2": true, "F2/2": true, "Traps!F2+Traps!G2": true, "IF(SUM(F2:I2)=0,\"\",SUM(F2:I2))": true, "IFERROR(SUM(F2:I2),0)": true, "INT(AVERAGE(F2:I2))": true,
		"-SUM(F2:I2)*-1": true, "GETPIVOTDATA(\"n\",A1)": true, "F2+1": true, "sum(F2:I2)": true, "_xlfn.MAXIFS(F2:I2,A2:D2,1)": true,
		"F2": false, "+F2": false, "F2*2": false, "F2-G2": false, "SUMMER(F2)": false, "IF(F2=\"a+b\",1,F2)": false, "'wet + dry'!F2": false, "T1[[#This Row],[a+b]]": false, "VALUE(F2)": false, "IF(F2>=+G2,+F2,G2)": false,
	} {
		path := workbook(t, [][]any{{"Date", "Bed", "Pest", "Count"}, {"2026-07-13", "B3", "slug", 12}, {"2026-07-13", "B4", "slug", 7}}, nil, func(f *excelize.File) {
			require.NoError(t, f.SetCellFormula("Sheet1", "D2", formula))
			require.NoError(t, f.SetCellValue("Sheet1", "D2", 12))
			require.NoError(t, f.SetCellFormula("Sheet1", "D2", formula))
		})
		visits, res, err := read(path, sheet.Map{})
		require.NoError(t, err)
		if !several {
			require.Empty(t, res.Problems, formula)
			require.Len(t, visits, 2, formula)
			continue
		}
		require.Equal(t, []string{"2026-07-13 B4 slug 7 unit=trap"}, lines(visits), formula)
		require.Len(t, res.Problems, 1, formula)
		require.Contains(t, res.Problems[0].What, "may be the sum or the mean of several units", formula)
		visits, res, err = read(path, sheet.Map{Columns: map[string]string{"Count": "count"}})
		require.NoError(t, err)
		require.Empty(t, res.Problems, formula)
		require.Len(t, visits, 2, formula)
	}
}

// A formula that is filled down stands in the first of its cells alone.
func TestFormulasThatAreFilledDown(t *testing.T) {
	kind, ref, formula := excelize.STCellFormulaTypeShared, "D2:D3", "SUM(F2:I2)"
	path := workbook(t, [][]any{{"Date", "Bed", "Pest", "Count"}, {"2026-07-13", "B3", "slug", 12}, {"2026-07-13", "B4", "slug", 7}, {"2026-07-13", "A2", "slug", 1}}, nil, func(f *excelize.File) {
		require.NoError(t, f.SetCellFormula("Sheet1", "D2", formula, excelize.FormulaOpts{Type: &kind, Ref: &ref}))
	})
	visits, res, err := read(path, sheet.Map{})
	require.NoError(t, err)
	require.Equal(t, []string{"2026-07-13 A2 slug 1 unit=trap"}, lines(visits))
	require.Len(t, res.Problems, 2)
	for i, p := range res.Problems {
		require.Equal(t, i+2, p.Row)
		require.Contains(t, p.What, `is worked out by "=SUM(F2:I2)"`)
	}
}

// What is struck out or raised is no plain number: 47 of which the 4 is struck out, or
// 1 with a mark 2 of a footnote.
func TestNumbersThatAreStruckOut(t *testing.T) {
	path := workbook(t, [][]any{{"Date", "Bed", "Pest", "Trap", "Count"}, {"2026-07-13", "B3", "slug", 1, nil}, {"2026-07-13", "B3", "slug", 2, nil}, {"2026-07-13", "B3", "slug", 3, 12}, {"2026-07-13", "B4", "slug", 1, nil}, {"2026-07-13", "B4", "slug", 2, 12}}, nil, func(f *excelize.File) {
		require.NoError(t, f.SetCellRichText("Sheet1", "E2", []excelize.RichTextRun{{Text: "4", Font: &excelize.Font{Strike: true}}, {Text: "7"}}))
		require.NoError(t, f.SetCellRichText("Sheet1", "E3", []excelize.RichTextRun{{Text: "1"}, {Text: "2", Font: &excelize.Font{VertAlign: "superscript"}}}))
		struck, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Strike: true}})
		require.NoError(t, err)
		require.NoError(t, f.SetCellStyle("Sheet1", "E4", "E4", struck))
		require.NoError(t, f.SetCellRichText("Sheet1", "E5", []excelize.RichTextRun{{Text: "1", Font: &excelize.Font{Bold: true}}, {Text: "9"}}))
	})
	visits, res, err := read(path, sheet.Map{})
	require.NoError(t, err)
	require.Equal(t, []string{"2026-07-13 B4 slug 19 12 unit=trap"}, lines(visits))
	require.Equal(t, []string{`E: "47 (struck out or raised)" is no plain number`, `E: "12 (struck out or raised)" is no plain number`}, whats(res))
	require.Equal(t, []sheet.Span{{From: 4, To: 4}}, res.Problems[1].Also)
}
