package week

import (
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// leftUndone adds what stood in last week's list and has no record since. A
// step that this week's list gives again is marked there instead of being
// said twice.
func (b *builder) leftUndone(prev List) {
	for _, l := range prev.Lines {
		if l.Section != Do && l.Section != Scout && l.Section != Order || l.Action == "prevention" {
			continue
		}
		var undone []string
		for _, bed := range l.Beds {
			if !b.recorded(l, bed, prev.Today) {
				undone = append(undone, bed)
			}
		}
		if len(undone) == 0 {
			continue
		}
		if l.Section == Do || l.Section == Order {
			undone = slices.DeleteFunc(undone, func(bed string) bool { return b.markAgain(l.Ref, bed) })
		} else {
			undone = slices.DeleteFunc(undone, func(bed string) bool { return b.scoutedAgain(l, bed) })
		}
		if len(undone) == 0 {
			continue
		}
		what := l.Head
		if l.Section == Scout && isCheck(l) == "" {
			what = "count"
		}
		if l.Rung != Product {
			what = lowerStart(strings.TrimSuffix(what, "."))
		}
		var details []string
		for _, bed := range undone {
			details = appendNew(details, b.whyNoLonger(l, bed))
		}
		for i, why := range details {
			beds := slices.DeleteFunc(slices.Clone(undone), func(bed string) bool { return b.whyNoLonger(l, bed) != why })
			details[i] = what + ": " + strings.Join(beds, " ") + " (" + why + ")"
		}
		b.add(Line{
			Section: Left, Ref: "left:" + l.Pest, Pest: l.Pest, PestName: l.PestName, Beds: undone,
			Head:    upperFirst(l.PestName) + ", in the list of " + prev.Today.Short() + " and not recorded",
			Details: details,
			Sources: l.Sources,
			Traces:  tracesOf(l.Traces, undone),
		})
	}
}

func tracesOf(all []Trace, beds []string) []Trace {
	var out []Trace
	for _, t := range all {
		if slices.Contains(beds, t.Bed) {
			out = append(out, t)
		}
	}
	return out
}

// markAgain marks the lines of this week that give the same step in a bed.
func (b *builder) markAgain(ref, bed string) bool {
	found := false
	for i := range b.lines {
		if b.lines[i].Ref == ref && slices.Contains(b.lines[i].Beds, bed) {
			b.lines[i].Again, found = true, true
		}
	}
	return found
}

// scoutedAgain reports whether this week's list asks for the same count.
func (b *builder) scoutedAgain(prev Line, bed string) bool {
	found := false
	for i := range b.lines {
		l := &b.lines[i]
		if l.Section == Scout && l.Pest == prev.Pest && isCheck(*l) == isCheck(prev) && slices.Contains(l.Beds, bed) {
			l.Again, found = true, true
		}
	}
	return found
}

// whyNoLonger says why a step of last week is not in this week's list for a bed.
func (b *builder) whyNoLonger(l Line, bed string) string {
	if isCheck(l) != "" {
		return "too late to tell: look at the next one in time"
	}
	if l.Section == Scout {
		return "its turn comes again on the next round"
	}
	for _, x := range b.lines {
		if l.Section == Order && slices.Contains(x.Beds, bed) && (strings.HasPrefix(x.Ref, "not:"+l.Pest+":settled:") || strings.HasPrefix(x.Ref, "not:"+l.Pest+":stop:")) {
			return "see what must not be done: " + lowerStart(x.Head)
		}
	}
	i := slices.IndexFunc(b.in.Assessments, func(a assess.Assessment) bool {
		return a.Pest.Key == l.Pest && a.Bed.Code == bed
	})
	switch {
	case i < 0:
		return "no longer called for"
	case level(b.in.Assessments[i]) == "act":
		return "still over the action level, but not in this week's list"
	}
	return "now " + string(b.in.Assessments[i].Result.Verdict) + ": no longer called for"
}

// recorded reports whether the store holds what a line asked for in a bed, on
// or after the list's date and not after today.
func (b *builder) recorded(l Line, bed string, since civil.Date) bool {
	in := func(d civil.Date) bool { return !d.Before(since) && !d.After(b.in.Today) }
	switch {
	case isCheck(l) != "":
		return slices.ContainsFunc(b.in.Done, func(d farm.Done) bool {
			return d.Bed == bed && d.Pest == l.Pest && d.Action == farm.Settled+isCheck(l) && in(d.Date)
		})
	case l.Section == Scout:
		if b.looked == nil {
			b.looked = map[[2]string][]civil.Date{}
			for i := range b.in.Visits {
				v := &b.in.Visits[i]
				b.looked[[2]string{v.Bed, v.Pest}] = append(b.looked[[2]string{v.Bed, v.Pest}], v.Date)
			}
		}
		return slices.ContainsFunc(b.looked[[2]string{bed, l.Pest}], in)
	case l.Rung == Product:
		return slices.ContainsFunc(b.in.Treatments, func(t farm.Treatment) bool {
			return t.Bed == bed && t.Pest == l.Pest && in(t.Date)
		})
	case l.Rung == Biological:
		// What was let out must have been ordered.
		if slices.ContainsFunc(b.in.Releases, func(r farm.Release) bool {
			return r.Bed == bed && r.Pest == l.Pest && in(r.Date)
		}) {
			return true
		}
	}
	return slices.ContainsFunc(b.in.Done, func(d farm.Done) bool {
		return d.Bed == bed && d.Pest == l.Pest && d.Action == l.Action && in(d.Date)
	})
}
