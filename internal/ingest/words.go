package ingest

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/pattern"
)

// MinYear is the first year a date may have; an earlier one is taken for a slip.
const MinYear = 1900

// ParseDate reads a date: ISO 8601 (2026-07-13), "today" or "yesterday" in
// any case. today may be the zero Date; then the two words are refused.
// Nothing else is guessed: 3/4/2026 is refused with both readings. The error
// is a *diag.Problem without a place that wraps civil.ErrSyntax.
func ParseDate(s string, today civil.Date) (civil.Date, error) {
	d, p := parseDate(s, today)
	return d, asError(p)
}

func parseDate(s string, today civil.Date) (civil.Date, *diag.Problem) {
	s = strings.TrimSpace(s)
	switch w := strings.ToLower(s); w {
	case "today", "yesterday":
		if today.IsZero() {
			return civil.Date{}, noDate(s, "write the date itself, such as 2026-07-13", "is not a date to keep: its meaning changes from day to day")
		}
		if w == "yesterday" {
			return today.AddDays(-1), nil
		}
		return today, nil
	}
	d, err := civil.Parse(s)
	if err != nil {
		say, why := dateAdvice(s)
		return civil.Date{}, noDate(s, say, why)
	}
	if d.Year < MinYear {
		return civil.Date{}, noDate(s, "check the year", fmt.Sprintf("lies before %d and is taken for a slip", MinYear))
	}
	return d, nil
}

func noDate(s, do, why string) *diag.Problem {
	p := refuse(do, "%s %s", quote(s), why)
	p.Err = civil.ErrSyntax
	return p
}

var (
	dmy      = pattern.New(`^(\d{1,2})[-/. ](\d{1,2})[-/. ](\d{4}|\d{2})$`)
	ymd      = pattern.New(`^(\d{4})[-/.]?(\d{1,2})[-/.]?(\d{1,2})$`)
	yearMon  = pattern.New(`^\d{4}-\d{2}$`)
	dateLike = pattern.New(`^\d+([-/.]\d+)+[-/.]?$`)
)

// dateAdvice says what to write instead of s, and what is wrong with it.
func dateAdvice(s string) (do, why string) {
	valid := func(y, m, d string) string {
		iso := fmt.Sprintf("%s-%02s-%02s", y, m, d)
		if t, err := civil.Parse(iso); err == nil && t.Year >= MinYear {
			return iso
		}
		return ""
	}
	if m := dmy().FindStringSubmatch(s); m != nil {
		if len(m[3]) == 2 {
			m[3] = "20" + m[3]
		}
		dayFirst, monthFirst := valid(m[3], m[2], m[1]), valid(m[3], m[1], m[2])
		switch {
		case dayFirst != "" && monthFirst != "" && dayFirst != monthFirst:
			return "write " + dayFirst + " or " + monthFirst, "can be read as two different dates"
		case dayFirst != "":
			return "write " + dayFirst, "is not a date of the form YYYY-MM-DD"
		case monthFirst != "":
			return "write " + monthFirst, "is not a date of the form YYYY-MM-DD"
		}
	}
	if m := ymd().FindStringSubmatch(s); m != nil {
		if iso := valid(m[1], m[2], m[3]); iso != "" {
			return "write " + iso, "is not a date of the form YYYY-MM-DD"
		}
		return "check the month and the day", "is not a day of the calendar"
	}
	return "write it as 2026-07-13 (year-month-day)", "is not a date"
}

// looksLikeDate reports whether a word can only have been meant as a date.
// No bed code looks like one: it holds a letter.
func looksLikeDate(s string) bool {
	return dateLike().MatchString(s) || strings.EqualFold(s, "today") || strings.EqualFold(s, "yesterday")
}

// ParseCount reads a count: a whole number from 0 to farm.MaxCount in plain
// decimal digits ("010" is ten). The error is a *diag.Problem without a place.
func ParseCount(s string) (int, error) {
	n, p := parseCount(s)
	return n, asError(p)
}

