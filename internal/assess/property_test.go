package assess_test

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
)

// season draws a pest and up to seven visits of one bed in any strata, units
// and conditions, some of them dated after the day of the assessment. How the
// pest clumps is known for each unit, as it is in the catalogue.
func season(t *rapid.T) assess.Input {
	pests := []func() assess.Pest{slugs, mites, earwigs, thrips, aphids, wireworms, virus}
	p := pests[rapid.IntRange(0, len(pests)-1).Draw(t, "pest")]()
	in := input(p, rapid.SampledFrom(farm.Stages).Draw(t, "stage"))
	in.Events = append(in.Events, farm.StageEvent{Bed: "B3", Date: day("2026-07-01"), Stage: in.Stage})
	if rapid.Bool().Draw(t, "virus") {
		in.Holds = withVirus
	}
	for i := range rapid.IntRange(0, 7).Draw(t, "visits") {
		u := rapid.SampledFrom(p.Units).Draw(t, "unit")
		v := farm.Visit{ID: int64(i + 1), Bed: "B3", Pest: p.Key, Unit: u.Key, Date: today.AddDays(-rapid.IntRange(-5, 30).Draw(t, "age")),
			Stratum: rapid.SampledFrom([]farm.Stratum{farm.Random, farm.Random, farm.Random, farm.HotSpot, farm.Edge, ""}).Draw(t, "stratum")}
		for range rapid.IntRange(0, 30).Draw(t, "n") {
			x := rapid.SampledFrom([]int{0, 0, 0, 1, 2, 5, 12, 60, -1}).Draw(t, "count")
			v.Counts = append(v.Counts, farm.UnitCount{Count: max(x, 0), Seen: x >= 0})
		}
		if rapid.IntRange(0, 3).Draw(t, "scored") == 0 || len(v.Seen()) == 0 {
			looked := rapid.IntRange(1, 60).Draw(t, "looked")
			v.Presence = &farm.Presence{Looked: looked, Infested: rapid.IntRange(0, looked).Draw(t, "infested")}
		}
		for _, e := range p.Enemies {
			if rapid.Bool().Draw(t, "enemies counted") {
				v.Enemies = append(v.Enemies, farm.EnemyCount{Enemy: e.Enemy, Count: rapid.IntRange(0, 40).Draw(t, "enemies")})
			}
		}
		if rapid.Bool().Draw(t, "damage noted") {
			v.Damage = &farm.Damage{Looked: 50, Hurt: rapid.IntRange(0, 20).Draw(t, "hurt")}
		}
		wet := []farm.Wetness{farm.Unknown, farm.Dry, farm.Moist, farm.Wet}
		v.Conditions = farm.Conditions{Soil: rapid.SampledFrom(wet).Draw(t, "soil"), Foliage: rapid.SampledFrom(wet).Draw(t, "foliage"),
			AirC: c(rapid.Float64Range(0, 35).Draw(t, "air")), SoilC: c(rapid.Float64Range(0, 25).Draw(t, "soil temperature")), Nights: rapid.IntRange(0, 4).Draw(t, "nights")}
		require.NoError(t, farm.ValidateVisit(v), "the season holds only what entry lets in")
		in.Visits = append(in.Visits, v)
	}
	return in
}

func run(t *rapid.T, in assess.Input) assess.Assessment {
	a, err := assess.Assess(in)
	require.NoError(t, err)
	return a
}

// Every number is a number: the value lies in its interval, the chances
// between 0 and 1, and a result can be written as JSON.
func TestAssess_NumbersHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := season(t)
		a := run(t, in)
		for _, r := range slices.Concat(a.Readings, a.HotSpots) {
			require.GreaterOrEqual(t, r.Value, r.Low-1e-9*r.Value)
			require.LessOrEqual(t, r.Value, r.High+1e-9*r.Value)
			require.GreaterOrEqual(t, r.Low, 0.0)
			require.False(t, math.IsInf(r.High, 0) || math.IsNaN(r.High))
			require.Equal(t, r.Visit.UnitsLooked(), r.N)
			for _, p := range []float64{r.Chance, r.ChanceW} {
				require.True(t, math.IsNaN(p) || p >= 0 && p <= 1, p)
			}
		}
		for _, p := range []float64{a.Result.Chance, a.Result.ChanceWatch} {
			require.True(t, p >= 0 && p <= 1, p)
		}
		_, err := json.Marshal(a.Result)
		require.NoError(t, err, "JSON has no NaN")
		require.NotEmpty(t, a.Result.Reasons)
		require.NotEmpty(t, a.Result.Rule)
		require.GreaterOrEqual(t, a.Result.MoreUnits, 0)
		require.GreaterOrEqual(t, a.Result.RecheckInDays, 0)
		if d := a.Decider; d != nil && !d.Valid() {
			require.Equal(t, verdict.LookAgain, a.Result.Verdict, "an invalid count is never a reason to hold or to act")
		}
		if a.HotSpotAct {
			require.NotEmpty(t, a.HotSpots)
		}
	})
}

