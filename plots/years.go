package plots

import (
	"fmt"
	"image/color"
	"slices"
	"strconv"
	"time"

	"leafturn/internal/civil"

	"gonum.org/v1/plot/vg"
)

// WeekValue is the mean of what was counted in an ISO week.
type WeekValue struct {
	Week  int // 1 to 53
	Value float64
}

// YearLine is one season by week.
type YearLine struct {
	Name  string      // such as "2025", or "2025/26"
	Weeks []WeekValue // in any order; each week once
	// Passed is the week in which the action level was first reached; 0 is not
	// reached. Compared is false where there was no level to compare with.
	Passed   int
	Compared bool
}

// WeekLevel is the action level in some weeks, both included.
type WeekLevel struct {
	From, To int
	Value    float64
}

// Years compares this season of a pest with earlier ones, week by week.
type Years struct {
	Pest    string
	Where   string // such as "bed D5" or "mean of the beds counted"
	Measure string
	Percent bool
	Scale   Scale
	AsOf    civil.Date
	Source  string

	This    YearLine
	Earlier []YearLine
	Act     []WeekLevel // this season's action level
	// Several is true where the values are means of several beds; a season then
	// has passed the action level when the first of them has.
	Several bool
	// South is true where the season runs over new year: the axis then begins
	// with week 27.
	South bool

	Verdict Verdict
	Next    string // what to do next, in sentences
}

const (
	yearsLeft   = 66
	yearsRight  = pressureWidth - 62 // room for the names of the years
	yearsHeight = 300
	// bandYears is the least number of earlier years whose range is shaded.
	bandYears = 3
	// maxGapWeeks is the longest gap between two weeks that a line bridges.
	maxGapWeeks = 3
	mostYears   = 12
)

// place is where a week stands on the axis: 0 to 52.
func (y Years) place(week int) int {
	switch {
	case !y.South:
		return week - 1
	case week >= 27:
		return week - 27
	}
	return week + 26
}

// week is place the other way round.
func (y Years) week(place int) int {
	switch {
	case !y.South:
		return place + 1
	case place <= 26:
		return place + 27
	}
	return place - 26
}

// Check returns why the picture cannot be drawn, or nil.
func (y Years) Check() error {
	if !y.Scale.ok() {
		return bad("scale %q", y.Scale)
	}
	if len(y.Earlier) > mostYears {
		return bad("%d earlier years: %d can be told apart", len(y.Earlier), mostYears)
	}
	n := 0
	for _, l := range y.lines() {
		n += len(l.Weeks)
		seen := map[int]bool{}
		for _, w := range l.Weeks {
			switch {
			case w.Week < 1 || w.Week > 53:
				return bad("%s: week %d is not one of 1 to 53", l.Name, w.Week)
			case seen[w.Week]:
				return bad("%s: week %d comes twice", l.Name, w.Week)
			case !finite(w.Value) || w.Value < 0 || y.Percent && w.Value > 100:
				return bad("%s, week %d: %v is not a value that can be counted", l.Name, w.Week, w.Value)
			}
			seen[w.Week] = true
		}
		if l.Passed < 0 || l.Passed > 53 {
			return bad("%s: week %d is not one of 1 to 53", l.Name, l.Passed)
		}
	}
	for _, a := range y.Act {
		if !finite(a.Value) || a.Value < 0 || a.From < 1 || a.To > 53 || y.place(a.To) < y.place(a.From) {
			return bad("the action level %v of weeks %d to %d", a.Value, a.From, a.To)
		}
	}
	if n == 0 {
		return fmt.Errorf("%s by year: %w", orElse(y.Pest, "this pest"), ErrNoData)
	}
	return nil
}

func (y Years) lines() []YearLine { return append(slices.Clone(y.Earlier), y.This) }

// along returns the weeks of a line in the order of the axis.
func (y Years) along(l YearLine) []WeekValue {
	out := slices.Clone(l.Weeks)
	slices.SortFunc(out, func(a, b WeekValue) int { return y.place(a.Week) - y.place(b.Week) })
	return out
}

// runs parts the weeks of a line where a gap is too long.
func (y Years) runs(l YearLine) [][]WeekValue {
	var out [][]WeekValue
	last := 0
	for _, w := range y.along(l) {
		if at := y.place(w.Week); len(out) == 0 || at-last > maxGapWeeks {
			out = append(out, nil)
		}
		last = y.place(w.Week)
		out[len(out)-1] = append(out[len(out)-1], w)
	}
	return out
}

