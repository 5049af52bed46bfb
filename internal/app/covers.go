package app

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/cover"
	"leafturn/internal/diag"
	"leafturn/internal/report"
	"leafturn/internal/units"
)

// CoverOptions are the words of `covers`.
type CoverOptions struct {
	Pest, Rest, Dig, Plant string
	Keep                   bool
	RulesFile              string    // name of the file that Rules reads, for messages
	Rules                  io.Reader // the grower's rules, or nil
	Rule                   []string  // rules given one by one
	Files                  *CoverFiles
	Pictures               bool // draw the maps into the document
}

// digAfterFrost is how many days after the average first frost the beds are
// dug when the grower gives no day. Common practice.
const digAfterFrost = 8

func pair(low, high *float64) *[2]float64 {
	if low == nil || high == nil {
		return nil
	}
	return &[2]float64{*low, *high}
}

// coverCrop is a cover of the catalogue as the plan takes it.
func coverCrop(c catalog.Cover) cover.Crop {
	whole := func(v *float64) *int {
		if v == nil {
			return nil
		}
		n := int(*v)
		return &n
	}
	x := cover.Crop{
		ID: c.Key, Name: c.Name, Latin: c.Latin, Family: strings.Fields(c.Family)[0], SowRel: c.SowRel, DaysToUsable: whole(c.DaysToUsable),
		LeadDays: whole(c.LeadDaysDefault), MinSoilC: c.MinSoilC, HardyZone: c.HardyZone, KillC: c.KillC,
	}
	x.Legume, x.Perennial, x.Irrigation = c.Legume, strings.Contains(c.Kind, "perennial"), c.Irrigation
	x.Nitrogen, x.Biomass = pair(c.NLow, c.NHigh), pair(c.BiomassLow, c.BiomassHigh)
	x.Alone, x.MixWith = c.MixNote != "", c.MixWith
	for _, s := range c.Slots {
		x.Slots = append(x.Slots, cover.Slot(s))
	}
	x.RateKgHa = mid(c.BroadcastKgHaMin, c.BroadcastKgHaMax)
	if x.RateKgHa == nil {
		x.RateKgHa = mid(c.DrillKgHaMin, c.DrillKgHaMax)
	}
	if p := mid(c.PriceUSDLbLow, c.PriceUSDLbHigh); p != nil {
		perKg := *p / units.Of(1, "lb").MustIn("kg")
		x.USDPerKg = &perKg
	}
	return x
}

func mid(low, high *float64) *float64 {
	if low == nil || high == nil {
		return nil
	}
	v := (*low + *high) / 2
	return &v
}

// coverChoices are all ways to use a bed that the catalogue knows.
func (a *App) coverChoices() []cover.Option {
	var out []cover.Option
	for _, c := range a.cat.Covers() {
		var effects []cover.Effect
		for _, e := range a.cat.CoverEffects(c.Key) {
			effects = append(effects, cover.Effect{
				Pest: e.Pest, Direction: e.Direction, Score: e.Score, Grade: e.Evidence, Basis: e.Basis,
				Contested: strings.Contains(e.Note, "CONTESTED"), Source: e.Source, URL: e.URL, Note: e.Note, TestedYears: testedYears(e.Note),
			})
		}
		crop := coverCrop(c)
		crop.Hosts = map[string]bool{}
		for _, h := range a.cat.CoverHosts(c.Key) {
			crop.Hosts[h.Virus] = h.Host
		}
		out = append(out, cover.Options(crop, effects)...)
	}
	return out
}

// testedYears is how many years in a row the trial of an effect grew the cover,
// as its note tells: two, or 0 for not said.
func testedYears(note string) int {
	if strings.Contains(note, "two years") {
		return 2
	}
	return 0
}

// Covers ranks covers against a pest, or plans them bed by bed.
func (a *App) Covers(ctx context.Context, day civil.Date, o CoverOptions) (*report.Document, error) {
	s, err := a.snapshot(ctx, a.seasonDay(day))
	if err != nil {
		return nil, err
	}
	list, err := a.assessments(s, false)
	if err != nil {
		return nil, err
	}
	if o.Files != nil {
		if err := o.Files.check(o); err != nil {
			return nil, err
		}
	}
	if o.Pest != "" {
		switch {
		case o.Keep:
			return nil, diag.Usagef("leave out --pest to plan by bed", "--keep stores a plan by bed, not a ranking")
		case o.Rules != nil || len(o.Rule) > 0:
			return nil, diag.Usagef("leave out --pest to plan by bed", "rules are for a plan by bed, not for a ranking")
		}
		return a.rankCovers(s, list, o.Pest)
	}
	return a.planCovers(ctx, s, list, o, day)
}

func (a *App) rankCovers(s snapshot, list []assess.Assessment, word string) (*report.Document, error) {
	// Soil problems that are no pest kept here may be asked for as well.
	key, name := word, strings.ReplaceAll(word, "_", " ")
	if !contains(catalog.SoilProblems(), word) {
		p, err := a.names.findPest(word)
		if err != nil {
			return nil, err
		}
		key, name = p.Key, p.Name
	}
	field, err := a.fieldPressures(s, list)
	if err != nil {
		return nil, err
	}
	ranked := cover.Rank(key, a.coverChoices(), field, cover.DefaultRules().Weights)
	doc := a.document("Cover crops against "+name, s.on)
	t := &report.Table{Columns: []report.Column{{Title: "Cover"}, {Title: "Effect on it"}, {Title: "Evidence"}, {Title: "Points", Decimals: 1}, {Title: "May make worse"}}}
	var unknown []string
	for _, r := range ranked {
		if !r.Known {
			unknown = append(unknown, r.Option.Crop.Name)
			continue
		}
		var worse []string
		for _, w := range r.Worse {
			worse = append(worse, w.Pest)
		}
		effect := fmt.Sprintf("%s (%+d)", r.Effect.Direction, r.Effect.Score)
		if r.Contested {
			effect += ", contested"
		}
		label := r.Option.Crop.Name
		if r.Option.Rest {
			label += ", bed rested"
		}
		t.Rows = append(t.Rows, []report.Value{report.Text(label), report.Text(effect), report.Text(r.Effect.Grade), report.Num(r.Value, 1), report.Text(strings.Join(worse, ", "))})
	}
	sec := report.Section{Key: "ranking", Table: t, Notes: report.Lines(
		"evidence: A replicated field trials, B one trial or greenhouse, C extension advice, D anecdote; on other crops than dahlia",
		"a negative score is fewer pests; points are the pressure on this farm times the score times the weight of the evidence")}
	if len(t.Rows) == 0 {
		sec = report.Section{Key: "ranking", Lead: report.Plain("No evidence about any cover and this pest was found. That is not known, not \"no effect\".")}
	}
	doc.Sections = []report.Section{sec}
	if len(unknown) > 0 {
		slices.Sort(unknown)
		doc.Sections = append(doc.Sections, report.Section{Key: "unknown", Title: "Not known", Lead: report.Plain(strings.Join(slices.Compact(unknown), ", "))})
	}
	doc.Data = ranksData(ranked)
	return doc, nil
}
