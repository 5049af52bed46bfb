package label_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/units"
)

const cases = 2000

// maybe returns unknown (one in 25), none stated, or a value.
func maybe[T any](rng *rand.Rand, v func() T) farm.Stated[T] {
	switch n := rng.IntN(25); {
	case n == 0:
		return farm.Stated[T]{}
	case n < 11:
		return farm.None[T]()
	}
	return farm.Value(v())
}

func between(rng *rand.Rand, lo, hi int) int { return lo + rng.IntN(hi-lo+1) }

// random makes a request on an invented bed of 10 m², with rates in g/m².
func random(rng *rand.Rand) label.Request {
	l := bait()
	l.MinIntervalDays = maybe(rng, func() int { return rng.IntN(20) })
	l.MaxApplications = maybe(rng, func() int { return between(rng, 1, 6) })
	l.MaxInWindow = maybe(rng, func() farm.Window { return farm.Window{Count: between(rng, 1, 3), Days: between(rng, 1, 40)} })
	l.MaxPer = append([]string{farm.PerNone}, farm.MaxPers...)[rng.IntN(len(farm.MaxPers)+1)]
	l.MoreMaxima = moreMaxima(rng)
	if rng.IntN(3) == 0 {
		l.Season = farm.Value(yearSpan(rng))
	}
	l.RateMax = farm.Value(units.Of(float64(between(rng, 3, 6)), "g/m2"))
	l.RateMin = maybe(rng, func() units.Quantity { return units.Of(float64(between(rng, 1, 3)), "g/m2") })
	l.MaxAmount = maybe(rng, func() units.Quantity { return units.Of(float64(between(rng, 3, 20)), "g/m2") })
	l.REIHours = maybe(rng, func() float64 { return float64(rng.IntN(72)) })
	l.Expiry = maybe(rng, func() civil.Date { return day("2026-09-01").AddDays(rng.IntN(200)) })
	l.Actives[0].Percent = float64(between(rng, 1, 4))
	l.Actives[0].Max = maybe(rng, func() units.Quantity { return units.Of(float64(between(rng, 10, 50))/100, "g/m2") })
	if !l.Actives[0].Max.Known() {
		l.Actives[0].Max = farm.None[units.Quantity]()
	}
	other := bait()
	other.Key, other.Product = "other", "Another invented bait"
	other.Actives[0].Percent = float64(between(rng, 1, 4))
	other.REIHours = farm.Value(float64(rng.IntN(48)))
	if rng.IntN(3) == 0 {
		l.KeepApart = []farm.Apart{{Active: "ferric phosphate", Days: rng.IntN(12)}}
	}
	r := label.Request{Label: l, Labels: map[string]farm.Label{"other": other}, Bed: farm.Bed{Code: "B3", LengthM: 10, WidthM: 1, Site: farm.Outdoor},
		Pest: "slug", Date: day("2026-06-01").AddDays(rng.IntN(240)), Loc: ny,
		Season: label.Span{From: day("2026-04-01"), To: day("2026-11-30")}, CycleStart: day("2026-05-10").AddDays(rng.IntN(120))}
	if rng.IntN(3) > 0 {
		for g, n := r.Date.AddDays(-between(rng, 30, 120)), between(rng, 1, 4); n > 0; n-- {
			r.Generations = append(r.Generations, g)
			g = g.AddDays(between(rng, 20, 60))
		}
	} else if rng.IntN(3) > 0 {
		long, known, end := between(rng, 5, 60), rng.IntN(5) > 0, r.Date.AddDays(between(rng, -40, 60))
		r.Lasts = func(from civil.Date) label.Lasting {
			last := from.AddDays(long - 1)
			if last.After(end) {
				last = civil.Date{}
			}
			return label.Lasting{Known: known, Sure: !last.IsZero(), Last: last}
		}
	}
	if rng.IntN(3) == 0 {
		r.FarmMinDays = rng.IntN(15)
	}
	if rng.IntN(2) == 0 {
		r.Amount = units.Of(float64(between(rng, 5, 80)), "g")
	}
	if rng.IntN(4) == 0 {
		r.Part, r.AreaM2 = "east half", 5
	}
	for i := range rng.IntN(7) {
		t := farm.Treatment{ID: int64(i + 1), Bed: []string{"B3", "B3", "B3", "B4"}[rng.IntN(4)], Label: []string{l.Key, l.Key, "other"}[rng.IntN(3)],
			Part: []string{"", "", "west half", "east half"}[rng.IntN(4)], Pest: "slug", AreaM2: 10, Amount: units.Of(float64(between(rng, 5, 40)), "g"),
			Date: r.Date.AddDays(between(rng, -250, 25))}
		if rng.IntN(2) == 0 {
			t.Date = r.Date.AddDays(between(rng, -20, 3))
		}
		if t.Part != "" {
			t.AreaM2 = 5
		}
		t.End = t.Date.In(ny).Add(time.Duration(6+rng.IntN(15)) * time.Hour)
		t.Start, t.EndKnown = t.End, true
		r.History = append(r.History, t)
	}
	return r
}

