package plots

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/civil"

	"gonum.org/v1/plot/vg"
)

// MapBed is a bed on the field. X and Y are the metres from the south-west
// corner of the field to the south-west corner of the bed; EastM and NorthM
// are its sides along the field's own east and north.
type MapBed struct {
	Code          string
	X, Y          float64
	EastM, NorthM float64
	// Over is the chance, 0 to 1, that the bed is over the action level; nil
	// when the bed was not counted.
	Over *float64
	// Act is true where the verdict is act; such beds are outlined.
	Act bool
}

// FieldMap shows the beds to scale in place, shaded by the chance that a pest
// is over its action level, with that chance as a number. Beds to act on have
// a thick outline; beds that were not counted are hatched.
type FieldMap struct {
	Pest    string // such as "slugs"
	Level   string // the action level in words: "5 slugs per trap"
	AsOf    civil.Date
	Source  string
	Beds    []MapBed
	NoPlace []string // codes of beds whose place is not known; listed at the foot
}

const mapLegendRow = 34

// Check returns why the map cannot be drawn, or nil.
func (m FieldMap) Check() error {
	counted := 0
	for _, b := range m.Beds {
		if err := b.lot().check(); err != nil {
			return err
		}
		if b.Over != nil && (!finite(*b.Over) || *b.Over < 0 || *b.Over > 1) {
			return bad("bed %s: the chance %v is not between 0 and 1", b.Code, *b.Over)
		}
		if b.Over != nil {
			counted++
		}
	}
	if counted == 0 {
		return fmt.Errorf("map of %s: %w", orElse(m.Pest, "this pest"), ErrNoData)
	}
	return checkScale(m.lots())
}

func (b MapBed) lot() lot { return lot{b.Code, b.X, b.Y, b.EastM, b.NorthM} }

func (m FieldMap) lots() []lot {
	out := make([]lot, len(m.Beds))
	for i, b := range m.Beds {
		out[i] = b.lot()
	}
	return out
}

type mapSheet struct {
	field
	title, lead  []string
	legend       float64
	foot, height float64
	sources      []string
}

func (m FieldMap) layout() mapSheet {
	var s mapSheet
	s.field = newField(m.lots())
	inner := s.width - 40
	s.title = titleFace.wrap(m.title(), inner, 2)
	s.lead = leadFace.wrap(m.lead(), inner, 3)
	s.putAt(headHeight(s.title, s.lead) + 8)
	s.legend = s.box.y1 + 18
	s.foot = s.legend + 2*mapLegendRow
	s.sources = noteFace.wrap(sourceLine(m.AsOf, m.Source, m.notes(s)), inner, 6)
	s.height = s.foot + float64(len(s.sources))*sizeSmall*lineStep + 10
	return s
}

// Size returns the width and height in points.
func (m FieldMap) Size() (width, height float64) {
	s := m.layout()
	return s.width, s.height
}

// Draw draws the map; see Figure.
func (m FieldMap) Draw(c vg.Canvas) error {
	if err := m.Check(); err != nil {
		return err
	}
	m.draw(newPen(c, m))
	return nil
}

func (m FieldMap) draw(g *pen) {
	s := m.layout()
	drawHead(g, s.title, s.lead)
	for _, b := range m.Beds {
		r := s.place(b.lot())
		g.note("bed", r, b.Code)
		fill := paper
		if b.Over == nil {
			g.fillRect(paper, r)
			g.hatch(r, 6)
		} else {
			fill = shades[shadeOf(*b.Over)]
			g.fillRect(fill, r)
		}
		g.frame(rule, 0.8, r)
		drawBedLabel(g, bedLabel(b, r), r, fill, b.Over == nil)
	}
	for _, b := range m.Beds { // outlines last, so that no neighbour covers one
		if b.Act {
			outline(g, s.place(b.lot()), b.Code)
		}
	}
	m.drawLegend(g, s)
	drawLines(g, 20, s.foot+sizeSmall, noteFace, s.sources)
}

// percent writes a chance; what is not certain is not printed as 0 or 100.
func percent(v float64) string {
	switch r := math.Round(v * 100); {
	case r == 0 && v > 0:
		return "<1 %"
	case r == 100 && v < 1:
		return ">99 %"
	default:
		return fmt.Sprintf("%.0f %%", r)
	}
}

// bedLabel returns the fullest form that fits: code over chance, code beside
// chance, that turned, the chance alone; or none.
func bedLabel(b MapBed, r rect) label {
	val := "not counted"
	short := "–"
	if b.Over != nil {
		val = percent(*b.Over)
		short = val
	}
	code := legible(b.Code)
	const one, two = sizeSmall + 2, 2*sizeSmall + 5
	w, h := r.w()-5, r.h()-1
	along := r.h() - 4 // for turned words
	if wide := max(boldFace.width(code), smallFace.width(val)); wide <= w && h >= two {
		return label{[]string{code, val}, false, true}
	}
	for _, words := range []string{code + "  " + val, code + "  " + short, code + " " + short} {
		switch l := boldFace.width(words); {
		case l <= w && h >= one:
			return label{[]string{words}, false, true}
		case l <= along && r.w() >= one:
			return label{[]string{words}, true, true}
		}
	}
	// A long code is shortened, the chance never.
	if room := max(w, along); room > 60 && min(r.w(), r.h()) >= one {
		if c := boldFace.clip(code, room-boldFace.width("  "+short)); c != "" {
			return label{[]string{c + "  " + short}, r.h() > r.w(), true}
		}
	}
	switch l := boldFace.width(short); {
	case l <= w && h >= one:
		return label{[]string{short}, false, false}
	case l <= along && r.w() >= one:
		return label{[]string{short}, true, false}
	}
	return label{}
}

