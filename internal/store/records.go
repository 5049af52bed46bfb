package store

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
)

// Kind is a kind of record, in the word that people type.
type Kind string

// The kinds. KindBed only stands in a DuplicateError: beds are not voided.
const (
	KindVisit     Kind = "visit"
	KindTreatment Kind = "treatment"
	KindRelease   Kind = "release"
	KindDone      Kind = "done"
	KindStage     Kind = "stage"
	KindWeather   Kind = "weather"
	KindOverride  Kind = "override"
	KindCover     Kind = "cover"
	KindBed       Kind = "bed"
)

// Kinds that have a history and no record numbers of their own.
const (
	kindFarm  Kind = "farm"
	kindLabel Kind = "label"
	kindCopy  Kind = "copy" // of Accept
)

// Kinds lists the kinds that Void and Records know.
var Kinds = []Kind{KindVisit, KindTreatment, KindRelease, KindDone, KindStage, KindWeather, KindOverride, KindCover}

// kindInfo tells where the records of a kind are: what is SQL for a short
// description.
type kindInfo struct {
	table, date, what string
	bed, pest         bool
}

var kinds = map[Kind]kindInfo{
	KindVisit:     {"visit", "date", "x.pest || ' on ' || x.unit || ' (' || x.stratum || ')'", true, true},
	KindTreatment: {"treatment", "date", "x.label_key || ' for ' || x.pest", true, true},
	KindRelease:   {"release", "date", "x.agent || ' for ' || x.pest", true, true},
	KindDone:      {"done", "date", "x.action || ' for ' || x.pest", true, true},
	KindStage:     {"stage_event", "date", "x.stage", true, false},
	KindWeather:   {"weather_day", "date", "iif(x.forecast, 'forecast', 'measured')", false, false},
	KindOverride:  {"override", "since", "x.pest || ' ' || x.measure || ' ' || x.level || ' ' || x.value", false, true},
	KindCover:     {"planned_cover", "sow", "x.cover", true, false},
}

// Record is what all records share.
type Record struct {
	Kind       Kind
	ID         int64
	Bed        string // "" for weather and overrides
	Date       civil.Date
	What       string // a short description
	EnteredAt  time.Time
	VoidedAt   time.Time // zero when not voided
	VoidReason string
}

// Records lists the records of a kind that f chooses, by date, bed and number.
func (t *Tx) Records(kind Kind, f Filter) ([]Record, error) {
	k, ok := kinds[kind]
	if !ok {
		return nil, unknownKind(kind)
	}
	if !k.bed {
		f.Bed = ""
	}
	where, args, err := t.where(f, k.date, k.pest)
	if err != nil {
		return nil, err
	}
	code, join := "''", ""
	if k.bed {
		code, join = "b.code", " JOIN bed b ON b.id = x.bed_id"
	}
	var rows []struct {
		ID      int64      `db:"id"`
		Bed     string     `db:"bed"`
		Date    civil.Date `db:"date"`
		What    string     `db:"what"`
		Entered utc        `db:"entered_at"`
		Voided  utc        `db:"voided_at"`
		Reason  *string    `db:"void_reason"`
	}
	if err := t.query(&rows, fmt.Sprintf("SELECT x.id, %s AS bed, x.%s AS date, %s AS what, x.entered_at, x.voided_at, x.void_reason FROM %s x%s%s ORDER BY x.%s, bed, x.id",
		code, k.date, k.what, k.table, join, where, k.date), args...); err != nil {
		return nil, err
	}
	out := make([]Record, len(rows))
	for i, r := range rows {
		out[i] = Record{Kind: kind, ID: r.ID, Bed: r.Bed, Date: r.Date, What: r.What, EnteredAt: r.Entered.Time, VoidedAt: r.Voided.Time}
		if r.Reason != nil {
			out[i].VoidReason = *r.Reason
		}
	}
	return out, nil
}

func unknownKind(kind Kind) error {
	words := make([]string, len(Kinds))
	for i, k := range Kinds {
		words[i] = string(k)
	}
	return invalid("unknown kind of record %q%s; the kinds are %s", kind, diag.DidYouMean(string(kind), words), strings.Join(words, ", "))
}

