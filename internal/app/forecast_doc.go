package app

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/climate"
	"leafturn/internal/forecast"
	"leafturn/internal/growth"
	"leafturn/internal/report"
	"leafturn/internal/week"
)

// forecastDocument says it in sentences first, with the tables under them.
func (a *App) forecastDocument(d ForecastData, p catalog.Pest, o *outlooks, bed string) *report.Document {
	title := "Forecast: " + p.Name
	if bed != "" {
		title += " in " + bed
	}
	doc := a.document(title, d.From)
	src := &sources{}
	switch {
	case !d.Density:
		doc.Sections = append(doc.Sections, report.Section{Key: "density", Lead: report.Plain("No density is told: " + d.Why + ". `leafturn trend " + p.Key + "` says what your own counts have done.")})
		if len(d.Nights) > 0 {
			doc.Sections = append(doc.Sections, a.gateSection(d, tempUnits(a.farm.Units)))
		}
		doc.Sections = append(doc.Sections, actionsSection(d))
	case bed != "":
		for i := range d.Beds {
			doc.Sections = append(doc.Sections, bedSections(&d.Beds[i], p, d.From)...)
		}
	default:
		doc.Sections = append(doc.Sections, fieldForecast(d, p))
	}
	if slices.ContainsFunc(d.Beds, func(b ForecastBed) bool { return b.Why == "" }) {
		doc.Sections = append(doc.Sections, a.restsOn(d, p, o, src))
	}
	if len(d.Clocks) > 0 || len(d.Words) > 0 {
		doc.Sections = append(doc.Sections, clockSection(d))
	}
	doc.Sources = src.list
	doc.Data = d
	return doc
}

// gateSection says which nights or days suit the pest: yes, no or unknown.
func (a *App) gateSection(d ForecastData, u tempUnits) report.Section {
	title, prefix, note := "Slug night", "slugs: ", "Bait slugs on a favourable night, where counts ask for it and as the label allows; traps on other nights tell nothing. Wind is not in the record: `leafturn ahead slug --wind "+u.breeze()+"` gives tonight's."
	if d.Pest != "slug" {
		title, prefix, note = "Soil baits valid", "baits: ", "A bait in soil that is cold or dry tells nothing of what is there."
	}
	t := &report.Table{Columns: []report.Column{{Title: "Evening"}, {Title: "Night", Unit: "°" + u.name(), Decimals: 0}, {Title: "Weather"}, {Title: title}, {Title: "Why"}}}
	for _, n := range d.Nights {
		night := report.MissingAs("–", "a day is missing")
		if n.NightC != nil {
			night = report.Num(u.of(*n.NightC), 0)
		}
		is := n.Bait
		if d.Pest == "slug" {
			if is = n.Slug; n.SlugIf != "" {
				is = "favourable if " + n.SlugIf
			}
		}
		var why []string
		for _, w := range n.Why {
			if rest, ok := strings.CutPrefix(w, prefix); ok {
				why = append(why, rest)
			}
		}
		t.Rows = append(t.Rows, []report.Value{report.Day(n.Date), night, report.Text(kindWord(climate.Kind(n.Kind))), report.Text(is), report.Text(strings.Join(why, "; "))})
	}
	return report.Section{Key: "nights", Title: "The coming nights and days", Table: t, Notes: report.Lines(note)}
}

// clockSection is the stages, which are told beyond two weeks.
func clockSection(d ForecastData) report.Section {
	t := &report.Table{Columns: []report.Column{{Title: "Of"}, {Title: "Stage"}, {Title: "Start"}, {Title: "Done"}, {Title: "Earliest"}, {Title: "Expected"}, {Title: "Latest"}, {Title: "Weather"}}}
	sec := report.Section{Key: "stages", Title: "Stages"}
	if d.Density {
		sec.Lead = report.Plain(fmt.Sprintf("Beyond %d days no count tells a density: scout again. Stages can be told:", forecast.MostDays))
	}
	var notes []string
	for _, c := range d.Clocks {
		if c.Unknown != "" {
			for _, s := range c.Stages {
				notes = append(notes, fmt.Sprintf("%s, %s: not known; %s.", c.Name, s.Row.Stage, c.Unknown))
			}
			continue
		}
		for i, s := range c.Stages {
			if shownStage(c.Stages, i, d.From) {
				t.Rows = append(t.Rows, stageCells(c, s, d.From))
			}
		}
	}
	if len(t.Rows) > 0 {
		sec.Table = t
		notes = append(notes, "`leafturn ahead "+d.Pest+"` says what they rest on, and what to do around them.")
	}
	sec.Notes = report.Lines(append(notes, d.Words...)...)
	return sec
}

