package assess_test

import (
	"encoding/json"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
)

// The checks that a knowledgeable scout would run on the program.
func TestAssess_ScoutsChecks(t *testing.T) {
	dry := count("slug", "trap", repeat(9, 0)...)
	dry.Conditions = farm.Conditions{Soil: farm.Dry, AirC: c(27), Nights: 1}

	threeNights := good(count("slug", "trap", 6, 6, 5, 7, 6, 6, 4, 8, 6)) // 54 in 9 traps
	threeNights.Conditions.Nights = 3
	threeNights.Damage = &farm.Damage{Hurt: 10, Looked: 50} // so that numbers alone decide

	held := good(count("spider_mite", "leaf", clumped()...))
	held.Enemies = []farm.EnemyCount{{Enemy: "predatory_mite", Count: 80}} // 2 per leaf
	outrun := held
	outrun.Enemies = []farm.EnemyCount{{Enemy: "predatory_mite", Count: 8}} // 0.2 per leaf
	none := held
	none.Enemies = []farm.EnemyCount{{Enemy: "predatory_mite", Count: 0}}

	june := on(1, "2026-06-20", good(count("earwig", "shelter", repeat(10, 9)...)))

	cold := good(count("wireworm", "bait", repeat(10, 0)...))
	cold.Conditions.SoilC = c(6)

	clean := count("tospovirus", "plant")
	clean.Presence = &farm.Presence{Infested: 0, Looked: 50}

	spot := count("spider_mite", "leaf", 60)
	spot.ID, spot.Stratum = 2, farm.HotSpot

	few := count("spider_mite", "leaf", repeat(6, 40)...)

	for _, x := range []struct {
		name    string
		in      assess.Input
		verdict verdict.Verdict
		rule    string
		says    []string // in the reasons
		not     []string // not in them
		more    func(*testing.T, assess.Assessment)
	}{
		{name: "0 slugs in 9 traps, dry soil, 27 °C: not valid, not below the level", // AHDB: moist soil, 5-25 °C
			in: input(slugs(), farm.Planted, dry), verdict: verdict.LookAgain, rule: verdict.RuleInvalid,
			says: []string{"not valid, which is not the same as a low count", "dry", "27 °C, over 25 °C"}, not: []string{"under the action level"}},
		{name: "6 slugs per trap in 3 nights are 2 per night, under 4", // the HGCA figure is per night
			in: input(slugs(), farm.Budding, threeNights), verdict: verdict.Hold, rule: verdict.RuleUnder,
			says: []string{"3 nights", "2 slugs per trap and night"},
			more: func(t *testing.T, a assess.Assessment) {
				require.InDelta(t, 2, a.Decider.Value, 1e-9)
				// A second way: the same catch against 4 a night × 3 nights.
				d, err := estimate.Estimate(estimate.Sample{Counts: threeNights.Seen()}, estimate.Dispersion{K: 0.8})
				require.NoError(t, err)
				require.InDelta(t, d.Exceeds(12), a.Decider.Belief.Exceeds(4), 0.01) // the prior is per night here and per trap there
				require.InDelta(t, a.Decider.Belief.Exceeds(4), a.Result.Chance, 1e-9, "counted today")
				one := threeNights
				one.Conditions.Nights = 1
				whole := assessed(t, input(slugs(), farm.Budding, one))
				require.InDelta(t, whole.Decider.High/3, a.Decider.High, 1e-9)
				require.InDelta(t, whole.Decider.Low/3, a.Decider.Low, 1e-9)
			}},
		{name: "12 mites per leaf, 2 predatory mites per leaf: 6 to 1, hold", // UC IPM: 10 or fewer to each
			in: input(mites(), farm.Budding, held), verdict: verdict.Hold, rule: verdict.RuleEnemies, says: []string{"6 spider mites to each of the predatory mites", "recount in 5 to 7 days"},
			more: func(t *testing.T, a assess.Assessment) {
				require.InDelta(t, 12, a.Decider.Value, 1e-9)
				require.InDelta(t, 6, *a.Prey, 1e-9)
				require.True(t, a.Result.RecheckInDays >= 5 && a.Result.RecheckInDays <= 7)
			}},
		{name: "12 mites per leaf, 0.2 predatory mites per leaf: 60 to 1, act",
			in: input(mites(), farm.Budding, outrun), verdict: verdict.Act, rule: verdict.RuleOver, says: []string{"60 spider mites to each"},
			more: func(t *testing.T, a assess.Assessment) { require.InDelta(t, 60, *a.Prey, 1e-9) }},
		{name: "12 mites per leaf, predators looked for and none found: act",
			in: input(mites(), farm.Budding, none), verdict: verdict.Act, rule: verdict.RuleOver, says: []string{"no predatory mites found"}},
		{name: "12 mites per leaf, predators not counted: act, and say so",
			in: input(mites(), farm.Budding, count("spider_mite", "leaf", clumped()...)), verdict: verdict.Act, rule: verdict.RuleOver, says: []string{"predatory mites were not counted"}},
		{name: "4 mites per leaflet: no level for dahlias in that unit, the tomato figure is shown only", // University of Delaware: 4 per leaflet
			in: input(mites(), farm.Budding, count("spider_mite", "leaflet", repeat(40, 12)...)), verdict: verdict.Hold, rule: verdict.RuleNoThreshold,
			says: []string{"there is no action level", "spider mites per leaflet"}, not: []string{"10 spider mites"},
			more: func(t *testing.T, a assess.Assessment) {
				require.False(t, a.Result.ChanceKnown)
				require.Nil(t, a.Decider.Act)
				require.Len(t, a.Decider.Nearest, 1)
				require.Equal(t, "tomato, eggplant", a.Decider.Nearest[0].Crop)
			}},
		{name: "9 earwigs per trap in June, no buds: no action",
			in: inJune(input(earwigs(), farm.Pinched, june)), verdict: verdict.Hold, rule: verdict.RuleNoThreshold, says: []string{"aphid and mite-egg predator"}},
		{name: "2 thrips per card, no virus: far under 15", // University of Delaware, Kent County
			in: input(thrips(), farm.Bloom, count("thrips", "card", 2, 1, 3, 2)), verdict: verdict.Hold, rule: verdict.RuleUnder, says: []string{"15 thrips per card and week"}},
		{name: "2 thrips per card, tospovirus confirmed: act at 1, 15 no longer counts",
			in: hold(input(thrips(), farm.Bloom, count("thrips", "card", 2, 1, 3, 2)), withVirus), verdict: verdict.Act, rule: verdict.RuleOver,
			says: []string{"1 thrips per card and week"}, not: []string{"15 thrips"}},
		{name: "thrips with a confirmed tospovirus: flower bugs cannot hold",
			in:      hold(input(thrips(), farm.Bloom, bugs(count("thrips", "bloom", repeat(10, 4)...), 30)), withVirus),
			verdict: verdict.Act, rule: verdict.RuleOver, says: []string{"a virus that thrips carry is confirmed"}},
		{name: "0 wireworms, baits read in soil at 6 °C: not valid", // Furlan 2014: above 8 °C
			in: input(wireworms(), farm.PrePlant, cold), verdict: verdict.LookAgain, rule: verdict.RuleInvalid, says: []string{"too cold: 6 °C, under 8 °C"}},
		{name: "0 virus plants in 50: could still be 5.8 %, walk the block", // 1 - 0.05^(1/50) = 0.0582
			in: input(virus(), farm.Bloom, clean), verdict: verdict.LookAgain, rule: verdict.RuleNotFound, says: []string{"up to 5.8 % could still be infested", "walk the whole block"},
			more: func(t *testing.T, a assess.Assessment) {
				require.InDelta(t, 100*(1-math.Pow(0.05, 1.0/50)), a.Decider.High, 1e-9)
			}},
		{name: "a hot spot of 60 mites beside 20 leaves with few: kept out of the mean, spot action",
			in: input(mites(), farm.Budding, count("spider_mite", "leaf", append(repeat(15, 0), 1, 1, 1, 1, 1)...), spot), verdict: verdict.Hold, rule: verdict.RuleUnder,
			says: []string{"hot spot with 60 spider mites per leaf"},
			more: func(t *testing.T, a assess.Assessment) {
				require.InDelta(t, 0.25, a.Decider.Value, 1e-9, "5 mites on 20 leaves; 65 on 21 would be 3.1")
				require.True(t, a.HotSpotAct)
				require.True(t, a.Result.SpotAction)
			}},
		{name: "6 leaves where 20 are needed: no verdict, however many mites",
			in: input(mites(), farm.Budding, few), verdict: verdict.LookAgain, rule: verdict.RuleTooFew, says: []string{"6 leaves looked at, and 20 are needed"},
			more: func(t *testing.T, a assess.Assessment) { require.Equal(t, 14, a.Result.MoreUnits) }},
		{name: "never counted is not zero",
			in: input(mites(), farm.Budding), verdict: verdict.NeverCounted, rule: verdict.RuleNeverCounted, says: []string{"that is not zero"},
			more: func(t *testing.T, a assess.Assessment) {
				require.Nil(t, a.Decider)
				require.Equal(t, -1, a.Age())
			}},
	} {
		t.Run(x.name, func(t *testing.T) {
			a := assessed(t, x.in)
			all := strings.Join(a.Result.Reasons, "\n")
			require.Equal(t, x.verdict, a.Result.Verdict, all)
			require.Equal(t, x.rule, a.Result.Rule, all)
			for _, s := range x.says {
				require.Contains(t, all, s)
			}
			for _, s := range x.not {
				require.NotContains(t, all, s)
			}
			if x.more != nil {
				x.more(t, a)
			}
		})
	}
}

