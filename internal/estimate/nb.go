package estimate

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// LogPMF returns the natural log of the chance that one unit holds x animals.
//
//	ln P(x) = ln Γ(x+k) - ln Γ(k) - ln x! + k ln(k/(k+m)) + x ln(m/(k+m))
//
// x >= 0; mean >= 0; k > 0, and k = +Inf is Poisson. Arguments out of range,
// NaN among them, and an infinite mean give -Inf. The gamma ratio is taken as a product for small x and by
// Stirling differences for large k, so nothing cancels as k grows.
//
// Accuracy: relative 1e-8 in P for k from 0.001 to 1e10 (TestMethodsCases, NB-07).
// Source: Bliss & Fisher 1953, Biometrics 9:176-200.
func LogPMF(x int, mean, k float64) float64 {
	if x < 0 || !(mean >= 0 && mean <= math.MaxFloat64) || !(k > 0) {
		return math.Inf(-1)
	}
	if k < minK { // an animal on any unit at all is less likely than that
		if x > 0 {
			return math.Inf(-1)
		}
		return 0
	}
	lg, _ := math.Lgamma(float64(x) + 1)
	return math.Min(logKernel(x, mean, k)-lg, 0) // rounding must make no chance of more than 1
}

// logKernel is LogPMF without -ln x!.
func logKernel(x int, m, k float64) float64 {
	if m == 0 {
		if x == 0 {
			return 0
		}
		return math.Inf(-1)
	}
	fx := float64(x)
	if math.IsInf(k, 1) {
		return fx*math.Log(m) - m
	}
	l := -logZeroTerm(m, k)
	if x > 0 {
		l += fx*(math.Log(m)-log1pOver(m, k)) + riseLog(k, x)
	}
	return l
}

// logZeroTerm is -ln P(0) = k ln(1+m/k).
func logZeroTerm(m, k float64) float64 {
	if math.IsInf(k, 1) {
		return m
	}
	return k * log1pOver(m, k)
}

// log1pOver is ln(1+m/k).
func log1pOver(m, k float64) float64 {
	q := m / k
	if q > math.MaxFloat64 {
		return math.Log(m) - math.Log(k)
	}
	return math.Log1p(q)
}

// riseLog returns ln[Γ(k+x) / (Γ(k) k^x)], the log of the product of (1+j/k)
// for j = 0..x-1. It tends to 0 as k grows.
func riseLog(k float64, x int) float64 {
	if x <= 32 {
		p, s := 1.0, 0.0
		for j := 1; j < x; j++ {
			if p *= 1 + float64(j)/k; p > 1e250 {
				s, p = s+math.Log(p), 1
			}
		}
		return s + math.Log(p)
	}
	fx := float64(x)
	if k < 16 {
		a, _ := math.Lgamma(k + fx)
		b, _ := math.Lgamma(k)
		return a - b - fx*math.Log(k)
	}
	return (k+fx-0.5)*math.Log1p(fx/k) - fx + stirling(k+fx) - stirling(k)
}

// stirling is the remainder of Stirling's series for ln Γ(z), z >= 16.
func stirling(z float64) float64 {
	w := 1 / (z * z)
	return (1.0/12 - w*(1.0/360-w*(1.0/1260-w/1680))) / z
}

// CDF returns the chance that one unit holds at most x animals. Arguments as
// in LogPMF; x < 0, arguments out of range and an infinite mean give 0.
//
// Accuracy: absolute 2e-11 for k from 0.001 to +Inf (TestNB_Tails); above 20,000
// animals relative 1e-8 (TestNB_TailsOfLargeCounts).
func CDF(x int, mean, k float64) float64 {
	lower, _ := tails(x, mean, k)
	return lower
}

// Survival returns the chance that one unit holds more than x animals,
// computed directly and not as 1 - CDF. Where CDF gives 0 for its arguments
// it gives 1.
func Survival(x int, mean, k float64) float64 {
	_, upper := tails(x, mean, k)
	return upper
}