// Void marks a record as wrong, with a reason. It stays in the store and is
// left out of reads. Errors: ErrNotFound; ErrVoided when it was voided before.
func (t *Tx) Void(kind Kind, id int64, reason string, at time.Time) error {
	if err := entered(at); err != nil {
		return err
	}
	k, ok := kinds[kind]
	if !ok {
		return unknownKind(kind)
	}
	if reason = strings.TrimSpace(reason); reason == "" {
		return invalid("%s record %d: a reason is needed to void it", kind, id)
	}
	if err := t.void(k, kind, id, reason, at); err != nil {
		return err
	}
	t.log.step(step{Kind: kind, Item: strconv.FormatInt(id, 10), What: stepVoid, Reason: reason})
	return nil
}

func (t *Tx) void(k kindInfo, kind Kind, id int64, reason string, at time.Time) error {
	if err := t.flush(); err != nil {
		return err
	}
	_, n, err := t.exec("UPDATE "+k.table+" SET voided_at = ?, void_reason = ? WHERE id = ? AND voided_at IS NULL", instant(at), reason, id)
	if err != nil {
		return t.fail("void "+string(kind), err)
	}
	if n == 1 {
		return nil
	}
	var old struct {
		At     string `db:"voided_at"`
		Reason string `db:"void_reason"`
	}
	found, err := t.get(&old, "SELECT voided_at, void_reason FROM "+k.table+" WHERE id = ?", id)
	if err != nil {
		return err
	}
	if !found {
		return NoRecord(kind, id)
	}
	return &diag.Problem{
		What: fmt.Sprintf("%s record %d was voided already on %s: %s", kind, id, old.At, old.Reason),
		Do:   fmt.Sprintf("see what became of it with `leafturn history %s %d`; enter the right values as a new record if they are missing", kind, id), Kept: keptNothing, Usage: true, Err: ErrVoided,
	}
}

// AddRelease stores a release and returns its record number. The same agent,
// pest, bed, day and amount is ErrDuplicate. r.ID is not looked at.
func (t *Tx) AddRelease(r farm.Release, at time.Time) (int64, error) {
	if err := entered(at); err != nil {
		return 0, err
	}
	if err := finite("release", &r.Amount); err != nil {
		return 0, err
	}
	b, err := t.bed(r.Bed)
	if err != nil {
		return 0, err
	}
	more, err := moreText(r.ReleaseMore)
	if err != nil {
		return 0, t.fail("store release", err)
	}
	id, err := t.insert("release", "bed_id, agent, pest, date, amount, note, more, entered_at", b.id, r.Agent, r.Pest, r.Date, r.Amount, r.Note, more, instant(at))
	return t.stored(KindRelease, id, err, fmt.Sprintf("the release of %s in bed %s on %s", r.Agent, b.code, r.Date),
		"SELECT id FROM release WHERE voided_at IS NULL AND bed_id = ? AND date = ? AND agent = ? AND pest = ? AND amount = ?", b.id, r.Date, r.Agent, r.Pest, r.Amount)
}

