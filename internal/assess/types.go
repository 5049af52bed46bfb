// Package assess turns the visits of one bed and one pest into an assessment:
// what was counted, how sure one can be of it, which action level applies at
// the bed's growth stage, and the verdict. It keeps everything that led there,
// so that a report can answer "why" without computing anything again.
//
// It takes its facts (protocols, action levels, natural-enemy rules,
// dispersion) as arguments. The statistics are in package estimate, the
// decision rule in package verdict.
//
// Not here: what comes after today, spatial patterns.
package assess

import (
	"fmt"
	"strings"

	"leafturn/internal/belief"
	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/units"
	"leafturn/internal/verdict"
)

// Ref is where a number comes from.
type Ref struct {
	Basis  string `json:"basis"` // published, common practice, from memory, farm
	Source string `json:"source"`
	URL    string `json:"url"`
	Note   string `json:"note"`
}

// Unit is the facts of how a pest is counted with one kind of sample unit.
type Unit struct {
	Key       string        // such as "trap"
	Label     string        // singular words, such as "refuge trap"
	Measure   string        // what the mean is expressed in, such as "slugs_per_trap_night"
	Words     string        // the measure in words, such as "slugs per trap and night"
	One       string        // those words behind a 1, "" for the same
	Percent   bool          // the measure is a percentage of units
	Tally     int           // a unit is infested from this many animals on
	Wanted    int           // units that the protocol asks for; 0 is every one
	Min       int           // fewer are not enough for a verdict
	PerNights int           // the measure is per so many nights (1 night, 7 a week); 0: it is not per time
	Nights    int           // nights a unit stands by the protocol
	Damage    string        // measure of a damage count taken on the same visit, or ""
	Needs     verdict.Needs // when a count is valid
	How       string        // how it is done, in a sentence
	BestTime  string
	Ref       Ref
	Dispersed estimate.Dispersion // how the pest clumps on this unit

	known estimate.Dispersion // Dispersed before the farm's own visits moved it
	weeks []weekLaw           // what the visits before each week made of it, oldest first
}

// Level is an action level as the catalogue or the farm states it.
type Level struct {
	Measure        string
	Unit           string // the source's own unit
	Kind           string // act, watch, hold_ratio, release_trigger, report, disease
	Value          float64
	Own            float64 // the value in the source's own unit
	Operator       string  // >=, >, <=, none
	From, To       farm.Stage
	StageWords     string
	Season         []Span // parts of the year in which it is in force; nil is all year
	Signs          bool   // it is in force all year, and Season is when what is looked for shows well
	South          bool   // the season is of a farm of the south, whose year begins on 1 July
	SeasonWords    string
	FrostUnknown   bool   // an end of the season hangs on a frost date that the farm has not given: that end is open
	Crop           string // the crop that it was published for
	Transfer       bool   // that crop is not dahlia
	Conditions     string
	NeedsDamagePct float64 // act only with at least this share of parts damaged
	OrDamagePct    float64 // act as well from this share of parts damaged on
	Requires       string  // a condition of the farm that must hold, such as "tospovirus_confirmed"
	Confirm        Confirm
	Overridden     bool    // the farm's own value stands in Value
	Reason         string  // why, when overridden
	Catalogue      float64 // the catalogue's value, when overridden
	Ref            Ref
}

// Confirm is what a level asks to be seen before acting.
type Confirm struct {
	Words     string // "" for nothing
	How       string
	By        []string // measures in which a find of the same round shows it
	Elsewhere bool     // asked for only where the farm is not known to be as Level.Requires says
}

// Span is from one day of the year to another, both included; a zero end is
// open.
type Span struct{ From, To civil.MonthDay }

// InForce reports whether the level holds on a day; the zero day is any.
func (l *Level) InForce(day civil.Date) bool { return l.Signs || l.inSeason(day) }

// inSeason reports whether the level's season holds a day.
func (l *Level) inSeason(day civil.Date) bool {
	if len(l.Season) == 0 || day.IsZero() {
		return true
	}
	year := farm.SeasonOf(day, l.South)
	for _, s := range l.Season {
		if (s.From.IsZero() || !day.Before(year.Day(s.From))) && (s.To.IsZero() || !day.After(year.Day(s.To))) {
			return true
		}
	}
	return false
}

// Transferred reports whether the level was published for another crop.
func (l Level) Transferred() bool { return l.Transfer && !l.Overridden }

// Scale turns a mean per unit into the measure when the units stood out for
// some nights; 0 nights is "as the protocol says". It is 1 where the measure
// is not per time.
func (u Unit) Scale(nights int) float64 {
	if u.PerNights == 0 {
		return 1
	}
	if nights <= 0 {
		nights = max(u.Nights, 1)
	}
	return float64(u.PerNights) / float64(nights)
}

// EnemyRule says when natural enemies turn act into hold.
type EnemyRule struct {
	Enemy string // key of the natural enemy
	Name  string // plural words
	// Kind: prey_per_enemy (hold at so many prey per enemy, or fewer) or
	// share_of_infested (hold when so large a share of the infested units has
	// the enemy, or a larger one).
	Kind  string
	Value float64
	Ref   Ref
}

