package sheet

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"unicode/utf8"

	"leafturn/internal/diag"
	"leafturn/internal/ingest"
)

// Source is a file that was looked over and may be read more than once.
type Source struct {
	Name    string // as the grower wrote it
	Size    int64
	XLSX    bool
	path    string
	temp    bool // path is our own copy of a pipe
	info    fs.FileInfo
	sum     uint32
	look    look
	besides map[string]beside // by sheet of a workbook
	// Progress, when set, is told how many bytes of how many have been read; of
	// a workbook, how many rows, and 0.
	Progress func(done, total int64)
}

// look is what a first pass over the bytes of a text file finds.
type look struct {
	head       []byte // the first bytes
	badUTF8    int64  // where the first byte stands that is no UTF-8; -1 for none
	lf, loneCR bool   // line ends that occur
	nul        int64  // where the first NUL stands; -1 for none
	longest    int64  // bytes in the longest line that ends in another block than it begins
	longRow    int    // and its line
}

const headBytes = 64 << 10

// Open looks over the file at path; "-" is standard input. The error is a
// *diag.Problem. Close the source after use.
func Open(path string, stdin io.Reader) (*Source, error) {
	s := &Source{Name: path, path: path}
	if path == "-" {
		s.Name = "standard input"
		if err := s.spool(stdin); err != nil {
			return nil, err
		}
	} else if err := s.find(); err != nil {
		return nil, err
	}
	if err := s.scan(); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// Close removes the copy that was made of a pipe.
func (s *Source) Close() {
	if s.temp {
		os.Remove(s.path)
	}
}

func (s *Source) fail(row int, do, format string, args ...any) *diag.Problem {
	return &diag.Problem{File: s.Name, Row: row, What: fmt.Sprintf(format, args...), Do: do}
}

func (s *Source) find() error {
	info, err := os.Stat(s.path)
	switch {
	case errors.Is(err, syscall.ELOOP):
		return &diag.Problem{File: s.Name, What: "is a symbolic link that leads back to itself", Do: "name the file itself", Usage: true, Err: err}
	case err != nil:
		return &diag.Problem{File: s.Name, What: "cannot be read: " + cause(err).Error(), Do: "check the name and the folder", Usage: true, Err: err}
	case info.IsDir():
		return &diag.Problem{File: s.Name, What: "is a folder", Do: "name the files in it, such as " + strings.TrimSuffix(s.path, "/") + "/*.csv", Usage: true}
	case info.Mode()&(fs.ModeNamedPipe|fs.ModeSocket) != 0:
		f, err := os.Open(s.path)
		if err != nil {
			return s.fail(0, "check its permissions", "cannot be read: %v", cause(err))
		}
		defer f.Close()
		return s.spool(f)
	case !info.Mode().IsRegular():
		return &diag.Problem{File: s.Name, What: "is a device, not a file", Do: "name a CSV or XLSX file", Usage: true}
	}
	return nil
}

func cause(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}

// spool copies a pipe to a temporary file: rows may have to be read twice.
func (s *Source) spool(r io.Reader) error {
	f, err := os.CreateTemp("", "leafturn-import-*")
	if err != nil {
		return s.fail(0, "make room in the folder for temporary files", "cannot be kept for reading: %v", err)
	}
	s.path, s.temp = f.Name(), true
	g := &lineGuard{r: r}
	n, err := io.Copy(f, io.LimitReader(g, maxPiped+1))
	if err2 := f.Close(); err == nil {
		err = err2
	}
	var p *diag.Problem
	switch {
	case errors.Is(err, errLong):
		p = s.tooLong(g.line)
	case err != nil:
		p = s.fail(0, "check the program that writes it", "could not be read to its end: %v", err)
	case n > maxPiped:
		p = s.fail(0, "write it to a file and import that", "is larger than %d MiB, the most that is read from a pipe", maxPiped>>20)
	default:
		return nil
	}
	s.Close()
	return p
}

func (s *Source) tooLong(row int) *diag.Problem {
	return s.fail(row, "check that this is a table of counts; give each row a line of its own, and close every quotation mark",
		"the row is longer than %d KiB", maxRecord>>10)
}

var errLong = errors.New("the line is too long")

// lineGuard stops at a line beyond all measure in text; zip files pass.
type lineGuard struct {
	r      io.Reader
	line   int
	n      int
	zip    bool
	looked bool
}

func (g *lineGuard) Read(b []byte) (int, error) {
	n, err := g.r.Read(b)
	if !g.looked && n > 0 {
		g.looked, g.line, g.zip = true, 1, b[0] == 'P'
	}
	if g.zip {
		return n, err
	}
	for rest := b[:n]; ; {
		i := bytes.IndexByte(rest, '\n')
		if i < 0 {
			g.n += len(rest)
			break
		}
		g.line, g.n, rest = g.line+1, 0, rest[i+1:]
	}
	if g.n > 4*maxRecord {
		return n, errLong
	}
	return n, err
}

var lineEnd = []byte("\n")

var table = crc32.MakeTable(crc32.Castagnoli)

// scan reads the bytes once: what kind of file it is, and a checksum by which
// a change is noticed.
func (s *Source) scan() error {
	f, err := os.Open(s.path)
	if err != nil {
		return s.fail(0, "check its permissions", "cannot be read: %v", cause(err))
	}
	defer f.Close()
	if s.info, err = f.Stat(); err != nil {
		return s.fail(0, "check the disk", "cannot be read: %v", cause(err))
	}
	s.Size = s.info.Size()
	if s.Size == 0 {
		return s.fail(0, "begin with a heading row such as: date,bed,pest,count", "the file is empty")
	}
	buf := make([]byte, headBytes)
	n, err := io.ReadFull(f, buf)
	if err != nil && err != io.ErrUnexpectedEOF {
		return s.fail(0, "check the disk", "cannot be read: %v", cause(err))
	}
	s.look = look{head: bytes.Clone(buf[:n]), badUTF8: -1, nul: -1}
	if p := s.other(); p != nil {
		return p
	}
	if s.XLSX = bytes.HasPrefix(s.look.head, []byte("PK\x03\x04")) || bytes.HasPrefix(s.look.head, []byte("PK\x05\x06")); s.XLSX {
		return s.zipOK(f)
	}
	var pos, line int64
	row, tail := 1, []byte(nil)
	for n > 0 {
		b := buf[:n]
		s.sum = crc32.Update(s.sum, table, b)
		if s.look.nul < 0 {
			if i := bytes.IndexByte(b, 0); i >= 0 {
				s.look.nul = pos + int64(i)
			}
		}
		if i := bytes.IndexByte(b, '\n'); i < 0 {
			line += int64(n)
		} else { // the lines between the first end and the last are shorter than a block
			s.look.lf = true
			if line+int64(i) > s.look.longest {
				s.look.longest, s.look.longRow = line+int64(i), row
			}
			row += bytes.Count(b, lineEnd)
			line = int64(n - 1 - bytes.LastIndexByte(b, '\n'))
		}
		if line > s.look.longest {
			s.look.longest, s.look.longRow = line, row
		}
		if s.look.longest > 4*maxRecord && (s.look.lf || bytes.IndexByte(b, '\r') < 0) && ingest.UTF16(s.look.head) == ingest.NotUTF16 {
			return s.tooLong(s.look.longRow)
		}
		if s.look.badUTF8 < 0 {
			tail = s.checkUTF8(tail, b, pos)
		}
		pos += int64(n)
		n, err = f.Read(buf)
		if err != nil && err != io.EOF {
			return s.fail(0, "check the disk", "cannot be read: %v", cause(err))
		}
	}
	if len(tail) > 0 && s.look.badUTF8 < 0 {
		s.look.badUTF8 = pos - int64(len(tail))
	}
	s.look.loneCR = !s.look.lf && bytes.IndexByte(s.look.head, '\r') >= 0
	if s.look.nul >= 0 && ingest.UTF16(s.look.head) == ingest.NotUTF16 {
		if strings.EqualFold(filepath.Ext(s.Name), ".xlsx") {
			return s.fail(0, "open it in your spreadsheet and save it again, or take another copy of it", "is no workbook, though its name says so: it may be damaged, or of another kind")
		}
		return s.fail(0, "give a CSV file (plain text) or an .xlsx workbook", "holds a NUL byte: this is not a text file")
	}
	return nil
}

// checkUTF8 notes the first byte that is no UTF-8, and returns the begin of a
// character that goes on in the next block.
func (s *Source) checkUTF8(tail, b []byte, pos int64) []byte {
	pos -= int64(len(tail))
	all := b
	if len(tail) > 0 {
		all = append(bytes.Clone(tail), b...)
	}
	if utf8.Valid(all) {
		return nil
	}
	for i := 0; i < len(all); {
		r, n := utf8.DecodeRune(all[i:])
		if r == utf8.RuneError && n == 1 {
			if !utf8.FullRune(all[i:]) {
				return bytes.Clone(all[i:])
			}
			s.look.badUTF8 = pos + int64(i)
			return nil
		}
		i += n
	}
	return nil
}

// other tells files of other kinds by their first bytes.
func (s *Source) other() *diag.Problem {
	h := s.look.head
	low := strings.ToLower(string(bytes.TrimLeft(bytes.TrimPrefix(h[:min(len(h), 512)], []byte("\uFEFF")), " \t\r\n")))
	has := func(p string) bool { return bytes.HasPrefix(h, []byte(p)) }
	const save = "open it in your spreadsheet and save it as .xlsx or CSV"
	switch {
	case has("\xD0\xCF\x11\xE0"):
		return s.fail(0, save+", without a password", "is an old .xls workbook, or one with a password")
	case has("\xFF\xFE\x00\x00"), has("\x00\x00\xFE\xFF"):
		return s.fail(0, "save it as CSV UTF-8", "is text in UTF-32")
	case has("ID;P"), has("TABLE\r\n0,1"), has("TABLE\n0,1"), has("{\\rtf"):
		return s.fail(0, save, "is a table of another kind (SYLK, DIF or RTF), not CSV")
	case has("%PDF"):
		return s.fail(0, "export the table as CSV", "is a PDF")
	case has("\x1F\x8B"):
		return s.fail(0, "unpack it first", "is packed with gzip")
	case strings.HasPrefix(low, "<!doctype html"), strings.HasPrefix(low, "<html"), strings.HasPrefix(low, "<table"), strings.HasPrefix(low, "<tr"):
		return s.fail(0, save, "is a web page")
	case strings.HasPrefix(low, "[{"), strings.HasPrefix(low, `{"`):
		return s.fail(0, "let the program that wrote it write CSV", "is JSON")
	case strings.HasPrefix(low, "<?xml"):
		return s.fail(0, save, "is XML")
	}
	return nil
}

// zipOK checks that a zip file is a workbook that unpacks to a size within
// reason. The unpacker holds every part to the size that the list states.
func (s *Source) zipOK(f *os.File) error {
	if s.Size > maxZip {
		return s.fail(0, "save the sheet as CSV", "has %d MiB; a workbook of at most %d is read", s.Size>>20, maxZip>>20)
	}
	z, err := zip.NewReader(f, s.Size)
	if err != nil {
		return s.fail(0, "save it again from your spreadsheet, or copy it anew: it may have been cut short", "is a damaged workbook: %v", err)
	}
	var total, packed, held uint64
	names := map[string]bool{}
	for _, part := range z.File {
		total, packed = total+part.UncompressedSize64, packed+part.CompressedSize64
		names[part.Name] = true
		if low := strings.ToLower(part.Name); !strings.HasPrefix(low, "xl/worksheets/sheet") && low != "xl/sharedstrings.xml" {
			held += part.UncompressedSize64 // the library keeps these in memory
		}
		if total > maxUnzipped {
			break
		}
	}
	if total > maxUnzipped || held > maxHeld || total > 16<<20 && total > maxRatio*max(packed, 1) {
		return s.fail(0, "leave it closed, and ask whoever made it for a CSV file", "unpacks to %s or more, %d times its size: no workbook of counts does", size(total), total/max(uint64(s.Size), 1))
	}
	switch {
	case names["xl/workbook.xml"]:
	case names["xl/workbook.bin"]:
		return s.fail(0, "open it and save it as .xlsx or CSV", "is an .xlsb workbook, not an .xlsx one")
	case names["content.xml"]:
		return s.fail(0, "open it and save it as .xlsx or CSV", "is an OpenDocument file, not an .xlsx workbook")
	case names["word/document.xml"]:
		return s.fail(0, "copy the table into a spreadsheet and save that as .xlsx or CSV", "is a text document, not an .xlsx workbook")
	case names["[Content_Types].xml"]:
		return s.fail(0, "open it in your spreadsheet and save it as .xlsx or CSV", "is no workbook of the usual build")
	default:
		return s.fail(0, "unpack it, and import the CSV or .xlsx files in it", "is a zip archive, not an .xlsx workbook")
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return s.fail(0, "check the disk", "cannot be read: %v", cause(err))
	}
	h := crc32.New(table)
	if _, err := io.Copy(h, f); err != nil {
		return s.fail(0, "check the disk", "cannot be read: %v", cause(err))
	}
	s.sum = h.Sum32()
	return nil
}

func size(n uint64) string {
	if n >= 1<<30 {
		return fmt.Sprintf("%d GiB", n>>30)
	}
	return fmt.Sprintf("%d MiB", n>>20)
}

// changed says that the file is not what it was when it was looked over.
func (s *Source) changed() *diag.Problem {
	return s.fail(0, "wait until whatever writes it has finished, then import it again", "changed while it was being read")
}

// same compares the file's time and size, and the checksum of what was read.
func (s *Source) same(sum uint32) error {
	info, err := os.Stat(s.path)
	if err != nil || info.Size() != s.info.Size() || !info.ModTime().Equal(s.info.ModTime()) || !os.SameFile(info, s.info) || sum != s.sum {
		return s.changed()
	}
	return nil
}
