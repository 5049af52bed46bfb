package verdict_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/belief"
	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
)

var (
	today = civil.MustParse("2026-07-15")
	mites = estimate.Dispersion{A: 3.3, B: 1.49, Words: "k by Taylor's law, spider mites"}
)

func ptr[T any](v T) *T { return &v }

// density estimates, or fails the test.
func density(t require.TestingT, counts []int, d estimate.Dispersion) *estimate.Density {
	e, err := estimate.Estimate(estimate.Sample{Counts: counts}, d)
	require.NoError(t, err)
	return &e
}

func share(t require.TestingT, x, n int) *estimate.Share {
	s, err := estimate.Proportion(x, n)
	require.NoError(t, err)
	return &s
}

// leaves gives n leaves with a mean of about mean mites, a few of them full.
func leaves(n, mean int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = []int{mean, 0, 2 * mean, mean / 2, mean + mean/2}[i%5]
	}
	return out
}

// miteInput is the working default for budding dahlias: act at 10 mites per
// leaf with fewer than 1 predator per 10 mites (common practice).
func miteInput(t require.TestingT, counts []int) verdict.Input {
	return verdict.Input{
		Today: today, Last: today, Pest: "mites", Unit: "leaf", Density: density(t, counts, mites), N: len(counts), MinUnits: 40,
		StaleAfterDays: 14,
		Watch:          &verdict.Level{Value: 5, Operator: ">=", Unit: "leaf"},
		Act:            &verdict.Level{Value: 10, Operator: ">=", Unit: "leaf", Basis: "common practice"},
		Enemies:        verdict.Enemies{Words: "predatory mites", HoldAtOrBelow: ptr(10.0)},
	}
}

