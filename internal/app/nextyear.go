package app

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/pattern"
	"leafturn/internal/report"
)

// calendarSigns begins the note on what the signs of the bloom calendar mean.
const calendarSigns = "one sign a week from "

// NextYearFine are the keys of what is looked up in next year's plan, plant by
// plant: where, why, and what is not known.
var NextYearFine = []string{"worth_trying", "avoid", "why", "next_best", "pressures", "unknown", "notes", "not_planned"}

// NextYear is next year's plan on paper: the covers with their map and their
// work, then the companion plants with their bloom calendar; why, and what is
// not known, behind them. It is shorter than the answers of the commands: beds
// with the same cover and sowings of the same plant share a line, and what a
// picture shows is not said again.
func (a *App) NextYear(ctx context.Context, day civil.Date, o CoverOptions) (*report.Document, error) {
	o.Pictures = true
	covers, err := a.Covers(ctx, day, o)
	if err != nil {
		return nil, err
	}
	p, err := a.companionPlan(ctx, day, CompanionOptions{})
	if err != nil {
		return nil, err
	}
	companions := a.companionDocument(p, day)
	if err := a.companionsOnPaper(companions, p, day); err != nil {
		return nil, err
	}
	a.coversOnPaper(covers)
	doc := a.document("Next year's plan", day)
	doc.Subtitle = "covers, companions and the work they bring"
	doc.Warnings = report.Lines("Local law outranks this plan: what may be sown near water, which plants are listed as weeds, and what a certifier asks for.")
	covers.Sections[0].Title = "Covers by bed"
	behindCovers := putBehind(covers, "plan", "works", "seed")
	companions.Sections[0].Title = "Companion plants"
	behindCompanions := putBehind(companions, "answer", "sowing", "calendar", "worth_trying", "avoid")
	for _, part := range []*report.Document{covers, companions, behindCovers, behindCompanions} {
		doc.Append(*part)
	}
	for i, s := range doc.Sections {
		doc.Sections[i] = s.MapLines(func(l report.Line) report.Line { return l.Reword(a.onPaper) })
	}
	doc.OnlyCited()
	return doc, nil
}

// ruleCodes are the numbers of the rules of covers, which say nothing on paper.
var ruleCodes = pattern.New(`\bR[0-9]+: `)

// onPaper are words without what only the commands know.
func (a *App) onPaper(s string) string { return a.spaced(ruleCodes().ReplaceAllString(s, "")) }

// coversOnPaper shortens the plan of covers.
func (a *App) coversOnPaper(doc *report.Document) {
	data, _ := doc.Data.(CoverPlanData)
	var explained []report.Line
	for i := range doc.Sections {
		s := &doc.Sections[i]
		switch s.Key {
		case "plan":
			s.Table = sharedRows(s.Table, "Beds")
			explained, s.Notes = cutNotes(s.Notes, "points: ", "+- is ")
		case "works":
			*s = worksOnPaper(*s, data.Works, len(data.Beds))
		case "seed":
			for k := range s.Items {
				_, known := cutNotes(s.Items[k].Details, "its price is not known")
				if len(known) < len(s.Items[k].Details) && k == 0 {
					s.Notes = append(s.Notes, report.Plain("give the prices that you pay with --rule: `leafturn covers`"))
				}
				s.Items[k].Details = []report.Line{report.Join("; ", known...)}
			}
		case "pressures":
			s.Table = reworded(sharedRows(s.Table, "Beds"), a.onPaper)
			var cut []report.Line
			if cut, s.Notes = cutNotes(s.Notes, "and not in the points"); len(cut) > 0 {
				s.Notes = append(s.Notes, report.Plain("a pest is in the points only of the beds in which it was counted: `leafturn covers` names the others"))
			}
		case "unknown":
			var cut []report.Line
			if cut, s.Notes = cutNotes(s.Notes, "pests never counted here"); len(cut) > 0 {
				s.Notes = append(s.Notes, report.Plain("what the covers do to pests that were never counted here is not in the points: `leafturn covers` says it bed by bed"))
			}
		}
	}
	if i := slices.IndexFunc(doc.Sections, func(s report.Section) bool { return s.Key == "rules" }); i >= 0 {
		rules := doc.Sections[i].Notes // they need no heading of their own
		doc.Sections = slices.Delete(doc.Sections, i, i+1)
		for k := range doc.Sections {
			if s := &doc.Sections[k]; s.Key == "next_best" {
				s.Notes = append(s.Notes, rules...)
			}
		}
	}
	for i := range doc.Sections {
		if s := &doc.Sections[i]; s.Key == "why" {
			for k := range s.Items {
				s.Items[k].Details = []report.Line{report.Join("; ", s.Items[k].Details...)}
			}
			s.Notes = append(s.Notes, explained...)
		}
	}
}

