package companion

import "slices"

// mostNodes bounds the search of leastCover; beyond it the best found so far
// is given and not called the least.
const mostNodes = 5_000

// leastCover returns the fewest sets that hold all of 0..n-1 together, as
// indices in growing order, and whether it is proven that fewer will not do.
// nil when even all sets leave something out. Among as few, those with the
// lowest indices the search meets first.
func leastCover(n int, sets [][]int) (chosen []int, proven bool) {
	if n == 0 {
		return nil, true
	}
	in := make([][]uint64, len(sets))
	words := (n + 63) / 64
	all := make([]uint64, words)
	for i, s := range sets {
		in[i] = make([]uint64, words)
		for _, e := range s {
			in[i][e/64] |= 1 << (e % 64)
			all[e/64] |= 1 << (e % 64)
		}
	}
	for e := range n {
		if all[e/64]>>(e%64)&1 == 0 {
			return nil, false
		}
	}
	keep := undominated(in)
	holds := make([][]uint64, n) // by element, the sets that hold it, complemented
	for e := range n {
		holds[e] = make([]uint64, (len(keep)+63)/64)
		for k, i := range keep {
			if in[i][e/64]>>(e%64)&1 == 0 {
				holds[e][k/64] |= 1 << (k % 64)
			}
		}
	}
	// An element is covered with any other that lies in no set without it, so
	// only those that the fewest sets hold are asked for.
	asked := undominated(holds)
	holders := make([][]int, n)
	for _, e := range asked {
		for _, i := range keep {
			if in[i][e/64]>>(e%64)&1 == 1 {
				holders[e] = append(holders[e], i)
			}
		}
	}
	s := search{asked: asked, in: in, keep: keep, holders: holders}
	s.best = s.greedy()
	s.run(make([]uint64, words), nil)
	slices.Sort(s.best)
	return s.best, s.nodes <= mostNodes
}

// undominated leaves out sets that lie inside another (of equal ones the later).
func undominated(in [][]uint64) []int {
	var out []int
	for i := range in {
		lost := false
		for j := range in {
			if i != j && within(in[i], in[j]) && (j < i || !within(in[j], in[i])) {
				lost = true
				break
			}
		}
		if !lost {
			out = append(out, i)
		}
	}
	return out
}

func within(a, b []uint64) bool {
	for i := range a {
		if a[i]&^b[i] != 0 {
			return false
		}
	}
	return true
}

type search struct {
	asked   []int
	in      [][]uint64
	keep    []int
	holders [][]int
	best    []int
	nodes   int
}

func (s *search) greedy() []int {
	have := make([]uint64, len(s.in[0]))
	var out []int
	for {
		best, most := -1, 0
		for _, i := range s.keep {
			if c := fresh(s.in[i], have); c > most {
				best, most = i, c
			}
		}
		if best < 0 {
			return out
		}
		out = append(out, best)
		have = union(have, s.in[best])
	}
}

// run tries, for the missing element that the fewest sets hold, each of them.
func (s *search) run(have []uint64, chosen []int) {
	if s.nodes++; s.nodes > mostNodes {
		return
	}
	pick, apart := s.missing(have)
	if pick < 0 {
		if len(chosen) < len(s.best) {
			s.best = slices.Clone(chosen)
		}
		return
	}
	if len(chosen)+apart >= len(s.best) {
		return
	}
	order := slices.Clone(s.holders[pick])
	slices.SortStableFunc(order, func(a, b int) int { return fresh(s.in[b], have) - fresh(s.in[a], have) })
	for _, i := range order {
		s.run(union(have, s.in[i]), append(slices.Clip(chosen), i))
	}
}

// missing returns the uncovered element that the fewest sets hold, -1 for none,
// and a number of uncovered elements no two of which one set holds: so many
// sets are needed at least.
func (s *search) missing(have []uint64) (pick, apart int) {
	pick = -1
	taken := make([]bool, len(s.in))
	for _, e := range s.asked {
		if have[e/64]>>(e%64)&1 == 1 {
			continue
		}
		if pick < 0 || len(s.holders[e]) < len(s.holders[pick]) {
			pick = e
		}
		if !slices.ContainsFunc(s.holders[e], func(i int) bool { return taken[i] }) {
			apart++
			for _, i := range s.holders[e] {
				taken[i] = true
			}
		}
	}
	return pick, apart
}

func union(a, b []uint64) []uint64 {
	out := make([]uint64, len(a))
	for i := range a {
		out[i] = a[i] | b[i]
	}
	return out
}

func fresh(set, have []uint64) int {
	n := 0
	for i := range set {
		for w := set[i] &^ have[i]; w != 0; w &= w - 1 {
			n++
		}
	}
	return n
}
