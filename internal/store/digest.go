package store

import (
	"fmt"
	"io"
	"strings"

	"leafturn/internal/civil"
)

// noDigest are the tables that Digest leaves out: what calendars were given,
// which no list depends on, and single counts, which never change once they are
// stored (a trigger sees to it) and whose sums stand on the visit.
var noDigest = map[string]bool{"calendar_entry": true, "unit_count": true}

// Digest writes to w, for a hash, what a list is made from: every row of every table, but for
// noDigest; of the visits, which are many, those from a day on. The earlier ones
// are told by how many there are and how many of them are not voided: visits are
// neither changed nor deleted. Two stores of one farm that write the same give
// the same lists.
func (t *Tx) Digest(w io.Writer, from civil.Date) error {
	var tables []string
	if err := t.query(&tables, "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite%' ORDER BY name"); err != nil {
		return err
	}
	for _, table := range tables {
		if noDigest[table] {
			continue
		}
		where, args := "", []any{}
		switch table {
		case "visit":
			where, args = " WHERE date >= ?", []any{from}
			var n [3]int64
			for i, q := range []string{"SELECT count(*) FROM visit", "SELECT count(*) FROM visit WHERE voided_at IS NULL", "SELECT ifnull(max(id), 0) FROM visit"} {
				if _, err := t.get(&n[i], q); err != nil {
					return err
				}
			}
			fmt.Fprintln(w, n)
		case "enemy_count":
			where, args = " WHERE visit_id >= (SELECT min(id) FROM visit WHERE date >= ?)", []any{from}
		}
		cols, err := t.quoted(table)
		if err != nil {
			return err
		}
		var text *string
		if _, err := t.get(&text, "SELECT group_concat("+cols+", char(10)) FROM "+table+where, args...); err != nil {
			return err
		}
		if text == nil {
			text = new(string)
		}
		if _, err := fmt.Fprintf(w, "%s %d\n%s\n", table, len(*text), *text); err != nil {
			return err
		}
	}
	return nil
}

// quoted is an expression for a row of a table that no two different rows
// share: numbers and text are written so that they can be told apart.
func (t *Tx) quoted(table string) (string, error) {
	var cols []struct {
		Name    string `db:"name"`
		Type    string `db:"type"`
		NotNull bool   `db:"notnull"`
	}
	if err := t.query(&cols, `SELECT name, type, "notnull" FROM pragma_table_info(?)`, table); err != nil {
		return "", err
	}
	out := make([]string, len(cols))
	for i, c := range cols {
		switch {
		case c.Type == "INTEGER" && c.NotNull:
			out[i] = c.Name
		case c.Type == "INTEGER":
			out[i] = "ifnull(" + c.Name + ", '-')"
		case c.Type == "TEXT" && c.NotNull: // with its length in front, it needs no quotes, which take long
			out[i] = "octet_length(" + c.Name + "), " + c.Name
		case c.Type == "TEXT":
			out[i] = "iif(" + c.Name + " IS NULL, '-', octet_length(" + c.Name + ") || ',' || " + c.Name + ")"
		default:
			out[i] = "iif(" + c.Name + " IS NULL, '-', quote(" + c.Name + "))"
		}
	}
	return "concat_ws(',', " + strings.Join(out, ", ") + ")", nil
}
