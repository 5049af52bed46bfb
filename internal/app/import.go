package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/report"
	"leafturn/internal/sheet"
	"leafturn/internal/store"
)

// ImportOptions are the flags of `import`.
type ImportOptions struct {
	Check      bool // show what would happen, store nothing
	AcceptGood bool // store the good rows, write the others to Rest
	Rest       string
	Map        string // file
	SaveMap    string // file
	Dates      string // dmy, mdy or ymd
	Sheet      string
	Blank      string // none, lost or zero
	Bed        string
	Pest       string
	Unit       string
	Date       civil.Date
	Observer   string
	In         io.Reader                            // standard input, for the file "-"
	Progress   func(file string, done, total int64) // told while a file is read; may be nil
	Readies    bool                                 // after ManyStored the caller makes the list ready
}

// importing is one run of `import`.
type importing struct {
	a       *App
	o       ImportOptions
	m       sheet.Map
	sources []*sheet.Source
	gather  map[*sheet.Source]bool

	earliest civil.Date
}

// imported is what one file came to.
type imported struct {
	src     *sheet.Source
	res     *sheet.Result
	new     int
	units   int
	already int     // identical visits that were stored before
	more    int     // of them, those to which the sheet adds a note or a condition
	twice   int     // identical visits that stand in a file before it
	taken   []int64 // records with the same counts that were voided or amended: not stored again
	first   int64
	last    int64
	rest    int
}

// Import stores the counts of CSV and XLSX files, all of them or none, or
// shows with Check what it would do. The document is nil where nothing is to
// be shown; with Check there may be both a document and an error.
func (a *App) Import(ctx context.Context, files []string, o ImportOptions) (*report.Document, error) {
	x := &importing{a: a, o: o, gather: map[*sheet.Source]bool{}}
	if err := x.flags(ctx, files); err != nil {
		return nil, err
	}
	defer func() {
		for _, s := range x.sources {
			s.Close()
		}
	}()
	var list diag.List
	for _, f := range files {
		s, err := sheet.Open(f, o.In)
		var p *diag.Problem
		switch {
		case errors.As(err, &p):
			list.Add(p)
			continue
		case err != nil:
			return nil, err
		}
		x.sources = append(x.sources, s)
		if o.Progress != nil {
			s.Progress = func(done, total int64) { o.Progress(s.Name, done, total) }
		}
	}
	if err := list.Err(); err != nil {
		return nil, kept(err, "nothing was stored")
	}
	// A short command lets its garbage lie; a long sheet makes too much of it.
	defer debug.SetGCPercent(debug.SetGCPercent(100))
	switch {
	case o.Check:
		return x.check(ctx)
	case o.AcceptGood:
		return x.acceptGood(ctx)
	}
	return x.allOrNone(ctx)
}

