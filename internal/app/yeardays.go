package app

import (
	"context"
	"fmt"
	"math"

	"leafturn/internal/civil"
	"leafturn/internal/climate"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/store"
	"leafturn/internal/units"
)

// tempUnits is how temperatures and degree-days are shown and read.
type tempUnits units.System

func (u tempUnits) us() bool { return units.System(u) == units.US }

func (u tempUnits) name() string {
	if u.us() {
		return "F"
	}
	return "C"
}

// of is a temperature in °C in the farm's unit.
func (u tempUnits) of(c float64) float64 {
	if u.us() {
		return c*1.8 + 32
	}
	return c
}

// dd is degree-days C in the farm's unit: 1.8 times as many F, without an offset.
func (u tempUnits) dd(c float64) float64 {
	if u.us() {
		return c * 1.8
	}
	return c
}

func (u tempUnits) temp(c float64) string {
	return fmt.Sprintf("%s °%s", plainNumber(u.of(c)), u.name())
}

// example are the flags of a day's weather.
func (u tempUnits) example() string {
	if u.us() {
		return "--min 48F --max 72F"
	}
	return "--min 9C --max 22C"
}

// breeze is a wind as a person would type it.
func (u tempUnits) breeze() string {
	if u.us() {
		return "2mph"
	}
	return "1m/s"
}

// plainNumber writes a number with at most two decimals.
func plainNumber(v float64) string {
	return fmt.Sprint(math.Round(v*100) / 100)
}

// yearDays is the farm's days around a day, as they were known on it.
type yearDays struct {
	today    civil.Date
	units    tempUnits
	readings []climate.Day // all that have both temperatures
	days     map[civil.Date]farm.WeatherDay
	normals  climate.Normals
	spare    climate.Normals // for days of which normals know nothing
	first    civil.Date      // first day with both temperatures; zero for none
}

// weatherOn reads the farm's weather as it was known on a day.
func (a *App) weatherOn(ctx context.Context, today civil.Date) (yearDays, error) {
	s := yearDays{today: today, units: tempUnits(a.farm.Units), days: map[civil.Date]farm.WeatherDay{}}
	var all []farm.WeatherDay
	err := a.st.View(ctx, func(tx *store.Tx) (err error) {
		all, err = tx.WeatherKnown(civil.Date{}, civil.Date{}, today, a.endOf(today))
		return err
	})
	if err != nil {
		return s, err
	}
	for _, w := range all {
		s.days[w.Date] = w
		if w.MinC == nil || w.MaxC == nil {
			continue
		}
		d := climate.Day{Date: w.Date, Min: *w.MinC, Max: *w.MaxC, Kind: climate.Measured}
		if w.Forecast {
			d.Kind = climate.Forecast
		}
		if s.first.IsZero() {
			s.first = w.Date
		}
		s.readings = append(s.readings, d)
	}
	own := climate.FromYears(s.readings)
	typed, err := monthNormals(a.farm.Normals)
	if err != nil {
		return s, diag.Failf(err, "type them in again with `leafturn weather --normals FILE`", "the farm's monthly normals: %v", err)
	}
	// Years of one's own say most, once there are some of them.
	s.normals = own
	if !typed.IsZero() {
		if s.spare = typed; own.Years < climate.LeastMembers {
			s.normals = typed
		}
	}
	return s, nil
}

// errNoWeather is what to do where nothing is known.
func errNoWeather(u tempUnits) error {
	return diag.Failf(nil, "enter days with `leafturn weather "+u.example()+"`, or read a file with `leafturn weather --file weather.csv`", "no day with a lowest and a highest temperature is stored")
}

// lay puts what is known on the days from first to last: measured, forecast,
// filled where that is asked for, and usual for the days to come.
func (s yearDays) lay(first, last civil.Date, fill bool) (climate.Series, error) {
	// A neighbour outside the days fills a gap at their ends too.
	wide, err := climate.Lay(first.AddDays(-climate.MaxFill), last.AddDays(climate.MaxFill), s.readings)
	if err != nil {
		return climate.Series{}, diag.Usagef("give days at most ten years apart, the earlier one first", "%v", err)
	}
	wide = wide.Carry(s.today, s.normals).Carry(s.today, s.spare)
	if fill {
		wide = wide.Fill()
	}
	return climate.Lay(first, last, wide.Days())
}

// normalsWords says what the days to come rest on.
func (s yearDays) normalsWords() string {
	switch {
	case s.normals.IsZero():
		return "Nothing is known of what is usual here: `leafturn weather --normals FILE` takes monthly normals."
	case s.normals.Years == 0:
		return fmt.Sprintf("Days without a measurement or a forecast are usual ones, from %s; how far single days and years lie from them is not known.", s.normals.Source)
	case s.normals.Years < climate.LeastMembers:
		return fmt.Sprintf("Days without a measurement or a forecast are usual ones, from %s: %s at the least, which is few; a date that no year of it has stays unknown.", s.normals.Source, yearsWords(s.normals.Years))
	}
	spare := ""
	if !s.spare.IsZero() {
		spare = " Where they have none, " + s.spare.Source + " serve."
	}
	return fmt.Sprintf("Days without a measurement or a forecast are usual ones, from %s: %s at the least.%s", s.normals.Source, yearsWords(s.normals.Years), spare)
}

func yearsWords(n int) string {
	if n == 1 {
		return "1 year"
	}
	return fmt.Sprintf("%d years", n)
}

// both reports whether a day has both temperatures.
func (s yearDays) both(d civil.Date) bool {
	w := s.days[d]
	return w.MinC != nil && w.MaxC != nil
}

// gap says what is missing on a day at which a sum stops, and what to do.
func (s yearDays) gap(gap, start civil.Date, fill bool) (what, do string) {
	switch {
	case !gap.Before(s.today):
		return fmt.Sprintf("nothing is known of the days from %s on", gap), "type in what is usual with `leafturn weather --normals FILE`, or a forecast with `leafturn weather --forecast`"
	case gap == start && s.first.After(start):
		return fmt.Sprintf("it starts on %s, and the first day with weather is %s", start, s.first), fmt.Sprintf("enter the days before it, or start there with --start %s: then what came before is not counted", s.first)
	}
	do = fmt.Sprintf("enter it with `leafturn weather --date %s %s`", gap, s.units.example())
	long := 0
	for d := gap; d.Before(s.today) && !s.both(d); d = d.AddDays(1) {
		long++
	}
	if !fill && long <= climate.MaxFill {
		do += fmt.Sprintf(", or fill gaps of up to %d days with --fill", climate.MaxFill)
	}
	return fmt.Sprintf("%s has no lowest and highest temperature", gap), do
}

// gapWords is gap in sentences.
func (s yearDays) gapWords(gap, start civil.Date, fill bool) string {
	what, do := s.gap(gap, start, fill)
	return fmt.Sprintf("It stops there: %s. To go on, %s.", what, do)
}
