package allot

import (
	"math"
	"math/bits"
)

// shut closes what no better plan of the node can hold, and reports whether it
// closed much. The node is laid out and has its best prices.
func (w *worker) shut(n *node) bool {
	f, k := w.f, w.k
	if math.IsInf(w.value, -1) || !k.lay(n) {
		return false
	}
	scarce := f.scarce(n)
	bound := w.relax(n, scarce)
	n.bound = min(n.bound, bound)
	room := bound - w.value - proof // a plan that loses as much or more is no better
	if room <= 0 {
		return false
	}
	var extra []float64
	if scarce {
		extra = w.missing(n)
	}
	was := len(k.choice)
	keep := w.least(room, extra)
	now := 0
	for v := range Windows {
		for i := range f.beds {
			n.open[v][i] &= keep[v][i]
			now += bits.OnesCount64(n.open[v][i])
		}
	}
	if scarce {
		w.shutLots(n, room)
	}
	return now < was*9/10
}

// least are the choices with which a plan loses less than room. extra is what it
// loses more by choice, or nil.
func (w *worker) least(room float64, extra []float64) (keep open) {
	f, k := w.f, w.k
	for v := range keep {
		keep[v] = make([]uint64, f.beds)
	}
	k.losses(func(i int, a, b int32, own, loss, rest float64) {
		c, d := k.choice[a], k.choice[b]
		if extra != nil {
			loss += max(extra[c], extra[d])
		}
		if loss < room {
			keep[0][i] |= 1 << c
			keep[1][i] |= 1 << d
		}
	})
	return keep
}

// missing is, by choice, what the bound loses when the lots of the choice must
// be in.
func (w *worker) missing(n *node) []float64 {
	f := w.f
	worst := math.Inf(1)
	for m := w.top; m != 0; m &= m - 1 {
		worst = min(worst, w.beyond[bits.TrailingZeros64(m)])
	}
	extra := make([]float64, f.choices)
	for c, m := range f.lotsOf {
		for m &^= w.top | n.in; m != 0; m &= m - 1 {
			extra[c] = max(extra[c], worst-w.beyond[bits.TrailingZeros64(m)])
		}
	}
	return extra
}

// shutLots decides lots that must be in or out.
func (w *worker) shutLots(n *node, room float64) {
	f := w.f
	may := f.openLots(n) &^ n.in
	worst, next := math.Inf(1), 0.0
	for m := may; m != 0; m &= m - 1 {
		l := bits.TrailingZeros64(m)
		if w.top>>l&1 != 0 {
			worst = min(worst, w.beyond[l])
		} else {
			next = max(next, w.beyond[l])
		}
	}
	gone := uint64(0)
	for m := may; m != 0; m &= m - 1 {
		l := bits.TrailingZeros64(m)
		if w.top>>l&1 != 0 {
			if w.beyond[l]-next >= room {
				f.take(n, l)
			}
		} else if worst-w.beyond[l] >= room {
			gone |= 1 << l
		}
	}
	if gone != 0 {
		f.only(n, ^gone)
	}
	f.full(n)
}

// full closes all other lots where those that are in are as many as may be.
func (f *field) full(n *node) {
	if bits.OnesCount64(n.in) >= f.MaxLots {
		f.only(n, n.in)
	}
}
