package belief_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"leafturn/internal/belief"
	"leafturn/internal/estimate"
)

// moments draws visits of n units with means spread about 1 (standard
// deviation of ln mean 1.2), as a season's beds and weeks are, and returns
// their mean and variance.
func moments(rng *rand.Rand, visits, n int, k func(mean float64) float64) []belief.MomentPair {
	out := make([]belief.MomentPair, visits)
	for i := range out {
		m := math.Exp(rng.NormFloat64() * 1.2)
		s, err := estimate.Summarize(visit(rng, n, m, k(m)))
		if err != nil {
			panic(err)
		}
		out[i] = belief.MomentPair{Mean: s.Mean, Variance: s.Variance, N: s.N}
	}
	return out
}

// The published law, when the farm's own is another: the pooled law leaves
// the first for the second as visits accumulate, without much bias.
func TestPoolTaylor_Recovers(t *testing.T) {
	published := belief.Law{A: 1.3, B: 1.2, Weight: 5}
	own := belief.Clump{A: 4, B: 1.6}
	gap := math.Abs(math.Log(published.A) - math.Log(own.A))
	last := gap
	for _, visits := range []int{5, 20, 100, 1000} {
		var la, b []float64
		for i := range 40 {
			c, err := belief.PoolTaylor(published, moments(seeded(uint64(i), 3), visits, 12, own.At))
			require.NoError(t, err)
			require.Equal(t, visits, c.Visits+c.Dropped)
			la, b = append(la, math.Log(c.A)), append(b, c.B)
		}
		m, sd := stat.MeanStdDev(la, nil)
		mb, sdb := stat.MeanStdDev(b, nil)
		t.Logf("%4d visits: a %.2f (sd of ln %.2f), b %.2f (sd %.2f); truth 4, 1.6", visits, math.Exp(m), sd, mb, sdb)
		require.Less(t, math.Abs(m-math.Log(own.A)), last, "nearer with more visits")
		last = math.Abs(m - math.Log(own.A))
		if visits >= 100 {
			require.InDelta(t, math.Log(4), m, 0.3)
			require.InDelta(t, 1.6, mb, 0.25)
		}
	}
}

func TestPoolTaylor_DefaultK(t *testing.T) {
	for _, k := range []float64{0.3, 0.8, 2} {
		var l []float64
		for i := range 60 {
			c, err := belief.PoolTaylor(belief.Law{K: 0.8}, moments(seeded(uint64(i), 8), 30, 12, func(float64) float64 { return k }))
			require.NoError(t, err)
			l = append(l, math.Log(c.K))
		}
		m, sd := stat.MeanStdDev(l, nil)
		t.Logf("k %.1f: pooled %.2f (sd of ln %.2f)", k, math.Exp(m), sd)
		require.InDelta(t, math.Log(k), m, 0.35)
		require.Less(t, sd, 0.45)
	}
}

func TestPoolTaylor_None(t *testing.T) {
	for _, v := range [][]belief.MomentPair{nil, {{Mean: 0, Variance: 0, N: 12}, {Mean: 2, Variance: 0, N: 3}, {Mean: 4, Variance: 3, N: 1}}} {
		c, err := belief.PoolTaylor(belief.Law{A: 3.3, B: 1.49, SE: 0.04}, v)
		require.NoError(t, err)
		require.Equal(t, 3.3, c.A)
		require.Equal(t, 1.49, c.B)
		require.Zero(t, c.Visits)
		require.Equal(t, len(v), c.Dropped)
		c, err = belief.PoolTaylor(belief.Law{K: 0.8}, v)
		require.NoError(t, err)
		require.Equal(t, 0.8, c.K)
		require.Equal(t, len(v), c.Dropped)
	}
	c, err := belief.PoolTaylor(belief.Law{K: math.Inf(1)}, []belief.MomentPair{{Mean: 1, Variance: 5, N: 10}})
	require.NoError(t, err)
	require.True(t, math.IsInf(c.K, 1), "Poisson stays Poisson")
}

// A higher weight holds on to the published law more; the order of visits
// does not matter; the standard errors fall with visits.
func TestPoolTaylor_Shrinks(t *testing.T) {
	v := moments(seeded(5, 5), 12, 12, belief.Clump{A: 6, B: 1.3}.At)
	last, sd := math.Inf(1), 1.0
	for _, w := range []float64{0.1, 1, 5, 50, 1e5} {
		c, err := belief.PoolTaylor(belief.Law{A: 1.5, B: 1.7, Weight: w}, v)
		require.NoError(t, err)
		d := math.Abs(math.Log(c.A / 1.5))
		if w == 1e5 {
			require.InDelta(t, 1.7, c.B, 1e-3)
		}
		require.Less(t, d, last)
		require.Less(t, c.SELnA, sd)
		last, sd = d, c.SELnA
	}
	require.Less(t, last, 1e-3)
	a, _ := belief.PoolTaylor(belief.Law{A: 1.5, B: 1.5}, v)
	rev := make([]belief.MomentPair, len(v))
	for i := range v {
		rev[len(v)-1-i] = v[i]
	}
	b, _ := belief.PoolTaylor(belief.Law{A: 1.5, B: 1.5}, rev)
	require.InDelta(t, a.A, b.A, 1e-12)
	require.InDelta(t, a.B, b.B, 1e-12)
}

