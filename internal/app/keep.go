package app

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/report"
)

// keep is a folder of what was made, so that a program that has just started
// need not make again what nothing has changed for: whole lists, and the parts
// that they are made from. A list is known by the file of the store as the
// system tells it, by the day and by the program; a part by a hash of all that
// it was made from. So an old one is never shown; the folder can be thrown away
// at any time, and where it cannot be read or written all is made as if there
// were none.
type keep struct {
	dir   string
	store string // a hash of the store's path, in front of the files' names
	later []func()
}

// mostKept is how many lists of a store are kept.
const mostKept = 8

// KeepLists keeps the week's lists that are made in a folder; "" is to keep
// none, also of those made before. They are written when the App is closed,
// after the list was shown.
func (a *App) KeepLists(dir string) {
	a.keep = nil
	path, err := filepath.Abs(a.st.Path())
	if err != nil || dir == "" {
		return
	}
	sum := sha256.Sum256([]byte(path))
	a.keep = &keep{dir: dir, store: hex.EncodeToString(sum[:8])}
}

// keptWeek is what is kept of a week's list. What depends on the instant, or on
// what calendars were told, is added each time anew.
type keptWeek struct {
	Key    string          // its own, so that a file under the name of another is not taken
	Doc    report.Document // without Data, Made and Events
	Events []report.Event
	Data   WeekData
}

// weekMade is the week's list of a day as a document, with its events: one that
// is kept, or a new one.
func (a *App) weekMade(ctx context.Context, on civil.Date) (*report.Document, []report.Event, error) {
	if a.keep == nil {
		l, err := a.list(ctx, on)
		if err != nil {
			return nil, nil, err
		}
		return a.weekDocument(l, a.weekWarnings(l)), a.weekEvents(l), nil
	}
	key := a.listKey(on)
	if w, ok := a.keep.get(key); ok {
		doc := w.Doc
		doc.Made, doc.Data = a.now.In(a.loc), w.Data
		return &doc, w.Events, nil
	}
	p := a.newParts(ctx, on)
	l, err := a.listBy(ctx, on, p)
	if err != nil {
		return nil, nil, err
	}
	doc := a.weekDocument(l, a.weekWarnings(l))
	events := a.weekEvents(l)
	if data, is := doc.Data.(WeekData); is {
		w := keptWeek{key, *doc, slices.Clone(events), data}
		w.Doc.Made, w.Doc.Data = time.Time{}, nil
		w.Doc.Sections = slices.Clone(doc.Sections)
		a.keep.later = append(a.keep.later, func() {
			// What another process has stored meanwhile may be in the list, or not.
			if key == "" || a.listKey(on) != key {
				return
			}
			var parts sync.WaitGroup
			parts.Go(func() {
				if p.fresh() {
					a.keep.write(a.keep.parts(), p.bytes(), nil)
				}
				if len(p.beliefs.made) >= manyBeliefs {
					a.keep.write(a.keep.beliefs(), p.beliefs.bytes(), nil)
				}
				if p.counts.fresh() {
					a.keep.write(a.keep.counts(), p.counts.bytes(), nil)
				}
				if b := p.rows.fresh; b != nil {
					a.keep.write(a.keep.rows(), b, a.opened.settledBy)
				}
			})
			b, ok := w.bytes()
			parts.Wait()
			if ok { // last: where the list is, all is
				a.keep.write(a.keep.file(key), b, a.opened.settledBy)
				a.keep.makeRoom()
			}
		})
	}
	return doc, events, nil
}

// bigStore is from which size on a first list takes much memory.
const bigStore = 4 << 20

// newParts is the parts that are kept.
func (a *App) newParts(ctx context.Context, on civil.Date) *parts {
	program := a.program()
	p := &parts{ctx: ctx, a: a, on: on, partFile: newPartFile(program, a.keep.parts()), seasons: map[farm.Season]*bareSeason{},
		beliefs: &savedBeliefs{newPartFile(program, a.keep.beliefs())}, counts: &savedCounts{newPartFile(program, a.keep.counts())},
		rows: &savedRows{a: a, program: program, load: sync.OnceValue(func() []byte {
			b, _ := readKept(a.keep.rows())
			return b
		})}}
	a.memory.beliefs.Saved = p.beliefs
	go p.rows.load()
	go func() { // while the store is read
		if info, err := os.Stat(a.st.File()); err == nil && info.Size() >= bigStore {
			largePages(96 << 20)
		}
		p.load()
		p.counts.load()
		p.beliefs.load()
	}()
	return p
}

// program names the program that runs, "" where the system does not tell.
func (a *App) program() string {
	exe, err := os.Executable()
	if err != nil {
		return ""
	}
	info, err := os.Stat(exe)
	if err != nil {
		return ""
	}
	return fmt.Sprint(exe, " ", info.Size(), " ", info.ModTime().UnixNano(), " ", a.cat.Version)
}

// listKey names the list of a day, "" where it cannot be kept: where the system
// does not tell enough, or the store was written to since it was opened.
func (a *App) listKey(on civil.Date) string {
	program := a.program()
	now, err := seeStore(a.st.File())
	if err != nil || program == "" || now != a.opened {
		return ""
	}
	h := sha256.New()
	fmt.Fprintln(h, program, on, a.Today(), a.loc, a.opened)
	return hex.EncodeToString(h.Sum(nil))
}

// seen is what the system tells of the store's file and of its log: when they
// were last written to, which nobody can set back, and which files they are. A
// store of which it tells the same holds the same.
type seen struct {
	file, log string
	last      time.Time // the later of the two
}

