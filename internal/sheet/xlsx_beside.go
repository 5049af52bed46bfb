package sheet

import (
	"archive/zip"
	"bufio"
	"bytes"
	"encoding/xml"
	"errors"
	"html"
	"io"
	"path"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"

	"leafturn/internal/pattern"
)

// beside is what the library's reader of rows does not tell of a sheet.
type beside struct {
	formulas map[place]string // cells with a formula and no value: the formula
	sums     map[place]string // cells whose formula adds up others, takes their mean or gives today: the formula
	joined   map[place]string // the first cell of cells that are joined: all of them, as A2:A4
	hidden   [][2]int         // runs of hidden columns
	lastRow  int              // that the text has, whatever the library makes of it
	ended    bool             // the rows have an end
	disorder int              // the first row that stands below one with its number or a higher one
	struck   map[place]bool   // cells that are struck out or raised, and numbers of which a part is
}

// place is a cell: row and column from 1.
type place struct{ row, col int }

const maxBeside = 100_000 // cells that are remembered

// lookBeside reads the text of a sheet once, tag by tag. Whatever it cannot read is
// left to the library, which says so.
func (s *Source) lookBeside(book *excelize.File, sheet string) beside {
	if b, ok := s.besides[sheet]; ok {
		return b
	}
	b := beside{formulas: map[place]string{}, sums: map[place]string{}, struck: map[place]bool{}, joined: map[place]string{}}
	if z, err := zip.OpenReader(s.path); err == nil {
		defer z.Close()
		if f, err := z.Open(partOf(z, book, sheet)); err == nil {
			defer f.Close()
			b.read(bufio.NewReaderSize(f, 64<<10), looked{struckTexts(z), struckStyles(book), worksOutAnew(book)})
		}
	}
	if s.besides == nil {
		s.besides = map[string]beside{}
	}
	s.besides[sheet] = b
	return b
}

// partOf is the part of the file that holds a sheet.
func partOf(z *zip.ReadCloser, book *excelize.File, sheet string) string {
	id := ""
	if book.WorkBook != nil {
		for _, x := range book.WorkBook.Sheets.Sheet {
			if x.Name == sheet {
				id = x.ID
			}
		}
	}
	f, err := z.Open("xl/_rels/workbook.xml.rels")
	if err != nil {
		return ""
	}
	defer f.Close()
	var rels struct {
		All []struct {
			ID     string `xml:"Id,attr"`
			Target string `xml:"Target,attr"`
		} `xml:"Relationship"`
	}
	if xml.NewDecoder(io.LimitReader(f, maxPart)).Decode(&rels) != nil {
		return ""
	}
	for _, r := range rels.All {
		if r.ID == id && strings.HasPrefix(r.Target, "/") {
			return strings.TrimPrefix(r.Target, "/")
		} else if r.ID == id {
			return path.Join("xl", r.Target)
		}
	}
	return ""
}

// looked is what of a workbook a look beside needs to know.
type looked struct {
	texts  map[string]bool // the numbers of the shared texts that are struck out in part
	styles map[string]bool // the numbers of the styles that strike out
	stale  bool            // its formulas are to be worked out anew: a value of 0 may stand for none
}

// besideCell is a cell while its tags go by.
type besideCell struct {
	name           []byte // such as B3; a program may leave it out
	row, col       int    // its row; its column, where it has no name
	formula, value []byte
	number         string // of a formula that several cells share
	asked, valued  bool   // it has a formula; it has a value
	inFormula      bool   // what comes next is the formula
	inValue        bool   // or the value
	shared, inline bool   // it holds the number of a text, or a text itself
	text           bool   // it is the text that a formula gave
	struck         bool   // its style strikes it out
	odd, inText    bool   // a part of its own text is struck out; one is being read
	words          []byte // its own text
}

