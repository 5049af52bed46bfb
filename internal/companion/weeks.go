package companion

import (
	"cmp"
	"slices"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// ChanceOn is the chance of being over the action level on the day of a count.
type ChanceOn struct {
	On     civil.Date
	Chance float64 // 0 to 1
}

// Curve is one pest in one bed in one season, count by count in order of days.
type Curve struct {
	Pest, Bed string
	Points    []ChanceOn
}

// NeedOptions are the editable numbers of the weeks in which natural enemies
// are needed.
type NeedOptions struct {
	Over      float64 // a chance from which on a pest presses
	LeadWeeks int     // enemies must be there so many weeks before
	JoinDays  int     // two counts that are over and no further apart join
}

// DefaultNeedOptions returns a chance of 0.5, 3 weeks ahead and 21 days.
// Common practice: Orius needs six weeks and more to settle, hoverflies and
// wasps come within days to flowers that are open.
func DefaultNeedOptions() NeedOptions { return NeedOptions{Over: 0.5, LeadWeeks: 3, JoinDays: 21} }

// Need is the weeks of a season, see Season.Monday, in which the enemies of a pest are needed.
type Need struct {
	Pest    string
	Over    []int // weeks in which it was over the level in some bed
	Weeks   []int // Over and the weeks ahead of each
	Seasons int   // seasons of counts behind it
}

// Needed returns the weeks in which the enemies of each pest with counts are
// needed, by pest: the weeks in which any bed was over, in any of the seasons,
// carried over to the season by week number, with those before. A pest that was
// counted and never over has no weeks; one without a curve is not in the list.
func Needed(curves []Curve, s Season, opt NeedOptions) []Need {
	over, seasons := map[string]map[int]bool{}, map[string]map[int]bool{}
	last := WeeksIn(s.Year)
	for _, c := range curves {
		if over[c.Pest] == nil {
			over[c.Pest], seasons[c.Pest] = map[int]bool{}, map[int]bool{}
		}
		for i, p := range c.Points {
			seasons[c.Pest][farm.SeasonOf(p.On, s.South).Year()] = true
			if !(p.Chance >= opt.Over) { // NaN, not known, is not over
				continue
			}
			to := p.On
			if i+1 < len(c.Points) && c.Points[i+1].Chance >= opt.Over && c.Points[i+1].On.Sub(p.On) <= opt.JoinDays {
				to = c.Points[i+1].On
			}
			for d := p.On; !d.After(to); d = d.AddDays(1) {
				over[c.Pest][min(s.weekOf(d), last)] = true
			}
		}
	}
	var out []Need
	for pest, weeks := range over {
		n := Need{Pest: pest, Seasons: len(seasons[pest])}
		for w := 1; w <= last; w++ {
			if weeks[w] {
				n.Over = append(n.Over, w)
			}
			for ahead := 0; ahead <= opt.LeadWeeks; ahead++ {
				if weeks[w+ahead] {
					n.Weeks = append(n.Weeks, w)
					break
				}
			}
		}
		out = append(out, n)
	}
	slices.SortFunc(out, func(a, b Need) int { return cmp.Compare(a.Pest, b.Pest) })
	return out
}

// WeeksIn is the number of ISO weeks of a year, 52 or 53: 28 December always
// lies in the last.
func WeeksIn(year int) int {
	_, w := civil.New(year, time.December, 28).ISOWeek()
	return w
}

// Monday is the first day of an ISO week: 4 January always lies in week 1.
func Monday(year, week int) civil.Date {
	d := civil.New(year, time.January, 4)
	return d.AddDays(-(int(d.Weekday())+6)%7 + 7*(week-1))
}

// WeekDays joins weeks of a year that follow each other to runs of days.
func WeekDays(year int, weeks []int) []Days {
	var out []Days
	for i, w := range weeks {
		m := Monday(year, w)
		if i > 0 && weeks[i-1] == w-1 {
			out[len(out)-1].To = m.AddDays(6)
			continue
		}
		out = append(out, Days{m, m.AddDays(6)})
	}
	return out
}

// weekDays is how many days of a week a plant must be in bloom to cover it:
// more than half of it (common practice).
const weekDays = 4

// weeksOf are the weeks of a year that a run of days covers.
func (d Days) weeksOf(year int) []int {
	var out []int
	for w := 1; w <= WeeksIn(year); w++ {
		m := Monday(year, w)
		from, to := m, m.AddDays(6)
		if d.From.After(from) {
			from = d.From
		}
		if d.To.Before(to) {
			to = d.To
		}
		if (Days{from, to}).Len() >= weekDays {
			out = append(out, w)
		}
	}
	return out
}

// CalendarWeek is one week of the bloom calendar.
type CalendarWeek struct {
	Week   int
	From   civil.Date // its Monday
	Needed []string   // pests whose enemies are needed
	Plants []string   // in bloom
	Gap    []string   // pests of Needed for which no plant that serves them blooms
	Bare   bool       // within the season, and nothing blooms at all
}

// Calendar returns the weeks from that of 1 March (26 weeks later in the south)
// to that of the first frost (of 31 October where it is not known), and further where enemies are needed
// or something blooms. serves gives the pests that each plant serves.
func Calendar(timings []Timing, serves map[string][]string, needs []Need, s Season) []CalendarWeek {
	_, from := civil.New(s.Year, time.March, 1).ISOWeek()
	end := civil.New(s.Year, time.October, 31)
	if !s.FirstFrost.IsZero() {
		end = s.north().FirstFrost.In(s.Year)
	}
	_, to := end.ISOWeek()
	seasonFrom, seasonTo := from, to
	bloom := map[string]map[int]bool{}
	for _, t := range timings {
		bloom[t.Plant] = map[int]bool{}
		for _, d := range t.Bloom {
			for _, w := range s.weeksOf(d) {
				bloom[t.Plant][w] = true
				from, to = min(from, w), max(to, w)
			}
		}
	}
	for _, n := range needs {
		for _, w := range n.Weeks {
			from, to = min(from, w), max(to, w)
		}
	}
	var out []CalendarWeek
	for w := from; w <= to; w++ {
		c := CalendarWeek{Week: w, From: s.Monday(w)}
		for _, t := range timings {
			if bloom[t.Plant][w] {
				c.Plants = append(c.Plants, t.Plant)
			}
		}
		for _, n := range needs {
			if !slices.Contains(n.Weeks, w) {
				continue
			}
			c.Needed = append(c.Needed, n.Pest)
			if !slices.ContainsFunc(c.Plants, func(p string) bool { return slices.Contains(serves[p], n.Pest) }) {
				c.Gap = append(c.Gap, n.Pest)
			}
		}
		c.Bare = len(c.Plants) == 0 && w >= seasonFrom && w <= seasonTo
		out = append(out, c)
	}
	return out
}
