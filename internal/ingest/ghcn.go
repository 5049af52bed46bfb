package ingest

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// Station is the weather of one station, as its service's own file has it.
type Station struct {
	ID      string
	Days    []farm.WeatherDay // by date; a day without a usable value is not among them
	Flagged []string          // values that the service doubts, which are not used, each with its place
	Missing []civil.Date      // days between the first and the last that lack one of the two temperatures
}

// StationOptions say what is wanted of a station's file.
type StationOptions struct {
	Station  string     // the one expected, "" for the one in the file
	From, To civil.Date // days wanted, both included; zero is no limit
	Today    civil.Date // later days are refused; zero is no limit
	Tenths   bool       // the values of a wide file are known to be tenths
}

const (
	missingValue = "-9999"
	dlyHead      = 21 // station 11, year 4, month 2, element 4
	dlyDay       = 8  // value 5, flags for measurement, quality and source
)

// LooksLikeGHCN reports whether text begins as a GHCN-Daily file does:
// fixed-width lines, rows by day and element, or a heading with STATION, DATE
// and elements.
func LooksLikeGHCN(text []byte) bool {
	line, _, _ := bytes.Cut(bytes.TrimPrefix(text, []byte("\ufeff")), []byte("\n"))
	s := strings.TrimRight(string(line), "\r")
	return ghcnForm(s) != ""
}

// ghcnForm tells the three forms apart by the first line.
func ghcnForm(line string) string {
	fields := splitQuoted(line)
	switch {
	case len(line) > dlyHead && stationID(line[:11]) && digits(line[11:17]) && !strings.Contains(line, ","):
		return "dly"
	case len(fields) >= 4 && stationID(fields[0]) && len(fields[1]) == 8 && digits(fields[1]):
		return "rows"
	case slices.Contains(fields, "DATE") && slices.Contains(fields, "ELEMENT") && slices.Contains(fields, "DATA_VALUE"):
		return "rows"
	case slices.Contains(fields, "STATION") && slices.Contains(fields, "DATE") && (slices.Contains(fields, "TMAX") || slices.Contains(fields, "TMIN") || slices.Contains(fields, "PRCP")):
		return "wide"
	}
	return ""
}

func splitQuoted(line string) []string {
	f, err := csv.NewReader(strings.NewReader(line)).Read()
	if err != nil {
		return nil
	}
	return f
}

// stationID reports whether s is a station: a country's two letters, a network
// letter or digit, and eight more.
func stationID(s string) bool {
	if len(s) != 11 {
		return false
	}
	for i, r := range s {
		letter, digit := r >= 'A' && r <= 'Z', r >= '0' && r <= '9'
		if !letter && !digit && r != '_' && r != '-' || i < 2 && !letter {
			return false
		}
	}
	return true
}

// ParseGHCN reads daily weather in the forms of NOAA's GHCN-Daily: the
// fixed-width .dly file, rows by day and element, and the wide CSV with a
// column for each element (TMAX, TMIN, PRCP in tenths of °C and mm; RHAV in
// percent). -9999 is not measured. A value with a quality flag is one that the
// service doubts: it is not used, and told.
//
// Problems, each with its row and column: another station than expected or
// two in one file, a day that stands twice or goes back, a day that is none, a
// minimum above its maximum, a value that cannot be, and a wide file whose
// values are not tenths. The error is a *diag.List; nothing of a file with a
// problem should be stored.
//
// Source: GHCN-Daily readme (NOAA NCEI; Menne et al. 2012,
// doi:10.1175/JTECH-D-11-00103.1).
func ParseGHCN(r io.Reader, file string, o StationOptions) (Station, error) {
	g := &ghcn{problems: &problems{file: file}, o: o, at: map[civil.Date]*ghcnDay{}}
	lines, bad, ok := g.readText(r, maxTable)
	if !ok {
		return Station{}, g.list.Err()
	}
	first := slices.IndexFunc(lines, func(s string) bool { return strings.TrimSpace(s) != "" })
	if first < 0 {
		g.add(0, 0, "give the station's file as it was downloaded", "the file is empty")
		return Station{}, g.list.Err()
	}
	switch ghcnForm(lines[first]) {
	case "dly":
		for i, l := range lines {
			if !bad[i+1] && strings.TrimSpace(l) != "" {
				g.fixed(i+1, l)
			}
		}
	case "rows":
		g.table(lines, g.byElement)
	case "wide":
		g.table(lines, g.byDay)
	default:
		g.add(first+1, 1, "a .dly file, rows of station,date,element,value, or a heading with STATION, DATE and TMAX", "this is none of the forms of GHCN-Daily")
	}
	return g.finish()
}

