package plots

import (
	"fmt"
	"image/color"
	"slices"
	"strings"

	"leafturn/internal/civil"

	"gonum.org/v1/plot/vg"
)

// Mean is animals per sample unit on so many units.
type Mean struct {
	Value float64
	Units int
}

// Effect is by how many percent fewer animals there were than expected, with
// its 95 % interval; below 0 there were more.
type Effect struct{ Percent, Low, High float64 }

// Try is a step against a pest, the counts before and after it, and what they
// say. A nil mean was not counted.
type Try struct {
	Date                                   civil.Date
	Step, Pest, Beds                       string
	Unit                                   string // "mites per leaf"
	BeforeOn, AfterOn                      civil.Date
	Before, After, CheckBefore, CheckAfter *Mean
	Expected                               *float64 // after it, had it done nothing
	ExpectedBy                             string   // "" is "expected"; "as before" where nothing untreated was counted
	Effect                                 *Effect  // nil: not known
	Finding                                string   // in a sentence; of an unknown effect what is missing
}

// Worked shows of each step whether it worked: what was counted before and
// after it in its beds and in untreated ones, and how many fewer that is than
// expected.
type Worked struct {
	Title  string // "" is "Did it work?"
	AsOf   civil.Date
	Tries  []Try
	Next   string
	Source string

	pageNote string
}

const (
	workedWidth = 780.0
	workedPage  = 640.0 // points of steps on a page
	tryHead     = 36.0
	tryPlot     = 92.0
	tryFoot     = 40.0
	tryWords    = 13.0
	courseRight = 372.0 // of the counts
	effectLeft  = 476.0
	effectRight = workedWidth - 40
	effectLeast = -100.0 // percent fewer at the left end
)

// finding is the finding of a step in lines.
func (t Try) finding() []string { return smallFace.wrap(t.Finding, workedWidth-40, 3) }

func (t Try) height() float64 {
	h := tryHead + tryWords*float64(len(t.finding()))
	if t.drawn() {
		h += tryPlot + tryFoot
	}
	return h
}

// drawn reports whether there are counts to draw.
func (t Try) drawn() bool { return t.After != nil && t.Effect != nil }

// Pages parts the picture into pages.
func (w Worked) Pages() []Worked {
	var parts [][]Try
	h := 0.0
	for i, t := range w.Tries {
		if h += t.height(); i == 0 || h > workedPage {
			parts, h = append(parts, nil), t.height()
		}
		parts[len(parts)-1] = append(parts[len(parts)-1], t)
	}
	if len(parts) <= 1 {
		return []Worked{w}
	}
	var out []Worked
	for i, tries := range parts {
		q := w
		q.Tries, q.pageNote = tries, fmt.Sprintf(" (page %d of %d)", i+1, len(parts))
		out = append(out, q)
	}
	return out
}

// Check returns why the picture cannot be drawn, or nil.
func (w Worked) Check() error {
	if len(w.Tries) == 0 {
		return emptyError("did it work: no step is recorded, so there is nothing to draw")
	}
	h := 0.0
	for _, t := range w.Tries {
		h += t.height()
		if t.Date.IsZero() {
			return bad("%s: the step has no date", t.Step)
		}
		for _, m := range []*Mean{t.Before, t.After, t.CheckBefore, t.CheckAfter} {
			if m != nil && (!finite(m.Value) || m.Value < 0 || m.Units < 1) {
				return bad("%s of %s: %v on %d units is no mean of counts", t.Step, t.Date, m.Value, m.Units)
			}
		}
		if t.Expected != nil && (!finite(*t.Expected) || *t.Expected < 0) {
			return bad("%s of %s: %v cannot be expected", t.Step, t.Date, *t.Expected)
		}
		if e := t.Effect; e != nil && !(finite(e.Percent) && finite(e.Low) && finite(e.High) && e.Low <= e.Percent && e.Percent <= e.High && e.High <= 100) {
			return bad("%s of %s: an effect of %v, between %v and %v, is not one of at most 100 percent in order", t.Step, t.Date, e.Percent, e.Low, e.High)
		}
		if !t.drawn() {
			continue
		}
		if t.AfterOn.IsZero() || t.Before != nil && t.BeforeOn.IsZero() || (t.CheckBefore != nil) && t.Before == nil {
			return bad("%s of %s: the counts before or after it have no day", t.Step, t.Date)
		}
		if err := t.span().check(); err != nil {
			return err
		}
	}
	if h > workedPage && len(w.Tries) > 1 {
		return fmt.Errorf("%d steps: %w; draw the Pages", len(w.Tries), ErrTooMany)
	}
	return nil
}

