package store

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"leafturn/internal/diag"
	"leafturn/internal/farm"

	"github.com/jmoiron/sqlx"
)

// Create makes a new store for a farm and opens it. Folders on the way are
// made. The file appears whole or not at all. It fails with ErrExists when
// there is a file at path.
func Create(ctx context.Context, path string, f farm.Farm, opts ...Option) (*Store, error) {
	o := makeOptions(opts)
	file, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("store create: %w", err)
	}
	if err := refuseExisting(path, file); err != nil {
		return nil, err
	}
	dir := filepath.Dir(file)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, diskProblem(dir, "make the folder", err)
	}
	tmp, err := tempName(dir, ".leafturn-new-*")
	if err != nil {
		return nil, diskProblem(path, "create", err)
	}
	defer removeTemp(tmp)
	if err := fill(ctx, path, tmp, f, o); err != nil {
		return nil, err
	}
	if err := publish(path, tmp, file); err != nil {
		return nil, err
	}
	return Open(ctx, path, opts...)
}

// fill makes the tables and the farm in an empty file and closes it.
func fill(ctx context.Context, path, tmp string, f farm.Farm, o options) error {
	// The write-ahead log lets a report be read while counts are entered. The
	// choice is kept in the file.
	db, err := openDB(tmp, "rw", o, fmt.Sprintf("application_id(%d)", ApplicationID), "journal_mode(WAL)")
	if err != nil {
		return problem(path, "create", err)
	}
	s := &Store{path: path, file: tmp, mode: "rw", db: db, o: o}
	err = migrate(ctx, path, tmp, o, false)
	if err == nil {
		err = s.UpdateAs(ctx, o.command, func(tx *Tx) error { return tx.SetFarm(f) })
	}
	return errors.Join(err, s.Close())
}

// Open opens the store at path for reading and writing, and brings an older
// one up to date after making a copy; see Migrated. It never creates a file.
//
// Errors: ErrMissing, ErrNotOurs, ErrDamaged, ErrNewer (the file is not
// touched), ErrLocked, ErrReadOnly, ErrNoAccess, ErrFull.
func Open(ctx context.Context, path string, opts ...Option) (*Store, error) {
	o := makeOptions(opts)
	file, err := probe(ctx, path, o)
	if err != nil {
		return nil, err
	}
	db, err := openDB(file, "rw", o)
	if err != nil {
		return nil, problem(path, "open", err)
	}
	s := &Store{path: path, file: file, mode: "rw", db: db, o: o}
	if err := s.readVersion(ctx); err != nil {
		return nil, errors.Join(problem(path, "open", err), db.Close())
	}
	if latest := len(o.migrations); s.schema < latest {
		m := &Migrated{From: s.schema, To: latest}
		if m.Copy, err = s.copyBeside(ctx); err == nil {
			err = migrate(ctx, path, file, o, true)
		}
		if err == nil {
			err = s.readVersion(ctx)
		}
		if err != nil {
			return nil, errors.Join(problem(path, "migrate", err), db.Close())
		}
		s.migrated = m
	}
	return s, nil
}

// OpenReadOnly opens the store for View, Check and Backup only. It also opens
// a store in a read-only folder, on a read-only or on a full disk. An older store is
// refused with ErrOlder, for it cannot be brought up to date.
func OpenReadOnly(ctx context.Context, path string, opts ...Option) (*Store, error) {
	o := makeOptions(opts)
	file, err := probe(ctx, path, o)
	if err != nil {
		return nil, err
	}
	var s *Store
	// "rw" first: it joins the log of a process that is writing and tidies up
	// behind itself. "immutable" needs no file beside the store, and is right
	// only where nobody can write: nobody may, or there is no room for the file
	// that whoever has the store open shares, so nobody has.
	full := false
	for _, mode := range []string{"rw", "immutable"} {
		full = code(err) == codeSharing
		if mode == "immutable" && (logSize(file) > 0 || code(err)&0xff != codeCantOpen && code(err)&0xff != codeReadOnly && !full) {
			break
		}
		var db *sqlx.DB
		if db, err = openDB(file, mode, o, "query_only(1)"); err != nil {
			return nil, problem(path, "open", err)
		}
		s = &Store{path: path, file: file, mode: mode, db: db, o: o, readOnly: true, full: full}
		if err = s.readVersion(ctx); err == nil {
			break
		}
		_ = db.Close()
	}
	if err != nil {
		return nil, problem(path, "open", err)
	}
	if s.schema < len(o.migrations) {
		return nil, errors.Join(&diag.Problem{
			What: fmt.Sprintf("the store %q is of schema version %d; this leafturn reads version %d", path, s.schema, len(o.migrations)),
			Do:   "open it once where it can be written, which brings it up to date",
			Err:  ErrOlder,
		}, s.Close())
	}
	return s, nil
}

