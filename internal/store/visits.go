package store

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
)

// unitBatch is how many unit rows one INSERT carries. Rows are gathered over
// visits: one row a statement takes three times as long (BenchmarkAddVisits).
const unitBatch = 500

var unitBatchSQL = unitSQL(unitBatch)

func unitSQL(n int) string {
	return "INSERT INTO unit_count (visit_id, seq, count) VALUES (?, ?, ?)" + strings.Repeat(", (?, ?, ?)", n-1)
}

// AddVisit stores a visit and returns its record number. A visit of the same
// bed, date, pest, sample unit and stratum that is not voided is ErrDuplicate
// (a DuplicateError, with its number), and nothing else is stored for v: the
// transaction may go on. v.ID is not looked at.
func (t *Tx) AddVisit(v farm.Visit, at time.Time) (int64, error) {
	if err := entered(at); err != nil {
		return 0, err
	}
	if err := checkVisit(v); err != nil {
		return 0, err
	}
	b, err := t.bed(v.Bed)
	if err != nil {
		return 0, err
	}
	id, err := t.insert("visit", visitCols, visitArgs(nil, v, b.id, sumsOf(v.Counts), instant(at))...)
	if err != nil {
		return t.visitStored(v, b, err)
	}
	t.log.add(KindVisit, id, id)
	return id, t.addParts(v, id)
}

// checkVisit refuses a visit that a table's CHECK would refuse: AddVisits
// relies on it.
func checkVisit(v farm.Visit) error {
	err := farm.ValidateVisit(v)
	if err == nil {
		err = checkWords(v)
	}
	if err != nil {
		return invalid("bed %s, %s, %s: the visit %v", v.Bed, v.Date, v.Pest, err)
	}
	return finite("temperature", v.Conditions.AirC, v.Conditions.SoilC)
}

func checkWords(v farm.Visit) error {
	switch {
	case v.Date.IsZero():
		return errors.New("has no date")
	case v.Date.Year < 0 || v.Date.Year > 9999 || v.Date.AddDays(0) != v.Date:
		return fmt.Errorf("has the date %s, which is no day of the calendar", v.Date)
	case v.Pest == "":
		return errors.New("has no pest")
	case v.Unit == "":
		return errors.New("has no sample unit")
	case !slices.Contains(farm.Strata, v.Stratum):
		return fmt.Errorf("is of the place %q; the places are %s, %s and %s", v.Stratum, farm.Random, farm.Edge, farm.HotSpot)
	}
	for _, w := range []farm.Wetness{v.Conditions.Soil, v.Conditions.Foliage} {
		if w != farm.Unknown && w != farm.Dry && w != farm.Moist && w != farm.Wet {
			return fmt.Errorf("has %q; write %s, %s or %s", w, farm.Dry, farm.Moist, farm.Wet)
		}
	}
	for _, e := range v.Enemies {
		if e.Enemy == "" {
			return errors.New("has a natural enemy without a name")
		}
	}
	return nil
}

// sums are what is kept of the counts on the visit itself.
type sums struct {
	n, zeros   int
	sum, sumsq int64
}

func sumsOf(counts []farm.UnitCount) (s sums) {
	for _, u := range counts {
		if !u.Seen {
			continue
		}
		s.n++
		if u.Count == 0 {
			s.zeros++
		}
		c := int64(u.Count)
		s.sum, s.sumsq = s.sum+c, s.sumsq+c*c
	}
	return s
}

const visitCols = `bed_id, date, pest, unit, stratum, units, n, sum, sumsq, zeros, infested, looked,
damage_hurt, damage_looked, soil, foliage, air_c, soil_c, nights, disturbed, observer, note, entered_at`

// visitArgs puts the values of visitCols behind others.
func visitArgs(args []any, v farm.Visit, bed int64, s sums, at string) []any {
	var infested, looked, hurt, parts any
	if v.Presence != nil {
		infested, looked = v.Presence.Infested, v.Presence.Looked
	}
	if v.Damage != nil {
		hurt, parts = v.Damage.Hurt, v.Damage.Looked
	}
	c := v.Conditions
	return append(args, bed, v.Date, v.Pest, v.Unit, string(v.Stratum), len(v.Counts), s.n, s.sum, s.sumsq, s.zeros, infested, looked,
		hurt, parts, string(c.Soil), string(c.Foliage), c.AirC, c.SoilC, c.Nights, c.Disturbed, v.Observer, v.Note, at)
}