type ghcnDay struct {
	farm.WeatherDay
	row, minCol int
	set         map[string]int // element → row
}

type ghcn struct {
	*problems
	o       StationOptions
	station string
	wrong   map[string]bool // stations that were refused
	at      map[civil.Date]*ghcnDay
	order   []*ghcnDay
	flagged []string
	last    map[string]civil.Date // the latest day of each element
	whole   []float64             // TMAX of a wide file, to see whether it is in tenths
}

// theStation checks that a line is of the one station. What is wrong with a
// station is said where it stands first.
func (g *ghcn) theStation(row, col int, id string) bool {
	id = strings.TrimPrefix(id, "GHCND:")
	if g.wrong[id] {
		return false
	}
	switch {
	case !stationID(id):
		g.add(row, col, "a station such as USW00024233", "%s is not a station", quote(id))
	case g.o.Station != "" && !strings.EqualFold(id, g.o.Station):
		g.add(row, col, "give that station's file, or name this one with --station", "the station is %s, not %s", id, g.o.Station)
	case g.station != "" && id != g.station:
		g.add(row, col, "give one station in a file", "the station is %s; above it was %s", id, g.station)
	default:
		g.station = id
		return true
	}
	if g.wrong == nil {
		g.wrong = map[string]bool{}
	}
	g.wrong[id] = true
	return false
}

// ghcnElements are the elements that are read, with the value of one.
var ghcnElements = map[string]float64{"TMAX": 0.1, "TMIN": 0.1, "PRCP": 0.1, "RHAV": 1}

// value takes one value; flag is its quality flag.
func (g *ghcn) value(row, col int, date civil.Date, element, text, flag string) {
	scale, wanted := ghcnElements[element]
	if !wanted || !g.o.From.IsZero() && date.Before(g.o.From) || !g.o.To.IsZero() && date.After(g.o.To) {
		return
	}
	text = strings.TrimSpace(text)
	if g.last == nil {
		g.last = map[string]civil.Date{}
	}
	d := g.at[date]
	if d != nil {
		if at, twice := d.set[element]; twice {
			g.add(row, col, "keep one of the two", "%s of %s already stands on row %d", element, date, at)
			return
		}
	}
	if last := g.last[element]; !last.IsZero() && date.Before(last) {
		g.add(row, col, "sort the file by date", "%s of %s comes after that of %s", element, date, last)
		return
	}
	if d == nil {
		d = &ghcnDay{WeatherDay: farm.WeatherDay{Date: date, Source: "GHCN-Daily " + g.station}, row: row, set: map[string]int{}}
		g.at[date] = d
		g.order = append(g.order, d)
	}
	d.set[element], g.last[element] = row, date
	if text == missingValue || text == "" {
		return
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		what := "is not a whole number"
		if _, e := strconv.ParseFloat(text, 64); e == nil {
			what = "is not in tenths"
		}
		g.add(row, col, "GHCN-Daily has whole numbers, in tenths; for other units use a table with headings such as min_c, max_c and rain_mm", "%s %s of %s %s", element, quote(text), date, what)
		return
	}
	v := math.Round(float64(n)*scale*10) / 10
	if strings.TrimSpace(flag) != "" {
		g.flagged = append(g.flagged, fmt.Sprintf("%d:%d: %s %s of %s has the quality flag %s", row, col, element, number(v), date, strings.TrimSpace(flag)))
		return
	}
	switch element {
	case "TMAX", "TMIN":
		if v < minTempC || v > maxTempC {
			g.add(row, col, "-9999 is not measured; values are tenths of °C", "%s %s °C of %s cannot be", element, number(v), date)
			return
		}
		if element == "TMAX" {
			d.MaxC = &v
		} else {
			d.MinC, d.minCol = &v, col
		}
	case "PRCP":
		if v < 0 || v > maxRainMM {
			g.add(row, col, "-9999 is not measured; values are tenths of mm", "rain %s mm of %s cannot be", number(v), date)
			return
		}
		d.RainMM = &v
	case "RHAV":
		if v < 0 || v > 100 {
			g.add(row, col, "percent from 0 to 100; -9999 is not measured", "humidity %s %% of %s cannot be", number(v), date)
			return
		}
		d.Humidity = &v
	}
}

