package belief

import (
	"fmt"
	"math"

	"leafturn/internal/estimate"
)

// Clump is how a pest clumps on a sample unit: Taylor's variance = A m^B
// (A > 0), or a fixed K (+Inf is Poisson).
type Clump struct {
	A, B float64
	K    float64

	SELnA, SEB, SELnK float64 // standard errors after pooling, 0 when not pooled
	Visits            int     // of the farm's own that shaped it
	Dropped           int     // that could not be used
}

func (c Clump) check() error {
	switch {
	case c.K > 0 && c.A == 0 && (c.K >= 1e-3 || math.IsInf(c.K, 1)):
		return nil
	case c.K == 0 && c.A >= 1e-6 && c.A <= 1e6 && c.B >= 1 && c.B <= 2:
		return nil
	}
	return fmt.Errorf("clumping a %v, b %v, k %v: want a 1e-6 to 1e6 with b 1 to 2, or else k at least 0.001: %w", c.A, c.B, c.K, ErrDomain)
}

// At returns k at a mean per unit, +Inf where the law's variance is not above
// the mean.
func (c Clump) At(mean float64) float64 {
	if c.K > 0 {
		return c.K
	}
	return estimate.TaylorK(mean, c.A, c.B)
}

// Dispersion returns the clumping as package estimate takes it.
func (c Clump) Dispersion() estimate.Dispersion {
	return estimate.Dispersion{A: c.A, B: c.B, K: c.K}
}

// law returns k and ln(1+m/k) as a function of ln m. By Taylor's law 1+m/k is
// A m^(B-1).
func (c Clump) law() func(lm float64) (k, lnR float64) {
	if math.IsInf(c.K, 1) {
		return func(float64) (float64, float64) { return c.K, 0 }
	}
	if c.K > 0 {
		return func(lm float64) (float64, float64) { return c.K, math.Log1p(math.Exp(lm) / c.K) }
	}
	lnA := math.Log(c.A)
	return func(lm float64) (float64, float64) {
		lnR := lnA + (c.B-1)*lm
		if !(lnR > 0) {
			return math.Inf(1), 0
		}
		return math.Exp(lm) / math.Expm1(lnR), lnR
	}
}

// Law is clumping as it was published or chosen: Taylor's A and B, or, when A
// is 0, a default K. SE is the standard error of B, 0 when not printed.
// Weight is the number of the farm's own visits of ordinary size that it
// counts for, 0 for the usual: 5 for a published law, 1 for a default k.
type Law struct {
	A, B, SE float64
	K        float64
	Weight   float64
}

// MomentPair is the mean and variance (divisor N-1) of the N counts of one
// visit.
type MomentPair struct {
	Mean, Variance float64
	N              int
}

// What a visit of ordinary size tells: its ln variance lies about the law with
// the variance usualNoise, and visits lie about 1 with a standard deviation of
// 1.2 in ln mean. A chosen default k is good to a standard deviation of 0.8 in
// ln k (95 % between a fifth of it and five times it), as in package estimate.
// Visits scatter about a law by more than chance, by scatter; one farther off
// than farOff standard deviations is of another kind. Common practice; the
// numbers are ours.
const (
	usualNoise  = 0.4
	usualSpread = 1.2
	defaultSDK  = 0.8
	scatter     = 0.05
	farOff      = 1.5
)