// The rows of "Checks a knowledgeable scout would run" that concern a verdict.
// The rules behind them: invalid is not zero (AHDB, How to monitor slug
// populations in field crops); 1 predatory mite per 10 or fewer spider mites
// holds (UC IPM Pest Notes, Spider Mites); thrips 1 where a tospovirus is
// confirmed (University of Delaware Cooperative Extension); the rest is common
// practice.
func TestScoutChecks(t *testing.T) {
	slugLevel := &verdict.Level{Value: 1, Operator: ">=", Unit: "trap"}
	for _, c := range []struct {
		name    string
		in      func(t *testing.T) verdict.Input
		want    verdict.Verdict
		rule    string
		days    int
		reasons []string
	}{
		{"0 slugs in 9 traps, soil dry, 27 C", func(t *testing.T) verdict.Input {
			v := farm.Visit{Conditions: farm.Conditions{Soil: farm.Dry, AirC: ptr(27.0)}}
			why := verdict.Validity(v, verdict.Needs{SoilMoist: true, AirMinC: ptr(5.0), AirMaxC: ptr(25.0)})
			require.Len(t, why, 2)
			return verdict.Input{Today: today, Pest: "slugs", Unit: "trap", Invalid: why, InvalidOn: today, Act: slugLevel}
		}, verdict.LookAgain, verdict.RuleInvalid, 0, []string{"not valid", "dry", "too warm"}},
		{"12 mites with 2 predators: 6 to 1", func(t *testing.T) verdict.Input {
			in := miteInput(t, leaves(40, 12))
			in.Enemies.Counted, in.Enemies.PreyPerPredator = true, ptr(6.0)
			return in
		}, verdict.Hold, verdict.RuleEnemies, 5, []string{"6 mites to each", "recount in 5 to 7 days"}},
		{"12 mites with 0.2 predators: 60 to 1", func(t *testing.T) verdict.Input {
			in := miteInput(t, leaves(40, 12))
			in.Enemies.Counted, in.Enemies.PreyPerPredator = true, ptr(60.0)
			return in
		}, verdict.Act, verdict.RuleOver, 7, []string{"too many for them"}},
		{"12 mites, predators not counted", func(t *testing.T) verdict.Input {
			return miteInput(t, leaves(40, 12))
		}, verdict.Act, verdict.RuleOver, 7, []string{"were not counted"}},
		{"12 mites, no predator found", func(t *testing.T) verdict.Input {
			in := miteInput(t, leaves(40, 12))
			in.Enemies.Counted = true
			return in
		}, verdict.Act, verdict.RuleOver, 7, []string{"no predatory mites found"}},
		{"4 mites per leaflet against a per-leaf limit", func(t *testing.T) verdict.Input {
			in := miteInput(t, leaves(40, 12))
			in.Unit = "leaflet"
			return in
		}, verdict.LookAgain, verdict.RuleUnits, 0, []string{"per leaflet", "per leaf:"}},
		{"9 earwigs per trap in June, no buds", func(t *testing.T) verdict.Input {
			return verdict.Input{Today: today, Last: today, Pest: "earwigs", Unit: "trap", Density: density(t, []int{9, 8, 10, 9, 12, 6, 9, 9, 11, 7}, estimate.Dispersion{K: 2}), N: 10, MinUnits: 10,
				Act: &verdict.Level{Operator: "none", Unit: "trap"}, NoThreshold: "before bud colour earwigs eat aphids and mite eggs"}
		}, verdict.Hold, verdict.RuleNoThreshold, 7, []string{"no action on numbers alone", "eat aphids"}},
		{"thrips about 1 per card, tospovirus confirmed", func(t *testing.T) verdict.Input {
			return verdict.Input{Today: today, Last: today, Pest: "thrips", Unit: "card", VirusConfirmed: true, N: 4, MinUnits: 4,
				Density: density(t, []int{1, 2, 0, 3}, estimate.Dispersion{K: 1}), Act: &verdict.Level{Value: 1, Operator: ">=", Unit: "card"},
				Enemies: verdict.Enemies{Words: "pirate bugs", Counted: true, PreyPerPredator: ptr(5.0), HoldAtOrBelow: ptr(180.0)}}
		}, verdict.Act, verdict.RuleOver, 7, []string{"cannot hold them in time"}},
		{"the same thrips without virus are under 15", func(t *testing.T) verdict.Input {
			return verdict.Input{Today: today, Last: today, Pest: "thrips", Unit: "card", N: 4, MinUnits: 4,
				Density: density(t, []int{1, 2, 0, 3}, estimate.Dispersion{K: 1}), Act: &verdict.Level{Value: 15, Operator: ">=", Unit: "card"}}
		}, verdict.Hold, verdict.RuleUnder, 7, nil},
		{"1 beetle per plant on foliage, act 5", func(t *testing.T) verdict.Input {
			return verdict.Input{Today: today, Last: today, Pest: "beetles", Unit: "plant", N: 50, MinUnits: 50,
				Density: density(t, leaves(50, 1), estimate.Dispersion{K: 1}), Act: &verdict.Level{Value: 5, Operator: ">=", Unit: "plant"},
				Watch: &verdict.Level{Value: 0.5, Operator: ">=", Unit: "plant"}}
		}, verdict.Hold, verdict.RuleUnder, 7, []string{"over the watch level"}},
		{"0 wireworms, soil at 6 C", func(t *testing.T) verdict.Input {
			v := farm.Visit{Conditions: farm.Conditions{Soil: farm.Moist, SoilC: ptr(6.0)}}
			why := verdict.Validity(v, verdict.Needs{SoilMoist: true, NotWaterlogged: true, SoilMinC: ptr(8.0)})
			return verdict.Input{Today: today, Pest: "wireworms", Unit: "bait", Invalid: why, InvalidOn: today}
		}, verdict.LookAgain, verdict.RuleInvalid, 0, []string{"too cold: 6 °C, under 8 °C"}},
		{"0 virus plants in 50", func(t *testing.T) verdict.Input {
			return verdict.Input{Today: today, Last: today, Pest: "virus signs", Unit: "plant", Share: share(t, 0, 50), N: 50,
				Act: &verdict.Level{Value: 0, Operator: ">", Words: "any sick plant"}}
		}, verdict.LookAgain, verdict.RuleNotFound, 7, []string{"up to 5.8 % could still", "walk the whole block"}},
		{"1 virus plant in 50", func(t *testing.T) verdict.Input {
			return verdict.Input{Today: today, Last: today, Pest: "virus signs", Unit: "plant", Share: share(t, 1, 50), N: 50,
				Act: &verdict.Level{Value: 0, Operator: ">", Words: "any sick plant"}}
		}, verdict.Act, verdict.RuleFound, 7, []string{"any find acts"}},
		{"0 of 300", func(t *testing.T) verdict.Input {
			return verdict.Input{Today: today, Last: today, Pest: "virus signs", Unit: "plant", Share: share(t, 0, 300), N: 300,
				Act: &verdict.Level{Value: 0, Operator: ">"}}
		}, verdict.Hold, verdict.RuleUnder, 7, nil},
		{"8 cut shoots of 50 with slime and no larva", func(t *testing.T) verdict.Input {
			return verdict.Input{Today: today, Last: today, Pest: "cutworms", Unit: "plant", Share: share(t, 8, 50), N: 50, MinUnits: 50,
				Act: &verdict.Level{Value: 5, Operator: ">="}, Confirm: &verdict.Confirm{Words: "larvae at the cut plants", Seen: ptr(false)}}
		}, verdict.Hold, verdict.RuleConfirm, 7, []string{"the cause is something else"}},
		{"potato leafhopper where it is not known: confirm it first", func(t *testing.T) verdict.Input {
			return verdict.Input{Today: today, Last: today, Pest: "leafhoppers", Unit: "leaf", N: 50, MinUnits: 50,
				Density: density(t, leaves(50, 4), estimate.Dispersion{K: 1}), Act: &verdict.Level{Value: 10, Per: 100, Operator: ">=", Unit: "leaf"},
				Confirm: &verdict.Confirm{Words: "a specimen: this species is not usual here"}}
		}, verdict.LookAgain, verdict.RuleConfirm, 0, []string{"look first for a specimen"}},
		{"grasshopper 20 against a field-crop rule of 30", func(t *testing.T) verdict.Input {
			return verdict.Input{Today: today, Last: today, Pest: "grasshoppers", Unit: "square yard", N: 18, MinUnits: 18,
				Density: density(t, leaves(18, 20), estimate.Dispersion{K: 3}), Act: &verdict.Level{Value: 30, Operator: ">=", Unit: "square yard", Crop: "field crops", Basis: "published"}}
		}, verdict.Hold, verdict.RuleUnder, 7, []string{"made for field crops, transferred"}},
		{"too few units", func(t *testing.T) verdict.Input { return miteInput(t, leaves(6, 12)) },
			verdict.LookAgain, verdict.RuleTooFew, 0, []string{"40 are needed", "not enough to judge"}},
		{"stale", func(t *testing.T) verdict.Input {
			in := miteInput(t, leaves(40, 12))
			in.Last = today.AddDays(-15)
			return in
		}, verdict.Stale, verdict.RuleStale, 0, []string{"15 days old"}},
		{"never counted", func(t *testing.T) verdict.Input { return verdict.Input{Today: today, Pest: "slugs"} },
			verdict.NeverCounted, verdict.RuleNeverCounted, 0, []string{"that is not zero"}},
		{"dated tomorrow", func(t *testing.T) verdict.Input {
			in := miteInput(t, leaves(40, 12))
			in.Last = today.AddDays(1)
			return in
		}, verdict.LookAgain, verdict.RuleDate, 0, nil},
		{"5 earwigs and no petals chewed", func(t *testing.T) verdict.Input {
			return earwigs(t, verdict.Damage{NeedsPct: ptr(10.0), Hurt: 0, Looked: 50, Words: "chewed blooms"})
		}, verdict.Hold, verdict.RuleDamage, 7, []string{"chewed blooms on 0 of 50"}},
		{"5 earwigs, petals not looked at", func(t *testing.T) verdict.Input {
			return earwigs(t, verdict.Damage{NeedsPct: ptr(10.0), Words: "chewed blooms"})
		}, verdict.LookAgain, verdict.RuleDamage, 0, []string{"nobody looked"}},
		{"5 earwigs and a fifth of blooms chewed", func(t *testing.T) verdict.Input {
			return earwigs(t, verdict.Damage{NeedsPct: ptr(10.0), Hurt: 10, Looked: 50, Words: "chewed blooms"})
		}, verdict.Act, verdict.RuleOver, 7, nil},
		{"aphids on a quarter of tips, enemies in a third of colonies", func(t *testing.T) verdict.Input { return aphids(t, 33, false) },
			verdict.Hold, verdict.RuleEnemies, 5, []string{"33 % of colonies"}},
		{"the same, but doubling", func(t *testing.T) verdict.Input { return aphids(t, 33, true) },
			verdict.Act, verdict.RuleOver, 7, []string{"has doubled"}},
		{"the same, enemies in a tenth", func(t *testing.T) verdict.Input { return aphids(t, 10, false) },
			verdict.Act, verdict.RuleOver, 7, []string{"20 % is needed"}},
		{"near the line", func(t *testing.T) verdict.Input {
			in := miteInput(t, leaves(40, 9))
			in.Enemies = verdict.Enemies{}
			return in
		}, verdict.LookAgain, verdict.RuleNear, 3, []string{"recount in 2 to 4 days"}},
		{"two rising counts over the watch level", func(t *testing.T) verdict.Input {
			in := miteInput(t, leaves(80, 6))
			in.Rising = true
			return in
		}, verdict.Hold, verdict.RuleUnder, 3, []string{"two counts have risen"}},
		{"invalid count after a valid one", func(t *testing.T) verdict.Input {
			in := miteInput(t, leaves(40, 12))
			in.Invalid, in.InvalidOn, in.Last = []string{"the foliage was wet"}, today, today.AddDays(-7)
			return in
		}, verdict.Act, verdict.RuleOver, 7, []string{"is not valid", "foliage was wet"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := verdict.Decide(c.in(t))
			all := strings.Join(r.Reasons, "\n")
			require.Equal(t, c.want, r.Verdict, all)
			require.Equal(t, c.rule, r.Rule, all)
			require.Equal(t, c.days, r.RecheckInDays)
			for _, w := range c.reasons {
				require.Contains(t, all, w)
			}
			require.NotEmpty(t, r.Reasons)
		})
	}
}

