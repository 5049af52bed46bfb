package trend

import (
	"fmt"
	"math"
	"strconv"
)

// steadyDays is the doubling or halving time beyond which a density is called
// steady for the grower. Ours.
const steadyDays = 60

// Words says the trend in one line, such as "about doubling every 6 days (4
// to 12)", "holding steady" when the whole interval lies beyond a doubling or
// halving in 60 days, or "no clear trend" with its bounds.
func (r Rate) Words() string {
	days, low, high, halving := r.Time()
	verb := "doubling"
	if halving {
		verb = "halving"
	}
	s := ""
	switch steady := math.Ln2 / steadyDays; {
	case r.Low >= -steady && r.High <= steady:
		s = fmt.Sprintf("holding steady (neither doubling nor halving within %d days)", steadyDays)
	case !r.Clear():
		s = fmt.Sprintf("no clear trend (anything from halving %s to doubling %s)", every(math.Ln2/(0-r.Low)), every(math.Ln2/r.High))
	default:
		s = fmt.Sprintf("about %s every %s days (%s to %s)", verb, day(days), day(low), day(high))
		if days < 1 {
			s = fmt.Sprintf("more than %s every day", verb)
		}
	}
	if r.Rough {
		s += "; rough, from two visits only"
	}
	return s
}

func every(days float64) string {
	switch {
	case days < 1:
		return "within a day"
	case days > 365:
		return "in over a year"
	}
	return "every " + day(days) + " days"
}

// day writes days: tenths below 3, whole from there.
func day(d float64) string {
	switch {
	case d > 365:
		return "over 365"
	case d < 0.1:
		return "under 0.1"
	case d < 2.95:
		return strconv.FormatFloat(d, 'f', 1, 64)
	}
	return strconv.FormatFloat(d, 'f', 0, 64)
}

// percent writes a chance: "under 1 %", "7 %", "over 99 %".
func percent(p float64) string {
	switch {
	case p < 0.01:
		return "under 1 %"
	case p > 0.99:
		return "over 99 %"
	}
	return strconv.FormatFloat(100*p, 'f', 0, 64) + " %"
}

// times writes a ratio to two figures.
func times(r float64) string {
	switch {
	case math.IsInf(r, 1) || r >= 1000:
		return "over 1000"
	case r < 0.001:
		return "under 0.001"
	case r >= 10:
		return strconv.FormatFloat(r, 'f', 0, 64)
	}
	return strconv.FormatFloat(r, 'g', 2, 64)
}
