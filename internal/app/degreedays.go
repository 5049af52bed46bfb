package app

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/climate"
	"leafturn/internal/degreeday"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/phenology"
	"leafturn/internal/report"
	"leafturn/internal/units"
)

// DegreeDaysOptions are the words of `degree-days`; empty is "not given".
type DegreeDaysOptions struct {
	Pest, Base, Upper, Method, Cutoff, From, To, Start, Reach string
	Fill                                                      bool
	Draw                                                      string // file of the picture
}

// ddPlan is a question about degree-days, understood.
type ddPlan struct {
	animal
	model           degreeday.Model
	start, from, to civil.Date
	startWhy        string
	reach           []float64 // degree-days C
	own             bool      // the model is not the requirement's
}

// animal is a pest or an agent with its rows of development.
type animal struct {
	key, name string
	agent     bool
	rows      []catalog.Development
}

// findAnimal turns a word into a pest or an agent.
func (a *App) findAnimal(word string) (animal, error) {
	if p, ok := a.cat.PestByWord(word); ok {
		return animal{p.Key, p.Name, false, a.cat.DevelopmentOf(p.Key)}, nil
	}
	key := catalog.Word(word)
	if g, ok := a.cat.Agent(key); ok {
		return animal{g.Key, g.Name, true, a.cat.DevelopmentOf(g.Key)}, nil
	}
	known := a.names.PestWords()
	for _, d := range a.cat.Developments() {
		if d.Agent != "" {
			known = append(known, d.Agent)
		}
	}
	return animal{}, diag.Usagef("see the pests with `leafturn pest`; agents go by their names, such as phytoseiulus_persimilis", "unknown pest %q%s", word, diag.DidYouMean(word, known))
}

// used is the row that a clock goes by first, with its figures.
func (x animal) used() (catalog.Development, bool) {
	i := slices.IndexFunc(x.rows, func(d catalog.Development) bool { return d.Default && d.Known() })
	if i < 0 {
		return catalog.Development{}, false
	}
	return x.rows[i], true
}

// modelOf is how a row counts, in °C; its base is known.
func modelOf(d catalog.Development) degreeday.Model {
	base, upper, _ := d.InC()
	m := degreeday.Model{Method: degreeday.Method(d.Method), Cutoff: degreeday.Cutoff(d.Cutoff), Lower: *base, Upper: math.Inf(1)}
	if upper != nil {
		m.Upper = *upper
	}
	return m
}

