package assess

import (
	"leafturn/internal/belief"
	"leafturn/internal/civil"
)

// Likely is what is believed on a day, in a measure: the ends of 95 % of it.
type Likely struct {
	Date      civil.Date
	Low, High float64
}

// Through is what was believed from the first valid visit in a measure to
// today: after each visit, then wider day by day to what is believed just before
// the next. A day of a visit comes twice, but for the first. After the last
// visit it goes on to today where the verdict rests on it. It needs an
// assessment that is not Brief.
func (a *Assessment) Through(measure string) ([]Likely, error) {
	var out []Likely
	add := func(r *Reading, b belief.Belief, day civil.Date) error {
		iv, err := b.Interval(0.95)
		if err != nil {
			return r.wrong(err)
		}
		out = append(out, Likely{day, r.InMeasure(iv.Low), r.InMeasure(iv.High)})
		return nil
	}
	var last *Reading
	for i := range a.Readings {
		r := &a.Readings[i]
		if !r.Valid() || r.Unit.Measure != measure || r.Belief == nil {
			continue
		}
		if last != nil {
			days := r.Visit.Date.Sub(last.Visit.Date)
			for d := 1; d <= days; d++ {
				b, err := belief.Carry(*last.Belief, d, r.state.growth)
				if err != nil {
					return nil, r.wrong(err)
				}
				if err := add(last, b, last.Visit.Date.AddDays(d)); err != nil {
					return nil, err
				}
			}
		}
		out = append(out, Likely{r.Visit.Date, r.LikelyL, r.LikelyH})
		last = r
	}
	if last == nil || a.now == nil || a.Decider.Unit.Measure != measure || a.Today.Sub(last.Visit.Date) != a.now.Days() {
		return out, nil
	}
	for d := 1; d <= a.now.Days(); d++ {
		if err := add(last, a.now.After(d), last.Visit.Date.AddDays(d)); err != nil {
			return nil, err
		}
	}
	return out, nil
}
