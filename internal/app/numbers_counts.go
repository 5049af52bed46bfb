package app

import (
	"fmt"
	"math"

	"leafturn/internal/belief"
	"leafturn/internal/estimate"
	"leafturn/internal/report"
)

// Sources that several rows name.
const (
	srcBliss   = "Bliss & Fisher 1953, Biometrics 9:176-200"
	srcLloyd   = "Lloyd 1967, J. Animal Ecology 36:1-30"
	srcGarwood = "Garwood 1936, Biometrika 28:437-442"
	srcWilson  = "Wilson 1927, JASA 22:209-212"
	srcClopper = "Clopper & Pearson 1934, Biometrika 26:404-413"
	srcProfile = "Venables & Ripley 2002, ch. 7"
	srcZero    = "Hanley & Lippman-Hand 1983, JAMA 249:1743 (from memory)"
	srcTaylor  = "Taylor 1961, Nature 189:732-735"
)

// usualK is the clumping taken where nothing is known, as for the verdicts.
// Common practice.
const usualK = 1.0

// enoughUnits is from how many units on k fitted from the sample itself gives
// an interval that keeps its level (see the doc of estimate.ProfileFreeK).
const enoughUnits = 20

// widest is how many times the mean an upper limit may be and still be worth
// printing. Ours.
const widest = 1000

// numbersBuilder makes the tables and the words of one sample.
type numbersBuilder struct {
	in     numbersInput
	d      *NumbersData
	counts []int
	words  []string
}

func (b *numbersBuilder) say(format string, args ...any) {
	b.words = append(b.words, fmt.Sprintf(format, args...))
}

// law is the clumping from outside the sample, k = 1 where nothing is known.
func (b *numbersBuilder) law() belief.Clump {
	d := b.in.facts.Dispersed
	switch {
	case d.A > 0:
		return belief.Clump{A: d.A, B: d.B}
	case d.K > 0:
		return belief.Clump{K: d.K}
	}
	return belief.Clump{K: usualK}
}

func (b *numbersBuilder) lawSource() string {
	switch {
	case b.in.known && b.in.facts.Dispersed.Words != "":
		return b.in.facts.Dispersed.Words
	case b.in.known:
		return "the catalogue"
	}
	return "as for most pests on plants: common practice"
}

// num is a value of the table, or the reason why there is none.
func (b *numbersBuilder) num(p *float64, field, why string) report.Value {
	if p == nil {
		b.d.Reasons[field] = why
		return report.Missing(why)
	}
	return report.Text(four(*p))
}

// interval adds a row for an interval and fills its two fields.
func (b *numbersBuilder) interval(t *methodTable, name, field string, iv estimate.Interval, err error, low, high **float64, source string) {
	missing := func(why string) {
		b.d.Reasons[field+"_low"], b.d.Reasons[field+"_high"] = why, why
		t.row(name, report.Missing(why), source)
	}
	if err != nil {
		missing(reasonOf(err))
		return
	}
	*low, *high = finite(iv.Low), finite(iv.High)
	words := four(iv.Low) + " to " + four(iv.High)
	switch {
	case math.IsInf(iv.Low, -1):
		missing("one unit gives no interval")
		return
	case math.IsInf(iv.High, 1):
		b.d.Reasons[field+"_high"] = "no upper limit"
		words = four(iv.Low) + " upwards, no upper limit"
	case b.d.Mean != nil && iv.High > widest*math.Max(*b.d.Mean, 1):
		words = four(iv.Low) + " upwards, no upper limit worth the name"
	case iv.Low < 0:
		words = "0 (by the formula " + four(iv.Low) + ") to " + four(iv.High)
	}
	t.row(name, report.Text(words), source)
}

