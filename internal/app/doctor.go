package app

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/record"
	"leafturn/internal/report"
	"leafturn/internal/store"
)

// DoctorData is what `doctor` found.
type DoctorData struct {
	File     string        `json:"file"`
	Sound    bool          `json:"sound"`
	Schema   int           `json:"schema"`
	Facts    string        `json:"facts"`
	Checked  []CheckedData `json:"checked"`
	Findings []FindingData `json:"findings"`
}

// CheckedData is one thing that was looked at.
type CheckedData struct {
	What  string `json:"what"`
	Wrong int    `json:"wrong"`
	Look  int    `json:"look"`
}

// FindingData is one thing that is wrong, or that is worth a look.
type FindingData struct {
	Check string `json:"check"`
	Wrong bool   `json:"wrong"`
	What  string `json:"what"`
	Do    string `json:"do"`
}

// The things that doctor looks at, in order.
const (
	checkWhole   = "the file, its references and the sums kept on visits"
	checkBeside  = "files left beside it"
	checkFacts   = "words of records that the facts know"
	checkClock   = "the clock"
	checkRecords = "records that cannot be"
	checkLabels  = "what nobody has read on labels"
)

// doctor gathers findings.
type doctor struct {
	a      *App
	data   DoctorData
	future map[store.Kind][]string // records of days to come
}

func (d *doctor) add(check string, wrong bool, do, format string, args ...any) {
	d.data.Findings = append(d.data.Findings, FindingData{Check: check, Wrong: wrong, What: fmt.Sprintf(format, args...), Do: do})
}

// DamagedReport is what doctor says of a file that does not open, or nil when
// err is of another kind.
func DamagedReport(ctx context.Context, path string, err error, now time.Time) *report.Document {
	if !errors.Is(err, store.ErrDamaged) {
		return nil
	}
	d := &doctor{data: DoctorData{File: path, Facts: FactsVersion(), Findings: []FindingData{}}}
	if schema, found := findings(ctx, path); len(found) > 0 {
		d.data.Schema = schema
		d.whole(found)
	} else {
		d.add(checkWhole, true, rescueWords, "the file does not open: %s", firstLine(err))
	}
	return d.document(fileDocument("Doctor", now, nil), []string{checkWhole})
}

// findings are those of a file that opens, and of which something is not read
// because it is damaged.
func findings(ctx context.Context, path string) (schema int, found []string) {
	st, err := store.OpenReadOnly(ctx, path)
	if err != nil {
		return 0, nil
	}
	defer st.Close()
	found, err = st.Check(ctx)
	if err != nil {
		return 0, nil
	}
	return st.Schema(), found
}

// whole tells what is wrong with the file, with how to go on.
func (d *doctor) whole(found []string) {
	for _, f := range found {
		do := rescueWords
		if store.Acceptable(f) {
			do = store.AcceptWords
		}
		d.add(checkWhole, true, do, "%s", f)
	}
}

// AcceptData is what `doctor --accept` kept.
type AcceptData struct {
	File     string   `json:"file"`
	Accepted []string `json:"accepted"`
}

// Accept keeps what the records of a farm's file say where a second copy or a
// sum says something else. It returns what was accepted, and says it.
func Accept(ctx context.Context, path, command, actor string, now time.Time) (*report.Document, string, error) {
	st, err := store.Open(ctx, path)
	if err != nil {
		return nil, "", err
	}
	defer st.Close()
	found, err := st.Accept(ctx, store.Command{Words: command, Actor: actor, At: now})
	if err != nil {
		return nil, "", err
	}
	said := "what the records and the counts say is kept, and the journal keeps what it differed from:\n" + strings.Join(found, "\n") +
		"\nput right what is wrong: `leafturn amend`, `leafturn bed set`, `leafturn farm set`, `leafturn label set`"
	return fileDocument("Accept", now, AcceptData{File: path, Accepted: found}), said, nil
}

// fileDocument is a document about a file and not about what is in it.
func fileDocument(title string, now time.Time, data any) *report.Document {
	return &report.Document{Title: title, AsOf: civil.DateIn(now, time.UTC), Made: now.UTC(), TimeZone: "UTC", Facts: FactsVersion(), Data: data}
}

