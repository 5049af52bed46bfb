package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/jmoiron/sqlx"

	"leafturn/internal/diag"
	"leafturn/internal/tables"
)

// TableRow is a row to be stored: its number in the file that it comes from, and
// its values.
type TableRow struct {
	Row    int
	Values []any
}

// Loader stores whole tables in a new store.
type Loader struct {
	ctx    context.Context
	path   string
	tx     *sqlx.Tx
	refuse func(table string, row int, columns []string, why string)
	// Recount puts the sums of visits right by their counts, where they differ.
	Recount bool
	// Recounted is how many visits that changed.
	Recounted int64
}

// RestoreTables makes a store of tables of a version of the schema, as far as
// load stores them, checks it, and puts it in the place of the store at path,
// which is kept aside under the name returned. refuse is told of each row that
// the tables do not take, and of each finding of the check, with row 0; where it
// was called, or with look, nothing is changed and the error is nil.
func RestoreTables(ctx context.Context, path string, schema int, look bool, load func(*Loader) error, refuse func(table string, row int, columns []string, why string), opts ...Option) (aside string, err error) {
	o := makeOptions(opts)
	if schema < 1 || schema > len(o.migrations) {
		return "", fmt.Errorf("store: there is no version %d of the tables", schema)
	}
	aside, err = replace(ctx, path, o, func(_, tmp string) error {
		refused := false
		told := func(table string, row int, columns []string, why string) {
			refused = true
			refuse(table, row, columns, why)
		}
		if err := fillTables(ctx, path, tmp, o, schema, load, told); err != nil {
			return err
		}
		if !refused {
			if err := migrate(ctx, path, tmp, o, true); err != nil {
				return err
			}
			found, err := checkNew(ctx, path, tmp, o)
			if err != nil {
				return err
			}
			for _, f := range found {
				told("", 0, nil, f)
			}
		}
		if refused || look {
			return errOnlyLook
		}
		return nil
	})
	if errors.Is(err, errOnlyLook) {
		return "", nil
	}
	return aside, err
}

func checkNew(ctx context.Context, path, tmp string, o options) ([]string, error) {
	db, err := openDB(tmp, "rw", o, "journal_mode(WAL)")
	if err != nil {
		return nil, problem(path, "check", err)
	}
	s := &Store{path: path, file: tmp, mode: "rw", db: db, o: o}
	found, err := s.Check(ctx)
	return found, errors.Join(err, s.Close())
}

