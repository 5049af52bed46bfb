// Package farm is the vocabulary of the program: what a farm, a bed, a visit,
// a label, a treatment and a release are, and what makes one valid.
//
// The types hold facts as people gave them. Nothing here reads files, a
// database or the clock, and nothing decides: decisions are in the packages
// that take these values as arguments.
package farm

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/units"
)

// Farm is the one farm of a store.
type Farm struct {
	Name          string         `json:"name"`
	Place         string         `json:"place"`          // in words, for reports
	Country       string         `json:"country"`        // ISO 3166-1 alpha-2, such as "US"; "" is unknown
	TimeZone      string         `json:"time_zone"`      // IANA name
	HardinessZone string         `json:"hardiness_zone"` // USDA zone such as "8a"; "" is unknown
	LastFrost     civil.MonthDay `json:"last_frost"`     // average last spring frost
	FirstFrost    civil.MonthDay `json:"first_frost"`    // average first autumn frost
	Units         units.System   `json:"units"`          // how reports show amounts
	Organic       bool           `json:"organic"`        // run under an organic standard
	ScoutDay      time.Weekday   `json:"-"`              // the weekday of the scouting round
	Pests         []string       `json:"pests"`          // catalogue keys of the pests that the farm watches
	Area          []string       `json:"area"`           // what is known of the area, see AreaConditions
	// WaitingCost is how dear it is to wait wrongly, in terms of acting
	// needlessly: 1 is as dear, 2 twice. 0 is "not said", taken as 1.
	WaitingCost float64 `json:"waiting_cost"`
	FarmMore
}

// FarmMore is what a farm may say besides.
type FarmMore struct {
	Latitude     *float64       `json:"latitude,omitempty"` // degrees north
	Longitude    *float64       `json:"longitude,omitempty"`
	WorkDays     []time.Weekday `json:"work_days,omitempty"` // none: not said
	HarvestDays  []time.Weekday `json:"harvest_days,omitempty"`
	WorkHours    string         `json:"work_hours,omitempty"`    // such as "07:00-12:00,18:00-21:00"
	RoundMinutes int            `json:"round_minutes,omitempty"` // for a scouting round; 0: not said
	ProductDays  int            `json:"product_days,omitempty"`  // the farm's own least days between applications; 0: none
	// ApplicatorAddress is the address of whoever applies products; records of
	// organic farms name it (7 U.S.C. 6519).
	ApplicatorAddress string        `json:"applicator_address,omitempty"`
	Normals           []MonthNormal `json:"normals,omitempty"` // twelve from January, or none
}

// MonthNormal is the usual minimum and maximum of a month.
type MonthNormal struct {
	MinC float64 `json:"min_c"`
	MaxC float64 `json:"max_c"`
}

// AreaConditions are what a farm may say of its area; some action levels
// depend on them.
var AreaConditions = []string{"potato_leafhopper", "no_potato_leafhopper", "japanese_beetle_established", "japanese_beetle_absent", "no_tospovirus"}

// Opposite returns the condition that cannot hold where c does, "" for none.
func Opposite(c string) string {
	switch c {
	case "potato_leafhopper":
		return "no_potato_leafhopper"
	case "no_potato_leafhopper":
		return "potato_leafhopper"
	case "japanese_beetle_established":
		return "japanese_beetle_absent"
	case "japanese_beetle_absent":
		return "japanese_beetle_established"
	case "tospovirus_confirmed":
		return "no_tospovirus"
	case "no_tospovirus":
		return "tospovirus_confirmed"
	}
	return ""
}

// ActAt returns the chance of being over a level from which on acting is
// cheaper than waiting: p x cost of waiting wrongly >= (1-p) x cost of acting
// needlessly. HoldBelow, two fifths of it, is the chance below which the
// matter may rest until the next round; between the two one looks again.
// Common practice.
func (f Farm) ActAt() (actAt, holdBelow float64) {
	c := f.WaitingCost
	if c <= 0 {
		c = 1
	}
	actAt = 1 / (1 + c)
	return actAt, 0.4 * actAt
}

