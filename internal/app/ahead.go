package app

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/climate"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/growth"
	"leafturn/internal/phenology"
	"leafturn/internal/report"
	"leafturn/internal/sun"
	"leafturn/internal/units"
)

// AheadOptions are the words of `ahead`; empty is "not given".
type AheadOptions struct {
	Pest, Start, Wind string
	Fill              bool
}

// How far clocks run: to the end of the season, and at least this many days;
// how many nights are judged; how long a step stays listed after its day.
const (
	aheadDays  = 180
	aheadWeek  = 7
	stepLinger = 14
)

// Ahead says when pests and natural enemies reach their stages, what to do
// around those days, and what the coming nights and days are good for.
func (a *App) Ahead(ctx context.Context, o AheadOptions, today civil.Date) (*report.Document, error) {
	known, err := a.snapshot(ctx, today)
	if err != nil {
		return nil, err
	}
	animals, start, wind, err := a.aheadPlan(o, known)
	if err != nil {
		return nil, err
	}
	w, err := a.weatherOn(ctx, today)
	if err != nil {
		return nil, err
	}
	if w.first.IsZero() {
		return nil, errNoWeather(w.units)
	}
	end := known.year.Last
	if far := today.AddDays(aheadDays); far.After(end) {
		end = far
	}
	from := known.year.First
	if !start.IsZero() && start.Before(from) {
		from = start
	}
	series, err := w.lay(from, end, o.Fill)
	if err != nil {
		return nil, err
	}
	members := series.Members(w.readings)
	d := AheadData{From: today, To: end, Clocks: []ClockData{}, Steps: []ClockStep{}, Nights: []NightData{}, Limits: []GateLimit{}, Words: []string{},
		Usual: UsualWeather{From: w.normals.Source, Years: w.normals.Years}}
	if len(members) >= climate.LeastMembers {
		d.Usual.Members = len(members)
	}
	for _, x := range animals {
		if err := a.clocks(&d, x, start, series, members, w, known, o.Fill); err != nil {
			return nil, err
		}
	}
	slices.SortStableFunc(d.Steps, func(x, y ClockStep) int { return cmp.Or(x.Date.Compare(y.Date), strings.Compare(x.Of, y.Of)) })
	if err := a.nights(&d, w, animals, wind, o.Fill, known); err != nil {
		return nil, err
	}
	d.Words = append(d.Words, w.normalsWords())
	return a.aheadDocument(d, today), nil
}

// aheadPlan understands the words of `ahead`: whose clocks, from which start,
// in which wind.
func (a *App) aheadPlan(o AheadOptions, known snapshot) (animals []animal, start civil.Date, wind float64, err error) {
	var l diag.List
	today := known.on
	wind = math.NaN()
	if o.Wind != "" {
		q, err := units.ParseAs(o.Wind, units.Speed, "")
		if err != nil || !(q.Base() >= 0 && q.Base() < 60) {
			l.Add(diag.Usagef("write it as 3mph, 5km/h or 1.5m/s", "--wind %q is no speed of wind", o.Wind))
		} else {
			wind = q.Base()
		}
	}
	if o.Start != "" {
		start, err = ParseDay(o.Start, today)
		switch {
		case err != nil:
			for _, x := range asProblems(err) {
				l.Add(x)
			}
		case o.Pest == "":
			l.Add(diag.Usagef("name the PEST too", "--start is the start of one clock"))
		case start.After(today) || today.Sub(start) > 366:
			l.Add(diag.Usagef("give a day of the last twelve months", "--start %s is no day on which a stage was seen", start))
		}
	}
	if o.Pest != "" {
		x, err := a.findAnimal(o.Pest)
		if err != nil {
			for _, p := range asProblems(err) {
				l.Add(p)
			}
		}
		return []animal{x}, start, wind, l.Err()
	}
	for _, key := range a.farm.Pests {
		if p, ok := a.cat.Pest(key); ok {
			animals = append(animals, animal{p.Key, p.Name, false, a.cat.DevelopmentOf(p.Key)})
		}
	}
	for _, r := range known.releases {
		if g, ok := a.cat.Agent(r.Agent); ok && !slices.ContainsFunc(animals, func(x animal) bool { return x.key == g.Key }) {
			animals = append(animals, animal{g.Key, g.Name, true, a.cat.DevelopmentOf(g.Key)})
		}
	}
	return animals, start, wind, l.Err()
}

