package catalog

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// The bases that a row can rest on.
const (
	Published      = "published"
	CommonPractice = "common practice"
	FromMemory     = "from memory"
	NoEvidence     = "no evidence found" // in the cover effects only
)

var bases = []string{Published, CommonPractice, FromMemory}

// reader reads the files of one catalogue and gathers every problem.
type reader struct {
	fsys   fs.FS
	system units.System // in which the quantities in braces are written out
	list   *diag.List
	files  map[string][]byte // what was read, by name
}

// row is one record of a table, with the place of each field. Reading a field
// that cannot be what it must be adds a located problem and gives the zero
// value, so that one pass finds them all.
type row struct {
	r    *reader
	file string
	cols map[string]int
	rec  []string
	at   [][2]int // line and column of each field, in bytes
	text []byte   // the file
}

// table reads a file, checks its header against the wanted columns and calls
// f for each row.
func (r *reader) table(file string, wanted []string, f func(row)) {
	bad := func(line, col int, what, do string) {
		r.list.Add(&diag.Problem{File: file, Row: line, Col: col, What: what, Do: do})
	}
	data, err := fs.ReadFile(r.fsys, file)
	if err != nil {
		r.list.Add(&diag.Problem{File: file, What: "cannot be read: " + err.Error(), Do: "put the file back", Err: err})
		return
	}
	r.files[file] = data
	cr := csv.NewReader(bytes.NewReader(data))
	cr.FieldsPerRecord = -1
	header, err := cr.Read()
	if err != nil {
		bad(1, 1, "has no header", "begin the file with "+strings.Join(wanted, ","))
		return
	}
	cols := map[string]int{}
	for i, h := range header {
		line, col := cr.FieldPos(i)
		switch _, twice := cols[h]; {
		case twice:
			bad(line, charCol(data, line, col), fmt.Sprintf("column %q stands twice", h), "remove one of them")
		case !slices.Contains(wanted, h):
			bad(line, charCol(data, line, col), fmt.Sprintf("unknown column %q%s", h, diag.DidYouMean(h, wanted)), "remove or rename it")
		}
		cols[h] = i
	}
	for _, w := range wanted {
		if _, ok := cols[w]; !ok {
			bad(1, 1, fmt.Sprintf("column %q is missing", w), "add it to the header and to every row")
			return
		}
	}
	for {
		rec, err := cr.Read()
		if err == io.EOF {
			return
		}
		if err != nil {
			line, col := 0, 0
			if pe := (*csv.ParseError)(nil); errors.As(err, &pe) {
				line, col = pe.Line, charCol(data, pe.Line, pe.Column)
			}
			bad(line, col, "is not well-formed CSV: "+err.Error(), "mend the quotes of this row")
			return
		}
		w := row{r: r, file: file, cols: cols, rec: rec, at: make([][2]int, len(rec)), text: data}
		for i := range rec {
			w.at[i][0], w.at[i][1] = cr.FieldPos(i)
		}
		if len(rec) != len(header) {
			bad(w.at[0][0], 1, fmt.Sprintf("row has %d fields, the header %d", len(rec), len(header)), "add or remove commas, or quote the text that holds one")
			continue
		}
		for i, v := range rec {
			if v != strings.TrimSpace(v) {
				w.bad(header[i], fmt.Sprintf("space at the end or start of %q", v), "remove it")
			}
			if !strings.ContainsAny(v, "{}") {
				continue
			}
			if rec[i], err = r.system.Text(v); err != nil {
				w.bad(header[i], err.Error(), "write a quantity as {15-20 m}, {30 °C} or {>25 ft}")
			}
		}
		f(w)
	}
}

// charCol turns a 1-based column in bytes into one in characters.
func charCol(data []byte, line, byteCol int) int {
	lines := bytes.Split(data, []byte("\n"))
	if line < 1 || line > len(lines) || byteCol < 1 || byteCol-1 > len(lines[line-1]) {
		return byteCol
	}
	return utf8.RuneCount(lines[line-1][:byteCol-1]) + 1
}

func (w row) bad(col, what, do string) {
	at := w.at[w.cols[col]]
	w.r.list.Add(&diag.Problem{File: w.file, Row: at[0], Col: charCol(w.text, at[0], at[1]), What: col + ": " + what, Do: do})
}

func (w row) str(col string) string { return w.rec[w.cols[col]] }

// must reads text that cannot be empty.
func (w row) must(col string) string {
	v := w.str(col)
	if v == "" {
		w.bad(col, "is empty", "fill it in")
	}
	return v
}

// key reads a key: lower-case letters, digits and underscores.
func (w row) key(col string) string {
	v := w.must(col)
	if v != "" && v != Word(v) {
		w.bad(col, fmt.Sprintf("%q is not a key", v), "use lower-case letters, digits and underscores")
	}
	return v
}

