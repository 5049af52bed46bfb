package belief_test

import (
	"testing"

	"leafturn/internal/belief"
	"leafturn/internal/testkit"
)

var visit, seeded = testkit.Visit, testkit.Seeded

var mites = belief.Clump{A: 3.3, B: 1.49}

func must(b belief.Belief, err error) belief.Belief {
	if err != nil {
		panic(err)
	}
	return b
}

// 40 units of mean 20 with counts up to about 100, k by Taylor's law: the
// dearest ordinary update.
func BenchmarkUpdate(b *testing.B) {
	x := visit(seeded(1, 1), 40, 20, 0.8)
	for name, c := range map[string]belief.Clump{"taylor": mites, "k": {K: 0.8}} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				must(belief.Update(belief.Weak(), belief.Evidence{Counts: x}, c))
			}
		})
	}
}

func BenchmarkCarry(b *testing.B) {
	w := must(belief.Update(belief.Weak(), belief.Evidence{Counts: visit(seeded(1, 2), 12, 2, 0.8)}, mites))
	b.ReportAllocs()
	for b.Loop() {
		must(belief.Carry(w, 7, belief.UnknownGrowth()))
	}
}

func BenchmarkExceeds(b *testing.B) {
	w := must(belief.Update(belief.Weak(), belief.Evidence{Counts: visit(seeded(1, 2), 12, 2, 0.8)}, mites))
	for b.Loop() {
		w.Exceeds(3)
	}
}

func BenchmarkSampleInterval(b *testing.B) {
	e := belief.Evidence{Counts: visit(seeded(1, 1), 40, 20, 0.8)}
	for b.Loop() {
		if _, err := belief.SampleInterval(e, mites, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkLookAhead is the chance over two levels in a week.
func BenchmarkLookAhead(b *testing.B) {
	w := must(belief.Update(belief.Weak(), belief.Evidence{Counts: visit(seeded(1, 2), 12, 2, 0.8)}, mites))
	for b.Loop() {
		a, err := belief.LookAhead(w, 7, belief.UnknownGrowth())
		if err != nil {
			b.Fatal(err)
		}
		a.Exceeds(3)
		a.Exceeds(5)
	}
}
