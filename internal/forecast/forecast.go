// Package forecast carries what is believed of a pest's density ahead, day by
// day for at most two weeks, through growth, weather, treatments and releases:
//
//	f, err := forecast.New(forecast.Setup{Days: 7, Paths: 2000, Seed: 1, Weather: days})
//	table, err := f.Table(curve, 0.5, 1.25)
//	r, err := f.Bed(forecast.Bed{Start: b.Read(), Growth: forecast.Growth{Table: table, Noise: 0.02}, Threshold: 10})
//
// It is a simulation of so many paths. Each path has random numbers of its
// own, from the seed and its number: neither the order of the work nor the
// number of cores changes a bit of the result. All beds, pests and
// alternatives use the same numbers, so that the difference between two of
// them is theirs and not luck. Chances about several beds at once cannot be
// had from it.
//
// Laboratory rates are upper bounds: say "could reach". SCORES.md has what the
// forecast is worth against two simple ones. Not here: movement between beds,
// rain, the season's gates (diapause), and anything past 14 days, where the
// answer is to scout again.
package forecast

import (
	"errors"
	"fmt"
	"math"

	"leafturn/internal/degreeday"
	"leafturn/internal/growth"
)

// Horizons and the usual cap, common practice.
const (
	UsualDays = 7
	MostDays  = 14
	UsualCap  = 50 // mites per leaf: overrun
	UsualPath = 2000
)

// Errors that callers tell apart with errors.Is. The words are for people.
var (
	ErrDomain    = errors.New("argument out of range")
	ErrFar       = errors.New("too far ahead")
	ErrNoWeather = errors.New("no temperature record")
	ErrNoRate    = errors.New("no rate of growth is known")
	ErrNoneFound = errors.New("none were found")
)

// Weather is one day's temperatures, measured, forecast or usual for the time
// of the year, °C. SD is how far the true ones may lie from them, as a
// standard deviation: 0 for measured, that of the years for usual ones. Both
// move together, and a warm day is likely to follow a warm day.
type Weather struct{ Min, Max, SD float64 }

// stays is the correlation of the deviations of one day and the next. Common
// practice.
const stays = 0.7

// Setup is what all beds and pests share.
type Setup struct {
	Days    int // 1 to 14
	Paths   int // 1 to 100,000
	Seed    uint64
	Weather []Weather // of the days from today on; may be empty where no table is used
}

// Forecaster has the random numbers and the weather of one setup. It is not
// changed after New: several goroutines may use it.
type Forecaster struct {
	days, paths int
	weather     []Weather
	start       []place     // by path: where in the belief it starts
	rate        []float64   // standard normal, by path
	effect      []float64   // standard normal, by path: how well treatments and releases do
	noise       [][]float64 // standard normal, by day and path
	warmer      [][]float64 // °C above the day's weather, by day and path
}

// Start is a belief of today's density: the density below which the share p of
// it lies. A belief.Reader is one.
type Start interface{ Quantile(p float64) float64 }

// Growth is how ln density grows. Own outranks Table: counts of the grower's
// own replace what a laboratory found.
type Growth struct {
	Table *Table
	Own   *Rate
	// Noise is the variance that luck and movement add to ln density a day, as
	// in belief.Growth.
	Noise float64
}

// Rate is growth of ln density per day and how well it is known, as a standard
// deviation. With Base above 0 it was read over days in which the table says
// Base per day, and it goes with the temperature as the table does.
type Rate struct{ Rate, SD, Base float64 }

// Combine returns the rate that two independent sources give together, by
// their precisions. One with an SD of 0 is certain, the second if both are.
func Combine(a, b Rate) Rate {
	va, vb := a.SD*a.SD, b.SD*b.SD
	switch {
	case vb == 0:
		return b
	case va == 0:
		return a
	}
	return Rate{Rate: (a.Rate*vb + b.Rate*va) / (va + vb), SD: math.Sqrt(va / (va + vb) * vb), Base: b.Base}
}

// drift is how well a past rate holds in the days to come, and how far from 0
// rates lie where nothing is known, each as a standard deviation per day: that
// of belief.UnknownGrowth. Common practice; SCORES.md has what it is worth.
const drift = 0.07

// Holds is what a rate that was read off past counts says of the days to come,
// for a pest without a table: it is drawn towards no change, by half at the
// least.
func Holds(perDay, sd float64) Rate {
	return Combine(Rate{SD: drift}, Rate{Rate: perDay, SD: math.Hypot(sd, drift)})
}

// Field is what a rate that was read off past counts says where there is a
// table, Base being its rate over the same days: of what grows on a plant in the
// field, a quarter of the laboratory's rate, with a standard deviation of 0.6 of
// it, is taken before the counts speak, and the counted rate holds to 0.03 a
// day. Counts that are good outweigh that; two poor ones do not. The numbers are
// ours, chosen on the simulated seasons of SCORES.md. Without a Base it is
// Holds.
func Field(counted Rate) Rate {
	if counted.Base <= 0 {
		return Holds(counted.Rate, counted.SD)
	}
	counted.SD = math.Hypot(counted.SD, 0.03)
	return Combine(Rate{Rate: 0.25 * counted.Base, SD: 0.6 * counted.Base}, counted)
}

