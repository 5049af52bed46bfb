package farm

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// ParseWeekdays reads days of the week: "Mon-Sat", "Mon, Thu", "daily". A
// range may pass Sunday. They come back in the order of the week from Monday,
// each once.
func ParseWeekdays(text string) ([]time.Weekday, error) {
	var on [7]bool
	for part := range strings.SplitSeq(strings.ToLower(text), ",") {
		part = strings.TrimSpace(part)
		if part == "daily" || part == "every day" {
			on = [7]bool{true, true, true, true, true, true, true}
			continue
		}
		first, last, isRange := strings.Cut(part, "-")
		from, err := weekday(first)
		if err != nil {
			return nil, err
		}
		to := from
		if isRange {
			if to, err = weekday(last); err != nil {
				return nil, err
			}
		}
		for d := from; ; d = (d + 1) % 7 {
			on[d] = true
			if d == to {
				break
			}
		}
	}
	var out []time.Weekday
	for i := range 7 {
		if d := time.Weekday((i + 1) % 7); on[d] {
			out = append(out, d)
		}
	}
	return out, nil
}

func weekday(word string) (time.Weekday, error) {
	word = strings.TrimSpace(word)
	for d := time.Sunday; d <= time.Saturday; d++ {
		if full := strings.ToLower(d.String()); len(word) >= 2 && strings.HasPrefix(full, word) {
			return d, nil
		}
	}
	return 0, fmt.Errorf("%q is not a day of the week", word)
}

// WeekdayWords writes days as ParseWeekdays reads them.
func WeekdayWords(days []time.Weekday) string {
	words := make([]string, len(days))
	for i, d := range days {
		words[i] = d.String()[:3]
	}
	return strings.Join(words, ", ")
}

// ClockSpan is a time of day, in minutes after midnight on the farm's clock.
type ClockSpan struct{ From, To int }

// ParseHours reads times of day such as "07:00-12:00, 18:00-21:00". They come
// back in order; spans that overlap or end before they begin are refused.
func ParseHours(text string) ([]ClockSpan, error) {
	var out []ClockSpan
	for part := range strings.SplitSeq(text, ",") {
		first, last, ok := strings.Cut(strings.TrimSpace(part), "-")
		from, err1 := clockMinutes(first)
		to, err2 := clockMinutes(last)
		if !ok || err1 != nil || err2 != nil || to <= from {
			return nil, fmt.Errorf("%q is not a time from one hour to a later one", strings.TrimSpace(part))
		}
		out = append(out, ClockSpan{from, to})
	}
	slices.SortFunc(out, func(a, b ClockSpan) int { return a.From - b.From })
	for i := 1; i < len(out); i++ {
		if out[i].From < out[i-1].To {
			return nil, fmt.Errorf("%q overlaps itself", text)
		}
	}
	return out, nil
}

func clockMinutes(word string) (int, error) {
	if word = strings.TrimSpace(word); word == "24:00" {
		return 24 * 60, nil
	}
	t, err := time.Parse("15:04", word)
	return 60*t.Hour() + t.Minute(), err
}

// HoursWords writes times of day as ParseHours reads them.
func HoursWords(spans []ClockSpan) string {
	words := make([]string, len(spans))
	for i, s := range spans {
		words[i] = fmt.Sprintf("%02d:%02d-%02d:%02d", s.From/60, s.From%60, s.To/60, s.To%60)
	}
	return strings.Join(words, ", ")
}