const rescueWords = "stop entering; save what can be read with `leafturn doctor --rescue FOLDER`; put the newest backup back with `leafturn restore FILE`"

// Doctor checks the farm's file and what is recorded in it, and says of each
// thing that it finds what to do.
func (a *App) Doctor(ctx context.Context) (*report.Document, error) {
	d := &doctor{a: a, data: DoctorData{File: a.st.Path(), Schema: a.st.Schema(), Facts: a.cat.Version, Findings: []FindingData{}}}
	found, err := a.st.Check(ctx)
	if err != nil {
		return nil, err
	}
	d.whole(found)
	d.beside()
	checks := []string{checkWhole, checkBeside}
	if len(found) == 0 { // what a damaged file says is not worth judging
		if err := a.st.View(ctx, func(tx *store.Tx) error { return d.records(tx) }); err != nil {
			return nil, err
		}
		checks = append(checks, checkFacts, checkClock, checkRecords, checkLabels)
	}
	return d.document(a.document("Doctor", a.Today()), checks), nil
}

// document tells the findings, what is wrong first.
func (d *doctor) document(doc *report.Document, checks []string) *report.Document {
	d.data.Checked = []CheckedData{}
	wrong := 0
	for _, c := range checks {
		x := CheckedData{What: c}
		for _, f := range d.data.Findings {
			switch {
			case f.Check == c && f.Wrong:
				x.Wrong++
				wrong++
			case f.Check == c:
				x.Look++
			}
		}
		d.data.Checked = append(d.data.Checked, x)
	}
	d.data.Sound = wrong == 0
	doc.Subtitle = d.data.File
	t := &report.Table{Columns: []report.Column{{Title: "Looked at"}, {Title: "Wrong"}, {Title: "Worth a look"}}}
	for _, c := range d.data.Checked {
		t.Rows = append(t.Rows, []report.Value{report.Text(c.What), report.Count(c.Wrong), report.Count(c.Look)})
	}
	doc.Sections = append(doc.Sections, report.Section{Key: "checked", Table: t})
	for _, s := range []struct {
		key, title string
		wrong      bool
	}{{"wrong", "Wrong", true}, {"look", "Worth a look", false}} {
		sec := report.Section{Key: s.key, Title: s.title}
		for _, f := range d.data.Findings {
			if f.Wrong == s.wrong {
				sec.Items = append(sec.Items, report.Item{Head: report.Plain(f.What), Details: report.Lines("do: " + f.Do)})
			}
		}
		if len(sec.Items) > 0 {
			doc.Sections = append(doc.Sections, sec)
		}
	}
	if len(d.data.Findings) == 0 {
		doc.Sections = append(doc.Sections, report.Section{Key: "sound", Lead: report.Plain("Nothing is wrong.")})
	}
	doc.Data = d.data
	return doc
}

// Unsound is the error with which doctor ends when something is wrong.
func Unsound(doc *report.Document) error {
	data, ok := doc.Data.(DoctorData)
	if !ok || data.Sound {
		return nil
	}
	n := 0
	for _, f := range data.Findings {
		if f.Wrong {
			n++
		}
	}
	return diag.Failf(store.ErrDamaged, "see what to do beside each", "%s wrong", areOf(n, "thing"))
}

// beside looks for what commands that were killed left beside the file.
func (d *doctor) beside() {
	file, err := filepath.EvalSymlinks(d.data.File)
	if err != nil {
		return
	}
	entries, err := os.ReadDir(filepath.Dir(file))
	if err != nil {
		return
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".leafturn-") {
			d.add(checkBeside, false, "delete it when no other leafturn is running", "%s was left by a command that did not end", filepath.Join(filepath.Dir(d.data.File), e.Name()))
		}
	}
}

