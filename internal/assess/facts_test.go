package assess_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
)

// The facts of these tests are written out here, so that each check stands
// beside its number and its source. "Working" is common practice for dahlias;
// no published threshold for dahlias is known for any of these pests.

var today = day("2026-07-13")

func day(s string) civil.Date { return civil.MustParse(s) }

func c(v float64) *float64 { return &v }

const ahdb = "AHDB, How to monitor slug populations in field crops"

// slugs: baited refuge traps, 9 in a W, on moist soil at 5 to 25 °C (AHDB).
// Levels: working, borrowed from oilseed rape 1 and cereals 4 per trap and
// night (AHDB; HGCA guidance reported by Farmers Weekly).
func slugs() assess.Pest {
	moist := verdict.Needs{SoilMoist: true, AirMinC: c(5), AirMaxC: c(25), Undisturbed: true}
	return assess.Pest{
		Key: "slug", Name: "slugs", EveryDays: 7, StaleDays: 14, InSeason: true,
		Units: []assess.Unit{
			{Key: "trap", Label: "refuge trap", Measure: "slugs_per_trap_night", Words: "slugs per trap and night", Tally: 1, Wanted: 9, Min: 5,
				PerNights: 1, Nights: 1, Damage: "pct_shoots_fed", Needs: moist, Dispersed: estimate.Dispersion{K: 0.8}},
			{Key: "slate", Label: "baited slate", Measure: "slugs_per_trap", Words: "slugs per baited trap over 1-2 days", Tally: 1, Wanted: 9, Min: 5,
				Needs: moist, Dispersed: estimate.Dispersion{K: 0.8}},
		},
		Levels: []assess.Level{
			{Measure: "slugs_per_trap_night", Kind: "act", Value: 1, Operator: ">=", Crop: "oilseed rape", Transfer: true, Ref: assess.Ref{Basis: "published", Source: ahdb}},
			{Measure: "slugs_per_trap_night", Kind: "watch", Value: 0.5, Operator: ">=", From: farm.Planted, To: farm.Emerged, Crop: "dahlia", Ref: common},
			{Measure: "slugs_per_trap_night", Kind: "act", Value: 1, Operator: ">=", From: farm.Planted, To: farm.Emerged, Crop: "dahlia", Ref: common},
			{Measure: "pct_shoots_fed", Kind: "act", Value: 5, Operator: ">=", From: farm.Planted, To: farm.Emerged, Crop: "dahlia", Ref: common},
			{Measure: "slugs_per_trap_night", Kind: "watch", Value: 2, Operator: ">=", From: farm.Pinched, To: farm.Bloom, Crop: "dahlia", Ref: common},
			{Measure: "slugs_per_trap_night", Kind: "act", Value: 4, Operator: ">=", From: farm.Pinched, To: farm.Bloom, NeedsDamagePct: 1, Crop: "dahlia", Ref: common},
		},
	}
}

var common = assess.Ref{Basis: "common practice"}

