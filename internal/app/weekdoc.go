package app

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/report"
	"leafturn/internal/verdict"
	"leafturn/internal/week"
)

// sources numbers the sources of a document in the order of first use.
type sources struct {
	list []report.Source
	at   map[assess.Ref]int
}

// cite returns the numbers of the given sources, adding those not yet there.
func (s *sources) cite(refs ...assess.Ref) []int {
	if s.at == nil {
		s.at = map[assess.Ref]int{}
	}
	var out []int
	for _, r := range refs {
		if r.Basis == "" {
			continue
		}
		r.Note = "" // the same source with another remark is the same source
		k, ok := s.at[r]
		if !ok {
			k = len(s.list) + 1
			s.at[r] = k
			text := r.Source
			if text == "" {
				text = "no source; " + r.Basis
			}
			s.list = append(s.list, report.Source{Key: k, Text: text, URL: r.URL, Basis: r.Basis})
		}
		if !slices.Contains(out, k) {
			out = append(out, k)
		}
	}
	return out
}

// sectionTitles are the heads of the printed list.
var sectionTitles = map[week.Section]string{
	week.Do:    "To do, the most pressing first",
	week.Avoid: "Must not be done",
	week.Order: "To order now",
	week.Scout: "To scout",
	week.Left:  "Left undone from last week",
}

var sectionLeads = map[week.Section]string{
	week.Do:    "Steps climb from prevention to product; do the lower ones first. A word in brackets such as (map) is a step's short name for `leafturn did`.",
	week.Avoid: "The label and the law outrank this list.",
}

// WeekDocument renders the list as a document. The caller adds the events.
func (a *App) weekDocument(list week.List, mood []string) *report.Document {
	src := &sources{}
	doc := a.document("The week's list", list.Today)
	doc.Subtitle = fmt.Sprintf("%s, ISO week %s", list.Today.Time().Format("Monday 2 January 2006"), list.Today.WeekString())
	doc.Warnings = report.Lines(mood...)
	for _, s := range week.Sections {
		lines := list.In(s)
		if s == week.Do && len(lines) > 0 {
			doc.Sections = append(doc.Sections, a.doSections(lines, list.Today, src)...)
			continue
		}
		sec := report.Section{Key: strings.ReplaceAll(string(s), " ", "_"), Title: sectionTitles[s]}
		if len(lines) == 0 {
			if s == week.Left || s == week.Order {
				continue
			}
			sec.Lead = report.Plain("Nothing.")
			doc.Sections = append(doc.Sections, sec)
			continue
		}
		sec.Lead = report.Plain(sectionLeads[s])
		for _, l := range lines {
			sec.Items = append(sec.Items, a.weekItem(l, list.Today, src))
		}
		doc.Sections = append(doc.Sections, sec)
	}
	if len(list.Quiet) > 0 {
		doc.Sections = append(doc.Sections, quietSection(list.Quiet))
	}
	doc.Sections = append(doc.Sections, report.Section{Key: "ask", Notes: report.Lines(
		"`leafturn why NUMBER` gives the counts, the estimate, the action level with its source, and the rule behind a line.")})
	doc.Sources = src.list
	doc.Data = weekData(list)
	return doc
}

// doSections part what is to be done pest by pest: what was counted once, then
// the steps of the ladder.
func (a *App) doSections(lines []week.Line, today civil.Date, src *sources) []report.Section {
	out := []report.Section{{Key: "do", Title: sectionTitles[week.Do], Lead: report.Plain(sectionLeads[week.Do])}}
	pest := ""
	for _, l := range lines {
		if l.Pest != pest {
			pest = l.Pest
			words, table := countsOf(lines, l.Pest)
			out = append(out, report.Section{Key: "do-" + l.Pest, Title: upperWord(l.PestName), Lead: report.Plain(words + ".").Cite(src.cite(ownLevels(lines, l.Pest)...)...), Table: table})
		}
		it := a.weekItem(l, today, src)
		it.Why = report.Line{}
		sec := &out[len(out)-1]
		sec.Items = append(sec.Items, it)
	}
	if slices.ContainsFunc(lines, func(l week.Line) bool {
		return slices.ContainsFunc(l.Traces, func(t week.Trace) bool { return t.Assessment != nil && t.Assessment.Course != "" })
	}) {
		out[0].Lead = report.Plain(sectionLeads[week.Do] + " \"So far\" has " + assess.CourseKey + ".")
	}
	return out
}

