package store_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"leafturn/internal/farm"
	"leafturn/internal/store"
	"leafturn/internal/testkit"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Each statement fails in turn, BEGIN and COMMIT included, until none does:
// before that the store is as it was, afterwards everything is there. The
// same when the caller swallows the error.
func TestUpdate_FailsAtEveryStatement(t *testing.T) {
	for name, swallow := range map[string]bool{"error returned": false, "error swallowed": true} {
		t.Run(name, func(t *testing.T) {
			var fault testkit.Fault
			s := newStore(t, store.WithHook(fault.Hook))
			before := everything(t, s)
			for n := 1; ; n++ {
				require.Less(t, n, 200)
				fault.Arm(n)
				err := s.Update(ctx, func(tx *store.Tx) error {
					err := fillAll(tx)
					if swallow && fault.Seen() < n {
						require.NoError(t, err)
					}
					if swallow {
						return nil
					}
					return err
				})
				seen := fault.Seen()
				fault.Arm(0)
				if err == nil {
					assert.Greater(t, n, 20)
					assert.Less(t, seen, n, "no statement failed")
					break
				}
				require.ErrorIs(t, err, testkit.ErrFault, "statement %d", n)
				require.Equal(t, before, everything(t, s), "statement %d", n)
			}
			assert.NotEqual(t, before, everything(t, s))
			sound(t, s)
		})
	}
}

// The disk fills up at each page in turn: told as such, and the old data are
// intact.
func TestUpdate_DiskFull(t *testing.T) {
	s := newStore(t)
	update(t, s, fillAll)
	before := everything(t, s)
	path := s.Path()
	require.NoError(t, s.Close())
	info, err := os.Stat(path)
	require.NoError(t, err)
	many := func(tx *store.Tx) error {
		for i := range 60 {
			v := slugVisit("B3", "2026-01-01", make([]int, 100)...)
			v.Date = v.Date.AddDays(i)
			v.Note = strings.Repeat("long ", 100)
			if _, err := tx.AddVisit(v, at); err != nil {
				return err
			}
		}
		return nil
	}
	full := 0
	for pages := int(info.Size() / 4096); ; pages++ {
		s, err := store.Open(ctx, path, store.WithMaxPages(pages))
		require.NoError(t, err)
		err = s.Update(ctx, many)
		if err == nil {
			assert.Len(t, visits(t, s, store.Filter{}), 62)
			sound(t, s)
			require.NoError(t, s.Close())
			break
		}
		full++
		p := forPeople(t, err, store.ErrFull)
		require.Contains(t, p.What, "disk is full")
		require.Equal(t, before, everything(t, s), "%d pages", pages)
		sound(t, s)
		require.NoError(t, s.Close())
	}
	assert.Greater(t, full, 10)
}

func TestUpdate_Cancelled(t *testing.T) {
	s := newStore(t)
	before := everything(t, s)
	done, cancel := context.WithCancel(ctx)
	cancel()
	err := s.Update(done, fillAll)
	p := forPeople(t, err, context.Canceled)
	assert.NotEmpty(t, p.Kept)

	for n := 1; n <= 5; n++ { // in the middle, after n visits
		running, cancel := context.WithCancel(ctx)
		err = s.Update(running, func(tx *store.Tx) error {
			for i := range 6 {
				if i == n {
					cancel()
					time.Sleep(time.Duration(n) * 5 * time.Millisecond) // database/sql may have rolled back by then, or not
				}
				v := slugVisit("A1", "2026-07-01", make([]int, 300)...)
				v.Date = v.Date.AddDays(i)
				if _, err := tx.AddVisit(v, at); err != nil {
					return err
				}
			}
			return nil
		})
		forPeople(t, err, context.Canceled)
	}
	last, cancelLast := context.WithCancel(ctx) // just before the commit
	err = s.Update(last, func(tx *store.Tx) error { defer cancelLast(); return fillAll(tx) })
	forPeople(t, err, context.Canceled)
	forPeople(t, s.View(last, func(tx *store.Tx) error { _, err := tx.Beds(); return err }), context.Canceled)
	assert.Equal(t, before, everything(t, s))
	update(t, s, fillAll) // the store is not stuck
	sound(t, s)
}

