package store

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// labelDoc is a label as it is stored. In form 1, which has no number, a
// maximum without a period was one per season; since form 2 it is unknown.
type labelDoc struct {
	farm.Label
	Form int `json:"form"`
}

// AddLabel stores l as the next version of the label with its key (in any
// case of letters) and returns that version, 1 for a new label. l.Version is
// not looked at. Older versions stay: treatments point at them.
func (t *Tx) AddLabel(l farm.Label, at time.Time) (int, error) {
	if err := entered(at); err != nil {
		return 0, err
	}
	l.Key = strings.TrimSpace(l.Key)
	if l.Key == "" {
		return 0, invalid("the label has no short name")
	}
	var last struct {
		Key     string `db:"key"`
		Version int    `db:"version"`
	}
	found, err := t.get(&last, "SELECT key, version FROM label WHERE key = ? ORDER BY version DESC LIMIT 1", l.Key)
	if err != nil {
		return 0, err
	}
	if found {
		l.Key = last.Key // a version that was taken back keeps its number
	}
	l.Version = last.Version + 1
	doc, err := json.Marshal(labelDoc{l, 2})
	if err != nil {
		return 0, invalid("the label %q cannot be stored: %v", l.Key, err)
	}
	if _, err := t.insert("label", "key, version, entered, document, entered_at", l.Key, l.Version, l.Entered, string(doc), instant(at)); err != nil {
		return 0, t.fail("store label", err)
	}
	t.log.step(step{Kind: kindLabel, Item: l.Key, What: stepVersion, Instead: new(int64(l.Version))})
	return l.Version, nil
}

func (t *Tx) labels(query string, args ...any) ([]farm.Label, error) {
	if err := t.intact("label"); err != nil {
		return nil, err
	}
	var rows []struct {
		Key     string `db:"key"`
		Version int    `db:"version"`
		Doc     string `db:"document"`
	}
	if err := t.query(&rows, query, args...); err != nil {
		return nil, err
	}
	out := make([]farm.Label, len(rows))
	for i, r := range rows {
		var doc labelDoc
		if err := json.Unmarshal([]byte(r.Doc), &doc); err != nil {
			return nil, t.fail("read label", damaged(t.s.path, fmt.Errorf("label %s version %d: %w", r.Key, r.Version, err)))
		}
		if doc.Form < 2 && doc.MaxPer == "" {
			doc.MaxPer = farm.PerSeason
		}
		out[i] = doc.Label
		out[i].Key, out[i].Version = r.Key, r.Version
	}
	return out, nil
}

// Labels returns the latest version of each label, by key.
func (t *Tx) Labels() ([]farm.Label, error) {
	return t.labels("SELECT key, version, document FROM label x WHERE version = (SELECT max(version) FROM label y WHERE y.key = x.key AND y.gone = 0) ORDER BY key")
}

// LabelVersions returns all versions of a label, oldest first, or
// ErrUnknownLabel.
func (t *Tx) LabelVersions(key string) ([]farm.Label, error) {
	out, err := t.labels("SELECT key, version, document FROM label WHERE key = ? AND gone = 0 ORDER BY version", strings.TrimSpace(key))
	if err == nil && len(out) == 0 {
		err = t.unknownLabel(key)
	}
	return out, err
}

// Label returns the latest version of a label, or ErrUnknownLabel.
func (t *Tx) Label(key string) (farm.Label, error) {
	out, err := t.labels("SELECT key, version, document FROM label WHERE key = ? AND gone = 0 ORDER BY version DESC LIMIT 1", strings.TrimSpace(key))
	if err == nil && len(out) == 0 {
		err = t.unknownLabel(key)
	}
	if err != nil {
		return farm.Label{}, err
	}
	return out[0], nil
}

func (t *Tx) unknownLabel(key string) error {
	var keys []string
	if err := t.query(&keys, "SELECT DISTINCT key FROM label WHERE gone = 0 ORDER BY key"); err != nil {
		return err
	}
	return &diag.Problem{
		What: fmt.Sprintf("unknown label %q%s", key, diag.DidYouMean(key, keys)), Do: "check the name, or enter the label first",
		Kept: keptNothing, Usage: true, Err: ErrUnknownLabel,
	}
}

