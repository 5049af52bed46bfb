package plots

import (
	"fmt"
	"slices"

	"leafturn/internal/civil"

	"gonum.org/v1/plot/vg"
)

// SumDay is a day with its degree-days added up. Ahead days are not measured:
// their temperatures are forecast or usual. A Filled day was filled in between
// its neighbours.
type SumDay struct {
	Date          civil.Date
	Sum           float64
	Ahead, Filled bool
}

// BandDay is the sum of other years on a day: the lowest, the middle and the
// highest.
type BandDay struct {
	Date              civil.Date
	Low, Middle, High float64
}

// SumMark is a sum that matters, and when it is reached; Date is zero where it
// is not within the days.
type SumMark struct {
	Sum  float64
	Date civil.Date
}

// StageMark is a stage of a pest and when it is reached. Earliest and Latest
// are zero where they are not known.
type StageMark struct {
	Name                       string
	Earliest, Expected, Latest civil.Date
}

// DegreeDays shows the warmth of a season added up day by day, other years
// beside it, where the weather stops, and the days between which a pest
// reaches its stages.
type DegreeDays struct {
	Of        string // "spider mites"; "" is a sum for no pest
	Unit      string // "degree-days C above 8.63 °C"
	Today     civil.Date
	Days      []SumDay
	Band      []BandDay // other years, or a usual one
	BandWords string    // what the band is
	Gap       Span      // days without weather; zero for none
	Marks     []SumMark
	Stages    []StageMark
	Next      string
	Source    string
	Notes     string
}

// MaxStages is the number of stages that one picture shows.
const MaxStages = 14

const (
	sumWidth  = 780.0
	sumHeight = 250.0
	stageRow  = 18.0
)

// Check returns why the picture cannot be drawn, or nil.
func (d DegreeDays) Check() error {
	if len(d.Days) == 0 {
		return emptyError("degree-days: no day has weather, so there is nothing to draw")
	}
	if d.Today.IsZero() {
		return bad("degree-days: today is not given")
	}
	if len(d.Stages) > MaxStages {
		return fmt.Errorf("%d stages: %w", len(d.Stages), ErrTooMany)
	}
	last := 0.0
	for i, x := range d.Days {
		if x.Date.IsZero() || i > 0 && !d.Days[i-1].Date.Before(x.Date) {
			return bad("degree-days: the days must have dates, in order")
		}
		if !finite(x.Sum) || x.Sum < last {
			return bad("degree-days of %s: the sum %v is not a number that only grows", x.Date, x.Sum)
		}
		last = x.Sum
	}
	for i, x := range d.Band {
		if x.Date.IsZero() || i > 0 && !d.Band[i-1].Date.Before(x.Date) {
			return bad("degree-days: the days of other years must have dates, in order")
		}
		v := []float64{0, x.Low, x.Middle, x.High}
		if slices.ContainsFunc(v, func(v float64) bool { return !finite(v) }) || !slices.IsSorted(v) {
			return bad("degree-days of other years, %s: %v are not numbers of 0 or more in order", x.Date, v[1:])
		}
	}
	for _, m := range d.Marks {
		if !finite(m.Sum) || m.Sum <= 0 {
			return bad("degree-days: the sum %v is not a number above 0", m.Sum)
		}
	}
	for _, s := range d.Stages {
		if s.Expected.IsZero() {
			return bad("%s: the stage has no day", s.Name)
		}
		if !s.Earliest.IsZero() && s.Earliest.After(s.Expected) || !s.Latest.IsZero() && s.Latest.Before(s.Expected) {
			return bad("%s: %s, %s and %s are not in order", s.Name, s.Earliest, s.Expected, s.Latest)
		}
	}
	if !d.Gap.From.IsZero() {
		if err := checkSpans("degree-days", "gap", []Span{d.Gap}); err != nil {
			return err
		}
	}
	return d.span().check()
}

func (d DegreeDays) span() span {
	var s span
	s.add(d.Today, d.Days[0].Date, d.Days[len(d.Days)-1].Date, d.Gap.From, d.Gap.To)
	for _, m := range d.Stages {
		s.add(m.Earliest, m.Expected, m.Latest)
	}
	if s.to.Sub(s.from) < 20 {
		s.to = s.from.AddDays(20)
	}
	return span{s.from, s.to.AddDays(1)}
}

