package cli_test

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/cli"
	"leafturn/internal/farm"
	"leafturn/internal/record"
	"leafturn/internal/store"
	"leafturn/internal/tables"
	"leafturn/internal/testkit"
)

var ctx = context.Background()

const exportNow = "2026-07-20T18:00:00Z"

// lt runs a command on a store and returns what it wrote.
func lt(db string, words ...string) (code int, out, errs string) {
	var o, e bytes.Buffer
	code = cli.Main(ctx, append([]string{"leafturn", "--db", db, "--now", exportNow}, words...), cli.Streams{In: strings.NewReader(""), Out: &o, Err: &e, Now: time.Now, Getenv: func(string) string { return "" }})
	return code, o.String(), e.String()
}

func mustLT(t *testing.T, db string, words ...string) string {
	t.Helper()
	code, out, errs := lt(db, words...)
	require.Zero(t, code, "%v: %s", words, errs)
	return out
}

// dump is every row of every table, each value with its type.
func dump(t *testing.T, db string) map[string][]string {
	t.Helper()
	d, err := sql.Open("sqlite", "file:"+db+"?mode=ro")
	require.NoError(t, err)
	defer d.Close()
	names, err := d.Query("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite%'")
	require.NoError(t, err)
	var list []string
	for names.Next() {
		var n string
		require.NoError(t, names.Scan(&n))
		list = append(list, n)
	}
	require.Len(t, list, len(tables.All), "every table of the store is exported")
	out := map[string][]string{}
	for _, n := range list {
		rows, err := d.Query(`SELECT * FROM "` + n + `"`)
		require.NoError(t, err)
		cols, err := rows.Columns()
		require.NoError(t, err)
		out[n] = []string{strings.Join(cols, "|")}
		for rows.Next() {
			values := make([]any, len(cols))
			for i := range values {
				values[i] = new(any)
			}
			require.NoError(t, rows.Scan(values...))
			line := ""
			for _, v := range values {
				line += fmt.Sprintf("%T %q|", *v.(*any), fmt.Sprint(*v.(*any)))
			}
			out[n] = append(out[n], line)
		}
		require.NoError(t, rows.Err())
		slices.Sort(out[n])
	}
	return out
}

func folder(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		raw, err := os.ReadFile(filepath.Join(dir, e.Name()))
		require.NoError(t, err)
		out[e.Name()] = string(raw)
	}
	return out
}

// Any store, out as tables and back: every row of every table is the same, the
// check is clean, the tables written again are the same bytes, and history, week,
// records and undo are the same from both.
func TestExport_RoundTrip(t *testing.T) {
	seen := map[string]int{}
	for seed := range uint64(8) {
		dir := t.TempDir()
		a, b := filepath.Join(dir, "a.leafturn"), filepath.Join(dir, "b", "b.leafturn")
		randomFarm(t, a, testkit.Seeded(41, seed))
		mustLT(t, a, "export", filepath.Join(dir, "out"))
		mustLT(t, b, "restore", filepath.Join(dir, "out"))
		want := dump(t, a)
		require.Equal(t, want, dump(t, b), "seed %d", seed)
		for name, rows := range want {
			seen[name] += len(rows) - 1
		}
		s, err := store.Open(ctx, b)
		require.NoError(t, err)
		found, err := s.Check(ctx)
		require.NoError(t, err)
		require.Empty(t, found)
		require.NoError(t, s.Close())
		mustLT(t, b, "export", filepath.Join(dir, "again"))
		out := folder(t, filepath.Join(dir, "out"))
		require.Equal(t, out, folder(t, filepath.Join(dir, "again")), "seed %d", seed)
		harmless(t, out)
		for _, words := range [][]string{{"history", "--all", "--json"}, {"week", "--json"}, {"visits", "--all", "--json"}, {"records", "--json"}, {"undo"}, {"undo"}, {"redo"}, {"bed", "list", "--json"}, {"count", "A1", "slug", "1", "2"}, {"week", "--json"}} {
			ca, oa, ea := lt(a, words...)
			cb, ob, eb := lt(b, words...)
			require.Equal(t, ca, cb, "%v: %s", words, eb)
			require.Equal(t, oa, ob, "%v", words)
			require.Equal(t, ea, eb, "%v", words)
		}
		require.Equal(t, dump(t, a), dump(t, b), "after undo, redo and a count, seed %d", seed)
	}
	for _, table := range tables.All {
		require.NotZero(t, seen[table.Name], "the random stores hold some of %s", table.Name)
	}
}

