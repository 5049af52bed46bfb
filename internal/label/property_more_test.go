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

// moreMaxima makes up to three further maxima of every kind.
func moreMaxima(rng *rand.Rand) farm.Stated[[]farm.Maximum] {
	return maybe(rng, func() (out []farm.Maximum) {
		for range between(rng, 1, 3) {
			m := farm.Maximum{Per: farm.MaxPers[rng.IntN(len(farm.MaxPers))]}
			if rng.IntN(2) == 0 {
				m.Per, m.Days = "", between(rng, 1, 90)
			}
			switch rng.IntN(3) {
			case 0:
				m.Count = between(rng, 1, 4)
			case 1:
				m.Amount = units.Of(float64(between(rng, 3, 20)), "g/m2")
			default:
				m.Amount, m.Active = units.Of(float64(between(rng, 10, 50))/100, "g/m2"), "ferric phosphate"
			}
			out = append(out, m)
		}
		return out
	})
}

func yearSpan(rng *rand.Rand) farm.YearSpan {
	day := func() civil.MonthDay {
		return civil.MonthDay{Month: time.Month(between(rng, 1, 12)), Day: between(rng, 1, 28)}
	}
	return farm.YearSpan{From: day(), To: day()}
}

// maximaOf lists every maximum of a label with what it is counted over.
func maximaOf(l farm.Label) []farm.Maximum {
	var out []farm.Maximum
	if l.MaxApplications.Has() {
		out = append(out, farm.Maximum{Count: l.MaxApplications.Value, Per: l.MaxPer})
	}
	if l.MaxAmount.Has() {
		out = append(out, farm.Maximum{Amount: l.MaxAmount.Value, Per: l.MaxPer})
	}
	if l.Actives[0].Max.Has() {
		out = append(out, farm.Maximum{Amount: l.Actives[0].Max.Value, Active: "ferric phosphate", Per: l.MaxPer})
	}
	return append(out, l.MoreMaxima.Value...)
}

// slowSpans returns the spans that hold d and over which a maximum is
// counted, day by day, and what is wrong with the day itself. Spans that begin
// on a day without an application hold no more than one that begins later.
func slowSpans(r label.Request, m farm.Maximum, d civil.Date, busy map[civil.Date]bool) (out [][2]civil.Date, fault string) {
	moving := func(longest int, last func(civil.Date) civil.Date) {
		for back := range longest {
			from := d.AddDays(-back)
			if (back == 0 || busy[from]) && !last(from).Before(d) {
				out = append(out, [2]civil.Date{from, last(from)})
			}
		}
	}
	twelve := func(from civil.Date) civil.Date { return civil.New(from.Year+1, from.Month, from.Day).AddDays(-1) }
	year := [2]civil.Date{civil.New(d.Year, 1, 1), civil.New(d.Year, 12, 31)}
	switch m.Per {
	case "":
		moving(m.Days, func(from civil.Date) civil.Date { return from.AddDays(m.Days - 1) })
	case farm.PerCalendarYear:
		out = append(out, year)
	case farm.PerYear:
		out = append(out, year)
		moving(367, twelve)
	case farm.PerTwelveMonths:
		moving(367, twelve)
	case farm.PerNone:
		out = append(out, [2]civil.Date{d.AddDays(-5000), d.AddDays(5000)})
	case farm.PerCropCycle:
		if d.Before(r.CycleStart) {
			return nil, "cycle"
		}
		out = append(out, [2]civil.Date{r.CycleStart, r.CycleStart.AddDays(5000)})
	case farm.PerGeneration:
		if len(r.Generations) == 0 && r.Lasts != nil { // every one that could hold d, whatever day it began
			for back := range 700 {
				from := d.AddDays(-back)
				switch g := r.Lasts(from); {
				case !g.Known:
					return nil, "generation"
				case g.Last.IsZero():
					out = append(out, [2]civil.Date{from, d.AddDays(5000)})
				case !g.Last.Before(d):
					out = append(out, [2]civil.Date{from, g.Last})
				}
			}
			return out, ""
		}
		if len(r.Generations) == 0 || d.Before(r.Generations[0]) {
			return nil, "generation"
		}
		at := d
		for n := 0; !slices.Contains(r.Generations, at); n, at = n+1, at.AddDays(-1) {
			if n > 2000 {
				return nil, "generation"
			}
		}
		to := d
		for last := slices.MaxFunc(r.Generations, civil.Date.Compare); !slices.Contains(r.Generations, to.AddDays(1)); to = to.AddDays(1) {
			if to.After(last) {
				to = to.AddDays(5000)
				break
			}
		}
		out = append(out, [2]civil.Date{at, to})
	default:
		if !r.Label.Season.Has() {
			if d.Before(r.Season.From) || d.After(r.Season.To) {
				return nil, "season"
			}
			return append(out, [2]civil.Date{r.Season.From, r.Season.To}), ""
		}
		in := func(x civil.Date) bool {
			n, a, b := 100*int(x.Month)+x.Day, r.Label.Season.Value.From, r.Label.Season.Value.To
			lo, hi := 100*int(a.Month)+a.Day, 100*int(b.Month)+b.Day
			if lo <= hi {
				return lo <= n && n <= hi
			}
			return n >= lo || n <= hi
		}
		begins := func(x civil.Date) bool {
			return x.Month == r.Label.Season.Value.From.Month && x.Day == r.Label.Season.Value.From.Day
		}
		if !in(d) {
			return nil, "season"
		}
		from, to := d, d
		for !begins(from) {
			from = from.AddDays(-1)
		}
		for in(to.AddDays(1)) && !begins(to.AddDays(1)) {
			to = to.AddDays(1)
		}
		out = append(out, [2]civil.Date{from, to})
	}
	return out, ""
}

