package sheet

import "strings"

// longestTotal is the most bytes of a word for a row of sums.
const longestTotal = 60

// isTotal reports whether a row holds sums: its first word says so, or what
// stands in the place of its bed, pest, date, unit, place or note, or under an unknown
// heading.
func (r *reader) isTotal(cells []string) bool {
	first := true
	for i := range r.res.Columns {
		c := &r.res.Columns[i]
		if i >= len(cells) || cells[i] == "" {
			continue
		}
		text := cells[i]
		if t, end := text[0], text[len(text)-1]; t >= '0' && t <= '9' && (c.Role != Date || end >= '0' && end <= '9') {
			first = false
			continue
		}
		switch c.Role {
		case Bed, Pest, Date, Unit, Number, Where, Note, unknown, apart, site:
		default:
			if !first {
				continue
			}
		}
		if text = tidy(text); text == "" {
			continue
		}
		atFirst := first
		first = false
		if len(text) > longestTotal { // nor is it worth remembering
			continue
		}
		if r.words.total == nil {
			r.words.total = make([]memo[string, bool], len(r.res.Columns))
		}
		if r.words.total[i].get(text, func() bool {
			if _, bed := known(text, r.Names.Bed); bed {
				return false
			}
			switch c.Role {
			case Bed, Pest, Date:
				return totalWord(text) || subtotal(text)
			case Unit, Number, Where:
				return totalWord(text)
			}
			return totalWord(text) && !aName(text)
		}) && (c.Read() || atFirst || !rating(text)) {
			return true
		}
	}
	return false
}

// totals are the words in front of a row of sums or means.
var totals = map[string]bool{"total": true, "totals": true, "sum": true, "sums": true, "subtotal": true, "sub total": true, "grand total": true, "mean": true, "means": true, "average": true, "averages": true, "avg": true, "median": true, "max": true, "maximum": true, "min": true, "minimum": true, "std dev": true, "sub-total": true, "summe": true, "gesamt": true, "mittel": true, "mittelwert": true, "total général": true, "moyenne": true, "somme": true, "totaal": true, "ergebnis": true, "gesamtergebnis": true, "totale": true, "totale complessivo": true, "total general": true, "eindtotaal": true, "summa": true, "gemiddelde": true, "suma": true, "media": true}

func totalWord(s string) bool {
	s = strings.ToLower(strings.Trim(tidy(s), " :.="))
	if totals[s] {
		return true
	}
	first, rest, ok := strings.Cut(s, " ")
	return ok && totals[first] && (strings.HasPrefix(rest, "of ") || strings.HasPrefix(rest, "for ") || strings.HasPrefix(rest, "per ") || strings.HasPrefix(rest, "bed"))
}

// subtotal reports whether the word for sums stands behind, as spreadsheets write
// it when they add up groups: B3 Total.
func subtotal(s string) bool {
	words := strings.Fields(strings.ToLower(strings.Trim(tidy(s), " :.=")))
	if len(words) < 2 {
		return false
	}
	last := words[len(words)-1]
	return totals[last] && !aName(last) || last == "ergebnis" || last == "count"
}

// aName reports whether a word for sums is a person's name too.
func aName(s string) bool { return strings.EqualFold(s, "max") || strings.EqualFold(s, "min") }

// rating reports whether a word for means can be a mark as well: a crop can be
// average.
func rating(s string) bool {
	switch strings.ToLower(strings.Trim(tidy(s), " :.=")) {
	case "mean", "average", "avg", "median", "mittel", "media", "maximum", "minimum":
		return true
	}
	return false
}
