package plots

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/civil"

	"gonum.org/v1/plot/vg"
)

// Verdict is the last verdict on a pest in a bed. The named ones have their
// own shape; any other word is printed as it is.
type Verdict string

// The verdicts with a shape of their own.
const (
	Act          Verdict = "act"        // filled label
	LookAgain    Verdict = "look again" // framed label
	Hold         Verdict = "hold"       // word alone
	Stale        Verdict = "stale"      // dashed frame
	NeverCounted Verdict = "never counted"
	NoVerdict    Verdict = ""
)

// Cell is one pest in one column.
type Cell struct {
	Visits  []Visit
	Act     []Segment
	Watch   []Segment
	Verdict Verdict
	Next    string // what to do next in a few words, such as "count by 27 Jul"
	Over    bool   // the plants are dug: there is no verdict and no count any more
}

// Row is one pest of an Overview; it has its own y axis.
type Row struct {
	Pest    string // such as "slugs"
	Measure string // such as "slugs per trap"
	Percent bool
	Scale   Scale
	Cells   []Cell // one per column
}

// Overview shows all pests (rows) in all beds or blocks (columns) over the
// season as small multiples: visit means with their 95 % intervals, action and
// watch level, and the last verdict as a word with its own shape. All cells
// share the date axis and the cells of a row their y axis. A cell without
// visits is hatched and says "not counted". Under the cells stands what is to
// be done next.
type Overview struct {
	Title    string // "" is "Season overview" with the year
	Column   string // what a column is; "" is "bed"
	Columns  []string
	Rows     []Row
	From, To civil.Date // season to show; widened to hold all visits
	AsOf     civil.Date
	Source   string
	Todo     []Todo
	// PerPage is the number of columns that Pages puts on a page, at most
	// MaxColumns; 0 is 12, which can be read when printed on A4 or letter paper.
	// RowsPerPage is that of rows; 0 is MaxRows.
	PerPage, RowsPerPage int
	// Wide is the width of a page in points, to which Pages and Packed keep; 0
	// is that of a screen.
	Wide      float64
	Uncounted []string // pests that are watched and were counted in no column

	sorted bool // by ByNeed
	// Set by Pages.
	pageNote  string
	reach     []float64
	uncounted []string // rows without a visit in these columns
	part      bool     // cells of other pages are left empty
}

// MaxColumns and MaxRows are the most cells of one Overview; see Pages.
const (
	MaxColumns = 24
	MaxRows    = 12
)

const (
	overviewLeft = 152 // row names and y ticks
	cellGap      = 8
	cellHeight   = 76.0
	cellOnPaper  = 66.0
	verdictStrip = 16
	columnHead   = 20
	nextStrip    = 17
	leastCell    = 62.0
	widestCell   = 240.0
)

// Pages parts the overview into pages of at most PerPage columns and MaxRows
// rows, as even as they come, with the same axes. The order is by columns; a row
// without a visit in a page's columns is named in words.
func (o Overview) Pages() []Overview {
	perPage := MaxColumns / 2
	if o.PerPage > 0 {
		perPage = min(o.PerPage, MaxColumns)
	}
	if o.Wide > 0 {
		perPage = max(1, min(perPage, int((o.Wide-overviewLeft-20+cellGap)/(leastCell+cellGap))))
	}
	rows := MaxRows
	if o.RowsPerPage > 0 {
		rows = min(o.RowsPerPage, MaxRows)
	}
	nc := pageCount(len(o.Columns), perPage)
	if nc*pageCount(len(o.Rows), rows) <= 1 {
		return []Overview{o}
	}
	s := o.span()
	o.From, o.To = s.from, s.to
	o.reach = o.reaches()
	var out []Overview
	for j := range nc {
		c0, c1 := j*len(o.Columns)/nc, (j+1)*len(o.Columns)/nc
		shown, uncounted := o.countedRows(c0, c1)
		nr := pageCount(len(shown), rows)
		for i := range nr {
			q := o
			q.Columns, q.Rows, q.reach = o.Columns[c0:c1], nil, nil
			for _, k := range shown[i*len(shown)/nr : (i+1)*len(shown)/nr] {
				r := o.Rows[k]
				r.Cells = r.Cells[min(c0, len(r.Cells)):min(c1, len(r.Cells))]
				q.Rows, q.reach = append(q.Rows, r), append(q.reach, o.reach[k])
			}
			q.Todo = todoFor(o.Todo, q.pests(), q.Columns)
			if i == nr-1 {
				q.uncounted = uncounted
			}
			out = append(out, q)
		}
	}
	for i := range out {
		q := &out[i]
		q.pageNote = fmt.Sprintf(", page %d of %d", i+1, len(out))
		if !o.sorted {
			q.pageNote += fmt.Sprintf(": %ss %s to %s", o.column(), q.Columns[0], q.Columns[len(q.Columns)-1])
		}
	}
	return out
}

