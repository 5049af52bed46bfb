package forecast

import (
	"fmt"
	"math"
	"math/rand/v2"

	"leafturn/internal/degreeday"
)

// New draws the random numbers of a setup. Errors: ErrFar for more than 14
// days, ErrDomain.
func New(s Setup) (*Forecaster, error) {
	switch {
	case s.Days > MostDays:
		return nil, fmt.Errorf("%d days ahead; no count tells more than %d: scout again and ask then: %w", s.Days, MostDays, ErrFar)
	case s.Days < 1:
		return nil, fmt.Errorf("%d days ahead, want 1 to %d: %w", s.Days, MostDays, ErrDomain)
	case s.Paths < 1 || s.Paths > 100_000:
		return nil, fmt.Errorf("%d paths, want 1 to 100,000: %w", s.Paths, ErrDomain)
	}
	for i, w := range s.Weather {
		if _, err := degreeday.Hours(degreeday.Day{Min: w.Min, Max: w.Max, NextMin: math.NaN()}); err != nil || math.Abs(w.Min) > 100 || math.Abs(w.Max) > 100 || !(w.SD >= 0 && w.SD <= 20) {
			return nil, fmt.Errorf("day %d: lowest %v °C, highest %v °C, spread %v: %w", i+1, w.Min, w.Max, w.SD, ErrDomain)
		}
	}
	f := &Forecaster{days: s.Days, paths: s.Paths, weather: append([]Weather(nil), s.Weather...)}
	f.start, f.rate, f.effect = make([]place, s.Paths), make([]float64, s.Paths), make([]float64, s.Paths)
	flat := make([]float64, 2*s.Days*s.Paths)
	for d := range s.Days {
		f.noise = append(f.noise, flat[2*d*s.Paths:(2*d+1)*s.Paths])
		f.warmer = append(f.warmer, flat[(2*d+1)*s.Paths:(2*d+2)*s.Paths])
	}
	f.draw(s.Seed)
	return f, nil
}

// Start, rate and effect lie evenly over all their combinations: the three
// numbers of a path step by the powers of plastic, the root of x⁴ = x + 1, and
// wrap at 1, from a place that the seed gives. That makes quantiles of few
// paths as good as those of many. The rest is drawn from the path's own
// stream.
// Source: the generalised golden ratio (from memory).
const plastic = 1.2207440846057596

func (f *Forecaster) draw(seed uint64) {
	from := rand.New(rand.NewPCG(seed, 1<<63))
	score := make([]float64, f.paths)
	for i, to := range [][]float64{score, f.rate, f.effect} {
		shift, step := from.Float64(), math.Pow(plastic, -float64(i+1))
		for p := range to {
			_, u := math.Modf(shift + float64(p+1)*step)
			to[p] = math.Sqrt2 * math.Erfinv(2*math.Min(math.Max(u, 1e-9), 1-1e-9)-1)
		}
	}
	for p, z := range score {
		f.start[p] = placeOf(z)
	}
	for p := range f.paths {
		own := rand.New(rand.NewPCG(seed, uint64(p)))
		off := own.NormFloat64()
		for d := range f.days {
			f.noise[d][p] = own.NormFloat64()
			if d < len(f.weather) {
				f.warmer[d][p] = math.Min(math.Max(off*f.weather[d].SD, -warmest), warmest)
			}
			off = stays*off + math.Sqrt(1-stays*stays)*own.NormFloat64()
		}
	}
}