// Releases returns the releases that f chooses, by date, bed code and number.
func (t *Tx) Releases(f Filter) ([]farm.Release, error) {
	where, args, err := t.where(f, "date", true)
	if err != nil {
		return nil, err
	}
	var rows []struct {
		ID     int64      `db:"id"`
		Bed    string     `db:"code"`
		Agent  string     `db:"agent"`
		Pest   string     `db:"pest"`
		Date   civil.Date `db:"date"`
		Amount float64    `db:"amount"`
		Note   string     `db:"note"`
		More   string     `db:"more"`
	}
	if err := t.query(&rows, "SELECT x.id, b.code, x.agent, x.pest, x.date, x.amount, x.note, x.more FROM release x JOIN bed b ON b.id = x.bed_id"+where+" ORDER BY x.date, b.code, x.id", args...); err != nil {
		return nil, err
	}
	out := make([]farm.Release, len(rows))
	for i, r := range rows {
		out[i] = farm.Release{ID: r.ID, Bed: r.Bed, Agent: r.Agent, Pest: r.Pest, Date: r.Date, Amount: r.Amount, Note: r.Note}
		if err := t.readMore(r.More, &out[i].ReleaseMore); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// AddDone stores that a step was carried out and returns its record number.
// The same action, pest, bed and day is ErrDuplicate. d.ID is not looked at.
func (t *Tx) AddDone(d farm.Done, at time.Time) (int64, error) {
	if err := entered(at); err != nil {
		return 0, err
	}
	b, err := t.bed(d.Bed)
	if err != nil {
		return 0, err
	}
	switch d.Outcome {
	case "", farm.Enough, farm.NotEnough, farm.Found, farm.NotFound:
	default:
		return 0, invalid("unknown outcome %q of a step; write %q or %q", d.Outcome, farm.Enough, farm.NotEnough)
	}
	if s := d.Seen; s != nil && (s.Looked < 1 || s.With < 0 || s.With > s.Looked) {
		return 0, invalid("%d of %d looked at cannot be", s.With, s.Looked)
	}
	more, err := moreText(d.DoneMore)
	if err != nil {
		return 0, t.fail("store step", err)
	}
	id, err := t.insert("done", "bed_id, pest, action, date, note, more, entered_at", b.id, d.Pest, d.Action, d.Date, d.Note, more, instant(at))
	return t.stored(KindDone, id, err, fmt.Sprintf("%s in bed %s on %s", d.Action, b.code, d.Date),
		"SELECT id FROM done WHERE voided_at IS NULL AND bed_id = ? AND date = ? AND pest = ? AND action = ?", b.id, d.Date, d.Pest, d.Action)
}

// Dones returns the steps carried out that f chooses, by date, bed code and
// number.
func (t *Tx) Dones(f Filter) ([]farm.Done, error) {
	where, args, err := t.where(f, "date", true)
	if err != nil {
		return nil, err
	}
	var rows []struct {
		ID     int64      `db:"id"`
		Bed    string     `db:"code"`
		Pest   string     `db:"pest"`
		Action string     `db:"action"`
		Date   civil.Date `db:"date"`
		Note   string     `db:"note"`
		More   string     `db:"more"`
	}
	if err := t.query(&rows, "SELECT x.id, b.code, x.pest, x.action, x.date, x.note, x.more FROM done x JOIN bed b ON b.id = x.bed_id"+where+" ORDER BY x.date, b.code, x.id", args...); err != nil {
		return nil, err
	}
	out := make([]farm.Done, len(rows))
	for i, r := range rows {
		out[i] = farm.Done{ID: r.ID, Bed: r.Bed, Pest: r.Pest, Action: r.Action, Date: r.Date, Note: r.Note}
		if err := t.readMore(r.More, &out[i].DoneMore); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// AddCover stores a planned cover crop and returns its record number. The
// same cover, bed and sowing day is ErrDuplicate. A zero Kill is not known.
func (t *Tx) AddCover(c farm.PlannedCover, at time.Time) (int64, error) {
	if err := entered(at); err != nil {
		return 0, err
	}
	if !c.Kill.IsZero() && c.Kill.Before(c.Sow) {
		return 0, invalid("bed %s: %s is to be ended on %s, before it is sown on %s", c.Bed, c.Cover, c.Kill, c.Sow)
	}
	b, err := t.bed(c.Bed)
	if err != nil {
		return 0, err
	}
	id, err := t.insert("planned_cover", "bed_id, cover, sow, kill, note, entered_at", b.id, c.Cover, c.Sow, c.Kill, c.Note, instant(at))
	return t.stored(KindCover, id, err, fmt.Sprintf("%s in bed %s, sown on %s,", c.Cover, b.code, c.Sow),
		"SELECT id FROM planned_cover WHERE voided_at IS NULL AND bed_id = ? AND sow = ? AND cover = ?", b.id, c.Sow, c.Cover)
}

// Covers returns the planned cover crops that f chooses by their sowing date,
// in the order of that date, bed code and number. The pest of f is not looked
// at.
func (t *Tx) Covers(f Filter) ([]farm.PlannedCover, error) {
	where, args, err := t.where(f, "sow", false)
	if err != nil {
		return nil, err
	}
	var rows []struct {
		Bed   string     `db:"code"`
		Cover string     `db:"cover"`
		Sow   civil.Date `db:"sow"`
		Kill  civil.Date `db:"kill"`
		Note  string     `db:"note"`
	}
	if err := t.query(&rows, "SELECT b.code, x.cover, x.sow, x.kill, x.note FROM planned_cover x JOIN bed b ON b.id = x.bed_id"+where+" ORDER BY x.sow, b.code, x.id", args...); err != nil {
		return nil, err
	}
	out := make([]farm.PlannedCover, len(rows))
	for i, r := range rows {
		out[i] = farm.PlannedCover{Bed: r.Bed, Cover: r.Cover, Sow: r.Sow, Kill: r.Kill, Note: r.Note}
	}
	return out, nil
}