// plan understands the words of `degree-days`, with every problem.
func (o DegreeDaysOptions) plan(a *App, today civil.Date) (p ddPlan, err error) {
	var l diag.List
	bad := func(do, format string, args ...any) { l.Add(diag.Usagef(do, format, args...)) }
	p.model = degreeday.Model{Method: degreeday.SingleSine, Cutoff: degreeday.Horizontal, Lower: math.NaN(), Upper: math.Inf(1)}
	row, known := catalog.Development{}, false
	if o.Pest != "" {
		if p.animal, err = a.findAnimal(o.Pest); err != nil {
			return p, err
		}
		if row, known = p.used(); known {
			p.model = modelOf(row)
		}
	}
	temp := func(flag, text string, to *float64) {
		if text == "" {
			return
		}
		q, err := units.ParseAs(text, units.Temperature, "")
		switch {
		case err != nil:
			bad("write it as 10C or 50F", "--%s: %v", flag, err)
		case !(q.Base() >= -20 && q.Base() <= 60):
			bad("check the number and its unit", "--%s %s cannot be a threshold", flag, text)
		default:
			*to, p.own = q.Base(), true
		}
	}
	temp("base", o.Base, &p.model.Lower)
	if o.Upper == "none" {
		p.model.Upper, p.own = math.Inf(1), true
	} else {
		temp("upper", o.Upper, &p.model.Upper)
	}
	if o.Method != "" {
		p.own = true
		p.model.Method = word(degreeday.Methods, o.Method, "--method", bad)
	}
	if o.Cutoff != "" {
		p.own = true
		p.model.Cutoff = word(degreeday.Cutoffs, o.Cutoff, "--cutoff", bad)
		if math.IsInf(p.model.Upper, 1) {
			bad("give --upper too", "--cutoff says what happens above an upper threshold, and there is none")
		}
	}
	if p.model.Cutoff == "" {
		p.model.Cutoff = degreeday.Horizontal
	}
	if math.IsNaN(p.model.Lower) && o.Base == "" {
		switch {
		case o.Pest == "":
			bad("give --base, such as --base 10C, or a PEST such as spider_mite", "degree-days need a base: the temperature below which nothing develops")
		case len(p.rows) == 0:
			bad("give a --base from a source that you trust", "the catalogue has no degree-days for %s", p.name)
		default:
			bad("give a --base from a source that you trust", "the catalogue's figures for %s are not known: %s", p.name, p.rows[0].Note)
		}
	} else if u := tempUnits(a.farm.Units); p.model.Upper <= p.model.Lower {
		bad("give an --upper above it", "the upper threshold, %s, is not above the base, %s", u.temp(p.model.Upper), u.temp(p.model.Lower))
	} else if err := p.model.Check(); err != nil && len(l.Problems) == 0 {
		bad("correct --base, --upper, --method or --cutoff", "these do not go together: %v", plainError(err))
	}
	date := func(flag, text string, to *civil.Date) {
		if text == "" {
			return
		}
		d, err := ParseDay(text, today)
		if err != nil {
			for _, x := range asProblems(err) {
				l.Add(x)
			}
			return
		}
		*to = d
	}
	p.to = today
	date("to", o.To, &p.to)
	date("from", o.From, &p.from)
	date("start", o.Start, &p.start)
	p.startWhy = "given"
	if p.start.IsZero() {
		p.start, p.startWhy = a.farm.Season(p.to).First, a.yearStartWords()+", common practice"
		if !p.from.IsZero() && p.from.Before(p.start) {
			p.start = a.farm.Season(p.from).First
		}
	}
	for text := range strings.SplitSeq(o.Reach, ",") {
		if text = strings.TrimSpace(text); text == "" {
			continue
		}
		v, err := units.ParseNumber(text)
		if err != nil || v <= 0 || v > 20000 {
			bad("write degree-days, such as 100,500", "--reach %q is no sum", text)
			continue
		}
		p.reach = append(p.reach, v/tempUnits(a.farm.Units).dd(1))
	}
	switch {
	case len(l.Problems) > 0:
	case p.to.Before(p.start):
		bad("give a later --to, or an earlier --start", "the sum would end on %s, before it starts on %s", p.to, p.start)
	case !p.from.IsZero() && (p.from.Before(p.start) || p.from.After(p.to)):
		bad("give a day between them", "--from %s does not lie between the start %s and the end %s", p.from, p.start, p.to)
	case p.to.Sub(today) > 366:
		bad("give a day at most a year ahead", "--to %s is too far ahead", p.to)
	case p.to.Sub(p.start) > 3650:
		bad("give days at most ten years apart", "%s to %s is too long", p.start, p.to)
	}
	return p, l.Err()
}

// asProblems are the problems of an error that people may be told.
func asProblems(err error) []*diag.Problem {
	switch e := asUsage(err).(type) {
	case *diag.Problem:
		return []*diag.Problem{e}
	case *diag.List:
		return e.Problems
	}
	return []*diag.Problem{diag.Usagef("correct it", "%v", err)}
}

// plainError is what was wrong, without the mark of its kind.
func plainError(err error) string {
	return strings.TrimSuffix(err.Error(), ": "+degreeday.ErrDomain.Error())
}

// word finds one of some words, with hyphens for spaces or without.
func word[T ~string](known []T, text, flag string, bad func(do, format string, args ...any)) T {
	w := strings.Join(strings.Fields(strings.NewReplacer("-", " ", "_", " ").Replace(strings.ToLower(text))), " ")
	if w == "simple average" {
		w = "average"
	}
	var words []string
	for _, k := range known {
		if string(k) == w {
			return k
		}
		words = append(words, string(k))
	}
	bad("one of: "+strings.Join(words, ", "), "%s %q is not known%s", flag, text, diag.DidYouMean(w, words))
	return ""
}

