package allot

import (
	"cmp"
	"context"
	"errors"
	"math"
	"math/bits"
	"slices"
)

// Options of Solve. The zero value is ready.
type Options struct {
	Nodes    int   // most nodes of the search; 0: a million
	Ceilings bool  // fill in Plan.Ceiling
	Warm     *Plan // the plan of a like problem, to start from
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
			return Plan{}, ErrUnknown
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

// Possible reports whether any plan keeps all rules, whatever it is worth.
//
// Errors: ErrDomain; ErrUnknown where the nodes allowed do not decide it; the
// context's.
func Possible(ctx context.Context, p Problem, o Options) (bool, error) {
	_, err := Solve(ctx, p, o)
	if errors.Is(err, ErrImpossible) {
		return false, nil
	}
	return err == nil, err
}

// node is a part of the plans: those that keep to what is open, with the
// covers in and without those out.
type node struct {
	open    open
	in, out uint64
	price   []float64          // of each limit, 0 or more
	lot     [Windows][]float64 // what each choice pays towards its lot, 0 or more
	bound   float64
}

func (n *node) child() *node {
	c := &node{open: n.open.clone(), in: n.in, out: n.out, price: slices.Clone(n.price), bound: n.bound}
	for w := range Windows {
		c.lot[w] = slices.Clone(n.lot[w])
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

	beyond []float64 // what the beds pay for each lot
	slope  []float64
	tried  map[uint64]bool
	at     [Windows][]int32 // where the open choices of the node stand
	mean
}

// mean is how often each choice, lot and bare bed was picked lately.
type mean struct {
	often   [Windows][]float64
	oftenIn []float64
	bare    []float64
}

func (s *search) newMean() mean {
	f := s.f
	m := mean{oftenIn: make([]float64, f.choices), bare: make([]float64, f.beds)}
	for w := range Windows {
		m.often[w] = make([]float64, f.beds*f.choices)
	}
	return m
}

func newSearch(ctx context.Context, f *field) *search {
	s := &search{ctx: ctx, f: f, k: newChain(f), value: math.Inf(-1), leftOpen: math.Inf(-1),
		beyond: make([]float64, f.choices), slope: make([]float64, len(f.Limits)), tried: map[uint64]bool{}}
	s.mean = s.newMean()
	return s
}

// close is how near the bound must come for a proof.
func (s *search) close() float64 { return 1e-9 * (1 + math.Abs(s.value)) }

func (s *search) root() *node {
	f := s.f
	n := &node{open: f.allOpen(), price: make([]float64, len(f.Limits)), bound: math.Inf(1)}
	for w := range Windows {
		n.lot[w] = make([]float64, f.beds*f.choices)
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
		gain, value := k.gain[w], f.value[w]
		for _, x := range s.at[w] {
			gain[x] = value[x]
		}
		for j, p := range n.price {
			if p == 0 {
				continue
			}
			use := f.use[j][w]
			for _, x := range s.at[w] {
				gain[x] -= p * use[x]
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
				for m := n.open[w][i] &^ (1<<None | n.in); m != 0; m &= m - 1 {
					x := bits.TrailingZeros64(m)
					if v := n.lot[w][i*c+x]; v > 0 {
						s.beyond[x] += v
						k.gain[w][i*c+x] -= v
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

// descend lowers the bound of a node by so many steps of the volume algorithm:
// the direction comes from the mean of the latest picks, which comes near the
// solution of the linear programme.
//
// Source: Barahona & Anbil 2000, Mathematical Programming 87:385-399 (from
// memory).
func (s *search) descend(n *node, steps int) {
	f, k := s.f, s.k
	c := f.choices
	scarce := s.scarce(n)
	s.list(n)
	at := n.child() // the prices of the best bound
	at.bound = math.Inf(1)
	theta, idle := 1.0, 0
	part := 1.0 // of the mean that the latest picks make
	for step := range steps {
		bound, top := s.relax(n, scarce)
		if math.IsInf(bound, -1) {
			n.bound = bound
			return
		}
		for w := range Windows {
			often := s.often[w]
			for _, x := range s.at[w] {
				often[x] *= 1 - part
			}
			for i, p := range k.pick {
				often[i*c+p[w]] += part
			}
		}
		for i, p := range k.pick {
			s.bare[i] *= 1 - part
			if p[0]|p[1] == None {
				s.bare[i] += part
			}
		}
		for x := range s.oftenIn {
			s.oftenIn[x] *= 1 - part
			if (top|n.in)>>x&1 != 0 {
				s.oftenIn[x] += part
			}
		}
		part = 0.1
		if bound < at.bound-1e-12*math.Abs(bound) {
			if bound < at.bound-1e-5*math.Abs(bound) {
				idle = 0
				theta = min(theta*1.1, 2)
			}
			at.bound = bound
			copy(at.price, n.price)
			for w := range Windows {
				copy(at.lot[w], n.lot[w])
			}
		} else if idle++; idle > 10 {
			theta, idle = theta*0.66, 0
		}
		if !scarce && (step%10 == 9 || step == steps-1) {
			s.guess(n.open)
		}
		if at.bound <= s.value+s.close() || theta < 1e-3 {
			break
		}
		norm := s.slopes(n, scarce)
		if norm < 1e-18 {
			break
		}
		target := max(s.value, at.bound-0.05*(1+math.Abs(at.bound)))
		t := theta * (at.bound - target) / norm
		for j := range n.price {
			n.price[j] = max(at.price[j]-t*s.slope[j], 0)
		}
		if scarce {
			for w := range Windows {
				for i := range f.beds {
					for m := n.open[w][i] &^ (1<<None | n.in); m != 0; m &= m - 1 {
						x := bits.TrailingZeros64(m)
						j := i*c + x
						n.lot[w][j] = max(at.lot[w][j]-t*(s.oftenIn[x]-s.often[w][j]), 0)
					}
				}
			}
		}
	}
	n.bound = min(n.bound, at.bound)
	n.price, n.lot = at.price, at.lot
}

// list notes where the open choices of a node stand.
func (s *search) list(n *node) {
	for w := range Windows {
		s.at[w] = s.at[w][:0]
		for i, m := range n.open[w] {
			for ; m != 0; m &= m - 1 {
				s.at[w] = append(s.at[w], int32(i*s.f.choices+bits.TrailingZeros64(m)))
			}
		}
	}
}

// slopes sets how the bound changes with the price of each limit, by the mean
// picks, and returns the square of the length of the whole direction.
func (s *search) slopes(n *node, scarce bool) float64 {
	f := s.f
	c := f.choices
	norm := 0.0
	for j := range s.slope {
		v := f.Limits[j].Most
		for w := range Windows {
			use, often := f.use[j][w], s.often[w]
			for _, x := range s.at[w] {
				v -= use[x] * often[x]
			}
		}
		for i, u := range f.bare[j] {
			v -= u * s.bare[i]
		}
		if n.price[j] == 0 && v > 0 {
			v = 0
		}
		s.slope[j] = v
		norm += v * v
	}
	if scarce {
		for w := range Windows {
			for i := range f.beds {
				for m := n.open[w][i] &^ (1<<None | n.in); m != 0; m &= m - 1 {
					x := bits.TrailingZeros64(m)
					v := s.oftenIn[x] - s.often[w][i*c+x]
					if v > 0 && n.lot[w][i*c+x] == 0 {
						continue
					}
					norm += v * v
				}
			}
		}
	}
	return norm
}

// guess makes a plan from the last picks, mends it to keep the limits, and betters
// it bed by bed.
func (s *search) guess(o open) {
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

// try looks for good plans with the lots of a set alone.
func (s *search) try(n *node, lots uint64) {
	if s.tried[lots] {
		return
	}
	s.tried[lots] = true
	keep := s.mean
	s.mean = s.newMean()
	with := n.child()
	s.only(with, lots)
	was := s.value
	s.descend(with, 60)
	s.near(with, 0.02)
	if s.value > was {
		s.exchange(with.open, slices.Clone(s.found))
	}
	s.mean = keep
}

// swaps tries the sets next to the likely one: one lot for another.
func (s *search) swaps(n *node, set uint64) {
	for out := set &^ n.in; out != 0; out &= out - 1 {
		x := bits.TrailingZeros64(out)
		if s.oftenIn[x] > 0.95 {
			continue
		}
		for in := n.covers() &^ set; in != 0; in &= in - 1 {
			if y := bits.TrailingZeros64(in); s.oftenIn[y] > 0.05 {
				s.try(n, set&^(1<<x)|1<<y)
			}
		}
	}
}

// near looks for good plans among the choices that the mean picks use at all.
func (s *search) near(n *node, least float64) {
	c := s.f.choices
	close := n.child()
	for w := range Windows {
		for i, m := range n.open[w] {
			best := -1
			for q := m; q != 0; q &= q - 1 {
				x := bits.TrailingZeros64(q)
				if best < 0 || s.often[w][i*c+x] > s.often[w][i*c+best] {
					best = x
				}
				if s.often[w][i*c+x] < least {
					close.open[w][i] &^= 1 << x
				}
			}
			if best >= 0 {
				close.open[w][i] |= 1 << best
			}
		}
	}
	s.list(close)
	if math.IsInf(s.k.run(close.open), -1) {
		return
	}
	s.countOut(close)
}

// likely are the lots that the mean picks use most.
func (s *search) likely(n *node) uint64 {
	set := n.in
	for bits.OnesCount64(set) < s.f.MaxLots {
		best := -1
		for m := n.covers() &^ set; m != 0; m &= m - 1 {
			if x := bits.TrailingZeros64(m); best < 0 || s.oftenIn[x] > s.oftenIn[best] {
				best = x
			}
		}
		if best < 0 {
			break
		}
		set |= 1 << best
	}
	return set
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

// step is a change of one bed.
type step struct {
	bed  int
	to   [Windows]int
	gain float64
	free []float64 // what it frees of each limit
}

// exchange changes two beds at once, one that gains and one that frees what the
// other needs, as long as that adds value.
func (s *search) exchange(o open, pick [][Windows]int) {
	f := s.f
	left := make([]float64, len(f.Limits))
	for k := range left {
		left[k] = f.Limits[k].Most
		for i, p := range pick {
			left[k] -= f.used(k, i, p[0], p[1])
		}
	}
	for range 200 {
		var steps []step
		for i := range f.beds {
			p := pick[i]
			s.each(o, i, func(c, d int) {
				if c == p[0] && d == p[1] {
					return
				}
				m := step{bed: i, to: [Windows]int{c, d}, gain: s.change(pick, i, c, d)}
				for k := range left {
					m.free = append(m.free, f.used(k, i, p[0], p[1])-f.used(k, i, c, d))
				}
				steps = append(steps, m)
			})
		}
		slices.SortStableFunc(steps, func(a, b step) int { return cmp.Compare(b.gain, a.gain) })
		var one, two *step
		most := 1e-9
		for x := range steps {
			a := &steps[x]
			if a.gain <= 0 || a.gain+steps[0].gain <= most {
				break
			}
			for y := range steps {
				b := &steps[y]
				if a.gain+b.gain <= most {
					break
				}
				if b.bed == a.bed || f.together && (b.bed == a.bed+1 || b.bed == a.bed-1) {
					continue
				}
				ok := true
				for k, l := range left {
					if l+a.free[k]+b.free[k] < over {
						ok = false
						break
					}
				}
				if ok {
					one, two, most = a, b, a.gain+b.gain
				}
			}
		}
		if one == nil {
			break
		}
		s.move(pick, left, one.bed, one.to)
		s.move(pick, left, two.bed, two.to)
		s.better(o, pick, left)
	}
	s.take(pick)
}

// branch searches a node.
func (s *search) branch(n *node) {
	if s.nodes++; s.nodes > s.most || s.ctx.Err() != nil {
		s.cut, s.leftOpen = true, max(s.leftOpen, n.bound)
		return
	}
	steps := 40
	if s.nodes == 1 {
		steps = 400
	}
	for range 3 {
		s.descend(n, steps)
		if s.scarce(n) {
			set := s.likely(n)
			s.try(n, set)
			if s.nodes == 1 {
				s.swaps(n, set)
			}
		}
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
	if s.nodes%16 == 2 {
		s.near(n, 0.02)
		if n.bound <= s.value+s.close() {
			return
		}
		s.shut(n)
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
