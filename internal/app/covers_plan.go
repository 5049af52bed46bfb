package app

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/cover"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/report"
	"leafturn/internal/store"
)

// coverInput makes what a plan needs of the farm, its counts and the options.
func (a *App) coverInput(ctx context.Context, s snapshot, list []assess.Assessment, o CoverOptions, today civil.Date) (coverPlan, error) {
	var p coverPlan
	rest, err := strconv.Atoi(o.Rest)
	if err != nil || rest < 0 || rest > len(s.beds) {
		return p, diag.Usagef(fmt.Sprintf("give 0 to %d", len(s.beds)), "--rest %q is not a number of beds", o.Rest)
	}
	dig, plant, before := a.coverDates(today)
	for _, x := range []struct {
		flag, text string
		to         *civil.Date
	}{{"dig", o.Dig, &dig}, {"plant", o.Plant, &plant}} {
		if x.text == "" {
			continue
		}
		d, err := civil.Parse(x.text)
		if err != nil {
			return p, diag.Usagef("write it as YYYY-MM-DD", "--%s: %v", x.flag, err)
		}
		*x.to = d
	}
	if !plant.After(dig) {
		return p, diag.Usagef("check --dig and --plant", "planting on %s would come before digging on %s", plant, dig)
	}
	history, stands, weather, err := a.coverHistory(ctx, today)
	if err != nil {
		return p, err
	}
	pressures, err := a.carriedPressures(s, list)
	if err != nil {
		return p, err
	}
	if err := a.thisSpring(ctx, s, today, pressures); err != nil {
		return p, err
	}
	beds, out := coverBeds(s.beds)
	p.out = out
	rows := bedRows(beds)
	for _, b := range beds {
		free := dig
		for _, e := range s.stages[b.Code] {
			if e.Stage == farm.Dug && o.Dig == "" && !e.Date.Before(before) {
				free = e.Date.AddDays(1)
			}
		}
		more := rows[b.Code]
		more.NoWater, more.Viruses = b.Irrigation == farm.Rainfed, virusesFound(list, b.Code)
		p.beds = append(p.beds, cover.Bed{Code: b.Code, AreaM2: b.AreaM2(), FreeFrom: free, PlantBy: plant, Pressure: pressures[b.Code], History: history[b.Code], BedMore: more})
	}
	p.options, p.site, p.rules = a.coverChoices(), a.coverSite(weather), cover.FarmRules()
	p.rules.MaxRested = rest
	rules, err := ingest.ReadCoverRules(o.Rules, o.RulesFile, o.Rule, a.coverNames(), today)
	if err != nil {
		return p, err
	}
	for _, r := range rules {
		if r.Kind == ingest.CoverRest && o.Rest != "0" && int(r.Number) != rest {
			return p, diag.Usagef("leave one of them out", "--rest %d and the rule %q (%s) do not agree", rest, r.Text, r.Place())
		}
	}
	p.apply(rules)
	if err := p.checkDates(today); err != nil {
		return p, err
	}
	for i := range p.beds {
		b := &p.beds[i]
		if b.FreeFrom.Before(today) {
			b.FreeFrom = today // what was not sown yet cannot be sown earlier
		}
		if x, ok := stands[b.Code]; ok {
			b.Standing = fmt.Sprintf("%s until %s", x.name, x.kill.Short())
			b.FreeFrom, b.RestFree = x.free, x.free
			if !b.FreeFrom.Before(b.PlantBy) {
				b.FreeFrom = b.PlantBy.AddDays(-1)
			}
		}
	}
	err = a.st.View(ctx, func(tx *store.Tx) error {
		stored, err := tx.Covers(store.Filter{From: today.AddDays(-2 * 366), To: today})
		p.sown = a.sownCovers(stored, p, today)
		return err
	})
	return p, err
}

// planCovers plans the covers of the coming year. s and list are of the season
// that it rests on.
func (a *App) planCovers(ctx context.Context, s snapshot, list []assess.Assessment, o CoverOptions, today civil.Date) (*report.Document, error) {
	if a.farm.LastFrost.IsZero() || a.farm.FirstFrost.IsZero() {
		return nil, diag.Failf(nil, "set them with `leafturn farm set --last-frost MM-DD --first-frost MM-DD`", "the sowing windows follow from the frost dates, and the farm has none")
	}
	if len(s.beds) == 0 {
		return nil, diag.Failf(nil, "add them with `leafturn bed add` or `leafturn bed import`", "the farm has no beds yet")
	}
	in, err := a.coverInput(ctx, s, list, o, today)
	if err != nil {
		return nil, err
	}
	if len(in.beds) == 0 {
		return nil, diag.Failf(nil, "add beds of dahlias outdoors with `leafturn bed add`", "no bed can be planned: %s", strings.Join(in.out, "; "))
	}
	plan, err := cover.PlanBeds(ctx, in.beds, in.options, in.site, in.rules)
	if err != nil {
		return nil, err
	}
	doc := a.coverDocument(s, in, plan, today, o.Keep)
	if err := a.giveCovers(ctx, s, in, plan, doc, today, o); err != nil {
		return nil, err
	}
	if o.Pictures {
		for i, m := range a.coverMaps(s, in, plan, "", today, paperWide) {
			f, err := drawn(m, fmt.Sprintf("map-%d", i+1), m.Caption())
			if err != nil {
				return nil, err
			}
			doc.Sections[0].Figures = append(doc.Sections[0].Figures, f)
		}
	}
	return doc, nil
}

// keepCovers stores a plan and returns how many covers of an earlier plan it took
// out: of those whose sowing is still to come, all that the new plan does not hold.
func (a *App) keepCovers(ctx context.Context, plan cover.Plan, today civil.Date) (replaced int, err error) {
	next := map[farm.PlannedCover]bool{}
	var order []farm.PlannedCover
	for _, b := range plan.Beds {
		for _, cell := range b.Chosen() {
			for _, part := range cell.Option.Parts() {
				c := farm.PlannedCover{Bed: b.Bed, Cover: part.Crop.ID, Sow: cell.Fit.Choice.Sow, Kill: cell.Fit.Choice.Kill}
				order, next[c] = append(order, c), true
			}
		}
	}
	err = a.st.Update(ctx, func(tx *store.Tx) error {
		old, err := tx.Covers(store.Filter{From: today.AddDays(1)})
		if err != nil {
			return err
		}
		for _, c := range old {
			c.Note = ""
			if next[c] {
				delete(next, c)
				continue
			}
			id, err := number(tx, store.KindCover, c.Bed, c.Sow, c.Cover)
			if err != nil {
				return err
			}
			if err := tx.Void(store.KindCover, id, "a new plan took its place", a.now); err != nil {
				return err
			}
			replaced++
		}
		if len(next) == 0 && replaced == 0 {
			return diag.Failf(store.ErrDuplicate, "leave it, or give other rules", "this very plan is already stored")
		}
		for _, c := range order {
			if !next[c] {
				continue
			}
			if _, err := tx.AddCover(c, a.now); err != nil {
				return err
			}
		}
		return nil
	})
	return replaced, err
}
