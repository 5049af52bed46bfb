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
	// when the bed was not counted, or so long ago that it says nothing.
	Over *float64
	// Blank is why Over is nil: BlankStale, or other words such as "no level";
	// "" is not counted.
	Blank string
	// Act is true where the verdict is act; such beds are outlined.
	Act bool
	// Hot is true where the bed stands out of the field, and Spot where a hot
	// spot was found within it.
	Hot, Spot bool
}

// BlankStale is the word in a bed whose count is too old.
const BlankStale = "stale"

func (b MapBed) blank() string { return orElse(b.Blank, "not counted") }

// FieldMap shows the beds to scale in place, shaded by the chance that a pest
// is over its action level, with that chance as a number. Beds to act on have
// a thick outline, beds that stand out of the field a dashed one within; beds
// that were not counted, or too long ago, are hatched. What stands out and what
// is to be done next is said under it.
type FieldMap struct {
	Pest    string // such as "slugs"
	Level   string // the action level in words: "5 slugs per trap"
	AsOf    civil.Date
	Source  string
	Beds    []MapBed
	NoPlace []string // codes of beds whose place is not known; listed at the foot
	HotTold string   // when a bed stands out: "over 1.5 times the field"
	Told    []string // what else stands out, in sentences
	Todo    []Todo
	Feet    bool // the scale bar is in feet

	pageNote string // set by Pages
	detailed bool   // set by Pages: other pages show parts closer
}

// partSize is the longest side in points of a field that can be read when it is
// printed on A4 or letter paper.
const partSize = 820

// Pages returns the map, and where beds are too small for their words, or the
// sheet too large to be printed, closer maps of parts of the field after it.
func (m FieldMap) Pages() []FieldMap {
	if m.Check() != nil {
		return []FieldMap{m}
	}
	parts := m.parts()
	if len(parts) == 1 {
		return []FieldMap{m}
	}
	out := []FieldMap{m}
	out[0].detailed = true
	for i, beds := range parts {
		q := m
		q.Beds, q.NoPlace = beds, nil
		var codes []string
		for _, b := range beds {
			codes = append(codes, b.Code)
		}
		q.Todo = todoFor(m.Todo, []string{m.Pest}, codes)
		q.pageNote = fmt.Sprintf(", part %d of %d", i+1, len(parts))
		out = append(out, q)
	}
	return out
}

// parts are the beds of each part of the field that can be read.
func (m FieldMap) parts() [][]MapBed {
	pick := func(of []int) []MapBed {
		var out []MapBed
		for _, i := range of {
			out = append(out, m.Beds[i])
		}
		return out
	}
	var out [][]MapBed
	for _, of := range partLots(m.lots(), upTo(len(m.Beds)), func(of []int) bool {
		q := m
		q.Beds = pick(of)
		s := q.layout()
		return max(s.box.w(), s.box.h()) <= partSize && len(q.unlabelled(s)) == 0
	}) {
		out = append(out, pick(of))
	}
	return out
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
		if b.Over != nil || b.Blank != "" {
			counted++
		}
	}
	if counted == 0 && m.pageNote == "" {
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
	signs        []keyEntry
	signsAt      []point
	scaleAt      float64
	toldY, todoY float64
	told, todo   []string
	foot, height float64
	sources      []string
}

