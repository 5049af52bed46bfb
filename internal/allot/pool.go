package allot

import (
	"cmp"
	"math"
	"slices"
)

// mostLabels bounds the labels of a pool.
const mostLabels = 100_000

// pool lists what some units may hold other than their best ways.
type pool struct {
	e         *counting
	labels    []label
	used      []float64 // by label and limit
	low, high []float64 // what the units that are not in it use at least and at most
	caps      []float64 // by tilt: what a label that loses and uses nothing comes to
	order     []int     // of the tilts: those that ruled something out last
	live      int       // labels that are not struck out
	sieveAt   int       // so many live labels are worth a sieve
	most      int       // live labels
	same      table
}

// label is a departure from the best ways: those of its parent and one more.
type label struct {
	loss   float64
	parent int32
	unit   int32
	way    int32
}

func (e *counting) newPool() *pool {
	p := &pool{e: e, labels: []label{{parent: -1}}, used: make([]float64, len(e.left)), live: 1, sieveAt: 500, most: mostLabels,
		low: make([]float64, len(e.left)), high: make([]float64, len(e.left))}
	for _, u := range e.units {
		for j := range e.left {
			p.low[j] += u.low[j]
			p.high[j] += u.high[j]
		}
	}
	for x, t := range e.tilts {
		p.caps = append(p.caps, t.bound)
		p.order = append(p.order, x)
	}
	return p
}

// extend puts a unit in the pool.
func (p *pool) extend(x int) {
	e := p.e
	if e.w.over() {
		e.cut = true
		return
	}
	u := &e.units[x]
	j := len(e.left)
	for k := range p.low {
		p.low[k] -= u.low[k]
		p.high[k] -= u.high[k]
	}
	for k := range e.tilts {
		p.caps[k] -= e.tilts[k].top[x]
	}
	end := len(p.labels)
	for l := range end {
		if len(p.labels)-end > 2*p.most {
			e.cut = true
			break
		}
		from := p.labels[l].loss
		for y := 1; y < len(u.ways); y++ {
			w := &u.ways[y]
			loss := from + w.loss
			if loss >= e.room {
				break
			}
			for k, v := range w.use {
				p.used = append(p.used, v+p.used[l*j+k])
			}
			if !p.may(loss, p.used[len(p.labels)*j:]) {
				p.used = p.used[:len(p.labels)*j]
				continue
			}
			p.labels = append(p.labels, label{loss: loss, parent: int32(l), unit: int32(x), way: int32(y)})
			if p.same.drop(p) {
				p.labels, p.used = p.labels[:len(p.labels)-1], p.used[:len(p.used)-j]
			}
		}
	}
	e.w.work += end + 30*(len(p.labels)-end)
	p.live += len(p.labels) - end
	if was := p.live; was > p.sieveAt {
		p.sieve()
		p.sieveAt = 2 * p.live
		if 10*p.live > 7*was { // it is hardly worth it
			p.sieveAt = 8 * p.live
		}
	}
	if p.live > p.most {
		e.cut = true
		p.most = mostLabels / 10
		p.thin()
	}
}

// may reports whether a way that loses and uses so much can lead to a plan within
// the room.
func (p *pool) may(loss float64, used []float64) bool {
	e := p.e
	waste := loss
	for k, v := range used {
		left := e.left[k] - v
		if left < p.low[k] {
			return false
		}
		waste += e.price[k] * max(left-p.high[k], 0)
	}
	if waste >= e.room {
		return false
	}
	least := e.bound - e.room
	for at, x := range p.order {
		v := p.caps[x] - loss
		for k, m := range e.tilts[x].more {
			v -= m * used[k]
		}
		if v <= least {
			if at > 0 {
				p.order[at], p.order[at-1] = p.order[at-1], x
			}
			return false
		}
	}
	return true
}

// table finds labels of a pool that use the same.
type table struct {
	slots []int32
}

// drop reports whether the last label of the pool uses the same as another and
// loses no less.
func (t *table) drop(p *pool) bool {
	last := len(p.labels) - 1
	if 2*last >= len(t.slots) {
		t.slots = make([]int32, max(64, 4*len(t.slots)))
		for x := range last {
			t.find(p, int32(x))
		}
	}
	slot := t.find(p, int32(last))
	if slot < 0 {
		return false
	}
	other := t.slots[slot] - 1
	if p.labels[other].loss <= p.labels[last].loss {
		return true
	}
	t.slots[slot] = int32(last) + 1
	return false
}

// same is how near two sums of uses must be to be the same: only rounding.
const same = 1e-12

