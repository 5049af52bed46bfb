package plots

import (
	"math"
	"strconv"
	"time"

	"leafturn/internal/civil"
)

// Scale tells how counts are laid out on the y axis. Tick labels are always
// the counts themselves.
type Scale string

// The scales. Sqrt and Log1p open up the small counts of clumped pests; both
// begin at 0.
const (
	Linear Scale = ""
	Sqrt   Scale = "sqrt"  // square root of the count
	Log1p  Scale = "log1p" // log(1 + count)
)

func (s Scale) ok() bool { return s == Linear || s == Sqrt || s == Log1p }

// words returns what to add to the axis title, so that the scale is not taken
// for an even one.
func (s Scale) words() string {
	switch s {
	case Sqrt:
		return " (square-root scale)"
	case Log1p:
		return " (log scale)"
	}
	return ""
}

func (s Scale) warp(v float64) float64 {
	switch s {
	case Sqrt:
		return math.Sqrt(v)
	case Log1p:
		return math.Log1p(v)
	}
	return v
}

// yAxis places values from 0 (at bottom) to max (at top).
type yAxis struct {
	scale       Scale
	max         float64
	top, bottom float64
	percent     bool
}

func (a yAxis) y(v float64) float64 {
	return a.bottom - float64((a.bottom-a.top)*(a.scale.warp(v)/a.scale.warp(a.max)))
}

// newYAxis returns an axis that shows 0 to at least reach.
func newYAxis(s Scale, reach float64, percent bool, top, bottom float64) yAxis {
	if reach <= 0 {
		reach = 1
	}
	limit := math.Inf(1)
	if percent {
		limit = 100
	}
	if s == Linear {
		step := niceStep(reach, 5)
		reach = math.Ceil(reach*1.04/step-1e-9) * step
	} else {
		reach = topTick(reach * 1.02)
	}
	return yAxis{s, min(reach, limit), top, bottom, percent}
}

// niceStep returns a step of 1, 2 or 5 times a power of ten that parts max
// into about n.
func niceStep(top float64, n int) float64 {
	raw := top / float64(n)
	p := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5} {
		if raw <= m*p*1.0001 {
			return m * p
		}
	}
	return 10 * p
}

// topTick returns the next value fit to be the last label of an uneven scale.
func topTick(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 1.5, 2, 3, 4, 5, 6, 8} {
		if v <= m*p {
			return m * p
		}
	}
	return 10 * p
}

// ticks returns the values to label, at least gap points apart, 0 first.
// Uneven scales take their top next, then powers of ten, fives and twos.
func (a yAxis) ticks(gap float64) []float64 {
	if a.scale == Linear {
		n := max(1, min(5, int((a.bottom-a.top)/gap)))
		step := niceStep(a.max*0.9999, n)
		var out []float64
		for i := 0; float64(i)*step <= a.max*1.0001; i++ {
			out = append(out, float64(i)*step)
		}
		return out
	}
	out := []float64{0, a.max}
	for _, m := range []float64{1, 5, 2} {
		for e := -3; e <= 9; e++ {
			v := m * math.Pow10(e)
			if v > a.max || v < 0.001 {
				continue
			}
			free := true
			for _, o := range out {
				free = free && math.Abs(a.y(o)-a.y(v)) >= gap
			}
			if free {
				out = append(out, v)
			}
		}
	}
	return out
}

// label returns the words for a value: three digits at most below 1000.
func (a yAxis) label(v float64) string {
	if a.percent {
		return number(v) + " %"
	}
	return number(v)
}

// number writes a value for people: 12.4, 0.35, 120; never 1.2e+03.
func number(v float64) string {
	digits := 0
	switch {
	case v == 0:
		return "0"
	case v < 0.1:
		digits = 3
	case v < 10:
		digits = 2
	case v < 100:
		digits = 1
	}
	s := strconv.FormatFloat(v, 'f', digits, 64)
	if digits > 0 {
		for s[len(s)-1] == '0' {
			s = s[:len(s)-1]
		}
		if s[len(s)-1] == '.' {
			s = s[:len(s)-1]
		}
	}
	if s == "0" {
		return "<0.001"
	}
	return s
}

