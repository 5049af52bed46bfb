package plots

import (
	"fmt"
	"image/color"
	"slices"
	"strings"

	"leafturn/internal/civil"

	"gonum.org/v1/plot/vg"
)

// Span is a run of days, the first and the last included. Why says what it
// stands for in a few words; it may be empty.
type Span struct {
	From, To civil.Date
	Why      string
}

// BloomRow is one companion plant of a BloomCalendar.
type BloomRow struct {
	Plant string
	Grade string       // of the evidence, such as "B"; may be empty
	Sow   []civil.Date // each day of sowing
	Bloom []Span       // several when it is resown
	// Unknown says why the bloom, or part of it, is not known; "" is known.
	Unknown string
}

// BloomNeed is a pest with the days on which its natural enemies are needed.
type BloomNeed struct {
	Pest  string
	Spans []Span
}

// BloomCalendar shows when each companion plant is sown and in bloom, when
// which pest's natural enemies need its nectar, and the gaps: days on which
// nectar is needed and there is none, or on which nothing blooms at all. Gaps
// are hatched through the whole height and named above it. Nothing here finds
// the gaps: the caller gives them.
type BloomCalendar struct {
	Title    string // "" is "Bloom calendar" with the year
	Year     int
	From, To civil.Date // season to show; widened to hold all days
	Source   string
	Rows     []BloomRow  // plants, top to bottom
	Needed   []BloomNeed // pests whose natural enemies are needed
	Gaps     []Span
	AsOf     civil.Date // date of the source line
	Next     string     // what to do next; may be empty
	Wide     float64    // width in points; 0 is that of a screen

	pageNote string // set by Pages
}

const (
	bloomWidth  = 872.0
	bloomLeft   = 236.0 // of the plot
	bloomGrade  = 166.0 // of the evidence grades
	bloomPage   = 520.0 // points of rows on a page
	bloomBar    = 15.0
	bloomSow    = 13.0
	bloomRowAir = 6.0
	gapLane     = 14.0
	gapLanes    = 8
)

// Pages parts the calendar into pages of as many plants as fit, as even as
// they come, with the same dates, needs and gaps.
func (b BloomCalendar) Pages() []BloomCalendar {
	total := 0.0
	for _, r := range b.Rows {
		total += r.height(b.room())
	}
	if total <= bloomPage {
		return []BloomCalendar{b}
	}
	s := b.span()
	b.From, b.To = s.from, s.to
	parts := b.parts(bloomPage)
	for limit := total / float64(len(parts)); limit < bloomPage; limit += bloomBar {
		if even := b.parts(limit); len(even) == len(parts) {
			parts = even
			break
		}
	}
	var out []BloomCalendar
	for i, rows := range parts {
		q := b
		q.Rows = rows
		q.pageNote = fmt.Sprintf(", page %d of %d: %s to %s", i+1, len(parts), rows[0].Plant, rows[len(rows)-1].Plant)
		out = append(out, q)
	}
	return out
}

// parts cuts the rows where the next would make a part higher than limit.
func (b BloomCalendar) parts(limit float64) [][]BloomRow {
	var out [][]BloomRow
	from, h := 0, 0.0
	for i, r := range b.Rows {
		if h += r.height(b.room()); h > limit && i > from {
			out = append(out, b.Rows[from:i])
			from, h = i, r.height(b.room())
		}
	}
	return append(out, b.Rows[from:])
}

// Check returns why the calendar cannot be drawn, or nil.
func (b BloomCalendar) Check() error {
	h := 0.0
	for _, r := range b.Rows {
		h += r.height(b.room())
		if slices.ContainsFunc(r.Sow, civil.Date.IsZero) {
			return bad("%s: a sowing has no date", r.Plant)
		}
		if err := checkSpans(r.Plant, "bloom", r.Bloom); err != nil {
			return err
		}
	}
	if h > bloomPage && len(b.Rows) > 1 {
		return fmt.Errorf("%d plants: %w; draw the Pages", len(b.Rows), ErrTooMany)
	}
	for _, n := range b.Needed {
		if err := checkSpans(n.Pest, "need", n.Spans); err != nil {
			return err
		}
	}
	if err := checkSpans("bloom calendar", "gap", b.Gaps); err != nil {
		return err
	}
	if !b.From.IsZero() && !b.To.IsZero() && b.To.Before(b.From) {
		return bad("bloom calendar: the season ends on %s, before it begins on %s", b.To, b.From)
	}
	if b.dated().from.IsZero() {
		return emptyError("bloom calendar: no sowing, bloom or need has a date, so there is nothing to draw")
	}
	return b.span().check()
}

