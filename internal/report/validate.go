package report

import (
	"errors"
	"fmt"
	"time"
)

// Validate reports mistakes in how the document was put together: a missing
// title or date, rows that do not fit their table, a reference to a source
// that is not listed, item numbers, sources or event UIDs that are used
// twice, and events that do not make a calendar entry. Every renderer calls
// it, so a document is refused whole or shown whole.
func (d *Document) Validate() error {
	var errs []error
	bad := func(format string, args ...any) { errs = append(errs, fmt.Errorf("report: "+format, args...)) }
	if d.Title == "" {
		bad("the document has no title")
	}
	if d.AsOf.IsZero() {
		bad("the document has no as-of date")
	}
	sources := map[int]bool{}
	for _, s := range d.Sources {
		if s.Key < 1 || sources[s.Key] {
			bad("source key %d is below 1 or used twice", s.Key)
		}
		sources[s.Key] = true
	}
	cited := func(where string, lines ...Line) {
		for _, l := range lines {
			for _, k := range l.cites {
				if !sources[k] {
					bad("%s refers to source [%d], which is not listed", where, k)
				}
			}
		}
	}
	cited("a warning", d.Warnings...)
	numbers := map[int]bool{}
	for _, s := range d.Sections {
		where := fmt.Sprintf("section %q", s.Title)
		cited(where, s.Lead)
		cited(where, s.Notes...)
		if t := s.Table; t != nil {
			if len(t.Columns) == 0 {
				bad("%s has a table without columns", where)
			}
			for i, row := range t.Rows {
				if len(row) != len(t.Columns) {
					bad("%s: row %d has %d cells for %d columns", where, i+1, len(row), len(t.Columns))
				}
			}
		}
		for _, it := range s.Items {
			if it.Number < 0 || it.Number > 0 && numbers[it.Number] {
				bad("%s: item number %d is below 0 or used twice", where, it.Number)
			}
			numbers[it.Number] = true
			if it.Head.IsZero() {
				bad("%s: item %d has no head", where, it.Number)
			}
			if !it.Due.From.IsZero() && !it.Due.By.IsZero() && it.Due.By.Before(it.Due.From) {
				bad("%s: item %d is due by %s, before it may begin on %s", where, it.Number, it.Due.By, it.Due.From)
			}
			cited(where, it.Head, it.Why)
			cited(where, it.Details...)
			cited(where, it.Safety...)
		}
	}
	errs = append(errs, validateEvents(d.Events)...)
	return errors.Join(errs...)
}

func validateEvents(events []Event) (errs []error) {
	uids := map[string]bool{}
	for i, e := range events {
		bad := func(format string, args ...any) {
			errs = append(errs, fmt.Errorf("report: event %d (%q): %s", i+1, e.UID, fmt.Sprintf(format, args...)))
		}
		switch {
		case e.UID == "":
			bad("no UID")
		case uids[e.UID]:
			bad("UID used twice")
		}
		uids[e.UID] = true
		if e.Summary == "" {
			bad("no summary")
		}
		if e.AllDay() == !e.Start.IsZero() {
			bad("needs either a first day or a start instant, not both")
		}
		if !e.Last.IsZero() && e.Last.Before(e.First) {
			bad("last day %s is before first day %s", e.Last, e.First)
		}
		if !e.End.IsZero() && e.End.Before(e.Start) {
			bad("ends before it starts")
		}
		if e.Zone != "" && e.AllDay() {
			bad("whole days belong to no zone, not to %s", e.Zone)
		}
		if e.Zone == "Local" {
			bad("the zone needs its name: Local is another one on each machine")
		}
		for _, a := range e.Alarms {
			// RFC 5545, section 3.8.6.3: such an alarm needs an end.
			if a.FromEnd && !e.AllDay() && !e.End.Truncate(time.Second).After(e.Start.Truncate(time.Second)) {
				bad("an alarm from the end of an event without length")
			}
		}
		if e.Sequence < 0 {
			bad("sequence %d is below 0", e.Sequence)
		}
		if e.Status != "" && e.Status != Confirmed && e.Status != Cancelled {
			bad("status %q is not one that is written", e.Status)
		}
	}
	return errs
}
