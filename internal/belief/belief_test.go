package belief_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"leafturn/internal/belief"
	"leafturn/internal/civil"
	"leafturn/internal/estimate"
)

var (
	poisson  = belief.Clump{K: math.Inf(1)}
	day      = civil.MustParse("2026-07-13")
	laws     = []belief.Clump{poisson, {K: 0.3}, {K: 2}, mites, {A: 1.265401, B: 1.129167}, {A: 0.6, B: 1.8}, {A: 1, B: 1}}
	lawNames = []string{"Poisson", "k 0.3", "k 2", "mites", "caterpillars", "even below 2.9", "Poisson by Taylor"}
)

func saw(t *testing.T, b belief.Belief, c belief.Clump, counts ...int) belief.Belief {
	t.Helper()
	r, err := belief.Update(b, belief.Evidence{Counts: counts}, c)
	require.NoError(t, err)
	return r
}

// The weak belief against its closed form: √m half-Cauchy, cut to 1e-4..1e4,
// P(m < t) = (2/π) arctan √t.
func TestWeak(t *testing.T) {
	w := belief.Weak()
	cdf := func(m float64) float64 { return 2 / math.Pi * math.Atan(math.Sqrt(m)) }
	total := cdf(1e4) - cdf(1e-4)
	for _, m := range []float64{2e-4, 0.01, 0.3, 1, 7, 90, 9000} {
		require.InDelta(t, (cdf(1e4)-cdf(m))/total, w.Exceeds(m), 1e-9, m)
	}
	require.InDelta(t, 1, w.Median(), 1e-9)
	i, err := w.Interval(0.95)
	require.NoError(t, err)
	require.InDelta(t, 0.0024, i.Low, 5e-5)
	require.InDelta(t, 420, i.High, 1)
	require.True(t, w.IsWeak())
	_, weight := w.Weights()
	sum := 0.0
	for _, x := range weight {
		sum += x
	}
	require.InDelta(t, 1, sum, 1e-12)
}

// TestUpdate_Scipy compares with testdata/reference.py, which names its calls.
func TestUpdate_Scipy(t *testing.T) {
	raw, err := os.ReadFile("testdata/reference.json")
	require.NoError(t, err)
	var cases []struct {
		Counts                  []int
		Infested, Looked, Tally int
		A, B, K, Scale, Mean    float64
		Quantiles, Exceeds      [][2]float64
	}
	require.NoError(t, json.Unmarshal(raw, &cases))
	require.GreaterOrEqual(t, len(cases), 20)
	worst := 0.0
	for n, c := range cases {
		k := c.K
		if k > 1e200 {
			k = math.Inf(1)
		}
		b, err := belief.Update(belief.Weak(), belief.Evidence{Counts: c.Counts, Scale: c.Scale,
			Presence: estimate.Presence{Infested: c.Infested, Looked: c.Looked, Tally: c.Tally}}, belief.Clump{A: c.A, B: c.B, K: k})
		require.NoError(t, err)
		require.InEpsilon(t, c.Mean, b.Mean(), 1e-6, "case %d", n)
		for _, q := range c.Quantiles {
			require.InEpsilon(t, q[1], b.Quantile(q[0]), 1e-5, "case %d", n)
		}
		for _, e := range c.Exceeds {
			worst = max(worst, math.Abs(e[1]-b.Exceeds(e[0])))
			require.InDelta(t, e[1], b.Exceeds(e[0]), 1e-6, "case %d at %v", n, e[0])
		}
	}
	t.Logf("%d cases, worst chance off by %.1e", len(cases), worst)
}

