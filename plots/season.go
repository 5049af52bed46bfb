package plots

import (
	"slices"
	"time"

	"leafturn/internal/civil"

	"gonum.org/v1/plot/vg"
)

// Likely is what is believed of a density on a day: the ends of 95 % of it. A
// day may come twice, before and after what was counted on it.
type Likely struct {
	Date      civil.Date
	Low, High float64
}

// Closure is a time in which nobody may enter a bed, on the farm's clock. A
// zero To is open: until somebody has read the label.
type Closure struct{ From, To time.Time }

// WeatherDay is the weather of a day in the units that the picture names; nil
// is not recorded.
type WeatherDay struct {
	Date     civil.Date
	Min, Max *float64
	Rain     *float64
	Forecast bool // not measured
}

// Season shows one pest in one bed over the season: every sample unit, the
// mean of each visit, what is believed from visit to visit, the action and
// watch levels, what was done, when the bed was closed, the growth stages, and
// below on the same dates the weather. The verdict and what to do next stand
// on top in words.
type Season struct {
	Pest, Bed string
	Measure   string // what a value is: "slugs per trap"
	Percent   bool   // values are percent of units infested, 0-100
	Scale     Scale
	From, To  civil.Date // season to show; widened to hold all visits, events and Due
	AsOf      civil.Date
	Source    string

	Visits  []Visit
	Likely  []Likely  // in order of days
	Unknown []Unknown // in order of days; what is believed is parted there
	Act     []Segment
	Watch   []Segment

	Treatments, Releases, Steps []Event
	Closed                      []Closure
	Stages                      []StageSpan
	Weather                     []WeatherDay
	RainUnit, TempUnit          string // such as "mm" and "°C", which "" is

	Verdict Verdict
	Next    string     // what to do next, in sentences
	Due     civil.Date // when to look again
}

const (
	seasonPlot  = 235
	weatherHead = 20
	tempHeight  = 66
	rainHeight  = 48
	mostLanes   = 6
)

// Check returns why the picture cannot be drawn, or nil.
func (s Season) Check() error {
	where := "bed " + s.Bed
	p := Pressure{Pest: s.Pest, Percent: s.Percent, Scale: s.Scale, Panels: []Panel{{
		Bed: s.Bed, Visits: s.Visits, Act: s.Act, Watch: s.Watch, Treatments: slices.Concat(s.Treatments, s.Steps), Releases: s.Releases, Stages: s.Stages}}}
	if err := p.Check(); err != nil {
		return err
	}
	for i, l := range s.Likely {
		switch {
		case l.Date.IsZero() || i > 0 && l.Date.Before(s.Likely[i-1].Date):
			return bad("%s: what is believed needs days in their order", where)
		case !finite(l.Low) || !finite(l.High) || l.Low < 0 || l.High < l.Low:
			return bad("%s, believed on %s: from %v to %v are not numbers of 0 or more in order", where, l.Date, l.Low, l.High)
		}
	}
	for _, u := range s.Unknown {
		if u.Since.IsZero() || u.From.Before(u.Since) || u.To.Before(u.From) {
			return bad("%s: a time of which nothing is known needs its days in their order", where)
		}
	}
	for _, c := range s.Closed {
		if c.From.IsZero() || !c.To.IsZero() && c.To.Before(c.From) {
			return bad("%s: a time of being closed needs a beginning, and an end not before it", where)
		}
	}
	for _, w := range s.Weather {
		for _, v := range []*float64{w.Min, w.Max, w.Rain} {
			if v != nil && !finite(*v) || w.Date.IsZero() {
				return bad("%s: the weather of %s is not a day with numbers", where, w.Date)
			}
		}
		if w.Min != nil && w.Max != nil && *w.Max < *w.Min || w.Rain != nil && *w.Rain < 0 {
			return bad("%s: the weather of %s has a highest below its lowest, or rain below 0", where, w.Date)
		}
	}
	return s.span().check()
}

func (s Season) span() span {
	var out span
	for _, v := range s.Visits {
		out.add(v.Date)
	}
	for _, e := range slices.Concat(s.Treatments, s.Releases, s.Steps) {
		out.add(e.Date)
	}
	out.add(s.AsOf, s.Due)
	out = out.padded()
	out.add(s.From, s.To)
	return out
}

func (s Season) yAxis(r rect) yAxis {
	high := reach(s.Visits, s.Act, s.Watch)
	top := 0.0
	for _, l := range s.Likely {
		top = max(top, l.High)
	}
	if high == 0 {
		high = top
	} else {
		high = max(high, min(top, 1.1*high))
	}
	return newYAxis(s.Scale, high, s.Percent, r.y0, r.y1)
}

type seasonSheet struct {
	title, lead  []string
	banner       banner
	axis         xAxis
	head         float64
	lanes        []lane
	plot         rect
	stages       float64
	temp, rain   rect
	dates        float64
	days         []dayMark
	entries      []keyEntry
	keyPositions []point
	foot, height float64
	sources      []string
}

