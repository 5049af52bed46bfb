package cover_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/cover"
	"leafturn/internal/diag"
)

// plainPlan plans the worked example's beds with all its options under rules.
func plainPlan(t testing.TB, edit func(r *cover.Rules)) (cover.Plan, error) {
	ex := workedExample(t)
	r := oneEach()
	edit(&r)
	return cover.PlanBeds(context.Background(), ex.beds, ex.options, site, r)
}

func keysOf(p cover.Plan) string {
	var out []string
	for _, b := range p.Beds {
		out = append(out, chosen(b))
	}
	return strings.Join(out, " ")
}

// Worked by hand from the net values of the example: pea 0.695, oats 5.87, none,
// pea 0.295 without any rule; seed costs 2.10, 2.60, 2.10 USD.
func TestPlanBeds_Rules(t *testing.T) {
	for _, c := range []struct {
		name  string
		edit  func(r *cover.Rules)
		want  string
		total float64
		binds string // the rule that costs most
		gain  float64
	}{
		{"none", func(r *cover.Rules) {}, "field_pea oats none field_pea", 6.86, "", 0},
		{"budget 5 USD", func(r *cover.Rules) { r.Budget = ptr(5.) }, "field_pea oats none none", 6.565, "a budget of 5.00 USD", 0.295},
		{"budget 0", func(r *cover.Rules) { r.Budget = ptr(0.) }, "none none none none", 0, "a budget of 0.00 USD", 6.86},
		{"one lot", func(r *cover.Rules) { r.Lots = 1 }, "none oats none none", 5.87, "at most 1 seed lot", 0.99},
		{"one bed in two untreated", func(r *cover.Rules) { r.Untreated, r.UntreatedOf = 1, 2 }, "field_pea oats none none", 6.565, "1 in 2 beds without a cover (2 beds)", 0.295},
		{"pea at most 150 m2", func(r *cover.Rules) { r.Areas = []cover.Area{{What: "field_pea", M2: 150}} }, "field_pea oats none none", 6.565, "at most 150 m² of field_pea", 0.295},
		{"grass at least 150 m2", func(r *cover.Rules) { r.Areas = []cover.Area{{What: "Poaceae", Least: true, M2: 150}} }, "oats oats none field_pea", 4.835, "at least 150 m² of Poaceae", 2.025},
		{"legumes 75 %", func(r *cover.Rules) { r.Legumes = ptr(0.75) }, "field_pea oats field_pea field_pea", 5.555, "at least 75 % of the sown area in legumes", 1.305},
		{"two in four untreated", func(r *cover.Rules) { r.Untreated, r.UntreatedOf = 2, 4 }, "field_pea oats none none", 6.565, "2 in 4 beds without a cover (2 beds)", 0.295},
		{"no legumes", func(r *cover.Rules) { r.LegumesMost = ptr(0.) }, "none oats none none", 5.87, "at most 0 % of the sown area in legumes", 0.99},
		{"legumes at most half", func(r *cover.Rules) { r.LegumesMost = ptr(0.5) }, "field_pea oats none none", 6.565, "at most 50 % of the sown area in legumes", 0.295},
		{"legumes alone", func(r *cover.Rules) { r.Legumes = ptr(1.) }, "field_pea none none field_pea", 0.99, "at least 100 % of the sown area in legumes", 5.87},
		{"pin rye in bed 2", func(r *cover.Rules) { r.Pins = []cover.Pin{{Bed: "2", Cover: "cereal_rye"}} }, "field_pea cereal_rye none field_pea", 2.95, "pin 2 winter cereal_rye", 3.91},
		{"pin none in bed 1", func(r *cover.Rules) { r.Pins = []cover.Pin{{Bed: "1", Cover: cover.None}} }, "none oats none field_pea", 6.165, "pin 1 none", 0.695},
		{"forbid pea", func(r *cover.Rules) { r.Forbids = []cover.Pin{{Cover: "field_pea"}} }, "none oats none none", 5.87, "forbid every bed field_pea", 0.99},
		{"forbid bed 2", func(r *cover.Rules) { r.Forbids = []cover.Pin{{Bed: "2", Window: cover.BeforePlanting}} }, "field_pea none none field_pea", 0.99, "forbid 2 winter", 5.87},
		{"forbid none in bed 3", func(r *cover.Rules) { r.Forbids = []cover.Pin{{Bed: "3", Cover: cover.None}} }, "field_pea oats field_pea field_pea", 5.555, "forbid 3 winter none", 1.305},
		{"harm twice", func(r *cover.Rules) { r.HarmWeight = 2 }, "field_pea oats none field_pea", 0.295 + 5.87 + 0.295, "", 0},
		{"help half", func(r *cover.Rules) { r.PestWeight = 0.5 }, "field_pea oats none field_pea", 0.6 - 0.4 - 0.105 + 3 - 0.13 + 0.2 - 0.105, "", 0},
		{"rest one", func(r *cover.Rules) { r.MaxRested = 1; r.RestCost = 8 }, "field_pea oats none field_pea", 6.86, "", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := plainPlan(t, c.edit)
			require.NoError(t, err)
			require.True(t, p.Proved)
			require.Equal(t, c.want, keysOf(p))
			require.InDelta(t, c.total, p.Total, 1e-9)
			var most cover.Binding
			for _, b := range p.Binding {
				if strings.HasPrefix(b.Rule, "at most 0 rested") {
					continue // one rested bed would help: see TestWorkedExample_Tells
				}
				if b.Gain > most.Gain {
					most = b
				}
			}
			require.Equal(t, c.binds, most.Rule)
			require.InDelta(t, c.gain, most.Gain, 1e-6)
			require.Equal(t, strings.HasPrefix(c.binds, "pin"), most.Pin)
		})
	}
}