// chains are the used rows of an animal as they follow each other.
func (x animal) chains() (out [][]catalog.Development) {
	for _, d := range x.rows {
		if !d.Default {
			continue
		}
		i := slices.IndexFunc(out, func(c []catalog.Development) bool { return c[len(c)-1].Key == d.After })
		if d.After != "" && i >= 0 {
			out[i] = append(out[i], d)
			continue
		}
		chain := []catalog.Development{d}
		for range d.Repeat - 1 {
			chain = append(chain, d)
		}
		out = append(out, chain)
	}
	return out
}

// clocks runs the clocks of one animal.
func (a *App) clocks(out *AheadData, x animal, given civil.Date, series climate.Series, members []climate.Member, w yearDays, known snapshot, fill bool) error {
	today := known.on
	for _, chain := range x.chains() {
		c := ClockData{Of: x.key, Name: x.name, Stages: []StageData{}}
		start, why := given, "given"
		if given.IsZero() {
			start, why = known.biofix(x, chain[0], today)
		}
		c.Start, c.StartWhy = dayOrNil(start), why
		unknown := slices.IndexFunc(chain, func(d catalog.Development) bool { return !d.Known() })
		switch {
		case unknown >= 0:
			c.Unknown = chain[unknown].Note
		case start.IsZero():
			c.Unknown = why
		}
		if c.Unknown != "" {
			for i, d := range chain {
				if d.Repeat == 1 || i == 0 {
					c.Stages = append(c.Stages, StageData{Row: developmentRow(d), Generation: 1, Low: d.Low, High: d.High})
				}
			}
			out.Clocks = append(out.Clocks, c)
			continue
		}
		clock := phenology.Clock{Start: start}
		for _, d := range chain {
			_, _, dd := d.InC()
			clock.Stages = append(clock.Stages, phenology.Stage{Model: modelOf(d), DD: *dd, Low: d.Low, High: d.High})
		}
		reached, err := clock.Run(series, members, today)
		if err != nil {
			return err
		}
		for i, r := range reached {
			s := StageData{Row: developmentRow(chain[i]), Generation: 1, Earliest: dayOrNil(r.Earliest.Date), Expected: dayOrNil(r.Expected.Date), Latest: dayOrNil(r.Latest.Date),
				Kind: string(r.Expected.Kind), Sum: finite(r.Sum), Progress: finite(r.Progress), Low: chain[i].Low, High: chain[i].High, Missing: dayOrNil(r.Expected.Gap)}
			if chain[i].Repeat > 1 {
				s.Generation = i + 1
			}
			c.Stages = append(c.Stages, s)
			if !r.Expected.Reached() && chain[i].Repeat > 1 {
				break // later generations are not reached either
			}
		}
		if gap := c.Stages[len(c.Stages)-1].Missing; gap != nil {
			out.Words = append(out.Words, fmt.Sprintf("%s: the clock runs up to %s. %s", x.name, gap, w.gapWords(*gap, start, fill)))
		}
		out.Clocks = append(out.Clocks, c)
		out.Steps = append(out.Steps, a.clockSteps(x, c, today)...)
	}
	return nil
}

// clockSteps are what to do around the stages of a clock; of generations, the
// next one.
func (a *App) clockSteps(x animal, c ClockData, today civil.Date) (out []ClockStep) {
	done := map[string]bool{}
	for _, s := range c.Stages {
		over := s.Expected != nil && s.Expected.Before(today)
		if done[s.Row.Key] || over && s.Generation < len(c.Stages) && c.Stages[len(c.Stages)-1].Row.Key == s.Row.Key {
			continue
		}
		done[s.Row.Key] = true
		for _, act := range a.cat.ClockActions(s.Row.Key) {
			at := map[string]*civil.Date{"earliest": s.Earliest, "expected": s.Expected, "latest": s.Latest}[act.At]
			if at == nil {
				continue
			}
			on := at.AddDays(act.OffsetDays)
			gone := s.Latest != nil && s.Latest.Before(today)
			if today.Sub(on) > stepLinger && gone {
				continue // what counts from a day on stays until the stage is surely over
			}
			out = append(out, ClockStep{Of: x.key, Kind: act.Kind, Date: on, Text: act.Text, Basis: basisOf(act.Provenance)})
		}
	}
	return out
}

