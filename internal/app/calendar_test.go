package app_test

import (
	"bytes"
	"errors"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	ical "github.com/arran4/golang-ical"
	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/render"
	"leafturn/internal/report"
	"leafturn/internal/store"
	"leafturn/internal/testkit"
)

// toFile stages the events as a calendar file.
func toFile(path string) func(*report.Document) (app.Staged, error) {
	return func(doc *report.Document) (app.Staged, error) {
		var b bytes.Buffer
		if err := render.ICS(&b, *doc); err != nil {
			return app.Staged{}, err
		}
		return app.StageFile(path, b.Bytes())
	}
}

// sequences reads a calendar file by an independent reader.
func sequences(t *testing.T, path string) map[string]string {
	t.Helper()
	raw, err := os.ReadFile(path)
	require.NoError(t, err)
	cal, err := ical.ParseCalendar(bytes.NewReader(raw))
	require.NoError(t, err, "half a file")
	require.True(t, bytes.HasSuffix(raw, []byte("END:VCALENDAR\r\n")), "half a file")
	out := map[string]string{}
	for _, e := range cal.Events() {
		out[e.Id()] = e.GetProperty(ical.ComponentPropertySequence).Value
	}
	require.NotEmpty(t, out)
	return out
}

func ledger(t *testing.T, path string) []farm.CalendarEntry {
	t.Helper()
	st, err := store.Open(ctx, path)
	require.NoError(t, err)
	defer func() { require.NoError(t, st.Close()) }()
	var out []farm.CalendarEntry
	require.NoError(t, st.View(ctx, func(tx *store.Tx) (err error) {
		out, err = tx.CalendarEntries()
		return err
	}))
	return out
}

// Each statement of an export fails in turn, for the week and for the plan. An
// export that fails leaves the old file byte for byte and the ledger as it was;
// one that could not be noted, and says so, leaves a whole file and the ledger
// as it was. Only one without a fault raises a SEQUENCE, and by one.
func TestCalendar_FaultAtEveryStatement(t *testing.T) {
	for name, export := range map[string]func(*app.App, string) (string, error){
		"week": func(a *app.App, path string) (string, error) {
			_, warning, err := a.WeekCalendar(ctx, a.Today(), toFile(path))
			return warning, err
		},
		"plan": func(a *app.App, path string) (string, error) {
			_, warning, err := a.PlanCalendar(ctx, a.Today(), app.MonthOptions{}, toFile(path))
			return warning, err
		},
	} {
		t.Run(name, func(t *testing.T) {
			path := testPath(t)
			first := busyFarmAt(t, path)
			dir := t.TempDir()
			file := filepath.Join(dir, "out.ics")
			_, err := export(first, file)
			require.NoError(t, err)
			before := sequences(t, file)
			_, err = first.CountWords(ctx, strings.Fields("A1 mite foliage=dry 20*30 20*40"), app.CountOptions{Date: first.Today()})
			require.NoError(t, err)

			var fault testkit.Fault
			a, err := app.Open(ctx, path, summer.Add(time.Hour), store.WithHook(fault.Hook))
			require.NoError(t, err)
			defer func() { require.NoError(t, a.Close()) }()
			old, err := os.ReadFile(file)
			require.NoError(t, err)
			noted := ledger(t, path)
			failed, warned := 0, 0
			for n := 1; ; n++ {
				require.Less(t, n, 400)
				require.NoError(t, os.WriteFile(file, old, 0o644))
				fault.Arm(n)
				warning, err := export(a, file)
				seen := fault.Seen()
				fault.Arm(0)
				left, dirErr := filepath.Glob(filepath.Join(dir, ".leafturn-*"))
				require.NoError(t, dirErr)
				require.Empty(t, left, "a temporary file is left at statement %d", n)
				if seen < n {
					require.NoError(t, err)
					require.Empty(t, warning)
					break
				}
				require.Equal(t, noted, ledger(t, path), "statement %d", n)
				if err != nil {
					failed++
					require.ErrorIs(t, err, testkit.ErrFault)
					now, err := os.ReadFile(file)
					require.NoError(t, err)
					require.Equal(t, string(old), string(now), "statement %d", n)
					continue
				}
				warned++
				require.NotEmpty(t, warning, "statement %d", n)
				sequences(t, file)
			}
			require.Positive(t, failed)
			require.Positive(t, warned)
			raised := false
			for uid, n := range sequences(t, file) {
				if was, ok := before[uid]; ok && was != n {
					require.Equal(t, "0", was)
					require.Equal(t, "1", n, uid)
					raised = true
				}
			}
			require.True(t, raised, "the new count changes something")
		})
	}
}

