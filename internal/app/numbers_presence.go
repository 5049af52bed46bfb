package app

import (
	"fmt"
	"math"

	"leafturn/internal/belief"
	"leafturn/internal/estimate"
	"leafturn/internal/report"
)

const (
	srcZeroTerm = "k((1-p)^(-1/k) - 1); Kuno 1986, Res. Popul. Ecol. 28:305-319 (from memory)"
	srcWilRoom  = "k by Taylor's law; Wilson & Room 1983, Environ. Entomol. 12:50-54"
	srcKono     = "Kono & Sugino 1958; Gerrard & Chiang 1970, Ecology 51:237-245"
	srcKonoVar  = "Schaalje et al. 1991; Nyrop & Binns 1991 (both from memory)"
)

// meanAt is the mean at which a share of units holds more than tally animals,
// +Inf at a share of 1.
func meanAt(share float64, tally int, c belief.Clump) float64 {
	switch {
	case share <= 0:
		return 0
	case share >= 1:
		return math.Inf(1)
	case tally == 0 && c.K > 0:
		m, err := estimate.MeanFromShare(share, c.K)
		if err != nil {
			return math.Inf(1)
		}
		return m
	}
	at := func(m float64) float64 {
		if tally == 0 { // Taylor's law: Wilson and Room's formula
			p, _, err := estimate.WilsonRoom(m, c.A, c.B)
			if err != nil {
				return 1
			}
			return p
		}
		p, err := estimate.ShareOver(tally, m, c.At(m))
		if err != nil {
			return 1
		}
		return p
	}
	lo, hi := math.Log(belief.Lowest), math.Log(belief.Highest)
	if at(math.Exp(hi)) < share {
		return math.Inf(1)
	}
	for range 80 {
		if mid := (lo + hi) / 2; at(math.Exp(mid)) < share {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Exp((lo + hi) / 2)
}

// presenceLaw is the clumping to read a presence sample by: the pest's, that
// of the counts of the same visit, or the usual k.
func (b *numbersBuilder) presenceLaw() (belief.Clump, string) {
	if !b.in.known && b.d.K != nil && b.d.N >= enoughUnits && *b.d.K >= 1e-3 {
		return belief.Clump{K: *b.d.K}, "the counts of the same sample"
	}
	return b.law(), b.lawSource()
}

// presenceSection is the share infested and the density that it stands for,
// and where there are counts too, both together.
func (b *numbersBuilder) presenceSection() ([]report.Section, error) {
	p, tally := *b.in.visit.Presence, b.in.tally()
	w, err := estimate.Wilson(p.Infested, p.Looked, 0.95)
	if err != nil {
		return nil, err
	}
	x, err := estimate.ClopperPearson(p.Infested, p.Looked, 0.95)
	if err != nil {
		return nil, err
	}
	c, source := b.presenceLaw()
	share := float64(p.Infested) / float64(p.Looked)
	n := &PresenceNumbers{Infested: p.Infested, Looked: p.Looked, From: tally + 1, Share: share,
		WilsonLow: w.Low, WilsonHigh: w.High, ExactLow: x.Low, ExactHigh: x.High, KSource: source}
	b.d.Presence = n
	what := "with any"
	if tally > 0 {
		what = fmt.Sprintf("with %d or more", tally+1)
	}
	t := newMethodTable("Presence")
	t.row("units "+what, report.Text(fmt.Sprintf("%d of %d", p.Infested, p.Looked)), "")
	t.number("share", share, "")
	t.row("  95 %, score", report.Text(four(w.Low)+" to "+four(w.High)), srcWilson)
	t.row("  95 %, exact", report.Text(four(x.Low)+" to "+four(x.High)), srcClopper)
	sections := []report.Section{{Key: "presence", Table: &t.Table}}
	if b.in.signs {
		b.presenceWords(what)
		b.d.Reasons["counts_and_presence"] = "signs have no density of animals"
		return sections, nil
	}
	e := belief.Evidence{Presence: estimate.Presence{Infested: p.Infested, Looked: p.Looked, Tally: tally}}
	mean := meanAt(share, tally, c)
	iv, err := belief.SampleInterval(e, c, 0.95)
	if err != nil {
		return nil, err
	}
	post, err := b.believed(e, c)
	if err != nil {
		return nil, err
	}
	high := iv.High
	if most := post.Quantile(0.975); iv.Low < most { // else the sample lies beyond what the prior can tell of
		high = math.Min(high, most)
	}
	n.Mean, n.Low, n.High = finite(mean), finite(iv.Low), finite(high)
	switch share {
	case 0: // one-sided, as for counts that are all zeros
		n.High = finite(meanAt(1-math.Pow(0.05, 1/float64(p.Looked)), tally, c))
	case 1:
		n.High = nil
	}
	n.K = finite(c.At(math.Max(mean, belief.Lowest)))
	n.Random, n.Clumped = finite(meanAt(share, tally, belief.Clump{K: math.Inf(1)})), finite(meanAt(share, tally, belief.Clump{K: 0.3}))
	method := srcZeroTerm
	switch {
	case tally > 0:
		method = "the mean at which that share holds so many; Binns et al. 2000, ch. 7"
	case c.A > 0:
		method = srcWilRoom
	}
	bound := func(v *float64, why string) report.Value {
		if v == nil {
			return report.MissingAs("no limit", why)
		}
		return report.Text(four(*v))
	}
	t.row("mean per "+b.in.unit+", from the share", bound(n.Mean, "every unit has them: the share sets only a lower bound"), method)
	limits := four(iv.Low) + " to "
	if n.High == nil {
		limits = four(iv.Low) + " upwards"
	} else {
		limits += four(*n.High)
	}
	t.row("  95 %, k taken as known", report.Text(limits), "exact, but no higher than a weak prior lets it be; as in `leafturn why`")
	t.row("  its k", kWords(c.At(math.Max(mean, belief.Lowest))), source)
	t.row("  were they at random", bound(n.Random, "every unit has them"), "Poisson: -ln(1-p)")
	t.row("  were they very clumped", bound(n.Clumped, "every unit has them"), "k 0.3")
	b.konoRows(t, n)
	b.presenceWords(what)
	if len(b.counts) == 0 {
		b.d.Reasons["counts_and_presence"] = "a presence sample alone"
		return sections, nil
	}
	e.Counts = b.counts
	both, err := b.both(e, c)
	if err != nil || both.Key == "" {
		return sections, err
	}
	return append(sections, both), nil
}

// konoRows adds the mean predicted by the farm's own line, with the three
// parts of its error.
func (b *numbersBuilder) konoRows(t *methodTable, n *PresenceNumbers) {
	if b.in.kono == nil {
		if b.in.visit.Bed != "" {
			t.row("mean by the farm's own line", report.Missing(fmt.Sprintf("needs %d counted visits that are neither clear nor all infested", konoLeast)), srcKono)
		}
		return
	}
	r, err := b.in.kono.Predict(n.Share, n.Looked)
	if err == nil && r.VarLn > maxVarLn {
		t.row("mean by the farm's own line", report.Missing("the line is too unsure"), srcKono)
		return
	}
	if err != nil {
		t.row("mean by the farm's own line", report.Missing("a share of 0 or 1 has no point on the line"), srcKono)
		return
	}
	n.Line = konoPredicted(*b.in.kono, r)
	t.number("mean by the farm's own line", r.Mean, fmt.Sprintf("over %d visits; %s", b.in.konoOn, srcKono))
	t.row("  95 % of a prediction", report.Text(four(n.Line.Low)+" to "+four(n.Line.High)), "error of the share, of the line and of the scatter about it; "+srcKonoVar)
	b.say("By this farm's own line over %d visits, %s of %s is about %s per %s, and a new visit's true mean lies between %s and %s in 95 of 100. Prefer it to the published k: it was made here.",
		b.in.konoOn, percent(n.Share), plural(b.in.unit), figure(r.Mean), b.in.unit, figure(n.Line.Low), figure(n.Line.High))
}

func konoPredicted(k estimate.KonoSugino, r estimate.Prediction) *KonoPredicted {
	h := z95 * math.Sqrt(r.VarLn)
	return &KonoPredicted{Visits: k.Line.Points, A: k.Line.Intercept, B: k.Line.Slope, Median: r.Median, Mean: r.Mean,
		Low: r.Median * math.Exp(-h), High: r.Median * math.Exp(h), VarLn: r.VarLn, Sampling: r.Sampling, Residual: r.Residual, Parameter: r.Parameter}
}

func (b *numbersBuilder) presenceWords(what string) {
	n, unit := b.d.Presence, b.in.unit
	share := fmt.Sprintf("%d of %s %s: %s (likely %s to %s)", n.Infested, unitsOf(n.Looked, unit), what, percent(n.Share), percent(n.WilsonLow), percent(n.WilsonHigh))
	k := kAndSource(deref(n.K), n.KSource)
	switch {
	case b.in.signs:
		b.say("%s.", share)
	case n.Infested == 0 && n.High == nil:
		b.say("%s. So few units of so clumped a pest set no upper limit (%s).", share, k)
	case n.Infested == 0:
		b.say("%s. Fewer than %s per %s can still be there (95 %%; %s).", share, figure(deref(n.High)), unit, k)
	case n.Mean == nil:
		b.say("%s. With every %s hit the share no longer tells how many there are: at least %s per %s (%s). Count some.", share, unit, figure(*n.Low), unit, k)
	default:
		hi := "no limit"
		if n.High != nil {
			hi = figure(*n.High)
		}
		b.say("%s. That stands for about %s per %s (likely %s to %s; %s).", share, figure(*n.Mean), unit, figure(*n.Low), hi, k)
		if n.Share > 0.8 {
			b.say("Above 80 %% infested the density rests on the few clear units: count some instead.")
		}
		if !b.in.known && n.Random != nil && n.Clumped != nil {
			b.say("How clumped they are was not told (--pest tells it for a list). Spread at random it would be %s, very clumped (k 0.3) %s.", figure(*n.Random), figure(*n.Clumped))
		}
	}
	b.say("Of the two intervals of the share use the score interval; the exact one is on the safe side and a little wide. Both take the units to be independent: leaves of one plant are not.")
}

// believed is the belief that the sample by itself gives to a weak prior.
func (b *numbersBuilder) believed(e belief.Evidence, c belief.Clump) (belief.Belief, error) {
	weak := belief.Weak()
	weak.Date = b.in.visit.Date
	return belief.Update(weak, e, c)
}

// both is the mean that counts and presence sample support together; there is
// none where the two contradict each other.
func (b *numbersBuilder) both(e belief.Evidence, c belief.Clump) (report.Section, error) {
	if n := b.d.Presence; b.d.OutsideLow != nil && (*b.d.OutsideLow > deref(n.High) || deref(b.d.OutsideHigh) < deref(n.Low)) {
		b.say("Counts and presence do not agree: their intervals do not meet, so there is no number for both together. Were the counted units chosen because they were infested? Then use the presence sample.")
		b.d.Reasons["counts_and_presence"] = "the two contradict each other"
		return report.Section{}, nil
	}
	iv, err := belief.SampleInterval(e, c, 0.95)
	if err != nil {
		return report.Section{}, err
	}
	post, err := b.believed(e, c)
	if err != nil {
		return report.Section{}, err
	}
	x := &BothNumbers{Mean: post.Median(), Low: iv.Low, High: finite(math.Min(iv.High, post.Quantile(0.975)))}
	if b.d.Total == 0 && e.Presence.Infested == 0 {
		x.Mean = 0
	}
	x.Low, x.High = math.Min(x.Low, x.Mean), finite(math.Max(deref(x.High), x.Mean))
	b.d.Both = x
	t := newMethodTable("Together")
	t.number("mean per "+b.in.unit, x.Mean, "median of the belief that both give to a weak prior")
	hi := "no upper limit"
	if x.High != nil {
		hi = four(*x.High)
	}
	t.row("  95 %", report.Text(four(x.Low)+" to "+hi), "as above, for all units")
	b.say("Counts and presence together: about %s per %s (likely %s to %s). Use this one: it rests on all %s.", figure(x.Mean), b.in.unit, figure(x.Low), figure(deref(x.High)), unitsOf(b.d.N+e.Presence.Looked, b.in.unit))
	return report.Section{Key: "together", Table: &t.Table}, nil
}
