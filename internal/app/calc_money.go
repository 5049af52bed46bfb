package app

import (
	"fmt"
	"math"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/estimate"
	"leafturn/internal/ingest"
	"leafturn/internal/report"
	"leafturn/internal/units"
)

const (
	srcAbbott = "Abbott 1925, J. Econ. Entomol. 18:265-267"
	srcHT     = "Henderson & Tilton 1955, J. Econ. Entomol. 48:157-161"
	srcStern  = "Stern et al. 1959, Hilgardia 29:81-101; Pedigo, Hutchins & Higley 1986, Annu. Rev. Entomol. 31:341-368 (from memory)"
)

// EfficacyOptions are the words of `calc efficacy`: each a list of counts or a
// total on so many units; the dead are so many of so many.
type EfficacyOptions struct {
	TreatedBefore, TreatedAfter, UntreatedBefore, UntreatedAfter string
	TreatedDead, UntreatedDead                                   string
	K                                                            string
}

// Efficacy says how well a step worked from counts that a person gives.
func Efficacy(o EfficacyOptions, today civil.Date) (*report.Document, error) {
	cat, err := loadCatalog()
	if err != nil {
		return nil, err
	}
	doc := &report.Document{Title: "Efficacy", AsOf: today, Facts: cat.Version}
	if o.TreatedDead != "" || o.UntreatedDead != "" {
		return mortality(doc, o)
	}
	var d EfficacyData
	cells := map[string]estimate.Cell{}
	var groups [][]int
	totals := false
	for _, f := range []struct{ flag, text string }{{"treated-before", o.TreatedBefore}, {"treated-after", o.TreatedAfter}, {"untreated-before", o.UntreatedBefore}, {"untreated-after", o.UntreatedAfter}} {
		if f.text == "" {
			continue
		}
		counts, total, looked, err := ingest.ParseCell(f.text)
		if err != nil {
			return nil, flagProblem(f.flag, err)
		}
		totals = totals || counts == nil
		groups = append(groups, counts)
		cells[f.flag] = estimate.Cell{Total: float64(total), Units: looked}
		d.Cells = append(d.Cells, CellCount{f.flag, total, looked})
	}
	tb, hasTB := cells["treated-before"]
	ta, hasTA := cells["treated-after"]
	cb, hasCB := cells["untreated-before"]
	ca, hasCA := cells["untreated-after"]
	if !hasTA || !hasTB && !hasCA {
		return nil, diag.Usagef("give --treated-after and, to compare it with, --untreated-after or --treated-before, or best of all four", "there is nothing to compare")
	}
	if hasCB && !(hasCA && hasTB) {
		return nil, diag.Usagef("give --treated-before and --untreated-after as well, or leave --untreated-before out", "--untreated-before alone cannot be used")
	}
	k := math.Inf(1)
	switch {
	case o.K != "":
		if k, err = units.ParseNumber(o.K); err != nil || !(k > 0) {
			return nil, diag.Usagef("give the k of the counts, such as --k 0.8", "--k %q is not a number above 0", o.K)
		}
		d.KSource = "given"
	case totals:
		d.KSource = "none given: taken as spread at random"
	default:
		fit, err := estimate.FitCommonK(groups)
		if err != nil {
			return nil, diag.Usagef("give whole numbers of 0 or more", "%v", err)
		}
		d.KSource = "fitted, one for all lists"
		if fk, ok := fit.K(); ok {
			k = fk
		} else {
			d.KSource = "cannot be fitted: taken as spread at random"
		}
	}
	d.K = finite(k)

	var e estimate.Efficacy
	method, source := "", ""
	switch {
	case hasCB:
		method, source = "Henderson-Tilton", srcHT
		e, err = estimate.HendersonTilton(tb, ta, cb, ca, k, 0.95)
	case hasCA:
		method, source = "Abbott", srcAbbott
		e, err = estimate.AbbottCounts(ta, ca, k, 0.95)
	default:
		method, source = "change", "after against before; Wald on the log ratio"
		e, err = estimate.AbbottCounts(ta, tb, k, 0.95)
	}
	if err != nil {
		return nil, diag.Failf(err, "an efficacy needs animals in what it is compared with: count more units", "no efficacy: none were found %s", nothingIn(hasCB, hasCA, tb))
	}
	d.Method, d.Percent, d.Low, d.High, d.SE, d.Adjusted = method, e.Percent, finite(e.Low), finite(e.High), finite(e.SELnRatio), e.Adjusted
	t := newMethodTable("Quantity")
	for _, c := range d.Cells {
		t.row(strings.ReplaceAll(c.Name, "-", ", "), report.Text(fmt.Sprintf("%d on %s, %s per unit", c.Total, unitsOf(c.Units, "unit"), figure(float64(c.Total)/float64(c.Units)))), "")
	}
	what := "efficacy"
	if method == "change" {
		what = "fewer than before"
	}
	t.row(what, report.Text(four(e.Percent)+" %"), source)
	t.row("  95 %, Wald on the log ratio", report.Text(four(e.Low)+" % to "+four(e.High)+" %"), "variance: 1/total + 1/(n k) for each")
	t.number("  standard error of the log ratio", e.SELnRatio, "")
	t.row("  k", kWords(k), d.KSource)
	low, high, use := e.Low, e.High, ""
	if method == "Abbott" {
		if iv, err := estimate.AbbottProfile(ta, ca, k, 0.95); err == nil {
			d.ProfileLow, d.ProfileHigh = finite(iv.Low), finite(iv.High)
			lo := "no lower limit"
			if d.ProfileLow != nil {
				lo, low = four(iv.Low)+" %", iv.Low
			}
			high = iv.High
			t.row("  95 %, profile likelihood", report.Text(lo+" to "+four(iv.High)+" %"), srcProfile)
			use = "Of the two intervals use the profile's: it needs no zero mended and is right with few animals."
		}
	}
	fitted := strings.HasPrefix(d.KSource, "fitted")
	d.Words = efficacyWords(d, low, high, use, totals && o.K == "")
	if fitted && d.K == nil {
		d.Words = append(d.Words, "The lists show no clumping, which few counts prove little: for a clumped pest the interval is too short; then give --k.")
	}
	doc.Sections = []report.Section{{Key: "words", Title: "In words", Notes: report.Lines(d.Words...)}, {Key: "efficacy", Table: &t.Table}}
	doc.Data = d
	return doc, nil
}

