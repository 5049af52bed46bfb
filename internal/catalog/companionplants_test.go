package catalog_test

import (
	"fmt"
	"io/fs"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/catalog"
	"leafturn/internal/units"
)

// Numbers that stand in the words of the table of companions, plant by plant:
// one fact is not told in two ways.
func TestCompanionPlants_AsInTheWords(t *testing.T) {
	c := load(t)
	require.Len(t, c.CompanionPlants(), 33)
	words := map[string]string{}
	for _, r := range c.Companions("") {
		words[r.Plant] += r.Placement + " | " + r.SowWindow + " | " + r.Risk + " | "
	}
	for _, w := range []struct {
		key  string
		get  func(catalog.CompanionPlant) *float64
		want float64
		text string
	}{
		{"alyssum", func(p catalog.CompanionPlant) *float64 { return p.ReachM }, 15, "within 15 m of every dahlia"},
		{"buckwheat", func(p catalog.CompanionPlant) *float64 { return p.SpacingM }, 20, "every 15-20 m"},
		{"buckwheat", func(p catalog.CompanionPlant) *float64 { return p.WidthM }, 0.6, "Strip 0.6-1 m wide"},
		{"coriander", func(p catalog.CompanionPlant) *float64 { return p.SpacingM }, 15, "every 10-15 m"},
		{"fennel", func(p catalog.CompanionPlant) *float64 { return p.SpacingM }, 15, "1 per 15 m"},
		{"phacelia", func(p catalog.CompanionPlant) *float64 { return p.FromBedM }, 10, "10 m or more from beds"},
		{"phacelia", func(p catalog.CompanionPlant) *float64 { return p.WidthM }, 1, "Strip 1 m wide"},
		{"yarrow", func(p catalog.CompanionPlant) *float64 { return p.WidthM }, 0.5, "edge strip 0.5-1 m"},
		{"marigold", func(p catalog.CompanionPlant) *float64 { return p.Amount }, 20, "full stand of plants, 20 per m²"},
		{"nasturtium", func(p catalog.CompanionPlant) *float64 { return p.FromBedM }, 3, "3-5 m from beds"},
		{"sunflower", func(p catalog.CompanionPlant) *float64 { return p.FromBedM }, 3, "3 m from dahlias"},
		{"mullein", func(p catalog.CompanionPlant) *float64 { return p.AreaPerUnitM2 }, 100, "1 pot per 50-100 m²"},
		{"pepper", func(p catalog.CompanionPlant) *float64 { return p.AreaPerUnitM2 }, 93, "1 plant per about 93 m²"},
		{"grain_banker", func(p catalog.CompanionPlant) *float64 { return p.AreaPerUnitM2 }, 200, "1 pot per 100-200 m²"},
		{"beetle_bank", func(p catalog.CompanionPlant) *float64 { return p.WidthM }, 1.5, "1.5-2 m wide"},
		{"beetle_bank", func(p catalog.CompanionPlant) *float64 { return p.FromBedM }, 3, "3 m tilled gap to beds"},
		{"red_clover", func(p catalog.CompanionPlant) *float64 { return p.WidthM }, 0.5, "0.5 m strip"},
		{"lettuce", func(p catalog.CompanionPlant) *float64 { return p.SpacingM }, 2, "every 2 m just outside bed"},
		{"potato", func(p catalog.CompanionPlant) *float64 { return p.AreaPerUnitM2 }, 1, "One piece per 1 m²"},
		{"fescue", func(p catalog.CompanionPlant) *float64 { return p.FromBedM }, 0.5, "0.5 m bare edge"},
		{"fescue", func(p catalog.CompanionPlant) *float64 { return p.WidthM }, 1, "Alleys 1 m or wider"},
		{"alyssum", func(p catalog.CompanionPlant) *float64 { v := float64(*p.RaiseDays); return &v }, 7 * 7, "6-7 weeks old"},
		{"pepper", func(p catalog.CompanionPlant) *float64 { v := float64(*p.RaiseDays); return &v }, 12 * 7, "sow 10-12 weeks before use"},
	} {
		p, ok := c.CompanionByWord(w.key)
		require.True(t, ok, w.key)
		require.NotNil(t, w.get(p), w.key)
		require.InDelta(t, w.want, *w.get(p), 0, w.key)
		require.Contains(t, words[p.Plant], w.text, w.key)
	}
	// The seed of buckwheat is the broadcast rate of the cover crop, 78 kg/ha = 7.8 g/m2.
	buckwheat, _ := c.CompanionByWord("buckwheat")
	for _, x := range c.Covers() {
		if x.Key == "buckwheat" {
			require.InDelta(t, *x.BroadcastKgHaMin/10, *buckwheat.Amount, 1e-9)
			require.Contains(t, x.Source, buckwheat.AmountBasis.URL)
		}
	}
	// Viruses named in the words stand in the column, and no others.
	for _, p := range c.CompanionPlants() {
		low := strings.ToLower(words[p.Plant])
		for _, v := range []string{"tospovirus", "INSV", "CMV"} {
			require.Equal(t, strings.Contains(low, strings.ToLower(v)), contains(p.Viruses, v), "%s and %s", p.Plant, v)
		}
		require.Equal(t, strings.Contains(low, "listed weed") || strings.Contains(low, "listed as weedy") || strings.Contains(low, "invasive") || p.Key == "lettuce", p.Weed == "listed", p.Plant)
	}
	// What is not known stays so: no plant is said to be harmless to one kind of
	// pet without a word on the other, and garlic is poison.
	garlic, _ := c.CompanionByWord("garlic")
	require.Equal(t, []string{"yes", "yes"}, []string{garlic.Dog, garlic.Cat})
	buck, _ := c.CompanionPlant("buckwheat strip")
	require.Empty(t, buck.Dog+buck.Cat+buck.PetsBasis)
	_, ok := c.CompanionByWord("hogweed")
	require.False(t, ok)
	require.Contains(t, c.CompanionWords(), "cilantro")
	require.Len(t, c.VirusHosts(), 6)
	require.Len(t, c.CompanionMixes(), 2)
	d, ok := c.CompanionDispute("sunflower, branching pollen type", "thrips")
	require.True(t, ok)
	require.Contains(t, d.Finding, "at least 40 %")
	require.Contains(t, d.Other, "USDA trial")
	_, ok = c.CompanionDispute("dill", "aphid")
	require.False(t, ok)
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

// Every mistake in the three tables is told with file, row and column.
func TestCompanionPlants_Refuses(t *testing.T) {
	for name, c := range map[string]struct{ file, old, new, want string }{
		"unknown plant":       {"companion_plants.csv", "alyssum,sweet alyssum,", "alyssum,sweet alysum,", `plant: unknown word "sweet alysum"; did you mean "sweet alyssum"?`},
		"plant without row":   {"companion_plants.csv", "dill,dill,", "dill,basil,", `no row for "dill" of companions.csv`},
		"kind":                {"companion_plants.csv", "lobularia,scattered,", "lobularia,scatered,", `kind: unknown word "scatered"; did you mean "scattered"?`},
		"no reach":            {"companion_plants.csv", "scattered,,,,15,", "scattered,,,,,", "reach_m: is empty"},
		"negative":            {"companion_plants.csv", "edge_strip,,10,1,", "edge_strip,,-10,1,", "from_bed_m: -10 is below 0"},
		"zero":                {"companion_plants.csv", "edge_strip,,10,1,", "edge_strip,,10,0,", "width_m: 0 is not above zero"},
		"amount of nothing":   {"companion_plants.csv", "3,plants/place,49", "3,,49", "amount_per: amount and amount_per must come together"},
		"raised too long":     {"companion_plants.csv", "3,plants/place,49", "3,plants/place,490", `raise_days: "490" is not a whole number from 1 to 200`},
		"third year":          {"companion_plants.csv", "3,plants/place,49,1,", "3,plants/place,49,3,", `blooms_in_year: "3" is not a whole number from 1 to 2`},
		"pets":                {"companion_plants.csv", "annual,no,no,self-sows,,common", "annual,maybe,no,self-sows,,common", `dog: unknown word "maybe"`},
		"pets without basis":  {"companion_plants.csv", "common practice,,,common practice,from memory,,,,published,\"UC Davis", "common practice,,,common practice,,,,,published,\"UC Davis", "pets_basis: does not go with dog, cat"},
		"virus":               {"companion_plants.csv", "self-sows,INSV,", "self-sows,ISNV,", `viruses: unknown word "ISNV"`},
		"bare source":         {"companion_plants.csv", "7.8,g/m2,,1,,annual,,,self-sows,,published,", "7.8,g/m2,,1,,annual,,,self-sows,,common practice,", `amount_source: does not go with the basis "common practice"`},
		"alias twice":         {"companion_plants.csv", "cilantro;", "foeniculum;", `aliases: "foeniculum" already names another row`},
		"key twice":           {"companion_plants.csv", "dill,dill,", "fennel,dill,", `key: "fennel" stands twice`},
		"host virus":          {"virus_hosts.csv", "petunia,INSV,", "petunia,flu,", `virus: unknown word "flu"`},
		"host without source": {"virus_hosts.csv", "stock,INSV,published,\"Univ. Minnesota, hosts of impatiens necrotic spot virus\",", "stock,INSV,published,,", "source: a published row without a source"},
		"dispute of nothing":  {"companion_disputes.csv", "red clover strip,slug,", "red clover strip,aphid,", "red clover strip on aphid is no row of companions.csv"},
		"dispute twice":       {"companion_disputes.csv", "phacelia strip,aphid,", "buckwheat strip,aphid,", "buckwheat strip on aphid stands twice"},
		"one side only":       {"companion_disputes.csv", ",it was the most eaten of ten legumes so it feeds and holds slugs,", ",,", "other: is empty"},
		"mix with itself":     {"companion_mixes.csv", "sweet alyssum,cosmos,", "cosmos,cosmos,", "beside: is the plant itself"},
		"mix with a stranger": {"companion_mixes.csv", "sweet alyssum,cosmos,", "sweet alyssum,cosmo,", `beside: unknown word "cosmo"; did you mean "cosmos"?`},
		"mix without words":   {"companion_mixes.csv", "cosmos,more flying aphids were trapped where both grew than by alyssum alone,", "cosmos,,", "finding: is empty"},
	} {
		t.Run(name, func(t *testing.T) {
			fsys := copyFS(t)
			before := string(fsys[c.file].Data)
			require.Contains(t, before, c.old, "the text to damage is in the table")
			fsys[c.file].Data = []byte(strings.Replace(before, c.old, c.new, 1))
			_, err := catalog.LoadFS(fsys, units.Metric)
			require.ErrorContains(t, err, c.want)
			for _, p := range problems(t, err) {
				if strings.Contains(p.What, c.want) {
					require.Equal(t, c.file, p.File)
					require.NotEmpty(t, p.Do)
					require.True(t, p.Row > 1 && p.Col > 0 || strings.HasPrefix(p.What, "no row"), fmt.Sprint(p.Row, ":", p.Col))
				}
			}
		})
	}
	fsys := copyFS(t)
	delete(fsys, "companion_plants.csv")
	_, err := catalog.LoadFS(fsys, units.Metric)
	require.ErrorIs(t, err, fs.ErrNotExist)
}
