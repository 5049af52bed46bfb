package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"leafturn/internal/diag"
)

// Restore puts a copy of the backup at from in the place of the store at path.
// The backup is checked first and the copy of it after; the store that was there
// is kept aside under the name that is returned, "" when there was none. A store
// that another process holds open is ErrLocked.
func Restore(ctx context.Context, from, path string, opts ...Option) (aside string, err error) {
	o := makeOptions(opts)
	source, err := probe(ctx, from, o)
	if err != nil {
		return "", err
	}
	return replace(ctx, path, o, func(file, tmp string) error {
		if same(source, file) {
			return &diag.Problem{What: fmt.Sprintf("%q is the farm's file itself, not a backup of it", from), Do: "give the backup", Kept: "nothing was changed", Usage: true, Err: ErrExists}
		}
		return copyChecked(ctx, from, source, tmp, o)
	})
}

// errOnlyLook ends replace before anything is changed.
var errOnlyLook = errors.New("store: only looked")

// replace puts the file that make leaves at tmp in the place of the store at
// path, and returns the name under which what was there is kept.
func replace(ctx context.Context, path string, o options, make func(file, tmp string) error) (aside string, err error) {
	file, err := filepath.Abs(path)
	if err == nil {
		if real, err2 := filepath.EvalSymlinks(file); err2 == nil {
			file = real
		}
	}
	if err != nil {
		return "", fmt.Errorf("store restore: %w", err)
	}
	dir := filepath.Dir(file)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", diskProblem(dir, "make the folder", err)
	}
	tmp, err := tempName(dir, ".leafturn-restore-*")
	if err != nil {
		return "", diskProblem(path, "restore", err)
	}
	defer removeTemp(tmp)
	if err := make(file, tmp); errors.Is(err, ErrFull) { // whatever was being copied, the room is wanted here
		return "", noRoom(path, err)
	} else if err != nil {
		return "", err
	}
	if aside, err = setAside(ctx, path, file, o); err != nil {
		return "", err
	}
	f, err := os.OpenFile(tmp, os.O_RDWR, 0)
	if err != nil {
		return "", diskProblem(path, "write", err)
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return "", diskProblem(path, "write", err)
	}
	if err := os.Rename(tmp, file); err != nil {
		return "", diskProblem(path, "write", err)
	}
	if d, err := os.Open(dir); err == nil {
		_ = d.Sync() // not every system can sync a folder
		_ = d.Close()
	}
	return aside, nil
}

func same(a, b string) bool {
	x, err1 := os.Stat(a)
	y, err2 := os.Stat(b)
	return err1 == nil && err2 == nil && os.SameFile(x, y)
}

// copyChecked copies a backup that is sound, of whatever version, and checks
// the copy.
func copyChecked(ctx context.Context, from, source, tmp string, o options) error {
	unsound := func(finding string) error {
		return &diag.Problem{What: fmt.Sprintf("the backup %q is not sound (%s)", from, finding), Do: "take an older backup; `leafturn --db FILE doctor --rescue FOLDER` saves what can be read of this one", Kept: "the farm's file was not touched", Err: ErrDamaged}
	}
	mode := "rw"
	if logSize(source) == 0 {
		mode = "immutable" // a backup on a read-only disk; nobody writes to it
	}
	db, err := openDB(source, mode, o)
	if err != nil {
		return problem(from, "restore", err)
	}
	findings, err := checkFile(ctx, db)
	if err == nil && len(findings) == 0 {
		_, err = db.ExecContext(ctx, "VACUUM INTO ?", tmp)
	}
	err = errors.Join(err, db.Close())
	switch {
	case len(findings) > 0:
		return unsound(findings[0])
	case err != nil:
		return problem(from, "restore", err)
	}
	if db, err = openDB(tmp, "rw", o, "journal_mode(WAL)"); err != nil {
		return problem(from, "restore", err)
	}
	findings, err = checkFile(ctx, db)
	err = errors.Join(err, db.Close())
	if len(findings) > 0 {
		return unsound(findings[0])
	}
	return problem(from, "restore", err)
}

// setAside gives the store that is there a second name, and makes sure that
// no log of it is left that SQLite would take for the new file's.
func setAside(ctx context.Context, path, file string, o options) (string, error) {
	if _, err := os.Lstat(file); errors.Is(err, fs.ErrNotExist) {
		return "", refuseExisting(path, file) // a log without its file
	}
	// A sound store is brought into its one file, with everybody else shut out.
	if _, err := probe(ctx, path, o); err == nil {
		db, err := openDB(file, "rw", o, "locking_mode(EXCLUSIVE)")
		if err != nil {
			return "", problem(path, "restore", err)
		}
		db.SetMaxOpenConns(1)
		_, err = db.ExecContext(ctx, "BEGIN EXCLUSIVE; COMMIT; PRAGMA wal_checkpoint(TRUNCATE)")
		err = errors.Join(err, db.Close())
		if c := code(err) & 0xff; c == codeBusy || c == codeLocked {
			return "", problem(path, "restore", err)
		}
	}
	aside := ""
	for i := 1; ; i++ {
		aside = file + ".replaced"
		if i > 1 {
			aside = fmt.Sprintf("%s.replaced-%d", file, i)
		}
		err := os.Link(file, aside)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil { // a disk without links
			if _, err := os.Lstat(aside); err == nil {
				continue
			}
			if err := os.Rename(file, aside); err != nil {
				return "", diskProblem(path, "keep the old file", err)
			}
		}
		break
	}
	for _, suffix := range []string{"-wal", "-shm", "-journal"} {
		if err := os.Rename(file+suffix, aside+suffix); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return "", diskProblem(path, "keep the old log", err)
		}
	}
	return aside, nil
}
