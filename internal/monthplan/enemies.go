package monthplan

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/schedule"
)

// courses places orders, let-outs and the looks that follow.
func (p *planner) courses() {
	for _, c := range p.in.Courses {
		p.course(c)
	}
}

func (p *planner) course(c Course) {
	q := c.Request
	bed, name := q.Bed.Code, q.Agent.Name
	u := Unplaced{ID: c.ID, Bed: bed, Pest: c.Pest, Text: "Release of " + name}
	last, missing := p.lower(bed, c.Pest, Biological)
	if end, _, chore := p.before(bed, Rogue, Clear); chore != "" {
		missing = chore
	} else if end.After(last) {
		last = end
	}
	if missing != "" {
		u.Why = fmt.Sprintf("it comes after %q, which has no place", missing)
		p.miss(u)
		return
	}
	for _, t := range p.in.Tasks {
		if i := slices.IndexFunc(p.slots, func(s Slot) bool { return s.ID == t.ID }); t.Washes && t.Bed == bed && i >= 0 && p.slots[i].End.After(last) {
			last = p.slots[i].End // whatever pest it is against
		}
	}
	q.Today = p.in.Today
	first := p.in.Today.AddDays(max(q.Agent.LeadDays, 0))
	if !c.Ordered.IsZero() { // the parcel comes so many days after the order
		first = c.Ordered.AddDays(max(q.Agent.LeadDays, 0))
		q.Today = c.Ordered
	}
	if q.From.After(first) {
		first = q.From
	}
	if first.Before(p.in.Today) {
		first = p.in.Today
	}
	want := first
	for n := range max(q.Agent.Releases, 1) {
		why := ""
		placed := false
		for d := want; !d.After(p.through) && !placed; d = d.AddDays(1) {
			if w := p.arrival(d, c.Ordered.IsZero() || n > 0); w != "" {
				why = w
				continue
			}
			q.From = d
			plan := schedule.Release(q)
			if len(plan.Refusals) > 0 {
				u.Why = plan.Refusals[0].Words
				for _, r := range plan.Refusals {
					if r.LookUp != "" {
						u.LookUp = append(u.LookUp, r.LookUp)
					}
				}
				p.miss(u)
				return
			}
			if plan.Release != d {
				u.Next = plan.Release
				if len(plan.Warnings) > 0 {
					why = plan.Warnings[len(plan.Warnings)-1]
				}
				continue
			}
			placed = p.letOut(c, n, d, plan, last, &why)
			if placed {
				want = d.AddDays(max(q.Agent.IntervalDays, 1))
			}
		}
		if !placed {
			u.ID = fmt.Sprintf("%s:%d", c.ID, n+1)
			u.Why = why
			if want.After(p.through) {
				u.Why, u.Next = "its day lies after this plan", want
			}
			if n == 0 {
				p.missing[c.ID] = true
			}
			p.miss(u)
			return
		}
	}
}

// arrival says why no parcel is to come on a day, "" when it may.
func (p *planner) arrival(d civil.Date, parcel bool) string {
	if !parcel {
		return ""
	}
	w, ok := p.in.Weather[d]
	if !ok {
		w.Date = d
	}
	return schedule.ParcelDay(w, p.in.Units)
}

