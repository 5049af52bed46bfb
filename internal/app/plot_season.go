package app

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/units"
	"leafturn/plots"
)

// bedSeason is the season of one pest in one bed.
func (a *App) bedSeason(ctx context.Context, s snapshot, p catalog.Pest, bed farm.Bed) (plots.Season, error) {
	var fig plots.Season
	x, err := a.assessDeep(s, bed, p)
	if err != nil {
		return fig, err
	}
	u, _ := measureOf([]assess.Assessment{x})
	if len(x.Readings) == 0 {
		return fig, diag.Failf(plots.ErrNoData, "count some first: `leafturn count`", "nothing of it has been counted in bed %s this season up to %s", bed.Code, s.on)
	}
	next, err := a.nextOf(ctx, onlyOf(s, p.Key), []assess.Assessment{x})
	if err != nil {
		return fig, err
	}
	fig = plots.Season{
		Pest: x.Pest.Name, Bed: bed.Code, Measure: u.Words, Percent: u.Percent, Scale: scaleOf(u), From: s.on, AsOf: s.on,
		Source:  fmt.Sprintf("%s, %s", a.farm.Name, countedWords(x, u)),
		Visits:  plotVisits(x, u.Measure, true),
		Verdict: plotVerdict(x), Next: next.words(x), RainUnit: "mm", TempUnit: "°C",
	}
	if d, ok := next.due[[2]string{bed.Code, p.Key}]; ok && !d.By.After(s.on.AddDays(60)) {
		fig.Due = next.by(d)
	}
	through, err := x.Through(u.Measure)
	if err != nil {
		return fig, err
	}
	fig.Unknown = unknownOf(x, u.Measure, s.on)
	fig.Likely = known(through, fig.Unknown)
	fig.Act, fig.Watch = a.segments(x, s.stages[bed.Code], u)
	fig.Stages = plotStages(s.stages[bed.Code])
	a.seasonEvents(&fig, s, p, bed)
	for _, v := range fig.Visits {
		fig.From = earlier(fig.From, v.Date)
	}
	for _, e := range fig.Stages {
		fig.From = earlier(fig.From, e.From)
	}
	a.seasonWeather(&fig, s)
	return fig, nil
}

// unknownOf are the times in which the last valid count was too old to go by,
// as it is for the verdict.
func unknownOf(x assess.Assessment, measure string, on civil.Date) []plots.Unknown {
	var out []plots.Unknown
	var last civil.Date
	end := func(day civil.Date) {
		if stale := last.AddDays(x.Pest.StaleDays); !last.IsZero() && stale.Before(day) {
			out = append(out, plots.Unknown{Since: last, From: stale, To: day})
		}
		last = day
	}
	for _, r := range x.Readings {
		if r.Valid() && r.Unit.Measure == measure {
			end(r.Visit.Date)
		}
	}
	end(on)
	return out
}

// known is what was believed but for the times in which the count was too old;
// of the day of the visit that ends one, what was believed after it.
func known(through []assess.Likely, unknown []plots.Unknown) []plots.Likely {
	var out []plots.Likely
	for i, l := range through {
		last := i+1 == len(through) || through[i+1].Date != l.Date
		hidden := false
		for _, u := range unknown {
			hidden = hidden || l.Date.After(u.From) && (l.Date.Before(u.To) || l.Date == u.To && !(last && i > 0 && through[i-1].Date == l.Date))
		}
		if !hidden {
			out = append(out, plots.Likely(l))
		}
	}
	return out
}

func earlier(x, y civil.Date) civil.Date {
	if y.Before(x) {
		return y
	}
	return x
}

// countedWords say what was counted: units in all, visits, and how a visit goes.
func countedWords(x assess.Assessment, u assess.Unit) string {
	n, visits := 0, 0
	for _, r := range x.Readings {
		if r.Unit.Measure == u.Measure {
			n, visits = n+r.N, visits+1
		}
	}
	return fmt.Sprintf("%s on %d %s at %s", x.Pest.Name, n, unitPlural(u.Label, n), fmt.Sprint(visits, " ", unitPlural("visit", visits)))
}

func scaleOf(u assess.Unit) plots.Scale {
	if u.Percent {
		return plots.Linear
	}
	return plots.Sqrt
}

func plotStages(all []farm.StageEvent) []plots.StageSpan {
	var out []plots.StageSpan
	events := sortedStages(all)
	for i, e := range events {
		if i+1 < len(events) && events[i+1].Date == e.Date {
			continue
		}
		out = append(out, plots.StageSpan{From: e.Date, Label: string(e.Stage)})
	}
	return out
}

// seasonEvents fills what was done in the bed and when it was closed.
func (a *App) seasonEvents(fig *plots.Season, s snapshot, p catalog.Pest, bed farm.Bed) {
	for _, t := range s.treatments {
		if t.Bed != bed.Code || !s.year.Holds(t.Date) {
			continue
		}
		e := plots.Event{Date: t.Date, Label: productName(s, t)}
		if t.Pest != p.Key {
			e.Label += " against " + a.pestName(t.Pest)
		}
		fig.Treatments = append(fig.Treatments, e)
		for _, o := range a.openings([]farm.Treatment{t}, s.versions, []farm.Bed{bed}, a.now) {
			from := cmp.Or(t.Start, t.End)
			if !t.EndKnown {
				from = t.Date.In(a.loc)
			}
			switch {
			case !o.Known:
				fig.Closed = append(fig.Closed, plots.Closure{From: from.In(a.loc)})
			case o.At.After(t.End):
				fig.Closed = append(fig.Closed, plots.Closure{From: from.In(a.loc), To: o.At.In(a.loc)})
			}
		}
	}
	for _, r := range s.releases {
		if r.Bed == bed.Code && r.Pest == p.Key {
			fig.Releases = append(fig.Releases, plots.Event{Date: r.Date, Label: a.agentShort(r.Agent)})
		}
	}
	for _, d := range s.done {
		if d.Bed == bed.Code && d.Pest == p.Key && d.IsStep() && !d.Date.After(s.on) {
			_, words, _ := strings.Cut(d.Action, "_")
			fig.Steps = append(fig.Steps, plots.Event{Date: d.Date, Label: strings.ReplaceAll(cmp.Or(words, d.Action), "_", " ")})
		}
	}
}

// seasonWeather fills the weather in the farm's units, the forecast of the
// days to come marked.
func (a *App) seasonWeather(fig *plots.Season, s snapshot) {
	temps, rain := tempUnits(a.farm.Units), func(mm float64) float64 { return mm }
	if temps.us() {
		fig.TempUnit, fig.RainUnit = "°F", "in"
		rain = func(mm float64) float64 { return units.Of(mm, "mm").MustIn("in") }
	}
	in := func(v *float64, of func(float64) float64) *float64 {
		if v == nil {
			return nil
		}
		x := of(*v)
		return &x
	}
	for _, w := range s.weather {
		if !w.Date.Before(fig.From.AddDays(-14)) {
			fig.Weather = append(fig.Weather, plots.WeatherDay{Date: w.Date, Min: in(w.MinC, temps.of), Max: in(w.MaxC, temps.of), Rain: in(w.RainMM, rain), Forecast: w.Forecast})
		}
	}
	slices.SortFunc(fig.Weather, func(x, y plots.WeatherDay) int { return x.Date.Compare(y.Date) })
}
