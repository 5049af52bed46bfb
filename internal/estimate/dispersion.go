package estimate

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Indices are the usual measures of how clumped counts are.
type Indices struct {
	N                 int
	Total             int
	Mean, Variance    float64
	VarianceToMean    float64
	ChiSquare         float64 // (n-1) s²/m on DF degrees of freedom
	DF                int
	PUpper, PLower    float64 // chance of so large, or so small, a value without clumping
	Crowding          float64 // Lloyd: m + s²/m - 1
	Patchiness        float64 // Lloyd: crowding/m
	Morisita          float64 // meaningful when MorisitaDefined
	MorisitaChiSquare float64 // I(S-1) + n - S on DF degrees of freedom
	Green             float64 // 0 random, 1 all on one unit; meaningful when MorisitaDefined
	MorisitaDefined   bool    // at least two animals
}

// Disperse returns the indices of dispersion of a sample of two or more units
// with at least one animal; ErrFew otherwise. The chi-square test needs a
// mean above about 1.
//
// Sources: Lloyd 1967, J. Animal Ecology 36:1-30; Morisita 1962, Researches
// on Population Ecology 4:1-7; Green's index from memory.
func Disperse(counts []int) (Indices, error) {
	t, err := newTally(counts)
	if err != nil {
		return Indices{}, err
	}
	if t.n < 2 || t.total == 0 {
		return Indices{}, fmt.Errorf("%d units with %v animals: %w", t.n, t.total, ErrFew)
	}
	n, m, v := float64(t.n), t.mean(), t.variance()
	r := Indices{N: t.n, Total: int(t.total), Mean: m, Variance: v, VarianceToMean: v / m,
		ChiSquare: t.squares / m, DF: t.n - 1}
	r.PLower = mathext.GammaIncReg(float64(r.DF)/2, r.ChiSquare/2)
	r.PUpper = mathext.GammaIncRegComp(float64(r.DF)/2, r.ChiSquare/2)
	r.Crowding = m + v/m - 1
	r.Patchiness = r.Crowding / m
	if t.total >= 2 {
		r.MorisitaDefined = true
		r.Morisita = n * t.pairs / (t.total * (t.total - 1))
		r.MorisitaChiSquare = r.Morisita*(t.total-1) + n - t.total
		r.Green = (v/m - 1) / (t.total - 1)
	}
	return r, nil
}

// Line is a least squares line y = Intercept + Slope x.
type Line struct {
	Points          int
	Dropped         int // points that the method cannot use
	Intercept       float64
	Slope           float64
	SEIntercept     float64
	SESlope         float64
	R2              float64
	MSE             float64 // residual mean square on Points-2 degrees of freedom
	XMean, XSquares float64 // mean of x and sum of squares about it
}

// fitLine fits y on x, or returns ErrFew for fewer than 3 points or no spread in x.
func fitLine(x, y []float64, dropped int) (Line, error) {
	n := float64(len(x))
	l := Line{Points: len(x), Dropped: dropped}
	if len(x) < 3 {
		return l, fmt.Errorf("%d usable points: %w", len(x), ErrFew)
	}
	my := 0.0
	for i := range x {
		l.XMean += x[i] / n
		my += y[i] / n
	}
	sxy, syy := 0.0, 0.0
	for i := range x {
		dx, dy := x[i]-l.XMean, y[i]-my
		l.XSquares += float64(dx * dx)
		sxy += float64(dx * dy)
		syy += float64(dy * dy)
	}
	if !finite(l.XSquares, l.XMean*l.XMean) {
		return checked(l, math.Inf(1))
	}
	if !(l.XSquares > 1e-24*n*(1+l.XMean*l.XMean)) {
		return l, fmt.Errorf("all points at one density: %w", ErrFew)
	}
	l.Slope = sxy / l.XSquares
	l.Intercept = my - l.Slope*l.XMean
	sse := 0.0
	for i := range x {
		e := y[i] - my - l.Slope*(x[i]-l.XMean)
		sse += float64(e * e)
	}
	l.MSE = sse / (n - 2)
	l.SESlope = math.Sqrt(l.MSE / l.XSquares)
	l.SEIntercept = math.Sqrt(l.MSE * (1/n + l.XMean*l.XMean/l.XSquares))
	if syy > 0 {
		l.R2 = 1 - sse/syy
	}
	return checked(l, l.Intercept, l.Slope, l.SEIntercept, l.SESlope, l.R2, l.MSE, l.XMean, l.XSquares)
}

