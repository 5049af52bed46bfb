package store_test

import (
	"bytes"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"leafturn/internal/record"
	"leafturn/internal/store"
	"leafturn/internal/tables"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// bare is a filled store without its triggers, so that its CHECKs can be tried.
func bare(t *testing.T) *sql.DB {
	t.Helper()
	s := newStore(t)
	update(t, s, fillAll)
	require.NoError(t, s.UpdateAs(ctx, store.Command{At: at}, func(tx *store.Tx) error { return tx.Void(store.KindRelease, 1, "x", at) }))
	require.NoError(t, s.UpdateAs(ctx, store.Command{At: at}, func(tx *store.Tx) error { _, err := tx.Undo(store.Command{At: at}); return err }))
	db := raw(t, s.Path())
	rows, err := db.Query("SELECT name FROM sqlite_schema WHERE type = 'trigger'")
	require.NoError(t, err)
	var names []string
	for rows.Next() {
		var n string
		require.NoError(t, rows.Scan(&n))
		names = append(names, n)
	}
	for _, n := range names {
		_, err := db.Exec("DROP TRIGGER " + n)
		require.NoError(t, err)
	}
	return db
}

// The description of the tables has every table and column of the store, each
// as the store has it. A table or column that is added to the store must be added
// to tables/columns.csv, or an export would lose it.
func TestTables_AreTheStores(t *testing.T) {
	db := bare(t)
	rows, err := db.Query("SELECT m.name, c.name, c.type, c.\"notnull\", c.pk FROM sqlite_schema m JOIN pragma_table_info(m.name) c WHERE m.type = 'table' ORDER BY m.name, c.cid")
	require.NoError(t, err)
	described := map[string]bool{}
	for _, tb := range tables.All {
		for _, c := range tb.Stored() {
			described[tb.Name+"."+c.Name] = true
		}
	}
	for rows.Next() {
		var table, name, typ string
		var notNull bool
		var pk int
		require.NoError(t, rows.Scan(&table, &name, &typ, &notNull, &pk))
		where := table + "." + name
		require.True(t, described[where], "%s is not in tables/columns.csv", where)
		delete(described, where)
		tb := tables.ByName(table)
		c := tb.Columns[tb.Column(name)]
		switch typ {
		case "INTEGER":
			assert.Contains(t, []tables.Type{tables.Integer, tables.Boolean}, c.Type, where)
		case "REAL":
			assert.Equal(t, tables.Number, c.Type, where)
		case "TEXT":
			assert.NotContains(t, []tables.Type{tables.Integer, tables.Boolean, tables.Number}, c.Type, where)
		}
		assert.Equal(t, notNull || pk > 0, c.Blank != tables.BlankNull, "%s: what a blank cell is", where)
		assert.Equal(t, pk > 0, slices.Contains(tb.Key, name), "%s: key", where)
	}
	require.Empty(t, described, "described and not there")
}

// A blank cell has one meaning only: a column whose blank is "not known" or "not
// allowed" takes no empty text, and no limit of the description is narrower than
// the store's own, or a record could be stored that cannot be restored.
func TestTables_LimitsAreTheStores(t *testing.T) {
	db := bare(t)
	// Numbers that the store itself gives or that must point to a row.
	given := []string{"treatment.label_version", "treatment.label_key", "change_set.about"}
	for _, tb := range tables.All {
		n := 0
		require.NoError(t, db.QueryRow(`SELECT count(*) FROM "`+tb.Name+`"`).Scan(&n))
		require.NotZero(t, n, "rows of %s to try it on", tb.Name)
		for _, c := range tb.Stored() {
			where := tb.Name + "." + c.Name
			if c.Name == "id" && tb.Name != "farm" || slices.Contains(given, where) {
				continue
			}
			refused := func(v any) {
				t.Helper()
				_, err := db.Exec(`UPDATE "`+tb.Name+`" SET "`+c.Name+`" = ?`, v)
				if assert.Error(t, err, "%s takes %v", where, v) {
					assert.Contains(t, err.Error(), "CHECK", "%s = %v", where, v)
				}
			}
			switch c.Type {
			case tables.Integer, tables.Number:
				if c.Min != nil {
					refused(*c.Min - 1)
				}
				if c.Max != nil {
					refused(*c.Max + 1)
				}
			case tables.Boolean:
				refused(2)
			default:
				if c.Blank != tables.BlankEmpty {
					refused("")
				}
				if len(c.Enum) > 0 {
					refused("nonsense")
				}
			}
		}
	}
}

// written is a table as CSV.
func written(t *testing.T, s *store.Store, name string) (out string) {
	t.Helper()
	view(t, s, func(tx *store.Tx) error {
		var b bytes.Buffer
		n, err := tx.WriteTable(&b, tables.ByName(name), nil)
		require.Equal(t, int64(strings.Count(b.String(), "\r\n")-1), n)
		out = b.String()
		return err
	})
	return out
}

// loadAll reads tables that WriteTable wrote.
func loadAll(t *testing.T, all map[string]string) func(l *store.Loader) error {
	return func(l *store.Loader) error {
		for _, tb := range tables.All {
			cols, err := l.Columns(tb.Name)
			if err != nil {
				return err
			}
			r := record.NewReader(strings.NewReader(all[tb.Name]))
			_, _, err = r.Read()
			require.NoError(t, err)
			if err := l.Table(tb.Name, cols, func() (store.TableRow, bool, error) {
				cells, row, err := r.Read()
				if err != nil {
					return store.TableRow{}, false, nil
				}
				out := store.TableRow{Row: row}
				for _, name := range cols {
					i := tb.Column(name)
					v, wrong := tb.Columns[i].Value(cells[i])
					require.Nil(t, wrong)
					out.Values = append(out.Values, v)
				}
				return out, true, nil
			}); err != nil {
				return err
			}
		}
		return nil
	}
}

// Tables of an older version are brought up to date on the way in, like a store;
// what fails on the way leaves nothing.
func TestRestoreTables(t *testing.T) {
	s := newStore(t)
	update(t, s, fillAll)
	all := map[string]string{}
	for _, tb := range tables.All {
		all[tb.Name] = written(t, s, tb.Name)
	}
	dir := t.TempDir()
	path := filepath.Join(dir, "new.db")
	refuse := func(table string, row int, columns []string, why string) {
		t.Errorf("%s %d %v: %s", table, row, columns, why)
	}

	newer := store.WithMigrations(map[string]string{later(1, "more"): "ALTER TABLE bed ADD COLUMN slope TEXT NOT NULL DEFAULT 'flat';"})
	aside, err := store.RestoreTables(ctx, path, 3, false, loadAll(t, all), refuse, newer)
	require.NoError(t, err)
	require.Empty(t, aside)
	n, err := store.Open(ctx, path, newer)
	require.NoError(t, err)
	require.Equal(t, store.SchemaVersion+1, n.Schema())
	require.Equal(t, everything(t, s), everything(t, n))
	sound(t, n)
	require.NoError(t, n.Close())

	_, err = store.RestoreTables(ctx, path, store.SchemaVersion+2, false, loadAll(t, all), refuse)
	require.ErrorContains(t, err, fmt.Sprint("no version ", store.SchemaVersion+2))
	forPeople(t, store.Unsupported(store.SchemaVersion+1), store.ErrNewer)
	forPeople(t, store.Unsupported(2), store.ErrInvalid)
	for v := 3; v <= store.SchemaVersion; v++ {
		require.NoError(t, store.Unsupported(v))
	}

	// A disk that fills up: told, and what was there is there.
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	_, err = store.RestoreTables(ctx, path, 3, false, loadAll(t, all), refuse, store.WithMaxPages(20))
	forPeople(t, err, store.ErrFull)
	_, err = store.RestoreTables(ctx, path, 3, false, func(*store.Loader) error { return fmt.Errorf("pulled out") }, refuse)
	require.ErrorContains(t, err, "pulled out")
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.True(t, bytes.Equal(before, after))
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, left, 1)

	// The wrong row of many is told, and only that.
	rows := strings.SplitAfter(all["unit_count"], "\r\n")
	for i := 2; len(rows) < 700; i++ {
		rows = append(rows[:len(rows)-1], fmt.Sprintf("1,A1,2026-07-06,slug,%d,1\r\n", i+10), "")
	}
	rows[350] = rows[349]
	all["unit_count"] = strings.Join(rows, "")
	var told []string
	_, err = store.RestoreTables(ctx, path, 3, false, loadAll(t, all), func(table string, row int, columns []string, why string) {
		told = append(told, fmt.Sprintf("%s:%d %v: %s", table, row, columns, why))
	})
	require.NoError(t, err)
	require.Equal(t, []string{"unit_count:351 [visit_id seq]: another row has the same visit_id, seq"}, told)
}
