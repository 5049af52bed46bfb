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
		var set func(b *build) *wrong
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
			set = func(b *build) *wrong {
				at := &b.more().cond.AirC
				if c.Role == SoilTemp {
					at = &b.more().cond.SoilC
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
			set = func(b *build) *wrong {
				at := &b.more().cond.Soil
				if c.Role == Foliage {
					at = &b.more().cond.Foliage
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
			set = func(b *build) *wrong {
				if b.cond.Nights != 0 && b.cond.Nights != n {
					return differs(b, c)
				}
				b.more().cond.Nights = n
				return nil
			}
		case Disturbed:
			yes, no := []string{"yes", "y", "x", "1", "true", "disturbed"}, []string{"no", "n", "0", "false"}
			low := strings.ToLower(text)
			if !slices.Contains(yes, low) && !slices.Contains(no, low) {
				w = bad("write yes or no", "%s does not say whether the unit was disturbed", quote(text))
				break
			}
			set = func(b *build) *wrong {
				said := b.more()
				said.cond.Disturbed = said.cond.Disturbed || slices.Contains(yes, low)
				return nil
			}
		case Damage:
			d, err := ingest.ParseDamage(text)
			if err != nil {
				w = plain(err)
				break
			}
			set = func(b *build) *wrong {
				if b.damage != nil && *b.damage != d {
					return differs(b, c)
				}
				b.more().damage = &d
				return nil
			}
		case Observer:
			if len([]rune(text)) > 60 {
				w = bad("write a name", "%s is too long for a name", quote(text))
				break
			}
			set = func(b *build) *wrong { b.more().observers = addOnce(b.observers, text); return nil }
		case Note, Weather:
			if c.Role == Weather {
				text = "weather: " + text
			}
			set = func(b *build) *wrong { b.more().notes = addOnce(b.notes, text); return nil }
		case Enemy:
			n, wr := plainCount(text, false)
			if w = wr; w != nil {
				break
			}
			set = func(b *build) *wrong {
				if slices.Contains(twice, b) {
					return nil
				}
				for i := range b.enemies {
					if b.enemies[i].Enemy == c.Enemy {
						b.enemies[i].Count += n
						return nil
					}
				}
				b.more().enemies = append(b.enemies, farm.EnemyCount{Enemy: c.Enemy, Count: n})
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
			if w := set(b); w != nil {
				fail(c, text, w)
				break
			}
		}
	}
	if r.Map.Observer != "" {
		for _, b := range touched {
			if len(b.observers) == 0 {
				b.more().observers = addOnce(b.observers, r.Map.Observer)
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