func seeStore(path string) (s seen, err error) {
	if s.file, s.last, err = seeFile(path); err != nil {
		return seen{}, err
	}
	if info, err := os.Stat(path + "-wal"); err == nil && info.Size() > 0 {
		var last time.Time
		if s.log, last, err = seeFile(path + "-wal"); err != nil {
			return seen{}, err
		}
		if last.After(s.last) {
			s.last = last
		}
	}
	return s, nil
}

func seeFile(path string) (string, time.Time, error) {
	info, err := os.Stat(path)
	if err != nil {
		return "", time.Time{}, err
	}
	last := info.ModTime()
	out := fmt.Sprint(info.Size(), " ", last.UnixNano())
	if sys := reflect.Indirect(reflect.ValueOf(info.Sys())); sys.Kind() == reflect.Struct {
		for _, name := range []string{"Dev", "Ino", "Ctim", "Ctimespec"} { // as far as the system has them
			f := sys.FieldByName(name)
			if !f.IsValid() {
				continue
			}
			out += fmt.Sprint(" ", f.Interface())
			own := reflect.New(f.Type())
			own.Elem().Set(f)
			if t, ok := own.Interface().(interface{ Unix() (int64, int64) }); ok {
				if changed := time.Unix(t.Unix()); changed.After(last) {
					last = changed
				}
			}
		}
	}
	return out, last, nil
}

// settledBy reports whether the store was last written to so long before an
// instant that the clock of the files has moved on: a write from now on is seen.
// Some file systems count two seconds at a time.
func (s seen) settledBy(at time.Time) bool {
	wait := 20 * time.Millisecond
	if s.last.Nanosecond() == 0 {
		wait = 3 * time.Second
	}
	return at.Sub(s.last) >= wait
}

func (k *keep) file(key string) string { return filepath.Join(k.dir, k.store+"-"+key) }

func (k *keep) parts() string { return filepath.Join(k.dir, k.store+".parts") }

func (k *keep) beliefs() string { return filepath.Join(k.dir, k.store+".beliefs") }

func (k *keep) counts() string { return filepath.Join(k.dir, k.store+".counts") }

func (k *keep) rows() string { return filepath.Join(k.dir, k.store+".rows") }

// mostBytes is above the size of any file that write writes.
const mostBytes = 256 << 20

// readKept reads a file that write wrote. What is no ordinary file may not end,
// or may never begin.
func readKept(file string) ([]byte, bool) {
	if info, err := os.Stat(file); err != nil || !info.Mode().IsRegular() || info.Size() > mostBytes {
		return nil, false
	}
	b, err := os.ReadFile(file)
	if err != nil || len(b) < sha256.Size {
		return nil, false
	}
	sum, b := b[:sha256.Size], b[sha256.Size:]
	if have := sha256.Sum256(b); !bytes.Equal(sum, have[:]) {
		return nil, false
	}
	return b, true
}

// get returns what is kept under a key.
func (k *keep) get(key string) (keptWeek, bool) {
	if key == "" {
		return keptWeek{}, false
	}
	b, ok := readKept(k.file(key))
	if !ok {
		return keptWeek{}, false
	}
	var w keptWeek
	err := report.Kept(b, &w)
	return w, err == nil && w.Key == key
}

// bytes are the list as it is kept, if they read back as the very same.
func (w keptWeek) bytes() ([]byte, bool) {
	b, err := report.Keep(w)
	if err != nil {
		return nil, false
	}
	var again keptWeek
	err = report.Kept(b, &again)
	return b, err == nil && reflect.DeepEqual(w, again)
}

// halfWritten begins the name of a file that is not whole yet.
const halfWritten = ".new-"

// write writes a file whole or not at all; nothing is said where it cannot be.
// when, which may be nil, is asked whether it may be written at an instant.
func (k *keep) write(file string, b []byte, when func(time.Time) bool) {
	if os.MkdirAll(k.dir, 0o700) != nil {
		return
	}
	f, err := os.CreateTemp(k.dir, halfWritten+"*") // for nobody else to read
	if err != nil {
		return
	}
	sum := sha256.Sum256(b)
	_, err = f.Write(sum[:])
	if err == nil {
		_, err = f.Write(b)
	}
	late := true
	if info, err := f.Stat(); when != nil {
		late = err == nil && when(info.ModTime())
	}
	if err2 := f.Close(); err != nil || err2 != nil || !late || os.Rename(f.Name(), file) != nil {
		os.Remove(f.Name())
	}
}

// makeRoom removes the oldest of too many lists.
func (k *keep) makeRoom() {
	all, err := os.ReadDir(k.dir)
	if err != nil {
		return
	}
	type old struct {
		name string
		at   time.Time
	}
	var mine, half []old // lists, and what a program that was stopped left half written
	for _, e := range all {
		info, err := e.Info()
		switch {
		case err != nil:
		case strings.HasPrefix(e.Name(), k.store+"-"):
			mine = append(mine, old{e.Name(), info.ModTime()})
		case strings.HasPrefix(e.Name(), halfWritten):
			half = append(half, old{e.Name(), info.ModTime()})
		}
	}
	slices.SortFunc(mine, func(x, y old) int { return y.at.Compare(x.at) })
	for _, e := range half {
		if len(mine) > 0 && mine[0].at.Sub(e.at) > time.Hour {
			os.Remove(filepath.Join(k.dir, e.name))
		}
	}
	for _, e := range mine[min(mostKept, len(mine)):] {
		os.Remove(filepath.Join(k.dir, e.name))
	}
}
