package belief_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/belief"
	"leafturn/internal/estimate"
)

// The grid of the calibration.
var (
	calMeans = []float64{0.05, 0.2, 0.5, 1, 2, 5, 10, 20, 50}
	calKs    = []float64{0.3, 0.5, 1, 2, 5, math.Inf(1)}
	calNs    = []int{3, 5, 8, 12, 20, 40, 60}
)

// fullRun asks for every cell at full size, some minutes; with UPDATE_GOLDEN=1
// it writes CALIBRATION.md anew:
//
//	UPDATE_GOLDEN=1 CALIBRATION=full go test -run Calibration -timeout 60m ./internal/belief
var fullRun = os.Getenv("CALIBRATION") == "full"

type cell struct {
	n       int
	k, mean float64
}

func (c cell) nm() float64 { return float64(c.n) * c.mean }
func (c cell) String() string {
	return fmt.Sprintf("n %d, k %s, mean %g", c.n, kWord(c.k), c.mean)
}

func kWord(k float64) string {
	if math.IsInf(k, 1) {
		return "Poisson"
	}
	return fmt.Sprintf("%g", k)
}

func allCells() []cell {
	var out []cell
	for _, n := range calNs {
		for _, k := range calKs {
			for _, m := range calMeans {
				out = append(out, cell{n, k, m})
			}
		}
	}
	return out
}

// each runs f over the cells on all processors; every cell has its own seed,
// so the result does not depend on their order.
func each[T any](cells []cell, f func(c cell, rng *rand.Rand) T) []T {
	out := make([]T, len(cells))
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				c := cells[i]
				out[i] = f(c, seeded(uint64(c.n)<<32+uint64(1000*c.mean), math.Float64bits(c.k)))
			}
		})
	}
	for i := range cells {
		next <- i
	}
	close(next)
	wg.Wait()
	return out
}

// exactCoverage is the chance, summed over the totals and not simulated, that
// SampleInterval covers the cell's mean when it is told the clumping c.
func exactCoverage(x cell, c belief.Clump) float64 {
	covers := func(total int) (low, high bool) {
		in, err := belief.SampleInterval(ofTotal(x.n, total), c, 0.95)
		if err != nil {
			panic(err)
		}
		return in.Low <= x.mean, x.mean <= in.High
	}
	// Both limits rise with the total (TestSampleInterval_Properties).
	top := 8
	for l, _ := covers(top); l; l, _ = covers(top) {
		top *= 2
	}
	find := func(f func(int) bool) int { // the least total where f holds
		lo, hi := -1, top
		for hi-lo > 1 {
			if mid := (lo + hi) / 2; f(mid) {
				hi = mid
			} else {
				lo = mid
			}
		}
		return hi
	}
	first := find(func(s int) bool { _, h := covers(s); return h })
	last := find(func(s int) bool { l, _ := covers(s); return !l }) - 1
	nm, nk := x.nm(), float64(x.n)*x.k
	return estimate.CDF(last, nm, nk) - estimate.CDF(first-1, nm, nk)
}

// possible reports whether any run of totals at all has a chance of 93 to
// 97 %, and otherwise the chances next to that band.
func possible(x cell) (ok bool, under, over float64) {
	nm, nk := x.nm(), float64(x.n)*x.k
	over = 1
	lowest := 0.0
	for a := 0; lowest <= 0.07; a++ {
		p := 0.0
		for b := a; p <= 0.97 && b < 1_000_000; b++ {
			p += math.Exp(estimate.LogPMF(b, nm, nk))
			switch {
			case p >= 0.93 && p <= 0.97:
				return true, 0, 0
			case p < 0.93:
				under = max(under, p)
			default:
				over = min(over, p)
			}
		}
		lowest = estimate.CDF(a, nm, nk)
	}
	return false, under, over
}

