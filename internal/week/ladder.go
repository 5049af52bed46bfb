package week

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
)

// Ladder is what an organic farm has to show before a product: the steps that
// were recorded against a pest in a bed this season, rung by rung, and the rungs
// of which none is recorded.
type Ladder struct {
	Tried   []string // "by hand: night_pick on Mon 13 Jul (not enough)"
	Missing []string // rungs in words
	south   bool     // its season is one of the south
}

// LadderInput is what a ladder is read from.
type LadderInput struct {
	Bed, Pest string
	Stage     farm.Stage
	Today     civil.Date
	South     bool     // the farm's seasons are those of the south
	Actions   []Action // against the pest
	Done      []farm.Done
	Releases  []farm.Release
	// Possible reports whether an agent may be let out on this farm at all.
	Possible func(agent string) bool
}

// ReadLadder reads the ladder. A rung counts as tried when a step of it is
// recorded for the bed and pest in the season, whether it was enough or
// not; a rung of which the catalogue knows no step at the stage, or no agent
// that may be let out on the farm, asks for nothing. Natural enemies count
// when they were ordered or let out. Source: 7 CFR 205.206 (a) to (e), the
// order of practices; what counts as a record is common practice.
func ReadLadder(in LadderInput) Ladder {
	l := Ladder{south: in.South}
	year := farm.SeasonOf(in.Today, in.South)
	for _, rung := range []Rung{Prevention, Cultural, Biological} {
		var tried []string
		for _, d := range in.Done {
			if d.Bed != in.Bed || d.Pest != in.Pest || d.Date.After(in.Today) || !year.Holds(d.Date) {
				continue
			}
			i := slices.IndexFunc(in.Actions, func(a Action) bool { return a.Key == d.Action })
			if i < 0 || in.Actions[i].Rung != rung {
				continue
			}
			words := fmt.Sprintf("%s on %s", d.Action, d.Date.Short())
			if d.Outcome != "" {
				words += fmt.Sprintf(" (%s)", d.Outcome)
			}
			tried = append(tried, words)
		}
		if rung == Biological {
			for _, r := range in.Releases {
				if r.Bed == in.Bed && r.Pest == in.Pest && !r.Date.After(in.Today) && year.Holds(r.Date) {
					tried = append(tried, fmt.Sprintf("%s let out on %s", r.Agent, r.Date.Short()))
				}
			}
		}
		for _, t := range tried {
			l.Tried = append(l.Tried, rung.String()+": "+t)
		}
		asked := slices.ContainsFunc(in.Actions, func(a Action) bool {
			return a.Rung == rung && in.Stage.Between(a.From, a.To) && (rung != Biological || a.Agent != "" && in.Possible != nil && in.Possible(a.Agent))
		})
		if asked && len(tried) == 0 {
			l.Missing = append(l.Missing, rung.String())
		}
	}
	return l
}

// Ask puts the ladder into the question to a label.
func (l Ladder) Ask(r label.Request) label.Request {
	r.Practice, r.PracticeMissing = len(l.Missing) == 0, strings.Join(l.Missing, ", ")
	if l.south {
		r.PracticeWhen = "this season"
	}
	return r
}

// ladder reads the ladder of a bed and pest.
func (b *builder) ladder(bed farm.Bed, pest string, stage farm.Stage) Ladder {
	return ReadLadder(LadderInput{
		Bed: bed.Code, Pest: pest, Stage: stage, Today: b.in.Today, South: b.in.Farm.South(), Actions: b.in.Actions[pest], Done: b.in.Done, Releases: b.in.Releases,
		Possible: func(agent string) bool { return Possible(b.in.Agents[agent], b.in.Farm.Country) },
	})
}

// Possible reports whether an agent is offered at all and, as far as is known,
// may be let out in the country.
func Possible(offers []AgentOffer, country string) bool {
	return slices.ContainsFunc(offers, func(o AgentOffer) bool {
		return len(o.NotIn) == 0 || country != "" && !slices.Contains(o.NotIn, country)
	})
}
