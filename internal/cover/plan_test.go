package cover_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
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
	r.Nitrogen, r.Biomass, r.Work = 0.01*rng.Float64(), 0.1*rng.Float64(), 0.1*rng.Float64()
	r.Species, r.Together, r.OneEach, r.HostScore = rng.IntN(3), 0.3*rng.Float64(), rng.IntN(4) == 0, 2*rng.IntN(2)
	total := 0.0
	for i := range beds {
		total += beds[i].AreaM2
		if rng.IntN(2) == 0 {
			beds[i].Row, beds[i].Place = "r", float64(i)
		}
	}
	if rng.IntN(3) == 0 {
		r.Budget = ptr(10 * rng.Float64())
	}
	r.Lots = rng.IntN(4)
	if rng.IntN(4) == 0 {
		r.UntreatedOf = 1 + rng.IntN(4)
		r.Untreated = 1 + rng.IntN(r.UntreatedOf)
	}
	if rng.IntN(4) == 0 {
		r.Legumes = ptr(rng.Float64())
	}
	if rng.IntN(6) == 0 {
		r.LegumesMost = ptr(rng.Float64())
	}
	if rng.IntN(3) == 0 {
		r.Areas = []cover.Area{{What: options[rng.IntN(len(options))].Crop.ID, Least: rng.IntN(2) == 0, M2: 0.5 * total * rng.Float64()}}
	}
	if rng.IntN(6) == 0 { // on few beds both areas ask for a mix
		for _, id := range []string{"cereal_rye", "field_pea"} {
			if !slices.ContainsFunc(options, func(o cover.Option) bool { return o.Crop.ID == id }) {
				options = append(options, cover.Options(cs[id], es[id])...)
			}
			r.Areas = append(r.Areas, cover.Area{What: id, Least: true, M2: 0.25 * total})
		}
		r.Species, r.Lots, r.Budget, r.Legumes = 2, 0, nil, nil
	}
	return beds, options, r
}

// keepsRules reports whether picks of cells (winter, rest by bed) keep the
// rules. It knows nothing of the solver.
func keepsRules(beds []cover.Bed, r cover.Rules, pick [][2]cover.Cell) bool {
	rest, bare := 0, 0
	spent, sown, legumes := 0.0, 0.0, 0.0
	lots := map[string]bool{}
	areas := map[string]float64{}
	for i, p := range pick {
		if p[0].Key == cover.None && p[1].Key == cover.None {
			bare++
		}
		for w, c := range p {
			if c.Key == cover.None {
				continue
			}
			if w == 1 {
				rest++
			}
			spent += c.Score.CostUSD
			sown += beds[i].AreaM2
			for _, part := range c.Option.Parts() {
				lots[part.Crop.ID] = true
				areas[part.Crop.ID] += part.Share * beds[i].AreaM2
				if part.Crop.Legume {
					legumes += part.Share * beds[i].AreaM2
				}
			}
		}
	}
	ok := rest <= r.MaxRested && (r.Budget == nil || spent <= *r.Budget+1e-9) && (r.Lots == 0 || len(lots) <= r.Lots) &&
		(r.Untreated == 0 || float64(bare) >= float64(len(beds)*r.Untreated)/float64(r.UntreatedOf)) &&
		(r.LegumesMost == nil || legumes <= *r.LegumesMost*sown+1e-9) &&
		(r.Legumes == nil || legumes >= *r.Legumes*sown-1e-9)
	for _, a := range r.Areas {
		ok = ok && (a.Least && areas[a.What] >= a.M2-1e-9 || !a.Least && areas[a.What] <= a.M2+1e-9)
	}
	return ok
}

// goesWith reports whether a bed may carry both cells.
func goesWith(r cover.Rules, w, rest cover.Cell) bool {
	switch {
	case rest.Key == cover.None:
		return true
	case w.Key == cover.None:
		return rest.Fit.OK
	case r.OneEach || !rest.After.OK:
		return false
	}
	for _, a := range w.Option.Parts() {
		for _, b := range rest.Option.Parts() {
			if a.Crop.Family == b.Crop.Family {
				return false
			}
		}
	}
	return true
}

