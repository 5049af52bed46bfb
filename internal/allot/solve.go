package allot

import (
	"context"
	"math"
)

// Options of Solve. The zero value is ready.
type Options struct {
	Nodes    int   // most nodes of the search; 0: a million
	Work     int   // most work, in millions of small steps, some 10 ms each; 0: any. It may be passed by as much again
	Ceilings bool  // fill in Plan.Ceiling
	Warm     *Plan // the plan of a like problem, to start from
}

// Solve returns the plan with the highest value under the rules, proved to
// within 0.000001. When the nodes or the work
// allowed are used up or the context ends, it
// returns the best plan found with what is proved of it, and no error.
//
// Method: the limits and the number of lots are priced (Lagrangian relaxation);
// what is left falls into one dynamic programme along each row. A lot's price is
// what the beds pay for it together, as for the p-median problem. Prices move by
// the volume algorithm. Choices that no better plan can hold are closed; what
// remains is counted out where it is little, and else branched on.
//
// Errors: ErrDomain; ErrImpossible where it is proved that no plan keeps all
// rules; ErrUnknown where neither a plan nor that proof was found within what
// is allowed; the context's.
func Solve(ctx context.Context, p Problem, o Options) (Plan, error) {
	if err := p.check(); err != nil {
		return Plan{}, err
	}
	s := newSearch(ctx, newField(&p), o)
	if o.Warm != nil {
		s.warm(o.Warm.Choice)
	}
	s.begin()
	if s.found == nil && len(s.open) > 0 {
		pick, spent, err := possible(ctx, s.f, o, s.spent)
		s.spent = spent
		if err != nil {
			return Plan{}, err
		}
		s.offer(pick, s.f.worth(pick))
	}
	s.run()
	if s.found == nil {
		return Plan{}, ErrImpossible
	}
	plan := Plan{Choice: s.found, Value: s.value, Bound: s.bound(), Nodes: s.spent.nodes}
	plan.Proved = plan.Bound <= plan.Value+proof
	if o.Ceilings {
		plan.Ceiling = s.ceilings(plan.Bound)
	}
	return plan, nil
}

// ceilings are, by bed, window and choice, the most that a plan with that choice
// is worth, as the prices of the whole problem prove it.
func (s *search) ceilings(bound float64) [][Windows][]float64 {
	f, w := s.f, s.workers[0]
	out := make([][Windows][]float64, f.beds)
	for i := range out {
		for v := range Windows {
			out[i][v] = make([]float64, f.choices)
			for c := range out[i][v] {
				out[i][v][c] = math.Inf(-1)
			}
		}
	}
	n := s.root
	n.open = f.allOpen()
	if !w.k.lay(n) {
		return out
	}
	scarce := f.scarce(n)
	whole := w.relax(n, scarce)
	extra := make([]float64, f.choices)
	if scarce {
		extra = w.missing(n)
	}
	w.k.losses(func(i int, a, b int32, own, loss, rest float64) {
		c, d := w.k.choice[a], w.k.choice[b]
		most := min(whole-loss-max(extra[c], extra[d]), bound)
		out[i][0][c] = max(out[i][0][c], most)
		out[i][1][d] = max(out[i][1][d], most)
	})
	for i, p := range s.found {
		for v, c := range p {
			out[i][v][c] = max(out[i][v][c], s.value)
		}
	}
	return out
}
