package allot

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
)

// behind runs the dynamic programmes from the ends of the rows: back is the
// most that the beds after a bed add to its choices.
func (k *chain) behind(o open) {
	f, n := k.f, k.f.choices
	if k.back == nil {
		k.back = make([]float64, f.beds*n*n)
	}
	var all float64
	var first [Windows][MostCovers]float64
	for i := f.beds - 1; i >= 0; i-- {
		end := f.last[i]
		back := k.back[i*n*n : (i+1)*n*n]
		next := math.Inf(-1)
		var firstHere [Windows][MostCovers]float64
		for w := range Windows {
			for c := range n {
				firstHere[w][c] = math.Inf(-1)
			}
		}
		for m := o[0][i]; m != 0; m &= m - 1 {
			c := bits.TrailingZeros64(m)
			for q := o[1][i] & f.next[i*n+c]; q != 0; q &= q - 1 {
				d := bits.TrailingZeros64(q)
				b := 0.0
				if !end {
					b = all
					if c != None {
						b = max(b, first[0][c]+f.Together[0])
					}
					if d != None {
						b = max(b, first[1][d]+f.Together[1])
						if c != None && o[0][i+1]>>c&1 != 0 && (o[1][i+1]&f.next[(i+1)*n+c])>>d&1 != 0 {
							b = max(b, k.own(i+1, c, d)+k.back[((i+1)*n+c)*n+d]+f.Together[0]+f.Together[1])
						}
					}
				}
				back[c*n+d] = b
				v := b + k.own(i, c, d)
				next = max(next, v)
				firstHere[0][c] = max(firstHere[0][c], v)
				firstHere[1][d] = max(firstHere[1][d], v)
			}
		}
		all, first = next, firstHere
	}
}

// own is what a bed gains by itself.
func (k *chain) own(i, c, d int) float64 {
	n := k.f.choices
	v := k.gain[0][i*n+c] + k.gain[1][i*n+d]
	if c|d == None {
		v -= k.bare[i]
	}
	return v
}

// shut closes what no better plan of the node can hold, and reports whether it
// closed much.
func (s *search) shut(n *node) bool {
	if math.IsInf(s.value, -1) {
		return false
	}
	f, k := s.f, s.k
	c := f.choices
	scarce := s.scarce(n)
	s.list(n)
	bound, top := s.relax(n, scarce)
	room := bound - s.value - s.close() // a plan that loses as much or more is no better
	if room <= 0 {
		n.bound = min(n.bound, bound)
		return false
	}
	was, now := 0, 0
	if f.together {
		k.behind(n.open)
	}
	row := 0.0
	for i := f.beds - 1; i >= 0; i-- {
		if f.last[i] {
			row = k.all[i]
		}
		least := [Windows][MostCovers]float64{}
		for w := range Windows {
			for x := range c {
				least[w][x] = math.Inf(1)
			}
		}
		top2 := math.Inf(-1)
		if !f.together {
			s.each(n.open, i, func(a, b int) { top2 = max(top2, k.own(i, a, b)) })
		}
		s.each(n.open, i, func(a, b int) {
			loss := 0.0
			if f.together {
				loss = row - k.best[(i*c+a)*c+b] - k.back[(i*c+a)*c+b]
			} else {
				loss = top2 - k.own(i, a, b)
			}
			least[0][a] = min(least[0][a], loss)
			least[1][b] = min(least[1][b], loss)
		})
		for w := range Windows {
			for m := n.open[w][i]; m != 0; m &= m - 1 {
				was++
				x := bits.TrailingZeros64(m)
				if least[w][x] >= room {
					n.open[w][i] &^= 1 << x
					continue
				}
				now++
			}
		}
	}
	if scarce {
		s.shutLots(n, top, room)
	}
	return now < was*9/10
}

// shutLots decides lots that must be in or out.
func (s *search) shutLots(n *node, top uint64, room float64) {
	may := n.covers() &^ n.in
	worst, next := math.Inf(1), 0.0
	for m := may; m != 0; m &= m - 1 {
		x := bits.TrailingZeros64(m)
		if top>>x&1 != 0 {
			worst = min(worst, s.beyond[x])
		} else {
			next = max(next, s.beyond[x])
		}
	}
	gone := uint64(0)
	for m := may; m != 0; m &= m - 1 {
		x := bits.TrailingZeros64(m)
		if top>>x&1 != 0 {
			if s.beyond[x]-next >= room {
				n.in |= 1 << x
			}
		} else if worst-s.beyond[x] >= room {
			gone |= 1 << x
		}
	}
	if gone != 0 {
		s.only(n, ^gone)
	}
	if bits.OnesCount64(n.in) == s.f.MaxLots {
		s.only(n, n.in)
	}
}

