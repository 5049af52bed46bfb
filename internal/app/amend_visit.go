package app

import (
	"context"
	"slices"
	"strings"

	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/store"
)

// amendVisit reads a line of notes; without one the counts stay. What the line
// does not say beside the counts stays too: nights or a place that were left out
// would change what the counts mean.
func (a *App) amendVisit(ctx context.Context, v farm.Visit, o AmendOptions, given givenFlag, day givenDay) (Said, error) {
	d, err := day(v.Date)
	if err != nil {
		return Said{}, err
	}
	if err := a.happened(ctx, "--date", d); err != nil {
		return Said{}, err
	}
	next := v
	said, off := takenOff(o.Words)
	if len(said) > 0 {
		if next, err = ingest.ParseWords(said, a.notesOptions(CountOptions{Date: d, Observer: given("by", v.Observer)})); err != nil {
			return Said{}, asUsage(err)
		}
		next = keepUnsaid(next, v, said)
	} else {
		next.Date, next.Observer = d, given("by", v.Observer)
	}
	if err := takeOff(&next, off); err != nil {
		return Said{}, err
	}
	err = a.st.Update(ctx, func(tx *store.Tx) error { _, err := tx.AddVisit(next, a.now); return duplicateVisit(err, next) })
	return Said{}, err
}

// takenOff parts words such as nights=-, which take off what the visit says,
// from the others.
func takenOff(words []string) (said, off []string) {
	for i, w := range words {
		if strings.HasPrefix(w, "#") {
			return append(said, words[i:]...), off
		}
		if name, ok := strings.CutSuffix(w, "=-"); ok {
			off = append(off, strings.ReplaceAll(strings.ToLower(name), "-", "_"))
		} else {
			said = append(said, w)
		}
	}
	return said, off
}

// takeOff takes from a visit what it no longer says.
func takeOff(v *farm.Visit, off []string) error {
	c := &v.Conditions
	for _, name := range off {
		enemy, isEnemy := strings.CutPrefix(name, "+")
		i := slices.IndexFunc(v.Enemies, func(e farm.EnemyCount) bool { return e.Enemy == enemy })
		switch {
		case isEnemy && i >= 0:
			v.Enemies = slices.Delete(slices.Clone(v.Enemies), i, i+1)
		case isEnemy:
			return diag.Usagef("see its line with `leafturn visits`", "the visit has no count of %q to take off", enemy)
		case name == "nights":
			c.Nights = 0
		case name == "air":
			c.AirC = nil
		case name == "soilc":
			c.SoilC = nil
		case name == "soil":
			c.Soil = ""
		case name == "foliage":
			c.Foliage = ""
		case name == "disturbed":
			c.Disturbed = false
		case name == "damage":
			v.Damage = nil
		default:
			return diag.Usagef("one of: nights=-, air=-, soilc=-, soil=-, foliage=-, damage=-, disturbed=-, +ENEMY=-; the observer with --by \"\"", "%s=- takes off nothing", name)
		}
	}
	return nil
}

// keepUnsaid fills in what the words of an amended visit do not say.
func keepUnsaid(next, was farm.Visit, words []string) farm.Visit {
	said := func(what ...string) bool {
		for _, w := range strings.Fields(strings.ToLower(strings.Join(words, " "))) {
			if strings.HasPrefix(w, "#") {
				break
			}
			name, _, _ := strings.Cut(strings.NewReplacer("-", "", "_", "").Replace(w), "=")
			if slices.Contains(what, name) {
				return true
			}
		}
		return false
	}
	if !said("unit") && next.Pest == was.Pest {
		next.Unit = was.Unit
	}
	if !said("hotspot", "edge", "random") {
		next.Stratum = was.Stratum
	}
	for _, e := range was.Enemies {
		if !slices.ContainsFunc(next.Enemies, func(x farm.EnemyCount) bool { return x.Enemy == e.Enemy }) {
			next.Enemies = append(next.Enemies, e)
		}
	}
	if next.Damage == nil {
		next.Damage = was.Damage
	}
	if next.Note == "" && !strings.Contains(strings.Join(words, " "), "#") {
		next.Note = was.Note
	}
	c, old := &next.Conditions, was.Conditions
	if c.Soil == "" {
		c.Soil = old.Soil
	}
	if c.Foliage == "" {
		c.Foliage = old.Foliage
	}
	if c.AirC == nil {
		c.AirC = old.AirC
	}
	if c.SoilC == nil {
		c.SoilC = old.SoilC
	}
	if c.Nights == 0 {
		c.Nights = old.Nights
	}
	c.Disturbed = c.Disturbed || old.Disturbed
	return next
}