// Pest is what the assessment needs to know of a pest.
type Pest struct {
	Key, Name string
	Disease   bool   // signs on plants rather than animals
	EveryDays int    // scouting interval
	StaleDays int    // a count older than this is stale
	InSeason  bool   // scouted at the bed's stage
	Units     []Unit // the first is the default
	Levels    []Level
	Enemies   []EnemyRule
}

// Unit finds the facts of a sample unit.
func (p Pest) Unit(key string) (Unit, bool) {
	if u := p.unit(key); u != nil {
		return *u, true
	}
	return Unit{}, false
}

func (p *Pest) unit(key string) *Unit {
	for i := range p.Units {
		if p.Units[i].Key == key {
			return &p.Units[i]
		}
	}
	return nil
}

// Input is one bed and one pest on one date.
type Input struct {
	Today      civil.Date
	Bed        farm.Bed
	Stage      farm.Stage
	StageSince civil.Date
	Pest       Pest
	Events     []farm.StageEvent // of this bed, this season: each visit is read at its own day's stage
	Visits     []farm.Visit      // of this bed and pest, this season, up to Today
	Holds      map[string]bool   // conditions of the farm that hold, see Level.Requires
	// Confirmed is the latest note of the season that the pest was confirmed in
	// the bed, or looked for and not found; zero where there is none.
	Confirmed farm.Confirmation
	// Suspects are the beds in which signs of a tospovirus were found this season
	// and no plant was tested since.
	Suspects []Suspect
	// Steps are the days on which something was done against the pest in the
	// bed: the density may have changed more than by growth alone.
	Steps []civil.Date
	// Grows, when given, is how the pest could grow by the weather: beliefs are
	// carried by it instead of by a growth of an unknown rate.
	Grows Grows
	rates rateDays // of Grows
	South bool     // the farm's seasons are those of the south
	// Noted, when given, is what was noted of the conditions in a bed on a day,
	// on any of its visits or on the whole round. It is asked only where a
	// deciding count lacks a note that it must have.
	Noted func(bed string, day civil.Date) farm.Conditions
	// Deep asks for what takes a while: how many more units would settle a
	// count that is too near its level, and the chance that they do.
	Deep bool
	// Brief leaves what the verdict does not rest on out: of readings other
	// than Decider and Earlier the levels and the belief are nil, the intervals
	// (of counts) and the chances NaN, which saves most of the work late in a season.
	Brief bool
	// Beliefs keeps what visits showed between calls; nil keeps nothing.
	Beliefs *Beliefs
	// ActAt and HoldBelow are the chances at which to act and below which to
	// hold; 0 takes the defaults of package verdict.
	ActAt, HoldBelow float64
}

// actAt is the chance at which to act.
func (in Input) actAt() float64 {
	if in.ActAt > 0 {
		return in.ActAt
	}
	return verdict.DefaultActAt
}

// Suspect is a bed with signs of a virus that is neither confirmed nor cleared.
type Suspect struct {
	Bed string
	On  civil.Date // when they were last found
}

// Reading is what one visit says in the unit's measure.
type Reading struct {
	Visit    *farm.Visit // not to be changed
	Unit     *Unit       // as a visit of that day is read, see Unit.On; not to be changed
	N        int         // units looked at
	Value    float64     // in Unit.Measure: mean per unit (and night), or percent of units
	Low      float64     // 95 % interval of this visit by itself
	High     float64
	Max      float64
	Infested float64           // share of units infested, 0-1, NaN when not known
	Density  *estimate.Density // of a count measure
	Share    *estimate.Share   // of a percentage measure
	// Belief is what is believed of the true density, in animals per unit (and
	// night), on the day of the visit: what earlier visits said, carried
	// forward, and this one. Nil where the visit is not valid or nothing may be
	// believed from it.
	Belief   *belief.Belief
	Alone    bool    // no earlier visit of the season is in the belief
	LikelyL  float64 // 95 % of the belief, in the measure
	LikelyH  float64
	Invalid  []string // reasons why it is not valid; empty when it is
	Cautions []string // conditions that were not noted
	Act      *Level   // levels that apply at the stage of that day, nil when none
	Watch    *Level
	Nearest  []Level // published levels for other crops in the same measure
	Chance   float64 // chance that the truth is at or over Act; NaN without a level
	ChanceW  float64 // the same for Watch
	// ChanceThen is the chance on the day of the visit, by the level of that
	// day; Chance of the reading that decides is today's.
	ChanceThen float64

	brief bool     // levels, belief, interval and chances are still to be filled
	kept  *Beliefs // what was worked out before
	state *state   // how Belief is made, nil where there is none
	read  *belief.Reader
}

// Scale is Unit.Scale for the nights that the visit's units stood out; 1 for a
// reading of nothing.
func (r *Reading) Scale() float64 {
	if r.Unit == nil || r.Visit == nil {
		return 1
	}
	return r.Unit.Scale(r.Visit.Conditions.Nights)
}

