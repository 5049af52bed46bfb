// Package allot chooses a cover for each bed and window so that the total
// value is the highest that the rules allow, and proves it: by a Lagrangian
// bound over dynamic programmes along the rows of beds, and by branch and bound
// where the bound leaves something open.
//
//	plan, err := allot.Solve(ctx, problem, allot.Options{})
//
// It knows nothing of covers, pests or dates: the caller says what each choice
// is worth, which are open, and what they use of the limits. Everything is
// arithmetic on the arguments, and the same problem gives the same plan.
package allot

import (
	"errors"
	"fmt"
	"math"
)

// None is the choice of no cover, in every window of every bed.
const None = 0

// Windows of a bed, one after the other.
const Windows = 2

// MostCovers is the number of choices that a problem may have, None among them.
const MostCovers = 64

// Errors that callers tell apart with errors.Is.
var (
	ErrDomain     = errors.New("argument out of range")
	ErrImpossible = errors.New("no plan keeps all rules")
)

// Problem is a field of beds to be given covers. Choices are numbered from 0,
// which is None.
type Problem struct {
	Beds   []Bed
	Family []int // of each choice; negative: none. Not the same twice running in a bed
	// Together is what it is worth, by window, when neighbours get the same
	// cover: 0 or more.
	Together [Windows]float64
	MaxLots  int     // different covers in the whole plan; 0: any number
	Limits   []Limit // each to be kept
}

// Bed is a bed. Beds of the same Row that follow each other are neighbours.
type Bed struct {
	Row    int
	Before int                // family of the last cover; negative: none or not known
	Value  [Windows][]float64 // of each choice, NaN for one that is not open
}

// Limit says that what the choices of all beds use, added up, is at most Most.
// At least is written with the signs turned.
type Limit struct {
	Use  [][Windows][]float64 // by bed, window and choice
	Bare []float64            // used by a bed with no cover at all, or nil
	Most float64
}

// Plan is the choice of each bed and window.
type Plan struct {
	Choice [][Windows]int
	Value  float64
	// Bound is a value that no plan exceeds. Proved says that it is Value, but
	// for rounding.
	Bound  float64
	Proved bool
	Nodes  int // of the search
}

func (p Problem) check() error {
	n := len(p.Family)
	if n < 1 || n > MostCovers {
		return fmt.Errorf("%d choices, want 1 to %d: %w", n, MostCovers, ErrDomain)
	}
	if len(p.Beds) == 0 {
		return fmt.Errorf("no beds: %w", ErrDomain)
	}
	for w, t := range p.Together {
		if !(t >= 0 && t <= 1e9) {
			return fmt.Errorf("together in window %d is worth %v, want 0 or more: %w", w+1, t, ErrDomain)
		}
	}
	for i, b := range p.Beds {
		for w, v := range b.Value {
			if len(v) != n {
				return fmt.Errorf("bed %d, window %d has %d values for %d choices: %w", i+1, w+1, len(v), n, ErrDomain)
			}
			for c, x := range v {
				if math.Abs(x) > 1e9 {
					return fmt.Errorf("bed %d, window %d, choice %d is worth %v: %w", i+1, w+1, c, x, ErrDomain)
				}
			}
		}
	}
	for k, l := range p.Limits {
		if len(l.Use) != len(p.Beds) || l.Bare != nil && len(l.Bare) != len(p.Beds) || math.IsNaN(l.Most) || math.IsInf(l.Most, 0) {
			return fmt.Errorf("limit %d does not fit the beds, or is not a number: %w", k+1, ErrDomain)
		}
		for i, u := range l.Use {
			for w := range u {
				if len(u[w]) != n {
					return fmt.Errorf("limit %d, bed %d, window %d has %d uses for %d choices: %w", k+1, i+1, w+1, len(u[w]), n, ErrDomain)
				}
				for c, x := range u[w] {
					if !(math.Abs(x) <= 1e12) {
						return fmt.Errorf("limit %d, bed %d, window %d, choice %d uses %v: %w", k+1, i+1, w+1, c, x, ErrDomain)
					}
				}
			}
		}
	}
	return nil
}
