package monthplan

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/pattern"
)

// renewed plans what follows an application that was made already.
func (p *planner) renewed(o Offer) {
	for _, r := range o.Products {
		w := o.Failed[r.Label.Key]
		switch {
		case r.Label.Key != o.Renews.Label:
		case w != "":
			p.miss(Unplaced{ID: "product:" + o.Bed + ":" + o.Pest + ":2", Bed: o.Bed, Pest: o.Pest, Text: r.Label.Product + " again", Why: w})
		default:
			p.renew(o, choice{request: r}, o.Renews.Date)
		}
	}
}

// renew plans the applications after one: due when the label reckons the one
// before to end, or after rain where the label says that rain ends it; never
// before the label allows, and each after a count of its own. Where a label
// says neither, what is found in the bed decides and nothing is placed.
func (p *planner) renew(o Offer, c choice, prev civil.Date) {
	l := c.request.Label
	for n := 2; ; n++ {
		open := p.nextFrom(c.request, prev)
		var due civil.Date
		if k, ok := l.ReapplyByDays.Get(); ok {
			due = prev.AddDays(k)
		}
		want, why := due, fmt.Sprintf("the label reckons the effect of the one of %s until then", prev.Short())
		rain := civil.Date{}
		if r, mm := p.rainAfter(l, prev); !r.IsZero() && !open.IsZero() {
			day := latest(r.AddDays(1), open)
			if want.IsZero() || day.Before(want) {
				want, rain = day, r
				why = fmt.Sprintf("%s of rain are known for %s, and the label says to reapply when: %s", p.in.Units.Rain(mm), r.Short(), l.ReapplyWhen.Value)
			}
		}
		placed := false
		if !want.IsZero() && !want.After(p.through) {
			var s Slot
			if s, placed = p.another(o, c, n, prev, open, want, rain, why); placed {
				prev = s.Date
			}
		}
		if placed {
			continue
		}
		if w, ok := l.ReapplyWhen.Get(); ok && w != "" {
			p.events = append(p.events, Event{Bed: o.Bed, Pest: o.Pest, Label: l.Key, Product: l.Product, When: w, From: open, Until: due})
		}
		return
	}
}

// another places one further application with the count before it.
func (p *planner) another(o Offer, c choice, n int, prev, open, want, rain civil.Date, why string) (Slot, bool) {
	id := fmt.Sprintf("product:%s:%s:%d", o.Bed, o.Pest, n)
	miss := func(words string, next civil.Date, look []string) (Slot, bool) {
		p.miss(Unplaced{ID: id, Bed: o.Bed, Pest: o.Pest, Text: c.request.Label.Product + " again", Why: words, Next: next, LookUp: look})
		return Slot{}, false
	}
	if open.IsZero() || open.After(p.through) {
		dec := label.Plan(p.dayOnly(c.request, latest(want, p.in.Today)))
		var words []string
		for _, r := range dec.Refusals {
			words = append(words, r.Words)
		}
		if len(words) == 0 {
			words = append(words, "its label allows no day in this plan")
		}
		return miss(join(words), open, nil)
	}
	done, _, chore := p.before(o.Bed, Rogue, Clear)
	if chore != "" {
		return miss(fmt.Sprintf("a product comes after %q, which has no place yet", chore), civil.Date{}, nil)
	}
	late := open.After(want) || want.Before(p.in.Today)
	target := latest(latest(want, open), p.in.Today)
	before := len(p.slots)
	from := latest(prev.AddDays(1), target.AddDays(-2))
	if !rain.IsZero() {
		from = latest(from, rain.AddDays(1))
	}
	if !done.IsZero() {
		from = latest(from, civil.DateIn(done, p.in.Zone).AddDays(1))
	}
	recount := Task{ID: fmt.Sprintf("recount:%s:%s:%d", o.Bed, o.Pest, n), Kind: Look, Bed: o.Bed, Pest: o.Pest, Text: "Count again", From: from,
		Minutes: 30, Traps: o.Traps, Why: "the count that decides whether another application is needed"}
	if !p.task(recount) {
		return miss("the count that must come before it has no place", civil.Date{}, nil)
	}
	count := p.slots[len(p.slots)-1]
	var days []civil.Date
	for d := target; !d.Before(latest(open, count.Date)); d = d.AddDays(-1) {
		if rain.IsZero() || d == target {
			days = append(days, d)
		}
	}
	for d := target.AddDays(1); !d.After(p.through); d = d.AddDays(1) {
		days = append(days, d)
	}
	s, words, next, look := p.place(o, c, count, days)
	if words != "" {
		p.slots = p.slots[:before]
		return miss(words, next, look)
	}
	s.ID, s.OpenFrom, s.Late = id, open, late || s.Date.After(target)
	if !rain.IsZero() {
		s.If = fmt.Sprintf("if the rain of %s fell and the recount of %s still says act", rain.Short(), p.day(count.Start))
	}
	s.Why = append([]string{why}, s.Why[min(len(s.Why), boolInt(o.Why != "")):]...)
	if s.Late {
		s.Why = append(s.Why, "later than that: the label, the weather or the working hours allow no earlier one")
	}
	if g := groups(c.request.Label); len(g) > 0 {
		if w, _ := generation(o.GenerationDays, s.Date.Sub(prev)); w != "" {
			s.Conditions = append(slices.Clone(s.Conditions), "mode of action: group "+g[0]+" again"+w)
		}
	}
	p.slots = append(p.slots, s)
	return s, true
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}

