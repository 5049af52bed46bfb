// Package degreeday turns a day's lowest and highest temperature into
// degree-days: the area under the day's curve between two thresholds.
//
//	m := degreeday.Model{Method: degreeday.SingleSine, Cutoff: degreeday.Horizontal, Lower: 10, Upper: 30}
//	dd, err := m.Day(degreeday.Day{Min: 8, Max: 34, NextMin: 9})
//
// Temperatures and thresholds are in one unit, degrees Celsius in this
// program; the result is in that unit times days. One Celsius degree-day is
// 1.8 Fahrenheit degree-days: no 32 is subtracted.
//
// A requirement is good only with the method and the cutoff that it was
// worked out with. Pure: no clock, no files, no globals.
//
// Sources: Baskerville & Emin 1969, Ecology 50:514-517 (sine); Sevacherian et
// al. 1977, J. Econ. Entomol. 70:399-402 (triangle); Allen 1976, Environ.
// Entomol. 5:388-396 (double sine); Zalom et al. 1983, UC Leaflet 21373
// (cutoffs, all cases); McMaster & Wilhelm 1997, Agric. For. Meteorol.
// 87:291-300 (averages).
package degreeday

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// ErrDomain is in every error of this package.
var ErrDomain = errors.New("argument out of range")

// Method is how the day's curve is drawn.
type Method string

// The methods. A double method takes the second half of the day down to the
// next day's minimum. The two averages are the two readings of (min+max)/2:
// AverageMean clips the mean to the thresholds, AverageEnds clips minimum and
// maximum first.
const (
	SingleSine     Method = "single sine"
	DoubleSine     Method = "double sine"
	SingleTriangle Method = "single triangle"
	DoubleTriangle Method = "double triangle"
	AverageMean    Method = "average"
	AverageEnds    Method = "average of clipped ends"
)

// Methods are all methods, the usual ones first.
var Methods = []Method{SingleSine, DoubleSine, SingleTriangle, DoubleTriangle, AverageMean, AverageEnds}

// Double reports whether the method needs the next day's minimum.
func (m Method) Double() bool { return m == DoubleSine || m == DoubleTriangle }

// Cutoff is what warmth above the upper threshold does.
type Cutoff string

// The cutoffs. Above the upper threshold development goes on at its highest
// rate (Horizontal), slows as fast as it rose (Intermediate) or stops
// (Vertical). The averages know Horizontal only.
const (
	Horizontal   Cutoff = "horizontal"
	Intermediate Cutoff = "intermediate"
	Vertical     Cutoff = "vertical"
)

// Cutoffs are all cutoffs.
var Cutoffs = []Cutoff{Horizontal, Intermediate, Vertical}

// Model is a way to count degree-days. Upper of +Inf is no upper threshold;
// then the cutoff is of no account and may be "".
type Model struct {
	Method Method
	Cutoff Cutoff
	Lower  float64
	Upper  float64
}

// Day is one day's temperatures. NextMin is used by the double methods alone.
// When it is above Max, the second half of the day stays at Max.
type Day struct{ Min, Max, NextMin float64 }

// Check says what is wrong with the model: ErrDomain for an unknown method or
// cutoff, a threshold that is not finite, or an upper one that is not above
// the lower.
func (m Model) Check() error {
	switch {
	case !slices.Contains(Methods, m.Method):
		return fmt.Errorf("unknown method %q: %w", m.Method, ErrDomain)
	case !finite(m.Lower):
		return fmt.Errorf("lower threshold %v: %w", m.Lower, ErrDomain)
	case !(m.Upper > m.Lower) || m.Upper > hottest && !math.IsInf(m.Upper, 1):
		return fmt.Errorf("upper threshold %v, want above the lower, %v: %w", m.Upper, m.Lower, ErrDomain)
	case math.IsInf(m.Upper, 1):
		return nil
	case !slices.Contains(Cutoffs, m.Cutoff):
		return fmt.Errorf("unknown cutoff %q: %w", m.Cutoff, ErrDomain)
	case (m.Method == AverageMean || m.Method == AverageEnds) && m.Cutoff != Horizontal:
		return fmt.Errorf("%s with cutoff %s: averages know a horizontal one only: %w", m.Method, m.Cutoff, ErrDomain)
	}
	return nil
}

// Day returns the degree-days of one day, 0 or more. Errors: ErrDomain for a
// model that is not in order, a temperature that is not finite or beyond
// 1000 degrees, or a minimum above the maximum.
func (m Model) Day(d Day) (float64, error) {
	if err := m.Check(); err != nil {
		return 0, err
	}
	return m.day(d)
}

