package plots

import (
	"image/color"
	"slices"

	"leafturn/internal/civil"
)

// What all figures share: head, key, source line, and the lanes of events.

func headHeight(title, lead []string) float64 {
	return 14 + float64(len(title))*sizeTitle*lineStep + float64(len(lead))*sizeLead*lineStep + 8
}

func drawHead(g *pen, title, lead []string) {
	y := drawLines(g, 20, 14+sizeTitle, titleFace, title)
	drawLines(g, 20, y-sizeTitle+sizeLead, leadFace, lead)
}

// drawLines writes lines under each other and returns the next baseline.
func drawLines(g *pen, x, y float64, f face, lines []string) float64 {
	for _, s := range lines {
		g.text(x, y, 0, f, s)
		y += f.size * lineStep
	}
	return y
}

// sourceLine says what was counted, until when, and how to read the picture.
func sourceLine(asOf civil.Date, source, notes string) string {
	s := ""
	if !asOf.IsZero() {
		s = "As of " + longDate(asOf) + ". "
	}
	if source != "" {
		s += "Counted: " + source + ". "
	}
	return s + notes
}

// keyEntry is a sign with its word.
type keyEntry struct {
	word  string
	width float64 // of the sign
	sign  func(g *pen, r rect)
}

const keyHeight = 18

// flow puts entries beside each other between left and right, from y down, and
// returns their places and the y below them.
func flow(entries []keyEntry, left, right, y float64) ([]point, float64) {
	var out []point
	x := left
	for _, e := range entries {
		w := e.width + 6 + smallFace.width(e.word)
		if x > left && x+w > right {
			x, y = left, y+keyHeight
		}
		out = append(out, point{x, y})
		x += w + 20
	}
	if len(entries) > 0 {
		y += keyHeight
	}
	return out, y
}

func (e keyEntry) draw(g *pen, at point) {
	e.sign(g, rect{at.x, at.y + 3, at.x + e.width, at.y + 15})
	g.text(at.x+e.width+6, at.y+12.5, 0, smallFace, e.word)
}

func (p Pressure) keyEntries() []keyEntry {
	var valid, invalid, interval, units bool
	for _, b := range p.Panels {
		for _, v := range b.Visits {
			valid = valid || v.Invalid == ""
			invalid = invalid || v.Invalid != ""
			interval = interval || v.Interval != nil && v.Invalid == ""
			units = units || len(v.Counts) > 0
		}
	}
	word := "mean of a visit"
	if p.Percent {
		word = "percent at a visit"
	}
	return visitKey(word, valid, invalid, interval, units)
}

func visitKey(word string, valid, invalid, interval, units bool) []keyEntry {
	var out []keyEntry
	if valid {
		out = append(out, keyEntry{word, 12, func(g *pen, r rect) { keyDisc(g, r, 4, series) }})
	}
	if interval {
		out = append(out, keyEntry{"95 % interval", 22, func(g *pen, r rect) {
			g.fillRect(ribbon, r)
			m := (r.x0 + r.x1) / 2
			g.line(series, 0.9, m, r.y0, m, r.y1)
		}})
	}
	if units {
		out = append(out, keyEntry{"one sample unit", 8, func(g *pen, r rect) { keyDisc(g, r, 1.8, unit) }})
	}
	if invalid {
		out = append(out, keyEntry{"not valid, left out of the line", 12, func(g *pen, r rect) {
			old := g.trace
			g.trace = nil // the sign is not a visit
			drawVisit(g, (r.x0+r.x1)/2, (r.y0+r.y1)/2, 4, false)
			g.trace = old
		}})
	}
	return out
}

func keyDisc(g *pen, r rect, size float64, c color.Color) {
	g.disc(c, (r.x0+r.x1)/2, (r.y0+r.y1)/2, size)
}

// lane is one row of events above a plot.
type lane struct{ runs []laneRun }

// eventKind is what was done on a day.
type eventKind string

const (
	treated  eventKind = "treated"
	released eventKind = "released"
	stepDone eventKind = "done" // hand work and other steps
)

// eventStyles are the line through the plot and the colour of each kind.
var eventStyles = map[eventKind]struct {
	col  color.NRGBA
	dash []float64
}{
	treated:  {treatCol, []float64{6, 2}},
	released: {releaseCol, []float64{1.5, 3}},
	stepDone: {stepCol, []float64{3, 4}},
}

// laneRun is the days of one treatment, release or step with its words once.
type laneRun struct {
	days   []civil.Date
	kind   eventKind
	label  string // clipped
	full   string
	labelX float64
	x0, x1 float64 // extent with the label
}