func (b *beside) read(r *bufio.Reader, of looked) {
	var c besideCell
	shared := map[string]string{} // formulas of several cells, by their number
	for {
		text, err := upTo(r, '<')
		if err != nil {
			return
		}
		if c.inFormula {
			c.formula = append(c.formula, text...)
			c.inFormula = false
		}
		if c.inText && len(c.words) < 10 {
			c.words = append(c.words, text...)
		}
		if c.inValue {
			c.value = append(c.value[:0], bytes.TrimSpace(text)...)
			c.inValue = false
		}
		tag, err := upTo(r, '>')
		if err != nil {
			return
		}
		name, end := tagName(tag)
		switch string(name) {
		case "col":
			if hide := string(attr(tag, "hidden")); hide == "1" || hide == "true" {
				from, _ := strconv.Atoi(string(attr(tag, "min")))
				to, _ := strconv.Atoi(string(attr(tag, "max")))
				b.hidden = append(b.hidden, [2]int{from, to})
			}
		case "row":
			if n, err := strconv.Atoi(string(attr(tag, "r"))); err == nil {
				c.row = n
			} else if !end {
				c.row++
			}
			if !end {
				if c.row <= b.lastRow && b.disorder == 0 {
					b.disorder = c.row
				}
				b.lastRow = max(b.lastRow, c.row)
			}
			c.name, c.col = c.name[:0], 0
		case "sheetData":
			b.ended = end || bytes.HasSuffix(tag, []byte("/"))
		case "c":
			if !end {
				c.begin(tag, of)
				continue
			}
			b.end(&c, shared)
			c.asked = false
		case "f":
			if c.asked = true; !end {
				c.number, c.inFormula = string(attr(tag, "si")), true
			}
		case "v":
			if !end {
				c.inValue = !bytes.HasSuffix(tag, []byte("/"))
				c.valued = c.text // an empty text is one; a number is not
				continue
			}
			c.valued = c.text || len(c.value) > 0 && !(of.stale && c.asked && string(c.value) == "0")
			c.struck = c.struck || c.shared && of.texts[string(c.value)]
		case "is":
			c.valued = true
		case "t":
			c.inText = c.inline && !end && !bytes.HasSuffix(tag, []byte("/"))
		case "strike", "vertAlign":
			c.odd = c.odd || oddTag(tag)
		case "mergeCell":
			ref := string(attr(tag, "ref"))
			first, _, _ := strings.Cut(ref, ":")
			if at, ok := placeOf(first); ok && len(b.joined) < maxBeside {
				b.joined[at] = ref
			}
		}
	}
}

func (c *besideCell) begin(tag []byte, of looked) {
	name, col := attr(tag, "r"), 0
	if len(name) == 0 {
		col = c.place().col + 1
	}
	kind := attr(tag, "t")
	*c = besideCell{
		name: append(c.name[:0], name...), row: c.row, col: col, formula: c.formula[:0], value: c.value[:0], words: c.words[:0],
		shared: string(kind) == "s", inline: string(kind) == "inlineStr", text: string(kind) == "str", struck: of.styles[string(attr(tag, "s"))],
	}
}

func (c *besideCell) place() place {
	if at, ok := placeOf(string(c.name)); ok {
		return at
	}
	return place{c.row, c.col}
}

// end notes what was found of a cell.
func (b *beside) end(c *besideCell, shared map[string]string) {
	if c.asked {
		formula := html.UnescapeString(strings.TrimSpace(string(c.formula)))
		if c.valued {
			b.sum(c.place(), formula, c.number, shared)
		} else if len(b.formulas) < maxBeside {
			b.formulas[c.place()] = "=" + formula
		}
	}
	if (c.struck && c.valued || c.odd && digitsOnly(c.words)) && len(b.struck) < maxBeside {
		b.struck[c.place()] = true
	}
}

// oddTag reports whether a tag strikes text out or raises it.
func oddTag(tag []byte) bool {
	v := string(attr(tag, "val"))
	return v != "0" && v != "false" && v != "baseline"
}

func digitsOnly(text []byte) bool { return strings.Trim(string(text), "0123456789 ") == "" }

// struckTexts are the numbers of the texts that cells share and that are no plain
// numbers: 47 of which the 4 is struck out.
func struckTexts(z *zip.ReadCloser) map[string]bool {
	f, err := z.Open("xl/sharedStrings.xml")
	if err != nil {
		return nil
	}
	defer f.Close()
	found := map[string]bool{}
	r := bufio.NewReaderSize(f, 64<<10)
	var whole []byte
	inText, odd, n := false, false, -1
	for {
		text, err := upTo(r, '<')
		if err != nil {
			return found
		}
		if inText && len(whole) < 10 {
			whole = append(whole, text...)
		}
		tag, err := upTo(r, '>')
		if err != nil {
			return found
		}
		switch name, end := tagName(tag); string(name) {
		case "si":
			if !end {
				n++
			} else if odd && digitsOnly(whole) && len(found) < maxBeside {
				found[strconv.Itoa(n)] = true
			}
			whole, odd = whole[:0], false
		case "t":
			inText = !end && !bytes.HasSuffix(tag, []byte("/"))
		case "strike", "vertAlign":
			odd = odd || oddTag(tag)
		}
	}
}

// struckStyles are the numbers of the styles of cells that strike out or raise.
func struckStyles(book *excelize.File) map[string]bool {
	found := map[string]bool{}
	if book.Styles == nil || book.Styles.CellXfs == nil {
		return nil
	}
	for i, xf := range book.Styles.CellXfs.Xf {
		if struck(book, xf.FontID) {
			found[strconv.Itoa(i)] = true
		}
	}
	return found
}

