package plots

import (
	"fmt"
	"image/color"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/civil"

	"gonum.org/v1/plot/vg"
)

// PlanPoint is what a plan does at one true density: the chance to hold, and
// how many units it takes on average.
type PlanPoint struct {
	Level float64
	Hold  float64 // 0 to 1
	Units float64
}

// PlanLine is after N units the total at or below which one holds, and at or
// above which one acts; nil is "not yet".
type PlanLine struct {
	N           int
	Hold, ActAt *int
}

// PlanSoFar is what was looked at in the field so far.
type PlanSoFar struct{ Units, Total int }

// SamplePlan shows a sequential sampling plan: the chance to hold and the
// number of units at every true density, with the errors marked, and the stop
// lines as regions to hold, to go on and to act.
type SamplePlan struct {
	Pest, Place string // Place may be empty
	Unit, Units string // "leaf", "leaves"
	Measure     string // "mites per leaf"
	Percent     bool   // the densities are percent of units infested

	Threshold, Safe, Action float64 // the level, and the two densities that the risks are for
	Points                  []PlanPoint
	Lines                   []PlanLine
	SoFar                   *PlanSoFar
	Next                    string
	AsOf                    civil.Date
	Source                  string
}

const (
	planWidth  = 780.0
	planMiddle = 372.0 // right end of the curves
	planLeft   = 462.0 // of the stop lines
	planChance = 158.0
	planUnits  = 118.0
	planGap    = 34.0
)

// Check returns why the picture cannot be drawn, or nil.
func (p SamplePlan) Check() error {
	if len(p.Lines) == 0 || len(p.Points) < 2 {
		return emptyError("sampling plan: no lines and no curve, so there is nothing to draw")
	}
	if !finite(p.Threshold) || p.Threshold <= 0 || !finite(p.Safe) || !finite(p.Action) || !(0 <= p.Safe && p.Safe < p.Threshold && p.Threshold < p.Action) {
		return bad("sampling plan: %v, %v and %v are not a density to hold at, the level and a density to act at", p.Safe, p.Threshold, p.Action)
	}
	for i, x := range p.Points {
		if !finite(x.Level) || x.Level < 0 || i > 0 && x.Level <= p.Points[i-1].Level {
			return bad("sampling plan: the densities must be numbers of 0 or more, in order")
		}
		if !(x.Hold >= 0 && x.Hold <= 1) || !finite(x.Units) || x.Units < 0 {
			return bad("sampling plan at %v: a chance of %v and %v units", x.Level, x.Hold, x.Units)
		}
	}
	for i, l := range p.Lines {
		if l.N < 1 || i > 0 && l.N <= p.Lines[i-1].N {
			return bad("sampling plan: the lines must be for 1 unit or more, in order")
		}
		if l.Hold != nil && *l.Hold < 0 || l.ActAt != nil && *l.ActAt < 0 || l.Hold != nil && l.ActAt != nil && *l.Hold >= *l.ActAt {
			return bad("sampling plan after %d: the totals to hold and to act at are not in order", l.N)
		}
	}
	if s := p.SoFar; s != nil && (s.Units < 0 || s.Total < 0) {
		return bad("sampling plan: %d on %d units so far", s.Total, s.Units)
	}
	return nil
}

type planSheet struct {
	top
	chance, units, lines rect
	foot                 float64
	sources              []string
	height               float64
}

func (p SamplePlan) layout() planSheet {
	const inner = planWidth - 40
	s := planSheet{top: newTop(inner, p.title(), p.lead(), p.Next)}
	y := s.top.height() + 20
	s.chance = rect{plotLeft, y, planMiddle, y + planChance}
	s.units = rect{plotLeft, s.chance.y1 + planGap, planMiddle, s.chance.y1 + planGap + planUnits}
	s.lines = rect{planLeft, y, planWidth - 24, s.units.y1}
	s.foot = s.units.y1 + 40
	notes := sentences(p.Source, "The chances are exact: carried from one unit to the next, not simulated.")
	if !p.AsOf.IsZero() {
		notes = sentences("As of "+longDate(p.AsOf)+".", notes)
	}
	s.sources = noteFace.wrap(notes, inner, 4)
	s.height = s.foot + float64(len(s.sources))*sizeSmall*lineStep + 10
	return s
}

// Size returns the width and height in points.
func (p SamplePlan) Size() (width, height float64) { return planWidth, p.layout().height }