func hold(in assess.Input, holds map[string]bool) assess.Input {
	in.Holds = holds
	return in
}

func inJune(in assess.Input) assess.Input {
	in.Today = day("2026-06-20")
	return in
}

func bugs(v farm.Visit, n int) farm.Visit {
	v.Enemies = []farm.EnemyCount{{Enemy: "pirate_bug", Count: n}}
	return v
}

func TestAssess_StaleByTheDay(t *testing.T) {
	low := count("spider_mite", "leaf", repeat(40, 0)...)
	for date, want := range map[string]verdict.Verdict{"2026-07-03": verdict.Hold, "2026-07-02": verdict.Stale} { // 10 and 11 days
		a := assessed(t, input(mites(), farm.Budding, on(1, date, low)))
		require.Equal(t, want, a.Result.Verdict, date)
	}
}

// An invalid last look is shown and never a reason to hold; an older high
// count still acts.
func TestAssess_InvalidLatest(t *testing.T) {
	dry := on(2, "2026-07-13", count("slug", "trap", repeat(9, 0)...))
	dry.Conditions.Soil = farm.Dry
	low := on(1, "2026-07-09", good(count("slug", "trap", repeat(9, 0)...)))
	high := on(1, "2026-07-09", good(count("slug", "trap", repeat(9, 7)...)))
	old := on(1, "2026-06-01", good(count("slug", "trap", repeat(9, 7)...)))

	a := assessed(t, input(slugs(), farm.Planted, low, dry))
	require.Equal(t, verdict.LookAgain, a.Result.Verdict)
	require.Equal(t, verdict.RuleInvalid, a.Result.Rule)
	require.Equal(t, int64(2), a.Decider.Visit.ID, "the report is about the last look")

	a = assessed(t, input(slugs(), farm.Planted, high, dry))
	require.Equal(t, verdict.Act, a.Result.Verdict)
	require.Equal(t, int64(1), a.Decider.Visit.ID)
	require.Contains(t, a.Result.Reasons[0], "not valid")

	a = assessed(t, input(slugs(), farm.Planted, old, dry))
	require.Equal(t, verdict.LookAgain, a.Result.Verdict, "a stale count before it says nothing")

	// Record numbers are not needed for any of this.
	high.ID, dry.ID = 0, 0
	other := on(0, "2026-07-01", good(count("slug", "trap", repeat(9, 0)...)))
	a = assessed(t, input(slugs(), farm.Planted, other, high, dry))
	require.Equal(t, verdict.Act, a.Result.Verdict)
	require.Equal(t, day("2026-07-09"), a.Decider.Visit.Date)
}

