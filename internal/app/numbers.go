package app

import (
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
)

// NumbersData is the statistics of one sample, for machines. Some quantities
// do not exist for some samples; Reasons says of each null field why.
type NumbersData struct {
	Counted        string   `json:"counted"`
	N              int      `json:"n"`
	Total          int      `json:"total"`
	Mean           float64  `json:"mean"`
	Variance       *float64 `json:"variance"`
	Max            int      `json:"max"`
	Zeros          int      `json:"zeros"`
	Infested       float64  `json:"prop_infested"`
	WilsonLow      *float64 `json:"infested_wilson95_low"`
	WilsonHigh     *float64 `json:"infested_wilson95_high"`
	ExactLow       *float64 `json:"infested_exact95_low"`
	ExactHigh      *float64 `json:"infested_exact95_high"`
	StudentLow     *float64 `json:"mean_t95_low"`
	StudentHigh    *float64 `json:"mean_t95_high"`
	PoissonLow     *float64 `json:"mean_poisson_exact95_low"`
	PoissonHigh    *float64 `json:"mean_poisson_exact95_high"`
	ProfileLow     *float64 `json:"mean_nb_profile95_low"`
	ProfileHigh    *float64 `json:"mean_nb_profile95_high"`
	WaldLow        *float64 `json:"mean_nb_wald95_low"`
	WaldHigh       *float64 `json:"mean_nb_wald95_high"`
	KMoments       *float64 `json:"k_moments"`
	K              *float64 `json:"k_mle"`
	KSE            *float64 `json:"k_mle_se"`
	KReason        string   `json:"k_outcome"` // converged, Poisson limit, no animals, one unit
	NBLogLik       *float64 `json:"nb_loglik"`
	PoissonLogLik  *float64 `json:"poisson_loglik"`
	DispersionChi2 *float64 `json:"dispersion_chisq"`
	DispersionP    *float64 `json:"dispersion_p"`
	Crowding       *float64 `json:"lloyd_mean_crowding"`
	Patchiness     *float64 `json:"lloyd_patchiness"`
	Morisita       *float64 `json:"morisita"`
	Green          *float64 `json:"green_index"`

	Reasons map[string]string `json:"null_reasons"`
}

// Numbers gives the classical statistics of a visit, or of a plain list of
// counts, for an adviser. With two words they are a bed and a pest, whose
// latest visit on or before the day is taken; with list set the words are
// counts.
func (a *App) Numbers(ctx context.Context, day civil.Date, bedWord, pestWord string) (*report.Document, error) {
	beds, err := a.names.findBeds([]string{bedWord})
	if err != nil {
		return nil, err
	}
	p, err := a.names.findPest(pestWord)
	if err != nil {
		return nil, err
	}
	var visits []farm.Visit
	err = a.st.View(ctx, func(tx *store.Tx) (err error) {
		visits, err = tx.Visits(store.Filter{Bed: beds[0].Code, Pest: p.Key, To: day})
		return err
	})
	if err != nil {
		return nil, err
	}
	for i := len(visits) - 1; i >= 0; i-- {
		if v := visits[i]; v.Stratum == farm.Random && len(v.Seen()) > 0 {
			u, _ := a.cat.Protocol(v.Pest, v.Unit)
			doc := a.document(fmt.Sprintf("%s, %s, %s", v.Bed, p.Name, v.Date.Short()), day)
			doc.Subtitle = fmt.Sprintf("visit %d: %s", v.ID, ingest.FormatNote(v))
			return numbersDocument(doc, v.Seen(), "per "+u.UnitLabel)
		}
	}
	return nil, diag.Failf(nil, "presence samples are in `leafturn why`; see `leafturn visits "+beds[0].Code+" "+p.Key+"`", "%s has no counts of %s up to %s", beds[0].Code, p.Name, day)
}

