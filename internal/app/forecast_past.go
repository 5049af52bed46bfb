package app

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/effect"
	"leafturn/internal/forecast"
	"leafturn/internal/report"
	"leafturn/internal/week"
)

// pastPaths is enough for a band that is only held against one count.
const pastPaths = 500

// forecastPast makes the season's forecasts again, each from what was known on
// the day of its count, and holds them against the counts that came.
func (a *App) forecastPast(ctx context.Context, o ForecastOptions, today civil.Date) (*report.Document, error) {
	_, _, _, seed, err := a.forecastPlan(ForecastOptions{Pest: cmp.Or(o.Pest, "spider_mite"), Seed: o.Seed})
	if err != nil {
		return nil, err
	}
	s, err := a.snapshot(ctx, today)
	if err != nil {
		return nil, err
	}
	keys := a.watched(s)
	if o.Pest != "" {
		p, _ := a.names.findPest(o.Pest) // forecastPlan has found it
		keys = []string{p.Key}
	}
	d := PastData{From: s.year.First, To: today, Pests: []PastPest{}, Past: []PastRow{}, LeftOut: []PastReason{}}
	for _, key := range keys {
		p, ok := a.cat.Pest(key)
		if !ok {
			continue
		}
		if _, ok := a.cat.GrowthCurve(key, catalog.Increase); !ok {
			if o.Pest != "" {
				return nil, diag.Usagef("ask for spider_mite", "no density of %s is ever told, so there is nothing to hold against counts", p.Name)
			}
			continue
		}
		if err := a.pastOf(ctx, &d, p, s, seed, o.Fill); err != nil {
			return nil, err
		}
	}
	return a.pastDocument(d), nil
}

// pastPair is a count and the next one in the same bed and measure.
type pastPair struct {
	bed         string
	next        *assess.Reading
	days        int
	before      *assess.Reading // the one before, nil for none
	now         *assess.Reading
	betweenStep bool
}

func (a *App) pastOf(ctx context.Context, d *PastData, p catalog.Pest, s snapshot, seed uint64, fill bool) error {
	all, err := a.assessmentsOf(s, []string{p.Key}, true)
	if err != nil {
		return err
	}
	steps := a.effectSteps(s, p.Key)
	left := map[string]int{}
	byDay := map[civil.Date][]pastPair{}
	var days []civil.Date
	for i := range all {
		for _, pair := range pastPairs(&all[i], steps) {
			switch {
			case pair.days > forecast.MostDays:
				left[fmt.Sprintf("the next count came more than %d days later", forecast.MostDays)]++
			case pair.betweenStep:
				left["something was done between the two counts, which was not known then"]++
			default:
				on := pair.now.Visit.Date
				if byDay[on] == nil {
					days = append(days, on)
				}
				byDay[on] = append(byDay[on], pair)
			}
		}
	}
	slices.SortFunc(days, civil.Date.Compare)
	var judged []forecast.Judged
	for _, on := range days {
		then, err := a.snapshot(ctx, on)
		if err != nil {
			return err
		}
		o, _, err := a.outlooksOf(ctx, then, p, forecast.MostDays, pastPaths, seed, fill)
		if err != nil {
			return err
		}
		known, err := a.assessmentsOf(then, []string{p.Key}, true)
		if err != nil {
			return err
		}
		for _, pair := range byDay[on] {
			j, row, why, err := pastForecast(o, known, pair)
			if err != nil {
				return err
			}
			if why != "" {
				left[why]++
				continue
			}
			judged = append(judged, j)
			d.Past = append(d.Past, row)
		}
	}
	d.Pests = append(d.Pests, pastPest(p, forecast.Sum(judged)))
	var reasons []string
	for why := range left {
		reasons = append(reasons, why)
	}
	slices.Sort(reasons)
	for _, why := range reasons {
		d.LeftOut = append(d.LeftOut, PastReason{Why: why, Counts: left[why]})
	}
	return nil
}