// harmless fails when a cell would be run by a spreadsheet, or when the
// descriptor says something else than the files hold. encoding/csv reads them.
func harmless(t *testing.T, files map[string]string) {
	t.Helper()
	var p tables.Package
	require.NoError(t, json.Unmarshal([]byte(files[tables.DescriptorName]), &p))
	require.Len(t, files, len(p.Resources)+1)
	for _, r := range p.Resources {
		raw := files[r.Path]
		sum := sha256.Sum256([]byte(raw))
		require.Equal(t, "sha256:"+hex.EncodeToString(sum[:]), r.Hash)
		require.Equal(t, int64(len(raw)), r.Bytes)
		require.True(t, strings.HasSuffix(raw, "\r\n"))
		rows, err := csv.NewReader(strings.NewReader(raw)).ReadAll()
		require.NoError(t, err)
		require.Equal(t, r.Rows, int64(len(rows)-1))
		for i, f := range r.Schema.Fields {
			require.Equal(t, f.Name, rows[0][i])
			for _, row := range rows[1:] {
				c := strings.TrimLeft(row[i], " \u00a0")
				if f.Type == tables.String && c != "" {
					require.NotContains(t, []rune("=+-@\t\r\n＝＋－＠"), []rune(c)[0], "%s %q", f.Name, row[i])
				}
			}
		}
	}
}

// aFolder is the export of a small farm, and its store.
func aFolder(t *testing.T) (db, dir string) {
	t.Helper()
	root := t.TempDir()
	db, dir = filepath.Join(root, "a.leafturn"), filepath.Join(root, "out")
	for _, words := range [][]string{
		{"farm", "new", "--name", "F", "--zone", "UTC"},
		{"bed", "add", "B3", "--size", "25 m x 1.2 m", "--at", "0 m, 2 m", "--plants", "100"},
		{"bed", "add", "B4", "--size", "25 m x 1.2 m"},
		{"count", "B3", "slug", "4", "0", "-", "7", "1", "--date", "2026-07-13"},
		{"count", "B4", "slug", "1", "1", "2", "--date", "2026-07-13"},
		{"export", dir},
	} {
		mustLT(t, db, words...)
	}
	return db, dir
}

func edit(t *testing.T, dir, file string, change func(string) string) {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(dir, file))
	require.NoError(t, err)
	now := change(string(raw))
	require.NotEqual(t, string(raw), now, "the change changes something")
	require.NoError(t, os.WriteFile(filepath.Join(dir, file), []byte(now), 0o644))
}

func swap(from, to string) func(string) string {
	return func(s string) string { return strings.Replace(s, from, to, 1) }
}

