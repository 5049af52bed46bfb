package paper

import (
	"strings"

	"leafturn/internal/render"
	"leafturn/internal/report"
)

// table prints a table. Columns of text are narrowed by wrapping until it
// fits; where it still does not, each row becomes a block of lines.
func (d *document) table(t *report.Table) {
	f, bold := d.face(textFace), d.face(boldFace)
	if t.Title != "" {
		d.need(4 * f.step())
		d.para(bold, d.left, d.width(), t.Title)
		d.y += 2
	}
	if len(t.Rows) == 0 {
		d.para(f, d.left, d.width(), "(nothing to show)")
		return
	}
	g := render.Cells(t, d.doc.AsOf)
	if len(g.Heads) > 6 {
		f, bold = d.face(smallFace), d.face(tinyBold)
	}
	widths, ok := d.fit(g, f, bold)
	if !ok {
		d.records(t, g)
		return
	}
	heads := make([]string, len(g.Heads))
	for c, h := range g.Heads {
		heads[c] = strings.TrimSpace(h[0] + "\n" + h[1])
	}
	head := func() {
		d.row(bold, heads, widths, g.Right, true)
		d.line(d.left, d.y, d.left+sum(widths), d.y, 0.8, 0)
		d.y += 2
	}
	d.need(d.height(head) + 2*f.step())
	head()
	was := d.again
	d.again = func(*page) { head() }
	for i, row := range g.Rows {
		d.need(d.height(func() { d.row(f, row, widths, g.Right, false) }))
		if i > 0 && len(g.Rows) > 3 {
			d.line(d.left, d.y-0.5, d.left+sum(widths), d.y-0.5, 0.3, 190)
		}
		d.row(f, row, widths, g.Right, false)
	}
	d.again = was
	for _, n := range g.Notes {
		sign, words, _ := strings.Cut(n, " ")
		d.hanging(d.face(smallFace), d.left, 20*d.scale, d.width(), sign, words)
	}
}

func sum(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s
}

const between = 10 // points of room in each column

// fit chooses the widths of the columns, the room between them included.
func (d *document) fit(g render.Grid, f, bold face) ([]float64, bool) {
	n := len(g.Heads)
	least, want := make([]float64, n), make([]float64, n)
	word := func(f face, s string) (w float64) {
		for _, x := range unbroken(known(s)) {
			w = max(w, d.measure(f, x))
		}
		return w
	}
	for c, h := range g.Heads {
		least[c] = max(word(bold, h[0]), word(bold, h[1]))
		want[c] = max(d.measure(bold, known(h[0])), d.measure(bold, known(h[1])))
		for _, row := range g.Rows {
			want[c] = max(want[c], d.measure(f, known(row[c])))
			w := word(f, row[c])
			if !g.Right[c] {
				w = min(w, max(60, d.width()/5))
			}
			least[c] = max(least[c], w)
		}
		least[c], want[c] = least[c]+between, want[c]+between
	}
	if sum(least) > d.width() {
		return nil, false
	}
	for sum(want) > d.width() { // take from the column that can spare most
		c := -1
		for i := range want {
			if want[i] > least[i] && (c < 0 || want[i] > want[c]) {
				c = i
			}
		}
		want[c] = max(want[c]-max(1, (sum(want)-d.width())/4), least[c])
	}
	return d.level(g, f, want, least), true
}

// mostLevelled is how many rows are looked at to level columns.
const mostLevelled = 60

// level moves room between columns as long as that makes the rows lower.
func (d *document) level(g render.Grid, f face, widths, least []float64) []float64 {
	rows := g.Rows[:min(len(g.Rows), mostLevelled)]
	blank := d.measure(f, " ")
	words := make([][][]float64, len(rows))
	for r, row := range rows {
		words[r] = make([][]float64, len(row))
		for c, s := range row {
			for _, w := range unbroken(known(s)) {
				words[r][c] = append(words[r][c], d.measure(f, w))
			}
		}
	}
	lines := func(words []float64, width float64) int {
		n, at := 1, 0.0
		for _, w := range words {
			if at > 0 && at+blank+w > width+0.05 {
				n, at = n+1, 0
			}
			if at > 0 {
				at += blank
			}
			at += w
		}
		return n
	}
	high := func(widths []float64) int {
		sum := 0
		for r := range rows {
			tall := 1
			for c := range words[r] {
				tall = max(tall, lines(words[r][c], widths[c]-between))
			}
			sum += tall
		}
		return sum
	}
	now := high(widths)
	for _, step := range []float64{48, 24, 12, 6} {
		for range 12 {
			from, to, best := -1, -1, now
			for i := range widths {
				for j := range widths {
					if i == j || widths[i]-step < least[i] {
						continue
					}
					widths[i], widths[j] = widths[i]-step, widths[j]+step
					if h := high(widths); h < best {
						from, to, best = i, j, h
					}
					widths[i], widths[j] = widths[i]+step, widths[j]-step
				}
			}
			if from < 0 {
				break
			}
			widths[from], widths[to], now = widths[from]-step, widths[to]+step, best
		}
	}
	return widths
}

// row prints one row; a head stands on its last line.
func (d *document) row(f face, cells []string, widths []float64, right []bool, head bool) {
	lines := make([][]string, len(cells))
	tall := 1
	for c, s := range cells {
		for _, part := range strings.Split(s, "\n") {
			lines[c] = append(lines[c], d.wrap(f, part, widths[c]-between+0.01)...)
		}
		tall = max(tall, len(lines[c]))
	}
	x := d.left
	for c, ls := range lines {
		from := 0
		if head {
			from = tall - len(ls)
		}
		for i, line := range ls {
			at := x
			if right[c] {
				at = x + widths[c] - between - d.measure(f, line)
			}
			d.text(f, at, d.y+f.size+float64(from+i)*f.step(), line)
		}
		x += widths[c]
	}
	d.y += float64(tall)*f.step() + 1
}

// records prints each row as lines of "title (unit): value".
func (d *document) records(t *report.Table, g render.Grid) {
	f := d.face(textFace)
	for r, row := range g.Rows {
		d.together(func() {
			for c, s := range row {
				if v := t.Rows[r][c]; v.Kind() == report.KindUnknown {
					s = render.Sentence(report.Say("{}", v), d.doc.AsOf)
				}
				if s == "" {
					continue
				}
				head := g.Heads[c][0]
				if u := g.Heads[c][1]; u != "" {
					head += " (" + u + ")"
				}
				indent := 0.0
				if c > 0 {
					indent = 12 * d.scale
				}
				d.para(f, d.left+indent, d.width()-indent, strings.TrimPrefix(head+": ", ": ")+s)
			}
		})
		if r < len(g.Rows)-1 {
			d.y += 3
		}
	}
}
