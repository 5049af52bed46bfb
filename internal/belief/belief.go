// Package belief holds what is believed of the true density of one pest in
// one bed, in animals per sample unit (or per whatever the caller measures
// in), as a distribution: what the counts of each visit say, carried from
// week to week and forgotten in time.
//
//	weak := belief.Weak()
//	b, err := belief.Update(weak, belief.Evidence{Counts: counts}, clump)
//	b, err = belief.Carry(b, 7, belief.UnknownGrowth())
//	b.Exceeds(level)
//
// SampleInterval is the interval to print beside a single visit: it keeps its
// level at every density, which no distribution of belief can do for few
// animals. CALIBRATION.md has the measurements of both.
//
// Everything is arithmetic on the arguments: no clock, no randomness, and no
// argument is modified.
//
// Not here: movement between beds, growth by temperature (the caller gives a
// rate), unknown clumping (give the default k of Law), and units that differ
// in a way that is known, such as edges.
package belief

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"leafturn/internal/civil"
	"leafturn/internal/estimate"
)

// Errors that callers tell apart with errors.Is.
var (
	ErrDomain = errors.New("argument out of range")
	ErrFormat = errors.New("not a stored belief of this version")
)

// The grid: 80 points to each factor of ten, from Lowest to Highest. Between
// points the log of the density is interpolated through six points, so the
// step of 2.9 % does not limit quantiles.
const (
	Lowest   = 1e-4 // animals per unit
	Highest  = 1e4
	perTen   = 80
	points   = 8*perTen + 1
	gridStep = math.Ln10 / perTen
)

// gridU is ln density at the grid points, weakLn the log of the weak prior's
// density there. Both are constants.
var gridU, weakLn = func() (u, f [points]float64) {
	for i := range u {
		u[i] = math.Ln10 * (float64(i)/perTen - 4)
		f[i] = u[i] + estimate.WeakPrior(math.Exp(u[i]))
	}
	_, _, lnMass := gauss(curve{f: f[:]}, 0)
	for i := range f {
		f[i] -= lnMass
	}
	return u, f
}()

// Belief is a distribution of the density of one pest in one bed on one date.
// The zero Belief is Weak(). A Belief is a value: no function changes one.
type Belief struct {
	Date   civil.Date // the day it speaks of; zero when nothing was seen yet
	Seen   civil.Date // the day of the last visit in it; zero when there is none
	Units  int        // sample units looked at since it was last weak
	Visits int        // visits since it was last weak

	ln     []float64 // log density of ln density at the grid points
	corner float64   // see curve
}

// Weak is the belief before anything was counted: estimate.WeakPrior, the
// square root of the density half-Cauchy with scale 1, cut to Lowest to
// Highest. Half of it lies below one animal per unit, 95 % between 0.0024
// and 420, and a handful of units outweigh it. Common practice (a half-Cauchy
// prior for a scale); the scale is ours.
func Weak() Belief { return Belief{} }

// FromPrior is the belief with another prior in place of the weak one, cut to
// Lowest to Highest. Errors: ErrDomain when the prior is nil, or not finite
// there, or there is no mass in what it says.
func FromPrior(p estimate.Prior) (Belief, error) {
	if p == nil {
		return Belief{}, fmt.Errorf("no prior: %w", ErrDomain)
	}
	f := make([]float64, points)
	for i, u := range gridU {
		f[i] = u + p(math.Exp(u))
		if !(math.Abs(f[i]) <= mostLn) {
			return Belief{}, fmt.Errorf("prior at %v: %w", math.Exp(u), ErrDomain)
		}
	}
	b := Belief{}.made(f, new(Reader))
	if m := newReader(b.curve()).lnMass; !(math.Abs(m) < 1e-6) {
		return Belief{}, fmt.Errorf("the prior jumps between densities that lie side by side: %w", ErrDomain)
	}
	return b, nil
}

// mostLn is how far the log of a prior may lie from 0.
const mostLn = 1e9