// bedsInWords is of how many beds a sentence says what was counted; more stand
// in a table.
const bedsInWords = 3

// countsOf says what was counted in the beds that a pest's lines name.
func countsOf(lines []week.Line, pest string) (string, *report.Table) {
	var words []string
	var list []*assess.Assessment
	for _, l := range lines {
		if l.Pest != pest {
			continue
		}
		for _, t := range l.Traces {
			if t.Assessment == nil {
				continue
			}
			w := week.Short(*t.Assessment)
			if c := t.Assessment.Course; c != "" {
				w += ", so far " + c
			}
			if !contains(words, w) {
				words = append(words, w)
				list = append(list, t.Assessment)
			}
		}
	}
	slices.Sort(words)
	measure := ""
	for _, x := range list {
		if x.Decider != nil {
			measure = x.Decider.Unit.Words
		}
	}
	if measure == "" || len(list) <= bedsInWords || slices.ContainsFunc(list, func(x *assess.Assessment) bool { return x.Decider != nil && x.Decider.Unit.Words != measure }) {
		return strings.Join(words, "; "), nil
	}
	slices.SortFunc(list, func(x, y *assess.Assessment) int { return strings.Compare(x.Bed.Code, y.Bed.Code) })
	t := &report.Table{Columns: []report.Column{{Title: "Bed"}, {Title: "Last count (95 % interval)"}, {Title: "Level"}, {Title: "So far"}}}
	for _, x := range list {
		r, level := x.Decider, ""
		count := strings.TrimPrefix(week.Short(*x), x.Bed.Code+" ")
		if r != nil && r.Valid() && (!x.HotSpotAct || x.Result.Verdict == verdict.Act) {
			count = strings.Replace(count, r.Unit.Say(week.Number(r.Value)), week.Number(r.Value), 1)
			if level = week.LevelBehind(*x); level != "" {
				count = strings.Replace(count, ", "+level, "", 1)
			}
		}
		t.Rows = append(t.Rows, []report.Value{report.Text(x.Bed.Code), report.Text(count), report.Text(level), report.Text(x.Course)})
	}
	return "Counted in " + measure, t
}

// ownLevels are the farm's own levels behind a pest's lines: each with its reason.
func ownLevels(lines []week.Line, pest string) []assess.Ref {
	var out []assess.Ref
	for _, l := range lines {
		if l.Pest != pest {
			continue
		}
		for _, t := range l.Traces {
			if t.Assessment == nil || t.Assessment.Decider == nil {
				continue
			}
			for _, x := range []*assess.Level{t.Assessment.Decider.Act, t.Assessment.Decider.Watch} {
				if x != nil && x.Overridden {
					out = append(out, x.Ref)
				}
			}
		}
	}
	return out
}

func (a *App) weekItem(l week.Line, today civil.Date, src *sources) report.Item {
	it := report.Item{
		Number: l.Number, Ref: l.Ref, Mark: mark(l),
		Head: report.Plain(headWords(l)).Cite(src.cite(l.Sources...)...),
		Box:  l.Section != week.Avoid,
	}
	it.Due = report.Due{From: l.From, By: l.By}
	if !l.From.IsZero() && !l.From.After(today) {
		it.Due.From = civil.Date{}
	}
	it.Details = report.Lines(a.agentDetail(l, sharedDetails(l.Details, l.Beds))...)
	it.Safety = report.Lines(a.careInList(l.Safety, fmt.Sprintf("`leafturn why %d` says how", l.Number))...)
	it.Why = report.Plain(l.Why)
	return it
}

