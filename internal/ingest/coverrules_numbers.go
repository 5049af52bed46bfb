package ingest

import (
	"math"
	"strings"
	"unicode/utf8"

	"leafturn/internal/pattern"
	"leafturn/internal/units"
)

var leadingNumber = pattern.New(`^\$?[-+−]?[0-9.,]*`)

// amount takes a number and what is written behind it as its unit, in one word
// or several: "25 %", "5lb", "$2.10 per lb".
func (l *coverLine) amount(what string) (num, unit word, ok bool) {
	w, ok := l.next(what)
	if !ok {
		return w, w, false
	}
	num = word{leadingNumber().FindString(w.text), w.col}
	if w.text == "$" && l.at < len(l.words) { // "$ 120"
		w = l.words[l.at]
		num = word{leadingNumber().FindString(w.text), w.col}
		l.at++
	}
	if !strings.ContainsAny(num.text, "0123456789") {
		l.bad(w, "%s is no number; %s is wanted", quote(w.text), what)
		return num, unit, false
	}
	unit = word{col: w.col + utf8.RuneCountInString(num.text)}
	tail := l.words[l.at:]
	if glued := w.text[len(num.text):]; glued != "" {
		tail = append([]word{{glued, unit.col}}, tail...)
	} else if len(tail) > 0 {
		unit.col = tail[0].col
	}
	unit.text = join(tail)
	num.text = strings.TrimPrefix(num.text, "$")
	return num, unit, true
}

// value reads the number of an amount and holds it to a range.
func (l *coverLine) value(w word, what string, low, high float64) float64 {
	s := strings.ReplaceAll(w.text, "−", "-")
	if strings.Contains(s, ",") {
		l.badDo(w, "write a decimal point and no comma: 7.5 or 1200", "%s holds a comma", quote(w.text))
		return 0
	}
	v, err := units.ParseNumber(s)
	switch {
	case err != nil:
		l.bad(w, "%s is no number", quote(w.text))
	case v < low && low == 0:
		l.bad(w, "%s is %s; it cannot be below 0", what, w.text)
	case v < low:
		l.bad(w, "%s is %s; it must be %s or more", what, w.text, number(low))
	case v > high && high >= maxCoverNum:
		l.bad(w, "%s is %s; more than %s is taken for a slip", what, cut(w.text), number(high))
	case v > high:
		l.bad(w, "%s is %s; it must be from %s to %s", what, cut(w.text), number(low), number(high))
	default:
		return v + 0 // no negative zero
	}
	return 0
}

// bare reads a number without a unit, or with one of the words given.
func (l *coverLine) bare(what string, low, high float64, units ...string) float64 {
	num, unit, ok := l.amount(what)
	if !ok {
		return 0
	}
	l.at = len(l.words)
	if unit.text != "" {
		found := false
		for _, u := range units {
			found = found || strings.EqualFold(u, unit.text)
		}
		if !found {
			l.bad(unit, "%s after the number", quote(unit.text))
			return 0
		}
	}
	return l.value(num, what, low, high)
}

// whole is bare for a whole number.
func (l *coverLine) whole(what string, low, high float64, units ...string) float64 {
	w := l.here()
	v := l.bare(what, low, high, units...)
	if v != math.Trunc(v) {
		l.bad(w, "%s is %s; it must be a whole number", what, w.text)
	}
	return v
}

// extent reads an area or a share of the planned beds' area.
func (l *coverLine) extent() {
	const what = "the area"
	num, unit, ok := l.amount(what)
	if !ok {
		return
	}
	l.at = len(l.words)
	switch strings.ToLower(unit.text) {
	case "":
		l.bad(num, "%s has no unit", quote(num.text))
	case "%", "percent", "per cent":
		// Kept to a millionth of a percent, so that it is written as it was read.
		l.r.Number = math.Round(l.value(num, "the share in percent", 0, 100)*1e6) / 1e6 / 100
		l.r.Unit = UnitShare
	default:
		v := l.value(num, what, 0, maxCoverNum*10)
		if l.wrong {
			return
		}
		l.r.Number, l.r.Unit = l.in(v, unit, units.Area, "m2", "m2, sq ft, acre, ha or %"), "m2"
		if l.r.Number > maxCoverNum {
			l.bad(num, "%s is %s; more than %s m2 is taken for a slip", what, num.text+" "+unit.text, number(maxCoverNum))
		}
	}
}

