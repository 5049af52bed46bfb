package cover_test

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/cover"
)

// worksPlan is a plan held by pins: rye, a mix, a rested bed with a cover before
// it, and a bed left bare.
func worksPlan(t testing.TB) (cover.Plan, []cover.Bed, cover.Rules) {
	t.Helper()
	cs, es := crops(t), effects(t)
	var options []cover.Option
	for _, id := range []string{"cereal_rye", "field_pea", "buckwheat", "brown_mustard", "winter_wheat"} {
		c := cs[id]
		if id == "buckwheat" {
			c.USDPerKg = ptr(0.80)
		}
		options = append(options, cover.Options(c, es[id])...)
	}
	rules := cover.FarmRules()
	rules.MaxRested = 2
	pin := func(bed string, w cover.Stand, crop string) {
		rules.Pins = append(rules.Pins, cover.Pin{Bed: bed, Window: w, Cover: crop})
	}
	pin("A1", cover.BeforePlanting, "cereal_rye")
	pin("A2", cover.BeforePlanting, "cereal_rye")
	pin("A3", cover.BeforePlanting, "cereal_rye+field_pea")
	pin("A4", cover.BeforePlanting, "winter_wheat")
	pin("A4", cover.RestYear, "buckwheat")
	pin("A5", cover.BeforePlanting, cover.None)
	pin("A5", cover.RestYear, cover.None)
	pin("A6", cover.BeforePlanting, cover.None)
	pin("A6", cover.RestYear, "brown_mustard")
	for _, code := range []string{"A1", "A2", "A3"} {
		pin(code, cover.RestYear, cover.None)
	}
	var beds []cover.Bed
	for i, code := range []string{"A1", "A2", "A3", "A4", "A5", "A6"} {
		b := bed(code)
		b.AreaM2 = 100 + 10*float64(i)
		beds = append(beds, b)
	}
	p, err := cover.PlanBeds(context.Background(), beds, options, site, rules)
	require.NoError(t, err)
	return p, beds, rules
}

func brown(id string) bool { return id == "brown_mustard" }

