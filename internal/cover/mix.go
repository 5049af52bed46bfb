package cover

import (
	"slices"
	"strings"
)

// Mixes returns the mixes of up to so many crops that the rules let be sown
// (R12), made of options of one crop each: every two of the crops are named as
// partners by one of them, none is a crop that is sown alone, and all stand in
// the same season. most below 2 gives none.
//
// A legume and a cereal stand at 2/3 and 1/3 of their full rates, any other mix
// at equal parts. Source: common practice.
func Mixes(options []Option, most int) []Option {
	var single []Option
	for _, o := range options {
		if len(o.Mix) == 0 && !o.Crop.Alone {
			single = append(single, o)
		}
	}
	slices.SortStableFunc(single, func(a, b Option) int { return strings.Compare(a.Key(), b.Key()) })
	var out []Option
	var grow func(from int, parts []Option)
	grow = func(from int, parts []Option) {
		if len(parts) >= 2 {
			out = append(out, mixOf(parts))
		}
		if len(parts) == min(most, maxSpecies) {
			return
		}
		for i := from; i < len(single); i++ {
			o := single[i]
			if slices.ContainsFunc(parts, func(p Option) bool { return p.Rest != o.Rest || !partners(p.Crop, o.Crop) }) {
				continue
			}
			grow(i+1, append(slices.Clone(parts), o))
		}
	}
	if most >= 2 {
		grow(0, nil)
	}
	return out
}

// maxSpecies is the most crops of a mix (R12).
const maxSpecies = 3

func partners(a, b Crop) bool { return contains(a.MixWith, b.ID) || contains(b.MixWith, a.ID) }

const cereal = "Poaceae"

// mixOf makes a mix of options of one season, in the order given.
func mixOf(parts []Option) Option {
	o := Option{Rest: parts[0].Rest}
	var ids, names []string
	for _, p := range parts {
		ids, names = append(ids, p.Crop.ID), append(names, p.Crop.label())
		o.Mix = append(o.Mix, Part{Crop: p.Crop, Effects: p.Effects, Share: 1 / float64(len(parts))})
	}
	if len(o.Mix) == 2 {
		a, b := &o.Mix[0], &o.Mix[1]
		switch {
		case a.Crop.Legume && family(b.Crop.Family) == cereal:
			a.Share, b.Share = 2./3, 1./3
		case b.Crop.Legume && family(a.Crop.Family) == cereal:
			a.Share, b.Share = 1./3, 2./3
		}
	}
	o.Crop = Crop{ID: strings.Join(ids, "+"), Name: strings.Join(names, " + ")}
	return o
}

// fitMix fits all crops of a mix at one sowing and one end: the earliest day
// that suits all, and the day by which the first of them must be ended.
func fitMix(o Option, bed Bed, site Site, rules Rules, after bool) Fit {
	at := bed
	for range 8 {
		var fits []Fit
		latest := at.FreeFrom
		for _, p := range o.Mix {
			f := feasible(Option{Crop: p.Crop, Effects: p.Effects, Rest: o.Rest, Sowings: o.Sowings}, at, site, rules, after)
			for i := range f.Reasons {
				f.Reasons[i].Text = p.Crop.label() + ": " + f.Reasons[i].Text
			}
			if !f.OK {
				return Fit{Reasons: f.Reasons}
			}
			if f.Choice.Sow.After(latest) {
				latest = f.Choice.Sow
			}
			fits = append(fits, f)
		}
		out := fits[0]
		same := true
		for _, f := range fits[1:] {
			same = same && f.Choice.Sow == out.Choice.Sow
			out.Reasons = append(out.Reasons, f.Reasons...)
			out.Choice.Kill = earlier(out.Choice.Kill, f.Choice.Kill)
			if f.Choice.Ready.After(out.Choice.Ready) {
				out.Choice.Ready = f.Choice.Ready
			}
			if f.Choice.Slot == Winter {
				out.Choice.Slot = Winter
			}
		}
		if same {
			out.Choice.Sowings = []Sowing{{out.Choice.Sow, out.Choice.Ready, out.Choice.Kill}}
			if !out.Choice.Ready.IsZero() && out.Choice.Kill.Before(out.Choice.Ready) && out.Choice.Slot != Winter {
				return Fit{Reasons: []Reason{{"R12", Refused, "its crops have no usable stand before the first of them must be ended"}}}
			}
			return out
		}
		at.FreeFrom = latest
	}
	return Fit{Reasons: []Reason{{"R12", Refused, "its crops cannot be sown on one day"}}}
}
