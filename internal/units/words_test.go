package units_test

import (
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/units"
)

// The conversions are those of NIST SP 811: 1 in = 2.54 cm, 1 ft = 0.3048 m,
// 1 acre = 4046.8564224 m², 1 lb = 453.59237 g, 1 US gal = 3.785411784 L,
// 1 mph = 0.44704 m/s, °F = 1.8 °C + 32.
func TestSay_Table(t *testing.T) {
	for _, c := range []struct {
		value      float64
		unit       string
		round      units.Round
		metric, us string
	}{
		{18, "C", units.Nearest, "18 °C", "64.4 °F"},
		{20, "C", units.Nearest, "20 °C", "68 °F"},
		{17.96, "C", units.Nearest, "18 °C", "64.3 °F"}, // 64.328
		{-17.78, "C", units.Nearest, "-17.8 °C", "0 °F"},
		{27, "C", units.Rough, "27 °C", "81 °F"}, // 80.6
		{90, "F", units.Nearest, "32.2 °C", "90 °F"},
		{90, "F", units.Down, "32.2 °C", "90 °F"}, // 32.222
		{91, "F", units.Up, "32.8 °C", "91 °F"},   // 32.778
		{194, "C-days", units.Nearest, "194 C-days", "349 F-days"},
		{3, "mm", units.Nearest, "3 mm", "0.12 in"},
		{12.7, "mm", units.Nearest, "12.7 mm", "0.5 in"},
		{0, "mm", units.Nearest, "0 mm", "0 in"},
		{1, "cm", units.Nearest, "1 cm", "0.39 in"},
		{30, "cm", units.Nearest, "30 cm", "12 in"},
		{38, "cm", units.Nearest, "38 cm", "15 in"},
		{6, "in", units.Nearest, "15 cm", "6 in"},
		{12.5, "m", units.Nearest, "12.5 m", "41 ft"},
		{0.5, "m", units.Nearest, "0.5 m", "1.6 ft"},
		{25, "ft", units.Up, "8 m", "25 ft"},    // 7.62
		{100, "ft", units.Up, "31 m", "100 ft"}, // 30.48
		{12, "m2", units.Nearest, "12 m²", "129 sq ft"},
		{1, "m2", units.Nearest, "1 m²", "10.8 sq ft"},
		{1000, "ft2", units.Nearest, "93 m²", "1000 sq ft"},
		{20, "ha", units.Nearest, "20 ha", "49 acres"},
		{250, "g", units.Nearest, "250 g", "8.8 oz"},
		{100, "kg/ha", units.Nearest, "100 kg/ha", "89 lb/acre"},
		{100, "lb/acre", units.Nearest, "112 kg/ha", "100 lb/acre"},
		{24, "t/ha", units.Nearest, "24 t/ha", "21400 lb/acre"},
		{19, "L", units.Nearest, "19 L", "5 gal"},
		{4.4704, "m/s", units.Nearest, "4.5 m/s", "10 mph"},
		{20, "/m2", units.Nearest, "20 per m²", "1.9 per sq ft"},
	} {
		q := units.Of(c.value, c.unit)
		require.Equal(t, c.metric, units.Metric.Say(q, c.round), "%v", q)
		require.Equal(t, c.us, units.US.Say(q, c.round), "%v", q)
		require.Equal(t, c.metric, units.System("").Say(q, c.round), "no system is the metric one")
	}
}

func TestSystem_Shorthands(t *testing.T) {
	require.Equal(t, "18 to 30 °C", units.Metric.Temps(18, 30))
	require.Equal(t, "64.4 to 86 °F", units.US.Temps(18, 30))
	require.Equal(t, "°F", units.US.TempUnit())
	require.Equal(t, "°C", units.Metric.TempUnit())
	require.Equal(t, "6.7 mph", units.US.Wind(3))
	require.Equal(t, "0.2 in", units.US.Rain(5))
	require.Equal(t, "33 ft", units.US.Length(10))
	require.Equal(t, "129 sq ft", units.US.Area(12))
	require.Equal(t, "999 g", units.Metric.Mass(999))
	require.Equal(t, "1.2 kg", units.Metric.Mass(1200))
	require.Equal(t, "16 oz", units.US.Mass(453))
	require.Equal(t, "1.1 lb", units.US.Mass(500))
	require.Equal(t, "58.5 g", units.Metric.Weighed(units.Of(58.5, "g"), units.Down))
	require.Equal(t, "2.06 oz wt", units.US.Weighed(units.Of(58.5, "g"), units.Down)) // 2.0635
	require.Equal(t, "2.07 oz wt", units.US.Weighed(units.Of(58.5, "g"), units.Up))
	require.Equal(t, "2.02 US fl oz", units.US.Weighed(units.Of(60, "mL"), units.Down)) // 2.0288
	require.Equal(t, "40 each", units.US.Weighed(units.Of(40, "each"), units.Down))
}

