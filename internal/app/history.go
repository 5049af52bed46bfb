package app

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/report"
	"leafturn/internal/store"
	"leafturn/internal/units"
)

// HistoryData is what `history` shows: the changes of the farm's file, or what
// happened to one record.
type HistoryData struct {
	Of       string        `json:"of"`
	Changes  []ChangeData  `json:"changes"`
	Versions []VersionData `json:"versions"`
}

// ChangeData is one command of the journal.
type ChangeData struct {
	Number  int64    `json:"number"`
	At      string   `json:"at"`
	Command string   `json:"command"`
	By      string   `json:"by"`
	What    string   `json:"what"`
	About   *int64   `json:"about"`
	Stands  bool     `json:"stands"`
	Did     []string `json:"did"`
}

// VersionData is one version of a record, a bed, a label or the farm.
type VersionData struct {
	Number int64       `json:"number"`
	Says   string      `json:"says"`
	Counts bool        `json:"counts"`
	Events []EventData `json:"events"`
}

// EventData is what happened to a version.
type EventData struct {
	At      string `json:"at"`
	What    string `json:"what"`
	Change  *int64 `json:"change"`
	Command string `json:"command"`
	By      string `json:"by"`
	Reason  string `json:"reason"`
	Instead *int64 `json:"instead"`
}

// lastChanges is how many changes `history` shows without --all.
const lastChanges = 20

// History shows the last commands that wrote, or with words the history of one
// thing: a kind and a number, a bed, a label or the farm.
func (a *App) History(ctx context.Context, words []string, all bool) (*report.Document, error) {
	if len(words) == 0 {
		return a.changes(ctx, all)
	}
	if all {
		return nil, diag.Usagef("leave it out: a history is told whole", "--all goes with no record")
	}
	want := func(n int, form string) error {
		if len(words) != n {
			return diag.Usagef("write it as `leafturn history "+form+"`", "history %s does not take %d words", words[0], len(words)-1)
		}
		return nil
	}
	switch strings.ToLower(words[0]) {
	case "farm":
		if err := want(1, "farm"); err != nil {
			return nil, err
		}
		return a.describedHistory(ctx, "farm", func(tx *store.Tx) ([]store.Event, error) { return tx.FarmHistory() })
	case "bed":
		if err := want(2, "bed CODE"); err != nil {
			return nil, err
		}
		return a.describedHistory(ctx, "bed "+words[1], func(tx *store.Tx) ([]store.Event, error) { return tx.BedHistory(words[1]) })
	case "label":
		if err := want(2, "label LABEL"); err != nil {
			return nil, err
		}
		return a.labelHistory(ctx, words[1])
	}
	kind, err := recordKind(words[0], "bed", "label", "farm")
	if err != nil {
		return nil, err
	}
	if err := want(2, words[0]+" NUMBER"); err != nil {
		return nil, err
	}
	id, err := recordNumber(words[1])
	if err != nil {
		return nil, err
	}
	return a.recordHistory(ctx, kind, id)
}

// changes lists the commands that wrote, the latest first.
func (a *App) changes(ctx context.Context, all bool) (*report.Document, error) {
	n := lastChanges + 1
	if all {
		n = 0
	}
	var list []store.Change
	err := a.st.View(ctx, func(tx *store.Tx) (err error) { list, err = tx.Changes(n); return err })
	if err != nil {
		return nil, err
	}
	doc := a.document("What was written", a.Today())
	t := &report.Table{Columns: []report.Column{{Title: "Change"}, {Title: "When"}, {Title: "Command"}, {Title: "What it did"}, {Title: "Now"}}}
	data := HistoryData{Of: "farm's file", Changes: []ChangeData{}, Versions: []VersionData{}}
	sec := report.Section{Key: "changes", Table: t}
	if !all && len(list) > lastChanges {
		list = list[:lastChanges]
		sec.Notes = report.Lines("Older ones: leafturn history --all")
	}
	for _, c := range list {
		d := ChangeData{Number: c.ID, At: stamp(c.At, a.loc), Command: c.Command, By: c.Actor, What: c.What, About: optID(c.About), Stands: !c.Undone, Did: changeDid(c)}
		data.Changes = append(data.Changes, d)
		now := ""
		if c.Undone {
			now = "taken back"
		}
		t.Rows = append(t.Rows, []report.Value{report.Count(int(c.ID)), report.Text(a.when(c)), report.Text(whoTyped(c)), report.Text(strings.Join(d.Did, ", ")), report.Text(now)})
	}
	if len(list) == 0 {
		sec = report.Section{Key: "changes", Lead: report.Plain("No command has written since this file keeps a journal.")}
	}
	doc.Sections = []report.Section{sec}
	doc.Data = data
	return doc, nil
}

