package plots

import (
	"image/color"
	"math"

	"leafturn/internal/civil"

	"gonum.org/v1/plot/vg"
)

// The weather under a season: a bar from the lowest to the highest temperature
// of each day, and its rain. Days without a record are hatched.

// shown are the days of the weather that lie on the axis, one of each day.
func (s Season) shown(axis xAxis) map[civil.Date]WeatherDay {
	out := map[civil.Date]WeatherDay{}
	for _, w := range s.Weather {
		if !w.Date.Before(axis.from) && w.Date.Before(axis.to) {
			out[w.Date] = w
		}
	}
	return out
}

// known is the number of days up to the day of the picture, and on how many of
// them each part of the weather is missing.
func (s Season) known(axis xAxis) (days, noTemp, noRain int) {
	of := s.shown(axis)
	for d := axis.from; d.Before(axis.to) && (s.AsOf.IsZero() || !d.After(s.AsOf)); d = d.AddDays(1) {
		days++
		w := of[d]
		if w.Min == nil || w.Max == nil {
			noTemp++
		}
		if w.Rain == nil {
			noRain++
		}
	}
	return days, noTemp, noRain
}

func (s Season) drawWeather(g *pen, l seasonSheet) {
	of := s.shown(l.axis)
	temps := func(w WeatherDay) bool { return w.Min != nil && w.Max != nil }
	rains := func(w WeatherDay) bool { return w.Rain != nil }
	strips := []struct {
		box   rect
		title string
		has   func(WeatherDay) bool
		draw  func(box rect)
	}{
		{l.temp, "Lowest to highest of the day, " + orElse(s.TempUnit, "°C"), temps, func(box rect) { s.drawTemps(g, l.axis, box, of) }},
		{l.rain, "Rain of the day, " + orElse(s.RainUnit, "mm"), rains, func(box rect) { s.drawRain(g, l.axis, box, of) }},
	}
	for _, p := range strips {
		g.text(20, p.box.y0-8, 0, smallFace, p.title)
		s.drawMissing(g, l.axis, p.box, of, p.has)
		p.draw(p.box)
		g.line(rule, 0.8, p.box.x0, p.box.y0, p.box.x0, p.box.y1)
		g.line(rule, 0.8, p.box.x0, p.box.y1, p.box.x1, p.box.y1)
	}
}

// drawMissing hatches the days up to the picture's own that have no record.
func (s Season) drawMissing(g *pen, axis xAxis, box rect, of map[civil.Date]WeatherDay, has func(WeatherDay) bool) {
	d := axis.from
	for d.Before(axis.to) && (s.AsOf.IsZero() || !d.After(s.AsOf)) {
		if has(of[d]) {
			d = d.AddDays(1)
			continue
		}
		from := d
		for d.Before(axis.to) && (s.AsOf.IsZero() || !d.After(s.AsOf)) && !has(of[d]) {
			d = d.AddDays(1)
		}
		half := (axis.x(d) - axis.x(from)) / float64(2*d.Sub(from))
		r := rect{max(axis.x(from)-half, axis.left), box.y0, axis.x(d) - half, box.y1}
		g.note("missing", r, "")
		old := g.trace
		g.trace = nil // it is one mark
		g.hatch(r, 6)
		g.trace = old
		if word := "not recorded"; smallFace.width(word)+10 < r.w() {
			g.halo((r.x0+r.x1)/2, smallFace.midline((r.y0+r.y1)/2), 0.5, smallFace, word)
		}
	}
}

// dayBars draws a bar for each day, those measured and those forecast in one
// path each.
func dayBars(g *pen, axis xAxis, of map[civil.Date]WeatherDay, kind string, col color.NRGBA, ends func(w WeatherDay) (y0, y1 float64, ok bool)) {
	var now, then vg.Path
	day := (axis.right - axis.left) / float64(axis.to.Sub(axis.from))
	for d := axis.from; d.Before(axis.to); d = d.AddDays(1) {
		w := of[d]
		y0, y1, ok := ends(w)
		if !ok {
			continue
		}
		x := axis.x(d)
		r := rect{max(x-0.35*day, axis.left), y0, x + 0.35*day, y1}
		g.note(kind, r, "")
		if path := g.path(r.corners(), true); w.Forecast {
			then = append(then, path...)
		} else {
			now = append(now, path...)
		}
	}
	for _, p := range []struct {
		col  color.NRGBA
		path vg.Path
	}{{col, now}, {ahead, then}} {
		if len(p.path) > 0 {
			g.c.SetColor(p.col)
			g.c.Fill(p.path)
		}
	}
}

// levelTick draws a line of the grid of a strip with its value.
func levelTick(g *pen, box rect, y float64, value string) {
	g.line(faint, 0.8, box.x0, y, box.x1, y)
	g.line(rule, 0.8, box.x0-4, y, box.x0, y)
	g.text(box.x0-8, tickFace.midline(y), 1, tickFace, value)
}

// signed writes a value that may be below 0.
func signed(v float64) string {
	if v < 0 {
		return "-" + number(-v)
	}
	return number(v)
}

func (s Season) drawTemps(g *pen, axis xAxis, box rect, of map[civil.Date]WeatherDay) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, w := range of {
		if w.Min != nil && w.Max != nil {
			low, high = min(low, *w.Min), max(high, *w.Max)
		}
	}
	if high < low {
		return
	}
	step := niceStep(max(high-low, 4), 3)
	low, high = math.Floor(low/step)*step, math.Ceil(high/step)*step
	if high-low < step/2 {
		high = low + step
	}
	y := func(v float64) float64 { return box.y1 - float64((box.y1-box.y0)*((v-low)/(high-low))) }
	for i := range int(math.Round((high-low)/step)) + 1 {
		v := low + float64(i)*step
		levelTick(g, box, y(v), signed(v))
	}
	dayBars(g, axis, of, "temp", coldHot, func(w WeatherDay) (float64, float64, bool) {
		if w.Min == nil || w.Max == nil {
			return 0, 0, false
		}
		top, foot := y(*w.Max), y(*w.Min)
		return top, max(foot, top+1), true // a day without a range is still seen
	})
}

func (s Season) drawRain(g *pen, axis xAxis, box rect, of map[civil.Date]WeatherDay) {
	top := 0.0
	for _, w := range of {
		if w.Rain != nil {
			top = max(top, *w.Rain)
		}
	}
	if top == 0 {
		levelTick(g, box, box.y1, "0")
		return
	}
	step := niceStep(top, 2)
	top = math.Ceil(top/step-1e-9) * step
	y := func(v float64) float64 { return box.y1 - float64((box.y1-box.y0)*(v/top)) }
	for i := range int(math.Round(top/step)) + 1 {
		levelTick(g, box, y(float64(i)*step), number(float64(i)*step))
	}
	dayBars(g, axis, of, "rain", rainCol, func(w WeatherDay) (float64, float64, bool) {
		if w.Rain == nil || *w.Rain == 0 {
			return 0, 0, false
		}
		return y(*w.Rain), box.y1, true
	})
}
