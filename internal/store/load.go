package store

import (
	"context"
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
// looked up at each row; all of them are checked before the commit, and a row
// that points to nothing undoes everything. It has a connection of its own,
// because SQLite cannot turn the keys off within a transaction.
func (s *Store) Bulk(ctx context.Context, f func(tx *Tx) error) error {
	return s.BulkAs(ctx, Command{}, f)
}

// BulkAs is Bulk for a command that the journal names.
func (s *Store) BulkAs(ctx context.Context, c Command, f func(tx *Tx) error) error {
	if s.readOnly {
		return s.UpdateAs(ctx, c, f) // says why not
	}
	db, err := openDB(s.file, s.mode, s.o, foreignKeysOff, "cache_size(-4000)")
	if err != nil {
		return problem(s.path, "open", err)
	}
	defer db.Close()
	return s.runOn(ctx, db, &c, func(tx *Tx) error {
		if err := f(tx); err != nil {
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
	// old: nil leaves it out and goes on, an error ends the loading. Without it
	// the first such visit ends it with ErrDuplicate.
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
		err = l.all(src)
	}
	if err == nil {
		err = l.writeUnits()
	}
	if err == nil {
		err = t.flush()
	}
	if l.done.Visits > 0 {
		t.AddedMany(KindVisit, l.done.First, l.done.Last)
	}
	if err != nil && t.broken == nil {
		t.broken = problem(t.s.path, "store visits", err)
	}
	return l.done, err
}

type loader struct {
	t       *Tx
	at      string
	o       Load
	next    int64 // the next record number
	done    Loaded
	args    []any
	day     civil.Date
	dayText string

	units   []any // of visits that have as many each, not yet written
	visits  int   // how many such visits
	each    int   // units of each of them
	queries map[shape]string
}

// shape is a statement for so many visits with so many units each. It is told
// the number of a visit once and holds the numbers of the units itself: binding
// a value takes a good part of what storing it does.
type shape struct{ visits, each int }

// mostShapes is how many statements are kept; where the visits of a load have
// more different numbers of units, the others go the way of AddVisit.
const mostShapes = 16

// all reads src on another goroutine, batch by batch, and stores what comes.
func (l *loader) all(src iter.Seq2[farm.Visit, error]) error {
	batches, stop, ended := make(chan batch, 4), make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		defer close(batches)
		inBatches(src, batches, stop)
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
		if read += len(b.visits); l.o.Progress != nil {
			l.o.Progress(read)
		}
	}
	return nil
}

// inBatches checks the visits of src and sends them in batches, until its end,
// an error or stop.
func inBatches(src iter.Seq2[farm.Visit, error], batches chan<- batch, stop <-chan struct{}) {
	var b batch
	units := 0
	send := func() bool {
		select {
		case batches <- b:
			b, units = batch{}, 0
			return true
		case <-stop:
			return false
		}
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
// there already and goes on after it, then their units. OR FAIL spares SQLite
// what it needs to take back one statement: a load that fails is undone whole.
func (l *loader) store(b batch) error {
	if len(b.visits) == 0 {
		return nil
	}
	t := l.t
	row := fullRow
	if !slices.ContainsFunc(b.visits, func(v farm.Visit) bool { return !plain(v) }) {
		row = plainRow
	}
	l.args = append(l.args[:0], nil)
	for i, v := range b.visits {
		bed, err := t.bed(v.Bed)
		if err != nil {
			return err
		}
		all := visitArgs(v, bed.id, b.sums[i], l.at)
		all[1] = l.text(v.Date)
		l.args = append(append(l.args, nil), all[:row.cols]...) // with room for its number
	}
	width := row.cols + 1
	for left := b.visits; len(left) > 0; {
		n := len(left)
		args := l.args[len(l.args)-n*width-1:]
		args[0] = l.at
		for i := range left {
			args[1+i*width] = l.next + int64(i)
		}
		_, _, err := t.exec(row.insert+strings.Repeat(row.more, n-1), args...)
		there := code(err) == codeUnique
		if err != nil && !there {
			return t.fail("store visits", err)
		}
		if there { // those before it are stored
			var last int64
			if _, e := t.get(&last, "SELECT ifnull(max(id), 0) FROM visit"); e != nil {
				return e
			}
			n = int(last + 1 - l.next)
		}
		for _, v := range left[:n] {
			if err := l.stored(v); err != nil {
				return err
			}
		}
		if left = left[n:]; there {
			if err := l.left(left[0], err); err != nil {
				return err
			}
			left = left[1:]
		}
	}
	return nil
}

// rowSQL inserts a visit: the instant of entry is bound once, then the record
// number and the first cols values of visitArgs for each.
type rowSQL struct {
	cols         int
	insert, more string // a statement for one, and what each further one adds
}

func makeRow(cols int, rest string) rowSQL {
	row := strings.Repeat(", ?", cols+1) + rest + ")"
	return rowSQL{cols, "INSERT OR FAIL INTO visit (entered_at, id, " + strings.TrimSuffix(visitCols, ", entered_at") + ") VALUES (?" + row, ", (?1" + row}
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
func (l *loader) left(v farm.Visit, refused error) error {
	if err := l.writeUnits(); err != nil {
		return err
	}
	bed, err := l.t.bed(v.Bed)
	if err != nil {
		return err
	}
	old, err := l.t.visitStored(v, bed, refused)
	if l.o.Duplicate != nil && old > 0 {
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
	if len(v.Counts) != l.each {
		if err := l.writeUnits(); err != nil {
			return err
		}
		l.each = len(v.Counts)
	}
	if l.each > 0 {
		l.units = append(l.units, id)
		for _, u := range v.Counts {
			l.units = append(l.units, countArg(u))
		}
		if l.visits++; l.visits*l.each >= unitBatch {
			if err := l.writeUnits(); err != nil {
				return err
			}
		}
	}
	return l.t.addEnemies(v, id)
}

// writeUnits writes the units gathered.
func (l *loader) writeUnits() error {
	if l.visits == 0 {
		return nil
	}
	s := shape{l.visits, l.each}
	query, ok := l.queries[s]
	if !ok && len(l.queries) < mostShapes {
		query, ok = s.sql(), true
		l.queries[s] = query
	}
	args := l.units
	l.units, l.visits = l.units[:0], 0
	if ok {
		if _, _, err := l.t.exec(query, args...); err != nil {
			return l.t.fail("store counts", err)
		}
		return nil
	}
	for ; len(args) > 0; args = args[s.each+1:] {
		if err := l.t.addUnits(args[0], args[1:s.each+1]); err != nil {
			return err
		}
	}
	return nil
}

// sql is the statement of a shape.
func (s shape) sql() string {
	var b strings.Builder
	b.WriteString("INSERT OR FAIL INTO unit_count (visit_id, seq, count) VALUES ")
	for i := range s.visits {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString("(?, 1, ?)")
		for seq := 2; seq <= s.each; seq++ {
			fmt.Fprintf(&b, ", (?%d, %d, ?)", i*(s.each+1)+1, seq)
		}
	}
	return b.String()
}
