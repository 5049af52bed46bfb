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

// Rules are the editable numbers of the plan.
type Rules struct {
	MaxRested     int // R11, beds that may carry no dahlias
	Weights       Weights
	PointsPerUSD  float64    // points taken off per USD of seed
	R7            FamilyRule // dahlia's own family
	FamilyPenalty float64    // points, R7 soft
	RestCost      float64    // points taken off for a bed's lost flowers
	BarePenalty   float64    // points taken off for bare soil in winter
	BrassicaYears int        // R8, shortest time from brassica to brassica
	ClubrootYears int        // R8, the same where clubroot was seen
	AboveGround   []string   // pests that a cover killed before planting does not touch
}

// DefaultRules returns the planning defaults, all common practice: no rested
// bed, 0.05 points per USD, R7 soft at 1.5 points, brassicas 2 years apart (4
// with clubroot), thrips, aphids, mites untouched by a cover that is gone before the
// dahlias come up. Bare soil and lost flowers cost nothing until the grower
// sets a price on them.
func DefaultRules() Rules {
	return Rules{
		Weights: DefaultWeights, PointsPerUSD: 0.05,
		R7: FamilySoft, FamilyPenalty: 1.5,
		BrassicaYears: 2, ClubrootYears: 4,
		AboveGround: []string{"aphid", "spider_mite", "thrips"},
	}
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
		{"points per USD", r.PointsPerUSD}, {"family penalty", r.FamilyPenalty},
		{"cost of a rested bed", r.RestCost}, {"bare-soil penalty", r.BarePenalty},
		{"rested beds", float64(r.MaxRested)},
		{"brassica years", float64(r.BrassicaYears)}, {"clubroot years", float64(r.ClubrootYears)},
	} {
		if !(f.v >= 0 && f.v <= maxInput) {
			return fmt.Errorf("%s is %v; it must be from 0 to %g", f.name, f.v, maxInput)
		}
	}
	switch r.R7 {
	case FamilySoft, FamilyHard, FamilySoftExcept:
		return nil
	}
	return fmt.Errorf("rule R7 is %q; it must be %q, %q or %q", r.R7, FamilySoft, FamilyHard, FamilySoftExcept)
}