// Valid reports whether the visit's conditions let it count.
func (r Reading) Valid() bool { return len(r.Invalid) == 0 }

// Assessment is everything known of one bed and one pest on one date.
type Assessment struct {
	Today      civil.Date
	Bed        farm.Bed
	Pest       Pest
	Stage      farm.Stage
	StageSince civil.Date
	InSeason   bool      // the pest is scouted at this stage
	Readings   []Reading // all random-stratum visits, oldest first
	HotSpots   []Reading // visits to spots chosen because they looked bad
	Edges      []Reading // visits to the outer rows only; no verdict rests on them
	Decider    *Reading  // the reading that decided, nil when never counted
	Earlier    *Reading  // the valid reading before it in the same measure
	Result     verdict.Result
	HotSpotAct bool // a hot spot alone calls for spot action
	Prey       *float64
	EnemyName  string
	EnemyRef   Ref

	// Course is the season in signs, see CourseKey; "" for none.
	Course string

	// ToConfirm is what must be found out before acting; nil for nothing.
	ToConfirm *ToConfirm

	// Asked is what Input.Noted answered, where it was asked.
	Asked []NotedDay

	now *belief.Ahead
}

// NotedDay is what was noted of the conditions in a bed on a day.
type NotedDay struct {
	Bed        string
	Day        civil.Date
	Conditions farm.Conditions
}

// ToConfirm is what a verdict waits for.
type ToConfirm struct {
	Words, How string
	Area       string // what to say of the area instead, as farm.Area has it; "" for nothing
}

// Now is the belief behind the verdict, carried forward to Today; nil where
// there is none.
func (a Assessment) Now() *belief.Belief {
	if a.now == nil {
		return nil
	}
	b := a.now.Belief()
	return &b
}

// LikelyNow returns the 95 % interval of the belief today, in the measure of
// the deciding reading, where that reading is of an earlier day: what the
// chances of the verdict are read from. ok is false where there is none.
func (a Assessment) LikelyNow() (low, high float64, ok bool) {
	if a.now == nil || a.Age() < 1 {
		return 0, 0, false
	}
	iv, err := a.now.Belief().Interval(0.95)
	if err != nil {
		return 0, 0, false
	}
	return a.Decider.inMeasure(iv.Low), a.Decider.inMeasure(iv.High), true
}

// Age returns the days since the deciding visit, or -1 when there is none.
func (a Assessment) Age() int {
	if a.Decider == nil {
		return -1
	}
	return a.Today.Sub(a.Decider.Visit.Date)
}

// Rising reports whether the deciding value is above the earlier one.
func (a Assessment) Rising() bool {
	return a.Decider != nil && a.Earlier != nil && a.Decider.Value > a.Earlier.Value
}

// ValidWhen says in words when a count by the unit means anything, "" where
// nothing is asked for.
func (u Unit) ValidWhen() string {
	var w []string
	n := u.Needs
	if n.SoilMoist {
		w = append(w, "the soil surface is moist")
	}
	if n.NotWaterlogged {
		w = append(w, "the soil is not waterlogged")
	}
	if n.FoliageDry {
		w = append(w, "the foliage is dry")
	}
	switch {
	case n.AirMinC != nil && n.AirMaxC != nil:
		w = append(w, "the air is "+n.Units.Temps(*n.AirMinC, *n.AirMaxC))
	case n.AirMinC != nil:
		w = append(w, "the air is above "+n.Units.Temp(*n.AirMinC))
	}
	if n.SoilMinC != nil {
		w = append(w, fmt.Sprintf("the soil at %s is above %s", n.Units.Say(units.Of(10, "cm"), units.Nearest), n.Units.Temp(*n.SoilMinC)))
	}
	return strings.Join(w, ", ")
}

// Plural returns the unit words of the catalogue for n units: "refuge trap",
// "refuge traps", "leaves", "cubic feet of soil". It is the noun that changes,
// not the words that say more of it.
func Plural(label string, n int) string {
	if label == "" {
		label = "unit"
	}
	if n == 1 {
		return label
	}
	head, rest := label, ""
	for _, sep := range []string{" of ", " by ", " at ", " scored", " tapped", " looked", " raked", " tested", ",", " ("} {
		if i := strings.Index(head, sep); i > 0 {
			head, rest = label[:i], label[i:]
		}
	}
	for one, many := range map[string]string{"leaf": "leaves", "foot": "feet"} {
		if strings.HasSuffix(head, one) {
			return strings.TrimSuffix(head, one) + many + rest
		}
	}
	switch {
	case strings.HasSuffix(head, "s"):
	case strings.HasSuffix(head, "ch"):
		head += "es"
	default:
		head += "s"
	}
	return head + rest
}

// Say puts the words of the measure behind a number as it is shown: "1 slug per
// trap", "2 slugs per trap".
func (u Unit) Say(number string) string {
	if number == "1" && u.One != "" {
		return "1 " + u.One
	}
	return number + " " + u.Words
}