// find returns the slot of a label that uses the same as x, or puts x in and
// returns -1.
func (t *table) find(p *pool, x int32) int {
	j := len(p.e.left)
	used := p.used[int(x)*j : (int(x)+1)*j]
	hash := uint64(0)
	for _, u := range used {
		hash = (hash ^ uint64(int64(math.Round(u*1e9)))) * 0x9e3779b97f4a7c15
		hash ^= hash >> 29
	}
	mask := uint64(len(t.slots) - 1)
search:
	for at := hash & mask; ; at = (at + 1) & mask {
		y := t.slots[at] - 1
		if y < 0 {
			t.slots[at] = x + 1
			return -1
		}
		for k, u := range p.used[int(y)*j : (int(y)+1)*j] {
			if math.Abs(u-used[k]) > same {
				continue search
			}
		}
		return int(at)
	}
}

// grid sorts labels into cells by their use of the two limits whose waste costs
// most. A label in a cell can be outdone by labels of the cell and of those
// reach below it alone: for less use is worth no more than the room.
type grid struct {
	limit [2]int // -1: none
	floor [2]float64
	wide  [2]float64
	size  [2]int
	cells [][]int32
}

const reach = 2

func (p *pool) newGrid(labels []int32) *grid {
	e := p.e
	j := len(e.left)
	g := &grid{limit: [2]int{-1, -1}, size: [2]int{1, 1}}
	var spread [2]float64
	for k, price := range e.price {
		low, high := math.Inf(1), math.Inf(-1)
		for _, x := range labels {
			u := p.used[int(x)*j+k]
			low, high = min(low, u), max(high, u)
		}
		at := 0
		if price*(high-low) <= spread[0] {
			at = 1
		}
		if s := price * (high - low); s > spread[at] {
			if at == 0 {
				spread[1], g.limit[1], g.floor[1] = spread[0], g.limit[0], g.floor[0]
			}
			spread[at], g.limit[at], g.floor[at] = s, k, low
		}
	}
	for at, k := range g.limit {
		if k >= 0 {
			g.size[at] = min(int(spread[at]/e.room*reach)+1, 200)
			g.wide[at] = max(e.room/reach, spread[at]/float64(g.size[at])) / e.price[k] * (1 + 1e-9)
		}
	}
	g.cells = make([][]int32, g.size[0]*g.size[1])
	return g
}

// cell is where a label stands.
func (g *grid) cell(used []float64) (x [2]int) {
	for at, k := range g.limit {
		if k >= 0 {
			x[at] = min(max(int((used[k]-g.floor[at])/g.wide[at]), 0), g.size[at]-1)
		}
	}
	return x
}

// standing are the labels that are not struck out, those first that lose least.
func (p *pool) standing() []int32 {
	e := p.e
	order := make([]int32, 0, p.live)
	for x, l := range p.labels {
		if l.loss < e.room {
			order = append(order, int32(x))
		}
	}
	slices.SortFunc(order, func(a, b int32) int {
		return cmp.Or(cmp.Compare(p.labels[a].loss, p.labels[b].loss), cmp.Compare(a, b))
	})
	return order
}

// mostChecks bounds the work of a sieve, for each label.
const mostChecks = 50

// sieve strikes out the labels that use no less than another and are worth no
// more.
func (p *pool) sieve() {
	j := len(p.e.left)
	order := p.standing()
	g := p.newGrid(order)
	p.live = len(order)
	checks := 0
next:
	for _, x := range order {
		used := p.used[int(x)*j : (int(x)+1)*j]
		at := g.cell(used)
		p.e.w.work += 20
		for a := max(at[0]-reach, 0); a <= at[0]; a++ {
			for b := max(at[1]-reach, 0); b <= at[1]; b++ {
				for _, y := range g.cells[a*g.size[1]+b] {
					p.e.w.work += 2
					if checks++; checks > mostChecks*len(order) {
						return
					}
					if p.outdoes(y, x, used) {
						p.labels[x].loss = math.Inf(1)
						p.live--
						continue next
					}
				}
			}
		}
		g.cells[at[0]*g.size[1]+at[1]] = append(g.cells[at[0]*g.size[1]+at[1]], x)
	}
}

// outdoes reports whether a label uses no more than another and is worth no less.
func (p *pool) outdoes(y, x int32, used []float64) bool {
	j := len(used)
	more := p.labels[x].loss - p.labels[y].loss
	for k, u := range p.used[int(y)*j : (int(y)+1)*j] {
		saved := used[k] - u
		if saved < -same {
			return false
		}
		more -= p.e.price[k] * saved
	}
	return more >= -same
}

