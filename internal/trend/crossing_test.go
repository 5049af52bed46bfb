package trend_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/estimate"
	"leafturn/internal/trend"
)

// Days 7 and 14 against scipy 1.10: on the day
//
//	norm.sf((lnT - m - r d)/sqrt(s² + d² sd² + 2 corr s sd d))
//
// and within the days 1 - multivariate_normal([m, m + r d], cov).cdf([lnT, lnT]),
// which agreed with scipy.integrate.quad to 4e-15.
func TestCrossing_Scipy(t *testing.T) {
	for _, c := range []struct {
		m, s, r, sd, threshold, corr float64
		at, within                   [2]float64
	}{
		{0, 0.5, 0.05, 0.02, 2, 0, [2]float64{0.2543456702, 0.5047705388}, [2]float64{0.2544219328, 0.5049067746}},
		{0, 0.5, 0.05, 0.02, 2, 0.5, [2]float64{0.2779846279, 0.5039945113}, [2]float64{0.2779854574, 0.5039959131}},
		{0.7, 0.3, -0.03, 0.05, 2, 0, [2]float64{0.3297194032, 0.2937409018}, [2]float64{0.5711398097, 0.5983206184}},
		{0.7, 0.3, -0.03, 0.05, 2, -0.6, [2]float64{0.2448704022, 0.2353359462}, [2]float64{0.5907422021, 0.6504724967}},
		{-1, 1, 0.1, 0.1, 1, 0, [2]float64{0.4029303048, 0.5919233226}, [2]float64{0.4130254930, 0.6068623911}},
		{1.2, 0.25, 0.2, 0.01, 10, 0, [2]float64{0.8740195308, 0.9999999984}, [2]float64{0.8740195308, 0.9999999984}},
		{math.Log(5), 0.05, -0.1, 0.2, 5, 0, [2]float64{0.3086497061, 0.3085655990}, [2]float64{0.6493102466, 0.6517748968}},
		{-3, 0.8, 0.02, 0.3, 4, 0.7, [2]float64{0.0592904359, 0.1958552363}, [2]float64{0.0592904359, 0.1958552363}},
		{0, 2, 0, 0.001, 1, 0.3, [2]float64{0.5, 0.5}, [2]float64{0.5005308252, 0.5010605261}},
		{0.5, 0.4, 0.08, 0.03, 3, 0.9, [2]float64{0.4741753550, 0.7429111658}, [2]float64{0.4741753550, 0.7429111658}},
		{2, 0.6, -0.2, 0.05, 1, -0.9, [2]float64{0.9682778299, 0.0045362202}, [2]float64{0.9995728670, 0.9995759473}},
		{math.Log(1.5), 0.35, 0.1155, 0.04, 4, 0.2, [2]float64{0.3625344980, 0.8124371207}, [2]float64{0.3625346932, 0.8124373938}},
	} {
		got := must[trend.Chance](t)(trend.Crossing(trend.Belief{LnMean: c.m, LnSD: c.s, Corr: c.corr}, c.r, c.sd, c.threshold))
		require.InDeltaSlice(t, append(c.at[:], c.within[:]...), []float64{got.At[7], got.At[14], got.Within[7], got.Within[14]}, 1e-9, "%+v", c)

		// The same by weights on 4000 densities.
		var b trend.Belief
		b.Corr = c.corr
		for i := range 4000 {
			z := math.Sqrt2 * math.Erfinv(2*(float64(i)+0.5)/4000-1)
			b.Density, b.Weight = append(b.Density, math.Exp(c.m+c.s*z)), append(b.Weight, 3)
		}
		sum := must[trend.Chance](t)(trend.Crossing(b, c.r, c.sd, c.threshold))
		for d := range got.At {
			require.InDelta(t, got.At[d], sum.At[d], 2e-3, "%+v day %d", c, d)
			require.InDelta(t, got.Within[d], sum.Within[d], 2e-3, "%+v day %d", c, d)
		}
	}
}

