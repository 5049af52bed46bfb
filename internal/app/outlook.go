package app

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/belief"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/climate"
	"leafturn/internal/degreeday"
	"leafturn/internal/effect"
	"leafturn/internal/farm"
	"leafturn/internal/forecast"
	"leafturn/internal/growth"
	"leafturn/internal/phenology"
	"leafturn/internal/trend"
	"leafturn/internal/week"
)

// How far the temperatures of a day may lie from those that a forecast or a
// usual day gives, °C, and the weather that is laid out before a day: the
// window of a trend, and the days that a count may be old. Common practice.
const (
	foreseenSD = 1.5
	usualSD    = 3.0
	filledSD   = 1.0
	outlookLay = 7*trendWeeks + forecast.MostDays + 5
)

// earlierRelease is how many days before a count natural enemies were let out
// that are taken to be there still where the count did not look for them.
// Common practice.
const earlierRelease = 14

// hunter is what the catalogue knows of a natural enemy's appetite and growth.
type hunter struct {
	key, name      string
	eats, breeds   growth.Curve
	low, high      float64
	growth, hunger catalog.GrowthCurve
	checkDays      []int
	successPct     *float64
}

// outlooks makes the forecasts of a pest's beds from what was known on a day.
type outlooks struct {
	a       *App
	s       snapshot
	w       yearDays
	pest    catalog.Pest
	curve   catalog.GrowthCurve
	rate    growth.Curve
	hunters []hunter
	own     []effect.Own
	steps   []effect.Step
	days    int // past the snapshot's day
	paths   int
	seed    uint64
	fill    bool
	series  climate.Series
	place   phenology.Place
	starts  map[civil.Date]*startDay
}

// startDay is what the beds counted on one day share.
type startDay struct {
	day   civil.Date
	f     *forecast.Forecaster
	table *forecast.Table
	used  []climate.Day // from the day on
	rest  civil.Date    // first day of the pest's winter rest; zero for none
	gap   civil.Date    // first day without weather; zero for none
	hot   civil.Date    // first day hotter than the published rates go; zero for none
	why   string        // no forecast
}

func curveOf(c catalog.GrowthCurve) growth.Curve {
	out := growth.Curve{End: c.EndC}
	for _, p := range c.Points {
		out.Temp, out.Rate = append(out.Temp, p.TempC), append(out.Rate, p.Value)
	}
	return out
}

// outlooksOf prepares the forecasts of a pest; ok is false where no published
// rate supports one.
func (a *App) outlooksOf(ctx context.Context, s snapshot, p catalog.Pest, days, paths int, seed uint64, fill bool) (o *outlooks, ok bool, err error) {
	curve, ok := a.cat.GrowthCurve(p.Key, catalog.Increase)
	if !ok {
		return nil, false, nil
	}
	o = &outlooks{a: a, s: s, pest: p, curve: curve, rate: curveOf(curve), days: days, paths: paths, seed: seed, fill: fill, starts: map[civil.Date]*startDay{}}
	for _, g := range a.cat.Agents(p.Key) {
		breeds, ok1 := a.cat.GrowthCurve(g.Key, catalog.Increase)
		eats, ok2 := a.cat.GrowthCurve(g.Key, catalog.Appetite)
		if ok1 && ok2 {
			o.hunters = append(o.hunters, hunter{g.Key, g.Latin, curveOf(eats), curveOf(breeds), eats.Low, eats.High, breeds, eats, g.CheckDays, g.SuccessPct})
		}
	}
	if o.w, err = a.weatherOn(ctx, s.on); err != nil {
		return nil, true, err
	}
	results, err := a.effects(s, p)
	if err != nil {
		return nil, true, err
	}
	o.own, o.steps = effect.Pool(results), a.effectSteps(s, p.Key)
	if o.series, err = o.w.lay(s.on.AddDays(-outlookLay), s.on.AddDays(forecast.MostDays+1), fill); err != nil {
		return nil, true, err
	}
	o.place = phenology.Place{Series: o.series, DayHours: a.dayHours, WindMS: math.NaN()}
	return o, true, nil
}

func (o *outlooks) hunter(key string) (hunter, bool) {
	i := slices.IndexFunc(o.hunters, func(h hunter) bool { return h.key == key })
	if i < 0 {
		return hunter{}, false
	}
	return o.hunters[i], true
}

// slowest is the natural enemy that breeds slowest at 20 °C: the one that
// natural enemies of an unknown kind are taken for.
func (o *outlooks) slowest() (hunter, bool) {
	if len(o.hunters) == 0 {
		return hunter{}, false
	}
	return slices.MinFunc(o.hunters, func(x, y hunter) int {
		a, _ := x.breeds.At(20)
		b, _ := y.breeds.At(20)
		return cmp.Compare(a, b)
	}), true
}

