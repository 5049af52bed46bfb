package assess_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"leafturn/internal/assess"
	"leafturn/internal/belief"
	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
)

// nbVisits draws visits of negative binomial counts, as Poisson counts with
// gamma means.
func nbVisits(visits, n int, mean, k float64) []farm.Visit {
	rng := rand.New(rand.NewPCG(7, 7))
	out := make([]farm.Visit, visits)
	for i := range out {
		counts := make([]int, n)
		for u := range counts {
			m := distuv.Gamma{Alpha: k, Beta: k / mean, Src: rng}.Rand()
			counts[u] = int(distuv.Poisson{Lambda: m, Src: rng}.Rand())
		}
		out[i] = on(int64(i+1), today.AddDays(-i).String(), good(count("slug", "trap", counts...)))
	}
	return out
}

func kOf(t *testing.T, visits []farm.Visit) assess.Unit {
	t.Helper()
	p := slugs()
	before := slices.Clone(p.Units)
	got, err := assess.OwnClumping(p, visits, today.AddDays(7), nil)
	require.NoError(t, err)
	require.Equal(t, before, p.Units, "the pest that was given is not changed")
	require.Len(t, got.Units, len(p.Units))
	return got.Units[0]
}

// The k of the truth is reached from above and from below as visits
// accumulate, and one visit moves little.
func TestOwnClumping_MovesWithVisits(t *testing.T) {
	usual := kOf(t, nil)
	require.Equal(t, slugs().Units[0], usual, "without a visit nothing moves")
	for _, truth := range []float64{0.3, 4} {
		many := nbVisits(60, 20, 5, truth)
		off := func(u assess.Unit) float64 { return math.Abs(math.Log(u.Dispersed.K / truth)) }
		for n, share := range map[int]float64{1: 0.95, 10: 0.4, 60: 0.2} {
			u := kOf(t, many[:n])
			require.Less(t, off(u), share*off(usual), "k %g, %d visits: %g", truth, n, u.Dispersed.K)
			require.Contains(t, u.Dispersed.Words, "of this farm's earlier weeks")
		}
	}
}

// What a visit cannot tell is left out: a spot chosen because it looked bad,
// an edge, conditions that make it void, another pest, one unit, a slip of the
// pen.
func TestOwnClumping_LeavesOut(t *testing.T) {
	base := nbVisits(12, 20, 5, 1)
	want := kOf(t, base)
	slip := nbVisits(1, 20, 1, 2)[0]
	slip.Counts[3].Count = 4000
	dry, hot, edge, other, one := base[0], base[0], base[0], base[0], base[0]
	dry.Conditions.Soil, hot.Stratum, edge.Stratum, other.Pest, one.Counts = farm.Dry, farm.HotSpot, farm.Edge, "earwig", one.Counts[:1]
	for name, v := range map[string]farm.Visit{"slip": slip, "dry": dry, "hot spot": hot, "edge": edge, "other pest": other, "one unit": one} {
		require.Equal(t, want, kOf(t, append(slices.Clone(base), v)), name)
	}
	more := nbVisits(13, 20, 5, 1)
	require.NotEqual(t, want, kOf(t, more), "and a good one is not")

	// It is package belief's pooling, on the moments of the visits.
	var pairs []belief.MomentPair
	for _, v := range base {
		s, ss, n := 0.0, 0.0, float64(len(v.Counts))
		for _, c := range v.Counts {
			s += float64(c.Count)
			ss += float64(c.Count * c.Count)
		}
		pairs = append(pairs, belief.MomentPair{Mean: s / n, Variance: (ss - s*s/n) / (n - 1), N: len(v.Counts)})
	}
	c, err := belief.PoolTaylor(belief.Law{K: slugs().Units[0].Dispersed.K}, pairs)
	require.NoError(t, err)
	require.InEpsilon(t, c.K, want.Dispersed.K, 1e-9)
}

// What a visit is read by is what the weeks before its own taught: visits of
// its week and of later ones change nothing.
func TestOwnClumping_EarlierWeeksStand(t *testing.T) {
	all := nbVisits(60, 20, 5, 0.3) // one a day, the latest first
	at := func(n int, day civil.Date) estimate.Dispersion {
		p, err := assess.OwnClumping(slugs(), all[n:], today.AddDays(7), nil)
		require.NoError(t, err)
		return p.Units[0].On(day).Dispersed
	}
	monday := today.AddDays(-(int(today.Time().Weekday()) + 6) % 7)
	for back := 1; back < 8; back++ {
		day := monday.AddDays(-7 * back)
		require.Equal(t, at(today.Sub(day), day), at(0, day), day.String())
		for d := range 7 {
			require.Equal(t, at(0, day), at(0, day.AddDays(d)), "one law for the week")
		}
		require.NotEqual(t, at(0, day), at(0, day.AddDays(7)), "the next week has learnt from it")
	}
	require.Equal(t, slugs().Units[0].Dispersed, at(0, today.AddDays(-90)), "before the first visit the published law holds")
}
