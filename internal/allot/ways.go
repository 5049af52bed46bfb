package allot

import (
	"cmp"
	"math"
	"slices"
)

// ways lists the ways through the beds from one to before another that lose less
// than room, what they waste of the limits included. low and high are the least
// and the most that all other beds use.
func (e *counting) ways(from, to int, begin label, low, high []float64, room float64) *half {
	f := e.w.f
	j := f.limits
	// What is used by the beds after each.
	least, most := make([]float64, (to-from+1)*j), make([]float64, (to-from+1)*j)
	copy(least[(to-from)*j:], low)
	copy(most[(to-from)*j:], high)
	for i := to - 1; i >= from; i-- {
		x := (i - from) * j
		copy(least[x:x+j], least[x+j:x+2*j])
		copy(most[x:x+j], most[x+j:x+2*j])
		e.span(i, least[x:x+j], most[x:x+j])
	}
	begin.parent = -1
	h := &half{labels: []label{begin}, used: make([]float64, j)}
	var same table
	for i := from; i < to; i++ {
		starts := i == 0 || f.last[i-1]
		least, most := least[(i-from+1)*j:(i-from+2)*j], most[(i-from+1)*j:(i-from+2)*j]
		begin, end := int(h.from), len(h.labels)
		single := len(e.few[i]) == 1
		if !single {
			same.reset(end - begin)
		}
		for x := begin; x < end; x++ {
			l := h.labels[x]
			if starts {
				l.rest, l.kc, l.kd = e.rows[i], None, None
			}
			for y := range e.few[i] {
				o := &e.few[i][y]
				loss := l.loss + max(l.rest-o.own-o.rest-f.bonus(int(l.kc), int(l.kd), int(o.c), int(o.d)), 0)
				if loss >= room && !single {
					continue
				}
				to := label{loss: loss, rest: o.rest, parent: int32(x), bed: int32(i), c: o.c, d: o.d}
				to.kc, to.kd = e.repeats(i, o)
				if single {
					to.parent, to.bed, to.c, to.d = l.parent, l.bed, l.c, l.d
					h.labels[x] = to
					for k, u := range o.use {
						h.used[x*j+k] += u
					}
					continue
				}
				waste, ok := loss, true
				for k, u := range o.use {
					u += h.used[x*j+k]
					if u+least[k] > f.most[k] {
						ok = false
						break
					}
					waste += e.price[k] * max(f.most[k]-u-most[k], 0)
					h.used = append(h.used, u)
				}
				if !ok || waste >= room {
					h.used = h.used[:len(h.labels)*j]
					continue
				}
				h.labels = append(h.labels, to)
				if same.drop(h, end) {
					h.labels, h.used = h.labels[:len(h.labels)-1], h.used[:len(h.used)-j]
				}
			}
			if len(h.labels)-end > mostLabels {
				e.cut = true
				break
			}
		}
		if single {
			continue
		}
		h.from = int32(end)
		if e.cut {
			h.shorten(mostLabels / 16)
		}
	}
	return h
}

// repeats are those choices of an option that the next bed may repeat.
func (e *counting) repeats(i int, o *option) (c, d uint8) {
	if e.w.f.last[i] || e.w.f.reach[i] == 0 {
		return None, None
	}
	for _, n := range e.few[i+1] {
		if n.c == o.c {
			c = o.c
		}
		if n.d == o.d {
			d = o.d
		}
	}
	return c, d
}

// shorten keeps the labels of the last stage that lose least.
func (h *half) shorten(most int) {
	if len(h.labels)-int(h.from) <= most {
		return
	}
	j := len(h.used) / len(h.labels)
	order := make([]int, 0, len(h.labels)-int(h.from))
	for x := int(h.from); x < len(h.labels); x++ {
		order = append(order, x)
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(h.labels[a].loss, h.labels[b].loss) })
	order = order[:most]
	labels, used := make([]label, 0, most), make([]float64, 0, most*j)
	for _, x := range order {
		labels = append(labels, h.labels[x])
		used = append(used, h.used[x*j:(x+1)*j]...)
	}
	h.labels = append(h.labels[:h.from], labels...)
	h.used = append(h.used[:int(h.from)*j], used...)
}

// table finds labels of a stage that use the same and end alike.
type table struct {
	slots []int32
}

func (t *table) reset(labels int) {
	size := 64
	for size < 8*labels {
		size *= 2
	}
	if size > len(t.slots) {
		t.slots = make([]int32, size)
		return
	}
	clear(t.slots)
}

