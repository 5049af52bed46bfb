package sheet

import (
	"slices"
	"strings"

	"leafturn/internal/farm"
	"leafturn/internal/ingest"
)

// conditions reads what a row says besides its counts into the visits that it
// touches. Those in which a unit of it stood already have its natural enemies too.
func (r *reader) conditions(touched, twice []*build, get func(*Column) (string, bool), fail func(*Column, string, *wrong)) {
	for _, c := range r.said {
		text, _ := get(c)
		if text == "" {
			continue
		}
		if c.Role != Note && c.Role != Weather && lost[strings.ToLower(text)] {
			continue
		}
		var set func(b *build, said *aside) *wrong
		var w *wrong
		switch c.Role {
		case Air, SoilTemp:
			t, err := ingest.ParseCelsius(dot(text), c.Scale)
			if err != nil {
				w = plain(err)
				if c.Scale == "" {
					w.do += "; or head the column " + quote(c.Heading+" (C)")
				}
				break
			}
			set = func(b *build, said *aside) *wrong {
				at := &said.cond.AirC
				if c.Role == SoilTemp {
					at = &said.cond.SoilC
				}
				if *at != nil && **at != t {
					return differs(b, c)
				}
				*at = &t
				return nil
			}
		case Soil, Foliage:
			k := farm.Wetness(strings.ToLower(text))
			if k != farm.Dry && k != farm.Wet && (k != farm.Moist || c.Role == Foliage) {
				w = bad(map[Role]string{Soil: "write dry, moist or wet", Foliage: "write dry or wet"}[c.Role], "%s does not say how wet it was", quote(text))
				break
			}
			set = func(b *build, said *aside) *wrong {
				at := &said.cond.Soil
				if c.Role == Foliage {
					at = &said.cond.Foliage
				}
				if *at != "" && *at != k {
					return differs(b, c)
				}
				*at = k
				return nil
			}
		case Nights:
			n, w2 := plainCount(text, false)
			if w2 != nil || n < 1 || n > 60 {
				w = bad("write the nights the trap stood, 1 to 60", "%s is not a number of nights", quote(text))
				break
			}
			set = func(b *build, said *aside) *wrong {
				if said.cond.Nights != 0 && said.cond.Nights != n {
					return differs(b, c)
				}
				said.cond.Nights = n
				return nil
			}
		case Disturbed:
			yes, no := []string{"yes", "y", "x", "1", "true", "disturbed"}, []string{"no", "n", "0", "false"}
			low := strings.ToLower(text)
			if !slices.Contains(yes, low) && !slices.Contains(no, low) {
				w = bad("write yes or no", "%s does not say whether the unit was disturbed", quote(text))
				break
			}
			set = func(b *build, said *aside) *wrong {
				said.cond.Disturbed = said.cond.Disturbed || slices.Contains(yes, low)
				return nil
			}
		case Damage:
			d, err := ingest.ParseDamage(text)
			if err != nil {
				w = plain(err)
				break
			}
			set = func(b *build, said *aside) *wrong {
				if said.damage != nil && *said.damage != d {
					return differs(b, c)
				}
				said.damage = &d
				return nil
			}
		case Observer:
			if len([]rune(text)) > 60 {
				w = bad("write a name", "%s is too long for a name", quote(text))
				break
			}
			set = func(b *build, said *aside) *wrong { said.observers = addOnce(said.observers, text); return nil }
		case Note, Weather:
			if c.Role == Weather {
				text = "weather: " + text
			}
			set = func(b *build, said *aside) *wrong { said.notes = addOnce(said.notes, text); return nil }
		case Enemy:
			n, wr := plainCount(text, false)
			if w = wr; w != nil {
				break
			}
			set = func(b *build, said *aside) *wrong {
				if slices.Contains(twice, b) {
					return nil
				}
				for i := range said.enemies {
					if said.enemies[i].Enemy == c.Enemy {
						said.enemies[i].Count += n
						return nil
					}
				}
				said.enemies = append(said.enemies, farm.EnemyCount{Enemy: c.Enemy, Count: n})
				return nil
			}
		}
		if w != nil {
			fail(c, text, w)
		}
		for _, b := range touched {
			if set == nil {
				break
			}
			if w := set(b, b.more()); w != nil {
				fail(c, text, w)
				break
			}
		}
	}
	if r.Map.Observer != "" {
		for _, b := range touched {
			if said := b.more(); len(said.observers) == 0 {
				said.observers = addOnce(said.observers, r.Map.Observer)
			}
		}
	}
}

// differs says that the rows of a visit contradict each other.
func differs(b *build, c *Column) *wrong {
	return bad("write the same in all rows of the visit; if it was two visits, give them two dates or places", "the rows of %s say different things of %s", b.words(), c.Role)
}

func addOnce(list []string, s string) []string {
	if slices.Contains(list, s) {
		return list
	}
	return append(list, strings.Clone(s))
}
