package belief_test

import (
	"math"
	"math/rand/v2"

	"leafturn/internal/belief"
	"leafturn/internal/estimate"
)

// Where truth comes from in a simulation.
const (
	weakDraw   = "the weak prior"
	seasonDraw = "a season: ln mean ~ Normal(0, 1.2)"
)

type drawnResult struct {
	prior          string
	n              int
	k              float64
	sims           int
	belief, sample float64
}

// drawnTable draws the truth of each visit: Bayesian coverage.
func drawnTable(sims int) []drawnResult {
	var out []drawnResult
	for _, prior := range []string{weakDraw, seasonDraw} {
		cells := []cell{}
		for _, n := range []int{5, 12, 40} {
			for _, k := range []float64{0.3, 1, math.Inf(1)} {
				cells = append(cells, cell{n: n, k: k})
			}
		}
		out = append(out, each(cells, func(c cell, rng *rand.Rand) drawnResult {
			r := drawnResult{prior: prior, n: c.n, k: c.k, sims: sims}
			lo, hi := math.Atan(math.Sqrt(belief.Lowest)), math.Atan(math.Sqrt(belief.Highest))
			for range sims {
				m := math.Exp(1.2 * rng.NormFloat64())
				if prior == weakDraw { // √m = tan of a uniform angle, cut to the grid
					m = math.Pow(math.Tan(lo+(hi-lo)*rng.Float64()), 2)
				}
				e := belief.Evidence{Counts: visit(rng, c.n, m, c.k)}
				in, err := must(belief.Update(belief.Weak(), e, belief.Clump{K: c.k})).Interval(0.95)
				s, err2 := belief.SampleInterval(e, belief.Clump{K: c.k}, 0.95)
				if err != nil || err2 != nil {
					panic(err)
				}
				if in.Low <= m && m <= in.High {
					r.belief += 1 / float64(sims)
				}
				if s.Low <= m && m <= s.High {
					r.sample += 1 / float64(sims)
				}
			}
			return r
		})...)
	}
	return out
}

type pooledResult struct {
	truth, published string
	earlier, sims    int
	coverage         float64 // of SampleInterval, over the cells
	lowest           float64
	lowestAt         cell
	noPool           float64 // with the published value as it is
	noPoolLowest     float64
}

// pooledTable measures SampleInterval with clumping pooled from earlier
// visits of 12 units with ln mean ~ Normal(0, 1.2), the published value being
// wrong as stated.
func pooledTable(sims int) []pooledResult {
	type setup struct {
		truth, published string
		law              belief.Clump
		pub              belief.Law
	}
	var out []pooledResult
	for _, s := range []setup{
		{"a 3.3, b 1.49", "the same", mites, belief.Law{A: 3.3, B: 1.49}},
		{"a 3.3, b 1.49", "a 2, b 1.3", mites, belief.Law{A: 2, B: 1.3}},
		{"a 3.3, b 1.49", "a 5.8, b 1.64", mites, belief.Law{A: 5.8, B: 1.64}},
		{"k 0.3", "k 0.8", belief.Clump{K: 0.3}, belief.Law{K: 0.8}},
		{"k 0.8", "k 0.8", belief.Clump{K: 0.8}, belief.Law{K: 0.8}},
		{"k 2", "k 0.8", belief.Clump{K: 2}, belief.Law{K: 0.8}},
	} {
		var cells []cell
		for _, n := range []int{5, 12, 40} {
			for _, m := range []float64{0.2, 1, 5, 20} {
				cells = append(cells, cell{n: n, mean: m, k: s.law.At(m)})
			}
		}
		for _, earlier := range []int{10, 30} {
			r := pooledResult{truth: s.truth, published: s.published, earlier: earlier, sims: sims, lowest: 1, noPoolLowest: 1}
			got := each(cells, func(c cell, rng *rand.Rand) [2]float64 {
				hit := 0.0
				for range sims {
					clump, err := belief.PoolTaylor(s.pub, moments(rng, earlier, 12, s.law.At))
					if err != nil {
						panic(err)
					}
					in, err := belief.SampleInterval(belief.Evidence{Counts: visit(rng, c.n, c.mean, c.k)}, clump, 0.95)
					if err != nil {
						panic(err)
					}
					if in.Low <= c.mean && c.mean <= in.High {
						hit++
					}
				}
				return [2]float64{hit / float64(sims), exactCoverage(c, belief.Clump{A: s.pub.A, B: s.pub.B, K: s.pub.K})}
			})
			for i, g := range got {
				r.coverage += g[0] / float64(len(got))
				r.noPool += g[1] / float64(len(got))
				r.noPoolLowest = min(r.noPoolLowest, g[1])
				if g[0] < r.lowest {
					r.lowest, r.lowestAt = g[0], cells[i]
				}
			}
			out = append(out, r)
		}
	}
	return out
}

