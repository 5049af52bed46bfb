package forecast

import (
	"fmt"
	"math"

	"leafturn/internal/belief"
)

// NextPrior is the growth to carry the belief with to the next visit, days from
// today, so that its count meets what was forecast: rest with the rate, its
// standard deviation and the noise of the forecast. Treatments done since are
// in the rate. Where releases were made the density itself decides, and the
// steps are refused. Errors: as for Bed.
func (f *Forecaster) NextPrior(g Growth, days int, steps []Step, rest belief.Growth) (belief.Growth, error) {
	if err := g.check(f); err != nil {
		return rest, err
	}
	if days < 1 || days > f.days {
		return rest, fmt.Errorf("a visit in %d days, want 1 to %d: %w", days, f.days, ErrDomain)
	}
	factor := make([]float64, f.paths)
	sum := make([]float64, f.paths)
	times := g.factors(f, factor)
	for d := range days {
		for p, k := range factor {
			if times {
				k *= g.Table.base[d][p]
			}
			sum[p] += k
		}
	}
	for _, s := range steps {
		if err := f.checkStep(s); err != nil {
			return rest, err
		}
		if s.Release != nil {
			return rest, fmt.Errorf("a release has no rate of its own: %w", ErrDomain)
		}
		if s.Day < days {
			for p, z := range f.effect {
				sum[p] += math.Min(s.Treatment.LnLeft+s.Treatment.SD*z, 0)
			}
		}
	}
	mean, squares := 0.0, 0.0
	for _, v := range sum {
		mean += v / float64(f.paths)
	}
	for _, v := range sum {
		squares += (v - mean) * (v - mean) / float64(f.paths)
	}
	n := float64(days)
	rest.Rate = math.Min(math.Max(mean/n, -5), 5)
	rest.RateSD = math.Min(math.Sqrt(squares)/n, 5)
	rest.Noise = g.Noise
	return rest, nil
}