// actionsSection says which products and natural enemies are open now.
func actionsSection(d ForecastData) report.Section {
	sec := report.Section{Key: "actions", Title: "What is open now"}
	if len(d.Actions) == 0 {
		sec.Lead = report.Plain("No product and no natural enemy is known against them at these stages; hand work is in `leafturn week`.")
	}
	for _, g := range d.Actions {
		it := report.Item{Head: report.Plain(fmt.Sprintf("%s — %s: %s", g.Name, openWord(g.Open), bedsWords(g.Beds))), Details: report.Lines(append(slices.Clone(g.Why), g.LookUp...)...)}
		sec.Items = append(sec.Items, it)
	}
	sec.Notes = report.Lines("open: the calendar and the label as it was entered allow it; whether counts ask for it is in `leafturn week`. The label and local law outrank this page.")
	return sec
}

func openWord(open bool) string {
	if open {
		return "open"
	}
	return "not open"
}

func bedsWords(beds []string) string {
	if len(beds) > 12 {
		return fmt.Sprintf("%d beds", len(beds))
	}
	return strings.Join(beds, " ")
}

// wordsOf is the words of a bed's measure, from the pest's facts.
func wordsOf(p catalog.Pest, b ForecastBed) string {
	if b.Measure == "" {
		return p.Name
	}
	return strings.ReplaceAll(b.Measure, "_", " ")
}

// bedSections are one bed's sentences, its days, and what could be done.
func bedSections(b *ForecastBed, p catalog.Pest, today civil.Date) []report.Section {
	name := b.Bed
	if b.HotSpot {
		name = "the hot spot in " + b.Bed
	}
	key := "days"
	if b.HotSpot {
		key = "hot-spot"
	}
	sec := report.Section{Key: key}
	if b.HotSpot {
		sec.Title = "Hot spot"
	}
	if b.Why != "" {
		sec.Lead = report.Plain(fmt.Sprintf("%s: no forecast: %s.", upperWord(name), strings.TrimSuffix(b.Why, ".")))
		return append([]report.Section{sec}, actionSection(b, key)...)
	}
	w := &b.Ways[0]
	sec.Lead = report.Plain(strings.Join(forecastSentences(b, w, p, name, today), " "))
	t := &report.Table{Columns: []report.Column{{Title: "Day"}, {Title: "Weather"}, {Title: "Middle"}, {Title: "Half lie in"}, {Title: "9 in 10 lie in"}, {Title: "Over then"}, {Title: "Over by then"}}}
	for _, x := range w.Days {
		kind := report.MissingAs("–", "the last day: its weather shows on the next")
		if x.Weather != "" {
			kind = report.Text(kindWord(climate.Kind(x.Weather)))
		}
		t.Rows = append(t.Rows, []report.Value{report.Day(x.Date), kind, report.Text(b.density(x.Median)), b.band(x.Low50, x.High50), b.band(x.Low90, x.High90), chanceText(x.Over), chanceText(x.Within)})
	}
	sec.Table = t
	sec.Notes = report.Lines(b.Words...)
	return append([]report.Section{sec}, actionSection(b, key)...)
}

// leastTold is the least density that is told as a number.
const leastTold = 0.005

// density writes a density, "50+" where it is overrun.
func (b *ForecastBed) density(v float64) string {
	if v < leastTold {
		return "almost none"
	}
	if b.Overrun != nil && v >= *b.Overrun*(1-1e-9) {
		return week.Number(*b.Overrun) + "+"
	}
	return week.Number(v)
}

func (b *ForecastBed) band(low, high float64) report.Value {
	switch {
	case high < leastTold:
		return report.Text(b.density(high))
	case low < leastTold:
		return report.Text("0 to " + b.density(high))
	}
	if b.density(low) == b.density(high) {
		return report.Text(b.density(high))
	}
	return report.Text(b.density(low) + " to " + b.density(high))
}

func rangeCell(low, high float64) report.Value {
	return report.Text(week.Number(low) + " to " + week.Number(high))
}

func chanceText(p *float64) report.Value {
	if p == nil {
		return report.MissingAs("–", "no action level is known")
	}
	return report.Percent(*p)
}

