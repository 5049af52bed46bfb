package units_test

import (
	"math"
	"math/big"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/units"
)

// Source of the definitions: NIST Special Publication 811 (2008), appendix B;
// the derived factors were worked out from them with exact fractions.
func TestConvert_NIST(t *testing.T) {
	for _, c := range []struct {
		value    float64
		from, to string
		want     float64
	}{
		{1, "acre", "m2", 4046.8564224},
		{1, "1000 ft2", "m2", 92.90304},
		{1, "yd2", "m2", 0.83612736},
		{1, "lb/1000 ft2", "lb/acre", 43.56},
		{1, "lb/1000 ft2", "kg/ha", 48.8242763638305},
		{1, "lb/1000 sq ft", "g/m2", 4.88242763638305},
		{1, "lb/acre", "kg/ha", 1.12085115619446},
		{1, "kg/ha", "lb/acre", 0.892179121619704},
		{1, "kg/ha", "lb/1000 ft2", 0.0204816143622522},
		{1, "g/m2", "lb/1000 ft2", 0.204816143622522},
		{1, "g/m2", "kg/ha", 10},
		{1, "oz wt/1000 ft2", "g/m2", 0.305151727273941},
		{1, "oz wt", "g", 28.349523125},
		{1, "oz wt/yd2", "g/m2", 33.9057474748},
		{1, "US fl oz", "mL", 29.5735295625},
		{1, "US fl oz/US gal", "mL/L", 7.8125},
		{1, "US fl oz/US gal", "% v/v", 0.78125},
		{1, "imp fl oz/imp gal", "mL/L", 6.25},
		{1, "tsp", "mL", 4.92892159375},
		{1, "tbsp", "mL", 14.78676478125},
		{1, "US gal/acre", "L/ha", 9.35395622895623},
		{1, "US fl oz/acre", "mL/ha", 73.0777830387},
		{1, "US gal/1000 ft2", "L/ha", 4889.5 / 12},
		{1, "lb/100 US gal", "g/L", 1.19826427317},
		{1, "mph", "m/s", 0.44704},
		{10, "mph", "m/s", 4.4704},
		{33, "C", "F", 91.4},
		{32.2, "C", "F", 89.96},
		{61, "F", "C", 145.0 / 9},
		{-40, "C", "F", -40},
	} {
		got, err := units.Of(c.value, c.from).In(c.to)
		require.NoError(t, err)
		require.InEpsilon(t, c.want, got, 1e-11, "%v %s in %s", c.value, c.from, c.to)
	}
}

// 1 °C·day is 1.8 °F·day, with no 32 (NIST SP 811, B.8: temperature intervals).
func TestDifference(t *testing.T) {
	v, err := units.Difference(100, "C", "F")
	require.NoError(t, err)
	require.InDelta(t, 180, v, 1e-12)
	_, err = units.Difference(1, "C", "m")
	require.ErrorIs(t, err, units.ErrDimension)
}

func TestParse_Refuses(t *testing.T) {
	for s, want := range map[string]error{
		"4 oz":              units.ErrAmbiguous,
		"4 oz/1000 sq ft":   units.ErrAmbiguous,
		"2 gal":             units.ErrAmbiguous,
		"1 lb/100 gal":      units.ErrAmbiguous,
		"2 fl oz":           units.ErrAmbiguous,
		"3 furlongs":        units.ErrUnknown,
		"m":                 units.ErrNumber,
		"NaN m":             units.ErrNumber,
		"0x10 m":            units.ErrUnknown,
		"1_000 m":           units.ErrUnknown,
		"":                  units.ErrNumber,
		"1.2.3 m":           units.ErrNumber,
		"9999999999e999 ft": units.ErrUnknown,
	} {
		_, err := units.Parse(s)
		require.ErrorIs(t, err, want, "%q gave %v", s, err)
	}
	_, err := units.ParseAs("3 lb", units.Length, "")
	require.ErrorIs(t, err, units.ErrDimension)
	_, err = units.ParseAs("3", units.Length, "")
	require.ErrorIs(t, err, units.ErrUnknown)
	_, err = units.Of(1, "lb").In("L")
	require.ErrorIs(t, err, units.ErrDimension)
}

func TestParse_Forms(t *testing.T) {
	for s, want := range map[string]string{
		"12 m":             "12 m",
		"1.5lb/1000 sq ft": "1.5 lb/1000 ft2",
		"61F":              "61 F",
		"2 lb per acre":    "2 lb/acre",
		"-3.5 °C":          "-3.5 C",
		"10 FT":            "10 ft",
	} {
		q, err := units.Parse(s)
		require.NoError(t, err, s)
		require.Equal(t, want, q.String())
		back, err := units.Parse(q.String())
		require.NoError(t, err)
		require.Equal(t, q, back)
	}
}

func TestFloorTo(t *testing.T) {
	require.Equal(t, 54.4, units.FloorTo(54.4310844, 1)) // a shown maximum is rounded down
	require.Equal(t, 0.3, units.FloorTo(0.1+0.2, 1))
	require.Equal(t, 2.0, units.FloorTo(2.999, 0))
}

