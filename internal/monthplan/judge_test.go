package monthplan_test

import (
	"fmt"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/monthplan"
)

// use is an application as the slow judge sees it: grams and hours.
type use struct {
	id, bed, part string
	l             farm.Label
	day           civil.Date
	start, end    time.Time
	grams, m2     float64
	planned       bool
	q             label.Request
	conditions    string
}

// judge walks the plan and lists what it breaks. It shares no code with the
// plan or with package label: it goes by days and hours and sums grams.
type judge struct {
	in    monthplan.Input
	plan  monthplan.Plan
	uses  []use
	slots map[string]monthplan.Slot
	found []string
}

func judged(in monthplan.Input, p monthplan.Plan) []string {
	j := &judge{in: in, plan: p, slots: map[string]monthplan.Slot{}}
	for _, t := range in.History {
		j.uses = append(j.uses, use{id: "history", bed: t.Bed, part: t.Part, l: in.Versions[t.ID], day: t.Date, start: t.Start, end: t.End, grams: t.Amount.Value, m2: t.AreaM2})
	}
	for _, s := range p.Slots {
		if _, twice := j.slots[s.ID]; twice {
			j.bad("%s stands twice", s.ID)
		}
		j.slots[s.ID] = s
		if s.Kind == monthplan.Applying {
			j.read(s)
		}
	}
	j.hours()
	j.closed()
	j.later()
	j.chores()
	j.ladder()
	j.repeats()
	j.traps()
	for _, u := range j.uses {
		if u.planned {
			j.permission(u)
			j.weather(u)
			j.bees(u)
			j.counts(u)
			j.apart(u)
			j.actives(u)
		}
	}
	j.enemies()
	return j.found
}

func (j *judge) bad(format string, a ...any) { j.found = append(j.found, fmt.Sprintf(format, a...)) }

// read notes a planned application with the request that it came from.
func (j *judge) read(s monthplan.Slot) {
	for _, o := range j.in.Offers {
		if o.Bed != s.Bed || o.Pest != s.Pest {
			continue
		}
		for _, q := range o.Products {
			if q.Label.Key != s.Label {
				continue
			}
			m2 := 12.0
			if q.Part != "" {
				m2 = 6
			}
			j.uses = append(j.uses, use{id: s.ID, bed: s.Bed, part: q.Part, l: q.Label, day: s.Date, start: s.Start, end: s.End, grams: s.AmountMax.Value, m2: m2,
				planned: true, q: q, conditions: strings.Join(s.Conditions, "|")})
		}
	}
}

// partHours are the hours of a part of the day, looked up anew.
func (j *judge) inPart(part monthplan.Part, start, end time.Time) bool {
	between := func(a, b time.Time) bool { return !start.Before(a) && !end.After(b) }
	d := civil.DateIn(start, j.in.Zone)
	at := func(d civil.Date, h int) time.Time {
		return time.Date(d.Year, d.Month, d.Day, h, 0, 0, 0, j.in.Zone)
	}
	if j.in.Sun == nil {
		switch part {
		case monthplan.Dawn:
			return between(at(d, 5), at(d, 8))
		case monthplan.Morning:
			return between(at(d, 6), at(d, 10))
		case monthplan.Evening:
			return between(at(d, 18), at(d, 21))
		case monthplan.Dark:
			return between(at(d, 22), at(d, 24))
		}
		return part == monthplan.AnyHour
	}
	sun, before, after := j.in.Sun[d], j.in.Sun[d.AddDays(-1)], j.in.Sun[d.AddDays(1)]
	switch part {
	case monthplan.Dawn:
		return between(sun[0].Add(-30*time.Minute), sun[0].Add(2*time.Hour))
	case monthplan.Morning:
		return between(sun[0], at(d, 10))
	case monthplan.Evening:
		return between(sun[1].Add(-2*time.Hour), sun[1].Add(time.Hour))
	case monthplan.Dark:
		return between(sun[1].Add(2*time.Hour), sun[1].Add(3*time.Hour)) || between(before[1].Add(2*time.Hour), before[1].Add(3*time.Hour))
	case monthplan.AfterSunset:
		return between(sun[1], after[0]) || between(before[1], sun[0])
	}
	return true
}

