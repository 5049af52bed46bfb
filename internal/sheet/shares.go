package sheet

import (
	"cmp"
	"strings"

	"leafturn/internal/pattern"
)

var (
	infestedForm = pattern.New(`^(?:(?:no of |number of )?(\pL+) (?:infested|positive|with pests?)|(?:infested|positive) (\pL+))$`)
	lookedForm   = pattern.New(`^(?:(?:no of |number of )?(\pL+) (?:looked at|looked|examined|checked|inspected|sampled|scouted)|(?:no of |number of |total )(\pL+))$`)
)

// shares reads two columns such as Leaves infested and Leaves examined as infested and
// looked. Alone, either may be something else. A column of percents beside both is what
// follows from them, and is not read.
func (g *guesser) shares(cols []Column, wrongs []*wrong) {
	infested, looked := -1, -1
	var units [2]string
	for i, c := range cols {
		role, unit := g.shareHead(c)
		switch {
		case role == Infested && infested < 0:
			infested, units[0] = i, unit
		case role == Looked && looked < 0:
			looked, units[1] = i, unit
		case role != unknown:
			return
		}
	}
	if infested < 0 || looked < 0 || units[0] != "" && units[1] != "" && units[0] != units[1] {
		return
	}
	for i, role := range map[int]Role{infested: Infested, looked: Looked} {
		cols[i].Role, wrongs[i] = role, nil
	}
	cols[infested].Word = cmp.Or(units[:]...)
	for i, c := range cols {
		if (c.Role == Infested || c.Role == Count) && i != infested && !c.Stated && percent().MatchString(c.Heading) {
			cols[i].Role, wrongs[i] = total, nil
		}
	}
}

// shareHead is what a heading says of a presence sample, and of which unit.
func (g *guesser) shareHead(c Column) (Role, string) {
	if c.Role != unknown && c.Role != Infested && c.Role != Looked || !c.Stated && percent().MatchString(c.Heading) {
		return unknown, ""
	}
	h := plainHead(c.Heading)
	if m := infestedForm().FindStringSubmatch(h); m != nil && c.Role != Looked {
		if unit := g.oneOf(m[1] + m[2]); unit != "" {
			return Infested, unit
		}
	}
	if m := lookedForm().FindStringSubmatch(h); m != nil && c.Role != Infested {
		if unit := g.oneOf(m[1] + m[2]); unit != "" {
			return Looked, unit
		}
	}
	return c.Role, ""
}

// oneOf is the unit that a word names in the plural, "" for none.
func (g *guesser) oneOf(word string) string {
	if word == "leaves" {
		return "leaf"
	}
	if one, several := strings.CutSuffix(word, "s"); several && g.units[one] {
		return one
	}
	return ""
}
