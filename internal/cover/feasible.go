package cover

import (
	"errors"
	"fmt"
	"sort"

	"leafturn/internal/civil"
)

// Kind tells how much a reason weighs.
type Kind string

// The kinds of reason.
const (
	Refused  Kind = "refused"   // a rule forbids it
	Warning  Kind = "warning"   // allowed, but know this
	NotKnown Kind = "not known" // a rule could not be checked
)

// Reason is one finding about an option in a bed.
type Reason struct {
	Rule string // R1 ... R9, or "hardiness"
	Kind Kind
	Text string
}

// String gives the rule, the kind and the text on one line.
func (r Reason) String() string { return fmt.Sprintf("%s %s: %s", r.Rule, r.Kind, r.Text) }

// Sowing is one growth of the crop. Kill is the last day on which to end it.
type Sowing struct{ Sow, Ready, Kill civil.Date }

// Choice is the dates of an option in a bed. Sow is the earliest day that
// fits; Ready the day on which the (last) stand is usable, zero when the days
// are not known; Kill the last day on which to end it; Plant when dahlias
// follow.
type Choice struct {
	Slot                    Slot
	Window                  Window
	Sow, Ready, Kill, Plant civil.Date
	Sowings                 []Sowing
}

// Fit is the answer whether an option can be done in a bed.
type Fit struct {
	OK      bool
	Choice  Choice // meaningful when OK
	Reasons []Reason
}

// Has reports whether there is a reason of a kind.
func (f Fit) Has(k Kind) bool {
	for _, r := range f.Reasons {
		if r.Kind == k {
			return true
		}
	}
	return false
}

const (
	standAfterFrost = 30 // days after first frost by which an autumn stand must be there (R3)
	tenderC         = -4 // a crop killed above this ends at the first frost
)

// Feasible returns whether an option can be done in a bed, the earliest dates
// that fit, and the reasons: what forbids it, what to know, and which rules
// could not be checked.
//
// An autumn sowing needs a usable stand 30 days after the first frost; later
// than that it is taken, for winter crops only, as ground cover with a
// warning. A spring sowing must be usable when it is killed. A rest-year crop
// must be usable by the first frost (30 days later when it is frost hardy),
// all its sowings included. What the farm does not know (soil temperature,
// hardiness zone, past covers) is stated and does not forbid; what the crop's
// row does not know (window, wait, days) leaves no dates, so it does.
func Feasible(o Option, bed Bed, site Site, rules Rules) Fit { return fit(o, bed, site, rules, false) }

// FeasibleAfter is Feasible for a rest-year crop in a bed that carries a cover
// before planting: the bed is free on its planting day only, and its last cover
// is the new one (R6 is then between the two, see Apart).
func FeasibleAfter(o Option, bed Bed, site Site, rules Rules) Fit {
	bed.FreeFrom = bed.PlantBy
	return fit(o, bed, site, rules, true)
}

// Apart reports whether a rest-year crop may not follow a cover in the same bed:
// a family would stand twice running (R6).
func Apart(winter, rest Option) bool {
	for _, f := range winter.families() {
		if contains(rest.families(), f) {
			return true
		}
	}
	return false
}

func fit(o Option, bed Bed, site Site, rules Rules, after bool) Fit {
	if o.Rest && bed.RestFree.After(bed.FreeFrom) {
		bed.FreeFrom = bed.RestFree
	}
	if len(o.Mix) > 0 {
		return fitMix(o, bed, site, rules, after)
	}
	return feasible(o, bed, site, rules, after)
}

