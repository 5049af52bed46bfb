package plots

import (
	"fmt"
	"image/color"
	"slices"
	"strings"

	"leafturn/internal/civil"

	"gonum.org/v1/plot/vg"
)

// CoverBed is a bed of a CoverMap. X and Y are the metres from the south-west
// corner of the field to the south-west corner of the bed; EastM and NorthM
// are its sides along the field's own east and north.
type CoverBed struct {
	Code                string
	X, Y, EastM, NorthM float64
	Cover               string // name of the cover; "" is bare
	Short               string // the name where the bed is too small for it
	Sow, End            civil.Date
	Pinned              bool // the grower fixed the choice
	Untreated           bool // left bare on purpose, to compare with
	Rested              bool // no dahlias next year
	Unknown             bool // the choice rests on something not known
}

// CoverMap shows the beds to scale in place, each filled by the cover that is
// sown in it in one window of the year: a fill and a pattern for each cover,
// and its name in the bed. Where the name does not fit, the bed has a number
// that the key explains.
type CoverMap struct {
	Title   string // "" is "What is sown where"
	Window  string // such as "winter"
	AsOf    civil.Date
	Source  string
	Beds    []CoverBed
	NoPlace []string // codes of beds whose place is not known; listed at the foot
	Next    string   // what to do next; may be empty
	Feet    bool     // the scale bar is in feet
	Wide    float64  // width in points; 0 is that of a screen

	fills    []string // set by Pages: the covers of all pages, so that each keeps its fill
	pageNote string   // set by Pages
	detailed bool     // set by Pages: other pages show parts closer
}

// Check returns why the map cannot be drawn, or nil.
func (m CoverMap) Check() error {
	if len(m.Beds) == 0 {
		return emptyError("map of covers: no bed has a place on the field, so there is nothing to draw")
	}
	for _, b := range m.Beds {
		if err := b.lot().check(); err != nil {
			return err
		}
		if !b.Sow.IsZero() && !b.End.IsZero() && b.End.Before(b.Sow) {
			return bad("bed %s: its cover ends on %s, before it is sown on %s", b.Code, b.End, b.Sow)
		}
	}
	return checkScale(m.lots())
}

func (b CoverBed) lot() lot { return lot{b.Code, b.X, b.Y, b.EastM, b.NorthM} }

func (m CoverMap) lots() []lot {
	out := make([]lot, len(m.Beds))
	for i, b := range m.Beds {
		out[i] = b.lot()
	}
	return out
}

const (
	bareWord      = "bare"
	untreatedWord = "bare on purpose"
)

// sown returns what is in the bed in words.
func (b CoverBed) sown() string {
	switch {
	case b.Cover != "":
		return b.Cover
	case b.Untreated:
		return untreatedWord
	}
	return bareWord
}

// doubt marks a name whose choice rests on something not known.
func (b CoverBed) doubt() string {
	if b.Unknown {
		return " ?"
	}
	return ""
}

// dates returns the days of a cover, or "".
func (b CoverBed) dates(form func(civil.Date) string) string {
	switch {
	case b.Cover == "":
		return ""
	case !b.Sow.IsZero() && !b.End.IsZero():
		return form(b.Sow) + " to " + form(b.End)
	case !b.Sow.IsZero():
		return "sown " + form(b.Sow)
	case !b.End.IsZero():
		return "to " + form(b.End)
	}
	return ""
}