// sprayCase is an invented spray, in water, with an hour, weather and
// planting.
func sprayCase(rng *rand.Rand) label.Request {
	l := spray("invented", "soap")
	l.RateMin = maybe(rng, func() units.Quantity { return units.Of(float64(between(rng, 1, 10)), "mL/L") })
	l.RateMax = farm.Value(units.Of(float64(between(rng, 10, 30)), "mL/L"))
	l.SprayMin = maybe(rng, func() units.Quantity { return units.Of(float64(between(rng, 100, 400)), "L/ha") })
	l.SprayMax = maybe(rng, func() units.Quantity { return units.Of(float64(between(rng, 400, 900)), "L/ha") })
	l.MinWindMS = maybe(rng, func() float64 { return float64(rng.IntN(3)) })
	l.MaxWindMS = maybe(rng, func() float64 { return float64(between(rng, 3, 6)) })
	l.MinTempC = maybe(rng, func() float64 { return float64(between(rng, 0, 12)) })
	l.MaxTempC = maybe(rng, func() float64 { return float64(between(rng, 20, 32)) })
	l.PlantBack = maybe(rng, func() int { return rng.IntN(60) })
	l.Hours = maybe(rng, func() []farm.ClockSpan {
		a := between(rng, 0, 600)
		b := between(rng, a+60, 1000)
		c := between(rng, b, 1300)
		return []farm.ClockSpan{{From: a, To: b}, {From: c, To: 1440}}
	})
	if rng.IntN(4) == 0 {
		l.Printed = []farm.Printed{{Field: "time_of_day", Text: "should be applied in these hours", Advises: true}}
	}
	r := label.Request{Label: l, Bed: farm.Bed{Code: "B3", LengthM: 10, WidthM: 1, Site: farm.Outdoor}, Pest: "slug",
		Date: day("2026-06-01").AddDays(rng.IntN(60)), Loc: ny, Season: label.Span{From: day("2026-01-01"), To: day("2026-12-31")}, Applying: rng.IntN(2) == 0}
	if rng.IntN(4) > 0 {
		r.Start = r.Date.In(ny).Add(time.Duration(rng.IntN(22*60)) * time.Minute)
		r.End = r.Start.Add(time.Duration(between(rng, 1, 90)) * time.Minute)
	}
	some := func(lo, hi int) *float64 {
		if rng.IntN(4) == 0 {
			return nil
		}
		v := float64(between(rng, lo, hi))
		return &v
	}
	r.WindMS, r.TempC = some(0, 8), some(-2, 36)
	if rng.IntN(4) > 0 {
		r.SprayVolume = units.Of(float64(between(rng, 50, 1000)), "L/ha")
	}
	if rng.IntN(2) == 0 {
		r.Amount = units.Of(float64(between(rng, 1, 30)), "mL")
	}
	if rng.IntN(2) == 0 {
		r.Work = []label.Work{{What: "planting", Date: r.Date.AddDays(rng.IntN(70)), Plants: true}}
	}
	return r
}