// Location returns the farm's time zone.
func (f Farm) Location() (*time.Location, error) { return time.LoadLocation(f.TimeZone) }

// Irrigation tells how a bed is watered.
type Irrigation string

// The kinds of irrigation.
const (
	Drip     Irrigation = "drip"
	Overhead Irrigation = "overhead"
	Hand     Irrigation = "hand"
	Rainfed  Irrigation = "none"
)

// Irrigations lists the kinds in the order shown to people.
var Irrigations = []Irrigation{Drip, Overhead, Hand, Rainfed}

// Site tells whether a bed lies outdoors or under cover; a label may list
// one and not the other.
type Site string

// The sites.
const (
	Outdoor Site = "outdoor"
	House   Site = "house"
)

// Bed is a place with a code. X and Y are the distances in metres from the
// south-west corner of the field to the south-west corner of the bed, along
// the field's own east and north; they are nil when not given.
type Bed struct {
	ID         int64      `json:"-"`
	Code       string     `json:"code"`
	Block      string     `json:"block"`
	X          *float64   `json:"x_m"`
	Y          *float64   `json:"y_m"`
	LengthM    float64    `json:"length_m"`
	WidthM     float64    `json:"width_m"`
	Plants     int        `json:"plants"`
	Cultivar   string     `json:"cultivar"`
	Irrigation Irrigation `json:"irrigation"`
	Site       Site       `json:"site"`
	BedMore
}

// BedMore is what a bed may say besides.
type BedMore struct {
	WaterM         *float64 `json:"water_m,omitempty"`          // metres to the nearest water
	Animals        string   `json:"animals,omitempty"`          // that come to it, in words
	LeavesPerPlant int      `json:"leaves_per_plant,omitempty"` // 0: not said
	Crop           string   `json:"crop,omitempty"`             // what grows in it; "" is dahlias
	Rows           int      `json:"rows,omitempty"`             // of plants, lengthwise; 0: not said
}

// CropWord is what grows in the bed, dahlias where nothing else was said.
func (b Bed) CropWord() string {
	if b.Crop == "" {
		return "dahlias"
	}
	return b.Crop
}

// AreaM2 returns the bed's ground area in square metres.
func (b Bed) AreaM2() float64 { return b.LengthM * b.WidthM }

// Stage is a growth stage of a bed in one season, in the grower's words.
type Stage string

// The stages in the order in which they come. PrePlant holds before Planted.
const (
	PrePlant Stage = "preplant"
	Planted  Stage = "planted"
	Emerged  Stage = "emerged"
	Pinched  Stage = "pinched"
	Budding  Stage = "budding"
	Bloom    Stage = "bloom"
	Dug      Stage = "dug"
)

// Stages lists the stages in order.
var Stages = []Stage{PrePlant, Planted, Emerged, Pinched, Budding, Bloom, Dug}

// bbch gives the principal growth stage (first digit of the two-digit code)
// of the general BBCH scale: 0 sprouting, 1 leaf development, 2 side shoots,
// 5 inflorescence emergence, 6 flowering, 9 senescence and dormancy.
// Source: BBCH Monograph, growth stages of mono- and dicotyledonous plants,
// general scale. Pinching (cutting the leader to force side shoots) as stage
// 2 and digging as stage 9 are ours: common practice.
var bbch = map[Stage]int{Planted: 0, Emerged: 1, Pinched: 2, Budding: 5, Bloom: 6, Dug: 9}

// BBCH returns the principal growth stage of the BBCH scale, and false for
// PrePlant, which has none.
func (s Stage) BBCH() (int, bool) { n, ok := bbch[s]; return n, ok }

// Order returns the place of s among Stages, or -1 when it is not a stage.
func (s Stage) Order() int { return slices.Index(Stages, s) }

// Between reports whether s lies from first to last, both included. An empty
// first or last leaves that side open.
func (s Stage) Between(first, last Stage) bool {
	if first != "" && s.Order() < first.Order() {
		return false
	}
	return last == "" || s.Order() <= last.Order()
}

