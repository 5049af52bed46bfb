package app

import (
	"strings"

	"leafturn/internal/catalog"
	"leafturn/internal/ingest"
	"leafturn/internal/pattern"
)

// coverNames are the names that the grower's rules may use: keys, names with and
// without what stands in brackets, Latin names, and single words of a key that no
// other has ("rye", but not "vetch").
func (a *App) coverNames() ingest.CoverNames {
	n := ingest.CoverNames{
		Beds: a.names, Covers: map[string]string{}, Problems: map[string]string{}, Families: map[string]string{},
		Viruses: map[string]string{"tswv": "tospovirus", "insv": "tospovirus"},
	}
	for _, c := range a.cat.Covers() {
		family := strings.Fields(c.Family)[0]
		n.Families[ingest.Key(family)] = family
	}
	n.Covers = coverWords(a.cat.Covers())
	for _, word := range a.cat.PestWords() {
		p, _ := a.cat.PestByWord(word)
		n.Problems[ingest.Key(word)], n.Problems[ingest.Key(p.Name)] = p.Key, p.Key
	}
	for _, p := range catalog.SoilProblems() {
		n.Problems[ingest.Key(p)] = p
		group, kind, _ := strings.Cut(p, "_")
		if group == "nematode" {
			n.Problems[kind+"_nematode"] = p // as people say it: lesion nematode
		} else {
			n.Problems[kind] = p
		}
	}
	for _, v := range catalog.CoverViruses() {
		n.Viruses[ingest.Key(v)] = v
	}
	return n
}

var (
	inBrackets = pattern.New(`\([^)]*\)`)
	notAWord   = []string{"winter", "rest", "none", "mixes", "mix", "legumes", "at"} // words of the rules
)

// coverWords are the words for covers; one that could mean two means none.
func coverWords(covers []catalog.Cover) map[string]string {
	out := map[string]string{}
	two := map[string]bool{}
	add := func(word, key string) {
		word = ingest.Key(word)
		if old, ok := out[word]; ok && old != key {
			two[word] = true
		}
		if !contains(notAWord, word) {
			out[word] = key
		}
	}
	for _, c := range covers {
		add(c.Name, c.Key)
		add(inBrackets().ReplaceAllString(c.Name, ""), c.Key)
		add(c.Latin, c.Key)
		for _, w := range strings.Split(c.Key, "_") {
			add(w, c.Key)
		}
	}
	for word := range two {
		delete(out, word)
	}
	for _, c := range covers {
		out[c.Key] = c.Key // a key always means itself
	}
	return out
}
