// Package cli is the command line: it turns flags and words into options,
// calls one use case of package app, and renders the result. It decides
// nothing and computes nothing.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/mattn/go-isatty"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/units"
)

// Streams are where a command reads and writes.
type Streams struct {
	In       io.Reader
	Out, Err io.Writer
	Color    bool // Out is a terminal and NO_COLOR is not set
	Width    int  // columns of Out; 0 when unknown
	ErrWidth int  // columns of Err; 0 when it is no terminal
	Now      func() time.Time
	Getenv   func(string) string
	Cache    string // folder for what can be made again; "" for none

	// Start runs the program with arguments and does not wait for it; nil where
	// nothing may go on when a command has ended.
	Start func(args ...string) error
}

// Std returns the process's own streams, clock and environment.
func Std() Streams {
	tty := isatty.IsTerminal(os.Stdout.Fd())
	cache, err := os.UserCacheDir()
	if err == nil {
		cache = filepath.Join(cache, "leafturn")
	}
	errWidth := 0
	if isatty.IsTerminal(os.Stderr.Fd()) {
		errWidth = lineWidth
		if w := terminalWidth(tty); w > 0 {
			errWidth = min(w, lineWidth)
		}
	}
	return Streams{
		In: os.Stdin, Out: os.Stdout, Err: os.Stderr,
		Color:    tty && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb",
		Width:    terminalWidth(tty),
		ErrWidth: errWidth,
		Now:      time.Now,
		Getenv:   os.Getenv,
		Cache:    cache,
		Start:    startQuiet,
	}
}

// Main runs the program with args (args[0] is its name) and returns the exit
// code: 0 done, 1 failed, 2 used wrongly. Errors go to s.Err.
func Main(ctx context.Context, args []string, s Streams) int {
	err := run(ctx, args, s)
	if err == nil {
		return diag.CodeDone
	}
	if errors.Is(err, context.Canceled) {
		fmt.Fprintln(s.Err, "leafturn: stopped; nothing of the unfinished command was stored")
		return diag.CodeFailed
	}
	fmt.Fprintln(s.Err, fold("leafturn: "+strings.TrimPrefix(err.Error(), "leafturn: "), s.ErrWidth))
	return diag.Code(err)
}

func run(ctx context.Context, args []string, s Streams) error {
	app.Begin()
	d := &deps{Streams: s, typed: typed(args)}
	defer d.readyAfter() // the store is closed then
	defer d.close()
	a := newApp(d)
	if len(args) < 2 || slices.ContainsFunc(args, func(w string) bool { return slices.Contains([]string{"-v", "--version", "-h", "--help"}, w) }) {
		a.Version = version() // hashes the facts, which only these show
	}
	err := misnamed(a, args)
	if err == nil {
		err = a.RunContext(ctx, arrange(a, args))
	}
	if err != nil && d.app != nil {
		d.app.KeepLists("") // a command that is refused leaves nothing behind
	}
	if d.app != nil && d.app.ClockNote() != "" {
		d.warn([]string{d.app.ClockNote()})
	}
	return err
}

// deps is what commands share: the streams, and the store opened on first use.
type deps struct {
	Streams
	db      string // --db
	nowText string // hidden --now, for tests
	typed   string // the command line, for the journal
	anyZone bool   // the farm's time zone is about to be set
	app     *app.App
}

func (d *deps) close() {
	if d.app != nil {
		d.app.Close()
	}
}

// now returns the current instant, or the one that --now gives.
func (d *deps) now() (time.Time, error) {
	if d.nowText == "" {
		return d.Now(), nil
	}
	t, err := time.Parse(time.RFC3339, d.nowText)
	if err != nil {
		return time.Time{}, diag.Usagef("write it as 2026-07-20T09:00:00Z", "--now %q is not an instant", d.nowText)
	}
	return t, nil
}

// open returns the use cases on the farm's store.
func (d *deps) open(ctx context.Context) (*app.App, error) {
	if d.app != nil {
		return d.app, nil
	}
	now, err := d.now()
	if err != nil {
		return nil, err
	}
	path, err := d.path()
	if err != nil {
		return nil, err
	}
	open := func() (*app.App, error) { return app.Open(ctx, path, now) }
	if d.anyZone {
		open = func() (*app.App, error) { return app.OpenAnyZone(ctx, path, now) }
	}
	a, err := open()
	if err != nil {
		return nil, err
	}
	a.KeepLists(d.Cache)
	if note := a.Migrated(); note != "" {
		fmt.Fprintln(d.Err, "leafturn: "+note)
	}
	a.As(d.typed, d.actor())
	d.app = a
	return a, nil
}

// units are those of the farm, and metric where there is no farm yet.
func (d *deps) units(ctx context.Context) units.System {
	a, err := d.open(ctx)
	if err != nil {
		return units.Metric
	}
	return a.Units()
}

// actor is who types, for the journal: LEAFTURN_WHO, else the user's name on
// this computer.
func (d *deps) actor() string {
	for _, name := range []string{"LEAFTURN_WHO", "USER", "USERNAME"} {
		if v := strings.TrimSpace(d.Getenv(name)); v != "" {
			return v
		}
	}
	return ""
}

// path returns the store's file: --db, else LEAFTURN_DB, else the user's data
// folder.
func (d *deps) path() (string, error) {
	if d.db != "" {
		return d.db, nil
	}
	if p := d.Getenv("LEAFTURN_DB"); p != "" {
		return p, nil
	}
	return app.DefaultPath()
}

// dateFlag reads --date on the farm's calendar; empty is the farm's today.
func dateFlag(text string, today civil.Date) (civil.Date, error) {
	return app.ParseDay(text, today)
}

// isTerminal reports whether w is a terminal.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && isatty.IsTerminal(f.Fd())
}
