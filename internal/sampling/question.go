package sampling

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"leafturn/internal/diag"
	"leafturn/internal/estimate"
)

// Clump says how the variance between units grows with the mean. Fill one of
// the three: K; TaylorA and TaylorB; IwaoAlpha and IwaoBeta.
type Clump struct {
	// K is the negative binomial exponent, the same at every density; +Inf is
	// Poisson.
	K float64
	// TaylorA and TaylorB give variance = a m^b (Taylor 1961, Nature 189:732-735).
	TaylorA, TaylorB float64
	// IwaoAlpha and IwaoBeta give variance = (alpha+1) m + (beta-1) m² (Iwao
	// 1968, Researches on Population Ecology 10:1-20).
	IwaoAlpha, IwaoBeta float64
}

// At returns the negative binomial k at a mean per unit: K, or the k that
// gives the variance of the law; +Inf where the variance is not above the mean
// and for numbers out of range.
func (c Clump) At(mean float64) float64 {
	switch {
	case c.K > 0:
		return c.K
	case c.TaylorA > 0:
		return estimate.TaylorK(mean, c.TaylorA, c.TaylorB)
	}
	// k = m²/(variance - m) = m/(alpha + (beta-1) m)
	over := c.IwaoAlpha + (c.IwaoBeta-1)*mean
	if !(mean > 0) || math.IsInf(mean, 1) || !(over > 0) {
		return math.Inf(1)
	}
	return math.Max(mean/over, math.SmallestNonzeroFloat64)
}

// variance returns the variance between units at a mean.
func (c Clump) variance(m float64) float64 {
	switch {
	case c.K > 0:
		return m + m*m/c.K
	case c.TaylorA > 0:
		return c.TaylorA * math.Pow(m, c.TaylorB)
	}
	return (c.IwaoAlpha+1)*m + (c.IwaoBeta-1)*m*m
}

// leastK is the least k that is computed with, and 1/leastK the largest
// constant of a law.
const leastK = 1e-100

// check returns what is wrong with c, or "".
func (c Clump) check() string {
	n := 0
	for _, set := range []bool{c.K != 0, c.TaylorA != 0 || c.TaylorB != 0, c.IwaoAlpha != 0 || c.IwaoBeta != 0} {
		if set {
			n++
		}
	}
	switch {
	case n == 0:
		return "how clumped the animals are is missing"
	case n > 1:
		return "how clumped the animals are is given twice"
	case c.K != 0 && !(c.K >= leastK):
		return fmt.Sprintf("k is %v", c.K)
	case (c.TaylorA != 0 || c.TaylorB != 0) && (!(c.TaylorA > 0 && c.TaylorA <= 1/leastK) || math.IsNaN(c.TaylorB) || math.Abs(c.TaylorB) > 10):
		return fmt.Sprintf("Taylor's a is %v and b is %v", c.TaylorA, c.TaylorB)
	case (c.IwaoAlpha != 0 || c.IwaoBeta != 0) && (!(c.IwaoBeta > 0 && c.IwaoBeta <= 1/leastK) || !(c.IwaoAlpha > -1 && c.IwaoAlpha <= 1/leastK)):
		return fmt.Sprintf("Iwao's alpha is %v and beta is %v", c.IwaoAlpha, c.IwaoBeta)
	}
	return ""
}

// Method is how stop lines are drawn.
type Method string

// The methods.
const (
	// MethodTuned begins with Wald's lines and moves them, unit by unit, until the
	// exact risks of the plan as it is walked, least and most units included,
	// are the asked ones with as few units as can be.
	MethodTuned Method = "tuned"
	// MethodWald is Wald's lines as in the books, cut off at the most units.
	MethodWald Method = "Wald"
	// MethodIwao is confidence lines around the threshold.
	MethodIwao Method = "Iwao"
)

// Defaults of Question. At half the threshold nobody wants to act and at one
// and a half nobody wants to hold; a risk of one in ten on each side is usual
// in scouting. All common practice.
const (
	DefaultLower    = 0.5
	DefaultUpper    = 1.5
	DefaultRisk     = 0.10
	DefaultMinUnits = 5
)

// Limits on the size of a plan.
const (
	mostUnits = 500
	mostTotal = 4000
)