// nothingIn says which cell of an efficacy is empty.
func nothingIn(four, check bool, tb estimate.Cell) string {
	switch {
	case four && tb.Total == 0:
		return "in the treated before"
	case four || check:
		return "in the untreated after"
	}
	return "in the treated before"
}

// flagProblem says that the value of a flag is wrong.
func flagProblem(flag string, err error) error {
	if p, ok := err.(*diag.Problem); ok {
		c := *p
		c.What, c.Usage = "--"+flag+": "+p.What, true
		return &c
	}
	return err
}

func efficacyWords(d EfficacyData, low, high float64, use string, poisson bool) []string {
	var out []string
	likely := fmt.Sprintf("likely %s to %s %%", figure(low), figure(math.Min(high, 100)))
	switch amount := figure(math.Abs(d.Percent)); {
	case d.Method == "change" && d.Percent >= 0:
		out = append(out, fmt.Sprintf("%s %% fewer than before (%s). This is a change, not an efficacy: without untreated units weather and season cannot be told from the step.", amount, likely))
	case d.Method == "change":
		out = append(out, fmt.Sprintf("%s %% more than before (%s). Without untreated units weather and season cannot be told from the step.", amount, likely))
	case d.Percent >= 0:
		out = append(out, fmt.Sprintf("%s %% fewer than the untreated lead one to expect (%s).", amount, likely))
	default:
		out = append(out, fmt.Sprintf("%s %% more than the untreated lead one to expect (%s): it did not help.", amount, likely))
	}
	if low < 0 && high > 0 {
		out = append(out, "That can be no effect at all: these counts do not tell.")
	}
	if d.Method == "Abbott" {
		out = append(out, "Abbott's formula takes treated and untreated to have been alike before; with counts from before, give them too.")
	}
	if use != "" {
		out = append(out, use)
	}
	if d.Adjusted {
		out = append(out, "One count is 0: for the Wald interval half an animal was added to each.")
	}
	if poisson {
		out = append(out, "No k was given, so animals are taken to be spread at random: for a clumped pest the interval is too short. Give the counts of each unit, or --k.")
	}
	if d.Method != "Abbott" && d.Method != "change" {
		out = append(out, "`leafturn worked` does this for the farm's own steps.")
	}
	return out
}

