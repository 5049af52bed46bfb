package app

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/cover"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
)

// Beds of 10 m x 1 m run east; neighbours lie one above the other.
func TestBedRows(t *testing.T) {
	at := func(code, block string, x, y float64) farm.Bed {
		return farm.Bed{Code: code, Block: block, X: &x, Y: &y, LengthM: 10, WidthM: 1}
	}
	free := func(code, block string) farm.Bed { return farm.Bed{Code: code, Block: block, LengthM: 10, WidthM: 1} }
	rows := bedRows([]farm.Bed{
		at("A2", "A", 0, 1.5), at("A1", "A", 0, 0), // a path of 0.5 m
		at("A3", "A", 0, 6),    // 3.5 m: no neighbour
		at("A4", "A", 12, 0),   // end to end
		at("A5", "A", 16, 2.5), // half along A4
		at("A6", "A", 22, 4),   // a third along A5
		at("B1", "B", 0, -1.2), // another block
		free("C2", "C"), free("C1", "C"), free("D1", "D"), free("A9", "A"),
	})
	neighbours := func(a, b string) bool {
		x, y := rows[a], rows[b]
		if x.Row == "" || x.Row != y.Row {
			return false
		}
		for code, z := range rows {
			if code != a && code != b && z.Row == x.Row && (z.Place-x.Place)*(z.Place-y.Place) < 0 {
				return false
			}
		}
		return true
	}
	var got []string
	all := []string{"A1", "A2", "A3", "A4", "A5", "A6", "A9", "B1", "C1", "C2", "D1"}
	for i, a := range all {
		for _, b := range all[i+1:] {
			if neighbours(a, b) {
				got = append(got, a+b)
			}
		}
	}
	require.Equal(t, []string{"A1A2", "A4A5", "C1C2"}, got)
}

func TestCoverBeds(t *testing.T) {
	grows := func(code, crop string) farm.Bed {
		b := farm.Bed{Code: code, Site: farm.Outdoor}
		b.Crop = crop
		return b
	}
	planned, out := coverBeds([]farm.Bed{grows("A1", ""), {Code: "H1", Site: farm.House}, grows("T1", "tulips"), grows("A2", "dahlias")})
	require.Len(t, planned, 2)
	require.Equal(t, "A2", planned[1].Code)
	require.Equal(t, []string{"H1 is under cover, where frost dates say nothing", "T1 grows tulips"}, out)
}

func TestWeekChances(t *testing.T) {
	r := func(day string, chance float64, invalid ...string) assess.Reading {
		return assess.Reading{Visit: &farm.Visit{Date: civil.MustParse(day)}, Chance: math.NaN(), ChanceThen: chance, Invalid: invalid}
	}
	got := weekChances(assess.Assessment{Readings: []assess.Reading{
		r("2026-07-13", 0.2), r("2026-07-19", 0.7), // Monday and Sunday of one week
		r("2026-07-20", 0.1),
		r("2026-07-27", 0.9, "too hot"), r("2026-08-03", math.NaN()),
	}})
	require.Equal(t, []float64{0.1, 0.7}, got)
}

func TestSeasonDay(t *testing.T) {
	a := &App{farm: farm.Farm{LastFrost: civil.MonthDay{Month: 4, Day: 25}}}
	for day, want := range map[string]string{
		"2026-11-20": "2026-11-20", "2027-01-10": "2026-12-31", "2027-05-14": "2026-12-31", "2027-05-15": "2027-05-15",
	} {
		require.Equal(t, want, a.seasonDay(civil.MustParse(day)).String())
	}
	require.Equal(t, "2027-01-10", (&App{}).seasonDay(civil.MustParse("2027-01-10")).String(), "without frost dates nothing is known of the season")
}

