package sheet_test

import (
	"slices"
	"strings"

	"leafturn/internal/civil"
)

// farmNames are the words of an invented farm.
type farmNames struct{}

var (
	beds  = []string{"A2", "A4", "B3", "B4"}
	pests = map[string][]string{ // the words, and after ":" the units, the usual one first
		"slug": {"slug", "snail", ":trap", "board"}, "earwig": {"earwig", ":shelter", "plant", "trap"},
		"aphid": {"aphid", "greenfly", ":tip", "leaf", "plant"}, "spider_mite": {"spider_mite", "mite", ":leaf", "tap"},
	}
	enemies = []string{"predatory_mite", "lacewing"}
	today   = civil.MustParse("2026-07-20")
)

func (farmNames) Bed(w string) (string, bool) {
	for _, b := range beds {
		if strings.EqualFold(b, w) {
			return b, true
		}
	}
	return "", false
}
func (farmNames) BedCodes() []string { return beds }

func split(pest string) (words, units []string) {
	for i, w := range pests[pest] {
		if u, ok := strings.CutPrefix(w, ":"); ok {
			return pests[pest][:i], append([]string{u}, pests[pest][i+1:]...)
		}
	}
	return nil, nil
}

func (farmNames) Pest(w string) (string, bool) {
	for p := range pests {
		if words, _ := split(p); slices.Contains(words, w) {
			return p, true
		}
	}
	return "", false
}

func (farmNames) PestWords() []string {
	var out []string
	for p := range pests {
		words, _ := split(p)
		out = append(out, words...)
	}
	slices.Sort(out)
	return out
}

func (farmNames) Unit(pest, w string) (string, bool) {
	_, units := split(pest)
	if w == "" && len(units) > 0 {
		return units[0], true
	}
	return w, slices.Contains(units, w)
}

func (farmNames) UnitWords(pest string) []string { _, u := split(pest); return u }

func (farmNames) Enemy(w string) (string, bool) {
	if w == "predatory_mites" {
		w = "predatory_mite"
	}
	return w, slices.Contains(enemies, w)
}
func (farmNames) EnemyWords() []string { return enemies }
