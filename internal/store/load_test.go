package store_test

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"math/rand/v2"
	"os"
	"testing"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"
	"leafturn/internal/testkit"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// someVisits makes n random visits, each with everything that a visit may hold
// now and then; some come twice.
func someVisits(rng *rand.Rand, n int) []farm.Visit {
	pick := func(words ...string) string { return words[rng.IntN(len(words))] }
	var out []farm.Visit
	units := 0
	for range n {
		if len(out) > 0 && rng.IntN(8) == 0 {
			out = append(out, out[rng.IntN(len(out))]) // there already
			continue
		}
		v := farm.Visit{Bed: pick("A1", "b3", "B10"), Pest: pick("slug", "mite", "thrips"), Unit: pick("board", "leaf"),
			Stratum: farm.Strata[rng.IntN(len(farm.Strata))], Date: day("2026-05-01").AddDays(rng.IntN(120)), Counts: []farm.UnitCount{{Seen: true}}}
		if rng.IntN(3) == 0 { // else as many as before
			units = rng.IntN(4) * rng.IntN(300) / (1 + rng.IntN(40))
		}
		high, lost := float64(pickInt(rng, 3, 50, 700)), pickInt(rng, 0, 0, 20)
		for range units {
			v.Counts = append(v.Counts, farm.UnitCount{Count: int(rng.ExpFloat64() * high), Seen: rng.IntN(100) >= lost})
		}
		for i, u := range v.Counts {
			if !u.Seen {
				v.Counts[i].Count = 0 // as it is read back
			}
		}
		if rng.IntN(4) == 0 {
			v.Presence = &farm.Presence{Infested: rng.IntN(5), Looked: 5 + rng.IntN(9)}
			if rng.IntN(2) == 0 {
				v.Counts = nil
			}
		}
		if rng.IntN(4) == 0 {
			v.Conditions = farm.Conditions{Soil: farm.Wet, AirC: num(float64(rng.IntN(30))), Nights: rng.IntN(4), Disturbed: rng.IntN(2) > 0}
			v.Damage, v.Observer, v.Note = &farm.Damage{Hurt: 1, Looked: 20}, "K.", "by the hedge"
			v.Enemies = []farm.EnemyCount{{Enemy: "ant", Count: rng.IntN(9)}}
		}
		out = append(out, v)
	}
	return out
}

func pickInt(rng *rand.Rand, of ...int) int { return of[rng.IntN(len(of))] }

func from(vs []farm.Visit, end error) iter.Seq2[farm.Visit, error] {
	return func(yield func(farm.Visit, error) bool) {
		for _, v := range vs {
			if !yield(v, nil) {
				return
			}
		}
		if end != nil {
			yield(farm.Visit{}, end)
		}
	}
}

// AddVisits leaves the store as AddVisit does one by one, with the same record
// numbers and the same duplicates, in Bulk and in Update.
func TestAddVisits_AsAddVisit(t *testing.T) {
	rng := testkit.Seeded(4, 1)
	for _, n := range []int{0, 1, 63, 64, 65, 400, 900} {
		vs := someVisits(rng, n)
		one := newStore(t)
		var want store.Loaded
		var left []string
		update(t, one, func(tx *store.Tx) error {
			for _, v := range vs {
				id, err := tx.AddVisit(v, at)
				switch {
				case errors.Is(err, store.ErrDuplicate):
					left = append(left, fmt.Sprint(v.Bed, v.Date, v.Pest, id))
					want.Left++
					continue
				case err != nil:
					return err
				case want.First == 0:
					want.First = id
				}
				want.Visits, want.Counts, want.Last = want.Visits+1, want.Counts+len(v.Counts), id
			}
			return nil
		})
		stored := map[int64]farm.Visit{}
		for _, v := range visits(t, one, store.Filter{}) {
			stored[v.ID] = v
		}
		for name, begin := range map[string]func(*store.Store) func(context.Context, func(*store.Tx) error) error{
			"bulk":   func(s *store.Store) func(context.Context, func(*store.Tx) error) error { return s.Bulk },
			"update": func(s *store.Store) func(context.Context, func(*store.Tx) error) error { return s.Update },
		} {
			s := newStore(t)
			var got store.Loaded
			var gotLeft []string
			told := 0
			require.NoError(t, begin(s)(ctx, func(tx *store.Tx) (err error) {
				got, err = tx.AddVisits(from(vs, nil), at, store.Load{
					Progress: func(n int) { told = n },
					Duplicate: func(v farm.Visit, old int64) error {
						gotLeft = append(gotLeft, fmt.Sprint(v.Bed, v.Date, v.Pest, old))
						there, err := tx.Visit(old) // whole, although it came in the same load
						assert.Equal(t, stored[old], there)
						return err
					},
				})
				return err
			}))
			require.Equal(t, want, got, "%s of %d", name, n)
			require.Equal(t, left, gotLeft)
			require.Equal(t, n, told)
			require.Equal(t, everything(t, one), everything(t, s), "%s of %d", name, n)
			sound(t, s)
		}
	}
}