// feasible fits an option of one crop; after says that another new cover stands
// before it.
func feasible(o Option, bed Bed, site Site, rules Rules, after bool) Fit {
	c := o.Crop
	f := Fit{}
	if c.LeadDays == nil {
		f.Reasons = append(f.Reasons, Reason{"R4", NotKnown, fmt.Sprintf("the wait between killing %s and planting is not known", c.label())})
		return f
	}
	type try func() (Choice, []Reason, bool)
	var tries []try
	if o.Rest && c.has(Rest) {
		tries = append(tries, func() (Choice, []Reason, bool) { return fitRest(o, bed, site) })
	}
	if !o.Rest && (c.has(Winter) || c.has(EarlyAutumn)) {
		tries = append(tries, func() (Choice, []Reason, bool) { return fitAutumn(c, bed, site) })
	}
	if !o.Rest && c.has(Spring) {
		tries = append(tries, func() (Choice, []Reason, bool) { return fitSpring(c, bed, site) })
	}
	if len(tries) == 0 {
		text := "it has no slot between two dahlia crops"
		if o.Rest {
			text = "it is not a rest-year crop"
		} else if c.has(Alley) {
			text = "it is for permanent alleys, not for beds"
		}
		f.Reasons = append(f.Reasons, Reason{"R2", Refused, text})
		return f
	}
	var failed []Reason
	for _, t := range tries {
		ch, reasons, ok := t()
		if ok {
			f.OK, f.Choice, f.Reasons = true, ch, reasons
			break
		}
		failed = append(failed, reasons...)
	}
	year := bed.FreeFrom.Year
	if f.OK {
		year = f.Choice.Sow.Year
	} else {
		f.Reasons = failed
	}
	f.Reasons = append(f.Reasons, rotation(o, bed, year, rules, after)...)
	f.Reasons = append(f.Reasons, ground(o, bed, site, rules)...)
	f.OK = f.OK && !f.Has(Refused)
	return f
}

// sowWindows returns the crop's windows of the given years that begin at an
// anchor ("" for any), by date, each with its year's first frost.
func sowWindows(c Crop, site Site, from, to int, anchor Frost) ([]Window, []Reason) {
	var out []Window
	for y := from; y <= to; y++ {
		ws, err := SowWindows(c.SowRel, site.LastFrost, site.FirstFrost, y)
		if err != nil {
			why := "its sowing window cannot be read"
			if errors.Is(err, ErrFrost) {
				why = "the farm's frost dates are not known, so neither is the sowing window"
			}
			return nil, []Reason{{"R2", NotKnown, why}}
		}
		for _, w := range ws {
			if anchor == "" || w.Anchor == anchor {
				out = append(out, w)
			}
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].From.Before(out[j].From) })
	return out, nil
}

// start returns the earliest day of a window on which the bed is free and the
// soil is known to be warm enough or not known. The reason says why none is.
func start(c Crop, w Window, bed Bed, site Site) (civil.Date, []Reason, bool) {
	d := w.From
	if d.Before(bed.FreeFrom) {
		d = bed.FreeFrom
	}
	if d.After(w.To) {
		return d, []Reason{{"R2", Refused, fmt.Sprintf("sowing ends %s (%s), the bed is free from %s", day(w.To), w.Text, day(bed.FreeFrom))}}, false
	}
	if c.MinSoilC == nil {
		return d, []Reason{{"R5", NotKnown, "the soil temperature it needs at sowing is not known"}}, true
	}
	for ; !d.After(w.To); d = d.AddDays(1) {
		t := site.SoilC[d.Month-1]
		if t == nil {
			return d, []Reason{{"R5", NotKnown, fmt.Sprintf("soil temperature in %s is not known; measure %s or more before sowing", d.Month, site.Units.Temp(*c.MinSoilC))}}, true
		}
		if *t >= *c.MinSoilC {
			return d, nil, true
		}
	}
	return d, []Reason{{"R5", Refused, fmt.Sprintf("the soil does not reach %s in its window %s to %s", site.Units.Temp(*c.MinSoilC), day(w.From), day(w.To))}}, false
}