// readVersion reads the schema version and, with it, enough of the file for
// SQLite to notice a short or foreign one.
func (s *Store) readVersion(ctx context.Context) error {
	if err := s.db.GetContext(ctx, &s.schema, "PRAGMA user_version"); err != nil {
		return err
	}
	var tables int
	if err := s.db.GetContext(ctx, &tables, "SELECT count(*) FROM sqlite_schema WHERE name = 'farm'"); err != nil {
		return err
	}
	if tables == 0 && s.schema > 0 {
		return damaged(s.path, errors.New("the farm table is missing"))
	}
	return nil
}

// probe looks at the file without SQLite, so that a file that is refused is
// not touched, and returns its absolute path with links followed.
func probe(ctx context.Context, path string, o options) (string, error) {
	notOurs := func(what string) error {
		return &diag.Problem{What: fmt.Sprintf("%q %s", path, what), Do: "give the path of a store made by `leafturn farm new`", Kept: "the file was not touched", Usage: true, Err: ErrNotOurs}
	}
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "", &diag.Problem{What: fmt.Sprintf("there is no store at %q", path), Do: "check the path, or make a store with `leafturn farm new`", Usage: true, Err: fmt.Errorf("%w: %w", ErrMissing, err)}
	case err != nil:
		return "", diskProblem(path, "open", err)
	case info.IsDir():
		return "", notOurs("is a folder, not a store")
	case !info.Mode().IsRegular():
		return "", notOurs("is not an ordinary file")
	}
	file, err := filepath.Abs(path)
	if err == nil {
		file, err = filepath.EvalSymlinks(file)
	}
	if err != nil {
		return "", diskProblem(path, "open", err)
	}
	in, err := os.Open(file)
	if err != nil {
		return "", diskProblem(path, "open", err)
	}
	defer in.Close()
	// The SQLite header: https://www.sqlite.org/fileformat2.html section 1.3.
	h := make([]byte, 100)
	n, err := io.ReadFull(in, h)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return "", diskProblem(path, "read", err)
	}
	isDB := n >= 16 && bytes.Equal(h[:16], []byte("SQLite format 3\x00"))
	isOurs := n == 100 && binary.BigEndian.Uint32(h[68:]) == ApplicationID
	switch {
	case n == 0:
		return "", notOurs("is empty, not a store")
	case isOurs && !isDB:
		return "", damaged(path, errors.New("the first 16 bytes are wrong"))
	case isDB && n < 100:
		return "", damaged(path, errors.New("the file is shorter than its header"))
	case !isDB:
		return "", notOurs("is not a leafturn store: it is no SQLite database")
	case !isOurs:
		return "", notOurs("is a SQLite database of another program, not a leafturn store")
	}
	version := int(int32(binary.BigEndian.Uint32(h[60:])))
	if version < 0 {
		return "", damaged(path, fmt.Errorf("its header tells of version %d", version))
	}
	if version <= len(o.migrations) {
		if err := whole(in, h, file); err != nil {
			return "", damaged(path, err)
		}
	}
	if logSize(file) > 0 && version <= len(o.migrations) {
		// A newer version may still be in the log alone. A read-only
		// connection never moves the log into the file.
		db, err := openDB(file, "ro", o)
		if err != nil {
			return "", problem(path, "open", err)
		}
		err = db.GetContext(ctx, &version, "PRAGMA user_version")
		if err = errors.Join(err, db.Close()); err != nil {
			return "", problem(path, "open", err)
		}
	}
	if version > len(o.migrations) {
		return "", &diag.Problem{
			What: fmt.Sprintf("the store %q is of schema version %d; this leafturn reads up to version %d", path, version, len(o.migrations)),
			Do:   fmt.Sprintf("install a leafturn that reads schema version %d", version),
			Kept: "the store was not touched",
			Err:  ErrNewer,
		}
	}
	return file, nil
}

