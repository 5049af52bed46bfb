package store_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/store"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// rowsOf are the rows of each table as text.
func rowsOf(tables []store.RescuedTable) map[string]bool {
	out := map[string]bool{}
	for _, t := range tables {
		for _, r := range t.Rows {
			out[t.Name+fmt.Sprint(r)] = true
		}
	}
	return out
}

// bigStore is a store of many pages, closed, with its log in the file.
func bigStore(t *testing.T) string {
	s := newStore(t)
	update(t, s, fillAll)
	update(t, s, func(tx *store.Tx) error {
		for i := range 120 {
			v := slugVisit("B3", "2020-01-01", make([]int, 60)...)
			v.Date = v.Date.AddDays(i)
			v.Note = fmt.Sprintf("visit %d of the field", i)
			if _, err := tx.AddVisit(v, at); err != nil {
				return err
			}
		}
		return nil
	})
	path := s.Path()
	require.NoError(t, s.Close())
	return path
}

func TestRescue_SoundFile(t *testing.T) {
	path := bigStore(t)
	tables, err := store.Rescue(ctx, path)
	require.NoError(t, err)
	rows := map[string]int{}
	for _, x := range tables {
		assert.True(t, x.Whole, x.Name)
		rows[x.Name] = len(x.Rows)
	}
	assert.Equal(t, 122, rows["visit"])
	assert.Equal(t, 120*60+4, rows["unit_count"])
	assert.Equal(t, 3, rows["bed"])
	assert.Len(t, tables, 17)
	forPeople(t, func() error { _, err := store.Rescue(ctx, path+".none"); return err }(), store.ErrMissing)
	forPeople(t, func() error { _, err := store.Rescue(ctx, filepath.Dir(path)); return err }(), store.ErrNotOurs)

	old := copyFile(t, "testdata/v1.db", filepath.Join(t.TempDir(), "old.db"))
	tables, err = store.Rescue(ctx, old)
	require.NoError(t, err)
	assert.Len(t, tables, 13, "as the file's own version has them")
}

// Every cut is told when the file is opened, and what is saved are rows that
// were in it, no others; most of a file that is cut near its end.
func TestTruncated(t *testing.T) {
	path := bigStore(t)
	good, err := os.ReadFile(path)
	require.NoError(t, err)
	all, err := store.Rescue(ctx, path)
	require.NoError(t, err)
	want := rowsOf(all)
	cut := filepath.Join(t.TempDir(), "cut.db")
	told, saved := 0, 0
	var most float64
	for part := 1; part < 12; part++ {
		n := len(good)*part/12 + part // not at a page's end
		require.NoError(t, os.WriteFile(cut, good[:n], 0o644))
		_, err := store.Open(ctx, cut)
		forPeople(t, err, store.ErrDamaged)
		told++
		tables, err := store.Rescue(ctx, cut)
		if err != nil {
			forPeople(t, err, store.ErrDamaged)
			continue
		}
		got := rowsOf(tables)
		for r := range got {
			require.True(t, want[r], "a row that never was: %s", r)
		}
		if len(got) > 0 {
			saved++
		}
		most = max(most, float64(len(got))/float64(len(want)))
		after, err := os.ReadFile(cut)
		require.NoError(t, err)
		require.Equal(t, good[:n], after, "the file itself is not touched")
	}
	t.Logf("%d cuts told; rows were saved of %d, up to %.0f %% of them", told, saved, 100*most)
	assert.Greater(t, saved, 5)
	assert.Greater(t, most, 0.6)
}

// One flipped byte: where the file is refused or the check finds it, nearly all
// rows are saved.
func TestRescue_FlippedByte(t *testing.T) {
	path := bigStore(t)
	good, err := os.ReadFile(path)
	require.NoError(t, err)
	all, err := store.Rescue(ctx, path)
	require.NoError(t, err)
	want := rowsOf(all)
	flipped := filepath.Join(t.TempDir(), "flipped.db")
	tried, least := 0, 1.0
	for i := 16; i < len(good); i += 4096*3 + 77 {
		b := append([]byte(nil), good...)
		b[i] ^= 0xff
		require.NoError(t, os.WriteFile(flipped, b, 0o644))
		s, err := store.Open(ctx, flipped)
		bad := err != nil
		if err == nil {
			found, err := s.Check(ctx)
			require.NoError(t, err, "byte %d: %v", i, errors.Unwrap(err))
			bad = len(found) > 0
			require.NoError(t, s.Close())
		}
		if !bad {
			continue
		}
		tried++
		tables, err := store.Rescue(ctx, flipped)
		require.NoError(t, err, "byte %d: %v", i, errors.Unwrap(err))
		same := 0
		for r := range rowsOf(tables) {
			if want[r] {
				same++
			}
		}
		least = min(least, float64(same)/float64(len(want)))
	}
	t.Logf("%d flips that were found; of the worst %.0f %% of the rows were saved as they were", tried, 100*least)
	assert.Greater(t, tried, 5)
	assert.Greater(t, least, 0.5)
}

