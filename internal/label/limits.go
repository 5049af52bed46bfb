package label

import (
	"fmt"
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
		if len(r.Generations) == 0 && r.Lasts != nil {
			return r.generations(d)
		}
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

// leftOf is what is left of a maximum; what only rounding leaves is nothing.
func leftOf(most, used float64) float64 {
	if !above(most, used) {
		return 0
	}
	return most - used
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
		rest := units.Quantity{Value: leftOf(most.Value, sum.Value), Unit: most.Unit}
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
