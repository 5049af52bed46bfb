package app

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/report"
	"leafturn/internal/units"
	"leafturn/internal/verdict"
)

const (
	srcRuppel = "Ruppel 1983, J. Econ. Entomol. 76:375-377 (from memory)"
	srcGLM    = "log-linear regression; Venables & Ripley 2002, ch. 7"
)

// z95 is the normal quantile of a two-sided 95 % interval.
const z95 = 1.959963984540054

// overPoisson is the Pearson dispersion above which Poisson's errors are too
// small to be used (see the doc of estimate.Regression).
const overPoisson = 1.5

// seasonVisits are the season's valid visits to a bed's random units that were
// counted by the unit of the latest of them, with that unit's facts, and how
// many were left out.
func (a *App) seasonVisits(ctx context.Context, from, day civil.Date, bedWord, pestWord string) (bed farm.Bed, p catalog.Pest, u assess.Unit, visits []farm.Visit, left int, err error) {
	beds, err := a.names.findBeds([]string{bedWord})
	if err != nil {
		return bed, p, u, nil, 0, err
	}
	bed = beds[0]
	if p, err = a.names.findPest(pestWord); err != nil {
		return bed, p, u, nil, 0, err
	}
	s, err := a.snapshot(ctx, day)
	if err != nil {
		return bed, p, u, nil, 0, err
	}
	for _, v := range slices.Backward(s.byPair[[2]string{bed.Code, p.Key}]) {
		if v.Date.Before(from) {
			break
		}
		proto, ok := a.cat.Protocol(p.Key, v.Unit)
		if !ok {
			left++
			continue
		}
		facts := a.unitFacts(proto)
		switch {
		case len(v.Seen()) == 0 || v.Stratum != farm.Random || len(verdict.Validity(v, facts.Needs)) > 0:
			left++
			continue
		case u.Key == "":
			u = facts
		case v.Unit != u.Key:
			left++
			continue
		}
		visits = append(visits, v)
	}
	slices.Reverse(visits)
	if len(visits) == 0 {
		return bed, p, u, nil, left, diag.Failf(nil, "count some first: `leafturn count`; see `leafturn visits "+bed.Code+" "+p.Key+"`", "%s has no valid counts of %s %s", bed.Code, p.Name, timeWords(from, day))
	}
	return bed, p, u, visits, left, nil
}

// timeWords is "this season up to" a day, or from one to another.
func timeWords(from, day civil.Date) string {
	if from.IsZero() {
		return "this season up to " + day.String()
	}
	return "from " + from.String() + " to " + day.String()
}

// PestDays adds up the animal-days per unit over the season's visits to a bed.
func (a *App) PestDays(ctx context.Context, from, day civil.Date, bedWord, pestWord string) (*report.Document, error) {
	bed, p, u, visits, left, err := a.seasonVisits(ctx, from, day, bedWord, pestWord)
	if err != nil {
		return nil, err
	}
	var readings []estimate.Reading
	for _, v := range visits {
		m, _ := meanAndShare(v.Seen(), 1)
		readings = append(readings, estimate.Reading{Date: v.Date, Mean: m * u.Scale(v.Conditions.Nights)})
	}
	doc := a.document(fmt.Sprintf("Pest-days: %s, %s", bed.Code, p.Name), day)
	measure, every := u.Words, p.EveryDays
	if u.Percent {
		measure = "animals per " + u.Label
	}
	return pestDaysDocument(doc, PestDaysData{Bed: bed.Code, Pest: p.Key, Measure: measure}, readings, every, left)
}

