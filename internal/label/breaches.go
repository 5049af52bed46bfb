package label

import (
	"fmt"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// Breaches returns what an application that took place has broken, in
// sentences that begin with the rule's code, and what could not be judged
// because something is not known. Both are empty for a clean one. The
// treatment is a fact and stays recorded.
func Breaches(t farm.Treatment, r Request) (broke, unjudged []string) {
	for _, rule := range Findings(t, r) {
		switch {
		case !rule.OfLabel():
		case rule.Unknown:
			unjudged = append(unjudged, rule.Words)
		default:
			broke = append(broke, rule.Code+": "+rule.Words)
		}
	}
	return broke, unjudged
}

// Findings returns the rules that an application which took place does not
// meet: those that it broke, those that cannot be judged (Unknown), and those
// that are no breach of the label (see Rule.OfLabel).
//
// The request gives the label, bed, season and the other circumstances; its
// day, hour, part, pest, amount, area and planned work are replaced by those
// of t, the temperature and wind too where t has them, and only treatments
// before t count as history (t itself, found by its record number, is left
// out).
func Findings(t farm.Treatment, r Request) []Rule {
	r.Date, r.Start, r.End = t.Date, time.Time{}, t.End
	if t.EndKnown {
		r.Start = t.Start
	}
	r.Part, r.Pest, r.Amount, r.AreaM2, r.Work, r.Applying = t.Part, t.Pest, t.Amount, t.AreaM2, nil, false
	if t.AirC != nil {
		r.TempC = t.AirC
	}
	if t.WindMS != nil {
		r.WindMS = t.WindMS
	}
	var before []farm.Treatment
	for _, h := range r.History {
		if h.ID != 0 && h.ID == t.ID {
			continue
		}
		later := h.Date.After(t.Date) || h.Date == t.Date && (h.End.After(t.End) || h.End.Equal(t.End) && h.ID > t.ID && t.ID != 0)
		if !later {
			before = append(before, h)
		}
	}
	r.History = before
	r = r.ready()

	var d Decision
	for _, c := range Contradictions(r.Label) {
		d.refuse(Rule{Code: CodeContradiction, Words: "the label as entered contradicts itself: " + c, Unknown: true})
	}
	for _, g := range Check(r.Label) {
		d.unknown(g.Field, g.Where, g.Why)
	}
	r.permission(&d)
	for _, b := range r.timing(t.Date) {
		d.refuse(b.Rule)
	}
	r.amounts(&d, nil)
	r.practice(&d)
	r.looks(&d)
	if t.EndKnown {
		r.bees(&d)
	} else {
		day := r
		day.End = time.Time{}
		day.bees(&d)
	}
	hour := r
	hour.Applying = true // a limit on conditions that nobody wrote down is not judged, and said
	from := len(d.Refusals)
	hour.weather(&d)
	for i := from; i < len(d.Refusals); i++ {
		if rule := &d.Refusals[i]; rule.Unknown && rule.Code == CodeWind {
			rule.Words = "the label limits the wind, and the wind at the application was not written down; not known is not calm"
		} else if rule.Unknown && rule.Code == CodeTemperature {
			rule.Words = "the label limits the temperature, and the temperature at the application was not written down"
		}
	}
	r.place(&d)
	return d.Refusals
}

// LocalEnd turns a date and a clock time ("18:30", "" when only the date is
// known) of the farm into the instant that re-entry counts from.
//
// Without a time it is the end of the day. A time that comes twice when the
// clocks go back is read as the later one. Both add a warning. A time that
// does not exist when the clocks go forward is an error that says which times
// do. All common practice.
func LocalEnd(d civil.Date, hhmm string, loc *time.Location) (end time.Time, warning string, err error) {
	if hhmm == "" {
		return d.AddDays(1).In(loc), "the end time is missing, so re-entry counts from the end of the day", nil
	}
	c, err := time.Parse("15:04", hhmm)
	if err != nil {
		return end, "", fmt.Errorf("%q is not a time of day; write it as 18:30", hhmm)
	}
	wall := func(t time.Time) bool { return civil.DateIn(t, loc) == d && t.In(loc).Format("15:04") == hhmm4(c) }
	guess := time.Date(d.Year, d.Month, d.Day, c.Hour(), c.Minute(), 0, 0, loc)
	// Offsets of zones change by at most a few hours; look both ways for every
	// instant that shows this wall time.
	var found []time.Time
	for m := -180; m <= 180; m += 15 {
		if t := guess.Add(time.Duration(m) * time.Minute); wall(t) {
			found = append(found, t)
		}
	}
	switch len(found) {
	case 0:
		_, off1 := guess.Add(-4 * time.Hour).Zone()
		_, off2 := guess.Add(4 * time.Hour).Zone()
		gap := time.Duration(off2-off1) * time.Second
		return end, "", fmt.Errorf("%s did not exist on %s, because the clocks went forward; enter %s or %s", hhmm, d, c.Add(-gap).Format("15:04"), c.Add(gap).Format("15:04"))
	case 1:
		return found[0], "", nil
	}
	return found[len(found)-1], fmt.Sprintf("%s came twice on %s, because the clocks went back; the later one is taken", hhmm, d), nil
}

func hhmm4(t time.Time) string { return t.Format("15:04") }

// ParseDate reads a date from a label: YYYY-MM-DD only. A date such as
// "03/04/27", which reads two ways, is refused with both readings.
func ParseDate(s string) (civil.Date, error) {
	d, err := civil.Parse(s)
	if err == nil {
		return d, nil
	}
	for _, sep := range []string{"/", "-", "."} {
		us, e1 := time.Parse("01"+sep+"02"+sep+"06", s)
		eu, e2 := time.Parse("02"+sep+"01"+sep+"06", s)
		switch {
		case e1 == nil && e2 == nil && !us.Equal(eu):
			return civil.Date{}, fmt.Errorf("%q can be read two ways; write %s or %s: %w", s, us.Format(civil.Layout), eu.Format(civil.Layout), civil.ErrSyntax)
		case e1 == nil:
			return civil.Date{}, fmt.Errorf("%q: write %s: %w", s, us.Format(civil.Layout), civil.ErrSyntax)
		case e2 == nil:
			return civil.Date{}, fmt.Errorf("%q: write %s: %w", s, eu.Format(civil.Layout), civil.ErrSyntax)
		}
	}
	return civil.Date{}, err
}
