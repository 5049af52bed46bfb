package sheet

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
)

// Options are what a sheet does not say itself.
type Options struct {
	Today    civil.Date     // a later date is refused
	Earliest civil.Date     // so is an earlier one than this
	Zone     *time.Location // of the farm, for times with a zone; nil is UTC
	Names    ingest.Names
	Map      Map
	// Gather lets the rows of a visit stand anywhere: the sheet is read once more
	// before, to know where each visit ends, and no visit is held longer; with
	// Rest all are held until the end. Without Gather, rows of one visit that
	// stand apart end the reading with ErrScattered.
	Gather bool
	// Rest gathers the faults and the rows that are to be corrected.
	Rest bool
	// Hold is what an earlier reading with Rest found: the visits that its faults touch
	// are not given out but kept for the rest.
	Hold *Result
	Stop func() error // asked now and then; an error ends the reading
}

// mostSpare is how many visits that were given out are kept to be filled again:
// more than end in one row of most sheets.
const mostSpare = 64

// ErrScattered says that the rows of a visit stand apart: read again with
// Gather.
var ErrScattered = errors.New("the rows of a visit stand apart")

// Visit is a visit and where it was read.
type Visit struct {
	farm.Visit
	Row, Col int // its first cell
}

// Read reads a sheet and gives its visits to sink. The result is there unless
// the file cannot be read; the error is a *diag.Problem, ErrScattered, or what
// sink or Stop returned.
func Read(s *Source, o Options, sink func(Visit) error) (*Result, error) {
	var ends map[uint64]end
	if o.Gather && !o.Rest && o.Hold == nil {
		ends = map[uint64]end{}
		if _, err := read(s, o, nil, ends, true); err != nil {
			return nil, err
		}
	}
	return read(s, o, sink, ends, false)
}

func read(s *Source, o Options, sink func(Visit) error, ends map[uint64]end, finding bool) (*Result, error) {
	src, format, err := s.open(o.Map)
	if err != nil {
		return nil, err
	}
	defer src.close()
	r := &reader{
		ends: ends, finding: finding,
		Options: o, sink: sink, g: newGuesser(o.Names, o.Map), open: map[key]*build{}, shut: map[uint64]bool{},
		problems: problems{file: s.Name},
		res:      &Result{Rest: map[int]*RestRow{}, Faults: &Faults{bad: map[key]bool{}, loose: map[part]int{}}, Usual: map[string]string{}},
	}
	r.res.Format, r.res.problems = format, &r.problems
	err = r.all(src)
	r.res.Problems = r.list()
	if r.shows.order != "" {
		for _, p := range r.res.Problems {
			if strings.HasPrefix(p.Do, whichOrder) {
				p.Do += fmt.Sprintf("; row %d, %s, can only have %s", r.shows.row, quote(r.shows.text), r.shows.order.Words())
			}
		}
	}
	if err != nil {
		return nil, err
	}
	return r.res, nil
}

func (s *Source) open(m Map) (rows, Format, error) {
	if s.XLSX {
		b, f, err := s.openBook(m.Sheet)
		if err != nil {
			return nil, f, err
		}
		return b, f, nil
	}
	f, enc := s.textFormat()
	t, err := s.openText(f, enc)
	if err != nil {
		return nil, f, err
	}
	return t, f, nil
}

type reader struct {
	Options
	problems
	g     *guesser
	sink  func(Visit) error
	res   *Result
	open  map[key]*build
	shut  map[uint64]bool // keys that were given out
	words wordCache
	last  *build
	now   int // the row that is read
	shows struct {
		order Order
		row   int
		text  string
	} // the first date that can be read in one order only
	said      []*Column            // columns of what rows say besides counts
	watches   []*Column            // columns that are not read but tell rows apart
	watchSaid map[[2]string]string // what they said, by heading and bed

	swap       swapped
	title      int // the last row without a count since one with; 0 for none
	titleWords string

	// Kept from row to row, so that a row costs little.
	counts  []obs
	labels  []string
	touched []*build
	spare   []*build // finished, to be filled again
	one     [1]farm.UnitCount
	like    alike

	ends    map[uint64]end // of each visit by the hash of its key, where they are known
	finding bool           // the ends are looked for, and nothing is kept but them
}

// end is what is known of a visit before it is read: its last row, and how many
// cells it has.
type end struct{ row, cells int32 }

