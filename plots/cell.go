package plots

import (
	"strings"
)

// One cell of an overview.

func drawCell(g *pen, c Cell, box rect, axis xAxis, ya yAxis) {
	if len(c.Visits) == 0 {
		g.hatch(box, 8)
		g.frame(hatch, 0.8, box)
		f := smallFace
		g.halo((box.x0+box.x1)/2, f.midline((box.y0+box.y1)/2), 0.5, f, f.clip("not counted", box.w()-4))
		if c.Verdict != NeverCounted { // the picture says that already
			drawCellVerdict(g, c.Verdict, box)
		}
		drawNext(g, c.Next, box)
		return
	}
	g.note("cell", box, "")
	axis.grid(g, ya.top, ya.bottom)
	for _, v := range ya.ticks(15) {
		g.line(faint, 0.8, box.x0, ya.y(v), box.x1, ya.y(v))
	}
	visits := byDate(c.Visits)
	drawRibbon(g, axis, ya, visits, true)
	drawLevel(g, axis, ya, c.Watch, false, 1)
	drawLevel(g, axis, ya, c.Act, true, 1.5)
	drawMeans(g, axis, ya, visits, 1.1)
	for _, v := range visits {
		x, y := axis.x(v.Date), ya.y(v.Mean)
		if v.Invalid == "" {
			g.note("visit", around(x, y, 1.8), "")
			g.disc(series, x, y, 1.8)
		} else {
			drawVisit(g, x, y, 3, false)
		}
	}
	g.frame(rule, 0.7, box)
	drawCellVerdict(g, c.Verdict, box)
	drawNext(g, c.foot(), box)
}

const seasonOver = "season over"

// foot is what stands at the foot of a cell.
func (c Cell) foot() string {
	if c.Over && c.Next == "" && len(c.Visits) > 0 {
		return seasonOver
	}
	return c.Next
}

// drawNext writes the next step at the foot of a cell.
func drawNext(g *pen, next string, box rect) {
	room := box.w() - 8
	if boldFace.width(next) > room { // "count 27 Jul" says as much
		next = strings.Replace(next, " by ", " ", 1)
	}
	if next != "" {
		g.halo(box.x0+4, box.y1-4, 0, boldFace, boldFace.clip(next, room))
	}
}

// drawCellVerdict writes the verdict at the top right of a cell.
func drawCellVerdict(g *pen, v Verdict, box rect) {
	if v == NoVerdict {
		return
	}
	word := verdictFace(v).clip(string(v), box.w()-10)
	drawVerdictWord(g, v, word, rect{box.x1 - verdictFace(v).width(word) - 9, box.y0 + 2, box.x1 - 2, box.y0 + 15})
}
