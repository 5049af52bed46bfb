package trend

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/estimate"
)

// BedCount is the animals counted on N units of one bed. K is the clumping of
// the units within a bed, +Inf for Poisson; it must be given.
type BedCount struct {
	Code  string
	Total int
	N     int
	K     float64
}

// Spot is one bed against the field.
type Spot struct {
	Code   string
	Raw    float64 // mean per unit as counted
	Mean   float64 // shrunken towards the field
	Times  float64 // Mean over the field's mean
	Chance float64 // that the bed's true mean is at or over Factor times the field's
	Listed bool    // Chance is at least ListAt
}

// Field is every bed against the field, the highest chance first.
type Field struct {
	Beds   []Spot
	Mean   float64 // mean of the shrunken bed means
	Spread float64 // standard deviation of ln mean between beds, posterior mean
	Factor float64
	Listed int
	// ExpectedFalse is how many of the listed beds are there by chance: the
	// sum of 1 - Chance over them, at most a tenth of Listed. Where beds truly
	// differ little it can be twice as many.
	ExpectedFalse float64
}

// leastK is the least k that is computed with.
const leastK = 1e-100

// ListAt is the chance at which a bed is listed. Ours.
const ListAt = 0.9

// tauScale is the scale of the half-normal prior of the standard deviation of
// ln mean between beds: half of it lies below 0.67, so that the middle 95 %
// of beds may well spread tenfold. The shape is common practice, the scale ours.
const tauScale = 1.0

// HotSpots returns which beds hold more than the field after allowing for
// sampling noise. factor is how many times the field's mean a bed must hold to
// count, above 1 and below the number of beds; 1.5 is usual (ours).
//
// Between beds ln mean is normal with mean mu and standard deviation tau;
// within a bed the total is negative binomial with exponent N K. For each of a
// grid of tau, mu is at its maximum marginal likelihood and the weight is that
// likelihood (with Laplace's term for mu) times a half-normal prior. A bed is
// compared with the field's mean, of which it is a part; the other beds' mean
// is taken as log-normal, so that its uncertainty is in the chance. With few
// beds or few animals no bed passes: that is meant.
//
// Accuracy: against draws from the full model, with mu free, chances within
// 0.006 and shrunken means within 0.015 (TestHotSpots_Reference); the share of
// homogeneous fields with any bed listed, and how many listed beds are wrong
// where beds differ, is in TestHotSpots_FalseAlarms.
// Errors: estimate.ErrFew with fewer than 3 beds; estimate.ErrDomain for a
// count, k or factor out of range.
// Sources: Efron & Morris 1975, J. Am. Stat. Assoc. 70:311-319 (shrinkage);
// Gelman 2006, Bayesian Analysis 1:515-534 (prior of a spread); Newton et al.
// 2004, Biostatistics 5:155-176 (expected false); all from memory.
func HotSpots(beds []BedCount, factor float64) (Field, error) {
	f := Field{Factor: factor}
	if len(beds) < 3 {
		return f, fmt.Errorf("%s, and at least 3 are needed to tell a field from its beds: %w", count(len(beds), "bed"), estimate.ErrFew)
	}
	if !(factor > 1 && factor < float64(len(beds))) {
		return f, fmt.Errorf("factor %v, want above 1 and below the %d beds: %w", factor, len(beds), estimate.ErrDomain)
	}
	total := 0.0
	for i, b := range beds {
		if b.N < 1 || b.N > estimate.MaxCount || b.Total < 0 || float64(b.Total) > float64(estimate.MaxCount)*float64(b.N) || !(b.K >= leastK) {
			return f, fmt.Errorf("bed %d (%s): %d animals on %d units, k %v: %w", i+1, b.Code, b.Total, b.N, b.K, estimate.ErrDomain)
		}
		total += float64(b.Total)
		f.Beds = append(f.Beds, Spot{Code: b.Code, Raw: float64(b.Total) / float64(b.N)})
	}
	if total == 0 {
		f.order()
		return f, nil
	}
	f.shrink(beds)
	f.order()
	return f, nil
}

