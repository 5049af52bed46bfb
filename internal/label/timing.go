package label

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/pattern"
)

// block is a rule that forbids a day, with the next day worth trying: no day
// before it passes that rule. A zero next means never, or not known.
type block struct {
	Rule
	next civil.Date
}

// timing returns the rules of time and quantity that forbid day d.
func (r Request) timing(d civil.Date) []block {
	var out []block
	out = append(out, r.expiry(d)...)
	out = append(out, r.interval(d)...)
	out = append(out, r.apart(d)...)
	out = append(out, r.window(d)...)
	out = append(out, r.maxCount(d)...)
	b, _, _ := r.maxAmount(d)
	out = append(out, b...)
	b, _ = r.maxActive(d)
	out = append(out, b...)
	out = append(out, r.closed(d)...)
	return out
}

// earliest returns the first day from d on that no timing rule forbids,
// whatever the hour.
func (r Request) earliest(d civil.Date) civil.Date {
	r.Start, r.End = time.Time{}, time.Time{}
	for range 3000 { // more days than any label's interval or window
		blocks := r.timing(d)
		if len(blocks) == 0 {
			return d
		}
		next := d.AddDays(1)
		for _, b := range blocks {
			if b.next.IsZero() {
				return civil.Date{}
			}
			if b.next.After(next) {
				next = b.next
			}
		}
		d = next
	}
	return civil.Date{}
}

func (r Request) expiry(d civil.Date) []block {
	if e, ok := r.Label.Expiry.Get(); ok && d.After(e) {
		return []block{{Rule: Rule{Code: CodeExpired, Field: "expiry", Where: container,
			Words: fmt.Sprintf("the product expired on %s", e)}}}
	}
	opened, ok := r.Label.Opened.Get()
	n, limited := r.Label.OpenedDays.Get()
	if ok && limited && d.After(opened.AddDays(n)) {
		return []block{{Rule: Rule{Code: CodeExpired, Field: "life after opening", Where: container,
			Words: fmt.Sprintf("it was opened on %s and may be used for %s, to %s", opened, days(n), opened.AddDays(n))}}}
	}
	return nil
}

func days(n int) string {
	if n == 1 {
		return "1 day"
	}
	return fmt.Sprintf("%d days", n)
}

// apart keeps materials apart in both directions, by the longer of the figures
// on the two labels; also by the published figure when neither has one or
// one of them was not read.
func (r Request) apart(d civil.Date) []block {
	var out []block
	for _, t := range r.here() {
		other, ok := r.labelOf(t)
		if !ok || t.Label == r.Label.Key || SameProduct(other, r.Label) {
			continue
		}
		n, what, note := 0, "", ""
		unread := false // whether one of the two labels may have a figure that nobody has read
		for _, side := range [][2]farm.Label{{r.Label, other}, {other, r.Label}} {
			unread = unread || len(side[0].KeepApart) == 0 && !side[0].NoKeepApart
			for _, k := range side[0].KeepApart {
				if r.holdsAny(side[1], k.Active) && (what == "" || k.Days > n) {
					n, what = k.Days, k.Active
				}
			}
		}
		if what == "" || unread {
			for _, k := range r.Apart {
				if (r.holds(r.Label, k.A) && r.holds(other, k.B) || r.holds(r.Label, k.B) && r.holds(other, k.A)) && k.Days > n {
					n, what = k.Days, k.A+" and "+k.B
					note = fmt.Sprintf("; %d days is the published figure (%s), the label governs", k.Days, k.Source)
				}
			}
		}
		gap := d.Sub(t.Date)
		if max(gap, -gap) >= n {
			continue
		}
		next := t.Date.AddDays(n)
		out = append(out, block{Rule{Code: CodeApart, Field: "incompatible materials", Where: directions,
			Words: fmt.Sprintf("%s went on %s on %s; the two are kept %s apart (%s), so the first day allowed is %s%s", name(other), r.Bed.Code, t.Date, days(n), what, next, note)}, next})
	}
	return out
}

