package sampling_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"leafturn/internal/estimate"
	"leafturn/internal/sampling"
)

// The published numbers (SS-, PA-, SQ- of methods-cases.json) are checked
// beside those of package estimate, in its TestMethodsCases.

func must[T any](t require.TestingT) func(T, error) T {
	return func(v T, err error) T {
		require.NoError(t, err)
		return v
	}
}

// Green's line keeps the precision at every point: a (T/n)^(b-2)/n = D².
func TestGreenLine_KeepsPrecision(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64Range(0.5, 8).Draw(t, "a"), rapid.Float64Range(1, 1.9).Draw(t, "b")
		d, n := rapid.Float64Range(0.05, 0.5).Draw(t, "D"), rapid.IntRange(1, 300).Draw(t, "n")
		total := must[float64](t)(sampling.GreenLine(n, a, b, d))
		require.InEpsilon(t, d*d, a*math.Pow(total/float64(n), b-2)/float64(n), 1e-9)
		// And the sample size at that mean is n.
		require.InEpsilon(t, float64(n), must[float64](t)(sampling.Taylor(total/float64(n), a, b, d, 1)), 1e-8)
	})
}

func TestKunoLine_KeepsPrecision(t *testing.T) {
	for _, n := range []int{5, 9, 40} {
		total, ok, err := sampling.KunoLine(n, 0.5, 1.3, 0.25)
		require.NoError(t, err)
		require.True(t, ok)
		require.InEpsilon(t, float64(n), must[float64](t)(sampling.Iwao(total/float64(n), 0.5, 1.3, 0.25, 1)), 1e-9)
	}
}

func TestSizes(t *testing.T) {
	// The general form at the variance of the law is the form of the law.
	rapid.Check(t, func(t *rapid.T) {
		m, k := rapid.Float64Range(0.1, 30).Draw(t, "m"), rapid.Float64Range(0.1, 30).Draw(t, "k")
		d, z := rapid.Float64Range(0.05, 0.5).Draw(t, "D"), rapid.Float64Range(1, 2.6).Draw(t, "z")
		g := must[float64](t)(sampling.General(m, m+m*m/k, d, z))
		require.InEpsilon(t, g, must[float64](t)(sampling.NegBin(m, k, d, z)), 1e-9)
		require.GreaterOrEqual(t, must[float64](t)(sampling.PresenceForMean(m, k, d, z)), g*(1-1e-9), "presence-absence never needs fewer")
	})
	require.Equal(t, 24, sampling.RoundUp(23.2))
	require.Equal(t, 24, sampling.RoundUp(24+1e-12))
	require.InDelta(t, 50, must[float64](t)(sampling.FinitePlants(99, 100)), 0.01)               // 99/(1 + 98/100)
	require.InDelta(t, 384.16, must[float64](t)(sampling.ShareHalfWidth(0.5, 0.05, 1.96)), 1e-9) // 1.96²·0.25/0.0025
	for name, err := range map[string]error{
		"mean 0":  second(sampling.NegBin(0, 1, 0.25, 1)),
		"b 2":     second(sampling.GreenLine(10, 2, 2, 0.25)),
		"share 0": second(sampling.ShareRelative(0, 0.25, 1)),
		"D 0":     second(sampling.Taylor(1, 2, 1.5, 0, 1)),
		"NaN":     second(sampling.General(math.NaN(), 1, 0.2, 1)),
		"bed":     second(sampling.FinitePlants(10, 0)),
	} {
		require.ErrorIs(t, err, estimate.ErrDomain, name)
	}
}

func second[T any](_ T, err error) error { return err }

func TestTaylorLines(t *testing.T) {
	// With b = 1 and a = alpha+1 the two variances are one.
	l1, u1, err := sampling.TaylorLines(20, 3, 1.5, 1, 1.645)
	require.NoError(t, err)
	l2, u2, err := sampling.IwaoLines(20, 3, 0.5, 1, 1.645)
	require.NoError(t, err)
	require.InDelta(t, l2, l1, 1e-12)
	require.InDelta(t, u2, u1, 1e-12)
	require.Less(t, l1, 60.0)
	require.Greater(t, u1, 60.0)
}

