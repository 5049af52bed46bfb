package ingest

import (
	"io"
	"strings"
	"unicode/utf8"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/pattern"
	"leafturn/internal/units"
)

// ParseSample reads the samples and options of a notes line that has neither
// bed nor pest before them, given as the words of a command. The pest, a key or
// "", says which sample units there are. Errors are as those of ParseWords:
// column 1 is the first letter of the first word.
func ParseSample(words []string, pest string, opt Options) (farm.Visit, error) {
	p := newNotes("", opt)
	line := joinWords(words)
	if d, col := checkChars(line); d != nil {
		p.put(0, col, d)
		return farm.Visit{}, p.list.Err()
	}
	v := farm.Visit{Stratum: farm.Random, Date: p.date, Pest: pest}
	parts, note := p.split(line)
	v.Note = note
	if len(parts) == 0 && p.count() == 0 {
		p.add(0, 0, "write the count of each unit, such as: 4 0 2 7 1", "no counts given")
	}
	if p.count() == 0 {
		p.rest(parts, utf8.RuneCountInString(line), &v)
	}
	for _, w := range parts {
		if pest == "" && strings.HasPrefix(strings.ToLower(w.text), "unit=") {
			p.add(0, w.col, "add --pest, such as --pest mite, or leave unit= out", "unit= means something only for a pest")
		}
	}
	if err := p.list.Err(); err != nil {
		return farm.Visit{}, err
	}
	return v, nil
}

// Sample is one line of a file of lists: the counts of one bed, plot or day.
type Sample struct {
	Row    int
	Name   string     // what stands before a colon, or ""
	Date   civil.Date // of a dated file
	Counts []int      // of the units that were looked at
	// Effort is the units (or trap-nights) behind the whole line, when it says
	// effort=; 0: each count is one unit.
	Effort float64
}

// ReadSamples reads a file of lists, one sample a line:
//
//	[DATE] [NAME:] COUNT... [effort=NUMBER] [# note to the end]
//
// A COUNT is as in notes: 4, 70*0, or "-" for a unit that was not looked at.
// With dated every line begins with its date, else none may. effort= is for
// dated files, on a line with one count: the animals of all units together.
// The error is a *diag.List with every problem of the file.
func ReadSamples(r io.Reader, file string, dated bool) ([]Sample, error) {
	p := newNotes(file, Options{})
	lines, bad, ok := p.readText(r, maxNotes)
	if !ok {
		return nil, p.list.Err()
	}
	var out []Sample
	units := 0
	for i, line := range lines {
		p.row = i + 1
		if bad[p.row] {
			continue
		}
		if len(line) > MaxLine {
			p.problem(1, "split it, or check that this is a file of counts", "the line has %d bytes; at most %d are read", len(line), MaxLine)
			continue
		}
		words, _ := p.split(line)
		if len(words) == 0 {
			continue
		}
		before := p.count()
		s := p.sampleLine(words, dated)
		units += len(s.Counts)
		if units > maxSampled {
			p.problem(1, "split the file", "more than %d units in one file are taken for a slip", maxSampled)
			break
		}
		if p.count() == before {
			out = append(out, s)
		}
	}
	if len(out) == 0 && p.count() == 0 {
		example := "3 0 1 12 0"
		if dated {
			example = "2026-06-01 3 0 1 12 0"
		}
		p.add(0, 0, "write one sample a line, such as: "+example, "no counts in it")
	}
	return out, p.list.Err()
}

const maxSampled = 1_000_000 // units of one file of lists

