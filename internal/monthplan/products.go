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
)

// products places one product for each bed and pest, then the applications
// that follow it.
func (p *planner) products() {
	var first []Slot
	for _, o := range p.in.Offers {
		if o.Renews.Label != "" {
			p.renewed(o)
			continue
		}
		if s, ok := p.offer(o); ok {
			first = append(first, s)
		}
	}
	// All beds get their first before any gets a second.
	for _, o := range p.in.Offers {
		for _, s := range first {
			if s.Bed == o.Bed && s.Pest == o.Pest && o.Renews.Label == "" {
				p.renew(o, choice{request: s.request}, s.Date)
			}
		}
	}
}

// choice is a product with what speaks against it.
type choice struct {
	request label.Request
	against []string
	rank    [4]int // what has failed here, harm, mode of action, re-entry
}

// rank orders the products: what is in doubt here last, the least harm first,
// then another mode of action than the last one used here, then the shorter re-entry, then the name.
func (p *planner) rank(o Offer) []choice {
	last := map[string]bool{}
	var when civil.Date
	for _, t := range p.in.History {
		if t.Bed == o.Bed && t.Pest == o.Pest && !t.Date.Before(when) {
			if t.Date.After(when) {
				when, last = t.Date, map[string]bool{}
			}
			if l, ok := p.version(t); ok {
				for _, g := range groups(l) {
					last[g] = true
				}
			}
		}
	}
	var out []choice
	for _, r := range o.Products {
		c := choice{request: r}
		if w := o.Doubt[r.Label.Key]; w != "" {
			c.rank[0] = 1
			c.against = append(c.against, w)
		}
		if b, ok := r.Label.Bees.Get(); ok {
			c.rank[1]++
			c.against = append(c.against, "its label warns of bees: "+b)
		}
		if w, ok := r.Label.SignalWord.Get(); ok && (w == "danger" || w == "warning") {
			c.rank[1] += map[string]int{"warning": 1, "danger": 2}[w]
			c.against = append(c.against, "signal word "+w)
		}
		for _, g := range groups(r.Label) {
			if !last[g] {
				continue
			}
			if w, next := generation(o.GenerationDays, p.in.Today.Sub(when)); w != "" {
				c.against = append(c.against, "the last one here was of the same mode of action, group "+g+w)
				c.rank[2] = max(c.rank[2], next)
			}
		}
		hours, _ := label.REI(r.Label, r.Bed.Site, r.Bed.CropWord())
		c.rank[3] = int(hours * 60)
		if len(c.against) == 0 {
			c.against = append(c.against, fmt.Sprintf("re-entry %.4g hours", hours))
		}
		out = append(out, c)
	}
	slices.SortStableFunc(out, func(a, b choice) int {
		return cmp.Or(slices.Compare(a.rank[:], b.rank[:]), cmp.Compare(a.request.Label.Key, b.request.Label.Key))
	})
	return out
}

// generation says how an application so many days ago bears on rotation: a
// group is not to meet two successive generations, and inside one it may be
// repeated (IRAC, modes of action: sequences and alternations). Generations
// are counted from that application, a common-practice reading. next is 1
// where another group is the better choice.
func generation(days, ago int) (words string, next int) {
	switch {
	case days <= 0:
		return "; the pest's generation time is not known, so nothing is said of rotation", 1
	case ago >= days && ago < 2*days:
		return fmt.Sprintf(", against the generation before (%d days): rotate", days), 1
	}
	return "", 0
}

func groups(l farm.Label) []string {
	var out []string
	for _, a := range l.Actives {
		if g, ok := a.Group.Get(); ok {
			if m, ok := label.MainGroup(g); ok {
				out = append(out, m)
			}
		}
	}
	return out
}

