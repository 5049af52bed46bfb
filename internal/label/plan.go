package label

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// Plan decides whether the product of the request may go on its bed on its
// day, and says what stands in the way, what must hold at the hour, how much
// is allowed and when the next chance is. The request is not changed.
func Plan(r Request) Decision {
	var d Decision
	if !r.End.IsZero() {
		r.Date = civil.DateIn(r.End, r.loc())
	}
	r = r.ready()
	r.gaps(&d)
	r.permission(&d)
	lasting := len(d.Refusals) > 0 // what no waiting will mend

	for _, b := range r.timing(r.Date) {
		d.refuse(b.Rule)
	}
	r.amounts(&d, r.left(&d))
	if d.Has(CodeUnits) || d.Has(CodeArea) || d.Has(CodeUnknown) {
		lasting = true
	}
	if !lasting {
		d.Earliest = r.earliest(r.Date)
	}
	r.counts(&d)
	r.opensOn(&d)
	r.reminders(&d)
	r.intervalWhen(&d)
	r.rotation(&d)
	r.practice(&d)
	r.looks(&d)
	r.bees(&d)
	r.weather(&d)
	r.place(&d)
	r.work(&d)
	d.Allowed = len(d.Refusals) == 0
	return d
}

// refuse adds a rule unless the same was said already: one that is not known
// never stands for one that is broken.
func (d *Decision) refuse(n Rule) {
	for _, o := range d.Refusals {
		if o.Code != n.Code || o.Unknown != n.Unknown {
			continue
		}
		switch n.Code {
		case CodeUnknown:
			if o.Field == n.Field {
				return
			}
		case CodeApart, CodeContradiction, CodeMethod:
			if o.Words == n.Words {
				return
			}
		case CodeMaxActive: // the words begin with the active
			a, _, _ := strings.Cut(o.Words, ":")
			if b, _, _ := strings.Cut(n.Words, ":"); a == b {
				return
			}
		default:
			return
		}
	}
	d.Refusals = append(d.Refusals, n)
}

func (d *Decision) when(format string, args ...any) {
	d.Conditions = append(d.Conditions, fmt.Sprintf(format, args...))
}

func (d *Decision) warn(format string, args ...any) {
	d.Warnings = append(d.Warnings, fmt.Sprintf(format, args...))
}

// gaps refuses every unread field that a schedule needs, and what cannot be true.
func (r Request) gaps(d *Decision) {
	for _, g := range Check(r.Label) {
		d.unknown(g.Field, g.Where, g.Why)
	}
	for _, c := range Contradictions(r.Label) {
		d.refuse(Rule{Code: CodeContradiction, Words: "the label as entered contradicts itself: " + c + "; read the label again"})
	}
}

func (d *Decision) unknown(field, where, why string) {
	d.refuse(Rule{Code: CodeUnknown, Field: field, Where: where, Unknown: true,
		Words: fmt.Sprintf("%s is not read yet: %s; look at the %s", field, why, where)})
}

