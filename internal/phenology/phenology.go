// Package phenology tells when a pest or a natural enemy reaches its stages:
// degree-days added up from a start over a row of days, with the range that the
// years and the requirement leave open.
//
// Temperatures are in degrees Celsius. Pure: no clock, no files, no chance.
package phenology

import (
	"errors"
	"fmt"
	"math"

	"leafturn/internal/civil"
	"leafturn/internal/climate"
	"leafturn/internal/degreeday"
)

// ErrDomain is in every error of this package.
var ErrDomain = errors.New("argument out of range")

// Step is one day of a sum.
type Step struct {
	climate.Day
	DD  float64 // of the day
	Sum float64 // since the start, the day included
}

// tiers are the middles of seven equally likely parts of a normal
// distribution, scaled to a standard deviation of 1.
var tiers = [7]float64{-1.607574, -0.868542, -0.401672, 0, 0.401672, 0.868542, 1.607574}

// Sum adds up degree-days from a day on to the end of the series. Where a day
// is missing the sum stops: gap is that day, and the steps end before it. A
// double method takes the next day's minimum; on the last day, and before a
// missing one, its own.
//
// The usual day hides the warm days that make it up, and would count too
// little near the threshold; so a Normal day is taken as seven equally likely
// ones, spread as its single days are.
func Sum(m degreeday.Model, s climate.Series, from civil.Date) (steps []Step, gap civil.Date, err error) {
	if err := m.Check(); err != nil {
		return nil, civil.Date{}, fmt.Errorf("%w: %w", ErrDomain, err)
	}
	days := s.Days()
	if len(days) == 0 || from.Before(days[0].Date) || from.After(days[len(days)-1].Date) {
		return nil, civil.Date{}, fmt.Errorf("%s lies outside the days: %w", from, ErrDomain)
	}
	sum := 0.0
	for i := from.Sub(days[0].Date); i < len(days); i++ {
		d := days[i]
		if !d.Known() {
			return steps, d.Date, nil
		}
		next := d.Min
		if i+1 < len(days) && days[i+1].Known() {
			next = days[i+1].Min
		}
		v, err := daySum(m, d, next)
		if err != nil {
			return nil, civil.Date{}, fmt.Errorf("%s: %w: %w", d.Date, ErrDomain, err)
		}
		sum += v
		steps = append(steps, Step{d, v, sum})
	}
	return steps, civil.Date{}, nil
}

func daySum(m degreeday.Model, d climate.Day, next float64) (float64, error) {
	if d.Kind != climate.Normal || d.Spread == 0 {
		return m.Day(degreeday.Day{Min: d.Min, Max: d.Max, NextMin: next})
	}
	total := 0.0
	for _, z := range tiers {
		v, err := m.Day(degreeday.Day{Min: d.Min + z*d.Spread, Max: d.Max + z*d.Spread, NextMin: next + z*d.Spread})
		if err != nil {
			return 0, err
		}
		total += v
	}
	return total / float64(len(tiers)), nil
}

// Stage is what a stage needs: DD degree-days of its model, and the range of
// times that many in which it was seen to take.
type Stage struct {
	Model     degreeday.Model
	DD        float64
	Low, High float64 // such as 0.7 and 1.5; at most 1 and at least 1
}

// Check says what is wrong with a stage.
func (s Stage) Check() error {
	if err := s.Model.Check(); err != nil {
		return fmt.Errorf("%w: %w", ErrDomain, err)
	}
	if !(s.DD > 0) || math.IsInf(s.DD, 0) || !(s.Low > 0 && s.Low <= 1) || !(s.High >= 1 && s.High < 100) {
		return fmt.Errorf("%v degree-days, %v to %v times: %w", s.DD, s.Low, s.High, ErrDomain)
	}
	return nil
}

// When is a date, or why there is none.
type When struct {
	Date civil.Date   // zero where it is not reached
	Kind climate.Kind // of that day
	Gap  civil.Date   // the missing day before which the sum stops
}

