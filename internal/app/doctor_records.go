package app

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"
)

// near reports whether two days are one, as clocks of other places may say it.
func near(x, y civil.Date) bool { return !x.Before(y.AddDays(-1)) && !x.After(y.AddDays(1)) }

func (d *doctor) treatments(tx *store.Tx) error {
	a := d.a
	list, err := tx.Treatments(store.Filter{})
	if err != nil {
		return err
	}
	beds, err := tx.Beds()
	if err != nil {
		return err
	}
	byCode := map[string]farm.Bed{}
	for _, b := range beds {
		byCode[b.Code] = b
	}
	for _, t := range list {
		amend := func(flags string) string {
			return fmt.Sprintf("leafturn amend treatment %d %s --reason \"...\"", t.ID, flags)
		}
		const hour = `"YYYY-MM-DD HH:MM"`
		what := fmt.Sprintf("treatment %d (%s in %s on %s)", t.ID, t.Label, t.Bed, t.Date)
		l, err := tx.TreatmentLabel(t.ID)
		switch {
		case errors.Is(err, store.ErrNotFound):
			d.add(checkRecords, true, "enter the label, then "+amend("LABEL"), "%s has no label", what)
			continue
		case err != nil:
			return err
		}
		stages, err := tx.Stages(store.Filter{Bed: t.Bed})
		if err != nil {
			return err
		}
		b := byCode[t.Bed]
		switch {
		case t.End.After(a.now) && t.EndKnown:
			d.add(checkRecords, true, amend("--end "+hour), "%s ends in the future, %s", what, t.End.In(a.loc).Format("2 Jan 2006 15:04"))
		case !t.Start.IsZero() && t.End.Before(t.Start):
			d.add(checkRecords, true, amend("--start "+hour+" --end "+hour), "%s ends before it begins", what)
		case !(t.Amount.Value > 0):
			d.add(checkRecords, true, amend("--amount AMOUNT"), "%s has no amount", what)
		case !(t.AreaM2 > 0) || t.AreaM2 > 1.01*b.AreaM2():
			d.add(checkRecords, true, fmt.Sprintf("%s, or, if the bed's size is wrong: leafturn bed set %s --size \"LENGTH x WIDTH\"", amend("--area AREA"), t.Bed), "%s is of %s; the bed has %s", what, a.farm.Units.Area(t.AreaM2), a.farm.Units.Area(b.AreaM2()))
		case t.EndKnown && !near(civil.DateIn(t.End, a.loc), t.Date):
			d.add(checkRecords, true, amend("--end "+hour), "%s ended on another day, %s", what, t.End.In(a.loc).Format("2 Jan 2006 15:04"))
		case t.Date.Before(l.Entered):
			d.add(checkRecords, true, amend("--date DAY"), "%s was made under a label that was transcribed only on %s", what, l.Entered)
		}
		if e, ok := l.Expiry.Get(); ok && t.Date.After(e) {
			d.add(checkRecords, true, "if the day or the label is wrong: "+amend("LABEL --date DAY"), "%s was made with a product that expired on %s", what, e)
		}
		for _, s := range stages {
			if s.Stage != farm.Planted || !a.farm.Season(t.Date).Holds(s.Date) || !t.Date.Before(s.Date) || !farm.PlantedOn(stages, t.Date).IsZero() {
				continue
			}
			words := "its interval before harvest is not known"
			if n, ok := l.PHIDays.Get(); ok {
				words = fmt.Sprintf("its interval before harvest, %d days, ended on %s", n, t.Date.AddDays(n))
			}
			d.add(checkRecords, false, "if a day is wrong: "+amend("--date DAY"), "%s lies before the planting of %s: %s", what, s.Date, words)
			break
		}
	}
	return nil
}