// permission holds the rules that do not depend on the day.
func (r Request) permission(d *Decision) {
	l := r.Label
	if !l.Retired.IsZero() && !r.Date.Before(l.Retired) {
		d.refuse(Rule{Code: CodeRetired, Words: fmt.Sprintf("the label is no longer used since %s%s; a new copy of it brings it back", l.Retired, after(": ", l.RetiredWhy))})
	}
	if v, ok := l.Jurisdiction.Get(); ok && r.Country != "" && len(v) >= 2 && !strings.EqualFold(v[:2], r.Country) {
		if v == "EU" {
			d.when("the label is of the European Union: it holds where your state authorised the product")
		} else {
			d.refuse(Rule{Code: CodeJurisdiction, Field: "jurisdiction", Where: front,
				Words: fmt.Sprintf("the label is registered in %s, and the farm lies in %s", v, r.Country)})
		}
	}
	switch v, _ := l.UseClass.Get(); strings.ToLower(v) {
	case "restricted":
		d.refuse(Rule{Code: CodeRestricted, Field: "use class", Where: front,
			Words: "this is a restricted-use product; a certified applicator and the state's rules decide, not this schedule"})
	case "professional":
		d.warn("the label is for professional users; make sure that whoever applies it may do so")
	}
	for _, c := range r.crops() {
		for _, out := range l.ExcludedCrops.Value {
			if samePlant(out, c) || samePlant(out, r.Bed.Cultivar) {
				d.refuse(Rule{Code: CodeSite, Field: "excluded crops", Where: directions, Words: fmt.Sprintf("the label forbids this product on %s", out)})
			}
		}
		for _, s := range l.Sensitive.Value {
			if samePlant(s, c) || samePlant(s, r.Bed.Cultivar) {
				d.warn("the label says that it may hurt %s: try it on a few plants first and wait some days", s)
			}
		}
	}
	if len(l.Sites) > 0 || l.NoSites {
		for _, c := range r.crops() {
			if !slices.ContainsFunc(l.Sites, func(s farm.LabelSite) bool { return s.Where == r.Bed.Site && covers(s.Crop, c) }) {
				d.refuse(Rule{Code: CodeSite, Field: "sites and crops", Where: directions,
					Words: fmt.Sprintf("the label does not list %s, %s; a site that is not listed may not be treated", c, siteWord(r.Bed.Site))})
			}
		}
	}
	if (len(l.Pests) > 0 || len(l.OtherPests) > 0 || l.NoPests) && !slices.Contains(l.Pests, r.Pest) {
		words := fmt.Sprintf("the label does not list %q; on a listed site this may be lawful in some places, so ask a licensed adviser", r.Pest)
		if l.OnlyPests.Value {
			words = fmt.Sprintf("the label does not list %q, and it forbids use against any other pest", r.Pest)
		}
		d.refuse(Rule{Code: CodePest, Field: "pests", Where: directions, Words: words})
	}
	if r.Organic {
		switch v, ok := l.Organic.Get(); {
		case ok && farm.ApprovesOrganic(v):
		case ok && v != "":
			d.refuse(Rule{Code: CodeApproval, Field: "organic approval", Where: front,
				Words: fmt.Sprintf("%q is no approval: it takes the body that lists the product, or the certifier's yes with its date (7 CFR 205.601)", v)})
		case l.Organic.State == farm.NoneStated:
			d.refuse(Rule{Code: CodeApproval, Field: "organic approval", Where: front,
				Words: "the label shows no organic listing and the certifier's approval is not recorded; ask the certifier about this brand (7 CFR 205.601)"})
		default:
			d.refuse(Rule{Code: CodeApproval, Field: "organic approval", Where: front, Unknown: true,
				Words: "no organic approval is recorded; ask the certifier about this brand, not only about its active (7 CFR 205.601)"})
		}
	}
}

func after(sep, words string) string {
	if words == "" {
		return ""
	}
	return sep + words
}

// samePlant compares two plant names without regard to case and plural.
func samePlant(a, b string) bool {
	plain := func(s string) string { return strings.TrimSuffix(tidy(s), "s") }
	return plain(a) != "" && plain(a) == plain(b)
}

func siteWord(s farm.Site) string {
	switch s {
	case farm.House:
		return "under cover"
	case farm.Outdoor:
		return "outdoors"
	}
	return "on a bed whose site (outdoor or house) is not known"
}

func (r Request) crops() []string {
	if len(r.Crops) == 0 {
		return []string{"dahlias"}
	}
	return r.Crops
}

// covers reports whether a crop word on a label takes in a crop of the bed:
// the same word, or one of the general words of farm.SiteCrops.
func covers(onLabel, crop string) bool {
	if strings.EqualFold(onLabel, crop) {
		return true
	}
	general := slices.ContainsFunc(farm.SiteCrops, func(s string) bool { return s != "dahlias" && strings.EqualFold(s, onLabel) })
	return general
}

// left returns the product per area still free in the period, over all maxima.
func (r Request) left(d *Decision) *units.Quantity {
	_, used, left := r.maxAmount(r.Date)
	if left != nil {
		d.UsedAmount, d.LeftAmount = *used, *left
	}
	if _, free := r.maxActive(r.Date); free != nil {
		if left == nil || left.Unit.Dimension == free.Unit.Dimension && free.Base() < left.Base() {
			return free
		}
	}
	return left
}

