package app

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/report"
	"leafturn/internal/sheet"
)

// manyCounts is from how many new counts on the first list takes so long that
// people notice. The one of 374,000 counts takes a third of a second.
const manyCounts = 50_000

// ManyStored reports whether an import stored so many counts that the week's
// list is worth making before someone asks for it.
func (a *App) ManyStored() bool { return a.many }

// stored reports what was stored, and notes whether that was much.
func (x *importing) stored(all ...*imported) *report.Document {
	n := 0
	for _, f := range all {
		n += f.units
	}
	x.a.many = n >= manyCounts
	return x.report(all)
}

// report says how the files were read and what came of it.
func (x *importing) report(all []*imported) *report.Document {
	title := "Import"
	if x.o.Check {
		title = "Import, checked: nothing was stored"
	}
	doc := x.a.document(title, x.a.Today())
	data := ImportData{Check: x.o.Check, Files: []ImportFile{}}
	for _, f := range all {
		data.Files = append(data.Files, x.file(f))
		doc.Sections = append(doc.Sections, x.how(f), x.came(f))
		if len(f.res.Problems) > 0 {
			doc.Sections = append(doc.Sections, problemSection(f))
		}
	}
	if x.a.many && x.o.Readies {
		doc.Sections = append(doc.Sections, report.Section{Key: "ready", Notes: report.Lines("The week's list is being made ready meanwhile: `leafturn week` need not wait.")})
	}
	doc.Data = data
	return doc
}

// how says how a file is read.
func (x *importing) how(f *imported) report.Section {
	l := &f.res.Layout
	s := report.Section{Key: "read", Title: f.src.Name, Lead: report.Plain(sentence(l.Format.Words()) + ".")}
	if len(l.Columns) == 0 {
		return s
	}
	t := &report.Table{Columns: []report.Column{{Title: "Column"}, {Title: "Heading"}, {Title: "Read as"}, {Title: "First value"}}}
	for _, c := range l.Columns {
		as := c.Words()
		if !c.Read() {
			as = "not read"
		}
		if c.Stated {
			as += " (by the map)"
		}
		t.Rows = append(t.Rows, []report.Value{report.Text(sheet.Letter(c.Col)), textOr(short(c.Heading, 24), "no heading"), report.Text(as), textOr(short(c.Example, 24), "blank")})
	}
	s.Table = t
	for _, c := range l.Columns {
		if c.Role == sheet.Date || c.Role == sheet.Count && !c.Date.IsZero() {
			s.Notes = append(s.Notes, report.Plain(orderWords(x.m.Dates)))
			break
		}
	}
	var usual []string
	for pest, unit := range f.res.Usual {
		usual = append(usual, pest+" by "+unit)
	}
	slices.Sort(usual)
	if len(usual) > 0 {
		s.Notes = append(s.Notes, report.Plain("The sheet names no sample unit; taken as the usual one: "+strings.Join(usual, ", ")+". Another is said with --unit."))
	}
	if l.Above > 0 {
		s.Notes = append(s.Notes, report.Plain(fmt.Sprintf("The headings stand in row %d; %s not read.", l.HeadRow, rowsAbove(l.Above))))
	}
	for _, v := range []struct{ what, text string }{{"bed", x.m.Bed}, {"pest", x.m.Pest}, {"unit", x.m.Unit}, {"observer", x.m.Observer}} {
		if v.text != "" {
			s.Notes = append(s.Notes, report.Plain("Said for the whole sheet: "+v.what+" "+v.text+"."))
		}
	}
	if !x.m.Date.IsZero() {
		s.Notes = append(s.Notes, report.Say("Said for the whole sheet: date {}.", x.m.Date))
	}
	return s
}

func orderWords(o sheet.Order) string {
	if o == "" {
		return "No order of day and month was stated: a date such as 3/4/2026 is refused (--dates)."
	}
	return "Dates in numbers are read with " + o.Words() + "."
}

func rowsAbove(n int) string {
	if n == 1 {
		return "the row above them was"
	}
	return fmt.Sprintf("the %d rows above them were", n)
}

func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

func textOr(s, none string) report.Value {
	if s == "" {
		return report.MissingAs("", none)
	}
	return report.Text(s)
}

