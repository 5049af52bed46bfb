package label

import (
	"fmt"
	"slices"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// addsActive returns how much of an active this application adds per area, in
// unit.
func (r Request) addsActive(a farm.Active, unit units.Unit) (float64, error) {
	q, spray := r.Amount, r.SprayVolume
	if q.IsZero() {
		lo, ok := r.Label.RateMin.Get()
		if !ok {
			return 0, nil
		}
		q, spray = lo, r.sprayed(r.Label.SprayMin)
	}
	p, err := r.onArea(q, spray)
	if err != nil {
		if r.Amount.IsZero() {
			return 0, nil
		}
		return 0, err
	}
	if p, err = activeIn(p, a); err != nil {
		return 0, err
	}
	return p.In(unit.Name)
}

// activeIn returns the active ingredient in an amount of product per area: by
// its percent of a weight, by its grams per litre of a volume.
func activeIn(q units.Quantity, a farm.Active) (units.Quantity, error) {
	switch g, ok := a.GPerL.Get(); {
	case q.Unit.Dimension == units.MassPerArea && a.Percent > 0:
		return units.Quantity{Value: q.Value * a.Percent / 100, Unit: q.Unit}, nil
	case q.Unit.Dimension == units.VolPerArea && ok:
		return units.Of(q.Base()*g, "g/m2"), nil
	case q.Unit.Dimension == units.VolPerArea:
		return q, fmt.Errorf("a volume was used, %s is counted by weight, and its grams per litre are not known", a.Name)
	}
	return q, fmt.Errorf("how much %s is in the product by weight is not known", a.Name)
}

// productOf returns the product that holds an amount of the active, per area,
// as the label's rate is told; false where that cannot be told.
func productOf(q units.Quantity, a farm.Active, l farm.Label) (units.Quantity, bool) {
	dim, _ := perAreaDim(l.RateMax.Value.Unit.Dimension)
	g, ok := a.GPerL.Get()
	switch {
	case dim == units.VolPerArea && ok && g > 0:
		return units.Of(q.Base()/g, "L/m2"), true
	case dim == units.MassPerArea && a.Percent > 0:
		return units.Of(q.Base()*100/a.Percent, "g/m2"), true
	}
	return units.Quantity{}, false
}

func (r Request) largest(rest float64, unit units.Unit, a farm.Active) string {
	q, ok := productOf(units.Quantity{Value: rest, Unit: unit}, a, r.Label)
	if !ok {
		return ""
	}
	if q.Unit.Dimension == unit.Dimension {
		return fmt.Sprintf("; the largest rate of this product left is %.4g %s", q.MustIn(unit.Name), unit.Name)
	}
	return "; the largest rate of this product left is " + rateText(q, r.Units)
}

// ownActive returns the maxima that a label states for one of its actives.
func ownActive(l farm.Label, a farm.Active, same func(a, b string) bool) []limit {
	var out []limit
	if most, ok := a.Max.Get(); ok {
		out = append(out, limit{amount: most, per: perWord(l)})
	}
	for _, m := range l.MoreMaxima.Value {
		if m.Active != "" && same(m.Active, a.Name) {
			out = append(out, limit{amount: m.Amount, per: m.Per, days: m.Days})
		}
	}
	return out
}

// activeLimit is a label's maximum of one active over all products that hold
// it.
type activeLimit struct {
	limit
	label farm.Label // that states it
}

// activeLimits returns the maxima of an active that bind: that of the label
// itself, and those of the products that went on the ground before, which were
// put on under the promise that they hold for all.
func (r Request) activeLimits(a farm.Active) []activeLimit {
	var out []activeLimit
	for _, own := range ownActive(r.Label, a, r.sameActive) {
		out = append(out, activeLimit{own, r.Label})
	}
	for _, t := range r.here() {
		l, ok := r.labelOf(t)
		if !ok || t.Label == r.Label.Key {
			continue
		}
		if r.Season.From.IsZero() {
			l = SeasonAsYear(l)
		}
		for _, b := range l.Actives {
			if !r.sameActive(a.Name, b.Name) {
				continue
			}
			for _, theirs := range ownActive(l, b, r.sameActive) {
				x := activeLimit{theirs, l}
				if !slices.ContainsFunc(out, func(o activeLimit) bool {
					return o.label.Key == l.Key && o.label.Version == l.Version && o.limit == x.limit
				}) {
					out = append(out, x)
				}
			}
		}
	}
	return out
}

// maxActive checks the maxima per active ingredient, over all products that
// hold it. It also returns the product per area (g/m²) still free, nil when no
// maximum is stated or what is left is not known.
func (r Request) maxActive(d civil.Date) (blocks []block, free *units.Quantity) {
	for _, a := range r.Label.Actives {
		for _, lim := range r.activeLimits(a) {
			more, left := r.activeWithin(d, a, lim)
			blocks = append(blocks, more...)
			if left != nil && (free == nil || left.Value < free.Value) {
				free = left
			}
		}
	}
	return blocks, free
}

// activeWithin checks one maximum of an active.
func (r Request) activeWithin(d civil.Date, a farm.Active, lim activeLimit) (blocks []block, free *units.Quantity) {
	most, whose := lim.amount, ""
	if lim.label.Key != r.Label.Key {
		whose = fmt.Sprintf(" (the limit of %s, which was used here)", name(lim.label))
	}
	unknown := func(format string, args ...any) {
		blocks = append(blocks, block{Rule: Rule{Code: CodeMaxActive, Field: "limit shared by active", Where: directions, Unknown: true,
			Words: fmt.Sprintf("what is left of %s of %s cannot be told: ", most, a.Name) + fmt.Sprintf(format, args...)}})
	}
	by := r
	by.Label = lim.label
	ps, _ := by.periods(d, lim.limit)
	if len(ps) == 0 && whose != "" { // of the label itself maxCount tells it
		unknown("over which time %s counts it is not known", name(lim.label))
	}
	for _, p := range ps {
		used := p.pick(r.here())
		if whose != "" && !slices.ContainsFunc(used, func(t farm.Treatment) bool { return t.Label == lim.label.Key }) {
			continue // the other product was used in another period
		}
		sum := 0.0 // of the active, in most.Unit
		for _, t := range used {
			l, ok := r.labelOf(t)
			if !ok {
				unknown("the label %q used on %s is not transcribed", t.Label, t.Date)
				return blocks, free
			}
			for _, b := range l.Actives {
				if !r.sameActive(a.Name, b.Name) {
					continue
				}
				q, err := r.use(t)
				if err == nil {
					q, err = activeIn(q, b)
				}
				if err == nil {
					sum += q.MustIn(most.Unit.Name)
				}
				if err != nil {
					unknown("%v", err)
					return blocks, free
				}
			}
		}
		rest := leftOf(most.Value, sum)
		if q, ok := productOf(units.Quantity{Value: rest, Unit: most.Unit}, a, r.Label); ok && (free == nil || q.Unit == free.Unit && q.Value < free.Value) {
			free = &q
		}
		add, err := r.addsActive(a, most.Unit)
		if err != nil {
			unknown("%v", err)
			return blocks, free
		}
		if above(sum+add, most.Value) || !above(most.Value, sum) {
			blocks = append(blocks, block{Rule{Code: CodeMaxActive, Field: "limit shared by active", Where: directions,
				Words: fmt.Sprintf("%s: %.4g used, this adds %.4g, in all %.4g of at most %s in the %s%s%s",
					a.Name, sum, add, sum+add, most, p.words, whose, r.largest(rest, most.Unit, a))}, p.after(used)})
		}
	}
	return blocks, free
}
