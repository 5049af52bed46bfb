package sheet

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"leafturn/internal/pattern"
)

// noCount passes over a row without a count, but for one that says of what the
// rows below it are.
func (r *reader) noCount(row Row) {
	r.res.NoCount++
	if filled(row.Cells) != 1 {
		return
	}
	for _, c := range row.Cells {
		if c = tidy(c); c == "" {
			continue
		}
		if r.cutOtherwise(c) {
			r.refuse(row.N, 1, c, "write all rows with the same separating sign", "the row is cut by another sign than the others, and all of it stands in one cell")
			return
		}
		r.title, r.titleWords = row.N, c
		if of := r.another(strings.Trim(c, " :.")); of != "" {
			r.otherTable(row.N, c, of)
		}
	}
}

var pivotSums = pattern.New(`(?i)^(?:sum|average|mean|max|min|product|summe|mittelwert|somme|moyenne|suma|promedio|som|gemiddelde) (?:of|von|de|van) `)

// aboveHeadings looks at what stands above the headings: another pest, bed or day than
// was said for the whole sheet, as the upper of two rows of headings or in a form, and
// the mark of a pivot table.
func (r *reader) aboveHeadings(above []Row) {
	for _, row := range above {
		for i, c := range row.Cells {
			c = tidy(c)
			if pivotSums().MatchString(c) {
				r.add(row.N, i+1, "", c, "import the sheet of counts that the pivot table was made of", "%s stands above the headings: the numbers below are sums or means, as a pivot table has them", quote(c))
				return
			}
			word := strings.Trim(c, " :.")
			if label, value, ok := strings.Cut(word, ":"); ok && headings[plainHead(label)] != unknown {
				word = tidy(value)
			}
			if of := r.another(word); word != "" && of != "" {
				r.add(row.N, i+1, "", c, "write the headings in one row, such as slugs trap 1, or keep each table in a file of its own; if it was only said wrongly for the whole sheet, correct that", "%s stands above the headings: counts below it may be of %s, which no column of the sheet says", quote(c), of)
				return
			}
		}
	}
}

// exported reports whether headings are those of the visits or counts of an
// exported folder.
func exported(head []string) bool {
	has := func(h string) bool { return slices.Contains(head, h) }
	return has("visit_id") && has("seq") && has("count") || has("bed_id") && has("void_reason")
}

func titleWords(title string) []string {
	return strings.FieldsFunc(title, func(c rune) bool { return !unicode.IsLetter(c) && !unicode.IsDigit(c) && c != '-' && c != '_' })
}

// sheetName refuses a sheet of a workbook that is called after another pest, bed or day
// than was said for it. The number in "Sheet 1" names no bed.
func (r *reader) sheetName() {
	name := tidy(r.res.Format.Sheet)
	of := r.another(name)
	for _, word := range titleWords(name) {
		if of == "" && len(word) > 1 && !plainDigits(word) {
			of = r.another(word)
		}
	}
	if of != "" {
		r.add(0, 0, "", name, "take the sheet that is meant, with --sheet, or correct what was said; if its name is wrong, give it another", "the sheet is called %s, and another was said for all of it: its counts may be of %s", quote(name), of)
	}
}

// headOfBook refuses a heading of a workbook that does not hold, or not for long.
func headOfBook(head Row, c Column) *wrong {
	f := head.sum(c.Col)
	switch {
	case c.Read() && head.struck(c.Col):
		return bad("write the heading in plain type; if the column does not hold, delete it", "the heading %s is struck out or raised", quote(c.Heading))
	case strings.HasPrefix(c.Heading, "=") && c.Numbers:
		return bad("write the heading; in a workbook that another program made, let your spreadsheet work it out and save it again", "the heading is a formula without its value")
	case !c.Date.IsZero() && moves(f):
		return bad("write the day itself, such as 2026-07-13", "the heading is worked out by %s, which gives another day on another day", quote(f))
	}
	return nil
}

// newTable looks at what stood above headings that stand again: the title of a
// table of another pest, bed or day than was said for the whole sheet.
func (r *reader) newTable() {
	if r.title == 0 {
		return
	}
	for _, word := range titleWords(r.titleWords) {
		if of := r.another(word); of != "" {
			r.otherTable(r.title, r.titleWords, of)
			break
		}
	}
	r.title = 0
}

// otherHeadings refuses a row that cannot be read and holds headings, others than those
// of the sheet: the columns below may be other ones.
func (r *reader) otherHeadings(row Row) bool {
	heads := 0
	for _, c := range row.Cells {
		h := plainHead(tidy(c))
		if m := numbered().FindStringSubmatch(h); headings[h] != unknown || m != nil && r.g.units[m[1]] {
			heads++
		} else if plainDigits(h) || looksISO(c) {
			return false
		}
	}
	if heads < 2 {
		return false
	}
	r.refuse(row.N, 0, "", "keep each table in a file of its own; if it is a second row of headings, write them in one row, such as slugs trap 1", "headings stand in the row, and others than in row %d: the columns below it may be other ones", r.res.HeadRow)
	return true
}

func (r *reader) otherTable(row int, text, of string) {
	r.refuse(row, 0, text, "give the sheet a column for it, or keep each table in a file of its own", "%s: the rows below it may be of %s, which no column of the sheet says", quote(text), of)
	r.title = 0
}

// refuse notes a row that may belong to any visit.
func (r *reader) refuse(row, col int, value, do, format string, args ...any) {
	what := fmt.Sprintf(format, args...)
	r.add(row, col, "", value, do, "%s", what)
	r.loose(row, part{})
	r.reason(row, what)
}

// another is the pest, bed or day that a title names, where the sheet has no
// column for it and another was said for all of it; "" for none.
func (r *reader) another(text string) string {
	pest, bed, day := true, true, true
	for _, c := range r.res.Columns {
		pest = pest && c.Role != Pest && c.Pest == ""
		bed = bed && c.Role != Bed && c.Bed == ""
		day = day && c.Role != Date && c.Date.IsZero()
	}
	if key, ok := r.g.pest(text); pest && ok && key != r.Map.Pest {
		return key
	}
	for _, word := range []string{text, cutFold(text, "bed ")} {
		if key, ok := known(word, r.Names.Bed); bed && ok && key != r.Map.Bed {
			return key
		}
	}
	if d, w := parseDate(text, r.Map.Dates); day && w == nil && d != r.Map.Date {
		return d.String()
	}
	return ""
}

// cutOtherwise reports whether a cell is a whole row that another sign cuts.
func (r *reader) cutOtherwise(cell string) bool {
	if r.res.Format.Kind != "CSV" {
		return false
	}
	for _, sep := range []string{",", ";", "\t", "|"} {
		parts := strings.Split(cell, sep)
		if sep == string(r.res.Format.Separator) || len(parts) < 2 || len(parts) < len(fill(r.res.cells)) {
			continue
		}
		for _, c := range r.res.Columns {
			if c.Role == Count && c.Col <= len(parts) {
				if _, w := parseSample(parts[c.Col-1], false); w == nil {
					return true
				}
			}
		}
	}
	return false
}
