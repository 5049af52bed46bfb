package store_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"testing"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// live reads all that counts, without what was taken out.
func live(t testing.TB, s *store.Store) string {
	t.Helper()
	return answers(t, s, store.Filter{}, func(tx *store.Tx, keep keepOne) {
		labels, err := tx.Labels()
		require.NoError(t, err)
		for _, l := range labels {
			one, err := tx.Label(l.Key)
			keep("last of "+l.Key, one, err)
		}
		known, err := tx.WeatherKnown(civil.Date{}, civil.Date{}, day("2026-12-31"), at.Add(1000*time.Hour))
		keep("weather known", known, err)
		os, err := tx.Overrides(civil.Date{})
		keep("overrides", os, err)
	})
}

func as(words string) store.Command { return store.Command{Words: words, Actor: "M.", At: at} }

func undo(t testing.TB, s *store.Store) store.Change {
	t.Helper()
	var c store.Change
	update(t, s, func(tx *store.Tx) (err error) { c, err = tx.Undo(as("undo")); return err })
	return c
}

func redo(t testing.TB, s *store.Store) store.Change {
	t.Helper()
	var c store.Change
	update(t, s, func(tx *store.Tx) (err error) { c, err = tx.Redo(as("redo")); return err })
	return c
}

// Everything that one command wrote is taken back whole, and brought back whole.
func TestUndo_Whole(t *testing.T) {
	s := newStore(t)
	before := live(t, s)
	require.NoError(t, s.UpdateAs(ctx, as("everything at once"), fillAll))
	after := live(t, s)
	require.NotEqual(t, before, after)

	c := undo(t, s)
	assert.Equal(t, "everything at once", c.Command)
	assert.Equal(t, at, c.At)
	assert.Equal(t, map[store.Kind]int{"visit": 2, "stage": 1, "treatment": 1, "release": 1, "done": 1, "weather": 2, "override": 1, "cover": 1}, c.Added)
	assert.Equal(t, []string{"label ironbait version 1", "label ironbait version 2"}, c.Made)
	assert.Equal(t, before, live(t, s))
	sound(t, s)
	assert.Len(t, visits(t, s, store.Filter{IncludeVoided: true}), 2, "nothing is erased")

	assert.Equal(t, "everything at once", redo(t, s).Command)
	assert.Equal(t, after, live(t, s))
	sound(t, s)
	undo(t, s)
	assert.Equal(t, before, live(t, s))

	// What was taken back can be entered again, with the next number.
	update(t, s, func(tx *store.Tx) error {
		v, err := tx.AddLabel(testLabel("IRONBAIT"), at)
		require.NoError(t, err)
		assert.Equal(t, 3, v)
		_, err = tx.AddTreatment(testTreatment(), 1, at)
		require.ErrorIs(t, err, store.ErrUnknownLabel, "version 1 was taken back")
		_, err = tx.AddTreatment(testTreatment(), 0, at)
		require.NoError(t, err)
		return nil
	})
	err := s.Update(ctx, func(tx *store.Tx) error { _, err := tx.Redo(as("redo")); return err })
	p := forPeople(t, err, store.ErrNothing)
	assert.Contains(t, p.What, "another has written since")
}

