package label

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// Gap is a field that a schedule needs and that nobody has read on the label.
type Gap struct {
	Field string // in words
	Where string // the part of a label where it stands
	Why   string // what cannot be decided without it
}

// Where things stand on a label. Source: 40 CFR 156.10, 156.70 and 156.206 for
// the headings of US labels.
const (
	front      = "front of the label"
	directions = "Directions for Use"
	agBox      = "Agricultural Use Requirements box"
	envHazard  = "Environmental Hazards"
	caution    = "Precautionary Statements"
	container  = "container (stamp or lot label)"
)

type field struct {
	name, where, why string
	known            func(farm.Label) bool
	sprayOnly        bool
}

var fields = []field{
	{"product name", front, "without it nobody can tell which label was read", func(l farm.Label) bool { return l.Product != "" }, false},
	{"registration number", front, "it shows which registered product the label belongs to", func(l farm.Label) bool { return l.Registration.Known() }, false},
	{"use class", front, "a restricted product is not for the grower to schedule", func(l farm.Label) bool { return l.UseClass.Known() }, false},
	{"signal word", front, "it tells how dangerous the product is to people", func(l farm.Label) bool { return l.SignalWord.Known() }, false},
	{"active ingredients", "ingredient statement, " + front, "limits and side effects follow the active", activesKnown, false},
	{"mode-of-action group", front, "the same group on each generation breeds resistance", groupsKnown, false},
	{"formulation", front, "a bait and a spray have different rules", func(l farm.Label) bool { return l.Formulation.Known() }, false},
	{"sites and crops", directions, "a site that is not listed may not be treated", func(l farm.Label) bool { return len(l.Sites) > 0 }, false},
	{"pests", directions, "a pest that is not listed is refused", func(l farm.Label) bool { return len(l.Pests) > 0 }, false},
	{"method of application", directions, "some methods are forbidden", func(l farm.Label) bool { return l.Method.Known() }, false},
	{"highest rate", directions, "more than the label's rate is never allowed", func(l farm.Label) bool { return l.RateMax.Has() }, false},
	{"minimum retreatment interval", directions, "the next application may not come sooner", func(l farm.Label) bool { return l.MinIntervalDays.Known() }, false},
	{"maximum applications", directions, "the season may already be used up", func(l farm.Label) bool { return l.MaxApplications.Known() }, false},
	{"maximum applications in any so many days", directions, "a rolling limit may stand beside the season's", func(l farm.Label) bool { return l.MaxInWindow.Known() }, false},
	{"limit shared by active", directions, "another product with the same active may have used it up", activeMaxKnown, false},
	{"maximum amount", directions, "the season may already be used up", func(l farm.Label) bool { return l.MaxAmount.Known() }, false},
	{"re-entry interval (REI)", agBox, "nobody may work in the bed until it has passed", func(l farm.Label) bool { return l.REIHours.Known() || sitesREI(l) }, false},
	{"pre-harvest interval (PHI)", directions, "flowers may not be cut until it has passed", func(l farm.Label) bool { return l.PHIDays.Known() }, false},
	{"incompatible materials", directions, "some materials burn the plants when they come near in time", func(l farm.Label) bool { return len(l.KeepApart) > 0 || l.NoKeepApart }, false},
	{"rainfast time", directions, "rain or irrigation too soon washes a spray off", func(l farm.Label) bool { return l.RainfastH.Known() }, true},
	{"highest temperature", directions, "some sprays burn plants in heat", func(l farm.Label) bool { return l.MaxTempC.Known() }, true},
	{"lowest temperature", directions, "some sprays do not work or burn in cold", func(l farm.Label) bool { return l.MinTempC.Known() }, true},
	{"highest wind", directions + " (spray drift)", "wind carries a spray off the bed", func(l farm.Label) bool { return l.MaxWindMS.Known() }, true},
	{"expiry date", container, "an expired product may not be used", func(l farm.Label) bool { return l.Expiry.Known() }, false},
	{"bee statement", envHazard + " or bee box", "open bloom brings bees to the spray", func(l farm.Label) bool { return l.Bees.Known() }, false},
	{"distance to water", envHazard, "some products must stay away from water", func(l farm.Label) bool { return l.WaterBuffer.Known() }, false},
	{"animals", caution, "pets and stock may have to be kept out", func(l farm.Label) bool { return l.Animals.Known() }, false},
	{"protective equipment (PPE)", caution, "it says what to wear", func(l farm.Label) bool { return l.PPE.Known() }, false},
}

