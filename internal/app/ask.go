package app

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/report"
	"leafturn/internal/store"
	"leafturn/internal/units"
	"leafturn/internal/week"
)

// DueData is one line of `due` for machines.
type DueData struct {
	By     civil.Date `json:"by"`
	Bed    string     `json:"bed"`
	Pest   string     `json:"pest"`
	Units  int        `json:"units"`
	Unit   string     `json:"unit"`
	Reason string     `json:"reason"`
}

// Due lists which beds and pests are to be scouted, and by when.
func (a *App) Due(ctx context.Context, day civil.Date) (*report.Document, error) {
	in, err := a.weekInput(ctx, day)
	if err != nil {
		return nil, err
	}
	doc := a.document("To be scouted", day)
	t := &report.Table{Columns: []report.Column{{Title: "By"}, {Title: "Bed"}, {Title: "Pest"}, {Title: "Units"}, {Title: "Why"}}}
	data := []DueData{}
	for _, d := range week.Upcoming(in) {
		x := d.Assessment
		u := x.Pest.Units[0]
		if x.Decider != nil {
			u = *x.Decider.Unit
		}
		how := fmt.Sprintf("%d %s", u.Wanted, unitPlural(u.Label, u.Wanted))
		if u.Wanted == 0 {
			how = "every " + u.Label
		}
		by := report.Text(d.By.Short())
		if d.By.Before(day) {
			by = report.Text("overdue, " + d.By.Short())
		}
		t.Rows = append(t.Rows, []report.Value{by, report.Text(x.Bed.Code), report.Text(x.Pest.Name), report.Text(how), report.Text(d.Reason)})
		data = append(data, DueData{d.By, x.Bed.Code, x.Pest.Key, u.Wanted, u.Key, d.Reason})
	}
	s := report.Section{Key: "due", Table: t}
	if len(t.Rows) == 0 {
		s = report.Section{Key: "due", Lead: report.Plain("Nothing is due: no watched pest is in season at the beds' stages.")}
	}
	doc.Sections = []report.Section{s}
	doc.Data = data
	return doc, nil
}