// StageEvent is the day on which a bed reached a stage.
type StageEvent struct {
	Bed   string     `json:"bed"`
	Date  civil.Date `json:"date"`
	Stage Stage      `json:"stage"`
	Note  string     `json:"note,omitempty"`
}

// PlantedOn returns the day on which the crop of a bed was planted, as known
// on a day; zero where that is not known or the crop has been dug since.
func PlantedOn(events []StageEvent, on civil.Date) civil.Date {
	var planted, dug civil.Date
	for _, e := range events {
		switch {
		case e.Date.After(on):
		case e.Stage == Planted && e.Date.After(planted):
			planted = e.Date
		case e.Stage == Dug && e.Date.After(dug):
			dug = e.Date
		}
	}
	if !planted.After(dug) {
		return civil.Date{}
	}
	return planted
}

// Stratum tells how the units of a visit were chosen. The strata are never
// averaged together.
type Stratum string

// The strata.
const (
	Random  Stratum = "random"   // over the whole bed, as the protocol says
	HotSpot Stratum = "hot spot" // chosen because it looked bad
	Edge    Stratum = "edge"     // the outer rows only
)

// Strata lists the strata in the order shown to people.
var Strata = []Stratum{Random, HotSpot, Edge}

// UnitCount is the count on one sample unit. Seen false means that the unit
// was not looked at (a lost trap): then Count means nothing. A zero that was
// looked at is a count.
type UnitCount struct {
	Count int  `json:"count"`
	Seen  bool `json:"seen"`
}

// Presence is a presence/absence sample: Infested units of Looked.
type Presence struct {
	Infested int `json:"infested"`
	Looked   int `json:"looked"`
}

// EnemyCount is the natural enemies of one kind counted on the units of a
// visit, all units together.
type EnemyCount struct {
	Enemy string `json:"enemy"` // catalogue key, such as "predatory_mite"
	Count int    `json:"count"`
}

// Wetness is a condition that decides whether a count is valid.
type Wetness string

// The words for soil and foliage. Unknown is "not noted".
const (
	Unknown Wetness = ""
	Dry     Wetness = "dry"
	Moist   Wetness = "moist"
	Wet     Wetness = "wet"
)

// Conditions are what the scout noted about the visit; zero values are "not noted".
type Conditions struct {
	Soil      Wetness  `json:"soil,omitempty"`
	Foliage   Wetness  `json:"foliage,omitempty"`
	AirC      *float64 `json:"air_c,omitempty"`  // air temperature at reading
	SoilC     *float64 `json:"soil_c,omitempty"` // soil temperature at 10 cm
	Nights    int      `json:"nights,omitempty"` // nights a trap stood; 0 is "as the protocol says"
	Disturbed bool     `json:"disturbed,omitempty"`
	// Disturbed: cultivated, baited or rained on in a way that the protocol
	// rules out.
}

// Same reports whether both say the same.
func (c Conditions) Same(d Conditions) bool {
	same := func(x, y *float64) bool { return x == y || x != nil && y != nil && *x == *y }
	return c.Soil == d.Soil && c.Foliage == d.Foliage && same(c.AirC, d.AirC) && same(c.SoilC, d.SoilC) && c.Nights == d.Nights && c.Disturbed == d.Disturbed
}

// Damage is the crop damage seen on the same visit: Hurt of Looked plant parts.
type Damage struct {
	Hurt   int `json:"hurt"`
	Looked int `json:"looked"`
}

// Visit is one bed, one date, one pest and its sample units. Counts and
// Presence may both be there.
type Visit struct {
	ID         int64        `json:"id"`
	Bed        string       `json:"bed"`
	Date       civil.Date   `json:"date"`
	Pest       string       `json:"pest"` // catalogue key
	Unit       string       `json:"unit"` // catalogue key of the sample unit
	Stratum    Stratum      `json:"stratum"`
	Counts     []UnitCount  `json:"counts,omitempty"`
	Presence   *Presence    `json:"presence,omitempty"`
	Enemies    []EnemyCount `json:"enemies,omitempty"`
	Damage     *Damage      `json:"damage,omitempty"`
	Conditions Conditions   `json:"conditions"`
	Observer   string       `json:"observer,omitempty"`
	Note       string       `json:"note,omitempty"`
}

