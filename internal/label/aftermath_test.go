package label_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/units"
)

// Every rule that an application can break has an answer of its own; what is
// said follows from what was broken.
func TestNext(t *testing.T) {
	a := label.After{Bed: "B3", Opens: at("2026-07-20T22:00:00Z"), CutFrom: day("2026-07-25"), Again: day("2026-07-27"), Country: "US", Now: at("2026-07-20T18:00:00Z")}
	for code, want := range map[string]string{
		label.CodeClosed: "keep out of B3 until Mon 20 Jul 2026 22:00 UTC", label.CodePHI: "do not cut in B3 before Sat 25 Jul 2026",
		label.CodeRate: "put no more of it on B3 before Mon 27 Jul 2026", label.CodeInterval: "before Mon 27 Jul 2026",
		label.CodeMaxCount: "before Mon 27 Jul 2026", label.CodeMaxAmount: "before Mon 27 Jul 2026", label.CodeMaxActive: "before Mon 27 Jul 2026",
		label.CodeMaxYear: "before Mon 27 Jul 2026", label.CodeWindow: "before Mon 27 Jul 2026", label.CodeApart: "before Mon 27 Jul 2026",
		label.CodeSite: "your state's department of agriculture", label.CodePest: "your state's department of agriculture",
		label.CodeExpired: "your state's department of agriculture", label.CodeRestricted: "your state's department of agriculture",
		label.CodeApproval: "tell the certifier", label.CodeBloom: "tell the beekeepers nearby", label.CodeForaging: "tell the beekeepers nearby",
		label.CodeSunset: "tell the beekeepers nearby", label.CodeWind: "where the drift went", label.CodeTemperature: "burnt leaves",
		label.CodePractice: "no breach of the label", label.CodeFarmInterval: "farm's own rule", label.CodeWater: "runoff", label.CodeAnimals: "vet",
	} {
		require.Contains(t, label.Next(code, a), want, code)
		require.Equal(t, code, label.BreachCode(code+": words: more"))
	}
	require.Empty(t, label.BreachCode("something else: words"))
	unknown := label.Next("", a)
	for _, w := range []string{"keep out", "do not cut", "ask your state's"} {
		require.Contains(t, unknown, w, "an unknown code gets the careful answer")
	}
	// What has passed is not asked for any more; what is not known stays shut.
	a.Now = at("2026-08-01T08:00:00Z")
	require.Contains(t, label.Next(label.CodeClosed, a), "B3 is open again since")
	require.Contains(t, label.Next(label.CodePHI, a), "ended on Sat 25 Jul 2026")
	require.Contains(t, label.Next(label.CodeInterval, a), "read the label before the next one")
	blank := label.After{Bed: "B3", Now: a.Now}
	require.Contains(t, label.Next(label.CodeClosed, blank), "until the re-entry interval has been read off the label")
	require.Contains(t, label.Next(label.CodePHI, blank), "until the pre-harvest interval has been read off the label")
	require.Contains(t, label.Next(label.CodeRate, blank), "no day on which it may is known")
	require.Contains(t, label.Next(label.CodeSite, blank), "the authority that the label names")
}

// A missing note of the steps before a product is no breach of the label.
func TestFindings_PracticeIsNoBreach(t *testing.T) {
	l := with(func(l *farm.Label) { l.Organic = farm.Value("certifier: yes, 2026-02-01") })
	r := ask(l, "2026-06-01")
	r.Organic = true
	x := put(l, "2026-06-01")
	broke, unjudged := label.Breaches(x, r)
	require.Empty(t, broke)
	require.Empty(t, unjudged)
	found := label.Findings(x, r)
	require.Len(t, found, 1)
	require.Equal(t, label.CodePractice, found[0].Code)
	require.False(t, found[0].OfLabel())
}

// A limit on wind or temperature is judged by what was measured; what was not
// measured is not judged, and said.
func TestFindings_Conditions(t *testing.T) {
	l := spray("soap", "soap")
	l.MaxWindMS, l.MaxTempC = farm.Value(4.0), farm.Value(30.0)
	x := put(l, "2026-06-01")
	r := ask(l, "2026-06-01")
	f := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		wind, air       *float64
		broke, unjudged string
	}{
		{f(4), f(30), "", ""},
		{f(4.1), f(30), "wind", ""},
		{f(0), f(30.5), "temperature", ""},
		{f(5), f(31), "temperature wind", ""},
		{nil, f(20), "", "not known is not calm"},
		{f(2), nil, "", "the temperature at the application was not written down"},
	} {
		x.WindMS, x.AirC = c.wind, c.air
		broke, unjudged := label.Breaches(x, r)
		var codes []string
		for _, b := range broke {
			codes = append(codes, label.BreachCode(b))
		}
		require.Equal(t, c.broke, strings.Join(codes, " "))
		require.Contains(t, strings.Join(unjudged, "\n"), c.unjudged)
		require.Equal(t, c.unjudged == "", len(unjudged) == 0, "%v", unjudged)
	}
}

// 58 g on 12 m² is 58/12 = 4.833 g/m²; 1 lb/1000 sq ft is 453.59237 g on
// 92.90304 m² = 4.882 g/m² (NIST SP 811, the factors), half of it 2.441.
func TestRateWords(t *testing.T) {
	l := with(func(l *farm.Label) { l.RateMin = farm.Value(units.Of(0.5, "lb/1000 sq ft")) })
	x := farm.Treatment{Amount: units.Of(58, "g"), AreaM2: 12}
	require.Equal(t, "58 g on 12 m² = 4.83 g/m²; the label: 2.44 to 4.88 g/m²", label.RateWords(x, l, units.Metric))
	require.Equal(t, "58 g on 129 sq ft = 0.99 lb/1000 sq ft; the label: 0.5 to 1 lb/1000 sq ft", label.RateWords(x, l, units.US)) // 12 m² are 129.17 sq ft
	require.Contains(t, label.RateWords(x, bait(), units.Metric), "; the label: at most 4.88 g/m²")
	x.Amount = units.Of(60, "mL")
	require.Equal(t, "60 mL on 12 m² = 5 mL/m²; the label: at most 1 lb/1000 ft2", label.RateWords(x, l, units.Metric), "weight and volume are not compared")
	x.AreaM2 = 0
	require.Contains(t, label.RateWords(x, l, units.Metric), "the area is not")
	_, ok := label.RateOf(farm.Treatment{AreaM2: 12})
	require.False(t, ok)
}

// 40 CFR 170.311(b)(6), 7 CFR 205.103 and Regulation (EC) 1107/2009 article
// 67: 2 years from the end of the interval, 5 from the making, 3.
func TestKeeping(t *testing.T) {
	applied, made, opened := day("2026-07-19"), day("2026-08-02"), day("2026-07-20")
	through := func(country string, organic bool) (out []string) {
		for _, k := range label.Keeping(country, organic, applied, made, opened) {
			out = append(out, k.Through.String())
		}
		return out
	}
	require.Equal(t, []string{"2028-07-20"}, through("US", false))
	require.Equal(t, []string{"2028-07-20", "2031-08-02"}, through("US", true))
	require.Equal(t, []string{"2029-07-19"}, through("GB", false))
	require.Equal(t, []string{"2028-07-20", "2029-07-19"}, through("", false), "an unknown country gets every rule")
	k := label.Keeping("US", false, applied, made, opened)
	require.Contains(t, k[0].Rule, "40 CFR 170.311(b)")
	k = label.Keeping("US", false, applied, made, farm.Treatment{}.Date)
	require.True(t, k[0].Through.IsZero())
	require.Contains(t, k[0].Rule, "the interval is unknown")
}
