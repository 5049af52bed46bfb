package store_test

import (
	"bytes"
	"maps"
	"os"
	"strings"
	"testing"

	"leafturn/internal/farm"
	"leafturn/internal/store"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// spoil puts other bytes in the first place, or the nth from 0, at which some
// stand in a file.
func spoil(t *testing.T, path, what, with string, nth int) {
	t.Helper()
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	at := 0
	for range nth + 1 {
		i := bytes.Index(b[at:], []byte(what))
		require.GreaterOrEqual(t, i, 0, what)
		at += i + len(what)
	}
	copy(b[at-len(what):], with)
	require.NoError(t, os.WriteFile(path, b, 0o644))
}

// What a flipped bit makes is told with the record, the column and both values,
// refused to a command that reads a small table, not carried into a backup, and
// kept once a person says so; then the journal holds it.
func TestSecondCopy_Told(t *testing.T) {
	for name, c := range map[string]struct {
		what, with string
		say        string
		read       func(tx *store.Tx) error
	}{
		"weather":           {"gauge2026", "gaugf2026", "weather record 2: the record says source is 'gaug", nil},
		"a note of a visit": {"after rain", "after rait", "visit record 1: the record says note is 'after rai", nil},
		"a name":            {"Höhenfeld", "Höhenfelt", "the farm: the record says name is 'Höhenfel", func(tx *store.Tx) error { _, err := tx.Farm(); return err }},
		"a bed":             {"A1north", "A1nosth", "bed number 1: the record says block is 'no", func(tx *store.Tx) error { _, err := tx.Beds(); return err }},
		"a label":           {`"Invented Iron Bait"`, `"Invented Iron Bais"`, "label ironbait version 2: the record says document is ...", func(tx *store.Tx) error { _, err := tx.Labels(); return err }},
		"a treatment":       {"above level", "above lever", "treatment record 1: the record says reason is 'above leve", func(tx *store.Tx) error { _, err := tx.Treatments(store.Filter{}); return err }},
		"the journal":       {"wrong bed", "wrong bee", "stage record 1: the record says void_reason is 'wrong be", nil},
	} {
		t.Run(name, func(t *testing.T) {
			path := filled(t)
			spoil(t, path, c.what, c.with, 0)
			s, err := store.Open(ctx, path)
			require.NoError(t, err)
			defer s.Close()
			found, err := s.Check(ctx)
			require.NoError(t, err)
			require.Len(t, found, 1, "%v", found)
			assert.Contains(t, found[0], strings.SplitN(c.say, " record says", 2)[0])
			assert.Contains(t, found[0], "its second copy says")
			assert.True(t, store.Acceptable(found[0]))
			if c.read != nil {
				p := forPeople(t, s.View(ctx, c.read), store.ErrDamaged)
				assert.Contains(t, p.What, found[0])
				assert.Contains(t, p.Do, "doctor --accept")
			}
			forPeople(t, s.Backup(ctx, path+".copy"), store.ErrDamaged)

			kept, err := s.Accept(ctx, store.Command{Words: "doctor --accept", Actor: "M.", At: at})
			require.NoError(t, err)
			assert.Equal(t, found, kept)
			sound(t, s)
			if c.read != nil {
				view(t, s, c.read)
			}
			view(t, s, func(tx *store.Tx) error {
				all, err := tx.Changes(1)
				require.NoError(t, err)
				assert.Equal(t, "accepted", all[0].What)
				assert.Equal(t, found, all[0].Copies)
				return nil
			})
			_, err = s.Accept(ctx, store.Command{At: at})
			forPeople(t, err, store.ErrNothing)
		})
	}
}

// The record or its copy may be gone, and a sum or a count may be wrong: told,
// and accepted. What undo takes back is the last command, not what was accepted.
func TestAccept_Sums(t *testing.T) {
	s := newStore(t)
	update(t, s, fillAll)
	require.NoError(t, s.UpdateAs(ctx, store.Command{Words: "count", At: at}, func(tx *store.Tx) error {
		_, err := tx.AddVisit(slugVisit("B3", "2026-07-20", 1, 2), at)
		return err
	}))
	rawExec(t, s.Path(), "UPDATE visit SET sum = sum + 1, sumsq = sumsq + 1 WHERE id = 1")
	found, err := s.Check(ctx)
	require.NoError(t, err)
	require.Len(t, found, 1)
	assert.True(t, store.Acceptable(found[0]))
	kept, err := s.Accept(ctx, store.Command{Words: "doctor --accept", At: at})
	require.NoError(t, err)
	assert.Equal(t, found, kept)
	sound(t, s)
	view(t, s, func(tx *store.Tx) error {
		hs, err := tx.Headers(store.Filter{ID: 1})
		require.NoError(t, err)
		assert.Equal(t, int64(15), hs[0].Sum)
		return nil
	})
	assert.Equal(t, "count", undo(t, s).Command)
	sound(t, s)
}

// The tables without a row number are those that are named.
func TestWithoutRowid(t *testing.T) {
	rows, err := raw(t, filled(t)).Query("SELECT name FROM pragma_table_list WHERE wr ORDER BY name")
	require.NoError(t, err)
	defer rows.Close()
	var got []string
	for rows.Next() {
		var name string
		require.NoError(t, rows.Scan(&name))
		got = append(got, name)
	}
	assert.ElementsMatch(t, got, store.WithoutRowid)
}

// Of a table whose pages are lost the rows are taken from the second copy.
func TestRescue_SecondCopy(t *testing.T) {
	path := bigStore(t)
	all, err := store.Rescue(ctx, path)
	require.NoError(t, err)
	want := rowsOf(all)
	good, err := os.ReadFile(path)
	require.NoError(t, err)
	for page, name := range pagesOf(t, path) {
		if name != "weather_day" && name != "bed" && name != "enemy_count" && name != "bed_copy" {
			continue
		}
		b := bytes.Clone(good)
		copy(b[(page-1)*4096:page*4096], bytes.Repeat([]byte("garbage!"), 512))
		require.NoError(t, os.WriteFile(path, b, 0o644))
		tables, err := store.Rescue(ctx, path)
		require.NoError(t, err)
		assert.True(t, maps.Equal(want, rowsOf(tables)), "page %d of %s", page, name)
	}
}

// Damage of another kind is not accepted, and nothing is changed.
func TestAccept_Refuses(t *testing.T) {
	for name, sql := range map[string]string{
		"a unit is gone": "DROP TRIGGER unit_count_kept; DELETE FROM unit_count WHERE seq = 3",
		"a rule":         "PRAGMA ignore_check_constraints = 1; UPDATE visit SET soil = 'soggy'",
		"a reference":    "PRAGMA foreign_keys = 0; INSERT INTO unit_count VALUES (99, 1, 5)",
	} {
		t.Run(name, func(t *testing.T) {
			path := filled(t)
			rawExec(t, path, sql)
			s, err := store.Open(ctx, path)
			require.NoError(t, err)
			defer s.Close()
			before, err := s.Check(ctx)
			require.NoError(t, err)
			_, err = s.Accept(ctx, store.Command{At: at})
			forPeople(t, err, store.ErrDamaged)
			after, err := s.Check(ctx)
			require.NoError(t, err)
			assert.Equal(t, before, after)
		})
	}
}

// Two visits that are the same once a bit is flipped cannot both be kept.
func TestAccept_Twins(t *testing.T) {
	s := newStore(t)
	update(t, s, func(tx *store.Tx) error {
		for _, date := range []string{"2026-06-01", "2026-06-03"} {
			if _, err := tx.AddVisit(slugVisit("B3", date, 1), at); err != nil {
				return err
			}
		}
		return nil
	})
	path := s.Path()
	require.NoError(t, s.Close())
	spoil(t, path, "2026-06-03slugboardrandom", "2026-06-01slugboardrandom", 0)
	s, err := store.Open(ctx, path)
	require.NoError(t, err)
	defer s.Close()
	found, err := s.Check(ctx)
	require.NoError(t, err)
	require.NotEmpty(t, found)
	assert.Contains(t, strings.Join(found, "\n"), "visit record 2: the record says date is '2026-06-01', its second copy says '2026-06-03'")
	_, err = s.Accept(ctx, store.Command{At: at})
	forPeople(t, err, store.ErrDamaged)
	var v []farm.Visit = visits(t, s, store.Filter{})
	assert.Len(t, v, 2)
}
