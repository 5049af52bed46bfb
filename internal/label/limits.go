package label

import (
	"fmt"
	"math"
	"slices"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// worst returns the most dates that fall, with d, in one window that holds d.
// end gives the last day of the window that begins on a day.
func worst(dates []civil.Date, d civil.Date, end func(civil.Date) civil.Date) int {
	most := 0
	for _, s := range append([]civil.Date{d}, dates...) {
		last := end(s)
		if s.After(d) || last.Before(d) {
			continue
		}
		n := 1
		for _, t := range dates {
			if !t.Before(s) && !t.After(last) {
				n++
			}
		}
		most = max(most, n)
	}
	return most
}

func dates(ts []farm.Treatment) []civil.Date {
	out := make([]civil.Date, len(ts))
	for i, t := range ts {
		out[i] = t.Date
	}
	return out
}

func (r Request) window(d civil.Date) []block {
	w, ok := r.Label.MaxInWindow.Get()
	if !ok || w.Days < 1 {
		return nil
	}
	n := worst(dates(r.own()), d, func(s civil.Date) civil.Date { return s.AddDays(w.Days - 1) })
	if n <= w.Count {
		return nil
	}
	return []block{{Rule{Code: CodeWindow, Field: "maximum applications in any so many days", Where: directions,
		Words: fmt.Sprintf("the label allows at most %d in any %d days; this would be number %d", w.Count, w.Days, n)}, d.AddDays(1)}}
}

// yearEnd is the last day of the 12 months that begin on s.
func yearEnd(s civil.Date) civil.Date { return civil.New(s.Year+1, s.Month, s.Day).AddDays(-1) }

// period is a span over which maxima are counted, for a day in it.
type period struct {
	Span
	words string
	code  string     // of the refusal when the count is full
	next  civil.Date // the next day worth trying then; see after
}

// after returns the next day worth trying when the treatments fill the
// period. A window of 12 months stays full until a year after its first one.
func (p period) after(ts []farm.Treatment) civil.Date {
	if p.code != CodeMaxYear || len(ts) == 0 {
		return p.next
	}
	first := slices.MinFunc(dates(ts), civil.Date.Compare)
	return yearEnd(first).AddDays(1)
}

// limit is one maximum of the label: a number of applications or an amount
// per area, over a period or over any so many days.
type limit struct {
	count  int
	amount units.Quantity
	per    string // "" is days
	days   int
}

// limits returns the maxima of the product. max_in_window is kept apart; see
// window.
func (r Request) limits() []limit {
	var out []limit
	if n, ok := r.Label.MaxApplications.Get(); ok {
		out = append(out, limit{count: n, per: perWord(r.Label)})
	}
	if q, ok := r.Label.MaxAmount.Get(); ok {
		out = append(out, limit{amount: q, per: perWord(r.Label)})
	}
	for _, m := range r.Label.MoreMaxima.Value {
		if m.Active == "" {
			out = append(out, limit{m.Count, m.Amount, m.Per, m.Days})
		}
	}
	return out
}

// perUnread stands for a period that nobody has read; the field is refused as
// unknown, and nothing is counted.
const perUnread = "unread"

func perWord(l farm.Label) string {
	if l.MaxPer == "" {
		return perUnread
	}
	return l.MaxPer
}

var (
	startOfTime = civil.New(1, time.January, 1)
	endOfTime   = civil.New(9999, time.December, 31)
)

// running returns the windows that begin on d or on a treatment and hold d.
func (r Request) running(d civil.Date, end func(civil.Date) civil.Date, words, code string) []period {
	var out []period
	starts := append([]civil.Date{d}, dates(r.here())...)
	slices.SortFunc(starts, civil.Date.Compare)
	for _, s := range slices.Compact(starts) {
		if p := (Span{s, end(s)}); p.Holds(d) {
			out = append(out, period{p, fmt.Sprintf(words, s), code, d.AddDays(1)})
		}
	}
	return out
}

// periods returns the spans that hold d and over which a limit is counted, or
// a block when they are not known.
func (r Request) periods(d civil.Date, lim limit) ([]period, []block) {
	unknown := func(next civil.Date, format string, args ...any) ([]period, []block) {
		return nil, []block{{Rule{Code: CodeSeason, Words: fmt.Sprintf(format, args...), Unknown: true}, next}}
	}
	year := func() period {
		return period{Span{civil.New(d.Year, 1, 1), civil.New(d.Year, 12, 31)}, fmt.Sprintf("calendar year %d", d.Year), CodeMaxCount, civil.New(d.Year+1, 1, 1)}
	}
	twelve := func() []period { return r.running(d, yearEnd, "12 months from %s", CodeMaxYear) }
	switch lim.per {
	case "":
		return r.running(d, func(s civil.Date) civil.Date { return s.AddDays(lim.days - 1) }, fmt.Sprintf("%d days from %%s", lim.days), CodeWindow), nil
	case farm.PerYear:
		return append([]period{year()}, twelve()...), nil
	case farm.PerCalendarYear:
		return []period{year()}, nil
	case farm.PerTwelveMonths:
		return twelve(), nil
	case perUnread:
		return nil, nil
	case farm.PerNone:
		return []period{{Span{startOfTime, endOfTime}, "whole record, for the label gives no time", CodeMaxCount, civil.Date{}}}, nil
	case farm.PerGeneration:
		i := -1
		for n, g := range r.Generations {
			if !g.After(d) {
				i = n
			}
		}
		switch {
		case len(r.Generations) == 0:
			return unknown(civil.Date{}, "the label counts per generation of the pest; when its generations begin is not known")
		case i < 0:
			return unknown(r.Generations[0], "%s is before the first generation that is known, of %s", d, r.Generations[0])
		case i+1 < len(r.Generations):
			next := r.Generations[i+1]
			return []period{{Span{r.Generations[i], next.AddDays(-1)}, "generation from " + r.Generations[i].String(), CodeMaxCount, next}}, nil
		}
		return []period{{Span{r.Generations[i], endOfTime}, "generation from " + r.Generations[i].String(), CodeMaxCount, civil.Date{}}}, nil
	case farm.PerCropCycle:
		switch {
		case r.CycleStart.IsZero():
			return unknown(civil.Date{}, "the label counts per crop cycle; write when %s was planted", r.Bed.Code)
		case d.Before(r.CycleStart):
			return unknown(r.CycleStart, "%s is before the planting of %s on %s; when that crop cycle began is not known", d, r.Bed.Code, r.CycleStart)
		}
		return []period{{Span{r.CycleStart, endOfTime}, "crop cycle from " + r.CycleStart.String(), CodeMaxCount, civil.Date{}}}, nil
	}
	if y, ok := r.Label.Season.Get(); ok {
		from, to, holds := y.Around(d)
		if !holds {
			return nil, []block{{Rule{Code: CodeSeason, Field: "season", Where: directions,
				Words: fmt.Sprintf("%s is outside the season of the label, which begins on %s", d, from)}, from}}
		}
		next, _, _ := y.Around(to.AddDays(1))
		return []period{{Span{from, to}, fmt.Sprintf("season %s to %s", from, to), CodeMaxCount, next}}, nil
	}
	s := r.Season
	switch {
	case s.From.IsZero() || s.To.IsZero():
		return unknown(civil.Date{}, "the label counts per season; write when the season begins and ends")
	case d.Before(s.From):
		return unknown(s.From, "%s is before the season that begins on %s; what was used in the season before is not counted here", d, s.From)
	case d.After(s.To):
		return unknown(civil.Date{}, "%s is after the season that ends on %s; begin the next season first", d, s.To)
	}
	return []period{{s, fmt.Sprintf("season %s to %s", s.From, s.To), CodeMaxCount, civil.Date{}}}, nil
}

func (p period) pick(ts []farm.Treatment) []farm.Treatment {
	var out []farm.Treatment
	for _, t := range ts {
		if p.Holds(t.Date) {
			out = append(out, t)
		}
	}
	return out
}

// maxCount checks the most applications over every period. It also tells which
// period of any maximum is not known.
func (r Request) maxCount(d civil.Date) []block {
	var blocks []block
	all := r.limits()
	for _, a := range r.Label.Actives {
		all = append(all, ownActive(r.Label, a, r.sameActive)...)
	}
	seen := map[string]bool{}
	for _, lim := range all {
		ps, unknown := r.periods(d, lim)
		if !seen[lim.per] {
			blocks = append(blocks, unknown...)
		}
		seen[lim.per] = true
		if lim.count == 0 {
			continue
		}
		for _, p := range ps {
			used := p.pick(r.own())
			if len(used) >= lim.count {
				blocks = append(blocks, block{Rule{Code: p.code, Field: "maximum applications", Where: directions,
					Words: fmt.Sprintf("%d of %d applications are used in the %s", len(used), lim.count, p.words)}, p.after(used)})
			}
		}
	}
	return blocks
}

// maxAmount checks the most product per area over every period. It also
// returns the product per area used and left in the fullest period; nil when
// the label states no maximum or they are not known.
func (r Request) maxAmount(d civil.Date) (blocks []block, used, left *units.Quantity) {
	for _, lim := range r.limits() {
		if lim.count > 0 {
			continue
		}
		b, u, l := r.amountWithin(d, lim)
		blocks = append(blocks, b...)
		if l != nil && (left == nil || l.Base() < left.Base()) {
			used, left = u, l
		}
	}
	return blocks, used, left
}

func (r Request) amountWithin(d civil.Date, lim limit) (blocks []block, used, left *units.Quantity) {
	most := lim.amount
	ps, _ := r.periods(d, lim) // what is wrong with the period is told by maxCount
	for _, p := range ps {
		sum := units.Quantity{Unit: most.Unit}
		for _, t := range p.pick(r.own()) {
			q, err := r.use(t)
			if err == nil {
				var v float64
				v, err = q.In(most.Unit.Name)
				sum.Value += v
			}
			if err != nil {
				return []block{{Rule: Rule{Code: CodeMaxAmount, Field: "amount used", Unknown: true,
					Words: fmt.Sprintf("what is left of the label's maximum of %s cannot be told: %v", most, err)}}}, nil, nil
			}
		}
		rest := units.Quantity{Value: math.Max(0, most.Value-sum.Value), Unit: most.Unit}
		if left == nil || rest.Value < left.Value {
			u := sum
			used, left = &u, &rest
		}
		add, err := r.atLeast(most.Unit)
		if err != nil {
			continue // a proposed amount in other units is refused with the rates
		}
		if above(sum.Value+add, most.Value) || !above(most.Value, sum.Value) {
			blocks = append(blocks, block{Rule{Code: CodeMaxAmount, Field: "maximum amount", Where: directions,
				Words: fmt.Sprintf("%.4g of %s are used in the %s; %.4g more would go above it, %.4g is left", sum.Value, most, p.words, add, rest.Value)}, p.after(p.pick(r.own()))})
		}
	}
	return blocks, used, left
}

// atLeast returns the product per area that this application adds, in unit:
// the proposed amount, else the label's lowest rate, else 0.
func (r Request) atLeast(unit units.Unit) (float64, error) {
	q := r.Amount
	if q.IsZero() {
		lo, ok := r.Label.RateMin.Get()
		if !ok {
			return 0, nil
		}
		p, err := r.onArea(lo, r.sprayed(r.Label.SprayMin))
		if err != nil {
			return 0, nil // what is not known of the rate is told with the amounts
		}
		return p.In(unit.Name)
	}
	p, err := r.onArea(q, r.SprayVolume)
	if err != nil {
		return 0, err
	}
	return p.In(unit.Name)
}

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

func largest(rest float64, unit units.Unit, a farm.Active, l farm.Label) string {
	q, ok := productOf(units.Quantity{Value: rest, Unit: unit}, a, l)
	if !ok {
		return ""
	}
	if q.Unit.Dimension == unit.Dimension {
		return fmt.Sprintf("; the largest rate of this product left is %.4g %s", q.MustIn(unit.Name), unit.Name)
	}
	return fmt.Sprintf("; the largest rate of this product left is %.4g mL/m2", q.MustIn("mL/m2"))
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
		rest := math.Max(0, most.Value-sum)
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
					a.Name, sum, add, sum+add, most, p.words, whose, largest(rest, most.Unit, a, r.Label))}, p.after(used)})
		}
	}
	return blocks, free
}
