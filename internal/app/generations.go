package app

import (
	"fmt"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
)

// lasts tells how long one generation of a pest runs that begins on a day, by
// the catalogue and the days whose temperature is known. A day without one
// counts as too cold, so that no generation is taken to end too soon.
func (a *App) lasts(weather map[civil.Date]farm.WeatherDay) func(pest string, from civil.Date) label.Lasting {
	type start struct {
		pest string
		from civil.Date
	}
	known := map[start]label.Lasting{} // a plan asks thousands of times
	var end civil.Date
	for d, w := range weather {
		if w.MinC != nil && w.MaxC != nil && d.After(end) {
			end = d
		}
	}
	return func(pest string, from civil.Date) label.Lasting {
		k := start{pest, from}
		out, ok := known[k]
		if !ok {
			out = a.lasting(pest, from, end, weather)
			known[k] = out
		}
		return out
	}
}

func (a *App) lasting(pest string, from, end civil.Date, weather map[civil.Date]farm.WeatherDay) label.Lasting {
	g, ok := a.cat.Generation(pest)
	if !ok {
		name := pest
		if p, ok := a.cat.Pest(pest); ok {
			name = p.Name
		}
		return label.Lasting{Words: "look up how long one generation of " + name + " takes, ask the adviser, and count by hand"}
	}
	if g.Days > 0 {
		return label.Lasting{Known: true, Sure: true, Last: from.AddDays(g.DaysMax - 1), Words: fmt.Sprintf("%d days at the most; %s", g.DaysMax, g.Note)}
	}
	out := label.Lasting{Known: true, Sure: true}
	sum, missing, u := 0.0, 0, tempUnits(a.farm.Units)
	for d := from; !d.After(end); d = d.AddDays(1) {
		w, ok := weather[d]
		if !ok || w.MinC == nil || w.MaxC == nil {
			missing++
			out.Sure = false
			continue
		}
		if sum += max(0, (*w.MinC+*w.MaxC)/2-g.BaseC); sum >= g.DegreeDays {
			out.Last = d
			out.Words = fmt.Sprintf("%.4g degree-days over %s; %s", u.dd(g.DegreeDays), u.temp(g.BaseC), g.Note)
			return out
		}
	}
	out.Sure = false
	out.Words = fmt.Sprintf("%.4g of the %.4g degree-days over %s are known to be reached", u.dd(sum), u.dd(g.DegreeDays), u.temp(g.BaseC))
	switch {
	case end.Before(from):
		out.Words += ", and no temperature from then on: enter them with `leafturn weather`"
	case missing > 0:
		out.Words += fmt.Sprintf(" by %s, and %d of the days have no temperature: enter them with `leafturn weather`", end, missing)
	default:
		out.Words += fmt.Sprintf(" by %s, the last day with a temperature or a forecast", end)
	}
	return out
}
