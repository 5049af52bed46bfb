package store_test

import (
	"context"
	"database/sql"
	"encoding/json"
	"net/url"
	"os"
	"path/filepath"
	"testing"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/store"
	"leafturn/internal/units"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var (
	ctx = context.Background()
	at  = time.Date(2026, 7, 13, 18, 30, 5, 0, time.UTC)
	day = civil.MustParse
)

func num(v float64) *float64 { return &v }

// invented data, as everywhere in these tests
var testFarm = farm.Farm{
	Name: "Höhenfeld", Place: "a hill", Country: "AT", TimeZone: "Europe/Vienna", HardinessZone: "7a",
	LastFrost: civil.MonthDay{Month: 5, Day: 12}, FirstFrost: civil.MonthDay{Month: 10, Day: 9},
	Units: units.Metric, Organic: true, ScoutDay: time.Tuesday, Pests: []string{"slug", "thrips"}, Area: []string{"no_potato_leafhopper"}, WaitingCost: 2.5,
	FarmMore: farm.FarmMore{
		Latitude: num(48.2), Longitude: num(-16.4), WorkDays: []time.Weekday{time.Monday, time.Sunday}, HarvestDays: []time.Weekday{time.Friday},
		WorkHours: "07:00-12:00", RoundMinutes: 90, Normals: []farm.MonthNormal{{MinC: -3.5, MaxC: 2}, {MinC: -2, MaxC: 4.25}},
	},
}

func testBed(code string) farm.Bed {
	return farm.Bed{Code: code, Block: "north", X: num(0), Y: num(-2.5), LengthM: 20, WidthM: 1.2, Plants: 60, Cultivar: "mixed", Irrigation: farm.Drip, Site: farm.Outdoor,
		BedMore: farm.BedMore{WaterM: num(0), Animals: "hens", LeavesPerPlant: 40}}
}

func slugVisit(bed, date string, counts ...int) farm.Visit {
	v := farm.Visit{Bed: bed, Date: day(date), Pest: "slug", Unit: "board", Stratum: farm.Random}
	for _, c := range counts {
		v.Counts = append(v.Counts, farm.UnitCount{Count: max(c, 0), Seen: c >= 0}) // -1: not looked at
	}
	return v
}

// newStore makes a store with beds A1, B3 and b10.
func newStore(t testing.TB, opts ...store.Option) *store.Store {
	t.Helper()
	s, err := store.Create(ctx, filepath.Join(t.TempDir(), "farm.db"), testFarm, opts...)
	require.NoError(t, err)
	t.Cleanup(func() { _ = s.Close() })
	update(t, s, func(tx *store.Tx) error {
		for _, code := range []string{"A1", "B3", "b10"} {
			if _, err := tx.AddBed(testBed(code)); err != nil {
				return err
			}
		}
		return nil
	})
	return s
}

func update(t testing.TB, s *store.Store, f func(tx *store.Tx) error) {
	t.Helper()
	require.NoError(t, s.Update(ctx, f))
}

func view(t testing.TB, s *store.Store, f func(tx *store.Tx) error) {
	t.Helper()
	require.NoError(t, s.View(ctx, f))
}

func visits(t testing.TB, s *store.Store, f store.Filter) (out []farm.Visit) {
	t.Helper()
	view(t, s, func(tx *store.Tx) (err error) { out, err = tx.Visits(f); return err })
	return out
}

// sound fails unless the store checks clean.
func sound(t testing.TB, s *store.Store) {
	t.Helper()
	findings, err := s.Check(ctx)
	require.NoError(t, err)
	require.Empty(t, findings)
}

// forPeople fails unless err is a Problem that says what to do and is target.
func forPeople(t testing.TB, err, target error) *diag.Problem {
	t.Helper()
	require.Error(t, err)
	require.ErrorIs(t, err, target)
	var p *diag.Problem
	require.ErrorAs(t, err, &p)
	assert.NotEmpty(t, p.What)
	assert.NotEmpty(t, p.Do, "what to do")
	return p
}

// raw opens the file without the package under test.
func raw(t testing.TB, file string) *sql.DB {
	t.Helper()
	u := url.URL{Scheme: "file", Path: file, RawQuery: "mode=rw&_pragma=busy_timeout(2000)"}
	db, err := sql.Open("sqlite", u.String())
	require.NoError(t, err)
	t.Cleanup(func() { _ = db.Close() })
	return db
}

func rawExec(t testing.TB, file string, queries ...string) {
	t.Helper()
	db := raw(t, file)
	for _, q := range queries {
		_, err := db.Exec(q)
		require.NoError(t, err, q)
	}
	require.NoError(t, db.Close())
}

func copyFile(t testing.TB, from, to string) string {
	t.Helper()
	b, err := os.ReadFile(from)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(to, b, 0o644))
	return to
}

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	file := filepath.Join("testdata", name)
	if os.Getenv("UPDATE_GOLDEN") != "" {
		require.NoError(t, os.WriteFile(file, got, 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got))
}

