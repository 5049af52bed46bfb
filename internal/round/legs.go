package round

import (
	"math"
	"math/bits"
	"slices"
)

// deepBeds is the largest leg that is solved exactly where a choice hangs on
// it: it takes a moment.
const deepBeds = 16

// legs splits the known places of a list: those that are Last come second.
func legs(places []Place, list []int) (out [2][]int) {
	for _, p := range list {
		switch {
		case !places[p].Known:
		case places[p].Last:
			out[1] = append(out[1], p)
		default:
			out[0] = append(out[0], p)
		}
	}
	return out
}

// Legs returns the order in which to walk the known places of a list: those
// that are Last after all others. The walk is the shortest there is where
// neither leg has more than twelve places; exact reports that.
func Legs(places []Place, list []int) (order []int, metres float64, exact bool) {
	two := legs(places, list)
	if max(len(two[0]), len(two[1])) <= exactBeds {
		order, metres = shortestLegs(places, two)
		return order, metres, true
	}
	var from *Point
	for _, leg := range two {
		var at []Point
		for _, p := range leg {
			at = append(at, places[p].Point)
		}
		walk := Walk(at, from)
		metres += Length(walk, at, from)
		for _, i := range walk {
			order = append(order, leg[i])
			from = &at[i]
		}
	}
	return order, metres, false
}

// shortestLegs is the shortest open walk over two legs, one after the other
// (dynamic programming over sets: Held and Karp 1962).
func shortestLegs(places []Place, two [2][]int) (order []int, metres float64) {
	var ends []float64 // by place of the leg before
	var ways [2]sets
	for k, leg := range two {
		start := make([]float64, len(leg))
		from := make([]int, len(leg))
		for i, p := range leg {
			from[i] = -1
			for j, e := range ends {
				if d := e + places[two[0][j]].to(places[p].Point); from[i] < 0 || d < start[i] {
					start[i], from[i] = d, j
				}
			}
		}
		ways[k] = overSets(places, leg, start)
		ways[k].from = from
		if k == 0 {
			ends = ways[k].ends()
		}
	}
	last := 1
	if len(two[1]) == 0 {
		last = 0
	}
	if len(two[last]) == 0 {
		return nil, 0
	}
	metres = math.Inf(1)
	at := 0
	for i, d := range ways[last].ends() {
		if d < metres {
			metres, at = d, i
		}
	}
	for k := last; k >= 0 && at >= 0; k-- {
		first := at
		for i := range ways[k].back(at) {
			order = append(order, two[k][i])
			first = i
		}
		at = ways[k].from[first]
	}
	slices.Reverse(order)
	return order, metres
}

// manyStarts is the shortest of the improved walks of two legs that begin at
// each place or, walked back, come from each way over the last leg.
func manyStarts(places []Place, two [2][]int) (order []int, metres float64) {
	metres = math.Inf(1)
	at := make([]Point, len(two[0]))
	for i, p := range two[0] {
		at[i] = places[p].Point
	}
	take := func(way []int, long float64, rest []int) {
		if long >= metres-gain {
			return
		}
		order, metres = nil, long
		for _, i := range way {
			order = append(order, two[0][i])
		}
		order = append(order, rest...)
	}
	switch {
	case len(two[1]) == 0:
		for i := range at {
			way := improve(nearest(at, &at[i]), at, nil)
			take(way, Length(way, at, nil), nil)
		}
	case len(two[1]) <= exactBeds:
		last := overSets(places, two[1], make([]float64, len(two[1])))
		for j, d := range last.ends() {
			var rest []int
			for i := range last.back(j) {
				rest = append(rest, two[1][i])
			}
			from := &places[two[1][j]].Point
			for i := range at {
				way := improve(nearest(at, &at[i]), at, from)
				long := d + Length(way, at, from)
				slices.Reverse(way)
				take(way, long, rest)
			}
		}
	}
	return order, metres
}

// sets are the shortest ways over each set of the places of a leg that end at
// each of them.
type sets struct {
	n    int
	best []float64
	prev []int8
	from []int // by first place: the place of the leg before
}

func overSets(places []Place, leg []int, start []float64) sets {
	n := len(leg)
	s := sets{n: n, best: make([]float64, n<<n), prev: make([]int8, n<<n)}
	for set := 1; set < 1<<n; set++ {
		for left := set; left != 0; left &= left - 1 {
			last := bits.TrailingZeros(uint(left))
			rest, at := set&^(1<<last), set*n+last
			s.best[at], s.prev[at] = math.Inf(1), -1
			if rest == 0 {
				s.best[at] = start[last]
			}
			for r := rest; r != 0; r &= r - 1 {
				k := bits.TrailingZeros(uint(r))
				if d := s.best[rest*n+k] + places[leg[k]].to(places[leg[last]].Point); d < s.best[at] {
					s.best[at], s.prev[at] = d, int8(k)
				}
			}
		}
	}
	return s
}

