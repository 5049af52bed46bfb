package plots

import (
	"cmp"
	"image/color"
	"math"
	"slices"

	"leafturn/internal/units"
)

// What the maps share: beds to scale in their places, their words, the scale.

const (
	mapWidth    = 740.0 // for the field, in points, unless beds are too thin
	mapHeight   = 460.0
	mapThinnest = 15.0   // a bed's thinner side should be this many points
	mapEdge     = 12.0   // beside the field on paper
	mapLargest  = 1500.0 // longest side of the field in points
)

// lot is the place of a bed in metres, y growing to the north.
type lot struct {
	code                string
	x, y, eastM, northM float64
}

func (l lot) check() error {
	switch {
	case !finite(l.x) || !finite(l.y):
		return bad("bed %s: its place %v, %v is not two numbers", l.code, l.x, l.y)
	case !finite(l.eastM) || !finite(l.northM) || l.eastM <= 0 || l.northM <= 0:
		return bad("bed %s: its sides %v by %v m are not two numbers above 0", l.code, l.eastM, l.northM)
	}
	return nil
}

// checkScale refuses a field on which no scale shows both its length and its
// thinnest bed.
func checkScale(lots []lot) error {
	e := extent(lots)
	if long, thin := max(e.w(), e.h()), thinnest(lots); long/thin > 2000 {
		return bad("the field is %s m long and its thinnest bed %s m, so no scale shows both; check the places of the beds", number(long), number(thin))
	}
	return nil
}

// partLots cuts the places of beds, by their numbers, across the longer side of
// their ground until fits says that a part can be read, or few are left.
func partLots(lots []lot, of []int, fits func(of []int) bool) [][]int {
	if len(of) <= 6 || fits(of) {
		return [][]int{of}
	}
	at := func(i int) float64 { return lots[i].x + lots[i].eastM/2 }
	var ground []lot
	for _, i := range of {
		ground = append(ground, lots[i])
	}
	if e := extent(ground); e.w() < e.h() {
		at = func(i int) float64 { return -lots[i].y - lots[i].northM/2 } // the north first
	}
	of = slices.Clone(of)
	slices.SortStableFunc(of, func(a, b int) int { return cmp.Compare(at(a), at(b)) })
	// In the middle half the widest gap is the best place to cut, the one
	// nearest to the middle of several as wide.
	n := len(of)
	cut, widest := n/2, -1.0
	for i := range n/4 + 1 {
		for _, k := range []int{n/2 - i, n/2 + i} {
			if k < 1 || k >= n {
				continue
			}
			if gap := at(of[k]) - at(of[k-1]); gap > widest+1e-9 {
				cut, widest = k, gap
			}
		}
	}
	return append(partLots(lots, of[:cut], fits), partLots(lots, of[cut:], fits)...)
}

// upTo are the numbers from 0 to n-1.
func upTo(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// extent returns the field in metres, y growing to the north.
func extent(lots []lot) rect {
	e := rect{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, l := range lots {
		e.x0, e.y0 = min(e.x0, l.x), min(e.y0, l.y)
		e.x1, e.y1 = max(e.x1, l.x+l.eastM), max(e.y1, l.y+l.northM)
	}
	return e
}

func thinnest(lots []lot) float64 {
	thin := math.Inf(1)
	for _, l := range lots {
		thin = min(thin, l.eastM, l.northM)
	}
	return thin
}

// field is the field as it lies on a sheet.
type field struct {
	extent rect    // in metres
	scale  float64 // points per metre
	width  float64 // of the sheet
	box    rect    // on the sheet
}

// newField lays out a field on a sheet of a width, 0 for that of a screen,
// which grows where beds would be too thin for words.
func newField(lots []lot, wide float64) field {
	f := field{extent: extent(lots)}
	w, h := f.extent.w(), f.extent.h()
	if wide > 0 {
		f.scale, f.width = min((wide-2*mapEdge)/w, mapHeight/h), wide
		return f
	}
	f.scale = min(mapWidth/w, mapHeight/h)
	if thin := thinnest(lots); f.scale*thin < mapThinnest {
		f.scale = max(f.scale, min(mapThinnest/thin, mapLargest/max(w, h)))
	}
	f.width = max(20+w*f.scale+20, 620)
	return f
}

// putAt puts the field in the middle of the sheet, below top.
func (f *field) putAt(top float64) {
	w, h := f.extent.w(), f.extent.h()
	left := (f.width - w*f.scale) / 2
	f.box = rect{left, top, left + w*f.scale, top + h*f.scale}
}

func (f field) place(l lot) rect {
	x := f.box.x0 + float64((l.x-f.extent.x0)*f.scale)
	y := f.box.y1 - float64((l.y-f.extent.y0)*f.scale)
	return rect{x, y - float64(l.northM*f.scale), x + float64(l.eastM*f.scale), y}
}

// outline marks a bed with a thick line.
func outline(g *pen, r rect, code string) {
	g.note("outline", r, code)
	g.frame(paper, 4.6, r.inset(0.2))
	g.frame(ink, 2.8, r)
}

// drawScale draws the scale bar in metres or feet, about a fifth of the width,
// and the arrow to the field's north.
func drawScale(g *pen, f field, y float64, feet bool) {
	scale, unit := f.scale, " m"
	if feet {
		scale, unit = scale*units.Of(1, "ft").MustIn("m"), " ft"
	}
	long := niceStep(max(f.width/5/scale, 0.5), 1)
	for long*scale > f.width/3 {
		long /= 2
	}
	x1 := 20 + float64(long*scale)
	g.line(ink, 1.2, 20, y+8, x1, y+8)
	g.line(ink, 1.2, 20, y+4, 20, y+12)
	g.line(ink, 1.2, x1, y+4, x1, y+12)
	g.text(x1+6, y+11.5, 0, smallFace, number(long)+unit)
	nx := x1 + 6 + smallFace.width(number(long)+unit) + 26
	g.line(ink, 1.2, nx, y+16, nx, y+2)
	g.fill(ink, point{nx, y - 3}, point{nx + 4, y + 4}, point{nx - 4, y + 4})
	g.text(nx+9, y+11.5, 0, smallFace, "north of the field")
}

// label is how a bed's words stand in it.
type label struct {
	lines []string // the first in bold
	up    bool     // turned to run along a tall bed
	coded bool     // with the bed's code, if only its beginning
}

const bedLine = sizeSmall + 2 // from line to line in a bed

func (l label) face(i int) face {
	if i == 0 {
		return boldFace
	}
	return smallFace
}

// drawBedLabel writes the lines in the middle of a bed; patch puts the bed's
// fill under them, over what is drawn on it.
func drawBedLabel(g *pen, l label, r rect, fill color.NRGBA, patch bool) {
	if len(l.lines) == 0 {
		return
	}
	x, y := (r.x0+r.x1)/2, (r.y0+r.y1)/2
	across := float64(len(l.lines)) * bedLine / 2
	if patch {
		along := 0.0
		for i, s := range l.lines {
			along = max(along, l.face(i).width(legible(s))/2+2)
		}
		p := rect{x - along, y - across - 0.5, x + along, y + across + 0.5}
		if l.up {
			p = rect{x - across, y - along, x + across, y + along}
		}
		g.fillRect(fill, p)
	}
	for i, s := range l.lines {
		f := l.face(i).colour(onShade(fill))
		at := (float64(i)+0.5)*bedLine - across
		if l.up {
			g.textUp(x+at, y, f, s)
		} else {
			g.text(x, f.midline(y+at), 0.5, f, s)
		}
	}
}