func (r Request) holds(l farm.Label, active string) bool {
	for _, a := range l.Actives {
		if r.sameActive(a.Name, active) {
			return true
		}
	}
	return false
}

// holdsAny reports whether a label holds what another calls by a material, which
// may be a whole kind: "oil", "oils", "copper".
func (r Request) holdsAny(l farm.Label, material string) bool {
	return r.holds(l, material) || slices.ContainsFunc(l.Actives, func(a farm.Active) bool {
		key := ""
		if r.ActiveKey != nil {
			key, _ = r.ActiveKey(a.Name)
		}
		return IsKind(material, a.Name) || IsKind(material, key)
	})
}

// IsKind reports whether an active is of the kind that a material names: each
// word of the material stands in the active's name.
func IsKind(material, active string) bool {
	words := func(s string) []string {
		out := strings.FieldsFunc(strings.ToLower(s), func(c rune) bool { return !unicode.IsLetter(c) && !unicode.IsDigit(c) })
		for i := range out {
			out[i] = strings.TrimSuffix(out[i], "s")
		}
		return out
	}
	of, in := words(material), words(active)
	return len(of) > 0 && !slices.ContainsFunc(of, func(w string) bool { return !slices.Contains(in, w) })
}

// SameProduct reports whether two labels are of one product: their registration
// numbers are the same or, where no two numbers were read, their names; and no
// other countries or registrants are named. A label that states no number is not
// of a product that has one. Limits belong to the product, whatever key its label
// is kept under.
func SameProduct(a, b farm.Label) bool {
	x, y := regNumber(a), regNumber(b)
	if x != "" && y != "" {
		return x == y && !differ(a.Jurisdiction, b.Jurisdiction, country)
	}
	none := func(l farm.Label, n string) bool { return n == "" && l.Registration.Known() }
	if x != "" && none(b, y) || y != "" && none(a, x) {
		return false
	}
	return tidy(a.Product) != "" && tidy(a.Product) == tidy(b.Product) &&
		!differ(a.Jurisdiction, b.Jurisdiction, country) && !differ(a.Registrant, b.Registrant, tidy)
}

// regNumber is the registration number as it is compared, "" where there is none: a
// number of zeros alone stands for one that is not there.
func regNumber(l farm.Label) string {
	v, ok := l.Registration.Get()
	if !ok || !strings.ContainsAny(v, "123456789") {
		return ""
	}
	return squeezed(v)
}

// differ reports whether both fields were read and say different things.
func differ(a, b farm.Stated[string], plain func(string) string) bool {
	x, ok := a.Get()
	y, ok2 := b.Get()
	return ok && ok2 && !strings.EqualFold(plain(x), plain(y))
}

// numberWords are what stands in front of a registration number.
var numberWords = pattern.New(`^(epa|registration|reg|mapp|pcp|act|number|num|nr|no|\.|:|#)+`)

// squeezed is a number as it is compared: without spaces and without the words
// in front of it ("EPA Reg. No."), in one case.
func squeezed(s string) string {
	return numberWords().ReplaceAllString(strings.ToLower(strings.Join(strings.Fields(s), "")), "")
}

func country(s string) string { c, _, _ := strings.Cut(strings.TrimSpace(s), "-"); return c }

// contents are what labels put behind the name of an active: "(80%)", "80 %".
var contents = pattern.New(`\([^)]*\)|[0-9.,]+ *%`)

// sameActive reports whether two labels mean one active.
func (r Request) sameActive(a, b string) bool {
	a, b = contents().ReplaceAllString(a, " "), contents().ReplaceAllString(b, " ")
	if r.ActiveKey != nil {
		if x, ok := r.ActiveKey(a); ok {
			if y, ok := r.ActiveKey(b); ok {
				return x == y
			}
		}
	}
	return strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
}

func name(l farm.Label) string {
	if l.Product != "" {
		return l.Product
	}
	return l.Key
}

