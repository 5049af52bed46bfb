package trend_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/trend"
)

// strange are the numbers that break arithmetic, among ordinary ones.
var strange = []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, 5e-324, 1e-300, 1e-9, 0.5, 1, 1.5, 2, 40, 1e9, 1e300, math.MaxFloat64, -0.5, -1, -1e300}

var strangeWhole = []int{0, 1, 2, 30, 4000, estimate.MaxCount, math.MaxInt, -1, math.MinInt}

func sound(t *testing.T, err error, what string, args []any, got ...float64) {
	t.Helper()
	if err != nil {
		return
	}
	for _, f := range got {
		if math.IsNaN(f) {
			t.Fatalf("%s of %v: %v and no error", what, args, got)
		}
	}
}

// constants calls everything with counts and numbers of every kind, FuzzTrend
// with counts as they come.
func constants(t *testing.T, n, m int, a, b, c, d float64) {
	args := []any{n, m, a, b, c, d}
	beds := []trend.BedCount{{Code: "A", Total: n, N: m, K: a}, {Code: "B", Total: 3, N: 10, K: b}, {Code: "C", Total: 40, N: 20, K: 1}, {Code: "D", Total: 2, N: 5, K: a}}
	for _, factor := range []float64{1.5, c} {
		f, err := trend.HotSpots(beds, factor)
		sound(t, err, "HotSpots", args, f.Mean, f.Spread, f.ExpectedFalse)
		for _, s := range f.Beds {
			sound(t, err, "HotSpots", args, s.Raw, s.Mean, s.Times)
			if err == nil && !(s.Chance >= 0 && s.Chance <= 1) {
				t.Fatalf("HotSpots of %v: %+v", args, s)
			}
		}
		if f.Words() == "" {
			t.Fatal("no words")
		}
	}
	r, err := trend.EdgeAgainstMiddle(beds[:2], beds[2:])
	sound(t, err, "EdgeAgainstMiddle", args, r.Edge, r.Middle, r.Ratio, r.Low, r.High, r.SELn)
	r, err = trend.EdgeWithinBeds(beds[:2], beds[2:])
	sound(t, err, "EdgeWithinBeds", args, r.Edge, r.Middle, r.Ratio, r.Low, r.High, r.SELn)
	visits := []trend.Visit{
		{Date: civil.New(2026, 6, 1), Counts: []int{n, 3, 0, 1}, Scale: a},
		{Date: civil.New(2026, 6, 8), Counts: []int{2, m, 7, 4}, Scale: b},
		{Date: civil.New(2026, 6, 15), Presence: estimate.Presence{Infested: n, Looked: m, Tally: 4}},
		{Date: civil.New(2026, 6, 22), Counts: []int{9, 30, 12, 22, 1}},
	}
	for i, v := range [][]trend.Visit{visits, visits[:2], {visits[0], visits[3]}, {visits[1], visits[2], visits[3]}, nil} {
		for _, clump := range []estimate.Dispersion{{K: c}, {A: c, B: d}, {}} {
			g, err := trend.Growth(v, clump)
			days, low, high, _ := g.Time()
			factor, ci := g.Factor()
			sound(t, err, "Growth", args, g.PerDay, g.SE, g.SD, g.Low, g.High, g.LnNow, g.LnNowSD, g.Corr, g.K, days, low, high, factor, ci.Low, ci.High)
			if err == nil && g.Words() == "" {
				t.Fatal("no words")
			}
		}
		if got := trend.Recent(v, n, m); len(got) > len(v) {
			t.Fatalf("Recent makes visits of its own: %v, %d", args, i)
		}
	}
	p, err := estimate.PosteriorKnownK([]int{3, 1, 0}, 1, estimate.WeakPrior)
	require.NoError(t, err)
	for _, bl := range []trend.Belief{trend.FromPosterior(p, a), trend.FromPosterior(estimate.Posterior{}, b), {LnMean: a, LnSD: b, Corr: c}, {Density: []float64{0, a, 2}, Weight: []float64{1, b, c}, Corr: d}, {Density: []float64{a, b}}} {
		ch, err := trend.Crossing(bl, c, math.Abs(d), math.Abs(a))
		sound(t, err, "Crossing", args, append(ch.At[:], ch.Within[:]...)...)
		if ch.Words() == "" {
			t.Fatal("no words")
		}
	}
	xy := [][2]float64{{a, b}, {0, 0}, {c, d}, {1, 1}, {2, 5}}
	cells := [][2]int{{n, m}, {0, 0}, {0, 1}, {1, 1}, {m, n}}
	values := []float64{a, 1, b, 3, 2}
	for _, w := range []trend.Weights{nil, trend.Rook(cells), trend.Queen(cells), trend.Within(xy, c), trend.Nearest(xy, n), trend.InverseDistance(xy), {{a, b}, {c}}, {{0, a, b, c, d}, {1, 0, 1, 1, 1}, {1, 1, 0, 1, 1}, {1, 1, 1, 0, 1}, {d, c, b, a, 0}}} {
		for _, w := range []trend.Weights{w, w.RowStandard()} {
			m, err := trend.Moran(values, w)
			sound(t, err, "Moran", args, m.I, m.Variance, m.Z, m.P, m.NormalVariance, m.Geary)
			m, err = trend.Moran([]float64{1, 2, 5, 3, 4}, w)
			sound(t, err, "Moran", args, m.I, m.Variance, m.Z, m.P, m.NormalVariance, m.Geary)
		}
	}
}

// Every function answers every strange number, soon, and with a number or an
// error.
func TestStrangeNumbers(t *testing.T) {
	for i, a := range strange {
		for j, b := range strange {
			constants(t, strangeWhole[(i+j)%len(strangeWhole)], strangeWhole[(i+2*j+1)%len(strangeWhole)], a, b, strange[(3*i+5*j+1)%len(strange)], strange[(7*i+j+2)%len(strange)])
		}
	}
}

// What used to overflow or to be NaN without a word.
func TestStrangeNumbers_Mended(t *testing.T) {
	v := []trend.Visit{{Date: civil.New(2026, 6, 1), Counts: []int{1}}, {Date: civil.New(2026, 6, 8), Counts: []int{2}}}
	require.Len(t, trend.Recent(v, 6, math.MaxInt), 2, "as many weeks as there are")
	v[1].Presence.Looked = math.MaxInt
	_, err := trend.Growth(v, estimate.Dispersion{K: 1})
	require.ErrorIs(t, err, estimate.ErrDomain)
	_, err = trend.HotSpots([]trend.BedCount{{Total: 1, N: 3, K: 5e-324}, {Total: 9, N: 3, K: 1}, {Total: 1, N: 3, K: 1}}, 1.5)
	require.ErrorIs(t, err, estimate.ErrDomain)
	w := trend.Weights{{0, math.MaxFloat64, math.MaxFloat64}}.RowStandard()
	require.Equal(t, trend.Weights{{0, math.MaxFloat64, math.MaxFloat64}}, w)
}

// FuzzConstants feeds any numbers to every function.
func FuzzConstants(f *testing.F) {
	f.Add(12, 10, 0.8, 1.0, 2.0, 0.5)
	f.Add(estimate.MaxCount, 1, 1e-90, 1e300, math.Inf(1), 1e-300)
	f.Add(-1, math.MaxInt, math.NaN(), -1.0, 5e-324, 2.0)
	f.Fuzz(func(t *testing.T, n, m int, a, b, c, d float64) { constants(t, n, m, a, b, c, d) })
}