// mortality is Abbott's correction of shares that died.
func mortality(doc *report.Document, o EfficacyOptions) (*report.Document, error) {
	if o.TreatedBefore+o.TreatedAfter+o.UntreatedBefore+o.UntreatedAfter+o.K != "" {
		return nil, diag.Usagef("give either the dead or the living counted", "--treated-dead and --untreated-dead go with no other flag")
	}
	d := EfficacyData{Method: "corrected mortality", KSource: "not used"}
	var share [2]float64
	t := newMethodTable("Quantity")
	for i, f := range []struct{ flag, text string }{{"treated-dead", o.TreatedDead}, {"untreated-dead", o.UntreatedDead}} {
		if f.text == "" {
			return nil, diag.Usagef("give both, such as --treated-dead 26/40 --untreated-dead 1/40", "--%s is missing", f.flag)
		}
		dead, of, err := ingest.ParseShare(f.text)
		if err != nil {
			return nil, flagProblem(f.flag, err)
		}
		share[i] = float64(dead) / float64(of)
		d.Cells = append(d.Cells, CellCount{f.flag, dead, of})
		iv, err := estimate.ClopperPearson(dead, of, 0.95)
		if err != nil {
			return nil, err
		}
		t.row(strings.ReplaceAll(f.flag, "-", ", "), report.Text(fmt.Sprintf("%d of %d, %s (%s to %s)", dead, of, percent(share[i]), percent(iv.Low), percent(iv.High))), "exact 95 %; "+srcClopper)
	}
	m, err := estimate.CorrectedMortality(share[0], share[1])
	if err != nil {
		return nil, diag.Failf(err, "repeat it with untreated animals that live", "all of the untreated died: nothing can be said of the treatment")
	}
	iv, err := estimate.MortalityInterval(d.Cells[0].Total, d.Cells[0].Units, d.Cells[1].Total, d.Cells[1].Units, 0.95)
	if err != nil {
		return nil, err
	}
	d.Percent, d.Low, d.High = 100*m, finite(100*iv.Low), finite(100*iv.High)
	t.row("died of the treatment", report.Text(four(d.Percent)+" %"), "(p - c)/(1 - c); "+srcAbbott)
	source := "log ratio of the living; Katz et al. 1978, Biometrics 34:469-474 (from memory)"
	if d.Cells[0].Total+d.Cells[1].Total == 0 {
		source = "score of the ratio of the living; Koopman 1984, Biometrics 40:513-517 (from memory)"
	}
	t.row("  95 %", report.Text(four(100*iv.Low)+" % to "+four(100*iv.High)+" %"), source)
	d.Words = []string{fmt.Sprintf("%s %% died of the treatment (likely %s %% to %s %%): %s died, but %s of the untreated died too.", figure(d.Percent), figure(100*math.Max(iv.Low, 0)), figure(100*iv.High), percent(share[0]), percent(share[1]))}
	if m < 0 {
		d.Words = []string{fmt.Sprintf("Nothing died of the treatment: %s of the treated died, and %s of the untreated.", percent(share[0]), percent(share[1]))}
	}
	doc.Sections = []report.Section{{Key: "words", Title: "In words", Notes: report.Lines(d.Words...)}, {Key: "efficacy", Table: &t.Table}}
	doc.Data = d
	return doc, nil
}

// InjuryOptions are the words of `calc injury-level`.
type InjuryOptions struct {
	Cost, Value, Injury, Loss, Prevented string
	Growth, Doubling, Lead               string
}

