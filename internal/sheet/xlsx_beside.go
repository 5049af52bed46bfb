package sheet

import (
	"archive/zip"
	"bufio"
	"bytes"
	"encoding/xml"
	"errors"
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
	sums     map[place]string // cells whose formula adds up others or takes their mean: the formula
	joined   map[place]string // the first cell of cells that are joined: all of them, as A2:A4
	hidden   [][2]int         // runs of hidden columns
	struck   map[place]bool   // cells with a number of which a part is struck out or raised
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
			b.read(bufio.NewReaderSize(f, 64<<10), struckTexts(z))
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

func (b *beside) read(r *bufio.Reader, struck map[string]bool) {
	var cell, formula []byte
	asked, valued := false, false
	shared := map[string]string{} // formulas of several cells, by their number
	number := ""
	texts := false // the cell holds the number of a text
	var value []byte
	for {
		text, err := upTo(r, '<')
		if err != nil {
			return
		}
		if asked && len(formula) == 0 && !valued {
			formula = append(formula, text...)
		}
		if texts {
			value = append(value[:0], text...)
		}
		tag, err := upTo(r, '>')
		if err != nil {
			return
		}
		name, end := tagName(tag)
		if texts && end && string(name) == "v" && struck[string(value)] {
			if at, ok := placeOf(string(cell)); ok && len(b.struck) < maxBeside {
				b.struck[at] = true
			}
		}
		switch string(name) {
		case "col":
			if hide := string(attr(tag, "hidden")); hide == "1" || hide == "true" {
				from, _ := strconv.Atoi(string(attr(tag, "min")))
				to, _ := strconv.Atoi(string(attr(tag, "max")))
				b.hidden = append(b.hidden, [2]int{from, to})
			}
		case "c":
			if !end {
				cell, formula, asked, valued = append(cell[:0], attr(tag, "r")...), formula[:0], false, false
				texts = len(struck) > 0 && string(attr(tag, "t")) == "s"
				continue
			}
			if asked && valued {
				b.sum(string(cell), strings.TrimSpace(string(formula)), number, shared)
			}
			if asked && !valued && len(b.formulas) < maxBeside {
				if at, ok := placeOf(string(cell)); ok {
					b.formulas[at] = "=" + strings.TrimSpace(string(formula))
				}
			}
			asked = false
		case "f":
			if asked = true; !end {
				number = string(attr(tag, "si"))
			}
		case "v", "is":
			valued = true
		case "mergeCell":
			ref := string(attr(tag, "ref"))
			first, _, _ := strings.Cut(ref, ":")
			if at, ok := placeOf(first); ok && len(b.joined) < maxBeside {
				b.joined[at] = ref
			}
		}
	}
}

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
			} else if odd && strings.Trim(string(whole), "0123456789 ") == "" && len(found) < maxBeside {
				found[strconv.Itoa(n)] = true
			}
			whole, odd = whole[:0], false
		case "t":
			inText = !end && !bytes.HasSuffix(tag, []byte("/"))
		case "strike", "vertAlign":
			if v := string(attr(tag, "val")); v != "0" && v != "false" && v != "baseline" {
				odd = true
			}
		}
	}
}

var sumForm = pattern.New(`^\s*=?\s*\+?(?:ROUND(?:UP|DOWN)?\()?(?:(?:_xlfn\.)?(?:SUM|SUMIFS?|SUMPRODUCT|SUBTOTAL|AGGREGATE|AVERAGE|AVERAGEIFS?|MEDIAN|MIN|MAX|COUNT|COUNTA|COUNTIFS?)\(|\$?[A-Z]{1,3}\$?\d+(?:\+\$?[A-Z]{1,3}\$?\d+)+\)?$)`)

// sum notes a cell whose formula adds up others or takes their mean. A formula that
// several cells share stands in the first of them alone.
func (b *beside) sum(cell, formula, number string, shared map[string]string) {
	switch {
	case formula == "":
		formula = shared[number]
	case !sumForm().MatchString(formula):
		return
	case number != "" && len(shared) < maxBeside:
		shared[number] = formula
	}
	if at, ok := placeOf(cell); ok && formula != "" && len(b.sums) < maxBeside {
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
