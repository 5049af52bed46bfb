// Package agenda tells a calendar what has changed since it was last given a
// file: which entries are new, which have changed, and which are to be
// cancelled (RFC 5545, sections 3.8.7.4 and 3.8.1.11).
//
// Everything is computed from the arguments. Not here: what belongs into the
// calendar, how it is written, and where the ledger is kept.
package agenda

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/report"
)

// KeepCancelled is how many days a cancelled entry stays in later files, for a
// calendar that has missed one. Common practice.
const KeepCancelled = 30

// reuseDays is how many days after its last day an entry that was never
// cancelled still stands for the same need. Common practice.
const reuseDays = 7

// entry is what the ledger keeps of an event.
type entry struct {
	Base  string       `json:"base"` // what it is about, such as "order:mite:release:A1"
	Event report.Event `json:"event"`
}

// last is the last day of the event at the farm.
func (e entry) last(loc *time.Location) civil.Date {
	switch {
	case !e.Event.Last.IsZero():
		return e.Event.Last
	case !e.Event.First.IsZero():
		return e.Event.First
	case !e.Event.End.IsZero():
		return civil.DateIn(e.Event.End, loc)
	}
	return civil.DateIn(e.Event.Start, loc)
}

// Merge returns the events for the next file and what the ledger is to hold
// of those that changed. The UID of an event given in now is its base: what it
// is about. From it and the day on which it is first asked for comes the UID
// that stays, also when a bed comes to the work or leaves it; farmUID names the
// farm and never changes.
//
// An event that is as it was keeps its sequence and the time of its last
// change, so that its lines stay the same byte for byte. A new one has changed
// when its day began; one that changed or came back gets at as that time, and
// the next sequence. One that is
// no longer asked for before its day has passed is cancelled once, and stays
// in the files so for KeepCancelled days.
//
// Errors: a ledger that cannot be read.
func Merge(ledger []farm.CalendarEntry, now []report.Event, farmUID string, today civil.Date, loc *time.Location, at time.Time) (events []report.Event, changed []farm.CalendarEntry, err error) {
	at = at.UTC().Truncate(time.Second)
	old := make([]entry, len(ledger))
	for i, l := range ledger {
		if err := json.Unmarshal(l.Entry, &old[i]); err != nil {
			return nil, nil, fmt.Errorf("calendar entry %q: %w", l.UID, err)
		}
	}
	used := map[string]bool{}
	for k, i := range pair(ledger, old, now, today, loc) {
		e := now[k]
		base := e.UID
		e.Status = report.Confirmed
		if i < 0 {
			e.UID, e.Sequence, e.Revised = unique(base, today, farmUID, ledger, used), 0, today.In(loc).UTC()
		} else {
			e.UID, e.Sequence, e.Revised = ledger[i].UID, ledger[i].Sequence, ledger[i].Revised
			// What has begun stays begun: a span does not move along with today.
			if was := old[i].Event.First; !was.IsZero() && e.AllDay() && was.Before(e.First) && !e.First.After(today) && !ledger[i].Cancelled {
				if e.Last.IsZero() {
					e.Last = e.First
				}
				e.First = was
			}
			if ledger[i].Cancelled || !same(old[i].Event, e) {
				e.Sequence, e.Revised = e.Sequence+1, at
			}
		}
		used[e.UID] = true
		events = append(events, e)
		// The base follows the beds, so that the next list finds the entry again.
		if i < 0 || e.Sequence != ledger[i].Sequence || base != old[i].Base {
			c, err := record(base, e, false)
			if err != nil {
				return nil, nil, err
			}
			changed = append(changed, c)
		}
	}
	for i, l := range ledger {
		e := old[i].Event
		switch {
		case used[l.UID]:
			continue
		case l.Cancelled:
			if today.Sub(civil.DateIn(l.Revised, loc)) > KeepCancelled {
				continue
			}
			e.Sequence, e.Revised = l.Sequence, l.Revised
		case old[i].last(loc).Before(today):
			continue // its day has passed: it stays as it was
		default:
			e.Sequence, e.Revised = l.Sequence+1, at
		}
		e.UID, e.Status, e.Alarms = l.UID, report.Cancelled, nil
		events = append(events, e)
		if !l.Cancelled {
			c, err := record(old[i].Base, e, true)
			if err != nil {
				return nil, nil, err
			}
			changed = append(changed, c)
		}
	}
	return events, changed, nil
}

