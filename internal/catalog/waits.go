package catalog

import (
	"slices"
	"strings"

	"leafturn/internal/pattern"
)

// activeName brings the name of an active to the form of the table: lower
// case, single spaces.
func activeName(s string) string { return strings.Join(strings.Fields(strings.ToLower(s)), " ") }

// contents are what labels put behind the name of an active: "(80%)", "80 %".
var contents = pattern.New(`\([^)]*\)|[0-9.,]+ *%`)

// ActiveKey returns the canonical name of an active, by that name or a known
// other name in any case, with or without its content behind it, and false when
// the catalogue does not know it.
func (c *Catalog) ActiveKey(name string) (string, bool) {
	k, ok := c.activeKeys[activeName(name)]
	if !ok {
		k, ok = c.activeKeys[activeName(contents().ReplaceAllString(name, " "))]
	}
	return k, ok
}

// Actives returns every active that the catalogue knows.
func (c *Catalog) Actives() []Active { return slices.Clone(c.actives) }

// Aparts returns the pairs of actives that are kept apart where no label gives
// a figure.
func (c *Catalog) Aparts() []Apart { return slices.Clone(c.aparts) }

// Looks returns what actives need to know of pests before they go on.
func (c *Catalog) Looks() []Look { return slices.Clone(c.looks) }

// MinutesFor returns the time that a sample unit takes, false when it is not
// known.
func (c *Catalog) MinutesFor(unit string) (Minutes, bool) {
	return find(c.minutes, func(m Minutes) bool { return m.Unit == unit })
}

// Generation returns the time of one generation of a pest, false when it is
// not known.
func (c *Catalog) Generation(pest string) (Generation, bool) {
	return find(c.generations, func(g Generation) bool { return g.Pest == pest })
}

// SideEffects returns every row on an active, by any of its names; none when
// the active is unknown.
func (c *Catalog) SideEffects(active string) []SideEffect {
	key, ok := c.ActiveKey(active)
	return filter(c.sideEffects, func(s SideEffect) bool { return ok && s.Active == key })
}

// DefaultWait returns the wait for an active and a group of agents when
// nothing better is known: the row for the group, else the row for every
// agent. Its Days may be nil: then the row says in words what is known.
func (c *Catalog) DefaultWait(active, group string) (DefaultWait, bool) {
	key, ok := c.ActiveKey(active)
	if !ok {
		return DefaultWait{}, false
	}
	if d, ok := find(c.waits, func(d DefaultWait) bool { return d.Active == key && d.Group == group && group != "" }); ok {
		return d, true
	}
	return find(c.waits, func(d DefaultWait) bool { return d.Active == key && d.Group == "" })
}

// WaitDays returns how many whole days after an application of an active an
// agent may be let out: the longest window among the rows that speak of the
// agent's group and the default wait. Taking the longer of the two keeps a
// mortality-only test of one day from shortening a wait that covers lost
// reproduction too. rows are the rows that were used, worst class first.
//
// known is false when the active or the agent is unknown, or when no row and
// no default gives a time: then nothing may be scheduled. disagree is true
// when the classes of the rows lie two or more apart, or their windows seven
// days or more: the caller shows it.
//
// Source of the rule: the side-effect table's own reading, worst class and
// longest window (common practice); class bands of IOBC-WPRS (from memory).
func (c *Catalog) WaitDays(active, agentKey string) (days int, known bool, rows []SideEffect, disagree bool) {
	agent, ok := c.Agent(agentKey)
	if !ok {
		return 0, false, nil, false
	}
	rows = filter(c.SideEffects(active), func(s SideEffect) bool {
		return slices.Contains(s.Groups, agent.Group) || slices.Contains(s.Groups, "all") && agent.Group != "microbials"
	})
	lowC, highC, lowD, highD := 0, 0, -1, -1
	for _, s := range rows {
		if s.Class > 0 {
			if lowC == 0 || s.Class < lowC {
				lowC = s.Class
			}
			highC = max(highC, s.Class)
		}
		if d := s.ResidualDays; d != nil {
			if lowD < 0 || *d < lowD {
				lowD = *d
			}
			highD = max(highD, *d)
		}
	}
	disagree = highC-lowC >= 2 || highD-lowD >= 7 && lowD >= 0
	slices.SortStableFunc(rows, func(a, b SideEffect) int { return b.Class - a.Class })
	days, known = highD, highD >= 0
	if d, ok := c.DefaultWait(active, agent.Group); ok && d.Days != nil {
		days, known = max(days, *d.Days), true
	}
	if !known {
		days = 0
	}
	return days, known, rows, disagree
}
