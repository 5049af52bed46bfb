package plots

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/civil"

	"gonum.org/v1/plot/vg"
)

// Panel is one bed of a Pressure picture.
type Panel struct {
	Bed    string
	Visits []Visit
	Act    []Segment // the action level through the season
	Watch  []Segment // the watch level through the season

	Treatments, Releases []Event
	Stages               []StageSpan

	Verdict Verdict // the last one
	Next    string  // what to do next, in sentences
}

// Pressure shows one pest over the season in one bed or several, one panel
// per bed: every visit's mean with its 95 % interval, the single units where
// given, the action and watch levels, treatments, releases and growth stages.
// Panels share both axes.
//
// The line and the ribbon join valid visits at most 21 days apart; they say
// nothing of the days between. Upper ends of intervals beyond 2.5 times
// everything else are cut, with an arrow.
type Pressure struct {
	Pest     string     // such as "slugs"
	Measure  string     // what a value is: "slugs per trap", "leaves with mites"
	Percent  bool       // values are percent of units infested, 0-100
	Scale    Scale      // layout of the y axis
	From, To civil.Date // season to show; widened to hold all visits and events
	AsOf     civil.Date // date of the source line
	Source   string     // what was counted, for the source line
	Wide     float64    // width in points; 0 is that of a screen
	Panels   []Panel

	// Set by Pages, so that pages share their axes.
	pageNote string
	reach    float64
}

// MaxPanels is the number of panels of one Pressure picture; see Pages.
const MaxPanels = 6

const (
	pressureWidth = 780
	plotLeft      = 66
	plotRight     = pressureWidth - 22
	laneHeight    = 16
	stageHeight   = 18
	plotFoot      = 6  // air for marks at 0
	nextLine      = 18 // of what to do next
)

// Pages parts the picture into pages of at most MaxPanels panels, with the
// same axes.
func (p Pressure) Pages() []Pressure {
	if len(p.Panels) <= MaxPanels {
		return []Pressure{p}
	}
	s := p.span()
	p.From, p.To, p.reach = s.from, s.to, p.yReach()
	n := (len(p.Panels) + MaxPanels - 1) / MaxPanels
	var out []Pressure
	for part := range slices.Chunk(p.Panels, MaxPanels) {
		q := p
		q.Panels = part
		q.pageNote = fmt.Sprintf(" (page %d of %d)", len(out)+1, n)
		out = append(out, q)
	}
	return out
}

// Check returns why the picture cannot be drawn, or nil.
func (p Pressure) Check() error {
	if len(p.Panels) > MaxPanels {
		return fmt.Errorf("%d beds: %w; draw the Pages, %d beds each", len(p.Panels), ErrTooMany, MaxPanels)
	}
	if !p.Scale.ok() {
		return bad("scale %q", p.Scale)
	}
	visits := 0
	for _, b := range p.Panels {
		where := "bed " + b.Bed
		visits += len(b.Visits)
		if err := checkVisits(where, b.Visits, p.Percent); err != nil {
			return err
		}
		if err := checkSegments(where, "action", b.Act); err != nil {
			return err
		}
		if err := checkSegments(where, "watch", b.Watch); err != nil {
			return err
		}
		for _, e := range slices.Concat(b.Treatments, b.Releases) {
			if e.Date.IsZero() {
				return bad("%s: %q has no date", where, e.Label)
			}
		}
		for _, s := range b.Stages {
			if s.From.IsZero() || !s.To.IsZero() && s.To.Before(s.From) {
				return bad("%s: the stage %q needs a first day, and a last day not before it", where, s.Label)
			}
		}
	}
	// On a later page of a paged picture every bed may be an uncounted one.
	if visits == 0 && p.pageNote == "" {
		return fmt.Errorf("%s: %w", orElse(p.Pest, "this pest"), ErrNoData)
	}
	return p.span().check()
}

func (p Pressure) span() span {
	var s span
	for _, b := range p.Panels {
		for _, v := range b.Visits {
			s.add(v.Date)
		}
		for _, e := range slices.Concat(b.Treatments, b.Releases) {
			s.add(e.Date)
		}
	}
	s = s.padded()
	s.add(p.From, p.To)
	return s
}

func (p Pressure) yReach() float64 {
	r := p.reach
	for _, b := range p.Panels {
		r = max(r, reach(b.Visits, b.Act, b.Watch))
	}
	return r
}

func (p Pressure) plotHeight() float64 {
	switch n := len(p.Panels); {
	case p.Wide > 0 && n <= 2: // a page of paper holds three panels
		return 140
	case p.Wide > 0:
		return 92
	case n <= 1:
		return 270
	case n <= 3:
		return 165
	}
	return 125
}

// sheet is the layout: where the blocks begin, counted from the top.
type sheet struct {
	title, lead  []string
	panels       []panelBox
	foot         float64
	sources      []string
	height       float64
	axis         xAxis
	entries      []keyEntry
	keyPositions []point
}

type panelBox struct {
	head  float64 // baseline of the panel's name
	todo  float64 // baseline of what to do next
	step  []string
	lanes []lane
	plot  rect
	next  float64
}

// right is where the plots end.
func (p Pressure) right() float64 {
	if p.Wide > 0 {
		return p.Wide - (pressureWidth - plotRight)
	}
	return plotRight
}

