package allot

import (
	"math"
	"math/bits"
)

// field is a problem laid out for computing: value and use of choice c in bed i
// stand at i*choices+c.
type field struct {
	*Problem
	beds, choices int
	value         [Windows][]float64
	use           [][Windows][]float64 // by limit
	bare          [][]float64          // by limit and bed
	next          []uint64             // by bed and first choice: the second ones that may follow
	last          []bool               // by bed: the row ends
	together      bool
}

func (p *Problem) field() *field {
	f := &field{Problem: p, beds: len(p.Beds), choices: p.choices()}
	for w := range Windows {
		f.value[w] = make([]float64, f.beds*f.choices)
		f.together = f.together || p.Together[w] > 0
	}
	f.next = make([]uint64, f.beds*f.choices)
	f.last = make([]bool, f.beds)
	for i, b := range p.Beds {
		f.last[i] = i+1 == f.beds || p.Beds[i+1].Row != b.Row
		for c := range f.choices {
			for w := range Windows {
				f.value[w][i*f.choices+c] = b.Value[w][c]
			}
			for d := range f.choices {
				if f.follows(b, c, d) {
					f.next[i*f.choices+c] |= 1 << d
				}
			}
		}
	}
	f.Problem = p.scaled()
	for _, l := range f.Limits {
		var use [Windows][]float64
		for w := range Windows {
			use[w] = make([]float64, 0, f.beds*f.choices)
			for i := range p.Beds {
				use[w] = append(use[w], l.Use[i][w]...)
			}
		}
		f.use = append(f.use, use)
		f.bare = append(f.bare, l.Bare)
	}
	return f
}

// scaled is the problem with the uses of each limit at most 1, so that its price
// is of the order of a value.
func (p *Problem) scaled() *Problem {
	q := *p
	q.Limits = make([]Limit, len(p.Limits))
	for k, l := range p.Limits {
		top := 0.0
		for i := range l.Use {
			for w := range Windows {
				for _, u := range l.Use[i][w] {
					top = max(top, math.Abs(u))
				}
			}
			if l.Bare != nil {
				top = max(top, math.Abs(l.Bare[i]))
			}
		}
		if top == 0 {
			top = 1
		}
		m := Limit{Use: make([][Windows][]float64, len(l.Use)), Most: l.Most / top, Bare: make([]float64, len(l.Use))}
		for i := range l.Use {
			for w := range Windows {
				for _, u := range l.Use[i][w] {
					m.Use[i][w] = append(m.Use[i][w], u/top)
				}
			}
			if l.Bare != nil {
				m.Bare[i] = l.Bare[i] / top
			}
		}
		q.Limits[k] = m
	}
	return &q
}

// follows reports whether a bed may carry c and then d: both open, and not to
// be kept apart.
func (f *field) follows(b Bed, c, d int) bool {
	if math.IsNaN(b.Value[0][c]) || math.IsNaN(b.Value[1][d]) {
		return false
	}
	return b.Apart == nil || b.Apart[c]>>d&1 == 0
}

// open is the choices that are open, by window and bed.
type open [Windows][]uint64

func (o open) clone() open {
	var out open
	for w := range o {
		out[w] = append([]uint64(nil), o[w]...)
	}
	return out
}

// allOpen are the choices that the problem leaves open.
func (f *field) allOpen() (o open) {
	for w := range o {
		o[w] = make([]uint64, f.beds)
		for i, b := range f.Beds {
			for c, v := range b.Value[w] {
				if !math.IsNaN(v) {
					o[w][i] |= 1 << c
				}
			}
		}
	}
	return o
}

// chain runs dynamic programmes along the rows.
type chain struct {
	f    *field
	gain [Windows][]float64 // of the choices, as it is priced
	bare []float64          // taken off a bed with no cover
	// best is the highest value of the beds of a row up to one, by bed and its
	// two choices; back the same of the beds after it.
	best, back []float64
	all        []float64          // by bed: the highest of best
	first      [Windows][]float64 // by bed and choice in a window: the highest of best
	pick       [][Windows]int
}

func newChain(f *field) *chain {
	n, c := f.beds, f.choices
	k := &chain{f: f, bare: make([]float64, n), best: make([]float64, n*c*c), all: make([]float64, n), pick: make([][Windows]int, n)}
	for w := range Windows {
		k.gain[w], k.first[w] = make([]float64, n*c), make([]float64, n*c)
	}
	return k
}

