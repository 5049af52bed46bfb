package forecast

import (
	"math"

	"leafturn/internal/degreeday"
	"leafturn/internal/growth"
)

// predation is what predators eat and how they breed, by path, on one day.
// Hotter than the data the last rate is held.
func (f *Forecaster) predation(r Release, d int) (eats, breeds []float64, err error) {
	mean := func(c growth.Curve) ([]float64, error) {
		grid, err := f.overWarmth(d, func(w degreeday.Day) (float64, error) {
			v, err := c.At(math.Min((w.Min+w.Max)/2, c.End))
			return math.Min(math.Max(v, -5), 1e3), err
		})
		if err != nil {
			return nil, err
		}
		return f.along(d, grid), nil
	}
	if eats, err = mean(r.Appetite); err != nil {
		return nil, nil, err
	}
	breeds, err = mean(r.Increase)
	return eats, breeds, err
}

// put sets predators out: the first ones, or more of them. They fail on the
// paths on which treatments do worst.
func (w *work) put(r Release, first bool, effect []float64) {
	settles := math.Sqrt2 * math.Erfinv(1-2*r.Fails)
	for p, v := range w.ln {
		if first {
			w.spot[p], w.predators[p] = 0, 0
		}
		w.spot[p] = math.Max(w.spot[p], r.Share*math.Exp(v))
		if effect[p] <= settles {
			w.predators[p] += r.Predators
		}
		w.held[p] = false
	}
}

// hunt grows the pest outside the spot, and inside it with the predators.
func (f *Forecaster) hunt(w *work, r Release, pl *plan, d int) error {
	eats, breeds, err := f.predation(r, d)
	if err != nil {
		return err
	}
	lnEat, sdEat := band(r.Low, r.High)
	for p, v := range w.ln {
		all := math.Exp(v)
		spot := math.Min(w.spot[p], all)
		alpha := pl.alpha[d][p]
		luck := math.Exp(pl.noise * f.noise[d][p])
		// The better the treatment does on a path, the better the predators.
		beta := math.Max(eats[p], 0) * math.Exp(lnEat-sdEat*f.effect[p])
		left, predators := growth.Patch{Prey: spot, Predators: w.predators[p], Alpha: alpha, Beta: beta, Gamma: breeds[p]}.At(1)
		w.spot[p], w.predators[p] = left*luck, predators
		w.ln[p] = math.Min(math.Max(math.Log((all-spot)*math.Exp(alpha)*luck+w.spot[p]), gone), most)
	}
	return nil
}

// outcome is the course of the patch with the rates in the middle, and with the
// mean of all predators that are out by then where some settled.
func (f *Forecaster) outcome(b Bed, r Release, prey float64, predators []float64, d int) growth.Outcome {
	out, n := 0.0, 0.0
	for _, p := range predators {
		if p > 0 {
			out, n = out+p, n+1
		}
	}
	out /= max(n, 1)
	mid := (f.weather[d].Min + f.weather[d].Max) / 2
	at := func(c growth.Curve) float64 {
		v, err := c.At(math.Min(mid, c.End))
		if err != nil {
			return 0
		}
		return v
	}
	alpha := b.Growth.middle(d)
	ln, _ := band(r.Low, r.High)
	c, err := growth.Patch{Prey: prey * r.Share, Predators: out, Alpha: alpha, Beta: math.Max(at(r.Appetite), 0) * math.Exp(ln), Gamma: at(r.Increase)}.Course()
	if err != nil {
		return ""
	}
	return c.Outcome
}

// middle is the rate on a day in the middle of what is known of it.
func (g Growth) middle(d int) float64 {
	if g.Own != nil && g.Own.Base == 0 {
		return g.Own.Rate
	}
	factor := g.Table.middle
	if g.Own != nil {
		factor = g.Own.Rate / g.Own.Base
	}
	sum := 0.0
	for _, v := range g.Table.base[d] {
		sum += v
	}
	return factor * sum / float64(len(g.Table.base[d]))
}