func earwigs(t *testing.T, d verdict.Damage) verdict.Input {
	return verdict.Input{Today: today, Last: today, Pest: "earwigs", Unit: "trap", Density: density(t, []int{9, 8, 10, 9, 12, 6, 9, 9, 11, 7}, estimate.Dispersion{K: 2}), N: 10, MinUnits: 10,
		Act: &verdict.Level{Value: 5, Operator: ">=", Unit: "trap"}, Damage: d}
}

func aphids(t *testing.T, sharePct float64, doubling bool) verdict.Input {
	return verdict.Input{Today: today, Last: today, Pest: "aphids", Unit: "shoot tip", Share: share(t, 13, 50), N: 50, MinUnits: 50, Doubling: doubling,
		Act:     &verdict.Level{Value: 10, Operator: ">="},
		Enemies: verdict.Enemies{Counted: true, SharePct: &sharePct, HoldAtShare: ptr(20.0)}}
}

// Hot-spot units are kept out of the mean and can call for spot action alone.
func TestHotSpot(t *testing.T) {
	in := miteInput(t, leaves(40, 1))
	in.HotSpot = &verdict.Spot{Mean: 60, N: 1}
	r := verdict.Decide(in)
	require.Equal(t, verdict.Hold, r.Verdict)
	require.True(t, r.SpotAction)
	require.Contains(t, strings.Join(r.Reasons, "\n"), "kept out of the mean: treat the spot by itself")
	in.HotSpot.Mean = 3
	require.False(t, verdict.Decide(in).SpotAction)
}