// The identities of Wald's operating characteristic: h = 1 is the safe level
// with 1 - alpha, h = -1 the action level with beta, for all three laws.
func TestWald_Identities(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		al, be := rapid.Float64Range(0.01, 0.3).Draw(t, "alpha"), rapid.Float64Range(0.01, 0.3).Draw(t, "beta")
		lo := rapid.Float64Range(0.05, 0.4).Draw(t, "low")
		hi := lo * rapid.Float64Range(1.2, 2.4).Draw(t, "ratio")
		k := rapid.Float64Range(0.1, 20).Draw(t, "k")
		for _, p := range []sampling.SPRT{
			must[sampling.SPRT](t)(sampling.NewPoisson(lo, hi, al, be)),
			must[sampling.SPRT](t)(sampling.NewNegBin(lo, hi, k, al, be)),
			must[sampling.SPRT](t)(sampling.NewBinomial(lo, hi, al, be)),
		} {
			require.Greater(t, p.Slope, lo)
			require.Less(t, p.Slope, hi)
			w := must[sampling.Point](t)(p.Wald(1))
			require.InEpsilon(t, lo, w.Level, 1e-9)
			require.InEpsilon(t, 1-al, w.Hold, 1e-9)
			w = must[sampling.Point](t)(p.Wald(-1))
			require.InEpsilon(t, hi, w.Level, 1e-9)
			require.InEpsilon(t, be, w.Hold, 1e-9)
			h, ok := p.HoldAt(p.FirstHold())
			require.True(t, ok)
			require.GreaterOrEqual(t, h, 0)
			_, ok = p.HoldAt(p.FirstHold() - 1)
			require.False(t, ok, "no hold before the first n that can")
		}
	})
	// A negative binomial with a huge k is the Poisson plan.
	nb, po := must[sampling.SPRT](t)(sampling.NewNegBin(1, 2, 1e12, 0.1, 0.1)), must[sampling.SPRT](t)(sampling.NewPoisson(1, 2, 0.1, 0.1))
	require.InEpsilon(t, po.Slope, nb.Slope, 1e-9)
	require.InEpsilon(t, po.HUpper, nb.HUpper, 1e-9)
}

// The exact risks against a simulation of the plan with a fixed seed: 40,000
// runs, standard error at most 0.0025 for a chance.
func TestExact_AgainstSimulation(t *testing.T) {
	src := rand.NewPCG(11, 5)
	run := func(p sampling.SPRT, draw func() int, nMin, nMax int) (hold, units float64) {
		const runs = 40_000
		for range runs {
			total := 0
			for n := 1; n <= nMax; n++ {
				total += draw()
				if n < nMin {
					continue
				}
				done := false
				if n == nMax {
					done = true
					if float64(total) <= p.Slope*float64(nMax) {
						hold++
					}
				} else if h, ok := p.HoldAt(n); ok && total <= h {
					hold++
					done = true
				} else if total >= p.ActAt(n) {
					done = true
				}
				if done {
					units += float64(n)
					break
				}
			}
		}
		return hold / runs, units / runs
	}
	nb := must[sampling.SPRT](t)(sampling.NewNegBin(2, 4, 0.8, 0.1, 0.1))
	bin := must[sampling.SPRT](t)(sampling.NewBinomial(0.1, 0.3, 0.1, 0.1))
	for _, c := range []struct {
		p          sampling.SPRT
		draw       func() int
		level      float64
		nMin, nMax int
	}{
		{nb, func() int {
			return int(distuv.Poisson{Lambda: distuv.Gamma{Alpha: 0.4, Beta: 0.4 / 3, Src: src}.Rand(), Src: src}.Rand())
		}, 3, 5, 25},
		{bin, func() int { return int(distuv.Bernoulli{P: 0.2, Src: src}.Rand()) }, 0.2, 1, 40},
		{bin, func() int { return int(distuv.Bernoulli{P: 0.15, Src: src}.Rand()) }, 0.15, 10, 30},
	} {
		e := must[sampling.Point](t)(c.p.Exact(c.level, 0.4, c.nMin, c.nMax))
		hold, units := run(c.p, c.draw, c.nMin, c.nMax)
		require.InDelta(t, hold, e.Hold, 0.01)
		require.InEpsilon(t, units, e.Units, 0.02)
	}
}

