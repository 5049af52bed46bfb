package growth

import (
	"fmt"
	"math"
)

// Patch is a hot spot: prey that grow at rate Alpha, and predators that eat
// Beta prey each a day and grow at rate Gamma as long as there is prey:
//
//	dN/dt = Alpha N - Beta P, dP/dt = Gamma P
//
// The predators are taken to stay, to find their food, and to breed at their
// full rate until the prey is gone: the satiated-predator model. It is for one
// patch, never for the mean over a field. Prey and predators are per leaf, or
// both in all.
//
// Source: Janssen & Sabelis 1992; van Baalen & Sabelis 1995 (from memory);
// solved here by hand.
type Patch struct {
	Prey, Predators    float64 // at the start, 0 or more
	Alpha, Beta, Gamma float64 // per day; Beta prey per predator and day
}

// Outcome is which way a patch goes.
type Outcome string

// The outcomes.
const (
	FallsAtOnce     Outcome = "falls at once"
	RisesThenFalls  Outcome = "rises, then falls"
	NeverControlled Outcome = "never controlled"
)

// Course is how a patch goes with rates that stay as they are.
type Course struct {
	Outcome Outcome
	Gone    float64 // days until the last prey is eaten; +Inf for never
	Peak    float64 // day of the most prey; 0 when it falls at once, +Inf when it never turns
	Most    float64 // prey on that day; +Inf when it never turns
}

// Check says what is wrong with the patch: ErrDomain for prey, predators or
// Beta below 0, beyond 1e12 or under 1e-12,
// or for Alpha or Gamma beyond 10 a day.
func (p Patch) Check() error {
	if !amount(p.Prey) || !amount(p.Predators) || !amount(p.Beta) || !(math.Abs(p.Alpha) <= 10) || !(math.Abs(p.Gamma) <= 10) {
		return fmt.Errorf("prey %v, predators %v, rates %v, %v and %v: %w", p.Prey, p.Predators, p.Alpha, p.Beta, p.Gamma, ErrDomain)
	}
	return nil
}

func amount(x float64) bool { return x == 0 || x >= 1e-12 && x <= 1e12 }

// Course tells the three outcomes apart. Prey falls from the first day when
// there are no more than Beta/Alpha of it to each predator; when the predators
// breed slower than the prey and there are Beta/(Alpha-Gamma) or more, they
// never catch up. Errors: those of Check.
func (p Patch) Course() (Course, error) {
	if err := p.Check(); err != nil {
		return Course{}, err
	}
	eaten := p.Beta * p.Predators
	switch {
	case p.Prey == 0:
		return Course{Outcome: FallsAtOnce}, nil
	case eaten == 0 && p.Alpha < 0:
		return Course{Outcome: FallsAtOnce, Gone: math.Inf(1), Most: p.Prey}, nil
	case eaten == 0:
		return Course{Outcome: NeverControlled, Gone: math.Inf(1), Peak: math.Inf(1), Most: math.Inf(1)}, nil
	}
	r := p.Prey / eaten // days of eating in hand
	x := p.Gamma - p.Alpha
	c := Course{Outcome: RisesThenFalls, Gone: logOver(x, r), Most: p.Prey}
	switch {
	case p.Alpha*r <= 1+rounding:
		c.Outcome = FallsAtOnce
		return c, nil
	case math.IsInf(c.Gone, 1):
		return Course{Outcome: NeverControlled, Gone: c.Gone, Peak: math.Inf(1), Most: math.Inf(1)}, nil
	}
	// Prey stands still where Alpha N = Beta P: e^(x t) = Alpha (1 + x r)/Gamma.
	if math.Abs(x) < 1e-9 {
		c.Peak = r - 1/p.Alpha
	} else {
		c.Peak = math.Log(p.Alpha*(1+x*r)/p.Gamma) / x
	}
	c.Most, _ = p.At(c.Peak)
	return c, nil
}

// rounding is what is left of a difference that should be 0: a ratio that is
// the limit itself counts as on it.
const rounding = 1e-12

// logOver is ln(1 + x r)/x, r for x of 0, and +Inf where there is no such day.
func logOver(x, r float64) float64 {
	switch {
	case math.Abs(x*r) < 1e-12:
		return r
	case 1+x*r <= rounding:
		return math.Inf(1)
	}
	return math.Log1p(x*r) / x
}

// At returns prey and predators after so many days, 0 or more. Once the prey
// is gone it stays gone, and the predators are those of that moment: they
// leave or starve.
func (p Patch) At(days float64) (prey, predators float64) {
	if !(days > 0) || p.Prey == 0 {
		return p.Prey, p.Predators
	}
	gone := math.Inf(1)
	if eaten := p.Beta * p.Predators; eaten > 0 {
		gone = logOver(p.Gamma-p.Alpha, p.Prey/eaten)
	}
	if days >= gone {
		return 0, p.Predators * math.Exp(p.Gamma*gone) // gone is 0 or more and there are predators
	}
	x := p.Gamma - p.Alpha
	share := days
	if math.Abs(x*days) > 1e-12 {
		share = math.Expm1(x*days) / x
	}
	if left := p.Prey - p.Beta*p.Predators*share; left > 0 {
		prey = math.Exp(p.Alpha*days) * left
	}
	if p.Predators > 0 {
		predators = p.Predators * math.Exp(p.Gamma*days)
	}
	return prey, predators
}

// Rates are one day's rates for a patch.
type Rates struct{ Alpha, Beta, Gamma float64 }

// Run returns prey and predators at the end of each day, when every day has
// its own rates: At, day after day. Errors: those of Check.
func Run(prey, predators float64, days []Rates) (n, p []float64, err error) {
	for _, r := range days {
		patch := Patch{Prey: prey, Predators: predators, Alpha: r.Alpha, Beta: r.Beta, Gamma: r.Gamma}
		if err := patch.Check(); err != nil {
			return nil, nil, err
		}
		prey, predators = patch.At(1)
		n, p = append(n, prey), append(p, predators)
	}
	return n, p, nil
}
