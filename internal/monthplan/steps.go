package monthplan

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/schedule"
)

// rogues takes sick plants out before anything else: blades, hands and
// natural enemies come after. They stand on no rung.
func (p *planner) rogues() {
	for i, t := range p.in.Tasks {
		if t.Chore == Rogue {
			p.in.Tasks[i].Rung = Free
			p.task(p.in.Tasks[i])
		}
	}
}

// before is the end of the chores that a job in a bed waits for, and the text
// of one that has no place.
func (p *planner) before(bed string, chores ...Chore) (last time.Time, what, missing string) {
	for _, t := range p.in.Tasks {
		if t.Bed != bed || t.Standing || !slices.Contains(chores, t.Chore) {
			continue
		}
		if p.missing[t.ID] {
			return last, what, t.Text
		}
		i := slices.IndexFunc(p.slots, func(s Slot) bool { return s.ID == t.ID })
		if i >= 0 && p.slots[i].End.After(last) {
			last, what = p.slots[i].End, t.Text
		}
	}
	return last, what, ""
}

// with lists the steps that go with a job of a kind in a bed.
func (p *planner) with(kind Kind, beds ...string) []string {
	var out []string
	for _, t := range p.in.Tasks {
		if t.With == kind && slices.Contains(beds, t.Bed) && !slices.Contains(out, t.Text) {
			out = append(out, t.Text)
		}
	}
	return out
}

// goesAlong reports whether a step is done with jobs of another kind that the
// plan holds, and so needs no hour of its own.
func (p *planner) goesAlong(t Task) bool {
	return t.With != "" && slices.ContainsFunc(p.slots, func(s Slot) bool {
		return s.Kind == t.With && (s.Bed == t.Bed || slices.Contains(s.Beds, t.Bed))
	})
}

// cutting puts the cutting days in, first thing in the day; beds with signs of
// a disease come last, and the blades are cleaned between beds.
func (p *planner) cutting() {
	beds := slices.Clone(p.in.Beds)
	slices.SortStableFunc(beds, func(a, b farm.Bed) int {
		switch {
		case p.in.Sick[a.Code] == p.in.Sick[b.Code]:
			return cmp.Compare(a.Code, b.Code)
		case p.in.Sick[a.Code]:
			return 1
		}
		return -1
	})
	for d := p.in.Today; !d.After(p.through); d = d.AddDays(1) {
		before, end := "", time.Time{} // the bed cut before on this day, and until when
		for _, b := range beds {
			if !slices.Contains(p.in.Cut[b.Code], d.Weekday()) {
				continue
			}
			s, why, next := p.cut(b, d, end)
			if why != "" {
				p.miss(Unplaced{ID: s.ID, Bed: b.Code, Text: s.Text + " on " + d.Short(), Why: why, Next: next})
				continue
			}
			if before != "" {
				s.With = append(s.With, "clean the blades first: they come from "+before)
			}
			if p.in.Sick[b.Code] {
				s.Why = append(s.Why, "signs of a disease were found here, so it is cut after the clean beds")
			}
			s.With = append(s.With, p.with(Cutting, b.Code)...)
			p.slots = append(p.slots, s)
			before, end = b.Code, s.End
		}
	}
}

// cuttingNext notes the cutting of the week after the plan, which products of
// its last days must not reach. The first hour of a day is the safe one.
func (p *planner) cuttingNext() {
	p.cutNext = map[string][]label.Work{}
	for _, b := range p.in.Beds {
		for d := p.through.AddDays(1); !d.After(p.through.AddDays(7)); d = d.AddDays(1) {
			if slices.Contains(p.in.Cut[b.Code], d.Weekday()) {
				p.starts(d, 30, AnyHour, func(start, _ time.Time) bool {
					p.cutNext[b.Code] = append(p.cutNext[b.Code], label.Work{What: "Cut flowers", Date: d, At: start, Harvest: true})
					return true
				})
			}
		}
	}
}

