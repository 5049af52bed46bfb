package round

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
)

// exactBeds is the largest number of beds whose walk is solved exactly.
const exactBeds = 12

// Point is a place on the bed map in metres.
type Point struct{ X, Y float64 }

func (p Point) to(q Point) float64 { return math.Hypot(p.X-q.X, p.Y-q.Y) }

// Walk returns the order in which to visit the places on an open walk: it
// begins at from, or at any place where from is nil, and ends anywhere. Up to
// twelve places the walk is the shortest there is (dynamic programming over
// sets: Held and Karp 1962); beyond that it is nearest neighbour, then 2-opt
// and or-opt until neither helps. The same places give the same walk.
func Walk(places []Point, from *Point) []int {
	switch n := len(places); {
	case n == 0:
		return nil
	case n <= exactBeds:
		return exact(places, from)
	}
	return improve(nearest(places, from), places, from)
}

// Length is the metres of a walk in the given order.
func Length(order []int, places []Point, from *Point) float64 {
	sum := 0.0
	for i, at := range order {
		switch {
		case i > 0:
			sum += places[order[i-1]].to(places[at])
		case from != nil:
			sum += from.to(places[at])
		}
	}
	return sum
}

func exact(places []Point, from *Point) []int {
	n := len(places)
	best := make([][]float64, 1<<n) // best[set][last]
	prev := make([][]int, 1<<n)
	for set := 1; set < 1<<n; set++ {
		best[set], prev[set] = make([]float64, n), make([]int, n)
		for last := range n {
			best[set][last], prev[set][last] = math.Inf(1), -1
			rest := set &^ (1 << last)
			switch {
			case set&(1<<last) == 0:
				continue
			case rest == 0 && from != nil:
				best[set][last] = from.to(places[last])
			case rest == 0:
				best[set][last] = 0
			}
			for left := rest; left != 0; left &= left - 1 {
				k := bits.TrailingZeros(uint(left))
				if d := best[rest][k] + places[k].to(places[last]); d < best[set][last] {
					best[set][last], prev[set][last] = d, k
				}
			}
		}
	}
	set, last := 1<<n-1, 0
	for k := range n {
		if best[set][k] < best[set][last] {
			last = k
		}
	}
	order := make([]int, 0, n)
	for last >= 0 {
		order = append(order, last)
		set, last = set&^(1<<last), prev[set][last]
	}
	slices.Reverse(order)
	return order
}

// nearest goes from place to the nearest place not yet seen. Without a start
// it begins at the place furthest to the west, then south.
func nearest(places []Point, from *Point) []int {
	n := len(places)
	seen := make([]bool, n)
	order := make([]int, 0, n)
	var at Point
	if from != nil {
		at = *from
	} else {
		at = slices.MinFunc(places, func(p, q Point) int { return cmp.Or(cmp.Compare(p.X, q.X), cmp.Compare(p.Y, q.Y)) })
	}
	for range n {
		next := -1
		for k := range n {
			if !seen[k] && (next < 0 || at.to(places[k]) < at.to(places[next])) {
				next = k
			}
		}
		seen[next], at = true, places[next]
		order = append(order, next)
	}
	return order
}

// gain is the least saving that counts, so that rounding cannot turn the
// search in circles.
const gain = 1e-9

// improve turns stretches of the walk round and moves runs of up to three
// places elsewhere, for as long as that shortens it.
func improve(order []int, places []Point, from *Point) []int {
	n := len(order)
	// hop is the way between the places at two positions; the ends cost nothing.
	hop := func(i, j int) float64 {
		switch {
		case j >= n || i < 0 && from == nil:
			return 0
		case i < 0:
			return from.to(places[order[j]])
		}
		return places[order[i]].to(places[order[j]])
	}
	for better := true; better; {
		better = false
		for i := 0; i < n; i++ {
			for j := i + 1; j < n; j++ {
				if hop(i-1, i)+hop(j, j+1)-hop(i-1, j)-hop(i, j+1) > gain {
					slices.Reverse(order[i : j+1])
					better = true
				}
			}
		}
		for run := 1; run <= 3; run++ {
			for i := 0; i+run <= n; i++ {
				out := hop(i-1, i) + hop(i+run-1, i+run)
				if i > 0 || from != nil {
					if i+run < n {
						out -= hop(i-1, i+run)
					}
				}
				for to := -1; to < n; to++ { // the run goes behind position to
					if to >= i-1 && to < i+run {
						continue
					}
					in := hop(to, i) + hop(i+run-1, to+1) - hop(to, to+1)
					if to+1 >= n {
						in = hop(to, i)
					}
					if out-in > gain {
						move(order, i, run, to)
						better = true
						break
					}
				}
			}
		}
	}
	return order
}

// move puts the run that begins at i behind position to.
func move(order []int, i, run, to int) {
	part := slices.Clone(order[i : i+run])
	if to < i {
		copy(order[to+1+run:i+run], order[to+1:i])
		copy(order[to+1:], part)
		return
	}
	copy(order[i:], order[i+run:to+1])
	copy(order[to+1-run:], part)
}
