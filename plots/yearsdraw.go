package plots

import (
	"image/color"
	"slices"
	"strconv"
	"time"

	"leafturn/internal/civil"
)

// The marks of Years.

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
		left, room := max(min(p.x0+3, s.plot.x1-w-1), s.plot.x0+1), max(0, p.x1-p.x0-w-6)
		var cands []rect
		for k := range 9 {
			x := left + float64(room*float64(k)/8)
			cands = append(cands, f.box(x, p.y-4, 0, word), f.box(x, p.y+11, 0, word))
		}
		if at, ok := labels.free(cands, s.wordsIn()); ok {
			g.veil(at.x0, at.y1-0.22*f.size, 0, f, word)
		}
	}
}

// yearName is the name of a line at its end.
type yearName struct {
	word string
	face face
	dash []float64
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
	if b, ok := labels.free(cands, s.wordsIn()); ok { // else the key has it
		g.halo(b.x0, b.y1-0.22*f.size, 0, f, word)
	}
}

// wordsIn is where words in the plot may stand: clear of ticks, weeks and names.
func (s yearsSheet) wordsIn() rect {
	return rect{s.plot.x0 + 1, s.plot.y0 - 8, s.plot.x1 + 5, s.plot.y1 + 4}
}

// names puts the name of each earlier year right of the plot, level with the last
// value of its line, moved apart where they would meet.
func (y Years) names(s yearsSheet) []yearName {
	ya := y.yAxis(s.plot)
	var out []yearName
	add := func(l YearLine, f face, dash []float64) {
		ws := y.along(l)
		if len(ws) == 0 {
			return
		}
		last := ws[len(ws)-1]
		end := point{s.axis.x(y.place(last.Week)), ya.y(last.Value)}
		out = append(out, yearName{f.clip(l.Name, pressureWidth-yearsRight-32), f, dash, end, yearsRight + 26, end.y})
	}
	for i, l := range y.Earlier {
		add(l, smallFace.colour(yearCols[i%len(yearCols)]), yearDashes[i%len(yearDashes)])
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

// has53 reports whether something was counted in a week 53, which few years have.
func (y Years) has53() bool {
	in53 := func(w WeekValue) bool { return w.Week == 53 }
	return slices.ContainsFunc(y.This.Weeks, in53) ||
		slices.ContainsFunc(y.Earlier, func(l YearLine) bool { return slices.ContainsFunc(l.Weeks, in53) })
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
		if y.week(p) == 53 && !y.has53() {
			continue
		}
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
