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

// farmRow is the farm as it stands in the table, and in the journal.
type farmRow struct {
	Name     string  `db:"name"`
	Place    string  `db:"place"`
	Country  string  `db:"country"`
	TimeZone string  `db:"time_zone"`
	Zone     string  `db:"hardiness_zone"`
	Last     *string `db:"last_frost"`
	First    *string `db:"first_frost"`
	Units    string  `db:"units"`
	Organic  bool    `db:"organic"`
	Scout    int     `db:"scout_day"`
	Pests    string  `db:"pests"`
	Area     string  `db:"area"`
	Waiting  float64 `db:"waiting_cost"`
	More     string  `db:"more"`
}

// SetFarm stores the farm, in place of the one before; the journal keeps that.
func (t *Tx) SetFarm(f farm.Farm) error {
	frost := func(m civil.MonthDay) *string {
		if m.IsZero() {
			return nil
		}
		return new(m.String())
	}
	pests, err := json.Marshal(append([]string{}, f.Pests...))
	if err != nil {
		return fmt.Errorf("store farm: %w", err)
	}
	area, err := json.Marshal(append([]string{}, f.Area...))
	if err != nil {
		return fmt.Errorf("store farm: %w", err)
	}
	more, err := moreText(f.FarmMore)
	if err != nil {
		return fmt.Errorf("store farm: %w", err)
	}
	was, found, err := t.farmRow()
	if err != nil {
		return err
	}
	r := farmRow{
		Name: f.Name, Place: f.Place, Country: f.Country, TimeZone: f.TimeZone, Zone: f.HardinessZone, Last: frost(f.LastFrost), First: frost(f.FirstFrost),
		Units: string(f.Units), Organic: f.Organic, Scout: int(f.ScoutDay), Pests: string(pests), Area: string(area), Waiting: f.WaitingCost, More: more,
	}
	if err := t.putFarm(r); err != nil {
		return err
	}
	if !found {
		t.log.made = true
		return t.describe(kindFarm, 1, nil, r)
	}
	return t.describe(kindFarm, 1, was, r)
}