// shrink fills the posterior of every bed.
func (f *Field) shrink(beds []BedCount) {
	const lowest, step, taus = 0.02, 1.35, 18
	n := len(beds)
	var mus, logw [taus]float64
	mu, sum, units := 0.0, 0.0, 0.0
	for _, b := range beds {
		sum, units = sum+float64(b.Total), units+float64(b.N)
	}
	mu = math.Log((sum + 0.5) / units)
	for t := range taus {
		tau := lowest * math.Pow(step, float64(t))
		var curve, lik float64
		mu, curve, lik = fitMu(beds, mu, tau)
		mus[t] = mu
		logw[t] = lik - 0.5*math.Log(curve) - tau*tau/(2*tauScale*tauScale) + math.Log(tau)
	}
	top := slices.Max(logw[:])
	norm := 0.0
	for t := range logw {
		logw[t] = math.Exp(logw[t] - top)
		norm += logw[t]
	}
	for t, w := range logw {
		w /= norm
		tau := lowest * math.Pow(step, float64(t))
		f.Spread += w * tau
		if w < 1e-6 { // far below what a chance can show
			continue
		}
		post := make([]normalMix, n)
		for i, b := range beds {
			post[i] = bedPosterior(b, mus[t], tau, 128)
		}
		f.compare(post, w)
	}
	for i := range f.Beds {
		f.Mean += f.Beds[i].Mean / float64(n)
	}
	for i := range f.Beds {
		s := &f.Beds[i]
		s.Chance = math.Min(1, s.Chance)
		s.Times = s.Mean / f.Mean
		if s.Listed = s.Chance >= ListAt; s.Listed {
			f.Listed++
			f.ExpectedFalse += 1 - s.Chance
		}
	}
}

// compare adds the means and chances at one tau, with weight w.
func (f *Field) compare(post []normalMix, w float64) {
	n := float64(len(post))
	sum, sq := 0.0, 0.0
	for _, p := range post {
		sum, sq = sum+p.mean, sq+p.vari
	}
	for i, p := range post {
		f.Beds[i].Mean += w * p.mean
		// bed >= c (bed + others)/n is bed >= others c/(n - c).
		m, v := sum-p.mean, sq-p.vari
		s2 := math.Log1p(v / (m * m))
		lm := math.Log(m) - s2/2 + math.Log(f.Factor/(n-f.Factor))
		s := math.Sqrt(s2)
		for j, u := range p.u {
			f.Beds[i].Chance += w * p.w[j] * phi((u-lm)/s)
		}
	}
}

// normalMix is the posterior of one bed's ln mean at a mu and tau, on points.
type normalMix struct {
	u, w       []float64
	mean, vari float64 // of the mean itself
	lnMean     float64
	lnVar      float64
	logLik     float64 // ln of the marginal likelihood, less what does not depend on mu and tau
}

// fitMu finds the mu of greatest marginal likelihood at a tau by Newton steps
// and returns it with the curvature and the log likelihood there.
func fitMu(beds []BedCount, mu, tau float64) (at, curve, lik float64) {
	t2 := tau * tau
	top := 0.0
	for _, b := range beds {
		top = math.Max(top, float64(b.Total)/float64(b.N))
	}
	for range 60 {
		score := 0.0
		curve, lik = 0, 0
		for _, b := range beds {
			p := bedPosterior(b, mu, tau, 32)
			score += (p.lnMean - mu) / t2
			curve += (1 - p.lnVar/t2) / t2
			lik += p.logLik
		}
		curve = math.Max(curve, 1e-9/t2) // above 0: the likelihood is log-concave
		d := math.Max(-2, math.Min(2, score/curve))
		if math.Abs(d)*math.Sqrt(curve) < 1e-5 || math.Abs(d) < 1e-12 {
			break
		}
		// With hardly any information (k near 0) mu has no maximum to speak of.
		mu = math.Max(-30, math.Min(mu+d, math.Log(top)+3))
	}
	return mu, curve, lik
}