// The calendar of the pinned plan, worked out by hand from the table: last frost
// 25 Apr, first frost 20 Oct; beds dug 28 Oct 2026, planted 15 May 2027 (A4 and
// A6 a year later).
func TestWorks_ByHand(t *testing.T) {
	p, beds, rules := worksPlan(t)
	var got []string
	for _, w := range cover.Works(p, beds, site, rules, brown) {
		first := w.First.String()
		if w.First.IsZero() {
			first = "-"
		}
		s := fmt.Sprintf("%s %s %s %s %s", first, w.Last, w.Task, w.Cover, strings.Join(w.Beds, "+"))
		if w.WaitDays > 0 {
			s += fmt.Sprintf(" %d to %s", w.WaitDays, w.Next)
		}
		for _, seed := range w.Seeds {
			s += fmt.Sprintf(" %.3f", seed.Seed.Kg)
		}
		got = append(got, s)
	}
	// Rates in kg/ha: rye 179, pea 112, wheat 224, buckwheat 78, mustard 22. In the
	// mix rye stands at 1/3, pea at 2/3.
	require.Equal(t, []string{
		"- 2026-10-14 buy cereal_rye A1+A2+A3 " + kg((100+110)*179+120*179/3.),
		"- 2026-10-14 buy field_pea A3 " + kg(120*112*2/3.),
		"- 2026-10-14 buy winter_wheat A4 " + kg(130*224),
		// rye to FF+21, pea to FF+12, wheat to FF+21
		"2026-10-28 2026-11-01 sow cereal_rye+field_pea A3 " + kg(120*179/3.) + " " + kg(120*112*2/3.),
		"2026-10-28 2026-11-10 sow cereal_rye A1+A2 " + kg(210*179),
		"2026-10-28 2026-11-10 sow winter_wheat A4 " + kg(130*224),
		"2026-11-11 2026-11-25 look cereal_rye A1+A2",
		"2026-11-11 2026-11-25 look cereal_rye+field_pea A3",
		"2026-11-11 2026-11-25 look winter_wheat A4",
		// mustard from LF-50, 14 days before it is bought
		"- 2027-02-20 buy brown_mustard A6 " + kg(150*22),
		"2027-03-06 2027-04-15 sow brown_mustard A6 " + kg(150*22),
		"2027-03-20 2027-04-03 look brown_mustard A6",
		// rye waits 21 days, wheat 14; each may be ended in the 14 days before
		"2027-04-10 2027-04-24 end cereal_rye A1+A2",
		"2027-04-10 2027-04-24 end cereal_rye+field_pea A3",
		"2027-04-17 2027-05-01 end winter_wheat A4",
		"2027-04-25 2027-05-15 wait cereal_rye A1+A2 21 to plant",
		"2027-04-25 2027-05-15 wait cereal_rye+field_pea A3 21 to plant",
		// in flower 55 days after sowing, for 14 days; sown up to 40 days later
		"2027-04-30 2027-06-23 bury brown_mustard A6",
		"- 2027-05-01 buy buckwheat A4 " + kg(130*78),
		"2027-05-02 2027-05-15 wait winter_wheat A4 14 to sow",
		"2027-05-15 2027-05-15 plant  A1+A2+A3+A5",
		// buckwheat from planting day to FF-65, usable after 35 days, dies at the frost
		"2027-05-15 2027-08-16 sow buckwheat A4 " + kg(130*78),
		"2027-05-29 2027-06-12 look buckwheat A4",
		"2027-06-19 2027-10-20 end buckwheat A4",
		"2027-06-24 2027-07-14 wait brown_mustard A6 21 to plant",
		"2027-10-21 2027-10-30 wait buckwheat A4 10 to plant",
		"2028-05-15 2028-05-15 plant  A4+A6",
	}, got)
	// Only what is named is dug in for its gas.
	for _, w := range cover.Works(p, beds, site, rules, nil) {
		require.NotEqual(t, cover.BuryIt, w.Task)
	}
}

// kg writes m2 x kg/ha as kg.
func kg(m2rate float64) string { return fmt.Sprintf("%.3f", m2rate/10000) }

// Every sowing of every cover of the table, on its last day, keeps the rules of
// dates as CheckDates (which does not use Feasible) reads them; a day later, the
// same use of the bed does not fit, or its stand is in doubt.
func TestWorks_LastDayToSow(t *testing.T) {
	warm := site
	for m := range warm.SoilC {
		warm.SoilC[m] = ptr(12.0)
	}
	rules := cover.FarmRules()
	rules.MaxRested = 1
	n := 0
	for id, c := range crops(t) {
		for _, free := range []string{"2026-08-20", "2026-09-10", "2026-10-28"} {
			for _, o := range cover.Options(c, nil) {
				b := bed("A1")
				b.FreeFrom = civil.MustParse(free)
				f := cover.Feasible(o, b, warm, rules)
				if !f.OK {
					continue
				}
				cell := cover.Cell{Option: o, Key: o.Key(), Allowed: true, Fit: f}
				bare := cover.Cell{Key: cover.None}
				bp := cover.BedPlan{Bed: "A1", Winter: cell, Rest: bare}
				if o.Rest {
					bp.Winter, bp.Rest = bare, cell
				}
				for _, w := range cover.Works(cover.Plan{Beds: []cover.BedPlan{bp}}, []cover.Bed{b}, warm, rules, nil) {
					if w.Task != cover.SowIt {
						continue
					}
					n++
					for _, r := range cover.CheckDates(o, w.Last, f.Choice.Kill, b, warm) {
						require.NotEqual(t, cover.Refused, r.Kind, "%s free %s: %v", id, free, r)
					}
					require.False(t, w.Last.Before(w.First))
					late := b
					late.FreeFrom = w.Last.AddDays(1)
					g := cover.Feasible(o, late, warm, rules)
					doubt := false
					for _, r := range g.Reasons {
						doubt = doubt || r.Rule == "R3" && r.Kind == cover.Warning
					}
					require.True(t, !g.OK || g.Choice.Sow != late.FreeFrom || g.Choice.Slot != f.Choice.Slot || doubt, "%s free %s: could be sown %s", id, free, late.FreeFrom)
				}
			}
		}
	}
	require.Greater(t, n, 30)
}

