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
	w := rooms.Get().(*room)
	defer rooms.Put(w)
	return carry(b, days, g, nil, w)
}

// carry is Carry with the new density in f, which must not be b's own, or in
// room of its own where f is nil.
func carry(b Belief, days int, g Growth, f []float64, w *room) (Belief, error) {
	if err := carryable(days, g); err != nil {
		return b, err
	}
	b, s := b.start(days, g)
	if days == 0 || b.IsWeak() {
		return b, nil
	}
	if f == nil {
		f = make([]float64, points)
	}
	apart := w.blurred(f, b.curve(), s.shift, s.sd)
	ln := w.ln[:(points-1)/apart+1]
	mass := 0.0
	for i := range ln {
		ln[i] = (1-s.weak)*f[i*apart] + s.weak*weakDensity[i*apart]
		mass += ln[i]
	}
	// The trapezoid rule is exact for what is as smooth as the blur, but for
	// the ends of the grid.
	for i, g := range gregory {
		mass += (g - 1) * (ln[i] + ln[len(ln)-1-i])
	}
	mass *= gridStep * float64(apart)
	for i, v := range ln {
		ln[i] = math.Log(v / mass)
		f[i*apart] = ln[i]
	}
	if apart > 1 {
		fillBetween(f, ln, apart)
	}
	b.ln, b.corner = f, 0
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

// fillBetween sets f between the points of known, which lie so many apart.
func fillBetween(f, known []float64, apart int) {
	last := len(known) - 6
	for j := 1; j < apart; j++ {
		share := float64(j) / float64(apart)
		var weights [6]float64 // of the six points around a step, but for the steps at the ends
		for k := range weights {
			var one [6]float64
			one[k] = 1
			weights[k] = through(one[:], 2+share)
		}
		for i := range len(known) - 1 {
			if i < 2 || i-2 > last {
				f[i*apart+j] = between(known, i, share)
				continue
			}
			y := known[i-2 : i+4 : i+4]
			f[i*apart+j] = weights[0]*y[0] + weights[1]*y[1] + weights[2]*y[2] + weights[3]*y[3] + weights[4]*y[4] + weights[5]*y[5]
		}
	}
}

// blurred sets out, at grid points that lie so many apart as it returns, to the
// density of which c is the log, moved by shift and blurred by a normal law with
// the given standard deviation. What is as smooth as the blur is known from those
// points.
func (w *room) blurred(out []float64, c curve, shift, sd float64) int {
	f := c.f
	bend := bendOf(f)
	if !(bend <= sharpest) {
		u, p, _ := gauss(c, sd/1.5)
		clear(out)
		spread(out, u, p, shift, sd)
		return 1
	}
	every, apart := thinned(bend, sd)
	w.thinSpread(out, w.atoms(f, every), every, apart, shift, sd)
	return apart
}

// thinned is how many points apart the atoms may lie that are blurred, where the
// density and the blur are wide enough, and the points that tell what comes of it.
// The trapezoid rule stays exact for the atoms.
func thinned(bend, sd float64) (every, apart int) {
	every, apart = 1, 1
	for apart < 4 && sd >= finestBlur*gridStep*float64(2*apart) {
		apart *= 2
	}
	for every < apart && bend*float64(4*every*every) <= thinnest {
		every *= 2
	}
	return every, apart
}

// room is room to work in.
type room struct {
	mass, ln [points]float64
	kernel   [2*points - 1]float64
	f        [2][points]float64
	reader   Reader
	sample   sampleRoom
	rises    []float64
}

var rooms = sync.Pool{New: func() any { return new(room) }}

// sharpest is the bend that the trapezoid rule takes, thinnest the one that is
// left when points are thinned out, and lnCounts the log of the density from
// which on its bend matters.
const (
	sharpest = 1.0 / 4
	thinnest = 1.0 / 9
	lnSpike  = 3.5   // ln of a density that may give a step more than all of the mass
	lnCounts = -14.9 // ln of the density that gives a step 1e-8
	// finestBlur is how many points apart must lie within a standard deviation of
	// the blur for what is blurred to be known from them.
	finestBlur = 5
)

// bendOf is how sharply a density bends where it counts, from its log: with a
// standard deviation of two points or more, which bends by a quarter, the
// trapezoid rule is exact but for the ends of the grid (of a normal law to
// exp(-8π²)). Where a law of clumping sets in the density has a corner, which
// costs about its mass times its bend: not worth a look below counts.
func bendOf(f []float64) (bend float64) {
	for i, v := range f {
		switch {
		case v > lnSpike:
			return math.Inf(1)
		case v > lnCounts && i > 0 && i < points-1:
			bend = max(bend, math.Abs(f[i-1]-2*v+f[i+1]))
		}
	}
	return bend
}

// gregory are the weights that Gregory's rule gives to the ends of a sum.
var gregory = [3]float64{3.0 / 8, 7.0 / 6, 23.0 / 24}

// atoms are the masses that lie so many grid points apart, with Gregory's weights
// at the ends of the grid, where the density does not fall to 0.
func (w *room) atoms(f []float64, every int) []float64 {
	out := w.mass[:(points-1)/every+1]
	for i := range out {
		v := f[i*every]
		if out[i] = 0; v >= -40 {
			out[i] = math.Exp(v) * gridStep * float64(every)
		}
	}
	for i, g := range gregory {
		out[i] *= g
		out[len(out)-1-i] *= g
	}
	return out
}

// normal is the density of a normal law so many standard deviations off its mean.
func normal(z, sd float64) float64 { return math.Exp(-z*z/2) / (sd * math.Sqrt(2*math.Pi)) }

// thinSpread is spread of atoms that lie so many points apart, worked out at
// points that lie apart a multiple of that.
func (w *room) thinSpread(f, mass []float64, every, apart int, shift, sd float64) {
	step := gridStep * float64(every)
	whole := int(math.Round(shift / step)) // the atom j goes to j+whole, and a part of a step on
	past, end := pastEnds(mass, shift, step)
	// kernel[t] is of the atom that lies t-reach from the one that comes to stand
	// nearest.
	reach := int(8.5*sd/step) + 2
	kernel := w.kernel[:2*reach+1]
	for t := range kernel {
		z := (step*float64(whole+reach-t) - shift) / sd
		kernel[t] = normal(z, sd)
	}
	for i := 0; i < points; i += apart {
		first := i/every - whole - reach // the atom of kernel[0]
		lo, hi := max(first, 0), min(first+len(kernel), len(mass))
		f[i] = 0
		if lo < hi {
			f[i] = floats.Dot(mass[lo:hi], kernel[lo-first:hi-first])
		}
		if past > 0 {
			z := (gridU[i] - end) / sd
			f[i] += past * normal(z, sd)
		}
	}
}

// pastEnds takes the atoms away that a shift carries past an end of the grid, and
// returns their mass, which is held there, and the end.
func pastEnds(mass []float64, shift, step float64) (past, end float64) {
	n := min(int(math.Abs(shift)/step)+1, len(mass)) // of which one may come to stand at the very end
	gone := mass[:0]
	switch {
	case shift > 0:
		gone, end = mass[len(mass)-n:], gridU[points-1]
	case shift < 0:
		gone, end = mass[:n], gridU[0]
	}
	for i := range gone {
		past += gone[i]
		gone[i] = 0
	}
	return past, end
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
		top := p * normal(z, sd)
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
