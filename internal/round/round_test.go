package round_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/round"
)

func scatter(rng *rand.Rand, n int) []round.Point {
	out := make([]round.Point, n)
	for i := range out {
		out[i] = round.Point{X: float64(rng.IntN(40)), Y: float64(rng.IntN(40))}
	}
	return out
}

func isPermutation(t *testing.T, order []int, n int) {
	t.Helper()
	s := slices.Sorted(slices.Values(order))
	require.Len(t, s, n)
	for i, k := range s {
		require.Equal(t, i, k)
	}
}

// shortest tries every order.
func shortest(places []round.Point, from *round.Point) float64 {
	best := math.Inf(1)
	var try func(order []int)
	try = func(order []int) {
		if len(order) == len(places) {
			best = min(best, round.Length(order, places, from))
			return
		}
		for k := range places {
			if !slices.Contains(order, k) {
				try(append(slices.Clone(order), k))
			}
		}
	}
	try(nil)
	return best
}

// Against every order of up to seven places, with and without a start.
func TestWalk_Shortest(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 4))
	for range 60 {
		places := scatter(rng, 1+rng.IntN(7))
		for _, from := range []*round.Point{nil, {X: 3, Y: 50}} {
			order := round.Walk(places, from)
			isPermutation(t, order, len(places))
			require.InDelta(t, shortest(places, from), round.Length(order, places, from), 1e-9)
		}
	}
	require.Empty(t, round.Walk(nil, nil))
}

// Beyond the exact walk: a permutation, the same each time, no shorter by
// turning a stretch or moving one place; a row of beds is walked end to end.
func TestWalk_Many(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 5))
	for range 30 {
		n := 13 + rng.IntN(30)
		places := scatter(rng, n)
		for _, from := range []*round.Point{nil, {X: 3, Y: 50}} {
			order := round.Walk(places, from)
			isPermutation(t, order, n)
			require.Equal(t, order, round.Walk(places, from))
			have := round.Length(order, places, from)
			for i := range n {
				for j := i + 1; j < n; j++ {
					other := slices.Clone(order)
					slices.Reverse(other[i : j+1])
					require.GreaterOrEqual(t, round.Length(other, places, from), have-1e-6, "turned %d to %d", i, j)
				}
				for j := range n {
					other := slices.Insert(slices.Delete(slices.Clone(order), i, i+1), min(j, n-1), order[i])
					require.GreaterOrEqual(t, round.Length(other, places, from), have-1e-6, "moved %d to %d", i, j)
				}
			}
		}
	}
	var row []round.Point
	for _, k := range rng.Perm(20) {
		row = append(row, round.Point{X: float64(k)})
	}
	require.InDelta(t, 19, round.Length(round.Walk(row, nil), row, nil), 1e-9)
}

// Against every subset; more minutes never leave more risk.
func TestChoose(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 6))
	for range 150 {
		tasks := make([]round.Task, 1+rng.IntN(9))
		for i := range tasks {
			tasks[i] = round.Task{Minutes: rng.IntN(12), Risk: float64(rng.IntN(100)) / 100}
		}
		last := math.Inf(1)
		for budget := 0; budget < 70; budget += 1 + rng.IntN(6) {
			keep := round.Choose(tasks, budget)
			spent, lost := 0, 0.0
			for i, x := range tasks {
				if keep[i] {
					spent += x.Minutes
				} else {
					lost += x.Risk
				}
			}
			require.LessOrEqual(t, spent, budget)
			require.LessOrEqual(t, lost, last+1e-9)
			last = lost
			least := math.Inf(1)
			for set := range 1 << len(tasks) {
				m, r := 0, 0.0
				for i, x := range tasks {
					if set&(1<<i) != 0 {
						m += x.Minutes
					} else {
						r += x.Risk
					}
				}
				if m <= budget {
					least = min(least, r)
				}
			}
			require.InDelta(t, least, lost, 1e-9)
		}
	}
}

func BenchmarkWalk(b *testing.B) {
	for _, n := range []int{12, 200} {
		places := scatter(rand.New(rand.NewPCG(8, 7)), n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				round.Walk(places, nil)
			}
		})
	}
}