// keepOne keeps what a method of the store answered.
type keepOne func(name string, v any, err error)

// answers reads the store through its API: what f chooses, and more.
func answers(t testing.TB, s *store.Store, f store.Filter, more func(tx *store.Tx, keep keepOne)) string {
	t.Helper()
	all := map[string]any{}
	view(t, s, func(tx *store.Tx) error {
		keep := func(name string, v any, err error) {
			require.NoError(t, err, name)
			all[name] = v
		}
		fm, err := tx.Farm()
		keep("farm", fm, err)
		beds, err := tx.Beds()
		keep("beds", beds, err)
		stages, err := tx.Stages(f)
		keep("stages", stages, err)
		vs, err := tx.Visits(f)
		keep("visits", vs, err)
		hs, err := tx.Headers(f)
		keep("headers", hs, err)
		latest, err := tx.LatestVisits(civil.Date{})
		keep("latest", latest, err)
		labels, err := tx.Labels()
		keep("labels", labels, err)
		for _, l := range labels {
			versions, err := tx.LabelVersions(l.Key)
			keep("label "+l.Key, versions, err)
		}
		ts, err := tx.Treatments(f)
		keep("treatments", ts, err)
		rs, err := tx.Releases(f)
		keep("releases", rs, err)
		ds, err := tx.Dones(f)
		keep("done", ds, err)
		cs, err := tx.Covers(f)
		keep("covers", cs, err)
		ws, err := tx.Weather(civil.Date{}, civil.Date{})
		keep("weather", ws, err)
		for _, k := range store.Kinds {
			recs, err := tx.Records(k, f)
			keep("records "+string(k), recs, err)
		}
		more(tx, keep)
		return nil
	})
	b, err := json.MarshalIndent(all, "", " ")
	require.NoError(t, err)
	return string(b) + "\n"
}

// everything reads the whole store through its API, voided records included.
func everything(t testing.TB, s *store.Store) string {
	t.Helper()
	return answers(t, s, store.Filter{IncludeVoided: true}, func(tx *store.Tx, keep keepOne) {
		ts, err := tx.Treatments(store.Filter{IncludeVoided: true})
		require.NoError(t, err)
		for _, tr := range ts {
			l, err := tx.TreatmentLabel(tr.ID)
			keep("label of "+tr.End.String(), l.Version, err)
		}
		os, err := tx.OverrideHistory()
		keep("overrides", os, err)
		entries, err := tx.CalendarEntries()
		keep("calendar", entries, err)
	})
}

