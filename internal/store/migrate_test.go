package store_test

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"leafturn/internal/store"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// released holds the SHA-256 of each migration that has been released: such
// a file is never edited.
var released = map[string]string{
	"0001_start.sql":   "ae069f7a813e1921ea41ec00bb8a4bc8a323667c0b8825fc546b0ae66b1ffc32",
	"0002_records.sql": "2944603b2f540406f7afe651191c3ad266e5fa0f5206d29a0f0ccc58f9830ac2",
	"0003_journal.sql": "ccaac1c406ddf2b160b015196754e54c5f34857c06994a427b03347c51a1af51",
	"0004_copies.sql":  "06babbb79845ce814038bdef873dd36a50724c50d82e1ff1b6ade193746d6523",
}

func TestMigrations_Unchanged(t *testing.T) {
	all := store.Migrations()
	assert.Len(t, all, store.SchemaVersion, "SchemaVersion is the number of migrations")
	for name, sum := range released {
		assert.Equal(t, sum, fmt.Sprintf("%x", sha256.Sum256([]byte(all[name]))), name)
	}
	assert.Len(t, released, len(all), "each migration has its checksum here")
	assert.Panics(t, func() { store.WithMigrations(map[string]string{later(2, "gap"): ""}) })
}

func schemaOf(t *testing.T, path string) string {
	t.Helper()
	rows, err := raw(t, path).Query("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY type, name")
	require.NoError(t, err)
	defer rows.Close()
	out := ""
	for rows.Next() {
		var q string
		require.NoError(t, rows.Scan(&q))
		out += q + ";\n"
	}
	return out
}

func TestSchema_Golden(t *testing.T) {
	path := filled(t)
	schema := schemaOf(t, path)
	golden(t, "schema.sql", []byte(schema))
	for _, table := range strings.Split(schema, ";\nCREATE ") {
		if strings.HasPrefix(strings.TrimPrefix(table, "CREATE "), "TABLE") {
			assert.Contains(t, table, "STRICT", "every table is strict")
		}
	}
	db := raw(t, path)
	for pragma, want := range map[string]int{"application_id": store.ApplicationID, "user_version": store.SchemaVersion} {
		var got int
		require.NoError(t, db.QueryRow("PRAGMA "+pragma).Scan(&got))
		assert.Equal(t, want, got, pragma)
	}
	var mode string
	require.NoError(t, db.QueryRow("PRAGMA journal_mode").Scan(&mode))
	assert.Equal(t, "wal", mode)
}

// Every store kept in testdata opens, reads as it did when it was made and
// has the tables of a new store.
func TestOldStores(t *testing.T) {
	latest := fmt.Sprintf("testdata/v%d.db", store.SchemaVersion)
	if _, err := os.Stat(latest); err != nil && os.Getenv("UPDATE_GOLDEN") != "" {
		copyFile(t, filled(t), latest)
	}
	files, err := filepath.Glob("testdata/v*.db")
	require.NoError(t, err)
	assert.Len(t, files, store.SchemaVersion, "one store of each version")
	want, err := os.ReadFile("testdata/schema.sql")
	require.NoError(t, err)
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			path := copyFile(t, file, filepath.Join(t.TempDir(), "old.db"))
			s, err := store.Open(ctx, path)
			require.NoError(t, err)
			defer s.Close()
			sound(t, s)
			golden(t, strings.TrimSuffix(filepath.Base(file), ".db")+".json", []byte(everything(t, s)))
			assert.Equal(t, string(want), schemaOf(t, path))
			_, moved := s.Migrated()
			assert.Equal(t, !strings.HasSuffix(file, fmt.Sprintf("v%d.db", store.SchemaVersion)), moved)
		})
	}
}

// later names a migration that comes n after those that there are.
func later(n int, name string) string {
	return fmt.Sprintf("%04d_%s.sql", store.SchemaVersion+n, name)
}

