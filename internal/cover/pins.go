package cover

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/diag"
)

// checkPins settles which window each pin and forbid speaks of, and returns what
// is wrong with them: a bed or cover that is not planned, a pin that a rule of
// dates or soil refuses, two pins of one window.
func (f *field) checkPins() error {
	f.Rules.Pins, f.Rules.Forbids = slices.Clone(f.Rules.Pins), slices.Clone(f.Rules.Forbids)
	for k := range f.Rules.Pins {
		p := &f.Rules.Pins[k]
		if err := f.known(*p, "pin"); err != nil {
			return err
		}
		if p.Bed == "" || p.Cover == "" {
			return diag.Usagef("write it like: pin A1 cereal_rye", "%spin %s: it needs a bed and a cover", at(p.From), p)
		}
		if p.Cover == None {
			continue
		}
		i := slices.IndexFunc(f.beds, func(b Bed) bool { return b.Code == p.Bed })
		var in []Stand
		var refused []string
		for w, stand := range [2]Stand{BeforePlanting, RestYear} {
			if p.Window != "" && p.Window != stand {
				continue
			}
			for _, c := range f.cells[i][w] {
				switch {
				case c.Option.Crop.ID != p.Cover || c.Key == None:
				case c.Allowed:
					in = append(in, stand)
				default:
					refused = append(refused, whys(c))
				}
			}
		}
		switch {
		case len(in) == 1:
			p.Window = in[0]
		case len(in) == 2:
			return diag.Usagef(fmt.Sprintf("write: pin %s winter %s, or: pin %s rest %s", p.Bed, p.Cover, p.Bed, p.Cover), "%spin %s: it fits before planting and in a rest year", at(p.From), p)
		case len(refused) > 0:
			return diag.Usagef("pin another cover, or change what it rests on (dates, past covers, prices)", "%spin %s breaks a rule: %s", at(p.From), p, strings.Join(refused, "; "))
		default:
			return diag.Usagef("pin a cover that the plan knows for that window; a mix of more crops than are allowed is none", "%spin %s: there is no such choice", at(p.From), p)
		}
	}
	for k := range f.Rules.Pins {
		for l := range f.Rules.Pins[:k] {
			a, b := f.Rules.Pins[l], f.Rules.Pins[k]
			if a.Bed == b.Bed && a.Window == b.Window && a.Cover == b.Cover {
				return diag.Usagef("keep one of them", "%spin %s stands twice", at(b.From), b)
			}
		}
	}
	for k := range f.Rules.Forbids {
		p := &f.Rules.Forbids[k]
		if err := f.known(*p, "forbid"); err != nil {
			return err
		}
		if p.Bed == "" && p.Window == "" && p.Cover == "" {
			return diag.Usagef("name a bed, a window or a cover", "%sa forbid of everything", at(p.From))
		}
		if p.Cover == None && p.Window == "" {
			p.Window = BeforePlanting
		}
	}
	return nil
}

// why is what refuses a cell.
func why(c Cell) string {
	for _, f := range []*Fit{&c.Fit, c.After} {
		if f == nil {
			continue
		}
		for _, k := range []Kind{Refused, NotKnown} {
			for _, r := range f.Reasons {
				if r.Kind == k {
					return r.Rule + ": " + r.Text
				}
			}
		}
	}
	return "it fits no date"
}

// whys is all that refuses a cell's dates and soil, as a cover may fail in
// autumn for one reason and in spring for another.
func whys(c Cell) string {
	var out []string
	for _, r := range c.Fit.Reasons {
		if s := r.Rule + ": " + r.Text; r.Kind == Refused && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	if len(out) == 0 {
		return why(c)
	}
	return strings.Join(out, "; ")
}

// known returns what is wrong with the names of a pin or forbid.
func (f *field) known(p Pin, word string) error {
	if p.Window != "" && p.Window != BeforePlanting && p.Window != RestYear {
		return diag.Usagef("write winter or rest", "%s%s %s: %q is no window", at(p.From), word, p, p.Window)
	}
	if p.Bed != "" {
		var codes []string
		for _, b := range f.beds {
			codes = append(codes, b.Code)
		}
		if !slices.Contains(codes, p.Bed) {
			return diag.Usagef("name a bed of the plan", "%s%s %s: there is no bed %s%s", at(p.From), word, p, p.Bed, diag.DidYouMean(p.Bed, codes))
		}
	}
	if p.Cover != "" && p.Cover != None {
		var ids []string
		for _, c := range append(slices.Clone(f.cells[0][0]), f.cells[0][1]...) {
			if c.Key != None && len(c.Option.Mix) == 0 && !slices.Contains(ids, c.Option.Crop.ID) {
				ids = append(ids, c.Option.Crop.ID)
			}
		}
		for _, id := range strings.Split(p.Cover, "+") {
			if !slices.Contains(ids, id) {
				return diag.Usagef("name a cover of the list", "%s%s %s: there is no cover %s%s", at(p.From), word, p, id, diag.DidYouMean(id, ids))
			}
		}
	}
	return nil
}

// at is where a rule was stated, to begin a message with.
func at(from string) string {
	if from == "" {
		return ""
	}
	return from + ": "
}
