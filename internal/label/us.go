package label

import (
	"fmt"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// The figures of this file are US law; other countries and many states have
// their own, and the label can ask for more.

// Spray tells how a product is put out, for the exclusion zone.
type Spray struct {
	Liquid  bool    // false: scattered bait, granules, soil drench
	Fine    bool    // droplets finer than medium, or mist, fog, smoke, air-assisted
	HeightM float64 // height of the nozzle above the soil
}

// ExclusionZoneM returns the distance in metres that people must keep from
// the equipment while it applies, outdoors: 100 ft for fine or air-assisted
// sprays, 25 ft for medium or coarser ones from more than 12 in, else none.
// Source: 40 CFR 170.405(a)(1).
func ExclusionZoneM(s Spray) float64 {
	switch {
	case !s.Liquid && !s.Fine:
		return 0
	case s.Fine:
		return units.Of(100, "ft").MustIn("m")
	case above(s.HeightM, units.Of(12, "in").MustIn("m")):
		return units.Of(25, "ft").MustIn("m")
	}
	return 0
}

// ZoneConflict reports whether people at a distance stand inside the
// exclusion zone of a running application, with the words for it.
func ZoneConflict(s Spray, what string, distanceM float64) (string, bool) {
	zone := ExclusionZoneM(s)
	if zone == 0 || distanceM >= zone {
		return "", false
	}
	return fmt.Sprintf("exclusion zone: %s is %.3g m away and must be at least %.4g m from the equipment while it applies (40 CFR 170.405)", what, distanceM, zone), true
}

// SignsNeeded reports whether warning signs must stand: outdoors when the
// re-entry interval is above 48 hours, under cover when it is above 4 hours.
// Source: 40 CFR 170.409.
func SignsNeeded(site farm.Site, reiHours float64) bool {
	if site == farm.House {
		return reiHours > 4
	}
	return reiHours > 48
}

// Signs returns the earliest moment to put warning signs up, 24 hours before
// the application, and the latest to take them down, 3 days after the
// re-entry interval has ended. Source: 40 CFR 170.409(b).
func Signs(start, reiEnds time.Time) (up, down time.Time) {
	return start.Add(-24 * time.Hour), reiEnds.Add(72 * time.Hour)
}

// DisplayThrough returns the last day on which the information about an
// application is on display: 30 days after the re-entry interval ends.
// Source: 40 CFR 170.122, the same 30 days in 170.311.
func DisplayThrough(reiEnds civil.Date) civil.Date { return reiEnds.AddDays(30) }

// KeepThrough returns the last day on which a record made on a day must be
// kept for so many years. 29 February counts to 28 February of a common year.
// Organic records: 5 years from their creation (7 CFR 205.103). Worker
// protection records: 2 years from the end of the re-entry interval (40 CFR
// 170.311(b)(6), from memory).
func KeepThrough(made civil.Date, years int) civil.Date {
	d := civil.New(made.Year+years, made.Month, made.Day)
	if d.Day != made.Day {
		return civil.New(made.Year+years, made.Month+1, 0)
	}
	return d
}
