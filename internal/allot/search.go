package allot

import (
	"cmp"
	"container/heap"
	"context"
	"math"
	"math/bits"
	"runtime"
	"slices"
	"sync"
)

// together is how many nodes are visited at a time. It does not depend on the
// machine, so that the search is the same on any.
const atOnce = 4

// search is a branch and bound by the highest bound. The nodes of a round are
// visited at the same time, each with the best plan as it was when the round
// began, and what they found is put together in their order: so the same
// problem takes the same way however many processors there are.
type search struct {
	ctx     context.Context
	f       *field
	workers []*worker
	root    *node // with the best prices of the whole problem
	open    queue
	born    int
	found   [][Windows]int
	value   float64
	spent   effort
	most    effort
	tried   map[uint64]bool // sets of lots
	aside   []*node
}

func newSearch(ctx context.Context, f *field, o Options) *search {
	s := &search{ctx: ctx, f: f, value: math.Inf(-1), most: effort{o.Nodes, 1_000_000 * o.Work}, tried: map[uint64]bool{}}
	if s.most.nodes <= 0 {
		s.most.nodes = 1_000_000
	}
	if s.most.work <= 0 {
		s.most.work = math.MaxInt
	}
	for range min(atOnce, max(runtime.GOMAXPROCS(0), 1)) {
		s.workers = append(s.workers, newWorker(ctx, f))
	}
	return s
}

// effort is what a search takes.
type effort struct{ nodes, work int }

// over reports whether the search has to end.
func (s *search) over() bool {
	return s.spent.nodes >= s.most.nodes || s.spent.work >= s.most.work || s.ctx.Err() != nil || s.f.any && s.found != nil
}

// queue is a heap of nodes, the highest bound first and then the oldest.
type queue []*node