// A farm that is new, and what a calendar was given, are not taken back.
func TestUndo_NotAll(t *testing.T) {
	s := newStore(t)
	update(t, s, func(tx *store.Tx) error {
		return tx.SetCalendarEntry(farm.CalendarEntry{UID: "a", Sequence: 1, Revised: at, Entry: json.RawMessage(`{}`)})
	})
	c := undo(t, s)
	assert.Equal(t, []string{"bed A1", "bed B3", "bed b10"}, c.Made)
	err := s.Update(ctx, func(tx *store.Tx) error { _, err := tx.Undo(as("undo")); return err })
	assert.Contains(t, forPeople(t, err, store.ErrNothing).What, "nothing to take back")
	view(t, s, func(tx *store.Tx) error {
		all, err := tx.Changes(0)
		require.NoError(t, err)
		var what []string
		for _, c := range all {
			what = append(what, c.What)
		}
		assert.Equal(t, []string{"undo", "told", "command", "made"}, what, "the refused undo left nothing")
		last, err := tx.Changes(1)
		assert.Equal(t, all[:1], last)
		entries, err2 := tx.CalendarEntries()
		require.NoError(t, err2)
		assert.Len(t, entries, 1)
		return err
	})
	forPeople(t, s.Update(ctx, func(tx *store.Tx) error { _, err := tx.AddVisit(slugVisit("A1", "2026-07-01", 1), at); return err }), store.ErrUnknownBed)
	// The bed's row serves the next of its code.
	update(t, s, func(tx *store.Tx) error {
		b := testBed("a1")
		b.Plants = 7
		id, err := tx.AddBed(b)
		assert.Equal(t, int64(1), id)
		return err
	})
	view(t, s, func(tx *store.Tx) error {
		b, err := tx.Bed("A1")
		assert.Equal(t, 7, b.Plants)
		assert.Equal(t, "a1", b.Code)
		require.NoError(t, err)
		h, err := tx.BedHistory("A1")
		var plants []int
		for _, e := range h {
			if e.Bed == nil {
				plants = append(plants, -1)
				continue
			}
			plants = append(plants, e.Bed.Plants)
		}
		assert.Equal(t, []int{60, -1, 7}, plants)
		return err
	})
	sound(t, s)
}

func TestReplace(t *testing.T) {
	s := newStore(t)
	update(t, s, fillAll)
	before := live(t, s)
	next := slugVisit("A1", "2026-07-06", 9) // the same bed, day, pest and unit
	var id int64
	replace := func(tx *store.Tx) error {
		return tx.Replace(store.KindVisit, 1, "misread", at, func() (int64, error) {
			var err error
			id, err = tx.AddVisit(next, at)
			return id, err
		})
	}
	require.NoError(t, s.UpdateAs(ctx, as("amend visit 1"), replace))
	assert.Equal(t, int64(3), id)
	view(t, s, func(tx *store.Tx) error {
		v, err := tx.Visit(1)
		require.NoError(t, err)
		assert.Equal(t, []int{0, 3, 12}, v.Seen(), "the first stays as it was")
		versions, err := tx.Versions(store.KindVisit, 1)
		require.NoError(t, err)
		assert.Equal(t, []int64{1, 3}, versions)
		versions, err = tx.Versions(store.KindVisit, 3)
		require.NoError(t, err)
		assert.Equal(t, []int64{1, 3}, versions)
		h, err := tx.History(store.KindVisit, 1)
		require.NoError(t, err)
		require.Len(t, h, 2)
		assert.Equal(t, store.EventEntered, h[0].What)
		assert.Equal(t, []any{store.EventAmended, int64(3), "misread", "amend visit 1", "M."}, []any{h[1].What, h[1].Instead, h[1].Reason, h[1].Change.Command, h[1].Change.Actor})
		return nil
	})
	forPeople(t, s.Update(ctx, func(tx *store.Tx) error {
		return tx.Replace(store.KindVisit, 1, "again", at, func() (int64, error) { return 0, nil })
	}), store.ErrVoided)
	undo(t, s)
	assert.Equal(t, before, live(t, s))
	view(t, s, func(tx *store.Tx) error {
		h, err := tx.History(store.KindVisit, 1)
		require.Len(t, h, 3)
		assert.Equal(t, store.EventUndone, h[2].What)
		return err
	})
	redo(t, s)
	undo(t, s)
	sound(t, s)

	// Where the new one is refused nothing is stored, even when the caller
	// swallows the error.
	err := s.Update(ctx, func(tx *store.Tx) error {
		err := tx.Replace(store.KindVisit, 1, "x", at, func() (int64, error) { return tx.AddVisit(slugVisit("A9", "2026-07-06", 1), at) })
		require.ErrorIs(t, err, store.ErrUnknownBed)
		return nil
	})
	forPeople(t, err, store.ErrUnknownBed)
	assert.Equal(t, before, live(t, s))
	forPeople(t, s.Update(ctx, func(tx *store.Tx) error {
		return tx.Replace(store.KindVisit, 1, "", at, func() (int64, error) { return 0, nil })
	}), store.ErrInvalid)
}

