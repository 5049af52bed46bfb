package ingest

import (
	"slices"
	"strings"

	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// contradictions reports values that cannot both stand on one label.
func (p *labelParser) contradictions(l farm.Label) {
	clash := func(a, b, format string, args ...any) {
		ka, kb := p.find("", 0, a), p.find("", 0, b)
		if ka.row < kb.row || ka.row == kb.row && ka.col < kb.col {
			a, ka, kb = b, kb, ka
		}
		args = append(args, kb.row)
		p.add(ka.valRow, ka.valCol, "look at the label again and correct one of them", format+" (see row %d)", args...)
	}
	order := func(lowKey, highKey string, low, high farm.Stated[units.Quantity], say string) {
		a, okA := low.Get()
		b, okB := high.Get()
		switch {
		case !okA || !okB:
		case a.Unit.Dimension != b.Unit.Dimension:
			clash(lowKey, highKey, "%s is a %s and %s a %s", lowKey, a.Unit.Dimension, highKey, b.Unit.Dimension)
		case a.Base() > b.Base()*(1+1e-9):
			clash(lowKey, highKey, "%s %q is above %s %q%s", lowKey, a.String(), highKey, b.String(), say)
		}
	}
	if w, m := l.MaxInWindow, l.MaxApplications; w.Has() && m.Has() && w.Value.Count > m.Value && !slices.Contains([]string{farm.PerCropCycle, farm.PerGeneration}, l.MaxPer) {
		clash("max_in_window", "max_applications", "max_in_window allows %d in %d days, above max_applications %d", w.Value.Count, w.Value.Days, m.Value)
	}
	if w, n := l.MaxInWindow, l.MinIntervalDays; w.Has() && n.Has() && w.Value.Count > 1 && n.Value > w.Value.Days {
		clash("min_interval", "max_in_window", "min_interval %d days is longer than the days of max_in_window, %d in %d days", n.Value, w.Value.Count, w.Value.Days)
	}
	order("rate_min", "rate_max", l.RateMin, l.RateMax, "")
	if a, b := l.RateMax.Value.Unit.Dimension, l.MaxAmount.Value.Unit.Dimension; a == units.MassPerArea || a == units.VolPerArea {
		order("rate_max", "max_amount", l.RateMax, l.MaxAmount, ": one treatment would pass the season's limit")
	} else if isMass(a) != isMass(b) && l.RateMax.Has() && l.MaxAmount.Has() {
		clash("rate_max", "max_amount", "rate_max is a %s and max_amount a %s", a, b)
	}
	order("spray_min", "spray_max", l.SprayMin, l.SprayMax, "")
	if a, b := l.MinWindMS, l.MaxWindMS; a.Has() && b.Has() && a.Value >= b.Value {
		clash("min_wind", "max_wind", "min_wind %s is not below max_wind %s", writeWind(a.Value), writeWind(b.Value))
	}
	if o, ok := l.Opened.Get(); ok && !p.today.IsZero() && o.After(p.today) {
		k := p.find("", 0, "opened")
		p.add(k.valRow, k.valCol, "write the day on which it was opened, or none stated while it is closed", "opened: %s lies in the future; today is %s", o, p.today)
	}
	if a, b := l.Opened, l.Expiry; a.Has() && b.Has() && a.Value.After(b.Value) {
		clash("opened", "expiry", "opened on %s, after the expiry of %s", a.Value, b.Value)
	}
	for _, m := range l.ForbiddenMethods.Value {
		if strings.EqualFold(m, tidy(l.Method.Value)) {
			clash("forbidden_methods", "method", "%s is both the method and forbidden", quote(m))
		}
	}
	for _, c := range l.ExcludedCrops.Value {
		if slices.ContainsFunc(l.Sites, func(s farm.LabelSite) bool { return strings.EqualFold(s.Crop, c) }) {
			clash("excluded_crops", "sites", "%s is both listed and excluded", quote(c))
		}
	}
	if l.Season.Has() && l.MaxPer != "" && l.MaxPer != farm.PerNone && l.MaxPer != farm.PerSeason && !slices.ContainsFunc(l.MoreMaxima.Value, func(m farm.Maximum) bool { return m.Per == farm.PerSeason }) {
		clash("season", "max_per", "season is %s and nothing is counted per season", writeYearSpan(l.Season.Value))
	}
	for i, m := range l.MoreMaxima.Value {
		for _, o := range l.MoreMaxima.Value[:i] {
			if (m.Count > 0) == (o.Count > 0) && m.Per == o.Per && m.Days == o.Days && strings.EqualFold(m.Active, o.Active) {
				clash("more_maxima", "more_maxima", "%q and %q limit the same", writeMaximum(o), writeMaximum(m))
			}
		}
		if m.Active != "" && !slices.ContainsFunc(l.Actives, func(a farm.Active) bool { return strings.EqualFold(a.Name, m.Active) }) {
			clash("more_maxima", "actives", "more_maxima limits %s, which is no active ingredient of it", quote(m.Active))
		}
	}
	if a, b := l.MinIntervalDays, l.ReapplyByDays; a.Has() && b.Has() && a.Value > b.Value {
		clash("min_interval", "reapply_by", "min_interval %d days is longer than reapply_by %d days", a.Value, b.Value)
	}
	if a, b := l.MinTempC, l.MaxTempC; a.Has() && b.Has() && a.Value >= b.Value {
		clash("min_temp", "max_temp", "min_temp %s is not below max_temp %s", writeTemp(a.Value), writeTemp(b.Value))
	}
}

func isMass(d units.Dimension) bool {
	switch d {
	case units.MassPerArea, units.MassPerVol, units.MassPerRow, units.MassPerUnit:
		return true
	}
	return false
}