// fitAutumn fits a sowing counted from the first frost, killed in spring.
func fitAutumn(c Crop, bed Bed, site Site) (Choice, []Reason, bool) {
	ws, bad := sowWindows(c, site, bed.FreeFrom.Year-1, bed.PlantBy.Year, FF)
	var late, failed []Reason
	for _, w := range ws {
		d, reasons, ok := start(c, w, bed, site)
		if !ok {
			late = reasons // the latest window before the bed is free says it best
			continue
		}
		ch := Choice{Window: w, Sow: d, Kill: bed.PlantBy.AddDays(-*c.LeadDays), Plant: bed.PlantBy}
		if ch.Kill.Before(d) {
			if failed == nil && d.Before(bed.PlantBy) {
				failed = []Reason{tooLate(c, ch)}
			}
			break
		}
		stand := frostOfWindow(site.FirstFrost, w).AddDays(standAfterFrost)
		ch.Slot = Winter
		if c.DaysToUsable == nil {
			if !c.has(Winter) {
				return ch, []Reason{{"R3", NotKnown, "the days it needs to be usable are not known"}}, false
			}
			reasons = append(reasons, Reason{"R3", NotKnown, "the days it needs are not known; count on ground cover only"})
		} else {
			ch.Ready = d.AddDays(*c.DaysToUsable)
			switch inTime := !ch.Ready.After(stand) && !ch.Ready.After(ch.Kill); {
			case inTime && c.has(EarlyAutumn):
				ch.Slot = EarlyAutumn
			case inTime:
			case c.has(Winter):
				reasons = append(reasons, Reason{"R3", Warning, fmt.Sprintf("sown %s it makes no stand by %s: ground cover only, expect half the growth or less", day(d), day(stand))})
			default:
				failed = []Reason{{"R3", Refused, fmt.Sprintf("needs %d days: sown %s at the earliest it is usable %s, too late for a stand by %s", *c.DaysToUsable, day(d), day(ch.Ready), day(stand))}}
				continue
			}
		}
		ch.Sowings = []Sowing{{ch.Sow, ch.Ready, ch.Kill}}
		reasons = append(reasons, hardiness(c, site, ch.Slot)...)
		for _, r := range reasons {
			if r.Kind == Refused {
				return ch, reasons, false
			}
		}
		return ch, reasons, true
	}
	switch {
	case bad != nil:
		return Choice{}, bad, false
	case failed != nil:
		return Choice{}, failed, false
	case late != nil:
		return Choice{}, late, false
	}
	return Choice{}, []Reason{{"R2", Refused, "no autumn sowing window lies between digging and planting"}}, false
}

// fitSpring fits a sowing counted from the last frost, killed before planting.
func fitSpring(c Crop, bed Bed, site Site) (Choice, []Reason, bool) {
	ws, bad := sowWindows(c, site, bed.FreeFrom.Year, bed.PlantBy.Year, LF)
	if bad != nil {
		return Choice{}, bad, false
	}
	if c.DaysToUsable == nil {
		return Choice{}, []Reason{{"R3", NotKnown, "the days it needs to be usable are not known"}}, false
	}
	failed := []Reason{{"R2", Refused, "no spring sowing window lies between digging and planting"}}
	for _, w := range ws {
		d, reasons, ok := start(c, w, bed, site)
		if !ok {
			failed = reasons
			continue
		}
		if !d.Before(bed.PlantBy) {
			break
		}
		ch := Choice{Slot: Spring, Window: w, Sow: d, Ready: d.AddDays(*c.DaysToUsable), Kill: bed.PlantBy.AddDays(-*c.LeadDays), Plant: bed.PlantBy}
		if ch.Ready.After(ch.Kill) {
			failed = []Reason{tooLate(c, ch)}
			continue
		}
		ch.Sowings = []Sowing{{ch.Sow, ch.Ready, ch.Kill}}
		return ch, reasons, true
	}
	return Choice{}, failed, false
}

