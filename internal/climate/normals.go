package climate

import (
	"fmt"
	"math"
	"slices"
	"time"

	"leafturn/internal/civil"
)

// Normals are what is usual on each day of the year.
type Normals struct {
	Source string // what they are made of, in words
	// Years is the least number of years behind any day that has one; 0 for
	// typed monthly normals.
	Years int
	// days by day of the year, in a year without and in one with a 29 February.
	days [2][]Day
}

// IsZero reports whether there are none.
func (n Normals) IsZero() bool { return n.days[0] == nil }

// On returns the usual day, false where it is not known.
func (n Normals) On(d civil.Date) (Day, bool) {
	leap := leapOf(d.Year)
	if n.days[leap] == nil {
		return Day{}, false
	}
	x := n.days[leap][d.YearDay()-1]
	x.Date = d
	return x, x.Known()
}

func leapOf(year int) int {
	if civil.New(year, time.December, 31).YearDay() == 366 {
		return 1
	}
	return 0
}

// The window of a usual day: the days from 7 before to 7 after it, of which a
// year must have at least 8 to be counted. Common practice.
const (
	halfWindow = 7
	leastDays  = halfWindow + 1
)

// FromYears makes normals of the measured days of the farm's own years: the
// mean minimum and maximum of the days around each day of the year, first of
// each year and then over the years. Other kinds of days are left out.
func FromYears(readings []Day) Normals {
	const slots = 366 // each has its place in a year with a 29 February
	byYear := map[int]*[slots]Day{}
	for _, r := range readings {
		if r.Kind != Measured {
			continue
		}
		y := byYear[r.Date.Year]
		if y == nil {
			y = new([slots]Day)
			byYear[r.Date.Year] = y
		}
		y[slot(r.Date)] = r
	}
	var years []int
	for y := range byYear {
		years = append(years, y)
	}
	slices.Sort(years)
	var all [slots]Day
	out := Normals{}
	for i := range all {
		var low, high []float64
		var means [][]float64
		for _, y := range years {
			var ls, hs, ms []float64
			for k := -halfWindow; k <= halfWindow; k++ {
				// The window passes the new year into the neighbouring year.
				at, of := i+k, y
				if at < 0 {
					at, of = at+slots, y-1
				} else if at >= slots {
					at, of = at-slots, y+1
				}
				if p := byYear[of]; p != nil && p[at].Kind == Measured {
					ls, hs, ms = append(ls, p[at].Min), append(hs, p[at].Max), append(ms, (p[at].Min+p[at].Max)/2)
				}
			}
			if len(ls) < leastDays {
				continue
			}
			low, high, means = append(low, mean(ls)), append(high, mean(hs)), append(means, ms)
		}
		all[i] = Day{Min: math.NaN(), Max: math.NaN(), Kind: Missing}
		if len(low) == 0 {
			continue
		}
		if out.Years == 0 || len(low) < out.Years {
			out.Years = len(low)
		}
		all[i] = Day{Min: mean(low), Max: mean(high), Kind: Normal, Spread: spread(slices.Concat(means...))}
	}
	if out.Years == 0 {
		return Normals{}
	}
	first, last := years[0], years[len(years)-1]
	out.Source = fmt.Sprintf("the farm's own weather, %d to %d", first, last)
	if first == last {
		out.Source = fmt.Sprintf("the farm's own weather of %d", first)
	}
	const feb29 = 59
	out.days[1] = slices.Clone(all[:])
	out.days[0] = slices.Concat(all[:feb29], all[feb29+1:])
	return out
}

// slot is the place of a date among the 366 days of a year with a 29 February.
func slot(d civil.Date) int { return civil.New(2024, d.Month, d.Day).YearDay() - 1 }

// Month is the mean minimum and maximum of a month.
type Month struct{ Min, Max float64 }

// FromMonths makes daily normals of twelve monthly ones, from January: straight
// lines between the middles of the months, bent so that the mean of each month
// is the one given. Errors: ErrDomain for a minimum above its maximum, a value
// that is not finite, or months that leap so far that a day's minimum would
// pass its maximum.
func FromMonths(months [12]Month, source string) (Normals, error) {
	var low, high [12]float64
	for i, m := range months {
		if !finite(m.Min) || !finite(m.Max) || m.Min > m.Max {
			return Normals{}, fmt.Errorf("%s: minimum %v, maximum %v: %w", time.Month(i+1), m.Min, m.Max, ErrDomain)
		}
		low[i], high[i] = m.Min, m.Max
	}
	out := Normals{Source: source}
	for leap, year := range [2]int{2023, 2024} {
		a, b := keepMeans(low, year), keepMeans(high, year)
		for i := range a {
			if a[i] > b[i] {
				d := civil.New(year, time.January, 1+i)
				return Normals{}, fmt.Errorf("the months leap so far that on %d %s the minimum passes the maximum: %w", d.Day, d.Month, ErrDomain)
			}
			out.days[leap] = append(out.days[leap], Day{Min: a[i], Max: b[i], Kind: Normal})
		}
	}
	return out, nil
}

// keepMeans draws straight lines between the middles of the months and moves
// their ends until the mean of each month is right. Each round moves an end by
// what its month is off; a month's mean hangs on its own end for three quarters,
// so the rounds close in fast.
func keepMeans(means [12]float64, year int) []float64 {
	var first, length [12]int
	n := 0
	for m := range first {
		first[m] = n
		length[m] = civil.New(year, time.Month(m+2), 0).Day
		n += length[m]
	}
	middle := func(m int) float64 { // of month m, which may lie in a neighbouring year
		turn := float64(n) * math.Floor(float64(m)/12)
		m = (m + 12) % 12
		return turn + float64(first[m]) + float64(length[m]-1)/2
	}
	ends := means
	days := make([]float64, n)
	for range 200 {
		for m := range ends {
			for d := first[m]; d < first[m]+length[m]; d++ {
				a, b := m-1, m
				if float64(d) > middle(m) {
					a, b = m, m+1
				}
				w := (float64(d) - middle(a)) / (middle(b) - middle(a))
				days[d] = (1-w)*ends[(a+12)%12] + w*ends[b%12]
			}
		}
		worst := 0.0
		for m := range ends {
			off := means[m] - mean(days[first[m]:first[m]+length[m]])
			ends[m] += off
			worst = math.Max(worst, math.Abs(off))
		}
		if worst < 1e-12 {
			break
		}
	}
	return days
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// spread is the standard deviation, 0 of less than two.
func spread(x []float64) float64 {
	if len(x) < 2 {
		return 0
	}
	m, sum := mean(x), 0.0
	for _, v := range x {
		sum += (v - m) * (v - m)
	}
	return math.Sqrt(sum / float64(len(x)-1))
}