// laneOut orders events into lanes: one run for each different label, its
// words left of its first mark, right of its last, or in its widest gap; runs
// share a lane where they do not meet.
func laneOut(axis xAxis, treatments, releases, steps []Event) []lane {
	var all []laneRun
	collect := func(events []Event, kind eventKind) {
		events = slices.Clone(events)
		slices.SortStableFunc(events, func(a, b Event) int { return a.Date.Compare(b.Date) })
		for _, e := range events {
			full := string(kind)
			if e.Label != "" {
				full += ": " + e.Label
			}
			i := slices.IndexFunc(all, func(r laneRun) bool { return r.full == full })
			if i < 0 {
				i = len(all)
				all = append(all, laneRun{full: full, kind: kind})
			}
			all[i].days = append(all[i].days, e.Date)
		}
	}
	collect(treatments, treated)
	collect(releases, released)
	collect(steps, stepDone)

	var lanes []lane
	for _, r := range all {
		r.fit(axis)
		free := func(l lane) bool {
			return !slices.ContainsFunc(l.runs, func(q laneRun) bool { return r.x0 < q.x1+8 && q.x0 < r.x1+8 })
		}
		i := slices.IndexFunc(lanes, free)
		if i < 0 {
			i = len(lanes)
			lanes = append(lanes, lane{})
		}
		lanes[i].runs = append(lanes[i].runs, r)
	}
	return lanes
}

// fit finds the room for the words of a run.
func (r *laneRun) fit(axis xAxis) {
	const half = 8 // half a mark and air
	f := r.face()
	first, last := axis.x(r.days[0]), axis.x(r.days[len(r.days)-1])
	type room struct{ x, w float64 }
	rooms := []room{{last + half, axis.right - last - half}, {axis.left, first - half - axis.left}}
	for i := 1; i < len(r.days); i++ {
		a, b := axis.x(r.days[i-1])+half, axis.x(r.days[i])-half
		rooms = append(rooms, room{a, b - a})
	}
	need := f.width(legible(r.full))
	best := rooms[0]
	for _, q := range rooms[1:] {
		if best.w >= need {
			break
		}
		if q.w > best.w {
			best = q
		}
	}
	r.label = f.clip(r.full, best.w)
	w := f.width(r.label)
	r.labelX = best.x
	if best.x == axis.left { // left of the first mark: stand close to it
		r.labelX = first - half - w
	}
	r.x0, r.x1 = min(first-half, r.labelX), max(last+half, r.labelX+w)
}

func (r laneRun) face() face { return smallFace.colour(eventStyles[r.kind].col) }

// drawLanes draws the events above the plot r: a filled wedge for a treatment,
// a hollow diamond for a release, a filled square for a step, and from each a
// thin line down through the plot. The lines come first, so that they cross no
// words of lower lanes.
func drawLanes(g *pen, axis xAxis, lanes []lane, r rect, labels *placer) {
	each := func(do func(x, y float64, run laneRun)) {
		for i, l := range lanes {
			y := r.y0 - float64(laneHeight*(len(lanes)-i)) + laneHeight/2
			for _, run := range l.runs {
				for _, d := range run.days {
					do(axis.x(d), y, run)
				}
			}
		}
	}
	each(func(x, y float64, run laneRun) {
		s := eventStyles[run.kind]
		g.line(s.col, 0.8, x, y, x, r.y1, s.dash...)
		labels.take(rect{x - 1, r.y0, x + 1, r.y1})
	})
	for i, l := range lanes {
		y := r.y0 - float64(laneHeight*(len(lanes)-i)) + laneHeight/2
		for _, run := range l.runs {
			g.halo(run.labelX, run.face().midline(y), 0, run.face(), run.label)
		}
	}
	each(func(x, y float64, run laneRun) { drawEvent(g, x, y, run) })
}

// drawEvent draws the mark of an event.
func drawEvent(g *pen, x, y float64, run laneRun) {
	switch run.kind {
	case released:
		g.note("release", around(x, y, 5), run.full)
		pts := []point{{x, y - 5.5}, {x + 5, y}, {x, y + 5.5}, {x - 5, y}}
		g.fill(paper, pts...)
		g.stroke(releaseCol, 1.5, g.path(pts, true))
	case stepDone:
		g.note("step", around(x, y, 4), run.full)
		g.fillRect(stepCol, around(x, y, 3.6))
	default:
		g.note("treatment", around(x, y, 5), run.full)
		g.fill(treatCol, point{x - 5.5, y - 4.5}, point{x + 5.5, y - 4.5}, point{x, y + 5.5})
	}
}