func TestCorrectedSince(t *testing.T) {
	s := newStore(t)
	update(t, s, fillAll) // it voids stage 1 an hour after at, and a forecast that was followed by the measured day
	update(t, s, func(tx *store.Tx) error { return tx.Void(store.KindVisit, 2, "wrong bed", at.Add(48*time.Hour)) })
	view(t, s, func(tx *store.Tx) error {
		list, err := tx.CorrectedSince(store.Filter{To: day("2026-07-13")}, at.Add(24*time.Hour))
		require.NoError(t, err)
		require.Len(t, list, 1)
		assert.Equal(t, int64(2), list[0].ID)
		list, err = tx.CorrectedSince(store.Filter{To: day("2026-07-05")}, at.Add(24*time.Hour))
		assert.Empty(t, list, "of a later day")
		require.NoError(t, err)
		list, err = tx.CorrectedSince(store.Filter{To: day("2026-07-13")}, at.Add(time.Minute))
		assert.Len(t, list, 2, "the forecast is no correction")
		return err
	})
}

// The journal cannot be changed, by other programs too.
func TestJournal_Fixed(t *testing.T) {
	path := filled(t)
	db := raw(t, path)
	for _, q := range []string{"UPDATE change_set SET command = 'x'", "DELETE FROM change_set", "UPDATE change_added SET low = 1", "DELETE FROM change_added", "DELETE FROM change_step", "UPDATE change_step SET reason = 'x'",
		"DELETE FROM bed WHERE id = 3", "UPDATE label SET document = '{}'"} {
		_, err := db.Exec(q)
		assert.Error(t, err, q)
	}
}

// inMemory lets the stores of a test be on a disk in memory, where there is
// one: it makes hundreds of them, and a sync takes its time.
func inMemory(t *testing.T) {
	if info, err := os.Stat("/dev/shm"); err == nil && info.IsDir() {
		t.Setenv("TMPDIR", "/dev/shm")
	}
}

// model is what a store should hold: the live visits by number with the sum of
// their counts, and a stack of states for undo and redo.
type model struct {
	live       map[int64]string
	done, back []map[int64]string
}

func (m *model) write(f func(live map[int64]string)) {
	m.done, m.back = append(m.done, maps.Clone(m.live)), nil
	f(m.live)
}

func (m *model) keys() []int64 { return slices.Sorted(maps.Keys(m.live)) }

