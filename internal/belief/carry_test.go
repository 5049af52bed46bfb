package belief_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/belief"
	"leafturn/internal/civil"
)

func carried(t *testing.T, b belief.Belief, days int, g belief.Growth) belief.Belief {
	t.Helper()
	r, err := belief.Carry(b, days, g)
	require.NoError(t, err)
	return r
}

func TestCarry_ZeroDays(t *testing.T) {
	for _, b := range []belief.Belief{belief.Weak(), saw(t, belief.Weak(), mites, 3, 0, 9)} {
		require.Equal(t, b, carried(t, b, 0, belief.UnknownGrowth()))
	}
}

// A belief that is nearly a point moves and widens by the closed form: the
// mean of ln density by Rate d, its variance by RateSD² d² + Noise d.
func TestCarry_ClosedForm(t *testing.T) {
	x := make([]int, 200)
	for i := range x {
		x[i] = 10
	}
	b := saw(t, belief.Weak(), poisson, x...)
	for _, g := range []belief.Growth{{Rate: 0.1, RateSD: 0.03, Noise: 0.01}, {Rate: -0.2, Noise: 0.02}, {RateSD: 0.07}} {
		g.HalfLife, g.ResetAfter = 1e6, 200 // next to no blending
		for _, days := range []int{1, 7, 20} {
			c := carried(t, b, days, g)
			d := float64(days)
			sd := math.Sqrt(b.SDLn()*b.SDLn() + g.RateSD*g.RateSD*d*d + g.Noise*d)
			for z, p := range map[float64]float64{-1: 0.158655, 0: 0.5, 1: 0.841345} { // normal distribution function
				// The weak share is 1e-5 at most; the belief's own skewness is small.
				require.InDelta(t, math.Log(b.Median())+g.Rate*d+z*sd, math.Log(c.Quantile(p)), 1e-3*sd+1e-4, "%+v %d", g, days)
			}
		}
	}
}

// Carrying thins the density and what it becomes out; that costs less than 5 in
// 100,000 of any chance.
func TestCarry_Thinned(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	for _, days := range []int{1, 3, 5, 7, 14, 40, 100} {
		for range 40 {
			x := make([]int, 3+rng.IntN(30))
			mean := math.Exp(2 * rng.NormFloat64())
			for i := range x {
				x[i] = int(rng.ExpFloat64() * mean)
			}
			b := saw(t, belief.Weak(), belief.Clump{A: 1 + 3*rng.Float64(), B: 1 + rng.Float64()}, x...)
			for _, rate := range []float64{0, 0.08, -0.05, 0.6, -0.7} { // the last ones carry it to an end of the grid
				g := belief.UnknownGrowth()
				g.Rate = rate
				fast, slow := carried(t, b, days, g).Read(), belief.CarrySlowly(b, days, g).Read()
				ahead, err := belief.LookAhead(b, days, g)
				require.NoError(t, err)
				for level := 0.001; level < 2000; level *= 1.7 {
					require.InDelta(t, slow.Exceeds(level), fast.Exceeds(level), 5e-5, "%v after %d days at %v, level %v", x, days, rate, level)
					require.InDelta(t, slow.Exceeds(level), ahead.Exceeds(level), 5e-5, "%v after %d days at %v, level %v", x, days, rate, level)
				}
			}
		}
	}
}

// The blend: a near point carried d days has the weak belief's chance, times
// 1 - 2^(-d/HalfLife), far away from it.
func TestCarry_Blend(t *testing.T) {
	x := make([]int, 30)
	for i := range x {
		x[i] = 100
	}
	b := saw(t, belief.Weak(), poisson, x...)
	g := belief.Growth{HalfLife: 10, ResetAfter: 100}
	for _, days := range []int{1, 10, 30} {
		want := (1 - math.Exp2(-float64(days)/10)) * belief.Weak().Exceeds(500)
		require.InEpsilon(t, want, carried(t, b, days, g).Exceeds(500), 1e-4)
	}
}

func TestCarry_Widens(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.IntRange(0, 40), 1, 15).Draw(t, "counts")
		b := must(belief.Update(belief.Weak(), belief.Evidence{Counts: x}, rapid.SampledFrom(laws).Draw(t, "law")))
		g := belief.UnknownGrowth()
		last := b
		for _, days := range []int{0, 1, 4, 7, 14, 28, 39} {
			c := must(belief.Carry(b, days, g))
			if c.SDLn() < last.SDLn()-1e-6 {
				// Past the widest the blend may bring it back towards the weak belief.
				if c.SDLn() < math.Min(belief.Weak().SDLn(), last.SDLn())-0.1 {
					t.Fatalf("day %d: %v after %v", days, c.SDLn(), last.SDLn())
				}
			}
			if days > 0 && b.SDLn() < 2 && c.SDLn() <= b.SDLn() {
				t.Fatalf("day %d is no wider: %v, %v", days, c.SDLn(), b.SDLn())
			}
			last = c
		}
	})
}

