package report

import "slices"

// Append adds the sections and sources of another document, with the
// references numbered anew; a source that is there already is not listed
// twice. Running numbers of items are taken away, because they name lines of
// the other document. Warnings that are not there yet are added.
func (d *Document) Append(other Document) {
	keys := map[int]int{}
	next := 0
	for _, s := range d.Sources {
		next = max(next, s.Key)
	}
	for _, s := range other.Sources {
		i := slices.IndexFunc(d.Sources, func(x Source) bool { return x.Text == s.Text && x.URL == s.URL && x.Basis == s.Basis })
		if i >= 0 {
			keys[s.Key] = d.Sources[i].Key
			continue
		}
		next++
		keys[s.Key] = next
		s.Key = next
		d.Sources = append(d.Sources, s)
	}
	line := func(l Line) Line {
		out := Line{parts: l.parts}
		for _, k := range l.cites {
			out.cites = append(out.cites, keys[k])
		}
		return out
	}
	lines := func(list []Line) []Line {
		var out []Line
		for _, l := range list {
			out = append(out, line(l))
		}
		return out
	}
	for _, l := range other.Warnings {
		if len(l.cites) > 0 || !slices.ContainsFunc(d.Warnings, func(x Line) bool { return slices.Equal(x.parts, l.parts) }) {
			d.Warnings = append(d.Warnings, line(l))
		}
	}
	for _, s := range other.Sections {
		s.Lead, s.Notes = line(s.Lead), lines(s.Notes)
		s.Items = slices.Clone(s.Items)
		for i := range s.Items {
			it := &s.Items[i]
			it.Number, it.Ref = 0, ""
			it.Head, it.Details, it.Safety, it.Why = line(it.Head), lines(it.Details), lines(it.Safety), line(it.Why)
		}
		d.Sections = append(d.Sections, s)
	}
}
