package store

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"

	"leafturn/internal/tables"
)

// WriteTable writes a whole table as CSV, header first, in the order of its key,
// and returns how many rows it has. What is taken out is among them. Little is
// held in memory. tell is told of rows now and then; it may be nil. Bytes that are
// no UTF-8 are written as they are.
// It does not look at the second copies of what it writes: see Intact.
func (t *Tx) WriteTable(w io.Writer, tb tables.Table, tell func(rows int64)) (int64, error) {
	out := bufio.NewWriterSize(w, 1<<16)
	for i, c := range tb.Columns {
		if i > 0 {
			out.WriteByte(',')
		}
		out.WriteString(c.Name)
	}
	out.WriteString("\r\n")
	var rows int64
	did := func(n int64) {
		if before := rows >> 14; tell != nil && (rows+n)>>14 != before {
			tell(rows + n)
		}
		rows += n
	}
	write := t.writeRows
	if tb.Name == "unit_count" {
		write = t.writeCounts
	}
	if err := write(out, tb, did); err != nil {
		return rows, err
	}
	return rows, out.Flush()
}

// beside joins what the columns that repeat others are taken from.
func beside(tb tables.Table) string {
	switch {
	case tb.Column("bed") >= 0 && tb.Column("bed_id") >= 0:
		return " LEFT JOIN bed b ON b.id = x.bed_id"
	case tb.Column("visit_id") >= 0:
		return " LEFT JOIN visit v ON v.id = x.visit_id LEFT JOIN bed b ON b.id = v.bed_id"
	}
	return ""
}

func columnSQL(c tables.Column) string {
	switch {
	case c.Copy() && c.Name == "bed":
		return "b.code"
	case c.Copy():
		return "v." + c.Name
	case c.Type == tables.Number:
		return `quote(x."` + c.Name + `")` // every digit
	}
	return `x."` + c.Name + `"`
}

// writeRows writes the rows of a table.
func (t *Tx) writeRows(out *bufio.Writer, tb tables.Table, did func(int64)) error {
	var line []byte
	return t.EachRow(tb, func(cells []tables.Cell) (err error) {
		line = line[:0]
		for i, c := range tb.Columns {
			if i > 0 {
				line = append(line, ',')
			}
			if line, err = c.Append(line, cells[i]); err != nil {
				return damaged(t.s.path, fmt.Errorf("%s: %w", tb.Name, err))
			}
		}
		did(1)
		_, err = out.Write(append(line, '\r', '\n'))
		return err
	})
}

// EachRow gives every row of a table in the order of its key; the cells are good
// until f returns. A row is read as one text, every cell with its length in
// front: asking SQLite for one value at a time takes several times as long.
func (t *Tx) EachRow(tb tables.Table, f func(cells []tables.Cell) error) error {
	var list []string
	for _, c := range tb.Columns {
		x := columnSQL(c)
		cell := "octet_length(" + x + "), ':', " + x
		if c.Blank == tables.BlankNull || c.Copy() {
			null := x
			if c.Type == tables.Number {
				null = `x."` + c.Name + `"`
			}
			cell = "iif(" + null + " IS NULL, '-', octet_length(" + x + ") || ':' || " + x + ")"
		}
		list = append(list, cell)
	}
	cells := make([]tables.Cell, len(tb.Columns))
	return t.each(func(scan func(dest ...any) error) error {
		var text string
		if err := scan(&text); err != nil {
			return err
		}
		for i := range cells {
			var err error
			if cells[i], text, err = cutCell(text); err != nil {
				return damaged(t.s.path, fmt.Errorf("%s: %w", tb.Name, err))
			}
		}
		return f(cells)
	}, "SELECT concat("+strings.Join(list, ", ")+`) FROM "`+tb.Name+`" x`+beside(tb)+" ORDER BY "+orderOf(tb))
}

func orderOf(tb tables.Table) string { return `x."` + strings.Join(tb.Key, `", x."`) + `"` }

// cutCell takes the first cell off a row.
func cutCell(text string) (c tables.Cell, rest string, err error) {
	if rest, null := strings.CutPrefix(text, "-"); null {
		return tables.Cell{Null: true}, rest, nil
	}
	length, rest, _ := strings.Cut(text, ":")
	n, err := strconv.Atoi(length)
	if err != nil || n > len(rest) {
		return c, "", fmt.Errorf("a row that cannot be read: %.40q", text)
	}
	return tables.Cell{Text: rest[:n]}, rest[n:], nil
}