// Several units in one round: the most pressing verdict stands. A later look
// by a unit that has no level, or one that is not valid, takes nothing back.
func TestAssess_Units(t *testing.T) {
	high := on(1, "2026-07-11", good(count("spider_mite", "leaf", repeat(40, 14)...)))
	lowTap := on(2, "2026-07-13", good(count("spider_mite", "tap", repeat(20, 0)...)))
	a := assessed(t, input(mites(), farm.Budding, high, lowTap))
	require.Equal(t, verdict.Act, a.Result.Verdict)
	require.Equal(t, "leaf", a.Decider.Unit.Key)

	fewLeaf5 := on(3, "2026-07-13", good(count("spider_mite", "leaf5", repeat(45, 0)...)))
	a = assessed(t, input(mites(), farm.Budding, high, fewLeaf5))
	require.Equal(t, verdict.Act, a.Result.Verdict, "both have a level and belong to one round: the more pressing stands")

	high.Date = day("2026-07-06")
	a = assessed(t, input(mites(), farm.Budding, high, fewLeaf5))
	require.Equal(t, verdict.Hold, a.Result.Verdict, "a new round by a unit with a level replaces the old one")

	a = assessed(t, input(mites(), farm.Budding, high, lowTap))
	require.Equal(t, verdict.Act, a.Result.Verdict, "tapping has no action level and cannot replace the count of leaves")

	wet := fewLeaf5
	wet.Conditions.Disturbed = true
	p := mites()
	p.Units[2].Needs = verdict.Needs{Undisturbed: true}
	a = assessed(t, input(p, farm.Budding, high, wet))
	require.Equal(t, verdict.Act, a.Result.Verdict, "an invalid look by another unit cannot replace it either")
}

