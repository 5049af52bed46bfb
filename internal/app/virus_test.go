package app

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/catalog"
	"leafturn/internal/farm"
)

// The scout's checks of package assess are written with levels of their own
// for a tospovirus (virus() of facts_test.go): a find on a plant with signs.
// The catalogue's row for plants with signs is one of any find too, but only
// watches; a positive test acts. If a row changes, so must that fixture.
func TestVirusOfAssessIsTheCatalogues(t *testing.T) {
	cat, err := catalog.Load()
	require.NoError(t, err)
	type row struct {
		measure, kind, operator string
		value                   float64
	}
	var got []row
	for _, th := range cat.Thresholds("tospovirus") {
		if th.Transferred() && th.Crop != "dahlia and other ornamentals" {
			continue
		}
		l := levelFacts(th, []farm.Override{})
		got = append(got, row{l.Measure, l.Kind, l.Operator, l.Value})
	}
	require.Equal(t, []row{{"plants_confirmed", "act", ">", 0}, {"plants_with_suspect_symptoms", "watch", ">", 0}}, got)
}