func (p *planner) offer(o Offer) (Slot, bool) {
	u := Unplaced{ID: "product:" + o.Bed + ":" + o.Pest, Bed: o.Bed, Pest: o.Pest, Text: "A product against " + o.Pest}
	refuse := func(why string) (Slot, bool) {
		u.Why = why
		p.miss(u)
		return Slot{}, false
	}
	// The recount stands between the lower steps and any product.
	last, missing := p.lower(o.Bed, o.Pest, Recount)
	for _, c := range p.in.Courses {
		if c.Request.Bed.Code == o.Bed && c.Pest == o.Pest && p.missing[c.ID] {
			missing = "Release of " + c.Request.Agent.Name
		}
	}
	if end, _, chore := p.before(o.Bed, Rogue, Clear); chore != "" {
		missing = chore
	} else if end.After(last) {
		last = end
	}
	if missing != "" {
		return refuse(fmt.Sprintf("a product comes after %q, which has no place yet", missing))
	}
	from := p.in.Today
	if !last.IsZero() {
		from = civil.DateIn(last, p.in.Zone).AddDays(max(o.RecountDays, 1))
	}
	recount := Task{ID: "recount:" + o.Bed + ":" + o.Pest, Kind: Look, Bed: o.Bed, Pest: o.Pest, Text: "Count again", Rung: Recount,
		From: from, Minutes: 30, Traps: o.Traps, Why: "the count that decides whether a product is needed"}
	if !p.task(recount) {
		return refuse("the count that must come before it has no place")
	}
	count := p.slots[len(p.slots)-1]
	var days []civil.Date
	for d := count.Date; !d.After(p.through); d = d.AddDays(1) {
		days = append(days, d)
	}
	var refused []string
	list := p.rank(o)
	for i, c := range list {
		if w := o.Failed[c.request.Label.Key]; w != "" {
			refused = append(refused, c.request.Label.Product+": "+w)
			continue
		}
		s, why, next, look := p.place(o, c, count, days)
		if why != "" {
			refused = append(refused, c.request.Label.Product+": "+why)
			if !next.IsZero() && (u.Next.IsZero() || next.Before(u.Next)) {
				u.Next = next
			}
			for _, l := range look {
				if !slices.Contains(u.LookUp, l) {
					u.LookUp = append(u.LookUp, l)
				}
			}
			continue
		}
		s.Others = append(s.Others, refused...)
		for _, other := range list[i+1:] {
			if w := o.Failed[other.request.Label.Key]; w != "" {
				s.Others = append(s.Others, other.request.Label.Product+": "+w)
				continue
			}
			s.Others = append(s.Others, other.request.Label.Product+": "+join(other.against))
		}
		if len(list) > 1 {
			s.Why = append(s.Why, "chosen of the labels entered: what has not failed here, least harm first, then another mode of action, then the shorter re-entry")
		}
		p.slots = append(p.slots, s)
		return s, true
	}
	return refuse(cmp.Or(join(refused), "no label that lists the pest has been entered"))
}

// asked is a request of a product with the plan as it stands.
func (p *planner) asked(r label.Request, start, end time.Time, skip string) label.Request {
	r.Loc, r.Date = p.in.Zone, civil.DateIn(end, p.in.Zone)
	r.Start, r.End = start, end
	r.History = slices.Clone(p.in.History)
	r.Work = append(slices.Clone(r.Work), p.cutNext[r.Bed.Code]...) // what is planned in the bed besides
	for _, s := range p.slots {
		switch {
		case s.ID == skip:
		case s.Kind == Applying:
			r.History = append(r.History, farm.Treatment{Bed: s.Bed, Part: s.request.Part, Label: s.Label, Pest: s.Pest, Date: s.Date,
				Start: s.Start, End: s.End, EndKnown: true, Amount: s.AmountMax, AreaM2: area(s.request)})
			if s.Bed == r.Bed.Code {
				r.Work = append(r.Work, label.Work{What: s.Text, Date: s.Date, At: s.Start})
			}
		case s.Kind == Watering && slices.Contains(s.Beds, r.Bed.Code):
			r.Wet = append(slices.Clone(r.Wet), s.Start)
			r.Work = append(r.Work, label.Work{What: "watering", Date: s.Date, At: s.Start})
		case s.Bed == r.Bed.Code && s.Kind != Ordering:
			r.Work = append(r.Work, label.Work{What: s.Text, Date: s.Date, At: s.Start, Harvest: s.Kind == Cutting})
		}
	}
	if r.Labels == nil {
		r.Labels = p.in.Labels
	}
	r.Weather = nil
	if w, ok := p.in.Weather[r.Date]; ok {
		r.Weather = &w
	}
	// Whether flowers will be open is noted for today only.
	if b, ok := r.Label.Bees.Get(); ok && b == farm.BeesNotForaging && r.Date.After(p.in.Today) && r.Bloom != label.BloomUnknown && r.Ground != label.BloomUnknown {
		r.Bloom = label.BloomOpen
	}
	r.Sunrise, r.Sunset = time.Time{}, time.Time{}
	if s, ok := p.in.Sun[r.Date]; ok {
		r.Sunrise, r.Sunset = s[0], s[1]
	}
	return r
}

// plantings are the planned plantings of a request: no other hour of a day
// mends what a label keeps from them.
func plantings(r label.Request) []label.Work {
	return slices.DeleteFunc(slices.Clone(r.Work), func(w label.Work) bool { return !w.Plants })
}

func area(r label.Request) float64 {
	if r.AreaM2 == 0 {
		return r.Bed.AreaM2()
	}
	return r.AreaM2
}

// ofTheHour are the refusals that another hour of the day can mend.
var ofTheHour = []string{label.CodeWork, label.CodeClosed, label.CodeForaging, label.CodeSunset, label.CodePHI, label.CodeRainfast}

