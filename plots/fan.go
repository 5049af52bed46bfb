package plots

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/civil"

	"gonum.org/v1/plot/vg"
)

// FanDay is what is told of one day: the density in the middle, and between
// which ones half and nine in ten of the chances lie.
type FanDay struct {
	Date          civil.Date
	Median        float64
	Low50, High50 float64
	Low90, High90 float64
	Over          *float64 // chance of being over the level; nil where there is none
	Weather       string   // such as "forecast" or "usual"; may be empty
}

// FanWay is one thing that could be done, with what it leads to.
type FanWay struct {
	Name string
	On   civil.Date
	Days []FanDay
}

// Fan shows what could come of a pest in one place: the counts up to today,
// the days to come when nothing is done, and beside each other what each thing
// that could be done leads to, the one with the lowest chance of being over
// the level on the last day first.
type Fan struct {
	Pest, Place string // "spider mites", "bed D5"
	Measure     string
	Percent     bool
	Visits      []Visit
	Level       float64 // the action level; 0 where none is known
	Cap         float64 // nothing above it is told apart; 0 for none
	Today       civil.Date
	Nothing     []FanDay
	Ways        []FanWay
	NotDrawn    []string // what else there is, and why it is not drawn
	Next        string   // what to do next
	Source      string
}

// MaxWays is the number of things that one Fan compares.
const MaxWays = 12

const (
	fanWidth  = 780.0
	fanRight  = fanWidth - 136 // words on the last day stand right of it
	fanHeight = 230.0
	wayGap    = 24.0
	wayHeight = 84.0
	wayHead   = 31.0
	wayFoot   = 20.0
	waysInRow = 3
)

// Check returns why the picture cannot be drawn, or nil.
func (f Fan) Check() error {
	if len(f.Nothing) == 0 {
		return emptyError(fmt.Sprintf("%s in %s: no day is forecast, so there is nothing to draw", orElse(f.Pest, "this pest"), f.Place))
	}
	if len(f.Ways) > MaxWays {
		return fmt.Errorf("%d things to do: %w", len(f.Ways), ErrTooMany)
	}
	if f.Today.IsZero() {
		return bad("%s: today is not given", f.Place)
	}
	if !finite(f.Level) || f.Level < 0 || !finite(f.Cap) || f.Cap < 0 {
		return bad("%s: the level %v and the top %v must be numbers of 0 or more", f.Place, f.Level, f.Cap)
	}
	if err := checkVisits(f.Place, f.Visits, f.Percent); err != nil {
		return err
	}
	if err := checkFanDays(f.Place, f.Nothing); err != nil {
		return err
	}
	for _, w := range f.Ways {
		if len(w.Days) == 0 || w.On.IsZero() {
			return bad("%s: %q has no day, or none that is forecast", f.Place, w.Name)
		}
		if err := checkFanDays(w.Name, w.Days); err != nil {
			return err
		}
	}
	return f.span().check()
}

func checkFanDays(where string, days []FanDay) error {
	for i, d := range days {
		at := fmt.Sprintf("%s, forecast of %s", where, d.Date)
		if d.Date.IsZero() || i > 0 && !days[i-1].Date.Before(d.Date) {
			return bad("%s: the days must have dates, in order", where)
		}
		v := []float64{0, d.Low90, d.Low50, d.Median, d.High50, d.High90}
		if slices.ContainsFunc(v, func(x float64) bool { return !finite(x) }) || !slices.IsSorted(v) {
			return bad("%s: %v are not numbers of 0 or more in order", at, v[1:])
		}
		if d.Over != nil && !(*d.Over >= 0 && *d.Over <= 1) {
			return bad("%s: the chance %v is not between 0 and 1", at, *d.Over)
		}
	}
	return nil
}

