package record

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"strings"
)

// Text makes a text harmless to a spreadsheet and keeps it exactly: FromText
// gives it back. It is for cells that hold text alone, where also "-3" is one.
func Text(s string) string {
	if risky(s) {
		return "'" + s
	}
	return s
}

// FromText undoes Text.
func FromText(s string) string {
	if rest, ok := strings.CutPrefix(s, "'"); ok && risky(rest) {
		return rest
	}
	return s
}

// AppendCell appends a cell as RFC 4180 writes it, whatever line breaks it holds.
func AppendCell(line []byte, s string) []byte {
	if !strings.ContainsAny(s, ",\"\r\n") && (s == "" || s[0] != ' ' && s[len(s)-1] != ' ') {
		return append(line, s...)
	}
	line = append(line, '"')
	for {
		before, after, found := strings.Cut(s, `"`)
		line = append(line, before...)
		if !found {
			return append(line, '"')
		}
		line = append(line, `""`...)
		s = after
	}
}

// mostOfRow is how long a row may be: a quote that is never closed would
// otherwise take the whole file for a cell.
const mostOfRow = 16 << 20

// Reader reads what AppendCell wrote, cell by cell as it was. Other than
// encoding/csv it keeps the line breaks within cells. Rows may end in CRLF or LF;
// a byte order mark is passed over.
type Reader struct {
	in  *bufio.Reader
	row int
	buf []byte
	out []string
}

// NewReader reads from r.
func NewReader(r io.Reader) *Reader { return &Reader{in: bufio.NewReaderSize(r, 1<<16)} }

// RowError is a row that is no CSV.
type RowError struct {
	Row, Col int // both from 1
	What     string
}

// Error says where and what.
func (e *RowError) Error() string { return fmt.Sprintf("row %d, column %d: %s", e.Row, e.Col, e.What) }

// Read returns the next row and its number, the first being 1. Both are good
// until the next call. It ends with io.EOF. After a RowError one may read on.
func (r *Reader) Read() (cells []string, row int, err error) {
	r.buf = r.buf[:0]
	for quotes := 0; ; {
		from := len(r.buf)
		part, err := r.in.ReadSlice('\n')
		r.buf = append(r.buf, part...)
		quotes += bytes.Count(r.buf[from:], []byte{'"'})
		switch {
		case err != nil && err != bufio.ErrBufferFull && err != io.EOF:
			return nil, r.row + 1, err
		case err == io.EOF && len(r.buf) == 0:
			return nil, r.row, io.EOF
		case len(r.buf) > mostOfRow:
			r.row++
			return nil, r.row, fmt.Errorf("row %d is longer than %d megabytes; a quote may not be closed", r.row, mostOfRow>>20)
		}
		if err == io.EOF || err == nil && quotes%2 == 0 {
			break
		}
	}
	line := r.buf
	if r.row == 0 {
		line = bytes.TrimPrefix(line, []byte("\ufeff"))
	}
	r.row++
	line = bytes.TrimSuffix(bytes.TrimSuffix(line, []byte{'\n'}), []byte{'\r'})
	cells, err = r.split(string(line))
	return cells, r.row, err
}

func (r *Reader) split(line string) ([]string, error) {
	r.out = r.out[:0]
	wrong := func(what string) ([]string, error) { return nil, &RowError{r.row, len(r.out) + 1, what} }
	for {
		if !strings.HasPrefix(line, `"`) {
			cell, rest, more := strings.Cut(line, ",")
			if strings.Contains(cell, `"`) {
				return wrong("a quote in a cell that does not begin with one")
			}
			r.out = append(r.out, cell)
			if !more {
				return r.out, nil
			}
			line = rest
			continue
		}
		line = line[1:]
		cell := ""
		for {
			end := strings.IndexByte(line, '"')
			if end < 0 {
				return wrong("a quote that is not closed")
			}
			cell += line[:end]
			line = line[end+1:]
			if !strings.HasPrefix(line, `"`) {
				break
			}
			cell += `"`
			line = line[1:]
		}
		if line != "" && line[0] != ',' {
			return wrong("text behind a quote that is closed")
		}
		r.out = append(r.out, cell)
		if line == "" {
			return r.out, nil
		}
		line = line[1:]
	}
}