// bruteForce values every combination of cells, holding bed `held` (or -1) to
// two keys, and returns the best total, -Inf where no plan keeps the rules.
func bruteForce(p cover.Plan, beds []cover.Bed, r cover.Rules, held int, winter, rest string) float64 {
	byCode := map[string]cover.Bed{}
	for _, b := range beds {
		byCode[b.Code] = b
	}
	var sorted []cover.Bed
	uses := make([][][2]cover.Cell, len(p.Beds))
	for i, b := range p.Beds {
		sorted = append(sorted, byCode[b.Bed])
		var cells [2][]cover.Cell
		w := -1
		for _, c := range b.Cells {
			if c.Key == cover.None {
				w++
			}
			if c.Allowed {
				cells[w] = append(cells[w], c)
			}
		}
		for _, x := range cells[0] {
			for _, y := range cells[1] {
				if goesWith(r, x, y) && (i != held || x.Key == winter && y.Key == rest) {
					uses[i] = append(uses[i], [2]cover.Cell{x, y})
				}
			}
		}
	}
	best := math.Inf(-1)
	pick := make([][2]cover.Cell, len(uses))
	var walk func(i int, sum float64)
	walk = func(i int, sum float64) {
		if i == len(uses) {
			if keepsRules(sorted, r, pick) {
				best = math.Max(best, sum)
			}
			return
		}
		for _, u := range uses[i] {
			pick[i] = u
			v := u[0].Value + u[1].Value
			last := i - 1
			for last >= 0 && sorted[last].Row == "" {
				last--
			}
			if last >= 0 && sorted[i].Row != "" {
				for w := range 2 {
					if u[w].Key != cover.None && u[w].Key == pick[last][w].Key {
						v += r.Together
					}
				}
			}
			walk(i+1, sum+v)
		}
	}
	walk(0, 0)
	return best
}

func TestPlanBeds_BruteForce(t *testing.T) {
	cs, es := crops(t), effects(t)
	rng := rand.New(rand.NewPCG(20261020, 1))
	rested, refused, impossible, two, mixed, binding := 0, 0, 0, 0, 0, 0
	for n := range 200 {
		beds, options, rules := randomInstance(rng, cs, es)
		p, err := cover.PlanBeds(context.Background(), beds, options, site, rules)
		if errors.Is(err, cover.ErrConflict) {
			impossible++
			free := rules
			free.Areas, free.Legumes, free.LegumesMost, free.Untreated = nil, nil, nil, 0
			q, err := cover.PlanBeds(context.Background(), beds, options, site, free)
			require.NoError(t, err)
			require.True(t, math.IsInf(bruteForce(q, beds, rules, -1, "", ""), -1), "instance %d", n)
			continue
		}
		require.NoError(t, err)
		require.True(t, p.Proved)
		require.InDelta(t, bruteForce(p, beds, rules, -1, "", ""), p.Total, 1e-9, "instance %d", n)
		require.InDelta(t, p.Total, p.Bound, 1e-6)
		require.LessOrEqual(t, len(p.Rested), rules.MaxRested)
		rested += len(p.Rested)
		binding += len(p.Binding)
		sum := p.Alike
		for i, b := range p.Beds {
			require.True(t, b.Winter.Allowed && b.Rest.Allowed)
			sum += b.Value()
			if len(b.Chosen()) == 2 {
				two++
			}
			for _, c := range b.Cells {
				if !c.Allowed {
					refused++
				}
			}
			for _, c := range b.Chosen() {
				mixed += len(c.Option.Mix)
			}
			if n%10 != 0 { // the slow check of alternatives on every tenth
				continue
			}
			// Each alternative gives up what the best plan holding it gives
			// up, and no other use of the bed gives up less.
			worst := 0.0
			shown := map[string]bool{b.Winter.Key + b.Rest.Key: true}
			for _, a := range b.Alternatives {
				require.False(t, a.AtLeast)
				require.InDelta(t, p.Total-bruteForce(p, beds, rules, i, a.Winter.Key, a.Rest.Key), a.GivesUp, 1e-6)
				require.GreaterOrEqual(t, a.GivesUp, worst-1e-6)
				worst, shown[a.Winter.Key+a.Rest.Key] = a.GivesUp, true
			}
			seen := -1
			for _, w := range b.Cells {
				if w.Key == cover.None {
					seen++
				}
				for _, c := range b.Cells[1:] {
					if seen == 0 && (c.Key == cover.None || c.Option.Rest) && !shown[w.Key+c.Key] {
						require.GreaterOrEqual(t, p.Total-bruteForce(p, beds, rules, i, w.Key, c.Key), worst-1e-6)
					}
				}
			}
		}
		require.InDelta(t, p.Total, sum, 1e-9)
		// One more rested bed adds NextRest.
		more := rules
		more.MaxRested++
		require.InDelta(t, bruteForce(p, beds, more, -1, "", "")-p.Total, p.NextRest, 1e-6, "instance %d", n)
	}
	for _, n := range []int{rested, refused, impossible, two, mixed, binding} {
		require.Positive(t, n, "%v", []int{rested, refused, impossible, two, mixed, binding})
	}
}