func headWords(l week.Line) string {
	head := strings.TrimSuffix(l.Head, ".")
	if len(l.Beds) > 0 {
		head += " — " + strings.Join(l.Beds, " ")
	}
	if l.Again {
		head += " (left from last week)"
	}
	return head
}

func mark(l week.Line) string {
	if l.Section != week.Do {
		return ""
	}
	return map[week.Rung]string{week.Prevention: "prevent", week.Cultural: "by hand", week.Biological: "release", week.Product: "product"}[l.Rung]
}

// quietSection says in a table what was counted and needs nothing: a row for
// each bed and pest, one pest after the other.
func quietSection(quiet []assess.Assessment) report.Section {
	rows := slices.Clone(quiet)
	slices.SortStableFunc(rows, func(a, b assess.Assessment) int { return strings.Compare(a.Pest.Name, b.Pest.Name) })
	t := &report.Table{Columns: []report.Column{{Title: "Pest"}, {Title: "Bed"}, {Title: "Last count"}, {Title: "95 % interval"}, {Title: "So far"}}}
	notes := make([]string, len(rows))
	for i, a := range rows {
		r := a.Decider
		var w []string
		if a.Result.Rule == verdict.RuleEnemies {
			w = append(w, "natural enemies hold")
		}
		if d := r.Density; d != nil && d.Outlier {
			w = append(w, week.OutlierWords(d.OutlierUnit, d.Max))
		}
		notes[i] = strings.Join(w, ", ")
		percent := ""
		if r.Unit.Percent {
			percent = " %"
		}
		t.Rows = append(t.Rows, []report.Value{report.Text(a.Pest.Name), report.Text(a.Bed.Code), report.Text(week.Number(r.Value) + percent),
			report.Text(week.Number(r.Low) + " to " + week.Number(r.High) + percent), report.Text(a.Course)})
	}
	if strings.Join(notes, "") != "" {
		t.Columns = append(t.Columns, report.Column{Title: "To know"})
		for i, n := range notes {
			t.Rows[i] = append(t.Rows[i], report.Text(n))
		}
	}
	sec := report.Section{Key: "hold", Title: "Hold: counted, and nothing to do", Table: t}
	if slices.ContainsFunc(quiet, func(a assess.Assessment) bool { return a.Course != "" }) {
		sec.Notes = report.Lines("so far: " + assess.CourseKey)
	}
	return sec
}

// WeekData is the machine-readable week's list (schema 1).
type WeekData struct {
	Date  civil.Date `json:"date"`
	Week  string     `json:"iso_week"`
	Lines []LineData `json:"lines"`
	Hold  []Verdict  `json:"hold"`

	Deviations []DeviationData `json:"deviations"`
}

// LineData is one line of the list for machines.
type LineData struct {
	Number  int        `json:"number"`
	Ref     string     `json:"ref"`
	Section string     `json:"section"`
	Rung    string     `json:"rung"` // "" where the line is no step
	Pest    string     `json:"pest"`
	Action  string     `json:"action"`
	Beds    []string   `json:"beds"`
	Text    string     `json:"text"`
	Details []string   `json:"details"`
	Why     string     `json:"why"`
	Safety  []string   `json:"safety"`
	From    civil.Date `json:"from"`
	By      civil.Date `json:"by"`
	Again   bool       `json:"again"`
	Record  string     `json:"record_with"`
	Sources []Basis    `json:"sources"`
	Basis   []Verdict  `json:"verdicts"`
}

// Verdict is what the list knows of one bed and pest, for machines.
type Verdict struct {
	Bed        string     `json:"bed"`
	Pest       string     `json:"pest"`
	Stage      string     `json:"stage"`
	Verdict    string     `json:"verdict"`
	Reasons    []string   `json:"reasons"`
	Counted    civil.Date `json:"counted"`
	Units      int        `json:"units"`
	Unit       string     `json:"unit"`
	Measure    string     `json:"measure"`
	Value      *float64   `json:"value"`
	Low        *float64   `json:"low_95"`
	High       *float64   `json:"high_95"`
	ActFrom    *float64   `json:"act_level"`
	ChanceOver *float64   `json:"chance_at_or_over_act_level"`
	Valid      bool       `json:"valid"`
	Course     string     `json:"course"`

	NullReasons map[string]string `json:"null_reasons"`
}