// PestDaysOf is PestDays of means that a person gives, each as DATE=MEAN.
func PestDaysOf(words []string, today civil.Date) (*report.Document, error) {
	cat, err := loadCatalog()
	if err != nil {
		return nil, err
	}
	var readings []estimate.Reading
	var problems diag.List
	col := 1
	for _, w := range words {
		at := col
		col += len([]rune(w)) + 1
		date, mean, ok := strings.Cut(w, "=")
		if !ok {
			problems.Add(&diag.Problem{Col: at, What: fmt.Sprintf("%q is no reading", w), Do: "write DATE=MEAN, such as 2026-06-01=1.2", Usage: true})
			continue
		}
		d, err := ingest.ParseDate(date, today)
		if err != nil {
			problems.Add(&diag.Problem{Col: at, What: err.Error(), Do: "write DATE=MEAN, such as 2026-06-01=1.2", Usage: true})
			continue
		}
		m, err := units.ParseNumber(mean)
		if err != nil || m < 0 || m > farm.MaxCount {
			problems.Add(&diag.Problem{Col: at + len([]rune(date)) + 1, What: fmt.Sprintf("%q is not a mean of 0 or more", mean), Do: "write DATE=MEAN, such as 2026-06-01=1.2", Usage: true})
			continue
		}
		readings = append(readings, estimate.Reading{Date: d, Mean: m})
	}
	if err := problems.Err(); err != nil {
		return nil, err
	}
	doc := &report.Document{Title: "Pest-days", AsOf: today, Facts: cat.Version}
	return pestDaysDocument(doc, PestDaysData{Measure: "animals per unit"}, readings, 0, 0)
}

func pestDaysDocument(doc *report.Document, d PestDaysData, readings []estimate.Reading, every, left int) (*report.Document, error) {
	steps, total, err := estimate.PestDays(readings)
	if err != nil {
		return nil, diag.Usagef("give a date and a mean of 0 or more for each", "%v", err)
	}
	if len(steps) == 0 {
		return nil, diag.Failf(nil, "pest-days add up between visits: count again on another day", "counts on two days are needed, and there is one")
	}
	sum, n := map[civil.Date]float64{}, map[civil.Date]float64{}
	for _, r := range readings {
		sum[r.Date] += r.Mean
		n[r.Date]++
	}
	var days []civil.Date
	for day := range sum {
		days = append(days, day)
	}
	slices.SortFunc(days, civil.Date.Compare)
	d.Steps, d.Words = []PestDaysStep{}, []string{}
	t := &report.Table{Columns: []report.Column{{Title: "Day"}, {Title: "Mean"}, {Title: "Days since"}, {Title: "Pest-days"}, {Title: "Added up"}, {Title: "Remark"}}}
	gaps, run := 0, 0.0
	for i, day := range days {
		s := PestDaysStep{Date: day, Mean: sum[day] / n[day], Twice: n[day] > 1}
		var remark []string
		if s.Twice {
			remark = append(remark, fmt.Sprintf("mean of %.0f counts", n[day]))
		}
		row := []report.Value{report.Day(day), report.Text(figure(s.Mean)), report.MissingAs("–", "the first day"), report.MissingAs("–", "the first day"), report.Text("0")}
		if i > 0 {
			s.Days, s.Step = day.Sub(days[i-1]), steps[i-1]
			run += s.Step
			s.Sum = run
			if every > 0 && s.Days > every+every/2 {
				s.Gap = true
				gaps++
				remark = append(remark, "a missed visit is bridged")
			}
			row[2], row[3], row[4] = report.Count(s.Days), report.Text(figure(s.Step)), report.Text(figure(s.Sum))
		}
		d.Steps, t.Rows = append(d.Steps, s), append(t.Rows, append(row, report.Text(strings.Join(remark, "; "))))
	}
	d.Total = total
	d.Words = append(d.Words, fmt.Sprintf("%s pest-days from %s to %s, in %s: one pest-day is one animal on a unit for one day.", figure(total), dayWords(days[0], doc.AsOf), dayWords(days[len(days)-1], doc.AsOf), d.Measure),
		"Damage follows how many there were and for how long, not the highest count alone. Nothing is added before the first count or after the last.")
	if gaps > 0 {
		d.Words = append(d.Words, fmt.Sprintf("Bridged in a straight line over missed visits: %s; there the sum is a guess.", gapWords(gaps)))
	}
	if left > 0 {
		d.Words = append(d.Words, leftOut(left, "another unit"))
	}
	doc.Sections = []report.Section{{Key: "words", Title: "In words", Notes: report.Lines(d.Words...)},
		{Key: "steps", Table: t, Notes: report.Lines("pest-days of a step: days × (mean before + mean after)/2; " + srcRuppel)}}
	doc.Data = d
	return doc, nil
}

