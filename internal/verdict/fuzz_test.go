package verdict_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
)

// A number that is none decides nothing: it never leads to hold.
func TestDecide_StrangeNumbers(t *testing.T) {
	number := func(v float64) *float64 { return &v }
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		in := miteInput(t, leaves(40, 12))
		in.Act = &verdict.Level{Value: bad, Operator: ">="}
		r := verdict.Decide(in)
		require.Equal(t, verdict.LookAgain, r.Verdict, bad)
		require.False(t, r.ChanceKnown)
		require.Contains(t, strings.Join(r.Reasons, "\n"), "is not a number")

		in = miteInput(t, leaves(40, 12))
		in.Damage = verdict.Damage{NeedsPct: number(bad), Hurt: 9, Looked: 10}
		require.Equal(t, verdict.LookAgain, verdict.Decide(in).Verdict, bad)

		in = miteInput(t, leaves(40, 12))
		in.Enemies = verdict.Enemies{Counted: true, PreyPerPredator: number(3), HoldAtOrBelow: number(bad), SharePct: number(90), HoldAtShare: number(bad)}
		require.Equal(t, verdict.Act, verdict.Decide(in).Verdict, bad)
	}
	in := miteInput(t, leaves(40, 12))
	in.Over = func(float64) float64 { return math.NaN() }
	require.Equal(t, verdict.LookAgain, verdict.Decide(in).Verdict)

	// A share of no units is no count.
	in = miteInput(t, leaves(40, 12))
	in.Share = &estimate.Share{}
	require.Equal(t, verdict.NeverCounted, verdict.Decide(in).Verdict)

	// A temperature that is no number was not noted, a limit that is none asks
	// for nothing.
	need := verdict.Needs{AirMinC: number(5), AirMaxC: number(25), SoilMinC: number(math.NaN())}
	v := farm.Visit{Conditions: farm.Conditions{AirC: number(math.NaN()), SoilC: number(-3)}}
	require.Empty(t, verdict.Validity(v, need))
	require.Equal(t, []string{"air temperature was not noted"}, verdict.Cautions(v, need))
}

// FuzzConditions: what is noted is either a reason, or open, or fits; and words
// have no NaN in them.
func FuzzConditions(f *testing.F) {
	f.Add(1.0, 5.0, 25.0, 8.0, 1, 3, "dry", "wet", byte(255))
	f.Add(math.NaN(), math.Inf(1), math.NaN(), -1.0, -1, math.MaxInt, "", "?", byte(15))
	f.Fuzz(func(t *testing.T, temp, low, high, soil float64, nights, need int, wet, foliage string, flags byte) {
		on := func(bit int) bool { return flags&(1<<bit) != 0 }
		given := func(bit int, v float64) *float64 {
			if on(bit) {
				return &v
			}
			return nil
		}
		n := verdict.Needs{SoilMoist: on(0), NotWaterlogged: on(1), FoliageDry: on(2), Undisturbed: on(3), AirMinC: given(4, low), AirMaxC: given(5, high), SoilMinC: given(6, low), Nights: need}
		v := farm.Visit{Conditions: farm.Conditions{Soil: farm.Wetness(wet), Foliage: farm.Wetness(foliage), AirC: given(7, temp), SoilC: given(4, soil), Nights: nights, Disturbed: on(5)}}
		bad, open := verdict.Conditions(v, n)
		if !slices.Equal(bad, verdict.Validity(v, n)) || !slices.Equal(open, verdict.Cautions(v, n)) {
			t.Fatalf("%v, %v", bad, open)
		}
		n.MustSoil, n.MustFoliage, n.MustTemp = on(0), on(1), on(2)
		noted := farm.Conditions{Soil: farm.Moist, Foliage: farm.Dry, AirC: &temp, SoilC: &soil}
		if u := verdict.Unnoted(v.Conditions, n); len(u) > 4 || len(verdict.Unnoted(noted, n)) > 0 {
			t.Fatalf("%v", u)
		}
		if s := strings.Join(append(bad, open...), " "); strings.Contains(s, "NaN") {
			t.Fatal(s)
		}
	})
}