func parseCount(s string) (int, *diag.Problem) {
	s = strings.TrimSpace(s)
	switch {
	case digits(s):
		n, err := strconv.Atoi(s)
		if err != nil || n > farm.MaxCount {
			return 0, refuse("check the number", "the count %s is above %d and is taken for a slip", cut(s), farm.MaxCount)
		}
		return n, nil
	case len(s) > 1 && s[0] == '-' && digits(s[1:]):
		return 0, refuse(`write 0 or more; a lone "-" is a unit that was not looked at`, "the count %s is negative", cut(s))
	case strings.Contains(s, ",") && digits(strings.ReplaceAll(s, ",", "")):
		return 0, refuse("put a space between two counts, and no comma inside a number", "%s can be read as one number or as several counts", quote(s))
	case strings.Count(s, ".") == 1 && digits(strings.TrimPrefix(strings.Replace(s, ".", "", 1), "-")):
		return 0, refuse("write the count of each unit, not their average", "%s is not a whole number", quote(s))
	case strings.EqualFold(s, "o"):
		return 0, refuse("write the digit 0", "%s is a letter", quote(s))
	}
	return 0, refuse("write a whole number of 0 or more", "%s is not a count", quote(s))
}

// cut shortens a long run of digits for a message.
func cut(s string) string {
	if len(s) > 12 {
		return s[:12] + "…"
	}
	return s
}

var clockForm = pattern.New(`^(\S+?)[Tt\s]\s*(\d{1,2}):(\d{2})(Z|z|[+-]\d{2}:\d{2})?$`)

// ParseClock reads a local date and time of the 24-hour clock, such as
// "2026-07-13 18:30" ("T" between them, "today" and "yesterday" are taken
// too), and returns the instant in loc. An offset may follow (18:30-04:00).
//
// A local time that does not exist because clocks were put forward is
// refused, naming its two valid neighbours. One that occurs twice is read as
// the later one, so an interval counted from it is never too short, and
// warning says so; else warning is "". The error is a *diag.Problem without a
// place. The rules are common practice; zone data is the Go time package's.
func ParseClock(s string, today civil.Date, loc *time.Location) (t time.Time, warning string, err error) {
	s = tidy(s)
	m := clockForm().FindStringSubmatch(s)
	if m == nil {
		return t, "", refuse(`write date and 24-hour time, such as "2026-07-13 18:30"`, "%s is not a date and time", quote(s))
	}
	d, p := parseDate(m[1], today)
	if p != nil {
		return t, "", p
	}
	h, _ := strconv.Atoi(m[2])
	min, _ := strconv.Atoi(m[3])
	if h > 23 || min > 59 {
		return t, "", refuse("write a time from 00:00 to 23:59", "%s:%s is not a time of day", m[2], m[3])
	}
	wall := d.Time().Add(time.Duration(h)*time.Hour + time.Duration(min)*time.Minute)
	if m[4] != "" {
		t, err := time.Parse("2006-01-02T15:04Z07:00", wall.Format("2006-01-02T15:04")+strings.ToUpper(m[4]))
		if err != nil {
			return t, "", refuse("write an offset such as -04:00", "%s is not an offset from UTC", quote(m[4]))
		}
		return t.In(loc), "", nil
	}

	// An instant that shows this wall time lies within 15 hours of it in UTC;
	// try every offset that the zone uses around it.
	var offsets []int
	for k := -15; k <= 15; k++ {
		_, o := wall.Add(time.Duration(k) * time.Hour).In(loc).Zone()
		if !slices.Contains(offsets, o) {
			offsets = append(offsets, o)
		}
	}
	const form = "2006-01-02 15:04"
	var shows, beside []time.Time
	for _, o := range offsets {
		u := wall.Add(-time.Duration(o) * time.Second).In(loc)
		if u.Format(form) == wall.Format(form) {
			shows = append(shows, u)
		} else {
			beside = append(beside, u)
		}
	}
	slices.SortFunc(shows, time.Time.Compare)
	slices.SortFunc(beside, time.Time.Compare)
	switch len(shows) {
	case 0:
		short := form
		if first, last := beside[0], beside[len(beside)-1]; civil.DateIn(first, loc) == d && civil.DateIn(last, loc) == d {
			short = "15:04"
		}
		return t, "", refuse("enter "+beside[0].Format(short)+" or "+beside[len(beside)-1].Format(short),
			"%s does not exist in %s: clocks were put forward over it", wall.Format(form), loc)
	case 1:
		return shows[0], "", nil
	}
	t = shows[len(shows)-1]
	return t, fmt.Sprintf("%s occurs twice in %s (clocks were put back); read as the later one, %s",
		wall.Format(form), loc, t.Format("15:04 -07:00")), nil
}
