package app

import (
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/units"
	"leafturn/internal/verdict"
	"leafturn/internal/week"
	"leafturn/plots"
)

// fieldMap is the map of one pest.
func (a *App) fieldMap(s snapshot, list []assess.Assessment, next nextSteps) plots.FieldMap {
	m := plots.FieldMap{AsOf: s.on, Source: a.farm.Name, Feet: a.farm.Units == units.US, HotTold: "holds over 1.5 times the field's mean", Todo: next.todo(list)}
	if len(list) > 0 {
		m.Pest = list[0].Pest.Name
	}
	hot := a.mapField(&m, s, list)
	words := map[string]bool{}
	var held []string
	for _, x := range list {
		b := x.Bed
		if d := x.Decider; d != nil && d.Act != nil && d.Act.Operator != "none" {
			words[week.LevelOf(*d.Act, *d.Unit)] = true
		}
		if b.X == nil || b.Y == nil {
			m.NoPlace = append(m.NoPlace, b.Code)
			continue
		}
		mb := plots.MapBed{Code: b.Code, X: *b.X, Y: *b.Y, EastM: b.LengthM, NorthM: b.WidthM, Act: x.Result.Verdict == verdict.Act, Hot: hot[b.Code], Spot: freshSpot(x)}
		switch {
		case x.Result.Verdict == verdict.Stale:
			mb.Blank = plots.BlankStale
		case x.Decider != nil && x.Result.ChanceKnown:
			c := x.Result.Chance
			mb.Over = &c
		case x.Decider != nil && !x.Decider.Valid():
			mb.Blank = "not valid"
		case x.Decider != nil:
			mb.Blank = "no level"
		}
		if x.Result.Rule == verdict.RuleEnemies {
			held = append(held, b.Code)
		}
		m.Beds = append(m.Beds, mb)
	}
	if len(held) > 0 {
		m.Told = append(m.Told, "Held by natural enemies for now: bed "+strings.Join(held, ", ")+".")
	}
	var levels []string
	for w := range words {
		levels = append(levels, w)
	}
	slices.Sort(levels)
	m.Level = strings.Join(levels, " or ")
	return m
}

// mapField says what stands out of the field, as `trend` does, and names the
// beds that do.
func (a *App) mapField(m *plots.FieldMap, s snapshot, list []assess.Assessment) map[string]bool {
	counted := slices.DeleteFunc(slices.Clone(list), func(x assess.Assessment) bool { return x.Decider == nil })
	var d TrendData
	a.fieldSection(counted, s, &d)
	hot := map[string]bool{}
	for _, h := range d.Hot {
		if h.Listed {
			hot[h.Bed] = true
		}
	}
	if d.Edge != nil {
		m.Told = append(m.Told, "Edge against middle of the beds: "+d.Edge.Words+".")
	}
	if d.Pattern != nil {
		pattern, _, _ := strings.Cut(d.Pattern.Words, " (")
		m.Told = append(m.Told, "Neighbouring beds: "+pattern+".")
	}
	return hot
}

// freshSpot reports whether a hot spot was found in a bed on its last visit to
// one, if that is not stale.
func freshSpot(x assess.Assessment) bool {
	if len(x.HotSpots) == 0 {
		return false
	}
	h := x.HotSpots[len(x.HotSpots)-1]
	return h.Valid() && h.Found() > 0 && x.Today.Sub(h.Visit.Date) <= x.Pest.StaleDays
}
