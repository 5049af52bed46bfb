package allot_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/allot"
)

// instance draws an invented field: beds in rows, covers of a few families,
// values from the pests that press on a bed and what each cover does to them.
func instance(rng *rand.Rand, beds, covers int, rules bool) allot.Problem {
	const pests, rowLength = 5, 12
	n := covers + 1
	p := allot.Problem{Family: make([]int, n)}
	p.Family[0] = -1
	effect := make([][allot.Windows][pests]float64, n)
	cost := make([]float64, n)
	for c := 1; c < n; c++ {
		p.Family[c] = rng.IntN(max(2, covers/3))
		cost[c] = math.Round(100*(0.5+4*rng.Float64())) / 100
		for w := range allot.Windows {
			for q := range pests {
				if rng.Float64() < 0.5 {
					effect[c][w][q] = float64(rng.IntN(7)-3) * []float64{1, 0.7, 0.4, 0.1}[rng.IntN(4)]
				}
			}
		}
	}
	area := make([]float64, beds)
	total := 0.0
	for i := range beds {
		b := allot.Bed{Row: i / rowLength, Before: rng.IntN(max(2, covers/3)+1) - 1}
		area[i] = float64(10 + rng.IntN(40))
		total += area[i]
		var press [pests]float64
		for q := range press {
			press[q] = math.Round(30*rng.Float64()) / 10
		}
		for w := range allot.Windows {
			b.Value[w] = make([]float64, n)
			for c := 1; c < n; c++ {
				if rng.Float64() < 0.3 {
					b.Value[w][c] = math.NaN()
					continue
				}
				v := 0.0
				for q := range press {
					v -= press[q] * effect[c][w][q]
				}
				b.Value[w][c] = math.Round(1000*(v-0.05*cost[c]*area[i]/20)) / 1000
			}
			if w == 0 {
				b.Value[w][0] = -0.5
			}
		}
		p.Beds = append(p.Beds, b)
	}
	if !rules {
		return p
	}
	p.Together = [allot.Windows]float64{0.1, 0.1}
	p.MaxLots = 2 + covers/5
	use := func(do func(i, w, c int) float64) [][allot.Windows][]float64 {
		out := make([][allot.Windows][]float64, beds)
		for i := range out {
			for w := range allot.Windows {
				for c := range n {
					out[i][w] = append(out[i][w], do(i, w, c))
				}
			}
		}
		return out
	}
	// Money, an area at most of one cover, an area at least of a family (legumes,
	// family 0, as a share of what is sown), and beds kept bare.
	p.Limits = append(p.Limits, allot.Limit{Use: use(func(i, w, c int) float64 { return cost[c] * area[i] / 20 }), Most: math.Round(2.2 * total / 20)})
	most := 1 + rng.IntN(covers)
	p.Limits = append(p.Limits, allot.Limit{Use: use(func(i, w, c int) float64 {
		if c == most {
			return area[i]
		}
		return 0
	}), Most: math.Round(0.15 * total)})
	p.Limits = append(p.Limits, allot.Limit{Use: use(func(i, w, c int) float64 {
		switch {
		case c == 0:
			return 0
		case p.Family[c] == 0:
			return (0.2 - 1) * area[i]
		}
		return 0.2 * area[i]
	}), Most: 0})
	bare := make([]float64, beds)
	for i := range bare {
		bare[i] = -1
	}
	p.Limits = append(p.Limits, allot.Limit{Use: use(func(int, int, int) float64 { return 0 }), Bare: bare, Most: -math.Ceil(float64(beds) / 20)})
	return p
}

// brute tries everything.
func brute(p allot.Problem) float64 {
	n := len(p.Family)
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
				if math.IsNaN(b.Value[0][c]) || math.IsNaN(b.Value[1][d]) || !families(p, b, c, d) {
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

func families(p allot.Problem, b allot.Bed, c, d int) bool {
	last := b.Before
	for _, x := range []int{c, d} {
		if x == 0 {
			continue
		}
		if p.Family[x] >= 0 && p.Family[x] == last {
			return false
		}
		last = p.Family[x]
	}
	return true
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
