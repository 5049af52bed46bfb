package app

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/climate"
	"leafturn/internal/diag"
	"leafturn/internal/forecast"
	"leafturn/internal/report"
	"leafturn/internal/week"
)

// ForecastOptions are the words of `forecast`; empty is "not given".
type ForecastOptions struct {
	Pest, Bed, Days, Seed string
	Fill, Past            bool
	Draw                  string // file of the picture of a bed
}

// Forecast says what could come of a pest in the next days: densities for at
// most two weeks, and after that its stages; of pests whose growth no published
// rate supports the nights and days that suit them. For one bed it also says
// what each thing that could be done now leads to.
func (a *App) Forecast(ctx context.Context, o ForecastOptions, today civil.Date) (*report.Document, error) {
	if today.After(a.Today()) {
		return nil, a.future("--date", today)
	}
	if err := checkDraw(o.Draw); err != nil {
		return nil, err
	}
	if o.Past {
		return a.forecastPast(ctx, o, today)
	}
	p, bed, days, seed, err := a.forecastPlan(o)
	if err != nil {
		return nil, err
	}
	s, err := a.snapshot(ctx, today)
	if err != nil {
		return nil, err
	}
	var all []assess.Assessment
	if slices.Contains(a.watched(s), p.Key) {
		if all, err = a.assessmentsOf(s, []string{p.Key}, true); err != nil {
			return nil, err
		}
	}
	in, err := a.weekFacts(s, all)
	if err != nil {
		return nil, err
	}
	var mine []*assess.Assessment
	for i := range in.Assessments {
		if x := &in.Assessments[i]; bed == "" || x.Bed.Code == bed {
			mine = append(mine, x)
		}
	}
	if len(mine) == 0 { // not watched and never counted
		return nil, diag.Failf(nil, "count some first: `leafturn count`, or watch them: `leafturn farm set --pests`", "%s are not watched here and were not counted this season", p.Name)
	}
	d := ForecastData{Pest: p.Key, From: today, To: today.AddDays(days), Seed: seed, Rates: []ForecastRate{}, Beds: []ForecastBed{}, Actions: []ForecastGroup{},
		Nights: []NightData{}, Clocks: []ClockData{}, Words: []string{}}
	outlooks, ok, err := a.outlooksOf(ctx, s, p, min(days, forecast.MostDays), forecast.UsualPath, seed, o.Fill)
	if err != nil {
		return nil, err
	}
	if ok {
		d.Density, d.Paths, d.Low, d.High, d.UsualFrom = true, outlooks.paths, &outlooks.curve.Low, &outlooks.curve.High, outlooks.w.normals.Source
		for _, r := range outlooks.curve.Points {
			d.Rates = append(d.Rates, ForecastRate{r.TempC, r.Value, basisOf(r.Provenance)})
		}
		err = a.forecastBeds(&d, outlooks, mine, in, bed != "")
	} else {
		if d.Why = "what is counted are signs on plants, not animals that breed"; p.Kind != "disease" {
			d.Why = fmt.Sprintf("no published rate supports one for %s, as arrival from outside, or a life of years, outweighs growth", p.Name)
		}
		d.Actions = forecastActions(in, mine)
	}
	if err != nil {
		return nil, err
	}
	if err := a.forecastClocks(ctx, &d, p, s, o.Fill, !ok, days > forecast.MostDays); err != nil {
		return nil, err
	}
	doc := a.forecastDocument(d, p, outlooks, bed)
	if o.Draw == "" {
		return doc, nil
	}
	next, err := a.nextFor(ctx, s, p.Key, all)
	if err != nil {
		return nil, err
	}
	return doc, a.drawForecast(doc, p, d, mine, next, o.Draw)
}