func (r Request) counts(d *Decision) {
	own := r.own()
	for _, t := range own {
		if !t.Date.After(r.Date) && t.Date.After(d.Last) {
			d.Last = t.Date
		}
	}
	if n, ok := r.Label.ReapplyByDays.Get(); ok && !d.Last.IsZero() {
		d.Due = d.Last.AddDays(n)
	}
	d.Used = len(own)
	for _, lim := range r.limits() {
		if lim.count == 0 && d.MaxKnown {
			continue
		}
		ps, _ := r.periods(r.Date, lim)
		for _, p := range ps {
			n := len(p.pick(own))
			left := max(0, lim.count-n)
			switch {
			case lim.count == 0 && (d.Period == "" || n > d.Used):
				d.Used, d.Period = n, p.words
			case lim.count > 0 && (!d.MaxKnown || left < d.Remaining || left == d.Remaining && lim.count == d.Max && n > d.Used):
				d.Max, d.MaxKnown, d.Remaining, d.Used, d.Period = lim.count, true, left, n, p.words
			}
		}
		if lim.count > 0 && !d.MaxKnown { // the period is not known
			d.Max, d.MaxKnown, d.Remaining = lim.count, true, max(0, lim.count-d.Used)
		}
	}
	d.REIHours, d.REI = REI(r.Label, r.Bed.Site, r.Crops...)
}

// reminders says what the label says besides its limits.
func (r Request) reminders(d *Decision) {
	l := r.Label
	if l.MinIntervalDays.State == farm.NoneStated && !d.Last.IsZero() {
		d.warn("the label states no minimum interval; look whether the last one of %s is used up (bait eaten, new damage) before applying again", d.Last)
	}
	if w, ok := l.ReapplyWhen.Get(); ok && w != "" && !d.Last.IsZero() {
		d.warn("the label says to reapply when: %s; that never shortens the shortest interval", w)
	}
	if l.MaxPer != farm.PerSeason && l.MaxPer != "" && l.MaxPer != farm.PerNone && d.Period != "" {
		d.warn("the maximum is counted per %s: %s", l.MaxPer, d.Period)
	}
	for _, m := range l.ForbiddenMethods.Value {
		d.when("not by %s", m)
	}
	for _, f := range []struct {
		words string
		text  farm.Stated[string]
	}{{"nozzle: ", l.Nozzle}, {"soil: ", l.Soil}, {"plants: ", l.PlantStress}} {
		if v, ok := f.text.Get(); ok {
			d.when("%s%s", f.words, v)
		}
	}
	if v, ok := l.BoomM.Get(); ok {
		d.when("nozzle at most %s above the plants", r.height(v))
	}
	if v, ok := l.MixedHours.Get(); ok {
		d.when("use a mix within %.4g hours", v)
	}
	if l.TestFirst.Value {
		d.when("try it on a few plants first, as the label says")
	}
	if l.DoubleNotice.Value {
		d.when("tell workers and put up signs: the label asks for both")
	}
	said := map[string]bool{}
	for _, t := range r.here() {
		other, ok := r.labelOf(t)
		if t.Label == l.Key || said[t.Label] {
			continue
		}
		said[t.Label] = true
		if !ok {
			d.warn("the label %q was used here on %s and is not transcribed; whether it shares an active with %s is not known", t.Label, t.Date, name(l))
			continue
		}
		for _, a := range l.Actives {
			if r.holds(other, a.Name) && !a.Max.Known() {
				d.warn("%s holds %s too and was used here on %s; if the label limits the active and not only the product, count both", name(other), a.Name, t.Date)
			}
		}
	}
}

func (r Request) practice(d *Decision) {
	if r.Organic && !r.Practice {
		words := "on an organic farm a product comes after prevention and mechanical steps; record that they were not enough (7 CFR 205.206(e))"
		if r.PracticeMissing != "" {
			words = "on an organic farm a product comes after prevention and mechanical steps and natural enemies; not recorded " + cmp.Or(r.PracticeWhen, "this year") + ": " + r.PracticeMissing + " (7 CFR 205.206(e))"
		}
		d.refuse(Rule{Code: CodePractice, Words: words})
	}
}
