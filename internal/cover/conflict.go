package cover

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"leafturn/internal/allot"
	"leafturn/internal/diag"
)

// Conflict is the smallest set of rules that no plan keeps together. It wraps
// ErrConflict.
type Conflict struct {
	Rules []string // in words, with where they were stated
	// Least says that no smaller set of rules contradicts itself; else only that
	// no rule of this set can be left out.
	Least bool
}

// Error names the rules.
func (c *Conflict) Error() string {
	if len(c.Rules) == 1 {
		return "this rule cannot be kept by any plan: " + c.Rules[0]
	}
	return "these rules contradict each other: " + strings.Join(c.Rules, "; ")
}

// Unwrap is ErrConflict.
func (c *Conflict) Unwrap() error { return ErrConflict }

const mostSubsets = 4000

// conflict returns the smallest set of rules that contradict each other. Rules
// are left out one by one as long as the rest contradict themselves; then all
// smaller sets are tried.
func (f *field) conflict(ctx context.Context) error {
	rules := f.rules()
	against := func(set []rule) (bool, error) {
		ok, err := allot.Possible(ctx, f.problem(set), allot.Options{Nodes: nodesAside, Work: sideWork})
		if errors.Is(err, allot.ErrUnknown) {
			return false, nil
		}
		return err == nil && !ok, err
	}
	set := rules
	for i := 0; i < len(set); {
		less := append(append([]rule(nil), set[:i]...), set[i+1:]...)
		bad, err := against(less)
		if err != nil {
			return err
		}
		if bad {
			set = less
		} else {
			i++
		}
	}
	tried, least := 0, true
	for size := 1; size < len(set) && least; size++ {
		var found []rule
		var err error
		pick := make([]rule, 0, size)
		var walk func(from int) bool
		walk = func(from int) bool {
			if len(pick) == size {
				if tried++; tried > mostSubsets {
					least = false
					return true
				}
				var bad bool
				if bad, err = against(pick); bad {
					found = append([]rule(nil), pick...)
				}
				return bad || err != nil
			}
			for i := from; i < len(rules); i++ {
				pick = append(pick, rules[i])
				if walk(i + 1) {
					return true
				}
				pick = pick[:len(pick)-1]
			}
			return false
		}
		walk(0)
		if err != nil {
			return err
		}
		if found != nil {
			set = found
			break
		}
	}
	c := &Conflict{Least: least}
	for _, r := range set {
		words := r.words
		if r.from != "" {
			words += " (" + r.from + ")"
		}
		c.Rules = append(c.Rules, words)
	}
	do := "ease or drop one of them; without any one of them the others can be kept"
	if len(set) == 1 {
		do = "ease or drop it"
	}
	return &diag.Problem{What: fmt.Sprintf("cover plan: %v", c), Do: do, Err: c, Usage: true}
}
