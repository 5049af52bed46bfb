package app

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/climate"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/store"
	"leafturn/internal/units"
)

// WeatherOptions are the flags of `weather`.
type WeatherOptions struct {
	Date, Min, Max, Rain, Soil, Humidity string
	Forecast                             bool
	Source                               string // where it is from; "" is typed in
}

// Weather stores one day's weather.
func (a *App) Weather(ctx context.Context, o WeatherOptions) (string, error) {
	day, err := ParseDay(o.Date, a.Today())
	if err != nil {
		return "", err
	}
	d := farm.WeatherDay{Date: day, Forecast: o.Forecast, Source: o.Source}
	var l diag.List
	read := func(flag, text string, dim units.Dimension, low, high float64) *float64 {
		if text == "" {
			return nil
		}
		q, err := units.ParseAs(text, dim, "")
		if err != nil {
			l.Add(diag.Usagef(map[units.Dimension]string{units.Temperature: "write it as 14C or 57F", units.Length: "write it as 3mm or 0.1in"}[dim], "--%s: %v", flag, err))
			return nil
		}
		v := q.Base()
		if dim == units.Length {
			v *= 1000 // mm
		}
		if v < low || v > high {
			do := "check the number and its unit"
			if f := units.Of(q.Value, "F").Base(); q.Unit.Name == "C" && f >= low && f <= high {
				do = "it looks like °F: write it as " + strconv.FormatFloat(q.Value, 'f', -1, 64) + "F"
			}
			l.Add(diag.Usagef(do, "--%s %s cannot be a day's weather", flag, text))
		}
		return &v
	}
	d.MinC = read("min", o.Min, units.Temperature, -60, 60)
	d.MaxC = read("max", o.Max, units.Temperature, -60, 60)
	d.SoilC = read("soil", o.Soil, units.Temperature, -60, 60)
	d.RainMM = read("rain", o.Rain, units.Length, 0, 1000)
	if o.Humidity != "" {
		v, err := units.ParseNumber(strings.TrimSuffix(o.Humidity, "%"))
		if err != nil || v < 0 || v > 100 {
			l.Add(diag.Usagef("write a percentage from 0 to 100", "--humidity %q is not one", o.Humidity))
		}
		d.Humidity = &v
	}
	switch {
	case d.MinC != nil && d.MaxC != nil && *d.MinC > *d.MaxC:
		l.Add(diag.Usagef("swap them if they were mixed up", "the lowest temperature %s is above the highest %s", o.Min, o.Max))
	case d.MinC == nil && d.MaxC == nil && d.RainMM == nil && d.SoilC == nil && d.Humidity == nil && len(l.Problems) == 0:
		l.Add(diag.Usagef("give at least one of --min, --max, --rain, --soil, --humidity, or --file", "nothing was measured"))
	case day.After(a.Today()) && !o.Forecast:
		l.Add(diag.Usagef("add --forecast if it is one", "--date %s lies in the future: today is %s on the farm", day, a.Today()))
	}
	if err := l.Err(); err != nil {
		return "", err
	}
	if err := a.notLongAgo(ctx, "--date", day); err != nil {
		return "", err
	}
	if p := a.notFarAhead("--date", day); p != nil {
		return "", p
	}
	var out store.Outcome
	err = a.st.Update(ctx, func(tx *store.Tx) (err error) { out, err = tx.AddWeather(d, a.now); return err })
	if err != nil {
		return "", kept(err, "nothing was stored")
	}
	return fmt.Sprintf("weather of %s: %s", a.dayOf(day), out), nil
}

// WeatherFileOptions say which part of a station's file is wanted.
type WeatherFileOptions struct{ Station, From, To string }

// WeatherFile stores the days of a table or of a station's GHCN-Daily file,
// all of them or none.
func (a *App) WeatherFile(ctx context.Context, r io.Reader, file string, o WeatherFileOptions, tenths bool) (string, error) {
	text, err := io.ReadAll(r)
	if err != nil {
		return "", diag.Failf(err, "look at the file", "%s cannot be read", file)
	}
	days, notes, err := a.readWeather(ctx, text, file, o, tenths)
	if err != nil {
		return "", kept(err, "nothing from this file was stored")
	}
	counts := map[store.Outcome]int{}
	err = a.st.Update(ctx, func(tx *store.Tx) error {
		for _, d := range days {
			out, err := tx.AddWeather(d, a.now)
			if err != nil {
				return err
			}
			counts[out]++
		}
		return nil
	})
	if err != nil {
		return "", kept(err, "nothing from this file was stored")
	}
	var parts []string
	for _, o := range []store.Outcome{store.Stored, store.Replaced, store.Present, store.Outranked} {
		if n := counts[o]; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, o))
		}
	}
	said := fmt.Sprintf("weather of %s from %s: %s", unitsOf(len(days), "day"), file, strings.Join(parts, ", "))
	return strings.Join(append([]string{said}, notes...), "\n"), nil
}