// DegreeDays adds up degree-days from a start on.
func (a *App) DegreeDays(ctx context.Context, o DegreeDaysOptions, today civil.Date) (*report.Document, error) {
	if err := checkDraw(o.Draw); err != nil {
		return nil, err
	}
	p, err := o.plan(a, today)
	if err != nil {
		return nil, err
	}
	s, err := a.weatherOn(ctx, today)
	if err != nil {
		return nil, err
	}
	if o.Start == "" {
		if err := a.startOf(ctx, &p, today); err != nil {
			return nil, err
		}
	}
	if s.first.IsZero() && s.normals.IsZero() {
		return nil, errNoWeather(s.units)
	}
	series, err := s.lay(p.start, p.to, o.Fill)
	if err != nil {
		return nil, err
	}
	// The double methods end a day at the next day's lowest.
	withNext, err := s.lay(p.start, p.to.AddDays(1), o.Fill)
	if err != nil {
		return nil, err
	}
	steps, gap, err := phenology.Sum(p.model, withNext, p.start)
	if err != nil {
		return nil, err
	}
	if last := len(steps) - 1; last >= 0 && steps[last].Date.After(p.to) {
		steps = steps[:last]
	}
	if gap.After(p.to) {
		gap = civil.Date{}
	}
	if len(steps) == 0 {
		what, do := s.gap(gap, p.start, o.Fill)
		return nil, diag.Failf(nil, do, "the sum cannot start: %s", what)
	}
	doc := a.degreeDaysDocument(p, s, series, steps, gap, o.Fill, today)
	if o.Draw != "" {
		err = a.drawDegreeDays(ctx, doc, p, s, o, today)
	}
	return doc, err
}

// startOf moves the start to the day on which the pest's own clock starts,
// where the farm's records have it.
func (a *App) startOf(ctx context.Context, p *ddPlan, today civil.Date) error {
	row, ok := p.used()
	if !ok {
		return nil
	}
	known, err := a.snapshot(ctx, today)
	if err != nil {
		return err
	}
	start, why := known.biofix(p.animal, row, p.to)
	switch {
	case start.IsZero():
		p.startWhy = a.yearStartWords() + " in its place; " + why
	case start.After(p.to), !p.from.IsZero() && p.from.Before(start):
	default:
		p.start, p.startWhy = start, why
	}
	return nil
}

// biofix is the day on which a clock starts, zero where it is not known; why
// says where it is from, or what is missing. A start on a date is that of the
// season of to.
func (s snapshot) biofix(x animal, row catalog.Development, to civil.Date) (start civil.Date, why string) {
	switch row.Start {
	case "date":
		year := farm.SeasonOf(to, s.year.South())
		if start = year.Like(row.StartOn); !year.South() {
			return start, start.Time().Format("2 January") + ", common practice"
		}
		return start, fmt.Sprintf("%s, six months after the %s of the north, common practice", start.Time().Format("2 January"), row.StartOn.In(start.Year).Time().Format("2 January"))
	case "first_find":
		for _, v := range s.byPest[x.key] {
			if foundAny(v) && (start.IsZero() || v.Date.Before(start)) {
				start = v.Date
			}
		}
		if start.IsZero() {
			return start, "none were found yet this " + s.yearWord() + ": the clock starts with the first find, or give --start"
		}
		return start, "first found"
	case "release":
		for _, r := range s.releases {
			if r.Agent == x.key && r.Date.After(start) {
				start = r.Date
			}
		}
		if start.IsZero() {
			return start, "none were released yet this " + s.yearWord() + ": the clock starts with a release, or give --start"
		}
		return start, "last released"
	}
	return start, "the clock starts on the day on which the stage was seen: give it with --start"
}

// foundAny reports whether a visit found an animal.
func foundAny(v farm.Visit) bool {
	if v.Presence != nil && v.Presence.Infested > 0 {
		return true
	}
	return slices.ContainsFunc(v.Seen(), func(n int) bool { return n > 0 })
}

