package sheet_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/sheet"
)

// A heading that may be a date in another dress is no number of a trap, and is
// not passed over either: both would give counts to no day or to a wrong one.
func TestHeadingsThatAreNoUnits(t *testing.T) {
	for _, x := range []struct{ head, says string }{
		{"2026", `"2026" is a year`},
		{"1998", `"1998" is a year`},
		{"46215", `"46215" is a spreadsheet's number for a day`},
	} {
		path := write(t, t.TempDir(), "x.csv", [][]string{{"date", "bed", "pest", "1", x.head}, {"2026-07-06", "B3", "slug", "4", "2"}})
		got, res, err := read(path, sheet.Map{})
		require.NoError(t, err)
		require.Empty(t, got, x.head)
		require.NotEmpty(t, res.Problems, x.head)
		require.Contains(t, res.Problems[0].What, x.says)
	}
}

// A wrong value is told as it stands in the cell.
func TestValuesAreToldAsWritten(t *testing.T) {
	path := write(t, t.TempDir(), "x.csv", [][]string{{"date", "bed", "pest", "count"}, {"2026-07-06", "B3", "slug", "Many"}})
	_, res, err := read(path, sheet.Map{})
	require.NoError(t, err)
	require.Len(t, res.Problems, 1)
	require.Contains(t, res.Problems[0].What, `"Many"`)
}

// Rows that tell the animals of one unit apart would be taken for more units.
func TestLifeStagesAreNoUnits(t *testing.T) {
	for _, head := range []string{"Life stage", "instar", "Sex"} {
		path := write(t, t.TempDir(), "x.csv", [][]string{{"date", "bed", "pest", "count", head}, {"2026-07-06", "B3", "slug", "4", "a"}, {"2026-07-06", "B3", "slug", "9", "b"}})
		got, res, err := read(path, sheet.Map{})
		require.NoError(t, err)
		require.Empty(t, got, head)
		require.Len(t, res.Problems, 1, head)
		require.Contains(t, res.Problems[0].What, "would be taken for several units")
		got, res, err = read(path, sheet.Map{Columns: map[string]string{head: "ignore"}})
		require.NoError(t, err)
		require.Empty(t, res.Problems, head)
		require.Len(t, got, 1, head)
	}
}

// In a sheet with a column for each bed, a heading that is a slip away from a
// bed is a misspelt bed: its counts are not left out in silence.
func TestMisspeltBedAsHeading(t *testing.T) {
	for _, head := range []string{"B33", "b 3", "8B3", "X3"} {
		path := write(t, t.TempDir(), "x.csv", [][]string{{"date", "pest", "B4", head}, {"2026-07-06", "slug", "4", "2"}})
		got, res, err := read(path, sheet.Map{})
		require.NoError(t, err)
		require.Empty(t, got, head)
		require.Len(t, res.Problems, 1, head)
		require.Contains(t, res.Problems[0].What, "unknown bed "+`"`+head+`"; did you mean "B`)
		got, res, err = read(path, sheet.Map{Columns: map[string]string{head: "count of B3"}})
		require.NoError(t, err)
		require.Empty(t, res.Problems, head)
		require.Len(t, got, 2, head)
	}
}

// A column of whole numbers under an unknown heading is told apart from one of
// words: it may be counts that are left out.
func TestUnreadNumbers(t *testing.T) {
	path := write(t, t.TempDir(), "x.csv", [][]string{{"date", "bed", "pest", "Trap 1", "T4", "Feeling", "Total", ""}, {"2026-07-06", "B3", "slug", "4", "2", "good", "6", "9"}})
	_, res, err := read(path, sheet.Map{})
	require.NoError(t, err)
	require.Empty(t, res.Problems)
	var numbers []int
	for _, c := range res.Columns {
		if c.Numbers {
			numbers = append(numbers, c.Col)
		}
	}
	require.Equal(t, []int{5, 8}, numbers)
}

// A column of how many traps there were is no column of their numbers: 12 slugs
// in 4 traps are not 12 in the fourth.
func TestHowManyUnits(t *testing.T) {
	for _, head := range []string{"traps", "Leaves", "No. of traps", "# traps", "number of boards", "n", "Traps (n)", "traps set", "10 traps", "leaves per sample", "traps per bed", "reps", "Samples"} {
		path := write(t, t.TempDir(), "x.csv", [][]string{{"date", "bed", "slugs", head}, {"2026-07-06", "B3", "12", "4"}})
		got, res, err := read(path, sheet.Map{})
		require.NoError(t, err)
		require.Empty(t, got, head)
		require.Len(t, res.Problems, 1, head)
		require.Contains(t, res.Problems[0].What, "may say how many units there were", head)
		_, res, err = read(path, sheet.Map{Columns: map[string]string{head: "ignore"}})
		require.NoError(t, err)
		require.Empty(t, res.Problems, head)
	}
	for _, head := range []string{"trap", "Trap no", "trap number", "No.", "number"} {
		path := write(t, t.TempDir(), "x.csv", [][]string{{"date", "bed", "slugs", head}, {"2026-07-06", "B3", "12", "4"}})
		_, res, err := read(path, sheet.Map{})
		require.NoError(t, err)
		require.Empty(t, res.Problems, head)
		require.Equal(t, sheet.Number, res.Columns[3].Role, head)
	}
}