// readWeather reads a file of weather in any form; notes tell what of it is
// missing or was not used.
func (a *App) readWeather(ctx context.Context, text []byte, file string, o WeatherFileOptions, tenths bool) (days []farm.WeatherDay, notes []string, err error) {
	if !ingest.LooksLikeGHCN(text) {
		if o != (WeatherFileOptions{}) || tenths {
			return nil, nil, diag.Usagef("leave them out", "--station, --from, --to and --tenths are for a station's GHCN-Daily file, and %s is a table", file)
		}
		beside, err := a.weatherBeside(ctx)
		if err != nil {
			return nil, nil, err
		}
		if days, err = ingest.ParseWeatherBeside(bytes.NewReader(text), file, a.Today(), beside); err != nil {
			return nil, nil, err
		}
		at := make([]dayAt, len(days))
		for i, d := range days {
			at[i].day = d.Date
			if p := a.notFarAhead("the day", d.Date); p != nil {
				p.File, p.Usage = file, false
				return nil, nil, p
			}
		}
		return days, missingNote(gaps(days)), a.notLongAgoIn(ctx, file, at)
	}
	so := ingest.StationOptions{Station: o.Station, Tenths: tenths, Today: a.Today()}
	for _, x := range []struct {
		flag, text string
		to         *civil.Date
	}{{"--from", o.From, &so.From}, {"--to", o.To, &so.To}} {
		if x.text == "" {
			continue
		}
		if *x.to, err = civil.Parse(x.text); err != nil {
			return nil, nil, diag.Usagef("write a date such as 2026-03-01", "%s %q is not a date", x.flag, x.text)
		}
	}
	s, err := ingest.ParseGHCN(bytes.NewReader(text), file, so)
	if err != nil {
		return nil, nil, err
	}
	notes = append([]string{"station " + s.ID}, missingNote(s.Missing)...)
	for i, f := range s.Flagged {
		if i == 10 {
			notes = append(notes, fmt.Sprintf("and %d more values with a quality flag, not used", len(s.Flagged)-i))
			break
		}
		notes = append(notes, "not used: "+file+":"+f)
	}
	return s.Days, notes, nil
}

// weatherBeside is what the farm knows beside a file: its measured days and the
// normals typed in.
func (a *App) weatherBeside(ctx context.Context) (out ingest.WeatherBeside, err error) {
	var stored []farm.WeatherDay
	err = a.st.View(ctx, func(tx *store.Tx) (err error) { stored, err = tx.Weather(civil.Date{}, civil.Date{}); return err })
	if err != nil {
		return out, err
	}
	mean := map[civil.Date]float64{}
	for _, d := range stored {
		if !d.Forecast && d.MinC != nil && d.MaxC != nil {
			mean[d.Date] = (*d.MinC + *d.MaxC) / 2
		}
	}
	out.Measured = func(d civil.Date) (float64, bool) { m, ok := mean[d]; return m, ok }
	if n := a.farm.Normals; len(n) == 12 {
		out.Usual = func(m time.Month) (float64, bool) { return (n[m-1].MinC + n[m-1].MaxC) / 2, true }
	}
	return out, nil
}

// gaps are the days between the first and the last that lack one of the two temperatures.
// A file that has no temperatures has no such gaps.
func gaps(days []farm.WeatherDay) (out []civil.Date) {
	has := map[civil.Date]bool{}
	var first, last civil.Date
	for _, d := range days {
		if d.MinC != nil && d.MaxC != nil {
			has[d.Date] = true
			if first.IsZero() {
				first = d.Date
			}
			last = d.Date
		}
	}
	for d := first; d.Before(last); d = d.AddDays(1) {
		if !has[d] {
			out = append(out, d)
		}
	}
	return out
}

func missingNote(days []civil.Date) []string {
	if len(days) == 0 {
		return nil
	}
	var words []string
	for i, d := range days {
		if i == 6 {
			words = append(words, fmt.Sprintf("and %d more", len(days)-i))
			break
		}
		words = append(words, d.String())
	}
	if len(days) == 1 {
		return []string{"1 day has no lowest or no highest temperature, and stays so: " + words[0]}
	}
	return []string{fmt.Sprintf("%d days have no lowest or no highest temperature, and stay so: %s", len(days), strings.Join(words, ", "))}
}

// WeatherNormals stores the usual weather of the twelve months.
func (a *App) WeatherNormals(ctx context.Context, r io.Reader, file string) (string, error) {
	normals, err := ingest.ParseNormals(r, file)
	if err != nil {
		return "", kept(err, "nothing was stored")
	}
	if _, err := monthNormals(normals); err != nil {
		return "", diag.Failf(err, "correct the month", "%s: %v", file, err)
	}
	f := a.farm
	f.Normals = normals
	if err := a.st.Update(ctx, func(tx *store.Tx) error { return tx.SetFarm(f) }); err != nil {
		return "", kept(err, "nothing was stored")
	}
	return "the usual weather of the twelve months is stored: days to come without a forecast go by it", a.load(ctx)
}

// ClearNormals takes the typed usual weather away.
func (a *App) ClearNormals(ctx context.Context) (string, error) {
	f := a.farm
	f.Normals = nil
	if err := a.st.Update(ctx, func(tx *store.Tx) error { return tx.SetFarm(f) }); err != nil {
		return "", kept(err, "nothing was stored")
	}
	return "no usual weather is typed in any more", a.load(ctx)
}

func monthNormals(normals []farm.MonthNormal) (climate.Normals, error) {
	if len(normals) != 12 {
		return climate.Normals{}, nil
	}
	var months [12]climate.Month
	for i, n := range normals {
		months[i] = climate.Month{Min: n.MinC, Max: n.MaxC}
	}
	return climate.FromMonths(months, "the monthly normals typed in")
}

// normalWords are the typed normals of January and July, in the farm's units.
func normalWords(f farm.Farm) string {
	if len(f.Normals) != 12 {
		return ""
	}
	u := tempUnits(f.Units)
	return fmt.Sprintf("typed in; January %s to %s, July %s to %s", u.temp(f.Normals[0].MinC), u.temp(f.Normals[0].MaxC), u.temp(f.Normals[6].MinC), u.temp(f.Normals[6].MaxC))
}