func short(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n-1]) + "…"
	}
	return s
}

// came says what was read and what became of it.
func (x *importing) came(f *imported) report.Section {
	r := f.res
	s := report.Section{Key: "result", Title: "What came of it"}
	say := func(n int, format string, args ...any) {
		if n > 0 {
			s.Notes = append(s.Notes, report.Plain(fmt.Sprintf(format, args...)))
		}
	}
	if len(r.Columns) == 0 {
		s.Notes = report.Lines("Nothing could be read.")
		return s
	}
	s.Notes = append(s.Notes, report.Plain(fmt.Sprintf("Read: %s of counts, %s with %s.", unitsOf(r.Rows-r.Totals-r.Again-r.NoCount, "row"), unitsOf(r.Visits, "visit"), unitsOf(r.Units, "unit"))))
	would := ""
	if x.o.Check {
		would = "would be "
	}
	bad := len(r.Problems) > 0
	switch {
	case bad && x.o.Check:
		say(1, "New: %s; nothing would be stored as long as there are problems.", unitsOf(f.new, "visit"))
	case f.new == 0:
		say(1, "Stored: nothing new.")
	case x.o.Check:
		say(1, "New: %s with %s would be stored.", unitsOf(f.new, "visit"), unitsOf(f.units, "unit"))
	case f.new == 1:
		say(1, "Stored: visit %d with %s.", f.first, unitsOf(f.units, "unit"))
	default:
		say(1, "Stored: %s with %s (records %d to %d).", unitsOf(f.new, "visit"), unitsOf(f.units, "unit"), f.first, f.last)
	}
	if list := unreadNumbers(r); len(list) > 0 {
		say(1, "Not read, and whole numbers stand there: %s. If they are counts, write the heading as a bed, a date, a pest or a numbered unit such as trap 4, or set the column in a map file (--save-map).", strings.Join(list, ", "))
	}
	say(r.Hidden, "Hidden in the workbook, and read like the others: %s.", unitsOf(r.Hidden, "row"))
	say(len(r.HiddenCols), "Hidden in the workbook, and read like the others: column %s.", strings.Join(r.HiddenCols, ", "))
	say(r.Moved, "Times with a zone, read as the day that it was on the farm, which is another than is written: %s.", unitsOf(r.Moved, "row"))
	say(f.already, "Already stored with the same counts, and left alone: %s.", unitsOf(f.already, "visit"))
	say(len(f.taken), "Voided or amended since they were stored, and left alone: %s (%s). Where the sheet is right after all, enter them with `leafturn count`.", unitsOf(len(f.taken), "visit"), recordNumbers(f.taken))
	say(f.twice, "Stand in another of the files with the same counts, and %sread once: %s.", would, unitsOf(f.twice, "visit"))
	say(f.more, "Of these, the sheet says more (a note, a condition, an observer) of %s than is stored; that was not added.", unitsOf(f.more, "visit"))
	say(r.BlankCell, "Blank counts: %d, %s.", r.BlankCell, blankWords(x.m.Blank))
	say(r.NotLooked, "Not looked at (-, NA): %s.", unitsOf(r.NotLooked, "unit"))
	say(r.Empty, "No unit looked at, so there is nothing to store: %s.", unitsOf(r.Empty, "visit"))
	say(r.Repeated, "Stand twice with the same number and count, and %sread once: %s.", would, unitsOf(r.Repeated, "unit"))
	say(r.Totals, "Sums and means, passed over: %s.", unitsOf(r.Totals, "row"))
	say(r.NoCount, "No count in the row, passed over: %s.", unitsOf(r.NoCount, "row"))
	say(r.Again, "The headings again, passed over: %s.", unitsOf(r.Again, "row"))
	say(r.Beside, "Something beside the table, not read: %s.", unitsOf(r.Beside, "row"))
	if f.rest > 0 {
		say(1, "Kept for correcting: %s in %q, each with its reason. Correct them there, then: leafturn import %s%s", unitsOf(f.rest, "row"), x.o.Rest, quoteWord(x.o.Rest), x.flagWords())
	}
	if x.o.SaveMap != "" {
		say(1, "How it is read was written to %q.", x.o.SaveMap)
	}
	return s
}

