package allot

import (
	"math"
	"math/bits"
	"slices"
)

// guess makes a plan of a pick, mends it to keep the limits, and betters it bed
// by bed. The lots that are open must no longer bind.
func (w *worker) guess(o open, pick [][Windows]int) {
	pick = slices.Clone(pick)
	left := w.f.left(pick)
	if w.mend(o, pick, left) {
		w.better(o, pick, left)
		if w.f.keeps(pick) {
			w.take(pick)
		}
	}
}

// change is what a bed's new choices add, its neighbours where they are.
func (f *field) change(pick [][Windows]int, i, c, d int) float64 {
	p := pick[i]
	v := f.alone(i, c, d) - f.alone(i, p[0], p[1])
	if i > 0 && !f.last[i-1] {
		q := pick[i-1]
		v += f.bonus(q[0], q[1], c, d) - f.bonus(q[0], q[1], p[0], p[1])
	}
	if !f.last[i] {
		q := pick[i+1]
		v += f.bonus(q[0], q[1], c, d) - f.bonus(q[0], q[1], p[0], p[1])
	}
	return v
}

// each calls do for every pair of choices that is open in a bed.
func (f *field) each(o open, i int, do func(c, d int)) {
	for m := o[0][i]; m != 0; m &= m - 1 {
		c := bits.TrailingZeros64(m)
		for q := o[1][i] & f.next[i*f.choices+c]; q != 0; q &= q - 1 {
			do(c, bits.TrailingZeros64(q))
		}
	}
}

// mend changes beds, those first that lose least for what they free, until all
// limits are kept.
func (w *worker) mend(o open, pick [][Windows]int, left []float64) bool {
	f := w.f
	for range 4 * f.beds {
		short := 0.0
		for _, l := range left {
			short += max(-l, 0)
		}
		if short == 0 {
			return true
		}
		bed, to, least := -1, [Windows]int{}, math.Inf(1)
		for i := range f.beds {
			p := pick[i]
			f.each(o, i, func(c, d int) {
				now := 0.0
				for k, l := range left {
					now += max(f.used(k, i, c, d)-f.used(k, i, p[0], p[1])-l, 0)
				}
				if freed := short - now; freed > tolerance {
					if cost := -f.change(pick, i, c, d) / freed; cost < least {
						bed, to, least = i, [Windows]int{c, d}, cost
					}
				}
			})
		}
		if bed < 0 {
			return false
		}
		f.move(pick, left, bed, to)
	}
	return false
}

// move changes a bed and what is left of the limits.
func (f *field) move(pick [][Windows]int, left []float64, i int, to [Windows]int) {
	for k := range left {
		left[k] += f.used(k, i, pick[i][0], pick[i][1]) - f.used(k, i, to[0], to[1])
	}
	pick[i] = to
}

// better changes single beds while that adds value and keeps the limits.
func (w *worker) better(o open, pick [][Windows]int, left []float64) {
	f := w.f
	for more := true; more; {
		more = false
		for i := range f.beds {
			p, to, most := pick[i], pick[i], proof
			f.each(o, i, func(c, d int) {
				v := f.change(pick, i, c, d)
				if v <= most {
					return
				}
				for k, l := range left {
					if l+f.used(k, i, p[0], p[1])-f.used(k, i, c, d) < 0 {
						return
					}
				}
				to, most = [Windows]int{c, d}, v
			})
			if to != p {
				f.move(pick, left, i, to)
				more = true
			}
		}
	}
}
