package plots

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/civil"
)

// Range is an interval of means, Low <= High, both 0 or more.
type Range struct{ Low, High float64 }

// Visit is one visit to a bed for one pest.
type Visit struct {
	Date civil.Date
	// Mean is animals per sample unit, or the percent of units infested
	// (0-100) where the panel is Percent.
	Mean float64
	// Interval is the 95 % interval of the mean; nil when it is not known.
	Interval *Range
	// Counts are the counts of the single units, nil when not given.
	Counts []int
	// Invalid says why the visit is not valid; "" is valid.
	Invalid string
}

// Segment is a level that holds from From to To, both days included. A zero
// From or To leaves that side open. Label says when it holds, such as
// "until buds show"; it may be empty.
type Segment struct {
	From, To civil.Date
	Value    float64
	Label    string
}

// Event is a treatment or a release on a day, with its words.
type Event struct {
	Date  civil.Date
	Label string
}

// StageSpan is a growth stage from From until the day before the next span,
// or To where given.
type StageSpan struct {
	From, To civil.Date
	Label    string
}

// maxSpanDays is the longest time that one picture shows: a season, also one
// over the turn of the year. More is a slip in a year.
const maxSpanDays = 400

func bad(format string, args ...any) error {
	return fmt.Errorf("%s: %w", fmt.Sprintf(format, args...), ErrValue)
}

// emptyError is ErrNoData with words of its own, where nothing is counted.
type emptyError string

func (e emptyError) Error() string { return string(e) }
func (e emptyError) Unwrap() error { return ErrNoData }

func checkVisits(where string, vs []Visit, percent bool) error {
	for _, v := range vs {
		at := fmt.Sprintf("%s, visit of %s", where, v.Date)
		switch {
		case v.Date.IsZero():
			return bad("%s: a visit has no date", where)
		case !finite(v.Mean) || v.Mean < 0:
			return bad("%s: the mean %v is not a number of 0 or more", at, v.Mean)
		case percent && v.Mean > 100:
			return bad("%s: %v percent is above 100", at, v.Mean)
		}
		if r := v.Interval; r != nil && (!finite(r.Low) || !finite(r.High) || r.Low < 0 || r.High < r.Low) {
			return bad("%s: the interval from %v to %v is not one of numbers of 0 or more in order", at, r.Low, r.High)
		}
		if i := slices.IndexFunc(v.Counts, func(c int) bool { return c < 0 }); i >= 0 {
			return bad("%s: unit %d has the count %d", at, i+1, v.Counts[i])
		}
	}
	return nil
}

func checkSegments(where, what string, segs []Segment) error {
	for _, s := range segs {
		if !finite(s.Value) || s.Value < 0 {
			return bad("%s: the %s level %v is not a number of 0 or more", where, what, s.Value)
		}
		if !s.From.IsZero() && !s.To.IsZero() && s.To.Before(s.From) {
			return bad("%s: the %s level ends on %s, before it begins on %s", where, what, s.To, s.From)
		}
	}
	return nil
}

// byDate returns the visits in order of date; the caller's slice is left alone.
func byDate(vs []Visit) []Visit {
	out := slices.Clone(vs)
	slices.SortStableFunc(out, func(a, b Visit) int { return a.Date.Compare(b.Date) })
	return out
}

// levelOn returns the level that holds on a day; the later of two that do.
func levelOn(segs []Segment, d civil.Date) (float64, bool) {
	for _, s := range slices.Backward(segs) {
		if (s.From.IsZero() || !d.Before(s.From)) && (s.To.IsZero() || !d.After(s.To)) {
			return s.Value, true
		}
	}
	return 0, false
}

// span collects the first and last of dates.
type span struct{ from, to civil.Date }

func (s *span) add(ds ...civil.Date) {
	for _, d := range ds {
		if d.IsZero() {
			continue
		}
		if s.from.IsZero() || d.Before(s.from) {
			s.from = d
		}
		if s.to.IsZero() || d.After(s.to) {
			s.to = d
		}
	}
}

// padded returns the span with a few days of air, at least two weeks long.
func (s span) padded() span {
	air := max(3, (14-s.to.Sub(s.from)+1)/2)
	return span{s.from.AddDays(-air), s.to.AddDays(air)}
}

func (s span) check() error {
	if n := s.to.Sub(s.from); n > maxSpanDays {
		return bad("the dates from %s to %s are %d days apart; one picture shows %d days, so a year may be mistyped", s.from, s.to, n, maxSpanDays)
	}
	return nil
}

// reach returns the largest value that an axis must show: means, counts and
// levels in full, upper interval ends up to 2.5 times that, so that one wide
// interval does not flatten everything else.
func reach(vs []Visit, segs ...[]Segment) float64 {
	base, high := 0.0, 0.0
	for _, v := range vs {
		base = max(base, v.Mean)
		for _, c := range v.Counts {
			base = max(base, float64(c))
		}
		if v.Interval != nil && v.Invalid == "" {
			high = max(high, v.Interval.High)
		}
	}
	for _, s := range segs {
		for _, g := range s {
			base = max(base, g.Value)
		}
	}
	if base == 0 {
		return high
	}
	return max(base, min(high, 2.5*base))
}

// maxGapDays is the longest gap between two visits that the line and the
// ribbon bridge; over a longer one nothing is known of the time between.
const maxGapDays = 21

// runs parts valid visits, in order of date, where a gap is too long.
func runs(vs []Visit, keep func(Visit) bool) [][]Visit {
	var out [][]Visit
	var last civil.Date
	for _, v := range vs {
		if v.Invalid != "" || !keep(v) {
			continue
		}
		if last.IsZero() || v.Date.Sub(last) > maxGapDays {
			out = append(out, nil)
		}
		out[len(out)-1] = append(out[len(out)-1], v)
		last = v.Date
	}
	return out
}

// Words.

func longDate(d civil.Date) string { return d.Time().Format("2 January 2006") }
func dayMonth(d civil.Date) string { return d.Time().Format("2 January") }

// measureWords say what a value is; percent stands before what does not say it.
func measureWords(measure string, percent bool) string {
	if percent && !strings.HasPrefix(measure, "%") {
		return "percent of units: " + measure
	}
	return measure
}

// list joins words with commas and "and"; more than n are counted.
func list(words []string, n int) string {
	if len(words) > n+1 {
		words = append(slices.Clone(words[:n]), fmt.Sprintf("%d more", len(words)-n))
	}
	switch len(words) {
	case 0:
		return ""
	case 1:
		return words[0]
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

// beds names some beds, the first n of many.
func beds(codes []string, n int) string {
	if len(codes) == 1 {
		return "bed " + codes[0]
	}
	return "beds " + list(codes, n)
}

func upperFirst(s string) string {
	r := []rune(s)
	if len(r) > 0 {
		r[0] = []rune(strings.ToUpper(string(r[0])))[0]
	}
	return string(r)
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func orElse(s, other string) string { return cmp.Or(s, other) }
