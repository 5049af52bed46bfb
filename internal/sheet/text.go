package sheet

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"hash"
	"hash/crc32"
	"io"
	"os"
	"strings"
	"unicode/utf8"

	"leafturn/internal/diag"
	"leafturn/internal/ingest"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// Format is how a file is read, for the reader to see.
type Format struct {
	Kind      string   // "CSV" or "XLSX"
	Encoding  string   // of CSV
	Separator rune     // of CSV
	Sheet     string   // of XLSX
	Unread    []string // hidden sheets of XLSX that hold something too
}

// Words says it in a sentence.
func (f Format) Words() string {
	if f.Kind == "XLSX" {
		words := "workbook, sheet " + quote(f.Sheet)
		if len(f.Unread) > 0 {
			words += "; hidden in it, and not read: " + strings.Join(f.Unread, ", ")
		}
		return words
	}
	return fmt.Sprintf("text in %s, cells cut by %s; 7.5%s is seven and a half", f.Encoding, separatorWord(f.Separator), f.comma())
}

// comma is said where a decimal comma is read too.
func (f Format) comma() string {
	if f.Separator != ',' {
		return " or 7,5"
	}
	return ""
}

func separatorWord(r rune) string {
	switch r {
	case ',':
		return "commas"
	case ';':
		return "semicolons"
	case '\t':
		return "tabs"
	}
	return "the sign " + string(r)
}

// textFormat tells the encoding and the separator from the first bytes and
// the look over the whole file.
func (s *Source) textFormat() (Format, encoding.Encoding) {
	f := Format{Kind: "CSV", Encoding: "UTF-8"}
	var enc encoding.Encoding
	switch wide := ingest.UTF16(s.look.head); {
	case wide == ingest.LittleEndian:
		f.Encoding, enc = "UTF-16", unicode16(unicode.LittleEndian)
	case wide == ingest.BigEndian:
		f.Encoding, enc = "UTF-16", unicode16(unicode.BigEndian)
	case s.look.badUTF8 >= 0:
		f.Encoding, enc = "Windows-1252", charmap.Windows1252
	}
	head := s.look.head
	if enc != nil {
		head, _ = enc.NewDecoder().Bytes(head)
	}
	f.Separator = separator(string(head))
	return f, enc
}

func unicode16(e unicode.Endianness) encoding.Encoding {
	return unicode.UTF16(e, unicode.UseBOM)
}

// separator is the sign that cuts the first rows into the most cells, in the
// most rows alike. A first line such as "sep=;" says it.
func separator(head string) rune {
	head = strings.TrimPrefix(head, "\uFEFF")
	if line, _, _ := strings.Cut(head, "\n"); len(line) >= 5 && strings.EqualFold(line[:4], "sep=") {
		r, _ := utf8.DecodeRuneInString(line[4:])
		if strings.ContainsRune(",;\t|", r) {
			return r
		}
	}
	best, bestScore := ',', 0
	for _, sep := range []rune{',', ';', '\t', '|'} {
		counts, rows := map[int]int{}, 0
		quoted, n, filled := false, 1, false
		end := func() {
			if filled {
				counts[n]++
				rows++
			}
			n, filled = 1, false
		}
		for _, r := range head {
			switch {
			case r == '"':
				quoted = !quoted
				filled = true
			case quoted:
			case r == '\n' || r == '\r':
				end()
			case r == sep:
				n++
			case !isSpace(r):
				filled = true
			}
			if rows >= headRows {
				break
			}
		}
		if rows == 0 {
			end()
		}
		for cells, times := range counts {
			if score := (cells - 1) * times; cells > 1 && score > bestScore {
				best, bestScore = sep, score
			}
		}
	}
	return best
}

// textRows reads a CSV file record by record.
type textRows struct {
	s     *Source
	f     *os.File
	csv   *csv.Reader
	guard *guard
	sum   hash.Hash32
	lines int // line ends inside quotation marks so far: a spreadsheet does not number them
	last  int // the row that was read last
	first bool
}

