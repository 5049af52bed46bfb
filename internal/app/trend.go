package app

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
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
}

// HotBed is a bed against the field.
type HotBed struct {
	Bed    string  `json:"bed"`
	Mean   float64 `json:"mean_shrunken"`
	Times  float64 `json:"times_the_field"`
	Chance float64 `json:"chance_above_1_5_times"`
	Listed bool    `json:"listed"`
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
		v := trend.Visit{Date: r.Visit.Date, Counts: r.Visit.Seen(), Scale: r.Unit.Scale(r.Visit.Conditions.Nights)}
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
	b = TrendBed{Bed: x.Bed.Code}
	if x.Decider == nil {
		b.Words = "never counted this season"
		return b, false, nil
	}
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
	f, iv := rate.Factor()
	b.FactorWeek, b.Low, b.High = finite(f), finite(iv.Low), finite(iv.High)
	if days, _, _, halving := rate.Time(); halving {
		b.DoublingDays = finite(-days)
	} else {
		b.DoublingDays = finite(days)
	}
	now := x.Now()
	if now == nil || x.Decider.Act == nil || x.Decider.Act.Operator == "none" || x.Decider.Act.Value <= 0 {
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
	d := TrendData{Pest: p.Key, Beds: []TrendBed{}, Hot: []HotBed{}}
	t := &report.Table{Columns: []report.Column{{Title: "Bed"}, {Title: "Times a week"}, {Title: "95 % interval"}, {Title: "In words"},
		{Title: "Over level now"}, {Title: "in 7 days"}, {Title: "in 14 days"}}}
	for _, x := range mine {
		b, known, err := trendOf(x)
		if err != nil {
			return nil, err
		}
		d.Beds = append(d.Beds, b)
		row := []report.Value{report.Text(b.Bed), report.MissingAs("–", b.Words), report.MissingAs("–", b.Words), report.Text(b.Words), chanceCell(b.OverNow), chanceCell(b.Over7), chanceCell(b.Over14)}
		if known {
			row[1] = report.Text(numberOf(b.FactorWeek))
			row[2] = report.Text(numberOf(b.Low) + " to " + numberOf(b.High))
		}
		t.Rows = append(t.Rows, row)
	}
	doc.Sections = append(doc.Sections, report.Section{Key: "growth", Title: "Growth", Table: t, Notes: report.Lines(
		fmt.Sprintf("from the valid counts of the last %d dates within %d weeks; negative binomial regression, widened where the visits scatter", trendDates, trendWeeks),
		"level: the action level; the chances carry the past weeks' growth forward: it could reach the level; beyond 14 days scout again")})
	doc.Sections = append(doc.Sections, a.fieldSection(mine, s, &d))
	doc.Data = d
	return doc, nil
}

func chanceCell(p *float64) report.Value {
	if p == nil {
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

// fieldSection compares the beds with each other.
func (a *App) fieldSection(mine []assess.Assessment, s snapshot, d *TrendData) report.Section {
	sec := report.Section{Key: "field", Title: "The field"}
	var beds []trend.BedCount
	var values []float64
	var places [][2]float64
	for _, x := range mine {
		r := x.Decider
		if !r.Valid() || s.on.Sub(r.Visit.Date) > x.Pest.StaleDays {
			continue
		}
		beds = append(beds, bedCount(x.Bed.Code, *r))
		if x.Bed.X != nil && x.Bed.Y != nil {
			values = append(values, r.Value)
			places = append(places, [2]float64{*x.Bed.X + x.Bed.LengthM/2, *x.Bed.Y + x.Bed.WidthM/2})
		}
	}
	if f, err := trend.HotSpots(beds, hotFactor); err == nil {
		sec.Notes = append(sec.Notes, report.Plain("hot spots: "+f.Words()))
		d.HotBy = f.ExpectedFalse
		for _, b := range f.Beds {
			d.Hot = append(d.Hot, HotBed{b.Code, b.Mean, b.Times, b.Chance, b.Listed})
		}
	} else {
		sec.Notes = append(sec.Notes, report.Plain(fmt.Sprintf("hot spots: cannot be told from so few beds; those with a valid count that is not stale: %d", len(beds))))
	}
	if edge, middle := strata(s, mine); len(edge) > 0 && len(middle) > 0 {
		if r, err := trend.EdgeAgainstMiddle(edge, middle); err == nil {
			d.Edge = &TrendEdge{finite(r.Ratio), finite(r.Low), finite(r.High), r.Words()}
			sec.Notes = append(sec.Notes, report.Plain("edge against middle: "+r.Words()))
		}
	}
	if len(places) >= 4 {
		if m, err := trend.Moran(values, trend.InverseDistance(places).RowStandard()); err == nil && !math.IsNaN(m.I) {
			d.Pattern = &TrendMoran{m.I, m.P, m.Words()}
			sec.Notes = append(sec.Notes, report.Plain("neighbours: "+m.Words()))
		}
	}
	return sec
}

// bedCount is the animals of a reading, or its infested units where it is a
// percentage.
func bedCount(code string, r assess.Reading) trend.BedCount {
	if r.Share != nil {
		return trend.BedCount{Code: code, Total: r.Share.Infested, N: r.Share.Looked, K: math.Inf(1)}
	}
	total, n := r.Density.Total, len(r.Visit.Seen())
	if n == 0 {
		// A presence sample of a density: as many animals as it stands for.
		n = r.N
		total = int(math.Round(r.Density.Mean * float64(n)))
	}
	return trend.BedCount{Code: code, Total: total, N: n, K: r.Density.K}
}

// strata are the edge counts of the last weeks and the random counts of the
// same beds.
func strata(s snapshot, mine []assess.Assessment) (edge, middle []trend.BedCount) {
	for _, v := range s.visits {
		if v.Stratum != farm.Edge || len(v.Seen()) == 0 {
			continue
		}
		i := slices.IndexFunc(mine, func(x assess.Assessment) bool { return x.Bed.Code == v.Bed && x.Pest.Key == v.Pest })
		if i < 0 || mine[i].Decider.Density == nil || mine[i].Decider.Unit.Key != v.Unit || s.on.Sub(v.Date) > mine[i].Pest.StaleDays {
			continue
		}
		total := 0
		for _, c := range v.Seen() {
			total += c
		}
		edge = append(edge, trend.BedCount{Code: v.Bed, Total: total, N: len(v.Seen()), K: mine[i].Decider.Density.K})
		middle = append(middle, bedCount(v.Bed, *mine[i].Decider))
	}
	return edge, middle
}
