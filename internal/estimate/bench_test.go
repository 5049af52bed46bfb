package estimate_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"leafturn/internal/estimate"
)

// nbSample draws n negative binomial counts with mean 3 and k 0.8: a Poisson
// count with a gamma mean. The seed is fixed.
func nbSample(n int, mean, k float64, seed uint64) []int {
	src := rand.NewPCG(seed, 7)
	g := distuv.Gamma{Alpha: k, Beta: k / mean, Src: src}
	x := make([]int, n)
	for i := range x {
		x[i] = int(distuv.Poisson{Lambda: g.Rand(), Src: src}.Rand())
	}
	return x
}

var benchSizes = []int{20, 100, 1000}

func BenchmarkFitNB(b *testing.B) {
	for _, n := range benchSizes {
		x := nbSample(n, 3, 0.8, 1)
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := estimate.FitNB(x); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkDensity(b *testing.B) {
	for name, disp := range map[string]estimate.Dispersion{"taylor": {A: 3.3, B: 1.49}, "k known": {K: 0.8}, "k unknown": {}} {
		for _, n := range []int{9, 40} {
			x := nbSample(n, 3, 0.8, 2)
			b.Run(fmt.Sprint(name, " ", n), func(b *testing.B) {
				for b.Loop() {
					if _, err := estimate.Estimate(estimate.Sample{Counts: x}, disp); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}

// BenchmarkFitNBAgainstR times two fits of R's MASS on the same samples in the
// same run and reports our time over each of theirs: fitdistr(x, "negative
// binomial") and theta.ml(x, mean(x)). It fails where our log-likelihood is
// below R's by more than 1e-8 of it. Where R or MASS is missing it is skipped.
func BenchmarkFitNBAgainstR(b *testing.B) {
	rscript, err := exec.LookPath("Rscript")
	if err != nil {
		b.Skip("Rscript is not installed: nothing to compare with")
	}
	for _, n := range benchSizes {
		x := nbSample(n, 3, 0.8, 1)
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			lines := make([]string, len(x))
			for i, c := range x {
				lines[i] = strconv.Itoa(c)
			}
			data := filepath.Join(b.TempDir(), "x.txt")
			if err := os.WriteFile(data, []byte(strings.Join(lines, "\n")), 0o600); err != nil {
				b.Fatal(err)
			}
			code := `if (!requireNamespace("MASS", quietly = TRUE)) { cat("no MASS"); quit() }; ` +
				`x <- scan(commandArgs(TRUE)[1], quiet = TRUE); n <- 100; ` +
				`f <- function() suppressWarnings(MASS::fitdistr(x, "negative binomial")); ` +
				`g <- function() suppressWarnings(MASS::theta.ml(x, mean(x), limit = 100)); ` +
				`time <- function(h) { h(); 1e9 * system.time(for (i in 1:n) h())[["elapsed"]] / n }; ` +
				`cat(format(c(time(f), time(g), f()$loglik, sum(dnbinom(x, mu = mean(x), size = g(), log = TRUE))), digits = 16, scientific = FALSE))`
			out, err := exec.Command(rscript, "-e", code, data).CombinedOutput()
			if err != nil {
				b.Fatalf("%v: %s", err, out)
			}
			if string(out) == "no MASS" {
				b.Skip("MASS is not installed in R: nothing to compare with")
			}
			var r []float64
			for _, w := range strings.Fields(string(out)) {
				v, err := strconv.ParseFloat(w, 64)
				if err != nil {
					b.Fatalf("%v: %s", err, out)
				}
				r = append(r, v)
			}
			var fit estimate.Fit
			for b.Loop() {
				if fit, err = estimate.FitNB(x); err != nil {
					b.Fatal(err)
				}
			}
			ours := float64(b.Elapsed().Nanoseconds()) / float64(b.N)
			for i, name := range []string{"fitdistr", "theta.ml"} {
				b.ReportMetric(ours/r[i], "ours/"+name)
				if fit.LogLik < r[i+2]-1e-8*math.Abs(r[i+2]) {
					b.Errorf("%s has the higher log-likelihood: %.12g, ours %.12g", name, r[i+2], fit.LogLik)
				}
			}
		})
	}
}
