// Package sun tells when the sun rises and sets and how long the day is: label
// statements on bees go by it, and some natural enemies rest in short days.
//
// Everything is arithmetic on the arguments. Not here: twilight, hills on the
// horizon, air pressure.
package sun

import (
	"math"
	"time"

	"leafturn/internal/civil"
)

// Day is one day's sun at a place.
type Day struct {
	Rise, Set time.Time // UTC; both zero where the sun does not rise or does not set
	Hours     float64   // that it is above the horizon: 0 to 24
}

const rad = math.Pi / 180

// On returns the sun's day on a date of the calendar at a latitude and
// longitude in degrees, north and east positive: the rise and the set around
// the noon of that date. The centre of the sun then stands 0.833 degrees below
// the horizon, for refraction and the sun's half width.
//
// Accuracy: within a minute of an ephemeris between 60 degrees south and
// north (TestOn). ok is false for a place that does not exist.
//
// Source: Meeus, Astronomical Algorithms, chapters 25 and 28, low accuracy
// (from memory); the -0.833 degrees are those of almanacs (from memory).
func On(date civil.Date, latitude, longitude float64) (d Day, ok bool) {
	if !(math.Abs(latitude) <= 90) || !(math.Abs(longitude) <= 180) {
		return Day{}, false
	}
	midnight := time.Date(date.Year, date.Month, date.Day, 0, 0, 0, 0, time.UTC)
	noon := midnight.Add(hours(12 - longitude/15))
	// The sun moves while the day passes: its place is taken anew at the time
	// found, in a few rounds.
	find := func(side float64) (time.Time, float64) {
		at, half := noon, 0.0
		for range 4 {
			declination, equation := place(at)
			c := (math.Sin(-0.833*rad) - math.Sin(latitude*rad)*math.Sin(declination)) / (math.Cos(latitude*rad) * math.Cos(declination))
			half = math.Acos(math.Max(-1, math.Min(1, c))) / rad / 15
			at = midnight.Add(hours(12 - longitude/15 - equation/60 + side*half))
		}
		return at, half
	}
	rise, before := find(-1)
	set, after := find(+1)
	d.Hours = before + after
	if d.Hours > 0 && d.Hours < 24 {
		d.Rise, d.Set = rise.Round(time.Second), set.Round(time.Second)
	}
	return d, true
}

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

// place returns the sun's declination in radians, and how many minutes the
// sundial is ahead of the clock.
func place(at time.Time) (declination, equation float64) {
	t := (float64(at.Unix())/86400 + 2440587.5 - 2451545) / 36525 // Julian centuries from 2000
	l := math.Mod(280.46646+t*(36000.76983+0.0003032*t), 360) * rad
	m := (357.52911 + t*(35999.05029-0.0001537*t)) * rad
	e := 0.016708634 - t*(0.000042037+0.0000001267*t)
	c := (math.Sin(m)*(1.914602-t*(0.004817+0.000014*t)) + math.Sin(2*m)*(0.019993-0.000101*t) + math.Sin(3*m)*0.000289) * rad
	omega := (125.04 - 1934.136*t) * rad
	lambda := l + c - (0.00569+0.00478*math.Sin(omega))*rad
	tilt := (23.439291-t*(0.0130042+0.00000016*t))*rad + 0.00256*rad*math.Cos(omega)
	declination = math.Asin(math.Sin(tilt) * math.Sin(lambda))
	y := math.Tan(tilt/2) * math.Tan(tilt/2)
	equation = 4 / rad * (y*math.Sin(2*l) - 2*e*math.Sin(m) + 4*e*y*math.Sin(m)*math.Cos(2*l) - y*y/2*math.Sin(4*l) - 1.25*e*e*math.Sin(2*m))
	return declination, equation
}
