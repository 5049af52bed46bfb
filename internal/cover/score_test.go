package cover_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/cover"
)

// rate columns of the crop table in both unit systems, each rounded in print:
// kg/ha to 1, lb/1000 sq ft to 0.01. (1 kg/ha is 0.0204816 lb/1000 sq ft.)
func TestSeedAmount_Table(t *testing.T) {
	checked := 0
	for _, r := range readCSV(t, "crops.csv") {
		for _, end := range []string{"min", "max"} {
			kg, lb := number(t, r["broadcast_kg_ha_"+end]), number(t, r["broadcast_lb_1000sqft_"+end])
			if kg == nil {
				continue // potato is drilled only
			}
			s, ok := cover.SeedAmount(100, *kg, 1)
			require.True(t, ok)
			require.InDelta(t, *lb, s.Lb1000SqFt, 0.5*0.02049+0.005+1e-6, r["id"])
			checked++
		}
	}
	require.Equal(t, 50, checked)
}

// The example's seed: rye 1.4 kg, buckwheat 2 x 0.785 kg, potato 25 kg per 100 m2.
// 1.4 kg is 3.0865 lb (1 lb = 0.45359237 kg).
func TestSeedAmount(t *testing.T) {
	s, ok := cover.SeedAmount(100, 140, 1)
	require.True(t, ok)
	require.InDelta(t, 1.4, s.Kg, 1e-12)
	require.InDelta(t, 3.0865, s.Lb, 5e-5)
	s, _ = cover.SeedAmount(100, 78.5, 2)
	require.InDelta(t, 1.57, s.Kg, 1e-12)
	s, _ = cover.SeedAmount(100, 2500, 1)
	require.InDelta(t, 25, s.Kg, 1e-12)
	for _, bad := range [][2]float64{{0, 1}, {1, 0}, {-1, 1}, {math.NaN(), 1}, {1, math.Inf(1)}} {
		_, ok = cover.SeedAmount(bad[0], bad[1], 1)
		require.False(t, ok, bad)
	}
	_, ok = cover.SeedAmount(1, 1, 0)
	require.False(t, ok)
}

// Worked by hand: 2 x the highest chance + 1 x the third highest; the spread is
// that of 0, 2 and 3 with chances 1-p1, p1-p3 and p3.
func TestCarry(t *testing.T) {
	season := func(p ...float64) cover.Season { return cover.Season{Bed: "A1", AreaM2: 30, Chances: p} }
	for _, c := range []struct {
		chances  []float64
		want, sd float64
	}{
		{[]float64{0}, 0, 0},
		{[]float64{1}, 2, 0},
		{[]float64{1, 0, 1, 1}, 3, 0},
		{[]float64{0.2, 0.5}, 1, 1}, // 0 or 2, evenly
		{[]float64{0.8, 0.4, math.NaN(), 0.6}, 2, math.Sqrt(5.2 - 4)}, // 0.2 of 0, 0.4 of 2, 0.4 of 3
		{[]float64{0.9, 0.9, 0.9}, 2.7, math.Sqrt(8.1 - 2.7*2.7)},     // 0.1 of 0, 0.9 of 3
	} {
		for _, pest := range []string{"wireworm", "slug", "nematode_lesion"} {
			ps, err := cover.Carry(pest, []cover.Season{season(c.chances...), season()})
			require.NoError(t, err)
			require.True(t, ps[0].Known)
			require.False(t, ps[0].Field)
			require.InDelta(t, c.want, ps[0].Score, 1e-12)
			require.InDelta(t, c.sd, ps[0].SD, 1e-12)
			require.NotEmpty(t, ps[0].Why)
			require.False(t, ps[1].Known, "a bed where it was never counted")
		}
	}
	// What flies presses on all beds alike: the mean by area, 0 in 30 m2 and 3 in
	// 60 m2; drawn from them it is 0 or 3 with chances 1/3 and 2/3.
	ps, err := cover.Carry("thrips", []cover.Season{season(0), {Bed: "A2", AreaM2: 60, Chances: []float64{1, 1, 1}}, season()})
	require.NoError(t, err)
	for _, p := range ps {
		require.True(t, p.Known && p.Field)
		require.InDelta(t, 2, p.Score, 1e-12)
		require.InDelta(t, math.Sqrt(2), p.SD, 1e-12)
	}
	ps, err = cover.Carry("thrips", []cover.Season{season(), season(math.NaN())})
	require.NoError(t, err)
	require.False(t, ps[0].Known || ps[1].Known)

	for _, bad := range []cover.Season{season(-0.1), season(1.1), {Bed: "A1", Chances: []float64{0.5}}, {Bed: "A1", AreaM2: math.NaN()}, {Bed: "A1", AreaM2: math.Inf(1)}} {
		_, err := cover.Carry("slug", []cover.Season{bad})
		require.Error(t, err, "%v", bad)
	}
}

