// Package store keeps one farm's records in one SQLite file: all SQL text of
// the program is here.
//
// A store is changed by Update and read by View; each is one transaction, so
// a command happens whole or not at all. Records are append-only: Void marks
// one as wrong, with a reason, Replace puts another in its place, and nothing
// is deleted. The journal keeps what each command wrote, and Undo takes it back. The store has no
// clock: the instants at which things were entered are arguments.
//
// Catalogue keys (pests, sample units, enemies, agents, actions, covers) are
// stored as given; the store knows beds and labels only, and refuses unknown
// ones.
//
// Not here: catalogue facts, computed results, several farms in one file,
// a network or multi-user server, and encryption.
package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"leafturn/internal/diag"

	"github.com/jmoiron/sqlx"
)

const (
	// SchemaVersion is the version of the tables that this program writes.
	SchemaVersion = 4
	// ApplicationID stands in the header of every store ("LFTN") and tells a
	// leafturn store from another SQLite file.
	ApplicationID = 0x4C46544E
	// DefaultBusyTimeout is how long a command waits for another process.
	DefaultBusyTimeout = 5 * time.Second
)

// Store is an open store. It is safe for concurrent use.
type Store struct {
	path     string // as the user named it
	file     string // absolute, for SQLite
	mode     string // of openDB
	db       *sqlx.DB
	o        options
	schema   int
	readOnly bool
	full     bool // the disk, so that it is read only
	migrated *Migrated
	ahead    atomic.Pointer[time.Time]
	intact   sync.Map // tables that agree with their second copy
	mu       sync.Mutex
	wrote    []Wrote
}

// Migrated tells that opening brought an older store up to date.
type Migrated struct {
	From, To int    // schema versions
	Copy     string // the untouched copy made beforehand
}

type options struct {
	busy       time.Duration
	hook       func(query string) error
	trace      func(query string, args []any)
	maxPages   int
	migrations []migration
	farmUID    string
	command    Command
}

// Option changes how a store is opened.
type Option func(*options)

// WithBusyTimeout sets how long to wait for another process that writes.
func WithBusyTimeout(d time.Duration) Option { return func(o *options) { o.busy = d } }

// WithHook sets a function that is called with each statement of Update and
// View before it runs, BEGIN and COMMIT included; an error from it fails the
// statement. Views that run at once call it at once. It is for fault tests.
func WithHook(f func(query string) error) Option { return func(o *options) { o.hook = f } }

// WithTrace sets a function that is called with each statement of Update and
// View and its values before it runs, as WithHook. It is for benchmarks.
func WithTrace(f func(query string, args []any)) Option { return func(o *options) { o.trace = f } }

// WithMaxPages lets the file grow to n pages of 4096 bytes at most: beyond
// that writes fail as on a full disk. It is for fault tests.
func WithMaxPages(n int) Option { return func(o *options) { o.maxPages = n } }

// WithFarmUID sets what names a new farm in calendar entries, in place of a
// random word. It is for farms that are made again and again, such as a demo.
func WithFarmUID(uid string) Option { return func(o *options) { o.farmUID = uid } }

// WithCommand names the command that makes a farm, for its journal.
func WithCommand(c Command) Option { return func(o *options) { o.command = c } }

func makeOptions(opts []Option) options {
	o := options{busy: DefaultBusyTimeout, migrations: embedded}
	for _, f := range opts {
		f(&o)
	}
	return o
}

// Path returns the store's path as it was given.
func (s *Store) Path() string { return s.path }

// File returns the absolute path of the store's file, with links followed.
func (s *Store) File() string { return s.file }

// Schema returns the version of the store's tables.
func (s *Store) Schema() int { return s.schema }

// Migrated tells whether opening brought the store up to date, and how.
func (s *Store) Migrated() (Migrated, bool) {
	if s.migrated == nil {
		return Migrated{}, false
	}
	return *s.migrated, true
}

// Ahead returns the instant of the newest record that was there when a command
// stored something at an earlier one: a clock was ahead then, or is behind now.
// It is zero when that did not happen.
func (s *Store) Ahead() time.Time {
	if at := s.ahead.Load(); at != nil {
		return *at
	}
	return time.Time{}
}

// Close closes the store.
func (s *Store) Close() error { return problem(s.path, "close", s.db.Close()) }

// Update runs f in one write transaction: when f returns nil everything it
// did is stored, otherwise nothing is. It waits for other writers as long as
// the busy timeout allows, then fails with ErrLocked. f must not keep tx.
func (s *Store) Update(ctx context.Context, f func(tx *Tx) error) error {
	return s.UpdateAs(ctx, Command{}, f)
}

