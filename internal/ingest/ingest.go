// Package ingest turns text that people write into the farm's values: notes
// lines thumbed on a phone, the bed list, growth stages, daily weather, a
// label as the grower copied it, and single words (dates, counts, clock times).
//
// Every reader reports all problems of its input in one run, as a *diag.List
// whose problems stand at file, row and column (1-based, in characters). What
// read well is returned beside the error; the caller decides whether to store
// any of it. Nothing is guessed: an ambiguous date, a number without its unit
// or a comma between digits is refused with the forms to write (but 7,5 is a
// number in a table cut by semicolons or tabs).
//
// Look-ups (which beds, pests, units and enemies exist) are passed in as
// Names, so the package knows no catalogue and no store.
//
// Not here: spreadsheets (.xlsx), UTF-16 text, weather services' own formats,
// deciding what is stored.
package ingest

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"leafturn/internal/diag"
	"leafturn/internal/farm"
)

// Limits on what is read; more is taken for the wrong file. Common practice.
const (
	MaxLine   = 64 << 10 // bytes in one notes line
	maxNotes  = 16 << 20 // bytes in a notes file
	maxTable  = 32 << 20 // bytes in a CSV file
	maxLabel  = 1 << 20  // bytes in a label file
	maxName   = 60       // characters in an observer's name
	maxListed = 12       // known names listed in a message
)

// Names looks up the words that people use. Look-ups ignore the case of
// letters and return the farm's or catalogue's own key; a key is always a
// word for itself. The lists are the words to suggest from.
type Names interface {
	Bed(word string) (code string, ok bool)
	BedCodes() []string
	Pest(word string) (key string, ok bool)
	PestWords() []string
	// Unit finds a sample unit of a pest; word "" is the pest's usual unit.
	Unit(pest, word string) (unit string, ok bool)
	UnitWords(pest string) []string
	Enemy(word string) (key string, ok bool)
	EnemyWords() []string
}

// PestNames is the part of Names that a label needs.
type PestNames interface {
	Pest(word string) (key string, ok bool)
	PestWords() []string
}

// problems gathers what is wrong with one input.
type problems struct {
	file string
	list diag.List
}

func (p *problems) add(row, col int, do, format string, args ...any) {
	p.put(row, col, &diag.Problem{What: fmt.Sprintf(format, args...), Do: do})
}

// put places a problem that was found without knowing where. Words typed on
// the command line (no file) are a usage problem.
func (p *problems) put(row, col int, d *diag.Problem) {
	c := *d
	c.File, c.Row, c.Col, c.Usage = p.file, row, col, p.file == "" && row == 0
	p.list.Add(&c)
}

func (p *problems) count() int { return len(p.list.Problems) }

// Of problems with the same remedy, foldFirst are said, and the others are
// counted, when there are more than foldAfter.
const (
	foldAfter = 5
	foldFirst = 2
)

// fold makes many problems of one kind, as a file with two columns swapped
// has on every row, a short message.
func (p *problems) fold() {
	all := map[string]int{}
	for _, d := range p.list.Problems {
		all[d.Do]++
	}
	seen := map[string]int{}
	var kept []*diag.Problem
	for _, d := range p.list.Problems {
		seen[d.Do]++
		switch n := all[d.Do]; {
		case n <= foldAfter || seen[d.Do] <= foldFirst:
			kept = append(kept, d)
		case seen[d.Do] == n:
			d.What += fmt.Sprintf(" (and so in %d more places between)", n-foldFirst-1)
			kept = append(kept, d)
		}
	}
	p.list.Problems = kept
}

// refuse makes a problem that has no place yet.
func refuse(do, format string, args ...any) *diag.Problem {
	return &diag.Problem{What: fmt.Sprintf(format, args...), Do: do, Usage: true}
}

// asError keeps a nil problem a nil error.
func asError(p *diag.Problem) error {
	if p == nil {
		return nil
	}
	return p
}

// unknown says that word is no known name of a kind, with the nearest name or
// else the names there are.
func unknown(kind, word string, known []string) *diag.Problem {
	if near := diag.DidYouMean(word, known); near != "" {
		return refuse("", "unknown %s %s%s", kind, quote(word), near)
	}
	return refuse(oneOf(known), "unknown %s %s", kind, quote(word))
}

// oneOf lists the words that may be written, sorted.
func oneOf(known []string) string {
	s := slices.Compact(slices.Sorted(slices.Values(known)))
	if len(s) == 0 {
		return ""
	}
	more := ""
	if len(s) > maxListed {
		more = fmt.Sprintf(" (and %d more)", len(s)-maxListed)
		s = s[:maxListed]
	}
	return "write one of: " + strings.Join(s, ", ") + more
}

// quote quotes a person's text and cuts it when it is long.
func quote(s string) string {
	if r := []rune(s); len(r) > 40 {
		s = string(r[:40]) + "…"
	}
	return fmt.Sprintf("%q", s)
}

// look tries a word as written, then in lower and upper case.
func look(word string, find func(string) (string, bool)) (string, bool) {
	for _, w := range []string{word, strings.ToLower(word), strings.ToUpper(word)} {
		if key, ok := find(w); ok {
			return key, true
		}
	}
	return "", false
}

