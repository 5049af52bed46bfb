// Package civil holds a calendar date without a time of day or a zone.
//
// Scouting, intervals and season limits are counted in whole days on the
// farm's own calendar, so a Date has no clock and no zone: clock changes and
// UTC offsets cannot move it. Instants (the end of an application) are
// time.Time elsewhere; DateIn turns an instant into the farm's date.
//
// Not here: times of day, time zones, holidays.
package civil

import (
	"database/sql/driver"
	"errors"
	"fmt"
	"time"
)

// Layout is the only text form read and written: ISO 8601 extended, YYYY-MM-DD.
const Layout = "2006-01-02"

// ErrSyntax reports text that is not an ISO 8601 calendar date.
var ErrSyntax = errors.New("not a date of the form YYYY-MM-DD")

// Date is a day on the proleptic Gregorian calendar. The zero Date means
// "no date" and reports true from IsZero.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// New returns the date with the given parts, normalised as time.Date does
// (32 January becomes 1 February).
func New(year int, month time.Month, day int) Date {
	return fromTime(time.Date(year, month, day, 0, 0, 0, 0, time.UTC))
}

// DateIn returns the date that a clock in loc shows at instant t.
func DateIn(t time.Time, loc *time.Location) Date { return fromTime(t.In(loc)) }

func fromTime(t time.Time) Date {
	y, m, d := t.Date()
	return Date{y, m, d}
}

// Parse reads YYYY-MM-DD. Errors wrap ErrSyntax.
func Parse(s string) (Date, error) {
	t, err := time.Parse(Layout, s)
	if err != nil {
		return Date{}, fmt.Errorf("%q: %w", s, ErrSyntax)
	}
	return fromTime(t), nil
}

// MustParse is Parse for constants in tests and tables; it panics on error.
func MustParse(s string) Date {
	d, err := Parse(s)
	if err != nil {
		panic("civil: " + err.Error())
	}
	return d
}

// IsZero reports whether d is the zero Date, "no date".
func (d Date) IsZero() bool { return d == Date{} }

// Time returns midnight UTC at the start of d.
func (d Date) Time() time.Time {
	return time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC)
}

// In returns the first instant of d in loc. Where midnight does not exist
// there (a clock change), it is the instant that time.Date chooses.
func (d Date) In(loc *time.Location) time.Time {
	return time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, loc)
}

// String returns YYYY-MM-DD, or "" for the zero Date.
func (d Date) String() string {
	if d.IsZero() {
		return ""
	}
	return d.Time().Format(Layout)
}

// Short returns a form for people and tables, such as "Mon 13 Jul".
func (d Date) Short() string {
	if d.IsZero() {
		return ""
	}
	return d.Time().Format("Mon 2 Jan")
}

// AddDays returns the date n days after d (before it if n is negative).
func (d Date) AddDays(n int) Date { return New(d.Year, d.Month, d.Day+n) }

// Sub returns the whole days from e to d: d.Sub(e) is 1 when d is the day after e.
func (d Date) Sub(e Date) int { return int(d.Time().Sub(e.Time()) / (24 * time.Hour)) }

// Before reports whether d is earlier than e.
func (d Date) Before(e Date) bool { return d.Compare(e) < 0 }

// After reports whether d is later than e.
func (d Date) After(e Date) bool { return d.Compare(e) > 0 }

// Compare returns -1, 0 or +1 as d is before, the same as or after e.
func (d Date) Compare(e Date) int {
	a := [3]int{d.Year, int(d.Month), d.Day}
	b := [3]int{e.Year, int(e.Month), e.Day}
	for i := range a {
		if a[i] != b[i] {
			if a[i] < b[i] {
				return -1
			}
			return 1
		}
	}
	return 0
}

// CompareDeadline is Compare, but that the zero Date, no deadline, comes last.
func CompareDeadline(d, e Date) int {
	switch {
	case d == e:
		return 0
	case d.IsZero():
		return 1
	case e.IsZero():
		return -1
	}
	return d.Compare(e)
}

// Weekday returns the day of the week.
func (d Date) Weekday() time.Weekday { return d.Time().Weekday() }

// YearDay returns the day of the year, 1 January being 1.
func (d Date) YearDay() int { return d.Time().YearDay() }

// ISOWeek returns the ISO 8601 week and the year that week belongs to.
// Week 1 is the week, Monday to Sunday, that holds 4 January.
func (d Date) ISOWeek() (year, week int) { return d.Time().ISOWeek() }

// WeekString returns the ISO 8601 week as "2026-W29".
func (d Date) WeekString() string {
	y, w := d.ISOWeek()
	return fmt.Sprintf("%04d-W%02d", y, w)
}

// MarshalText writes YYYY-MM-DD, so a Date is a JSON string.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads YYYY-MM-DD; empty text is the zero Date.
func (d *Date) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*d = Date{}
		return nil
	}
	v, err := Parse(string(b))
	if err == nil {
		*d = v
	}
	return err
}

// Value stores the date as ISO 8601 text, the zero Date as NULL.
func (d Date) Value() (driver.Value, error) {
	if d.IsZero() {
		return nil, nil
	}
	return d.String(), nil
}

// Scan reads what Value wrote.
func (d *Date) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*d = Date{}
		return nil
	case string:
		return d.UnmarshalText([]byte(v))
	case []byte:
		return d.UnmarshalText(v)
	}
	return fmt.Errorf("civil: cannot read a date from %T", src)
}

// MonthDay is a day that comes every year, such as an average frost date.
// The zero value means "not known".
type MonthDay struct {
	Month time.Month
	Day   int
}

// ParseMonthDay reads MM-DD. 02-29 is refused: it does not come every year.
func ParseMonthDay(s string) (MonthDay, error) {
	t, err := time.Parse("2006-01-02", "2001-"+s)
	if err != nil || len(s) != 5 {
		return MonthDay{}, fmt.Errorf("%q: not a day of the form MM-DD", s)
	}
	return MonthDay{t.Month(), t.Day()}, nil
}

// IsZero reports whether the day is not known.
func (m MonthDay) IsZero() bool { return m == MonthDay{} }

// In returns the date in the given year.
func (m MonthDay) In(year int) Date { return New(year, m.Month, m.Day) }

// HalfYearOn returns the day six months on: the season of the other half of the
// earth. The last day of a month becomes the last day of a month.
func (m MonthDay) HalfYearOn() MonthDay {
	if m.IsZero() {
		return m
	}
	last := New(2001, m.Month+7, 0) // no leap year: a day that comes every year
	if m.Day < last.Day && m.Day < New(2001, m.Month+1, 0).Day {
		last.Day = m.Day
	}
	return MonthDay{last.Month, last.Day}
}

// String returns MM-DD, or "" when not known.
func (m MonthDay) String() string {
	if m.IsZero() {
		return ""
	}
	return fmt.Sprintf("%02d-%02d", m.Month, m.Day)
}

// MarshalText writes MM-DD.
func (m MonthDay) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText reads MM-DD; empty text is the zero value.
func (m *MonthDay) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*m = MonthDay{}
		return nil
	}
	v, err := ParseMonthDay(string(b))
	if err == nil {
		*m = v
	}
	return err
}