func latest(a, b civil.Date) civil.Date {
	if a.Before(b) {
		return b
	}
	return a
}

// dayOnly asks of a whole day, with the work left aside that another hour mends.
func (p *planner) dayOnly(r label.Request, d civil.Date) label.Request {
	planned := plantings(r)
	r = p.asked(r, time.Time{}, time.Time{}, "")
	r.Date, r.Work, r.Wet, r.Weather = d, planned, nil, nil
	return r
}

// nextFrom is the first day after one on which the label allows the product
// again; zero when it never does or that is not known.
func (p *planner) nextFrom(r label.Request, prev civil.Date) civil.Date {
	d := prev.AddDays(1)
	if n, ok := r.Label.MinIntervalDays.Get(); ok && n > 1 && r.Label.MinIntervalHours == 0 {
		d = prev.AddDays(n)
	}
	return label.Plan(p.dayOnly(r, latest(d, p.in.Today))).Earliest
}

// again gives the window of the application after this one.
func (p *planner) again(s *Slot) {
	p.slots = append(p.slots, *s)
	s.NextFrom = p.nextFrom(s.request, s.Date)
	p.slots = p.slots[:len(p.slots)-1]
	if n, ok := s.request.Label.ReapplyByDays.Get(); ok {
		s.UsefulTo = s.Date.AddDays(n)
	}
}

var (
	rainWords  = pattern.New(`(?i)\b(rain|rains|rainfall|wet weather|washed)\b`)
	rainAmount = pattern.New(`(?i)(\d+(?:\.\d+)?)\s*(mm|cm|in|inch|inches)\b`)
)

// rainAfter is the first day after an application whose known rain makes the
// label's own words on reapplication hold; zero where the label does not speak
// of rain. A label without a figure takes any rain.
func (p *planner) rainAfter(l farm.Label, prev civil.Date) (civil.Date, float64) {
	words, ok := l.ReapplyWhen.Get()
	if !ok || !rainWords().MatchString(words) {
		return civil.Date{}, 0
	}
	least := 0.0
	if m := rainAmount().FindStringSubmatch(words); m != nil {
		least, _ = strconv.ParseFloat(m[1], 64)
		switch strings.ToLower(m[2]) {
		case "mm":
		case "cm":
			least *= 10
		default:
			least *= 25.4
		}
	}
	for d := prev.AddDays(1); !d.After(p.through); d = d.AddDays(1) {
		if w, ok := p.in.Weather[d]; ok && w.RainMM != nil && *w.RainMM > 0 && *w.RainMM >= least {
			return d, *w.RainMM
		}
	}
	return civil.Date{}, 0
}

// rain says which day of known rain lies in the hours that a spray must stay
// dry. The hour of the rain is not known, so the whole day counts.
func (p *planner) rain(l farm.Label, start, end time.Time) string {
	h, ok := l.RainfastH.Get()
	if !ok || h <= 0 {
		return ""
	}
	dry := end.Add(time.Duration(h * float64(time.Hour)))
	for d := civil.DateIn(start, p.in.Zone); p.at(d, 0).Before(dry); d = d.AddDays(1) {
		if w := p.wet(d); w != "" {
			return fmt.Sprintf("%s, and the label needs %.4g dry hours", w, h)
		}
	}
	return ""
}
