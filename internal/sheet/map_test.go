package sheet_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/diag"
	"leafturn/internal/sheet"
)

// A saved map reads the same sheet in the same way, each column as stated.
func TestSavedMapReadsTheSame(t *testing.T) {
	for _, name := range []string{"long.csv", "wide-traps-with-title-and-totals.csv", "wide-dates.csv", "wide-pests.csv", "wide-beds.csv", "semicolon-decimal-comma-1252.csv", "repeated-rows.csv", "infested-and-looked.csv", "two-places-in-a-bed.csv"} {
		m := stated[name]
		visits, res, err := read("testdata/"+name, m)
		require.NoError(t, err)
		saved, err := sheet.ParseMap(sheet.FormatMap(&res.Layout, m), "m.toml")
		require.NoError(t, err)
		again, res2, err := read("testdata/"+name, saved)
		require.NoError(t, err)
		require.Equal(t, lines(visits), lines(again), name)
		require.Equal(t, len(res.Problems), len(res2.Problems), name)
		for i, c := range res2.Columns {
			require.True(t, c.Stated, "%s: column %q", name, c.Heading)
			require.Equal(t, res.Columns[i].Words(), c.Words(), name)
		}
	}
}

func TestParseMap(t *testing.T) {
	m, err := sheet.ParseMap([]byte("\uFEFFdates = \"DMY\"\nblank = \"zero\"\ndate = \"2026-07-13\"\n[columns]\n\"Bed no.\" = \"bed\"\n[beds]\n\"top\" = \"B3\"\n"), "m.toml")
	require.NoError(t, err)
	require.Equal(t, sheet.DayFirst, m.Dates)
	require.Equal(t, "zero", m.Blank)
	require.Equal(t, "bed", m.Columns["Bed no."])

	for text, want := range map[string]string{
		"dates = \"dym\"\nblank = \"x\"\ndate = \"July\"\nsheets = \"a\"": `dates = "dym"|blank = "x"|date = "July"|unknown key "sheets"; did you mean "sheet"`,
		"[columns]\nbed = 3": `the value of "columns.bed" is no text in quotation marks`,
		"pest = [\"slug\"]":  `the value of "pest" is no text`,
		"columns = 3":        "columns is no table",
		"[[beds]]\ntop = \"B3\"\n[[columns]]\nDay = \"date\"": "beds is no table|columns is no table",
		"[columns]\n\"Bed\" = \"bed\"\n\"bed\" = \"note\"":    "the same but for signs",
		"dates = ":                          "m.toml:1",
		strings.Repeat("# much\n", 200_000): "is larger",
	} {
		_, err := sheet.ParseMap([]byte(text), "m.toml")
		var list *diag.List
		require.ErrorAs(t, err, &list, text)
		for _, w := range strings.Split(want, "|") {
			require.ErrorContains(t, err, w)
		}
		for _, p := range list.Problems {
			require.NotEmpty(t, p.Do)
		}
	}
}

// What a map says of a column is checked, and stands over the guess.
func TestMapOverTheGuess(t *testing.T) {
	path := put(t, "x.csv", "date,bed,count,remarks,n\n2026-07-13,top bed,4,MT,3\n")
	_, res, err := read(path, sheet.Map{Columns: map[string]string{"Count": "ignore", "N": "count of slugs", "remarks": "observer"}, Beds: map[string]string{"TOP  BED": "b3"}})
	require.NoError(t, err)
	require.Empty(t, res.Problems)
	require.Equal(t, "count of slug", res.Columns[4].Words())
	require.Equal(t, "observer", res.Columns[3].Words())
	require.Equal(t, 1, res.Visits)

	for role, want := range map[string]string{
		"cuont": `unknown role of a column "cuont"; did you mean "count"?`, "+wasp": `unknown natural enemy "wasp"`,
		"count of moles": `"moles" is none of these`, "": "role of a column",
	} {
		_, res, err := read(path, sheet.Map{Columns: map[string]string{"n": role}})
		require.NoError(t, err)
		require.NotEmpty(t, res.Problems, role)
		require.Contains(t, res.Problems[0].What, want)
	}
}

func TestHeadings(t *testing.T) {
	for head, want := range map[string]string{
		"Trap 3": "count of trap 3", "trap_12": "count of trap 12", "Leaf#4": "count of leaf 4", "7": "count of 7", "Sample 2": "count of 2", "T1": "not read",
		"No. of slugs": "count of slug", "Slug count": "count of slug", "greenfly": "count of aphid", "Slugs per trap": "not read", "Total slugs": "not read",
		"Air temp (°C)": "air C", "temp_f": "air F", "Temperature": "air", "Soil temp °F": "soil temperature F", "soil_c": "soil temperature C",
		"13 July 2026": "count of 2026-07-13", "2026-07-13": "count of 2026-07-13", "13.07.2026": "count of 2026-07-13",
		"b3": "count of B3", "Predatory mites": "+predatory_mite", "Trap no.": "unit number of trap", "PLANT": "unit number of plant", "Photo": "not read", "": "not read",
	} {
		_, res, err := read(put(t, "x.csv", "date,bed,\""+head+"\"\n2026-07-01,B4,4\n"), sheet.Map{})
		require.NoError(t, err)
		got := "not read"
		if len(res.Columns) == 3 && res.Columns[2].Read() {
			got = res.Columns[2].Words()
		}
		require.Equal(t, want, got, head)
	}
}

