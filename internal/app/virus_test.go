package app

import (
	"encoding/json"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// The tests of package assess have a tospovirus written out (virus() of
// facts_test.go), for that package cannot read the catalogue. They hold it
// against this table, and here it is held against the catalogue.
func TestVirusOfAssessIsTheCatalogues(t *testing.T) {
	raw, err := os.ReadFile("../assess/testdata/tospovirus.json")
	require.NoError(t, err)
	cat, err := catalog.Load(units.Metric)
	require.NoError(t, err)
	pest, ok := cat.Pest("tospovirus")
	require.True(t, ok)
	p, err := (&App{cat: cat, names: newNames(cat, nil)}).pestFacts(pest, farm.Bloom, snapshot{on: civil.MustParse("2026-07-13")})
	require.NoError(t, err)
	require.True(t, p.Disease)
	require.True(t, p.InSeason)
	type row map[string]any
	var units, levels []row
	for _, u := range p.Units {
		units = append(units, row{"key": u.Key, "label": u.Label, "measure": u.Measure, "words": u.Words, "percent": u.Percent, "tally": u.Tally, "wanted": u.Wanted, "min": u.Min})
	}
	for _, l := range p.Levels {
		if l.Transfer {
			continue
		}
		levels = append(levels, row{"measure": l.Measure, "kind": l.Kind, "operator": l.Operator, "value": l.Value, "basis": l.Ref.Basis})
	}
	got, err := json.Marshal(row{"every_days": p.EveryDays, "stale_days": p.StaleDays, "units": units, "levels": levels})
	require.NoError(t, err)
	require.JSONEq(t, string(raw), string(got))
}