// thin strikes out labels where many use about the same, those that lose most,
// until few enough are left. What is then found need not be the best.
func (p *pool) thin() {
	j := len(p.e.left)
	order := p.standing()
	g := p.newGrid(order)
	for _, x := range order {
		at := g.cell(p.used[int(x)*j : (int(x)+1)*j])
		g.cells[at[0]*g.size[1]+at[1]] = append(g.cells[at[0]*g.size[1]+at[1]], x)
	}
	p.live = len(order)
	for most := p.live; p.live > p.most/2; most = most * 3 / 4 {
		for x, c := range g.cells {
			for len(c) > most {
				p.labels[c[len(c)-1]].loss = math.Inf(1)
				c = c[:len(c)-1]
				p.live--
			}
			g.cells[x] = c
		}
	}
}

// cheap is how many pairs are looked at for a plan beyond the room.
const cheap = 2_000_000

// match joins labels of two pools, and keeps the best plan that they make.
func (e *counting) match(a, b *pool) {
	// A worse plan than within the room is welcome too, while it comes cheap.
	room := max(e.full, e.room)
	checks, before := 0, 0
	mine, theirs := a.ends(), b.ends()
	j := len(e.left)
	// Theirs in bins by the use of the limit whose waste costs most.
	main, spread, floor := -1, 0.0, 0.0
	for k, price := range e.price {
		low, high := math.Inf(1), math.Inf(-1)
		for _, x := range theirs {
			u := b.used[int(x)*j+k]
			low, high = min(low, u), max(high, u)
		}
		if s := price * (high - low); s > spread {
			main, spread, floor = k, s, low
		}
	}
	bins, wide := 1, math.Inf(1)
	if main >= 0 {
		bins = min(int(spread/e.room*8)+1, 4096)
		wide = spread / e.price[main] / float64(bins) * (1 + 1e-12)
	}
	bin := func(u float64) int { return int(max(min(math.Floor((u-floor)/wide), float64(bins-1)), -1)) }
	in := make([][]int32, bins)
	for _, x := range theirs {
		at := 0
		if main >= 0 {
			at = max(bin(b.used[int(x)*j+main]), 0)
		}
		in[at] = append(in[at], x)
	}
	for _, x := range mine {
		l := &a.labels[x]
		if checks > cheap {
			room = min(room, e.room)
		}
		e.w.work += 10 + checks - before
		before = checks
		if checks > 50*cheap || e.w.over() {
			e.cut = true
			return
		}
		room = min(room, e.bound-e.w.value-proof)
		if l.loss >= room {
			break
		}
		used := a.used[int(x)*j : (int(x)+1)*j]
		from, to := 0, 0
		if main >= 0 {
			left := e.left[main] - used[main]
			to = bin(left)
			from = max(bin(left-(room-l.loss)/e.price[main]), 0)
		}
		for at := from; at <= to; at++ {
			for _, y := range in[at] {
				checks++
				loss := l.loss + b.labels[y].loss
				if loss >= room {
					break
				}
				fits := true
				for k, u := range b.used[int(y)*j : (int(y)+1)*j] {
					left := e.left[k] - used[k] - u
					if left < 0 {
						fits = false
						break
					}
					loss += e.price[k] * left
				}
				if fits && loss < room {
					e.join(a, x, b, y)
					room = min(room, e.bound-e.w.value-proof)
				}
			}
		}
	}
}

// ends are the labels that can still lead to a plan within the room, those first
// that lose least.
func (p *pool) ends() []int32 {
	j := len(p.e.left)
	var out []int32
	for x, l := range p.labels {
		if p.may(l.loss, p.used[x*j:(x+1)*j]) {
			out = append(out, int32(x))
		}
	}
	slices.SortStableFunc(out, func(a, b int32) int { return cmp.Compare(p.labels[a].loss, p.labels[b].loss) })
	return out
}

// join makes a plan of two labels.
func (e *counting) join(a *pool, x int32, b *pool, y int32) {
	pick := make([][Windows]int, e.w.f.beds)
	set := func(u *unit, way int32) {
		for i, o := range u.ways[way].pick {
			pick[u.from+i] = [Windows]int{int(o.c), int(o.d)}
		}
	}
	for i := range e.units {
		set(&e.units[i], 0)
	}
	for ; x > 0; x = a.labels[x].parent {
		set(&e.units[a.labels[x].unit], a.labels[x].way)
	}
	for ; y > 0; y = b.labels[y].parent {
		set(&e.units[b.labels[y].unit], b.labels[y].way)
	}
	e.w.take(pick)
}
