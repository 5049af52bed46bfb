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
	line := renumber(keys)
	for _, l := range other.Warnings {
		if len(l.cites) > 0 || !slices.ContainsFunc(d.Warnings, func(x Line) bool { return slices.Equal(x.parts, l.parts) }) {
			d.Warnings = append(d.Warnings, line(l))
		}
	}
	for _, s := range other.Sections {
		s = s.MapLines(line)
		for i := range s.Items {
			s.Items[i].Number, s.Items[i].Ref = 0, ""
		}
		d.Sections = append(d.Sections, s)
	}
}

// renumber gives the references of a line their new numbers, each once.
func renumber(keys map[int]int) func(Line) Line {
	return func(l Line) Line {
		out := Line{parts: l.parts}
		for _, k := range l.cites {
			if !slices.Contains(out.cites, keys[k]) {
				out.cites = append(out.cites, keys[k])
			}
		}
		return out
	}
}

// MapLines returns the section with every line changed by f.
func (s Section) MapLines(f func(Line) Line) Section {
	lines := func(list []Line) []Line {
		var out []Line
		for _, l := range list {
			out = append(out, f(l))
		}
		return out
	}
	s.Lead, s.Notes = f(s.Lead), lines(s.Notes)
	s.Items = slices.Clone(s.Items)
	for i := range s.Items {
		it := &s.Items[i]
		it.Head, it.Details, it.Safety, it.Why = f(it.Head), lines(it.Details), lines(it.Safety), f(it.Why)
	}
	return s
}

// OnlyCited takes away the sources that no line refers to, and numbers the
// others anew.
func (d *Document) OnlyCited() {
	cited := map[int]bool{}
	note := func(l Line) Line {
		for _, k := range l.cites {
			cited[k] = true
		}
		return l
	}
	for _, l := range d.Warnings {
		note(l)
	}
	for _, s := range d.Sections {
		s.MapLines(note)
	}
	keys := map[int]int{}
	var kept []Source
	for _, s := range d.Sources {
		if cited[s.Key] {
			keys[s.Key] = len(kept) + 1
			s.Key = len(kept) + 1
			kept = append(kept, s)
		}
	}
	number := renumber(keys)
	d.Sources = kept
	for i, l := range d.Warnings {
		d.Warnings[i] = number(l)
	}
	for i, s := range d.Sections {
		d.Sections[i] = s.MapLines(number)
	}
}
