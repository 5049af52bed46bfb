package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"sync"

	"github.com/jmoiron/sqlx"
)

// Check looks for damage: SQLite's own integrity check with all CHECKs, the
// second copies of values, foreign keys, and whether the sums kept on each visit
// agree with its unit counts. It returns one line for each finding; none means
// sound. An error means that the check could not be made.
func (s *Store) Check(ctx context.Context) ([]string, error) {
	tx, err := s.db.BeginTxx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return nil, problem(s.path, "check", err)
	}
	defer func() { _ = tx.Rollback() }()
	return s.check(ctx, tx)
}

func (s *Store) check(ctx context.Context, tx selector) ([]string, error) {
	out, err := checkFile(ctx, tx)
	if err != nil {
		return nil, problem(s.path, "check", err)
	}
	if len(out) > 0 {
		return out, nil // the sums mean nothing in a damaged file
	}
	if out, err = checkSchema(ctx, tx, s.o.migrations); err != nil {
		return nil, problem(s.path, "check", err)
	}
	var bad []struct {
		ID    int64  `db:"id"`
		Bed   string `db:"code"`
		Pest  string `db:"pest"`
		Date  string `db:"date"`
		Was   string `db:"was"`
		Found string `db:"found"`
	}
	err = tx.SelectContext(ctx, &bad, `
WITH u AS (
  SELECT visit_id, count(*) AS units, max(seq) AS last, count(count) AS n,
         ifnull(sum(count), 0) AS sum, ifnull(sum(count * count), 0) AS sumsq, count(CASE count WHEN 0 THEN 1 END) AS zeros
  FROM unit_count GROUP BY visit_id)
SELECT v.id, b.code, v.pest, v.date,
       printf('%d units, n %d, sum %d, squares %d, zeros %d', v.units, v.n, v.sum, v.sumsq, v.zeros) AS was,
       printf('%d units to number %d, n %d, sum %d, squares %d, zeros %d', ifnull(u.units, 0), ifnull(u.last, 0), ifnull(u.n, 0), ifnull(u.sum, 0), ifnull(u.sumsq, 0), ifnull(u.zeros, 0)) AS found
FROM visit v JOIN bed b ON b.id = v.bed_id LEFT JOIN u ON u.visit_id = v.id
WHERE (v.units, v.units, v.n, v.sum, v.sumsq, v.zeros) IS NOT
      (ifnull(u.units, 0), ifnull(u.last, 0), ifnull(u.n, 0), ifnull(u.sum, 0), ifnull(u.sumsq, 0), ifnull(u.zeros, 0))
ORDER BY v.id`)
	switch {
	case err != nil && len(out) > 0:
		return out, nil // the tables are not as they were made, so nothing can be read off them
	case err != nil:
		return nil, problem(s.path, "check", err)
	}
	lost, err := checkJournal(ctx, tx)
	switch {
	case err != nil && len(out) > 0:
		return out, nil
	case err != nil:
		return nil, problem(s.path, "check", err)
	}
	out = append(out, lost...)
	for _, v := range bad {
		out = append(out, fmt.Sprintf("visit record %d (bed %s, %s, %s)"+theSumsSay+"%s; the units say %s", v.ID, v.Bed, v.Pest, v.Date, v.Was, v.Found))
	}
	return out, nil
}

// theSumsSay stands in what is told of a visit whose counts have other sums.
const theSumsSay = ": the sums say "

// schemaRow is one table, index or trigger with the text that made it.
type schemaRow struct {
	Name string         `db:"name"`
	SQL  sql.NullString `db:"sql"`
}

const schemaQuery = `SELECT name, sql FROM sqlite_schema ORDER BY name`

// memoryWith is an empty store in memory with the tables of some migrations.
func memoryWith(all []migration) (*sqlx.DB, error) {
	db, err := sqlx.Open("sqlite", ":memory:")
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1) // each connection would have a memory of its own
	for _, m := range all {
		if _, err := db.Exec(m.sql); err != nil {
			return nil, errors.Join(fmt.Errorf("%s: %w", m.name, err), db.Close())
		}
	}
	return db, nil
}

