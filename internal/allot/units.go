package allot

import (
	"cmp"
	"math"
	"slices"
)

// unit is a run of beds whose gain depends on no other bed, as far as their
// options go. The first of its ways is the best.
type unit struct {
	from      int
	ways      []way
	low, high []float64 // of what the ways use
}

// way is what the beds of a unit may hold: what it loses and uses more than the
// best.
type way struct {
	loss float64
	use  []float64
	pick []*option
}

// mostWays bounds the ways of a unit.
const mostWays = 2_000

// divide makes the units, and notes what their best ways leave of the limits.
func (e *counting) divide() {
	f := e.w.f
	e.left = slices.Clone(f.most)
	from := 0
	for i := range f.beds {
		if e.touches(i) {
			continue
		}
		u := e.newUnit(from, i)
		if e.cut {
			return
		}
		for j := range e.left {
			e.left[j] -= u.ways[0].use[j]
		}
		base := u.ways[0].use
		for x := range u.ways {
			more := make([]float64, f.limits)
			for j := range more {
				more[j] = u.ways[x].use[j] - base[j]
			}
			u.ways[x].use = more
		}
		e.prune(&u)
		e.units = append(e.units, u)
		from = i + 1
	}
}

// touches reports whether the gain of the bed after bed i depends on its option.
func (e *counting) touches(i int) bool {
	f := e.w.f
	if f.last[i] || f.reach[i] == 0 {
		return false
	}
	first := math.NaN()
	for _, o := range e.few[i] {
		for _, n := range e.few[i+1] {
			b := f.bonus(int(o.c), int(o.d), int(n.c), int(n.d))
			if math.IsNaN(first) {
				first = b
			}
			if b != first {
				return true
			}
		}
	}
	return false
}

// newUnit lists the ways of the beds from one to another.
func (e *counting) newUnit(from, to int) unit {
	f := e.w.f
	u := unit{from: from}
	pick := make([]*option, to-from+1)
	var walk func(i int, loss, rest float64)
	walk = func(i int, loss, rest float64) {
		if i > to {
			w := way{loss: loss, use: make([]float64, f.limits), pick: slices.Clone(pick)}
			for x, o := range pick {
				for j := range w.use {
					w.use[j] += f.used(j, from+x, int(o.c), int(o.d))
				}
			}
			u.ways = append(u.ways, w)
			return
		}
		for x := range e.few[i] {
			if len(u.ways) >= mostWays {
				e.cut = true
				return
			}
			o := &e.few[i][x]
			bonus := 0.0
			if i > from {
				bonus = f.bonus(int(pick[i-from-1].c), int(pick[i-from-1].d), int(o.c), int(o.d))
			}
			if l := loss + max(rest-bonus-o.own-o.rest, 0); l < e.room {
				pick[i-from] = o
				walk(i+1, l, o.rest)
			}
		}
	}
	best := math.Inf(-1)
	for _, o := range e.few[from] {
		best = max(best, o.own+o.rest)
	}
	walk(from, 0, best)
	slices.SortStableFunc(u.ways, func(a, b way) int { return cmp.Compare(a.loss, b.loss) })
	return u
}

// prune takes away ways that use no less than another of the unit and are worth
// no more, and notes what the others use. The first one stays.
func (e *counting) prune(u *unit) {
	kept := u.ways[:0]
	for _, w := range u.ways {
		if !slices.ContainsFunc(kept, func(k way) bool {
			saved := 0.0
			for j, v := range w.use {
				if k.use[j] > v {
					return false
				}
				saved += e.price[j] * (v - k.use[j])
			}
			return k.loss+saved <= w.loss
		}) {
			kept = append(kept, w)
		}
	}
	u.ways = kept
	e.span(u)
}

func (e *counting) span(u *unit) {
	u.low, u.high = slices.Clone(u.ways[0].use), slices.Clone(u.ways[0].use)
	for _, w := range u.ways {
		for j, v := range w.use {
			u.low[j], u.high[j] = min(u.low[j], v), max(u.high[j], v)
		}
	}
}

// order are the units that have a choice, those first that can use most more or
// less: so that what is left to do can make good but little.
func (e *counting) order() []int {
	var order []int
	size := make([]float64, len(e.units))
	for x, u := range e.units {
		for j, p := range e.price {
			size[x] += p * (u.high[j] - u.low[j])
		}
		if len(u.ways) > 1 {
			order = append(order, x)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(size[b], size[a]) })
	return order
}

// tilt is another set of prices, for a second opinion on what a way can still
// come to: when some units use more than their share, the others have to make it
// good, and at the prices of the bound that seems to cost nothing.
type tilt struct {
	more  []float64 // by limit: the price less that of the bound
	top   []float64 // by unit: the most that its ways gain
	bound float64   // of all plans
}

// gain is what a way gains at the prices of a tilt, against the best way at the
// prices of the bound.
func (t *tilt) gain(w *way) float64 {
	g := -w.loss
	for j, m := range t.more {
		g -= m * w.use[j]
	}
	return g
}

func (e *counting) newTilt(more []float64) tilt {
	t := tilt{more: more, top: make([]float64, len(e.units)), bound: e.bound}
	for j, m := range more {
		t.bound += m * e.left[j]
	}
	for x := range e.units {
		for y := range e.units[x].ways {
			t.top[x] = max(t.top[x], t.gain(&e.units[x].ways[y]))
		}
		t.bound += t.top[x]
	}
	return t
}

// tilt makes the price of one or two limits a little higher or lower, as far as
// that still gives a bound within the room, and takes away the ways that any of
// these rules out.
func (e *counting) tilt() {
	var one [][]float64
	for j, p := range e.price {
		for _, sign := range []float64{1, -1} {
			most := 0.0
			for step := 0.01 * (p + 0.01); ; step *= 1.5 {
				more := make([]float64, len(e.price))
				more[j] = max(sign*step, -p)
				if more[j] == most || e.newTilt(more).bound-e.bound > 0.5*e.room {
					break
				}
				most = more[j]
			}
			if most != 0 {
				more := make([]float64, len(e.price))
				more[j] = most
				one = append(one, more)
			}
		}
	}
	for x, a := range one {
		e.rule(a)
		for _, b := range one[x+1:] {
			both := make([]float64, len(a))
			for j := range both {
				both[j] = a[j] + b[j]
			}
			e.rule(both)
		}
	}
	for x, t := range e.tilts {
		e.tilts[x] = e.newTilt(t.more)
	}
}

// rule keeps a tilt and takes away the ways that it rules out, but for the first
// of a unit.
func (e *counting) rule(more []float64) {
	t := e.newTilt(more)
	if t.bound-e.bound >= 1.5*e.room {
		return
	}
	e.tilts = append(e.tilts, t)
	for x := range e.units {
		u := &e.units[x]
		kept := u.ways[:1]
		for _, w := range u.ways[1:] {
			if t.bound-t.top[x]+t.gain(&w) > e.bound-e.room {
				kept = append(kept, w)
			}
		}
		if len(kept) < len(u.ways) {
			u.ways = kept
			e.span(u)
		}
	}
}