// dayWords is a day, with its year when that is not the year of the document.
func dayWords(d, asOf civil.Date) string {
	if d.Year != asOf.Year {
		return d.String()
	}
	return d.Short()
}

func gapWords(n int) string {
	if n == 1 {
		return "1 gap"
	}
	return fmt.Sprintf("%d gaps", n)
}

// longestDoubling is the doubling or halving time in days above which there is
// no growth to speak of. Ours.
const longestDoubling = 3650

// openInterval is why two dates with few counts give no interval.
const openInterval = "cannot be told from two dates alone"

// dated is one count with its day and the units (or nights) behind it.
type dated struct {
	on     civil.Date
	count  int
	effort float64
}

// Growth fits the growth per week over the season's visits to a bed.
func (a *App) Growth(ctx context.Context, from, day civil.Date, bedWord, pestWord string) (*report.Document, error) {
	bed, p, u, visits, left, err := a.seasonVisits(ctx, from, day, bedWord, pestWord)
	if err != nil {
		return nil, err
	}
	var counts []dated
	for _, v := range visits {
		for _, c := range v.Seen() {
			counts = append(counts, dated{v.Date, c, 1 / u.Scale(v.Conditions.Nights)})
		}
	}
	doc := a.document(fmt.Sprintf("Growth: %s, %s", bed.Code, p.Name), day)
	return growthDocument(doc, GrowthData{Bed: bed.Code, Pest: p.Key}, counts, left)
}

// GrowthOf is Growth over a file whose lines hold a date and its counts.
func GrowthOf(r *bytes.Reader, file string, today civil.Date) (*report.Document, error) {
	cat, err := loadCatalog()
	if err != nil {
		return nil, err
	}
	samples, err := ingest.ReadSamples(r, file, true)
	if err != nil {
		return nil, err
	}
	var counts []dated
	efforts := 0
	for _, s := range samples {
		if s.Effort > 0 {
			efforts++
		}
		for _, c := range s.Counts {
			e := s.Effort
			if e == 0 {
				e = 1
			}
			counts = append(counts, dated{s.Date, c, e})
		}
	}
	if efforts > 0 && efforts < len(samples) {
		return nil, diag.Usagef("give effort= on every line or on none", "%s: effort= stands on %d of %d lines", file, efforts, len(samples))
	}
	return growthDocument(&report.Document{Title: "Growth: the dated counts of a file", AsOf: today, Facts: cat.Version}, GrowthData{}, counts, 0)
}

