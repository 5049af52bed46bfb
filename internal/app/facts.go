package app

import (
	"slices"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/schedule"
	"leafturn/internal/verdict"
	"leafturn/internal/week"
)

func refOf(p catalog.Provenance) assess.Ref {
	return assess.Ref{Basis: p.Basis, Source: p.Source, URL: p.URL, Note: p.Note}
}

// pestFacts gives the assessment what the catalogue and the farm know of a
// pest, for a bed at a stage.
func (a *App) pestFacts(p catalog.Pest, stage farm.Stage, s snapshot) (assess.Pest, error) {
	out := assess.Pest{
		Key: p.Key, Name: p.Name, Disease: p.Kind == "disease",
		EveryDays: p.Interval(stage), StaleDays: p.StaleDays, InSeason: p.Scouted(stage) && a.nearPlanting(p, stage, s.on),
	}
	for _, u := range a.cat.Protocols(p.Key) {
		out.Units = append(out.Units, a.unitFacts(u))
	}
	for _, t := range a.cat.Thresholds(p.Key) {
		out.Levels = append(out.Levels, a.levelFacts(t, s.overrides))
	}
	for _, e := range a.cat.EnemiesOf(p.Key) {
		if e.HoldEffect != "hold" || e.HoldPest != p.Key {
			continue
		}
		out.Enemies = append(out.Enemies, assess.EnemyRule{Enemy: e.Key, Name: e.Name, Kind: e.HoldKind, Value: e.HoldValue, Ref: refOf(e.Provenance)})
	}
	var laws assess.Laws
	if l := s.laws[p.Key]; l != nil {
		laws = l
	}
	return assess.OwnClumpingBy(out, s.byPest[p.Key], s.on, &a.memory.beliefs, laws)
}

// plantingAfterFrost is how many days after the average last frost dahlias go
// into the ground. Common practice.
const plantingAfterFrost = 20

// nearPlanting reports whether the day lies within the weeks before planting
// in which the pest is scouted on a bare bed. Where the farm has no frost date
// or the bed is past that stage there is nothing to wait for.
func (a *App) nearPlanting(p catalog.Pest, stage farm.Stage, on civil.Date) bool {
	if stage != farm.PrePlant {
		return true
	}
	if p.PrePlantWeeks == 0 {
		return false
	}
	if a.farm.LastFrost.IsZero() {
		return true
	}
	planting := a.farm.Season(on).Day(a.farm.LastFrost).AddDays(plantingAfterFrost)
	return !on.Before(planting.AddDays(-7 * p.PrePlantWeeks))
}

func (a *App) unitFacts(u catalog.Protocol) assess.Unit {
	m, _ := a.cat.Measure(u.Measure)
	out := assess.Unit{
		Key: u.Unit, Label: u.UnitLabel, Measure: u.Measure, Words: m.Words, One: m.One, Percent: m.Percent || u.Presence, Tally: u.Tally,
		Wanted: u.UnitsTotal, Min: u.MinUnits, PerNights: u.PerNights, Nights: u.Nights, Damage: u.DamageMeasure,
		How: a.months(u.How), BestTime: a.months(u.BestTime), Ref: refOf(u.Provenance), Needs: a.needs(u),
	}
	if t, ok := a.cat.Taylor(u.Pest, u.Unit); ok {
		d := estimate.Dispersion{Words: t.Basis}
		if t.Source != "" {
			d.Words = t.Source + " (" + t.Basis + ")"
		}
		switch {
		case t.A != nil && t.B != nil:
			d.A, d.B = *t.A, *t.B
		case t.K != nil:
			d.K = *t.K
		}
		out.Dispersed = d
	}
	return out
}

// levelFacts are those of a level on this farm: its season is dated by the
// farm's first frost.
func (a *App) levelFacts(t catalog.Threshold, overrides []farm.Override) assess.Level {
	l := levelFacts(t, overrides)
	l.Signs = t.SeasonKind == "signs"
	season := t.Season
	if l.South = a.farm.South(); l.South {
		season = season.South()
	}
	l.SeasonWords = season.Words(a.farm.FirstFrost)
	if l.South && season.HasDays() {
		l.SeasonWords += " (six months on, common practice)"
	}
	l.StageWords = a.months(l.StageWords)
	l.FrostUnknown = a.farm.FirstFrost.IsZero() && season.NeedsFrost()
	for _, x := range season {
		l.Season = append(l.Season, assess.Span{From: x.From.On(a.farm.FirstFrost), To: x.To.On(a.farm.FirstFrost)})
	}
	return l
}