// NumbersOf gives the classical statistics of a plain list of counts.
func NumbersOf(words []string, day civil.Date) (*report.Document, error) {
	cat, err := loadCatalog()
	if err != nil {
		return nil, err
	}
	// The notes grammar reads the list, so that 70*0 and - work here too.
	v, err := ingest.ParseWords(append([]string{"list", "slug"}, words...), ingest.Options{Today: day, Date: day, Names: listNames{newNames(cat, nil)}})
	if err != nil {
		return nil, asUsage(err)
	}
	if len(v.Seen()) == 0 {
		return nil, diag.Usagef("give the numbers, such as `leafturn estimate --counts 4 0 2 7 1`", "a list of counts is needed")
	}
	doc := &report.Document{Title: "A list of counts", AsOf: day, Facts: cat.Version}
	return numbersDocument(doc, v.Seen(), "per unit")
}

// listNames lets the notes grammar read a list without a farm.
type listNames struct{ *names }

// Bed takes any word for a bed.
func (listNames) Bed(word string) (string, bool) { return word, true }

func numbersDocument(doc *report.Document, counts []int, per string) (*report.Document, error) {
	s, err := estimate.Summarize(counts)
	if err != nil {
		return nil, diag.Usagef("give whole numbers of 0 or more", "%v", err)
	}
	d := NumbersData{Counted: per, N: s.N, Total: s.Total, Mean: s.Mean, Max: s.Max, Zeros: s.Zeros, Infested: 1 - float64(s.Zeros)/float64(s.N), Reasons: map[string]string{}}
	t := &report.Table{Columns: []report.Column{{Title: "Quantity"}, {Title: "Value"}, {Title: "Source of the method"}}}
	row := func(name string, v report.Value, source string) {
		t.Rows = append(t.Rows, []report.Value{report.Text(name), v, report.Text(source)})
	}
	num := func(p *float64, field, why string) report.Value {
		if p == nil {
			d.Reasons[field] = why
			return report.Missing(why)
		}
		return report.Text(fmt.Sprintf("%.6g", *p))
	}
	interval := func(name, field string, iv estimate.Interval, err error, low, high **float64, source string) {
		missing := func(why string) {
			d.Reasons[field+"_low"], d.Reasons[field+"_high"] = why, why
			row(name, report.Missing(why), source)
		}
		if err != nil {
			missing(reasonOf(err))
			return
		}
		*low, *high = finite(iv.Low), finite(iv.High)
		words := fmt.Sprintf("%.6g to %.6g", iv.Low, iv.High)
		switch {
		case math.IsInf(iv.Low, -1):
			missing("one unit gives no interval")
			return
		case math.IsInf(iv.High, 1):
			d.Reasons[field+"_high"] = "no upper limit"
			words = fmt.Sprintf("%.6g upwards, no upper limit", iv.Low)
		case iv.Low < 0:
			words = fmt.Sprintf("0 (by the formula %.6g) to %.6g", iv.Low, iv.High)
		}
		row(name, report.Text(words), source)
	}
	row("units", report.Count(s.N), "")
	row("total", report.Count(s.Total), "")
	row("mean "+per, report.Text(fmt.Sprintf("%.6g", s.Mean)), "")
	if s.N > 1 {
		d.Variance = finite(s.Variance)
	}
	row("variance", num(d.Variance, "variance", "one unit has no variance"), "divisor n - 1")
	row("highest, zeros", report.Text(fmt.Sprintf("%d, %d", s.Max, s.Zeros)), "")
	infested := s.N - s.Zeros
	row("share of units infested", report.Text(fmt.Sprintf("%.6g", d.Infested)), "")
	iv, err := estimate.Wilson(infested, s.N, 0.95)
	interval("  95 % interval, score", "infested_wilson95", iv, err, &d.WilsonLow, &d.WilsonHigh, "Wilson 1927, JASA 22:209-212")
	iv, err = estimate.ClopperPearson(infested, s.N, 0.95)
	interval("  95 % interval, exact", "infested_exact95", iv, err, &d.ExactLow, &d.ExactHigh, "Clopper & Pearson 1934, Biometrika 26:404-413")

	fit, ferr := estimate.FitNB(counts)
	if ferr == nil {
		d.KReason = string(fit.Outcome)
		if k, ok := fit.MomentK(); ok {
			d.KMoments = finite(k)
		}
		if k, ok := fit.K(); ok {
			d.K = finite(k)
		}
		if se, ok := fit.SEK(); ok {
			d.KSE = finite(se)
		}
		d.NBLogLik, d.PoissonLogLik = finite(fit.LogLik), finite(fit.PoissonLL)
	}
	const bliss = "Bliss & Fisher 1953, Biometrics 9:176-200"
	none := "not estimable: " + d.KReason
	flat := "the variance is not above the mean"
	if s.N == 1 {
		flat = "one unit has no variance"
	}
	row("k, negative binomial, by moments", num(d.KMoments, "k_moments", flat), bliss)
	row("k, maximum likelihood", num(d.K, "k_mle", none), bliss)
	row("  standard error", num(d.KSE, "k_mle_se", none), "observed information")
	row("log-likelihood, negative binomial", num(d.NBLogLik, "nb_loglik", none), "")
	row("log-likelihood, Poisson", num(d.PoissonLogLik, "poisson_loglik", none), "")
	iv, err = estimate.ProfileFreeK(counts, 0.95)
	interval("mean, 95 %, profile likelihood", "mean_nb_profile95", iv, err, &d.ProfileLow, &d.ProfileHigh, "k profiled out")
	switch {
	case d.K != nil && s.Total > 0:
		iv, err = estimate.LogWald(s.Mean, *d.K, s.N, 0.95)
		interval("mean, 95 %, Wald on the log", "mean_nb_wald95", iv, err, &d.WaldLow, &d.WaldHigh, "SE² = (1/mean + 1/k)/n")
	default:
		d.Reasons["mean_nb_wald95_low"], d.Reasons["mean_nb_wald95_high"] = none, none
	}
	iv, err = estimate.StudentInterval(counts, 0.95)
	interval("mean, 95 %, Student", "mean_t95", iv, err, &d.StudentLow, &d.StudentHigh, "poor for few clumped units")
	iv, err = estimate.PoissonExact(s.Total, 0.95)
	iv.Low, iv.High = iv.Low/float64(s.N), iv.High/float64(s.N)
	interval("mean, 95 %, exact Poisson", "mean_poisson_exact95", iv, err, &d.PoissonLow, &d.PoissonHigh, "Garwood 1936, Biometrika 28:437-442; not for clumped units")
	x, derr := estimate.Disperse(counts)
	if derr == nil && s.Total > 0 {
		d.DispersionChi2, d.DispersionP, d.Crowding, d.Patchiness = finite(x.ChiSquare), finite(x.PUpper), finite(x.Crowding), finite(x.Patchiness)
		if x.MorisitaDefined {
			d.Morisita, d.Green = finite(x.Morisita), finite(x.Green)
		}
	}
	few := "too few animals or units"
	row("variance to mean test, chi-square", num(d.DispersionChi2, "dispersion_chisq", few), fmt.Sprintf("%d degrees of freedom", max(s.N-1, 0)))
	row("  chance without clumping", num(d.DispersionP, "dispersion_p", few), "")
	row("mean crowding", num(d.Crowding, "lloyd_mean_crowding", few), "Lloyd 1967, J. Anim. Ecol. 36:1-30")
	row("patchiness", num(d.Patchiness, "lloyd_patchiness", few), "Lloyd 1967")
	row("Morisita's index", num(d.Morisita, "morisita", few), "Morisita 1962, Res. Popul. Ecol. 4:1-7")
	row("Green's index", num(d.Green, "green_index", few), "(variance/mean - 1)/(total - 1)")
	doc.Sections = []report.Section{{Key: "numbers", Table: t}}
	doc.Data = d
	return doc, nil
}

// reasonOf says why a quantity does not exist.
func reasonOf(err error) string {
	switch {
	case errors.Is(err, estimate.ErrFew):
		return "too few units"
	case errors.Is(err, estimate.ErrEmpty):
		return "no units"
	}
	s, _, _ := strings.Cut(err.Error(), "\n")
	return s
}