// in converts a number to a unit.
func (l *coverLine) in(v float64, unit word, dim units.Dimension, to, forms string) float64 {
	u, err := units.Lookup(unit.text)
	switch {
	case err != nil:
		l.badDo(unit, "write "+forms, "%v", err)
	case u.Dimension != dim:
		l.badDo(unit, "write "+forms, "%s is a unit of %s, not of %s", quote(unit.text), u.Dimension, dim)
	default:
		return units.Quantity{Value: v, Unit: u}.MustIn(to)
	}
	return 0
}

// mass reads a weight of seed as kg.
func (l *coverLine) mass(what string) float64 {
	num, unit, ok := l.amount(what)
	if !ok {
		return 0
	}
	l.at = len(l.words)
	v := l.value(num, what, 0, maxCoverNum)
	switch {
	case l.wrong:
		return 0
	case v == 0:
		l.bad(num, "%s is 0", what)
		return 0
	case unit.text == "":
		l.bad(num, "%s has no unit", quote(num.text))
		return 0
	}
	kg := l.in(v, unit, units.Mass, "kg", "kg, g, lb or oz wt")
	if kg > maxCoverNum {
		l.bad(num, "%s is %s; more than %s kg is taken for a slip", what, num.text+" "+unit.text, number(maxCoverNum))
	}
	return kg
}

// price reads USD per weight as USD per kg.
func (l *coverLine) price() float64 {
	const what = "the price"
	num, unit, ok := l.amount(what)
	if !ok {
		return 0
	}
	l.at = len(l.words)
	v := l.value(num, what, 0, maxCoverNum)
	if l.wrong {
		return 0
	}
	// "USD per lb", "$/lb", "/lb" and "per lb" are the same.
	text, col := unit.text, unit.col
	strip := func(prefix string) bool {
		if len(text) < len(prefix) || !strings.EqualFold(text[:len(prefix)], prefix) {
			return false
		}
		left := strings.TrimLeftFunc(text[len(prefix):], isSpace)
		col += utf8.RuneCountInString(text) - utf8.RuneCountInString(left)
		text = left
		return true
	}
	_ = strip("USD") || strip("$")
	if !strip("/") && !strip("per ") || text == "" {
		l.bad(unit, "the price does not say per what weight")
		return 0
	}
	perKg := v / l.in(1, word{text, col}, units.Mass, "kg", "per kg, per g, per lb or per oz wt")
	if l.wrong {
		return 0
	}
	if perKg > maxCoverNum {
		l.bad(num, "%s is %s %s; more than %s USD per kg is taken for a slip", what, num.text, unit.text, number(maxCoverNum))
	}
	return perKg
}

// atLeast reads "at least" or "at most".
func (l *coverLine) atLeast() bool {
	w := l.here()
	switch l.peek() {
	case ">=", "≥":
		l.at++
		return true
	case "<=", "≤":
		l.at++
		return false
	case "at":
		l.at++
		return l.take("least", "most") == "least"
	}
	if w.text == "" {
		l.bad(w, `"at least" or "at most" is missing`)
	} else {
		l.bad(w, `%s stands where "at least" or "at most" should`, quote(w.text))
	}
	return false
}

// atMost passes over "at most" where nothing else can be meant.
func (l *coverLine) atMost() {
	switch w := l.here(); l.peek() {
	case "<=", "≤":
		l.at++
	case "at", ">=", "≥":
		if l.atLeast() {
			l.bad(w, "the rule is a limit from above")
		}
	}
}

// spread reads "+- 1" behind a number.
func (l *coverLine) spread(unit word, high float64) float64 {
	text := unit.text
	for _, sign := range []string{"+-", "+/-", "±"} {
		left, ok := strings.CutPrefix(text, sign)
		if !ok {
			continue
		}
		left = strings.TrimLeftFunc(left, isSpace)
		at := word{left, unit.col + utf8.RuneCountInString(text) - utf8.RuneCountInString(left)}
		if num := leadingNumber().FindString(left); num != left || !strings.ContainsAny(num, "0123456789") || strings.HasPrefix(num, "$") {
			l.bad(at, "%s is no number; the spread is wanted after %s", quote(left), sign)
			return 0
		}
		return l.value(at, "the spread", 0, high)
	}
	l.bad(unit, "%s after the number", quote(unit.text))
	return 0
}