func (s *Source) openText(f Format, enc encoding.Encoding) (*textRows, error) {
	file, err := os.Open(s.path)
	if err != nil {
		return nil, s.fail(0, "check its permissions", "cannot be read: %v", cause(err))
	}
	t := &textRows{s: s, f: file, sum: crc32.New(table), first: true}
	var r io.Reader = io.TeeReader(file, t.sum)
	if s.Progress != nil {
		r = &counter{r: r, total: s.Size, tell: s.Progress}
	}
	if enc != nil {
		r = enc.NewDecoder().Reader(r)
	} else if bytes.HasPrefix(s.look.head, []byte("\uFEFF")) {
		if _, err := io.ReadFull(r, make([]byte, 3)); err != nil {
			file.Close()
			return nil, s.changed()
		}
	}
	if s.look.loneCR {
		r = returns{r}
	}
	t.guard = &guard{r: r}
	t.csv = csv.NewReader(t.guard)
	t.csv.Comma, t.csv.FieldsPerRecord, t.csv.ReuseRecord = f.Separator, -1, true
	t.csv.TrimLeadingSpace = f.Separator != '\t' && bytes.Contains(s.look.head, []byte(string(f.Separator)+` "`)) // "date", "bed"
	return t, nil
}

// lineOf is the line of the file at which a field of the last row begins.
func (t *textRows) lineOf(field int) int {
	line, _ := t.csv.FieldPos(field)
	return line
}

func (t *textRows) close() { t.f.Close() }

func (t *textRows) next() (Row, error) {
	for {
		fields, err := t.csv.Read()
		t.guard.n = 0
		if err != nil {
			return t.failed(err)
		}
		line := t.lineOf(0)
		row := Row{N: line - t.lines, Cells: fields}
		t.last = row.N
		if last := len(fields) - 1; strings.Contains(fields[last], "\n") || t.lineOf(last) > line {
			for _, c := range fields {
				t.lines += strings.Count(c, "\n")
			}
		}
		if t.first {
			t.first = false
			if len(fields[0]) >= 4 && strings.EqualFold(fields[0][:4], "sep=") && len(fill(fields)) == 1 {
				continue
			}
		}
		if len(fields) > maxColumns {
			return row, t.s.fail(row.N, "check that this is a table of counts", "the row has %d cells; at most %d are read", len(fields), maxColumns)
		}
		return row, nil
	}
}

// failed is what became of a row that the CSV reader does not give.
func (t *textRows) failed(err error) (Row, error) {
	var pe *csv.ParseError
	switch {
	case err == io.EOF:
		if _, err := io.Copy(io.Discard, t.guard); err != nil { // to the end, for the sum
			return Row{}, t.read(err)
		}
		if err := t.s.same(t.sum.Sum32()); err != nil {
			return Row{}, err
		}
		return Row{}, io.EOF
	case errors.As(err, &pe) && (errors.Is(err, csv.ErrQuote) || errors.Is(err, csv.ErrBareQuote)):
		row := pe.StartLine - t.lines
		t.lines += pe.Line - pe.StartLine
		return Row{N: row}, t.s.fail(row, `put a value that holds a quotation mark in quotation marks and double it: "a ""b"" c"`, "the quotation marks do not match")
	}
	return Row{}, t.read(err)
}

func (t *textRows) read(err error) error {
	if errors.Is(err, errLong) {
		return t.s.tooLong(t.last + 1)
	}
	var p *diag.Problem
	if errors.As(err, &p) {
		return err
	}
	return t.s.fail(0, "check the disk", "could not be read to its end: %v", cause(err))
}

// guard stops a record that is too long, as one whose quotation mark is never
// closed: the reader behind it would gather the whole file.
type guard struct {
	r io.Reader
	n int // bytes given since the last record
}

func (g *guard) Read(b []byte) (int, error) {
	if g.n > maxRecord {
		return 0, errLong
	}
	n, err := g.r.Read(b)
	g.n += n
	return n, err
}

// counter tells how many bytes have gone by.
type counter struct {
	r        io.Reader
	n, total int64
	tell     func(done, total int64)
}

func (c *counter) Read(b []byte) (int, error) {
	n, err := c.r.Read(b)
	c.n += int64(n)
	c.tell(c.n, c.total)
	return n, err
}

// returns turns a lone CR, the line end of old programs, into LF.
type returns struct{ r io.Reader }

func (x returns) Read(b []byte) (int, error) {
	n, err := x.r.Read(b)
	for i := range b[:n] {
		if b[i] == '\r' {
			b[i] = '\n'
		}
	}
	return n, err
}
