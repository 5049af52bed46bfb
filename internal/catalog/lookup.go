package catalog

import (
	"maps"
	"slices"
	"strings"

	"leafturn/internal/farm"
)

// filter returns the rows that f keeps, in table order; nil when there is none.
func filter[T any](rows []T, f func(T) bool) []T {
	var out []T
	for _, r := range rows {
		if f(r) {
			out = append(out, r)
		}
	}
	return out
}

func find[T any](rows []T, f func(T) bool) (T, bool) {
	if i := slices.IndexFunc(rows, f); i >= 0 {
		return rows[i], true
	}
	var zero T
	return zero, false
}

// Pests returns all pests in table order.
func (c *Catalog) Pests() []Pest { return slices.Clone(c.pests) }

// Pest finds a pest by its key.
func (c *Catalog) Pest(key string) (Pest, bool) {
	return find(c.pests, func(p Pest) bool { return p.Key == key })
}

// PestByWord finds a pest by what a grower typed: key or alias, in any case,
// with spaces, hyphens or underscores.
func (c *Catalog) PestByWord(word string) (Pest, bool) {
	i, ok := c.pestWords[Word(word)]
	if !ok {
		return Pest{}, false
	}
	return c.pests[i], true
}

// PestWords returns every word that names a pest, sorted.
func (c *Catalog) PestWords() []string { return slices.Sorted(maps.Keys(c.pestWords)) }

// Enemies returns all natural enemies that a scout can count.
func (c *Catalog) Enemies() []Enemy { return slices.Clone(c.enemies) }

// EnemyByWord finds a natural enemy by key or alias.
func (c *Catalog) EnemyByWord(word string) (Enemy, bool) {
	i, ok := c.enemyWords[Word(word)]
	if !ok {
		return Enemy{}, false
	}
	return c.enemies[i], true
}

// EnemyWords returns every word that names a natural enemy, sorted.
func (c *Catalog) EnemyWords() []string { return slices.Sorted(maps.Keys(c.enemyWords)) }

// EnemiesOf returns the natural enemies of a pest.
func (c *Catalog) EnemiesOf(pest string) []Enemy {
	return filter(c.enemies, func(e Enemy) bool { return slices.Contains(e.PreysOn, pest) })
}

// Measure finds a measure by its key.
func (c *Catalog) Measure(key string) (Measure, bool) {
	return find(c.measures, func(m Measure) bool { return m.Key == key })
}

// AllProtocols returns every protocol, those without a pest included.
func (c *Catalog) AllProtocols() []Protocol { return slices.Clone(c.protocols) }

// Protocols returns the protocols of a pest, the usual one first, the others
// in table order.
func (c *Catalog) Protocols(pest string) []Protocol {
	out := filter(c.protocols, func(p Protocol) bool { return pest != "" && p.Pest == pest })
	slices.SortStableFunc(out, func(a, b Protocol) int {
		switch {
		case a.Default && !b.Default:
			return -1
		case b.Default && !a.Default:
			return 1
		}
		return 0
	})
	return out
}

// Protocol finds the protocol of a pest by the word for its sample unit, in
// any case; "" is the usual one.
func (c *Catalog) Protocol(pest, unitWord string) (Protocol, bool) {
	w := Word(unitWord)
	return find(c.Protocols(pest), func(p Protocol) bool {
		return w == "" && strings.TrimSpace(unitWord) == "" && p.Default || w != "" && (p.Unit == w || slices.Contains(p.UnitAliases, w))
	})
}

// UnitWords returns every word that names a sample unit of a pest, sorted.
func (c *Catalog) UnitWords(pest string) []string {
	var out []string
	for _, p := range c.Protocols(pest) {
		out = append(append(out, p.Unit), p.UnitAliases...)
	}
	slices.Sort(out)
	return out
}

// Thresholds returns every row on a pest, in table order.
func (c *Catalog) Thresholds(pest string) []Threshold {
	return filter(c.thresholds, func(t Threshold) bool { return t.Pest == pest })
}

// ThresholdsFor returns the rows in one measure that apply to dahlias at a
// stage, and beside them the published rows for other crops in the same
// measure, both in table order. Rows with operator "none" are included: they
// say that no level is known. Reference rows are left out, so are hold ratios
// and release triggers (see Thresholds).
//
// tospovirus says that a tospovirus is confirmed on the farm: then the rows
// that require it replace all others of a pest that spreads it; otherwise
// they are left out. Other requirements (see Threshold.Requires) are left to
// the caller.
func (c *Catalog) ThresholdsFor(pest, measure string, stage farm.Stage, tospovirus bool) (dahlia, nearestPublished []Threshold) {
	p, ok := c.Pest(pest)
	if !ok {
		return nil, nil
	}
	for _, t := range c.Thresholds(pest) {
		switch {
		case t.Measure != measure,
			t.Kind == "reference", t.Kind == "hold_ratio", t.Kind == "release_trigger",
			!tospovirus && t.Requires == "tospovirus_confirmed",
			tospovirus && p.Vector == "tospovirus" && t.Requires != "tospovirus_confirmed":
		case !t.Transferred():
			if t.Has(stage) {
				dahlia = append(dahlia, t)
			}
		case t.Basis == Published:
			nearestPublished = append(nearestPublished, t)
		}
	}
	return dahlia, nearestPublished
}

