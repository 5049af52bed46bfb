// Package label decides what a product label allows: whether a product may go
// on a bed on a day, when it may go on again, how much, when people may go
// back in, and what an application that already took place has broken.
//
// It works only from the grower's own copy of the label. A field
// that nobody has read is unknown and refuses; "none stated" is an answer and
// does not. "Allowed" means that no transcribed rule forbids it; it is never
// permission. The label and local law outrank every result of this package.
//
// How labels are read where they leave room (all common practice, all the
// stricter reading): day intervals compare dates on the farm's calendar and
// the boundary day passes; re-entry is counted in elapsed hours from the end
// of the application; "reapply when eaten" and "reapply by" never shorten the
// shortest interval; a part of a bed that was not located is the whole bed;
// the farm's own rules can tighten a label and never loosen it.
//
// Not here: droplet size and drift models, tank-mix chemistry, state and
// national law beyond the few figures in
// us.go, and any early-entry permit: the tool never grants one.
package label

import (
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// Rule is one reason why an application is refused.
type Rule struct {
	Code    string // one of the Code constants
	Words   string // the reason, in a sentence for the grower
	Field   string // the label field it comes from, "" when it is not a label field
	Where   string // where on a label that field stands
	Unknown bool   // true when it refuses because something is not known
	Note    string // the command that notes what is not known, BED for the beds; "" for none
}

// The codes of the rules.
const (
	CodeUnknown       = "unknown field"
	CodeContradiction = "contradiction"
	CodeSite          = "site not listed"
	CodePest          = "pest not listed"
	CodeExpired       = "expired"
	CodeRestricted    = "restricted use"
	CodeApproval      = "organic approval"
	CodePractice      = "practice record"
	CodeInterval      = "shortest interval"
	CodeFarmInterval  = "farm interval"
	CodeApart         = "keep apart"
	CodeWindow        = "rolling maximum"
	CodeMaxCount      = "maximum applications"
	CodeMaxYear       = "last 12 months"
	CodeMaxAmount     = "maximum amount"
	CodeMaxActive     = "maximum active ingredient"
	CodeSeason        = "season"
	CodeRate          = "rate above maximum"
	CodeUnits         = "units"
	CodeArea          = "area"
	CodeBloom         = "bloom"
	CodeForaging      = "bees foraging"
	CodeSunset        = "after sunset"
	CodeTemperature   = "temperature"
	CodeWind          = "wind"
	CodeRainfast      = "rainfast"
	CodeWater         = "water buffer"
	CodeAnimals       = "animals"
	CodeClosed        = "bed closed"
	CodeWork          = "planned work"
	CodePHI           = "pre-harvest interval"
	CodePlantBack     = "planting-back interval"
	CodeRetired       = "label retired"
	CodeJurisdiction  = "registered elsewhere"
	CodeSpray         = "spray volume"
	CodeHours         = "time of day"
	CodeLook          = "pest not looked at"
	CodeUnfit         = "fails on this pest"
	CodeMethod        = "forbidden method"
)

// Bloom tells whether flowers are open. The zero value is "nobody looked".
type Bloom string

// The states of bloom.
const (
	BloomUnknown Bloom = ""
	BloomNone    Bloom = "none"
	BloomOpen    Bloom = "open"
)

// Span is the days from From to To, both included.
type Span struct{ From, To civil.Date }

// Holds reports whether d lies in the span.
func (s Span) Holds(d civil.Date) bool { return !d.Before(s.From) && !d.After(s.To) }

// Work is hand work planned in the bed.
type Work struct {
	What    string
	Date    civil.Date
	At      time.Time // zero when only the day is planned
	Harvest bool      // cutting: the pre-harvest interval counts too
	Plants  bool      // planting: the planting-back interval counts too
}

// Apart is a pair of actives that are kept apart when no label gives a figure.
type Apart struct {
	A, B   string
	Days   int
	Source string
}

// Request asks whether a product may go on a bed. What is left zero is
// unknown, and an unknown that a rule needs refuses or becomes a condition.
type Request struct {
	Label  farm.Label
	Labels map[string]farm.Label // the other products of History, by key
	// Versions are the labels that the treatments of History were made under, by
	// record number: a later copy of the label never judges them. A treatment that
	// is not in it is read by Labels.
	Versions map[int64]farm.Label
	// ActiveKey, when given, turns an active's name into one that all its names
	// share, false for a name that it does not know.
	ActiveKey func(name string) (string, bool)
	Bed       farm.Bed
	Country   string       // of the farm, ISO 3166-1 alpha-2; "" is unknown
	Units     units.System // of the farm: how figures that no label states are told
	Part      string       // the part to be treated; "" is the whole bed
	Crops     []string     // crop words of what grows in the bed; empty is dahlias
	Pest      string       // catalogue key

	Date       civil.Date
	Start, End time.Time      // optional; when End is set, its date on the farm is the date
	Loc        *time.Location // the farm's zone; nil is UTC

	AreaM2      float64        // ground to be treated; 0 is the whole bed when Part is ""
	Amount      units.Quantity // proposed: product on that area, or a rate; zero is not decided
	SprayVolume units.Quantity // volume per area, for rates given per water volume

	History    []farm.Treatment // all treatments, done and planned; voided ones left out
	Season     Span             // for maxima per season
	CycleStart civil.Date       // planting of the present crop, for maxima per crop cycle

	FarmMinDays int     // the farm's own shortest interval; 0 is none
	Apart       []Apart // published figures for pairs of actives, used where no label has one
	Organic     bool    // the farm works under an organic standard
	Practice    bool    // the lower steps are recorded
	// PracticeMissing names the kinds of steps that are not recorded, where
	// Practice is false.
	PracticeMissing string
	PracticeWhen    string // since when, such as "this season"; "" is "this year"

	Generations []civil.Date // first days of the pest's generations, ascending; empty is unknown
	// Lasts, where Generations is empty, tells how long a generation of the pest
	// runs that begins on a day. Nobody knows when generations begin, so a limit
	// per generation holds in every one that could begin on an application.
	Lasts     func(from civil.Date) Lasting
	GroupDays int // window for the rotation warning then; 0 is DefaultGroupDays

	Looks []Look // what the actives need to know of the pest

	Bloom  Bloom // of the crop
	Ground Bloom // of weeds, cover crop and companion strips in or beside the bed

	Applying       bool             // the check right before applying: unknown weather refuses
	Weather        *farm.WeatherDay // of Date
	TempC, WindMS  *float64         // measured or forecast for the hour
	Wet            []time.Time      // starts of planned irrigation and forecast rain
	Sunrise        time.Time        // of Date
	Sunset         time.Time        // of Date
	WaterM         *float64         // metres from the bed to the nearest water
	AnimalsChecked bool             // Animals is complete
	Animals        []string         // that can reach the bed, such as "dog"
	Work           []Work

	ground, same []farm.Treatment // set by ready
	noHour       bool             // End is the end of the day, for the hour was not written down
}

// Decision is the answer to a Request.
type Decision struct {
	Allowed    bool
	Refusals   []Rule
	Warnings   []string
	Conditions []string // what must hold at the hour of the application

	// Earliest is the first day on or after the requested one that intervals,
	// maxima, expiry and re-entry of earlier treatments allow; zero when it is
	// unknown or there is none.
	Earliest civil.Date
	Last     civil.Date // the latest earlier application of this product here
	Due      civil.Date // Last plus the reapply-by time; a reminder, never a minimum

	Used      int // applications in the period, before this one
	Max       int // most the label allows in the period
	MaxKnown  bool
	Remaining int // Max - Used, at least 0; 0 when MaxKnown is false

	// AmountMin and AmountMax are the product for the area in g, mL or pieces,
	// minimum rounded up and maximum rounded down to 0.1 (0.001 below 10);
	// zero when unknown.
	// AmountMax also keeps within what is left of the period's maxima.
	AmountMin, AmountMax units.Quantity
	// UsedAmount and LeftAmount are product per area in the unit of the
	// label's maximum; zero Quantity when it states none.
	UsedAmount, LeftAmount units.Quantity

	REI      farm.State // of this product here
	REIHours float64
	Period   string // in words, such as "season 2026-04-01 to 2026-10-31"
}

// REIEnd returns when people may go back in after an application that ended
// at end: end plus the re-entry hours in elapsed time. It returns false when
// the interval is unknown. A label that states none opens at end.
func (d Decision) REIEnd(end time.Time) (time.Time, bool) {
	if d.REI != farm.IsStated && d.REI != farm.NoneStated {
		return time.Time{}, false
	}
	return end.Add(hours(d.REIHours)), true
}

// Has reports whether a rule with the code is among the refusals.
func (d Decision) Has(code string) bool {
	for _, r := range d.Refusals {
		if r.Code == code {
			return true
		}
	}
	return false
}

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

func (r Request) loc() *time.Location {
	if r.Loc == nil {
		return time.UTC
	}
	return r.Loc
}
