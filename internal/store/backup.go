package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"leafturn/internal/diag"
)

// Backup writes a sound, compact copy of the store to dst, which must not
// exist; its folder must. The copy is checked before it gets its name. Others
// may write meanwhile: the copy holds one state.
func (s *Store) Backup(ctx context.Context, dst string) error {
	file, err := filepath.Abs(dst)
	if err != nil {
		return fmt.Errorf("store backup: %w", err)
	}
	if err := refuseExisting(dst, file); err != nil {
		return err
	}
	tmp, err := tempName(filepath.Dir(file), ".leafturn-backup-*")
	if errors.Is(err, fs.ErrNotExist) {
		return &diag.Problem{What: fmt.Sprintf("the backup %q was not made: its folder is not there", dst), Do: "make the folder, or use another one", Kept: keptNothing, Err: fmt.Errorf("%w: %w", ErrDisk, err)}
	}
	if err != nil {
		return diskProblem(dst, "write the backup", err)
	}
	defer removeTemp(tmp)
	// The copy gets its indexes anew, and would not show what differs from them.
	findings, err := checkFile(ctx, s.db)
	switch {
	case err != nil:
		return problem(s.path, "check", err)
	case len(findings) > 0:
		return noBackup(findings[0])
	}
	if err := s.copyTo(ctx, tmp); err != nil {
		switch code(err) & 0xff {
		case codeFull, codeReadOnly, codeCantOpen, codeIOErr:
			return problem(dst, "backup", err) // it is the copy that failed
		}
		return problem(s.path, "backup", err)
	}
	if err := verify(ctx, dst, tmp); err != nil {
		return err
	}
	return publish(dst, tmp, file)
}

// copyTo copies over a connection of its own: one that may only query cannot.
func (s *Store) copyTo(ctx context.Context, tmp string) error {
	db, err := openDB(s.file, s.mode, s.o)
	if err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, "VACUUM INTO ?", tmp)
	return errors.Join(err, db.Close())
}

// verify checks a copy and puts it into write-ahead mode, which VACUUM INTO
// does not carry over.
func verify(ctx context.Context, path, file string) error {
	db, err := openDB(file, "rw", makeOptions(nil), "journal_mode(WAL)")
	if err != nil {
		return problem(path, "check the backup", err)
	}
	s := &Store{path: path, file: file, mode: "rw", db: db}
	findings, err := s.Check(ctx)
	if err == nil && len(findings) > 0 {
		err = noBackup(findings[0])
	}
	return errors.Join(err, s.Close())
}

func noBackup(finding string) error {
	return &diag.Problem{
		What: fmt.Sprintf("the backup was not made: the store is not sound (%s)", finding),
		Do:   "keep every older backup; `leafturn doctor` says how to go on",
		Kept: "the store and older backups were not touched",
		Err:  ErrDamaged,
	}
}