// Two sowings of buckwheat in one summer: 35 days, 10 days' wait, 35 days.
func TestWorks_TwoSowings(t *testing.T) {
	o := cover.Options(crops(t)["buckwheat"], nil)[0]
	o.Sowings = 2
	b := bed("A1")
	f := cover.Feasible(o, b, site, cover.FarmRules())
	require.True(t, f.OK)
	seed, ok := cover.SeedAmount(100, 78, 2)
	require.True(t, ok)
	p := cover.Plan{Beds: []cover.BedPlan{{Bed: "A1", Winter: cover.Cell{Key: cover.None}, Rest: cover.Cell{Option: o, Key: o.Key(), Fit: f, Seeds: []cover.PartSeed{{Crop: o.Crop, Share: 1, Seed: seed, OK: true}}}}}}
	var got []string
	for _, w := range cover.Works(p, []cover.Bed{b}, site, cover.FarmRules(), nil) {
		s := fmt.Sprintf("%s %s %s", w.First, w.Last, w.Task)
		if len(w.Seeds) > 0 {
			s += fmt.Sprintf(" %.2f", w.Seeds[0].Seed.Kg)
		}
		got = append(got, s)
	}
	require.Equal(t, []string{
		" 2027-04-26 buy 1.56", "2027-05-10 2027-07-02 sow 0.78", "2027-05-24 2027-06-07 look", "2027-06-14 2027-06-14 end", "2027-06-15 2027-06-24 wait",
		"2027-06-24 2027-08-16 resow 0.78", "2027-07-08 2027-07-22 look", "2027-07-29 2027-10-20 end", "2027-10-21 2027-10-30 wait", "2028-05-15 2028-05-15 plant",
	}, clean(got))
	list := cover.SeedList(p, []cover.Bed{b}, nil)
	require.Len(t, list, 1)
	require.InDelta(t, 1.56, list[0].Kg, 1e-12)
	require.Equal(t, 200.0, list[0].AreaM2)
}

// clean leaves a date out that is not there.
func clean(lines []string) []string {
	for i := range lines {
		lines[i] = strings.Replace(lines[i], "0000-00-00", "", 1)
	}
	return lines
}

// Works are a list of the plan's covers: nothing is lost in joining beds, and
// the order of the beds does not matter.
func TestWorks_Whole(t *testing.T) {
	p, beds, rules := worksPlan(t)
	works := cover.Works(p, beds, site, rules, brown)
	count := map[string]int{}
	for i, w := range works {
		require.NotEmpty(t, w.Beds)
		require.False(t, w.Last.IsZero())
		for _, b := range w.Beds {
			count[string(w.Task)+b]++
		}
		if i > 0 && !w.First.IsZero() && !works[i-1].First.IsZero() {
			require.False(t, w.First.Before(works[i-1].First))
		}
	}
	for _, b := range p.Beds {
		require.Equal(t, len(b.Chosen()), count["sow"+b.Bed])
		require.Equal(t, len(b.Chosen()), count["end"+b.Bed]+count["bury"+b.Bed])
		require.Equal(t, len(b.Chosen()), count["wait"+b.Bed])
		require.Equal(t, 1, count["plant"+b.Bed])
	}
	for i, j := 0, len(p.Beds)-1; i < j; i, j = i+1, j-1 {
		p.Beds[i], p.Beds[j] = p.Beds[j], p.Beds[i]
		beds[i], beds[j] = beds[j], beds[i]
	}
	again := cover.Works(p, beds, site, rules, brown)
	require.Len(t, again, len(works))
	for i := range works {
		require.Equal(t, works[i].Beds, again[i].Beds)
		require.Equal(t, works[i].Task, again[i].Task)
	}
	require.Empty(t, cover.Works(cover.Plan{}, nil, site, rules, nil))
}

