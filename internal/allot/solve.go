package allot

import (
	"context"
	"math"
	"math/bits"
	"slices"
)

// Options of Solve. The zero value is ready.
type Options struct {
	Nodes int // most nodes of the search; 0: a million
}

// Solve returns the plan with the highest value under the rules. When the
// context ends first it returns the best plan found with what is proved of it;
// no error is given where there is one.
//
// Method: the limits and the number of lots are priced (Lagrangian relaxation);
// what is left falls into one dynamic programme along each row. A lot's price is
// what the beds would gain beyond their own price, as for the p-median problem.
// Prices fall by subgradient steps. Choices that no better plan can hold are
// closed; what remains is counted out where it is little, and else branched on.
//
// Errors: ErrDomain; ErrImpossible where no plan keeps all rules; the context's.
func Solve(ctx context.Context, p Problem, o Options) (Plan, error) {
	if err := p.check(); err != nil {
		return Plan{}, err
	}
	s := newSearch(ctx, p.field())
	if s.most = o.Nodes; s.most <= 0 {
		s.most = 1_000_000
	}
	s.branch(s.root())
	if s.found == nil {
		if err := ctx.Err(); err != nil {
			return Plan{}, err
		}
		if s.cut {
			return Plan{}, context.DeadlineExceeded
		}
		return Plan{}, ErrImpossible
	}
	plan := Plan{Choice: s.found, Value: s.value, Bound: s.value, Proved: true, Nodes: s.nodes}
	if s.cut {
		plan.Bound = max(s.value, s.leftOpen)
		plan.Proved = plan.Bound <= s.value+s.close()
	}
	return plan, nil
}

// node is a part of the plans: those that keep to what is open, with the
// covers in and without those out.
type node struct {
	open    open
	in, out uint64
	price   []float64          // of each limit, 0 or more
	own     [Windows][]float64 // price of each bed and window for a cover whose lot is not in
	bound   float64
}

func (n *node) child() *node {
	c := &node{open: n.open.clone(), in: n.in, out: n.out, price: slices.Clone(n.price), bound: n.bound}
	for w := range Windows {
		c.own[w] = slices.Clone(n.own[w])
	}
	return c
}

type search struct {
	ctx      context.Context
	f        *field
	k        *chain
	found    [][Windows]int
	value    float64
	nodes    int
	most     int
	cut      bool // some part was left unsearched
	leftOpen float64

	// Of the last prices: gain beyond the bed's own, by cover; how often each
	// choice and lot was picked lately.
	beyond   []float64
	often    [Windows][]float64
	oftenIn  []float64
	slope    []float64
	slopeOwn [Windows][]float64
	tried    map[uint64]int
}

func newSearch(ctx context.Context, f *field) *search {
	s := &search{ctx: ctx, f: f, k: newChain(f), value: math.Inf(-1), leftOpen: math.Inf(-1),
		beyond: make([]float64, f.choices), oftenIn: make([]float64, f.choices), slope: make([]float64, len(f.Limits))}
	for w := range Windows {
		s.often[w] = make([]float64, f.beds*f.choices)
		s.slopeOwn[w] = make([]float64, f.beds)
	}
	return s
}

// close is how near the bound must come for a proof.
func (s *search) close() float64 { return 1e-9 * (1 + math.Abs(s.value)) }

func (s *search) root() *node {
	f := s.f
	n := &node{open: f.allOpen(), price: make([]float64, len(f.Limits)), bound: math.Inf(1)}
	for w := range Windows {
		n.own[w] = make([]float64, f.beds)
		for i := range f.beds {
			top := 0.0
			for c := 1; c < f.choices; c++ {
				if v := f.value[w][i*f.choices+c]; v > top {
					top = v
				}
			}
			n.own[w][i] = top
		}
	}
	return n
}

// covers are the covers that are open anywhere in the node.
func (n *node) covers() uint64 {
	var all uint64
	for w := range Windows {
		for _, m := range n.open[w] {
			all |= m
		}
	}
	return all &^ (1 << None)
}

// scarce reports whether the number of lots still binds.
func (s *search) scarce(n *node) bool {
	return s.f.MaxLots > 0 && bits.OnesCount64(n.covers()|n.in) > s.f.MaxLots
}

