package store

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/diag"

	"github.com/jmoiron/sqlx"
)

// Tx is one transaction of Update or View and carries its context. It is for
// one goroutine, and only until the function it was given to returns.
type Tx struct {
	ctx     context.Context
	s       *Store
	tx      *sqlx.Tx
	write   bool
	stmts   map[string]*sqlx.Stmt
	beds    map[string]bedRef // by lower-case code
	units   []any             // unit_count rows not yet written
	broken  error             // the first failure after which a commit would store a half
	bulk    bool              // on the connection of Bulk
	wrote   bool              // something besides units and what AddVisits stores
	loading bool              // within AddVisits: nothing else may write
	log     journal           // what this transaction did
}

type bedRef struct {
	id   int64
	code string
}

// before calls the trace and the fault hook.
func (t *Tx) before(query string, args ...any) error {
	if f := t.s.o.trace; f != nil {
		f(query, args)
	}
	if h := t.s.o.hook; h != nil {
		return h(query)
	}
	return nil
}

// fail makes an error for people and, unless it is a refusal that left no
// trace, spoils the transaction.
func (t *Tx) fail(op string, err error) error {
	if t.broken == nil && t.write {
		t.broken = problem(t.s.path, op, err)
	}
	return problem(t.s.path, op, err)
}

// exec runs one writing statement through the transaction's prepared
// statements. The error is as SQLite gave it.
func (t *Tx) exec(query string, args ...any) (id, rows int64, err error) {
	if t.loading {
		return 0, 0, errWriteInLoad
	}
	t.wrote = true
	return t.run(query, args...)
}

// run is exec for rows that are known to point to something.
func (t *Tx) run(query string, args ...any) (id, rows int64, err error) {
	if !t.write {
		return 0, 0, errWriteInView
	}
	if err := t.before(query, args...); err != nil {
		return 0, 0, err
	}
	st := t.stmts[query]
	if st == nil {
		if st, err = t.tx.PreparexContext(t.ctx, query); err != nil {
			return 0, 0, err
		}
		if t.stmts == nil {
			t.stmts = map[string]*sqlx.Stmt{}
		}
		t.stmts[query] = st
	}
	r, err := st.ExecContext(t.ctx, args...)
	if err != nil {
		return 0, 0, err
	}
	if id, err = r.LastInsertId(); err != nil {
		return 0, 0, err
	}
	rows, err = r.RowsAffected()
	return id, rows, err
}

// insert adds one row to a table. cols is a list with commas.
func (t *Tx) insert(table, cols string, args ...any) (int64, error) {
	id, _, err := t.exec("INSERT INTO "+table+" ("+cols+") VALUES (?"+strings.Repeat(", ?", len(args)-1)+")", args...)
	return id, err
}

// query reads rows into dest, a pointer to a slice of structs or scalars.
func (t *Tx) query(dest any, query string, args ...any) error {
	if err := t.flush(); err != nil {
		return err
	}
	err := t.before(query, args...)
	if err == nil {
		err = t.tx.SelectContext(t.ctx, dest, query, args...)
	}
	if err != nil {
		return t.fail("read", err)
	}
	return nil
}

// get reads one row and reports whether there was one.
func (t *Tx) get(dest any, query string, args ...any) (bool, error) {
	if err := t.flush(); err != nil {
		return false, err
	}
	err := t.before(query, args...)
	if err == nil {
		err = t.tx.GetContext(t.ctx, dest, query, args...)
	}
	if isNoRows(err) {
		return false, nil
	}
	if err != nil {
		return false, t.fail("read", err)
	}
	return true, nil
}

// bed finds a bed by its code, in any case.
func (t *Tx) bed(code string) (bedRef, error) {
	key := strings.ToLower(strings.TrimSpace(code))
	if b, ok := t.beds[key]; ok {
		return b, nil
	}
	var all []struct {
		ID   int64  `db:"id"`
		Code string `db:"code"`
	}
	if err := t.query(&all, "SELECT id, code FROM bed WHERE gone = 0 ORDER BY code"); err != nil {
		return bedRef{}, err
	}
	t.beds = make(map[string]bedRef, len(all))
	codes := make([]string, len(all))
	for i, b := range all {
		t.beds[strings.ToLower(b.Code)] = bedRef{b.ID, b.Code}
		codes[i] = b.Code
	}
	if b, ok := t.beds[key]; ok {
		return b, nil
	}
	do := "check the code, or add the bed first"
	if len(all) == 0 {
		do = "add the bed first; this farm has no beds yet"
	}
	return bedRef{}, &diag.Problem{What: fmt.Sprintf("unknown bed %q%s", code, diag.DidYouMean(code, codes)), Do: do, Kept: keptNothing, Usage: true, Err: ErrUnknownBed}
}