func weekData(list week.List) WeekData {
	d := WeekData{Date: list.Today, Week: list.Today.WeekString(), Lines: []LineData{}, Hold: []Verdict{}, Deviations: []DeviationData{}}
	for _, l := range list.Lines {
		ld := LineData{
			Number: l.Number, Ref: l.Ref, Section: string(l.Section), Rung: l.Rung.String(), Pest: l.Pest, Action: l.Action,
			Beds: orEmpty(l.Beds), Text: l.Head, Details: orEmpty(l.Details), Why: l.Why, Safety: orEmpty(l.Safety),
			From: l.From, By: l.By, Again: l.Again, Record: l.Record, Sources: []Basis{}, Basis: []Verdict{},
		}
		for _, r := range l.Sources {
			ld.Sources = append(ld.Sources, Basis(r))
		}
		for _, t := range l.Traces {
			if t.Assessment != nil {
				ld.Basis = append(ld.Basis, verdictData(*t.Assessment))
			}
		}
		d.Lines = append(d.Lines, ld)
	}
	for _, q := range list.Quiet {
		d.Hold = append(d.Hold, verdictData(q))
	}
	return d
}

func verdictData(a assess.Assessment) Verdict {
	v := Verdict{Bed: a.Bed.Code, Pest: a.Pest.Key, Stage: string(a.Stage), Course: a.Course, Verdict: string(a.Result.Verdict), Reasons: orEmpty(a.Result.Reasons), NullReasons: map[string]string{}}
	why := "never counted this season"
	if r := a.Decider; r != nil {
		why = "no action level is known in this measure at this stage"
		v.Counted, v.Units, v.Unit, v.Measure, v.Valid = r.Visit.Date, r.N, r.Unit.Key, r.Unit.Measure, r.Valid()
		v.Value, v.Low, v.High = finite(r.Value), finite(r.Low), finite(r.High)
		if r.Act != nil && r.Act.Operator != "none" {
			v.ActFrom, v.ChanceOver = finite(r.Act.Value), finite(r.Chance)
			why = "the count is not valid, or too old"
		}
	}
	for field, p := range map[string]*float64{"value": v.Value, "low_95": v.Low, "high_95": v.High, "act_level": v.ActFrom, "chance_at_or_over_act_level": v.ChanceOver} {
		if p == nil {
			v.NullReasons[field] = why
		}
	}
	return v
}

