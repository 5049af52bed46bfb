package store_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// checks are the CHECKs in the text of a table.
func checks(sql string) (out []string) {
	for _, rest := range strings.Split(sql, "CHECK (")[1:] {
		deep := 1
		for i, r := range rest {
			switch r {
			case '(':
				deep++
			case ')':
				deep--
			}
			if deep == 0 {
				out = append(out, rest[:i])
				break
			}
		}
	}
	return out
}

// AddVisits leaves out the CHECKs in Bulk: each of them is a rule that the
// visit was checked by before, or one that no visit can break.
func TestBulk_EveryCheck(t *testing.T) {
	date := func(d civil.Date) func(*farm.Visit) { return func(v *farm.Visit) { v.Date = d } }
	shared := func(hit, of int) func(*farm.Visit) {
		return func(v *farm.Visit) { v.Presence = &farm.Presence{Infested: hit, Looked: of} }
	}
	hurt := func(hit, of int) func(*farm.Visit) {
		return func(v *farm.Visit) { v.Damage = &farm.Damage{Hurt: hit, Looked: of} }
	}
	counts := func(n int, u farm.UnitCount) func(*farm.Visit) {
		return func(v *farm.Visit) { v.Counts = slices.Repeat([]farm.UnitCount{u}, n) }
	}
	enemies := func(name string, n int) func(*farm.Visit) {
		return func(v *farm.Visit) { v.Enemies = []farm.EnemyCount{{Enemy: "ant"}, {Enemy: name, Count: n}} }
	}
	const (
		added = "sums that are made of the counts"
		pair  = "both or none, for they are one value of a visit"
		live  = "a new visit is not voided"
	)
	type rule struct {
		spoil []func(*farm.Visit)
		never string
	}
	of := func(f ...func(*farm.Visit)) rule { return rule{spoil: f} }
	rules := map[string]map[string]rule{
		"visit": {
			"date IS date(date)": of(date(civil.Date{}), date(civil.Date{Year: 2026, Month: 2, Day: 30}), date(civil.New(10000, 1, 1)), date(civil.New(-1, 1, 1))),
			"pest <> ''":         of(func(v *farm.Visit) { v.Pest = "" }),
			"unit <> ''":         of(func(v *farm.Visit) { v.Unit = "" }),
			"stratum IN ('random', 'hot spot', 'edge')":                of(func(v *farm.Visit) { v.Stratum = "" }, func(v *farm.Visit) { v.Stratum = "Edge" }),
			"units BETWEEN 0 AND 10000":                                of(counts(10001, farm.UnitCount{Seen: true})),
			"n BETWEEN 0 AND units":                                    {never: added},
			"sum >= 0":                                                 of(counts(1, farm.UnitCount{Count: -1, Seen: true})),
			"sumsq >= sum":                                             {never: added},
			"zeros BETWEEN 0 AND n":                                    {never: added},
			"infested BETWEEN 0 AND looked":                            of(shared(-1, 5), shared(6, 5)),
			"looked > 0":                                               of(shared(0, 0), shared(-1, -1)),
			"damage_hurt BETWEEN 0 AND damage_looked":                  of(hurt(-1, 5), hurt(6, 5)),
			"damage_looked > 0":                                        of(hurt(0, 0), hurt(-1, -1)),
			"soil IN ('', 'dry', 'moist', 'wet')":                      of(func(v *farm.Visit) { v.Conditions.Soil = "Wet" }),
			"foliage IN ('', 'dry', 'moist', 'wet')":                   of(func(v *farm.Visit) { v.Conditions.Foliage = "damp" }),
			"nights BETWEEN 0 AND 60":                                  of(func(v *farm.Visit) { v.Conditions.Nights = -1 }, func(v *farm.Visit) { v.Conditions.Nights = 61 }),
			"disturbed IN (0, 1)":                                      {never: "true or false"},
			"entered_at IS strftime('%Y-%m-%dT%H:%M:%SZ', entered_at)": {never: "below, for it is of no visit"},
			"voided_at IS strftime('%Y-%m-%dT%H:%M:%SZ', voided_at)":   {never: live},
			"void_reason <> ''":                                        {never: live},
			"n > 0 OR looked IS NOT NULL":                              of(counts(0, farm.UnitCount{}), counts(3, farm.UnitCount{})),
			"(infested IS NULL) = (looked IS NULL)":                    {never: pair},
			"(damage_hurt IS NULL) = (damage_looked IS NULL)":          {never: pair},
			"(voided_at IS NULL) = (void_reason IS NULL)":              {never: live},
		},
		"unit_count": {
			"seq BETWEEN 1 AND 10000":    of(counts(10001, farm.UnitCount{Seen: true})),
			"count BETWEEN 0 AND 100000": of(counts(1, farm.UnitCount{Count: -1, Seen: true}), counts(2, farm.UnitCount{Count: 100_001, Seen: true})),
		},
		"enemy_count": {
			"seq >= 1":                   {never: "they are numbered from 1"},
			"enemy <> ''":                of(enemies("", 1)),
			"count BETWEEN 0 AND 100000": of(enemies("mite", -1), enemies("mite", 100_001)),
		},
	}
	s := newStore(t)
	before := everything(t, s)
	db := raw(t, s.Path())
	for table, all := range rules {
		var sql string
		require.NoError(t, db.QueryRow("SELECT sql FROM sqlite_schema WHERE type = 'table' AND name = ?", table).Scan(&sql))
		found := checks(sql)
		assert.Len(t, found, len(all), "each CHECK of %s once", table)
		for _, check := range found {
			r, ok := all[check]
			require.True(t, ok, "no rule stands for CHECK (%s) of %s", check, table)
			require.NotEqual(t, r.never == "", len(r.spoil) == 0, check)
			for _, spoil := range r.spoil {
				v := slugVisit("A1", "2026-05-01", 3, 0)
				spoil(&v)
				err := s.Bulk(ctx, func(tx *store.Tx) error {
					_, err := tx.AddVisits(from([]farm.Visit{v}, nil), at, store.Load{})
					return err
				})
				require.ErrorIs(t, err, store.ErrInvalid, check)
			}
		}
	}
	for _, when := range []time.Time{{}, at.AddDate(8000, 0, 0), at.AddDate(-2100, 0, 0)} {
		require.Error(t, s.Bulk(ctx, func(tx *store.Tx) error {
			_, err := tx.AddVisits(from([]farm.Visit{slugVisit("A1", "2026-05-01", 3)}, nil), when, store.Load{})
			return err
		}), when)
	}
	require.Equal(t, before, everything(t, s))
}