func growthDocument(doc *report.Document, d GrowthData, counts []dated, left int) (*report.Document, error) {
	slices.SortStableFunc(counts, func(a, b dated) int { return a.on.Compare(b.on) })
	d.Counts, d.First, d.Last, d.Words, d.Reasons = len(counts), counts[0].on, counts[len(counts)-1].on, []string{}, map[string]string{}
	var week, effort []float64
	var y []int
	seen := map[civil.Date]bool{}
	for _, c := range counts {
		week, y, effort = append(week, float64(c.on.Sub(d.First))/7), append(y, c.count), append(effort, c.effort)
		seen[c.on] = true
	}
	d.Dates = len(seen)
	found := map[civil.Date]bool{}
	for _, c := range counts {
		if c.count > 0 {
			found[c.on] = true
		}
	}
	if len(seen) >= 2 && len(found) == 1 {
		return nil, diag.Failf(nil, "count again when there are some on another day", "animals were found on one day only: that shows no rate of growth")
	}
	nb, err := estimate.FitTrend(estimate.NegBinLaw, week, y, effort, 0.95)
	var pois estimate.Trend
	if err == nil {
		pois, err = estimate.FitTrend(estimate.PoissonLaw, week, y, effort, 0.95)
	}
	switch {
	case errors.Is(err, estimate.ErrFew) && len(seen) < 2:
		return nil, diag.Failf(err, "count on more days", "growth needs counts on 2 different days, and there is 1")
	case errors.Is(err, estimate.ErrFew) && len(found) == 0:
		return nil, diag.Failf(err, "count again when there are any", "every count is 0: nothing can be seen to grow")
	case errors.Is(err, estimate.ErrFew):
		return nil, diag.Failf(err, "count more units a day, or on more days", "no growth can be told: the counts are too few and too uneven")
	case err != nil:
		return nil, diag.Failf(err, "check the counts and their dates", "no growth can be fitted: %s", reasonOf(err))
	}
	d.NB, d.Poisson = growthFit(nb), growthFit(pois)
	open := math.IsInf(nb.Times, 1) // no interval can be told
	d.Factor = nb.Factor
	if !open {
		d.Low, d.High = finite(nb.FactorCI.Low), finite(nb.FactorCI.High)
	}
	for name, p := range map[string]*float64{"low_95": d.Low, "high_95": d.High} {
		switch {
		case open:
			d.Reasons[name] = openInterval
		case p == nil:
			d.Reasons[name] = "no limit"
		}
	}
	d.Doubling = finite(7 * nb.Doubling)
	if d.Doubling == nil {
		d.Reasons["doubling_days"] = "no growth"
	}
	days := ""
	if d.Doubling != nil && math.Abs(*d.Doubling) <= longestDoubling {
		days = fmt.Sprintf(", doubling in %s days", figure(*d.Doubling))
		if *d.Doubling < 0 {
			days = fmt.Sprintf(", halving in %s days", figure(-*d.Doubling))
		}
	}
	say := func(format string, args ...any) { d.Words = append(d.Words, fmt.Sprintf(format, args...)) }
	likely := ""
	if !open {
		likely = fmt.Sprintf(" (likely %s to %s)", figure(deref(d.Low)), figure(deref(d.High)))
	}
	say("Times %s a week%s%s: %d counts on %d days from %s to %s.", figure(d.Factor), likely, days, d.Counts, d.Dates, dayWords(d.First, doc.AsOf), dayWords(d.Last, doc.AsOf))
	switch {
	case open:
		say("How sure that is cannot be told from two dates alone with so few counts: it can be growth or decline. Count more units a day, or on a third day.")
	case d.Dates == 2:
		say("That range knows how the counts of one day scatter, not how days scatter about a line: two dates do not show it. A third date will.")
	}
	if !open && deref(d.Low) < 1 && deref(d.High) > 1 {
		say("That can be growth or decline: the counts do not tell.")
	}
	if open {
		say("Both laws say nearly the same: so few counts hardly show how clumped the animals are.")
	} else if pois.Fit.Pearson > overPoisson {
		say("Use the negative binomial: the counts scatter %s times as much as Poisson's law takes for granted, and its errors would be too small.", figure(pois.Fit.Pearson))
	} else {
		say("Both laws say nearly the same: the counts scatter about as much as chance.")
	}
	if d.Bends = bends(nb.Fit, week, y, effort); d.Bends {
		say("But the counts bend: they rise and fall, or speed up, and one rate does not fit them. Look at a shorter time%s.", map[bool]string{true: " with --from and --date", false: ""}[d.Bed != ""])
	}
	if d.NB.ProfileLow != nil && d.NB.ProfileHigh != nil && d.Dates < 8 {
		say("With few dates the profile interval of the slope is the better one: times %s to %s a week.", figure(math.Exp(*d.NB.ProfileLow)), figure(math.Exp(*d.NB.ProfileHigh)))
	}
	if left > 0 {
		d.Words = append(d.Words, leftOut(left, "another unit"))
	}
	if d.Bed != "" {
		say("`leafturn trend` looks at the last weeks of every bed, and says when a level may be reached.")
	}
	t := &report.Table{Columns: []report.Column{{Title: "Quantity"}, {Title: "Negative binomial"}, {Title: "Poisson"}}}
	num := func(v float64) report.Value { return report.Text(four(v)) }
	opt := func(p *float64, why string) report.Value {
		switch {
		case p != nil:
			return num(*p)
		case open:
			return report.MissingAs("–", openInterval)
		}
		return report.MissingAs("–", why)
	}
	wald := "Wald"
	if d.Dates == 2 {
		wald = "Wald (Student's for the negative binomial)"
	}
	row := func(name string, f func(g GrowthFit) report.Value) {
		t.Rows = append(t.Rows, []report.Value{report.Text(name), f(d.NB), f(d.Poisson)})
	}
	row("slope of ln mean, per week", func(g GrowthFit) report.Value { return num(g.Slope) })
	row("  standard error, k as known", func(g GrowthFit) report.Value { return num(g.SESlope) })
	row("  95 %, "+wald+", low", func(g GrowthFit) report.Value { return opt(g.WaldLow, "no limit") })
	row("  95 %, "+wald+", high", func(g GrowthFit) report.Value { return opt(g.WaldHigh, "no limit") })
	if d.Dates > 2 {
		row("  95 %, profile, low", func(g GrowthFit) report.Value { return opt(g.ProfileLow, "no limit") })
		row("  95 %, profile, high", func(g GrowthFit) report.Value { return opt(g.ProfileHigh, "no limit") })
	}
	row("ln mean on the first day", func(g GrowthFit) report.Value { return num(g.Intercept) })
	row("  standard error", func(g GrowthFit) report.Value { return num(g.SEIntercept) })
	row("k", func(g GrowthFit) report.Value { return opt(g.K, "Poisson: no limit") })
	row("  standard error", func(g GrowthFit) report.Value { return opt(g.SEK, "Poisson") })
	row("log-likelihood", func(g GrowthFit) report.Value { return num(g.LogLik) })
	row("deviance", func(g GrowthFit) report.Value { return num(g.Deviance) })
	row("  without growth", func(g GrowthFit) report.Value { return opt(g.NullDeviance, "given for Poisson only") })
	row("AIC", func(g GrowthFit) report.Value { return num(g.AIC) })
	row("Pearson dispersion", func(g GrowthFit) report.Value { return num(g.Pearson) })
	doc.Sections = []report.Section{{Key: "words", Title: "In words", Notes: report.Lines(d.Words...)},
		{Key: "fit", Table: t, Notes: report.Lines(srcGLM + "; a zero is a count like any other")}}
	doc.Data = d
	return doc, nil
}

