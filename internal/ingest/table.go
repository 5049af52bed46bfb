package ingest

import (
	"encoding/csv"
	"errors"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"leafturn/internal/pattern"
	"leafturn/internal/units"
)

// cell is one value of a table and where it stands.
type cell struct {
	text     string
	row, col int
}

// column is one heading: its plain name and the unit that its suffix gives.
type column struct {
	cell
	name, unit string
}

// table is a CSV file with a heading row, cut by commas, semicolons or tabs.
type table struct {
	*problems
	columns []column
	rows    [][]cell
	decimal bool // cut by semicolon or tab: 7,5 is a decimal comma
}

// readTable reads a CSV file. split cuts a tidied heading into name and unit
// and reports whether it is known; known lists the headings to suggest.
// Lines that begin with "#" and rows without any text are skipped.
func readTable(r io.Reader, file string, known []string, split func(heading string) (name, unit string, ok bool)) (*table, bool) {
	p := &problems{file: file}
	t := &table{problems: p}
	lines, bad, ok := p.readText(r, maxTable)
	if !ok {
		return t, false
	}
	for row := range bad {
		lines[row-1] = "" // reported; kept as a blank line so that rows keep their numbers
	}
	var first string
	for _, l := range lines {
		if strings.TrimSpace(l) != "" && !strings.HasPrefix(l, "#") {
			first = l
			break
		}
	}
	if first == "" {
		if p.count() == 0 {
			p.add(0, 0, "begin with a heading row such as: "+strings.Join(known, ","), "the file is empty")
		}
		return t, false
	}
	cr := csv.NewReader(strings.NewReader(strings.Join(lines, "\n")))
	cr.Comma, cr.Comment, cr.FieldsPerRecord = ',', '#', -1
	for _, sep := range []rune{';', '\t'} {
		if strings.Count(first, string(sep)) > strings.Count(first, string(cr.Comma)) {
			cr.Comma, t.decimal = sep, true
		}
	}
	place := func(line, byteCol int) (row, col int) {
		row = min(line, len(lines))
		return row, utf8.RuneCountInString(lines[row-1][:min(byteCol-1, len(lines[row-1]))]) + 1
	}
	for {
		fields, err := cr.Read()
		if err == io.EOF {
			break
		}
		var pe *csv.ParseError
		if errors.As(err, &pe) {
			row, col := place(pe.Line, pe.Column)
			p.add(row, col, `put a value that holds a quotation mark in quotation marks and double it: "a ""b"" c"`, "the quotation marks do not match")
			if t.columns == nil {
				return t, false
			}
			continue
		}
		cells := make([]cell, len(fields))
		blank := true
		for i, f := range fields {
			row, col := place(cr.FieldPos(i))
			cells[i] = cell{tidy(f), row, col}
			blank = blank && cells[i].text == ""
		}
		switch {
		case blank:
		case t.columns == nil:
			if !t.heading(cells, known, split) {
				return t, false
			}
		case len(cells) != len(t.columns):
			at := cells[min(len(cells), len(t.columns)+1)-1]
			p.add(at.row, at.col, "give every row as many cells as the heading; a blank cell still needs its separator",
				"the row has %d cells, the heading has %d", len(cells), len(t.columns))
		default:
			t.rows = append(t.rows, cells)
		}
	}
	if t.columns == nil {
		p.add(1, 1, "begin with a heading row such as: "+strings.Join(known, ","), "no heading row")
	}
	return t, t.columns != nil
}

// heading reads the first row and reports whether the rows below can be read.
func (t *table) heading(cells []cell, known []string, split func(string) (string, string, bool)) bool {
	good := true
	seen := map[string]column{}
	for _, c := range cells {
		name, unit, ok := split(plain(c.text))
		col := column{c, name, unit}
		switch {
		case c.text == "":
			t.add(c.row, c.col, "name the column or delete it", "a column without a heading")
			good = false
		case !ok:
			t.put(c.row, c.col, unknown("column", c.text, known))
			good = false
		default:
			if twin, twice := seen[name]; twice {
				t.add(c.row, c.col, "keep one of the two columns", "the column %s stands twice; the first is %s at column %d", quote(c.text), quote(twin.text), twin.col)
				good = false
			}
			seen[name] = col
		}
		t.columns = append(t.columns, col)
	}
	return good
}

var notWord = pattern.New(`[^\pL\pN%]+`)

// plain writes a heading in lower case with "_" for what is no letter or
// digit: "Min (°C)" becomes "min_c".
func plain(s string) string {
	return strings.Trim(notWord().ReplaceAllString(strings.ToLower(s), "_"), "_")
}

// need reports the columns of names that are missing.
func (t *table) need(names map[string]string) bool {
	good := true
	for _, name := range sortedKeys(names) {
		if !slices.ContainsFunc(t.columns, func(c column) bool { return c.name == name }) {
			t.add(t.columns[0].row, 1, "add a column "+names[name], "the column %q is missing", name)
			good = false
		}
	}
	return good
}

func sortedKeys(m map[string]string) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// each calls f with every filled cell of a row.
func (t *table) each(row []cell, f func(column, cell)) {
	for i, c := range row {
		if c.text != "" {
			f(t.columns[i], c)
		}
	}
}

var decimalComma = pattern.New(`^([-+]?\d+),(\d{1,2})(\D.*)?$`)

// measure reads a number with a unit: the cell's own unit, else the
// heading's. what names it, as in "length".
func (t *table) measure(c column, x cell, dim units.Dimension, forms string) (units.Quantity, bool) {
	s := t.dot(x.text)
	if strings.Contains(s, ",") {
		t.add(x.row, x.col, "write a decimal point and no comma: 7.5", "%s holds a comma", quote(x.text))
		return units.Quantity{}, false
	}
	q, err := units.ParseAs(s, dim, c.unit)
	if err == nil {
		return q, true
	}
	if _, bare := units.ParseNumber(s); bare == nil {
		t.add(x.row, x.col, "name the column "+forms, "%s of %s has no unit", quote(x.text), c.name)
		return q, false
	}
	t.add(x.row, x.col, "write a number; leave the cell blank if there is none", "%s is no %s: %v", quote(x.text), c.name, err)
	return q, false
}

// dot turns a decimal comma into a point where the cells are not cut by commas.
func (t *table) dot(s string) string {
	if t.decimal {
		return decimalComma().ReplaceAllString(s, "$1.$2$3")
	}
	return s
}

// csvText writes rows as CSV with LF line ends.
func csvText(rows [][]string) string {
	var b strings.Builder
	w := csv.NewWriter(&b)
	_ = w.WriteAll(rows) // a strings.Builder does not fail
	return b.String()
}

// Key writes a name as CoverNames are looked up: in lower case, with "_" for
// what is no letter or digit.
func Key(name string) string { return plain(name) }
