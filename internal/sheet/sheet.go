// Package sheet reads counts out of the tables that growers keep: CSV as
// spreadsheets write it, and XLSX. It tells the kind of file, its encoding,
// separator and headings, says how each is read, and turns rows into visits.
//
// Rows are read one at a time; a file is never held whole. Nothing is guessed
// where two readings are possible: the problem names file, row, column, value
// and what to do, and all problems are found in one run. IMPORT.md has the
// rules for values, one by one.
//
// Not here: which beds and pests exist (passed in as ingest.Names), what is
// already stored, and storing.
package sheet

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/diag"
)

// Limits on what is read; more is taken for the wrong file or a trap. Common
// practice.
const (
	maxRecord   = 256 << 10 // bytes in one row of a CSV file
	maxColumns  = 1_000     // cells in one row
	maxPiped    = 1 << 30   // bytes taken from a pipe
	maxZip      = 128 << 20 // bytes of an XLSX file
	maxUnzipped = 2 << 30   // bytes that its parts unpack to
	maxHeld     = 256 << 20 // bytes of its parts other than sheets and texts
	maxRatio    = 1_000     // times larger unpacked than packed
	maxPart     = 1 << 20   // bytes of a part that is held in memory; larger ones go to a temporary file
	headRows    = 30        // rows among which the headings are looked for
	maxProblems = 2_000     // different problems that are kept
)

// Row is one row of a sheet. Cells hold text as the sheet has it, but for
// dates of a spreadsheet, which are written YYYY-MM-DD. They are valid until
// the next row is read.
type Row struct {
	N      int // as the spreadsheet numbers it, from 1
	Cells  []string
	hidden bool   // in the workbook
	book   *noted // of an XLSX row that has any; else nil
}

// noted is what the cells of a row of a workbook are besides their text.
type noted struct {
	dates  []bool         // the cell is a date of the spreadsheet
	joined map[int]string // columns whose cell is joined with others: all of them
	sums   map[int]string // columns whose cell is worked out of others: the formula
	struck map[int]bool   // columns whose cell is struck out, and is no number
}

// isDate reports whether a column of the row holds a date of the spreadsheet.
func (r Row) isDate(col int) bool {
	return r.book != nil && col <= len(r.book.dates) && r.book.dates[col-1]
}

// joined is the cells over which a column of the row is joined, "" for one alone.
func (r Row) joined(col int) string {
	if r.book == nil {
		return ""
	}
	return r.book.joined[col]
}

// sum is the formula that adds up other cells, takes their mean or gives today, in a
// column of the row, "" for none.
func (r Row) sum(col int) string {
	if r.book == nil {
		return ""
	}
	return r.book.sums[col]
}

// struck reports whether the text or the day in a column of the row is struck out.
func (r Row) struck(col int) bool { return r.book != nil && r.book.struck[col] }

// rows gives the rows of a sheet in order and io.EOF after the last. A
// *diag.Problem with a row stands for that row, and reading may go on; any
// other error ends it.
type rows interface {
	next() (Row, error)
	close()
}

// Problem is one thing that is wrong, at the first place that has it.
type Problem struct {
	File    string
	Row     int
	Col     int // 1 for column A; 0 for the whole row
	Heading string
	Value   string
	What    string
	Do      string
	Also    []Span // other rows of which the same is true
}

// Span is a run of rows, both ends included.
type Span struct{ From, To int }

// Diag returns the problem as commands print it.
func (p *Problem) Diag() *diag.Problem {
	what := p.What
	if p.Col > 0 {
		what = "column " + Letter(p.Col)
		if p.Heading != "" {
			what += " " + quote(p.Heading)
		}
		what += ": " + p.What
	}
	return &diag.Problem{File: p.File, Row: p.Row, Col: p.Col, What: what + p.AlsoWords(), Do: p.Do}
}

// AlsoWords is the other rows in words, "" for none.
func (p *Problem) AlsoWords() string {
	if len(p.Also) == 0 {
		return ""
	}
	n, parts := 0, []string{}
	for _, s := range p.Also {
		n += s.To - s.From + 1
		if len(parts) < 12 {
			parts = append(parts, s.String())
		}
	}
	if len(p.Also) > len(parts) {
		parts = append(parts, "…")
	}
	word := "rows"
	if n == 1 {
		word = "row"
	}
	return fmt.Sprintf(" (the same in %d more %s: %s)", n, word, strings.Join(parts, ", "))
}

