package paper

import (
	"io"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/render"
	"leafturn/internal/report"
)

// Document writes a document for printing. What belongs together is not
// parted unless it is longer than most of a page; a table's head stands again
// where it goes on; each page says what it is, of which day and which of how
// many. Errors: what Document.Validate reports, an unknown size, or a failed
// write; nothing is written then.
func Document(w io.Writer, doc report.Document, o Options) error {
	if err := doc.Validate(); err != nil {
		return err
	}
	d := &document{doc: &doc, loud: o.Loud, fine: o.Fine}
	_, err := write(w, o, meta{doc.Title, doc.Made}, d.foot, func(p *page) {
		d.page, d.waiting = p, nil
		p.first = func(*page) { d.catchUp() }
		d.draw()
	})
	return err
}

type document struct {
	*page
	doc     *report.Document
	numbers float64 // width of the running numbers, the same in the whole document
	loud    string
	fine    []string
	waiting []report.Figure // pictures that did not fit where they belong
}

// fineScale makes the text of a section 9 pt.
const fineScale = 6.0 / 7

func (d *document) words(l report.Line) string { return render.Sentence(l, d.doc.AsOf) }

// about says whose document it is and of which day.
func about(doc *report.Document) string {
	day := "as of " + dayWords(doc.AsOf)
	if doc.Farm == "" {
		return day
	}
	return doc.Farm + ", " + day
}

func dayWords(d civil.Date) string { return d.Short() + " " + strconv.Itoa(d.Year) }

func (d *document) foot(p *page, n int) {
	y := p.bottom + 8
	p.line(p.left, y, p.right, y, 0.5, 120)
	left := known(d.doc.Title + " · " + about(d.doc))
	right := "page " + strconv.Itoa(n) + " of " + strconv.Itoa(p.total)
	wide := p.measure(smallFace, right)
	lines := p.wrap(smallFace, left, p.width()-wide-20)
	p.text(smallFace, p.left, y+12, lines[0])
	p.text(smallFace, p.right-wide, y+12, right)
	if n > 1 && len(d.doc.Warnings) > 0 {
		p.text(tinyBold, p.left, y+24, p.wrap(tinyBold, "The warnings on page 1 hold for this page too.", p.width())[0])
		return
	}
	p.text(smallFace, p.left, y+24, known(made(d.doc)))
}

func made(doc *report.Document) string {
	var parts []string
	if !doc.Made.IsZero() {
		s := "made " + doc.Made.Format("2006-01-02 15:04")
		if doc.TimeZone != "" {
			s += " " + doc.TimeZone
		}
		parts = append(parts, s)
	}
	if doc.Facts != "" {
		parts = append(parts, "facts "+doc.Facts)
	}
	return strings.Join(parts, "; ")
}

func (d *document) draw() {
	text, small := d.face(textFace), d.face(smallFace)
	d.para(d.face(titleFace), d.left, d.width(), d.doc.Title)
	if d.doc.Subtitle != "" {
		d.para(text, d.left, d.width(), d.doc.Subtitle)
	}
	d.para(text, d.left, d.width(), about(d.doc))
	d.y += 4
	d.line(d.left, d.y, d.right, d.y, 1.2, 0)
	d.y += 6
	d.warnings()
	d.numbers = 0
	for _, s := range d.doc.Sections {
		for _, it := range s.Items {
			if it.Number > 0 {
				d.numbers = max(d.numbers, d.measure(d.face(boldFace), strconv.Itoa(it.Number)+".")+6)
			}
		}
	}
	for i := range d.doc.Sections {
		s, scale := &d.doc.Sections[i], d.scale
		if slices.Contains(d.fine, s.Key) {
			d.scale *= fineScale
		}
		d.section(s)
		d.scale = scale
	}
	d.catchUp()
	if len(d.doc.Sources) > 0 {
		d.heading("Sources", small.step())
		for _, s := range d.doc.Sources {
			words := s.Words()
			if s.URL != "" {
				words += " " + s.URL
			}
			d.together(func() { d.hanging(small, d.left, 24*d.scale, d.width(), "["+strconv.Itoa(s.Key)+"]", words) })
		}
	}
}