func (f Fan) span() span {
	var s span
	for _, v := range f.Visits {
		s.add(v.Date)
	}
	s.add(f.Today, f.Nothing[0].Date, f.Nothing[len(f.Nothing)-1].Date)
	for _, w := range f.Ways {
		s.add(w.On, w.Days[0].Date, w.Days[len(w.Days)-1].Date)
	}
	if s.to.Sub(s.from) < 14 {
		s.from = s.to.AddDays(-14)
	}
	return span{s.from.AddDays(-2), s.to}
}

// end is the last day that is told of nothing done.
func (f Fan) end() FanDay { return f.Nothing[len(f.Nothing)-1] }

func lastOf(w FanWay) FanDay { return w.Days[len(w.Days)-1] }

// sorted are the ways, the lowest chance on the last day first, and of equal
// chances the lower density.
func (f Fan) sorted() []FanWay {
	out := slices.Clone(f.Ways)
	chance := func(w FanWay) float64 {
		if o := lastOf(w).Over; o != nil {
			return *o
		}
		return 2
	}
	slices.SortStableFunc(out, func(a, b FanWay) int {
		if d := chance(a) - chance(b); d != 0 {
			return int(math.Copysign(1, d))
		}
		return int(math.Copysign(1, lastOf(a).Median-lastOf(b).Median))
	})
	return out
}

func (f Fan) yAxis(r rect) yAxis {
	base := reach(f.Visits, []Segment{{Value: f.Level}})
	high := 0.0
	look := func(days []FanDay) {
		for _, d := range days {
			base, high = max(base, d.High50), max(high, d.High90)
		}
	}
	look(f.Nothing)
	for _, w := range f.Ways {
		look(w.Days)
	}
	scale := Sqrt
	if f.Percent {
		scale = Linear
	}
	return newYAxis(scale, max(base, min(high, 2.5*base)), f.Percent, r.y0, r.y1)
}

type fanSheet struct {
	top
	axis    xAxis
	plot    rect
	strip   float64 // of the weather
	ways    []FanWay
	grid    float64 // top of the ways; their heading stands above
	entries []keyEntry
	places  []point
	foot    float64
	sources []string
	height  float64
}

func (f Fan) layout() fanSheet {
	const inner = fanWidth - 40
	s := fanSheet{top: newTop(inner, f.title(), f.lead(), f.Next), ways: f.sorted()}
	sp := f.span()
	s.axis = xAxis{sp.from, sp.to, plotLeft, fanRight}
	y := s.top.height() + 18
	s.plot = rect{plotLeft, y, fanRight, y + fanHeight}
	y += fanHeight + plotFoot
	s.strip = y
	if len(f.weather()) > 0 {
		y += stageHeight + 2
	}
	y += dateAxisHeight + 10
	if n := len(s.ways); n > 0 {
		y += 24
		s.grid = y
		y += float64((n+waysInRow-1)/waysInRow) * (wayHead + wayHeight + wayFoot + 10)
	}
	s.entries = f.keyEntries()
	s.places, y = flow(s.entries, 20, fanWidth-20, y+2)
	s.foot = y + 6
	for _, line := range f.NotDrawn {
		s.sources = append(s.sources, noteFace.wrap(line, inner, 2)...)
	}
	s.sources = append(s.sources, noteFace.wrap(sourceLine(f.Today, f.Source, f.notes()), inner, 4)...)
	s.height = s.foot + float64(len(s.sources))*sizeSmall*lineStep + 10
	return s
}

// Size returns the width and height in points.
func (f Fan) Size() (width, height float64) {
	if len(f.Nothing) == 0 {
		return fanWidth, fanHeight
	}
	return fanWidth, f.layout().height
}

// Draw draws the picture; see Figure.
func (f Fan) Draw(c vg.Canvas) error { return drawOn(c, f) }

// weather are the stretches of days with the same kind of weather.
func (f Fan) weather() []StageSpan {
	var out []StageSpan
	for _, d := range f.Nothing {
		if d.Weather == "" {
			continue
		}
		word := "weather: " + d.Weather
		if n := len(out); n > 0 && out[n-1].Label == word && out[n-1].To.AddDays(1) == d.Date {
			out[n-1].To = d.Date
			continue
		}
		out = append(out, StageSpan{d.Date, d.Date, word})
	}
	return out
}