// Only AddVisits leaves the CHECKs and the keys out: what else is written in
// Bulk is checked, before it and after it, and nothing can be written within it.
func TestBulk_ChecksTheRest(t *testing.T) {
	s := newStore(t)
	before := everything(t, s)
	load := func(tx *store.Tx) error {
		_, err := tx.AddVisits(from([]farm.Visit{slugVisit("A1", "2026-05-01", 3)}, nil), at, store.Load{})
		return err
	}
	wrong := func(tx *store.Tx) error {
		_, err := tx.SetOverride(farm.Override{Pest: "slug", Measure: "mean", Level: "often", Reason: "r", Since: day("2026-06-01")}, at)
		return err
	}
	for name, f := range map[string]func(tx *store.Tx) error{
		"before": func(tx *store.Tx) error { require.Error(t, wrong(tx)); return load(tx) },
		"after":  func(tx *store.Tx) error { require.NoError(t, load(tx)); return wrong(tx) },
		"within": func(tx *store.Tx) error {
			_, err := tx.AddVisits(from([]farm.Visit{slugVisit("A1", "2026-05-01", 3), slugVisit("A1", "2026-05-01", 3)}, nil), at, store.Load{
				Duplicate: func(farm.Visit, int64) error {
					_, err := tx.AddVisit(slugVisit("B3", "2026-05-01", 3), at)
					return err
				},
			})
			return err
		},
	} {
		require.Error(t, s.Bulk(ctx, f), name)
		require.Equal(t, before, everything(t, s), name)
	}
}

// A visit of AddVisits points to the bed that has its code now, or is refused.
func TestBulk_Keys(t *testing.T) {
	s := newStore(t)
	require.NoError(t, s.Bulk(ctx, func(tx *store.Tx) error {
		if _, err := tx.AddBed(testBed("Z1")); err != nil {
			return err
		}
		v := slugVisit("z1", "2026-05-01", 3)
		v.Enemies = []farm.EnemyCount{{Enemy: "ant", Count: 1}}
		_, err := tx.AddVisits(from([]farm.Visit{v, slugVisit("A1", "2026-05-01", 3)}, nil), at, store.Load{})
		return err
	}))
	rows, err := raw(t, s.Path()).Query("PRAGMA foreign_key_check")
	require.NoError(t, err)
	defer rows.Close()
	require.False(t, rows.Next(), "every key points to something")
	require.Equal(t, "Z1", visits(t, s, store.Filter{Bed: "Z1"})[0].Bed)

	err = s.Bulk(ctx, func(tx *store.Tx) error {
		_, err := tx.AddVisits(from([]farm.Visit{slugVisit("Z2", "2026-05-01", 3)}, nil), at, store.Load{})
		return err
	})
	require.ErrorIs(t, err, store.ErrUnknownBed)
}