func (t *Tx) putFarm(r farmRow) error {
	_, _, err := t.exec(`INSERT OR REPLACE INTO farm
(id, uid, name, place, country, time_zone, hardiness_zone, last_frost, first_frost, units, organic, scout_day, pests, area, waiting_cost, more)
VALUES (1, coalesce((SELECT uid FROM farm WHERE id = 1), nullif(?, ''), lower(hex(randomblob(8)))), ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		t.s.o.farmUID, r.Name, r.Place, r.Country, r.TimeZone, r.Zone, r.Last, r.First, r.Units, r.Organic, r.Scout, r.Pests, r.Area, r.Waiting, r.More)
	if err != nil {
		return t.fail("store farm", err)
	}
	return nil
}

func (t *Tx) farmRow() (r farmRow, found bool, err error) {
	if err := t.intact("farm"); err != nil {
		return r, false, err
	}
	found, err = t.get(&r, `SELECT name, place, country, time_zone, hardiness_zone, last_frost, first_frost, units, organic, scout_day, pests, area, waiting_cost, more FROM farm WHERE id = 1`)
	return r, found, err
}

// Farm returns the farm.
func (t *Tx) Farm() (farm.Farm, error) {
	r, found, err := t.farmRow()
	if err != nil {
		return farm.Farm{}, err
	}
	if !found {
		return farm.Farm{}, damaged(t.s.path, fmt.Errorf("the farm's row is missing"))
	}
	return t.farmOf(r)
}

func (t *Tx) farmOf(r farmRow) (farm.Farm, error) {
	f := farm.Farm{
		Name: r.Name, Place: r.Place, Country: r.Country, TimeZone: r.TimeZone, HardinessZone: r.Zone,
		Units: units.System(r.Units), Organic: r.Organic, ScoutDay: time.Weekday(r.Scout), WaitingCost: r.Waiting,
	}
	if err := json.Unmarshal([]byte(r.Pests), &f.Pests); err != nil {
		return farm.Farm{}, damaged(t.s.path, err)
	}
	if err := json.Unmarshal([]byte(r.Area), &f.Area); err != nil {
		return farm.Farm{}, damaged(t.s.path, err)
	}
	if err := t.readMore(r.More, &f.FarmMore); err != nil {
		return farm.Farm{}, err
	}
	if len(f.Pests) == 0 {
		f.Pests = nil
	}
	if len(f.Area) == 0 {
		f.Area = nil
	}
	for from, to := range map[*string]*civil.MonthDay{r.Last: &f.LastFrost, r.First: &f.FirstFrost} {
		if from != nil {
			if err := to.UnmarshalText([]byte(*from)); err != nil {
				return farm.Farm{}, damaged(t.s.path, err)
			}
		}
	}
	return f, nil
}

type bedRow struct {
	ID         int64    `db:"id"`
	Code       string   `db:"code"`
	Block      string   `db:"block"`
	X          *float64 `db:"x_m"`
	Y          *float64 `db:"y_m"`
	Length     float64  `db:"length_m"`
	Width      float64  `db:"width_m"`
	Plants     int      `db:"plants"`
	Cultivar   string   `db:"cultivar"`
	Irrigation string   `db:"irrigation"`
	Site       string   `db:"site"`
	More       string   `db:"more"`
}

const bedCols = "code, block, x_m, y_m, length_m, width_m, plants, cultivar, irrigation, site, more"

func (t *Tx) bedOf(r bedRow) (farm.Bed, error) {
	b := farm.Bed{
		ID: r.ID, Code: r.Code, Block: r.Block, X: r.X, Y: r.Y, LengthM: r.Length, WidthM: r.Width,
		Plants: r.Plants, Cultivar: r.Cultivar, Irrigation: farm.Irrigation(r.Irrigation), Site: farm.Site(r.Site),
	}
	return b, t.readMore(r.More, &b.BedMore)
}

func checkBed(b farm.Bed) error {
	switch {
	case !farm.CodeOK(b.Code):
		return invalid("%q cannot name a bed: use 1 to 12 letters, digits, dots or hyphens with at least one letter", b.Code)
	case !(b.LengthM > 0 && b.LengthM <= 10000) || !(b.WidthM > 0 && b.WidthM <= 10000):
		return invalid("bed %s is %v m by %v m; each side must be above 0 and at most 10000 m", b.Code, b.LengthM, b.WidthM)
	case b.Plants < 0 || b.Plants > 10_000_000:
		return invalid("bed %s has %d plants; give 0 to 10000000", b.Code, b.Plants)
	case (b.X == nil) != (b.Y == nil):
		return invalid("bed %s has one of its two distances from the corner of the field; give both or none", b.Code)
	}
	if b.WaterM != nil && !(*b.WaterM >= 0) || b.LeavesPerPlant < 0 {
		return invalid("bed %s: the distance to water and the leaves of a plant cannot be below 0", b.Code)
	}
	return finite("bed "+b.Code, b.X, b.Y, b.WaterM)
}

// AddBed stores a bed and returns its record number. Codes are unique in any
// case of letters: ErrDuplicate.
func (t *Tx) AddBed(b farm.Bed) (int64, error) {
	if err := checkBed(b); err != nil {
		return 0, err
	}
	more, err := moreText(b.BedMore)
	if err != nil {
		return 0, t.fail("store bed", err)
	}
	row := rowOfBed(b, more)
	// A bed whose entry was taken back gives its row to the next of its code:
	// voided records point at it.
	var old bedRow
	was, err := t.get(&old, "SELECT id, "+bedCols+" FROM bed WHERE code = ? AND gone = 1", b.Code)
	if err != nil {
		return 0, err
	}
	if was {
		row.ID = old.ID
		if err := t.putBed(row); err != nil {
			return 0, err
		}
		return row.ID, t.describe(KindBed, row.ID, nil, row)
	}
	id, err := t.insert("bed", bedCols, b.Code, b.Block, b.X, b.Y, b.LengthM, b.WidthM, b.Plants, b.Cultivar, string(b.Irrigation), string(b.Site), more)
	t.beds = nil
	if code(err) == codeUnique {
		old, e := t.bed(b.Code)
		if e != nil {
			return 0, e
		}
		return old.id, &diag.Problem{
			What: fmt.Sprintf("bed %s is already there", old.code), Do: "use another code, or change that bed", Kept: keptNothing,
			Usage: true, Err: &DuplicateError{KindBed, old.id},
		}
	}
	if err != nil {
		return 0, t.fail("store bed", err)
	}
	row.ID = id
	return id, t.describe(KindBed, id, nil, row)
}

func rowOfBed(b farm.Bed, more string) bedRow {
	return bedRow{ID: b.ID, Code: b.Code, Block: b.Block, X: b.X, Y: b.Y, Length: b.LengthM, Width: b.WidthM, Plants: b.Plants,
		Cultivar: b.Cultivar, Irrigation: string(b.Irrigation), Site: string(b.Site), More: more}
}

// putBed writes over the row of a bed and makes it there.
func (t *Tx) putBed(r bedRow) error {
	t.beds = nil
	_, _, err := t.exec("UPDATE bed SET code = ?, block = ?, x_m = ?, y_m = ?, length_m = ?, width_m = ?, plants = ?, cultivar = ?, irrigation = ?, site = ?, more = ?, gone = 0 WHERE id = ?",
		r.Code, r.Block, r.X, r.Y, r.Length, r.Width, r.Plants, r.Cultivar, r.Irrigation, r.Site, r.More, r.ID)
	if err != nil {
		return t.fail("change bed", err)
	}
	return nil
}

// SetBed describes the bed that has b's code (in any case) anew; b.ID is not
// looked at and the code is kept as it was first written. The journal keeps
// what it was.
func (t *Tx) SetBed(b farm.Bed) error {
	if err := checkBed(b); err != nil {
		return err
	}
	ref, err := t.bed(b.Code)
	if err != nil {
		return err
	}
	more, err := moreText(b.BedMore)
	if err != nil {
		return t.fail("change bed", err)
	}
	var was bedRow
	if _, err := t.get(&was, "SELECT id, "+bedCols+" FROM bed WHERE id = ?", ref.id); err != nil {
		return err
	}
	b.ID, b.Code = ref.id, ref.code
	row := rowOfBed(b, more)
	if err := t.putBed(row); err != nil {
		return err
	}
	return t.describe(KindBed, ref.id, was, row)
}

// Beds returns all beds in the order of their codes, whatever the case.
func (t *Tx) Beds() ([]farm.Bed, error) {
	if err := t.intact("bed"); err != nil {
		return nil, err
	}
	var rows []bedRow
	if err := t.query(&rows, "SELECT id, "+bedCols+" FROM bed WHERE gone = 0 ORDER BY code"); err != nil {
		return nil, err
	}
	out := make([]farm.Bed, len(rows))
	for i, r := range rows {
		var err error
		if out[i], err = t.bedOf(r); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// Bed returns the bed with a code, in any case of letters, or ErrUnknownBed.
func (t *Tx) Bed(code string) (farm.Bed, error) {
	ref, err := t.bed(code)
	if err != nil {
		return farm.Bed{}, err
	}
	var r bedRow
	if _, err := t.get(&r, "SELECT id, "+bedCols+" FROM bed WHERE id = ?", ref.id); err != nil {
		return farm.Bed{}, err
	}
	return t.bedOf(r)
}

// AddStage stores that a bed reached a stage and returns the record number.
// The same stage on the same day is ErrDuplicate.
func (t *Tx) AddStage(e farm.StageEvent, at time.Time) (int64, error) {
	if err := entered(at); err != nil {
		return 0, err
	}
	if e.Stage.Order() < 0 {
		words := make([]string, len(farm.Stages))
		for i, s := range farm.Stages {
			words[i] = string(s)
		}
		return 0, invalid("unknown stage %q%s; the stages are %s", e.Stage, diag.DidYouMean(string(e.Stage), words), strings.Join(words, ", "))
	}
	b, err := t.bed(e.Bed)
	if err != nil {
		return 0, err
	}
	id, err := t.insert("stage_event", "bed_id, date, stage, note, entered_at", b.id, e.Date, string(e.Stage), e.Note, instant(at))
	return t.stored(KindStage, id, err, fmt.Sprintf("bed %s, %s on %s", b.code, e.Stage, e.Date),
		"SELECT id FROM stage_event WHERE voided_at IS NULL AND bed_id = ? AND date = ? AND stage = ?", b.id, e.Date, string(e.Stage))
}

// Stages returns the stage events that f chooses, by date, bed and order
// of entry. The pest of f is not looked at.
func (t *Tx) Stages(f Filter) ([]farm.StageEvent, error) {
	if err := t.intact("stage_event"); err != nil {
		return nil, err
	}
	where, args, err := t.where(f, "date", false)
	if err != nil {
		return nil, err
	}
	var rows []struct {
		Bed   string     `db:"code"`
		Date  civil.Date `db:"date"`
		Stage string     `db:"stage"`
		Note  string     `db:"note"`
	}
	if err := t.query(&rows, "SELECT b.code, x.date, x.stage, x.note FROM stage_event x JOIN bed b ON b.id = x.bed_id"+where+" ORDER BY x.date, b.code, x.id", args...); err != nil {
		return nil, err
	}
	out := make([]farm.StageEvent, len(rows))
	for i, r := range rows {
		out[i] = farm.StageEvent{Bed: r.Bed, Date: r.Date, Stage: farm.Stage(r.Stage), Note: r.Note}
	}
	return out, nil
}
