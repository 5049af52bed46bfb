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
		if severalUnits().MatchString(strings.ToLower(text)) {
			if r.words.wide == nil {
				r.words.wide = map[string]bool{}
			}
			r.words.wide[strings.Clone(text)] = true
		}
		return unitNumber(strings.Clone(text), word)
	})
}

// severalUnits are numbers of units that may be those of several.
var severalUnits = pattern.New(`^(?:all|every|each|both|alle|tous|toutes|todos|todas)\b|^(?:\pL+ )?\d+ ?(?:-|–|to|bis|\.\.\.?|\+|&|,|;|and|und|et) ?\d+$`)

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