// at is the value of a line at a place, between its weeks where the gap is short.
func (y Years) at(l YearLine, place int) (float64, bool) {
	for _, run := range y.runs(l) {
		for i, w := range run {
			p := y.place(w.Week)
			if p == place {
				return w.Value, true
			}
			if i > 0 {
				if q := y.place(run[i-1].Week); q < place && place < p {
					share := float64(place-q) / float64(p-q)
					return run[i-1].Value + float64(share*(w.Value-run[i-1].Value)), true
				}
			}
		}
	}
	return 0, false
}

// weekBand is the range of the earlier years in a week.
type weekBand struct {
	place     int
	low, high float64
}

// band is the range of the earlier years, in the weeks that at least bandYears
// of them speak of, in unbroken stretches.
func (y Years) band() [][]weekBand {
	var out [][]weekBand
	open := false
	for p := range 53 {
		var vs []float64
		for _, l := range y.Earlier {
			if v, ok := y.at(l, p); ok {
				vs = append(vs, v)
			}
		}
		if len(vs) < bandYears {
			// Week 53 is not in each year; it does not part the band.
			open = open && y.week(p) == 53
			continue
		}
		if !open {
			out = append(out, nil)
			open = true
		}
		out[len(out)-1] = append(out[len(out)-1], weekBand{p, slices.Min(vs), slices.Max(vs)})
	}
	return out
}

// ends returns the first and last place to show: all that was counted and
// today, with a week of air.
func (y Years) ends() (first, last int) {
	first, last = 52, 0
	add := func(week int) { first, last = min(first, y.place(week)), max(last, y.place(week)) }
	for _, l := range y.lines() {
		for _, w := range l.Weeks {
			add(w.Week)
		}
	}
	if !y.AsOf.IsZero() {
		_, w := y.AsOf.ISOWeek()
		add(w)
	}
	first, last = first-1, last+1
	for last-first < 6 {
		first, last = first-1, last+1
	}
	return first, last
}

// weekAxis places weeks between two edges.
type weekAxis struct {
	first, last int
	left, right float64
}

func (a weekAxis) x(place int) float64 {
	return a.left + float64((a.right-a.left)*(float64(place-a.first)/float64(a.last-a.first)))
}

func (y Years) reach() float64 {
	top := 0.0
	for _, l := range y.lines() {
		for _, w := range l.Weeks {
			top = max(top, w.Value)
		}
	}
	for _, a := range y.Act {
		top = max(top, a.Value)
	}
	return top
}

type yearsSheet struct {
	title, lead  []string
	banner       banner
	head         float64
	plot         rect
	axis         weekAxis
	dates        float64
	entries      []keyEntry
	keyPositions []point
	foot, height float64
	sources      []string
	names        []yearName
}

func (y Years) layout() yearsSheet {
	var s yearsSheet
	inner := float64(pressureWidth) - 42
	s.title = titleFace.wrap(y.title(), inner, 2)
	s.lead = leadFace.wrap(y.lead(), inner, 4)
	top := headHeight(s.title, s.lead)
	s.banner = newBanner(y.Verdict, y.Next, top)
	top = s.banner.below(top)
	s.head = top + 12
	s.plot = rect{yearsLeft, top + 23, yearsRight, top + 23 + yearsHeight}
	first, last := y.ends()
	s.axis = weekAxis{first, last, yearsLeft, yearsRight}
	s.dates = s.plot.y1 + plotFoot
	s.names = y.names(s)
	s.entries = y.keyEntries()
	at := s.dates + dateAxisHeight + 10
	s.keyPositions, at = flow(s.entries, 20, pressureWidth-22, at)
	s.foot = at + 6
	s.sources = noteFace.wrap(sourceLine(y.AsOf, y.Source, y.notes()), inner, 4)
	s.height = s.foot + float64(len(s.sources))*sizeSmall*lineStep + 10
	return s
}

func (y Years) yAxis(r rect) yAxis { return newYAxis(y.Scale, y.reach(), y.Percent, r.y0, r.y1) }

// Size returns the width and height in points.
func (y Years) Size() (width, height float64) { return pressureWidth, y.layout().height }

// Draw draws the picture; see Figure.
func (y Years) Draw(c vg.Canvas) error {
	if err := y.Check(); err != nil {
		return err
	}
	y.draw(newPen(c, y))
	return nil
}

