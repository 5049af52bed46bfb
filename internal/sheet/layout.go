package sheet

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"leafturn/internal/civil"
	"leafturn/internal/ingest"
)

// Layout is how a sheet is read.
type Layout struct {
	Format  Format
	HeadRow int
	Above   int // rows with text above the headings
	Columns []Column
	cells   []string       // the heading row
	joined  map[int]string // its cells that are joined with others
	width   int
}

// Wide reports whether headings name units, dates, beds or pests.
func (l *Layout) Wide() bool {
	for _, c := range l.Columns {
		if c.Role == Count && (c.Number != "" || !c.Date.IsZero() || c.Bed != "" || c.Pest != "") {
			return true
		}
	}
	return false
}

// group numbers the columns of counts: those whose headings name the same
// pest, bed, date and kind of unit are one group.
func (l *Layout) group() {
	type same struct {
		pest, bed, word string
		date            civil.Date
	}
	groups := map[same]int{{}: 0}
	for i, c := range l.Columns {
		if c.Role != Count {
			continue
		}
		k := same{c.Pest, c.Bed, c.Word, c.Date}
		if _, ok := groups[k]; !ok {
			groups[k] = len(groups)
		}
		l.Columns[i].group = groups[k]
	}
}

// lay reads the headings in a row; the rows below it are examples.
func (g *guesser) lay(row []string, below [][]string) (cols []Column, wrongs []*wrong, score, anchors int) {
	for i, text := range row {
		examples := column(below, i)
		c, anchor, w := g.column(i+1, text, examples)
		if tidy(text) == "" {
			c.Role, w = unknown, nil
		}
		if c.Role != unknown {
			score++
			if anchor {
				anchors++
			}
		}
		c.Numbers = c.Role == unknown && numbersOnly(examples)
		cols, wrongs = append(cols, c), append(wrongs, w)
	}
	g.shares(cols, wrongs)
	if i, mean := g.meanBeside(cols, below); i >= 0 && wrongs[i] == nil && !cols[i].Stated {
		wrongs[i] = bad(`write the count of each unit, such as 4 0 2 7 in one cell; if it is that of one unit, say so in a map file (see --save-map)`, "the numbers are above those of the column %s beside it: they may be the sum of several units", quote(cols[mean].Heading))
	}
	if i, mean, other := g.statisticsBeside(cols, below); i >= 0 && wrongs[i] == nil && !cols[i].Stated {
		wrongs[i] = bad(`import the sheet of counts that these were worked out of; if the column holds the count of one unit, say so in a map file (see --save-map)`, "%s and %s beside it are worked out of several units: the numbers may be how many units there were, or the sum of them", quote(other), quote(mean))
	}
	if !slices.ContainsFunc(cols, func(c Column) bool { return c.Role == Count && c.Bed != "" }) {
		return cols, wrongs, score, anchors
	}
	for i, c := range cols {
		if near := g.nearBed(c.Heading); c.Numbers && wrongs[i] == nil && c.Heading != "" && near != "" {
			wrongs[i] = bad("correct the heading, or set the column to \"count of "+near+"\" or to \"ignore\" in a map file (see --save-map); a bed that the farm does not have yet is entered with `leafturn bed add`", "unknown bed %s; did you mean %q?", quote(c.Heading), near)
		}
	}
	return cols, wrongs, score, anchors
}

// column is the cells of a column, counted from 0, in the rows that have it.
func column(rows [][]string, i int) (cells []string) {
	for _, r := range rows {
		if i < len(r) {
			cells = append(cells, r[i])
		}
	}
	return cells
}

// find finds the heading row among the first rows, or -1: the first with two
// known headings, else one with a heading and its value (Date, 2026-07-13) or a
// single cell that is a heading, or the row of a form (Bed:, B3, Grower:, MT), else the
// first row of words that are no values.
func (g *guesser) find(first []Row) int {
	one, strange := -1, -1
	for i, r := range first {
		cells := fill(r.Cells)
		if len(cells) == 0 {
			continue
		}
		_, _, score, anchors := g.lay(cells, nil)
		switch {
		case score >= 1 && anchors >= 1 && ofForm(cells), score == 2 && anchors == 1 && filled(cells) == 2: // what stands above a form, or a narrow table
			if one < 0 {
				one = i
			}
		case score >= 2 && anchors >= 1:
			return i
		case score == 1 && anchors == 1 && one < 0 && filled(cells) == 1:
			one = i
		case strange < 0 && filled(cells) >= 2 && g.words(cells):
			strange = i
		}
	}
	if one < 0 {
		return strange
	}
	return one
}