// Perfect correlation leaves one normal variable, so that the chances have a
// closed form; the limits join up with those just inside.
func TestCrossing_Limits(t *testing.T) {
	for _, corr := range []float64{-1, 1} {
		for _, r := range []float64{-0.1, 0.02, 0.2} {
			for _, sd := range []float64{0, 0.01, 0.1, 0.5} {
				at := func(corr, s, sd float64) trend.Chance {
					return must[trend.Chance](t)(trend.Crossing(trend.Belief{LnMean: 0.3, LnSD: s, Corr: corr}, r, sd, 2))
				}
				edge, near := at(corr, 0.4, sd), at(corr*(1-1e-9), 0.4, sd+1e-9)
				for d := range edge.At {
					require.InDelta(t, near.At[d], edge.At[d], 2e-4, "corr %v r %v sd %v day %d", corr, r, sd, d)
					require.InDelta(t, near.Within[d], edge.Within[d], 2e-4, "corr %v r %v sd %v day %d", corr, r, sd, d)
				}
				sure, nearly := at(0, 0, sd), at(0, 1e-7, sd)
				for d := range sure.At {
					require.InDelta(t, nearly.Within[d], sure.Within[d], 1e-4)
				}
			}
		}
	}
	// Nothing there today: growth from nothing is no growth.
	c := must[trend.Chance](t)(trend.Crossing(trend.Belief{Density: []float64{0, 0}, Weight: []float64{1, 1}}, 1, 0.5, 1))
	require.Equal(t, trend.Chance{Day: -1}, c)
	// Half a chance of nothing, half of being over.
	c = must[trend.Chance](t)(trend.Crossing(trend.Belief{Density: []float64{0, 4}, Weight: []float64{2, 2}, Corr: 0.5}, -1, 0.001, 1))
	require.Equal(t, 0.5, c.Now)
	require.Equal(t, 0.5, c.Within[14])
	require.InDelta(t, 0, c.At[14], 1e-12)
	require.Equal(t, 0, c.Day)
}

func TestCrossing_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := trend.Belief{LnMean: rapid.Float64Range(-5, 5).Draw(t, "m"), LnSD: rapid.Float64Range(0, 3).Draw(t, "s"), Corr: rapid.Float64Range(-1, 1).Draw(t, "corr")}
		if rapid.Bool().Draw(t, "points") {
			b.Density = rapid.SliceOfN(rapid.Float64Range(0, 50), 1, 12).Draw(t, "density")
			for range b.Density {
				b.Weight = append(b.Weight, rapid.Float64Range(0.01, 2).Draw(t, "weight"))
			}
		}
		r, sd := rapid.Float64Range(-0.5, 0.5).Draw(t, "r"), rapid.Float64Range(0, 0.5).Draw(t, "sd")
		threshold := rapid.Float64Range(0.01, 50).Draw(t, "threshold")
		density, weight := slices.Clone(b.Density), slices.Clone(b.Weight)
		c := must[trend.Chance](t)(trend.Crossing(b, r, sd, threshold))
		require.Equal(t, density, b.Density)
		require.Equal(t, weight, b.Weight)
		faster := must[trend.Chance](t)(trend.Crossing(b, r+rapid.Float64Range(0, 0.5).Draw(t, "more"), sd, threshold))
		higher := must[trend.Chance](t)(trend.Crossing(b, r, sd, threshold*rapid.Float64Range(1, 9).Draw(t, "higher")))
		const eps = 1e-9
		for d := range c.At {
			require.True(t, c.At[d] >= 0 && c.At[d] <= c.Within[d] && c.Within[d] <= 1, "day %d: %v %v", d, c.At[d], c.Within[d])
			require.GreaterOrEqual(t, faster.At[d], c.At[d]-eps, "more growth never lowers the chance")
			require.GreaterOrEqual(t, faster.Within[d], c.Within[d]-eps)
			require.LessOrEqual(t, higher.At[d], c.At[d]+eps, "a higher threshold never raises it")
			require.LessOrEqual(t, higher.Within[d], c.Within[d]+eps)
			if d > 0 {
				require.GreaterOrEqual(t, c.Within[d], c.Within[d-1])
			}
		}
		require.Equal(t, c.Now, c.Within[0])
		if c.Day > 0 {
			require.True(t, c.Within[c.Day] >= 0.5 && c.Within[c.Day-1] < 0.5)
		}
		require.NotEmpty(t, c.Words())
	})
}

