package estimate

import (
	"fmt"
	"math"
)

// Efficacy is a percentage of control with its interval. It is negative when
// there were more animals after treatment than the check leads to expect.
type Efficacy struct {
	Percent   float64
	Low, High float64
	SELnRatio float64 // standard error of ln(1 - efficacy/100)
	K         float64 // k used, +Inf for Poisson
	Adjusted  bool    // a cell was 0: the interval has 0.5 animals added to every cell
}

// Abbott returns 100 (check - treated)/check from the living in each.
// It needs equal numbers before treatment. check = 0 is ErrDomain.
// Source: Abbott 1925, J. Economic Entomology 18:265-267.
func Abbott(treated, check float64) (float64, error) {
	if !(check > 0) || !(treated >= 0) || math.IsInf(check, 1) || math.IsInf(treated, 1) {
		return 0, fmt.Errorf("treated %v, check %v: %w", treated, check, ErrDomain)
	}
	e := 100 * (check - treated) / check
	return checked(e, e)
}

// CorrectedMortality returns (p - c)/(1 - c), the mortality due to treatment
// when p died in the treated and c in the check (shares). c = 1 is ErrDomain.
// Source: Abbott 1925, J. Economic Entomology 18:265-267.
func CorrectedMortality(p, c float64) (float64, error) {
	if !(p >= 0 && p <= 1) || !(c >= 0 && c < 1) {
		return 0, fmt.Errorf("mortality %v, check %v: %w", p, c, ErrDomain)
	}
	return (p - c) / (1 - c), nil
}

// MortalityInterval returns an interval of CorrectedMortality from the dead of
// those treated and of the check: a normal one for the log of the ratio of the
// shares that live. Where all of the treated died half an animal is added to the
// living of both and one to their number. Where none died on either side it is
// the score interval of that ratio, in which the other side's share is 1 at
// both ends. Errors: ErrDomain for numbers that are no shares, a check that all
// died, or more than 1e12 animals.
// Sources: Katz et al. 1978, Biometrics 34:469-474; Koopman 1984, Biometrics
// 40:513-517 (score; both from memory).
func MortalityInterval(dead, of, checkDead, checkOf int, level float64) (Interval, error) {
	if err := levelOK(level); err != nil {
		return Interval{}, err
	}
	if of < 1 || checkOf < 1 || float64(max(of, checkOf)) > maxUnits || dead < 0 || dead > of || checkDead < 0 || checkDead >= checkOf {
		return Interval{}, fmt.Errorf("%d of %d, and %d of %d in the check: %w", dead, of, checkDead, checkOf, ErrDomain)
	}
	live, n, check, m := float64(of-dead), float64(of), float64(checkOf-checkDead), float64(checkOf)
	if dead+checkDead == 0 {
		z2 := chi1(level)
		return Interval{Low: -z2 / m, High: z2 / (n + z2)}, nil
	}
	if live == 0 {
		live, n, check, m = live+0.5, n+1, check+0.5, m+1
	}
	h := zOf(level) * math.Sqrt(1/live-1/n+1/check-1/m)
	lr := math.Log(live/n) - math.Log(check/m)
	return Interval{Low: 1 - math.Exp(lr+h), High: 1 - math.Exp(lr-h)}, nil
}

// Cell is the animals counted on Units sample units. A mean is 0 or from 1e-9
// to MaxCount animals per unit.
type Cell struct {
	Total float64
	Units int
}

func (c Cell) mean() float64 { return c.Total / float64(c.Units) }

func (c Cell) ok() bool {
	return c.Units >= 1 && float64(c.Units) <= maxUnits && (c.Total == 0 || c.mean() >= 1e-9 && c.mean() <= MaxCount)
}

// AbbottCounts returns Abbott's efficacy from counts, with a Wald interval on
// the log ratio of the means. k is that of the counts, +Inf for Poisson; for
// a k near 0 Low can be -Inf. An empty check is ErrDomain.
func AbbottCounts(treated, check Cell, k, level float64) (Efficacy, error) {
	return ratio(k, level, []Cell{treated}, []Cell{check})
}

// HendersonTilton returns 100 (1 - Ta Cb/(Tb Ca)) on means per unit, T
// treated, C check, b before, a after, with a Wald interval on the log ratio:
// its variance is the sum over the four cells of 1/total + 1/(n k). Without a
// check there is no efficacy, only change.
//
// Errors: ErrDomain when the treated before or the check after is 0, or an
// argument is out of range.
// Source: Henderson & Tilton 1955, J. Economic Entomology 48:157-161.
func HendersonTilton(treatedBefore, treatedAfter, checkBefore, checkAfter Cell, k, level float64) (Efficacy, error) {
	return ratio(k, level, []Cell{treatedAfter, checkBefore}, []Cell{treatedBefore, checkAfter})
}

