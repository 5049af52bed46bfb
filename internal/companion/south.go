package companion

import (
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// halfYear is by how many days a season of the south follows that of the north
// whose months the facts name: 26 weeks, so that days of the week and whole
// weeks stay as they are. Common practice.
const halfYear = 182

// Name is what people call the season.
func (s Season) Name() string { return farm.SeasonName(s.Year, s.South) }

// north is the season as if it lay in the north, half a year earlier; the sun
// stays its own.
func (s Season) north() Season {
	if !s.South {
		return s
	}
	year := farm.SeasonOf(civil.New(s.Year, time.July, 1), true)
	back := func(m civil.MonthDay) civil.MonthDay {
		if m.IsZero() {
			return m
		}
		d := year.Day(m).AddDays(-halfYear)
		return civil.MonthDay{Month: d.Month, Day: d.Day}
	}
	n := s
	n.South, n.name, n.lag = false, s.Name(), halfYear
	n.Today = s.Today.AddDays(-halfYear)
	n.LastFrost, n.FirstFrost = back(s.LastFrost), back(s.FirstFrost)
	return n
}

// here brings a day of north back to where the season lies.
func (s Season) here(d civil.Date) civil.Date {
	if !s.South || d.IsZero() {
		return d
	}
	return d.AddDays(halfYear)
}

func (s Season) daysHere(all []Days) []Days {
	for i, d := range all {
		all[i] = Days{s.here(d.From), s.here(d.To)}
	}
	return all
}

func (s Season) sowHere(x Sow) Sow {
	return Sow{s.here(x.On), s.here(x.PlantOut), Days{s.here(x.Bloom.From), s.here(x.Bloom.To)}}
}

// timingHere brings a plan of north back to where the season lies; its weeks
// keep their numbers.
func (s Season) timingHere(t Timing) Timing {
	t.Windows, t.Bloom = s.daysHere(t.Windows), s.daysHere(t.Bloom)
	for _, list := range [][]Sow{t.Sowings, t.can} {
		for i, x := range list {
			list[i] = s.sowHere(x)
		}
	}
	return t
}

// weekOf is the week that a day lies in, as the weeks of a season are numbered:
// by ISO 8601 in the north, and in the south as half a year earlier.
func (s Season) weekOf(d civil.Date) int {
	if s.South {
		d = d.AddDays(-halfYear)
	}
	_, w := d.ISOWeek()
	return w
}

// Monday is the first day of a week of the season.
func (s Season) Monday(week int) civil.Date { return s.here(Monday(s.Year, week)) }

// WeekDays joins weeks of the season that follow each other to runs of days.
func (s Season) WeekDays(weeks []int) []Days { return s.daysHere(WeekDays(s.Year, weeks)) }

// ISOWeeks are the numbers by ISO 8601 of weeks of the season.
func (s Season) ISOWeeks(weeks []int) []int {
	if !s.South {
		return weeks
	}
	var out []int
	for _, w := range weeks {
		_, n := s.Monday(w).ISOWeek()
		out = append(out, n)
	}
	return out
}

// weeksOf are the weeks of the season that a run of days covers.
func (s Season) weeksOf(d Days) []int {
	if s.South {
		d = Days{d.From.AddDays(-halfYear), d.To.AddDays(-halfYear)}
	}
	return d.weeksOf(s.Year)
}