func (d DegreeDays) yAxis(r rect) yAxis {
	top := d.Days[len(d.Days)-1].Sum
	s := d.span()
	for _, b := range d.Band {
		if !b.Date.After(s.to) {
			top = max(top, b.High)
		}
	}
	for _, m := range d.Marks {
		if !m.Date.IsZero() {
			top = max(top, m.Sum)
		}
	}
	return newYAxis(Linear, top, false, r.y0, r.y1)
}

type sumSheet struct {
	top
	axis    xAxis
	plot    rect
	stages  float64
	dates   float64
	entries []keyEntry
	places  []point
	foot    float64
	sources []string
	height  float64
}

func (d DegreeDays) layout() sumSheet {
	const inner = sumWidth - 40
	s := sumSheet{top: newTop(inner, d.title(), d.lead(), d.Next)}
	sp := d.span()
	s.axis = xAxis{sp.from, sp.to, plotLeft, sumWidth - 22}
	y := s.top.height() + 18
	s.plot = rect{plotLeft, y, sumWidth - 22, y + sumHeight}
	y += sumHeight + plotFoot
	s.stages = y
	if n := len(d.Stages); n > 0 {
		y += 8 + stageRow*float64(n)
	}
	s.dates = y
	s.entries = d.keyEntries()
	s.places, y = flow(s.entries, 20, sumWidth-20, y+dateAxisHeight+8)
	s.foot = y + 6
	notes := d.Notes
	if !d.Today.IsZero() {
		notes = sentences("As of "+longDate(d.Today)+".", d.Source, notes)
	}
	s.sources = noteFace.wrap(notes, inner, 6)
	s.height = s.foot + float64(len(s.sources))*sizeSmall*lineStep + 10
	return s
}

// Size returns the width and height in points.
func (d DegreeDays) Size() (width, height float64) {
	if len(d.Days) == 0 {
		return sumWidth, sumHeight
	}
	return sumWidth, d.layout().height
}

// Draw draws the picture; see Figure.
func (d DegreeDays) Draw(c vg.Canvas) error { return drawOn(c, d) }

func (d DegreeDays) draw(g *pen) {
	s := d.layout()
	s.top.draw(g, sumWidth-20)
	r, axis, ya := s.plot, s.axis, d.yAxis(s.plot)
	g.text(20, r.y0-8, 0, labelFace, labelFace.clip(d.Unit+", added up since "+dayMonth(d.Days[0].Date), sumWidth-40))
	axis.grid(g, r.y0, r.y1)
	for _, v := range ya.ticks(22) {
		g.line(faint, 0.8, r.x0, ya.y(v), r.x1, ya.y(v))
		g.line(rule, 0.8, r.x0-4, ya.y(v), r.x0, ya.y(v))
		g.text(r.x0-8, tickFace.midline(ya.y(v)), 1, tickFace, ya.label(v))
	}
	labels := &placer{within: r}
	if !d.Gap.From.IsZero() {
		g.hatch(rect{axis.x(axis.clamp(d.Gap.From)), r.y0, axis.x(axis.clamp(d.Gap.To.AddDays(1))), r.y1}, 6)
	}
	d.drawBand(g, axis, ya)
	g.line(rule, 0.8, r.x0, r.y0, r.x0, r.y1)
	g.line(rule, 0.8, r.x0, r.y1, r.x1, r.y1)
	curve := d.curve(axis, ya)
	for i := 1; i < len(curve); i++ {
		labels.takeLine(curve[i-1], curve[i])
	}
	for i, m := range d.Stages {
		x := axis.x(m.Expected)
		y := r.y1
		if at, ok := d.sumOn(m.Expected); ok {
			y = ya.y(at)
		}
		g.line(quiet, 0.8, x, y, x, s.stages+8+stageRow*float64(i)+3, 2, 2)
		labels.take(rect{x - 1, y, x + 1, r.y1})
	}
	if today := axis.x(d.Today); today <= r.x1 {
		g.line(ink, 1, today, r.y0, today, r.y1, 2, 3)
		labels.take(rect{today - 1, r.y0, today + 1, r.y1})
	}
	d.drawMarks(g, axis, ya, r, labels)
	d.drawCurve(g, curve)
	for _, m := range d.Stages {
		if at, ok := d.sumOn(m.Expected); ok {
			x, y := axis.x(m.Expected), ya.y(at)
			g.disc(paper, x, y, 4)
			g.disc(series, x, y, 3)
		}
	}
	d.drawWords(g, axis, ya, r, labels)
	for i, m := range d.Stages {
		drawStageMark(g, axis, m, s.stages+8+stageRow*float64(i))
	}
	axis.draw(g, s.dates)
	for i, e := range s.entries {
		e.draw(g, s.places[i])
	}
	drawLines(g, 20, s.foot+sizeSmall, noteFace, s.sources)
}