// InjuryLevel is the density at which control pays, from costs that a person
// gives.
func InjuryLevel(o InjuryOptions, today civil.Date) (*report.Document, error) {
	cat, err := loadCatalog()
	if err != nil {
		return nil, err
	}
	var problems diag.List
	number := func(flag, text, do string) float64 {
		v, err := units.ParseNumber(text)
		switch {
		case text == "":
			problems.Add(diag.Usagef(do, "--%s is missing", flag))
		case err != nil || !(v > 0):
			problems.Add(diag.Usagef(do, "--%s %q is not a number above 0", flag, text))
		}
		return v
	}
	share := func(flag, text, do string) float64 {
		v, ok := parseRatio(text)
		switch {
		case text == "":
			problems.Add(diag.Usagef(do, "--%s is missing", flag))
		case !ok || !(v > 0):
			problems.Add(diag.Usagef(do, "--%s %q is not a share above 0", flag, text))
		}
		return v
	}
	perArea := func(flag, text, do string) (v float64, area string) {
		n, a, found := strings.Cut(text, "/")
		v = number(flag, strings.TrimSpace(n), do)
		if found {
			u, err := units.Lookup(strings.TrimSpace(a))
			if err != nil || u.Dimension != units.Area {
				problems.Add(diag.Usagef("write the area as m2, ha, acre or 1000 sq ft, such as 20/acre", "--%s: %q is not an area", flag, strings.TrimSpace(a)))
				return v, ""
			}
			return v / u.Factor, u.Name
		}
		return v, ""
	}
	d := InjuryData{}
	var costArea, lossArea string
	d.Cost, costArea = perArea("cost", o.Cost, "give what the control costs, for a bed (--cost 18) or an area (--cost 20/acre)")
	d.Value = number("value", o.Value, "give what one unit of yield is worth, such as --value 1.20 a stem")
	d.Injury = share("injury", o.Injury, "give the injury that one animal on a unit does, such as --injury 0.01, or 10%/800 where 800 do 10 %")
	d.Loss, lossArea = perArea("loss", o.Loss, "give the yield lost at full injury, for a bed (--loss 400) or an area (--loss 2000/acre)")
	d.Prevented = 1
	if o.Prevented != "" {
		if d.Prevented = share("prevented", o.Prevented, "give the share of the loss that the control prevents, such as 70%"); d.Prevented > 1 {
			problems.Add(diag.Usagef("give at most 100%", "--prevented %q is more than all of the loss", o.Prevented))
		}
	}
	if (costArea == "") != (lossArea == "") {
		problems.Add(diag.Usagef("give both for the bed, or both with an area, such as 20/acre and 2000/acre", "--cost and --loss are for unlike areas"))
	}
	if o.Growth != "" && o.Doubling != "" {
		problems.Add(diag.Usagef("keep one", "--growth and --doubling say the same"))
	}
	var rate *float64
	switch {
	case o.Growth != "":
		r := math.Log(number("growth", o.Growth, "give how many times more a week, such as --growth 1.9")) / 7
		rate = &r
	case o.Doubling != "":
		r := math.Ln2 / number("doubling", o.Doubling, "give the days to double, such as --doubling 7")
		rate = &r
	}
	var lead *float64
	if o.Lead != "" {
		l := number("lead", o.Lead, "give the days from the decision until it works, such as --lead 7")
		lead = &l
	}
	if (rate == nil) != (lead == nil) {
		problems.Add(diag.Usagef("give --lead with --growth or --doubling, or none of them", "an action level needs both the growth and the lead time"))
	}
	if err := problems.Err(); err != nil {
		return nil, err
	}
	if d.Level, err = estimate.InjuryLevel(d.Cost, d.Value, d.Injury, d.Loss, d.Prevented); err != nil {
		return nil, diag.Usagef("check the numbers: each must be above 0", "there is no injury level for these costs")
	}
	t := newMethodTable("Quantity")
	d.Area = "as given"
	money := func(name string, v float64, area, what string) {
		if area == "" {
			t.number(name, v, what)
			return
		}
		d.Area = "m2"
		per := func(unit string) string { return fmt.Sprintf("%.4g per %s", v*units.Of(1, unit).Base(), unit) }
		words := per("m2") + ", " + per("ha")
		if area == "acre" || strings.Contains(area, "ft") {
			words = per("1000 sq ft") + ", " + per("acre")
		}
		t.row(name, report.Text(words), what)
	}
	money("C, cost of the control", d.Cost, costArea, "")
	t.number("V, worth of a unit of yield", d.Value, "")
	t.number("I, injury by one animal on a unit", d.Injury, "")
	money("D, yield lost at full injury", d.Loss, lossArea, "")
	t.number("K, share of the loss prevented", d.Prevented, "")
	t.number("injury level, animals per unit", d.Level, "C/(V I D K); "+srcStern)
	d.Words = []string{fmt.Sprintf("Control pays for itself from %s per unit on: there the loss it saves is what it costs.", animals(d.Level))}
	if d.Level*d.Injury > 1 {
		d.Words = []string{fmt.Sprintf("Control never pays: it costs more than it can save even at full injury, which is %s per unit.", animals(1/d.Injury))}
	}
	if rate != nil {
		act, err := estimate.ActionLevel(d.Level, *rate, *lead)
		if err != nil {
			return nil, diag.Usagef("check --growth and --lead", "there is no action level: %s", reasonOf(err))
		}
		d.RatePerDay, d.LeadDays, d.ActAt = rate, lead, &act
		t.number("growth per day, r", *rate, "")
		t.number("action level, animals per unit", act, "level × e^(-r × lead days), never above the level; "+srcStern)
		if *rate > 0 {
			d.Words = append(d.Words, fmt.Sprintf("Act at %s per unit: in the %s days until the control works they grow to the level.", figure(act), figure(*lead)))
		} else {
			d.Words = append(d.Words, "They do not grow, so the level itself is the action level.")
		}
	}
	d.Words = append(d.Words, "A cut flower's worth falls in steps, for a stem can be sold or not: take this as a guide only. `leafturn threshold set` puts your own level in force.")
	doc := &report.Document{Title: "Economic injury level", AsOf: today, Facts: cat.Version,
		Sections: []report.Section{{Key: "words", Title: "In words", Notes: report.Lines(d.Words...)}, {Key: "level", Table: &t.Table}}, Data: d}
	return doc, nil
}

// parseRatio reads a share: 0.7, 70%, or a quotient of two such, 10%/800.
func parseRatio(text string) (float64, bool) {
	one := func(s string) (float64, bool) {
		s = strings.TrimSpace(s)
		part := 1.0
		if t, ok := strings.CutSuffix(s, "%"); ok {
			s, part = t, 100
		}
		v, err := units.ParseNumber(s)
		return v / part, err == nil && v >= 0
	}
	a, b, quotient := strings.Cut(text, "/")
	v, ok := one(a)
	if !quotient {
		return v, ok
	}
	w, ok2 := one(b)
	return v / w, ok && ok2 && w > 0
}