func TestExact_Edges(t *testing.T) {
	p := must[sampling.SPRT](t)(sampling.NewPoisson(1, 2, 0.1, 0.1))
	none := must[sampling.Point](t)(p.Exact(0, math.Inf(1), 1, 30))
	require.InDelta(t, 1, none.Hold, 1e-12, "with no animals the plan holds")
	require.InDelta(t, float64(p.FirstHold()), none.Units, 1e-12, "as soon as it can")
	last := 1.0
	for _, m := range []float64{0.5, 1, 1.5, 2, 3, 6} {
		e := must[sampling.Point](t)(p.Exact(m, math.Inf(1), 5, 30))
		require.Less(t, e.Hold, last)
		require.GreaterOrEqual(t, e.Units, 5-1e-9)
		last = e.Hold
	}
	_, err := p.Exact(1, 1, 3, 2)
	require.ErrorIs(t, err, estimate.ErrDomain)
	wide := must[sampling.SPRT](t)(sampling.NewPoisson(5000, 5100, 0.1, 0.1))
	_, err = wide.Exact(5000, 1, 1, 50)
	require.ErrorIs(t, err, estimate.ErrLarge)
	for _, e := range []error{
		second(sampling.NewPoisson(2, 1, 0.1, 0.1)), second(sampling.NewNegBin(1, 2, 0, 0.1, 0.1)),
		second(sampling.NewBinomial(0.1, 1, 0.1, 0.1)), second(sampling.NewPoisson(1, 2, 0.6, 0.1)), second(p.Wald(0)),
	} {
		require.ErrorIs(t, e, estimate.ErrDomain)
	}
}

func FuzzPlans(f *testing.F) {
	f.Add(1.0, 2.0, 0.8, 0.1, 0.1, 10)
	f.Add(1e-300, 1e300, 1e-9, 0.49, 1e-300, 1)
	f.Add(math.NaN(), math.Inf(1), -1.0, 0.0, 1.0, -5)
	f.Fuzz(func(t *testing.T, a, b, k, al, be float64, n int) {
		ok := func(v ...float64) {
			for _, x := range v {
				if math.IsNaN(x) {
					t.Fatalf("NaN from %v %v %v %v %v %d", a, b, k, al, be, n)
				}
			}
		}
		for _, f := range []func() (sampling.SPRT, error){
			func() (sampling.SPRT, error) { return sampling.NewPoisson(a, b, al, be) },
			func() (sampling.SPRT, error) { return sampling.NewNegBin(a, b, k, al, be) },
			func() (sampling.SPRT, error) { return sampling.NewBinomial(a, b, al, be) },
		} {
			if p, err := f(); err == nil {
				ok(p.Slope, p.HLower, p.HUpper)
				if e, err := p.Exact(a, k, 1, 10); err == nil {
					ok(e.Hold, e.Units)
				}
			}
		}
		for _, f := range []func() (float64, error){
			func() (float64, error) { return sampling.Taylor(a, b, k, al, be) },
			func() (float64, error) { return sampling.PresenceForMean(a, k, al, be) },
			func() (float64, error) { return sampling.GreenLine(n, a, b, al) },
			func() (float64, error) { v, _, err := sampling.KunoLine(n, a, b, al); return v, err },
		} {
			if v, err := f(); err == nil {
				ok(v)
			}
		}
	})
}

// Wald 1947, Sequential Analysis: shares 0.1 and 0.3, risks 0.02 and 0.03.
func ExampleNewBinomial() {
	p, _ := sampling.NewBinomial(0.1, 0.3, 0.02, 0.03)
	fmt.Printf("slope %.3f, lines %.2f and %.2f\n", p.Slope, p.HLower, p.HUpper)
	// Output: slope 0.186, lines -2.58 and 2.88
}
