package label

import (
	"fmt"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

func (r Request) interval(d civil.Date) []block {
	n, code, whose := r.Label.MinIntervalDays.Value, CodeInterval, "the label"
	if !r.Label.MinIntervalDays.Has() || r.Label.MinIntervalHours > 0 {
		n = 0
	}
	if r.FarmMinDays > n {
		n, code, whose = r.FarmMinDays, CodeFarmInterval, "the farm's own rule"
	}
	out := r.intervalHours(d)
	if len(out) > 0 {
		return out // the label's goes before the farm's
	}
	for _, t := range r.own() {
		gap := d.Sub(t.Date)
		if max(gap, -gap) >= n {
			continue
		}
		next := t.Date.AddDays(n)
		words := fmt.Sprintf("%s asks for %s between applications; after the one of %s the first day allowed is %s, and %s is %s too early",
			whose, days(n), t.Date, next, d, days(n-gap))
		if gap < 0 {
			words = fmt.Sprintf("%s asks for %s between applications, and one is planned on %s; the first day allowed after it is %s", whose, days(n), t.Date, next)
		}
		if !Located(t.Part) {
			words += fmt.Sprintf("; %q does not say where in the bed, so it counts as the whole bed: write which half or rows", t.Part)
		}
		b := block{Rule{Code: code, Words: words}, next}
		if code == CodeInterval {
			b.Field, b.Where = "minimum retreatment interval", directions
		}
		if len(out) == 0 || b.next.After(out[0].next) {
			out = []block{b}
		}
	}
	return out
}

// spacing is what an interval in hours asks of an application on a day: the
// hour from which it may begin after one before, and by which it must have
// ended before one that is planned later.
type spacing struct {
	of    farm.Treatment
	later bool
	limit time.Time
}

// spacings are those of the other applications of the product, in elapsed
// hours from the end of one to the beginning of the next. Where only the day
// of one is known it may have taken the whole of it.
func (r Request) spacings(d civil.Date) []spacing {
	h := r.Label.MinIntervalHours
	if h <= 0 || !r.Label.MinIntervalDays.Has() {
		return nil
	}
	_, instant := r.startOn(d)
	var out []spacing
	for _, t := range r.own() {
		began := firstOf(t.Start, t.End)
		if !t.EndKnown || t.Start.IsZero() {
			began = t.Date.In(r.loc())
		}
		x := spacing{of: t, later: t.Date.After(d) || instant && t.EndKnown && t.End.After(r.End), limit: t.End.Add(hours(h))}
		if x.later {
			x.limit = began.Add(-hours(h))
		}
		out = append(out, x)
	}
	return out
}

func (r Request) intervalHours(d civil.Date) []block {
	day, next := d.In(r.loc()), d.AddDays(1).In(r.loc())
	start, instant := r.startOn(d)
	var out []block
	for _, x := range r.spacings(d) {
		rule := Rule{Code: CodeInterval, Field: "minimum retreatment interval", Where: directions}
		first := x.of.End.Add(hours(r.Label.MinIntervalHours))
		rule.Words = fmt.Sprintf("the label asks for %.4g hours between applications; after the one that ended %s the next may begin %s", r.Label.MinIntervalHours, clock(x.of.End, r.loc()), clock(first, r.loc()))
		if !x.of.EndKnown {
			rule.Words += " (the hour of the end was not given, so it counts from the end of that day)"
		}
		bad := false
		switch {
		case x.later:
			rule.Words = fmt.Sprintf("the label asks for %.4g hours between applications, and one is planned on %s; this one would have to end by %s", r.Label.MinIntervalHours, x.of.Date, clock(x.limit, r.loc()))
			bad = instant && r.End.After(x.limit) || !instant && !x.limit.After(day)
		case !instant:
			bad = !x.limit.Before(next)
		case r.Start.IsZero() && !x.limit.After(r.End):
			bad, rule.Unknown = x.limit.After(day), true
			rule.Words += "; when this one began is not known"
		default:
			bad = start.Before(x.limit)
		}
		if !bad {
			continue
		}
		b := block{rule, civil.DateIn(first, r.loc())}
		if len(out) == 0 || b.next.After(out[0].next) {
			out = []block{b}
		}
	}
	return out
}

// intervalWhen says from or until which hour of a day an application may go on,
// where no hour is planned yet.
func (r Request) intervalWhen(d *Decision) {
	if _, instant := r.startOn(r.Date); instant {
		return
	}
	day, next := r.Date.In(r.loc()), r.Date.AddDays(1).In(r.loc())
	for _, x := range r.spacings(r.Date) {
		switch {
		case !x.limit.After(day) || !x.limit.Before(next):
		case x.later:
			d.when("end by %s: the label asks for %.4g hours to the one planned on %s", clock(x.limit, r.loc()), r.Label.MinIntervalHours, x.of.Date)
		default:
			d.when("begin no sooner than %s: the label asks for %.4g hours after the one before", clock(x.limit, r.loc()), r.Label.MinIntervalHours)
		}
	}
}

// IntervalWords is the label's shortest time between applications.
func IntervalWords(l farm.Label) (string, bool) {
	n, ok := l.MinIntervalDays.Get()
	switch {
	case !ok:
		return "", false
	case l.MinIntervalHours > 0:
		return fmt.Sprintf("%.4g hours", l.MinIntervalHours), true
	}
	return days(n), true
}
