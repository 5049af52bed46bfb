// Package schedule lays dates out: when a product may and should go on again
// under its label, and when natural enemies are ordered, released and looked
// at again.
//
// Every date of a product comes from package label, which can refuse it;
// nothing here loosens a label. Rates, waits and temperature limits are
// arguments: the caller looks them up with their sources.
//
// Not here: vapour-pressure limits of natural enemies, permits for releases,
// the time a predator generation takes, and parcel delivery days. Each has to be looked up by the grower.
package schedule

import (
	"fmt"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/units"
)

// DefaultDays is the length of a bait schedule when none is given.
const DefaultDays = 28

// BaitRequest asks for the applications of a product in the coming days.
type BaitRequest struct {
	Today civil.Date
	Days  int // from Today on; 0 is DefaultDays
	// Beds holds one request per bed; Date, Start, End and Weather are set by
	// the schedule. An Amount that is given is used for every application;
	// without one the schedule reserves the largest the label allows, so that
	// every amount in the range shown keeps within the maxima.
	Beds     []label.Request
	Forecast []farm.WeatherDay // any order
}

// Slot is one planned application.
type Slot struct {
	From    civil.Date // first day the label allows
	Planned civil.Date // the day proposed, in the window From to By
	By      civil.Date // when the application before it is due for renewal; zero when there is none
	Late    bool       // By has passed before a day is allowed

	Number               int // of the period, counting this one
	Left                 int // applications left in the period after it
	LeftKnown            bool
	AmountMin, AmountMax units.Quantity
	REI                  farm.State
	REIHours             float64
	Conditions, Warnings []string
}

// BedPlan is the schedule of one bed.
type BedPlan struct {
	Bed      string
	Slots    []Slot
	Refusals []label.Rule // why there is no slot at all, by the rules of Today
	Next     civil.Date   // then, the first day the label allows; zero when unknown or never
	Max      int
	MaxKnown bool
	Used     int            // applications in the period before Today
	Left     int            // after all slots; 0 when MaxKnown is false
	Amount   units.Quantity // left of the label's maximum per area today; zero when it states none
	Words    string
}

// BaitPlan is the schedule of all beds, in the order of the request.
type BaitPlan struct {
	Beds     []BedPlan
	Through  civil.Date     // last day looked at
	Total    units.Quantity // the most product that all slots need, in one unit
	TotalOdd bool           // true when slots use different units, so there is no total
}

// Bait returns the applications that the label allows in each bed over the
// coming days, with windows, amounts and what is left of the season.
//
// An application is planned on the day when the one before it is due for
// renewal (reapply-by) if that day is allowed, else on the last day before it
// that is, else on the first after it, marked Late. One with none before it
// is planned on the first day allowed, and so is every one whose label gives
// no reapply-by time; then only one is planned, because the next depends on
// what is found in the bed. Each planned application counts as
// made for those after it. A bed with a refusal gets no slot and names the
// rule and the label field.
func Bait(q BaitRequest) BaitPlan {
	n := q.Days
	if n <= 0 {
		n = DefaultDays
	}
	weather := map[civil.Date]farm.WeatherDay{}
	for _, w := range q.Forecast {
		weather[w.Date] = w
	}
	out := BaitPlan{Through: q.Today.AddDays(n - 1)}
	for _, r := range q.Beds {
		b := baitBed(r, q.Today, out.Through, weather)
		for _, s := range b.Slots {
			switch most := slotAmount(r, s); {
			case most.IsZero():
			case out.Total.IsZero() || out.Total.Unit == most.Unit:
				out.Total = units.Quantity{Value: out.Total.Value + most.Value, Unit: most.Unit}
			default:
				out.TotalOdd = true
			}
		}
		out.Beds = append(out.Beds, b)
	}
	if out.TotalOdd {
		out.Total = units.Quantity{}
	}
	return out
}