// cutNotes parts the notes that hold one of the words from the others.
func cutNotes(notes []report.Line, words ...string) (cut, rest []report.Line) {
	for _, l := range notes {
		said := ""
		for _, v := range l.Parts() {
			said += v.Words()
		}
		if slices.ContainsFunc(words, func(w string) bool { return strings.Contains(said, w) }) {
			cut = append(cut, l)
		} else {
			rest = append(rest, l)
		}
	}
	return cut, rest
}

// sharedRows puts rows that differ in their first cell alone into one, under a
// title for several.
func sharedRows(t *report.Table, title string) *report.Table {
	if t == nil {
		return nil
	}
	out := &report.Table{Title: t.Title, Columns: slices.Clone(t.Columns)}
	out.Columns[0].Title = title
	for _, row := range t.Rows {
		i := slices.IndexFunc(out.Rows, func(r []report.Value) bool { return sameCells(t, r, row) })
		if i < 0 {
			out.Rows = append(out.Rows, slices.Clone(row))
			continue
		}
		out.Rows[i][0] = report.Text(out.Rows[i][0].Words() + " " + row[0].Words())
	}
	return out
}

// sameCells reports whether two rows show the same behind their first cell.
func sameCells(t *report.Table, x, y []report.Value) bool {
	shown := func(c int, v report.Value) string {
		n, ok := v.Float()
		if !ok {
			return v.Words() + v.Reason()
		}
		return fmt.Sprintf("%.*f", t.Decimals(c), n)
	}
	for c := 1; c < len(t.Columns); c++ {
		if shown(c, x[c]) != shown(c, y[c]) {
			return false
		}
	}
	return true
}

// reworded is a table with f applied to its texts.
func reworded(t *report.Table, f func(string) string) *report.Table {
	if t == nil {
		return nil
	}
	for _, row := range t.Rows {
		for c, v := range row {
			if v.Kind() == report.KindText {
				row[c] = report.Text(f(v.Words()))
			}
		}
	}
	return t
}

// worksOnPaper is the work as a table to tick off; what is to be taken care of
// stands once under it for each kind of work.
func worksOnPaper(s report.Section, works []CoverWork, beds int) report.Section {
	if len(works) == 0 {
		return s
	}
	t := &report.Table{Columns: []report.Column{{Title: "Done"}, {Title: "Days"}, {Title: "Work"}, {Title: "Beds"}, {Title: "To know"}}}
	care := map[string][]string{}
	var order []string
	year := 0
	for _, w := range sameDays(works) {
		days := w.Last.Short()
		switch {
		case w.First == nil:
			days = "by " + days
		case *w.First != w.Last:
			days = w.First.Short() + " to " + days
		}
		if w.Last.Year != year {
			year = w.Last.Year
			days += fmt.Sprint(" ", year)
		}
		t.Rows = append(t.Rows, []report.Value{report.Text("[ ]"), report.Text(days), report.Text(w.Text), report.Text(bedWords(w.Beds, beds)), report.Text(strings.Join(w.Notes, "; "))})
		for _, c := range w.Safety {
			if care[c] == nil {
				order = append(order, c)
			}
			if !slices.Contains(care[c], w.Task) {
				care[c] = append(care[c], w.Task)
			}
		}
	}
	s.Table, s.Items = t, nil
	for _, c := range order {
		s.Items = append(s.Items, report.Item{Head: report.Plain("Take care: " + strings.Join(care[c], ", ")), Safety: report.Lines(c)})
	}
	return s
}

