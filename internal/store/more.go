package store

import (
	"encoding/json"
	"time"

	"leafturn/internal/farm"
)

// moreText is the text of a column `more`.
func moreText(v any) (string, error) {
	b, err := json.Marshal(v)
	return string(b), err
}

// readMore reads a column `more`; keys of a later version are left out.
func (t *Tx) readMore(text string, dest any) error {
	if err := json.Unmarshal([]byte(text), dest); err != nil {
		return damaged(t.s.path, err)
	}
	return nil
}

// FarmUID returns what names the farm in calendar entries. It is made with
// the store and never changes.
func (t *Tx) FarmUID() (string, error) {
	uid := ""
	_, err := t.get(&uid, "SELECT uid FROM farm WHERE id = 1")
	return uid, err
}

// CalendarEntries returns what calendar files were given, by identifier.
func (t *Tx) CalendarEntries() ([]farm.CalendarEntry, error) {
	var rows []struct {
		UID      string `db:"uid"`
		Sequence int    `db:"sequence"`
		Revised  utc    `db:"revised"`
		Status   string `db:"status"`
		Entry    string `db:"entry"`
	}
	if err := t.query(&rows, "SELECT uid, sequence, revised, status, entry FROM calendar_entry ORDER BY uid"); err != nil {
		return nil, err
	}
	out := make([]farm.CalendarEntry, len(rows))
	for i, r := range rows {
		out[i] = farm.CalendarEntry{UID: r.UID, Sequence: r.Sequence, Revised: r.Revised.Time, Cancelled: r.Status == "cancelled", Entry: json.RawMessage(r.Entry)}
	}
	return out, nil
}

// SetCalendarEntry stores what a calendar file is given for an identifier.
// The sequence never falls: a lower one is ErrInvalid.
func (t *Tx) SetCalendarEntry(e farm.CalendarEntry) error {
	if err := entered(e.Revised); err != nil {
		return err
	}
	old := -1
	if _, err := t.get(&old, "SELECT sequence FROM calendar_entry WHERE uid = ?", e.UID); err != nil {
		return err
	}
	if e.UID == "" || e.Sequence < 0 || e.Sequence < old || !json.Valid(e.Entry) {
		return invalid("calendar entry %q: sequence %d after %d", e.UID, e.Sequence, old)
	}
	status := "confirmed"
	if e.Cancelled {
		status = "cancelled"
	}
	_, _, err := t.exec(`INSERT INTO calendar_entry (uid, sequence, revised, status, entry) VALUES (?, ?, ?, ?, ?)
ON CONFLICT (uid) DO UPDATE SET sequence = excluded.sequence, revised = excluded.revised, status = excluded.status, entry = excluded.entry`,
		e.UID, e.Sequence, instant(e.Revised.Truncate(time.Second)), status, string(e.Entry))
	if err != nil {
		return t.fail("store calendar entry", err)
	}
	t.log.told = true
	return nil
}
