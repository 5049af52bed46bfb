package week

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/verdict"
)

// Short says in one phrase what was counted in a bed and what it is held
// against, such as "D5 12 mites per leaf (8.1 to 19), act from 10".
func Short(a assess.Assessment) string {
	r := a.Decider
	if a.HotSpotAct && a.Result.Verdict != verdict.Act {
		h := a.HotSpots[len(a.HotSpots)-1]
		return fmt.Sprintf("%s hot spot with %s", a.Bed.Code, h.Unit.Say(Number(h.Value)))
	}
	if r == nil {
		return a.Bed.Code + " never counted"
	}
	if !r.Valid() {
		return fmt.Sprintf("%s count of %s not valid: %s", a.Bed.Code, r.Visit.Date.Short(), r.Invalid[0])
	}
	s := fmt.Sprintf("%s %s (%s to %s)", a.Bed.Code, r.Unit.Say(Number(r.Value)), Number(r.Low), Number(r.High))
	if w := LevelBehind(a); w != "" {
		s += ", " + w
	}
	if d := r.Density; d != nil && d.Outlier {
		s += ", " + OutlierWords(d.OutlierUnit, d.Max)
	}
	return s
}

// LevelBehind is the level that the count of a bed is held against, such as
// "act from 10"; "" for none.
func LevelBehind(a assess.Assessment) string {
	r := a.Decider
	switch {
	case a.Result.Verdict == verdict.Act && r.Act != nil:
		return "act " + LevelWords(*r.Act)
	case r.Watch != nil && r.Value >= r.Watch.Value:
		return "watch " + LevelWords(*r.Watch)
	case r.Act != nil:
		return "act " + LevelWords(*r.Act)
	}
	return ""
}

// OutlierWords says that one unit is far above the others of its visit.
func OutlierWords(unit, count int) string {
	return fmt.Sprintf("unit %d with %d is far above the others: probably a typing slip or a hot spot", unit, count)
}

// LevelOf is LevelWords with the words of the unit's measure.
func LevelOf(l assess.Level, u assess.Unit) string { return levelWords(l, u.Say(Number(l.Value))) }

// LevelWords says a level as "from 10", "above 5" or "none".
func LevelWords(l assess.Level) string { return levelWords(l, Number(l.Value)) }

func levelWords(l assess.Level, value string) string {
	s := ""
	switch l.Operator {
	case ">=":
		s = "from " + value
	case ">":
		s = "above " + value
	case "<=":
		s = "up to " + value
	default:
		return "level: none known"
	}
	if l.Overridden {
		s += " (farm's own)"
	}
	return s
}

// Number writes a density with as many digits as a grower can use: two
// significant digits or three decimals below 10, whole numbers from 10 on. Not a number is "?".
func Number(v float64) string {
	switch a := math.Abs(v); {
	case math.IsNaN(v):
		return "?"
	case math.IsInf(v, 0):
		return "no limit"
	case a == 0:
		return "0"
	case a < 0.1:
		return trimZeros(strconv.FormatFloat(v, 'f', 3, 64))
	case a < 10:
		return trimZeros(strconv.FormatFloat(v, 'f', 2-boolInt(a >= 1), 64))
	default:
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
}

func trimZeros(s string) string {
	if !strings.Contains(s, ".") {
		return s
	}
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" || s == "" {
		return "0"
	}
	return s
}

func boolInt(v bool) int {
	if v {
		return 1
	}
	return 0
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// lowerStart makes the first letter small, but for a word of one letter or in
// capitals, such as a name with initials.
func lowerStart(s string) string {
	if len(s) < 2 || s[1] < 'a' || s[1] > 'z' {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

// plural makes the plural of the unit words in the catalogue.
func plural(s string) string { return assess.Plural(s, 2) }

// thousands writes a whole number with commas from 10,000 on.
func thousands(n int) string {
	s := strconv.Itoa(n)
	if n < 10_000 {
		return s
	}
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

func dayWords(n int) string {
	if n == 1 {
		return "1 day"
	}
	return strconv.Itoa(n) + " days"
}
