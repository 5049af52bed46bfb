package climate

import (
	"time"

	"leafturn/internal/civil"
)

// LeastMembers is the least number of past years that tell how far years
// differ. Common practice.
const LeastMembers = 3

// Member is how the days to come would be if they were those of a past year.
type Member struct {
	Year int
	Series
}

// Members lays the farm's past years onto the Normal days of a series, one
// after the other: each tells how the season would go on if the rest of it were
// like that year. A year that has less than nine tenths of those days is left
// out, and a day that it lacks keeps the usual one. A year of the series itself
// from its own first Normal day on is none.
func (s Series) Members(readings []Day) []Member {
	var places []int
	for i, d := range s.days {
		if d.Kind == Normal {
			places = append(places, i)
		}
	}
	if len(places) == 0 {
		return nil
	}
	had := map[civil.Date]Day{}
	first, last := 0, 0
	for _, r := range readings {
		if r.Kind != Measured {
			continue
		}
		had[r.Date] = r
		if first == 0 || r.Date.Year < first {
			first = r.Date.Year
		}
		last = max(last, r.Date.Year)
	}
	if first == 0 {
		return nil
	}
	start := s.days[places[0]].Date
	var out []Member
	for y := first; y <= min(last, start.Year-1); y++ {
		days := append([]Day(nil), s.days...)
		found := 0
		for _, i := range places {
			d := days[i].Date
			if r, ok := had[inYear(d, y+d.Year-start.Year)]; ok {
				days[i].Min, days[i].Max, days[i].Spread = r.Min, r.Max, 0
				found++
			}
		}
		if 10*found >= 9*len(places) {
			out = append(out, Member{y, Series{days}})
		}
	}
	return out
}

// inYear is the same day of another year; 29 February is 28 where there is none.
func inYear(d civil.Date, year int) civil.Date {
	if d.Month == time.February && d.Day == 29 && leapOf(year) == 0 {
		return civil.New(year, time.February, 28)
	}
	return civil.New(year, d.Month, d.Day)
}
