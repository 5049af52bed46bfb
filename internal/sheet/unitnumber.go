package sheet

import (
	"strconv"
	"strings"

	"leafturn/internal/pattern"
)

// someNumbers are the numbers that most units have.
var someNumbers = func() (out [1000]string) {
	for i := range out {
		out[i] = strconv.Itoa(i)
	}
	return out
}()

func (r *reader) label(text, word string) string {
	if len(text) < 4 && plainDigits(text) {
		n, _ := strconv.Atoi(text)
		return someNumbers[n]
	}
	return r.words.label.get(text, func() string {
		if severalUnits(strings.ToLower(text)) {
			if r.words.wide == nil {
				r.words.wide = map[string]bool{}
			}
			r.words.wide[strings.Clone(text)] = true
		}
		return unitNumber(strings.Clone(text), word)
	})
}

var (
	severalWords = pattern.New(`^(?:all|every|each|both|several|pooled|combined|alle|tous|toutes|todos|todas)\b|^(?:the )?(?:rest|others?)$|^\d+ (?:\pL+s|leaves)$|^n ?= ?\d+$|^\d+ ?[x×]$`)
	unitSigns    = pattern.New(` ?(?:[-–+&,;]|\.\.\.?|\b(?:to|thru|through|bis|and|und|et)\b) ?`)
	blanksApart  = pattern.New(`^\pL{0,2}\d+(?: \pL{0,2}\d+)+$`)
	oneUnit      = pattern.New(`^(\pL*)( ?)\d+$`)
)

// severalUnits reports whether a number of a unit may be those of several: all,
// 1-9, T1 T2, 4 traps. A1-1 is the name of one.
func severalUnits(text string) bool {
	if severalWords().MatchString(text) {
		return true
	}
	var units []string
	for _, part := range unitSigns().Split(text, -1) {
		if blanksApart().MatchString(part) {
			units = append(units, strings.Fields(part)...)
			continue
		}
		units = append(units, part)
	}
	first := oneUnit().FindStringSubmatch(units[0])
	if len(units) < 2 || first == nil {
		return false
	}
	apart := first[1] == "" || first[2] != "" // traps 1 to 4
	for _, u := range units[1:] {
		m := oneUnit().FindStringSubmatch(u)
		if m == nil || m[1] != first[1] && (m[1] != "" || !apart) {
			return false
		}
	}
	return true
}

func manyUnits(text string, isDay bool) *wrong {
	const do = "give each unit a row of its own; if it is the name of one unit, write it with a letter and no sign, such as T12"
	if isDay {
		return bad(do, "%s is a date: the spreadsheet made it of something such as 1-9", quote(text))
	}
	return bad(do, "%s may be several units: the count would be their sum", quote(text))
}

// unitNumber writes the number of a unit in one way: "Trap 07" is 7.
func unitNumber(text, word string) string {
	if plainDigits(text) {
		if text = strings.TrimLeft(text, "0"); text == "" {
			text = "0"
		}
		return text
	}
	if whole, ok := strings.CutSuffix(text, ".0"); ok && plainDigits(whole) { // as programs write numbers
		return unitNumber(whole, "")
	}
	label := strings.ReplaceAll(strings.ToLower(text), " ", "_")
	if word != "" {
		label = strings.TrimPrefix(label, word+"_")
	}
	if plainDigits(label) {
		return unitNumber(label, "")
	}
	return label
}