func checkSpans(where, what string, spans []Span) error {
	for _, s := range spans {
		switch {
		case s.From.IsZero() || s.To.IsZero():
			return bad("%s: a %s has no first or no last day", where, what)
		case s.To.Before(s.From):
			return bad("%s: a %s ends on %s, before it begins on %s", where, what, s.To, s.From)
		}
	}
	return nil
}

// dated returns the days of all that is dated, without the season's own.
func (b BloomCalendar) dated() span {
	var s span
	add := func(spans []Span) {
		for _, p := range spans {
			s.add(p.From, p.To)
		}
	}
	for _, r := range b.Rows {
		s.add(r.Sow...)
		add(r.Bloom)
	}
	for _, n := range b.Needed {
		add(n.Spans)
	}
	add(b.Gaps)
	return s
}

func (b BloomCalendar) span() span {
	s := b.dated()
	if b.From.IsZero() || b.To.IsZero() {
		s = s.padded()
	}
	s.add(b.From, b.To)
	for _, r := range b.Rows { // the mark of a sowing on the first day stands in the plot
		for _, d := range r.Sow {
			if d.Sub(s.from) < 2 {
				s.from = d.AddDays(-3)
			}
		}
	}
	if s.to.Sub(s.from) < 13 {
		s = s.padded()
	}
	return s
}

// bar is a span in the lane that it lies in.
type bar struct {
	Span
	lane int
}

// bars puts spans that meet under each other.
func bars(spans []Span) (out []bar, lanes int) {
	spans = slices.Clone(spans)
	slices.SortStableFunc(spans, func(a, b Span) int { return a.From.Compare(b.From) })
	var ends []civil.Date
	for _, s := range spans {
		i := slices.IndexFunc(ends, func(d civil.Date) bool { return d.Before(s.From) })
		if i < 0 {
			i = len(ends)
			ends = append(ends, s.To)
		}
		ends[i] = s.To
		out = append(out, bar{s, i})
	}
	return out, len(ends)
}

// room is the width for words in a row.
func (b BloomCalendar) room() float64 { return b.wide() - 20 - b.left() - 8 }

// words returns what stands in the row instead of, or under, its bars.
func (r BloomRow) words(room float64) []string {
	if r.Unknown != "" {
		return smallFace.wrap("bloom not known: "+r.Unknown, room, 2)
	}
	if len(r.Bloom) == 0 {
		return []string{"no bloom"}
	}
	return nil
}

func (r BloomRow) height(room float64) float64 {
	_, lanes := bars(r.Bloom)
	h := bloomRowAir + float64(lanes)*bloomBar + float64(len(r.words(room)))*bloomSow
	if len(r.Sow) > 0 {
		h += bloomSow
	}
	return max(h, bloomRowAir+float64(len(r.name()))*bloomSow)
}

func (r BloomRow) name() []string { return boldFace.wrap(r.Plant, bloomGrade-28, 2) }

func (n BloomNeed) height() float64 {
	_, lanes := bars(n.Spans)
	return 4 + float64(max(1, lanes))*bloomBar
}

type bloomSheet struct {
	head         top
	axis         xAxis
	gaps         []gapName
	unnamed      []Span // gaps with no room for their name
	top, needs   float64
	bottom       float64
	entries      []keyEntry
	keyPositions []point
	foot, height float64
	sources      []string
}

func (b BloomCalendar) wide() float64 {
	if b.Wide > 0 {
		return b.Wide
	}
	return bloomWidth
}

// left is where the plot begins: on paper there is less room for the names.
func (b BloomCalendar) left() float64 {
	if b.Wide > 0 {
		return bloomLeft - 24
	}
	return bloomLeft
}

