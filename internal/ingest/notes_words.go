package ingest

import (
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/pattern"
	"leafturn/internal/units"
)

// bedAndPest reads the first two words and returns the others, or nil when
// the rest of the line cannot be made sense of.
func (p *notesParser) bedAndPest(words []word, v *farm.Visit) []word {
	n := p.opt.Names
	w, ok := words[0], false
	if v.Bed, ok = look(w.text, n.Bed); !ok {
		switch _, pest := look(w.text, n.Pest); {
		case sampleLike(w.text):
			p.problem(w.col, "begin the line with a bed: B3 slug 4 0 2", "%s stands where a bed should", quote(w.text))
			return nil
		case pest:
			p.problem(w.col, "write the bed before the pest: B3 slug 4 0 2", "no bed before %s", quote(w.text))
			return nil
		case monthName().MatchString(w.text):
			p.problem(w.col, "write a date as 2026-07-13", "unknown bed %s", quote(w.text))
		default:
			p.put(p.row, w.col, unknown("bed", w.text, n.BedCodes()))
		}
	}
	if len(words) == 1 {
		p.problem(w.col, "write pest and counts after it: B3 slug 4 0 2", "nothing after the bed %s", quote(w.text))
		return nil
	}
	w = words[1]
	if v.Pest, ok = look(w.text, n.Pest); !ok {
		if sampleLike(w.text) {
			p.problem(w.col, "write the pest after the bed: B3 slug 4 0 2", "%s stands where a pest should", quote(w.text))
			return nil
		}
		p.put(p.row, w.col, unknown("pest", w.text, n.PestWords()))
	}
	return words[2:]
}

var (
	monthName = pattern.New(`(?i)\d.*(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)|(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec).*\d`)
	repeated  = pattern.New(`^(\d+)[*x×X](-|\d+)$`)
	fraction  = pattern.New(`^(\d+)/(\d+)$`)
)

// sampleLike reports whether a word can only be meant as a sample.
func sampleLike(s string) bool {
	s = strings.TrimSuffix(s, ",")
	return dash(s) || s == "/" || s != "" && strings.Trim(s, "0123456789-.,/*x×X") == "" && strings.ContainsAny(s, "0123456789")
}

func dash(s string) bool { return s == "-" || s == "–" || s == "—" || s == "−" }

// flags are the words that stand alone.
var flags = []string{"hotspot", "edge", "random", "disturbed"}

// options are the words that take a value.
var options = []string{"unit", "nights", "air", "soilc", "soil", "foliage", "damage", "by"}

// rest reads samples, options, enemies and flags, in any order.
func (p *notesParser) rest(words []word, length int, v *farm.Visit) {
	before := p.count()
	unit := word{}
	sampled := false
	seen := map[string]bool{}
	once := func(w word, name string) bool {
		if seen[name] {
			p.problem(w.col, "keep one of them", "%s is given twice", name)
			return false
		}
		seen[name] = true
		return true
	}
	for _, w := range words {
		low := strings.ToLower(strings.ReplaceAll(strings.ReplaceAll(w.text, "_", ""), "-", ""))
		name, value, hasValue := strings.Cut(w.text, "=")
		name = strings.ToLower(name)
		switch {
		case w.text == ",":
		case sampleLike(w.text) || strings.EqualFold(w.text, "o"):
			sampled = true
			p.sample(word{strings.TrimSuffix(w.text, ","), w.col}, v)
		case strings.HasPrefix(w.text, "+"):
			p.enemy(w, v, once)
		case hasValue && slices.Contains(options, name):
			if !once(w, name+"=") {
				break
			}
			at := word{value, w.col + utf8.RuneCountInString(name) + 1}
			if name == "unit" && value != "" {
				unit = at
				break
			}
			p.option(name, at, v)
		case hasValue:
			p.put(p.row, w.col, unknown("option", name, options))
		case low == "disturbed":
			if once(w, low) {
				v.Conditions.Disturbed = true
			}
		case slices.Contains(flags, low):
			if !once(w, low) {
				break
			}
			if seen["stratum"] {
				p.problem(w.col, "write one line for each: their counts are never averaged together", "a line has one of hotspot, edge and random")
			}
			seen["stratum"] = true
			v.Stratum = map[string]farm.Stratum{"hotspot": farm.HotSpot, "edge": farm.Edge, "random": farm.Random}[low]
		case slices.Contains(options, name):
			p.problem(w.col, "write "+name+"=VALUE without blanks", "%s has no value", quote(w.text))
		default:
			p.put(p.row, w.col, unknown("word", w.text, slices.Concat(flags, options)))
		}
	}
	p.findUnit(unit, words, v)
	if p.count() > before {
		return
	}
	if !sampled {
		what := ""
		if v.Bed != "" {
			what = " for " + v.Pest + " in bed " + v.Bed
		}
		p.problem(length+1, `write the count of each unit; 0 is a count, "-" a unit not looked at`, "no counts%s", what)
	} else if err := farm.ValidateVisit(*v); err != nil {
		p.problem(1, "correct the line", "the visit %v", err)
	}
}

