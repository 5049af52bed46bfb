package sheet

import (
	"strconv"

	"leafturn/internal/farm"
)

// alike is a row of one count in one cell that was right. A row that differs
// from it only in the count and in the number of the unit belongs to the same
// visit, and nothing else of it needs to be looked at: in a long sheet that is
// nearly every row.
type alike struct {
	count, number int      // their columns, counted from 0; a sheet without numbers has -1
	cells         []string // of the last row that observe read, if it was right; else none
	fits          bool     // the sheet is of the kind
}

// alike tells whether rows of a sheet may be like one another: one column of
// counts, at most one of numbers, and none that says something of its own.
func (l *Layout) alike(m Map) alike {
	p := alike{count: -1, number: -1, fits: m.Observer == ""}
	for _, c := range l.Columns {
		at := c.Col - 1
		switch c.Role {
		case Bed, Pest, Date, Unit, Where, Ignore, total, unknown, apart, site, crossed, measure:
		case Count:
			p.fits = p.fits && p.count < 0 && c.Number == ""
			p.count = at
		case Number:
			p.fits = p.fits && p.number < 0
			p.number = at
		default:
			p.fits = false
		}
	}
	p.fits = p.fits && p.count >= 0
	return p
}

// set makes a row that was right the one to be like, where it filled one visit
// and is no heading whatever its count.
func (p *alike) set(row Row, res *Result, touched []*build) {
	if !p.fits || len(touched) != 1 || row.hidden || row.book != nil || len(row.Cells) > res.width || p.count >= len(row.Cells) || p.number >= len(row.Cells) {
		return
	}
	for i, c := range row.Cells {
		if i != p.count && i != p.number && i < len(res.cells) && tidy(c) != tidy(res.cells[i]) {
			p.cells = append(p.cells, row.Cells...)
			return
		}
	}
}

// again reads a row that is like the one before, and reports whether it is.
// Whatever it cannot do is left to observe, and nothing is changed.
func (r *reader) again(row Row) bool {
	p, b := &r.like, r.last
	if len(p.cells) == 0 || len(row.Cells) != len(p.cells) || b == nil || r.ends != nil || len(r.open) != 1 || row.hidden || row.book != nil {
		return false
	}
	for i, c := range row.Cells {
		if i != p.count && i != p.number && c != p.cells[i] {
			return false
		}
	}
	label := ""
	if p.number >= 0 {
		text := row.Cells[p.number]
		if len(text) >= 4 || !plainDigits(text) {
			return false
		}
		label = r.label(text, "")
	}
	text := row.Cells[p.count]
	if len(text) >= 6 || !plainDigits(text) {
		return false
	}
	n, _ := strconv.Atoi(text)
	r.one[0] = farm.UnitCount{Count: n, Seen: true}
	again, w := b.add(row.N, label, r.one[:])
	if w != nil {
		return false
	}
	r.now, b.last = row.N, row.N
	if r.Rest {
		b.more().rows = append(b.aside.rows, row.N)
	}
	r.res.Rows++
	r.res.Repeated += again
	return true
}
