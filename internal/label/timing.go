package label

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// block is a rule that forbids a day, with the next day worth trying: no day
// before it passes that rule. A zero next means never, or not known.
type block struct {
	Rule
	next civil.Date
}

// timing returns the rules of time and quantity that forbid day d.
func (r Request) timing(d civil.Date) []block {
	var out []block
	out = append(out, r.expiry(d)...)
	out = append(out, r.interval(d)...)
	out = append(out, r.apart(d)...)
	out = append(out, r.window(d)...)
	out = append(out, r.maxCount(d)...)
	b, _, _ := r.maxAmount(d)
	out = append(out, b...)
	b, _ = r.maxActive(d)
	out = append(out, b...)
	out = append(out, r.closed(d)...)
	return out
}

// earliest returns the first day from d on that no timing rule forbids,
// whatever the hour.
func (r Request) earliest(d civil.Date) civil.Date {
	r.Start, r.End = time.Time{}, time.Time{}
	for range 3000 { // more days than any label's interval or window
		blocks := r.timing(d)
		if len(blocks) == 0 {
			return d
		}
		next := d.AddDays(1)
		for _, b := range blocks {
			if b.next.IsZero() {
				return civil.Date{}
			}
			if b.next.After(next) {
				next = b.next
			}
		}
		d = next
	}
	return civil.Date{}
}

func (r Request) expiry(d civil.Date) []block {
	if e, ok := r.Label.Expiry.Get(); ok && d.After(e) {
		return []block{{Rule: Rule{Code: CodeExpired, Field: "expiry", Where: container,
			Words: fmt.Sprintf("the product expired on %s", e)}}}
	}
	return nil
}

func (r Request) interval(d civil.Date) []block {
	n, code, whose := r.Label.MinIntervalDays.Value, CodeInterval, "the label"
	if !r.Label.MinIntervalDays.Has() {
		n = 0
	}
	if r.FarmMinDays > n {
		n, code, whose = r.FarmMinDays, CodeFarmInterval, "the farm's own rule"
	}
	var out []block
	for _, t := range r.own() {
		gap := d.Sub(t.Date)
		if max(gap, -gap) >= n {
			continue
		}
		next := t.Date.AddDays(n)
		words := fmt.Sprintf("%s asks for %s between applications; after the one of %s the first day allowed is %s, and %s is %s too early",
			whose, days(n), t.Date, next, d, days(n-gap))
		if gap < 0 {
			words = fmt.Sprintf("%s asks for %s between applications, and one is planned on %s; the first day allowed after it is %s", whose, days(n), t.Date, next)
		}
		if !Located(t.Part) {
			words += fmt.Sprintf("; %q does not say where in the bed, so it counts as the whole bed: write which half or rows", t.Part)
		}
		b := block{Rule{Code: code, Words: words}, next}
		if code == CodeInterval {
			b.Field, b.Where = "minimum retreatment interval", directions
		}
		if len(out) == 0 || b.next.After(out[0].next) {
			out = []block{b}
		}
	}
	return out
}

func days(n int) string {
	if n == 1 {
		return "1 day"
	}
	return fmt.Sprintf("%d days", n)
}

// apart keeps materials apart in both directions, by the longer of the
// figures on the two labels, or by the published figure when neither has one.
func (r Request) apart(d civil.Date) []block {
	var out []block
	for _, t := range r.here() {
		other, ok := r.labelOf(t)
		if !ok || t.Label == r.Label.Key {
			continue
		}
		n, what, note := 0, "", ""
		for _, side := range [][2]farm.Label{{r.Label, other}, {other, r.Label}} {
			for _, k := range side[0].KeepApart {
				if r.holds(side[1], k.Active) && (what == "" || k.Days > n) {
					n, what = k.Days, k.Active
				}
			}
		}
		if what == "" {
			for _, k := range r.Apart {
				if (r.holds(r.Label, k.A) && r.holds(other, k.B) || r.holds(r.Label, k.B) && r.holds(other, k.A)) && k.Days > n {
					n, what = k.Days, k.A+" and "+k.B
					note = fmt.Sprintf("; %d days is the published figure (%s), the label governs", k.Days, k.Source)
				}
			}
		}
		gap := d.Sub(t.Date)
		if max(gap, -gap) >= n {
			continue
		}
		next := t.Date.AddDays(n)
		out = append(out, block{Rule{Code: CodeApart, Field: "incompatible materials", Where: directions,
			Words: fmt.Sprintf("%s went on %s on %s; the two are kept %s apart (%s), so the first day allowed is %s%s", name(other), r.Bed.Code, t.Date, days(n), what, next, note)}, next})
	}
	return out
}

