package sheet_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/sheet"
)

// read reads a file with the names of the invented farm, again with its
// visits gathered where they stand apart.
func read(path string, m sheet.Map) ([]farm.Visit, *sheet.Result, error) {
	s, err := sheet.Open(path, nil)
	if err != nil {
		return nil, nil, err
	}
	defer s.Close()
	return readSource(s, m, nil)
}

func readSource(s *sheet.Source, m sheet.Map, hold *sheet.Result) ([]farm.Visit, *sheet.Result, error) {
	o := sheet.Options{Today: today, Earliest: civil.New(today.Year-10, today.Month, today.Day), Names: farmNames{}, Map: m, Rest: true, Hold: hold}
	for {
		var visits []farm.Visit
		res, err := sheet.Read(s, o, func(v sheet.Visit) error { visits = append(visits, v.Visit); return nil })
		if errors.Is(err, sheet.ErrScattered) && !o.Gather {
			o.Gather = true
			continue
		}
		return visits, res, err
	}
}

// told writes all that a reading found.
func told(visits []farm.Visit, res *sheet.Result) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\nheadings in row %d, %d above\n", res.Format.Words(), res.HeadRow, res.Above)
	for _, c := range res.Columns {
		read := c.Words()
		if !c.Read() {
			read = "not read"
		}
		fmt.Fprintf(&b, "  %s %q: %s\n", sheet.Letter(c.Col), c.Heading, read)
	}
	fmt.Fprintf(&b, "%+v\n", res.Summary)
	for _, v := range visits {
		b.WriteString(ingest.FormatNote(v) + "\n")
	}
	for _, p := range res.Problems {
		d := p.Diag()
		d.File = filepath.Base(d.File)
		b.WriteString(d.Error() + "\n")
	}
	var rows []int
	for row := range res.Rest {
		rows = append(rows, row)
	}
	slices.Sort(rows)
	for _, row := range rows {
		fmt.Fprintf(&b, "rest %d: %s\n", row, res.Rest[row].Why)
	}
	return b.String()
}

// stated is what is said beside some of the sheets.
var stated = map[string]sheet.Map{
	"semicolon-decimal-comma-1252.csv":     {Dates: sheet.DayFirst},
	"wide-traps-with-title-and-totals.csv": {Pest: "slug"},
	"wide-dates-ambiguous.csv":             {Pest: "slug"},
	"not-looked-at-at-all.csv":             {Pest: "slug"},
	"two-tables-two-titles.csv":            {Pest: "slug"},
	"titles-of-beds.csv":                   {Bed: "B3"},
	"said-twice.csv":                       {Bed: "B4", Pest: "earwig", Date: civil.MustParse("2026-07-01")},
	"form-above-the-headings.csv":          {Bed: "B3", Date: civil.MustParse("2026-07-13")},
	"pests-above-traps.csv":                {Pest: "slug"},
	"beds-above-traps.csv":                 {Bed: "B3"},
	"date-in-a-form-is-another.csv":        {Pest: "slug", Date: civil.MustParse("2026-07-13")},
	"pivot-table.csv":                      {Pest: "slug"},
	"spanish-headings.csv":                 {Dates: sheet.DayFirst},
	"beds-against-dates.xlsx":              {Pest: "slug"},
	"form-of-several-fields.xlsx":          {Pest: "slug", Bed: "B3"},
}

// Each sheet of testdata is named by what is messy about it; all are invented. Its
// README says which program wrote those that no hand wrote. The golden beside a sheet
// is what is read and said.
func TestMessySheets(t *testing.T) {
	files, err := filepath.Glob("testdata/*.[ct][sx][vt]")
	require.NoError(t, err)
	books, err := filepath.Glob("testdata/*.xlsx")
	require.NoError(t, err)
	files = append(files, books...)
	seen := 0
	for _, f := range files {
		name := filepath.Base(f)
		if strings.HasSuffix(name, ".golden.txt") {
			continue
		}
		seen++
		t.Run(name, func(t *testing.T) {
			visits, res, err := read(f, stated[name])
			got := ""
			if err != nil {
				got = strings.ReplaceAll(err.Error(), f, name) + "\n"
			} else {
				got = told(visits, res)
			}
			golden := f + ".golden.txt"
			if os.Getenv("UPDATE_GOLDEN") != "" {
				require.NoError(t, os.WriteFile(golden, []byte(got), 0o644))
			}
			want, err := os.ReadFile(golden)
			require.NoError(t, err)
			require.Equal(t, string(want), got)
		})
	}
	require.GreaterOrEqual(t, seen, 80)
}

func rest(t require.TestingT, s *sheet.Source, m sheet.Map, res *sheet.Result) string {
	var b bytes.Buffer
	n, err := sheet.WriteRest(&b, s, m, res)
	require.NoError(t, err)
	require.Equal(t, len(res.Rest), n)
	return b.String()
}
