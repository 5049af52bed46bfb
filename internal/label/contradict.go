package label

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/farm"
	"leafturn/internal/units"
)

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
	say(bad(l.MinIntervalHours) || l.MinIntervalHours > 0 && l.MinIntervalDays.Value != int(math.Ceil(l.MinIntervalHours/24)),
		"the shortest interval is %g hours, and %d days", l.MinIntervalHours, l.MinIntervalDays.Value)
	number(l.REIHours, "re-entry interval")
	for _, s := range l.Sites {
		number(s.REIHours, "re-entry interval for "+s.Crop)
		say(s.Where != farm.Outdoor && s.Where != farm.House, "the site %q is neither outdoor nor house", s.Where)
	}
	number(l.RainfastH, "rainfast time")
	number(l.MaxWindMS, "highest wind")
	number(l.WaterBuffer, "distance to water")
	say(l.MinTempC.Has() && l.MaxTempC.Has() && l.MinTempC.Value > l.MaxTempC.Value,
		"the lowest temperature (%s) is above the highest (%s)", asLabel(l.MinTempC.Value, "C", "F"), asLabel(l.MaxTempC.Value, "C", "F"))
	out = append(out, rateContradictions(l, bad)...)
	for _, s := range l.Sites {
		x := ofSite(l, s)
		if s.RateMax.Known() {
			for _, w := range rateContradictions(x, bad) {
				say(true, "for %s: %s", s.Crop, w)
			}
		}
		say(s.RateMin.Has() && !s.RateMax.Has(), "for %s there is a lowest rate and no highest", s.Crop)
		say(s.MinIntervalDays.Has() && (s.MinIntervalDays.Value < 0 || bad(s.MinIntervalHours)), "the shortest interval for %s is below zero", s.Crop)
		say(s.MinIntervalDays.Has() && l.ReapplyByDays.Has() && s.MinIntervalDays.Value > l.ReapplyByDays.Value,
			"the shortest interval for %s (%d days) is above the reapply-by time (%d days)", s.Crop, s.MinIntervalDays.Value, l.ReapplyByDays.Value)
	}

	sum := 0.0
	for _, a := range l.Actives {
		say(bad(a.Percent) || a.Percent > 100, "%s is %g %% of the product; it must lie between 0 and 100", a.Name, a.Percent)
		sum += a.Percent
		say(a.Max.Has() && (bad(a.Max.Value.Value) || a.Max.Value.Unit.Dimension != units.MassPerArea),
			"the maximum of %s is %s; give a weight per area", a.Name, a.Max.Value)
	}
	say(sum > 100+1e-9, "the active ingredients add up to %g %%", sum)
	for _, m := range l.MoreMaxima.Value {
		say((m.Count > 0) == !m.Amount.IsZero(), "a further maximum is neither a number of applications nor an amount")
		say(m.Per == "" && m.Days < 1 || m.Per != "" && !slices.Contains(farm.MaxPers, m.Per), "a further maximum is counted over %q; give one of: %s, or days", m.Per, strings.Join(farm.MaxPers, ", "))
		say(m.Active != "" && (m.Amount.IsZero() || m.Amount.Unit.Dimension != units.MassPerArea), "the maximum of %s is %s; give a weight per area", m.Active, m.Amount)
		say(m.Count == 0 && (bad(m.Amount.Value) || m.Amount.Value == 0), "a further maximum is %s; it must be above zero", m.Amount)
		if p, ok := perAreaDim(l.RateMax.Value.Unit.Dimension); ok && m.Count == 0 && m.Active == "" {
			say(m.Amount.Unit.Dimension != p, "a further maximum (%s) and the highest rate (%s) measure different things", m.Amount, l.RateMax.Value)
		}
	}
	whole(l.PlantBack, "planting-back interval", 0)
	whole(l.OpenedDays, "life after opening", 0)
	number(l.MixedHours, "life of a mix")
	number(l.MinWindMS, "lowest wind")
	number(l.BoomM, "height of the nozzle")
	say(l.MinWindMS.Has() && l.MaxWindMS.Has() && l.MinWindMS.Value > l.MaxWindMS.Value,
		"the lowest wind (%s) is above the highest (%s)", asLabel(l.MinWindMS.Value, "m/s", "mph", "km/h"), asLabel(l.MaxWindMS.Value, "m/s", "mph", "km/h"))
	for _, v := range []farm.Stated[units.Quantity]{l.SprayMin, l.SprayMax} {
		say(v.Has() && (v.Value.Unit.Dimension != units.VolPerArea || bad(v.Value.Value) || v.Value.Value == 0), "the spray volume is %s; give a volume per area above zero", v.Value)
	}
	say(l.SprayMin.Has() && l.SprayMax.Has() && above(l.SprayMin.Value.Base(), l.SprayMax.Value.Base()),
		"the least spray volume (%s) is above the most (%s)", l.SprayMin.Value, l.SprayMax.Value)
	for _, k := range l.KeepApart {
		say(k.Days < 0 || k.Active == "", "the product is to be kept %d days from %q; give a name and 0 days or more", k.Days, k.Active)
	}
	say(l.Bees.Has() && !slices.Contains(farm.BeeRules, l.Bees.Value), "the bee statement %q is not understood; give one of: %s", l.Bees.Value, strings.Join(farm.BeeRules, ", "))
	say(l.MaxPer != "" && l.MaxPer != farm.PerNone && !slices.Contains(farm.MaxPers, l.MaxPer), "the maximum is counted per %q; give one of: %s", l.MaxPer, strings.Join(farm.MaxPers, ", "))
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
	say(hasHi && !isRate(hi), "the highest rate is %s; give it per area, per volume of water, per length of row or per plant", hi)
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
