package cover

import (
	"math"

	"leafturn/internal/diag"
)

// checkInput returns the first thing wrong with the sorted input.
func checkInput(beds []Bed, options []Option, rules Rules) error {
	bad := func(do, format string, args ...any) error { return diag.Usagef(do, format, args...) }
	if err := rules.check(); err != nil {
		return bad("correct the rule", "cover plan: %v", err)
	}
	for i, b := range beds {
		switch {
		case b.Code == "":
			return bad("give every bed a code", "cover plan: a bed has no code")
		case i > 0 && beds[i-1].Code == b.Code:
			return bad("name each bed once", "cover plan: bed %s is given twice", b.Code)
		case !(b.AreaM2 > 0 && b.AreaM2 <= maxInput):
			return bad("give the bed's length and width", "cover plan: bed %s has an area of %v m2", b.Code, b.AreaM2)
		case b.FreeFrom.IsZero() || b.PlantBy.IsZero():
			return bad("give the day after digging and the planting day", "cover plan: bed %s has no dates", b.Code)
		case !b.FreeFrom.Before(b.PlantBy) || !b.PlantBy.Before(b.lastDay(true)):
			return bad("digging comes before planting, planting before the end of a rest year", "cover plan: bed %s is free from %s and planted %s", b.Code, b.FreeFrom, b.PlantBy)
		}
		seen := map[string]bool{}
		for _, p := range b.Pressure {
			if seen[p.Pest] {
				return bad("give each pest once", "cover plan: bed %s has two pressures of %s", b.Code, p.Pest)
			}
			seen[p.Pest] = true
			if p.Known && !(p.Score >= 0 && p.Score <= MaxPressure) {
				return bad("pressures run from 0 to 3", "cover plan: bed %s, %s: pressure %v", b.Code, p.Pest, p.Score)
			}
		}
	}
	for i, o := range options {
		if o.Crop.ID == "" || o.Key() == None || i > 0 && options[i-1].Key() == o.Key() {
			return bad("give each crop its own id", "cover plan: option %q is empty, reserved or given twice", o.Key())
		}
		if o.Sowings < 0 {
			return bad("give 1 or more", "cover plan: %s: %d sowings", o.Key(), o.Sowings)
		}
		for _, v := range []*float64{o.Crop.RateKgHa, o.Crop.USDPerKg, o.Crop.USDPerHa, o.Crop.MinSoilC, o.Crop.KillC} {
			if v != nil && !(math.Abs(*v) <= maxInput) {
				return bad("correct the crop's row", "cover plan: %s holds %v", o.Key(), *v)
			}
		}
		for _, v := range []*float64{o.Crop.USDPerKg, o.Crop.USDPerHa} {
			if v != nil && *v < 0 {
				return bad("correct the price", "cover plan: %s has a price of %v", o.Key(), *v)
			}
		}
		for _, n := range []*int{o.Crop.DaysToUsable, o.Crop.LeadDays} {
			if n != nil && (*n < 0 || *n > maxOffset) {
				return bad("correct the crop's row", "cover plan: %s: %d days", o.Key(), *n)
			}
		}
		seen := map[string]bool{}
		for _, e := range o.Effects {
			if err := e.check(); err != nil {
				return bad("correct the effect's row", "cover plan: %s on %s: %v", o.Key(), e.Pest, err)
			}
			if seen[e.Pest] {
				return bad("give each pest once", "cover plan: %s has two effects on %s", o.Key(), e.Pest)
			}
			seen[e.Pest] = true
		}
	}
	return nil
}