// Taylor is Taylor's power law, variance = A mean^B.
type Taylor struct {
	A, B float64
	Line Line // ln variance on ln mean; Intercept is ln A
	// Thin is set when there are fewer than 8 samples or less than a tenfold
	// range of mean: then the fit should not be used. Common practice.
	Thin bool
}

// FitTaylor fits ln s² = ln a + b ln m over samples by least squares. Samples
// with no animals or no variance drop out and are counted in Line.Dropped.
// Errors in m are ignored, which biases b slightly down.
//
// Errors: ErrDomain for slices of unlike length, a value that is negative or
// not finite, or points too far apart to compute with; ErrFew.
// Source: Taylor 1961, Nature 189:732-735.
func FitTaylor(means, variances []float64) (Taylor, error) {
	lo, hi := math.Inf(1), math.Inf(-1)
	x, y, drop, err := usable(means, variances, func(m, v float64) (float64, float64, bool) {
		if m > 0 && v > 0 {
			lo, hi = math.Min(lo, m), math.Max(hi, m)
		}
		return math.Log(m), math.Log(v), m > 0 && v > 0
	})
	if err != nil {
		return Taylor{}, err
	}
	l, err := fitLine(x, y, drop)
	if err != nil {
		return Taylor{Line: l, Thin: true}, err
	}
	a := math.Exp(l.Intercept)
	return checked(Taylor{a, l.Slope, l, l.Points < 8 || hi < 10*lo}, a)
}

// FitIwao fits mean crowding m* = alpha + beta m over samples: Intercept is
// alpha, Slope beta. Samples with no animals drop out. Errors as FitTaylor.
// Source: Iwao 1968, Researches on Population Ecology 10:1-20.
func FitIwao(means, variances []float64) (Line, error) {
	x, y, drop, err := usable(means, variances, func(m, v float64) (float64, float64, bool) {
		return m, m + v/m - 1, m > 0
	})
	if err != nil {
		return Line{}, err
	}
	return fitLine(x, y, drop)
}

func usable(a, b []float64, f func(a, b float64) (x, y float64, ok bool)) (x, y []float64, dropped int, err error) {
	if len(a) != len(b) {
		return nil, nil, 0, fmt.Errorf("%d and %d values: %w", len(a), len(b), ErrDomain)
	}
	for i := range a {
		if !(a[i] >= 0) || !(b[i] >= 0) || math.IsInf(a[i], 1) || math.IsInf(b[i], 1) {
			return nil, nil, 0, fmt.Errorf("point %d is (%v, %v): %w", i+1, a[i], b[i], ErrDomain)
		}
		if px, py, ok := f(a[i], b[i]); ok {
			if !finite(px, py) {
				return nil, nil, 0, fmt.Errorf("point %d is (%v, %v), too far apart to compute with: %w", i+1, a[i], b[i], ErrDomain)
			}
			x, y = append(x, px), append(y, py)
		} else {
			dropped++
		}
	}
	return x, y, dropped, nil
}

// TaylorK returns the k that Taylor's law gives at a mean,
// k = m²/(a m^b - m), or +Inf where the variance is not above the mean and for
// arguments out of range.
// Source: Southwood 1978, Ecological Methods (from memory).
func TaylorK(mean, a, b float64) float64 {
	if !(mean > 0) || math.IsInf(mean, 1) {
		return math.Inf(1)
	}
	// r is variance/mean; k = m/(r-1).
	lr := math.Log(a) + (b-1)*math.Log(mean)
	if !(lr > 0) {
		return math.Inf(1)
	}
	k := mean / math.Expm1(lr)
	if k == 0 {
		return math.SmallestNonzeroFloat64
	}
	return k
}

// PoissonDensity returns the density at which Taylor's line meets the Poisson
// line (variance = mean): a^(-1/(b-1)). It is ErrDomain for a <= 0, b = 1,
// values that are not finite and a density that is no number.
func PoissonDensity(a, b float64) (float64, error) {
	d := math.Exp(-math.Log(a) / (b - 1))
	if !(a > 0) || b == 1 || !finite(a, b, d) {
		return 0, fmt.Errorf("a %v, b %v: %w", a, b, ErrDomain)
	}
	return d, nil
}
