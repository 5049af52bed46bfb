package sheet

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/ingest"
	"leafturn/internal/pattern"
)

// Order is the order of day, month and year in a sheet's dates, as it was
// stated; "" is not stated.
type Order string

// The orders.
const (
	DayFirst   Order = "dmy"
	MonthFirst Order = "mdy"
	YearFirst  Order = "ymd"
)

// Words says the order.
func (o Order) Words() string {
	switch o {
	case DayFirst:
		return "the day first"
	case MonthFirst:
		return "the month first"
	case YearFirst:
		return "the year first"
	}
	return "not stated"
}

// ParseOrder reads dmy, mdy or ymd.
func ParseOrder(s string) (Order, bool) {
	switch o := Order(strings.ToLower(tidy(s))); o {
	case "", DayFirst, MonthFirst, YearFirst:
		return o, true
	}
	return "", false
}

var (
	threeParts = pattern.New(`^(\d{1,4})([-/. ]{1,2})(\d{1,2})([-/. ]{1,2})(\d{1,4})\.?$`)
	compact    = pattern.New(`^(20\d{2})(\d{2})(\d{2})$`) // 20072026 is none: there is no month 20
	withTime   = pattern.New(`^(\S.*?)(?:T|,?\s+)\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?:\s*[AaPp][Mm])?$`)
	dayMonth   = pattern.New(`^(\d{1,2})(?:st|nd|rd|th|er)?[-/. ]+(?:de )?(\pL{3,10})\.?[-/., ]+(?:de )?(\d{4}|\d{2})$`)
	monthDay   = pattern.New(`^(\pL{3,10})\.?[-/. ]+(\d{1,2})(?:st|nd|rd|th)?[-/., ]+(\d{4})$`)
	eitherDay  = pattern.New(`^\d{4}-\d\d-\d\d` + nearMidnight + `\d{4}-\d\d-\d\d$`)
	serial     = pattern.New(`^[34]\d{4}(\.\d+)?$`)
)

// wrong is what is the matter with a value, and what to do.
type wrong struct{ what, do string }

func (w *wrong) Error() string { return w.what }

func bad(do, format string, args ...any) *wrong { return &wrong{fmt.Sprintf(format, args...), do} }

// parseDate reads a date of a sheet: ISO (with or without a time), a date
// with the name of the month, or numbers in the stated order. Without an
// order, numbers are read only where a single reading is a day of the
// calendar and the year has four digits. A day of the week beside it must be
// its own.
func parseDate(s string, order Order) (civil.Date, *wrong) {
	s = tidy(s)
	if d, ok := iso(s); ok {
		return inRange(s, d)
	}
	text, of := bare(s)
	d, w := parseBare(s, text, order)
	if w == nil && of >= 0 && d.Weekday() != of {
		return civil.Date{}, bad("check the day, the month and the year", "%s: %s is a %s", quote(s), d, d.Weekday())
	}
	return d, w
}

// bare takes the day of the week and the time of day away from a date; of is
// that day of the week, or below 0.
func bare(s string) (text string, of time.Weekday) {
	text, of = weekday(s)
	if m := withTime().FindStringSubmatch(text); m != nil {
		text = m[1]
	}
	return text, of
}

func parseBare(s, text string, order Order) (civil.Date, *wrong) {
	if d, ok := iso(text); ok {
		return inRange(s, d)
	}
	if m := compact().FindStringSubmatch(text); m != nil {
		if d, ok := day(atoi(m[1]), atoi(m[2]), atoi(m[3])); ok {
			return inRange(s, d)
		}
	}
	if m := dayMonth().FindStringSubmatch(text); m != nil && month(m[2]) > 0 {
		if d, ok := day(year(m[3]), month(m[2]), atoi(m[1])); ok {
			return inRange(s, d)
		}
	}
	if m := monthDay().FindStringSubmatch(text); m != nil && month(m[1]) > 0 {
		if d, ok := day(year(m[3]), month(m[1]), atoi(m[2])); ok {
			return inRange(s, d)
		}
	}
	if m := threeParts().FindStringSubmatch(text); m != nil && strings.TrimSpace(m[2]) == strings.TrimSpace(m[4]) {
		return numbers(s, m[1], m[3], m[5], order)
	}
	if serial().MatchString(s) {
		n, _, _ := strings.Cut(s, ".")
		d := civil.New(1899, time.December, 30).AddDays(atoi(n))
		return civil.Date{}, bad("give the column the format of a date in your spreadsheet and save again; "+n+" is probably "+d.String(), "%s is a spreadsheet's number for a day, not a date", quote(s))
	}
	if eitherDay().MatchString(s) {
		return civil.Date{}, bad("write the day alone, such as 2026-07-13, without a time", "the spreadsheet has a split second before midnight there: %s", s)
	}
	if monthAlone(text) {
		return civil.Date{}, bad("write the date whole, such as 2026-07-13", "%s has no day", quote(s))
	}
	if noYear(text) {
		return civil.Date{}, bad("write the date whole, such as 2026-07-13", "%s has no year", quote(s))
	}
	return civil.Date{}, bad("write it as 2026-07-13 (year-month-day)", "%s is not a date", quote(s))
}