// AddTreatment stores a treatment and returns its record number. version is
// the version of the label it was made under, 0 the latest one. Start may be
// zero (not known), End may not. Instants are kept to the second; a fraction
// rounds End up, so that re-entry is never shortened. The same in every part is
// ErrDuplicate. tr.ID is not looked at.
func (t *Tx) AddTreatment(tr farm.Treatment, version int, at time.Time) (int64, error) {
	if err := entered(at); err != nil {
		return 0, err
	}
	if tr.End.IsZero() {
		return 0, invalid("the treatment of bed %s on %s has no end", tr.Bed, tr.Date)
	}
	if err := finite("treatment", &tr.Amount.Value, &tr.AreaM2); err != nil {
		return 0, err
	}
	b, err := t.bed(tr.Bed)
	if err != nil {
		return 0, err
	}
	var l struct {
		Key     string `db:"key"`
		Version int    `db:"version"`
	}
	found, err := t.get(&l, "SELECT key, version FROM label WHERE key = ? AND gone = 0 AND (? = 0 OR version = ?) ORDER BY version DESC LIMIT 1", strings.TrimSpace(tr.Label), version, version)
	if err != nil {
		return 0, err
	}
	if !found {
		return 0, t.unknownLabel(tr.Label)
	}
	end := tr.End.Truncate(time.Second)
	if end.Before(tr.End) {
		end = end.Add(time.Second)
	}
	var amount, unit any
	if !tr.Amount.IsZero() {
		amount, unit = tr.Amount.Value, tr.Amount.Unit.Name
	}
	breaches := tr.Breaches
	if breaches == nil {
		breaches = []string{}
	}
	broken, err := json.Marshal(breaches)
	if err != nil {
		return 0, t.fail("store treatment", err)
	}
	for name, v := range map[string]*float64{"wind": tr.WindMS, "temperature": tr.AirC} {
		if v != nil {
			if err := finite(name, v); err != nil {
				return 0, err
			}
		}
	}
	more, err := moreText(tr.TreatmentMore)
	if err != nil {
		return 0, t.fail("store treatment", err)
	}
	start := optInstant(tr.Start)
	id, err := t.insert("treatment", `bed_id, part, label_key, label_version, pest, date, start_at, end_at, end_known, amount, amount_unit,
area_m2, who, reason, note, breaches, more, entered_at`,
		b.id, tr.Part, l.Key, l.Version, tr.Pest, tr.Date, start, instant(end), tr.EndKnown, amount, unit,
		tr.AreaM2, tr.Who, tr.Reason, tr.Note, string(broken), more, instant(at))
	return t.stored(KindTreatment, id, err, fmt.Sprintf("the treatment of bed %s with %s on %s", b.code, l.Key, tr.Date),
		`SELECT id FROM treatment WHERE voided_at IS NULL AND bed_id = ? AND date = ? AND label_key = ? AND part = ? AND pest = ?
AND end_at = ? AND start_at IS ? AND amount IS ? AND amount_unit IS ?`,
		b.id, tr.Date, l.Key, tr.Part, tr.Pest, instant(end), start, amount, unit)
}

// Treatments returns the treatments that f chooses, by date, bed code, label
// and record number. Instants are in UTC.
func (t *Tx) Treatments(f Filter) ([]farm.Treatment, error) {
	if err := t.intact("treatment"); err != nil {
		return nil, err
	}
	where, args, err := t.where(f, "date", true)
	if err != nil {
		return nil, err
	}
	var rows []struct {
		ID       int64      `db:"id"`
		Bed      string     `db:"code"`
		Part     string     `db:"part"`
		Label    string     `db:"label_key"`
		Pest     string     `db:"pest"`
		Date     civil.Date `db:"date"`
		Start    utc        `db:"start_at"`
		End      utc        `db:"end_at"`
		EndKnown bool       `db:"end_known"`
		Amount   *float64   `db:"amount"`
		Unit     *string    `db:"amount_unit"`
		Area     float64    `db:"area_m2"`
		Who      string     `db:"who"`
		Reason   string     `db:"reason"`
		Note     string     `db:"note"`
		Breaches string     `db:"breaches"`
		More     string     `db:"more"`
	}
	if err := t.query(&rows, `SELECT x.id, b.code, x.part, x.label_key, x.pest, x.date, x.start_at, x.end_at, x.end_known, x.amount, x.amount_unit,
x.area_m2, x.who, x.reason, x.note, x.breaches, x.more FROM treatment x JOIN bed b ON b.id = x.bed_id`+where+` ORDER BY x.date, b.code, x.label_key, x.id`, args...); err != nil {
		return nil, err
	}
	out := make([]farm.Treatment, len(rows))
	for i, r := range rows {
		tr := farm.Treatment{
			ID: r.ID, Bed: r.Bed, Part: r.Part, Label: r.Label, Pest: r.Pest, Date: r.Date, Start: r.Start.Time, End: r.End.Time,
			EndKnown: r.EndKnown, AreaM2: r.Area, Who: r.Who, Reason: r.Reason, Note: r.Note,
		}
		if r.Amount != nil && r.Unit != nil {
			u, err := units.Lookup(*r.Unit)
			if err != nil {
				return nil, t.fail("read treatment", damaged(t.s.path, fmt.Errorf("treatment record %d: %w", r.ID, err)))
			}
			tr.Amount = units.Quantity{Value: *r.Amount, Unit: u}
		}
		if err := json.Unmarshal([]byte(r.Breaches), &tr.Breaches); err != nil {
			return nil, t.fail("read treatment", damaged(t.s.path, fmt.Errorf("treatment record %d: %w", r.ID, err)))
		}
		if len(tr.Breaches) == 0 {
			tr.Breaches = nil
		}
		if err := t.readMore(r.More, &tr.TreatmentMore); err != nil {
			return nil, err
		}
		out[i] = tr
	}
	return out, nil
}

// TreatmentLabel returns the version of the label that a treatment was made
// under, whatever was entered since.
func (t *Tx) TreatmentLabel(id int64) (farm.Label, error) {
	out, err := t.labels(`SELECT l.key, l.version, l.document FROM treatment x
JOIN label l ON l.key = x.label_key AND l.version = x.label_version WHERE x.id = ?`, id)
	if err == nil && len(out) == 0 {
		err = NoRecord(KindTreatment, id)
	}
	if err != nil {
		return farm.Label{}, err
	}
	return out[0], nil
}
