package plots

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Words of Fan, made from its numbers.

func (f Fan) keyEntries() []keyEntry {
	valid := slices.ContainsFunc(f.Visits, func(v Visit) bool { return v.Invalid == "" })
	invalid := slices.ContainsFunc(f.Visits, func(v Visit) bool { return v.Invalid != "" })
	interval := slices.ContainsFunc(f.Visits, func(v Visit) bool { return v.Invalid == "" && v.Interval != nil })
	var out []keyEntry
	if valid {
		word := "counted, with its 95 % interval"
		if !interval {
			word = "counted"
		}
		out = append(out, keyEntry{word, 12, func(g *pen, r rect) {
			m := (r.x0 + r.x1) / 2
			g.line(series, 0.9, m, r.y0, m, r.y1)
			keyDisc(g, r, 4, series)
		}})
	}
	if invalid {
		out = append(out, visitKey("", false, true, false, false)...)
	}
	out = append(out, keyEntry{"half of the chances", 22, func(g *pen, r rect) { g.fillRect(within, r) }},
		keyEntry{"9 in 10 chances", 22, func(g *pen, r rect) { g.fillRect(ribbon, r) }})
	if len(f.Ways) > 0 {
		out = append(out, keyEntry{"middle if nothing is done", 22, func(g *pen, r rect) {
			g.line(ink, 1.2, r.x0, (r.y0+r.y1)/2, r.x1, (r.y0+r.y1)/2, 3, 2.5)
		}}, keyEntry{"day of the step", 12, func(g *pen, r rect) {
			m := (r.x0 + r.x1) / 2
			g.fill(treatCol, point{m - 5, r.y0 + 1}, point{m + 5, r.y0 + 1}, point{m, r.y0 + 10})
		}})
	}
	return out
}

// value writes a density, "50+" where nothing above is told apart.
func (f Fan) value(v float64) string {
	switch {
	case f.Cap > 0 && v >= f.Cap*(1-1e-9):
		return f.label(f.Cap) + "+"
	case v > 0 && v < leastValue:
		return "almost none"
	}
	return f.label(rough(v))
}

func (f Fan) label(v float64) string { return yAxis{percent: f.Percent}.label(v) }

// rough is v to two digits: a forecast is no more exact than that.
func rough(v float64) float64 {
	if v <= 0 {
		return v
	}
	p := math.Pow(10, math.Floor(math.Log10(v))-1)
	return math.Round(v/p) * p
}

// leastValue is the least density that is written as a number.
const leastValue = 0.005

func (f Fan) about(v float64) string {
	if v < leastValue {
		return "almost none"
	}
	if f.Cap > 0 && v >= f.Cap*(1-1e-9) {
		return f.value(v)
	}
	return "about " + f.value(v)
}

func (f Fan) same(a, b float64) bool { return f.value(a) == f.value(b) }

func (f Fan) title() string {
	return fmt.Sprintf("%s in %s – what could come by %s", upperFirst(orElse(f.Pest, "pest")), f.Place, dayMonth(f.end().Date))
}

// lastCount is the last valid visit.
func (f Fan) lastCount() (Visit, bool) {
	for _, v := range slices.Backward(byDate(f.Visits)) {
		if v.Invalid == "" {
			return v, true
		}
	}
	return Visit{}, false
}

func (f Fan) lead() string {
	var out []string
	if v, ok := f.lastCount(); ok {
		out = append(out, fmt.Sprintf("Counted %s %s on %s.", f.label(v.Mean), f.Measure, dayMonth(v.Date)))
	}
	end := f.end()
	said := fmt.Sprintf("If nothing is done: %s on %s", f.about(end.Median), dayMonth(end.Date))
	switch {
	case f.same(end.Low90, end.High90):
		said += ", in more than 9 of 10 chances"
	default:
		said += fmt.Sprintf(", 9 in 10 chances between %s and %s", f.value(end.Low90), f.value(end.High90))
	}
	switch {
	case end.Over != nil && f.Level > 0:
		said += fmt.Sprintf("; the chance of being over the action level of %s then is %s.", f.label(f.Level), percent(*end.Over))
	default:
		said += "; no action level is known to hold it against."
	}
	out = append(out, said)
	ways := f.sorted()
	switch {
	case len(ways) == 0:
		out = append(out, "Nothing that is open can be reckoned to compare it with.")
	case f.Level == 0 || end.Over == nil || lastOf(ways[0]).Over == nil:
	case *end.Over-*lastOf(ways[0]).Over < 0.01:
		out = append(out, "Nothing that is compared makes that chance lower.")
	default:
		out = append(out, fmt.Sprintf("Lowest chance of what is compared: %s on %s, %s.", ways[0].Name, dayMonth(ways[0].On), percent(*lastOf(ways[0]).Over)))
	}
	return strings.Join(out, " ")
}

func (f Fan) notes() string {
	s := ""
	if f.Cap > 0 {
		s += fmt.Sprintf("At %s the reckoning stops: %s is that or more. ", f.label(f.Cap), f.value(f.Cap))
	}
	return s + "Small panels: the same scale, from today on. A forecast is no count: count again."
}

// Alt says what the picture shows, and what to do next.
func (f Fan) Alt() string {
	if len(f.Nothing) == 0 {
		return "Forecast of " + orElse(f.Pest, "a pest") + ": nothing is forecast."
	}
	out := []string{f.title() + ".", f.lead()}
	for _, w := range f.sorted() {
		end := lastOf(w)
		said := fmt.Sprintf("%s on %s: %s on %s", w.Name, dayMonth(w.On), f.about(end.Median), dayMonth(end.Date))
		if end.Over != nil {
			said += fmt.Sprintf(", %s over the level", percent(*end.Over))
		}
		out = append(out, said+".")
	}
	if f.Next != "" {
		out = append(out, "Next: "+f.Next)
	}
	return strings.Join(out, " ")
}