func TestAssess_Strata(t *testing.T) {
	low := count("spider_mite", "leaf", repeat(40, 0)...)
	edge := on(2, "2026-07-13", count("spider_mite", "leaf", repeat(40, 30)...))
	edge.Stratum = farm.Edge
	a := assessed(t, input(mites(), farm.Budding, low, edge))
	require.Equal(t, verdict.Hold, a.Result.Verdict)
	require.Len(t, a.Readings, 1)
	require.Empty(t, a.HotSpots)

	spot := edge
	spot.Stratum = farm.HotSpot
	a = assessed(t, input(mites(), farm.Budding, spot))
	require.Equal(t, verdict.NeverCounted, a.Result.Verdict, "a hot spot says nothing of the bed")
	require.True(t, a.HotSpotAct)
	require.Nil(t, a.Decider)

	for name, x := range map[string]struct {
		p    assess.Pest
		v    farm.Visit
		want bool
	}{
		"none found in the spot": {virus(), count("tospovirus", "test", 0, 0, 0), false},
		"one found in the spot":  {virus(), count("tospovirus", "test", 0, 1, 0), true},
		"just under the level":   {mites(), count("spider_mite", "leaf", 9, 10), false},
		"at the level":           {mites(), count("spider_mite", "leaf", 10, 10), true},
		"no damage noted":        {earwigs(), count("earwig", "shelter", 9, 9), false},
		"damage under 10 %":      {earwigs(), hurt(count("earwig", "shelter", 9, 9), 1, 20), false},
		"damage of 10 %":         {earwigs(), hurt(count("earwig", "shelter", 9, 9), 2, 20), true},
		"enemies at work":        {mites(), enemies(count("spider_mite", "leaf", 60, 60), "predatory_mite", 12), false},
		"too few enemies":        {mites(), enemies(count("spider_mite", "leaf", 60, 60), "predatory_mite", 11), true},
	} {
		x.v.Stratum = farm.HotSpot
		a := assessed(t, input(x.p, farm.Bloom, x.v))
		require.Equal(t, x.want, a.HotSpotAct, name)
		require.Equal(t, x.want, a.Result.SpotAction, name)
	}

	// Today's stage chooses the level: 6 mites are over 5 while the plants are
	// young and under 10 from budding on.
	six := on(1, "2026-07-10", count("spider_mite", "leaf", 6, 6))
	six.Stratum = farm.HotSpot
	in := input(mites(), farm.Budding, six)
	in.Events = []farm.StageEvent{{Bed: "B3", Date: day("2026-06-01"), Stage: farm.Pinched}, {Bed: "B3", Date: day("2026-07-12"), Stage: farm.Budding}}
	require.False(t, assessed(t, in).HotSpotAct)
}

func hurt(v farm.Visit, hurt, looked int) farm.Visit {
	v.Damage = &farm.Damage{Hurt: hurt, Looked: looked}
	return v
}

func enemies(v farm.Visit, key string, n int) farm.Visit {
	v.Enemies = []farm.EnemyCount{{Enemy: key, Count: n}}
	return v
}