// countedRows are the rows that have a visit in some columns, and the names of
// those that have none: a page says these in words. Where no row has one, all
// are shown.
func (o Overview) countedRows(c0, c1 int) (shown []int, uncounted []string) {
	for k, r := range o.Rows {
		n := len(r.Cells)
		if slices.ContainsFunc(r.Cells[min(c0, n):min(c1, n)], func(c Cell) bool { return len(c.Visits) > 0 }) {
			shown = append(shown, k)
		} else {
			uncounted = append(uncounted, r.Pest)
		}
	}
	if len(shown) > 0 {
		return shown, uncounted
	}
	for k := range o.Rows {
		shown = append(shown, k)
	}
	return shown, nil
}

// uncountedWords names the rows that a page leaves out.
func (o Overview) uncountedWords() string {
	if len(o.uncounted) == 0 {
		return ""
	}
	return fmt.Sprintf(" Not counted in these %ss: %s.", o.column(), strings.Join(o.uncounted, ", "))
}

func pageCount(n, perPage int) int { return max(1, (n+perPage-1)/perPage) }

func (o Overview) column() string { return orElse(o.Column, "bed") }

// Check returns why the overview cannot be drawn, or nil.
func (o Overview) Check() error {
	if len(o.Columns) > MaxColumns || len(o.Rows) > MaxRows {
		return fmt.Errorf("%d columns and %d rows: %w; draw the Pages, up to %d by %d each",
			len(o.Columns), len(o.Rows), ErrTooMany, MaxColumns, MaxRows)
	}
	visits := 0
	for _, r := range o.Rows {
		if len(r.Cells) != len(o.Columns) {
			return bad("%s: %d cells for %d columns", r.Pest, len(r.Cells), len(o.Columns))
		}
		if !r.Scale.ok() {
			return bad("%s: scale %q", r.Pest, r.Scale)
		}
		for i, c := range r.Cells {
			where := fmt.Sprintf("%s in %s %s", r.Pest, o.column(), o.Columns[i])
			visits += len(c.Visits)
			if err := checkVisits(where, c.Visits, r.Percent); err != nil {
				return err
			}
			if err := checkSegments(where, "action", c.Act); err != nil {
				return err
			}
			if err := checkSegments(where, "watch", c.Watch); err != nil {
				return err
			}
		}
	}
	// On a page of a paged overview every cell may be an uncounted one.
	if len(o.Columns) == 0 || len(o.Rows) == 0 || visits == 0 && o.pageNote == "" {
		return fmt.Errorf("season overview: %w", ErrNoData)
	}
	return o.span().check()
}

func (o Overview) span() span {
	var s span
	for _, r := range o.Rows {
		for _, c := range r.Cells {
			for _, v := range c.Visits {
				s.add(v.Date)
			}
		}
	}
	if o.pageNote == "" {
		s = s.padded()
	}
	s.add(o.From, o.To)
	return s
}