// What was found beside a limit never reads as the limit itself, and is told to
// a tenth on its own side.
func TestTempBeside(t *testing.T) {
	require.Equal(t, "17.9 °C", units.Metric.TempBeside(17.96, 18))
	require.Equal(t, "18.1 °C", units.Metric.TempBeside(18.04, 18))
	require.Equal(t, "18 °C", units.Metric.TempBeside(18, 18))
	require.Equal(t, "15.3 °C", units.Metric.TempBeside(15.34, 18))
	require.Equal(t, "64.3 °F", units.US.TempBeside(17.99, 18)) // 64.382
	rapid.Check(t, func(t *rapid.T) {
		limit := float64(rapid.IntRange(-10, 40).Draw(t, "limit"))
		c := limit + float64(rapid.IntRange(-3000, 3000).Draw(t, "off"))/1000
		for _, s := range []units.System{units.Metric, units.US} {
			told, of := numberOf(t, s.TempBeside(c, limit)), numberOf(t, s.Temp(limit))
			require.Equal(t, c < limit, told < of)
			require.Equal(t, c > limit, told > of)
		}
	})
}

func numberOf(t require.TestingT, words string) float64 {
	n, _, _ := strings.Cut(words, " ")
	v, err := strconv.ParseFloat(n, 64)
	require.NoError(t, err)
	return v
}

func TestText_Table(t *testing.T) {
	for _, c := range []struct{ text, metric, us string }{
		{"no quantity, 5 C", "no quantity, 5 C", "no quantity, 5 C"},
		{"above {5 °C}", "above 5 °C", "above 41 °F"},
		{"{-5 to -8 °C} kills", "-5 to -8 °C kills", "23 to 17.6 °F kills"},
		{"every {15-20 m}", "every 15-20 m", "every 49-66 ft"},
		{"card {7.5 x 12.5 cm}", "card 7.5 x 12.5 cm", "card 3 x 5 in"},
		{"at {15, 18 and 21 °C};", "at 15, 18 and 21 °C;", "at 59, 64.4 and 69.8 °F;"},
		{"growth at {~17 to 19 °C}.", "growth at 17 to 19 °C.", "growth at 63 to 66 °F."}, // 62.6 to 66.2
		{"keep {>25 ft} away, {>100 ft} for mist", "keep 8 m away, 31 m for mist", "keep 25 ft away, 100 ft for mist"},
		{"not above {<90 °F}", "not above 32.2 °C", "not above 90 °F"},
		{"{8,000 m2}, {1000 sq ft}", "8,000 m², 93 m²", "86100 sq ft, 1000 sq ft"},
		{"{2000 F-days} (base {32 °F})", "1110 C-days (base 0 °C)", "2000 F-days (base 32 °F)"},
		{"shovel, {6 in} wide", "shovel, 15 cm wide", "shovel, 6 in wide"},
	} {
		for s, want := range map[units.System]string{units.Metric: c.metric, units.US: c.us} {
			got, err := s.Text(c.text)
			require.NoError(t, err)
			require.Equal(t, want, got, "%s", s)
		}
	}
	for _, bad := range []string{"{5}", "{C}", "{5 furlongs}", "{ 5 C}", "{5 C", "5 C}", "{1.2.3 m}", "{}", "{>}"} {
		for _, s := range []units.System{units.Metric, units.US} {
			_, err := s.Text(bad)
			require.Error(t, err, "%s in %q", s, bad)
		}
	}
}