// A pin is marked in the window that it holds, whether it named it or not.
func TestPlanBeds_Pinned(t *testing.T) {
	for _, c := range []struct {
		pin          cover.Pin
		winter, rest bool
	}{
		{cover.Pin{Bed: "2", Cover: "cereal_rye"}, true, false},
		{cover.Pin{Bed: "2", Cover: "buckwheat"}, false, true},
		{cover.Pin{Bed: "2", Cover: cover.None}, true, true},
		{cover.Pin{Bed: "2", Window: cover.RestYear, Cover: cover.None}, false, true},
	} {
		p, err := plainPlan(t, func(r *cover.Rules) { r.MaxRested, r.Pins = 1, []cover.Pin{c.pin} })
		require.NoError(t, err)
		for _, b := range p.Beds {
			require.Equal(t, c.winter && b.Bed == "2", b.Winter.Pinned, "%v", c.pin)
			require.Equal(t, c.rest && b.Bed == "2", b.Rest.Pinned, "%v", c.pin)
		}
	}
}

// Two beds side by side: rye and wheat are worth the same in each, so a small
// bonus for beds sown alike decides; apart by a row it does not.
func TestPlanBeds_Together(t *testing.T) {
	cs := crops(t)
	effect := func(id string, bed1, bed2 int) cover.Option {
		c := cs[id]
		c.USDPerHa = ptr(0.)
		return cover.Option{Crop: c, Effects: []cover.Effect{
			{Pest: "slug", Direction: "reduces", Score: bed1, Grade: "A"}, {Pest: "wireworm", Direction: "reduces", Score: bed2, Grade: "A"}}}
	}
	options := []cover.Option{effect("cereal_rye", -2, -1), effect("winter_wheat", -1, -2)}
	plan := func(rowB string, together float64) cover.Plan {
		a, b := bed("A"), bed("B")
		a.Row, b.Row, b.Place = "r", rowB, 1
		a.Pressure, b.Pressure = []cover.Pressure{cover.Counted("slug", 1), cover.Counted("wireworm", 0)}, []cover.Pressure{cover.Counted("slug", 0), cover.Counted("wireworm", 1)}
		r := cover.DefaultRules()
		r.Together = together
		p, err := cover.PlanBeds(context.Background(), []cover.Bed{a, b}, options, site, r)
		require.NoError(t, err)
		return p
	}
	require.Equal(t, "cereal_rye winter_wheat", keysOf(plan("r", 0.9)))
	p := plan("r", 1.1)
	require.InDelta(t, 2+1+1.1, p.Total, 1e-9)
	require.InDelta(t, 1.1, p.Alike, 1e-9)
	require.Equal(t, chosen(p.Beds[0]), chosen(p.Beds[1]))
	require.Equal(t, "cereal_rye winter_wheat", keysOf(plan("s", 1.1)))
	require.Equal(t, "cereal_rye winter_wheat", keysOf(plan("", 1.1)))
}

