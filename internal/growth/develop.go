// Package growth is what temperature does to pests and their natural enemies:
// how long a stage takes, how fast a population can grow, how predators bring
// prey down, and on which nights and days a pest is active at all.
//
// Temperatures are in degrees Celsius, rates per day. Every number it works
// with is an argument: rates and requirements are rows of the catalogue, each
// with its source. Laboratory rates are upper bounds for the field: say
// "could reach", never "will reach".
//
// Pure: no clock, no files, no globals, no chance.
package growth

import (
	"errors"
	"fmt"
	"math"
)

// Errors that callers tell apart with errors.Is.
var (
	ErrDomain = errors.New("argument out of range")
	ErrHot    = errors.New("hotter than the published data go")
	ErrFew    = errors.New("too few points")
)

// Requirement is what a stage needs: DD degree-days over Base.
type Requirement struct {
	Base float64 // °C, the lower threshold
	DD   float64 // degree-days C, above 0
}

// Days returns how long the stage takes at one constant temperature; ok is
// false at or under the threshold: never.
func (r Requirement) Days(temp float64) (days float64, ok bool) { return r.DaysAt([]float64{temp}) }

// DaysAt returns how long the stage takes when the temperatures of a day, such
// as those of its 24 hours, come again every day: DD over the mean of what is
// above the threshold. The daily mean alone would say "never" for cool days
// with warm noons. ok is false for never, and for arguments out of range.
func (r Requirement) DaysAt(temps []float64) (days float64, ok bool) {
	if !(r.DD > 0) || math.IsInf(r.DD, 0) || !finite(r.Base) || len(temps) == 0 {
		return 0, false
	}
	sum := 0.0
	for _, t := range temps {
		if !finite(t) {
			return 0, false
		}
		sum += math.Max(t-r.Base, 0)
	}
	days = r.DD * float64(len(temps)) / sum
	return days, sum > 0 && !math.IsInf(days, 1)
}

// Fit is a Requirement read off durations at constant temperatures.
type Fit struct {
	Requirement
	R2 float64 // share of the spread of 1/days that the line explains
	// SEBase and SEDD are standard errors (delta method); NaN for two points,
	// through which a line is exact and says nothing of its error.
	SEBase, SEDD float64
	Points       int
}

// FitRequirement fits 1/days = a + b temp by least squares: Base = -a/b and
// DD = 1/b. Errors: ErrFew for less than two temperatures, ErrDomain for a
// duration that is not above 0, a number that is not finite, or durations
// that do not fall with temperature.
func FitRequirement(temps, days []float64) (Fit, error) {
	n := len(temps)
	if n != len(days) {
		return Fit{}, fmt.Errorf("%d temperatures and %d durations: %w", n, len(days), ErrDomain)
	}
	if n < 2 {
		return Fit{}, fmt.Errorf("%d temperatures, want two or more: %w", n, ErrFew)
	}
	var mx, my float64
	rate := make([]float64, n)
	for i, t := range temps {
		if !finite(t) || !(days[i] > 1e-9) || !(days[i] < 1e9) {
			return Fit{}, fmt.Errorf("%v days at %v °C: %w", days[i], t, ErrDomain)
		}
		rate[i] = 1 / days[i]
		mx, my = mx+t/float64(n), my+rate[i]/float64(n)
	}
	var xx, xy, yy float64
	for i, t := range temps {
		xx, xy, yy = xx+(t-mx)*(t-mx), xy+(t-mx)*(rate[i]-my), yy+(rate[i]-my)*(rate[i]-my)
	}
	if !(xx > 1e-12) {
		return Fit{}, fmt.Errorf("all durations are of one temperature, %v °C: %w", temps[0], ErrFew)
	}
	b := xy / xx
	if !(b > 0) {
		return Fit{}, fmt.Errorf("the durations do not fall with temperature: %w", ErrDomain)
	}
	a := my - b*mx
	f := Fit{Requirement: Requirement{Base: -a / b, DD: 1 / b}, R2: xy * xy / (xx * yy), SEBase: math.NaN(), SEDD: math.NaN(), Points: n}
	if n > 2 {
		s2 := math.Max(yy-b*xy, 0) / float64(n-2)
		varB := s2 / xx
		// Base = mx - my/b, and my and b are independent.
		f.SEBase = math.Sqrt(s2/float64(n)/(b*b) + my*my*varB/(b*b*b*b))
		f.SEDD = math.Sqrt(varB) / (b * b)
	}
	return f, nil
}

// Line returns the requirement of a printed line, 1/days = a + b temp.
// Errors: ErrDomain when b is not above 0.
func Line(a, b float64) (Requirement, error) {
	if !(b > 0) || !finite(a) || math.IsInf(b, 0) {
		return Requirement{}, fmt.Errorf("rate = %v + %v temp: %w", a, b, ErrDomain)
	}
	return Requirement{Base: -a / b, DD: 1 / b}, nil
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