// warnings stand in a frame before all else.
func (d *document) warnings() {
	if len(d.doc.Warnings) == 0 {
		return
	}
	f := d.face(boldFace)
	const inside = 7
	top := d.y
	inner := func() {
		d.y += inside - 2
		for i, l := range d.doc.Warnings {
			if i > 0 {
				d.y += 3
			}
			d.hanging(f, d.left+inside, 12*d.scale, d.width()-2*inside, "!", d.words(l))
		}
		d.y += inside
	}
	h := d.height(inner)
	inner()
	if d.y >= top { // not over a page
		d.box(d.left, top, d.width(), h, 1.2, 0)
	}
	d.y += 6
}

// heading begins a section; it stays with at least h points of what follows.
func (d *document) heading(title string, h float64) {
	if title == "" {
		return
	}
	f := d.face(headFace)
	d.need(10 + f.step() + 4 + h)
	d.y += 10
	d.para(f, d.left, d.width(), title)
	d.line(d.left, d.y+1, d.right, d.y+1, 0.6, 90)
	d.y += 5
}

func (d *document) section(s *report.Section) {
	text := d.face(textFace)
	columns := d.columns(s.Items)
	words := !s.Lead.IsZero() || s.Table != nil || len(s.Items)+len(s.Notes) > 0
	if words {
		d.need(0) // widths are those of the page that the words stand on
	}
	if d.loud != "" && s.Key == d.loud && len(s.Items) > 0 {
		d.shout(s)
		return
	}
	if !words && len(s.Figures) > 0 && !slices.ContainsFunc(s.Figures, func(f report.Figure) bool { return f.PNG == nil }) {
		d.figures(s) // a picture says its title itself
		return
	}
	begins := d.height(func() { d.beginning(s, columns) })
	if begins > (d.bottom-d.top)*keptWhole { // it begins on this page in any case
		begins = 200 * d.scale
	}
	d.heading(s.Title, begins)
	gap := func() { d.y += 4 }
	if !s.Lead.IsZero() {
		d.para(text, d.left, d.width(), d.words(s.Lead))
		gap()
	}
	if s.Table != nil {
		d.table(s.Table)
		gap()
	}
	for _, it := range s.Items {
		d.together(func() { d.item(it, columns) })
		gap()
	}
	for _, l := range s.Notes {
		d.together(func() { d.hanging(text, d.left, 10*d.scale, d.width(), "–", d.words(l)) })
	}
	d.figures(s)
}

// figures come last in their section: a wide one ends the page. One that has
// no room there stands at the head of the next page, and what follows it here
// goes on in its place.
func (d *document) figures(s *report.Section) {
	for _, f := range s.Figures {
		if !d.dry && f.PNG != nil && !d.alone(f) && (len(d.waiting) > 0 || !d.fits(f)) {
			d.waiting = append(d.waiting, f)
			continue
		}
		d.figure(f)
		d.y += 4
	}
}

// fits reports whether a picture has room on this page.
func (d *document) fits(f report.Figure) bool {
	upright, _, _ := d.scales(f.Width, f.Height)
	return !d.closed && d.y+4+f.Height*upright <= d.bottom
}

// catchUp draws the pictures that have waited.
func (d *document) catchUp() {
	all, again := d.waiting, d.again
	d.waiting, d.again = nil, nil // the head of a table stands below them
	for _, f := range all {
		d.figure(f)
		d.y += 4
	}
	d.again = again
}

// alone reports whether a picture has a page to itself.
func (d *document) alone(f report.Figure) bool {
	_, _, own := d.scales(f.Width, f.Height)
	return f.PNG != nil && own
}

