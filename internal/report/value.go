package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/civil"
)

// Kind tells what a Value holds.
type Kind int

// The kinds of value. The zero Kind is Unknown: a cell that nobody filled is
// never shown as a zero or a blank.
const (
	KindUnknown Kind = iota // no value; Reason says why
	KindText                // words
	KindNumber              // a measured or computed number, full precision
	KindCount               // a whole number that was counted
	KindPercent             // a proportion 0 to 1, shown as a percentage
	KindChance              // a probability 0 to 1, shown in words
	KindDate                // a day
)

var kindNames = [...]string{"unknown", "text", "number", "count", "percent", "chance", "date"}

// String returns the name used in JSON.
func (k Kind) String() string { return kindNames[k] }

// Value is one thing that can stand in a table cell or inside a Line. It
// keeps its number at full precision; renderers round. The zero Value is
// unknown, with the reason "not given".
type Value struct {
	kind     Kind
	text     string // KindText: the words; KindUnknown: what to show, if short
	num      float64
	count    int
	decimals int
	date     civil.Date
	reason   string
	name     string
	unit     string
}

// Text returns a value of plain words.
func Text(s string) Value { return Value{kind: KindText, text: s} }

// Num returns a number to be shown with the given decimals (0 to 15). NaN
// and the infinities are no numbers and become unknown values.
func Num(v float64, decimals int) Value {
	switch {
	case math.IsNaN(v):
		return Missing("could not be computed")
	case math.IsInf(v, 1):
		return MissingAs("no limit", "no upper limit")
	case math.IsInf(v, -1):
		return MissingAs("no limit", "no lower limit")
	}
	return Value{kind: KindNumber, num: v, decimals: min(max(decimals, 0), 15)}
}

// K returns the dispersion k of a negative binomial. An infinite k is the
// Poisson limit (animals spread at random) and is named so.
func K(v float64, decimals int) Value {
	if math.IsInf(v, 1) {
		return MissingAs("Poisson", "Poisson limit")
	}
	return Num(v, decimals)
}

// Count returns a whole number.
func Count(n int) Value { return Value{kind: KindCount, count: n} }

// Percent returns a proportion from 0 to 1 that is shown as a percentage.
// Anything else becomes an unknown value.
func Percent(p float64) Value { return proportion(KindPercent, p) }

// Chance returns a probability from 0 to 1 that is shown in plain words,
// such as "about 7 in 10". Anything else becomes an unknown value.
func Chance(p float64) Value { return proportion(KindChance, p) }

func proportion(k Kind, p float64) Value {
	if math.IsNaN(p) || p < 0 || p > 1 {
		return Missing("could not be computed")
	}
	return Value{kind: k, num: p}
}

// Day returns a date; the zero Date becomes an unknown value.
func Day(d civil.Date) Value {
	if d.IsZero() {
		return Missing("no date known")
	}
	return Value{kind: KindDate, date: d}
}

// Missing returns an unknown value with the reason why it is unknown.
func Missing(reason string) Value { return Value{reason: reason} }

// MissingAs is Missing with the short words that a table shows in its place.
func MissingAs(short, reason string) Value { return Value{text: short, reason: reason} }

// As gives the value a name and a unit for machine-readable output; both may
// be empty. Printed lines carry their units in their own words.
func (v Value) As(name, unit string) Value {
	v.name, v.unit = name, unit
	return v
}

// Kind returns what the value holds.
func (v Value) Kind() Kind { return v.kind }

// Float returns the number at full precision for the kinds number, count,
// percent and chance, and false for the others.
func (v Value) Float() (float64, bool) {
	switch v.kind {
	case KindNumber, KindPercent, KindChance:
		return v.num, true
	case KindCount:
		return float64(v.count), true
	}
	return 0, false
}

// Int returns the whole number of a count, 0 for the other kinds.
func (v Value) Int() int { return v.count }

// Decimals returns the decimals a number is shown with.
func (v Value) Decimals() int { return v.decimals }

// Words returns the words of a text, or the short words of an unknown value.
func (v Value) Words() string { return v.text }

// Date returns the day of a date value, the zero Date for the other kinds.
func (v Value) Date() civil.Date { return v.date }

// Name returns the name that As gave.
func (v Value) Name() string { return v.name }

// Unit returns the unit that As gave.
func (v Value) Unit() string { return v.unit }

// Reason returns why an unknown value is unknown, "" for a known value.
func (v Value) Reason() string {
	if v.kind == KindUnknown && v.reason == "" {
		return "not given"
	}
	return v.reason
}

// Line is a sentence whose numbers are still values, so that one renderer
// can round them and another can give them in full. The zero Line is empty.
type Line struct {
	parts []Value // words and values in turn; words are unnamed KindText
	cites []int
}

// Say returns a line. Each {} in format takes the next argument, which is a
// Value, a string, an int (a count) or a civil.Date. Text in arguments is
// never searched for {}. A format that does not match its arguments is a
// mistake in our own code and panics.
func Say(format string, args ...any) Line {
	pieces := strings.Split(format, "{}")
	if len(pieces)-1 != len(args) {
		panic(fmt.Sprintf("report: %q has %d places for %d values", format, len(pieces)-1, len(args)))
	}
	var l Line
	for i, piece := range pieces {
		if piece != "" {
			l.parts = append(l.parts, Text(piece))
		}
		if i == len(args) {
			break
		}
		switch a := args[i].(type) {
		case Value:
			l.parts = append(l.parts, a)
		case string:
			l.parts = append(l.parts, Text(a))
		case int:
			l.parts = append(l.parts, Count(a))
		case civil.Date:
			l.parts = append(l.parts, Day(a))
		default:
			panic(fmt.Sprintf("report: %q: cannot say a %T", format, a))
		}
	}
	return l
}

// Plain returns a line of these words as they are.
func Plain(s string) Line {
	if s == "" {
		return Line{}
	}
	return Line{parts: []Value{Text(s)}}
}

// Lines returns one plain line for each text.
func Lines(texts ...string) []Line {
	out := make([]Line, len(texts))
	for i, s := range texts {
		out[i] = Plain(s)
	}
	return out
}

// Cite returns the line with references to the document's sources by key.
func (l Line) Cite(keys ...int) Line {
	l.cites = append(append([]int(nil), l.cites...), keys...)
	return l
}

// Parts returns the words and values of the line in order.
func (l Line) Parts() []Value { return append([]Value(nil), l.parts...) }

// Join makes one line of several, sep between them, with all their sources.
func Join(sep string, lines ...Line) Line {
	var out Line
	for _, l := range lines {
		if l.IsZero() {
			continue
		}
		if len(out.parts) > 0 {
			out.parts = append(out.parts, Text(sep))
		}
		out.parts = append(out.parts, l.parts...)
		for _, k := range l.cites {
			if !slices.Contains(out.cites, k) {
				out.cites = append(out.cites, k)
			}
		}
	}
	return out
}

// Reword returns the line with f applied to its words; its values and sources
// stay.
func (l Line) Reword(f func(string) string) Line {
	out := Line{cites: l.cites}
	for _, v := range l.parts {
		if v.kind == KindText && v.name == "" {
			v.text = f(v.text)
		}
		out.parts = append(out.parts, v)
	}
	return out
}

// Cites returns the keys of the sources the line refers to.
func (l Line) Cites() []int { return append([]int(nil), l.cites...) }

// IsZero reports whether the line says nothing.
func (l Line) IsZero() bool { return len(l.parts) == 0 && len(l.cites) == 0 }
