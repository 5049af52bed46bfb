package trend_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/trend"
)

// Six leaves a week for six weeks (invented counts, TR-03 of the methods'
// cases), k fitted as by MASS::glm.nb: 8.33 days there, too.
func ExampleGrowth() {
	v := weekly(0, []int{0, 0, 1, 0, 2, 0}, []int{1, 0, 0, 3, 0, 1}, []int{0, 4, 1, 0, 2, 2},
		[]int{5, 0, 3, 1, 9, 0}, []int{2, 12, 0, 7, 4, 6}, []int{15, 3, 8, 0, 21, 5})
	r, err := trend.Growth(v, estimate.Dispersion{})
	fmt.Println(r.Words(), err)
	c, err := trend.Crossing(r.Belief(), r.PerDay, r.SD, 20)
	fmt.Println(c.Words(), err)
	// Output:
	// about doubling every 8 days (6 to 14) <nil>
	// at this rate it could reach the threshold in about 10 days (chance 30 % within 7 days, 76 % within 14) <nil>
}

func BenchmarkGrowth(b *testing.B) {
	v := season(rand.New(rand.NewPCG(1, 1)), 6, 20, 3, 0.05, 0, func(float64) float64 { return 1 })
	for name, clump := range map[string]estimate.Dispersion{"k": {K: 1}, "Taylor": {A: 3.3, B: 1.49}, "fitted": {}} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := trend.Growth(v, clump); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkCrossing(b *testing.B) {
	for b.Loop() {
		if _, err := trend.Crossing(trend.Belief{LnMean: 0.2, LnSD: 0.4, Corr: 0.5}, 0.08, 0.03, 4); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkHotSpots(b *testing.B) {
	rng := rand.New(rand.NewPCG(2, 2))
	var field []trend.BedCount
	for i := range 40 {
		field = append(field, trend.BedCount{Code: string(rune('A' + i)), Total: sum(draw(rng, 10, 2, 1)), N: 10, K: 1})
	}
	for b.Loop() {
		if _, err := trend.HotSpots(field, 1.5); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMoran(b *testing.B) {
	var v []float64
	var cells [][2]int
	for i := range 60 {
		v, cells = append(v, math.Sin(float64(i))), append(cells, [2]int{i % 10, i / 10})
	}
	w := trend.Rook(cells).RowStandard()
	for b.Loop() {
		if _, err := trend.Moran(v, w); err != nil {
			b.Fatal(err)
		}
	}
}

// FuzzTrend feeds arbitrary counts and constants to every entry point: no
// panic, no NaN, intervals in order, chances from 0 to 1.
func FuzzTrend(f *testing.F) {
	f.Add([]byte{3, 0, 5, 1, 9, 4, 20, 11, 0, 2}, uint8(3), uint8(7), 1, 1.0, 0.05, 0.02)
	f.Add([]byte{0, 0, 0, 255, 255, 255}, uint8(1), uint8(1), 3_900_000, 1e-12, -4.0, 0.0)
	f.Add([]byte{1, 0, 0, 0, 0, 0, 0, 0, 1}, uint8(2), uint8(60), 1, math.Inf(1), 1e300, 1e300)
	f.Add([]byte{1, 2, 3}, uint8(0), uint8(0), -1, math.NaN(), math.Inf(-1), -1.0)
	f.Add([]byte{7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7}, uint8(4), uint8(14), 1, 3.3, 1e-300, 1e-300)
	f.Fuzz(func(t *testing.T, raw []byte, per, gap uint8, scale int, a, b, c float64) {
		raw = raw[:min(len(raw), 48)]
		ok := func(what string, v ...float64) {
			for _, x := range v {
				if math.IsNaN(x) {
					t.Fatalf("%s is NaN: %v for %v, %d a visit, gap %d, scale %d, %v %v %v", what, v, raw, per, gap, scale, a, b, c)
				}
			}
		}
		counts := make([]int, len(raw))
		for i, x := range raw {
			counts[i] = int(x) * (scale % 4_000_000)
		}
		var visits []trend.Visit
		var field []trend.BedCount
		var values []float64
		var cells [][2]int
		var xy [][2]float64
		step := int(per%8) + 1
		for i := 0; i < len(counts); i += step {
			part := counts[i:min(i+step, len(counts))]
			v := trend.Visit{Date: civil.New(2026, 5, 1+int(gap)*i/step), Counts: part}
			if i%3 == 2 {
				v = trend.Visit{Date: v.Date, Presence: estimate.Presence{Infested: len(part) / 2, Looked: len(part), Tally: int(gap % 5)}}
			}
			if i%2 == 1 {
				v.Scale = b
			}
			visits = append(visits, v)
			field = append(field, trend.BedCount{Total: sum(part), N: len(part), K: a})
			values = append(values, float64(sum(part))*b)
			cells = append(cells, [2]int{i % 4, i / 4})
			xy = append(xy, [2]float64{float64(i) * c, a})
		}
		for _, clump := range []estimate.Dispersion{{K: a}, {A: a, B: 1 + math.Mod(math.Abs(b), 1)}, {}} {
			r, err := trend.Growth(visits, clump)
			if err != nil {
				continue
			}
			days, low, high, _ := r.Time()
			factor, ci := r.Factor()
			ok("rate", r.PerDay, r.SE, r.SD, r.Low, r.High, r.LnNow, r.LnNowSD, r.Corr, r.K, r.Scatter, days, low, high, factor, ci.Low, ci.High)
			if r.Low > r.High || low > high || r.Words() == "" {
				t.Fatalf("rate upside down: %+v", r)
			}
			if ch, err := trend.Crossing(r.Belief(), r.PerDay, r.SD, math.Abs(c)); err == nil {
				ok("chance from the line", ch.At[:]...)
				ok("chance from the line", ch.Within[:]...)
			}
		}
		weight := make([]float64, len(values))
		for i := range weight {
			weight[i] = 1
		}
		for _, belief := range []trend.Belief{{LnMean: a, LnSD: b, Corr: math.Mod(c, 1)}, {LnMean: b, LnSD: math.Abs(c), Corr: 1}, {Density: values, Weight: weight, Corr: 0.3}} {
			if ch, err := trend.Crossing(belief, c, math.Abs(b), math.Abs(a)); err == nil {
				for d, p := range ch.Within {
					ok("chance", p, ch.At[d])
					if p < 0 || p > 1 || ch.At[d] > p || ch.At[d] < 0 {
						t.Fatalf("chance %v, %v on day %d of %+v, %v %v %v", ch.At[d], p, d, belief, c, b, a)
					}
				}
			}
		}
		if len(field) <= 12 {
			if s, err := trend.HotSpots(field, 1.5); err == nil {
				ok("field", s.Mean, s.Spread, s.ExpectedFalse)
				for _, bed := range s.Beds {
					ok("bed", bed.Mean, bed.Chance, bed.Raw)
					if s.Mean > 0 {
						ok("bed", bed.Times)
					}
					if bed.Chance < 0 || bed.Chance > 1 {
						t.Fatalf("chance of a bed: %+v", bed)
					}
				}
			}
		}
		if h := len(field) / 2; h > 0 {
			if r, err := trend.EdgeAgainstMiddle(field[:h], field[h:]); err == nil {
				ok("ratio", r.Ratio, r.Low, r.High, r.SELn)
				if r.Low > r.High || r.Words() == "" {
					t.Fatalf("ratio upside down: %+v", r)
				}
			}
		}
		for _, w := range []trend.Weights{trend.Rook(cells), trend.Queen(cells).RowStandard(), trend.Within(xy, math.Abs(b)), trend.Nearest(xy, int(per)), trend.InverseDistance(xy)} {
			if p, err := trend.Moran(values, w); err == nil {
				ok("Moran", p.I, p.Variance, p.Z, p.P)
			}
		}
	})
}
