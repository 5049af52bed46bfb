package plots

import (
	"io"
	"testing"
)

// The overview of 5 pests in 8 beds, the picture drawn most often.
func benchOverview(b *testing.B, format string) {
	fig := sampleOverview(8)
	b.ReportAllocs()
	for b.Loop() {
		if err := Write(fig, io.Discard, format); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkOverviewPNG(b *testing.B) { benchOverview(b, "png") }
func BenchmarkOverviewSVG(b *testing.B) { benchOverview(b, "svg") }
func BenchmarkOverviewPDF(b *testing.B) { benchOverview(b, "pdf") }

func BenchmarkPressureSVG(b *testing.B) {
	fig := sampleSeveral()
	for b.Loop() {
		if err := Write(fig, io.Discard, "svg"); err != nil {
			b.Fatal(err)
		}
	}
}

// A bed's season with 200 units a visit, which the grower waits for.
func BenchmarkSeasonPNG(b *testing.B) {
	fig := seasonEdges()["season of 200 units a visit"]
	for b.Loop() {
		if err := Write(fig, io.Discard, "png"); err != nil {
			b.Fatal(err)
		}
	}
}
