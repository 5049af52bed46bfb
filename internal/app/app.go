// Package app holds the use cases: what the program can do for a grower. It
// is the only place that joins the store, the catalogue of facts and the
// computation, and the only one that knows what today is.
package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/adrg/xdg"

	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/report"
	"leafturn/internal/store"
	"leafturn/internal/units"
)

// App is the use cases on one farm's store at one instant.
type App struct {
	st      *farmFile
	cat     *catalog.Catalog
	farm    farm.Farm
	loc     *time.Location
	now     time.Time
	names   *names
	memory  memory
	keep    *keep // nil: nothing is kept
	old     bool  // days that lie long ago are meant
	anyZone bool  // the farm's time zone may be one that is not known here
	opened  seen  // the store's file when the App was made, zero where it cannot be told
	many    bool  // many counts were stored
}

// loadCatalog reads the embedded facts, in metric words, once: they cannot
// change while the program runs. usCatalog is the same in US words.
var (
	loadCatalog = sync.OnceValues(func() (*catalog.Catalog, error) { return catalog.Load(units.Metric) })
	usCatalog   = sync.OnceValues(func() (*catalog.Catalog, error) { return catalog.Load(units.US) })
)

// factsIn returns the facts in the words of a system of units.
func factsIn(system units.System) (*catalog.Catalog, error) {
	if system.IsUS() {
		return usCatalog()
	}
	return loadCatalog()
}

// Units is how the farm's reports show amounts.
func (a *App) Units() units.System { return a.farm.Units }

// FactsVersion returns the version of the embedded facts.
func FactsVersion() string {
	v, err := catalog.Version()
	if err != nil {
		return "damaged: " + err.Error()
	}
	return v
}

// DefaultPath returns the store's file in the user's data folder.
func DefaultPath() (string, error) {
	return filepath.Join(xdg.DataHome, "leafturn", "farm.leafturn"), nil
}

// Begin reads the facts on another core, for an App that is opened soon.
func Begin() { go func() { _, _ = loadCatalog() }() }

// Open opens the store at path at the instant now.
func Open(ctx context.Context, path string, now time.Time, options ...store.Option) (*App, error) {
	return open(ctx, path, now, false, options...)
}

// OpenAnyZone is Open for `farm set`, which alone can put right a time zone that
// is not known here: days are those of UTC until it has.
func OpenAnyZone(ctx context.Context, path string, now time.Time) (*App, error) {
	return open(ctx, path, now, true)
}

func open(ctx context.Context, path string, now time.Time, anyZone bool, options ...store.Option) (*App, error) {
	st, err := store.Open(ctx, path, options...)
	if errors.Is(err, store.ErrReadOnly) || errors.Is(err, store.ErrFull) { // a report needs no more than reading
		if read, err2 := store.OpenReadOnly(ctx, path, options...); err2 == nil {
			st, err = read, nil
		}
	}
	if err != nil {
		return nil, err
	}
	a, err := newApp(ctx, st, now, anyZone)
	if err != nil {
		st.Close()
		return nil, err
	}
	return a, nil
}

func newApp(ctx context.Context, st *store.Store, now time.Time, anyZone bool) (*App, error) {
	a := &App{st: &farmFile{Store: st, command: store.Command{At: now}}, now: now, anyZone: anyZone}
	a.opened, _ = seeStore(st.File())
	if err := a.load(ctx); err != nil {
		return nil, err
	}
	return a, nil
}

// load reads the farm and the names that people may use.
func (a *App) load(ctx context.Context) error {
	return a.st.View(ctx, func(tx *store.Tx) error {
		f, err := tx.Farm()
		if err != nil {
			return err
		}
		loc, err := f.Location()
		switch {
		case err != nil && a.anyZone:
			loc = time.UTC
		case err != nil:
			return diag.Failf(err, "set it with `leafturn farm set --zone Area/City`", "the farm's time zone %q is not known here", f.TimeZone)
		}
		beds, err := tx.Beds()
		if err != nil {
			return err
		}
		if a.cat, err = factsIn(f.Units); err != nil {
			return fmt.Errorf("the embedded facts do not load: %w", err)
		}
		a.farm, a.loc, a.names = f, loc, newNames(a.cat, beds)
		return nil
	})
}

// Close closes the store.
func (a *App) Close() error {
	if a.keep != nil {
		for _, f := range a.keep.later {
			f()
		}
	}
	return a.st.Close()
}

