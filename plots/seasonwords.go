package plots

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Words of Season, made from its numbers.

// panel is the season as the one panel of a Pressure picture, whose words it shares.
func (s Season) panel() Pressure {
	return Pressure{Pest: s.Pest, Measure: s.Measure, Percent: s.Percent, Scale: s.Scale,
		Panels: []Panel{{Bed: s.Bed, Visits: s.Visits, Act: s.Act, Watch: s.Watch, Treatments: s.Treatments, Releases: s.Releases, Stages: s.Stages}}}
}

func (s Season) title() string { return s.panel().title() }

func (s Season) lead() string { return s.panel().lead() }

// notes says what the reader must know of how the picture was made.
func (s Season) notes(l seasonSheet) string {
	var out []string
	if slices.ContainsFunc(s.Visits, func(v Visit) bool { return len(v.Counts) > 0 }) {
		out = append(out, "Dots beside each other are units with the same count.")
	}
	ya := s.yAxis(l.plot)
	if slices.ContainsFunc(s.Visits, func(v Visit) bool { return v.Invalid == "" && v.Interval != nil && v.Interval.High > ya.max }) {
		out = append(out, "An arrow at the top: the interval goes on.")
	}
	if s.banded() && slices.ContainsFunc(s.Likely, func(d Likely) bool { return d.High > ya.max }) {
		out = append(out, "The band is cut at the top.")
	}
	if len(s.Stages) > 0 {
		if w := narrowStages(l.axis, s.Stages); w != "" {
			out = append(out, w)
		}
	}
	if days, noTemp, noRain := s.known(l.axis); noTemp+noRain > 0 {
		out = append(out, fmt.Sprintf("Weather not recorded (hatched): temperature on %d, rain on %d of %d days.", noTemp, noRain, days))
	}
	return strings.Join(out, " ")
}

func (s Season) keyEntries(axis xAxis) []keyEntry {
	var valid, invalid, interval, units bool
	for _, v := range s.Visits {
		valid = valid || v.Invalid == ""
		invalid = invalid || v.Invalid != ""
		interval = interval || v.Interval != nil && v.Invalid == ""
		units = units || len(v.Counts) > 0
	}
	word := "mean of a visit"
	if s.Percent {
		word = "percent at a visit"
	}
	var out []keyEntry
	quietly := func(g *pen, draw func()) { // a sign is not a mark of the picture
		old := g.trace
		g.trace = nil
		draw()
		g.trace = old
	}
	if units {
		out = append(out, keyEntry{"one sample unit", 8, func(g *pen, r rect) { keyDisc(g, r, 1.8, dot) }})
	}
	if valid {
		out = append(out, keyEntry{word, 12, func(g *pen, r rect) { keyDisc(g, r, 4, series) }})
	}
	if interval {
		out = append(out, keyEntry{"95 % interval of a visit by itself", 8, func(g *pen, r rect) {
			m := (r.x0 + r.x1) / 2
			g.line(series, 0.9, m, r.y0, m, r.y1)
			g.line(series, 0.9, m-2.5, r.y0, m+2.5, r.y0)
			g.line(series, 0.9, m-2.5, r.y1, m+2.5, r.y1)
		}})
	}
	if s.banded() {
		out = append(out, keyEntry{"where it probably is (95 %), from all visits so far", 22, func(g *pen, r rect) { g.fillRect(ribbon, r) }})
	}
	if len(s.Unknown) > 0 {
		out = append(out, keyEntry{"last valid count too old: not known", 22, func(g *pen, r rect) {
			g.slant(hatch, r, 6, true)
			g.frame(hatch, 0.8, r)
		}})
	}
	if invalid {
		out = append(out, keyEntry{"not valid, left out", 12, func(g *pen, r rect) {
			quietly(g, func() { drawVisit(g, (r.x0+r.x1)/2, (r.y0+r.y1)/2, 4, false) })
		}})
	}
	if len(s.Closed) > 0 {
		out = append(out, keyEntry{"bed closed (re-entry, by the label)", 22, func(g *pen, r rect) {
			g.fillRect(closedFill, r)
			g.pattern(2, treatCol, r)
		}})
	}
	for _, w := range s.shown(axis) {
		if w.Forecast && (w.Max != nil || w.Rain != nil) {
			out = append(out, keyEntry{"weather forecast", 12, func(g *pen, r rect) { g.fillRect(ahead, r) }})
			break
		}
	}
	return out
}

// Alt says what the picture shows: as Pressure, what was done besides, the
// weather, the verdict and what to do next.
func (s Season) Alt() string {
	out := []string{}
	if s.Verdict != NoVerdict {
		out = append(out, "Now: "+string(s.Verdict)+".")
	}
	if s.Next != "" {
		out = append(out, s.Next)
	}
	out = append(out, s.panel().Alt())
	if n := len(s.Likely); n > 0 {
		last := s.Likely[n-1]
		out = append(out, fmt.Sprintf("Likely on %s: %s to %s.", dayMonth(last.Date), s.panel().value(last.Low), s.panel().value(last.High)))
	}
	if w := s.unknownWords(); w != "" {
		out = append(out, w)
	}
	if steps := events("done in", s.Bed, s.Steps); len(steps) > 0 {
		out = append(out, upperFirst(list(steps, 12))+".")
	}
	for _, c := range s.Closed {
		if c.To.IsZero() {
			out = append(out, "Closed from "+c.From.Format("2 January 15:04")+" until the label is read.")
		} else {
			out = append(out, "Closed from "+c.From.Format("2 January 15:04")+" to "+c.To.Format("2 January 15:04")+".")
		}
	}
	return strings.Join(append(out, s.weatherWords()), " ")
}

// weatherWords sums the measured weather up.
func (s Season) weatherWords() string {
	sp := s.span()
	axis := xAxis{sp.from, sp.to, 0, 1}
	of, low, high, rain := s.shown(axis), math.Inf(1), math.Inf(-1), 0.0
	for d := axis.from; d.Before(axis.to); d = d.AddDays(1) {
		w := of[d]
		if w.Forecast {
			continue
		}
		if w.Min != nil && w.Max != nil {
			low, high = min(low, *w.Min), max(high, *w.Max)
		}
		if w.Rain != nil {
			rain += *w.Rain
		}
	}
	days, noTemp, noRain := s.known(axis)
	var out []string
	if noTemp < days && high >= low {
		out = append(out, fmt.Sprintf("Temperatures %s to %s %s, not recorded on %d of %d days.", signed(low), signed(high), orElse(s.TempUnit, "°C"), noTemp, days))
	}
	if noRain < days {
		out = append(out, fmt.Sprintf("Rain %s %s in all, not recorded on %d of %d days.", number(rain), orElse(s.RainUnit, "mm"), noRain, days))
	}
	if len(out) == 0 {
		return "No weather is recorded."
	}
	return strings.Join(out, " ")
}