// A rested bed may carry a cover before its rest crop too, not of its family, and
// ended in time.
func TestPlanBeds_TwoWindows(t *testing.T) {
	ex := workedExample(t)
	r := cover.DefaultRules()
	r.MaxRested = 1
	p, err := cover.PlanBeds(context.Background(), ex.beds, ex.options, site, r)
	require.NoError(t, err)
	// Marigold after pea in bed 4: 7.3895 + 0.295 beats buckwheat after pea in bed 1.
	b := p.Beds[3]
	require.Equal(t, "field_pea", b.Winter.Key)
	require.Equal(t, "marigold (rest)", b.Rest.Key)
	require.InDelta(t, 0.695+5.87+0+0.295+7.3895, p.Total, 1e-9)
	require.False(t, b.Rest.Fit.Choice.Sow.Before(b.Winter.Fit.Choice.Plant), "the rest crop waits for the end of the cover before it")

	// Its family would stand twice running.
	r.Pins = []cover.Pin{{Bed: "1", Window: cover.BeforePlanting, Cover: "oats"}}
	millet := cover.Option{Crop: crops(t)["japanese_millet"], Rest: true}
	_, err = cover.PlanBeds(context.Background(), ex.beds, append(ex.options, millet), site, cover.Rules{
		Weights: cover.DefaultWeights, R7: cover.FamilySoft, MaxRested: 1, Pins: append(r.Pins, cover.Pin{Bed: "1", Window: cover.RestYear, Cover: "japanese_millet"}),
	})
	var conflict *cover.Conflict
	require.ErrorAs(t, err, &conflict)
	require.Equal(t, []string{"pin 1 winter oats", "pin 1 rest japanese_millet"}, conflict.Rules)
}

// The smallest set of rules that contradict each other, each worked by hand.
func TestPlanBeds_Conflicts(t *testing.T) {
	for _, c := range []struct {
		name string
		edit func(r *cover.Rules)
		want []string
	}{
		{"one alone", func(r *cover.Rules) { r.Areas = []cover.Area{{What: "oats", Least: true, M2: 250}} },
			[]string{"at least 250 m² of oats"}}, // beds 1 and 2 alone may carry it
		{"area and budget", func(r *cover.Rules) {
			r.Areas = []cover.Area{{What: "oats", Least: true, M2: 150, From: "rules.txt:1"}}
			r.Budget, r.Lots = ptr(3.), 3
			r.Stated = map[string]string{"budget": "rules.txt:2"}
		}, []string{"a budget of 3.00 USD (rules.txt:2)", "at least 150 m² of oats (rules.txt:1)"}},
		{"pin and forbid", func(r *cover.Rules) {
			r.Pins, r.Forbids = []cover.Pin{{Bed: "1", Cover: "oats"}, {Bed: "2", Cover: "oats"}}, []cover.Pin{{Bed: "1", Cover: "oats"}}
			r.Budget = ptr(100.)
		}, []string{"pin 1 winter oats", "forbid 1 oats"}},
		{"two lots needed", func(r *cover.Rules) {
			r.Lots = 1
			r.Pins = []cover.Pin{{Bed: "1", Cover: "field_pea"}, {Bed: "2", Cover: "oats"}}
		}, []string{"at most 1 seed lot", "pin 1 winter field_pea", "pin 2 winter oats"}},
		{"untreated against pins", func(r *cover.Rules) {
			r.Untreated, r.UntreatedOf = 1, 1
			r.Pins = []cover.Pin{{Bed: "4", Cover: "field_pea"}, {Bed: "3", Cover: cover.None}}
		}, []string{"1 in 1 beds without a cover (4 beds)", "pin 4 winter field_pea"}},
		{"rested", func(r *cover.Rules) { r.Pins = []cover.Pin{{Bed: "1", Cover: "buckwheat"}} },
			[]string{"at most 0 rested beds", "pin 1 rest buckwheat"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := plainPlan(t, c.edit)
			var conflict *cover.Conflict
			require.ErrorAs(t, err, &conflict)
			require.ErrorIs(t, err, cover.ErrConflict)
			require.Equal(t, c.want, conflict.Rules)
			require.True(t, conflict.Least)
			var p *diag.Problem
			require.ErrorAs(t, err, &p)
			require.NotEmpty(t, p.Do)
		})
	}
}