// Earwigs need damage as well as numbers; thrips act on damage alone; fresh
// feeding on shoots overrides a low trap catch of slugs.
func TestAssess_Damage(t *testing.T) {
	many := count("earwig", "shelter", repeat(10, 9)...)
	for _, x := range []struct {
		name    string
		p       assess.Pest
		stage   farm.Stage
		v       farm.Visit
		verdict verdict.Verdict
		rule    string
	}{
		{"earwigs, nobody looked at the blooms", earwigs(), farm.Bloom, many, verdict.LookAgain, verdict.RuleDamage},
		{"earwigs, 0 of 50 chewed", earwigs(), farm.Bloom, hurt(many, 0, 50), verdict.Hold, verdict.RuleDamage},
		{"earwigs, 5 of 50 chewed", earwigs(), farm.Bloom, hurt(many, 5, 50), verdict.Act, verdict.RuleOver}, // 10 %, the level itself: P over a half
		{"earwigs, 3 of 30 blooms chewed and few earwigs", earwigs(), farm.Bloom, hurt(count("earwig", "shelter", repeat(10, 0)...), 3, 30), verdict.Hold, verdict.RuleUnder},
		{"thrips, few and no streaks", thrips(), farm.Bloom, hurt(count("thrips", "bloom", repeat(10, 1)...), 0, 50), verdict.Hold, verdict.RuleUnder},
		{"thrips, few and 8 of 50 blooms streaked", thrips(), farm.Bloom, hurt(count("thrips", "bloom", repeat(10, 1)...), 8, 50), verdict.Act, verdict.RuleDamage},
		{"slugs, low catch and 1 of 50 shoots fed on", slugs(), farm.Emerged, hurt(good(count("slug", "trap", 1, 0, 0, 0, 0, 0, 0, 0, 0)), 1, 50), verdict.Hold, verdict.RuleUnder},
		{"slugs, low catch and 9 of 50 shoots fed on", slugs(), farm.Emerged, hurt(good(count("slug", "trap", 1, 0, 0, 0, 0, 0, 0, 0, 0)), 9, 50), verdict.Act, verdict.RuleDamage},
		{"slugs, none caught and 9 of 50 shoots fed on: find the culprit", slugs(), farm.Emerged, hurt(good(count("slug", "trap", repeat(9, 0)...)), 9, 50), verdict.LookAgain, verdict.RuleDamage},
		{"slugs, past the stage of that level", slugs(), farm.Budding, hurt(good(count("slug", "trap", 1, 0, 0, 0, 0, 0, 0, 0, 0)), 9, 50), verdict.Hold, verdict.RuleUnder},
	} {
		a := assessed(t, input(x.p, x.stage, x.v))
		require.Equal(t, x.verdict, a.Result.Verdict, "%s: %v", x.name, a.Result.Reasons)
		require.Equal(t, x.rule, a.Result.Rule, "%s: %v", x.name, a.Result.Reasons)
	}
	stale := hurt(count("thrips", "bloom", repeat(10, 1)...), 8, 50)
	stale.Date = day("2026-07-01")
	require.Equal(t, verdict.Stale, assessed(t, input(thrips(), farm.Bloom, stale)).Result.Verdict, "old damage is no reason either")
}

// Two visits on one day are both believed, whatever their order; the one
// recorded later is shown.
func TestAssess_TwiceOnOneDay(t *testing.T) {
	high := on(4, "2026-07-13", count("spider_mite", "leaf", repeat(40, 30)...))
	low := on(5, "2026-07-13", count("spider_mite", "leaf", repeat(40, 0)...))
	alone := assessed(t, input(mites(), farm.Budding, low))
	require.Equal(t, verdict.Hold, alone.Result.Verdict)
	var chance []float64
	for _, visits := range [][]farm.Visit{{high, low}, {low, high}} {
		a := assessed(t, input(mites(), farm.Budding, visits...))
		require.Equal(t, int64(5), a.Decider.Visit.ID)
		require.Equal(t, int64(4), a.Earlier.Visit.ID)
		require.Greater(t, a.Result.Chance, alone.Result.Chance, "the high count is not forgotten on the same day")
		chance = append(chance, a.Result.Chance)
	}
	require.InDelta(t, chance[0], chance[1], 1e-12)
}

