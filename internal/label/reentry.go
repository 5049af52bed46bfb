package label

import (
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// REI returns the re-entry interval in hours for a site and the crops of a
// bed (empty is dahlias), and its state. Where the label prints an interval
// beside each site or crop, the longest of those that match governs (40 CFR
// 156.208(b)); otherwise the label's one interval does. An empty site takes
// the longest of all. The hours are 0 when none is stated or it is unknown.
func REI(l farm.Label, site farm.Site, crops ...string) (float64, farm.State) {
	if len(crops) == 0 {
		crops = []string{"dahlias"}
	}
	var hours float64
	state, found := farm.NoneStated, false
	for _, s := range l.Sites {
		match := site == "" || s.Where == site && slices.ContainsFunc(crops, func(c string) bool { return covers(s.Crop, c) })
		if !match {
			continue
		}
		found = true
		v := s.REIHours
		if !v.Has() && l.REIHours.Known() || !v.Known() {
			v = l.REIHours
		}
		switch {
		case !v.Known():
			return 0, farm.NotRead
		case v.Has():
			hours, state = max(hours, v.Value), farm.IsStated
		}
	}
	if !found { // an application on a site that is not listed: the longest figure there is
		if !l.REIHours.Known() {
			return 0, farm.NotRead
		}
		state, hours = l.REIHours.State, l.REIHours.Value
		for _, s := range l.Sites {
			if s.REIHours.Has() {
				state, hours = farm.IsStated, max(hours, s.REIHours.Value)
			}
		}
	}
	if state == farm.NoneStated {
		return 0, state
	}
	return hours, state
}

// opens returns when the bed opens after a treatment, false when unknown.
func opens(t farm.Treatment, l farm.Label, site farm.Site, crops []string) (time.Time, bool) {
	h, state := REI(l, site, crops...)
	if state == farm.NotRead || l.Key == "" {
		return time.Time{}, false
	}
	return t.End.Add(hours(h)), true
}

// Opening tells when a bed is open again after its treatments.
type Opening struct {
	Bed   string
	Known bool      // false: an interval is unknown, so the bed stays closed
	Open  bool      // at the moment asked about; false when not Known
	At    time.Time // the latest end of the re-entry intervals that are known
	Label string    // the label that governs: of At, or the one to be read

	HarvestKnown bool
	HarvestFrom  civil.Date // first day of cutting by the pre-harvest intervals; zero is no limit
	CutWhen      []string   // events that cutting waits for besides, as the labels say
	// PlantKnown is false when a planting-back interval was not read; PlantFrom
	// is the first day of planting by those that were, zero is no limit.
	PlantKnown bool
	PlantFrom  civil.Date
	Words      string
}

// Reentry returns, for each bed with a treatment, when people may work in it
// again and from when flowers may be cut; sorted by bed.
//
// Re-entry counts in elapsed hours from the end of each application; the
// latest end governs, also of products applied together (40 CFR 170.305 and
// 170.407). Days to harvest count from the date of the application, which is
// day 0. When only the date was given, the end is the end of that day. A
// label that is missing or whose interval nobody has read closes the bed
// until it is read. An interval printed beside a crop or a site counts for the
// beds of that crop and site; a bed that is not among beds takes the longest
// interval of the label. loc is the farm's zone, for the words and for dates.
func Reentry(ts []farm.Treatment, labels map[string]farm.Label, beds map[string]farm.Bed, loc *time.Location, now time.Time) []Opening {
	by := map[string][]farm.Treatment{}
	for _, t := range ts {
		by[t.Bed] = append(by[t.Bed], t)
	}
	out := make([]Opening, 0, len(by))
	for bed, list := range by {
		sort.SliceStable(list, func(i, j int) bool { return list[i].End.Before(list[j].End) })
		out = append(out, opening(bed, list, labels, beds[bed], loc, now))
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Bed < out[j].Bed })
	return out
}

