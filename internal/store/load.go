package store

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
)

// Bulk is Update for very many visits: see AddVisits. Foreign keys are not
// looked up at each row, and AddVisits needs no CHECK of SQLite's. Where f
// writes in other ways too, all keys are checked before the commit, and a row
// that points to nothing undoes everything. Bulk has a connection of its own,
// because SQLite cannot turn the keys off within a transaction. The log is moved
// into the file when the store is closed, once for all.
func (s *Store) Bulk(ctx context.Context, f func(tx *Tx) error) error {
	return s.BulkAs(ctx, Command{}, f)
}

// BulkAs is Bulk for a command that the journal names.
func (s *Store) BulkAs(ctx context.Context, c Command, f func(tx *Tx) error) error {
	if s.readOnly {
		return s.UpdateAs(ctx, c, f) // says why not
	}
	db, err := openDB(s.file, s.mode, s.o, foreignKeysOff, "wal_autocheckpoint(0)")
	if err != nil {
		return problem(s.path, "open", err)
	}
	defer db.Close()
	return s.runOn(ctx, db, &c, func(tx *Tx) error {
		tx.bulk = true
		if err := f(tx); err != nil || !tx.wrote {
			return err
		}
		return tx.pointsSomewhere()
	})
}

// pointsSomewhere checks every foreign key.
func (t *Tx) pointsSomewhere() error {
	var tables []string
	if err := t.query(&tables, `SELECT "table" FROM pragma_foreign_key_check LIMIT 1`); err != nil {
		return err
	}
	if len(tables) > 0 {
		return t.fail("check", &diag.Problem{
			What: fmt.Sprintf("a record in %s of the store %q points to one that is not there", tables[0], t.s.path),
			Do:   "run `leafturn check`, and go on with the newest backup that is sound",
			Kept: keptNothing, Err: ErrDamaged,
		})
	}
	return nil
}

// Load says what AddVisits does besides storing.
type Load struct {
	// Duplicate is asked of a visit that is stored already under the number
	// old, and must not write: nil leaves it out and goes on, an error ends the
	// loading. Without it the first such visit ends it with ErrDuplicate.
	Duplicate func(v farm.Visit, old int64) error
	// Progress is told how many visits were read, now and then.
	Progress func(visits int)
}

// Loaded is what AddVisits stored.
type Loaded struct {
	Visits, Counts int   // visits stored, and their sample units
	Left           int   // visits left out because they were there
	First, Last    int64 // record numbers, all of them new; 0 for none
}

// What one batch of visits holds at most: the memory of a load does not grow
// with its length.
const (
	batchVisits = 64
	batchUnits  = 4096
)

// batch is some visits with what was made of them on the way.
type batch struct {
	visits []farm.Visit
	sums   []sums
	err    error // of the source, after these visits
}

// AddVisits stores visits one after another, with the same checks and the same
// result as AddVisit on each, many times as fast. src runs on a goroutine of its
// own, so that reading a file and storing share two cores: it must not use the
// transaction. An error of src, or a visit that is refused, ends the loading,
// and the transaction can only be undone.
//
// In Bulk, the CHECKs of the tables are left out and no key is looked up: each
// visit has passed the same rules in checkVisit (TestBulk_EveryCheck), its bed
// was read in this transaction, and its number was given in it.
func (t *Tx) AddVisits(src iter.Seq2[farm.Visit, error], at time.Time, o Load) (Loaded, error) {
	l := loader{t: t, at: instant(at), o: o, queries: map[shape]string{}}
	err := entered(at)
	if err == nil {
		err = t.flush()
	}
	if err == nil {
		_, err = t.get(&l.next, "SELECT ifnull(max(id), 0) + 1 FROM visit")
	}
	if err == nil {
		err = l.unchecked(func() error {
			err := l.all(src)
			if err == nil {
				err = l.writeUnits()
			}
			if err == nil {
				err = t.flush()
			}
			return err
		})
	}
	if l.done.Visits > 0 {
		t.AddedMany(KindVisit, l.done.First, l.done.Last)
	}
	if err != nil && t.broken == nil {
		t.broken = problem(t.s.path, "store visits", err)
	}
	return l.done, err
}

// unchecked runs f, in Bulk without the CHECKs. Nothing but the loader may
// write meanwhile.
func (l *loader) unchecked(f func() error) error {
	t := l.t
	if !t.write {
		return errWriteInView
	}
	t.loading = true
	defer func() { t.loading = false }()
	if !t.bulk {
		return f()
	}
	if _, _, err := t.run("PRAGMA ignore_check_constraints = 1"); err != nil {
		return t.fail("store visits", err)
	}
	if err := f(); err != nil {
		return err // no commit follows, and the connection is Bulk's own
	}
	if _, _, err := t.run("PRAGMA ignore_check_constraints = 0"); err != nil {
		return t.fail("store visits", err)
	}
	return nil
}