// More units near the line: with that many more of the same the verdict is
// settled.
func TestMoreUnits(t *testing.T) {
	in := miteInput(t, leaves(40, 9))
	in.Enemies = verdict.Enemies{}
	r := verdict.Decide(in)
	require.Equal(t, verdict.LookAgain, r.Verdict, strings.Join(r.Reasons, "\n"))
	require.Greater(t, r.MoreUnits, 0)
	more := miteInput(t, leaves(40+r.MoreUnits, 9))
	more.Enemies = verdict.Enemies{}
	require.Equal(t, verdict.Hold, verdict.Decide(more).Verdict, "as many more units of the same settle it")
	// At the level itself no number of units does.
	at := miteInput(t, leaves(40, 10))
	at.Enemies, at.ActAt = verdict.Enemies{}, 0.9
	require.Zero(t, verdict.Decide(at).MoreUnits)
}

func TestDefaults(t *testing.T) {
	in := miteInput(t, leaves(40, 9)) // between
	in.Enemies = verdict.Enemies{}
	p := verdict.Decide(in).Chance
	in.ActAt, in.HoldBelow = p, p/2
	require.Equal(t, verdict.Act, verdict.Decide(in).Verdict, "at the chance to act")
	in.ActAt, in.HoldBelow = 0.999, math.Nextafter(p, 1)
	require.Equal(t, verdict.Hold, verdict.Decide(in).Verdict, "just under the chance to hold")
	in.ActAt, in.HoldBelow = 0.999, p
	require.Equal(t, verdict.LookAgain, verdict.Decide(in).Verdict)
	in.ActAt, in.HoldBelow = math.NaN(), -3
	require.Equal(t, p, verdict.Decide(in).Chance, "out of range takes the defaults")
}