// bedPosterior integrates the likelihood of a bed's total against the normal
// law of ln mean. Both are log-concave in ln mean, so there is one mode, and
// the trapezoid rule out to where the density is negligible is exact for
// practical purposes; more points serve a sharp comparison later.
func bedPosterior(b BedCount, mu, tau float64, points int) normalMix {
	n, t, k := float64(b.N), float64(b.Total), b.K
	poisson := k > 1e15
	log := func(u float64) float64 {
		m, z := math.Exp(u), (u-mu)/tau
		if poisson {
			return t*u - n*m - z*z/2
		}
		return -t*math.Log1p(k/m) - n*k*math.Log1p(m/k) - z*z/2 // less t ln k
	}
	slope := func(u float64) (s, c float64) { // and minus the second derivative
		m := math.Exp(u)
		if poisson {
			return t - n*m - (u-mu)/(tau*tau), n*m + 1/(tau*tau)
		}
		w := (t + n*k) / (1 + k/m)
		return t - w - (u-mu)/(tau*tau), w/(1+m/k) + 1/(tau*tau)
	}
	// The mode lies between mu and the bed's own ln mean.
	lo, hi := mu, math.Log((t+1e-9)/n)
	if t == 0 {
		lo, hi = mu-2*tau*tau*n*math.Exp(math.Min(mu, 300))-1, mu
	}
	if lo > hi {
		lo, hi = hi, lo
	}
	u := (lo + hi) / 2
	for range 200 {
		s, c := slope(u)
		if s > 0 {
			lo = u
		} else {
			hi = u
		}
		next := u + s/c
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if math.Abs(next-u) < 1e-10*(1+math.Abs(u)) {
			u = next
			break
		}
		u = next
	}
	best := log(u)
	_, c := slope(u)
	edge := func(dir float64) float64 {
		d := 1 / math.Sqrt(c)
		e := u
		for range 400 {
			if e += dir * d; log(e) < best-32 {
				break
			}
		}
		return e
	}
	lo, hi = edge(-1), edge(1)
	p := normalMix{u: make([]float64, points), w: make([]float64, points)}
	h, sum := (hi-lo)/float64(points-1), 0.0
	for i := range p.u {
		p.u[i] = lo + h*float64(i)
		p.w[i] = math.Exp(log(p.u[i]) - best)
		sum += p.w[i]
	}
	p.logLik = best + math.Log(sum*h/tau)
	m := make([]float64, points)
	for i, x := range p.u {
		m[i] = math.Exp(x)
		p.w[i] /= sum
		p.lnMean += p.w[i] * x
		p.mean += p.w[i] * m[i]
	}
	for i, x := range p.u {
		d, e := x-p.lnMean, m[i]-p.mean
		p.lnVar += p.w[i] * d * d
		p.vari += p.w[i] * e * e
	}
	return p
}

// order puts the highest chance first.
func (f *Field) order() {
	slices.SortStableFunc(f.Beds, func(a, b Spot) int {
		switch {
		case a.Chance != b.Chance:
			if a.Chance > b.Chance {
				return -1
			}
			return 1
		case a.Mean != b.Mean:
			if a.Mean > b.Mean {
				return -1
			}
			return 1
		}
		return strings.Compare(a.Code, b.Code)
	})
}

// Words names the listed beds for the grower and how many are there by chance.
func (f Field) Words() string {
	if f.Mean == 0 {
		return "nothing was found in any bed"
	}
	if f.Listed == 0 {
		return fmt.Sprintf("no bed stands out: none is surely %s times the field or more", times(f.Factor))
	}
	var names []string
	for _, s := range f.Beds[:f.Listed] {
		names = append(names, fmt.Sprintf("%s (about %s times the field, chance %s)", s.Code, times(s.Times), percent(s.Chance)))
	}
	verb, chance := "stand", "under 0.1"
	if f.Listed == 1 {
		verb = "stands"
	}
	if f.ExpectedFalse >= 0.1 {
		chance = fmt.Sprintf("about %.1f", f.ExpectedFalse)
	}
	return fmt.Sprintf("%s of %d %s out: %s; of the beds named %s would be expected by chance alone",
		count(f.Listed, "bed"), len(f.Beds), verb, strings.Join(names, ", "), chance)
}