// reaches returns what the y axis of each row must show. Single units are not
// drawn here, so they do not stretch it.
func (o Overview) reaches() []float64 {
	out := make([]float64, len(o.Rows))
	for i, r := range o.Rows {
		if i < len(o.reach) {
			out[i] = o.reach[i]
			continue
		}
		for _, c := range r.Cells {
			vs := slices.Clone(c.Visits)
			for k := range vs {
				vs[k].Counts = nil
			}
			out[i] = max(out[i], reach(vs, c.Act, c.Watch))
		}
	}
	return out
}

func (o Overview) cellWidth() float64 {
	room := 700.0
	if o.Wide > 0 {
		room = o.Wide - overviewLeft - 20 + cellGap
	}
	return min(max(room/float64(max(1, len(o.Columns)))-cellGap, leastCell), widestCell)
}

type overviewSheet struct {
	title, lead  []string
	width        float64
	cellW        float64
	top          float64 // of the first row of cells
	axisY        float64
	todoY        float64
	todo         []string
	entries      []keyEntry
	keyPositions []point
	foot, height float64
	sources      []string
}

// cellHigh is the height of a cell without its foot.
func (o Overview) cellHigh() float64 {
	if o.Wide > 0 {
		return cellOnPaper
	}
	return cellHeight
}

// rowHeight is the height of a cell: with a strip for the next step where some
// cell has one.
func (o Overview) rowHeight() float64 {
	for _, r := range o.Rows {
		if slices.ContainsFunc(r.Cells, func(c Cell) bool { return c.foot() != "" }) {
			return o.cellHigh() + nextStrip
		}
	}
	return o.cellHigh()
}

func (o Overview) layout() overviewSheet {
	cellW := o.cellWidth()
	width := max(overviewLeft+float64(len(o.Columns))*(cellW+cellGap)-cellGap+20, 560)
	notes := ""
	if o.sorted {
		notes = " " + needWords(o.column())
	}
	return o.sheet(width, cellW, columnHead, len(o.Rows), o.rowHeight()+cellGap, notes+o.uncountedWords())
}

// sheet places the parts of a picture with so many lines of cells, step points
// apart, and head points for the names of the columns above them.
func (o Overview) sheet(width, cellW, head float64, lines int, step float64, notes string) overviewSheet {
	s := overviewSheet{width: width, cellW: cellW}
	inner := s.width - 40
	s.title = titleFace.wrap(orElse(o.Title, fmt.Sprint("Season overview ", o.span().to.Year))+o.pageNote, inner, 2)
	s.lead = leadFace.wrap(o.lead(), inner, 3)
	s.top = headHeight(s.title, s.lead) + head
	s.axisY = s.top + float64(lines)*step - cellGap + 2
	y := s.axisY + monthAxisHeight + 6
	s.entries = o.keyEntries()
	s.keyPositions, y = flow(s.entries, 20, s.width-20, y)
	s.todoY = y + 8
	s.todo = todoLines(o.Todo, true, inner)
	s.foot = s.todoY + todoHeight(s.todo) + 4
	notes = fmt.Sprintf("Each row has its own scale. Lines join valid visits up to %d days apart.", maxGapDays) + notes
	if len(o.Uncounted) > 0 {
		notes += fmt.Sprintf(" Counted in no %s: %s.", o.column(), strings.Join(o.Uncounted, ", "))
	}
	s.sources = noteFace.wrap(sourceLine(o.AsOf, o.Source, notes), inner, 6)
	s.height = s.foot + float64(len(s.sources))*sizeSmall*lineStep + 10
	return s
}

// Size returns the width and height in points.
func (o Overview) Size() (width, height float64) {
	s := o.layout()
	return s.width, s.height
}

// Draw draws the overview; see Figure.
func (o Overview) Draw(c vg.Canvas) error { return drawOn(c, o) }

