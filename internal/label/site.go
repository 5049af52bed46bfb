package label

import (
	"slices"

	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// At is the label as it holds on a site for crops: where it prints rates or an
// interval beside those of its sites that match, these take the place of the
// label's own. Of several that match the strictest governs: the lowest of the
// highest rates, and the longest interval. Highest rates that cannot be held
// against each other leave the rate unknown. Common practice, as the re-entry
// intervals of several sites are read.
func At(l farm.Label, site farm.Site, crops ...string) farm.Label {
	if len(crops) == 0 {
		crops = []string{"dahlias"}
	}
	out, first := l, true
	for _, s := range l.Sites {
		if s.Where != site || !slices.ContainsFunc(crops, func(c string) bool { return covers(s.Crop, c) }) {
			continue
		}
		x := ofSite(l, s)
		if first {
			out, first = x, false
			continue
		}
		switch a, b := out.RateMax, x.RateMax; {
		case !a.Has() || !b.Has() || a.Value.Unit.Dimension != b.Value.Unit.Dimension:
			out.RateMin, out.RateMax = farm.Stated[units.Quantity]{}, farm.Stated[units.Quantity]{}
		case b.Value.Base() < a.Value.Base():
			out.RateMin, out.RateMax = x.RateMin, b
		}
		switch {
		case !out.MinIntervalDays.Known() || !x.MinIntervalDays.Known():
			out.MinIntervalDays, out.MinIntervalHours = farm.Stated[int]{}, 0
		case intervalHours(x) > intervalHours(out):
			out.MinIntervalDays, out.MinIntervalHours = x.MinIntervalDays, x.MinIntervalHours
		}
	}
	if !first {
		out.Sites = slices.Clone(l.Sites)
		for i, s := range out.Sites { // what stands beside them is taken up
			out.Sites[i] = farm.LabelSite{Where: s.Where, Crop: s.Crop, REIHours: s.REIHours}
		}
	}
	return out
}

// ofSite is the label with what it prints beside one of its sites.
func ofSite(l farm.Label, s farm.LabelSite) farm.Label {
	if s.RateMax.Known() {
		l.RateMin, l.RateMax = s.RateMin, s.RateMax
	}
	if s.MinIntervalDays.Known() {
		l.MinIntervalDays, l.MinIntervalHours = s.MinIntervalDays, s.MinIntervalHours
	}
	return l
}

// intervalHours orders shortest intervals: none is the shortest, and days, which
// are counted by dates, come after as many hours.
func intervalHours(l farm.Label) float64 {
	switch n, ok := l.MinIntervalDays.Get(); {
	case !ok:
		return -1
	case l.MinIntervalHours > 0:
		return l.MinIntervalHours
	default:
		return 24*float64(n) + 0.001
	}
}

// sites reports whether the label names sites and all of them have something.
func sites(l farm.Label, has func(farm.LabelSite) bool) bool {
	return len(l.Sites) > 0 && !slices.ContainsFunc(l.Sites, func(s farm.LabelSite) bool { return !has(s) })
}
