package plots

import "leafturn/internal/civil"

// The small panels of Fan: what could be done.

// drawWays draws one small panel for each thing that could be done.
func (f Fan) drawWays(g *pen, s fanSheet) {
	head := "What could be done, the lowest chance first"
	if f.Level == 0 {
		head = "What could be done"
	}
	g.text(20, s.grid-10, 0, headFace, head)
	const width = (fanWidth - 20 - plotLeft - (waysInRow-1)*wayGap) / waysInRow
	from, to := f.Today, f.end().Date
	for _, w := range s.ways {
		to = maxDate(to, lastOf(w).Date)
	}
	if !from.Before(to) {
		to = from.AddDays(1)
	}
	for i, w := range s.ways {
		x0 := plotLeft + float64(i%waysInRow)*(width+wayGap)
		y0 := s.grid + float64(i/waysInRow)*(wayHead+wayHeight+wayFoot+10)
		r := rect{x0, y0 + wayHead, x0 + width, y0 + wayHead + wayHeight}
		f.drawWay(g, w, xAxis{from, to, r.x0, r.x1}, r, i%waysInRow == 0)
	}
}

func maxDate(a, b civil.Date) civil.Date {
	if a.Before(b) {
		return b
	}
	return a
}

func (f Fan) drawWay(g *pen, w FanWay, axis xAxis, r rect, words bool) {
	g.note("way", r, w.Name)
	end := lastOf(w)
	g.text(r.x0, r.y0-wayHead+11, 0, boldFace, boldFace.clip(w.Name+", "+dayShort(w.On), r.w()))
	x := r.x0
	if end.Over != nil {
		said := percent(*end.Over) + " over"
		g.text(x, r.y0-6, 0, boldFace.colour(actCol), said)
		x += boldFace.width(said) + 6
	}
	g.text(x, r.y0-6, 0, smallFace, smallFace.clip(f.about(end.Median)+" on "+dayShort(end.Date), r.x1-x))

	ya := f.yAxis(r)
	drawValues(g, ya, r, words)
	drawFan(g, axis, ya, w.Days)
	var mid []point
	for _, d := range f.Nothing {
		mid = append(mid, point{axis.x(d.Date), ya.y(min(d.Median, ya.max))})
	}
	g.lines(ink, 1.2, mid, 3, 2.5)
	if f.Level > 0 {
		drawLevel(g, axis, ya, []Segment{{Value: f.Level}}, true, 1.6)
	}
	step := axis.x(axis.clamp(w.On))
	g.note("step", around(step, r.y0+4, 5), w.Name)
	g.line(treatCol, 0.8, step, r.y0, step, r.y1, 6, 2)
	g.fill(treatCol, point{step - 5, r.y0 - 1}, point{step + 5, r.y0 - 1}, point{step, r.y0 + 8})
	for _, d := range axis.mondays() {
		x := axis.x(d)
		g.line(rule, 0.8, x, r.y1, x, r.y1+4)
		if d.Sub(axis.from) >= 2 || d == axis.from {
			word := dayShort(d)
			at := min(max(x, r.x0+tickFace.width(word)/2-4), r.x1-tickFace.width(word)/2+4)
			g.text(at, r.y1+15, 0.5, tickFace, word)
		}
	}
}
