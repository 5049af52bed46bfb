package verdict

import (
	"fmt"
	"math"

	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// Needs are the conditions under which a protocol's count means anything.
// A nil or zero field asks for nothing.
type Needs struct {
	SoilMoist      bool // a dry soil surface makes the count invalid
	NotWaterlogged bool // so does flooded soil
	FoliageDry     bool // so does wet foliage
	Undisturbed    bool // so do cultivation, bait or heavy rain before it
	AirMinC        *float64
	AirMaxC        *float64
	SoilMinC       *float64 // at 10 cm
	Nights         int      // nights that the trap must have stood

	// Without a note of these a low count says nothing, see Unnoted.
	MustSoil, MustFoliage, MustTemp bool

	Units units.System // in which temperatures are told
}

// Unnoted returns the conditions that must be noted and were not, as what to
// note; nil where a low count may be believed.
func Unnoted(c farm.Conditions, need Needs) []string {
	var out []string
	if need.MustSoil && c.Soil == farm.Unknown {
		out = append(out, "whether the soil was moist (soil=moist or soil=dry)")
	}
	if need.MustFoliage && c.Foliage == farm.Unknown {
		out = append(out, "whether the foliage was dry (foliage=dry or foliage=wet)")
	}
	if need.MustTemp && need.SoilMinC != nil && c.SoilC == nil {
		out = append(out, "how warm the soil was (soilc=)")
	}
	if need.MustTemp && (need.AirMinC != nil || need.AirMaxC != nil) && c.AirC == nil {
		out = append(out, "how warm the air was (air=)")
	}
	return out
}

// Validity returns why a count is not valid, in words that can follow "not
// valid: "; nil means that nothing noted speaks against it. A condition that
// was not noted is no reason: see Cautions. An invalid count is kept and shown
// but is neither a zero nor part of a mean.
func Validity(v farm.Visit, need Needs) []string {
	bad, _ := Conditions(v, need)
	return bad
}

// Cautions returns the conditions that the protocol asks for and nobody noted.
func Cautions(v farm.Visit, need Needs) []string {
	_, open := Conditions(v, need)
	return open
}

// Conditions returns both: why the visit is not valid, and what nobody noted.
func Conditions(v farm.Visit, need Needs) (bad, open []string) {
	c := v.Conditions
	if need.SoilMoist || need.NotWaterlogged {
		switch {
		case c.Soil == farm.Unknown:
			open = append(open, "soil moisture was not noted")
		case c.Soil == farm.Dry && need.SoilMoist:
			bad = append(bad, "the soil surface was dry, so the animals stay down")
		case c.Soil == farm.Wet && need.NotWaterlogged:
			bad = append(bad, "the soil was waterlogged")
		}
	}
	if need.FoliageDry {
		switch c.Foliage {
		case farm.Unknown:
			open = append(open, "wet or dry foliage was not noted")
		case farm.Wet:
			bad = append(bad, "the foliage was wet")
		}
	}
	low := func(name string, t, limit *float64) {
		switch {
		case limit == nil || math.IsNaN(*limit):
		case t == nil || math.IsNaN(*t):
			open = append(open, name+" temperature was not noted")
		case *t < *limit:
			bad = append(bad, fmt.Sprintf("the %s was too cold: %s, under %s", name, need.Units.TempBeside(*t, *limit), need.Units.Temp(*limit)))
		}
	}
	low("air", c.AirC, need.AirMinC)
	if need.AirMaxC != nil && !math.IsNaN(*need.AirMaxC) {
		noted := c.AirC != nil && !math.IsNaN(*c.AirC)
		switch {
		case noted && *c.AirC > *need.AirMaxC:
			bad = append(bad, fmt.Sprintf("the air was too warm: %s, over %s", need.Units.TempBeside(*c.AirC, *need.AirMaxC), need.Units.Temp(*need.AirMaxC)))
		case !noted && need.AirMinC == nil:
			open = append(open, "air temperature was not noted")
		}
	}
	low("soil", c.SoilC, need.SoilMinC)
	if need.Undisturbed && c.Disturbed {
		bad = append(bad, "the place had been disturbed before the count")
	}
	if need.Nights > 0 && c.Nights > 0 && c.Nights != need.Nights {
		bad = append(bad, fmt.Sprintf("the trap stood %s but the action level is for %s; do not convert one into the other",
			plural(c.Nights, "night"), plural(need.Nights, "night")))
	}
	return bad, open
}
