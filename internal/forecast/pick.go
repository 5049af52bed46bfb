package forecast

import (
	"math"
	"slices"
)

// picker reads quantiles off unsorted values, and how many lie at or over a
// level: it counts them into buckets and looks only into the buckets where one
// of these falls.
type picker struct {
	low, high, scale float64
	bucket           []uint16
	count            [buckets + 1]int32
	wanted           [buckets]uint8
	held             [2*len(shares) + 1][]float64
}

const buckets = 2048

// shares are the quantiles of a day.
var shares = [5]float64{0.05, 0.25, 0.5, 0.75, 0.95}

// start takes n values from low to high.
func (k *picker) start(low, high float64, n int) {
	k.low, k.high, k.scale = low, high, 0
	if high-low > 1e-200 {
		k.scale = (buckets - 1) / (high - low)
	}
	k.bucket = slices.Grow(k.bucket[:0], n)[:n]
	clear(k.count[:])
}

// place is the bucket of a value. It never falls as the value rises.
func (k *picker) place(v float64) int { return int((v-k.low)*k.scale) & (buckets - 1) }

// add sets out to x, or to x + more, and counts it.
func (k *picker) add(x, more, out []float64) {
	n := len(x)
	bucket, out := k.bucket[:n], out[:n]
	low, scale := k.low, k.scale
	count := (*[buckets]int32)(k.count[1:])
	if more == nil {
		for p, v := range x {
			j := uint(int((v-low)*scale)) & (buckets - 1)
			bucket[p] = uint16(j)
			count[j]++
		}
		return
	}
	more = more[:n]
	for p, v := range x {
		v += more[p]
		out[p] = v
		j := uint(int((v-low)*scale)) & (buckets - 1)
		bucket[p] = uint16(j)
		count[j]++
	}
}

// hold moves the values of which since is no later than day to v.
func (k *picker) hold(x []float64, since []uint8, day uint8, v float64) {
	to := k.place(v)
	since = since[:len(x)]
	for p := range x {
		if since[p] <= day {
			k.count[int(k.bucket[p])+1]--
			k.count[to+1]++
			k.bucket[p], x[p] = uint16(to), v
		}
	}
}

// day returns the quantiles of exp(x), interpolated in x between the values
// next to them, and the number of values at or over level.
func (k *picker) day(x []float64, level float64) (Day, int) {
	n := len(x)
	for j := range buckets {
		k.count[j+1] += k.count[j]
	}
	// The buckets that are wanted, and where in them the ranks are.
	clear(k.wanted[:])
	used := uint8(0)
	want := func(j int) int {
		if k.wanted[j] == 0 {
			k.held[used] = k.held[used][:0]
			used++
			k.wanted[j] = used
		}
		return int(k.wanted[j]) - 1
	}
	var slot, in [2 * len(shares)]int
	for i := range slot {
		r := min(int(shares[i/2]*float64(n-1))+i%2, n-1)
		j, _ := slices.BinarySearch(k.count[1:], int32(r)+1)
		slot[i], in[i] = want(j), r-int(k.count[j])
	}
	over, levelSlot := 0, -1
	switch {
	case level <= k.low:
		over = n
	case level <= k.high:
		j := k.place(level)
		over, levelSlot = n-int(k.count[j+1]), want(j)
	}
	for i, j := range k.bucket[:n] {
		if s := k.wanted[j&(buckets-1)]; s > 0 {
			k.held[s-1] = append(k.held[s-1], x[i])
		}
	}
	if levelSlot >= 0 {
		for _, v := range k.held[levelSlot] {
			if v >= level {
				over++
			}
		}
	}
	for s := range used {
		slices.Sort(k.held[s])
	}
	var q [len(shares)]float64
	for i, s := range shares {
		a, b := k.held[slot[2*i]][in[2*i]], k.held[slot[2*i+1]][in[2*i+1]]
		_, t := math.Modf(s * float64(n-1))
		if q[i] = math.Exp(a + (b-a)*t); a+(b-a)*t <= none {
			q[i] = 0
		}
	}
	return Day{Low90: q[0], Low50: q[1], Median: q[2], High50: q[3], High90: q[4]}, over
}
