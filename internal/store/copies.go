package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"leafturn/internal/diag"
	"leafturn/internal/pattern"
	"leafturn/internal/tables"
)

// Every value that no sum tells of stands in an index besides its table (see
// migration 4), so a flipped bit is found wherever it is. This file puts in
// words what SQLite's check says of such an index.

// ofIndex are the lines of PRAGMA integrity_check that are about an index.
var ofIndex = pattern.New(`(?:missing from|entries in|entry in|differ from|of) index (\w+)$`)

// copyFindings puts the lines of an integrity check in words. In the place of
// those about an index come the values that differ.
func copyFindings(ctx context.Context, db selector, lines []string) (out []string, err error) {
	told := map[string]bool{}
	for _, l := range lines {
		m := ofIndex().FindStringSubmatch(l)
		switch {
		case l == "ok":
			continue
		case m == nil:
			out = append(out, "integrity: "+l)
			continue
		case told[m[1]]:
			continue
		}
		told[m[1]] = true
		found, err := differences(ctx, db, m[1])
		if err != nil && !stopped(err) {
			return nil, err
		}
		if len(found) == 0 {
			found = []string{"integrity: " + l}
		}
		out = append(out, found...)
	}
	return out, nil
}

// differences are the rows of which a table and one of its indexes say
// different things.
func differences(ctx context.Context, db selector, index string) ([]string, error) {
	var made []struct {
		Table string `db:"tbl_name"`
		SQL   string `db:"sql"`
	}
	if err := db.SelectContext(ctx, &made, "SELECT tbl_name, ifnull(sql, '') AS sql FROM sqlite_schema WHERE type = 'index' AND name = ?", index); err != nil || len(made) == 0 {
		return nil, err
	}
	table := made[0].Table
	_, where, partial := strings.Cut(made[0].SQL, "WHERE ")
	if !partial {
		where = "1"
	}
	var cols, key []string
	if err := db.SelectContext(ctx, &cols, "SELECT name FROM pragma_index_info(?) WHERE name IS NOT NULL ORDER BY seqno", index); err != nil {
		return nil, err
	}
	if err := db.SelectContext(ctx, &key, "SELECT name FROM pragma_table_info(?) WHERE pk > 0 ORDER BY pk", table); err != nil {
		return nil, err
	}
	read := func(from string) (map[string][]string, []string, error) {
		var rows []string
		list := make([]string, 0, len(key)+len(cols))
		for _, c := range slices.Concat(key, cols) {
			list = append(list, `hex(quote("`+c+`"))`)
		}
		query := "SELECT concat_ws(' ', " + strings.Join(list, ", ") + ") FROM " + table + " " + from + " WHERE " + where
		if err := db.SelectContext(ctx, &rows, query); err != nil {
			return nil, nil, err
		}
		out, order := map[string][]string{}, make([]string, len(rows))
		for i, r := range rows {
			cells := strings.Split(r, " ")
			order[i] = strings.Join(cells[:len(key)], " ")
			out[order[i]] = cells[len(key):]
		}
		return out, order, nil
	}
	rows, order, err := read(itself(table))
	if err != nil {
		return nil, err
	}
	copies, inCopy, err := read("INDEXED BY " + index)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, k := range order {
		second, ok := copies[k]
		if !ok {
			out = append(out, fmt.Sprintf("%s: it has no second copy (%s)", nameOfRow(table, k), said(cols, rows[k])))
			continue
		}
		for i, c := range cols {
			if rows[k][i] != second[i] {
				a, b := nearby(unhex(rows[k][i]), unhex(second[i]))
				out = append(out, fmt.Sprintf("%s: the record says %s is %s, its second copy says %s", nameOfRow(table, k), c, a, b))
			}
		}
	}
	for _, k := range inCopy {
		if _, ok := rows[k]; !ok {
			out = append(out, fmt.Sprintf("%s: it is not there, but its second copy is (%s)", nameOfRow(table, k), said(cols, copies[k])))
		}
	}
	return out, nil
}

// withoutRowid are the tables that are kept in the order of their key.
var withoutRowid = []string{"unit_count", "enemy_count", "label", "change_added", "change_step"}

// itself makes SQLite read a table and none of its indexes.
func itself(table string) string {
	if slices.Contains(withoutRowid, table) { // NOT INDEXED may still read a second copy
		return "INDEXED BY sqlite_autoindex_" + table + "_1"
	}
	return "NOT INDEXED"
}

// unhex is a value as SQL writes it.
func unhex(s string) string {
	b := make([]byte, len(s)/2)
	for i := range b {
		_, _ = fmt.Sscanf(s[2*i:2*i+2], "%02X", &b[i])
	}
	return strings.ToValidUTF8(string(b), "?")
}

// said is a row in words.
func said(cols, values []string) string {
	var out []string
	for i, c := range cols {
		v, _ := nearby(unhex(values[i]), "")
		out = append(out, c+" "+v)
	}
	return strings.Join(out, ", ")
}

// nearby shortens two long values to what is around their first difference.
func nearby(a, b string) (string, string) {
	const before, most = 20, 60
	same := 0
	for same < len(a) && same < len(b) && a[same] == b[same] {
		same++
	}
	from := max(0, same-before)
	cut := func(s string) string {
		start := min(from, len(s))
		for start > 0 && start < len(s) && !utf8.RuneStart(s[start]) {
			start--
		}
		end := min(start+most, len(s))
		for end < len(s) && !utf8.RuneStart(s[end]) {
			end++
		}
		out := s[start:end]
		if start > 0 {
			out = "..." + out
		}
		if end < len(s) {
			out += "..."
		}
		return out
	}
	return cut(a), cut(b)
}

