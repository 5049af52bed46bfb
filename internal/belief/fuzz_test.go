package belief_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/belief"
	"leafturn/internal/estimate"
)

// sane fails on a belief that says anything that is not a number or not in
// order.
func sane(t *testing.T, b belief.Belief) {
	t.Helper()
	in, err := b.Interval(0.9)
	if err != nil {
		t.Fatal(err)
	}
	last := 1.0
	for _, m := range []float64{1e-5, 0.01, 1, 7, 5000, 2e4} {
		p := b.Exceeds(m)
		if !(p >= 0 && p <= last) {
			t.Fatalf("chance %v of %v after %v", p, m, last)
		}
		last = p
	}
	m, s := b.Mean(), b.SDLn()
	if !(in.Low >= belief.Lowest*(1-1e-9) && in.Low <= in.High*(1+1e-6) && in.High <= belief.Highest*(1+1e-9)) || !(m > 0 && m <= belief.Highest*(1+1e-9)) || !(s >= 0 && s < 20) {
		t.Fatalf("%+v mean %v sd %v", in, m, s)
	}
}

// FuzzUpdate feeds every public function with any arguments: they return an
// error or sane numbers.
func FuzzUpdate(f *testing.F) {
	f.Add([]byte{0, 0, 1, 9}, 0, 0, 0, 1.0, 3.3, 1.49, 0.0, 0.95, 7, 0.0, 0.07, 0.02, 42.0)
	f.Add([]byte{255, 255, 255, 255}, 3, 9, 2, 0.3, 0.0, 0.0, 0.5, 0.8, 300, 5.0, 0.0, 0.0, 1e-3)
	f.Add([]byte{}, 0, 40, 0, 1e3, 0.0, 0.0, math.Inf(1), 0.999, 1, -5.0, 5.0, 25.0, 1e6)
	f.Add([]byte{1}, 0, 0, 0, 0.0, 1e6, 2.0, 0.0, 1e-6, 2, math.NaN(), 0.0, 0.0, 1.0)
	f.Fuzz(func(t *testing.T, raw []byte, infested, looked, tally int, scale, a, b, k, level float64, days int, rate, sd, noise, half float64) {
		if len(raw) > 60 || tally > 50 || looked > 2000 { // others are only slow
			return
		}
		counts := make([]int, len(raw))
		for i, x := range raw {
			counts[i] = int(x)
			if x > 250 {
				counts[i] = 1 << (x - 250) * 1000
			}
		}
		c := belief.Clump{A: a, B: b, K: k}
		e := belief.Evidence{Counts: counts, Scale: scale, Presence: estimate.Presence{Infested: infested, Looked: looked, Tally: tally}}
		post, err := belief.Update(belief.Weak(), e, c)
		if err == nil {
			sane(t, post)
			if in, err := belief.SampleInterval(e, c, level); err == nil && !(in.Low >= 0 && in.Low <= in.High && (in.High > 0)) {
				t.Fatalf("%+v", in)
			}
		}
		old, err := belief.Carry(post, days, belief.Growth{Rate: rate, RateSD: sd, Noise: noise, HalfLife: half, ResetAfter: 120})
		if err == nil {
			sane(t, old)
			if again, err := belief.Update(old, e, c); err == nil {
				sane(t, again)
			}
		}
		pool, err := belief.PoolTaylor(belief.Law{A: a, B: b, K: k, SE: sd, Weight: noise}, []belief.MomentPair{{Mean: rate, Variance: half, N: days}, {Mean: level, Variance: scale, N: looked}})
		if err == nil && (!(pool.A > 0) && !(pool.K > 0) || pool.A > 0 && !(pool.B >= 1 && pool.B <= 2)) {
			t.Fatalf("%+v", pool)
		}
	})
}