// forecastSentences say a forecast in plain words.
func forecastSentences(b *ForecastBed, w *ForecastWay, p catalog.Pest, name string, today civil.Date) []string {
	end := w.Days[len(w.Days)-1]
	unit := wordsOf(p, *b)
	out := []string{fmt.Sprintf("%s had %s %s on %s.", upperWord(name), week.Number(*b.Value), unit, b.Counted.Short()),
		fmt.Sprintf("If nothing more is done it could have %s on %s; %s.", b.density(end.Median), end.Date.Short(), b.spreadWords(end))}
	if b.ActFrom == nil {
		return append(out, "No action level is known in this measure at this stage, so no chance of passing one.")
	}
	now, by := w.Days[0], *end.Within
	level := "the action level of " + week.Number(*b.ActFrom)
	switch {
	case *now.Over >= 0.5:
		out = append(out, fmt.Sprintf("It is likely over %s already: %s today.", level, forecast.Chance(*now.Over)))
	default:
		out = append(out, fmt.Sprintf("The chance that it is over %s by then, on any day: %s.", level, forecast.Chance(by)))
		if w.EvenBy != nil {
			out = append(out, fmt.Sprintf("From %s on that is as likely as not.", w.EvenBy.Short()))
		} else if w.Expected != nil {
			out = append(out, fmt.Sprintf("If it does pass it, then on about %s.", w.Expected.Short()))
		}
	}
	return out
}

// spreadWords says in what band a day's density lies.
func (b *ForecastBed) spreadWords(d ForecastDay) string {
	switch {
	case b.density(d.Low90) == b.density(d.High90):
		return "that holds in more than 9 of 10 chances"
	case d.Low90 < leastTold:
		return "9 in 10 chances lie between none and " + b.density(d.High90)
	}
	return fmt.Sprintf("9 in 10 chances lie between %s and %s", b.density(d.Low90), b.density(d.High90))
}

// actionSection compares what could be done with doing nothing, and says of
// the rest why not.
func actionSection(b *ForecastBed, key string) []report.Section {
	if len(b.Ways) == 0 {
		return nil
	}
	sec := report.Section{Key: key + "-actions", Title: "What could be done now"}
	if b.HotSpot {
		sec.Title = "What could be done in the hot spot"
	}
	t := &report.Table{Columns: []report.Column{{Title: "What"}, {Title: "On"}, {Title: "Middle then"}, {Title: "9 in 10 lie in"}, {Title: "Over then"}, {Title: "Over by then"}, {Title: "Course"}}}
	var notes []string
	for _, w := range b.Ways {
		if w.Reckoned && len(w.Days) > 0 {
			end := w.Days[len(w.Days)-1]
			on, course := report.MissingAs("–", "nothing is done"), report.MissingAs("–", "no predators are reckoned with")
			if w.On != nil {
				on = report.Day(*w.On)
			}
			if w.Outcome != "" {
				course = report.Text(w.Outcome)
			}
			t.Rows = append(t.Rows, []report.Value{report.Text(w.Name), on, report.Text(b.density(end.Median)), b.band(end.Low90, end.High90), chanceText(end.Over), chanceText(end.Within), course})
			if !b.HotSpot && w.How != "" {
				notes = append(notes, w.Name+": "+strings.Join(append([]string{w.How}, w.Notes...), "; "))
			}
		}
	}
	if len(t.Rows) > 1 || b.HotSpot && len(t.Rows) > 0 {
		sec.Table = t
	}
	var hand []string
	open := "open"
	for _, w := range b.Ways {
		switch {
		case w.Reckoned, b.HotSpot: // said of the bed already
		case w.Open && !strings.HasPrefix(w.Key, "agent:") && !strings.HasPrefix(w.Key, "label:"):
			hand = append(hand, w.Name)
			if len(w.Notes) > 0 { // the bed is closed, for all hand work alike
				open = fmt.Sprintf("open from %s, %s", w.On.Short(), strings.Join(w.Notes, "; "))
			}
		case w.Open:
			notes = append(notes, fmt.Sprintf("%s: open from %s, but not reckoned: %s", w.Name, w.On.Short(), w.How))
		default:
			notes = append(notes, fmt.Sprintf("%s: not open: %s%s", w.Name, strings.Join(w.Why, "; "), lookUpWords(w.LookUp)))
		}
	}
	if len(hand) > 0 {
		notes = append(notes, fmt.Sprintf("by hand (%s): %s, but what it does here is not known yet: count before and after it, and `leafturn worked` tells", strings.Join(hand, ", "), open))
	}
	sec.Notes = report.Lines(notes...)
	if sec.Table == nil && len(notes) == 0 {
		return nil
	}
	return []report.Section{sec}
}