func (s Season) layout() seasonSheet {
	var l seasonSheet
	sp := s.span()
	l.axis = xAxis{sp.from, sp.to, plotLeft, plotRight}
	inner := float64(plotRight) - 20
	l.title = titleFace.wrap(s.title(), inner, 2)
	l.lead = leadFace.wrap(s.lead(), inner, 3)
	y := headHeight(l.title, l.lead)
	l.banner = newBanner(s.Verdict, s.Next, y)
	y = l.banner.below(y)
	l.head = y + 12
	l.lanes = fewLanes(l.axis, s.Treatments, s.Releases, s.Steps)
	y += 23 + float64(laneHeight*len(l.lanes))
	l.plot = rect{plotLeft, y, plotRight, y + seasonPlot}
	y = l.plot.y1 + plotFoot
	if len(s.Stages) > 0 {
		l.stages = y
		y += stageHeight + 2
	}
	y += weatherHead
	l.temp = rect{plotLeft, y, plotRight, y + tempHeight}
	y += tempHeight + weatherHead + 2
	l.rain = rect{plotLeft, y, plotRight, y + rainHeight}
	l.dates = l.rain.y1 + 4
	l.days = s.dayMarks(l.axis)
	y = l.dates + dateAxisHeight + 12
	if n := len(l.days); n > 0 {
		y += dayRow * float64(1+l.days[n-1].row)
	}
	l.entries = s.keyEntries(l.axis)
	l.keyPositions, y = flow(l.entries, 20, plotRight, y)
	l.foot = y + 6
	l.sources = noteFace.wrap(sourceLine(s.AsOf, s.Source, s.notes(l)), inner, 4)
	l.height = l.foot + float64(len(l.sources))*sizeSmall*lineStep + 10
	return l
}

// fewLanes is laneOut with at most mostLanes lanes: where there are more, the
// steps lose their words, which Alt holds.
func fewLanes(axis xAxis, treatments, releases, steps []Event) []lane {
	lanes := laneOut(axis, treatments, releases, steps)
	if len(lanes) <= mostLanes {
		return lanes
	}
	plain := func(events []Event, label string) []Event {
		out := slices.Clone(events)
		for i := range out {
			out[i].Label = label
		}
		return out
	}
	if lanes = laneOut(axis, treatments, releases, plain(steps, "several steps")); len(lanes) <= mostLanes {
		return lanes
	}
	return laneOut(axis, plain(treatments, "several products"), plain(releases, "several agents"), plain(steps, "several steps"))
}

// Size returns the width and height in points.
func (s Season) Size() (width, height float64) { return pressureWidth, s.layout().height }

// Draw draws the picture; see Figure.
func (s Season) Draw(c vg.Canvas) error { return drawOn(c, s) }

func (s Season) draw(g *pen) {
	l := s.layout()
	drawHead(g, l.title, l.lead)
	l.banner.draw(g)
	g.text(20, l.head, 0, headFace, headFace.clip("Counts", 240))
	unit := measureWords(s.Measure, s.Percent)
	x := 20 + headFace.width("Counts") + 12
	g.text(x, l.head, 0, labelFace, labelFace.clip(unit+s.Scale.words(), plotRight-x))

	s.drawCounts(g, l)
	if len(s.Stages) > 0 {
		drawStages(g, l.axis, s.Stages, l.stages)
	}
	s.drawWeather(g, l)
	l.axis.draw(g, l.dates)
	for i, e := range l.entries {
		e.draw(g, l.keyPositions[i])
	}
	drawLines(g, 20, l.foot+sizeSmall, noteFace, l.sources)
}

// at is the place of a moment on the axis, on its own clock. What is known only
// by its day stands at noon.
func (a xAxis) at(t time.Time) float64 {
	d := civil.New(t.Year(), t.Month(), t.Day())
	day := (a.right - a.left) / float64(a.to.Sub(a.from))
	hours := float64(t.Hour()-12) + float64(t.Minute())/60
	return min(max(a.x(d)+float64(day*(hours/24)), a.left), a.right)
}

// closedBoxes are the times in which the bed was closed.
func (s Season) closedBoxes(l seasonSheet) []rect {
	var out []rect
	for _, c := range s.Closed {
		x0, x1 := l.axis.at(c.From), l.axis.right
		if !c.To.IsZero() {
			x1 = l.axis.at(c.To)
		}
		x1 = max(x1, x0+2.5) // an hour must be seen
		out = append(out, rect{x0, l.plot.y0, x1, l.plot.y1})
	}
	return out
}