// curve are the points of the sums.
func (d DegreeDays) curve(axis xAxis, ya yAxis) []point {
	var out []point
	for _, x := range d.Days {
		out = append(out, point{axis.x(x.Date), ya.y(x.Sum)})
	}
	return out
}

func (d DegreeDays) drawCurve(g *pen, curve []point) {
	n := slices.IndexFunc(d.Days, func(x SumDay) bool { return x.Ahead })
	if n < 0 {
		n = len(d.Days)
	}
	if n > 0 {
		g.note("curve", rect{curve[0].x, 0, curve[n-1].x, 0}, "")
		g.lines(series, 2.4, curve[:n])
	}
	if n < len(d.Days) {
		g.note("ahead", rect{curve[n].x, 0, curve[len(curve)-1].x, 0}, "")
		g.lines(series, 2.4, curve[max(0, n-1):], 6, 4)
	}
	if len(curve) == 1 {
		g.disc(series, curve[0].x, curve[0].y, 3)
	}
	for i, x := range d.Days {
		if x.Filled {
			g.note("filled", around(curve[i].x, curve[i].y, 3), "")
			g.disc(paper, curve[i].x, curve[i].y, 3)
			g.stroke(series, 1.1, g.circle(curve[i].x, curve[i].y, 3))
		}
	}
}

// sumOn returns the sum at the end of a day.
func (d DegreeDays) sumOn(day civil.Date) (float64, bool) {
	i, ok := slices.BinarySearchFunc(d.Days, day, func(x SumDay, day civil.Date) int { return x.Date.Compare(day) })
	if !ok {
		return 0, false
	}
	return d.Days[i].Sum, true
}

func (d DegreeDays) drawBand(g *pen, axis xAxis, ya yAxis) {
	var up, mid, down []point
	wide := false
	for _, b := range d.Band {
		if b.Date.Before(axis.from) || !b.Date.Before(axis.to) {
			continue
		}
		x := axis.x(b.Date)
		up, mid, down = append(up, point{x, ya.y(b.High)}), append(mid, point{x, ya.y(b.Middle)}), append(down, point{x, ya.y(b.Low)})
		wide = wide || b.High > b.Low
	}
	if len(mid) < 2 {
		return
	}
	if wide {
		g.note("band", rect{up[0].x, 0, up[len(up)-1].x, 0}, d.BandWords)
		slices.Reverse(down)
		g.fill(bandFill, append(up, down...)...)
	}
	g.note("usual", rect{mid[0].x, 0, mid[len(mid)-1].x, 0}, d.BandWords)
	g.lines(quiet, 1.1, mid)
}

// drawMarks draws the sums that were asked for.
func (d DegreeDays) drawMarks(g *pen, axis xAxis, ya yAxis, r rect, labels *placer) {
	for _, m := range d.Marks {
		if m.Date.IsZero() && m.Sum > ya.max {
			continue // named in the lead
		}
		y, x1 := ya.y(m.Sum), r.x1
		if !m.Date.IsZero() {
			x1 = axis.x(m.Date)
		}
		g.note("mark", rect{r.x0, y, x1, y}, number(m.Sum))
		g.line(watchCol, 1.2, r.x0, y, x1, y, 5, 3)
		s := d.markWords(m)
		f := boldFace.colour(watchCol)
		s = f.clip(s, r.w()-10)
		w := f.width(s)
		cands := []rect{f.box(r.x0+4, y-4, 0, s), f.box(r.x0+4, y+11, 0, s), f.box(min(x1+6, r.x1-w), y-4, 0, s), f.box(min(x1+6, r.x1-w), y+11, 0, s)}
		for i := range 8 {
			cands = append(cands, f.box(r.x0+4+float64(i)*(r.w()-w-4)/8, y-4, 0, s))
		}
		at := cands[labels.place(cands)]
		g.veil(at.x0, at.y1-0.22*sizeSmall, 0, f, s)
	}
}

func (d DegreeDays) markWords(m SumMark) string {
	if m.Date.IsZero() {
		return number(m.Sum) + ": not reached by " + dayShort(d.Days[len(d.Days)-1].Date)
	}
	return number(m.Sum) + ": " + dayShort(m.Date)
}

