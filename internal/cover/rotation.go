package cover

import (
	"fmt"
	"math"
	"strconv"

	"leafturn/internal/civil"
	"leafturn/internal/pattern"
	"leafturn/internal/units"
)

// rotation returns what the rules on families and soil disease say of an
// option sown in a year: R6, R7 (hard), R8 and R9. after says that another new
// cover stands before it, so that R6 is not with the bed's past.
func rotation(o Option, bed Bed, year int, rules Rules, after bool) []Reason {
	var out []Reason
	add := func(rule string, k Kind, format string, args ...any) {
		out = append(out, Reason{rule, k, fmt.Sprintf(format, args...)})
	}
	c, fam := o.Crop, family(o.Crop.Family)

	// R6: the family differs from that of the last cover.
	last := math.MinInt
	for _, g := range bed.History {
		last = max(last, g.Year)
	}
	same := false
	for _, g := range bed.History {
		same = same || g.Year == last && family(g.Family) == fam
	}
	switch {
	case fam == "":
		add("R6", NotKnown, "its plant family is not known")
	case after:
	case same:
		add("R6", Refused, "%s, the same family as the last cover (%d)", fam, last)
	case last == math.MinInt && !bed.HistoryKnown:
		add("R6", NotKnown, "the bed's last cover is not known; %s must not follow itself", fam)
	}

	// R7: not dahlia's own family.
	if fam == Asteraceae {
		if rules.R7 == FamilyHard {
			add("R7", Refused, "Asteraceae, the dahlia's own family")
		} else {
			add("R7", Warning, "Asteraceae, the dahlia's own family: no break for dahlia's own pests and diseases")
		}
	}

	// R8: brassicas with a gap.
	if fam == Brassicaceae {
		gap := rules.BrassicaYears
		if bed.ClubrootKnown {
			gap = max(gap, rules.ClubrootYears)
		}
		recent := math.MinInt
		for _, g := range bed.History {
			if family(g.Family) == Brassicaceae {
				recent = max(recent, g.Year)
			}
		}
		if recent > math.MinInt && year-recent < gap {
			add("R8", Refused, "a brassica was sown here in %d; leave %d years between them", recent, gap)
		} else if !bed.HistoryKnown {
			add("R8", NotKnown, "whether a brassica grew here in the last %d years is not known", gap)
		}
		if bed.BrassicaNear {
			add("R8", Refused, "stock, cabbage or alyssum grows at this bed: flea beetle, clubroot")
		}
	}

	// R9: potato only where the soil is free of its diseases, never twice.
	if c.Latin == "Solanum tuberosum" {
		for _, p := range []struct{ id, name string }{{"soil_verticillium", "Verticillium"}, {"soil_sclerotinia", "white mould"}} {
			if v, known := bed.pressure(p.id); known && v > 0 {
				add("R9", Refused, "the bed has a history of %s, which potato multiplies", p.name)
			} else if !known {
				add("R9", NotKnown, "whether the bed has had %s is not known", p.name)
			}
		}
		for _, g := range bed.History {
			if family(g.Family) == "Solanaceae" && year-g.Year <= 1 && !same {
				add("R9", Refused, "potato family was grown here in %d; no second potato year", g.Year)
			}
		}
	}
	return out
}

var (
	zoneRE  = pattern.New(`^(\d{1,2})([abAB]?)$`)
	hardyRE = pattern.New(`^(\d{1,2})(?:-(\d{1,2}))?(?: |$)`)
)

// ZoneC returns the range of the mean yearly lowest temperature of a USDA
// hardiness zone ("8", "8a"), in degrees Celsius. Zone 1 begins at -60 F; each
// zone is 10 F wide and each half 5 F. ok is false for other text.
// Source: USDA Plant Hardiness Zone Map, zones 1 to 13.
func ZoneC(zone string) (lowC, highC float64, ok bool) {
	m := zoneRE().FindStringSubmatch(zone)
	if m == nil {
		return 0, 0, false
	}
	n, _ := strconv.Atoi(m[1])
	if n < 1 || n > 13 {
		return 0, 0, false
	}
	low := -60 + 10*float64(n-1)
	high := low + 10
	switch m[2] {
	case "a", "A":
		high = low + 5
	case "b", "B":
		low += 5
	}
	return units.Of(low, "F").MustIn("C"), units.Of(high, "F").MustIn("C"), true
}

