package growth

import "math"

// Answer is what a gate says: yes, no, or unknown where a reading that it needs
// is missing and none of the others decides.
type Answer string

// The answers.
const (
	Yes     Answer = "yes"
	No      Answer = "no"
	Unknown Answer = "unknown"
)

// Diapause says whether mites go into their winter rest: when the day is
// shorter than the critical length of their strain at that temperature. The
// critical length grows with the latitude that the strain comes from; it is
// data. NaN is not known.
// Source: Amini et al., simulation of diapause induction in spider mites.
func Diapause(dayHours, criticalHours float64) Answer {
	switch {
	case math.IsNaN(dayHours) || math.IsNaN(criticalHours):
		return Unknown
	case dayHours < criticalHours:
		return Yes
	}
	return No
}

// Night is what is known of a night for slugs; NaN and nil are not known.
type Night struct {
	TempC       float64 // while slugs are about, °C
	WindMS      float64 // metres per second
	Wet         *bool   // the surface
	DrivingRain *bool
	SinceFreeze float64 // days since the last freeze; +Inf for none this winter
}

// SlugNight says how active slugs can be: "favourable", "unfavourable",
// "inactive", or "unknown".
type SlugNight string

// The answers for a slug night.
const (
	Favourable   SlugNight = "favourable"
	Unfavourable SlugNight = "unfavourable"
	Inactive     SlugNight = "inactive"
	NotKnown     SlugNight = "unknown"
)

// SlugLimits are the figures of the gate; they are rows of the catalogue.
type SlugLimits struct {
	LikedLow, LikedHigh   float64 // °C
	ActiveLow, ActiveHigh float64 // outside them slugs do not move
	WindMS                float64 // under this
	FreezeDays            float64 // still for so many days after a freeze
}

// Gate judges a night. A reading that is not known leaves it unknown, unless
// one that is known already rules the night out.
//
// The limits are published (Oregon State University slug portal); putting them
// together so is ours, and slugs have been seen to graze at +1 °C.
func (l SlugLimits) Gate(n Night) SlugNight {
	switch {
	case n.TempC < l.ActiveLow, n.TempC > l.ActiveHigh, n.SinceFreeze <= l.FreezeDays:
		return Inactive
	case n.TempC < l.LikedLow, n.TempC > l.LikedHigh, n.WindMS >= l.WindMS, n.Wet != nil && !*n.Wet, n.DrivingRain != nil && *n.DrivingRain:
		return Unfavourable
	case math.IsNaN(n.TempC), math.IsNaN(n.WindMS), math.IsNaN(n.SinceFreeze), n.Wet == nil, n.DrivingRain == nil:
		return NotKnown
	}
	return Favourable
}