// records looks at every record that counts.
func (d *doctor) records(tx *store.Tx) error {
	a := d.a
	labels, err := tx.Labels()
	if err != nil {
		return err
	}
	for _, l := range labels {
		gaps := label.Check(l)
		if len(gaps) == 0 || !l.Retired.IsZero() {
			continue
		}
		var fields []string
		for _, g := range gaps {
			fields = append(fields, g.Field)
		}
		d.add(checkLabels, false, fmt.Sprintf("read them off the label: leafturn label ask %s", l.Key), "label %s: still unknown, so a schedule that needs one is refused: %s", l.Key, strings.Join(fields, ", "))
	}
	ahead, first := 0, ""
	for _, k := range store.Kinds {
		list, err := tx.Records(k, store.Filter{})
		if err != nil {
			return err
		}
		for _, r := range list {
			if r.EnteredAt.After(a.now) {
				if ahead++; first == "" {
					first = fmt.Sprintf("%s %d on %s", k, r.ID, r.EnteredAt.In(a.loc).Format("2 Jan 2006 15:04"))
				}
			}
			d.dates(k, r)
		}
	}
	for _, k := range store.Kinds {
		if list := d.future[k]; len(list) > 0 {
			words := areOf(len(list), recordWord(k))
			d.add(checkRecords, true, fmt.Sprintf("if a day is wrong: leafturn amend %s NUMBER --date DAY --reason \"...\"; if this computer's clock is: set it", k),
				"%s of a day in the future: %s", words, strings.Join(firstOf(list, 5), ", "))
		}
	}
	if ahead > 0 {
		d.add(checkClock, true, "set this computer's clock; if it was ahead when they were entered, the dates of those records need a look too",
			"%s entered later than now, %s, so a clock was set back or was ahead: the first is %s", areOf(ahead, "record"), a.now.In(a.loc).Format("2 Jan 2006 15:04"), first)
	}
	changes, err := tx.Changes(1)
	if err != nil {
		return err
	}
	if len(changes) == 1 && ahead == 0 && changes[0].At.After(a.now) {
		d.add(checkClock, true, "set this computer's clock", "the last command was given on %s, later than now", a.when(changes[0]))
	}
	if err := d.farm(tx); err != nil {
		return err
	}
	if err := d.visits(tx); err != nil {
		return err
	}
	if err := d.treatments(tx); err != nil {
		return err
	}
	return d.rest(tx)
}

// firstOf is the head of a list, with how many more there are.
func firstOf(list []string, n int) []string {
	if len(list) <= n {
		return list
	}
	return append(slices.Clone(list[:n]), fmt.Sprintf("and %d more", len(list)-n))
}

// dates finds days that cannot be: after today for what has happened, or so
// long ago that a year was mistyped.
func (d *doctor) dates(k store.Kind, r store.Record) {
	a := d.a
	amend := fmt.Sprintf("leafturn amend %s %d --date DAY --reason \"...\"", k, r.ID)
	switch {
	case k == store.KindCover || k == store.KindOverride || k == store.KindWeather && r.What == "forecast":
	case r.Date.After(a.Today()):
		if d.future == nil {
			d.future = map[store.Kind][]string{}
		}
		d.future[k] = append(d.future[k], fmt.Sprintf("%s %d (%s) of %s", k, r.ID, line(r.Bed, r.What), r.Date))
	case r.Date.Year < 1950:
		d.add(checkRecords, true, amend, "%s %d (%s) is of the year %d", k, r.ID, line(r.Bed, r.What), r.Date.Year)
	}
}

// farm looks at the farm and its beds.
func (d *doctor) farm(tx *store.Tx) error {
	a := d.a
	f, err := tx.Farm()
	if err != nil {
		return err
	}
	if words := contradicts(f); words != "" {
		d.add(checkRecords, true, "leafturn farm set --at \"LAT, LON\", or --last-frost and --first-frost", "%s", words)
	}
	for _, p := range f.Pests {
		if _, ok := a.cat.Pest(p); !ok {
			d.add(checkFacts, true, "leafturn farm set --pests ...", "the farm watches %q, which is no pest of these facts", p)
		}
	}
	beds, err := tx.Beds()
	if err != nil {
		return err
	}
	for _, b := range beds {
		switch {
		case !(b.AreaM2() > 0):
			d.add(checkRecords, true, fmt.Sprintf("leafturn bed set %s --size \"LENGTH x WIDTH\"", b.Code), "bed %s has no area, and amounts follow from it", b.Code)
		case b.Plants == 0:
			d.add(checkRecords, false, fmt.Sprintf("leafturn bed set %s --plants N", b.Code), "bed %s has no plants", b.Code)
		case float64(b.Plants) > 40*b.AreaM2():
			d.add(checkRecords, false, fmt.Sprintf("leafturn bed set %s --plants N", b.Code), "bed %s has %d plants on %s, more than 40 on each %s", b.Code, b.Plants, a.farm.Units.Area(b.AreaM2()), a.farm.Units.Area(1))
		}
		stages, err := tx.Stages(store.Filter{Bed: b.Code})
		if err != nil {
			return err
		}
		d.stages(b.Code, stages)
	}
	return nil
}