// worksOutAnew reports whether a spreadsheet is to work out all formulas when it opens
// the workbook: libraries that cannot ask for it and write 0 for each value.
func worksOutAnew(book *excelize.File) bool {
	return book.WorkBook != nil && book.WorkBook.CalcPr != nil && book.WorkBook.CalcPr.FullCalcOnLoad != nil && *book.WorkBook.CalcPr.FullCalcOnLoad
}

var (
	quotedPart = pattern.New(`"[^"]*"|'[^']*'|\[[^\[\]]*\]`) // texts, names of sheets, names of columns
	sumForm    = pattern.New(`(?i)(?:^|[^A-Z0-9_])(?:SUM|SUMIFS?|SUMPRODUCT|SUBTOTAL|AGGREGATE|AVERAGEA?|AVERAGEIFS?|MEDIAN|MIN|MAX|MINIFS|MAXIFS|COUNTA?|COUNTIFS?|D(?:SUM|AVERAGE|COUNT)|GETPIVOTDATA)\(|[^-+*/^(,;=<>& ]\s*[+/]`)
	movingForm = pattern.New(`(?i)(?:^|[^A-Z0-9_])(?:TODAY|NOW)\(`)
)

// addsUp reports whether a formula adds up numbers, or takes their mean.
func addsUp(formula string) bool {
	for range 2 { // names of columns stand in brackets within brackets
		formula = quotedPart().ReplaceAllString(formula, "x")
	}
	return sumForm().MatchString(formula)
}

// moves reports whether a formula gives another day on another day.
func moves(formula string) bool { return movingForm().MatchString(formula) }

// sum notes a cell whose formula adds up others, takes their mean or gives the day on
// which it is worked out. A formula that several cells share stands in the first of them
// alone.
func (b *beside) sum(at place, formula, number string, shared map[string]string) {
	switch {
	case formula == "":
		formula = shared[number]
	case !addsUp(formula) && !moves(formula):
		return
	case number != "" && len(shared) < maxBeside:
		shared[number] = formula
	}
	if formula != "" && len(b.sums) < maxBeside {
		b.sums[at] = "=" + strings.TrimPrefix(formula, "=")
	}
}

// upTo reads to a sign and gives what stands before it, as far as the reader holds it.
func upTo(r *bufio.Reader, end byte) ([]byte, error) {
	text, err := r.ReadSlice(end)
	for errors.Is(err, bufio.ErrBufferFull) {
		text, err = r.ReadSlice(end)
	}
	return bytes.TrimSuffix(text, []byte{end}), err
}

// tagName is the name of a tag without its prefix, and whether it ends an element.
func tagName(tag []byte) (name []byte, end bool) {
	if len(tag) > 0 && tag[0] == '/' {
		tag, end = tag[1:], true
	}
	for i, c := range tag {
		switch c {
		case ':':
			return localName(tag[i+1:]), end
		case ' ', '\t', '\r', '\n', '/':
			return tag[:i], end
		}
	}
	return tag, end
}

func localName(tag []byte) []byte {
	if i := bytes.IndexAny(tag, " \t\r\n/"); i >= 0 {
		return tag[:i]
	}
	return tag
}

// attr is the value of an attribute, nil for none.
func attr(tag []byte, name string) []byte {
	for {
		i := bytes.IndexByte(tag, '=')
		if i < len(name) || i+1 >= len(tag) {
			return nil
		}
		quote := tag[i+1]
		value, rest, ok := bytes.Cut(tag[i+2:], []byte{quote})
		if !ok {
			return nil
		}
		if before := tag[:i]; string(before[len(before)-len(name):]) == name && (len(before) == len(name) || before[len(before)-len(name)-1] == ' ') {
			return value
		}
		tag = rest
	}
}

func placeOf(cell string) (place, bool) {
	col, row, err := excelize.CellNameToCoordinates(cell)
	return place{row, col}, err == nil
}

// hides reports whether a column is hidden.
func (b *beside) hides(col int) bool {
	for _, h := range b.hidden {
		if h[0] <= col && col <= h[1] {
			return true
		}
	}
	return false
}

// columnsOf is how many columns joined cells take, 1 for what is none.
func columnsOf(ref string) int {
	a, z, _ := strings.Cut(ref, ":")
	from, ok1 := placeOf(a)
	to, ok2 := placeOf(z)
	if !ok1 || !ok2 {
		return 1
	}
	return to.col - from.col + 1
}