// slow judges an application on d the long way: it walks days one at a time
// and adds up grams, and shares no code with the package. It returns the
// broken rules.
func slow(r label.Request, d civil.Date) []string {
	l := r.Label
	var out []string
	say := func(bad bool, what string) {
		if bad && !slices.Contains(out, what) {
			out = append(out, what)
		}
	}
	meets := func(t farm.Treatment) bool {
		return t.Bed == "B3" && !(t.Part == "west half" && r.Part == "east half")
	}
	type dose struct{ own, g, active float64 } // g/m² of the product, of the active
	by := map[civil.Date]dose{}
	for _, t := range r.History {
		if !meets(t) {
			continue
		}
		g := t.Amount.Value / t.AreaM2
		x := by[t.Date]
		if t.Label == l.Key {
			x = dose{x.own + 1, x.g + g, x.active + g*l.Actives[0].Percent/100}
		} else {
			x.active += g * r.Labels["other"].Actives[0].Percent / 100
		}
		by[t.Date] = x
	}
	area := r.Bed.LengthM * r.Bed.WidthM
	if r.Part != "" {
		area = r.AreaM2
	}
	mine := 0.0
	switch {
	case !r.Amount.IsZero():
		mine = r.Amount.Value / area
		say(mine > l.RateMax.Value.Value+1e-9, "rate")
	case l.RateMin.Has():
		mine = l.RateMin.Value.Value
	}
	// Intervals: step away from d on both sides.
	need := max(l.MinIntervalDays.Value, r.FarmMinDays)
	for step := range need {
		say(by[d.AddDays(step)].own > 0 || by[d.AddDays(-step)].own > 0, "interval")
	}
	for _, t := range r.History {
		for _, k := range l.KeepApart {
			for step := range k.Days {
				say(meets(t) && t.Label == "other" && (t.Date == d.AddDays(step) || t.Date == d.AddDays(-step)), "apart")
			}
		}
	}
	type dated struct {
		day int
		dose
	}
	var list []dated
	for x, v := range by {
		list = append(list, dated{x.Sub(d), v})
	}
	within := func(from, to civil.Date) (sum dose) {
		lo, hi := from.Sub(d), to.Sub(d)
		for _, v := range list {
			if lo <= v.day && v.day <= hi {
				sum = dose{sum.own + v.own, sum.g + v.g, sum.active + v.active}
			}
		}
		return sum
	}
	if w := l.MaxInWindow; w.Has() {
		for back := range w.Value.Days {
			from := d.AddDays(-back)
			say(within(from, from.AddDays(w.Value.Days-1)).own+1 > float64(w.Value.Count), "window")
		}
	}
	busy := map[civil.Date]bool{}
	for x := range by {
		busy[x] = true
	}
	for _, m := range maximaOf(l) {
		spans, fault := slowSpans(r, m, d, busy)
		say(fault != "", fault)
		for _, span := range spans {
			s := within(span[0], span[1])
			switch {
			case m.Count > 0:
				say(s.own+1 > float64(m.Count), "count")
			case m.Active == "":
				most := m.Amount.Value
				say(s.g+mine > most*(1+1e-9) || s.g >= most*(1-1e-9), "amount")
			default:
				most := m.Amount.Value
				say(s.active+mine*l.Actives[0].Percent/100 > most*(1+1e-9) || s.active >= most*(1-1e-9), "active")
			}
		}
	}
	say(l.Expiry.Has() && d.After(l.Expiry.Value), "expired")
	// Re-entry: the bed must open before the day is over.
	for _, t := range r.History {
		if t.Bed != "B3" || t.Date.After(d) {
			continue
		}
		h := l.REIHours.Value
		if t.Label == "other" {
			h = r.Labels["other"].REIHours.Value
		}
		say(!t.End.Add(time.Duration(h*3600)*time.Second).Before(time.Date(d.Year, d.Month, d.Day+1, 0, 0, 0, 0, ny)), "closed")
	}
	return out
}