// flags reads the map file and puts the flags over it.
func (x *importing) flags(ctx context.Context, files []string) error {
	o := x.o
	switch {
	case o.AcceptGood && len(files) > 1:
		return diag.Usagef("import them one by one", "--accept-good takes one file: each has a rest file of its own")
	case o.Rest != "" && !o.AcceptGood:
		return diag.Usagef("add --accept-good to store the good rows and write the others to a file", "--rest without --accept-good")
	case o.SaveMap != "" && len(files) > 1:
		return diag.Usagef("name one file", "--save-map takes one file")
	case o.Check && o.AcceptGood:
		return diag.Usagef("check first, then import", "--check stores nothing, --accept-good does")
	}
	if !o.Date.IsZero() {
		if err := x.a.happened(ctx, "--date", o.Date); err != nil {
			return err
		}
	}
	var err error
	if x.earliest, err = x.a.earliest(ctx); err != nil {
		return err
	}
	if _, err := os.Lstat(o.SaveMap); o.SaveMap != "" && err == nil {
		return diag.Usagef("give another name with --save-map, or move the file away", "the map %q is there already and is not written over", o.SaveMap)
	}
	if i := slices.Index(files, "-"); i >= 0 && slices.Contains(files[i+1:], "-") {
		return diag.Usagef("name it once", "standard input stands twice")
	}
	if o.Map != "" {
		info, err := os.Stat(o.Map)
		if err == nil && !info.Mode().IsRegular() {
			return diag.Usagef("name a file that --save-map wrote", "%q is not a file", o.Map)
		}
		if err == nil && info.Size() > 1<<20 {
			return diag.Usagef("name a file that --save-map wrote", "%q is too large for a map", o.Map)
		}
		raw, err := os.ReadFile(o.Map)
		if err != nil {
			return diag.Usagef("check the name and the folder", "the map %q cannot be read: %v", o.Map, errors.Unwrap(err))
		}
		if x.m, err = sheet.ParseMap(raw, o.Map); err != nil {
			return kept(err, "nothing was stored")
		}
	}
	order, ok := sheet.ParseOrder(o.Dates)
	if !ok {
		return diag.Usagef("write dmy, mdy or ymd", "--dates %q is no order of day, month and year", o.Dates)
	}
	if blank := strings.ToLower(o.Blank); !slices.Contains([]string{"", "none", "lost", "zero"}, blank) {
		return diag.Usagef("write none (no unit there), lost (not looked at) or zero (looked at, none found)", "--blank %q does not say what a blank count means", o.Blank)
	} else if blank != "" {
		x.m.Blank = blank
	}
	if order != "" {
		x.m.Dates = order
	}
	for at, v := range map[*string]string{&x.m.Sheet: o.Sheet, &x.m.Bed: o.Bed, &x.m.Pest: o.Pest, &x.m.Unit: o.Unit, &x.m.Observer: strings.TrimSpace(o.Observer)} {
		if v != "" {
			*at = v
		}
	}
	if !o.Date.IsZero() {
		x.m.Date = o.Date
	}
	m, err := x.m.Resolve(x.a.names)
	var p *diag.Problem
	if errors.As(err, &p) && o.Map != "" && o.Bed+o.Pest+o.Unit == "" {
		p.File = o.Map
	}
	if err != nil {
		return kept(asUsage(err), "nothing was stored")
	}
	x.m = m
	return nil
}

func (x *importing) options(ctx context.Context, s *sheet.Source) sheet.Options {
	return sheet.Options{Today: x.a.Today(), Earliest: x.earliest, Zone: x.a.loc, Names: x.a.names, Map: x.m, Gather: x.gather[s], Rest: x.o.AcceptGood, Stop: ctx.Err}
}

// scattered names the file that is to be read again with its visits gathered.
type scattered struct{ src *sheet.Source }

func (scattered) Error() string { return sheet.ErrScattered.Error() }

// again runs f until no file is left that has to be read in another way.
func (x *importing) again(f func() error) error {
	for {
		err := f()
		var s scattered
		if !errors.As(err, &s) {
			return err
		}
		x.gather[s.src] = true
		debug.SetGCPercent(25) // many visits are open at a time
	}
}

// look reads one file and looks its visits up in the store and in the files
// before it, of which seen tells; nil where there is one file.
func (x *importing) look(ctx context.Context, tx *store.Tx, s *sheet.Source, seen seenVisits) (*imported, error) {
	got := &imported{src: s}
	taken, err := takenOut(tx)
	if err != nil {
		return nil, err
	}
	res, err := sheet.Read(s, x.options(ctx, s), func(v sheet.Visit) error {
		if got.wasTaken(taken, v.Visit) {
			return nil
		}
		old, found, err := tx.LiveVisit(v.Visit)
		switch {
		case err != nil:
			return err
		case !found && seen[placeOf(v.Visit)].file == "":
			got.new++
			got.units += v.UnitsLooked()
			if seen != nil {
				seen[placeOf(v.Visit)] = seenVisit{v.Visit, s.Name}
			}
			return nil
		}
		file := ""
		if !found {
			at := seen[placeOf(v.Visit)]
			old, file = at.visit, at.file
		}
		if no := got.meets(old, v.Visit, file); no != nil {
			return no
		}
		return nil
	})
	if errors.Is(err, sheet.ErrScattered) {
		return nil, scattered{s}
	}
	if err != nil {
		return nil, err
	}
	got.res = res
	return got, nil
}

