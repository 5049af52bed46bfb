package forecast

import (
	"math"
	"slices"
)

// picker reads quantiles off unsorted values: it counts them into buckets and
// sorts the buckets that hold a quantile.
type picker struct {
	bucket []uint16
	sorted []float64
	count  [buckets + 1]int32
	wanted [buckets]int8
	held   [2 * len(shares)][]float64
}

const buckets = 1024

// shares are the quantiles of a day: 90 % band, 50 % band, median.
var shares = [5]float64{0.05, 0.25, 0.5, 0.75, 0.95}

// day returns the quantiles of exp(ln), interpolated between the values next
// to them in ln.
func (k *picker) day(ln []float64) Day {
	q := k.quantiles(ln)
	for i, v := range q {
		if q[i] = math.Exp(v); v <= none {
			q[i] = 0
		}
	}
	return Day{Low90: q[0], Low50: q[1], Median: q[2], High50: q[3], High90: q[4]}
}

func (k *picker) quantiles(x []float64) (q [len(shares)]float64) {
	n := len(x)
	lo, hi := x[0], x[0]
	for _, v := range x {
		lo, hi = min(lo, v), max(hi, v)
	}
	if !(hi-lo > 1e-200) {
		for i := range q {
			q[i] = lo
		}
		return q
	}
	k.bucket = slices.Grow(k.bucket[:0], n)[:n]
	clear(k.count[:])
	scale := (buckets - 1) / (hi - lo)
	for i, v := range x {
		j := uint16((v-lo)*scale) & (buckets - 1)
		k.bucket[i] = j
		k.count[j+1]++
	}
	for j := range buckets {
		k.count[j+1] += k.count[j]
	}
	// Which buckets hold a wanted rank.
	clear(k.wanted[:])
	var rank, in [2 * len(shares)]int // in all, and in the bucket
	var slot [2 * len(shares)]int8
	used := int8(0)
	j := 0
	for i, s := range shares {
		at := int(s * float64(n-1))
		rank[2*i], rank[2*i+1] = at, min(at+1, n-1)
	}
	for i, r := range rank {
		if i > 0 && r < rank[i-1] {
			j = 0
		}
		for int(k.count[j+1]) <= r {
			j++
		}
		if k.wanted[j] == 0 {
			used++
			k.wanted[j] = used
			k.held[used-1] = k.held[used-1][:0]
		}
		slot[i] = k.wanted[j] - 1
		in[i] = r - int(k.count[j])
	}
	for i, j := range k.bucket {
		if s := k.wanted[j]; s > 0 {
			k.held[s-1] = append(k.held[s-1], x[i])
		}
	}
	for s := range used {
		slices.Sort(k.held[s])
	}
	for i, s := range shares {
		a, b := k.held[slot[2*i]][in[2*i]], k.held[slot[2*i+1]][in[2*i+1]]
		_, t := math.Modf(s * float64(n-1))
		q[i] = a + (b-a)*t
	}
	return q
}
