package store

import (
	"fmt"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// Outcome tells what became of a day's weather.
type Outcome string

// The outcomes.
const (
	Stored    Outcome = "stored"            // the day was new
	Replaced  Outcome = "replaced forecast" // it took the place of a forecast
	Present   Outcome = "already present"   // the same values were there
	Outranked Outcome = "measured already"  // a forecast for a day that was measured: not stored
)

type weatherRow struct {
	ID       int64      `db:"id"`
	Date     civil.Date `db:"date"`
	Min      *float64   `db:"min_c"`
	Max      *float64   `db:"max_c"`
	Rain     *float64   `db:"rain_mm"`
	Soil     *float64   `db:"soil_c"`
	Humidity *float64   `db:"humidity_pct"`
	Forecast bool       `db:"forecast"`
	Source   string     `db:"source"`
}

const weatherCols = "date, min_c, max_c, rain_mm, soil_c, humidity_pct, forecast, source"

func (r weatherRow) day() farm.WeatherDay {
	return farm.WeatherDay{Date: r.Date, MinC: r.Min, MaxC: r.Max, RainMM: r.Rain, SoilC: r.Soil, Humidity: r.Humidity, Forecast: r.Forecast, Source: r.Source}
}

func sameWeather(a, b farm.WeatherDay) bool {
	same := func(p, q *float64) bool { return p == nil && q == nil || p != nil && q != nil && *p == *q }
	return a.Forecast == b.Forecast && same(a.MinC, b.MinC) && same(a.MaxC, b.MaxC) && same(a.RainMM, b.RainMM) &&
		same(a.SoilC, b.SoilC) && same(a.Humidity, b.Humidity)
}

// replacedBy begins the reason for which a forecast was voided by a later row.
const replacedBy = "replaced by "

// AddWeather stores a day's weather. A measured day, or a later forecast,
// takes the place of a forecast, which is voided. A measured day that differs
// from the measured one already there is ErrDuplicate.
func (t *Tx) AddWeather(d farm.WeatherDay, at time.Time) (Outcome, error) {
	if err := entered(at); err != nil {
		return "", err
	}
	if err := finite("the weather of "+d.Date.String(), d.MinC, d.MaxC, d.RainMM, d.SoilC, d.Humidity); err != nil {
		return "", err
	}
	switch {
	case d.MinC != nil && d.MaxC != nil && *d.MinC > *d.MaxC:
		return "", invalid("the weather of %s has a minimum of %v °C above its maximum of %v °C", d.Date, *d.MinC, *d.MaxC)
	case d.RainMM != nil && *d.RainMM < 0:
		return "", invalid("the weather of %s has %v mm of rain; give 0 or more", d.Date, *d.RainMM)
	case d.Humidity != nil && (*d.Humidity < 0 || *d.Humidity > 100):
		return "", invalid("the weather of %s has a humidity of %v %%; give 0 to 100", d.Date, *d.Humidity)
	}
	var old weatherRow
	found, err := t.get(&old, "SELECT id, "+weatherCols+" FROM weather_day WHERE voided_at IS NULL AND date = ?", d.Date)
	if err != nil {
		return "", err
	}
	out := Stored
	if found {
		was := old.day()
		switch {
		case sameWeather(was, d):
			return Present, nil
		case !was.Forecast && d.Forecast:
			return Outranked, nil
		case !was.Forecast:
			return "", t.duplicate(KindWeather, old.ID, fmt.Sprintf("other measured weather for %s", d.Date))
		}
		why := replacedBy + "a later forecast"
		if !d.Forecast {
			why = replacedBy + "the measured day"
		}
		if err := t.Void(KindWeather, old.ID, why, at); err != nil {
			return "", err
		}
		out = Replaced
	}
	id, err := t.insert("weather_day", weatherCols+", entered_at", d.Date, d.MinC, d.MaxC, d.RainMM, d.SoilC, d.Humidity, d.Forecast, d.Source, instant(at))
	if err != nil {
		return "", t.fail("store weather", err)
	}
	t.log.add(KindWeather, id, id)
	return out, nil
}

// Weather returns one row for each day from..to that has weather, by date:
// the measured day where there is one, else the last forecast. A zero date
// leaves its side open.
func (t *Tx) Weather(from, to civil.Date) ([]farm.WeatherDay, error) {
	return t.WeatherDays(Filter{From: from, To: to})
}

// WeatherDays returns the rows of weather that f chooses, by date and number.
// The bed and pest of f are not looked at.
func (t *Tx) WeatherDays(f Filter) ([]farm.WeatherDay, error) {
	f.Bed = ""
	where, args, err := t.where(f, "date", false)
	if err != nil {
		return nil, err
	}
	var rows []weatherRow
	if err := t.query(&rows, "SELECT id, "+weatherCols+" FROM weather_day x"+where+" ORDER BY date, id", args...); err != nil {
		return nil, err
	}
	out := make([]farm.WeatherDay, len(rows))
	for i, r := range rows {
		out[i] = r.day()
	}
	return out, nil
}

// WeatherKnown is Weather as it was known on a day that ended at the instant
// end: of the days up to it what was measured; of later days, and of those that
// were not measured, the forecast that stood at end. A forecast entered after it
// is left out, and one that has been replaced since is back.
func (t *Tx) WeatherKnown(from, to, on civil.Date, end time.Time) ([]farm.WeatherDay, error) {
	where, args, err := t.where(Filter{From: from, To: to, IncludeVoided: true}, "date", false)
	if err != nil {
		return nil, err
	}
	var rows []weatherRow
	at := instant(end)
	if err := t.query(&rows, "SELECT id, "+weatherCols+" FROM weather_day x"+where+` AND (forecast = 0 AND voided_at IS NULL AND date <= ?
OR forecast = 1 AND entered_at < ? AND (voided_at IS NULL OR voided_at >= ? AND void_reason LIKE ?)) ORDER BY date, forecast, id DESC`,
		append(args, on, at, at, replacedBy+"%")...); err != nil {
		return nil, err
	}
	var out []farm.WeatherDay
	for i, r := range rows {
		if i == 0 || r.Date != rows[i-1].Date {
			out = append(out, r.day())
		}
	}
	return out, nil
}

// SetOverride stores the farm's own action level and returns the record
// number. Earlier ones of the same pest, measure and level stay as history.
func (t *Tx) SetOverride(o farm.Override, at time.Time) (int64, error) {
	if err := entered(at); err != nil {
		return 0, err
	}
	if err := finite("override", &o.Value); err != nil {
		return 0, err
	}
	if o.Reason == "" {
		return 0, invalid("the level for %s needs a reason", o.Pest)
	}
	id, err := t.insert("override", "pest, measure, level, value, reason, since, entered_at", o.Pest, o.Measure, o.Level, o.Value, o.Reason, o.Since, instant(at))
	if err != nil {
		return 0, t.fail("store override", err)
	}
	t.log.add(KindOverride, id, id)
	return id, nil
}

// Overrides returns the levels in force on asOf: of each pest, measure and
// level the one entered last among those that had begun by then, sorted so.
// With a zero asOf all count as begun.
func (t *Tx) Overrides(asOf civil.Date) ([]farm.Override, error) {
	return t.overrides(`SELECT pest, measure, level, value, reason, since FROM override WHERE id IN
(SELECT max(id) FROM override WHERE voided_at IS NULL AND (? IS NULL OR since <= ?) GROUP BY pest, measure, level) ORDER BY pest, measure, level`, asOf, asOf)
}

// OverrideHistory returns all levels ever set and not voided, oldest first.
func (t *Tx) OverrideHistory() ([]farm.Override, error) {
	return t.overrides("SELECT pest, measure, level, value, reason, since FROM override WHERE voided_at IS NULL ORDER BY id")
}

// Override returns one level by its record number, voided or not, or
// ErrNotFound.
func (t *Tx) Override(id int64) (farm.Override, error) {
	out, err := t.overrides("SELECT pest, measure, level, value, reason, since FROM override WHERE id = ?", id)
	if err == nil && len(out) == 0 {
		err = NoRecord(KindOverride, id)
	}
	if err != nil {
		return farm.Override{}, err
	}
	return out[0], nil
}

func (t *Tx) overrides(query string, args ...any) ([]farm.Override, error) {
	if err := t.intact("override"); err != nil {
		return nil, err
	}
	var rows []struct {
		Pest    string     `db:"pest"`
		Measure string     `db:"measure"`
		Level   string     `db:"level"`
		Value   float64    `db:"value"`
		Reason  string     `db:"reason"`
		Since   civil.Date `db:"since"`
	}
	if err := t.query(&rows, query, args...); err != nil {
		return nil, err
	}
	out := make([]farm.Override, len(rows))
	for i, r := range rows {
		out[i] = farm.Override{Pest: r.Pest, Measure: r.Measure, Level: r.Level, Value: r.Value, Reason: r.Reason, Since: r.Since}
	}
	return out, nil
}