// words looks for words of steps and own levels that the facts do not know.
func (d *doctor) words(tx *store.Tx) error {
	cat := d.a.cat
	dones, err := tx.Dones(store.Filter{})
	if err != nil {
		return err
	}
	for _, x := range dones {
		do := fmt.Sprintf("leafturn amend done %d PEST STEP --reason \"...\"", x.ID)
		agent, settled := strings.CutPrefix(x.Action, farm.Settled)
		switch {
		case settled:
			if _, ok := cat.Agent(agent); !ok {
				d.add(checkFacts, true, fmt.Sprintf("leafturn amend done %d AGENT --reason \"...\"", x.ID), "done %d is a look for %q, which is no agent of these facts", x.ID, agent)
			}
		case !x.IsStep():
		case !slices.ContainsFunc(cat.Actions(x.Pest), func(y catalog.Action) bool { return y.Key == x.Action }):
			d.add(checkFacts, true, do, "done %d is of the step %q against %q, which these facts do not know", x.ID, x.Action, x.Pest)
		}
	}
	levels, err := tx.Overrides(d.a.Today())
	if err != nil {
		return err
	}
	for _, x := range levels {
		if !slices.ContainsFunc(cat.Protocols(x.Pest), func(y catalog.Protocol) bool { return y.Measure == x.Measure }) {
			d.add(checkFacts, true, "leafturn void override NUMBER --reason \"...\"; `leafturn history --all` shows the number", "an own level is of %q of %q, which these facts do not know", x.Measure, x.Pest)
		}
	}
	return nil
}

// rest looks at releases, steps, weather and covers.
func (d *doctor) rest(tx *store.Tx) error {
	a := d.a
	releases, err := tx.Releases(store.Filter{})
	if err != nil {
		return err
	}
	for _, r := range releases {
		if _, ok := a.cat.Agent(r.Agent); !ok {
			d.add(checkFacts, true, fmt.Sprintf("leafturn amend release %d AGENT --reason \"...\"", r.ID), "release %d is of %q, which is no agent of these facts", r.ID, r.Agent)
		}
		if !(r.Amount > 0) {
			d.add(checkRecords, true, fmt.Sprintf("leafturn amend release %d --amount N --reason \"...\"", r.ID), "release %d (%s in %s on %s) has no animals", r.ID, r.Agent, r.Bed, r.Date)
		}
	}
	if err := d.words(tx); err != nil {
		return err
	}
	days, err := tx.WeatherDays(store.Filter{})
	if err != nil {
		return err
	}
	for _, w := range days {
		kind := "measured"
		if w.Forecast {
			kind = "forecast"
		}
		for what, v := range map[string]*float64{"lowest": w.MinC, "highest": w.MaxC, "soil": w.SoilC} {
			if v != nil && (*v < -60 || *v > 60) {
				n, err := number(tx, store.KindWeather, "", w.Date, kind)
				if err != nil {
					return err
				}
				d.add(checkRecords, true, fmt.Sprintf("leafturn amend weather %d --min T --max T --soil T --reason \"...\"", n), "the weather of %s has a %s temperature of %s", w.Date, what, a.farm.Units.Temp(*v))
			}
		}
	}
	covers, err := tx.Covers(store.Filter{})
	if err != nil {
		return err
	}
	for i, c := range covers {
		n, err := number(tx, store.KindCover, c.Bed, c.Sow, c.Cover)
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(a.cat.Covers(), func(x catalog.Cover) bool { return x.Key == c.Cover }) {
			d.add(checkFacts, true, fmt.Sprintf("leafturn amend cover %d COVER --reason \"...\"", n), "cover %d is %q, which is no cover of these facts", n, c.Cover)
		}
		if !c.Kill.IsZero() && c.Kill.Before(c.Sow) {
			d.add(checkRecords, true, fmt.Sprintf("leafturn amend cover %d --kill DATE --reason \"...\"", n), "%s in %s ends on %s, before it is sown on %s", c.Cover, c.Bed, c.Kill, c.Sow)
		}
		for _, x := range covers[:i] {
			if x.Bed == c.Bed && !x.Kill.IsZero() && x.Sow.Before(c.Sow) && c.Sow.Before(x.Kill) {
				d.add(checkRecords, false, fmt.Sprintf("void the one that was not sown: leafturn void cover %d --reason \"...\", or the one before it", n), "%s is to be sown in %s on %s, where %s stands until %s", c.Cover, c.Bed, c.Sow, x.Cover, x.Kill)
			}
		}
	}
	return nil
}