// Question is what a sampling plan must answer: is the bed over the threshold?
// Zero fields take the defaults.
type Question struct {
	// Threshold is animals per unit, or with Percent the share of units
	// infested, 0 to 1.
	Threshold float64
	Percent   bool
	// Presence judges a threshold in animals per unit by how many units hold
	// more than Tally animals: "5 or more" is Tally 4. The law of counts turns
	// density into share. A tally near the threshold is hurt least by a wrong
	// k. With Percent, Tally only says what "infested" means.
	Presence bool
	Tally    int
	Clump    Clump // not used with Percent

	// LowerRatio and UpperRatio times the threshold are the safe level, where
	// acting is needless, and the action level, where holding is wrong.
	LowerRatio, UpperRatio float64
	Alpha                  float64 // risk of acting at the safe level
	Beta                   float64 // risk of holding at the action level

	MinUnits, MaxUnits int // no decision before, always one at

	Method Method
	// T is the multiplier of Iwao's lines; 0 finds the smallest that meets the
	// risks. Not used by the other methods.
	T float64
	// Belief is how dense the pest may be before the visit. It weighs the
	// choice between plans with the same risks, and the advice in the field.
	// Left empty, a plan takes SeasonBelief and advice a weak prior.
	Belief Belief

	// Unit and Units are the sample unit in words, one and many, for sentences;
	// left empty "unit" and "units".
	Unit, Units string
}

// many is a number of sample units in words.
func (q Question) many(n int) string { return fmt.Sprintf("%d %s", n, q.words(n)) }

// words are the words for n sample units.
func (q Question) words(n int) string {
	if n == 1 {
		return cmp.Or(q.Unit, "unit")
	}
	return cmp.Or(q.Units, "units")
}

// shares reports whether totals are numbers of infested units.
func (q Question) shares() bool { return q.Percent || q.Presence }

// levels returns the safe and the action level.
func (q Question) levels() (safe, action float64) {
	return q.LowerRatio * q.Threshold, q.UpperRatio * q.Threshold
}

// filled returns q with its defaults, or what is wrong with it.
func (q Question) filled() (Question, error) {
	def := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	def(&q.LowerRatio, DefaultLower)
	def(&q.UpperRatio, DefaultUpper)
	def(&q.Alpha, DefaultRisk)
	def(&q.Beta, DefaultRisk)
	if q.MinUnits == 0 {
		q.MinUnits = min(DefaultMinUnits, max(q.MaxUnits, 1))
	}
	if q.Method == "" {
		q.Method = MethodTuned
	}
	no := func(do, what string, a ...any) (Question, error) {
		return Question{}, problem(do, what, a...)
	}
	lo, hi := q.levels()
	switch {
	case !pos(q.Threshold):
		return no("give the threshold as a number above 0", "the threshold is %v", q.Threshold)
	case q.Percent && q.Threshold >= 1:
		return no("give the share of units infested between 0 and 1, such as 0.1 for 10 %%", "the threshold is a share of %v", q.Threshold)
	case !q.Percent && q.Clump.check() != "":
		return no("give k (0.5 to 1 is common practice for a clumped pest), or a and b of Taylor's law, or alpha and beta of Iwao's", "%s", q.Clump.check())
	case q.Tally < 0 || q.Tally > 1000:
		return no("give the count that a unit must be over, 0 to 1000", "the tally number is %d", q.Tally)
	case !pos(q.LowerRatio, q.UpperRatio) || q.LowerRatio >= q.UpperRatio || !pos(lo, hi):
		return no("give two numbers such as 0.5 and 1.5, the lower first", "the levels are %v and %v times the threshold", q.LowerRatio, q.UpperRatio)
	case q.Percent && hi >= 1:
		return no("lower the upper ratio so that the action level stays under 1", "the action level is a share of %.3g", hi)
	case !(q.Alpha > 0 && q.Alpha < 0.5 && q.Beta > 0 && q.Beta < 0.5):
		return no("give both risks between 0 and 0.5, such as 0.1", "the risks are %v and %v", q.Alpha, q.Beta)
	case q.MaxUnits < 1 || q.MaxUnits > mostUnits:
		return no(fmt.Sprintf("give the most units you would look at, 1 to %d", mostUnits), "the most units is %d", q.MaxUnits)
	case q.MinUnits < 1 || q.MinUnits > q.MaxUnits:
		return no("give a least number of units from 1 to the most", "the least units is %d and the most %d", q.MinUnits, q.MaxUnits)
	case q.Method != MethodTuned && q.Method != MethodWald && q.Method != MethodIwao:
		return no("take tuned, Wald or Iwao", "there is no method %q", string(q.Method))
	case !q.Percent && !pos(q.Clump.variance(q.Threshold), q.Clump.variance(lo), q.Clump.variance(hi)):
		return no("look at the constants of the law again: its variance must be above 0 at every density of the plan", "the law gives a variance of %v at the threshold", q.Clump.variance(q.Threshold))
	case !(q.T >= 0 && q.T <= 10):
		return no("give 0, or a number such as 1.645, at most 10", "the multiplier of Iwao's lines is %v", q.T)
	}
	if len(q.Belief.Levels) > 0 || len(q.Belief.Weights) > 0 {
		if err := q.Belief.check(q.Percent); err != nil {
			return Question{}, err
		}
	}
	if !q.shares() && hi*float64(q.MaxUnits) > mostTotal {
		return Question{}, &diag.Problem{
			What: fmt.Sprintf("a plan for totals up to %.0f animals is too large", hi*float64(q.MaxUnits)),
			Do:   "count whether units hold more than a tally number instead of all animals, or take fewer units", Usage: true, Err: estimate.ErrLarge,
		}
	}
	if q.shares() {
		if a, b := q.share(lo, 1), q.share(hi, 1); !(a > 0 && a < b && b < 1-1e-9) {
			return no("choose a tally number nearer to the threshold", "presence cannot tell the levels apart: %.3g and %.3g of units infested", a, b)
		}
	}
	return q, nil
}

