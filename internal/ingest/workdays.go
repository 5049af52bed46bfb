package ingest

import (
	"slices"
	"strings"
	"time"

	"leafturn/internal/diag"
	"leafturn/internal/monthplan"
)

var weekdays = []string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"}

func weekday(word string) (time.Weekday, bool) {
	i := slices.Index(weekdays, strings.ToLower(strings.TrimSpace(word)))
	return time.Weekday((i + 1) % 7), i >= 0
}

// Weekdays reads days such as "Mon,Thu" or "Mon-Sat"; a range may pass Sunday.
func Weekdays(text string) ([]time.Weekday, error) {
	var out []time.Weekday
	for _, part := range strings.Split(text, ",") {
		first, last, ranged := strings.Cut(part, "-")
		if !ranged {
			last = first
		}
		a, okA := weekday(first)
		b, okB := weekday(last)
		if !okA || !okB {
			return nil, diag.Usagef("write days as Mon,Thu or Mon-Sat: Mon Tue Wed Thu Fri Sat Sun", "%q is not a day of the week", strings.TrimSpace(part))
		}
		for d := a; ; d = (d + 1) % 7 {
			if !slices.Contains(out, d) {
				out = append(out, d)
			}
			if d == b {
				break
			}
		}
	}
	return out, nil
}

// WorkHours reads working hours such as "Mon-Sat 07:00-12:00,18:00-21:00";
// a semicolon parts groups of days with other hours.
func WorkHours(text string) (monthplan.Hours, error) {
	const do = `write it as "Mon-Sat 07:00-12:00,18:00-21:00"; a semicolon parts groups of days`
	out := monthplan.Hours{}
	for _, group := range strings.Split(text, ";") {
		fields := strings.Fields(group)
		if len(fields) != 2 {
			return nil, diag.Usagef(do, "%q is not days and hours", strings.TrimSpace(group))
		}
		days, err := Weekdays(fields[0])
		if err != nil {
			return nil, err
		}
		for _, s := range strings.Split(fields[1], ",") {
			from, to, ok := strings.Cut(s, "-")
			a, okA := clockMinutes(from)
			b, okB := clockMinutes(to)
			if !ok || !okA || !okB || b <= a {
				return nil, diag.Usagef(do, "%q is not a stretch of hours within one day", s)
			}
			for _, d := range days {
				for _, x := range out[d] {
					if a < x.To && x.From < b {
						return nil, diag.Usagef(do, "%s overlaps other hours of the same day", s)
					}
				}
				out[d] = append(out[d], monthplan.Span{From: a, To: b})
			}
		}
	}
	return out, nil
}

func clockMinutes(s string) (int, bool) {
	if s == "24:00" {
		return 24 * 60, true
	}
	t, err := time.Parse("15:04", s)
	return t.Hour()*60 + t.Minute(), err == nil
}
