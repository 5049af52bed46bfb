package sheet

import (
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/pattern"
)

var aroundUnits = pattern.New(`^(?:n|no|nr|num|number|\d+)?(?: of)? ?(\pL+?)(?: n| no| nr| number| set| out| counted| sampled| read)?$`)

// howMany reports whether a heading may say how many units there were: it names
// them in the plural.
func (g *guesser) howMany(h string) bool {
	m := aroundUnits().FindStringSubmatch(h)
	if m == nil {
		return false
	}
	one, several := strings.CutSuffix(m[1], "s")
	return h == "n" || several && (g.units[one] || len(one) > 2 && slices.Contains(genericUnits, one)) || m[1] == "leaves"
}

// unitHead cuts a heading into the word and the number or letter of a unit.
func unitHead(h string) (word, number string, ok bool) {
	m := numbered().FindStringSubmatch(h)
	if m == nil {
		if m = lettered().FindStringSubmatch(h); m == nil {
			return "", "", false
		}
	}
	return m[1], unitNumber(m[2], ""), true
}

var (
	perForm   = pattern.New(`^(.+?)(?: per | ?/ ?)(\pL+)$`)
	unitsForm = pattern.New(`^(?:per |of |out of |over |on |in )?\d+ (\pL+)$`)
)

// perUnit reports whether a heading says that a number is a mean: Slugs/trap.
func (g *guesser) perUnit(text string) bool {
	m := perForm().FindStringSubmatch(strings.ToLower(text))
	return m != nil && g.units[strings.TrimSuffix(m[2], "s")]
}

// unitsTold reports whether the values say how many units there were: 4 traps.
func (g *guesser) unitsTold(examples []string) bool {
	some := false
	for _, e := range examples {
		if e = strings.ToLower(tidy(e)); e == "" {
			continue
		}
		m := unitsForm().FindStringSubmatch(e)
		if m == nil || !g.units[m[1]] && !g.units[strings.TrimSuffix(m[1], "s")] && m[1] != "leaves" {
			return false
		}
		some = true
	}
	return some
}

// meanBeside finds the one column of counts of a sheet whose counts are never below the
// means beside them, and above some: they are sums of several units. -1 is none.
func (g *guesser) meanBeside(cols []Column, below [][]string) (count, mean int) {
	count, mean = -1, -1
	for i, c := range cols {
		switch {
		case c.Role == Count && (count >= 0 || c.Number != ""), c.Role == Number:
			return -1, -1
		case c.Role == Count:
			count = i
		case c.Role == total && g.meanOfCounts(c.Heading):
			mean = i
		}
	}
	if count < 0 || mean < 0 {
		return -1, -1
	}
	some := false
	for _, row := range below {
		if max(count, mean) >= len(row) || !plainDigits(tidy(row[count])) {
			continue
		}
		m, err := strconv.ParseFloat(dot(tidy(row[mean])), 64)
		if n := float64(atoi(tidy(row[count]))); err != nil || m > n {
			return -1, -1
		} else if m < n {
			some = true
		}
	}
	if !some {
		return -1, -1
	}
	return count, mean
}

// statistics are headings that stand beside a mean and a number of units.
var statistics = []string{"sum", "total", "std", "std dev", "stdev", "sd", "se", "sem", "var", "variance", "median"}

// statisticsBeside finds the one column of counts, each a bare number, of a sheet that
// has the mean of several units and another figure of them beside it, as programs sum
// tables up: count, sum, mean. -1 is none.
func (g *guesser) statisticsBeside(cols []Column, below [][]string) (count int, mean, other string) {
	count = -1
	for i, c := range cols {
		switch {
		case c.Role == Count && (count >= 0 || c.Number != ""), c.Role == Number:
			return -1, "", ""
		case c.Role == Count:
			count = i
		case c.Role == total && g.meanOfCounts(c.Heading):
			mean = c.Heading
		case slices.Contains(statistics, plainHead(c.Heading)):
			other = c.Heading
		}
	}
	if count < 0 || mean == "" || other == "" || !numbersOnly(column(below, count)) {
		return -1, "", ""
	}
	return count, mean, other
}

