package app

import (
	"cmp"
	"context"
	"slices"
	"sync"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/store"
)

// snapshot is what the store held of one season, as it was known on a day:
// nothing dated later is in it.
type snapshot struct {
	on         civil.Date
	year       farm.Season // that holds on
	beds       []farm.Bed
	stages     map[string][]farm.StageEvent // by bed code, of the season
	planted    map[string]civil.Date        // by bed code: when its present crop was planted
	visits     []farm.Visit                 // of the season up to on
	byPest     map[string][]farm.Visit      // the same by pest
	byPair     map[[2]string][]farm.Visit   // the same by bed and pest
	labels     []farm.Label                 // the version in force on that day
	treatments []farm.Treatment             // all of them: a label may limit without a time, and an unread interval does not end
	versions   map[int64]farm.Label         // by treatment: the label it was made under, with what was read of it since
	releases   []farm.Release               // of the season
	lately     []farm.Release               // of the 60 days before: animals do not die as a season ends
	done       []farm.Done
	weather    map[civil.Date]farm.WeatherDay
	season     []farm.WeatherDay   // measured in the season, oldest first
	covers     []farm.PlannedCover // sown from lookBack days before on
	overrides  []farm.Override
	notes      *noteBook
	parts      *parts // where visits are without their counts: what is known of them
	laws       map[string]*partLaws
	kept       *keptVerdicts
}

// lookBack is how far back stages are read: a crop may stand for a year and a
// month.
const lookBack = 400

func (a *App) snapshot(ctx context.Context, on civil.Date) (snapshot, error) {
	return a.snapshotOf(ctx, on, "", nil)
}

// snapshotOf is a snapshot for verdicts on one pest, "" for all: the visits of
// the others are without their single counts, but for the virus that levels
// depend on. With parts all visits are without them.
func (a *App) snapshotOf(ctx context.Context, on civil.Date, pest string, p *parts) (snapshot, error) {
	s := snapshot{on: on, year: a.farm.Season(on), parts: p, stages: map[string][]farm.StageEvent{}, weather: map[civil.Date]farm.WeatherDay{}, byPest: map[string][]farm.Visit{}, byPair: map[[2]string][]farm.Visit{}, planted: map[string]civil.Date{}, notes: &noteBook{days: map[civil.Date]dayNotes{}}}
	season := store.Filter{From: s.year.First, To: on}
	back := store.Filter{From: on.AddDays(-lookBack), To: on}
	err := a.st.View(ctx, func(tx *store.Tx) (err error) {
		if s.beds, err = tx.Beds(); err != nil {
			return err
		}
		events, err := tx.Stages(back)
		if err != nil {
			return err
		}
		of := map[string][]farm.StageEvent{} // a crop may stand over the end of a season
		for _, e := range events {
			of[e.Bed] = append(of[e.Bed], e)
			if !e.Date.Before(season.From) {
				s.stages[e.Bed] = append(s.stages[e.Bed], e)
			}
		}
		for _, b := range s.beds {
			if d := farm.PlantedOn(of[b.Code], on); !d.IsZero() {
				s.planted[b.Code] = d
			}
		}
		var known visits
		switch {
		case p != nil:
			known, err = p.read(tx, s.year)
		case pest == "":
			known, err = a.memory.read(tx, s.beds, s.year)
		default:
			var all []farm.Visit
			all, err = tx.Visits(store.Filter{From: season.From, To: on, CountsOf: []string{pest, "tospovirus"}})
			known = known.with(all)
		}
		if err != nil {
			return err
		}
		s.visits = until(known.all, on)
		for pest, list := range known.byPest {
			if list = until(list, on); len(list) > 0 {
				s.byPest[pest] = list
			}
		}
		for pair, list := range known.byPair {
			s.byPair[pair] = until(list, on)
		}
		if s.treatments, err = tx.Treatments(store.Filter{To: on}); err != nil {
			return err
		}
		if s.versions, err = labelsThen(tx, s.treatments, on); err != nil {
			return err
		}
		if s.releases, err = tx.Releases(season); err != nil {
			return err
		}
		if s.lately, err = tx.Releases(store.Filter{From: on.AddDays(-60), To: on}); err != nil {
			return err
		}
		if s.done, err = tx.Dones(season); err != nil {
			return err
		}
		if s.covers, err = tx.Covers(store.Filter{From: back.From}); err != nil {
			return err
		}
		if s.overrides, err = tx.Overrides(on); err != nil {
			return err
		}
		if s.labels, err = labelsOn(tx, on); err != nil {
			return err
		}
		// A forecast entered for the days ahead belongs to the day's knowledge.
		days, err := tx.WeatherKnown(on.AddDays(-lookBack), on.AddDays(14), on, a.endOf(on))
		if err != nil {
			return err
		}
		for _, d := range days {
			s.weather[d.Date] = d
			if s.year.Holds(d.Date) && !d.Date.After(on) && !d.Forecast && d.MinC != nil && d.MaxC != nil {
				s.season = append(s.season, d)
			}
		}
		return nil
	})
	if err == nil && p != nil {
		s.laws, s.kept = map[string]*partLaws{}, &keptVerdicts{p: p, keys: map[[2]string]partKey{}, short: map[[2]string]assess.Input{}}
		for pest, list := range s.byPest {
			s.laws[pest] = &partLaws{p: p, visits: list}
		}
	}
	return s, err
}