var rank = map[verdict.Verdict]int{verdict.Hold: 0, verdict.LookAgain: 1, verdict.Act: 2}

// More animals never turn act into look again or hold, nor look again into
// hold, whatever else is asked for, and the chance never falls. The doubt that
// one unit far above the others brings is no such step: more on that unit can
// raise it over an act, and more on the others can lay it over a hold.
func TestDecide_Monotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 30).Draw(t, "n")
		x := rapid.SliceOfN(rapid.IntRange(0, 25), n, n).Draw(t, "counts")
		in := miteInput(t, x)
		in.MinUnits = rapid.IntRange(0, 20).Draw(t, "min")
		in.Act.Value = rapid.Float64Range(0.2, 30).Draw(t, "level")
		if rapid.Bool().Draw(t, "damage") {
			in.Damage = verdict.Damage{NeedsPct: ptr(10.0), Hurt: rapid.IntRange(0, 20).Draw(t, "hurt"), Looked: rapid.IntRange(0, 1).Draw(t, "looked") * 20}
		}
		if rapid.Bool().Draw(t, "confirm") {
			in.Confirm = &verdict.Confirm{Words: "the culprit"}
			if rapid.Bool().Draw(t, "looked for") {
				in.Confirm.Seen = ptr(rapid.Bool().Draw(t, "seen"))
			}
		}
		in.VirusConfirmed = rapid.Bool().Draw(t, "virus")
		predators := rapid.Float64Range(0.1, 5).Draw(t, "predators")
		in.Enemies.Counted = rapid.Bool().Draw(t, "counted")
		in.Enemies.PreyPerPredator = ptr(in.Density.Mean / predators)
		was := verdict.Decide(in)
		y := append([]int(nil), x...)
		for range rapid.IntRange(1, 5).Draw(t, "steps") {
			y[rapid.IntRange(0, n-1).Draw(t, "unit")] += rapid.IntRange(1, 60).Draw(t, "more")
			in.Density = density(t, y, mites)
			in.Enemies.PreyPerPredator = ptr(in.Density.Mean / predators)
			now := verdict.Decide(in)
			require.GreaterOrEqual(t, now.Chance, was.Chance-2e-6)
			if was.Rule != verdict.RuleOutlier && now.Rule != verdict.RuleOutlier {
				require.GreaterOrEqual(t, rank[now.Verdict], rank[was.Verdict], "%v\n%v", was.Reasons, now.Reasons)
			}
			was = now
		}
	})
}

func TestDecide_ShareMonotone(t *testing.T) {
	last := -1.0
	was := verdict.Hold
	for x := range 51 {
		in := verdict.Input{Today: today, Last: today, Share: share(t, x, 50), N: 50, MinUnits: 50, Act: &verdict.Level{Value: 10, Operator: ">="}}
		r := verdict.Decide(in)
		require.GreaterOrEqual(t, r.Chance, last-1e-12)
		require.GreaterOrEqual(t, rank[r.Verdict], rank[was])
		last, was = r.Chance, r.Verdict
	}
	require.Equal(t, verdict.Act, was)
}

