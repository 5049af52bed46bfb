package catalog

import (
	"strings"

	"leafturn/internal/farm"
)

// Provenance says what a row rests on. It stands in every row.
type Provenance struct {
	Basis  string `json:"basis"` // published, common practice or from memory
	Source string `json:"source"`
	URL    string `json:"url"`
	Note   string `json:"note"`
}

// Span is a range of stages, both ends included; empty ends are open.
type Span struct{ From, To farm.Stage }

// Has reports whether a stage lies in the span.
func (s Span) Has(stage farm.Stage) bool { return stage.Between(s.From, s.To) }

// Pest is an animal, a disease or a vertebrate that the catalogue knows.
type Pest struct {
	Key     string
	Name    string // plural words, such as "slugs"
	Latin   string
	EPPO    string // code, "" where unsure; from memory but for the note
	Kind    string // animal, disease or vertebrate
	Aliases []string
	Soil    bool   // lives in the ground and can be dealt with only before planting
	Vector  string // key of the disease that it spreads, or ""

	Scout         Span   // first scouting window
	Scout2        *Span  // second window, nil when there is none
	PrePlantWeeks int    // before planting, scouted from so many weeks on; 0: not then
	EveryDays     int    // scouting interval
	Critical      *Span  // stages with a shorter interval, nil when none
	CriticalDays  int    // that interval
	StaleDays     int    // an older count is stale
	Damage        string // what it does, in a sentence of ours
	LookAlikes    string
	FavouredBy    string
	EnemyRule     string // when natural enemies change the step, in words
	Growth        string // how fast it multiplies, in words
	TextSource    string // the source of the sentences, where one was read
	TextURL       string
	Provenance
}

// Scouted reports whether the pest is looked for at a stage.
func (p Pest) Scouted(s farm.Stage) bool {
	return p.Scout.Has(s) || p.Scout2 != nil && p.Scout2.Has(s)
}

// Interval returns the days between visits at a stage.
func (p Pest) Interval(s farm.Stage) int {
	if p.Critical != nil && p.Critical.Has(s) {
		return p.CriticalDays
	}
	return p.EveryDays
}

// Enemy is a natural enemy that a scout counts on a visit.
type Enemy struct {
	Key, Name string
	Aliases   []string
	PreysOn   []string // pest keys
	// HoldKind says what HoldValue means, "" when no rule is known:
	// prey_per_enemy: hold at so many HoldPest per enemy, or fewer;
	// share_of_infested: hold when so large a share of the infested units (or
	// collected larvae) has enemies, or a larger one;
	// enemies_per_unit: the rule holds from so many enemies per unit on.
	HoldKind   string
	HoldPest   string
	HoldValue  float64
	HoldEffect string // hold, or hand_first: prefer hand removal, the verdict stays
	Text       string
	Provenance
}

// Measure is what a number is expressed in. Numbers of different measures are
// never compared.
type Measure struct {
	Key     string
	Words   string // such as "slugs per trap and night"
	Percent bool   // a percentage of units rather than a mean per unit
	One     string // the words behind a 1, such as "slug per trap and night"; "" of a percentage
	Provenance
}

// Protocol is a way to count a pest: the sample unit, how many, and when a
// count is valid.
type Protocol struct {
	Key           string
	Pest          string // "" for a protocol of a natural enemy or of the whole round
	Enemy         string // key of the natural enemy it counts, or ""
	Unit          string // short word that a grower types
	UnitAliases   []string
	UnitLabel     string // singular words
	Measure       string // key of the measure of its result
	Words         string // that measure in words
	DamageMeasure string // measure of a damage count taken on the same visit, or ""
	Presence      bool   // units are scored infested or not; the measure is a percentage
	Tally         int    // a unit is infested from this many animals on
	UnitsTotal    int    // units asked for; 0 with WholeBed
	MinUnits      int    // fewer are not enough data (common practice: about half)
	WholeBed      bool   // every plant or clump is looked at
	PerNights     int    // the measure is per so many nights (1 night, 7 a week); 0: it is not per time
	Nights        int    // nights the unit stands by the protocol; 0: none
	NeedsSoil     farm.Wetness
	NeedsFoliage  farm.Wetness
	TempOf        string // air or soil, "" when no temperature limits it
	MinC, MaxC    *float64
	// MustNote are the conditions (soil, foliage, temp) without whose note a low
	// count says nothing: pests.md rule "invalid is not zero". The others are
	// cautions. Common practice.
	MustNote   []string
	Default    bool   // the pest's usual protocol
	How        string // in one sentence of ours
	Method     string // as the source gives it
	Conditions string // as the source gives them
	BestTime   string
	Provenance
}

