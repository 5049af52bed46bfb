package allot_test

import (
	"math"
	"math/rand/v2"

	"leafturn/internal/allot"
)

// instance draws an invented field: beds in rows, covers of a few families,
// values from the pests that press on a bed and what each cover does to them.
// No family may come twice running, the cover before included. With rules it
// has limits of money, of the area of a cover, of the share of a family and of
// the beds kept bare, and a number of lots.
func instance(rng *rand.Rand, beds, covers int, rules bool) allot.Problem {
	return draw(rng, beds, covers, rules, false)
}

// coarse is an instance as real tables give it: pressures in steps of a half and
// beds of a few kinds, so that many plans are worth the same.
func coarse(rng *rand.Rand, beds, covers int, rules bool) allot.Problem {
	return draw(rng, beds, covers, rules, true)
}

func draw(rng *rand.Rand, beds, covers int, rules, coarse bool) allot.Problem {
	const pests, rowLength = 5, 12
	n := covers + 1
	family := make([]int, n)
	effect := make([][allot.Windows][pests]float64, n)
	cost := make([]float64, n)
	family[0] = -1
	for c := 1; c < n; c++ {
		family[c] = rng.IntN(max(2, covers/3))
		cost[c] = math.Round(100*(0.5+4*rng.Float64())) / 100
		for w := range allot.Windows {
			for q := range pests {
				if rng.Float64() < 0.5 {
					effect[c][w][q] = float64(rng.IntN(7)-3) * []float64{1, 0.7, 0.4, 0.1}[rng.IntN(4)]
				}
			}
		}
	}
	// A coarse field has beds of a few kinds.
	kinds := make([]uint64, beds)
	if coarse {
		for i := range kinds {
			kinds[i] = rng.Uint64N(uint64(beds/25 + 1))
		}
		seed := rng.Uint64()
		for i := range kinds {
			kinds[i] += seed
		}
	}
	field := rng
	var p allot.Problem
	area := make([]float64, beds)
	total := 0.0
	for i := range beds {
		if coarse {
			rng = rand.New(rand.NewPCG(kinds[i], 3))
		}
		b := allot.Bed{Row: i / rowLength}
		before := rng.IntN(max(2, covers/3)+1) - 1
		area[i] = float64(10 + rng.IntN(40))
		if coarse {
			area[i] = math.Ceil(area[i]/10) * 10
		}
		total += area[i]
		var press [pests]float64
		for q := range press {
			press[q] = math.Round(30*rng.Float64()) / 10
			if coarse {
				press[q] = math.Round(2*press[q]) / 2
			}
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
				if coarse {
					b.Value[w][c] = v
				}
			}
			if w == 0 {
				b.Value[w][0] = -0.5
			}
		}
		keepApart(&b, family, before)
		p.Beds = append(p.Beds, b)
	}
	rng = field
	if !rules {
		return p
	}
	p.Together = [allot.Windows]float64{0.1, 0.1}
	p.MaxLots = 2 + covers/5
	limit := func(most float64, use func(i, c int) float64) allot.Limit {
		l := allot.Limit{Use: make([][allot.Windows][]float64, beds), Most: most}
		for i := range beds {
			for w := range allot.Windows {
				for c := range n {
					l.Use[i][w] = append(l.Use[i][w], use(i, c))
				}
			}
		}
		return l
	}
	p.Limits = append(p.Limits, limit(math.Round(2.2*total/20), func(i, c int) float64 { return cost[c] * area[i] / 20 }))
	most := 1 + rng.IntN(covers)
	p.Limits = append(p.Limits, limit(math.Round(0.15*total), func(i, c int) float64 {
		if c == most {
			return area[i]
		}
		return 0
	}))
	// The family 0 has at least a fifth of what is sown.
	p.Limits = append(p.Limits, limit(0, func(i, c int) float64 {
		switch {
		case c == 0:
			return 0
		case family[c] == 0:
			return (0.2 - 1) * area[i]
		}
		return 0.2 * area[i]
	}))
	bare := limit(-math.Ceil(float64(beds)/20), func(int, int) float64 { return 0 })
	for range beds {
		bare.Bare = append(bare.Bare, -1)
	}
	p.Limits = append(p.Limits, bare)
	return p
}

// keepApart closes what the family of the cover before forbids, and keeps apart
// the covers of a family.
func keepApart(b *allot.Bed, family []int, before int) {
	b.Apart = make([]uint64, len(family))
	for c, g := range family {
		if c == 0 {
			g = before
		} else if g == before {
			b.Value[0][c] = math.NaN()
		}
		for d := 1; d < len(family); d++ {
			if g >= 0 && family[d] == g {
				b.Apart[c] |= 1 << d
			}
		}
	}
}

// small draws a field of a few beds with a bit of everything: mixes of covers,
// closed choices, choices kept apart, limits of both signs, beds that must or
// must not be bare, and now and then rules that no plan keeps. Numbers are whole
// or tenths, so that ties and limits that are just met are common.
func small(rng *rand.Rand) allot.Problem {
	return mixed(rng, 1+rng.IntN(5), 1+rng.IntN(3))
}

// mixed is a small field of so many beds and covers.
func mixed(rng *rand.Rand, beds, covers int) allot.Problem {
	n := covers + 1
	tenths := func(from, to int) float64 { return float64(from+rng.IntN(to-from+1)) / 10 }
	var p allot.Problem
	if rng.IntN(2) == 0 {
		// The last choice is a mix of two.
		p.Lots = make([]uint64, n)
		for c := 1; c < n; c++ {
			p.Lots[c] = 1 << (c + rng.IntN(2))
		}
		p.Lots[n-1] |= 1<<1 | 1<<rng.IntN(5)
	}
	p.MaxLots = rng.IntN(n)
	for w := range allot.Windows {
		p.Together[w] = tenths(0, 10) * float64(rng.IntN(2))
	}
	for i := range beds {
		b := allot.Bed{Row: i / (1 + rng.IntN(3))}
		if rng.IntN(4) > 0 {
			b.Apart = make([]uint64, n)
			for c := range b.Apart {
				b.Apart[c] = rng.Uint64() & rng.Uint64() & (1<<n - 1)
			}
		}
		for w := range allot.Windows {
			for range n {
				v := tenths(-20, 50)
				if rng.IntN(5) == 0 {
					v = math.NaN()
				}
				b.Value[w] = append(b.Value[w], v)
			}
		}
		p.Beds = append(p.Beds, b)
	}
	for range rng.IntN(4) {
		l := allot.Limit{Use: make([][allot.Windows][]float64, beds), Most: tenths(-10, 30)}
		for i := range beds {
			for w := range allot.Windows {
				for range n {
					l.Use[i][w] = append(l.Use[i][w], float64(rng.IntN(2))*tenths(-10, 20))
				}
			}
		}
		if rng.IntN(2) == 0 {
			for range beds {
				l.Bare = append(l.Bare, tenths(-20, 10))
			}
		}
		p.Limits = append(p.Limits, l)
	}
	return p
}