// AllThresholds returns every row in table order.
func (c *Catalog) AllThresholds() []Threshold { return slices.Clone(c.thresholds) }

// Actions returns the steps against a pest, in table order: lower rungs first.
func (c *Catalog) Actions(pest string) []Action {
	return filter(c.actions, func(a Action) bool { return a.Pest == pest })
}

// Safety finds a caution by its key.
func (c *Catalog) Safety(key string) (Safety, bool) {
	return find(c.safety, func(s Safety) bool { return s.Key == key })
}

// ProductSafety returns the cautions that go with a product, in table order:
// those of every product, and those of its statements and actives. A bee
// statement, a distance to water or a word on application to water that nobody
// has read counts as one, and so does an active that is not known here, or a
// formulation.
func (c *Catalog) ProductSafety(l farm.Label) []Safety {
	holds := map[string]bool{}
	for _, a := range l.Actives {
		key, _ := c.ActiveKey(a.Name)
		holds[key] = true // "" is one that is not known here
	}
	if len(l.Actives) == 0 && !l.NoActives {
		holds[""] = true
	}
	return filter(c.safety, func(s Safety) bool {
		switch s.When {
		case "product":
			return true
		case "bees":
			return l.Bees.State != farm.NoneStated
		case "water":
			near := l.WaterBuffer.State != farm.NoneStated && !(l.WaterBuffer.Has() && l.WaterBuffer.Value == 0)
			return near || l.NoWater.Value || l.NoWater.State != farm.NoneStated && l.NoWater.State != farm.IsStated
		case "spray":
			return !l.Dry()
		case "active":
			return slices.ContainsFunc(s.Actives, func(a string) bool { return holds[a] })
		case "unless":
			for a := range holds {
				if !slices.Contains(s.Actives, a) {
					return true
				}
			}
		}
		return false
	})
}

// AllSafety returns every caution in table order.
func (c *Catalog) AllSafety() []Safety { return slices.Clone(c.safety) }

// Agent finds an agent by its key.
func (c *Catalog) Agent(key string) (Agent, bool) {
	return find(c.agents, func(a Agent) bool { return a.Key == key })
}

// DayLengths returns what is known of the length of day that a release of an
// agent against a pest needs.
func (c *Catalog) DayLengths(agent, pest string) []DayLength {
	return filter(c.dayLengths, func(d DayLength) bool { return d.Agent == agent && d.Pest == "" || d.Pest == pest && d.Agent == "" })
}

// Agents returns the agents that take a pest; "" returns all.
func (c *Catalog) Agents(pest string) []Agent {
	return filter(c.agents, func(a Agent) bool { return pest == "" || slices.Contains(a.Targets, pest) })
}

// ReleaseRates returns every rate of an agent, failures included: only rows
// with Offer may be scheduled.
func (c *Catalog) ReleaseRates(agent string) []ReleaseRate {
	return filter(c.rates, func(r ReleaseRate) bool { return r.Agent == agent })
}

// AllReleaseRates returns every rate in table order.
func (c *Catalog) AllReleaseRates() []ReleaseRate { return slices.Clone(c.rates) }

// Covers returns all cover crops in table order.
func (c *Catalog) Covers() []Cover { return slices.Clone(c.covers) }

// CoverEffects returns what a cover or reference treatment does; "" returns
// every row.
func (c *Catalog) CoverEffects(cover string) []CoverEffect {
	return filter(c.coverEffects, func(e CoverEffect) bool { return cover == "" || e.Cover == cover })
}

// CoverHosts returns what is known of the viruses that a cover hosts, or of all
// covers when cover is empty.
func (c *Catalog) CoverHosts(cover string) []CoverHost {
	return filter(c.coverHosts, func(h CoverHost) bool { return cover == "" || h.Cover == cover })
}

// Companions returns the companion plants with an effect on a pest; "" returns
// every row.
func (c *Catalog) Companions(pest string) []Companion {
	return filter(c.companions, func(p Companion) bool { return pest == "" || p.Pest == pest })
}

// Taylor returns how a pest clumps on a sample unit: the row for that unit,
// or else the row for any unit of the pest. The unit may be a key or an
// alias of a protocol.
func (c *Catalog) Taylor(pest, unit string) (Taylor, bool) {
	key := Word(unit)
	if p, ok := c.Protocol(pest, unit); ok {
		key = p.Unit
	}
	if t, ok := find(c.taylor, func(t Taylor) bool { return t.Pest == pest && t.Unit == key }); ok {
		return t, true
	}
	return find(c.taylor, func(t Taylor) bool { return t.Pest == pest && t.Unit == "" })
}

// AllTaylor returns every row in table order.
func (c *Catalog) AllTaylor() []Taylor { return slices.Clone(c.taylor) }
