package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/estimate"
	"leafturn/internal/report"
	"leafturn/internal/trend"
	"leafturn/internal/week"
)

// The window that a trend is read from: growth changes with the weather.
// Common practice.
const (
	trendDates = 6
	trendWeeks = 6
	hotFactor  = 1.5
)

// TrendData is what the season's counts of a pest say beyond one visit.
type TrendData struct {
	Pest    string      `json:"pest"`
	Beds    []TrendBed  `json:"beds"`
	Hot     []HotBed    `json:"hot_spots"`
	HotBy   float64     `json:"hot_spots_by_chance"`
	LeftOut []LeftBed   `json:"left_out"`
	Edge    *TrendEdge  `json:"edge"`
	Pattern *TrendMoran `json:"pattern"`
}

// TrendBed is the growth in one bed.
type TrendBed struct {
	Bed          string     `json:"bed"`
	Visits       int        `json:"visits"`
	First        civil.Date `json:"first"`
	Last         civil.Date `json:"last"`
	FactorWeek   *float64   `json:"factor_per_week"`
	Low          *float64   `json:"low_95"`
	High         *float64   `json:"high_95"`
	DoublingDays *float64   `json:"doubling_days"` // negative: days to halve
	Rough        bool       `json:"rough"`
	OverNow      *float64   `json:"chance_over_now"`
	Over7        *float64   `json:"chance_over_within_7_days"`
	Over14       *float64   `json:"chance_over_within_14_days"`
	Words        string     `json:"words"`
	Newest       civil.Date `json:"newest"`
	Stale        bool       `json:"stale"`
	Invalid      []string   `json:"newest_invalid"`
	Suspect      int        `json:"suspect_unit"`
	Notes        []string   `json:"notes"`
}

// HotBed is a bed against the field.
type HotBed struct {
	Bed     string  `json:"bed"`
	Mean    float64 `json:"mean_shrunken"`
	Times   float64 `json:"times_the_field"`
	Chance  float64 `json:"chance_above_1_5_times"`
	Listed  bool    `json:"listed"`
	Suspect int     `json:"suspect_unit"`
}

// LeftBed is a bed that is not compared with the field.
type LeftBed struct {
	Bed string `json:"bed"`
	Why string `json:"why"`
}

// TrendEdge compares edge and middle.
type TrendEdge struct {
	Ratio *float64 `json:"ratio"`
	Low   *float64 `json:"low_95"`
	High  *float64 `json:"high_95"`
	Words string   `json:"words"`
}

// TrendMoran says whether neighbouring beds are alike.
type TrendMoran struct {
	I     float64 `json:"moran_i"`
	P     float64 `json:"p_greater"`
	Words string  `json:"words"`
}

// trendVisits are the valid visits of a bed in the deciding reading's measure.
func trendVisits(x assess.Assessment) []trend.Visit {
	var out []trend.Visit
	for _, r := range x.Readings {
		if !r.Valid() || r.Unit.Measure != x.Decider.Unit.Measure {
			continue
		}
		v := trend.Visit{Date: r.Visit.Date, Counts: r.Visit.Seen(), Scale: r.Scale()}
		if p := r.Visit.Presence; p != nil {
			v.Presence = estimate.Presence{Infested: p.Infested, Looked: p.Looked}
		}
		if r.Unit.Percent {
			v.Counts, v.Presence = nil, estimate.Presence{Infested: r.Share.Infested, Looked: r.Share.Looked, Tally: max(r.Unit.Tally, 1) - 1}
		}
		out = append(out, v)
	}
	return trend.Recent(out, trendDates, trendWeeks)
}