// Reached reports whether there is a date.
func (w When) Reached() bool { return !w.Date.IsZero() }

// Reaching is when a stage is reached: expected, and at the earliest and the
// latest that the years and the requirement leave open. Progress is the share
// of the stage that is done on the day asked for.
type Reaching struct {
	Expected, Earliest, Latest When
	Progress                   float64 // 0 to 1; NaN where a missing day hides it
	Sum                        float64 // degree-days of this stage so far
	Years                      int     // past years behind the range; 0: the requirement alone
}

// Clock is a chain of stages, each from the day after the one before it was
// reached.
type Clock struct {
	Start  civil.Date
	Stages []Stage
}

// Run tells when each stage is reached. series is the season as it is expected;
// members are the same season as past years would end it. today is the day up
// to which progress is told.
func (c Clock) Run(series climate.Series, members []climate.Member, today civil.Date) ([]Reaching, error) {
	for _, s := range c.Stages {
		if err := s.Check(); err != nil {
			return nil, err
		}
	}
	one := func(Stage) float64 { return 1 }
	expected, sums, err := c.chain(series, one, today)
	if err != nil {
		return nil, err
	}
	low := func(s Stage) float64 { return s.Low }
	high := func(s Stage) float64 { return s.High }
	all := []climate.Series{series}
	if len(members) >= climate.LeastMembers {
		for _, m := range members {
			all = append(all, m.Series)
		}
	}
	out := make([]Reaching, len(c.Stages))
	for i := range out {
		out[i] = Reaching{Expected: expected[i], Sum: sums[i], Progress: math.NaN(), Years: len(all) - 1}
		if !math.IsNaN(sums[i]) {
			out[i].Progress = math.Min(sums[i]/c.Stages[i].DD, 1)
		}
	}
	for k, s := range all {
		early, _, err := c.chain(s, low, today)
		if err != nil {
			return nil, err
		}
		late, _, err := c.chain(s, high, today)
		if err != nil {
			return nil, err
		}
		for i := range out {
			if k == 0 {
				out[i].Earliest, out[i].Latest = early[i], late[i]
				continue
			}
			if e := early[i]; e.Reached() && (!out[i].Earliest.Reached() || e.Date.Before(out[i].Earliest.Date)) {
				out[i].Earliest = e
			}
			// One year in which it is not reached leaves the end open.
			if l := late[i]; out[i].Latest.Reached() && (!l.Reached() || l.Date.After(out[i].Latest.Date)) {
				out[i].Latest = l
			}
		}
	}
	return out, nil
}

// chain runs the stages over one series. sums are the degree-days of each
// stage up to today: NaN where a missing day hides them.
func (c Clock) chain(s climate.Series, times func(Stage) float64, today civil.Date) (out []When, sums []float64, err error) {
	out, sums = make([]When, len(c.Stages)), make([]float64, len(c.Stages))
	start, gap := c.Start, civil.Date{}
	for i, stage := range c.Stages {
		switch {
		case !gap.IsZero():
			out[i].Gap = gap
			if !gap.After(today) {
				sums[i] = math.NaN()
			}
			continue
		case start.IsZero():
			continue
		}
		steps, missing, err := Sum(stage.Model, s, start)
		if err != nil {
			return nil, nil, err
		}
		for _, x := range steps {
			if !x.Date.After(today) {
				sums[i] = x.Sum
			}
			if x.Sum >= stage.DD*times(stage)-1e-9 {
				out[i] = When{Date: x.Date, Kind: x.Kind}
				break
			}
		}
		if !out[i].Reached() {
			out[i].Gap, gap = missing, missing
			if !missing.IsZero() && !missing.After(today) {
				sums[i] = math.NaN()
			}
			start = civil.Date{}
			continue
		}
		start = out[i].Date.AddDays(1)
		if days := s.Days(); start.After(days[len(days)-1].Date) {
			start = civil.Date{}
		}
	}
	return out, sums, nil
}
