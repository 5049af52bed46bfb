package plots

import (
	"fmt"
	"math"
	"slices"

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
	yearsFar    = 30                 // a name farther than this from its line has no leader
	yearsRight  = pressureWidth - 80 // room for the names of the years
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
func (y Years) Draw(c vg.Canvas) error { return drawOn(c, y) }

func (y Years) draw(g *pen) {
	s := y.layout()
	drawHead(g, s.title, s.lead)
	s.banner.draw(g)
	unit := measureWords(y.Measure, y.Percent)
	g.text(20, s.head, 0, labelFace, labelFace.clip(unit+y.Scale.words(), pressureWidth-42))
	r, ya := s.plot, y.yAxis(s.plot)
	drawValues(g, ya, r, true)
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
		if math.Abs(n.y-n.end.y) <= yearsFar { // of lines that end together the sample tells which is which
			g.line(n.face.col, 0.6, n.end.x+3, n.end.y, yearsRight+4, n.y, 1, 2)
		}
		g.note("sample", rect{yearsRight + 6, n.y, n.x - 4, n.y}, n.word)
		g.line(n.face.col, 1.2, yearsRight+6, n.y, n.x-4, n.y, n.dash...)
		g.text(n.x, n.face.midline(n.y), 0, n.face, n.word)
	}
	y.nameThis(g, s, ya, labels)
	y.drawWeeks(g, s)
	for i, e := range s.entries {
		e.draw(g, s.keyPositions[i])
	}
	drawLines(g, 20, s.foot+sizeSmall, noteFace, s.sources)
}