func (y Years) draw(g *pen) {
	s := y.layout()
	drawHead(g, s.title, s.lead)
	s.banner.draw(g)
	unit := y.Measure
	if y.Percent {
		unit = "percent of units: " + unit
	}
	g.text(20, s.head, 0, labelFace, labelFace.clip(unit+y.Scale.words(), pressureWidth-42))
	r, ya := s.plot, y.yAxis(s.plot)
	for _, v := range ya.ticks(13) {
		levelTick(g, r, ya.y(v), ya.label(v))
	}
	g.line(rule, 0.8, r.x0, r.y0, r.x0, r.y1)
	g.line(rule, 0.8, r.x0, r.y1, r.x1, r.y1)
	labels := &placer{within: r}
	for _, part := range y.band() {
		var up, down []point
		for _, b := range part {
			up, down = append(up, point{s.axis.x(b.place), ya.y(b.high)}), append(down, point{s.axis.x(b.place), ya.y(b.low)})
		}
		slices.Reverse(down)
		g.note("band", rect{up[0].x, 0, up[len(up)-1].x, 0}, "")
		g.fill(rangeFill, append(up, down...)...)
	}
	for i, l := range y.Earlier {
		y.drawLine(g, s, ya, l, yearCols[i%len(yearCols)], 1.2, yearDashes[i%len(yearDashes)], labels)
	}
	y.drawAct(g, s, ya, labels)
	y.drawLine(g, s, ya, y.This, series, 2.6, nil, labels)
	for _, w := range y.This.Weeks {
		at := point{s.axis.x(y.place(w.Week)), ya.y(w.Value)}
		g.note("visit", around(at.x, at.y, 4), "")
		g.disc(paper, at.x, at.y, 5)
		g.disc(series, at.x, at.y, 4)
	}
	for _, n := range s.names {
		g.line(n.face.col, 0.6, n.end.x+3, n.end.y, n.x-2, n.y, 1, 2)
		g.text(n.x, n.face.midline(n.y), 0, n.face, n.word)
	}
	y.nameThis(g, s, ya, labels)
	y.drawWeeks(g, s)
	for i, e := range s.entries {
		e.draw(g, s.keyPositions[i])
	}
	drawLines(g, 20, s.foot+sizeSmall, noteFace, s.sources)
}

// yearDashes tell earlier years apart besides their names.
var yearDashes = [][]float64{nil, {6, 3}, {2, 2.5}}

func (y Years) drawLine(g *pen, s yearsSheet, ya yAxis, l YearLine, col color.NRGBA, width float64, dash []float64, labels *placer) {
	for _, run := range y.runs(l) {
		var pts []point
		for _, w := range run {
			pts = append(pts, point{s.axis.x(y.place(w.Week)), ya.y(w.Value)})
		}
		for i := 1; i < len(pts); i++ {
			labels.takeLine(pts[i-1], pts[i])
		}
		g.note("year", rect{pts[0].x, 0, pts[len(pts)-1].x, 0}, l.Name)
		if len(pts) == 1 {
			g.disc(col, pts[0].x, pts[0].y, width)
		}
		g.lines(col, width, pts, dash...)
	}
}

// drawAct draws the action level over its weeks, each half a week to the side.
func (y Years) drawAct(g *pen, s yearsSheet, ya yAxis, labels *placer) {
	half := (s.axis.x(s.axis.first+1) - s.axis.x(s.axis.first)) / 2
	type part struct {
		x0, x1, y float64
		value     float64
	}
	var parts []part
	for _, a := range y.Act {
		x0, x1 := s.axis.x(y.place(a.From))-half, s.axis.x(y.place(a.To))+half
		if x0, x1 = max(x0, s.plot.x0), min(x1, s.plot.x1); x0 < x1 {
			parts = append(parts, part{x0, x1, ya.y(a.Value), a.Value})
		}
	}
	var path []point
	for i, p := range parts {
		if i > 0 && p.x0-parts[i-1].x1 > 0.01 {
			g.lines(actCol, 1.9, path)
			path = nil
		}
		g.note("act", rect{p.x0, p.y, p.x1, p.y}, "")
		path = append(path, point{p.x0, p.y}, point{p.x1, p.y})
		labels.take(rect{p.x0, p.y - 1, p.x1, p.y + 1})
	}
	g.lines(actCol, 1.9, path)
	f := boldFace.colour(actCol)
	for _, p := range parts {
		word := "act at " + ya.label(p.value)
		w := f.width(word)
		left, room := min(p.x0+3, s.plot.x1-w-1), max(0, p.x1-p.x0-w-6)
		var cands []rect
		for k := range 9 {
			x := left + float64(room*float64(k)/8)
			cands = append(cands, f.box(x, p.y-4, 0, word), f.box(x, p.y+11, 0, word))
		}
		at := cands[labels.place(cands)]
		g.veil(at.x0, at.y1-0.22*f.size, 0, f, word)
	}
}

// yearName is the name of a line at its end.
type yearName struct {
	word string
	face face
	end  point   // of the line
	x, y float64 // of the name, y its middle
}