// The order of the visits, visits of days to come, and visits to the edge
// change nothing.
func TestAssess_OnlyWhatCounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := season(t)
		want := run(t, in)
		in.Visits = rapid.Permutation(in.Visits).Draw(t, "order")
		keep := slices.Clone(in.Visits)
		require.Equal(t, facts(want), facts(run(t, in)))
		require.Equal(t, keep, in.Visits, "the caller's visits are not touched")

		in.Visits = slices.DeleteFunc(slices.Clone(in.Visits), func(v farm.Visit) bool { return v.Date.After(today) || v.Stratum == farm.Edge })
		require.Equal(t, facts(want), facts(run(t, in)))
	})
}

// facts is what an assessment says, without the chances of undecided readings,
// which may be NaN and so not equal to themselves.
func facts(a assess.Assessment) any {
	ids := func(rs []assess.Reading) (out []int64) {
		for _, r := range rs {
			out = append(out, r.Visit.ID)
		}
		return out
	}
	id := func(r *assess.Reading) int64 {
		if r == nil {
			return 0
		}
		return r.Visit.ID
	}
	return []any{a.Result, ids(a.Readings), ids(a.HotSpots), id(a.Decider), id(a.Earlier), a.HotSpotAct, a.Prey}
}

// More animals on the units that decided never turn act into anything else.
func TestAssess_MoreAnimalsStillAct(t *testing.T) {
	acted := 0
	rapid.Check(t, func(t *rapid.T) {
		in := season(t)
		high := rapid.SampledFrom([]int{0, 3, 12, 40}).Draw(t, "high")
		for i := range in.Visits {
			v := &in.Visits[i]
			for j := range v.Counts {
				v.Counts[j].Count += high
			}
			for range 20 {
				v.Counts = append(v.Counts, farm.UnitCount{Count: high, Seen: true})
			}
			// Nothing but numbers stands in the way.
			v.Stratum, v.Conditions.Soil, v.Conditions.AirC, v.Conditions.SoilC = farm.Random, farm.Moist, c(15), c(12)
		}
		a := run(t, in)
		if a.Result.Verdict != verdict.Act {
			return
		}
		acted++
		for i := range in.Visits {
			v := &in.Visits[i]
			if v.ID != a.Decider.Visit.ID {
				continue
			}
			v.Counts = slices.Clone(v.Counts)
			for j := range v.Counts {
				if v.Counts[j].Seen {
					v.Counts[j].Count += rapid.IntRange(0, 20).Draw(t, "more")
				}
			}
			if p := v.Presence; p != nil {
				v.Presence = &farm.Presence{Looked: p.Looked, Infested: rapid.IntRange(p.Infested, p.Looked).Draw(t, "more infested")}
			}
		}
		require.Equal(t, verdict.Act, run(t, in).Result.Verdict)
	})
	require.Greater(t, acted, 3, "act is hardly tried")
}

// A zero is a count and '-' is not: units that were not looked at change
// nothing, one more empty unit never lowers the number looked at or raises the
// mean.
func TestAssess_NotLookedAtIsNotZero(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := season(t)
		want := run(t, in)
		more := in
		more.Visits = slices.Clone(in.Visits)
		for i := range more.Visits {
			v := &more.Visits[i]
			v.Counts = append(slices.Clone(v.Counts), farm.UnitCount{Count: 99})
		}
		require.Equal(t, facts(want), facts(run(t, more)), "units not looked at")

		for i := range more.Visits {
			v := &more.Visits[i]
			v.Counts[len(v.Counts)-1] = farm.UnitCount{Seen: true}
		}
		with := run(t, more)
		for i, r := range with.Readings {
			require.Equal(t, want.Readings[i].N+1, r.N)
			if r.Visit.Presence == nil {
				require.LessOrEqual(t, r.Value, want.Readings[i].Value)
			}
		}
	})
}