func TestValidity(t *testing.T) {
	slug := verdict.Needs{SoilMoist: true, AirMinC: ptr(5.0), AirMaxC: ptr(25.0), Undisturbed: true, Nights: 1}
	sweep := verdict.Needs{FoliageDry: true, AirMinC: ptr(15.0)}
	bait := verdict.Needs{SoilMoist: true, NotWaterlogged: true, SoilMinC: ptr(8.0)}
	for _, c := range []struct {
		name      string
		c         farm.Conditions
		need      verdict.Needs
		bad, open []string // words that must be in each, in order
	}{
		{"good slug night", farm.Conditions{Soil: farm.Moist, AirC: ptr(12.0), Nights: 1}, slug, nil, nil},
		{"limits are inside", farm.Conditions{Soil: farm.Wet, AirC: ptr(25.0)}, slug, nil, nil},
		{"dry soil", farm.Conditions{Soil: farm.Dry, AirC: ptr(12.0)}, slug, []string{"dry"}, nil},
		{"3 nights, labelled per night", farm.Conditions{Soil: farm.Moist, AirC: ptr(12.0), Nights: 3}, slug, []string{"3 nights but the action level is for 1 night"}, nil},
		{"cultivated", farm.Conditions{Soil: farm.Moist, AirC: ptr(12.0), Disturbed: true}, slug, []string{"disturbed"}, nil},
		{"nothing noted", farm.Conditions{}, slug, nil, []string{"soil moisture was not noted", "air temperature was not noted"}},
		{"cold and wet sweep", farm.Conditions{Foliage: farm.Wet, AirC: ptr(9.5)}, sweep, []string{"foliage was wet", "9.5 °C, under 15 °C"}, nil},
		{"foliage not noted", farm.Conditions{AirC: ptr(20.0)}, sweep, nil, []string{"foliage was not noted"}},
		{"cold bait", farm.Conditions{Soil: farm.Moist, SoilC: ptr(6.0)}, bait, []string{"soil was too cold"}, nil},
		{"flooded bait", farm.Conditions{Soil: farm.Wet, SoilC: ptr(10.0)}, bait, []string{"waterlogged"}, nil},
		{"upper limit only, not noted", farm.Conditions{}, verdict.Needs{AirMaxC: ptr(30.0)}, nil, []string{"air temperature"}},
		{"nothing asked for", farm.Conditions{Soil: farm.Dry, Disturbed: true}, verdict.Needs{}, nil, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			v := farm.Visit{Conditions: c.c}
			for what, pair := range map[string][2][]string{"bad": {c.bad, verdict.Validity(v, c.need)}, "open": {c.open, verdict.Cautions(v, c.need)}} {
				require.Len(t, pair[1], len(pair[0]), "%s: %v", what, pair[1])
				for i, w := range pair[0] {
					require.Contains(t, pair[1][i], w)
				}
			}
		})
	}
	// A caution is said but does not turn the count down.
	in := miteInput(t, leaves(40, 12))
	in.Cautions = []string{"soil moisture was not noted"}
	r := verdict.Decide(in)
	require.Equal(t, verdict.Act, r.Verdict)
	require.Contains(t, r.Reasons, "caution: soil moisture was not noted")
}

// An even chance is one whatever the last digit of the sum says: with k 1 and
// one animal a unit, the weak prior and the likelihood are alike on both sides
// of a level of 1.
func TestDecide_EvenChance(t *testing.T) {
	for n := 4; n <= 60; n++ {
		counts := make([]int, n)
		for i := range counts {
			counts[i] = 1
		}
		b, err := belief.Update(belief.Weak(), belief.Evidence{Counts: counts}, belief.Clump{K: 1})
		require.NoError(t, err)
		for days := range 4 {
			now, err := belief.LookAhead(b, days, belief.UnknownGrowth())
			require.NoError(t, err)
			in := verdict.Input{Today: today, Last: today.AddDays(-days), Pest: "thrips", Unit: "card", N: n, Density: density(t, counts, estimate.Dispersion{K: 1}),
				Act: &verdict.Level{Value: 1, Operator: ">="}, Over: now.Exceeds}
			require.Equal(t, verdict.Act, verdict.Decide(in).Verdict, "%d units, %d days, chance off by %g", n, days, now.Exceeds(1)-0.5)
		}
	}
	// And it does not become one from farther off.
	in := miteInput(t, leaves(40, 12))
	in.Over = func(float64) float64 { return 0.49999 }
	require.Equal(t, verdict.RuleNear, verdict.Decide(in).Rule)
}

