package sheet_test

import (
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/sheet"
)

func write(t interface{ Fatalf(string, ...any) }, dir, name string, rows [][]string) string {
	path := filepath.Join(dir, name)
	f, err := os.Create(path)
	if err == nil {
		w := csv.NewWriter(f)
		err = w.WriteAll(rows)
		if err2 := f.Close(); err == nil {
			err = err2
		}
	}
	if err != nil {
		t.Fatalf("%v", err)
	}
	return path
}

// lines is the visits as sorted notes lines, which say all there is in them.
func lines(visits []farm.Visit) []string {
	var out []string
	for _, v := range visits {
		out = append(out, ingest.FormatNote(v))
	}
	slices.Sort(out)
	return out
}

var long = []string{"date", "bed", "pest", "trap", "count", "note"}

// someVisits draws visits of slugs, and their rows in long form with numbered
// traps.
func someVisits(t *rapid.T) (visits []farm.Visit, rows [][]string) {
	for i, bed := range beds[:rapid.IntRange(1, 4).Draw(t, "beds")] {
		for day := range rapid.IntRange(1, 3).Draw(t, "days") {
			v := farm.Visit{Bed: bed, Date: today.AddDays(-day - 3*i), Pest: "slug", Unit: "trap", Stratum: farm.Random}
			for k := range rapid.IntRange(1, 5).Draw(t, "traps") {
				u := farm.UnitCount{Count: rapid.IntRange(0, 9).Draw(t, "count"), Seen: k == 0 || rapid.Bool().Draw(t, "seen")}
				text := fmt.Sprint(u.Count)
				if !u.Seen {
					u.Count, text = 0, rapid.SampledFrom([]string{"-", "NA", "n/a", "–"}).Draw(t, "word")
				}
				v.Counts = append(v.Counts, u)
				rows = append(rows, []string{v.Date.String(), bed, "slug", fmt.Sprint(k + 1), text, ""})
			}
			visits = append(visits, v)
		}
	}
	return visits, rows
}

// The order of the rows of numbered units does not matter.
func TestRowOrderDoesNotMatter(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		want, rows := someVisits(t)
		path := write(t, dir, "x.csv", append([][]string{long}, rapid.Permutation(rows).Draw(t, "order")...))
		got, res, err := read(path, sheet.Map{})
		require.NoError(t, err)
		require.Empty(t, res.Problems)
		require.Equal(t, lines(want), lines(got))
	})
}

// The same counts in a row for each trap, a column for each trap, for each
// date and for each bed read as the same visits.
func TestLongAndWideReadTheSame(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		want, rows := someVisits(t)
		cell := map[string]string{}
		var dates []string
		traps := 0
		for _, r := range rows {
			cell[r[0]+" "+r[1]+" "+r[3]] = r[4]
			if !slices.Contains(dates, r[0]) {
				dates = append(dates, r[0])
			}
			n := 0
			_, _ = fmt.Sscan(r[3], &n)
			traps = max(traps, n)
		}
		perTrap := [][]string{{"date", "bed", "pest"}}
		perDate := [][]string{append([]string{"bed", "pest", "trap"}, dates...)}
		perBed := [][]string{append([]string{"date", "pest", "trap"}, beds...)}
		for k := range traps {
			perTrap[0] = append(perTrap[0], fmt.Sprintf("Trap %d", k+1))
		}
		for _, d := range dates {
			for _, b := range beds {
				row := []string{d, b, "slug"}
				for k := range traps {
					row = append(row, cell[fmt.Sprintf("%s %s %d", d, b, k+1)])
				}
				perTrap = append(perTrap, row)
			}
		}
		for k := range traps {
			for _, b := range beds {
				row := []string{b, "slug", fmt.Sprint(k + 1)}
				for _, d := range dates {
					row = append(row, cell[fmt.Sprintf("%s %s %d", d, b, k+1)])
				}
				perDate = append(perDate, row)
			}
			for _, d := range dates {
				row := []string{d, "slug", fmt.Sprint(k + 1)}
				for _, b := range beds {
					row = append(row, cell[fmt.Sprintf("%s %s %d", d, b, k+1)])
				}
				perBed = append(perBed, row)
			}
		}
		for _, table := range [][][]string{append([][]string{long}, rows...), perTrap, perDate, perBed} {
			got, res, err := read(write(t, dir, "x.csv", table), sheet.Map{})
			require.NoError(t, err)
			require.Empty(t, res.Problems, "%v", table)
			require.Equal(t, lines(want), lines(got), "%v", table)
		}
	})
}

