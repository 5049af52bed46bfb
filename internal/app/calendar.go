package app

import (
	"context"

	"leafturn/internal/agenda"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/report"
	"leafturn/internal/store"
)

// calendarEvents gives the list's events the identifiers and sequences that
// they have in calendars, adds those to be cancelled, and returns what the
// ledger is to hold once a file was written.
func (a *App) calendarEvents(ctx context.Context, now []report.Event, on civil.Date) ([]report.Event, []farm.CalendarEntry, error) {
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
	return agenda.Merge(ledger, now, uid, on, a.loc, a.now)
}

// WeekCalendar makes the week's list and gives it to write, with its events as
// a calendar is to be told them. What the file holds is noted in the same
// transaction: a file that cannot be written leaves the ledger as it was, and
// no two files give different words under one sequence. Files of earlier days
// are copies and are not noted.
//
// Where the store cannot be written the file is written all the same, and
// warning says so.
func (a *App) WeekCalendar(ctx context.Context, day civil.Date, write func(*report.Document) error) (doc *report.Document, warning string, err error) {
	doc, now, err := a.weekWithEvents(ctx, day)
	if err != nil {
		return nil, "", err
	}
	if day != a.Today() {
		return doc, "", write(doc)
	}
	written := false
	err = a.st.Update(ctx, func(tx *store.Tx) error {
		uid, err := tx.FarmUID()
		if err != nil {
			return err
		}
		ledger, err := tx.CalendarEntries()
		if err != nil {
			return err
		}
		events, changed, err := agenda.Merge(ledger, now, uid, day, a.loc, a.now)
		if err != nil {
			return err
		}
		for _, c := range changed {
			if err := tx.SetCalendarEntry(c); err != nil {
				return err
			}
		}
		doc.Events, written = events, true
		return write(doc)
	})
	if err != nil && !written {
		return doc, "what this calendar holds could not be noted, so the next one tells the same changes again: " + firstLine(err), write(doc)
	}
	return doc, "", err
}
