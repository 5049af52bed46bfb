package sheet

import (
	"hash/maphash"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/farm"
)

// build is a visit while its rows are read. Where the rows of a visit stand
// apart there are many at a time, so what few sheets say is held aside.
type build struct {
	key
	units    []unit
	labelled bool // units have labels: all or none do
	turned   bool // the labels are not all numbers that rise
	bad      bool
	high     int32  // the highest label that is a number
	word     string // what the first row calls the pest
	first    int    // its first row and column
	col      int32
	end      int32 // its last row, where that is known before
	last     int
	groups   []int // of columns that its counts stand in
	aside    *aside
}

// aside is what the rows of a visit say besides numbered counts, and its rows
// where they are asked for.
type aside struct {
	names     []string // labels that are no numbers, by unit; nil where there are none
	presence  *farm.Presence
	damage    *farm.Damage
	enemies   []farm.EnemyCount
	cond      farm.Conditions
	observers []string
	notes     []string
	rows      []int
	apart     map[int]string // what the rows say in columns that tell counts of one unit apart
}

// said is what is said besides.
func (b *build) said() aside {
	if b.aside == nil {
		return aside{}
	}
	return *b.aside
}

// more is said, to be added to.
func (b *build) more() *aside {
	if b.aside == nil {
		b.aside = &aside{}
	}
	return b.aside
}

// unit is one count; n is below 0 where it was not looked at, and no is 0 where
// its label is no number.
type unit struct{ n, row, no int32 }

// label is what a unit is called, "" for nothing.
func (b *build) label(i int) string {
	if no := b.units[i].no; no > 0 {
		return strconv.Itoa(int(no))
	}
	if names := b.said().names; names != nil {
		return names[i]
	}
	return ""
}

// find is the unit of a label, which is the number n if above 0.
func (b *build) find(label string, n int) int {
	if n > 0 {
		return slices.IndexFunc(b.units, func(u unit) bool { return int(u.no) == n })
	}
	return slices.Index(b.said().names, label)
}

var seed = maphash.MakeSeed()

func (k key) hash() uint64 { return maphash.Comparable(seed, k) }

// add puts units into the visit. It returns the number of those that stood
// there already with the same count.
func (b *build) add(row int, label string, units []farm.UnitCount) (again int, w *wrong) {
	n := unitNo(label)
	if label != "" && n <= int(b.high) { // else it is none of those before
		if i := b.find(label, n); i >= 0 {
			if len(units) == 1 && value(units[0]) == b.units[i].n {
				return 1, nil
			}
			return 0, bad("keep the right one of the two", "unit %s of %s is already in row %d with another count", label, b.words(), b.units[i].row)
		}
	}
	switch {
	case len(b.units)+len(units) > farm.MaxUnits:
		return 0, bad("check the date and the bed; split a longer visit over two dates or places", "%s has more than %d units, which is taken for a slip", b.words(), farm.MaxUnits)
	case label != "" && len(units) > 1:
		return 0, bad("write one count for each numbered unit", "unit %s of %s has %d counts in one cell", label, b.words(), len(units))
	case b.labelled != (label != "") && len(b.units) > 0:
		return 0, bad("number all of them or none; head a column of sums with Total, or set it to \"ignore\" in a map file (see --save-map)", "some units of %s have a number and some have none", b.words())
	}
	for _, u := range units {
		b.units = append(b.units, unit{value(u), int32(row), int32(n)})
		if label == "" {
			continue
		}
		if n == 0 && b.more().names == nil {
			b.aside.names = make([]string, len(b.units)-1, len(b.units))
		}
		if b.aside != nil && b.aside.names != nil {
			name := ""
			if n == 0 {
				name = label
			}
			b.aside.names = append(b.aside.names, name)
		}
		b.labelled, b.turned, b.high = true, b.turned || n <= int(b.high), max(b.high, int32(n))
	}
	return 0, nil
}

// unitNo is a label as a number above 0, or 0 where it is none.
func unitNo(label string) int {
	if len(label) > 9 || !plainDigits(label) {
		return 0
	}
	n, _ := strconv.Atoi(label)
	return n
}

// empty makes a new build of one that is finished.
func (b *build) empty(k key, row, col int) *build {
	*b = build{key: k, first: row, col: int32(col), units: b.units[:0], groups: b.groups[:0]}
	return b
}

func value(u farm.UnitCount) int32 {
	if !u.Seen {
		return -1
	}
	return int32(u.Count)
}

// words names the visit.
func (b *build) words() string {
	s := b.bed + " " + b.pest + " " + b.date.String()
	if b.stratum != farm.Random {
		s += " (" + string(b.stratum) + ")"
	}
	return s
}

// visit makes the visit. Numbered units stand in the order of their numbers,
// whatever the order of the rows.
func (b *build) visit() (farm.Visit, *wrong) {
	said := b.said()
	v := farm.Visit{
		Bed: b.bed, Date: b.date, Pest: b.pest, Unit: b.unit, Stratum: b.stratum,
		Presence: said.presence, Damage: said.damage, Enemies: said.enemies, Conditions: said.cond,
		Observer: strings.Join(said.observers, ", "), Note: strings.Join(said.notes, "; "),
	}
	var order []int // nil: as they are
	if b.labelled && b.turned {
		order = make([]int, len(b.units))
		for i := range order {
			order[i] = i
		}
		slices.SortStableFunc(order, func(x, y int) int { return natural(b.label(x), b.label(y)) })
	} else if !b.labelled {
		if w := b.pasted(); w != nil {
			return v, w
		}
	}
	if len(b.units) > 0 {
		v.Counts = make([]farm.UnitCount, len(b.units))
	}
	for i := range v.Counts {
		at := i
		if order != nil {
			at = order[i]
		}
		if n := b.units[at].n; n >= 0 {
			v.Counts[i] = farm.UnitCount{Count: int(n), Seen: true}
		}
	}
	if v.UnitsLooked() == 0 || b.bad {
		return v, nil
	}
	if err := farm.ValidateVisit(v); err != nil {
		return v, bad("correct the rows of this visit", "%s: the visit %v", b.words(), err)
	}
	return v, nil
}

// natural orders numbers by size and before other labels.
func natural(a, b string) int {
	x, errX := strconv.Atoi(a)
	y, errY := strconv.Atoi(b)
	switch {
	case errX == nil && errY == nil:
		return x - y
	case errX == nil:
		return -1
	case errY == nil:
		return 1
	}
	return strings.Compare(a, b)
}

// pasted finds rows without unit numbers that stand in the sheet twice over:
// the same three or more counts in the same order, apart from each other.
func (b *build) pasted() *wrong {
	const least = 3
	half := len(b.units) / 2
	if len(b.units)%2 != 0 || half < least {
		return nil
	}
	for i := range half {
		x, y := b.units[i], b.units[half+i]
		if x.n != y.n || i > 0 && (x.row-b.units[i-1].row != 1 || y.row-b.units[half+i-1].row != 1) {
			return nil
		}
	}
	gap := b.units[half].row - b.units[half-1].row
	if gap <= 1 {
		return nil
	}
	return bad("delete one of the two blocks; if they are different units, number the units in a column of their own", "the rows %d-%d of %s stand again as rows %d-%d", b.units[0].row, b.units[half-1].row, b.words(), b.units[half].row, b.units[len(b.units)-1].row)
}
