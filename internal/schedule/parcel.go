package schedule

import (
	"fmt"
	"time"

	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// HotParcel is the forecast in °C above which no parcel of natural enemies is
// to arrive. Common practice.
const HotParcel = 32

// ParcelDay says why no parcel of natural enemies is to arrive on the day of
// the weather, "" when it may. Only the day itself needs to be known; a
// temperature that is not known speaks against nothing. Common practice.
func ParcelDay(w farm.WeatherDay, s units.System) string {
	if d := w.Date.Weekday(); d == time.Saturday || d == time.Sunday {
		return "a parcel is not to arrive at a weekend (common practice)"
	}
	if w.MaxC != nil && *w.MaxC > HotParcel {
		return fmt.Sprintf("%s is forecast for %s, too hot for the parcel (common practice: at most %s)", s.TempBeside(*w.MaxC, HotParcel), w.Date.Short(), s.Temp(HotParcel))
	}
	return ""
}
