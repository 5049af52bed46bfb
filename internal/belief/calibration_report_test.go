package belief_test

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/belief"
)

type column struct {
	lo, hi, mean float64
	under, over  int
}

func columnOf(rs []cellResult, f func(cellResult) float64) column {
	c := column{lo: 2, hi: -1}
	for _, r := range rs {
		v := f(r)
		c.lo, c.hi = min(c.lo, v), max(c.hi, v)
		c.mean += v / float64(len(rs))
		if v < 0.93 {
			c.under++
		}
		if v > 0.97 {
			c.over++
		}
	}
	return c
}

func pc(v float64) string { return fmt.Sprintf("%.1f", 100*v) }

func calibrationReport(rs []cellResult, drawn []drawnResult, pooled []pooledResult, season seasonResult, sweep []cellResult) string {
	var b strings.Builder
	p := func(format string, a ...any) { fmt.Fprintf(&b, format, a...) }
	row := func(cells ...string) { p("| %s |\n", strings.Join(cells, " | ")) }
	head := func(cells ...string) {
		row(cells...)
		p("|%s\n", strings.Repeat("---|", len(cells)))
	}
	var can, cannot []cellResult
	for _, r := range rs {
		if r.possible {
			can = append(can, r)
		} else {
			cannot = append(cannot, r)
		}
	}
	exact := func(r cellResult) float64 { return r.exact }
	c1, c2 := columnOf(can, exact), columnOf(cannot, exact)
	few := 0.0
	for _, r := range cannot {
		few = max(few, r.nm())
	}
	var longer []float64
	lnFree, lnKnown, shorter, total, freeTotal, knownTotal := 0.0, 0.0, 0, 0.0, 0.0, 0.0
	for _, r := range rs {
		lnFree += r.lnFree / float64(len(rs))
		lnKnown += r.lnKnown / float64(len(rs))
		total += r.length / r.mean
		freeTotal += r.freeLen / r.mean
		knownTotal += r.knownLen / r.mean
		if r.lnFree < 0 {
			shorter++
		} else {
			longer = append(longer, math.Exp(r.lnFree)-1)
		}
	}
	slices.Sort(longer)
	outside := c1.under + c1.over
	below := 0
	for _, r := range cannot {
		if r.exact < 0.95 {
			below++
		}
	}

	p("# How often the intervals cover the truth\n\n")
	p("Written by `UPDATE_GOLDEN=1 CALIBRATION=full go test -run Calibration -timeout 60m ./internal/belief`; do not edit.\n")
	p("Seeds are fixed. Simulated coverage has a standard error of 0.3 points (4000 simulated visits to each cell). \"Exact\" is summed over all totals.\n\n")
	p("## In plain words\n\n")
	p("- **The interval printed beside a visit** (`SampleInterval`), told how the pest clumps, covers the true density in %s to %s %% of visits in the %d of %d cells where a coverage of 93 to 97 %% can be had at all: %d outside.\n", pc(c1.lo), pc(c1.hi), len(can), len(rs), outside)
	p("- In the other %d of 378 cells it cannot be had: at most %.2g animals are expected on all units together, and no run of totals has such a chance. There it covers in %s to %s %%: %d below 95 %%.\n", len(cannot), few, pc(c2.lo), pc(c2.hi), below)
	p("- It is **shorter** than the profile likelihood with k fitted from the visit alone: %.0f %% of its length over all cells (geometric mean), shorter in %d of %d cells, and it has an upper limit where that one has none. In the other %d cells it is longer, half of them by less than %.0f %%: where animals are many a free k costs little. It is much longer (up to %.1f times) only with 3 to 5 units of a very clumped pest, where the fitted one is short because few units happen to look alike, or has no upper limit at all.\n", 100*math.Exp(lnFree), shorter, len(rs), len(longer), math.Ceil(100*longer[len(longer)/2]), 1+longer[len(longer)-1])
	p("- It is %.0f %% longer than the profile likelihood with k known, which buys its length with cells that cover too seldom (below).\n", 100*(math.Exp(lnKnown)-1))
	p("- **The belief** (`Belief.Interval`) covers 95 %% when the truth is drawn as it assumes. At one fixed density it need not, and with few animals it does not: its weak prior leans towards low densities. Use it for chances and from week to week; print `SampleInterval` beside the counts.\n")
	p("- **A wrong k costs most of all**: half the true k makes intervals too long, double makes them too short, down to %s %% with many clumped animals. Pooling ten of the farm's own visits repairs most of that.\n\n", pc(wrongLowest(rs)))

	p("## 1. k known, fixed truth: all cells\n\n")
	p("Truth is one fixed density in each cell; no prior is involved. %d cells: mean 0.05 to 50, k 0.3 to Poisson, n 3 to 60.\n\n", len(rs))
	head("interval", "lowest %", "highest %", "mean %", "cells under 93 %", "cells over 97 %")
	for _, c := range []struct {
		name string
		f    func(cellResult) float64
	}{
		{"SampleInterval, exact", exact},
		{"SampleInterval, simulated", func(r cellResult) float64 { return r.sample }},
		{"profile likelihood, k known", func(r cellResult) float64 { return r.knownLR }},
		{"profile likelihood, k free", func(r cellResult) float64 { return r.freeLR }},
		{"Belief.Interval, weak prior", func(r cellResult) float64 { return r.central }},
	} {
		v := columnOf(rs, c.f)
		row(c.name, pc(v.lo), pc(v.hi), pc(v.mean), fmt.Sprint(v.under), fmt.Sprint(v.over))
	}
	p("\nSampleInterval's cells over 97 %% are the %d of section 2; the simulated counts differ at the edges of the band by their standard error.\n\n", c2.over)
	for _, n := range calNs {
		p("n = %d: exact %% of SampleInterval, then simulated %% of Belief.Interval\n\n", n)
		h := []string{"k \\ mean"}
		for _, m := range calMeans {
			h = append(h, fmt.Sprintf("%g", m))
		}
		head(h...)
		for _, k := range calKs {
			line := []string{kWord(k)}
			for _, m := range calMeans {
				i := slices.IndexFunc(rs, func(r cellResult) bool { return r.cell == cell{n, k, m} })
				mark := ""
				if !rs[i].possible {
					mark = "*"
				}
				line = append(line, pc(rs[i].exact)+mark+" / "+pc(rs[i].central))
			}
			row(line...)
		}
		p("\n")
	}
	p("\\* 93 to 97 %% is impossible there.\n\n")

	p("## 2. Where 93 to 97 %% is impossible\n\n")
	p("For every cell all runs of totals {a..b} were added up. An interval that depends on the total covers a density for such a run (or for one with gaps, which would not be an interval), so these are the only coverages to be had; the table has the nearest on each side of the band.\n\n")
	head("cell", "animals expected", "best under 93 %", "best over 97 %", "SampleInterval %")
	for _, r := range cannot {
		row(r.cell.String(), fmt.Sprintf("%.2g", r.nm()), pc(r.under), pc(r.over), pc(r.exact))
	}

	p("\n### Between the cells\n\n")
	p("Exact coverage at 100 densities from 0.05 to 50, none of them a cell's, for each n and k: the promise is for every density, not for those of the table.\n\n")
	var every, twisted []cellResult
	over3 := column{}
	var more []cellResult
	for _, r := range sweep {
		every = append(every, r)
		if r.possible && (r.exact < 0.93 || r.exact > 0.97) {
			twisted = append(twisted, r)
		}
		if r.nm() > 3 {
			more = append(more, r)
		}
	}
	all := columnOf(every, exact)
	over3 = columnOf(more, exact)
	p("Lowest %s, highest %s, mean %s %%; where more than 3 animals are expected %s to %s %%. At %d of %d densities it is outside 93 to 97 %% although some run of totals would be inside", pc(all.lo), pc(all.hi), pc(all.mean), pc(over3.lo), pc(over3.hi), len(twisted), len(every))
	if len(twisted) > 0 {
		t := columnOf(twisted, exact)
		p(" (there %s to %s %%)", pc(t.lo), pc(t.hi))
	}
	p(".\n\n## 3. Lengths, on the same visits\n\n")
	p("Of visits whose interval with k free ends below 1000 times the truth; the others (second column) have no upper limit worth the name, and are left out to be fair to it. Mean lengths as multiples of the true mean, averaged over the cells of the row; the ratio is the geometric mean over visits and cells. Over all cells: %.3g, k free %.3g, k known %.3g.\n\n", total/float64(len(rs)), freeTotal/float64(len(rs)), knownTotal/float64(len(rs)))
	head("n", "k", "no upper limit, k free, %", "SampleInterval", "k free", "k known", "Belief.Interval", "SampleInterval / k free")
	for _, n := range calNs {
		for _, k := range calKs {
			var v [6]float64
			w := 1 / float64(len(calMeans))
			for _, r := range rs {
				if r.n == n && r.k == k {
					for i, x := range []float64{r.boundless, r.length / r.mean, r.freeLen / r.mean, r.knownLen / r.mean, r.centralLen / r.mean, r.lnFree} {
						v[i] += w * x
					}
				}
			}
			row(fmt.Sprint(n), kWord(k), pc(v[0]), fmt.Sprintf("%.2f", v[1]), fmt.Sprintf("%.2f", v[2]), fmt.Sprintf("%.2f", v[3]), fmt.Sprintf("%.2f", v[4]), fmt.Sprintf("%.2f", math.Exp(v[5])))
		}
	}

	p("\n## 4. A wrong k\n\n")
	p("Exact coverage of SampleInterval when it is told half, or double, the true k. Fixed truth.\n\n")
	head("true k", "told half: lowest", "mean", "highest", "told double: lowest", "mean", "highest", "lowest at")
	for _, k := range calKs[:5] {
		half, double := wrongK(rs, k, 0.5), wrongK(rs, k, 2)
		row(kWord(k), pc(half.lo), pc(half.mean), pc(half.hi), pc(double.lo), pc(double.mean), pc(double.hi), double.at.String())
	}

	p("\n## 5. Clumping pooled by PoolTaylor\n\n")
	p("Each simulated visit has its own earlier visits (12 units, ln mean ~ Normal(0, 1.2)), from which PoolTaylor learns; then SampleInterval. Fixed truth: n 5, 12, 40 × mean 0.2, 1, 5, 20. Weight as usual (5 for a law, 1 for a default k).\n\n")
	head("truth", "published", "earlier visits", "mean %", "lowest %", "at", "published alone: mean %", "lowest %")
	for _, r := range pooled {
		row(r.truth, r.published, fmt.Sprint(r.earlier), pc(r.coverage), pc(r.lowest), fmt.Sprintf("n %d, mean %g", r.lowestAt.n, r.lowestAt.mean), pc(r.noPool), pc(r.noPoolLowest))
	}

	p("\n## 6. Truth drawn anew for each visit\n\n")
	p("k known. With truth from the weak prior the belief must cover 95 %%; with truth from a season's spread it leans on a prior that is wider than the truth.\n\n")
	head("truth from", "n", "k", "Belief.Interval %", "SampleInterval %")
	for _, r := range drawn {
		row(r.prior, fmt.Sprint(r.n), kWord(r.k), pc(r.belief), pc(r.sample))
	}

	p("\n## 7. A season of beliefs\n\n")
	p("%d beds with up to 16 weekly visits of 8 units (%d visits); truth starts from the weak prior and changes by UnknownGrowth's rates and noise; the belief is carried and updated (a 3.3, b 1.49 known).\n\n", season.seasons, season.visits)
	p("Belief.Interval covers %s %% after a visit and %s %% before it, carried from the week before (over 95 because carrying also blends with the weak belief). Its spread of ln density is %.0f %% of that of the visit alone.\n\n", pc(season.covered), pc(season.ahead), 100*season.narrower)
	head("chance of 2 or more a unit, as said", "visits", "mean said %", "came true %")
	for i, x := range season.bins {
		row(fmt.Sprintf("%d to %d %%", 20*i, 20*i+20), fmt.Sprint(int(x.n)), pc(x.said), pc(x.was))
	}
	return b.String()
}

type wrong struct {
	lo, mean, hi float64
	at           cell
}

var wrongKept = map[[2]float64]wrong{}

func wrongK(rs []cellResult, k, factor float64) wrong {
	if w, ok := wrongKept[[2]float64{k, factor}]; ok {
		return w
	}
	w := wrong{lo: 2}
	n := 0.0
	for _, r := range rs {
		if r.k != k {
			continue
		}
		c := exactCoverage(r.cell, belief.Clump{K: k * factor})
		if c < w.lo {
			w.lo, w.at = c, r.cell
		}
		w.hi = max(w.hi, c)
		w.mean += c
		n++
	}
	w.mean /= n
	wrongKept[[2]float64{k, factor}] = w
	return w
}

func wrongLowest(rs []cellResult) float64 {
	lo := 1.0
	for _, k := range calKs[:5] {
		lo = min(lo, wrongK(rs, k, 2).lo)
	}
	return lo
}