// changeDid says in words what a change did.
func changeDid(c store.Change) []string {
	switch c.What {
	case "undo":
		return []string{fmt.Sprintf("took back change %d", c.About)}
	case "redo":
		return []string{fmt.Sprintf("brought back change %d", c.About)}
	case "told":
		return []string{"noted what a calendar file was given"}
	case "made":
		return []string{"the farm was set up"}
	case "accepted":
		out := make([]string, len(c.Copies))
		for i, x := range c.Copies {
			out[i] = "accepted: " + x
		}
		return out
	}
	out := []string{}
	for _, x := range []struct {
		kinds map[store.Kind]int
		did   string
	}{{c.Added, "entered"}, {c.Amended, "amended"}, {c.Voided, "voided"}} {
		for _, k := range store.Kinds {
			n := x.kinds[k]
			if x.did == "entered" {
				n -= c.Amended[k] // one that takes the place of another
			}
			if n < 1 {
				continue
			}
			words := unitsOf(n, recordWord(k)) + " " + x.did
			if x.did == "entered" {
				words += " (" + numbersOf(c, k) + ")"
			}
			out = append(out, words)
		}
	}
	for _, s := range c.Made {
		out = append(out, s+" added")
	}
	for _, s := range c.Set {
		out = append(out, s+" set")
	}
	return out
}

// numbersOf are those of the records of a kind that a change added.
func numbersOf(c store.Change, k store.Kind) string {
	var out []string
	for _, r := range c.Ranges {
		if r.Kind == k {
			out = append(out, rangeWords(r))
		}
	}
	return strings.Join(out, ", ")
}

func (a *App) when(c store.Change) string {
	if c.At.IsZero() {
		return ""
	}
	return c.At.In(a.loc).Format("2006-01-02 15:04")
}

func whoTyped(c store.Change) string {
	if c.Actor == "" {
		return c.Command
	}
	return c.Command + " (" + c.Actor + ")"
}