func opening(bed string, list []farm.Treatment, labels map[string]farm.Label, at farm.Bed, loc *time.Location, now time.Time) Opening {
	o := Opening{Bed: bed, Known: true, HarvestKnown: true, PlantKnown: true}
	var last farm.Treatment
	var unread, unreadPHI []string
	for _, t := range list {
		l := labels[t.Label]
		ends, known := opens(t, l, at.Site, []string{at.CropWord()})
		switch {
		case !known:
			unread = append(unread, t.Label)
		case o.At.IsZero() || ends.After(o.At):
			o.At, o.Label, last = ends, t.Label, t
		}
		switch {
		case !l.PHIDays.Known():
			unreadPHI = append(unreadPHI, t.Label)
		case l.PHIDays.Has():
			if d := t.Date.AddDays(l.PHIDays.Value); d.After(o.HarvestFrom) {
				o.HarvestFrom = d
			}
		}
	}
	for _, t := range list {
		l := labels[t.Label]
		if v, ok := l.PHIEvent.Get(); ok && !slices.Contains(o.CutWhen, v) {
			o.CutWhen = append(o.CutWhen, v)
		}
		if !l.PlantBack.Known() {
			o.PlantKnown = false
		} else if d := t.Date.AddDays(l.PlantBack.Value); l.PlantBack.Has() && d.After(o.PlantFrom) {
			o.PlantFrom = d
		}
	}
	o.Known, o.HarvestKnown = len(unread) == 0, len(unreadPHI) == 0
	switch {
	case !o.Known:
		o.Label = unread[len(unread)-1]
		o.Words = fmt.Sprintf("%s is closed until the label is read: the re-entry interval of %q is unknown (%s)", bed, named(labels, o.Label), agBox)
	case now.Before(o.At):
		o.Words = fmt.Sprintf("%s is closed until %s, after %s ended %s", bed, clock(o.At, loc), named(labels, o.Label), clock(last.End, loc))
		if !last.EndKnown {
			o.Words += " (the hour of the end was not given, so it counts from the end of that day)"
		}
	default:
		o.Open = true
		o.Words = fmt.Sprintf("%s is open since %s", bed, clock(o.At, loc))
	}
	today := civil.DateIn(now, loc)
	switch {
	case !o.HarvestKnown:
		o.Words += fmt.Sprintf("; no cutting until the label is read: the pre-harvest interval of %q is unknown (%s)", named(labels, unreadPHI[len(unreadPHI)-1]), directions)
	case today.Before(o.HarvestFrom):
		o.Words += fmt.Sprintf("; no cutting before %s %d", o.HarvestFrom.Short(), o.HarvestFrom.Year)
	}
	for _, w := range o.CutWhen {
		o.Words += "; cut only when " + w
	}
	if today.Before(o.PlantFrom) {
		o.Words += fmt.Sprintf("; nothing is planted there before %s", o.PlantFrom)
	}
	return o
}

// named is the product's name, or the key where no label of it is kept.
func named(labels map[string]farm.Label, key string) string {
	if l := labels[key]; l.Product != "" {
		return l.Product
	}
	return key
}

// handLabour are tasks with much contact with plants or soil, which are never
// a short early-entry task. Source: US EPA, protections for workers who must
// enter treated areas early (40 CFR 170.305, 170.603).
var handLabour = []string{"harvest", "cut", "weed", "thin", "plant", "prune", "pinch", "disbud", "rogue", "dig", "stake", "tie", "pack", "scout", "deadhead"}

// Enter tells whether a task may be done in a bed at a time. It never grants
// early entry: inside the interval it refuses, and for a task without hand
// labour it also tells the conditions of US law and who decides.
func Enter(o Opening, task string, at time.Time, loc *time.Location) (bool, string) {
	plants := strings.Contains(strings.ToLower(task), "plant") || strings.Contains(strings.ToLower(task), "sow")
	cuts := strings.Contains(strings.ToLower(task), "harvest") || strings.Contains(strings.ToLower(task), "cut")
	switch {
	case !o.Known:
		return false, o.Words
	case at.Before(o.At):
		hand := slices.ContainsFunc(handLabour, func(w string) bool { return strings.Contains(strings.ToLower(task), w) })
		words := fmt.Sprintf("%s is closed until %s", o.Bed, clock(o.At, loc))
		if hand {
			return false, words + "; hand labour such as " + task + " is not a short-term early-entry task"
		}
		return false, words + "; early entry is not decided here: US law asks for no entry in the first 4 hours, at most 1 hour in 24, no hand labour, and the early-entry protective equipment of the label; ask a licensed person"
	case plants && !o.PlantKnown:
		return false, fmt.Sprintf("no planting in %s until the label is read: the planting-back interval is unknown (%s)", o.Bed, directions)
	case plants && civil.DateIn(at, loc).Before(o.PlantFrom):
		return false, fmt.Sprintf("no planting in %s before %s (planting-back interval)", o.Bed, o.PlantFrom)
	case cuts && !o.HarvestKnown:
		return false, o.Words
	case cuts && civil.DateIn(at, loc).Before(o.HarvestFrom):
		return false, fmt.Sprintf("no cutting in %s before %s (pre-harvest interval)", o.Bed, o.HarvestFrom)
	}
	return true, o.Bed + " is open"
}
