package sheet

import (
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/xuri/excelize/v2"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/pattern"
)

// bookRows reads a sheet of a workbook row by row. The library gives cells
// raw or as shown, not both: two iterators run side by side, so that a date
// is told from a number.
type bookRows struct {
	s          *Source
	book       *excelize.File
	raw, shown *excelize.Rows
	date1904   bool
	beside     beside
	widest     int // the last column that beside knows of
	n          int
}

func (s *Source) openBook(sheet string) (*bookRows, Format, error) {
	f, err := os.Open(s.path)
	if err != nil {
		return nil, Format{}, s.fail(0, "check its permissions", "cannot be read: %v", cause(err))
	}
	defer f.Close()
	sum := crc32.New(table)
	book, err := openBook(io.TeeReader(io.LimitReader(f, maxZip+1), sum))
	if err2 := s.same(sum.Sum32()); err2 != nil {
		if book != nil {
			book.Close()
		}
		return nil, Format{}, err2
	}
	if err != nil {
		return nil, Format{}, s.fail(0, "save it again from your spreadsheet, without a password", "is a damaged workbook: %v", err)
	}
	name, unread, problem := s.choose(book, sheet)
	if problem != nil {
		book.Close()
		return nil, Format{}, problem
	}
	b := &bookRows{s: s, book: book, beside: s.lookBeside(book, name)}
	for at := range b.beside.formulas {
		b.widest = min(max(b.widest, at.col), maxColumns)
	}
	if props, err := book.GetWorkbookProps(); err == nil && props.Date1904 != nil {
		b.date1904 = *props.Date1904
	}
	if err := markDates(book); err != nil {
		b.close()
		return nil, Format{}, s.fail(0, "save it again from your spreadsheet", "is a damaged workbook: %v", err)
	}
	b.raw, err = book.Rows(name)
	if err == nil {
		b.shown, err = book.Rows(name)
	}
	if err != nil {
		b.close()
		return nil, Format{}, s.fail(0, "save it again from your spreadsheet", "the sheet %s cannot be read: %v", quote(name), err)
	}
	return b, Format{Kind: "XLSX", Sheet: name, Unread: unread}, nil
}

// openBook keeps a damaged workbook that the library does not stand from
// ending the program.
func openBook(r io.Reader) (book *excelize.File, err error) {
	defer func() {
		if x := recover(); x != nil {
			book, err = nil, fmt.Errorf("its parts do not fit together (%v)", x)
		}
	}()
	return excelize.OpenReader(r, excelize.Options{UnzipSizeLimit: maxUnzipped, UnzipXMLSizeLimit: maxPart})
}

// choose finds the sheet to read: the one that was named, or the only one that holds
// anything, or of several the only one that is not hidden; unread are the others.
func (s *Source) choose(book *excelize.File, named string) (name string, unread []string, no *diag.Problem) {
	var all, filled, open []string
	for _, name := range book.GetSheetList() {
		all = append(all, quote(name))
		if named != "" && strings.EqualFold(tidy(name), tidy(named)) {
			return name, nil, nil
		}
		if !holdsAnything(book, name) {
			continue
		}
		filled = append(filled, name)
		if visible, err := book.GetSheetVisible(name); err == nil && visible {
			open = append(open, name)
		} else {
			unread = append(unread, quote(name))
		}
	}
	var plain []string
	for _, n := range filled {
		plain = append(plain, quote(n))
	}
	switch {
	case named != "":
		p := s.fail(0, "give --sheet with one of: "+strings.Join(all, ", "), "holds no sheet %s%s", quote(named), diag.DidYouMean(named, book.GetSheetList()))
		p.Usage = true
		return "", nil, p
	case len(filled) == 0:
		return "", nil, s.fail(0, "check that this is the right workbook", "holds no sheet with anything in it")
	case len(open) == 1:
		return open[0], unread, nil
	case len(filled) > 1:
		p := s.fail(0, "say which with --sheet, one of: "+strings.Join(plain, ", "), "holds %d sheets", len(filled))
		p.Usage = true
		return "", nil, p
	}
	return filled[0], nil, nil
}

func holdsAnything(book *excelize.File, name string) (found bool) {
	defer func() {
		if recover() != nil {
			found = true // a damaged sheet: reading it says so
		}
	}()
	r, err := book.Rows(name)
	if err != nil {
		return false // a sheet of charts
	}
	defer r.Close()
	for range headRows {
		if !r.Next() {
			return false
		}
		cells, err := r.Columns()
		if err != nil || len(fill(cells)) > 0 {
			return true
		}
	}
	return true
}

func (b *bookRows) close() {
	for _, r := range []*excelize.Rows{b.raw, b.shown} {
		if r != nil {
			r.Close()
		}
	}
	b.book.Close()
}