// before is the most that the beds before bed i add when it carries c and d.
func (k *chain) before(o open, i, c, d int) float64 {
	f := k.f
	if i == 0 || f.last[i-1] {
		return 0
	}
	b := k.all[i-1]
	if !f.together {
		return b
	}
	n := f.choices
	t := &f.Together
	if c != None {
		b = max(b, k.first[0][(i-1)*n+c]+t[0])
	}
	if d != None {
		b = max(b, k.first[1][(i-1)*n+d]+t[1])
		if c != None && o[0][i-1]>>c&1 != 0 && (o[1][i-1]&f.next[(i-1)*n+c])>>d&1 != 0 {
			b = max(b, k.best[((i-1)*n+c)*n+d]+t[0]+t[1])
		}
	}
	return b
}

// run returns the highest value of all rows, and sets pick to a plan that has it;
// -Inf where a bed has nothing open.
func (k *chain) run(o open) float64 {
	f, n := k.f, k.f.choices
	total := 0.0
	for i := range f.beds {
		all := math.Inf(-1)
		best := k.best[i*n*n : (i+1)*n*n]
		if f.together {
			for w := range Windows {
				first := k.first[w][i*n : (i+1)*n]
				for j := range first {
					first[j] = math.Inf(-1)
				}
			}
		}
		flat := 0.0
		if !f.together && i > 0 && !f.last[i-1] {
			flat = k.all[i-1]
		}
		var at [Windows]int
		for m := o[0][i]; m != 0; m &= m - 1 {
			c := bits.TrailingZeros64(m)
			g := k.gain[0][i*n+c] + flat
			row := best[c*n : c*n+n]
			for q := o[1][i] & f.next[i*n+c]; q != 0; q &= q - 1 {
				d := bits.TrailingZeros64(q)
				v := g + k.gain[1][i*n+d]
				if c|d == None {
					v -= k.bare[i]
				}
				if f.together {
					v += k.before(o, i, c, d)
					row[d] = v
					if v > k.first[0][i*n+c] {
						k.first[0][i*n+c] = v
					}
					if v > k.first[1][i*n+d] {
						k.first[1][i*n+d] = v
					}
				}
				if v > all {
					all, at = v, [Windows]int{c, d}
				}
			}
		}
		k.all[i], k.pick[i] = all, at
		if f.last[i] {
			total += all
		}
	}
	if f.together && !math.IsInf(total, -1) {
		k.trace(o)
	}
	return total
}

// trace goes back from the end of each row.
func (k *chain) trace(o open) {
	f, n := k.f, k.f.choices
	for i := f.beds - 1; i > 0; i-- {
		if f.last[i-1] {
			continue
		}
		// The bed before is the one that gives the most with the choice here.
		c, d := k.pick[i][0], k.pick[i][1]
		want := math.Inf(-1)
		for m := o[0][i-1]; m != 0; m &= m - 1 {
			a := bits.TrailingZeros64(m)
			for q := o[1][i-1] & f.next[(i-1)*n+a]; q != 0; q &= q - 1 {
				b := bits.TrailingZeros64(q)
				if v := k.best[((i-1)*n+a)*n+b] + f.bonus(a, b, c, d); v > want {
					want, k.pick[i-1] = v, [Windows]int{a, b}
				}
			}
		}
	}
}

// bonus is what neighbours with a, b and c, d add.
func (f *field) bonus(a, b, c, d int) float64 {
	t := 0.0
	if a == c && a != None {
		t += f.Together[0]
	}
	if b == d && b != None {
		t += f.Together[1]
	}
	return t
}

// worth is the value of a plan, and over by how much it is beyond each limit.
func (f *field) worth(pick [][Windows]int) (value float64) {
	for i, p := range pick {
		for w, c := range p {
			value += f.value[w][i*f.choices+c]
		}
		if i > 0 && !f.last[i-1] {
			value += f.bonus(pick[i-1][0], pick[i-1][1], p[0], p[1])
		}
	}
	return value
}

// used is what a bed uses of limit k.
func (f *field) used(k, i, c, d int) float64 {
	u := f.use[k][0][i*f.choices+c] + f.use[k][1][i*f.choices+d]
	if c|d == None {
		u += f.bare[k][i]
	}
	return u
}
