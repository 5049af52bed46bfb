package render

import (
	"bytes"
	"encoding"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/report"
)

// encoder writes JSON as encoding/json does, with these differences: a float
// that is not finite, a zero date and a zero instant become null; for a float
// the field "<name>_reason" beside it says why; report values are written as
// the objects of SCHEMA.md; map keys are sorted and text is not HTML-escaped.
type encoder struct {
	buf  bytes.Buffer
	asOf civil.Date
}

const maxDepth = 200 // deeper is a value that holds itself

// Reasons for numbers that JSON cannot hold.
const (
	reasonNaN     = "could not be computed"
	reasonPoisson = "Poisson limit"
	reasonHigh    = "no upper limit"
	reasonLow     = "no lower limit"
)

var (
	jsonMarshaler = reflect.TypeFor[json.Marshaler]()
	textMarshaler = reflect.TypeFor[encoding.TextMarshaler]()
)

// value writes v. name is the field it belongs to. The reason returned is
// not empty when v, or an element of it, is a null in place of a number.
func (e *encoder) value(v reflect.Value, name string, depth int) (reason string, err error) {
	if depth > maxDepth {
		return "", fmt.Errorf("JSON field %q is nested deeper than %d levels", name, maxDepth)
	}
	if !v.IsValid() {
		e.buf.WriteString("null")
		return "", nil
	}
	if special, ok := e.special(v); ok {
		return e.value(special, name, depth+1)
	}
	switch v.Kind() {
	case reflect.Pointer, reflect.Interface:
		if v.IsNil() {
			e.buf.WriteString("null")
			return "", nil
		}
		if isLeaf(v.Type()) && !isLeaf(v.Elem().Type()) { // marshals as a pointer only
			return "", e.standard(v.Interface(), name)
		}
		return e.value(v.Elem(), name, depth+1)
	case reflect.Float32, reflect.Float64:
		if !isLeaf(v.Type()) {
			return e.float(v, name)
		}
	}
	if isLeaf(v.Type()) {
		return "", e.standard(v.Interface(), name)
	}
	switch v.Kind() {
	case reflect.Struct:
		return "", e.object(v, depth)
	case reflect.Map:
		return "", e.mapping(v, depth)
	case reflect.Slice, reflect.Array:
		if v.Type().Elem().Kind() == reflect.Uint8 {
			return "", e.standard(v.Interface(), name)
		}
		e.buf.WriteByte('[')
		for i := range v.Len() {
			if i > 0 {
				e.buf.WriteByte(',')
			}
			r, err := e.value(v.Index(i), name, depth+1)
			if err != nil {
				return "", err
			}
			if reason == "" {
				reason = r
			}
		}
		e.buf.WriteByte(']')
		return reason, nil
	}
	return "", e.standard(v.Interface(), name)
}

// special gives what stands in JSON for types that are not written field by
// field: report values, and dates and instants that may be absent.
func (e *encoder) special(v reflect.Value) (reflect.Value, bool) {
	if !v.CanInterface() {
		return reflect.Value{}, false
	}
	switch x := v.Interface().(type) {
	case report.Value:
		return reflect.ValueOf(newJSONValue(x)), true
	case report.Line:
		return reflect.ValueOf(newJSONLine(x, e.asOf)), true
	case civil.Date:
		if x.IsZero() {
			return reflect.Value{}, true
		}
	case civil.MonthDay:
		if x.IsZero() {
			return reflect.Value{}, true
		}
	case time.Time:
		if x.IsZero() {
			return reflect.Value{}, true
		}
	}
	return reflect.Value{}, false
}

func (e *encoder) float(v reflect.Value, name string) (reason string, err error) {
	switch f := v.Float(); {
	case math.IsNaN(f):
		reason = reasonNaN
	case math.IsInf(f, 1) && (name == "k" || strings.HasSuffix(name, "_k")):
		reason = reasonPoisson
	case math.IsInf(f, 1):
		reason = reasonHigh
	case math.IsInf(f, -1):
		reason = reasonLow
	case f == 0: // never -0
		e.buf.WriteByte('0')
		return "", nil
	default:
		return "", e.standard(v.Interface(), name)
	}
	e.buf.WriteString("null")
	return reason, nil
}