func (a *App) degreeDaysDocument(p ddPlan, s yearDays, series climate.Series, steps []phenology.Step, gap civil.Date, fill bool, today civil.Date) *report.Document {
	u := tempUnits(a.farm.Units)
	title := "Degree-days"
	if p.name != "" {
		title += ": " + p.name
	}
	doc := a.document(title, today)
	d := DegreeDaysData{Pest: p.key, Base: p.model.Lower, Upper: finite(p.model.Upper), Method: string(p.model.Method), Start: p.start, StartWhy: p.startWhy, To: p.to,
		MissingFrom: dayOrNil(gap), Days: []DegreeDay{}, Reached: []SumReached{}, Needs: []DevelopmentRow{}, Words: []string{}}
	if d.Upper != nil {
		d.Cutoff = string(p.model.Cutoff)
	}
	unit := "degree-days " + u.name()
	for _, x := range steps {
		d.Days = append(d.Days, DegreeDay{x.Date, x.Min, x.Max, string(x.Kind), x.DD, x.Sum})
		switch x.Kind {
		case climate.Filled:
			d.Filled++
		case climate.Forecast:
			d.Forecast++
		case climate.Normal:
			d.Usual++
		}
	}
	say := func(format string, args ...any) { d.Words = append(d.Words, fmt.Sprintf(format, args...)) }
	last := steps[len(steps)-1]
	if gap.IsZero() {
		d.Total = &last.Sum
		say("%.1f %s from %s to %s, both included.", u.dd(last.Sum), unit, p.start, p.to)
	} else {
		say("%.1f %s from %s to %s. %s", u.dd(last.Sum), unit, p.start, last.Date, s.gapWords(gap, p.start, fill))
	}
	say("Start: %s (%s).", p.start, p.startWhy)
	say("%s.", modelWords(p.model, u))
	if d.Filled > 0 {
		say("Filled in a straight line between neighbours, and not stored: %s.", unitsOf(d.Filled, "day"))
	}
	if d.Usual > 0 {
		d.UsualFrom, d.UsualYears = s.normals.Source, s.normals.Years
		say("%s", s.normalsWords())
	}
	for _, need := range p.reach {
		d.Reached = append(d.Reached, reachedIn(steps, need))
	}
	for _, row := range p.rows {
		d.Needs = append(d.Needs, developmentRow(row))
		base, _, dd := row.InC()
		switch {
		case !row.Default || p.own:
		case !row.Known():
			say("%s, %s: not known (%s).", row.Animal, row.Stage, row.Note)
		case row.After == "" && *base == p.model.Lower:
			d.Reached = append(d.Reached, reachedIn(steps, *dd))
			say("%s, %s: %.4g %s (%s).%s", row.Animal, row.Stage, u.dd(*dd), unit, sourceWords(row.Provenance), noteWords(row.Note))
		}
	}
	if p.own && len(p.rows) > 0 {
		say("The published requirements are good only with the base, method and cutoff that they were worked out with: none is compared.")
	}
	doc.Sections = append(doc.Sections, report.Section{Key: "words", Title: "In words", Notes: report.Lines(d.Words...)})
	if len(d.Reached) > 0 {
		t := &report.Table{Columns: []report.Column{{Title: "Sum", Unit: unit, Decimals: 1}, {Title: "Reached on"}, {Title: "Temperatures"}}}
		for _, r := range d.Reached {
			day := report.MissingAs("not by "+last.Date.String(), "not reached")
			if r.Date != nil {
				day = report.Text(r.Date.String())
			}
			t.Rows = append(t.Rows, []report.Value{report.Num(u.dd(r.Sum), 1), day, report.Text(kindWord(climate.Kind(r.Kind)))})
		}
		doc.Sections = append(doc.Sections, report.Section{Key: "reached", Title: "Reached", Table: t})
	}
	doc.Sections = append(doc.Sections, a.dayTable(p, steps, u))
	if len(d.Needs) > 0 {
		doc.Sections = append(doc.Sections, needSection(d.Needs, u))
	}
	doc.Data = d
	return doc
}