// drawLegend draws the shades with their limits, the two other signs, the
// scale bar and the arrow to the field's north.
func (m FieldMap) drawLegend(g *pen, s mapSheet) {
	const w, h = 44.0, 14.0
	x, y := 20.0, s.legend
	g.text(x, y+10.5, 0, smallFace, "chance of being over")
	x += smallFace.width("chance of being over") + 14
	for i, c := range shades {
		r := rect{x + float64(i)*w, y, x + float64(i+1)*w, y + h}
		g.fillRect(c, r)
		g.frame(rule, 0.8, r)
		g.text(r.x0, y+h+11, 0.5, tickFace, fmt.Sprint(i*20))
	}
	x += 5 * w
	g.text(x, y+h+11, 0.5, tickFace, "100 %")
	x += 34
	for _, b := range m.Beds {
		if b.Act {
			g.frame(ink, 2.8, rect{x, y + 1, x + 22, y + h - 1})
			g.text(x+29, y+10.5, 0, smallFace, "act")
			x += 29 + smallFace.width("act") + 18
			break
		}
	}
	for _, b := range m.Beds {
		if b.Over == nil {
			r := rect{x, y, x + 22, y + h}
			old := g.trace
			g.trace = nil // the sign is not a bed
			g.hatch(r, 6)
			g.trace = old
			g.frame(rule, 0.8, r)
			g.text(x+29, y+10.5, 0, smallFace, "not counted")
			break
		}
	}
	drawScale(g, s.field, y+mapLegendRow)
}

func (m FieldMap) title() string {
	s := "Where " + orElse(m.Pest, "the pest") + " may be over the action level"
	return s + onDate(m.AsOf)
}

// ranked returns the counted beds, the highest chance first.
func (m FieldMap) ranked() []MapBed {
	var out []MapBed
	for _, b := range m.Beds {
		if b.Over != nil {
			out = append(out, b)
		}
	}
	slices.SortStableFunc(out, func(a, b MapBed) int { return cmp.Compare(*b.Over, *a.Over) })
	return out
}

func (m FieldMap) toAct() []string {
	var out []string
	for _, b := range m.ranked() {
		if b.Act {
			out = append(out, b.Code)
		}
	}
	for _, b := range m.Beds {
		if b.Act && b.Over == nil {
			out = append(out, b.Code)
		}
	}
	return out
}

func (m FieldMap) highest() string {
	r := m.ranked()
	if len(r) == 0 {
		return ""
	}
	return fmt.Sprintf("Highest: bed %s, %s.", r[0].Code, percent(*r[0].Over))
}

func (m FieldMap) lead() string {
	s := m.highest()
	if m.Level != "" {
		s = "Action level: " + m.Level + ". " + s
	}
	if a := m.toAct(); len(a) > 0 {
		return s + " Act: bed " + list(a, 8) + "."
	}
	return s + " No bed is marked act."
}

// unlabelled lists the beds that are too small for their code, with the chance.
func (m FieldMap) unlabelled(s mapSheet) []string {
	var out []string
	for _, b := range m.Beds {
		if !bedLabel(b, s.place(b.lot())).coded {
			v := "not counted"
			if b.Over != nil {
				v = percent(*b.Over)
			}
			out = append(out, b.Code+" "+v)
		}
	}
	return out
}

func (m FieldMap) notes(s mapSheet) string {
	out := "Shades and numbers: the chance that the bed is over the action level."
	if u := m.unlabelled(s); len(u) > 0 {
		out += " Too small to label: " + list(u, 40) + "."
	}
	if len(m.NoPlace) > 0 {
		out += " Beds whose place is not known: " + list(m.NoPlace, 40) + "."
	}
	return out
}

// Alt says what the map shows: the date and level, the highest bed, the beds
// to act on, and those not counted or without a place.
func (m FieldMap) Alt() string {
	out := []string{fmt.Sprintf("%s: map of %s, shaded by that chance.", m.title(), plural(len(m.Beds), "bed", "beds")), m.lead()}
	var empty []string
	for _, b := range m.Beds {
		if b.Over == nil {
			empty = append(empty, b.Code)
		}
	}
	if len(empty) > 0 {
		out = append(out, "Not counted: bed "+list(empty, 12)+".")
	}
	if len(m.NoPlace) > 0 {
		out = append(out, "Place not known: bed "+list(m.NoPlace, 12)+".")
	}
	return strings.Join(out, " ")
}