func (m FieldMap) layout() mapSheet {
	var s mapSheet
	s.field = newField(m.lots(), 0)
	inner := s.width - 40
	s.title = titleFace.wrap(m.title(), inner, 2)
	s.lead = leadFace.wrap(m.lead(), inner, 3)
	s.putAt(headHeight(s.title, s.lead) + 8)
	s.legend = s.box.y1 + 18
	var y float64
	s.signs = m.signs()
	s.signsAt, y = flow(s.signs, 20, s.width-20, s.legend+mapLegendRow)
	s.scaleAt = y + 8
	s.toldY = s.scaleAt + mapLegendRow
	for _, w := range m.Told {
		s.told = append(s.told, labelFace.wrap(w, inner, 2)...)
	}
	s.todoY = s.toldY
	if len(s.told) > 0 {
		s.todoY += float64(len(s.told))*sizeLabel*lineStep + 6
	}
	s.todo = todoLines(m.Todo, false, inner)
	s.foot = s.todoY + todoHeight(s.todo) + 6
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
func (m FieldMap) Draw(c vg.Canvas) error { return drawOn(c, m) }

func (m FieldMap) draw(g *pen) {
	s := m.layout()
	drawHead(g, s.title, s.lead)
	for _, b := range m.Beds {
		r := s.place(b.lot())
		g.note("bed", r, b.Code)
		fill := paper
		switch {
		case b.Over == nil:
			g.fillRect(paper, r)
			hatchBed(g, b, r)
		default:
			fill = shades[shadeOf(*b.Over)]
			g.fillRect(fill, r)
		}
		g.frame(rule, 0.8, r)
		if b.Hot {
			g.note("hot", r, b.Code)
			hotOutline(g, r)
		}
		drawBedLabel(g, bedLabel(b, r), r, fill, b.Over == nil || b.Hot)
	}
	for _, b := range m.Beds { // outlines last, so that no neighbour covers one
		if b.Act {
			outline(g, s.place(b.lot()), b.Code)
		}
		if b.Spot {
			r := s.place(b.lot())
			g.note("spot", r, b.Code)
			spotSign(g, min(r.x0+8, (r.x0+r.x1)/2), min(r.y0+8, (r.y0+r.y1)/2))
		}
	}
	m.drawLegend(g, s)
	drawLines(g, 20, s.toldY+sizeLabel, labelFace, s.told)
	drawTodo(g, 20, s.todoY, s.todo)
	drawLines(g, 20, s.foot+sizeSmall, noteFace, s.sources)
}

// hatchBed hatches a bed without a chance: up to the right where it was not
// counted, down where its count is too old.
func hatchBed(g *pen, b MapBed, r rect) {
	if b.Blank != "" {
		g.note("blank", r, b.Blank)
		g.slant(hatch, r, 6, true)
		return
	}
	g.hatch(r, 6)
}

// hotOutline is a dashed line within a bed, on paper so that it shows on dark.
func hotOutline(g *pen, r rect) {
	in := r.inset(min(3.6, r.w()/5, r.h()/5))
	g.frame(paper, 2.6, in)
	g.frame(ink, 1.5, in, 5, 3)
}

// spotSign is a ring with a dot.
func spotSign(g *pen, x, y float64) {
	g.disc(paper, x, y, 5)
	g.stroke(ink, 1.2, g.circle(x, y, 4.2))
	g.disc(ink, x, y, 1.8)
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
	val, short := b.blank(), orElse(b.Blank, "–")
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
	for i, e := range s.signs {
		e.draw(g, s.signsAt[i])
	}
	drawScale(g, s.field, s.scaleAt, m.Feet)
}

// signs are the other signs that are in the map.
func (m FieldMap) signs() []keyEntry {
	has := func(f func(b MapBed) bool) bool { return slices.ContainsFunc(m.Beds, f) }
	quietly := func(draw func(g *pen, r rect)) func(g *pen, r rect) { // a sign is not a bed
		return func(g *pen, r rect) {
			old := g.trace
			g.trace = nil
			draw(g, r)
			g.trace = old
		}
	}
	var out []keyEntry
	if has(func(b MapBed) bool { return b.Act }) {
		out = append(out, keyEntry{"act", 24, func(g *pen, r rect) { g.frame(ink, 2.8, r.inset(1)) }})
	}
	if has(func(b MapBed) bool { return b.Hot }) {
		out = append(out, keyEntry{orElse(m.HotTold, "stands out of the field"), 24, func(g *pen, r rect) {
			g.frame(rule, 0.8, r)
			hotOutline(g, r)
		}})
	}
	if has(func(b MapBed) bool { return b.Spot }) {
		out = append(out, keyEntry{"a hot spot within the bed", 12, func(g *pen, r rect) { spotSign(g, (r.x0+r.x1)/2, (r.y0+r.y1)/2) }})
	}
	for _, told := range []bool{false, true} { // the two hatchings
		var words []string
		var of MapBed
		for _, b := range m.Beds {
			if word := b.blank(); b.Over == nil && (b.Blank != "") == told && !slices.Contains(words, word) {
				words, of = append(words, word), b
			}
		}
		if len(words) > 0 {
			slices.Sort(words)
			out = append(out, keyEntry{strings.Join(words, " or "), 24, quietly(func(g *pen, r rect) {
				hatchBed(g, of, r)
				g.frame(rule, 0.8, r)
			})})
		}
	}
	return out
}

func (m FieldMap) title() string {
	s := "Where " + orElse(m.Pest, "the pest") + " may be over the action level"
	return s + onDate(m.AsOf) + m.pageNote
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
		return "The chance is not known in any bed here."
	}
	return fmt.Sprintf("Highest: bed %s, %s.", r[0].Code, percent(*r[0].Over))
}

func (m FieldMap) lead() string {
	s := m.highest()
	if m.Level != "" {
		s = "Action level: " + m.Level + ". " + s
	}
	if a := m.toAct(); len(a) > 0 {
		return s + " Act: " + beds(a, 8) + "."
	}
	return s + " No bed is marked act."
}

// unlabelled lists the beds that are too small for their code, with the chance.
func (m FieldMap) unlabelled(s mapSheet) []string {
	var out []string
	for _, b := range m.Beds {
		if !bedLabel(b, s.place(b.lot())).coded {
			v := b.blank()
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
	switch u := m.unlabelled(s); {
	case m.detailed:
		out += " The maps that follow show the parts of the field closer."
	case len(u) > 0:
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
	var hot, spots, whys []string
	blank := map[string][]string{}
	for _, b := range m.Beds {
		if b.Over == nil {
			if blank[b.blank()] == nil {
				whys = append(whys, b.blank())
			}
			blank[b.blank()] = append(blank[b.blank()], b.Code)
		}
		if b.Hot {
			hot = append(hot, b.Code)
		}
		if b.Spot {
			spots = append(spots, b.Code)
		}
	}
	if len(hot) > 0 {
		out = append(out, upperFirst(orElse(m.HotTold, "stands out of the field"))+": "+beds(hot, 12)+".")
	}
	if len(spots) > 0 {
		out = append(out, "A hot spot within the bed: "+list(spots, 12)+".")
	}
	out = append(out, m.Told...)
	for _, w := range whys {
		out = append(out, upperFirst(w)+": "+beds(blank[w], 12)+".")
	}
	if len(m.NoPlace) > 0 {
		out = append(out, "Place not known: "+beds(m.NoPlace, 12)+".")
	}
	return strings.Join(append(out, todoAlt(m.Todo, false)...), " ")
}