func (r Request) holds(l farm.Label, active string) bool {
	for _, a := range l.Actives {
		if r.sameActive(a.Name, active) {
			return true
		}
	}
	return false
}

// sameActive reports whether two labels mean one active.
func (r Request) sameActive(a, b string) bool {
	if r.ActiveKey != nil {
		if x, ok := r.ActiveKey(a); ok {
			if y, ok := r.ActiveKey(b); ok {
				return x == y
			}
		}
	}
	return strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
}

func name(l farm.Label) string {
	if l.Product != "" {
		return l.Product
	}
	return l.Key
}

// labelOf returns the label that a treatment was made under.
func (r Request) labelOf(t farm.Treatment) (farm.Label, bool) {
	if l, ok := r.Versions[t.ID]; ok && t.ID != 0 {
		return l, true
	}
	if t.Label == r.Label.Key {
		return r.Label, true
	}
	l, ok := r.Labels[t.Label]
	return l, ok
}

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

// limited reports whether the label has any maximum per period.
func (r Request) limited() bool {
	for _, a := range r.Label.Actives {
		if a.Max.Has() {
			return true
		}
	}
	return r.Label.MaxApplications.Has() || r.Label.MaxAmount.Has()
}

var endOfTime = civil.New(9999, time.December, 31)

// periods returns the spans that hold d and over which the label's maxima are
// counted, or a block when they are not known.
func (r Request) periods(d civil.Date) ([]period, []block) {
	unknown := func(next civil.Date, format string, args ...any) ([]period, []block) {
		return nil, []block{{Rule{Code: CodeSeason, Words: fmt.Sprintf(format, args...), Unknown: true}, next}}
	}
	switch r.Label.MaxPer {
	case farm.PerYear:
		out := []period{{Span{civil.New(d.Year, 1, 1), civil.New(d.Year, 12, 31)}, fmt.Sprintf("calendar year %d", d.Year), CodeMaxCount, civil.New(d.Year+1, 1, 1)}}
		starts := append([]civil.Date{d}, dates(r.here())...)
		slices.SortFunc(starts, civil.Date.Compare)
		for _, s := range slices.Compact(starts) {
			if p := (Span{s, yearEnd(s)}); p.Holds(d) {
				out = append(out, period{p, fmt.Sprintf("12 months from %s", s), CodeMaxYear, d.AddDays(1)})
			}
		}
		return out, nil
	case farm.PerCropCycle:
		switch {
		case r.CycleStart.IsZero():
			return unknown(civil.Date{}, "the label counts per crop cycle; write when %s was planted", r.Bed.Code)
		case d.Before(r.CycleStart):
			return unknown(r.CycleStart, "%s is before the planting of %s on %s; when that crop cycle began is not known", d, r.Bed.Code, r.CycleStart)
		}
		return []period{{Span{r.CycleStart, endOfTime}, "crop cycle from " + r.CycleStart.String(), CodeMaxCount, civil.Date{}}}, nil
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

func (r Request) maxCount(d civil.Date) []block {
	if !r.limited() {
		return nil
	}
	ps, blocks := r.periods(d)
	most, ok := r.Label.MaxApplications.Get()
	if !ok {
		return blocks
	}
	for _, p := range ps {
		if n := len(p.pick(r.own())); n >= most {
			blocks = append(blocks, block{Rule{Code: p.code, Field: "maximum applications", Where: directions,
				Words: fmt.Sprintf("%d of %d applications are used in the %s", n, most, p.words)}, p.after(p.pick(r.own()))})
		}
	}
	return blocks
}

// maxAmount checks the most product per area. It also returns the product per
// area used and left in the fullest period; nil when the label states no
// maximum or they are not known.
func (r Request) maxAmount(d civil.Date) (blocks []block, used, left *units.Quantity) {
	most, ok := r.Label.MaxAmount.Get()
	if !ok {
		return nil, nil, nil
	}
	ps, _ := r.periods(d) // what is wrong with the period is told by maxCount
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
		var ok bool
		if q, ok = r.Label.RateMin.Get(); !ok {
			return 0, nil
		}
	}
	p, err := perArea(q, r.area(), r.SprayVolume)
	if err != nil {
		return 0, err
	}
	return p.In(unit.Name)
}

// activeLimit is a label's maximum of one active over all products that hold
// it.
type activeLimit struct {
	most  units.Quantity
	label farm.Label // that states it
}

// activeLimits returns the maxima of an active that bind: that of the label
// itself, and those of the products that went on the ground before, which were
// put on under the promise that they hold for all.
func (r Request) activeLimits(a farm.Active) []activeLimit {
	var out []activeLimit
	if most, ok := a.Max.Get(); ok {
		out = append(out, activeLimit{most, r.Label})
	}
	for _, t := range r.here() {
		l, ok := r.labelOf(t)
		if !ok || t.Label == r.Label.Key {
			continue
		}
		for _, b := range l.Actives {
			most, ok := b.Max.Get()
			if !ok || !r.sameActive(a.Name, b.Name) {
				continue
			}
			if r.Season.From.IsZero() {
				l = SeasonAsYear(l)
			}
			if x := (activeLimit{most, l}); !slices.ContainsFunc(out, func(o activeLimit) bool {
				return o.label.Key == l.Key && o.label.Version == l.Version && o.most == most
			}) {
				out = append(out, x)
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
		if a.Percent <= 0 {
			continue
		}
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
	most, whose := lim.most, ""
	if lim.label.Key != r.Label.Key {
		whose = fmt.Sprintf(" (the limit of %s, which was used here)", name(lim.label))
	}
	unknown := func(format string, args ...any) {
		blocks = append(blocks, block{Rule: Rule{Code: CodeMaxActive, Field: "limit shared by active", Where: directions, Unknown: true,
			Words: fmt.Sprintf("what is left of %s of %s cannot be told: ", most, a.Name) + fmt.Sprintf(format, args...)}})
	}
	by := r
	by.Label = lim.label
	ps, _ := by.periods(d)
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
					var v float64
					v, err = q.In(most.Unit.Name)
					sum += v * b.Percent / 100
				}
				if err != nil {
					unknown("%v", err)
					return blocks, free
				}
			}
		}
		rest := math.Max(0, most.Value-sum)
		q := units.Of(units.Quantity{Value: rest, Unit: most.Unit}.Base()*100/a.Percent, "g/m2")
		if free == nil || q.Value < free.Value {
			free = &q
		}
		add, err := r.atLeast(most.Unit)
		if err != nil {
			unknown("%s is a volume, and the active is counted by weight", r.Amount)
			return blocks, free
		}
		add *= a.Percent / 100
		if above(sum+add, most.Value) || !above(most.Value, sum) {
			blocks = append(blocks, block{Rule{Code: CodeMaxActive, Field: "limit shared by active", Where: directions,
				Words: fmt.Sprintf("%s: %.4g used, this adds %.4g, in all %.4g of at most %s in the %s%s; the largest rate of this product left is %.4g %s",
					a.Name, sum, add, sum+add, most, p.words, whose, rest*100/a.Percent, most.Unit.Name)}, p.after(used)})
		}
	}
	return blocks, free
}