// Limits on what one sample unit can hold; above them a number is taken for a
// slip of the thumb. Common practice.
const (
	MaxCount = 100_000 // animals on one sample unit
	MaxUnits = 10_000  // units in one visit
)

// Seen returns the counts of the units that were looked at, in order.
func (v Visit) Seen() []int {
	out := make([]int, 0, len(v.Counts))
	for _, u := range v.Counts {
		if u.Seen {
			out = append(out, u.Count)
		}
	}
	return out
}

// Each goes over the counts of the units looked at, as Seen has them.
func (v Visit) Each(yield func(int) bool) {
	for _, u := range v.Counts {
		if u.Seen && !yield(u.Count) {
			return
		}
	}
}

// UnitsLooked returns the number of units looked at.
func (v Visit) UnitsLooked() int {
	n := 0
	for _, c := range v.Counts {
		if c.Seen {
			n++
		}
	}
	if v.Presence != nil {
		n += v.Presence.Looked
	}
	return n
}

// EnemyTotal returns the natural enemies of a kind over all units, and false
// when that kind was not counted. An empty kind sums all kinds counted.
func (v Visit) EnemyTotal(kind string) (int, bool) {
	total, found := 0, false
	for _, e := range v.Enemies {
		if kind == "" || e.Enemy == kind {
			total, found = total+e.Count, true
		}
	}
	return total, found
}

// Treatment is something applied to a bed under a label. End is an instant:
// re-entry is counted from it in elapsed hours.
type Treatment struct {
	ID       int64      `json:"id"`
	Bed      string     `json:"bed"`
	Part     string     `json:"part,omitempty"` // "" is the whole bed
	Label    string     `json:"label"`          // label key
	Pest     string     `json:"pest"`
	Date     civil.Date `json:"date"` // the farm's date of End
	Start    time.Time  `json:"start"`
	End      time.Time  `json:"end"`
	EndKnown bool       `json:"end_known"` // false: only the date was given, so End is the end of that day
	// Amount of product used on this bed, in the label's kind of unit.
	Amount   units.Quantity `json:"amount"`
	AreaM2   float64        `json:"area_m2"`
	Who      string         `json:"who,omitempty"`
	Reason   string         `json:"reason,omitempty"`
	Note     string         `json:"note,omitempty"`
	Breaches []string       `json:"breaches,omitempty"` // label rules that it broke, in words
	TreatmentMore
}

// TreatmentMore is what an application record holds besides. A nil or empty
// value is not known.
type TreatmentMore struct {
	Method string `json:"method,omitempty"` // how it was put on, such as "scattered by hand"
	// Spray is the water and product that went on the bed, in all or per area.
	Spray   units.Quantity `json:"spray,omitzero"`
	WindMS  *float64       `json:"wind_ms,omitempty"`
	AirC    *float64       `json:"air_c,omitempty"`
	Sky     string         `json:"sky,omitempty"`     // other conditions, in words
	Visit   int64          `json:"visit,omitempty"`   // record number of the count that led to it
	Zone    string         `json:"zone,omitempty"`    // IANA name of the zone in which the times were given
	Lot     string         `json:"lot,omitempty"`     // the container's lot
	Licence string         `json:"licence,omitempty"` // the applicator's licence or certificate
}

// Release is natural enemies let out in a bed.
type Release struct {
	ID     int64      `json:"id"`
	Bed    string     `json:"bed"`
	Agent  string     `json:"agent"` // catalogue key
	Pest   string     `json:"pest"`
	Date   civil.Date `json:"date"`
	Amount float64    `json:"amount"` // animals, or sachets, as the agent is sold
	Note   string     `json:"note,omitempty"`
	ReleaseMore
}