// drop reports whether the last label is no better than another of its stage,
// which begins at from; where it is the better one, it replaces the other.
func (t *table) drop(h *half, from int) bool {
	last := len(h.labels) - 1
	if 2*(last-from) > len(t.slots) {
		t.slots = make([]int32, 4*len(t.slots))
		for x := from; x < last; x++ {
			t.find(h, int32(x))
		}
	}
	other := t.find(h, int32(last))
	if other < 0 {
		return false
	}
	if h.labels[last].loss < h.labels[other].loss {
		h.labels[other] = h.labels[last]
	}
	return true
}

// same is how near two sums of uses must be to be the same: only rounding.
const same = 1e-12

// find returns a label like x, or puts x in and returns -1.
func (t *table) find(h *half, x int32) int32 {
	l := &h.labels[x]
	hash := uint64(l.kc)<<8 | uint64(l.kd)
	used := h.at(x)
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
		if o := &h.labels[y]; o.kc != l.kc || o.kd != l.kd {
			continue
		}
		for k, u := range h.at(y) {
			if math.Abs(u-used[k]) > same {
				continue search
			}
		}
		return y
	}
}

// match joins ways of two halves, and keeps the best plan that they make.
func (e *counting) match(first *half, mine []int32, second *half, room float64) {
	f := e.w.f
	if int(second.from) == len(second.labels) || len(mine) == 0 {
		return
	}
	// The other half in bins by its use of the limit whose waste costs most.
	main, spread := -1, 0.0
	var floor float64
	for k, p := range e.price {
		low, high := math.Inf(1), math.Inf(-1)
		for x := second.from; int(x) < len(second.labels); x++ {
			u := second.at(x)[k]
			low, high = min(low, u), max(high, u)
		}
		if s := p * (high - low); s > spread {
			main, spread, floor = k, s, low
		}
	}
	wide := math.Inf(1) // of a bin
	bins := 1
	if main >= 0 {
		bins = min(int(spread/room*8)+1, 4096)
		wide = spread / e.price[main] / float64(bins) * (1 + 1e-12)
	}
	bin := func(u float64) int {
		if main < 0 {
			return 0
		}
		return int(max(min(math.Floor((u-floor)/wide), float64(bins-1)), -1))
	}
	theirs := make([][]int32, bins)
	order := make([]int32, 0, len(second.labels)-int(second.from))
	for x := second.from; int(x) < len(second.labels); x++ {
		order = append(order, x)
	}
	slices.SortStableFunc(order, func(a, b int32) int { return cmp.Compare(second.labels[a].loss, second.labels[b].loss) })
	for _, x := range order {
		b := 0
		if main >= 0 {
			b = max(bin(second.at(x)[main]), 0)
		}
		theirs[b] = append(theirs[b], x)
	}
	slices.SortStableFunc(mine, func(a, b int32) int { return cmp.Compare(first.labels[a].loss, first.labels[b].loss) })
	for _, x := range mine {
		l := &first.labels[x]
		room = min(room, e.bound-e.w.value-proof)
		if l.loss >= room {
			break
		}
		used := first.at(x)
		from, to := 0, 0
		if main >= 0 {
			left := f.most[main] - used[main]
			to = bin(left)
			from = max(bin(left-(room-l.loss)/e.price[main]), 0)
		}
		for b := from; b <= to; b++ {
			for _, y := range theirs[b] {
				loss := l.loss + second.labels[y].loss
				if loss >= room {
					break
				}
				ok := true
				for k, u := range second.at(y) {
					left := f.most[k] - used[k] - u
					if left < 0 {
						ok = false
						break
					}
					loss += e.price[k] * left
				}
				if ok && loss < room {
					e.join(first, x, second, y)
					room = min(room, e.bound-e.w.value-proof)
				}
			}
		}
	}
}

// join makes a plan of two ways.
func (e *counting) join(first *half, x int32, second *half, y int32) {
	pick := make([][Windows]int, e.w.f.beds)
	for i, o := range e.few {
		pick[i] = [Windows]int{int(o[0].c), int(o[0].d)}
	}
	for ; x > 0; x = first.labels[x].parent {
		l := first.labels[x]
		pick[l.bed] = [Windows]int{int(l.c), int(l.d)}
	}
	for ; y > 0; y = second.labels[y].parent {
		l := second.labels[y]
		pick[l.bed] = [Windows]int{int(l.c), int(l.d)}
	}
	e.w.take(pick)
}
