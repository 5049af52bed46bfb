package allot

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
)

// option is a pair of choices that a bed may hold in a plan that loses little.
type option struct {
	c, d      uint8
	own, rest float64 // of the bed, and of the beds after it at best
	loss      float64 // of the row at least
}

// counting looks at all plans of a node whose loss against its bound is less than
// some room. What it loses is what its beds gain less than the best of their row
// at the prices of the bound, and the price of what it leaves of the limits.
//
// Beds that do not touch each other's gain fall into units. The ways that they
// may depart from the best are listed for some of the units and for the others,
// and matched: the two-list method for the knapsack.
//
// Source: Horowitz & Sahni 1974, Journal of the ACM 21:277-292 (from memory);
// here with losses for values and with several limits.
type counting struct {
	w     *worker
	price []float64
	bound float64
	room  float64
	full  float64    // the room in which a plan is better than the best
	few   [][]option // by bed
	units []unit
	left  []float64 // of the limits by the best of all units; may be below 0
	tilts []tilt
	cut   bool // some ways were left out
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
	if w.settled(bound) {
		return true
	}
	most := bound - f.worst(n) + 1 // that any plan loses
	full := min(bound-w.value-proof, most)
	options := make([][]option, f.beds)
	var losses []float64
	k.losses(func(i int, a, b int32, own, loss, rest float64) {
		if loss < full {
			loss = max(loss, 0)
			options[i] = append(options[i], option{c: k.choice[a], d: k.choice[b], own: own, rest: rest, loss: loss})
			losses = append(losses, loss)
		}
	})
	for _, o := range options {
		slices.SortStableFunc(o, func(a, b option) int { return cmp.Compare(a.loss, b.loss) })
	}
	slices.Sort(losses)
	// The room grows from a few options to all, as far as it takes to find
	// the best plan.
	last := 0.0
	for many := 16; ; many += many / 2 {
		full := min(bound-w.value-proof, most)
		if full <= 0 {
			n.bound = min(n.bound, w.value+proof)
			return true
		}
		room := full
		if f.beds+many < len(losses) {
			room = min(room, losses[f.beds+many]+proof)
		}
		if room == last {
			continue
		}
		last = room
		e := &counting{w: w, price: n.price, bound: bound, room: room, full: full}
		if !e.all(options) {
			return false
		}
		if f.any && w.found != nil {
			return true
		}
		if room >= min(bound-w.value-proof, most) {
			n.bound = min(n.bound, max(w.value, bound-room))
			return true
		}
		n.bound = min(n.bound, bound-room)
	}
}

// worst is a value that all plans of a node exceed or have.
func (f *field) worst(n *node) float64 {
	sum := 0.0
	for i := range f.beds {
		for v := range Windows {
			least := math.Inf(1)
			for m := n.open[v][i]; m != 0; m &= m - 1 {
				least = min(least, f.value[v][i*f.choices+bits.TrailingZeros64(m)])
			}
			sum += least
		}
		if f.idle != nil {
			sum += min(f.idle[i], 0)
		}
	}
	return sum
}

// all looks at the plans that lose less than the room; it reports false where
// there are too many.
func (e *counting) all(options [][]option) bool {
	for _, o := range options {
		m := 0
		for m < len(o) && o[m].loss < e.room {
			m++
		}
		if m == 0 {
			return true
		}
		e.few = append(e.few, o[:m])
	}
	e.divide()
	e.tilt()
	a, b := e.newPool(), e.newPool()
	for _, u := range e.order() {
		if len(a.labels) > len(b.labels) {
			a, b = b, a
		}
		a.extend(u)
	}
	e.match(a, b)
	return !e.cut
}
