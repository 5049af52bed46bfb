package plots

import (
	"fmt"
	"strings"
)

// Words of Overview, made from its numbers.

// byVerdict says for which pests and columns a verdict stands.
func (o Overview) byVerdict(v Verdict, n int) string {
	var parts []string
	for _, r := range o.Rows {
		var in []string
		for j, c := range r.Cells {
			if c.Verdict == v {
				in = append(in, o.Columns[j])
			}
		}
		if len(in) > 0 {
			parts = append(parts, r.Pest+" in "+list(in, n))
		}
	}
	return strings.Join(parts, "; ")
}

func (o Overview) lead() string {
	var out []string
	if s := o.byVerdict(Act, 6); s != "" {
		out = append(out, "Act: "+s+".")
	}
	if s := o.byVerdict(LookAgain, 4); s != "" {
		out = append(out, "Look again: "+s+".")
	}
	if len(out) == 0 && o.over() {
		return "The season is over: the plants are dug, nothing is to be done and no count is due."
	}
	if len(out) == 0 {
		out = append(out, "No verdict is act or look again.")
	}
	if o.any(Stale) {
		out = append(out, "Stale: the last count is too old to go by.")
	}
	return strings.Join(out, " ")
}

// any reports whether a verdict stands somewhere.
func (o Overview) any(v Verdict) bool { return o.byVerdict(v, 1) != "" }

// over reports whether the season is over in every cell that was counted.
func (o Overview) over() bool {
	counted := false
	for _, r := range o.Rows {
		for _, c := range r.Cells {
			if len(c.Visits) > 0 && !c.Over {
				return false
			}
			counted = counted || len(c.Visits) > 0
		}
	}
	return counted
}

// Alt says what the overview shows: its size and time, where each verdict
// stands, the highest mean of each pest, and how much was not counted.
func (o Overview) Alt() string {
	var s span
	empty, cells := 0, 0
	var highs []string
	for _, r := range o.Rows {
		var best Visit
		in := ""
		for j, c := range r.Cells {
			cells++
			if len(c.Visits) == 0 {
				empty++
			}
			for _, v := range c.Visits {
				s.add(v.Date)
			}
			if v, ok := peak(c.Visits); ok && (in == "" || v.Mean > best.Mean) {
				best, in = v, o.Columns[j]
			}
		}
		switch {
		case in == "":
			highs = append(highs, r.Pest+": no valid visit")
		case best.Mean == 0:
			highs = append(highs, r.Pest+": none found")
		default:
			highs = append(highs, fmt.Sprintf("%s: %s in %s on %s", r.Pest, yAxis{percent: r.Percent}.label(best.Mean), in, dayMonth(best.Date)))
		}
	}
	out := []string{fmt.Sprintf("%s%s: %s in %s%s.", orElse(o.Title, "Season overview"), o.pageNote,
		plural(len(o.Rows), "pest", "pests"), plural(len(o.Columns), o.column(), o.column()+"s"), period(s))}
	for _, v := range []Verdict{Act, LookAgain, Hold, Stale} {
		if w := o.byVerdict(v, 12); w != "" {
			out = append(out, upperFirst(string(v))+": "+w+".")
		}
	}
	if o.over() {
		out = append(out, o.lead())
	}
	if len(highs) > 0 {
		out = append(out, "Highest mean of "+strings.Join(highs, "; ")+".")
	}
	if empty > 0 && !o.part {
		out = append(out, fmt.Sprintf("Not counted: %d of %d cells.", empty, cells))
	}
	if w := o.uncountedWords(); w != "" {
		out = append(out, w[1:])
	}
	return strings.Join(append(out, todoAlt(o.Todo, true)...), " ")
}