// An error of the caller's, or a panic, undoes everything too.
func TestUpdate_CallerFails(t *testing.T) {
	s := newStore(t)
	before := everything(t, s)
	mine := errors.New("mine")
	err := s.Update(ctx, func(tx *store.Tx) error {
		require.NoError(t, fillAll(tx))
		return mine
	})
	require.ErrorIs(t, err, mine)
	assert.Equal(t, before, everything(t, s))
	assert.Panics(t, func() {
		_ = s.Update(ctx, func(tx *store.Tx) error {
			require.NoError(t, fillAll(tx))
			panic("slip")
		})
	})
	assert.Equal(t, before, everything(t, s))
	update(t, s, fillAll)
}

// A view sees one state, whatever others commit meanwhile.
func TestView_Consistent(t *testing.T) {
	s := newStore(t)
	other, err := store.Open(ctx, s.Path())
	require.NoError(t, err)
	defer other.Close()
	view(t, s, func(tx *store.Tx) error {
		before, err := tx.Visits(store.Filter{})
		require.NoError(t, err)
		update(t, other, fillAll) // readers do not hold up a writer
		after, err := tx.Visits(store.Filter{})
		assert.Equal(t, before, after)
		return err
	})
	assert.Len(t, visits(t, s, store.Filter{}), 2)
}

// What was added in a transaction is read in it.
func TestUpdate_ReadsItsOwn(t *testing.T) {
	s := newStore(t)
	update(t, s, func(tx *store.Tx) error {
		want := slugVisit("A1", "2026-07-06", 1, -1, 0)
		id, err := tx.AddVisit(want, at)
		require.NoError(t, err)
		want.ID = id
		got, err := tx.Visit(id)
		assert.Equal(t, want, got)
		require.NoError(t, err)
		return tx.Void(store.KindVisit, id, "slip", at)
	})
	assert.Empty(t, visits(t, s, store.Filter{}))
	forPeople(t, s.View(ctx, func(tx *store.Tx) error { _, err := tx.Visit(77); return err }), store.ErrNotFound)
}

func TestBackup(t *testing.T) {
	s := newStore(t)
	update(t, s, fillAll)
	want := everything(t, s)
	dir := filepath.Join(t.TempDir(), "stick")
	dst := filepath.Join(dir, "copy.db")
	forPeople(t, s.Backup(ctx, dst), store.ErrDisk) // no such folder
	require.NoError(t, os.Mkdir(dir, 0o755))
	require.NoError(t, s.Backup(ctx, dst))
	assert.Equal(t, []string{"copy.db"}, folder(t, dir))
	forPeople(t, s.Backup(ctx, dst), store.ErrExists)
	forPeople(t, s.Backup(ctx, s.Path()), store.ErrExists)

	// The copy is of one state even while another command holds the store.
	during := filepath.Join(dir, "during.db")
	update(t, s, func(tx *store.Tx) error {
		if _, err := tx.AddVisit(slugVisit("A1", "2026-08-01", 1), at); err != nil {
			return err
		}
		return s.Backup(ctx, during)
	})
	for _, file := range []string{dst, during} {
		c, err := store.Open(ctx, file)
		require.NoError(t, err)
		assert.Equal(t, want, everything(t, c))
		assert.Equal(t, store.SchemaVersion, c.Schema())
		sound(t, c)
		update(t, c, func(tx *store.Tx) error { return tx.SetFarm(testFarm) })
		require.NoError(t, c.Close())
	}
	assert.Len(t, visits(t, s, store.Filter{}), 3)

	stopped, cancel := context.WithCancel(ctx)
	cancel()
	forPeople(t, s.Backup(stopped, filepath.Join(dir, "x.db")), context.Canceled)
	assert.Equal(t, []string{"copy.db", "during.db"}, folder(t, dir), "no half of a copy")
}