func (p *notesParser) findUnit(w word, words []word, v *farm.Visit) {
	if v.Pest == "" {
		return // an unknown pest has no units to choose from
	}
	unit, ok := look(w.text, func(s string) (string, bool) { return p.opt.Names.Unit(v.Pest, s) })
	switch {
	case ok:
		v.Unit = unit
	case w.text != "":
		p.put(p.row, w.col, unknown("unit of "+v.Pest, w.text, p.opt.Names.UnitWords(v.Pest)))
	default:
		col := 1
		if len(words) > 0 {
			col = words[0].col
		}
		p.problem(col, oneOf(p.opt.Names.UnitWords(v.Pest)), "%s has no usual sample unit; add unit=", v.Pest)
	}
}

// sample reads one SAMPLE word.
func (p *notesParser) sample(w word, v *farm.Visit) {
	add := func(n int, c farm.UnitCount) {
		if len(v.Counts)+n > farm.MaxUnits {
			p.problem(w.col, "check the line; split a longer one over two dates or strata", "more than %d units in one visit are taken for a slip", farm.MaxUnits)
			return
		}
		for range n {
			v.Counts = append(v.Counts, c)
		}
	}
	switch m, f := repeated().FindStringSubmatch(w.text), fraction().FindStringSubmatch(w.text); {
	case dash(w.text):
		add(1, farm.UnitCount{})
	case m != nil:
		n, err := strconv.Atoi(m[1])
		if err != nil || n < 1 || n > farm.MaxUnits {
			p.problem(w.col, "write units*count, such as 70*0 for seventy units with none", "%s repeats a count %s times; give 1 to %d", quote(w.text), cut(m[1]), farm.MaxUnits)
			return
		}
		c := farm.UnitCount{}
		if m[2] != "-" {
			k, bad := parseCount(m[2])
			if bad != nil {
				p.put(p.row, w.col, bad)
				return
			}
			c = farm.UnitCount{Count: k, Seen: true}
		}
		add(n, c)
	case f != nil:
		hit, looked, bad := ratio(f, farm.MaxUnits, "infested")
		switch {
		case bad != nil:
			p.put(p.row, w.col, bad)
		case v.Presence != nil:
			p.problem(w.col, "add them up, or write one line for each", "a line has one presence sample; %d/%d came before", v.Presence.Infested, v.Presence.Looked)
		default:
			v.Presence = &farm.Presence{Infested: hit, Looked: looked}
		}
	case looksLikeDate(w.text) && strings.Count(w.text, "-")+strings.Count(w.text, "/") == 2:
		p.problem(w.col, "write the date first: 2026-07-13 B3 slug 4 0 2", "the date %s stands among the counts", quote(w.text))
	case strings.Contains(w.text, "/"):
		p.problem(w.col, "write infested/looked without blanks, such as 12/50", "%s is not a presence sample", quote(w.text))
	case strings.ContainsAny(w.text, "*xX×"):
		p.problem(w.col, "write units*count without blanks, such as 70*0", "%s is not a repeated count", quote(w.text))
	default:
		n, bad := parseCount(w.text)
		if bad != nil {
			p.put(p.row, w.col, bad)
			return
		}
		add(1, farm.UnitCount{Count: n, Seen: true})
	}
}

// ratio checks the two numbers of "12/50".
func ratio(m []string, limit int, what string) (part, whole int, bad *diag.Problem) {
	part, err1 := strconv.Atoi(m[1])
	whole, err2 := strconv.Atoi(m[2])
	switch {
	case err1 != nil || err2 != nil || whole > limit:
		return 0, 0, refuse("check the numbers", "%s/%s is above %d and is taken for a slip", cut(m[1]), cut(m[2]), limit)
	case whole == 0:
		return 0, 0, refuse("write how many were looked at, such as 12/50", "%d/0: nothing was looked at", part)
	case part > whole:
		return 0, 0, refuse("write "+what+"/looked, such as 12/50", "%d/%d: the first number cannot be above the second", part, whole)
	}
	return part, whole, nil
}

