package render

import (
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"leafturn/internal/report"
)

// zoned is how an event's instants are written: in UTC, or as local time of a
// zone that the file defines.
type zoned struct {
	name string         // of the zone, "" for UTC
	loc  *time.Location // nil for UTC
}

// zoneOf says how an event's instants are written. A local time that a clock
// change repeats means its first hour (RFC 5545, section 3.3.5), so an event
// that begins or ends in the second one is written in UTC.
func zoneOf(e report.Event) (zoned, error) {
	if e.AllDay() || e.Zone == "" || e.Zone == "UTC" {
		return zoned{}, nil
	}
	loc, err := time.LoadLocation(e.Zone)
	if err != nil {
		return zoned{}, fmt.Errorf("write calendar: event %q: %w", e.UID, err)
	}
	if repeated(e.Start.In(loc)) || !e.End.IsZero() && repeated(e.End.In(loc)) {
		return zoned{}, nil
	}
	return zoned{e.Zone, loc}, nil
}

// repeated reports whether the clock has shown the same local time before,
// because it was set back.
func repeated(t time.Time) bool {
	_, now := t.Zone()
	_, before := t.Add(-mostSetBack).Zone()
	if before <= now {
		return false
	}
	_, then := t.Add(-time.Duration(before-now) * time.Second).Zone()
	return then == before
}

// mostSetBack is more than any clock is set back by at once.
const mostSetBack = 3 * time.Hour

// instant writes a DATE-TIME property (RFC 5545, section 3.3.5).
func (z zoned) instant(name string, t time.Time) string {
	if z.loc == nil {
		return name + ":" + utcStamp(t)
	}
	return name + ";TZID=" + z.name + ":" + t.In(z.loc).Format(localLayout)
}

const localLayout = "20060102T150405"

// years is the span over which a zone is defined in a file.
type years struct {
	loc      *time.Location
	from, to int
}

// zonesOf lists the zones that the events need, by name, and the years used
// in each.
func zonesOf(events []report.Event) (names []string, spans map[string]years, err error) {
	spans = map[string]years{}
	for _, e := range events {
		z, err := zoneOf(e)
		if err != nil {
			return nil, nil, err
		}
		if z.loc == nil {
			continue
		}
		s, ok := spans[z.name]
		if !ok {
			s = years{z.loc, e.Start.In(z.loc).Year(), e.Start.In(z.loc).Year()}
			names = append(names, z.name)
		}
		for _, t := range []time.Time{e.Start, e.End} {
			if !t.IsZero() {
				s.from, s.to = min(s.from, t.In(z.loc).Year()), max(s.to, t.In(z.loc).Year())
			}
		}
		spans[z.name] = s
	}
	slices.Sort(names)
	return names, spans, nil
}

// observance is a time in which a zone keeps one offset, and its onsets.
type observance struct {
	kind, name string
	from, to   int // seconds east of UTC before and after each onset
	onsets     []string
}

// observances reads from the zone data what is in force at the start of the
// span, and every change up to its end. Onsets are local times by the offset
// that they end (RFC 5545, section 3.6.5). A clock that was not changed in the
// two years before the span counts as never changed.
func observances(s years) []observance {
	var out []observance
	add := func(t time.Time, from int, onset string) {
		name, to := t.Zone()
		o := observance{kind: "STANDARD", name: name, from: from, to: to}
		if t.IsDST() {
			o.kind = "DAYLIGHT"
		}
		i := slices.IndexFunc(out, func(x observance) bool {
			return x.kind == o.kind && x.name == o.name && x.from == o.from && x.to == o.to
		})
		if i < 0 {
			i, out = len(out), append(out, o)
		}
		out[i].onsets = append(out[i].onsets, onset)
	}
	first := time.Date(s.from, 1, 1, 0, 0, 0, 0, s.loc)
	limit := time.Date(s.to+1, 1, 1, 0, 0, 0, 0, s.loc)
	known := changes(time.Date(s.from-2, 1, 1, 0, 0, 0, 0, s.loc), limit)
	if len(known) == 0 || known[0].After(first) {
		_, offset := first.Zone()
		add(first, offset, "19700101T000000")
	}
	for i, t := range known {
		if i+1 < len(known) && !known[i+1].After(first) {
			continue // no longer in force when the span begins
		}
		_, from := t.Add(-time.Second).Zone()
		add(t, from, t.UTC().Add(time.Duration(from)*time.Second).Format(localLayout))
	}
	return out
}

// changes lists the instants after from and before limit at which a zone gets
// another offset or name, by trying day after day: time.Time.ZoneBounds gives
// a false end on the last day of a leap year that the zone data covers by a
// rule only. No zone changes twice within a day.
func changes(from, limit time.Time) []time.Time {
	same := func(a, b time.Time) bool {
		n, x := a.Zone()
		m, y := b.Zone()
		return n == m && x == y && a.IsDST() == b.IsDST()
	}
	var out []time.Time
	for t := from; t.Before(limit); t = t.Add(24 * time.Hour) {
		if same(t, t.Add(24*time.Hour)) {
			continue
		}
		seconds := sort.Search(24*60*60, func(n int) bool { return !same(t, t.Add(time.Duration(n)*time.Second)) })
		if at := t.Add(time.Duration(seconds) * time.Second); at.Before(limit) {
			out = append(out, at)
		}
	}
	return out
}

// zone writes a VTIMEZONE without rules: the first onset is DTSTART, the
// others are RDATEs.
func (c *calendar) zone(name string, s years) {
	c.line("BEGIN:VTIMEZONE")
	c.line("TZID:" + name)
	for _, o := range observances(s) {
		c.line("BEGIN:" + o.kind)
		c.line("DTSTART:" + o.onsets[0])
		if len(o.onsets) > 1 {
			c.line("RDATE:" + strings.Join(o.onsets[1:], ","))
		}
		c.line("TZOFFSETFROM:" + offset(o.from))
		c.line("TZOFFSETTO:" + offset(o.to))
		c.text("TZNAME", o.name)
		c.line("END:" + o.kind)
	}
	c.line("END:VTIMEZONE")
}

// offset writes a UTC-OFFSET (RFC 5545, section 3.3.14); -0000 is not allowed.
func offset(seconds int) string {
	sign := "+"
	if seconds < 0 {
		sign, seconds = "-", -seconds
	}
	out := fmt.Sprintf("%s%02d%02d", sign, seconds/3600, seconds/60%60)
	if s := seconds % 60; s > 0 {
		out += fmt.Sprintf("%02d", s)
	}
	return out
}