// readText reads a whole text file as lines without their ends. A byte-order
// mark is dropped and CRLF or CR ends a line as LF does. ok is false when the
// file is no text at all; lines that are not UTF-8 or hold a control
// character are reported and come back in bad.
func (p *problems) readText(r io.Reader, limit int) (lines []string, bad map[int]bool, ok bool) {
	raw, err := io.ReadAll(io.LimitReader(r, int64(limit)+1))
	if err != nil {
		p.put(0, 0, diag.Failf(err, "check that the file is there and can be read", "could not be read: %v", err))
		return nil, nil, false
	}
	if len(raw) > limit {
		p.add(0, 0, "check that this is the right file, or split it", "is larger than %d MiB", limit>>20)
		return nil, nil, false
	}
	if UTF16(raw) != NotUTF16 {
		p.add(1, 1, `save the file again with the encoding "UTF-8"`, "is saved as UTF-16 text")
		return nil, nil, false
	}
	raw = bytes.TrimPrefix(raw, []byte("\uFEFF"))
	raw = bytes.ReplaceAll(raw, []byte("\r\n"), []byte("\n"))
	raw = bytes.ReplaceAll(raw, []byte("\r"), []byte("\n"))
	if i := bytes.IndexByte(raw, 0); i >= 0 {
		start := bytes.LastIndexByte(raw[:i], '\n') + 1
		p.add(bytes.Count(raw[:i], []byte("\n"))+1, utf8.RuneCount(raw[start:i])+1,
			"give a plain text file saved as UTF-8", "holds a NUL byte; this is not a text file")
		return nil, nil, false
	}
	lines = strings.Split(string(raw), "\n")
	if n := len(lines); lines[n-1] == "" {
		lines = lines[:n-1] // the end of the last line, not a line of its own
	}
	bad = map[int]bool{}
	for i, line := range lines {
		if d, col := checkChars(line); d != nil {
			p.put(i+1, col, d)
			bad[i+1] = true
		}
	}
	return lines, bad, true
}

// Wide is how UTF-16 text is written.
type Wide int

// The ways.
const (
	NotUTF16     Wide = iota
	LittleEndian      // the low byte first
	BigEndian
)

// UTF16 tells UTF-16 text by its mark or, without one, by zero bytes in every
// second place: in nearly all text that is written in letters most are such. No
// other text has them, and what is no text has them in both places.
func UTF16(head []byte) Wide {
	switch {
	case bytes.HasPrefix(head, []byte{0xFF, 0xFE}):
		return LittleEndian
	case bytes.HasPrefix(head, []byte{0xFE, 0xFF}):
		return BigEndian
	}
	head = head[:min(len(head), 1<<12)]
	units := len(head) / 2
	first, second := 0, 0
	for i := range units {
		if head[2*i] == 0 {
			first++
		}
		if head[2*i+1] == 0 {
			second++
		}
	}
	switch {
	case first == 0 && second > units/2:
		return LittleEndian
	case second == 0 && first > units/2:
		return BigEndian
	}
	return NotUTF16
}

// checkChars finds the first byte of a line that is not UTF-8, or the first
// control character other than tab.
func checkChars(line string) (*diag.Problem, int) {
	col := 1
	for i := 0; i < len(line); col++ {
		r, n := utf8.DecodeRuneInString(line[i:])
		if r == utf8.RuneError && n == 1 {
			return refuse(`save the file again with the encoding "UTF-8"`, "byte 0x%02X is not UTF-8 text", line[i]), col
		}
		if unicode.IsControl(r) && r != '\t' {
			return refuse("delete it", "control character %U", r), col
		}
		i += n
	}
	return nil, 0
}

// isSpace takes in the zero-width characters that chat programs paste.
func isSpace(r rune) bool {
	return unicode.IsSpace(r) || strings.ContainsRune("\u200B\u200E\u200F\u2060\uFEFF", r)
}

// tidy trims s and turns each run of space into one blank.
func tidy(s string) string { return strings.Join(strings.FieldsFunc(s, isSpace), " ") }

func digits(s string) bool {
	return s != "" && strings.Trim(s, "0123456789") == ""
}

// ParseCelsius reads a temperature in air or soil; unit is that of a bare
// number, "" to refuse one. The error is a *diag.Problem without a place.
func ParseCelsius(s, unit string) (float64, error) {
	c, p := celsius(s, unit)
	return c, asError(p)
}

// ParseDamage reads a damage sample: 4/50, hurt of looked at. The error is a
// *diag.Problem without a place.
func ParseDamage(s string) (farm.Damage, error) {
	m := fraction().FindStringSubmatch(strings.ReplaceAll(s, " ", ""))
	if m == nil {
		return farm.Damage{}, refuse("write hurt/looked, such as 4/50", "%s is not a damage sample", quote(s))
	}
	hurt, looked, p := ratio(m, farm.MaxUnits, "hurt")
	return farm.Damage{Hurt: hurt, Looked: looked}, asError(p)
}

// Unknown says that a word is no known name of a kind, with the nearest one
// or the names there are. It has no place.
func Unknown(kind, word string, known []string) *diag.Problem { return unknown(kind, word, known) }