// k is that of the clumping at a level, times factor.
func (q Question) k(level, factor float64) float64 {
	return math.Max(q.Clump.At(level)*factor, math.SmallestNonzeroFloat64)
}

// share returns the share of units infested at a level, with k times factor.
func (q Question) share(level, factor float64) float64 {
	if q.Percent {
		return level
	}
	p, err := estimate.ShareOver(q.Tally, level, q.k(level, factor))
	if err != nil {
		return math.NaN()
	}
	return p
}

func problem(do, what string, a ...any) error {
	return &diag.Problem{What: fmt.Sprintf(what, a...), Do: do, Usage: true, Err: estimate.ErrDomain}
}

// Belief is how probable each density is: weights over levels, in the unit of
// the threshold. The weights need not add up to 1.
type Belief struct{ Levels, Weights []float64 }

// check refuses a belief that cannot be used.
func (b Belief) check(share bool) error {
	sum := 0.0
	for i, l := range b.Levels {
		if !(l >= 0) || math.IsInf(l, 1) || share && l > 1 {
			return problem("give densities of 0 or more, and shares up to 1", "density %d of the belief is %v", i+1, l)
		}
		if i < len(b.Weights) {
			if w := b.Weights[i]; !(w >= 0) || math.IsInf(w, 1) {
				return problem("give weights of 0 or more", "weight %d of the belief is %v", i+1, w)
			}
			sum += b.Weights[i]
		}
	}
	if len(b.Levels) == 0 || len(b.Levels) != len(b.Weights) || !pos(sum) {
		return problem("give as many weights as densities, at least one above 0", "the belief has %d densities and %d weights adding up to %v", len(b.Levels), len(b.Weights), sum)
	}
	return nil
}

// norm returns the belief with weights that add up to 1.
func (b Belief) norm() Belief {
	sum := 0.0
	for _, w := range b.Weights {
		sum += w
	}
	out := Belief{Levels: b.Levels, Weights: make([]float64, len(b.Weights))}
	for i, w := range b.Weights {
		out.Weights[i] = w / sum
	}
	return out
}

// Median returns the smallest level with half of the weight at or below it; 0
// for an empty belief.
func (b Belief) Median() float64 { return b.quantile(0.5) }

// quantile is Median for the share q of the weight.
func (b Belief) quantile(q float64) float64 {
	sum := 0.0
	for _, w := range b.Weights {
		sum += w
	}
	order := make([]int, len(b.Levels))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int { return cmp.Compare(b.Levels[i], b.Levels[j]) })
	below := 0.0
	for _, i := range order {
		if below += b.Weights[i]; below >= q*sum {
			return b.Levels[i]
		}
	}
	return 0
}

// LogNormal returns a belief of equally probable densities whose logs are
// normal with the given median and standard deviation (of natural logs): the
// middles of points slices. Densities above most are set to most; 0 is no
// limit.
func LogNormal(median, sd, most float64, points int) (Belief, error) {
	if !pos(median) || !(sd >= 0) || sd > 20 || points < 1 || points > 10_000 || !(most >= 0) {
		return Belief{}, bad("median %v, sd %v, most %v, %d points", median, sd, most, points)
	}
	var b Belief
	for i := range points {
		l := median * math.Exp(sd*normalQuantile((float64(i)+0.5)/float64(points)))
		if most > 0 {
			l = math.Min(l, most)
		}
		b.Levels, b.Weights = append(b.Levels, l), append(b.Weights, 1/float64(points))
	}
	return b, b.check(false)
}

// What SeasonBelief assumes; invented, as common practice would have it.
const (
	SeasonMedian = 0.3 // of the threshold
	SeasonSpread = 1.0 // standard deviation of ln density
)

// SeasonBelief is the densities that the weeks of an ordinary season bring:
// lognormal with the median at 0.3 times the threshold and a standard
// deviation of 1 in natural logs, so that about one week in nine is over it.
// Invented, not measured; shares stop at 0.95.
func SeasonBelief(threshold float64, share bool, points int) (Belief, error) {
	most := 0.0
	if share {
		most = 0.95
	}
	return LogNormal(SeasonMedian*threshold, SeasonSpread, most, points)
}
