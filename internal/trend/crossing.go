package trend

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"

	"leafturn/internal/estimate"
)

// Horizon is the farthest that a count is carried forward, in days. Beyond it
// the answer is to scout again. Common practice.
const Horizon = 14

// Belief is what is known of the density today, in the measure of the
// threshold: weights over densities, or, without them, a normal ln density.
type Belief struct {
	Density []float64 // 0 or more
	Weight  []float64 // 0 or more, of any sum above 0
	LnMean  float64
	LnSD    float64 // 0 or more
	// Corr is the correlation of ln density and the rate, between -1 and 1.
	// It is 0 when the two come from different counts.
	Corr float64
}

// Belief returns the line's own density on the last visit's day, with its
// correlation to the rate.
func (r Rate) Belief() Belief { return Belief{LnMean: r.LnNow, LnSD: r.LnNowSD, Corr: r.Corr} }

// FromPosterior returns a posterior as 400 equally likely densities, its
// quantiles at the middle of each 400th, times scale. Chances from it are good
// to about 1/800.
func FromPosterior(p estimate.Posterior, scale float64) Belief {
	const n = 400
	b := Belief{Density: make([]float64, n), Weight: make([]float64, n)}
	for i := range n {
		b.Density[i], b.Weight[i] = scale*p.Quantile((float64(i)+0.5)/n), 1.0/n
	}
	return b
}

// Chance is the chance of being at or over a threshold.
type Chance struct {
	Now float64 // today
	// At[d] is the chance on day d from today, Within[d] on any day up to d,
	// d = 0 to 14. Within never falls with d.
	At, Within [Horizon + 1]float64
	// Day is the first day by which the threshold is more likely reached than
	// not, 0 for today, and -1 for not within 14 days.
	Day int
}

// Crossing returns the chance that a density reaches threshold within two
// weeks when ln density moves on a straight line, by a normal rate per day
// with mean rate and standard deviation sd. On day d, for a density x today
// below the threshold T, both chances are P(rate >= ln(T/x)/d); a density at
// or over T counts as reached within any time, and on day d when it has not
// fallen below. Integration over the belief is a sum over its weights, or
// Gauss-Legendre panels for a normal belief.
//
// It carries the past weeks' rate forward and knows no weather: say "could
// reach". Neither a higher rate nor a lower threshold ever lowers a chance.
//
// Accuracy: 1e-9 against bivariate normal probabilities (TestCrossing_Scipy).
// Errors: estimate.ErrDomain for arguments out of range or not finite.
func Crossing(b Belief, rate, sd, threshold float64) (Chance, error) {
	const most = 1e100 // of a rate or a ln density
	bad := func(format string, args ...any) (Chance, error) {
		return Chance{}, fmt.Errorf("%s: %w", fmt.Sprintf(format, args...), estimate.ErrDomain)
	}
	switch {
	case !(math.Abs(rate) <= most && sd >= 0 && sd <= most):
		return bad("rate %v with standard deviation %v", rate, sd)
	case !finite(threshold) || threshold <= 0:
		return bad("threshold %v, want above 0", threshold)
	case !(b.Corr >= -1 && b.Corr <= 1):
		return bad("correlation %v", b.Corr)
	case len(b.Density) != len(b.Weight):
		return bad("%d densities and %d weights", len(b.Density), len(b.Weight))
	}
	lt := math.Log(threshold)
	var c Chance
	if len(b.Density) == 0 {
		if !(math.Abs(b.LnMean) <= most && b.LnSD >= 0 && b.LnSD <= most) {
			return bad("ln density %v with standard deviation %v", b.LnMean, b.LnSD)
		}
		for d := range c.At {
			c.At[d], c.Within[d] = normalBelief(b, rate, sd, lt, float64(d))
		}
	} else {
		ln, w, err := points(b)
		if err != nil {
			return Chance{}, err
		}
		mean, spread := moments(ln, w)
		for d := range c.At {
			for i, l := range ln {
				r, s := rate, sd*math.Sqrt(1-b.Corr*b.Corr)
				if spread > 0 && !math.IsInf(l, -1) {
					r += b.Corr * sd * (l - mean) / spread
				} else {
					s = sd
				}
				p := reach(l, r, s, lt, float64(d))
				c.At[d] += w[i] * p
				if l >= lt {
					p = 1
				}
				c.Within[d] += w[i] * p
			}
		}
	}
	c.Day = -1
	for d := range c.At {
		c.At[d] = math.Min(c.At[d], 1) // sums of weights round
		c.Within[d] = math.Min(math.Max(c.Within[d], c.At[d]), 1)
		if d > 0 {
			c.Within[d] = math.Max(c.Within[d], c.Within[d-1])
		}
		if c.Day < 0 && c.Within[d] >= 0.5 {
			c.Day = d
		}
	}
	c.Now = c.At[0]
	return c, nil
}

