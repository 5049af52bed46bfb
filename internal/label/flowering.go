package label

import (
	"slices"

	"leafturn/internal/farm"
)

// Flowering turns the growth stage of a bed and what was noted of flowers in
// or beside it into the two states that a bee statement is held against: the
// crop's own bloom and that of the ground. Before bud break of the flowers the
// crop has none open; a dug bed, and ground that nobody looked at, are unknown.
func Flowering(stage farm.Stage, noted string) (crop, ground Bloom) {
	switch stage {
	case farm.Bloom:
		crop = BloomOpen
	case farm.Dug:
		crop = BloomUnknown
	default:
		crop = BloomNone
	}
	switch noted {
	case farm.FlowersOpen:
		ground = BloomOpen
	case farm.FlowersNone:
		ground = BloomNone
	}
	return crop, ground
}

// SeasonAsYear returns the label with its maxima per season read as maxima per
// year: the calendar year and every twelve months are both tested. A season is
// never longer, so the reading only tightens, and no limit starts anew with a
// new season or a new year. A label that gives the days of its season keeps
// them. It is for callers that do not know where the
// label's season begins and ends.
func SeasonAsYear(l farm.Label) farm.Label {
	if l.Season.Has() {
		return l
	}
	if l.MaxPer == farm.PerSeason {
		l.MaxPer = farm.PerYear
	}
	if slices.ContainsFunc(l.MoreMaxima.Value, func(m farm.Maximum) bool { return m.Per == farm.PerSeason }) {
		l.MoreMaxima.Value = slices.Clone(l.MoreMaxima.Value)
		for i := range l.MoreMaxima.Value {
			if m := &l.MoreMaxima.Value[i]; m.Per == farm.PerSeason {
				m.Per = farm.PerYear
			}
		}
	}
	return l
}