// visitStored names the record that stands in the way of a visit, see stored.
func (t *Tx) visitStored(v farm.Visit, b bedRef, err error) (int64, error) {
	return t.stored(KindVisit, 0, err, visitWords(v, b), liveSQL, liveArgs(v, b)...)
}

func visitWords(v farm.Visit, b bedRef) string {
	return fmt.Sprintf("the count of %s on %s in bed %s (%s) on %s", v.Pest, v.Unit, b.code, v.Stratum, v.Date)
}

const liveSQL = "SELECT id FROM visit WHERE voided_at IS NULL AND bed_id = ? AND pest = ? AND unit = ? AND stratum = ? AND date = ?"

func liveArgs(v farm.Visit, b bedRef) []any {
	return []any{b.id, v.Pest, v.Unit, string(v.Stratum), v.Date}
}

// liveVisit is the number of the visit that is there in the place of v, or 0,
// and its bed.
func (t *Tx) liveVisit(v farm.Visit) (b bedRef, id int64, err error) {
	if b, err = t.bed(v.Bed); err == nil {
		_, err = t.get(&id, liveSQL, liveArgs(v, b)...)
	}
	return b, id, err
}

// small holds the numbers that most units have, ready for SQLite.
var small = func() (out [1024]any) {
	for i := range out {
		out[i] = int64(i)
	}
	return out
}()

func number(n int) any {
	if n >= 0 && n < len(small) {
		return small[n]
	}
	return int64(n)
}

// countArg is a unit's count; NULL is "not looked at".
func countArg(u farm.UnitCount) any {
	if u.Seen {
		return number(u.Count)
	}
	return nil
}

// addParts gathers the units of a visit that was stored, and stores the natural
// enemies.
func (t *Tx) addParts(v farm.Visit, id int64) error {
	if err := t.addUnits(id, v.Counts); err != nil {
		return err
	}
	return t.addEnemies(v, id)
}

