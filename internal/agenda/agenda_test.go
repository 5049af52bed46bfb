package agenda_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/agenda"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/report"
)

var monday = civil.MustParse("2026-07-20")

func event(base, words string, on civil.Date) report.Event {
	return report.Event{UID: base, Summary: words, First: on, Last: on, Alarms: []report.Alarm{report.AlarmAt(0, 7, 0)}}
}

// keep puts what changed into the ledger, as the store does.
func keep(ledger, changed []farm.CalendarEntry) []farm.CalendarEntry {
	out := slices.Clone(ledger)
	for _, c := range changed {
		if i := slices.IndexFunc(out, func(l farm.CalendarEntry) bool { return l.UID == c.UID }); i >= 0 {
			out[i] = c
		} else {
			out = append(out, c)
		}
	}
	return out
}

func TestMerge(t *testing.T) {
	var ledger []farm.CalendarEntry
	export := func(day civil.Date, now ...report.Event) []report.Event {
		t.Helper()
		events, changed, err := agenda.Merge(ledger, now, "f00d", day, time.UTC, day.In(time.UTC).Add(8*time.Hour))
		require.NoError(t, err)
		ledger = keep(ledger, changed)
		return events
	}
	first := export(monday, event("order:mite:A1", "Order", monday.AddDays(2)))
	require.Equal(t, "order-mite-A1@f00d.leafturn.invalid", first[0].UID)
	require.Equal(t, 0, first[0].Sequence)

	again := export(monday.AddDays(1), event("order:mite:A1", "Order", monday.AddDays(2)))
	require.Equal(t, first, again, "nothing changed, so not a byte does")

	// Still undone in the next ISO week, for another day: the same entry.
	moved := export(monday.AddDays(7), event("order:mite:A1", "Order", monday.AddDays(9)))
	require.Equal(t, first[0].UID, moved[0].UID)
	require.Equal(t, 1, moved[0].Sequence)
	require.True(t, moved[0].Revised.After(first[0].Revised))

	// Done: cancelled once, and told again for a month to a calendar that missed it.
	gone := export(monday.AddDays(8))
	require.Len(t, gone, 1)
	require.Equal(t, report.Cancelled, gone[0].Status)
	require.Equal(t, 2, gone[0].Sequence)
	require.Empty(t, gone[0].Alarms)
	require.Equal(t, gone, export(monday.AddDays(38)))
	require.Empty(t, export(monday.AddDays(39)))

	// The same need later in the season is a new entry.
	later := export(monday.AddDays(60), event("order:mite:A1", "Order", monday.AddDays(61)))
	require.Equal(t, "order-mite-A1-2026-09-18@f00d.leafturn.invalid", later[0].UID)

	// Within the month it comes back under its old name with a higher sequence.
	export(monday.AddDays(60))
	back := export(monday.AddDays(60), event("order:mite:A1", "Order", monday.AddDays(61)))
	require.Equal(t, later[0].UID, back[0].UID)
	require.Equal(t, 2, back[0].Sequence)
	require.Equal(t, report.Confirmed, back[0].Status)

	// An entry whose day has passed is left alone.
	require.Empty(t, export(monday.AddDays(62)))

	_, _, err := agenda.Merge([]farm.CalendarEntry{{UID: "x", Entry: json.RawMessage("{")}}, nil, "f", monday, time.UTC, time.Now())
	require.Error(t, err)
}

// Over any course of lists: UIDs are unique and stay, the sequence never falls
// and rises by one with each change and not without one, what is no longer
// asked for is cancelled, and the same list asked for twice gives the same file.
func TestMerge_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var ledger []farm.CalendarEntry
		last := map[string]report.Event{}
		day := monday
		for range rapid.IntRange(1, 12).Draw(t, "exports") {
			day = day.AddDays(rapid.IntRange(0, 12).Draw(t, "days"))
			var now []report.Event
			for b := range rapid.IntRange(0, 4).Draw(t, "events") {
				if rapid.Bool().Draw(t, "asked") {
					now = append(now, event(fmt.Sprintf("do:%d", b), rapid.SampledFrom([]string{"x", "y"}).Draw(t, "words"), day.AddDays(rapid.IntRange(0, 3).Draw(t, "in"))))
				}
			}
			at := day.In(time.UTC).Add(time.Duration(rapid.IntRange(0, 80000).Draw(t, "second")) * time.Second)
			events, changed, err := agenda.Merge(ledger, now, "f", day, time.UTC, at)
			if err != nil {
				t.Fatal(err)
			}
			seen := map[string]bool{}
			confirmed := 0
			for _, e := range events {
				if seen[e.UID] {
					t.Fatalf("%s twice", e.UID)
				}
				seen[e.UID] = true
				if e.Status != report.Cancelled {
					confirmed++
				}
				touched := slices.ContainsFunc(changed, func(c farm.CalendarEntry) bool { return c.UID == e.UID })
				before, known := last[e.UID]
				switch {
				case !known && (e.Sequence != 0 || !touched):
					t.Fatalf("new %+v", e)
				case known && touched && e.Sequence != before.Sequence+1:
					t.Fatalf("changed from %d to %d", before.Sequence, e.Sequence)
				case known && !touched && (e.Sequence != before.Sequence || !e.Revised.Equal(before.Revised) || e.Status != before.Status):
					t.Fatalf("unchanged, but %+v after %+v", e, before)
				}
				last[e.UID] = e
			}
			if confirmed != len(now) {
				t.Fatalf("%d of %d", confirmed, len(now))
			}
			ledger = keep(ledger, changed)
			for uid, e := range last {
				if !seen[uid] && e.Status != report.Cancelled && !e.Last.Before(day) {
					t.Fatalf("%s vanished without being cancelled", uid)
				}
			}
			again, none, err := agenda.Merge(ledger, now, "f", day, time.UTC, at.Add(time.Hour))
			if err != nil || len(none) > 0 {
				t.Fatalf("the same list changes %v (%v)", none, err)
			}
			x, _ := json.Marshal(events)
			y, _ := json.Marshal(again)
			if string(x) != string(y) {
				t.Fatalf("%s\n%s", x, y)
			}
		}
	})
}