// PoolTaylor returns the clumping to use after the farm's own visits: the
// published law, moved towards what the visits show the more of them there
// are. (ln A, B) has a normal prior about the published values, with the
// variances usualNoise/Weight and SE² + usualNoise/(Weight usualSpread²). Each
// visit adds the point (ln mean, ln variance) with the variance that chance
// gives to ln s² - B ln m for counts of the law,
//
//	Var ln s² + B² Var ln m - 2B Cov
//	Var(s²)/σ⁴ = 2/(n-1) + (6/k + 1/σ²)/n, Var(m)/m² = σ²/(n m²),
//	Cov(m, s²)/(m σ²) = (2σ²/m - 1)/(n m)
//
// taken as those of a log-normal pair, the bias of the logs corrected
// likewise. Weights come from the current law at the visit's mean, in four rounds,
// and a visit far off the law loses weight (Huber's rule, at 1.5 standard
// deviations), so that no single visit decides. Without A the same is done for
// ln K alone. With no usable visit the published values return unchanged.
//
// Visits with fewer than 2 units, no animals or no variance drop out and are
// counted in Dropped. B stays within 1 and 2 (A is then the best for that B);
// A moves at most by a factor of 50, K stays within a twentieth and 20 times.
//
// Errors: ErrDomain.
// Sources: Taylor 1961, Nature 189:732-735; the moments of s² are Fisher's k
// statistics with the cumulants of the negative binomial; Huber 1964, Annals of
// Mathematical Statistics 35:73-101 (all from memory but the first).
func PoolTaylor(published Law, visits []MomentPair) (Clump, error) {
	p, all := NewPairs(visits), make([]int, len(visits))
	for i := range all {
		all[i] = i
	}
	return p.Pool(published, all)
}

// Pairs are the moment pairs of visits, looked at once for any number of pools
// of some of them. One goroutine at a time may use them.
type Pairs struct {
	all                []MomentPair
	lnMean, lnVariance []float64
	like               []int // the first visit of the same mean and number of units
	use                []int
	noises             []noiseOf // by like
	round              int
}

// noiseOf is the noise of the visits of a mean and a number of units in a round
// of a pool.
type noiseOf struct {
	round          int
	variance, bias float64
}

// NewPairs looks at the moment pairs of visits.
func NewPairs(visits []MomentPair) *Pairs {
	p := &Pairs{all: visits, lnMean: make([]float64, len(visits)), lnVariance: make([]float64, len(visits)), like: make([]int, len(visits)), noises: make([]noiseOf, len(visits))}
	type kind struct {
		mean float64
		n    int
	}
	first := map[kind]int{}
	for i, v := range visits {
		p.lnMean[i], p.lnVariance[i] = math.Log(v.Mean), math.Log(v.Variance)
		k := kind{v.Mean, v.N}
		if _, ok := first[k]; !ok {
			first[k] = i
		}
		p.like[i] = first[k]
	}
	return p
}

// Pool is PoolTaylor of the visits with these numbers, counted from 0.
func (p *Pairs) Pool(published Law, of []int) (Clump, error) {
	c := Clump{A: published.A, B: published.B, K: published.K}
	if c.A > 0 {
		c.K = 0
	} else {
		c.B = 0
	}
	if err := c.check(); err != nil {
		return c, err
	}
	if !(published.SE >= 0 && published.SE <= 10 && (published.Weight == 0 || published.Weight >= 1e-6 && published.Weight <= 1e6)) {
		return c, fmt.Errorf("standard error %v, weight %v: %w", published.SE, published.Weight, ErrDomain)
	}
	p.use = p.use[:0]
	for _, i := range of {
		v := &p.all[i]
		if !(v.Mean >= 0 && v.Mean <= 1e9 && v.Variance >= 0 && v.Variance <= 1e18) || v.N < 0 {
			return c, fmt.Errorf("visit %d has mean %v, variance %v of %d units: %w", i+1, v.Mean, v.Variance, v.N, ErrDomain)
		}
		if v.N < 2 || v.Mean < 1e-9 || v.Variance < 1e-9 {
			c.Dropped++
			continue
		}
		p.use = append(p.use, i)
	}
	c.Visits = len(p.use)
	if c.A > 0 {
		c.poolTaylor(published, p)
	} else if !math.IsInf(c.K, 1) {
		c.poolK(published, p)
	}
	return c, nil
}

// noise is the function noise for a visit, at the variance va that a law gives
// to its mean and the law's slope there. It is worked out once in a round.
func (p *Pairs) noise(i int, va, slope float64) (variance, bias float64) {
	x := &p.noises[p.like[i]]
	if x.round != p.round {
		x.round = p.round
		x.variance, x.bias = noise(p.all[i].Mean, va, p.all[i].N, slope)
	}
	return x.variance, x.bias
}

