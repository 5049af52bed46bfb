package plots

import (
	"fmt"
	"slices"
	"strings"
)

// Words of Worked.

// fewerWords says a percentage: "41 % fewer", "12 % more".
func fewerWords(v float64) string {
	switch {
	case v >= 0.5:
		return fmt.Sprintf("%.0f %% fewer", v)
	case v > -0.5:
		return "as many"
	case v < -1000:
		return "many times as many"
	}
	return fmt.Sprintf("%.0f %% more", -v)
}

func (w Worked) keyEntries() []keyEntry {
	has := func(f func(t Try) bool) bool {
		return slices.ContainsFunc(w.Tries, func(t Try) bool { return t.drawn() && f(t) })
	}
	var out []keyEntry
	add := func(is bool, word string, width float64, sign func(g *pen, r rect)) {
		if is {
			out = append(out, keyEntry{word, width, sign})
		}
	}
	silent := func(draw func(g *pen, r rect)) func(g *pen, r rect) {
		return func(g *pen, r rect) {
			old := g.trace
			g.trace = nil // a sign is no count
			draw(g, r)
			g.trace = old
		}
	}
	add(has(func(Try) bool { return true }), "counted in beds of the step", 12, func(g *pen, r rect) { keyDisc(g, r, 4, series) })
	add(has(func(t Try) bool { return t.CheckAfter != nil }), "counted in untreated beds", 12, silent(func(g *pen, r rect) {
		drawSquare(g, point{(r.x0 + r.x1) / 2, (r.y0 + r.y1) / 2})
	}))
	add(has(func(t Try) bool { return t.Expected != nil }), "expected, had it done nothing", 12, func(g *pen, r rect) {
		g.stroke(series, 1.2, g.circle((r.x0+r.x1)/2, (r.y0+r.y1)/2, 4))
	})
	add(has(func(Try) bool { return true }), "the step", 12, func(g *pen, r rect) {
		m := (r.x0 + r.x1) / 2
		g.fill(treatCol, point{m - 5, r.y0 + 1}, point{m + 5, r.y0 + 1}, point{m, r.y0 + 10})
	})
	add(has(func(Try) bool { return true }), "effect with its 95 % interval", 24, func(g *pen, r rect) {
		m := (r.y0 + r.y1) / 2
		g.fillRect(ribbon, rect{r.x0, m - 4, r.x1, m + 4})
		g.line(series, 1.6, r.x0, m, r.x1, m)
		keyDisc(g, r, 4, series)
	})
	return out
}

func (w Worked) notes() string {
	if slices.ContainsFunc(w.Tries, func(t Try) bool { return t.drawn() && t.Effect.Low < effectLeast }) {
		return "An arrow: the interval goes on to more than twice as many."
	}
	return ""
}

func (w Worked) title() string { return orElse(w.Title, "Did it work?") + w.pageNote }

func (w Worked) lead() string {
	by := map[string][]string{}
	for _, t := range w.Tries {
		v := t.verdict()
		by[v] = append(by[v], t.Step+" on "+dayMonth(t.Date))
	}
	var out []string
	for _, v := range []string{"it worked", "fewer than before", "not sure", "more than without it", "more than before", "not known"} {
		if len(by[v]) > 0 {
			out = append(out, upperFirst(v)+": "+list(by[v], 3)+".")
		}
	}
	return strings.Join(out, " ")
}

// Alt says what the picture shows, and what to do next.
func (w Worked) Alt() string {
	out := []string{w.title()}
	if lead := w.lead(); lead != "" {
		out = append(out, lead)
	}
	for _, t := range w.Tries {
		s := upperFirst(t.head()) + ": "
		if t.drawn() {
			if t.Before != nil {
				s += fmt.Sprintf("%s before and ", number(t.Before.Value))
			}
			s += fmt.Sprintf("%s %s after. ", number(t.After.Value), t.Unit)
		}
		out = append(out, s+upperFirst(t.Finding))
	}
	if w.Next != "" {
		out = append(out, "Next: "+w.Next)
	}
	return strings.Join(out, " ")
}
