package estimate

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

func shareOK(infested, looked int, level float64) error {
	if looked < 1 || float64(looked) > maxUnits || infested < 0 || infested > looked {
		return fmt.Errorf("%d infested of %d: %w", infested, looked, ErrDomain)
	}
	return levelOK(level)
}

// Wilson returns the score interval of a share. At 0 of n the lower limit is
// exactly 0, at n of n the upper is exactly 1. Units must be independent:
// count plants, not the leaves of one plant.
//
// Errors: ErrDomain. Source: Wilson 1927, JASA 22:209-212.
func Wilson(infested, looked int, level float64) (Interval, error) {
	if err := shareOK(infested, looked, level); err != nil {
		return Interval{}, err
	}
	n, z := float64(looked), zOf(level)
	p := float64(infested) / n
	h := z * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	mid, den := p+z*z/(2*n), 1+z*z/n
	out := Interval{(mid - h) / den, (mid + h) / den}
	if infested == 0 {
		out.Low = 0
	}
	if infested == looked {
		out.High = 1
	}
	return out, nil
}

// ClopperPearson returns the exact interval of a share from beta quantiles.
//
// Errors: ErrDomain. Source: Clopper & Pearson 1934, Biometrika 26:404-413.
func ClopperPearson(infested, looked int, level float64) (Interval, error) {
	if err := shareOK(infested, looked, level); err != nil {
		return Interval{}, err
	}
	x, n, a := float64(infested), float64(looked), (1-level)/2
	out := Interval{0, 1}
	if infested > 0 {
		out.Low = betaQuantile(a, x, n-x+1)
	}
	if infested < looked {
		out.High = betaQuantile(1-a, x+1, n-x)
	}
	return out, nil
}

// betaQuantile polishes the library's beta quantile by Newton steps on its
// own distribution function.
func betaQuantile(p, a, b float64) float64 {
	d := distuv.Beta{Alpha: a, Beta: b}
	x := d.Quantile(p)
	for range 3 {
		s := (d.CDF(x) - p) / d.Prob(x)
		if math.IsNaN(s) || math.IsInf(s, 0) || x-s <= 0 || x-s >= 1 {
			break
		}
		x -= s
	}
	return x
}

// ZeroShareUpper returns the one-sided upper limit of the share of units that
// may be infested when none of looked was: 1 - (1-level)^(1/looked). None of
// 50 leaves up to 5.8 % at level 0.95.
// Errors: ErrDomain.
func ZeroShareUpper(looked int, level float64) (float64, error) {
	if err := shareOK(0, looked, level); err != nil {
		return 0, err
	}
	return -math.Expm1(math.Log1p(-level) / float64(looked)), nil
}

// UnitsToDetect returns how many units must be looked at for a chance of at
// least level of meeting one infested unit, when the share infested in a
// large stock is share: 58 units at 5 % and level 0.95 in 2,000 plants comes
// from the finite form used here.
//
//	the smallest n with C(N-D, n)/C(N, n) <= 1 - level, D = share·N rounded up
//
// stock is the number of plants N; 0 means very many, where n is
// ln(1-level)/ln(1-share). Errors: ErrDomain; ErrLarge for a stock over ten
// million, or for more units than anybody can look at (10¹²).
// Source: hypergeometric law, by definition.
func UnitsToDetect(share, level float64, stock int) (int, error) {
	if err := levelOK(level); err != nil {
		return 0, err
	}
	if !(share > 0 && share <= 1) || stock < 0 {
		return 0, fmt.Errorf("share %v of %d: %w", share, stock, ErrDomain)
	}
	if stock == 0 {
		if share == 1 {
			return 1, nil
		}
		n := math.Ceil(math.Log1p(-level)/math.Log1p(-share) - 1e-9)
		if n > maxUnits {
			return 0, fmt.Errorf("share %v takes %.3g units: %w", share, n, ErrLarge)
		}
		return max(int(n), 1), nil
	}
	if stock > maxStock {
		return 0, fmt.Errorf("a stock of %d, want 0 for very many: %w", stock, ErrLarge)
	}
	sick := math.Max(1, math.Ceil(share*float64(stock)-1e-9))
	miss := 1.0
	for n := 1; n <= stock; n++ {
		left := float64(stock - n + 1)
		miss *= math.Max(0, left-sick) / left
		if miss <= 1-level {
			return n, nil
		}
	}
	return stock, nil
}

// maxStock is the largest stock that is gone through plant by plant.
const maxStock = 10_000_000

// Share is a proportion of units infested with its uncertainty.
type Share struct {
	Infested int     `json:"infested"`
	Looked   int     `json:"looked"`
	P        float64 `json:"share"` // 0 to 1
	Low      float64 `json:"low"`
	High     float64 `json:"high"`
	Level    float64 `json:"level"`
	Method   string  `json:"method"`
}

// Proportion returns the share of units infested with its 95 % interval: the
// Wilson interval, but when none or all were infested the one-sided exact
// limit, so that "0 of 50" reads "up to 5.8 %". Errors: ErrDomain.
func Proportion(infested, looked int) (Share, error) {
	const level = 0.95
	iv, err := Wilson(infested, looked, level)
	if err != nil {
		return Share{}, err
	}
	s := Share{infested, looked, float64(infested) / float64(looked), iv.Low, iv.High, level, "Wilson interval"}
	if infested == 0 || infested == looked {
		up, err := ZeroShareUpper(looked, level)
		if err != nil {
			return Share{}, err
		}
		s.Method = "one-sided exact limit"
		if infested == 0 {
			s.Low, s.High = 0, up
		} else {
			s.Low, s.High = 1-up, 1
		}
	}
	return s, nil
}

// Exceeds returns the chance that the true share is at or over threshold (a
// share, 0 to 1) under the Jeffreys prior: the posterior is Beta(x+0.5,
// n-x+0.5). The zero Share gives 0.
// Source: Brown, Cai & DasGupta 2001, Statistical Science 16:101-133 (the
// prior; from memory).
func (s Share) Exceeds(threshold float64) float64 {
	switch {
	case s.Looked < 1 || s.Infested < 0 || s.Infested > s.Looked || math.IsNaN(threshold) || threshold > 1:
		return 0
	case threshold <= 0:
		return 1
	case threshold == 1:
		return 0
	}
	x, n := float64(s.Infested), float64(s.Looked)
	// P(B > t) of Beta(a, b) is the lower tail of Beta(b, a) at 1-t.
	return mathext.RegIncBeta(n-x+0.5, x+0.5, 1-threshold)
}
