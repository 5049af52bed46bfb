package farm

import (
	"leafturn/internal/civil"
	"leafturn/internal/pattern"
	"leafturn/internal/units"

	"slices"
	"strings"
)

// State tells the three answers that a label can give to a question.
type State string

// The three states of a label field. They are never mixed up: Unknown means
// that nobody has looked, NoneStated that the label was read and says nothing.
const (
	NotRead    State = "unknown"
	NoneStated State = "none stated"
	IsStated   State = "value"
)

// Stated is one field of a label copy: a value, "none stated", or
// unknown. The zero Stated is unknown.
type Stated[T any] struct {
	State State `json:"state"`
	Value T     `json:"value,omitempty"`
}

// Known reports whether the field was read: it holds a value or "none stated".
func (s Stated[T]) Known() bool { return s.State == IsStated || s.State == NoneStated }

// Has reports whether the field holds a value.
func (s Stated[T]) Has() bool { return s.State == IsStated }

// Get returns the value and whether there is one.
func (s Stated[T]) Get() (T, bool) { return s.Value, s.State == IsStated }

// Value makes a stated field.
func Value[T any](v T) Stated[T] { return Stated[T]{IsStated, v} }

// None makes a field that was read and says nothing.
func None[T any]() Stated[T] { return Stated[T]{State: NoneStated} }

// Active is an active ingredient of a product.
type Active struct {
	Name    string         `json:"name"`    // as in the side-effect table, such as "ferric phosphate"
	Percent float64        `json:"percent"` // by weight
	Group   Stated[string] `json:"group"`   // mode-of-action group (IRAC or FRAC)
	// GPerL is grams in a litre of the product; a dry product states none.
	GPerL Stated[float64] `json:"g_per_l,omitzero"`
	// NoPercent is true when the label was read and gives no percentage.
	NoPercent bool `json:"no_percent,omitempty"`
	// Max is the most of this active that the label allows per area and
	// period, all products that hold it counted together.
	Max Stated[units.Quantity] `json:"max,omitzero"`
}

// LabelSite is a place and crop on which a label allows its product.
type LabelSite struct {
	Where Site   `json:"where"` // outdoor or house
	Crop  string `json:"crop"`  // one of SiteCrops
	// REIHours is the re-entry interval printed beside this site or crop; when
	// it holds no value the label's own re-entry interval counts.
	REIHours Stated[float64] `json:"rei_hours,omitzero"`
	// Rates and the shortest interval printed beside this site or crop, in place
	// of the label's own; see Label for their meaning.
	RateMin          Stated[units.Quantity] `json:"rate_min,omitzero"`
	RateMax          Stated[units.Quantity] `json:"rate_max,omitzero"`
	MinIntervalDays  Stated[int]            `json:"min_interval_days,omitzero"`
	MinIntervalHours float64                `json:"min_interval_hours,omitempty"`
}

// SiteCrops are the crop words of a LabelSite that take in a dahlia bed.
// Anything else on a label does not.
var SiteCrops = []string{"dahlias", "cut flowers", "ornamentals", "any crop"}

