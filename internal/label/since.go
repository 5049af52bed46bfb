package label

import (
	"reflect"
	"slices"
	"strings"

	"leafturn/internal/farm"
)

// ReadSince returns the label that a treatment was made under with the blanks
// that a later copy of the same label has filled, but for those that tell of
// one container. What was read then, a value or "none stated", stays as it was. later
// are the versions after it, oldest first; a copy that gives another date or
// version of the label itself is of another label and fills nothing, and neither
// does one of another product under the same key.
func ReadSince(then farm.Label, later []farm.Label) farm.Label {
	for _, l := range later {
		if OtherProduct(then, l) {
			continue
		}
		if a, ok := then.Edition.Get(); ok {
			if b, ok := l.Edition.Get(); ok && !strings.EqualFold(tidy(a), tidy(b)) {
				continue
			}
		}
		then = filled(then, l)
	}
	return then
}

// OtherProduct reports whether two labels seem to be of two products: their
// registration numbers differ, or their names where one has no number.
func OtherProduct(a, b farm.Label) bool {
	x, ok := a.Registration.Get()
	y, ok2 := b.Registration.Get()
	if ok && ok2 {
		return squeezed(x) != squeezed(y)
	}
	return tidy(a.Product) != tidy(b.Product)
}

func filled(l, from farm.Label) farm.Label {
	if len(l.Sites) == 0 && !l.NoSites {
		l.Sites, l.NoSites = slices.Clone(from.Sites), from.NoSites
	}
	// What is printed beside a site fills it where the label's own is blank too.
	l.Sites = slices.Clone(l.Sites)
	rei := !l.REIHours.Known() && !sitesREI(l)
	for i := range l.Sites {
		s := &l.Sites[i]
		j := slices.IndexFunc(from.Sites, func(x farm.LabelSite) bool { return x.Where == s.Where && strings.EqualFold(x.Crop, s.Crop) })
		if j < 0 {
			continue
		}
		x := from.Sites[j]
		if rei {
			fill(&s.REIHours, x.REIHours)
		}
		if !l.RateMax.Known() && !s.RateMax.Known() {
			s.RateMin, s.RateMax = x.RateMin, x.RateMax
		}
		if !l.MinIntervalDays.Known() && !s.MinIntervalDays.Known() {
			s.MinIntervalDays, s.MinIntervalHours = x.MinIntervalDays, x.MinIntervalHours
		}
	}
	if rei {
		l.REIHours = from.REIHours
	}
	if !l.MinIntervalDays.Known() {
		l.MinIntervalHours = from.MinIntervalHours
	}
	fillStated(reflect.ValueOf(&l).Elem(), reflect.ValueOf(from))
	if len(l.Pests) == 0 && len(l.OtherPests) == 0 && !l.NoPests {
		l.Pests, l.OtherPests, l.NoPests = from.Pests, from.OtherPests, from.NoPests
	}
	if l.MaxPer == "" {
		l.MaxPer = from.MaxPer
	}
	if len(l.KeepApart) == 0 && !l.NoKeepApart {
		l.KeepApart, l.NoKeepApart = from.KeepApart, from.NoKeepApart
	}
	if len(l.Actives) == 0 && !l.NoActives {
		l.Actives, l.NoActives = from.Actives, from.NoActives
	}
	l.Actives = slices.Clone(l.Actives)
	for i := range l.Actives {
		a := &l.Actives[i]
		for _, b := range from.Actives {
			if !strings.EqualFold(tidy(a.Name), tidy(b.Name)) {
				continue
			}
			if a.Percent == 0 && !a.NoPercent {
				a.Percent, a.NoPercent = b.Percent, b.NoPercent
			}
			fill(&a.GPerL, b.GPerL)
			fill(&a.Group, b.Group)
			fill(&a.Max, b.Max)
		}
	}
	return l
}

// ofContainer are the fields that tell of one container and one day, and not of
// the label: a later copy says nothing of the container that was used.
var ofContainer = []string{"Lot", "Opened", "OpenedDays", "Expiry", "Organic"}

// fillStated fills every field with three states that is unknown.
func fillStated(to, from reflect.Value) {
	for i := range to.NumField() {
		f := to.Type().Field(i)
		switch state := to.Field(i).Kind() == reflect.Struct && to.Field(i).FieldByName("State").IsValid(); {
		case f.Anonymous:
			fillStated(to.Field(i), from.Field(i))
		case state && !slices.Contains(ofContainer, f.Name):
			if v := farm.State(to.Field(i).FieldByName("State").String()); v != farm.IsStated && v != farm.NoneStated {
				to.Field(i).Set(from.Field(i))
			}
		}
	}
}

func fill[T any](at *farm.Stated[T], from farm.Stated[T]) {
	if !at.Known() {
		*at = from
	}
}