func (p Pressure) layout() sheet {
	var s sheet
	sp := p.span()
	s.axis = xAxis{sp.from, sp.to, plotLeft, p.right()}
	inner := p.right() - 20
	s.title = titleFace.wrap(p.title(), inner, 2)
	s.lead = leadFace.wrap(p.lead(), inner, 3)
	y := headHeight(s.title, s.lead)
	for i, b := range p.Panels {
		box := panelBox{head: y + 12, lanes: laneOut(s.axis, b.Treatments, b.Releases, nil)}
		if b.Next != "" {
			box.todo = y + 12 + nextLine
			box.step = labelFace.wrap(b.Next, p.right()-20-verdictRoom(b.Verdict), 3)
			y += nextLine + float64(len(box.step)-1)*sizeLabel*lineStep
		}
		y += 23 + float64(laneHeight*len(box.lanes))
		box.plot = rect{plotLeft, y, p.right(), y + p.plotHeight()}
		y = box.plot.y1 + plotFoot
		if len(b.Stages) > 0 {
			y += stageHeight + 2
		}
		if i == len(p.Panels)-1 {
			y += dateAxisHeight
		}
		y += 12
		box.next = y
		s.panels = append(s.panels, box)
	}
	s.entries = p.keyEntries()
	s.keyPositions, y = flow(s.entries, 20, p.right(), y+6)
	s.foot = y + 6
	s.sources = noteFace.wrap(sourceLine(p.AsOf, p.Source, p.notes()), inner, 4)
	s.height = s.foot + float64(len(s.sources))*sizeSmall*lineStep + 10
	return s
}

// notes says what the reader must know of how the picture was made.
func (p Pressure) notes() string {
	s := ""
	if p.cut() {
		s = "An arrow at the top: the interval goes on. "
	}
	if p.lumped() {
		s += "One light dot for each different count. "
	}
	var strips [][]StageSpan
	for _, b := range p.Panels {
		strips = append(strips, b.Stages)
	}
	sp := p.span()
	return strings.TrimSpace(s + fmt.Sprintf("Lines join valid visits up to %d days apart. ", maxGapDays) + narrowStages(xAxis{sp.from, sp.to, plotLeft, p.right()}, strips...))
}

// lumped reports whether there are so many units that equal counts of one
// visit are drawn as one dot.
func (p Pressure) lumped() bool {
	n := 0
	for _, b := range p.Panels {
		for _, v := range b.Visits {
			n += len(v.Counts)
		}
	}
	return n > 3000
}

func (p Pressure) yAxis(r rect) yAxis {
	return newYAxis(p.Scale, p.yReach(), p.Percent, r.y0, r.y1)
}

func (p Pressure) cut() bool {
	top := p.yAxis(rect{0, 0, 1, 1}).max
	for _, b := range p.Panels {
		for _, v := range b.Visits {
			if v.Interval != nil && v.Invalid == "" && v.Interval.High > top {
				return true
			}
		}
	}
	return false
}

// Size returns the width and height in points.
func (p Pressure) Size() (width, height float64) {
	return p.right() + pressureWidth - plotRight, p.layout().height
}

// Draw draws the picture; see Figure.
func (p Pressure) Draw(c vg.Canvas) error { return drawOn(c, p) }

func (p Pressure) draw(g *pen) {
	s := p.layout()
	drawHead(g, s.title, s.lead)
	for i, b := range p.Panels {
		p.drawPanel(g, s, b, s.panels[i], i == len(p.Panels)-1)
	}
	for i, e := range s.entries {
		e.draw(g, s.keyPositions[i])
	}
	drawLines(g, 20, s.foot+sizeSmall, noteFace, s.sources)
}

func (p Pressure) drawPanel(g *pen, s sheet, b Panel, box panelBox, last bool) {
	r, axis := box.plot, s.axis
	ya := p.yAxis(r)
	name := headFace.clip("Bed "+b.Bed, 240)
	g.text(20, box.head, 0, headFace, name)
	unit := measureWords(p.Measure, p.Percent)
	x := 20 + headFace.width(name) + 12
	g.text(x, box.head, 0, labelFace, labelFace.clip(unit+p.Scale.words(), p.right()-x))

	if b.Next != "" {
		v := drawVerdict(g, b.Verdict, 20, box.todo-11)
		drawLines(g, v, box.todo, labelFace, box.step)
	}
	if len(b.Visits) == 0 {
		g.hatch(r, 9)
	}
	axis.grid(g, r.y0, r.y1)
	drawValues(g, ya, r, true)

	labels := &placer{within: r}
	drawLanes(g, axis, box.lanes, r, labels)
	visits := byDate(b.Visits)
	drawRibbon(g, axis, ya, visits, false)
	drawUnits(g, axis, ya, visits, labels, p.lumped())
	// Words on the levels come before the data, so that they hide none of it.
	takeVisits(axis, ya, visits, labels)
	labelLevels(g, axis, ya, b.Act, b.Watch, labels)
	drawLevel(g, axis, ya, b.Watch, false, 1.3)
	drawLevel(g, axis, ya, b.Act, true, 1.9)
	drawBars(g, axis, ya, visits)
	drawMeans(g, axis, ya, visits, 1.4)
	for _, v := range visits {
		drawVisit(g, axis.x(v.Date), ya.y(v.Mean), 4, v.Invalid == "")
	}
	if len(b.Visits) == 0 {
		g.halo((r.x0+r.x1)/2, (r.y0+r.y1)/2, 0.5, labelFace, "not counted")
	}
	p.labelVisits(g, axis, ya, visits, labels)

	y := r.y1 + plotFoot
	if len(b.Stages) > 0 {
		drawStages(g, axis, b.Stages, y)
		y += stageHeight + 2
	}
	if last {
		axis.draw(g, y)
	}
}