// pastPairs are a bed's valid counts, each with the next one in its measure.
func pastPairs(x *assess.Assessment, steps []effect.Step) []pastPair {
	var out []pastPair
	for i := range x.Readings {
		now := &x.Readings[i]
		if !now.Valid() {
			continue
		}
		var next, before *assess.Reading
		for j := range x.Readings {
			r := &x.Readings[j]
			if !r.Valid() || r.Unit.Key != now.Unit.Key || r.Visit.Conditions.Nights != now.Visit.Conditions.Nights {
				continue
			}
			if j < i && r.Visit.Date.Before(now.Visit.Date) {
				before = r
			}
			if j > i && next == nil && r.Visit.Date.After(now.Visit.Date) {
				next = r
			}
		}
		if next == nil || i+1 < len(x.Readings) && x.Readings[i+1].Visit.Date == now.Visit.Date {
			continue
		}
		done := slices.ContainsFunc(steps, func(s effect.Step) bool {
			return slices.Contains(s.Beds, x.Bed.Code) && !s.Date.Before(now.Visit.Date) && s.Date.Before(next.Visit.Date)
		})
		out = append(out, pastPair{bed: x.Bed.Code, next: next, days: next.Visit.Date.Sub(now.Visit.Date), before: before, now: now, betweenStep: done})
	}
	return out
}

// countOf is a reading as the forecast draws one.
func countOf(r *assess.Reading) forecast.Count {
	if r.Unit.Percent {
		return forecast.Count{Found: r.Share.Infested, Units: r.Share.Looked, Share: r.ShareAt}
	}
	if p := r.Visit.Presence; p != nil { // infested or not, of a unit that is counted
		return forecast.Count{Found: p.Infested, Units: p.Looked, Share: func(m float64) float64 { return r.ShareAt(m / r.Scale()) }}
	}
	return forecast.Count{Found: r.Found(), Units: len(r.Visit.Seen()), Scale: r.Scale(), K: r.Unit.ClumpAt}
}

func pastForecast(o *outlooks, known []assess.Assessment, pair pastPair) (j forecast.Judged, row PastRow, why string, err error) {
	i := slices.IndexFunc(known, func(x assess.Assessment) bool { return x.Bed.Code == pair.bed })
	if i < 0 {
		return j, row, "the bed was not there then", nil
	}
	x := &known[i]
	if x.Decider == nil || x.Decider.Visit.ID != pair.now.Visit.ID {
		return j, row, "another count of that day stood for the bed", nil
	}
	if (pair.now.Visit.Presence == nil) != (pair.next.Visit.Presence == nil) || pair.before != nil && (pair.before.Visit.Presence == nil) != (pair.now.Visit.Presence == nil) {
		return j, row, "counted once in numbers and once as infested or not", nil
	}
	out, err := o.outlook(x, x.Decider)
	if err != nil {
		return j, row, "", err
	}
	if x.Decider.Found() == 0 {
		return j, row, "none were found, and from none nothing is forecast", nil
	}
	if out.why != "" {
		return j, row, "the weather, as it was known then, told too little", nil
	}
	if pair.days > len(out.start.used) {
		return j, row, "the weather, as it was known then, told too little", nil
	}
	out.bed.Keep, out.bed.Alternatives = true, []forecast.Alternative{out.with("nothing")}
	res, err := out.start.f.Bed(out.bed)
	if err != nil {
		return j, row, "", err
	}
	c := countOf(pair.next)
	drawn, err := c.Counted(res.Ways[0].Ln[pair.days], o.seed+uint64(pair.next.Visit.ID))
	if err != nil {
		return j, row, "", err
	}
	same, last := countOf(pair.now).Ln(), math.NaN()
	if pair.before != nil {
		gap := pair.now.Visit.Date.Sub(pair.before.Visit.Date)
		last = same + float64(pair.days)/float64(gap)*(same-countOf(pair.before).Ln())
	}
	if j, err = forecast.Judge(drawn, c.Ln(), same, last); err != nil {
		return j, row, "", err
	}
	measure, scale := pair.next.Unit.Measure, c.Scale
	if c.Share != nil {
		measure, scale = "percent_infested", 100
	}
	value := func(ln float64, units int) float64 { return scale * math.Max(math.Exp(ln)-0.5/float64(units), 0) }
	row = PastRow{Pest: o.pest.Key, Bed: pair.bed, Measure: measure, On: pair.now.Visit.Date, Came: pair.next.Visit.Date, Value: value(same, countOf(pair.now).Units),
		Middle: value(j.Middle, c.Units), Low90: value(j.Low90, c.Units), High90: value(j.High90, c.Units), Was: value(j.Came, c.Units), In50: j.In50, In90: j.In90}
	return j, row, "", nil
}