func tails(x int, m, k float64) (lower, upper float64) {
	switch {
	case x < 0 || !(m >= 0) || !(k > 0):
		return 0, 1
	case m == 0:
		return 1, 0
	case math.IsInf(m, 1):
		return 0, 1
	case k < minK: // an animal on any unit at all is less likely than that
		return 1, 0
	}
	fx := float64(x)
	if math.IsInf(k, 1) || k > 1e12*math.Max(1, m) {
		return mathext.GammaIncRegComp(fx+1, m), mathext.GammaIncReg(fx+1, m)
	}
	// All terms are positive, so sums of them lose nothing; the library's
	// incomplete beta function is off by up to 5e-5 at small k. Where a sum would
	// be too long the continued fraction stands in.
	r := m / (k + m)
	if fx > maxSum {
		if lower, upper, ok := betaTails(k, fx+1, k/(k+m), r); ok {
			return lower, upper
		}
		return farTails(fx, m, k)
	}
	if fx > m && 40*(k+m) < maxSum*k { // the upper tail is short: from x+1 upwards
		p := math.Exp(LogPMF(x+1, m, k))
		s, j := p, fx+1
		for ; p > s*1e-17 && j < fx+maxSum; j++ {
			p *= (j + k) * r / (j + 1)
			s += p
		}
		if j < fx+maxSum {
			s = math.Min(s, 1)
			return 1 - s, s
		}
	}
	s := 0.0
	if l := logZeroTerm(m, k); l < 600 { // upwards from 0
		p := math.Exp(-l)
		s = p
		for j := 0.0; j < fx; j++ {
			p *= (j + k) * r / (j + 1)
			s += p
		}
	} else { // k > 1 and the mode is far above 0: downwards from x
		p := math.Exp(LogPMF(x, m, k))
		s = p
		for j := fx; j > 0 && p > s*1e-17; j-- {
			p *= j / ((j - 1 + k) * r)
			s += p
		}
	}
	s = math.Min(s, 1)
	return s, 1 - s
}

// betaTails is the incomplete beta function I_x(a, b) and 1 less it, y = 1 - x,
// by its continued fraction (Lentz's way), which settles within some times the
// square root of the larger of a and b. ok is false where it does not.
func betaTails(a, b, x, y float64) (lower, upper float64, ok bool) {
	turned := x > (a+1)/(a+b+2)
	if turned {
		a, b, x, y = b, a, y, x
	}
	// x^a y^b / (a B(a, b)); one of a and b is a large count.
	small, large := math.Min(a, b), math.Max(a, b)
	ls, _ := math.Lgamma(small)
	rise := (large+small-0.5)*math.Log1p(small/large) - small + small*math.Log(large) + stirling(large+small) - stirling(large)
	ln := func(x, y float64) float64 { // of x, by its distance from 1 where that is near
		if y < 0.5 {
			return math.Log1p(-y)
		}
		return math.Log(x)
	}
	front := math.Exp(a*ln(x, y)+b*ln(y, x)+rise-ls) / a
	const tiny = 1e-300
	away := func(v float64) float64 {
		if math.Abs(v) < tiny {
			return tiny
		}
		return v
	}
	c, d := 1.0, 1/away(1-(a+b)*x/(a+1))
	f := d
	for i := 1.0; i < 200_000; i++ {
		n := i * (b - i) * x / ((a + 2*i - 1) * (a + 2*i))
		d, c = 1/away(1+n*d), away(1+n/c)
		f *= d * c
		n = -(a + i) * (a + b + i) * x / ((a + 2*i) * (a + 2*i + 1))
		d, c = 1/away(1+n*d), away(1+n/c)
		f *= d * c
		if math.Abs(d*c-1) < 1e-15 {
			ok = true
			break
		}
	}
	p := front * f
	if !(ok && p >= 0 && p <= 1+1e-6) {
		return 0, 0, false
	}
	p = math.Min(p, 1)
	if turned {
		return 1 - p, p, true
	}
	return p, 1 - p, true
}

// farTails is tails for numbers that the continued fraction cannot take.
// Counts are then so large that they are as good as continuous: gamma where
// they clump, normal where k is huge.
func farTails(x, m, k float64) (lower, upper float64) {
	if k > 1e12 {
		z := (x + 0.5 - m) / (math.Sqrt(m) * math.Sqrt(1+m/k))
		return math.Erfc(-z/math.Sqrt2) / 2, math.Erfc(z/math.Sqrt2) / 2
	}
	at := (x + 0.5) / m * k
	return mathext.GammaIncReg(k, at), mathext.GammaIncRegComp(k, at)
}

// maxSum is the most terms of a tail that are summed.
const maxSum = 20_000