type seasonResult struct {
	seasons, visits int
	covered         float64 // of Belief.Interval after each visit
	ahead           float64 // before the visit, carried to its day
	narrower        float64 // mean of SDLn with the weeks before over SDLn of the visit alone
	bins            [5]struct{ n, said, was float64 }
}

// seasonTable follows beds through a season of 16 weekly visits of 8 units
// (mites by Taylor's law). Truth starts from the weak prior and changes as
// UnknownGrowth says without the blend: each week a rate of Normal(0, 0.07)
// a day and noise of variance 0.02 a day.
func seasonTable(seasons int) seasonResult {
	r := seasonResult{seasons: seasons}
	g := belief.UnknownGrowth()
	type week struct {
		covered, ahead, over bool
		ratio, chance        float64
	}
	cells := make([]cell, seasons)
	for i := range cells {
		cells[i] = cell{n: 8, mean: float64(i)}
	}
	for _, weeks := range each(cells, func(c cell, rng *rand.Rand) []week {
		var out []week
		lo, hi := math.Atan(math.Sqrt(belief.Lowest)), math.Atan(math.Sqrt(belief.Highest))
		u := 2 * math.Log(math.Tan(lo+(hi-lo)*rng.Float64()))
		b := belief.Weak()
		for w := range 16 {
			if w > 0 {
				u += 7*g.RateSD*rng.NormFloat64() + math.Sqrt(7*g.Noise)*rng.NormFloat64()
				b = must(belief.Carry(b, 7, g))
			}
			m := math.Exp(u)
			if m < 2*belief.Lowest || m > 2000 { // no such bed
				break
			}
			inside := func(b belief.Belief) bool {
				in, err := b.Interval(0.95)
				if err != nil {
					panic(err)
				}
				return in.Low <= m && m <= in.High
			}
			var x week
			x.ahead = inside(b)
			e := belief.Evidence{Counts: visit(rng, c.n, m, estimate.TaylorK(m, mites.A, mites.B))}
			b = must(belief.Update(b, e, mites))
			x.covered = inside(b)
			x.ratio = b.SDLn() / must(belief.Update(belief.Weak(), e, mites)).SDLn()
			x.chance, x.over = b.Exceeds(2), m >= 2
			out = append(out, x)
		}
		return out
	}) {
		for _, x := range weeks {
			r.visits++
			if x.covered {
				r.covered++
			}
			if x.ahead {
				r.ahead++
			}
			r.narrower += x.ratio
			b := &r.bins[min(int(x.chance*5), 4)]
			b.n++
			b.said += x.chance
			if x.over {
				b.was++
			}
		}
	}
	n := float64(r.visits)
	r.covered /= n
	r.ahead /= n
	r.narrower /= n
	for i := range r.bins {
		r.bins[i].said /= max(r.bins[i].n, 1)
		r.bins[i].was /= max(r.bins[i].n, 1)
	}
	return r
}