// Where nothing was found nothing is done, however low the level: the chance
// is then all of it the prior's.
func TestDecide_NothingFoundNeverActs(t *testing.T) {
	for _, level := range []float64{1e-9, 1e-4, 0.01, 0.05, 1, 10} {
		for _, n := range []int{5, 9, 40} {
			in := verdict.Input{Today: today, Last: today, Pest: "slugs", Unit: "trap", N: n, MinUnits: 5,
				Density: density(t, make([]int, n), estimate.Dispersion{K: 0.8}), Act: &verdict.Level{Value: level, Operator: ">="}}
			r := verdict.Decide(in)
			require.NotEqual(t, verdict.Act, r.Verdict, "0 on %d units and a level of %g", n, level)
			in.Density, in.Share = nil, share(t, 0, n)
			require.NotEqual(t, verdict.Act, verdict.Decide(in).Verdict, "0 of %d and a level of %g %%", n, level)
			in.Share = share(t, 1, n)
			if level < 1 {
				require.Equal(t, verdict.Act, verdict.Decide(in).Verdict, "1 of %d and a level of %g %%", n, level)
			}
		}
	}
	r := verdict.Decide(verdict.Input{Today: today, Last: today, Pest: "slugs", Unit: "trap", N: 9, MinUnits: 5,
		Density: density(t, make([]int, 9), estimate.Dispersion{K: 0.8}), Act: &verdict.Level{Value: 0.01, Operator: ">="}})
	require.Equal(t, verdict.RuleNone, r.Rule)
	require.Contains(t, strings.Join(r.Reasons, "\n"), "none was found in 9 units")
}

// FuzzDecide: any input gives one of the five verdicts, a chance within 0..1,
// at least one reason, and no NaN in the words.
func FuzzDecide(f *testing.F) {
	f.Add([]byte{12, 0, 24}, 10.0, 5.0, 6.0, 10.0, 0.5, 0.2, 8, 50, byte(0), 40)
	f.Add([]byte{}, math.NaN(), math.Inf(1), -1.0, 0.0, 2.0, -1.0, -3, -1, byte(255), -5)
	f.Add([]byte{0, 0, 0}, 0.0, 0.0, math.NaN(), math.Inf(1), 1e-300, 1.0, 0, 1, byte(85), 0)
	f.Fuzz(func(t *testing.T, raw []byte, act, watch, ratio, hold, actAt, holdBelow float64, x, n int, flags byte, days int) {
		if len(raw) > 20 {
			raw = raw[:20]
		}
		counts := make([]int, len(raw))
		for i, c := range raw {
			counts[i] = int(c)
		}
		on := func(bit int) bool { return flags&(1<<bit) != 0 }
		op := map[bool]string{true: ">", false: ">="}
		in := verdict.Input{Today: today, Last: today.AddDays(-days % 400), Pest: "mites", N: len(raw), MinUnits: n % 50, StaleAfterDays: days % 30,
			Watch: &verdict.Level{Value: watch, Operator: ">="}, Act: &verdict.Level{Value: act, Operator: op[on(0)]},
			Enemies: verdict.Enemies{Counted: on(1), PreyPerPredator: &ratio, HoldAtOrBelow: &hold}, Damage: verdict.Damage{Hurt: x, Looked: n},
			VirusConfirmed: on(2), Rising: on(3), ActAt: actAt, HoldBelow: holdBelow}
		if on(4) {
			in.Damage.NeedsPct = &watch
		}
		if on(5) {
			in.Act = nil
		}
		if s, err := estimate.Proportion(x, n); err == nil && on(6) {
			in.Share = &s
		} else if d, err := estimate.Estimate(estimate.Sample{Counts: counts}, mites); err == nil {
			in.Density = &d
		}
		if on(7) {
			in.HotSpot = &verdict.Spot{Mean: watch, N: n}
		}
		r := verdict.Decide(in)
		switch r.Verdict {
		case verdict.Act, verdict.Hold, verdict.LookAgain, verdict.Stale, verdict.NeverCounted:
		default:
			t.Fatalf("verdict %q", r.Verdict)
		}
		if !(r.Chance >= 0 && r.Chance <= 1 && r.ChanceWatch >= 0 && r.ChanceWatch <= 1) || len(r.Reasons) == 0 || r.Rule == "" || r.MoreUnits < 0 || r.RecheckInDays < 0 {
			t.Fatalf("%+v", r)
		}
	})
}

// None found is not a find: a watch level of "any" is not reached by zeros.
func TestDecide_WatchAnyFind(t *testing.T) {
	for infested, want := range map[int]float64{0: 0, 1: 1} {
		share, err := estimate.Proportion(infested, 50)
		require.NoError(t, err)
		r := verdict.Decide(verdict.Input{
			Today: civil.MustParse("2026-07-13"), Last: civil.MustParse("2026-07-13"), Pest: "tospovirus", Unit: "plant",
			Share: &share, N: 50, Watch: &verdict.Level{Operator: ">", Words: "any find"},
		})
		require.InDelta(t, want, r.ChanceWatch, 0)
		require.Equal(t, infested > 0, r.Watched)
	}
}
