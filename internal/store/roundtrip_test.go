package store_test

import (
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"
	"leafturn/internal/units"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestFarm_RoundTrip(t *testing.T) {
	s := newStore(t)
	assert.Equal(t, store.SchemaVersion, s.Schema())
	for _, f := range []farm.Farm{testFarm, {TimeZone: "UTC", Units: units.US}} { // the second: frosts and zone not known
		update(t, s, func(tx *store.Tx) error { return tx.SetFarm(f) })
		view(t, s, func(tx *store.Tx) error {
			got, err := tx.Farm()
			assert.Equal(t, f, got)
			return err
		})
	}
	forPeople(t, s.Update(ctx, func(tx *store.Tx) error { return tx.SetFarm(farm.Farm{Units: "furlongs"}) }), store.ErrInvalid)
}

func TestBeds(t *testing.T) {
	s := newStore(t)
	plain := farm.Bed{Code: "C-2", LengthM: 3, WidthM: 0.75} // X, Y not given
	update(t, s, func(tx *store.Tx) error {
		id, err := tx.AddBed(plain)
		plain.ID = id
		return err
	})
	view(t, s, func(tx *store.Tx) error {
		beds, err := tx.Beds()
		require.NoError(t, err)
		var codes []string
		for _, b := range beds {
			codes = append(codes, b.Code)
		}
		assert.Equal(t, []string{"A1", "b10", "B3", "C-2"}, codes, "by code, whatever the case")
		got, err := tx.Bed("c-2")
		assert.Equal(t, plain, got)
		require.NoError(t, err)
		got, err = tx.Bed("B10")
		want := testBed("b10")
		want.ID = got.ID
		assert.Equal(t, want, got)
		return err
	})
	err := s.Update(ctx, func(tx *store.Tx) error { _, err := tx.AddBed(testBed("a1")); return err })
	forPeople(t, err, store.ErrDuplicate)
	var dup *store.DuplicateError
	require.ErrorAs(t, err, &dup)
	assert.Equal(t, store.DuplicateError{Kind: store.KindBed, ID: 1}, *dup)

	err = s.View(ctx, func(tx *store.Tx) error { _, err := tx.Bed("A11"); return err })
	p := forPeople(t, err, store.ErrUnknownBed)
	assert.Equal(t, `unknown bed "A11"; did you mean "A1"?`, p.What)
	assert.Empty(t, p.Kept, "nothing is at stake in a view")

	changed := testBed("a1")
	changed.Plants, changed.X, changed.Y = 0, nil, nil
	update(t, s, func(tx *store.Tx) error { return tx.SetBed(changed) })
	view(t, s, func(tx *store.Tx) error {
		got, err := tx.Bed("A1")
		changed.ID, changed.Code = 1, "A1"
		assert.Equal(t, changed, got)
		return err
	})
	for name, change := range map[string]func(*farm.Bed){
		"code a number": func(b *farm.Bed) { b.Code = "12" }, "no length": func(b *farm.Bed) { b.LengthM = 0 },
		"width NaN": func(b *farm.Bed) { b.WidthM = math.NaN() }, "x Inf": func(b *farm.Bed) { b.X = num(math.Inf(1)) },
		"x alone": func(b *farm.Bed) { b.Y = nil }, "plants": func(b *farm.Bed) { b.Plants = -1 }, "irrigation": func(b *farm.Bed) { b.Irrigation = "flood" },
	} {
		b := testBed("D1")
		change(&b)
		t.Run(name, func(t *testing.T) {
			forPeople(t, s.Update(ctx, func(tx *store.Tx) error { _, err := tx.AddBed(b); return err }), store.ErrInvalid)
		})
	}
}

// Every value that a visit can hold comes back as it was, and the kept sums
// are those of the counts.
func TestVisit_RoundTripProperty(t *testing.T) {
	s := newStore(t)
	next := day("2020-01-01")
	beds := []string{"A1", "B3", "b10"}
	opt := func(rt *rapid.T, name string) *float64 {
		if !rapid.Bool().Draw(rt, name+" known") {
			return nil
		}
		return num(rapid.Float64Range(-40, 60).Draw(rt, name))
	}
	rapid.Check(t, func(rt *rapid.T) {
		next = next.AddDays(1)
		n := rapid.IntRange(1, 3).Draw(rt, "visits")
		var want []farm.Visit
		for i := range n {
			v := farm.Visit{
				Bed: beds[i], Date: next, Pest: rapid.SampledFrom([]string{"slug", "mite"}).Draw(rt, "pest"), Unit: "leaf",
				Stratum: rapid.SampledFrom(farm.Strata).Draw(rt, "stratum"),
				Conditions: farm.Conditions{
					Soil:    rapid.SampledFrom([]farm.Wetness{farm.Unknown, farm.Dry, farm.Moist, farm.Wet}).Draw(rt, "soil"),
					Foliage: rapid.SampledFrom([]farm.Wetness{farm.Unknown, farm.Dry, farm.Moist, farm.Wet}).Draw(rt, "foliage"),
					AirC:    opt(rt, "air"), SoilC: opt(rt, "soil temperature"),
					Nights: rapid.IntRange(0, 60).Draw(rt, "nights"), Disturbed: rapid.Bool().Draw(rt, "disturbed"),
				},
				Observer: rapid.String().Draw(rt, "observer"), Note: rapid.String().Draw(rt, "note"),
			}
			for range rapid.SampledFrom([]int{0, 1, 2, 7, 40, 501}).Draw(rt, "units") {
				c := rapid.SampledFrom([]int{-1, 0, 0, 1, 7, farm.MaxCount}).Draw(rt, "count") // -1: not looked at
				v.Counts = append(v.Counts, farm.UnitCount{Count: max(c, 0), Seen: c >= 0})
			}
			if len(v.Seen()) == 0 || rapid.Bool().Draw(rt, "presence too") {
				looked := rapid.IntRange(1, 60).Draw(rt, "looked")
				v.Presence = &farm.Presence{Looked: looked, Infested: rapid.IntRange(0, looked).Draw(rt, "infested")}
			}
			if rapid.Bool().Draw(rt, "damage") {
				v.Damage = &farm.Damage{Looked: 9, Hurt: rapid.IntRange(0, 9).Draw(rt, "hurt")}
			}
			for range rapid.IntRange(0, 3).Draw(rt, "enemies") {
				v.Enemies = append(v.Enemies, farm.EnemyCount{Enemy: rapid.SampledFrom([]string{"beetle", "mite"}).Draw(rt, "enemy"), Count: rapid.IntRange(0, 9).Draw(rt, "number")})
			}
			want = append(want, v)
		}
		if err := s.Update(ctx, func(tx *store.Tx) error {
			for i := range want {
				id, err := tx.AddVisit(want[i], at)
				if err != nil {
					return err
				}
				want[i].ID = id
			}
			return nil
		}); err != nil {
			rt.Fatal(err)
		}
		order := map[string]int{"A1": 0, "b10": 1, "B3": 2}
		slices.SortFunc(want, func(a, b farm.Visit) int { return order[a.Bed] - order[b.Bed] })
		if err := s.View(ctx, func(tx *store.Tx) error {
			got, err := tx.Visits(store.Filter{From: next, To: next})
			if err != nil {
				return err
			}
			if !assert.ObjectsAreEqual(want, got) {
				rt.Fatalf("stored %+v\nread %+v", want, got)
			}
			heads, err := tx.Headers(store.Filter{From: next, To: next})
			if err != nil {
				return err
			}
			for i, h := range heads {
				w := store.Header{ID: want[i].ID, Bed: want[i].Bed, Date: next, Pest: want[i].Pest, Unit: want[i].Unit, Stratum: want[i].Stratum, Units: len(want[i].Counts), Presence: want[i].Presence}
				for _, c := range want[i].Seen() {
					w.N++
					w.Sum += int64(c)
					w.SumSq += int64(c) * int64(c)
					if c == 0 {
						w.Zeros++
					}
				}
				if !assert.ObjectsAreEqual(w, h) {
					rt.Fatalf("want sums %+v, got %+v", w, h)
				}
			}
			one, err := tx.Visit(want[0].ID)
			if !assert.ObjectsAreEqual(want[0], one) {
				rt.Fatalf("by number: %+v", one)
			}
			return err
		}); err != nil {
			rt.Fatal(err)
		}
	})
	sound(t, s)
}

// A zero is a count, a unit that was not looked at is none.
func TestVisit_ZeroIsNotMissing(t *testing.T) {
	s := newStore(t)
	update(t, s, func(tx *store.Tx) error {
		if _, err := tx.AddVisit(slugVisit("A1", "2026-07-06", 0, -1, 0), at); err != nil {
			return err
		}
		_, err := tx.AddVisit(slugVisit("B3", "2026-07-06", 0, 0, 0), at)
		return err
	})
	got := visits(t, s, store.Filter{})
	assert.Equal(t, []int{0, 0}, got[0].Seen())
	assert.False(t, got[0].Counts[1].Seen)
	assert.Equal(t, []int{0, 0, 0}, got[1].Seen())
	var nulls, zeros int
	require.NoError(t, raw(t, s.Path()).QueryRow("SELECT count(*) FILTER (WHERE count IS NULL), count(*) FILTER (WHERE count = 0) FROM unit_count").Scan(&nulls, &zeros))
	assert.Equal(t, [2]int{1, 5}, [2]int{nulls, zeros})
}

func TestVisit_Refused(t *testing.T) {
	s := newStore(t)
	for name, c := range map[string]struct {
		change func(*farm.Visit)
		want   error
	}{
		"unknown bed":   {func(v *farm.Visit) { v.Bed = "Z9" }, store.ErrUnknownBed},
		"no counts":     {func(v *farm.Visit) { v.Counts = nil }, store.ErrInvalid},
		"none looked":   {func(v *farm.Visit) { v.Counts = []farm.UnitCount{{}} }, store.ErrInvalid},
		"below zero":    {func(v *farm.Visit) { v.Counts[0].Count = -1 }, store.ErrInvalid},
		"stratum":       {func(v *farm.Visit) { v.Stratum = "" }, store.ErrInvalid},
		"no date":       {func(v *farm.Visit) { v.Date = civil.Date{} }, store.ErrInvalid},
		"31 February":   {func(v *farm.Visit) { v.Date = civil.Date{Year: 12026, Month: 2, Day: 1} }, store.ErrInvalid},
		"no pest":       {func(v *farm.Visit) { v.Pest = "" }, store.ErrInvalid},
		"soil word":     {func(v *farm.Visit) { v.Conditions.Soil = "soggy" }, store.ErrInvalid},
		"NaN":           {func(v *farm.Visit) { v.Conditions.AirC = num(math.NaN()) }, store.ErrInvalid},
		"enemy no name": {func(v *farm.Visit) { v.Enemies = []farm.EnemyCount{{Count: 1}} }, store.ErrInvalid},
	} {
		t.Run(name, func(t *testing.T) {
			v := slugVisit("A1", "2026-07-06", 1, 2)
			c.change(&v)
			// Even when the caller swallows the refusal, no half is stored.
			err := s.Update(ctx, func(tx *store.Tx) error { _, err := tx.AddVisit(v, at); forPeople(t, err, c.want); return err })
			forPeople(t, err, c.want)
			_ = s.Update(ctx, func(tx *store.Tx) error { _, _ = tx.AddVisit(v, at); return nil })
			assert.Empty(t, visits(t, s, store.Filter{}))
		})
	}
	require.Error(t, s.Update(ctx, func(tx *store.Tx) error {
		_, err := tx.AddVisit(slugVisit("A1", "2026-07-06", 1), time.Time{})
		return err
	}), "no instant of entry")
	sound(t, s)
}

func TestVisit_DuplicateAndVoid(t *testing.T) {
	s := newStore(t)
	add := func(tx *store.Tx, v farm.Visit) int64 {
		id, err := tx.AddVisit(v, at)
		require.NoError(t, err)
		return id
	}
	update(t, s, func(tx *store.Tx) error {
		first := add(tx, slugVisit("A1", "2026-07-06", 1, 2, 3))
		other := slugVisit("A1", "2026-07-06", 9)
		other.Stratum = farm.HotSpot // not the same visit
		add(tx, other)
		id, err := tx.AddVisit(slugVisit("a1", "2026-07-06", 7), at)
		p := forPeople(t, err, store.ErrDuplicate)
		var dup *store.DuplicateError
		require.ErrorAs(t, err, &dup)
		assert.Equal(t, store.DuplicateError{Kind: store.KindVisit, ID: first}, *dup)
		assert.Equal(t, first, id)
		assert.Contains(t, p.What, "in bed A1 (random) on 2026-07-06 is already stored: visit record 1")
		add(tx, slugVisit("A1", "2026-07-13", 4)) // the transaction goes on
		return nil
	})
	assert.Len(t, visits(t, s, store.Filter{Bed: "a1"}), 3)

	update(t, s, func(tx *store.Tx) error { return tx.Void(store.KindVisit, 1, " wrong bed ", at.Add(time.Hour)) })
	p := forPeople(t, s.Update(ctx, func(tx *store.Tx) error { return tx.Void(store.KindVisit, 1, "again", at) }), store.ErrVoided)
	assert.Contains(t, p.What, "visit record 1 was voided already on 2026-07-13T19:30:05Z: wrong bed")
	forPeople(t, s.Update(ctx, func(tx *store.Tx) error { return tx.Void(store.KindVisit, 99, "x", at) }), store.ErrNotFound)
	forPeople(t, s.Update(ctx, func(tx *store.Tx) error { return tx.Void(store.KindVisit, 2, " ", at) }), store.ErrInvalid)
	forPeople(t, s.Update(ctx, func(tx *store.Tx) error { return tx.Void("visti", 2, "x", at) }), store.ErrInvalid)

	assert.Len(t, visits(t, s, store.Filter{}), 2)
	assert.Len(t, visits(t, s, store.Filter{IncludeVoided: true}), 3)
	update(t, s, func(tx *store.Tx) error { add(tx, slugVisit("A1", "2026-07-06", 5)); return nil }) // its place is free again
	view(t, s, func(tx *store.Tx) error {
		recs, err := tx.Records(store.KindVisit, store.Filter{IncludeVoided: true, To: day("2026-07-06")})
		require.Len(t, recs, 3)
		assert.Equal(t, store.Record{Kind: store.KindVisit, ID: 1, Bed: "A1", Date: day("2026-07-06"), What: "slug on board (random)",
			EnteredAt: at, VoidedAt: at.Add(time.Hour), VoidReason: "wrong bed"}, recs[0])
		assert.True(t, recs[1].VoidedAt.IsZero())
		return err
	})
	sound(t, s)
}

func TestLatestVisits(t *testing.T) {
	s := newStore(t)
	update(t, s, func(tx *store.Tx) error {
		for _, v := range []farm.Visit{
			slugVisit("A1", "2026-07-13", 5), slugVisit("A1", "2026-06-29", 1), slugVisit("A1", "2026-07-06", 2, 4),
			slugVisit("B3", "2026-07-06", 0), slugVisit("b10", "2026-07-20", 8),
		} {
			if _, err := tx.AddVisit(v, at); err != nil {
				return err
			}
		}
		edge := slugVisit("A1", "2026-06-01", 6)
		edge.Stratum = farm.Edge
		_, err := tx.AddVisit(edge, at)
		return err
	})
	latest := func(asOf civil.Date) (out []string) {
		view(t, s, func(tx *store.Tx) error {
			hs, err := tx.LatestVisits(asOf)
			for _, h := range hs {
				out = append(out, fmt.Sprintf("%s %s %s n=%d sum=%d", h.Bed, h.Stratum, h.Date, h.N, h.Sum))
			}
			return err
		})
		return out
	}
	assert.Equal(t, []string{"A1 edge 2026-06-01 n=1 sum=6", "A1 random 2026-07-06 n=2 sum=6", "B3 random 2026-07-06 n=1 sum=0"}, latest(day("2026-07-12")))
	assert.Equal(t, []string{"A1 edge 2026-06-01 n=1 sum=6", "A1 random 2026-07-13 n=1 sum=5", "b10 random 2026-07-20 n=1 sum=8", "B3 random 2026-07-06 n=1 sum=0"}, latest(civil.Date{}))
	update(t, s, func(tx *store.Tx) error { return tx.Void(store.KindVisit, 1, "wrong", at) })
	assert.Contains(t, latest(civil.Date{}), "A1 random 2026-07-06 n=2 sum=6", "the one before counts again")

	rows, err := raw(t, s.Path()).Query("EXPLAIN QUERY PLAN "+store.LatestSQL, "2026-07-12")
	require.NoError(t, err)
	plan := ""
	for rows.Next() {
		var id, parent, x int
		var detail string
		require.NoError(t, rows.Scan(&id, &parent, &x, &detail))
		plan += detail + "\n"
	}
	assert.Contains(t, plan, "USING INDEX visit_live")
	assert.NotContains(t, plan, "TEMP B-TREE FOR GROUP BY")
}

func TestFilter(t *testing.T) {
	s := newStore(t)
	update(t, s, fillAll)
	assert.Len(t, visits(t, s, store.Filter{Pest: "mite"}), 1)
	assert.Len(t, visits(t, s, store.Filter{From: day("2026-07-07")}), 0)
	assert.Len(t, visits(t, s, store.Filter{From: day("2026-07-06"), To: day("2026-07-06")}), 2)
	assert.Len(t, visits(t, s, store.Filter{Bed: "b3", Pest: "slug"}), 0)
	for name, read := range map[string]func(tx *store.Tx, f store.Filter) (int, error){
		"stages":     func(tx *store.Tx, f store.Filter) (int, error) { r, err := tx.Stages(f); return len(r), err },
		"treatments": func(tx *store.Tx, f store.Filter) (int, error) { r, err := tx.Treatments(f); return len(r), err },
		"releases":   func(tx *store.Tx, f store.Filter) (int, error) { r, err := tx.Releases(f); return len(r), err },
		"done":       func(tx *store.Tx, f store.Filter) (int, error) { r, err := tx.Dones(f); return len(r), err },
		"covers":     func(tx *store.Tx, f store.Filter) (int, error) { r, err := tx.Covers(f); return len(r), err },
	} {
		t.Run(name, func(t *testing.T) {
			view(t, s, func(tx *store.Tx) error {
				n, err := read(tx, store.Filter{IncludeVoided: true})
				assert.Equal(t, 1, n)
				require.NoError(t, err)
				n, err = read(tx, store.Filter{IncludeVoided: true, Bed: "b10"})
				assert.Zero(t, n)
				require.NoError(t, err)
				n, err = read(tx, store.Filter{IncludeVoided: true, From: day("2030-01-01")})
				assert.Zero(t, n)
				require.NoError(t, err)
				_, err = read(tx, store.Filter{Bed: "nowhere"})
				forPeople(t, err, store.ErrUnknownBed)
				return nil
			})
		})
	}
}

func TestWriteInView(t *testing.T) {
	s := newStore(t)
	err := s.View(ctx, func(tx *store.Tx) error { _, err := tx.AddVisit(slugVisit("A1", "2026-07-06", 1), at); return err })
	require.ErrorContains(t, err, "called in View")
	assert.Empty(t, visits(t, s, store.Filter{}))
}

// The names that a careless DSN would open as another file.
func TestPath_Odd(t *testing.T) {
	for _, name := range []string{"my farm.db", "a?mode=memory.db", "b#c.db", "100%41.db", "Grünfläche – 畑.db", "file:x.db", "semi;colon&x=1.db", "it's.db"} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "new folder?", "deep")
			path := filepath.Join(dir, name)
			s, err := store.Create(ctx, path, testFarm)
			require.NoError(t, err)
			assert.Equal(t, path, s.Path())
			update(t, s, func(tx *store.Tx) error { _, err := tx.AddBed(testBed("A1")); return err })
			require.NoError(t, s.Backup(ctx, path+" copy?#.bak"))
			require.NoError(t, s.Close())
			names, err := filepath.Glob(filepath.Join(filepath.Dir(dir), "deep", "*"))
			require.NoError(t, err)
			assert.ElementsMatch(t, []string{path, path + " copy?#.bak"}, names, "these files and no other")
			for _, p := range names {
				s, err := store.Open(ctx, p)
				require.NoError(t, err)
				view(t, s, func(tx *store.Tx) error { _, err := tx.Bed("A1"); return err })
				require.NoError(t, s.Close())
			}
		})
	}
}

