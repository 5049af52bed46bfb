package cover

import (
	"math"
	"math/bits"

	"leafturn/internal/allot"
)

const tie = 1e-9 // points

// keeps reports whether choices keep all rules, each looked at in the cells
// themselves and not in what the solver was given.
func (f *field) keeps(choice [][allot.Windows]int) bool {
	rest, bare, spent, sown, legumes := 0, 0, 0.0, 0.0, 0.0
	var lots uint64
	areas := make([]float64, len(f.Rules.Areas))
	for i, pick := range choice {
		if pick[0] == 0 && pick[1] == 0 {
			bare++
		}
		for w, k := range pick {
			if k == 0 {
				continue
			}
			c := f.cell(i, w, k)
			area := f.beds[i].AreaM2
			lots |= f.lots[k]
			spent += c.Score.CostUSD
			sown += area
			legumes += area * part(c.Option, Legumes)
			if w == 1 {
				rest++
			}
			for a, x := range f.Rules.Areas {
				areas[a] += area * part(c.Option, x.What)
			}
		}
	}
	r := f.Rules
	slack := func(v float64) float64 { return 1e-9 * (1 + math.Abs(v)) }
	switch {
	case rest > r.MaxRested,
		r.Budget != nil && spent > *r.Budget+slack(*r.Budget),
		r.Lots > 0 && bits.OnesCount64(lots) > r.Lots,
		bare < r.untreated(len(f.beds)),
		r.Legumes != nil && legumes < *r.Legumes*sown-slack(sown),
		r.LegumesMost != nil && legumes > *r.LegumesMost*sown+slack(sown):
		return false
	}
	for a, x := range r.Areas {
		if x.Least && areas[a] < x.M2-slack(x.M2) || !x.Least && areas[a] > x.M2+slack(x.M2) {
			return false
		}
	}
	return true
}

// may reports whether a bed may carry two choices: dates, soil, families, pins.
func (f *field) may(i int, pick [allot.Windows]int) bool {
	for w, k := range pick {
		if !f.open(i, w, k) || f.held(i, w, k) {
			return false
		}
	}
	return f.apart[i][pick[0]]>>pick[1]&1 == 0
}

// held reports whether a pin or forbid keeps a choice out.
func (f *field) held(i, w, choice int) bool {
	out := false
	for _, p := range f.Rules.Pins {
		f.each(p, func(j, v, k int, same, _ bool) { out = out || j == i && v == w && k == choice && !same })
	}
	for _, p := range f.Rules.Forbids {
		f.each(p, func(j, v, k int, _, has bool) { out = out || j == i && v == w && k == choice && has })
	}
	return out
}

// worth is the value of choices.
func (f *field) worth(choice [][allot.Windows]int) float64 {
	sum := f.alike(choice)
	for i, pick := range choice {
		sum += f.cell(i, 0, pick[0]).Value + f.cell(i, 1, pick[1]).Value
	}
	return sum
}

// settle breaks ties of single beds and of two beds, so that of plans of the
// same value the one is shown that PlanBeds promises. choice is changed.
func (f *field) settle(choice [][allot.Windows]int) {
	pairs := make([][][allot.Windows]int, len(f.beds))
	for i := range f.beds {
		for c := range f.ids {
			for d := range f.ids {
				if pick := [allot.Windows]int{c, d}; f.may(i, pick) {
					pairs[i] = append(pairs[i], pick)
				}
			}
		}
	}
	change := func(to ...move) bool {
		before := f.near(choice, to)
		for k, m := range to {
			to[k].pick, choice[m.bed] = choice[m.bed], m.pick
		}
		if math.Abs(f.near(choice, to)-before) <= tie && f.keeps(choice) {
			return true
		}
		for _, m := range to {
			choice[m.bed] = m.pick
		}
		return false
	}
	for range 4 {
		moved := false
		for i := range f.beds {
			for _, pick := range pairs[i] {
				if f.first(i, pick, choice[i]) && change(move{i, pick}) {
					moved = true
				}
			}
		}
		if len(f.beds) <= manyBeds {
			for i := range f.beds {
				for j := range f.beds {
					a, b := choice[i], choice[j]
					if f.beds[i].Code < f.beds[j].Code && a[0]|a[1] == 0 && b[0]|b[1] != 0 && f.may(i, b) && f.may(j, a) &&
						change(move{i, b}, move{j, a}) {
						moved = true
					}
				}
			}
		}
		if !moved {
			return
		}
	}
}

// move gives a bed other choices.
type move struct {
	bed  int
	pick [allot.Windows]int
}

// near is the value of one or two beds and of what they share with neighbours.
func (f *field) near(choice [][allot.Windows]int, beds []move) float64 {
	sum := 0.0
	for k, m := range beds {
		i := m.bed
		sum += f.cell(i, 0, choice[i][0]).Value + f.cell(i, 1, choice[i][1]).Value
		other := -2
		if len(beds) == 2 {
			other = beds[1-k].bed
		}
		if i > 0 && (other != i-1 || k == 0) {
			sum += f.pair(choice, i-1)
		}
		if i+1 < len(choice) && (other != i+1 || k == 0) {
			sum += f.pair(choice, i)
		}
	}
	return sum
}

// first reports whether a goes before b in a bed when they are worth the same.
func (f *field) first(i int, a, b [allot.Windows]int) bool {
	unknown := func(p [allot.Windows]int) int { return f.cell(i, 0, p[0]).unknowns() + f.cell(i, 1, p[1]).unknowns() }
	sown := func(p [allot.Windows]int) int { return min(p[0], 1) + min(p[1], 1) }
	key := func(p [allot.Windows]int) string { return f.ids[p[1]] + " " + f.ids[p[0]] }
	switch {
	case unknown(a) != unknown(b):
		return unknown(a) < unknown(b)
	case sown(a) != sown(b):
		return sown(a) < sown(b)
	}
	return key(a) < key(b)
}

// enumerate values every allowed combination, each checked in the cells
// themselves, and returns the best value and their number; 0 where there are
// more than most.
func (f *field) enumerate(most int) (best float64, n int) {
	pairs := make([][][allot.Windows]int, len(f.beds))
	total := 1
	for i := range f.beds {
		for c := range f.ids {
			for d := range f.ids {
				if pick := [allot.Windows]int{c, d}; f.may(i, pick) {
					pairs[i] = append(pairs[i], pick)
				}
			}
		}
		if total *= len(pairs[i]); total > most {
			return 0, 0
		}
	}
	best = math.Inf(-1)
	choice := make([][allot.Windows]int, len(f.beds))
	var walk func(i int)
	walk = func(i int) {
		if i == len(choice) {
			if f.keeps(choice) {
				n++
				best = math.Max(best, f.worth(choice))
			}
			return
		}
		for _, pick := range pairs[i] {
			choice[i] = pick
			walk(i + 1)
		}
	}
	walk(0)
	return best, n
}
