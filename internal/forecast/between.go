package forecast

import (
	"math"

	"leafturn/internal/civil"
)

// Seen is ln of the density that a count found by itself, and its variance.
type Seen struct {
	Day     civil.Date
	Ln, Var float64
	None    bool // nothing was found
}

// SeenOf is that of a count with (total + 0.5) animals on n units that clump with k; scale
// turns a mean per unit into the density's measure.
func SeenOf(day civil.Date, total, n int, k, scale float64) Seen {
	m := (float64(total) + 0.5) / float64(n)
	return Seen{Day: day, Ln: math.Log(m * scale), Var: (1/m + 1/k) / float64(n), None: total == 0}
}

// The past that a rate is read from, as in package trend, and the variance that
// weather, movement and luck add to a count's ln density in half a week.
const (
	seenDates = 6
	seenDays  = 42
	seenNoise = 0.07
	leastBase = 0.02 // colder than this the table says nothing
)

// holds are what may be before the counts speak, as parts of the table's rate
// with a standard deviation, each as likely as the other: the pest grows much as
// the table says, or its host or enemies hold it down. The counts then say which.
// Chosen on the simulated seasons of SCORES.md: with one bell in the place of the
// two a belief did worse where enemies are than with growth of an unknown rate.
func holds() [2]struct{ part, sd float64 } {
	return [2]struct{ part, sd float64 }{{0.7, 0.4}, {-0.3, 0.3}}
}

// told is mean and standard deviation of the rate as a part of the table's, when
// counts say part with a variance; +Inf for no counts.
func told(part, variance float64) (mean, sd float64) {
	var at, ln, left [2]float64
	for i, h := range holds() {
		v := h.sd * h.sd
		at[i], left[i] = h.part, v
		if !math.IsInf(variance, 1) {
			off := part - h.part
			ln[i] = -off*off/(2*(v+variance)) - math.Log(v+variance)/2
			at[i], left[i] = (h.part*variance+part*v)/(v+variance), v*variance/(v+variance)
		}
	}
	w := 1 / (1 + math.Exp(ln[1]-ln[0])) // of the first
	between := at[0] - at[1]
	return w*at[0] + (1-w)*at[1], math.Sqrt(w*left[0] + (1-w)*left[1] + w*(1-w)*between*between)
}

// Between is the growth of ln density per day to carry a belief over days on
// which the table says base per day, and its standard deviation: what holds says,
// and what the counts before say, which goes with the temperature as the table
// does. seen are the pest's counts in the bed since the last step, oldest first,
// and baseOf the table's rate between two days; ok is false where that is not
// known. The rate is read by weighted least squares, which on the simulated
// seasons of SCORES.md does as well as the regression of package trend and costs
// next to nothing.
func Between(base float64, seen []Seen, baseOf func(from, to civil.Date) (rate float64, ok bool)) (rate, sd float64) {
	base = math.Max(base, leastBase)
	part, width := told(0, math.Inf(1))
	rate, sd = part*base, width*base
	if len(seen) == 0 {
		return rate, sd
	}
	last := seen[len(seen)-1].Day
	var w, wx, wy, wxx, wxy float64
	first, dates, found := last, 0, false
	day := civil.Date{}
	for i := len(seen) - 1; i >= 0; i-- {
		s := seen[i]
		if s.Day != day {
			day = s.Day
			dates++
		}
		if last.Sub(s.Day) > seenDays || dates > seenDates {
			break
		}
		first, found = s.Day, found || !s.None
		p, x := 1/(s.Var+seenNoise), float64(s.Day.Sub(last))
		w, wx, wy, wxx, wxy = w+p, wx+p*x, wy+p*s.Ln, wxx+p*x*x, wxy+p*x*s.Ln
	}
	of, ok := baseOf(first, last)
	d := wxx - wx*wx/w
	if !ok || !found || first == last || !(d > 1e-12) {
		return rate, sd
	}
	of = math.Max(of, leastBase)
	part, width = told((wxy-wx*wy/w)/d/of, (math.Min(1/d, 25)+0.03*0.03)/(of*of))
	return part * base, width * base
}