// relax prices the node and returns its bound. top are the lots that the bound
// takes besides those that are in.
func (s *search) relax(n *node, scarce bool) (bound float64, top uint64) {
	f, k := s.f, s.k
	c := f.choices
	for j, p := range n.price {
		bound += p * f.Limits[j].Most
	}
	for w := range Windows {
		gain := k.gain[w]
		copy(gain, f.value[w])
		for j, p := range n.price {
			if p == 0 {
				continue
			}
			for x, u := range f.use[j][w] {
				gain[x] -= p * u
			}
		}
	}
	for i := range k.bare {
		k.bare[i] = 0
		for j, p := range n.price {
			k.bare[i] += p * f.bare[j][i]
		}
	}
	clear(s.beyond)
	if scarce {
		for w := range Windows {
			for i := range f.beds {
				own := n.own[w][i]
				for m := n.open[w][i] &^ (1<<None | n.in); m != 0; m &= m - 1 {
					x := bits.TrailingZeros64(m)
					if g := k.gain[w][i*c+x]; g > own {
						s.beyond[x] += g - own
						k.gain[w][i*c+x] = own
					}
				}
			}
		}
		free := f.MaxLots - bits.OnesCount64(n.in)
		may := n.covers() &^ n.in
		for ; free > 0 && may != 0; free-- {
			best := -1
			for m := may; m != 0; m &= m - 1 {
				if x := bits.TrailingZeros64(m); best < 0 || s.beyond[x] > s.beyond[best] {
					best = x
				}
			}
			may &^= 1 << best
			top |= 1 << best
			bound += s.beyond[best]
		}
	}
	return bound + k.run(n.open), top
}

// descend lowers the bound of a node by so many steps.
func (s *search) descend(n *node, steps int) {
	f, k := s.f, s.k
	c := f.choices
	scarce := s.scarce(n)
	best := *n.child()
	best.bound = math.Inf(1)
	theta, idle := 1.2, 0
	for step := range steps {
		bound, top := s.relax(n, scarce)
		if math.IsInf(bound, -1) {
			n.bound = bound
			return
		}
		if bound < best.bound-1e-12*math.Abs(bound) {
			best.bound, idle = bound, 0
			copy(best.price, n.price)
			for w := range Windows {
				copy(best.own[w], n.own[w])
			}
		} else if idle++; idle > 6 {
			theta, idle = theta*0.6, 0
		}
		for w := range Windows {
			for x := range s.often[w] {
				s.often[w][x] *= 0.93
			}
			for i, p := range k.pick {
				s.often[w][i*c+p[w]] += 0.07
			}
		}
		for x := range s.oftenIn {
			s.oftenIn[x] *= 0.93
			if top>>x&1 != 0 {
				s.oftenIn[x] += 0.07
			}
		}
		if best.bound <= s.value+s.close() {
			break
		}
		if step%8 == 0 || step == steps-1 {
			s.guess(n, n.in|top, scarce)
			if scarce {
				bound, top = s.relax(n, scarce)
			}
		}
		norm := s.slopes(n, top, scarce)
		if norm < 1e-18 {
			break
		}
		target := s.value
		if math.IsInf(target, -1) || target > bound {
			target = bound - 0.02*(1+math.Abs(bound))
		}
		t := theta * (bound - target) / norm
		if theta < 1e-3 {
			break
		}
		for j := range n.price {
			n.price[j] = max(n.price[j]-t*s.slope[j], 0)
		}
		if scarce {
			for w := range Windows {
				for i := range n.own[w] {
					n.own[w][i] -= t * s.slopeOwn[w][i]
				}
			}
		}
	}
	n.bound = min(n.bound, best.bound)
	n.price, n.own = best.price, best.own
}

