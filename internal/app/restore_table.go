package app

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"leafturn/internal/diag"
	"leafturn/internal/record"
	"leafturn/internal/store"
	"leafturn/internal/tables"
)

// tableIn is one file of a folder of tables being read.
type tableIn struct {
	r      *tablesIn
	t      tables.Table
	file   string
	csv    *record.Reader
	stored []string // columns of the store, in its order
	at     []int    // where column i of the table stands in the file, -1 for nowhere
	order  []int    // the table's column for each of stored
	width  int
	rows   int64
	values []any // of the table's columns
	later  []selfRef
}

// selfRef is a row that points to one of the same table.
type selfRef struct {
	row, col int
	to       int64
}

func newTableIn(r *tablesIn, t tables.Table, stored []string, in io.Reader) *tableIn {
	x := &tableIn{r: r, t: t, file: r.file(t), csv: record.NewReader(in), stored: stored, at: make([]int, len(t.Columns)), values: make([]any, len(t.Columns))}
	for _, name := range stored {
		x.order = append(x.order, t.Column(name))
	}
	return x
}

func (x *tableIn) add(row, col int, do, format string, args ...any) {
	x.r.add(x.file, row, col, do, format, args...)
}

// header finds the columns, in whatever order, and reports whether the rows can
// be read.
func (x *tableIn) header() bool {
	cells, row, err := x.csv.Read()
	if err != nil {
		x.add(row, 0, "take the file as it was written", "there is no header: %v", err)
		return false
	}
	for _, cut := range []struct{ sign, name string }{{";", "semicolons"}, {"\t", "tabs"}} {
		if len(cells) == 1 && strings.Contains(cells[0], cut.sign) {
			x.add(row, 0, "save it with commas between the cells; what a spreadsheet did to the values is told then", "its cells are cut by %s, not by commas", cut.name)
			return false
		}
	}
	heads := make([]string, len(cells))
	for i, c := range cells {
		heads[i] = strings.ToLower(strings.TrimSpace(c))
	}
	x.r.heads[x.t.Name] = heads
	x.width = len(heads)
	ok := true
	for i, c := range x.t.Columns {
		x.at[i] = slices.Index(heads, c.Name)
		if x.at[i] < 0 && !c.Copy() && slices.Contains(x.stored, c.Name) {
			x.add(row, 0, "add the column; `leafturn export` writes it", "the column %s is missing", c.Name)
			ok = false
		}
	}
	for i, h := range heads {
		if slices.Index(heads, h) < i && h != "" {
			x.add(row, i+1, "leave one of them", "the column %s stands there twice", h)
			ok = false
		} else if h != "" && x.t.Column(h) < 0 {
			x.r.data.NotRead = append(x.r.data.NotRead, fmt.Sprintf("column %q of %s.csv%s", h, x.t.File, diag.DidYouMean(h, x.stored)))
		}
	}
	return ok
}

// next is the next row that can be stored; what is wrong with others is noted.
func (x *tableIn) next() (store.TableRow, bool, error) {
	for {
		if x.rows&0x3fff == 0 {
			if err := x.r.ctx.Err(); err != nil {
				return store.TableRow{}, false, err
			}
			if x.r.o.Progress != nil {
				x.r.o.Progress(x.file, x.rows, 0)
			}
		}
		cells, row, err := x.csv.Read()
		var bad *record.RowError
		switch {
		case errors.Is(err, io.EOF):
			return store.TableRow{}, false, nil
		case errors.As(err, &bad):
			x.rows++
			x.add(bad.Row, bad.Col, "put the whole cell in quotes, and write a quote within it twice", "%s", bad.What)
			continue
		case err != nil:
			x.add(row, 0, "take the file from a copy", "the file cannot be read on: %v", unwrapPath(err))
			return store.TableRow{}, false, nil
		}
		if len(cells) == 1 && cells[0] == "" { // a blank line
			continue
		}
		x.rows++
		if x.read(cells, row) {
			out := make([]any, len(x.order))
			for i, c := range x.order {
				out[i] = x.values[c]
			}
			return store.TableRow{Row: row, Values: out}, true, nil
		}
	}
}