// fixed reads a line of a .dly file: a month of one element.
func (g *ghcn) fixed(row int, line string) {
	if len(line) < dlyHead+dlyDay {
		g.add(row, 1, "give the file as it was downloaded", "the line is too short for a month of days")
		return
	}
	if !g.theStation(row, 1, line[:11]) {
		return
	}
	year, e1 := strconv.Atoi(line[11:15])
	month, e2 := strconv.Atoi(line[15:17])
	if e1 != nil || e2 != nil || month < 1 || month > 12 {
		g.add(row, 12, "year and month stand in columns 12 to 17", "%s is not a year and month", quote(line[11:17]))
		return
	}
	element := line[17:dlyHead]
	if len(line) < dlyHead+31*dlyDay {
		line += strings.Repeat(" ", dlyHead+31*dlyDay-len(line))
	}
	for day := 1; day <= 31; day++ {
		at := dlyHead + (day-1)*dlyDay
		text := strings.TrimSpace(line[at : at+5])
		date := civil.New(year, time.Month(month), day)
		if date.Day != day {
			if text != missingValue && text != "" {
				g.add(row, at+1, "a day that is none has -9999", "%04d-%02d has no day %d, yet %s %s", year, month, day, element, text)
			}
			continue
		}
		if !g.o.Today.IsZero() && date.After(g.o.Today) && text != missingValue && text != "" {
			g.add(row, at+1, "correct the month", "%s lies in the future; today is %s", date, g.o.Today)
			continue
		}
		g.value(row, at+1, date, element, text, line[at+6:at+7])
	}
}

// table reads the rows of a CSV form; the first one may be a heading.
func (g *ghcn) table(lines []string, read func(col map[string]int, cells []cell)) {
	cr := csv.NewReader(strings.NewReader(strings.Join(lines, "\n")))
	cr.FieldsPerRecord, cr.LazyQuotes = -1, true
	col := map[string]int{"ID": 0, "DATE": 1, "ELEMENT": 2, "DATA_VALUE": 3, "M_FLAG": 4, "Q_FLAG": 5}
	for n := 0; ; n++ {
		fields, err := cr.Read()
		if err == io.EOF {
			return
		}
		if err != nil {
			g.add(n+1, 1, "give the file as it was downloaded", "the row cannot be read")
			return
		}
		cells := make([]cell, len(fields))
		for i, f := range fields {
			row, byteCol := cr.FieldPos(i)
			cells[i] = cell{strings.TrimSpace(f), row, byteCol}
		}
		if n == 0 && slices.Contains(fields, "DATE") {
			col = map[string]int{}
			for i, c := range cells {
				if _, twice := col[c.text]; twice {
					g.add(c.row, c.col, "keep one of the two columns", "the column %s stands twice", quote(c.text))
					return
				}
				col[c.text] = i
			}
			continue
		}
		read(col, cells)
	}
}

func at(col map[string]int, cells []cell, name string) (cell, bool) {
	i, ok := col[name]
	if !ok || i >= len(cells) {
		return cell{}, false
	}
	return cells[i], true
}

// ghcnDate reads 20260713 or 2026-07-13.
func (g *ghcn) ghcnDate(c cell) (civil.Date, bool) {
	s := c.text
	if len(s) == 8 && digits(s) {
		s = s[:4] + "-" + s[4:6] + "-" + s[6:]
	}
	d, err := civil.Parse(s)
	if err != nil {
		g.add(c.row, c.col, "write 20260713 or 2026-07-13", "%s is not a date", quote(c.text))
		return d, false
	}
	if !g.o.Today.IsZero() && d.After(g.o.Today) {
		g.add(c.row, c.col, "correct the date", "%s lies in the future; today is %s", d, g.o.Today)
		return d, false
	}
	return d, true
}