func (b Belief) log() []float64 {
	if b.ln == nil {
		return weakLn[:]
	}
	return b.ln
}

func (b Belief) curve() curve { return curve{b.log(), b.corner} }

// IsWeak reports whether the belief knows no more than Weak does.
func (b Belief) IsWeak() bool { return b.ln == nil }

// Exceeds returns the chance that the density is at or over threshold. A
// threshold of Lowest or less gives 1, one over Highest or NaN gives 0. It
// falls as the threshold rises.
func (b Belief) Exceeds(threshold float64) float64 { return b.Read().Exceeds(threshold) }

// Mean returns the mean of the density, animals per unit. A weak belief's
// mean is far above its median and says little.
func (b Belief) Mean() float64 {
	at, mass, _ := gauss(b.curve(), 0)
	s := 0.0
	for i, p := range mass {
		s += p * math.Exp(at[i])
	}
	return s
}

// Median returns the density that is exceeded with a chance of one half.
func (b Belief) Median() float64 { return b.Quantile(0.5) }

// Quantile returns the density below which the share p of the belief lies,
// Lowest for p <= 0 and Highest for p >= 1. NaN gives NaN.
func (b Belief) Quantile(p float64) float64 { return b.Read().Quantile(p) }

// Interval returns the central interval at level: as much of the belief lies
// below it as above it. When the lower end would be the lowest density of the
// grid it is that density, not 0. A level outside (0, 1) gives ErrDomain.
//
// For the interval to print beside one visit see SampleInterval.
func (b Belief) Interval(level float64) (estimate.Interval, error) {
	return b.Read().Interval(level)
}

// SDLn returns the standard deviation of ln density: 0.1 is about 10 %.
func (b Belief) SDLn() float64 {
	at, mass, _ := gauss(b.curve(), 0)
	m, v := 0.0, 0.0
	for i, p := range mass {
		m += p * at[i]
	}
	for i, p := range mass {
		v += p * (at[i] - m) * (at[i] - m)
	}
	return math.Sqrt(v)
}

// Weights returns the probability nearest to each grid point; they sum to 1.
func (b Belief) Weights() (density, weight []float64) {
	r := b.Read()
	density, weight = make([]float64, points), make([]float64, points)
	last := 1.0
	for i := range density {
		density[i] = math.Exp(gridU[i])
		next := 0.0
		if i < points-1 {
			next = r.upper[i+1] + r.part(i, 0.5)
		}
		weight[i], last = last-next, next
	}
	return density, weight
}

// WeightsAbout is Weights with the cell in which threshold lies cut in two
// there, each part at its middle: the weights of the densities at or over
// threshold add up to Exceeds(threshold). A threshold off the grid cuts none.
func (b Belief) WeightsAbout(threshold float64) (density, weight []float64) {
	density, weight = b.Weights()
	if !(threshold > Lowest && threshold < Highest) {
		return density, weight
	}
	u := math.Log(threshold)
	i := min(max(int(math.Round((u-gridU[0])/gridStep)), 0), points-1)
	low, high := math.Max(gridU[i]-gridStep/2, gridU[0]), math.Min(gridU[i]+gridStep/2, gridU[points-1])
	over := b.Exceeds(threshold)
	for _, w := range weight[i+1:] {
		over -= w
	}
	over = math.Min(math.Max(over, 0), weight[i])
	density = slices.Insert(density, i+1, math.Exp((u+high)/2))
	weight = slices.Insert(weight, i+1, over)
	density[i], weight[i] = math.Exp((low+u)/2), weight[i]-over
	return density, weight
}

func levelOK(level float64) error {
	if !(level > 0 && level < 1) {
		return fmt.Errorf("level %v, want between 0 and 1: %w", level, ErrDomain)
	}
	return nil
}

// made returns b with the log density f, which it scales to mass 1 with r to
// work in.
func (b Belief) made(f []float64, r *Reader) Belief {
	r.fill(curve{f, b.corner})
	for i := range f {
		f[i] -= r.lnMass
	}
	b.ln = f
	return b
}
