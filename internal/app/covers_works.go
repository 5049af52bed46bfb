package app

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/cover"
	"leafturn/internal/farm"
	"leafturn/internal/pattern"
	"leafturn/internal/report"
	"leafturn/internal/units"
)

// CoverAmount is seed of one crop.
type CoverAmount struct {
	Cover  string   `json:"cover"`
	SeedKg *float64 `json:"seed_kg"`
}

// CoverWork is one piece of work of the plan.
type CoverWork struct {
	Task     string        `json:"task"`
	Beds     []string      `json:"beds"`
	Window   string        `json:"window"`
	Cover    string        `json:"cover"`
	Name     string        `json:"name"`
	First    *civil.Date   `json:"first"`
	Last     civil.Date    `json:"last"`
	Sowing   *int          `json:"sowing"`
	Sowings  *int          `json:"sowings"`
	Seeds    []CoverAmount `json:"seeds"`
	WaitDays *int          `json:"wait_days"`
	Text     string        `json:"text"`
	Notes    []string      `json:"notes"`
	Safety   []string      `json:"safety"`
}

// buriesFresh reports whether a cover of the catalogue is dug in fresh for its
// gas.
func (a *App) buriesFresh(key string) bool {
	c, ok := a.coverByKey(key)
	return ok && strings.Contains(strings.ToLower(c.TerminationNote+" "+c.Name), "biofumi")
}

func (a *App) coverByKey(key string) (catalog.Cover, bool) {
	for _, c := range a.cat.Covers() {
		if c.Key == key {
			return c, true
		}
	}
	return catalog.Cover{}, false
}

// mixCrops are the crops of a cover's or a mix's id, from the catalogue.
func (a *App) mixCrops(id string) []catalog.Cover {
	var out []catalog.Cover
	for _, key := range strings.Split(id, "+") {
		if c, ok := a.coverByKey(key); ok {
			out = append(out, c)
		}
	}
	return out
}

// coverWorks makes the works of a plan with their words.
func (a *App) coverWorks(in coverPlan, plan cover.Plan, today civil.Date) []CoverWork {
	out := []CoverWork{}
	for _, w := range cover.Works(plan, in.beds, in.site, in.rules, a.buriesFresh, in.sown...) {
		if w.Task == cover.BuySeed && w.Last.Before(today) { // late for a parcel, not for the seed
			w.Last = w.SowBy
			if w.Last.Before(today) {
				w.Last = today
			}
		}
		d := CoverWork{
			Task: string(w.Task), Beds: w.Beds, Window: string(w.Window), Cover: w.Cover, Name: w.Name, Last: w.Last,
			WaitDays: orNil(w.WaitDays), Seeds: []CoverAmount{}, Notes: []string{}, Safety: []string{},
		}
		if !w.First.IsZero() {
			d.First = &w.First
		}
		if w.Of > 1 {
			d.Sowing, d.Sowings = &w.Sowing, &w.Of
		}
		for _, s := range w.Seeds {
			x := CoverAmount{Cover: s.Crop.ID}
			if s.OK {
				x.SeedKg = &s.Seed.Kg
			}
			d.Seeds = append(d.Seeds, x)
		}
		d.Text = a.workText(w)
		a.workNotes(&d, w)
		out = append(out, d)
	}
	return out
}

// sownCovers are the covers of an earlier plan that stand in the beds, the crops
// of a mix together again.
func (a *App) sownCovers(stored []farm.PlannedCover, in coverPlan, today civil.Date) []cover.Sown {
	type place struct {
		bed       string
		sow, kill civil.Date
	}
	crops := map[place][]string{}
	var order []place
	for _, c := range stored {
		k := place{c.Bed, c.Sow, c.Kill}
		if c.Sow.After(today) || c.Kill.Before(today) {
			continue
		}
		if crops[k] == nil {
			order = append(order, k)
		}
		crops[k] = append(crops[k], c.Cover)
	}
	all := append(slices.Clone(in.options), cover.Mixes(in.options, 3)...)
	var out []cover.Sown
	for _, k := range order {
		slices.Sort(crops[k])
		rests := false
		for _, b := range in.beds {
			if b.Code == k.bed {
				next := civil.New(k.sow.Year, b.PlantBy.Month, b.PlantBy.Day)
				if next.Before(k.sow) {
					next = civil.New(k.sow.Year+1, b.PlantBy.Month, b.PlantBy.Day)
				}
				rests = k.kill.After(next)
			}
		}
		id := strings.Join(slices.Compact(crops[k]), "+")
		var found []cover.Option
		for _, o := range all {
			if o.Crop.ID == id && (len(found) == 0 || o.Rest == rests) {
				found = append(found, o)
			}
		}
		if len(found) > 0 {
			out = append(out, cover.Sown{Bed: k.bed, Option: found[len(found)-1], Sow: k.sow, Kill: k.kill})
		}
	}
	return out
}