func (f Fan) draw(g *pen) {
	s := f.layout()
	s.top.draw(g, fanWidth-20)
	r, axis := s.plot, s.axis
	ya := f.yAxis(r)
	unit := measureWords(f.Measure, f.Percent)
	g.text(20, r.y0-8, 0, labelFace, labelFace.clip(unit+ya.scale.words()+", if nothing is done", fanWidth-40))
	axis.grid(g, r.y0, r.y1)
	drawValues(g, ya, r, true)
	labels := &placer{within: r}
	drawFan(g, axis, ya, f.Nothing)
	x := axis.x(f.Today)
	g.line(ink, 1, x, r.y0, x, r.y1, 2, 3)
	labels.take(rect{x - 1, r.y0, x + 1, r.y1})
	visits := byDate(f.Visits)
	takeVisits(axis, ya, visits, labels)
	for i, d := range f.Nothing[1:] {
		a := f.Nothing[i]
		labels.takeLine(point{axis.x(a.Date), ya.y(min(a.Median, ya.max))}, point{axis.x(d.Date), ya.y(min(d.Median, ya.max))})
	}
	if f.Level > 0 {
		labels.take(rect{r.x0, ya.y(f.Level) - 1, r.x1, ya.y(f.Level) + 1})
		drawLevel(g, axis, ya, []Segment{{Value: f.Level}}, true, 1.9)
	}
	drawBars(g, axis, ya, visits)
	drawMeans(g, axis, ya, visits, 1.4)
	for _, v := range visits {
		drawVisit(g, axis.x(v.Date), ya.y(v.Mean), 4, v.Invalid == "")
	}
	f.drawWords(g, axis, ya, r, visits, labels)
	f.labelEnd(g, ya, r)

	y := s.strip
	if spans := f.weather(); len(spans) > 0 {
		for i, w := range spans { // a part of a word says nothing
			room := axis.x(axis.clamp(w.To.AddDays(1))) - axis.x(w.From) - 4
			if smallFace.width(w.Label) > room {
				spans[i].Label = strings.TrimPrefix(w.Label, "weather: ")
			}
			if smallFace.width(spans[i].Label) > room {
				spans[i].Label = ""
			}
		}
		drawStages(g, axis, spans, y)
		y += stageHeight + 2
	}
	axis.draw(g, y)
	if len(s.ways) > 0 {
		f.drawWays(g, s)
	}
	for i, e := range s.entries {
		e.draw(g, s.places[i])
	}
	drawLines(g, 20, s.foot+sizeSmall, noteFace, s.sources)
}

// drawFan draws the bands and the line of the middle.
func drawFan(g *pen, axis xAxis, ya yAxis, days []FanDay) {
	area := func(kind string, low, high func(FanDay) float64) {
		var up, down []point
		for _, d := range days {
			up = append(up, point{axis.x(d.Date), ya.y(min(high(d), ya.max))})
			down = append(down, point{axis.x(d.Date), ya.y(min(low(d), ya.max))})
		}
		slices.Reverse(down)
		g.note(kind, rect{up[0].x, 0, up[len(up)-1].x, 0}, "")
		fill := ribbon
		if kind == "band50" {
			fill = within
		}
		g.fill(fill, append(up, down...)...)
	}
	area("band90", func(d FanDay) float64 { return d.Low90 }, func(d FanDay) float64 { return d.High90 })
	area("band50", func(d FanDay) float64 { return d.Low50 }, func(d FanDay) float64 { return d.High50 })
	var mid []point
	for _, d := range days {
		mid = append(mid, point{axis.x(d.Date), ya.y(min(d.Median, ya.max))})
	}
	g.lines(series, 2.2, mid)
	last := mid[len(mid)-1]
	g.disc(series, last.x, last.y, 2.6)
}

