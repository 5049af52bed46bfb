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

// CalendarWritten notes that a calendar file with the events of a day's list
// was written, so that the next one tells what has changed since. Files of
// earlier days are copies and are not noted. If it fails, the next file gives
// the same changes again under the same sequences, which does no harm.
func (a *App) CalendarWritten(ctx context.Context, day civil.Date) error {
	if day != a.Today() {
		return nil
	}
	list, err := a.list(ctx, day)
	if err != nil {
		return err
	}
	_, changed, err := a.calendarEvents(ctx, a.weekEvents(list), day)
	if err != nil || len(changed) == 0 {
		return err
	}
	return a.st.Update(ctx, func(tx *store.Tx) error {
		for _, c := range changed {
			if err := tx.SetCalendarEntry(c); err != nil {
				return err
			}
		}
		return nil
	})
}