// Whatever is wrong with one visit, nothing of the load is stored, and the same
// words are said as for AddVisit.
func TestAddVisits_OneWrong(t *testing.T) {
	rng := testkit.Seeded(4, 2)
	mine := errors.New("row 7: mine")
	for name, spoil := range map[string]func(*farm.Visit){
		"a count under zero": func(v *farm.Visit) { v.Counts = []farm.UnitCount{{Count: -1, Seen: true}} },
		"a count too high":   func(v *farm.Visit) { v.Counts = []farm.UnitCount{{Count: farm.MaxCount + 1, Seen: true}} },
		"no counts":          func(v *farm.Visit) { v.Counts, v.Presence = nil, nil },
		"no such bed":        func(v *farm.Visit) { v.Bed = "Z9" },
		"no date":            func(v *farm.Visit) { v.Date = civil.Date{} },
		"no pest":            func(v *farm.Visit) { v.Pest = "" },
		"no such stratum":    func(v *farm.Visit) { v.Stratum = "all" },
		"no enemy":           func(v *farm.Visit) { v.Enemies = []farm.EnemyCount{{}} },
		"soil":               func(v *farm.Visit) { v.Conditions.Soil = "muddy" },
		"there already":      nil,
		"the source":         nil,
	} {
		for _, place := range []int{0, 70, 199} {
			s := newStore(t)
			before := everything(t, s)
			vs := someVisits(rng, 0)
			for i := range 200 {
				v := slugVisit("A1", "2026-01-01", 1, 2, 3)
				v.Date = v.Date.AddDays(i)
				vs = append(vs, v)
			}
			var end error
			switch {
			case spoil != nil:
				spoil(&vs[place])
			case name == "the source":
				vs, end = vs[:place], mine
			default:
				vs = append(vs, vs[place])
			}
			for _, swallow := range []bool{false, true} {
				err := s.Bulk(ctx, func(tx *store.Tx) error {
					_, err := tx.AddVisits(from(vs, end), at, store.Load{})
					require.Error(t, err)
					if swallow {
						return nil
					}
					return err
				})
				require.Error(t, err, name)
				if end != nil {
					require.ErrorIs(t, err, mine)
				}
				require.Equal(t, before, everything(t, s), name)
			}
			if spoil != nil {
				one := s.Update(ctx, func(tx *store.Tx) error { _, err := tx.AddVisit(vs[place], at); return err })
				all := s.Bulk(ctx, func(tx *store.Tx) error { _, err := tx.AddVisits(from(vs, nil), at, store.Load{}); return err })
				require.Equal(t, errors.Is(one, store.ErrInvalid), errors.Is(all, store.ErrInvalid), name)
				require.Equal(t, errors.Is(one, store.ErrUnknownBed), errors.Is(all, store.ErrUnknownBed), name)
			}
		}
	}
}

// A statement fails, the disk is full, or the load is stopped: nothing stays.
func TestBulk_Faults(t *testing.T) {
	vs := someVisits(testkit.Seeded(4, 3), 300)
	load := func(ctx context.Context, s *store.Store) error {
		return s.Bulk(ctx, func(tx *store.Tx) error {
			_, err := tx.AddVisits(from(vs, nil), at, store.Load{Duplicate: func(farm.Visit, int64) error { return nil }})
			return err
		})
	}
	t.Run("statement", func(t *testing.T) {
		var fault testkit.Fault
		s := newStore(t, store.WithHook(fault.Hook))
		before := everything(t, s)
		for n := 1; ; n++ {
			fault.Arm(n)
			err := load(ctx, s)
			fault.Arm(0)
			if err == nil {
				assert.Greater(t, n, 20)
				break
			}
			require.ErrorIs(t, err, testkit.ErrFault)
			if n%7 == 0 {
				require.Equal(t, before, everything(t, s), "statement %d", n)
			}
		}
		require.NotEqual(t, before, everything(t, s))
		sound(t, s)
	})
	t.Run("full disk", func(t *testing.T) {
		s := newStore(t)
		before, path := everything(t, s), s.Path()
		require.NoError(t, s.Close())
		info, err := os.Stat(path)
		require.NoError(t, err)
		full := 0
		for pages := int(info.Size() / 4096); ; pages++ {
			s, err := store.Open(ctx, path, store.WithMaxPages(pages))
			require.NoError(t, err)
			if err = load(ctx, s); err != nil {
				full++
				forPeople(t, err, store.ErrFull)
				require.Equal(t, before, everything(t, s), "%d pages", pages)
				require.NoError(t, s.Close())
				continue
			}
			sound(t, s)
			require.NoError(t, s.Close())
			break
		}
		assert.Greater(t, full, 10)
	})
	t.Run("stopped", func(t *testing.T) {
		s := newStore(t)
		before := everything(t, s)
		for _, n := range []int{0, 1, 64, 200, 299} {
			running, cancel := context.WithCancel(ctx)
			err := s.Bulk(running, func(tx *store.Tx) error {
				_, err := tx.AddVisits(func(yield func(farm.Visit, error) bool) {
					for i, v := range vs {
						if i == n {
							cancel()
						}
						if !yield(v, nil) {
							return
						}
					}
				}, at, store.Load{Duplicate: func(farm.Visit, int64) error { return nil }})
				return err
			})
			cancel()
			forPeople(t, err, context.Canceled)
			require.Equal(t, before, everything(t, s))
		}
		require.NoError(t, load(ctx, s))
		sound(t, s)
	})
}

// With the keys off, a row that points to nothing is found before the commit.
func TestBulk_PointsToNothing(t *testing.T) {
	s := newStore(t)
	rawExec(t, s.Path(), "PRAGMA foreign_keys = 0", "INSERT INTO enemy_count VALUES (77, 1, 'ant', 1)")
	err := s.Bulk(ctx, func(tx *store.Tx) error { _, err := tx.AddVisit(slugVisit("A1", "2026-07-01", 1), at); return err })
	forPeople(t, err, store.ErrDamaged)
	assert.Empty(t, visits(t, s, store.Filter{}))
}
