package growth

import (
	"fmt"
	"math"

	"leafturn/internal/degreeday"
)

// Curve is a rate of increase per day by temperature: straight between its
// points, Under below the first one, and level above the last one up to End.
// A fitted line through a base is two points.
type Curve struct {
	Temp, Rate []float64 // temperatures rising
	Under      float64   // the rate below the first temperature; 0 for "does not grow"
	End        float64   // °C where the data end; hotter is ErrHot
}

// LineCurve is slope (temp - base), 0 under base, level from hold on, with
// data up to end.
func LineCurve(slope, base, hold, end float64) Curve {
	return Curve{Temp: []float64{base, hold}, Rate: []float64{0, slope * (hold - base)}, End: end}
}

// Check says what is wrong with the curve: ErrDomain.
func (c Curve) Check() error {
	if len(c.Temp) == 0 || len(c.Temp) != len(c.Rate) || !finite(c.Under) || !(c.End >= c.Temp[len(c.Temp)-1]) {
		return fmt.Errorf("a curve of %d temperatures and %d rates up to %v °C: %w", len(c.Temp), len(c.Rate), c.End, ErrDomain)
	}
	for i, t := range c.Temp {
		if !finite(t) || !(math.Abs(c.Rate[i]) <= 100) || i > 0 && t <= c.Temp[i-1] {
			return fmt.Errorf("point %d, %v per day at %v °C: %w", i+1, c.Rate[i], t, ErrDomain)
		}
	}
	return nil
}

// At returns the rate at one temperature. Errors: ErrHot above End, ErrDomain
// for a temperature that is not finite.
func (c Curve) At(temp float64) (float64, error) {
	if !finite(temp) {
		return 0, fmt.Errorf("temperature %v: %w", temp, ErrDomain)
	}
	if temp > c.End {
		return 0, fmt.Errorf("%.1f °C, with data up to %g °C: %w", temp, c.End, ErrHot)
	}
	return c.at(temp), nil
}

func (c Curve) at(temp float64) float64 {
	last := len(c.Temp) - 1
	switch {
	case temp < c.Temp[0]:
		return c.Under
	case temp >= c.Temp[last]:
		return c.Rate[last]
	}
	i := 1
	for temp >= c.Temp[i] {
		i++
	}
	return c.Rate[i-1] + (c.Rate[i]-c.Rate[i-1])*(temp-c.Temp[i-1])/(c.Temp[i]-c.Temp[i-1])
}

// Day returns the mean rate over a day's 24 hours. Errors: ErrHot when any
// hour is hotter than the data go, and those of degreeday.Hours.
func (c Curve) Day(d degreeday.Day) (float64, error) {
	rate, hot, err := c.DayHeld(d)
	if err == nil && hot > 0 {
		return 0, fmt.Errorf("%d hours over %g °C: %w", hot, c.End, ErrHot)
	}
	return rate, err
}

// DayHeld is Day with the rate at End held for the hours that are hotter, and
// the number of those hours.
func (c Curve) DayHeld(d degreeday.Day) (rate float64, hot int, err error) {
	hours, err := degreeday.Hours(d)
	if err != nil {
		return 0, 0, fmt.Errorf("%w: %w", ErrDomain, err)
	}
	for _, t := range hours {
		if t > c.End {
			hot++
		}
		rate += c.at(t) / 24
	}
	return rate, hot, nil
}

// Observed returns ln(later/earlier)/days, a rate from the grower's own two
// counts, which outranks a table. ok is false where it may not be used: a zero
// count, or days outside 4 to 14 (common practice).
func Observed(earlier, later float64, days int) (rate float64, ok bool) {
	if !(earlier > 0) || !(later > 0) || math.IsInf(earlier, 1) || math.IsInf(later, 1) || days < 4 || days > 14 {
		return 0, false
	}
	return (math.Log(later) - math.Log(earlier)) / float64(days), true
}