// hours: the plan's days, working hours minute by minute, one person, and the
// part of the day that a job asks for.
func (j *judge) hours() {
	in := j.in
	for i, s := range j.plan.Slots {
		if civil.DateIn(s.Start, in.Zone).Before(in.Today) || civil.DateIn(s.Start, in.Zone).After(in.Today.AddDays(27)) {
			j.bad("%s lies outside the plan", s.ID)
		}
		for t := s.Start; t.Before(s.End); t = t.Add(time.Minute) {
			c := t.In(in.Zone)
			ok := false
			for _, w := range in.Hours[c.Weekday()] {
				if m := c.Hour()*60 + c.Minute(); m >= w.From && m < w.To {
					ok = true
				}
			}
			if !ok {
				j.bad("%s at %s is outside the working hours", s.ID, c)
				break
			}
		}
		if i > 0 && s.Start.Before(j.plan.Slots[i-1].End) {
			j.bad("%s overlaps %s", s.ID, j.plan.Slots[i-1].ID)
		}
		part, dry := monthplan.AnyHour, false
		for _, t := range in.Tasks {
			if t.ID == s.ID || strings.HasPrefix(s.ID, t.ID+":") {
				if part, dry = t.Part, t.Dry; t.ID != s.ID && t.Again != "" {
					part = t.Again
				}
			}
		}
		for _, o := range in.Offers {
			if s.Kind == monthplan.Applying && o.Bed == s.Bed && o.Pest == s.Pest {
				part, dry = o.Part, o.Dry
			}
		}
		if strings.HasPrefix(s.ID, "set:") && j.inPart(monthplan.Evening, s.Start, s.End) {
			part = monthplan.Evening
		}
		if s.Kind == monthplan.Watering {
			part = monthplan.Morning
		}
		if !j.inPart(part, s.Start, s.End) {
			j.bad("%s at %s is not in the %s", s.ID, s.Start.In(in.Zone), part)
		}
		if from, to := in.Usual.From, in.Usual.To; part == monthplan.AnyHour && to > 0 {
			a, b := s.Start.In(in.Zone), s.End.In(in.Zone)
			if a.Hour()*60+a.Minute() < from || b.Hour()*60+b.Minute() > to {
				j.bad("%s at %s is outside the usual hours", s.ID, a)
			}
			if sun, known := in.Sun[s.Date]; known && s.Kind != monthplan.Ordering && (s.Start.Before(sun[0]) || s.End.After(sun[1])) {
				j.bad("%s at %s is in the dark", s.ID, a)
			}
		}
		if dry && j.rained(s.Date) {
			j.bad("%s stands on a wet day", s.ID)
		}
	}
}

func (j *judge) rained(d civil.Date) bool {
	w := j.in.Weather[d]
	return w.RainMM != nil && *w.RainMM > 0
}

// closed: nobody works in a closed bed, nobody cuts too soon.
func (j *judge) closed() {
	for _, s := range j.plan.Slots {
		if s.Kind == monthplan.Ordering {
			continue
		}
		for _, u := range j.uses {
			if u.bed != s.Bed && !contains(s.Beds, u.bed) || u.id == s.ID || !s.Start.After(u.start) {
				continue
			}
			if u.l.REIHours.State == farm.NotRead || s.Start.Sub(u.end).Hours() < u.l.REIHours.Value {
				j.bad("%s at %s in a bed closed by %s that ended %s", s.ID, s.Start, u.l.Key, u.end)
			}
			if s.Kind == monthplan.Cutting && (u.l.PHIDays.State == farm.NotRead || daysBetween(u.day, s.Date) < u.l.PHIDays.Value) {
				j.bad("%s too soon after %s of %s", s.ID, u.l.Key, u.day)
			}
		}
	}
}

