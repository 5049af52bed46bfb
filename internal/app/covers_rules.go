package app

import (
	"slices"

	"leafturn/internal/civil"
	"leafturn/internal/cover"
	"leafturn/internal/diag"
	"leafturn/internal/ingest"
)

// coverPlan is what a plan is made of.
type coverPlan struct {
	beds    []cover.Bed
	options []cover.Option
	site    cover.Site
	rules   cover.Rules
	bags    map[string]float64 // kg, by cover
	prices  map[string]bool    // covers whose price the grower gave
	given   []ingest.CoverRule
	sown    []cover.Sown // that stand in the beds already
	out     []string     // beds that are not planned, with the reason
}

// area is the ground of all beds of the plan, in m2.
func (p *coverPlan) area() float64 {
	sum := 0.0
	for _, b := range p.beds {
		sum += b.AreaM2
	}
	return sum
}

// apply takes the grower's rules into the plan. Rules for one bed go before
// those for every bed.
func (p *coverPlan) apply(rules []ingest.CoverRule) {
	p.given, p.bags, p.prices = rules, map[string]float64{}, map[string]bool{}
	p.rules.Stated = map[string]string{}
	sorted := slices.Clone(rules)
	slices.SortStableFunc(sorted, func(a, b ingest.CoverRule) int { return min(len(a.Bed), 1) - min(len(b.Bed), 1) })
	for _, r := range sorted {
		p.one(r)
	}
}

func (p *coverPlan) one(r ingest.CoverRule) {
	each := func(do func(b *cover.Bed)) {
		for i := range p.beds {
			if r.Bed == "" || p.beds[i].Code == r.Bed {
				do(&p.beds[i])
			}
		}
	}
	number := r.Number
	switch r.Kind {
	case ingest.CoverBudget:
		p.rules.Budget = &number
	case ingest.CoverLots:
		p.rules.Lots = int(number)
	case ingest.CoverRest:
		p.rules.MaxRested = int(number)
	case ingest.CoverUntreated:
		p.rules.Untreated, p.rules.UntreatedOf = int(number), r.Of
	case ingest.CoverLegumes:
		switch {
		case r.Unit != ingest.UnitShare:
			p.bound(r, cover.Legumes)
		case r.Least:
			p.rules.Legumes = &number
		default:
			p.rules.LegumesMost = &number
		}
	case ingest.CoverArea:
		p.bound(r, r.Cover+r.Name)
	case ingest.CoverPin:
		p.rules.Pins = append(p.rules.Pins, cover.Pin{Bed: r.Bed, Window: cover.Stand(r.Window), Cover: r.Cover, From: r.Place()})
	case ingest.CoverForbid:
		p.rules.Forbids = append(p.rules.Forbids, cover.Pin{Bed: r.Bed, Window: cover.Stand(r.Window), Cover: r.Cover, From: r.Place()})
	case ingest.CoverMixes:
		p.rules.Species = int(number)
	case ingest.CoverTogether:
		p.rules.Together = number
	case ingest.CoverWeight:
		p.weight(r.Name, number)
	case ingest.CoverGrade:
		*map[string]*float64{"A": &p.rules.Weights.A, "B": &p.rules.Weights.B, "C": &p.rules.Weights.C, "D": &p.rules.Weights.D}[r.Name] = number
	case ingest.CoverPrice:
		p.prices[r.Cover] = true
		for i := range p.options {
			if c := &p.options[i].Crop; c.ID == r.Cover {
				c.USDPerKg, c.USDPerHa = &number, nil
			}
		}
	case ingest.CoverBag:
		p.bags[r.Cover] = number
	case ingest.CoverPressure:
		each(func(b *cover.Bed) { b.Pressure = setPressure(b.Pressure, r) })
	case ingest.CoverGrew:
		family := r.Name
		for _, o := range p.options {
			if o.Crop.ID == r.Cover {
				family = o.Crop.Family
			}
		}
		each(func(b *cover.Bed) { b.History = append(b.History, cover.Grown{Family: family, Year: r.Year}) })
	case ingest.CoverDig:
		each(func(b *cover.Bed) { b.FreeFrom = r.Date })
	case ingest.CoverPlant:
		each(func(b *cover.Bed) { b.PlantBy = r.Date })
	case ingest.CoverSoil:
		p.site.SoilC[r.Month-1] = &number
	case ingest.CoverDry:
		each(func(b *cover.Bed) { b.NoWater = true })
	case ingest.CoverVirus:
		each(func(b *cover.Bed) {
			if !contains(b.Viruses, r.Name) {
				b.Viruses = append(b.Viruses, r.Name)
			}
		})
	case ingest.CoverSod:
		each(func(b *cover.Bed) { b.SodYear = r.Year })
	case ingest.CoverBrassica:
		each(func(b *cover.Bed) { b.BrassicaNear = true })
	case ingest.CoverClubroot:
		each(func(b *cover.Bed) { b.ClubrootKnown = true })
	case ingest.CoverFamily:
		p.rules.R7 = map[string]cover.FamilyRule{"soft": cover.FamilySoft, "hard": cover.FamilyHard}[r.Name]
		if p.rules.R7 == "" {
			p.rules.R7 = cover.FamilySoftExcept
		}
	case ingest.CoverHosts:
		if r.Name == "allowed" {
			p.rules.HostScore = 0
		}
	}
	p.rules.Stated[string(r.Kind)] = r.Place()
}

// bound adds a rule on the area of something.
func (p *coverPlan) bound(r ingest.CoverRule, what string) {
	m2 := r.Number
	if r.Unit == ingest.UnitShare {
		m2 *= p.area()
	}
	p.rules.Areas = append(p.rules.Areas, cover.Area{What: what, Least: r.Least, M2: m2, From: r.Place()})
}

func (p *coverPlan) weight(name string, number float64) {
	r := &p.rules
	*map[string]*float64{
		"pests": &r.PestWeight, "harm": &r.HarmWeight, "nitrogen": &r.Nitrogen, "biomass": &r.Biomass, "cost": &r.PointsPerUSD,
		"work": &r.Work, "bare": &r.BarePenalty, "flowers": &r.RestCost, "family": &r.FamilyPenalty,
	}[name] = number
}

// setPressure puts the grower's own word for a pressure in the place of what was
// counted.
func setPressure(list []cover.Pressure, r ingest.CoverRule) []cover.Pressure {
	own := cover.Pressure{Pest: r.Pest, Score: r.Number, Known: true, SD: r.Spread, Why: "the grower's own word (" + r.Place() + ")"}
	for i := range list {
		if list[i].Pest == r.Pest {
			list[i] = own
			return list
		}
	}
	return append(list, own)
}

// checkDates returns what is wrong with the dates of the plan's beds.
func (p *coverPlan) checkDates(today civil.Date) error {
	for _, b := range p.beds {
		if !b.PlantBy.After(b.FreeFrom) {
			return diag.Usagef("check the days of digging and planting", "bed %s: planting on %s would come before digging on %s", b.Code, b.PlantBy, b.FreeFrom)
		}
		if !b.PlantBy.After(today) {
			return diag.Usagef("give the next planting day", "bed %s: planting on %s is past", b.Code, b.PlantBy)
		}
	}
	return nil
}
