package units

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// toUS is the unit of the US customary system for one of the metric system.
var toUS = map[string]string{
	"C": "F", "C-days": "F-days", "m": "ft", "cm": "in", "mm": "in", "m2": "ft2", "ha": "acre", "g": "oz wt", "kg": "lb",
	"L": "US gal", "mL": "US fl oz", "m/s": "mph", "km/h": "mph", "kg/ha": "lb/acre", "t/ha": "lb/acre", "g/m2": "lb/1000 ft2",
	"/m2": "/ft2", "g/plant": "oz wt/plant", "L/ha": "US gal/acre",
}

// toMetric is the way back.
var toMetric = map[string]string{
	"F": "C", "F-days": "C-days", "ft": "m", "in": "cm", "yd": "m", "ft2": "m2", "1000 ft2": "m2", "yd2": "m2", "acre": "ha",
	"oz wt": "g", "lb": "kg", "US gal": "L", "US fl oz": "mL", "mph": "m/s", "lb/acre": "kg/ha", "lb/1000 ft2": "g/m2",
}

// printed is how people read a unit whose name is another.
var printed = map[string]string{
	"C": "°C", "F": "°F", "m2": "m²", "ft2": "sq ft", "oz wt": "oz", "US gal": "gal", "US fl oz": "fl oz", "g/m2": "g/m²",
	"lb/1000 ft2": "lb per 1000 sq ft", "/m2": "per m²", "/ft2": "per sq ft", "acre": "acres", "oz wt/plant": "oz/plant",
	"US gal/acre": "gal/acre",
}

// Round says to which side a number may be rounded.
type Round int

const (
	Nearest Round = iota
	Up            // at least so much: a distance to keep
	Down          // at most so much: a heat to stay below
	Rough         // only about so much: whole degrees
)

// IsUS reports whether s is the US customary system; the zero System is not.
func (s System) IsUS() bool { return s == US }

// To returns q in the unit that s has for it: its own where it has none, or
// where it is one of s already.
func (s System) To(q Quantity) Quantity {
	other := toMetric
	if s.IsUS() {
		other = toUS
	}
	if name, ok := other[q.Unit.Name]; ok {
		return Of(q.MustIn(name), name)
	}
	return q
}

// Say writes q in the units of s, without more figures than it is good for.
func (s System) Say(q Quantity, r Round) string {
	p := s.To(q)
	return number(p.Value, step(q, p, r), r) + " " + p.Unit.words()
}

// Temp writes a temperature in °C to a tenth of a degree, which tells every
// whole °C exactly in °F: a limit stays what it is.
func (s System) Temp(c float64) string { return s.Say(Of(c, "C"), Nearest) }

// TempBeside is Temp for what was found beside a limit: where the two would
// read the same and are not, it is rounded away from the limit.
func (s System) TempBeside(c, limit float64) string {
	out := s.Temp(c)
	switch same := out == s.Temp(limit); {
	case same && c < limit:
		return s.Say(Of(c, "C"), Down)
	case same && c > limit:
		return s.Say(Of(c, "C"), Up)
	}
	return out
}

// TempNumber is Temp without its unit.
func (s System) TempNumber(c float64) string {
	n, _, _ := strings.Cut(s.Temp(c), " ")
	return n
}

// Temps writes a range of temperatures in °C.
func (s System) Temps(low, high float64) string { return s.TempNumber(low) + " to " + s.Temp(high) }

// TempUnit is "°C" or "°F".
func (s System) TempUnit() string { return s.To(Of(0, "C")).Unit.words() }

// Wind writes a speed in m/s.
func (s System) Wind(ms float64) string { return s.Say(Of(ms, "m/s"), Nearest) }

// Rain writes a depth in mm.
func (s System) Rain(mm float64) string { return s.Say(Of(mm, "mm"), Nearest) }

// Length writes a length in metres.
func (s System) Length(m float64) string { return s.Say(Of(m, "m"), Nearest) }

// Area writes an area in m².
func (s System) Area(m2 float64) string { return s.Say(Of(m2, "m2"), Nearest) }

// Mass writes a mass in g, from 1 kg or 1 lb on in those.
func (s System) Mass(g float64) string {
	if g >= kg || s.IsUS() && g >= lb {
		return s.Say(Of(g/kg, "kg"), Nearest)
	}
	return s.Say(Of(g, "g"), Nearest)
}

// Weighed writes an amount of product: in the US ounces and fluid ounces, to
// the hundredth; a metric one as it is.
func (s System) Weighed(q Quantity, r Round) string {
	if !s.IsUS() {
		return q.String()
	}
	switch q.Unit.Dimension {
	case Mass:
		q = Of(q.MustIn("oz wt"), "oz wt")
	case Volume:
		q = Of(q.MustIn("US fl oz"), "US fl oz")
	}
	return number(q.Value, 0.01, r) + " " + q.Unit.Name
}