func activesKnown(l farm.Label) bool {
	return len(l.Actives) > 0 && !slices.ContainsFunc(l.Actives, func(a farm.Active) bool {
		return strings.TrimSpace(a.Name) == "" || a.Percent == 0
	})
}

func groupsKnown(l farm.Label) bool {
	return !slices.ContainsFunc(l.Actives, func(a farm.Active) bool { return !a.Group.Known() })
}

func activeMaxKnown(l farm.Label) bool {
	return !slices.ContainsFunc(l.Actives, func(a farm.Active) bool { return !a.Max.Known() })
}

// sitesREI reports whether every site of the label has its own re-entry interval.
func sitesREI(l farm.Label) bool {
	return len(l.Sites) > 0 && !slices.ContainsFunc(l.Sites, func(s farm.LabelSite) bool { return !s.REIHours.Known() })
}

// dry reports whether the product is put out dry (bait, granules), so that
// the questions about spraying do not arise. An unread formulation is not dry.
func dry(l farm.Label) bool {
	v, ok := l.Formulation.Get()
	return ok && slices.Contains(farm.Formulations[:3], strings.ToLower(strings.TrimSpace(v)))
}

// Check returns the required fields of the label that nobody has read, in the
// order in which they stand on a label; empty when the copy can be
// scheduled from. The organic approval is asked for by Plan, only on an
// organic farm.
//
// Source of the list: EPA Label Review Manual, chapter 11 (Directions for
// Use), and 40 CFR 156.10, 156.208; which of them stop a schedule is common
// practice.
func Check(l farm.Label) []Gap {
	var out []Gap
	for _, f := range fields {
		if f.sprayOnly && dry(l) || f.known(l) {
			continue
		}
		out = append(out, Gap{f.name, f.where, f.why})
	}
	return out
}