// afterwards holds the planned treatments after d to be work in a bed that
// the application would close.
func afterwards(r label.Request, d civil.Date) bool {
	open := time.Date(d.Year, d.Month, d.Day+1, 0, 0, 0, 0, ny).Add(time.Duration(r.Label.REIHours.Value*3600) * time.Second)
	for _, t := range r.History {
		if t.Bed == "B3" && t.Date.After(d) && t.Start.Before(open) {
			return true
		}
	}
	return false
}

func unknown(l farm.Label) bool {
	return !l.MinIntervalDays.Known() || !l.MaxApplications.Known() || !l.MaxInWindow.Known() || !l.MaxAmount.Known() || !l.REIHours.Known() || !l.Expiry.Known() || !l.MoreMaxima.Known()
}

// No allowed day breaks a rule, no refused day is one that all rules allow,
// and Earliest is the first day that the slow judge lets pass.
func TestPlan_SlowJudge(t *testing.T) {
	rng := rand.New(rand.NewPCG(20260501, 7))
	counts := map[string]int{}
	for i := range cases {
		r := random(rng)
		d := label.Plan(r)
		where := fmt.Sprintf("case %d: %+v\n%+v", i, r, d)
		if unknown(r.Label) || len(label.Contradictions(r.Label)) > 0 {
			require.False(t, d.Allowed, where)
			require.True(t, d.Earliest.IsZero(), where)
			counts["unknown or contradicting"]++
			continue
		}
		broken := slow(r, r.Date)
		if afterwards(r, r.Date) {
			broken = append(broken, "work")
		}
		require.Equal(t, len(broken) == 0, d.Allowed, "%v\n%s", broken, where)
		for _, b := range broken {
			counts[b]++
		}
		if d.Allowed {
			counts["allowed"]++
		}
		if slices.Contains(broken, "rate") {
			continue // no waiting mends a rate
		}
		var first civil.Date
		look := 500 // long enough for every window above to empty
		if !d.Earliest.IsZero() {
			look = d.Earliest.Sub(r.Date) + 1
		}
		for n := range look {
			if x := r.Date.AddDays(n); len(slow(r, x)) == 0 {
				first = x
				break
			}
		}
		require.Equal(t, first, d.Earliest, where)
		if d.Allowed && !d.AmountMax.IsZero() { // the amount shown keeps within every maximum
			q := r
			q.Amount = d.AmountMax
			require.Empty(t, slow(q, r.Date), where)
		}
	}
	t.Log(counts)
	for _, what := range []string{"allowed", "interval", "apart", "window", "count", "amount", "active", "rate", "season", "cycle", "generation", "expired", "closed", "work"} {
		require.Greater(t, counts[what], 20, "%s is hardly tried", what)
	}
}

// A later history never makes an earlier day allowed that was refused, and
// neither does a stricter farm rule.
func TestPlan_NeverLoosens(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for i := range cases / 2 {
		r := random(rng)
		before := label.Plan(r)
		extra := random(rng).History
		q := r
		q.History = append(slices.Clone(r.History), extra...)
		q.FarmMinDays += rng.IntN(5)
		q.Label.ReapplyWhen = farm.Value("eaten, or after heavy rain")
		if label.Plan(q).Allowed {
			require.True(t, before.Allowed, "case %d", i)
		}
		if after := label.Plan(q); !before.Earliest.IsZero() && !after.Earliest.IsZero() {
			require.False(t, after.Earliest.Before(before.Earliest), "case %d", i)
		}
	}
}

// The re-entry end is never before the end plus the hours of any of the
// treatments, and equals one of them.
func TestReentry_Longest(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 2))
	for range 1000 {
		labels, ends := map[string]farm.Label{}, []time.Time{}
		var ts []farm.Treatment
		for i := range between(rng, 1, 5) {
			l := bait()
			l.Key = fmt.Sprint("p", i)
			h := rng.IntN(60)
			l.REIHours = farm.Value(float64(h))
			labels[l.Key] = l
			end := at("2026-10-30T00:00:00Z").Add(time.Duration(rng.IntN(80)) * time.Hour) // over the autumn clock change
			ts = append(ts, ended(l.Key, end))
			ends = append(ends, end.Add(time.Duration(h)*time.Hour))
		}
		o := open(ends[0], labels, ts...)
		require.True(t, o.Known)
		require.True(t, slices.MaxFunc(ends, time.Time.Compare).Equal(o.At))
	}
}

// The request and its history are left as they were.
func TestPlan_ChangesNothing(t *testing.T) {
	a, b := random(rand.New(rand.NewPCG(5, 5))), random(rand.New(rand.NewPCG(5, 5)))
	first := label.Plan(a)
	require.Equal(t, b, a)
	require.Equal(t, first, label.Plan(a))
}
