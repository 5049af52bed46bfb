package label_test

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
)

func hourly(h float64, days int) farm.Label {
	return with(func(l *farm.Label) { l.MinIntervalHours, l.MinIntervalDays = h, farm.Value(days) })
}

// Hours are elapsed hours between instants (labels.md, section 3): clocks of
// New York go forward on 8 March 2026 at 02:00 and back on 1 November.
func TestPlan_IntervalInHours(t *testing.T) {
	for _, c := range []struct {
		ended, begins string
		ok            bool
	}{
		{"2026-06-01T18:00:00-04:00", "2026-06-03T17:59:00-04:00", false},
		{"2026-06-01T18:00:00-04:00", "2026-06-03T18:00:00-04:00", true},
		{"2026-03-07T18:00:00-05:00", "2026-03-09T18:59:00-04:00", false}, // 47 h 59 min, though clocks show 48:59
		{"2026-03-07T18:00:00-05:00", "2026-03-09T19:00:00-04:00", true},
		{"2026-10-31T18:00:00-04:00", "2026-11-02T16:59:00-05:00", false},
		{"2026-10-31T18:00:00-04:00", "2026-11-02T17:00:00-05:00", true}, // 48 h, though clocks show 47
	} {
		l := hourly(48, 2)
		begins := at(c.begins)
		r := ask(l, civil.DateIn(begins, ny).String())
		r.Start, r.End = begins, begins.Add(30*time.Minute)
		before := put(l, civil.DateIn(at(c.ended), ny).String())
		before.ID, before.End, before.Start = 1, at(c.ended), at(c.ended).Add(-time.Hour)
		r.History = []farm.Treatment{before}
		d := label.Plan(r)
		require.Equal(t, c.ok, d.Allowed, c)
		if !c.ok {
			require.True(t, d.Has(label.CodeInterval))
			require.Contains(t, d.Refusals[0].Words, "48 hours between applications")
			require.Equal(t, r.Date, d.Earliest, "later on the same day")
		}
		// The same as a fact.
		x := put(l, r.Date.String())
		x.ID, x.Start, x.End = 2, r.Start, r.End
		broke, _ := label.Breaches(x, r)
		require.Equal(t, c.ok, len(broke) == 0, broke)
		// With the day alone the hour is a condition.
		r.Start, r.End = time.Time{}, time.Time{}
		d = label.Plan(r)
		require.True(t, d.Allowed)
		require.Contains(t, strings.Join(d.Conditions, "|"), "begin no sooner than ")
		// Only the end is known: too early, or not known, never cleared.
		r.End = begins.Add(30 * time.Minute)
		require.True(t, label.Plan(r).Has(label.CodeInterval))
		require.True(t, label.Plan(r).Refusals[0].Unknown)
	}
	l := hourly(36, 2)
	r := ask(l, "2026-06-02")
	r.History = puts(l, "2026-06-01") // ended at 18:00
	d := label.Plan(r)
	require.True(t, d.Has(label.CodeInterval))
	require.Equal(t, "2026-06-03", d.Earliest.String())
	r.History[0].EndKnown, r.History[0].End = false, at("2026-06-02T00:00:00-04:00")
	require.Contains(t, label.Plan(r).Refusals[0].Words, "the hour of the end was not given")
	// The farm's own days still tighten it.
	r = ask(l, "2026-06-04")
	r.History, r.FarmMinDays = puts(l, "2026-06-01"), 5
	require.Equal(t, "2026-06-06", label.Plan(r).Earliest.String())
	// A planned one later keeps its hours too.
	r = ask(l, "2026-06-01")
	r.History = puts(l, "2026-06-02") // from 17:00
	d = label.Plan(r)
	require.True(t, d.Allowed)
	require.Contains(t, strings.Join(d.Conditions, "|"), "end by Mon 1 Jun 2026 05:00 EDT")
	r.Start, r.End = at("2026-06-01T04:00:00-04:00"), at("2026-06-01T05:01:00-04:00")
	require.True(t, label.Plan(r).Has(label.CodeInterval))
	r.End = at("2026-06-01T05:00:00-04:00")
	require.True(t, label.Plan(r).Allowed)
}

// Against a count of seconds, for thousands of random hours and histories, and
// what the day alone says against every minute of the day.
func TestPlan_IntervalInHours_Slow(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	ok, no := 0, 0
	for range 3000 {
		h := float64(between(rng, 1, 160)) / 2
		l := hourly(h, int((h+23.75)/24))
		base := day([]string{"2026-03-06", "2026-10-30", "2026-06-01"}[rng.IntN(3)])
		r := ask(l, base.AddDays(rng.IntN(5)).String())
		for i := range 1 + rng.IntN(3) {
			end := base.In(ny).Add(time.Duration(rng.IntN(5*24*60)) * time.Minute)
			x := put(l, civil.DateIn(end, ny).String())
			x.ID, x.Start, x.End = int64(i+1), end.Add(-time.Duration(rng.IntN(120))*time.Minute), end
			r.History = append(r.History, x)
		}
		fits := func(start, end time.Time) bool {
			for _, x := range r.History {
				if x.End.After(end) && x.Start.Unix()-end.Unix() < int64(h*3600) || !x.End.After(end) && start.Unix()-x.End.Unix() < int64(h*3600) {
					return false
				}
			}
			return true
		}
		start := r.Date.In(ny).Add(time.Duration(rng.IntN(23*60)) * time.Minute)
		at := r
		at.Start, at.End = start, start.Add(time.Minute)
		if civil.DateIn(at.End, ny) != r.Date {
			continue
		}
		want := fits(at.Start, at.End)
		require.Equal(t, !want, label.Plan(at).Has(label.CodeInterval), "%v %v", h, at)
		if want {
			ok++
		} else {
			no++
		}
		any := false
		for m := r.Date.In(ny); m.Before(r.Date.AddDays(1).In(ny)) && !any; m = m.Add(time.Minute) {
			any = fits(m, m) // where one of the same day is done: after it
			for _, x := range r.History {
				any = any && (x.Date != r.Date || x.End.Before(m))
			}
		}
		if any {
			require.False(t, label.Plan(r).Has(label.CodeInterval), "some minute of the day is free")
		}
	}
	require.Greater(t, ok, 200)
	require.Greater(t, no, 200)
}