func fillTables(ctx context.Context, path, tmp string, o options, schema int, load func(*Loader) error, refuse func(string, int, []string, string)) (err error) {
	made := o
	made.migrations = o.migrations[:schema]
	// The file gets its name last and is synced before: until then a crash
	// leaves nothing that anybody would open.
	db, err := openDB(tmp, "rw", made, foreignKeysOff, fmt.Sprintf("application_id(%d)", ApplicationID), "journal_mode(MEMORY)", "synchronous(OFF)", "cache_size(-4000)")
	if err != nil {
		return problem(path, "restore", err)
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	if err := migrate(ctx, path, tmp, made, false); err != nil {
		return err
	}
	tx, err := db.BeginTxx(ctx, nil)
	if err != nil {
		return problem(path, "restore", err)
	}
	defer func() { _ = tx.Rollback() }()
	l := &Loader{ctx: ctx, path: path, tx: tx, refuse: refuse}
	if err := load(l); err != nil {
		return err
	}
	if err := l.recount(); err != nil {
		return problem(path, "restore", err)
	}
	return problem(path, "restore", tx.Commit())
}

// loadBatch is how many rows one statement stores.
const loadBatch = 200

// Columns are the columns that a table has in the version that is loaded.
func (l *Loader) Columns(table string) ([]string, error) {
	var cols []string
	err := l.tx.SelectContext(l.ctx, &cols, "SELECT name FROM pragma_table_info(?) ORDER BY cid", table)
	return cols, problem(l.path, "restore", err)
}

// Table stores the rows that next gives, until it gives none.
func (l *Loader) Table(table string, columns []string, next func() (TableRow, bool, error)) error {
	insert := func(n int) string {
		one := "(?" + strings.Repeat(", ?", len(columns)-1) + ")"
		return `INSERT INTO "` + table + `" ("` + strings.Join(columns, `", "`) + `") VALUES ` + one + strings.Repeat(", "+one, n-1)
	}
	all, err := l.tx.PreparexContext(l.ctx, insert(loadBatch))
	if err != nil {
		return problem(l.path, "restore", err)
	}
	defer all.Close()
	one, err := l.tx.PreparexContext(l.ctx, insert(1))
	if err != nil {
		return problem(l.path, "restore", err)
	}
	defer one.Close()
	rows := make([]TableRow, 0, loadBatch)
	args := make([]any, 0, loadBatch*len(columns))
	flush := func() error {
		if len(rows) == loadBatch {
			args = args[:0]
			for _, r := range rows {
				args = append(args, r.Values...)
			}
			_, err := all.ExecContext(l.ctx, args...)
			if err == nil {
				rows = rows[:0]
				return nil
			}
			if code(err)&0xff != codeConstraint {
				return problem(l.path, "restore", err)
			}
		}
		for _, r := range rows { // one by one, which tells the wrong one
			if _, err := one.ExecContext(l.ctx, r.Values...); code(err)&0xff == codeConstraint {
				cols, why := whyRefused(table, err)
				l.refuse(table, r.Row, cols, why)
			} else if err != nil {
				return problem(l.path, "restore", err)
			}
		}
		rows = rows[:0]
		return nil
	}
	for {
		r, ok, err := next()
		if err != nil {
			return err
		}
		if !ok {
			return flush()
		}
		if rows = append(rows, r); len(rows) == loadBatch {
			if err := flush(); err != nil {
				return err
			}
		}
	}
}

// whyRefused puts a broken rule of a table in words, with the columns that it is
// about where it names them.
func whyRefused(table string, err error) (columns []string, why string) {
	text := err.Error()
	if _, rule, ok := strings.Cut(text, "CHECK constraint failed: "); ok {
		rule = withoutCode(rule)
		for _, c := range tables.ByName(table).Stored() {
			if slices.Contains(strings.FieldsFunc(rule, func(r rune) bool { return r != '_' && (r < 'a' || r > 'z') && (r < '0' || r > '9') }), c.Name) {
				columns = append(columns, c.Name)
			}
		}
		return columns, "what must hold does not: " + rule
	}
	if _, list, ok := strings.Cut(text, "UNIQUE constraint failed: "); ok {
		list = withoutCode(list)
		for _, c := range strings.Split(list, ", ") {
			if c, ok := strings.CutPrefix(c, table+"."); ok {
				columns = append(columns, c)
			}
		}
		if len(columns) == 0 {
			return nil, "another row that is not taken out is the same record"
		}
		who := "another row that is not taken out"
		if slices.Contains(tables.ByName(table).Key, columns[0]) || len(columns) == 1 {
			who = "another row"
		}
		return columns, who + " has the same " + strings.Join(columns, ", ")
	}
	return nil, text
}

// withoutCode leaves out the number that the driver writes behind an error.
func withoutCode(text string) string {
	if i := strings.LastIndex(text, " ("); i > 0 {
		return text[:i]
	}
	return text
}

// recountSQL makes the sums of visits those of their counts.
const recountSQL = `UPDATE visit SET units = u.units, n = u.n, sum = u.sum, sumsq = u.sumsq, zeros = u.zeros
FROM (SELECT v.id, count(c.visit_id) AS units, count(c.count) AS n, ifnull(sum(c.count), 0) AS sum, ifnull(sum(c.count * c.count), 0) AS sumsq, count(CASE c.count WHEN 0 THEN 1 END) AS zeros
      FROM visit v LEFT JOIN unit_count c ON c.visit_id = v.id GROUP BY v.id) u
WHERE u.id = visit.id AND (visit.units, visit.n, visit.sum, visit.sumsq, visit.zeros) IS NOT (u.units, u.n, u.sum, u.sumsq, u.zeros)`

// recount puts right, or leaves for the check to tell, the sums of visits.
func (l *Loader) recount() error {
	if !l.Recount {
		return nil
	}
	if gaps, err := l.gaps(); gaps || err != nil {
		return err
	}
	r, err := l.tx.ExecContext(l.ctx, recountSQL)
	if code(err)&0xff == codeConstraint {
		l.refuse("visit", 0, nil, "a visit has neither a count nor a presence sample any more")
		return nil
	}
	if err != nil {
		return err
	}
	l.Recounted, err = r.RowsAffected()
	return err
}

// gaps tells of visits whose counts are not numbered 1, 2, 3: a row was taken
// out, and whether the unit was never there or not looked at is not known.
func (l *Loader) gaps() (bool, error) {
	var found []struct {
		Visit int64 `db:"visit_id"`
		Bed   string
		Pest  string
		Date  string
		Rows  int
		Last  int
	}
	err := l.tx.SelectContext(l.ctx, &found, `
SELECT c.visit_id, b.code AS bed, v.pest, v.date, count(*) AS rows, max(c.seq) AS last
FROM unit_count c JOIN visit v ON v.id = c.visit_id JOIN bed b ON b.id = v.bed_id
GROUP BY c.visit_id HAVING max(c.seq) <> count(*) ORDER BY c.visit_id`)
	for _, g := range found {
		l.refuse("unit_count", 0, nil, fmt.Sprintf("visit record %d (bed %s, %s, %s) has %d rows, and the last is number %d in the column seq", g.Visit, g.Bed, g.Pest, g.Date, g.Rows, g.Last))
	}
	return len(found) > 0, err
}

// Unsupported says why tables of a version cannot be loaded, or nil.
func Unsupported(schema int) error {
	switch {
	case schema > SchemaVersion:
		return &diag.Problem{What: fmt.Sprintf("the tables are of schema version %d; this leafturn reads up to version %d", schema, SchemaVersion), Do: "use the leafturn that wrote them, or a newer one", Err: ErrNewer}
	case schema < 3: // the first that was ever written as tables
		return &diag.Problem{What: fmt.Sprintf("no leafturn wrote tables of schema version %d", schema), Do: "check that datapackage.json is as it was written", Usage: true, Err: ErrInvalid}
	}
	return nil
}