// workText is a work in one sentence, without its beds.
func (a *App) workText(w cover.Work) string {
	again := ""
	if w.Of > 1 {
		again = fmt.Sprintf(" (sowing %d of %d)", w.Sowing, w.Of)
	}
	switch w.Task {
	case cover.BuySeed:
		return "Have seed at hand: " + a.amounts(w.Seeds)
	case cover.SowIt, cover.SowAgain:
		return "Sow " + w.Name + again + ": " + a.amounts(w.Seeds)
	case cover.LookAt:
		return "Look whether " + w.Name + " has come up" + again
	case cover.EndIt:
		return "End " + w.Name + again + ": mow or cut it, or turn it in"
	case cover.BuryIt:
		return "Chop " + w.Name + again + ", turn it in within minutes and seal the soil"
	case cover.WaitFor:
		next := "plant dahlias"
		if w.Next != cover.PlantOut {
			next = "sow the next cover"
		}
		return fmt.Sprintf("Wait %s after the end of %s, then %s", counted(w.WaitDays, "day", "days"), w.Name, next)
	}
	return "Plant dahlias"
}

// amounts is seed in both systems of units.
func (a *App) amounts(seeds []cover.PartSeed) string {
	var out []string
	for _, s := range seeds {
		words := "amount not known"
		if s.OK {
			words = a.weight(s.Seed.Kg)
		}
		if len(seeds) > 1 || s.Seed.SowingsInAll == 0 {
			words += " of " + s.Crop.Name
		}
		out = append(out, words)
	}
	return strings.Join(out, " and ")
}

// weight is a weight of seed in the farm's units.
func (a *App) weight(kg float64) string {
	if a.farm.Units.IsUS() {
		return few(units.Of(kg, "kg").MustIn("lb")) + " lb"
	}
	return few(kg) + " kg"
}

// few writes a number with three figures that count, and whole above 100.
func few(v float64) string {
	switch {
	case v >= 99.95:
		return fmt.Sprintf("%.0f", v)
	case v >= 9.995:
		return trimmed("%.1f", v)
	case v >= 0.9995:
		return trimmed("%.2f", v)
	}
	return trimmed("%.3f", v)
}

// trimmed leaves out the noughts at the end of a decimal number.
func trimmed(format string, v float64) string {
	return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf(format, v), "0"), ".")
}

// hazards are words of a caution that belong among the safety lines.
var hazards = []string{"prussic acid", "irritant", "poison", "toxic"}