// recordNumbers lists the first numbers of records.
func recordNumbers(ids []int64) string {
	const most = 12
	var list []string
	for _, id := range ids[:min(len(ids), most)] {
		list = append(list, fmt.Sprint(id))
	}
	if n := len(ids); n > most {
		list = append(list, fmt.Sprintf("and %d more", n-most))
	}
	if len(ids) == 1 {
		return "record " + list[0]
	}
	return "records " + strings.Join(list, ", ")
}

// unreadNumbers names the columns that are not read though their heading is no
// known word and whole numbers stand below it.
func unreadNumbers(r *sheet.Result) []string {
	var list []string
	for _, c := range r.Columns {
		if c.Numbers {
			name := "column " + sheet.Letter(c.Col)
			if c.Heading != "" {
				name += fmt.Sprintf(" %q", short(c.Heading, 24))
			}
			list = append(list, name)
		}
	}
	const most = 12
	if n := len(list); n > most {
		list = append(list[:most], fmt.Sprintf("and %d more", n-most))
	}
	return list
}

func quoteWord(s string) string {
	if strings.ContainsAny(s, " '\"$&;()*?<>|`\\") {
		return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
	}
	return s
}

// flagWords are the flags with which the rest is to be read too.
func (x *importing) flagWords() string {
	s := ""
	for _, f := range []struct{ name, value string }{
		{"map", x.o.Map}, {"dates", x.o.Dates}, {"blank", x.o.Blank}, {"bed", x.o.Bed}, {"pest", x.o.Pest}, {"unit", x.o.Unit}, {"by", x.o.Observer},
	} {
		if f.value != "" {
			s += " --" + f.name + " " + quoteWord(f.value)
		}
	}
	if !x.o.Date.IsZero() {
		s += " --date " + x.o.Date.String()
	}
	return s
}

func blankWords(blank string) string {
	switch blank {
	case "lost":
		return "read as units that were not looked at"
	case "zero":
		return "read as zeros, as was said"
	}
	return "read as no unit there, never as zero (--blank zero, if that is what they mean)"
}

func problemSection(f *imported) report.Section {
	s := report.Section{Key: "problems", Title: "Problems"}
	for _, p := range f.res.Problems {
		d := p.Diag()
		s.Items = append(s.Items, report.Item{Mark: "wrong", Head: report.Plain(d.Place() + d.What), Details: report.Lines("do: " + d.Do)})
	}
	return s
}

// file is the payload of one file.
func (x *importing) file(f *imported) ImportFile {
	r := f.res
	d := ImportFile{
		File: f.src.Name, Kind: r.Format.Kind, Encoding: r.Format.Encoding, Sheet: r.Format.Sheet, Dates: string(x.m.Dates), Blank: x.m.Blank,
		HeadRow: r.HeadRow, Columns: []ImportColumn{}, Rows: r.Rows, Totals: r.Totals, NoCount: r.NoCount, Repeated: r.Repeated,
		NotLooked: r.NotLooked, Blanks: r.BlankCell, Visits: r.Visits, Units: r.Units, New: f.new, Already: f.already, Twice: f.twice, TakenOut: len(f.taken), Problems: []ImportProblem{},
		RestRows: f.rest,
	}
	if r.Format.Separator != 0 {
		d.Separator = string(r.Format.Separator)
	}
	if d.Blank == "" {
		d.Blank = "none"
	}
	if f.rest > 0 {
		d.Rest = x.o.Rest
	}
	if f.new > 0 && !x.o.Check {
		d.First, d.Last = &f.first, &f.last
	}
	for _, c := range r.Columns {
		d.Columns = append(d.Columns, ImportColumn{sheet.Letter(c.Col), c.Heading, c.Words(), c.Stated, c.Example})
	}
	for _, p := range r.Problems {
		q := ImportProblem{Row: p.Row, Heading: p.Heading, Value: p.Value, Problem: p.What, Remedy: p.Do, AlsoRows: []string{}}
		if p.Col > 0 {
			q.Column = sheet.Letter(p.Col)
		}
		for _, s := range p.Also {
			q.AlsoRows = append(q.AlsoRows, s.String())
		}
		d.Problems = append(d.Problems, q)
	}
	return d
}