// Damage is never copied over as if it were a backup.
func TestCheck_Finds(t *testing.T) {
	for name, c := range map[string]struct {
		sql, say string
	}{
		"sum":           {"UPDATE visit SET sum = sum + 1, sumsq = sumsq + 1 WHERE id = 1", "visit record 1 (bed A1, slug, 2026-07-06): the sums say"},
		"zeros":         {"UPDATE visit SET zeros = 0 WHERE id = 1", "zeros 0; the units say"},
		"unit gone":     {"DROP TRIGGER unit_count_kept; DELETE FROM unit_count WHERE seq = 3", "the units say 3 units to number 4"},
		"unit not seen": {"DROP TRIGGER unit_count_fixed; UPDATE unit_count SET count = NULL WHERE seq = 1", "n 2, sum 15"},
		"units added":   {"INSERT INTO unit_count VALUES (2, 1, 5)", "visit record 2 (bed B3, mite"},
		"reference":     {"PRAGMA foreign_keys = 0; INSERT INTO unit_count VALUES (99, 1, 5)", "unit_count points to a missing visit"},
		"a rule":        {"PRAGMA ignore_check_constraints = 1; UPDATE visit SET soil = 'soggy'", "CHECK constraint failed in visit"},
	} {
		t.Run(name, func(t *testing.T) {
			path := filled(t)
			rawExec(t, path, c.sql)
			s, err := store.Open(ctx, path)
			require.NoError(t, err)
			defer s.Close()
			findings, err := s.Check(ctx)
			require.NoError(t, err)
			require.NotEmpty(t, findings)
			assert.Contains(t, strings.Join(findings, "\n"), c.say)
			forPeople(t, s.Backup(ctx, path+".copy"), store.ErrDamaged)
			assert.Equal(t, []string{"farm.db"}, base(path))
		})
	}
}

// base lists the folder of path without SQLite's own files.
func base(path string) (out []string) {
	entries, _ := os.ReadDir(filepath.Dir(path))
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), "-wal") && !strings.HasSuffix(e.Name(), "-shm") {
			out = append(out, e.Name())
		}
	}
	return out
}

func TestLocked_ByConnection(t *testing.T) {
	s := newStore(t, store.WithBusyTimeout(30*time.Millisecond))
	update(t, s, fillAll)
	before := everything(t, s)
	db := raw(t, s.Path())
	db.SetMaxOpenConns(1)
	_, err := db.Exec("BEGIN IMMEDIATE")
	require.NoError(t, err)
	start := time.Now()
	p := forPeople(t, s.Update(ctx, func(tx *store.Tx) error { return tx.SetFarm(farm.Farm{}) }), store.ErrLocked)
	assert.Less(t, time.Since(start), 2*time.Second)
	assert.Contains(t, p.What, s.Path())
	assert.Equal(t, before, everything(t, s), "reading goes on")
	_, err = db.Exec("ROLLBACK")
	require.NoError(t, err)
	require.NoError(t, db.Close())
	update(t, s, func(tx *store.Tx) error { return tx.SetFarm(testFarm) })
	require.NoError(t, s.Close())

	// A program that shuts out readers as well.
	db = raw(t, s.Path())
	db.SetMaxOpenConns(1)
	for _, q := range []string{"PRAGMA locking_mode = EXCLUSIVE", "BEGIN EXCLUSIVE", "UPDATE farm SET name = 'x'"} {
		_, err = db.Exec(q)
		require.NoError(t, err)
	}
	_, err = store.Open(ctx, s.Path(), store.WithBusyTimeout(30*time.Millisecond))
	forPeople(t, err, store.ErrLocked)
	_, err = store.OpenReadOnly(ctx, s.Path(), store.WithBusyTimeout(30*time.Millisecond))
	forPeople(t, err, store.ErrLocked)
}
