package app

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/report"
	"leafturn/internal/store"
	"leafturn/internal/verdict"
)

const srcIwao = "Iwao 1968, Res. Popul. Ecol. 10:1-20"

// list is the counts of one visit or one line of a file.
type list struct {
	name   string
	counts []int
}

// Clumping fits how a pest clumps over the farm's own valid visits to random
// units, of all years up to the day. unitWord may be empty, share too.
func (a *App) Clumping(ctx context.Context, day civil.Date, pestWord, unitWord, share string) (*report.Document, error) {
	p, err := a.names.findPest(pestWord)
	if err != nil {
		return nil, err
	}
	u, ok := a.cat.Protocol(p.Key, unitWord)
	if !ok {
		return nil, diag.Usagef("write one of: "+strings.Join(a.names.UnitWords(p.Key), ", "), "unknown unit of %s %q", p.Name, unitWord)
	}
	var visits []farm.Visit
	err = a.st.View(ctx, func(tx *store.Tx) (err error) {
		visits, err = tx.Visits(store.Filter{Pest: p.Key, To: day})
		return err
	})
	if err != nil {
		return nil, err
	}
	facts := a.unitFacts(u)
	var lists []list
	left := 0
	for _, v := range visits {
		switch counts := v.Seen(); {
		case v.Unit != u.Unit:
		case len(counts) == 0 || v.Stratum != farm.Random || len(verdict.Validity(v, facts.Needs)) > 0:
			left++
		default:
			lists = append(lists, list{v.Date.String() + " " + v.Bed, counts})
		}
	}
	if len(lists) == 0 {
		return nil, diag.Failf(nil, "count some first: `leafturn count`, or name another unit with --unit", "there are no valid counts of %s by %s up to %s", p.Name, u.UnitLabel, day)
	}
	doc := a.document(fmt.Sprintf("Clumping: %s by %s", p.Name, u.UnitLabel), day)
	d := ClumpingData{Pest: p.Key, Unit: u.Unit, LeftOut: left}
	return clumpingDocument(doc, d, u.UnitLabel, lists, share)
}

// ClumpingOf is Clumping over a file with the counts of one sample on each line.
func ClumpingOf(r *bytes.Reader, file string, share string, day civil.Date) (*report.Document, error) {
	cat, err := loadCatalog()
	if err != nil {
		return nil, err
	}
	samples, err := ingest.ReadSamples(r, file, false)
	if err != nil {
		return nil, err
	}
	var lists []list
	for _, s := range samples {
		name := s.Name
		if name == "" {
			name = fmt.Sprintf("line %d", s.Row)
		}
		lists = append(lists, list{name, s.Counts})
	}
	doc := &report.Document{Title: "Clumping: the lists of a file", AsOf: day, Facts: cat.Version}
	return clumpingDocument(doc, ClumpingData{}, "unit", lists, share)
}

// curveMeans are the means at which the share infested is shown. Ours.
var curveMeans = []float64{0.1, 0.2, 0.5, 1, 2, 5, 10, 20}

