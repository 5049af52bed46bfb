package app

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/report"
	"leafturn/internal/units"
)

func TestPlainWords(t *testing.T) {
	leaf := assess.Unit{Label: "leaf", Words: "mites per leaf"}
	tips := assess.Unit{Label: "shoot tip", Percent: true, Tally: 5}
	for _, x := range []struct {
		unit     assess.Unit
		infested float64
		n        int
		want     string
	}{
		{leaf, 0, 1, "The one leaf looked at had none."},
		{leaf, 0, 20, "None of the 20 leaves had any."},
		{leaf, 1, 1, "The one leaf looked at had some."},
		{leaf, 1, 40, "Nearly all leaves have some."},
		{leaf, 0.125, 40, "About 1 in 8 leaves has some."},
		{leaf, 0.7, 20, "About 7 in 10 leaves have some."},
		{leaf, 0.949, 20, "About 9 in 10 leaves have some."},
		{leaf, 0.95, 20, "Nearly all leaves have some."},
		{tips, 0.125, 40, "About 1 in 8 shoot tips has 5 or more. Likely 1 % to 2 %."},
		{tips, 0, 40, "None of the 40 shoot tips had 5 or more."},
	} {
		r := &assess.Reading{Unit: &x.unit, N: x.n, Infested: x.infested, Low: 1, High: 2}
		require.Contains(t, plainWords(assess.Assessment{Decider: r}), x.want)
	}
}

// A level for comparison is quoted in its source's own unit: 4 beetles on 50
// plants, not 0.08.
func TestLevelSection_QuotesTheSource(t *testing.T) {
	cat, err := catalog.Load(units.Metric)
	require.NoError(t, err)
	for _, row := range cat.Thresholds("cucumber_beetle") {
		l := levelFacts(row, nil)
		if l.Unit != "beetles/50 plants" {
			continue
		}
		require.InDelta(t, 0.08, l.Value, 1e-12, "compared with counts per plant")
		s := levelSection(assess.Reading{Nearest: []assess.Level{l}, Chance: math.NaN()}, &sources{})
		require.Contains(t, fmt.Sprint(s.Notes), "from 4 beetles/50 plants")
		return
	}
	t.Fatal("the catalogue has no such row")
}

func TestEstimateSection_PresenceOnly(t *testing.T) {
	v := farm.Visit{Presence: &farm.Presence{Infested: 12, Looked: 50}}
	cat, err := loadCatalog()
	require.NoError(t, err)
	s := (&App{cat: cat}).estimateSection(assess.Assessment{}, assess.Reading{Unit: &assess.Unit{Label: "leaf"}, Visit: &v, N: 50, Density: &estimate.Density{}}, &sources{})
	for _, row := range s.Table.Rows {
		require.NotEqual(t, report.Text("animals counted"), row[0])
	}
	require.Contains(t, s.Table.Rows, []report.Value{report.Text("infested of looked at, not counted"), report.Text("12 of 50")})
}
