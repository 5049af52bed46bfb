package sheet

import (
	"slices"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/ingest"
)

func (r *reader) bed(text string) answer {
	return r.words.bed.get(text, func() answer {
		if text == "" {
			return answer{w: bad(`write the bed in every row: a blank is not "as above"`, "no bed in this row")}
		}
		word := text
		for w, code := range r.Map.Beds {
			if strings.EqualFold(tidy(w), text) {
				word = code
			}
		}
		for _, w := range []string{word, cutFold(word, "bed ")} {
			if key, ok := known(w, r.Names.Bed); ok {
				return answer{key: key}
			}
		}
		d := ingest.Unknown("bed", word, r.Names.BedCodes())
		return answer{w: bad(remedy(d, "beds", text, "leafturn bed add"), "%s", d.What)}
	})
}

// remedy is what to do about an unknown word.
func remedy(d *diag.Problem, table, word, add string) string {
	s := d.Do
	if s == "" {
		s = "correct it"
	}
	s += ", or say in a map file what it stands for: [" + table + "] " + tomlString(word) + ` = "..."`
	if add != "" {
		s += "; a bed that the farm does not have yet is entered with `" + add + "`"
	}
	return s
}

func cutFold(s, prefix string) string {
	if len(s) > len(prefix) && strings.EqualFold(s[:len(prefix)], prefix) {
		return s[len(prefix):]
	}
	return s
}

func (r *reader) pestOf(text string) answer {
	return r.words.pest.get(text, func() answer {
		if text == "" {
			return answer{w: bad(`write the pest in every row: a blank is not "as above"`, "no pest in this row")}
		}
		word := text
		for w, p := range r.Map.Pests {
			if strings.EqualFold(tidy(w), text) {
				word = p
			}
		}
		if key, ok := r.g.pest(word); ok {
			return answer{key: key, word: strings.TrimSuffix(strings.ReplaceAll(strings.ToLower(word), "_", " "), "s")}
		}
		if key, ok := known(word, r.Names.Enemy); ok {
			return answer{w: bad("give it a column of its own beside the counts of the pest, with the heading "+quote(key), "%s is a natural enemy, not a pest", quote(text))}
		}
		d := ingest.Unknown("pest", word, r.Names.PestWords())
		return answer{w: bad(remedy(d, "pests", text, ""), "%s", d.What)}
	})
}

func (r *reader) date(text string) dateAnswer {
	return r.words.date.get(text, func() dateAnswer {
		if text == "" {
			return dateAnswer{w: bad(`write the date in every row: a blank is not "as above"`, "no date in this row")}
		}
		d, moved, w, ok := atFarm(text, r.Map.Dates, r.Zone)
		if !ok {
			d, w = parseDate(text, r.Map.Dates)
		}
		if w == nil && r.Map.Dates == "" {
			r.notice(text)
		}
		if w == nil {
			w = r.slip(text, d)
		}
		return dateAnswer{d, moved, oneOrder(text), w}
	})
}

// slip says why a day can be none on which somebody counted.
func (r *reader) slip(text string, d civil.Date) *wrong {
	switch {
	case r.Today.IsZero():
	case d.After(r.Today):
		return bad("check the date and the order of day and month", "%s lies in the future: today is %s", quote(text), r.Today)
	case d.Before(r.Earliest):
		return bad("check the year; where it is right, import with --old", "%s lies before %s, 10 years before the farm's first record (or today), and is taken for a slip", quote(text), r.Earliest)
	}
	return nil
}

// oneOrder reports whether a date in numbers, the year last, has a day that can be no
// month.
func oneOrder(text string) bool {
	m := threeParts().FindStringSubmatch(text)
	return m != nil && len(m[1]) < 3 && max(atoi(m[1]), atoi(m[3])) > 12
}

// notice remembers a date that shows in which order the sheet has them.
func (r *reader) notice(text string) {
	if !threeParts().MatchString(tidy(text)) || r.shows.order != "" {
		return
	}
	_, noDay := parseDate(text, DayFirst)
	_, noMonth := parseDate(text, MonthFirst)
	switch {
	case noDay == nil && noMonth != nil:
		r.shows.order = DayFirst
	case noDay != nil && noMonth == nil:
		r.shows.order = MonthFirst
	default:
		return
	}
	r.shows.row, r.shows.text = r.now, text
}

// unitOf finds the sample unit of a pest: the row's own word, the one for the
// whole sheet, the one in the heading, else the usual one.
func (r *reader) unitOf(pest, own, head string) answer {
	return r.words.unit.get([3]string{pest, own, head}, func() answer {
		word := own
		if word == "" {
			word = r.Map.Unit
		}
		if word == "" && !slices.Contains(genericUnits, head) {
			word = head
		}
		if key, ok := known(word, func(s string) (string, bool) { return r.Names.Unit(pest, s) }); ok && word != "" {
			return answer{key: key}
		}
		if word == "" {
			if key, ok := r.Names.Unit(pest, ""); ok {
				r.res.Usual[pest] = key
				return answer{key: key}
			}
		}
		d := ingest.Unknown("sample unit of "+pest, word, r.Names.UnitWords(pest))
		do := "say the unit for the whole sheet with --unit, or in a column \"unit\""
		if word == head {
			do = "head the column \"number\" if it only numbers the units, or say the unit in a column \"unit\""
		}
		if d.Do != "" {
			do = d.Do + "; " + do
		}
		return answer{w: bad(do, "%s", d.What)}
	})
}
