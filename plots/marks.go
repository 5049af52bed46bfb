package plots

import (
	"math"
	"slices"
	"strings"
)

// The marks of a season plot: intervals, units, visits, levels, stages.

// takeVisits takes the room of means, bars and the lines between means.
func takeVisits(axis xAxis, ya yAxis, visits []Visit, labels *placer) {
	at := func(v Visit) point { return point{axis.x(v.Date), ya.y(v.Mean)} }
	for _, run := range runs(visits, func(Visit) bool { return true }) {
		for i := 1; i < len(run); i++ {
			labels.takeLine(at(run[i-1]), at(run[i]))
		}
	}
	for _, v := range visits {
		labels.take(around(at(v).x, at(v).y, 5.5))
		if v.Interval != nil && v.Invalid == "" {
			x := axis.x(v.Date)
			labels.take(rect{x - 2, ya.y(min(v.Interval.High, ya.max)), x + 2, ya.y(min(v.Interval.Low, ya.max))})
		}
	}
}

// drawValues draws the axis of values left of a plot, with its lines and, if
// asked for, their numbers, and the axis below.
func drawValues(g *pen, ya yAxis, r rect, words bool) {
	for _, v := range ya.ticks(13) {
		if words {
			levelTick(g, r, ya.y(v), ya.label(v))
			continue
		}
		g.line(faint, 0.8, r.x0, ya.y(v), r.x1, ya.y(v))
		g.line(rule, 0.8, r.x0-4, ya.y(v), r.x0, ya.y(v))
	}
	g.line(rule, 0.8, r.x0, r.y0, r.x0, r.y1)
	g.line(rule, 0.8, r.x0, r.y1, r.x1, r.y1)
}

// drawMeans joins the means of visits that adjoin.
func drawMeans(g *pen, axis xAxis, ya yAxis, visits []Visit, width float64) {
	for _, run := range runs(visits, func(Visit) bool { return true }) {
		pts := make([]point, len(run))
		for i, v := range run {
			pts[i] = point{axis.x(v.Date), ya.y(v.Mean)}
		}
		g.lines(series, width, pts)
	}
}

// drawRibbon draws the intervals between visits that adjoin; with lone that of a
// visit by itself as a bar.
func drawRibbon(g *pen, axis xAxis, ya yAxis, visits []Visit, lone bool) {
	y := func(v float64) float64 { return ya.y(min(v, ya.max)) }
	for _, run := range runs(visits, func(v Visit) bool { return v.Interval != nil }) {
		var up, down []point
		for _, v := range run {
			up = append(up, point{axis.x(v.Date), y(v.Interval.High)})
			down = append(down, point{axis.x(v.Date), y(v.Interval.Low)})
		}
		switch {
		case len(run) > 1:
			slices.Reverse(down)
			g.note("ribbon", rect{up[0].x, 0, up[len(up)-1].x, 0}, "")
			g.fill(ribbon, append(up, down...)...)
		case lone:
			g.line(series, 0.9, up[0].x, up[0].y, down[0].x, down[0].y)
		}
	}
}

// drawBars draws the interval of every valid visit as a bar, with an arrow
// where it goes on above the plot.
func drawBars(g *pen, axis xAxis, ya yAxis, visits []Visit) {
	y := func(v float64) float64 { return ya.y(min(v, ya.max)) }
	for _, v := range visits {
		if v.Interval == nil || v.Invalid != "" {
			continue
		}
		x, y0, y1 := axis.x(v.Date), y(v.Interval.High), y(v.Interval.Low)
		g.line(series, 0.9, x, y0, x, y1)
		if v.Interval.High > ya.max {
			g.note("cut", around(x, y0, 4), "")
			g.lines(series, 1.1, []point{{x - 4, y0 + 5}, {x, y0}, {x + 4, y0 + 5}})
		} else {
			g.line(series, 0.9, x-2.5, y0, x+2.5, y0)
		}
		g.line(series, 0.9, x-2.5, y1, x+2.5, y1)
	}
}