// slopes sets how the bound changes with each price, and returns the square of
// their length.
func (s *search) slopes(n *node, top uint64, scarce bool) float64 {
	f, k := s.f, s.k
	c := f.choices
	for j := range s.slope {
		s.slope[j] = f.Limits[j].Most
	}
	for w := range Windows {
		clear(s.slopeOwn[w])
	}
	add := func(w, i, x int) {
		for j := range s.slope {
			s.slope[j] -= f.use[j][w][i*c+x]
		}
	}
	for i, p := range k.pick {
		for w, x := range p {
			if scarce && x != None && n.in>>x&1 == 0 && s.beyondOwn(n, w, i, x) {
				s.slopeOwn[w][i]++
				continue
			}
			add(w, i, x)
		}
		if p[0]|p[1] == None {
			for j := range s.slope {
				s.slope[j] -= f.bare[j][i]
			}
		}
	}
	if scarce {
		for w := range Windows {
			for i := range f.beds {
				for m := n.open[w][i] & top; m != 0; m &= m - 1 {
					if x := bits.TrailingZeros64(m); s.beyondOwn(n, w, i, x) {
						s.slopeOwn[w][i]--
						add(w, i, x)
					}
				}
			}
		}
	}
	norm := 0.0
	for j, v := range s.slope {
		if n.price[j] == 0 && v > 0 {
			s.slope[j] = 0
			continue
		}
		norm += v * v
	}
	for w := range Windows {
		for _, v := range s.slopeOwn[w] {
			norm += v * v
		}
	}
	return norm
}

// beyondOwn reports whether a choice gains more than the bed's own price: relax
// has cut its gain down to that.
func (s *search) beyondOwn(n *node, w, i, x int) bool {
	g := s.f.value[w][i*s.f.choices+x]
	for j, p := range n.price {
		g -= p * s.f.use[j][w][i*s.f.choices+x]
	}
	return g > n.own[w][i]
}

// guess makes a plan from the prices with the lots of a set, mends it to keep the
// limits, and betters it bed by bed.
func (s *search) guess(n *node, lots uint64, scarce bool) {
	o := n.open
	if scarce {
		o = n.open.clone()
		for w := range Windows {
			for i := range o[w] {
				o[w][i] &= lots | 1<<None
			}
		}
		keep := n.in
		n.in |= lots
		s.relax(n, true)
		n.in = keep
		if math.IsInf(s.k.run(o), -1) {
			return
		}
	}
	pick := slices.Clone(s.k.pick)
	left := make([]float64, len(s.f.Limits))
	for k := range left {
		left[k] = s.f.Limits[k].Most
		for i, p := range pick {
			left[k] -= s.f.used(k, i, p[0], p[1])
		}
	}
	if s.mend(o, pick, left) {
		s.better(o, pick, left)
		s.take(pick)
	}
}

// take keeps a plan that is better than the best.
func (s *search) take(pick [][Windows]int) {
	if v := s.f.worth(pick); v > s.value+1e-12*(1+math.Abs(v)) {
		s.value, s.found = v, slices.Clone(pick)
	}
}

const over = -1e-9 // of a limit: rounding

// change is what a bed's new choices add, its neighbours where they are.
func (s *search) change(pick [][Windows]int, i, c, d int) float64 {
	f := s.f
	p := pick[i]
	v := f.value[0][i*f.choices+c] + f.value[1][i*f.choices+d] - f.value[0][i*f.choices+p[0]] - f.value[1][i*f.choices+p[1]]
	if f.together {
		if i > 0 && !f.last[i-1] {
			q := pick[i-1]
			v += f.bonus(q[0], q[1], c, d) - f.bonus(q[0], q[1], p[0], p[1])
		}
		if !f.last[i] {
			q := pick[i+1]
			v += f.bonus(q[0], q[1], c, d) - f.bonus(q[0], q[1], p[0], p[1])
		}
	}
	return v
}

// each calls do for every pair of choices that is open in a bed.
func (s *search) each(o open, i int, do func(c, d int)) {
	for m := o[0][i]; m != 0; m &= m - 1 {
		c := bits.TrailingZeros64(m)
		for q := o[1][i] & s.f.next[i*s.f.choices+c]; q != 0; q &= q - 1 {
			do(c, bits.TrailingZeros64(q))
		}
	}
}

