package plots

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"
)

// Packed is an Overview of which most cells were not counted: only those that
// were are drawn, each with the name of its column, beside each other, as many
// lines to a pest as it needs. How many columns were counted is said in words.
type Packed struct {
	o     Overview
	lines []packedLine
	notes string
	per   int  // cells in a line
	above bool // the names stand above the cells, as one is too long to stand in it
}

// packedLine is a line of cells of one pest.
type packedLine struct {
	row   int
	cells []int
	reach float64
}

const (
	packedWidth = 780.0
	packedCell  = 74.0 // least width of a cell with its name beside its verdict
	packedLines = 8
	packedName  = 15.0 // of a name above its cell
)

// Sparse reports whether fewer than three in five cells were counted: such an
// overview is better drawn Packed.
func (o Overview) Sparse() bool {
	counted, all := 0, 0
	for _, r := range o.Rows {
		all += len(r.Cells)
		for _, c := range r.Cells {
			if len(c.Visits) > 0 {
				counted++
			}
		}
	}
	return counted > 0 && 5*counted < 3*all
}

// Packed parts the cells that were counted into pages of lines, at most
// RowsPerPage of them where that is given. In each pest the most pressing come
// first.
func (o Overview) Packed() []Packed {
	if s := o.span(); !s.from.IsZero() {
		o.From, o.To = s.from, s.to
	}
	width := packedWidth
	if o.Wide > 0 {
		width = o.Wide
	}
	per := max(1, int((width-overviewLeft-20+cellGap)/(packedCell+cellGap)))
	var lines []packedLine
	for i, r := range o.Rows {
		var counted []int
		for j, c := range r.Cells {
			if len(c.Visits) > 0 {
				counted = append(counted, j)
			}
		}
		slices.SortStableFunc(counted, func(x, y int) int {
			return cmp.Compare(pressing(r.Cells[x].Verdict), pressing(r.Cells[y].Verdict))
		})
		for part := range slices.Chunk(counted, per) {
			lines = append(lines, packedLine{i, part, o.reaches()[i]})
		}
	}
	if len(lines) == 0 {
		return []Packed{{o: o, per: per}}
	}
	n := packedLines
	if o.RowsPerPage > 0 {
		n = o.RowsPerPage
	}
	cellW := (width-overviewLeft-20+cellGap)/float64(per) - cellGap
	above := false
	for _, l := range lines {
		for _, j := range l.cells {
			above = above || boldFace.width(legible(o.Columns[j])) > nameRoom(cellW, o.Rows[l.row].Cells[j].Verdict)
		}
	}
	if above {
		n = max(1, n-1)
	}
	notes := " Drawn is what was counted, the most pressing first: " + o.countedWords() + "."
	pages := pageCount(len(lines), n)
	var out []Packed
	for k := range pages {
		p := Packed{o: o, lines: lines[k*len(lines)/pages : (k+1)*len(lines)/pages], notes: notes, per: per, above: above}
		p.o.part = true
		if pages > 1 {
			p.o.pageNote = fmt.Sprintf(", page %d of %d", k+1, pages)
		}
		p.keep()
		out = append(out, p)
	}
	return out
}

// nameRoom is the room for a name beside a verdict.
func nameRoom(cell float64, v Verdict) float64 {
	room := cell - 10
	if v != NoVerdict {
		room -= verdictFace(v).width(string(v)) + 9
	}
	return room
}

// keep leaves of the overview what stands on the page.
func (p *Packed) keep() {
	var rows []Row
	for i, r := range p.o.Rows {
		cells := make([]Cell, len(r.Cells))
		shown := false
		for _, l := range p.lines {
			if l.row == i {
				shown = true
				for _, j := range l.cells {
					cells[j] = r.Cells[j]
				}
			}
		}
		if !shown {
			continue
		}
		for k := range p.lines {
			if p.lines[k].row == i {
				p.lines[k].row = len(rows)
			}
		}
		r.Cells = cells
		rows = append(rows, r)
	}
	var todo []Todo
	for _, t := range p.o.Todo { // in their order
		for _, r := range rows {
			todo = append(todo, todoFor([]Todo{t}, []string{r.Pest}, counted(r, p.o.Columns))...)
		}
	}
	p.o.Rows, p.o.Todo = rows, todo
}