// drawUnits draws the counts of single units beside each other: the shift to
// the side is by the unit's place, so the same picture comes out each time.
func drawUnits(g *pen, axis xAxis, ya yAxis, visits []Visit, labels *placer, lumped bool) {
	for _, v := range visits {
		counts := slices.Clone(v.Counts)
		if lumped {
			slices.Sort(counts)
			counts = slices.Compact(counts)
		}
		for i, c := range counts {
			_, frac := math.Modf(float64(i+1) * 0.6180339887498949) // golden ratio: even spread
			x, y := axis.x(v.Date)+float64((frac-0.5)*9), ya.y(float64(c))
			g.note("unit", around(x, y, 1.6), "")
			g.disc(unit, x, y, 1.6)
			labels.take(around(x, y, 1.6))
		}
	}
}

// drawVisit draws a mean: a disc, or for a visit that is not valid a hollow
// ring with a cross.
func drawVisit(g *pen, x, y, r float64, valid bool) {
	if valid {
		g.note("visit", around(x, y, r), "")
		g.disc(paper, x, y, r+1)
		g.disc(series, x, y, r)
		return
	}
	g.note("invalid", around(x, y, r), "")
	g.disc(paper, x, y, r)
	g.stroke(quiet, 1.1, g.circle(x, y, r))
	d := r * 0.62
	g.line(quiet, 1.1, x-d, y-d, x+d, y+d)
	g.line(quiet, 1.1, x-d, y+d, x+d, y-d)
}

// stretch is a level as it lies on the axis.
type stretch struct {
	x0, x1, y float64
	seg       Segment
}

func stretches(axis xAxis, ya yAxis, segs []Segment) []stretch {
	var out []stretch
	for _, s := range segs {
		from, to := axis.from, axis.to
		if !s.From.IsZero() {
			from = axis.clamp(s.From)
		}
		if !s.To.IsZero() {
			to = axis.clamp(s.To.AddDays(1)) // the last day is included
		}
		if from.Before(to) {
			out = append(out, stretch{axis.x(from), axis.x(to), ya.y(s.Value), s})
		}
	}
	slices.SortStableFunc(out, func(a, b stretch) int { return a.seg.From.Compare(b.seg.From) })
	return out
}

// drawLevel draws a level as a step line: act solid, watch dashed.
func drawLevel(g *pen, axis xAxis, ya yAxis, segs []Segment, act bool, width float64) {
	col, kind, dash := watchCol, "watch", []float64{5, 3}
	if act {
		col, kind, dash = actCol, "act", nil
	}
	var path []point
	flush := func() { g.lines(col, width, path, dash...); path = nil }
	for _, s := range stretches(axis, ya, segs) {
		if len(path) > 0 && math.Abs(path[len(path)-1].x-s.x0) > 0.01 {
			flush()
		}
		g.note(kind, rect{s.x0, s.y, s.x1, s.y}, s.seg.Label)
		path = append(path, point{s.x0, s.y}, point{s.x1, s.y})
	}
	flush()
}

// levelWord says what a level is: one of 0 is reached by any find.
func levelWord(word string, value float64, ya yAxis) string {
	if value == 0 {
		return strings.TrimSuffix(word, "at ") + "at any find"
	}
	return word + ya.label(value)
}

// labelLevels writes on every stretch what it is, where there is most room.
func labelLevels(g *pen, axis xAxis, ya yAxis, act, watch []Segment, labels *placer) {
	type job struct {
		stretch
		word string
		col  face
	}
	var jobs []job
	for _, s := range stretches(axis, ya, act) {
		jobs = append(jobs, job{s, "act at ", boldFace.colour(actCol)})
		labels.take(rect{s.x0, s.y - 1, s.x1, s.y + 1})
	}
	for _, s := range stretches(axis, ya, watch) {
		jobs = append(jobs, job{s, "watch at ", smallFace.colour(watchCol)})
		labels.take(rect{s.x0, s.y - 1, s.x1, s.y + 1})
	}
	for _, j := range jobs {
		s := levelWord(j.word, j.seg.Value, ya)
		if j.seg.Label != "" {
			s += ", " + j.seg.Label
		}
		s = j.col.clip(s, max(j.x1-j.x0-6, 62))
		w := j.col.width(s)
		left := min(j.x0+3, labels.within.x1-w-1)
		room := max(0, j.x1-3-w-left)
		var cands []rect
		for _, away := range []float64{0, 13} {
			for k := range 9 {
				x := left + float64(room*float64(k)/8)
				cands = append(cands, j.col.box(x, j.y-4-away, 0, s), j.col.box(x, j.y+11+away, 0, s))
			}
		}
		at := cands[labels.place(cands)]
		g.veil(at.x0, at.y1-0.22*j.col.size, 0, j.col, s)
	}
}