var errEnough = errors.New("no more visits are wanted")

// store reads one file and stores its visits. The file is read on a goroutine
// of its own, so a visit that is refused is told after the reading. all are the
// files before it.
func (x *importing) store(ctx context.Context, tx *store.Tx, s *sheet.Source, hold *sheet.Result, all []*imported) (*imported, error) {
	got := &imported{src: s}
	o := x.options(ctx, s)
	o.Hold = hold
	var res *sheet.Result
	var refused sheet.Refusals
	old, left := 0, 0 // units of visits that are not new, and of those that were taken out
	taken, err := takenOut(tx)
	if err != nil {
		return nil, err
	}
	done, err := tx.AddVisits(func(yield func(farm.Visit, error) bool) {
		var err error
		res, err = sheet.Read(s, o, func(v sheet.Visit) error {
			if got.wasTaken(taken, v.Visit) {
				left += v.UnitsLooked()
				return nil
			}
			v.ID = int64(v.Row) // for Duplicate
			if !yield(v.Visit, nil) {
				return errEnough
			}
			return nil
		})
		if err != nil && !errors.Is(err, errEnough) {
			yield(farm.Visit{}, err)
		}
	}, x.a.now, store.Load{Duplicate: func(v farm.Visit, id int64) error {
		there, err := tx.Visit(id)
		if err != nil {
			return err
		}
		old += v.UnitsLooked()
		if no := got.meets(there, v, fileOf(id, all)); no != nil {
			refused.Add(int(v.ID), v.UnitsLooked(), no)
		}
		return nil
	}})
	if errors.Is(err, sheet.ErrScattered) {
		return nil, scattered{s}
	}
	if err != nil {
		return nil, err
	}
	got.new, got.units, got.first, got.last = done.Visits, res.Units-old-left, done.First, done.Last
	if hold != nil && refused.Any() {
		return nil, errors.New("import: a visit that was looked up in the same transaction is refused")
	}
	res.Refuse(&refused)
	got.res = res
	return got, nil
}

// check shows what an import would do.
func (x *importing) check(ctx context.Context) (*report.Document, error) {
	var all []*imported
	err := x.again(func() error {
		all = nil
		var seen seenVisits
		if len(x.sources) > 1 {
			seen = seenVisits{}
		}
		return x.a.st.View(ctx, func(tx *store.Tx) error {
			for _, s := range x.sources {
				got, err := x.look(ctx, tx, s, seen)
				if err != nil {
					return err
				}
				all = append(all, got)
			}
			return nil
		})
	})
	if err != nil {
		return nil, kept(err, "nothing was stored")
	}
	if err := x.saveMap(all); err != nil {
		return nil, err
	}
	doc := x.report(all)
	if n := countProblems(all); n > 0 {
		do := "correct the sheet, or store the good rows with --accept-good and correct the others in the rest file"
		if slices.ContainsFunc(all, func(f *imported) bool { return headingsWrong(f.res) }) {
			do = "correct the headings; or write down how they are read with --save-map, correct that, and read by it with --map"
		}
		return doc, &diag.Problem{What: fmt.Sprintf("%s found; as it stands nothing would be stored", unitsOf(n, "problem")), Do: do}
	}
	return doc, nil
}

func countProblems(all []*imported) int {
	n := 0
	for _, f := range all {
		n += len(f.res.Problems)
	}
	return n
}

// allOrNone stores the files whole.
func (x *importing) allOrNone(ctx context.Context) (*report.Document, error) {
	var all []*imported
	var refused error
	err := x.again(func() error {
		all = nil
		return x.a.st.Bulk(ctx, func(tx *store.Tx) error {
			for _, s := range x.sources {
				got, err := x.store(ctx, tx, s, nil, all)
				if err != nil {
					return err
				}
				all = append(all, got)
			}
			if countProblems(all) > 0 {
				refused = x.refused(all)
			}
			return refused
		})
	})
	if err != nil && refused == nil {
		return nil, kept(err, "nothing was stored")
	}
	if err := x.saveMap(all); err != nil {
		return nil, err
	}
	if refused != nil {
		return nil, refused
	}
	return x.stored(all...), nil
}

