// Package trend tells what a season's counts say beyond one visit: how fast a
// pest grows or falls, the chance that it reaches a threshold within two
// weeks, which beds stand out of the field, whether the edge holds more than
// the middle, and whether neighbouring beds are alike.
//
// Everything is arithmetic on the arguments: no clock, no files, no
// randomness, and no argument is modified. Densities are animals per sample
// unit, times the visit's scale; k is the negative binomial exponent, small =
// clumped, +Inf = Poisson. Results can hold +Inf where no bound exists, which
// JSON cannot: convert first.
//
// Not here: temperature-driven growth and predators (rates come from the
// counts alone), growth that changes within the window, noise from visit to
// visit beyond the line when crossing a threshold, local spatial statistics,
// and any forecast past 14 days, where the answer is to scout again.
package trend

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"leafturn/internal/civil"
	"leafturn/internal/estimate"
)

// ErrNoSlope reports that the counts allow no finite rate of growth: nothing
// was found, animals were found at one end of the window only, or too few
// visits. The message says which, in words for the grower.
var ErrNoSlope = errors.New("no trend can be told")

// ErrNoClumping reports that nothing is known of how clumped the animals are
// and the counts are too few to see it.
var ErrNoClumping = errors.New("clumping not known")

// Visit is the sample units of one visit of one bed, pest and sample unit.
type Visit struct {
	Date     civil.Date
	Counts   []int             // animals on each unit counted
	Presence estimate.Presence // units only scored; other units than Counts
	// Scale turns the mean per unit into the measure that visits are compared
	// in, such as 1 over the nights that a trap stood. 0 is taken as 1.
	Scale float64
}

// Rate is growth by a log-linear line through the visits.
type Rate struct {
	PerDay float64 // slope of ln density per day
	SE     float64 // its standard error with k taken as known and no scatter beyond sampling
	// Scatter is how many times more (as a variance) the visits scatter about
	// the line than sampling explains, at least 1.
	Scatter float64
	SD      float64 // of PerDay with all that is not known in it: half the 95 % interval over 1.96
	Low     float64 // 95 % interval of PerDay
	High    float64

	Visits, Units int
	First, Last   civil.Date
	Rough         bool // two dates only: the scatter about the line is not known
	K             float64
	KSource       string

	LnNow   float64  // ln of the line's density on Last, in the measure
	LnNowSD float64  // its standard deviation
	Corr    float64  // correlation of PerDay and LnNow
	Notes   []string // what the grower should know before using it
}

// Factor returns the growth per week and its 95 % interval: 2 is a doubling.
func (r Rate) Factor() (float64, estimate.Interval) {
	return math.Exp(7 * r.PerDay), estimate.Interval{Low: math.Exp(7 * r.Low), High: math.Exp(7 * r.High)}
}

// Clear reports whether the 95 % interval excludes no change.
func (r Rate) Clear() bool { return r.Low > 0 || r.High < 0 }

// Time returns the days to double (or, when halving, to halve) and their 95 %
// interval. high is +Inf when no change, or a change the other way, cannot be
// ruled out; days is +Inf when the line is flat.
func (r Rate) Time() (days, low, high float64, halving bool) {
	slope, near, far := r.PerDay, r.Low, r.High
	if slope < 0 {
		slope, near, far, halving = -slope, -r.High, -r.Low, true
	}
	at := func(v float64) float64 {
		if !(v > 0) {
			return math.Inf(1)
		}
		return estimate.DoublingTime(v)
	}
	return at(slope), at(far), at(near), halving
}

const (
	// leastUnits is the least number of counted units from which k is fitted
	// when nothing else is known of it. Common practice.
	leastUnits = 8
	// longestDays is the longest window. A line through more than a year is
	// not a season's growth.
	longestDays = 366
	// Two visits give a rate when they lie this many days apart; closer or
	// farther is noted. Common practice.
	pairLeast, pairMost = 4, 14
)

// Recent returns the visits of the last `dates` dates that lie at most weeks
// weeks before the newest, oldest first. Growth changes with the weather, so
// a window of about six weeks and six dates is usual (common practice).
func Recent(visits []Visit, dates, weeks int) []Visit {
	out := slices.Clone(visits)
	slices.SortStableFunc(out, func(a, b Visit) int { return a.Date.Compare(b.Date) })
	i, seen := len(out), 0
	for i > 0 {
		v := out[i-1]
		if i == len(out) || v.Date != out[i].Date {
			seen++
		}
		if seen > dates || out[len(out)-1].Date.Sub(v.Date) > 7*min(max(weeks, 0), 10_000) {
			break
		}
		i--
	}
	return out[i:]
}

