package sheet_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leafturn/internal/sheet"
)

// A column of sums or means beside columns of counts is not read, wherever it
// stands: the visits are those of the sheet without it.
func TestTotalsColumns(t *testing.T) {
	dir := t.TempDir()
	heads := []string{"Total", "TOTAL:", "Totals", "Sum", "Mean", "Average", "Avg", "Median", "Max", "Min", "Minimum", "Subtotal", "Sub-total", "Grand total", "Std dev", "SD", "SE", "Tot", "Total count",
		"Total slugs", "Slugs total", "Sum of slugs", "Slug sum", "Mean slugs", "Slugs (mean)", "Average slugs", "Slug average", "Slugs per trap", "Slugs/trap", "avg/trap", "No. of slugs per trap", "Count total", "Total traps",
		"Trap total", "Trap 1-3 total", "Traps sum", "Bed total", "B3 total", "July total", "Season total", "Mean of traps", "Summe", "Gesamt", "Mittelwert", "Moyenne", "Somme", "Totaal", "Gemiddelde", "Suma", "Ø", "Σ", ""}
	for name, table := range map[string][][]string{
		"traps": {{"date", "bed", "pest", "Trap 1", "Trap 2", "Trap 3"}, {"2026-07-06", "B3", "slug", "4", "0", "2"}, {"2026-07-13", "B3", "slug", "1", "-", "5"}},
		"dates": {{"bed", "pest", "trap", "2026-07-06", "2026-07-13"}, {"B3", "slug", "1", "4", "0"}, {"B3", "slug", "2", "1", "2"}},
		"beds":  {{"date", "pest", "trap", "B3", "B4"}, {"2026-07-06", "slug", "1", "4", "0"}, {"2026-07-06", "slug", "2", "1", "2"}},
		"pests": {{"date", "bed", "slugs", "earwigs"}, {"2026-07-06", "B3", "4", "0"}, {"2026-07-06", "B3", "1", "2"}},
		"long":  {{"date", "bed", "pest", "trap", "count"}, {"2026-07-06", "B3", "slug", "1", "4"}, {"2026-07-06", "B3", "slug", "2", "0"}},
	} {
		want, res, err := read(write(t, dir, "plain.csv", table), sheet.Map{})
		require.NoError(t, err)
		require.Empty(t, res.Problems, name)
		for _, head := range heads {
			for at := 3; at <= len(table[0]); at++ {
				var with [][]string
				for i, row := range table {
					cell := "6"
					if i == 0 {
						cell = head
					}
					with = append(with, append(append(append([]string{}, row[:at]...), cell), row[at:]...))
				}
				got, res, err := read(write(t, dir, "with.csv", with), sheet.Map{})
				require.NoError(t, err)
				assert.Empty(t, res.Problems, "%s: %q in column %d", name, head, at+1)
				assert.False(t, at < len(res.Columns) && res.Columns[at].Read(), "%s: %q", name, head)
				assert.Equal(t, lines(want), lines(got), "%s: %q in column %d", name, head, at+1)
			}
		}
	}
}

// Where the only numbers are totals, nothing is read and it is said what is
// missing; a map can say that they are counts.
func TestOnlyTotals(t *testing.T) {
	path := write(t, t.TempDir(), "x.csv", [][]string{{"date", "bed", "pest", "Total"}, {"2026-07-06", "B3", "slug", "4"}})
	got, res, err := read(path, sheet.Map{})
	require.NoError(t, err)
	require.Empty(t, got)
	require.Len(t, res.Problems, 1)
	require.Contains(t, res.Problems[0].What, "no column is read as count")
	got, res, err = read(path, sheet.Map{Columns: map[string]string{"Total": "count"}})
	require.NoError(t, err)
	require.Empty(t, res.Problems)
	require.Len(t, got, 1)
}

// A column that is headed as counts are is taken for counts: beside numbered
// units it is refused, never added to them.
func TestTotalsUnderTheNameOfCounts(t *testing.T) {
	for _, head := range []string{"Slugs", "Count", "Number of slugs", "Slugs found"} {
		path := write(t, t.TempDir(), "x.csv", [][]string{{"date", "bed", "Trap 1", "Trap 2", head}, {"2026-07-06", "B3", "4", "2", "6"}})
		got, res, err := read(path, sheet.Map{Pest: "slug"})
		require.NoError(t, err)
		require.Empty(t, got, head)
		require.Len(t, res.Problems, 1, head)
		require.Contains(t, res.Problems[0].What, "some units of B3 slug 2026-07-06 have a number and some have none")
	}
}

// A row of sums that says so in the place of its unit, of its spot or of its
// note is not read: a sum that is taken for one more trap is a wrong count.
func TestTotalsRowsThatSaySoFurtherRight(t *testing.T) {
	plain := [][]string{{"date", "bed", "pest", "unit", "no", "where", "count", "note"}, {"2026-07-06", "B3", "slug", "trap", "1", "", "4", ""}, {"2026-07-06", "B3", "slug", "trap", "2", "", "2", "wet"}}
	dir := t.TempDir()
	want, res, err := read(write(t, dir, "plain.csv", plain), sheet.Map{})
	require.NoError(t, err)
	require.Empty(t, res.Problems)
	for _, word := range []string{"Total", "sum:", "Average", "Mittelwert", "total of bed B3"} {
		for _, at := range []int{3, 4, 5, 7} {
			sum := []string{"2026-07-06", "B3", "slug", "", "", "", "6", ""}
			sum[at] = word
			got, res, err := read(write(t, dir, "with.csv", append(plain[:len(plain):len(plain)], sum)), sheet.Map{})
			require.NoError(t, err)
			assert.Empty(t, res.Problems, "%q in column %d", word, at+1)
			assert.Equal(t, 1, res.Totals, "%q in column %d", word, at+1)
			assert.Equal(t, lines(want), lines(got), "%q in column %d", word, at+1)
		}
	}
}
