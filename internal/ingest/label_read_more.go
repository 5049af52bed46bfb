package ingest

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/pattern"
	"leafturn/internal/units"
)

// yesNo makes a field that is yes, no, none stated or unknown.
func yesNo(key, help string, at func(*farm.Label) *farm.Stated[bool]) labelField {
	return stated(key, help, at, func(s string) (bool, *diag.Problem) {
		word, bad := choice("answer", tidy(s), []string{"yes", "no"})
		return word == "yes", bad
	}, func(v bool) string {
		if v {
			return "yes"
		}
		return "no"
	}).eg("yes")
}

var placeForm = pattern.New(`^[A-Z]{2}(-[A-Z0-9]{1,3})?$`)

func readJurisdiction(s string) (string, *diag.Problem) {
	s = strings.ToUpper(tidy(s))
	if s == "UK" {
		s = "GB"
	}
	if !placeForm().MatchString(s) {
		return "", refuse(`write the two letters of the country, such as US, or country and state, such as US-OR`, "%s is no country", quote(s))
	}
	return s, nil
}

// readItem reads one item of a list of words. A comma cuts lists on the
// command line, so no item holds one.
func readItem(s string) (string, *diag.Problem) {
	if strings.Contains(s, ",") {
		return "", refuse("write two items", "%s holds a comma", quote(s))
	}
	return s, nil
}

// readSpray reads a volume of spray per area.
func readSpray(s string) (units.Quantity, *diag.Problem) {
	q, err := units.Parse(s)
	switch {
	case err != nil:
		return q, refuse(`write the volume per area, such as "1 US gal/1000 sq ft" or "500 L/ha"`, "%s is no volume of spray: %v", quote(s), err)
	case q.Unit.Dimension != units.VolPerArea:
		return q, refuse(`write the volume per area, such as "1 US gal/1000 sq ft" or "500 L/ha"`, "%s is a %s, not a volume per area", quote(s), q.Unit.Dimension)
	case q.Value <= 0:
		return q, refuse("write the label's volume", "the volume %s is not above 0", quote(s))
	}
	return q, nil
}

var countForm = pattern.New(`^(\d{1,4})( applications?| times)?$`)
var daysForm = pattern.New(`^(?:any )?(\d{1,4}) days?$`)

// readMaximum reads "2 per generation", "3 in 30 days", "2 lb/acre per
// season" or "0.5 lb/acre of sulfur per season".
func readMaximum(s string) (m farm.Maximum, bad *diag.Problem) {
	const do = `write it as "2 per generation", "3 in 30 days" or "0.5 lb/acre of sulfur per season"`
	at := max(strings.LastIndex(s, " per "), strings.LastIndex(s, " in "))
	if at < 0 {
		return m, refuse(do, "%s does not say over what time it counts", quote(s))
	}
	what := tidy(s[:at])
	_, period, _ := strings.Cut(s[at+1:], " ")
	period = strings.ToLower(tidy(period))
	for _, article := range []string{"a ", "an ", "one "} {
		period = strings.TrimPrefix(period, article)
	}
	if d := daysForm().FindStringSubmatch(period); d != nil {
		m.Days, _ = strconv.Atoi(d[1])
		if m.Days < 1 || m.Days > 730 {
			return m, refuse("write 1 to 730 days", "%s is no run of days", quote(period))
		}
	} else if m.Per, bad = choice("period", period, farm.MaxPers); bad != nil {
		return m, bad
	}
	if c := countForm().FindStringSubmatch(strings.ToLower(what)); c != nil {
		if m.Count, _ = strconv.Atoi(c[1]); m.Count < 1 || m.Count > 1000 {
			return m, refuse("write 1 to 1000", "%s is no number of applications", quote(what))
		}
		return m, nil
	}
	amount, active, _ := strings.Cut(what, " of ")
	m.Active = tidy(active)
	m.Amount, bad = readAmount(amount)
	if bad != nil && bad.Do == "" {
		bad.Do = do
	}
	return m, bad
}

func writeMaximum(m farm.Maximum) string {
	s := strconv.Itoa(m.Count)
	if m.Count == 0 {
		s = m.Amount.String()
	}
	if m.Active != "" {
		s += " of " + m.Active
	}
	if m.Per != "" {
		return s + " per " + m.Per
	}
	return fmt.Sprintf("%s in %d days", s, m.Days)
}

var yearSpanForm = pattern.New(`^(\d{2}-\d{2}) (?:to|until|-|–) (\d{2}-\d{2})$`)

