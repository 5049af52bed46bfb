package cover

import (
	"fmt"
	"strings"
)

// FamilyRule tells how R7, no cover of dahlia's own family, is held.
type FamilyRule string

// The ways to hold R7.
const (
	// FamilySoft takes FamilyPenalty off.
	FamilySoft FamilyRule = "soft"
	// FamilyHard refuses the cover.
	FamilyHard FamilyRule = "hard"
	// FamilySoftExcept is FamilySoft, but a full Tagetes stand in a bed where
	// lesion nematode presses is free of it.
	FamilySoftExcept FamilyRule = "soft, not for marigold against lesion nematode"
)

// Rules are the editable numbers of the plan, and the grower's own rules.
type Rules struct {
	Weights       Weights
	PestWeight    float64    // points of help against pests count so many times
	HarmWeight    float64    // points of harm
	PointsPerUSD  float64    // points taken off per USD of seed
	GuessUSDPerKg float64    // what seed without a known price is taken to cost, so that it does not look free
	Nitrogen      float64    // points per kg/ha of plant-available nitrogen
	Biomass       float64    // points per t/ha of dry matter
	Work          float64    // points taken off per sowing
	R7            FamilyRule // dahlia's own family
	FamilyPenalty float64    // points, R7 soft
	RestCost      float64    // points taken off for a bed's lost flowers
	BarePenalty   float64    // points taken off for bare soil in winter
	Together      float64    // points for each two neighbours that are sown alike
	BrassicaYears int        // R8, shortest time from brassica to brassica
	ClubrootYears int        // R8, the same where clubroot was seen
	HostScore     int        // a cover that raises a soil pest found in the bed by so much is refused; 0: never
	AboveGround   []string   // pests that a cover killed before planting does not touch
	Species       int        // R12, most crops of a mix; below 2: no mixes
	OneEach       bool       // one choice per bed: a cover before planting or a rest-year crop

	MaxRested int      // R11, beds that may carry no dahlias
	Budget    *float64 // USD of seed at most; nil: any
	Lots      int      // different seed lots at most; 0: any number
	// Untreated beds of each UntreatedOf get no cover, for comparison; 0: none.
	Untreated, UntreatedOf int
	// Legumes and LegumesMost are the share of the sown area that is legumes at
	// least and at most, 0 to 1; nil: any.
	Legumes, LegumesMost *float64
	Areas                []Area
	Pins                 []Pin
	Forbids              []Pin

	Stated map[string]string // where a rule was stated, by its name in words; for messages
}

// Area bounds the area of a crop in the whole plan. A mix counts by its share.
type Area struct {
	What  string  // a crop's id, a family, or "legumes"
	Least bool    // at least, else at most
	M2    float64 // bound
	From  string  // where it was stated
}

// Pin holds a bed to a choice, or keeps it from one. In a Pin the bed and the
// cover are given; in a forbid "" is any bed, any cover.
type Pin struct {
	Bed    string
	Window Stand  // "" is the one that the cover has
	Cover  string // an option's crop id ("a+b" for a mix), or None
	From   string // where it was stated
}

// Stand is a window of a bed.
type Stand string

// The windows.
const (
	BeforePlanting Stand = "winter" // from digging to planting
	RestYear       Stand = "rest"   // the summer of a bed without dahlias
)

// String says what is pinned or forbidden, as in a rule.
func (p Pin) String() string {
	s := p.Bed
	if s == "" {
		s = "every bed"
	}
	if p.Window != "" {
		s += " " + string(p.Window)
	}
	if p.Cover != "" {
		s += " " + p.Cover
	}
	return s
}

// DefaultRules returns the planning defaults, all common practice: no rested
// bed, 0.05 points per USD, R7 soft at 1.5 points, brassicas 2 years apart (4
// with clubroot), thrips, aphids, mites untouched by a cover that is gone before the
// dahlias come up. Soil, work, bare soil and lost flowers cost nothing, hosts
// are valued and not refused, and there are no mixes, until the grower says so.
func DefaultRules() Rules {
	return Rules{
		Weights: DefaultWeights, PestWeight: 1, HarmWeight: 1, PointsPerUSD: 0.05,
		R7: FamilySoft, FamilyPenalty: 1.5,
		BrassicaYears: 2, ClubrootYears: 4,
		AboveGround: []string{"aphid", "spider_mite", "thrips"},
	}
}

