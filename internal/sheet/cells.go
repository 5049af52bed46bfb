package sheet

import (
	"strconv"
	"strings"

	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/pattern"
)

// blankCell is what a blank count stands for.
const (
	blankNone = "none" // no unit: nothing is recorded
	blankLost = "lost" // a unit that was not looked at
	blankZero = "zero" // a count of none, because the grower said so
)

// lost are the words for a unit that was not looked at.
var lost = map[string]bool{"-": true, "–": true, "—": true, "−": true, "na": true, "n/a": true, "n.a.": true, "#n/a": true, "nan": true, "null": true, "lost": true, "missing": true, "not looked": true, "not looked at": true}

// sample is what one cell of counts holds.
type sample struct {
	units    []farm.UnitCount
	presence *farm.Presence
}

var (
	wholeDecimal = pattern.New(`^\d+[.,](?:0{1,2}|0{4,})$`) // 4.000 may be four thousand
	thousands    = pattern.New(`^\d{1,3}([.,' ]\d{3})+$`)
	decimal      = pattern.New(`^-?\d*[.,]\d+$`)
	bound        = pattern.New(`^(>|<|≥|≤|=>|>=|<=|~|≈|ca\.?|about|over|under|approx\.?)\s*\d+$|^\d+\s*(\+|plus|or more)$`)
	between      = pattern.New(`^\d+\s*(-|–|to)\s*\d+$`)
	ratioForm    = pattern.New(`^(\d+)\s*(?:/|(?:out )?of)\s*(\d+)$`)
	repeatForm   = pattern.New(`^(\d+)\s*[*x×]\s*(-|\d+)$`)
	monthText    = pattern.New(`(?i)^(\d{1,2}[-. ](jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)|(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[-. ]\d{1,4})[a-z]*$`)
	wordsAlone   = pattern.New(`^\pL{2,}[\pL .,]*$`)
	wordCount    = pattern.New(`^(\d+)\s*\pL[\pL ]*$`)
)