// A file that cannot be staged, and one that cannot be given its name.
func TestCalendar_FileFails(t *testing.T) {
	path := testPath(t)
	a := busyFarmAt(t, path)
	dir := t.TempDir()
	_, _, err := a.WeekCalendar(ctx, a.Today(), toFile(dir))
	require.ErrorContains(t, err, "it is a folder")
	require.Empty(t, ledger(t, path))
	_, _, err = a.WeekCalendar(ctx, a.Today(), toFile(filepath.Join(dir, "none", "x.ics")))
	require.Error(t, err)
	require.Empty(t, ledger(t, path))

	// The name is taken between making the file ready and giving it its name, with
	// an older file there and without: nothing is noted, nothing is left, and the
	// next file has the same sequences as if nothing had been.
	taken := filepath.Join(dir, "taken.ics")
	for try := range 2 {
		before := ledger(t, path)
		_, _, err = a.WeekCalendar(ctx, a.Today(), func(doc *report.Document) (app.Staged, error) {
			s, err := toFile(taken)(doc)
			require.NoError(t, err)
			require.NoError(t, os.RemoveAll(taken))
			require.NoError(t, os.MkdirAll(filepath.Join(taken, "x"), 0o755))
			return s, nil
		})
		require.ErrorContains(t, err, "cannot be written")
		require.Equal(t, before, ledger(t, path), "no sequence is raised for a file that nobody has")
		require.NoError(t, os.RemoveAll(taken))
		left, err := filepath.Glob(filepath.Join(dir, ".leafturn-*"))
		require.NoError(t, err)
		require.Empty(t, left)
		_, _, err = a.WeekCalendar(ctx, a.Today(), toFile(taken))
		require.NoError(t, err)
		if try == 0 {
			_, err = a.CountWords(ctx, strings.Fields("A1 mite foliage=dry 20*30 20*40"), app.CountOptions{Date: a.Today()})
			require.NoError(t, err)
		}
	}
	raised := slices.Collect(maps.Values(sequences(t, taken)))
	require.Contains(t, raised, "1", "the count changed something")
	require.NotContains(t, raised, "2", "no number is skipped")

	// What cannot be taken back fails after the note: told.
	lost := errors.New("gone")
	_, _, err = a.WeekCalendar(ctx, a.Today(), func(*report.Document) (app.Staged, error) {
		return app.Staged{Keep: func() error { return lost }, Drop: func() {}}, nil
	})
	require.ErrorIs(t, err, lost)
	file := filepath.Join(dir, "again.ics")
	_, _, err = a.WeekCalendar(ctx, a.Today(), toFile(file))
	require.NoError(t, err)
	for uid, n := range sequences(t, file) {
		require.Equal(t, sequences(t, taken)[uid], n, uid)
	}
}

// A line stands over the days on which it may be done, with the last in words,
// and does not move along with today.
func TestCalendar_Spans(t *testing.T) {
	path := testPath(t)
	a := busyFarmAt(t, path)
	doc, _, err := a.WeekCalendar(ctx, a.Today(), nowhere)
	require.NoError(t, err)
	first := map[string]report.Event{}
	spans := 0
	for _, e := range doc.Events {
		first[e.UID] = e
		require.Equal(t, a.Today(), e.First, e.UID)
		require.Contains(t, e.Description, "by "+e.Last.Short()+" at the latest")
		if e.Last.After(e.First) {
			spans++
			last := e.Alarms[len(e.Alarms)-1]
			require.True(t, last.FromEnd)
			require.Equal(t, e.Last.In(time.UTC).Add(7*time.Hour), e.EndDay().In(time.UTC).Add(last.Offset), "07:00 of the last day")
		}
	}
	require.Positive(t, spans)

	b, err := app.Open(ctx, path, summer.AddDate(0, 0, 1))
	require.NoError(t, err)
	defer func() { require.NoError(t, b.Close()) }()
	doc, _, err = b.WeekCalendar(ctx, b.Today(), nowhere)
	require.NoError(t, err)
	kept := 0
	for _, e := range doc.Events {
		was, ok := first[e.UID]
		if ok && e.Status == report.Confirmed && e.Last == was.Last {
			kept++
			require.Equal(t, was.First, e.First, e.UID)
		}
	}
	require.Positive(t, kept)
}

