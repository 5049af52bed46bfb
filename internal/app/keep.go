package app

import (
	"bytes"
	"compress/flate"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/report"
	"leafturn/internal/store"
)

// keep is a folder of lists that were made, so that a program that has just
// started need not make one again that nothing has changed for. Each is known
// by a hash of all that it was made from: what the store holds, the day, the
// facts and the program itself. So an old one is never shown; the folder can be
// thrown away at any time, and where it cannot be read or written the list is
// made as if there were none.
type keep struct {
	dir   string
	store string // a hash of the store's path, in front of the file's name
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
	Doc    report.Document // without Data, Made and Events
	Events []report.Event
	Data   WeekData
}

// weekMade is the week's list of a day as a document, with its events: one that
// is kept, or a new one.
func (a *App) weekMade(ctx context.Context, on civil.Date) (*report.Document, []report.Event, error) {
	key, ok := a.listKey(ctx, on)
	if ok {
		if w, ok := a.keep.get(key); ok {
			doc := w.Doc
			doc.Made, doc.Data = a.now.In(a.loc), w.Data
			return &doc, w.Events, nil
		}
	}
	l, err := a.list(ctx, on)
	if err != nil {
		return nil, nil, err
	}
	doc := a.weekDocument(l, a.weekWarnings(l))
	events := a.weekEvents(l)
	if data, is := doc.Data.(WeekData); ok && is {
		w := keptWeek{*doc, slices.Clone(events), data}
		w.Doc.Made, w.Doc.Data = time.Time{}, nil
		w.Doc.Sections = slices.Clone(doc.Sections)
		a.keep.later = append(a.keep.later, func() {
			// What another process has stored meanwhile may be in the list, or not.
			if again, ok := a.listKey(ctx, on); ok && again == key {
				a.keep.put(key, w)
			}
		})
	}
	return doc, events, nil
}

// listKey is the hash of what the list of a day is made from. Without a folder,
// or where something of it cannot be read, there is none.
func (a *App) listKey(ctx context.Context, on civil.Date) (string, bool) {
	if a.keep == nil {
		return "", false
	}
	exe, err := os.Executable()
	if err != nil {
		return "", false
	}
	info, err := os.Stat(exe)
	if err != nil {
		return "", false
	}
	h := sha256.New()
	fmt.Fprintln(h, exe, info.Size(), info.ModTime().UnixNano(), a.cat.Version, on, a.Today(), a.loc)
	if err := json.NewEncoder(h).Encode(a.farm); err != nil { // as it was read when the program began
		return "", false
	}
	// The list of the week before is in it.
	from := civil.New(on.AddDays(-7).Year, time.January, 1)
	if err := a.st.View(ctx, func(tx *store.Tx) error { return tx.Digest(h, from) }); err != nil {
		return "", false
	}
	return hex.EncodeToString(h.Sum(nil)), true
}

func (k *keep) file(key string) string { return filepath.Join(k.dir, k.store+"-"+key) }

// get returns what is kept under a key.
func (k *keep) get(key string) (keptWeek, bool) {
	b, err := os.ReadFile(k.file(key))
	if err != nil || len(b) < sha256.Size {
		return keptWeek{}, false
	}
	sum, b := b[:sha256.Size], b[sha256.Size:]
	if have := sha256.Sum256(b); !bytes.Equal(sum, have[:]) {
		return keptWeek{}, false
	}
	w, err := unpack(b)
	return w, err == nil
}

func pack(w keptWeek) ([]byte, error) {
	plain, err := report.Keep(w)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	z, err := flate.NewWriter(&out, flate.BestSpeed)
	if err != nil {
		return nil, err
	}
	if _, err := z.Write(plain); err != nil {
		return nil, err
	}
	err = z.Close()
	return out.Bytes(), err
}

func unpack(b []byte) (keptWeek, error) {
	var w keptWeek
	plain, err := io.ReadAll(flate.NewReader(bytes.NewReader(b)))
	if err == nil {
		err = report.Kept(plain, &w)
	}
	return w, err
}

// put writes what is to be kept under a key, whole or not at all, if it reads
// back as the very same; nothing is said where it does not. The oldest of too
// many go.
func (k *keep) put(key string, w keptWeek) {
	b, err := pack(w)
	if err != nil {
		return
	}
	if again, err := unpack(b); err != nil || !reflect.DeepEqual(w, again) {
		return
	}
	if os.MkdirAll(k.dir, 0o700) != nil {
		return
	}
	f, err := os.CreateTemp(k.dir, ".new-*") // for nobody else to read
	if err != nil {
		return
	}
	sum := sha256.Sum256(b)
	_, err = f.Write(append(sum[:], b...))
	if err2 := f.Close(); err != nil || err2 != nil || os.Rename(f.Name(), k.file(key)) != nil {
		os.Remove(f.Name())
		return
	}
	k.makeRoom()
}

func (k *keep) makeRoom() {
	all, err := os.ReadDir(k.dir)
	if err != nil {
		return
	}
	type old struct {
		name string
		at   time.Time
	}
	var mine []old
	for _, e := range all {
		if info, err := e.Info(); err == nil && strings.HasPrefix(e.Name(), k.store+"-") {
			mine = append(mine, old{e.Name(), info.ModTime()})
		}
	}
	slices.SortFunc(mine, func(x, y old) int { return y.at.Compare(x.at) })
	for _, e := range mine[min(mostKept, len(mine)):] {
		os.Remove(filepath.Join(k.dir, e.name))
	}
}
