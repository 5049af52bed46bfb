package companion

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/pattern"
	"leafturn/internal/sun"
)

// Season is the season that sowings are planned for.
type Season struct {
	Year                  int        // in which it begins
	South                 bool       // from 1 July to 30 June
	Today                 civil.Date // nothing is sown before
	LastFrost, FirstFrost civil.MonthDay
	PlantAfterFrost       int      // days from the last frost to the planting of dahlias
	Latitude              *float64 // degrees north, nil is not known

	name string // of the season that this one stands for, "" for its own
	lag  int    // days by which that one is later
}

// Crop is what the timing of a plant goes by.
type Crop struct {
	Plant                  string
	SowWindow, BloomWindow string
	BloomsIn               int // the year of its life in which it first blooms, 1 or 2; 0 is not known
	Perennial              bool
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

// standsFrom is the day from which it needs its ground.
func (s Sow) standsFrom() civil.Date { return cmp.Or(s.PlantOut, s.On) }

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
	can     []Sow // all sowings that the windows allow
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
// A plant that serves no pest, or pests that never pressed, gets the first
// sowing that its window allows; one whose pests were never counted none, only
// its windows.
func Plan(c Crop, needs []Need, s Season) Timing {
	if s.South {
		return s.timingHere(Plan(c, needs, s.north()))
	}
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
	t.can = c.candidates(s, &t)
	if len(c.Serves) == 0 || known {
		t.choose(t.can, s.Year)
	}
	return t
}

// Parts is the most sowings that stand at one time, 1 at least: so many parts
// the ground of the plant needs, so that one can bloom while the next grows.
func (t Timing) Parts() int {
	most := 1
	for _, x := range t.Sowings {
		stand := 0
		for _, o := range t.Sowings {
			if !o.standsFrom().After(x.standsFrom()) && !o.Bloom.To.Before(x.standsFrom()) {
				stand++
			}
		}
		most = max(most, stand)
	}
	return most
}

// Fill returns the sowing that the window allows beside those planned whose
// bloom covers the most of some weeks, the first of equals, and those weeks.
func (t Timing) Fill(s Season, weeks []int) (best Sow, covered []int) {
	for _, x := range t.can {
		if x.Bloom.From.IsZero() {
			continue
		}
		var in []int
		for _, w := range s.weeksOf(x.Bloom) {
			if slices.Contains(weeks, w) {
				in = append(in, w)
			}
		}
		if len(in) > len(covered) {
			best, covered = x, in
		}
	}
	return best, covered
}

// candidates lists a sowing for each day on which there may be one.
func (c Crop) candidates(s Season, t *Timing) []Sow {
	w, ok := ParseSowWindow(c.SowWindow)
	switch {
	case !ok && strings.TrimSpace(c.SowWindow) == "":
		t.Unknown = "no sowing window is given"
		return nil
	case !ok:
		t.Unknown = fmt.Sprintf("its sowing window %q cannot be read as dates", c.SowWindow)
		return nil
	}
	b, bloomOK := ParseBloom(c.BloomWindow)
	if !bloomOK {
		t.Unknown = fmt.Sprintf("its bloom window %q cannot be read as dates", c.BloomWindow)
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
			lasts := second || c.Perennial && win.From.Month >= time.July || c.carriesOver(b, win)
			if y < s.Year && !lasts && win.To.Year < s.Year {
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
	byDay := func(a, b Sow) int { return a.On.Compare(b.On) }
	slices.SortStableFunc(out, byDay)
	out = slices.CompactFunc(out, func(a, b Sow) bool { return a.On == b.On })
	slices.SortStableFunc(t.Windows, func(a, b Days) int { return a.From.Compare(b.From) })
	if len(out) == 0 {
		t.Notes = append(t.Notes, fmt.Sprintf("its sowing window for %s has passed", cmp.Or(s.name, s.Name())))
	}
	if second {
		t.Notes = append(t.Notes, "it blooms from its second year on")
	}
	if m := longDaysRE().FindStringSubmatch(strings.Join(b.Rest, ", ")); m != nil && s.Latitude == nil {
		t.Notes = append(t.Notes, "it "+m[0]+"; the farm's latitude is not set, so that is not checked")
	}
	return out
}

// carriesOver reports whether a sowing of autumn blooms in the year after: one
// whose bloom is told by months that come before its sowing.
func (c Crop) carriesOver(b Bloom, win Days) bool {
	return b.From != 0 && b.DelayMax == 0 && win.From.Month >= time.September
}

var longDaysRE = pattern.New(`needs days over (\d{1,2}) h`)

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
	if m := longDaysRE().FindStringSubmatch(strings.Join(b.Rest, ", ")); m != nil && s.Latitude != nil {
		least, _ := strconv.ParseFloat(m[1], 64)
		long := func(day civil.Date) bool {
			x, ok := sun.On(day.AddDays(s.lag), *s.Latitude, 0)
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