// rowNames says what rows of a table are called by their key.
var rowNames = map[string]string{
	"farm": "the farm", "bed": "bed number %s", "label": "label %s version %s", "enemy_count": "visit record %s, natural enemy %s",
	"calendar_entry": "calendar entry %s", "change_set": "journal, change %s", "change_added": "journal, %s records from %s",
	"change_step": "journal, change %s step %s",
}

func nameOfRow(table, key string) string {
	var values []any
	for _, k := range strings.Split(key, " ") {
		values = append(values, strings.Trim(unhex(k), "'"))
	}
	if name, ok := rowNames[table]; ok {
		return fmt.Sprintf(name, values[:strings.Count(name, "%s")]...)
	}
	name := table
	for k, info := range kinds {
		if info.table == table {
			name = string(k)
		}
	}
	return fmt.Sprintf("%s record %s", name, values[0])
}

// Accept makes the second copies and the sums of visits anew from what the
// records and the counts say now, and returns what did not agree. It is for a
// person who has seen that, and puts what is wrong right with an amendment
// afterwards. Everything else that Check finds is ErrDamaged; ErrNothing is told
// when there is nothing. The journal keeps what was accepted.
func (s *Store) Accept(ctx context.Context, c Command) (found []string, err error) {
	err = s.UpdateAs(ctx, c, func(tx *Tx) error {
		var lines []string
		if err := tx.query(&lines, fmt.Sprintf("PRAGMA integrity_check(%d)", acceptMost)); err != nil {
			return err
		}
		for _, l := range lines {
			if l != "ok" && !ofIndex().MatchString(l) || len(lines) == acceptMost {
				return unacceptable(s.path, l)
			}
		}
		if found, err = copyFindings(ctx, tx.tx, lines); err != nil {
			return tx.fail("read", err)
		}
		if _, _, err := tx.exec("REINDEX"); err != nil {
			return unacceptable(s.path, err.Error())
		}
		left, err := s.check(ctx, tx.tx)
		if err != nil {
			return err
		}
		if len(left) > 0 {
			found = append(found, left...)
			if _, _, err := tx.exec(recountSQL); err != nil {
				return unacceptable(s.path, err.Error())
			}
			if left, err = s.check(ctx, tx.tx); err != nil {
				return err
			}
		}
		switch {
		case len(left) > 0:
			return unacceptable(s.path, left[0])
		case len(found) == 0:
			return &diag.Problem{What: "every record agrees with its second copy, and every visit with its counts", Do: "there is nothing to accept", Kept: keptNothing, Err: ErrNothing}
		}
		tx.log.accepted = true
		for i, f := range found {
			tx.log.step(step{Kind: kindCopy, Item: strconv.Itoa(i + 1), What: stepDescribe, Reason: f})
		}
		return nil
	})
	return found, err
}

// Acceptable reports whether a finding of Check is one that Accept takes.
func Acceptable(finding string) bool {
	return strings.Contains(finding, " second copy") || strings.Contains(finding, theSumsSay)
}

// AcceptWords say how to go on where a record and its second copy, or a visit
// and its counts, differ.
const AcceptWords = "put the newest backup that is sound back (`leafturn restore FILE`); or, where you know what is right, `leafturn doctor --accept` keeps what the records and the counts say, and `leafturn amend` or `set` puts right what is wrong in them"

// acceptMost is how many lines of the integrity check Accept looks at.
const acceptMost = 1000

func unacceptable(path, why string) error {
	return &diag.Problem{
		What: fmt.Sprintf("the store %q is damaged in more than values that stand twice: %s", path, why),
		Do:   "put the newest backup that is sound back (`leafturn restore FILE`); `leafturn doctor --rescue FOLDER` saves what can be read",
		Kept: keptNothing,
		Err:  ErrDamaged,
	}
}

// intact refuses to read a table that does not agree with its second copy. It
// looks once for each open store, and is for small tables whose values decide
// what is allowed.
func (t *Tx) intact(table string) error {
	if _, seen := t.s.intact.Load(table); seen || t.s.schema < copiesSince {
		return nil
	}
	var lines []string
	if err := t.query(&lines, "PRAGMA integrity_check("+table+")"); err != nil {
		return err
	}
	found, err := copyFindings(t.ctx, t.tx, lines)
	if err != nil {
		return t.fail("read", err)
	}
	if len(found) > 0 {
		return t.fail("read", &diag.Problem{
			What: fmt.Sprintf("the store %q is damaged: %s", t.s.path, found[0]),
			Do:   AcceptWords, Kept: "nothing was changed", Err: ErrDamaged,
		})
	}
	t.s.intact.Store(table, true)
	return nil
}

// Intact is ErrDamaged where a table does not agree with its second copy. The
// counts have none, but sums: these are left to Check, and so are the CHECKs of
// values, which take most of its time.
func (s *Store) Intact(ctx context.Context) error {
	db, err := openDB(s.file, s.mode, s.o, checksOff)
	if err != nil {
		return problem(s.path, "check", err)
	}
	err = s.runOn(ctx, db, nil, func(t *Tx) error {
		for _, tb := range tables.All {
			if tb.Name == "unit_count" {
				continue
			}
			if err := t.intact(tb.Name); err != nil {
				return err
			}
		}
		return nil
	})
	return errors.Join(err, problem(s.path, "check", db.Close()))
}

// copiesSince is the version of the schema that has the second copies.
const copiesSince = 4