// Scale returns the factor that turns a mean per unit into the measure when
// the units stood out for some nights; nights of 0 or less means as long as
// the protocol says. It is 1 where the measure is not per time.
func (p Protocol) Scale(nights int) float64 {
	if p.PerNights == 0 {
		return 1
	}
	if nights <= 0 {
		nights = p.Nights
	}
	return float64(p.PerNights) / float64(nights)
}

// Threshold is an action level, or another number that a count is held
// against, as its source gives it. Operator "none" records that no level is
// known; then there is no value.
type Threshold struct {
	Pest           string
	Measure        string
	Factor         float64 // the value times Factor is in Measure
	Any            bool    // any find at all fulfils it ("1 plant confirmed"): above 0 % in Measure
	Span                   // stages of the dahlia rows; open for other crops
	Season         Season  // dates in the year; nil is all year
	SeasonKind     string  // level: in force in Season only; signs: what is looked for shows well in Season, "" without one
	NeedsDamagePct float64 // act only with at least so many % of parts damaged too; 0: no such rule
	OrDamagePct    float64 // act as well from so many % of parts damaged on; 0: no such rule
	// Kind: act, watch, hold_ratio (prey per enemy), release_trigger, report,
	// disease (enemies never override it) or reference (not for decisions).
	Kind string
	// Requires: "", tospovirus_confirmed, no_tospovirus, potato_leafhopper,
	// no_potato_leafhopper, japanese_beetle_established, japanese_beetle_absent.
	Requires string
	// Confirm is what must be seen before acting, "" for nothing; ConfirmHow is
	// how to look. A find in one of the measures ConfirmBy in the same round
	// shows it. ConfirmIf: always, or elsewhere (only where the farm is not
	// known to be as Requires says).
	Confirm, ConfirmHow, ConfirmIf string
	ConfirmBy                      []string

	EPPO       string
	Crop       string
	StageWords string
	Unit       string // the source's own unit
	Method     string
	Level      string // act or watch, as the source table has it
	Value      *float64
	Operator   string // >=, >, <= or none
	Conditions string
	Provenance
}

// Transferred reports whether the number was published for another crop.
func (t Threshold) Transferred() bool {
	return !strings.Contains(t.Crop, "dahlia") && t.Crop != "any"
}

// At returns the value and the operator in terms of Measure, and false when
// no level is known.
func (t Threshold) At() (value float64, operator string, ok bool) {
	switch {
	case t.Value == nil || t.Operator == "none":
		return 0, "none", false
	case t.Any:
		return 0, ">", true
	}
	return *t.Value * t.Factor, t.Operator, true
}

// Action is a step against a pest.
type Action struct {
	Key, Pest  string
	Rung       int    // 1 prevention, 2 cultural or mechanical, 3 biological, 4 product by label
	Text       string // an order, in one sentence
	Amount     string
	When       string
	WithinDays *int // days from the count to the step, nil when there is no such limit
	Span
	Level  string // prevent, watch or act: from which verdict on it is offered
	Why    string
	Safety string // key of the caution, or ""
	Agent  string // key of the agent that the step lets out, or ""
	Provenance
}

// Safety is a caution that goes with a step.
type Safety struct {
	Key    string
	Lines  []string // one or two short lines
	Detail string
	// When says what the caution goes with: a step that names it, every
	// product, a product with a bee statement, one with a distance to water, or
	// one that holds one of the Actives.
	When    string
	Actives []string // canonical names
	Provenance
}

// Agent is a natural enemy that can be let out, or one that is only kept.
type Agent struct {
	Key, Name, Latin string
	Group            string // group in which side effects are stated
	Targets          []string
	FirstChoice      string   // when it is the first choice, in words
	Permit           string   // what is known of permits; "" is nothing, not "none needed"
	NotIn            []string // countries (ISO 3166-1 alpha-2) where it is known not to be allowed outdoors; others are not known
	CheckDays        []int    // days after release to look for success
	CheckHow         string
	Success          string
	IfNot            string
	SuccessPct       *float64 // the share of what is looked at that shows success; nil: success is not a share
	Repeats          int      // how often a release that did not take may be repeated
	Provenance
}