// More weeks over, or surer ones, never lower a pressure.
func TestCarry_Monotone(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for range 500 {
		p := make([]float64, 1+rng.IntN(6))
		for i := range p {
			p[i] = rng.Float64()
		}
		score := func() float64 {
			ps, err := cover.Carry("slug", []cover.Season{{Bed: "A1", AreaM2: 1, Chances: p}})
			require.NoError(t, err)
			require.GreaterOrEqual(t, ps[0].Score, 0.)
			require.LessOrEqual(t, ps[0].Score, 3.)
			return ps[0].Score
		}
		before := score()
		i := rng.IntN(len(p))
		p[i] += (1 - p[i]) * rng.Float64()
		require.GreaterOrEqual(t, score(), before-1e-12)
		p = append(p, rng.Float64())
		require.GreaterOrEqual(t, score(), before-1e-12)
	}
}

func TestScoreOption_States(t *testing.T) {
	o := cover.Option{Crop: cover.Crop{ID: "x", Family: "Poaceae"}, Effects: []cover.Effect{
		{Pest: "thrips", Direction: "increases", Score: 2, Grade: "A"},
		{Pest: "slug", Direction: "increases", Score: 1, Grade: "B"},
		{Pest: "wireworm", Direction: "mixed", Score: -1, Grade: "A"},
		{Pest: "earwig", Direction: "unknown", Score: 0, Grade: "none"},
	}}
	b := bed("b")
	b.Pressure = []cover.Pressure{cover.Counted("thrips", 3), {Pest: "slug", Score: 99}, cover.Counted("wireworm", 2), cover.Counted("earwig", 1), cover.Counted("aphid", 1)}
	s := cover.ScoreOption(o, b, cover.DefaultRules())
	states := map[string]cover.State{}
	for _, x := range s.Terms {
		states[x.Pest] = x.State
	}
	require.Equal(t, map[string]cover.State{
		"thrips": cover.GoneBefore, "slug": cover.PressureUnknown, "wireworm": cover.IsCounted,
		"earwig": cover.EffectUnknown, "aphid": cover.EffectUnknown,
	}, states)
	require.InDelta(t, 2, s.Net, 1e-12)
	require.False(t, s.CostKnown)
	require.Len(t, s.Unknown, 2)
	require.Equal(t, "wireworm", s.Contested[0].Pest)
	require.Len(t, s.Worse, 1)
	require.Equal(t, "slug (B, makes worse 1; never counted here)", s.Worse[0].String())

	// In a rest year the stand is there beside the crop: thrips count.
	o.Rest = true
	require.InDelta(t, 2-6, cover.ScoreOption(o, b, cover.DefaultRules()).Net, 1e-12)

	// A price per kg: 100 m2 x 140 kg/ha x 2 USD/kg = 2.80 USD, 0.14 points.
	o.Rest, o.Crop.RateKgHa, o.Crop.USDPerKg = false, ptr(140.0), ptr(2.0)
	s = cover.ScoreOption(o, b, cover.DefaultRules())
	require.True(t, s.CostKnown)
	require.InDelta(t, 2.80, s.CostUSD, 1e-12)
	require.InDelta(t, 2-0.14, s.Net, 1e-12)
}