// slotAmount is what a slot reserves: the proposed amount, else the largest.
func slotAmount(r label.Request, s Slot) units.Quantity {
	if !r.Amount.IsZero() {
		area := r.AreaM2
		if area == 0 {
			area = r.Bed.AreaM2()
		}
		switch r.Amount.Unit.Dimension {
		case units.Mass, units.Volume, units.Count:
			return r.Amount
		}
		if a, err := label.Amount(area, r.Amount, r.SprayVolume); err == nil {
			return a
		}
	}
	return s.AmountMax
}

func baitBed(r label.Request, today, through civil.Date, weather map[civil.Date]farm.WeatherDay) BedPlan {
	r.Start, r.End, r.Applying = time.Time{}, time.Time{}, false
	r.History = append([]farm.Treatment(nil), r.History...)
	plan := func(d civil.Date) label.Decision {
		r.Date, r.Weather = d, nil
		if w, ok := weather[d]; ok {
			r.Weather = &w
		}
		return label.Plan(r)
	}
	first := plan(today)
	b := BedPlan{Bed: r.Bed.Code, Max: first.Max, MaxKnown: first.MaxKnown, Used: first.Used, Left: first.Remaining, Amount: first.LeftAmount}

	for from := today; !from.After(through); {
		// The days this application may go on.
		open := from
		d := plan(open)
		for ; !d.Allowed && !open.After(through); d = plan(open) {
			open = open.AddDays(1)
		}
		if open.After(through) {
			break
		}
		if len(b.Slots) > 0 && d.Due.After(through) {
			break // nothing is due within the schedule
		}
		s := Slot{From: open, Planned: open, By: d.Due, Late: !d.Due.IsZero() && open.After(d.Due)}
		for day := earlier(d.Due, through); day.After(open); day = day.AddDays(-1) {
			if e := plan(day); e.Allowed {
				s.Planned, d = day, e
				break
			}
		}
		s.Number, s.LeftKnown = d.Used+1, d.MaxKnown
		s.Left = max(0, d.Remaining-1)
		s.AmountMin, s.AmountMax = d.AmountMin, d.AmountMax
		s.REI, s.REIHours = d.REI, d.REIHours
		s.Conditions, s.Warnings = d.Conditions, d.Warnings
		b.Slots = append(b.Slots, s)
		if d.MaxKnown {
			b.Left = s.Left
		}
		end := s.Planned.AddDays(1)
		loc := r.Loc
		if loc == nil {
			loc = time.UTC
		}
		area := r.AreaM2
		if area == 0 {
			area = r.Bed.AreaM2()
		}
		r.History = append(r.History, farm.Treatment{Bed: r.Bed.Code, Part: r.Part, Label: r.Label.Key, Pest: r.Pest,
			Date: s.Planned, Start: end.In(loc), End: end.In(loc), Amount: slotAmount(r, s), AreaM2: area})
		if !r.Label.ReapplyByDays.Has() {
			break
		}
		from = s.Planned.AddDays(1)
	}
	b.finish(first, r, through)
	return b
}

func earlier(a, b civil.Date) civil.Date {
	if a.Before(b) {
		return a
	}
	return b
}

func (b *BedPlan) finish(first label.Decision, r label.Request, through civil.Date) {
	if len(b.Slots) == 0 {
		b.Refusals, b.Next = first.Refusals, first.Earliest
		b.Words = fmt.Sprintf("%s: nothing can be scheduled through %s", b.Bed, through)
		if len(b.Refusals) > 0 {
			b.Words += ": " + b.Refusals[0].Words
		}
		return
	}
	s := b.Slots[0]
	b.Words = fmt.Sprintf("%s: first on %s", b.Bed, s.Planned)
	if n := len(b.Slots); n > 1 {
		b.Words += fmt.Sprintf(", %d applications through %s", n, through)
	} else if !r.Label.ReapplyByDays.Has() {
		b.Words += "; the label gives no reapply-by time, so look at the bed before the next one"
	}
	if b.MaxKnown {
		b.Words += fmt.Sprintf("; %d of %d used before, %d left after", b.Used, b.Max, b.Left)
	}
}