// drawWords writes in the plot which day is today, the level, and the values
// of the last and the highest count, each where no other words are; else not.
func (f Fan) drawWords(g *pen, axis xAxis, ya yAxis, r rect, visits []Visit, labels *placer) {
	var said []rect
	say := func(fc face, s string, cands ...rect) {
		cands = slices.DeleteFunc(cands, func(c rect) bool {
			return c.x0 < r.x0 || c.x1 > r.x1 || c.y0 < r.y0 || c.y1 > r.y1 ||
				slices.ContainsFunc(said, func(o rect) bool { return o.overlap(c) > 0 })
		})
		if len(cands) == 0 {
			return
		}
		at := cands[labels.place(cands)]
		said = append(said, at)
		g.veil(at.x0, at.y1-0.22*fc.size, 0, fc, s)
	}
	x := axis.x(f.Today)
	var near []rect
	today := "today, " + dayShort(f.Today)
	for i := range 8 {
		y := r.y0 + 11 + float64(i)*28
		near = append(near, smallFace.box(x-4, y, 1, today), smallFace.box(x+4, y, 0, today))
	}
	say(smallFace, today, near...)
	if f.Level > 0 {
		fc, s, y := boldFace.colour(actCol), "act at "+f.label(f.Level), ya.y(f.Level)
		near = nil
		for i := range 9 {
			left := r.x0 + 3 + float64(i)*(max(x-fc.width(s), r.x0+40)-r.x0-3)/8
			near = append(near, fc.box(left, y-4, 0, s), fc.box(left, y+12, 0, s))
		}
		say(fc, s, near...)
	}
	last, high := -1, -1
	for i, v := range visits {
		if v.Invalid == "" {
			last = i
			if high < 0 || v.Mean > visits[high].Mean {
				high = i
			}
		}
	}
	for _, i := range []int{last, high} {
		if i < 0 {
			break
		}
		v := visits[i]
		fc, s := boldFace.colour(series), f.label(v.Mean)
		x, y, w := axis.x(v.Date), ya.y(v.Mean), fc.width(s)
		near = nil
		for _, d := range []float64{0, 10, 22} {
			near = append(near, fc.box(x-8-d-w, y-8, 0, s), fc.box(x, y-8-d, 0.5, s), fc.box(x+8+d, y+3.6, 0, s), fc.box(x-8-d-w, y+3.6, 0, s), fc.box(x, y+16+d, 0.5, s),
				fc.box(x+6, y-8-d, 0, s), fc.box(x+6, y+16+d, 0, s), fc.box(x-6, y+16+d, 1, s))
		}
		say(fc, s, near...)
		if high == last {
			break
		}
	}
}

// labelEnd writes right of the last day what is told of it, each line at its
// value where there is room.
func (f Fan) labelEnd(g *pen, ya yAxis, r rect) {
	d := f.end()
	type row struct {
		words string
		f     face
		y     float64
	}
	y := func(v float64) float64 { return ya.y(min(v, ya.max)) }
	rows := []row{
		{"high: " + f.value(d.High90), smallFace, y(d.High90)},
		{f.about(d.Median), boldFace.colour(series), y(d.Median)},
		{"low: " + f.value(d.Low90), smallFace, y(d.Low90)},
	}
	if f.same(d.Low90, d.High90) {
		rows = rows[1:2]
	}
	if d.Over != nil {
		mid := slices.IndexFunc(rows, func(x row) bool { return x.f.bold })
		rows = slices.Insert(rows, mid+1, row{percent(*d.Over) + " over " + f.label(f.Level), boldFace.colour(actCol), rows[mid].y + 13})
	}
	const step = 13.0
	for i := range rows { // down from the top, then back up from the foot
		if i > 0 {
			rows[i].y = max(rows[i].y, rows[i-1].y+step)
		}
	}
	limit := r.y1 - 2
	for i := len(rows) - 1; i >= 0; i-- {
		rows[i].y = min(rows[i].y, limit)
		limit = rows[i].y - step
	}
	for _, x := range rows {
		g.text(r.x1+8, x.f.midline(x.y), 0, x.f, x.f.clip(x.words, fanWidth-20-r.x1-8))
	}
}
