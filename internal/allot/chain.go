package allot

import (
	"math"
	"math/bits"
)

// node is a part of the plans: those that keep to what is open, with some lots
// surely in. It carries the prices that gave its bound.
type node struct {
	open  open
	in    uint64    // lots that are in and free
	price []float64 // of each limit, 0 or more
	lot   []float64 // what each bed pays towards each lot, 0 or more
	bound float64
	born  int  // when it was put in the queue
	first bool // it is the whole problem
}

func (n *node) child() *node {
	c := *n
	c.open = n.open.clone()
	c.price = append([]float64(nil), n.price...)
	c.lot = append([]float64(nil), n.lot...)
	return &c
}

// take makes a lot free.
func (f *field) take(n *node, lot int) {
	n.in |= 1 << lot
	for i := range f.beds {
		n.lot[i*f.lots+lot] = 0
	}
}

// root is the node of all plans.
func (f *field) root() *node {
	return &node{open: f.allOpen(), price: make([]float64, f.limits), lot: make([]float64, f.beds*f.lots), bound: math.Inf(1)}
}

// openLots are the lots that any open choice of the node uses.
func (f *field) openLots(n *node) uint64 {
	seen, all := uint64(0), uint64(0)
	for w := range Windows {
		for _, m := range n.open[w] {
			seen |= m
		}
	}
	for ; seen != 0; seen &= seen - 1 {
		all |= f.lotsOf[bits.TrailingZeros64(seen)]
	}
	return all
}

// scarce reports whether the number of lots still binds in the node.
func (f *field) scarce(n *node) bool {
	return f.MaxLots > 0 && bits.OnesCount64(f.openLots(n)|n.in) > f.MaxLots
}

// only leaves open the choices whose lots are all in the set.
func (f *field) only(n *node, set uint64) {
	keep := uint64(0)
	for c, m := range f.lotsOf {
		if m&^set == 0 {
			keep |= 1 << c
		}
	}
	for w := range Windows {
		for i := range n.open[w] {
			n.open[w][i] &= keep
		}
	}
}

// state is a pair of choices that a bed may hold in the best plan of its row.
type state struct {
	c, d uint8
	from int32 // the state before it on the best way here
	own  float64
	best float64 // of the row up to this bed
}

// link is what the states of a bed add to a state of its neighbour: best is the
// highest of worth and bonus.
type link struct {
	f     *field
	bed   int32
	all   float64
	at    int32
	first [Windows][MostCovers]spot
	both  [MostCovers][MostCovers]spot
}

type spot struct {
	worth   float64
	at, bed int32
}

// begin empties the link. Beds are told apart by a number that grows.
func (l *link) begin() {
	l.bed++
	l.all, l.at = math.Inf(-1), -1
}

func (l *link) add(c, d uint8, worth float64, at int32) {
	if worth > l.all {
		l.all, l.at = worth, at
	}
	if c != None {
		if s := &l.first[0][c]; s.bed != l.bed || worth > s.worth {
			*s = spot{worth, at, l.bed}
		}
	}
	if d != None {
		if s := &l.first[1][d]; s.bed != l.bed || worth > s.worth {
			*s = spot{worth, at, l.bed}
		}
		if c != None {
			if s := &l.both[c][d]; s.bed != l.bed || worth > s.worth {
				*s = spot{worth, at, l.bed}
			}
		}
	}
}

func (l *link) best(c, d uint8) (worth float64, at int32) {
	worth, at = l.all, l.at
	t := &l.f.Together
	if c != None {
		if s := &l.first[0][c]; s.bed == l.bed && s.worth+t[0] > worth {
			worth, at = s.worth+t[0], s.at
		}
	}
	if d != None {
		if s := &l.first[1][d]; s.bed == l.bed && s.worth+t[1] > worth {
			worth, at = s.worth+t[1], s.at
		}
		if c != None {
			if s := &l.both[c][d]; s.bed == l.bed && s.worth+t[0]+t[1] > worth {
				worth, at = s.worth+t[0]+t[1], s.at
			}
		}
	}
	return worth, at
}

