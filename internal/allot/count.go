package allot

import (
	"cmp"
	"math"
	"slices"
)

// mostLabels bounds the labels of a half in counting out.
const mostLabels = 60_000

// option is a pair of choices that a bed may hold in a plan that loses little.
type option struct {
	c, d      uint8
	own, rest float64 // of the bed, and of the beds after it at best
	loss      float64 // of the row at least
	use       []float64
}

// label is a way through some beds: what it loses and uses.
type label struct {
	loss   float64
	rest   float64 // what the beds after it in the row add at best
	parent int32
	bed    int32
	c, d   uint8 // of the bed
	kc, kd uint8 // of those, what the next bed may repeat
}

// counting tries all plans of a node whose loss against its bound is less than
// some room: the ways through the first beds and those through the others are
// listed each by itself, and matched.
//
// Source: the two-list method for the knapsack, Horowitz & Sahni 1974, Journal
// of the ACM 21:277-292 (from memory); here with losses for values and with
// several limits.
type counting struct {
	w       *worker
	price   []float64
	bound   float64
	options [][]option // by bed, those that lose least first
	rows    []float64  // by bed: what the row from it on gains at best, where it begins a row
	few     [][]option // of options, those within the room of a round
	cut     bool       // some labels were dropped
}

// count looks for better plans in a node whose lots no longer bind, and lowers
// its bound to what is then proved. It reports whether nothing is left open.
func (w *worker) count(n *node) bool {
	f, k := w.f, w.k
	if !k.lay(n) {
		n.bound = math.Inf(-1)
		return true
	}
	bound := w.relax(n, false)
	n.bound = min(n.bound, bound)
	e := &counting{w: w, price: n.price, bound: bound, options: make([][]option, f.beds), rows: make([]float64, f.beds)}
	full := bound - w.value - proof
	if full <= 0 {
		return true
	}
	var all []float64
	k.losses(func(i int, a, b int32, own, loss, rest float64) {
		if loss >= full {
			return
		}
		o := option{c: k.choice[a], d: k.choice[b], own: own, rest: rest, loss: max(loss, 0), use: make([]float64, f.limits)}
		for j := range o.use {
			o.use[j] = f.used(j, i, int(o.c), int(o.d))
		}
		e.options[i] = append(e.options[i], o)
		all = append(all, o.loss)
		if i == 0 || f.last[i-1] {
			e.rows[i] = max(e.rows[i], own+rest)
			if len(e.options[i]) == 1 {
				e.rows[i] = own + rest
			}
		}
	})
	for _, o := range e.options {
		slices.SortStableFunc(o, func(a, b option) int { return cmp.Compare(a.loss, b.loss) })
	}
	slices.Sort(all)
	last := 0.0
	for many := f.beds + 16; ; many += max((many-f.beds)/2, 1) {
		room := full
		if many < len(all) {
			room = min(room, all[many]+proof)
		}
		room = min(room, bound-w.value-proof)
		if room <= 0 {
			n.bound = min(n.bound, w.value+proof)
			return true
		}
		if room == last {
			continue
		}
		last = room
		complete := e.round(room)
		if stats != nil {
			stats(many-f.beds, room, full, complete, w.value)
		}
		if !complete {
			return false
		}
		if room >= bound-w.value-proof {
			n.bound = min(n.bound, max(w.value, bound-room))
			return true
		}
		n.bound = min(n.bound, bound-room)
	}
}

var stats func(m int, room, full float64, complete bool, value float64)

// half is a list of ways through some beds: the labels from the last stage on.
type half struct {
	labels []label
	used   []float64 // by label and limit
	from   int32     // where the last stage begins
}

// round tries all plans that lose less than room; false where there are too
// many.
func (e *counting) round(room float64) bool {
	f := e.w.f
	e.few = e.few[:0]
	size := 0.0
	for _, o := range e.options {
		m := 0
		for m < len(o) && o[m].loss < room {
			m++
		}
		if m == 0 {
			return true
		}
		e.few = append(e.few, o[:m])
		size += math.Log(float64(m))
	}
	e.cut = false
	middle := e.middle(size)
	low, high := make([]float64, f.limits), make([]float64, f.limits)
	for i := middle; i < f.beds; i++ {
		e.span(i, low, high)
	}
	first := e.ways(0, middle, label{}, low, high, room)
	// The second half begins with what the first one ends with.
	groups := map[[Windows]uint8][]int32{}
	var keys [][Windows]uint8
	for x := first.from; int(x) < len(first.labels); x++ {
		key := [Windows]uint8{first.labels[x].kc, first.labels[x].kd}
		if groups[key] == nil {
			keys = append(keys, key)
		}
		groups[key] = append(groups[key], x)
	}
	for _, key := range keys {
		for j := range low {
			low[j], high[j] = math.Inf(1), math.Inf(-1)
		}
		for _, x := range groups[key] {
			for j, u := range first.at(x) {
				low[j], high[j] = min(low[j], u), max(high[j], u)
			}
		}
		begin := first.labels[groups[key][0]]
		begin.loss = 0
		second := e.ways(middle, f.beds, begin, low, high, room)
		e.match(first, groups[key], second, room)
	}
	return !e.cut
}

func (h *half) at(x int32) []float64 {
	j := len(h.used) / len(h.labels)
	return h.used[int(x)*j : (int(x)+1)*j]
}

// middle is the bed where the second half begins: as many ways before as after,
// and better where a row begins.
func (e *counting) middle(size float64) int {
	f := e.w.f
	best, at := math.Inf(1), f.beds
	sum := 0.0
	for i := range f.beds {
		off := math.Abs(size - 2*sum)
		if i > 0 && !f.last[i-1] {
			off += 0.2 * size
		}
		if off < best {
			best, at = off, i
		}
		sum += math.Log(float64(len(e.few[i])))
	}
	return at
}

// span adds the least and the most that a bed uses.
func (e *counting) span(i int, low, high []float64) {
	for j := range low {
		l, h := math.Inf(1), math.Inf(-1)
		for _, o := range e.few[i] {
			l, h = min(l, o.use[j]), max(h, o.use[j])
		}
		low[j] += l
		high[j] += h
	}
}