// slowSpray judges a sprayCase the long way, in litres, metres and minutes.
func slowSpray(r label.Request) (broken []string, blank bool) {
	say := func(bad bool, what string) {
		if bad {
			broken = append(broken, what)
		}
	}
	l := r.Label
	day := r.Date
	if !r.End.IsZero() {
		day = civil.DateIn(r.End, ny)
	}
	blank = l.SprayMin.State == "" || l.SprayMax.State == "" || l.MinWindMS.State == "" || l.MaxWindMS.State == "" ||
		l.MinTempC.State == "" || l.MaxTempC.State == ""
	if v := r.SprayVolume.Value; !r.SprayVolume.IsZero() {
		say(l.SprayMin.Has() && v < l.SprayMin.Value.Value, "spray volume")
		say(l.SprayMax.Has() && v > l.SprayMax.Value.Value, "spray volume")
	}
	volume := r.SprayVolume.Value / 10000 * 10 // litres on 10 m²
	if r.SprayVolume.IsZero() {
		volume = l.SprayMax.Value.Value / 10000 * 10
	}
	if volume == 0 {
		blank = true // no amount without it
	} else if !r.Amount.IsZero() {
		say(r.Amount.Value > volume*l.RateMax.Value.Value*(1+1e-9), "rate above maximum")
	}
	switch w := r.WindMS; {
	case w == nil:
		say(r.Applying && (l.MinWindMS.Has() || l.MaxWindMS.Has()), "wind")
	default:
		say(l.MaxWindMS.Has() && *w > l.MaxWindMS.Value || l.MinWindMS.Has() && *w < l.MinWindMS.Value, "wind")
	}
	switch c := r.TempC; {
	case c == nil:
		say(r.Applying && (l.MinTempC.Has() || l.MaxTempC.Has()), "temperature")
	default:
		say(l.MaxTempC.Has() && *c > l.MaxTempC.Value || l.MinTempC.Has() && *c < l.MinTempC.Value, "temperature")
	}
	if l.Hours.Has() && len(l.Printed) == 0 && !r.End.IsZero() {
		open := map[string]bool{} // minutes of the day
		for _, s := range l.Hours.Value {
			for m := s.From; m < s.To; m++ {
				open[fmt.Sprintf("%02d:%02d", m/60, m%60)] = true
			}
		}
		for t := r.Start; t.Before(r.End); t = t.Add(time.Minute) {
			if !open[t.In(ny).Format("15:04")] {
				say(true, "time of day")
				break
			}
		}
	}
	for _, w := range r.Work {
		if w.Date.Before(day) {
			continue
		}
		if w.Date == day { // the order of a day without hours is a condition
			continue
		}
		blank = blank || l.PlantBack.State == ""
		say(l.PlantBack.Has() && w.Date.Sub(day) < l.PlantBack.Value, "planting-back interval")
	}
	return broken, blank
}

// What limits a spray is judged as the slow judge does it.
func TestPlan_SlowSpray(t *testing.T) {
	rng := rand.New(rand.NewPCG(20260502, 9))
	counts := map[string]int{}
	for i := range 2 * cases {
		r := sprayCase(rng)
		if len(label.Contradictions(r.Label)) > 0 {
			continue
		}
		d := label.Plan(r)
		want, blank := slowSpray(r)
		where := fmt.Sprintf("case %d: %+v\n%+v", i, r, d)
		if blank {
			require.True(t, d.Has(label.CodeUnknown), where)
			counts["blank"]++
			continue
		}
		slices.Sort(want)
		var got []string
		for _, x := range d.Refusals {
			got = append(got, x.Code)
		}
		slices.Sort(got)
		require.Equal(t, slices.Compact(want), slices.Compact(got), where)
		for _, w := range want {
			counts[w]++
		}
		if d.Allowed {
			counts["allowed"]++
		}
		if d.Allowed && !d.AmountMax.IsZero() && !r.SprayVolume.IsZero() {
			q := r
			q.Amount = d.AmountMax
			broken, _ := slowSpray(q)
			require.Empty(t, broken, where)
		}
	}
	t.Log(counts)
	for _, what := range []string{"blank", "allowed", "spray volume", "rate above maximum", "wind", "temperature", "time of day", "planting-back interval"} {
		require.Greater(t, counts[what], 20, "%s is hardly tried", what)
	}
}
