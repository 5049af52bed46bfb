package plots

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/civil"
)

// Words of DegreeDays.

// on says the expected day of a stage: "egg to adult: 2 Aug".
func (m StageMark) on(month string) string {
	return m.Name + ": " + m.Expected.Time().Format("2 "+month)
}

// words say when a stage is reached: "egg to adult: 2 Aug (17 Jul to 28 Aug)".
func (m StageMark) words(month string) string {
	s := m.on(month)
	if !m.Earliest.IsZero() && !m.Latest.IsZero() && m.Earliest != m.Latest {
		s += " (" + Span{From: m.Earliest, To: m.Latest}.days(month) + ")"
	}
	return s
}

func (d DegreeDays) keyEntries() []keyEntry {
	var out []keyEntry
	add := func(has bool, word string, sign func(g *pen, r rect)) {
		if has {
			out = append(out, keyEntry{word, 24, sign})
		}
	}
	middle := func(r rect) float64 { return (r.y0 + r.y1) / 2 }
	ahead := slices.ContainsFunc(d.Days, func(x SumDay) bool { return x.Ahead })
	add(!d.Days[0].Ahead, "measured", func(g *pen, r rect) { g.line(series, 2.4, r.x0, middle(r), r.x1, middle(r)) })
	add(ahead, "forecast or usual", func(g *pen, r rect) { g.line(series, 2.4, r.x0, middle(r), r.x1, middle(r), 6, 4) })
	add(slices.ContainsFunc(d.Days, func(x SumDay) bool { return x.Filled }), "filled in", func(g *pen, r rect) {
		g.stroke(series, 1.1, g.circle((r.x0+r.x1)/2, middle(r), 3))
	})
	wide := slices.ContainsFunc(d.Band, func(b BandDay) bool { return b.High > b.Low })
	add(len(d.Band) > 1, d.BandWords, func(g *pen, r rect) {
		if wide {
			g.fillRect(bandFill, r)
		}
		g.line(quiet, 1.1, r.x0, middle(r), r.x1, middle(r))
	})
	add(len(d.Stages) > 0, "a stage: earliest to latest day, dark the expected one", func(g *pen, r rect) {
		box := rect{r.x0, r.y0, r.x1, r.y1}.inset(1)
		g.fillRect(ribbon, box)
		g.frame(series, 0.8, box)
		m := (r.x0 + r.x1) / 2
		g.fillRect(series, rect{m - 2, r.y0 - 1, m + 2, r.y1 + 1})
	})
	add(!d.Gap.From.IsZero(), "no weather", func(g *pen, r rect) { g.slant(hatch, r, 5, false) })
	return out
}

func (d DegreeDays) title() string {
	s := "Degree-days"
	if d.Of != "" {
		s += " of " + d.Of
	}
	return s + " from " + longDate(d.Days[0].Date)
}

// usualOn is the middle of the other years on a day.
func (d DegreeDays) usualOn(day civil.Date) (BandDay, bool) {
	i := slices.IndexFunc(d.Band, func(b BandDay) bool { return b.Date == day })
	if i < 0 {
		return BandDay{}, false
	}
	return d.Band[i], true
}

func (d DegreeDays) lead() string {
	day, sum := d.now()
	unit, _, _ := strings.Cut(d.Unit, " above")
	said := fmt.Sprintf("%s %s by %s", number(sum), orElse(unit, "degree-days"), dayMonth(day))
	if b, ok := d.usualOn(day); ok && b.Middle > 0 {
		switch share := sum/b.Middle - 1; {
		case share > 0.05:
			said += fmt.Sprintf(", %.0f %% more than usual (%s)", 100*share, number(b.Middle))
		case share < -0.05:
			said += fmt.Sprintf(", %.0f %% less than usual (%s)", -100*share, number(b.Middle))
		default:
			said += ", about as usual"
		}
	}
	out := []string{said + "."}
	if !d.Gap.From.IsZero() {
		out = append(out, upperFirst(d.gapWords())+".")
	}
	var done, coming []string
	for _, m := range d.Stages {
		if m.Expected.After(d.Today) {
			coming = append(coming, m.words("January"))
		} else {
			done = append(done, m.words("January"))
		}
	}
	if len(coming) > 0 {
		out = append(out, "To come: "+list(coming, 2)+".")
	} else if len(done) > 0 {
		out = append(out, "Reached: "+list(done[len(done)-1:], 2)+".")
	}
	var marks []string
	for _, m := range d.Marks {
		marks = append(marks, d.markWords(m))
	}
	if len(marks) > 0 {
		out = append(out, "Sums: "+list(marks, 4)+".")
	}
	return strings.Join(out, " ")
}

// Alt says what the picture shows, and what to do next.
func (d DegreeDays) Alt() string {
	if len(d.Days) == 0 {
		return "Degree-days: nothing is added up."
	}
	out := []string{d.title() + ": " + d.Unit + ".", d.lead()}
	for _, m := range d.Stages {
		out = append(out, upperFirst(m.words("January"))+".")
	}
	if d.Next != "" {
		out = append(out, "Next: "+d.Next)
	}
	return strings.Join(out, " ")
}