// pastPest says in words what a pest's past forecasts were worth.
func pastPest(p catalog.Pest, r forecast.Record) PastPest {
	out := PastPest{Pest: p.Key, Forecasts: r.Forecasts, Few: r.Few(), In50: r.In50, In90: r.In90, Error: finite(r.Ours), SameError: finite(r.Same),
		Both: r.Both, ErrorOfBoth: finite(r.OursOfBoth), LastError: finite(r.Last), CRPS: finite(r.CRPS), SameAbs: finite(r.SameAbsolute), Words: []string{}}
	say := func(format string, args ...any) { out.Words = append(out.Words, fmt.Sprintf(format, args...)) }
	if r.Forecasts == 0 {
		say("%s: no forecast of this season can be held against a count yet.", upperWord(p.Name))
		return out
	}
	say("%s: the band that should hold 9 in 10 counts held %d of %d; the one that should hold half of them %d.", upperWord(p.Name), r.In90, r.Forecasts, r.In50)
	say("The middle was off by a factor of %s as a rule; \"no change\" by %s: %s.", factor(r.Ours), factor(r.Same), better(r.Ours, r.Same))
	if r.Both > 0 {
		say("Of the %d with two counts before: off by %s; \"the last growth goes on\" by %s: %s.", r.Both, factor(r.OursOfBoth), factor(r.Last), better(r.OursOfBoth, r.Last))
	}
	if r.Few() {
		say("That is too few to judge by: %d or more would tell.", forecast.LeastPast)
	}
	return out
}

// factor is an error of ln as a factor.
func factor(ln float64) string { return week.Number(math.Exp(ln)) }

// better compares two errors as they are printed: a difference that nobody can
// see is none.
func better(ours, other float64) string {
	switch {
	case factor(ours) == factor(other):
		return "the forecast was about as good"
	case ours < other:
		return "the forecast was better"
	}
	return "the forecast was not better"
}

func (a *App) pastDocument(d PastData) *report.Document {
	doc := a.document("How have we done", d.To)
	sec := report.Section{Key: "past", Title: "Past forecasts against the counts that came"}
	t := &report.Table{Columns: []report.Column{{Title: "Bed"}, {Title: "Counted"}, {Title: "Had"}, {Title: "Forecast"}, {Title: "9 in 10 lie in"}, {Title: "Counted again"}, {Title: "Came"}, {Title: "In the band"}}}
	var lead []string
	for _, p := range d.Pests {
		lead = append(lead, p.Words...)
	}
	if len(d.Pests) == 0 {
		lead = append(lead, "None of the pests that the farm watches has a density forecast.")
	}
	shown := d.Past
	if n := len(shown) - pastShown; n > 0 {
		shown = shown[n:]
		sec.Notes = append(sec.Notes, report.Plain(fmt.Sprintf("the last %d are shown; --json has all %d", pastShown, len(d.Past))))
	}
	for _, r := range shown {
		in := "no"
		if r.In90 {
			in = "yes"
		}
		t.Rows = append(t.Rows, []report.Value{report.Text(r.Bed), report.Day(r.On), pastCell(r, r.Value), pastCell(r, r.Middle), rangeCell(r.Low90, r.High90), report.Day(r.Came), pastCell(r, r.Was), report.Text(in)})
	}
	sec.Lead = report.Plain(strings.Join(lead, " "))
	if len(t.Rows) > 0 {
		sec.Table = t
	}
	for _, x := range d.LeftOut {
		sec.Notes = append(sec.Notes, report.Plain(fmt.Sprintf("left out, %s: %s", countsWords(x.Counts), x.Why)))
	}
	sec.Notes = append(sec.Notes, report.Lines(
		"Each forecast is made again from what was known on the day of its count: counts, weather and records of later days are not in it. The band holds a count, with the luck of the count in it.",
		"Off by a factor: the root of the mean squared error of ln((animals + 0.5)/units), as a factor.")...)
	doc.Sections = []report.Section{sec}
	doc.Data = d
	return doc
}

// pastShown is how many past forecasts are printed.
const pastShown = 20

func pastCell(r PastRow, v float64) report.Value {
	if r.Measure == "percent_infested" {
		return report.Text(week.Number(v) + " %")
	}
	return report.Text(week.Number(v))
}

func countsWords(n int) string {
	if n == 1 {
		return "1 count"
	}
	return fmt.Sprintf("%d counts", n)
}