// later: nor does a planned product reach the cutting of the week after the plan.
func (j *judge) later() {
	for _, s := range j.plan.Slots {
		for n := 1; s.Kind == monthplan.Applying && n <= 7; n++ {
			d := j.plan.Through.AddDays(n)
			first := 24 * 60
			for _, span := range j.in.Hours[d.Weekday()] {
				if u := j.in.Usual; u != (monthplan.Span{}) {
					span = monthplan.Span{From: max(span.From, u.From), To: min(span.To, u.To)}
				}
				if span.To-span.From >= 30 {
					first = min(first, span.From)
				}
			}
			cut := false
			for _, w := range j.in.Cut[s.Bed] {
				cut = cut || w == d.Weekday()
			}
			if l := j.in.Labels[s.Label]; cut && first < 24*60 && (daysBetween(s.Date, d) < l.PHIDays.Value || time.Date(d.Year, d.Month, d.Day, 0, first, 0, 0, j.in.Zone).Sub(s.End).Hours() < l.REIHours.Value) {
				j.bad("%s of %s reaches the cutting of %s", s.ID, s.Date, d)
			}
		}
	}
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

// chores: sick plants out before cutting, they and mowing before natural
// enemies and products; sick beds are cut last on their day.
func (j *judge) chores() {
	for _, s := range j.plan.Slots {
		for _, t := range j.in.Tasks {
			waits := t.Chore == monthplan.Rogue && (s.Kind == monthplan.Cutting || s.Kind == monthplan.LetOut || s.Kind == monthplan.Applying) ||
				t.Chore == monthplan.Clear && (s.Kind == monthplan.LetOut || s.Kind == monthplan.Applying)
			if t.Bed != s.Bed || t.Standing || !waits {
				continue
			}
			if x, ok := j.slots[t.ID]; !ok || s.Start.Before(x.End) {
				j.bad("%s before the chore %s", s.ID, t.ID)
			}
		}
		for _, x := range j.plan.Slots {
			if s.Kind == monthplan.Cutting && x.Kind == monthplan.Cutting && s.Date == x.Date && j.in.Sick[s.Bed] && !j.in.Sick[x.Bed] && x.Start.After(s.Start) {
				j.bad("%s before %s, which is clean", s.ID, x.ID)
			}
		}
	}
}

func (j *judge) renews(bed, pest string) bool {
	for _, o := range j.in.Offers {
		if o.Bed == bed && o.Pest == pest && o.Renews.Label != "" {
			return true
		}
	}
	return false
}

// ladder: lower steps first, a count before every application, and a second
// one only where the label gives a time or speaks of rain.
func (j *judge) ladder() {
	for _, s := range j.plan.Slots {
		for _, x := range j.plan.Slots {
			first := s.Kind != monthplan.Applying && s.Kind != monthplan.Look || !strings.HasPrefix(s.ID, "product:"+s.Bed+":"+s.Pest+":") && !strings.HasPrefix(s.ID, "recount:"+s.Bed+":"+s.Pest+":")
			if first && x.Bed == s.Bed && x.Pest == s.Pest && x.Rung != 0 && s.Rung > x.Rung && s.Rung > monthplan.Prevention && s.Start.Before(x.End) &&
				!strings.HasPrefix(x.ID, "recount:"+s.Bed+":"+s.Pest+":") {
				j.bad("%s comes before %s", s.ID, x.ID)
			}
		}
		if s.Kind == monthplan.Applying {
			n := strings.TrimPrefix(strings.TrimPrefix(s.ID, "product:"+s.Bed+":"+s.Pest), ":")
			j.counted(s, n)
		}
		if s.Kind == monthplan.LetOut {
			j.parcel(s)
		}
	}
}

func (j *judge) counted(s monthplan.Slot, n string) {
	id, before := "recount:"+s.Bed+":"+s.Pest, "product:"+s.Bed+":"+s.Pest
	if n != "" {
		id += ":" + n
	}
	c, ok := j.slots[id]
	if !ok || s.Start.Before(c.End) || s.If == "" {
		j.bad("%s without a recount before it", s.ID)
	}
	if n == "" {
		for _, t := range j.in.Tasks {
			x, ok := j.slots[t.ID]
			if t.Bed == s.Bed && t.Pest == s.Pest && t.Rung != 0 && !t.Standing && (t.With == "" || ok) && (!ok || s.Start.Before(x.End)) {
				j.bad("%s before the lower step %s", s.ID, t.ID)
			}
		}
		return
	}
	k := 0
	fmt.Sscan(n, &k)
	if k > 2 {
		before += fmt.Sprintf(":%d", k-1)
	}
	prev, ok := j.slots[before]
	if !ok && !(k == 2 && j.renews(s.Bed, s.Pest)) {
		j.bad("%s follows nothing", s.ID)
	}
	if ok && !c.Start.After(prev.End) {
		j.bad("%s is counted for before the application before it", s.ID)
	}
	for _, u := range j.uses {
		if u.id != s.ID {
			continue
		}
		after, said := u.l.ReapplyWhen.Get()
		rain := said && strings.Contains(after, "rain")
		if !u.l.ReapplyByDays.Has() && !rain {
			j.bad("%s again, and the label gives no reason", s.ID)
		}
		if strings.Contains(s.If, "the rain of") {
			wet := false
			for d := u.day.AddDays(-28); d.Before(u.day); d = d.AddDays(1) {
				wet = wet || j.rained(d)
			}
			if !wet || !rain {
				j.bad("%s after rain that the label or the sky does not know", s.ID)
			}
		}
	}
}

func (j *judge) parcel(s monthplan.Slot) {
	o, ok := j.slots[s.ID+":order"]
	if !ok {
		return
	}
	for _, c := range j.in.Courses {
		if c.Request.Bed.Code == s.Bed && daysBetween(o.Date, s.Date) < c.Request.Agent.LeadDays {
			j.bad("%s arrives before it can", s.ID)
		}
	}
	if w := s.Date.Weekday(); w == time.Saturday || w == time.Sunday {
		j.bad("%s arrives at a weekend", s.ID)
	}
	if w := j.in.Weather[s.Date]; w.MaxC != nil && *w.MaxC > 32 {
		j.bad("%s arrives in the heat", s.ID)
	}
}

// repeats: at their distance, not more often than told.
func (j *judge) repeats() {
	for _, t := range j.in.Tasks {
		last, n := civil.Date{}, 0
		for _, s := range j.plan.Slots {
			if s.ID != t.ID && !strings.HasPrefix(s.ID, t.ID+":") {
				continue
			}
			for _, x := range j.plan.Slots {
				if t.Washes && x.Kind == monthplan.LetOut && x.Bed == t.Bed && !s.Start.Before(x.Start) {
					j.bad("%s washes %s off", s.ID, x.ID)
				}
			}
			if n++; n > 1 && (t.Every == 0 || daysBetween(last, s.Date) < t.Every) {
				j.bad("%s again too soon", s.ID)
			}
			last = s.Date
		}
		if t.Times > 0 && n > t.Times {
			j.bad("%s %d times", t.ID, n)
		}
	}
}

// traps: what a count reads was set so many nights before, in the same bed.
func (j *judge) traps() {
	stand := map[string]int{}
	for _, t := range j.in.Tasks {
		stand[t.ID] = t.Traps.Nights
	}
	for _, s := range j.plan.Slots {
		n := stand[s.ID]
		for _, o := range j.in.Offers {
			if strings.HasPrefix(s.ID, "recount:"+o.Bed+":"+o.Pest) {
				n = o.Traps.Nights
			}
		}
		if x, ok := j.slots["set:"+s.ID]; n > 0 && (!ok || x.Bed != s.Bed || daysBetween(x.Date, s.Date) != n) {
			j.bad("%s reads traps that were not set %d nights before", s.ID, n)
		} else if n == 0 && ok {
			j.bad("%s needs no traps", s.ID)
		}
	}
}

// permission: no blank, the site, the pest, the expiry, the class, the order
// of practices, the rate, water and animals.
func (j *judge) permission(u use) {
	l := u.l
	if l.REIHours.State == farm.NotRead || l.MinIntervalDays.State == farm.NotRead || l.PHIDays.State == farm.NotRead || l.RainfastH.State == farm.NotRead {
		j.bad("%s has a blank and is planned", l.Key)
	}
	if l.Expiry.Has() && u.day.After(l.Expiry.Value) {
		j.bad("%s is past its expiry", l.Key)
	}
	if l.UseClass.Value == "restricted" {
		j.bad("%s is restricted", l.Key)
	}
	if l.Sites[0].Where != farm.Outdoor || !contains(l.Pests, u.q.Pest) {
		j.bad("%s does not list the place or the pest", l.Key)
	}
	if u.q.Organic && (!u.q.Practice || !strings.HasPrefix(l.Organic.Value, "listed by")) {
		j.bad("%s on an organic farm", l.Key)
	}
	if u.grams > 5*u.m2+0.001 {
		j.bad("%s: %g g is more than the rate", l.Key, u.grams)
	}
	if l.WaterBuffer.Has() && (u.q.WaterM != nil && *u.q.WaterM < l.WaterBuffer.Value || u.q.WaterM == nil && !strings.Contains(u.conditions, "water")) {
		j.bad("%s beside water", l.Key)
	}
	for _, w := range u.q.Work {
		if w.Date.After(u.day) && (l.PlantBack.State == "" || l.PlantBack.Has() && daysBetween(u.day, w.Date) < l.PlantBack.Value) {
			j.bad("%s on %s and %s on %s", l.Key, u.day, w.What, w.Date)
		}
	}
	if l.Animals.Has() && (len(u.q.Animals) > 0 || !strings.Contains(u.conditions, "animals")) {
		j.bad("%s where animals come", l.Key)
	}
}

// weather: temperature of the day, wind said, dry hours kept from rain and
// watering.
func (j *judge) weather(u use) {
	w, l := j.in.Weather[u.day], u.l
	if l.MaxTempC.Has() && w.MaxC != nil && *w.MaxC > l.MaxTempC.Value || l.MinTempC.Has() && w.MaxC != nil && *w.MaxC < l.MinTempC.Value {
		j.bad("%s at %g °C", l.Key, *w.MaxC)
	}
	if (l.MaxTempC.Has() || l.MinTempC.Has()) && w.MaxC == nil && !strings.Contains(u.conditions, "°C") {
		j.bad("%s says nothing of the temperature", l.Key)
	}
	if l.MaxWindMS.Has() && !strings.Contains(u.conditions, "wind") {
		j.bad("%s says nothing of the wind", l.Key)
	}
	if !l.RainfastH.Has() || l.RainfastH.Value == 0 {
		return
	}
	for t := u.start; t.Before(u.end.Add(time.Duration(l.RainfastH.Value * float64(time.Hour)))); t = t.Add(5 * time.Minute) {
		if j.rained(civil.DateIn(t, j.in.Zone)) {
			j.bad("%s is rained off at %s", l.Key, t)
			return
		}
		for _, s := range j.plan.Slots {
			if s.Kind == monthplan.Watering && contains(s.Beds, u.bed) && !t.Before(s.Start) && t.Before(s.End) && !s.Start.Before(u.start) {
				j.bad("%s is watered off by %s", l.Key, s.ID)
				return
			}
		}
	}
}

func (j *judge) bees(u use) {
	rule, ok := u.l.Bees.Get()
	if !ok {
		return
	}
	open := u.q.Bloom == label.BloomOpen || u.q.Ground == label.BloomOpen
	unknown := u.q.Bloom == label.BloomUnknown || u.q.Ground == label.BloomUnknown
	later := u.day.After(j.in.Today) // what flowers then, nobody knows
	switch {
	case rule == farm.BeesNoBloom && (open || unknown):
		j.bad("%s in bloom", u.l.Key)
	case rule == farm.BeesNoBloom && later && !strings.Contains(u.conditions, "no flowers open"):
		j.bad("%s does not say to look for flowers", u.l.Key)
	case rule == farm.BeesNotForaging && !open && unknown:
		j.bad("%s and nobody looked", u.l.Key)
	case rule == farm.BeesAfterSunset, rule == farm.BeesNotForaging && (open || later):
		sun, known := j.in.Sun[u.day]
		if !known || u.start.Before(sun[1]) && u.end.After(sun[0]) {
			j.bad("%s at %s, with bees about", u.l.Key, u.start)
		}
	}
}

// shared are the uses on common ground with one, itself among them.
func (j *judge) shared(u use) []use {
	var out []use
	for _, v := range j.uses {
		if v.bed == u.bed && (v.part == "" || u.part == "" || v.part == u.part) {
			out = append(out, v)
		}
	}
	return out
}

func daysApart(a, b civil.Date) int { return max(daysBetween(a, b), daysBetween(b, a)) }

// periods tells for each period of a label's maxima that holds the day of a
// use which days lie in it.
func (j *judge) periods(per string, u use) (out []func(civil.Date) bool) {
	if per == farm.PerYear || per == farm.PerCalendarYear {
		out = append(out, func(d civil.Date) bool { return d.Year == u.day.Year })
	}
	switch per {
	case farm.PerCalendarYear:
	case farm.PerYear, farm.PerTwelveMonths:
		for _, v := range j.shared(u) {
			last := civil.New(v.day.Year+1, v.day.Month, v.day.Day)
			if !u.day.Before(v.day) && u.day.Before(last) {
				out = append(out, func(d civil.Date) bool { return !d.Before(v.day) && d.Before(last) })
			}
		}
	case farm.PerCropCycle:
		out = append(out, func(d civil.Date) bool { return !d.Before(u.q.CycleStart) })
	default:
		s := u.q.Season
		out = append(out, func(d civil.Date) bool { return !d.Before(s.From) && !d.After(s.To) })
	}
	return out
}

func limited(l farm.Label) bool {
	for _, a := range l.Actives {
		if a.Max.Has() {
			return true
		}
	}
	return l.MaxApplications.Has() || l.MaxAmount.Has()
}

// counts: interval, rolling window, applications and product per period.
func (j *judge) counts(u use) {
	l, ground := u.l, j.shared(u)
	if s := u.q.Season; limited(l) && l.MaxPer == farm.PerSeason && (u.day.Before(s.From) || u.day.After(s.To)) {
		j.bad("%s outside its season", l.Key)
	}
	for _, v := range ground {
		least := max(l.MinIntervalDays.Value, u.q.FarmMinDays)
		if l.MinIntervalHours > 0 {
			least = u.q.FarmMinDays
		}
		if v.l.Key != l.Key || v.id+v.day.String() == u.id+u.day.String() {
			continue
		}
		if daysApart(u.day, v.day) < least {
			j.bad("%s again after %d days in %s", l.Key, daysApart(u.day, v.day), u.bed)
		}
		if gap := max(u.start.Sub(v.end), v.start.Sub(u.end)); gap.Hours() < l.MinIntervalHours {
			j.bad("%s again after %s in %s", l.Key, gap, u.bed)
		}
	}
	if w, ok := l.MaxInWindow.Get(); ok {
		for first := u.day.AddDays(1 - w.Days); !first.After(u.day); first = first.AddDays(1) {
			n := 0
			for _, v := range ground {
				if v.l.Key == l.Key && !v.day.Before(first) && daysBetween(first, v.day) < w.Days {
					n++
				}
			}
			if n > w.Count {
				j.bad("%s: %d in %d days", l.Key, n, w.Days)
				break
			}
		}
	}
	for _, holds := range j.periods(l.MaxPer, u) {
		n, product := 0, 0.0
		for _, v := range ground {
			if v.l.Key == l.Key && holds(v.day) {
				n++
				product += v.grams / v.m2
			}
		}
		if l.MaxApplications.Has() && n > l.MaxApplications.Value {
			j.bad("%s: %d of %d applications in %s", l.Key, n, l.MaxApplications.Value, u.bed)
		}
		if l.MaxAmount.Has() && product > l.MaxAmount.Value.Value+1e-6 {
			j.bad("%s: %g g/m2 of product, at most %g", l.Key, product, l.MaxAmount.Value.Value)
		}
	}
}

// apart: materials that a label, or else a table, keeps apart.
func (j *judge) apart(u use) {
	holds := func(l farm.Label, active string) bool {
		for _, a := range l.Actives {
			if a.Name == active {
				return true
			}
		}
		return false
	}
	for _, v := range j.shared(u) {
		if v.l.Key == u.l.Key {
			continue
		}
		said, gap := false, daysApart(u.day, v.day)
		for _, side := range [][2]farm.Label{{u.l, v.l}, {v.l, u.l}} {
			for _, k := range side[0].KeepApart {
				if holds(side[1], k.Active) {
					said = true
					if gap < k.Days {
						j.bad("%s and %s are %d days apart", u.l.Key, v.l.Key, gap)
					}
				}
			}
		}
		if !said && (holds(u.l, "alpha") && holds(v.l, "gamma") || holds(u.l, "gamma") && holds(v.l, "alpha")) && gap < 10 {
			j.bad("%s and %s are %d days apart, against the table", u.l.Key, v.l.Key, gap)
		}
	}
}

// actives: the maxima of an active, over all products that hold it, by the
// label itself and by those used on the ground.
func (j *judge) actives(u use) {
	ground := j.shared(u)
	for _, a := range u.l.Actives {
		for _, by := range ground {
			for _, b := range by.l.Actives {
				most, ok := b.Max.Get()
				if b.Name != a.Name || !ok {
					continue
				}
				for _, holds := range j.periods(by.l.MaxPer, u) {
					if !holds(by.day) {
						continue
					}
					sum := 0.0
					for _, v := range ground {
						for _, c := range v.l.Actives {
							if c.Name == a.Name && holds(v.day) {
								sum += v.grams / v.m2 * c.Percent / 100
							}
						}
					}
					if sum > most.Value+1e-6 {
						j.bad("%s: %g g/m2 of %s, at most %g by %s", u.l.Key, sum, a.Name, most.Value, by.l.Key)
					}
				}
			}
		}
	}
}

// enemies: no residue under what is let out, nothing harmful on it after.
func (j *judge) enemies() {
	type let struct {
		id, bed string
		day     civil.Date
	}
	var lets []let
	for _, r := range j.in.Released {
		lets = append(lets, let{"", r.Bed, r.Date})
	}
	for _, s := range j.plan.Slots {
		if s.Kind == monthplan.LetOut {
			lets = append(lets, let{s.ID, s.Bed, s.Date})
		}
	}
	for _, u := range j.uses {
		for _, a := range u.l.Actives {
			w, known := 0, false
			if j.in.Wait != nil {
				w, known = j.in.Wait(a.Name, "mite_eater")
			}
			for _, x := range lets {
				if u.bed != x.bed {
					continue
				}
				if !u.planned && x.id != "" && (!known || daysBetween(u.day, x.day) < w) {
					j.bad("%s on a residue of %s", x.id, a.Name)
				}
				if after := daysBetween(x.day, u.day); u.planned && after <= 35 && (!known || w > 0 && -after < w) {
					j.bad("%s of %s harms what was let out on %s", u.l.Key, u.day, x.day)
				}
			}
		}
	}
}

func daysBetween(a, b civil.Date) int {
	n := 0
	for ; a.Before(b); a = a.AddDays(1) {
		n++
	}
	for ; b.Before(a); b = b.AddDays(1) {
		n--
	}
	return n
}