// Growth returns the rate of growth over all the visits given, in any order.
//
//	ln E(count) = b0 + b1 day - ln scale
//
// clump gives k as a number or by Taylor's law (variance a m^b at the mean of
// each visit); the line is then fitted by (quasi-)likelihood, which for a
// number k is the negative binomial regression. When clump is empty k is
// fitted by maximum likelihood from at least 8 counted units. Presence samples
// enter through the chance of more than the tally.
//
// Three or more dates give an interval that knows how far the visits scatter
// about the line: the variance is multiplied by Scatter, Pearson's chi-square
// over its degrees of freedom where that is above 1. The multiplier of the
// interval is 1.96 when k is given and Scatter is 1. Else it is Student's, with
// Satterthwaite's degrees of freedom for the part of the variance that the
// scatter adds, and with units - 2 when k is fitted. Two dates give
// ln(N2/N1)/days with the delta method, marked Rough.
//
// Accuracy: against R's glm.nb and glm (negative.binomial) 1e-4 or better, see
// the tests; the share of simulated seasons whose interval holds the truth is
// in TestGrowth_Coverage.
//
// Errors: ErrNoSlope, ErrNoClumping; estimate.ErrEmpty without visits;
// estimate.ErrDomain for a count, scale, presence, date or k out of range.
// Sources: Venables & Ripley 2002, Modern Applied Statistics with S, ch. 7;
// Wedderburn 1974, Biometrika 61:439-447 (quasi-likelihood; from memory);
// Satterthwaite 1946, Biometrics Bulletin 2:110-114 (from memory).
func Growth(visits []Visit, clump estimate.Dispersion) (Rate, error) {
	cells, err := toCells(visits)
	if err != nil {
		return Rate{}, err
	}
	law, err := lawOf(clump)
	if err != nil {
		return Rate{}, err
	}
	r := Rate{Scatter: 1, First: cells[0].date, Last: cells[len(cells)-1].date, KSource: clump.Words}
	dates, counted := 0, 0
	for i := range cells {
		if i == 0 || cells[i].date != cells[i-1].date {
			dates++
		}
		cells[i].x = float64(cells[i].date.Sub(r.Last))
		counted += len(cells[i].counts)
		r.Units += int(cells[i].n) + cells[i].pres.Looked
	}
	r.Visits, r.Rough = len(cells), dates == 2
	if err := slopeExists(cells, dates); err != nil {
		return Rate{}, err
	}
	fitted := law.k == 0 && law.a == 0
	if fitted {
		if law.k, err = fitK(cells); err != nil {
			return Rate{}, err
		}
		r.KSource = "fitted to these counts"
	} else if r.KSource == "" {
		r.KSource = "given"
		if law.a > 0 {
			r.KSource = "by Taylor's law"
		}
	}
	f, err := fitLine(cells, law)
	if err != nil {
		return Rate{}, err
	}
	r.K = law.at(math.Exp(f.b[0] - cells[len(cells)-1].lnScale))
	r.PerDay, r.SE, r.LnNow = f.b[1], math.Sqrt(f.cov[1][1]), f.b[0]
	if !r.Rough && f.df > 0 {
		r.Scatter = math.Max(1, f.pearson/float64(f.df))
	}
	r.Corr = f.cov[0][1] / math.Sqrt(f.cov[0][0]*f.cov[1][1])
	q := 1 / z95 // quantiles of Student's t against the normal
	inv := 0.0   // 1 over its degrees of freedom
	if extra := (r.Scatter - 1) / r.Scatter; extra > 0 {
		inv += extra * extra / float64(f.df)
	}
	if fitted {
		inv += 1 / float64(counted-2)
	}
	if inv > 0 {
		q *= distuv.StudentsT{Sigma: 1, Nu: 1 / inv}.Quantile(0.975)
	} else {
		q = 1
	}
	q *= math.Sqrt(r.Scatter)
	r.SD, r.LnNowSD = r.SE*q, math.Sqrt(f.cov[0][0])*q
	r.Low, r.High = r.PerDay-z95*r.SD, r.PerDay+z95*r.SD
	r.Notes = notes(cells, r)
	return r, nil
}

var z95 = distuv.UnitNormal.Quantile(0.975)

func notes(cells []cell, r Rate) (out []string) {
	if days := r.Last.Sub(r.First); r.Rough {
		out = append(out, "two visits only: a rough rate; a third visit shows how far to trust it")
		if days < pairLeast || days > pairMost {
			out = append(out, fmt.Sprintf("the two visits lie %s apart; %d to %d days tell the rate best", count(days, "day"), pairLeast, pairMost))
		}
	}
	if r.Scatter > 1.5 {
		out = append(out, "the visits scatter about the line more than chance in sampling explains, and the range is widened for it")
	}
	all, top, at := 0.0, 0, civil.Date{}
	for _, c := range cells {
		all += c.total
		if c.most > top {
			top, at = c.most, c.date
		}
	}
	if top >= 10 && 2*float64(top) > all && r.Units >= 2*r.Visits {
		out = append(out, fmt.Sprintf("one unit with %d on %s holds over half of all animals: check that count", top, at.Short()))
	}
	return out
}

// cell is the units of one visit (or of one bed, where x tells edge from
// middle).
type cell struct {
	date        civil.Date
	x           float64
	n, total    float64
	most        int
	pres        estimate.Presence
	lnScale     float64
	counts      []int
	free, whole bool // nothing found; every scored unit infested and none counted
}