// An old belief is close to the weak one, and after the gap or in a new
// season it is the weak one.
func TestCarry_Forgets(t *testing.T) {
	g := belief.UnknownGrowth()
	b := must(belief.Update(belief.Weak(), belief.Evidence{Date: day, Counts: []int{30, 12, 41, 8}}, mites))
	require.Equal(t, day, b.Seen)
	require.Greater(t, b.Exceeds(5), 0.98)
	far := 0.0
	for _, days := range []int{0, 7, 21, 60, 119} {
		c := carried(t, b, days, g)
		require.Equal(t, day.AddDays(days), c.Date)
		require.Equal(t, 4, c.Units)
		gap := math.Abs(c.Exceeds(5) - belief.Weak().Exceeds(5))
		if days > 0 {
			require.Less(t, gap, far)
		}
		far = gap
	}
	require.Less(t, far, 0.1)
	require.True(t, carried(t, b, 120, g).IsWeak())
	require.Equal(t, belief.Belief{Date: day.AddDays(120)}, carried(t, b, 120, g))
	g.SeasonStart = civil.MustParse("2026-08-01")
	require.False(t, carried(t, b, 18, g).IsWeak())
	require.True(t, carried(t, b, 19, g).IsWeak())
	g.SeasonStart = day
	require.False(t, carried(t, b, 19, g).IsWeak(), "it was already this season")
	require.True(t, carried(t, belief.Weak(), 7, g).IsWeak())
}

// Growth beyond the grid is held at its ends.
func TestCarry_Ends(t *testing.T) {
	b := saw(t, belief.Weak(), poisson, 100, 120)
	g := belief.Growth{Rate: 2, HalfLife: 1e5, ResetAfter: 100, Noise: 0.001}
	require.Greater(t, carried(t, b, 20, g).Median(), 9000.0)
	g.Rate = -2
	require.Less(t, carried(t, b, 20, g).Median(), 1.2e-4)
}

func TestCarry_Errors(t *testing.T) {
	ok := belief.UnknownGrowth()
	for _, days := range []int{-1, 40_000} {
		_, err := belief.Carry(belief.Weak(), days, ok)
		require.ErrorIs(t, err, belief.ErrDomain)
	}
	nan := math.NaN()
	for _, set := range []func(*belief.Growth){
		func(g *belief.Growth) { g.Rate = nan }, func(g *belief.Growth) { g.Rate = math.Inf(1) },
		func(g *belief.Growth) { g.RateSD = -1 }, func(g *belief.Growth) { g.RateSD = nan },
		func(g *belief.Growth) { g.Noise = nan }, func(g *belief.Growth) { g.HalfLife = 0 },
		func(g *belief.Growth) { g.HalfLife = nan }, func(g *belief.Growth) { g.ResetAfter = 0 },
	} {
		g := ok
		set(&g)
		_, err := belief.Carry(belief.Weak(), 1, g)
		require.ErrorIs(t, err, belief.ErrDomain, "%+v", g)
	}
	_, err := belief.Carry(belief.Weak(), 1, belief.Growth{})
	require.ErrorIs(t, err, belief.ErrDomain, "an empty growth is not a known one")
}

// Ahead answers as the carried belief does, but for what the ends of the grid and
// a corner of the likelihood cost: hundred-thousandths.
func TestLookAhead(t *testing.T) {
	fast := belief.UnknownGrowth()
	fast.Rate, fast.RateSD = 0.1, 0.02
	reset := belief.UnknownGrowth()
	reset.ResetAfter = 10
	for i, c := range laws {
		for _, counts := range [][]int{{0}, {0, 0, 0, 0, 0, 0}, {1, 0, 3}, {4, 7, 2, 9, 0, 12}, {2000, 2100, 1900, 2050}, {0, 100_000}} {
			b := saw(t, belief.Weak(), c, counts...)
			for _, from := range []belief.Belief{belief.Weak(), b, must(belief.Carry(b, 7, belief.UnknownGrowth()))} {
				for _, g := range []belief.Growth{belief.UnknownGrowth(), fast, reset} {
					for _, days := range []int{0, 1, 3, 7, 21, 60} {
						want := must(belief.Carry(from, days, g))
						a, err := belief.LookAhead(from, days, g)
						require.NoError(t, err)
						require.Equal(t, want, a.Belief())
						require.Equal(t, days, a.Days())
						require.Equal(t, must(belief.Carry(from, days/2, g)), a.After(days/2))
						for _, level := range []float64{math.NaN(), 0, belief.Lowest, 0.001, 0.1, 0.5, 1, 3, 5, 20, 1000, 9999, belief.Highest, 2e4} {
							require.InDelta(t, want.Exceeds(level), a.Exceeds(level), 5e-5, "%s %v, %d days, over %g", lawNames[i], counts, days, level)
						}
					}
				}
			}
		}
	}
	_, err := belief.LookAhead(belief.Weak(), -1, belief.UnknownGrowth())
	require.ErrorIs(t, err, belief.ErrDomain)
	_, err = belief.LookAhead(belief.Weak(), 1, belief.Growth{})
	require.ErrorIs(t, err, belief.ErrDomain)
}