// forecastPlan understands the words of `forecast`, with every problem.
func (a *App) forecastPlan(o ForecastOptions) (p catalog.Pest, bed string, days int, seed uint64, err error) {
	var l diag.List
	add := func(err error) {
		for _, x := range asProblems(err) {
			l.Add(x)
		}
	}
	if p, err = a.names.findPest(o.Pest); err != nil {
		add(err)
	}
	if o.Bed != "" {
		beds, err := a.names.findBeds([]string{o.Bed})
		if err != nil {
			add(err)
		} else {
			bed = beds[0].Code
		}
	}
	if days = forecast.UsualDays; bed != "" {
		days = forecast.MostDays // natural enemies take a week to come
	}
	if o.Days != "" {
		if days, err = strconv.Atoi(o.Days); err != nil || days < 1 || days > aheadDays {
			l.Add(diag.Usagef(fmt.Sprintf("give a whole number from 1 to %d; a density is told for at most %d", aheadDays, forecast.MostDays), "--days %q is no number of days", o.Days))
		}
	}
	seed = 1
	if o.Seed != "" {
		if seed, err = strconv.ParseUint(o.Seed, 10, 32); err != nil {
			l.Add(diag.Usagef("give a whole number from 0 to 4294967295", "--seed %q is no seed", o.Seed))
		}
	}
	return p, bed, days, seed, l.Err()
}

// foreseen is one bed, or hot spot, with what could be done in it.
type foreseen struct {
	out   outlook
	spot  bool
	ways  []ForecastWay
	alts  []forecast.Alternative
	ofAlt []int // index in ways of each alternative
}

// forecastBeds works out the beds; with actions also what could be done.
func (a *App) forecastBeds(d *ForecastData, o *outlooks, mine []*assess.Assessment, in week.Input, actions bool) error {
	var list []*foreseen
	for _, x := range mine {
		readings := []*assess.Reading{startOf(x)}
		if n := len(x.HotSpots); n > 0 && x.HotSpots[n-1].Valid() && d.From.Sub(x.HotSpots[n-1].Visit.Date) < forecast.MostDays {
			readings = append(readings, &x.HotSpots[n-1])
		}
		for i, r := range readings {
			if r == nil && !actions {
				continue // one bed of a block stands for it
			}
			out, err := o.outlook(x, r)
			if err != nil {
				return err
			}
			q := &foreseen{out: out, spot: i > 0}
			if out.why == "" {
				q.nothing()
			}
			if actions {
				q.options(o, week.Options(in, x), d.From)
			}
			list = append(list, q)
		}
	}
	for _, q := range list {
		b := q.data(d.From)
		if q.out.why == "" {
			q.out.bed.Alternatives = q.alts
			res, err := q.out.start.f.Bed(q.out.bed)
			if err != nil {
				return fmt.Errorf("%s in %s: %w", d.Pest, b.Bed, err)
			}
			for i, w := range res.Ways {
				q.fill(&q.ways[q.ofAlt[i]], w, d.From)
			}
		}
		b.Ways = q.ways
		if b.Ways == nil {
			b.Ways = []ForecastWay{}
		}
		d.Beds = append(d.Beds, b)
	}
	return nil
}

func (q *foreseen) add(w ForecastWay, alt *forecast.Alternative) {
	if alt != nil {
		w.Reckoned = true
		q.alts, q.ofAlt = append(q.alts, *alt), append(q.ofAlt, len(q.ways))
	}
	for _, s := range []*[]string{&w.Why, &w.LookUp, &w.Notes} {
		*s = orEmpty(*s)
	}
	w.Days = []ForecastDay{}
	q.ways = append(q.ways, w)
}

func (q *foreseen) nothing() {
	alt := q.out.with("nothing")
	q.add(ForecastWay{Key: "nothing", Name: "nothing more", Open: true}, &alt)
}