// Migrated says in a sentence that opening brought the store up to date, or "".
func (a *App) Migrated() string {
	m, ok := a.st.Migrated()
	if !ok {
		return ""
	}
	return fmt.Sprintf("the farm's file was brought from version %d to %d; the old one is kept as %s", m.From, m.To, m.Copy)
}

// Today is the farm's date.
func (a *App) Today() civil.Date { return civil.DateIn(a.now, a.loc) }

// endOf is the instant at which a day ends on the farm.
func (a *App) endOf(d civil.Date) time.Time {
	return time.Date(d.Year, d.Month, d.Day+1, 0, 0, 0, 0, a.loc)
}

// ParseDay reads a day that a person typed; empty is today.
func ParseDay(text string, today civil.Date) (civil.Date, error) {
	if text == "" {
		return today, nil
	}
	d, err := ingest.ParseDate(text, today)
	if err != nil {
		return civil.Date{}, asUsage(err)
	}
	return d, nil
}

// document starts a document with what all of them carry.
func (a *App) document(title string, asOf civil.Date) *report.Document {
	return &report.Document{
		Title: title, Farm: a.farm.Name, TimeZone: a.farm.TimeZone,
		AsOf: asOf, Made: a.now.In(a.loc), Facts: a.cat.Version,
	}
}

// asUsage marks the problems of an error as a tool used wrongly.
func asUsage(err error) error {
	switch e := err.(type) {
	case *diag.Problem:
		c := *e
		c.Usage = true
		return &c
	case *diag.List:
		for _, p := range e.Problems {
			p.Usage = true
		}
	}
	return err
}

// ofFlag names the flag whose value a problem is of.
func ofFlag(flag string, err error) error {
	var p *diag.Problem
	if !errors.As(err, &p) {
		return err
	}
	named := *p
	named.What = flag + ": " + named.What
	return &named
}

// Staged is an output that is ready and not yet given out: Keep gives it out,
// Drop leaves things as they were. Where Undo is set it takes back what Keep
// gave out, and Done ends that.
type Staged struct {
	Keep func() error
	Drop func()
	Undo func() error
	Done func()
}

// WriteFile writes a file whole or not at all: under a temporary name beside
// it, synced, then renamed.
func WriteFile(path string, data []byte) error {
	s, err := StageFile(path, data)
	if err != nil {
		return err
	}
	if err := s.Keep(); err != nil {
		return err
	}
	s.done()
	return nil
}

// StageFile writes a file under a temporary name beside it and syncs it; Keep
// renames it and leaves the old one under another name until Done, so that Undo
// needs no room. Room and rights are used up before anything is seen of it.
func StageFile(path string, data []byte) (Staged, error) {
	return stageFile(path, func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	})
}

// stageFile is StageFile for what is written piece by piece.
func stageFile(path string, write func(io.Writer) error) (Staged, error) {
	fail := func(err error) error {
		why := err
		if pe := (*os.PathError)(nil); errors.As(err, &pe) {
			why = pe.Err // without the temporary name, which is ours
		}
		return diag.Failf(err, "check that the folder is there and may be written, and that there is room", "the file %q cannot be written: %v", path, why)
	}
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return Staged{}, fail(errors.New("it is a folder"))
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".leafturn-*")
	if err != nil {
		return Staged{}, fail(err)
	}
	drop := func() { os.Remove(f.Name()) }
	if err = write(f); err == nil {
		err = f.Chmod(0o644)
	}
	if err == nil {
		err = f.Sync()
	}
	if err2 := f.Close(); err == nil {
		err = err2
	}
	if err != nil {
		drop()
		return Staged{}, fail(err)
	}
	old := f.Name() + "-old"
	had := false
	keep := func() error {
		had = os.Link(path, old) == nil
		if !had {
			had = copyFile(path, old) == nil // a disk without links
		}
		if err := os.Rename(f.Name(), path); err != nil {
			os.Remove(old)
			drop()
			return fail(err)
		}
		return nil
	}
	undo := func() error {
		if had {
			return os.Rename(old, path)
		}
		return os.Remove(path)
	}
	return Staged{Keep: keep, Drop: drop, Undo: undo, Done: func() { os.Remove(old) }}, nil
}

func copyFile(from, to string) error {
	data, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	return os.WriteFile(to, data, 0o644)
}
