package belief

import (
	"fmt"
	"math"

	"leafturn/internal/civil"
)

// Growth says how a density may have changed since the belief's date.
type Growth struct {
	Rate   float64 // growth of ln density per day; 0.069 doubles it in ten days
	RateSD float64 // how well the rate is known, standard deviation per day
	// Noise is the variance that weather, movement and luck add to ln density
	// each day, whatever the rate.
	Noise float64
	// HalfLife is the number of days after which half of the belief has given
	// way to the weak one.
	HalfLife float64
	// ResetAfter is the number of days after which the belief is weak: a
	// winter lies between.
	ResetAfter int
	// SeasonStart, when given, makes a belief weak that is carried from before
	// that day to that day or past it.
	SeasonStart civil.Date
}

// UnknownGrowth is what to assume when nothing is known of the rate: mean 0,
// with one standard deviation as wide as doubling or halving in ten days,
// noise of 0.02 a day (a standard deviation of 37 % over a week), half forgotten
// in six weeks, weak after 120 days. Common practice; the numbers are ours.
func UnknownGrowth() Growth {
	return Growth{RateSD: 0.07, Noise: 0.02, HalfLife: 42, ResetAfter: 120}
}

func (g Growth) check() error {
	if !(math.Abs(g.Rate) <= 5 && g.RateSD >= 0 && g.RateSD <= 5 && g.Noise >= 0 && g.Noise <= 25 &&
		g.HalfLife > 0 && g.HalfLife <= 1e6 && g.ResetAfter > 0) {
		return fmt.Errorf("growth %+v: rates want -5 to 5, standard deviation 0 to 5 and noise 0 to 25 a day, half-life and reset above 0: %w", g, ErrDomain)
	}
	return nil
}

// Bounds on the spread that carrying adds to ln density. Past maxSpread (a
// factor of 7) the blend with the weak belief says the rest; without the
// bound an old belief would be wider than the weak one. The least spread,
// 6 %, is two steps of the grid, so that a blend has no corners between its points.
const (
	maxSpread   = 2.0
	leastSpread = 2 * gridStep
)

// Carry returns the belief days later, nothing having been seen in between.
// With u = ln density:
//
//	u' = u + Rate d + Normal(0, RateSD² d² + Noise d)
//
// and the share 1 - 2^(-d/HalfLife) of the result is the weak belief. 0 days
// return b unchanged; ResetAfter days, or a new season, return the weak belief
// on that date. A density carried past the grid is held at its end.
//
// A belief that is narrower than the weak one becomes wider: convolution adds
// its variance, and a blend with something wider has at least the blend of the
// variances.
//
// Errors: ErrDomain for days < 0 or over 36,525, or a Growth out of range.
func Carry(b Belief, days int, g Growth) (Belief, error) {
	if err := g.check(); err != nil {
		return b, err
	}
	if days < 0 || days > 36525 {
		return b, fmt.Errorf("%d days, want 0 to 36525: %w", days, ErrDomain)
	}
	if days == 0 {
		return b, nil
	}
	from := b.Date
	if !from.IsZero() {
		b.Date = from.AddDays(days)
	}
	season := !g.SeasonStart.IsZero() && from.Before(g.SeasonStart) && !b.Date.Before(g.SeasonStart)
	if b.IsWeak() || days >= g.ResetAfter || season && !from.IsZero() {
		return Belief{Date: b.Date}, nil
	}
	d := float64(days)
	sd := math.Sqrt(g.RateSD*g.RateSD*d*d + g.Noise*d)
	sd = math.Min(math.Max(sd, leastSpread), maxSpread)
	u, p := gridU[:], atoms(b.ln)
	if p == nil {
		c := newCurve(b.ln, sd/1.5)
		u, p = c.u, c.p
	}
	f := spread(u, p, g.Rate*d, sd)
	weak := math.Max(-math.Expm1(-math.Ln2*d/g.HalfLife), 1e-9)
	for i := range f {
		f[i] = math.Log((1-weak)*f[i] + weak*math.Exp(weakLn[i]))
	}
	return b.made(f), nil
}

// atoms returns the mass of each step of the grid at its point, or nil when
// the density bends too sharply for that: with a standard deviation of three
// steps or more the trapezoid rule is exact but for the ends of the grid.
func atoms(f []float64) []float64 {
	p := make([]float64, points)
	for i, v := range f {
		p[i] = math.Exp(v) * gridStep
		bend := 0.0
		if i > 0 && i < points-1 {
			bend = math.Abs(f[i-1] - 2*v + f[i+1])
		}
		if p[i] > 1 || p[i] > 1e-10 && bend > 1.0/9 {
			return nil
		}
	}
	p[0] /= 2
	p[points-1] /= 2
	return p
}

// spread returns the density, at the grid points, of the masses p at u moved
// by shift and blurred by a normal law with the given standard deviation.
func spread(u, mass []float64, shift, sd float64) []float64 {
	f := make([]float64, points)
	h := gridStep / sd
	q := math.Exp(-h * h)
	reach := int(8.5/h) + 1
	for j, p := range mass {
		if p < 1e-17 {
			continue
		}
		v := math.Min(math.Max(u[j]+shift, gridU[0]), gridU[points-1])
		i0 := int(math.Round((v/math.Ln10 + 4) * perTen))
		z := (gridU[i0] - v) / sd
		// exp(-(z+nh)²/2) by its ratios, which fall by the factor q each step.
		top := p * math.Exp(-z*z/2) / (sd * math.Sqrt(2*math.Pi))
		f[i0] += top
		y, r := top, math.Exp(-z*h-h*h/2)
		for i := i0 + 1; i <= min(i0+reach, points-1); i++ {
			y *= r
			r *= q
			f[i] += y
		}
		y, r = top, math.Exp(z*h-h*h/2)
		for i := i0 - 1; i >= max(i0-reach, 0); i-- {
			y *= r
			r *= q
			f[i] += y
		}
	}
	return f
}