// options adds what could be done. What an open step does is reckoned by the
// farm's own results, and what natural enemies do by what they eat.
func (q *foreseen) options(o *outlooks, all []week.Option, today civil.Date) {
	for _, x := range all {
		w := ForecastWay{Key: x.Key, Name: x.Name, Open: x.Open(), Why: x.Why, LookUp: x.LookUp, Notes: x.Notes}
		if x.Rung == week.Cultural {
			w.Name = strings.ReplaceAll(shortStep(x.Key), "_", " ")
		}
		if !x.Open() {
			q.add(w, nil)
			continue
		}
		w.On = dayOrNil(x.Day)
		if q.out.why != "" {
			w.How = "there is no forecast to hold it against"
			q.add(w, nil)
			continue
		}
		day := x.Day.Sub(q.out.start.day)
		step, note := q.step(o, x, day)
		if day >= len(q.out.start.used) {
			step, note = nil, "it comes after the days that the forecast tells"
		}
		w.How = note
		if step == nil {
			q.add(w, nil)
			continue
		}
		alt := q.out.with(x.Name, *step)
		q.add(w, &alt)
	}
}

func (q *foreseen) step(o *outlooks, x week.Option, day int) (*forecast.Step, string) {
	agent, isAgent := strings.CutPrefix(x.Key, "agent:")
	if !isAgent {
		t, ok := o.measured(x.Key)
		if !ok {
			return nil, "what it does here is not known yet: count before and after it, and `leafturn worked` tells"
		}
		return &forecast.Step{Day: day, Treatment: &t}, ""
	}
	h, ok := o.hunter(agent)
	if !ok {
		return nil, "no published appetite is known"
	}
	leaves := float64(q.out.x.Bed.LeavesPerPlant * q.out.x.Bed.Plants)
	per, words := 0.0, ""
	switch {
	case x.Count > 0 && leaves > 0 && !q.spot:
		per, words = x.Count/leaves, fmt.Sprintf("%s of them", week.Number(x.Count))
	case x.PerPest > 0:
		per, words = x.PerPest*q.out.r.Belief.Median(), fmt.Sprintf("1 to %s of the pest as counted", week.Number(1/x.PerPest))
	default:
		return nil, fmt.Sprintf("how many there are to a leaf takes the bed's leaves a plant: `leafturn bed set %s --leaves N`", q.out.x.Bed.Code)
	}
	if !(per > 0) {
		return nil, "there is no number of them for so few of the pest"
	}
	s := h.step(day, per)
	return &s, words
}

// data is the bed without its ways.
func (q *foreseen) data(today civil.Date) ForecastBed {
	x, r := q.out.x, q.out.r
	b := ForecastBed{Bed: x.Bed.Code, HotSpot: q.spot, Why: q.out.why, Words: orEmpty(q.out.words), Upper: finite(q.out.upper)}
	if r == nil {
		return b
	}
	b.Counted, b.Measure = dayOrNil(r.Visit.Date), r.Unit.Measure
	if r.Valid() {
		b.Value = finite(r.Value)
	}
	if l := x.Decider.Act; l != nil && l.Operator != "none" && l.Value > 0 && r.Unit.Measure == x.Decider.Unit.Measure {
		b.ActFrom = finite(l.Value)
	}
	if q.out.own != nil {
		b.OwnRate, b.OwnSD = finite(q.out.own.PerDay), finite(q.out.own.SD)
		if q.out.base > 0 {
			b.TableRate = finite(q.out.base)
		}
	}
	if q.out.bed.Cap > 0 && !r.Unit.Percent {
		b.Overrun = finite(q.out.bed.Cap)
	}
	if q.out.predators > 0 {
		b.Predators = finite(q.out.predators)
	}
	return b
}