// Random commands on visits against a simple model: add, several at once, amend,
// void, undo, redo. After each step the store holds what the model says.
func TestCorrecting_Model(t *testing.T) {
	inMemory(t)
	rapid.Check(t, func(rt *rapid.T) {
		s := newStore(t)
		undo(t, s) // the beds of newStore, so that the model starts empty
		redo(t, s)
		m := &model{live: map[int64]string{}}
		base := len(m.done)
		next := int64(1)
		word := func(d, n int) string { return fmt.Sprintf("day %d sum %d", d, n) }
		visitOn := func(d, n int) farm.Visit {
			v := slugVisit("A1", "2026-07-01", n)
			v.Date = v.Date.AddDays(d)
			return v
		}
		free := func(d int, but int64) bool {
			for id, w := range m.live {
				var dd, n int
				_, _ = fmt.Sscanf(w, "day %d sum %d", &dd, &n)
				if dd == d && id != but {
					return false
				}
			}
			return true
		}
		for range rapid.IntRange(1, 14).Draw(rt, "steps") {
			switch op := rapid.SampledFrom([]string{"add", "add", "two", "amend", "void", "undo", "undo", "redo", "add then void"}).Draw(rt, "op"); op {
			case "add", "two", "add then void":
				d, n := rapid.IntRange(0, 9).Draw(rt, "day"), rapid.IntRange(0, 99).Draw(rt, "count")
				days := []int{d}
				if op == "two" {
					days = append(days, d+10)
				}
				err := s.UpdateAs(ctx, as(op), func(tx *store.Tx) error {
					for _, x := range days {
						id, err := tx.AddVisit(visitOn(x, n), at)
						if err != nil {
							return err
						}
						if op == "add then void" {
							if err := tx.Void(store.KindVisit, id, "at once", at); err != nil {
								return err
							}
						}
					}
					return nil
				})
				ok := free(d, 0) && (op != "two" || free(d+10, 0))
				require.Equal(t, ok, err == nil, "%v", err)
				if ok {
					m.write(func(live map[int64]string) {
						for _, x := range days {
							if op != "add then void" {
								live[next] = word(x, n)
							}
							next++
						}
					})
				}
			case "amend", "void":
				if len(m.live) == 0 {
					continue
				}
				id := rapid.SampledFrom(m.keys()).Draw(rt, "record")
				if op == "void" {
					require.NoError(t, s.UpdateAs(ctx, as(op), func(tx *store.Tx) error { return tx.Void(store.KindVisit, id, "wrong", at) }))
					m.write(func(live map[int64]string) { delete(live, id) })
					continue
				}
				d, n := rapid.IntRange(0, 9).Draw(rt, "day"), rapid.IntRange(0, 99).Draw(rt, "count")
				err := s.UpdateAs(ctx, as(op), func(tx *store.Tx) error {
					return tx.Replace(store.KindVisit, id, "misread", at, func() (int64, error) { return tx.AddVisit(visitOn(d, n), at) })
				})
				require.Equal(t, free(d, id), err == nil, "%v", err)
				if err == nil {
					m.write(func(live map[int64]string) { delete(live, id); live[next] = word(d, n); next++ })
				}
			case "undo":
				if len(m.done) == base {
					continue // the model does not know the beds
				}
				undo(t, s)
				m.back = append(m.back, maps.Clone(m.live))
				m.live, m.done = m.done[len(m.done)-1], m.done[:len(m.done)-1]
			case "redo":
				err := s.Update(ctx, func(tx *store.Tx) error { _, err := tx.Redo(as("redo")); return err })
				require.Equal(t, len(m.back) > 0, err == nil, "%v", err)
				if err == nil {
					m.done = append(m.done, maps.Clone(m.live))
					m.live, m.back = m.back[len(m.back)-1], m.back[:len(m.back)-1]
				}
			}
			got := map[int64]string{}
			for _, v := range visits(t, s, store.Filter{}) {
				got[v.ID] = word(v.Date.Sub(day("2026-07-01")), v.Seen()[0])
			}
			require.Equal(t, m.live, got)
		}
		sound(t, s)
		require.NoError(t, s.Close())
	})
}

// Random commands of every kind: as many undos give back every state on the
// way, in all reads, and as many redos the states after.
func TestUndo_Property(t *testing.T) {
	inMemory(t)
	rapid.Check(t, func(rt *rapid.T) {
		s := newStore(t)
		update(t, s, func(tx *store.Tx) error { _, err := tx.AddLabel(testLabel("soap"), at); return err })
		states := []string{live(t, s)}
		for range rapid.IntRange(1, 7).Draw(rt, "commands") {
			n := rapid.IntRange(1, 4).Draw(rt, "writes")
			wrote := 0
			err := s.UpdateAs(ctx, as("a command"), func(tx *store.Tx) error {
				for range n {
					ok, err := randomWrite(rt, tx)
					if err != nil {
						return err
					}
					if ok {
						wrote++
					}
				}
				return nil
			})
			require.NoError(t, err)
			if wrote > 0 {
				states = append(states, live(t, s))
			}
		}
		for i := len(states) - 2; i >= 0; i-- {
			undo(t, s)
			require.Equal(t, states[i], live(t, s))
		}
		sound(t, s)
		for i := 1; i < len(states); i++ {
			redo(t, s)
			require.Equal(t, states[i], live(t, s))
		}
		sound(t, s)
		require.NoError(t, s.Close())
	})
}

