package verdict_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/estimate"
	"leafturn/internal/verdict"
)

// A chance is said in whole percent, unless that would hide on which side of
// the chance to act it lies.
func TestDecide_WholePercent(t *testing.T) {
	for p, want := range map[float64]string{0.004: "is under 1 %", 0.123: "is 12 %", 0.196: "is 19.6 %", 0.204: "is 20 %", 0.496: "is 49.6 %", 0.504: "is 50 %", 0.731: "is 73 %", 0.996: "is over 99 %", 1: "is 100 %", 0: "is 0 %"} {
		in := verdict.Input{Today: today, Last: today, N: 9, Density: density(t, []int{1, 2, 3, 4, 5, 0, 1, 2, 3}, estimate.Dispersion{K: 1}),
			Act: &verdict.Level{Value: 3, Operator: ">="}, Over: func(float64) float64 { return p }}
		require.Contains(t, strings.Join(verdict.Decide(in).Reasons, "\n"), "the chance of being at or over it "+want)
	}
}

// Sentences name the sample unit, one or many, and never "1 slugs".
func TestDecide_NamesTheUnit(t *testing.T) {
	k := estimate.Dispersion{K: 1, Words: "k 1"}
	base := func(counts []int) verdict.Input {
		return verdict.Input{Today: today, Last: today, Pest: "slugs", Unit: "bait station", Units: "bait stations", N: len(counts), MinUnits: 1,
			Density: density(t, counts, k), Act: &verdict.Level{Value: 3, Operator: ">=", Unit: "bait station"}}
	}
	settle := func(n int) func(*verdict.Input) {
		return func(in *verdict.Input) { in.Settle = func() (int, float64, bool) { return n, 0.8, n > 0 } }
	}
	near := []int{1, 3, 2, 4, 2, 1, 3, 2}
	for _, c := range []struct {
		counts []int
		change func(*verdict.Input)
		want   string
	}{
		{near, settle(1), "too near the level to judge: 1 more bait station would settle it"},
		{near, settle(7), "too near the level to judge: 7 more bait stations would settle it"},
		{near, settle(0), "any reasonable number of bait stations to settle"},
		{near, func(in *verdict.Input) {}, "more bait stations would probably settle it"},
		{[]int{9}, func(in *verdict.Input) { in.MinUnits = 5 }, "1 bait station looked at, and 5 are needed"},
		{[]int{9, 8}, func(in *verdict.Input) { in.MinUnits = 5 }, "2 bait stations looked at, and 5 are needed"},
		{[]int{1, 1, 1, 1}, func(in *verdict.Input) {}, "slugs: 1 per bait station on average"},
		{[]int{2, 2, 2, 2}, func(in *verdict.Input) {}, "2 slugs per bait station on average"},
		{near, func(in *verdict.Input) { in.Unit, in.Units, in.Act.Unit = "", "", "" }, "from 8 units"},
		{[]int{0}, func(in *verdict.Input) { in.Act = &verdict.Level{Value: 0, Operator: ">"}; in.Whole = true }, "none in 1 bait station, and that is all there are"},
		{[]int{0, 0}, func(in *verdict.Input) { in.Act = &verdict.Level{Value: 0, Operator: ">"} }, "none in 2 bait stations: up to"},
		{near, func(in *verdict.Input) { in.HotSpot = &verdict.Spot{Mean: 9, N: 1} }, "(1 bait station) is kept out of the mean"},
		{[]int{9, 9, 9, 9}, func(in *verdict.Input) {
			in.Enemies = verdict.Enemies{Counted: true, Words: "beetles", PreyPerPredator: ptr(1.0), HoldAtOrBelow: ptr(10.0)}
		}, "1 of the slugs to each of the beetles; 10 or fewer holds"},
	} {
		in := base(c.counts)
		c.change(&in)
		all := strings.Join(verdict.Decide(in).Reasons, "\n")
		require.Contains(t, all, c.want)
		require.NotContains(t, all, " 1 slugs")
		require.NotContains(t, all, " 1 bait stations")
	}
}
