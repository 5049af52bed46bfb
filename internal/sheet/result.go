package sheet

import (
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// Refusal is the error of a sink that will not have a visit. The reading goes
// on.
type Refusal struct {
	What, Do string
}

// Error says what is wrong with the visit.
func (r *Refusal) Error() string { return r.What }

// Summary counts what was read.
type Summary struct {
	Rows      int // below the headings, blank ones apart
	Blank     int // blank rows
	Totals    int // rows of sums and means: skipped
	Again     int // heading rows that stand again: skipped
	NoCount   int // rows without any count: skipped
	Repeated  int // units that stand twice and are the same: read once
	NotLooked int // units that were not looked at
	BlankCell int // blank counts, read as Map.Blank says
	Beside    int // cells outside the table: not read
	Empty     int // visits without a unit that was looked at: skipped
	Visits    int // that read well
	Units     int // looked at on them
}

// Result is what a reading found.
type Result struct {
	Layout
	Summary
	Problems   []*Problem
	Faults     *Faults
	Rest       map[int]*RestRow // rows to be corrected
	Usual      map[string]string
	Hidden     int      // rows that the workbook hides: read like the others
	HiddenCols []string // letters of columns that it hides: read like the others
	Moved      int      // rows whose time and zone make it another day on the farm
	problems   *problems
}

// Refusals are visits that were taken from a reading and refused later.
type Refusals struct {
	problems
	visits, units int
}

// Add notes a visit by its first row and the units that were looked at on it.
func (f *Refusals) Add(row, units int, no *Refusal) {
	f.add(row, 0, "", "", no.Do, "%s", no.What)
	f.visits++
	f.units += units
}

// Any reports whether any visit was refused.
func (f *Refusals) Any() bool { return f.visits > 0 }

// Refuse puts visits that were refused later among the problems, as if the sink
// had refused them; it gathers nothing for the rest.
func (res *Result) Refuse(f *Refusals) {
	for _, p := range f.all {
		res.problems.add(p.Row, 0, "", "", p.Do, "%s", p.What)
	}
	res.problems.more += f.problems.more
	res.Visits -= f.visits
	res.Units -= f.units
	res.Problems = res.problems.list()
}

// RestRow is why a row is to be corrected, and which of its counts: groups of
// columns that belong to one visit.
type RestRow struct {
	Why    string
	all    bool
	groups []int
}

// key is what makes a visit one.
type key struct {
	bed, pest, unit string
	date            civil.Date
	stratum         farm.Stratum
}

// part is what of a row's key could be read, and which units it would add.
type part struct {
	bed, pest string
	date      civil.Date
	labels    string // their numbers, between blanks; "" where units have none
	share     bool
}

// Faults are the visits that a reading could not vouch for: those with a
// wrong cell, and those that a row with an unreadable bed, pest or date may
// belong to.
type Faults struct {
	bad        map[key]bool
	loose      map[part]int // and the first such row
	Unreadable bool         // a row's cells could not be told apart: it can stand in no rest
}

// holds reports whether a visit is to be held back, and the row that it waits
// for where it is itself in order.
func (res *Result) holds(b *build) (row int, held bool) {
	if res == nil {
		return 0, false
	}
	f := res.Faults
	if f.bad[b.key] {
		return 0, true
	}
	for p, row := range f.loose {
		if p.bed != "" && p.bed != b.bed || p.pest != "" && p.pest != b.pest || !p.date.IsZero() && p.date != b.date {
			continue
		}
		if p.share && b.said().presence != nil {
			continue
		}
		taken := false
		for _, l := range strings.Fields(p.labels) {
			taken = taken || b.find(l, unitNo(l)) >= 0
		}
		if !taken {
			return row, true
		}
	}
	return 0, false
}