// A saved map of a sheet with a column for each date reads the next sheet too,
// which has other dates.
func TestSavedMapReadsTheNextSheet(t *testing.T) {
	dir := t.TempDir()
	_, res, err := read(write(t, dir, "june.csv", [][]string{{"Bed", "Pest", "1/6/2026", "8/6/2026"}, {"B3", "slug", "4", "2"}}), sheet.Map{Dates: sheet.DayFirst})
	require.NoError(t, err)
	m, err := sheet.ParseMap(sheet.FormatMap(&res.Layout, sheet.Map{Dates: sheet.DayFirst}), "m.toml")
	require.NoError(t, err)
	got, res, err := read(write(t, dir, "july.csv", [][]string{{"Bed", "Pest", "6/7/2026"}, {"B3", "slug", "4"}}), m)
	require.NoError(t, err)
	require.Empty(t, res.Problems)
	require.Equal(t, []string{"2026-07-06 B3 slug 4 unit=trap"}, lines(got))
}

// A heading that was refused is not read otherwise once the map is saved.
func TestSavedMapOfARefusedHeading(t *testing.T) {
	for _, head := range []string{"conut", "2026", "traps", "3-Apr"} {
		path := write(t, t.TempDir(), "x.csv", [][]string{{"date", "bed", "pest", "trap 1", head}, {"2026-07-06", "B3", "slug", "4", "2"}})
		_, res, err := read(path, sheet.Map{})
		require.NoError(t, err)
		require.NotEmpty(t, res.Problems, head)
		m, err := sheet.ParseMap(sheet.FormatMap(&res.Layout, sheet.Map{}), "m.toml")
		require.NoError(t, err)
		got, res, err := read(path, m)
		require.NoError(t, err)
		require.Empty(t, got, head)
		require.Len(t, res.Problems, 1, head)
		require.Contains(t, res.Problems[0].What, "the map leaves open what the column", head)
	}
}

// What is watched without being read is watched by a saved map too.
func TestSavedMapOfAWatchedColumn(t *testing.T) {
	dir := t.TempDir()
	for head, values := range map[string][2]string{"Sex": {"m", "f"}, "Time": {"am", "pm"}, "Field": {"home", "away"}, "Void": {"", "yes"}} {
		rows := [][]string{{"date", "bed", "pest", "count", head}, {"2026-07-06", "B3", "slug", "4", values[0]}, {"2026-07-06", "B3", "slug", "9", values[0]}}
		path := write(t, dir, head+"1.csv", rows)
		got, res, err := read(path, sheet.Map{})
		require.NoError(t, err)
		require.Empty(t, res.Problems, head)
		require.Equal(t, []string{"2026-07-06 B3 slug 4 9 unit=trap"}, lines(got), head)
		m, err := sheet.ParseMap(sheet.FormatMap(&res.Layout, sheet.Map{}), "m.toml")
		require.NoError(t, err)
		rows[2][4] = values[1]
		got, res, err = read(write(t, dir, head+"2.csv", rows), m)
		require.NoError(t, err)
		require.Empty(t, got, head)
		require.Len(t, res.Problems, 1, head)
		require.Equal(t, []int{3, 5}, []int{res.Problems[0].Row, res.Problems[0].Col}, head)
		m.Columns[head] = "ignore"
		got, res, err = read(write(t, dir, head+"3.csv", rows), m)
		require.NoError(t, err)
		require.Empty(t, res.Problems, head)
		require.Len(t, got, 1, head)
	}
}

// A heading of a pest and a unit is written down as it is read.
func TestSavedMapOfPestsAndUnits(t *testing.T) {
	path := put(t, "x.csv", "Date,Bed,Slugs trap 1,Slugs trap 2,Spider mites leaf 1,Earwig #3\n2026-07-13,B3,4,0,2,7\n")
	want, res, err := read(path, sheet.Map{})
	require.NoError(t, err)
	require.Empty(t, res.Problems)
	require.Equal(t, []string{"2026-07-13 B3 earwig 7 unit=shelter", "2026-07-13 B3 slug 4 0 unit=trap", "2026-07-13 B3 spider_mite 2 unit=leaf"}, lines(want))
	saved := string(sheet.FormatMap(&res.Layout, sheet.Map{}))
	for _, line := range []string{`"Slugs trap 2" = "count of slug trap 2"`, `"Spider mites leaf 1" = "count of spider_mite leaf 1"`, `"Earwig #3" = "count of earwig 3"`} {
		require.Contains(t, saved, line)
	}
	m, err := sheet.ParseMap([]byte(saved), "m.toml")
	require.NoError(t, err)
	got, res, err := read(path, m)
	require.NoError(t, err)
	require.Empty(t, res.Problems)
	require.Equal(t, lines(want), lines(got))

	// Twice the same trap of a pest is refused; that of two pests is not.
	_, res, err = read(put(t, "y.csv", "Date,Bed,Slugs trap 1,Trap 1 slugs,Earwigs trap 1\n2026-07-13,B3,4,4,4\n"), sheet.Map{})
	require.NoError(t, err)
	require.Equal(t, []string{"D: both this column and column C are read as count of slug trap 1"}, whats(res))
}
