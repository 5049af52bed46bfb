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
	// repeats are the choices of the last bed that matter to the next one.
	repeats [Windows]uint8
}

// mostWays bounds the ways of a unit.
const mostWays = 500

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
		e.span(&u)
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
	rest := math.Inf(-1)
	for _, o := range e.few[from] {
		rest = max(rest, o.own+o.rest)
	}
	ways := []way{{use: make([]float64, f.limits)}}
	for i := from; i <= to; i++ {
		if e.w.over() {
			e.cut = true
			ways = ways[:1]
		}
		var longer []way
		for _, w := range ways {
			for x := range e.few[i] {
				o := &e.few[i][x]
				bonus := 0.0
				if i > from {
					last := w.pick[len(w.pick)-1]
					rest = last.rest
					bonus = f.bonus(int(last.c), int(last.d), int(o.c), int(o.d))
				}
				loss := w.loss + max(rest-bonus-o.own-o.rest, 0)
				if loss >= e.room {
					continue
				}
				l := way{loss: loss, use: make([]float64, f.limits), pick: append(w.pick[:len(w.pick):len(w.pick)], o)}
				if i < to {
					l.repeats = e.repeats(i, o)
				}
				for j := range l.use {
					l.use[j] = w.use[j] + f.used(j, i, int(o.c), int(o.d))
				}
				longer = append(longer, l)
			}
		}
		slices.SortStableFunc(longer, func(a, b way) int { return cmp.Compare(a.loss, b.loss) })
		most := mostWays
		if e.cut {
			most /= 10
		}
		if len(longer) > 8*most {
			e.cut = true
			longer = longer[:8*most]
		}
		ways = e.prune(longer)
		if len(ways) > most {
			e.cut = true
			ways = ways[:most/10]
		}
	}
	return unit{from: from, ways: ways}
}

// repeats are those choices of an option of bed i that the next bed may repeat.
func (e *counting) repeats(i int, o *option) (r [Windows]uint8) {
	for _, n := range e.few[i+1] {
		if n.c == o.c {
			r[0] = o.c
		}
		if n.d == o.d {
			r[1] = o.d
		}
	}
	return r
}

// prune takes away ways that use no less than another one before them and are
// worth no more.
func (e *counting) prune(ways []way) []way {
	kept := ways[:0]
	for _, w := range ways {
		e.w.work += 10 + len(kept)
		if !slices.ContainsFunc(kept, func(k way) bool { return e.outdone(&w, &k) }) {
			kept = append(kept, w)
		}
	}
	return kept
}

// outdone reports whether way k can stand for w: it uses no more, is worth no
// less, and the beds after it see no difference.
func (e *counting) outdone(w, k *way) bool {
	if k.repeats != w.repeats {
		return false
	}
	saved := 0.0
	for j, v := range w.use {
		if k.use[j] > v+same {
			return false
		}
		saved += e.price[j] * (v - k.use[j])
	}
	return k.loss+saved <= w.loss+same
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
