// Package allot chooses a cover for each bed and window so that the total
// value is the highest that the rules allow, and proves it: by a Lagrangian
// bound over dynamic programmes along the rows of beds, and by branch and bound
// where the bound leaves something open.
//
//	plan, err := allot.Solve(ctx, problem, allot.Options{})
//
// It knows nothing of covers, pests or dates: the caller says what each choice
// is worth, which are open, which do not follow each other, and what they use of
// the limits. Everything is arithmetic on the arguments, and the same problem
// gives the same plan.
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

// MostCovers is the number of choices that a problem may have, None among them,
// and of seed lots.
const MostCovers = 64

// Errors that callers tell apart with errors.Is.
var (
	ErrDomain     = errors.New("argument out of range")
	ErrImpossible = errors.New("no plan keeps all rules")
	ErrUnknown    = errors.New("not decided within the nodes allowed")
)

// Problem is a field of beds to be given covers. Choices are numbered from 0,
// which is None.
type Problem struct {
	Beds []Bed
	// Lots are the seed lots, as bits, that each choice uses: a mix of covers
	// uses several. Where it is nil, each choice but None is a lot of its own.
	Lots []uint64
	// Together is what it is worth, by window, when neighbours get the same
	// choice other than None: 0 or more.
	Together [Windows]float64
	MaxLots  int     // different lots in the whole plan; 0: any number
	Limits   []Limit // each to be kept
}

// Bed is a bed. Beds of the same Row that follow each other are neighbours.
type Bed struct {
	Row   int
	Value [Windows][]float64 // of each choice, NaN for one that is not open
	// Apart are, by choice in the first window, the choices as bits that may not
	// follow it in the second. Where it is nil, all may.
	Apart []uint64
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
	// Bound is a value that no plan exceeds. Proved says that it is at most
	// 0.000001 above Value.
	Bound  float64
	Proved bool
	Nodes  int // of the search
	// Ceiling is, by bed, window and choice, a value that no plan with that
	// choice exceeds: -Inf for one that is not open. Only where Options ask.
	Ceiling [][Windows][]float64
}

// largest number that a value or a use may be.
const largest = 1e9

// choices is the number of choices; 0 where there are no beds.
func (p Problem) choices() int {
	if len(p.Beds) == 0 {
		return 0
	}
	return len(p.Beds[0].Value[0])
}

func (p Problem) check() error {
	if len(p.Beds) == 0 {
		return fmt.Errorf("no beds: %w", ErrDomain)
	}
	n := p.choices()
	if n < 1 || n > MostCovers {
		return fmt.Errorf("%d choices, want 1 to %d: %w", n, MostCovers, ErrDomain)
	}
	if p.Lots != nil && (len(p.Lots) != n || p.Lots[None] != 0) {
		return fmt.Errorf("lots of %d choices for %d, or lots for no cover: %w", len(p.Lots), n, ErrDomain)
	}
	if p.MaxLots < 0 {
		return fmt.Errorf("at most %d lots, want 0 or more: %w", p.MaxLots, ErrDomain)
	}
	for w, t := range p.Together {
		if !(t >= 0 && t <= largest) {
			return fmt.Errorf("together in window %d is worth %v, want 0 or more: %w", w+1, t, ErrDomain)
		}
	}
	for i, b := range p.Beds {
		if b.Apart != nil && len(b.Apart) != n {
			return fmt.Errorf("bed %d has %d sets of choices that stay apart for %d choices: %w", i+1, len(b.Apart), n, ErrDomain)
		}
		for w, v := range b.Value {
			if len(v) != n {
				return fmt.Errorf("bed %d, window %d has %d values for %d choices: %w", i+1, w+1, len(v), n, ErrDomain)
			}
			for c, x := range v {
				if math.Abs(x) > largest {
					return fmt.Errorf("bed %d, window %d, choice %d is worth %v: %w", i+1, w+1, c, x, ErrDomain)
				}
			}
		}
	}
	for k, l := range p.Limits {
		if err := l.check(len(p.Beds), n); err != nil {
			return fmt.Errorf("limit %d: %w", k+1, err)
		}
	}
	return nil
}

func (l Limit) check(beds, choices int) error {
	if math.IsNaN(l.Most) || math.IsInf(l.Most, 0) {
		return fmt.Errorf("at most %v: %w", l.Most, ErrDomain)
	}
	if len(l.Use) != beds || l.Bare != nil && len(l.Bare) != beds {
		return fmt.Errorf("uses of %d beds and %d bare ones for %d beds: %w", len(l.Use), len(l.Bare), beds, ErrDomain)
	}
	for i, u := range l.Use {
		for w := range u {
			if len(u[w]) != choices {
				return fmt.Errorf("bed %d, window %d has %d uses for %d choices: %w", i+1, w+1, len(u[w]), choices, ErrDomain)
			}
			for c, x := range u[w] {
				if !(math.Abs(x) <= largest) {
					return fmt.Errorf("bed %d, window %d, choice %d uses %v: %w", i+1, w+1, c, x, ErrDomain)
				}
			}
		}
		if l.Bare != nil && !(math.Abs(l.Bare[i]) <= largest) {
			return fmt.Errorf("bed %d uses %v where it is bare: %w", i+1, l.Bare[i], ErrDomain)
		}
	}
	return nil
}
