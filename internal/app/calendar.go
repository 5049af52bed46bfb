package app

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"leafturn/internal/agenda"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/monthplan"
	"leafturn/internal/report"
	"leafturn/internal/store"
)

// The parts of the ledger. Their names stand in front of what their entries are
// about: each has a calendar of its own, whose file neither tells nor cancels
// the entries of another. Those of the week have none.
const (
	weekPart   = ""
	planPart   = "plan"
	coversPart = "covers"
)

// ledgerOf is the part of the ledger that a calendar tells of. A part that begins
// with companionPart tells of one season.
func ledgerOf(all []farm.CalendarEntry, part string) []farm.CalendarEntry {
	return slices.DeleteFunc(slices.Clone(all), func(e farm.CalendarEntry) bool {
		if part != weekPart {
			return !strings.HasPrefix(e.UID, part+"-")
		}
		return slices.ContainsFunc([]string{planPart + "-", coversPart + "-", companionPart}, func(p string) bool { return strings.HasPrefix(e.UID, p) })
	})
}

// calendarEvents gives the list's events the identifiers and sequences that
// they have in calendars, adds those to be cancelled, and returns what the
// ledger is to hold once a file was written.
func (a *App) calendarEvents(ctx context.Context, now []report.Event, on civil.Date, part string) ([]report.Event, []farm.CalendarEntry, error) {
	var ledger []farm.CalendarEntry
	uid := ""
	err := a.st.View(ctx, func(tx *store.Tx) (err error) {
		if uid, err = tx.FarmUID(); err == nil && on == a.Today() { // what was told since is nothing to an earlier list
			ledger, err = tx.CalendarEntries()
		}
		return err
	})
	if err != nil {
		return nil, nil, err
	}
	return agenda.Merge(ledgerOf(ledger, part), now, uid, on, a.loc, a.now)
}

// WeekCalendar makes the week's list with its events as a calendar is to be
// told them, see export.
func (a *App) WeekCalendar(ctx context.Context, day civil.Date, stage func(*report.Document) (Staged, error)) (doc *report.Document, warning string, err error) {
	doc, now, err := a.weekWithEvents(ctx, day)
	if err != nil {
		return nil, "", err
	}
	warning, err = a.export(ctx, day, doc, now, weekPart, stage)
	return doc, warning, err
}

// PlanCalendar makes the plan of the coming weeks with its jobs as events.
func (a *App) PlanCalendar(ctx context.Context, day civil.Date, o MonthOptions, stage func(*report.Document) (Staged, error)) (doc *report.Document, warning string, err error) {
	if len(o.Beds) > 0 {
		return nil, "", diag.Usagef("leave out the beds, or --ics", "a calendar holds the plan of all beds: one of some beds would cancel the others")
	}
	if doc, err = a.MonthPlan(ctx, day, o); err != nil {
		return nil, "", err
	}
	now, err := a.planEvents(doc)
	if err != nil {
		return nil, "", err
	}
	if doc.Events, _, err = a.calendarEvents(ctx, now, day, planPart); err != nil {
		return nil, "", err
	}
	warning, err = a.export(ctx, day, doc, now, planPart, stage)
	return doc, warning, err
}

// CompanionCalendar makes the companions with their sowing list as events.
func (a *App) CompanionCalendar(ctx context.Context, day civil.Date, o CompanionOptions, stage func(*report.Document) (Staged, error)) (doc *report.Document, said []string, warning string, err error) {
	p, err := a.companionPlan(ctx, day, o)
	if err != nil {
		return nil, nil, "", err
	}
	if len(p.jobs()) == 0 {
		return nil, nil, "", diag.Failf(nil, "see `leafturn companions` for why", "no plant is to be sown for %d, so there is nothing to put in a calendar", p.season.Year)
	}
	doc = a.companionDocument(p, day)
	part, now := fmt.Sprintf("%s%d", companionPart, p.season.Year), a.companionEvents(p)
	if doc.Events, _, err = a.calendarEvents(ctx, now, day, part); err != nil {
		return nil, nil, "", err
	}
	if said, err = a.drawBloom(p, doc, day, o.Draw); err != nil {
		return nil, nil, "", err
	}
	if warning, err = a.export(ctx, day, doc, now, part, stage); err != nil && len(said) > 0 {
		err = kept(err, "the picture was drawn, the calendar was not written")
	}
	return doc, said, warning, err
}