func toCells(visits []Visit) ([]cell, error) {
	if len(visits) == 0 {
		return nil, fmt.Errorf("no visits: %w", estimate.ErrEmpty)
	}
	var out []cell
	for i, v := range visits {
		bad := func(format string, args ...any) error {
			return fmt.Errorf("visit %d: %s: %w", i+1, fmt.Sprintf(format, args...), estimate.ErrDomain)
		}
		if v.Date.IsZero() {
			return nil, bad("no date")
		}
		c := cell{date: v.Date, n: float64(len(v.Counts)), pres: v.Presence, counts: v.Counts}
		for _, x := range v.Counts {
			if x < 0 || x > estimate.MaxCount {
				return nil, bad("a count of %d, want 0 to %d", x, estimate.MaxCount)
			}
			c.total, c.most = c.total+float64(x), max(c.most, x)
		}
		p := v.Presence
		if p.Looked < 0 || p.Looked > estimate.MaxCount || p.Infested < 0 || p.Infested > p.Looked || p.Tally < 0 || p.Tally > estimate.MaxCount {
			return nil, bad("%d infested of %d, tally %d", p.Infested, p.Looked, p.Tally)
		}
		if len(v.Counts)+p.Looked == 0 {
			return nil, fmt.Errorf("visit %d of %s: %w", i+1, v.Date, estimate.ErrEmpty)
		}
		switch {
		case v.Scale == 0:
		case v.Scale > 0 && !math.IsInf(v.Scale, 1):
			c.lnScale = math.Log(v.Scale)
		default:
			return nil, bad("a scale of %v", v.Scale)
		}
		c.free = c.total == 0 && p.Infested == 0
		c.whole = len(v.Counts) == 0 && p.Infested == p.Looked
		out = append(out, c)
	}
	// A full order, so that the order of the visits changes not one bit.
	slices.SortFunc(out, func(a, b cell) int {
		return cmp.Or(a.date.Compare(b.date), cmp.Compare(a.total, b.total), cmp.Compare(a.n, b.n), cmp.Compare(a.lnScale, b.lnScale),
			cmp.Compare(a.pres.Infested, b.pres.Infested), cmp.Compare(a.pres.Looked, b.pres.Looked), cmp.Compare(a.pres.Tally, b.pres.Tally))
	})
	if d := out[len(out)-1].date.Sub(out[0].date); d > longestDays {
		return nil, fmt.Errorf("the visits span %d days, more than a season of at most %d: %w", d, longestDays, estimate.ErrDomain)
	}
	return out, nil
}

// slopeExists tells whether a finite slope fits best. A visit with some but
// not all holds the line; a clear visit lets it fall for ever and a fully
// infested one lets it rise for ever.
func slopeExists(cells []cell, dates int) error {
	no := func(format string, args ...any) error {
		return fmt.Errorf("%s: %w", fmt.Sprintf(format, args...), ErrNoSlope)
	}
	if dates < 2 {
		return no("visits on one day only (%s); count again in a week", cells[0].date)
	}
	held := map[civil.Date]bool{}
	var at civil.Date
	free, whole := 0, 0
	for _, c := range cells {
		switch {
		case c.free:
			free++
		case c.whole:
			whole++
		default:
			held[c.date], at = true, c.date
		}
	}
	switch {
	case free == len(cells):
		return no("nothing was found on %s", count(len(cells), "visit"))
	case whole == len(cells):
		return no("every unit was infested on %s; count animals instead", count(len(cells), "visit"))
	case len(held) >= 2:
		return nil
	case dates == 2 && free > 0:
		return no("animals were found on one of two days only")
	case len(held) == 0:
		return no("each visit found every unit clear or every unit infested")
	}
	up, down := false, false // what keeps a line that turns about the one held date from rising, or falling
	for _, c := range cells {
		d := c.date.Compare(at)
		if c.whole {
			d = -d
		}
		if d != 0 && (c.free || c.whole) {
			up, down = up || d > 0, down || d < 0
		}
	}
	if up && down {
		return nil
	}
	if whole > 0 {
		return no("clear or fully infested visits leave the rate open")
	}
	return no("animals were found on %s only, at one end of the visits", at.Short())
}

// fitK fits k to the counts about a log-linear line.
func fitK(cells []cell) (float64, error) {
	var y []int
	var x [][]float64
	var off []float64
	for _, c := range cells {
		for _, v := range c.counts {
			y, x, off = append(y, v), append(x, []float64{1, c.x / 7}), append(off, -c.lnScale)
		}
	}
	if len(y) < leastUnits {
		return 0, fmt.Errorf("%s counted, and at least %d are needed to see how clumped the animals are; give k or Taylor's a and b: %w",
			count(len(y), "unit"), leastUnits, ErrNoClumping)
	}
	r, err := estimate.Regress(estimate.NegBinLaw, y, x, off)
	if err != nil {
		return 0, fmt.Errorf("the counts do not show how clumped the animals are (%v); give k or Taylor's a and b: %w", err, ErrNoClumping)
	}
	return r.K, nil
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