// recordHistory is every version of a record with what happened to it.
func (a *App) recordHistory(ctx context.Context, kind store.Kind, id int64) (*report.Document, error) {
	data := HistoryData{Of: fmt.Sprintf("%s %d", kind, id), Changes: []ChangeData{}, Versions: []VersionData{}}
	err := a.st.View(ctx, func(tx *store.Tx) error {
		if list, err := tx.Records(kind, store.Filter{ID: id, IncludeVoided: true}); err != nil {
			return err
		} else if len(list) == 0 {
			return store.NoRecord(kind, id)
		}
		versions, err := tx.Versions(kind, id)
		if err != nil {
			return err
		}
		for _, n := range versions {
			list, err := tx.Records(kind, store.Filter{ID: n, IncludeVoided: true})
			if err != nil {
				return err
			}
			if len(list) != 1 {
				return fmt.Errorf("%s record %d is not there", kind, n)
			}
			r := list[0]
			words, err := a.recordOf(tx, kind, n)
			if err != nil {
				return err
			}
			events, err := tx.History(kind, n)
			if err != nil {
				return err
			}
			v := VersionData{Number: n, Says: words.words, Counts: r.VoidedAt.IsZero(), Events: a.eventsData(events)}
			if !slices.ContainsFunc(events, func(e store.Event) bool { return e.What == store.EventEntered }) {
				v.Events = append([]EventData{{At: stamp(r.EnteredAt, a.loc), What: store.EventEntered, Command: "before the journal was kept"}}, v.Events...)
			}
			if !v.Counts && !slices.ContainsFunc(events, func(e store.Event) bool { return e.What != store.EventEntered }) {
				v.Events = append(v.Events, EventData{At: stamp(r.VoidedAt, a.loc), What: store.EventVoided, Command: "before the journal was kept", Reason: r.VoidReason})
			}
			data.Versions = append(data.Versions, v)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return a.historyDocument(data), nil
}

func (a *App) eventsData(events []store.Event) []EventData {
	out := []EventData{}
	for _, e := range events {
		out = append(out, EventData{At: stamp(e.Change.At, a.loc), What: e.What, Change: optID(e.Change.ID), Command: e.Change.Command, By: e.Change.Actor, Reason: e.Reason, Instead: optID(e.Instead)})
	}
	return out
}

// describedHistory is how the farm or a bed was described, from change to
// change.
func (a *App) describedHistory(ctx context.Context, of string, read func(*store.Tx) ([]store.Event, error)) (*report.Document, error) {
	var events []store.Event
	if err := a.st.View(ctx, func(tx *store.Tx) (err error) { events, err = read(tx); return err }); err != nil {
		return nil, err
	}
	data := HistoryData{Of: of, Changes: []ChangeData{}, Versions: []VersionData{}}
	for i, e := range events {
		says := "not there"
		switch {
		case e.Bed != nil:
			says = bedText(*e.Bed, a.farm.Units)
		case e.Farm != nil:
			says = farmText(*e.Farm)
		}
		data.Versions = append(data.Versions, VersionData{Number: int64(i + 1), Says: says, Counts: i == len(events)-1, Events: a.eventsData(events[i : i+1])})
	}
	return a.historyDocument(data), nil
}

func bedText(b farm.Bed, s units.System) string {
	place := ""
	if b.X != nil && b.Y != nil {
		place = asTyped(b.X, "m", s) + ", " + asTyped(b.Y, "m", s)
	}
	return line(b.Code, flag("block", b.Block), flag("size", asTyped(&b.LengthM, "m", s)+" x "+asTyped(&b.WidthM, "m", s)), flag("at", place), flag("plants", strconv.Itoa(b.Plants)), flag("cultivar", b.Cultivar),
		flag("irrigation", string(b.Irrigation)), flag("site", string(b.Site)), flag("water", asTyped(b.WaterM, "m", s)), flag("animals", b.Animals), flag("leaves", idText(int64(b.LeavesPerPlant))),
		flag("crop", b.Crop), flag("rows", idText(int64(b.Rows))))
}

func farmText(f farm.Farm) string {
	waiting := ""
	if f.WaitingCost != 0 {
		waiting = strconv.FormatFloat(f.WaitingCost, 'f', -1, 64)
	}
	normals := ""
	if len(f.Normals) > 0 {
		normals = "usual weather of the months typed in"
	}
	return line(flag("name", f.Name), flag("place", f.Place), flag("country", f.Country), flag("zone", f.TimeZone), flag("hardiness", f.HardinessZone), flag("last-frost", f.LastFrost.String()), flag("first-frost", f.FirstFrost.String()),
		flag("units", string(f.Units)), flag("organic", yes(f.Organic)), flag("pests", strings.Join(f.Pests, ",")), flag("area", strings.Join(f.Area, ",")), flag("waiting-cost", waiting),
		flag("at", placeWords(f)), flag("work-days", farm.WeekdayWords(f.WorkDays)), flag("work-hours", f.WorkHours), flag("harvest-days", farm.WeekdayWords(f.HarvestDays)),
		flag("round-minutes", idText(int64(f.RoundMinutes))), flag("product-days", idText(int64(f.ProductDays))), flag("applicator-address", f.ApplicatorAddress), normals)
}

// labelHistory is when each version of a label came.
func (a *App) labelHistory(ctx context.Context, key string) (*report.Document, error) {
	l, _, err := a.labelFor(ctx, key)
	if err != nil {
		return nil, err
	}
	var versions []farm.Label
	var events []store.Event
	err = a.st.View(ctx, func(tx *store.Tx) (err error) {
		if versions, err = tx.LabelVersions(l.Key); err != nil {
			return err
		}
		events, err = tx.LabelHistory(l.Key)
		return err
	})
	if err != nil {
		return nil, err
	}
	data := HistoryData{Of: "label " + l.Key, Changes: []ChangeData{}, Versions: []VersionData{}}
	numbers := []int64{}
	says := map[int64]string{}
	for _, v := range versions {
		n := int64(v.Version)
		numbers = append(numbers, n)
		says[n] = fmt.Sprintf("%s, transcribed %s; `leafturn label show %s --version %d` has its fields", v.Product, v.Entered, v.Key, v.Version)
	}
	for _, e := range events {
		if !slices.Contains(numbers, e.Version) {
			numbers = append(numbers, e.Version)
			says[e.Version] = "taken back"
		}
	}
	slices.Sort(numbers)
	for _, n := range numbers {
		v := VersionData{Number: n, Says: says[n], Counts: n == int64(l.Version)}
		v.Events = a.eventsData(slices.DeleteFunc(slices.Clone(events), func(e store.Event) bool { return e.Version != n }))
		data.Versions = append(data.Versions, v)
	}
	return a.historyDocument(data), nil
}

// historyDocument tells versions, each with its events.
func (a *App) historyDocument(data HistoryData) *report.Document {
	doc := a.document("History of "+data.Of, a.Today())
	doc.Data = data
	sec := report.Section{Key: "versions"}
	for _, v := range data.Versions {
		item := report.Item{Head: report.Plain(fmt.Sprintf("%d: %s", v.Number, v.Says))}
		if v.Counts {
			item.Mark = "now"
		}
		for _, e := range v.Events {
			words := e.What
			if e.Instead != nil {
				words += fmt.Sprintf(", now %d", *e.Instead)
			}
			if t, err := time.Parse(time.RFC3339, e.At); err == nil {
				words = t.In(a.loc).Format("2006-01-02 15:04") + " " + words
			}
			if e.Reason != "" {
				words += ", because: " + e.Reason
			}
			switch {
			case e.Change != nil && e.Command != "":
				words += fmt.Sprintf(" (change %d: %s)", *e.Change, whoTyped(store.Change{Command: e.Command, Actor: e.By}))
			case e.Change != nil:
				words += fmt.Sprintf(" (change %d)", *e.Change)
			case e.Command != "":
				words += " (" + e.Command + ")"
			}
			item.Details = append(item.Details, report.Plain(words))
		}
		sec.Items = append(sec.Items, item)
	}
	if len(sec.Items) == 0 {
		sec.Lead = report.Plain("Nothing has changed since this file keeps a journal.")
	}
	doc.Sections = []report.Section{sec}
	return doc
}

// CorrectedSince puts into a document of an earlier day which records of those
// days were taken out since: it counts them as they stand now.
func (a *App) CorrectedSince(ctx context.Context, doc *report.Document) error {
	day := doc.AsOf
	if day.IsZero() || !day.Before(a.Today()) {
		return nil
	}
	var lines []string
	more := 0
	err := a.st.View(ctx, func(tx *store.Tx) error {
		list, err := tx.CorrectedSince(store.Filter{To: day}, a.endOf(day))
		if err != nil {
			return err
		}
		for _, r := range list {
			if len(lines) == mostCorrected {
				more++
				continue
			}
			what := fmt.Sprintf("%s %d (%s, %s)", r.Kind, r.ID, line(r.Bed, r.What), r.Date.Short())
			if r.Bed == "" {
				what = fmt.Sprintf("%s %d (%s, %s)", r.Kind, r.ID, r.What, r.Date.Short())
			}
			lines = append(lines, what+" on "+civil.DateIn(r.VoidedAt, a.loc).Short()+", "+r.VoidReason)
		}
		return nil
	})
	if err != nil || len(lines) == 0 {
		return err
	}
	if more > 0 {
		lines = append(lines, fmt.Sprintf("and %d more: leafturn history", more))
	}
	doc.Sections = append(doc.Sections, report.Section{Key: "corrected", Title: "Corrected since " + day.Short(),
		Lead:  report.Plain("This shows that day with what is recorded of it now. What was changed after it:"),
		Notes: report.Lines(lines...)})
	return nil
}

// mostCorrected is how many corrections a document names.
const mostCorrected = 8