// Re-entry over a clock change: elapsed hours, in UTC, and an alarm at seven on each morning. Clocks in California go back
// on Sunday 1 November 2026 (the second of two 01:00 to 02:00 hours is winter
// time), so 48 hours after Saturday 12:00 it is Monday 11:00.
func TestCalendar_ClosureOverClockChange(t *testing.T) {
	path := testPath(t)
	now := time.Date(2026, 10, 31, 19, 5, 0, 0, time.UTC) // 12:05 there
	a := newFarm(t, path, now, app.FarmOptions{Zone: p("America/Los_Angeles")})
	_, err := a.AddBed(ctx, app.BedOptions{Code: "A1", Size: "25 m x 1.2 m", Plants: "100", Site: "outdoor"})
	require.NoError(t, err)
	text := strings.Replace(exampleLabel(t), "\nrei = \"4 hours\"", "\nrei = \"48 hours\"", 1)
	require.Contains(t, text, "\nrei = \"48 hours\"")
	_, err = a.AddLabel(ctx, strings.NewReader(text), "bait.toml", civil.MustParse("2026-07-01"), false)
	require.NoError(t, err)
	_, err = a.Treat(ctx, app.TreatOptions{Label: "bait", Beds: []string{"A1"}, Date: a.Today(), Pest: "slug", Amount: "20 g", End: "2026-10-31 12:00"})
	require.NoError(t, err)
	doc, _, err := a.WeekCalendar(ctx, a.Today(), nowhere)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, render.ICS(&b, *doc))
	flat := strings.ReplaceAll(b.String(), "\r\n ", "")
	require.Contains(t, flat, "DTSTART:20261031T190000Z\r\nDTEND:20261102T190000Z\r\n")
	require.Contains(t, flat, "Keep out of A1 until Mon 2 Nov 11:00")
	// Sunday 07:00 is 20 hours after, Monday 07:00 is 44 hours after.
	for _, trigger := range []string{"TRIGGER:PT0S", "TRIGGER:PT20H", "TRIGGER:PT44H", "TRIGGER;RELATED=END:PT0S"} {
		require.Contains(t, flat, trigger+"\r\n")
	}
	require.Equal(t, 4, strings.Count(flat[strings.Index(flat, "UID:rei-"):], "BEGIN:VALARM"))

	cal, err := ical.ParseCalendar(strings.NewReader(b.String()))
	require.NoError(t, err)
	for _, e := range cal.Events() {
		if strings.HasPrefix(e.Id(), "rei-") {
			start, err := e.GetStartAt()
			require.NoError(t, err)
			end, err := e.GetEndAt()
			require.NoError(t, err)
			require.Equal(t, 48*time.Hour, end.Sub(start))
		}
	}
}

// The plan's entries keep their UIDs from run to run, stand at hours of the
// farm's clock, and neither the week's file nor the plan's cancels the other's.
func TestCalendar_Plan(t *testing.T) {
	a := busyFarm(t)
	plan := func() map[string]report.Event {
		doc, warning, err := a.PlanCalendar(ctx, a.Today(), app.MonthOptions{Harvest: "Mon,Thu"}, nowhere)
		require.NoError(t, err)
		require.Empty(t, warning)
		out := map[string]report.Event{}
		for _, e := range doc.Events {
			require.True(t, strings.HasPrefix(e.UID, "plan-"), e.UID)
			require.Equal(t, "America/Los_Angeles", e.Zone)
			out[e.UID] = e
		}
		require.Len(t, out, len(doc.Data.(app.MonthPlanData).Slots))
		return out
	}
	first := plan()
	require.NotEmpty(t, first)
	doc, _, err := a.WeekCalendar(ctx, a.Today(), nowhere)
	require.NoError(t, err)
	for _, e := range doc.Events {
		require.Equal(t, report.Confirmed, e.Status)
		require.NotContains(t, first, e.UID)
	}
	require.Equal(t, first, plan())
	_, _, err = a.PlanCalendar(ctx, a.Today(), app.MonthOptions{Beds: []string{"A1"}}, nowhere)
	require.ErrorContains(t, err, "the plan of all beds")
}

// Jobs of a plan stand on the farm's clock on both sides of a clock change: the
// clocks of California go back on 1 November 2026, so that seven o'clock is
// 14:00 UTC before and 15:00 UTC after it.
func TestCalendar_PlanOverClockChange(t *testing.T) {
	path := testPath(t)
	a := newFarm(t, path, time.Date(2026, 10, 26, 13, 0, 0, 0, time.UTC), app.FarmOptions{Zone: p("America/Los_Angeles")})
	_, err := a.AddBed(ctx, app.BedOptions{Code: "A1", Size: "25 m x 1.2 m", Plants: "100", Site: "outdoor"})
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "plan.ics")
	_, _, err = a.PlanCalendar(ctx, a.Today(), app.MonthOptions{Weeks: "2", Days: "Fri,Mon 07:00-12:00", Harvest: "Fri,Mon"}, toFile(file))
	require.NoError(t, err)
	raw, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Contains(t, string(raw), "BEGIN:VTIMEZONE\r\nTZID:America/Los_Angeles\r\n")
	cal, err := ical.ParseCalendar(bytes.NewReader(raw))
	require.NoError(t, err)
	seen := map[string]bool{}
	for _, e := range cal.Events() {
		if !strings.HasPrefix(e.Id(), "plan-cut-") {
			require.Regexp(t, `^plan-scout-[a-z]+-[a-z]+-a1@`, e.Id(), "the reason is no part of what it is about")
			continue
		}
		require.Contains(t, e.GetProperty(ical.ComponentPropertyDtStart).Value, "T070000")
		start, err := e.GetStartAt()
		require.NoError(t, err)
		seen[start.UTC().Format("02 Jan 15:04")] = true
	}
	for _, want := range []string{"30 Oct 14:00", "02 Nov 15:00", "06 Nov 15:00"} {
		require.True(t, seen[want], "%s is not in %v", want, seen)
	}
}