// mites: 2 leaves on each of 20 plants (Michigan State University hop
// scouting). Levels: working; nearest published hop 5 to 10, strawberry 20 per
// leaf (Michigan State University; Virginia Tech), tomato 4 per leaflet
// (University of Delaware). Hold at 10 or fewer mites for each predator (UC IPM
// Pest Notes). Taylor's a 3.30, b 1.49 (Jones 1990, from memory).
func mites() assess.Pest {
	taylor := estimate.Dispersion{A: 3.30, B: 1.49}
	return assess.Pest{
		Key: "spider_mite", Name: "spider mites", EveryDays: 7, StaleDays: 10, InSeason: true,
		Units: []assess.Unit{
			{Key: "leaf", Label: "leaf", Measure: "mites_per_leaf", Words: "spider mites per leaf", Tally: 1, Wanted: 40, Min: 20, Dispersed: taylor},
			{Key: "leaflet", Label: "leaflet", Measure: "mites_per_leaflet", Words: "spider mites per leaflet", Tally: 1, Wanted: 40, Min: 20, Dispersed: taylor},
			{Key: "leaf5", Label: "leaf scored at 5 or more", Measure: "pct_leaves_5plus_mites", Words: "% of leaves with 5 or more spider mites", Percent: true, Tally: 5, Wanted: 45, Min: 22},
			{Key: "tap", Label: "shoot tapped over paper", Measure: "mites_per_tap", Words: "spider mites per tap", Tally: 1, Wanted: 20, Min: 10, Dispersed: estimate.Dispersion{K: 0.5}},
		},
		Levels: []assess.Level{
			{Measure: "mites_per_leaflet", Kind: "act", Value: 4, Operator: ">=", Crop: "tomato, eggplant", Transfer: true, Ref: assess.Ref{Basis: "published", Source: "University of Delaware Weekly Crop Update"}},
			{Measure: "mites_per_leaf", Kind: "act", Value: 20, Operator: ">=", Crop: "strawberry", Transfer: true, Ref: assess.Ref{Basis: "published", Source: "Virginia Tech fruit entomology"}},
			{Measure: "mites_per_leaf", Kind: "release_trigger", Value: 0.2, Operator: ">=", Crop: "landscape ornamentals", Transfer: true, Ref: assess.Ref{Basis: "published", Source: "Pacific Northwest Insect Management Handbook"}},
			{Measure: "mites_per_leaf", Kind: "watch", Value: 1, Operator: ">=", From: farm.Planted, To: farm.Pinched, Crop: "dahlia", Ref: common},
			{Measure: "mites_per_leaf", Kind: "act", Value: 5, Operator: ">=", From: farm.Planted, To: farm.Pinched, Crop: "dahlia", Ref: common},
			{Measure: "mites_per_leaf", Kind: "watch", Value: 5, Operator: ">=", From: farm.Budding, To: farm.Bloom, Crop: "dahlia", Ref: common},
			{Measure: "mites_per_leaf", Kind: "act", Value: 10, Operator: ">=", From: farm.Budding, To: farm.Bloom, Crop: "dahlia", Ref: common},
			{Measure: "pct_leaves_5plus_mites", Kind: "act", Value: 30, Operator: ">=", Crop: "dahlia", Ref: common},
		},
		Enemies: []assess.EnemyRule{{Enemy: "predatory_mite", Name: "predatory mites", Kind: "prey_per_enemy", Value: 10, Ref: assess.Ref{Basis: "published", Source: "UC IPM Pest Notes: Spider Mites"}}},
	}
}

// earwigs: 10 shelter traps. Levels: working; none before the buds colour,
// then 5 per trap and night with at least 10 % of blooms chewed.
func earwigs() assess.Pest {
	return assess.Pest{
		Key: "earwig", Name: "earwigs", EveryDays: 7, StaleDays: 14, InSeason: true,
		Units: []assess.Unit{{Key: "shelter", Label: "shelter trap", Measure: "earwigs_per_trap_night", Words: "earwigs per trap and night", Tally: 1, Wanted: 10, Min: 5,
			PerNights: 1, Nights: 1, Damage: "pct_blooms_chewed", Dispersed: estimate.Dispersion{K: 0.5}}},
		Levels: []assess.Level{
			{Measure: "earwigs_per_trap_night", Kind: "act", Operator: "none", From: farm.PrePlant, To: farm.Pinched, Crop: "dahlia", Conditions: "do not act on counts alone: aphid and mite-egg predator", Ref: common},
			{Measure: "earwigs_per_trap_night", Kind: "watch", Value: 2, Operator: ">=", From: farm.Budding, To: farm.Bloom, Crop: "dahlia", Ref: common},
			{Measure: "earwigs_per_trap_night", Kind: "act", Value: 5, Operator: ">=", From: farm.Budding, To: farm.Bloom, NeedsDamagePct: 10, Crop: "dahlia", Ref: common},
		},
	}
}