// place finds the first hour for a product that its label and those of all
// planned products allow, trying the days in their order.
func (p *planner) place(o Offer, c choice, count Slot, days []civil.Date) (s Slot, why string, next civil.Date, look []string) {
	note := func(rules []label.Rule) {
		if why != "" {
			return
		}
		var words []string
		for _, r := range rules {
			words = append(words, r.Words)
			if r.Note != "" {
				look = append(look, "look today, then: "+strings.Replace(r.Note, "BED", c.request.Bed.Code, 1))
			} else if r.Unknown {
				w := r.Field
				if r.Where != "" {
					w += " (on the label: " + r.Where + ")"
				}
				look = append(look, w)
			}
		}
		why = join(words)
	}
	minutes := max(o.Minutes, grid)
	var open civil.Date
	for _, d := range days {
		// What no hour of the day mends is asked once, at the end of the day.
		day := p.asked(c.request, time.Time{}, time.Time{}, "")
		day.Date = d
		day.Weather = nil
		if w, ok := p.in.Weather[d]; ok {
			day.Weather = &w
		}
		day.Work = plantings(c.request)
		dec := label.Plan(day)
		var firm []label.Rule
		for _, r := range dec.Refusals {
			if !slices.Contains(ofTheHour, r.Code) {
				firm = append(firm, r)
			}
		}
		if len(firm) > 0 {
			note(firm)
			if !dec.Earliest.IsZero() && dec.Earliest.After(p.through) {
				next = dec.Earliest
			}
			continue
		}
		if h := p.harm(o.Bed, c.request.Label, d); h != "" {
			note([]label.Rule{{Words: h}})
			continue
		}
		if w := p.wet(d); o.Dry && w != "" {
			note([]label.Rule{{Words: w}})
			continue
		}
		if open.IsZero() || d.Before(open) {
			open = d
		}
		found := p.starts(d, minutes, o.Part, func(start, end time.Time) bool {
			if start.Before(count.End) {
				return false
			}
			if w := p.closed(o.Bed, start, end); w != "" {
				note([]label.Rule{{Words: w}})
				return false
			}
			dec := label.Plan(p.asked(c.request, start, end, ""))
			if !dec.Allowed {
				note(dec.Refusals)
				return false
			}
			if w := p.rain(c.request.Label, start, end); w != "" {
				note([]label.Rule{{Words: w}})
				return false
			}
			s = p.slot(o, c, count, dec, start, end)
			if w := p.upset(s); w != "" {
				note([]label.Rule{{Words: w}})
				return false
			}
			return true
		})
		if found {
			s.OpenFrom = open
			p.again(&s)
			return s, "", civil.Date{}, nil
		}
		note([]label.Rule{{Words: p.hourWords(o.Part, d)}})
	}
	if why == "" {
		why = "its day lies after this plan"
	}
	return Slot{}, why, next, look
}

func (p *planner) slot(o Offer, c choice, count Slot, d label.Decision, start, end time.Time) Slot {
	s := Slot{ID: "product:" + o.Bed + ":" + o.Pest, Kind: Applying, Bed: o.Bed, Pest: o.Pest, Text: c.request.Label.Product, Rung: Product,
		Start: start, End: end, Date: civil.DateIn(end, p.in.Zone), Label: c.request.Label.Key, AmountMin: d.AmountMin, AmountMax: d.AmountMax,
		LeftKnown: d.MaxKnown, Left: max(0, d.Remaining-1), LeftAmount: d.LeftAmount, Conditions: d.Conditions,
		If:      fmt.Sprintf("if the recount of %s still says act", count.Start.In(p.in.Zone).Format("Mon 2 Jan")),
		request: c.request}
	s.OpensAt, _ = d.REIEnd(end)
	// What flowers are open is noted for today only.
	if b, ok := c.request.Label.Bees.Get(); ok && s.Date.After(p.in.Today) {
		s.Conditions = append(slices.Clone(s.Conditions), "look on the day: no flowers open in or beside the bed (the label on bees: "+b+")")
	}
	for _, k := range c.request.Needs() {
		if s.Date.After(p.in.Today) {
			s.Conditions = append(slices.Clone(s.Conditions), "look on the day: "+k.Question)
		}
	}
	if o.Why != "" {
		s.Why = append(s.Why, o.Why)
	}
	s.Why = append(s.Why, fmt.Sprintf("the label allows it on %s, with all that is planned in %s", s.Date.Short(), o.Bed))
	if w := p.partWhy(o.Part, s.Date); w != "" {
		s.Why = append(s.Why, w)
	}
	if b, ok := c.request.Label.Bees.Get(); ok && b != farm.BeesNoBloom {
		s.Why = append(s.Why, "not between sunrise and sunset: the label spares bees ("+b+")")
	}
	return s
}

// upset asks all planned products again with a new one among them, and says
// which of them its label would then refuse.
func (p *planner) upset(s Slot) string {
	p.slots = append(p.slots, s)
	defer func() { p.slots = p.slots[:len(p.slots)-1] }()
	for _, x := range p.slots {
		if x.Kind != Applying || x.ID == s.ID || x.Bed != s.Bed {
			continue
		}
		r := p.asked(x.request, x.Start, x.End, x.ID)
		r.Amount, r.AreaM2 = x.AmountMax, area(x.request)
		if d := label.Plan(r); !d.Allowed {
			return fmt.Sprintf("it would break the plan of %s on %s: %s", x.Text, x.Date.Short(), d.Refusals[0].Words)
		}
	}
	return ""
}