// On random rules that cannot be kept, the set named contradicts itself, and
// without any one of its rules it does not.
func TestPlanBeds_ConflictsAreSmallest(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 7))
	found := 0
	for range 120 {
		edit := func(r *cover.Rules) {}
		add := func(e func(r *cover.Rules)) { old := edit; edit = func(r *cover.Rules) { old(r); e(r) } }
		for _, id := range []string{"oats", "field_pea", "cereal_rye"} {
			if m2, least := 50+300*rng.Float64(), rng.IntN(2) == 0; rng.IntN(2) == 0 {
				add(func(r *cover.Rules) { r.Areas = append(r.Areas, cover.Area{What: id, Least: least, M2: m2}) })
			}
		}
		if b := 8 * rng.Float64(); rng.IntN(2) == 0 {
			add(func(r *cover.Rules) { r.Budget = &b })
		}
		if n := 1 + rng.IntN(3); rng.IntN(2) == 0 {
			add(func(r *cover.Rules) { r.Untreated, r.UntreatedOf = 1, n })
		}
		_, err := plainPlan(t, edit)
		var c *cover.Conflict
		if !errors.As(err, &c) {
			require.NoError(t, err)
			continue
		}
		found++
		has := func(without string) func(r *cover.Rules) {
			return func(r *cover.Rules) {
				var all cover.Rules
				edit(&all)
				in := func(words string) bool {
					for _, w := range c.Rules {
						if w == words && w != without {
							return true
						}
					}
					return false
				}
				for _, a := range all.Areas {
					word := "at most"
					if a.Least {
						word = "at least"
					}
					if in(fmt.Sprintf("%s %.4g m² of %s", word, a.M2, a.What)) {
						r.Areas = append(r.Areas, a)
					}
				}
				if all.Budget != nil && in(fmt.Sprintf("a budget of %.2f USD", *all.Budget)) {
					r.Budget = all.Budget
				}
				if n := all.UntreatedOf; n > 0 && in(fmt.Sprintf("1 in %d beds without a cover (%d bed%s)", n, (4+n-1)/n, map[bool]string{true: "s"}[n < 4])) {
					r.Untreated, r.UntreatedOf = 1, n
				}
			}
		}
		_, err = plainPlan(t, has(""))
		require.ErrorIs(t, err, cover.ErrConflict, "%v", c.Rules)
		for _, w := range c.Rules {
			_, err = plainPlan(t, has(w))
			require.NoError(t, err, "%v without %s", c.Rules, w)
		}
	}
	require.Greater(t, found, 15)
}

func TestPlanBeds_BadPins(t *testing.T) {
	for _, c := range []struct {
		name, want string
		edit       func(r *cover.Rules)
	}{
		{"no bed", "there is no bed 9", func(r *cover.Rules) { r.Pins = []cover.Pin{{Bed: "9", Cover: "oats"}} }},
		{"no cover", `there is no cover otas; did you mean "oats"?`, func(r *cover.Rules) { r.Pins = []cover.Pin{{Bed: "1", Cover: "otas"}} }},
		{"forbid no cover", `there is no cover otas`, func(r *cover.Rules) { r.Forbids = []cover.Pin{{Cover: "otas"}} }},
		{"breaks R6", "rules.txt:4: pin 3 oats breaks a rule: R6: Poaceae, the same family as the last cover (2025)", func(r *cover.Rules) { r.Pins = []cover.Pin{{Bed: "3", Cover: "oats", From: "rules.txt:4"}} }},
		{"window", `"summer" is no window`, func(r *cover.Rules) { r.Pins = []cover.Pin{{Bed: "1", Window: "summer", Cover: "oats"}} }},
		{"wrong window", "there is no such choice", func(r *cover.Rules) { r.Pins = []cover.Pin{{Bed: "1", Window: cover.RestYear, Cover: "oats"}} }},
		{"twice", "stands twice", func(r *cover.Rules) { r.Pins = []cover.Pin{{Bed: "1", Cover: "oats"}, {Bed: "1", Cover: "oats"}} }},
		{"nothing", "a forbid of everything", func(r *cover.Rules) { r.Forbids = []cover.Pin{{}} }},
		{"half a pin", "needs a bed and a cover", func(r *cover.Rules) { r.Pins = []cover.Pin{{Cover: "oats"}} }},
		{"negative budget", "the budget is -1 USD", func(r *cover.Rules) { r.Budget = ptr(-1.) }},
		{"share", "the share of legumes is 1.5", func(r *cover.Rules) { r.Legumes = ptr(1.5) }},
		{"area", "the area of oats is NaN m2", func(r *cover.Rules) { r.Areas = []cover.Area{{What: "oats", M2: math.NaN()}} }},
	} {
		_, err := plainPlan(t, c.edit)
		require.ErrorContains(t, err, c.want, c.name)
		var p *diag.Problem
		require.ErrorAs(t, err, &p, c.name)
		require.Equal(t, 2, diag.Code(err), c.name)
	}
}