func TestSeedList(t *testing.T) {
	p, beds, _ := worksPlan(t)
	list := cover.SeedList(p, beds, map[string]float64{"cereal_rye": 2.5, "field_pea": 10, "oats": 1})
	var ids []string
	for _, n := range list {
		ids = append(ids, n.Crop.ID)
	}
	require.Equal(t, []string{"brown_mustard", "buckwheat", "cereal_rye", "field_pea", "winter_wheat"}, ids)
	rye, pea, buckwheat, wheat := list[2], list[3], list[1], list[4]

	// 210 m2 at 179 kg/ha and 120 m2 at a third of that: 3.759 + 0.716 = 4.475 kg
	require.InDelta(t, 4.475, rye.Kg, 1e-9)
	require.InDelta(t, 9.8656862, rye.Lb, 1e-6) // 4.475/0.45359237
	require.Equal(t, []string{"A1", "A2", "A3"}, rye.Beds)
	require.Equal(t, 330.0, rye.AreaM2)
	require.InDeltaSlice(t, []float64{1, 1. / 3}, rye.Shares, 1e-12)
	require.Equal(t, 2, rye.Bags)
	require.InDelta(t, 5-4.475, rye.LeftKg, 1e-9)
	require.False(t, rye.Priced) // no price in the table

	require.InDelta(t, 0.896, pea.Kg, 1e-9) // 120 m2 at 2/3 of 112 kg/ha
	require.Equal(t, 1, pea.Bags)
	require.InDelta(t, 9.104, pea.LeftKg, 1e-9)

	require.InDelta(t, 1.014, buckwheat.Kg, 1e-9) // 130 m2 at 78 kg/ha
	require.Zero(t, buckwheat.Bags)
	require.True(t, buckwheat.Priced)
	require.InDelta(t, 1.014*0.80, buckwheat.USD, 1e-9)
	require.Zero(t, wheat.BagKg)

	usd, unknown := cover.SeedTotal(list)
	require.InDelta(t, 1.014*0.80, usd, 1e-9)
	require.Len(t, unknown, 4)

	// The whole is the sum of the plan's own amounts.
	sum := 0.0
	for _, b := range p.Beds {
		for _, c := range b.Chosen() {
			for _, s := range c.Seeds {
				sum += s.Seed.Kg
			}
		}
	}
	for _, n := range list {
		sum -= n.Kg
	}
	require.InDelta(t, 0, sum, 1e-9)
}

func TestSeedList_Unknown(t *testing.T) {
	c := crops(t)["cereal_rye"]
	one := func(c cover.Crop, bag float64) cover.SeedNeed {
		o := cover.Option{Crop: c}
		p := cover.Plan{Beds: []cover.BedPlan{{Bed: "A1", Winter: cover.Cell{Option: o, Key: o.Key()}, Rest: cover.Cell{Key: cover.None}}}}
		list := cover.SeedList(p, []cover.Bed{bed("A1")}, map[string]float64{"cereal_rye": bag})
		require.Len(t, list, 1)
		return list[0]
	}
	c.USDPerKg = ptr(2.0)
	n := one(c, 1.79/2) // exactly two bags: no third for the last bit
	require.Equal(t, 2, n.Bags)
	require.InDelta(t, 0, n.LeftKg, 1e-9)
	require.InDelta(t, 3.58, n.USD, 1e-9)
	n = one(c, 1)
	require.InDelta(t, 4.0, n.USD, 1e-9) // whole bags are paid
	c.RateKgHa = nil
	n = one(c, 1)
	require.False(t, n.OK)
	require.False(t, n.Priced)
	require.Zero(t, n.Bags)
	c.USDPerHa = ptr(221.0)
	n = one(c, 0)
	require.False(t, n.OK)
	require.True(t, n.Priced)
	require.InDelta(t, 2.21, n.USD, 1e-9) // 0.01 ha
	usd, unknown := cover.SeedTotal(nil)
	require.Zero(t, math.Abs(usd))
	require.Empty(t, unknown)
}

