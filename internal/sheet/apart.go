package sheet

import "strings"

// Columns that are not read but tell rows apart. What they say is watched, for counts
// that would be taken for those of several units, or that are not of this farm or no
// longer hold.
const (
	apart   Role = "apart"   // life stages, times of the day: of one unit
	site    Role = "site"    // farms, fields
	crossed Role = "crossed" // rows that were taken out
	measure Role = "measure" // what the number of a row is
)

// lifeStages head columns that tell the counts of one unit apart.
var lifeStages = words("life stage|lifestage|life stages|instar|sex|male female|developmental stage|am pm|dead alive|alive dead|side of leaf|leaf side|size class|round|visit|visit no|visit number|session")

// apartWords are the values of such a column, whatever its heading.
var apartWords = words("egg|eggs|larva|larvae|larvas|pupa|pupae|nymph|nymphs|adult|adults|juvenile|juveniles|caterpillar|caterpillars|grub|grubs|maggot|maggots|male|males|female|females|m|f|winged|wingless|alate|alates|apterous|dead|alive|live|living|am|pm|morning|noon|afternoon|evening|before|after|small|medium|large|underside|upperside")

var (
	sites       = words("farm|field|site|garden|property|holding|greenhouse|tunnel|polytunnel|block")
	measures    = words("variable|parameter|measure|measurement|metric|indicator|attribute")
	crossedOut  = words("void|voided|deleted|delete|cancelled|canceled|invalid|excluded|exclude|discarded|removed row|struck out|crossed out")
	notCrossed  = words("|no|n|false|0|-")
	apartRemedy = `write one count for each unit: add up what was told apart, or keep one of two countings; where each unit has one row already, set the column to "ignore" in a map file (see --save-map)`
)

func words(list string) map[string]bool {
	m := map[string]bool{}
	for _, w := range strings.Split(list, "|") {
		m[w] = true
	}
	return m
}

// watchedRole is the role of a column that is not read but watched, unknown for none.
func watchedRole(h string, examples []string) Role {
	switch {
	case lifeStages[h] || wordsOf(examples, apartWords):
		return apart
	case sites[h]:
		return site
	case crossedOut[h]:
		return crossed
	case measures[h]:
		return measure
	}
	return unknown
}

// wordsOf reports whether there are values, and all of them are such words.
func wordsOf(examples []string, words map[string]bool) bool {
	some := false
	for _, e := range examples {
		if e = strings.ToLower(tidy(e)); e == "" {
			continue
		}
		if !words[e] {
			return false
		}
		some = true
	}
	return some
}

// watched reports whether a column is not read, but what it says is watched.
func (c Column) watched() bool {
	return c.Role == apart || c.Role == site || c.Role == crossed || c.Role == measure
}

// watch looks at what the watched columns of a row say of the visits it touches.
func (r *reader) watch(touched []*build, get func(*Column) (string, bool), fail func(*Column, string, *wrong)) {
	for _, c := range r.watches {
		text, _ := get(c)
		low := strings.ToLower(text)
		for _, b := range touched {
			var w *wrong
			switch c.Role {
			case apart:
				w = b.differ(c, low)
			case site:
				if before := r.saidBefore(c, b.bed, text); before != "" {
					r.loose(r.now, part{bed: b.bed})
					w = bad(`take out the rows that are not of this farm; or, if it is one bed, set the column to "ignore" in a map file (see --save-map)`, "the bed %s stands in %s and in %s: two beds would be taken for one", b.bed, quote(before), quote(text))
				}
			case measure:
				if before := r.saidBefore(c, "", text); before != "" {
					r.loose(r.now, part{})
					w = bad(`import the rows of counts alone, without this column; or, if all are counts, set it to "ignore" in a map file (see --save-map)`, "the rows say %s and %s: numbers of two kinds stand in one column", quote(before), quote(text))
				}
			case crossed:
				if !notCrossed[low] {
					w = bad(`delete the row; or, if the count holds, set the column to "ignore" in a map file (see --save-map)`, "the column says %s: the count was taken out", quote(text))
				}
			}
			if w != nil {
				fail(c, text, w)
				break
			}
		}
	}
}

// differ notes what a watched column says, and that it said something else before.
func (b *build) differ(c *Column, text string) *wrong {
	said := b.more()
	before, ok := said.apart[c.Col]
	switch {
	case !ok && said.apart == nil:
		said.apart = map[int]string{c.Col: strings.Clone(text)}
	case !ok:
		said.apart[c.Col] = strings.Clone(text)
	case before != text:
		return bad(apartRemedy, "the rows of %s say %s and %s: counts of one unit would be taken for several units", b.words(), quote(before), quote(text))
	}
	return nil
}

// saidBefore is what a watched column said of a bed before, where that is another than
// now; "" for none.
func (r *reader) saidBefore(c *Column, bed, text string) string {
	if text == "" {
		return ""
	}
	if r.watchSaid == nil {
		r.watchSaid = map[[2]string]string{}
	}
	k := [2]string{c.Heading, bed}
	before, ok := r.watchSaid[k]
	if !ok {
		r.watchSaid[k] = strings.Clone(text)
	}
	if strings.EqualFold(before, text) {
		return ""
	}
	return before
}