// With a budget, a cover whose price is not known cannot be planned.
func TestPlanBeds_BudgetNeedsPrices(t *testing.T) {
	ex := workedExample(t)
	for i := range ex.options {
		if ex.options[i].Crop.ID == "oats" {
			ex.options[i].Crop.USDPerHa = nil
		}
	}
	r := oneEach()
	r.Budget = ptr(1000.)
	p, err := cover.PlanBeds(context.Background(), ex.beds, ex.options, site, r)
	require.NoError(t, err)
	require.Equal(t, "field_pea cereal_rye none field_pea", keysOf(p))
	require.Contains(t, refusedText(cellOf(p.Beds[1], "oats")), "its price is not known")

	r.Pins = []cover.Pin{{Bed: "2", Cover: "oats"}}
	_, err = cover.PlanBeds(context.Background(), ex.beds, ex.options, site, r)
	require.ErrorContains(t, err, "pin 2 oats breaks a rule: budget: its price is not known")

	// Where no cover has a price, it is the budget that bars those whose dates fit.
	r.Pins = nil
	for i := range ex.options {
		ex.options[i].Crop.USDPerHa = nil
		ex.options[i].Crop.USDPerKg = nil
	}
	p, err = cover.PlanBeds(context.Background(), ex.beds, ex.options, site, r)
	require.NoError(t, err)
	require.Contains(t, strings.Join(p.Beds[0].Notes, "\n"), "of 3 covers, 3 by budget (its price is not known)")
}

// A cover that fails in autumn and in spring is refused for both.
func TestPlanBeds_PinSaysEachReason(t *testing.T) {
	ex := workedExample(t)
	cold := site
	for _, m := range []int{1, 2, 3} {
		cold.SoilC[m] = ptr(1.)
	}
	r := oneEach()
	r.Pins = []cover.Pin{{Bed: "1", Cover: "oats"}}
	_, err := cover.PlanBeds(context.Background(), ex.beds, ex.options, cold, r)
	require.ErrorContains(t, err, "R2: sowing ends")
	require.ErrorContains(t, err, "R5: the soil does not reach 3.3 °C")
}

func TestPlanBeds_NoNegativeZero(t *testing.T) {
	p, err := cover.PlanBeds(context.Background(), []cover.Bed{bed("1")}, nil, site, cover.DefaultRules())
	require.NoError(t, err)
	require.Contains(t, p.Proof, "can exceed 0.000 points")
}

// A bed under a cover that was sown already is not bare, so no cover more costs
// it nothing.
func TestPlanBeds_StandingIsNotBare(t *testing.T) {
	r := cover.FarmRules()
	b := bed("1")
	b.FreeFrom, b.Standing = civil.MustParse("2027-05-14"), "Cereal rye until 24 April"
	p, err := cover.PlanBeds(context.Background(), []cover.Bed{b}, nil, site, r)
	require.NoError(t, err)
	require.Zero(t, p.Total)
	b.Standing = ""
	p, err = cover.PlanBeds(context.Background(), []cover.Bed{b}, nil, site, r)
	require.NoError(t, err)
	require.InDelta(t, -r.BarePenalty, p.Total, 1e-12)
}

func refusedText(c cover.Cell) string {
	var out []string
	for _, r := range c.Fit.Reasons {
		out = append(out, r.Text)
	}
	return strings.Join(out, "; ")
}

