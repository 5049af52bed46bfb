package app

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/cover"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/report"
	"leafturn/internal/units"
	"leafturn/plots"
)

// CoverFiles are what a plan of covers is written to besides the document.
type CoverFiles struct {
	Map      string                                 // file of the map, .png, .svg or .pdf; "" for none
	Window   string                                 // of the map: winter, rest, or "" for each that has a cover
	Calendar func(*report.Document) (Staged, error) // as for WeekCalendar; nil for none
	Warning  string                                 // filled: what could not be noted of the calendar
}

// check refuses what cannot be done before anything is computed.
func (f CoverFiles) check(o CoverOptions) error {
	if o.Pest != "" && (f.Map != "" || f.Calendar != nil) {
		return diag.Usagef("leave out --pest to plan by bed", "a map and a calendar are of a plan by bed, not of a ranking")
	}
	if f.Window != "" && f.Map == "" {
		return diag.Usagef("add --map FILE", "--window says which map is drawn, and none is asked for")
	}
	if f.Window != "" && f.Window != string(cover.BeforePlanting) && f.Window != string(cover.RestYear) {
		return diag.Usagef("write winter or rest", "--window %q is no window of a plan", f.Window)
	}
	if f.Map != "" && !pictureFile(f.Map) {
		return diag.Usagef("end it with .png, .svg or .pdf", "--map %q does not say what kind of picture", f.Map)
	}
	return nil
}

func pictureFile(name string) bool {
	return contains(plots.Formats, strings.TrimPrefix(strings.ToLower(filepath.Ext(name)), "."))
}

// giveCovers stores a plan where that is asked for, and writes its map and its
// calendar. The pictures are made ready before the plan is stored: where one
// cannot be made nothing is, and where a later step fails the error says what
// was kept.
func (a *App) giveCovers(ctx context.Context, s snapshot, in coverPlan, plan cover.Plan, doc *report.Document, today civil.Date, o CoverOptions) error {
	f := o.Files
	if f == nil {
		f = &CoverFiles{}
	}
	var ready []Staged
	drop := func() {
		for _, r := range ready {
			r.Drop()
		}
	}
	if f.Map != "" {
		figures, staged, err := stageMaps(a.coverMaps(s, in, plan, f.Window, today, 0), f.Map)
		if err != nil {
			return err
		}
		ready = staged
		doc.Sections = append(doc.Sections, report.Section{Key: "map", Title: "Map", Figures: figures})
	}
	if f.Calendar != nil { // an early look: the calendar must be writable before the plan is stored
		data, _ := doc.Data.(CoverPlanData)
		events := a.coverEvents(data.Works, today)
		var err error
		if doc.Events, _, err = a.calendarEvents(ctx, events, today, coversPart); err == nil && len(doc.Events) > 0 {
			var try Staged
			if try, err = f.Calendar(doc); err == nil {
				try.Drop()
			}
		}
		if err != nil {
			drop()
			return err
		}
	}
	said := ""
	if o.Keep {
		replaced, err := a.keepCovers(ctx, plan, today)
		if err != nil {
			drop()
			return kept(err, "the plan was not stored")
		}
		if replaced > 0 {
			doc.Sections = append(doc.Sections, report.Section{Key: "replaced", Notes: report.Lines(
				fmt.Sprintf("taken out, for the new plan does not hold them: %s of an earlier plan, not sown yet; `leafturn undo` takes both back", unitsOf(replaced, "cover")))})
		}
		said = "the plan is stored"
	}
	for _, r := range ready {
		if err := r.Keep(); err != nil {
			return kept(err, said)
		}
		r.done()
	}
	if f.Calendar == nil {
		return nil
	}
	data, _ := doc.Data.(CoverPlanData)
	warning, err := a.export(ctx, today, doc, a.coverEvents(data.Works, today), coversPart, f.Calendar)
	f.Warning = warning
	if err != nil && said != "" {
		return kept(err, said)
	}
	return err
}

// orderDays is how many days before its last day the order of seed stands in the
// calendar.
const orderDays = 14

// coverEvents makes an event of each work that is not past.
func (a *App) coverEvents(works []CoverWork, today civil.Date) []report.Event {
	var out []report.Event
	seen := map[string]int{}
	for _, w := range works {
		if w.Last.Before(today) {
			continue
		}
		about := []string{coversPart, w.Task}
		if w.Sowing != nil {
			about[1] += fmt.Sprint(*w.Sowing)
		}
		for _, x := range []string{w.Window, w.Cover, strings.Join(w.Beds, "+")} {
			if x != "" {
				about = append(about, x)
			}
		}
		e := report.Event{
			UID:     eventBase(seen, about...),
			Summary: w.Text + "; " + bedWords(w.Beds, 0), Location: a.farm.Place,
			First: w.Last.AddDays(-orderDays), Last: w.Last, Transparent: true, Categories: []string{"COVERS"},
		}
		if w.First != nil {
			e.First = *w.First
		}
		if e.First.Before(today) {
			e.First = today
		}
		if len(w.Safety) > 0 && w.Task != string(cover.SowIt) && w.Task != string(cover.SowAgain) {
			e.Summary += " (read the safety lines)"
		}
		when := "on " + w.Last.Short()
		switch {
		case w.First == nil:
			when = "by " + w.Last.Short() + " at the latest"
		case *w.First != w.Last:
			when = "not before " + w.First.Short() + ", and by " + w.Last.Short() + " at the latest"
		}
		e.Description = strings.Join(append(append([]string{when, "beds: " + strings.Join(w.Beds, ", ")}, w.Notes...), w.Safety...), "\n")
		switch cover.Task(w.Task) {
		case cover.WaitFor:
		case cover.LookAt:
			e.Alarms = []report.Alarm{report.AlarmAt(0, 7, 0)}
		default:
			e.Alarms = []report.Alarm{report.AlarmAt(0, 7, 0)}
			if e.Last != e.First {
				e.Alarms = append(e.Alarms, report.Alarm{FromEnd: true, Offset: -17 * time.Hour}) // 07:00 of the last day
			}
		}
		out = append(out, e)
	}
	return out
}