func (p *notesParser) enemy(w word, v *farm.Visit, once func(word, string) bool) {
	name, value, found := strings.Cut(w.text[1:], "=")
	if name == "" || !found || value == "" {
		p.problem(w.col, "write +ENEMY=COUNT without blanks, such as +predatory_mite=2", "%s is not a count of a natural enemy", quote(w.text))
		return
	}
	key, ok := look(name, p.opt.Names.Enemy)
	if !ok {
		p.put(p.row, w.col+1, unknown("natural enemy", name, p.opt.Names.EnemyWords()))
	}
	n, bad := parseCount(value)
	if bad != nil {
		p.put(p.row, w.col+utf8.RuneCountInString(name)+2, bad)
	}
	if ok && bad == nil && once(w, "+"+key) {
		v.Enemies = append(v.Enemies, farm.EnemyCount{Enemy: key, Count: n})
	}
}

// option reads the value of a WORD=VALUE other than unit.
func (p *notesParser) option(name string, w word, v *farm.Visit) {
	low, c := strings.ToLower(w.text), &v.Conditions
	if w.text == "" {
		p.problem(w.col, "write "+name+"=VALUE without blanks", "%s= has no value", name)
		return
	}
	switch name {
	case "nights":
		n, err := strconv.Atoi(low)
		if !digits(low) || err != nil || n < 1 || n > 60 {
			p.problem(w.col, "write the nights the trap stood, 1 to 60", "%s is not a number of nights", quote(w.text))
			return
		}
		c.Nights = n
	case "air":
		c.AirC = p.temperature(name, w)
	case "soilc":
		c.SoilC = p.temperature(name, w)
	case "soil":
		c.Soil = p.wetness(w, farm.Dry, farm.Moist, farm.Wet)
	case "foliage":
		c.Foliage = p.wetness(w, farm.Dry, farm.Wet)
	case "damage":
		m := fraction().FindStringSubmatch(low)
		if m == nil {
			p.problem(w.col, "write hurt/looked, such as damage=4/50", "%s is not a damage sample", quote(w.text))
			return
		}
		hurt, looked, bad := ratio(m, farm.MaxUnits, "hurt")
		if bad != nil {
			p.put(p.row, w.col, bad)
			return
		}
		v.Damage = &farm.Damage{Hurt: hurt, Looked: looked}
	case "by":
		if n, ok := p.name(w.text, w.col); ok {
			v.Observer = n
		}
	}
}

func (p *notesParser) wetness(w word, allowed ...farm.Wetness) farm.Wetness {
	var known []string
	for _, a := range allowed {
		if strings.EqualFold(w.text, string(a)) {
			return a
		}
		known = append(known, string(a))
	}
	p.put(p.row, w.col, unknown("condition", w.text, known))
	return farm.Unknown
}

func (p *notesParser) temperature(name string, w word) *float64 {
	c, bad := celsius(w.text, "")
	if bad != nil {
		if digits(strings.Trim(w.text, "-+.")) {
			bad.Do = "write " + name + "=" + w.text + "C or " + name + "=" + w.text + "F"
		}
		p.put(p.row, w.col, bad)
		return nil
	}
	return &c
}

// Bounds of a temperature in air or soil, °C; beyond them a unit or decimal
// point is taken to be wrong. Common practice.
const (
	minTempC = -60.0
	maxTempC = 60.0
)

// celsius reads a temperature; fallback is the unit of a bare number, "" to
// refuse one.
func celsius(s, fallback string) (float64, *diag.Problem) {
	if _, err := units.ParseNumber(s); err == nil && fallback == "" {
		return 0, refuse("write "+s+"C or "+s+"F", "%s has no unit", quote(s))
	}
	q, err := units.ParseAs(s, units.Temperature, fallback)
	if err != nil {
		return 0, refuse(`write a temperature such as "14C" or "57F"`, "%s is not a temperature: %v", quote(s), err)
	}
	c := q.Base()
	if c < minTempC || c > maxTempC {
		return 0, refuse(tempGuess(q), "%s is not a temperature of air or soil", quote(s))
	}
	return c, nil
}

// tempGuess says what an impossible reading was probably meant to be.
func tempGuess(q units.Quantity) string {
	fits := func(v float64, unit string) bool {
		c := units.Of(v, unit).Base()
		return c >= minTempC && c <= maxTempC
	}
	switch {
	case q.Value <= -99:
		return "it looks like a code for a missing value: leave it blank"
	case q.Unit.Name == "C" && fits(q.Value, "F"):
		return "it looks like °F: give it with F (a column named …_f)"
	case fits(q.Value/10, q.Unit.Name):
		return "it looks like tenths of a degree: divide by 10"
	}
	return "check the number and its unit"
}
