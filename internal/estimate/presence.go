package estimate

import (
	"fmt"
	"math"
)

// ShareInfested returns the share of units with at least one animal when
// counts are negative binomial: 1 - (1+m/k)^(-k), or 1 - e^(-m) at k = +Inf.
// mean >= 0, k > 0; otherwise ErrDomain.
func ShareInfested(mean, k float64) (float64, error) { return ShareOver(0, mean, k) }

// ShareOver returns the share of units with more than tally animals. A tally
// near the critical mean is the least hurt by a wrong k.
// Source: Binns, Nyrop & van der Werf 2000, Sampling and Monitoring in Crop
// Protection, ch. 7.
func ShareOver(tally int, mean, k float64) (float64, error) {
	if tally < 0 || !(mean >= 0) || !(k > 0) {
		return 0, fmt.Errorf("tally %d, mean %v, k %v: %w", tally, mean, k, ErrDomain)
	}
	if tally == 0 {
		return -math.Expm1(-logZeroTerm(mean, k)), nil
	}
	return Survival(tally, mean, k), nil
}

// MeanFromShare inverts ShareInfested: k((1-p)^(-1/k) - 1). p = 0 gives 0;
// p = 1 has no finite mean and gives +Inf, so use a bound; so does a k near 0
// where the mean is too large for a number. Above about 0.8
// the answer rests on very few units. Errors: ErrDomain.
func MeanFromShare(p, k float64) (float64, error) {
	if !(p >= 0 && p <= 1) || !(k > 0) {
		return 0, fmt.Errorf("share %v, k %v: %w", p, k, ErrDomain)
	}
	e := -math.Log1p(-p)
	if math.IsInf(k, 1) || math.IsInf(e, 1) {
		return e, nil
	}
	return k * math.Expm1(e/k), nil
}

// WilsonRoom returns the share of units infested at a mean when variance
// follows Taylor's law: with r = a m^(b-1), 1 - exp(-m ln r/(r-1)). At r = 1
// it is the Poisson share; for r < 1 the formula does not hold and the
// Poisson share is returned, with poisson true.
//
// Errors: ErrDomain. Source: Wilson & Room 1983, Environmental Entomology 12:50-54.
func WilsonRoom(mean, a, b float64) (p float64, poisson bool, err error) {
	if !(mean >= 0) || math.IsInf(mean, 1) || !(a > 0) || math.IsInf(a, 1) || math.IsNaN(b) || math.IsInf(b, 0) {
		return 0, false, fmt.Errorf("mean %v, a %v, b %v: %w", mean, a, b, ErrDomain)
	}
	if mean == 0 {
		return 0, false, nil
	}
	k := TaylorK(mean, a, b)
	return -math.Expm1(-logZeroTerm(mean, k)), math.IsInf(k, 1), nil
}

// KonoSugino is the fit ln m = a + b ln(-ln(1-p)) over samples: Intercept is
// a, Slope b; b > 1 shows clumping.
type KonoSugino struct{ Line Line }

// FitKonoSugino fits mean on share infested over samples. Samples with p = 0
// or p = 1 have no point and are counted in Line.Dropped.
//
// Errors: ErrDomain for slices of unlike length, a negative mean or a share
// outside 0..1; ErrFew.
// Sources: Kono & Sugino 1958; Gerrard & Chiang 1970, Ecology 51:237-245.
func FitKonoSugino(means, shares []float64) (KonoSugino, error) {
	for i, p := range shares {
		if !(p >= 0 && p <= 1) {
			return KonoSugino{}, fmt.Errorf("share %d is %v: %w", i+1, p, ErrDomain)
		}
	}
	x, y, drop, err := usable(shares, means, func(p, m float64) (float64, float64, bool) {
		return math.Log(-math.Log1p(-p)), math.Log(m), p > 0 && p < 1 && m > 0
	})
	if err != nil {
		return KonoSugino{}, err
	}
	l, err := fitLine(x, y, drop)
	return KonoSugino{l}, err
}

// Prediction is a mean predicted from a share infested.
type Prediction struct {
	Median    float64 // exp of the line
	Mean      float64 // with the bias correction exp(mse/2)
	VarLn     float64 // variance of ln mean: the three parts below
	Sampling  float64 // from the share being itself a sample
	Residual  float64 // scatter of samples about the line
	Parameter float64 // uncertainty of the line
}

// Predict returns the mean at share p seen on n units. n = 0 takes p as known
// and leaves out the sampling part. p must lie strictly between 0 and 1.
//
//	Var(ln m) = b² p/(n (1-p) ln²(1-p)) + mse + mse (1/N + (x-x̄)²/Sxx)
//
// Errors: ErrDomain, for an answer that is too large for a number as well.
// Sources: Schaalje, Butts & Lysyk 1991; Nyrop & Binns 1991 (both from memory).
func (k KonoSugino) Predict(p float64, n int) (Prediction, error) {
	if !(p > 0 && p < 1) || n < 0 || k.Line.Points < 3 {
		return Prediction{}, fmt.Errorf("share %v of %d units: %w", p, n, ErrDomain)
	}
	l, q := k.Line, math.Log1p(-p)
	x := math.Log(-q)
	u := l.Intercept + l.Slope*x
	r := Prediction{Median: math.Exp(u), Mean: math.Exp(u + l.MSE/2), Residual: l.MSE}
	r.Parameter = l.MSE * (1/float64(l.Points) + (x-l.XMean)*(x-l.XMean)/l.XSquares)
	if n > 0 {
		r.Sampling = l.Slope * l.Slope * p / (float64(n) * (1 - p) * q * q)
	}
	r.VarLn = r.Sampling + r.Residual + r.Parameter
	return checked(r, r.Median, r.Mean, r.VarLn)
}
