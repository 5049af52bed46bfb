package store

import (
	"crypto/sha256"
	"fmt"
	"io"
	"strings"
)

// notAround are the tables that Around leaves out: visits, what calendars were
// given and the journal, which no list depends on.
var notAround = map[string]bool{"visit": true, "unit_count": true, "enemy_count": true, "calendar_entry": true, "change_set": true, "change_added": true, "change_step": true}

// Around writes to w, for a hash, all that lists are made from but for visits:
// every row of every table, a new one included, but for notAround. Two stores
// of one farm that write the same and hold the same visits give the same lists.
func (t *Tx) Around(w io.Writer) error {
	var tables []string
	if err := t.query(&tables, "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite%' ORDER BY name"); err != nil {
		return err
	}
	for _, table := range tables {
		if notAround[table] {
			continue
		}
		cols, err := t.quoted(table)
		if err != nil {
			return err
		}
		var text *string
		if _, err := t.get(&text, "SELECT group_concat("+cols+", char(10)) FROM "+table); err != nil {
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
		case c.Type == "TEXT": // with its length in front, it needs no quotes, which take long
			out[i] = "iif(" + c.Name + " IS NULL, '-', length(CAST(" + c.Name + " AS BLOB)) || ',' || " + c.Name + ")"
		default:
			out[i] = "iif(" + c.Name + " IS NULL, '-', quote(" + c.Name + "))"
		}
	}
	return "format('%s" + strings.Repeat(",%s", len(cols)-1) + "', " + strings.Join(out, ", ") + ")", nil
}

// tail is how many of the last changes JournalSum looks at.
const tail = 100

// JournalSum hashes the last changes that the journal holds up to one of them, 0
// for all, and returns the number of the last. A store in which they say the same
// is the one in which they were made, or grew out of it: its journal only grows.
func (t *Tx) JournalSum(upTo int64) (sum []byte, last int64, err error) {
	if last = upTo; last == 0 {
		if _, err := t.get(&last, "SELECT ifnull(max(id), 0) FROM change_set"); err != nil {
			return nil, 0, err
		}
	}
	cols, err := t.quoted("change_set")
	if err != nil {
		return nil, 0, err
	}
	var text *string
	if _, err := t.get(&text, "SELECT group_concat("+cols+", char(10)) FROM (SELECT id, at, command, actor, what, about FROM change_set WHERE id > ? AND id <= ? ORDER BY id)", last-tail, last); err != nil || text == nil {
		return nil, last, err
	}
	hash := sha256.Sum256([]byte(*text))
	return hash[:], last, nil
}
