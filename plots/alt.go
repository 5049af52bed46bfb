package plots

import (
	"fmt"
	"strings"

	"leafturn/internal/civil"
)

// Words of Pressure, made from its numbers.

func (p Pressure) value(v float64) string { return yAxis{percent: p.Percent}.label(v) }

func (p Pressure) title() string {
	s := upperFirst(orElse(p.Pest, "pest"))
	if len(p.Panels) == 1 {
		s += " in bed " + p.Panels[0].Bed
	} else {
		s += " by bed"
	}
	if p.Measure != "" {
		s += " – " + p.Measure
	}
	return s + p.pageNote
}

// peak returns the highest valid visit of a bed.
func peak(vs []Visit) (Visit, bool) {
	var best Visit
	found := false
	for _, v := range byDate(vs) {
		if v.Invalid == "" && (!found || v.Mean > best.Mean) {
			best, found = v, true
		}
	}
	return best, found
}

// crossing returns the first valid visit at or above the action level of its
// day; a level of 0 is reached by anything above 0. compared is false when no valid visit fell on a day with a level.
func crossing(b Panel) (v Visit, level float64, crossed, compared bool) {
	for _, v := range byDate(b.Visits) {
		l, ok := levelOn(b.Act, v.Date)
		if !ok || v.Invalid != "" {
			continue
		}
		compared = true
		if v.Mean >= l && v.Mean > 0 {
			return v, l, true, true
		}
	}
	return Visit{}, 0, false, compared
}

// highest says which bed had the highest mean, and when.
func (p Pressure) highest() string {
	bed, best, found := "", Visit{}, false
	for _, b := range p.Panels {
		if v, ok := peak(b.Visits); ok && (!found || v.Mean > best.Mean) {
			bed, best, found = b.Bed, v, true
		}
	}
	switch {
	case !found:
		return "No visit was valid."
	case best.Mean == 0:
		return "None was found on any valid visit."
	case len(p.Panels) == 1:
		return fmt.Sprintf("Highest mean: %s on %s.", p.value(best.Mean), dayMonth(best.Date))
	}
	return fmt.Sprintf("Highest mean: bed %s, %s on %s.", bed, p.value(best.Mean), dayMonth(best.Date))
}

// crossings says which beds reached their action level first when, and which
// did not. Beds named are at most n of a kind.
func (p Pressure) crossings(n int) string {
	var reached, below, none []string
	for _, b := range p.Panels {
		v, level, crossed, compared := crossing(b)
		switch {
		case crossed:
			reached = append(reached, fmt.Sprintf("%s on %s (%s against %s)", b.Bed, dayMonth(v.Date), p.value(v.Mean), p.value(level)))
		case compared:
			below = append(below, b.Bed)
		case len(b.Visits) > 0:
			none = append(none, b.Bed)
		}
	}
	var out []string
	if len(reached) > 0 {
		out = append(out, "First at or above the action level: "+beds(reached, n)+".")
	}
	if len(below) > 0 {
		out = append(out, "Below it on every valid visit: "+beds(below, n)+".")
		if len(reached) == 0 {
			out[0] = "Below the action level on every valid visit: " + beds(below, n) + "."
		}
	}
	if len(none) > 0 {
		out = append(out, "Not compared with an action level: "+beds(none, n)+".")
	}
	return strings.Join(out, " ")
}

// lead is the finding under the title: the crossings first, where there are
// levels to cross.
func (p Pressure) lead() string {
	for _, b := range p.Panels {
		if _, _, _, compared := crossing(b); compared {
			return p.crossings(4) + " " + p.highest()
		}
	}
	return strings.TrimSpace(p.highest() + " " + p.crossings(4))
}

// Alt says what the picture shows: the time and number of visits, the highest
// bed, when which bed first reached its action level, visits that were not
// valid, beds not counted, treatments and releases.
func (p Pressure) Alt() string {
	var s span
	visits := 0
	var invalid, empty, done []string
	for _, b := range p.Panels {
		visits += len(b.Visits)
		if len(b.Visits) == 0 {
			empty = append(empty, b.Bed)
		}
		for _, v := range byDate(b.Visits) {
			s.add(v.Date)
			if v.Invalid != "" {
				invalid = append(invalid, fmt.Sprintf("%s on %s (%s)", b.Bed, dayMonth(v.Date), v.Invalid))
			}
		}
		done = append(done, events("treated", b.Bed, b.Treatments)...)
		done = append(done, events("released in", b.Bed, b.Releases)...)
	}
	out := []string{p.title() + ": " + plural(visits, "visit", "visits") + period(s) + "."}
	out = append(out, p.highest())
	if c := p.crossings(12); c != "" {
		out = append(out, c)
	}
	if len(invalid) > 0 {
		out = append(out, "Not valid and left out: bed "+list(invalid, 8)+".")
	}
	if len(empty) > 0 {
		out = append(out, "Not counted: "+beds(empty, 12)+".")
	}
	if len(done) > 0 {
		out = append(out, upperFirst(list(done, 12))+".")
	}
	for _, b := range p.Panels {
		if b.Next != "" {
			now := ""
			if b.Verdict != NoVerdict {
				now = string(b.Verdict) + ". "
			}
			out = append(out, "Bed "+b.Bed+": "+now+b.Next)
		}
	}
	return strings.Join(out, " ")
}

func events(word, bed string, es []Event) []string {
	var out []string
	for _, e := range es {
		s := fmt.Sprintf("%s %s on %s", word, bed, dayMonth(e.Date))
		if e.Label != "" {
			s += " (" + e.Label + ")"
		}
		out = append(out, s)
	}
	return out
}

func period(s span) string {
	switch {
	case s.from.IsZero():
		return ""
	case s.from == s.to:
		return " on " + longDate(s.from)
	case s.from.Year == s.to.Year:
		return " from " + dayMonth(s.from) + " to " + longDate(s.to)
	}
	return " from " + longDate(s.from) + " to " + longDate(s.to)
}

func onDate(d civil.Date) string {
	if d.IsZero() {
		return ""
	}
	return " on " + longDate(d)
}
