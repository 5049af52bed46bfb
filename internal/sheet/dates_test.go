package sheet

import (
	"fmt"
	"strings"
	"testing"

	"leafturn/internal/civil"
	"leafturn/internal/ingest"
)

// FuzzDates reads text as a date in every stated order and in none. What is
// read without an order must not depend on one, and a day written out in an
// order is read as that day.
func FuzzDates(f *testing.F) {
	for _, s := range []string{"2026-07-13", "2026-07-13T06:30:00Z", "3/4/2026", "13.7.2026", "4/4/26", "Mon 13 July 2026", "jul 4th, 2026", "13-Sept-26", "46216", "7/13", "2026/7/13 7:05 pm", "29.2.2025", "0.0.0000"} {
		f.Add(s, 13, 7, 2026)
	}
	f.Add("", 12, 11, 2004)
	f.Fuzz(func(t *testing.T, s string, d, m, y int) {
		free, refused := parseDate(s, "")
		for _, o := range []Order{"", DayFirst, MonthFirst, YearFirst} {
			got, w := parseDate(s, o)
			switch {
			case w != nil && (w.what == "" || w.do == "" || !got.IsZero()):
				t.Fatalf("%q in order %q: %v and %+v", s, o, got, w)
			case w == nil && (got.Year < ingest.MinYear || got != got.AddDays(0)):
				t.Fatalf("%q in order %q is %v", s, o, got)
			case w == nil && refused == nil && got != free:
				t.Fatalf("%q is %v, and in order %q %v", s, free, o, got)
			}
			if w == nil {
				if back, w := parseDate(got.String(), o); w != nil || back != got {
					t.Fatalf("%v is read again as %v, %v", got, back, w)
				}
			}
		}
		if y < ingest.MinYear || y > 9999 || m < 1 || m > 12 || d < 1 || d > 31 {
			return
		}
		want, err := civil.Parse(fmt.Sprintf("%04d-%02d-%02d", y, m, d))
		for o, text := range map[Order]string{DayFirst: fmt.Sprintf("%d/%d/%d", d, m, y), MonthFirst: fmt.Sprintf("%d/%d/%d", m, d, y), YearFirst: fmt.Sprintf("%d/%02d/%02d", y, m, d)} {
			got, w := parseDate(text, o)
			if (err == nil) != (w == nil) || err == nil && got != want {
				t.Fatalf("%s in order %q is %v, %v", text, o, got, w)
			}
			// Without an order: only where no other order gives another day.
			got, w = parseDate(text, "")
			clear := o == YearFirst || d > 12 || d == m
			if err == nil && clear != (w == nil) || w == nil && (err != nil && o != YearFirst && !clear || err == nil && got != want) {
				t.Fatalf("%s without an order is %v, %v", text, got, w)
			}
			if err == nil && !clear && !strings.Contains(w.what, "two different dates") {
				t.Fatalf("%s: %s", text, w.what)
			}
		}
	})
}