// noCounts says of the fields of counts why they are null.
func (b *numbersBuilder) noCounts() {
	const why = "a presence sample alone has no counts"
	for _, f := range []string{"mean", "variance", "prop_infested", "infested_wilson95_low", "infested_wilson95_high", "infested_exact95_low", "infested_exact95_high",
		"mean_t95_low", "mean_t95_high", "mean_poisson_exact95_low", "mean_poisson_exact95_high", "mean_nb_profile95_low", "mean_nb_profile95_high",
		"mean_nb_wald95_low", "mean_nb_wald95_high", "mean_bca95_low", "mean_bca95_high", "mean_outside_k95_low", "mean_outside_k95_high", "outside_k",
		"k_moments", "k_mle", "k_mle_se", "nb_loglik", "poisson_loglik", "dispersion_chisq", "dispersion_p", "lloyd_mean_crowding", "lloyd_patchiness", "morisita", "green_index",
		"none_found_upper95_poisson", "none_found_upper95_clumped", "none_found_k", "outlier_count", "mean_without_outlier"} {
		b.d.Reasons[f] = why
	}
	b.d.KReason = "no counts"
}

// countTables are the mean with its intervals, and how clumped the counts are.
func (b *numbersBuilder) countTables() ([]report.Section, error) {
	s, err := estimate.Summarize(b.counts)
	if err != nil {
		return nil, err
	}
	d, per := b.d, "per "+b.in.unit
	infested := s.N - s.Zeros
	share := float64(infested) / float64(s.N)
	d.N, d.Total, d.Mean, d.Max, d.Zeros, d.Infested = s.N, s.Total, &s.Mean, s.Max, s.Zeros, &share
	fit, err := estimate.FitNB(b.counts)
	if err != nil {
		return nil, err
	}
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
	none := "not estimable: " + d.KReason

	t := newMethodTable("The counts")
	t.row("units", report.Count(s.N), "")
	t.row("total", report.Count(s.Total), "")
	t.number("mean "+per, s.Mean, "")
	if s.N > 1 {
		d.Variance = finite(s.Variance)
	}
	t.row("variance", b.num(d.Variance, "variance", "one unit has no variance"), "divisor n - 1")
	t.row("highest; units with none", report.Text(fmt.Sprintf("%d; %d", s.Max, s.Zeros)), "")
	c := b.law()
	iv, err := belief.SampleInterval(belief.Evidence{Counts: b.counts}, c, 0.95)
	b.interval(t, "mean, 95 %, clumping from outside", "mean_outside_k95", iv, err, &d.OutsideLow, &d.OutsideHigh, "exact for the total at k from outside; Garwood 1936 and Crow & Gardner 1959 (from memory)")
	d.OutsideK, d.OutsideSource = finite(c.At(math.Max(s.Mean, belief.Lowest))), b.lawSource()
	if d.OutsideK == nil {
		d.Reasons["outside_k"] = "Poisson: no limit"
	}
	t.row("  its k", kWords(c.At(math.Max(s.Mean, belief.Lowest))), d.OutsideSource)
	iv, err = estimate.ProfileFreeK(b.counts, 0.95)
	b.interval(t, "mean, 95 %, profile likelihood", "mean_nb_profile95", iv, err, &d.ProfileLow, &d.ProfileHigh, "k fitted from the same counts; "+srcProfile)
	if d.K != nil && s.Total > 0 {
		iv, err = estimate.LogWald(s.Mean, *d.K, s.N, 0.95)
		b.interval(t, "mean, 95 %, Wald on the log", "mean_nb_wald95", iv, err, &d.WaldLow, &d.WaldHigh, "SE² = (1/mean + 1/k)/n")
	} else {
		d.Reasons["mean_nb_wald95_low"], d.Reasons["mean_nb_wald95_high"] = none, none
	}
	student := "poor for few clumped units"
	if s.Total == 0 {
		student = "says nothing where every count is 0"
	}
	iv, err = estimate.StudentInterval(b.counts, 0.95)
	b.interval(t, "mean, 95 %, Student", "mean_t95", iv, err, &d.StudentLow, &d.StudentHigh, student)
	b.bootstrap(t)
	iv, err = estimate.PoissonExact(s.Total, 0.95)
	iv.Low, iv.High = iv.Low/float64(s.N), iv.High/float64(s.N)
	b.interval(t, "mean, 95 %, exact Poisson", "mean_poisson_exact95", iv, err, &d.PoissonLow, &d.PoissonHigh, srcGarwood+"; not for clumped units")
	b.none(t, s)
	t.number("share of units with any", share, "")
	iv, err = estimate.Wilson(infested, s.N, 0.95)
	b.interval(t, "  95 %, score", "infested_wilson95", iv, err, &d.WilsonLow, &d.WilsonHigh, srcWilson)
	iv, err = estimate.ClopperPearson(infested, s.N, 0.95)
	b.interval(t, "  95 %, exact", "infested_exact95", iv, err, &d.ExactLow, &d.ExactHigh, srcClopper)

	clump, err := b.clumpTable(s, none)
	if err != nil {
		return nil, err
	}
	b.outlier()
	b.countWords(s)
	return []report.Section{{Key: "numbers", Table: &t.Table}, {Key: "clumping", Table: &clump.Table}}, nil
}

