package ingest

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
)

// CoverRuleKind is the first word of a rule on next year's covers.
type CoverRuleKind string

// The kinds, with the fields that each fills. Bed "" is every bed.
const (
	CoverBudget    CoverRuleKind = "budget"     // Number USD at most
	CoverLots      CoverRuleKind = "lots"       // Number of different seeds at most
	CoverRest      CoverRuleKind = "rest"       // Number of rested beds at most
	CoverUntreated CoverRuleKind = "untreated"  // Number (1) of each Of beds without a cover at least
	CoverLegumes   CoverRuleKind = "legumes"    // Least, Number m2 or share
	CoverArea      CoverRuleKind = "area"       // Cover, or Name a family; Least, Number m2 or share
	CoverPin       CoverRuleKind = "pin"        // Bed, Window or "", Cover
	CoverForbid    CoverRuleKind = "forbid"     // Bed or "", Window or "", Cover; Cover "": the bed may not rest
	CoverMixes     CoverRuleKind = "mixes"      // Number of species in a mix at most; 1 is no mix
	CoverTogether  CoverRuleKind = "together"   // Number of points for two neighbours sown alike
	CoverWeight    CoverRuleKind = "weight"     // Name one of CoverWeights, Number
	CoverGrade     CoverRuleKind = "grade"      // Name A to D, Number 0 to 1
	CoverPrice     CoverRuleKind = "price"      // Cover, Number USD/kg
	CoverBag       CoverRuleKind = "bag"        // Cover, Number kg
	CoverPressure  CoverRuleKind = "pressure"   // Bed or "", Pest, Number 0 to 3, Spread
	CoverGrew      CoverRuleKind = "grew"       // Bed, Cover or Name a family, Year
	CoverDig       CoverRuleKind = "dig"        // Bed or "", Date
	CoverPlant     CoverRuleKind = "plant"      // Bed or "", Date
	CoverSoil      CoverRuleKind = "soil"       // Month, Number C
	CoverDry       CoverRuleKind = "no water"   // Bed or ""
	CoverVirus     CoverRuleKind = "virus"      // Bed or "", Name
	CoverSod       CoverRuleKind = "sod"        // Bed or "", Year
	CoverBrassica  CoverRuleKind = "brassica"   // Bed
	CoverClubroot  CoverRuleKind = "clubroot"   // Bed
	CoverFamily    CoverRuleKind = "own family" // Name soft, hard or soft except marigold
	CoverHosts     CoverRuleKind = "hosts"      // Name allowed or barred
)

// The words of a rule that are no names of the farm's or the catalogue's.
const (
	CoverNone   = "none" // no cover
	InWinter    = "winter"
	InRest      = "rest"
	UnitShare   = "share" // of the planned beds' area, for legumes of what is sown; 0 to 1
	mixSign     = "+"
	maxMix      = 3
	maxCoverNum = 1e6 // USD, m2, points; more is taken for a slip
)

// CoverRule is one rule of the grower's on next year's covers. Which fields
// are filled is said at its kind.
type CoverRule struct {
	File      string // "" for a rule given by itself
	Line, Col int    // Line of a rule given by itself is its number
	Text      string // as written
	Kind      CoverRuleKind
	Bed       string // code
	Cover     string // key, CoverNone, or the keys of a mix, sorted and joined by "+"
	Pest      string // key of a pest or soil problem
	Name      string
	Window    string // InWinter, InRest or ""
	Least     bool   // at least; else at most
	Number    float64
	Unit      string // of Number: USD, USD/kg, kg, m2, C, points, UnitShare or ""
	Of        int    // Number in Of
	Spread    float64
	Date      civil.Date
	Year      int
	Month     time.Month
}

// Place says where the rule stands: "rules.txt:3" or "--rule 2".
func (r CoverRule) Place() string {
	if r.File == "" {
		return fmt.Sprintf("--rule %d", r.Line)
	}
	return fmt.Sprintf("%s:%d", r.File, r.Line)
}

// CoverNames looks up the names in rules. The maps go from a word in lower
// case, with "_" for what is no letter or digit, to the key or name.
type CoverNames struct {
	Beds     BedNames
	Covers   map[string]string
	Problems map[string]string // pests and soil problems
	Families map[string]string
	Viruses  map[string]string
}