// ofForm reports whether a row begins with a label such as "Bed:" and holds a value
// besides.
func ofForm(cells []string) bool {
	label, value := false, false
	for _, c := range cells {
		if c = tidy(c); c == "" {
			continue
		}
		colon := strings.HasSuffix(c, ":")
		if !label && !colon {
			return false
		}
		label, value = true, value || !colon
	}
	return value
}

// words reports whether no cell of a row is a number, a date, a bed or a pest.
func (g *guesser) words(cells []string) bool {
	for _, c := range cells {
		c = tidy(c)
		if c == "" {
			continue
		}
		_, bed := known(c, g.names.Bed)
		_, pest := g.pest(c)
		if _, w := parseDate(c, DayFirst); bed || pest || w == nil || strings.IndexFunc(c, unicode.IsLetter) < 0 || c[0] >= '0' && c[0] <= '9' {
			return false
		}
	}
	return true
}

func filled(cells []string) int {
	n := 0
	for _, c := range cells {
		if tidy(c) != "" {
			n++
		}
	}
	return n
}

// check finds what a layout lacks and what stands in it twice.
func (l *Layout) check(p *problems, m Map) {
	first := map[Role]Column{}
	twins := map[string]Column{}
	counts, shares := 0, 0
	perBed, perPest, perDate, allBed, allPest, allDate := 0, 0, 0, true, true, true
	for _, c := range l.Columns {
		switch c.Role {
		case Bed, Pest, Date, Unit, Number, Infested, Looked, Damage, Where, Nights, Air, SoilTemp, Soil, Foliage, Disturbed, Observer:
			if twin, twice := first[c.Role]; twice {
				do := `keep one of the two, or set one to "ignore" in a map file (see --save-map)`
				if c.Role == Number {
					do = `write one number for each unit, such as 1.2 for leaf 2 of plant 1; or, where one of the two numbers no units, set it to "ignore" in a map file (see --save-map)`
				}
				p.add(l.HeadRow, c.Col, c.Heading, c.Heading, do, "both this column and column %s are read as %s", Letter(twin.Col), c.Role)
			} else {
				first[c.Role] = c
			}
			if c.Role == Infested {
				shares++
			}
		case Count:
			counts++
			if twin, twice := twins[c.Words()]; twice {
				p.add(l.HeadRow, c.Col, c.Heading, c.Heading, `if they are two units, number them in the headings (trap 1, trap 2); if both are of the same unit, add them up in one column; else set one to "ignore" in a map file (see --save-map)`, "both this column and column %s are read as %s", Letter(twin.Col), c.Words())
			} else {
				twins[c.Words()] = c
			}
			allBed, allPest, allDate = allBed && c.Bed != "", allPest && c.Pest != "", allDate && !c.Date.IsZero()
			if c.Bed != "" {
				perBed++
			}
			if c.Pest != "" {
				perPest++
			}
			if !c.Date.IsZero() {
				perDate++
			}
		}
	}
	if c, ok := first[Damage]; ok && perPest > 1 {
		p.add(l.HeadRow, c.Col, c.Heading, c.Heading, `set it to "ignore" in a map file (see --save-map), or give each pest rows of its own`, "damage in a row of several pests: it does not say which of them did it")
	}
	pairs := 0 // columns of counts with one of whole numbers beside it that has no heading
	for i, c := range l.Columns {
		if c.Role == Count && l.blankNumbers(i+1) {
			pairs++
		}
	}
	for i, c := range l.Columns {
		if c.Role == Count && l.blankNumbers(i+1) && (pairs > 1 || l.blankNumbers(i+2) || columnsOf(l.joined[c.Col]) > 1) {
			p.add(l.HeadRow, c.Col, c.Heading, c.Heading, "write a heading above each column, such as trap 1, trap 2, trap 3", "whole numbers stand in the columns beside it too, and they have no headings: a heading that was joined over several columns stands in the first of them alone")
		}
	}
	l.weeks(p)
	has := func(r Role) bool { _, ok := first[r]; return ok }
	lack := func(what, flag string) {
		p.add(l.HeadRow, 0, "", "", "name a column "+quote(what)+", say it for the whole sheet with "+flag+", or set the column in a map file (see --save-map)", "no column is read as %s", what)
	}
	if counts == 0 && shares == 0 {
		p.add(l.HeadRow, 0, "", "", `name a column "count" (or one for each trap: "trap 1", "trap 2"), or set it in a map file (see --save-map)`, "no column is read as count")
	}
	if has(Infested) != has(Looked) {
		c, other := first[Infested], Looked
		if has(Looked) {
			c, other = first[Looked], Infested
		}
		p.add(l.HeadRow, c.Col, c.Heading, c.Heading, `head the other column "`+string(other)+`", or give one column with shares such as 12/50; if this one is something else, set it to "ignore" in a map file (see --save-map)`, "the column is read as %s, and none as %s: they go together", c.Role, other)
	}
	if !has(Bed) && m.Bed == "" && (shares > 0 || !allBed || counts == 0) {
		lack("bed", "--bed")
	}
	if !has(Pest) && m.Pest == "" && (shares > 0 || !allPest || counts == 0) {
		lack("pest", "--pest")
	}
	if !has(Date) && m.Date.IsZero() && (shares > 0 || !allDate || counts == 0) {
		lack("date", "--date")
	}
	day := ""
	if !m.Date.IsZero() {
		day = m.Date.String()
	}
	for _, x := range []struct {
		r    Role
		said string
	}{{Bed, m.Bed}, {Pest, m.Pest}, {Date, day}} {
		if c, ok := first[x.r]; ok && x.said != "" {
			p.add(l.HeadRow, c.Col, c.Heading, c.Heading, fmt.Sprintf(`take --%s off (or out of the map file), or set the column to "ignore" in a map file (see --save-map)`, x.r), "the rows have a column for it, and %s was said for the whole sheet besides", x.said)
		}
	}
	for _, x := range []struct {
		r    Role
		n    int
		what string
	}{{Bed, perBed, "beds"}, {Pest, perPest, "pests"}, {Date, perDate, "dates"}} {
		if c, ok := first[x.r]; ok && x.n > 0 {
			p.add(l.HeadRow, c.Col, c.Heading, c.Heading, `set one or the other to "ignore" in a map file (see --save-map)`, "the rows have a column for it, and headings that are %s besides", x.what)
		}
	}
}