// The virus of these tests is the table that a test of package app holds
// against the catalogue: neither can be changed alone.
func TestVirus_IsTheTable(t *testing.T) {
	raw, err := os.ReadFile("testdata/tospovirus.json")
	require.NoError(t, err)
	p := virus()
	type row map[string]any
	var units, levels []row
	for _, u := range p.Units {
		units = append(units, row{"key": u.Key, "label": u.Label, "measure": u.Measure, "words": u.Words, "percent": u.Percent, "tally": u.Tally, "wanted": u.Wanted, "min": u.Min})
	}
	for _, l := range p.Levels {
		levels = append(levels, row{"measure": l.Measure, "kind": l.Kind, "operator": l.Operator, "value": l.Value, "basis": l.Ref.Basis})
	}
	got, err := json.Marshal(row{"every_days": p.EveryDays, "stale_days": p.StaleDays, "units": units, "levels": levels})
	require.NoError(t, err)
	require.JSONEq(t, string(raw), string(got))
}

// A protocol that looks at every plant asks for no more plants than there are.
func TestAssess_EveryPlantOfASmallBed(t *testing.T) {
	p := virus()
	p.Levels = []assess.Level{{Measure: "plants_with_suspect_symptoms", Kind: "act", Value: 10, Operator: ">=", Crop: "dahlia", Ref: common}}
	in := input(p, farm.Bloom, count("tospovirus", "plant", 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0))
	require.Equal(t, verdict.RuleTooFew, assessed(t, in).Result.Rule, "12 of 60 plants, and 50 are asked for")
	in.Bed.Plants = 12
	require.Equal(t, verdict.Act, assessed(t, in).Result.Verdict)
}

// The farm's own level stands in the place of the catalogue's.
func TestAssess_Override(t *testing.T) {
	v := good(count("spider_mite", "leaf", clumped()...)) // 12 per leaf, catalogue 10
	p := mites()
	for i := range p.Levels {
		if l := &p.Levels[i]; l.Measure == "mites_per_leaf" && l.Kind == "act" && l.From == farm.Budding {
			l.Overridden, l.Catalogue, l.Value, l.Reason = true, l.Value, 40, "seed crop"
			l.Ref = assess.Ref{Basis: "the farm's own", Source: "seed crop"}
		}
	}
	a := assessed(t, input(p, farm.Budding, v))
	require.Equal(t, verdict.Hold, a.Result.Verdict)
	require.Contains(t, strings.Join(a.Result.Reasons, "\n"), "40 spider mites per leaf (the farm's own; seed crop)")
	require.InDelta(t, 10, a.Decider.Act.Catalogue, 0)
}

// The decision is for today: today's stage chooses the levels, the visit's
// own stage is kept for the history.
func TestAssess_StageOfToday(t *testing.T) {
	// Forty leaves with six mites in the mean, as clumped as mites are.
	v := on(1, "2026-07-12", good(count("spider_mite", "leaf", slices.Repeat([]int{0, 0, 1, 2, 3, 4, 5, 8, 12, 25}, 4)...)))
	in := input(mites(), farm.Pinched, v)
	require.Equal(t, verdict.Act, assessed(t, in).Result.Verdict, "6 against 5")
	in.Stage = farm.Budding
	in.Events = append(in.Events, farm.StageEvent{Bed: "B3", Date: day("2026-07-12"), Stage: farm.Budding})
	a := assessed(t, in)
	require.Equal(t, verdict.Hold, a.Result.Verdict, "6 against 10")
	require.InDelta(t, 10, a.Decider.Act.Value, 0)

	in.Stage = farm.Dug
	a = assessed(t, in)
	require.Equal(t, verdict.RuleNoThreshold, a.Result.Rule, "no level of the catalogue reaches a dug bed")
}

// A disease acts on any find; every plant of a small bed is enough.
func TestAssess_Disease(t *testing.T) {
	found := count("tospovirus", "test")
	found.Presence = &farm.Presence{Infested: 1, Looked: 12}
	a := assessed(t, input(virus(), farm.Bloom, found))
	require.Equal(t, verdict.Act, a.Result.Verdict)
	require.Equal(t, verdict.RuleFound, a.Result.Rule)
	require.InDelta(t, 1, a.Result.Chance, 0)

	// 299 is the number at which 95 % of searches meet 1 % infested plants:
	// ln 0.05 / ln 0.99 = 298.07.
	clean := count("tospovirus", "plant")
	for looked, want := range map[int]verdict.Verdict{298: verdict.LookAgain, 299: verdict.Hold} {
		clean.Presence = &farm.Presence{Looked: looked}
		in := input(virus(), farm.Bloom, clean)
		in.Bed.Plants = 2000 // a sample of many
		require.Equal(t, want, assessed(t, in).Result.Verdict, looked)
	}
	// Of a bed of 60 plants none is left to be missed once 60 were looked at.
	for looked, want := range map[int]verdict.Verdict{59: verdict.LookAgain, 60: verdict.Hold} {
		clean.Presence = &farm.Presence{Looked: looked}
		require.Equal(t, want, assessed(t, input(virus(), farm.Bloom, clean)).Result.Verdict, looked)
	}
}