func (t Try) span() span {
	var s span
	s.add(t.Date, t.BeforeOn, t.AfterOn)
	return span{s.from.AddDays(-1), s.to.AddDays(1)}
}

type workedSheet struct {
	top
	entries []keyEntry
	places  []point
	first   float64
	foot    float64
	sources []string
	height  float64
}

func (w Worked) layout() workedSheet {
	const inner = workedWidth - 40
	s := workedSheet{top: newTop(inner, w.title(), w.lead(), w.Next)}
	s.first = s.top.height() + 4
	y := s.first
	for _, t := range w.Tries {
		y += t.height()
	}
	s.entries = w.keyEntries()
	s.places, y = flow(s.entries, 20, workedWidth-20, y+4)
	s.foot = y + 6
	s.sources = noteFace.wrap(sourceLine(w.AsOf, w.Source, w.notes()), inner, 4)
	s.height = s.foot + float64(len(s.sources))*sizeSmall*lineStep + 10
	return s
}

// Size returns the width and height in points.
func (w Worked) Size() (width, height float64) { return workedWidth, w.layout().height }

// Draw draws the picture; see Figure.
func (w Worked) Draw(c vg.Canvas) error { return drawOn(c, w) }

func (w Worked) draw(g *pen) {
	s := w.layout()
	s.top.draw(g, workedWidth-20)
	y := s.first
	for _, t := range w.Tries {
		g.line(faint, 1, 20, y, workedWidth-20, y)
		t.draw(g, y)
		y += t.height()
	}
	for i, e := range s.entries {
		e.draw(g, s.places[i])
	}
	drawLines(g, 20, s.foot+sizeSmall, noteFace, s.sources)
}

func (t Try) head() string {
	s := dayMonth(t.Date) + ": " + t.Step
	if t.Pest != "" {
		s += " against " + t.Pest
	}
	if t.Beds != "" {
		s += ", " + beds(strings.Split(t.Beds, ", "), mostBeds)
	}
	return s
}

func (t Try) draw(g *pen, y float64) {
	g.note("try", rect{20, y, workedWidth - 20, y + t.height()}, t.Step)
	f := headFace.colour(t.colour())
	verdict := t.verdict()
	g.text(20, y+17, 0, headFace, headFace.clip(t.head(), workedWidth-60-f.width(verdict)))
	g.text(workedWidth-20, y+17, 1, f, verdict)
	drawLines(g, 20, y+32, smallFace, t.finding())
	if !t.drawn() {
		return
	}
	y += tryHead + tryWords*float64(len(t.finding()))
	t.drawCounts(g, rect{plotLeft, y + 18, courseRight, y + 18 + tryPlot - 12})
	g.text(effectLeft, y+18-7, 0, tickFace, "against what was expected")
	t.drawEffect(g, y+18+tryPlot/2-10)
}

// verdict is a word for the whole of a step's effect.
func (t Try) verdict() string {
	switch e := t.Effect; {
	case e == nil:
		return "not known"
	case e.Low > 0 && t.CheckAfter == nil:
		return "fewer than before"
	case e.High < 0 && t.CheckAfter == nil:
		return "more than before"
	case e.Low > 0:
		return "it worked"
	case e.High < 0:
		return "more than without it"
	}
	return "not sure"
}