// export puts the events into doc and gives it out. What the file holds is
// noted in one transaction, and the file is made ready and given its name in it,
// before the note is safe: a file that cannot be written or named leaves the
// ledger as it was, and where the note cannot be kept the old file is put back.
// So no two files give different words under one sequence, and none is skipped.
// What cannot be taken back, such as standard output, is given out after the
// note. Files of earlier days are copies and are not noted.
//
// Where the store cannot be written the file is written all the same, and
// warning says so.
func (a *App) export(ctx context.Context, day civil.Date, doc *report.Document, now []report.Event, part string, stage func(*report.Document) (Staged, error)) (warning string, err error) {
	give := func() error {
		s, err := stage(doc)
		if err != nil {
			return err
		}
		if err := s.Keep(); err != nil {
			return err
		}
		s.done()
		return nil
	}
	if day != a.Today() {
		return "", give()
	}
	var ready *Staged
	asked, kept := false, false
	err = a.st.Update(ctx, func(tx *store.Tx) error {
		uid, err := tx.FarmUID()
		if err != nil {
			return err
		}
		ledger, err := tx.CalendarEntries()
		if err != nil {
			return err
		}
		events, changed, err := agenda.Merge(ledgerOf(ledger, part), now, uid, day, a.loc, a.now)
		if err != nil {
			return err
		}
		for _, c := range changed {
			if err := tx.SetCalendarEntry(c); err != nil {
				return err
			}
		}
		doc.Events, asked = events, true
		s, err := stage(doc)
		if err != nil {
			return err
		}
		ready = &s
		if s.Undo != nil {
			if err := s.Keep(); err != nil {
				return err
			}
			kept = true
		}
		return nil
	})
	switch {
	case err != nil && kept:
		if err2 := ready.Undo(); err2 != nil {
			return "", diag.Failf(err, "delete the file and export again", "the calendar file was written, could not be noted, and the old one could not be put back: %v", err2)
		}
		return "", err
	case err != nil && ready != nil:
		ready.Drop()
		return "", err
	case err != nil && !asked:
		return "what this calendar holds could not be noted, so the next one tells the same changes again: " + firstLine(err), give()
	case err != nil:
		return "", err
	}
	if !kept {
		if err := ready.Keep(); err != nil {
			return "", err
		}
	}
	ready.done()
	return "", nil
}

func (s Staged) done() {
	if s.Done != nil {
		s.Done()
	}
}

// planAbout says what a job is about, without its bed and, of a count, without
// the reason: that changes while the need stays.
func planAbout(s MonthSlotData) string {
	id := strings.TrimSuffix(s.ID, ":"+s.Bed)
	if count, sets := strings.CutPrefix(id, "set:"); sets {
		s.ID = count
		return "set:" + planAbout(s)
	}
	if parts := strings.Split(id, ":"); parts[0] == "scout" && len(parts) > 3 && parts[2] != "settled" {
		return strings.Join(parts[:3], ":")
	}
	return id
}

// planEvents makes an event of each job of a plan, at its hours of the farm's clock.
func (a *App) planEvents(doc *report.Document) ([]report.Event, error) {
	data, ok := doc.Data.(MonthPlanData)
	if !ok {
		return nil, fmt.Errorf("the plan holds no data")
	}
	var items []report.Item
	for _, s := range doc.Sections {
		if _, err := civil.Parse(s.Key); err == nil {
			items = append(items, s.Items...)
		}
	}
	if len(items) != len(data.Slots) {
		return nil, fmt.Errorf("the plan says %d jobs and lists %d", len(data.Slots), len(items))
	}
	var out []report.Event
	seen := map[string]int{}
	for i, s := range data.Slots {
		start, err1 := time.Parse(time.RFC3339, s.Start)
		end, err2 := time.Parse(time.RFC3339, s.End)
		if err1 != nil || err2 != nil {
			return nil, fmt.Errorf("the plan gives %q to %q for a job", s.Start, s.End)
		}
		e := report.Event{
			UID:     eventBase(seen, planPart, planAbout(s), s.Bed),
			Summary: s.Bed + ": " + a.againstPest(s.Text, s.Pest), Location: a.farm.Place,
			Start: start.UTC(), End: end.UTC(), Zone: a.farm.TimeZone,
			Categories: []string{"PLAN"},
		}
		if s.If != "" {
			e.Summary += ", " + s.If
		}
		if len(items[i].Safety) > 0 {
			e.Summary += " (read the safety lines)"
		}
		var words []string
		for _, l := range append(append([]report.Line{items[i].Why}, items[i].Details...), items[i].Safety...) {
			for _, w := range l.Parts() { // all of them plain words
				words = append(words, w.Words())
			}
		}
		e.Description = strings.Join(words, "\n")
		switch monthplan.Kind(s.Kind) {
		case monthplan.Ordering, monthplan.LetOut, monthplan.Applying:
			e.Alarms = []report.Alarm{{}}
		}
		// Keep out from the end on, and in again when re-entry is over.
		if opens, err := time.Parse(time.RFC3339, s.OpensAt); err == nil && opens.After(end) {
			until := opens.In(a.loc).Format("Mon 2 Jan 15:04")
			e.Alarms = append(e.Alarms,
				report.Alarm{FromEnd: true, Text: fmt.Sprintf("Keep out of %s until %s, if it was applied", s.Bed, until)},
				report.Alarm{FromEnd: true, Offset: opens.Sub(end), Text: fmt.Sprintf("%s is open again, if %s was applied when planned: look at the re-entry board", s.Bed, s.Text)})
		}
		out = append(out, e)
	}
	return out, nil
}