// all reads the headings, then row after row.
func (r *reader) all(src rows) error {
	var first []Row
	var stop error
	for len(first) < headRows {
		row, err := src.next()
		if err == io.EOF {
			stop = err
			break
		}
		if err != nil {
			if !r.unreadable(row, err) {
				return err
			}
			continue
		}
		row.Cells = slices.Clone(row.Cells)
		first = append(first, row)
	}
	if len(first) == 0 && len(r.problems.all) == 0 {
		r.add(0, 0, "", "", "begin with a heading row such as: date,bed,pest,count", "nothing is written in it")
	}
	i := r.g.find(first)
	if i < 0 {
		if len(r.problems.all) == 0 {
			where := "in the first row"
			if len(first) > 1 {
				where = fmt.Sprintf("in the first %d rows", len(first))
			}
			r.add(1, 0, "", "", "put a row of headings above the counts, such as date, bed, pest, count (or trap 1, trap 2, ...)", "no row of headings was found %s", where)
		}
		return nil
	}
	before := len(r.problems.all)
	r.headings(first, i)
	if b, ok := src.(*bookRows); ok {
		for _, c := range r.res.Columns {
			if c.Read() && b.beside.hides(c.Col) {
				r.res.HiddenCols = append(r.res.HiddenCols, Letter(c.Col))
			}
		}
	}
	if len(r.problems.all) > before {
		return nil // what stands below could only be read wrongly
	}
	for _, row := range first[i+1:] {
		if err := r.row(row); err != nil {
			return err
		}
	}
	for n := 0; stop == nil; n++ {
		row, err := src.next()
		switch {
		case err == io.EOF:
			stop = err
			continue
		case err != nil:
			if !r.unreadable(row, err) {
				return err
			}
			continue
		}
		if err := r.row(row); err != nil {
			return err
		}
		if n%1024 == 0 && r.Stop != nil {
			if err := r.Stop(); err != nil {
				return err
			}
		}
	}
	if err := r.before(math.MaxInt); err != nil {
		return err
	}
	r.swappedDays()
	return nil
}

// unreadable notes a row whose cells cannot be told apart, and reports whether
// reading may go on.
func (r *reader) unreadable(row Row, err error) bool {
	var p *diag.Problem
	if row.N == 0 || !errors.As(err, &p) {
		return false
	}
	r.add(row.N, 0, "", "", p.Do, "%s", p.What)
	r.res.Faults.Unreadable = true
	return true
}

func (r *reader) headings(first []Row, i int) {
	head := first[i]
	l := &r.res.Layout
	if head.book != nil {
		l.joined = head.book.joined
	}
	for col, ref := range l.joined {
		for cols := columnsOf(ref); len(head.Cells) < min(col+cols-1, maxColumns); {
			head.Cells = append(head.Cells, "")
		}
	}
	var below [][]string
	for _, row := range first[i+1:] {
		below = append(below, row.Cells)
	}
	if r.res.Format.Kind == "XLSX" { // there the headings end with the last that is written
		for numbersOnly(column(below, len(head.Cells))) {
			head.Cells = append(head.Cells, "")
		}
	}
	l.HeadRow, l.cells, l.width = head.N, head.Cells, len(head.Cells)
	for _, row := range first[:i] {
		if filled(row.Cells) > 0 {
			l.Above++
		}
	}
	before := len(r.problems.all)
	if len(r.Map.Columns) == 0 && exported(head.Cells) {
		r.add(head.N, 0, "", "", "bring the whole folder back with `leafturn restore FOLDER`; for a sheet to correct and import, write a workbook with `leafturn export FILE.xlsx` and take its sheet \"Counts\"", "is a table of a folder that `leafturn export` wrote: visits that were taken out stand in it too, and what else belongs to a visit stands in other tables")
		return
	}
	named := len(fill(head.Cells))
	for _, cells := range below {
		named = max(named, len(fill(cells[:min(len(cells), l.width)])))
	}
	cols, wrongs, _, _ := r.g.lay(head.Cells[:named], below)
	for i, c := range cols {
		w := wrongs[i]
		if w == nil && !c.Date.IsZero() {
			w = r.slip(c.Heading, c.Date)
		}
		if w == nil && !c.Stated {
			w = headOfBook(head, c)
		}
		if w != nil {
			cols[i].Refused = true
			r.add(head.N, c.Col, c.Heading, c.Heading, w.do, "%s", w.what)
		}
	}
	l.Columns = cols
	clean := len(r.problems.all) == before
	for _, h := range sorted(r.Map.Columns) {
		if _, ok := iso(strings.TrimPrefix(r.Map.Columns[h], "count of ")); ok {
			continue // the next sheet of the kind has other dates
		}
		if !slices.ContainsFunc(cols, func(c Column) bool { return mapHead(c.Heading) == mapHead(h) }) && clean {
			r.add(head.N, 0, "", h, "correct the heading in the map file, or take its line out", "the map names a column %s, which this sheet does not have", quote(h))
		}
	}
	l.group()
	r.like = l.alike(r.Map)
	for i := range l.Columns {
		switch c := &l.Columns[i]; c.Role {
		case Air, SoilTemp, Soil, Foliage, Nights, Disturbed, Damage, Observer, Note, Weather, Enemy:
			r.said = append(r.said, c)
		case apart, site, crossed, measure:
			r.watches = append(r.watches, c)
		}
	}
	if len(r.problems.all) == before {
		l.check(&r.problems, r.Map)
	}
	if len(r.problems.all) == before {
		r.aboveHeadings(first[:i])
		r.sheetName()
	}
}

