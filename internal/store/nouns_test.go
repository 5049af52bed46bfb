package store_test

import (
	"math"
	"testing"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"
	"leafturn/internal/units"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestStages(t *testing.T) {
	s := newStore(t)
	e := farm.StageEvent{Bed: "a1", Date: day("2026-05-20"), Stage: farm.Planted, Note: "late"}
	update(t, s, func(tx *store.Tx) error {
		if _, err := tx.AddStage(farm.StageEvent{Bed: "B3", Date: day("2026-06-10"), Stage: farm.Emerged}, at); err != nil {
			return err
		}
		id, err := tx.AddStage(e, at)
		require.NoError(t, err)
		again, err := tx.AddStage(e, at)
		forPeople(t, err, store.ErrDuplicate)
		assert.Equal(t, id, again)
		_, err = tx.AddStage(farm.StageEvent{Bed: "A1", Date: day("2026-05-20"), Stage: "blom"}, at)
		assert.Contains(t, forPeople(t, err, store.ErrInvalid).What, `did you mean "bloom"?`)
		return nil
	})
	e.Bed = "A1"
	view(t, s, func(tx *store.Tx) error {
		got, err := tx.Stages(store.Filter{})
		assert.Equal(t, []farm.StageEvent{e, {Bed: "B3", Date: day("2026-06-10"), Stage: farm.Emerged}}, got)
		return err
	})
}

func TestLabels(t *testing.T) {
	s := newStore(t)
	first := testLabel("ironbait")
	second := testLabel("IronBait")
	second.PHIDays, second.REIHours = farm.Value(0), farm.Stated[float64]{}
	update(t, s, func(tx *store.Tx) error {
		for i, l := range []farm.Label{first, second, testLabel("soap")} {
			v, err := tx.AddLabel(l, at)
			require.NoError(t, err)
			assert.Equal(t, []int{1, 2, 1}[i], v)
		}
		_, err := tx.AddLabel(testLabel(" "), at)
		forPeople(t, err, store.ErrInvalid)
		return nil
	})
	first.Version, second.Version, second.Key = 1, 2, "ironbait"
	view(t, s, func(tx *store.Tx) error {
		got, err := tx.Label("IRONBAIT")
		assert.Equal(t, second, got)
		assert.False(t, got.REIHours.Known(), "unknown stays unknown")
		v, has := got.PHIDays.Get()
		assert.Equal(t, 0, v)
		assert.True(t, has, "a stated zero stays stated")
		require.NoError(t, err)
		all, err := tx.LabelVersions("ironbait")
		assert.Equal(t, []farm.Label{first, second}, all)
		require.NoError(t, err)
		latest, err := tx.Labels()
		require.Len(t, latest, 2)
		assert.Equal(t, second, latest[0])
		assert.Equal(t, "soap", latest[1].Key)
		require.NoError(t, err)
		_, err = tx.Label("ironbit")
		assert.Contains(t, forPeople(t, err, store.ErrUnknownLabel).What, `did you mean "ironbait"?`)
		_, err = tx.LabelVersions("none")
		forPeople(t, err, store.ErrUnknownLabel)
		return nil
	})
}

func TestTreatments(t *testing.T) {
	s := newStore(t)
	full := testTreatment()
	bare := farm.Treatment{Bed: "B3", Label: "ironbait", Pest: "slug", Date: day("2026-07-10"), End: time.Date(2026, 7, 10, 21, 59, 59, 0, time.UTC)}
	update(t, s, func(tx *store.Tx) error {
		_, err := tx.AddTreatment(full, 0, at)
		forPeople(t, err, store.ErrUnknownLabel)
		_, err = tx.AddLabel(testLabel("ironbait"), at)
		require.NoError(t, err)
		full.ID, err = tx.AddTreatment(full, 0, at)
		require.NoError(t, err)
		_, err = tx.AddLabel(testLabel("ironbait"), at)
		require.NoError(t, err)
		bare.ID, err = tx.AddTreatment(bare, 0, at)
		require.NoError(t, err)

		id, err := tx.AddTreatment(full, 1, at)
		forPeople(t, err, store.ErrDuplicate)
		assert.Equal(t, full.ID, id)
		id, err = tx.AddTreatment(bare, 0, at) // no start and no amount: still the same
		forPeople(t, err, store.ErrDuplicate)
		assert.Equal(t, bare.ID, id)
		_, err = tx.AddTreatment(full, 3, at)
		forPeople(t, err, store.ErrUnknownLabel)
		noEnd := full
		noEnd.End = time.Time{}
		_, err = tx.AddTreatment(noEnd, 0, at)
		forPeople(t, err, store.ErrInvalid)
		nan := full
		nan.Amount.Value = math.NaN()
		_, err = tx.AddTreatment(nan, 0, at)
		forPeople(t, err, store.ErrInvalid)
		return nil
	})
	view(t, s, func(tx *store.Tx) error {
		got, err := tx.Treatments(store.Filter{})
		assert.Equal(t, []farm.Treatment{full, bare}, got)
		require.NoError(t, err)
		l, err := tx.TreatmentLabel(full.ID)
		assert.Equal(t, 1, l.Version, "the version it was made under")
		require.NoError(t, err)
		l, err = tx.TreatmentLabel(bare.ID)
		assert.Equal(t, 2, l.Version)
		require.NoError(t, err)
		_, err = tx.TreatmentLabel(99)
		forPeople(t, err, store.ErrNotFound)
		return nil
	})
	// Any zone is stored as the same instant; a fraction never shortens re-entry.
	zoned := full
	zone := time.FixedZone("", 2*3600)
	zoned.Start, zoned.End = full.Start.In(zone), full.End.In(zone).Add(time.Millisecond)
	update(t, s, func(tx *store.Tx) error {
		id, err := tx.AddTreatment(zoned, 0, at)
		require.NoError(t, err)
		got, err := tx.Treatments(store.Filter{Bed: "A1"})
		assert.Equal(t, id, got[1].ID)
		assert.Equal(t, full.Start, got[1].Start)
		assert.Equal(t, full.End.Add(time.Second), got[1].End)
		return err
	})
	early := full
	early.Start = full.End.Add(time.Hour)
	forPeople(t, s.Update(ctx, func(tx *store.Tx) error { _, err := tx.AddTreatment(early, 0, at); return err }), store.ErrInvalid)
	update(t, s, func(tx *store.Tx) error { return tx.Void(store.KindTreatment, full.ID, "not done", at) })
	view(t, s, func(tx *store.Tx) error {
		got, err := tx.Treatments(store.Filter{To: day("2026-07-09")})
		assert.Len(t, got, 1)
		return err
	})
}

// A quantity is read back in the unit that the person wrote.
func TestTreatment_EveryUnit(t *testing.T) {
	s := newStore(t)
	update(t, s, func(tx *store.Tx) error { _, err := tx.AddLabel(testLabel("ironbait"), at); return err })
	var want []units.Quantity
	for _, dim := range []units.Dimension{units.Mass, units.Volume, units.Count} {
		for _, n := range units.Names(dim) {
			want = append(want, units.Of(1.0/3, n))
		}
	}
	require.NotEmpty(t, want)
	update(t, s, func(tx *store.Tx) error {
		for i, q := range want {
			tr := testTreatment()
			tr.Amount, tr.Date = q, tr.Date.AddDays(i)
			if _, err := tx.AddTreatment(tr, 0, at); err != nil {
				return err
			}
		}
		got, err := tx.Treatments(store.Filter{})
		for i, tr := range got {
			assert.Equal(t, want[i], tr.Amount)
		}
		return err
	})
}

func TestReleasesDonesCovers(t *testing.T) {
	s := newStore(t)
	r := farm.Release{Bed: "B3", Agent: "phytoseiulus", Pest: "mite", Date: day("2026-07-07"), Amount: 2000.5, Note: "sachets"}
	d := farm.Done{Bed: "B3", Pest: "mite", Action: "wash_leaves", Date: day("2026-07-08"), Note: "n"}
	c := farm.PlannedCover{Bed: "A1", Cover: "rye", Sow: day("2026-10-20"), Kill: day("2027-04-10"), Note: "n"}
	open := farm.PlannedCover{Bed: "A1", Cover: "clover", Sow: day("2026-10-21")}
	update(t, s, func(tx *store.Tx) (err error) {
		r.ID, err = tx.AddRelease(r, at)
		require.NoError(t, err)
		d.ID, err = tx.AddDone(d, at)
		require.NoError(t, err)
		_, err = tx.AddCover(c, at)
		require.NoError(t, err)
		_, err = tx.AddCover(open, at)
		require.NoError(t, err)

		_, err = tx.AddRelease(r, at)
		forPeople(t, err, store.ErrDuplicate)
		_, err = tx.AddDone(d, at)
		forPeople(t, err, store.ErrDuplicate)
		_, err = tx.AddCover(c, at)
		forPeople(t, err, store.ErrDuplicate)
		bad := c
		bad.Kill = day("2026-10-01")
		_, err = tx.AddCover(bad, at)
		forPeople(t, err, store.ErrInvalid)
		for _, add := range []func() (int64, error){
			func() (int64, error) { return tx.AddRelease(farm.Release{Bed: "Z", Agent: "a", Date: r.Date}, at) },
			func() (int64, error) { return tx.AddDone(farm.Done{Bed: "Z", Action: "a", Date: r.Date}, at) },
			func() (int64, error) { return tx.AddCover(farm.PlannedCover{Bed: "Z", Cover: "a", Sow: r.Date}, at) },
			func() (int64, error) {
				return tx.AddStage(farm.StageEvent{Bed: "Z", Stage: farm.Dug, Date: r.Date}, at)
			},
		} {
			_, err = add()
			forPeople(t, err, store.ErrUnknownBed)
		}
		return nil
	})
	view(t, s, func(tx *store.Tx) error {
		rs, err := tx.Releases(store.Filter{})
		assert.Equal(t, []farm.Release{r}, rs)
		require.NoError(t, err)
		ds, err := tx.Dones(store.Filter{Pest: "mite"})
		assert.Equal(t, []farm.Done{d}, ds)
		require.NoError(t, err)
		cs, err := tx.Covers(store.Filter{Pest: "not looked at"})
		assert.Equal(t, []farm.PlannedCover{c, open}, cs)
		return err
	})
}

// What was known at the end of a day: not what was foreseen later, nor what was
// taken back; but the forecast that a measured day, or a later one, replaced.
func TestWeatherKnown(t *testing.T) {
	s := newStore(t)
	on := day("2026-07-13") // at is in its evening
	next, end := on.AddDays(1), at.Add(6*time.Hour)
	foreseen := func(d civil.Date, low float64) farm.WeatherDay {
		return farm.WeatherDay{Date: d, MinC: num(low), MaxC: num(20), Forecast: true, Source: "f"}
	}
	gauge := func(d civil.Date) farm.WeatherDay {
		return farm.WeatherDay{Date: d, MinC: num(5), MaxC: num(20), Source: "gauge"}
	}
	update(t, s, func(tx *store.Tx) error {
		for _, x := range []struct {
			day farm.WeatherDay
			at  time.Time
		}{
			{gauge(on), at.Add(24 * time.Hour)}, // written down a day late
			{foreseen(next, 9), at.Add(-time.Hour)}, {foreseen(next, 10), at}, {gauge(next), at.Add(24 * time.Hour)},
			{foreseen(on.AddDays(2), 11), at}, {foreseen(on.AddDays(2), 12), at.Add(24 * time.Hour)},
			{foreseen(on.AddDays(3), 13), at.Add(24 * time.Hour)},
			{foreseen(on.AddDays(4), 14), at},
		} {
			_, err := tx.AddWeather(x.day, x.at)
			require.NoError(t, err)
		}
		all, err := tx.Records(store.KindWeather, store.Filter{})
		require.NoError(t, err)
		return tx.Void(store.KindWeather, all[len(all)-1].ID, "typing slip", at.Add(24*time.Hour))
	})
	view(t, s, func(tx *store.Tx) error {
		got, err := tx.WeatherKnown(civil.Date{}, civil.Date{}, on, end)
		assert.Equal(t, []farm.WeatherDay{gauge(on), foreseen(next, 10), foreseen(on.AddDays(2), 11)}, got)
		require.NoError(t, err)
		got, err = tx.WeatherKnown(next, next, next, end.Add(24*time.Hour))
		assert.Equal(t, []farm.WeatherDay{gauge(next)}, got)
		return err
	})
}

func TestWeather(t *testing.T) {
	s := newStore(t)
	d := day("2026-07-08")
	forecast := farm.WeatherDay{Date: d, MinC: num(9), MaxC: num(17), Forecast: true, Source: "f"}
	later := farm.WeatherDay{Date: d, MinC: num(8), MaxC: num(17), Forecast: true, Source: "f"}
	measured := farm.WeatherDay{Date: d, MinC: num(-0.5), MaxC: num(16), RainMM: num(0), Source: "gauge"}
	differs := measured
	differs.RainMM = nil // not measured is not zero
	update(t, s, func(tx *store.Tx) error {
		for _, c := range []struct {
			day  farm.WeatherDay
			want store.Outcome
		}{
			{forecast, store.Stored}, {forecast, store.Present}, {later, store.Replaced},
			{measured, store.Replaced}, {measured, store.Present}, {forecast, store.Outranked},
		} {
			got, err := tx.AddWeather(c.day, at)
			require.NoError(t, err)
			assert.Equal(t, c.want, got)
		}
		_, err := tx.AddWeather(differs, at)
		var dup *store.DuplicateError
		require.ErrorAs(t, forPeople(t, err, store.ErrDuplicate), &dup)
		assert.Equal(t, store.DuplicateError{Kind: store.KindWeather, ID: 3}, *dup)
		for _, bad := range []farm.WeatherDay{
			{Date: d, MinC: num(5), MaxC: num(4)}, {Date: d, RainMM: num(-1)}, {Date: d, Humidity: num(101)}, {Date: d, SoilC: num(math.NaN())},
		} {
			_, err := tx.AddWeather(bad, at)
			forPeople(t, err, store.ErrInvalid)
		}
		_, err = tx.AddWeather(farm.WeatherDay{Date: d.AddDays(-1), Humidity: num(100)}, at)
		return err
	})
	view(t, s, func(tx *store.Tx) error {
		got, err := tx.Weather(civil.Date{}, d)
		assert.Equal(t, []farm.WeatherDay{{Date: d.AddDays(-1), Humidity: num(100)}, measured}, got)
		require.NoError(t, err)
		got, err = tx.Weather(d, d)
		assert.Len(t, got, 1)
		require.NoError(t, err)
		recs, err := tx.Records(store.KindWeather, store.Filter{IncludeVoided: true, From: d, Bed: "ignored"})
		require.Len(t, recs, 3)
		assert.Equal(t, "replaced by a later forecast", recs[0].VoidReason)
		assert.Equal(t, "replaced by the measured day", recs[1].VoidReason)
		assert.Equal(t, "measured", recs[2].What)
		return err
	})
}

func TestOverrides(t *testing.T) {
	s := newStore(t)
	set := func(level string, value float64, since string) farm.Override {
		o := farm.Override{Pest: "slug", Measure: "mean", Level: level, Value: value, Reason: "ours", Since: day(since)}
		update(t, s, func(tx *store.Tx) error { _, err := tx.SetOverride(o, at); return err })
		return o
	}
	first, watch, second := set("act", 3, "2026-05-01"), set("watch", 1, "2026-05-01"), set("act", 2.5, "2026-07-01")
	in := func(asOf string) (out []farm.Override) {
		view(t, s, func(tx *store.Tx) (err error) {
			var d civil.Date
			if asOf != "" {
				d = day(asOf)
			}
			out, err = tx.Overrides(d)
			return err
		})
		return out
	}
	assert.Empty(t, in("2026-04-30"))
	assert.Equal(t, []farm.Override{first, watch}, in("2026-06-30"))
	assert.Equal(t, []farm.Override{second, watch}, in("2026-07-01"))
	assert.Equal(t, []farm.Override{second, watch}, in(""))
	view(t, s, func(tx *store.Tx) error {
		all, err := tx.OverrideHistory()
		assert.Equal(t, []farm.Override{first, watch, second}, all)
		return err
	})
	update(t, s, func(tx *store.Tx) error { return tx.Void(store.KindOverride, 3, "back to the old one", at) })
	assert.Equal(t, []farm.Override{first, watch}, in(""))
	for name, o := range map[string]farm.Override{
		"no reason": {Pest: "slug", Measure: "mean", Level: "act", Since: day("2026-05-01")},
		"level":     {Pest: "slug", Measure: "mean", Level: "panic", Reason: "r", Since: day("2026-05-01")},
		"infinite":  {Pest: "slug", Measure: "mean", Level: "act", Value: math.Inf(1), Reason: "r", Since: day("2026-05-01")},
		"no date":   {Pest: "slug", Measure: "mean", Level: "act", Reason: "r"},
	} {
		t.Run(name, func(t *testing.T) {
			forPeople(t, s.Update(ctx, func(tx *store.Tx) error { _, err := tx.SetOverride(o, at); return err }), store.ErrInvalid)
		})
	}
}

// Each kind can be voided once, and is gone from what is read by default.
func TestVoid_EveryKind(t *testing.T) {
	s := newStore(t)
	update(t, s, fillAll)
	for _, k := range store.Kinds {
		t.Run(string(k), func(t *testing.T) {
			var before []store.Record
			view(t, s, func(tx *store.Tx) (err error) { before, err = tx.Records(k, store.Filter{}); return err })
			if k == store.KindStage {
				require.Empty(t, before) // fillAll voids its only one
				return
			}
			require.NotEmpty(t, before)
			for _, r := range before {
				update(t, s, func(tx *store.Tx) error { return tx.Void(k, r.ID, "wrong", at) })
				forPeople(t, s.Update(ctx, func(tx *store.Tx) error { return tx.Void(k, r.ID, "wrong", at) }), store.ErrVoided)
			}
			view(t, s, func(tx *store.Tx) error {
				after, err := tx.Records(k, store.Filter{})
				assert.Empty(t, after)
				return err
			})
		})
	}
	view(t, s, func(tx *store.Tx) error {
		vs, err := tx.Visits(store.Filter{})
		assert.Empty(t, vs)
		require.NoError(t, err)
		hs, err := tx.LatestVisits(civil.Date{})
		assert.Empty(t, hs)
		require.NoError(t, err)
		w, err := tx.Weather(civil.Date{}, civil.Date{})
		assert.Empty(t, w)
		return err
	})
	sound(t, s)
}

// Even other programs cannot delete records or change counts.
func TestAppendOnly(t *testing.T) {
	s := newStore(t)
	update(t, s, fillAll)
	db := raw(t, s.Path())
	for _, table := range []string{"stage_event", "visit", "unit_count", "enemy_count", "label", "treatment", "release", "done", "weather_day", "override", "planned_cover"} {
		_, err := db.Exec("DELETE FROM " + table)
		assert.ErrorContains(t, err, "never deleted", table)
	}
	for _, q := range []string{"UPDATE unit_count SET count = 0", "UPDATE enemy_count SET count = 0", "UPDATE label SET version = 7"} {
		_, err := db.Exec(q)
		assert.ErrorContains(t, err, "never changed", q)
	}
}