func orEmpty[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

// weekEvents makes calendar entries of the lines that have a last day: each
// over the days on which it may be done, and closed beds until they open. The
// UID of each is what it is about; package agenda makes the one that stays of it.
func (a *App) weekEvents(list week.List) []report.Event {
	var out []report.Event
	seen := map[string]int{}
	for _, l := range list.Lines {
		if l.By.IsZero() || l.Section == week.Avoid || l.Section == week.Left {
			continue
		}
		action := l.Action
		if parts := strings.Split(l.Ref, ":"); l.Section == week.Scout && len(parts) > 3 {
			// The unit that is counted, or the agent that is looked for; not why.
			if action = parts[2]; action == "settled" {
				action += ":" + parts[3]
			}
		}
		if parts := strings.Split(l.Ref, ":let-out:"); len(parts) == 2 {
			action = "let-out:" + parts[1]
		}
		out = append(out, a.lineEvent(l, list.Today, eventBase(seen, string(l.Section), l.Pest, action, strings.Join(l.Beds, "+"))))
	}
	return append(out, a.closures(list)...)
}

// eventBase says what an event is about, its beds last. The beds of another
// event about the very same get a number before them.
func eventBase(seen map[string]int, parts ...string) string {
	base := strings.ToLower(strings.Join(parts, ":"))
	if seen[base]++; seen[base] > 1 {
		i := strings.LastIndex(base, ":")
		return fmt.Sprintf("%s:%d%s", base[:i], seen[base], base[i:])
	}
	return base
}

func (a *App) lineEvent(l week.Line, today civil.Date, base string) report.Event {
	e := report.Event{
		UID: base, Summary: eventSummary(l), Location: a.farm.Place,
		First: l.From, Last: l.By,
		Categories: []string{strings.ToUpper(string(l.Section))}, Transparent: true,
	}
	when := "by " + l.By.Short() + " at the latest"
	if e.First.Before(today) || e.First.After(l.By) {
		e.First = today
	}
	if l.From.After(today) {
		when = "not before " + l.From.Short() + ", and " + when
	}
	e.Description = strings.Join(append(append(append([]string{when}, l.Why), l.Details...), l.Safety...), "\n")
	lastMorning := report.Alarm{FromEnd: true, Offset: -17 * time.Hour} // 07:00 of the last day
	switch {
	case l.Section == week.Order:
		e.Alarms = []report.Alarm{{FromEnd: true, Offset: -30 * time.Hour}, lastMorning} // 18:00 of the day before
	case e.First == e.Last:
		e.Alarms = []report.Alarm{report.AlarmAt(0, 7, 0)}
	default:
		e.Alarms = []report.Alarm{report.AlarmAt(0, 7, 0), lastMorning}
	}
	return e
}

func eventSummary(l week.Line) string {
	s := headWords(l)
	if len(l.Safety) > 0 {
		s += " (read the safety lines)"
	}
	return s
}

// unreadDays is how many days a closure of unknown length stands in the
// calendar: as long as the list looks back.
const unreadDays = 60

// closures are the re-entry intervals that run on or after the list's day. An
// alarm sounds on each morning on which a bed is closed.
func (a *App) closures(list week.List) []report.Event {
	var out []report.Event
	for _, c := range list.Closed {
		e := report.Event{
			UID:        strings.ToLower(fmt.Sprintf("rei:%d:%s", c.Treatment, c.Bed)),
			Location:   a.farm.Place,
			Categories: []string{"REENTRY"},
		}
		if c.Until.IsZero() {
			e.Summary = fmt.Sprintf("Keep out of %s: nobody has read the re-entry interval of %s off its label", c.Bed, c.Product)
			e.Description = "The bed stays closed until the label is read. The label outranks this entry."
			e.First = civil.DateIn(c.From, a.loc)
			e.Last = e.First.AddDays(unreadDays)
			for day := range unreadDays + 1 {
				e.Alarms = append(e.Alarms, report.AlarmAt(day, 7, 0))
			}
			out = append(out, e)
			continue
		}
		e.Summary = fmt.Sprintf("Keep out of %s until %s: re-entry interval of %s", c.Bed, c.Until.In(a.loc).Format("Mon 2 Jan 15:04"), c.Product)
		e.Description = "No hand work in the bed until then. The label outranks this entry."
		e.Start, e.End = c.From.UTC(), c.Until.UTC() // elapsed time, whatever the clocks do
		e.Alarms = []report.Alarm{{}}
		for day := civil.DateIn(c.From, a.loc); !day.After(civil.DateIn(c.Until, a.loc)); day = day.AddDays(1) {
			morning := time.Date(day.Year, day.Month, day.Day, 7, 0, 0, 0, a.loc)
			if morning.After(c.From) && morning.Before(c.Until) {
				e.Alarms = append(e.Alarms, report.Alarm{Offset: morning.Sub(c.From)})
			}
		}
		if c.Until.Sub(c.From) >= time.Second { // closed, and open again
			e.Alarms = append(e.Alarms, report.Alarm{FromEnd: true, Text: fmt.Sprintf("%s: the re-entry interval of %s ends now; look at the board before you go in", c.Bed, c.Product)})
		}
		out = append(out, e)
	}
	return out
}
