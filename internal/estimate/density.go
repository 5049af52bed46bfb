package estimate

import (
	"fmt"
	"math"
	"slices"
)

// Presence is a presence-absence sample: of Looked units, Infested held more
// than Tally animals (Tally 0: at least one; "5 or more" is Tally 4).
type Presence struct {
	Infested int `json:"infested"`
	Looked   int `json:"looked"`
	Tally    int `json:"tally"`
}

// Sample is the sample units of one visit, or of visits taken together:
// counts, presence-absence, or both on different units.
type Sample struct {
	Counts   []int
	Presence Presence
}

// Dispersion is what is known of clumping: Taylor's A and B (A > 0), or a
// fixed K (+Inf is Poisson), or nothing. Words says where it comes from.
type Dispersion struct {
	A, B  float64
	K     float64
	Words string
}

// When nothing is known of clumping, ln k is taken as Normal(0, 0.8): 95 % of
// it between k = 0.2 and 4.8. Common practice for insects on plants.
const (
	unknownLnMean = 0.0
	unknownLnSD   = 0.8
)

// Density is an estimate of animals per sample unit with its uncertainty.
type Density struct {
	N     int     `json:"n"`     // units looked at, counted or scored
	Total int     `json:"total"` // animals counted
	Mean  float64 `json:"mean"`  // of the counts; without counts the posterior median
	Low   float64 `json:"low"`   // 95 % interval; Low is 0 when nothing was found
	High  float64 `json:"high"`
	Level float64 `json:"level"`
	Zeros int     `json:"zeros"` // counted units with none
	Max   int     `json:"max"`

	PropInfested float64 `json:"prop_infested"` // units with more than the tally
	PropLow      float64 `json:"prop_low"`
	PropHigh     float64 `json:"prop_high"`

	K       float64 `json:"-"` // at Mean; +Inf is Poisson
	KSource string  `json:"k_source"`
	Method  string  `json:"method"`

	Outlier     bool `json:"outlier"`      // one unit is far outside what the others lead to expect
	OutlierUnit int  `json:"outlier_unit"` // its 1-based place in Counts, 0 for none

	post Posterior
}

// Exceeds returns the chance that the true mean per unit is at or over
// threshold (animals per unit), from the posterior.
func (d Density) Exceeds(threshold float64) float64 { return d.post.Exceeds(threshold) }

// Posterior returns the posterior of the mean.
func (d Density) Posterior() Posterior { return d.post }

// Estimate returns the density of a sample with its central 95 % interval.
//
// The posterior is the likelihood of the counts (negative binomial) and of
// the presence sample (binomial, with the chance of more than the tally)
// times WeakPrior, on a grid of ln mean. With Taylor's law k is tied to the
// mean, k(m) = m²/(a m^b - m), Poisson where a m^b <= m. For a known k, and
// for Taylor's law with 1 <= b <= 2, more animals on any unit never lower
// Exceeds: the likelihood ratio of two means rises in each count.
//
// When no animal was found Low is 0 and High the one-sided 95 % limit.
// The order of units does not matter, but for OutlierUnit.
//
// Errors: ErrEmpty; ErrDomain for a count or presence out of range, or a
// dispersion with A below 0 or over 1e100, B outside 1..2, or K below 1e-100.
// Sources: Bliss & Fisher 1953, Biometrics 9:176-200 (likelihood); Taylor
// 1961, Nature 189:732-735; Kuno 1986, Researches on Population Ecology
// 28:305-319 (zero term; from memory).
func Estimate(in Sample, disp Dispersion) (Density, error) {
	var d Density
	var t tally
	var err error
	if len(in.Counts) > 0 {
		if t, err = newTally(in.Counts); err != nil {
			return d, err
		}
	}
	p := in.Presence
	if p.Looked < 0 || float64(p.Looked) > maxUnits || p.Infested < 0 || p.Infested > p.Looked || p.Tally < 0 || p.Tally > MaxCount {
		return d, fmt.Errorf("%d infested of %d, tally %d: %w", p.Infested, p.Looked, p.Tally, ErrDomain)
	}
	if t.n+p.Looked == 0 {
		return d, ErrEmpty
	}
	law, err := disp.law()
	if err != nil {
		return d, err
	}
	d.N, d.Level = t.n+p.Looked, 0.95
	if d.post, err = newPosterior(law.logLik(t, p), WeakPrior, startMean(t, p)); err != nil {
		return Density{}, err
	}
	if t.n > 0 {
		d.Total, d.Max, d.Mean = int(t.total), t.max, t.mean()
		if t.value[0] == 0 {
			d.Zeros = t.freq[0]
		}
	}
	switch {
	case t.n == 0:
		d.Mean, d.Method = d.post.Quantile(0.5), "from the share of units infested"
	case p.Looked > 0:
		d.Mean, d.Method = d.post.Quantile(0.5), "from counts and the share of units infested"
	default:
		d.Method = "from counts"
	}
	if t.total == 0 && p.Infested == 0 {
		d.Mean, d.Low, d.High = 0, 0, d.post.Quantile(d.Level)
	} else {
		d.Low, d.High = d.post.Quantile((1-d.Level)/2), d.post.Quantile((1+d.Level)/2)
	}
	infested := p.Infested
	for i, x := range t.value {
		if x > p.Tally {
			infested += t.freq[i]
		}
	}
	sh, err := Proportion(infested, d.N)
	if err != nil {
		return Density{}, err
	}
	d.PropInfested, d.PropLow, d.PropHigh = sh.P, sh.Low, sh.High
	at := d.Mean
	if at == 0 {
		at = d.High
	}
	d.K, d.KSource = law.at(at), disp.words(law)
	d.OutlierUnit = outlier(in.Counts, law)
	d.Outlier = d.OutlierUnit > 0
	return d, nil
}