// Draw draws the picture; see Figure.
func (p SamplePlan) Draw(c vg.Canvas) error { return drawOn(c, p) }

func (p SamplePlan) draw(g *pen) {
	s := p.layout()
	s.top.draw(g, planWidth-20)
	p.drawChances(g, s.chance)
	p.drawUnits(g, s.units)
	p.drawLines(g, s.lines)
	drawLines(g, 20, s.foot+sizeSmall, noteFace, s.sources)
}

// across places densities on the axis that the two curves share.
func (p SamplePlan) across(r rect) func(v float64) float64 {
	high := max(p.Points[len(p.Points)-1].Level, p.Action*1.05)
	return func(v float64) float64 { return r.x0 + float64((r.x1-r.x0)*(v/high)) }
}

func (p SamplePlan) axes(g *pen, r rect, ya yAxis, title string) {
	g.text(20, r.y0-9, 0, labelFace, labelFace.clip(title, r.x1-20))
	for _, v := range ya.ticks(20) {
		g.line(faint, 0.8, r.x0, ya.y(v), r.x1, ya.y(v))
		g.text(r.x0-8, tickFace.midline(ya.y(v)), 1, tickFace, ya.label(v))
	}
	x := p.across(r)
	g.line(actCol, 1.9, x(p.Threshold), r.y0, x(p.Threshold), r.y1)
	for _, v := range []float64{p.Safe, p.Action} {
		g.line(quiet, 0.9, x(v), r.y0, x(v), r.y1, 3, 3)
	}
	g.line(rule, 0.8, r.x0, r.y0, r.x0, r.y1)
	g.line(rule, 0.8, r.x0, r.y1, r.x1, r.y1)
}

// at returns the value of a curve at a density, on the straight line between
// its points.
func (p SamplePlan) at(level float64, of func(PlanPoint) float64) float64 {
	for i, b := range p.Points {
		if b.Level < level {
			continue
		}
		if i == 0 || b.Level == level {
			return of(b)
		}
		a := p.Points[i-1]
		t := (level - a.Level) / (b.Level - a.Level)
		return of(a) + t*(of(b)-of(a))
	}
	return of(p.Points[len(p.Points)-1])
}

func (p SamplePlan) holdAt(level float64) float64 {
	return p.at(level, func(x PlanPoint) float64 { return x.Hold })
}

func (p SamplePlan) unitsAt(level float64) float64 {
	return p.at(level, func(x PlanPoint) float64 { return x.Units })
}

func (p SamplePlan) level(v float64) string { return yAxis{percent: p.Percent}.label(v) }

func (p SamplePlan) drawChances(g *pen, r rect) {
	ya := newYAxis(Linear, 100, true, r.y0, r.y1)
	p.axes(g, r, ya, "chance that the plan says hold")
	x := p.across(r)
	labels := &placer{within: r}
	var pts []point
	for _, q := range p.Points {
		pts = append(pts, point{x(q.Level), ya.y(100 * q.Hold)})
	}
	for i := 1; i < len(pts); i++ {
		labels.takeLine(pts[i-1], pts[i])
	}
	labels.take(rect{x(p.Threshold) - 1, r.y0, x(p.Threshold) + 1, r.y1})
	// What goes wrong: acting where one could hold, holding where one must act.
	safe, action := p.holdAt(p.Safe), p.holdAt(p.Action)
	for _, e := range []struct {
		kind     string
		x, y0, y float64
	}{{"needless", x(p.Safe), ya.y(100), ya.y(100 * safe)}, {"missed", x(p.Action), ya.y(100 * action), ya.y(0)}} {
		box := rect{e.x - 3, e.y0, e.x + 3, e.y}
		g.note(e.kind, box, "")
		g.fillRect(treatCol, box)
		labels.take(box)
	}
	g.note("curve", rect{pts[0].x, 0, pts[len(pts)-1].x, 0}, "hold")
	g.lines(series, 2.4, pts)
	say := func(at point, s string, f face, dirs ...float64) {
		s = f.clip(s, r.w()-12)
		w := f.width(s)
		var cands []rect
		for _, dy := range dirs {
			for _, dx := range []float64{8, -8 - w, -w / 2} {
				if left := at.x + dx; left >= r.x0+2 && left+w <= r.x1 {
					cands = append(cands, f.box(left, at.y+dy, 0, s))
				}
			}
		}
		if len(cands) == 0 {
			cands = []rect{f.box(max(r.x0+2, r.x1-w), at.y+dirs[0], 0, s)}
		}
		q := cands[labels.place(cands)]
		g.veil(q.x0, q.y1-0.22*f.size, 0, f, s)
	}
	say(point{x(p.Threshold), r.y0 + (r.y1-r.y0)*0.32}, "level "+p.level(p.Threshold), boldFace.colour(actCol), 0, 14, 28, 42)
	say(point{x(p.Safe), ya.y(50 * safe)}, "at "+p.level(p.Safe)+": "+percent(1-safe)+" act", boldFace.colour(treatCol), 0, 16, 32, -16, 48)
	say(point{x(p.Action), ya.y(100*action) - 10}, "at "+p.level(p.Action)+": "+percent(action)+" hold", boldFace.colour(treatCol), 0, -14, -28, -42)
}

