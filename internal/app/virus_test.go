package app

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/catalog"
	"leafturn/internal/farm"
)

// The tests of package assess have the levels of a tospovirus written out
// (virus() of facts_test.go), for that package cannot read the catalogue. These
// are the same rows: where one changes, change both.
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
