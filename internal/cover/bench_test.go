package cover_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"leafturn/internal/civil"
	"leafturn/internal/cover"
)

// farmInstance is an invented field of beds in rows with the covers of the table
// and every kind of rule; pressures, areas and past covers are drawn.
func farmInstance(t testing.TB, rng *rand.Rand, n int) ([]cover.Bed, []cover.Option, cover.Rules) {
	cs, es := crops(t), effects(t)
	var options []cover.Option
	for id, c := range cs {
		if c.RateKgHa != nil {
			c.USDPerKg = ptr(1 + 0.1*float64(len(id)))
		} else {
			c.USDPerHa = ptr(300.)
		}
		options = append(options, cover.Options(c, es[id])...)
	}
	families := []string{"Poaceae", "Fabaceae", "Brassicaceae", "Polygonaceae", "Boraginaceae"}
	pests := []string{"wireworm", "symphylan", "slug", "nematode_lesion", "soil_verticillium", "cucumber_beetle"}
	var beds []cover.Bed
	total := 0.0
	for i := range n {
		b := bed(fmt.Sprintf("B%03d", i))
		b.AreaM2 = float64(20 + rng.IntN(30))
		total += b.AreaM2
		b.Row, b.Place = fmt.Sprint(i/12), float64(i%12)
		if rng.IntN(3) == 0 {
			b.FreeFrom = civil.MustParse("2026-09-01")
		}
		for _, p := range pests {
			b.Pressure = append(b.Pressure, cover.Counted(p, math.Round(6*rng.Float64())/2))
		}
		b.History, b.HistoryKnown = []cover.Grown{{Family: families[rng.IntN(len(families))], Year: 2025}}, true
		beds = append(beds, b)
	}
	r := cover.FarmRules()
	r.Species, r.Together, r.Lots, r.Untreated, r.UntreatedOf = 1, 0.1, 6, 1, 20
	r.MaxRested = n / 10
	r.Budget = ptr(0.02 * total)
	r.Legumes = ptr(0.3)
	r.Areas = []cover.Area{{What: "field_pea", M2: 0.3 * total}, {What: "cereal_rye", Least: true, M2: 0.05 * total}}
	return beds, options, r
}

func BenchmarkPlanBeds(b *testing.B) {
	for _, n := range []int{20, 200} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			beds, options, rules := farmInstance(b, rand.New(rand.NewPCG(uint64(n), 1)), n)
			for range b.N {
				p, err := cover.PlanBeds(context.Background(), beds, options, site, rules)
				if err != nil || !p.Proved {
					b.Fatal(err, p.Proof)
				}
			}
		})
	}
}