// What is wrong with a folder is told with file, row, column, value and remedy,
// and nothing is made.
func TestRestore_Refuses(t *testing.T) {
	schemaNow := fmt.Sprintf(`"schema": %d`, store.SchemaVersion)
	for name, x := range map[string]struct {
		file    string
		change  func(string) string
		changed bool // with --changed
		want    []string
	}{
		"changed":          {"counts.csv", swap(",1,4\r\n", ",1,5\r\n"), false, []string{"counts.csv: the file is not as it was exported: its SHA-256 differs", "add --changed"}},
		"row gone":         {"counts.csv", swap("1,B3,2026-07-13,slug,1,4\r\n", ""), false, []string{"it has 7 rows, and 8 were exported"}},
		"first unit gone":  {"counts.csv", swap("1,B3,2026-07-13,slug,1,4\r\n", ""), true, []string{"counts.csv: visit record 1 (bed B3, slug, 2026-07-13) has 4 rows, and the last is number 5", "number the rows of a visit 1, 2, 3"}},
		"semicolons":       {"beds.csv", func(s string) string { return strings.ReplaceAll(s, ",", ";") }, true, []string{"beds.csv:1: its cells are cut by semicolons, not by commas"}},
		"tabs":             {"beds.csv", func(s string) string { return strings.ReplaceAll(s, ",", "\t") }, false, []string{"cut by tabs", "its SHA-256 differs"}},
		"no number":        {"counts.csv", swap(",1,4\r\n", ",1,four\r\n"), true, []string{`counts.csv:2:6: count: "four" is not a whole number from 0 to 100000`}},
		"below zero":       {"counts.csv", swap(",1,4\r\n", ",1,-4\r\n"), true, []string{`"-4" is not a whole number from 0`}},
		"no such visit":    {"counts.csv", swap("2,B4", "9,B4"), true, []string{"counts.csv:7:1: visit_id 9: there is no such row in visits.csv"}},
		"another bed":      {"counts.csv", swap("2,B4", "2,B3"), true, []string{`counts.csv:7:2: bed is "B3", and visit_id 2 is of "B4"`, "correct visit_id"}},
		"twice":            {"counts.csv", swap("1,B3,2026-07-13,slug,2,0", "1,B3,2026-07-13,slug,1,0"), true, []string{"counts.csv:3:1: another row has the same visit_id, seq"}},
		"short row":        {"visits.csv", swap("1,1,B3,", "1,1,"), true, []string{"visits.csv:2: the row has", "correct the commas"}},
		"bad quote":        {"beds.csv", swap("1,B3,", `1,B3"x,`), true, []string{"beds.csv:2:2: a quote in a cell"}},
		"bed twice":        {"beds.csv", swap("2,B4,", "2,b3,"), true, []string{"beds.csv:3:2: another row has the same code"}},
		"half a place":     {"beds.csv", swap(",0,2,25,", ",0,,25,"), true, []string{"beds.csv:2:4: what must hold does not: (x_m IS NULL) = (y_m IS NULL)"}},
		"mangled day":      {"visits.csv", swap("2026-07-13", "7/13/2026"), true, []string{`visits.csv:2:4: date: "7/13/2026" is not a day written as 2026-07-13`, "a spreadsheet may have changed"}},
		"no column":        {"beds.csv", swap(",plants,", ",plant,"), true, []string{"beds.csv:1: the column plants is missing"}},
		"column twice":     {"beds.csv", swap(",plants,", ",block,"), true, []string{"the column block stands there twice", "the column plants is missing"}},
		"empty file":       {"beds.csv", func(string) string { return "" }, true, []string{"beds.csv: there is no header"}},
		"newer":            {"datapackage.json", swap(schemaNow, `"schema": 99`), false, []string{"schema version 99", "newer"}},
		"older":            {"datapackage.json", swap(schemaNow, `"schema": 1`), false, []string{"no leafturn wrote tables of schema version 1"}},
		"no JSON":          {"datapackage.json", swap(`{`, `[`), false, []string{"datapackage.json"}},
		"not described":    {"datapackage.json", swap(`"name": "beds"`, `"name": "betten"`), true, []string{"it does not describe beds.csv"}},
		"journal lost":     {"changes_added.csv", swap("visit,1,1", "visit,1,7"), true, []string{"journal"}},
		"no such change":   {"changes_added.csv", swap("4,visit,1,1", "44,visit,1,1"), true, []string{"changes_added.csv:2:1: change_id 44: there is no such row in changes.csv"}},
		"two live records": {"visits.csv", swap("2,2,B4,", "2,1,B3,"), true, []string{"visits.csv:3:2: another row that is not taken out has the same bed_id, pest, unit, stratum, date"}},
		"no more farm":     {"farm.csv", func(s string) string { head, _, _ := strings.Cut(s, "\n"); return head + "\n" }, true, []string{"farm"}},
	} {
		t.Run(name, func(t *testing.T) {
			db, dir := aFolder(t)
			before := dump(t, db)
			edit(t, dir, x.file, x.change)
			words := []string{"restore", dir}
			if x.changed {
				words = append(words, "--changed")
			}
			for _, path := range []string{db, filepath.Join(t.TempDir(), "new.leafturn")} {
				code, out, errs := lt(path, words...)
				require.NotZero(t, code, out)
				for _, w := range x.want {
					require.Contains(t, errs, w)
				}
				require.Contains(t, errs, "do: ")
				require.Contains(t, errs, "nothing was changed")
				left, err := filepath.Glob(filepath.Join(filepath.Dir(path), "*leafturn*"))
				require.NoError(t, err)
				if path != db {
					require.Empty(t, left)
				}
			}
			require.Equal(t, before, dump(t, db))
		})
	}
	t.Run("a file is missing", func(t *testing.T) {
		db, dir := aFolder(t)
		require.NoError(t, os.Remove(filepath.Join(dir, "weather.csv")))
		require.NoError(t, os.Remove(filepath.Join(dir, "beds.csv")))
		code, _, errs := lt(db, "restore", dir)
		require.Equal(t, 2, code)
		require.Contains(t, errs, "weather.csv: the table is missing")
		require.Contains(t, errs, "beds.csv: the table is missing")
		require.Equal(t, 2, strings.Count(errs, "do: "), "what points to a table that is missing is not wrong itself")
	})
	t.Run("all is told", func(t *testing.T) {
		db, dir := aFolder(t)
		edit(t, dir, "beds.csv", swap(",25,1.2,100,", ",25,x,many,"))
		edit(t, dir, "beds.csv", swap("2,B4,", "two,B4,"))
		edit(t, dir, "visits.csv", swap("random", "anywhere"))
		_, _, errs := lt(db, "restore", dir, "--changed")
		require.Equal(t, 5, strings.Count(errs, "do: "), errs)
		for _, w := range []string{"width_m", "plants", "stratum", "id:", "bed_id 2: there is no such row"} {
			require.Contains(t, errs, w)
		}
		require.NotContains(t, errs, "counts.csv", "what points to a wrong row is not wrong itself")
	})
}

