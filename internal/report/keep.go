package report

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"time"
)

// ErrKept reports bytes that Keep did not write.
var ErrKept = errors.New("report: not what was kept")

// Keep writes plain data down for Kept, which gives back the very same: a
// Document without Data and Made, or the types that commands put into Data.
// What is of an unknown kind, such as a figure's data, and instants that are not
// in UTC are refused.
func Keep(v any) ([]byte, error) {
	var k keeper
	k.write(reflect.ValueOf(v))
	return k.b, k.err
}

// Kept reads what Keep wrote into what into points to. The bytes must be of the
// same program: they hold the fields in the order in which the types have them.
func Kept(b []byte, into any) error {
	k := keeper{b: b}
	k.read(reflect.ValueOf(into).Elem())
	if k.err == nil && len(k.b) > 0 {
		k.err = ErrKept
	}
	return k.err
}

type keeper struct {
	b   []byte
	err error
}

var (
	lineType  = reflect.TypeFor[Line]()
	valueType = reflect.TypeFor[Value]()
	timeType  = reflect.TypeFor[time.Time]()
)

func (k *keeper) write(v reflect.Value) {
	switch v.Type() {
	case lineType:
		l := v.Interface().(Line)
		k.write(reflect.ValueOf(l.parts))
		k.write(reflect.ValueOf(l.cites))
		return
	case valueType:
		x := v.Interface().(Value)
		for _, f := range []any{int(x.kind), x.text, x.num, x.count, x.decimals, x.date, x.reason, x.name, x.unit} {
			k.write(reflect.ValueOf(f))
		}
		return
	case timeType:
		t := v.Interface().(time.Time)
		k.write(reflect.ValueOf(!t.IsZero()))
		if !t.IsZero() {
			if t.Location() != time.UTC {
				k.err = fmt.Errorf("report: cannot keep the instant %v", t)
			}
			k.write(reflect.ValueOf(t.UnixNano()))
		}
		return
	}
	switch v.Kind() {
	case reflect.String:
		k.b = binary.AppendUvarint(k.b, uint64(v.Len()))
		k.b = append(k.b, v.String()...)
	case reflect.Int, reflect.Int64:
		k.b = binary.AppendVarint(k.b, v.Int())
	case reflect.Bool:
		k.b = append(k.b, 0)
		if v.Bool() {
			k.b[len(k.b)-1] = 1
		}
	case reflect.Float64:
		k.b = binary.LittleEndian.AppendUint64(k.b, math.Float64bits(v.Float()))
	case reflect.Slice: // nil is 0, for it is not the same as none
		if v.IsNil() {
			k.b = append(k.b, 0)
			return
		}
		k.b = binary.AppendUvarint(k.b, uint64(v.Len())+1)
		for i := range v.Len() {
			k.write(v.Index(i))
		}
	case reflect.Map:
		if v.IsNil() {
			k.b = append(k.b, 0)
			return
		}
		k.b = binary.AppendUvarint(k.b, uint64(v.Len())+1)
		keys := v.MapKeys()
		slices.SortFunc(keys, func(x, y reflect.Value) int { return strings.Compare(x.String(), y.String()) })
		for _, key := range keys {
			k.write(key)
			k.write(v.MapIndex(key))
		}
	case reflect.Pointer:
		k.write(reflect.ValueOf(!v.IsNil()))
		if !v.IsNil() {
			k.write(v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			k.write(v.Field(i))
		}
	case reflect.Interface:
		if !v.IsNil() {
			k.err = fmt.Errorf("report: cannot keep a %s", v.Elem().Type())
		}
	default:
		k.err = fmt.Errorf("report: cannot keep a %s", v.Type())
	}
}

// take cuts n bytes off, or fails.
func (k *keeper) take(n uint64) []byte {
	if k.err != nil || n > uint64(len(k.b)) {
		k.err = ErrKept
		return nil
	}
	out := k.b[:n]
	k.b = k.b[n:]
	return out
}

// size reads a length; each element takes a byte at least.
func (k *keeper) size() uint64 {
	u, n := binary.Uvarint(k.b)
	if k.err != nil || n <= 0 || u > uint64(len(k.b)) {
		k.err = ErrKept
		return 0
	}
	k.b = k.b[n:]
	return u
}

func (k *keeper) read(v reflect.Value) {
	if k.err != nil {
		return
	}
	switch v.Type() {
	case lineType:
		l := v.Addr().Interface().(*Line)
		k.read(reflect.ValueOf(&l.parts).Elem())
		k.read(reflect.ValueOf(&l.cites).Elem())
		return
	case valueType:
		x := v.Addr().Interface().(*Value)
		kind := 0
		for _, f := range []any{&kind, &x.text, &x.num, &x.count, &x.decimals, &x.date, &x.reason, &x.name, &x.unit} {
			k.read(reflect.ValueOf(f).Elem())
		}
		if x.kind = Kind(kind); kind < 0 || kind >= len(kindNames) {
			k.err = ErrKept
		}
		return
	case timeType:
		known, at := false, int64(0)
		if k.read(reflect.ValueOf(&known).Elem()); known {
			k.read(reflect.ValueOf(&at).Elem())
			v.Set(reflect.ValueOf(time.Unix(0, at).UTC()))
		}
		return
	}
	switch v.Kind() {
	case reflect.String:
		v.SetString(string(k.take(k.size())))
	case reflect.Int, reflect.Int64:
		i, n := binary.Varint(k.b)
		if n <= 0 {
			k.err = ErrKept
			return
		}
		k.b = k.b[n:]
		v.SetInt(i)
	case reflect.Bool:
		if b := k.take(1); b != nil {
			v.SetBool(b[0] != 0)
		}
	case reflect.Float64:
		if b := k.take(8); b != nil {
			v.SetFloat(math.Float64frombits(binary.LittleEndian.Uint64(b)))
		}
	case reflect.Slice:
		n := k.size()
		if k.err != nil || n == 0 {
			return
		}
		v.Set(reflect.MakeSlice(v.Type(), int(n-1), int(n-1)))
		for i := 0; i < v.Len() && k.err == nil; i++ {
			k.read(v.Index(i))
		}
	case reflect.Map:
		n := k.size()
		if k.err != nil || n == 0 {
			return
		}
		v.Set(reflect.MakeMapWithSize(v.Type(), int(n-1)))
		for range n - 1 {
			key, x := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
			if k.read(key); k.err == nil {
				k.read(x)
			}
			if k.err != nil {
				return
			}
			v.SetMapIndex(key, x)
		}
	case reflect.Pointer:
		there := false
		if k.read(reflect.ValueOf(&there).Elem()); there && k.err == nil {
			v.Set(reflect.New(v.Type().Elem()))
			k.read(v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			k.read(v.Field(i))
		}
	case reflect.Interface: // always nil
	default:
		k.err = ErrKept
	}
}
