package cover_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/cover"
	"leafturn/internal/diag"
)

// randomInstance makes a small plan from the tables with random pressures,
// past covers, prices and rules. Invented data.
func randomInstance(rng *rand.Rand, cs map[string]cover.Crop, es map[string][]cover.Effect) ([]cover.Bed, []cover.Option, cover.Rules) {
	ids := []string{"cereal_rye", "winter_wheat", "oats", "field_pea", "fava", "phacelia", "buckwheat", "potato", "marigold", "red_clover", "white_mustard"}
	pests := []string{"wireworm", "symphylan", "slug", "nematode_lesion", "thrips", "soil_verticillium"}
	families := []string{"Poaceae", "Fabaceae", "Brassicaceae", "Asteraceae", "Polygonaceae"}
	var options []cover.Option
	for _, i := range rng.Perm(len(ids))[:3+rng.IntN(3)] {
		c := cs[ids[i]]
		if rng.IntN(3) > 0 {
			c.USDPerHa = ptr(float64(rng.IntN(600)))
		}
		options = append(options, cover.Options(c, es[c.ID])...)
	}
	var beds []cover.Bed
	for n := range 1 + rng.IntN(4) {
		b := bed(fmt.Sprintf("B%d", n))
		b.AreaM2 = 20 + 200*rng.Float64()
		if rng.IntN(3) == 0 {
			b.FreeFrom = civil.MustParse("2026-09-01")
		}
		for _, p := range pests {
			if rng.IntN(2) == 0 {
				b.Pressure = append(b.Pressure, cover.Counted(p, float64(rng.IntN(4))))
			}
		}
		if rng.IntN(2) == 0 {
			b.History = []cover.Grown{{Family: families[rng.IntN(len(families))], Year: 2025 + rng.IntN(2)}}
		}
		beds = append(beds, b)
	}
	r := cover.DefaultRules()
	r.MaxRested, r.BarePenalty, r.RestCost = rng.IntN(4), float64(rng.IntN(3)), float64(rng.IntN(3))
	r.R7 = []cover.FamilyRule{cover.FamilySoft, cover.FamilyHard, cover.FamilySoftExcept}[rng.IntN(3)]
	return beds, options, r
}

// bruteForce values every combination of cells, holding bed `held` (or -1) to
// one key, and returns the best total.
func bruteForce(p cover.Plan, k, held int, key string) float64 {
	best := math.Inf(-1)
	total := 1
	for _, b := range p.Beds {
		total *= len(b.Cells)
	}
	for n := 0; n < total; n++ {
		sum, resting, ok := 0.0, 0, true
		rest := n
		for i, b := range p.Beds {
			c := b.Cells[rest%len(b.Cells)]
			rest /= len(b.Cells)
			ok = ok && c.Allowed && (i != held || c.Key == key)
			if c.Option.Rest {
				resting++
			}
			sum += c.Value
		}
		if ok && resting <= k {
			best = math.Max(best, sum)
		}
	}
	return best
}

func TestPlanBeds_BruteForce(t *testing.T) {
	cs, es := crops(t), effects(t)
	rng := rand.New(rand.NewPCG(20261020, 1))
	rested, refused := 0, 0
	for n := range 200 {
		beds, options, rules := randomInstance(rng, cs, es)
		p, err := cover.PlanBeds(beds, options, site, rules)
		require.NoError(t, err)
		require.InDelta(t, bruteForce(p, rules.MaxRested, -1, ""), p.Total, 1e-9, "instance %d", n)
		require.InDelta(t, p.Total, p.Bound, 1e-9)
		require.LessOrEqual(t, len(p.Rested), rules.MaxRested)
		rested += len(p.Rested)
		sum := 0.0
		for i, b := range p.Beds {
			require.True(t, b.Chosen.Allowed)
			sum += b.Chosen.Value
			for _, c := range b.Cells {
				if !c.Allowed {
					refused++
				}
			}
			if n%10 != 0 { // the slow check of alternatives on every tenth
				continue
			}
			// Each alternative gives up what the best plan holding it gives
			// up, and no other choice gives up less.
			worst := 0.0
			shown := map[string]bool{b.Chosen.Key: true}
			for _, a := range b.Alternatives {
				require.InDelta(t, p.Total-bruteForce(p, rules.MaxRested, i, a.Cell.Key), a.GivesUp, 1e-9)
				require.GreaterOrEqual(t, a.GivesUp, worst-1e-9)
				worst, shown[a.Cell.Key] = a.GivesUp, true
			}
			for _, c := range b.Cells {
				if !shown[c.Key] && c.Allowed {
					require.GreaterOrEqual(t, p.Total-bruteForce(p, rules.MaxRested, i, c.Key), worst-1e-9)
				}
			}
		}
		require.InDelta(t, p.Total, sum, 1e-9)
		// One more rested bed adds NextRest.
		require.InDelta(t, bruteForce(p, rules.MaxRested+1, -1, "")-p.Total, p.NextRest, 1e-9, "instance %d", n)
	}
	require.Positive(t, rested)
	require.Positive(t, refused)
}

