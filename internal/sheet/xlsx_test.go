package sheet_test

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leafturn/internal/sheet"
)

// workbook writes rows to the first sheet; style gives some cells a number
// format.
func workbook(t testing.TB, rows [][]any, style map[string]string, more func(f *excelize.File)) string {
	f := excelize.NewFile()
	defer f.Close()
	for i, row := range rows {
		cell, err := excelize.CoordinatesToCellName(1, i+1)
		require.NoError(t, err)
		require.NoError(t, f.SetSheetRow("Sheet1", cell, &row))
	}
	for cell, form := range style {
		id, err := f.NewStyle(&excelize.Style{CustomNumFmt: &form})
		require.NoError(t, err)
		require.NoError(t, f.SetCellStyle("Sheet1", cell, cell, id))
	}
	if more != nil {
		more(f)
	}
	path := filepath.Join(t.TempDir(), "x.xlsx")
	require.NoError(t, f.SaveAs(path))
	return path
}

func TestWorkbookCells(t *testing.T) {
	day := time.Date(2026, 4, 3, 0, 0, 0, 0, time.UTC)
	path := workbook(t, [][]any{
		{"Date", "Bed", "Pest", "Trap", "Count", "Air C"},
		{day, "B3", "slug", 1, 4.0, 14.3},
		{day, "B3", "slug", 2, "0", 14.3},
		{day, "B3", "slug", 3, 2.0, 14.3},
		{day, "B4", "slug", 1, 2.5, nil},
		{day, "B4", "slug", 2, day, nil},
		{day, "B4", "slug", 3, 0.24, nil},
		{46115, "B4", "slug", 4, 1, nil},
		{day, "A2", "slug", 1, "#REF!", nil},
		{day, "A4", "slug", nil, "12/50", nil},
	}, map[string]string{
		"A2": "mm-dd-yy", "A3": "d/m/yyyy", "A4": "dd mmm", "A5": "yyyy-mm-dd hh:mm", "A6": "m/d/yy", "A7": "dddd", "A8": "0", "A9": "d.m.yyyy", "A10": "mmm-yy",
		"E2": "0.0", "E5": "0", "E6": "d-mmm", "E7": "0%", "F2": "0",
	}, nil)
	visits, res, err := read(path, sheet.Map{})
	require.NoError(t, err)
	require.Equal(t, []string{
		"2026-04-03 A4 slug 12/50 unit=trap",
		"2026-04-03 B3 slug 4 0 2 unit=trap air=14.3C",
	}, lines(visits), "dates are those of the spreadsheet, however they are shown; a count is never rounded")
	var said []string
	for _, p := range res.Problems {
		said = append(said, p.Diag().Place()+p.What)
	}
	require.Equal(t, []string{
		path + `:5:5: "2.5" is not a whole number`,
		path + `:6:5: "2026-04-03" is a date: the spreadsheet made it of a fraction such as 3/10`,
		path + `:7:5: "24%" is a share without the number looked at`,
		path + `:8:1: "46115" is a spreadsheet's number for a day, not a date`,
		path + `:9:5: "#REF!" is an error of the spreadsheet`,
	}, said)
	require.Contains(t, res.Problems[3].Do, "46115 is probably 2026-04-03")
}

// Workbooks of old Macs count the days from 1904.
func TestWorkbookOf1904(t *testing.T) {
	path := workbook(t, [][]any{{"Date", "Bed", "Pest", "Count"}, {46216 - 1462, "B3", "slug", 4}}, map[string]string{"A2": "yyyy-mm-dd"}, func(f *excelize.File) {
		yes := true
		require.NoError(t, f.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &yes}))
	})
	visits, _, err := read(path, sheet.Map{})
	require.NoError(t, err)
	require.Equal(t, []string{"2026-07-13 B3 slug 4 unit=trap"}, lines(visits))
}

// Something beside the table is passed over; blank rows and dates in the
// headings are read.
func TestWorkbookWide(t *testing.T) {
	path := workbook(t, [][]any{
		{"Traps of July"},
		{},
		{"Bed", "Pest", time.Date(2026, 7, 6, 0, 0, 0, 0, time.UTC), time.Date(2026, 7, 13, 0, 0, 0, 0, time.UTC)},
		{"B3", "slug", 4, 0, nil, nil, "see the map"},
		{"B4", "slug", "-", 2},
	}, map[string]string{"C3": "m/d/yy", "D3": "m/d/yy"}, nil)
	visits, res, err := read(path, sheet.Map{})
	require.NoError(t, err)
	require.Empty(t, res.Problems)
	require.Equal(t, 1, res.Beside)
	require.Equal(t, 1, res.Above)
	require.Equal(t, []string{"2026-07-06 B3 slug 4 unit=trap", "2026-07-13 B3 slug 0 unit=trap", "2026-07-13 B4 slug 2 unit=trap"}, lines(visits))
}

