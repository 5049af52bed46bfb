package growth

import (
	"fmt"
	"math"
)

// Response is how a predator's catch goes with the prey about it: it attacks
// at Attack per hour and handles each prey for Handling hours (type II,
// Holling 1959, Can. Entomol. 91:385-398).
type Response struct{ Attack, Handling float64 }

func (r Response) check(prey, hours float64) error {
	ok := true
	for _, x := range []float64{r.Attack, r.Handling, prey, hours} {
		ok = ok && x >= 0 && x <= 1e9
	}
	if !ok {
		return fmt.Errorf("attack %v, handling %v, prey %v, hours %v: %w", r.Attack, r.Handling, prey, hours, ErrDomain)
	}
	return nil
}

// MostPerDay is the ceiling: 24 hours over the handling time, +Inf for none.
func (r Response) MostPerDay() float64 { return 24 / r.Handling }

// Disc returns the prey eaten in some hours when each eaten one is replaced.
// A response fitted to prey that ran out does not belong here: it would eat
// more than there are. Errors: ErrDomain.
func (r Response) Disc(prey, hours float64) (float64, error) {
	if err := r.check(prey, hours); err != nil {
		return 0, err
	}
	return r.Attack * prey * hours / (1 + r.Attack*r.Handling*prey), nil
}

// Depleting returns the prey eaten when none is replaced: the solution of
// eaten = prey (1 - exp(Attack (Handling eaten - hours))), never more than
// there are. Errors: ErrDomain.
// Source: Rogers 1972, J. Anim. Ecol. 41:369-383.
func (r Response) Depleting(prey, hours float64) (float64, error) {
	if err := r.check(prey, hours); err != nil {
		return 0, err
	}
	// The left side less the right is below 0 at none and not at all of them,
	// and bends one way, so that halving finds the one place.
	lo, hi := 0.0, prey
	for range 200 {
		mid := (lo + hi) / 2
		if mid < -prey*math.Expm1(r.Attack*(r.Handling*mid-hours)) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2, nil
}

// VapourDeficit returns the vapour pressure deficit of air, in hPa, at a
// temperature and a relative humidity in percent: what dries eggs out.
// Saturation by Tetens's formula with 6.1078 hPa. Errors: ErrDomain for a
// humidity outside 0 to 100 or a temperature outside -40 to 60 °C.
// Source: the formula with which Ferrero et al. 2010, Entomol. Exp. Appl.
// 135:237, agree at 25 °C.
func VapourDeficit(temp, humidity float64) (float64, error) {
	if !(temp >= -40 && temp <= 60) || !(humidity >= 0 && humidity <= 100) {
		return 0, fmt.Errorf("%v °C and %v %% humidity: %w", temp, humidity, ErrDomain)
	}
	return 6.1078 * math.Exp(17.27*temp/(temp+237.3)) * (1 - humidity/100), nil
}
