package app

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/report"
	"leafturn/internal/units"
)

func (a *App) applicationSections(data RecordsData) []report.Section {
	lead := "None is stored."
	if n := len(data.Applications); n > 0 {
		lead = fmt.Sprintf("%d stored; each stands here once.", n)
	}
	out := []report.Section{{Key: "applications", Title: "Applications", Lead: report.Plain(lead)}}
	for _, d := range data.Applications {
		out = append(out, report.Section{
			Key: fmt.Sprintf("application-%d", d.ID), Title: fmt.Sprintf("Treatment %d: %s on %s", d.ID, d.Product, d.Bed), Notes: report.Lines(a.applicationLines(d)...),
		})
	}
	if len(data.Allowances) > 0 {
		t := &report.Table{Columns: []report.Column{{Title: "Bed"}, {Title: "Product"}, {Title: "Applications used"}, {Title: "Period"}}}
		for _, x := range data.Allowances {
			t.Rows = append(t.Rows, []report.Value{report.Text(x.Bed), report.Text(x.Product), report.Text(fmt.Sprintf("%d of %d", x.Used, x.Max)), report.Text(x.Period)})
		}
		out = append(out, report.Section{Key: "allowances", Title: "Used of the label's maximum, voided ones left out", Table: t})
	}
	return out
}

func orWords(s, other string) string { return cmp.Or(s, other) }

// applicationLines is one application for paper.
func (a *App) applicationLines(d ApplicationData) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if d.VoidReason != "" {
		say("VOIDED %s: %s. It counts no more.", long(d.VoidedOn, d.Zone), d.VoidReason)
	}
	say("Product: %s; registration number %s; active: %s", d.Product, d.Registration, orWords(strings.Join(d.Actives, ", "), "unknown"))
	say("Label: %s, version %d of the copy; lot: %s; organic listing: %s", d.Label, d.LabelVersion, orWords(d.Lot, "not noted"), d.Organic)
	where := "the whole bed"
	if d.Part != "" {
		where = "part: " + d.Part
	}
	place := d.Farm
	if d.Place != "" {
		place += ", " + d.Place
	}
	area := "area not known"
	if d.AreaM2 != nil {
		area = a.exactArea(*d.AreaM2)
	}
	say("Where: %s, bed %s (%s), %s; %s; crop: %s", place, d.Bed, d.Site, where, area, d.Crop)
	end := "ended " + long(d.End, d.Zone)
	if !d.EndKnown {
		end = "on " + d.Date.String() + ", hour not noted; counted from the end of that day, " + long(d.End, d.Zone)
	}
	say("When: began %s; %s (%s)", orWords(long(d.Start, d.Zone), "at an hour that was not noted"), end, d.Zone)
	amount := "amount not known"
	if d.Amount != nil {
		amount = units.Quantity{Value: *d.Amount, Unit: units.Unit{Name: d.AmountUnit}}.String() + " in all"
	}
	if d.Rate != nil {
		q := units.Of(*d.Rate, d.RateUnit)
		unit, words := label.RateIn(q, a.farm.Units)
		amount += fmt.Sprintf(", %.4g %s", q.MustIn(unit), words)
	}
	if d.Spray != nil {
		amount += ", in spray: " + units.Quantity{Value: *d.Spray, Unit: units.Unit{Name: d.SprayUnit}}.String()
	}
	say("Amount: %s; method: %s", amount, orWords(d.Method, "not noted"))
	switch {
	case d.REIHours == nil:
		say("Re-entry: nobody has read the interval off the label, so the bed stays closed until then")
	case d.REIState == string(farm.NoneStated):
		say("Re-entry: the label states no interval")
	default:
		say("Re-entry: %g hours from the end, until %s", *d.REIHours, long(d.REIEnd, d.Zone))
	}
	switch {
	case d.PHIDays != nil:
		say("Cutting: %s to harvest, from %s on", unitsOf(*d.PHIDays, "day"), d.CutFrom)
	case d.PHIState == string(farm.NoneStated):
		say("Cutting: the label states no interval")
	default:
		say("Cutting: nobody has read the interval off the label")
	}
	say("Applicator: %s; address: %s; licence or certificate: %s", orWords(d.Applicator, "not noted"),
		orWords(d.Address, "not noted (`leafturn farm set --applicator-address`)"), orWords(d.Licence, "not noted"))
	wind, air := "not measured", "not measured"
	if d.WindMS != nil {
		wind = a.farm.Units.Wind(*d.WindMS)
	}
	if d.AirC != nil {
		air = a.farm.Units.Temp(*d.AirC)
	}
	say("Conditions: wind %s; air %s; %s", wind, air, orWords(d.Conditions, "nothing else noted"))
	reason := a.pestName(d.Pest)
	if d.Reason != "" {
		reason += "; " + d.Reason
	}
	if d.Visit != nil {
		reason += fmt.Sprintf("; visit %d: %s", *d.Visit, d.VisitCounts)
	} else {
		reason += "; no count is linked"
	}
	say("Reason: %s", reason)
	say("Tried before, this season: %s", orWords(strings.Join(d.Tried, ", "), "nothing is recorded"))
	for _, x := range d.Deviations {
		say("DEVIATION FROM THE LABEL (%s): %s%s. Now: %s", x.Code, strings.TrimSuffix(x.Text, "."), seenWords(x, d.Deviations), x.Next)
	}
	for _, x := range d.NotNoted {
		say("No breach of the label, but: %s", x)
	}
	for _, x := range d.Unjudged {
		say("Cannot be judged: %s", x)
	}
	if d.Note != "" {
		say("Note: %s", d.Note)
	}
	say("Keep through: %s. Entered %s.", orWords(strings.Join(d.KeepRules, "; "), "no rule is known here"), long(d.Entered, d.Zone))
	return out
}

// seenWords says when a breach that was not told at entry came to show, or
// that it does not show any more.
func seenWords(x DeviationData, all []DeviationData) string {
	switch x.Seen {
	case seenGone:
		return " (so it was when it was entered; with what is recorded now it does not show)"
	case seenSince:
		if !slices.ContainsFunc(all, func(y DeviationData) bool { return y.Seen != seenSince }) {
			return " (when it was entered it broke nothing; with what was recorded since it does)"
		}
		return " (not when it was entered; with what was recorded since it does)"
	}
	return ""
}

// exactArea is an area in the farm's units, as exactly as it was written down.
func (a *App) exactArea(m2 float64) string {
	unit, words := "m2", " m²"
	if a.farm.Units.IsUS() {
		unit, words = "ft2", " sq ft"
	}
	return strconv.FormatFloat(units.Of(m2, "m2").MustIn(unit), 'g', 10, 64) + words
}