func (q queue) Len() int { return len(q) }
func (q queue) Less(i, j int) bool {
	if q[i].bound != q[j].bound {
		return q[i].bound > q[j].bound
	}
	return q[i].born < q[j].born
}
func (q queue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(x any)   { *q = append(*q, x.(*node)) }
func (q *queue) Pop() any {
	last := len(*q) - 1
	x := (*q)[last]
	*q = (*q)[:last]
	return x
}

func (s *search) push(n *node) {
	s.born++
	n.born = s.born
	heap.Push(&s.open, n)
}

// offer keeps a plan that is better than the best.
func (s *search) offer(pick [][Windows]int, value float64) {
	if pick != nil && value > s.value {
		s.found, s.value = pick, value
	}
}

// bound is a value that no plan exceeds.
func (s *search) bound() float64 {
	b := s.value
	for _, n := range s.open {
		b = max(b, n.bound)
	}
	return b
}

// fits reports whether a plan has a choice for each bed that the problem knows.
func (f *field) fits(pick [][Windows]int) bool {
	if len(pick) != f.beds {
		return false
	}
	for _, p := range pick {
		for _, c := range p {
			if c < 0 || c >= f.choices {
				return false
			}
		}
	}
	return true
}

// warm starts from the choices of another plan, as far as they are open here.
func (s *search) warm(pick [][Windows]int) {
	f := s.f
	if !f.fits(pick) {
		return
	}
	if f.keeps(pick) {
		s.offer(append([][Windows]int(nil), pick...), f.worth(pick))
		return
	}
	start := append([][Windows]int(nil), pick...)
	lots := uint64(0)
	for i, p := range pick {
		if f.next[i*f.choices+p[0]]>>p[1]&1 == 0 {
			start[i] = [Windows]int{}
		}
		lots |= f.lotsOf[start[i][0]] | f.lotsOf[start[i][1]]
	}
	n := f.root()
	if f.MaxLots > 0 && bits.OnesCount64(lots) > f.MaxLots {
		return
	}
	if f.MaxLots > 0 {
		f.only(n, lots)
	}
	w := s.workers[0]
	for i, p := range start {
		if f.next[i*f.choices+p[0]]>>p[1]&1 == 0 {
			return
		}
	}
	w.guess(n.open, start)
	s.offer(w.found, w.value)
}

// begin visits the root.
func (s *search) begin() {
	s.root = s.f.root()
	w := s.workers[0]
	w.found, w.value = s.found, s.value
	s.root.first = true
	s.push(s.root.child())
	s.round()
	for len(s.aside) > 0 && !s.over() {
		var batch []*visited
		for len(batch) < atOnce && len(s.aside) > 0 {
			batch = append(batch, &visited{node: s.aside[0]})
			s.aside = s.aside[1:]
		}
		s.visit(batch, (*worker).glance)
	}
}

// run searches until nothing is open, or the nodes or the time are used up.
func (s *search) run() {
	for len(s.open) > 0 && !s.over() {
		s.round()
	}
}

// visited is what came of a node.
type visited struct {
	node     *node
	found    [][Windows]int
	value    float64
	children []*node
	aside    []*node // not needed for the proof: nodes to look for plans in
	tried    []uint64
	work     int
	cut      bool  // it was left before its time
	whole    *node // as it was before anything was closed, if it is the whole problem
}

// round visits the most promising nodes.
func (s *search) round() {
	var batch []*visited
	for len(batch) < atOnce && len(s.open) > 0 {
		n := heap.Pop(&s.open).(*node)
		if n.bound > s.value+proof {
			batch = append(batch, &visited{node: n})
		}
	}
	s.visit(batch, (*worker).visit)
	for _, v := range batch {
		if v.node.first {
			s.root = v.whole
			s.aside = v.aside
		}
		if v.cut {
			s.push(v.node)
			continue
		}
		for _, n := range v.children {
			if n.bound > s.value+proof {
				s.push(n)
			}
		}
	}
}

// visit does its part for each node of a batch.
func (s *search) visit(batch []*visited, do func(*worker, *visited, map[uint64]bool)) {
	s.spent.nodes += len(batch)
	allowed := s.most.work - s.spent.work
	if len(batch) > 1 {
		allowed /= 2
	}
	var wait sync.WaitGroup
	jobs := make(chan *visited, len(batch))
	for _, v := range batch {
		jobs <- v
	}
	close(jobs)
	for _, w := range s.workers[:min(len(batch), len(s.workers))] {
		wait.Go(func() {
			for v := range jobs {
				w.found, w.value = nil, s.value
				w.work, w.allowed = 0, allowed
				do(w, v, s.tried)
				v.found, v.value = w.found, w.value
				v.work, v.cut = w.work, w.over()
			}
		})
	}
	wait.Wait()
	for _, v := range batch {
		s.offer(v.found, v.value)
		s.spent.work += v.work
		if v.cut {
			s.spent.work = max(s.spent.work, s.most.work)
		}
		for _, t := range v.tried {
			s.tried[t] = true
		}
	}
}

// visit lowers the bound of a node, looks for plans in it, and splits it where
// something is left open.
func (w *worker) visit(v *visited, tried map[uint64]bool) {
	f, n := w.f, v.node
	steps := 50
	if !f.scarce(n) {
		steps = 150
	}
	if n.first {
		steps = 400
	}
	for range 3 {
		w.descend(n, steps)
		if n.first && v.whole == nil {
			v.whole = n.child()
		}
		if w.settled(n.bound) || w.over() {
			return
		}
		scarce := f.scarce(n)
		if scarce {
			if set := w.likely(n); !tried[set] {
				v.tried = append(v.tried, set)
				keep := w.means()
				w.try(n, set)
				w.restore(keep)
			}
		} else {
			w.guess(n.open, w.k.pick)
			if w.count(n) {
				return
			}
		}
		if w.settled(n.bound) || w.over() {
			return
		}
		if !w.shut(n) {
			break
		}
		steps = 15
	}
	if w.settled(n.bound) || w.over() {
		return
	}
	if f.scarce(n) {
		v.children = w.splitLots(n)
		if n.first {
			v.aside = w.swaps(n, tried)
		}
	} else {
		v.children = w.splitChoice(n)
	}
}

// try looks for good plans with the lots of a set alone.
func (w *worker) try(n *node, lots uint64) {
	with := n.child()
	w.f.only(with, lots)
	w.glance(&visited{node: with}, nil)
}

// glance looks for good plans in a node whose lots no longer bind.
func (w *worker) glance(v *visited, _ map[uint64]bool) {
	n := v.node
	w.descend(n, 300)
	if w.settled(n.bound) || math.IsInf(n.bound, -1) {
		return
	}
	w.guess(n.open, w.k.pick)
	w.count(n)
}

// swaps are the sets next to the likely one, with one lot for another where the
// means are in doubt: the more likely ones first.
func (w *worker) swaps(n *node, tried map[uint64]bool) []*node {
	const most = 12
	set := w.likely(n)
	type swap struct {
		set    uint64
		likely float64
	}
	var all []swap
	for out := set &^ n.in; out != 0; out &= out - 1 {
		x := bits.TrailingZeros64(out)
		for in := w.f.openLots(n) &^ set; in != 0; in &= in - 1 {
			y := bits.TrailingZeros64(in)
			if s := set&^(1<<x) | 1<<y; w.oftenIn[x] < 0.99 && w.oftenIn[y] > 0.01 && !tried[s] {
				all = append(all, swap{s, w.oftenIn[y] - w.oftenIn[x]})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b swap) int { return cmp.Compare(b.likely, a.likely) })
	var out []*node
	for _, s := range all[:min(len(all), most)] {
		with := n.child()
		w.f.only(with, s.set)
		out = append(out, with)
	}
	return out
}

// likely are the lots that the mean picks use most.
func (w *worker) likely(n *node) uint64 {
	set := n.in
	for bits.OnesCount64(set) < w.f.MaxLots {
		best := -1
		for m := w.f.openLots(n) &^ set; m != 0; m &= m - 1 {
			if l := bits.TrailingZeros64(m); best < 0 || w.oftenIn[l] > w.oftenIn[best] {
				best = l
			}
		}
		if best < 0 {
			break
		}
		set |= 1 << best
	}
	return set
}

// splitLots splits a node by the lot whose mean is the least decided.
func (w *worker) splitLots(n *node) []*node {
	f := w.f
	lot, best := -1, math.Inf(-1)
	for m := f.openLots(n) &^ n.in; m != 0; m &= m - 1 {
		l := bits.TrailingZeros64(m)
		if v := -math.Abs(w.oftenIn[l] - 0.5); v > best {
			lot, best = l, v
		}
	}
	in, out := n.child(), n.child()
	f.take(in, lot)
	f.full(in)
	f.only(out, ^uint64(1<<lot))
	in.first, out.first = false, false
	return []*node{in, out}
}

// splitChoice splits a node by the choice whose mean is the least decided.
func (w *worker) splitChoice(n *node) []*node {
	c := w.f.choices
	window, bed, choice, best := -1, 0, 0, math.Inf(1)
	for v := range Windows {
		for i, m := range n.open[v] {
			if m&(m-1) == 0 {
				continue
			}
			for ; m != 0; m &= m - 1 {
				x := bits.TrailingZeros64(m)
				if d := math.Abs(w.often[(i*Windows+v)*c+x] - 0.5); d < best {
					window, bed, choice, best = v, i, x, d
				}
			}
		}
	}
	if window < 0 {
		return nil // a single plan, and it was looked at
	}
	with, without := n.child(), n.child()
	with.open[window][bed] = 1 << choice
	without.open[window][bed] &^= 1 << choice
	with.first, without.first = false, false
	return []*node{with, without}
}
