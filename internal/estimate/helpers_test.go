package estimate_test

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/estimate"
)

func num(v any) float64 { f, _ := v.(float64); return f }

// compare checks got against want, which may be nested, and returns the
// number of values checked.
func compare(t *testing.T, at string, want, got any, rel, abs float64) int {
	t.Helper()
	switch w := want.(type) {
	case map[string]any:
		n := 0
		for k, v := range w {
			g, ok := got.(map[string]any)
			require.True(t, ok, at)
			n += compare(t, at+"."+k, v, g[k], rel, abs)
		}
		return n
	case []any:
		var g []any
		switch s := got.(type) {
		case []float64:
			for _, f := range s {
				g = append(g, f)
			}
		case [][]float64:
			for _, f := range s {
				g = append(g, f)
			}
		case estimate.Interval:
			g = []any{s.Low, s.High}
		case []any:
			g = s
		default:
			require.Failf(t, at, "want a list, got %T", got)
		}
		require.Len(t, g, len(w), at)
		n := 0
		for i := range w {
			n += compare(t, at, w[i], g[i], rel, abs)
		}
		return n
	case float64:
		var g float64
		switch v := got.(type) {
		case float64:
			g = v
		case int:
			g = float64(v)
		default:
			require.Failf(t, at, "want %v, got %T", w, got)
		}
		if !(math.Abs(g-w) <= abs+rel*math.Abs(w)) {
			t.Errorf("%s: got %.12g, want %.12g (rel %g, abs %g)", at, g, w, rel, abs)
		}
		return 1
	case string:
		if w == "Inf" {
			require.Equal(t, math.Inf(1), got, at)
			return 1
		}
	}
	require.Equal(t, want, got, at)
	return 1
}

// input is what a case is computed from: the counts where it has them, and
// every field by name.
type input struct {
	Counts, Value, Freq []int
	Groups              map[string]struct{ Value, Freq []int }
	raw                 map[string]json.RawMessage
}

func (in *input) UnmarshalJSON(b []byte) error {
	in.raw = map[string]json.RawMessage{}
	if err := json.Unmarshal(b, &in.raw); err != nil {
		return err
	}
	for name, to := range map[string]any{"counts": &in.Counts, "value": &in.Value, "freq": &in.Freq, "groups": &in.Groups} {
		if r, ok := in.raw[name]; ok {
			if err := json.Unmarshal(r, to); err != nil {
				return err
			}
		}
	}
	if in.Value != nil {
		in.Counts = expand(in.Value, in.Freq)
	}
	return nil
}

// f reads a number, or the text "Inf".
func (in input) f(name string) float64 { return in.list(name)[0] }

// list reads a number or a list of numbers.
func (in input) list(name string) []float64 {
	var v any
	if json.Unmarshal(in.raw[name], &v) != nil {
		panic("no input " + name)
	}
	l, ok := v.([]any)
	if !ok {
		l = []any{v}
	}
	var out []float64
	for _, x := range l {
		switch x := x.(type) {
		case float64:
			out = append(out, x)
		case string:
			out = append(out, math.Inf(1))
		}
	}
	return out
}

func (in input) as(name string, to any) {
	if err := json.Unmarshal(in.raw[name], to); err != nil {
		panic(name + ": " + err.Error())
	}
}

func expand(value, freq []int) (out []int) {
	for i, v := range value {
		for range freq[i] {
			out = append(out, v)
		}
	}
	return out
}

func must[T any](t *testing.T) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		require.NoError(t, err)
		return v
	}
}

func ints(f []float64) (out []int) {
	for _, x := range f {
		out = append(out, int(x))
	}
	return out
}

func each(xs []float64, f func(float64) float64) (out []float64) {
	for _, x := range xs {
		out = append(out, f(x))
	}
	return out
}
