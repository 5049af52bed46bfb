package catalog_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/catalog"
)

func development(t *testing.T, c *catalog.Catalog, key string) catalog.Development {
	t.Helper()
	for _, d := range c.Developments() {
		if d.Key == key {
			return d
		}
	}
	t.Fatalf("no row %s", key)
	return catalog.Development{}
}

// Values against the source that each row names.
func TestDevelopment_Published(t *testing.T) {
	c := load(t)
	for _, x := range []struct {
		key      string
		base, dd float64
		source   string
	}{
		{"mite_generation", 8.63, 150.69, "Bayu et al. 2017"},
		{"mite_generation_constant", 11.63, 127.81, "Bayu et al. 2017"},
		{"mite_generation_ppri", 12.50, 146.48, "Plant Protection Research Institute"},
		{"thrips_generation", 9.5, 194, "Katayama 1997"},
		{"aphid_generation", 3.0, 111.1, "Kim et al. 2012"},
		{"aphidoletes_egg", 10.1, 25.0, "Havelka 1980"},
		{"aphidoletes_larva", 4.3, 110.9, "Havelka 1980"},
		{"aphidoletes_pupa", 5.7, 154.1, "Havelka 1980"},
		{"californicus_generation", 8.6, 143, "Hart et al. 2002"},
		{"fallacis_generation", 13.6, 80.1, "Korean study"},
		{"earwig_adults", 8.33, 402.8, "Intermountain"}, // DYN-23: 47 F and 725 degree-days F
	} {
		d := development(t, c, x.key)
		base, _, dd := d.InC()
		require.InDelta(t, x.base, *base, 0.005, x.key)
		require.InDelta(t, x.dd, *dd, 0.05, x.key)
		require.Equal(t, catalog.Published, d.Basis)
		require.Contains(t, d.Source, x.source)
	}
	aphid := development(t, c, "aphid_generation")
	require.Equal(t, []float64{1, 1.5}, []float64{aphid.Low, aphid.High}, "seen to take 1.28 to 1.5 times as long (DYN-22)")
	slug := development(t, c, "slug_eggs")
	require.Equal(t, catalog.FromMemory, slug.Basis)
	for temp, days := range map[float64]float64{20: 15, 5: 105} { // from memory
		require.InDelta(t, days, *slug.DD/(temp-*slug.Base), 1e-9)
	}
	// Derived rows against the durations that they come from.
	persimilis := development(t, c, "persimilis_generation")
	for temp, days := range map[float64]float64{20: 8.12, 25: 5.79, 30: 3.88} {
		require.InDelta(t, days, *persimilis.DD/(temp-*persimilis.Base), 0.5)
	}
	for temp, days := range map[float64]float64{15: 34.2, 20: 19.2, 25: 12.1, 30: 9.5} { // DYN-13
		d := development(t, c, "thrips_generation")
		require.InDelta(t, days, *d.DD/(temp-*d.Base), 1.2)
	}
}

// What was not seen is blank, and says so.
func TestDevelopment_Unknown(t *testing.T) {
	c := load(t)
	nymphs := development(t, c, "earwig_nymphs")
	require.False(t, nymphs.Known())
	require.Nil(t, nymphs.Base)
	require.Contains(t, nymphs.Note, "not seen")
	require.False(t, development(t, c, "swirskii_generation").Known())
	for _, d := range c.Developments() {
		require.Equal(t, d.Known() || d.Note != "", true, d.Key)
	}
	require.Empty(t, c.DevelopmentOf("wireworm"))
	require.Empty(t, c.DevelopmentOf(""))
}

func TestClockActions(t *testing.T) {
	c := load(t)
	kinds := map[string]int{}
	for _, d := range c.Developments() {
		for _, a := range c.ClockActions(d.Key) {
			kinds[a.Kind]++
			require.LessOrEqual(t, len(a.Text), 180, a.Key)
			if a.Kind == "bait" {
				require.Contains(t, a.Text, "as its label allows")
			}
		}
	}
	for _, k := range []string{"traps", "young", "bait", "look"} {
		require.Positive(t, kinds[k], k)
	}
}

// The limits of the slug night (Oregon State University: 40-70 F liked, under
// 34 and over 85 F disliked, wind under 5 mph), as DYN-20 prints them.
func TestLimits(t *testing.T) {
	c := load(t)
	for key, want := range map[string]float64{"slug_liked_low": 4.4, "slug_liked_high": 21.1, "slug_active_low": 1.1, "slug_active_high": 29.4, "slug_wind": 2.2, "slug_freeze_days": 5,
		"bait_soil_low": 8, "mite_rest_hours": 14, "mite_rest_night": 15} {
		require.InDelta(t, want, c.Limit(key).Base(), 0.05, key)
	}
	require.Len(t, c.Limits("slug"), 12)
	require.Zero(t, c.Limit("nothing").Base())
}