func clumpingDocument(doc *report.Document, d ClumpingData, unit string, lists []list, share string) (*report.Document, error) {
	d.Samples, d.Curve, d.Words, d.Reasons = []ClumpingSample{}, []ShareAtMean{}, []string{}, map[string]string{}
	say := func(format string, args ...any) { d.Words = append(d.Words, fmt.Sprintf(format, args...)) }
	table := &report.Table{Columns: []report.Column{{Title: "Sample"}, {Title: "Units"}, {Title: "Mean"}, {Title: "Variance"}, {Title: "With any"}}}
	var means, variances, means2, shares []float64
	var groups [][]int
	for _, l := range lists {
		s, err := estimate.Summarize(l.counts)
		if err != nil {
			return nil, diag.Usagef("give whole numbers of 0 or more", "%s: %v", l.name, err)
		}
		x := ClumpingSample{Name: l.name, N: s.N, Mean: s.Mean, Infested: 1 - float64(s.Zeros)/float64(s.N)}
		variance := report.MissingAs("–", "one unit has no variance")
		groups, means2, shares = append(groups, l.counts), append(means2, s.Mean), append(shares, x.Infested)
		if s.N > 1 {
			x.Variance = &s.Variance
			variance = report.Text(figure(s.Variance))
			means, variances = append(means, s.Mean), append(variances, s.Variance)
		}
		d.Samples = append(d.Samples, x)
		table.Rows = append(table.Rows, []report.Value{report.Text(l.name), report.Count(s.N), report.Text(figure(s.Mean)), variance, report.Text(percent(x.Infested))})
	}
	t := newMethodTable("Fit")
	missing := func(name, field string, err error, source string) {
		why := "needs 3 samples of different means"
		if !errors.Is(err, estimate.ErrFew) {
			why = reasonOf(err)
		}
		d.Reasons[field] = why
		t.row(name, report.Missing(why), source)
	}
	plusMinus := func(v, se float64) report.Value { return report.Text(fmt.Sprintf("%s (SE %.3g)", four(v), se)) }

	taylor, err := estimate.FitTaylor(means, variances)
	if err != nil {
		missing("Taylor's law", "taylor", err, srcTaylor)
		say("Taylor's law cannot be fitted: it needs at least 3 samples of different means, each with animals and with counts that differ.")
	} else {
		l := taylor.Line
		f := &TaylorFit{Points: l.Points, Dropped: l.Dropped + len(lists) - len(means), A: taylor.A, B: taylor.B, LnA: l.Intercept, SELnA: l.SEIntercept, SEB: l.SESlope, R2: l.R2, MSE: l.MSE, Thin: taylor.Thin}
		t.row("Taylor: a", report.Text(fmt.Sprintf("%s (SE of ln a %.3g)", four(f.A), f.SELnA)), "variance = a mean^b; "+srcTaylor)
		t.row("Taylor: b", plusMinus(f.B, f.SEB), fmt.Sprintf("r² %.3f; samples used: %d, without animals or spread: %d", f.R2, f.Points, f.Dropped))
		if m, err := estimate.PoissonDensity(f.A, f.B); err == nil && !math.IsInf(m, 0) {
			f.PoissonDensity = finite(m)
			if f.B > 1 {
				t.number("  no clumping is seen below a mean of", m, "where variance = mean: a^(-1/(b-1))")
			}
		}
		d.Taylor = f
		say("Taylor's law over %d samples: variance = %s × mean^%s.%s", f.Points, figure(f.A), figure(f.B), atOne(f.A, f.B, unit))
		if f.Thin {
			say("That is thin: fewer than 8 samples, or less than a tenfold range of means. Do not use it in place of a published law yet.")
		}
	}
	if l, err := estimate.FitIwao(means, variances); err != nil {
		missing("Iwao's patchiness", "iwao", err, srcIwao)
	} else {
		d.Iwao = &IwaoFit{l.Points, l.Dropped + len(lists) - len(means), l.Intercept, l.Slope, l.SEIntercept, l.SESlope, l.R2}
		t.row("Iwao: alpha", plusMinus(l.Intercept, l.SEIntercept), "mean crowding = alpha + beta mean; "+srcIwao)
		t.row("Iwao: beta", plusMinus(l.Slope, l.SESlope), fmt.Sprintf("r² %.3f; above 1: clumps", l.R2))
	}
	fit, err := estimate.FitCommonK(groups)
	if err != nil {
		return nil, diag.Usagef("give whole numbers of 0 or more", "%v", err)
	}
	c := &CommonKFit{Outcome: string(fit.Outcome), LogLik: fit.LogLik, PoissonLogLik: fit.PoissonLL}
	commonK := math.NaN()
	if k, ok := fit.K(); ok {
		commonK, c.K = k, finite(k)
	}
	if se, ok := fit.SEK(); ok {
		c.SE = finite(se)
	}
	d.CommonK = c
	switch {
	case c.K != nil && c.SE != nil:
		t.row("one k for all", plusMinus(*c.K, *c.SE), srcBliss+"; each sample has its own mean")
		say("One k for all samples: %s. Small is clumped, large is nearly at random.", figure(*c.K))
	default:
		t.row("one k for all", report.Missing("not estimable: "+c.Outcome), srcBliss)
	}
	kono, err := estimate.FitKonoSugino(means2, shares)
	if err != nil {
		missing("Kono and Sugino's line", "kono_sugino", err, srcKono)
	} else {
		l := kono.Line
		d.Kono = &KonoFit{l.Points, l.Dropped, l.Intercept, l.Slope, l.SEIntercept, l.SESlope, l.R2, l.MSE}
		t.row("Kono & Sugino: a", plusMinus(l.Intercept, l.SEIntercept), "ln mean = a + b ln(-ln(1-p)); "+srcKono)
		t.row("Kono & Sugino: b", plusMinus(l.Slope, l.SESlope), fmt.Sprintf("r² %.3f, mse %.4g; samples used: %d, clear or all infested: %d", l.R2, l.MSE, l.Points, l.Dropped))
	}
	if err := predict(&d, t, kono, share, unit); err != nil {
		return nil, err
	}
	doc.Sections = []report.Section{{Key: "words", Title: "In words"}, {Key: "fits", Table: &t.Table}}
	if curve := shareCurve(&d, taylor, commonK); curve != nil {
		doc.Sections = append(doc.Sections, report.Section{Key: "curve", Title: "The share of units with any", Table: curve, Notes: report.Lines(
			"by Taylor's law: Wilson & Room 1983, Environ. Entomol. 12:50-54; by k: 1 - (1 + mean/k)^(-k)")})
	}
	if d.LeftOut > 0 {
		d.Words = append(d.Words, leftOut(d.LeftOut, ""))
	}
	doc.Sections[0].Notes = report.Lines(d.Words...)
	doc.Sections = append(doc.Sections, report.Section{Key: "samples", Title: "The samples", Table: table})
	doc.Data = d
	return doc, nil
}