// chain prices the choices of a node and runs dynamic programmes along the rows.
//
// The open choices are cells: those of the first window of a bed and then those
// of the second stand together.
type chain struct {
	f      *field
	at     []int32 // by bed and window: the first cell; and the end
	choice []uint8
	value  []float64
	use    []float64 // by cell and limit
	next   []uint64  // by cell of a first window: the cells of the second that may follow, as bits
	gain   []float64 // by cell: as it is priced
	high   []float64 // by bed: the highest gain of the second window
	bare   []float64 // by bed: what it gains more with no cover
	pay    []float64 // by bed and lot: what a choice pays for it; nil where lots are no matter

	states []state
	from   []int32 // by bed: its first state; and the end
	front  link    // of the bed before
	behind link    // of the bed after
	pick   [][Windows]int
}

func newChain(f *field) *chain {
	k := &chain{f: f, at: make([]int32, Windows*f.beds+1), high: make([]float64, f.beds), bare: make([]float64, f.beds),
		from: make([]int32, f.beds+1), pick: make([][Windows]int, f.beds)}
	k.front.f, k.behind.f = f, f
	return k
}

// lay lays out the open choices of a node. It reports false where a bed has
// none.
func (k *chain) lay(n *node) bool {
	f := k.f
	k.choice, k.value, k.use, k.next = k.choice[:0], k.value[:0], k.use[:0], k.next[:0]
	for i := range f.beds {
		second := n.open[1][i]
		for w := range Windows {
			k.at[Windows*i+w] = int32(len(k.choice))
			for m := n.open[w][i]; m != 0; m &= m - 1 {
				c := bits.TrailingZeros64(m)
				follow := uint64(0)
				if w == 0 {
					may := f.next[i*f.choices+c] & second
					if may == 0 {
						continue
					}
					// The bits of may, numbered among those of second.
					place := 0
					for q := second; q != 0; q &= q - 1 {
						if may>>bits.TrailingZeros64(q)&1 != 0 {
							follow |= 1 << place
						}
						place++
					}
				}
				k.choice = append(k.choice, uint8(c))
				k.value = append(k.value, f.value[w][i*f.choices+c])
				k.next = append(k.next, follow)
				for j := range f.limits {
					k.use = append(k.use, f.use[j][w][i*f.choices+c])
				}
			}
			if int(k.at[Windows*i+w]) == len(k.choice) {
				return false
			}
		}
	}
	k.at[Windows*f.beds] = int32(len(k.choice))
	if cap(k.gain) < len(k.choice) {
		k.gain = make([]float64, len(k.choice))
	}
	k.gain = k.gain[:len(k.choice)]
	return true
}

// priced sets what the cells gain at prices.
func (k *chain) priced(price, pay []float64) {
	f := k.f
	j := f.limits
	for x, v := range k.value {
		for y, p := range price {
			v -= p * k.use[x*j+y]
		}
		k.gain[x] = v
	}
	for i := range k.bare {
		k.bare[i] = 0
		if f.idle != nil {
			k.bare[i] = f.idle[i]
		}
		for y, p := range price {
			k.bare[i] -= p * f.bare[y][i]
		}
	}
	k.pay = pay
	for i := range f.beds {
		high := math.Inf(-1)
		if pay != nil {
			due := pay[i*f.lots : (i+1)*f.lots]
			for x := k.at[Windows*i]; x < k.at[Windows*(i+1)]; x++ {
				for m := f.lotsOf[k.choice[x]]; m != 0; m &= m - 1 {
					k.gain[x] -= due[bits.TrailingZeros64(m)]
				}
			}
		}
		for x := k.at[Windows*i+1]; x < k.at[Windows*(i+1)]; x++ {
			high = max(high, k.gain[x])
		}
		k.high[i] = high
	}
}

// extra is the most that a pair gains beyond its cells, the first of them a.
func (k *chain) extra(i int, a uint8) float64 {
	e := 0.0
	if a == None {
		e = max(k.bare[i], 0)
	}
	if k.f.shared && k.pay != nil {
		for m := k.f.lotsOf[a]; m != 0; m &= m - 1 {
			e += k.pay[i*k.f.lots+bits.TrailingZeros64(m)]
		}
	}
	return e
}

// own is what bed i gains by itself with the cells a and b: a lot that both use
// is paid for once.
func (k *chain) own(i int, a, b int32) float64 {
	v := k.gain[a] + k.gain[b]
	c, d := k.choice[a], k.choice[b]
	if c|d == None {
		return v + k.bare[i]
	}
	if k.f.shared && k.pay != nil {
		for m := k.f.lotsOf[c] & k.f.lotsOf[d]; m != 0; m &= m - 1 {
			v += k.pay[i*k.f.lots+bits.TrailingZeros64(m)]
		}
	}
	return v
}