// labelOf returns the label that a treatment was made under.
func (r Request) labelOf(t farm.Treatment) (farm.Label, bool) {
	if l, ok := r.Versions[t.ID]; ok && t.ID != 0 {
		return l, true
	}
	if t.Label == r.Label.Key {
		return r.Label, true
	}
	l, ok := r.Labels[t.Label]
	return l, ok
}

// closed refuses while an earlier treatment keeps the bed closed. Treatments
// with the same end are one tank mix and do not close the bed to each other.
func (r Request) closed(d civil.Date) []block {
	var out []block
	for _, t := range r.History {
		if t.Bed != r.Bed.Code || t.Date.After(d) || !r.End.IsZero() && t.End.Equal(r.End) && d == r.Date {
			continue
		}
		start, instant := r.startOn(d)
		if began := firstOf(t.Start, t.End); instant && !began.Before(r.End) {
			continue // a later one on the same day
		}
		l, _ := r.labelOf(t)
		open, known := opens(t, l, r.Bed.Site, r.Crops)
		through := !open.Before(d.AddDays(1).In(r.loc())) // closed to the end of the day
		switch {
		case !known:
			out = append(out, block{Rule: Rule{Code: CodeClosed, Field: "re-entry interval (REI)", Where: agBox, Unknown: true,
				Words: fmt.Sprintf("%s is closed since the treatment of %s until the label %q is read", r.Bed.Code, t.Date, t.Label)}})
		case r.noHour && d == r.Date && open.After(d.In(r.loc())) && open.After(t.End) && (t.Date == d || !through):
			out = append(out, block{Rule: Rule{Code: CodeClosed, Field: "re-entry interval (REI)", Where: agBox, Unknown: true,
				Words: fmt.Sprintf("%s was closed until %s after %s, and the hour of this application was not written down", r.Bed.Code, clock(open, r.loc()), name(l))}})
		case instant && open.After(start), !instant && through:
			next := civil.DateIn(open, r.loc())
			out = append(out, block{Rule{Code: CodeClosed, Field: "re-entry interval (REI)", Where: agBox,
				Words: fmt.Sprintf("%s is closed until %s after %s", r.Bed.Code, clock(open, r.loc()), name(l))}, next})
		case instant && r.Start.IsZero() && open.After(t.End) && open.After(d.In(r.loc())):
			out = append(out, block{Rule: Rule{Code: CodeClosed, Field: "re-entry interval (REI)", Where: agBox, Unknown: true,
				Words: fmt.Sprintf("%s was closed until %s after %s, and when this application began is not known", r.Bed.Code, clock(open, r.loc()), name(l))}})
		}
	}
	return out
}

// opensOn names the hour at which the bed opens on the day of the request,
// where only the day is planned.
func (r Request) opensOn(d *Decision) {
	if _, instant := r.startOn(r.Date); instant {
		return
	}
	var last time.Time
	for _, t := range r.History {
		if t.Bed != r.Bed.Code || t.Date.After(r.Date) {
			continue
		}
		l, _ := r.labelOf(t)
		if open, known := opens(t, l, r.Bed.Site, r.Crops); known && open.After(t.End) && open.After(last) {
			last = open
		}
	}
	if last.After(r.Date.In(r.loc())) && last.Before(r.Date.AddDays(1).In(r.loc())) {
		d.when("not before %s: %s is closed until then", clock(last, r.loc()), r.Bed.Code)
	}
}

// startOn returns when the application on d begins, and false when only the
// day is known.
func (r Request) startOn(d civil.Date) (time.Time, bool) {
	if r.End.IsZero() || d != r.Date || r.noHour {
		return time.Time{}, false
	}
	return firstOf(r.Start, r.End), true
}

func firstOf(a, b time.Time) time.Time {
	if a.IsZero() {
		return b
	}
	return a
}

func clock(t time.Time, loc *time.Location) string {
	return t.In(loc).Format("Mon 2 Jan 2006 15:04 MST")
}
