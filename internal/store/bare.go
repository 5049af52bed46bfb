package store

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// Bare is a visit without its single counts, its observer and its note.
type Bare struct {
	Visit farm.Visit
	N     int   // units looked at
	Sum   int64 // animals on them
	// Row is all that the store holds of it but for the note, the observer and
	// the single counts, which never change and whose sums are in it: two visits
	// of one row say the same.
	Row string
}

// bareCols are the columns of Row, none of them NULL. Text of keys and dates
// holds no tab and no line feed.
var bareCols = []string{"id", "bed_id", "date", "pest", "unit", "stratum", "units", "n", "sum", "sumsq", "zeros",
	"ifnull(infested, '')", "ifnull(looked, '')", "ifnull(damage_hurt, '')", "ifnull(damage_looked, '')", "soil", "foliage",
	"iif(air_c IS NULL, '', quote(air_c))", "iif(soil_c IS NULL, '', quote(soil_c))", "nights", "disturbed", "entered_at"}

// BareVisits returns the visits that f chooses without what takes long to read,
// in no order.
func (t *Tx) BareVisits(f Filter) ([]Bare, error) {
	rows, err := t.BareRows(f)
	if err != nil {
		return nil, err
	}
	return t.Bare(rows)
}

// BareRows returns the rows of the visits that f chooses, for Bare. All of them
// come as one text: one row each, column by column, takes twice as long.
func (t *Tx) BareRows(f Filter) (string, error) {
	where, args, err := t.where(f, "date", true)
	if err != nil {
		return "", err
	}
	var text *string
	if _, err := t.get(&text, "SELECT group_concat(format('%s"+strings.Repeat("\t%s", len(bareCols)-1)+"', "+strings.Join(bareCols, ", ")+"), char(10)) FROM visit x"+where, args...); err != nil || text == nil {
		return "", err
	}
	return *text, nil
}

// Bare takes rows apart that BareRows returned from the store as it is.
func (t *Tx) Bare(rows string) ([]Bare, error) {
	if rows == "" {
		return nil, nil
	}
	var beds []struct {
		ID   int64  `db:"id"`
		Code string `db:"code"`
	}
	if err := t.query(&beds, "SELECT id, code FROM bed"); err != nil {
		return nil, err
	}
	p := bareParser{beds: map[string]string{}, days: map[string]civil.Date{}}
	for _, b := range beds {
		p.beds[strconv.FormatInt(b.ID, 10)] = b.Code
	}
	out := make([]Bare, 0, strings.Count(rows, "\n")+1)
	first := int64(1<<63 - 1)
	for row := range strings.SplitSeq(rows, "\n") {
		b, err := p.parse(row)
		if err != nil {
			return nil, t.fail("read", damaged(t.s.path, fmt.Errorf("visit %q: %w", row, err)))
		}
		out, first = append(out, b), min(first, b.Visit.ID)
	}
	return out, t.bareEnemies(out, first)
}

// bareEnemies adds the natural enemies that were counted on visits.
func (t *Tx) bareEnemies(list []Bare, first int64) error {
	var enemies []struct {
		Visit int64  `db:"visit_id"`
		Enemy string `db:"enemy"`
		Count int    `db:"count"`
	}
	if err := t.query(&enemies, "SELECT visit_id, enemy, count FROM enemy_count WHERE visit_id >= ? ORDER BY visit_id, seq", first); err != nil || len(enemies) == 0 {
		return err
	}
	at := make(map[int64]*Bare, len(list))
	for i := range list {
		at[list[i].Visit.ID] = &list[i]
	}
	for _, e := range enemies {
		if b := at[e.Visit]; b != nil {
			b.Visit.Enemies = append(b.Visit.Enemies, farm.EnemyCount{Enemy: e.Enemy, Count: e.Count})
			b.Row += fmt.Sprintf("\t%q\t%d", e.Enemy, e.Count)
		}
	}
	return nil
}

// bareParser takes rows apart; what comes again and again is made once.
type bareParser struct {
	beds map[string]string
	days map[string]civil.Date
	cols [22]string
	err  error
}

func (p *bareParser) parse(row string) (Bare, error) {
	b := Bare{Row: row}
	rest, more := row, true
	for i := range p.cols {
		if !more {
			return b, fmt.Errorf("it has %d columns", i)
		}
		p.cols[i], rest, more = strings.Cut(rest, "\t")
	}
	if more {
		return b, fmt.Errorf("it has more than %d columns", len(p.cols))
	}
	c, v := &p.cols, &b.Visit
	day, ok := p.days[c[2]]
	if !ok {
		var err error
		if day, err = civil.Parse(c[2]); err != nil {
			return b, err
		}
		p.days[c[2]] = day
	}
	if v.Bed, ok = p.beds[c[1]]; !ok {
		return b, fmt.Errorf("there is no bed %s", c[1])
	}
	p.err = nil
	v.ID, v.Date, v.Pest, v.Unit, v.Stratum = int64(p.whole(0)), day, c[3], c[4], farm.Stratum(c[5])
	b.N, b.Sum = p.whole(7), int64(p.whole(8))
	if c[11] != "" && c[12] != "" {
		v.Presence = &farm.Presence{Infested: p.whole(11), Looked: p.whole(12)}
	}
	if c[13] != "" && c[14] != "" {
		v.Damage = &farm.Damage{Hurt: p.whole(13), Looked: p.whole(14)}
	}
	v.Conditions = farm.Conditions{Soil: farm.Wetness(c[15]), Foliage: farm.Wetness(c[16]), AirC: p.number(17), SoilC: p.number(18), Nights: p.whole(19), Disturbed: c[20] == "1"}
	return b, p.err
}

func (p *bareParser) whole(col int) int {
	n, err := strconv.Atoi(p.cols[col])
	if err != nil && p.err == nil {
		p.err = err
	}
	return n
}

func (p *bareParser) number(col int) *float64 {
	if p.cols[col] == "" {
		return nil
	}
	x, err := strconv.ParseFloat(p.cols[col], 64)
	if err != nil && p.err == nil {
		p.err = err
	}
	return &x
}

// VisitsOf returns the visits of these record numbers, voided or not, whole, by
// date, bed code, pest and number.
func (t *Tx) VisitsOf(ids []int64) ([]farm.Visit, error) {
	list, err := json.Marshal(ids)
	if err != nil {
		return nil, err
	}
	return t.visits(" WHERE x.id IN (SELECT value FROM json_each(?))", []any{string(list)}, nil)
}