// What a spreadsheet may do to a file is taken with --changed: LF for CRLF, a
// byte order mark, another order of columns, a column more, TRUE for true, blank
// lines; and a count that was corrected gives new sums.
func TestRestore_Changed(t *testing.T) {
	db, dir := aFolder(t)
	want := dump(t, db)
	edit(t, dir, "visits.csv", func(s string) string {
		rows, err := csv.NewReader(strings.NewReader(s)).ReadAll()
		require.NoError(t, err)
		var b strings.Builder
		b.WriteString("\ufeff")
		for i, r := range rows {
			slices.Reverse(r)
			for j, c := range r {
				r[j] = strings.ReplaceAll(c, "false", "FALSE")
			}
			fmt.Fprintf(&b, "%s,%s\n", strings.Join(r, ","), map[bool]string{true: "my remark", false: "seen"}[i == 0])
		}
		return b.String() + "\n\n"
	})
	code, out, errs := lt(db, "restore", dir, "--changed", "--json")
	require.Zero(t, code, errs)
	var doc struct{ Data app.RestoreData }
	require.NoError(t, json.Unmarshal([]byte(out), &doc))
	require.Equal(t, []string{"visits.csv"}, doc.Data.Changed)
	require.Equal(t, []string{`column "my remark" of visits.csv`}, doc.Data.NotRead)
	require.Zero(t, doc.Data.Recounted)
	require.FileExists(t, doc.Data.Aside)
	require.Equal(t, want, dump(t, db))

	edit(t, dir, "counts.csv", swap(",1,4\r\n", ",1,40\r\n"))
	code, out, errs = lt(db, "restore", dir, "--changed", "--check")
	require.Zero(t, code, errs)
	require.Contains(t, out, "nothing was changed")
	require.Equal(t, want, dump(t, db))
	out = mustLT(t, db, "restore", dir, "--changed")
	require.Contains(t, out, "changed since they were exported: visits.csv, counts.csv")
	require.Contains(t, out, "the sums of 1 visit were made anew from the counts")
	require.Contains(t, mustLT(t, db, "visits"), "40 0 - 7 1")
	require.Contains(t, mustLT(t, db, "check"), "is whole")
}

