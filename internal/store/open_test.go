package store_test

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"leafturn/internal/diag"
	"leafturn/internal/store"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// filled makes a store with a record of each noun, closes it and returns its path.
func filled(t testing.TB) string {
	t.Helper()
	s := newStore(t)
	update(t, s, fillAll)
	require.NoError(t, s.Close())
	return s.Path()
}

func folder(t *testing.T, dir string) (out []string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		out = append(out, e.Name())
	}
	return out
}

func TestOpen_Refuses(t *testing.T) {
	good := filled(t)
	header := func(at int, v uint32) func(t *testing.T, path string) {
		return func(t *testing.T, path string) {
			b, err := os.ReadFile(good)
			require.NoError(t, err)
			binary.BigEndian.PutUint32(b[at:], v)
			require.NoError(t, os.WriteFile(path, b, 0o644))
		}
	}
	write := func(b []byte) func(t *testing.T, path string) {
		return func(t *testing.T, path string) { require.NoError(t, os.WriteFile(path, b, 0o644)) }
	}
	whole, err := os.ReadFile(good)
	require.NoError(t, err)
	for name, c := range map[string]struct {
		make func(t *testing.T, path string)
		want error
		say  []string
		code int
	}{
		"missing":          {func(*testing.T, string) {}, store.ErrMissing, []string{"there is no store at", "`leafturn farm new`"}, diag.CodeUsage},
		"folder":           {func(t *testing.T, path string) { require.NoError(t, os.Mkdir(path, 0o755)) }, store.ErrNotOurs, []string{"is a folder"}, diag.CodeUsage},
		"empty":            {write(nil), store.ErrNotOurs, []string{"is empty"}, diag.CodeUsage},
		"text":             {write([]byte(strings.Repeat("bed,date,count\n", 50))), store.ErrNotOurs, []string{"no SQLite database"}, diag.CodeUsage},
		"short text":       {write([]byte("hello")), store.ErrNotOurs, []string{"no SQLite database"}, diag.CodeUsage},
		"another program":  {header(68, 0x12345678), store.ErrNotOurs, []string{"another program"}, diag.CodeUsage},
		"no application":   {header(68, 0), store.ErrNotOurs, []string{"another program"}, diag.CodeUsage},
		"below version 0":  {header(60, 1<<31|4), store.ErrDamaged, []string{"damaged"}, diag.CodeFailed},
		"newer":            {header(60, 7), store.ErrNewer, []string{"schema version 7", fmt.Sprintf("up to version %d", store.SchemaVersion), "reads schema version 7"}, diag.CodeFailed},
		"magic damaged":    {func(t *testing.T, path string) { header(4, 0)(t, path) }, store.ErrDamaged, []string{"is damaged"}, diag.CodeFailed},
		"header only":      {write(whole[:60]), store.ErrDamaged, []string{"is damaged"}, diag.CodeFailed},
		"cut at 100 bytes": {write(whole[:100]), store.ErrDamaged, []string{"is damaged"}, diag.CodeFailed},
		"cut to half":      {write(whole[:len(whole)/2]), store.ErrDamaged, []string{"is damaged"}, diag.CodeFailed},
		"cut by a byte":    {write(whole[:len(whole)-1]), store.ErrDamaged, []string{"is damaged"}, diag.CodeFailed},
		"schema damaged": {func(t *testing.T, path string) {
			b := append([]byte(nil), whole...)
			for i := 100; i < 4096; i++ {
				b[i] ^= 0x55
			}
			require.NoError(t, os.WriteFile(path, b, 0o644))
		}, store.ErrDamaged, []string{"is damaged"}, diag.CodeFailed},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "my farm.db")
			c.make(t, path)
			before, _ := os.ReadFile(path)
			names := folder(t, filepath.Dir(path))
			for _, open := range []func() (*store.Store, error){
				func() (*store.Store, error) { return store.Open(ctx, path) },
				func() (*store.Store, error) { return store.OpenReadOnly(ctx, path) },
			} {
				s, err := open()
				require.Nil(t, s)
				forPeople(t, err, c.want)
				for _, w := range append(c.say, fmt.Sprintf("%q", path)) {
					assert.ErrorContains(t, err, w)
				}
				assert.Equal(t, c.code, diag.Code(err))
				after, _ := os.ReadFile(path)
				assert.Equal(t, before, after, "bytes unchanged")
				assert.Equal(t, names, folder(t, filepath.Dir(path)), "no file left behind")
			}
		})
	}
}