// words is the unit as people read it.
func (u Unit) words() string {
	if w, ok := printed[u.Name]; ok {
		return w
	}
	return u.Name
}

// step is to what a number is rounded: q as it was given, p as it is told.
func step(q, p Quantity, r Round) float64 {
	v := math.Abs(p.Value)
	switch {
	case p.Unit.Dimension == Temperature && r == Rough:
		return 1
	case p.Unit.Dimension == Temperature:
		return 0.1
	case p.Unit.Name == "in" && q.Unit.Name == "mm":
		return 0.01
	case p.Unit.Name == "in" && v >= 1:
		return 0.5
	case r == Up || r == Down, p.Unit.Name == "cm" && v >= 5:
		return 1
	case p.Unit.Name == "ft2" && v >= 1 && v < 100: // 1 m² is 10.8 sq ft
		return 0.1
	case p.Unit == q.Unit && v >= 1 && v < 1000: // a figure of the farm's own
		return 0.1
	case v >= 1000:
		return math.Pow10(int(math.Floor(math.Log10(v))) - 2)
	case v >= 10:
		return 1
	case v >= 1 || v == 0:
		return 0.1
	}
	return math.Pow10(int(math.Floor(math.Log10(v))) - 1)
}

func number(v, step float64, r Round) string {
	n := v / step
	const hair = 1e-9
	switch r {
	case Up:
		n = math.Ceil(n - hair)
	case Down:
		n = math.Floor(n + hair)
	default:
		n = math.Round(n)
	}
	decimals := 0
	for s := step; s < 1-hair && decimals < 12; s *= 10 {
		decimals++
	}
	out := strconv.FormatFloat(n*step, 'f', decimals, 64)
	if strings.Contains(out, ".") {
		out = strings.TrimRight(strings.TrimRight(out, "0"), ".")
	}
	if out == "-0" {
		return "0"
	}
	return out
}

// Text writes a text of the facts for a reader of s. A quantity in it stands in
// braces, one unit behind all its numbers: {30 °C}, {15-20 m}, {7.5 x 12.5 cm}.
// {>25 ft} is rounded up, {<90 °F} down, {~27 °C} to whole degrees. Numbers in
// the units of s stay as they are written.
func (s System) Text(text string) (string, error) {
	var out strings.Builder
	for {
		before, rest, found := strings.Cut(text, "{")
		if strings.Contains(before, "}") {
			return "", fmt.Errorf("%w: a brace stands alone in %q", ErrNumber, text)
		}
		out.WriteString(before)
		if !found {
			return out.String(), nil
		}
		inner, after, closed := strings.Cut(rest, "}")
		if !closed {
			return "", fmt.Errorf("%w: a brace stands alone in %q", ErrNumber, text)
		}
		words, err := s.quantity(inner)
		if err != nil {
			return "", err
		}
		out.WriteString(words)
		text = after
	}
}

// between are the words that may stand between the numbers of a quantity.
var between = []string{" to ", " or ", " and ", " x ", "-", ", "}

// quantity writes what stands in a pair of braces.
func (s System) quantity(text string) (string, error) {
	bad := fmt.Errorf("%w: {%s} is no quantity such as {15-20 m}", ErrNumber, text)
	round := Nearest
	if text != "" {
		if r, marked := map[byte]Round{'>': Up, '<': Down, '~': Rough}[text[0]]; marked {
			round, text = r, text[1:]
		}
	}
	type part struct {
		number, then string
		value        float64
	}
	var parts []part
	for {
		n := 0
		for n < len(text) && (strings.IndexByte("0123456789.", text[n]) >= 0 || n == 0 && text[n] == '-' || text[n] == ',' && n+1 < len(text) && text[n+1] != ' ') {
			n++
		}
		v, err := ParseNumber(strings.ReplaceAll(text[:n], ",", ""))
		if err != nil {
			return "", bad
		}
		p := part{number: text[:n], value: v}
		text = text[n:]
		for _, w := range between {
			if rest, ok := strings.CutPrefix(text, w); ok && rest != "" && strings.IndexByte("-0123456789", rest[0]) >= 0 {
				p.then, text = w, rest
				break
			}
		}
		parts = append(parts, p)
		if p.then == "" {
			break
		}
	}
	name, ok := strings.CutPrefix(text, " ")
	if !ok {
		return "", bad
	}
	unit, err := Lookup(name)
	if err != nil {
		return "", err
	}
	own := s.To(Quantity{1, unit}).Unit
	var out strings.Builder
	for _, p := range parts {
		if own != unit {
			q := Quantity{p.value, unit}
			to := s.To(q)
			p.number = number(to.Value, step(q, to, round), round)
		}
		out.WriteString(p.number + p.then)
	}
	return out.String() + " " + own.words(), nil
}