// randomWrite does one of the writes that there are; false where it changed
// nothing, as for a duplicate.
func randomWrite(rt *rapid.T, tx *store.Tx) (bool, error) {
	d := day("2026-07-01").AddDays(rapid.IntRange(0, 3).Draw(rt, "day"))
	bed := rapid.SampledFrom([]string{"A1", "B3", "b10"}).Draw(rt, "bed")
	n := rapid.IntRange(0, 5).Draw(rt, "n")
	taken := func(err error) (bool, error) {
		if errors.Is(err, store.ErrDuplicate) || errors.Is(err, store.ErrVoided) || errors.Is(err, store.ErrNotFound) {
			return false, nil
		}
		return err == nil, err
	}
	switch rapid.SampledFrom([]string{"visit", "stage", "treatment", "release", "done", "weather", "forecast", "override", "cover", "label", "bed", "set bed", "farm", "void", "amend"}).Draw(rt, "what") {
	case "visit":
		_, err := tx.AddVisit(slugVisit(bed, d.String(), n, n), at)
		return taken(err)
	case "stage":
		_, err := tx.AddStage(farm.StageEvent{Bed: bed, Date: d, Stage: farm.Stages[1+n%5]}, at)
		return taken(err)
	case "treatment":
		x := testTreatment()
		x.Bed, x.Date, x.Label = bed, d, "soap"
		_, err := tx.AddTreatment(x, 0, at)
		return taken(err)
	case "release":
		_, err := tx.AddRelease(farm.Release{Bed: bed, Agent: "a", Pest: "mite", Date: d, Amount: float64(n)}, at)
		return taken(err)
	case "done":
		_, err := tx.AddDone(farm.Done{Bed: bed, Pest: "mite", Action: "wash", Date: d}, at)
		return taken(err)
	case "weather":
		out, err := tx.AddWeather(farm.WeatherDay{Date: d, MinC: num(float64(n))}, at)
		if out == store.Present || out == store.Outranked {
			return false, err
		}
		return taken(err)
	case "forecast":
		out, err := tx.AddWeather(farm.WeatherDay{Date: d, MinC: num(float64(n)), Forecast: true}, at)
		if out == store.Present || out == store.Outranked {
			return false, err
		}
		return taken(err)
	case "override":
		_, err := tx.SetOverride(farm.Override{Pest: "slug", Measure: "mean", Level: "act", Value: float64(n), Reason: "r", Since: d}, at)
		return taken(err)
	case "cover":
		_, err := tx.AddCover(farm.PlannedCover{Bed: bed, Cover: "rye", Sow: d}, at)
		return taken(err)
	case "label":
		l := testLabel("soap")
		l.Note = fmt.Sprint(n)
		_, err := tx.AddLabel(l, at)
		return taken(err)
	case "bed":
		_, err := tx.AddBed(testBed(fmt.Sprintf("N%d", n)))
		return taken(err)
	case "set bed":
		b := testBed(bed)
		b.Plants, b.WaterM = n, num(float64(n)/7)
		return taken(tx.SetBed(b))
	case "farm":
		f := testFarm
		f.RoundMinutes, f.WaitingCost = n, 0.1+float64(n)/3
		return taken(tx.SetFarm(f))
	case "void":
		return taken(tx.Void(rapid.SampledFrom(store.Kinds).Draw(rt, "kind"), int64(1+n), "r", at))
	}
	vs, err := tx.Visits(store.Filter{})
	if err != nil || len(vs) == 0 {
		return false, err
	}
	v := vs[n%len(vs)]
	return taken(tx.Replace(store.KindVisit, v.ID, "r", at, func() (int64, error) {
		v.Counts = []farm.UnitCount{{Count: n, Seen: true}}
		return tx.AddVisit(v, at)
	}))
}

// A command that describes one bed and the farm twice is taken back to before
// the first.
func TestUndo_DescribedTwice(t *testing.T) {
	s := newStore(t)
	before := live(t, s)
	require.NoError(t, s.UpdateAs(ctx, as("twice"), func(tx *store.Tx) error {
		for n := 1; n <= 2; n++ {
			b, f := testBed("A1"), testFarm
			b.Plants, f.RoundMinutes = n, n
			if err := tx.SetBed(b); err != nil {
				return err
			}
			if err := tx.SetFarm(f); err != nil {
				return err
			}
		}
		return nil
	}))
	after := live(t, s)
	undo(t, s)
	assert.Equal(t, before, live(t, s))
	redo(t, s)
	assert.Equal(t, after, live(t, s))
}