// drawCounts draws the plot of the counts.
func (s Season) drawCounts(g *pen, l seasonSheet) {
	r, axis := l.plot, l.axis
	ya := s.yAxis(r)
	for _, c := range s.closedBoxes(l) {
		g.note("closed", c, "")
		g.fillRect(closedFill, c)
	}
	axis.grid(g, r.y0, r.y1)
	drawValues(g, ya, r, true)

	labels := &placer{within: r}
	visits := byDate(s.Visits)
	for _, run := range s.runs() {
		drawLikely(g, axis, ya, run)
	}
	for _, c := range s.closedBoxes(l) { // over the band, which must not hide it
		g.pattern(2, treatCol, c)
	}
	drawLanes(g, axis, l.lanes, r, labels)
	drawSwarms(g, axis, ya, visits, labels)
	takeVisits(axis, ya, visits, labels)
	for _, m := range l.days {
		labels.take(rect{m.x - 2, r.y0, m.x + 2, r.y1})
	}
	drawDays(g, l)
	s.drawUnknown(g, l, labels)
	labelLevels(g, axis, ya, s.Act, s.Watch, labels)
	drawLevel(g, axis, ya, s.Watch, false, 1.3)
	drawLevel(g, axis, ya, s.Act, true, 1.9)
	drawBars(g, axis, ya, visits)
	for _, v := range visits {
		drawVisit(g, axis.x(v.Date), ya.y(v.Mean), 4, v.Invalid == "")
	}
	Pressure{}.labelVisits(g, axis, ya, visits, labels)
}

// dayMark is a day with its words, in one of the rows under the dates.
type dayMark struct {
	x, textX float64
	row      int
	word     string
	due      bool
}

const dayRow = 14

// dayMarks are today and the day of the next look; where their words would
// meet, the second has a row of its own.
func (s Season) dayMarks(axis xAxis) []dayMark {
	var out []dayMark
	put := func(d civil.Date, word string, due bool) {
		m := dayMark{x: axis.x(d), word: word + d.Time().Format("2 Jan"), due: due}
		w := m.face().width(m.word)
		m.textX = min(max(m.x-w/2, 20), pressureWidth-20-w)
		if len(out) > 0 && out[0].textX < m.textX+w+8 && m.textX < out[0].textX+out[0].face().width(out[0].word)+8 {
			m.row = 1
		}
		out = append(out, m)
	}
	if !s.AsOf.IsZero() {
		put(s.AsOf, "today, ", false)
	}
	if !s.Due.IsZero() {
		put(s.Due, "look again by ", true)
	}
	return out
}

func (m dayMark) face() face {
	if m.due {
		return boldFace
	}
	return smallFace.colour(quiet)
}

// drawDays draws the lines of the days down to their words.
func drawDays(g *pen, l seasonSheet) {
	foot := l.dates + dateAxisHeight + 2
	for _, m := range l.days {
		dash := []float64{1, 2}
		if m.due {
			dash = nil
		}
		g.line(m.face().col, 1, m.x, l.plot.y0, m.x, l.plot.y1, dash...)
		for _, r := range []rect{l.temp, l.rain} {
			g.line(m.face().col, 1, m.x, r.y0, m.x, r.y1, dash...)
		}
		g.text(m.textX, foot+dayRow*float64(m.row)+10, 0, m.face(), m.word)
	}
}

// drawLikely draws the band of what is believed.
func drawLikely(g *pen, axis xAxis, ya yAxis, days []Likely) {
	if len(days) == 0 {
		return
	}
	y := func(v float64) float64 { return ya.y(min(v, ya.max)) }
	var up, down []point
	for _, d := range days {
		up = append(up, point{axis.x(d.Date), y(d.High)})
		down = append(down, point{axis.x(d.Date), y(d.Low)})
	}
	g.note("likely", rect{up[0].x, 0, up[len(up)-1].x, 0}, "")
	slices.Reverse(down)
	g.fill(ribbon, append(up, down...)...)
}

// Size of the dot of a unit, and the most that a swarm spreads to a side.
const (
	dotSize    = 1.6
	swarmReach = 24.0
)

// drawSwarms draws each sample unit as a dot. Equal counts stand beside each
// other about the day, as far as there is room before the next visit, so the
// width of a row shows how many there are. The dots of a visit are one path: a
// path for each would be slow, and so is the PNG canvas with one for them all.
func drawSwarms(g *pen, axis xAxis, ya yAxis, visits []Visit, labels *placer) {
	g.c.SetColor(dot)
	for i, v := range visits {
		if len(v.Counts) == 0 {
			continue
		}
		var all vg.Path
		x := axis.x(v.Date)
		room := max(3, min(swarmReach, x-axis.left, axis.right-x))
		for _, j := range []int{i - 1, i + 1} {
			if j >= 0 && j < len(visits) && visits[j].Date != v.Date {
				room = min(room, max(3, 0.46*max(x-axis.x(visits[j].Date), axis.x(visits[j].Date)-x)))
			}
		}
		counts := slices.Sorted(slices.Values(v.Counts))
		for len(counts) > 0 {
			n := 1
			for n < len(counts) && counts[n] == counts[0] {
				n++
			}
			y := ya.y(float64(counts[0]))
			step := min(2*dotSize+0.5, 2*room/float64(max(n-1, 1)))
			for k := range n {
				at := x + float64(step*(float64(k)-float64(n-1)/2))
				g.note("unit", around(at, y, dotSize), "")
				all = append(all, g.circle(at, y, dotSize)...)
			}
			half := float64(step*float64(n-1)/2) + dotSize
			labels.take(rect{x - half, y - dotSize, x + half, y + dotSize})
			counts = counts[n:]
		}
		g.c.Fill(all)
	}
}