func readYearSpan(s string) (y farm.YearSpan, bad *diag.Problem) {
	m := yearSpanForm().FindStringSubmatch(strings.ToLower(tidy(s)))
	bad = refuse(`write month and day twice, such as "04-01 to 10-31"`, "%s is not a time of the year", quote(s))
	if m == nil {
		return y, bad
	}
	if m[1] == "02-29" || m[2] == "02-29" {
		return y, refuse("write 02-28; 29 February is then outside of the season", "%s names a day that does not come every year", quote(s))
	}
	var err1, err2 error
	y.From, err1 = civil.ParseMonthDay(m[1])
	y.To, err2 = civil.ParseMonthDay(m[2])
	if err1 != nil || err2 != nil {
		return y, bad
	}
	return y, nil
}

func writeYearSpan(y farm.YearSpan) string { return y.From.String() + " to " + y.To.String() }

// readClock reads hours of the day; "18:00-09:00" goes over midnight.
func readClock(s string) ([]farm.ClockSpan, *diag.Problem) {
	var parts []string
	for part := range strings.SplitSeq(strings.ReplaceAll(tidy(s), " to ", "-"), ",") {
		from, to, ok := strings.Cut(strings.TrimSpace(part), "-")
		if ok && strings.TrimSpace(to) < strings.TrimSpace(from) && strings.TrimSpace(to) != "00:00" {
			parts = append(parts, "00:00-"+to, from+"-24:00")
			continue
		}
		if ok && strings.TrimSpace(to) == "00:00" {
			part = from + "-24:00"
		}
		parts = append(parts, part)
	}
	spans, err := farm.ParseHours(strings.Join(parts, ","))
	if err != nil {
		return nil, refuse(`write hours such as "18:00-09:00" or "05:00-10:00, 17:00-21:00"`, "these are no hours of the day: %v", err)
	}
	return spans, nil
}

func readLabelDay(s string) (civil.Date, *diag.Problem) {
	if yearMon().MatchString(strings.TrimSpace(s)) {
		return civil.Date{}, noDate(s, "write a whole date; for a month only, its first day is the safe one", "has no day")
	}
	return parseDate(s, civil.Date{})
}

func readMixed(s string) (float64, *diag.Problem) { return span(s, 720, `"12 hours"`) }

func readHeight(s string) (float64, *diag.Problem) {
	v, bad := amount(s, units.Length, `"24 in" or "60 cm"`)
	if bad == nil && (v <= 0 || v > 20) {
		bad = refuse("write more than 0 and at most 20 m", "%s is no height of a nozzle", quote(s))
	}
	return v, bad
}

// written is a figure in the unit in which it was most likely copied, such as
// 60 F, as long as that reads back as the same figure; else in its base unit.
func written(v float64, base string, others ...string) string {
	if n := units.Of(v, base).Natural(others...); n.Base() == v {
		return n.String()
	}
	return number(v) + " " + base
}

func writeTemp(c float64) string { return written(c, "C", "F") }

func writeWind(v float64) string { return written(v, "m/s", "mph", "km/h") }

func writeMetres(v float64) string { return written(v, "m", "ft", "yd") }

func writeHeight(v float64) string { return written(v, "m", "in", "cm") }

// readPrinted reads "rei | binds | PANEL | WORDS".
func readPrinted(l *farm.Label, s string, _ PestNames) *diag.Problem {
	parts := strings.SplitN(s, "|", 4)
	if len(parts) < 4 {
		return refuse(`write "rei | binds | Directions for Use | Keep out for 4 hours."`, "%s does not say field, binds or advises, panel and words", quote(s))
	}
	p := farm.Printed{Field: tidy(parts[0]), Panel: tidy(parts[2]), Text: tidy(parts[3])}
	force, bad := choice("force of a sentence", tidy(parts[1]), []string{"binds", "advises"})
	switch {
	case bad != nil:
		return bad
	case !slices.ContainsFunc(labelKeys(), func(k string) bool { return k == p.Field }):
		return unknown("field", p.Field, labelKeys())
	case p.Text == "":
		return refuse("write the words, or delete the item", "the label's words on %s are blank", p.Field)
	case strings.Contains(s, ";;"):
		return refuse("write two items", "%s holds ;;", quote(s))
	case slices.ContainsFunc(l.Printed, func(o farm.Printed) bool { return o.Field == p.Field }):
		return refuse("keep one of the two", "the words on %s stand twice", p.Field)
	}
	p.Advises = force == "advises"
	l.Printed = append(slices.Clone(l.Printed), p)
	return nil
}

func writePrinted(l *farm.Label) (out []string) {
	for _, p := range l.Printed {
		force := "binds"
		if p.Advises {
			force = "advises"
		}
		out = append(out, strings.Join([]string{p.Field, force, p.Panel, p.Text}, " | "))
	}
	return out
}

// labelKeys are the keys of the fields that a label prints.
func labelKeys() []string { return printable }

// printable is filled from the table of fields, which names the readers above.
var printable []string

func init() {
	for _, f := range labelFields {
		if !own(f.key) && f.key != "printed" && f.key != "note" {
			printable = append(printable, f.key)
		}
	}
	printable = append(printable, "actives")
}