// hardiness returns what winter does to an autumn sowing. A winter crop that
// is expected to die is refused (the bed would lie bare); an early-autumn crop
// has done its work by then and is only warned of.
func hardiness(c Crop, site Site, slot Slot) []Reason {
	const rule = "hardiness"
	low, high, ok := ZoneC(site.Zone)
	if !ok {
		return []Reason{{rule, NotKnown, "the farm's hardiness zone is not known, so whether it lives through winter is not known"}}
	}
	dies := func(why string) []Reason {
		if slot == Winter {
			return []Reason{{rule, Refused, why}}
		}
		return []Reason{{rule, Warning, why + "; plan for its residue, and do not count on it dying either"}}
	}
	if m := hardyRE().FindStringSubmatch(c.HardyZone); m != nil {
		lo, _ := strconv.Atoi(m[1])
		hi := lo
		if m[2] != "" {
			hi, _ = strconv.Atoi(m[2])
		}
		n, _ := strconv.Atoi(zoneRE().FindStringSubmatch(site.Zone)[1])
		switch {
		case n < lo:
			return dies(fmt.Sprintf("hardy to zone %s, the farm is in zone %s: expect it to die in winter", c.HardyZone, site.Zone))
		case n < hi:
			return []Reason{{rule, Warning, fmt.Sprintf("hardy to zone %s, the farm is in zone %s: it may be lost in winter", c.HardyZone, site.Zone)}}
		}
		if c.KillC != nil && low < *c.KillC {
			return []Reason{{rule, Warning, fmt.Sprintf("a night below %s kills it; such nights come in zone %s", site.Units.Temp(*c.KillC), site.Zone)}}
		}
		return nil
	}
	switch {
	case c.KillC == nil:
		return []Reason{{rule, NotKnown, "what cold it stands is not known"}}
	case high <= *c.KillC:
		return dies(fmt.Sprintf("killed near %s; zone %s goes below that in most winters", site.Units.Temp(*c.KillC), site.Zone))
	case low < *c.KillC:
		return []Reason{{rule, Warning, fmt.Sprintf("killed near %s; zone %s may go below that", site.Units.Temp(*c.KillC), site.Zone)}}
	}
	return nil
}

// CheckDates returns what is wrong with given dates of an option in a bed, by
// the date rules alone: R1 (bed free), R2 (window), R3 (days to usable), R4
// (wait before planting). It does not use Feasible. An empty result means
// that the dates keep the rules; what could not be checked is listed as
// NotKnown. A winter crop without a usable stand is a warning.
func CheckDates(o Option, sow, kill civil.Date, bed Bed, site Site) []Reason {
	var out []Reason
	add := func(rule string, k Kind, format string, args ...any) {
		out = append(out, Reason{rule, k, fmt.Sprintf(format, args...)})
	}
	c := o.Crop
	if sow.Before(bed.FreeFrom) {
		add("R1", Refused, "sown %s, the bed is free from %s", day(sow), day(bed.FreeFrom))
	}
	ws, bad := sowWindows(c, site, sow.Year-1, sow.Year+1, "")
	out = append(out, bad...)
	var in *Window
	for i, w := range ws {
		if w.Holds(sow) {
			in = &ws[i]
			break
		}
	}
	if in == nil && bad == nil {
		add("R2", Refused, "%s is outside every sowing window (%s)", day(sow), c.SowRel)
	}
	switch {
	case c.DaysToUsable == nil:
		add("R3", NotKnown, "the days it needs to be usable are not known")
	case kill.Sub(sow) < *c.DaysToUsable:
		k := Refused
		if !o.Rest && c.has(Winter) && in != nil && in.Anchor == FF {
			k = Warning
		}
		add("R3", k, "%d days from sowing to killing, it needs %d", kill.Sub(sow), *c.DaysToUsable)
	}
	plant := bed.lastDay(o.Rest)
	switch {
	case c.LeadDays == nil:
		add("R4", NotKnown, "the wait between killing it and planting is not known")
	case plant.Sub(kill) < *c.LeadDays:
		add("R4", Refused, "killed %s, %d days before planting; it needs %d", day(kill), plant.Sub(kill), *c.LeadDays)
	}
	return out
}