var (
	dayOnly   = pattern.New(`^(\d{1,2})[-/. ]+(?:de )?(?:(\pL{3,10})|(\d{1,2}))\.?$`)
	monthOnly = pattern.New(`^(\pL{3,10})\.?[-/. ]+\d{1,2}$`)
)

// noYear reports whether a text is a day and a month without a year.
func noYear(text string) bool {
	if m := dayOnly().FindStringSubmatch(text); m != nil {
		a, b := atoi(m[1]), atoi(m[3])
		return m[2] != "" || a >= 1 && b >= 1 && min(a, b) <= 12 && max(a, b) <= 31
	}
	m := monthOnly().FindStringSubmatch(text)
	return m != nil && month(m[1]) > 0
}

var (
	nameYear   = pattern.New(`^(\pL{3,10})\.?[-/. ]+(?:de )?\d{4}$`)
	numberYear = pattern.New(`^(?:(?:0?[1-9]|1[0-2])[-/.]20\d{2}|20\d{2}[-/.](?:0?[1-9]|1[0-2]))$`)
)

// monthAlone reports whether a text is a month and a year without a day.
func monthAlone(text string) bool {
	m := nameYear().FindStringSubmatch(text)
	return m != nil && month(m[1]) > 0 || numberYear().MatchString(text)
}

// dated reports whether a heading has the form of a date.
func dated(text string) bool {
	text, _ = bare(text)
	return eitherDay().MatchString(text) || serial().MatchString(text) || compact().MatchString(text) || threeParts().MatchString(text) || looksISO(text) || dayMonth().MatchString(text) || monthDay().MatchString(text)
}

func iso(s string) (civil.Date, bool) {
	if len(s) != 10 || s[4] != '-' || s[7] != '-' {
		return civil.Date{}, false
	}
	d, err := civil.Parse(s)
	return d, err == nil
}

func inRange(s string, d civil.Date) (civil.Date, *wrong) {
	if d.Year < ingest.MinYear {
		return civil.Date{}, bad("check the year", "%s lies before %d and is taken for a slip", quote(s), ingest.MinYear)
	}
	return d, nil
}

func atoi(s string) int { n, _ := strconv.Atoi(s); return n }

// year reads a year; two digits are of this century.
func year(s string) int {
	if len(s) == 2 {
		return 2000 + atoi(s)
	}
	return atoi(s)
}

func day(y, m, d int) (civil.Date, bool) {
	t, err := civil.Parse(fmt.Sprintf("%04d-%02d-%02d", y, m, d))
	return t, err == nil
}

const whichOrder = "say which order the sheet has: "

// numbers reads a date of three numbers.
func numbers(s, a, b, c string, order Order) (civil.Date, *wrong) {
	read := func(o Order) (civil.Date, bool) {
		y, m, d := c, b, a
		switch o {
		case MonthFirst:
			m, d = a, b
		case YearFirst:
			y, m, d = a, b, c
		}
		if len(y) == 3 || len(y) == 1 || len(m) > 2 || len(d) > 2 {
			return civil.Date{}, false
		}
		return day(year(y), atoi(m), atoi(d))
	}
	if len(a) == 4 { // 2026/7/13: no other order begins with a year
		if d, ok := read(YearFirst); ok {
			return inRange(s, d)
		}
		return civil.Date{}, bad("check the month and the day", "%s is not a day of the calendar", quote(s))
	}
	if order != "" {
		if d, ok := read(order); ok {
			return inRange(s, d)
		}
		return civil.Date{}, bad("write the date as 2026-07-13, or state another order with --dates", "%s is not a date with %s", quote(s), order.Words())
	}
	var found []civil.Date
	var orders []string
	for _, o := range []Order{DayFirst, MonthFirst, YearFirst} {
		if d, ok := read(o); ok {
			orders = append(orders, "--dates "+string(o)+" for "+d.String())
			if len(found) == 0 || found[0] != d {
				found = append(found, d)
			}
		}
	}
	switch {
	case len(found) == 0:
		return civil.Date{}, bad("write it as 2026-07-13 (year-month-day)", "%s is not a day of the calendar", quote(s))
	case len(found) == 1 && len(c) == 4:
		return inRange(s, found[0])
	case len(found) == 1:
		return civil.Date{}, bad(whichOrder+strings.Join(orders, ", "), "%s has a year of two digits", quote(s))
	}
	return civil.Date{}, bad(whichOrder+strings.Join(orders, ", "), "%s can be read as %s", quote(s), manyDays(found))
}

func manyDays(d []civil.Date) string {
	if len(d) == 2 {
		return "two different dates"
	}
	return fmt.Sprintf("%d different dates", len(d))
}