// The Poisson limit against the gamma-Poisson closed form, and BY-01: prior
// Gamma(1, 0.2), counts 3 0 4 1 2, P(m > 3) = 0.092095 (R: 1 - pgamma(3, 11, 5.2)).
func TestUpdate_GammaPoisson(t *testing.T) {
	prior, err := belief.FromPrior(estimate.GammaPrior(1, 0.2))
	require.NoError(t, err)
	require.InDelta(t, 0.092095, saw(t, prior, poisson, 3, 0, 4, 1, 2).Exceeds(3), 5e-7)
	many := []int{2000, 2100, 1900, 2000, 2000, 2050, 1950, 2000, 2000, 2000, 2000, 2000} // a spread of a fifth of a grid step
	for _, counts := range [][]int{{3, 0, 4, 1, 2}, {7}, {40, 51, 33, 60}, {900, 1100, 1000}, {1, 0, 0, 0, 0, 0, 1, 0}, many} {
		g, err := estimate.UpdateGamma(1, 0.2, counts)
		require.NoError(t, err)
		b := saw(t, prior, poisson, counts...)
		require.InEpsilon(t, g.Mean(), b.Mean(), 1e-6)
		for _, r := range []float64{0.3, 0.9, 0.97, 1, 1.01, 1.1, 1.9} {
			require.InDelta(t, g.Exceeds(r*g.Mean()), b.Exceeds(r*g.Mean()), 1e-6, "%v at %v", counts, r)
		}
		// The same limit by a large k and by Taylor's law a = b = 1.
		for _, c := range []belief.Clump{{K: 1e12}, {A: 1, B: 1}} {
			require.InDelta(t, b.Exceeds(g.Mean()), saw(t, prior, c, counts...).Exceeds(g.Mean()), 1e-6)
		}
	}
}

// BY-02: prior Gamma(1, 0.2), k 0.5, counts 0 0 1 0 7 2 0 4 (R: integrate of
// prod(dnbinom(x, size = .5, mu = m)) dgamma(m, 1, .2)).
func TestUpdate_Integrate(t *testing.T) {
	prior, err := belief.FromPrior(estimate.GammaPrior(1, 0.2))
	require.NoError(t, err)
	b := saw(t, prior, belief.Clump{K: 0.5}, 0, 0, 1, 0, 7, 2, 0, 4)
	for m, p := range map[float64]float64{1: 0.930950, 2: 0.570645, 3: 0.295703, 5: 0.081121} {
		require.InDelta(t, p, b.Exceeds(m), 1.1e-6, m) // half a unit of the last digit, and the cut prior
	}
}

// The same posterior as package estimate, which has its own grid.
func TestUpdate_Estimate(t *testing.T) {
	for _, c := range laws {
		x := visit(seeded(4, 4), 15, 3, 0.8)
		d, err := estimate.Estimate(estimate.Sample{Counts: x}, c.Dispersion())
		require.NoError(t, err)
		b := saw(t, belief.Weak(), c, x...)
		for _, m := range []float64{1, 2, 3, 5} {
			require.InDelta(t, d.Exceeds(m), b.Exceeds(m), 3e-5)
		}
	}
}