func (t Try) colour() color.NRGBA {
	switch e := t.Effect; {
	case e == nil:
		return quiet
	case e.Low > 0:
		return releaseCol
	case e.High < 0:
		return actCol
	}
	return ink
}

// drawCounts draws the counts before and after, of treated beds filled and
// joined, of untreated ones hollow and dashed, and what was expected.
func (t Try) drawCounts(g *pen, r rect) {
	s := t.span()
	axis := xAxis{s.from, s.to, r.x0, r.x1}
	high := 0.0
	for _, m := range []*Mean{t.Before, t.After, t.CheckBefore, t.CheckAfter} {
		if m != nil {
			high = max(high, m.Value)
		}
	}
	if t.Expected != nil {
		high = max(high, min(*t.Expected, 3*high))
	}
	ya := newYAxis(Linear, high, false, r.y0, r.y1)
	g.text(20, r.y0-7, 0, tickFace, tickFace.clip(t.Unit, r.x1-20))
	for _, v := range ya.ticks(22) {
		g.line(faint, 0.8, r.x0, ya.y(v), r.x1, ya.y(v))
		g.text(r.x0-8, tickFace.midline(ya.y(v)), 1, tickFace, ya.label(v))
	}
	g.line(rule, 0.8, r.x0, r.y0, r.x0, r.y1)
	g.line(rule, 0.8, r.x0, r.y1, r.x1, r.y1)
	at := func(d civil.Date, v float64) point { return point{axis.x(d), ya.y(min(v, ya.max))} }
	x := axis.x(t.Date)
	g.line(treatCol, 0.8, x, r.y0, x, r.y1, 6, 2)
	g.fill(treatCol, point{x - 5, r.y0 - 2}, point{x + 5, r.y0 - 2}, point{x, r.y0 + 7})

	after := at(t.AfterOn, t.After.Value)
	type end struct {
		words string
		f     face
		y     float64
	}
	ends := []end{{"treated: " + number(t.After.Value), boldFace.colour(series), after.y}}
	if t.CheckAfter != nil {
		q := at(t.AfterOn, t.CheckAfter.Value)
		if t.CheckBefore != nil {
			g.lines(quiet, 1.4, []point{at(t.BeforeOn, t.CheckBefore.Value), q}, 4, 3)
			drawSquare(g, at(t.BeforeOn, t.CheckBefore.Value))
		}
		drawSquare(g, q)
		ends = append(ends, end{"untreated: " + number(t.CheckAfter.Value), smallFace, q.y})
	}
	if t.Expected != nil {
		q := at(t.AfterOn, *t.Expected)
		if t.Before != nil {
			g.lines(series, 1, []point{at(t.BeforeOn, t.Before.Value), q}, 1.5, 3)
		}
		g.note("expected", around(q.x, q.y, 4), "")
		g.disc(paper, q.x, q.y, 4)
		g.stroke(series, 1.2, g.circle(q.x, q.y, 4))
		ends = append(ends, end{orElse(t.ExpectedBy, "expected") + ": " + number(*t.Expected), smallFace.colour(series), q.y})
	}
	if t.Before != nil {
		g.lines(series, 2, []point{at(t.BeforeOn, t.Before.Value), after})
		p := at(t.BeforeOn, t.Before.Value)
		g.note("treated", around(p.x, p.y, 4), "")
		g.disc(series, p.x, p.y, 4)
	}
	g.note("treated", around(after.x, after.y, 4), "")
	g.disc(series, after.x, after.y, 4)

	slices.SortStableFunc(ends, func(a, b end) int { return int(a.y*16 - b.y*16) })
	const step = 12.5
	for i := range ends {
		if i > 0 {
			ends[i].y = max(ends[i].y, ends[i-1].y+step)
		}
	}
	limit := r.y1 + 4
	for _, i := range []int{2, 1, 0} {
		if i < len(ends) {
			ends[i].y = min(ends[i].y, limit)
			limit = ends[i].y - step
		}
	}
	for _, e := range ends {
		g.text(r.x1+6, e.f.midline(e.y), 0, e.f, e.f.clip(e.words, effectLeft-12-r.x1))
	}
	t.drawDays(g, axis, r.y1)
}

