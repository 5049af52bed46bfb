// Package agenda tells a calendar what has changed since it was last given a
// file: which entries are new, which have changed, and which are to be
// cancelled (RFC 5545, sections 3.8.7.4 and 3.8.1.11).
//
// Everything is computed from the arguments. Not here: what belongs into the
// calendar, how it is written, and where the ledger is kept.
package agenda

import (
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
// that stays; farmUID names the farm and never changes.
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
	find := func(base string) int {
		best := -1
		for i, l := range ledger {
			gone := l.Cancelled && today.Sub(civil.DateIn(l.Revised, loc)) > KeepCancelled
			if old[i].Base != base || used[l.UID] || gone || !l.Cancelled && today.Sub(old[i].last(loc)) > reuseDays {
				continue
			}
			if best < 0 || l.Revised.After(ledger[best].Revised) || l.Revised.Equal(ledger[best].Revised) && l.UID > ledger[best].UID {
				best = i
			}
		}
		return best
	}
	for _, e := range now {
		base := e.UID
		e.Status = report.Confirmed
		i := find(base)
		if i < 0 {
			e.UID, e.Sequence, e.Revised = unique(base, today, farmUID, ledger, used), 0, today.In(loc).UTC()
		} else {
			e.UID, e.Sequence, e.Revised = ledger[i].UID, ledger[i].Sequence, ledger[i].Revised
			if ledger[i].Cancelled || !same(old[i].Event, e) {
				e.Sequence, e.Revised = e.Sequence+1, at
			}
		}
		used[e.UID] = true
		events = append(events, e)
		if i < 0 || e.Sequence != ledger[i].Sequence {
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