// Rules of the ground: hosts, viruses, water, leys.
func TestFeasible_Ground(t *testing.T) {
	cs, es := crops(t), effects(t)
	opt := func(id string, rest bool) cover.Option {
		return cover.Option{Crop: cs[id], Effects: es[id], Rest: rest}
	}
	hosts := func(o cover.Option, m map[string]bool) cover.Option { o.Crop.Hosts = m; return o }
	rules := cover.FarmRules()
	for _, c := range []struct {
		name   string
		option cover.Option
		edit   func(b *cover.Bed)
		rule   string
		kind   cover.Kind // "" for no word
	}{
		{"vetch raises symphylans +2", opt("common_vetch", false), func(b *cover.Bed) {
			b.FreeFrom = civil.MustParse("2026-09-10")
			b.Pressure = []cover.Pressure{cover.Counted("symphylan", 0.2)}
		}, "host", cover.Refused},
		{"oats raise wireworms +1", opt("oats", false), func(b *cover.Bed) { b.Pressure = []cover.Pressure{cover.Counted("wireworm", 0.1)} }, "host", cover.Refused},
		{"hardly found", opt("oats", false), func(b *cover.Bed) { b.Pressure = []cover.Pressure{cover.Counted("wireworm", 0.09)} }, "host", ""},
		{"not found", opt("common_vetch", false), func(b *cover.Bed) {
			b.FreeFrom = civil.MustParse("2026-09-10")
			b.Pressure = []cover.Pressure{cover.Counted("symphylan", 0)}
		}, "host", ""},
		{"mixed evidence is valued, not refused", opt("cereal_rye", false), func(b *cover.Bed) { b.Pressure = []cover.Pressure{cover.Counted("wireworm", 3)} }, "host", ""},
		{"virus found, host", hosts(opt("field_pea", false), map[string]bool{"CMV": true}), func(b *cover.Bed) { b.Viruses = []string{"CMV"} }, "R10", cover.Refused},
		{"virus found, no host", hosts(opt("field_pea", false), map[string]bool{"CMV": false}), func(b *cover.Bed) { b.Viruses = []string{"CMV"} }, "R10", ""},
		{"virus found, not known", opt("field_pea", false), func(b *cover.Bed) { b.Viruses = []string{"CMV"} }, "R10", cover.NotKnown},
		{"no virus found, host", hosts(opt("field_pea", false), map[string]bool{"CMV": true}), func(*cover.Bed) {}, "R10", cover.Warning},
		{"summer cover without water", opt("japanese_millet", true), func(b *cover.Bed) { b.NoWater = true }, "R14", cover.Refused},
		{"low-medium", opt("buckwheat", true), func(b *cover.Bed) { b.NoWater = true }, "R14", cover.Warning},
		{"with water", opt("japanese_millet", true), func(*cover.Bed) {}, "R14", ""},
		{"winter needs none", opt("cereal_rye", false), func(b *cover.Bed) { b.NoWater = true }, "R14", ""},
		{"ley and wireworm", opt("red_clover", true), func(b *cover.Bed) { b.Pressure = []cover.Pressure{cover.Counted("wireworm", 1)} }, "R16", cover.Refused},
		{"ley, none found", opt("red_clover", true), func(b *cover.Bed) { b.Pressure = []cover.Pressure{cover.Counted("wireworm", 0)} }, "R16", ""},
	} {
		b := bed("1")
		c.edit(&b)
		f := cover.Feasible(c.option, b, site, rules)
		got := cover.Kind("")
		for _, r := range f.Reasons {
			if r.Rule == c.rule {
				got = r.Kind
			}
		}
		require.Equal(t, c.kind, got, "%s: %v", c.name, f.Reasons)
		if c.kind == cover.Refused {
			require.False(t, f.OK, c.name)
		}
	}
	loose := rules
	loose.HostScore = 0
	b := bed("1")
	b.FreeFrom, b.Pressure = civil.MustParse("2026-09-10"), []cover.Pressure{cover.Counted("symphylan", 3)}
	require.True(t, cover.Feasible(opt("common_vetch", false), b, site, loose).OK)
}