func (b *bookRows) next() (row Row, err error) {
	defer func() {
		if x := recover(); x != nil {
			err = b.s.fail(b.n, "save it again from your spreadsheet", "is a damaged workbook: its parts do not fit together (%v)", x)
		}
	}()
	b.n++
	if !b.raw.Next() || !b.shown.Next() {
		if err := errors.Join(b.raw.Error(), b.shown.Error()); err != nil {
			return Row{}, b.s.fail(b.n, "save it again from your spreadsheet", "cannot be read: %v", err)
		}
		return Row{}, b.whole()
	}
	raw, err := b.raw.Columns(excelize.Options{RawCellValue: true})
	if err != nil {
		return Row{}, b.s.fail(b.n, "save it again from your spreadsheet", "the row cannot be read: %v", err)
	}
	shown, err := b.shown.Columns()
	if err != nil {
		return Row{}, b.s.fail(b.n, "save it again from your spreadsheet", "the row cannot be read: %v", err)
	}
	if b.s.Progress != nil && b.n%256 == 0 {
		b.s.Progress(int64(b.n), 0)
	}
	row = Row{N: b.n, Cells: raw, hidden: b.raw.GetRowOpts().Hidden}
	if len(raw) > maxColumns {
		return row, b.s.fail(b.n, "delete what stands far to the right", "the row reaches to column %s; %d columns are read", Letter(len(raw)), maxColumns)
	}
	if len(b.beside.formulas)+len(b.beside.joined)+len(b.beside.sums) > 0 {
		row.Cells = b.unsaid(raw, &row)
		raw = row.Cells
	}
	for i := range raw {
		if len(b.beside.struck) > 0 && b.beside.struck[place{b.n, i + 1}] && raw[i] != "" {
			if digitsOnly([]byte(raw[i])) && !(i < len(shown) && isDateMark(shown[i])) {
				raw[i] += struckOut
				continue
			}
			row.noted().struck[i+1] = true
		}
		if i >= len(shown) || raw[i] == shown[i] || raw[i] == "" {
			continue
		}
		if d, ok := b.date(raw[i], shown[i]); ok {
			if row.book == nil {
				row.book = &noted{}
			}
			if row.book.dates == nil {
				row.book.dates = make([]bool, len(raw))
			}
			raw[i], row.book.dates[i] = d, true
		} else if strings.HasSuffix(shown[i], "%") || shownAsWord(raw[i], shown[i]) { // a tick, TRUE or WAHR, is no count of 1
			raw[i] = shown[i]
		} else if shown[i] == struckMark {
			raw[i] = roundTrip(raw[i]) + struckOut
		} else {
			raw[i] = roundTrip(raw[i])
		}
	}
	return row, nil
}

// whole is io.EOF where all rows of the sheet's text were given: at one that is cut short,
// or has a sign that must not stand there, the library ends without a word.
func (b *bookRows) whole() error {
	const save = "open it in your spreadsheet, see whether all rows are there, and save it again"
	switch last := b.beside.lastRow; {
	case b.beside.disorder > 0:
		return b.s.fail(0, save, "is a damaged workbook: row %d stands twice, or below a later one", b.beside.disorder)
	case last >= b.n:
		return b.s.fail(0, save, "is a damaged workbook: row %d cannot be read, nor what stands below it", b.n)
	case last > 0 && !b.beside.ended:
		return b.s.fail(0, save, "is a damaged workbook: it ends in row %d", last)
	}
	return io.EOF
}

// unsaid writes a formula without a value into its cell, and notes which cells are
// joined with others or worked out of them.
func (b *bookRows) unsaid(cells []string, row *Row) []string {
	for col := 1; col <= max(len(cells), b.widest); col++ {
		at := place{b.n, col}
		if f, ok := b.beside.formulas[at]; ok {
			for len(cells) < col {
				cells = append(cells, "")
			}
			cells[col-1] = f
		}
		if ref, ok := b.beside.joined[at]; ok {
			row.noted().joined[col] = ref
		}
		if f, ok := b.beside.sums[at]; ok {
			row.noted().sums[col] = f
		}
	}
	return cells
}

// noted is what the cells of the row are besides their text, to be filled.
func (r *Row) noted() *noted {
	if r.book == nil {
		r.book = &noted{}
	}
	if r.book.joined == nil {
		r.book.joined, r.book.sums, r.book.struck = map[int]string{}, map[int]string{}, map[int]bool{}
	}
	return r.book
}

// What cells with the format of a date are shown as, and of one that does not show the
// day: July 2026 is kept as its first day.
const (
	dateMark   = "DATE"
	monthMark  = "MONTH"
	struckMark = "STRUCK" // of a number that is struck out
)

func isDateMark(shown string) bool { return shown == dateMark || shown == monthMark }

// struckOut is written behind a number that is struck out, or raised, whole or in part.
const struckOut = " (struck out or raised)"

// splitSecond before midnight, a tenth of one in days, spreadsheets show the next day:
// programs that write the end of a period mean the one before.
const (
	splitSecond  = 1.0 / (24 * 60 * 60 * 10)
	nearMidnight = " or "
)

// lastDay ends the days that a cell may hold: 1 January 2100.
const lastDay = 73_051.0