// FuzzUnmarshal: what is accepted is sane and is written back as it was read.
func FuzzUnmarshal(f *testing.F) {
	for _, b := range []belief.Belief{belief.Weak(), must(belief.Update(belief.Weak(), belief.Evidence{Date: day, Counts: []int{3}}, mites))} {
		raw, err := b.MarshalBinary()
		if err != nil {
			f.Fatal(err)
		}
		f.Add(raw)
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		var b belief.Belief
		if b.UnmarshalBinary(raw) != nil {
			return
		}
		sane(t, b)
		again, err := b.MarshalBinary()
		if err != nil || string(again) != string(raw) {
			t.Fatalf("%v, %d bytes from %d", err, len(again), len(raw))
		}
	})
}

// strange are the numbers that break arithmetic, among ordinary ones.
var strange = []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, 5e-324, 1e-300, 1e-9, 1e-3, 0.5, 0.95, 1, 1 - 0x1p-53, 1.5, 2, 40, 1e6, 1e300, math.MaxFloat64, -1, -1e300}

// readers fails where what reads a belief gives no chance or density.
func readers(t *testing.T, b belief.Belief, a, p float64) {
	t.Helper()
	sane(t, b)
	for _, r := range []*belief.Reader{b.Read(), nil, {}} {
		if c := r.Exceeds(a); !(c >= 0 && c <= 1) {
			t.Fatalf("chance %v of %v", c, a)
		}
		if q := r.Quantile(p); !math.IsNaN(p) && !(q >= belief.Lowest && q <= belief.Highest) {
			t.Fatalf("quantile %v is %v", p, q)
		}
		var ln [4]float64
		r.LnQuantiles([]float64{0, 0.025, 0.5, 1}, ln[:])
		if !slices.IsSorted(ln[:]) || math.IsNaN(ln[0]+ln[3]) {
			t.Fatalf("ln quantiles %v", ln)
		}
		if in, err := r.Interval(p); err == nil && !(in.Low <= in.High*(1+1e-6)) {
			t.Fatalf("interval %v is %v", p, in)
		}
	}
	for _, weights := range []func() (density, weight []float64){b.Weights, func() ([]float64, []float64) { return b.WeightsAbout(a) }} {
		density, w := weights()
		sum, over := 0.0, 0.0
		for i, x := range w {
			if sum += x; density[i] >= a {
				over += x
			}
		}
		if !(math.Abs(sum-1) < 1e-6) || len(density) != len(w) || !slices.IsSorted(density) {
			t.Fatalf("weights sum to %v", sum)
		}
		if c := b.Exceeds(a); len(w) > 641 && !(math.Abs(over-c) < 1e-6) {
			t.Fatalf("weights over %v sum to %v, the chance is %v", a, over, c)
		}
	}
}

// others calls what FuzzUpdate does not.
func others(t *testing.T, n int, a, b, c, d float64) {
	t.Helper()
	weak := belief.Weak()
	readers(t, weak, a, b)
	if prior, err := belief.FromPrior(estimate.GammaPrior(a, b)); err == nil {
		readers(t, prior, c, d)
	}
	post, err := belief.Update(weak, belief.Evidence{Date: day, Counts: []int{3, 0, 14, 1}}, mites)
	if err != nil {
		t.Fatal(err)
	}
	g := belief.Growth{Rate: a, RateSD: b, Noise: c, HalfLife: d, ResetAfter: 120, SeasonStart: day.AddDays(n % 1000)}
	ahead, err := belief.LookAhead(post, n, g)
	carried, cerr := belief.Carry(post, n, g)
	if (err == nil) != (cerr == nil) {
		t.Fatalf("%v and %v", err, cerr)
	}
	for _, x := range []*belief.Ahead{ahead, nil, {}} {
		if p := x.Exceeds(a); !(p >= 0 && p <= 1+1e-9) {
			t.Fatalf("chance %v of %v ahead", p, a)
		}
		sane(t, x.Belief())
	}
	if cerr == nil {
		readers(t, carried, a, b)
	}
	law := belief.Clump{A: a, B: b, K: c}
	if k := law.At(d); math.IsNaN(k) {
		t.Fatalf("%+v at %v: k is NaN", law, d)
	}
	if l, err := belief.NewLikelihood(law, d); err == nil {
		if b, err := l.Update(weak, belief.Evidence{Counts: []int{2, 0, 40_000}, Scale: d}); err == nil {
			readers(t, b, a, 0.9)
			if p := b.Read().Exceeds(a); !(p >= 0 && p <= 1) {
				t.Fatalf("chance %v of %v", p, a)
			}
		}
	}
	pool, err := belief.PoolTaylor(belief.Law{A: a, B: b, K: c, SE: d, Weight: math.Abs(c)}, []belief.MomentPair{{Mean: d, Variance: a, N: n}, {Mean: 2, Variance: 7, N: 9}})
	if err == nil && (math.IsNaN(pool.A+pool.B+pool.SELnA+pool.SEB+pool.SELnK) || math.IsNaN(pool.K)) {
		t.Fatalf("pool %+v", pool)
	}
	if in, err := belief.SampleInterval(belief.Evidence{Counts: []int{n, 3, 0}, Scale: d}, law, a); err == nil && !(in.Low >= 0 && in.Low <= in.High) {
		t.Fatalf("interval %v", in)
	}
}