func (p *planner) cut(b farm.Bed, d civil.Date, after time.Time) (s Slot, why string, next civil.Date) {
	s = Slot{ID: "cut:" + b.Code + ":" + d.String(), Kind: Cutting, Bed: b.Code, Text: "Cut flowers", Date: d, Why: []string{d.Weekday().String() + " is a cutting day"}}
	last, what, missing := p.before(b.Code, Rogue)
	if missing != "" {
		return s, fmt.Sprintf("it comes after %q, which has no place", missing), next
	}
	if next, why = p.cutFrom(b.Code, d); why != "" {
		return s, why, next
	}
	why = "no working hour of the day is free"
	p.starts(d, 30, AnyHour, func(start, end time.Time) bool {
		switch c := p.closed(b.Code, start, end); {
		case start.Before(last):
			why = fmt.Sprintf("it comes after %q of %s", what, p.day(last))
		case c != "":
			why = c
		case start.Before(after):
		default:
			s.Start, s.End, why = start, end, ""
		}
		return why == ""
	})
	if why == "" && what != "" {
		s.Why = append(s.Why, fmt.Sprintf("after %q of %s", what, p.day(last)))
	}
	return s, why, civil.Date{}
}

// day is the short date of an instant on the farm.
func (p *planner) day(t time.Time) string { return t.In(p.in.Zone).Format("Mon 2 Jan") }

// watering puts one watering round on each of its days, in the morning.
func (p *planner) watering() {
	for d := p.in.Today; !d.After(p.through); d = d.AddDays(1) {
		if !slices.Contains(p.in.Water, d.Weekday()) {
			continue
		}
		s := Slot{ID: "water:" + d.String(), Kind: Watering, Date: d}
		var shut []string
		p.starts(d, waterTime, Morning, func(start, end time.Time) bool {
			s.Beds, shut = nil, nil
			for _, b := range p.in.Beds {
				if b.Irrigation == farm.Rainfed {
					continue
				}
				if c := p.closed(b.Code, start, end); c != "" {
					shut = append(shut, c)
					continue
				}
				s.Beds = append(s.Beds, b.Code)
			}
			s.Start, s.End = start, end
			return len(s.Beds) > 0
		})
		if len(s.Beds) == 0 {
			why := join(shut)
			if why == "" {
				why = p.hourWords(Morning, d)
			}
			p.miss(Unplaced{ID: s.ID, Text: "Water on " + d.Short(), Why: why})
			continue
		}
		s.Text = "Water " + strings.Join(s.Beds, ", ")
		s.Why = append([]string{d.Weekday().String() + " is a watering day; in the morning, so that the surface is dry by night (common practice)"}, shut...)
		s.With = p.with(Watering, s.Beds...)
		p.slots = append(p.slots, s)
	}
}

// lower lists the jobs of the same bed and pest on lower rungs: when the last
// of them ends, and one that found no place.
func (p *planner) lower(bed, pest string, r Rung) (last time.Time, missing string) {
	if r == Free || r == Prevention {
		return time.Time{}, ""
	}
	for _, s := range p.slots {
		if s.Bed == bed && s.Pest == pest && s.Rung != Free && s.Rung < r && s.End.After(last) {
			last = s.End
		}
	}
	for _, t := range p.in.Tasks {
		if t.Bed == bed && t.Pest == pest && t.Rung != Free && t.Rung < r && p.missing[t.ID] {
			missing = t.Text
		}
	}
	return last, missing
}

func (p *planner) tasks() {
	for _, t := range p.in.Tasks {
		switch {
		case t.Chore == Rogue:
		case p.goesAlong(t):
		case t.Standing, t.With != "": // done whenever that is
			p.standing = append(p.standing, t)
		default:
			p.task(t)
		}
	}
}

// wet says that a day is known to be wet, "" when it is not.
func (p *planner) wet(d civil.Date) string {
	if w, ok := p.in.Weather[d]; ok && w.RainMM != nil && *w.RainMM > 0 {
		return fmt.Sprintf("%s of rain are known for %s", p.in.Units.Rain(*w.RainMM), d.Short())
	}
	return ""
}

