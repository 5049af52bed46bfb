package render

import (
	_ "embed" // the schema travels with the program
	"reflect"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"leafturn/internal/report"
)

// SchemaDoc is the description of the JSON layout, the file SCHEMA.md.
//
//go:embed SCHEMA.md
var SchemaDoc string

// Undocumented compares the JSON fields of v's type, and of every struct type
// inside it, with a schema in the form of SCHEMA.md: a heading "## object"
// for each type and under it a table whose rows begin "| `field` |" and whose
// last cell describes the field. Objects are named as the Go type, without a
// leading "json" and with a small first letter. It returns "object.field" for
// fields that lack a described row, sorted. It serves tests.
func Undocumented(schema string, v any) []string {
	rows := schemaRows(schema)
	var out []string
	for object, fields := range objectsOf(reflect.TypeOf(v)) {
		for _, f := range fields {
			if rows[object][f] == "" {
				out = append(out, object+"."+f)
			}
		}
	}
	slices.Sort(out)
	return out
}

// schemaRows reads object → field → description.
func schemaRows(schema string) map[string]map[string]string {
	rows := map[string]map[string]string{}
	object := ""
	for _, line := range strings.Split(schema, "\n") {
		if h, ok := strings.CutPrefix(line, "## "); ok {
			object = strings.Trim(strings.TrimSpace(h), "`")
			rows[object] = map[string]string{}
			continue
		}
		rest, ok := strings.CutPrefix(line, "| `")
		if !ok || object == "" {
			continue
		}
		name, cellsText, _ := strings.Cut(rest, "`")
		parts := strings.Split(strings.Trim(strings.TrimSpace(cellsText), "|"), "|")
		rows[object][name] = strings.TrimSpace(parts[len(parts)-1])
	}
	return rows
}

// objectsOf lists the JSON objects that a value of type t can hold, by name,
// with their fields in order.
func objectsOf(t reflect.Type) map[string][]string {
	out := map[string][]string{}
	var walk func(reflect.Type)
	walk = func(t reflect.Type) {
		switch t {
		case nil:
			return
		case reflect.TypeFor[report.Value]():
			t = reflect.TypeFor[jsonValue]()
		case reflect.TypeFor[report.Line]():
			t = reflect.TypeFor[jsonLine]()
		}
		switch t.Kind() {
		case reflect.Pointer, reflect.Slice, reflect.Array, reflect.Map:
			walk(t.Elem())
		case reflect.Struct:
			name := objectName(t)
			if _, seen := out[name]; seen || isLeaf(t) {
				return
			}
			out[name] = nil
			for _, f := range fieldsOf(t) {
				out[name] = append(out[name], f.name)
				walk(f.typ)
			}
		}
	}
	walk(t)
	return out
}

func objectName(t reflect.Type) string {
	name := strings.TrimPrefix(t.Name(), "json")
	r, n := utf8.DecodeRuneInString(name)
	return string(unicode.ToLower(r)) + name[n:]
}