func (b BloomCalendar) layout() bloomSheet {
	var s bloomSheet
	inner := b.wide() - 40
	s.head = newTop(inner, b.title(), b.lead(), b.Next)
	sp := b.span()
	s.axis = xAxis{sp.from, sp.to.AddDays(1), b.left(), b.wide() - 20}
	var lanes int
	s.gaps, s.unnamed, lanes = nameGaps(s.axis, b.Gaps)
	s.top = s.head.height() + max(float64(lanes)*gapLane+4, 18)
	s.needs = s.top
	for _, r := range b.Rows {
		s.needs += r.height(b.room())
	}
	if len(b.Rows) == 0 {
		s.needs += bloomRowAir + bloomBar
	}
	s.bottom = s.needs
	if len(b.Needed) > 0 {
		s.bottom += 18
		for _, n := range b.Needed {
			s.bottom += n.height()
		}
	}
	s.entries = b.keyEntries()
	var y float64
	s.keyPositions, y = flow(s.entries, 20, b.wide()-20, s.bottom+dateAxisHeight+8)
	s.foot = y + 6
	s.sources = noteFace.wrap(b.notes(s), inner, 6)
	s.height = s.foot + float64(len(s.sources))*sizeSmall*lineStep + 10
	return s
}

// Size returns the width and height in points.
func (b BloomCalendar) Size() (width, height float64) { return b.wide(), b.layout().height }

// Draw draws the calendar; see Figure.
func (b BloomCalendar) Draw(c vg.Canvas) error { return drawOn(c, b) }

func (b BloomCalendar) draw(g *pen) {
	s := b.layout()
	s.head.draw(g, b.wide()-20)
	plot := rect{s.axis.left, s.top, s.axis.right, s.bottom}
	s.axis.grid(g, plot.y0, plot.y1)
	for _, p := range b.Gaps {
		r := spanBox(s.axis, p, plot.y0, plot.y1)
		g.hatch(r, 5)
		g.line(quiet, 0.9, r.x0, r.y0, r.x0, r.y1, 4, 2)
		g.line(quiet, 0.9, r.x1, r.y0, r.x1, r.y1, 4, 2)
	}
	drawGapNames(g, s)
	if slices.ContainsFunc(b.Rows, func(r BloomRow) bool { return r.Grade != "" }) {
		g.text(bloomGrade, s.top-5, 0, tickFace, "evidence")
	}
	y := s.top
	for _, r := range b.Rows {
		g.line(faint, 0.8, 20, y, plot.x1, y)
		r.draw(g, s.axis, b.room(), y)
		y += r.height(b.room())
	}
	if len(b.Rows) == 0 {
		g.text(20, y+14, 0, smallFace, "no plant is chosen")
	}
	if len(b.Needed) > 0 {
		y = s.needs
		g.line(rule, 0.8, 20, y, plot.x1, y)
		g.text(20, y+14, 0, boldFace, "natural enemies needed against")
		y += 18
		for _, n := range b.Needed {
			g.note("need", rect{20, y, plot.x1, y + n.height()}, n.Pest)
			g.text(20, y+11.5, 0, smallFace, smallFace.clip(n.Pest, b.left()-30))
			if len(n.Spans) == 0 {
				g.halo(b.left()+4, y+11.5, 0, tickFace, "in no week")
			}
			drawSpans(g, s.axis, y, n.Spans, "needed", releaseCol)
			y += n.height()
		}
	}
	g.frame(rule, 0.8, plot)
	s.axis.draw(g, plot.y1)
	for i, e := range s.entries {
		e.draw(g, s.keyPositions[i])
	}
	drawLines(g, 20, s.foot+sizeSmall, noteFace, s.sources)
}

func (r BloomRow) draw(g *pen, axis xAxis, room, y float64) {
	g.note("plant", rect{20, y, axis.right, y + r.height(room)}, r.Plant)
	y += bloomRowAir / 2
	drawLines(g, 20, y+11.5, boldFace, r.name())
	g.text(bloomGrade, y+11.5, 0, smallFace, smallFace.clip(r.Grade, axis.left-bloomGrade-6))
	y += bloomBar * float64(drawSpans(g, axis, y, r.Bloom, "bloom", ribbon))
	for _, words := range r.words(room) {
		g.halo(axis.left+4, y+11.5, 0, smallFace, words)
		y += bloomSow
	}
	if len(r.Sow) > 0 {
		drawSowings(g, axis, r.Sow, y)
	}
}

// spanBox is the box of a span's days; the last day is included.
func spanBox(axis xAxis, s Span, y0, y1 float64) rect {
	return rect{axis.x(s.From), y0, axis.x(s.To.AddDays(1)), y1}
}

