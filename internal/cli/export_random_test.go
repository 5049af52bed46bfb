package cli_test

import (
	"encoding/json"
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"
	"leafturn/internal/units"
)

// nasty are texts that a careless table would not bring back.
var nasty = []string{"", " ", "=1+1", "+1", "-1", "-", "@SUM(A1)", "\tx", "\rx", "\nx", "'", "''=1", "'=1", "'tis", " =1", "a,b", `say "x"`, `"`, "two\r\nlines", "two\nlines", "\r", "ends with blank ",
	"Grünes Feld – 畑", "＝1", "é=", "\u00a0=1", "\ufeffx", "NULL", "true", "0012", "1e5", "2026-07-13", "\\N", "\xff\xfe no UTF-8", strings.Repeat("long ", 200)}

// randomFarm fills a store with records of every kind, takes out, amends, undoes
// and redoes.
func randomFarm(t *testing.T, path string, rng *rand.Rand) {
	t.Helper()
	word := func() string { return nasty[rng.IntN(len(nasty))] }
	some := func() *float64 {
		if rng.IntN(3) == 0 {
			return nil
		}
		v := []float64{0, -3, 0.1, 12.5, 1.0 / 3, 1e-9, 59.999999999999}[rng.IntN(7)]
		return &v
	}
	at := time.Date(2026, 7, 1, 8, 0, 0, 0, time.UTC)
	f := farm.Farm{Name: word(), Place: word(), TimeZone: "Europe/Vienna", Units: units.Metric, Pests: []string{"slug", "spider_mite"}, LastFrost: civil.MonthDay{Month: 5, Day: 1}, FirstFrost: civil.MonthDay{Month: 10, Day: 20}, WaitingCost: rng.Float64() * 3}
	s, err := store.Create(ctx, path, f, store.WithCommand(store.Command{Words: word(), Actor: word(), At: at}))
	require.NoError(t, err)
	defer s.Close()
	day := func() civil.Date { return civil.New(2026, time.May, 1).AddDays(rng.IntN(70)) }
	codes := []string{"A1", "b2", "C-3"}
	bed := func() string { return codes[rng.IntN(len(codes))] }
	do := func(f func(tx *store.Tx) error) {
		at = at.Add(time.Minute)
		err := s.UpdateAs(ctx, store.Command{Words: word(), Actor: word(), At: at}, f)
		if err != nil {
			require.True(t, errors.Is(err, store.ErrDuplicate) || errors.Is(err, store.ErrNothing) || errors.Is(err, store.ErrVoided) || errors.Is(err, store.ErrNotFound) || errors.Is(err, store.ErrUnknownBed) || errors.Is(err, store.ErrInvalid), "%v", err)
		}
	}
	for _, c := range codes {
		do(func(tx *store.Tx) error {
			b := farm.Bed{Code: c, Block: word(), LengthM: 20.5, WidthM: 1.2, Plants: rng.IntN(99), Cultivar: word(), Irrigation: farm.Drip, Site: farm.Outdoor, BedMore: farm.BedMore{Animals: "hens"}}
			if rng.IntN(2) == 0 {
				x, y := -0.5, 7.25
				b.X, b.Y = &x, &y
			}
			_, err := tx.AddBed(b)
			return err
		})
	}
	visit := func() farm.Visit {
		kind := [][2]string{{"slug", "trap"}, {"spider_mite", "leaf"}}[rng.IntN(2)]
		v := farm.Visit{Bed: bed(), Date: day(), Pest: kind[0], Unit: kind[1], Stratum: farm.Strata[rng.IntN(3)], Observer: word(), Note: word(),
			Conditions: farm.Conditions{Soil: farm.Wet, AirC: some(), SoilC: some(), Nights: rng.IntN(4), Disturbed: rng.IntN(2) == 0}}
		for range rng.IntN(30) {
			v.Counts = append(v.Counts, farm.UnitCount{Count: rng.IntN(9), Seen: rng.IntN(5) > 0})
			if u := &v.Counts[len(v.Counts)-1]; !u.Seen {
				u.Count = 0
			}
		}
		if len(v.Seen()) == 0 {
			v.Presence = &farm.Presence{Infested: 3, Looked: 12}
		}
		if rng.IntN(2) == 0 {
			v.Enemies = []farm.EnemyCount{{Enemy: "ground_beetle", Count: rng.IntN(3)}}
			v.Damage = &farm.Damage{Hurt: 0, Looked: 9}
		}
		return v
	}
	steps := []func(tx *store.Tx) error{
		func(tx *store.Tx) error { _, err := tx.AddVisit(visit(), at); return err },
		func(tx *store.Tx) error { _, err := tx.AddVisit(visit(), at); return err },
		func(tx *store.Tx) error {
			_, err := tx.AddStage(farm.StageEvent{Bed: bed(), Date: day(), Stage: farm.Planted, Note: word()}, at)
			return err
		},
		func(tx *store.Tx) error {
			_, err := tx.AddLabel(farm.Label{Key: []string{"Bait", "soap"}[rng.IntN(2)], Entered: civil.New(2026, time.March, 1), Product: "P" + word(), PHIDays: farm.None[int](), Note: word()}, at)
			return err
		},
		func(tx *store.Tx) error {
			x := farm.Treatment{Bed: bed(), Part: word(), Label: "bait", Pest: "slug", Date: day(), End: at, Amount: units.Of(0.1, "kg"), AreaM2: 12, Who: word(), Reason: word(), Note: word(), Breaches: []string{word(), "x"}}
			_, err := tx.AddTreatment(x, 1, at)
			if errors.Is(err, store.ErrUnknownLabel) {
				return nil
			}
			return err
		},
		func(tx *store.Tx) error {
			_, err := tx.AddRelease(farm.Release{Bed: bed(), Agent: "phytoseiulus_persimilis", Pest: "spider_mite", Date: day(), Amount: 12.5, Note: word()}, at)
			return err
		},
		func(tx *store.Tx) error {
			_, err := tx.AddDone(farm.Done{Bed: bed(), Pest: "slug", Action: "slug_clean_edges", Date: day(), Note: word()}, at)
			return err
		},
		func(tx *store.Tx) error {
			_, err := tx.AddWeather(farm.WeatherDay{Date: day(), MinC: some(), SoilC: some(), RainMM: nil, Source: word(), Forecast: rng.IntN(2) == 0}, at)
			return err
		},
		func(tx *store.Tx) error {
			_, err := tx.SetOverride(farm.Override{Pest: "slug", Measure: "mean", Level: "act", Value: rng.Float64(), Reason: "r" + word(), Since: day()}, at)
			return err
		},
		func(tx *store.Tx) error {
			_, err := tx.AddCover(farm.PlannedCover{Bed: bed(), Cover: "rye", Sow: day(), Note: word()}, at)
			return err
		},
		func(tx *store.Tx) error {
			return tx.SetCalendarEntry(farm.CalendarEntry{UID: "u" + word(), Sequence: 1, Revised: at, Cancelled: rng.IntN(2) == 0, Entry: json.RawMessage(`{"k": "=1\r\n"}`)})
		},
		func(tx *store.Tx) error {
			return tx.Void(store.Kinds[rng.IntN(len(store.Kinds))], int64(1+rng.IntN(4)), "r"+word(), at)
		},
		func(tx *store.Tx) error {
			return tx.Replace(store.KindVisit, int64(1+rng.IntN(6)), "r"+word(), at, func() (int64, error) { return tx.AddVisit(visit(), at) })
		},
		func(tx *store.Tx) error { _, err := tx.Undo(store.Command{Words: word(), At: at}); return err },
		func(tx *store.Tx) error { _, err := tx.Redo(store.Command{Words: word(), At: at}); return err },
		func(tx *store.Tx) error { f.Name = word(); return tx.SetFarm(f) },
		func(tx *store.Tx) error {
			return tx.SetBed(farm.Bed{Code: bed(), LengthM: 9, WidthM: 1, Cultivar: word()})
		},
		func(tx *store.Tx) error { // one that is mostly taken back at once
			_, err := tx.AddBed(farm.Bed{Code: "D4", LengthM: 9, WidthM: 1})
			return err
		},
	}
	for range 60 {
		do(steps[rng.IntN(len(steps))])
	}
}