func TestPlanBeds_OrderDoesNotMatter(t *testing.T) {
	cs, es := crops(t), effects(t)
	rng := rand.New(rand.NewPCG(7, 7))
	for range 50 {
		beds, options, rules := randomInstance(rng, cs, es)
		a, err := cover.PlanBeds(beds, options, site, rules)
		require.NoError(t, err)
		first := append([]cover.Bed(nil), beds...)
		rng.Shuffle(len(beds), func(i, j int) { beds[i], beds[j] = beds[j], beds[i] })
		rng.Shuffle(len(options), func(i, j int) { options[i], options[j] = options[j], options[i] })
		b, err := cover.PlanBeds(beds, options, site, rules)
		require.NoError(t, err)
		require.Equal(t, a, b)
		require.ElementsMatch(t, first, beds)
	}
}

// Ties: nothing before something of no value, fewer unknowns first, then the
// alphabet; a gain of zero rests no bed; equal gains rest the first code.
func TestPlanBeds_Ties(t *testing.T) {
	crop := func(id string, score int) cover.Option {
		c := crops(t)["cereal_rye"]
		c.ID, c.USDPerHa = id, ptr(0.0)
		e := cover.Effect{Pest: "slug", Direction: "neutral", Grade: "A", Score: score}
		if score < 0 {
			e.Direction = "reduces"
		}
		return cover.Option{Crop: c, Effects: []cover.Effect{e}}
	}
	b := func(code string) cover.Bed {
		x := bed(code)
		x.HistoryKnown, x.Pressure = true, []cover.Pressure{cover.Counted("slug", 1)}
		return x
	}
	s := site
	for i := range s.SoilC {
		s.SoilC[i] = ptr(20.0)
	}
	plan := func(k int, beds []cover.Bed, o ...cover.Option) cover.Plan {
		r := cover.DefaultRules()
		r.MaxRested = k
		p, err := cover.PlanBeds(beds, o, s, r)
		require.NoError(t, err)
		return p
	}
	require.Equal(t, cover.None, plan(0, []cover.Bed{b("1")}, crop("a", 0)).Beds[0].Chosen.Key)
	require.Equal(t, "a", plan(0, []cover.Bed{b("1")}, crop("b", -1), crop("a", -1)).Beds[0].Chosen.Key)
	dim := crop("a", -1)
	dim.Crop.USDPerHa, dim.Crop.RateKgHa = nil, nil // its cost is not known
	require.Equal(t, "b", plan(0, []cover.Bed{b("1")}, crop("b", -1), dim).Beds[0].Chosen.Key)

	rest := crop("r", -1)
	rest.Rest, rest.Crop.Slots, rest.Crop.SowRel = true, []cover.Slot{cover.Rest}, "LF+15..FF-65"
	require.Empty(t, plan(1, []cover.Bed{b("1")}, crop("a", -1), rest).Rested)
	require.Equal(t, []string{"1"}, plan(1, []cover.Bed{b("2"), b("1")}, rest).Rested)
}

func TestPlanBeds_Empty(t *testing.T) {
	p, err := cover.PlanBeds(nil, nil, site, cover.DefaultRules())
	require.NoError(t, err)
	require.Zero(t, p.Total)
	p, err = cover.PlanBeds([]cover.Bed{bed("1")}, nil, cover.Site{}, cover.DefaultRules())
	require.NoError(t, err)
	require.Equal(t, cover.None, p.Beds[0].Chosen.Key)
	require.Equal(t, 1, p.Combinations)
	require.Equal(t, []string{"bare soil in winter: open to rain and wind"}, p.Beds[0].Notes)
}

// Sixty beds: too many combinations to value, so the bound alone is the proof.
func TestPlanBeds_ManyBeds(t *testing.T) {
	ex := workedExample(t)
	var beds []cover.Bed
	for i := range 60 {
		b := ex.beds[i%4]
		b.Code = fmt.Sprintf("%02d", i)
		beds = append(beds, b)
	}
	rules := cover.DefaultRules()
	rules.MaxRested = 20
	p, err := cover.PlanBeds(beds, ex.options, site, rules)
	require.NoError(t, err)
	require.Zero(t, p.Combinations)
	// 15 copies of each bed: all 15 marigold gains (7.0945) and 5 of 5.148.
	require.InDelta(t, 15*6.860+15*7.0945+5*5.148, p.Total, 1e-9)
	require.InDelta(t, 5.148, p.NextRest, 1e-9)
	require.Equal(t, "no plan with at most 20 rested beds can exceed 235.058 points, and this one reaches that", p.Proof)
}