func (p SamplePlan) drawUnits(g *pen, r rect) {
	high := 0.0
	for _, q := range p.Points {
		high = max(high, q.Units)
	}
	ya := newYAxis(Linear, high*1.15, false, r.y0, r.y1)
	p.axes(g, r, ya, "mean number of "+p.Units+" to look at")
	x := p.across(r)
	labels := &placer{within: r}
	var pts []point
	for _, q := range p.Points {
		pts = append(pts, point{x(q.Level), ya.y(q.Units)})
	}
	for i := 1; i < len(pts); i++ {
		labels.takeLine(pts[i-1], pts[i])
	}
	g.note("curve", rect{pts[0].x, 0, pts[len(pts)-1].x, 0}, "units")
	g.lines(series, 2.4, pts)
	for _, v := range []float64{p.Safe, p.Threshold, p.Action} {
		q := point{x(v), ya.y(p.unitsAt(v))}
		g.disc(paper, q.x, q.y, 4)
		g.disc(series, q.x, q.y, 3)
		f := boldFace.colour(series)
		s := number(tenth(p.unitsAt(v)))
		w := f.width(s)
		cands := []rect{f.box(q.x+5, q.y-6, 0, s), f.box(q.x+5, q.y+14, 0, s), f.box(q.x-5-w, q.y-6, 0, s), f.box(q.x-5-w, q.y+14, 0, s)}
		b := cands[labels.place(cands)]
		g.veil(b.x0, b.y1-0.22*f.size, 0, f, s)
	}
	step := niceStep(p.Points[len(p.Points)-1].Level, 6)
	last := -1e9
	for v := 0.0; x(v) <= r.x1+0.01; v += step {
		s := p.level(v)
		if at := x(v); at-tickFace.width(s)/2 > last {
			g.line(rule, 0.8, at, r.y1, at, r.y1+4)
			g.text(at, r.y1+15, 0.5, tickFace, s)
			last = at + tickFace.width(s)/2 + 6
		}
	}
	title := "true mean: " + p.Measure
	if p.Percent {
		title = "true percent of units: " + p.Measure
	}
	g.text((r.x0+r.x1)/2, r.y1+30, 0.5, tickFace, tickFace.clip(title, r.w()+30))
}

func tenth(v float64) float64 { return float64(int(v*10+0.5)) / 10 }

