package label

import (
	"errors"
	"fmt"
	"math"

	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// Errors of Amount.
var (
	ErrArea        = errors.New("the area is not known")
	ErrBasis       = errors.New("the rate does not give an amount for an area")
	ErrSprayVolume = errors.New("the spray volume is not known")
)

// Amount returns how much product covers areaM2 square metres at a rate, in
// g, mL or pieces, not rounded.
//
// A rate per area needs nothing more. A rate per volume of water (such as lb
// per 100 US gal) also needs spray, the volume of water per area; a zero
// spray is unknown. Weight and volume are never converted into each other.
//
// Errors wrap ErrArea (area not above zero), ErrSprayVolume, or ErrBasis (the
// rate is neither per area nor per volume of water).
func Amount(areaM2 float64, rate, spray units.Quantity) (units.Quantity, error) {
	if !(areaM2 > 0) || math.IsInf(areaM2, 0) {
		return units.Quantity{}, fmt.Errorf("%w: %g m²", ErrArea, areaM2)
	}
	p, err := perArea(rate, areaM2, spray)
	if err != nil {
		return units.Quantity{}, err
	}
	switch p.Unit.Dimension {
	case units.MassPerArea:
		return units.Of(p.Value*areaM2, "g"), nil
	case units.VolPerArea:
		return units.Of(p.Value*areaM2*1000, "mL"), nil
	}
	return units.Of(p.Value*areaM2, "each"), nil
}

// SprayOf is the spray per area of a treatment, false where it was not written
// down or the area is not known.
func SprayOf(t farm.Treatment) (units.Quantity, bool) {
	switch {
	case t.Spray.Unit.Dimension == units.VolPerArea:
		return t.Spray, true
	case t.Spray.Unit.Dimension == units.Volume && t.AreaM2 > 0:
		return units.Of(t.Spray.Base()/t.AreaM2, "L/m2"), true
	}
	return units.Quantity{}, false
}

func isRate(q units.Quantity) bool { _, ok := perAreaDim(q.Unit.Dimension); return ok }

// perAreaDim returns what a rate becomes when it is told per area.
func perAreaDim(d units.Dimension) (units.Dimension, bool) {
	switch d {
	case units.MassPerArea, units.MassPerVol, units.MassPerRow, units.MassPerUnit:
		return units.MassPerArea, true
	case units.VolPerArea, units.VolPerVol, units.VolPerRow, units.VolPerUnit:
		return units.VolPerArea, true
	case units.CountArea:
		return units.CountArea, true
	}
	return "", false
}

// perArea turns a rate, or an amount used on an area, into g/m², L/m² or
// pieces/m².
func perArea(q units.Quantity, areaM2 float64, spray units.Quantity) (units.Quantity, error) {
	over := func(unit string) (units.Quantity, error) {
		if !(areaM2 > 0) {
			return units.Quantity{}, ErrArea
		}
		return units.Of(q.Base()/areaM2, unit), nil
	}
	switch q.Unit.Dimension {
	case units.MassPerArea:
		return units.Of(q.Base(), "g/m2"), nil
	case units.VolPerArea:
		return units.Of(q.Base(), "L/m2"), nil
	case units.CountArea:
		return units.Of(q.Base(), "/m2"), nil
	case units.Mass:
		return over("g/m2")
	case units.Volume:
		return over("L/m2")
	case units.Count:
		return over("/m2")
	case units.MassPerVol, units.VolPerVol:
		if spray.Unit.Dimension != units.VolPerArea || !(spray.Value > 0) {
			return units.Quantity{}, fmt.Errorf("%w: %s is a rate in water, so write how much spray goes on an area (%s)", ErrSprayVolume, q, directions)
		}
		unit := "g/m2"
		if q.Unit.Dimension == units.VolPerVol {
			unit = "L/m2"
		}
		return units.Of(q.Base()*spray.Base(), unit), nil
	}
	return units.Quantity{}, fmt.Errorf("%w: %s", ErrBasis, q)
}

// show writes the most of an amount in the farm's units, rounded down.
func (r Request) show(q units.Quantity) string {
	p := r.Units.To(q)
	return fmt.Sprintf("%g %s", shown(p.Value), p.Unit.Name)
}

// shown rounds down to 0.1, or to 0.001 below 10, so a maximum that is shown
// is never above the one that is allowed.
func shown(v float64) float64 {
	if v < 10 {
		return units.FloorTo(v, 3)
	}
	return units.FloorTo(v, 1)
}

// shownUp rounds up in the same way.
func shownUp(v float64) float64 {
	if v < 10 {
		return -units.FloorTo(-v, 3)
	}
	return -units.FloorTo(-v, 1)
}

// use is one treatment's product per area, or why it is not known.
func (r Request) use(t farm.Treatment) (units.Quantity, error) {
	area := t.AreaM2
	if area == 0 && t.Part == "" {
		area = r.Bed.AreaM2()
	}
	if t.Amount.IsZero() {
		return units.Quantity{}, fmt.Errorf("the amount used on %s is not recorded", t.Date)
	}
	if p, err := perArea(t.Amount, area, units.Quantity{}); err == nil {
		return p, nil
	}
	return units.Quantity{}, fmt.Errorf("the area treated on %s is not recorded", t.Date)
}

// Errors of rates along the row and for a plant.
var (
	errRows   = errors.New("the rate is along the row, and how many rows the bed has is not known (`leafturn bed set BED --rows N`)")
	errPlants = errors.New("the rate is for a plant, and how many plants the part holds is not known (`leafturn bed set BED --plants N`)")
)

// onArea turns a rate or an amount into product per area of the ground to be
// treated, with a volume of spray for rates in water.
func (r Request) onArea(q, spray units.Quantity) (units.Quantity, error) {
	share := 1.0
	switch p := tidy(r.Part); {
	case p == "":
	default:
		lo, hi, inRows := rows(p)
		_, isHalf := half(p)
		switch {
		case isHalf:
			share = 0.5
		case inRows && r.Bed.Rows > 0 && hi <= r.Bed.Rows:
			share = float64(hi-lo+1) / float64(r.Bed.Rows)
		default:
			share = 0
		}
	}
	times := func(n float64, unit string, missing error) (units.Quantity, error) {
		if !(n > 0) {
			return units.Quantity{}, missing
		}
		if !(r.area() > 0) {
			return units.Quantity{}, ErrArea
		}
		return units.Of(q.Base()*n/r.area(), unit), nil
	}
	switch q.Unit.Dimension {
	case units.MassPerRow:
		return times(share*float64(r.Bed.Rows)*r.Bed.LengthM, "g/m2", errRows)
	case units.VolPerRow:
		return times(share*float64(r.Bed.Rows)*r.Bed.LengthM, "L/m2", errRows)
	case units.MassPerUnit:
		return times(share*float64(r.Bed.Plants), "g/m2", errPlants)
	case units.VolPerUnit:
		return times(share*float64(r.Bed.Plants), "L/m2", errPlants)
	}
	return perArea(q, r.area(), spray)
}

// sprayed is the volume of spray per area: the one planned, else the label's.
func (r Request) sprayed(onLabel farm.Stated[units.Quantity]) units.Quantity {
	if !r.SprayVolume.IsZero() {
		return r.SprayVolume
	}
	return onLabel.Value
}

// amountOf is Amount on the ground to be treated, for every kind of rate.
func (r Request) amountOf(q, spray units.Quantity) (units.Quantity, error) {
	switch q.Unit.Dimension {
	case units.MassPerRow, units.VolPerRow, units.MassPerUnit, units.VolPerUnit:
		p, err := r.onArea(q, spray)
		if err != nil {
			return p, err
		}
		return Amount(r.area(), p, spray)
	}
	return Amount(r.area(), q, spray)
}

func (r Request) area() float64 {
	if r.AreaM2 == 0 && r.Part == "" {
		return r.Bed.AreaM2()
	}
	return r.AreaM2
}

const belowMinimum = "below minimum: "

// amounts fills in the amounts of the decision and refuses a proposed amount
// that the rates do not allow. left is the product per area still free in the
// period, nil when the label states no maximum.
func (r Request) amounts(d *Decision, left *units.Quantity) {
	hi, ok := r.Label.RateMax.Get()
	if !ok || !isRate(hi) {
		return // a gap or a contradiction, already refused
	}
	area := r.area()
	if v := r.SprayVolume; !v.IsZero() {
		lo, hasLo := r.Label.SprayMin.Get()
		hi, hasHi := r.Label.SprayMax.Get()
		if hasLo && above(lo.Base(), v.Base()) || hasHi && above(v.Base(), hi.Base()) {
			d.refuse(Rule{Code: CodeSpray, Field: "spray volume", Where: directions, Words: fmt.Sprintf("%s of spray is outside what the label allows: %s", v, spanWords(lo, hi))})
		}
	}
	most, err := r.amountOf(hi, r.sprayed(r.Label.SprayMax))
	switch {
	case errors.Is(err, errRows), errors.Is(err, errPlants):
		d.refuse(Rule{Code: CodeArea, Words: err.Error(), Unknown: true})
		return
	case errors.Is(err, ErrSprayVolume):
		d.refuse(Rule{Code: CodeUnknown, Words: err.Error(), Field: "spray volume", Where: directions, Unknown: true})
		return
	case err != nil:
		d.refuse(Rule{Code: CodeArea, Words: fmt.Sprintf("the area to be treated in %s is not known; give it in square metres", r.Bed.Code), Unknown: true})
		return
	}
	cap := most
	if left != nil {
		if q, err := Amount(area, *left, units.Quantity{}); err == nil && q.Unit == most.Unit && q.Value < most.Value {
			cap = q
		}
	}
	d.AmountMax = units.Quantity{Value: math.Max(0, shown(cap.Value)), Unit: cap.Unit}
	var least units.Quantity
	if lo, ok := r.Label.RateMin.Get(); ok {
		if least, err = r.amountOf(lo, r.sprayed(r.Label.SprayMin)); err == nil {
			d.AmountMin = units.Quantity{Value: math.Min(shownUp(least.Value), d.AmountMax.Value), Unit: least.Unit}
		}
	}
	if r.Amount.IsZero() {
		if d.AmountMax.Value == 0 && !d.Has(CodeMaxActive) {
			d.refuse(Rule{Code: CodeMaxAmount, Field: "maximum amount", Where: directions, Words: "nothing to speak of is left of the label's maximum amount"})
		}
		return
	}
	want, err := r.wanted(most.Unit)
	if err != nil {
		d.refuse(Rule{Code: CodeUnits, Words: fmt.Sprintf("%s cannot be compared with the label's rate of %s; weight and volume are not converted into each other", r.Amount, hi)})
		return
	}
	if above(want.Value, most.Value) {
		d.refuse(Rule{Code: CodeRate, Field: "highest rate", Where: directions,
			Words: fmt.Sprintf("%s is more than the label allows on %s: at most %s at %s", r.Amount, r.Units.Area(area), r.show(most), hi)})
	}
	if !least.IsZero() && above(least.Value, want.Value) {
		d.Warnings = append(d.Warnings, fmt.Sprintf(belowMinimum+"%s is less than the label's lowest rate of %s; federal US law allows a lower dose unless the label forbids it, other law may not, and it may not work", r.Amount, r.Label.RateMin.Value))
	}
}

// wanted returns the proposed amount on the area in unit.
func (r Request) wanted(unit units.Unit) (units.Quantity, error) {
	q := r.Amount
	if q.Unit.Dimension != unit.Dimension {
		var err error
		if q, err = r.amountOf(r.Amount, r.SprayVolume); err != nil {
			return q, err
		}
	}
	v, err := q.In(unit.Name)
	return units.Quantity{Value: v, Unit: unit}, err
}

func spanWords(lo, hi units.Quantity) string {
	switch {
	case lo.IsZero():
		return "at most " + hi.String()
	case hi.IsZero():
		return "at least " + lo.String()
	}
	return lo.String() + " to " + hi.String()
}
