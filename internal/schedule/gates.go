package schedule

import (
	"fmt"
	"math"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/sun"
)

// GatesOn holds the week and the days from d on against the limits of the agent,
// whether or not a release is possible then.
func (q ReleaseRequest) GatesOn(d civil.Date) []Gate {
	q.daylight = map[civil.Date]float64{}
	weather := map[civil.Date]farm.WeatherDay{}
	for _, w := range q.Forecast {
		weather[w.Date] = w
	}
	return q.gates(d, weather)
}

// Unknown says which gates of a plan that is not Firm are unknown.
func (p ReleasePlan) Unknown() (weather bool, daylight string) {
	for _, g := range p.Gates {
		switch {
		case g.State != Open:
		case g.Name == dayLength:
			daylight = g.Words
		default:
			weather = true
		}
	}
	return weather, daylight
}

// shortest is the shortest day of those from d on that count for a release.
func (q ReleaseRequest) shortest(d civil.Date) (hours float64, known bool) {
	if q.Latitude == nil {
		return 0, false
	}
	hours = 24
	for i := range restDays + 1 {
		x := d.AddDays(i)
		h, seen := q.daylight[x]
		if !seen {
			s, ok := sun.On(x, *q.Latitude, 0)
			if !ok {
				return 0, false
			}
			h = s.Hours
			q.daylight[x] = h
		}
		hours = math.Min(hours, h)
	}
	return hours, true
}

// rests says why no release is worth while from d on for longAhead days and
// more, "" where the days are long enough by then or it is not known.
func (q ReleaseRequest) rests(d civil.Date) string {
	for _, l := range q.Agent.Days {
		hours, known := q.shortest(d)
		if !known || hours >= l.Hours || l.NightsBelow != nil {
			continue
		}
		next := 1
		for ; next <= search; next++ {
			if h, _ := q.shortest(d.AddDays(next)); h >= l.Hours {
				break
			}
		}
		switch {
		case next > search:
			return q.shortWords(l, hours, d) + "; they are never long enough here"
		case next > longAhead:
			return q.shortWords(l, hours, d) + "; long enough again from " + d.AddDays(next).String()
		}
	}
	return ""
}

func (q ReleaseRequest) shortWords(l DayLimit, hours float64, d civil.Date) string {
	return fmt.Sprintf("a release of %s would be wasted: the days from %s to %s come down to %.1f h, and under %g h %s", q.Agent.Name, d, d.AddDays(restDays), hours, l.Hours, l.Words)
}

// dayGates holds the days from d on against the limits of the agent and its prey.
func (q ReleaseRequest) dayGates(d civil.Date, weather map[civil.Date]farm.WeatherDay) []Gate {
	var out []Gate
	add := func(state, format string, args ...any) {
		out = append(out, Gate{dayLength, state, fmt.Sprintf(format, args...)})
	}
	own := false
	for _, l := range q.Agent.Days {
		own = own || l.Pest == ""
		hours, known := q.shortest(d)
		switch {
		case !known:
			add(Open, "under %g h of daylight %s, and the farm's latitude is not set: leafturn farm set --at", l.Hours, l.Words)
			continue
		case hours >= l.Hours:
			add(Passed, "days of at least %.1f h from %s to %s, at least %g h", hours, d, d.AddDays(restDays), l.Hours)
			continue
		case l.NightsBelow == nil:
			add(Failed, "%s", q.shortWords(l, hours, d))
			continue
		}
		var nights []float64
		for i := range gateDays {
			if w := weather[d.AddDays(i)]; w.MinC != nil {
				nights = append(nights, *w.MinC)
			}
		}
		switch m := mean(nights); {
		case len(nights) < gateDays:
			add(Open, "days of %.1f h: with nights under %s on average %s; the nights of the 7 days from %s are known for %d only: look up the forecast", hours, q.Units.Temp(*l.NightsBelow), l.Words, d, len(nights))
		case m < *l.NightsBelow:
			add(Failed, "%s while nights are under %s (here %s on average)", q.shortWords(l, hours, d), q.Units.Temp(*l.NightsBelow), q.Units.TempBeside(m, *l.NightsBelow))
		default:
			add(Passed, "days of %.1f h are short, but nights of %s on average are not under %s", hours, q.Units.TempBeside(m, *l.NightsBelow), q.Units.Temp(*l.NightsBelow))
		}
	}
	if !own {
		add(Open, "the length of day that %s needs is not known: ask the seller", q.Agent.Name)
	}
	return out
}

// gates holds the weather of the week from d against the agent's limits.
func (q ReleaseRequest) gates(d civil.Date, weather map[civil.Date]farm.WeatherDay) []Gate {
	a, u := q.Agent, q.Units
	var means, tops, hums []float64
	for i := range gateDays {
		w := weather[d.AddDays(i)]
		if w.MinC != nil && w.MaxC != nil {
			means = append(means, (*w.MinC+*w.MaxC)/2)
		}
		if w.MaxC != nil {
			tops = append(tops, *w.MaxC)
		}
		if w.Humidity != nil {
			hums = append(hums, *w.Humidity)
		}
	}
	week := fmt.Sprintf("the 7 days from %s", d)
	var out []Gate
	add := func(name string, fails bool, have int, bad, good, lookUp string) {
		g := Gate{name, Passed, good}
		switch {
		case fails:
			g.State, g.Words = Failed, bad
		case have < gateDays:
			g.State, g.Words = Open, fmt.Sprintf("%s for %s are known for %d days only: look up the forecast", lookUp, week, have)
		}
		out = append(out, g)
	}
	unlisted := func(name, words string) { out = append(out, Gate{name, Open, words}) }
	if a.TempMin != nil {
		m := mean(means)
		add("mean temperature", len(means) == gateDays && m < *a.TempMin, len(means),
			fmt.Sprintf("a mean of %s in %s is too cold for %s (at least %s)", u.TempBeside(m, *a.TempMin), week, a.Name, u.Temp(*a.TempMin)),
			fmt.Sprintf("mean %s in %s, at least %s", u.TempBeside(m, *a.TempMin), week, u.Temp(*a.TempMin)), "temperatures")
	} else {
		unlisted("mean temperature", "the lowest temperature of "+a.Name+" is not known: look it up")
	}
	if a.TempMax != nil {
		h := highest(tops)
		add("highest temperature", len(tops) > 0 && h > *a.TempMax, len(tops),
			fmt.Sprintf("%s in %s is too hot for %s (at most %s)", u.TempBeside(h, *a.TempMax), week, a.Name, u.Temp(*a.TempMax)),
			fmt.Sprintf("at most %s in %s, limit %s", u.TempBeside(h, *a.TempMax), week, u.Temp(*a.TempMax)), "highest temperatures")
	} else {
		unlisted("highest temperature", "the highest temperature of "+a.Name+" is not known: look it up")
	}
	if a.RHMin != nil {
		m := mean(hums)
		add("humidity", len(hums) == gateDays && m < *a.RHMin, len(hums),
			fmt.Sprintf("a mean humidity of %.0f %% in %s is too dry for %s (at least %g %%)", m, week, a.Name, *a.RHMin),
			fmt.Sprintf("mean humidity %.0f %% in %s, at least %g %%", m, week, *a.RHMin), "humidity readings")
	}
	return append(out, q.dayGates(d, weather)...)
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / math.Max(1, float64(len(v)))
}

func highest(v []float64) float64 {
	top := math.Inf(-1)
	for _, x := range v {
		top = math.Max(top, x)
	}
	return top
}