// refused lists all problems of an import that stored nothing.
func (x *importing) refused(all []*imported) error {
	var list diag.List
	good := 0
	for _, f := range all {
		for _, p := range f.res.Problems {
			list.Add(p.Diag())
		}
		good += f.res.Visits
	}
	list.Kept = "nothing was stored"
	if good > 0 {
		list.Kept += fmt.Sprintf("; %s read well: --accept-good stores what is good and writes the rest to a file to correct", unitsOf(good, "visit"))
	}
	if slices.ContainsFunc(all, func(f *imported) bool { return len(f.res.Columns) > 0 }) {
		list.Kept += "\n  see how each column is read: add --check"
	}
	return list.Err()
}

// acceptGood stores what is good and writes the rest.
func (x *importing) acceptGood(ctx context.Context) (*report.Document, error) {
	s := x.sources[0]
	rest, err := x.restFile(s)
	if err != nil {
		return nil, err
	}
	var first, got *imported
	var undo, done func()
	err = x.again(func() error {
		return x.a.st.Bulk(ctx, func(tx *store.Tx) (err error) {
			if first, err = x.look(ctx, tx, s, nil); err != nil {
				return err
			}
			if first.res.Faults.Unreadable || len(first.res.Columns) == 0 || headingsWrong(first.res) {
				return x.refused([]*imported{first})
			}
			got, err = x.store(ctx, tx, s, first.res, nil)
			if err != nil || len(got.res.Rest) == 0 {
				return err
			}
			staged, err := stageFile(rest, func(w io.Writer) error {
				got.rest, err = sheet.WriteRest(w, s, x.m, got.res)
				return err
			})
			if err != nil {
				return err
			}
			if err := staged.Keep(); err != nil {
				return err
			}
			undo, done = func() { _ = staged.Undo() }, staged.done
			return nil
		})
	})
	if err != nil {
		if undo != nil {
			undo()
		}
		words := "nothing was stored"
		if first != nil && first.res.Faults.Unreadable {
			words += ": a row that cannot be cut into cells may belong to any visit, so correct it first"
		}
		return nil, kept(err, words)
	}
	if done != nil {
		done()
	}
	got.res.Problems = first.res.Problems
	if err := x.saveMap([]*imported{got}); err != nil {
		return nil, err
	}
	x.o.Rest = rest
	return x.stored(got), nil
}

// headingsWrong reports whether the rows below the headings were not read.
func headingsWrong(res *sheet.Result) bool {
	return slices.ContainsFunc(res.Problems, func(p *sheet.Problem) bool { return p.Row == res.HeadRow })
}

// restFile is where the rest goes. A file that is there may be half corrected:
// it is not written over.
func (x *importing) restFile(s *sheet.Source) (string, error) {
	rest := x.o.Rest
	if rest == "" {
		base := filepath.Base(s.Name)
		if s.Name == "standard input" {
			base = "import.csv"
		}
		rest = filepath.Join(filepath.Dir(s.Name), strings.TrimSuffix(base, filepath.Ext(base))+"-rest.csv")
		if s.Name == "standard input" {
			rest = "import-rest.csv"
		}
	}
	if _, err := os.Lstat(rest); err == nil {
		return "", diag.Usagef("give another name with --rest, or move the file away", "the rest file %q is there already and is not written over", rest)
	}
	return rest, nil
}

// saveMap writes how the sheet was read to the file of --save-map.
func (x *importing) saveMap(all []*imported) error {
	if x.o.SaveMap == "" || len(all) == 0 {
		return nil
	}
	if len(all[0].res.Columns) == 0 {
		return nil
	}
	return WriteFile(x.o.SaveMap, sheet.FormatMap(&all[0].res.Layout, x.m))
}