// A belief about the corner of a Taylor's law, where it becomes Poisson, against
// integration that is split there (gonum's Gauss-Legendre rule, 60 points to
// each of 400 pieces, the plain law of package estimate).
func TestUpdate_Corner(t *testing.T) {
	type sample = struct {
		c      belief.Clump
		counts []int
	}
	worst := 0.0
	cases := []sample{
		{mites, append(make([]int, 30), 1, 2, 1)},
		{belief.Clump{A: 3.3, B: 1.9}, append(make([]int, 10), 1, 1, 1, 1, 1, 1)},
		{belief.Clump{A: 1.991, B: 1.963}, []int{0, 0, 0, 0, 0, 0, 1, 0, 1, 1, 0, 0, 1, 1, 0, 0, 1, 1, 0, 0}},
		{belief.Clump{A: 1.62, B: 1.65}, []int{1, 0, 1, 2, 2, 0, 0, 0, 1, 0, 0, 0, 0, 2, 0, 2, 1, 3, 1, 0, 0, 1, 3}},
	}
	rng := seeded(1, 140)
	for range 8 { // a mean near the corner
		c := belief.Clump{A: 1.2 + 4*rng.Float64(), B: 1.15 + 0.85*rng.Float64()}
		cases = append(cases, sample{c, visit(rng, 5+rng.IntN(40), math.Pow(c.A, -1/(c.B-1))*math.Exp(rng.NormFloat64()), 1)})
	}
	for _, x := range cases {
		corner := math.Pow(x.c.A, -1/(x.c.B-1))
		density := func(u float64) float64 {
			m := math.Exp(u)
			l := estimate.WeakPrior(m) + u + 30
			for _, n := range x.counts {
				l += estimate.LogPMF(n, m, x.c.At(m))
			}
			return math.Exp(l)
		}
		over := func(m float64) float64 {
			cuts := []float64{math.Log(m), math.Log(belief.Highest)}
			for i := range 400 {
				cuts = append(cuts, math.Log(belief.Lowest)+float64(i)*math.Log(belief.Highest/belief.Lowest)/400)
			}
			cuts = append(cuts, math.Log(corner))
			slices.Sort(cuts)
			sum := 0.0
			for i := 1; i < len(cuts); i++ {
				if cuts[i-1] >= math.Log(m)-1e-12 {
					sum += quad.Fixed(density, cuts[i-1], cuts[i], 60, quad.Legendre{}, 0)
				}
			}
			return sum
		}
		all := over(belief.Lowest)
		b := saw(t, belief.Weak(), x.c, x.counts...)
		for _, f := range []float64{0.3, 0.7, 0.9, 1, 1.1, 1.5, 3} {
			off := math.Abs(over(f*corner)/all - b.Exceeds(f*corner))
			worst = max(worst, off)
			require.Less(t, off, 1e-6, "%+v, %v times the corner", x, f)
		}
	}
	t.Logf("worst chance off by %.1e", worst)
}

// The interpolated Σ ln Γ(k+x)/(Γ(k) k^x) against the plain sum of logs.
func TestRiser(t *testing.T) {
	var ks []float64
	for v := -6.0; v < 14; v += 0.017 {
		ks = append(ks, math.Exp(v))
	}
	for _, x := range [][]int{{2}, {0, 1, 2, 5}, visit(seeded(1, 1), 40, 20, 0.8), visit(seeded(1, 2), 60, 50, 0.3), {1000, 3, 400}} {
		worst, err := belief.RiseError(x, ks)
		require.NoError(t, err)
		require.Less(t, worst, 1e-5, x)
		t.Logf("%d units up to %d: %.1e", len(x), slices.Max(x), worst)
	}
}

func TestUpdate_Order(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.IntRange(0, 120), 1, 30).Draw(t, "counts")
		c := rapid.SampledFrom(laws).Draw(t, "law")
		a := must(belief.Update(belief.Weak(), belief.Evidence{Counts: x}, c))
		y := rapid.Permutation(x).Draw(t, "order")
		before := slices.Clone(y)
		b := must(belief.Update(belief.Weak(), belief.Evidence{Counts: y}, c))
		if a.Exceeds(2) != b.Exceeds(2) || a.Mean() != b.Mean() || !slices.Equal(before, y) {
			t.Fatal("the order of units matters, or they were changed")
		}
		// Two visits on one day are one visit of all the units.
		cut := rapid.IntRange(0, len(x)).Draw(t, "cut")
		d := must(belief.Update(must(belief.Update(belief.Weak(), belief.Evidence{Counts: x[:cut]}, c)), belief.Evidence{Counts: x[cut:]}, c))
		if math.Abs(d.Exceeds(2)-a.Exceeds(2)) > 1e-5 {
			t.Fatalf("in two parts %v, in one %v", d.Exceeds(2), a.Exceeds(2))
		}
	})
}