func lookUpWords(words []string) string {
	if len(words) == 0 {
		return ""
	}
	return " (" + strings.Join(words, "; ") + ")"
}

// fieldForecast is all beds in a table, the likeliest to pass the level first.
func fieldForecast(d ForecastData, p catalog.Pest) report.Section {
	sec := report.Section{Key: "beds", Title: "Beds"}
	t := &report.Table{Columns: []report.Column{{Title: "Bed"}, {Title: "Counted"}, {Title: "Had"}, {Title: "Could have"}, {Title: "9 in 10 lie in"}, {Title: "Until"}, {Title: "Over by then"}, {Title: "Even chance from"}}}
	var told, not []ForecastBed
	for _, b := range d.Beds {
		if b.Why != "" {
			not = append(not, b)
		} else {
			told = append(told, b)
		}
	}
	within := func(b ForecastBed) float64 {
		days := b.Ways[0].Days
		if p := days[len(days)-1].Within; p != nil {
			return *p
		}
		return -1
	}
	slices.SortStableFunc(told, func(x, y ForecastBed) int {
		switch a, b := within(x), within(y); {
		case a > b:
			return -1
		case a < b:
			return 1
		}
		return 0
	})
	likely := []string{}
	for _, b := range told {
		w := b.Ways[0]
		end := w.Days[len(w.Days)-1]
		name := b.Bed
		if b.HotSpot {
			name += " (hot spot)"
		} else if within(b) >= 0.5 {
			likely = append(likely, b.Bed)
		}
		even := report.MissingAs("–", "not within these days")
		if w.EvenBy != nil {
			even = report.Text(w.EvenBy.Short())
			if !w.EvenBy.After(d.From) {
				even = report.Text("now")
			}
		}
		t.Rows = append(t.Rows, []report.Value{report.Text(name), report.Day(*b.Counted), report.Text(week.Number(*b.Value)), report.Text(b.density(end.Median)), b.band(end.Low90, end.High90), report.Day(end.Date), chanceText(end.Within), even})
	}
	switch {
	case len(told) == 0:
		sec.Lead = report.Plain("No bed has a count that a forecast can start from.")
	case len(likely) > 0:
		sec.Lead = report.Plain(fmt.Sprintf("As likely as not, or likelier, these beds are over the action level within the days told: %s. `leafturn forecast %s BED` says what could be done.", bedsWords(likely), p.Key))
	default:
		sec.Lead = report.Plain("In no bed is it as likely as not that the action level is passed within the days told.")
	}
	if len(told) > 0 {
		sec.Table = t
		sec.Notes = append(sec.Notes, report.Plain("had, could have: "+wordsOf(p, told[0])+", where a bed is not counted in another unit"))
	}
	var reasons []string
	by := map[string][]string{}
	for _, b := range not {
		if by[b.Why] == nil {
			reasons = append(reasons, b.Why)
		}
		by[b.Why] = append(by[b.Why], b.Bed)
	}
	for _, why := range reasons {
		sec.Notes = append(sec.Notes, report.Plain(fmt.Sprintf("no forecast of %s: %s", bedsWords(by[why]), why)))
	}
	return sec
}

