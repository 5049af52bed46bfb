package app

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/cover"
)

// companionPressures are the pressures that plants are ranked by: of the pests
// named, else of the latest season with counts.
func (a *App) companionPressures(p *companionPlan, seasons []seasonCounts, words []string) ([]cover.Pressure, error) {
	if len(words) > 0 {
		var field []cover.Pressure
		for _, w := range words {
			x, err := a.names.findPest(w)
			if err != nil {
				return nil, err
			}
			if !slices.ContainsFunc(field, func(f cover.Pressure) bool { return f.Pest == x.Key }) {
				field = append(field, cover.Counted(x.Key, 1))
			}
		}
		p.lead = "For the pests named, each with a pressure of 1."
		return field, nil
	}
	s := seasons[0]
	p.lead = "For the pressure counted on this farm this season."
	if len(s.visits) == 0 && len(seasons) > 1 {
		s = seasons[1]
		p.lead = fmt.Sprintf("Nothing was counted in %s yet: for the pressure counted on this farm in %s.", seasons[0].year.Name(), s.year.Name())
	}
	field, err := a.fieldPressures(s.snapshot, s.list)
	if err != nil {
		return nil, err
	}
	if len(seasons) > 1 && s.on == seasons[0].on { // what was not counted yet, as the season before left it
		last, err := a.fieldPressures(seasons[1].snapshot, seasons[1].list)
		if err != nil {
			return nil, err
		}
		var from []string
		for _, old := range last {
			i := slices.IndexFunc(field, func(p cover.Pressure) bool { return p.Pest == old.Pest })
			switch {
			case !old.Known || i >= 0 && field[i].Known:
				continue
			case i < 0:
				field = append(field, old)
			default:
				field[i] = old
			}
			from = append(from, a.spaced(old.Pest))
		}
		if len(from) > 0 {
			p.lead += fmt.Sprintf(" Not counted this season, so as in %s: %s.", seasons[1].year.Name(), strings.Join(from, ", "))
		}
	}
	for i := range field {
		if field[i].Score < leastPressure {
			field[i].Score = 0
		}
	}
	return field, nil
}

// leastPressure is the pressure, 0 to 3, from which on a pest counts as one that
// presses here. Common practice.
const leastPressure = 0.5