// Label is one version of the grower's copy of a product label. The
// tool works only from what stands here; a field that is unknown refuses the
// schedules that need it.
type Label struct {
	Key     string     `json:"key"`     // short name the grower types, such as "ironbait"
	Version int        `json:"version"` // 1, 2, ... each edit is a new version
	Entered civil.Date `json:"entered"`
	Product string     `json:"product"`

	Registration Stated[string] `json:"registration"`
	UseClass     Stated[string] `json:"use_class"`   // general, restricted, professional
	SignalWord   Stated[string] `json:"signal_word"` // danger, warning, caution
	Actives      []Active       `json:"actives"`
	Formulation  Stated[string] `json:"formulation"`
	Organic      Stated[string] `json:"organic"` // listing body, or the certifier's answer
	Sites        []LabelSite    `json:"sites"`
	Pests        []string       `json:"pests"` // catalogue keys
	// OtherPests are pests on the label that the catalogue does not know, as
	// printed: they are kept, and nothing is scheduled against them.
	OtherPests []string           `json:"other_pests,omitempty"`
	Method     Stated[string]     `json:"method"`
	Expiry     Stated[civil.Date] `json:"expiry"`

	RateMin Stated[units.Quantity] `json:"rate_min"` // product per area
	RateMax Stated[units.Quantity] `json:"rate_max"`

	MinIntervalDays Stated[int]    `json:"min_interval_days"` // shortest time between applications
	ReapplyByDays   Stated[int]    `json:"reapply_by_days"`   // useful until; never a minimum
	ReapplyWhen     Stated[string] `json:"reapply_when"`      // such as "eaten or after heavy rain"

	MaxApplications Stated[int]            `json:"max_applications"`  // per MaxPer
	MaxInWindow     Stated[Window]         `json:"max_in_window"`     // at most so many in any so many days
	MaxAmount       Stated[units.Quantity] `json:"max_amount"`        // product per area, per MaxPer
	MaxPer          string                 `json:"max_per,omitempty"` // one of MaxPers or PerNone; "" is unknown

	REIHours    Stated[float64] `json:"rei_hours"` // re-entry interval
	PHIDays     Stated[int]     `json:"phi_days"`  // pre-harvest interval
	RainfastH   Stated[float64] `json:"rainfast_hours"`
	MaxTempC    Stated[float64] `json:"max_temp_c"`
	MinTempC    Stated[float64] `json:"min_temp_c"`
	MaxWindMS   Stated[float64] `json:"max_wind_ms"`
	Bees        Stated[string]  `json:"bees"` // one of BeeRules
	WaterBuffer Stated[float64] `json:"water_buffer_m"`
	Animals     Stated[string]  `json:"animals"` // what the label says of pets, stock and wildlife
	KeepApart   []Apart         `json:"keep_apart,omitempty"`
	// NoKeepApart is true when the label was read and names no material to keep
	// apart; an empty KeepApart without it is unknown.
	NoKeepApart bool           `json:"no_keep_apart,omitempty"`
	PPE         Stated[string] `json:"ppe"`
	Note        string         `json:"note,omitempty"`
	LabelMore
}

// Window is a rolling limit: at most Count applications in any Days
// consecutive days.
type Window struct {
	Count int `json:"count"`
	Days  int `json:"days"`
}

// Apart is a material that a label keeps away from its product: Days between
// the two, whichever comes first.
type Apart struct {
	Active string `json:"active"`
	Days   int    `json:"days"`
}

// The periods over which a label counts its maxima. A label that says "per
// year" without more is tested against the calendar year and against every
// 12 months.
const (
	PerSeason    = "season"
	PerYear      = "year"
	PerCropCycle = "crop cycle"
)

// MaxPers lists the periods a copy may give.
var MaxPers = []string{PerSeason, PerYear, PerCalendarYear, PerTwelveMonths, PerCropCycle, PerGeneration}

// Formulations lists what a product may be. The first three are put out dry.
var Formulations = []string{"dry bait", "granule", "pellet", "dust", "wettable powder", "liquid", "ready to use"}

// Dry reports whether the product is put out dry (bait, granules, pellets), so
// that nothing is sprayed. An unread formulation is not dry.
func (l Label) Dry() bool {
	v, ok := l.Formulation.Get()
	return ok && slices.Contains(Formulations[:3], strings.ToLower(strings.TrimSpace(v)))
}

var (
	approval    = pattern.New(`(?i)^(listed by \S.*|certifier\b.*\byes\b.*\b\d{4}-\d{2}-\d{2}\b.*)$`)
	disapproval = pattern.New(`(?i)\b(no|not|pending|expired|withdrawn)\b`)
)

// ApprovesOrganic reports whether the text of a label's organic field is an
// approval: the body that lists the product, or the certifier's yes with its
// date.
func ApprovesOrganic(text string) bool {
	text = strings.Join(strings.Fields(text), " ")
	return approval().MatchString(text) && !disapproval().MatchString(text)
}

// The bee statements that a label field can hold.
const (
	BeesNotForaging = "not while bees forage" // no application from sunrise to sunset in bloom
	BeesNoBloom     = "not in bloom"          // none until petal fall
	BeesAfterSunset = "only after sunset"     // evening and night only
)

// BeeRules lists the bee statements a copy may give.
var BeeRules = []string{BeesNotForaging, BeesNoBloom, BeesAfterSunset}
