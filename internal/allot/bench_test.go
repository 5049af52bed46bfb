package allot_test

import (
	"context"
	"math/rand/v2"
	"os/exec"
	"slices"
	"testing"
	"time"

	"leafturn/internal/allot"
)

const benchFields = 30

// timed solves a problem within ten seconds, and reports whether it is proved.
func timed(b *testing.B, p allot.Problem) (plan allot.Plan, seconds float64) {
	ctx, cancel := context.WithTimeout(background, 10*time.Second)
	defer cancel()
	begin := time.Now()
	plan, err := allot.Solve(ctx, p, allot.Options{})
	if err != nil {
		b.Fatal(err)
	}
	return plan, time.Since(begin).Seconds()
}

// 30 invented fields of 200 beds, 24 covers and all rules. ns/op is that of all
// of them.
func BenchmarkSolve(b *testing.B) {
	families := []struct {
		name string
		draw func(*rand.Rand, int, int, bool) allot.Problem
	}{{"fine", instance}, {"coarse", coarse}}
	for _, f := range families {
		b.Run(f.name, func(b *testing.B) {
			var seconds []float64
			open := 0
			for b.Loop() {
				seconds, open = nil, 0
				for seed := range uint64(benchFields) {
					plan, s := timed(b, f.draw(rand.New(rand.NewPCG(seed, 2)), 200, 24, true))
					seconds = append(seconds, s)
					if !plan.Proved {
						open++
					}
				}
			}
			slices.Sort(seconds)
			b.ReportMetric(seconds[len(seconds)/2], "median-s")
			b.ReportMetric(seconds[len(seconds)-1], "worst-s")
			b.ReportMetric(float64(open), "unproved")
		})
	}
}

// The time against CBC's on the same model, one after the other. The coarse
// fields are left out: CBC takes up to a quarter of an hour for one.
func BenchmarkSolveBesideCBC(b *testing.B) {
	if _, err := exec.LookPath("cbc"); err != nil {
		b.Skip("cbc is not installed: nothing to compare with")
	}
	var ratios []float64
	for b.Loop() {
		ratios = nil
		for seed := range uint64(benchFields) {
			p := instance(rand.New(rand.NewPCG(seed, 2)), 200, 24, true)
			plan, ours := timed(b, p)
			want, theirs := cbc(b, model(b, p))
			if plan.Value < want-1e-5 || plan.Value > want+1e-5 {
				b.Fatalf("field %d: %v, CBC finds %v", seed, plan.Value, want)
			}
			ratios = append(ratios, ours/theirs)
			b.Logf("field %d: %.3f s, CBC %.2f s", seed, ours, theirs)
		}
	}
	slices.Sort(ratios)
	b.ReportMetric(ratios[len(ratios)/2], "median-of-cbc")
	b.ReportMetric(ratios[len(ratios)-1], "worst-of-cbc")
}

// A contradiction among the rules of a small field, found again and again while
// the smallest set of rules that contradict each other is looked for.
func BenchmarkPossible(b *testing.B) {
	p := instance(rand.New(rand.NewPCG(1, 2)), 12, 12, true)
	for i := range p.Limits[3].Bare {
		p.Limits[3].Bare[i] = 1 // hardly a bed may be bare, and there is no money
	}
	p.Limits[3].Most, p.Limits[0].Most = 1, 1
	for b.Loop() {
		if may, err := allot.Possible(background, p, allot.Options{}); may || err != nil {
			b.Fatal(may, err)
		}
	}
}