type loader struct {
	t       *Tx
	at      string
	o       Load
	next    int64 // the next record number
	done    Loaded
	args    []any // of the statement that is made
	rows    []any // the values of the visits of a batch
	day     civil.Date
	dayText string

	ids     []int64            // of visits whose units are not yet written
	counts  [][]farm.UnitCount // of each of them, all of one length
	queries map[shape]string
}

// shape is a statement for so many visits with so many units each. It is told
// the number of a visit once and holds the numbers of the units itself, and
// where all counts are small, eight of them are bound as one whole number:
// binding a value takes a good part of what storing it does.
type shape struct {
	visits, each int
	packed       bool
}

const (
	packBits = 8
	packMost = 1<<packBits - 1
	packEach = 64 / packBits
)

// mostShapes is how many statements are kept; where the visits of a load have
// more different numbers of units, the others go the way of AddVisit.
const mostShapes = 16

// all reads src on another goroutine, batch by batch, and stores what comes.
func (l *loader) all(src iter.Seq2[farm.Visit, error]) error {
	batches, used, stop, ended := make(chan batch, 4), make(chan batch, 6), make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		defer close(batches)
		inBatches(src, batches, used, stop)
	}()
	defer func() {
		close(stop)
		<-ended
	}()
	read := 0
	for b := range batches {
		if err := l.store(b); err != nil {
			return err
		}
		if b.err != nil {
			return b.err
		}
		select {
		case used <- b:
		default:
		}
		if read += len(b.visits); l.o.Progress != nil {
			l.o.Progress(read)
		}
	}
	return nil
}

// inBatches checks the visits of src and sends them in batches, until its end,
// an error or stop. Those that are used up it fills again.
func inBatches(src iter.Seq2[farm.Visit, error], batches chan<- batch, used <-chan batch, stop <-chan struct{}) {
	var b batch
	units := 0
	send := func() bool {
		select {
		case batches <- b:
		case <-stop:
			return false
		}
		units = 0
		select {
		case b = <-used:
			b.visits, b.sums = b.visits[:0], b.sums[:0]
		default:
			b = batch{}
		}
		return true
	}
	for v, err := range src {
		if err == nil {
			err = checkVisit(v)
		}
		if err != nil {
			b.err = err
			break
		}
		b.visits, b.sums = append(b.visits, v), append(b.sums, sumsOf(v.Counts))
		if units += len(v.Counts); len(b.visits) == batchVisits || units >= batchUnits {
			if !send() {
				return
			}
		}
	}
	if len(b.visits) > 0 || b.err != nil {
		send()
	}
}

// store writes a batch: its visits in one statement, which ends at one that is
// there already, then their units. OR FAIL, and numbers that SQLite gives
// itself, spare it what it needs to take back one statement: a load that fails
// is undone whole. Once a visit was there already, the others of its batch are
// looked up first.
func (l *loader) store(b batch) error {
	if len(b.visits) == 0 {
		return nil
	}
	row := fullRow
	if !slices.ContainsFunc(b.visits, func(v farm.Visit) bool { return !plain(v) }) {
		row = plainRow
	}
	l.rows = append(l.rows[:0], nil)
	for i, v := range b.visits {
		bed, err := l.t.bed(v.Bed)
		if err != nil {
			return err
		}
		at := len(l.rows)
		l.rows = visitArgs(l.rows, v, bed.id, b.sums[i], l.at)[:at+row.cols]
		l.rows[at+1] = l.text(v.Date)
	}
	lookUp := false
	for left := b.visits; len(left) > 0; {
		n := len(left)
		if lookUp {
			var err error
			if n, err = l.new(left); err != nil {
				return err
			}
		}
		there := n < len(left)
		if n > 0 {
			args := l.rows[len(l.rows)-len(left)*row.cols-1:]
			args[0] = l.at
			stored, err := l.insert(row, args[:1+n*row.cols], n)
			if err != nil {
				return err
			}
			there, n = there || stored < n, stored
		}
		for _, v := range left[:n] {
			if err := l.stored(v); err != nil {
				return err
			}
		}
		if left = left[n:]; there {
			if err := l.left(left[0]); err != nil {
				return err
			}
			left, lookUp = left[1:], true
		}
	}
	return nil
}

// new is how many of the first visits are not there yet.
func (l *loader) new(visits []farm.Visit) (int, error) {
	if err := l.writeUnits(); err != nil {
		return 0, err
	}
	for i, v := range visits {
		_, id, err := l.t.liveVisit(v)
		if err != nil || id > 0 {
			return i, err
		}
	}
	return len(visits), nil
}

// insert writes n visits, or those before one that is there already, and
// returns how many.
func (l *loader) insert(row rowSQL, args []any, n int) (int, error) {
	t := l.t
	last, _, err := t.run(row.insert+strings.Repeat(row.more, n-1), args...)
	there := code(err) == codeUnique
	if there {
		_, err = t.get(&last, "SELECT ifnull(max(id), 0) FROM visit")
	}
	if err != nil {
		return 0, t.fail("store visits", err)
	}
	stored := int(last + 1 - l.next)
	if stored < 0 || stored > n || !there && stored < n {
		return 0, t.fail("store visits", fmt.Errorf("%d visits got the numbers %d to %d", n, l.next, last))
	}
	return stored, nil
}