// ends are the ways over all places, by the one they end at.
func (s sets) ends() []float64 {
	if s.n == 0 {
		return nil
	}
	return s.best[(1<<s.n-1)*s.n:]
}

// back goes from the last place to the first.
func (s sets) back(at int) func(func(int) bool) {
	return func(yield func(int) bool) {
		for set := 1<<s.n - 1; at >= 0; {
			before := int(s.prev[set*s.n+at])
			if !yield(at) {
				return
			}
			set, at = set&^(1<<at), before
		}
	}
}

// tree is a time that no walk over the places in is below: the shortest trees
// over the two legs and the shortest way between them.
func (s *search) tree() float64 {
	list, key := s.chosen()
	t, ok := s.trees[key]
	if !ok {
		t = s.below(list, func(at []Point) float64 {
			sum, _ := spanning(at, make([]float64, len(at)))
			return sum
		})
		s.trees[key] = t
	}
	return t
}

// below adds up a bound of each leg and the shortest way between them.
func (s *search) below(list []int, bound func([]Point) float64) float64 {
	var at [2][]Point
	for k, leg := range legs(s.places, list) {
		for _, p := range leg {
			at[k] = append(at[k], s.places[p].Point)
		}
	}
	cross := math.Inf(1)
	for _, a := range at[0] {
		for _, b := range at[1] {
			cross = math.Min(cross, a.to(b))
		}
	}
	if math.IsInf(cross, 1) {
		cross = 0
	}
	return (bound(at[0]) + cross + bound(at[1])) / s.speed
}

// spanning is the length of the shortest tree over points where each point
// adds its price to its edges, and how many edges each has (Prim 1957).
func spanning(at []Point, price []float64) (sum float64, degree []int) {
	n := len(at)
	degree = make([]int, n)
	near, via, done := make([]float64, n), make([]int, n), make([]bool, n)
	for i := range near {
		near[i] = math.Inf(1)
	}
	for range n {
		next := -1
		for i := range n {
			if !done[i] && (next < 0 || near[i] < near[next]) {
				next = i
			}
		}
		if done[next] = true; !math.IsInf(near[next], 1) {
			sum += near[next]
			degree[next]++
			degree[via[next]]++
		}
		for i := range n {
			if d := at[next].to(at[i]) + price[next] + price[i]; !done[i] && d < near[i] {
				near[i], via[i] = d, next
			}
		}
	}
	return sum, degree
}

// ascent is a closer time that no walk over the places in is below: of each
// leg the shortest tree with prices that push its forks apart (Held and Karp 1970).
// Every walk has two edges at each place but its two ends, so the tree's
// length less twice the prices, with the two smallest prices given back, holds
// for every walk.
func (s *search) ascent() float64 {
	list, _ := s.chosen()
	two := legs(s.places, list)
	if len(two[0]) == 0 || len(two[1]) > exactBeds {
		return s.below(list, func(at []Point) float64 { return pressed(at, make([]float64, len(at))) })
	}
	at := make([]Point, len(two[0]))
	after := make([]float64, len(at)) // of the last leg, by the place that comes before it
	last := overSets(s.places, two[1], make([]float64, len(two[1]))).ends()
	for i, p := range two[0] {
		at[i] = s.places[p].Point
		for j, d := range last { // a way that ends there begins there, walked back
			if d += at[i].to(s.places[two[1][j]].Point); j == 0 || d < after[i] {
				after[i] = d
			}
		}
	}
	return pressed(at, after) / s.speed
}

// pressed is the bound for one leg; after is what follows it, by its last
// place.
func pressed(at []Point, after []float64) float64 {
	if len(at) < 2 {
		sum := 0.0
		for _, d := range after {
			sum += d
		}
		return sum
	}
	price := make([]float64, len(at))
	best, step := 0.0, 0.0
	for round := range 250 {
		sum, degree := spanning(at, price)
		if round == 0 {
			step = sum / float64(2*len(at))
		}
		for _, v := range price {
			sum -= 2 * v
		}
		// The two ends of the walk are taken where they are cheapest.
		first, last := -1, -1
		for i := range at {
			for j := range at {
				if i != j && (first < 0 || price[i]+price[j]+after[j] < price[first]+price[last]+after[last]) {
					first, last = i, j
				}
			}
		}
		sum += price[first] + price[last] + after[last]
		degree[first]++
		degree[last]++
		best = math.Max(best, sum)
		for i, d := range degree {
			price[i] += step * float64(d-2)
		}
		step *= 0.98
	}
	return best
}
