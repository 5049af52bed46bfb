package label

import (
	"fmt"
	"slices"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// DefaultGroupDays is the window for the rotation warning when the pest's
// generations are not known. Common practice.
const DefaultGroupDays = 30

// MainGroup returns the number of a mode-of-action group without its
// subgroup ("4A" gives "4"), and false for groups without a numbered target
// (UN, UNF, UNM and the like).
func MainGroup(code string) (string, bool) {
	n := 0
	for n < len(code) && code[n] >= '0' && code[n] <= '9' {
		n++
	}
	return code[:n], n > 0
}

func groups(l farm.Label) []string {
	var out []string
	for _, a := range l.Actives {
		if code, ok := a.Group.Get(); ok {
			if g, ok := MainGroup(code); ok {
				out = append(out, g)
			}
		}
	}
	return out
}

// rotation warns when a group meets two successive generations of a pest.
// Inside one generation a group may be repeated. Source: IRAC, modes of
// action: sequences and alternations.
func (r Request) rotation(d *Decision) {
	now := r.generation(r.Date)
	window := r.GroupDays
	if window <= 0 {
		window = DefaultGroupDays
	}
	said := map[string]bool{}
	for _, t := range r.here() {
		l, ok := r.labelOf(t)
		if !ok || t.Pest != r.Pest || t.Date.After(r.Date) {
			continue
		}
		for _, g := range groups(r.Label) {
			if said[g] || !contains(groups(l), g) {
				continue
			}
			switch ago := r.Date.Sub(t.Date); {
			case len(r.Generations) == 0 && r.Lasts != nil && r.Lasts(t.Date).Sure:
				last := r.Lasts(t.Date).Last
				if next := r.Lasts(last.AddDays(1)).Last; r.Date.After(last) && (next.IsZero() || !r.Date.After(next)) {
					d.warn("rotate the mode of action: group %s was used on %s against the generation before this one", g, t.Date)
					said[g] = true
				}
			case len(r.Generations) > 0 && r.generation(t.Date) == now-1:
				d.warn("rotate the mode of action: group %s was used on %s against the generation before this one", g, t.Date)
				said[g] = true
			case len(r.Generations) == 0 && ago <= window:
				d.warn("rotate the mode of action: group %s was used on %s, %s ago; the pest's generations are not known, so a %d-day window is used", g, t.Date, days(ago), window)
				said[g] = true
			}
		}
	}
}

// Lasting is how long one generation of a pest runs.
type Lasting struct {
	Known bool       // how long one takes is known
	Sure  bool       // Last is no guess: no temperature was missing
	Last  civil.Date // its last day at the slowest; zero is not known
	Words string     // what it rests on, or what to look up
}

// generations are the spans of one generation that could hold d: those that
// begin on d or on an application before it.
func (r Request) generations(d civil.Date) ([]period, []block) {
	starts := append([]civil.Date{d}, dates(r.here())...)
	slices.SortFunc(starts, civil.Date.Compare)
	var out []period
	for _, s := range slices.Compact(starts) {
		if s.After(d) {
			break
		}
		g := r.Lasts(s)
		if !g.Known {
			return nil, []block{{Rule: Rule{Code: CodeSeason, Field: "time of one generation of the pest", Unknown: true,
				Words: "the label counts per generation of the pest, and how long one takes is not known: " + g.Words}}}
		}
		p := period{Span{s, g.Last}, fmt.Sprintf("generation from %s (%s)", s, g.Words), CodeMaxCount, g.Last.AddDays(1)}
		if g.Last.IsZero() {
			p.To, p.next = endOfTime, civil.Date{}
		}
		if p.Holds(d) {
			out = append(out, p)
		}
	}
	return out, nil
}

// generation returns how many generations have begun by d.
func (r Request) generation(d civil.Date) int {
	n := 0
	for _, g := range r.Generations {
		if !g.After(d) {
			n++
		}
	}
	return n
}

func contains(list []string, s string) bool {
	for _, v := range list {
		if v == s {
			return true
		}
	}
	return false
}
