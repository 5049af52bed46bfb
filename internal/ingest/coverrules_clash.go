package ingest

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
)

// coverSlot is a rule without what it settles: no two rules may have one slot.
type coverSlot CoverRule

func (r CoverRule) slot() coverSlot {
	s := coverSlot(r)
	s.File, s.Line, s.Col, s.Text = "", 0, 0, ""
	s.Number, s.Spread, s.Of, s.Date = 0, 0, 0, civil.Date{}
	switch r.Kind {
	case CoverSod:
		s.Year = 0
	case CoverFamily, CoverHosts:
		s.Name = ""
	case CoverPin:
		s.Cover = ""
	}
	return s
}

// says is what a rule says in its slot, for a message.
func (r CoverRule) says() string { return `"` + r.String() + `"` }

// coverClashes finds rules that stand twice and rules that cannot hold together.
func coverClashes(rules []CoverRule) []*diag.Problem {
	var out []*diag.Problem
	clash := func(r CoverRule, do, format string, args ...any) {
		file := r.File
		if file == "" {
			file = "--rule"
		}
		out = append(out, &diag.Problem{File: file, Row: r.Line, Col: r.Col, What: fmt.Sprintf(format, args...), Do: do})
	}
	first := map[coverSlot]CoverRule{}
	var once []CoverRule
	for _, r := range rules {
		if old, twice := first[r.slot()]; twice {
			if r.String() == old.String() {
				clash(r, "delete one of the two", "%s is already said at %s", r.says(), old.Place())
			} else {
				clash(r, "keep one of the two", "%s, but %s is said at %s", r.says(), old.says(), old.Place())
			}
			continue
		}
		first[r.slot()] = r
		once = append(once, r)
		for _, old := range once[:len(once)-1] {
			if why, do := contradicts(old, r); why != "" {
				clash(r, do, "%s, but %s is said at %s: %s", r.says(), old.says(), old.Place(), why)
			}
		}
	}
	var rested []string
	for _, r := range rules {
		if r.Kind == CoverPin && r.Window == InRest && r.Cover != CoverNone && !slices.Contains(rested, r.Bed) {
			rested = append(rested, r.Bed)
		}
	}
	for _, r := range rules {
		if r.Kind == CoverRest && float64(len(rested)) > r.Number {
			clash(r, "let more beds rest, or take a pin away", "%s, but a rest crop is pinned in %s", r.says(), strings.Join(rested, ", "))
		}
	}
	return out
}

// contradicts says why two rules cannot hold together, or "".
func contradicts(a, b CoverRule) (why, do string) {
	if b.Kind < a.Kind {
		a, b = b, a
	}
	overlap := a.Window == "" || b.Window == "" || a.Window == b.Window
	switch {
	case a.Kind == CoverPin && b.Kind == CoverPin && a.Bed == b.Bed && overlap && a.Window != b.Window:
		return "one pin is for the winter or the rest alone, the other for either", "name the window in both: pin BED winter COVER, pin BED rest COVER"
	case a.Kind == CoverForbid && b.Kind == CoverPin && (a.Bed == "" || a.Bed == b.Bed) && overlap && b.Cover != CoverNone:
		switch {
		case a.Cover == "" && b.Window == InRest:
			return "a bed that may not rest has no rest crop", "take one of the two away"
		case a.Cover == b.Cover, a.Cover != "" && !strings.Contains(a.Cover, mixSign) && slices.Contains(strings.Split(b.Cover, mixSign), a.Cover):
			return "what is pinned is forbidden", "take one of the two away"
		}
	case a.Kind == CoverMixes && b.Kind == CoverPin && float64(1+strings.Count(b.Cover, mixSign)) > a.Number:
		return "the pinned mix has more species", "raise the number, or pin a smaller mix"
	case a.Kind == b.Kind && (a.Kind == CoverArea || a.Kind == CoverLegumes) && a.Cover == b.Cover && a.Name == b.Name && a.Unit == b.Unit && a.Least != b.Least:
		least, most := a, b
		if b.Least {
			least, most = b, a
		}
		if least.Number > most.Number {
			return "the least is above the most", "correct one of the two"
		}
	case a.Kind == CoverGrade && b.Kind == CoverGrade:
		if a.Name < b.Name && a.Number < b.Number || a.Name > b.Name && a.Number > b.Number {
			return "a better grade weighs less than a poorer one", "correct one of the two"
		}
	case a.Kind == CoverDig && b.Kind == CoverPlant && a.Bed == b.Bed && !a.Date.Before(b.Date):
		return "planting does not come after digging", "correct one of the two dates"
	}
	return "", ""
}