func TestCrossing_Refuses(t *testing.T) {
	ok := trend.Belief{LnMean: 0, LnSD: 1}
	nan := math.NaN()
	for _, c := range []struct {
		b                   trend.Belief
		rate, sd, threshold float64
		words               string
	}{
		{ok, nan, 0.1, 1, "rate NaN"}, {ok, inf, 0.1, 1, "rate +Inf"}, {ok, 0, -0.1, 1, "deviation -0.1"}, {ok, 0, inf, 1, "deviation +Inf"},
		{ok, 0, 0.1, 0, "threshold 0"}, {ok, 0, 0.1, -3, "threshold -3"}, {ok, 0, 0.1, nan, "threshold NaN"}, {ok, 0, 0.1, inf, "threshold +Inf"},
		{trend.Belief{LnSD: 1, Corr: 1.1}, 0, 0.1, 1, "correlation 1.1"}, {trend.Belief{LnSD: 1, Corr: nan}, 0, 0.1, 1, "correlation NaN"},
		{trend.Belief{LnMean: nan, LnSD: 1}, 0, 0.1, 1, "ln density NaN"}, {trend.Belief{LnSD: -1}, 0, 0.1, 1, "deviation -1"},
		{trend.Belief{Density: []float64{1}}, 0, 0.1, 1, "1 densities and 0 weights"},
		{trend.Belief{Density: []float64{-1}, Weight: []float64{1}}, 0, 0.1, 1, "density -1"},
		{trend.Belief{Density: []float64{1}, Weight: []float64{nan}}, 0, 0.1, 1, "weight NaN"},
		{trend.Belief{Density: []float64{1, 2}, Weight: []float64{0, 0}}, 0, 0.1, 1, "sum to 0"},
	} {
		_, err := trend.Crossing(c.b, c.rate, c.sd, c.threshold)
		require.ErrorIs(t, err, estimate.ErrDomain)
		require.ErrorContains(t, err, c.words)
	}
}

// A posterior of counts, carried forward by no growth, gives the chance that
// estimate gives today, within the 1/800 that 400 quantiles allow.
func TestFromPosterior(t *testing.T) {
	d := must[estimate.Density](t)(estimate.Estimate(estimate.Sample{Counts: []int{0, 3, 1, 0, 7, 2, 0, 4}}, estimate.Dispersion{K: 0.8}))
	for _, threshold := range []float64{0.5, 1.5, 2.5, 6} {
		b := trend.FromPosterior(d.Posterior(), 0.25)
		c := must[trend.Chance](t)(trend.Crossing(b, 0, 0, threshold*0.25))
		require.InDelta(t, d.Exceeds(threshold), c.Now, 1./790)
		require.Equal(t, c.Now, c.Within[14])
	}
}

// The line's own belief: growth carried forward from six weeks of leaves.
func TestRate_Belief(t *testing.T) {
	r := must[trend.Rate](t)(trend.Growth(weekly(0, []int{1, 0, 2, 0}, []int{2, 1, 0, 4}, []int{3, 5, 1, 6}, []int{9, 4, 14, 6}), estimate.Dispersion{K: 2}))
	c := must[trend.Chance](t)(trend.Crossing(r.Belief(), r.PerDay, r.SD, 20))
	// At the mean rate the line reaches 20 on this day.
	require.Equal(t, int(math.Ceil((math.Log(20)-r.LnNow)/r.PerDay)), c.Day)
	require.Greater(t, r.Corr, 0.3)
	apart := r.Belief()
	apart.Corr = 0
	less := must[trend.Chance](t)(trend.Crossing(apart, r.PerDay, r.SD, 20))
	require.Greater(t, c.At[4], less.At[4], "a belief from the same counts spreads wider")
	require.Equal(t, "at this rate it could reach the threshold in about 8 days (chance 43 % within 7 days, 82 % within 14)", c.Words())
}

func TestChance_Words(t *testing.T) {
	say := func(m, r float64) string {
		return must[trend.Chance](t)(trend.Crossing(trend.Belief{LnMean: m, LnSD: 0.3}, r, 0.02, 1)).Words()
	}
	require.Equal(t, "already at or over the threshold, as far as the counts tell (chance 95 %)", say(0.5, 0))
	require.Equal(t, "not likely to reach the threshold within 14 days (chance under 1 % within 7 days, 3 % within 14); count again before then", say(-1.5, 0.05))
}