type cellResult struct {
	cell
	exact           float64
	possible        bool
	under, over     float64
	sims            int
	sample, central float64 // simulated coverage of SampleInterval and of Belief.Interval
	knownLR, freeLR float64 // and of the profile likelihood with k known and free
	lnFree, lnKnown float64 // mean ln of length: ours over free, ours over known
	length, freeLen float64 // mean lengths where the free one is below 1000 times the truth
	knownLen        float64
	centralLen      float64
	boundless       float64 // share of visits whose free interval has no such upper limit
	shorter         float64 // share of the others where ours is the shorter
}

// measure simulates visits to a cell. For a known k all intervals but the free
// one depend on the total only, and are kept by it.
func measure(x cell, rng *rand.Rand, sims int) cellResult {
	r := cellResult{cell: x, sims: sims, exact: exactCoverage(x, belief.Clump{K: x.k})}
	r.possible, r.under, r.over = possible(x)
	type three struct{ s, c, l estimate.Interval }
	kept := map[int]three{}
	in := func(i estimate.Interval) float64 {
		if i.Low <= x.mean && x.mean <= i.High {
			return 1
		}
		return 0
	}
	finite := 0.0
	for range sims {
		counts := visit(rng, x.n, x.mean, x.k)
		total := 0
		for _, c := range counts {
			total += c
		}
		v, ok := kept[total]
		if !ok {
			e := ofTotal(x.n, total)
			var err1, err2, err3 error
			v.s, err1 = belief.SampleInterval(e, belief.Clump{K: x.k}, 0.95)
			v.c, err2 = must(belief.Update(belief.Weak(), e, belief.Clump{K: x.k})).Interval(0.95)
			v.l, err3 = estimate.ProfileKnownK(e.Counts, x.k, 0.95)
			if err1 != nil || err2 != nil || err3 != nil {
				panic(fmt.Sprint(err1, err2, err3))
			}
			kept[total] = v
		}
		free, err := estimate.ProfileFreeK(counts, 0.95)
		if err != nil {
			panic(err)
		}
		r.sample += in(v.s)
		r.central += in(v.c)
		r.knownLR += in(v.l)
		r.freeLR += in(free)
		if !(free.High < 1000*x.mean) {
			r.boundless++
			continue
		}
		finite++
		ours, theirs := v.s.High-v.s.Low, free.High-free.Low
		r.length += ours
		r.freeLen += theirs
		r.knownLen += v.l.High - v.l.Low
		r.centralLen += v.c.High - v.c.Low
		r.lnFree += math.Log(ours / theirs)
		r.lnKnown += math.Log(ours / (v.l.High - v.l.Low))
		if ours < theirs {
			r.shorter++
		}
	}
	for _, p := range []*float64{&r.sample, &r.central, &r.knownLR, &r.freeLR, &r.boundless} {
		*p /= float64(sims)
	}
	for _, p := range []*float64{&r.length, &r.freeLen, &r.knownLen, &r.centralLen, &r.lnFree, &r.lnKnown, &r.shorter} {
		*p /= max(finite, 1)
	}
	return r
}

// band is what is promised of a cell, widened by slack.
func band(t *testing.T, r cellResult, coverage, slack float64) {
	t.Helper()
	if r.possible {
		require.InDelta(t, 0.95, coverage, 0.02+slack, "%s", r.cell)
	} else {
		require.GreaterOrEqual(t, coverage, 0.95-slack, "%s", r.cell)
	}
}

// TestCalibration_Exact: in all 378 cells, summed and not simulated.
func TestCalibration_Exact(t *testing.T) {
	for _, r := range each(allCells(), func(c cell, _ *rand.Rand) cellResult {
		r := cellResult{cell: c, exact: exactCoverage(c, belief.Clump{K: c.k})}
		r.possible, r.under, r.over = possible(c)
		return r
	}) {
		band(t, r, r.exact, 1e-9)
		if !r.possible {
			require.Less(t, r.nm(), 3.0, "%s: only few animals make it impossible", r.cell)
		}
	}
}