// FarmRules returns the rules that a farm begins with: those of DefaultRules,
// and bare soil through a winter costs 0.5 points, enough to prefer any cover
// that does no harm and too little to outweigh a pest; 100 kg/ha of nitrogen or
// 5 t/ha of dry matter are worth 0.5; a sowing costs 0.1; a host of a soil pest
// found in the bed is refused; seed without a known price is taken to cost 2 USD
// a kg; mixes of two; a bed without flowers
// costs 3, as much as the heaviest pest. All common practice.
func FarmRules() Rules {
	r := DefaultRules()
	r.BarePenalty, r.Nitrogen, r.Biomass, r.Work, r.HostScore, r.Species, r.RestCost = 0.5, 0.005, 0.1, 0.1, 1, 2, 3
	r.GuessUSDPerKg = 2
	return r
}

// untreated is how many of n beds get no cover at least.
func (r Rules) untreated(n int) int {
	if r.Untreated == 0 {
		return 0
	}
	return (n*r.Untreated + r.UntreatedOf - 1) / r.UntreatedOf
}

// excused reports whether R7 does not take points off.
func (r Rules) excused(o Option, bed Bed) bool {
	if r.R7 != FamilySoftExcept || !o.Rest || !strings.HasPrefix(o.Crop.Latin, "Tagetes") {
		return false
	}
	p, known := bed.pressure("nematode_lesion")
	return known && p > 0
}

// check returns what is wrong with the rules.
func (r Rules) check() error {
	if err := r.Weights.Check(); err != nil {
		return err
	}
	for _, f := range []struct {
		name string
		v    float64
	}{
		{"points per USD", r.PointsPerUSD}, {"the guess of a price", r.GuessUSDPerKg}, {"family penalty", r.FamilyPenalty},
		{"cost of a rested bed", r.RestCost}, {"bare-soil penalty", r.BarePenalty},
		{"weight of pests", r.PestWeight}, {"weight of harm", r.HarmWeight}, {"points of nitrogen", r.Nitrogen},
		{"points of dry matter", r.Biomass}, {"points of work", r.Work}, {"points of neighbours sown alike", r.Together},
		{"rested beds", float64(r.MaxRested)}, {"seed lots", float64(r.Lots)}, {"untreated beds", float64(r.Untreated)}, {"beds of which some are untreated", float64(r.UntreatedOf)},
		{"species of a mix", float64(r.Species)},
		{"brassica years", float64(r.BrassicaYears)}, {"clubroot years", float64(r.ClubrootYears)},
	} {
		if !(f.v >= 0 && f.v <= maxInput) {
			return fmt.Errorf("%s is %v; it must be from 0 to %g", f.name, f.v, maxInput)
		}
	}
	if r.Budget != nil && !(*r.Budget >= 0 && *r.Budget <= maxInput) {
		return fmt.Errorf("the budget is %v USD; it must be from 0 to %g", *r.Budget, maxInput)
	}
	for _, v := range []*float64{r.Legumes, r.LegumesMost} {
		if v != nil && !(*v >= 0 && *v <= 1) {
			return fmt.Errorf("the share of legumes is %v; it must be from 0 to 1", *v)
		}
	}
	if r.Untreated > r.UntreatedOf {
		return fmt.Errorf("%d untreated beds of each %d; it must be some of them", r.Untreated, r.UntreatedOf)
	}
	for _, a := range r.Areas {
		if !(a.M2 >= 0 && a.M2 <= maxInput) {
			return fmt.Errorf("the area of %s is %v m2; it must be from 0 to %g", a.What, a.M2, maxInput)
		}
	}
	switch r.R7 {
	case FamilySoft, FamilyHard, FamilySoftExcept:
		return nil
	}
	return fmt.Errorf("rule R7 is %q; it must be %q, %q or %q", r.R7, FamilySoft, FamilyHard, FamilySoftExcept)
}
