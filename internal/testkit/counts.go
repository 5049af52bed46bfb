package testkit

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

// Visit draws n negative binomial counts with the given mean and k, as Poisson
// counts with gamma means; k of +Inf is Poisson.
func Visit(rng *rand.Rand, n int, mean, k float64) []int {
	x := make([]int, n)
	for i := range x {
		m := mean
		if !math.IsInf(k, 1) {
			m = distuv.Gamma{Alpha: k, Beta: k / mean, Src: rng}.Rand()
		}
		x[i] = int(distuv.Poisson{Lambda: m, Src: rng}.Rand())
	}
	return x
}

// Seeded is a source of random numbers with a fixed seed.
func Seeded(a, b uint64) *rand.Rand { return rand.New(rand.NewPCG(a, b)) }