func (d Dispersion) law() (lawK, error) {
	switch {
	case kOK(d.K):
		return lawK{fixed: d.K}, nil
	case d.K != 0 || !(d.A >= 0 && d.A <= maxA):
		return lawK{}, fmt.Errorf("k %v, a %v: %w", d.K, d.A, ErrDomain)
	case d.A > 0 && !(d.B >= 1 && d.B <= 2):
		return lawK{}, fmt.Errorf("b %v of Taylor's law, want 1 to 2: %w", d.B, ErrDomain)
	case d.A > 0:
		return lawK{a: d.A, b: d.B}, nil
	}
	return lawK{lnMean: unknownLnMean, lnSD: unknownLnSD}, nil
}

func (d Dispersion) words(l lawK) string {
	if d.Words != "" {
		return d.Words
	}
	switch {
	case l.fixed > 0:
		return "k given"
	case l.a > 0:
		return "k by Taylor's law"
	}
	return "clumping not known; k taken as about 0.2 to 5 (common practice)"
}

// outlierChance is how unlikely the highest unit must be, given the others,
// to be flagged. Ours.
const outlierChance = 1e-3

// Outlier returns the 1-based place of a unit that is far outside what the
// others lead to expect (a typing slip, or a hot spot), 0 for none; see the
// Outlier of Density. Errors: as Estimate.
func Outlier(counts []int, disp Dispersion) (int, error) {
	if len(counts) == 0 {
		return 0, ErrEmpty
	}
	if low, high := slices.Min(counts), slices.Max(counts); low < 0 || high > MaxCount {
		return 0, fmt.Errorf("a count of %d to %d, want 0 to %d: %w", low, high, MaxCount, ErrDomain)
	}
	law, err := disp.law()
	if err != nil {
		return 0, err
	}
	return outlier(counts, law), nil
}

// outlier returns the 1-based place of the highest unit when, of n units with
// the mean of the others, one so high has a chance under outlierChance. The
// mean of the others has half an animal added, so that one animal among zeros
// is ordinary. One or two others say little of their mean: its upper limit
// stands in, so that only what no reading of them leads to expect is flagged.
// One unit gives 0.
func outlier(counts []int, law lawK) int {
	n, most, at, alike, total := len(counts), -1, 0, 0, 0
	for i, x := range counts {
		total += x
		switch {
		case x > most:
			most, at, alike = x, i, 1
		case x == most:
			alike++
		}
	}
	if n < 2 || alike > 1 || most < 2 {
		return 0
	}
	m := (float64(total) - float64(most) + 0.5) / float64(n-1)
	k := law.at(m)
	known := law.fixed != 0 || law.a != 0
	var rest []int
	if !known || n-1 < leastOthers {
		rest = slices.DeleteFunc(slices.Clone(counts), func(x int) bool { return x == most })
	}
	if !known {
		// k is not known: no larger than what the other units show.
		if f, err := FitNB(rest); err == nil {
			if fk, ok := f.K(); ok && f.Outcome == Converged {
				k = math.Min(k, fk)
			}
		}
	}
	if n-1 < leastOthers {
		if in, err := ProfileKnownK(rest, k, 0.95); err == nil {
			m = math.Max(m, in.High)
		}
	}
	// One as high as that has the chance often enough, and one higher too: the
	// first takes a part of the time.
	if float64(n)*math.Exp(LogPMF(most, m, k)) >= outlierChance || float64(n)*Survival(most-1, m, k) >= outlierChance {
		return 0
	}
	return 1 + at
}

// leastOthers is how many other units tell their mean. Ours.
const leastOthers = 3