// oneOf reads a word of a list; "" is allowed only when the list holds it.
func (w row) oneOf(col string, known ...string) string {
	v := w.str(col)
	if !slices.Contains(known, v) {
		w.bad(col, fmt.Sprintf("unknown word %q%s", v, diag.DidYouMean(v, known)), "use one of: "+strings.Join(known, ", "))
	}
	return v
}

// oneOfOrNone reads a word of a list, or nothing.
func (w row) oneOfOrNone(col string, known ...string) string {
	if w.str(col) == "" {
		return ""
	}
	return w.oneOf(col, known...)
}

// words splits a list at semicolons.
func (w row) words(col string) []string {
	v := w.str(col)
	if v == "" {
		return nil
	}
	parts := strings.Split(v, ";")
	for i, p := range parts {
		parts[i] = strings.TrimSpace(p)
		if parts[i] == "" || slices.Contains(parts[:i], parts[i]) {
			w.bad(col, fmt.Sprintf("empty or repeated word in %q", v), "separate different words with single semicolons")
		}
	}
	return parts
}

// num reads a finite number, or nil when the field is empty.
func (w row) num(col string) *float64 {
	v := w.str(col)
	if v == "" {
		return nil
	}
	x, err := strconv.ParseFloat(v, 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) || strings.ContainsAny(v, "xXpP_") {
		w.bad(col, fmt.Sprintf("%q is not a number", v), "write a plain decimal number or leave it empty")
		return nil
	}
	return &x
}

// atLeast reads a number not below low, or nil.
func (w row) atLeast(col string, low float64) *float64 {
	x := w.num(col)
	if x != nil && *x < low {
		w.bad(col, fmt.Sprintf("%v is below %v", *x, low), "correct the number")
		return nil
	}
	return x
}

// whole reads a whole number from low to high; empty gives none.
func (w row) whole(col string, low, high, none int) int {
	v := w.str(col)
	if v == "" {
		return none
	}
	n, err := strconv.Atoi(v)
	if err != nil || n < low || n > high {
		w.bad(col, fmt.Sprintf("%q is not a whole number from %d to %d", v, low, high), "correct the number")
		return none
	}
	return n
}

func (w row) flag(col string) bool { return w.oneOf(col, "0", "1") == "1" }

// stages reads a first and a last stage, both or neither, in order.
func (w row) stages(from, to string) (farm.Stage, farm.Stage) {
	a, b := farm.Stage(w.str(from)), farm.Stage(w.str(to))
	for _, c := range []struct {
		col string
		s   farm.Stage
	}{{from, a}, {to, b}} {
		if c.s != "" && c.s.Order() < 0 {
			known := make([]string, len(farm.Stages))
			for i, s := range farm.Stages {
				known[i] = string(s)
			}
			w.bad(c.col, fmt.Sprintf("unknown stage %q%s", c.s, diag.DidYouMean(string(c.s), known)), "use one of: "+strings.Join(known, ", "))
			return "", ""
		}
	}
	switch {
	case (a == "") != (b == ""):
		w.bad(to, "only one end of the stages is given", "give both stages or neither")
	case a.Order() > b.Order():
		w.bad(to, fmt.Sprintf("%s comes before %s: the range is upside down", b, a), "put the earlier stage first")
	}
	return a, b
}

// ordered reports a range that is upside down.
func (w row) ordered(lowCol, highCol string, low, high *float64) {
	if low != nil && high != nil && *low > *high {
		w.bad(highCol, fmt.Sprintf("%v is below the %v of %s: the range is upside down", *high, *low, lowCol), "put the smaller number first")
	}
}

// provenance reads the last four columns and checks that they agree.
func (w row) provenance(extra ...string) Provenance {
	p := Provenance{Basis: w.str("basis"), Source: w.str("source"), URL: w.str("url"), Note: w.str("note")}
	if p.Basis == "" {
		w.bad("basis", "is empty", "say what the row rests on: "+strings.Join(bases, ", "))
		return p
	}
	w.oneOf("basis", append(slices.Clone(bases), extra...)...)
	switch {
	case p.Basis == Published && p.Source == "":
		w.bad("source", "a published row without a source", "name the source, or change the basis")
	case p.Basis != Published && p.Source != "" && p.Note == "":
		w.bad("source", fmt.Sprintf("a source on a row marked %q", p.Basis), "say in the note how the source and the basis go together")
	case p.URL != "" && p.Source == "":
		w.bad("url", "an address without a source", "name the source")
	}
	return p
}

// Word brings what a grower typed to the form of a key: lower case, with
// underscores for spaces and hyphens, and nothing else than letters and digits.
func Word(s string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(strings.TrimSpace(s)) {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9', r == '_':
			b.WriteRune(r)
		case r == ' ', r == '-':
			b.WriteByte('_')
		}
	}
	return b.String()
}
