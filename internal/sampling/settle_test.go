package sampling_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"leafturn/internal/estimate"
	"leafturn/internal/sampling"
)

// The chance by enumerating every total up to a bound, unit counts added one
// by one: no closed form of the sum, no search for bounds.
func enumerated(s sampling.Settle, n2, top int) (act, hold, covered float64) {
	probs := make([][]float64, len(s.Belief.Levels)) // of each total, at each level
	sum := 0.0
	for i, l := range s.Belief.Levels {
		unit := make([]float64, top+1)
		for x := range unit {
			switch {
			case !s.Percent:
				unit[x] = math.Exp(estimate.LogPMF(x, l, s.Clump.At(l)))
			case x == 0:
				unit[x] = 1 - l
			case x == 1:
				unit[x] = l
			}
		}
		total := make([]float64, top+1)
		total[0] = 1
		for range n2 {
			next := make([]float64, top+1)
			for a, p := range total {
				for b := 0; a+b <= top; b++ {
					next[a+b] += p * unit[b]
				}
			}
			total = next
		}
		probs[i] = total
		sum += s.Belief.Weights[i]
	}
	for x := 0; x <= top; x++ {
		all, over := 0.0, 0.0
		for i, l := range s.Belief.Levels {
			w := s.Belief.Weights[i] / sum * probs[i][x]
			all += w
			if l >= s.Threshold {
				over += w
			}
		}
		covered += all
		switch {
		case all == 0:
		case over/all >= s.ActAt:
			act += all
		case over/all < s.HoldBelow:
			hold += all
		}
	}
	return act, hold, covered
}

func TestSettle_AgainstEnumeration(t *testing.T) {
	counts := sampling.Belief{Levels: []float64{0.2, 0.5, 0.9, 1.1, 2, 4}, Weights: []float64{1, 3, 3, 2, 2, 1}}
	shares := sampling.Belief{Levels: []float64{0.02, 0.08, 0.12, 0.3}, Weights: []float64{1, 2, 2, 1}}
	for _, s := range []sampling.Settle{
		{Belief: counts, Threshold: 1, Clump: sampling.Clump{K: 0.5}, ActAt: 0.5, HoldBelow: 0.2},
		{Belief: counts, Threshold: 1, Clump: sampling.Clump{TaylorA: 3.3, TaylorB: 1.49}, ActAt: 0.8, HoldBelow: 0.2},
		{Belief: counts, Threshold: 1, Clump: sampling.Clump{K: math.Inf(1)}, ActAt: 0.9, HoldBelow: 0.05},
		{Belief: shares, Threshold: 0.1, Percent: true, ActAt: 0.7, HoldBelow: 0.2},
	} {
		for _, n2 := range []int{1, 4, 15} {
			act, hold, covered := enumerated(s, n2, 500)
			require.InDelta(t, 1, covered, 1e-6)
			got, a, h, err := s.Chance(n2)
			require.NoError(t, err)
			require.InDelta(t, act, a, 2e-6)
			require.InDelta(t, hold, h, 2e-6)
			require.InDelta(t, act+hold, got, 4e-6)
		}
	}
}

// Two densities far apart and one unit: by hand. Levels 0 and 5 with equal
// weights and Poisson counts: nothing found leaves the chance of being over at
// e^-5/(1+e^-5) = 0.0067; anything found makes it 1.
func TestSettle_ByHand(t *testing.T) {
	s := sampling.Settle{Belief: sampling.Belief{Levels: []float64{0, 5}, Weights: []float64{2, 2}}, Threshold: 1, Clump: sampling.Clump{K: math.Inf(1)}, ActAt: 0.8, HoldBelow: 0.1}
	got, act, hold, err := s.Chance(1)
	require.NoError(t, err)
	require.InDelta(t, 1, got, 1e-12)
	require.InDelta(t, 0.5*(1-math.Exp(-5)), act, 1e-12)
	require.InDelta(t, 0.5+0.5*math.Exp(-5), hold, 1e-12)
	n, chance, ok, err := s.More(0.8, 50)
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, 1, n)
	require.InDelta(t, 1, chance, 1e-12)
	// Shares 0 and 0.5: three clean units leave 0.125/1.125 = 0.111, four 0.059.
	s = sampling.Settle{Belief: sampling.Belief{Levels: []float64{0, 0.5}, Weights: []float64{1, 1}}, Threshold: 0.1, Percent: true, ActAt: 0.8, HoldBelow: 0.1}
	n, chance, ok, err = s.More(0.9, 50)
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, 4, n)
	require.InDelta(t, 1, chance, 1e-12)
	got, _, _, err = s.Chance(3)
	require.NoError(t, err)
	require.InDelta(t, 0.5*(1-distuv.Binomial{N: 3, P: 0.5}.Prob(0)), got, 1e-12)
}

