package belief_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"leafturn/internal/belief"
	"leafturn/internal/estimate"
)

func interval(t require.TestingT, e belief.Evidence, c belief.Clump) estimate.Interval {
	in, err := belief.SampleInterval(e, c, 0.95)
	require.NoError(t, err)
	return in
}

// ofTotal is a visit of n units with the total: for a known k, and for
// Taylor's law, only the total enters SampleInterval.
func ofTotal(n, total int) belief.Evidence {
	x := make([]int, n)
	x[0] = total
	return belief.Evidence{Counts: x}
}

// The upper limits for Poisson counts: Garwood 1936, qchisq(0.975, 2S+2)/2.
func TestSampleInterval_Garwood(t *testing.T) {
	for s, want := range map[int]float64{0: 3.688879, 1: 5.571643, 5: 11.668332, 10: 18.390356, 100: 121.626794} {
		in := interval(t, ofTotal(4, s), poisson)
		require.InDelta(t, want, 4*in.High, 5e-7, s)
		if s == 0 {
			require.Zero(t, in.Low)
		}
	}
	// One animal: at e^-λ = 0.95 the totals 0 and 1 together would pass 97 %, and
	// 0 alone holds more than 93 %, so the lower limit waits until e^-λ = 0.93.
	require.InDelta(t, -math.Log(0.93), 4*interval(t, ofTotal(4, 1), poisson).Low, 1e-8)
}

// The limits of every total on a fine grid of densities from the
// definition, by adding up gonum's own probabilities.
func TestSampleInterval_Definition(t *testing.T) {
	n := 5
	for _, k := range []float64{0.3, 1, math.Inf(1)} {
		const most = 40
		low, high := make([]float64, most), make([]float64, most)
		for u := -6.0; u < 5; u += 0.002 {
			m := math.Exp(u)
			pmf := func(x int) float64 {
				if math.IsInf(k, 1) {
					return distuv.Poisson{Lambda: float64(n) * m}.Prob(float64(x))
				}
				nk := float64(n) * k
				a, _ := math.Lgamma(nk + float64(x))
				b, _ := math.Lgamma(nk)
				c, _ := math.Lgamma(float64(x) + 1)
				return math.Exp(a - b - c + nk*math.Log(k/(k+m)) + float64(x)*math.Log(m/(k+m)))
			}
			lo, below := 0, 0.0
			for below+pmf(lo) <= 0.025 {
				below += pmf(lo)
				lo++
			}
			in, hi := pmf(lo), lo
			for in < 0.95 {
				hi++
				in += pmf(hi)
			}
			if in > 0.97 && in-pmf(hi) >= 0.93 {
				hi--
			}
			for x := 0; x < most; x++ {
				if x <= hi && low[x] == 0 {
					low[x] = m
				}
				if x >= lo {
					high[x] = m
				}
			}
		}
		for x := 1; x < most; x++ {
			in := interval(t, ofTotal(n, x), belief.Clump{K: k})
			require.InEpsilon(t, low[x], in.Low, 0.0021, "k %v, total %d", k, x)
			if in.High < 140 {
				require.InEpsilon(t, high[x], in.High, 0.0021, "k %v, total %d", k, x)
			}
		}
	}
}

func TestSampleInterval_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.IntRange(0, 60), 1, 20).Draw(t, "counts")
		c := rapid.SampledFrom(laws).Draw(t, "law")
		e := belief.Evidence{Counts: x}
		if rapid.Bool().Draw(t, "mixed") {
			e.Presence = estimate.Presence{Infested: rapid.IntRange(0, 9).Draw(t, "infested"), Looked: 10, Tally: rapid.IntRange(0, 3).Draw(t, "tally")}
		}
		in := interval(t, e, c)
		require.LessOrEqual(t, in.Low, in.High)
		require.Equal(t, in.Low == 0, slices.Max(x) == 0 && e.Presence.Infested == 0)
		more := e
		more.Counts = slices.Clone(x)
		more.Counts[0]++
		next := interval(t, more, c)
		require.GreaterOrEqual(t, next.Low, in.Low*(1-1e-8))
		require.GreaterOrEqual(t, next.High, in.High*(1-1e-8))
		more = e
		more.Scale = 0.25
		scaled := interval(t, more, c)
		require.InDelta(t, in.Low/4, scaled.Low, 1e-12+in.Low*1e-12)
		wide, err := belief.SampleInterval(e, c, 0.99)
		require.NoError(t, err)
		require.LessOrEqual(t, wide.Low, in.Low*(1+1e-8))
		require.GreaterOrEqual(t, wide.High, in.High*(1-1e-8))
	})
}

// Presence alone and with counts keeps its level as well: the exact chance
// over every outcome, from gonum's binomial and the sum of counts.
func TestSampleInterval_PresenceCovers(t *testing.T) {
	c := belief.Clump{K: 0.7}
	for _, counted := range []int{0, 6} {
		for _, m := range []float64{0.1, 0.5, 2} {
			looked := 15
			p := estimate.Survival(0, m, c.K)
			bin := distuv.Binomial{N: float64(looked), P: p}
			cover := 0.0
			cache := map[int]bool{} // by total, which is all that enters
			for j := 0; j <= looked; j++ {
				for total := 0; total < 120; total++ {
					pt := 1.0
					if counted > 0 {
						pt = math.Exp(estimate.LogPMF(total, float64(counted)*m, float64(counted)*c.K))
					} else if total > 0 {
						break
					}
					in, ok := cache[total+j]
					if !ok {
						e := belief.Evidence{Presence: estimate.Presence{Infested: j, Looked: looked}}
						if counted > 0 {
							e.Counts = ofTotal(counted, total).Counts
						}
						i := interval(t, e, c)
						in = i.Low <= m && m <= i.High
						cache[total+j] = in
					}
					if in {
						cover += bin.Prob(float64(j)) * pt
					}
				}
			}
			require.GreaterOrEqual(t, cover, 0.93, "%d counted, mean %v", counted, m)
			require.LessOrEqual(t, cover, 0.985, "%d counted, mean %v", counted, m)
		}
	}
}