// noise returns the variance of ln s² - slope ln m of a visit, and its bias,
// for counts with the variance va at the mean m.
func noise(m, va float64, n int, slope float64) (variance, bias float64) {
	fn := float64(n)
	invK := math.Max(va-m, 0) / (m * m)
	vs := math.Log1p(2/(fn-1) + (6*invK+1/va)/fn)
	vm := math.Log1p(va / (fn * m * m))
	cov := math.Log1p(math.Max(2*va/m-1, 0) / (fn * m))
	return scatter + math.Max(vs+slope*slope*vm-2*slope*cov, 0.5/fn), (slope*vm - vs) / 2
}

// trust is the share of its weight that a visit keeps whose ln variance lies off
// the law by so much: all of it within farOff standard deviations, and past
// them so much that it moves the law no further than one that lies just there.
// Units that are all but alike, as of one who wrote down what each leaf has on
// the whole, would else take the clumping away from every visit after them.
func trust(off, variance float64) float64 {
	return math.Min(1, farOff*math.Sqrt(variance)/math.Abs(off))
}

func (c *Clump) poolTaylor(pub Law, pairs *Pairs) {
	w := pub.Weight
	if w == 0 {
		w = 5
	}
	la0, b0 := math.Log(pub.A), pub.B
	la, b := la0, b0
	pa := w / usualNoise // precisions of the prior
	pb := 1 / (pub.SE*pub.SE + usualNoise/(w*usualSpread*usualSpread))
	var saa, sab, sbb float64
	for range 4 {
		pairs.round++
		saa, sab, sbb = pa, 0, pb
		ra, rb := pa*la0, pb*b0
		for _, i := range pairs.use {
			x := pairs.lnMean[i]
			va := math.Exp(math.Max(la+b*x, x)) // counts are not more even than Poisson here
			vr, bias := pairs.noise(i, va, b)
			y := pairs.lnVariance[i] - bias
			p := trust(y-la-b*x, vr) / vr
			saa += p
			sab += p * x
			sbb += p * x * x
			ra += p * y
			rb += p * x * y
		}
		det := saa*sbb - sab*sab
		b = math.Min(math.Max((saa*rb-sab*ra)/det, 1), 2)
		la = (ra - sab*b) / saa
		la = math.Min(math.Max(la, la0-math.Log(50)), la0+math.Log(50))
		la = math.Min(math.Max(la, math.Log(1e-6)), math.Log(1e6))
	}
	det := saa*sbb - sab*sab
	c.SELnA, c.SEB = math.Sqrt(sbb/det), math.Sqrt(saa/det)
	if len(pairs.use) > 0 {
		c.A, c.B = math.Exp(la), b
	}
}

func (c *Clump) poolK(pub Law, pairs *Pairs) {
	w := pub.Weight
	if w == 0 {
		w = 1
	}
	lk0 := math.Log(pub.K)
	lk, p0 := lk0, w/(defaultSDK*defaultSDK)
	var info float64
	for range 30 { // Gauss-Newton steps on ln k, none longer than 1
		pairs.round++
		k := math.Exp(lk)
		info = p0
		g := p0 * (lk0 - lk)
		for _, i := range pairs.use {
			m := pairs.all[i].Mean
			va := m + m*m/k
			d := -m / (k + m)           // of ln variance by ln k
			slope := (m + 2*m*m/k) / va // of ln variance by ln m
			vr, bias := pairs.noise(i, va, slope)
			off := pairs.lnVariance[i] - bias - math.Log(va)
			p := trust(off, vr) / vr
			info += d * d * p
			g += d * off * p
		}
		step := math.Min(math.Max(g/info, -1), 1)
		lk = math.Min(math.Max(lk+step, lk0-math.Log(20)), lk0+math.Log(20))
		if math.Abs(step) < 1e-7 {
			break
		}
	}
	c.SELnK = 1 / math.Sqrt(info)
	if len(pairs.use) > 0 {
		c.K = math.Max(math.Exp(lk), 1e-3)
	}
}