// Against wireworm the table gives buckwheat 2.0 (A); against symphylans
// potato 3.0 (A) and oats 2.0 (A, contested); what is not known comes last.
func TestRank_Table(t *testing.T) {
	cs, es := crops(t), effects(t)
	var options []cover.Option
	for id, c := range cs {
		options = append(options, cover.Option{Crop: c, Effects: es[id]})
	}
	r := cover.Rank("symphylan", options, nil, cover.DefaultWeights)
	require.Len(t, r, 26)
	require.Equal(t, "potato", r[0].Option.Crop.ID)
	require.InDelta(t, 3, r[0].Value, 1e-12)
	require.Equal(t, "oats", r[1].Option.Crop.ID)
	require.True(t, r[1].Contested)
	known := true
	for i, x := range r {
		require.True(t, known || !x.Known, "a known effect after an unknown one")
		known = x.Known
		if i > 0 && x.Known {
			require.LessOrEqual(t, x.Value, r[i-1].Value)
		}
	}
	require.False(t, known)

	// Risk: potato beside a lesion nematode pressure of 3 is 3 x 2 x 0.4.
	r = cover.Rank("symphylan", options, []cover.Pressure{cover.Counted("nematode_lesion", 3)}, cover.DefaultWeights)
	require.Equal(t, "potato", r[0].Option.Crop.ID)
	require.InDelta(t, 2.4, r[0].Risk, 1e-12)

	r = cover.Rank("wireworm", options, nil, cover.DefaultWeights)
	require.Equal(t, "buckwheat", r[0].Option.Crop.ID)
	require.InDelta(t, 2, r[0].Value, 1e-12)
}

// A higher pressure of a pest that a cover reduces never lowers its rank
// value, its score in a bed or its place ahead of a cover that does nothing.
func TestRank_MorePressureNeverLowers(t *testing.T) {
	cs, es := crops(t), effects(t)
	var options []cover.Option
	for id, c := range cs {
		options = append(options, cover.Option{Crop: c, Effects: es[id]})
	}
	rapid.Check(t, func(t *rapid.T) {
		o := options[rapid.IntRange(0, len(options)-1).Draw(t, "option")]
		b := bed("b")
		var reduced []string
		for _, e := range o.Effects {
			b.Pressure = append(b.Pressure, cover.Counted(e.Pest, rapid.Float64Range(0, 3).Draw(t, e.Pest)))
			if e.Score < 0 {
				reduced = append(reduced, e.Pest)
			}
		}
		if len(reduced) == 0 {
			t.Skip("reduces nothing")
		}
		pest := rapid.SampledFrom(reduced).Draw(t, "pest")
		value := func() (rank, net float64) {
			r := cover.Rank(pest, []cover.Option{o}, b.Pressure, cover.DefaultWeights)
			return r[0].Value, cover.ScoreOption(o, b, cover.DefaultRules()).Net
		}
		rank, net := value()
		for i, p := range b.Pressure {
			if p.Pest == pest {
				b.Pressure[i].Score = rapid.Float64Range(p.Score, 3).Draw(t, "more")
			}
		}
		rank2, net2 := value()
		require.GreaterOrEqual(t, rank2, rank)
		require.GreaterOrEqual(t, net2, net-1e-12)
	})
}

func TestWeights(t *testing.T) {
	require.NoError(t, cover.DefaultWeights.Check())
	require.Error(t, cover.Weights{A: 0.5, B: 0.7}.Check())
	require.Error(t, cover.Weights{A: 2}.Check())
	require.Error(t, cover.Weights{A: math.NaN()}.Check())
	require.Equal(t, []int{0, 1, 2, 3, 4, 4}, []int{cover.GradeOrder("A"), cover.GradeOrder("B"), cover.GradeOrder("C"), cover.GradeOrder("D"), cover.GradeOrder("none"), cover.GradeOrder("")})
	require.Zero(t, cover.DefaultWeights.Of("none"))
	require.False(t, cover.GradeOK("AB"))
}
