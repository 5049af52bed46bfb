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
)

// beside is what the library's reader of rows does not tell of a sheet.
type beside struct {
	formulas map[place]string // cells with a formula and no value: the formula
	joined   map[place]string // the first cell of cells that are joined: all of them, as A2:A4
	hidden   [][2]int         // runs of hidden columns
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
	b := beside{formulas: map[place]string{}, joined: map[place]string{}}
	if z, err := zip.OpenReader(s.path); err == nil {
		defer z.Close()
		if f, err := z.Open(partOf(z, book, sheet)); err == nil {
			defer f.Close()
			b.read(bufio.NewReaderSize(f, 64<<10))
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

func (b *beside) read(r *bufio.Reader) {
	var cell, formula string
	asked, valued := false, false
	for {
		text, err := upTo(r, '<')
		if err != nil {
			return
		}
		if asked && formula == "" && !valued {
			formula = string(text)
		}
		tag, err := upTo(r, '>')
		if err != nil {
			return
		}
		switch tagName(tag) {
		case "col":
			if hide := attr(tag, "hidden"); hide == "1" || hide == "true" {
				from, _ := strconv.Atoi(attr(tag, "min"))
				to, _ := strconv.Atoi(attr(tag, "max"))
				b.hidden = append(b.hidden, [2]int{from, to})
			}
		case "c":
			cell, formula, asked, valued = attr(tag, "r"), "", false, false
		case "f":
			asked = true
		case "v", "is":
			valued = true
		case "/c":
			if at, ok := placeOf(cell); ok && asked && !valued && len(b.formulas) < maxBeside {
				b.formulas[at] = "=" + strings.TrimSpace(formula)
			}
			asked = false
		case "mergeCell":
			ref := attr(tag, "ref")
			first, _, _ := strings.Cut(ref, ":")
			if at, ok := placeOf(first); ok && len(b.joined) < maxBeside {
				b.joined[at] = ref
			}
		}
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

// tagName is the name of a tag without its prefix; an end has "/" in front.
func tagName(tag []byte) string {
	end := bytes.IndexAny(tag, " \t\r\n")
	if end >= 0 {
		tag = tag[:end]
	}
	slash := bytes.HasPrefix(tag, []byte("/"))
	tag = bytes.Trim(tag, "/")
	if i := bytes.IndexByte(tag, ':'); i >= 0 {
		tag = tag[i+1:]
	}
	if len(tag) > 9 { // longer than any that is looked for
		return ""
	}
	if slash {
		return "/" + string(tag)
	}
	return string(tag)
}

func attr(tag []byte, name string) string {
	_, rest, ok := bytes.Cut(tag, []byte(" "+name+`="`))
	value, _, end := bytes.Cut(rest, []byte(`"`))
	if !ok || !end {
		return ""
	}
	return string(value)
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

// over are the columns over which a cell is joined, 1 for one that is not.
func over(ref string) (cols, rows int) {
	a, z, _ := strings.Cut(ref, ":")
	from, ok1 := placeOf(a)
	to, ok2 := placeOf(z)
	if !ok1 || !ok2 {
		return 1, 1
	}
	return to.col - from.col + 1, to.row - from.row + 1
}