func levelFacts(t catalog.Threshold, overrides []farm.Override) assess.Level {
	v, op, known := t.At()
	own := v
	if known && !t.Any {
		own = *t.Value
	}
	kind := t.Kind
	switch kind {
	case "disease":
		kind = t.Level
	case "report":
		kind = "act"
	}
	l := assess.Level{
		Measure: t.Measure, Unit: t.Unit, Kind: kind, Value: v, Own: own, Operator: op, From: t.From, To: t.To, StageWords: t.StageWords,
		Crop: t.Crop, Conditions: t.Conditions, NeedsDamagePct: t.NeedsDamagePct, OrDamagePct: t.OrDamagePct,
		Requires: t.Requires, Transfer: t.Transferred(), Ref: refOf(t.Provenance),
		Confirm: assess.Confirm{Words: t.Confirm, How: t.ConfirmHow, By: t.ConfirmBy, Elsewhere: t.ConfirmIf == "elsewhere"},
	}
	if t.Transferred() {
		return l
	}
	for _, o := range overrides {
		if o.Pest == t.Pest && o.Measure == t.Measure && o.Level == kind {
			l.Overridden, l.Catalogue, l.Value, l.Operator, l.Reason = true, v, o.Value, ">=", o.Reason
			l.Ref = assess.Ref{Basis: "the farm's own", Source: "set by the farm since " + o.Since.String() + ": " + o.Reason}
		}
	}
	return l
}

func actionFacts(rows []catalog.Action) []week.Action {
	out := make([]week.Action, 0, len(rows))
	for _, x := range rows {
		w := week.Action{
			Key: x.Key, Pest: x.Pest, Rung: week.Rung(x.Rung), Text: x.Text, Amount: x.Amount, When: x.When, WithinDays: -1,
			From: x.From, To: x.To, Level: x.Level, Why: x.Why, Safety: x.Safety, Agent: x.Agent, Ref: refOf(x.Provenance),
		}
		if x.WithinDays != nil {
			w.WithinDays = *x.WithinDays
		}
		out = append(out, w)
	}
	return out
}

// agentOffers are the rates at which an agent may be offered outdoors, those
// per area before those per pest: leaves in a bed are seldom known.
func (a *App) agentOffers(key string) []week.AgentOffer {
	g, ok := a.cat.Agent(key)
	if !ok {
		return nil
	}
	var area, ratio []week.AgentOffer
	for _, r := range a.cat.ReleaseRates(key) {
		if !r.Offer {
			continue
		}
		rate := schedule.AgentRate{
			Agent: key, Name: g.Latin, Releases: r.Releases, IntervalDays: r.IntervalDays, TempMin: r.MinC, TempMax: r.MaxC,
			RHMin: r.MinHumidity, LeadDays: r.LeadDays, NotWhen: r.NotWhen, CheckDays: g.CheckDays,
			CheckFor: g.CheckHow + "; success is " + g.Success, Basis: r.Basis, Source: r.Source, URL: r.URL,
		}
		if len(r.Pests) > 0 {
			rate.Pest = r.Pests[0]
		}
		for _, pest := range r.Pests {
			for _, d := range a.cat.DayLengths(key, pest) {
				limit := schedule.DayLimit{Hours: d.Hours, NightsBelow: d.NightsBelow, Pest: d.Pest, Words: d.Text, Basis: d.Basis, Source: d.Source, URL: d.URL}
				if !slices.ContainsFunc(rate.Days, func(x schedule.DayLimit) bool { return x.Pest == limit.Pest }) {
					rate.Days = append(rate.Days, limit)
				}
			}
		}
		offer := week.AgentOffer{Use: r.Use, Permit: g.Permit, NotIn: g.NotIn, SuccessPct: g.SuccessPct, Repeats: g.Repeats, IfNot: g.IfNot}
		low, high, perArea := r.PerM2()
		switch {
		case perArea:
			rate.Kind, rate.Rate, rate.RateMax = schedule.PerM2, low, high
			if r.RateKind == "sachet_per_m2" || r.RateKind == "sachet_per_2m2" {
				rate.Kind = schedule.Sachet
			}
			offer.Rate = rate
			area = append(area, offer)
		case r.RateKind == "ratio" && r.Rate != nil:
			rate.Kind, rate.Rate = schedule.Ratio, *r.Rate
			if r.RateMax != nil {
				rate.RateMax = *r.RateMax
			}
			offer.Rate = rate
			ratio = append(ratio, offer)
		}
	}
	return append(area, ratio...)
}

// needs says when a count by a protocol is valid.
func (a *App) needs(u catalog.Protocol) verdict.Needs {
	n := verdict.Needs{SoilMoist: u.NeedsSoil == farm.Moist, FoliageDry: u.NeedsFoliage == farm.Dry, Undisturbed: true, Units: a.farm.Units,
		MustSoil: slices.Contains(u.MustNote, "soil"), MustFoliage: slices.Contains(u.MustNote, "foliage"), MustTemp: slices.Contains(u.MustNote, "temp")}
	switch u.TempOf {
	case "air":
		n.AirMinC, n.AirMaxC = u.MinC, u.MaxC
	case "soil":
		n.SoilMinC, n.NotWaterlogged = u.MinC, true
	}
	return n
}