// ReleaseMore is what a release's record holds besides.
type ReleaseMore struct {
	Who   string    `json:"who,omitempty"`
	Part  string    `json:"part,omitempty"` // "" is the whole bed
	At    time.Time `json:"at,omitzero"`    // zero: only the day is known
	Visit int64     `json:"visit,omitempty"`
}

// Done is a step of the week's list, other than a treatment or a release,
// that was carried out.
type Done struct {
	ID     int64      `json:"id"`
	Bed    string     `json:"bed"`
	Pest   string     `json:"pest"`
	Action string     `json:"action"` // catalogue key
	Date   civil.Date `json:"date"`
	Note   string     `json:"note,omitempty"`
	DoneMore
}

// DoneMore is what a step's record holds besides.
type DoneMore struct {
	Who     string  `json:"who,omitempty"`
	Outcome Outcome `json:"outcome,omitempty"`
	Seen    *Share  `json:"seen,omitempty"` // of a look whether natural enemies have settled; nil is not counted
}

// Share is how many of those looked at showed something.
type Share struct {
	With   int `json:"with"`
	Looked int `json:"looked"`
}

// Settled is in front of an agent's key in the action of a Done record that
// answers whether the agent has settled in the bed; its outcome is Found or
// NotFound.
const Settled = "settled:"

// Outcome is whether a step was enough, as the grower saw it.
type Outcome string

// The outcomes; "" is not said.
const (
	Enough    Outcome = "enough"
	NotEnough Outcome = "not enough"
	Found     Outcome = "found"
	NotFound  Outcome = "not found"
)

// Flowers is the word that stands for the pest of a Done record which notes
// whether anything is in flower in or beside a bed; its action is one of the
// two words below. A label with a bee statement needs to know.
const (
	Flowers     = "flowers"
	FlowersNone = "none"
	FlowersOpen = "open"
)

// The actions of a Done record which notes that someone looked for what a
// level asks to be confirmed before acting, and found it or did not.
const (
	Confirmed    = "confirmed"
	NotConfirmed = "not_confirmed"
)

// Answer is in front of the word in the action of a Done record which answers
// what a product needs to know of the pest before it goes on.
const Answer = "answer:"

// AnswerOn is the latest of the answers to a pest in a bed that was noted on a
// day or within so many days before it, and its day; "" for none. Of one day
// the one that was entered last counts.
func AnswerOn(done []Done, bed, pest string, answers []string, on civil.Date, days int) (string, civil.Date) {
	word, at := "", civil.Date{}
	for _, d := range done {
		w, ok := strings.CutPrefix(d.Action, Answer)
		if ok && d.Bed == bed && d.Pest == pest && slices.Contains(answers, w) && !d.Date.After(on) && on.Sub(d.Date) <= days && !d.Date.Before(at) {
			word, at = w, d.Date
		}
	}
	return word, at
}

// IsStep reports whether something was done against the pest, rather than
// noted.
func (d Done) IsStep() bool {
	return d.Pest != Flowers && !strings.HasPrefix(d.Action, Settled) && !strings.HasPrefix(d.Action, Answer) && d.Action != Confirmed && d.Action != NotConfirmed
}

// Confirmation is a note that the pest was confirmed, or looked for and not
// found; zero is none.
type Confirmation struct {
	On civil.Date
	Is bool
}

// FlowersOn returns what was last noted of open flowers in or beside a bed on
// a day or the day before: FlowersNone, FlowersOpen or "" for nothing noted.
func FlowersOn(done []Done, bed string, on civil.Date) string {
	note, at := "", civil.Date{}
	for _, d := range done {
		if d.Bed == bed && d.Pest == Flowers && !d.Date.After(on) && on.Sub(d.Date) <= 1 && !d.Date.Before(at) {
			note, at = d.Action, d.Date
		}
	}
	return note
}

