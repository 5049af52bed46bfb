package store

import (
	"encoding/json"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// Event is one thing that happened to a record, a bed, a label or the farm.
type Event struct {
	Change  Change // without what else it did
	What    string // entered, voided, amended, described, taken back, brought back
	Version int64  // of a label
	Instead int64  // the record that took its place
	Reason  string
	Bed     *farm.Bed  // how it is described from here on; nil: not there
	Farm    *farm.Farm // the same of the farm
}

// What an event is.
const (
	EventEntered   = "entered"
	EventVoided    = "voided"
	EventAmended   = "amended"
	EventDescribed = "described"
	EventUndone    = "taken back"
	EventRedone    = "brought back"
)

// History returns what happened to the record of a kind, by change. Records
// that are older than the journal have no event of their entry.
func (t *Tx) History(kind Kind, id int64) ([]Event, error) {
	if _, ok := kinds[kind]; !ok {
		return nil, unknownKind(kind)
	}
	return t.events(kind, strconv.FormatInt(id, 10), id)
}

// BedHistory returns how a bed was described, by change, also of one whose
// entry was taken back.
func (t *Tx) BedHistory(code string) ([]Event, error) {
	var id int64
	found, err := t.get(&id, "SELECT id FROM bed WHERE code = ?", strings.TrimSpace(code))
	if err != nil {
		return nil, err
	}
	if !found {
		_, err := t.bed(code) // says which there are
		return nil, err
	}
	return t.events(KindBed, strconv.FormatInt(id, 10), 0)
}

// FarmHistory returns how the farm was described, by change.
func (t *Tx) FarmHistory() ([]Event, error) { return t.events(kindFarm, "1", 0) }

// LabelHistory returns when the versions of a label came, by change.
func (t *Tx) LabelHistory(key string) ([]Event, error) { return t.events(kindLabel, key, 0) }

func (t *Tx) events(kind Kind, item string, id int64) ([]Event, error) {
	var rows []struct {
		changeRow
		Step   string  `db:"step"`
		Reason string  `db:"reason"`
		To     *int64  `db:"instead"`
		Was    *string `db:"was"`
		Became *string `db:"became"`
	}
	err := t.query(&rows, "SELECT "+changeCols+`, s.what AS step, s.reason, s.instead, s.was, s.became FROM change_step s JOIN change_set c ON c.id = s.change_id WHERE s.kind = ? AND s.item = ?
UNION ALL
SELECT `+changeCols+`, 'entered', '', NULL, NULL, NULL FROM change_added a JOIN change_set c ON c.id = a.change_id WHERE a.kind = ? AND ? BETWEEN a.low AND a.high
ORDER BY 1`, string(kind), item, string(kind), id)
	if err != nil {
		return nil, err
	}
	var out []Event
	for _, r := range rows {
		e := Event{Change: r.change(), Reason: r.Reason}
		switch r.Step {
		case stepVoid:
			e.What = EventVoided
		case stepAmend:
			e.What, e.Instead = EventAmended, *r.To
		case stepVersion:
			e.What, e.Version = EventEntered, *r.To
		case stepDescribe:
			e.What = EventDescribed
		default:
			e.What = EventEntered
		}
		if err := t.described(&e, kind, r.Became); err != nil {
			return nil, err
		}
		out = append(out, e)
		var about []changeRow
		if err := t.query(&about, "SELECT "+changeCols+" FROM change_set c WHERE c.about = ? ORDER BY c.id", r.ID); err != nil {
			return nil, err
		}
		for _, x := range about {
			turn := Event{Change: x.change(), What: EventUndone, Version: e.Version}
			text := r.Was
			if x.What == whatRedo {
				turn.What, text = EventRedone, r.Became
			}
			if err := t.described(&turn, kind, text); err != nil {
				return nil, err
			}
			out = append(out, turn)
		}
	}
	// An undo that is about two of the steps is told once of each version.
	slices.SortStableFunc(out, func(a, b Event) int { return int(a.Change.ID - b.Change.ID) })
	return slices.CompactFunc(out, func(a, b Event) bool {
		return a.Change.ID == b.Change.ID && a.What == b.What && a.Version == b.Version && a.What != EventDescribed
	}), nil
}

func (r changeRow) change() Change {
	c := Change{ID: r.ID, At: r.At.Time, Command: r.Command, Actor: r.Actor, What: r.What, Undone: r.Undone}
	if r.About != nil {
		c.About = *r.About
	}
	return c
}

// described puts the description that an event leaves into it.
func (t *Tx) described(e *Event, kind Kind, text *string) error {
	if text == nil {
		return nil
	}
	switch kind {
	case KindBed:
		var r bedRow
		if err := json.Unmarshal([]byte(*text), &r); err != nil {
			return damaged(t.s.path, err)
		}
		b, err := t.bedOf(r)
		e.Bed = &b
		return err
	case kindFarm:
		var r farmRow
		if err := json.Unmarshal([]byte(*text), &r); err != nil {
			return damaged(t.s.path, err)
		}
		f, err := t.farmOf(r)
		e.Farm = &f
		return err
	}
	return nil
}

// Versions returns the numbers of the records that are one: those that took
// its place and those in whose place it came, itself included.
func (t *Tx) Versions(kind Kind, id int64) ([]int64, error) {
	out := []int64{id}
	for i := 0; i < len(out); i++ {
		var near []int64
		if err := t.query(&near, `SELECT instead FROM change_step WHERE kind = ? AND item = ? AND what = 'amend'
UNION SELECT CAST(item AS INTEGER) FROM change_step WHERE kind = ? AND what = 'amend' AND instead = ?`,
			string(kind), strconv.FormatInt(out[i], 10), string(kind), out[i]); err != nil {
			return nil, err
		}
		for _, n := range near {
			if !slices.Contains(out, n) {
				out = append(out, n)
			}
		}
	}
	slices.Sort(out)
	return out, nil
}

// CorrectedSince returns the records of days up to f.To that had been entered
// by an instant and were taken out after it: a report of that time counted them
// and one of today does not.
func (t *Tx) CorrectedSince(f Filter, since time.Time) ([]Record, error) {
	var out []Record
	f.IncludeVoided, f.voidedSince = true, since
	for _, k := range Kinds {
		list, err := t.Records(k, f)
		if err != nil {
			return nil, err
		}
		for _, r := range list {
			if !strings.HasPrefix(r.VoidReason, replacedBy) { // a forecast that was followed by another is no correction
				out = append(out, r)
			}
		}
	}
	return out, nil
}

// FirstDay is the day of the first record that counts, but for weather and own
// levels; zero when there is none.
func (t *Tx) FirstDay() (civil.Date, error) {
	var first civil.Date
	for _, table := range []string{"visit", "treatment", "release", "done", "stage_event"} {
		var d civil.Date
		found, err := t.get(&d, "SELECT date FROM "+table+" WHERE voided_at IS NULL ORDER BY date LIMIT 1")
		if err != nil {
			return civil.Date{}, err
		}
		if found && (first.IsZero() || d.Before(first)) {
			first = d
		}
	}
	return first, nil
}