// drawLines draws the stop lines as regions. After n units the total is read
// at n; each n is a step of one unit's width.
func (p SamplePlan) drawLines(g *pen, r rect) {
	first, last := p.Lines[0].N, p.Lines[len(p.Lines)-1].N
	top := 1
	for _, l := range p.Lines {
		for _, v := range []*int{l.Hold, l.ActAt} {
			if v != nil {
				top = max(top, *v)
			}
		}
	}
	width := last
	if p.SoFar != nil {
		top, width = max(top, p.SoFar.Total), max(width, p.SoFar.Units)
	}
	ya := newYAxis(Linear, float64(top)*1.12+1, false, r.y0, r.y1)
	x := func(n float64) float64 { return r.x0 + float64((r.x1-r.x0)*(n/(float64(width)+0.5))) }
	what := "total of animals so far"
	if p.Percent {
		what = "infested " + p.Units + " so far"
	}
	g.text(planLeft-42, r.y0-9, 0, labelFace, labelFace.clip(what, r.x1-planLeft+42))
	labels := &placer{within: r}
	acts := p.steps(x, ya, func(l PlanLine) *int { return l.ActAt }, -0.5)
	holds := p.steps(x, ya, func(l PlanLine) *int { return l.Hold }, 0.5)
	region := func(kind string, fill color.NRGBA, line []point, edge float64) {
		g.note(kind, rect{line[0].x, min(edge, line[0].y), line[len(line)-1].x, max(edge, line[0].y)}, "")
		g.fill(fill, append(slices.Clone(line), point{line[len(line)-1].x, edge}, point{line[0].x, edge})...)
	}
	for _, line := range acts {
		region("act region", actFill, line, r.y0)
	}
	for _, line := range holds {
		region("hold region", holdFill, line, r.y1)
	}
	for _, v := range ya.ticks(20) {
		g.line(faint, 0.8, r.x0, ya.y(v), r.x1, ya.y(v))
		g.text(r.x0-8, tickFace.midline(ya.y(v)), 1, tickFace, ya.label(v))
	}
	if first > 1 {
		g.hatch(rect{r.x0, r.y0, x(float64(first) - 0.5), r.y1}, 7)
	}
	for _, line := range acts {
		g.lines(actCol, 2, line)
	}
	for _, line := range holds {
		g.lines(releaseCol, 2, line, 6, 2)
	}
	for _, line := range slices.Concat(acts, holds) {
		for i := 1; i < len(line); i++ {
			labels.takeLine(line[i-1], line[i])
		}
	}
	g.line(rule, 0.8, r.x0, r.y0, r.x0, r.y1)
	g.line(rule, 0.8, r.x0, r.y1, r.x1, r.y1)
	if s := p.SoFar; s != nil {
		at := point{x(float64(s.Units)), ya.y(float64(s.Total))}
		g.note("so far", around(at.x, at.y, 5), "")
		g.disc(paper, at.x, at.y, 6)
		g.disc(ink, at.x, at.y, 5)
		labels.take(around(at.x, at.y, 6))
		f := boldFace
		words := fmt.Sprintf("so far: %d on %d", s.Total, s.Units)
		var cands []rect
		for _, dy := range []float64{4, -10, 18, -24, 32} {
			cands = append(cands, f.box(at.x+9, at.y+dy, 0, words), f.box(at.x-9-f.width(words), at.y+dy, 0, words), f.box(r.x0+4, at.y+dy, 0, words))
		}
		cands = slices.DeleteFunc(cands, func(c rect) bool { return c.x0 < r.x0 || c.x1 > r.x1 || c.y1 > r.y1 || c.y0 < r.y0 })
		if len(cands) > 0 {
			b := cands[labels.place(cands)]
			g.veil(b.x0, b.y1-0.22*f.size, 0, f, words)
		}
	}
	p.nameRegions(g, r, ya, x, labels)
	step := max(1, int(niceStep(float64(width), 6)+0.5))
	for n := 0; n <= width; n += step {
		g.line(rule, 0.8, x(float64(n)), r.y1, x(float64(n)), r.y1+4)
		g.text(x(float64(n)), r.y1+15, 0.5, tickFace, strconv.Itoa(n))
	}
	g.text((r.x0+r.x1)/2, r.y1+30, 0.5, tickFace, tickFace.clip(p.Units+" looked at", r.w()))
}

// steps are the runs of rows that have a total, as stairs; away moves them
// between two totals.
func (p SamplePlan) steps(x func(float64) float64, ya yAxis, total func(PlanLine) *int, away float64) [][]point {
	var out [][]point
	open := false
	for i, l := range p.Lines {
		v := total(l)
		if v == nil {
			open = false
			continue
		}
		if !open {
			out, open = append(out, nil), true
		}
		x1 := x(float64(l.N) + 0.5)
		if i+1 < len(p.Lines) { // a row holds until the next
			x1 = x(float64(p.Lines[i+1].N) - 0.5)
		}
		y := ya.y(float64(*v) + away)
		out[len(out)-1] = append(out[len(out)-1], point{x(float64(l.N) - 0.5), y}, point{x1, y})
	}
	return out
}

