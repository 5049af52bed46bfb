package render

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/report"
)

func TestFormatNumber(t *testing.T) {
	for _, c := range []struct {
		v    float64
		d    int
		want string
	}{
		{0, 0, "0"}, {0, 2, "0.00"}, {math.Copysign(0, -1), 1, "0.0"}, {-0.04, 1, "0.0"}, {-0.05001, 1, "-0.1"}, {-0.4, 0, "0"},
		{3.4166667, 1, "3.4"}, {3.4166667, 3, "3.417"}, {0.5, 0, "0"}, {1.5, 0, "2"},
		{9999, 0, "9999"}, {9999.5, 0, "10,000"}, {9999.94, 1, "9999.9"}, {9999.96, 1, "10,000.0"}, {10000, 0, "10,000"},
		{-12345.678, 2, "-12,345.68"}, {123456, 0, "123,456"}, {1234567.5, 1, "1,234,567.5"}, {1e15, 0, "1,000,000,000,000,000"},
		{math.NaN(), 1, "unknown"}, {math.Inf(1), 0, "unknown"}, {math.Inf(-1), 0, "unknown"}, {2.5, -3, "2"},
	} {
		require.Equal(t, c.want, FormatNumber(c.v, c.d), "%v, %d", c.v, c.d)
	}
}

// Taking the commas out gives a number within half a unit of the last digit.
func TestFormatNumberProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-1e9, 1e9).Draw(t, "v")
		d := rapid.IntRange(0, 4).Draw(t, "decimals")
		s := FormatNumber(v, d)
		var whole, frac, scale float64 = 0, 0, 1
		seenPoint := false
		for _, r := range strings.TrimPrefix(s, "-") {
			switch {
			case r == ',':
			case r == '.':
				seenPoint = true
			case seenPoint:
				scale /= 10
				frac += scale * float64(r-'0')
			default:
				whole = whole*10 + float64(r-'0')
			}
		}
		got := whole + frac
		if strings.HasPrefix(s, "-") {
			require.NotZero(t, got)
			got = -got
		}
		// The number that is read back is itself rounded to the next float.
		ulp := math.Nextafter(math.Abs(v), math.Inf(1)) - math.Abs(v)
		require.InDelta(t, v, got, 0.5*math.Pow10(-d)*(1+1e-6)+ulp)
	})
}

func TestPercent(t *testing.T) {
	for _, c := range []struct {
		p    float64
		want string
	}{
		{0, "0%"}, {1e-9, "<1%"}, {0.0099, "<1%"}, {0.01, "1%"}, {0.5, "50%"}, {0.7234, "72%"}, {0.99, "99%"}, {0.9901, ">99%"}, {1, "100%"},
		{-0.1, "unknown"}, {1.1, "unknown"}, {math.NaN(), "unknown"},
	} {
		require.Equal(t, c.want, Percent(c.p), "%v", c.p)
	}
}

func TestChance(t *testing.T) {
	for _, c := range []struct {
		p    float64
		want string
	}{
		{0, "less than 1 in 100"}, {0.0099, "less than 1 in 100"}, {0.01, "less than 1 in 20"}, {0.0499, "less than 1 in 20"},
		{0.05, "about 1 in 20"}, {0.1, "about 1 in 10"}, {0.125, "about 1 in 8"}, {0.1499, "about 1 in 7"},
		{0.15, "about 2 in 10"}, {0.2, "about 2 in 10"}, {0.5, "about 5 in 10"}, {0.7, "about 7 in 10"}, {0.8431, "about 8 in 10"}, {0.949, "about 9 in 10"},
		{0.95, "more than 19 in 20"}, {0.989, "more than 19 in 20"}, {0.99, "almost certain"}, {1, "almost certain"},
		{-0.01, "unknown"}, {1.01, "unknown"}, {math.NaN(), "unknown"},
	} {
		require.Equal(t, c.want, Chance(c.p), "%v", c.p)
	}
}

func TestWhen(t *testing.T) {
	asOf := civil.MustParse("2026-07-13") // a Monday
	for _, c := range []struct{ d, when, dated string }{
		{"2026-07-13", "today", "Mon 13 Jul (today)"},
		{"2026-07-14", "tomorrow", "Tue 14 Jul (tomorrow)"},
		{"2026-07-12", "yesterday", "Sun 12 Jul (yesterday)"},
		{"2026-07-16", "Thu 16 Jul (in 3 days)", "Thu 16 Jul (in 3 days)"},
		{"2026-07-10", "Fri 10 Jul (3 days ago)", "Fri 10 Jul (3 days ago)"},
		{"2027-01-04", "Mon 4 Jan 2027 (in 175 days)", "Mon 4 Jan 2027 (in 175 days)"},
	} {
		require.Equal(t, c.when, When(civil.MustParse(c.d), asOf))
		require.Equal(t, c.dated, Dated(civil.MustParse(c.d), asOf))
	}
	require.Equal(t, "no date", When(civil.Date{}, asOf))
	require.Equal(t, "no date", Dated(civil.Date{}, asOf))
	// A year's end and a leap day.
	require.Equal(t, "tomorrow", When(civil.MustParse("2027-01-01"), civil.MustParse("2026-12-31")))
	require.Equal(t, "Wed 1 Mar (in 2 days)", When(civil.MustParse("2028-03-01"), civil.MustParse("2028-02-28")))
	require.Equal(t, "Mon 1 Mar (in 2 days)", When(civil.MustParse("2027-03-02").AddDays(-1), civil.MustParse("2027-02-27")))
}

func TestDueWords(t *testing.T) {
	asOf, day := civil.MustParse("2026-07-13"), civil.MustParse
	for _, c := range []struct {
		due  report.Due
		want string
	}{
		{report.Due{}, ""},
		{report.Due{Note: "after rain"}, "after rain"},
		{report.On(day("2026-07-13")), "Mon 13 Jul (today)"},
		{report.By(day("2026-07-15")), "by Wed 15 Jul (in 2 days)"},
		{report.By(day("2026-07-12")), "was due Sun 12 Jul (yesterday)"},
		{report.Due{From: day("2026-07-20"), Note: "at dusk"}, "from Mon 20 Jul (in 7 days), at dusk"},
		{report.Due{From: day("2026-07-14"), By: day("2026-07-16")}, "Tue 14 Jul (tomorrow) to Thu 16 Jul"},
		{report.Due{From: day("2026-07-10"), By: day("2026-07-16")}, "by Thu 16 Jul (in 3 days)"},
		{report.Due{From: day("2026-07-01"), By: day("2026-07-02")}, "was due Thu 2 Jul (11 days ago)"},
	} {
		require.Equal(t, c.want, dueWords(c.due, asOf))
	}
}

func TestLineWords(t *testing.T) {
	asOf := civil.MustParse("2026-07-13")
	l := report.Say("{} of {}: {}, {}, {}, k {}, {}", "B3 {}", 12345, report.Num(2.449, 2), report.Missing("no label"), report.Chance(0.3), report.K(math.Inf(1), 2), civil.MustParse("2026-07-16")).Cite(2, 5)
	require.Equal(t, "B3 {} of 12,345: 2.45, unknown (no label), about 3 in 10, k Poisson, Thu 16 Jul", lineWords(l, asOf))
	require.Equal(t, lineWords(l, asOf)+" [2, 5]", citedWords(l, asOf))
	require.Equal(t, "", citedWords(report.Plain(""), asOf))
}
