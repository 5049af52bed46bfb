package assess

import (
	"math"
	"slices"

	"leafturn/internal/belief"
	"leafturn/internal/civil"
	"leafturn/internal/forecast"
)

// Grows is the rate at which a pest could grow by the temperatures of each day,
// as far as they are known, in ln density: what the forecast's table says.
type Grows map[civil.Date]float64

// Mean is the mean rate of the days from one to before another; ok is false
// where less than eight in ten of them are known.
func (g Grows) Mean(from, to civil.Date) (rate float64, ok bool) { return g.days().mean(from, to) }

// rateDays are rates from a day on, NaN for a day without one.
type rateDays struct {
	first civil.Date
	rates []float64
}

func (g Grows) days() (r rateDays) {
	var last civil.Date
	for d := range g {
		if r.first.IsZero() || d.Before(r.first) {
			r.first = d
		}
		if d.After(last) {
			last = d
		}
	}
	if len(g) == 0 {
		return r
	}
	r.rates = make([]float64, last.Sub(r.first)+1)
	for i := range r.rates {
		r.rates[i] = math.NaN()
	}
	for d, rate := range g {
		r.rates[d.Sub(r.first)] = rate
	}
	return r
}

// mean is Grows.Mean.
func (r rateDays) mean(from, to civil.Date) (rate float64, ok bool) {
	first := from.Sub(r.first)
	n, sum := 0, 0.0
	for i := max(first, 0); i < min(first+to.Sub(from), len(r.rates)); i++ {
		if x := r.rates[i]; !math.IsNaN(x) {
			n, sum = n+1, sum+x
		}
	}
	if n == 0 || 10*n < 8*to.Sub(from) {
		return 0, false
	}
	return sum / float64(n), true
}

// growth is what may have happened between two days: by the temperatures and
// the counts before, where they are known, as the forecast reckons it; else
// growth of an unknown rate. What a step did is not known either.
func (in *Input) growth(from, to civil.Date, before []forecast.Seen) belief.Growth {
	g := belief.UnknownGrowth()
	if slices.ContainsFunc(in.Steps, func(s civil.Date) bool { return !s.Before(from) && s.Before(to) }) {
		g.RateSD *= stepUnrest
		return g
	}
	if base, ok := in.rates.mean(from, to); ok && from.Before(to) {
		g.Rate, g.RateSD = forecast.Between(base, in.sinceStep(before), in.rates.mean)
	}
	return g
}

// sinceStep are the counts since the last step against the pest.
func (in *Input) sinceStep(seen []forecast.Seen) []forecast.Seen {
	if len(seen) == 0 {
		return nil
	}
	last := seen[len(seen)-1].Day
	for i := len(seen) - 1; i >= 0; i-- {
		if slices.ContainsFunc(in.Steps, func(s civil.Date) bool { return !s.Before(seen[i].Day) && s.Before(last) }) {
			return seen[i+1:]
		}
	}
	return seen
}

// seen is a reading's density by itself; ok is false for one that only knows
// infested or not.
func (r *Reading) seen() (forecast.Seen, bool) {
	total, counted := 0, 0
	for c := range r.Visit.Each {
		total, counted = total+c, counted+1
	}
	if r.Unit.Percent || r.Visit.Presence != nil || counted == 0 {
		return forecast.Seen{}, false
	}
	scale := r.Scale()
	mean := (float64(total) + 0.5) / float64(counted)
	k := r.Unit.clump().At(mean)
	if !(k > 0) {
		k = math.Inf(1)
	}
	return forecast.SeenOf(r.Visit.Date, total, counted, k, scale), true
}
