package forecast

import (
	"math"
	"slices"
)

// picker reads quantiles off unsorted values, and how many lie at or over a
// level: it strings them into buckets and looks only into the buckets where one
// of these falls.
type picker struct {
	low, high, scale float64
	bucket           [buckets]uint64 // the number of values over the place of the last one
	before           []uint32        // by value: the place of the one before it in its bucket
	few              []float64
}

const (
	buckets = 1024
	one     = 1 << 32 // value in a bucket
)

// shares are the quantiles of a day.
var shares = [5]float64{0.05, 0.25, 0.5, 0.75, 0.95}

// start takes n values from low to high.
func (k *picker) start(low, high float64, n int) {
	k.low, k.high, k.scale = low, high, 0
	if high-low > 1e-200 {
		k.scale = (buckets - 1) / (high - low)
	}
	k.before = slices.Grow(k.before[:0], n)[:n]
	clear(k.bucket[:])
}

// place is the bucket of a value. It never falls as the value rises.
func (k *picker) place(v float64) int { return int((v-k.low)*k.scale) & (buckets - 1) }

// add takes x.
func (k *picker) add(x []float64) {
	before := k.before[:len(x)]
	for p, v := range x {
		b := &k.bucket[uint(k.place(v))&(buckets-1)]
		before[p] = uint32(*b)
		*b = *b&^(one-1) + one | uint64(p)
	}
}

// addSum sets out to x + more, and takes it.
func (k *picker) addSum(x, more, out []float64) {
	n := len(x)
	before, out, more := k.before[:n], out[:n], more[:n]
	low, scale := k.low, k.scale
	for p, v := range x {
		v += more[p]
		out[p] = v
		b := &k.bucket[uint(int((v-low)*scale))&(buckets-1)]
		before[p] = uint32(*b)
		*b = *b&^(one-1) + one | uint64(p)
	}
}

// addHeld is addSum, but that the values of which since is no later than day
// are held at v.
func (k *picker) addHeld(x, more, out []float64, since []uint8, day uint8, held float64) {
	n := len(x)
	before, out, more, since := k.before[:n], out[:n], more[:n], since[:n]
	low, scale := k.low, k.scale
	for p, v := range x {
		v += more[p]
		if since[p] <= day {
			v = held
		}
		out[p] = v
		b := &k.bucket[uint(int((v-low)*scale))&(buckets-1)]
		before[p] = uint32(*b)
		*b = *b&^(one-1) + one | uint64(p)
	}
}

// day returns the quantiles of exp(x), interpolated in x between the values
// next to them, and the number of values at or over level.
func (k *picker) day(x []float64, level float64) (Day, int) {
	n := len(x)
	// The ranks on both sides of each share; among few values they overtake.
	var rank, of [2*len(shares) + 1]int
	var at [2 * len(shares)]float64
	for i := range at {
		r, j := min(int(shares[i/2]*float64(n-1))+i%2, n-1), i
		for ; j > 0 && rank[j-1] > r; j-- {
			rank[j], of[j] = rank[j-1], of[j-1]
		}
		rank[j], of[j] = r, i
	}
	rank[len(at)] = math.MaxInt
	over, levelIn := 0, -1
	switch {
	case level <= k.low:
		over = n
	case level <= k.high:
		levelIn = k.place(level)
	}
	below, r := 0, 0
	for j := 0; r < len(at) || j <= levelIn; j++ {
		b := k.bucket[j]
		upTo := below + int(b/one)
		for upTo <= rank[r] && j != levelIn {
			below = upTo
			j++
			b = k.bucket[j]
			upTo += int(b / one)
		}
		if upTo > rank[r] {
			k.sorted(b, x)
			for ; rank[r] < upTo; r++ {
				at[of[r]] = k.few[rank[r]-below]
			}
		}
		if j == levelIn {
			k.sorted(b, x)
			under, _ := slices.BinarySearch(k.few, level)
			over = n - below - under
		}
		below = upTo
	}
	var q [len(shares)]float64
	for i, s := range shares {
		a, b := at[2*i], at[2*i+1]
		_, t := math.Modf(s * float64(n-1))
		if q[i] = math.Exp(a + (b-a)*t); a+(b-a)*t <= none {
			q[i] = 0
		}
	}
	return Day{Low90: q[0], Low50: q[1], Median: q[2], High50: q[3], High90: q[4]}, over
}

// sorted sets few to what a bucket holds.
func (k *picker) sorted(bucket uint64, x []float64) {
	k.few = k.few[:0]
	for at := uint32(bucket); uint64(len(k.few)) < bucket/one; at = k.before[at] {
		k.few = append(k.few, x[at])
	}
	slices.Sort(k.few)
}