func (m Model) day(d Day) (float64, error) {
	if !finite(d.Min) || !finite(d.Max) {
		return 0, fmt.Errorf("minimum %v, maximum %v: %w", d.Min, d.Max, ErrDomain)
	}
	if d.Min > d.Max {
		return 0, fmt.Errorf("minimum %v above maximum %v: %w", d.Min, d.Max, ErrDomain)
	}
	if m.Method.Double() {
		if !finite(d.NextMin) {
			return 0, fmt.Errorf("next day's minimum %v: %w", d.NextMin, ErrDomain)
		}
		return (m.half(d.Min, d.Max) + m.half(math.Min(d.NextMin, d.Max), d.Max)) / 2, nil
	}
	return m.half(d.Min, d.Max), nil
}

// half is the degree-days of a day that runs between a and b all the time.
func (m Model) half(a, b float64) float64 {
	switch m.Method {
	case AverageMean:
		return clip((a+b)/2, m.Lower, m.Upper) - m.Lower
	case AverageEnds:
		return (clip(a, m.Lower, m.Upper)+clip(b, m.Lower, m.Upper))/2 - m.Lower
	}
	low := m.above(a, b, m.Lower)
	if math.IsInf(m.Upper, 1) || b <= m.Upper {
		return low
	}
	high := m.above(a, b, m.Upper)
	switch m.Cutoff {
	case Intermediate:
		return math.Max(low-2*high, 0)
	case Vertical:
		return math.Max(low-high-(m.Upper-m.Lower)*m.share(a, b, m.Upper), 0)
	}
	return math.Max(low-high, 0)
}

// above is the area of the curve over t: the six cases of the tables are this
// at the lower and at the upper threshold.
func (m Model) above(a, b, t float64) float64 {
	mean := a + (b-a)/2
	switch {
	case b <= t:
		return 0
	case a >= t:
		return mean - t
	case m.Method == SingleTriangle || m.Method == DoubleTriangle:
		return (b - t) * ((b - t) / (b - a)) / 2
	}
	half := (b - a) / 2
	at := math.Asin(clip((t-mean)/half, -1, 1))
	return ((mean-t)*(math.Pi/2-at) + half*math.Cos(at)) / math.Pi
}

// share is the part of the day that the curve is over t.
func (m Model) share(a, b, t float64) float64 {
	switch {
	case b <= t:
		return 0
	case a >= t:
		return 1
	case m.Method == SingleTriangle || m.Method == DoubleTriangle:
		return (b - t) / (b - a)
	}
	return (math.Pi/2 - math.Asin(clip((t-a-(b-a)/2)/((b-a)/2), -1, 1))) / math.Pi
}

// Hours returns the temperature at the middle of each of the day's 24 hours,
// along a sine from the minimum up to the maximum and down to the next
// minimum (to Max when that is above it; NaN stands for the same minimum).
// Errors: ErrDomain as for Day.
//
// A rate that is not a straight line must be averaged over these, never taken
// at the daily mean: below about 16 °C the mean alone says "no growth" where
// there is some (Bayu et al. 2017, Exp. Appl. Acarol., seen as an abstract).
func Hours(d Day) (t [24]float64, err error) {
	if !finite(d.Min) || !finite(d.Max) || d.Min > d.Max || math.Abs(d.NextMin) > hottest {
		return t, fmt.Errorf("minimum %v, maximum %v, next minimum %v: %w", d.Min, d.Max, d.NextMin, ErrDomain)
	}
	next := d.Min
	if !math.IsNaN(d.NextMin) {
		next = math.Min(d.NextMin, d.Max)
	}
	for i := range t {
		low := d.Min
		if i >= 12 {
			low = next
		}
		t[i] = low + (d.Max-low)*(1-hourCos[i])/2
	}
	return t, nil
}

// hourCos are cos(2 pi (i+1/2)/24), constants.
var hourCos = func() (c [24]float64) {
	for i := range c {
		c[i] = math.Cos(2 * math.Pi * (float64(i) + 0.5) / 24)
	}
	return c
}()

// FromF turns Fahrenheit degree-days into Celsius degree-days.
func FromF(dd float64) float64 { return dd / 1.8 }

func clip(x, low, high float64) float64 { return math.Min(math.Max(x, low), high) }

// hottest is far beyond any weather in any unit; what is hotter is a slip.
const hottest = 1000

func finite(x float64) bool { return math.Abs(x) <= hottest }
