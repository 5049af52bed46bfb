// Package workbook writes XLSX workbooks row by row: every cell has a type, and
// none is a formula.
//
// Not here: what stands in a workbook, and reading one (package sheet).
package workbook

import (
	"fmt"
	"io"
	"time"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"

	"leafturn/internal/civil"
)

// What a spreadsheet takes (Excel specifications and limits).
const (
	MaxRows = 1_048_576 // of a sheet, its header among them
	MaxCell = 32_767    // letters of a cell, in UTF-16 units
)

// Column is one column of a sheet.
type Column struct {
	Title string
	Width float64 // in digits
}

// Book is a workbook being written.
type Book struct {
	file                *excelize.File
	head, date, instant int // styles
	sheets              int
	rows                int // of a sheet at most
	Cut                 int // cells that were too long and end in "…"
}

// New begins a workbook.
func New() (*Book, error) {
	b := &Book{file: excelize.NewFile(), rows: MaxRows}
	var err error
	style := func(s excelize.Style) (id int) {
		if err == nil {
			id, err = b.file.NewStyle(&s)
		}
		return id
	}
	day, instant := "yyyy-mm-dd", "yyyy-mm-dd hh:mm"
	b.head = style(excelize.Style{Font: &excelize.Font{Bold: true}})
	b.date = style(excelize.Style{CustomNumFmt: &day})
	b.instant = style(excelize.Style{CustomNumFmt: &instant})
	return b, err
}

// Close lets go of what the workbook holds.
func (b *Book) Close() error { return b.file.Close() }

// WriteTo writes the finished workbook.
func (b *Book) WriteTo(w io.Writer) (int64, error) { return b.file.WriteTo(w) }

// Sheet is a sheet being written.
type Sheet struct {
	b       *Book
	name    string
	parts   int
	columns []Column
	out     *excelize.StreamWriter
	row     int
	Rows    int64
}

// Sheet begins a sheet with a header that stays in view.
func (b *Book) Sheet(name string, columns []Column) (*Sheet, error) {
	s := &Sheet{b: b, name: name, columns: columns}
	return s, s.begin()
}

// begin opens the next part of a sheet: what is longer than a spreadsheet takes
// goes on in another.
func (s *Sheet) begin() error {
	s.parts++
	name := s.name
	if s.parts > 1 {
		name = fmt.Sprintf("%s %d", s.name, s.parts)
	}
	b := s.b
	var err error
	if b.sheets == 0 {
		err = b.file.SetSheetName(b.file.GetSheetName(0), name)
	} else {
		_, err = b.file.NewSheet(name)
	}
	if err != nil {
		return err
	}
	b.sheets++
	if s.out, err = b.file.NewStreamWriter(name); err != nil {
		return err
	}
	head := make([]any, len(s.columns))
	for i, c := range s.columns {
		head[i] = excelize.Cell{StyleID: b.head, Value: c.Title}
		if err := s.out.SetColWidth(i+1, i+1, c.Width); err != nil {
			return err
		}
	}
	if err := s.out.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	s.row = 1
	return s.out.SetRow("A1", head)
}

// Row adds a row. A value is a string, an int64, a float64, a bool, a civil.Date,
// a time.Time whose clock is shown as it is, or nil for an empty cell.
func (s *Sheet) Row(values ...any) error {
	if s.row == s.b.rows {
		if err := s.out.Flush(); err != nil {
			return err
		}
		if err := s.begin(); err != nil {
			return err
		}
	}
	s.row++
	s.Rows++
	for i, v := range values {
		switch x := v.(type) {
		case string:
			values[i] = s.b.fit(x)
		case civil.Date:
			values[i] = s.b.stamp(time.Date(x.Year, x.Month, x.Day, 0, 0, 0, 0, time.UTC), s.b.date, x.String())
		case time.Time:
			at := time.Date(x.Year(), x.Month(), x.Day(), x.Hour(), x.Minute(), x.Second(), 0, time.UTC)
			values[i] = s.b.stamp(at, s.b.instant, at.Format("2006-01-02 15:04"))
		}
	}
	return s.out.SetRow(fmt.Sprintf("A%d", s.row), values)
}

// stamp is a cell of a day or an instant: text where a spreadsheet has none so
// early.
func (b *Book) stamp(at time.Time, style int, text string) any {
	if at.Year() < 1901 {
		return text
	}
	return excelize.Cell{StyleID: style, Value: at}
}

// fit cuts a text that is longer than a cell takes.
func (b *Book) fit(s string) string {
	units, end := 0, 0
	for i, r := range s {
		if units < MaxCell {
			end = i // what fits with the sign behind it
		}
		units += utf16.RuneLen(r)
	}
	if units <= MaxCell {
		return s
	}
	b.Cut++
	return s[:end] + "…"
}

// End ends a sheet and returns how many it became.
func (s *Sheet) End() (parts int, err error) { return s.parts, s.out.Flush() }
