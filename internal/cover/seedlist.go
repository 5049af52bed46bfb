package cover

import (
	"math"
	"slices"
	"strings"

	"leafturn/internal/units"
)

// SeedNeed is what the plan needs of one crop's seed.
type SeedNeed struct {
	Crop   Crop
	Beds   []string  // sorted
	AreaM2 float64   // of ground to sow, each sowing counted
	Shares []float64 // of its full rate, one for each way it is sown, largest first
	Kg, Lb float64
	OK     bool // false: its rate is not known, so neither is Kg
	// BagKg is the weight of a bag, 0 where none was given; Bags are those to
	// buy, LeftKg what is left over of them.
	BagKg  float64
	Bags   int
	LeftKg float64
	// USD is the cost of the bags, or of the seed where no bag was given. Priced
	// false: the price (or the amount) is not known.
	USD    float64
	Priced bool
}

// SeedList adds up the seed of a plan, crop by crop, mixes taken apart, in the
// order of the crops' ids. bagKg is the weight of a bag by crop id.
//
// A crop priced by area (USDPerHa) costs that much whatever the bags.
func SeedList(p Plan, beds []Bed, bagKg map[string]float64) []SeedNeed {
	area := map[string]float64{}
	for _, b := range beds {
		area[b.Code] = b.AreaM2
	}
	needs := map[string]*SeedNeed{}
	var ids []string
	for _, bp := range p.Beds {
		for _, c := range bp.Chosen() {
			sowings := float64(c.Option.sowings())
			for _, part := range c.Option.seeds(area[bp.Bed]) {
				id := part.Crop.ID
				n := needs[id]
				if n == nil {
					n = &SeedNeed{Crop: part.Crop, OK: true, BagKg: bagKg[id], Priced: true}
					needs[id], ids = n, append(ids, id)
				}
				n.AreaM2 += area[bp.Bed] * sowings
				n.OK = n.OK && part.OK
				n.Kg += part.Seed.Kg
				if !slices.Contains(n.Beds, bp.Bed) {
					n.Beds = append(n.Beds, bp.Bed)
				}
				if !slices.Contains(n.Shares, part.Share) {
					n.Shares = append(n.Shares, part.Share)
				}
				if part.Crop.USDPerHa != nil {
					n.USD += *part.Crop.USDPerHa * part.Share * sowings * units.Of(area[bp.Bed], "m2").MustIn("ha")
				}
			}
		}
	}
	slices.Sort(ids)
	var out []SeedNeed
	for _, id := range ids {
		n := *needs[id]
		slices.Sort(n.Beds)
		slices.SortFunc(n.Shares, func(a, b float64) int { return int(math.Copysign(1, b-a)) })
		if !n.OK {
			n.Kg = 0
		}
		n.Lb = units.Of(n.Kg, "kg").MustIn("lb")
		buy := n.Kg
		if n.OK && n.BagKg > 0 {
			n.Bags = int(math.Ceil(n.Kg/n.BagKg - 1e-9))
			buy = float64(n.Bags) * n.BagKg
			n.LeftKg = max(0, buy-n.Kg)
		}
		switch {
		case n.Crop.USDPerHa != nil:
		case n.OK && n.Crop.USDPerKg != nil:
			n.USD = buy * *n.Crop.USDPerKg
		default:
			n.Priced = false
		}
		out = append(out, n)
	}
	return out
}

// SeedTotal is the cost of the seed whose price is known, and the names of the
// crops whose price or amount is not.
func SeedTotal(list []SeedNeed) (usd float64, unknown []string) {
	for _, n := range list {
		if n.Priced {
			usd += n.USD
		} else {
			unknown = append(unknown, n.Crop.label())
		}
	}
	slices.SortFunc(unknown, strings.Compare)
	return usd, unknown
}