func ratio(k, level float64, up, down []Cell) (Efficacy, error) {
	if err := levelOK(level); err != nil {
		return Efficacy{}, err
	}
	if !kOK(k) {
		return Efficacy{}, fmt.Errorf("k %v: %w", k, ErrDomain)
	}
	e := Efficacy{K: k}
	r := 1.0
	for i, c := range append(append([]Cell(nil), up...), down...) {
		if !c.ok() || i >= len(up) && c.Total == 0 {
			return Efficacy{}, fmt.Errorf("%v animals on %d units cannot be compared with: %w", c.Total, c.Units, ErrDomain)
		}
		if c.Total == 0 {
			e.Adjusted = true
		}
		if i < len(up) {
			r *= c.mean()
		} else {
			r /= c.mean()
		}
	}
	e.Percent = 100 * (1 - r)
	add, lr, v := 0.0, 0.0, 0.0
	if e.Adjusted {
		add = 0.5
	}
	for i, cells := range [][]Cell{up, down} {
		for _, c := range cells {
			l := math.Log((c.Total + add) / float64(c.Units))
			if i == 1 {
				l = -l
			}
			lr += l
			v += 1/(c.Total+add) + 1/(float64(c.Units)*k)
		}
	}
	e.SELnRatio = math.Sqrt(v)
	h := zOf(level) * e.SELnRatio
	e.Low, e.High = 100*(1-math.Exp(lr+h)), 100*(1-math.Exp(lr-h))
	return e, nil
}

// AbbottProfile returns the profile likelihood interval of Abbott's efficacy
// for two groups of counts with a known common k: all ratios of means whose
// likelihood, with the check mean fitted anew, is within the chi-square cut.
// A treated group without animals has an upper limit of 100; Low is -Inf where
// the counts set no lower one.
//
// Errors: ErrDomain as AbbottCounts; ErrLarge above 10¹² animals, where rounding
// hides the ends.
// Source: Venables & Ripley 2002, Modern Applied Statistics with S, ch. 7.
func AbbottProfile(treated, check Cell, k, level float64) (Interval, error) {
	e, err := AbbottCounts(treated, check, k, level)
	if err != nil {
		return Interval{}, err
	}
	tooLarge := fmt.Errorf("%v animals against %v: %w", treated.Total, check.Total, ErrLarge)
	if math.Max(treated.Total, check.Total) > 1e12 {
		return Interval{}, tooLarge
	}
	nt, nc := float64(treated.Units), float64(check.Units)
	mt, mc := treated.mean(), check.mean()
	ll := func(n, x, m float64) float64 { // of n units with observed mean x
		l := 0.0
		if x > 0 {
			l = x * math.Log(m)
		}
		if math.IsInf(k, 1) {
			return n * (l - m)
		}
		return n * (l - (x+k)*math.Log1p(m/k))
	}
	best := ll(nc, mc, mc)
	if mt > 0 {
		best += ll(nt, mt, mt)
	}
	// The check mean solves d/dln(m) of both terms = 0 at a given ratio.
	profile := func(b float64) float64 {
		grad := func(u float64) float64 {
			m := math.Exp(u)
			g := func(n, x, m float64) float64 {
				if math.IsInf(k, 1) {
					return n * (x - m)
				}
				return n * k * (x - m) / (k + m)
			}
			return g(nc, mc, m) + g(nt, mt, m*math.Exp(b))
		}
		lo, hi := math.Log(mc), math.Log(mc)
		if mt > 0 {
			lo, hi = math.Min(lo, math.Log(mt)-b), math.Max(hi, math.Log(mt)-b)
		} else {
			for lo > -700 && grad(lo) < 0 {
				lo -= 2
			}
		}
		m := math.Exp(root(grad, lo, hi, 1e-13))
		return best - ll(nc, mc, m) - ll(nt, mt, m*math.Exp(b)) - chi1(level)/2
	}
	// e.SELnRatio gives the step in which to look for the ends.
	out := Interval{math.Inf(-1), 100}
	b := math.Log((treated.Total + 1e-9) / nt / mc)
	if mt == 0 {
		b = math.Log(0.5 / nt / mc)
		for profile(b) > 0 && b > -600 {
			b -= 1
		}
	}
	steps := 0
	for hi := b; hi < 600 && steps < maxSteps; hi += e.SELnRatio {
		if profile(hi+e.SELnRatio) > 0 {
			out.Low = 100 * (1 - math.Exp(root(profile, hi, hi+e.SELnRatio, 1e-12)))
			break
		}
		steps++
	}
	if mt > 0 {
		for lo := b; lo > -600 && steps < maxSteps; lo -= e.SELnRatio {
			if profile(lo-e.SELnRatio) > 0 {
				out.High = 100 * (1 - math.Exp(root(profile, lo-e.SELnRatio, lo, 1e-12)))
				break
			}
			steps++
		}
	}
	if steps == maxSteps || math.IsNaN(out.Low) || math.IsNaN(out.High) {
		return Interval{}, tooLarge
	}
	return out, nil
}

// maxSteps bounds the search for the ends: a few standard errors are enough
// for ordinary counts.
const maxSteps = 2000
