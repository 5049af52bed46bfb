package units

import (
	"fmt"
	"math"
	"regexp"
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

const aNumber = `-?[0-9](?:[0-9.,]*[0-9])?`

var (
	braced     = regexp.MustCompile(`\{[^{}]*\}`)
	inBraces   = regexp.MustCompile(`^\{([<>~]?)(` + aNumber + `(?:(?: to | or | and | x |-|, )` + aNumber + `)*) ([^0-9].*|1000 .*)\}$`)
	itsNumbers = regexp.MustCompile(`(?:^|[^0-9])(` + aNumber + `)`)
)

// Text writes a text of the facts for a reader of s. A quantity in it stands in
// braces, one unit behind all its numbers: {30 °C}, {15-20 m}, {7.5 x 12.5 cm}.
// {>25 ft} is rounded up, {<90 °F} down, {~27 °C} to whole degrees. Numbers in
// the units of s stay as they are written.
func (s System) Text(text string) (string, error) {
	if !strings.ContainsAny(text, "{}") {
		return text, nil
	}
	var bad error
	out := braced.ReplaceAllStringFunc(text, func(b string) string {
		words, err := s.quantity(b)
		if err != nil && bad == nil {
			bad = err
		}
		return words
	})
	if bad == nil && strings.ContainsAny(out, "{}") {
		bad = fmt.Errorf("%w: a brace stands alone in %q", ErrNumber, text)
	}
	return out, bad
}

func (s System) quantity(b string) (string, error) {
	m := inBraces.FindStringSubmatch(b)
	if m == nil {
		return "", fmt.Errorf("%w: %q is no quantity such as {15-20 m}", ErrNumber, b)
	}
	unit, err := Lookup(m[3])
	if err != nil {
		return "", err
	}
	r := map[string]Round{"": Nearest, ">": Up, "<": Down, "~": Rough}[m[1]]
	own := s.To(Quantity{1, unit}).Unit
	body, at, words := m[2], 0, ""
	for _, i := range itsNumbers.FindAllStringSubmatchIndex(body, -1) {
		start := i[2]
		if body[start] == '-' && start > 0 && body[start-1] != ' ' { // a dash between two numbers
			start++
		}
		v, err := ParseNumber(strings.ReplaceAll(body[start:i[3]], ",", ""))
		if err != nil {
			return "", err
		}
		if own == unit {
			continue
		}
		q := Quantity{v, unit}
		p := s.To(q)
		words += body[at:start] + number(p.Value, step(q, p, r), r)
		at = i[3]
	}
	return words + body[at:] + " " + own.words(), nil
}