// weeks refuses headings that are bare numbers from 2 on where no column has the date:
// they may be those of weeks, and no numbers of units.
func (l *Layout) weeks(p *problems) {
	var bare []Column
	for _, c := range l.Columns {
		switch {
		case c.Role == Date || c.Role == Number || c.Role == Count && !c.Date.IsZero():
			return
		case c.Role == Count && c.Number != "" && c.Word == "" && !c.Stated && (c.Pest != "" || plainDigits(c.Heading)):
			if n, _ := strconv.Atoi(c.Number); n < 2 {
				return
			}
			bare = append(bare, c)
		}
	}
	if len(bare) > 1 {
		c := bare[0]
		p.add(l.HeadRow, c.Col, c.Heading, c.Heading, "write the dates of the counts, such as 2026-07-13; if they number units, write the unit too, such as trap "+c.Number, "the headings %s, %s, ... may be weeks, and all their counts would be of one day", quote(c.Heading), quote(bare[1].Heading))
	}
}

// blankNumbers reports whether a column without a heading holds whole numbers.
func (l *Layout) blankNumbers(i int) bool {
	return i < len(l.Columns) && l.Columns[i].Heading == "" && l.Columns[i].Numbers
}

// Resolve looks up the bed, the pest and the unit that a map states for the
// whole sheet. The error is a *diag.Problem.
func (m Map) Resolve(names ingest.Names) (Map, error) {
	if m.Bed != "" {
		key, ok := known(m.Bed, names.Bed)
		if !ok {
			return m, ingest.Unknown("bed", m.Bed, names.BedCodes())
		}
		m.Bed = key
	}
	if m.Pest != "" {
		key, ok := newGuesser(names, Map{}).pest(m.Pest)
		if !ok {
			return m, ingest.Unknown("pest", m.Pest, names.PestWords())
		}
		m.Pest = key
	}
	if m.Unit != "" && m.Pest != "" {
		key, ok := known(m.Unit, func(s string) (string, bool) { return names.Unit(m.Pest, s) })
		if !ok {
			return m, ingest.Unknown("sample unit of "+m.Pest, m.Unit, names.UnitWords(m.Pest))
		}
		m.Unit = key
	}
	return m, nil
}