// rowSQL inserts a visit: the instant of entry is bound once, then the first
// cols values of visitArgs for each.
type rowSQL struct {
	cols         int
	insert, more string // a statement for one, and what each further one adds
}

func makeRow(cols int, rest string) rowSQL {
	row := strings.Repeat(", ?", cols) + rest + ")"
	return rowSQL{cols, "INSERT OR FAIL INTO visit (entered_at, " + strings.TrimSuffix(visitCols, ", entered_at") + ") VALUES (?" + row, ", (?1" + row}
}

var (
	fullRow  = makeRow(22, "")
	plainRow = makeRow(10, ", NULL, NULL, NULL, NULL, '', '', NULL, NULL, 0, 0, '', ''")
)

// plain reports whether a visit says nothing but its counts.
func plain(v farm.Visit) bool {
	return v.Presence == nil && v.Damage == nil && v.Conditions == farm.Conditions{} && v.Observer == "" && v.Note == ""
}

// text is the date as it is stored; visits of one day often follow each other.
func (l *loader) text(d civil.Date) string {
	if d != l.day || l.dayText == "" {
		l.day, l.dayText = d, d.String()
	}
	return l.dayText
}

// left asks what to do with a visit that is there already.
func (l *loader) left(v farm.Visit) error {
	if err := l.writeUnits(); err != nil {
		return err
	}
	bed, old, err := l.t.liveVisit(v)
	switch {
	case err != nil:
	case old == 0:
		err = l.t.fail("store visits", errors.New("a visit is there already, and is not found"))
	case l.o.Duplicate == nil:
		err = l.t.duplicate(KindVisit, old, visitWords(v, bed))
	default:
		err = l.o.Duplicate(v, old)
	}
	l.done.Left++
	return err
}

// stored notes that a visit has its number, and gathers what belongs to it.
func (l *loader) stored(v farm.Visit) error {
	id := l.next
	l.next++
	if l.done.Visits++; l.done.First == 0 {
		l.done.First = id
	}
	l.done.Last = id
	l.done.Counts += len(v.Counts)
	if len(v.Counts) > 0 {
		if len(l.counts) > 0 && len(v.Counts) != len(l.counts[0]) {
			if err := l.writeUnits(); err != nil {
				return err
			}
		}
		l.ids, l.counts = append(l.ids, id), append(l.counts, v.Counts)
		if len(l.ids)*len(v.Counts) >= unitBatch {
			if err := l.writeUnits(); err != nil {
				return err
			}
		}
	}
	return l.t.addEnemies(v, id)
}

// writeUnits writes the units gathered.
func (l *loader) writeUnits() error {
	if len(l.ids) == 0 {
		return nil
	}
	defer func() { l.ids, l.counts = l.ids[:0], l.counts[:0] }()
	s := shape{len(l.ids), len(l.counts[0]), !slices.ContainsFunc(l.counts, large)}
	query, ok := l.queries[s]
	if !ok && len(l.queries) < mostShapes {
		query, ok = s.sql(), true
		l.queries[s] = query
	}
	if !ok {
		for i, id := range l.ids {
			if err := l.t.addUnits(id, l.counts[i]); err != nil {
				return err
			}
		}
		return nil
	}
	l.args = l.args[:0]
	for i, id := range l.ids {
		l.args = append(l.args, id)
		switch counts := l.counts[i]; {
		case s.packed:
			for part := range slices.Chunk(counts, packEach) {
				l.args = append(l.args, pack(part))
			}
		default:
			for _, u := range counts {
				l.args = append(l.args, countArg(u))
			}
		}
	}
	if _, _, err := l.t.run(query, l.args...); err != nil {
		return l.t.fail("store counts", err)
	}
	return nil
}

// large reports whether some count does not go into packBits.
func large(counts []farm.UnitCount) bool {
	for _, u := range counts {
		if !u.Seen || u.Count > packMost {
			return true
		}
	}
	return false
}

// pack puts small counts into one number, the first one lowest.
func pack(counts []farm.UnitCount) int64 {
	var n uint64
	for i, u := range counts {
		n |= uint64(u.Count) << (packBits * i)
	}
	return int64(n)
}

// sql is the statement of a shape.
func (s shape) sql() string {
	var b strings.Builder
	b.WriteString("INSERT OR FAIL INTO unit_count (visit_id, seq, count) VALUES ")
	arg := 0
	for i := range s.visits {
		arg++
		visit := arg
		for u := range s.each {
			if i+u > 0 {
				b.WriteString(", ")
			}
			if !s.packed || u%packEach == 0 {
				arg++
			}
			fmt.Fprintf(&b, "(?%d, %d, ?%d", visit, u+1, arg)
			if s.packed {
				fmt.Fprintf(&b, " >> %d & %d", packBits*(u%packEach), packMost)
			}
			b.WriteString(")")
		}
	}
	return b.String()
}