func kWords(k float64) report.Value {
	if math.IsInf(k, 1) {
		return report.Text("none: spread at random (Poisson)")
	}
	return report.Text(four(k))
}

func (b *numbersBuilder) bootstrap(t *methodTable) {
	const source = "Efron 1987, JASA 82:171-185; exact, not simulated"
	x, err := estimate.BootstrapMean(b.counts, 0.95)
	if err == nil && x.Fallback {
		why := "all units are alike"
		if len(b.counts) == 1 {
			why = "one unit"
		}
		b.d.Reasons["mean_bca95_low"], b.d.Reasons["mean_bca95_high"] = why, why
		t.row("mean, 95 %, bootstrap BCa", report.Missing(why), source)
		return
	}
	b.interval(t, "mean, 95 %, bootstrap BCa", "mean_bca95", x.BCa, err, &b.d.BCaLow, &b.d.BCaHigh, source)
}

// none gives the upper limits where nothing was found.
func (b *numbersBuilder) none(t *methodTable, s estimate.Summary) {
	d := b.d
	if s.Total > 0 {
		for _, f := range []string{"none_found_upper95_poisson", "none_found_upper95_clumped", "none_found_k"} {
			d.Reasons[f] = "animals were found"
		}
		return
	}
	pois, err := estimate.ZeroUpper(s.N, math.Inf(1), 0.95)
	if err != nil {
		return
	}
	k, up := zeroUpper(s.N, b.law())
	d.ZeroPoisson, d.ZeroClumped, d.ZeroK = finite(pois), finite(up), finite(k)
	if d.ZeroK == nil {
		d.Reasons["none_found_k"] = "Poisson: no limit"
	}
	if d.ZeroClumped == nil {
		d.Reasons["none_found_upper95_clumped"] = "so few units of so clumped a pest set no upper limit"
	}
	t.row("upper 95 % limit, clumped", report.Num(up, 4), "one-sided, at k "+figure(k)+"; "+srcZero)
	t.row("upper 95 % limit, at random", report.Num(pois, 4), "one-sided, Poisson: 3/n; "+srcZero)
}

