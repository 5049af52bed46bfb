package plots

import (
	"fmt"
	"slices"
	"strings"
)

// Words of BloomCalendar, and the names of its gaps above the plot.

// gapName is a gap with its words above the plot; a line leads down from them.
type gapName struct {
	words string
	x     float64 // of the line
	box   rect    // of the words; y is 0 at the top of the plot
}

func (s Span) gapWords() string { return s.days("Jan") + ": " + orElse(s.Why, "gap") }

// nameGaps finds room for the names of gaps above the plot, so that no line
// crosses words. Gaps without room are returned apart.
func nameGaps(axis xAxis, gaps []Span) (named []gapName, unnamed []Span, lanes int) {
	const longest = 380
	f := smallFace
	var left, right []Span // those whose words stand right, and left, of their line
	for _, s := range gaps {
		if axis.x(s.From)-f.width(f.clip(s.gapWords(), longest)) < axis.left {
			left = append(left, s)
		} else {
			right = append(right, s)
		}
	}
	byStart := func(a, b Span) int { return a.From.Compare(b.From) }
	slices.SortStableFunc(left, byStart)
	slices.SortStableFunc(right, byStart)
	slices.Reverse(left)
	for i, s := range append(right, left...) {
		n := gapName{words: f.clip(s.gapWords(), longest)}
		r := spanBox(axis, s, 0, 0)
		n.x = (r.x0 + r.x1) / 2
		w := f.width(n.words) + 2
		x := n.x - w
		if i >= len(right) {
			x = min(n.x, axis.right-w)
		}
		placed := false
		for lane := 0; lane < gapLanes && !placed; lane++ {
			y := -float64(lane+1) * gapLane
			n.box = rect{x - 3, y, x + w + 3, y + gapLane}
			line := rect{n.x - 2, y + gapLane, n.x + 2, 0}
			placed = !slices.ContainsFunc(named, func(o gapName) bool {
				return n.box.overlap(o.box) > 0 || line.overlap(o.box) > 0 || n.box.overlap(rect{o.x - 2, o.box.y1, o.x + 2, 0}) > 0
			})
			if placed {
				lanes = max(lanes, lane+1)
			}
		}
		if placed {
			named = append(named, n)
		} else {
			unnamed = append(unnamed, s)
		}
	}
	return named, unnamed, lanes
}

func drawGapNames(g *pen, s bloomSheet) {
	for _, n := range s.gaps {
		g.note("gap", n.box, n.words)
		g.line(quiet, 0.9, n.x, s.top+n.box.y1-3, n.x, s.top)
		g.text(n.box.x0+4, s.top+n.box.y0+9.5, 0, smallFace, n.words)
	}
}

func (b BloomCalendar) title() string {
	year := b.Year
	if year == 0 {
		year = b.span().to.Year
	}
	return orElse(b.Title, fmt.Sprint("Bloom calendar ", year)) + b.pageNote
}

// spanList says when the spans are, and why.
func spanList(spans []Span, n int) string {
	var out []string
	for _, s := range spans {
		words := s.days("January")
		if s.Why != "" {
			words += " (" + s.Why + ")"
		}
		out = append(out, words)
	}
	return list(out, n)
}

func (b BloomCalendar) unknown() []string {
	var out []string
	for _, r := range b.Rows {
		if r.Unknown != "" {
			out = append(out, r.Plant)
		}
	}
	return out
}

func (b BloomCalendar) lead() string {
	s := "No gap is marked."
	if len(b.Gaps) > 0 {
		s = plural(len(b.Gaps), "gap", "gaps") + ": " + spanList(b.Gaps, 4) + "."
	}
	if u := b.unknown(); len(u) > 0 {
		s += " Bloom not known: " + list(u, 6) + "."
	}
	return s
}

func (b BloomCalendar) keyEntries() []keyEntry {
	var out []keyEntry
	add := func(has bool, word string, width float64, sign func(g *pen, r rect)) {
		if has {
			out = append(out, keyEntry{word, width, sign})
		}
	}
	add(slices.ContainsFunc(b.Rows, func(r BloomRow) bool { return len(r.Bloom) > 0 }), "in bloom", 26, func(g *pen, r rect) {
		g.fillRect(ribbon, r)
		g.frame(series, 0.9, r)
	})
	add(slices.ContainsFunc(b.Rows, func(r BloomRow) bool { return len(r.Sow) > 0 }), "sown", 12, func(g *pen, r rect) {
		drawSeed(g, (r.x0+r.x1)/2, (r.y0+r.y1)/2)
	})
	add(slices.ContainsFunc(b.Needed, func(n BloomNeed) bool { return len(n.Spans) > 0 }), "natural enemies needed", 26, func(g *pen, r rect) {
		g.fillRect(releaseCol, r)
		g.frame(ink, 0.9, r)
	})
	add(len(b.Gaps) > 0, "gap, named above", 26, func(g *pen, r rect) {
		g.slant(hatch, r, 5, false)
		g.line(quiet, 0.9, r.x0, r.y0, r.x0, r.y1, 4, 2)
		g.line(quiet, 0.9, r.x1, r.y0, r.x1, r.y1, 4, 2)
	})
	return out
}

func (b BloomCalendar) notes(s bloomSheet) string {
	var out []string
	if !b.AsOf.IsZero() {
		out = append(out, "As of "+longDate(b.AsOf)+".")
	}
	if b.Source != "" {
		out = append(out, "From: "+b.Source+".")
	}
	if len(s.unnamed) > 0 {
		out = append(out, "Gaps without room for their name: "+spanList(s.unnamed, 20)+".")
	}
	return strings.Join(out, " ")
}

// Alt says what the calendar shows: the gaps, each plant's sowings and bloom,
// and when natural enemies are needed.
func (b BloomCalendar) Alt() string {
	out := []string{fmt.Sprintf("%s: %s%s.", b.title(), plural(len(b.Rows), "plant", "plants"), period(b.span()))}
	if len(b.Gaps) > 0 {
		out = append(out, plural(len(b.Gaps), "gap", "gaps")+": "+spanList(b.Gaps, 12)+".")
	} else {
		out = append(out, "No gap is marked.")
	}
	var plants []string
	for _, r := range b.Rows {
		plants = append(plants, r.alt())
	}
	if len(plants) > 30 {
		plants = append(plants[:30:30], fmt.Sprintf("%d more plants.", len(plants)-30))
	}
	out = append(out, plants...)
	for _, n := range b.Needed {
		out = append(out, "Natural enemies needed against "+n.Pest+": "+orElse(spanList(n.Spans, 12), "in no week")+".")
	}
	if b.Next != "" {
		out = append(out, "Next: "+b.Next)
	}
	return strings.Join(out, " ")
}

// alt says one plant: "Phacelia (evidence B): sown 3 May; in bloom 1 to 20 July."
func (r BloomRow) alt() string {
	s := upperFirst(r.Plant)
	if r.Grade != "" {
		s += " (evidence " + r.Grade + ")"
	}
	var parts []string
	if len(r.Sow) > 0 {
		var days []string
		for _, d := range r.Sow {
			days = append(days, dayMonth(d))
		}
		parts = append(parts, "sown "+list(days, 8))
	}
	if len(r.Bloom) > 0 {
		parts = append(parts, "in bloom "+spanList(r.Bloom, 8))
	}
	switch {
	case r.Unknown != "":
		parts = append(parts, "bloom not known: "+r.Unknown)
	case len(r.Bloom) == 0:
		parts = append(parts, "no bloom")
	}
	return s + ": " + strings.Join(parts, "; ") + "."
}