// More animals on any unit never lower the chance of exceeding, nor do more
// infested units.
func TestUpdate_Monotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.IntRange(0, 60), 0, 12).Draw(t, "counts")
		c := rapid.SampledFrom(laws).Draw(t, "law")
		p := estimate.Presence{Looked: rapid.IntRange(1, 20).Draw(t, "looked"), Tally: rapid.IntRange(0, 5).Draw(t, "tally")}
		p.Infested = rapid.IntRange(0, p.Looked-1).Draw(t, "infested")
		e := belief.Evidence{Counts: x, Presence: p}
		more := belief.Evidence{Counts: slices.Clone(x), Presence: p}
		if len(x) > 0 && rapid.Bool().Draw(t, "count") {
			more.Counts[rapid.IntRange(0, len(x)-1).Draw(t, "unit")] += rapid.IntRange(1, 40).Draw(t, "more")
		} else {
			more.Presence.Infested++
		}
		a, b := must(belief.Update(belief.Weak(), e, c)), must(belief.Update(belief.Weak(), more, c))
		last := 1.0
		for _, m := range []float64{0.01, 0.3, 1, 3, 10, 40} {
			if b.Exceeds(m) < a.Exceeds(m)-1e-6 {
				t.Fatalf("%v then %v at %v", a.Exceeds(m), b.Exceeds(m), m)
			}
			if a.Exceeds(m) > last {
				t.Fatal("a higher threshold is exceeded more easily")
			}
			last = a.Exceeds(m)
		}
	})
}

// What is provable of a second visit: over what it may show, if the belief is
// right, the expected variance of ln density falls (law of total variance).
// The sum runs over every total of the second visit, k known.
func TestUpdate_SecondVisitNarrows(t *testing.T) {
	k, n := 0.5, 6
	for _, first := range [][]int{{0, 0, 1, 0, 7, 2}, {0, 0, 0, 0, 0, 0}, {12, 3, 30, 8, 4, 4}} {
		b := saw(t, belief.Weak(), belief.Clump{K: k}, first...)
		density, weight := b.Weights()
		expected, mass, after := 0.0, 0.0, 0.0
		for total := 0; total < 3000; total++ {
			p := 0.0
			for i, m := range density {
				p += weight[i] * math.Exp(estimate.LogPMF(total, float64(n)*m, float64(n)*k))
			}
			if p < 3e-6 && total > 50 {
				break
			}
			x := make([]int, n)
			x[0] = total // for a known k the total is all that counts
			second := saw(t, b, belief.Clump{K: k}, x...)
			sd := second.SDLn()
			expected += p * sd * sd
			after += p * second.Exceeds(2)
			mass += p
		}
		require.Greater(t, mass, 0.995)
		require.Less(t, expected/mass, 0.95*b.SDLn()*b.SDLn(), "narrower on average")
		require.InDelta(t, b.Exceeds(2), after/mass, 5e-3, "and on average right")
	}
}

// And for consistent data, the same counts seen again, never wider: with
// animals by ln density, with none by the upper limit.
func TestUpdate_SameAgain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.IntRange(0, 30), 1, 15).Draw(t, "counts")
		c := rapid.SampledFrom(laws).Draw(t, "law")
		b := must(belief.Update(belief.Weak(), belief.Evidence{Counts: x}, c))
		for range 4 {
			next := must(belief.Update(b, belief.Evidence{Counts: x}, c))
			if slices.Max(x) > 0 && next.SDLn() >= b.SDLn() || next.Quantile(0.975) > b.Quantile(0.975)*(1+1e-9) && slices.Max(x) == 0 {
				t.Fatalf("%v: %v then %v", x, b.SDLn(), next.SDLn())
			}
			b = next
		}
	})
}