// Contradictions returns what cannot be true on one label, in sentences:
// numbers below zero, ranges upside down, units that do not fit. Empty when
// there is none. Unknown fields contradict nothing.
func Contradictions(l farm.Label) []string {
	var out []string
	say := func(bad bool, format string, args ...any) {
		if bad {
			out = append(out, fmt.Sprintf(format, args...))
		}
	}
	bad := func(v float64) bool { return math.IsNaN(v) || math.IsInf(v, 0) || v < 0 }
	number := func(s farm.Stated[float64], what string) {
		say(s.Has() && bad(s.Value), "the %s is %g; it cannot be below zero", what, s.Value)
	}
	whole := func(s farm.Stated[int], what string, least int) {
		say(s.Has() && s.Value < least, "the %s is %d; it cannot be below %d", what, s.Value, least)
	}
	whole(l.MinIntervalDays, "shortest interval", 0)
	whole(l.ReapplyByDays, "reapply-by time", 1)
	whole(l.MaxApplications, "maximum number of applications", 1)
	whole(l.PHIDays, "pre-harvest interval", 0)
	say(l.MinIntervalDays.Has() && l.ReapplyByDays.Has() && l.MinIntervalDays.Value > l.ReapplyByDays.Value,
		"the shortest interval (%d days) is above the reapply-by time (%d days)", l.MinIntervalDays.Value, l.ReapplyByDays.Value)
	w := l.MaxInWindow
	say(w.Has() && (w.Value.Count < 1 || w.Value.Days < 1), "the rolling maximum is %d in any %d days; both must be at least 1", w.Value.Count, w.Value.Days)
	number(l.REIHours, "re-entry interval")
	for _, s := range l.Sites {
		number(s.REIHours, "re-entry interval for "+s.Crop)
		say(s.Where != farm.Outdoor && s.Where != farm.House, "the site %q is neither outdoor nor house", s.Where)
	}
	number(l.RainfastH, "rainfast time")
	number(l.MaxWindMS, "highest wind")
	number(l.WaterBuffer, "distance to water")
	say(l.MinTempC.Has() && l.MaxTempC.Has() && l.MinTempC.Value > l.MaxTempC.Value,
		"the lowest temperature (%g °C) is above the highest (%g °C)", l.MinTempC.Value, l.MaxTempC.Value)
	out = append(out, rateContradictions(l, bad)...)

	sum := 0.0
	for _, a := range l.Actives {
		say(bad(a.Percent) || a.Percent > 100, "%s is %g %% of the product; it must lie between 0 and 100", a.Name, a.Percent)
		sum += a.Percent
		say(a.Max.Has() && (bad(a.Max.Value.Value) || a.Max.Value.Unit.Dimension != units.MassPerArea),
			"the maximum of %s is %s; give a weight per area", a.Name, a.Max.Value)
	}
	say(sum > 100+1e-9, "the active ingredients add up to %g %%", sum)
	for _, k := range l.KeepApart {
		say(k.Days < 0 || k.Active == "", "the product is to be kept %d days from %q; give a name and 0 days or more", k.Days, k.Active)
	}
	say(l.Bees.Has() && !slices.Contains(farm.BeeRules, l.Bees.Value), "the bee statement %q is not understood; give one of: %s", l.Bees.Value, strings.Join(farm.BeeRules, ", "))
	say(l.MaxPer != "" && !slices.Contains(farm.MaxPers, l.MaxPer), "the maximum is counted per %q; give one of: %s", l.MaxPer, strings.Join(farm.MaxPers, ", "))
	say(l.Expiry.Has() && l.Expiry.Value.IsZero(), "the expiry date is marked as read and is empty")
	return out
}

func rateContradictions(l farm.Label, bad func(float64) bool) []string {
	var out []string
	say := func(wrong bool, format string, args ...any) {
		if wrong {
			out = append(out, fmt.Sprintf(format, args...))
		}
	}
	lo, hasLo := l.RateMin.Get()
	hi, hasHi := l.RateMax.Get()
	most, hasMost := l.MaxAmount.Get()
	say(hasHi && (bad(hi.Value) || hi.Value == 0), "the highest rate is %s; it must be above zero", hi)
	say(hasLo && bad(lo.Value), "the lowest rate is %s; it cannot be below zero", lo)
	say(hasHi && !isRate(hi), "the highest rate is %s; give it per area or per volume of water", hi)
	say(hasLo && hasHi && lo.Unit.Dimension != hi.Unit.Dimension, "the lowest rate (%s) and the highest (%s) measure different things", lo, hi)
	say(hasLo && hasHi && lo.Unit.Dimension == hi.Unit.Dimension && above(lo.Base(), hi.Base()), "the lowest rate (%s) is above the highest (%s)", lo, hi)
	say(hasMost && (bad(most.Value) || most.Value == 0), "the maximum amount is %s; it must be above zero", most)
	switch most.Unit.Dimension {
	case units.MassPerArea, units.VolPerArea, units.CountArea:
		if hasHi {
			p, ok := perAreaDim(hi.Unit.Dimension)
			say(ok && p != most.Unit.Dimension, "the maximum amount (%s) and the highest rate (%s) measure different things", most, hi)
		}
		say(hasLo && lo.Unit.Dimension == most.Unit.Dimension && above(lo.Base(), most.Base()),
			"one application at the lowest rate (%s) already goes above the maximum amount (%s)", lo, most)
	default:
		say(hasMost, "the maximum amount is %s; give it per area", most)
	}
	return out
}

// above reports a > b, forgiving the last digits that conversions leave.
func above(a, b float64) bool { return a > b+1e-9*math.Abs(b) }