// A newer version that stands in the log alone is refused too, and the file
// with its log is left as it is.
func TestOpen_NewerInLog(t *testing.T) {
	path := filled(t)
	db := raw(t, path)
	_, err := db.Exec("PRAGMA user_version = 9")
	require.NoError(t, err)
	sum := func() (out [2][32]byte) {
		for i, suffix := range []string{"", "-wal"} {
			b, err := os.ReadFile(path + suffix)
			require.NoError(t, err)
			out[i] = sha256.Sum256(b)
		}
		return out
	}
	before := sum()
	_, err = store.Open(ctx, path)
	forPeople(t, err, store.ErrNewer)
	assert.ErrorContains(t, err, "version 9")
	assert.Equal(t, before, sum())
}

func TestCreate_RefusesExisting(t *testing.T) {
	path := filled(t)
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	_, err = store.Create(ctx, path, testFarm)
	forPeople(t, err, store.ErrExists)
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, before, after)
	assert.Equal(t, []string{"farm.db"}, folder(t, filepath.Dir(path)))

	// A log left by a store that was deleted would be replayed into a new one.
	other := filepath.Join(t.TempDir(), "new.db")
	require.NoError(t, os.WriteFile(other+"-wal", []byte("old"), 0o644))
	_, err = store.Create(ctx, other, testFarm)
	forPeople(t, err, store.ErrExists)
	assert.ErrorContains(t, err, "new.db-wal")

	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o644))
	_, err = store.Create(ctx, filepath.Join(file, "farm.db"), testFarm)
	forPeople(t, err, store.ErrDisk) // the folder is a file
}

// A store is there whole or not at all.
func TestCreate_AllOrNothing(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "farm.db")
	bad := testFarm
	bad.Units = "furlongs"
	_, err := store.Create(ctx, path, bad)
	forPeople(t, err, store.ErrInvalid)
	assert.Empty(t, folder(t, dir))

	pages := 0
	for pages = 1; ; pages++ {
		s, err := store.Create(ctx, path, testFarm, store.WithMaxPages(pages))
		if err == nil {
			sound(t, s)
			require.NoError(t, s.Close())
			break
		}
		forPeople(t, err, store.ErrFull)
		require.Empty(t, folder(t, dir), "with %d pages", pages)
	}
	assert.Greater(t, pages, 20)
}

func TestLink(t *testing.T) {
	path := filled(t)
	link := filepath.Join(t.TempDir(), "link.db")
	require.NoError(t, os.Symlink(path, link))
	s, err := store.Open(ctx, link)
	require.NoError(t, err)
	assert.Len(t, visits(t, s, store.Filter{}), 2)
	require.NoError(t, s.Close())
	assert.Equal(t, []string{"link.db"}, folder(t, filepath.Dir(link)))
}

func TestOpenReadOnly(t *testing.T) {
	path := filled(t)
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	s, err := store.OpenReadOnly(ctx, path)
	require.NoError(t, err)
	assert.Len(t, visits(t, s, store.Filter{}), 2)
	sound(t, s)
	forPeople(t, s.Update(ctx, func(tx *store.Tx) error { return tx.SetFarm(testFarm) }), store.ErrReadOnly)
	require.NoError(t, s.Backup(ctx, path+".copy"))
	require.NoError(t, s.Close())
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, before, after)
	assert.Equal(t, []string{"farm.db", "farm.db.copy"}, folder(t, filepath.Dir(path)))
}

// FuzzOpen gives any bytes for a store: it is refused with a message, or it
// opens; a file that is refused before SQLite sees it keeps its bytes.
func FuzzOpen(f *testing.F) {
	good, err := os.ReadFile("testdata/v1.db")
	if err != nil {
		f.Fatal(err)
	}
	f.Add([]byte{})
	f.Add([]byte("SQLite format 3\x00"))
	f.Add(good[:100])
	f.Add(good[:4096])
	f.Add(good)
	f.Fuzz(func(t *testing.T, b []byte) {
		path := filepath.Join(t.TempDir(), "x.db")
		require.NoError(t, os.WriteFile(path, b, 0o644))
		s, err := store.Open(ctx, path, store.WithBusyTimeout(time.Millisecond))
		if err == nil {
			_, err := s.Check(ctx)
			_ = s.View(ctx, func(tx *store.Tx) error { _, err := tx.Visits(store.Filter{}); return err })
			require.NoError(t, errors.Join(err, s.Close()))
			return
		}
		if errors.Is(err, store.ErrNotOurs) || errors.Is(err, store.ErrNewer) {
			after, rerr := os.ReadFile(path)
			require.NoError(t, rerr)
			require.Equal(t, b, after)
		}
		var p *diag.Problem
		require.ErrorAs(t, err, &p, "%v", err)
		require.NotErrorIs(t, err, fs.ErrNotExist)
	})
}
