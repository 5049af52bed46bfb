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
		if l.Product == "" {
			d.add(checkRecords, true, fmt.Sprintf("leafturn label set %s product=\"...\", and the other fields as they stand on the label", l.Key), "label %s, version %d, names no product", l.Key, l.Version)
		}
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
			"of %s the time of entry is later than now, %s, so a clock was set back or was ahead: the first is %s", unitsOf(ahead, "record"), a.now.In(a.loc).Format("2 Jan 2006 15:04"), first)
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
		if err := d.stages(tx, b.Code, stages); err != nil {
			return err
		}
	}
	return nil
}

// number is that of the record of a kind, bed and day that says what.
func number(tx *store.Tx, kind store.Kind, bed string, day civil.Date, what string) (int64, error) {
	list, err := tx.Records(kind, store.Filter{Bed: bed, From: day, To: day})
	if err != nil {
		return 0, err
	}
	for _, r := range list {
		if r.What == what {
			return r.ID, nil
		}
	}
	return 0, fmt.Errorf("no %s record of %s on %s says %q", kind, bed, day, what)
}

// stages finds stages of one season that come before an earlier one.
func (d *doctor) stages(tx *store.Tx, bed string, events []farm.StageEvent) error {
	for i, e := range events {
		for _, x := range events[:i] {
			if d.a.farm.Season(e.Date).Holds(x.Date) && x.Date.Before(e.Date) && x.Stage.Order() > e.Stage.Order() && x.Stage != farm.Dug {
				n1, err := number(tx, store.KindStage, bed, x.Date, string(x.Stage))
				if err != nil {
					return err
				}
				n2, err := number(tx, store.KindStage, bed, e.Date, string(e.Stage))
				if err != nil {
					return err
				}
				d.add(checkRecords, true, fmt.Sprintf("if a day is wrong: leafturn amend stage %d --date DAY --reason \"...\", or stage %d", n1, n2), "bed %s was %s on %s and only %s on %s", bed, x.Stage, x.Date, e.Stage, e.Date)
			}
		}
	}
	return nil
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
			d.add(checkFacts, true, fmt.Sprintf("leafturn amend visit %d ..., or use the leafturn that entered it", h.ID), "visit %d is of %s, which these facts do not know: lists that need it are refused", h.ID, what)
		}
	}
	return nil
}