// labelsOn returns the latest version of each label that had been transcribed
// by a day.
func labelsOn(tx *store.Tx, on civil.Date) ([]farm.Label, error) {
	latest, err := tx.Labels()
	if err != nil {
		return nil, err
	}
	var out []farm.Label
	for _, l := range latest {
		versions, err := tx.LabelVersions(l.Key)
		if err != nil {
			return nil, err
		}
		for i := len(versions) - 1; i >= 0; i-- {
			if !versions[i].Entered.After(on) {
				out = append(out, versions[i])
				break
			}
		}
	}
	return out, nil
}

// labelsThen returns, by treatment, the version of the label it was made under,
// with the blanks that had been read since by a day.
func labelsThen(tx *store.Tx, ts []farm.Treatment, on civil.Date) (map[int64]farm.Label, error) {
	out, later := map[int64]farm.Label{}, map[string][]farm.Label{}
	for _, t := range ts {
		then, err := tx.TreatmentLabel(t.ID)
		if err != nil {
			return nil, err
		}
		if _, ok := later[then.Key]; !ok {
			if later[then.Key], err = tx.LabelVersions(then.Key); err != nil {
				return nil, err
			}
		}
		since := slices.DeleteFunc(slices.Clone(later[then.Key]), func(l farm.Label) bool { return l.Version <= then.Version || l.Entered.After(on) })
		out[t.ID] = label.ReadSince(then, since)
	}
	return out, nil
}

// stepDays are the days on which something was done against each pest in each
// bed, by bed and pest.
func (s snapshot) stepDays() map[[2]string][]civil.Date {
	out := map[[2]string][]civil.Date{}
	add := func(bed, pest string, on civil.Date) {
		out[[2]string{bed, pest}] = append(out[[2]string{bed, pest}], on)
	}
	for _, t := range s.treatments {
		add(t.Bed, t.Pest, t.Date)
	}
	for _, r := range s.releases {
		add(r.Bed, r.Pest, r.Date)
	}
	for _, d := range s.done {
		if d.IsStep() {
			add(d.Bed, d.Pest, d.Date)
		}
	}
	return out
}

// confirmed are the latest notes on whether a pest was confirmed, by bed and
// pest: of one day the one that was entered last.
func (s snapshot) confirmed() map[[2]string]farm.Confirmation {
	out := map[[2]string]farm.Confirmation{}
	for _, d := range s.done {
		if k := [2]string{d.Bed, d.Pest}; (d.Action == farm.Confirmed || d.Action == farm.NotConfirmed) && !d.Date.Before(out[k].On) {
			out[k] = farm.Confirmation{On: d.Date, Is: d.Action == farm.Confirmed}
		}
	}
	return out
}

// noteBook keeps what was noted of each day: a list of verdicts asks it once
// for each bed and pest.
type noteBook struct {
	mu   sync.Mutex
	days map[civil.Date]dayNotes
}

// dayNotes are the conditions noted on one day, in each bed and on the round.
type dayNotes struct {
	beds  map[string]farm.Conditions
	round farm.Conditions
}

// noted is what was noted of the conditions in a bed on a day: on its own
// visits, else on all of the round that noted them where they agree. The
// weather record has the soil's temperature.
func (s snapshot) noted(bed string, day civil.Date) farm.Conditions {
	s.notes.mu.Lock()
	notes, ok := s.notes.days[day]
	if !ok {
		notes = s.notesOf(day)
		s.notes.days[day] = notes
	}
	s.notes.mu.Unlock()
	own := notes.beds[bed]
	own.Soil, own.Foliage = cmp.Or(own.Soil, notes.round.Soil), cmp.Or(own.Foliage, notes.round.Foliage)
	own.AirC, own.SoilC = cmp.Or(own.AirC, notes.round.AirC), cmp.Or(own.SoilC, notes.round.SoilC)
	return own
}

func (s snapshot) notesOf(day civil.Date) dayNotes {
	i, _ := slices.BinarySearchFunc(s.visits, day, func(v farm.Visit, d civil.Date) int { return v.Date.Compare(d) })
	n := dayNotes{beds: map[string]farm.Conditions{}}
	var soil, foliage []farm.Wetness
	for ; i < len(s.visits) && s.visits[i].Date == day; i++ {
		v := s.visits[i]
		c, own := v.Conditions, n.beds[v.Bed]
		own.Soil, own.Foliage = cmp.Or(own.Soil, c.Soil), cmp.Or(own.Foliage, c.Foliage)
		own.AirC, own.SoilC = cmp.Or(own.AirC, c.AirC), cmp.Or(own.SoilC, c.SoilC)
		n.beds[v.Bed] = own
		soil, foliage = append(soil, c.Soil), append(foliage, c.Foliage)
		n.round.AirC, n.round.SoilC = cmp.Or(n.round.AirC, c.AirC), cmp.Or(n.round.SoilC, c.SoilC)
	}
	if w, ok := s.weather[day]; ok && !w.Forecast {
		n.round.SoilC = cmp.Or(n.round.SoilC, w.SoilC)
	}
	n.round.Soil, n.round.Foliage = agreed(soil), agreed(foliage)
	return n
}

// agreed is the one wetness that was noted, unknown where there are several.
func agreed(all []farm.Wetness) farm.Wetness {
	out := farm.Unknown
	for _, w := range all {
		if w == farm.Unknown || w == out {
			continue
		}
		if out != farm.Unknown {
			return farm.Unknown
		}
		out = w
	}
	return out
}
