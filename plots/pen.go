package plots

import (
	"image/color"
	"math"
	"slices"

	"golang.org/x/text/encoding/charmap"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgpdf"
	"gonum.org/v1/plot/vg/vgsvg"
)

// rect is a box in points, y growing downwards.
type rect struct{ x0, y0, x1, y1 float64 }

func (r rect) w() float64 { return r.x1 - r.x0 }
func (r rect) h() float64 { return r.y1 - r.y0 }

func (r rect) inset(d float64) rect { return rect{r.x0 + d, r.y0 + d, r.x1 - d, r.y1 - d} }

// overlap returns the area that r and q share.
func (r rect) overlap(q rect) float64 {
	w, h := min(r.x1, q.x1)-max(r.x0, q.x0), min(r.y1, q.y1)-max(r.y0, q.y0)
	if w <= 0 || h <= 0 {
		return 0
	}
	return w * h
}

func around(x, y, r float64) rect { return rect{x - r, y - r, x + r, y + r} }

type point struct{ x, y float64 }

// mark is something drawn that has a meaning; tests read the list of them.
type mark struct {
	kind string
	box  rect
	text string
}

// pen draws on a canvas in points with y growing downwards from the top.
type pen struct {
	c     vg.Canvas
	h     float64 // height of the figure
	pdf   bool
	trace *[]mark // nil unless a test listens
}

func newPen(c vg.Canvas, fig Figure) *pen {
	w, h := fig.Size()
	_, pdf := c.(*vgpdf.Canvas)
	p := &pen{c: c, h: h, pdf: pdf}
	if _, svg := c.(*vgsvg.Canvas); svg { // so that a dark page does not show through
		p.fillRect(paper, rect{0, 0, w, h})
	}
	return p
}

// drawOn draws a figure that can be drawn; see Figure.
func drawOn(c vg.Canvas, fig interface {
	Figure
	draw(*pen)
}) error {
	if err := fig.Check(); err != nil {
		return err
	}
	fig.draw(newPen(c, fig))
	return nil
}

func (p *pen) note(kind string, box rect, text string) {
	if p.trace != nil {
		*p.trace = append(*p.trace, mark{kind, box, text})
	}
}

func (p *pen) pt(x, y float64) vg.Point { return vg.Point{X: vg.Length(x), Y: vg.Length(p.h - y)} }

func (p *pen) path(pts []point, closed bool) vg.Path {
	var path vg.Path
	for i, q := range pts {
		if i == 0 {
			path.Move(p.pt(q.x, q.y))
		} else {
			path.Line(p.pt(q.x, q.y))
		}
	}
	if closed {
		path.Close()
	}
	return path
}

// fill fills a polygon; with fewer than three corners there is nothing to fill.
func (p *pen) fill(c color.Color, pts ...point) {
	if len(pts) < 3 {
		return
	}
	p.c.SetColor(c)
	p.c.Fill(p.path(pts, true))
}

func (p *pen) stroke(c color.Color, width float64, path vg.Path, dash ...float64) {
	p.c.SetColor(c)
	p.c.SetLineWidth(vg.Length(width))
	d := make([]vg.Length, len(dash))
	for i, v := range dash {
		d[i] = vg.Length(v)
	}
	p.c.SetLineDash(d, 0)
	p.c.Stroke(path)
}

// lines strokes an open line; with fewer than two points there is none.
func (p *pen) lines(c color.Color, width float64, pts []point, dash ...float64) {
	if len(pts) < 2 {
		return
	}
	p.stroke(c, width, p.path(pts, false), dash...)
}

func (p *pen) line(c color.Color, width, x0, y0, x1, y1 float64, dash ...float64) {
	p.lines(c, width, []point{{x0, y0}, {x1, y1}}, dash...)
}

func (r rect) corners() []point {
	return []point{{r.x0, r.y0}, {r.x1, r.y0}, {r.x1, r.y1}, {r.x0, r.y1}}
}

func (p *pen) fillRect(c color.Color, r rect) { p.fill(c, r.corners()...) }

// frame strokes a box. It begins in the middle of a side, because the PNG
// canvas does not join the ends of a closed line, which would notch a corner.
func (p *pen) frame(c color.Color, width float64, r rect, dash ...float64) {
	m := point{(r.x0 + r.x1) / 2, r.y0}
	pts := []point{m, {r.x1, r.y0}, {r.x1, r.y1}, {r.x0, r.y1}, {r.x0, r.y0}, m}
	p.stroke(c, width, p.path(pts, false), dash...)
}

