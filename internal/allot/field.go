package allot

import (
	"math"
	"math/bits"
)

// field is a problem laid out for computing: value and use of choice c in bed i
// stand at i*choices+c. Uses are scaled so that the largest of a limit is 1 and
// its price is of the order of a value.
type field struct {
	*Problem
	beds, choices int
	limits, lots  int
	lotsOf        []uint64 // by choice
	value         [Windows][]float64
	use           [][Windows][]float64 // by limit
	bare          [][]float64          // by limit and bed
	most          []float64            // by limit, with the tolerance
	next          []uint64             // by bed and first choice: the second ones that may follow
	last          []bool               // by bed: the row ends
	reach         []float64            // by bed: the most that its neighbours can make of its choice
	idle          []float64            // by bed: what it is worth to hold no cover, or nil
	any           bool                 // any plan that is worth more than the best so far will do
	shared        bool                 // a bed may hold two choices that use the same lot
}

// tolerance of a limit, as a part of the largest use of it: the rounding of sums
// is not to break a rule.
const tolerance = 1e-9

func newField(p *Problem) *field {
	f := &field{Problem: p, beds: len(p.Beds), choices: p.choices(), limits: len(p.Limits), lotsOf: p.Lots}
	if f.lotsOf == nil {
		f.lotsOf = make([]uint64, f.choices)
		for c := 1; c < f.choices; c++ {
			f.lotsOf[c] = 1 << c
		}
	}
	all := uint64(0)
	for _, m := range f.lotsOf {
		all |= m
	}
	f.lots = bits.Len64(all)
	for w := range Windows {
		f.value[w] = make([]float64, 0, f.beds*f.choices)
	}
	f.next = make([]uint64, f.beds*f.choices)
	f.last = make([]bool, f.beds)
	f.reach = make([]float64, f.beds)
	for i, b := range p.Beds {
		f.last[i] = i+1 == f.beds || p.Beds[i+1].Row != b.Row
		for w := range Windows {
			f.value[w] = append(f.value[w], b.Value[w]...)
		}
		if i > 0 && !f.last[i-1] {
			f.reach[i] += p.Together[0] + p.Together[1]
			f.reach[i-1] += p.Together[0] + p.Together[1]
		}
		for c := range f.choices {
			for d := range f.choices {
				if f.follows(b, c, d) {
					f.next[i*f.choices+c] |= 1 << d
					f.shared = f.shared || f.lotsOf[c]&f.lotsOf[d] != 0
				}
			}
		}
	}
	for _, l := range p.Limits {
		f.addLimit(l)
	}
	return f
}

// follows reports whether a bed may hold c and then d: both open, and not to be
// kept apart.
func (f *field) follows(b Bed, c, d int) bool {
	if math.IsNaN(b.Value[0][c]) || math.IsNaN(b.Value[1][d]) {
		return false
	}
	return b.Apart == nil || b.Apart[c]>>d&1 == 0
}

func (f *field) addLimit(l Limit) {
	top := 0.0
	bare := make([]float64, f.beds)
	for i := range l.Use {
		for w := range Windows {
			for _, u := range l.Use[i][w] {
				top = max(top, math.Abs(u))
			}
		}
		if l.Bare != nil {
			bare[i] = l.Bare[i]
			top = max(top, math.Abs(bare[i]))
		}
	}
	if top == 0 {
		top = 1
	}
	var use [Windows][]float64
	for i := range l.Use {
		for w := range Windows {
			for _, u := range l.Use[i][w] {
				use[w] = append(use[w], u/top)
			}
		}
		bare[i] /= top
	}
	f.use, f.bare = append(f.use, use), append(f.bare, bare)
	f.most = append(f.most, l.Most/top+tolerance)
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

// allOpen are the choices that a plan can hold: those that the problem leaves
// open and that have a partner in the other window.
func (f *field) allOpen() (o open) {
	for w := range o {
		o[w] = make([]uint64, f.beds)
	}
	for i := range f.beds {
		for c := range f.choices {
			if m := f.next[i*f.choices+c]; m != 0 {
				o[0][i] |= 1 << c
				o[1][i] |= m
			}
		}
	}
	return o
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

// alone is what a bed is worth by itself.
func (f *field) alone(i, c, d int) float64 {
	v := f.value[0][i*f.choices+c] + f.value[1][i*f.choices+d]
	if f.idle != nil && c|d == None {
		v += f.idle[i]
	}
	return v
}

// worth is the value of a plan.
func (f *field) worth(pick [][Windows]int) (value float64) {
	for i, p := range pick {
		value += f.alone(i, p[0], p[1])
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

// left is what a plan leaves of each limit.
func (f *field) left(pick [][Windows]int) []float64 {
	left := make([]float64, f.limits)
	for k := range left {
		left[k] = f.most[k]
		for i, p := range pick {
			left[k] -= f.used(k, i, p[0], p[1])
		}
	}
	return left
}

// keeps reports whether a plan keeps all rules.
func (f *field) keeps(pick [][Windows]int) bool {
	lots := uint64(0)
	for i, p := range pick {
		if f.next[i*f.choices+p[0]]>>p[1]&1 == 0 {
			return false
		}
		lots |= f.lotsOf[p[0]] | f.lotsOf[p[1]]
	}
	if f.MaxLots > 0 && bits.OnesCount64(lots) > f.MaxLots {
		return false
	}
	for _, l := range f.left(pick) {
		if l < 0 {
			return false
		}
	}
	return true
}
