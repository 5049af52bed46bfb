package companion

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/sun"
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

// Need is the ISO weeks of a season in which the enemies of a pest are needed.
type Need struct {
	Pest    string
	Over    []int // weeks in which it was over the level in some bed
	Weeks   []int // Over and the weeks ahead of each
	Seasons int   // seasons of counts behind it
}

// Needed returns the weeks in which the enemies of each pest with counts are
// needed, by pest: the weeks in which any bed was over, in any of the seasons,
// carried over to a year by week number, with those before. A pest that was
// counted and never over has no weeks; one without a curve is not in the list.
func Needed(curves []Curve, year int, opt NeedOptions) []Need {
	over, seasons := map[string]map[int]bool{}, map[string]map[int]bool{}
	last := WeeksIn(year)
	for _, c := range curves {
		if over[c.Pest] == nil {
			over[c.Pest], seasons[c.Pest] = map[int]bool{}, map[int]bool{}
		}
		for i, p := range c.Points {
			seasons[c.Pest][p.On.Year] = true
			if p.Chance < opt.Over {
				continue
			}
			to := p.On
			if i+1 < len(c.Points) && c.Points[i+1].Chance >= opt.Over && c.Points[i+1].On.Sub(p.On) <= opt.JoinDays {
				to = c.Points[i+1].On
			}
			for d := p.On; !d.After(to); d = d.AddDays(1) {
				_, w := d.ISOWeek()
				over[c.Pest][min(w, last)] = true
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

// Season is the season that sowings are planned for.
type Season struct {
	Year                  int
	Today                 civil.Date // nothing is sown before
	LastFrost, FirstFrost civil.MonthDay
	PlantAfterFrost       int      // days from the last frost to the planting of dahlias
	Latitude              *float64 // degrees north, nil is not known
}

// Crop is what the timing of a plant goes by.
type Crop struct {
	Plant                  string
	SowWindow, BloomWindow string
	BloomsIn               int  // the year of its life in which it first blooms, 1 or 2; 0 is not known
	BloomDays              *int // how long one sowing blooms, where BloomWindow does not say
	RaiseDays              *int // from sowing to planting out, where SowWindow does not say
	Serves                 []string
}

// Sow is one sowing with the bloom that can be counted on.
type Sow struct {
	On       civil.Date
	PlantOut civil.Date // zero: sown in place
	Bloom    Days       // zero: none in the season
}

// Timing is when a plant is sown and blooms.
type Timing struct {
	Plant   string
	Windows []Days // in which it may be sown, from today on
	Sowings []Sow
	Bloom   []Days // in the season, runs that touch joined
	Needed  []int  // weeks in which the enemies that it serves are needed
	Covered []int  // of these
	Missed  []int  // of these
	Unknown string // why its sowing or bloom is not known
	Notes   []string
}

// Plan returns the least number of sowings whose bloom covers as many of the
// needed weeks as any sowings in the window can, and the weeks left.
//
// Windows are taken cautiously: a sowing blooms after the longest delay given,
// for the shortest bloom. It covers a week when it blooms on 4 days of it. The
// bloom of one sowing is one run of weeks, so taking at each first uncovered
// week the sowing that covers it and reaches furthest is the least number. Of
// sowings that reach equally far the first is taken, to have days in hand.
//
// A plant that serves no pest with known weeks gets the first sowing that its
// window allows.
func Plan(c Crop, needs []Need, s Season) Timing {
	t := Timing{Plant: c.Plant}
	want, known := map[int]bool{}, false
	for _, n := range needs {
		if !slices.Contains(c.Serves, n.Pest) {
			continue
		}
		known = true
		for _, w := range n.Weeks {
			want[w] = true
		}
	}
	for w := range want {
		t.Needed = append(t.Needed, w)
	}
	slices.Sort(t.Needed)
	if len(c.Serves) > 0 && !known {
		t.Notes = append(t.Notes, "the weeks in which it is needed are not known: "+strings.Join(c.Serves, ", ")+" was not counted in any season stored")
	}
	can := c.candidates(s, &t)
	t.choose(can, s.Year)
	return t
}

// candidates lists a sowing for each day on which there may be one.
func (c Crop) candidates(s Season, t *Timing) []Sow {
	w, ok := ParseSowWindow(c.SowWindow)
	switch {
	case !ok && strings.TrimSpace(c.SowWindow) == "":
		t.Unknown = "no sowing window is given"
		return nil
	case !ok:
		t.Unknown = fmt.Sprintf("its sowing window %q cannot be read", c.SowWindow)
		return nil
	}
	b, bloomOK := ParseBloom(c.BloomWindow)
	if !bloomOK {
		t.Unknown = fmt.Sprintf("its bloom window %q cannot be read", c.BloomWindow)
		if strings.TrimSpace(c.BloomWindow) == "" {
			t.Unknown = "no bloom window is given"
		}
	}
	second := b.SecondYear || c.BloomsIn == 2
	raise := -1
	if w.RaiseMax > 0 {
		raise = w.RaiseMax
	} else if c.RaiseDays != nil {
		raise = *c.RaiseDays
	}
	var out []Sow
	for _, y := range []int{s.Year - 1, s.Year} {
		windows, why := w.in(y, s, raise)
		if why != "" {
			t.Unknown = why
			return nil
		}
		for _, win := range windows {
			if y < s.Year && !second && win.To.Year < s.Year && !c.carriesOver(b, win) {
				continue
			}
			if win.From.Before(s.Today) {
				win.From = s.Today
			}
			if win.Len() < 1 {
				continue
			}
			t.Windows = append(t.Windows, win)
			for d := win.From; !d.After(win.To); d = d.AddDays(1) {
				x := Sow{On: d}
				if raise >= 0 && (w.PlantOut || w.RaisedInPots) {
					x.PlantOut = d.AddDays(raise)
				}
				if bloomOK && !b.NotAFlower && t.Unknown == "" {
					bloom, why := c.bloom(b, w, d, second, s)
					if why != "" {
						t.Unknown = why
					} else if bloom.Len() > 0 && bloom.From.Year == s.Year {
						x.Bloom = bloom
					}
				}
				out = append(out, x)
			}
		}
	}
	if len(out) == 0 {
		t.Notes = append(t.Notes, fmt.Sprintf("its sowing window for %d has passed", s.Year))
	}
	if second {
		t.Notes = append(t.Notes, "it blooms from its second year on")
	}
	if m := longDaysRE.FindStringSubmatch(strings.Join(b.Rest, ", ")); m != nil && s.Latitude == nil {
		t.Notes = append(t.Notes, "it "+m[0]+"; the farm's latitude is not set, so that is not checked")
	}
	return out
}

// carriesOver reports whether a sowing of autumn blooms in the year after: one
// whose bloom is told by months that come before its sowing.
func (c Crop) carriesOver(b Bloom, win Days) bool {
	return b.From != 0 && b.DelayMax == 0 && win.From.Month >= time.September
}

var longDaysRE = regexp.MustCompile(`needs days over (\d{1,2}) h`)

// bloom is what can be counted on of the bloom of one sowing, and why it is
// not known.
func (c Crop) bloom(b Bloom, w SowWindow, sown civil.Date, second bool, s Season) (Days, string) {
	year := s.Year
	if second && sown.Year >= year || !second && sown.Year < year-1 {
		return Days{}, ""
	}
	if b.ToFrost && s.FirstFrost.IsZero() {
		return Days{}, "it blooms to the first frost, which is not known"
	}
	frost := s.FirstFrost.In(year)
	d := Days{civil.New(year, time.January, 1), civil.New(year, time.December, 31)}
	if b.From > 0 {
		d.From = civil.New(year, b.From, 1)
		if !b.ToFrost {
			d.To = civil.New(year, b.To+1, 0)
		}
	}
	if b.ToFrost {
		d.To = frost
	}
	if b.DelayMax == 0 && sown.After(d.From) {
		return Days{}, "" // it may be late by as much as nobody says
	}
	if b.DelayMax > 0 && !second {
		if from := sown.AddDays(b.DelayMax); from.After(d.From) {
			d.From = from
		}
		last := 0
		switch {
		case b.LastMax > 0:
			last = b.LastMin
		case w.EveryMin > 0 && (b.ToFrost || b.From > 0):
			last = w.EveryMin
		case c.BloomDays != nil && !b.ToFrost && b.From == 0:
			last = *c.BloomDays
		case !b.ToFrost && b.From == 0:
			return Days{}, fmt.Sprintf("its bloom window %q does not say how long it blooms", c.BloomWindow)
		}
		if last > 0 {
			if to := sown.AddDays(b.DelayMin + last - 1); to.Before(d.To) {
				d.To = to
			}
			if !s.FirstFrost.IsZero() && frost.Before(d.To) {
				d.To = frost
			}
		}
	}
	if m := longDaysRE.FindStringSubmatch(strings.Join(b.Rest, ", ")); m != nil && s.Latitude != nil {
		least, _ := strconv.ParseFloat(m[1], 64)
		long := func(day civil.Date) bool {
			x, ok := sun.On(day, *s.Latitude, 0)
			return ok && x.Hours > least
		}
		for d.Len() > 0 && !long(d.From) {
			d.From = d.From.AddDays(1)
		}
		for d.Len() > 0 && !long(d.To) {
			d.To = d.To.AddDays(-1)
		}
	}
	return d, ""
}

// choose takes the sowings and sums up what they cover.
func (t *Timing) choose(can []Sow, year int) {
	weeks := make([][]int, len(can))
	for i, x := range can {
		if !x.Bloom.From.IsZero() {
			weeks[i] = x.Bloom.weeksOf(year)
		}
	}
	covered := map[int]bool{}
	take := func(i int) {
		t.Sowings = append(t.Sowings, can[i])
		for _, w := range weeks[i] {
			covered[w] = true
		}
	}
	for _, w := range t.Needed {
		if covered[w] {
			continue
		}
		best, reach := -1, 0
		for i := range can {
			if slices.Contains(weeks[i], w) {
				if end := weeks[i][len(weeks[i])-1]; end > reach {
					best, reach = i, end
				}
			}
		}
		if best >= 0 {
			take(best)
		}
	}
	if len(t.Sowings) == 0 && len(can) > 0 {
		// Nothing is needed of it, or nothing can be had: the first that blooms.
		first := max(0, slices.IndexFunc(can, func(x Sow) bool { return !x.Bloom.From.IsZero() }))
		take(first)
	}
	slices.SortFunc(t.Sowings, func(a, b Sow) int { return a.On.Compare(b.On) })
	for _, w := range t.Needed {
		if covered[w] {
			t.Covered = append(t.Covered, w)
		} else {
			t.Missed = append(t.Missed, w)
		}
	}
	for _, x := range t.Sowings {
		if x.Bloom.From.IsZero() {
			continue
		}
		if n := len(t.Bloom); n > 0 && !x.Bloom.From.After(t.Bloom[n-1].To.AddDays(1)) {
			if x.Bloom.To.After(t.Bloom[n-1].To) {
				t.Bloom[n-1].To = x.Bloom.To
			}
			continue
		}
		t.Bloom = append(t.Bloom, x.Bloom)
	}
}

// CalendarWeek is one ISO week of the bloom calendar.
type CalendarWeek struct {
	Week   int
	From   civil.Date // its Monday
	Needed []string   // pests whose enemies are needed
	Plants []string   // in bloom
	Gap    []string   // pests of Needed for which no plant that serves them blooms
	Bare   bool       // within the season, and nothing blooms at all
}

// Calendar returns the weeks from that of 1 March to that of the first frost
// (of 31 October where it is not known), and further where enemies are needed
// or something blooms. serves gives the pests that each plant serves.
func Calendar(timings []Timing, serves map[string][]string, needs []Need, s Season) []CalendarWeek {
	_, from := civil.New(s.Year, time.March, 1).ISOWeek()
	end := civil.New(s.Year, time.October, 31)
	if !s.FirstFrost.IsZero() {
		end = s.FirstFrost.In(s.Year)
	}
	_, to := end.ISOWeek()
	seasonFrom, seasonTo := from, to
	bloom := map[string]map[int]bool{}
	for _, t := range timings {
		bloom[t.Plant] = map[int]bool{}
		for _, d := range t.Bloom {
			for _, w := range d.weeksOf(s.Year) {
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
		c := CalendarWeek{Week: w, From: Monday(s.Year, w)}
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