func (o Overview) draw(g *pen) {
	s := o.layout()
	drawHead(g, s.title, s.lead)
	sp, reaches := o.span(), o.reaches()
	for j, name := range o.Columns {
		x := overviewLeft + float64(j)*(s.cellW+cellGap)
		if len(o.Columns) <= 12 && strings.EqualFold(o.column(), "bed") {
			name = "Bed " + name
		}
		g.text(x+s.cellW/2, s.top-7, 0.5, headFace, headFace.clip(name, s.cellW+cellGap-4))
	}
	for i, r := range o.Rows {
		y := s.top + float64(i)*(o.rowHeight()+cellGap)
		ya := newYAxis(r.Scale, reaches[i], r.Percent, y+verdictStrip, y+o.cellHigh()-3)
		o.drawRowName(g, r, y)
		o.drawTicks(g, ya)
		for j, c := range r.Cells {
			x := overviewLeft + float64(j)*(s.cellW+cellGap)
			box := rect{x, y, x + s.cellW, y + o.rowHeight()}
			drawCell(g, c, box, xAxis{sp.from, sp.to, x + 2, x + s.cellW - 2}, ya)
		}
	}
	for j := range o.Columns {
		x := overviewLeft + float64(j)*(s.cellW+cellGap)
		xAxis{sp.from, sp.to, x + 2, x + s.cellW - 2}.drawMonths(g, s.axisY, true)
	}
	for i, e := range s.entries {
		e.draw(g, s.keyPositions[i])
	}
	drawTodo(g, 20, s.todoY, s.todo)
	drawLines(g, 20, s.foot+sizeSmall, noteFace, s.sources)
}

// pests are the names of the rows.
func (o Overview) pests() []string {
	var out []string
	for _, r := range o.Rows {
		out = append(out, r.Pest)
	}
	return out
}

// drawRowName writes the pest and its measure.
func (o Overview) drawRowName(g *pen, r Row, y float64) {
	const w = overviewLeft - 20 - 40
	name := headFace.wrap(upperFirst(r.Pest), w, 2)
	drawLines(g, 20, y+12, headFace, name)
	below := float64(len(name)-1) * sizeHead * lineStep
	measure := measureWords(r.Measure, r.Percent)
	drawLines(g, 20, y+26+below, smallFace, smallFace.wrap(measure+r.Scale.words(), w, 5-max(1, len(name))))
}

// drawTicks writes the values of a line of cells at its left.
func (o Overview) drawTicks(g *pen, ya yAxis) {
	for _, v := range ya.ticks(15) {
		g.line(rule, 0.8, overviewLeft-4, ya.y(v), overviewLeft, ya.y(v))
		g.text(overviewLeft-6, tickFace.midline(ya.y(v)), 1, tickFace, ya.label(v))
	}
}

func (o Overview) keyEntries() []keyEntry {
	var valid, invalid, interval, act, watch bool
	for _, r := range o.Rows {
		for _, c := range r.Cells {
			act, watch = act || len(c.Act) > 0, watch || len(c.Watch) > 0
			for _, v := range c.Visits {
				valid = valid || v.Invalid == ""
				invalid = invalid || v.Invalid != ""
				interval = interval || v.Interval != nil && v.Invalid == ""
			}
		}
	}
	out := visitKey("mean of a visit", valid, invalid, interval, false)
	if act {
		out = append(out, keyEntry{"action level", 24, func(g *pen, r rect) {
			g.line(actCol, 1.9, r.x0, (r.y0+r.y1)/2, r.x1, (r.y0+r.y1)/2)
		}})
	}
	if watch {
		out = append(out, keyEntry{"watch level", 24, func(g *pen, r rect) {
			g.line(watchCol, 1.3, r.x0, (r.y0+r.y1)/2, r.x1, (r.y0+r.y1)/2, 5, 3)
		}})
	}
	return out
}