// stages finds stages of one season that come before an earlier one.
func (d *doctor) stages(bed string, events []farm.StageEvent) {
	for i, e := range events {
		for _, x := range events[:i] {
			if d.a.farm.Season(e.Date).Holds(x.Date) && x.Date.Before(e.Date) && x.Stage.Order() > e.Stage.Order() && x.Stage != farm.Dug {
				d.add(checkRecords, true, "amend or void the wrong one; `leafturn bed list` shows what they come to", "bed %s was %s on %s and only %s on %s", bed, x.Stage, x.Date, e.Stage, e.Date)
			}
		}
	}
}

func (d *doctor) visits(tx *store.Tx) error {
	heads, err := tx.Headers(store.Filter{})
	if err != nil {
		return err
	}
	told := map[string]int{}
	for _, h := range heads {
		what := ""
		if _, ok := d.a.cat.Pest(h.Pest); !ok {
			what = fmt.Sprintf("the pest %q", h.Pest)
		} else if _, ok := d.a.cat.Protocol(h.Pest, h.Unit); !ok {
			what = fmt.Sprintf("the sample unit %q of %s", h.Unit, h.Pest)
		}
		if what == "" {
			continue
		}
		if told[what]++; told[what] == 1 {
			d.add(checkFacts, true, fmt.Sprintf("leafturn amend visit %d ..., or use the leafturn that entered it", h.ID), "visit %d is of %s, which these facts do not know: nothing is computed with it", h.ID, what)
		}
	}
	return nil
}

func (d *doctor) treatments(tx *store.Tx) error {
	a := d.a
	list, err := tx.Treatments(store.Filter{})
	if err != nil {
		return err
	}
	beds, err := tx.Beds()
	if err != nil {
		return err
	}
	byCode := map[string]farm.Bed{}
	for _, b := range beds {
		byCode[b.Code] = b
	}
	for _, t := range list {
		amend := fmt.Sprintf("leafturn amend treatment %d ... --reason \"...\"", t.ID)
		what := fmt.Sprintf("treatment %d (%s in %s on %s)", t.ID, t.Label, t.Bed, t.Date)
		l, err := tx.TreatmentLabel(t.ID)
		switch {
		case errors.Is(err, store.ErrNotFound):
			d.add(checkRecords, true, "enter the label, then "+amend, "%s has no label", what)
			continue
		case err != nil:
			return err
		}
		stages, err := tx.Stages(store.Filter{Bed: t.Bed})
		if err != nil {
			return err
		}
		b := byCode[t.Bed]
		switch {
		case t.End.After(a.now) && t.EndKnown:
			d.add(checkRecords, true, amend, "%s ends in the future, %s", what, t.End.In(a.loc).Format("2 Jan 2006 15:04"))
		case !t.Start.IsZero() && t.End.Before(t.Start):
			d.add(checkRecords, true, amend, "%s ends before it begins", what)
		case !(t.Amount.Value > 0):
			d.add(checkRecords, true, amend, "%s has no amount", what)
		case !(t.AreaM2 > 0) || t.AreaM2 > 1.01*b.AreaM2():
			d.add(checkRecords, true, amend, "%s is of %s; the bed has %s", what, a.farm.Units.Area(t.AreaM2), a.farm.Units.Area(b.AreaM2()))
		case t.Date.Before(l.Entered):
			d.add(checkRecords, true, amend, "%s was made under a label that was transcribed only on %s", what, l.Entered)
		}
		if e, ok := l.Expiry.Get(); ok && t.Date.After(e) {
			d.add(checkRecords, true, "if the day or the label is wrong: "+amend, "%s was made with a product that expired on %s", what, e)
		}
		for _, s := range stages {
			if s.Stage != farm.Planted || !a.farm.Season(t.Date).Holds(s.Date) || !t.Date.Before(s.Date) || !farm.PlantedOn(stages, t.Date).IsZero() {
				continue
			}
			words := "its interval before harvest is not known"
			if n, ok := l.PHIDays.Get(); ok {
				words = fmt.Sprintf("its interval before harvest, %d days, ended on %s", n, t.Date.AddDays(n))
			}
			d.add(checkRecords, false, "if a day is wrong: "+amend, "%s lies before the planting of %s: %s", what, s.Date, words)
			break
		}
	}
	return nil
}