// nameThis writes the season's name beside its last point.
func (y Years) nameThis(g *pen, s yearsSheet, ya yAxis, labels *placer) {
	ws := y.along(y.This)
	if len(ws) == 0 {
		return
	}
	for _, w := range ws {
		labels.take(around(s.axis.x(y.place(w.Week)), ya.y(w.Value), 6))
	}
	f := headFace.colour(series)
	last := ws[len(ws)-1]
	at := point{s.axis.x(y.place(last.Week)), ya.y(last.Value)}
	word := f.clip(y.This.Name, 120)
	w := f.width(word)
	cands := []rect{
		f.box(at.x+9, at.y+4.5, 0, word), f.box(at.x+7, at.y-9, 0, word), f.box(at.x+7, at.y+19, 0, word),
		f.box(at.x-w/2, at.y-11, 0, word), f.box(at.x-w/2, at.y+21, 0, word), f.box(at.x-w-9, at.y-9, 0, word), f.box(at.x-w-9, at.y+19, 0, word),
	}
	b := cands[labels.place(cands)]
	g.halo(b.x0, b.y1-0.22*f.size, 0, f, word)
}

// names puts the name of each earlier year right of the plot, level with the last
// value of its line, moved apart where they would meet.
func (y Years) names(s yearsSheet) []yearName {
	ya := y.yAxis(s.plot)
	var out []yearName
	add := func(l YearLine, f face) {
		ws := y.along(l)
		if len(ws) == 0 {
			return
		}
		last := ws[len(ws)-1]
		end := point{s.axis.x(y.place(last.Week)), ya.y(last.Value)}
		out = append(out, yearName{f.clip(l.Name, pressureWidth-yearsRight-14), f, end, yearsRight + 8, end.y})
	}
	for i, l := range y.Earlier {
		add(l, smallFace.colour(yearCols[i%len(yearCols)]))
	}
	slices.SortStableFunc(out, func(a, b yearName) int {
		switch {
		case a.end.y < b.end.y:
			return -1
		case a.end.y > b.end.y:
			return 1
		}
		return 0
	})
	const step = 14
	for i := range out {
		if i > 0 {
			out[i].y = max(out[i].y, out[i-1].y+step)
		}
	}
	// The lowest may have been pushed out: push back up.
	for i := len(out) - 1; i >= 0; i-- {
		limit := s.plot.y1 - 4
		if i+1 < len(out) {
			limit = out[i+1].y - step
		}
		out[i].y = min(out[i].y, limit)
	}
	return out
}

// monday is the Monday of a place in the season that the picture is of.
func (y Years) monday(place int) civil.Date {
	year := 0
	if !y.AsOf.IsZero() {
		var week int
		year, week = y.AsOf.ISOWeek()
		if y.South && week < 27 {
			year--
		}
	}
	// 4 January lies in week 1 (ISO 8601).
	start := civil.New(year, time.January, 4)
	start = start.AddDays(-((int(start.Weekday()) + 6) % 7))
	if !y.South {
		return start.AddDays(7 * place)
	}
	// Place 26 is week 53, which this season may not have.
	first := start.AddDays(7 * 26)
	if _, w := first.AddDays(7 * 26).ISOWeek(); place > 26 && w != 53 {
		place--
	}
	return first.AddDays(7 * place)
}

// drawWeeks writes the weeks by their numbers, and the months under them where
// the day of the picture says which year it is.
func (y Years) drawWeeks(g *pen, s yearsSheet) {
	week := s.axis.x(s.axis.first+1) - s.axis.x(s.axis.first)
	every := 1
	for week*float64(every) < 18 {
		every *= 2
	}
	for p := max(s.axis.first, 0); p <= min(s.axis.last, 52); p++ {
		x := s.axis.x(p)
		g.line(rule, 0.8, x, s.dates, x, s.dates+4)
		if (p-s.axis.first)%every == 0 && x-8 > yearsLeft-6 {
			g.text(x, s.dates+14, 0.5, tickFace, strconv.Itoa(y.week(p)))
		}
	}
	g.text(yearsLeft-8, s.dates+14, 1, tickFace, "ISO week")
	if y.AsOf.IsZero() {
		return
	}
	from, to := y.monday(max(s.axis.first, 0)), y.monday(min(s.axis.last, 52))
	if from.Before(to) {
		xAxis{from, to, s.axis.x(max(s.axis.first, 0)), s.axis.x(min(s.axis.last, 52))}.drawMonths(g, s.dates+16, false)
	}
	_, now := y.AsOf.ISOWeek()
	x := s.axis.x(y.place(now))
	g.line(quiet, 1, x, s.plot.y0, x, s.plot.y1, 1, 2)
}