// ReadCoverRules reads the grower's rules on next year's covers: one on each
// line of a file (r nil: no file), and lines given by themselves. Blank lines
// and what follows "#" are skipped; case does not matter. CoverRulesHelp says
// what can be written.
//
// The error is a *diag.List with every problem: what cannot be read, rules
// that stand twice, and rules that cannot hold together. A year after today's
// is a problem where it tells of the past; today may be zero. The rules that
// read well are returned beside it, the file's first.
func ReadCoverRules(r io.Reader, file string, lines []string, names CoverNames, today civil.Date) ([]CoverRule, error) {
	var rules []CoverRule
	var all diag.List
	if r != nil {
		p := coverRules{problems: problems{file: file}, names: names, today: today}
		texts, bad, _ := p.readText(r, maxLabel)
		for i, text := range texts {
			if !bad[i+1] {
				p.line(i+1, text)
			}
		}
		if len(p.rules) == 0 && p.count() == 0 {
			p.add(0, 0, "write a rule on each line, such as: budget 120", "no rules in it")
		}
		for i := range p.rules {
			p.rules[i].File = file
		}
		rules = append(rules, p.rules...)
		all.Problems = append(all.Problems, p.list.Problems...)
	}
	p := coverRules{problems: problems{file: "--rule"}, names: names, today: today}
	for i, text := range lines {
		before, had := len(p.rules), p.count()
		if d, col := checkChars(text); d != nil {
			p.put(i+1, col, d)
		} else {
			p.line(i+1, text)
		}
		if len(p.rules) == before && p.count() == had {
			p.add(i+1, 1, "write a rule, such as: budget 120", "no rule in it")
		}
	}
	rules = append(rules, p.rules...)
	all.Problems = append(all.Problems, p.list.Problems...)
	all.Problems = append(all.Problems, coverClashes(rules)...)
	for _, d := range all.Problems {
		d.Usage = d.Usage || d.File == "--rule"
	}
	return rules, all.Err()
}

// coverRules reads the lines of one source.
type coverRules struct {
	problems
	names CoverNames
	today civil.Date
	rules []CoverRule
}

// line reads one line and keeps its rule if it has no problem.
func (p *coverRules) line(row int, text string) {
	if len(text) > MaxLine {
		p.add(row, 1, "split it, or check that this is a file of rules", "the line has %d bytes; at most %d are read", len(text), MaxLine)
		return
	}
	words, end := ruleWords(text)
	if len(words) == 0 {
		return
	}
	l := &coverLine{p: p, row: row, words: words, end: end}
	l.r = CoverRule{Line: row, Col: words[0].col, Text: tidy(string([]rune(text)[:end-1]))}
	first := strings.ToLower(strings.TrimSuffix(words[0].text, ":"))
	i := slices.IndexFunc(coverForms, func(f coverForm) bool { return f.word == first })
	if i < 0 {
		var known []string
		for _, f := range coverForms {
			known = append(known, f.word)
		}
		p.put(row, words[0].col, unknown("rule", words[0].text, known))
		return
	}
	l.form, l.at = coverForms[i], 1
	l.r.Kind = l.form.kind
	before := p.count()
	l.form.read(l)
	if p.count() == before && l.at < len(words) {
		l.bad(words[l.at], "%s is more than the rule takes", quote(l.rest()))
	}
	if p.count() == before {
		p.rules = append(p.rules, l.r)
	}
}

// ruleWords cuts a line at blanks, up to a comment; end is the column after
// the last word.
func ruleWords(text string) (words []word, end int) {
	end = 1
	rs := []rune(text)
	for i := 0; i < len(rs); {
		switch {
		case isSpace(rs[i]):
			i++
			continue
		case rs[i] == '#':
			return words, end
		}
		w := word{col: i + 1}
		from := i
		for i < len(rs) && !isSpace(rs[i]) {
			i++
		}
		w.text, end = string(rs[from:i]), i+1
		words = append(words, w)
	}
	return words, end
}

// coverLine reads the words of one rule from left to right. After the first
// problem the readers give zero values and say nothing more.
type coverLine struct {
	p     *coverRules
	row   int
	words []word
	at    int
	end   int
	form  coverForm
	r     CoverRule
	wrong bool
}

// bad places a problem at a word and says how the rule is written.
func (l *coverLine) bad(w word, format string, args ...any) {
	l.badDo(w, l.form.write(), format, args...)
}

func (l *coverLine) badDo(w word, do, format string, args ...any) {
	if !l.wrong {
		l.p.add(l.row, w.col, do, format, args...)
	}
	l.wrong = true
}

// noName reports a word that is no known name of a kind.
func (l *coverLine) noName(kind string, w word, known []string) {
	if !l.wrong {
		l.p.put(l.row, w.col, unknown(kind, w.text, known))
	}
	l.wrong = true
}

// peek is the next word in lower case, or "".
func (l *coverLine) peek() string {
	if l.at < len(l.words) {
		return strings.ToLower(l.words[l.at].text)
	}
	return ""
}

// next takes the next word; what names it where there is none.
func (l *coverLine) next(what string) (word, bool) {
	if l.at == len(l.words) {
		l.bad(word{col: l.end}, "%s is missing", what)
		return word{col: l.end}, false
	}
	l.at++
	return l.words[l.at-1], true
}