// An old low count is never made into a hold by looks that were not valid.
func TestAssess_InvalidNeverHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 20).Draw(t, "traps")
		bad := on(7, "2026-07-13", count("slug", "trap", repeat(n, 0)...))
		bad.Conditions.Soil = farm.Dry
		in := input(slugs(), farm.Emerged, bad)
		for i := range rapid.IntRange(0, 3).Draw(t, "older") {
			v := good(count("slug", "trap", rapid.SliceOfN(rapid.IntRange(0, 3), 1, 12).Draw(t, "counts")...))
			in.Visits = append(in.Visits, on(int64(i+1), civil.Date.AddDays(today, -1-rapid.IntRange(0, 25).Draw(t, "age")).String(), v))
		}
		a := run(t, in)
		require.NotEqual(t, verdict.Hold, a.Result.Verdict)
		require.NotEqual(t, verdict.NeverCounted, a.Result.Verdict)
		require.Contains(t, a.Result.Reasons[0], "not valid")
	})
}

// A brief assessment decides the same, by the same numbers, and kept beliefs
// change nothing, whatever was asked before.
func TestAssess_BriefAndKeptBeliefs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := season(t)
		want := run(t, in)
		brief := in
		brief.Brief, brief.Beliefs = true, &assess.Beliefs{}
		early := brief
		early.Today = in.Today.AddDays(-rapid.IntRange(0, 30).Draw(t, "earlier"))
		run(t, early)
		for range 2 {
			got := run(t, brief)
			require.Equal(t, facts(want), facts(got))
			for _, p := range [][2]*assess.Reading{{want.Decider, got.Decider}, {want.Earlier, got.Earlier}} {
				if p[0] != nil {
					// As text, since NaN is not equal to itself.
					require.Equal(t, said(*p[0]), said(*p[1]))
				}
			}
			require.Equal(t, want.Now(), got.Now())
			require.Len(t, got.Readings, len(want.Readings))
			for i, r := range want.Readings {
				require.InDelta(t, r.Value, got.Readings[i].Value, 0)
				b, err := got.Readings[i].Believed()
				require.NoError(t, err)
				require.Equal(t, r.Belief, b)
			}
		}
	})
}

// said is a reading's numbers.
func said(r assess.Reading) string {
	var d estimate.Density
	if r.Density != nil {
		d = *r.Density
	}
	return fmt.Sprint(r.Visit.ID, r.N, r.Value, r.Low, r.High, r.LikelyL, r.LikelyH, r.Alone, r.Chance, r.ChanceW, r.Infested, d)
}

func BenchmarkAssess(b *testing.B) {
	in := input(mites(), farm.Budding)
	for i := range 12 {
		in.Visits = append(in.Visits, on(int64(i+1), today.AddDays(-7*i).String(), good(count("spider_mite", "leaf", clumped()...))))
	}
	for _, how := range []struct {
		name string
		in   func() assess.Input
	}{
		{"full", func() assess.Input { return in }},
		{"brief", func() assess.Input { in := in; in.Brief = true; return in }},
		{"kept", func() assess.Input { in := in; in.Brief, in.Beliefs = true, &assess.Beliefs{}; return in }},
	} {
		b.Run(how.name, func(b *testing.B) {
			in := how.in()
			for b.Loop() {
				if _, err := assess.Assess(in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// The plural keeps every word but the noun, and one unit is left as it is.
func FuzzPlural(f *testing.F) {
	for _, s := range []string{"leaf", "set of 20 sweeps", "cubic foot of soil", "bloom by torch", " of ", "of", "s", "ch", "leaf scored at 5 or more", "(x)"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, label string) {
		label = strings.Join(strings.Fields(label), " ") // as the catalogue holds them
		if label == "" {
			return
		}
		require.Equal(t, label, assess.Plural(label, 1))
		many := assess.Plural(label, 2)
		require.LessOrEqual(t, len(many), len(label)+2, "at most two letters more")
		require.GreaterOrEqual(t, len(many), len(label))
		require.Equal(t, len(strings.Fields(label+"x")), len(strings.Fields(many+"x")))
		require.Equal(t, many, assess.Plural(label, 0), "none is said as many are")
	})
}

// What "look again" is settled by starts from the very chance that the verdict
// rests on, for counts on more nights than one and for shares.
func TestLevels_AreTheVerdictsChance(t *testing.T) {
	nights := good(count("slug", "trap", 6, 6, 5, 7, 6, 6, 4, 8, 6))
	nights.Conditions.Nights = 3
	for _, x := range []struct {
		in    assess.Input
		level float64
	}{{input(slugs(), farm.Budding, nights), 4}, {input(slugs(), farm.Budding, nights), 1}, {input(mites(), farm.Budding, good(count("spider_mite", "leaf", clumped()...))), 10}} {
		r := assessed(t, x.in).Decider
		b := r.Levels(*r.Belief, x.level)
		over := 0.0
		for i, l := range b.Levels {
			if l*r.Scale() >= x.level {
				over += b.Weights[i]
			}
		}
		require.InDelta(t, r.Belief.Exceeds(x.level), over, 1e-9)
	}
}
