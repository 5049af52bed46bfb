package ingest

import (
	"slices"
	"strings"

	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// noneStated is the written form of "the label was read and says nothing".
const noneStated = "none stated"

// labelField is one key of the label file: the single table of fields from
// which template, reader and writer are made.
type labelField struct {
	section string // a heading before the field, "" for none
	key     string
	help    string // what it is and where on a label it stands
	example string // an invented one, as it may be written
	write   func(l *farm.Label) string
	// read reads a value that is not blank. It returns a problem without a place.
	read  func(l *farm.Label, text string) *diag.Problem
	clear func(l *farm.Label) // makes it unknown
	// A list has these two instead: its items as written, and reading one.
	items func(l *farm.Label) []string
	item  func(l *farm.Label, text string, names PestNames) *diag.Problem
	// Of a list that may be none stated: whether it is, and making it so.
	isNone  func(l *farm.Label) bool
	setNone func(l *farm.Label)
	cut     string // between the items where they stand in one text; "" is a comma
}

// eg adds an invented example.
func (f labelField) eg(example string) labelField {
	f.example = example
	return f
}

// flagged makes a list with a switch for "none stated".
func flagged(f labelField, none func(*farm.Label) *bool) labelField {
	empty := f.clear
	f.isNone = func(l *farm.Label) bool { return *none(l) }
	f.setNone = func(l *farm.Label) { empty(l); *none(l) = true }
	f.clear = func(l *farm.Label) { empty(l); *none(l) = false }
	return f
}

// list makes a list with three states.
func list[T any](key, help string, at func(*farm.Label) *farm.Stated[[]T], read func(string) (T, *diag.Problem), write func(T) string) labelField {
	return labelField{key: key, help: help,
		clear:   func(l *farm.Label) { *at(l) = farm.Stated[[]T]{} },
		isNone:  func(l *farm.Label) bool { return at(l).State == farm.NoneStated },
		setNone: func(l *farm.Label) { *at(l) = farm.None[[]T]() },
		items: func(l *farm.Label) (out []string) {
			for _, v := range at(l).Value {
				out = append(out, write(v))
			}
			return out
		},
		item: func(l *farm.Label, s string, _ PestNames) *diag.Problem {
			v, bad := read(tidy(s))
			if bad != nil {
				return bad
			}
			for _, have := range at(l).Value {
				if strings.EqualFold(write(have), write(v)) {
					return refuse("keep one of the two", "%s stands twice", quote(s))
				}
			}
			*at(l) = farm.Value(append(slices.Clone(at(l).Value), v))
			return nil
		}}
}

// stated makes a field with three states.
func stated[T any](key, help string, at func(*farm.Label) *farm.Stated[T], read func(string) (T, *diag.Problem), write func(T) string) labelField {
	return labelField{key: key, help: help,
		clear: func(l *farm.Label) { *at(l) = farm.Stated[T]{} },
		write: func(l *farm.Label) string { return statedText(*at(l), write) },
		read: func(l *farm.Label, s string) *diag.Problem {
			if strings.EqualFold(tidy(s), noneStated) {
				*at(l) = farm.None[T]()
				return nil
			}
			v, bad := read(s)
			if bad == nil {
				*at(l) = farm.Value(v)
			}
			return bad
		}}
}

// statedText writes one of the three states as TOML.
func statedText[T any](f farm.Stated[T], write func(T) string) string {
	switch f.State {
	case farm.IsStated:
		return tomlText(write(f.Value))
	case farm.NoneStated:
		return tomlText(noneStated)
	}
	return `""`
}

// fact makes a field that the tool cannot do without, or that is no answer of
// a label: it has no "none stated".
func fact(key, help string, write func(*farm.Label) string, read func(*farm.Label, string) *diag.Problem) labelField {
	return labelField{key: key, help: help,
		clear: func(l *farm.Label) { _ = read(l, "") },
		write: func(l *farm.Label) string { return tomlText(write(l)) },
		read: func(l *farm.Label, s string) *diag.Problem {
			if strings.EqualFold(tidy(s), noneStated) {
				return refuse("leave it blank if it is not known", "%s cannot be %q", key, noneStated)
			}
			return read(l, s)
		}}
}

// under puts a section heading before a field.
func under(section string, f labelField) labelField {
	f.section = section
	return f
}

func same(s string) string { return s }

func freeText(s string) (string, *diag.Problem) { return strings.TrimSpace(s), nil }

func oneWord(kind string, allowed ...string) func(string) (string, *diag.Problem) {
	return func(s string) (string, *diag.Problem) { return choice(kind, tidy(s), allowed) }
}

type yes = farm.Stated[bool]
type texts = farm.Stated[[]string]
type txt = farm.Stated[string]
type num = farm.Stated[float64]
type days = farm.Stated[int]
type qty = farm.Stated[units.Quantity]