// fillAll writes at least one record of each noun in one transaction.
func fillAll(tx *store.Tx) error {
	steps := []func() error{
		func() error {
			_, err := tx.AddStage(farm.StageEvent{Bed: "A1", Date: day("2026-05-20"), Stage: farm.Planted, Note: "late"}, at)
			return err
		},
		func() error {
			v := slugVisit("a1", "2026-07-06", 0, 3, -1, 12)
			v.Enemies = []farm.EnemyCount{{Enemy: "ground_beetle", Count: 2}, {Enemy: "ant", Count: 0}}
			v.Damage = &farm.Damage{Hurt: 4, Looked: 20}
			v.Conditions = farm.Conditions{Soil: farm.Moist, Foliage: farm.Wet, AirC: num(11.5), SoilC: num(0), Nights: 1, Disturbed: true}
			v.Observer, v.Note = "M.", "after rain; “wet”"
			_, err := tx.AddVisit(v, at)
			return err
		},
		func() error {
			_, err := tx.AddVisit(farm.Visit{Bed: "B3", Date: day("2026-07-06"), Pest: "mite", Unit: "leaf", Stratum: farm.HotSpot, Presence: &farm.Presence{Infested: 0, Looked: 50}}, at)
			return err
		},
		func() error { _, err := tx.AddLabel(testLabel("ironbait"), at); return err },
		func() error {
			l := testLabel("IronBait")
			l.PHIDays = farm.Value(0)
			_, err := tx.AddLabel(l, at)
			return err
		},
		func() error { _, err := tx.AddTreatment(testTreatment(), 1, at); return err },
		func() error {
			_, err := tx.AddRelease(farm.Release{Bed: "B3", Agent: "phytoseiulus", Pest: "mite", Date: day("2026-07-07"), Amount: 2000, Note: "n",
				ReleaseMore: farm.ReleaseMore{Who: "M.", Part: "north half", At: at.Add(-time.Hour), Visit: 1}}, at)
			return err
		},
		func() error {
			_, err := tx.AddDone(farm.Done{Bed: "B3", Pest: "mite", Action: "wash_leaves", Date: day("2026-07-08"), Note: "n",
				DoneMore: farm.DoneMore{Who: "M.", Outcome: farm.NotEnough}}, at)
			return err
		},
		func() error {
			_, err := tx.AddWeather(farm.WeatherDay{Date: day("2026-07-08"), MinC: num(9), MaxC: num(17), Forecast: true, Source: "f"}, at)
			return err
		},
		func() error {
			_, err := tx.AddWeather(farm.WeatherDay{Date: day("2026-07-08"), MinC: num(-0.5), MaxC: num(16), RainMM: num(0), Source: "gauge"}, at)
			return err
		},
		func() error {
			_, err := tx.SetOverride(farm.Override{Pest: "slug", Measure: "mean", Level: "act", Value: 2.5, Reason: "cut stems sell badly", Since: day("2026-06-01")}, at)
			return err
		},
		func() error {
			_, err := tx.AddCover(farm.PlannedCover{Bed: "A1", Cover: "rye", Sow: day("2026-10-20"), Kill: day("2027-04-10"), Note: "n"}, at)
			return err
		},
		func() error {
			return tx.SetCalendarEntry(farm.CalendarEntry{UID: "a", Sequence: 3, Revised: at, Cancelled: true, Entry: json.RawMessage(`{"k": 1}`)})
		},
		func() error { return tx.Void(store.KindStage, 1, "wrong bed", at.Add(time.Hour)) },
	}
	for _, f := range steps {
		if err := f(); err != nil {
			return err
		}
	}
	return nil
}

func testLabel(key string) farm.Label {
	return farm.Label{
		Key: key, Entered: day("2026-03-01"), Product: "Invented Iron Bait", Actives: []farm.Active{{Name: "ferric phosphate", Percent: 1, Group: farm.None[string]()}},
		Sites: []farm.LabelSite{{Where: farm.Outdoor, Crop: "ornamentals"}}, Pests: []string{"slug"}, Expiry: farm.Value(day("2027-12-31")),
		RateMax: farm.Value(units.Of(1, "lb/1000 ft2")), MaxInWindow: farm.Value(farm.Window{Count: 2, Days: 21}), REIHours: farm.Value(0.0), PHIDays: farm.None[int](),
		Bees: farm.Value(farm.BeesAfterSunset), Note: "invented",
	}
}

func testTreatment() farm.Treatment {
	return farm.Treatment{
		Bed: "A1", Part: "east half", Label: "ironbait", Pest: "slug", Date: day("2026-07-09"),
		Start: time.Date(2026, 7, 9, 18, 0, 0, 0, time.UTC), End: time.Date(2026, 7, 9, 18, 20, 0, 0, time.UTC), EndKnown: true,
		Amount: units.Of(0.1, "lb"), AreaM2: 12, Who: "M.", Reason: "above level", Note: "n", Breaches: []string{"interval of 14 days", "bees"},
		TreatmentMore: farm.TreatmentMore{Method: "by hand", Spray: units.Of(2.5, "US gal"), WindMS: num(0), AirC: num(-1.5), Sky: "overcast", Visit: 1, Zone: "Europe/Vienna", Lot: "L 1", Licence: "none"},
	}
}