func (p *pen) circle(x, y, r float64) vg.Path {
	var path vg.Path
	path.Move(p.pt(x+r, y))
	path.Arc(p.pt(x, y), vg.Length(r), 0, 2*math.Pi)
	path.Close()
	return path
}

func (p *pen) disc(c color.Color, x, y, r float64) {
	p.c.SetColor(c)
	p.c.Fill(p.circle(x, y, r))
}

// hatch fills a box with slanting lines, cut at its edges.
func (p *pen) hatch(r rect, step float64) {
	p.note("hatch", r, "")
	p.slant(hatch, r, step, false)
}

// slant draws lines up to the right, or down to the right, cut at the box.
func (p *pen) slant(c color.Color, r rect, step float64, down bool) {
	for at := r.x0 - r.h() + step/2; at < r.x1; at += step {
		// The line x - (y1 - y) = at from the bottom edge up to the right.
		x0, x1 := max(at, r.x0), min(at+r.h(), r.x1)
		if x1 <= x0 {
			continue
		}
		y0, y1 := r.y1-(x0-at), r.y1-(x1-at)
		if down {
			y0, y1 = r.y0+r.y1-y0, r.y0+r.y1-y1
		}
		p.line(c, 0.8, x0, y0, x1, y1)
	}
}

// patterns is the number of patterns that pattern can draw.
const patterns = 8

// pattern draws the i-th of the patterns in a box, in lines or dots that do
// not leave it.
func (p *pen) pattern(i int, c color.Color, r rect) {
	flat := func(step float64) {
		for y := r.y0 + step/2; y < r.y1; y += step {
			p.line(c, 0.8, r.x0, y, r.x1, y)
		}
	}
	upright := func(step float64) {
		for x := r.x0 + step/2; x < r.x1; x += step {
			p.line(c, 0.8, x, r.y0, x, r.y1)
		}
	}
	switch i % patterns {
	case 0:
		p.slant(c, r, 7, false)
	case 1:
		p.dots(c, r, 6)
	case 2:
		flat(5)
	case 3:
		p.slant(c, r, 10, false)
		p.slant(c, r, 10, true)
	case 4:
		upright(5)
	case 5:
		p.slant(c, r, 7, true)
	case 6:
		flat(8)
		upright(8)
	case 7:
		p.dashes(c, r, 5)
	}
}

// dots fills a box with discs, every other row moved by half a step.
func (p *pen) dots(c color.Color, r rect, step float64) {
	const size = 1.1
	for j, y := 0, r.y0+step/2; y < r.y1-size; j, y = j+1, y+step {
		for x := r.x0 + step/2 + float64(j%2)*step/2; x < r.x1-size; x += step {
			p.disc(c, x, y, size)
		}
	}
}

// dashes fills a box with short flat lines, every other row moved.
func (p *pen) dashes(c color.Color, r rect, step float64) {
	for j, y := 0, r.y0+step/2; y < r.y1; j, y = j+1, y+step {
		for x := r.x0 + 1 + float64(j%2)*step; x < r.x1-1; x += 2 * step {
			p.line(c, 1.2, x, y, min(x+step, r.x1), y)
		}
	}
}

// box returns where text would stand: x is its left edge (ax 0), middle (0.5)
// or right edge (1), y its baseline.
func (f face) box(x, y, ax float64, s string) rect {
	w := f.width(s)
	x -= ax * w
	return rect{x, y - 0.76*f.size, x + w, y + 0.22*f.size}
}

// midline returns the baseline for text centred on y.
func (f face) midline(y float64) float64 { return y + 0.36*f.size }

// text writes s with its baseline at y; see face.box for ax.
func (p *pen) text(x, y, ax float64, f face, s string) {
	if s = legible(s); s == "" {
		return
	}
	b := f.box(x, y, ax, s)
	p.note("text", b, s)
	p.write(f, p.pt(b.x0, y), ax, s)
}

// textUp writes s turned a quarter to the left, centred on the point.
func (p *pen) textUp(x, y float64, f face, s string) {
	s = legible(s)
	w := f.width(s)
	p.note("text", rect{x - f.size/2, y - w/2, x + f.size/2, y + w/2}, s)
	p.c.Push()
	p.c.Translate(p.pt(f.midline(x), y+w/2))
	p.c.Rotate(math.Pi / 2)
	p.write(f, vg.Point{}, 0.5, s)
	p.c.Pop()
}

