package app

import (
	"context"
	"slices"
	"strings"

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
	if len(o.Words) > 0 {
		if next, err = ingest.ParseWords(o.Words, a.notesOptions(CountOptions{Date: d, Observer: given("by", v.Observer)})); err != nil {
			return Said{}, asUsage(err)
		}
		next = keepUnsaid(next, v, o.Words)
	} else {
		next.Date, next.Observer = d, given("by", v.Observer)
	}
	err = a.st.Update(ctx, func(tx *store.Tx) error { _, err := tx.AddVisit(next, a.now); return duplicateVisit(err, next) })
	return Said{}, err
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