// leftOut says how many visits were not used, and what besides being not valid
// can be the reason.
func leftOut(n int, unit string) string {
	why := "not valid, not to random units, or without counts"
	if unit != "" {
		why = "not valid, not to random units, without counts, or by " + unit
	}
	if n == 1 {
		return "Left out: 1 visit, " + why + "."
	}
	return fmt.Sprintf("Left out: %d visits, %s.", n, why)
}

// atOne says what Taylor's law means at a mean of 1.
func atOne(a, b float64, unit string) string {
	k := estimate.TaylorK(1, a, b)
	p, random, err := estimate.WilsonRoom(1, a, b)
	if err != nil {
		return ""
	}
	if random {
		return fmt.Sprintf(" At 1 per %s there is no clumping.", unit)
	}
	return fmt.Sprintf(" At 1 per %s that is k %s, and %s of the %s have any.", unit, figure(k), percent(p), plural(unit))
}

// maxVarLn is the variance of ln mean from which a prediction is no use: its
// ends are more than 10,000 times apart. Ours.
const maxVarLn = 6

// predict adds the mean that a share such as 12/50 stands for by the line.
func predict(d *ClumpingData, t *methodTable, kono estimate.KonoSugino, share, unit string) error {
	if share == "" {
		d.Reasons["prediction"] = "no --share was given"
		return nil
	}
	hit, looked, err := ingest.ParseShare(share)
	if err != nil {
		return asUsage(err)
	}
	switch {
	case d.Kono == nil:
		return diag.Failf(nil, "give more samples, some neither clear nor all infested", "--share %s needs a line, and there is none: %s", share, d.Reasons["kono_sugino"])
	case d.Kono.B <= 0:
		return diag.Failf(nil, "give more samples of unlike means", "--share %s: in these samples more units infested do not go with more animals, so the line says nothing", share)
	case hit == 0 || hit == looked:
		return diag.Usagef("use `leafturn estimate --counts "+share+"`, which gives a bound", "--share %s: a share of 0 or of all has no point on the line", share)
	}
	r, err := kono.Predict(float64(hit)/float64(looked), looked)
	if err != nil {
		return diag.Failf(err, "give more samples", "no mean can be predicted: %s", reasonOf(err))
	}
	if !(r.VarLn <= maxVarLn) {
		return diag.Failf(nil, "give more samples of unlike means", "--share %s: the line is too unsure to say a mean", share)
	}
	p := konoPredicted(kono, r)
	d.Prediction = p
	t.number("mean at "+share, r.Mean, "with the correction exp(mse/2); on the line "+four(r.Median))
	t.row("  95 % of a prediction", report.Text(four(p.Low)+" to "+four(p.High)),
		fmt.Sprintf("variance of ln mean %.4g = share %.4g + scatter %.4g + line %.4g; %s", p.VarLn, p.Sampling, p.Residual, p.Parameter, srcKonoVar))
	d.Words = append(d.Words, fmt.Sprintf("%d of %s with any is about %s per %s; the true mean of such a sample lies between %s and %s in 95 of 100.",
		hit, unitsOf(looked, unit), figure(p.Mean), unit, figure(p.Low), figure(p.High)))
	lo, hi := 1.0, 0.0
	for _, s := range d.Samples {
		if s.Infested > 0 && s.Infested < 1 {
			lo, hi = math.Min(lo, s.Infested), math.Max(hi, s.Infested)
		}
	}
	if at := float64(hit) / float64(looked); at < lo || at > hi {
		d.Words = append(d.Words, fmt.Sprintf("Take that for a guess: %s lies outside the shares that the line was made from (%s to %s).", percent(at), percent(lo), percent(hi)))
	}
	if d.Kono.Points < konoLeast {
		d.Words = append(d.Words, fmt.Sprintf("The line itself is thin: it rests on %d samples, and %d are the least to trust.", d.Kono.Points, konoLeast))
	}
	return nil
}

// shareCurve is the share infested at several means, nil without a law.
func shareCurve(d *ClumpingData, taylor estimate.Taylor, k float64) *report.Table {
	if d.Taylor == nil && !(k > 0) {
		return nil
	}
	t := &report.Table{Columns: []report.Column{{Title: "Mean"}, {Title: "By Taylor's law"}, {Title: "By one k"}}}
	for _, m := range curveMeans {
		x := ShareAtMean{Mean: m}
		row := []report.Value{report.Text(figure(m)), report.MissingAs("–", "no fit"), report.MissingAs("–", "no fit")}
		if d.Taylor != nil {
			if p, _, err := estimate.WilsonRoom(m, taylor.A, taylor.B); err == nil {
				x.Taylor, row[1] = finite(p), report.Text(percent(p))
			}
		}
		if k > 0 {
			if p, err := estimate.ShareInfested(m, k); err == nil {
				x.K, row[2] = finite(p), report.Text(percent(p))
			}
		}
		d.Curve, t.Rows = append(d.Curve, x), append(t.Rows, row)
	}
	return t
}