// R12: partners only, none that is sown alone, one season; rates by share.
func TestMixes(t *testing.T) {
	cs, es := crops(t), effects(t)
	var options []cover.Option
	for id, c := range cs {
		options = append(options, cover.Options(c, es[id])...)
	}
	require.Empty(t, cover.Mixes(options, 1))
	two, three := cover.Mixes(options, 2), cover.Mixes(options, 3)
	require.Greater(t, len(three), len(two))
	seen := map[string]bool{}
	for _, o := range three {
		require.False(t, seen[o.Key()], o.Key())
		seen[o.Key()] = true
		sum := 0.0
		for i, a := range o.Mix {
			require.False(t, a.Crop.Alone, o.Key())
			sum += a.Share
			for _, b := range o.Mix[:i] {
				named := false
				for _, id := range append(append([]string{}, a.Crop.MixWith...), b.Crop.MixWith...) {
					named = named || id == a.Crop.ID || id == b.Crop.ID
				}
				require.True(t, named, o.Key())
			}
		}
		require.InDelta(t, 1, sum, 1e-12)
	}
	require.True(t, seen["cereal_rye+field_pea"])
	require.False(t, seen["brown_mustard+oats"], "a biofumigant is sown alone")
	require.False(t, seen["cereal_rye+oats"], "nobody names them as partners")

	// 2/3 of the legume's rate and 1/3 of the cereal's, in 100 m2; the help is
	// diluted, the harm is not.
	for _, o := range two {
		if o.Key() != "cereal_rye+field_pea" {
			continue
		}
		b := bed("1")
		b.HistoryKnown = true
		b.Pressure = []cover.Pressure{cover.Counted("wireworm", 3), cover.Counted("slug", 3)}
		r := cover.DefaultRules()
		r.Species = 2
		p, err := cover.PlanBeds(context.Background(), []cover.Bed{b}, options, site, r)
		require.NoError(t, err)
		c := cellOf(p.Beds[0], o.Key())
		require.True(t, c.Allowed, "%v", c.Fit.Reasons)
		require.InDelta(t, 179./3/100, c.Seeds[0].Seed.Kg, 1e-9)
		require.InDelta(t, 2*112./3/100, c.Seeds[1].Seed.Kg, 1e-9)
		// wireworm: pea -1 C = 1.2 x 2/3 of help, rye +1 C = 1.2 of harm; slug: pea +1 C = 1.2 of harm.
		require.InDelta(t, 0.8, c.Score.Help, 1e-9)
		require.InDelta(t, 2.4, c.Score.Harm, 1e-9)
		// Ended by the first of both, sown on a day that suits both.
		require.Equal(t, civil.MustParse("2027-04-24"), c.Fit.Choice.Kill)
		require.Equal(t, civil.MustParse("2026-10-28"), c.Fit.Choice.Sow)
	}
	// A mix cannot hide a banned family: rye's family was the last cover.
	b := bed("1")
	b.History, b.HistoryKnown = []cover.Grown{{Family: "Poaceae", Year: 2026}}, true
	r := cover.DefaultRules()
	r.Species = 3
	p, err := cover.PlanBeds(context.Background(), []cover.Bed{b}, options, site, r)
	require.NoError(t, err)
	checked := 0
	for _, c := range p.Beds[0].Cells {
		for _, m := range c.Option.Mix {
			if m.Crop.Family == "Poaceae" && !c.Option.Rest {
				require.False(t, c.Allowed, c.Key)
				checked++
			}
		}
	}
	require.Greater(t, checked, 10)
}

// Anecdote alone never outranks a trial, whatever the pressures.
func TestPlanBeds_AnecdoteUnderTrials(t *testing.T) {
	cs := crops(t)
	one := func(id, pest, grade string, score int) cover.Option {
		c := cs[id]
		c.USDPerHa = ptr(0.)
		return cover.Option{Crop: c, Effects: []cover.Effect{{Pest: pest, Direction: "reduces", Score: score, Grade: grade}}}
	}
	for _, trial := range []string{"A", "B", "C"} {
		b := bed("1")
		b.HistoryKnown = true
		b.Pressure = []cover.Pressure{cover.Counted("wireworm", 0.2), cover.Counted("slug", 3)}
		r := cover.DefaultRules()
		p, err := cover.PlanBeds(context.Background(), []cover.Bed{b}, []cover.Option{one("cereal_rye", "wireworm", trial, -1), one("field_pea", "slug", "D", -3)}, site, r)
		require.NoError(t, err)
		pea, rye := cellOf(p.Beds[0], "field_pea"), cellOf(p.Beds[0], "cereal_rye")
		require.InDelta(t, 0.9, pea.Score.Help, 1e-9)
		require.InDelta(t, rye.Value, pea.Value, 1e-9)
		require.Positive(t, pea.Score.AnecdotePts)
		// Alone it keeps its points: there is no trial to outrank.
		p, err = cover.PlanBeds(context.Background(), []cover.Bed{b}, []cover.Option{one("field_pea", "slug", "D", -3)}, site, r)
		require.NoError(t, err)
		require.InDelta(t, 0.9, p.Total, 1e-9)
		// With evidence of its own beside the anecdote it is no anecdote.
		both := one("field_pea", "slug", "D", -3)
		both.Effects = append(both.Effects, cover.Effect{Pest: "wireworm", Direction: "reduces", Score: -1, Grade: "C"})
		p, err = cover.PlanBeds(context.Background(), []cover.Bed{b}, []cover.Option{one("cereal_rye", "wireworm", trial, -1), both}, site, r)
		require.NoError(t, err)
		require.Equal(t, "field_pea", chosen(p.Beds[0]))
	}
}