// state is a bed's pair of choices with what it gains, all after it included.
type state struct {
	c, d  int
	worth float64
}

// mostSteps bounds counting out.
const mostSteps = 30_000

// countOut tries all plans of the node that lose no more than its bound leaves
// room for. It reports false where there are too many.
func (s *search) countOut(n *node) bool {
	f, k := s.f, s.k
	s.list(n)
	bound, _ := s.relax(n, false)
	if math.IsInf(bound, -1) {
		return true
	}
	k.behind(n.open)
	e := &counting{s: s, bound: bound, price: n.price, pick: make([][Windows]int, f.beds), states: make([][]state, f.beds)}
	e.low, e.high = make([][]float64, len(f.Limits)), make([][]float64, len(f.Limits))
	for j := range f.Limits {
		e.low[j], e.high[j] = make([]float64, f.beds+1), make([]float64, f.beds+1)
	}
	for i := f.beds - 1; i >= 0; i-- {
		var list []state
		for j := range f.Limits {
			e.low[j][i], e.high[j][i] = math.Inf(1), math.Inf(-1)
		}
		s.each(n.open, i, func(c, d int) {
			list = append(list, state{c, d, k.own(i, c, d) + k.back[(i*f.choices+c)*f.choices+d]})
			for j := range f.Limits {
				u := f.used(j, i, c, d)
				e.low[j][i], e.high[j][i] = min(e.low[j][i], u), max(e.high[j][i], u)
			}
		})
		for j := range f.Limits {
			e.low[j][i] += e.low[j][i+1]
			e.high[j][i] += e.high[j][i+1]
		}
		slices.SortStableFunc(list, func(a, b state) int { return cmp.Compare(b.worth, a.worth) })
		e.states[i] = list
	}
	e.used = make([][]float64, f.beds+1)
	for i := range e.used {
		e.used[i] = make([]float64, len(f.Limits))
	}
	return e.bed(0, 0)
}

type counting struct {
	s         *search
	bound     float64
	price     []float64
	pick      [][Windows]int
	states    [][]state
	low, high [][]float64 // by limit and bed: the least and the most that this and later beds use
	used      [][]float64 // by bed and limit: what the beds before it use
	steps     int
}

// bed tries the states of bed i after a loss so far; it reports false where the
// steps ran out.
func (e *counting) bed(i int, loss float64) bool {
	s := e.s
	f := s.f
	used := e.used[i]
	if i == f.beds {
		for j, l := range f.Limits {
			if used[j] > l.Most-over {
				return true
			}
		}
		s.take(e.pick)
		return true
	}
	if e.steps++; e.steps > mostSteps {
		return false
	}
	most, bonus := 0.0, 0.0 // the best that could follow the bed before, and what a state may get besides its worth
	linked := f.together && i > 0 && !f.last[i-1]
	if linked {
		p := e.pick[i-1]
		most = s.k.back[((i-1)*f.choices+p[0])*f.choices+p[1]]
		bonus = f.Together[0] + f.Together[1]
	} else {
		if len(e.states[i]) == 0 {
			return true
		}
		most = e.states[i][0].worth
	}
	next := e.used[min(i+1, f.beds)]
	for _, x := range e.states[i] {
		room := e.bound - s.value - s.close() - loss
		if most-x.worth-bonus >= room {
			break
		}
		l := most - x.worth
		if linked {
			l -= f.bonus(e.pick[i-1][0], e.pick[i-1][1], x.c, x.d)
		}
		if l >= room {
			continue
		}
		waste := 0.0
		ok := true
		for j, lim := range f.Limits {
			next[j] = used[j] + f.used(j, i, x.c, x.d)
			if next[j]+e.low[j][i+1] > lim.Most-over {
				ok = false
				break
			}
			waste += e.price[j] * max(lim.Most-next[j]-e.high[j][i+1], 0)
		}
		if !ok || l+waste >= room {
			continue
		}
		e.pick[i] = [Windows]int{x.c, x.d}
		if !e.bed(i+1, loss+max(l, 0)) {
			return false
		}
	}
	return true
}