func (e *encoder) object(v reflect.Value, depth int) error {
	e.buf.WriteByte('{')
	first := true
	key := func(name string) error {
		if !first {
			e.buf.WriteByte(',')
		}
		first = false
		if err := e.standard(name, name); err != nil {
			return err
		}
		e.buf.WriteByte(':')
		return nil
	}
	fields := fieldsOf(v.Type())
	for _, f := range fields {
		fv, err := v.FieldByIndexErr(f.index)
		if err != nil || f.omitEmpty && emptyValue(fv) || f.omitZero && fv.IsZero() {
			continue // a nil embedded struct has no fields
		}
		if err := key(f.name); err != nil {
			return err
		}
		reason, err := e.value(fv, f.name, depth+1)
		if err != nil {
			return err
		}
		own := slices.ContainsFunc(fields, func(o jsonField) bool { return o.name == f.name+"_reason" })
		if reason != "" && !own {
			if err := key(f.name + "_reason"); err != nil {
				return err
			}
			if err := e.standard(reason, f.name); err != nil {
				return err
			}
		}
	}
	e.buf.WriteByte('}')
	return nil
}

func (e *encoder) mapping(v reflect.Value, depth int) error {
	values := map[string]reflect.Value{}
	var keys []string
	for it := v.MapRange(); it.Next(); {
		k, err := mapKey(it.Key())
		if err != nil {
			return err
		}
		keys = append(keys, k)
		values[k] = it.Value()
	}
	slices.Sort(keys)
	e.buf.WriteByte('{')
	for i, k := range keys {
		if i > 0 {
			e.buf.WriteByte(',')
		}
		if err := e.standard(k, k); err != nil {
			return err
		}
		e.buf.WriteByte(':')
		reason, err := e.value(values[k], k, depth+1)
		if err != nil {
			return err
		}
		if _, own := values[k+"_reason"]; reason != "" && !own {
			fmt.Fprintf(&e.buf, ",%q:%q", k+"_reason", reason)
		}
	}
	e.buf.WriteByte('}')
	return nil
}

func mapKey(k reflect.Value) (string, error) {
	if t, ok := k.Interface().(encoding.TextMarshaler); ok {
		b, err := t.MarshalText()
		return string(b), err
	}
	switch {
	case k.Kind() == reflect.String:
		return k.String(), nil
	case k.CanInt(), k.CanUint():
		return fmt.Sprint(k.Interface()), nil
	}
	return "", fmt.Errorf("JSON cannot have keys of type %s", k.Type())
}

// standard writes what encoding/json writes, without HTML escaping.
func (e *encoder) standard(x any, name string) error {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(x); err != nil {
		return fmt.Errorf("JSON field %q: %w", name, err)
	}
	e.buf.Write(bytes.TrimRight(b.Bytes(), "\n"))
	return nil
}

// jsonField is one field of an object.
type jsonField struct {
	name                string
	index               []int
	typ                 reflect.Type
	omitEmpty, omitZero bool
}

// fieldsOf lists the fields of a struct as JSON names them, in the order of
// the struct; embedded structs without a name of their own are flattened.
func fieldsOf(t reflect.Type) []jsonField {
	var out []jsonField
	for i := range t.NumField() {
		f := t.Field(i)
		name, opts, _ := strings.Cut(f.Tag.Get("json"), ",")
		if name == "-" && opts == "" {
			continue
		}
		inner := f.Type
		if inner.Kind() == reflect.Pointer {
			inner = inner.Elem()
		}
		if f.Anonymous && name == "" && inner.Kind() == reflect.Struct && !isLeaf(inner) {
			for _, g := range fieldsOf(inner) {
				g.index = append([]int{i}, g.index...)
				out = append(out, g)
			}
			continue
		}
		if !f.IsExported() {
			continue
		}
		if name == "" {
			name = f.Name
		}
		flags := strings.Split(opts, ",")
		out = append(out, jsonField{name, []int{i}, f.Type, slices.Contains(flags, "omitempty"), slices.Contains(flags, "omitzero")})
	}
	return out
}

// isLeaf reports whether values of t are written as one JSON string, number
// or by their own code, not field by field.
func isLeaf(t reflect.Type) bool {
	return t.Implements(jsonMarshaler) || t.Implements(textMarshaler)
}

// emptyValue is what omitempty leaves out.
func emptyValue(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Array, reflect.Map, reflect.Slice, reflect.String:
		return v.Len() == 0
	case reflect.Struct:
		return false
	}
	return v.IsZero()
}
