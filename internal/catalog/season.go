package catalog

import (
	"fmt"
	"strconv"
	"strings"

	"leafturn/internal/civil"
)

// Season is when in a year an action level is in force: in any of its spans,
// none being all year.
type Season []SeasonSpan

// SeasonSpan is from one day of the year to another, both included; a zero end
// is open.
type SeasonSpan struct{ From, To SeasonDay }

// SeasonDay is a day of the year, or so many days after the farm's average
// first frost.
type SeasonDay struct {
	Day   civil.MonthDay
	Frost bool
	After int // days after the first frost; below 0 before it
}

// IsZero reports whether the end is open.
func (d SeasonDay) IsZero() bool { return d == SeasonDay{} }

// On returns the day of the year, zero where it hangs on a frost date that is
// not known.
func (d SeasonDay) On(frost civil.MonthDay) civil.MonthDay {
	if !d.Frost || frost.IsZero() {
		return d.Day
	}
	// 2001 is no leap year, so a day that comes every year comes out.
	on := frost.In(2001).AddDays(d.After)
	return civil.MonthDay{Month: on.Month, Day: on.Day}
}

// words says an end, with its date where it hangs on a known frost.
func (d SeasonDay) words(frost civil.MonthDay) string {
	day := func(m civil.MonthDay) string { return fmt.Sprintf("%d %s", m.Day, m.Month) }
	if !d.Frost {
		return day(d.Day)
	}
	s := "the first frost"
	switch {
	case d.After < 0:
		s = fmt.Sprintf("%d days before the first frost", -d.After)
	case d.After > 0:
		s = fmt.Sprintf("%d days after the first frost", d.After)
	}
	if !frost.IsZero() {
		s += " (" + day(d.On(frost)) + ")"
	}
	return s
}

// Words says the season for a farm with an average first frost; zero where it
// is not known.
func (s Season) Words(frost civil.MonthDay) string {
	var out []string
	for _, x := range s {
		var w []string
		if !x.From.IsZero() {
			w = append(w, "from "+x.From.words(frost))
		}
		if !x.To.IsZero() {
			w = append(w, "to "+x.To.words(frost))
		}
		out = append(out, strings.Join(w, " "))
	}
	return strings.Join(out, " and ")
}

// South returns the season on the other half of the earth: days of the year six
// months on, those that hang on the first frost as they are. Common practice.
func (s Season) South() Season {
	out := make(Season, len(s))
	for i, x := range s {
		out[i] = SeasonSpan{x.From.south(), x.To.south()}
	}
	return out
}

func (d SeasonDay) south() SeasonDay {
	d.Day = d.Day.HalfYearOn()
	return d
}

// HasDays reports whether an end is a day of the year.
func (s Season) HasDays() bool {
	for _, x := range s {
		if !x.From.Day.IsZero() || !x.To.Day.IsZero() {
			return true
		}
	}
	return false
}

// NeedsFrost reports whether an end hangs on the first frost.
func (s Season) NeedsFrost() bool {
	for _, x := range s {
		if x.From.Frost || x.To.Frost {
			return true
		}
	}
	return false
}

// seasonDay reads 07-01, frost, frost-21 or frost+7; "" is open.
func seasonDay(text string) (SeasonDay, error) {
	if text == "" {
		return SeasonDay{}, nil
	}
	if days, ok := strings.CutPrefix(text, "frost"); ok {
		if days == "" {
			return SeasonDay{Frost: true}, nil
		}
		n, err := strconv.Atoi(days)
		if err != nil || n == 0 || n < -180 || n > 60 || days[0] != '-' && days[0] != '+' {
			return SeasonDay{}, fmt.Errorf("%q is not a day before or after the first frost", text)
		}
		return SeasonDay{Frost: true, After: n}, nil
	}
	m, err := civil.ParseMonthDay(text)
	return SeasonDay{Day: m}, err
}

// season reads spans such as 07-01..frost-21, separated by semicolons.
func (w row) season(col string) Season {
	var out Season
	last := civil.MonthDay{}
	text := w.str(col)
	if text == "" {
		return nil
	}
	const do = "write spans such as 07-01..frost-21 or ..06-30;09-01.., in the order of the year"
	for part := range strings.SplitSeq(text, ";") {
		a, b, ok := strings.Cut(part, "..")
		from, err := seasonDay(a)
		to, err2 := seasonDay(b)
		if !ok || err != nil || err2 != nil || from.IsZero() && to.IsZero() {
			w.bad(col, fmt.Sprintf("%q is not a part of the year", part), do)
			return nil
		}
		for _, d := range []SeasonDay{from, to} {
			if d.Frost || d.IsZero() {
				continue
			}
			if !last.IsZero() && d.Day.In(2001).Before(last.In(2001)) {
				w.bad(col, fmt.Sprintf("%q goes back in the year", part), do)
				return nil
			}
			last = d.Day
		}
		out = append(out, SeasonSpan{from, to})
	}
	return out
}