func TestUpdate_Edges(t *testing.T) {
	for i, c := range laws {
		for _, counts := range [][]int{nil, {0}, {1}, make([]int, 60), {0, 0, 0, 100_000}, {estimate.MaxCount, estimate.MaxCount}, {0, estimate.MaxCount}} {
			b := saw(t, belief.Weak(), c, counts...)
			for _, next := range []belief.Belief{b, must(belief.Carry(b, 7, belief.UnknownGrowth())), saw(t, b, c, 0, 0, 3)} {
				in, err := next.Interval(0.95)
				require.NoError(t, err)
				all := []float64{next.Mean(), next.Median(), next.SDLn(), in.Low, in.High, next.Exceeds(3), next.Quantile(0.01), next.Quantile(0.99)}
				for _, v := range all {
					require.False(t, math.IsNaN(v) || math.IsInf(v, 0), "%s %v: %v", lawNames[i], counts, all)
				}
				require.LessOrEqual(t, in.Low, next.Median()*(1+1e-6))
				require.LessOrEqual(t, next.Median(), in.High*(1+1e-6)) // all of it at the end of the grid
			}
			require.Equal(t, len(counts), b.Units)
		}
	}
	// No units leave the belief as it was.
	b := saw(t, belief.Weak(), mites, 3, 1)
	require.Equal(t, b, saw(t, b, mites))
}

func TestUpdate_Errors(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	ok := belief.Evidence{Counts: []int{1, 2}}
	for _, e := range []belief.Evidence{{Counts: []int{-1}}, {Counts: []int{estimate.MaxCount + 1}}, {Counts: []int{1}, Scale: nan}, {Counts: []int{1}, Scale: -1}, {Counts: []int{1}, Scale: inf},
		{Presence: estimate.Presence{Infested: 2, Looked: 1}}, {Presence: estimate.Presence{Looked: -1}}, {Presence: estimate.Presence{Looked: 1, Tally: -1}}, {Presence: estimate.Presence{Looked: 1, Tally: 5000}}} {
		_, err := belief.Update(belief.Weak(), e, mites)
		require.ErrorIs(t, err, belief.ErrDomain, "%+v", e)
		_, err = belief.SampleInterval(e, mites, 0.95)
		require.ErrorIs(t, err, belief.ErrDomain, "%+v", e)
	}
	for _, c := range []belief.Clump{{}, {K: nan}, {K: -1}, {A: nan, B: 1.5}, {A: inf, B: 1.5}, {A: 2, B: 0.5}, {A: 2, B: 2.5}, {A: 2, B: nan}, {A: 2, B: 1.5, K: 1}} {
		_, err := belief.Update(belief.Weak(), ok, c)
		require.ErrorIs(t, err, belief.ErrDomain, "%+v", c)
	}
	for _, level := range []float64{0, 1, nan, -1, inf} {
		_, err := belief.SampleInterval(ok, mites, level)
		require.ErrorIs(t, err, belief.ErrDomain)
		_, err = belief.Weak().Interval(level)
		require.ErrorIs(t, err, belief.ErrDomain)
	}
	_, err := belief.SampleInterval(belief.Evidence{}, mites, 0.95)
	require.ErrorContains(t, err, "no units")
	_, err = belief.FromPrior(func(float64) float64 { return nan })
	require.ErrorIs(t, err, belief.ErrDomain)
	b := must(belief.Update(belief.Weak(), belief.Evidence{Date: day, Counts: []int{3}}, mites))
	_, err = belief.Update(b, belief.Evidence{Date: day.AddDays(1), Counts: []int{3}}, mites)
	require.ErrorContains(t, err, "carry the belief")
	require.Zero(t, b.Exceeds(nan))
	require.True(t, math.IsNaN(b.Quantile(nan)))
	require.Equal(t, 1.0, b.Exceeds(math.Inf(-1)))
	require.Zero(t, b.Exceeds(inf))
}

// A presence sample of units with any animal says about as much as the counts
// they came from when animals are few.
func TestUpdate_Presence(t *testing.T) {
	few := []int{0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 0, 1}
	a := saw(t, belief.Weak(), poisson, few...)
	b := must(belief.Update(belief.Weak(), belief.Evidence{Presence: estimate.Presence{Infested: 3, Looked: 12}}, poisson))
	require.InEpsilon(t, a.Median(), b.Median(), 0.2)
	require.Equal(t, 12, b.Units)
	require.Equal(t, 1, b.Visits)
	// Six per trap over three nights are two per trap and night.
	c := must(belief.Update(belief.Weak(), belief.Evidence{Counts: []int{60, 60, 60}, Scale: 1.0 / 3}, poisson))
	require.InEpsilon(t, 20, c.Median(), 0.02)
}