// zeroUpper is the one-sided 95 % upper limit of the mean when none was found
// on n units, and the k of the law there: by Taylor's law k depends on the
// mean, so the place where the two agree is found by halving.
func zeroUpper(n int, c belief.Clump) (k, upper float64) {
	if c.K > 0 {
		u, err := estimate.ZeroUpper(n, c.K, 0.95)
		if err != nil {
			return c.K, math.Inf(1)
		}
		return c.K, u
	}
	over := func(lm float64) bool {
		m := math.Exp(lm)
		u, err := estimate.ZeroUpper(n, c.At(m), 0.95)
		return err == nil && m >= u
	}
	lo, hi := math.Log(belief.Lowest), math.Log(belief.Highest)
	if !over(hi) {
		return c.At(belief.Highest), math.Inf(1)
	}
	for range 80 {
		if mid := (lo + hi) / 2; over(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return c.At(math.Exp(hi)), math.Exp(hi)
}

func (b *numbersBuilder) clumpTable(s estimate.Summary, none string) (*methodTable, error) {
	d := b.d
	t := newMethodTable("How clumped")
	flat := "the variance is not above the mean"
	if s.N == 1 {
		flat = "one unit has no variance"
	}
	t.row("k, maximum likelihood", b.num(d.K, "k_mle", none), srcBliss)
	t.row("  standard error", b.num(d.KSE, "k_mle_se", none), "observed information")
	t.row("k by moments", b.num(d.KMoments, "k_moments", flat), "mean²/(variance - mean)")
	t.row("log-likelihood, k fitted", b.num(d.NBLogLik, "nb_loglik", none), "negative binomial")
	t.row("log-likelihood, no clumping", b.num(d.PoissonLogLik, "poisson_loglik", none), "Poisson")
	x, err := estimate.Disperse(b.counts)
	if err == nil && s.Total > 0 {
		d.DispersionChi2, d.DispersionP, d.Crowding, d.Patchiness = finite(x.ChiSquare), finite(x.PUpper), finite(x.Crowding), finite(x.Patchiness)
		if x.MorisitaDefined {
			d.Morisita, d.Green = finite(x.Morisita), finite(x.Green)
		}
	}
	few := "too few animals or units"
	df := "1 degree of freedom"
	if s.N != 2 {
		df = fmt.Sprintf("%d degrees of freedom", max(s.N-1, 0))
	}
	t.row("variance to mean, chi-square", b.num(d.DispersionChi2, "dispersion_chisq", few), df)
	p := b.num(d.DispersionP, "dispersion_p", few)
	if d.DispersionP != nil && *d.DispersionP < 1e-4 {
		p = report.Text("under 0.0001")
	}
	t.row("  chance without clumping", p, "")
	t.row("mean crowding", b.num(d.Crowding, "lloyd_mean_crowding", few), srcLloyd)
	t.row("patchiness", b.num(d.Patchiness, "lloyd_patchiness", few), srcLloyd)
	t.row("Morisita's index", b.num(d.Morisita, "morisita", few), "Morisita 1962, Res. Popul. Ecol. 4:1-7")
	t.row("Green's index", b.num(d.Green, "green_index", few), "(variance/mean - 1)/(total - 1), from memory")
	return t, nil
}

// outlier says of a unit far above the others that it is probably a slip or a
// hot spot.
func (b *numbersBuilder) outlier() {
	d := b.d
	d.Reasons["outlier_count"], d.Reasons["mean_without_outlier"] = "no unit is far above the others", "no unit is far above the others"
	at, err := estimate.Outlier(b.counts, b.in.facts.Dispersed)
	if err != nil || at == 0 {
		return
	}
	x := b.counts[at-1]
	rest, _ := meanAndShare(without(b.counts, at), 1)
	d.OutlierUnit, d.OutlierCount, d.WithoutOutlier = at, &x, &rest
	delete(d.Reasons, "outlier_count")
	delete(d.Reasons, "mean_without_outlier")
	b.say("Unit %d, with %d, is far above the others: probably a typing slip, or a hot spot. Look again before you rest anything on it. Without it the mean is %s per %s.", at, x, figure(rest), b.in.unit)
}

// countWords says what the counts show and which interval to use.
func (b *numbersBuilder) countWords(s estimate.Summary) {
	d := b.d
	units := unitsOf(s.N, b.in.unit)
	if s.Total == 0 {
		d.UseInterval = "none_found_upper95_clumped"
		up := "no limit can be set"
		if d.ZeroClumped != nil {
			up = fmt.Sprintf("up to %s per %s can still be there", figure(*d.ZeroClumped), b.in.unit)
		}
		b.say("None on %s. That does not mean none in the bed: %s (one-sided 95 %%; %s).", units, up, kAndSource(deref(d.ZeroK), b.lawSource()))
		b.say("Were they spread at random the limit would be %s. Use the higher one: most pests sit in clumps, and clumps are easily missed.", figure(*d.ZeroPoisson))
		return
	}
	low, high, name, why := d.ProfileLow, d.ProfileHigh, "profile likelihood", ""
	switch {
	case b.in.known:
		low, high, name = d.OutsideLow, d.OutsideHigh, "clumping from outside"
		d.UseInterval = "mean_outside_k95"
		why = "its k comes from more than this one sample, so it keeps its level with few units too"
	case s.N == 1:
		low, high, name = d.OutsideLow, d.OutsideHigh, "clumping from outside"
		d.UseInterval = "mean_outside_k95"
		why = "one unit says nothing of clumping, so a usual k is taken"
	case s.N >= enoughUnits && d.K == nil:
		low, high, name = d.PoissonLow, d.PoissonHigh, "exact Poisson"
		d.UseInterval = "mean_poisson_exact95"
		why = "the counts vary no more than chance makes them"
	case s.N >= enoughUnits:
		d.UseInterval = "mean_nb_profile95"
		why = fmt.Sprintf("with %s k can be told from the counts themselves", units)
	default:
		low, high, name = d.OutsideLow, d.OutsideHigh, "clumping from outside"
		d.UseInterval = "mean_outside_k95"
		why = fmt.Sprintf("%s are too few to tell clumping from, so a usual k is taken; with --pest the pest's own", units)
	}
	likely := ""
	switch {
	case low == nil:
	case high == nil || *high > widest*math.Max(s.Mean, 1):
		likely = fmt.Sprintf(" (likely %s or more; so few units set no upper limit)", figure(*low))
	default:
		likely = fmt.Sprintf(" (likely %s to %s)", figure(*low), figure(*high))
	}
	any := fmt.Sprintf("%s of the %s had any", percent(*d.Infested), plural(b.in.unit))
	if s.Zeros == 0 {
		any = "None was clear"
	}
	b.say("About %s per %s%s: %d on %s. %s.", figure(s.Mean), b.in.unit, likely, s.Total, units, any)
	if high != nil && (*high < s.Mean || low != nil && *low > s.Mean) {
		b.say("The plain mean lies outside that interval: by the clumping known from outside such counts are most unlikely. Look at the highest units again.")
	}
	if s.N > 1 {
		switch {
		case d.K == nil:
			b.say("The counts vary no more than chance makes them: no clumping is seen.")
		case d.DispersionP != nil && *d.DispersionP < 0.05:
			b.say("The animals sit in clumps: the counts vary %s times as much as chance would make them (k %s; small is clumped).", figure(*d.Variance/s.Mean), figure(*d.K))
		default:
			b.say("The counts vary a little more than chance, which so few units show easily without clumps.")
		}
	}
	if d.OutlierUnit > 0 {
		d.UseInterval = ""
		b.say("Until unit %d is settled rest nothing on any interval: it is in all of them.", d.OutlierUnit)
		return
	}
	b.say("Of the intervals of the mean use \"%s\": %s. Of those of the share use the score interval.", name, why)
	if s.N == 1 {
		return
	}
	differ := "They differ by what they take for granted. Student's takes counts to be bell-shaped and is too short for a few clumped units; the exact Poisson's takes animals to be spread at random and is too short for clumps"
	if s.N < enoughUnits {
		differ += "; the profile's k comes from the same few counts, which makes its upper limit jump"
	}
	b.say("%s.", differ)
}

func deref(p *float64) float64 {
	if p == nil {
		return math.Inf(1)
	}
	return *p
}

// kAndSource is k in words with where it comes from.
func kAndSource(k float64, source string) string {
	if math.IsInf(k, 1) {
		return "spread at random, " + source
	}
	return "k " + figure(k) + ", " + source
}
