package render

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/report"
)

// FormatNumber returns v rounded to decimals (0 to 15; an exact half goes to
// the even digit, as in IEEE 754), with a comma between
// thousands from 10,000 up and never a negative zero. What is not a finite
// number is "unknown".
func FormatNumber(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "unknown"
	}
	s := strconv.FormatFloat(v, 'f', min(max(decimals, 0), 15), 64)
	sign := ""
	if strings.HasPrefix(s, "-") {
		s = s[1:]
		if strings.Trim(s, "0.") != "" {
			sign = "-"
		}
	}
	whole, rest := s, ""
	if i := strings.IndexByte(s, '.'); i >= 0 {
		whole, rest = s[:i], s[i:]
	}
	if len(whole) >= 5 {
		var b strings.Builder
		for i, c := range whole {
			if i > 0 && (len(whole)-i)%3 == 0 {
				b.WriteByte(',')
			}
			b.WriteRune(c)
		}
		whole = b.String()
	}
	return sign + whole + rest
}

// Percent returns a proportion from 0 to 1 as a whole percentage, such as
// "72%". A proportion that is near 0 or 1 but is not 0 or 1 is "<1%" or
// ">99%"; anything outside 0 to 1 is "unknown".
func Percent(p float64) string {
	switch {
	case math.IsNaN(p) || p < 0 || p > 1:
		return "unknown"
	case p > 0 && p < 0.01:
		return "<1%"
	case p > 0.99 && p < 1:
		return ">99%"
	}
	return FormatNumber(100*p, 0) + "%"
}

// Chance returns a probability from 0 to 1 in plain words: tenths from 0.15
// to 0.95 ("about 7 in 10"), one in so many below that ("about 1 in 8"), and
// at the ends "less than 1 in 20", "less than 1 in 100", "more than 19 in 20"
// and "almost certain" (0.99 and above). Anything outside 0 to 1 is
// "unknown". The words are ours: common practice.
func Chance(p float64) string {
	switch {
	case math.IsNaN(p) || p < 0 || p > 1:
		return "unknown"
	case p < 0.01:
		return "less than 1 in 100"
	case p < 0.05:
		return "less than 1 in 20"
	case p < 0.15:
		return fmt.Sprintf("about 1 in %.0f", math.Round(1/p))
	case p < 0.95:
		return fmt.Sprintf("about %.0f in 10", math.Round(10*p))
	case p < 0.99:
		return "more than 19 in 20"
	}
	return "almost certain"
}

// When returns day d in words seen from asOf: "today", "tomorrow",
// "yesterday", "Thu 16 Jul (in 3 days)" or "Fri 10 Jul (3 days ago)". The
// year is named when it is another one. No date is "no date".
func When(d, asOf civil.Date) string {
	if d.IsZero() {
		return "no date"
	}
	if n := d.Sub(asOf); n >= -1 && n <= 1 {
		return away(n)
	}
	return Dated(d, asOf)
}

// Dated is When for paper, which may be read on a later day: it always names
// the date, as in "Tue 14 Jul (tomorrow)".
func Dated(d, asOf civil.Date) string {
	if d.IsZero() {
		return "no date"
	}
	return dayName(d, asOf) + " (" + away(d.Sub(asOf)) + ")"
}

// away returns a distance in days in words.
func away(days int) string {
	switch {
	case days == 0:
		return "today"
	case days == 1:
		return "tomorrow"
	case days == -1:
		return "yesterday"
	case days < 0:
		return FormatNumber(float64(-days), 0) + " days ago"
	}
	return "in " + FormatNumber(float64(days), 0) + " days"
}

// dayName returns "Thu 16 Jul", with the year when it is not that of asOf.
func dayName(d, asOf civil.Date) string {
	if d.Year != asOf.Year {
		return fmt.Sprintf("%s %d", d.Short(), d.Year)
	}
	return d.Short()
}

const wasDue = "was due "

// dueWords returns when an item is due. A window that is open already is
// named by its end.
func dueWords(d report.Due, asOf civil.Date) string {
	var s string
	switch {
	case d.From.IsZero() && d.By.IsZero():
		return d.Note
	case !d.By.IsZero() && d.By.Before(asOf):
		s = wasDue + Dated(d.By, asOf)
	case d.By.IsZero():
		s = "from " + Dated(d.From, asOf)
	case d.From == d.By:
		s = Dated(d.By, asOf)
	case d.From.IsZero() || d.From.Before(asOf):
		s = "by " + Dated(d.By, asOf)
	default:
		s = Dated(d.From, asOf) + " to " + dayName(d.By, asOf)
	}
	if d.Note != "" {
		s += ", " + d.Note
	}
	return s
}

// valueWords returns what is printed for a value with its number rounded to
// decimals.
func valueWords(v report.Value, decimals int, asOf civil.Date) string {
	switch f, _ := v.Float(); v.Kind() {
	case report.KindNumber:
		return FormatNumber(f, decimals)
	case report.KindCount:
		return FormatNumber(f, 0)
	case report.KindPercent:
		return Percent(f)
	case report.KindChance:
		return Chance(f)
	case report.KindDate:
		return dayName(v.Date(), asOf)
	case report.KindText:
		return clean(v.Words())
	}
	if v.Words() != "" {
		return clean(v.Words())
	}
	return "unknown (" + clean(v.Reason()) + ")"
}

// lineWords returns the printed sentence, without its references.
func lineWords(l report.Line, asOf civil.Date) string {
	var b strings.Builder
	for _, v := range l.Parts() {
		b.WriteString(valueWords(v, v.Decimals(), asOf))
	}
	return b.String()
}

// citedWords returns the printed sentence with its references as [1, 2].
func citedWords(l report.Line, asOf civil.Date) string {
	s := lineWords(l, asOf)
	keys := l.Cites()
	if len(keys) == 0 {
		return s
	}
	refs := make([]string, len(keys))
	for i, k := range keys {
		refs[i] = strconv.Itoa(k)
	}
	return strings.TrimSpace(s + " [" + strings.Join(refs, ", ") + "]")
}
