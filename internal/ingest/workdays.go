package ingest

import (
	"strings"
	"time"

	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/monthplan"
)

// Weekdays reads days such as "Mon,Thu" or "Mon-Sat"; a range may pass Sunday.
// They come back in the order of the week, from Monday.
func Weekdays(text string) ([]time.Weekday, error) {
	days, err := farm.ParseWeekdays(text)
	if err != nil {
		return nil, diag.Usagef("write days as Mon,Thu or Mon-Sat: Mon Tue Wed Thu Fri Sat Sun", "%v", err)
	}
	return days, nil
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
		spans, err := farm.ParseHours(fields[1])
		if err != nil {
			return nil, diag.Usagef(do, "%v", err)
		}
		for _, s := range spans {
			for _, d := range days {
				for _, x := range out[d] {
					if s.From < x.To && x.From < s.To {
						return nil, diag.Usagef(do, "%s overlaps other hours of the same day", farm.HoursWords([]farm.ClockSpan{s}))
					}
				}
				out[d] = append(out[d], monthplan.Span(s))
			}
		}
	}
	return out, nil
}
