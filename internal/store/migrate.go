package store

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"strconv"
	"strings"

	"leafturn/internal/diag"
)

//go:embed migrations/*.sql
var migrationFiles embed.FS

// migration n (from 1) makes schema version n.
type migration struct {
	name string
	sql  string
}

var embedded = mustMigrations(migrationFiles)

// mustMigrations reads migrations/0001_*.sql, 0002_*.sql, ... without gaps.
func mustMigrations(files fs.FS) []migration {
	names, err := fs.Glob(files, "migrations/*.sql")
	if err != nil {
		panic("store: " + err.Error())
	}
	var out []migration
	for i, name := range names { // Glob sorts
		number, _, _ := strings.Cut(path.Base(name), "_")
		if n, err := strconv.Atoi(number); err != nil || n != i+1 || len(number) != 4 {
			panic(fmt.Sprintf("store: migration %s is not number %04d", name, i+1))
		}
		b, err := fs.ReadFile(files, name)
		if err != nil {
			panic("store: " + err.Error())
		}
		out = append(out, migration{path.Base(name), string(b)})
	}
	return out
}

// migrate brings the tables of a file to the latest version in one
// transaction, versions included. Foreign keys are off on its connection, so
// that a migration may rebuild a table (https://www.sqlite.org/lang_altertable.html,
// section 7); with check they and the whole file are checked before the commit.
func migrate(ctx context.Context, name, file string, o options, check bool) error {
	db, err := openDB(file, "rw", o, foreignKeysOff)
	if err != nil {
		return problem(name, "migrate", err)
	}
	defer db.Close()
	tx, err := db.BeginTxx(ctx, nil)
	if err != nil {
		return problem(name, "migrate", err)
	}
	defer func() { _ = tx.Rollback() }()
	version := 0
	// Read again inside: another process may have been quicker.
	if err := tx.GetContext(ctx, &version, "PRAGMA user_version"); err != nil {
		return problem(name, "migrate", err)
	}
	for ; version < len(o.migrations); version++ {
		m := o.migrations[version]
		if _, err := tx.ExecContext(ctx, m.sql); err != nil {
			return problem(name, "migration "+m.name, err)
		}
		if _, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA user_version = %d", version+1)); err != nil {
			return problem(name, "migration "+m.name, err)
		}
	}
	if check {
		findings, err := checkFile(ctx, tx)
		if err != nil {
			return problem(name, "check after migration", err)
		}
		if len(findings) > 0 {
			return &diag.Problem{
				What: fmt.Sprintf("the store %q was not brought up to date: it would not be sound afterwards (%s)", name, findings[0]),
				Do:   "keep the file; go on with the leafturn that wrote it, or with the newest backup that is sound",
				Kept: "the store is as it was before",
				Err:  fmt.Errorf("%w: %s", ErrDamaged, strings.Join(findings, "; ")),
			}
		}
	}
	return problem(name, "migrate", tx.Commit())
}

// copyBeside copies the store to NAME.v1.bak, or NAME.v1-2.bak and so on when
// that is taken.
func (s *Store) copyBeside(ctx context.Context) (string, error) {
	for i := 1; ; i++ {
		suffix := fmt.Sprintf(".v%d.bak", s.schema)
		if i > 1 {
			suffix = fmt.Sprintf(".v%d-%d.bak", s.schema, i)
		}
		if _, err := os.Lstat(s.file + suffix); err == nil {
			continue
		}
		err := s.Backup(ctx, s.file+suffix)
		if errors.Is(err, ErrExists) {
			continue // another process made it meanwhile
		}
		return s.file + suffix, err
	}
}