// North: frosts 25 April and 20 October. South: 15 October and 5 May, so the
// beds are dug in May and planted in November of one year.
func TestCoverDates(t *testing.T) {
	north := &App{farm: farm.Farm{LastFrost: civil.MonthDay{Month: 4, Day: 25}, FirstFrost: civil.MonthDay{Month: 10, Day: 20}}}
	south := &App{farm: farm.Farm{LastFrost: civil.MonthDay{Month: 10, Day: 15}, FirstFrost: civil.MonthDay{Month: 5, Day: 5}}}
	require.False(t, north.farm.South())
	require.True(t, south.farm.South())
	for _, c := range []struct {
		a                         *App
		today, dig, plant, season string
	}{
		{north, "2026-10-25", "2026-10-28", "2027-05-15", "2026-10-25"},
		{north, "2027-01-10", "2026-10-28", "2027-05-15", "2026-12-31"},
		{north, "2027-05-14", "2026-10-28", "2027-05-15", "2026-12-31"},
		{north, "2027-05-15", "2027-10-28", "2028-05-15", "2027-05-15"},
		{south, "2026-03-10", "2026-05-13", "2026-11-04", "2026-03-10"},
		{south, "2026-06-10", "2026-05-13", "2026-11-04", "2026-06-10"},
		{south, "2026-11-03", "2026-05-13", "2026-11-04", "2026-06-30"}, // the season 2025/26 ended in June,
		{south, "2026-11-04", "2027-05-13", "2027-11-04", "2026-11-04"},
		{south, "2026-12-10", "2027-05-13", "2027-11-04", "2026-12-10"},
		{south, "2027-01-10", "2027-05-13", "2027-11-04", "2027-01-10"},
	} {
		today := civil.MustParse(c.today)
		dig, plant, before := c.a.coverDates(today)
		require.Equal(t, []string{c.dig, c.plant}, []string{dig.String(), plant.String()}, c.today)
		require.Equal(t, plant.Year-1, before.Year)
		require.Equal(t, plant.AddDays(-365).Month, before.Month)
		require.Equal(t, c.season, c.a.seasonDay(today).String(), c.today)
	}
}