// xAxis places dates; from lies at left and to at right.
type xAxis struct {
	from, to    civil.Date
	left, right float64
}

func (a xAxis) x(d civil.Date) float64 {
	return a.left + float64((a.right-a.left)*(float64(d.Sub(a.from))/float64(a.to.Sub(a.from))))
}

// clamp returns d moved into the axis.
func (a xAxis) clamp(d civil.Date) civil.Date {
	if d.Before(a.from) {
		return a.from
	}
	if d.After(a.to) {
		return a.to
	}
	return d
}

// mondays returns the Mondays on the axis.
func (a xAxis) mondays() []civil.Date {
	back := (int(a.from.Weekday()) + 6) % 7 // days since Monday
	d := a.from.AddDays((7 - back) % 7)
	var out []civil.Date
	for ; !d.After(a.to); d = d.AddDays(7) {
		out = append(out, d)
	}
	return out
}

// months returns the firsts of months on the axis, the axis's own first day
// before them.
func (a xAxis) months() []civil.Date {
	out := []civil.Date{a.from}
	for d := civil.New(a.from.Year, a.from.Month+1, 1); d.Before(a.to); d = civil.New(d.Year, d.Month+1, 1) {
		out = append(out, d)
	}
	return out
}

// grid draws the firsts of months as light lines through the plot.
func (a xAxis) grid(p *pen, top, bottom float64) {
	for _, d := range a.months()[1:] {
		p.line(faint, 1, a.x(d), top, a.x(d), bottom)
	}
}

// Height of the date axis with Mondays, and of the one with months only.
const (
	dateAxisHeight  = 33
	monthAxisHeight = 17
)

// draw writes the Mondays as day numbers and the months under them.
func (a xAxis) draw(p *pen, y float64) {
	week := (a.right - a.left) * 7 / float64(a.to.Sub(a.from))
	every := 1
	for week*float64(every) < 17 {
		every *= 2
	}
	for i, d := range a.mondays() {
		x := a.x(d)
		p.line(rule, 0.8, x, y, x, y+4)
		if i%every == 0 {
			s := strconv.Itoa(d.Day)
			// At the left edge the label would meet the caption.
			if x-tickFace.width(s)/2 >= a.left-6 {
				p.text(x, y+14, 0.5, tickFace, s)
			}
		}
	}
	p.text(a.left-8, y+14, 1, tickFace, "Mondays")
	a.drawMonths(p, y+16, false)
}

// drawMonths writes the months in their spans, in narrow ones the short name;
// the first letter only where no month has room for more. Unless short, the
// year stands with the first month that has room for it, and with January.
func (a xAxis) drawMonths(p *pen, y float64, short bool) {
	ms := a.months()
	yearDone := short
	letters := true // unless some month has room for more
	for i, d := range ms {
		end := a.to
		if i+1 < len(ms) {
			end = ms[i+1]
		}
		letters = letters && a.x(end)-a.x(d) < tickFace.width("May")+7
	}
	for i, d := range ms {
		end := a.to
		if i+1 < len(ms) {
			end = ms[i+1]
		}
		x0, x1 := a.x(d), a.x(end)
		if i > 0 {
			p.line(rule, 0.8, x0, y, x0, y+13)
		}
		forms := []string{d.Month.String(), d.Month.String()[:3]}
		if letters {
			forms = []string{d.Month.String()[:1]}
		}
		if !yearDone || !short && d.Month == time.January {
			forms = append([]string{d.Time().Format("January 2006"), d.Time().Format("Jan 2006")}, forms...)
		}
		for _, s := range forms {
			air := 7.0
			if len(s) == 1 {
				air = 0
			}
			if tickFace.width(s)+air <= x1-x0 {
				p.text((x0+x1)/2, y+12, 0.5, tickFace, s)
				yearDone = yearDone || len(s) > 5 && s[len(s)-5] == ' '
				break
			}
		}
	}
}
