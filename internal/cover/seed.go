package cover

import (
	"math"

	"leafturn/internal/units"
)

// Seed is an amount of seed in both unit systems.
type Seed struct {
	Kg, Lb       float64 // for the whole bed, all sowings
	KgHa         float64 // rate of one sowing
	Lb1000SqFt   float64 // the same rate
	AreaM2       float64
	SowingsInAll int
}

// SeedAmount returns the seed for sowings of an area: area x rate x sowings.
// areaM2 is in square metres (> 0), rateKgHa in kilograms per hectare (> 0),
// sowings at least 1. ok is false when one of them is not; then nothing is
// known. Conversions are those of package units.
func SeedAmount(areaM2, rateKgHa float64, sowings int) (s Seed, ok bool) {
	if !(areaM2 > 0) || !(rateKgHa > 0) || math.IsInf(areaM2, 0) || math.IsInf(rateKgHa, 0) || sowings < 1 {
		return Seed{}, false
	}
	rate := units.Of(rateKgHa, "kg/ha")
	kg := areaM2 * units.Of(rateKgHa, "kg/ha").MustIn("kg/m2") * float64(sowings)
	return Seed{
		Kg: kg, Lb: units.Of(kg, "kg").MustIn("lb"),
		KgHa: rateKgHa, Lb1000SqFt: rate.MustIn("lb/1000 ft2"),
		AreaM2: areaM2, SowingsInAll: sowings,
	}, true
}

// PartSeed is the seed of one crop of an option in a bed. OK is false when its
// rate is not known.
type PartSeed struct {
	Crop  Crop
	Share float64 // of its full rate
	Seed  Seed
	OK    bool
}

// seeds returns the seed that an option needs in a bed, crop by crop.
func (o Option) seeds(areaM2 float64) []PartSeed {
	var out []PartSeed
	for _, p := range o.Parts() {
		s := PartSeed{Crop: p.Crop, Share: p.Share}
		if p.Crop.RateKgHa != nil {
			s.Seed, s.OK = SeedAmount(areaM2, *p.Crop.RateKgHa*p.Share, o.sowings())
		}
		out = append(out, s)
	}
	return out
}

// costUSD returns the seed cost of an option in a bed as far as prices are
// known, false when the price or rate of one of its crops is not, and what the
// crops without a price would cost at a guess of it, in USD/kg.
func (o Option) costUSD(areaM2, guess float64) (cost float64, known bool, guessed float64) {
	known = true
	for _, p := range o.seeds(areaM2) {
		switch {
		case p.Crop.USDPerHa != nil:
			cost += *p.Crop.USDPerHa * p.Share * units.Of(areaM2, "m2").MustIn("ha") * float64(o.sowings())
		case p.OK && p.Crop.USDPerKg != nil:
			cost += p.Seed.Kg * *p.Crop.USDPerKg
		default:
			known = false
			guessed += p.Seed.Kg * guess
		}
	}
	return cost, known, guessed
}
