package app

import (
	"context"
	"fmt"
	"reflect"
	"strconv"
	"strings"

	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/store"
	"leafturn/internal/units"
)

const placeForm = `write degrees north and east, such as "45.1, -122.9"`

// parsePlace reads a latitude and a longitude in degrees.
func parsePlace(text string) (lat, lon float64, ok bool) {
	north, east, ok := strings.Cut(text, ",")
	lat, err1 := units.ParseNumber(north)
	lon, err2 := units.ParseNumber(east)
	return lat, lon, ok && err1 == nil && err2 == nil && lat >= -90 && lat <= 90 && lon >= -180 && lon <= 180
}

// week puts where the farm lies and its working week into a farm. An empty
// word clears.
func (o FarmOptions) week(f *farm.Farm, bad func(do, format string, args ...any)) {
	if o.At != nil {
		f.Latitude, f.Longitude = nil, nil
		if *o.At != "" {
			if lat, lon, ok := parsePlace(*o.At); !ok {
				bad(placeForm, "--at %q is not a latitude and a longitude", *o.At)
			} else {
				f.Latitude, f.Longitude = &lat, &lon
			}
		}
	}
	if o.WorkDays != nil {
		f.WorkDays = nil
		if *o.WorkDays != "" {
			days, err := farm.ParseWeekdays(*o.WorkDays)
			if err != nil {
				bad(`write them as "Mon-Sat" or "Mon, Thu"`, "--work-days: %v", err)
			}
			f.WorkDays = days
		}
	}
	if o.HarvestDays != nil {
		f.HarvestDays = nil
		if *o.HarvestDays != "" {
			days, err := farm.ParseWeekdays(*o.HarvestDays)
			if err != nil {
				bad(`write them as "Mon-Sat" or "Mon, Thu"`, "--harvest-days: %v", err)
			}
			f.HarvestDays = days
		}
	}
	if o.WorkHours != nil {
		f.WorkHours = ""
		if *o.WorkHours != "" {
			spans, err := farm.ParseHours(*o.WorkHours)
			if err != nil {
				bad(`write them as "07:00-12:00, 18:00-21:00"`, "--work-hours: %v", err)
			}
			f.WorkHours = farm.HoursWords(spans)
		}
	}
	if o.RoundMinutes != nil {
		f.RoundMinutes = 0
		if *o.RoundMinutes != "" {
			n, err := strconv.Atoi(*o.RoundMinutes)
			if err != nil || n < 1 || n > 10_000 {
				bad("write whole minutes, such as 90", "--round-minutes %q is not a time for a round", *o.RoundMinutes)
			}
			f.RoundMinutes = n
		}
	}
	if o.ProductDays != nil {
		f.ProductDays = 0
		if *o.ProductDays != "" {
			n, err := strconv.Atoi(*o.ProductDays)
			if err != nil || n < 1 || n > 365 {
				bad("write whole days, such as 10", "--product-days %q is no number of days between applications", *o.ProductDays)
			}
			f.ProductDays = n
		}
	}
}

func placeWords(f farm.Farm) string {
	if f.Latitude == nil || f.Longitude == nil {
		return ""
	}
	return fmt.Sprintf("%g, %g", *f.Latitude, *f.Longitude)
}

func roundWords(f farm.Farm) string {
	if f.RoundMinutes == 0 {
		return ""
	}
	return fmt.Sprintf("%d minutes", f.RoundMinutes)
}

func productDaysWords(f farm.Farm) string {
	if f.ProductDays == 0 {
		return ""
	}
	return fmt.Sprintf("%d, or the label's where that is longer", f.ProductDays)
}

// more puts what labels and releases ask of a bed into it; what is not given
// stays.
func (o BedOptions) more(m farm.BedMore, bad func(do, format string, args ...any)) farm.BedMore {
	if o.Water != "" {
		d := distance(o.Water, "--water", bad)
		if d < 0 {
			bad("give the distance to the nearest water", "--water %q is below 0", o.Water)
		}
		m.WaterM = &d
	}
	if o.Animals != "" {
		m.Animals = o.Animals
	}
	if o.Crop != "" {
		m.Crop = strings.ToLower(strings.Join(strings.Fields(o.Crop), " "))
	}
	if o.Rows != "" {
		n, err := strconv.Atoi(o.Rows)
		if err != nil || n < 1 || n > 1000 {
			bad("count the rows of plants along the bed", "--rows %q is not a number of rows", o.Rows)
		}
		m.Rows = n
	}
	if o.Leaves != "" {
		n, err := strconv.Atoi(o.Leaves)
		if err != nil || n < 1 || n > 10_000 {
			bad("count the leaves of a plant or two", "--leaves %q is not a number of leaves of a plant", o.Leaves)
		}
		m.LeavesPerPlant = n
	}
	return m
}

// SetBed changes what was given of a bed.
func (a *App) SetBed(ctx context.Context, o BedOptions) (string, error) {
	beds, err := a.names.findBeds([]string{o.Code})
	if err != nil {
		return "", err
	}
	var l diag.List
	b := o.describe(beds[0], func(do, format string, args ...any) { l.Add(diag.Usagef(do, format, args...)) })
	if err := l.Err(); err != nil {
		return "", err
	}
	if reflect.DeepEqual(b, beds[0]) {
		return fmt.Sprintf("bed %s is so already; nothing was stored", b.Code), nil
	}
	if err := a.st.Update(ctx, func(tx *store.Tx) error { return tx.SetBed(b) }); err != nil {
		return "", kept(err, "nothing was stored")
	}
	return fmt.Sprintf("bed %s is changed", b.Code), a.load(ctx)
}
