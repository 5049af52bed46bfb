package catalog_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"leafturn/internal/catalog"
)

// Printed rates against the source that each row names.
func TestGrowthRates_Published(t *testing.T) {
	c := load(t)
	for _, x := range []struct {
		of, kind    string
		temp, value float64
		source      string
	}{
		{"spider_mite", catalog.Increase, 15, 0.069, "Herbert 1981"},
		{"spider_mite", catalog.Increase, 18, 0.156, "Herbert 1981"},
		{"spider_mite", catalog.Increase, 30, 0.2748, "Assiut"},
		{"spider_mite", catalog.Increase, 30, 0.321, "Bounfour & Tanigoshi 2001"},
		{"phytoseiulus_persimilis", catalog.Increase, 25, 0.296, "on rose"},
		{"phytoseiulus_persimilis", catalog.Appetite, 25, 20.64, "Hatay"},
		{"neoseiulus_californicus", catalog.Increase, 30, 0.340, "Gotoh et al. 2004"},
		{"neoseiulus_fallacis", catalog.Increase, 17, 0.075, "Korean"},
		{"neoseiulus_fallacis", catalog.Appetite, 30, 18.1, "Korean"},
		{"aphid", catalog.Increase, 29, 0.3212, "Myzus persicae"},
		{"thrips", catalog.Increase, 30, 0.198, "Katayama 1997"},
	} {
		found := 0
		for _, r := range c.GrowthRates(x.of) {
			if r.Kind == x.kind && r.TempC == x.temp && r.Value == x.value && !r.Used {
				require.Contains(t, r.Source, x.source)
				require.Equal(t, catalog.Published, r.Basis)
				found++
			}
		}
		require.Equal(t, 1, found, "%+v", x)
	}
	require.Empty(t, c.GrowthRates(""))
}

// The mites' line is the least squares line through the six usable printed
// rates, as its note says: fitted here anew by another library.
func TestGrowthCurve_Mites(t *testing.T) {
	c := load(t)
	var temp, rate []float64
	for _, r := range c.GrowthRates("spider_mite") {
		if !r.Used && r.Key != "mite_herbert_21" {
			temp, rate = append(temp, r.TempC), append(rate, r.Value)
		}
	}
	require.Len(t, temp, 6)
	a, b := stat.LinearRegression(temp, rate, nil, false)
	require.InDelta(t, 0.0142, b, 0.00005)
	require.InDelta(t, 9.06, -a/b, 0.02)
	require.InDelta(t, 0.957, stat.RSquared(temp, rate, nil, a, b), 0.0005)
	curve, ok := c.GrowthCurve("spider_mite", catalog.Increase)
	require.True(t, ok)
	require.Len(t, curve.Points, 2)
	lo, hi := curve.Points[0], curve.Points[1]
	require.InDelta(t, 0.0142, (hi.Value-lo.Value)/(hi.TempC-lo.TempC), 1e-6)
	require.Equal(t, []float64{9.06, 0, 30, 35, 0.5, 1.25, 50}, []float64{lo.TempC, lo.Value, hi.TempC, curve.EndC, curve.Low, curve.High, curve.Cap})
}

// Lines of predators against what they are derived from: the slower strain of
// each, none below a mean of 18 °C, and an appetite of 3 a day at 25 °C that
// goes with the larvae eaten (11.85, 20.64 and 15.41 at 20, 25 and 30 °C).
func TestGrowthCurve_Predators(t *testing.T) {
	c := load(t)
	line := map[string][2]float64{"phytoseiulus_persimilis": {0.0269, -0.0269 * 14}, "neoseiulus_californicus": {0.0129, -0.136}, "neoseiulus_fallacis": {0.0186, -0.246}}
	for agent, ab := range line {
		grow, ok := c.GrowthCurve(agent, catalog.Increase)
		require.True(t, ok, agent)
		require.Equal(t, 18.0, grow.Points[0].TempC)
		for _, p := range grow.Points {
			require.InDelta(t, ab[0]*p.TempC+ab[1], p.Value, 0.0005, agent)
		}
		eats, ok := c.GrowthCurve(agent, catalog.Appetite)
		require.True(t, ok, agent)
		at := map[float64]float64{}
		for _, p := range eats.Points {
			at[p.TempC] = p.Value
		}
		for temp, larvae := range map[float64]float64{20: 11.85, 25: 20.64, 30: 15.41} {
			require.InDelta(t, 3*larvae/20.64, at[temp], 0.02, "%s at %v", agent, temp)
		}
		require.Equal(t, 1.5, at[17])
	}
}

// No line where no published rate supports a density.
func TestGrowthCurve_None(t *testing.T) {
	c := load(t)
	for _, p := range c.Pests() {
		_, ok := c.GrowthCurve(p.Key, catalog.Increase)
		require.Equal(t, p.Key == "spider_mite", ok, p.Key)
	}
	_, ok := c.GrowthCurve("spider_mite", catalog.Appetite)
	require.False(t, ok)
	_, ok = c.GrowthCurve("", catalog.Increase)
	require.False(t, ok)
}