// So does a column whose heading names units and says more; one that is not read and
// holds words does not.
func TestHeadingsThatNameUnits(t *testing.T) {
	for _, head := range []string{"Leaves examined", "trap count", "trap n", "Plants scouted", "Mites (10 leaves)", "Trap 3 (edge)", "no. of infested leaves", "Slugs on trap 2"} {
		path := write(t, t.TempDir(), "x.csv", [][]string{{"date", "bed", "slugs", head}, {"2026-07-06", "B3", "12", "4"}})
		got, res, err := read(path, sheet.Map{})
		require.NoError(t, err)
		require.Empty(t, got, head)
		require.Len(t, res.Problems, 1, head)
		require.Contains(t, res.Problems[0].What, "may be of counts, or say how many units there were", head)
		got, res, err = read(path, sheet.Map{Columns: map[string]string{head: "ignore"}})
		require.NoError(t, err)
		require.Empty(t, res.Problems, head)
		require.Len(t, got, 1, head)
		_, res, err = read(write(t, t.TempDir(), "x.csv", [][]string{{"date", "bed", "slugs", head}, {"2026-07-06", "B3", "12", "hole"}}), sheet.Map{})
		require.NoError(t, err)
		require.Empty(t, res.Problems, head)
	}
}

// A day on which nobody can have counted is refused in a heading as in a cell.
func TestDaysOfNoCount(t *testing.T) {
	for _, x := range []struct{ day, says string }{{"2027-06-01", "lies in the future"}, {"1926-06-01", "lies before 2016-07-20"}, {"2016-07-19", "is taken for a slip"}} {
		for _, table := range [][][]string{
			{{"bed", "pest", x.day}, {"B3", "slug", "4"}},
			{{"date", "bed", "pest", "count"}, {x.day, "B3", "slug", "4"}},
		} {
			got, res, err := read(write(t, t.TempDir(), "x.csv", table), sheet.Map{})
			require.NoError(t, err)
			require.Empty(t, got, x.day)
			require.Len(t, res.Problems, 1, x.day)
			require.Contains(t, res.Problems[0].What, x.says)
		}
	}
}

// What stands in brackets behind a heading can change what it is: then it is not read
// as the word before.
func TestBracketsInHeadings(t *testing.T) {
	for head, want := range map[string]sheet.Role{
		"Date (d.m.y)": sheet.Date, "Datum (tt.mm.jjjj)": sheet.Date, "Date [ISO]": sheet.Date, "Bed (no.)": sheet.Bed, "Notes (weather, crop)": sheet.Note, "count [n]": sheet.Count,
	} {
		path := write(t, t.TempDir(), "x.csv", [][]string{{head, "slugs"}, {"2026-07-06", "12"}})
		_, res, err := read(path, sheet.Map{})
		require.NoError(t, err)
		require.Equal(t, want, res.Columns[0].Role, head)
	}
	for _, head := range []string{"Date (planted)", "Day (1-7)", "Count (mean)", "count (adults)", "Trap (colour)", "Slugs (per trap)"} {
		path := write(t, t.TempDir(), "x.csv", [][]string{{head, "bed", "slugs"}, {"x", "B3", "12"}})
		_, res, err := read(path, sheet.Map{})
		require.NoError(t, err)
		require.False(t, res.Columns[0].Read(), head)
	}
}

// A column of percents is none of counts, whatever else its heading says.
func TestPercentsAreNoCounts(t *testing.T) {
	for _, head := range []string{"Count (%)", "% slugs", "Slugs %", "% infested", "Trap 1 (%)"} {
		path := write(t, t.TempDir(), "x.csv", [][]string{{"date", "bed", head, "earwigs"}, {"2026-07-06", "B3", "30", "2"}})
		got, res, err := read(path, sheet.Map{})
		require.NoError(t, err)
		require.Empty(t, got, head)
		require.NotEmpty(t, res.Problems, head)
		require.Contains(t, res.Problems[0].What, "says percent", head)
	}
}