// parseSample reads a cell of counts. isDate says that the spreadsheet holds
// a date there.
func parseSample(text string, isDate bool) (sample, *wrong) {
	s := strings.ToLower(tidy(text))
	if one, ok := strings.CutPrefix(s, "'"); ok && plainDigits(one) { // as programs mark text
		s = one
	}
	if plainDigits(s) {
		return count(s)
	}
	q := quote(text)
	switch {
	case isDate || monthText().MatchString(s):
		return sample{}, bad("give the column the format of text and write 3/10 again (or write infested and looked in two columns)", "%s is a date: the spreadsheet made it of a fraction such as 3/10", q)
	case lost[s]:
		return sample{units: []farm.UnitCount{{}}}, nil
	case wholeDecimal().MatchString(s):
		return count(s[:strings.IndexAny(s, ".,")])
	case thousands().MatchString(s):
		return sample{}, bad("write the count in plain digits", "%s can be read as thousands or as a fraction", q)
	case decimal().MatchString(s):
		return sample{}, bad("write the count of each unit, not their average; a fraction is written infested/looked, such as 12/50", "%s is not a whole number", q)
	case bound().MatchString(s):
		return sample{}, bad("write the number that was counted; where counting was broken off write - (not looked at), or the number itself if you know that it is too low", "%s is not an exact count", q)
	case strings.HasSuffix(s, "%"):
		return sample{}, bad("write infested/looked, such as 12/50", "%s is a share without the number looked at", q)
	case strings.HasSuffix(s, struckOut):
		return sample{}, bad("write the number that holds, in plain type; where none does, leave the cell blank", "%s is no plain number", q)
	case strings.HasPrefix(s, "="):
		return sample{}, bad("write the number; in a workbook that another program made, let your spreadsheet work it out and save it again", "%s is a formula without its value", q)
	case strings.HasPrefix(s, "#"):
		return sample{}, bad("mend the formula, or write the count", "%s is an error of the spreadsheet", q)
	case s == "yes" || s == "true" || s == "false":
		return sample{}, bad("write the number that was counted; where it was only noted whether a unit had any, write infested/looked, such as 12/50", "%s is not a count", q)
	case s == "none" || s == "nil" || s == "no" || s == "?" || s == "x":
		return sample{}, bad("write 0 where none was found, - where nobody looked", "%s is not a count", q)
	}
	if m := ratioForm().FindStringSubmatch(s); m != nil {
		hit, err1 := strconv.Atoi(m[1])
		of, err2 := strconv.Atoi(m[2])
		switch {
		case err1 != nil || err2 != nil || of > farm.MaxUnits:
			return sample{}, bad("check the numbers", "%s is above %d and is taken for a slip", q, farm.MaxUnits)
		case of == 0:
			return sample{}, bad("write how many were looked at, such as 12/50, or leave the cell blank", "%s: nothing was looked at", q)
		case hit > of:
			return sample{}, bad("write infested/looked, such as 12/50", "%s: the first number cannot be above the second", q)
		}
		return sample{presence: &farm.Presence{Infested: hit, Looked: of}}, nil
	}
	if m := repeatForm().FindStringSubmatch(s); m != nil {
		n, err := strconv.Atoi(m[1])
		if err != nil || n < 1 || n > farm.MaxUnits {
			return sample{}, bad("write units*count, such as 70*0 for seventy units with none", "%s repeats a count too often or never", q)
		}
		one, w := parseSample(m[2], false)
		if w != nil {
			return one, w
		}
		out := sample{units: make([]farm.UnitCount, n)}
		for i := range out.units {
			out.units[i] = one.units[0]
		}
		return out, nil
	}
	if between().MatchString(s) {
		return sample{}, bad("write the number that was counted", "%s is not an exact count", q)
	}
	if m := wordCount().FindStringSubmatch(s); m != nil {
		return sample{}, bad("write the number alone: "+m[1], "%s is not a number", q)
	}
	if wordsAlone().MatchString(s) {
		return sample{}, bad("write the number that was counted: 0 where none was found, - where nobody looked", "%s is not a count", q)
	}
	if words := strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == ';' }); len(words) > 1 {
		return several(words, q)
	}
	if _, err := ingest.ParseCount(tidy(text)); err != nil {
		return sample{}, plain(err)
	}
	return sample{}, bad("write a whole number of 0 or more", "%s is not a count", q)
}

// several reads a cell with the counts of several units, blanks between them.
func several(words []string, q string) (sample, *wrong) {
	var out sample
	for _, w := range words {
		one, wr := parseSample(w, false)
		switch {
		case wr != nil:
			return sample{}, bad(wr.do, "%s: %s", q, wr.what)
		case one.presence != nil:
			return sample{}, bad("write counts such as 4 0 2 in one row, and a presence sample such as 12/50 in another", "%s: a presence sample stands beside something else, or it is a number and a half", q)
		}
		if out.units = append(out.units, one.units...); len(out.units) > farm.MaxUnits {
			return sample{}, bad("check the cell", "%s has more than %d units", q, farm.MaxUnits)
		}
	}
	return out, nil
}

func count(digits string) (sample, *wrong) {
	n, err := ingest.ParseCount(digits)
	if err != nil {
		return sample{}, plain(err)
	}
	return sample{units: []farm.UnitCount{{Count: n, Seen: true}}}, nil
}

// plainCount reads a single whole number.
func plainCount(text string, isDate bool) (int, *wrong) {
	s, w := parseSample(text, isDate)
	switch {
	case w != nil:
		return 0, w
	case len(s.units) != 1 || s.presence != nil || !s.units[0].Seen:
		return 0, bad("write a whole number of 0 or more", "%s is not a count", quote(text))
	}
	return s.units[0].Count, nil
}

func plainDigits(s string) bool {
	if s == "" {
		return false
	}
	for i := 0; i < len(s); i++ {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return true
}

// dot writes a decimal comma as a point.
var commaForm = pattern.New(`^([-+]?\d+),(\d+)(.*)$`)

func dot(s string) string { return commaForm().ReplaceAllString(s, "$1.$2$3") }