// mend changes beds, those first that lose least for what they free, until all
// limits are kept.
func (s *search) mend(o open, pick [][Windows]int, left []float64) bool {
	f := s.f
	for range 4 * f.beds {
		short := 0.0
		for _, l := range left {
			short += max(-l, 0)
		}
		if short <= -over {
			return true
		}
		bed, to, least := -1, [Windows]int{}, math.Inf(1)
		for i := range f.beds {
			p := pick[i]
			s.each(o, i, func(c, d int) {
				if c == p[0] && d == p[1] {
					return
				}
				now := 0.0
				for k, l := range left {
					now += max(-(l + f.used(k, i, p[0], p[1]) - f.used(k, i, c, d)), 0)
				}
				if freed := short - now; freed > 1e-12 {
					if cost := -s.change(pick, i, c, d) / freed; cost < least {
						bed, to, least = i, [Windows]int{c, d}, cost
					}
				}
			})
		}
		if bed < 0 {
			return false
		}
		s.move(pick, left, bed, to)
	}
	return false
}

func (s *search) move(pick [][Windows]int, left []float64, i int, to [Windows]int) {
	for k := range left {
		left[k] += s.f.used(k, i, pick[i][0], pick[i][1]) - s.f.used(k, i, to[0], to[1])
	}
	pick[i] = to
}

// better changes single beds while that adds value and keeps the limits.
func (s *search) better(o open, pick [][Windows]int, left []float64) {
	f := s.f
	for more := true; more; {
		more = false
		for i := range f.beds {
			p, to, most := pick[i], pick[i], 1e-9
			s.each(o, i, func(c, d int) {
				v := s.change(pick, i, c, d)
				if v <= most {
					return
				}
				for k, l := range left {
					if l+f.used(k, i, p[0], p[1])-f.used(k, i, c, d) < over {
						return
					}
				}
				to, most = [Windows]int{c, d}, v
			})
			if to != p {
				s.move(pick, left, i, to)
				more = true
			}
		}
	}
}

// branch searches a node.
func (s *search) branch(n *node) {
	if s.nodes++; s.nodes > s.most || s.ctx.Err() != nil {
		s.cut, s.leftOpen = true, max(s.leftOpen, n.bound)
		return
	}
	steps := 40
	if s.nodes == 1 {
		steps = 250
	}
	for range 3 {
		s.descend(n, steps)
		if n.bound <= s.value+s.close() {
			return
		}
		if !s.shut(n) {
			break
		}
		steps = 15
	}
	if n.bound <= s.value+s.close() {
		return
	}
	if s.scarce(n) {
		s.branchLot(n)
		return
	}
	if s.countOut(n) {
		return
	}
	s.branchChoice(n)
}

func (s *search) branchLot(n *node) {
	f := s.f
	free := f.MaxLots - bits.OnesCount64(n.in)
	x, best := -1, math.Inf(-1)
	for m := n.covers() &^ n.in; m != 0; m &= m - 1 {
		c := bits.TrailingZeros64(m)
		if v := -math.Abs(s.oftenIn[c]-0.5) + 1e-9*s.beyond[c]; v > best {
			x, best = c, v
		}
	}
	in, out := n.child(), n.child()
	in.in |= 1 << x
	if bits.OnesCount64(in.in) == f.MaxLots {
		s.only(in, in.in)
	}
	s.only(out, ^uint64(1<<x))
	if free == 0 {
		s.only(n, n.in)
		s.branch(n)
		return
	}
	if s.oftenIn[x] >= 0.5 {
		s.branch(in)
		s.branch(out)
	} else {
		s.branch(out)
		s.branch(in)
	}
}

// only leaves the covers of a set open.
func (s *search) only(n *node, set uint64) {
	for w := range Windows {
		for i := range n.open[w] {
			n.open[w][i] &= set | 1<<None
		}
	}
}

func (s *search) branchChoice(n *node) {
	c := s.f.choices
	bw, bi, bx, best := -1, 0, 0, math.Inf(1)
	for w := range Windows {
		for i, m := range n.open[w] {
			if m&(m-1) == 0 {
				continue
			}
			for ; m != 0; m &= m - 1 {
				x := bits.TrailingZeros64(m)
				if v := math.Abs(s.often[w][i*c+x] - 0.5); v < best {
					bw, bi, bx, best = w, i, x, v
				}
			}
		}
	}
	if bw < 0 {
		return // a single plan, and it was looked at
	}
	with, without := n.child(), n.child()
	with.open[bw][bi] = 1 << bx
	without.open[bw][bi] &^= 1 << bx
	if s.often[bw][bi*c+bx] >= 0.5 {
		s.branch(with)
		s.branch(without)
	} else {
		s.branch(without)
		s.branch(with)
	}
}