// task places one job on the first hour that fits, after the lower rungs.
func (p *planner) task(t Task) bool {
	u := Unplaced{ID: t.ID, Bed: t.Bed, Pest: t.Pest, Text: t.Text}
	last, missing := p.lower(t.Bed, t.Pest, t.Rung)
	if missing != "" {
		u.Why = fmt.Sprintf("it comes after %q, which has no place", missing)
		p.miss(u)
		return false
	}
	from := t.From
	if from.Before(p.in.Today) {
		from = p.in.Today
	}
	why := ""
	for d := from; !d.After(p.through); d = d.AddDays(1) {
		if w := p.wet(d); t.Dry && w != "" {
			why = w
			continue
		}
		if p.starts(d, t.Minutes, t.Part, func(start, end time.Time) bool {
			if start.Before(last) {
				return false
			}
			if c := p.closed(t.Bed, start, end); c != "" {
				why = c
				return false
			}
			if w := p.set(t, d, last); w != "" {
				why = w
				return false
			}
			s := Slot{ID: t.ID, Kind: t.Kind, Bed: t.Bed, Pest: t.Pest, Text: t.Text, Rung: t.Rung, Start: start, End: end, Date: d}
			s.Late = !t.By.IsZero() && d.After(t.By)
			if t.Why != "" {
				s.Why = append(s.Why, t.Why)
			}
			switch {
			case s.Late:
				s.Why = append(s.Why, fmt.Sprintf("late: wanted by %s; what is in the way: %s", t.By.Short(), cmp.Or(why, p.hourWords(t.Part, d.AddDays(-1)))))
			case !t.By.IsZero():
				s.Why = append(s.Why, "by "+t.By.Short())
			}
			if w := p.partWhy(t.Part, d); w != "" {
				s.Why = append(s.Why, w)
			}
			if !last.IsZero() {
				s.Why = append(s.Why, "after the lower steps of "+p.day(last))
			}
			if t.Chore == Rogue {
				s.Why = append(s.Why, "before cutting and all else in the bed")
			}
			if p.in.Sick[t.Bed] {
				s.With = append(s.With, "clean hands and tools after it: signs of a disease were found in "+t.Bed)
			}
			p.slots = append(p.slots, s)
			return true
		}) {
			return true
		}
		if why == "" || strings.HasSuffix(why, freeDay) { // another reason tells more
			why = p.hourWords(t.Part, d)
		}
	}
	u.Why = why
	if from.After(p.through) {
		u.Why, u.Next = "its day lies after this plan", from
	}
	p.miss(u)
	return false
}

// set puts the traps of a count that is made on a day out, so many nights before:
// in the evening, or else at any hour, once the steps that it is to judge are done. It says why it cannot, "" where it can or
// nothing is to be set.
func (p *planner) set(t Task, read civil.Date, after time.Time) string {
	if t.Traps.Nights <= 0 {
		return ""
	}
	day := read.AddDays(-t.Traps.Nights)
	stand := fmt.Sprintf("%s stand %s before they are read", t.Traps.Words, nightWords(t.Traps.Nights))
	if day.Before(p.in.Today) || p.at(day.AddDays(1), 0).Before(after) {
		return stand + ", and are to be set first"
	}
	for _, part := range []Part{Evening, AnyHour} {
		if p.starts(day, setTime, part, func(start, end time.Time) bool {
			if start.Before(after) || p.closed(t.Bed, start, end) != "" {
				return false
			}
			p.slots = append(p.slots, Slot{ID: "set:" + t.ID, Kind: Step, Bed: t.Bed, Pest: t.Pest, Text: "Set " + t.Traps.Words, Start: start, End: end, Date: day,
				Why: []string{fmt.Sprintf("they stand %s and are read on %s; needless where they stand already", nightWords(t.Traps.Nights), read.Short())}})
			return true
		}) {
			return ""
		}
	}
	return stand + ", and no working hour is free to set them"
}

func nightWords(n int) string {
	if n == 1 {
		return "1 night"
	}
	return fmt.Sprintf("%d nights", n)
}