// drawDays writes the days of the counts and of the step under the plot.
func (t Try) drawDays(g *pen, axis xAxis, y float64) {
	type tick struct {
		x     float64
		words string
		f     face
	}
	ticks := []tick{{axis.x(t.Date), dayShort(t.Date), boldFace.colour(treatCol)}}
	if t.Before != nil {
		ticks = append(ticks, tick{axis.x(t.BeforeOn), dayShort(t.BeforeOn), tickFace})
	}
	ticks = append(ticks, tick{axis.x(t.AfterOn), dayShort(t.AfterOn), tickFace})
	var taken []rect
	for _, k := range ticks {
		g.line(rule, 0.8, k.x, y, k.x, y+4)
		mid := min(k.x, axis.right-k.f.width(k.words)/2)
		b := k.f.box(mid, y+15, 0.5, k.words)
		if slices.ContainsFunc(taken, func(o rect) bool { return o.overlap(rect{b.x0 - 4, b.y0, b.x1 + 4, b.y1}) > 0 }) {
			b = k.f.box(mid, y+27, 0.5, k.words)
			if slices.ContainsFunc(taken, func(o rect) bool { return o.overlap(b) > 0 }) {
				continue
			}
		}
		taken = append(taken, b)
		g.text(b.x0, b.y1-0.22*k.f.size, 0, k.f, k.words)
	}
}

// drawSquare is the mark of untreated beds.
func drawSquare(g *pen, p point) {
	r := around(p.x, p.y, 3.6)
	g.note("untreated", r, "")
	g.fillRect(paper, r)
	g.frame(quiet, 1.4, r)
}

// drawEffect draws the effect with its interval on a line of percent fewer.
func (t Try) drawEffect(g *pen, y float64) {
	e := t.Effect
	x := func(v float64) float64 {
		return effectLeft + float64((effectRight-effectLeft)*((max(v, effectLeast)-effectLeast)/(100-effectLeast)))
	}
	foot := y + 30
	for _, k := range []struct {
		v     float64
		words string
	}{{-100, "twice as many"}, {-50, ""}, {0, "no effect"}, {50, "half"}, {100, "all gone"}} {
		col, w := faint, 0.8
		if k.v == 0 {
			col, w = ink, 1.4
		}
		g.line(col, w, x(k.v), y-22, x(k.v), foot)
		if k.words != "" {
			ax := 0.5
			switch k.v { // inside the panel
			case -100:
				ax = 0
			case 100:
				ax = 1
			}
			g.text(x(k.v), foot+13, ax, tickFace, k.words)
		}
	}
	g.line(rule, 0.8, effectLeft, foot, effectRight, foot)
	g.note("effect", rect{x(e.Low), y - 5, x(e.High), y + 5}, "")
	g.fillRect(ribbon, rect{x(e.Low), y - 5, x(e.High), y + 5})
	g.line(series, 1.6, x(e.Low), y, x(e.High), y)
	for _, v := range []float64{e.Low, e.High} {
		if v < effectLeast { // it goes on
			g.note("cut", around(x(v), y, 4), "")
			g.lines(series, 1.6, []point{{x(v) + 6, y - 5}, {x(v), y}, {x(v) + 6, y + 5}})
			continue
		}
		g.line(series, 1.6, x(v), y-5, x(v), y+5)
	}
	if e.Percent >= effectLeast { // else it lies beyond the arrow
		g.disc(paper, x(e.Percent), y, 5.5)
		g.disc(series, x(e.Percent), y, 4.5)
	}
	words := fewerWords(e.Percent)
	f := boldFace.colour(series)
	mid := min(max(x(e.Percent), effectLeft+f.width(words)/2), effectRight-f.width(words)/2)
	g.halo(mid, y-12, 0.5, f, words)
}