func (p *notesParser) sampleLine(words []word, dated bool) Sample {
	s := Sample{Row: p.row}
	first := words[0]
	switch {
	case dated && !looksLikeDate(first.text):
		p.problem(first.col, "begin the line with its date: 2026-06-01 3 0 1 12 0", "the line has no date")
		return s
	case dated:
		s.Date = p.readDate(first)
		words = words[1:]
	case looksLikeDate(first.text) && strings.Count(first.text, "-") == 2:
		p.problem(first.col, "leave the date out: the samples are compared with each other, not over time", "the date %s stands among the counts", quote(first.text))
		return s
	}
	var v farm.Visit
	for i, w := range words {
		name, value, option := strings.Cut(w.text, "=")
		switch {
		case w.text == ",":
		case i == 0 && strings.HasSuffix(w.text, ":") && len(w.text) > 1:
			s.Name = strings.TrimSuffix(w.text, ":")
		case fraction().MatchString(w.text):
			p.problem(w.col, "give the count of each unit; `leafturn estimate --counts` reads presence samples", "%s is a presence sample", quote(w.text))
		case sampleLike(w.text):
			p.sample(word{strings.TrimSuffix(w.text, ","), w.col}, &v)
		case option && strings.EqualFold(name, "effort") && dated:
			e, err := units.ParseNumber(value)
			if err != nil || !(e > 0) || e > 1e9 {
				p.problem(w.col+len("effort="), "write the units behind the line, such as effort=40", "%s is not a number above 0", quote(value))
				continue
			}
			s.Effort = e
		default:
			p.problem(w.col, "write counts only, such as 3 0 1 12 0; a name ends in a colon and a note begins with #", "%s is not a count", quote(w.text))
		}
	}
	s.Counts = v.Seen()
	switch {
	case len(s.Counts) == 0:
		p.problem(first.col, `write the count of each unit; 0 is a count, "-" a unit not looked at`, "no counts on the line")
	case s.Effort > 0 && len(s.Counts) > 1:
		p.problem(first.col, "write the animals of all units together as one count, or leave effort= out", "effort= stands on a line with %d counts", len(s.Counts))
	}
	return s
}

var cellText = pattern.New(`^(\d+)\s*(?:/|on)\s*(\d+)$`)

// ParseCell reads the animals of one treatment at one time: a list of counts
// ("4 0 1 1 0", each one unit), or the total on so many units ("36/40" or
// "36 on 40"). With a total there are no counts.
func ParseCell(text string) (counts []int, total, looked int, problem error) {
	text = tidy(text)
	if m := cellText().FindStringSubmatch(text); m != nil {
		t, bad := parseCount(m[1])
		n, bad2 := parseCount(m[2])
		switch {
		case bad != nil:
			return nil, 0, 0, bad
		case bad2 != nil:
			return nil, 0, 0, bad2
		case n == 0:
			return nil, 0, 0, refuse("write TOTAL/UNITS, such as 36/40", "%s: nothing was looked at", quote(text))
		}
		return nil, t, n, nil
	}
	notCounts := refuse("write the count of each unit, such as \"4 0 1 1 0\", or TOTAL/UNITS, such as 36/40", "%s is not a list of counts", quote(text))
	if strings.ContainsAny(text, "=+#") {
		return nil, 0, 0, notCounts
	}
	v, err := ParseSample([]string{text}, "", Options{})
	var list *diag.List
	switch {
	case err == nil:
	case asList(err, &list):
		return nil, 0, 0, refuse("write the count of each unit, such as \"4 0 1 1 0\", or TOTAL/UNITS, such as 36/40", "%s: %s", quote(text), list.Problems[0].What)
	default:
		return nil, 0, 0, err
	}
	counts = v.Seen()
	if v.Presence != nil || len(counts) == 0 {
		return nil, 0, 0, notCounts
	}
	for _, c := range counts {
		total += c
	}
	return counts, total, len(counts), nil
}

func asList(err error, to **diag.List) bool {
	l, ok := err.(*diag.List)
	if ok {
		*to = l
	}
	return ok && len(l.Problems) > 0
}

// ParseShare reads a presence sample such as 12/50.
func ParseShare(text string) (infested, looked int, err error) {
	m := fraction().FindStringSubmatch(tidy(text))
	if m == nil {
		return 0, 0, refuse("write infested/looked without blanks, such as 12/50", "%s is not a presence sample", quote(text))
	}
	infested, looked, bad := ratio(m, farm.MaxUnits, "infested")
	return infested, looked, asError(bad)
}