// sameDays puts works of one kind on the same days together.
func sameDays(works []CoverWork) []CoverWork {
	var out []CoverWork
	for _, w := range works {
		i := len(out) - 1
		if i < 0 || out[i].Task != w.Task || out[i].Last != w.Last || (out[i].First == nil) != (w.First == nil) || w.First != nil && *out[i].First != *w.First {
			out = append(out, w)
			continue
		}
		x := &out[i]
		x.Text += "; " + lowerFirst(w.Text)
		x.Beds, x.Notes, x.Safety = both(x.Beds, w.Beds), both(x.Notes, w.Notes), both(x.Safety, w.Safety)
	}
	return out
}

// both are the words of two lists, each once.
func both(x, y []string) []string {
	out := slices.Clone(x)
	for _, s := range y {
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return out
}

// companionsOnPaper shortens the plan of companion plants and draws its bloom.
func (a *App) companionsOnPaper(doc *report.Document, p *companionPlan, day civil.Date) error {
	calendar := a.bloomCalendar(p, day)
	calendar.Wide = paperWide
	src := &sources{list: doc.Sources}
	var sections []report.Section
	var weights []report.Line
	for _, s := range doc.Sections {
		switch {
		case s.Key == "calendar" && s.Table != nil: // else there is nothing to show
			for n, page := range calendar.Pages() {
				f, err := drawn(page, fmt.Sprintf("bloom-%d", n+1), "Bloom calendar")
				if err != nil {
					return err
				}
				s.Figures = append(s.Figures, f)
			}
			s.Table = nil // the picture says it
			_, s.Notes = cutNotes(s.Notes, calendarSigns)
		case s.Key == "answer":
			weights, s.Notes = cutNotes(s.Notes, "evidence, and its weight")
		case s.Key == "sowing":
			s.Table = a.sowingsByPlant(p)
		case s.Key == "worth_trying" && len(s.Items) > 0:
			s.Items = nil
			for _, x := range p.chosen {
				if x.placed() {
					s.Items = append(s.Items, a.plantOnPaper(x, p, src))
				}
			}
		case s.Key == "no_place" || strings.HasPrefix(s.Key, "other_"):
			continue // in a section of their own
		}
		sections = append(sections, s)
	}
	if s := a.notPlanned(p); len(s.Notes) > 0 {
		s.Notes = append(s.Notes, weights...)
		sections = append(sections, s)
	}
	doc.Sections, doc.Sources = sections, src.list
	return nil
}

// sowingsByPlant is the sowing list with one row for each plant and work.
func (a *App) sowingsByPlant(p *companionPlan) *report.Table {
	t := &report.Table{Columns: []report.Column{{Title: "Plant"}, {Title: "Work"}, {Title: "Days"}, {Title: "How much each time"}}}
	at := map[[2]string]int{}
	for _, j := range p.jobs() {
		k := [2]string{j.plant.Plant, j.work()}
		i, ok := at[k]
		if !ok {
			at[k] = len(t.Rows)
			t.Rows = append(t.Rows, []report.Value{report.Text(k[0]), report.Text(k[1]), report.Text(j.on.Time().Format("2 Jan 2006")), report.Text(a.sowingWords(j.plant))})
			continue
		}
		t.Rows[i][2] = report.Text(t.Rows[i][2].Words() + ", " + j.on.Time().Format("2 Jan"))
	}
	if len(t.Rows) == 0 {
		return nil
	}
	return t
}

// plantOnPaper is a plant with a place: where, how much, and what to take care
// of. Its sowings and its bloom stand in their list and picture.
func (a *App) plantOnPaper(x chosenPlant, p *companionPlan, src *sources) report.Item {
	var where []string
	add := func(s string) { where = append(where, a.spaced(s)) }
	add("where: " + strings.Join(a.spotWords(x.layout), "; "))
	add("how much: " + a.amountWords(x))
	if n := x.parts(); n > 1 {
		add(fmt.Sprintf("in %d parts, sown one after the other", n))
	} else if len(x.timing.Sowings) > 1 && x.layout.Plants != nil {
		add("each sowing takes all of these plants, set beside those that fade")
	}
	for _, n := range x.layout.Notes {
		add(n)
	}
	if len(x.timing.Sowings) == 0 {
		a.timingLines(x, add, p.season)
	} else {
		for _, n := range x.timing.Notes {
			add(n)
		}
	}
	it := report.Item{
		Head:    report.Plain(fmt.Sprintf("%s (%s)", x.Plant, x.Latin)).Cite(src.cite(append(effectRefs(x.Suggestion), placeRefs(x)...)...)...),
		Details: report.Lines(strings.Join(where, "; ")),
		Why: report.Join("; ", append([]report.Line{report.Say("points {}: {}", report.Num(x.Value, 1), a.spaced(effectWords(x.Suggestion)))},
			a.findings(x.Suggestion, src, false)...)...),
	}
	if care := append(slices.Clone(x.Warnings), petWords(x)...); len(care) > 0 {
		it.Safety = a.says(sentence(fullStops(care)))
	}
	return it
}

// placeRefs are the sources of a plant's place and amount.
func placeRefs(x chosenPlant) []assess.Ref {
	place := assess.Ref{Basis: x.facts.Basis}
	if place.Basis == catalog.Published {
		place.Source, place.URL = x.facts.Source, x.facts.URL
	}
	refs := []assess.Ref{place}
	if b := x.facts.AmountBasis; b.Basis != "" {
		refs = append(refs, assess.Ref{Basis: b.Basis, Source: b.Source, URL: b.URL})
	}
	return refs
}

// notPlanned names the plants that are not planned, by the reason.
func (a *App) notPlanned(p *companionPlan) report.Section {
	s := report.Section{Key: "not_planned", Title: "Plants that are not planned"}
	var reasons []string
	plants := map[string][]string{}
	add := func(why, plant string) {
		if plants[why] == nil {
			reasons = append(reasons, why)
		}
		plants[why] = append(plants[why], plant)
	}
	for _, x := range p.chosen {
		if !x.placed() {
			add("no place: "+x.layout.Why, x.Plant)
		}
	}
	for _, g := range p.rest {
		add(string(g.Verdict), g.Plant)
	}
	for _, why := range reasons {
		s.Notes = append(s.Notes, report.Plain(strings.Join(plants[why], "; ")+" – "+why))
	}
	if len(s.Notes) > 0 {
		s.Notes = append(s.Notes, report.Plain("what is known of each, and what to mind: `leafturn companions`"))
	}
	return s
}

// fullStops makes sentences of parts.
func fullStops(parts []string) string {
	var out []string
	for i, p := range parts {
		p = strings.TrimSuffix(p, ".")
		if i > 0 {
			p = sentence(p)
		}
		out = append(out, p)
	}
	return strings.Join(out, ". ")
}

// putBehind takes the sections that are not named out of a document and returns
// them as one of their own: what is to be done stands first on paper, and why
// and what is not known behind it.
func putBehind(doc *report.Document, keys ...string) *report.Document {
	rest := *doc
	rest.Sections = nil
	front := doc.Sections
	doc.Sections = nil
	for _, s := range front {
		if slices.Contains(keys, s.Key) {
			doc.Sections = append(doc.Sections, s)
		} else {
			rest.Sections = append(rest.Sections, s)
		}
	}
	slices.SortStableFunc(doc.Sections, func(x, y report.Section) int {
		return slices.Index(keys, x.Key) - slices.Index(keys, y.Key)
	})
	return &rest
}