// nextVersion is what a later migration may do: rebuild a table that others
// refer to, and add a column.
var nextVersion = map[string]string{
	later(1, "rebuild"): `CREATE TABLE bed2 (id INTEGER PRIMARY KEY, code TEXT NOT NULL UNIQUE COLLATE NOCASE, block TEXT NOT NULL, x_m REAL, y_m REAL,
length_m REAL NOT NULL, width_m REAL NOT NULL, plants INTEGER NOT NULL, cultivar TEXT NOT NULL, irrigation TEXT NOT NULL, site TEXT NOT NULL, more TEXT NOT NULL, gone INTEGER NOT NULL) STRICT;
INSERT INTO bed2 SELECT * FROM bed; DROP TABLE bed; ALTER TABLE bed2 RENAME TO bed;`,
	later(2, "add"): "ALTER TABLE visit ADD COLUMN minutes INTEGER;",
}

func TestMigrate(t *testing.T) {
	path := filled(t)
	old, err := store.Open(ctx, path)
	require.NoError(t, err)
	want := everything(t, old)
	require.NoError(t, old.Close())
	require.NoError(t, os.WriteFile(fmt.Sprintf("%s.v%d.bak", path, store.SchemaVersion), []byte("mine"), 0o644)) // never overwritten

	_, err = store.OpenReadOnly(ctx, path, store.WithMigrations(nextVersion))
	forPeople(t, err, store.ErrOlder)

	s, err := store.Open(ctx, path, store.WithMigrations(nextVersion))
	require.NoError(t, err)
	m, moved := s.Migrated()
	assert.True(t, moved)
	assert.Equal(t, store.Migrated{From: store.SchemaVersion, To: store.SchemaVersion + 2, Copy: fmt.Sprintf("%s.v%d-2.bak", path, store.SchemaVersion)}, m)
	assert.Equal(t, store.SchemaVersion+2, s.Schema())
	assert.Equal(t, want, everything(t, s), "a column more is no matter")
	sound(t, s)
	require.NoError(t, s.Close())

	s, err = store.Open(ctx, path, store.WithMigrations(nextVersion))
	require.NoError(t, err)
	_, moved = s.Migrated()
	assert.False(t, moved, "the second time there is nothing to do")
	require.NoError(t, s.Close())

	_, err = store.Open(ctx, path)
	forPeople(t, err, store.ErrNewer)
	back, err := store.Open(ctx, m.Copy)
	require.NoError(t, err, "the copy is of the old version")
	assert.Equal(t, want, everything(t, back))
	require.NoError(t, back.Close())
}

// A migration that fails, or leaves an unsound file, changes nothing.
func TestMigrate_AllOrNothing(t *testing.T) {
	for name, c := range map[string]struct {
		sql  string
		want error
	}{
		"bad SQL":       {"ALTER TABLE visit ADD COLUMN one INTEGER; SELECT nonsense FROM nowhere;", nil},
		"breaks a rule": {"UPDATE farm SET scout_day = 9;", store.ErrInvalid},
		"dangling":      {"CREATE TABLE x AS SELECT * FROM bed; DROP TABLE bed; CREATE TABLE bed (id INTEGER PRIMARY KEY) STRICT;", store.ErrDamaged},
	} {
		t.Run(name, func(t *testing.T) {
			path := filled(t)
			schema := schemaOf(t, path)
			_, err := store.Open(ctx, path, store.WithMigrations(map[string]string{later(1, "fine"): "CREATE TABLE fine (a INTEGER) STRICT;", later(2, "bad"): c.sql}))
			require.Error(t, err)
			if c.want != nil {
				forPeople(t, err, c.want)
			}
			assert.Equal(t, schema, schemaOf(t, path))
			s, err := store.Open(ctx, path)
			require.NoError(t, err)
			assert.Equal(t, store.SchemaVersion, s.Schema())
			sound(t, s)
			require.NoError(t, s.Close())
		})
	}
}

// SQL text lives here alone, names its columns and never asks the clock.
func TestSQL_Habits(t *testing.T) {
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	more, err := filepath.Glob("migrations/*.sql")
	require.NoError(t, err)
	bad := regexp.MustCompile(`(?i)select\s+(\w\.)?\*|'now'|current_timestamp|time\.Now`)
	for _, f := range append(files, more...) {
		if strings.HasSuffix(f, "_test.go") {
			continue
		}
		b, err := os.ReadFile(f)
		require.NoError(t, err)
		assert.Empty(t, bad.FindAllString(string(b), -1), f)
	}
}