// row reads one row below the headings.
func (r *reader) row(row Row) error {
	if r.again(row) {
		return nil
	}
	cells := row.Cells
	n := filled(cells)
	if n == 0 {
		r.res.Blank++
		return nil
	}
	r.res.Rows++
	switch {
	case r.isHeading(cells):
		r.res.Again++
		r.newTable()
		return nil
	case r.isTotal(cells):
		r.res.Totals++
		return nil
	}
	if len(cells) > r.res.width && filled(cells[:r.res.width]) < n {
		if r.res.Format.Kind == "CSV" {
			at := r.res.width + 1
			what, do := "the row has more cells than the headings: a separating sign inside a value cuts it in two", "put a value that holds the separating sign in quotation marks; where all rows are so, give a first column of row numbers a heading too"
			if slices.ContainsFunc(cells, func(c string) bool { return strings.Contains(c, "\r") }) {
				what, do = "the row has more cells than the headings: two rows stand in it, with a line end of another kind between them", "open the file in your spreadsheet or editor and save it again"
			}
			r.add(row.N, at, "", cells[r.res.width], do, "%s", what)
			r.loose(row.N, part{})
			r.reason(row.N, "the row has more cells than the headings")
			return nil
		}
		r.res.Beside++
	}
	return r.observe(row)
}

func (r *reader) isHeading(cells []string) bool {
	same := 0
	for i, h := range r.res.cells {
		c := ""
		if i < len(cells) {
			c = cells[i]
		}
		if c != h && tidy(c) != tidy(h) {
			return false
		}
		if c != "" {
			same++
		}
	}
	return same > 0
}

// loose notes a row that may belong to any visit that agrees with p.
func (r *reader) loose(row int, p part) {
	if _, ok := r.res.Faults.loose[p]; !ok && r.Rest {
		r.res.Faults.loose[p] = row
	}
}

// reason keeps a row for the rest: the counts of some groups of columns, or
// all of them with none named.
func (r *reader) reason(row int, why string, groups ...int) {
	if !r.Rest {
		return
	}
	x := r.res.Rest[row]
	if x == nil {
		x = &RestRow{}
		r.res.Rest[row] = x
	}
	switch {
	case x.Why == "":
		x.Why = why
	case !strings.Contains(x.Why, why) && len(x.Why) < 1000:
		x.Why += "; " + why
	}
	x.all = x.all || len(groups) == 0
	for _, g := range groups {
		if !slices.Contains(x.groups, g) {
			x.groups = append(x.groups, g)
		}
	}
}

// before gives out the open visits whose last row so far is before a row.
func (r *reader) before(row int) error {
	var all []*build
	for _, b := range r.open {
		if b.last < row {
			all = append(all, b)
		}
	}
	return r.flush(all)
}

// flush gives out visits.
func (r *reader) flush(all []*build) error {
	slices.SortFunc(all, func(a, b *build) int {
		if a.first != b.first {
			return a.first - b.first
		}
		return int(a.col - b.col)
	})
	for _, b := range all {
		delete(r.open, b.key)
		if b == r.last {
			r.last = nil
		}
		if !r.Gather {
			r.shut[b.hash()] = true
		}
		if err := r.give(b); err != nil {
			return err
		}
		if len(r.spare) < mostSpare {
			r.spare = append(r.spare, b)
		}
	}
	return nil
}

// give finishes a visit.
func (r *reader) give(b *build) error {
	v, w := b.visit()
	switch {
	case b.bad:
	case w != nil:
		r.add(b.first, 0, "", "", w.do, "%s", w.what)
		b.bad = true
		r.reason(b.first, w.what, b.groups...)
	}
	if b.bad {
		r.res.Faults.bad[b.key] = true
		r.keep(b, "goes with another row of the same visit")
		return nil
	}
	if row, held := r.Hold.holds(b); held {
		why := "goes with another row of the same visit"
		if row > 0 {
			why = fmt.Sprintf("waits for row %d, which may belong to the same visit", row)
		}
		r.keep(b, why)
		return nil
	}
	if v.UnitsLooked() == 0 {
		r.res.Empty++
		return nil
	}
	r.res.Visits++
	r.res.Units += v.UnitsLooked()
	err := r.sink(Visit{v, b.first, int(b.col)})
	var no *Refusal
	if errors.As(err, &no) {
		r.reason(b.first, no.What, b.groups...)
		r.add(b.first, 0, "", "", no.Do, "%s", no.What)
		r.res.Faults.bad[b.key] = true
		r.keep(b, "goes with another row of the same visit")
		r.res.Visits--
		r.res.Units -= v.UnitsLooked()
		return nil
	}
	return err
}

// keep puts all rows of a visit into the rest.
func (r *reader) keep(b *build, why string) {
	for _, row := range b.said().rows {
		say := why
		if x := r.res.Rest[row]; x != nil && x.Why != "" {
			say = x.Why
		} else if r.Hold != nil && r.Hold.Rest[row] != nil {
			say = r.Hold.Rest[row].Why
		}
		r.reason(row, say, b.groups...)
	}
}
