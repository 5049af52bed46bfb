package belief

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"

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
	if err := carryable(days, g); err != nil {
		return b, err
	}
	b, s := b.start(days, g)
	if days == 0 || b.IsWeak() {
		return b, nil
	}
	f := blurred(b.ln, s.shift, s.sd)
	for i := range f {
		f[i] = math.Log((1-s.weak)*f[i] + s.weak*weakDensity[i])
	}
	return b.made(f), nil
}

func carryable(days int, g Growth) error {
	if err := g.check(); err != nil {
		return err
	}
	if days < 0 || days > 36525 {
		return fmt.Errorf("%d days, want 0 to 36525: %w", days, ErrDomain)
	}
	return nil
}

// carryStart is how far and how widely ln density moves, and the share that
// becomes weak.
type carryStart struct{ shift, sd, weak float64 }

// start dates the belief days later, made weak where it is forgotten.
func (b Belief) start(days int, g Growth) (Belief, carryStart) {
	if days == 0 {
		return b, carryStart{}
	}
	from := b.Date
	if !from.IsZero() {
		b.Date = from.AddDays(days)
	}
	season := !g.SeasonStart.IsZero() && from.Before(g.SeasonStart) && !b.Date.Before(g.SeasonStart)
	if b.IsWeak() || days >= g.ResetAfter || season && !from.IsZero() {
		return Belief{Date: b.Date}, carryStart{}
	}
	d := float64(days)
	sd := math.Sqrt(g.RateSD*g.RateSD*d*d + g.Noise*d)
	return b, carryStart{
		shift: g.Rate * d,
		sd:    math.Min(math.Max(sd, leastSpread), maxSpread),
		weak:  math.Max(-math.Expm1(-math.Ln2*d/g.HalfLife), 1e-9),
	}
}

// weakDensity is the weak prior's density at the grid points, a constant.
var weakDensity = func() (f [points]float64) {
	for i, v := range weakLn {
		f[i] = math.Exp(v)
	}
	return f
}()

// blurred returns, at the grid points, the log density f moved by shift and
// blurred by a normal law with the given standard deviation, as a density.
func blurred(f []float64, shift, sd float64) []float64 {
	p, bend := atoms(f)
	if !(bend <= 1.0/9) {
		u, p, _ := gauss(f, sd/1.5)
		return spread(u, p, shift, sd)
	}
	// Where the density and the blur are wide enough every second or fourth
	// point will do: the trapezoid rule stays exact for the atoms, and what is
	// as smooth as the blur is known from the points that remain.
	if shift != 0 {
		return spread(gridU[:], thin(p, 1), shift, sd)
	}
	every := 1
	for every < 4 && bend*float64(4*every*every) <= 1.0/9 && sd >= 10*gridStep*float64(2*every) {
		every *= 2
	}
	return thinSpread(thin(p, every), every, sd)
}

// atoms returns the mass of each step of the grid at its point, and how
// sharply the density bends where it counts: with a standard deviation of
// three points or more, a bend of 1/9, the trapezoid rule is exact but for the
// ends of the grid.
func atoms(f []float64) (p []float64, bend float64) {
	p = make([]float64, points)
	for i, v := range f {
		if v < -40 {
			continue
		}
		p[i] = math.Exp(v) * gridStep
		if p[i] > 1 {
			bend = math.Inf(1)
		}
		if p[i] > 1e-10 && i > 0 && i < points-1 {
			bend = max(bend, math.Abs(f[i-1]-2*v+f[i+1]))
		}
	}
	return p, bend
}

// thin keeps each so many atoms, with Gregory's weights at the ends of the
// grid, where the density does not fall to 0.
func thin(p []float64, every int) []float64 {
	out := make([]float64, (points-1)/every+1)
	for i := range out {
		out[i] = p[i*every] * float64(every)
	}
	for i, w := range [3]float64{3.0 / 8, 7.0 / 6, 23.0 / 24} {
		out[i] *= w
		out[len(out)-1-i] *= w
	}
	return out
}

// thinSpread is spread of thinned atoms without a shift, worked out at them and
// interpolated between them in logs by the polynomial through six.
func thinSpread(mass []float64, every int, sd float64) []float64 {
	n := len(mass)
	h := gridStep * float64(every) / sd
	reach := min(int(8.5/h)+1, n-1)
	kernel := make([]float64, 2*reach+1)
	for i := range reach + 1 {
		z := h * float64(i)
		k := math.Exp(-z*z/2) / (sd * math.Sqrt(2*math.Pi))
		kernel[reach-i], kernel[reach+i] = k, k
	}
	at := make([]float64, n)
	for i := range at {
		lo, hi := max(i-reach, 0), min(i+reach+1, n)
		at[i] = floats.Dot(mass[lo:hi], kernel[reach-i+lo:reach-i+hi])
	}
	if every == 1 {
		return at
	}
	f := make([]float64, points)
	ln := make([]float64, n)
	for i, v := range at {
		f[i*every] = v
		ln[i] = math.Log(max(v, 1e-300))
	}
	for i := range n - 1 {
		for j := 1; j < every; j++ {
			f[i*every+j] = math.Exp(between(ln, i, float64(j)/float64(every)))
		}
	}
	return f
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
