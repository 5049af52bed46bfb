package sheet

import (
	"strings"
	"sync"
	"time"
	"unicode"
)

// The names of months and of days of the week in the languages in which headings
// are read, whole and cut short. No word stands for two of them.
var (
	monthWords = wordNumbers(1,
		"january jan januar januari janvier janv enero ene gennaio gen",
		"february feb februar februari février fevrier févr fevr fév febrero febbraio",
		"march mar märz maerz mär mrz mars marzo maart mrt",
		"april apr avril avr abril abr aprile",
		"may mai mayo mei maggio mag",
		"june jun juni juin junio giugno giu",
		"july jul juli juillet juil julio luglio lug",
		"august aug août aout agosto ago augustus",
		"september sept sep septembre septiembre settembre set",
		"october oct oktober okt octobre octubre ottobre ott",
		"november nov novembre noviembre",
		"december dec dezember dez décembre decembre déc diciembre dic dicembre",
	)
	dayWords = wordNumbers(0,
		"sunday sun sonntag so dimanche dim domingo dom domenica zondag zo",
		"monday mon montag mo lundi lun lunes lunedì maandag",
		"tuesday tue tues dienstag di mardi mar martes martedì dinsdag ma",
		"wednesday wed weds mittwoch mi mercredi mer miércoles mié mercoledì woensdag wo",
		"thursday thu thur thurs donnerstag do jeudi jeu jueves jue giovedì donderdag",
		"friday fri freitag fr vendredi ven viernes vie venerdì vrijdag vr",
		"saturday sat samstag sonnabend sa samedi sam sábado sáb sabato zaterdag za",
	)
)

func wordNumbers(first int, lines ...string) func() map[string]int {
	return sync.OnceValue(func() map[string]int {
		m := map[string]int{}
		for i, line := range lines {
			for _, w := range strings.Fields(line) {
				m[w] = first + i
			}
		}
		return m
	})
}

// month is 1 to 12, or 0 for a word that is none.
func month(word string) int { return monthWords()[strings.ToLower(word)] }

// weekday takes a day of the week from the begin or the end of a date; of is
// below 0 where there is none.
func weekday(s string) (rest string, of time.Weekday) {
	named := func(word, rest string) (string, time.Weekday, bool) {
		n, ok := dayWords()[strings.ToLower(strings.Trim(word, ".,()"))]
		rest = strings.Trim(rest, " ,(")
		return rest, time.Weekday(n), ok && strings.ContainsFunc(rest, unicode.IsDigit)
	}
	if i := strings.IndexByte(s, ' '); i > 0 && !monthDay().MatchString(s) {
		if rest, of, ok := named(s[:i], s[i:]); ok {
			return rest, of
		}
		i = strings.LastIndexByte(s, ' ')
		if rest, of, ok := named(s[i+1:], s[:i]); ok {
			return rest, of
		}
	}
	return s, -1
}

// weekdaysOnly reports whether values are days of the week and nothing else.
func weekdaysOnly(examples []string) bool {
	some := false
	for _, e := range examples {
		if e = strings.ToLower(strings.Trim(tidy(e), ".")); e == "" {
			continue
		}
		if _, ok := dayWords()[e]; !ok {
			return false
		}
		some = true
	}
	return some
}