// drawWords writes today's sum and the last one, and what the gap is.
func (d DegreeDays) drawWords(g *pen, axis xAxis, ya yAxis, r rect, labels *placer) {
	near := func(day civil.Date, sum float64, f face, s string) {
		x, y := axis.x(day), ya.y(sum)
		var cands []rect
		for _, away := range []float64{0, 12, 26, 44} {
			cands = append(cands, f.box(x-7-away, y-5-away/2, 1, s), f.box(x+8+away, y+14+away/2, 0, s), f.box(x-7, y-8-away, 1, s), f.box(x+7, y-8-away, 0, s))
		}
		cands = slices.DeleteFunc(cands, func(c rect) bool { return c.x0 < r.x0 || c.x1 > r.x1 })
		if len(cands) == 0 {
			return
		}
		at := cands[labels.place(cands)]
		g.veil(at.x0, at.y1-0.22*f.size, 0, f, s)
	}
	day, sum := d.now()
	near(day, sum, boldFace.colour(series), number(sum)+" on "+dayShort(day))
	if last := d.Days[len(d.Days)-1]; last.Ahead && last.Date.Sub(day) > 3 {
		near(last.Date, last.Sum, smallFace.colour(series), "about "+number(last.Sum)+" on "+dayShort(last.Date))
	}
	today := "today, " + dayShort(d.Today)
	x, w := axis.x(d.Today), smallFace.width(today)
	var cands []rect
	for i := range 6 {
		y := r.y0 + 11 + float64(i)*15
		cands = append(cands, smallFace.box(x-4, y, 1, today), smallFace.box(x+4, y, 0, today))
	}
	cands = slices.DeleteFunc(cands, func(c rect) bool { return c.x0 < r.x0 || c.x1 > r.x1 })
	if len(cands) > 0 && w > 0 {
		at := cands[labels.place(cands)]
		g.veil(at.x0, at.y1-0.22*sizeSmall, 0, smallFace, today)
	}
	if d.Gap.From.IsZero() {
		return
	}
	words := smallFace.clip(d.gapWords(), r.w()-20)
	mid := (axis.x(axis.clamp(d.Gap.From)) + axis.x(axis.clamp(d.Gap.To.AddDays(1)))) / 2
	mid = min(max(mid, r.x0+4+smallFace.width(words)/2), r.x1-4-smallFace.width(words)/2)
	cands = nil
	for i := range 8 {
		cands = append(cands, smallFace.box(mid, r.y1-10-float64(i)*24, 0.5, words))
	}
	at := cands[labels.place(cands)]
	g.halo(at.x0, at.y1-0.22*sizeSmall, 0, smallFace, words)
}

func (d DegreeDays) gapWords() string { return orElse(d.Gap.Why, "no weather") }

// now is the last day that is told up to today.
func (d DegreeDays) now() (civil.Date, float64) {
	best := d.Days[0]
	for _, x := range d.Days {
		if !x.Date.After(d.Today) {
			best = x
		}
	}
	return best.Date, best.Sum
}

// drawStageMark draws one stage in its row: a bar from the earliest to the
// latest day, a dark mark on the expected one, and its words beside it.
func drawStageMark(g *pen, axis xAxis, m StageMark, y float64) {
	from, to := m.Expected, m.Expected
	if !m.Earliest.IsZero() {
		from = m.Earliest
	}
	if !m.Latest.IsZero() {
		to = m.Latest
	}
	r := rect{axis.x(from) - 2, y + 3, axis.x(to) + 2, y + stageRow - 3}
	g.note("stage", r, m.Name)
	g.fillRect(ribbon, r)
	g.frame(series, 0.8, r)
	x := axis.x(m.Expected)
	g.fillRect(series, rect{x - 2, y + 1, x + 2, y + stageRow - 1})
	words := m.words("Jan")
	base := smallFace.midline(y + stageRow/2)
	left, right := r.x0-8-axis.left, axis.right-r.x1-8
	w := smallFace.width(legible(words))
	if w > max(left, right) { // the bar shows the range
		words = m.on("Jan")
		w = smallFace.width(legible(words))
	}
	switch {
	case w <= right || right >= left:
		g.halo(r.x1+8, base, 0, smallFace, smallFace.clip(words, right))
	default:
		g.halo(r.x0-8, base, 1, smallFace, smallFace.clip(words, left))
	}
}
