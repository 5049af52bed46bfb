// Package sampling plans how many units to look at and when to stop: sample
// sizes for a wanted precision, stop lines for a fixed precision, and
// sequential decision plans with their real risks.
//
// Precision D is either the standard error over the mean (z = 1) or the
// half-width of an interval over the mean (z = 1.96 for 95 %); papers mix the
// two and the answers differ by z² = 3.84, so every function takes z.
// All functions are pure. Results are real numbers unless said; RoundUp gives
// units.
//
// Not here: plans that change the maximum number of units as they go,
// two-stage plans (leaves within plants), variable-intensity sampling.
package sampling

import (
	"fmt"
	"math"

	"leafturn/internal/estimate"
)

func bad(format string, args ...any) error {
	return fmt.Errorf(format+": %w", append(args, estimate.ErrDomain)...)
}

// pos reports whether every value is above 0 and finite.
func pos(v ...float64) bool {
	for _, x := range v {
		if !(x > 0) || math.IsInf(x, 1) {
			return false
		}
	}
	return true
}

// finite refuses a result that left the range of numbers.
func finite(n float64) (float64, error) {
	if math.IsNaN(n) || math.IsInf(n, 0) {
		return 0, bad("the answer is %v", n)
	}
	return n, nil
}

// RoundUp returns the whole number of units for a computed n, not adding one
// for rounding noise. It is at most math.MaxInt32, for NaN as well, and at
// least -math.MaxInt32.
func RoundUp(n float64) int {
	return whole(math.Ceil(n - 1e-9*math.Max(1, n)))
}

// whole is v as a whole number that no arithmetic on totals can overflow.
func whole(v float64) int {
	if math.IsNaN(v) {
		return math.MaxInt32
	}
	return int(math.Max(-math.MaxInt32, math.Min(v, math.MaxInt32)))
}

// General returns n = (z s/(D m))², from a variance s² known from before.
// Errors: estimate.ErrDomain unless all arguments are above 0.
// Source, also of the next four: Karandinos 1976, Bulletin of the
// Entomological Society of America 22:417-421; Southwood 1978, Ecological
// Methods (both from memory).
func General(mean, variance, d, z float64) (float64, error) {
	if !pos(mean, variance, d, z) {
		return 0, bad("mean %v, variance %v, D %v, z %v", mean, variance, d, z)
	}
	return finite(z * z * variance / (d * d * mean * mean))
}

// NegBin returns n = (z/D)² (1/m + 1/k); k = +Inf is Poisson.
func NegBin(mean, k, d, z float64) (float64, error) {
	if !pos(mean, d, z) || !(k > 0) {
		return 0, bad("mean %v, k %v, D %v, z %v", mean, k, d, z)
	}
	return finite(z * z / (d * d) * (1/mean + 1/k))
}

// Taylor returns n = (z/D)² a m^(b-2).
func Taylor(mean, a, b, d, z float64) (float64, error) {
	if !pos(mean, a, d, z) || math.IsNaN(b) || math.IsInf(b, 0) {
		return 0, bad("mean %v, a %v, b %v, D %v, z %v", mean, a, b, d, z)
	}
	return finite(z * z / (d * d) * a * math.Pow(mean, b-2))
}

// Iwao returns n = (z/D)² ((alpha+1)/m + beta - 1).
func Iwao(mean, alpha, beta, d, z float64) (float64, error) {
	n := z * z / (d * d) * ((alpha+1)/mean + beta - 1)
	if !pos(mean, d, z) || !pos(n) {
		return 0, bad("mean %v, alpha %v, beta %v, D %v, z %v", mean, alpha, beta, d, z)
	}
	return n, nil
}

// ShareRelative returns n = (z/D)² (1-p)/p for a share known to D of itself.
func ShareRelative(p, d, z float64) (float64, error) {
	if !pos(p, d, z) || p > 1 {
		return 0, bad("share %v, D %v, z %v", p, d, z)
	}
	return finite(z * z / (d * d) * (1 - p) / p)
}

// ShareHalfWidth returns n = z² p(1-p)/d² for a share known to within d.
func ShareHalfWidth(p, d, z float64) (float64, error) {
	if !pos(d, z) || !(p >= 0 && p <= 1) {
		return 0, bad("share %v, half-width %v, z %v", p, d, z)
	}
	return finite(z * z * p * (1 - p) / (d * d))
}