// reach is the chance that l + rate d >= lt.
func reach(l, rate, sd, lt, d float64) float64 {
	gap := l + rate*d - lt
	if s := sd * d; s > 0 && !math.IsInf(gap, 0) {
		return phi(gap / s)
	}
	if gap >= 0 {
		return 1
	}
	return 0
}

// phi is the standard normal distribution function.
func phi(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

func normalBelief(b Belief, rate, sd, lt, d float64) (at, within float64) {
	m, s := b.LnMean, b.LnSD
	if s == 0 {
		at = reach(m, rate, sd, lt, d)
		if m >= lt {
			return at, 1
		}
		return at, at
	}
	now := phi((m - lt) / s)
	if d == 0 {
		return now, now
	}
	// With z = (l - m)/s the path on day d is normal with mean m + s z +
	// d (rate + corr sd z) and standard deviation d sd sqrt(1 - corr²).
	slope, rest := s+d*b.Corr*sd, d*sd*math.Sqrt(1-b.Corr*b.Corr)
	gap := m + d*rate - lt
	if total := math.Hypot(slope, rest); total > 0 {
		at = phi(gap / total)
	} else if gap >= 0 {
		at = 1
	}
	top := math.Min((lt-m)/s, 9) // below the threshold today: z < top
	if top <= -9 {
		return at, now
	}
	if rest == 0 { // a step: gap + slope z >= 0
		switch z := -gap / slope; {
		case slope == 0 && gap >= 0, slope > 0 && z <= -9, slope < 0 && z >= top:
			return at, 1
		case slope > 0 && z < top:
			return at, now + phi(top) - phi(z)
		case slope < 0:
			return at, now + phi(z)
		}
		return at, now
	}
	// Panels of the belief, cut finer about the place where the path meets the
	// threshold.
	cuts := []float64{-6, -4.5, -3, -2, -1, 0, 1, 2, 3, 4.5, 6}
	if slope != 0 {
		for _, k := range []float64{-9, -6, -4, -2.5, -1.2, 0, 1.2, 2.5, 4, 6, 9} {
			cuts = append(cuts, (-gap+k*rest)/slope)
		}
	}
	return at, now + panels(func(z float64) float64 {
		return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) * phi((gap+slope*z)/rest)
	}, cuts, top)
}

// panels integrates f from -9 to top by Gauss-Legendre between the cuts.
func panels(f func(float64) float64, cuts []float64, top float64) float64 {
	sorted := append(cuts, top)
	slices.Sort(sorted)
	sum, last := 0.0, -9.0
	for _, c := range sorted {
		if c > last && c <= top {
			sum += quad.Fixed(f, last, c, 16, quad.Legendre{}, 0)
			last = c
		}
	}
	return sum
}

func points(b Belief) (ln, w []float64, err error) {
	sum := 0.0
	for i, x := range b.Density {
		if !(x >= 0) || !(b.Weight[i] >= 0) || math.IsInf(x, 1) || math.IsInf(b.Weight[i], 1) {
			return nil, nil, fmt.Errorf("density %v with weight %v: %w", x, b.Weight[i], estimate.ErrDomain)
		}
		ln, w, sum = append(ln, math.Log(x)), append(w, b.Weight[i]), sum+b.Weight[i]
	}
	if !(sum > 0) || math.IsInf(sum, 1) {
		return nil, nil, fmt.Errorf("weights sum to %v: %w", sum, estimate.ErrDomain)
	}
	for i := range w {
		w[i] /= sum
	}
	return ln, w, nil
}

// moments are the mean and standard deviation of ln density over the points
// above 0.
func moments(ln, w []float64) (mean, sd float64) {
	n := 0.0
	for i, l := range ln {
		if !math.IsInf(l, -1) {
			n, mean = n+w[i], mean+w[i]*l
		}
	}
	if n == 0 {
		return 0, 0
	}
	mean /= n
	for i, l := range ln {
		if !math.IsInf(l, -1) {
			sd += w[i] * (l - mean) * (l - mean)
		}
	}
	return mean, math.Sqrt(sd / n)
}

// Words says the chance for the grower.
func (c Chance) Words() string {
	switch {
	case c.Day == 0:
		return fmt.Sprintf("already at or over the threshold, as far as the counts tell (chance %s)", percent(c.Now))
	case c.Day > 0:
		return fmt.Sprintf("at this rate it could reach the threshold in about %s (chance %s within 7 days, %s within 14)",
			count(c.Day, "day"), percent(c.Within[7]), percent(c.Within[14]))
	}
	return fmt.Sprintf("not likely to reach the threshold within 14 days (chance %s within 7 days, %s within 14); count again before then",
		percent(c.Within[7]), percent(c.Within[14]))
}

func finite(v ...float64) bool {
	for _, f := range v {
		if math.IsNaN(f) || math.IsInf(f, 0) {
			return false
		}
	}
	return true
}
