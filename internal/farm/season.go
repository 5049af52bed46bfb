package farm

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/pattern"
)

// Season is the year of a crop, from one winter to the next: the calendar year
// in the north, and from 1 July to 30 June in the south, where dahlias are
// planted in spring and dug in the autumn of the year after. It is the one
// meaning of "a season" in the program. Common practice.
type Season struct {
	First, Last civil.Date // both included
}

// SeasonOf returns the season that holds a day.
func SeasonOf(day civil.Date, south bool) Season {
	if !south {
		return Season{civil.New(day.Year, time.January, 1), civil.New(day.Year, time.December, 31)}
	}
	year := day.Year
	if day.Month < time.July {
		year--
	}
	return Season{civil.New(year, time.July, 1), civil.New(year+1, time.June, 30)}
}

// Season returns the farm's season that holds a day.
func (f Farm) Season(day civil.Date) Season { return SeasonOf(day, f.South()) }

// southern are the countries that lie wholly south of the equator (from memory).
var southern = []string{"AR", "AU", "BO", "BW", "CL", "FJ", "FK", "LS", "MG", "MU", "MW", "MZ", "NA", "NC", "NZ", "PE", "PY", "RE", "SZ", "UY", "VU", "ZA", "ZM", "ZW"}

// South reports whether the farm's seasons are those of the south, by what it
// says of itself: its latitude, else its frosts, else its country. With none of
// them it is taken to lie in the north.
func (f Farm) South() bool {
	south, _ := f.SouthBy()
	return south
}

// SouthBy is South and what tells it, "" for nothing.
func (f Farm) SouthBy() (south bool, by string) {
	if f.Latitude != nil && *f.Latitude != 0 {
		return *f.Latitude < 0, "latitude"
	}
	if south, known := f.FrostsSouth(); known {
		return south, "frosts"
	}
	if slices.Contains(southern, f.Country) {
		return true, "country"
	}
	return false, ""
}

// FrostsSouth reports whether the farm's frosts are those of the south: between
// the last of spring and the first of autumn lies summer, and its middle falls
// from October to March there.
func (f Farm) FrostsSouth() (south, known bool) {
	if f.LastFrost.IsZero() || f.FirstFrost.IsZero() {
		return false, false
	}
	last, first := f.LastFrost.In(2001), f.FirstFrost.In(2001)
	if first.Before(last) {
		first = f.FirstFrost.In(2002)
	}
	m := last.AddDays(first.Sub(last) / 2).Month
	return m < time.April || m > time.September, true
}

// South reports whether it is a season of the south.
func (s Season) South() bool { return s.First.Month == time.July }

// Year is the year in which the season begins.
func (s Season) Year() int { return s.First.Year }

// Name is 2026 in the north and 2026/27 in the south.
func (s Season) Name() string { return SeasonName(s.Year(), s.South()) }

// SeasonName names the season that begins in a year.
func SeasonName(year int, south bool) string {
	if south {
		return fmt.Sprintf("%d/%02d", year, (year+1)%100)
	}
	return fmt.Sprint(year)
}

var seasonRE = pattern.New(`^(\d{4})(?:[/-](\d{2}|\d{4}))?$`)

// ParseSeason reads the name of a season: 2026, and in the south 2026/27,
// 2026-27 or 2026/2027 as well, which is the season that begins in 2026.
func ParseSeason(word string, south bool) (s Season, ok bool) {
	m := seasonRE().FindStringSubmatch(strings.TrimSpace(word))
	if m == nil {
		return s, false
	}
	year, _ := strconv.Atoi(m[1]) // four digits
	if m[2] != "" {
		next := fmt.Sprintf("%04d", year+1)
		if !south || m[2] != next && m[2] != next[2:] {
			return s, false
		}
	}
	month := time.January
	if south {
		month = time.July
	}
	return SeasonOf(civil.New(year, month, 1), south), true
}

// Holds reports whether a day lies in the season.
func (s Season) Holds(day civil.Date) bool { return !day.Before(s.First) && !day.After(s.Last) }

// Day is the day of the season that comes every year.
func (s Season) Day(m civil.MonthDay) civil.Date {
	if d := m.In(s.First.Year); !d.Before(s.First) {
		return d
	}
	return m.In(s.Last.Year)
}

// Like is the day of the season that lies as a day of the calendar year does in
// a season of the north: the day itself there, six months on in the south.
func (s Season) Like(north civil.MonthDay) civil.Date {
	if s.South() {
		return s.Day(north.HalfYearOn())
	}
	return s.Day(north)
}

// Back is the season so many seasons before.
func (s Season) Back(n int) Season {
	return SeasonOf(civil.New(s.First.Year-n, s.First.Month, 1), s.South())
}

// StageOn returns the stage that the events (of one bed, any order) put it in
// on a date, and the day it was reached. Only those of the season count. Before
// any of them the bed is PrePlant, reached on no date.
func (s Season) StageOn(events []StageEvent, on civil.Date) (Stage, civil.Date) {
	best := StageEvent{Stage: PrePlant}
	for _, e := range events {
		if !s.Holds(e.Date) || e.Date.After(on) {
			continue
		}
		// A correction on the same day wins by coming later in the stages.
		if c := e.Date.Compare(best.Date); c > 0 || c == 0 && e.Stage.Order() > best.Stage.Order() {
			best = e
		}
	}
	return best.Stage, best.Date
}
