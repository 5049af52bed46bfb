package label_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
)

// An interval in hours, over days with a change of the clocks: an hour is allowed
// when every other application is that many elapsed hours away; a day when it
// has such an hour, found by trying every quarter of an hour.
func TestPlan_IntervalInHoursProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := rapid.IntRange(1, 80).Draw(t, "hours")
		first := day(rapid.SampledFrom([]string{"2026-03-06", "2026-06-10", "2026-10-30", "2028-02-27", "2026-12-30"}).Draw(t, "from"))
		l := every((h + 23) / 24)
		l.MinIntervalHours = float64(h)
		quarter := func(name string) time.Time {
			return first.In(ny).Add(time.Duration(rapid.IntRange(0, 4*24*5).Draw(t, name)) * 15 * time.Minute)
		}
		var past []farm.Treatment
		for i := range rapid.IntRange(0, 2).Draw(t, "past") {
			x := ended(l.Key, quarter("end"))
			x.ID, x.Start = int64(i+1), x.End.Add(-15*time.Minute)
			past = append(past, x)
		}
		free := func(start, end time.Time) bool {
			for _, x := range past {
				if start.Before(x.End.Add(time.Duration(h)*time.Hour)) && x.Start.Before(end.Add(time.Duration(h)*time.Hour)) {
					return false
				}
			}
			return true
		}
		r := ask(l, "2026-01-01")
		r.History = past
		r.Season = label.Span{From: day("2026-01-01"), To: day("2028-12-31")}
		start := quarter("start")
		r.Start, r.End = start, start.Add(15*time.Minute)
		require.Equal(t, free(r.Start, r.End), !label.Plan(r).Has(label.CodeInterval), "%s", r.Start)

		// Of days, with what lies before them only.
		d := civil.DateIn(quarter("day"), ny)
		kept := past[:0:0]
		for _, x := range past {
			if x.Date.Before(d) {
				kept = append(kept, x)
			}
		}
		past = kept
		r.History, r.Start, r.End, r.Date = kept, time.Time{}, time.Time{}, d
		some := false
		for at := d.In(ny); at.Before(d.AddDays(1).In(ny)); at = at.Add(15 * time.Minute) {
			some = some || free(at, at)
		}
		got := label.Plan(r)
		require.Equal(t, some, !got.Has(label.CodeInterval), "%s", d)
		if e := got.Earliest; !e.IsZero() {
			require.False(t, e.Before(d))
		}
	})
}
