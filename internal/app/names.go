package app

import (
	"slices"
	"strings"

	"leafturn/internal/catalog"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
)

// names answers what the words that people type stand for. It serves package
// ingest.
type names struct {
	cat   *catalog.Catalog
	beds  map[string]farm.Bed // by lower-case code
	codes []string
}

func newNames(cat *catalog.Catalog, beds []farm.Bed) *names {
	n := &names{cat: cat, beds: map[string]farm.Bed{}}
	for _, b := range beds {
		n.beds[strings.ToLower(b.Code)] = b
		n.codes = append(n.codes, b.Code)
	}
	return n
}

// Bed finds a bed's code in any case of letters.
func (n *names) Bed(word string) (string, bool) {
	b, ok := n.beds[strings.ToLower(word)]
	return b.Code, ok
}

// BedCodes lists the farm's beds.
func (n *names) BedCodes() []string { return n.codes }

// Pest finds a pest by key or alias.
func (n *names) Pest(word string) (string, bool) {
	p, ok := n.cat.PestByWord(word)
	return p.Key, ok
}

// PestWords lists the words for pests.
func (n *names) PestWords() []string { return n.cat.PestWords() }

// Unit finds a sample unit of a pest; "" is the usual one.
func (n *names) Unit(pest, word string) (string, bool) {
	p, ok := n.cat.Protocol(pest, word)
	return p.Unit, ok
}

// UnitWords lists the words for a pest's sample units.
func (n *names) UnitWords(pest string) []string {
	var out []string
	for _, p := range n.cat.Protocols(pest) {
		out = append(out, p.Unit)
	}
	return out
}

// Enemy finds a natural enemy by key or alias.
func (n *names) Enemy(word string) (string, bool) {
	e, ok := n.cat.EnemyByWord(word)
	return e.Key, ok
}

// EnemyWords lists the words for natural enemies.
func (n *names) EnemyWords() []string { return n.cat.EnemyWords() }

// findPest turns a word into a pest, or says which there are.
func (n *names) findPest(word string) (catalog.Pest, error) {
	p, ok := n.cat.PestByWord(word)
	if !ok {
		return p, diag.Usagef("see the pests with `leafturn pest`", "unknown pest %q%s", word, diag.DidYouMean(word, n.PestWords()))
	}
	return p, nil
}

// findBeds turns words into beds, in the order given, each once.
func (n *names) findBeds(words []string) ([]farm.Bed, error) {
	var out []farm.Bed
	var problems diag.List
	for _, w := range words {
		b, ok := n.beds[strings.ToLower(w)]
		switch {
		case !ok:
			problems.Add(diag.Usagef("see the beds with `leafturn bed list`", "unknown bed %q%s", w, diag.DidYouMean(w, n.codes)))
		case slices.ContainsFunc(out, func(x farm.Bed) bool { return x.Code == b.Code }):
			problems.Add(diag.Usagef("name each bed once", "the bed %s stands twice", b.Code))
		default:
			out = append(out, b)
		}
	}
	return out, problems.Err()
}

// HasBed reports whether a word is the code of a bed.
func (a *App) HasBed(word string) bool { _, ok := a.names.Bed(word); return ok }