// Visits lists counts as they were entered.
func (a *App) Visits(ctx context.Context, day civil.Date, words []string, all bool) (*report.Document, error) {
	f := store.Filter{From: a.farm.Season(day).First, To: day}
	if all {
		f = store.Filter{IncludeVoided: true}
	}
	for _, w := range words {
		switch code, ok := a.names.Bed(w); {
		case ok && f.Bed == "":
			f.Bed = code
		default:
			p, err := a.names.findPest(w)
			if err != nil {
				return nil, diag.Usagef("see `leafturn bed list` and `leafturn pest`", "%q is neither a bed nor a pest%s", w, diag.DidYouMean(w, append(a.names.PestWords(), a.names.codes...)))
			}
			f.Pest = p.Key
		}
	}
	var visits []farm.Visit
	voided := map[int64]string{}
	err := a.st.View(ctx, func(tx *store.Tx) (err error) {
		if visits, err = tx.Visits(f); err != nil {
			return err
		}
		records, err := tx.Records(store.KindVisit, f)
		for _, r := range records {
			if !r.VoidedAt.IsZero() {
				voided[r.ID] = r.VoidReason
			}
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	doc := a.document("Counts as entered", day)
	t := &report.Table{Columns: []report.Column{{Title: "Visit"}, {Title: "Line"}}}
	if all {
		t.Columns = append(t.Columns, report.Column{Title: "Voided"})
	}
	data := []VisitData{}
	for _, v := range visits {
		reason, isVoid := voided[v.ID]
		data = append(data, visitData(v, isVoid, reason))
		row := []report.Value{report.Count(int(v.ID)), report.Text(ingest.FormatNoteIn(v, a.farm.Units))}
		if all {
			row = append(row, report.Text(voided[v.ID]))
		}
		t.Rows = append(t.Rows, row)
	}
	s := report.Section{Key: "visits", Table: t}
	if len(visits) == 0 {
		s = report.Section{Key: "visits", Lead: report.Plain("No counts. Enter some with `leafturn count`.")}
	}
	doc.Sections = []report.Section{s}
	doc.Data = data
	return doc, nil
}

// PestDocument shows what the catalogue knows of a pest, in a system of units;
// "" lists all pests.
func PestDocument(word string, day civil.Date, system units.System) (*report.Document, error) {
	cat, err := factsIn(system)
	if err != nil {
		return nil, err
	}
	doc := &report.Document{AsOf: day, Facts: cat.Version}
	if word == "" {
		doc.Title = "Pests in the catalogue"
		t := &report.Table{Columns: []report.Column{{Title: "Key"}, {Title: "Name"}, {Title: "Also written"}, {Title: "Counted by"}}}
		data := []PestFacts{}
		for _, p := range cat.Pests() {
			data = append(data, pestFactsData(cat, p))
			u, _ := cat.Protocol(p.Key, "")
			t.Rows = append(t.Rows, []report.Value{report.Text(p.Key), report.Text(p.Name), report.Text(strings.Join(p.Aliases, ", ")), report.Text(u.UnitLabel)})
		}
		doc.Sections = []report.Section{{Key: "pests", Table: t}}
		doc.Data = data
		return doc, nil
	}
	p, err := newNames(cat, nil).findPest(word)
	if err != nil {
		return nil, err
	}
	return pestDocument(cat, p, system, doc), nil
}

func pestDocument(cat *catalog.Catalog, p catalog.Pest, system units.System, doc *report.Document) *report.Document {
	src := &sources{}
	doc.Title, doc.Subtitle = p.Name, p.Latin
	var about []report.Line
	for _, x := range [][2]string{{"damage", p.Damage}, {"not to be mistaken for", p.LookAlikes}, {"favoured by", p.FavouredBy}, {"natural enemies", p.EnemyRule}, {"growth", p.Growth}} {
		if x[1] != "" {
			about = append(about, report.Plain(x[0]+": "+x[1]))
		}
	}
	about = append(about, report.Plain(fmt.Sprintf("scouted every %d days; a count older than %d days is stale", p.EveryDays, p.StaleDays)).Cite(src.cite(refOf(p.Provenance))...))
	doc.Sections = append(doc.Sections, report.Section{Key: "about", Notes: about})

	count := report.Section{Key: "protocols", Title: "How it is counted"}
	for _, u := range cat.Protocols(p.Key) {
		words := fmt.Sprintf("unit=%s (%s): %s", u.Unit, u.UnitLabel, u.How)
		if u.UnitsTotal > 0 {
			words += fmt.Sprintf(" %s, at least %d.", unitsOf(u.UnitsTotal, u.UnitLabel), u.MinUnits)
		}
		if u.Default {
			words = "usual: " + words
		}
		count.Notes = append(count.Notes, report.Plain(words).Cite(src.cite(refOf(u.Provenance))...))
	}
	doc.Sections = append(doc.Sections, count)

	var confirms []string
	levels := &report.Table{Columns: []report.Column{{Title: "Crop"}, {Title: "Stage"}, {Title: "Level"}, {Title: "Value"}, {Title: "Unit"}, {Title: "Basis"}}}
	for _, t := range cat.Thresholds(p.Key) {
		value := report.Text(t.Operator)
		if t.Value != nil {
			value = report.Text(t.Operator + " " + strconv.FormatFloat(*t.Value, 'f', -1, 64))
		}
		if t.Operator == "none" {
			value = report.Text("none known")
		}
		crop := t.Crop
		if t.Transferred() {
			crop += " (transferred)"
		}
		if t.Confirm != "" {
			confirms = append(confirms, confirmNote(t.Level, t.Unit, t.Confirm, t.ConfirmHow))
		}
		basis := t.Basis
		if keys := src.cite(refOf(t.Provenance)); t.Source != "" && len(keys) > 0 {
			basis += fmt.Sprintf(" [%d]", keys[0])
		}
		levels.Rows = append(levels.Rows, []report.Value{report.Text(crop), report.Text(withSeason(t.StageWords, t.Season.Words(civil.MonthDay{}), t.SeasonKind == "signs")), report.Text(t.Level), value, report.Text(t.Unit), report.Text(basis)})
	}
	doc.Sections = append(doc.Sections, report.Section{Key: "thresholds", Title: "Action levels", Lead: report.Plain("No animal pest has a published level for dahlia; what was published for another crop is marked transferred."), Table: levels, Notes: report.Lines(confirms...)})

	steps := report.Section{Key: "actions", Title: "Steps, lowest rung first"}
	for _, x := range cat.Actions(p.Key) {
		words := fmt.Sprintf("%s (%s): %s", shortStep(x.Key), week.Rung(x.Rung), x.Text)
		if x.Why != "" {
			words += "; " + lowerFirst(x.Why)
		}
		steps.Notes = append(steps.Notes, report.Plain(words).Cite(src.cite(refOf(x.Provenance))...))
	}
	doc.Sections = append(doc.Sections, steps)
	if agents := cat.Agents(p.Key); len(agents) > 0 {
		s := report.Section{Key: "agents", Title: "Natural enemies that can be let out"}
		for _, g := range agents {
			name := g.Key
			if g.Latin != "" {
				name += " (" + g.Latin + ")"
			}
			s.Notes = append(s.Notes, report.Plain(name+": "+g.FirstChoice).Cite(src.cite(refOf(g.Provenance))...))
		}
		doc.Sections = append(doc.Sections, s)
	}
	doc.Sections = append(doc.Sections, growthSections(cat, p, system, src)...)
	doc.Sources = src.list
	doc.Data = pestData(cat, p)
	return doc
}

// withSeason says a level's stages and its dates, or for signs of a disease
// the dates when they show.
func withSeason(stages, season string, signs bool) string {
	switch {
	case season == "":
		return stages
	case signs:
		return stages + ": signs show well " + season + "; a find counts all year"
	}
	return stages + ": " + season
}

// confirmNote says what a level asks to be seen before acting.
func confirmNote(level, unit, what, how string) string {
	return fmt.Sprintf("before acting on %s (%s) confirm %s: %s", unit, level, what, how)
}

func lowerFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

// ThresholdData is one action level in force, for machines.
type ThresholdData struct {
	Pest       string   `json:"pest"`
	Level      string   `json:"level"`
	Stage      string   `json:"stage"`
	Season     string   `json:"season"`  // when in the year it is in force, "" all year
	Signs      bool     `json:"signs"`   // season is when signs show well; a find counts all year
	Confirm    string   `json:"confirm"` // what to see before acting, "" for nothing
	Measure    string   `json:"measure"`
	Value      *float64 `json:"value"`
	Operator   string   `json:"operator"`
	Overridden bool     `json:"overridden"`
	Catalogue  *float64 `json:"catalogue_value"`
	Reason     string   `json:"reason"`
	Basis      string   `json:"basis"`
	Source     string   `json:"source"`
}

// Thresholds lists the levels for dahlias, the farm's own in their place.
func (a *App) Thresholds(ctx context.Context, day civil.Date, words []string) (*report.Document, error) {
	s, err := a.snapshot(ctx, day)
	if err != nil {
		return nil, err
	}
	keys := a.watched(s)
	if len(words) == 1 {
		p, err := a.names.findPest(words[0])
		if err != nil {
			return nil, err
		}
		keys = []string{p.Key}
	}
	doc := a.document("Action levels in force", day)
	var confirms []string
	src := &sources{}
	t := &report.Table{Columns: []report.Column{{Title: "Pest"}, {Title: "Level"}, {Title: "Stage"}, {Title: "From"}, {Title: "Measure"}, {Title: "Basis"}}}
	data := []ThresholdData{}
	for _, k := range keys {
		p, _ := a.cat.Pest(k)
		for _, row := range a.cat.Thresholds(k) {
			if row.Transferred() || row.Kind == "reference" || row.Kind == "hold_ratio" || row.Kind == "release_trigger" {
				continue
			}
			l := a.levelFacts(row, s.overrides)
			m, _ := a.cat.Measure(row.Measure)
			basis := l.Ref.Basis
			if keys := src.cite(l.Ref); len(keys) > 0 && l.Ref.Source != "" {
				basis += fmt.Sprintf(" [%d]", keys[0])
			}
			d := ThresholdData{Pest: k, Level: l.Kind, Stage: l.StageWords, Season: l.SeasonWords, Signs: l.Signs, Confirm: l.Confirm.Words, Measure: l.Measure, Value: finite(l.Value), Operator: l.Operator, Overridden: l.Overridden, Reason: l.Reason, Basis: l.Ref.Basis, Source: l.Ref.Source}
			if l.Overridden {
				d.Catalogue = finite(l.Catalogue)
				basis += fmt.Sprintf(", catalogue has %g", l.Catalogue)
			}
			if l.Confirm.Words != "" {
				confirms = append(confirms, p.Name+": "+confirmNote(l.Kind, m.Words, l.Confirm.Words, l.Confirm.How))
			}
			data = append(data, d)
			t.Rows = append(t.Rows, []report.Value{report.Text(p.Name), report.Text(l.Kind), report.Text(withSeason(l.StageWords, l.SeasonWords, l.Signs)), report.Text(week.LevelWords(l)), report.Text(m.Words), report.Text(basis)})
		}
	}
	doc.Sections = []report.Section{{Key: "thresholds", Table: t, Notes: report.Lines(confirms...)}}
	doc.Sources = src.list
	doc.Data = data
	return doc, nil
}

// leastLevel is the lowest level that a farm may set: one animal on a thousand
// units. Ours.
const leastLevel = 0.001

// SetThreshold stores the farm's own level.
func (a *App) SetThreshold(ctx context.Context, day civil.Date, pestWord, levelWord, valueWord, unitWord, reason string) (string, error) {
	p, err := a.names.findPest(pestWord)
	if err != nil {
		return "", err
	}
	lvl := strings.ToLower(levelWord)
	if lvl != "act" && lvl != "watch" {
		return "", diag.Usagef("write watch or act", "%q is not a level", levelWord)
	}
	v, err := units.ParseNumber(valueWord)
	if err != nil || v <= 0 || v > 1e6 {
		return "", diag.Usagef("write a number above 0", "%q cannot be an action level", valueWord)
	}
	if v < leastLevel {
		return "", diag.Usagef(fmt.Sprintf("write %g or more; a level under what one find on all your units comes to is no lower in effect", leastLevel),
			"%q cannot be an action level: no number of units that anybody looks at shows so few", valueWord)
	}
	if strings.TrimSpace(reason) == "" {
		return "", diag.Usagef(`give it with --reason "..."`, "a level is not changed without a reason")
	}
	if day.After(a.Today()) {
		return "", a.future("--date", day)
	}
	u, ok := a.cat.Protocol(p.Key, unitWord)
	if !ok {
		return "", diag.Usagef("one of: "+strings.Join(a.names.UnitWords(p.Key), ", "), "unknown unit %q for %s", unitWord, p.Name)
	}
	var was []string
	for _, row := range a.cat.Thresholds(p.Key) {
		if l := levelFacts(row, nil); !row.Transferred() && row.Measure == u.Measure && l.Kind == lvl {
			was = append(was, fmt.Sprintf("%s (%s)", week.LevelWords(l), l.StageWords))
		}
	}
	m, _ := a.cat.Measure(u.Measure)
	if len(was) == 0 {
		return "", diag.Usagef("see the levels with `leafturn threshold list "+p.Key+"`", "there is no %s level for %s in %s to put yours in the place of", lvl, p.Name, m.Words)
	}
	if m.Percent && v > 100 {
		return "", diag.Usagef("write a percentage up to 100", "%s %% is not a share", valueWord)
	}
	err = a.st.Update(ctx, func(tx *store.Tx) error {
		_, err := tx.SetOverride(farm.Override{Pest: p.Key, Measure: u.Measure, Level: lvl, Value: v, Reason: reason, Since: day}, a.now)
		return err
	})
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("%s: the %s level is now the farm's own, from %s, at every stage; the catalogue has %s", p.Name, lvl, assess.Unit{Words: m.Words, One: m.One}.Say(strconv.FormatFloat(v, 'f', -1, 64)), strings.Join(was, " and ")), nil
}

// peakPressure sums up a season of one bed and pest for the plans: the highest
// chance of being over the action level and the weeks over it.
func peakPressure(chances []float64) (peak float64, weeksOver int) {
	for _, c := range chances {
		if math.IsNaN(c) {
			continue
		}
		peak = math.Max(peak, c)
		if c >= 0.5 {
			weeksOver++
		}
	}
	return peak, weeksOver
}
