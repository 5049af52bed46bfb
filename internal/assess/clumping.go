package assess

import (
	"fmt"

	"gonum.org/v1/gonum/stat"

	"leafturn/internal/belief"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
)

// OwnClumping moves how the pest clumps on each unit that is counted from the
// published law, or the usual k, towards what the farm's own visits show: the
// more of them there are, the further (see belief.PoolTaylor). It takes the
// valid visits to randomly chosen units, of any bed, and leaves out those in
// which one unit is far above the others, as a slip of the pen makes it. The
// pest is returned anew; p is not changed.
func OwnClumping(p Pest, visits []farm.Visit) (Pest, error) {
	units := make([]Unit, len(p.Units))
	for i, u := range p.Units {
		units[i] = u
		if u.Percent {
			continue
		}
		usable := tellClumping(p.Key, u, visits)
		own, err := pool(u.clump(), usable)
		if err != nil {
			return p, fmt.Errorf("clumping of %s on %s: %w", p.Key, u.Key, err)
		}
		// What is far off even by the farm's own clumping is a slip.
		kept := usable[:0]
		for _, counts := range usable {
			far, err := estimate.Outlier(counts, own.Dispersion())
			if err != nil {
				return p, fmt.Errorf("clumping of %s on %s: %w", p.Key, u.Key, err)
			}
			if far == 0 {
				kept = append(kept, counts)
			}
		}
		if len(kept) < len(usable) {
			if own, err = pool(u.clump(), kept); err != nil {
				return p, fmt.Errorf("clumping of %s on %s: %w", p.Key, u.Key, err)
			}
		}
		if own.Visits == 0 {
			continue
		}
		words := u.Dispersed.Words
		if words == "" {
			words = "k as for most pests on plants: common practice"
		}
		units[i].Dispersed = estimate.Dispersion{A: own.A, B: own.B, K: own.K, Words: words + "; moved by " + visitWords(own.Visits) + " of this farm's season"}
	}
	p.Units = units
	return p, nil
}

func visitWords(n int) string {
	if n == 1 {
		return "1 visit"
	}
	return fmt.Sprintf("%d visits", n)
}

// tellClumping are the counts of each visit that can tell how the pest clumps
// on the unit.
func tellClumping(pest string, u Unit, visits []farm.Visit) [][]int {
	var out [][]int
	for _, v := range visits {
		if v.Pest != pest || v.Unit != u.Key || v.Stratum == farm.HotSpot || v.Stratum == farm.Edge || len(verdict.Validity(v, u.Needs)) > 0 {
			continue
		}
		if counts := v.Seen(); len(counts) > 1 {
			out = append(out, counts)
		}
	}
	return out
}

func pool(known belief.Clump, visits [][]int) (belief.Clump, error) {
	pairs := make([]belief.MomentPair, len(visits))
	for i, counts := range visits {
		x := make([]float64, len(counts))
		for j, c := range counts {
			x[j] = float64(c)
		}
		mean, variance := stat.MeanVariance(x, nil)
		pairs[i] = belief.MomentPair{Mean: mean, Variance: variance, N: len(x)}
	}
	return belief.PoolTaylor(belief.Law{A: known.A, B: known.B, K: known.K}, pairs)
}