// coverMaps are the maps of a plan: of one window, or of each that has a cover,
// with closer maps of the parts of a large field.
func (a *App) coverMaps(s snapshot, in coverPlan, plan cover.Plan, window string, today civil.Date, wide float64) []plots.CoverMap {
	var out []plots.CoverMap
	for _, w := range []cover.Stand{cover.BeforePlanting, cover.RestYear} {
		sown := slices.ContainsFunc(plan.Beds, func(b cover.BedPlan) bool { return w == cover.RestYear && b.Rest.Key != cover.None })
		if window == string(w) || window == "" && (w == cover.BeforePlanting || sown) {
			m := a.coverMap(s, in, plan, w, today)
			m.Wide = wide
			out = append(out, m.Pages()...)
		}
	}
	return out
}

func (a *App) coverMap(s snapshot, in coverPlan, plan cover.Plan, w cover.Stand, today civil.Date) plots.CoverMap {
	m := plots.CoverMap{Window: "winter, before planting", AsOf: today, Source: a.farm.Name, Feet: a.farm.Units == units.US}
	if w == cover.RestYear {
		m.Window = "summer of the rested beds"
	}
	places := map[string]farm.Bed{}
	for _, b := range s.beds {
		places[b.Code] = b
	}
	standing := map[string]string{}
	for _, b := range in.beds {
		standing[b.Code] = b.Standing
	}
	short := shortNames(plan, w)
	for _, b := range plan.Beds {
		at := places[b.Bed]
		if at.X == nil || at.Y == nil {
			m.NoPlace = append(m.NoPlace, b.Bed)
			continue
		}
		x := plots.CoverBed{
			Code: b.Bed, X: *at.X, Y: *at.Y, EastM: at.LengthM, NorthM: at.WidthM, Unknown: len(b.Unknown) > 0, Rested: b.Rest.Key != cover.None,
			Untreated: b.Untreated && in.rules.Untreated > 0,
		}
		c := b.Winter
		if w == cover.RestYear {
			c = b.Rest
		}
		x.Pinned = c.Pinned
		if c.Key != cover.None {
			x.Cover, x.Short, x.Sow, x.End = c.Option.Crop.Name, short[c.Option.Crop.ID], c.Fit.Choice.Sow, c.Fit.Choice.Kill
		}
		switch {
		case w == cover.RestYear && c.Key == cover.None:
			x.Cover, x.Short, x.Untreated, x.Unknown = "dahlias", "dahlias", false, false
		case c.Key == cover.None && standing[b.Bed] != "":
			x.Cover = standing[b.Bed]
		}
		m.Beds = append(m.Beds, x)
	}
	m.Next = coverNext(m.Beds, today)
	return m
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// shortNames are the last words of the covers' keys, where no other cover of the
// map has the same: "rye" for cereal_rye.
func shortNames(plan cover.Plan, w cover.Stand) map[string]string {
	out := map[string]string{}
	uses := map[string]int{}
	for _, b := range plan.Beds {
		c := b.Winter
		if w == cover.RestYear {
			c = b.Rest
		}
		id := c.Option.Crop.ID
		if c.Key == cover.None || out[id] != "" {
			continue
		}
		var words []string
		for _, key := range strings.Split(id, "+") {
			words = append(words, key[strings.LastIndex(key, "_")+1:])
		}
		out[id] = strings.Join(words, "+")
		uses[out[id]]++
	}
	for id, s := range out {
		if uses[s] > 1 {
			out[id] = ""
		}
	}
	return out
}

// stageMaps draws maps and makes their files ready, numbered when there are
// several. Nothing is left behind on an error.
func stageMaps(maps []plots.CoverMap, out string) (figures []report.Figure, ready []Staged, err error) {
	ext := filepath.Ext(out)
	defer func() {
		if err != nil {
			for _, r := range ready {
				r.Drop()
			}
			ready = nil
		}
	}()
	for i, m := range maps {
		name := out
		if len(maps) > 1 {
			name = fmt.Sprintf("%s-%d%s", strings.TrimSuffix(out, ext), i+1, ext)
		}
		if err := m.Check(); err != nil {
			return nil, ready, diag.Failf(err, "give the beds their places: `leafturn bed set BED --at '0 m, 12 m'`", "%v", err)
		}
		var b bytes.Buffer
		if err := plots.Write(m, &b, strings.TrimPrefix(strings.ToLower(ext), ".")); err != nil {
			return nil, ready, err
		}
		s, err := StageFile(name, b.Bytes())
		if err != nil {
			return nil, ready, err
		}
		ready = append(ready, s)
		figures = append(figures, report.Figure{Key: fmt.Sprintf("map-%d", i+1), Title: m.Caption(), Alt: m.Alt(), File: name})
	}
	return figures, ready, nil
}
