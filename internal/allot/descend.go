package allot

import (
	"context"
	"math"
	"math/bits"
)

// worker searches nodes, with memory of its own.
type worker struct {
	ctx     context.Context
	f       *field
	k       *chain
	found   [][Windows]int // the best plan; nil: none yet
	value   float64        // of it; -Inf
	work    int            // of the node
	allowed int            // of work for the node

	top    uint64    // lots that the latest bound takes besides those that are in
	beyond []float64 // by lot: what the beds pay for it
	slope  []float64 // by limit

	// Means of the latest picks.
	often    []float64 // by bed, window and choice
	oftenLot []float64 // by bed and lot
	oftenIn  []float64 // by lot
	spent    []float64 // by limit: what they use
	part     float64   // that the next picks make
}

func newWorker(ctx context.Context, f *field) *worker {
	w := &worker{ctx: ctx, f: f, k: newChain(f), value: math.Inf(-1), beyond: make([]float64, f.lots), slope: make([]float64, f.limits),
		often: make([]float64, f.beds*Windows*f.choices), oftenLot: make([]float64, f.beds*f.lots), oftenIn: make([]float64, f.lots),
		spent: make([]float64, f.limits)}
	return w
}

// over reports whether the node has to be left.
func (w *worker) over() bool { return w.work > w.allowed || w.ctx.Err() != nil }

// proof is how near a bound must come to the value of a plan.
const proof = 1e-6

// settled reports whether no plan under a bound is better than the best, or none
// is called for.
func (w *worker) settled(bound float64) bool {
	return bound <= w.value+proof || w.f.any && w.found != nil
}

// relax prices the laid out node and returns its bound.
func (w *worker) relax(n *node, scarce bool) (bound float64) {
	f := w.f
	w.work += len(w.k.choice) * (3 + f.limits)
	for j, p := range n.price {
		bound += p * f.most[j]
	}
	w.top = 0
	if !scarce {
		w.k.priced(n.price, nil)
		return bound + w.k.run()
	}
	clear(w.beyond)
	for i := range f.beds {
		for l, v := range n.lot[i*f.lots : (i+1)*f.lots] {
			w.beyond[l] += v
		}
	}
	may := f.openLots(n) &^ n.in
	for free := f.MaxLots - bits.OnesCount64(n.in); free > 0 && may != 0; free-- {
		best := -1
		for m := may; m != 0; m &= m - 1 {
			if l := bits.TrailingZeros64(m); best < 0 || w.beyond[l] > w.beyond[best] {
				best = l
			}
		}
		may &^= 1 << best
		w.top |= 1 << best
		bound += w.beyond[best]
	}
	w.k.priced(n.price, n.lot)
	return bound + w.k.run()
}

// descend lowers the bound of a node by so many steps of the volume algorithm:
// the direction comes from the mean of the latest picks, which comes near the
// solution of the linear programme.
//
// Source: Barahona & Anbil 2000, Mathematical Programming 87:385-399 (from
// memory).
func (w *worker) descend(n *node, steps int) {
	f := w.f
	if !w.k.lay(n) {
		n.bound = math.Inf(-1)
		return
	}
	scarce := f.scarce(n)
	best := math.Inf(1)
	price, lot := append([]float64(nil), n.price...), append([]float64(nil), n.lot...)
	theta, idle := 1.0, 0
	worst := f.worst(n) - 1
	w.part = 1
	for step := range steps {
		if step > 0 && w.over() {
			break
		}
		bound := w.relax(n, scarce)
		if math.IsInf(bound, -1) {
			n.bound = bound
			return
		}
		w.average(n)
		if bound < best-1e-12*math.Abs(bound) {
			if bound < best-1e-5*math.Abs(bound) {
				idle = 0
				theta = min(theta*1.1, 2)
			}
			best = bound
			copy(price, n.price)
			copy(lot, n.lot)
		} else if idle++; idle > 10 {
			theta, idle = theta*0.66, 0
		}
		if best < worst {
			n.bound = math.Inf(-1) // there is no plan
			return
		}
		target := max(w.value, best-0.05*(1+math.Abs(best)))
		if w.settled(best) || theta*(best-target) < 1e-6*(1+math.Abs(best)) {
			break
		}
		norm := w.slopes(n, scarce)
		if norm < 1e-18 {
			break
		}
		t := theta * (best - target) / norm
		for j := range n.price {
			n.price[j] = max(price[j]-t*w.slope[j], 0)
		}
		if scarce {
			for i := range f.beds {
				for l := range f.lots {
					if x := i*f.lots + l; n.in>>l&1 == 0 {
						n.lot[x] = max(lot[x]-t*(w.oftenIn[l]-w.oftenLot[x]), 0)
					}
				}
			}
		}
	}
	n.bound = min(n.bound, best)
	n.price, n.lot = price, lot
}

// average moves the means towards the latest picks.
func (w *worker) average(n *node) {
	f := w.f
	part := w.part
	w.part = 0.1
	decay := func(x []float64) {
		for i := range x {
			x[i] *= 1 - part
		}
	}
	decay(w.often)
	decay(w.oftenLot)
	decay(w.oftenIn)
	decay(w.spent)
	for i, p := range w.k.pick {
		lots := uint64(0)
		for v, c := range p {
			w.often[(i*Windows+v)*f.choices+c] += part
			lots |= f.lotsOf[c]
		}
		for ; lots != 0; lots &= lots - 1 {
			w.oftenLot[i*f.lots+bits.TrailingZeros64(lots)] += part
		}
		for j := range w.spent {
			w.spent[j] += part * f.used(j, i, p[0], p[1])
		}
	}
	for m := w.top | n.in; m != 0; m &= m - 1 {
		w.oftenIn[bits.TrailingZeros64(m)] += part
	}
}

// slopes sets how the bound changes with the price of each limit, by the mean
// picks, and returns the square of the length of the whole direction.
func (w *worker) slopes(n *node, scarce bool) float64 {
	f := w.f
	norm := 0.0
	for j := range w.slope {
		v := f.most[j] - w.spent[j]
		if n.price[j] == 0 && v > 0 {
			v = 0
		}
		w.slope[j] = v
		norm += v * v
	}
	if scarce {
		for i := range f.beds {
			for l, often := range w.oftenLot[i*f.lots : (i+1)*f.lots] {
				v := w.oftenIn[l] - often
				if n.in>>l&1 != 0 || v > 0 && n.lot[i*f.lots+l] == 0 {
					continue
				}
				norm += v * v
			}
		}
	}
	return norm
}

// means is a copy of the mean picks that branching looks at.
func (w *worker) means() [2][]float64 {
	return [2][]float64{append([]float64(nil), w.often...), append([]float64(nil), w.oftenIn...)}
}

func (w *worker) restore(m [2][]float64) { w.often, w.oftenIn = m[0], m[1] }

// take keeps a plan that is better than the best.
func (w *worker) take(pick [][Windows]int) {
	if v := w.f.worth(pick); v > w.value {
		w.value, w.found = v, append(w.found[:0:0], pick...)
	}
}
