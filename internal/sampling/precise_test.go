package sampling_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"leafturn/internal/estimate"
	"leafturn/internal/sampling"
)

func TestPrecise(t *testing.T) {
	onion := sampling.Clump{TaylorA: 2.586, TaylorB: 1.511}
	none := sampling.Belief{}
	// The lines of Soto-Rojas et al. 2021 (SS-03), see TestPrecision.
	for _, c := range []struct{ n, total, line int }{{10, 182, 183}, {10, 183, 183}, {20, 88, 89}, {20, 89, 89}, {100, 17, 17}} {
		p := must[sampling.Precise](t)(onion.Precise(0.25, c.n, c.total, 5, none))
		require.Equal(t, c.line, p.Line)
		require.Equal(t, c.total >= c.line, p.Stop, "%+v", c)
		// By hand: SE/mean is the root of a m^(b-2)/n.
		m := float64(c.total) / float64(c.n)
		require.InEpsilon(t, math.Sqrt(2.586*math.Pow(m, 1.511-2)/float64(c.n)), p.Reached, 1e-9)
		require.Equal(t, p.Stop, p.Reached <= 0.25, "the line is where the precision is reached")
		if p.Stop {
			require.Zero(t, p.More)
		}
	}
	// Tollerup et al. 2013 (SS-02) print 23 leaves at 5 mites (23.236): after 10
	// with 50 about 14 more.
	p := must[sampling.Precise](t)(sampling.Clump{TaylorA: 3.3, TaylorB: 1.49}.Precise(0.25, 10, 50, 5, none))
	require.Equal(t, []int{14, 14, 14}, []int{p.More, p.Low, p.High})
	// k: (1/m + 1/k)/D² at 0.5, 1 and 2 is 52, 36 and 28.
	k := sampling.Clump{K: 0.8}
	b := sampling.Belief{Levels: []float64{0.5, 1, 2}, Weights: []float64{0.2, 0.6, 0.2}}
	p = must[sampling.Precise](t)(k.Precise(0.25, 12, 12, 5, b))
	require.Equal(t, sampling.Never, p.Line, "none is enough before 21 units")
	require.Equal(t, []int{24, 16, 40}, []int{p.More, p.Low, p.High})
	require.False(t, p.Stop)
	// Nothing found: only a belief can say how many more.
	p = must[sampling.Precise](t)(k.Precise(0.25, 30, 0, 5, none))
	require.True(t, math.IsInf(p.Reached, 1))
	require.Equal(t, sampling.Never, p.More)
	require.Equal(t, 6, must[sampling.Precise](t)(k.Precise(0.25, 30, 0, 5, b)).More)
	// No fewer than the least units, however high the counts.
	p = must[sampling.Precise](t)(sampling.Clump{K: math.Inf(1)}.Precise(0.25, 2, 900, 5, none))
	require.False(t, p.Stop)
	require.Equal(t, 3, p.More)
	// Taylor's b of 2 has no line: a/D² units, 32 here, whatever the mean.
	flat := sampling.Clump{TaylorA: 2, TaylorB: 2}
	for n, stop := range map[int]bool{31: false, 32: true} {
		p = must[sampling.Precise](t)(flat.Precise(0.25, n, 40, 5, none))
		require.Equal(t, stop, p.Stop)
		require.Equal(t, sampling.Never, p.Line)
	}
	// Of a share: (1 - p)/(n p) is D².
	for infested, stop := range map[int]bool{15: false, 16: true} {
		p = must[sampling.Precise](t)(sampling.PreciseShare(0.2, 40, infested, 5, none))
		share := float64(infested) / 40
		require.InEpsilon(t, math.Sqrt((1-share)/(40*share)), p.Reached, 1e-9)
		require.Equal(t, stop, p.Stop)
	}
	require.Equal(t, 60, must[sampling.Precise](t)(sampling.PreciseShare(0.2, 40, 8, 5, none)).More) // 25 × 0.8/0.2 = 100
	for _, e := range []error{
		second(k.Precise(0, 5, 1, 5, none)), second(k.Precise(0.2, 0, 0, 5, none)), second(k.Precise(0.2, 5, -1, 5, none)), second(k.Precise(math.NaN(), 5, 1, 5, none)),
		second(sampling.Clump{}.Precise(0.2, 5, 1, 5, none)), second(sampling.PreciseShare(0.2, 5, 6, 5, none)), second(sampling.PreciseShare(0.2, 0, 0, 5, none)),
	} {
		require.ErrorIs(t, e, estimate.ErrDomain)
	}
}

// What is expected is about what it takes: fields of one density are walked
// with the rule, the density known. The line stops on a lucky high total, so
// the average lies a little below the size at the density.
func TestPrecise_Walks(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 71))
	for _, mean := range []float64{0.5, 2, 8} {
		k, c := 0.8, sampling.Clump{K: 0.8}
		known := sampling.Belief{Levels: []float64{mean}, Weights: []float64{1}}
		units, square, walks := 0.0, 0.0, 3000
		first := 0
		for range walks {
			n, total := 0, 0
			for {
				n++
				total += int(distuv.Poisson{Lambda: distuv.Gamma{Alpha: k, Beta: k / mean, Src: rng}.Rand(), Src: rng}.Rand())
				p := must[sampling.Precise](t)(c.Precise(0.25, n, total, 5, known))
				if n == 1 {
					first = 1 + p.More
				}
				if p.Stop {
					break
				}
			}
			units += float64(n)
			e := float64(total)/float64(n)/mean - 1
			square += e * e
		}
		average := units / float64(walks)
		require.InEpsilon(t, average, first, 0.12, "mean %g", mean)
		require.InDelta(t, 0.25, math.Sqrt(square/float64(walks)), 0.035, "the precision asked for, mean %g", mean)
	}
}