// A zero is a count; a unit that was not looked at is not.
func TestAssess_ZeroIsACount(t *testing.T) {
	a := assessed(t, input(mites(), farm.Budding, count("spider_mite", "leaf", 4, 0, -1, 2, -1)))
	require.Equal(t, 3, a.Decider.N)
	require.InDelta(t, 2, a.Decider.Value, 1e-12)
	require.InDelta(t, 2.0/3, a.Decider.Infested, 1e-12)

	a = assessed(t, input(aphids(), farm.Bloom, count("aphid", "tip", 0, 4, 5, -1, 9)))
	require.Equal(t, 2, a.Decider.Share.Infested, "infested from 5 on")
	require.InDelta(t, 50, a.Decider.Value, 1e-12)
}

// One guarded colony in five holds, unless the share of tips doubles.
func TestAssess_GuardedColonies(t *testing.T) {
	tips := func(infested, guarded int) farm.Visit {
		v := enemies(count("aphid", "tip"), "guarded_colony", guarded)
		v.Presence = &farm.Presence{Infested: infested, Looked: 50}
		return v
	}
	require.Equal(t, verdict.RuleEnemies, assessed(t, input(aphids(), farm.Bloom, tips(20, 4))).Result.Rule)
	require.Equal(t, verdict.Act, assessed(t, input(aphids(), farm.Bloom, tips(20, 3))).Result.Verdict)
	before := on(9, "2026-07-06", tips(10, 2))
	require.Equal(t, verdict.Act, assessed(t, input(aphids(), farm.Bloom, before, tips(20, 4))).Result.Verdict, "doubled")
	before = on(9, "2026-07-06", tips(11, 2))
	require.Equal(t, verdict.Hold, assessed(t, input(aphids(), farm.Bloom, before, tips(20, 4))).Result.Verdict)
}

// Where leaves are only scored there is no number of mites, so no ratio.
func TestAssess_EnemiesOnScoredLeaves(t *testing.T) {
	v := enemies(count("spider_mite", "leaf5"), "predatory_mite", 30)
	v.Presence = &farm.Presence{Infested: 30, Looked: 45}
	a := assessed(t, input(mites(), farm.Budding, v))
	require.Equal(t, verdict.Act, a.Result.Verdict)
	all := strings.Join(a.Result.Reasons, "\n")
	require.NotContains(t, all, "no predatory mites found", "30 were found")
	require.Contains(t, all, "30 predatory mites")
}

// A level that hangs on something that the farm has not said is named; one
// that the farm has ruled out, or of another crop, is not.
func TestAssess_LevelNotSaid(t *testing.T) {
	p := slugs()
	p.Units[0].Measure = "nymphs_per_leaf"
	p.Levels = []assess.Level{{Measure: "nymphs_per_leaf", Kind: "act", Value: 0.1, Operator: ">=", Requires: "potato_leafhopper", Crop: "dahlia", Ref: common}}
	v := good(count("slug", "trap", repeat(9, 3)...))
	says := func(holds map[string]bool) string {
		return strings.Join(assessed(t, hold(input(p, farm.Bloom, v), holds)).Result.Reasons, "\n")
	}
	require.Contains(t, says(nil), "has not been said: leafturn farm set --area potato_leafhopper")
	require.NotContains(t, says(map[string]bool{"potato_leafhopper": false}), "has not been said")
	p.Levels[0].Transfer, p.Levels[0].Crop = true, "potato"
	require.NotContains(t, says(nil), "has not been said")
}

func TestAssess_UnknownUnit(t *testing.T) {
	_, err := assess.Assess(input(mites(), farm.Bloom, count("spider_mite", "bucket", 1)))
	require.ErrorContains(t, err, `"bucket" is not in the catalogue`)
	require.ErrorContains(t, err, "2026-07-13")
}