func (g *ghcn) byElement(col map[string]int, cells []cell) {
	id, ok := at(col, cells, "ID")
	if !ok {
		id, ok = at(col, cells, "STATION")
	}
	date, ok2 := at(col, cells, "DATE")
	element, ok3 := at(col, cells, "ELEMENT")
	value, ok4 := at(col, cells, "DATA_VALUE")
	if !ok || !ok2 || !ok3 || !ok4 {
		g.add(cells[0].row, cells[0].col, "station, date, element and value are needed", "the row is too short")
		return
	}
	if !g.theStation(id.row, id.col, id.text) {
		return
	}
	if d, ok := g.ghcnDate(date); ok {
		flag, _ := at(col, cells, "Q_FLAG")
		g.value(value.row, value.col, d, element.text, value.text, flag.text)
	}
}

func (g *ghcn) byDay(col map[string]int, cells []cell) {
	id, ok := at(col, cells, "STATION")
	date, ok2 := at(col, cells, "DATE")
	if !ok || !ok2 || len(cells) != len(col) {
		g.add(cells[0].row, cells[0].col, "give every row as many cells as the heading", "the row has %d cells, the heading has %d", len(cells), len(col))
		return
	}
	if !g.theStation(id.row, id.col, id.text) {
		return
	}
	d, ok := g.ghcnDate(date)
	if !ok {
		return
	}
	for _, element := range []string{"TMAX", "TMIN", "PRCP", "RHAV"} {
		if c, ok := at(col, cells, element); ok {
			flag := ""
			if f, ok := at(col, cells, element+"_ATTRIBUTES"); ok {
				if parts := strings.Split(f.text, ","); len(parts) > 1 {
					flag = parts[1] // measurement, quality, source
				}
			}
			g.value(c.row, c.col, d, element, c.text, flag)
			if n, err := strconv.Atoi(c.text); err == nil && element == "TMAX" && c.text != missingValue {
				g.whole = append(g.whole, float64(n))
			}
		}
	}
}

// tenthsAfter is how many days of a wide file raise the question whether its
// values are tenths: as whole degrees Fahrenheit none goes over 130, and tenths
// of a degree Celsius go over it wherever a day is warmer than 13 °C.
const (
	tenthsAfter = 60
	hottestF    = 130
)

func (g *ghcn) finish() (Station, error) {
	if !g.o.Tenths && len(g.whole) >= tenthsAfter && slices.Max(g.whole) <= hottestF && slices.Max(g.whole) > 45 {
		g.add(1, 1, "if they are Fahrenheit, name the columns date, min_f and max_f, which is read as a table; if they are tenths of a degree Celsius, say so with --tenths", "no TMAX of %d days is over %s: whole degrees Fahrenheit look like that, and so do tenths of a degree Celsius in a cold season", len(g.whole), number(slices.Max(g.whole)))
	}
	out := Station{ID: g.station, Flagged: g.flagged}
	slices.SortFunc(g.order, func(a, b *ghcnDay) int { return a.Date.Compare(b.Date) })
	for _, d := range g.order {
		if d.MinC != nil && d.MaxC != nil && *d.MinC > *d.MaxC {
			g.add(d.set["TMIN"], d.minCol, "correct one of the two, or put -9999 for both", "TMIN %s of %s is above TMAX %s", number(*d.MinC), d.Date, number(*d.MaxC))
		}
		if d.MinC == nil || d.MaxC == nil {
			out.Missing = append(out.Missing, d.Date)
		}
		if d.MinC != nil || d.MaxC != nil || d.RainMM != nil || d.Humidity != nil {
			if n := len(out.Days); n > 0 {
				for gap := out.Days[n-1].Date.AddDays(1); gap.Before(d.Date); gap = gap.AddDays(1) {
					if g.at[gap] == nil {
						out.Missing = append(out.Missing, gap)
					}
				}
			}
			out.Days = append(out.Days, d.WeatherDay)
		}
	}
	slices.SortFunc(out.Missing, civil.Date.Compare)
	if len(out.Days) == 0 && g.count() == 0 {
		g.add(0, 0, "name days that it has with --from and --to", "no weather in it for the days that are wanted")
	}
	g.fold()
	if err := g.list.Err(); err != nil {
		return Station{}, err
	}
	return out, nil
}
