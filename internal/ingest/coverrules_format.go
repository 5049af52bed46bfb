package ingest

import (
	"fmt"
	"math"
	"strings"
)

// String writes the rule as its canonical line, in metric units.
// ReadCoverRules reads the same rule back, but for its place and words.
func (r CoverRule) String() string {
	words := []string{string(r.Kind)}
	put := func(s ...string) {
		for _, x := range s {
			if x != "" {
				words = append(words, x)
			}
		}
	}
	limit := func() string {
		if r.Least {
			return "at least"
		}
		return "at most"
	}
	extent := func() string {
		if r.Unit == UnitShare {
			return number(math.Round(r.Number*1e8)/1e6) + " %"
		}
		return number(r.Number) + " " + r.Unit
	}
	cover := strings.ReplaceAll(r.Cover, mixSign, " "+mixSign+" ")
	switch r.Kind {
	case CoverBudget, CoverLots, CoverRest, CoverMixes, CoverTogether:
		put(number(r.Number))
	case CoverUntreated:
		put(number(r.Number), "in", fmt.Sprint(r.Of))
	case CoverLegumes:
		put(limit(), extent())
	case CoverArea:
		put(cover, r.Name, limit(), extent())
	case CoverPin, CoverForbid:
		put(r.Bed, r.Window, cover)
	case CoverWeight, CoverGrade:
		put(r.Name, number(r.Number))
	case CoverPrice:
		put(cover, number(r.Number), "per kg")
	case CoverBag:
		put(cover, number(r.Number), "kg")
	case CoverPressure:
		put(r.Bed, r.Pest, number(r.Number))
		if r.Spread > 0 {
			put("+-", number(r.Spread))
		}
	case CoverGrew:
		put(r.Bed, cover, r.Name, fmt.Sprint(r.Year))
	case CoverDig, CoverPlant:
		put(r.Bed, r.Date.String())
	case CoverSoil:
		put(r.Month.String(), number(r.Number), "C")
	case CoverDry, CoverClubroot:
		put(r.Bed)
	case CoverVirus:
		put(r.Bed, r.Name)
	case CoverSod:
		put(r.Bed, fmt.Sprint(r.Year))
	case CoverBrassica:
		put("near", r.Bed)
	case CoverFamily, CoverHosts:
		put(r.Name)
	}
	return strings.Join(words, " ")
}

// CoverRulesHelp says what can be written, with examples.
func CoverRulesHelp() string {
	var b strings.Builder
	b.WriteString("Rules on next year's covers, one on each line of a file, or each in a --rule.\n" +
		"Case does not matter, \"#\" begins a comment, and a rule may stand once.\n" +
		"BED is the code of a bed; COVER is the key or the name of a cover.\n")
	for _, f := range coverForms {
		b.WriteString("\n")
		for _, form := range strings.Split(f.form, " | ") {
			b.WriteString(form + "\n")
		}
		for _, line := range wrapWords(f.what, 76) {
			b.WriteString("    " + line + "\n")
		}
		for _, e := range f.examples {
			b.WriteString("      " + e + "\n")
		}
	}
	return b.String()
}

// wrapWords breaks text into lines of at most so many characters.
func wrapWords(text string, width int) []string {
	var out []string
	line := ""
	for _, w := range strings.Fields(text) {
		if line != "" && len([]rune(line))+1+len([]rune(w)) > width {
			out, line = append(out, line), ""
		}
		if line != "" {
			line += " "
		}
		line += w
	}
	return append(out, line)
}