// trendOf reads the growth in one bed off its visits, and the chance that it
// reaches the action level. known is false where no trend can be told; then
// the words say why.
func trendOf(x assess.Assessment) (b TrendBed, known bool, err error) {
	b = TrendBed{Bed: x.Bed.Code, Invalid: []string{}, Notes: []string{}}
	if x.Decider == nil {
		b.Words = "never counted this season"
		return b, false, nil
	}
	b.markNewest(x)
	visits := trendVisits(x)
	b.Visits = len(visits)
	if len(visits) == 0 {
		b.Words = "no valid count this season"
		return b, false, nil
	}
	rate, err := trend.Growth(visits, x.Decider.Unit.TrendClump())
	switch {
	case errors.Is(err, trend.ErrNoSlope), errors.Is(err, trend.ErrNoClumping), errors.Is(err, estimate.ErrEmpty):
		b.Words, _, _ = strings.Cut(err.Error(), ": no trend")
		return b, false, nil
	case err != nil:
		return b, false, err
	}
	b.First, b.Last, b.Rough, b.Words = rate.First, rate.Last, rate.Rough, rate.Words()
	b.Notes = append(b.Notes, rate.Notes...)
	f, iv := rate.Factor()
	b.FactorWeek, b.Low, b.High = finite(f), finite(iv.Low), finite(iv.High)
	if days, _, _, halving := rate.Time(); halving {
		b.DoublingDays = finite(-days)
	} else {
		b.DoublingDays = finite(days)
	}
	now := x.Now()
	if b.Stale || now == nil || x.Decider.Act == nil || x.Decider.Act.Operator == "none" || x.Decider.Act.Value <= 0 {
		return b, true, nil
	}
	at := x.Decider.DensityOf(x.Decider.Act.Value)
	density, weight := now.WeightsAbout(at)
	c, err := trend.Crossing(trend.Belief{Density: density, Weight: weight}, rate.PerDay, rate.SD, at)
	if err != nil {
		return b, true, err
	}
	b.OverNow, b.Over7, b.Over14 = finite(c.Now), finite(c.Within[7]), finite(c.Within[14])
	return b, true, nil
}

// Trend says how a pest grows in each bed, which beds stand out of the field,
// whether the edge holds more, and whether neighbours are alike.
func (a *App) Trend(ctx context.Context, day civil.Date, pestWord string) (*report.Document, error) {
	p, err := a.names.findPest(pestWord)
	if err != nil {
		return nil, err
	}
	s, err := a.snapshot(ctx, day)
	if err != nil {
		return nil, err
	}
	all, err := a.assessments(s, true)
	if err != nil {
		return nil, err
	}
	mine := slices.DeleteFunc(all, func(x assess.Assessment) bool { return x.Pest.Key != p.Key || x.Decider == nil })
	if len(mine) == 0 {
		return nil, diag.Failf(nil, "count some first: `leafturn count`", "%s have not been counted this season up to %s", p.Name, day)
	}
	doc := a.document("Trend: "+p.Name, day)
	d := TrendData{Pest: p.Key, Beds: []TrendBed{}, Hot: []HotBed{}, LeftOut: []LeftBed{}}
	t := &report.Table{Columns: []report.Column{{Title: "Bed"}, {Title: "Times a week"}, {Title: "95 % interval"}, {Title: "In words"},
		{Title: "Over level now"}, {Title: "in 7 days"}, {Title: "in 14 days"}}}
	for _, x := range mine {
		b, known, err := trendOf(x)
		if err != nil {
			return nil, err
		}
		d.Beds = append(d.Beds, b)
		chance := func(p *float64) report.Value { return chanceCell(p, b.Stale) }
		row := []report.Value{report.Text(b.Bed), report.MissingAs("–", b.Words), report.MissingAs("–", b.Words), report.Text(b.marked()), chance(b.OverNow), chance(b.Over7), chance(b.Over14)}
		if known {
			row[1] = report.Text(numberOf(b.FactorWeek))
			row[2] = report.Text(numberOf(b.Low) + " to " + numberOf(b.High))
		}
		t.Rows = append(t.Rows, row)
	}
	growth := report.Section{Key: "growth", Title: "Growth", Table: t, Notes: report.Lines(marks(d.Beds, p.StaleDays)...)}
	growth.Notes = append(growth.Notes, report.Lines(
		fmt.Sprintf("from the valid counts of the last %d dates within %d weeks; negative binomial regression, widened where the visits scatter", trendDates, trendWeeks),
		"level: the action level; the chances carry the past weeks' growth forward: it could reach the level; beyond 14 days scout again")...)
	doc.Sections = append(doc.Sections, growth, a.fieldSection(mine, s, &d))
	doc.Data = d
	return doc, nil
}

func chanceCell(p *float64, stale bool) report.Value {
	switch {
	case p == nil && stale:
		return report.MissingAs("–", "the newest valid count is stale")
	case p == nil:
		return report.MissingAs("–", "no action level to reach")
	}
	return report.Percent(*p)
}

func numberOf(p *float64) string {
	if p == nil {
		return "no limit"
	}
	return week.Number(*p)
}