var meanForm = pattern.New(`^((?:mean|average|avg|mittelwert|moyenne|media)\b)? ?(?:number of |no of )?(.*?)(?:(?: ?per | ?/ ?)(\pL+))?$`)

// meanOfCounts reports whether a heading is that of the mean count of a unit: Mean,
// Average count, Slugs/trap. Those of a night and of the air are none.
func (g *guesser) meanOfCounts(heading string) bool {
	m := meanForm().FindStringSubmatch(strings.ToLower(tidy(heading)))
	if m == nil || m[1] == "" && m[3] == "" || m[3] == "night" || m[3] != "" && !g.units[strings.TrimSuffix(m[3], "s")] {
		return false
	}
	what := plainHead(m[2])
	_, pest := g.pest(what)
	return what == "" || headings[what] == Count || pest
}

var (
	pestFirst = pattern.New(`^(.+?)(?: (\pL+?))? ?(?:no |nr |number )?(\d{1,3})$`)
	unitFirst = pattern.New(`^(\pL+) ?(?:no |nr |number )?(\d{1,3}) (.+)$`)
)

// pestUnit reads a heading that names a pest and a numbered unit: Slugs trap 1, Mite 3,
// Trap 2 earwigs.
func (g *guesser) pestUnit(c *Column, h string) bool {
	set := func(pest, word, number string) bool {
		key, ok := g.pest(pest)
		if !ok || !g.units[word] && !slices.Contains(genericUnits, word) {
			return false
		}
		c.Role, c.Pest, c.Number = Count, key, unitNumber(number, "")
		if g.units[word] {
			c.Word = word
		}
		return true
	}
	if m := unitFirst().FindStringSubmatch(h); m != nil && g.units[m[1]] && set(m[3], m[1], m[2]) {
		return true
	}
	m := pestFirst().FindStringSubmatch(h)
	return m != nil && (set(m[1], m[2], m[3]) || m[2] != "" && set(m[1]+" "+m[2], "", m[3]))
}

// namesUnits reports whether units stand in a heading: in the plural, or with a
// number (Leaves examined, Trap 3 edge).
func (g *guesser) namesUnits(h string) bool {
	words := strings.Fields(h)
	if slices.ContainsFunc(words, func(w string) bool { return totals[w] || headings[w] == total }) {
		return false
	}
	for i, w := range words {
		one, several := strings.CutSuffix(w, "s")
		if several && g.units[one] || w == "leaves" {
			return true
		}
		if g.units[w] && i+1 < len(words) && (plainDigits(words[i+1]) || words[i+1] == "count" || words[i+1] == "n") {
			return true
		}
	}
	return false
}

var (
	percent  = pattern.New(`(?i)%|\b(?:percent|per cent|pct|prozent)\b`)
	brackets = pattern.New(`^(.*?)\s*[(\[]([^()\[\]]*)[)\]]$`)
	dateForm = pattern.New(`^(?:iso|[dmyjta][dmyjta /.-]*)$`)
	ofCounts = pattern.New(`^(?:n|no|nr|number|count|counts|animals|individuals|0 none|0 if none)$`)
)

// bracketed reads a heading with something in brackets behind it that does not change
// what it is: Date (dd/mm/yyyy), Nights (n), Trap (no.). What counts are of does.
func (g *guesser) bracketed(text string) (role Role, word string) {
	m := brackets().FindStringSubmatch(text)
	if m == nil {
		return unknown, ""
	}
	h, within := plainHead(m[1]), plainHead(m[2])
	switch role := headings[h]; role {
	case Bed, Pest, Nights, Disturbed, Observer, Note, Weather:
		return role, ""
	case Date:
		if dateForm().MatchString(strings.ToLower(tidy(m[2]))) {
			return Date, ""
		}
	case Count:
		if ofCounts().MatchString(within) {
			return Count, ""
		}
	case unknown:
		if g.units[h] && !strings.HasSuffix(h, "s") && h != "leaves" && ofCounts().MatchString(within) && within != "n" && within != "count" && within != "counts" {
			return Number, h
		}
	}
	return unknown, ""
}