// start is what beds counted on a day share.
func (o *outlooks) start(from civil.Date) (*startDay, error) {
	if d := o.starts[from]; d != nil {
		return d, nil
	}
	d := &startDay{day: from}
	o.starts[from] = d
	age := o.s.on.Sub(from)
	n := min(age+o.days, forecast.MostDays)
	if age >= forecast.MostDays {
		d.why = fmt.Sprintf("the last count is %d days old, and no count tells more than %d days: scout again", age, forecast.MostDays)
		return d, nil
	}
	var weather []forecast.Weather
	for i := range n {
		day, ok := o.series.At(from.AddDays(i))
		if !ok || !day.Known() {
			d.gap = from.AddDays(i)
			break
		}
		if _, err := o.rate.Day(degreeday.Day{Min: day.Min, Max: day.Max, NextMin: math.NaN()}); errors.Is(err, growth.ErrHot) {
			d.hot = from.AddDays(i)
			break
		}
		w := forecast.Weather{Min: day.Min, Max: day.Max}
		switch day.Kind {
		case climate.Filled:
			w.SD = filledSD
		case climate.Forecast:
			w.SD = foreseenSD
		case climate.Normal:
			if w.SD = day.Spread; w.SD == 0 {
				w.SD = usualSD
			}
		}
		d.used, weather = append(d.used, day), append(weather, w)
	}
	if slices.ContainsFunc(o.a.cat.Limits(o.pest.Key), func(l catalog.Limit) bool { return l.Key == "mite_rest_hours" }) {
		for i, g := range phenology.Nights(o.place, o.a.gateLimits(), from, len(d.used)) {
			if g.Rest == growth.Yes {
				d.rest, d.gap, d.hot = from.AddDays(i), civil.Date{}, civil.Date{}
				d.used, weather = d.used[:i], weather[:i]
				break
			}
		}
	}
	if len(d.used) <= age {
		switch {
		case !d.rest.IsZero():
			d.why = fmt.Sprintf("%s go to their winter rest from %s on: no growth is told, and releases stop", o.pest.Name, d.rest.Short())
		case !d.hot.IsZero():
			d.why = fmt.Sprintf("%s: count again once it is cooler", o.hotWords(d.hot))
		default:
			what, do := o.w.gap(d.gap, civil.Date{}, o.fill)
			d.why = what + ": " + do
		}
		return d, nil
	}
	var err error
	if d.f, err = forecast.New(forecast.Setup{Days: len(d.used), Paths: o.paths, Seed: o.seed, Weather: weather}); err != nil {
		return nil, err
	}
	d.table, err = d.f.Table(o.rate, o.curve.Low, o.curve.High)
	return d, err
}

// hotWords says why no growth is told from a day on.
func (o *outlooks) hotWords(day civil.Date) string {
	was := "is to be"
	if !day.After(o.s.on) {
		was = "was"
	}
	return fmt.Sprintf("on %s it %s hotter than %s, where the published rates end", day.Short(), was, tempUnits(o.a.farm.Units).temp(o.curve.EndC))
}

// outlook is one bed, or one hot spot of it, ready to be worked out.
type outlook struct {
	x         *assess.Assessment
	r         *assess.Reading
	start     *startDay
	bed       forecast.Bed
	recorded  []forecast.Step // since the count, as far as they can be reckoned with
	own       *trend.Rate     // the bed's own growth, nil for none
	base      float64         // the table's rate over the same days; 0 is not known
	predators float64         // for each unit on the day of the count
	words     []string
	why       string // no forecast
	upper     float64
}

// startOf is the reading that a bed's forecast starts from: the deciding one, or
// where that is not valid the last valid one before it.
func startOf(x *assess.Assessment) *assess.Reading {
	if x.Decider == nil || x.Decider.Valid() {
		return x.Decider
	}
	for i := len(x.Readings) - 1; i >= 0; i-- {
		if r := &x.Readings[i]; r.Valid() && r.Unit.Measure == x.Decider.Unit.Measure && x.Today.Sub(r.Visit.Date) < forecast.MostDays {
			return r
		}
	}
	return x.Decider
}

