package plots

import (
	"fmt"
	"slices"
	"strings"
)

// Words of Years, made from its numbers.

func (y Years) value(v float64) string { return yAxis{percent: y.Percent}.label(v) }

func (y Years) title() string {
	s := upperFirst(orElse(y.Pest, "pest"))
	if y.Where != "" {
		s += ", " + y.Where
	}
	if len(y.Earlier) == 0 {
		return s + ": " + y.This.Name + " by week"
	}
	return s + ": " + y.This.Name + " against " + plural(len(y.Earlier), "earlier year", "earlier years")
}

// weekWords names a week, with its Monday in the season of the picture.
func (y Years) weekWords(week int) string {
	s := fmt.Sprintf("week %d", week)
	if d := y.monday(y.place(week)); !y.AsOf.IsZero() {
		s += " (from " + dayMonth(d) + ")"
	}
	return s
}

// passed says in how many earlier years the action level was reached, and when.
func (y Years) passed() string {
	if len(y.Earlier) == 0 {
		return "No earlier year was counted."
	}
	compared := 0
	var weeks []int
	for _, l := range y.Earlier {
		if l.Compared {
			compared++
			if l.Passed > 0 {
				weeks = append(weeks, l.Passed)
			}
		}
	}
	slices.SortFunc(weeks, func(a, b int) int { return y.place(a) - y.place(b) })
	who := "it"
	if y.Several {
		who = "a bed"
	}
	switch n := len(weeks); {
	case compared == 0:
		return ""
	case n == 0 && compared == 1:
		return "In the earlier year " + who + " did not reach the action level."
	case n == 0:
		return fmt.Sprintf("In none of %d earlier years did %s reach the action level.", compared, who)
	case n == 1 || weeks[0] == weeks[n-1]:
		return fmt.Sprintf("In %d of %s %s reached the action level in %s.", n, plural(compared, "earlier year", "earlier years"), who, y.weekWords(weeks[0]))
	default:
		return fmt.Sprintf("In %d of %d earlier years %s had reached the action level by %s, first in week %d.", n, compared, who, y.weekWords(weeks[n-1]), weeks[0])
	}
}

// now says where this season stands.
func (y Years) now() string {
	ws := y.along(y.This)
	if len(ws) == 0 {
		return "Not counted in " + y.This.Name + " so far."
	}
	last := ws[len(ws)-1]
	s := fmt.Sprintf("%s: %s in week %d", y.This.Name, y.value(last.Value), last.Week)
	var vs []float64
	for _, l := range y.Earlier {
		if v, ok := y.at(l, y.place(last.Week)); ok {
			vs = append(vs, v)
		}
	}
	if n := len(vs); n > 0 {
		low, high := slices.Min(vs), slices.Max(vs)
		years := plural(n, "earlier year", "earlier years")
		switch {
		case last.Value > high:
			s += fmt.Sprintf(", above all of %s (%s at most)", years, y.value(high))
		case last.Value < low:
			s += fmt.Sprintf(", below all of %s (%s at least)", years, y.value(low))
		default:
			s += fmt.Sprintf(", within the range of %s (%s to %s)", years, y.value(low), y.value(high))
		}
	}
	switch {
	case !y.This.Compared:
	case y.This.Passed > 0 && y.Several:
		s += fmt.Sprintf("; the first bed reached the action level in week %d", y.This.Passed)
	case y.This.Passed > 0:
		s += fmt.Sprintf("; it reached the action level in week %d", y.This.Passed)
	case y.Several:
		s += "; no bed has reached the action level"
	default:
		s += "; it has not reached the action level"
	}
	return s + "."
}

// peaks says in which weeks earlier years were highest: what may come.
func (y Years) peaks() string {
	var weeks []int
	for _, l := range y.Earlier {
		best := WeekValue{}
		for _, w := range y.along(l) {
			if w.Value > best.Value {
				best = w
			}
		}
		if best.Value > 0 {
			weeks = append(weeks, best.Week)
		}
	}
	if len(weeks) == 0 {
		return ""
	}
	slices.SortFunc(weeks, func(a, b int) int { return y.place(a) - y.place(b) })
	first, last := weeks[0], weeks[len(weeks)-1]
	if first == last {
		return "Earlier years were highest in " + y.weekWords(first) + "."
	}
	return fmt.Sprintf("Earlier years were highest in weeks %d to %d.", first, last)
}

func (y Years) lead() string {
	return strings.Join(strings.Fields(y.now()+" "+y.passed()+" "+y.peaks()), " ")
}

func (y Years) notes() string {
	s := fmt.Sprintf("Means by ISO week; lines join weeks up to %d apart.", maxGapWeeks)
	if len(y.band()) > 0 {
		s += fmt.Sprintf(" The band is the range of the earlier years, in weeks of which at least %d speak.", bandYears)
	}
	if len(y.Act) > 0 {
		s += " The action level shown is this season's; each count was compared with that of its own stage, where none was noted with this one."
	}
	return s
}

func (y Years) keyEntries() []keyEntry {
	out := []keyEntry{}
	if len(y.This.Weeks) > 0 {
		out = append(out, keyEntry{y.This.Name, 28, func(g *pen, r rect) {
			m := (r.y0 + r.y1) / 2
			g.line(series, 2.6, r.x0, m, r.x1, m)
			g.disc(series, (r.x0+r.x1)/2, m, 4)
		}})
	}
	if len(y.band()) > 0 {
		out = append(out, keyEntry{"range of earlier years", 22, func(g *pen, r rect) { g.fillRect(rangeFill, r) }})
	}
	if !y.AsOf.IsZero() {
		out = append(out, keyEntry{"this week", 8, func(g *pen, r rect) {
			g.line(quiet, 1, (r.x0+r.x1)/2, r.y0-1, (r.x0+r.x1)/2, r.y1+1, 1, 2)
		}})
	}
	return out
}

// Alt says where the season stands against the earlier ones, when those reached
// the action level, the highest week of each, and what to do next.
func (y Years) Alt() string {
	var out []string
	if y.Verdict != NoVerdict {
		out = append(out, "Now: "+string(y.Verdict)+".")
	}
	if y.Next != "" {
		out = append(out, y.Next)
	}
	out = append(out, y.title()+", "+orElse(y.Measure, "counts")+".", y.lead())
	for _, l := range y.lines() {
		best := -1
		for i, w := range l.Weeks {
			if best < 0 || w.Value > l.Weeks[best].Value {
				best = i
			}
		}
		if best >= 0 {
			out = append(out, fmt.Sprintf("%s: highest %s in week %d.", l.Name, y.value(l.Weeks[best].Value), l.Weeks[best].Week))
		}
	}
	return strings.Join(out, " ")
}