// counted are the columns in which a row was counted.
func counted(r Row, columns []string) []string {
	var out []string
	for j, c := range r.Cells {
		if len(c.Visits) > 0 {
			out = append(out, columns[j])
		}
	}
	return out
}

// pressing puts verdicts in the order in which they want to be read.
func pressing(v Verdict) int {
	i := slices.Index([]Verdict{Act, LookAgain, Stale, NeverCounted}, v)
	if i < 0 {
		return 4
	}
	return i
}

// countedWords say in how many columns each pest was counted, and which column
// had no count at all.
func (o Overview) countedWords() string {
	var out, blank []string
	for _, r := range o.Rows {
		out = append(out, fmt.Sprintf("%s in %d", r.Pest, len(counted(r, o.Columns))))
	}
	for j, name := range o.Columns {
		if !slices.ContainsFunc(o.Rows, func(r Row) bool { return len(r.Cells[j].Visits) > 0 }) {
			blank = append(blank, name)
		}
	}
	s := strings.Join(out, ", ") + fmt.Sprintf(" of %s", plural(len(o.Columns), o.column(), o.column()+"s"))
	if len(blank) > 0 {
		s += "; no pest in " + list(blank, mostBeds)
	}
	return s
}

// Check returns why the picture cannot be drawn, or nil.
func (p Packed) Check() error {
	if len(p.lines) == 0 {
		return fmt.Errorf("season overview: %w", ErrNoData)
	}
	q := p.o
	for len(q.Columns) > MaxColumns { // there is no limit here
		q.Columns = q.Columns[:MaxColumns]
		q.Rows = slices.Clone(q.Rows)
		for i := range q.Rows {
			q.Rows[i].Cells = q.Rows[i].Cells[:MaxColumns]
		}
	}
	return q.Check()
}

func (p Packed) layout() overviewSheet {
	width := packedWidth
	if p.o.Wide > 0 {
		width = p.o.Wide
	}
	cellW := (width-overviewLeft-20+cellGap)/float64(p.per) - cellGap
	return p.o.sheet(width, cellW, 4+p.over(), len(p.lines), p.step(), p.notes)
}

// over is the room above a cell, and step from line to line.
func (p Packed) over() float64 {
	if p.above {
		return packedName
	}
	return 0
}

func (p Packed) step() float64 { return p.o.rowHeight() + cellGap + p.over() }

// Size returns the width and height in points.
func (p Packed) Size() (width, height float64) {
	s := p.layout()
	return s.width, s.height
}

// Alt says what the picture shows, and what to do next.
func (p Packed) Alt() string { return p.o.Alt() }

// Draw draws the picture; see Figure.
func (p Packed) Draw(c vg.Canvas) error { return drawOn(c, p) }

func (p Packed) draw(g *pen) {
	s := p.layout()
	drawHead(g, s.title, s.lead)
	sp := p.o.span()
	low := make([]float64, p.per) // the foot of the last cell in each column
	axis := func(k int) xAxis {
		x := overviewLeft + float64(k)*(s.cellW+cellGap)
		return xAxis{sp.from, sp.to, x + 2, x + s.cellW - 2}
	}
	for i, l := range p.lines {
		y := s.top + float64(i)*p.step()
		r := p.o.Rows[l.row]
		ya := newYAxis(r.Scale, l.reach, r.Percent, y+verdictStrip, y+p.o.cellHigh()-3)
		if i == 0 || p.lines[i-1].row != l.row {
			p.o.drawRowName(g, r, y)
		}
		p.o.drawTicks(g, ya)
		for k, j := range l.cells {
			c := r.Cells[j]
			x := overviewLeft + float64(k)*(s.cellW+cellGap)
			box := rect{x, y, x + s.cellW, y + p.o.rowHeight()}
			drawCell(g, c, box, axis(k), ya)
			if p.above {
				g.text(x, y-4, 0, boldFace, boldFace.clip(p.o.Columns[j], box.w()))
			} else {
				g.text(x+4, y+12, 0, boldFace, p.o.Columns[j])
			}
			low[k] = box.y1
		}
	}
	for k, y := range low {
		if y > 0 {
			axis(k).drawMonths(g, y+2, true)
		}
	}
	for i, e := range s.entries {
		e.draw(g, s.keyPositions[i])
	}
	drawTodo(g, 20, s.todoY, s.todo)
	drawLines(g, 20, s.foot+sizeSmall, noteFace, s.sources)
}