// thrips: sticky cards for a week and tapped blooms. Levels: 15 per card and
// week in greenhouses, 1 where a tospovirus is confirmed (University of
// Delaware Cooperative Extension, Kent County); working for blooms, from
// strawberry 10 per flower (University of Maryland).
func thrips() assess.Pest {
	kent := assess.Ref{Basis: "published", Source: "University of Delaware Cooperative Extension, Kent County"}
	return assess.Pest{
		Key: "thrips", Name: "thrips", EveryDays: 7, StaleDays: 10, InSeason: true,
		Units: []assess.Unit{
			{Key: "bloom", Label: "open bloom tapped", Measure: "thrips_per_bloom", Words: "thrips per bloom", Tally: 1, Wanted: 10, Min: 5, Damage: "pct_blooms_streaked", Dispersed: estimate.Dispersion{K: 1}},
			{Key: "card", Label: "sticky card", Measure: "thrips_per_card_week", Words: "thrips per card and week", Tally: 1, Wanted: 4, Min: 4, PerNights: 7, Nights: 7, Dispersed: estimate.Dispersion{K: 1}},
		},
		Levels: []assess.Level{
			{Measure: "thrips_per_card_week", Kind: "act", Value: 15, Operator: ">=", Requires: "no_tospovirus", Crop: "greenhouse floriculture", Ref: kent},
			{Measure: "thrips_per_card_week", Kind: "act", Value: 1, Operator: ">=", Requires: "tospovirus_confirmed", Crop: "greenhouse floriculture", Ref: kent},
			{Measure: "thrips_per_bloom", Kind: "watch", Value: 5, Operator: ">=", From: farm.Budding, To: farm.Bloom, Requires: "no_tospovirus", Crop: "dahlia", Ref: common},
			{Measure: "thrips_per_bloom", Kind: "act", Value: 10, Operator: ">=", From: farm.Budding, To: farm.Bloom, OrDamagePct: 5, Requires: "no_tospovirus", Crop: "dahlia", Ref: common},
			{Measure: "thrips_per_bloom", Kind: "act", Value: 1, Operator: ">=", Requires: "tospovirus_confirmed", Crop: "dahlia", Ref: common},
		},
		Enemies: []assess.EnemyRule{{Enemy: "pirate_bug", Name: "minute pirate bugs", Kind: "prey_per_enemy", Value: 40, Ref: assess.Ref{Basis: "from memory"}}},
	}
}

// aphids: shoot tips, infested from 5 aphids on. Levels: working, from melon
// and cole crops; hold where 1 colony in 5 is guarded and not doubling.
func aphids() assess.Pest {
	return assess.Pest{
		Key: "aphid", Name: "aphids", EveryDays: 7, StaleDays: 10, InSeason: true,
		Units: []assess.Unit{{Key: "tip", Label: "shoot tip", Measure: "pct_shoot_tips_infested", Words: "% of shoot tips with aphids", Percent: true, Tally: 5, Wanted: 50, Min: 25}},
		Levels: []assess.Level{
			{Measure: "pct_shoot_tips_infested", Kind: "watch", Value: 5, Operator: ">=", Crop: "dahlia", Ref: common},
			{Measure: "pct_shoot_tips_infested", Kind: "act", Value: 20, Operator: ">=", From: farm.Planted, To: farm.Pinched, Crop: "dahlia", Ref: common},
			{Measure: "pct_shoot_tips_infested", Kind: "act", Value: 10, Operator: ">=", From: farm.Budding, To: farm.Bloom, Crop: "dahlia", Ref: common},
		},
		Enemies: []assess.EnemyRule{{Enemy: "guarded_colony", Name: "aphid colonies with enemies", Kind: "share_of_infested", Value: 0.2, Ref: common}},
	}
}