// fitRest fits one or more sowings in a summer without dahlias.
func fitRest(o Option, bed Bed, site Site) (Choice, []Reason, bool) {
	c := o.Crop
	ws, bad := sowWindows(c, site, bed.PlantBy.Year, bed.PlantBy.Year+1, "")
	if bad != nil {
		return Choice{}, bad, false
	}
	if c.DaysToUsable == nil {
		return Choice{}, []Reason{{"R3", NotKnown, "the days it needs to be usable are not known"}}, false
	}
	if site.FirstFrost.IsZero() {
		return Choice{}, []Reason{{"R3", NotKnown, "the first frost is not known, so neither is the end of its season"}}, false
	}
	plant := bed.lastDay(true)
	passed := []Reason{{"R2", Refused, "no sowing window lies in the rest year"}}
	var failed []Reason // of the first window that the bed is free for
	fail := func(rule, format string, args ...any) {
		if failed == nil {
			failed = []Reason{{rule, Refused, fmt.Sprintf(format, args...)}}
		}
	}
	for _, w := range ws {
		d, reasons, ok := start(c, w, bed, site)
		if !ok {
			passed = reasons
			continue
		}
		if d.After(plant.AddDays(-*c.LeadDays)) {
			break
		}
		ch := Choice{Slot: Rest, Window: w, Sow: d, Plant: plant, Kill: plant.AddDays(-*c.LeadDays)}
		frost := firstFrostFrom(site.FirstFrost, d)
		grown := frost
		switch {
		case c.KillC == nil:
			reasons = append(reasons, Reason{"R3", NotKnown, "what frost it stands is not known; its season is taken to end at the first frost"})
			ch.Kill = earlier(ch.Kill, frost)
		case *c.KillC > tenderC:
			ch.Kill = earlier(ch.Kill, frost)
		default:
			grown = frost.AddDays(standAfterFrost)
		}
		next := d
		for i := 0; i < o.sowings(); i++ {
			ready := next.AddDays(*c.DaysToUsable)
			ch.Sowings = append(ch.Sowings, Sowing{Sow: next, Ready: ready, Kill: ready})
			next = ready.AddDays(*c.LeadDays)
		}
		last := &ch.Sowings[o.sowings()-1]
		last.Kill, ch.Ready = ch.Kill, last.Ready
		switch {
		case last.Sow.After(w.To):
			fail("R2", "sowing %d would fall on %s, sowing ends %s", o.sowings(), day(last.Sow), day(w.To))
			continue
		case last.Ready.After(grown) || last.Ready.After(ch.Kill):
			fail("R3", "needs %d days: usable %s, its season ends %s", *c.DaysToUsable, day(last.Ready), day(earlier(grown, ch.Kill)))
			continue
		}
		return ch, reasons, true
	}
	if failed == nil {
		failed = passed
	}
	return Choice{}, failed, false
}

// tooLate is the reason for a cover that cannot be killed in time.
func tooLate(c Crop, ch Choice) Reason {
	if ch.Ready.IsZero() {
		return Reason{"R4", Refused, fmt.Sprintf("sown %s it cannot be killed %d days before planting on %s", day(ch.Sow), *c.LeadDays, day(ch.Plant))}
	}
	return Reason{"R3", Refused, fmt.Sprintf("needs %d days: sown %s at the earliest it is usable %s, but must be killed by %s to wait %d days before planting on %s",
		*c.DaysToUsable, day(ch.Sow), day(ch.Ready), day(ch.Kill), *c.LeadDays, day(ch.Plant))}
}

// frostOfWindow returns the first autumn frost of the autumn that an
// FF-anchored window belongs to.
func frostOfWindow(ff civil.MonthDay, w Window) civil.Date {
	best := ff.In(w.From.Year)
	for _, y := range []int{w.From.Year - 1, w.From.Year + 1} {
		if d := ff.In(y); abs(d.Sub(w.From)) < abs(best.Sub(w.From)) {
			best = d
		}
	}
	return best
}

// firstFrostFrom returns the first autumn frost on or after d.
func firstFrostFrom(ff civil.MonthDay, d civil.Date) civil.Date {
	if f := ff.In(d.Year); !f.Before(d) {
		return f
	}
	return ff.In(d.Year + 1)
}

func abs(n int) int { return max(n, -n) }

func earlier(a, b civil.Date) civil.Date {
	if a.Before(b) {
		return a
	}
	return b
}

// day writes a date for people.
func day(d civil.Date) string { return d.Time().Format("2 Jan 2006") }
