package estimate

import (
	"fmt"
	"math"

	"leafturn/internal/civil"
)

// InjuryLevel returns the economic injury level C/(V I D K) in animals per
// unit: C cost of control per area, V value per unit of yield, I injury per
// animal, D loss per unit of injury, K share of the loss that control
// prevents. With V, I, D or K at 0 there is none: ErrDomain. For cut flowers
// value falls in steps (a stem is saleable or not): a guide only.
//
// Sources: Stern et al. 1959, Hilgardia 29:81-101; Pedigo, Hutchins & Higley
// 1986, Annual Review of Entomology 31:341-368 (from memory).
func InjuryLevel(c, v, i, d, k float64) (float64, error) {
	e := c / (v * i * d * k)
	if !(c >= 0) || !(v > 0 && i > 0 && d > 0 && k > 0 && k <= 1) || !finite(c, v, i, d, e) || c > 0 && e == 0 {
		return 0, fmt.Errorf("no injury level for C %v, V %v, I %v, D %v, K %v: %w", c, v, i, d, k, ErrDomain)
	}
	return e, nil
}

// ActionLevel returns the density at which to act so that the injury level is
// not passed within leadDays when the population grows at rPerDay:
// EIL e^(-r L), never above the EIL. Errors: ErrDomain.
func ActionLevel(eil, rPerDay, leadDays float64) (float64, error) {
	if !(eil >= 0) || math.IsInf(eil, 1) || !(leadDays >= 0) || math.IsNaN(rPerDay) || math.IsInf(rPerDay, 0) || math.IsInf(leadDays, 1) {
		return 0, fmt.Errorf("EIL %v, r %v, lead %v: %w", eil, rPerDay, leadDays, ErrDomain)
	}
	return eil * math.Exp(-math.Max(rPerDay, 0)*leadDays), nil
}

// GrowthRate returns r per day from two densities, ln(later/earlier)/days.
// Errors: ErrDomain when a density or days is not above 0.
func GrowthRate(earlier, later, days float64) (float64, error) {
	r := math.Log(later/earlier) / days
	if !(earlier > 0 && later > 0 && days > 0) || !finite(earlier, later, days, r) {
		return 0, fmt.Errorf("%v to %v in %v days: %w", earlier, later, days, ErrDomain)
	}
	return r, nil
}

// DoublingTime returns ln 2/r: days (or weeks) to double, negative for a
// halving, +Inf at r = 0 and where r is NaN: no doubling is known of.
func DoublingTime(r float64) float64 {
	if r == 0 || math.IsNaN(r) {
		return math.Inf(1)
	}
	return math.Ln2 / r
}

// Reading is a mean count per unit on a day.
type Reading struct {
	Date civil.Date
	Mean float64
}

// PestDays returns the animal-days per unit of each step between readings,
// (t2-t1)(x1+x2)/2, in date order. Readings of one day are averaged. Nothing
// is added before the first or after the last reading, and a missed visit is
// bridged; the caller flags it. Fewer than two days give no steps.
//
// Errors: ErrDomain for a mean that is negative or not finite, no date, or a
// total that is too large for a number.
// Source: Ruppel 1983, J. Economic Entomology 76:375-377 (from memory).
func PestDays(readings []Reading) (steps []float64, total float64, err error) {
	sum, n := map[civil.Date]float64{}, map[civil.Date]float64{}
	var days []civil.Date
	for _, r := range readings {
		if !(r.Mean >= 0) || math.IsInf(r.Mean, 1) || r.Date.IsZero() {
			return nil, 0, fmt.Errorf("mean %v on %q: %w", r.Mean, r.Date, ErrDomain)
		}
		if n[r.Date] == 0 {
			days = append(days, r.Date)
		}
		sum[r.Date] += r.Mean
		n[r.Date]++
	}
	sortDates(days)
	for i := 1; i < len(days); i++ {
		a, b := days[i-1], days[i]
		s := float64(b.Sub(a)) * (sum[a]/n[a] + sum[b]/n[b]) / 2
		steps = append(steps, s)
		total += s
	}
	if !finite(total) {
		return nil, 0, fmt.Errorf("a total of %v animal-days: %w", total, ErrDomain)
	}
	return steps, total, nil
}