// wireworms: 10 grain baits in soil above 8 °C, moist, never flooded (Furlan
// 2014, J. Pest Science). Level: working, 1 per bait from maize (University of
// Illinois).
func wireworms() assess.Pest {
	return assess.Pest{
		Key: "wireworm", Name: "wireworms", EveryDays: 14, StaleDays: 30, InSeason: true,
		Units: []assess.Unit{{Key: "bait", Label: "grain bait", Measure: "larvae_per_bait", Words: "larvae per bait", Tally: 1, Wanted: 10, Min: 5, Nights: 10,
			Needs: verdict.Needs{SoilMoist: true, SoilMinC: c(8), NotWaterlogged: true}, Dispersed: estimate.Dispersion{K: 0.5}}},
		Levels: []assess.Level{
			{Measure: "larvae_per_bait", Kind: "watch", Value: 0.1, Operator: ">=", From: farm.PrePlant, To: farm.PrePlant, Crop: "dahlia", Ref: common},
			{Measure: "larvae_per_bait", Kind: "act", Value: 1, Operator: ">=", From: farm.PrePlant, To: farm.PrePlant, Crop: "dahlia", Ref: common},
		},
	}
}

// virus: every plant is looked at, and a find is a suspect; a positive test
// acts (UMass Extension). TestVirus_IsTheTable holds it against
// testdata/tospovirus.json, and a test of package app that table against the
// catalogue.
func virus() assess.Pest {
	return assess.Pest{
		Key: "tospovirus", Name: "tospovirus", Disease: true, EveryDays: 14, StaleDays: 21, InSeason: true,
		Units: []assess.Unit{{Key: "plant", Label: "plant", Measure: "plants_with_suspect_symptoms", Words: "% of plants with suspect symptoms", Percent: true, Tally: 1, Min: 50},
			{Key: "test", Label: "plant tested", Measure: "plants_confirmed", Words: "% of tests that confirm a tospovirus", Percent: true, Tally: 1, Min: 1}},
		Levels: []assess.Level{
			{Measure: "plants_confirmed", Kind: "act", Value: 0, Operator: ">", Crop: "dahlia", Ref: assess.Ref{Basis: "published", Source: "UMass Extension"}},
			{Measure: "plants_with_suspect_symptoms", Kind: "watch", Value: 0, Operator: ">", Crop: "dahlia", Ref: common},
		},
	}
}

var (
	noVirus   = map[string]bool{"tospovirus_confirmed": false, "no_tospovirus": true}
	withVirus = map[string]bool{"tospovirus_confirmed": true, "no_tospovirus": false}
)

// count makes a visit on the day of the tests with the counts of its units;
// -1 is a unit that was not looked at.
func count(pest, unit string, counts ...int) farm.Visit {
	v := farm.Visit{ID: 1, Bed: "B3", Pest: pest, Unit: unit, Date: today, Stratum: farm.Random}
	for _, n := range counts {
		v.Counts = append(v.Counts, farm.UnitCount{Count: max(n, 0), Seen: n >= 0})
	}
	return v
}

// good is a visit under the conditions that its protocol asks for.
func good(v farm.Visit) farm.Visit {
	v.Conditions.Soil, v.Conditions.Foliage, v.Conditions.AirC, v.Conditions.SoilC = farm.Moist, farm.Dry, c(15), c(12)
	return v
}

// on moves a visit to another day, with a record number of its own.
func on(id int64, date string, v farm.Visit) farm.Visit {
	v.ID, v.Date = id, day(date)
	return v
}

// repeat returns n units with so many animals each.
func repeat(n, each int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = each
	}
	return out
}

// clumped returns 40 leaves with 12 mites each on average, spread as mites
// are: invented, the total is 480.
func clumped() []int {
	out := []int{0, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 14, 16, 20, 26, 36, 50}
	return append(out, out...)
}

func input(p assess.Pest, stage farm.Stage, visits ...farm.Visit) assess.Input {
	return assess.Input{
		Today: today, Bed: farm.Bed{Code: "B3", LengthM: 30, WidthM: 1.2, Plants: 60, Site: farm.Outdoor}, Stage: stage, StageSince: day("2026-05-01"),
		Pest: p, Events: []farm.StageEvent{{Bed: "B3", Date: day("2026-05-01"), Stage: stage}}, Visits: visits, Holds: noVirus,
	}
}

func assessed(t *testing.T, in assess.Input) assess.Assessment {
	t.Helper()
	a, err := assess.Assess(in)
	require.NoError(t, err)
	return a
}