// whole reports a file that ends before its last page. While there is a log,
// only SQLite can tell.
func whole(in *os.File, h []byte, file string) error {
	page := int64(binary.BigEndian.Uint16(h[16:]))
	if page == 1 {
		page = 65536
	}
	pages := int64(binary.BigEndian.Uint32(h[28:]))
	info, err := in.Stat()
	if err != nil {
		return err
	}
	if page < 512 || logSize(file) == 0 && (info.Size()%page != 0 || info.Size() < pages*page) {
		return fmt.Errorf("the file has %d bytes, its header tells of %d pages of %d", info.Size(), pages, page)
	}
	return nil
}

func logSize(file string) int64 {
	info, err := os.Stat(file + "-wal")
	if err != nil {
		return 0
	}
	return info.Size()
}

// refuseExisting fails when a file, or a log that SQLite would take for the
// new file's own, stands in the way.
func refuseExisting(path, file string) error {
	for _, suffix := range []string{"", "-wal", "-journal"} {
		if _, err := os.Lstat(file + suffix); err == nil {
			return &diag.Problem{What: fmt.Sprintf("%q already exists", path+suffix), Do: "choose another path, or move that file away first", Kept: "the file was not touched", Usage: true, Err: ErrExists}
		} else if !errors.Is(err, fs.ErrNotExist) {
			return diskProblem(path, "look for a file", err)
		}
	}
	return nil
}

func tempName(dir, pattern string) (string, error) {
	f, err := os.CreateTemp(dir, pattern)
	if err != nil {
		return "", err
	}
	return f.Name(), f.Close()
}

func removeTemp(tmp string) {
	for _, suffix := range []string{"", "-wal", "-shm", "-journal"} {
		_ = os.Remove(tmp + suffix)
	}
}

// publish gives a finished temporary file its name, never over another file,
// and makes both the content and the name durable.
func publish(path, tmp, file string) error {
	f, err := os.OpenFile(tmp, os.O_RDWR, 0)
	if err != nil {
		return diskProblem(path, "write", err)
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return diskProblem(path, "write", err)
	}
	if err := refuseExisting(path, file); err != nil {
		return err
	}
	// A link fails when the name is taken; some file systems have no links.
	if err := os.Link(tmp, file); errors.Is(err, fs.ErrExist) {
		return refuseExisting(path, file)
	} else if err != nil {
		if err := os.Rename(tmp, file); err != nil {
			return diskProblem(path, "write", err)
		}
	}
	if d, err := os.Open(filepath.Dir(file)); err == nil {
		_ = d.Sync() // not every system can sync a folder
		_ = d.Close()
	}
	return nil
}

// diskProblem explains an error of the operating system.
func diskProblem(path, op string, err error) error {
	switch {
	case errors.Is(err, fs.ErrPermission):
		sentinel, what, do := ErrReadOnly, "may not be written", "make the folder writable, or use another one"
		if op == "open" || op == "read" {
			sentinel, what, do = ErrNoAccess, "may not be read", "ask for the right to read it, or use another file"
		}
		return &diag.Problem{What: fmt.Sprintf("%q %s", path, what), Do: do, Kept: keptNothing, Err: fmt.Errorf("%w: %s: %w", sentinel, op, err)}
	case errors.Is(err, syscall.ENOSPC):
		return &diag.Problem{What: fmt.Sprintf("the disk is full: %q could not be written", path), Do: "free some space and run the command again", Kept: keptNothing, Err: fmt.Errorf("%w: %s: %w", ErrFull, op, err)}
	case errors.Is(err, syscall.EROFS):
		return &diag.Problem{What: fmt.Sprintf("%q lies on a read-only disk", path), Do: "use another folder", Kept: keptNothing, Err: fmt.Errorf("%w: %s: %w", ErrReadOnly, op, err)}
	}
	return &diag.Problem{What: fmt.Sprintf("%q: could not %s: %v", path, op, err), Do: "check the path and the disk", Kept: keptNothing, Err: fmt.Errorf("%w: %w", ErrDisk, err)}
}