// shout prints a section to be read from some steps away, the smaller the more
// there is of it.
func (d *document) shout(s *report.Section) {
	f := face{"sans", "B", 34}
	switch n := len(s.Items); {
	case n > 12:
		f.size = 20
	case n > 5:
		f.size = 26
	}
	text := d.face(textFace)
	d.need(4 * f.step())
	d.y += 10
	d.para(f, d.left, d.width(), s.Title)
	d.line(d.left, d.y+2, d.right, d.y+2, 2.5, 0)
	d.y += 8
	if !s.Lead.IsZero() {
		d.para(f, d.left, d.width(), d.words(s.Lead))
	}
	for _, it := range s.Items {
		d.together(func() {
			d.para(f, d.left, d.width(), d.words(it.Head))
			for _, l := range it.Details {
				d.para(text, d.left, d.width(), d.words(l))
			}
		})
		d.y += 8
	}
	d.y += 2
	d.line(d.left, d.y, d.right, d.y, 2.5, 0)
	d.y += 4
}

// beginning is what a heading is not parted from.
func (d *document) beginning(s *report.Section, c columns) {
	text := d.face(textFace)
	if !s.Lead.IsZero() {
		d.para(text, d.left, d.width(), d.words(s.Lead))
		d.y += 4
	}
	switch {
	case s.Table != nil:
		top := *s.Table
		top.Rows = top.Rows[:min(len(top.Rows), 2)]
		d.table(&top)
		d.y += 4 + text.step() // a table wants room for two rows
	case len(s.Items) > 0:
		d.item(s.Items[0], c)
	case len(s.Notes) > 0:
		d.para(text, d.left, d.width(), d.words(s.Notes[0]))
	}
}

// columns are the widths of what stands before an item's text.
type columns struct{ number, box, mark float64 }

func (c columns) all() float64 { return c.number + c.box + c.mark }

const longestMark = 70

func (d *document) columns(items []report.Item) columns {
	c := columns{number: d.numbers}
	for _, it := range items {
		if it.Box || it.Done {
			c.box = 18 * d.scale
		}
		if it.Mark != "" {
			c.mark = max(c.mark, min(d.measure(d.face(smallFace), it.Mark), longestMark*d.scale)+8)
		}
	}
	return c
}

func (d *document) item(it report.Item, c columns) {
	bold, text, small := d.face(boldFace), d.face(textFace), d.face(smallFace)
	x := d.left + c.all()
	w := d.right - x
	d.need(bold.step())
	base := d.y + bold.size
	if it.Number > 0 {
		n := strconv.Itoa(it.Number) + "."
		d.text(bold, d.left+c.number-6-d.measure(bold, n), base, n)
	}
	if it.Box || it.Done {
		d.tick(d.left+c.number, base-9.5*d.scale, 10.5*d.scale, it.Done)
	}
	if mark := d.wrap(small, it.Mark, longestMark*d.scale); len(mark) > 0 {
		d.text(small, d.left+c.number+c.box, base, mark[0])
	}
	head := d.words(it.Head)
	if it.Ref != "" && it.Number == 0 {
		head += " (" + it.Ref + ")"
	}
	due := render.DueWords(it.Due, d.doc.AsOf)
	wide := d.measure(text, known(due))
	if lines := d.wrap(bold, head, w); due != "" && len(lines) == 1 && d.measure(bold, lines[0])+wide+14 <= w {
		d.text(text, d.right-wide, base, known(due))
		due = ""
	}
	d.para(bold, x, w, head)
	if due != "" {
		d.para(text, x, w, due)
	}
	for _, l := range it.Details {
		d.para(text, x, w, d.words(l))
	}
	for _, l := range it.Safety {
		d.hanging(bold, x, 9*d.scale, w, "!", d.words(l))
	}
	if !it.Why.IsZero() {
		d.hanging(small, x, 26*d.scale, w, "Why:", d.words(it.Why))
	}
}

// figure prints a picture with its title, or what it would show in words.
func (d *document) figure(f report.Figure) {
	text := d.face(textFace)
	if f.PNG == nil {
		d.para(text, d.left, d.width(), "Picture: "+strings.TrimRight(f.Title, ".:")+". "+f.Alt)
		return
	}
	d.y += 4
	d.picture(f.PNG, f.Width, f.Height)
}