// run returns the highest value of all rows as they are priced, and sets pick to
// a plan that has it. -Inf where a bed has nothing that is open.
//
// A pair that gains less by itself than the best of its bed by more than the
// neighbours can add is on no best way, and is left out.
func (k *chain) run() float64 {
	f := k.f
	total := 0.0
	k.states = k.states[:0]
	for i := range f.beds {
		k.from[i] = int32(len(k.states))
		if !k.list(i) {
			return math.Inf(-1)
		}
		here := k.states[k.from[i]:]
		linked := i > 0 && !f.last[i-1]
		for x := range here {
			s := &here[x]
			s.best, s.from = s.own, -1
			if linked {
				var b float64
				b, s.from = k.front.best(s.c, s.d)
				s.best += b
			}
		}
		k.front.begin()
		for x := range here {
			k.front.add(here[x].c, here[x].d, here[x].best, k.from[i]+int32(x))
		}
		if f.last[i] {
			total += k.front.all
			for b, at := i, k.front.at; at >= 0; b-- {
				s := &k.states[at]
				k.pick[b] = [Windows]int{int(s.c), int(s.d)}
				at = s.from
			}
		}
	}
	k.from[f.beds] = int32(len(k.states))
	return total
}

// list appends the states of bed i that may be on a best way.
func (k *chain) list(i int) bool {
	first, second := k.at[Windows*i], k.at[Windows*i+1]
	top := math.Inf(-1)
	var best state
	for a := first; a < second; a++ {
		if k.gain[a]+k.high[i] <= top && k.gain[a]+k.high[i]+k.extra(i, k.choice[a]) <= top {
			continue
		}
		for m := k.next[a]; m != 0; m &= m - 1 {
			b := second + int32(bits.TrailingZeros64(m))
			if v := k.own(i, a, b); v > top {
				top, best = v, state{c: k.choice[a], d: k.choice[b], own: v}
			}
		}
	}
	if k.f.reach[i] == 0 {
		k.states = append(k.states, best)
		return top > math.Inf(-1)
	}
	least := top - k.f.reach[i]
	for a := first; a < second; a++ {
		if k.gain[a]+k.high[i] < least && k.gain[a]+k.high[i]+k.extra(i, k.choice[a]) < least {
			continue
		}
		for m := k.next[a]; m != 0; m &= m - 1 {
			b := second + int32(bits.TrailingZeros64(m))
			if v := k.own(i, a, b); v >= least {
				k.states = append(k.states, state{c: k.choice[a], d: k.choice[b], own: v})
			}
		}
	}
	return top > math.Inf(-1)
}

// losses calls do, from the last bed to the first, for each pair of open cells a
// and b of bed i with the value that its row loses, at least, when the bed holds
// it, and with the most that the beds after it add.
func (k *chain) losses(do func(i int, a, b int32, own, loss, rest float64)) {
	f := k.f
	row := 0.0
	for i := f.beds - 1; i >= 0; i-- {
		here := k.states[k.from[i]:k.from[i+1]]
		if f.last[i] {
			row = math.Inf(-1)
			for _, s := range here {
				row = max(row, s.best)
			}
		}
		linked := i > 0 && !f.last[i-1]
		if linked {
			k.front.begin()
			for _, s := range k.states[k.from[i-1]:k.from[i]] {
				k.front.add(s.c, s.d, s.best, 0)
			}
		}
		for a := k.at[Windows*i]; a < k.at[Windows*i+1]; a++ {
			for m := k.next[a]; m != 0; m &= m - 1 {
				b := k.at[Windows*i+1] + int32(bits.TrailingZeros64(m))
				own := k.own(i, a, b)
				v, rest := own, 0.0
				if linked {
					before, _ := k.front.best(k.choice[a], k.choice[b])
					v += before
				}
				if !f.last[i] {
					rest, _ = k.behind.best(k.choice[a], k.choice[b])
					v += rest
				}
				do(i, a, b, own, row-v, rest)
			}
		}
		rest := make([]float64, len(here))
		for x, s := range here {
			if !f.last[i] {
				rest[x], _ = k.behind.best(s.c, s.d)
			}
		}
		k.behind.begin()
		for x, s := range here {
			k.behind.add(s.c, s.d, s.own+rest[x], 0)
		}
	}
}