// UpdateAs is Update for a command that the journal names.
func (s *Store) UpdateAs(ctx context.Context, c Command, f func(tx *Tx) error) error {
	switch {
	case s.full:
		return noRoom(s.path, ErrFull)
	case s.readOnly:
		return notWritable(s.path, ErrReadOnly)
	}
	return s.run(ctx, &c, f)
}

// View runs f on one consistent state of the store; later commits of others
// are not seen. Methods that write fail in it.
func (s *Store) View(ctx context.Context, f func(tx *Tx) error) error { return s.run(ctx, nil, f) }

func (s *Store) run(ctx context.Context, c *Command, f func(tx *Tx) error) error {
	return s.runOn(ctx, s.db, c, f)
}

// runOn runs f in a transaction: c is the command that writes, nil for a view.
func (s *Store) runOn(ctx context.Context, db *sqlx.DB, c *Command, f func(tx *Tx) error) error {
	write := c != nil
	t := &Tx{ctx: ctx, s: s, write: write}
	if write {
		t.log.Command = *c
	}
	if err := t.before("BEGIN"); err != nil {
		return problem(s.path, "begin", err)
	}
	tx, err := db.BeginTxx(ctx, &sql.TxOptions{ReadOnly: !write})
	if err != nil {
		return problem(s.path, "begin", err)
	}
	t.tx = tx
	defer func() { _ = tx.Rollback() }() // does nothing after a commit

	var newest time.Time
	if write && !c.At.IsZero() && s.schema >= SchemaVersion {
		if newest, err = t.newest(); err != nil {
			return problem(s.path, "begin", err)
		}
	}
	err = f(t)
	if err == nil {
		err = t.flush()
	}
	if err == nil {
		err = t.broken // f swallowed a failure that left something half done
	}
	if err == nil && write {
		err = t.writeJournal()
	}
	if err == nil && write {
		if err = t.before("COMMIT"); err == nil {
			err = tx.Commit()
		}
		if err == nil && t.log.change > 0 {
			s.mu.Lock()
			s.wrote = append(s.wrote, Wrote{t.log.change, t.log.ranges()})
			s.mu.Unlock()
		}
		if err == nil && newest.After(c.At) && (t.log.quiet || !t.log.empty()) {
			s.ahead.Store(&newest)
		}
	}
	if err != nil && ctx.Err() != nil {
		err = ctx.Err() // database/sql may report the rolled-back transaction instead
	}
	err = problem(s.path, "transaction", err)
	var p *diag.Problem
	if !write && errors.As(err, &p) && p.Kept == keptNothing {
		p.Kept = "" // nothing was at stake
	}
	return err
}

const (
	foreignKeysOff = "foreign_keys(0)"
	checksOff      = "ignore_check_constraints(1)"
)

// openDB opens the pool. Pragmas go through the DSN, so that every connection
// of the pool has them; url.URL keeps '?', '#' and '%' in file names apart
// from the parameters. mode=rw never creates a file.
func openDB(file, mode string, o options, pragmas ...string) (*sqlx.DB, error) {
	q := url.Values{"mode": {mode}, "_txlock": {"immediate"}, "_defensive": {"1"}, "_dqs": {"0"}}
	if mode == "immutable" {
		q.Set("mode", "ro")
		q.Set("immutable", "1")
	}
	q.Add("_pragma", fmt.Sprintf("busy_timeout(%d)", o.busy.Milliseconds()))
	if o.maxPages > 0 {
		q.Add("_pragma", fmt.Sprintf("max_page_count(%d)", o.maxPages))
	}
	// FULL syncs the log at each commit: what was reported as stored survives
	// a power cut.
	q.Add("_pragma", "synchronous(FULL)")
	if !slices.Contains(pragmas, foreignKeysOff) {
		q.Add("_pragma", "foreign_keys(1)")
	}
	for _, p := range pragmas {
		q.Add("_pragma", p)
	}
	p := filepath.ToSlash(file)
	if !strings.HasPrefix(p, "/") {
		p = "/" + p // a drive letter
	}
	u := url.URL{Scheme: "file", Path: p, RawQuery: q.Encode()}
	db, err := sqlx.Open("sqlite", u.String())
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(4)
	return db, nil
}

var errWriteInLoad = errors.New("store: a method that writes was called while visits are loaded")

var errWriteInView = errors.New("store: a method that writes was called in View")