// date turns a number that is shown as a date into that date.
func (b *bookRows) date(raw, shown string) (string, bool) {
	v, err := strconv.ParseFloat(raw, 64)
	if err != nil || v < 1 || v >= lastDay || !isDateMark(shown) {
		return "", false
	}
	t, err := excelize.ExcelDateToTime(v, b.date1904)
	if err != nil {
		return "", false
	}
	d := civil.DateIn(t, t.Location())
	if before := math.Trunc(v); v-before > 1-splitSecond {
		eve := civil.New(1899, time.December, 30).AddDays(int(before))
		if b.date1904 {
			eve = eve.AddDays(1462)
		}
		return eve.String() + nearMidnight + eve.AddDays(1).String(), true
	}
	if shown == monthMark && d.Day == 1 {
		return fmt.Sprintf("%s %d", d.Month, d.Year), true
	}
	return d.String(), true
}

// markDates puts a fixed word in the place of every format of dates, in memory:
// whether it shows the day is all that matters here, and to write out each date
// would take most of the time.
func markDates(book *excelize.File) (err error) {
	defer func() {
		if x := recover(); x != nil {
			err = fmt.Errorf("its styles do not fit together (%v)", x)
		}
	}()
	var marks []int // the styles of the words
	for _, word := range []string{dateMark, monthMark, struckMark} {
		form := `"` + word + `"`
		mark, err := book.NewStyle(&excelize.Style{CustomNumFmt: &form})
		if err != nil {
			return err
		}
		marks = append(marks, mark)
	}
	codes := map[int]string{}
	if book.Styles.NumFmts != nil {
		for _, f := range book.Styles.NumFmts.NumFmt {
			codes[f.NumFmtID] = f.FormatCode
		}
	}
	all := book.Styles.CellXfs.Xf
	for i := range all {
		id := all[i].NumFmtID
		if slices.Contains(marks, i) || id == nil {
			continue
		}
		if struck(book, all[i].FontID) && !isDate(*id, codes) {
			all[i].NumFmtID, all[i].ApplyNumberFormat = all[marks[2]].NumFmtID, all[marks[2]].ApplyNumberFormat
			continue
		}
		mark := marks[0]
		if code, ok := codes[*id]; ok && !strings.Contains(plainCode(code), "d") || !ok && *id == 17 {
			mark = marks[1]
		}
		if isDate(*id, codes) {
			all[i].NumFmtID = all[mark].NumFmtID
			all[i].ApplyNumberFormat = all[mark].ApplyNumberFormat
		}
	}
	return nil
}

// isDate reports whether a number format is one of dates: one of the workbook's own codes,
// or one that every workbook has.
func isDate(id int, codes map[int]string) bool {
	if code, ok := codes[id]; ok {
		return dateCode(code)
	}
	return id >= 14 && id <= 17 || id == 22 || id >= 27 && id <= 31 || id == 36 || id >= 50 && id <= 58
}

// struck reports whether a font strikes its text out or raises it.
func struck(book *excelize.File, font *int) bool {
	if font == nil || book.Styles.Fonts == nil || *font < 0 || *font >= len(book.Styles.Fonts.Font) || book.Styles.Fonts.Font[*font] == nil {
		return false
	}
	f := book.Styles.Fonts.Font[*font]
	if f.VertAlign != nil && f.VertAlign.Val != nil && *f.VertAlign.Val != "baseline" {
		return true
	}
	return f.Strike != nil && (f.Strike.Val == nil || *f.Strike.Val)
}

var notCode = pattern.New(`"[^"]*"|\\.|\[[^\]]*\]|_.|\*.`)

// plainCode is a number format without what it writes as it is.
func plainCode(code string) string { return strings.ToLower(notCode().ReplaceAllString(code, "")) }

// dateCode reports whether a number format shows a day, a month's name or a
// year.
func dateCode(code string) bool {
	code = plainCode(code)
	if strings.HasPrefix(code, "stand") || code == "estándar" { // General in other languages
		return false
	}
	return strings.ContainsAny(code, "dy") || strings.Contains(code, "mmm")
}

// shownAsWord reports whether a number is shown without any digit: as WAHR, or with a
// sign for a tick. A zero that is hidden, or shown as a dash, is none.
func shownAsWord(raw, shown string) bool {
	v, err := strconv.ParseFloat(raw, 64)
	if err != nil || serial().MatchString(raw) || shown == struckMark || strings.ContainsAny(shown, "0123456789") || tidy(shown) == "" {
		return false
	}
	return v != 0 || strings.ContainsFunc(shown, unicode.IsLetter)
}

// roundTrip writes 0.30000000000000004, as workbooks hold it, as 0.3.
func roundTrip(raw string) string {
	v, err := strconv.ParseFloat(raw, 64)
	if err != nil {
		return raw
	}
	if s := strconv.FormatFloat(v, 'g', 15, 64); !strings.ContainsAny(s, "eE") {
		return s
	}
	return raw
}
