package plots

import "fmt"

// Pages returns the map, and where beds are too small for their codes, or the
// sheet too large to be printed, closer maps of parts of the field after it.
func (m CoverMap) Pages() []CoverMap {
	if m.Check() != nil {
		return []CoverMap{m}
	}
	m.fills = m.covers()
	pick := func(of []int) CoverMap {
		q := m
		q.Beds, q.NoPlace = nil, nil
		for _, i := range of {
			q.Beds = append(q.Beds, m.Beds[i])
		}
		return q
	}
	parts := partLots(m.lots(), upTo(len(m.Beds)), func(of []int) bool {
		q := pick(of)
		s := q.layout()
		return max(s.box.w(), s.box.h()) <= partSize && len(q.uncoded(s)) == 0
	})
	if len(parts) == 1 {
		return []CoverMap{m}
	}
	out := []CoverMap{m}
	out[0].detailed = true
	for i, of := range parts {
		q := pick(of)
		q.pageNote = fmt.Sprintf(", part %d of %d", i+1, len(parts))
		out = append(out, q)
	}
	return out
}

// uncoded are the beds without room for their code, with what is in them.
func (m CoverMap) uncoded(s coverSheet) []string {
	var out []string
	for i, b := range m.Beds {
		if !s.labels[i].coded {
			out = append(out, b.Code+" "+b.sown()+b.doubt())
		}
	}
	return out
}

// Caption names the map among others of one plan: its window and its part.
func (m CoverMap) Caption() string { return upperFirst(m.Window) + m.pageNote }