// letOut places one release with its order and its looks, all or nothing.
func (p *planner) letOut(c Course, n int, d civil.Date, plan schedule.ReleasePlan, last time.Time, why *string) bool {
	bed, a := c.Request.Bed.Code, c.Request.Agent
	id := fmt.Sprintf("%s:%d", c.ID, n+1)
	var out Slot
	// The evening is best for them, so the last hour that fits is taken.
	p.starts(d, 15, c.Part, func(start, end time.Time) bool {
		if w := p.closed(bed, start, end); w != "" {
			*why = w
			return false
		}
		if !start.Before(last) {
			out = Slot{ID: id, Kind: LetOut, Bed: bed, Pest: c.Pest, Text: "Let out " + a.Name, Rung: Biological, Start: start, End: end, Date: d,
				Agent: c.Agent, Count: plan.Count}
		}
		return false
	})
	if out.ID == "" {
		if *why == "" {
			*why = p.hourWords(c.Part, d)
		}
		return false
	}
	if c.Why != "" {
		out.Why = append(out.Why, c.Why)
	}
	out.Why = append(out.Why, "on the day the parcel comes, as late in the day as the working hours go")
	if w := p.partWhy(c.Part, d); w != "" {
		out.Why = append(out.Why, w)
	}
	weather, daylight := plan.Unknown()
	if weather {
		out.Why = append(out.Why, "the weather is not known so far ahead: look at the forecast first")
	}
	if daylight != "" {
		out.Why = append(out.Why, daylight)
	}
	if c.Ordered.IsZero() || n > 0 {
		order, ok := p.order(c, id, d, out.Start)
		if !ok {
			*why = fmt.Sprintf("no working hour to order %d days before", a.LeadDays)
			return false
		}
		p.slots = append(p.slots, order)
	} else {
		out.Why = append(out.Why, "ordered on "+c.Ordered.Short())
	}
	p.slots = append(p.slots, out)
	for _, k := range a.CheckDays {
		day := d.AddDays(max(k, 1))
		if day.After(p.through) {
			continue
		}
		t := Task{ID: fmt.Sprintf("%s:look:%d", id, k), Kind: Look, Bed: bed, Pest: c.Pest, Text: "Look whether " + a.Name + " has settled",
			From: day, By: day.AddDays(2), Minutes: 20, Why: fmt.Sprintf("%d days after those of %s were let out", k, d.Short())}
		i := slices.IndexFunc(p.slots, func(s Slot) bool {
			return s.Kind == Look && s.Bed == t.Bed && s.Text == t.Text && !s.Date.Before(t.From) && !s.Date.After(t.By)
		})
		if i >= 0 { // one look tells of both
			p.slots[i].Why = append(slices.Clone(p.slots[i].Why), t.Why)
			continue
		}
		p.task(t)
	}
	return true
}

// order places the call to the seller on the last working day that leaves the
// seller its time.
func (p *planner) order(c Course, id string, delivery civil.Date, before time.Time) (Slot, bool) {
	a := c.Request.Agent
	for d := delivery.AddDays(-max(a.LeadDays, 0)); !d.Before(p.in.Today); d = d.AddDays(-1) {
		var s Slot
		if p.starts(d, deskTime, atDesk, func(start, end time.Time) bool {
			if end.After(before) {
				return false
			}
			s = Slot{ID: id + ":order", Kind: Ordering, Bed: c.Request.Bed.Code, Pest: c.Pest, Text: "Order " + a.Name, Start: start, End: end, Date: d,
				For: delivery, Agent: c.Agent,
				Why: []string{fmt.Sprintf("delivery on %s, %d days after at the soonest", delivery.Short(), a.LeadDays)}}
			return true
		}) {
			return s, true
		}
	}
	return Slot{}, false
}

// harm says which natural enemies, let out or to be let out in the bed, a
// product of a day would harm; an effect that is not known counts as harm.
func (p *planner) harm(bed string, l farm.Label, on civil.Date) string {
	type seen struct {
		agent string
		date  civil.Date
	}
	var out []seen
	for _, r := range p.in.Released {
		if r.Bed == bed {
			out = append(out, seen{r.Agent, r.Date})
		}
	}
	for _, s := range p.slots {
		if s.Kind == LetOut && s.Bed == bed {
			out = append(out, seen{s.Agent, s.Date})
		}
	}
	for _, r := range out {
		if on.Sub(r.date) > schedule.CountedOn {
			continue
		}
		for _, x := range l.Actives {
			days, known := 0, false
			if p.in.Wait != nil {
				days, known = p.in.Wait(x.Name, r.agent)
			}
			switch {
			case !known:
				return fmt.Sprintf("what %s does to %s of %s is not known", x.Name, cmp.Or(p.in.Agents[r.agent], r.agent), r.date.Short())
			case days > 0 && r.date.Sub(on) < days:
				return fmt.Sprintf("%s would harm %s of %s", x.Name, cmp.Or(p.in.Agents[r.agent], r.agent), r.date.Short())
			}
		}
	}
	return ""
}