// closed refuses while an earlier treatment keeps the bed closed. Treatments
// with the same end are one tank mix and do not close the bed to each other.
func (r Request) closed(d civil.Date) []block {
	var out []block
	for _, t := range r.History {
		if t.Bed != r.Bed.Code || t.Date.After(d) || !r.End.IsZero() && t.End.Equal(r.End) && d == r.Date {
			continue
		}
		start, instant := r.startOn(d)
		if began := firstOf(t.Start, t.End); instant && !began.Before(r.End) {
			continue // a later one on the same day
		}
		l, _ := r.labelOf(t)
		open, known := opens(t, l, r.Bed.Site, r.Crops)
		switch {
		case !known:
			out = append(out, block{Rule: Rule{Code: CodeClosed, Field: "re-entry interval (REI)", Where: agBox, Unknown: true,
				Words: fmt.Sprintf("%s is closed since the treatment of %s until the label %q is read", r.Bed.Code, t.Date, t.Label)}})
		case instant && open.After(start), !instant && !open.Before(d.AddDays(1).In(r.loc())):
			next := civil.DateIn(open, r.loc())
			out = append(out, block{Rule{Code: CodeClosed, Field: "re-entry interval (REI)", Where: agBox,
				Words: fmt.Sprintf("%s is closed until %s after %s", r.Bed.Code, clock(open, r.loc()), name(l))}, next})
		}
	}
	return out
}

// startOn returns when the application on d begins, and false when only the
// day is known.
func (r Request) startOn(d civil.Date) (time.Time, bool) {
	if r.End.IsZero() || d != r.Date {
		return time.Time{}, false
	}
	return firstOf(r.Start, r.End), true
}

func firstOf(a, b time.Time) time.Time {
	if a.IsZero() {
		return b
	}
	return a
}

func clock(t time.Time, loc *time.Location) string {
	return t.In(loc).Format("Mon 2 Jan 2006 15:04 MST")
}