// fill puts what was worked out into a way, from today on.
func (q *foreseen) fill(w *ForecastWay, got forecast.Way, today civil.Date) {
	from, r := q.out.start.day, q.out.r
	w.Outcome = string(got.Outcome)
	known := q.out.bed.Threshold > 0
	if known {
		w.Never = finite(got.Never)
		if !math.IsNaN(got.Cross) {
			w.Expected = dayOrNil(from.AddDays(int(math.Round(got.Cross))))
		}
		if got.Likely >= 0 {
			w.EvenBy = dayOrNil(from.AddDays(got.Likely))
		}
	}
	for i := max(today.Sub(from), 0); i < len(got.Days); i++ {
		x := got.Days[i]
		day := ForecastDay{Date: from.AddDays(i), Median: r.InMeasure(x.Median), Low50: r.InMeasure(x.Low50), High50: r.InMeasure(x.High50), Low90: r.InMeasure(x.Low90), High90: r.InMeasure(x.High90)}
		if i < len(q.out.start.used) {
			day.Weather = string(q.out.start.used[i].Kind)
		}
		if known {
			day.Over, day.Within = finite(x.Over), finite(x.Within)
		}
		if q.out.bed.Cap > 0 {
			day.Overrun = finite(x.Overrun)
		}
		w.Days = append(w.Days, day)
	}
}

// forecastActions groups what could be done by what keeps it from being open.
// Hand work is open everywhere and is left to the week's list.
func forecastActions(in week.Input, mine []*assess.Assessment) []ForecastGroup {
	out := []ForecastGroup{}
	for _, x := range mine {
		if !x.InSeason && x.Decider == nil {
			continue
		}
		for _, o := range week.Options(in, x) {
			if o.Rung != week.Product && o.Rung != week.Biological {
				continue
			}
			g := ForecastGroup{Key: o.Key, Name: o.Name, Open: o.Open(), Why: orEmpty(o.Why), LookUp: orEmpty(o.LookUp)}
			if g.Open && o.Day.After(in.Today) {
				g.Why = []string{"from " + o.Day.Short() + " on"}
			}
			i := slices.IndexFunc(out, func(y ForecastGroup) bool {
				return y.Key == g.Key && y.Open == g.Open && slices.Equal(y.Why, g.Why) && slices.Equal(y.LookUp, g.LookUp)
			})
			if i < 0 {
				i, out = len(out), append(out, g)
			}
			out[i].Beds = append(out[i].Beds, x.Bed.Code)
		}
	}
	return out
}

// forecastClocks adds the stage clock, and the nights and days that suit pests
// without a density.
func (a *App) forecastClocks(ctx context.Context, d *ForecastData, p catalog.Pest, s snapshot, fill, gates, far bool) error {
	if !gates && !far {
		return nil
	}
	w, err := a.weatherOn(ctx, s.on)
	if err != nil {
		return err
	}
	if w.first.IsZero() {
		d.Words = append(d.Words, "No day with a lowest and a highest temperature is stored: neither stages nor nights can be told. `leafturn weather` takes them.")
		return nil
	}
	x := animal{p.Key, p.Name, false, a.cat.DevelopmentOf(p.Key)}
	end := s.year.Last
	if far := s.on.AddDays(aheadDays); far.After(end) {
		end = far
	}
	series, err := w.lay(s.year.First, end, fill)
	if err != nil {
		return err
	}
	var got AheadData
	if err := a.clocks(&got, x, civil.Date{}, series, series.Members(w.readings), w, s, fill); err != nil {
		return err
	}
	d.Clocks, d.Words = append(d.Clocks, got.Clocks...), append(d.Words, got.Words...)
	if gates {
		if err := a.nights(&got, w, []animal{x}, math.NaN(), fill, s); err != nil {
			return err
		}
		d.Nights = append(d.Nights, got.Nights...)
	}
	return nil
}

// kindsOf counts the days of each kind of weather in words.
func kindsOf(days []ForecastDay) string {
	var words []string
	for _, k := range []climate.Kind{climate.Measured, climate.Forecast, climate.Normal, climate.Filled} {
		n := 0
		for _, d := range days {
			if d.Weather == string(k) {
				n++
			}
		}
		if n > 0 {
			words = append(words, fmt.Sprintf("%d %s", n, kindWord(k)))
		}
	}
	return strings.Join(words, ", ")
}
