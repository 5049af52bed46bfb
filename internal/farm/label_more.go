package farm

import (
	"leafturn/internal/civil"
	"leafturn/internal/units"
)

// LabelMore holds the fields of a label besides its main ones. Where each
// stands is in the table of internal/ingest.
type LabelMore struct {
	Registrant   Stated[string] `json:"registrant,omitzero"`
	Jurisdiction Stated[string] `json:"jurisdiction,omitzero"` // country, or country and state: "US", "US-OR"
	Edition      Stated[string] `json:"edition,omitzero"`      // the label's own date or version, as printed

	Lot        Stated[string]     `json:"lot,omitzero"`         // code on the container
	Opened     Stated[civil.Date] `json:"opened,omitzero"`      // the day on which the grower opened it
	OpenedDays Stated[int]        `json:"opened_days,omitzero"` // may be used so long after opening
	MixedHours Stated[float64]    `json:"mixed_hours,omitzero"` // a mix may be used so long

	// NoSites, NoPests and NoActives are true when the label was read and names
	// none; an empty list without them is unknown.
	NoSites   bool `json:"no_sites,omitempty"`
	NoPests   bool `json:"no_pests,omitempty"`
	NoActives bool `json:"no_actives,omitempty"`

	ExcludedCrops    Stated[[]string] `json:"excluded_crops,omitzero"`
	OnlyPests        Stated[bool]     `json:"only_pests,omitzero"` // the label forbids use against any other pest
	ForbiddenMethods Stated[[]string] `json:"forbidden_methods,omitzero"`

	SprayMin Stated[units.Quantity] `json:"spray_min,omitzero"` // volume of spray per area
	SprayMax Stated[units.Quantity] `json:"spray_max,omitzero"`

	// MinIntervalHours is the shortest time between applications of a label that
	// gives hours: they are counted from end to beginning, as time goes by. Then
	// MinIntervalDays is the same in days, rounded up. 0: the label gives days.
	MinIntervalHours float64 `json:"min_interval_hours,omitempty"`

	MoreMaxima Stated[[]Maximum] `json:"more_maxima,omitzero"`
	// Season is what the label calls a season, where it says so.
	Season Stated[YearSpan] `json:"season,omitzero"`

	EarlyPPE     Stated[string] `json:"early_ppe,omitzero"`
	DoubleNotice Stated[bool]   `json:"double_notice,omitzero"` // people are told orally and by signs
	PlantBack    Stated[int]    `json:"plant_back_days,omitzero"`
	NoWater      Stated[bool]   `json:"no_water,omitzero"`  // no application to water
	PHIEvent     Stated[string] `json:"phi_event,omitzero"` // cutting waits for an event, such as "the spray has dried"

	MinWindMS   Stated[float64]     `json:"min_wind_ms,omitzero"`
	Nozzle      Stated[string]      `json:"nozzle,omitzero"`
	BoomM       Stated[float64]     `json:"boom_m,omitzero"` // highest nozzle above the plants
	Hours       Stated[[]ClockSpan] `json:"hours,omitzero"`  // hours of the day in which it may go on
	Soil        Stated[string]      `json:"soil,omitzero"`
	PlantStress Stated[string]      `json:"plant_stress,omitzero"`
	Sensitive   Stated[[]string]    `json:"sensitive,omitzero"` // plants that may be hurt
	TestFirst   Stated[bool]        `json:"test_first,omitzero"`

	FirstAid Stated[string] `json:"first_aid,omitzero"`
	Storage  Stated[string] `json:"storage,omitzero"`
	Disposal Stated[string] `json:"disposal,omitzero"`

	Printed     []Printed `json:"printed,omitempty"`
	Transcriber string    `json:"transcriber,omitempty"`
	Photo       string    `json:"photo,omitempty"` // where a photograph of the label is kept

	// Retired is the day from which the grower no longer uses the label: nothing
	// is scheduled under it, and what was done stays.
	Retired    civil.Date `json:"retired,omitzero"`
	RetiredWhy string     `json:"retired_why,omitempty"`
}

// Maximum is one more limit of a label: a number of applications, or an
// amount per area, over a time.
type Maximum struct {
	Count  int            `json:"count,omitempty"`  // 0: it is an amount
	Amount units.Quantity `json:"amount,omitzero"`  // per area
	Active string         `json:"active,omitempty"` // the amount is of this active ingredient; "" of the product
	Per    string         `json:"per,omitempty"`    // one of MaxPers, "" for Days
	Days   int            `json:"days,omitempty"`   // any so many days
}

// YearSpan is a time of the year, both days included; it may go over the new
// year.
type YearSpan struct {
	From civil.MonthDay `json:"from"`
	To   civil.MonthDay `json:"to"`
}

// Around returns the occurrence of the span that holds d, or false and the
// first day of the next one.
func (s YearSpan) Around(d civil.Date) (from, to civil.Date, holds bool) {
	for year := d.Year - 1; ; year++ {
		from, to = s.From.In(year), s.To.In(year)
		if to.Before(from) {
			to = s.To.In(year + 1)
		}
		if !d.After(to) {
			return from, to, !d.Before(from)
		}
	}
}

// Printed holds a field's own words on the label.
type Printed struct {
	Field   string `json:"field"` // key of the label file
	Text    string `json:"text"`
	Panel   string `json:"panel,omitempty"`
	Advises bool   `json:"advises,omitempty"` // the sentence says "should"; without it, it binds
}

// Advises reports whether the label only advises what a field says.
func (l Label) Advises(field string) bool {
	for _, p := range l.Printed {
		if p.Field == field {
			return p.Advises
		}
	}
	return false
}

// The further periods over which a label counts. PerNone is a maximum for
// which the label says no period: everything recorded is counted.
const (
	PerCalendarYear = "calendar year"
	PerTwelveMonths = "12 months"
	PerGeneration   = "generation"
	PerNone         = string(NoneStated)
)