// dayTable has each day from --from on; without it the ends of months.
func (a *App) dayTable(p ddPlan, steps []phenology.Step, u tempUnits) report.Section {
	t := &report.Table{Columns: []report.Column{{Title: "Day"}, {Title: "Lowest", Unit: "°" + u.name(), Decimals: 1}, {Title: "Highest", Unit: "°" + u.name(), Decimals: 1}, {Title: "Temperatures"},
		{Title: "Degree-days", Decimals: 2}, {Title: "Added up", Decimals: 1}}}
	sec := report.Section{Key: "days", Title: "Day by day", Table: t}
	if p.from.IsZero() {
		sec.Title = "At the ends of months"
		sec.Notes = report.Lines("--from DAY shows each day from there on")
	}
	for i, x := range steps {
		monthEnd := x.Date.AddDays(1).Day == 1
		if p.from.IsZero() && !monthEnd && i < len(steps)-1 || !p.from.IsZero() && x.Date.Before(p.from) {
			continue
		}
		t.Rows = append(t.Rows, []report.Value{report.Text(x.Date.String()), report.Num(u.of(x.Min), 1), report.Num(u.of(x.Max), 1), report.Text(kindWord(x.Kind)), report.Num(u.dd(x.DD), 2), report.Num(u.dd(x.Sum), 1)})
	}
	return sec
}

// needSection has what is published of the stages, used or not.
func needSection(rows []DevelopmentRow, u tempUnits) report.Section {
	t := &report.Table{Columns: []report.Column{{Title: "Stage"}, {Title: "Animal"}, {Title: "Base", Unit: "°" + u.name(), Decimals: 2}, {Title: "Degree-days", Unit: u.name(), Decimals: 1}, {Title: "Used"}, {Title: "Source"}}}
	for _, r := range rows {
		base, dd, used := report.MissingAs("–", "not known"), report.MissingAs("–", "not known"), "no"
		if r.Base != nil {
			base = report.Num(u.of(*r.Base), 2)
		}
		if r.DD != nil {
			dd = report.Num(u.dd(*r.DD), 1)
		}
		if r.Used {
			used = "yes"
		}
		t.Rows = append(t.Rows, []report.Value{report.Text(r.Stage), report.Text(r.Animal), base, dd, report.Text(used), report.Text(sourceOf(r.Basis))})
	}
	return report.Section{Key: "requirements", Title: "What is known of its stages", Table: t, Notes: report.Lines("none was measured on dahlia")}
}

// kindWord is a kind of day as it is shown.
func kindWord(k climate.Kind) string {
	if k == climate.Normal {
		return "usual"
	}
	return string(k)
}

func reachedIn(steps []phenology.Step, need float64) SumReached {
	for _, x := range steps {
		if x.Sum >= need-1e-9 {
			return SumReached{need, &x.Date, string(x.Kind)}
		}
	}
	return SumReached{Sum: need}
}

func modelWords(m degreeday.Model, u tempUnits) string {
	words := fmt.Sprintf("Counted by the %s above %s", strings.TrimSuffix(string(m.Method), " "), u.temp(m.Lower))
	if !math.IsInf(m.Upper, 1) {
		words += fmt.Sprintf(", %s cutoff at %s", m.Cutoff, u.temp(m.Upper))
	} else {
		words += ", without an upper threshold"
	}
	return words
}

// noteWords is a note as a sentence after another.
func noteWords(note string) string {
	if note == "" {
		return ""
	}
	return " " + strings.ToUpper(note[:1]) + note[1:] + "."
}

func sourceWords(p catalog.Provenance) string {
	if p.Source == "" {
		return p.Basis
	}
	return p.Source + ", " + p.Basis
}

func developmentRow(d catalog.Development) DevelopmentRow {
	base, upper, dd := d.InC()
	return DevelopmentRow{Key: d.Key, Stage: d.Stage, Animal: d.Animal, Base: base, Upper: upper, DD: dd, Method: d.Method, Used: d.Default, Basis: basisOf(d.Provenance)}
}
