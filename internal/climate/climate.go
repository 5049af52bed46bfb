// Package climate carries a farm's daily lowest and highest temperatures past
// today: with what is usual for the day of the year, from the farm's own years
// or from monthly normals.
//
// Every day says where it comes from. A day that was measured is never
// changed; a gap is filled only where that is asked for, and then says so.
//
// Temperatures are in degrees Celsius. Pure: no clock, no files, no chance.
package climate

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"leafturn/internal/civil"
)

// ErrDomain is in every error of this package.
var ErrDomain = errors.New("argument out of range")

// Kind tells where a day's temperatures come from.
type Kind string

// The kinds.
const (
	Measured Kind = "measured"
	Forecast Kind = "forecast"
	Filled   Kind = "filled" // between its neighbours
	Normal   Kind = "normal" // what is usual on that day of the year
	Missing  Kind = "missing"
)

// Day is one day's lowest and highest temperature. Both are NaN where Kind is
// Missing.
type Day struct {
	Date     civil.Date
	Min, Max float64
	Kind     Kind
	// Spread is how far single days of a Normal day lie from it, as a standard
	// deviation; 0 for other kinds, and where it is not known.
	Spread float64
}

// Known reports whether the day has temperatures.
func (d Day) Known() bool { return d.Kind != Missing }

// MaxFill is the longest gap, in days, that is ever filled. Common practice:
// weather carries over a few days, not over a week.
const MaxFill = 3

// Series is a row of days without a hole, first to last.
type Series struct{ days []Day }

// Days returns the days; the list must not be changed.
func (s Series) Days() []Day { return s.days }

// At returns the day of a date.
func (s Series) At(d civil.Date) (Day, bool) {
	if len(s.days) == 0 {
		return Day{}, false
	}
	i := d.Sub(s.days[0].Date)
	if i < 0 || i >= len(s.days) {
		return Day{}, false
	}
	return s.days[i], true
}

// Lay puts readings on the days from first to last; a day without a reading is
// Missing. Of two readings of a day the measured one stands.
// Errors: ErrDomain for a last day before the first or more than 4000 days
// after it, and for a reading whose minimum is above its maximum or that is not
// finite.
func Lay(first, last civil.Date, readings []Day) (Series, error) {
	n := last.Sub(first) + 1
	if n < 1 || n > 4000 {
		return Series{}, fmt.Errorf("%s to %s: %w", first, last, ErrDomain)
	}
	s := Series{days: make([]Day, n)}
	for i := range s.days {
		s.days[i] = Day{Date: first.AddDays(i), Min: math.NaN(), Max: math.NaN(), Kind: Missing}
	}
	for _, r := range readings {
		i := r.Date.Sub(first)
		if i < 0 || i >= n || !r.Known() {
			continue
		}
		if !finite(r.Min) || !finite(r.Max) || r.Min > r.Max {
			return Series{}, fmt.Errorf("%s: minimum %v, maximum %v: %w", r.Date, r.Min, r.Max, ErrDomain)
		}
		if s.days[i].Kind != Measured {
			s.days[i] = r
		}
	}
	return s, nil
}

// Fill puts a straight line between the neighbours into gaps of at most
// MaxFill days that have a day on both sides. Longer gaps stay.
func (s Series) Fill() Series {
	out := Series{days: slices.Clone(s.days)}
	for i := 0; i < len(out.days); {
		if out.days[i].Known() {
			i++
			continue
		}
		end := i
		for end < len(out.days) && !out.days[end].Known() {
			end++
		}
		if i > 0 && end < len(out.days) && end-i <= MaxFill {
			a, b := out.days[i-1], out.days[end]
			for j := i; j < end; j++ {
				w := float64(j-i+1) / float64(end-i+1)
				out.days[j].Min, out.days[j].Max = a.Min+w*(b.Min-a.Min), a.Max+w*(b.Max-a.Max)
				out.days[j].Kind = Filled
			}
		}
		i = end
	}
	return out
}

// Carry puts what is usual into the missing days from a day on, where it is
// known.
func (s Series) Carry(from civil.Date, n Normals) Series {
	out := Series{days: slices.Clone(s.days)}
	for i, d := range out.days {
		if d.Known() || d.Date.Before(from) {
			continue
		}
		if usual, ok := n.On(d.Date); ok {
			out.days[i] = usual
		}
	}
	return out
}

func finite(x float64) bool { return math.Abs(x) <= 1000 }