// Rows that a filter hides are read like the others, and that is counted.
func TestHiddenRows(t *testing.T) {
	path := workbook(t, [][]any{
		{"Date", "Bed", "Pest", "Trap", "Count"},
		{"2026-04-03", "B3", "slug", 1, 4},
		{"2026-04-03", "B3", "slug", 2, 2},
	}, nil, func(f *excelize.File) { require.NoError(t, f.SetRowVisible("Sheet1", 3, false)) })
	visits, res, err := read(path, sheet.Map{})
	require.NoError(t, err)
	require.Empty(t, res.Problems)
	require.Equal(t, []string{"2026-04-03 B3 slug 4 2 unit=trap"}, lines(visits))
	require.Equal(t, 1, res.Hidden)
}

// A tick of a workbook is told as it is shown, and is no count of 1.
func TestTicksAreNoCounts(t *testing.T) {
	path := workbook(t, [][]any{
		{"Date", "Bed", "Pest", "Trap", "Count", "Disturbed"},
		{"2026-07-13", "B3", "slug", 1, true, false},
		{"2026-07-13", "B3", "slug", 2, false, false},
		{"2026-07-13", "B4", "slug", 1, 1, true},
	}, nil, nil)
	visits, res, err := read(path, sheet.Map{})
	require.NoError(t, err)
	require.Equal(t, []string{"2026-07-13 B4 slug 1 unit=trap disturbed"}, lines(visits))
	require.Len(t, res.Problems, 2)
	require.Equal(t, `"TRUE" is not a count`, res.Problems[0].What)
	require.Equal(t, `"FALSE" is not a count`, res.Problems[1].What)
}

// A spreadsheet that has the month first reads 3/7/2026 as 7 March and leaves
// 13/7/2026 as text: beside such text its dates are not to be trusted.
func TestDaysAndMonthsChangedRound(t *testing.T) {
	head := []any{"Date", "Bed", "Pest", "Count"}
	march := time.Date(2026, 3, 7, 0, 0, 0, 0, time.UTC)
	same, late := time.Date(2026, 7, 7, 0, 0, 0, 0, time.UTC), time.Date(2026, 6, 29, 0, 0, 0, 0, time.UTC)
	shown := map[string]string{"A2": "d/m/yyyy", "A3": "d/m/yyyy"}
	path := workbook(t, [][]any{head, {march, "B3", "slug", 4}, {same, "B4", "slug", 1}, {"13/7/2026", "B3", "slug", 2}}, shown, nil)
	_, res, err := read(path, sheet.Map{})
	require.NoError(t, err)
	require.Len(t, res.Problems, 1)
	require.Contains(t, res.Problems[0].Diag().Error(), `:2:1: column A "Date": the spreadsheet has dates such as 2026-03-07, and could not read others, such as "13/7/2026" in row 4`)
	s, err := sheet.Open(path, nil)
	require.NoError(t, err)
	held, _, err := readSource(s, sheet.Map{}, res)
	require.NoError(t, err)
	require.Empty(t, held, "none of its visits is stored with --accept-good")
	for _, rows := range [][][]any{
		{head, {march, "B3", "slug", 4}, {same, "B4", "slug", 1}, {"2026-07-13", "B3", "slug", 2}}, // the text is plain
		{head, {late, "B3", "slug", 4}, {same, "B4", "slug", 1}, {"13/7/2026", "B3", "slug", 2}},   // no date can be changed round
		{head, {"3 Jul 2026", "B3", "slug", 4}, {same, "B4", "slug", 1}, {"13/7/2026", "B3", "slug", 2}},
	} {
		_, res, err := read(workbook(t, rows, shown, nil), sheet.Map{})
		require.NoError(t, err)
		require.Empty(t, res.Problems)
		require.Equal(t, 3, res.Visits)
	}
}

// A spreadsheet keeps "July 2026" as the first of July: where the day is not shown,
// the first is no day that somebody wrote.
func TestMonthsAreNoDays(t *testing.T) {
	first, third := time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC), time.Date(2026, 7, 3, 0, 0, 0, 0, time.UTC)
	path := workbook(t, [][]any{
		{"Date", "Bed", "Pest", "Count"},
		{first, "B3", "slug", 4}, {third, "B3", "slug", 5}, {first, "B4", "slug", 6}, {first, "A2", "slug", 7}, {"Jul 2026", "A4", "slug", 8}, {"07/2026", "A4", "slug", 8},
	}, map[string]string{"A2": "mmm-yy", "A3": "mmm-yy", "A4": "d-mmm", "A5": `mmmm" of day "yyyy`}, nil)
	visits, res, err := read(path, sheet.Map{})
	require.NoError(t, err)
	require.Equal(t, []string{"2026-07-01 B4 slug 6 unit=trap", "2026-07-03 B3 slug 5 unit=trap"}, lines(visits))
	require.Equal(t, []string{`A: "July 2026" has no day`, `A: "Jul 2026" has no day`, `A: "07/2026" has no day`}, whats(res))
	require.Equal(t, []sheet.Span{{From: 5, To: 5}}, res.Problems[0].Also)

	path = workbook(t, [][]any{{"Bed", "Pest", first, "Juni 2026"}, {"B3", "slug", 4, 2}}, map[string]string{"C1": "mmm yyyy"}, nil)
	visits, res, err = read(path, sheet.Map{})
	require.NoError(t, err)
	require.Empty(t, visits)
	require.Equal(t, []string{`C: the heading "July 2026" is a month without a day`, `D: the heading "Juni 2026" is a month without a day`}, whats(res))
}
