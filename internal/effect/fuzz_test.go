package effect_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/effect"
	"leafturn/internal/estimate"
)

// judged calls everything with counts, waits, days and clumping of every kind.
func judged(t *testing.T, total, units, wait, days int, k, a, b float64) {
	t.Helper()
	step := effect.Step{Name: "a", Key: "a", Product: true, Groups: []string{"5", ""}, Beds: []string{"A", "B"}, Date: day("2026-06-15"), WaitDays: wait}
	other := effect.Step{Name: "b", Key: "b", Beds: []string{"A"}, Date: civil.New(2026, 6, 15+days%1000)}
	counts := []effect.Count{count("A", "2026-06-12", total, units), count("A", "2026-06-22", units, total), count("B", "2026-06-11", 40, 10), count("B", "2026-06-23", 9, 10),
		count("C", "2026-06-12", total, 10), count("C", "2026-06-22", 50, units), {Bed: "A", Date: day("2026-06-20"), Unit: "trap", Total: total, Units: units}, {}}
	of := func(string, float64) float64 { return k }
	for _, steps := range [][]effect.Step{nil, {step}, {step, other}, {step, step}, {{}, step}} {
		for _, counts := range [][]effect.Count{nil, counts, counts[:4]} {
			for _, f := range []func(string, float64) float64{nil, of} {
				rs := effect.Judge(steps, counts, f, civil.New(2026, 7, 1+days%1000))
				for _, r := range rs {
					e := r.Efficacy
					if r.Known() == (r.Missing != "") || r.Words() == "" || math.IsNaN(e.Percent) || math.IsNaN(e.Low) || math.IsNaN(e.High) {
						t.Fatalf("%+v", r)
					}
				}
				owned(t, rs)
			}
		}
	}
	// Results made by hand.
	owned(t, []effect.Result{
		{Step: step, Method: effect.Abbott, Efficacy: estimate.Efficacy{Percent: k, Low: a, High: b, SELnRatio: k}},
		{Step: step, Method: effect.BeforeAndAfter, Efficacy: estimate.Efficacy{Percent: a, Low: b, High: a, SELnRatio: math.Abs(b)}},
		{Step: other, Method: effect.Abbott, Efficacy: estimate.Efficacy{Percent: 50, Low: 20, High: 70, SELnRatio: 0.2}},
	})
}

func owned(t *testing.T, rs []effect.Result) {
	t.Helper()
	for _, o := range effect.Pool(rs) {
		if math.IsNaN(o.Percent) || !(o.Low <= o.Percent && o.Percent <= o.High) || o.Words() == "" {
			t.Fatalf("%+v", o)
		}
		_ = o.PassedOver()
	}
	effect.Resistance(rs)
}

// What used to panic, or to give a wrong reason.
func TestStrangeNumbers_Mended(t *testing.T) {
	step := effect.Step{Name: "a", Key: "a", Beds: []string{"A"}, Date: day("2026-06-15"), WaitDays: 5}
	counts := []effect.Count{count("A", "2026-06-12", 40, 10), count("A", "2026-06-22", 4, 10)}
	for _, k := range []func(string, float64) float64{nil, func(string, float64) float64 { return math.NaN() }, func(string, float64) float64 { return 0 }} {
		r := effect.Judge([]effect.Step{step}, counts, k, today)[0]
		require.False(t, r.Known())
		require.Equal(t, "how clumped the animals are is not known", r.Words())
	}
	// A count that no units hold does not count.
	counts[1].Total = -4
	r := effect.Judge([]effect.Step{step}, counts, poisson, today)[0]
	require.False(t, r.Known())
	require.Contains(t, r.Words(), "no valid count")
	// A wait over all days is one of ten years.
	step.WaitDays = math.MaxInt
	require.False(t, effect.Judge([]effect.Step{step}, counts, poisson, today)[0].Known())
	// A result without bounds tells nothing to the others.
	rs := []effect.Result{
		{Step: step, Method: effect.Abbott, Efficacy: estimate.Efficacy{Percent: 50, Low: math.Inf(-1), High: 100, SELnRatio: 1e300}},
		{Step: step, Method: effect.Abbott, Efficacy: estimate.Efficacy{Percent: 50, Low: 20, High: 70, SELnRatio: 0.2}},
	}
	require.Equal(t, effect.Pool(rs[1:]), effect.Pool(rs))
}

// FuzzJudge feeds any numbers to every function.
func FuzzJudge(f *testing.F) {
	f.Add(40, 10, 5, 3, 0.8, 20.0, 70.0)
	f.Add(math.MaxInt, math.MaxInt, math.MaxInt, -900, 5e-324, math.Inf(-1), 100.0)
	f.Add(-1, 0, math.MinInt, 0, math.NaN(), 100.0, -1e300)
	f.Add(0, 1, 0, 999, 1e-90, math.NaN(), math.Inf(1))
	f.Fuzz(func(t *testing.T, total, units, wait, days int, k, a, b float64) {
		judged(t, total, units, wait, days, k, a, b)
	})
}