// String writes 15-22, or 15 for one row.
func (s Span) String() string {
	if s.From == s.To {
		return fmt.Sprint(s.From)
	}
	return fmt.Sprintf("%d-%d", s.From, s.To)
}

// Letter names a column as spreadsheets do: 1 is A, 27 is AA.
func Letter(col int) string {
	s := ""
	for col > 0 {
		col--
		s = string(rune('A'+col%26)) + s
		col /= 26
	}
	return s
}

// problems gathers what is wrong. The same fault of the same value in one
// column is one problem with several rows.
type problems struct {
	file string
	all  []*Problem
	seen map[[3]string]*Problem
	more int // different problems beyond maxProblems
}

func (p *problems) add(row, col int, heading, value, do, format string, args ...any) {
	if p.seen == nil {
		p.seen = map[[3]string]*Problem{}
	}
	what := fmt.Sprintf(format, args...)
	key := [3]string{fmt.Sprint(col), what, do}
	if old := p.seen[key]; old != nil {
		last := old.Row
		if n := len(old.Also); n > 0 {
			last = old.Also[n-1].To
		}
		switch {
		case row == last:
		case len(old.Also) > 0 && row == last+1:
			old.Also[len(old.Also)-1].To = row
		default:
			old.Also = append(old.Also, Span{row, row})
		}
		return
	}
	if len(p.all) >= maxProblems {
		p.more++
		return
	}
	x := &Problem{File: p.file, Row: row, Col: col, Heading: heading, Value: value, What: what, Do: do}
	p.seen[key] = x
	p.all = append(p.all, x)
}

// list returns the problems by row and column.
func (p *problems) list() []*Problem {
	all := slices.Clone(p.all)
	slices.SortStableFunc(all, func(a, b *Problem) int {
		if a.Row != b.Row {
			return a.Row - b.Row
		}
		return a.Col - b.Col
	})
	if p.more > 0 {
		all = append(all, &Problem{File: p.file, What: fmt.Sprintf("%d more problems like these", p.more),
			Do: "correct these first, or store the good rows with --accept-good: the rest file gives the reason beside each row"})
	}
	return all
}

// quote quotes a person's text and cuts it when it is long.
func quote(s string) string {
	if r := []rune(s); len(r) > 40 {
		s = string(r[:40]) + "…"
	}
	return fmt.Sprintf("%q", s)
}

// isSpace takes in the no-break blanks that programs paste, and what is not seen.
func isSpace(r rune) bool {
	switch r {
	case ' ', '\t', '\n', '\r', '\v', '\f', 0x85, 0xA0, 0x202F, 0x3000:
		return true
	}
	return r >= 0x2000 && r <= 0x200A || unseen(r)
}

// unseen tells characters that have no width: soft hyphens, joiners, and marks of
// the direction of writing.
func unseen(r rune) bool {
	switch r {
	case 0xAD, 0x61C, 0x180E, 0xFEFF:
		return true
	}
	return r >= 0x200B && r <= 0x200F || r >= 0x202A && r <= 0x202E || r >= 0x2060 && r <= 0x2069
}

// tidy trims s, turns each run of space into one blank, and takes out what is not
// seen: in the middle of a number it would make two of it.
func tidy(s string) string {
	plain := true
	for i := 0; i < len(s); i++ {
		if c := s[i]; c < ' ' || c >= 0x80 || c == ' ' && (i == 0 || i == len(s)-1 || s[i-1] == ' ') {
			plain = false
			break
		}
	}
	if plain {
		return s
	}
	if strings.ContainsFunc(s, unseen) {
		s = strings.Map(func(r rune) rune {
			if unseen(r) {
				return -1
			}
			return r
		}, s)
	}
	return strings.Join(strings.FieldsFunc(s, isSpace), " ")
}

// fill is the sheet's cells without the last empty ones.
func fill(cells []string) []string {
	for len(cells) > 0 && tidy(cells[len(cells)-1]) == "" {
		cells = cells[:len(cells)-1]
	}
	return cells
}