// outlook prepares the forecast from a reading of a bed: that of startOf, or of
// a hot spot.
func (o *outlooks) outlook(x *assess.Assessment, r *assess.Reading) (out outlook, err error) {
	out = outlook{x: x, r: r, upper: math.NaN()}
	switch {
	case r == nil:
		out.why = "never counted this season"
		return out, nil
	case x.Stage == farm.Dug:
		out.why = "its plants are dug"
		return out, nil
	case !r.Valid():
		out.why = "the last count is not valid: " + r.Invalid[0]
		return out, nil
	}
	b, err := r.Believed()
	if err != nil {
		return out, err
	}
	if b == nil {
		out.why = "nothing may be believed from the last count"
		return out, nil
	}
	if out.start, err = o.start(r.Visit.Date); err != nil {
		return out, err
	}
	read := b.Read()
	if r.Found() == 0 {
		out.upper = r.InMeasure(forecast.Upper(read))
		out.why = fmt.Sprintf("none were found on %d %s; the truth is likely below %s %s", r.N, assess.Plural(r.Unit.Label, r.N), week.Number(out.upper), r.Unit.Words)
		return out, nil
	}
	if out.start.why != "" {
		out.why = out.start.why
		return out, nil
	}
	out.bed = forecast.Bed{Start: read, Cap: o.curve.Cap, Growth: forecast.Growth{Table: out.start.table, Noise: belief.UnknownGrowth().Noise}}
	if l := x.Decider.Act; l != nil && l.Operator != "none" && l.Value > 0 && r.Unit.Measure == x.Decider.Unit.Measure {
		out.bed.Threshold = r.DensityOf(l.Value)
	}
	if r.Visit.Stratum != farm.HotSpot {
		if err := o.ownGrowth(&out); err != nil {
			return out, err
		}
		if d := x.Decider; r != d {
			out.words = append(out.words, fmt.Sprintf("the count of %s is not valid (%s): it starts from that of %s", d.Visit.Date.Short(), d.Invalid[0], r.Visit.Date.Short()))
		}
	}
	o.record(&out)
	return out, nil
}

// ownGrowth reads the bed's own growth off its counts since the last step.
func (o *outlooks) ownGrowth(out *outlook) error {
	visits := trendVisits(*out.x)
	var since civil.Date
	for _, s := range o.steps {
		if slices.Contains(s.Beds, out.x.Bed.Code) && s.Date.Before(out.r.Visit.Date) && s.Date.After(since) {
			since = s.Date
		}
	}
	if !since.IsZero() { // growth is read from one side of a step
		visits = slices.DeleteFunc(visits, func(v trend.Visit) bool { return !v.Date.After(since) })
	}
	rate, err := trend.Growth(visits, out.r.Unit.TrendClump())
	switch {
	case errors.Is(err, trend.ErrNoSlope), errors.Is(err, trend.ErrNoClumping), err != nil && len(visits) < 2:
		return nil
	case err != nil:
		return fmt.Errorf("the growth of %s in %s: %w", o.pest.Name, out.x.Bed.Code, err)
	case !tellsGrowth(rate):
		return nil
	}
	out.own = &rate
	n, sum := 0, 0.0
	for d := rate.First; d.Before(rate.Last); d = d.AddDays(1) {
		day, ok := o.series.At(d)
		if !ok || !day.Known() {
			continue
		}
		r, err := o.rate.Day(degreeday.Day{Min: day.Min, Max: day.Max, NextMin: math.NaN()})
		if errors.Is(err, growth.ErrHot) {
			continue
		}
		if err != nil {
			return err
		}
		n, sum = n+1, sum+r
	}
	// Most of the days must be known; colder than this the table says nothing.
	if 10*n >= 8*rate.Last.Sub(rate.First) && n > 0 {
		out.base = math.Max(sum/float64(n), 0.02)
	}
	own := forecast.Field(forecast.Rate{Rate: rate.PerDay, SD: math.Min(rate.SD, 5), Base: out.base})
	out.bed.Growth.Own = &own
	return nil
}

// Counts tell growth where the first and the last are four days apart or more;
// two alone also at most fourteen (common practice; growth.Observed).
const (
	ownFrom = 4
	twoUpTo = 14
)

func tellsGrowth(r trend.Rate) bool {
	span := r.Last.Sub(r.First)
	return span >= ownFrom && (!r.Rough || span <= twoUpTo)
}