// instantLayout is RFC 3339 in UTC with whole seconds, which sorts as text.
const instantLayout = "2006-01-02T15:04:05Z"

func instant(at time.Time) string { return at.UTC().Format(instantLayout) }

// optInstant stores the zero time as NULL.
func optInstant(at time.Time) any {
	if at.IsZero() {
		return nil
	}
	return instant(at)
}

// utc scans what instant wrote; NULL is the zero time.
type utc struct{ time.Time }

// Scan reads RFC 3339 text or NULL.
func (u *utc) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		u.Time = time.Time{}
		return nil
	case string:
		var err error
		u.Time, err = time.Parse(time.RFC3339, v)
		return err
	}
	return fmt.Errorf("cannot read an instant from %T", src)
}

// finite refuses NaN (which SQLite would store as NULL, "not known") and the
// infinities. nil is not known and passes.
func finite(what string, values ...*float64) error {
	for _, v := range values {
		if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0)) {
			return invalid("%s: %v is not a number that can be stored", what, *v)
		}
	}
	return nil
}

// entered checks the instant that a record is stamped with.
func entered(at time.Time) error {
	if at.IsZero() {
		return errors.New("store: the instant of entry is missing")
	}
	if y := at.UTC().Year(); y < 0 || y > 9999 {
		return fmt.Errorf("store: the instant of entry is of the year %d", y)
	}
	return nil
}

// Filter chooses records; its zero value chooses all that are not voided.
type Filter struct {
	Bed           string     // a bed's code, in any case; "" is all beds
	Pest          string     // catalogue key; "" is all pests
	From, To      civil.Date // both included; zero leaves the side open
	After         int64      // record numbers above this one
	ID            int64      // the record of this number only
	IncludeVoided bool
	CountsOf      []string // Visits reads single counts of these pests alone; nil is of all

	voidedSince time.Time // entered before it and voided since
}

// where writes the conditions for f on a table aliased x.
func (t *Tx) where(f Filter, date string, pest bool) (string, []any, error) {
	cond, args := []string{"1"}, []any{}
	if f.Bed != "" {
		b, err := t.bed(f.Bed)
		if err != nil {
			return "", nil, err
		}
		cond, args = append(cond, "x.bed_id = ?"), append(args, b.id)
	}
	if f.Pest != "" && pest {
		cond, args = append(cond, "x.pest = ?"), append(args, f.Pest)
	}
	date = "x." + date
	if f.After > 0 { // few records are left, found by number: the plus keeps SQLite from looking by date
		date = "+" + date
	}
	if !f.From.IsZero() {
		cond, args = append(cond, date+" >= ?"), append(args, f.From)
	}
	if !f.To.IsZero() {
		cond, args = append(cond, date+" <= ?"), append(args, f.To)
	}
	if f.After > 0 {
		cond, args = append(cond, "x.id > ?"), append(args, f.After)
	}
	if f.ID > 0 {
		cond, args = append(cond, "x.id = ?"), append(args, f.ID)
	}
	if !f.voidedSince.IsZero() {
		cond, args = append(cond, "x.voided_at >= ? AND x.entered_at < ?"), append(args, instant(f.voidedSince), instant(f.voidedSince))
	}
	if !f.IncludeVoided {
		cond = append(cond, "x.voided_at IS NULL")
	}
	return " WHERE " + strings.Join(cond, " AND "), args, nil
}

// stored finishes an insert of a record: it names the record already there
// when SQLite found a duplicate. existing is the query for that record's id.
func (t *Tx) stored(kind Kind, id int64, err error, what, existing string, args ...any) (int64, error) {
	if err == nil {
		t.log.add(kind, id, id)
		return id, nil
	}
	if code(err) != codeUnique {
		return 0, t.fail("store "+string(kind), err)
	}
	var old int64
	if found, e := t.get(&old, existing, args...); e != nil {
		return 0, e
	} else if !found {
		return 0, t.fail("store "+string(kind), err)
	}
	return old, t.duplicate(kind, old, what)
}

func (t *Tx) duplicate(kind Kind, id int64, what string) error {
	return &diag.Problem{
		What: fmt.Sprintf("%s is already stored: %s record %d", what, kind, id),
		Do:   fmt.Sprintf("leave it; if that one is wrong: leafturn void %s %d --reason \"...\", then enter this one again", kind, id),
		Kept: keptNothing,
		Err:  &DuplicateError{kind, id},
	}
}
