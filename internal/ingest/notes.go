package ingest

import (
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// Options are what a notes line does not say itself.
type Options struct {
	Today    civil.Date // the farm's date; a later date is refused
	Date     civil.Date // the date of lines that give none; zero: each must give its own
	Observer string     // the observer of lines that name none
	Names    Names
}

// Note is one visit and the row of the file that holds it.
type Note struct {
	Visit farm.Visit
	Row   int
}

// Summary counts a notes file. Every line is one of four things:
// Lines = Visits + Rejected + Settings + Skipped.
type Summary struct {
	Lines    int // lines in the file
	Visits   int // lines that read well as a visit
	Rejected int // lines with a problem, or below a date line with one
	Settings int // "date" and "by" lines
	Skipped  int // blank lines and comments
	Units    int // sample units looked at on the visits
}

// ParseNotes reads notes, one line for one bed and pest:
//
//	[DATE] BED PEST SAMPLE... [WORD=VALUE | +ENEMY=COUNT | WORD]... [# note to the end]
//
// A SAMPLE is a count (4), "-" for a unit that was not looked at, a repeat
// (70*0: seventy units with 0), or a presence sample (12/50: 12 infested of 50
// looked at). The options are unit=, nights=, air=, soilc= (14C or 57F),
// soil=dry|moist|wet, foliage=dry|wet, damage=hurt/looked, by=NAME or
// by="TWO NAMES", hotspot, edge, random and disturbed. A line "date
// 2026-07-13" sets the date of the lines below it, "by NAME" their observer.
// Blank lines and lines that begin with "#" are skipped.
//
// The error is a *diag.List with every problem of the file in order; the
// notes that read well are returned beside it. A visit that stands twice in
// the file (bed, date, pest, unit and stratum) is a problem.
func ParseNotes(r io.Reader, file string, opt Options) ([]Note, error) {
	notes, _, err := ReadNotes(r, file, opt)
	return notes, err
}

// ReadNotes is ParseNotes with the totals of the file.
func ReadNotes(r io.Reader, file string, opt Options) ([]Note, Summary, error) {
	p := newNotes(file, opt)
	lines, bad, ok := p.readText(r, maxNotes)
	if !ok {
		return nil, Summary{}, p.list.Err()
	}
	var notes []Note
	sum := Summary{Lines: len(lines)}
	rows := map[visitKey]int{}
	for i, line := range lines {
		p.row = i + 1
		before := p.count()
		v, what := farm.Visit{}, isVisit
		switch {
		case bad[p.row]:
		case len(line) > MaxLine:
			p.problem(1, "split it, or check that this is a notes file", "the line has %d bytes; at most %d are read", len(line), MaxLine)
		default:
			v, what = p.line(line)
			if first, twice := rows[keyOf(v)]; twice && what == isVisit && p.count() == before {
				p.problem(1, "delete one of the two, or put the counts of both on one line",
					"bed %s, %s, %s is already on row %d with the same unit and stratum", v.Bed, v.Pest, v.Date, first)
			}
		}
		switch {
		case bad[p.row] || p.count() > before || what == isVisit && v.Date.IsZero():
			sum.Rejected++
		case what == isSkipped:
			sum.Skipped++
		case what == isSetting:
			sum.Settings++
		default:
			rows[keyOf(v)] = p.row
			notes = append(notes, Note{v, p.row})
			sum.Visits++
			sum.Units += v.UnitsLooked()
		}
	}
	if sum.Visits == 0 && p.count() == 0 {
		p.add(0, 0, "write a line such as: B3 slug 4 0 2 7 1", "no counts in it")
	}
	return notes, sum, p.list.Err()
}

// ParseWords reads one notes line given as the words of a command. An error
// is a *diag.List of usage problems placed at the column of the words joined
// with single blanks.
func ParseWords(words []string, opt Options) (farm.Visit, error) {
	p := newNotes("", opt)
	line := joinWords(words)
	if d, col := checkChars(line); d != nil {
		p.put(0, col, d)
		return farm.Visit{}, p.list.Err()
	}
	v, what := p.line(line)
	if what != isVisit && p.count() == 0 {
		p.add(0, 0, "write bed, pest and counts, such as: B3 slug 4 0 2 7 1", "no counts given")
	}
	if err := p.list.Err(); err != nil {
		return farm.Visit{}, err
	}
	return v, nil
}

// joinWords makes a line of the words of a command.
func joinWords(words []string) string {
	parts := make([]string, len(words))
	for i, w := range words {
		// The shell has taken the quotes off by="Ana Lopez".
		if name, value, found := strings.Cut(w, "="); found && strings.EqualFold(name, "by") && strings.ContainsFunc(value, isSpace) && !strings.ContainsAny(value, quoteMarks) {
			w = name + `="` + value + `"`
		}
		parts[i] = strings.Map(func(r rune) rune {
			if r == '\n' || r == '\r' {
				return ' '
			}
			return r
		}, w)
	}
	return strings.Join(parts, " ")
}

// Reserved reports whether a word begins a line of its own kind in notes, so
// that no bed can have it for a code.
func Reserved(code string) bool {
	return slices.Contains([]string{"date", "by", "today", "yesterday"}, strings.ToLower(code))
}

type visitKey struct {
	bed, pest, unit string
	date            civil.Date
	stratum         farm.Stratum
}

func keyOf(v farm.Visit) visitKey { return visitKey{v.Bed, v.Pest, v.Unit, v.Date, v.Stratum} }

type lineKind int

const (
	isVisit lineKind = iota
	isSkipped
	isSetting
)

type notesParser struct {
	problems
	opt      Options
	row      int
	date     civil.Date
	dateBad  bool // a "date" line was wrong: its own problem is enough
	observer string
}

func newNotes(file string, opt Options) *notesParser {
	return &notesParser{problems: problems{file: file}, opt: opt, date: opt.Date, observer: opt.Observer}
}

func (p *notesParser) problem(col int, do, format string, args ...any) {
	p.add(p.row, col, do, format, args...)
}

// word is a part of a line and its column, 1-based in characters.
type word struct {
	text string
	col  int
}

const quoteMarks = "\"“”„"

// split cuts a line into words and the note after "#". A value may be quoted
// right after "=", so that it can hold blanks.
func (p *notesParser) split(line string) (words []word, note string) {
	rs := []rune(line)
	for i := 0; i < len(rs); {
		switch {
		case isSpace(rs[i]):
			i++
			continue
		case rs[i] == '#':
			return words, strings.TrimFunc(string(rs[i+1:]), isSpace)
		}
		w := word{col: i + 1}
		var b strings.Builder
		for i < len(rs) && !isSpace(rs[i]) {
			b.WriteRune(rs[i])
			i++
			if rs[i-1] != '=' || i == len(rs) || !strings.ContainsRune(quoteMarks, rs[i]) {
				continue
			}
			end := slices.IndexFunc(rs[i+1:], func(r rune) bool { return strings.ContainsRune(quoteMarks, r) })
			if end < 0 {
				p.problem(i+1, `write by="Ana Lopez"`, "the quotation mark is not closed")
				return words, ""
			}
			b.WriteString(string(rs[i+1 : i+1+end]))
			i += end + 2
		}
		w.text = b.String()
		words = append(words, w)
	}
	return words, ""
}

// line reads one line; its problems are added to the list.
func (p *notesParser) line(line string) (farm.Visit, lineKind) {
	before := p.count()
	words, note := p.split(line)
	switch {
	case p.count() > before:
		return farm.Visit{}, isVisit
	case len(words) == 0:
		return farm.Visit{}, isSkipped
	case strings.EqualFold(words[0].text, "date"):
		p.setDate(words)
		return farm.Visit{}, isSetting
	case strings.EqualFold(words[0].text, "by"):
		p.setObserver(words)
		return farm.Visit{}, isSetting
	}
	v := farm.Visit{Stratum: farm.Random, Date: p.date, Observer: p.observer, Note: note}
	if looksLikeDate(words[0].text) {
		v.Date = p.readDate(words[0])
		if len(words) == 1 {
			p.problem(words[0].col, "to set the date of the lines below, write: date 2026-07-13", "a date alone is no count")
			return v, isVisit
		}
		words = words[1:]
	} else if v.Date.IsZero() && !p.dateBad {
		p.problem(words[0].col, "begin the line with its date, or put a line before it such as: date 2026-07-13", "the line has no date")
	}
	if words = p.bedAndPest(words, &v); words != nil {
		p.rest(words, len([]rune(line)), &v)
	}
	return v, isVisit
}

func (p *notesParser) readDate(w word) civil.Date {
	today := p.opt.Today
	if p.file != "" && p.file != "-" {
		today = civil.Date{} // a file read again tomorrow must mean the same days
	}
	d, bad := parseDate(w.text, today)
	switch {
	case bad != nil:
		p.put(p.row, w.col, bad)
	case !p.opt.Today.IsZero() && d.After(p.opt.Today):
		p.problem(w.col, "check the date", "%s lies in the future; today is %s", d, p.opt.Today)
	default:
		return d
	}
	return civil.Date{}
}

func (p *notesParser) setDate(words []word) {
	before := p.count()
	switch {
	case len(words) == 1:
		p.problem(words[0].col, "write: date 2026-07-13", "the line gives no date")
	case len(words) > 2:
		p.problem(words[2].col, "put the counts on a line of their own", "%s after the date of a date line", quote(words[2].text))
	default:
		p.date = p.readDate(words[1])
	}
	if p.dateBad = p.count() > before; p.dateBad {
		p.date = civil.Date{}
	}
}

func (p *notesParser) setObserver(words []word) {
	var name []string
	for _, w := range words[1:] {
		name = append(name, w.text)
	}
	col := words[0].col
	if len(words) > 1 {
		col = words[1].col
	}
	if n, ok := p.name(strings.Join(name, " "), col); ok {
		p.observer = n
	}
}

func (p *notesParser) name(s string, col int) (string, bool) {
	s = tidy(s)
	switch {
	case s == "":
		p.problem(col, "write a name, such as by=Ana", "the observer has no name")
	case strings.ContainsAny(s, quoteMarks):
		p.problem(col, "leave the quotation mark out", "a quotation mark inside a name")
	case utf8.RuneCountInString(s) > maxName:
		p.problem(col, "write a shorter name", "the observer's name has more than %d characters", maxName)
	default:
		return s, true
	}
	return "", false
}