// Soil value, work and bare soil, by hand: rye -56..0 kg/ha of nitrogen and
// 2.2..5.1 t/ha, half for a late sowing; oats in spring leave the winter bare.
func TestPlanBeds_SoilValue(t *testing.T) {
	cs := crops(t)
	r := cover.FarmRules()
	b := bed("1")
	b.HistoryKnown = true
	p, err := cover.PlanBeds(context.Background(), []cover.Bed{b}, []cover.Option{{Crop: cs["cereal_rye"]}, {Crop: cs["oats"]}}, site, r)
	require.NoError(t, err)
	rye, oats := cellOf(p.Beds[0], "cereal_rye"), cellOf(p.Beds[0], "oats")
	require.InDelta(t, (0.005*-28+0.1*3.65)/2, rye.Score.SoilPts, 1e-9)
	// No price is known: 1.79 and 1.57 kg at 2 USD a kg and 0.05 points a USD.
	require.InDelta(t, (0.005*-28+0.1*3.65)/2-0.1-0.179, rye.Value, 1e-9)
	require.InDelta(t, 0.005*-15+0.1*3.5-0.1-0.5-0.157, oats.Value, 1e-9)
	require.False(t, rye.Score.CostKnown)
	require.Zero(t, rye.Score.CostUSD)
	require.InDelta(t, -0.5, cellOf(p.Beds[0], cover.None).Value, 1e-9)
	dim := cs["cereal_rye"]
	dim.Nitrogen = nil
	p, err = cover.PlanBeds(context.Background(), []cover.Bed{b}, []cover.Option{{Crop: dim}}, site, r)
	require.NoError(t, err)
	require.Contains(t, strings.Join(p.Beds[0].Unknown, "\n"), "the nitrogen that Cereal (winter) rye leaves is not known")
}

// The spread of the points is that of the pressures, by simulation.
func TestScoreOption_Spread(t *testing.T) {
	cs, es := crops(t), effects(t)
	o := cover.Option{Crop: cs["oats"], Effects: es["oats"]}
	b := bed("1")
	b.Pressure = []cover.Pressure{{Pest: "symphylan", Score: 1.5, Known: true, SD: 0.6}, {Pest: "wireworm", Score: 1, Known: true, SD: 0.4}}
	rng := rand.New(rand.NewPCG(1, 1))
	sum, square, n := 0.0, 0.0, 40000
	for range n {
		x := b
		x.Pressure = []cover.Pressure{cover.Counted("symphylan", 1.5+0.6*rng.NormFloat64()), cover.Counted("wireworm", 1+0.4*rng.NormFloat64())}
		v := cover.ScoreOption(o, x, cover.DefaultRules()).Net
		sum, square = sum+v, square+v*v
	}
	mean := sum / float64(n)
	s := cover.ScoreOption(o, b, cover.DefaultRules())
	require.InDelta(t, s.Net, mean, 0.03)
	require.InDelta(t, math.Sqrt(square/float64(n)-mean*mean), s.SD, 0.02)
}

func TestPlanBeds_NothingFits(t *testing.T) {
	cs, es := crops(t), effects(t)
	var options []cover.Option
	for id, c := range cs {
		options = append(options, cover.Options(c, es[id])...)
	}
	b := bed("1")
	b.FreeFrom = civil.MustParse("2027-05-10")
	p, err := cover.PlanBeds(context.Background(), []cover.Bed{b}, options, site, cover.FarmRules())
	require.NoError(t, err)
	require.True(t, p.Beds[0].Untreated)
	require.Contains(t, strings.Join(p.Beds[0].Notes, "\n"), "nothing fits from 10 May 2027 to planting on 15 May 2027: of 17 covers, ") // 26, less 8 for the summer alone and 1 for alleys
}
