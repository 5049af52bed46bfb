package plots

import (
	"strings"

	"leafturn/internal/civil"
)

// Unknown is a time in which the last valid count is too old to go by, so that
// nothing is known of the density.
type Unknown struct {
	Since    civil.Date // the last valid count
	From, To civil.Date
}

// unknownBoxes are the times in which nothing is known.
func (s Season) unknownBoxes(axis xAxis, r rect) []rect {
	var out []rect
	for _, u := range s.Unknown {
		out = append(out, rect{axis.x(axis.clamp(u.From)), r.y0, axis.x(axis.clamp(u.To)), r.y1})
	}
	return out
}

// runs are the stretches of what is believed, parted where nothing is known.
func (s Season) runs() [][]Likely {
	var out [][]Likely
	begin := 0
	for i := 1; i <= len(s.Likely); i++ {
		if i == len(s.Likely) || s.parted(s.Likely[i-1].Date, s.Likely[i].Date) {
			out = append(out, s.Likely[begin:i])
			begin = i
		}
	}
	return out
}

// banded reports whether there is a band to be seen: more than one day of it.
func (s Season) banded() bool {
	for _, run := range s.runs() {
		if len(run) > 0 && run[0].Date.Before(run[len(run)-1].Date) {
			return true
		}
	}
	return false
}

func (s Season) parted(before, after civil.Date) bool {
	for _, u := range s.Unknown {
		if !before.After(u.From) && !after.Before(u.To) && before != after {
			return true
		}
	}
	return false
}

// drawUnknown hatches the times in which nothing is known, and says why where
// there is room.
func (s Season) drawUnknown(g *pen, l seasonSheet, labels *placer) {
	for i, r := range s.unknownBoxes(l.axis, l.plot) {
		g.note("unknown", r, "")
		g.slant(hatch, r, 8, true)
		text := "not known: no valid count since " + s.Unknown[i].Since.Time().Format("2 Jan")
		lines := smallFace.wrap(text, r.w()-10, 5)
		wide := 0.0
		for _, w := range lines {
			wide = max(wide, smallFace.width(w))
		}
		if strings.Join(lines, " ") != text || wide > r.w()-8 {
			continue
		}
		high := float64(len(lines)) * sizeSmall * lineStep
		x := (r.x0 + r.x1 - wide) / 2
		var cands []rect
		for y := r.y0 + 6; y+high < r.y1-14; y += 8 {
			cands = append(cands, rect{x - 2, y, x + wide + 2, y + high + 2})
		}
		if at, ok := labels.free(cands, r); ok {
			g.fillRect(paper, at)
			drawLines(g, x, at.y0+sizeSmall, smallFace, lines)
		}
	}
}

// unknownWords say when nothing is known.
func (s Season) unknownWords() string {
	var out []string
	for _, u := range s.Unknown {
		switch {
		case u.To == s.AsOf:
			out = append(out, "Not known since "+dayMonth(u.From)+": no valid count since "+dayMonth(u.Since)+".")
		default:
			out = append(out, "Not known from "+dayMonth(u.From)+" to "+dayMonth(u.To)+".")
		}
	}
	return strings.Join(out, " ")
}
