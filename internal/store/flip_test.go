package store_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"leafturn/internal/farm"
	"leafturn/internal/store"
	"leafturn/internal/tables"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// dump is every row of every table, as a reader gets it.
func dump(t testing.TB, s *store.Store) string {
	t.Helper()
	var b bytes.Buffer
	err := s.View(ctx, func(tx *store.Tx) error {
		for _, tb := range tables.All {
			if _, err := tx.WriteTable(&b, tb, nil); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return "not read: " + err.Error()
	}
	return b.String()
}

// flippable is a small store with every kind of record and some more of those
// that are many, closed, with its log in the file.
func flippable(t *testing.T) string {
	s := newStore(t)
	update(t, s, fillAll)
	update(t, s, func(tx *store.Tx) error {
		for i := range 12 {
			v := slugVisit("B3", "2026-05-01", i, 0, 3, 300, -1)
			v.Date = v.Date.AddDays(i)
			if i%3 == 0 {
				v.Note, v.Observer = fmt.Sprintf("note %d of the field", i), "K."
			}
			if _, err := tx.AddVisit(v, at); err != nil {
				return err
			}
			w := farm.WeatherDay{Date: v.Date, MinC: num(4.5 + float64(i)), MaxC: num(17), RainMM: num(0), Source: "gauge"}
			if _, err := tx.AddWeather(w, at); err != nil {
				return err
			}
		}
		return tx.Void(store.KindVisit, 4, "wrong bed", at)
	})
	s2, err := store.Open(ctx, s.Path())
	require.NoError(t, err)
	require.NoError(t, s2.UpdateAs(ctx, store.Command{Words: "bed set b10 --plants 50", Actor: "M.", At: at}, func(tx *store.Tx) error {
		b := testBed("b10")
		b.Plants = 50
		return tx.SetBed(b)
	}))
	undo(t, s2)
	require.NoError(t, s2.Close())
	require.NoError(t, s.Close())
	return s.Path()
}

// pagesOf are the pages of each table and index, by its name.
func pagesOf(t *testing.T, path string) map[int]string {
	t.Helper()
	out := map[int]string{}
	db := raw(t, path)
	rows, err := db.Query("SELECT pageno, name FROM dbstat")
	require.NoError(t, err)
	defer rows.Close()
	for rows.Next() {
		var page int
		var name string
		require.NoError(t, rows.Scan(&page, &name))
		out[page] = name
	}
	require.NoError(t, rows.Err())
	return out
}

// One bit flipped anywhere in the bytes that are in use is found when the file
// is opened or checked, or no reader sees it. By default every 7th byte and one
// of its bits; FLIP_EVERY=1 takes all of them, FLIP_BITS=8 every bit of each. Of
// the text of the schema, which is half of the file, it takes a tenth of that.
func TestFlippedBytes(t *testing.T) {
	path := flippable(t)
	good, err := os.ReadFile(path)
	require.NoError(t, err)
	s, err := store.Open(ctx, path)
	require.NoError(t, err)
	want := dump(t, s)
	require.NoError(t, s.Close())
	pages := pagesOf(t, path)
	number := func(env string, or int) int {
		if n, err := strconv.Atoi(os.Getenv(env)); err == nil {
			return n
		}
		return or
	}
	every, bits := number("FLIP_EVERY", 7), number("FLIP_BITS", 1)
	type tally struct{ flips, refused, found, harmless int }
	all, by := tally{}, map[string]*tally{}
	flipped := filepath.Join(t.TempDir(), "flipped.db")
	in := slices.Clone(good)
	used := 0
	for i := range good {
		// A byte of zero among zeros is, nearly always, in room that is free.
		if i > 0 && i < len(good)-1 && good[i-1] == 0 && good[i] == 0 && good[i+1] == 0 {
			continue
		}
		name, step := pages[i/4096+1], every
		if name == "sqlite_schema" {
			step *= 10
		}
		if used++; used%step != 0 {
			continue
		}
		of := by[name]
		if of == nil {
			of = &tally{}
			by[name] = of
		}
		for bit := range bits {
			in[i] = good[i] ^ 1<<((used/step+bit)%8)
			require.NoError(t, os.WriteFile(flipped, in, 0o644))
			in[i] = good[i]
			of.flips++
			s, err := store.Open(ctx, flipped)
			if err != nil {
				of.refused++
				ok := errors.Is(err, store.ErrDamaged) || errors.Is(err, store.ErrNotOurs) || errors.Is(err, store.ErrNewer)
				require.True(t, ok, "byte %d: %v", i, err)
				continue
			}
			findings, err := s.Check(ctx)
			require.NoError(t, err, "byte %d: %v", i, errors.Unwrap(err))
			if len(findings) > 0 {
				of.found++
			} else {
				of.harmless++
				require.Equal(t, want, dump(t, s), "byte %d of %s, bit %d: seen and not found", i, name, (used/step+bit)%8)
			}
			require.NoError(t, s.Close())
		}
	}
	var names []string
	for name, x := range by {
		names = append(names, name)
		all.flips, all.refused, all.found, all.harmless = all.flips+x.flips, all.refused+x.refused, all.found+x.found, all.harmless+x.harmless
	}
	slices.Sort(names)
	for _, name := range names {
		x := by[name]
		t.Logf("%-24s %5d flips: %4d refused when opened, %5d found by the check, %4d that no reader sees", name, x.flips, x.refused, x.found, x.harmless)
	}
	t.Logf("%-24s %5d flips: %4d refused when opened, %5d found by the check, %4d that no reader sees", "all", all.flips, all.refused, all.found, all.harmless)
	for _, tb := range tables.All {
		assert.Positive(t, by[tb.Name].found, tb.Name)
	}
}

// Every column stands in an index letter for letter, or is told by the sums of
// the counts: a new column cannot be forgotten.
func TestSecondCopy_EveryColumn(t *testing.T) {
	db := raw(t, filled(t))
	list := func(query string, args ...any) (out []string) {
		rows, err := db.Query(query, args...)
		require.NoError(t, err)
		defer rows.Close()
		for rows.Next() {
			var x string
			require.NoError(t, rows.Scan(&x))
			out = append(out, x)
		}
		require.NoError(t, rows.Err())
		return out
	}
	summed := map[string][]string{"visit": {"units", "n", "sum", "sumsq", "zeros"}, "unit_count": {"visit_id", "seq", "count"}}
	for _, table := range list("SELECT name FROM sqlite_schema WHERE type = 'table'") {
		var copied []string
		for _, index := range list("SELECT name FROM pragma_index_list(?) WHERE origin <> 'pk' OR name LIKE 'sqlite_autoindex_calendar%'", table) {
			var partial bool
			require.NoError(t, db.QueryRow("SELECT partial FROM pragma_index_list(?) WHERE name = ?", table, index).Scan(&partial))
			if !partial || index == "visit_copy" {
				copied = append(copied, list("SELECT name FROM pragma_index_xinfo(?) WHERE coll = 'BINARY' AND name IS NOT NULL", index)...)
			}
		}
		for _, col := range list("SELECT name FROM pragma_table_info(?) WHERE NOT (pk > 0 AND type = 'INTEGER')", table) {
			if !slices.Contains(summed[table], col) {
				assert.Contains(t, copied, col, table)
			}
		}
	}
}

// Records are read from the tables: nothing is looked up in a second copy.
func TestSecondCopy_NotRead(t *testing.T) {
	type asked struct {
		query string
		args  []any
	}
	var all []asked
	s := newStore(t, store.WithTrace(func(q string, args []any) {
		if strings.HasPrefix(q, "SELECT") || strings.HasPrefix(q, "WITH") {
			all = append(all, asked{q, args})
		}
	}))
	update(t, s, fillAll)
	everything(t, s)
	dump(t, s)
	db := raw(t, s.Path())
	for _, a := range all {
		rows, err := db.Query("EXPLAIN QUERY PLAN "+a.query, a.args...)
		require.NoError(t, err, a.query)
		for rows.Next() {
			var id, parent, unused int
			var plan string
			require.NoError(t, rows.Scan(&id, &parent, &unused, &plan))
			assert.NotContains(t, plan, "_copy", a.query)
		}
		require.NoError(t, rows.Close())
	}
	assert.Greater(t, len(all), 40)
}