func TestPlanBeds_Refuses(t *testing.T) {
	ok := cover.Option{Crop: crops(t)["oats"]}
	for name, edit := range map[string]func(*cover.Bed, *cover.Option, *cover.Rules){
		"no code":       func(b *cover.Bed, _ *cover.Option, _ *cover.Rules) { b.Code = "" },
		"area":          func(b *cover.Bed, _ *cover.Option, _ *cover.Rules) { b.AreaM2 = math.NaN() },
		"no dates":      func(b *cover.Bed, _ *cover.Option, _ *cover.Rules) { b.PlantBy = civil.Date{} },
		"dates swapped": func(b *cover.Bed, _ *cover.Option, _ *cover.Rules) { b.FreeFrom, b.PlantBy = b.PlantBy, b.FreeFrom },
		"pressure": func(b *cover.Bed, _ *cover.Option, _ *cover.Rules) {
			b.Pressure = []cover.Pressure{cover.Counted("slug", 4)}
		},
		"pressure NaN": func(b *cover.Bed, _ *cover.Option, _ *cover.Rules) {
			b.Pressure = []cover.Pressure{cover.Counted("slug", math.NaN())}
		},
		"pressure twice": func(b *cover.Bed, _ *cover.Option, _ *cover.Rules) {
			b.Pressure = []cover.Pressure{{Pest: "slug"}, {Pest: "slug"}}
		},
		"no id":       func(_ *cover.Bed, o *cover.Option, _ *cover.Rules) { o.Crop.ID = "" },
		"reserved id": func(_ *cover.Bed, o *cover.Option, _ *cover.Rules) { o.Crop.ID = cover.None },
		"price":       func(_ *cover.Bed, o *cover.Option, _ *cover.Rules) { o.Crop.USDPerHa = ptr(-1.0) },
		"price NaN":   func(_ *cover.Bed, o *cover.Option, _ *cover.Rules) { o.Crop.USDPerKg = ptr(math.NaN()) },
		"days":        func(_ *cover.Bed, o *cover.Option, _ *cover.Rules) { o.Crop.DaysToUsable = ptr(-1) },
		"sowings":     func(_ *cover.Bed, o *cover.Option, _ *cover.Rules) { o.Sowings = -1 },
		"score": func(_ *cover.Bed, o *cover.Option, _ *cover.Rules) {
			o.Effects = []cover.Effect{{Pest: "slug", Direction: "reduces", Score: -4, Grade: "A"}}
		},
		"sign": func(_ *cover.Bed, o *cover.Option, _ *cover.Rules) {
			o.Effects = []cover.Effect{{Pest: "slug", Direction: "reduces", Score: 1, Grade: "A"}}
		},
		"grade": func(_ *cover.Bed, o *cover.Option, _ *cover.Rules) {
			o.Effects = []cover.Effect{{Pest: "slug", Direction: "reduces", Score: -1, Grade: "E"}}
		},
		"unknown, scored": func(_ *cover.Bed, o *cover.Option, _ *cover.Rules) {
			o.Effects = []cover.Effect{{Pest: "slug", Direction: "unknown", Score: -1, Grade: "none"}}
		},
		"direction": func(_ *cover.Bed, o *cover.Option, _ *cover.Rules) {
			o.Effects = []cover.Effect{{Pest: "slug", Direction: "up", Grade: "A"}}
		},
		"R7":      func(_ *cover.Bed, _ *cover.Option, r *cover.Rules) { r.R7 = "" },
		"rested":  func(_ *cover.Bed, _ *cover.Option, r *cover.Rules) { r.MaxRested = -1 },
		"weights": func(_ *cover.Bed, _ *cover.Option, r *cover.Rules) { r.Weights.D = 2 },
		"cost":    func(_ *cover.Bed, _ *cover.Option, r *cover.Rules) { r.PointsPerUSD = math.Inf(1) },
	} {
		b, o, r := bed("1"), ok, cover.DefaultRules()
		edit(&b, &o, &r)
		_, err := cover.PlanBeds([]cover.Bed{b}, []cover.Option{o}, site, r)
		var p *diag.Problem
		require.ErrorAs(t, err, &p, name)
		require.NotEmpty(t, p.Do, name)
	}
	_, err := cover.PlanBeds([]cover.Bed{bed("1"), bed("1")}, nil, site, cover.DefaultRules())
	require.ErrorContains(t, err, "bed 1 is given twice")
	_, err = cover.PlanBeds(nil, []cover.Option{ok, ok}, site, cover.DefaultRules())
	require.ErrorContains(t, err, `option "oats"`)
}

// Every row of the tables passes the checks of PlanBeds.
func TestPlanBeds_WholeTable(t *testing.T) {
	cs, es := crops(t), effects(t)
	var options []cover.Option
	for id, c := range cs {
		options = append(options, cover.Options(c, es[id])...)
	}
	rules := cover.DefaultRules()
	rules.MaxRested = 1
	ex := workedExample(t)
	p, err := cover.PlanBeds(ex.beds, options, site, rules)
	require.NoError(t, err)
	require.InDelta(t, 0, p.Gap, 1e-9)
	for _, b := range p.Beds {
		require.Len(t, b.Cells, len(options)+1)
	}
}