// The chance of more than a tally, counted against the binomial law of gonum.
func TestUpdate_Tally(t *testing.T) {
	c := belief.Clump{K: 2}
	lik := func(m float64) float64 {
		return distuv.Binomial{N: 25, P: estimate.Survival(3, m, 2)}.LogProb(4)
	}
	b := must(belief.Update(belief.Weak(), belief.Evidence{Presence: estimate.Presence{Infested: 4, Looked: 25, Tally: 3}}, c))
	d := must(belief.FromPrior(func(m float64) float64 { return estimate.WeakPrior(m) + math.Max(lik(m), -700) }))
	for _, m := range []float64{0.7, 1.3, 2} {
		require.InDelta(t, d.Exceeds(m), b.Exceeds(m), 1e-7)
	}
}

func Example() {
	b, _ := belief.Update(belief.Weak(), belief.Evidence{Counts: []int{0, 0, 1, 0, 7, 2, 0, 4}}, belief.Clump{K: 0.5})
	i, _ := b.Interval(0.95)
	fmt.Printf("%.2f (%.2f to %.2f), over 3 with a chance of %.2f\n", b.Median(), i.Low, i.High, b.Exceeds(3))
	b, _ = belief.Carry(b, 14, belief.UnknownGrowth())
	i, _ = b.Interval(0.95)
	fmt.Printf("%.2f (%.2f to %.2f), over 3 with a chance of %.2f\n", b.Median(), i.Low, i.High, b.Exceeds(3))
	// Output:
	// 1.77 (0.65 to 6.01), over 3 with a chance of 0.18
	// 1.69 (0.04 to 40.51), over 3 with a chance of 0.34
}

// The weights at or over a level are the chance of it, wherever the level lies
// in its cell: on a grid point (1, 10, 100), between two, at the ends.
func TestWeightsAbout_AreTheChance(t *testing.T) {
	for _, x := range [][]int{{0}, {0, 0, 0, 0, 1}, {1, 1, 1, 1}, {9, 11, 8, 12, 10, 10}, {100, 240, 31}} {
		b := saw(t, belief.Weak(), belief.Clump{K: 2}, x...)
		for _, level := range []float64{0.00009, 0.00010001, 0.01, 1, 1.0144, 1.0145, 1.02, 3.7, 10, 10.2, 100, 9999, 1e4, 2e4} {
			density, weight := b.WeightsAbout(level)
			require.True(t, slices.IsSorted(density), "%v", level)
			over, sum := 0.0, 0.0
			for i, d := range density {
				require.GreaterOrEqual(t, weight[i], 0.0)
				sum += weight[i]
				if d >= level {
					over += weight[i]
				}
			}
			require.InDelta(t, 1, sum, 1e-9)
			require.InDelta(t, b.Exceeds(level), over, 1e-9, "%v at %v", x, level)
		}
	}
}

func TestLnQuantilesAgainstQuantile(t *testing.T) {
	shares := []float64{0, 1e-6, 0.001, 0.05, 0.2, 0.5, 0.5, 0.8, 0.95, 0.999, 1 - 1e-6, 1}
	out := make([]float64, len(shares))
	for i, counts := range [][]int{nil, {0, 0, 0, 0}, {3, 1, 0, 4, 2}, {0, 0, 50}, {200, 180, 220, 240}} {
		b := must(belief.Update(belief.Weak(), belief.Evidence{Counts: counts}, mites))
		r := b.Read()
		r.LnQuantiles(shares, out)
		for k, p := range shares[1 : len(shares)-1] {
			require.InDelta(t, math.Log(r.Quantile(p)), out[k+1], 0.005, "belief %d, share %v", i, p)
		}
		require.IsNonDecreasing(t, out)
	}
}