// A folder is one state of the store, whatever others write meanwhile.
func TestExport_WhileOthersWrite(t *testing.T) {
	dir := t.TempDir()
	db := filepath.Join(dir, "a.leafturn")
	mustLT(t, db, "farm", "new", "--name", "F", "--zone", "UTC")
	mustLT(t, db, "bed", "add", "B3", "--size", "25 m x 1.2 m")
	stop := make(chan struct{})
	ended := make(chan error, 1)
	go func() {
		s, err := store.Open(ctx, db, store.WithBusyTimeout(time.Minute))
		for i := 0; err == nil; i++ {
			select {
			case <-stop:
				ended <- s.Close()
				return
			default:
			}
			err = s.Update(ctx, func(tx *store.Tx) error {
				_, err := tx.AddVisit(farm.Visit{Bed: "B3", Date: civil.New(2026, 1, 1).AddDays(i), Pest: "slug", Unit: "trap", Stratum: farm.Random, Counts: []farm.UnitCount{{Count: i % 7, Seen: true}, {Count: 1, Seen: true}}}, time.Now())
				return err
			})
		}
		ended <- err
	}()
	rows := 0
	for i := range 12 {
		out := filepath.Join(dir, fmt.Sprintf("out%d", i))
		mustLT(t, db, "export", out)
		code, said, errs := lt(filepath.Join(dir, fmt.Sprintf("back%d.leafturn", i)), "restore", out)
		require.Zero(t, code, errs)
		rows = max(rows, len(said))
	}
	close(stop)
	require.NoError(t, <-ended)
}