// covers returns the names of the covers in the order of their fills.
func (m CoverMap) covers() []string {
	var out []string
	for _, b := range m.Beds {
		if b.Cover != "" {
			out = append(out, b.Cover)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func sownColour(i int) color.NRGBA { return sownFill[i%len(sownFill)] }

// drawSown fills a box by the i-th cover; below 0 it is bare.
func drawSown(g *pen, r rect, i int) {
	if i < 0 {
		g.fillRect(paper, r)
		return
	}
	g.fillRect(sownColour(i), r)
	g.pattern(i, quiet, r)
}

// sownLabel is a bed's words, and whether they hold its number in the key.
type sownLabel struct {
	label
	numbered bool
}

const bedAir = 4 // beside the words of a bed

// fitLines returns the first of the forms that fits flat or turned.
func fitLines(w, h float64, forms ...[]string) (label, bool) {
	for _, lines := range forms {
		l := label{lines: lines}
		long, deep := 0.0, float64(len(lines))*bedLine
		for i, s := range lines {
			long = max(long, l.face(i).width(legible(s)))
		}
		l.up = long > w-bedAir || deep > h
		if !l.up || long <= h-bedAir && deep <= w {
			return l, true
		}
	}
	return label{}, false
}

// sownLabelOf returns the fullest form that fits: code, name and dates; code
// and name; the short name; the name shortened; code and number in the key;
// code alone where it is bare; the number alone. A code longer than the bed is
// shortened.
func sownLabelOf(b CoverBed, r rect, number int) sownLabel {
	w, h := r.w(), r.h()
	dates, doubt := b.dates(dayShort), b.doubt()
	names := []string{b.sown() + doubt}
	switch {
	case b.Cover == "" && b.Untreated:
		names = append(names, bareWord+doubt)
	case b.Cover != "" && b.Short != "":
		names = append(names, b.Short+doubt)
	}
	long := max(w, h) - bedAir
	code := clipCode(b.Code, long)
	var forms [][]string
	for _, n := range names {
		if dates != "" {
			forms = append(forms, []string{code, n, dates}, []string{code + "  " + n, dates}, []string{code + "  " + n + "  " + dates})
		}
		forms = append(forms, []string{code, n}, []string{code + "  " + n})
	}
	if long > 70 { // shorten the name, but not to less than can be told apart
		if n := smallFace.clip(b.sown(), long-smallFace.width(doubt)); n != "" {
			forms = append(forms, []string{code, n + doubt})
		}
		room := long - boldFace.width(code+"  "+doubt)
		if n := boldFace.clip(b.sown(), room); n != "" && room > 50 {
			forms = append(forms, []string{code + "  " + n + doubt})
		}
	}
	if l, ok := fitLines(w, h, forms...); ok {
		l.coded = true
		return sownLabel{l, false}
	}
	if b.Cover == "" {
		l, ok := fitLines(w, h, []string{code})
		l.coded = ok
		return sownLabel{l, false}
	}
	n := fmt.Sprint(number) + doubt
	beside := " · " + n
	if l, ok := fitLines(w, h, []string{code, n}, []string{clipCode(b.Code, long-boldFace.width(beside)) + beside}); ok {
		l.coded = true
		return sownLabel{l, true}
	}
	l, ok := fitLines(w, h, []string{n})
	return sownLabel{l, ok}
}

// clipCode shortens a code, but not so far that it may be taken for another.
func clipCode(code string, w float64) string {
	if w < 60 {
		return legible(code)
	}
	return boldFace.clip(code, w)
}

// dayShort is a date with the short name of its month.
func dayShort(d civil.Date) string { return d.Time().Format("2 Jan") }

type coverSheet struct {
	field
	top
	covers       []string
	labels       []sownLabel
	entries      []keyEntry
	places       []point
	scaleY       float64
	foot, height float64
	sources      []string
}

func (m CoverMap) layout() coverSheet {
	var s coverSheet
	s.field = newField(m.lots(), m.Wide)
	inner := s.width - 40
	s.top = newTop(inner, m.title(), m.lead(), m.Next)
	s.putAt(s.top.height() + 8)
	s.covers = m.fills
	if s.covers == nil {
		s.covers = m.covers()
	}
	for _, b := range m.Beds {
		s.labels = append(s.labels, sownLabelOf(b, b.wordRoom(s.place(b.lot())), slices.Index(s.covers, b.Cover)+1))
	}
	s.entries = m.keyEntries(s)
	var y float64
	s.places, y = flow(s.entries, 20, s.width-20, s.box.y1+16)
	s.scaleY = y + 10
	s.foot = s.scaleY + 26
	s.sources = noteFace.wrap(m.notes(s), inner, 8)
	s.height = s.foot + float64(len(s.sources))*sizeSmall*lineStep + 10
	return s
}

// Size returns the width and height in points.
func (m CoverMap) Size() (width, height float64) {
	s := m.layout()
	return s.width, s.height
}

// Draw draws the map; see Figure.
func (m CoverMap) Draw(c vg.Canvas) error { return drawOn(c, m) }

func (m CoverMap) draw(g *pen) {
	s := m.layout()
	s.top.draw(g, s.width-20)
	for i, b := range m.Beds {
		r := s.place(b.lot())
		g.note("bed", r, b.Code)
		k := slices.Index(s.covers, b.Cover)
		fill := paper
		if k >= 0 {
			g.note("sown", r, b.Cover)
			fill = sownColour(k)
		}
		drawSown(g, r, k)
		g.frame(rule, 0.8, r)
		if b.Untreated {
			g.note("untreated", r, b.Code)
			drawUntreated(g, r)
		}
		drawBedLabel(g, s.labels[i].label, b.wordRoom(r), fill, k >= 0 || b.Untreated)
	}
	for _, b := range m.Beds { // last, so that no neighbour covers one
		r := s.place(b.lot())
		if b.Rested {
			outline(g, r, b.Code)
		}
		if b.Pinned {
			g.note("pin", r, b.Code)
			drawPin(g, r)
		}
	}
	for i, e := range s.entries {
		e.draw(g, s.places[i])
	}
	drawScale(g, s.field, s.scaleY, m.Feet)
	drawLines(g, 20, s.foot+sizeSmall, noteFace, s.sources)
}

// drawUntreated is a dashed line inside the edge of the bed.
func drawUntreated(g *pen, r rect) {
	if in := r.inset(2.5); in.w() > 0 && in.h() > 0 {
		g.frame(ink, 1.1, in, 3, 2)
	}
}

const pinRoom = 15

// wordRoom is the part of a bed for its words: a pin takes one end.
func (b CoverBed) wordRoom(r rect) rect {
	switch {
	case !b.Pinned:
	case r.h() > r.w():
		r.y0 += pinRoom
	default:
		r.x1 -= pinRoom
	}
	return r
}

// drawPin is a disc at the upper end of a tall bed, or the right of a flat one.
func drawPin(g *pen, r rect) {
	size := min(3.6, min(r.w(), r.h())/2-1)
	if size <= 0 {
		return
	}
	x, y := r.x1-8.5, (r.y0+r.y1)/2
	if r.h() > r.w() {
		x, y = (r.x0+r.x1)/2, r.y0+8.5
	}
	g.disc(paper, x, y, size+1.2)
	g.disc(ink, x, y, size)
}

// keyEntries explains the covers by number and name, with how many beds have
// them, and the signs that are in the picture.
func (m CoverMap) keyEntries(s coverSheet) []keyEntry {
	var out []keyEntry
	numbered := slices.ContainsFunc(s.labels, func(l sownLabel) bool { return l.numbered })
	for i, name := range s.covers {
		n, doubt := 0, false
		for _, b := range m.Beds {
			if b.Cover == name {
				n++
				doubt = doubt || b.Unknown
			}
		}
		if n == 0 {
			continue // of another part of the field
		}
		word := fmt.Sprintf("%s, %s", smallFace.clip(name, s.width-160), plural(n, "bed", "beds"))
		if numbered {
			word = fmt.Sprintf("%d  %s", i+1, word)
		}
		out = append(out, keyEntry{word, 30, func(g *pen, r rect) {
			drawSown(g, r, i)
			g.frame(rule, 0.8, r)
		}})
	}
	sign := func(has func(CoverBed) bool, word string, width float64, draw func(g *pen, r rect)) {
		if slices.ContainsFunc(m.Beds, has) {
			out = append(out, keyEntry{word, width, draw})
		}
	}
	sign(func(b CoverBed) bool { return b.Cover == "" && !b.Untreated }, bareWord, 22, func(g *pen, r rect) { g.frame(rule, 0.8, r) })
	sign(func(b CoverBed) bool { return b.Untreated }, "left bare on purpose, to compare with", 22, func(g *pen, r rect) {
		g.frame(rule, 0.8, r)
		drawUntreated(g, r)
	})
	sign(func(b CoverBed) bool { return b.Rested }, "rested: no dahlias", 22, func(g *pen, r rect) { g.frame(ink, 2.8, r) })
	sign(func(b CoverBed) bool { return b.Pinned }, "pinned by the grower", 17, drawPin)
	sign(func(b CoverBed) bool { return b.Unknown }, "rests on something that is not known", 8, func(g *pen, r rect) {
		g.text(r.x0, r.y1-2.5, 0, boldFace, "?")
	})
	return out
}

func (m CoverMap) title() string {
	s := orElse(m.Title, "What is sown where")
	if m.Window != "" && !strings.Contains(strings.ToLower(s), strings.ToLower(m.Window)) {
		s += ", " + m.Window
	}
	return s + m.pageNote
}

// codes returns the codes of the beds that are so.
func (m CoverMap) codes(so func(CoverBed) bool) []string {
	var out []string
	for _, b := range m.Beds {
		if so(b) {
			out = append(out, b.Code)
		}
	}
	return out
}

// groups says which beds have which cover, the most beds first and only so
// many kinds, then which are bare, and why; n beds of each are named.
func (m CoverMap) groups(kinds, n int) []string {
	covers := m.covers()
	beds := map[string][]string{}
	for _, c := range covers {
		beds[c] = m.codes(func(b CoverBed) bool { return b.Cover == c })
	}
	slices.SortStableFunc(covers, func(a, b string) int { return len(beds[b]) - len(beds[a]) })
	var out []string
	rest := 0
	for i, c := range covers {
		if i >= kinds && len(covers) > kinds+1 {
			rest += len(beds[c])
			continue
		}
		out = append(out, fmt.Sprintf("%s: %s.", upperFirst(c), list(beds[c], n)))
	}
	if rest > 0 {
		out = append(out, fmt.Sprintf("%d more covers on %d beds.", len(covers)-kinds, rest))
	}
	if l := m.codes(func(b CoverBed) bool { return b.Untreated }); len(l) > 0 {
		out = append(out, "Left bare on purpose, to compare with: "+list(l, n)+".")
	}
	if l := m.codes(func(b CoverBed) bool { return b.Cover == "" && !b.Untreated }); len(l) > 0 {
		out = append(out, "Bare: "+list(l, n)+".")
	}
	return out
}

func (m CoverMap) doubts(n int) string {
	l := m.codes(func(b CoverBed) bool { return b.Unknown })
	if len(l) == 0 {
		return ""
	}
	return "The choice rests on something that is not known in " + beds(l, n) + "."
}

func (m CoverMap) lead() string {
	kinds, n := 7, 6
	if len(m.covers()) > kinds+1 {
		kinds, n = 4, 3
	}
	return strings.TrimSpace(strings.Join(m.groups(kinds, n), " ") + " " + m.doubts(n))
}

func (m CoverMap) notes(s coverSheet) string {
	var out []string
	if !m.AsOf.IsZero() {
		out = append(out, "As of "+longDate(m.AsOf)+".")
	}
	if m.Source != "" {
		out = append(out, "From: "+m.Source+".")
	}
	small := m.uncoded(s)
	switch {
	case len(small) > 0 && m.detailed:
		out = append(out, "The maps that follow show the parts of the field closer, with the codes of the beds.")
	case len(small) > 0:
		out = append(out, "Beds too small for their code: "+list(small, 40)+".")
	}
	if len(m.NoPlace) > 0 {
		out = append(out, "Beds whose place is not known: "+list(m.NoPlace, 40)+".")
	}
	return strings.Join(out, " ")
}

// Alt says what the map shows: which beds have which cover and when, the bare
// ones, those rested, pinned, in doubt or without a place.
func (m CoverMap) Alt() string {
	asOf := ""
	if !m.AsOf.IsZero() {
		asOf = ", as of " + longDate(m.AsOf)
	}
	out := []string{fmt.Sprintf("%s%s: map of %s, filled by what is sown in them.", m.title(), asOf, plural(len(m.Beds), "bed", "beds"))}
	out = append(out, m.groups(30, 20)...)
	var days []string
	for _, b := range m.Beds {
		if d := b.dates(dayMonth); d != "" {
			days = append(days, b.Code+" "+d)
		}
	}
	if len(days) > 0 {
		out = append(out, "In the ground: "+list(days, 20)+".")
	}
	if l := m.codes(func(b CoverBed) bool { return b.Rested }); len(l) > 0 {
		out = append(out, "Rested: "+list(l, 20)+".")
	}
	if l := m.codes(func(b CoverBed) bool { return b.Pinned }); len(l) > 0 {
		out = append(out, "Pinned by the grower: "+list(l, 20)+".")
	}
	if d := m.doubts(20); d != "" {
		out = append(out, d)
	}
	if len(m.NoPlace) > 0 {
		out = append(out, "Place not known: "+beds(m.NoPlace, 20)+".")
	}
	if m.Next != "" {
		out = append(out, "Next: "+m.Next)
	}
	return strings.Join(out, " ")
}