// sweepTable goes through densities between those of the cells, spaced evenly
// in logs from 0.05 to 50: the promise is for every density.
func sweepTable(ns []int, ks []float64, steps int) []cellResult {
	var cells []cell
	for _, n := range ns {
		for _, k := range ks {
			for i := range steps {
				cells = append(cells, cell{n, k, 0.05 * math.Pow(1000, (float64(i)+0.37)/float64(steps))})
			}
		}
	}
	return each(cells, func(c cell, _ *rand.Rand) cellResult {
		r := cellResult{cell: c, exact: exactCoverage(c, belief.Clump{K: c.k})}
		r.possible, r.under, r.over = possible(c)
		return r
	})
}

func TestCalibration_Between(t *testing.T) {
	for _, r := range sweepTable([]int{3, 5, 20}, []float64{0.3, 2, math.Inf(1)}, 40) {
		require.GreaterOrEqual(t, r.exact, 0.93-1e-9, "%s", r.cell)
		if r.nm() > 3 {
			require.LessOrEqual(t, r.exact, 0.972, "%s", r.cell) // a lower limit that must not fall as the total rises adds a little
		}
	}
}

// TestCalibration simulates visits: a thinned grid by default.
func TestCalibration(t *testing.T) {
	cells, sims, few := allCells(), 4000, 4000
	if !fullRun {
		sims, few = 1000, 120
		cells = slices.DeleteFunc(cells, func(c cell) bool {
			return !slices.Contains([]int{5, 12, 40}, c.n) || !slices.Contains([]float64{0.3, 1}, c.k) && !math.IsInf(c.k, 1) || !slices.Contains([]float64{0.2, 2, 20}, c.mean)
		})
	}
	cellsR := each(cells, func(c cell, rng *rand.Rand) cellResult { return measure(c, rng, sims) })
	lnFree, shorter := 0.0, 0
	for _, r := range cellsR {
		se := math.Sqrt(r.exact * (1 - r.exact) / float64(sims))
		require.InDelta(t, r.exact, r.sample, 4.5*se+1e-9, "%s: simulation against summation", r.cell)
		lnFree += r.lnFree / float64(len(cellsR))
		if r.lnFree < 0 {
			shorter++
		}
	}
	t.Logf("length over the profile likelihood's with k free, geometric mean: %.3f; shorter in %d of %d cells", math.Exp(lnFree), shorter, len(cellsR))
	require.Less(t, lnFree, 0.0)

	drawn := drawnTable(few)
	for _, r := range drawn {
		if r.prior == weakDraw {
			require.InDelta(t, 0.95, r.belief, 4.5*math.Sqrt(0.05*0.95/float64(r.sims)), "%+v", r)
		}
		require.InDelta(t, 0.95, r.sample, 0.025+4.5*math.Sqrt(0.05*0.95/float64(r.sims)), "%+v", r)
	}
	pooled := pooledTable(few / 4)
	for _, r := range pooled {
		require.Greater(t, r.coverage, 0.95-0.03-4.5*math.Sqrt(0.05*0.95/float64(12*r.sims)), "%+v", r)
	}
	season := seasonTable(few / 4)
	require.InDelta(t, 0.95, season.covered, 0.012+2/math.Sqrt(float64(season.visits)), "%+v", season)
	if fullRun && os.Getenv("UPDATE_GOLDEN") == "1" {
		require.NoError(t, os.WriteFile("CALIBRATION.md", []byte(calibrationReport(cellsR, drawn, pooled, season, sweepTable(calNs, calKs, 100))), 0o644))
	}
	for _, r := range pooled {
		t.Logf("%+v", r)
	}
	t.Logf("%+v", season)
}

// CALIBRATION.md says which run wrote it.
func TestCalibration_Report(t *testing.T) {
	raw, err := os.ReadFile("CALIBRATION.md")
	require.NoError(t, err)
	for _, want := range []string{"378 cells", "4000 simulated visits", "0 outside"} {
		require.True(t, strings.Contains(string(raw), want), want)
	}
}