// Seed is bought for the first of the beds that are sown with it.
func TestWorks_BuyForTheFirst(t *testing.T) {
	o := cover.Options(crops(t)["cereal_rye"], nil)[0]
	var p cover.Plan
	var beds []cover.Bed
	for code, free := range map[string]string{"A1": "2026-10-28", "A2": "2026-11-05", "A3": "2026-11-02"} {
		b := bed(code)
		b.FreeFrom = civil.MustParse(free)
		beds = append(beds, b)
		f := cover.Feasible(o, b, site, cover.FarmRules())
		require.Equal(t, b.FreeFrom, f.Choice.Sow)
		p.Beds = append(p.Beds, cover.BedPlan{Bed: code, Winter: cover.Cell{Option: o, Key: o.Key(), Fit: f}, Rest: cover.Cell{Key: cover.None}})
	}
	w := cover.Works(p, beds, site, cover.FarmRules(), nil)[0]
	require.Equal(t, cover.BuySeed, w.Task)
	require.Equal(t, "2026-10-14", w.Last.String())
	require.Equal(t, []string{"A1", "A2", "A3"}, w.Beds)
}

// What was sown by an earlier plan keeps the works that it had, whatever is
// planned now.
func TestWorks_Sown(t *testing.T) {
	p, beds, rules := worksPlan(t)
	key := func(w cover.Work) string {
		return fmt.Sprintf("%s %s %s %s %s %v", w.Task, w.First, w.Last, w.Cover, w.Window, w.Seeds)
	}
	was := map[string]bool{}
	for _, w := range cover.Works(p, beds, site, rules, brown) {
		if w.Task != cover.BuySeed && len(w.Beds) == 1 {
			was[key(w)] = true
		}
	}
	var sown []cover.Sown
	bare := cover.Plan{}
	for _, b := range p.Beds {
		nothing := cover.Cell{Key: cover.None}
		bare.Beds = append(bare.Beds, cover.BedPlan{Bed: b.Bed, Winter: nothing, Rest: nothing})
		for _, c := range b.Chosen() {
			if b.Bed == "A3" || b.Bed == "A6" {
				sown = append(sown, cover.Sown{Bed: b.Bed, Option: c.Option, Sow: c.Fit.Choice.Sow, Kill: c.Fit.Choice.Kill})
			}
		}
	}
	n := 0
	for _, w := range cover.Works(bare, beds, site, rules, brown, sown...) {
		if w.Cover == "" {
			n += len(w.Beds)
			if w.Last.Year == 2028 {
				require.Equal(t, []string{"A6"}, w.Beds)
			}
			continue
		}
		require.True(t, was[key(w)], key(w))
	}
	require.Equal(t, 6, n)
	require.Len(t, sown, 2)
	// One of no bed, and one whose dates fit no longer, hurt nothing.
	odd := []cover.Sown{{Bed: "Z9", Option: sown[0].Option}, {Bed: "A1", Option: cover.Option{Crop: cover.Crop{ID: "x"}}, Sow: beds[0].FreeFrom, Kill: beds[0].PlantBy}}
	for _, w := range cover.Works(bare, beds, site, rules, nil, odd...) {
		require.NotContains(t, w.Beds, "Z9")
		require.False(t, !w.First.IsZero() && w.First.After(w.Last), "%+v", w)
	}
}