// rest looks at releases, steps, weather and covers.
func (d *doctor) rest(tx *store.Tx) error {
	a := d.a
	releases, err := tx.Releases(store.Filter{})
	if err != nil {
		return err
	}
	for _, r := range releases {
		amend := fmt.Sprintf("leafturn amend release %d ... --reason \"...\"", r.ID)
		if _, ok := a.cat.Agent(r.Agent); !ok {
			d.add(checkFacts, true, amend, "release %d is of %q, which is no agent of these facts", r.ID, r.Agent)
		}
		if !(r.Amount > 0) {
			d.add(checkRecords, true, amend, "release %d (%s in %s on %s) has no animals", r.ID, r.Agent, r.Bed, r.Date)
		}
	}
	days, err := tx.WeatherDays(store.Filter{})
	if err != nil {
		return err
	}
	for _, w := range days {
		for what, v := range map[string]*float64{"lowest": w.MinC, "highest": w.MaxC, "soil": w.SoilC} {
			if v != nil && (*v < -60 || *v > 60) {
				d.add(checkRecords, true, "void the weather of that day and enter it again", "the weather of %s has a %s temperature of %s", w.Date, what, a.farm.Units.Temp(*v))
			}
		}
	}
	covers, err := tx.Covers(store.Filter{})
	if err != nil {
		return err
	}
	for i, c := range covers {
		if !c.Kill.IsZero() && c.Kill.Before(c.Sow) {
			d.add(checkRecords, true, "amend it: leafturn amend cover NUMBER --kill DATE --reason \"...\"", "%s in %s ends on %s, before it is sown on %s", c.Cover, c.Bed, c.Kill, c.Sow)
		}
		for _, x := range covers[:i] {
			if x.Bed == c.Bed && !x.Kill.IsZero() && x.Sow.Before(c.Sow) && c.Sow.Before(x.Kill) {
				d.add(checkRecords, false, "void the one that was not sown", "%s is to be sown in %s on %s, where %s stands until %s", c.Cover, c.Bed, c.Sow, x.Cover, x.Kill)
			}
		}
	}
	return nil
}

// Rescue writes what can still be read of a damaged farm's file into a new
// folder, a CSV file for each table.
func Rescue(ctx context.Context, path, folder string) (string, error) {
	if entries, err := os.ReadDir(folder); err == nil && len(entries) > 0 {
		return "", diag.Usagef("give a new folder", "the folder %q is not empty", folder)
	}
	tables, err := store.Rescue(ctx, path)
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return "", diag.Failf(err, "give a folder that may be written", "the folder %q cannot be made: %v", folder, err)
	}
	said := fmt.Sprintf("of %s this could be read, into %s:", path, folder)
	for _, t := range tables {
		rows := make([][]string, len(t.Rows))
		for i, r := range t.Rows {
			rows[i] = make([]string, len(r))
			for j, v := range r {
				rows[i][j] = cellText(v)
			}
		}
		raw, err := record.CSV(t.Columns, rows)
		if err != nil {
			return "", err
		}
		if err := WriteFile(filepath.Join(folder, t.Name+".csv"), raw); err != nil {
			return "", err
		}
		words := ""
		if !t.Whole {
			words = "; the table is damaged, so some may be missing"
		}
		said += fmt.Sprintf("\n%s.csv: %s%s", t.Name, unitsOf(len(rows), "row"), words)
	}
	return said + "\nthe file itself was not touched", nil
}

// cellText is a value of a table as text; nothing for what is not known.
func cellText(v any) string {
	switch x := v.(type) {
	case nil:
		return ""
	case []byte:
		return string(x)
	case float64:
		return unitText(&x, "")
	}
	return fmt.Sprint(v)
}
