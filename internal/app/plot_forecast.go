package app

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/climate"
	"leafturn/internal/diag"
	"leafturn/internal/report"
	"leafturn/plots"
)

// fanWeeks is how far back the counts go that are drawn before a forecast.
const fanWeeks = 6

// drawForecast draws the forecast of a bed, and of its hot spot.
func (a *App) drawForecast(doc *report.Document, p catalog.Pest, d ForecastData, mine []*assess.Assessment, next nextSteps, file string) error {
	if !d.Density {
		return diag.Failf(plots.ErrNoData, "draw its season instead: `leafturn plot "+p.Key+" --out FILE`", "no density of %s is told, so there is no forecast to draw: %s", p.Name, d.Why)
	}
	var figs []plots.Figure
	for i := range d.Beds {
		if b := &d.Beds[i]; b.Why == "" {
			x := mine[slices.IndexFunc(mine, func(x *assess.Assessment) bool { return x.Bed.Code == b.Bed })]
			figs = append(figs, a.fan(p, d, b, x, next.words(*x)))
		}
	}
	if len(figs) == 0 {
		return diag.Failf(plots.ErrNoData, "count again, then draw it", "there is no forecast to draw: %s", strings.TrimSuffix(d.Beds[0].Why, "."))
	}
	return drawInto(doc, "what could come of "+p.Name+" in "+d.Beds[0].Bed, figs, file)
}

// fan is the picture of one bed's forecast, or its hot spot's; week is what the
// week's list asks for there.
func (a *App) fan(p catalog.Pest, d ForecastData, b *ForecastBed, x *assess.Assessment, week string) plots.Fan {
	f := plots.Fan{Pest: p.Name, Place: "bed " + b.Bed, Measure: wordsOf(p, *b), Today: d.From, Nothing: fanDays(b.Ways[0].Days)}
	readings := x.Readings
	if b.HotSpot {
		f.Place, readings = "the hot spot in "+b.Bed, x.HotSpots
	}
	for _, r := range readings {
		if r.Unit.Measure == b.Measure && r.Visit.Date.Sub(d.From) >= -7*fanWeeks {
			f.Measure, f.Percent = r.Unit.Words, r.Unit.Percent
			f.Visits = append(f.Visits, plotVisit(r))
		}
	}
	if b.ActFrom != nil {
		f.Level = *b.ActFrom
	}
	if b.Overrun != nil {
		f.Cap = *b.Overrun
	}
	var hand, shut, unknown []string
	for _, w := range b.Ways[1:] {
		switch {
		case w.Reckoned && w.On != nil && len(w.Days) > 0:
			f.Ways = append(f.Ways, plots.FanWay{Name: a.wayName(w), On: *w.On, Days: fanDays(w.Days)})
		case !w.Open:
			shut = append(shut, a.wayName(w))
		case strings.HasPrefix(w.Key, "agent:") || strings.HasPrefix(w.Key, "label:"):
			unknown = append(unknown, a.wayName(w))
		default:
			hand = append(hand, w.Name)
		}
	}
	if len(f.Ways) > plots.MaxWays {
		for _, w := range f.Ways[plots.MaxWays:] {
			unknown = append(unknown, w.Name)
		}
		f.Ways = f.Ways[:plots.MaxWays]
	}
	add := func(what string, names []string) {
		if len(names) > 0 {
			f.NotDrawn = append(f.NotDrawn, what+": "+strings.Join(names, ", ")+".")
		}
	}
	add("Open by hand, but what it does here is not known yet", hand)
	add("Open, but not drawn", unknown)
	add("Not open (`leafturn forecast "+p.Key+" "+b.Bed+"` says why)", shut)
	f.Next = a.fanNext(b, f, hand, week)
	f.Source = a.farm.Name + ", " + f.Measure + ". This compares; the week's list decides, and the label and local law outrank both"
	return f
}

// plotVisit is a reading as a point of a picture.
func plotVisit(r assess.Reading) plots.Visit {
	v := plots.Visit{Date: r.Visit.Date, Mean: r.Value, Invalid: strings.Join(r.Invalid, "; ")}
	if low, high := min(r.Low, r.Value), max(r.High, r.Value); finite(low) != nil && finite(high) != nil {
		v.Interval = &plots.Range{Low: low, High: high}
	}
	return v
}

func fanDays(days []ForecastDay) []plots.FanDay {
	var out []plots.FanDay
	for _, x := range days {
		d := plots.FanDay{Date: x.Date, Median: x.Median, Low50: min(x.Low50, x.Median), High50: max(x.High50, x.Median), Over: x.Over}
		d.Low90, d.High90 = min(x.Low90, d.Low50), max(x.High90, d.High50)
		if x.Weather != "" {
			d.Weather = kindWord(climate.Kind(x.Weather))
		}
		out = append(out, d)
	}
	return out
}

// leastGain is by how much a step must lower the chance of being over the
// level to be named. Common practice.
const leastGain = 0.1

// fanNext says what to do next: what the week's list asks for, where it asks for
// anything, then what the comparison adds to it.
func (a *App) fanNext(b *ForecastBed, f plots.Fan, hand []string, week string) string {
	again := "count " + b.Bed + " again by " + b.Counted.AddDays(7).Short()
	if !b.Counted.AddDays(7).After(f.Today) {
		again = "count " + b.Bed + " again now"
	}
	end := f.Nothing[len(f.Nothing)-1]
	if f.Level == 0 || end.Over == nil {
		if week != "" {
			return week + " No action level is known here, so the counts alone show where it goes."
		}
		return capital(again) + "; no action level is known here, so the counts alone show where it goes."
	}
	_, holdBelow := a.farm.ActAt()
	if within := b.Ways[0].Days[len(b.Ways[0].Days)-1].Within; within != nil && *within < holdBelow {
		if week != "" {
			return fmt.Sprintf("%s The level is not likely to be passed by %s.", week, end.Date.Short())
		}
		return fmt.Sprintf("hold; the level is not likely to be passed by %s. %s.", end.Date.Short(), capital(again))
	}
	best, chance := -1, *end.Over-leastGain
	for i, w := range f.Ways {
		if o := w.Days[len(w.Days)-1].Over; o != nil && *o <= chance {
			best, chance = i, *o
		}
	}
	switch {
	case best >= 0 && week != "":
		return fmt.Sprintf("%s Of what is compared here, %s on %s leaves the lowest chance.", week, f.Ways[best].Name, f.Ways[best].On.Short())
	case best >= 0:
		w := f.Ways[best]
		return fmt.Sprintf("%s on %s leaves the lowest chance of what is compared: see it in the week's list. Then %s.", w.Name, w.On.Short(), again)
	case week != "":
		return week + " Nothing that is compared here lowers the chance much: count before and after a step."
	case len(hand) > 0:
		return fmt.Sprintf("nothing that is compared lowers the chance much. Open by hand: %s; count before and after. %s.", strings.Join(hand, ", "), capital(again))
	}
	return "nothing that is open and compared lowers the chance much: see the week's list. " + capital(again) + "."
}

// wayName is a thing that could be done in a picture: an agent with its common
// name.
func (a *App) wayName(w ForecastWay) string {
	if key, ok := strings.CutPrefix(w.Key, "agent:"); ok {
		return a.agentShort(key)
	}
	return w.Name
}