// Every function answers every strange number, soon, and with a number or an
// error.
func TestStrangeNumbers(t *testing.T) {
	for i, a := range strange {
		for j, b := range strange {
			others(t, []int{0, 1, 7, 300, math.MaxInt, -1}[(i+j)%6], a, b, strange[(3*i+j)%len(strange)], strange[(i+7*j+2)%len(strange)])
		}
	}
}

// What used to panic, to hang or to be NaN without a word.
func TestStrangeNumbers_Mended(t *testing.T) {
	nan := math.NaN()
	_, err := belief.FromPrior(nil)
	require.ErrorIs(t, err, belief.ErrDomain)
	_, err = belief.FromPrior(estimate.GammaPrior(nan, 1))
	require.ErrorIs(t, err, belief.ErrDomain)
	_, err = belief.FromPrior(func(m float64) float64 { return 1e300 * math.Sin(m) })
	require.ErrorIs(t, err, belief.ErrDomain)
	_, err = belief.PoolTaylor(belief.Law{A: 2, B: 1.5, Weight: 1e-300, SE: 1}, nil)
	require.ErrorIs(t, err, belief.ErrDomain)
	var none *belief.Likelihood
	_, err = none.Update(belief.Weak(), belief.Evidence{})
	require.ErrorIs(t, err, belief.ErrDomain)
	for _, r := range []*belief.Reader{nil, {}} {
		require.Equal(t, belief.Weak().Exceeds(3), r.Exceeds(3))
		require.Equal(t, belief.Weak().Median(), r.Median())
	}
	for _, a := range []*belief.Ahead{nil, {}} {
		require.Equal(t, belief.Weak().Exceeds(3), a.Exceeds(3))
		require.True(t, a.Belief().IsWeak())
	}
	// It used to try tens of millions of totals one by one.
	start := time.Now()
	_, err = belief.SampleInterval(belief.Evidence{Presence: estimate.Presence{Infested: 50_000, Looked: 100_000, Tally: 1000}}, belief.Clump{A: 1e-6, B: 1}, 0.95)
	require.ErrorIs(t, err, belief.ErrDomain)
	require.Less(t, time.Since(start), 30*time.Second)
}

// FuzzOthers feeds any numbers to what FuzzUpdate does not call.
func FuzzOthers(f *testing.F) {
	f.Add(7, 1.0, 0.2, 3.0, 0.9)
	f.Add(0, math.NaN(), 1e300, 5e-324, math.Inf(1))
	f.Add(300, 1e-6, 2.0, 1e-3, 40.0)
	f.Fuzz(func(t *testing.T, n int, a, b, c, d float64) { others(t, n, a, b, c, d) })
}