// read takes the values of a row and reports whether all are good.
func (x *tableIn) read(cells []string, row int) bool {
	for len(cells) > x.width && cells[len(cells)-1] == "" {
		cells = cells[:len(cells)-1]
	}
	if len(cells) != x.width {
		x.add(row, 0, "correct the commas and quotes of that row", "the row has %s for %s", unitsOf(len(cells), "cell"), unitsOf(x.width, "column"))
		return false
	}
	ok := true
	for i, c := range x.t.Columns {
		if x.at[i] < 0 {
			x.values[i] = nil
			continue
		}
		if cell := cells[x.at[i]]; x.r.o.Changed && !utf8.ValidString(cell) {
			x.add(row, x.at[i]+1, "save the file again as CSV UTF-8", "%s: %q is not written in UTF-8: another program saved the file in its own letters", c.Name, cell)
			ok = false
			continue
		}
		v, wrong := c.Value(cells[x.at[i]])
		if wrong != nil {
			x.add(row, x.at[i]+1, wrong.Do, "%s: %s", c.Name, wrong.What)
			ok = false
		}
		x.values[i] = v
	}
	x.remember(!ok)
	return ok && x.points(row) && x.copies(row)
}

func (x *tableIn) value(column string) any { return x.values[x.t.Column(column)] }

func (x *tableIn) number(column string) int64 {
	n, _ := x.value(column).(int64)
	return n
}

func (x *tableIn) text(column string) string {
	s, _ := x.value(column).(string)
	return s
}

// remember keeps what others point to, also of a row that is wrong: those others
// are not.
func (x *tableIn) remember(bad bool) {
	r := x.r
	switch x.t.Name {
	case "bed":
		r.beds[x.number("id")] = pointed{bed: x.text("code"), bad: bad}
	case "visit":
		b, ok := r.beds[x.number("bed_id")]
		r.visits[x.number("id")] = pointed{b.bed, x.text("date"), x.text("pest"), bad || b.bad || !ok}
	case "label":
		r.labels[labelID(x.text("key"), x.number("version"))] = true
	case "change_set":
		r.changes[x.number("id")] = true
	}
}

// points checks that what the row refers to is there.
func (x *tableIn) points(row int) bool {
	r := x.r
	for _, ref := range x.t.Refs {
		column := ref.Columns[0]
		there := true
		switch ref.Table {
		case "bed":
			_, there = r.beds[x.number(column)]
		case "visit":
			_, there = r.visits[x.number(column)]
		case "label":
			there = r.labels[labelID(x.text(column), x.number(ref.Columns[1]))]
		case "change_set":
			if ref.Table != x.t.Name {
				there = r.changes[x.number(column)]
			} else if x.value(column) != nil {
				x.later = append(x.later, selfRef{row, x.at[x.t.Column(column)] + 1, x.number(column)})
			}
		}
		if !there && !r.unread[ref.Table] {
			var said []string
			for _, c := range ref.Columns {
				said = append(said, fmt.Sprintf("%s %v", c, x.value(c)))
			}
			x.add(row, x.at[x.t.Column(column)]+1, "give the number of a row that is there, or add that row", "%s: there is no such row in %s.csv", strings.Join(said, ", "), tables.ByName(ref.Table).File)
			return false
		}
	}
	return true
}

func labelID(key string, version int64) string {
	return strings.ToLower(key) + "\x00" + strconv.FormatInt(version, 10)
}

// copies checks that what is repeated for people agrees with what it repeats: a
// person may have corrected the one and meant the other.
func (x *tableIn) copies(row int) bool {
	if x.r.unread["bed"] || x.r.unread["visit"] {
		return true
	}
	ok := true
	for i, c := range x.t.Columns {
		if !c.Copy() || x.at[i] < 0 {
			continue
		}
		of, rows := "visit_id", x.r.visits
		if x.t.Column("bed_id") >= 0 {
			of, rows = "bed_id", x.r.beds
		}
		what := rows[x.number(of)]
		want := what.bed
		switch c.Name {
		case "date":
			want = what.date
		case "pest":
			want = what.pest
		}
		if got := x.text(c.Name); got != want && !what.bad {
			x.add(row, x.at[i]+1, fmt.Sprintf("correct %s: the column %s only repeats what it points to", of, c.Name), "%s is %q, and %s %d is of %q", c.Name, got, of, x.number(of), want)
			ok = false
		}
	}
	return ok
}

// end checks what could not be known before all rows were read.
func (x *tableIn) end() {
	for _, s := range x.later {
		if !x.r.changes[s.to] {
			x.add(s.row, s.col, "give the number of a row that is there", "about %d: there is no such row in %s.csv", s.to, x.t.File)
		}
	}
}