// gated are the pests that a rule for nights or days speaks of.
var gated = []string{"slug", "wireworm", "spider_mite"}

// nights judges the coming week, where one of the animals asks for it.
func (a *App) nights(out *AheadData, w yearDays, animals []animal, wind float64, fill bool, known snapshot) error {
	today := known.on
	if !slices.ContainsFunc(animals, func(x animal) bool { return slices.Contains(gated, x.key) }) {
		return nil
	}
	series, err := w.lay(today.AddDays(-30), today.AddDays(aheadWeek), fill)
	if err != nil {
		return err
	}
	p := phenology.Place{Series: series, Weather: map[civil.Date]phenology.Weather{}, Moist: map[civil.Date]bool{}, WindMS: wind, DayHours: a.dayHours}
	value := func(v *float64) float64 {
		if v == nil {
			return math.NaN()
		}
		return *v
	}
	for d, x := range w.days {
		p.Weather[d] = phenology.Weather{RainMM: value(x.RainMM), SoilC: value(x.SoilC), Humidity: value(x.Humidity)}
	}
	soil := map[civil.Date][]farm.Wetness{}
	for _, v := range known.visits {
		soil[v.Date] = append(soil[v.Date], v.Conditions.Soil)
	}
	for d, all := range soil {
		if x := agreed(all); x != farm.Unknown {
			p.Moist[d] = x != farm.Dry
		}
	}
	for _, g := range phenology.Nights(p, a.gateLimits(), today, aheadWeek) {
		n := NightData{Date: g.Date, NightC: finite(g.NightC), Kind: string(g.Kind), DayHours: finite(g.DayHours), Slug: string(g.Slug), SlugIf: g.SlugIf, Bait: string(g.Bait), Rest: string(g.Rest), Why: orEmpty(g.Why)}
		out.Nights = append(out.Nights, n)
	}
	for _, pest := range gated {
		for _, x := range a.cat.Limits(pest) {
			out.Limits = append(out.Limits, GateLimit{x.Key, x.Pest, x.Words, x.Value, x.Unit, basisOf(x.Provenance)})
		}
	}
	return nil
}

// dayHours is how long the sun is up at the farm, NaN where its place is not known.
func (a *App) dayHours(d civil.Date) float64 {
	if a.farm.Latitude == nil || a.farm.Longitude == nil {
		return math.NaN()
	}
	s, _ := sun.On(d, *a.farm.Latitude, *a.farm.Longitude)
	return s.Hours
}

// gateLimits are the catalogue's figures for the gates.
func (a *App) gateLimits() phenology.Limits {
	v := func(key string) float64 { return a.cat.Limit(key).Base() }
	return phenology.Limits{
		Slug: growth.SlugLimits{LikedLow: v("slug_liked_low"), LikedHigh: v("slug_liked_high"), ActiveLow: v("slug_active_low"), ActiveHigh: v("slug_active_high"),
			WindMS: v("slug_wind"), FreezeDays: v("slug_freeze_days")},
		FreezeC: v("slug_freeze"), WetRainMM: v("slug_wet_rain"), WetHumidity: v("slug_wet_humidity"), DryDays: int(v("slug_dry_days")), DryHumidity: v("slug_dry_humidity"),
		LightRainMM: v("slug_light_rain"), SoilC: v("bait_soil_low"), MoistRainMM: v("bait_moist_rain"), NoteDays: int(v("bait_note_days")),
		RestHours: v("mite_rest_hours"), RestC: v("mite_rest_night"),
	}
}
