package allot

import (
	"context"
	"errors"
	"slices"
)

// Possible reports whether any plan keeps all rules, whatever it is worth.
//
// Method: the limits are taken in one by one. A plan that keeps those before may
// keep the next one, too; if not, the plan that uses least of it is looked for,
// and where even the bound on that is too much there is no plan.
//
// Errors: ErrDomain; ErrUnknown where what is allowed does not decide it; the
// context's.
func Possible(ctx context.Context, p Problem, o Options) (bool, error) {
	if err := p.check(); err != nil {
		return false, err
	}
	f := newField(&p)
	if o.Warm != nil && f.fits(o.Warm.Choice) && f.keeps(o.Warm.Choice) {
		return true, nil
	}
	_, _, err := possible(ctx, f, o, effort{})
	if errors.Is(err, ErrImpossible) {
		return false, nil
	}
	return err == nil, err
}

// possible returns a plan that keeps all rules, and what was spent with it.
func possible(ctx context.Context, f *field, o Options, spent effort) (pick [][Windows]int, _ effort, err error) {
	var kept []int
	next := -1 // the limit that is too much used: none to begin with
	for {
		s := newSearch(ctx, f.using(kept, next), o)
		s.spent = spent
		if next >= 0 {
			s.value = -sharp*f.most[next] - proof/2
			kept = append(kept, next)
		}
		s.begin()
		s.run()
		spent = s.spent
		switch {
		case s.found != nil:
		case len(s.open) == 0:
			return nil, spent, ErrImpossible
		case ctx.Err() != nil:
			return nil, spent, ctx.Err()
		default:
			return nil, spent, ErrUnknown
		}
		pick = s.found
		left := f.left(pick)
		next = -1
		for k, l := range left {
			if l < 0 && !slices.Contains(kept, k) && (next < 0 || l < left[next]) {
				next = k
			}
		}
		if next < 0 {
			return pick, spent, nil
		}
	}
}

// sharp is what a use of 1 is worth where little use is looked for: so that the
// nearness of a proof is that of a limit.
const sharp = proof / tolerance

// using is the field with some limits only, worth the more the less it uses of
// another one; worth nothing where that is below 0. Any plan will do.
func (f *field) using(kept []int, least int) *field {
	g, p := *f, *f.Problem
	p.Together = [Windows]float64{}
	g.Problem, g.any = &p, true
	g.limits, g.use, g.bare, g.most = len(kept), nil, nil, nil
	for _, k := range kept {
		g.use, g.bare, g.most = append(g.use, f.use[k]), append(g.bare, f.bare[k]), append(g.most, f.most[k])
	}
	g.reach = make([]float64, f.beds)
	g.idle = make([]float64, f.beds)
	for w := range Windows {
		g.value[w] = make([]float64, len(f.value[w]))
	}
	if least < 0 {
		return &g
	}
	for i := range g.idle {
		g.idle[i] = -sharp * f.bare[least][i]
	}
	for w := range Windows {
		for x, u := range f.use[least][w] {
			g.value[w][x] = -sharp * u
		}
	}
	return &g
}