// The workbook: cells have types and none is a formula, headers stay in view, and
// import reads the counts back as they were.
func TestExport_Workbook(t *testing.T) {
	dir := t.TempDir()
	db, file := filepath.Join(dir, "a.leafturn"), filepath.Join(dir, "farm.xlsx")
	mustLT(t, db, "farm", "new", "--name", "F", "--zone", "America/Los_Angeles")
	mustLT(t, db, "bed", "add", "B3", "--size", "25 m x 1.2 m", "--cultivar", "=HYPERLINK(1)")
	mustLT(t, db, "count", "B3", "slug", "4", "0", "-", "7", "1", "--date", "2026-07-13")
	mustLT(t, db, "count", "B3", "slug", "9", "9", "9", "--date", "2026-07-14")
	mustLT(t, db, "void", "visit", "2", "--reason", "wrong bed")
	mustLT(t, db, "did", "slug", "night_pick", "B3", "--date", "2026-07-13")
	mustLT(t, db, "export", file)
	book, err := excelize.OpenFile(file)
	require.NoError(t, err)
	defer book.Close()
	require.Equal(t, []string{"Beds", "Stages", "Visits", "Counts", "Natural enemies", "Treatments", "Releases", "Steps", "Weather", "Labels", "Action levels", "Planned covers"}, book.GetSheetList())
	cell := func(sheet, at string) string {
		v, err := book.GetCellValue(sheet, at)
		require.NoError(t, err)
		return v
	}
	require.Equal(t, "=HYPERLINK(1)", cell("Beds", "I2"))
	formula, err := book.GetCellFormula("Beds", "I2")
	require.NoError(t, err)
	require.Empty(t, formula)
	require.Equal(t, "30", cell("Beds", "G2"))
	require.Equal(t, "2026-07-13", cell("Visits", "C2"))
	kind, err := book.GetCellType("Visits", "C2")
	require.NoError(t, err)
	require.NotEqual(t, excelize.CellTypeInlineString, kind, "a day is a number with a form, not a text")
	require.Equal(t, "3", cell("Visits", "J2"), "12 animals on 4 units")
	require.Empty(t, cell("Visits", "A3"), "what was taken out is not there")
	panes, err := book.GetPanes("Counts")
	require.NoError(t, err)
	require.True(t, panes.Freeze)
	z, err := zip.OpenReader(file)
	require.NoError(t, err)
	defer z.Close()
	for _, f := range z.File {
		in, err := f.Open()
		require.NoError(t, err)
		var b bytes.Buffer
		_, err = b.ReadFrom(in)
		require.NoError(t, err)
		require.NotContains(t, b.String(), "<f>", f.Name)
	}

	again := filepath.Join(dir, "b.leafturn")
	mustLT(t, again, "farm", "new", "--name", "F", "--zone", "America/Los_Angeles")
	mustLT(t, again, "bed", "add", "B3", "--size", "25 m x 1.2 m")
	mustLT(t, again, "import", file, "--sheet", "Counts")
	require.Equal(t, mustLT(t, db, "visits"), mustLT(t, again, "visits"))
}

// The cells of `records --csv` run nothing either.
func TestRecordsCSV_RunsNothing(t *testing.T) {
	db, _ := aFolder(t)
	mustLT(t, db, "did", "slug", "night_pick", "B3", "--note", " =cmd|' /C calc'!A0")
	out := mustLT(t, db, "records", "steps", "--csv", "-")
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	require.NoError(t, err)
	i := slices.Index(rows[0], "note")
	require.Equal(t, "' =cmd|' /C calc'!A0", rows[1][i])
	require.Equal(t, " =cmd|' /C calc'!A0", record.Plain(rows[1][i]))
}

// A clock that stands before the newest record is told with each command that
// stores, and with none that does not.
func TestClockNote(t *testing.T) {
	db, _ := aFolder(t)
	early := func(words ...string) string {
		var o, e bytes.Buffer
		code := cli.Main(ctx, append([]string{"leafturn", "--db", db, "--now", "2026-07-18T18:00:00Z"}, words...), cli.Streams{In: strings.NewReader(""), Out: &o, Err: &e, Now: time.Now, Getenv: func(string) string { return "" }})
		require.Zero(t, code, e.String())
		return e.String()
	}
	const note = "note: this computer's clock says 18 Jul 2026 18:00, and the newest record was entered on 20 Jul 2026 18:00: set the clock if it is wrong"
	for _, words := range [][]string{
		{"count", "B3", "slug", "1", "--date", "2026-07-15"}, {"did", "slug", "night_pick", "B3"}, {"weather", "--date", "2026-07-15", "--min", "9C", "--max", "20C"}, {"bed", "set", "B4", "--plants", "5"},
		{"farm", "set", "--place", "x"}, {"void", "visit", "1", "--reason", "x"}, {"undo"}, {"redo"},
	} {
		require.Contains(t, early(words...), note, "%v", words)
	}
	for _, words := range [][]string{{"visits"}, {"count", "B3", "slug", "1", "--date", "2026-07-16", "--check"}, {"export", filepath.Join(t.TempDir(), "x")}} {
		require.NotContains(t, early(words...), "clock", "%v", words)
	}
	_, _, errs := lt(db, "count", "B3", "slug", "1", "--date", "2026-07-17")
	require.Empty(t, errs, "the clock is right again")
}