// labelVisits writes the value at the highest and the last valid mean, and
// "not valid" at a visit that is not. Where a panel has several such visits
// their mark and the key say it: the words would hide the counts.
func (p Pressure) labelVisits(g *pen, axis xAxis, ya yAxis, visits []Visit, labels *placer) {
	near := func(v Visit, f face, s string) {
		x, y, w := axis.x(v.Date), ya.y(v.Mean), f.width(s)
		var cands []rect
		for _, d := range []float64{0, 10, 22} {
			cands = append(cands,
				f.box(x, y-8-d, 0.5, s), f.box(x+8+d, y+3.6, 0, s), f.box(x-8-d-w, y+3.6, 0, s), f.box(x, y+16+d, 0.5, s),
				f.box(x+6, y-8-d, 0, s), f.box(x-6, y-8-d, 1, s), f.box(x+6, y+16+d, 0, s), f.box(x-6, y+16+d, 1, s))
		}
		at := cands[labels.place(cands)]
		g.veil(at.x0, at.y1-0.22*f.size, 0, f, s)
	}
	invalid := 0
	for _, v := range visits {
		if v.Invalid != "" {
			invalid++
		}
	}
	high, last := -1, -1
	for i, v := range visits {
		if v.Invalid != "" {
			if invalid == 1 {
				near(v, tickFace, "not valid")
			}
			continue
		}
		if high < 0 || v.Mean > visits[high].Mean {
			high = i
		}
		last = i
	}
	if high >= 0 && visits[high].Mean > 0 {
		near(visits[high], boldFace.colour(series), ya.label(visits[high].Mean))
	}
	if last >= 0 && last != high {
		near(visits[last], boldFace.colour(series), ya.label(visits[last].Mean))
	}
}

// stageBox is a stage on the strip; word is "" where it is too narrow for it.
type stageBox struct {
	StageSpan
	box  rect
	word string
}

// stageBoxes are the stages on the axis, in order.
func stageBoxes(axis xAxis, stages []StageSpan, y float64) []stageBox {
	stages = slices.Clone(stages)
	slices.SortStableFunc(stages, func(a, b StageSpan) int { return a.From.Compare(b.From) })
	var out []stageBox
	for i, s := range stages {
		to := axis.to
		if i+1 < len(stages) {
			to = stages[i+1].From
		}
		if !s.To.IsZero() && s.To.AddDays(1).Before(to) {
			to = s.To.AddDays(1)
		}
		from := axis.clamp(s.From)
		if to = axis.clamp(to); !from.Before(to) {
			continue
		}
		b := stageBox{StageSpan: s, box: rect{axis.x(from), y, axis.x(to), y + stageHeight}}
		if word := legible(s.Label); smallFace.width(word) <= b.box.w()-4 {
			b.word = word // a part of a word says nothing
		}
		out = append(out, b)
	}
	return out
}

// drawStages draws the strip of growth stages with their words.
func drawStages(g *pen, axis xAxis, stages []StageSpan, y float64) {
	for i, s := range stageBoxes(axis, stages, y) {
		g.note("stage", s.box, s.Label)
		g.fillRect(stageFill[i%2], s.box)
		g.text((s.box.x0+s.box.x1)/2, smallFace.midline((s.box.y0+s.box.y1)/2), 0.5, smallFace, s.word)
	}
}

// narrowStages names the stages whose words found no room in their strips.
func narrowStages(axis xAxis, strips ...[]StageSpan) string {
	var out []string
	for _, stages := range strips {
		for _, s := range stageBoxes(axis, stages, 0) {
			if s.word != "" || strings.TrimSpace(s.Label) == "" {
				continue
			}
			word := s.Label
			if len(strips) == 1 {
				word += " from " + s.From.Time().Format("2 Jan")
			}
			if !slices.Contains(out, word) {
				out = append(out, word)
			}
		}
	}
	if len(out) == 0 {
		return ""
	}
	return "Strip without a word: " + list(out, 6) + "."
}