func TestPlanBeds_OrderDoesNotMatter(t *testing.T) {
	cs, es := crops(t), effects(t)
	rng := rand.New(rand.NewPCG(7, 7))
	planned := 0
	for range 50 {
		beds, options, rules := randomInstance(rng, cs, es)
		a, wrong := cover.PlanBeds(context.Background(), beds, options, site, rules)
		if wrong == nil {
			planned++
		} else {
			require.ErrorIs(t, wrong, cover.ErrConflict)
		}
		first := append([]cover.Bed(nil), beds...)
		rng.Shuffle(len(beds), func(i, j int) { beds[i], beds[j] = beds[j], beds[i] })
		rng.Shuffle(len(options), func(i, j int) { options[i], options[j] = options[j], options[i] })
		b, err := cover.PlanBeds(context.Background(), beds, options, site, rules)
		require.Equal(t, wrong, err)
		require.True(t, reflect.DeepEqual(a, b))
		require.ElementsMatch(t, first, beds)
	}
	require.Greater(t, planned, 30)
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
		p, err := cover.PlanBeds(context.Background(), beds, o, s, r)
		require.NoError(t, err)
		return p
	}
	require.Equal(t, cover.None, chosen(plan(0, []cover.Bed{b("1")}, crop("a", 0)).Beds[0]))
	require.Equal(t, "a", chosen(plan(0, []cover.Bed{b("1")}, crop("b", -1), crop("a", -1)).Beds[0]))
	dim := crop("a", -1)
	dim.Crop.USDPerHa, dim.Crop.RateKgHa = nil, nil // its cost is not known
	require.Equal(t, "b", chosen(plan(0, []cover.Bed{b("1")}, crop("b", -1), dim).Beds[0]))

	rest := crop("r", -1)
	rest.Rest, rest.Crop.Slots, rest.Crop.SowRel = true, []cover.Slot{cover.Rest}, "LF+15..FF-65"
	require.Empty(t, plan(1, []cover.Bed{b("1")}, crop("a", -1), rest).Rested)
	require.Equal(t, []string{"1"}, plan(1, []cover.Bed{b("2"), b("1")}, rest).Rested)
}

func TestPlanBeds_Empty(t *testing.T) {
	p, err := cover.PlanBeds(context.Background(), nil, nil, site, cover.DefaultRules())
	require.NoError(t, err)
	require.Zero(t, p.Total)
	p, err = cover.PlanBeds(context.Background(), []cover.Bed{bed("1")}, nil, cover.Site{}, cover.DefaultRules())
	require.NoError(t, err)
	require.Equal(t, cover.None, chosen(p.Beds[0]))
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
	rules := oneEach()
	rules.MaxRested = 20
	p, err := cover.PlanBeds(context.Background(), beds, ex.options, site, rules)
	require.NoError(t, err)
	require.Zero(t, p.Combinations)
	// 15 copies of each bed: all 15 marigold gains (7.0945) and 5 of 5.148.
	require.InDelta(t, 15*6.860+15*7.0945+5*5.148, p.Total, 1e-9)
	require.InDelta(t, 5.148, p.NextRest, 1e-9)
	require.Equal(t, "no plan under the rules can exceed 235.058 points, and this one reaches that", p.Proof)
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
		_, err := cover.PlanBeds(context.Background(), []cover.Bed{b}, []cover.Option{o}, site, r)
		var p *diag.Problem
		require.ErrorAs(t, err, &p, name)
		require.NotEmpty(t, p.Do, name)
	}
	_, err := cover.PlanBeds(context.Background(), []cover.Bed{bed("1"), bed("1")}, nil, site, cover.DefaultRules())
	require.ErrorContains(t, err, "bed 1 is given twice")
	_, err = cover.PlanBeds(context.Background(), nil, []cover.Option{ok, ok}, site, cover.DefaultRules())
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
	p, err := cover.PlanBeds(context.Background(), ex.beds, options, site, rules)
	require.NoError(t, err)
	require.InDelta(t, 0, p.Gap, 1e-9)
	for _, b := range p.Beds {
		require.Len(t, b.Cells, len(options)+2)
	}
}
