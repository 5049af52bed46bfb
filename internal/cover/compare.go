package cover

import (
	"cmp"
	"context"
	"errors"
	"math"
	"slices"
	"sync"

	"leafturn/internal/allot"
)

// manyBeds is the number of beds above which alternatives are told by their
// bounds, as solving again for each would take too long.
const manyBeds = 40

// mostSolved is the number of uses of a bed that are solved again where there are
// more than fewBeds; what is left
// after them is told by its bound.
const mostSolved, fewBeds = 8, 10

// compare fills in the next best uses of each bed, what one more rested bed
// would add, and what each rule costs.
func (f *field) compare(ctx context.Context, p *Plan, best allot.Plan) error {
	rules := f.rules()
	base := f.problem(rules)
	var mu sync.Mutex
	var failed error
	var wait sync.WaitGroup
	busy := make(chan struct{}, 2) // two at a time
	run := func(do func() error) {
		wait.Add(1)
		busy <- struct{}{}
		go func() {
			defer wait.Done()
			defer func() { <-busy }()
			if err := do(); err != nil {
				mu.Lock()
				failed = err
				mu.Unlock()
			}
		}()
	}
	place := map[string]int{}
	for k := range p.Beds {
		place[p.Beds[k].Bed] = k
	}
	for i, b := range f.beds {
		k := place[b.Code]
		run(func() (err error) {
			p.Beds[k].Alternatives, err = f.alternatives(ctx, base, best, p.Total, i)
			return err
		})
	}
	bindings := make([]*Binding, len(rules))
	for r := range rules {
		run(func() error {
			t, err := f.solve(ctx, slices.Concat(rules[:r], rules[r+1:]), allot.Options{Nodes: nodesAside, Work: sideWork, Warm: &best})
			if err != nil {
				return err
			}
			if gain := t.Bound - p.Total; gain > 1e-6 && (!t.Proved || t.Value-p.Total > 1e-6) {
				x := Binding{Rule: rules[r].words, From: rules[r].from, Gain: gain, AtMost: !t.Proved, Pin: rules[r].pin != nil}
				if t.Proved {
					x.Gain = t.Value - p.Total
				}
				bindings[r] = &x
			}
			return nil
		})
	}
	run(func() error {
		more := *f
		more.Rules.MaxRested++
		t, err := more.solve(ctx, more.rules(), allot.Options{Nodes: nodesAside, Work: sideWork, Warm: &best})
		p.NextRest = max(0, round9(t.Value-p.Total))
		return err
	})
	wait.Wait()
	for _, b := range bindings {
		if b != nil {
			p.Binding = append(p.Binding, *b)
		}
	}
	slices.SortStableFunc(p.Binding, func(a, b Binding) int { return cmp.Compare(round9(b.Gain), round9(a.Gain)) })
	return failed
}

// alternatives returns the two other uses of bed i that cost the plan least. The
// bound of a choice tells when no other can cost less.
func (f *field) alternatives(ctx context.Context, base allot.Problem, best allot.Plan, total float64, i int) ([]Alternative, error) {
	type use struct {
		pick [allot.Windows]int
		most float64
	}
	var uses []use
	for c := range f.ids {
		for d := range f.ids {
			b := base.Beds[i]
			pick := [allot.Windows]int{c, d}
			if math.IsNaN(b.Value[0][c]) || math.IsNaN(b.Value[1][d]) || f.apart[i][c]>>d&1 != 0 || pick == best.Choice[i] {
				continue
			}
			u := use{pick, best.Bound}
			if len(best.Ceiling) > 0 {
				u.most = min(best.Ceiling[i][0][c], best.Ceiling[i][1][d])
			}
			uses = append(uses, u)
		}
	}
	slices.SortStableFunc(uses, func(a, b use) int { return cmp.Compare(b.most, a.most) })
	var out []Alternative
	solved := 0
	for _, u := range uses {
		a := Alternative{Winter: f.cell(i, 0, u.pick[0]), Rest: f.cell(i, 1, u.pick[1]), GivesUp: max(0, total-u.most), AtLeast: true}
		if len(out) >= 2 && round9(out[1].GivesUp) <= round9(a.GivesUp) {
			break
		}
		if solved++; len(f.beds) > manyBeds || len(f.beds) > fewBeds && solved > mostSolved {
			out = byCost(append(out, a))
			continue
		}
		held := base
		held.Beds = slices.Clone(base.Beds)
		for w := range allot.Windows {
			v := make([]float64, len(f.ids))
			for k := range v {
				v[k] = math.NaN()
			}
			v[u.pick[w]] = base.Beds[i].Value[w][u.pick[w]]
			held.Beds[i].Value[w] = v
		}
		t, err := allot.Solve(ctx, held, allot.Options{Nodes: nodesAside, Work: sideWork, Warm: &best})
		switch {
		case errors.Is(err, allot.ErrImpossible):
			continue
		case errors.Is(err, allot.ErrUnknown):
			continue // nothing is known of it but its bound
		case err != nil:
			return nil, err
		}
		a.AtLeast = !t.Proved
		a.GivesUp = max(0, total-t.Value)
		if a.AtLeast {
			a.GivesUp = max(0, total-t.Bound)
		}
		for j, b := range f.beds {
			if j != i && t.Choice[j] != best.Choice[j] {
				a.Displace = append(a.Displace, b.Code)
			}
		}
		slices.Sort(a.Displace)
		out = byCost(append(out, a))
	}
	return out[:min(2, len(out))], nil
}

// byCost sorts alternatives by what they give up.
func byCost(list []Alternative) []Alternative {
	slices.SortStableFunc(list, func(a, b Alternative) int {
		if c := cmp.Compare(round9(a.GivesUp), round9(b.GivesUp)); c != 0 {
			return c
		}
		return cmp.Compare(a.Winter.Key+" "+a.Rest.Key, b.Winter.Key+" "+b.Rest.Key)
	})
	return list
}