// rest is what has not been read yet.
func (l *coverLine) rest() string { return join(l.words[l.at:]) }

func join(words []word) string {
	var out []string
	for _, w := range words {
		out = append(out, w.text)
	}
	return strings.Join(out, " ")
}

// take takes one of the words given and returns it, or "" and a problem.
func (l *coverLine) take(choices ...string) string {
	what := strings.Join(choices, " or ")
	w, ok := l.next(what)
	if !ok {
		return ""
	}
	switch low := strings.ToLower(w.text); {
	case slices.Contains(choices, low):
		return low
	case len(choices) == 1:
		l.bad(w, "%s stands where %q should", quote(w.text), what)
	default:
		l.noName("word", w, choices)
	}
	return ""
}

// until takes the words up to one that begins with a digit, a sign or "$", or
// is one of the stops.
func (l *coverLine) until(stops ...string) []word {
	from := l.at
	for l.at < len(l.words) && !slices.Contains(stops, l.peek()) && !numberLike(l.peek()) {
		l.at++
	}
	return l.words[from:l.at]
}

func numberLike(s string) bool {
	r, _ := utf8.DecodeRuneInString(strings.TrimLeft(s, "-+.$±−<>="))
	return r >= '0' && r <= '9' || len(s) > 0 && strings.Trim(s, "-+.$±−<>=") == ""
}

// one looks up a name of one word or more.
func (l *coverLine) one(kind string, words []word, known map[string]string) string {
	if len(words) == 0 {
		l.bad(l.here(), "the %s is missing", kind)
		return ""
	}
	text := join(words)
	key, ok := known[plain(text)]
	if !ok {
		l.noKey(kind, word{text, words[0].col}, known)
	}
	return key
}

// noKey reports a word that stands for nothing in maps: the nearest word that
// does, or else the keys.
func (l *coverLine) noKey(kind string, w word, known ...map[string]string) {
	var words, keys []string
	for _, m := range known {
		words = append(words, sortedKeys(m)...)
		keys = append(keys, slices.Collect(maps.Values(m))...)
	}
	near := diag.DidYouMean(plain(w.text), words)
	if near == "" {
		l.noName(kind, w, keys)
		return
	}
	l.badDo(w, "", "unknown %s %s%s", kind, quote(w.text), near)
}

// here is the place of the next word.
func (l *coverLine) here() word {
	if l.at < len(l.words) {
		return l.words[l.at]
	}
	return word{col: l.end}
}

// bed reads the bed that a rule must name.
func (l *coverLine) bed() string {
	w, ok := l.next("the bed")
	if !ok {
		return ""
	}
	return l.bedOf(w)
}

func (l *coverLine) bedOf(w word) string {
	code, ok := look(w.text, l.p.names.Beds.Bed)
	if !ok {
		l.noName("bed", w, l.p.names.Beds.BedCodes())
	}
	return code
}

// bedAnd parts words that may begin with a bed from the name that follows:
// is reports whether words are such a name.
func (l *coverLine) bedAnd(words []word, is func([]word) bool) (bed string, name []word) {
	if len(words) < 2 || is(words) {
		return "", words
	}
	if _, ok := look(words[0].text, l.p.names.Beds.Bed); ok || is(words[1:]) {
		return l.bedOf(words[0]), words[1:]
	}
	return "", words
}

func known(m map[string]string) func([]word) bool {
	return func(ws []word) bool { _, ok := m[plain(join(ws))]; return ok }
}

// cover reads a cover, the mark for none, or a mix.
func (l *coverLine) cover(words []word) string {
	parts := mixParts(words)
	if len(parts) == 1 && len(parts[0]) == 1 && strings.EqualFold(parts[0][0].text, CoverNone) {
		return CoverNone
	}
	var keys []string
	for _, part := range parts {
		k := l.one("cover", part, l.p.names.Covers)
		if l.wrong {
			return ""
		}
		if slices.Contains(keys, k) {
			l.bad(part[0], "%s stands twice in the mix", k)
			return ""
		}
		keys = append(keys, k)
	}
	if len(keys) > maxMix {
		l.badDo(words[0], "leave some out", "a mix of %d species; at most %d are planned together", len(keys), maxMix)
		return ""
	}
	slices.Sort(keys)
	return strings.Join(keys, mixSign)
}

// mixParts cuts words at "+", which may stand inside a word.
func mixParts(words []word) [][]word {
	out := [][]word{nil}
	for _, w := range words {
		col := w.col
		for i, s := range strings.Split(w.text, mixSign) {
			if i > 0 {
				out = append(out, nil)
			}
			if s != "" {
				out[len(out)-1] = append(out[len(out)-1], word{s, col})
			}
			col += utf8.RuneCountInString(s) + 1
		}
	}
	return out
}
