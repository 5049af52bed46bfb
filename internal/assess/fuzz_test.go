package assess_test

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/assess"
	"leafturn/internal/belief"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
)

// anything assesses visits and facts that no entry check has seen: an error, or
// numbers that can be shown.
func anything(t *testing.T, raw []byte, scale, infested, looked, nights, days int, a, b, k float64, flags byte) {
	t.Helper()
	on := func(bit int) bool { return flags&(1<<bit) != 0 }
	pests := []func() assess.Pest{slugs, mites, earwigs, thrips, aphids, wireworms, virus}
	p := pests[int(flags>>1)%len(pests)]()
	for i := range p.Units {
		p.Units[i].Dispersed = estimate.Dispersion{K: k}
		if on(0) {
			p.Units[i].Dispersed = estimate.Dispersion{A: a, B: b}
		}
	}
	for i := range p.Levels {
		if on(i % 3) {
			p.Levels[i].Value = a
		}
	}
	in := input(p, farm.Budding)
	in.ActAt, in.HoldBelow, in.Deep, in.Brief = b, a, on(6) && len(raw) < 6, on(7)
	counts := make([]int, min(len(raw), 20))
	for i := range counts {
		counts[i] = int(raw[i]) * (scale % 2_000_000)
	}
	for i, u := range p.Units {
		v := count(p.Key, u.Key, counts...)
		v.ID, v.Date, v.Conditions.Nights = int64(i), today.AddDays(-days%40), nights
		v.Conditions.AirC, v.Conditions.SoilC = &a, &b
		if on(3) {
			v.Presence = &farm.Presence{Infested: infested, Looked: looked}
		}
		if on(4) {
			v.Damage = &farm.Damage{Hurt: infested, Looked: looked}
			v.Enemies = []farm.EnemyCount{{Enemy: "predatory_mite", Count: scale}, {Enemy: "parasitised", Count: infested}}
		}
		older := v
		older.ID, older.Date = int64(i+10), today.AddDays(-7-days%40)
		if on(5) {
			older.Stratum = farm.HotSpot
		}
		in.Visits = append(in.Visits, v, older)
	}
	if own, err := assess.OwnClumping(p, in.Visits, today, nil); err == nil {
		in.Pest = own
	}
	res, err := assess.Assess(in)
	if err != nil {
		return
	}
	for _, c := range []float64{res.Result.Chance, res.Result.ChanceWatch, res.Result.SettleChance} {
		if !(c >= 0 && c <= 1+1e-9) {
			t.Fatalf("chance %v: %+v", c, res.Result)
		}
	}
	if _, err := json.Marshal(res.Result); err != nil || len(res.Result.Reasons) == 0 || res.Result.MoreUnits < 0 {
		t.Fatalf("%v: %+v", err, res.Result)
	}
	if !in.Brief {
		for _, r := range res.Readings {
			if math.IsNaN(r.Value) || math.IsNaN(r.Low) || math.IsNaN(r.High) {
				t.Fatalf("%+v", r)
			}
		}
	}
	res.Age()
	res.Rising()
	if b := res.Now(); b != nil && math.IsNaN(b.Median()) {
		t.Fatal("no median")
	}
	for i := range res.Readings {
		r := &res.Readings[i]
		if _, err := r.Believed(); err != nil {
			t.Fatal(err)
		}
		r.DensityOf(a)
		r.Unit.On(today)
		r.Unit.ValidWhen()
		r.Unit.TrendClump()
		if m := r.Unit.ClumpAt(a); math.IsNaN(m) {
			t.Fatalf("k is %v at %v", m, a)
		}
		if l := r.Levels(belief.Weak(), 1); len(l.Levels) != len(l.Weights) {
			t.Fatal("levels and weights")
		}
	}
}

// Readings and assessments of nothing answer.
func TestAssess_Nothing(t *testing.T) {
	a, err := assess.Assess(assess.Input{})
	require.NoError(t, err)
	require.NotEmpty(t, a.Result.Reasons)
	require.Nil(t, a.Now())
	require.Equal(t, -1, a.Age())
	require.False(t, a.Rising())
	var r assess.Reading
	b, err := r.Believed()
	require.NoError(t, err)
	require.Nil(t, b)
	require.True(t, r.Valid())
	require.InDelta(t, 3, r.DensityOf(3), 0)
	r.Unit = &assess.Unit{Percent: true}
	require.True(t, math.IsNaN(r.DensityOf(math.NaN())), "a level that is no number has no density")
	require.Len(t, r.Levels(belief.Weak(), 1).Levels, len(r.Levels(belief.Weak(), 1).Weights))
	_, err = assess.OwnClumping(assess.Pest{}, nil, today, nil)
	require.NoError(t, err)
	require.InDelta(t, 1, assess.Unit{}.Scale(math.MinInt), 0)
	require.Equal(t, "units", assess.Plural("", 2))
}

// FuzzAssess feeds visits and facts that no entry check has seen.
func FuzzAssess(f *testing.F) {
	f.Add([]byte{0, 3, 12, 1, 0, 7}, 1, 3, 30, 1, 3, 5.0, 0.5, 0.8, byte(0))
	f.Add([]byte{255, 0, 1}, 1_900_000, 0, 50, 0, 0, 3.3, 1.49, 0.0, byte(9))
	f.Add([]byte{}, 0, -1, math.MaxInt, -1, -9, math.NaN(), math.Inf(1), math.NaN(), byte(255))
	f.Add([]byte{1, 2}, -1, 5, 2, math.MaxInt, 39, 1e300, 2.0, 5e-324, byte(88))
	f.Fuzz(func(t *testing.T, raw []byte, scale, infested, looked, nights, days int, a, b, k float64, flags byte) {
		if looked > 3000 { // only slow
			looked = math.MaxInt
		}
		anything(t, raw, scale, infested, looked, nights, days, a, b, k, flags)
	})
}
