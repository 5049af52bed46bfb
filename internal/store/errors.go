package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"leafturn/internal/diag"

	"modernc.org/sqlite"
)

// What can go wrong, for errors.Is. The errors returned are *diag.Problem
// values that wrap one of these.
var (
	ErrMissing   = errors.New("store: no such file")
	ErrExists    = errors.New("store: file already exists")
	ErrNotOurs   = errors.New("store: not a leafturn store")
	ErrDamaged   = errors.New("store: damaged")
	ErrNewer     = errors.New("store: written by a newer leafturn")
	ErrOlder     = errors.New("store: must be brought up to date first")
	ErrLocked    = errors.New("store: in use by another process")
	ErrReadOnly  = errors.New("store: cannot be written")
	ErrNoAccess  = errors.New("store: may not be read")
	ErrFull      = errors.New("store: disk full")
	ErrDisk      = errors.New("store: disk error")
	ErrInvalid   = errors.New("store: value refused")
	ErrDuplicate = errors.New("store: already stored")
	ErrNotFound  = errors.New("store: no such record")
	ErrVoided    = errors.New("store: already voided")

	ErrUnknownBed   = errors.New("store: unknown bed")
	ErrUnknownLabel = errors.New("store: unknown label")
)

// DuplicateError names the record that is already there. It is ErrDuplicate
// to errors.Is.
type DuplicateError struct {
	Kind Kind
	ID   int64
}

// Error names the record.
func (e *DuplicateError) Error() string {
	return fmt.Sprintf("%v: %s record %d", ErrDuplicate, e.Kind, e.ID)
}

// Is reports whether target is ErrDuplicate.
func (e *DuplicateError) Is(target error) bool { return target == ErrDuplicate }

// The SQLite result codes that are told apart (https://www.sqlite.org/rescode.html).
// The low byte of an extended code is its primary code.
const (
	codeError      = 1
	codeBusy       = 5
	codeLocked     = 6
	codeReadOnly   = 8
	codeInterrupt  = 9
	codeIOErr      = 10
	codeCorrupt    = 11
	codeFull       = 13
	codeCantOpen   = 14
	codeConstraint = 19
	codeNotADB     = 26

	codeShortRead = 522  // IOERR_SHORT_READ: the file ends too early
	codeSharing   = 4874 // IOERR_SHMSIZE: no room for the file beside the store that readers share
	codeUnique    = 2067 // CONSTRAINT_UNIQUE
)

// code returns the extended SQLite result code of err, 0 when it has none.
func code(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code()
	}
	return 0
}

const keptNothing = "nothing from this command was stored; the store is as it was before"

// notWritable says that a write needs what the file or its folder does not allow.
func notWritable(path string, err error) error {
	return &diag.Problem{
		What: fmt.Sprintf("the store %q cannot be written: the file or its folder is read-only", path),
		Do:   "make the file and its folder writable, or copy the store to a folder that is", Kept: keptNothing, Err: err,
	}
}

// noRoom says that the disk is full before anything was written.
func noRoom(path string, err error) error {
	return &diag.Problem{
		What: fmt.Sprintf("the disk is full: there is no room for a file beside the store %q", path),
		Do:   "free some space on the disk and run the command again", Kept: keptNothing, Err: err,
	}
}

// problem turns an error into one for people, or returns it as it is when it
// already is one. path is the store as the user named it.
func problem(path, op string, err error) error {
	var p *diag.Problem
	var l *diag.List
	if err == nil || errors.As(err, &p) || errors.As(err, &l) {
		return err
	}
	say := func(sentinel error, do, format string, args ...any) error {
		return &diag.Problem{What: fmt.Sprintf(format, args...), Do: do, Kept: keptNothing, Err: fmt.Errorf("%w: %s: %w", sentinel, op, err)}
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return &diag.Problem{What: "stopped before the end", Do: "run the command again", Kept: keptNothing, Err: err}
	}
	c := code(err)
	switch c {
	case codeShortRead:
		return damaged(path, fmt.Errorf("%s: %w", op, err))
	case codeSharing:
		return noRoom(path, fmt.Errorf("%w: %s: %w", ErrFull, op, err))
	}
	switch c & 0xff {
	case codeBusy, codeLocked:
		return say(ErrLocked, "close the other leafturn (or the program that holds the file) and run the command again",
			"the store %q is in use by another process", path)
	case codeReadOnly:
		return notWritable(path, fmt.Errorf("%w: %s: %w", ErrReadOnly, op, err))
	case codeCantOpen:
		return say(ErrReadOnly, "make the folder writable, or copy the store to a folder that is",
			"the store %q cannot be opened: its folder is read-only or a file beside it may not be made", path)
	case codeError:
		// Every statement here is our own and tested: one that does not fit the
		// tables means that the tables are not as the program made them.
		return damaged(path, fmt.Errorf("%s: %w", op, err))
	case codeCorrupt, codeNotADB:
		return damaged(path, fmt.Errorf("%s: %w", op, err))
	case codeFull:
		return say(ErrFull, "free some space on the disk and run the command again", "the disk is full: the store %q could not grow", path)
	case codeIOErr:
		return say(ErrDisk, "check the disk and the cable, make a copy of the store, and run the command again",
			"the disk failed while the store %q was used: %v", path, err)
	case codeConstraint:
		return say(ErrInvalid, "correct the value and enter it again", "the store refused a value (%s): %v", op, err)
	}
	return fmt.Errorf("store %s: %w", op, err)
}

func damaged(path string, err error) error {
	return &diag.Problem{
		What: fmt.Sprintf("the store %q is damaged", path),
		Do:   fmt.Sprintf("keep this file, and go on with the newest backup that opens (`leafturn restore FILE`); `leafturn --db %q doctor --rescue FOLDER` saves what can still be read", path),
		Kept: "nothing was changed",
		Err:  fmt.Errorf("%w: %w", ErrDamaged, err),
	}
}

// invalid is a refusal of a value of the user's.
func invalid(format string, args ...any) error {
	return &diag.Problem{What: fmt.Sprintf(format, args...), Do: "correct the value and enter it again", Kept: keptNothing, Usage: true, Err: ErrInvalid}
}

// isNoRows reports the absence of a row.
func isNoRows(err error) bool { return errors.Is(err, sql.ErrNoRows) }
