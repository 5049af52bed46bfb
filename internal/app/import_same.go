package app

import (
	"fmt"
	"slices"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/sheet"
	"leafturn/internal/store"
)

// meets counts a visit that is there already, stored or, with the name of a
// file, read from it before, or says why it is refused.
func (got *imported) meets(old, v farm.Visit, file string) *sheet.Refusal {
	same := sameCounts(old, v)
	switch {
	case same && file != "":
		got.twice++
		return nil
	case same:
		got.already++
		if addsWords(old, v) {
			got.more++
		}
		return nil
	case file != "":
		return &sheet.Refusal{
			What: fmt.Sprintf("%s %s of %s stands in %s with other counts", v.Bed, v.Pest, v.Date, file),
			Do:   "keep the right one of the two",
		}
	}
	return &sheet.Refusal{
		What: fmt.Sprintf("%s %s of %s is stored with other counts: visit %d", v.Bed, v.Pest, v.Date, old.ID),
		Do:   fmt.Sprintf("if the sheet is right: `leafturn void visit %d --reason \"...\"`, then import it again; else correct the sheet", old.ID),
	}
}

// fileOf is the file of this import that a record was stored from, "" for none.
func fileOf(id int64, all []*imported) string {
	for _, f := range all {
		if f.first > 0 && f.first <= id && id <= f.last {
			return f.src.Name
		}
	}
	return ""
}

// seenVisits are those of files that come before others, for --check, which
// stores none of them.
type seenVisits map[place]seenVisit

// place is what makes a visit one.
type place struct {
	bed, pest, unit string
	date            civil.Date
	stratum         farm.Stratum
}

type seenVisit struct {
	visit farm.Visit
	file  string
}

func placeOf(v farm.Visit) place { return place{v.Bed, v.Pest, v.Unit, v.Date, v.Stratum} }

// sameCounts reports whether two visits have the same counts, in any order of
// the units, the same presence sample, damage and natural enemies.
func sameCounts(a, b farm.Visit) bool {
	x, y := slices.Clone(a.Counts), slices.Clone(b.Counts)
	for _, u := range [][]farm.UnitCount{x, y} {
		slices.SortFunc(u, func(p, q farm.UnitCount) int {
			if p.Seen != q.Seen {
				if p.Seen {
					return 1
				}
				return -1
			}
			return p.Count - q.Count
		})
	}
	samePresence := a.Presence == b.Presence || a.Presence != nil && b.Presence != nil && *a.Presence == *b.Presence
	if !slices.Equal(x, y) || !samePresence {
		return false
	}
	for _, e := range b.Enemies { // what the sheet does not say is no difference
		if n, ok := a.EnemyTotal(e.Enemy); ok && n != e.Count {
			return false
		}
	}
	return a.Damage == nil || b.Damage == nil || *a.Damage == *b.Damage
}

// addsWords reports whether b says something besides the counts that a does
// not.
func addsWords(a, b farm.Visit) bool {
	for _, e := range b.Enemies {
		if _, ok := a.EnemyTotal(e.Enemy); !ok {
			return true
		}
	}
	return b.Note != "" && b.Note != a.Note || b.Observer != "" && b.Observer != a.Observer || b.Damage != nil && a.Damage == nil || b.Conditions != (farm.Conditions{}) && !a.Conditions.Same(b.Conditions)
}

// takenOut are the visits that were voided or amended, by place, but for those that
// were entered again with the same counts.
func takenOut(tx *store.Tx) (map[place][]farm.Visit, error) {
	all, err := tx.TakenOut()
	if err != nil {
		return nil, err
	}
	byPlace := map[place][]farm.Visit{}
	for _, v := range all {
		live, found, err := tx.LiveVisit(v)
		if err != nil {
			return nil, err
		}
		if !found || !sameCounts(live, v) {
			byPlace[placeOf(v)] = append(byPlace[placeOf(v)], v)
		}
	}
	return byPlace, nil
}

// wasTaken counts a visit of the sheet whose record was voided or amended since: to
// store it again would bring back what somebody corrected.
func (got *imported) wasTaken(taken map[place][]farm.Visit, v farm.Visit) bool {
	if len(taken) == 0 {
		return false
	}
	for _, old := range taken[placeOf(v)] {
		if sameCounts(old, v) {
			got.taken = append(got.taken, old.ID)
			return true
		}
	}
	return false
}