func TestIn_RoundTrip(t *testing.T) {
	dims := []units.Dimension{units.Length, units.Area, units.Mass, units.Volume, units.MassPerArea, units.VolPerArea, units.Temperature, units.Speed}
	rapid.Check(t, func(t *rapid.T) {
		names := units.Names(rapid.SampledFrom(dims).Draw(t, "dim"))
		a := rapid.SampledFrom(names).Draw(t, "a")
		b := rapid.SampledFrom(names).Draw(t, "b")
		v := rapid.Float64Range(-1e4, 1e4).Draw(t, "v")
		there := units.Of(v, a).MustIn(b)
		back := units.Of(there, b).MustIn(a)
		require.LessOrEqual(t, math.Abs(back-v), 1e-9*math.Max(1, math.Abs(v)))
	})
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"12 m", "1.5 lb/1000 sq ft", "4 oz", "61F", "°", "1 1000 ft2", "-.5 C"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		q, err := units.Parse(s)
		if err != nil {
			return
		}
		back, err := units.Parse(q.String())
		if err != nil || back != q {
			t.Fatalf("%q read as %v, written %q, read again as %v, %v", s, q, q.String(), back, err)
		}
	})
}

// Rates in water, along a row and for a plant against exact fractions of the
// definitions in NIST SP 811, appendix B.
func TestMixes(t *testing.T) {
	rat := func(s string) *big.Rat { r, _ := new(big.Rat).SetString(s); return r }
	ft, lb, gal, igal := rat("0.3048"), rat("453.59237"), rat("3.785411784"), rat("4.54609")
	over := func(a *big.Rat, bs ...*big.Rat) *big.Rat {
		out := new(big.Rat).Set(a)
		for _, b := range bs {
			out.Quo(out, b)
		}
		return out
	}
	for _, c := range []struct {
		text string
		dim  units.Dimension
		want *big.Rat // in the base unit
	}{
		{"1 lb/100 US gal", units.MassPerVol, over(lb, gal, rat("100"))},
		{"1 oz wt/imp gal", units.MassPerVol, over(lb, rat("16"), igal)},
		{"3 g/100 L", units.MassPerVol, rat("0.03")},
		{"1 US fl oz/US gal", units.VolPerVol, rat("1/128")},
		{"1 imp fl oz/imp gal", units.VolPerVol, rat("1/160")},
		{"1 US fl oz/100 imp gal", units.VolPerVol, over(gal, rat("128"), igal, rat("100"))},
		{"1 oz wt/1000 ft row", units.MassPerRow, over(lb, rat("16"), ft, rat("1000"))},
		{"2 mL per m row", units.VolPerRow, rat("0.002")},
		{"5 g/row m", units.MassPerRow, rat("5")},
		{"1 imp fl oz/100 ft of row", units.VolPerRow, over(igal, rat("160"), ft, rat("100"))},
		{"4 oz wt/100 plants", units.MassPerUnit, over(lb, rat("400"))},
		{"1 US tsp/plant", units.VolPerUnit, over(gal, rat("768"))},
		{"1 imp gal/acre", units.VolPerArea, over(igal, ft, ft, rat("43560"))},
	} {
		q, err := units.Parse(c.text)
		require.NoError(t, err, c.text)
		require.Equal(t, c.dim, q.Unit.Dimension, c.text)
		want, _ := c.want.Float64()
		require.InEpsilon(t, want, q.Base(), 1e-14, c.text)
		back, err := units.Parse(q.String())
		require.NoError(t, err)
		require.Equal(t, q, back)
	}
	for _, text := range []string{"4 oz/100 ft row", "2 fl oz/US gal", "1 US fl oz/gal", "1 lb/100 gal"} {
		_, err := units.Parse(text)
		require.ErrorIs(t, err, units.ErrAmbiguous, text)
	}
}

// A figure kept in the base unit is found again in the unit it was copied in.
func TestNatural(t *testing.T) {
	for _, c := range []struct {
		v      float64
		base   string
		others []string
		want   string
	}{
		{(60 - 32) / 1.8, "C", []string{"F"}, "60 F"},
		{15.5, "C", []string{"F"}, "15.5 C"},
		{10, "C", []string{"F"}, "10 C"}, // 50 F is the same: its own unit comes first
		{4.4704, "m/s", []string{"mph", "km/h"}, "10 mph"},
		{16 / 3.6, "m/s", []string{"mph", "km/h"}, "16 km/h"},
		{304.8, "m", []string{"ft"}, "1000 ft"},
		{7.62, "m", []string{"ft", "yd"}, "25 ft"},
		{1.23456, "m", []string{"ft", "yd"}, "1.23456 m"},
		{-40, "C", []string{"F"}, "-40 C"},
	} {
		got := units.Of(c.v, c.base).Natural(c.others...)
		require.Equal(t, c.want, got.String())
		require.InDelta(t, c.v, got.Base(), 1e-9)
	}
}