func TestRestore(t *testing.T) {
	path := bigStore(t)
	dir := t.TempDir()
	backup := filepath.Join(dir, "backup.db")
	s, err := store.Open(ctx, path)
	require.NoError(t, err)
	want := everything(t, s)
	require.NoError(t, s.Backup(ctx, backup))
	update(t, s, func(tx *store.Tx) error { _, err := tx.AddVisit(slugVisit("A1", "2026-08-01", 5), at); return err })
	later := everything(t, s)

	// While another holds it open nothing is done.
	_, err = store.Restore(ctx, backup, path, store.WithBusyTimeout(50*time.Millisecond))
	forPeople(t, err, store.ErrLocked)
	assert.Equal(t, later, everything(t, s))
	require.NoError(t, s.Close())

	aside, err := store.Restore(ctx, backup, path)
	require.NoError(t, err)
	for file, text := range map[string]string{path: want, aside: later} {
		s, err := store.Open(ctx, file)
		require.NoError(t, err)
		assert.Equal(t, text, everything(t, s))
		sound(t, s)
		require.NoError(t, s.Close())
	}
	again, err := store.Restore(ctx, backup, path)
	require.NoError(t, err)
	assert.NotEqual(t, aside, again, "what was kept aside is never written over")

	// A backup that is not sound, is no store, or is the file itself.
	b, err := os.ReadFile(backup)
	require.NoError(t, err)
	broken := filepath.Join(dir, "broken.db")
	for i := 3 * 4096; i < len(b); i++ {
		b[i] ^= 0xff
	}
	require.NoError(t, os.WriteFile(broken, b, 0o644))
	before := base(path)
	_, err = store.Restore(ctx, broken, path)
	forPeople(t, err, store.ErrDamaged)
	require.NoError(t, os.WriteFile(broken, []byte("B3 slug 1"), 0o644))
	_, err = store.Restore(ctx, broken, path)
	forPeople(t, err, store.ErrNotOurs)
	_, err = store.Restore(ctx, path, path)
	forPeople(t, err, store.ErrExists)
	_, err = store.Restore(ctx, backup+"x", path)
	forPeople(t, err, store.ErrMissing)
	assert.Equal(t, before, base(path), "no half of a copy")

	// A damaged file with a log beside it gives way, and its log with it.
	require.NoError(t, os.WriteFile(path, []byte("SQLite format 3\x00 and then nothing"), 0o644))
	require.NoError(t, os.WriteFile(path+"-wal", []byte("an old log"), 0o644))
	aside, err = store.Restore(ctx, backup, path)
	require.NoError(t, err)
	_, err = os.Stat(aside + "-wal")
	require.NoError(t, err)
	s, err = store.Open(ctx, path)
	require.NoError(t, err)
	assert.Equal(t, want, everything(t, s))
	require.NoError(t, s.Close())

	// None there, and an old version.
	fresh := filepath.Join(t.TempDir(), "a new folder", "farm.db")
	aside, err = store.Restore(ctx, copyFile(t, "testdata/v1.db", filepath.Join(dir, "v1.db")), fresh)
	require.NoError(t, err)
	assert.Empty(t, aside)
	s, err = store.Open(ctx, fresh)
	require.NoError(t, err)
	_, moved := s.Migrated()
	assert.True(t, moved)
	sound(t, s)
	require.NoError(t, s.Close())
}

// The clock is set back between commands: the order of the journal is that of
// the commands, so undo takes back the last one.
func TestClockSetBack(t *testing.T) {
	s := newStore(t)
	for i, hours := range []time.Duration{0, -48, -24} {
		now := at.Add(hours * time.Hour)
		c := store.Command{Words: fmt.Sprint("command ", i), At: now}
		require.NoError(t, s.UpdateAs(ctx, c, func(tx *store.Tx) error {
			_, err := tx.AddDone(farm.Done{Bed: "A1", Pest: "slug", Action: fmt.Sprint("step", i), Date: day("2026-07-01")}, now)
			return err
		}))
	}
	for _, want := range []string{"command 2", "command 1", "command 0"} {
		assert.Equal(t, want, undo(t, s).Command)
	}
	for _, want := range []string{"command 0", "command 1", "command 2"} {
		assert.Equal(t, want, redo(t, s).Command)
	}
	sound(t, s)
}

// Rescue and Open of a file with any bytes changed and any length end with rows
// or with words for people, never otherwise.
func FuzzDamaged(f *testing.F) {
	s, err := store.Create(ctx, filepath.Join(f.TempDir(), "farm.db"), testFarm)
	require.NoError(f, err)
	update(f, s, func(tx *store.Tx) error {
		if _, err := tx.AddBed(testBed("A1")); err != nil {
			return err
		}
		_, err := tx.AddBed(testBed("B3"))
		return err
	})
	update(f, s, fillAll)
	require.NoError(f, s.Close())
	good, err := os.ReadFile(s.Path())
	require.NoError(f, err)
	f.Add(uint32(0), []byte{0xff}, uint32(0))
	f.Add(uint32(16), []byte{0, 1}, uint32(100))
	f.Add(uint32(28), []byte{0xff, 0xff, 0xff, 0xff}, uint32(5000))
	f.Add(uint32(100), []byte{0xd, 0, 0, 0, 0}, uint32(1))
	f.Add(uint32(4096*3), []byte("garbage"), uint32(4096*5+7))
	f.Fuzz(func(t *testing.T, at uint32, with []byte, cut uint32) {
		b := append([]byte(nil), good...)
		copy(b[int(at)%len(b):], with)
		b = b[:len(b)-int(cut)%len(b)]
		path := filepath.Join(t.TempDir(), "farm.db")
		require.NoError(t, os.WriteFile(path, b, 0o644))
		people := func(err error) {
			if p := (*diag.Problem)(nil); err != nil && !errors.As(err, &p) {
				t.Fatalf("not for people: %v", err)
			}
		}
		_, err := store.Rescue(ctx, path)
		people(err)
		s, err := store.Open(ctx, path)
		people(err)
		if err == nil {
			_, err = s.Check(ctx)
			people(err)
			_ = s.Close()
		}
	})
}