// nameRegions writes what to do in the regions, with the totals of the last
// line.
func (p SamplePlan) nameRegions(g *pen, r rect, ya yAxis, x func(float64) float64, labels *placer) {
	say := func(words string, f face, ys ...float64) {
		words = f.clip(words, r.w()-8)
		w := f.width(words)
		var cands []rect
		for _, y := range ys {
			cands = append(cands, f.box(r.x1-4-w, y, 0, words), f.box(r.x1-4-w, y+14, 0, words), f.box(r.x1-4-w, y-14, 0, words))
		}
		cands = slices.DeleteFunc(cands, func(c rect) bool { return c.y1 > r.y1 || c.y0 < r.y0 })
		if len(cands) == 0 {
			return
		}
		b := cands[labels.place(cands)]
		g.veil(b.x0, b.y1-0.22*f.size, 0, f, words)
	}
	last := p.Lines[len(p.Lines)-1]
	// Above the upper stairs all acts, and at the foot of the last row all holds.
	if l := last.ActAt; l != nil {
		say(fmt.Sprintf("act: %d or more on %d", *l, last.N), boldFace.colour(actCol), r.y0+13)
	}
	if l := last.Hold; l != nil {
		say(fmt.Sprintf("hold: %d or fewer on %d", *l, last.N), boldFace.colour(releaseCol), r.y1-8)
	}
	if len(p.Lines) > 2 {
		mid := p.Lines[len(p.Lines)/2]
		if mid.Hold != nil && mid.ActAt != nil {
			y := smallFace.midline((ya.y(float64(*mid.Hold)) + ya.y(float64(*mid.ActAt))) / 2)
			f := labelFace
			w := f.width("go on")
			at := x(float64(mid.N))
			b := []rect{f.box(at-w/2, y, 0, "go on"), f.box(at-w, y, 0, "go on"), f.box(at, y, 0, "go on")}
			q := b[labels.place(b)]
			g.veil(q.x0, q.y1-0.22*f.size, 0, f, "go on")
		}
	}
	if first := p.Lines[0].N; first > 1 {
		words := fmt.Sprintf("fewer than %d: no verdict", first)
		f := smallFace
		if room := x(float64(first)-0.5) - r.x0 - 8; f.width(words) > room {
			words = "too few"
			if f.width(words) > room {
				return
			}
		}
		at := (r.x0 + x(float64(first)-0.5)) / 2
		var b []rect
		for i := range 6 {
			b = append(b, f.box(at, r.y1-10-float64(i)*26, 0.5, words))
		}
		q := b[labels.place(b)]
		g.halo(q.x0, q.y1-0.22*f.size, 0, f, words)
	}
}

func (p SamplePlan) title() string {
	s := "How many " + orElse(p.Units, "units") + " to look at: " + orElse(p.Pest, "pest")
	if p.Place != "" {
		s += " in " + p.Place
	}
	return s
}

func (p SamplePlan) lead() string {
	if len(p.Lines) == 0 || len(p.Points) == 0 {
		return ""
	}
	return fmt.Sprintf("In %s: a bed with %s is acted on needlessly in %s of cases and takes %s %s on average; one with %s is held by mistake in %s and takes %s. At the level of %s itself it takes %s.",
		orElse(p.Measure, "animals per unit"), p.level(p.Safe), percent(1-p.holdAt(p.Safe)), number(tenth(p.unitsAt(p.Safe))), p.Units,
		p.level(p.Action), percent(p.holdAt(p.Action)), number(tenth(p.unitsAt(p.Action))), p.level(p.Threshold), number(tenth(p.unitsAt(p.Threshold))))
}

// lineWords say what to do after some units.
func (p SamplePlan) lineWords(l PlanLine) string {
	var out []string
	if l.Hold != nil {
		out = append(out, fmt.Sprintf("hold at %d or fewer", *l.Hold))
	}
	if l.ActAt != nil {
		out = append(out, fmt.Sprintf("act at %d or more", *l.ActAt))
	}
	return fmt.Sprintf("after %d %s %s", l.N, p.Units, list(out, 2))
}

// Alt says what the picture shows, and what to do next.
func (p SamplePlan) Alt() string {
	if len(p.Lines) == 0 {
		return "Sampling plan: no lines."
	}
	out := []string{p.title() + ".", p.lead()}
	last := len(p.Lines) - 1
	lines := []string{p.lineWords(p.Lines[last])}
	if last > 0 {
		lines = append([]string{p.lineWords(p.Lines[0])}, lines...)
	}
	out = append(out, "Stop lines: "+strings.Join(lines, "; ")+".")
	if p.SoFar != nil {
		out = append(out, fmt.Sprintf("So far %d on %d.", p.SoFar.Total, p.SoFar.Units))
	}
	if p.Next != "" {
		out = append(out, "Next: "+p.Next)
	}
	return strings.Join(out, " ")
}