// PresenceForMean returns the units needed to know the mean from presence and
// absence alone: n = z² p(1-p)/(D² m² (dp/dm)²), dp/dm = (1+m/k)^(-k-1). It is
// never fewer than by counting, and explodes where p is above about 0.8.
// Source: Kuno 1986, Researches on Population Ecology 28:305-319 (from memory).
func PresenceForMean(mean, k, d, z float64) (float64, error) {
	if !pos(mean, d, z) || !(k > 0) {
		return 0, bad("mean %v, k %v, D %v, z %v", mean, k, d, z)
	}
	p, err := estimate.ShareInfested(mean, k)
	if err != nil {
		return 0, err
	}
	slope := math.Exp(-mean)
	if !math.IsInf(k, 1) {
		slope = math.Exp(-(k + 1) * math.Log1p(mean/k))
	}
	return finite(z * z * p * (1 - p) / (d * d * mean * mean * slope * slope))
}

// FinitePlants lowers n for a bed of only plants plants: n/(1 + (n-1)/N).
func FinitePlants(n float64, plants int) (float64, error) {
	if !pos(n) || plants < 1 {
		return 0, bad("n %v of %d plants", n, plants)
	}
	return finite(n / (1 + (n-1)/float64(plants)))
}

// GreenLine returns the running total at which sampling may stop after n
// units when the mean is wanted to precision D = SE/mean:
//
//	T = (a/D²)^(1/(2-b)) n^((1-b)/(2-b))
//
// It needs b < 2. Achieved precision scatters around D.
// Source: Green 1970, Researches on Population Ecology 12:249-251.
func GreenLine(n int, a, b, d float64) (float64, error) {
	if n < 1 || !pos(a, d) || !(b < 2) {
		return 0, bad("n %d, a %v, b %v, D %v", n, a, b, d)
	}
	return finite(math.Exp((math.Log(a/(d*d)) + (1-b)*math.Log(float64(n))) / (2 - b)))
}

// KunoLine returns the running total at which sampling may stop after n
// units, T = (alpha+1)/(D² - (beta-1)/n), and false where no stop is possible
// yet: n <= (beta-1)/D².
// Source: Kuno 1969, Researches on Population Ecology 11:127-136 (from memory).
func KunoLine(n int, alpha, beta, d float64) (total float64, ok bool, err error) {
	if n < 1 || !pos(d) || !(alpha > -1) || !(beta > 0) || math.IsInf(alpha+beta, 1) {
		return 0, false, bad("n %d, alpha %v, beta %v, D %v", n, alpha, beta, d)
	}
	den := d*d - (beta-1)/float64(n)
	if !(den > 1e-12*d*d) {
		return 0, false, nil
	}
	total, err = finite((alpha + 1) / den)
	return total, err == nil, err
}

// IwaoLines returns the running totals after n units at and below which the
// mean is judged under, and at and above which over, the critical mean m0:
//
//	n m0 -/+ t sqrt(n ((alpha+1) m0 + (beta-1) m0²))
//
// A negative lower line means "cannot hold yet". The lines are looked at
// again and again, so the error rate is not the nominal one of t.
// Source: Iwao 1975, Researches on Population Ecology 16:281-288 (from memory).
func IwaoLines(n int, m0, alpha, beta, t float64) (lower, upper float64, err error) {
	return confidenceLines(n, m0, (alpha+1)*m0+(beta-1)*m0*m0, t)
}

// TaylorLines is IwaoLines with Taylor's variance a m0^b.
func TaylorLines(n int, m0, a, b, t float64) (lower, upper float64, err error) {
	return confidenceLines(n, m0, a*math.Pow(m0, b), t)
}

func confidenceLines(n int, m0, variance, t float64) (lower, upper float64, err error) {
	if n < 1 || !pos(m0, variance, t) {
		return 0, 0, bad("n %d, critical mean %v, variance %v, t %v", n, m0, variance, t)
	}
	h := t * math.Sqrt(float64(n)*variance)
	c := float64(n) * m0
	if _, err := finite(c + h); err != nil {
		return 0, 0, err
	}
	return c - h, c + h, nil
}

// IwaoMaxUnits returns the units at which to stop undecided when a half-width
// d about the critical mean is enough: (t/d)² ((alpha+1) m0 + (beta-1) m0²).
func IwaoMaxUnits(m0, alpha, beta, t, d float64) (float64, error) {
	v := (alpha+1)*m0 + (beta-1)*m0*m0
	if !pos(m0, v, t, d) {
		return 0, bad("critical mean %v, alpha %v, beta %v, t %v, d %v", m0, alpha, beta, t, d)
	}
	return finite(t * t / (d * d) * v)
}

func errLarge(top, n int) error {
	return fmt.Errorf("totals up to %d over %d units: %w", top, n, estimate.ErrLarge)
}