func TestSettle_More(t *testing.T) {
	b := must[sampling.Belief](t)(sampling.LogNormal(0.8, 0.8, 0, 60))
	s := sampling.Settle{Belief: b, Threshold: 1, Clump: sampling.Clump{K: 0.8}, ActAt: 0.5, HoldBelow: 0.2}
	n, chance, ok, err := s.More(0.8, 200)
	require.NoError(t, err)
	require.True(t, ok)
	require.GreaterOrEqual(t, chance, 0.8)
	for i := range n {
		c, _, _, err := s.Chance(i)
		require.NoError(t, err)
		require.Less(t, c, 0.8, "%d is the smallest", n)
	}
	// Densities on both sides of the threshold and next to it: nothing settles.
	s.Belief = sampling.Belief{Levels: []float64{0.99, 1.01}, Weights: []float64{1, 1}}
	s.ActAt, s.HoldBelow = 0.8, 0.2
	n, chance, ok, err = s.More(0.8, 60)
	require.NoError(t, err)
	require.False(t, ok)
	require.Less(t, chance, 0.1)
	require.LessOrEqual(t, n, 60)
	// Settled already.
	s.Belief = sampling.Belief{Levels: []float64{0.1, 3}, Weights: []float64{9, 1}}
	n, chance, ok, err = s.More(0.8, 60)
	require.NoError(t, err)
	require.True(t, ok)
	require.Zero(t, n)
	require.Equal(t, 1.0, chance)
}

func TestSettle_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := must[sampling.Belief](t)(sampling.LogNormal(rapid.Float64Range(0.1, 5).Draw(t, "median"), rapid.Float64Range(0.1, 2).Draw(t, "sd"), 0, rapid.IntRange(1, 30).Draw(t, "points")))
		s := sampling.Settle{Belief: b, Threshold: rapid.Float64Range(0.2, 4).Draw(t, "threshold"), Clump: sampling.Clump{K: rapid.Float64Range(0.2, 4).Draw(t, "k")},
			ActAt: rapid.Float64Range(0.5, 1).Draw(t, "act"), HoldBelow: rapid.Float64Range(0, 0.5).Draw(t, "hold")}
		n := rapid.IntRange(0, 60).Draw(t, "n")
		got, act, hold, err := s.Chance(n)
		require.NoError(t, err)
		for _, v := range []float64{got, act, hold} {
			require.True(t, v >= 0 && v <= 1+1e-9, v)
		}
		require.InDelta(t, got, act+hold, 1e-9)
		// A wider gap between the two levels settles less often.
		s.ActAt, s.HoldBelow = math.Min(1, s.ActAt+0.1), s.HoldBelow/2
		less, _, _, err := s.Chance(n)
		require.NoError(t, err)
		require.LessOrEqual(t, less, got+1e-9)
	})
}

func TestSettle_Refuses(t *testing.T) {
	ok := sampling.Settle{Belief: sampling.Belief{Levels: []float64{1}, Weights: []float64{1}}, Threshold: 1, Clump: sampling.Clump{K: 1}, ActAt: 0.5, HoldBelow: 0.2}
	for name, mar := range map[string]func(s *sampling.Settle){
		"threshold":    func(s *sampling.Settle) { s.Threshold = math.NaN() },
		"no k":         func(s *sampling.Settle) { s.Clump = sampling.Clump{} },
		"upside down":  func(s *sampling.Settle) { s.ActAt, s.HoldBelow = 0.1, 0.2 },
		"no belief":    func(s *sampling.Settle) { s.Belief = sampling.Belief{} },
		"weights of 0": func(s *sampling.Settle) { s.Belief.Weights = []float64{0} },
		"share over 1": func(s *sampling.Settle) {
			s.Percent, s.Threshold, s.Belief = true, 0.1, sampling.Belief{Levels: []float64{2}, Weights: []float64{1}}
		},
		"tally": func(s *sampling.Settle) { s.Tally = -1 },
	} {
		s := ok
		mar(&s)
		_, _, _, err := s.Chance(3)
		require.ErrorIs(t, err, estimate.ErrDomain, name)
		_, _, _, err = s.More(0.8, 10)
		require.ErrorIs(t, err, estimate.ErrDomain, name)
	}
	_, _, _, err := ok.Chance(-1)
	require.ErrorIs(t, err, estimate.ErrDomain)
	_, _, _, err = ok.More(1.5, 10)
	require.ErrorIs(t, err, estimate.ErrDomain)
	for _, e := range []error{second(sampling.LogNormal(0, 1, 0, 5)), second(sampling.LogNormal(1, 1, 0, 0)), second(sampling.LogNormal(1, math.NaN(), 0, 5))} {
		require.ErrorIs(t, e, estimate.ErrDomain)
	}
}

// One week in nine is over the threshold: P(z > ln(1/0.3)) = 0.1143.
func TestSeasonBelief(t *testing.T) {
	b := must[sampling.Belief](t)(sampling.SeasonBelief(4, false, 2001))
	over := 0.0
	for i, l := range b.Levels {
		if l >= 4 {
			over += b.Weights[i]
		}
	}
	require.InDelta(t, 1-distuv.UnitNormal.CDF(math.Log(1/0.3)), over, 1e-3)
	require.InDelta(t, 1.2, b.Levels[1000], 1e-9)
	b = must[sampling.Belief](t)(sampling.SeasonBelief(0.5, true, 101))
	require.Equal(t, 0.95, b.Levels[100])
}