// Table is a rate by temperature over the setup's weather.
type Table struct {
	of       *Forecaster
	middle   float64     // factor in the middle
	factor   []float64   // by path
	base     [][]float64 // the curve's rate, by day and path
	HotHours int         // hours hotter than the data go, where the last rate is held
	HotDays  int
}

// warmest and warmStep are the grid on which a day's rate is worked out.
const (
	warmest  = 15.0
	warmStep = 0.5
	warmGrid = int(2*warmest/warmStep) + 1
)

// Table works out a curve's rates over the days, hour by hour. The true rate is
// the curve's times a factor that lies below low, or above high, with a chance
// of 5 % each (log-normal): 0.5 and 1.25 are common practice for laboratory
// rates, which makes the middle 0.79, as such rates are upper bounds.
// Errors: ErrNoWeather where a day is missing, ErrDomain.
func (f *Forecaster) Table(c growth.Curve, low, high float64) (*Table, error) {
	if err := c.Check(); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrDomain, err)
	}
	if !(low > 0 && low <= high && high <= 100) {
		return nil, fmt.Errorf("a band of %v to %v times the rate: %w", low, high, ErrDomain)
	}
	if len(f.weather) < f.days {
		return nil, fmt.Errorf("this pest grows with the temperature, and the weather is known for %d of %d days: %w", len(f.weather), f.days, ErrNoWeather)
	}
	m, s := band(low, high)
	t := &Table{of: f, middle: math.Exp(m), factor: make([]float64, f.paths)}
	for p, z := range f.rate {
		t.factor[p] = math.Exp(m + s*z)
	}
	for d := range f.days {
		hot := 0
		grid, err := f.overWarmth(d, func(w degreeday.Day) (float64, error) {
			r, h, err := c.DayHeld(w)
			if w.Max == f.weather[d].Max {
				hot = h
			}
			return r, err
		})
		if err != nil {
			return nil, err
		}
		if t.HotHours += hot; hot > 0 {
			t.HotDays++
		}
		t.base = append(t.base, f.along(d, grid))
	}
	return t, nil
}

// overWarmth works something out for the day's weather made warmer and colder.
func (f *Forecaster) overWarmth(d int, at func(degreeday.Day) (float64, error)) (grid [warmGrid]float64, err error) {
	w := f.weather[d]
	for i := range grid {
		by := float64(i-warmGrid/2) * warmStep
		if w.SD == 0 && by != 0 {
			continue
		}
		if grid[i], err = at(degreeday.Day{Min: w.Min + by, Max: w.Max + by, NextMin: math.NaN()}); err != nil {
			return grid, fmt.Errorf("day %d: %w: %w", d+1, ErrDomain, err)
		}
	}
	return grid, nil
}

// along reads the grid at each path's warmth.
func (f *Forecaster) along(d int, grid [warmGrid]float64) []float64 {
	out := make([]float64, f.paths)
	for p, by := range f.warmer[d] {
		at := (by + warmest) / warmStep
		i := min(int(at), warmGrid-2)
		out[p] = grid[i] + (grid[i+1]-grid[i])*(at-float64(i))
	}
	if f.weather[d].SD == 0 {
		for p := range out {
			out[p] = grid[warmGrid/2]
		}
	}
	return out
}

// band returns median and standard deviation of the log of the factor.
func band(low, high float64) (ln, sd float64) {
	a, b := math.Log(low), math.Log(high)
	return (a + b) / 2, (b - a) / (2 * z95)
}

// z95 is exceeded by a standard normal with a chance of 5 %.
const z95 = 1.6448536269514722

// check refuses what growth cannot be carried ahead with.
func (g Growth) check(f *Forecaster) error {
	if g.Table == nil && g.Own == nil {
		return fmt.Errorf("no published rate fits this pest and the counts show none yet; count twice, 4 to 14 days apart: %w", ErrNoRate)
	}
	if g.Table != nil && g.Table.of != f {
		return fmt.Errorf("a table of another forecast: %w", ErrDomain)
	}
	if !(g.Noise >= 0 && g.Noise <= 25) {
		return fmt.Errorf("noise %v, want 0 to 25 a day: %w", g.Noise, ErrDomain)
	}
	if r := g.Own; r != nil && (!(math.Abs(r.Rate) <= 5 && r.SD >= 0 && r.SD <= 5 && r.Base >= 0 && r.Base <= 5) || r.Base > 0 && r.Base < 1e-3) {
		return fmt.Errorf("rate %v with standard deviation %v over %v: want -5 to 5, 0 to 5, and 0 or 0.001 to 5 a day: %w", r.Rate, r.SD, r.Base, ErrDomain)
	} else if r != nil && r.Base > 0 && g.Table == nil {
		return fmt.Errorf("a rate that goes with the temperature, without a table: %w", ErrNoWeather)
	}
	return nil
}

// factors sets out to each path's factor and says whether it is of the table's
// rate, or is itself the rate.
func (g Growth) factors(f *Forecaster, out []float64) (times bool) {
	if r := g.Own; r != nil {
		m, s := r.Rate, r.SD
		if times = r.Base > 0; times {
			m, s = m/r.Base, s/r.Base
		}
		for p, z := range f.rate {
			out[p] = m + s*z
		}
		return times
	}
	copy(out, g.Table.factor)
	return true
}