// pair finds for each event the ledger's entry about the same, -1 where there
// is none: first the one with the very same base, then, where beds have come or
// gone, the live one about the same work that shares most of its beds.
func pair(ledger []farm.CalendarEntry, old []entry, now []report.Event, today civil.Date, loc *time.Location) []int {
	out := make([]int, len(now))
	taken := map[int]bool{}
	live := func(i int) bool {
		if ledger[i].Cancelled {
			return today.Sub(civil.DateIn(ledger[i].Revised, loc)) <= KeepCancelled
		}
		return today.Sub(old[i].last(loc)) <= reuseDays
	}
	newer := func(i, j int) bool {
		if j < 0 || ledger[i].Revised.After(ledger[j].Revised) {
			return true
		}
		return ledger[i].Revised.Equal(ledger[j].Revised) && ledger[i].UID > ledger[j].UID
	}
	for k, e := range now {
		out[k] = -1
		for i := range ledger {
			if old[i].Base == e.UID && !taken[i] && live(i) && newer(i, out[k]) {
				out[k] = i
			}
		}
		if out[k] >= 0 {
			taken[out[k]] = true
		}
	}
	type match struct{ event, entry, beds int }
	var all []match
	for k, e := range now {
		if out[k] >= 0 {
			continue
		}
		for i := range ledger {
			if n := shared(old[i].Base, e.UID); n > 0 && !taken[i] && !ledger[i].Cancelled && live(i) {
				all = append(all, match{k, i, n})
			}
		}
	}
	slices.SortStableFunc(all, func(x, y match) int {
		return cmp.Or(cmp.Compare(y.beds, x.beds), cmp.Compare(x.event, y.event), cmp.Compare(ledger[x.entry].UID, ledger[y.entry].UID))
	})
	for _, m := range all {
		if out[m.event] < 0 && !taken[m.entry] {
			out[m.event], taken[m.entry] = m.entry, true
		}
	}
	return out
}

// shared is how many beds two bases share that are about the same work: a base
// ends in ":" and its beds, joined by "+".
func shared(a, b string) int {
	i, j := strings.LastIndex(a, ":"), strings.LastIndex(b, ":")
	if i < 0 || j < 0 || a[:i] != b[:j] {
		return 0
	}
	n := 0
	beds := strings.Split(b[j+1:], "+")
	for _, bed := range strings.Split(a[i+1:], "+") {
		if slices.Contains(beds, bed) {
			n++
		}
	}
	return n
}

// unique makes a UID that the ledger does not hold yet: of what the event is
// about, and where the ledger knows an older one about the same, of the day on
// which it is asked for again.
func unique(base string, first civil.Date, farmUID string, ledger []farm.CalendarEntry, used map[string]bool) string {
	word := strings.NewReplacer(":", "-", "_", "-", " ", "-", "+", "-").Replace(base)
	for n := 0; ; n++ {
		name := word
		switch {
		case n == 1:
			name += "-" + first.String()
		case n > 1:
			name += fmt.Sprintf("-%s-%d", first, n)
		}
		uid := fmt.Sprintf("%s@%s.leafturn.invalid", name, farmUID)
		if !used[uid] && !slices.ContainsFunc(ledger, func(l farm.CalendarEntry) bool { return l.UID == uid }) {
			return uid
		}
	}
}

// same reports whether two events say the same, whatever their numbers.
func same(a, b report.Event) bool {
	for _, e := range []*report.Event{&a, &b} {
		e.UID, e.Sequence, e.Revised, e.Status = "", 0, time.Time{}, ""
	}
	x, err1 := json.Marshal(a)
	y, err2 := json.Marshal(b)
	return err1 == nil && err2 == nil && string(x) == string(y)
}

func record(base string, e report.Event, cancelled bool) (farm.CalendarEntry, error) {
	b, err := json.Marshal(entry{base, e})
	return farm.CalendarEntry{UID: e.UID, Sequence: e.Sequence, Revised: e.Revised, Cancelled: cancelled, Entry: b}, err
}
