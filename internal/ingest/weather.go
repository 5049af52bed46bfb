package ingest

import (
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// maxRainMM is the most rain of one day that is believed. Common practice for
// a cool temperate climate.
const maxRainMM = 500.0

var weatherColumns = []string{"date", "min_c", "max_c", "rain_mm", "soil_c", "humidity_pct", "forecast", "source"}

// weatherHeading cuts "min_f" and "tmin_f" into "min" and "F".
func weatherHeading(h string) (name, unit string, ok bool) {
	name, unit, _ = strings.Cut(h, "_")
	switch name {
	case "tmin":
		name = "min"
	case "tmax":
		name = "max"
	}
	switch name {
	case "min", "max", "soil":
		return name, strings.ToUpper(unit), unit == "" || unit == "c" || unit == "f"
	case "rain":
		u, err := units.Lookup(unit)
		return name, unit, unit == "" || err == nil && u.Dimension == units.Length && unit != "m" && unit != "ft"
	case "humidity":
		return name, "", unit == "" || unit == "pct" || unit == "percent" || unit == "%"
	case "date", "forecast", "source":
		return name, "", unit == ""
	}
	return h, "", false
}

// ParseWeather reads daily weather: CSV with the headings date, min, max,
// rain and, if wanted, soil (temperature at 10 cm), humidity (percent),
// forecast (yes or no) and source; tmin and tmax are good too. The heading gives the unit: min_c or
// min_f, rain_mm or rain_in, soil_c or soil_f. A blank cell is "not
// measured"; a zero is a zero.
//
// A minimum above its maximum, a reading that cannot be (with a guess at what
// it was meant to be), a column of Celsius that holds Fahrenheit, a date that
// stands twice or out of order, and a date after today on a row that is no
// forecast are problems. The error is a *diag.List with every problem, many of
// one kind folded; the days that read well are returned beside it in date order.
func ParseWeather(r io.Reader, file string, today civil.Date) ([]farm.WeatherDay, error) {
	return ParseWeatherBeside(r, file, today, WeatherBeside{})
}

// WeatherBeside is what is known beside a file: the mean temperature measured
// on a day, and the usual mean of a month. A nil function knows nothing.
type WeatherBeside struct {
	Measured func(civil.Date) (float64, bool)
	Usual    func(time.Month) (float64, bool)
}

// ParseWeatherBeside reads as ParseWeather does, and finds Fahrenheit in a
// column of Celsius by what is known beside the file too.
func ParseWeatherBeside(r io.Reader, file string, today civil.Date, beside WeatherBeside) ([]farm.WeatherDay, error) {
	t, ok := readTable(r, file, weatherColumns, weatherHeading)
	if !ok || !t.need(map[string]string{"date": "date"}) {
		return nil, t.list.Err()
	}
	for _, c := range t.columns {
		switch {
		case c.unit != "":
		case c.name == "rain":
			t.add(c.row, c.col, "name it rain_mm or rain_in", "the column %s does not give its unit", quote(c.text))
		case c.name == "min" || c.name == "max" || c.name == "soil":
			t.add(c.row, c.col, "name it "+c.name+"_c or "+c.name+"_f", "the column %s does not give its unit", quote(c.text))
		}
	}
	if t.count() > 0 {
		return nil, t.list.Err()
	}
	var days []farm.WeatherDay
	rows := map[civil.Date]int{}
	var last civil.Date
	way := 0 // 1 oldest first, -1 newest first
	for _, row := range t.rows {
		before := t.count()
		d, ok := t.weatherDay(row, today)
		if ok {
			turn := d.Date.Compare(last)
			switch {
			case t.count() > before || turn == 0:
			case !last.IsZero() && way != 0 && turn != way:
				t.add(row[0].row, t.columnAt(row, "date"), "sort the file by date; newest first is good too", "%s is out of order after %s", d.Date, last)
			case !last.IsZero():
				way = turn
			}
			last = d.Date
			if first, twice := rows[d.Date]; twice {
				t.add(row[0].row, t.columnAt(row, "date"), "keep one of the two rows", "%s is already on row %d", d.Date, first)
			} else {
				rows[d.Date] = row[0].row
			}
		}
		if t.count() == before {
			days = append(days, d)
		}
	}
	if len(t.rows) == 0 && t.count() == 0 {
		t.add(0, 0, "write one row for each day below the heading", "no weather in it")
	}
	own := t.notFahrenheit(days)
	slices.SortFunc(days, func(a, b farm.WeatherDay) int { return a.Date.Compare(b.Date) })
	if t.count() == 0 && !own {
		t.noJump(days, rows, beside)
	}
	t.fold()
	return days, t.list.Err()
}

// A column of Celsius whose middle reading is hotter than this, over so many
// days, is one of Fahrenheit. Common practice for a cool temperate climate.
const (
	hotMiddleMax  = 38.0
	hotMiddleMin  = 22.0
	hotMiddleSoil = 27.0
	hotMiddleDays = 7
)

// notFahrenheit finds columns of Celsius that hold Fahrenheit, as winter days
// of 40 do, each of which could be true by itself.
// A file with the very heading that FormatWeather writes is our own, and read
// back as it was.
func (t *table) notFahrenheit(days []farm.WeatherDay) (own bool) {
	if slices.EqualFunc(t.columns, weatherColumns, func(c column, name string) bool { return c.text == name }) {
		return true
	}
	for _, c := range t.columns {
		limit := map[string]float64{"min": hotMiddleMin, "max": hotMiddleMax, "soil": hotMiddleSoil}[c.name]
		if limit == 0 || c.unit != "C" {
			continue
		}
		var all []float64
		for _, d := range days {
			if v := map[string]*float64{"min": d.MinC, "max": d.MaxC, "soil": d.SoilC}[c.name]; v != nil {
				all = append(all, *v)
			}
		}
		slices.Sort(all)
		if n := len(all); n >= hotMiddleDays && all[n/2] > limit {
			t.add(c.row, c.col, "if it is Fahrenheit, name it "+c.name+"_f", "the middle one of the %d readings below %s is %s °C", n, quote(c.text), number(all[n/2]))
		}
	}
	return false
}

// Days that would fit their neighbours, or the usual weather, if they were
// Fahrenheit, and that lie this far above them as Celsius. Common practice:
// the means of two days next to each other do not lie so far apart in a cool
// temperate climate, nor does a week from what is usual.
const (
	nextOver, nextWithin   = 20.0, 8.0
	usualOver, usualWithin = 15.0, 10.0
)

// noJump finds winter days in Fahrenheit by the days next to them and by what
// is usual.
func (t *table) noJump(days []farm.WeatherDay, rows map[civil.Date]int, beside WeatherBeside) {
	var low, high column
	for _, c := range t.columns {
		switch c.name {
		case "min":
			low = c
		case "max":
			high = c
		}
	}
	if low.unit != "C" || high.unit != "C" {
		return
	}
	mean := map[civil.Date]float64{}
	for _, d := range days {
		if d.MinC != nil && d.MaxC != nil {
			mean[d.Date] = (*d.MinC + *d.MaxC) / 2
		}
	}
	know := func(d civil.Date) (float64, bool) {
		if m, ok := mean[d]; ok || beside.Measured == nil {
			return m, ok
		}
		return beside.Measured(d)
	}
	var over, fahrenheit []float64
	for _, d := range days {
		m, ok := mean[d.Date]
		if !ok {
			continue
		}
		for _, by := range []int{-1, 1} {
			next := d.Date.AddDays(by)
			if n, ok := know(next); ok && m-n >= nextOver && math.Abs(units.Of(m, "F").Base()-n) <= nextWithin {
				row := t.rows[slices.IndexFunc(t.rows, func(r []cell) bool { return r[0].row == rows[d.Date] })]
				t.add(rows[d.Date], t.columnAt(row, "max"), "if it is Fahrenheit, write F behind the two, or name the columns "+low.name+"_f and "+high.name+"_f; if it is right, leave the row out and enter the day by hand", "the mean of %s is %s °C, and that of %s is %s °C", d.Date, oneDecimal(m), next, oneDecimal(n))
				break
			}
		}
		if beside.Usual != nil {
			if u, ok := beside.Usual(d.Date.Month); ok {
				over, fahrenheit = append(over, m-u), append(fahrenheit, units.Of(m, "F").Base()-u)
			}
		}
	}
	slices.Sort(over)
	slices.Sort(fahrenheit)
	if n := len(over); n >= hotMiddleDays && over[n/2] >= usualOver && math.Abs(fahrenheit[n/2]) <= usualWithin {
		t.add(low.row, low.col, "if they are Fahrenheit, name the columns "+low.name+"_f and "+high.name+"_f", "the middle one of %d days is %s °C warmer than what is usual here", n, oneDecimal(over[n/2]))
	}
}

func oneDecimal(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }

// weatherDay reads one row; ok reports that its date is known.
func (t *table) weatherDay(row []cell, today civil.Date) (d farm.WeatherDay, ok bool) {
	var low, high, date cell
	measured := false
	t.each(row, func(c column, x cell) {
		switch c.name {
		case "date":
			date = x
			got, bad := parseDate(x.text, civil.Date{})
			if bad != nil {
				t.put(x.row, x.col, bad)
				return
			}
			d.Date = got
		case "min":
			low, measured = x, true
			d.MinC = t.reading(c, x)
		case "max":
			high, measured = x, true
			d.MaxC = t.reading(c, x)
		case "soil":
			measured = true
			d.SoilC = t.reading(c, x)
		case "rain":
			measured = true
			d.RainMM = t.rain(c, x)
		case "humidity":
			measured = true
			d.Humidity = t.humidity(x)
		case "forecast":
			switch strings.ToLower(x.text) {
			case "yes", "y", "true", "1":
				d.Forecast = true
			case "no", "n", "false", "0":
			default:
				t.add(x.row, x.col, "write yes or no", "%s does not say whether the row is a forecast", quote(x.text))
			}
		case "source":
			d.Source = x.text
		}
	})
	at := row[0].row
	if date.text == "" {
		t.add(at, t.columnAt(row, "date"), "write the date as 2026-07-13", "the row has no date")
	}
	if !measured {
		t.add(at, 1, "delete the row or fill it", "the row has no reading")
	}
	if d.MinC != nil && d.MaxC != nil && *d.MinC > *d.MaxC {
		t.add(low.row, low.col, "exchange the two, or correct one", "the minimum %s is above the maximum %s", quote(low.text), quote(high.text))
	}
	if d.Date.IsZero() {
		return d, false
	}
	if !d.Forecast && !today.IsZero() && d.Date.After(today) {
		t.add(date.row, date.col, `correct the date, or add a column "forecast" with yes on this row`, "%s lies in the future; today is %s", d.Date, today)
	}
	return d, true
}

// reading reads a temperature in °C.
func (t *table) reading(c column, x cell) *float64 {
	q, ok := t.measure(c, x, units.Temperature, c.name+"_c or "+c.name+"_f")
	if !ok {
		return nil
	}
	v := q.Base()
	if v < minTempC || v > maxTempC {
		t.add(x.row, x.col, tempGuess(q), "%s %s cannot be: %s", c.name, quote(x.text), q)
		return nil
	}
	return &v
}

func (t *table) rain(c column, x cell) *float64 {
	q, ok := t.measure(c, x, units.Length, "rain_mm or rain_in")
	if !ok {
		return nil
	}
	v := q.MustIn("mm")
	switch {
	case q.Value <= -9:
		t.add(x.row, x.col, "leave the cell blank if it was not measured", "rain %s looks like a code for a missing value", quote(x.text))
	case v < 0:
		t.add(x.row, x.col, "write 0 or more; leave the cell blank if it was not measured", "rain %s is below 0", quote(x.text))
	case v > maxRainMM:
		t.add(x.row, x.col, "it looks like tenths or hundredths, or like mm in a column of inches: check the unit", "rain %s in one day is %s mm; at most %s mm is believed", quote(x.text), number(v), number(maxRainMM))
	default:
		return &v
	}
	return nil
}

func (t *table) humidity(x cell) *float64 {
	v, err := units.ParseNumber(t.dot(strings.TrimSpace(strings.TrimSuffix(x.text, "%"))))
	switch {
	case err != nil:
		t.add(x.row, x.col, "write percent, such as 65", "%s is not a humidity", quote(x.text))
	case v < 0 || v > 100:
		t.add(x.row, x.col, "write percent from 0 to 100; leave the cell blank if it was not measured", "humidity %s cannot be", quote(x.text))
	case v > 0 && v <= 1:
		t.add(x.row, x.col, "write percent, such as 65 for 0.65", "humidity %s looks like a fraction", quote(x.text))
	default:
		return &v
	}
	return nil
}

// FormatWeather writes days as the CSV that ParseWeather reads back, in °C
// and mm.
func FormatWeather(days []farm.WeatherDay) string {
	rows := [][]string{weatherColumns}
	for _, d := range days {
		forecast := "no"
		if d.Forecast {
			forecast = "yes"
		}
		rows = append(rows, []string{d.Date.String(), optional(d.MinC), optional(d.MaxC), optional(d.RainMM), optional(d.SoilC), optional(d.Humidity), forecast, d.Source})
	}
	return csvText(rows)
}