// newestSchema is the schema of a new store, made once.
var newestSchema = sync.OnceValues(func() ([]schemaRow, error) { return makeSchema(embedded) })

// freshSchema is what the migrations make of an empty file.
func freshSchema(all []migration) ([]schemaRow, error) {
	if len(all) == len(embedded) {
		return newestSchema()
	}
	return makeSchema(all)
}

func makeSchema(all []migration) ([]schemaRow, error) {
	db, err := memoryWith(all)
	if err != nil {
		return nil, err
	}
	defer db.Close()
	var out []schemaRow
	err = db.Select(&out, schemaQuery)
	return out, err
}

// checkSchema finds tables, indexes and triggers that are not as the
// migrations make them: a flipped byte in their text can rename a column, which
// SQLite's own check takes for good.
func checkSchema(ctx context.Context, db selector, all []migration) ([]string, error) {
	want, err := freshSchema(all)
	if err != nil {
		return nil, err
	}
	var have []schemaRow
	if err := db.SelectContext(ctx, &have, schemaQuery); err != nil {
		return nil, err
	}
	text := map[string]string{}
	for _, r := range have {
		text[r.Name] = r.SQL.String
	}
	var out []string
	for _, r := range want {
		switch got, ok := text[r.Name]; {
		case !ok:
			out = append(out, "schema: "+r.Name+" is missing")
		case got != r.SQL.String:
			out = append(out, "schema: "+r.Name+" is not as it was made")
		}
	}
	return out, nil
}

// checkJournal finds records that the journal says were stored and that are
// not there.
func checkJournal(ctx context.Context, db selector) ([]string, error) {
	var out, tables []string
	if err := db.SelectContext(ctx, &tables, "SELECT name FROM sqlite_schema WHERE name = 'change_added'"); err != nil || len(tables) == 0 {
		return nil, err // a file of an earlier version
	}
	for _, kind := range Kinds {
		var rows []struct {
			Change int64 `db:"change_id"`
			Low    int64 `db:"low"`
			High   int64 `db:"high"`
			Found  int64 `db:"found"`
		}
		if err := db.SelectContext(ctx, &rows, `SELECT a.change_id, a.low, a.high, (SELECT count(*) FROM `+kinds[kind].table+` x WHERE x.id BETWEEN a.low AND a.high) AS found
FROM change_added a WHERE a.kind = ? AND found <> a.high - a.low + 1 ORDER BY a.change_id`, string(kind)); err != nil {
			return nil, err
		}
		for _, r := range rows {
			out = append(out, fmt.Sprintf("journal: change %d stored %s records %d to %d, and %d of them are there", r.Change, kind, r.Low, r.High, r.Found))
		}
	}
	return out, nil
}

type selector interface {
	SelectContext(ctx context.Context, dest any, query string, args ...any) error
}

// stopped reports whether damage kept a check from going on.
func stopped(err error) bool {
	c := code(err)
	return c&0xff == codeError || c&0xff == codeCorrupt || c == codeShortRead || c&0xff == codeNotADB
}

// checkFile runs SQLite's own checks. Damage that stops them is a finding.
func checkFile(ctx context.Context, db selector) ([]string, error) {
	var lines []string
	if err := db.SelectContext(ctx, &lines, "PRAGMA integrity_check(20)"); err != nil {
		if stopped(err) {
			return []string{"integrity: " + err.Error()}, nil
		}
		return nil, err
	}
	out, err := copyFindings(ctx, db, lines)
	if err != nil {
		return nil, err
	}
	var refs []struct {
		Table  string `db:"table"`
		Row    *int64 `db:"rowid"`
		Parent string `db:"parent"`
		FK     int    `db:"fkid"`
	}
	if err := db.SelectContext(ctx, &refs, "PRAGMA foreign_key_check"); err != nil {
		if stopped(err) {
			return append(out, "references: "+err.Error()), nil
		}
		return nil, err
	}
	for _, r := range refs {
		row := "a row"
		if r.Row != nil {
			row = fmt.Sprintf("record %d", *r.Row)
		}
		out = append(out, fmt.Sprintf("references: %s of %s points to a missing %s", row, r.Table, r.Parent))
	}
	return out, nil
}
