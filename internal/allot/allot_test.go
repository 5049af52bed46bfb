package allot_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/allot"
)

// brute tries everything.
func brute(p allot.Problem) float64 {
	n := len(p.Beds[0].Value[0])
	best := math.Inf(-1)
	pick := make([][allot.Windows]int, len(p.Beds))
	var walk func(i int, v float64)
	walk = func(i int, v float64) {
		if i == len(p.Beds) {
			if keeps(p, pick) {
				best = math.Max(best, v)
			}
			return
		}
		b := p.Beds[i]
		for c := range n {
			for d := range n {
				if math.IsNaN(b.Value[0][c]) || math.IsNaN(b.Value[1][d]) || b.Apart[c]>>d&1 != 0 {
					continue
				}
				x := v + b.Value[0][c] + b.Value[1][d]
				if i > 0 && p.Beds[i-1].Row == b.Row {
					for w, s := range [allot.Windows]int{c, d} {
						if s != 0 && s == pick[i-1][w] {
							x += p.Together[w]
						}
					}
				}
				pick[i] = [allot.Windows]int{c, d}
				walk(i+1, x)
			}
		}
	}
	walk(0, 0)
	return best
}

// keeps reports whether a plan keeps the limits and the number of lots.
func keeps(p allot.Problem, pick [][allot.Windows]int) bool {
	lots := map[int]bool{}
	for _, x := range pick {
		for _, c := range x {
			if c != 0 {
				lots[c] = true
			}
		}
	}
	if p.MaxLots > 0 && len(lots) > p.MaxLots {
		return false
	}
	for _, l := range p.Limits {
		sum := 0.0
		for i, x := range pick {
			sum += l.Use[i][0][x[0]] + l.Use[i][1][x[1]]
			if x == [allot.Windows]int{} && l.Bare != nil {
				sum += l.Bare[i]
			}
		}
		if sum > l.Most+1e-6*(1+math.Abs(l.Most)) {
			return false
		}
	}
	return true
}

func TestSolve_Everything(t *testing.T) {
	for seed := range uint64(200) {
		rng := rand.New(rand.NewPCG(seed, 1))
		p := instance(rng, 1+rng.IntN(4), 2+rng.IntN(3), true)
		want := brute(p)
		got, err := allot.Solve(context.Background(), p, allot.Options{})
		if math.IsInf(want, -1) {
			require.ErrorIs(t, err, allot.ErrImpossible, "seed %d", seed)
			continue
		}
		require.NoError(t, err, "seed %d", seed)
		require.InDelta(t, want, got.Value, 1e-7, "seed %d", seed)
		require.True(t, got.Proved, "seed %d", seed)
		require.True(t, keeps(p, got.Choice))
	}
}