// WeatherDay is one day's weather; nil is "not measured", never zero.
type WeatherDay struct {
	Date     civil.Date `json:"date"`
	MinC     *float64   `json:"min_c"`
	MaxC     *float64   `json:"max_c"`
	RainMM   *float64   `json:"rain_mm"`
	SoilC    *float64   `json:"soil_c"`
	Humidity *float64   `json:"humidity_pct"`
	Forecast bool       `json:"forecast"`
	Source   string     `json:"source,omitempty"`
}

// Override is the farm's own action level for a pest, with its reason.
type Override struct {
	Pest    string     `json:"pest"`
	Measure string     `json:"measure"`
	Level   string     `json:"level"` // "watch" or "act"
	Value   float64    `json:"value"`
	Reason  string     `json:"reason"`
	Since   civil.Date `json:"since"`
}

// PlannedCover is a cover crop planned for a bed.
type PlannedCover struct {
	Bed   string     `json:"bed"`
	Cover string     `json:"cover"` // catalogue key
	Sow   civil.Date `json:"sow"`
	Kill  civil.Date `json:"kill"`
	Note  string     `json:"note,omitempty"`
}

// CodeOK reports whether s can name a bed: 1 to 12 letters, digits, dots or
// hyphens, beginning with a letter or digit, and not a whole number, which a
// count could be taken for.
func CodeOK(s string) bool {
	if s == "" || len(s) > 12 || !strings.ContainsFunc(s, isLetter) {
		return false
	}
	for i, r := range s {
		if !isLetter(r) && (r < '0' || r > '9') && (i == 0 || r != '.' && r != '-') {
			return false
		}
	}
	return true
}

func isLetter(r rune) bool { return r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' }

// ValidateVisit returns what is wrong with the numbers of a visit, in words
// that follow "the visit", or nil. It knows nothing of which beds and pests
// exist.
func ValidateVisit(v Visit) error {
	if len(v.Counts) == 0 && v.Presence == nil {
		return fmt.Errorf("has no counts")
	}
	if len(v.Counts) > MaxUnits {
		return fmt.Errorf("has %d units; more than %d in one visit is taken for a slip", len(v.Counts), MaxUnits)
	}
	for i, c := range v.Counts {
		switch {
		case c.Seen && c.Count < 0:
			return fmt.Errorf("has the count %d on unit %d; a count is a whole number of 0 or more", c.Count, i+1)
		case c.Seen && c.Count > MaxCount:
			return fmt.Errorf("has the count %d on unit %d; more than %d on one unit is taken for a slip", c.Count, i+1, MaxCount)
		}
	}
	if len(v.Counts) > 0 && v.UnitsLooked() == 0 {
		return fmt.Errorf("has no unit that was looked at")
	}
	if p := v.Presence; p != nil {
		switch {
		case p.Looked <= 0 || p.Looked > MaxUnits:
			return fmt.Errorf("looked at %d units; give 1 to %d", p.Looked, MaxUnits)
		case p.Infested < 0 || p.Infested > p.Looked:
			return fmt.Errorf("has %d infested of %d looked at; the first number cannot be above the second", p.Infested, p.Looked)
		}
	}
	if d := v.Damage; d != nil && (d.Looked <= 0 || d.Hurt < 0 || d.Hurt > d.Looked) {
		return fmt.Errorf("has damage %d of %d; the first number cannot be above the second", d.Hurt, d.Looked)
	}
	for _, e := range v.Enemies {
		if e.Count < 0 || e.Count > MaxCount {
			return fmt.Errorf("has %d of %s; give 0 to %d", e.Count, e.Enemy, MaxCount)
		}
	}
	if v.Conditions.Nights < 0 || v.Conditions.Nights > 60 {
		return fmt.Errorf("has %d trap nights; give 1 to 60", v.Conditions.Nights)
	}
	return nil
}

// CalendarEntry is what a calendar file was given for one identifier: it tells
// the next file what has changed.
type CalendarEntry struct {
	UID       string
	Sequence  int // rises with each change
	Revised   time.Time
	Cancelled bool
	Entry     json.RawMessage // the entry as the program that wrote it knows it
}