func (t *Tx) addUnits(visit int64, counts []farm.UnitCount) error {
	for i, u := range counts {
		t.units = append(t.units, visit, number(i+1), countArg(u))
		if len(t.units) == 3*unitBatch {
			if err := t.flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

const enemySQL = "INSERT INTO enemy_count (visit_id, seq, enemy, count) VALUES (?, ?, ?, ?)"

func (t *Tx) addEnemies(v farm.Visit, id int64) error {
	for i, e := range v.Enemies {
		if _, _, err := t.run(enemySQL, id, i+1, e.Enemy, e.Count); err != nil {
			return t.fail("store visit", err)
		}
	}
	return nil
}

// flush writes the gathered unit rows. It runs before every read and before
// the commit. What is no full batch goes in halves of halves, so that there are
// few statements to prepare.
func (t *Tx) flush() error {
	defer func() { t.units = t.units[:0] }()
	left := t.units
	for n := unitBatch; len(left) > 0; {
		for n > len(left)/3 {
			n /= 2
		}
		query := unitBatchSQL
		if n != unitBatch {
			query = unitSQL(n)
		}
		if _, _, err := t.run(query, left[:3*n]...); err != nil {
			return t.fail("store counts", err)
		}
		left = left[3*n:]
	}
	return nil
}

// visitCounts is a visit that was read, and its counts as text: one row each
// would cost several times as much.
type visitCounts struct {
	visit  farm.Visit
	units  int
	counts string
}

// parse puts the counts into the visit.
func (c *visitCounts) parse() error {
	if c.units == 0 {
		return nil
	}
	c.visit.Counts = make([]farm.UnitCount, 0, c.units)
	for text := range strings.SplitSeq(c.counts, " ") {
		u := farm.UnitCount{}
		if text != "" {
			n, err := strconv.Atoi(text)
			if err != nil {
				return fmt.Errorf("visit %d: count %q: %w", c.visit.ID, text, err)
			}
			u = farm.UnitCount{Count: n, Seen: true}
		}
		c.visit.Counts = append(c.visit.Counts, u)
	}
	return nil
}

func presence(infested, looked *int) *farm.Presence {
	if infested == nil || looked == nil {
		return nil
	}
	return &farm.Presence{Infested: *infested, Looked: *looked}
}

// Visits returns the visits that f chooses, whole, by date, bed code, pest
// and record number. With voided ones included, Records tells which they are.
func (t *Tx) Visits(f Filter) ([]farm.Visit, error) {
	where, args, err := t.where(f, "date", true)
	if err != nil {
		return nil, err
	}
	return t.visits(where, args, f.CountsOf)
}

// CountVisits returns how many visits f chooses.
func (t *Tx) CountVisits(f Filter) (int, error) {
	where, args, err := t.where(f, "date", true)
	if err != nil {
		return 0, err
	}
	n := 0
	_, err = t.get(&n, "SELECT count(*) FROM visit x"+where, args...)
	return n, err
}

// Visit returns one visit by its record number, voided or not, or ErrNotFound.
func (t *Tx) Visit(id int64) (farm.Visit, error) {
	vs, err := t.visits(" WHERE x.id = ?", []any{id}, nil)
	if err != nil {
		return farm.Visit{}, err
	}
	if len(vs) == 0 {
		return farm.Visit{}, NoRecord(KindVisit, id)
	}
	return vs[0], nil
}

// LiveVisit returns the visit that is not voided and has the bed, date, pest,
// sample unit and stratum of v, and whether there is one.
func (t *Tx) LiveVisit(v farm.Visit) (farm.Visit, bool, error) {
	_, id, err := t.liveVisit(v)
	if err != nil || id == 0 {
		return farm.Visit{}, false, err
	}
	old, err := t.Visit(id)
	return old, err == nil, err
}

func (t *Tx) visits(where string, args []any, countsOf []string) ([]farm.Visit, error) {
	counts, of := "(SELECT group_concat(ifnull(count, ''), ' ') FROM (SELECT u.count FROM unit_count u WHERE u.visit_id = x.id ORDER BY u.seq))", args
	if len(countsOf) > 0 {
		counts = "CASE WHEN x.pest IN (?" + strings.Repeat(", ?", len(countsOf)-1) + ") THEN " + counts + " END"
		of = nil
		for _, pest := range countsOf {
			of = append(of, pest)
		}
		of = append(of, args...)
	}
	// The counts are taken apart on another core while SQLite reads on.
	const atOnce = 512
	parts, parsed := make(chan []visitCounts, 8), make(chan error, 1)
	go func() {
		var err error
		for part := range parts {
			for i := range part {
				if err == nil {
					err = part[i].parse()
				}
			}
		}
		parsed <- err
	}()
	var all [][]visitCounts
	var part []visitCounts
	words := map[string]string{}
	same := func(s *string) { // pests, units and beds come again and again
		if w, ok := words[*s]; ok {
			*s = w
		} else {
			words[*s] = *s
		}
	}
	day, dayText := civil.Date{}, ""
	err := t.each(func(scan func(dest ...any) error) error {
		part = append(part, visitCounts{})
		c := &part[len(part)-1]
		v := &c.visit
		var date string
		var infested, looked, hurt, hurtOf *int
		var text *string
		if err := scan(&v.ID, &v.Bed, &date, &v.Pest, &v.Unit, (*string)(&v.Stratum), &c.units, &infested, &looked, &hurt, &hurtOf,
			(*string)(&v.Conditions.Soil), (*string)(&v.Conditions.Foliage), &v.Conditions.AirC, &v.Conditions.SoilC, &v.Conditions.Nights,
			&v.Conditions.Disturbed, &v.Observer, &v.Note, &text); err != nil {
			return t.fail("read", err)
		}
		if date != dayText {
			d, err := civil.Parse(date)
			if err != nil {
				return t.fail("read", err)
			}
			day, dayText = d, date
		}
		v.Date = day
		same(&v.Bed)
		same(&v.Pest)
		same(&v.Unit)
		v.Presence = presence(infested, looked)
		if hurt != nil && hurtOf != nil {
			v.Damage = &farm.Damage{Hurt: *hurt, Looked: *hurtOf}
		}
		if text != nil {
			c.counts = *text
		} else {
			c.units = 0
		}
		if len(part) == atOnce {
			all = append(all, part)
			parts <- part
			part = make([]visitCounts, 0, atOnce)
		}
		return nil
	}, `SELECT x.id, b.code, x.date, x.pest, x.unit, x.stratum, x.units, x.infested, x.looked,
x.damage_hurt, x.damage_looked, x.soil, x.foliage, x.air_c, x.soil_c, x.nights, x.disturbed, x.observer, x.note,
`+counts+` FROM visit x JOIN bed b ON b.id = x.bed_id`+where+` ORDER BY x.date, b.code, x.pest, x.id`, of...)
	all = append(all, part)
	parts <- part
	close(parts)
	wrong := <-parsed
	if err != nil {
		return nil, err
	}
	if wrong != nil {
		return nil, t.fail("read", wrong)
	}
	var out []farm.Visit
	at := map[int64]int{}
	for _, part := range all {
		for i := range part {
			at[part[i].visit.ID] = len(out)
			out = append(out, part[i].visit)
		}
	}
	if len(out) == 0 {
		return nil, nil
	}
	var enemies []struct {
		Visit int64  `db:"visit_id"`
		Enemy string `db:"enemy"`
		Count int    `db:"count"`
	}
	if err := t.query(&enemies, "SELECT e.visit_id, e.enemy, e.count FROM visit x JOIN enemy_count e ON e.visit_id = x.id"+where+" ORDER BY e.visit_id, e.seq", args...); err != nil {
		return nil, err
	}
	for _, e := range enemies {
		v := &out[at[e.Visit]]
		v.Enemies = append(v.Enemies, farm.EnemyCount{Enemy: e.Enemy, Count: e.Count})
	}
	return out, nil
}

// Header is a visit without its single counts: the sums that were kept when
// it was stored.
type Header struct {
	ID       int64
	Bed      string
	Date     civil.Date
	Pest     string
	Unit     string
	Stratum  farm.Stratum
	Units    int            // sample units written down
	N        int            // of them looked at
	Sum      int64          // animals on them
	SumSq    int64          // sum of the squared counts
	Zeros    int            // units looked at that held none
	Presence *farm.Presence // nil when there was no presence sample
}

type headerRow struct {
	ID       int64      `db:"id"`
	Bed      string     `db:"code"`
	Date     civil.Date `db:"date"`
	Pest     string     `db:"pest"`
	Unit     string     `db:"unit"`
	Stratum  string     `db:"stratum"`
	Units    int        `db:"units"`
	N        int        `db:"n"`
	Sum      int64      `db:"sum"`
	SumSq    int64      `db:"sumsq"`
	Zeros    int        `db:"zeros"`
	Infested *int       `db:"infested"`
	Looked   *int       `db:"looked"`
}

const headerCols = "x.id, b.code, x.date, x.pest, x.unit, x.stratum, x.units, x.n, x.sum, x.sumsq, x.zeros, x.infested, x.looked"

func (t *Tx) headers(query string, args ...any) ([]Header, error) {
	var rows []headerRow
	if err := t.query(&rows, query, args...); err != nil {
		return nil, err
	}
	out := make([]Header, len(rows))
	for i, r := range rows {
		out[i] = Header{
			ID: r.ID, Bed: r.Bed, Date: r.Date, Pest: r.Pest, Unit: r.Unit, Stratum: farm.Stratum(r.Stratum),
			Units: r.Units, N: r.N, Sum: r.Sum, SumSq: r.SumSq, Zeros: r.Zeros, Presence: presence(r.Infested, r.Looked),
		}
	}
	return out, nil
}

// Headers returns the visits that f chooses without their single counts, by
// date, bed code, pest and record number.
func (t *Tx) Headers(f Filter) ([]Header, error) {
	where, args, err := t.where(f, "date", true)
	if err != nil {
		return nil, err
	}
	return t.headers("SELECT "+headerCols+" FROM visit x JOIN bed b ON b.id = x.bed_id"+where+" ORDER BY x.date, b.code, x.pest, x.id", args...)
}

// latestSQL walks the groups in the order of the index visit_live; with max(), SQLite
// takes id from the row that holds the maximum
// (https://www.sqlite.org/lang_select.html, section 2.5).
const latestSQL = `WITH latest AS MATERIALIZED (
  SELECT id, max(date) FROM visit WHERE voided_at IS NULL AND date <= ? GROUP BY bed_id, pest, unit, stratum)
SELECT ` + headerCols + ` FROM latest JOIN visit x ON x.id = latest.id JOIN bed b ON b.id = x.bed_id
ORDER BY b.code, x.pest, x.unit, x.stratum`

// LatestVisits returns, for each bed, pest, sample unit and stratum, the last
// visit on or before asOf that is not voided, in that order. With a zero asOf
// it is the last visit of all.
func (t *Tx) LatestVisits(asOf civil.Date) ([]Header, error) {
	if asOf.IsZero() {
		asOf = civil.New(9999, time.December, 31)
	}
	return t.headers(latestSQL, asOf)
}

// NoRecord says that there is no record of a kind with a number.
func NoRecord(kind Kind, id int64) error {
	return &diag.Problem{What: fmt.Sprintf("there is no %s record %d", kind, id), Do: "see the numbers with `leafturn history`, `leafturn visits --all` and `leafturn records`", Kept: keptNothing, Usage: true, Err: ErrNotFound}
}