// restsOn says what a forecast rests on, and what it leaves out.
func (a *App) restsOn(d ForecastData, p catalog.Pest, o *outlooks, src *sources) report.Section {
	sec := report.Section{Key: "rests-on", Title: "What it rests on"}
	add := func(l report.Line) { sec.Notes = append(sec.Notes, l) }
	own, table := []string{}, []string{}
	var days []ForecastDay
	predators, rest := false, civil.Date{}
	for _, b := range d.Beds {
		if b.Why != "" || b.HotSpot {
			continue
		}
		if b.OwnRate != nil {
			own = append(own, b.Bed)
		} else {
			table = append(table, b.Bed)
		}
		if n := len(b.Ways[0].Days) - 1; n > len(days) {
			days = b.Ways[0].Days[:n]
		}
		for _, w := range b.Ways {
			predators = predators || w.Outcome != ""
		}
	}
	var refs []assess.Ref
	for _, r := range o.curve.Points {
		refs = append(refs, refOf(r.Provenance))
	}
	if len(own) > 0 {
		add(report.Plain(fmt.Sprintf("Growth in %s: the bed's own counts since the last step, which replace the laboratory's rate as far as they are sure; before they speak, a quarter of that rate is taken, as enemies and the plant hold mites back in the field.", bedsWords(own))).Cite(src.cite(refs...)...))
	}
	if len(table) > 0 {
		add(report.Plain(fmt.Sprintf("Growth in %s: a laboratory's rates by temperature, hour by hour, times %g to %g. They are upper bounds (young leaves, no rain, no enemies) and were not measured on dahlia: read \"could\", never \"will\". A second count, 4 to 14 days on, replaces them.",
			bedsWords(table), o.curve.Low, o.curve.High)).Cite(src.cite(refs...)...))
	}
	var since []ForecastDay
	for _, s := range o.starts {
		if n := min(d.From.Sub(s.day), len(s.used)); s.why == "" && n > len(since) {
			since = nil
			for _, x := range s.used[:n] {
				since = append(since, ForecastDay{Weather: string(x.Kind)})
			}
		}
	}
	if len(since) > 0 {
		add(report.Plain("Weather since the count: " + kindsOf(since) + "."))
	}
	if len(days) > 0 {
		words := "Weather of the days ahead: " + kindsOf(days) + "."
		usual := slices.ContainsFunc(days, func(x ForecastDay) bool { return x.Weather == string(climate.Normal) })
		if usual {
			words += " " + o.w.normalsWords()
		}
		u, off := tempUnits(a.farm.Units), []string{}
		if slices.ContainsFunc(days, func(x ForecastDay) bool { return x.Weather == string(climate.Forecast) }) {
			off = append(off, plainNumber(u.dd(foreseenSD))+" °"+u.name()+" from a forecast")
		}
		if usual && o.w.normals.Years == 0 {
			off = append(off, plainNumber(u.dd(usualSD))+" °"+u.name()+" from a usual day")
		}
		if len(off) > 0 {
			words += " True temperatures are taken to lie " + strings.Join(off, " and ") + " as a rule (common practice)."
		}
		add(report.Plain(words))
	}
	var gap, hot civil.Date
	for _, s := range o.starts {
		if !s.hot.IsZero() && s.why == "" && (hot.IsZero() || s.hot.Before(hot)) {
			hot = s.hot
		}
		if !s.rest.IsZero() && (rest.IsZero() || s.rest.Before(rest)) {
			rest = s.rest
		}
		if !s.gap.IsZero() && s.why == "" && (gap.IsZero() || s.gap.Before(gap)) {
			gap = s.gap
		}
	}
	if !hot.IsZero() {
		add(report.Plain(fmt.Sprintf("The forecast ends before the heat: %s. Count again after it.", o.hotWords(hot))))
	}
	if !gap.IsZero() {
		what, do := o.w.gap(gap, gap, o.fill)
		add(report.Plain(fmt.Sprintf("The forecast ends where the weather does: %s. To go on, %s.", what, do)))
	}
	if !rest.IsZero() {
		add(report.Plain(fmt.Sprintf("The forecast ends on %s: from then on %s go to their winter rest.", rest.Short(), p.Name)))
	} else if a.farm.Latitude == nil {
		add(report.Plain("Whether they go to their winter rest is not asked: give the farm's place with `leafturn farm set --at`."))
	}
	if predators {
		add(report.Plain(fmt.Sprintf("One release in ten is taken not to settle (common practice), until `leafturn settled` tells. The others are taken to stay, to find their food and to breed while there is prey, and not to breed below a mean of %s; the counts of moving mites leave the eggs out, so they do less than shown. \"Almost none\" is only as good as that: some hide and eggs hatch, so count a week after a release. %q, %q and %q are told apart at the weather and rates in the middle.",
			a.farm.Units.Temp(18), growth.FallsAtOnce, growth.RisesThenFalls, growth.NeverControlled)).Cite(src.cite(predatorRefs(o)...)...))
	}
	if o.curve.Cap > 0 {
		add(report.Plain(fmt.Sprintf("At %s a unit it is overrun, and the reckoning stops there.", week.Number(o.curve.Cap))))
	}
	add(report.Plain(fmt.Sprintf("%d paths from seed %d; the same seed gives the same numbers. At most %d days from a count. Not in it: animals that come from elsewhere, rain, heat under cover. `leafturn forecast --past` says how past forecasts did here.", d.Paths, d.Seed, forecast.MostDays)))
	return sec
}

func predatorRefs(o *outlooks) []assess.Ref {
	var out []assess.Ref
	for _, h := range o.hunters {
		for _, r := range append(slices.Clone(h.growth.Points), h.hunger.Points...) {
			if r.Basis == catalog.Published {
				out = append(out, refOf(r.Provenance))
			}
		}
	}
	return out
}