// Each kind of rule changes what it speaks of, and nothing else of the other bed.
func TestCoverPlan_Apply(t *testing.T) {
	day := civil.MustParse("2026-10-20")
	for _, c := range []struct {
		rule ingest.CoverRule
		want func(p coverPlan) any
		is   any
	}{
		{ingest.CoverRule{Kind: ingest.CoverBudget, Number: 120}, func(p coverPlan) any { return *p.rules.Budget }, 120.},
		{ingest.CoverRule{Kind: ingest.CoverLots, Number: 5}, func(p coverPlan) any { return p.rules.Lots }, 5},
		{ingest.CoverRule{Kind: ingest.CoverRest, Number: 2}, func(p coverPlan) any { return p.rules.MaxRested }, 2},
		{ingest.CoverRule{Kind: ingest.CoverUntreated, Number: 2, Of: 6}, func(p coverPlan) any { return [2]int{p.rules.Untreated, p.rules.UntreatedOf} }, [2]int{2, 6}},
		{ingest.CoverRule{Kind: ingest.CoverLegumes, Least: true, Number: 0.25, Unit: ingest.UnitShare}, func(p coverPlan) any { return *p.rules.Legumes }, 0.25},
		{ingest.CoverRule{Kind: ingest.CoverLegumes, Number: 0.5, Unit: ingest.UnitShare}, func(p coverPlan) any { return *p.rules.LegumesMost }, 0.5},
		{ingest.CoverRule{Kind: ingest.CoverLegumes, Number: 50, Unit: "m2", File: "r", Line: 2}, func(p coverPlan) any { return p.rules.Areas }, []cover.Area{{What: cover.Legumes, M2: 50, From: "r:2"}}},
		{ingest.CoverRule{Kind: ingest.CoverArea, Cover: "oats", Least: true, Number: 30, Unit: "m2", Line: 1}, func(p coverPlan) any { return p.rules.Areas }, []cover.Area{{What: "oats", Least: true, M2: 30, From: "--rule 1"}}},
		{ingest.CoverRule{Kind: ingest.CoverArea, Name: "Fabaceae", Number: 0.1, Unit: ingest.UnitShare, Line: 1}, func(p coverPlan) any { return p.rules.Areas }, []cover.Area{{What: "Fabaceae", M2: 10, From: "--rule 1"}}},
		{ingest.CoverRule{Kind: ingest.CoverPin, Bed: "A1", Window: ingest.InRest, Cover: "buckwheat", Line: 3}, func(p coverPlan) any { return p.rules.Pins }, []cover.Pin{{Bed: "A1", Window: cover.RestYear, Cover: "buckwheat", From: "--rule 3"}}},
		{ingest.CoverRule{Kind: ingest.CoverForbid, Cover: "oats", Line: 4}, func(p coverPlan) any { return p.rules.Forbids }, []cover.Pin{{Cover: "oats", From: "--rule 4"}}},
		{ingest.CoverRule{Kind: ingest.CoverMixes, Number: 3}, func(p coverPlan) any { return p.rules.Species }, 3},
		{ingest.CoverRule{Kind: ingest.CoverTogether, Number: 0.3}, func(p coverPlan) any { return p.rules.Together }, 0.3},
		{ingest.CoverRule{Kind: ingest.CoverWeight, Name: "pests", Number: 2}, func(p coverPlan) any { return p.rules.PestWeight }, 2.},
		{ingest.CoverRule{Kind: ingest.CoverWeight, Name: "harm", Number: 3}, func(p coverPlan) any { return p.rules.HarmWeight }, 3.},
		{ingest.CoverRule{Kind: ingest.CoverWeight, Name: "nitrogen", Number: 4}, func(p coverPlan) any { return p.rules.Nitrogen }, 4.},
		{ingest.CoverRule{Kind: ingest.CoverWeight, Name: "biomass", Number: 4}, func(p coverPlan) any { return p.rules.Biomass }, 4.},
		{ingest.CoverRule{Kind: ingest.CoverWeight, Name: "cost", Number: 4}, func(p coverPlan) any { return p.rules.PointsPerUSD }, 4.},
		{ingest.CoverRule{Kind: ingest.CoverWeight, Name: "work", Number: 4}, func(p coverPlan) any { return p.rules.Work }, 4.},
		{ingest.CoverRule{Kind: ingest.CoverWeight, Name: "bare", Number: 4}, func(p coverPlan) any { return p.rules.BarePenalty }, 4.},
		{ingest.CoverRule{Kind: ingest.CoverWeight, Name: "flowers", Number: 4}, func(p coverPlan) any { return p.rules.RestCost }, 4.},
		{ingest.CoverRule{Kind: ingest.CoverWeight, Name: "family", Number: 4}, func(p coverPlan) any { return p.rules.FamilyPenalty }, 4.},
		{ingest.CoverRule{Kind: ingest.CoverGrade, Name: "C", Number: 0.3}, func(p coverPlan) any { return p.rules.Weights }, cover.Weights{A: 1, B: 0.7, C: 0.3, D: 0.1}},
		{ingest.CoverRule{Kind: ingest.CoverPrice, Cover: "oats", Number: 2.5}, func(p coverPlan) any { return *p.options[0].Crop.USDPerKg }, 2.5},
		{ingest.CoverRule{Kind: ingest.CoverBag, Cover: "oats", Number: 10}, func(p coverPlan) any { return p.bags["oats"] }, 10.},
		{ingest.CoverRule{Kind: ingest.CoverPressure, Bed: "A1", Pest: "slug", Number: 3, Spread: 0.5}, func(p coverPlan) any { return [2]float64{p.beds[0].Pressure[0].Score, p.beds[0].Pressure[0].SD} }, [2]float64{3, 0.5}},
		{ingest.CoverRule{Kind: ingest.CoverPressure, Bed: "A1", Pest: "nematode_lesion", Number: 3}, func(p coverPlan) any { return p.beds[0].Pressure[1].Known }, true},
		{ingest.CoverRule{Kind: ingest.CoverGrew, Bed: "A1", Cover: "oats", Year: 2025}, func(p coverPlan) any { return p.beds[0].History }, []cover.Grown{{Family: "Poaceae", Year: 2025}}},
		{ingest.CoverRule{Kind: ingest.CoverGrew, Bed: "A1", Name: "Fabaceae", Year: 2024}, func(p coverPlan) any { return p.beds[0].History }, []cover.Grown{{Family: "Fabaceae", Year: 2024}}},
		{ingest.CoverRule{Kind: ingest.CoverDig, Bed: "A1", Date: day}, func(p coverPlan) any { return p.beds[0].FreeFrom }, day},
		{ingest.CoverRule{Kind: ingest.CoverPlant, Bed: "A1", Date: day}, func(p coverPlan) any { return p.beds[0].PlantBy }, day},
		{ingest.CoverRule{Kind: ingest.CoverSoil, Month: time.March, Number: 6}, func(p coverPlan) any { return *p.site.SoilC[2] }, 6.},
		{ingest.CoverRule{Kind: ingest.CoverDry, Bed: "A1"}, func(p coverPlan) any { return p.beds[0].NoWater }, true},
		{ingest.CoverRule{Kind: ingest.CoverVirus, Bed: "A1", Name: "CMV"}, func(p coverPlan) any { return p.beds[0].Viruses }, []string{"CMV"}},
		{ingest.CoverRule{Kind: ingest.CoverSod, Bed: "A1", Year: 2025}, func(p coverPlan) any { return p.beds[0].SodYear }, 2025},
		{ingest.CoverRule{Kind: ingest.CoverBrassica, Bed: "A1"}, func(p coverPlan) any { return p.beds[0].BrassicaNear }, true},
		{ingest.CoverRule{Kind: ingest.CoverClubroot, Bed: "A1"}, func(p coverPlan) any { return p.beds[0].ClubrootKnown }, true},
		{ingest.CoverRule{Kind: ingest.CoverFamily, Name: "hard"}, func(p coverPlan) any { return p.rules.R7 }, cover.FamilyHard},
		{ingest.CoverRule{Kind: ingest.CoverFamily, Name: "soft except marigold"}, func(p coverPlan) any { return p.rules.R7 }, cover.FamilySoftExcept},
		{ingest.CoverRule{Kind: ingest.CoverHosts, Name: "allowed"}, func(p coverPlan) any { return p.rules.HostScore }, 0},
	} {
		p := coverPlan{rules: cover.FarmRules(), options: []cover.Option{{Crop: cover.Crop{ID: "oats", Family: "Poaceae"}}}, beds: []cover.Bed{
			{Code: "A1", AreaM2: 40, Pressure: []cover.Pressure{{Pest: "slug"}}}, {Code: "A2", AreaM2: 60, Pressure: []cover.Pressure{{Pest: "slug"}}}}}
		p.apply([]ingest.CoverRule{c.rule})
		require.Equal(t, c.is, c.want(p), "%s %s", c.rule.Kind, c.rule.Name)
		require.Equal(t, cover.Bed{Code: "A2", AreaM2: 60, Pressure: []cover.Pressure{{Pest: "slug"}}}, p.beds[1], "%s", c.rule.Kind)
		require.Equal(t, c.rule.Place(), p.rules.Stated[string(c.rule.Kind)])
	}
	// A rule for one bed goes before one for every bed, whatever their order.
	p := coverPlan{beds: []cover.Bed{{Code: "A1"}, {Code: "A2"}}}
	p.apply([]ingest.CoverRule{{Kind: ingest.CoverDig, Bed: "A1", Date: day}, {Kind: ingest.CoverDig, Date: day.AddDays(5)}})
	require.Equal(t, day, p.beds[0].FreeFrom)
	require.Equal(t, day.AddDays(5), p.beds[1].FreeFrom)
}
