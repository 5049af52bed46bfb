package label

import (
	"strconv"
	"strings"

	"leafturn/internal/farm"
	"leafturn/internal/pattern"
)

var opposite = map[string]string{"east": "west", "west": "east", "north": "south", "south": "north"}

var rowsRE = pattern.New(`^rows? (\d+)(?:\s*(?:-|–|to)\s*(\d+))?$`)

// Overlap reports whether two parts of one bed may share ground. "" is the
// whole bed. Opposite halves ("east half", "west half") and row spans without
// a common row ("rows 1-4", "row 6") are apart; every other pair overlaps,
// because a part that is not located counts as the whole bed.
func Overlap(a, b string) bool {
	a, b = tidy(a), tidy(b)
	if ha, ok := half(a); ok {
		if hb, ok := half(b); ok && opposite[ha] == hb {
			return false
		}
	}
	if a1, a2, ok := rows(a); ok {
		if b1, b2, ok := rows(b); ok && (a2 < b1 || b2 < a1) {
			return false
		}
	}
	return true
}

// Located reports whether a part says where it lies: the whole bed, a named
// half or a span of rows.
func Located(part string) bool {
	p := tidy(part)
	_, h := half(p)
	_, _, r := rows(p)
	return p == "" || h || r
}

func tidy(s string) string { return strings.Join(strings.Fields(strings.ToLower(s)), " ") }

func half(s string) (string, bool) {
	side, ok := strings.CutSuffix(s, " half")
	_, known := opposite[side]
	return side, ok && known
}

func rows(s string) (lo, hi int, ok bool) {
	m := rowsRE().FindStringSubmatch(s)
	if m == nil {
		return 0, 0, false
	}
	lo, err1 := strconv.Atoi(m[1])
	hi, err2 := lo, error(nil)
	if m[2] != "" {
		hi, err2 = strconv.Atoi(m[2])
	}
	return lo, hi, err1 == nil && err2 == nil && lo <= hi
}

// PartArea returns the ground of a part of a bed: all of it, a half, its share
// of the rows where the bed's rows are known, or 0 where the part does not say
// how much it is.
func PartArea(part string, bed farm.Bed) float64 {
	p := tidy(part)
	if p == "" {
		return bed.AreaM2()
	}
	if _, ok := half(p); ok {
		return bed.AreaM2() / 2
	}
	if lo, hi, ok := rows(p); ok && lo >= 1 && hi <= bed.Rows {
		return bed.AreaM2() * float64(hi-lo+1) / float64(bed.Rows)
	}
	return 0
}

// BeyondRows reports whether a part names rows that the bed does not have.
func BeyondRows(part string, bed farm.Bed) bool {
	lo, hi, ok := rows(tidy(part))
	return ok && (lo < 1 || bed.Rows > 0 && hi > bed.Rows)
}

// ready returns the request with its history sorted out once: the treatments
// on the same ground, and those of them with the same label.
func (r Request) ready() Request {
	r.ground, r.same = nil, nil
	r.Label = At(r.Label, r.Bed.Site, r.crops()...)
	for _, t := range r.History {
		if t.Bed != r.Bed.Code || !Overlap(t.Part, r.Part) {
			continue
		}
		r.ground = append(r.ground, t)
		if l, ok := r.labelOf(t); t.Label == r.Label.Key || ok && SameProduct(l, r.Label) {
			r.same = append(r.same, t)
		}
	}
	return r
}

// here returns the treatments of the same bed whose ground overlaps the part.
func (r Request) here() []farm.Treatment { return r.ground }

// own returns the treatments with the same label on the same ground.
func (r Request) own() []farm.Treatment { return r.same }