// A bed that comes or goes changes the entry and does not cancel it; the entry
// with most beds in common is taken; beds of which none stays are another entry.
func TestMerge_Beds(t *testing.T) {
	var ledger []farm.CalendarEntry
	export := func(now ...report.Event) map[string]report.Event {
		t.Helper()
		events, changed, err := agenda.Merge(ledger, now, "f", monday, time.UTC, monday.In(time.UTC).Add(8*time.Hour))
		require.NoError(t, err)
		ledger = keep(ledger, changed)
		out := map[string]report.Event{}
		for _, e := range events {
			out[e.UID] = e
		}
		return out
	}
	const one, two = "do-slug-pick-a1-a2-b1@f.leafturn.invalid", "do-slug-pick-c1@f.leafturn.invalid"
	export(event("do:slug:pick:a1+a2+b1", "A1 A2 B1", monday), event("do:slug:pick:c1", "C1", monday))
	got := export(event("do:slug:pick:a1+b1", "A1 B1", monday), event("do:slug:pick:c1", "C1", monday))
	require.Len(t, got, 2)
	require.Equal(t, 1, got[one].Sequence)
	require.Equal(t, "A1 B1", got[one].Summary)
	require.Equal(t, 0, got[two].Sequence)

	// Twice in a row, and a bed that comes.
	got = export(event("do:slug:pick:b1+b2", "B1 B2", monday), event("do:slug:pick:c1", "C1", monday))
	require.Equal(t, 2, got[one].Sequence)
	// Both lines in one: that with the most beds goes on, the other is cancelled.
	got = export(event("do:slug:pick:b1+b2+c1", "B1 B2 C1", monday))
	require.Equal(t, report.Confirmed, got[one].Status)
	require.Equal(t, report.Cancelled, got[two].Status)
	// Apart again: each bed set finds its own; the cancelled one comes back.
	got = export(event("do:slug:pick:b1+b2", "B1 B2", monday), event("do:slug:pick:c1", "C1", monday))
	require.Equal(t, "B1 B2", got[one].Summary)
	require.Equal(t, report.Confirmed, got[two].Status)
	require.Equal(t, 2, got[two].Sequence)
	// The ledger follows the beds step by step, also where the words stay.
	for _, beds := range []string{"c1+c2", "c2+c3", "c3"} {
		got = export(event("do:slug:pick:b1+b2", "B1 B2", monday), event("do:slug:pick:"+beds, "C1", monday))
		require.Equal(t, report.Confirmed, got[two].Status, beds)
		require.Equal(t, 2, got[two].Sequence)
	}
	// Another step, or no bed in common, is another entry.
	got = export(event("do:slug:boards:b1+b2", "boards", monday), event("do:slug:pick:d1", "D1", monday))
	require.Len(t, got, 4)
	require.Equal(t, report.Cancelled, got[one].Status)
	require.Contains(t, got, "do-slug-pick-d1@f.leafturn.invalid")
}

// A span that has begun keeps its first day; one that is put off does not.
func TestMerge_FirstDay(t *testing.T) {
	span := func(first, last civil.Date) report.Event {
		return report.Event{UID: "do:slug:pick:a1", Summary: "x", First: first, Last: last}
	}
	var ledger []farm.CalendarEntry
	for _, c := range []struct {
		today, first, last, want civil.Date
		sequence                 int
	}{
		{monday, monday, monday.AddDays(3), monday, 0},
		{monday.AddDays(1), monday.AddDays(1), monday.AddDays(3), monday, 0},
		{monday.AddDays(2), monday.AddDays(2), monday.AddDays(5), monday, 1},                // later in the same need
		{monday.AddDays(3), monday.AddDays(4), monday.AddDays(5), monday.AddDays(4), 2},     // not before tomorrow
		{monday.AddDays(3), monday.AddDays(3), monday.AddDays(5), monday.AddDays(3), 3},     // sooner again
		{monday.AddDays(9), monday.AddDays(9), monday.AddDays(9), monday.AddDays(3), 4},     // overdue
		{monday.AddDays(40), monday.AddDays(40), monday.AddDays(41), monday.AddDays(40), 0}, // another time
	} {
		events, changed, err := agenda.Merge(ledger, []report.Event{span(c.first, c.last)}, "f", c.today, time.UTC, c.today.In(time.UTC).Add(time.Hour))
		require.NoError(t, err)
		ledger = keep(ledger, changed)
		require.Equal(t, c.want, events[0].First, c.today)
		require.Equal(t, c.last, events[0].Last)
		require.Equal(t, c.sequence, events[0].Sequence, c.today)
	}
}