func TestPlural(t *testing.T) {
	for in, want := range map[string]string{
		"refuge trap": "refuge traps", "leaf": "leaves", "older leaf": "older leaves", "shovelful of soil": "shovelfuls of soil", "cubic foot of soil": "cubic feet of soil",
		"square foot": "square feet", "flower branch": "flower branches", "refuge trap (13 traps)": "refuge traps (13 traps)", "leaf, nymphs and adults": "leaves, nymphs and adults", "clump (or tray)": "clumps (or tray)", "leaf scored at 5 or more": "leaves scored at 5 or more",
		"bloom by torch": "blooms by torch", "stretch of row by torch": "stretches of row by torch", "open bloom tapped": "open blooms tapped", "open bloom looked into": "open blooms looked into",
		"shoot tapped over paper": "shoots tapped over paper", "set of 20 sweeps": "sets of 20 sweeps", "bed raked flat": "beds raked flat", "": "units",
	} {
		require.Equal(t, want, assess.Plural(in, 2))
	}
	require.Equal(t, "leaf scored at 5 or more", assess.Plural("leaf scored at 5 or more", 1))
}

func TestUnit_Scale(t *testing.T) {
	for _, x := range []struct {
		per, protocol, stood int
		want                 float64
	}{
		{0, 0, 5, 1}, {1, 1, 0, 1}, {1, 1, 3, 1.0 / 3}, {7, 7, 0, 1}, {7, 7, 14, 0.5}, {7, 0, 1, 7},
	} {
		require.InDelta(t, x.want, assess.Unit{PerNights: x.per, Nights: x.protocol}.Scale(x.stood), 1e-12, "%+v", x)
	}
}

// Damage alone acts by the farm's own costs. The chance that 5 % or more of the
// blooms are hurt is, with 2 of 50, 0.41 (scipy.stats.beta.sf(0.05, 2.5, 48.5)),
// and with 3 of 50 0.66.
func TestAssess_DamageByTheFarmsCosts(t *testing.T) {
	for _, row := range []struct {
		hurt  int
		actAt float64
		acts  bool
	}{
		{2, 0, false}, {2, 0.2, true}, {3, 0, true}, {3, 0.8, false},
	} {
		in := input(thrips(), farm.Bloom, hurt(count("thrips", "bloom", repeat(10, 1)...), row.hurt, 50))
		in.ActAt = row.actAt
		a := assessed(t, in)
		require.Equal(t, row.acts, a.Result.Verdict == verdict.Act, "%d hurt, act at %g: %s", row.hurt, row.actAt, a.Result.Reasons)
	}
}

// A level in force from 1 January on a farm of the south (1 July in the north)
// holds to the end of June, and not before new year; the stage of a count is
// that of its own season.
func TestAssess_SeasonOfTheSouth(t *testing.T) {
	span := []assess.Span{{From: civil.MonthDay{Month: 1, Day: 1}, To: civil.MonthDay{Month: 4, Day: 4}}}
	south, north := assess.Level{Season: span, South: true}, assess.Level{Season: span}
	for day, want := range map[string][2]bool{
		"2026-12-31": {false, false}, "2027-01-01": {true, true}, "2027-04-04": {true, true}, "2027-04-05": {false, false},
		"2026-07-01": {false, false},
	} {
		require.Equal(t, want, [2]bool{south.InForce(civil.MustParse(day)), north.InForce(civil.MustParse(day))}, day)
	}
	open := assess.Level{Season: []assess.Span{{To: civil.MonthDay{Month: 12, Day: 31}}, {From: civil.MonthDay{Month: 3, Day: 1}}}, South: true}
	for day, want := range map[string]bool{"2026-07-01": true, "2026-12-31": true, "2027-01-01": false, "2027-02-28": false, "2027-03-01": true, "2027-06-30": true} {
		require.Equal(t, want, open.InForce(civil.MustParse(day)), day)
	}

	// Counted on 1 January in a bed that was budding since December, and again.
	mites6 := good(count("spider_mite", "leaf", repeat(40, 6)...))
	in := input(mites(), farm.Budding, on(1, "2027-01-01", mites6), on(2, "2027-01-10", mites6))
	in.Today, in.StageSince = day("2027-01-11"), day("2026-12-20")
	in.Events = []farm.StageEvent{{Bed: "B3", Date: day("2026-12-01"), Stage: farm.Pinched}, {Bed: "B3", Date: day("2026-12-20"), Stage: farm.Budding}}
	require.Nil(t, assessed(t, in).Readings[0].Act, "in the north nothing is planted yet in January")
	in.South = true
	require.InDelta(t, 10, assessed(t, in).Readings[0].Act.Value, 0)
}