// halo writes s on a patch of paper, so that lines under it do not cross it.
func (p *pen) halo(x, y, ax float64, f face, s string) {
	b := f.box(x, y, ax, legible(s))
	p.fillRect(paper, rect{b.x0 - 2, b.y0 - 0.5, b.x1 + 2, b.y1 + 0.5})
	p.text(x, y, ax, f, s)
}

// veil is halo with a patch that lets what is under it shine through. (vgpdf
// darkens colours that are not opaque, so in PDF the patch is plain paper.)
func (p *pen) veil(x, y, ax float64, f face, s string) {
	if p.pdf {
		p.halo(x, y, ax, f, s)
		return
	}
	b := f.box(x, y, ax, legible(s))
	p.fillRect(veilCol, rect{b.x0 - 2, b.y0 - 0.5, b.x1 + 2, b.y1 + 0.5})
	p.text(x, y, ax, f, s)
}

// write puts s on the canvas, its left end at pt (ax is that of text). vgpdf v0.17 embeds the first
// font file under a name that the second then shares, so a PDF can hold one
// face only: bold there is the regular face written twice, a little apart.
func (p *pen) write(f face, pt vg.Point, ax float64, s string) {
	p.c.SetColor(f.col)
	if !p.pdf || !f.bold {
		p.c.FillString(f.font(), pt, p.encode(s))
		return
	}
	plain := f
	plain.bold = false
	pt.X += vg.Length(ax * (f.width(s) - plain.width(s)))
	for _, dx := range []float64{-0.016, 0.016} {
		q := pt
		q.X += vg.Length(dx * f.size)
		p.c.FillString(plain.font(), q, p.encode(s))
	}
}

// encode returns the bytes that the canvas wants: PDF text is in Windows code
// page 1252, in which characters without a place are shown as "?".
func (p *pen) encode(s string) string {
	if !p.pdf {
		return s
	}
	out := make([]byte, 0, len(s))
	for _, r := range s {
		b, ok := charmap.Windows1252.EncodeRune(r)
		if !ok {
			b = '?'
		}
		out = append(out, b)
	}
	return string(out)
}

// placer finds room for labels among what is already drawn.
type placer struct {
	within rect
	taken  []rect
	words  []rect // labels that were placed: nothing may hide them
}

func (l *placer) take(r rect) { l.taken = append(l.taken, r) }

// takeLine takes the room of a straight line, as small boxes along it.
func (l *placer) takeLine(a, b point) {
	n := max(1, int(math.Hypot(b.x-a.x, b.y-a.y)/5))
	for i := range n {
		t := (float64(i) + 0.5) / float64(n)
		l.take(around(a.x+float64(t*(b.x-a.x)), a.y+float64(t*(b.y-a.y)), 2.5))
	}
}

// free is place among those candidates that lie within bounds and clear of
// other labels; ok is false where there is none.
func (l *placer) free(cands []rect, bounds rect) (at rect, ok bool) {
	cands = slices.DeleteFunc(slices.Clone(cands), func(c rect) bool {
		return c.x0 < bounds.x0 || c.y0 < bounds.y0 || c.x1 > bounds.x1 || c.y1 > bounds.y1 ||
			slices.ContainsFunc(l.words, func(w rect) bool { return w.overlap(c) > 0 })
	})
	if len(cands) == 0 {
		return rect{}, false
	}
	return cands[l.place(cands)], true
}

// place returns the index of the candidate that covers least of what is
// taken, and takes it. Room outside the bounds counts four times, room of other
// labels fifty times, and each
// candidate costs a little more than the one before it, so a clear spot near
// by wins over one far off.
func (l *placer) place(cands []rect) int {
	best, cost := 0, math.Inf(1)
	for i, c := range cands {
		sum := 2.5*float64(i) + 4*(c.w()*c.h()-c.overlap(l.within))
		for _, t := range l.taken {
			sum += c.overlap(t)
		}
		for _, w := range l.words {
			sum += 50 * c.overlap(w)
		}
		if sum < cost-1e-9 {
			best, cost = i, sum
		}
	}
	l.words = append(l.words, cands[best])
	return best
}