// repeats puts the further times of steps that are to be repeated into the
// hours that are left: until the next count of the pest in the bed, which
// decides; without one a step of every day goes on for a week. What washes
// natural enemies off ends before they are let out. A time that finds no hour
// on its day comes on one of the next, before the one after it is due.
func (p *planner) repeats() {
	for _, t := range p.in.Tasks {
		first := slices.IndexFunc(p.slots, func(s Slot) bool { return s.ID == t.ID })
		if t.Every <= 0 || first < 0 {
			continue
		}
		start := p.slots[first]
		until, why := p.through, "until the end of this plan"
		if t.Every == 1 && start.Date.AddDays(dailyFor-1).Before(until) {
			until, why = start.Date.AddDays(dailyFor-1), "for a week, then count"
		}
		for _, s := range p.slots {
			if s.Kind == Look && s.Bed == t.Bed && s.Pest == t.Pest && s.Start.After(start.Start) && !s.Date.After(until) {
				until, why = s.Date, "until the count of "+s.Date.Short()
			}
		}
		if day, name := p.letOutAfter(t.Bed, start.Date); t.Washes && !day.IsZero() && !day.After(until) {
			until, why = day.AddDays(-1), "until the day before natural enemies are let out"
			p.slots[first].Why = append(slices.Clone(start.Why), fmt.Sprintf("not again from %s on: it would wash off %s", day.Short(), name))
		}
		for n, d := 2, start.Date.AddDays(t.Every); !d.After(until) && (t.Times == 0 || n <= t.Times); n, d = n+1, d.AddDays(t.Every) {
			day, miss := p.oneMore(t, n, d, until, why)
			if miss != "" {
				p.miss(Unplaced{ID: fmt.Sprintf("%s:%d", t.ID, n), Bed: t.Bed, Pest: t.Pest, Text: t.Text + ", again on " + d.Short(), Why: miss})
				continue
			}
			d = day
		}
	}
}

// letOutAfter is the first day from d on for which natural enemies are let out in
// a bed, or d itself where some that were let out are counted on still.
func (p *planner) letOutAfter(bed string, d civil.Date) (first civil.Date, name string) {
	see := func(in, agent string, day civil.Date) {
		if in != bed || d.Sub(day) > schedule.CountedOn {
			return
		}
		if day.Before(d) {
			day = d
		}
		if first.IsZero() || day.Before(first) {
			first, name = day, cmp.Or(p.in.Agents[agent], agent)
		}
	}
	for _, r := range p.in.Released {
		see(r.Bed, r.Agent, r.Date)
	}
	for _, s := range p.slots {
		if s.Kind == LetOut {
			see(s.Bed, s.Agent, s.Date)
		}
	}
	return first, name
}

// oneMore puts one further time of a step on the day it is due or one of the
// next, and says where none was found why not on the first.
func (p *planner) oneMore(t Task, n int, due, until civil.Date, why string) (day civil.Date, miss string) {
	part := t.Part
	if t.Again != "" {
		part = t.Again
	}
	for d := due; d.Before(due.AddDays(t.Every)) && !d.After(until); d = d.AddDays(1) {
		no := ""
		if t.Dry {
			no = p.wet(d)
		}
		if no == "" && p.starts(d, t.Minutes, part, func(from, to time.Time) bool {
			if no = p.closed(t.Bed, from, to); no != "" {
				return false
			}
			p.slots = append(p.slots, Slot{ID: fmt.Sprintf("%s:%d", t.ID, n), Kind: t.Kind, Bed: t.Bed, Pest: t.Pest, Text: t.Text, Start: from, End: to, Date: d,
				Why: []string{fmt.Sprintf("again after %s, %s", dayWords(d.Sub(due)+t.Every), why)}})
			return true
		}) {
			return d, ""
		}
		miss = cmp.Or(miss, no, p.hourWords(part, d))
	}
	return civil.Date{}, miss
}

func dayWords(n int) string {
	if n == 1 {
		return "a day"
	}
	return fmt.Sprintf("%d days", n)
}