// drawSpans draws bars with their days in them or beside them, and returns the
// number of lanes.
func drawSpans(g *pen, axis xAxis, y float64, spans []Span, kind string, fill color.NRGBA) int {
	all, lanes := bars(spans)
	edge := ink
	if kind == "bloom" {
		edge = series
	}
	box := func(b bar) rect {
		at := y + bloomBar*float64(b.lane)
		return spanBox(axis, b.Span, at+1, at+bloomBar-1)
	}
	for _, b := range all {
		g.note(kind, box(b), b.Why)
		g.fillRect(fill, box(b))
		g.frame(edge, 0.9, box(b))
	}
	free := map[int]float64{} // where the words of a lane end
	for i, b := range all {
		r, end := box(b), axis.right
		for _, next := range all[i+1:] {
			if next.lane == b.lane {
				end = axis.x(next.From)
				break
			}
		}
		base := smallFace.midline((r.y0 + r.y1) / 2)
		inside, beside := b.forms()
		in := slices.IndexFunc(inside, func(s string) bool { return smallFace.width(s)+6 <= r.w() })
		switch w := smallFace.width(beside); {
		case in >= 0:
			g.text(r.x0+3, base, 0, smallFace.colour(onShade(fill)), inside[in])
		case r.x1+w+6 <= end:
			g.halo(r.x1+4, base, 0, smallFace, beside)
			free[b.lane] = r.x1 + w + 6
			continue
		case r.x0-w-6 >= max(free[b.lane], axis.left):
			g.halo(r.x0-4, base, 1, smallFace, beside)
		}
		free[b.lane] = r.x1
	}
	return lanes
}

// forms returns the words of a bar: those to stand in it, the fullest first,
// and those to stand beside it.
func (s Span) forms() (inside []string, beside string) {
	full, short := legible(s.days("January")), legible(s.days("Jan"))
	if why := legible(s.Why); why != "" {
		inside = append(inside, full+", "+why, short+", "+why)
	}
	return append(inside, full, short, strings.ReplaceAll(short, " to ", "–")), short
}

// days writes a span: "3 to 9 May", "28 May to 3 June", "3 May".
func (s Span) days(month string) string {
	from, to := s.From.Time().Format("2 "+month), s.To.Time().Format("2 "+month)
	switch {
	case s.From == s.To:
		return to
	case s.From.Month == s.To.Month && s.From.Year == s.To.Year:
		return fmt.Sprintf("%d to %s", s.From.Day, to)
	}
	return from + " to " + to
}

// drawSowings draws a mark for each sowing, with its day where all have room,
// else the first and last day once.
func drawSowings(g *pen, axis xAxis, sow []civil.Date, y float64) {
	sow = slices.Clone(sow)
	slices.SortFunc(sow, civil.Date.Compare)
	const half = 6
	words := make([]string, len(sow))
	fit := true
	for i, d := range sow {
		words[i] = dayShort(d)
		if i == 0 {
			words[i] = "sown " + words[i]
		}
		end := axis.right
		if i+1 < len(sow) {
			end = axis.x(sow[i+1]) - half
		}
		fit = fit && axis.x(d)+half+smallFace.width(words[i])+2 <= end
	}
	base := y + 10.5
	first, last := axis.x(sow[0]), axis.x(sow[len(sow)-1])
	if !fit {
		all := "sown " + Span{From: sow[0], To: sow[len(sow)-1]}.days("Jan")
		if len(sow) > 1 {
			all += fmt.Sprintf(", %d times", len(sow))
		}
		switch w := smallFace.width(all); {
		case last+half+w+2 <= axis.right:
			g.halo(last+half, base, 0, smallFace, all)
		case first-half-w-2 >= axis.left:
			g.halo(first-half, base, 1, smallFace, all)
		}
	}
	for i, d := range sow {
		x := axis.x(d)
		if fit {
			g.halo(x+half, base, 0, smallFace, words[i])
		}
		g.note("sow", around(x, y+6, 4), d.String())
		drawSeed(g, x, y+6)
	}
}

// drawSeed is the mark of a sowing: a wedge that points up.
func drawSeed(g *pen, x, y float64) {
	g.fill(paper, point{x - 6, y + 5.5}, point{x + 6, y + 5.5}, point{x, y - 6})
	g.fill(ink, point{x - 4.2, y + 4}, point{x + 4.2, y + 4}, point{x, y - 4.5})
}