// workNotes adds what to know and what to take care of.
func (a *App) workNotes(d *CoverWork, w cover.Work) {
	note := func(format string, args ...any) { d.Notes = append(d.Notes, fmt.Sprintf(format, args...)) }
	care := func(s string) { d.Safety = append(d.Safety, s) }
	crops := a.mixCrops(w.Cover)
	of := func(c catalog.Cover) string { // whose note it is, where that can be asked
		if len(crops) > 1 {
			return c.Name + ": "
		}
		return ""
	}
	switch w.Task {
	case cover.BuySeed:
		for _, c := range crops {
			if c.Legume {
				note("order the inoculant of its own group with it (common practice)")
			}
		}
	case cover.SowIt, cover.SowAgain:
		for _, c := range crops {
			if c.MinSoilC != nil {
				note("%ssoil at %s or more", of(c), a.farm.Units.Temp(*c.MinSoilC))
			}
			if c.Legume {
				note("%smoisten the seed, mix it with its inoculant in the shade and sow it the same day; large seed (pea, bean) may soak overnight first (common practice)", of(c))
			}
		}
		if w.Window == cover.RestYear {
			note("water it for the first 2 to 3 weeks if it stays dry (common practice)")
		}
		care("coloured seed is treated: gloves, the tag's own words hold, never feed or compost what is left (common practice)")
	case cover.LookAt:
		if w.SowBy.Before(w.First) {
			note("gaps cannot be sown again by then: note where it is thin")
		} else {
			note("sow gaps again until %s", w.SowBy.Short())
		}
	case cover.EndIt, cover.BuryIt:
		for _, c := range crops {
			if c.TerminationNote != "" && (w.Task == cover.BuryIt || !strings.HasPrefix(c.TerminationNote, "For biofumigation")) {
				note("%s%s (%s)", of(c), lowerFirst(c.TerminationNote), c.Bases.Termination)
			}
		}
		d.Notes = append(d.Notes, w.Cold...)
		if w.Task == cover.EndIt {
			for _, c := range crops {
				if a.buriesFresh(c.Key) {
					note("%sa stand sown in autumn, or ended before it flowers in warm soil, gives off too little gas to clean the soil (published)", of(c))
				}
			}
		}
		care("mower, flail, knife and spade: boots, eyes covered, bystanders away; stop the engine before you clear it (common practice)")
		if w.Task == cover.BuryIt {
			care("its gas stings eyes and lungs: work upwind with the next passes planned, goggles and gloves, no one near until the soil is sealed and aired (common practice)")
			care("not within 6 weeks of releasing insect-killing nematodes (from memory)")
		}
		for _, c := range crops {
			for _, part := range strings.Split(c.Caution, ";") {
				for _, h := range hazards {
					if strings.Contains(strings.ToLower(part), h) {
						care(of(c) + strings.TrimSpace(part))
						break
					}
				}
			}
		}
	}
}

// bedWords names beds; there are so many in all.
func bedWords(beds []string, all int) string {
	switch {
	case all > 1 && len(beds) == all:
		return "all beds"
	case len(beds) > 8:
		return counted(len(beds), "bed", "beds")
	}
	return strings.Join(beds, ", ")
}

// worksSection lists the works in the order of the days.
func (a *App) worksSection(works []CoverWork, beds int) report.Section {
	sec := report.Section{Key: "works", Title: "The work, from day to day"}
	for _, w := range works {
		it := report.Item{Box: true, Mark: w.Task, Head: report.Plain(w.Text + "; " + bedWords(w.Beds, beds)), Due: report.Due{By: w.Last}, Details: report.Lines(w.Notes...), Safety: report.Lines(w.Safety...)}
		if w.First != nil {
			it.Due.From = *w.First
		}
		if len(w.Beds) > 8 && len(w.Beds) < beds {
			it.Details = append([]report.Line{report.Plain("beds: " + strings.Join(w.Beds, ", "))}, it.Details...)
		}
		sec.Items = append(sec.Items, it)
	}
	sec.Notes = report.Lines("the days to sow are the earliest and the last on which the plan still holds; every later work moves with the day on which you sow",
		"seed is wanted 14 days before sowing, a stand is looked at after 14 to 28 days, and a cover over winter is kept until its last 14 days (common practice)")
	return sec
}

var urlAtEnd = pattern.New(`\s*(https?://\S+)$`)

// readAt finds where one group of a cover's numbers was read: the sources are
// written "soil temp,rate: title url | price: title url". A label stands for
// itself, and for what begins with it and goes on in brackets or after a comma.
func readAt(c catalog.Cover, basis string, labels ...string) assess.Ref {
	ref := assess.Ref{Basis: basis}
	for _, label := range labels {
		for _, part := range strings.Split(c.Source, " | ") {
			heads, text, ok := strings.Cut(part, ": ")
			if !ok || ref.Source != "" {
				continue
			}
			for _, h := range strings.Split(heads, ",") {
				if h = strings.TrimSpace(h); h == label || strings.HasPrefix(h, label+" (") {
					if m := urlAtEnd().FindStringSubmatch(text); m != nil {
						ref.URL = m[1]
					}
					ref.Source = urlAtEnd().ReplaceAllString(text, "")
				}
			}
		}
	}
	return ref
}

// citeCover adds to a line where a cover's numbers were read; where the row names
// no source, it says their basis.
func citeCover(words string, ref assess.Ref, src *sources) report.Line {
	if ref.Source != "" {
		return report.Plain(words).Cite(src.cite(ref)...)
	}
	if ref.Basis == "mixed" {
		ref.Basis = "partly published, partly from memory"
	}
	return report.Plain(words + " (" + ref.Basis + ")")
}

// counted is a number and what it counts.
func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