// One visit whose units are all but alike does not take the published clumping
// away from the visits after it; a season of them does. 5 5 5 6 5 5 5 5 5 5 has
// the mean 5.1 and the variance 0.1, of which chance, with the published law,
// gives less than one in a million.
func TestPoolTaylor_OneOddVisit(t *testing.T) {
	even := belief.MomentPair{Mean: 5.1, Variance: 0.1, N: 10}
	wild := belief.MomentPair{Mean: 5.1, Variance: 5000, N: 10}
	for _, law := range []belief.Law{{A: 3.3, B: 1.49}, {A: 2.586, B: 1.511}, {K: 0.8}} {
		published := belief.Clump{A: law.A, B: law.B, K: law.K}
		for _, mean := range []float64{1, 5, 10} {
			one, err := belief.PoolTaylor(law, []belief.MomentPair{even})
			require.NoError(t, err)
			r := one.At(mean) / published.At(mean)
			require.True(t, r > 1 && r < 5, "%+v at %v: k %v times as large", law, mean, r)
			one, err = belief.PoolTaylor(law, []belief.MomentPair{wild})
			require.NoError(t, err)
			r = published.At(mean) / one.At(mean)
			require.True(t, r > 1 && r < 5, "%+v at %v: k %v times as small", law, mean, r)
		}
		many := make([]belief.MomentPair, 60)
		for i := range many {
			many[i] = even
		}
		c, err := belief.PoolTaylor(law, many)
		require.NoError(t, err)
		require.Greater(t, c.At(5.1), 10*published.At(5.1), "%+v", law)
		// A visit farther off moves no more than one that is far off already.
		a, err := belief.PoolTaylor(law, []belief.MomentPair{{Mean: 5.1, Variance: 1e-4, N: 10}})
		require.NoError(t, err)
		b, err := belief.PoolTaylor(law, []belief.MomentPair{{Mean: 5.1, Variance: 1e-8, N: 10}})
		require.NoError(t, err)
		require.InEpsilon(t, a.At(5), b.At(5), 0.05, "%+v", law)
	}
}

func TestPoolTaylor_Range(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		law := belief.Law{A: rapid.Float64Range(0.01, 100).Draw(t, "a"), B: rapid.Float64Range(1, 2).Draw(t, "b"), SE: rapid.Float64Range(0, 1).Draw(t, "se")}
		if rapid.Bool().Draw(t, "k") {
			law = belief.Law{K: rapid.Float64Range(0.01, 50).Draw(t, "k0")}
		}
		v := rapid.SliceOf(rapid.Custom(func(t *rapid.T) belief.MomentPair {
			return belief.MomentPair{Mean: rapid.Float64Range(0, 1e6).Draw(t, "m"), Variance: rapid.Float64Range(0, 1e12).Draw(t, "v"), N: rapid.IntRange(0, 100).Draw(t, "n")}
		})).Draw(t, "visits")
		c, err := belief.PoolTaylor(law, v)
		if err != nil {
			t.Fatal(err)
		}
		if law.A > 0 && !(c.B >= 1 && c.B <= 2 && c.A > 0 && c.K == 0) || law.A == 0 && !(c.K > 0) || c.Visits+c.Dropped != len(v) {
			t.Fatalf("%+v", c)
		}
		for _, x := range []float64{c.SELnA, c.SEB, c.SELnK} {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				t.Fatalf("%+v", c)
			}
		}
	})
}

func TestPoolTaylor_Errors(t *testing.T) {
	for _, l := range []belief.Law{{}, {A: -1, B: 1.5}, {A: 1, B: 3}, {A: math.NaN(), B: 1.5}, {K: math.NaN()}, {A: 2, B: 1.5, SE: math.NaN()}, {A: 2, B: 1.5, SE: -1}, {A: 2, B: 1.5, Weight: -1}, {A: 2, B: 1.5, Weight: math.Inf(1)}} {
		_, err := belief.PoolTaylor(l, nil)
		require.ErrorIs(t, err, belief.ErrDomain, "%+v", l)
	}
	for _, v := range []belief.MomentPair{{Mean: math.NaN(), Variance: 1, N: 5}, {Mean: 1, Variance: math.Inf(1), N: 5}, {Mean: -1, N: 3}, {Mean: 1, Variance: 1, N: -1}} {
		_, err := belief.PoolTaylor(belief.Law{K: 1}, []belief.MomentPair{v})
		require.ErrorIs(t, err, belief.ErrDomain)
		require.ErrorContains(t, err, "visit 1")
	}
}