// DayLength is a length of day below which an agent, or the pest it lives on,
// goes to rest.
type DayLength struct {
	Agent, Pest string // one of them
	Hours       float64
	NightsBelow *float64 // °C: only while nights are colder; nil is always
	Text        string
	Provenance
}

// agentGroups are the groups in which side effects are stated; agents
// themselves are in the first six.
var agentGroups = []string{"predatory_mites", "other_predators", "parasitoids", "nematodes", "ground_beetles", "microbials", "pollinators", "earthworms", "all"}

// ReleaseRate is one published or working rate, failures included.
type ReleaseRate struct {
	Agent    string
	Pests    []string // none when the target is no pest kept here
	RateKind string   // ratio, per_m2, per_m2_week, per_m2_total, sachet_per_m2, sachet_per_2m2, per_acre, per_pot, per_spot, label, none
	Offer    bool     // may be scheduled outdoors
	OfferWhy string   // why not
	Target   string   // as the source gives it
	Use      string   // curative or preventive

	Rate, RateMax *float64
	RateUnit      string
	Releases      int // 0: not stated
	IntervalDays  int // 0: not stated
	MinC, MaxC    *float64
	TempBasis     string
	MinHumidity   *float64
	LeadDays      int
	NotWhen       string
	EvidenceCrop  string
	Outcome       string
	Provenance
}

// PerM2 returns animals or sachets per square metre, lowest and highest rate,
// and false for a rate that is not per area.
func (r ReleaseRate) PerM2() (low, high float64, ok bool) {
	f := map[string]float64{"per_m2": 1, "per_m2_week": 1, "sachet_per_m2": 1, "sachet_per_2m2": 0.5}[r.RateKind]
	if f == 0 || r.Rate == nil {
		return 0, 0, false
	}
	low, high = *r.Rate*f, *r.Rate*f
	if r.RateMax != nil {
		high = *r.RateMax * f
	}
	return low, high, true
}

// SideEffect is one result on what an active does to a natural enemy.
type SideEffect struct {
	Active       string   // canonical key of the active
	Groups       []string // agent groups that it speaks of
	ActiveText   string   // as the source gives it
	ModeGroup    string
	AgentText    string
	LifeStage    string
	Class        int    // IOBC class 1 to 4; 0: none stated
	ClassBasis   string // source, derived or none
	ResidualDays *int   // upper end of the band, nil when not stated
	BeeNote      string
	Test         string
	EffectPct    *float64
	Rating       string
	Provenance
}

// Active is an active ingredient under its canonical name.
type Active struct {
	Key       string
	ModeGroup string // IRAC or FRAC
	Aliases   []string
	Provenance
}

// Generation is the time of one generation of a pest: the fewest and the most
// days, or degree-days above a base.
type Generation struct {
	Pest              string
	Days, DaysMax     int
	DegreeDays, BaseC float64
	Provenance
}

// Minutes is the time that a sample unit takes.
type Minutes struct {
	Unit        string
	Setup, Each float64 // minutes: once a bed, and for each unit
	Provenance
}

// Apart is a pair of actives that are kept apart where no label gives a figure.
type Apart struct {
	A, B string // canonical names
	Days int
	Provenance
}

// Look is what an active needs to know of a pest before it goes on.
type Look struct {
	Active, Pest string
	Fits         string   // the answer with which it works
	Fails        []string // the answers with which it does not
	Question     string   // follows "whether"
	Why          string
	Instead      string // what to do where it fails
	Days         int    // how long an answer stands
	Provenance
}

// DefaultWait is the wait before a release when nothing better is known.
type DefaultWait struct {
	Active string
	Group  string // agent group, "" for every agent
	Days   *int   // nil: not known
	Text   string
	Provenance
}

// Taylor is how a pest clumps on a unit: variance = A mean^B, or the
// dispersion K of the negative binomial where no such law was read.
type Taylor struct {
	Pest, Unit string   // unit "" is any unit of the pest
	A, B       *float64 // both or neither
	K          *float64
	Crop       string
	AsPrinted  string
	Provenance
}
