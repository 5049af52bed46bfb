package belief

import (
	"fmt"
	"math"
	"sync"

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
	f := make([]float64, points)
	blurred(f, b.ln, s.shift, s.sd)
	mass := 0.0
	for i := range f {
		f[i] = (1-s.weak)*f[i] + s.weak*weakDensity[i]
		mass += f[i]
	}
	// The trapezoid rule is exact for what is as smooth as the blur, but for
	// the ends of the grid.
	for i, w := range gregory {
		mass += (w - 1) * (f[i] + f[points-1-i])
	}
	mass *= gridStep
	for i := range f {
		f[i] = math.Log(f[i] / mass)
	}
	b.ln = f
	return b, nil
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

// blurred sets out, at the grid points, to the density of which f is the log,
// moved by shift and blurred by a normal law with the given standard deviation.
func blurred(out, f []float64, shift, sd float64) {
	w := works.Get().(*work)
	defer works.Put(w)
	bend := atoms(&w.mass, f)
	if !(bend <= sharpest) {
		u, mass, _ := gauss(f, sd/1.5)
		spread(out, u, mass, shift, sd)
		return
	}
	// Where the density and the blur are wide enough every second or fourth
	// point will do: the trapezoid rule stays exact for the atoms, and what is
	// as smooth as the blur is known from the points that remain.
	if shift != 0 {
		spread(out, gridU[:], thin(&w.mass, 1), shift, sd)
		return
	}
	every := 1
	for every < 4 && bend*float64(4*every*every) <= thinnest && sd >= 10*gridStep*float64(2*every) {
		every *= 2
	}
	w.thinSpread(out, thin(&w.mass, every), every, sd)
}

// work is room to work in.
type work struct {
	mass, ln [points]float64
	kernel   [2*points - 1]float64
}

var works = sync.Pool{New: func() any { return new(work) }}

// sharpest is the bend that the trapezoid rule takes, thinnest the one that is
// left when points are thinned out, and counts the mass of a step from which on
// its bend matters.
const (
	sharpest = 1.0 / 4
	thinnest = 1.0 / 9
	counts   = 1e-8
)

// atoms sets p to the mass of each step of the grid at its point and returns how
// sharply the density bends where it counts: with a standard deviation of two
// points or more, which bends by a quarter, the trapezoid rule is exact but for
// the ends of the grid (of a normal law to exp(-8π²)). Where a law of clumping
// sets in the density has a corner, which costs about its mass times its bend:
// not worth a look below counts.
func atoms(p *[points]float64, f []float64) (bend float64) {
	for i, v := range f {
		if p[i] = 0; v < -40 {
			continue
		}
		p[i] = math.Exp(v) * gridStep
		if p[i] > 1 {
			bend = math.Inf(1)
		}
		if p[i] > counts && i > 0 && i < points-1 {
			bend = max(bend, math.Abs(f[i-1]-2*v+f[i+1]))
		}
	}
	return bend
}

// gregory are the weights that Gregory's rule gives to the ends of a sum.
var gregory = [3]float64{3.0 / 8, 7.0 / 6, 23.0 / 24}

// thin keeps each so many atoms, in place, with Gregory's weights at the ends of
// the grid, where the density does not fall to 0.
func thin(p *[points]float64, every int) []float64 {
	out := p[:(points-1)/every+1]
	for i := range out {
		out[i] = p[i*every] * float64(every)
	}
	for i, w := range gregory {
		out[i] *= w
		out[len(out)-1-i] *= w
	}
	return out
}

// thinSpread is spread of thinned atoms without a shift, worked out at them and
// interpolated between them in logs by the polynomial through six.
func (w *work) thinSpread(f, mass []float64, every int, sd float64) {
	n := len(mass)
	h := gridStep * float64(every) / sd
	reach := min(int(8.5/h)+1, n-1)
	kernel := w.kernel[:2*reach+1]
	for i := range reach + 1 {
		z := h * float64(i)
		k := math.Exp(-z*z/2) / (sd * math.Sqrt(2*math.Pi))
		kernel[reach-i], kernel[reach+i] = k, k
	}
	ln := w.ln[:n]
	for i := range n {
		lo, hi := max(i-reach, 0), min(i+reach+1, n)
		v := floats.Dot(mass[lo:hi], kernel[reach-i+lo:reach-i+hi])
		f[i*every] = v
		if every > 1 {
			ln[i] = math.Log(max(v, 1e-300))
		}
	}
	for i := range n - 1 {
		for j := 1; j < every; j++ {
			f[i*every+j] = math.Exp(between(ln, i, float64(j)/float64(every)))
		}
	}
}

// spread adds to f the density, at the grid points, of the masses at u moved by
// shift and blurred by a normal law with the given standard deviation.
func spread(f, u, mass []float64, shift, sd float64) {
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
}
