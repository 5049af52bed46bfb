package sampling_test

import (
	"testing"

	"leafturn/internal/sampling"
)

var (
	benchMites = sampling.Question{Threshold: 5, Clump: sampling.Clump{TaylorA: 3.30, TaylorB: 1.49}, MaxUnits: 60}
	benchSlugs = sampling.Question{Threshold: 1, Clump: sampling.Clump{K: 0.8}, MaxUnits: 14, Beta: 0.2}
	benchTips  = sampling.Question{Threshold: 0.1, Percent: true, MaxUnits: 75}
)

func BenchmarkMakePlan(b *testing.B) {
	for name, q := range map[string]sampling.Question{"mites": benchMites, "slugs": benchSlugs, "tips": benchTips} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := sampling.MakePlan(q); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkRisk is one exact point of the curve; BenchmarkExact is the plain
// method of SPRT beside it, which carries all totals instead of those between
// the lines.
func BenchmarkRisk(b *testing.B) {
	q := benchMites
	q.Method = sampling.MethodWald
	p, err := sampling.MakePlan(q)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := p.Risk(5, 1); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkExact(b *testing.B) {
	q := benchMites
	q.Method = sampling.MethodWald
	p, err := sampling.MakePlan(q)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := p.Wald.Exact(5, p.KThreshold, 5, 60); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAt(b *testing.B) {
	p, err := sampling.MakePlan(benchMites)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := p.At(6, 25); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSettleMore(b *testing.B) {
	belief, err := sampling.LogNormal(1.2, 0.5, 0, 200)
	if err != nil {
		b.Fatal(err)
	}
	s := sampling.Settle{Belief: belief, Threshold: 1, Clump: sampling.Clump{K: 0.5}, ActAt: 0.8, HoldBelow: 0.2}
	for b.Loop() {
		if _, _, _, err := s.More(0.8, 100); err != nil {
			b.Fatal(err)
		}
	}
}