// What names the farm in calendar entries stays when the farm is described
// anew, differs between farms, and may be chosen for a farm that is made again
// and again.
func TestFarmUID(t *testing.T) {
	uid := func(s *store.Store) (out string) {
		view(t, s, func(tx *store.Tx) (err error) { out, err = tx.FarmUID(); return err })
		return out
	}
	a, b := newStore(t), newStore(t)
	first := uid(a)
	require.Regexp(t, "^[0-9a-f]{16}$", first)
	require.NotEqual(t, first, uid(b))
	update(t, a, func(tx *store.Tx) error { f := testFarm; f.Name = "Another"; return tx.SetFarm(f) })
	require.Equal(t, first, uid(a))
	s, err := store.Create(ctx, filepath.Join(t.TempDir(), "x.db"), testFarm, store.WithFarmUID("demo"))
	require.NoError(t, err)
	defer s.Close()
	require.Equal(t, "demo", uid(s))
}

func TestCalendarEntries(t *testing.T) {
	s := newStore(t)
	e := farm.CalendarEntry{UID: "x", Sequence: 2, Revised: at, Entry: json.RawMessage(`{"a": [1, 2]}`)}
	update(t, s, func(tx *store.Tx) error { return tx.SetCalendarEntry(e) })
	later := e
	later.Sequence, later.Cancelled = 3, true
	update(t, s, func(tx *store.Tx) error { return tx.SetCalendarEntry(later) })
	view(t, s, func(tx *store.Tx) error {
		got, err := tx.CalendarEntries()
		assert.Equal(t, []farm.CalendarEntry{later}, got)
		return err
	})
	for _, change := range map[string]func(*farm.CalendarEntry){
		"a sequence that falls": func(e *farm.CalendarEntry) {}, "no identifier": func(e *farm.CalendarEntry) { e.UID, e.Sequence = "", 9 },
		"not JSON": func(e *farm.CalendarEntry) { e.Sequence, e.Entry = 9, json.RawMessage("{") }, "below 0": func(e *farm.CalendarEntry) { e.UID, e.Sequence = "y", -1 },
	} {
		bad := e
		change(&bad)
		forPeople(t, s.Update(ctx, func(tx *store.Tx) error { return tx.SetCalendarEntry(bad) }), store.ErrInvalid)

	}
}