// record adds what was done since the count, and the natural enemies that were
// there on it.
func (o *outlooks) record(out *outlook) {
	x, from := out.x, out.r.Visit.Date
	say := func(format string, args ...any) { out.words = append(out.words, fmt.Sprintf(format, args...)) }
	for _, s := range o.steps {
		if !slices.Contains(s.Beds, x.Bed.Code) || s.Date.Before(from) || s.Date.After(o.s.on) || strings.HasPrefix(s.Key, "agent:") {
			continue
		}
		t, ok := o.measured(s.Key)
		if !ok {
			say("%s of %s is not in it: what it does here is not known yet, count after it", s.Name, s.Date.Short())
			continue
		}
		out.recorded = append(out.recorded, forecast.Step{Day: s.Date.Sub(from), Treatment: &t})
		say("%s of %s is in it with what it did here: %s", s.Name, s.Date.Short(), o.ownWords(s.Key))
	}
	counted := false
	for _, e := range x.Pest.Enemies {
		n, looked := out.r.Visit.EnemyTotal(e.Enemy)
		if !looked || e.Kind != "prey_per_enemy" {
			continue
		}
		counted = true
		h, ok := o.letOut(x.Bed.Code, from)
		if !ok {
			h, ok = o.slowest()
		}
		if n == 0 || !ok {
			continue
		}
		out.predators = float64(n) / float64(max(out.r.N, 1))
		if out.own != nil { // they were at work while it grew so
			say("the %s counted with them (%d) are in it through the bed's own growth", e.Name, n)
			continue
		}
		out.recorded = append(out.recorded, h.there(0, out.predators))
		say("the %s counted with them (%d) are in it, taken for %s", e.Name, n, h.name)
	}
	leaves := float64(x.Bed.LeavesPerPlant * x.Bed.Plants)
	for _, r := range o.s.releases {
		if r.Bed != x.Bed.Code || r.Pest != o.pest.Key || r.Date.After(o.s.on) || from.Sub(r.Date) > earlierRelease || r.Date.Before(from) && (counted || out.own != nil) {
			continue
		}
		h, ok := o.hunter(r.Agent)
		switch {
		case !ok:
			say("the release of %s on %s is not in it: no published appetite is known", r.Agent, r.Date.Short())
		case leaves == 0:
			say("the release of %s on %s is not in it: how many there are to a leaf takes the bed's leaves a plant (`leafturn bed set %s --leaves N`)", h.name, r.Date.Short(), x.Bed.Code)
		default:
			settled, failed, seen := week.Settled(r, o.s.releases, o.s.done, o.s.on, h.checkDays, h.successPct)
			if failed {
				say("the release of %s on %s is not in it: it has not settled (%s)", h.name, r.Date.Short(), seen)
				continue
			}
			per := r.Amount / leaves
			step, words := h.step(max(r.Date.Sub(from), 0), per), ""
			if settled {
				step.Release.Fails, words = 0, "; it has settled ("+seen+")"
			}
			out.recorded = append(out.recorded, step)
			if r.Date.Before(from) {
				out.predators += per
			}
			say("the release of %s on %s is in it: %s to a leaf%s", h.name, r.Date.Short(), week.Number(per), words)
		}
	}
}

// letOut is the natural enemy that was last let out in a bed before a day.
func (o *outlooks) letOut(bed string, before civil.Date) (h hunter, ok bool) {
	var last civil.Date
	for _, r := range o.s.releases {
		if x, known := o.hunter(r.Agent); known && r.Bed == bed && r.Pest == o.pest.Key && !r.Date.After(before) && !r.Date.Before(last) {
			h, ok, last = x, true, r.Date
		}
	}
	return h, ok
}

// failsToSettle is the chance that natural enemies leave or die where they are
// let out. Common practice.
const failsToSettle = 0.1

// step is so many of them let out on a day.
func (h hunter) step(day int, perUnit float64) forecast.Step {
	s := h.there(day, perUnit)
	s.Release.Fails = failsToSettle
	return s
}

// there is so many of them that were seen on the leaves.
func (h hunter) there(day int, perUnit float64) forecast.Step {
	return forecast.Step{Day: day, Release: &forecast.Release{Predators: math.Min(math.Max(perUnit, 1e-6), 1e6), Share: 1, Appetite: h.eats, Increase: h.breeds, Low: h.low, High: h.high}}
}

// measured is what a step does by the farm's own results.
func (o *outlooks) measured(key string) (forecast.Treatment, bool) {
	i := slices.IndexFunc(o.own, func(x effect.Own) bool { return x.Key == key })
	if i < 0 {
		return forecast.Treatment{}, false
	}
	t, err := forecast.Measured(o.own[i].Percent, o.own[i].Low, o.own[i].High)
	return t, err == nil
}

func (o *outlooks) ownWords(key string) string {
	i := slices.IndexFunc(o.own, func(x effect.Own) bool { return x.Key == key })
	return o.own[i].Words()
}

// with is the recorded steps and one more.
func (out outlook) with(name string, steps ...forecast.Step) forecast.Alternative {
	all := append(slices.Clone(out.recorded), steps...)
	slices.SortStableFunc(all, func(a, b forecast.Step) int { return a.Day - b.Day })
	return forecast.Alternative{Name: name, Steps: all}
}
