package belief_test

import (
	"math"
	"testing"

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