// What is given out with the faults held back, and the corrected rest, are
// together the whole, and no visit is in both.
func TestGoodRowsAndCorrectedRestAreTheWhole(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		want, rows := someVisits(t)
		wide := rapid.Bool().Draw(t, "wide")
		table := append([][]string{long}, rows...)
		if !wide && rapid.Bool().Draw(t, "unnumbered") {
			for i := range table { // without numbers any row may belong to any visit of its bed and day
				table[i] = append(slices.Clone(table[i][:3]), table[i][4:]...)
			}
		}
		if wide { // a column for each date, a row for each bed and trap
			table = byDate(rows)
		}
		right := map[[2]int]string{}
		hurt := make([][]string, len(table))
		for i := range table {
			hurt[i] = slices.Clone(table[i])
			for k := range hurt[i] {
				head := table[0][k]
				if i == 0 || head == "trap" || head == "note" || hurt[i][k] == "" || rapid.IntRange(0, 9).Draw(t, "hurt") > 0 {
					continue
				}
				right[[2]int{i + 1, k}] = hurt[i][k]
				hurt[i][k] = map[string]string{"date": "3/4/2026", "bed": "B44", "pest": "slgu", "count": ">50"}[head]
				if hurt[i][k] == "" {
					hurt[i][k] = "2.5"
				}
			}
		}
		path := write(t, dir, "hurt.csv", hurt)
		s, err := sheet.Open(path, nil)
		require.NoError(t, err)
		_, first, err := readSource(s, sheet.Map{}, nil)
		require.NoError(t, err)
		good, second, err := readSource(s, sheet.Map{}, first)
		require.NoError(t, err)
		if len(right) == 0 {
			require.Equal(t, lines(want), lines(good))
			require.Empty(t, second.Rest)
			return
		}
		text := strings.TrimPrefix(rest(t, s, sheet.Map{}, second), "\uFEFF")
		kept, err := csv.NewReader(strings.NewReader(text)).ReadAll()
		require.NoError(t, err)
		for _, r := range kept[1:] {
			n := 0
			_, _ = fmt.Sscan(r[len(r)-2], &n)
			require.NotEmpty(t, r[len(r)-1], "a row without its reason")
			for k := range table[0] {
				if v, ok := right[[2]int{n, k}]; ok {
					r[k] = v
				}
			}
		}
		more, res, err := read(write(t, dir, "rest.csv", kept), sheet.Map{})
		require.NoError(t, err)
		require.Empty(t, res.Problems, "%s", text)
		require.Equal(t, lines(want), lines(append(good, more...)), "%v\n%s", hurt, text)
	})
}

func byDate(rows [][]string) [][]string {
	var dates []string
	for _, r := range rows {
		if !slices.Contains(dates, r[0]) {
			dates = append(dates, r[0])
		}
	}
	table := [][]string{append([]string{"bed", "pest", "trap"}, dates...)}
	at := map[string]int{}
	for _, r := range rows {
		k := r[1] + " " + r[3]
		if at[k] == 0 {
			at[k] = len(table)
			table = append(table, append([]string{r[1], r[2], r[3]}, make([]string, len(dates))...))
		}
		table[at[k]][3+slices.Index(dates, r[0])] = r[4]
	}
	return table
}

// A date of numbers is read as the order says, against the calendar's own
// arithmetic, and never otherwise.
func TestDatesInTheStatedOrder(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		d := today.AddDays(-rapid.IntRange(0, 900).Draw(t, "days"))
		for order, form := range map[sheet.Order]string{"dmy": "%[3]d/%[2]d/%[1]d", "mdy": "%[2]d/%[3]d/%[1]d", "ymd": "%[1]d/%[2]d/%[3]d"} {
			text := fmt.Sprintf(form, d.Year, int(d.Month), d.Day)
			path := write(t, dir, "x.csv", [][]string{long, {text, "B3", "slug", "1", "4", ""}})
			got, res, err := read(path, sheet.Map{Dates: order})
			require.NoError(t, err)
			require.Empty(t, res.Problems)
			require.Equal(t, d, got[0].Date)
			got, res, err = read(path, sheet.Map{})
			require.NoError(t, err)
			clear := order == "ymd" || d.Day > 12 || d.Day == int(d.Month)
			require.Equal(t, clear, len(got) == 1, text)
			require.Equal(t, clear, len(res.Problems) == 0, text)
			if clear {
				require.Equal(t, d, got[0].Date)
			}
		}
	})
	require.Equal(t, civil.MustParse("2026-07-20"), today)
}