// bends reports whether a curved line of ln mean fits clearly better than the
// straight one: twice the gain in log-likelihood over 3.84, the 95 % point of
// chi-square on 1 degree of freedom.
func bends(straight estimate.Regression, week []float64, y []int, effort []float64) bool {
	x, off := make([][]float64, len(y)), make([]float64, len(y))
	for i, w := range week {
		x[i], off[i] = []float64{1, w, w * w}, math.Log(effort[i])
	}
	curve, err := estimate.Regress(estimate.NegBinLaw, y, x, off)
	return err == nil && 2*(curve.LogLik-straight.LogLik) > 3.84
}

func growthFit(t estimate.Trend) GrowthFit {
	f := t.Fit
	g := GrowthFit{Intercept: f.Coef[0], SEIntercept: f.SE[0], Slope: t.Slope, SESlope: t.SE, WaldLow: finite(t.Slope - t.Times*t.SE), WaldHigh: finite(t.Slope + t.Times*t.SE),
		K: finite(f.K), LogLik: f.LogLik, Deviance: f.Deviance, AIC: f.AIC, Pearson: f.Pearson}
	if f.SEK > 0 {
		g.SEK = finite(f.SEK)
	}
	if f.NullDeviance > 0 {
		g.NullDeviance = finite(f.NullDeviance)
	}
	if t.Dates == 2 {
		return g // the interval by Student's quantile is the wider, better one
	}
	if iv, err := f.ProfileCoef(1, 0.95); err == nil {
		g.ProfileLow, g.ProfileHigh = finite(iv.Low), finite(iv.High)
	}
	return g
}
