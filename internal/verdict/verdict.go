// Package verdict decides from an estimate and the action levels chosen for
// it: act, hold, look again, stale, or never counted, with the chance behind
// it and reasons in plain words.
//
// It chooses no level, reads no clock and knows no pest: the caller hands in
// today's date, the levels for the stage and sample unit, and what was seen.
// The product label and local law outrank every verdict.
//
// Not here: which step to take (package week), label rules, forecasts of
// density between visits.
package verdict

import (
	"cmp"
	"fmt"
	"math"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/estimate"
)

// Verdict is what to do about one pest in one bed.
type Verdict string

// The verdicts.
const (
	Act          Verdict = "act"
	Hold         Verdict = "hold"
	LookAgain    Verdict = "look again"
	Stale        Verdict = "stale"
	NeverCounted Verdict = "never counted"
)

// Level is a watch or action level.
type Level struct {
	Value      float64 // animals per Per units; percent where a share is measured
	Per        float64 // such as 100 for "per 100 leaves"; 0 is 1. Not used for percent.
	Operator   string  // ">=", ">" or "none"
	Unit       string  // the sample unit, as in Input.Unit
	Words      string  // such as "1 slug per trap"; "" makes words from the numbers
	Source     string
	Basis      string // published, common practice, from memory
	Crop       string // the crop it was published for, "" when for this one
	Conditions string
}

// perUnit returns the level in the units of the estimate.
func (l Level) perUnit(percent bool) float64 {
	switch {
	case percent:
		return l.Value / 100
	case l.Per > 0:
		return l.Value / l.Per
	}
	return l.Value
}

// none reports whether the level says that no threshold exists.
func (l *Level) none() bool { return l == nil || l.Operator == "none" || l.Operator == "" }

// any reports whether a single find is over the level.
func (l *Level) any() bool { return l != nil && l.Operator == ">" && l.Value == 0 }

// Enemies is what is known of natural enemies on the same units.
type Enemies struct {
	Counted         bool
	Words           string   // such as "predatory mites"
	How             string   // how a count of them is written down, or ""
	PreyPerPredator *float64 // nil with Counted means that none was found
	HoldAtOrBelow   *float64 // the ratio that holds; nil when there is no rule
	// SharePct is the percentage of colonies with enemies; HoldAtShare is the
	// percentage that holds, unless the pest doubles between visits.
	SharePct    *float64
	HoldAtShare *float64
}

// Damage is the crop damage that an action level asks for beside numbers.
type Damage struct {
	NeedsPct *float64 // nil: no damage is asked for
	Hurt     int
	Looked   int // 0: not looked at
	Words    string
}

// Confirm is something that must be seen before acting, such as the culprit
// or the identity of the pest.
type Confirm struct {
	Words string // such as "cutworm larvae at cut plants"
	How   string // how to look, or ""
	Seen  *bool  // nil: not looked for
}

// Spot is a hot spot, kept out of the mean.
type Spot struct {
	Mean float64
	N    int
}

// Input is everything that Decide uses. Unit words are free text that must
// agree between the estimate and the levels.
type Input struct {
	Today civil.Date
	Pest  string // plural words, such as "mites"
	Signs string // what is looked for where that is not the pest itself, such as "signs of leafy gall"
	Unit  string // sample unit of the estimate, such as "leaf"
	Units string // more than one of it, such as "leaves"; "" is "units"

	Last    civil.Date        // latest valid visit; zero when there is none
	Density *estimate.Density // of the valid visits; nil when a share is measured
	Share   *estimate.Share   // levels are then percentages

	// Over, when given, is the chance that the truth is at or over a level in
	// the unit of Density (or a share 0 to 1), from a belief that earlier visits
	// have a part in; the estimate's own chance is then not used. Typical is the
	// density that the belief holds likeliest, for "how many more".
	Over    func(level float64) float64
	Typical func() float64
	// Settle, when given, returns how many further units would settle a level
	// that is near, and the chance that they do; ok is false when no reasonable
	// number would.
	Settle func() (units int, chance float64, ok bool)

	N              int // units looked at in the valid visits used
	MinUnits       int
	Whole          bool // every unit that there is was looked at
	StaleAfterDays int  // 0: never stale

	Invalid   []string   // why the latest visit was not valid
	InvalidOn civil.Date // its date, zero when it was valid
	Cautions  []string   // conditions that nobody noted
	Unnoted   []string   // of those the ones without which a low count says nothing, as what to note
	Doubts    []string   // what was noted elsewhere that day and would make the count not valid

	Watch, Act  *Level
	Which       []string // why these levels and no others
	NoThreshold string   // why there is no action level

	Enemies        Enemies
	Damage         Damage
	Confirm        *Confirm
	HotSpot        *Spot
	VirusConfirmed bool // a virus that this pest carries is on the farm: enemies cannot hold
	Rising         bool // the last two valid counts rose
	Doubling       bool // the pest doubled between the last two visits

	// ActAt and HoldBelow are the chances at and above which to act and under
	// which to hold; 0 takes DefaultActAt and DefaultHoldBelow.
	ActAt, HoldBelow float64
	// MissPct is, for a level of "any", the percentage of infested units that
	// may have been missed for a hold; 0 takes DefaultMissPct.
	MissPct float64
	// RecheckDays is the ordinary time between visits; 0 is 7.
	RecheckDays int
}

// Defaults of Input. Acting at an even chance treats a needless step and a
// missed one as equally dear, which suits a grower whose first steps are
// hand work; holding below 0.2 asks to be four times as sure before the matter
// is left for a week. Common practice; a farm with dear products raises ActAt.
const (
	DefaultActAt       = 0.5
	DefaultHoldBelow   = 0.2
	DefaultMissPct     = 1.0
	DefaultRecheckDays = 7
)

// The rules that can decide, for Result.Rule.
const (
	RuleNeverCounted = "never counted"
	RuleInvalid      = "no valid count"
	RuleStale        = "too old"
	RuleDate         = "dated after today"
	RuleUnits        = "sample units differ"
	RuleTooFew       = "too few units"
	RuleNoThreshold  = "no action level"
	RuleOver         = "over the action level"
	RuleUnder        = "under the action level"
	RuleNear         = "near the action level"
	RuleFound        = "any find acts"
	RuleNotFound     = "none found, but it may have been missed"
	RuleNone         = "none found under a level that so few cannot rule out"
	RuleDamage       = "damage is needed too"
	RuleConfirm      = "to be confirmed first"
	RuleUnnoted      = "a condition was not noted"
	RuleOutlier      = "one unit far above the others"
	RuleSigns        = "signs do not show well now"
	RuleEnemies      = "natural enemies hold"
)

// Result is a verdict with what led to it.
type Result struct {
	Verdict       Verdict  `json:"verdict"`
	Chance        float64  `json:"chance"` // that the true level is at or over the action level
	ChanceKnown   bool     `json:"chance_known"`
	ChanceWatch   float64  `json:"chance_watch"` // the same for the watch level
	Watched       bool     `json:"watched"`      // ChanceWatch is at ActAt or more
	SpotAction    bool     `json:"spot_action"`  // treat the hot spot by itself
	Reasons       []string `json:"reasons"`
	SettleChance  float64  `json:"settle_chance"`   // that MoreUnits do settle it; 0 when not computed
	MoreUnits     int      `json:"more_units"`      // further units that would probably settle it; 0 is none or not worth it
	RecheckInDays int      `json:"recheck_in_days"` // 0: as soon as possible
	Rule          string   `json:"rule"`
}

// Decide returns the verdict for one pest in one bed.
//
// In order: never counted, no valid count, stale, units that differ, too few
// units, no action level; then the chance p that the true level is at or over
// the action level: p >= ActAt acts if the damage and the confirmation that
// the level asks for are there and anything was found at all, p < HoldBelow
// holds, between looks again.
// Natural enemies turn act and look again into hold, except for a confirmed
// virus. Numbers that rise never turn act into hold when nothing else changes.
func Decide(in Input) Result {
	d := decider{in: in.withDefaults()}
	d.decide()
	if d.r.Rule == RuleUnder && len(in.Unnoted)+len(in.Doubts) > 0 {
		d.set(LookAgain, RuleUnnoted, 0)
		if len(in.Unnoted) > 0 {
			d.say("a low count means nothing here until it is noted %s: say so on a count of that day, or count again", strings.Join(in.Unnoted, " and "))
		}
		if len(in.Doubts) > 0 {
			d.say("a low count means nothing here while another note of that day stands: %s; where this bed was different, say so on its own count, or count again", strings.Join(in.Doubts, "; "))
		}
	}
	d.outlier()
	if s := in.HotSpot; s != nil && s.N > 0 && number(s.Mean) {
		d.hotSpot(*s)
	}
	return d.r
}

// outlier turns a verdict that one unit far above the others could have made,
// or could have hidden, into look again: a slip is corrected, and a hot spot
// is counted by itself. An act stands when the other units act by themselves.
func (d *decider) outlier() {
	e := d.in.Density
	if d.in.Share != nil || e == nil || !e.Outlier || e.N < 2 || d.in.Act.none() {
		return
	}
	others := (e.Mean*float64(e.N) - float64(e.Max)) / float64(e.N-1)
	switch {
	case d.r.Rule == RuleUnder, d.r.Rule == RuleOver && d.r.Verdict == Act && others < d.in.Act.perUnit(false):
		d.set(LookAgain, RuleOutlier, 0)
		d.say("nothing is decided until unit %d is settled: void the visit if it is a slip, and enter it right; if it is a hot spot, count about it and enter that with the word hotspot, and the bed without it", e.OutlierUnit)
	}
}

func (in Input) withDefaults() Input {
	def := func(v *float64, to float64, ok bool) {
		if !ok {
			*v = to
		}
	}
	def(&in.ActAt, DefaultActAt, in.ActAt > 0 && in.ActAt <= 1)
	def(&in.HoldBelow, math.Min(DefaultHoldBelow, in.ActAt), in.HoldBelow > 0 && in.HoldBelow <= in.ActAt)
	def(&in.MissPct, DefaultMissPct, in.MissPct > 0 && in.MissPct <= 100)
	if in.RecheckDays <= 0 {
		in.RecheckDays = DefaultRecheckDays
	}
	return in
}

// number reports whether v is a finite number.
func number(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

type decider struct {
	in Input
	r  Result
}

func (d *decider) say(format string, args ...any) {
	d.r.Reasons = append(d.r.Reasons, fmt.Sprintf(format, args...))
}

func (d *decider) set(v Verdict, rule string, days int) {
	d.r.Verdict, d.r.Rule, d.r.RecheckInDays = v, rule, days
}

func (d *decider) decide() {
	in := &d.in
	invalid := len(in.Invalid) > 0
	if invalid {
		when := "the latest count"
		if !in.InvalidOn.IsZero() {
			when = "the count of " + in.InvalidOn.Short()
		}
		d.say("%s is not valid, which is not the same as a low count: %s", when, strings.Join(in.Invalid, "; "))
	}
	switch age := in.Today.Sub(in.Last); {
	case in.Last.IsZero() && invalid:
		d.set(LookAgain, RuleInvalid, 0)
		d.say("count again as soon as the conditions are right")
		return
	case in.Last.IsZero() || in.Density == nil && in.Share == nil || in.Share != nil && in.Share.Looked < 1:
		d.set(NeverCounted, RuleNeverCounted, 0)
		d.say("no count of %s here: nothing is known, and that is not zero", in.pest())
		return
	case age < 0:
		d.set(LookAgain, RuleDate, 0)
		d.say("the latest count is dated %s, after today: correct its date", in.Last)
		return
	case in.StaleAfterDays > 0 && age > in.StaleAfterDays:
		d.set(Stale, RuleStale, 0)
		d.say("the latest valid count is %s old; after %s it says too little about today", plural(age, "day"), plural(in.StaleAfterDays, "day"))
		return
	}
	d.counted()
	for _, c := range in.Cautions {
		d.say("caution: %s", c)
	}
	d.r.Reasons = append(d.r.Reasons, in.Which...)
	percent := in.Share != nil
	for _, l := range []*Level{in.Act, in.Watch} {
		if !l.none() && l.Unit != "" && in.Unit != "" && l.Unit != in.Unit {
			d.set(LookAgain, RuleUnits, 0)
			d.say("the count is per %s and the level is per %s: they cannot be compared; count the unit that the level is for", in.Unit, l.Unit)
			return
		}
	}
	few := in.N < in.MinUnits
	if !in.Watch.none() {
		switch {
		case !in.Watch.any():
			d.r.ChanceWatch = d.exceeds(in.Watch.perUnit(percent))
		case d.found() > 0:
			d.r.ChanceWatch = 1
		}
		if math.IsNaN(d.r.ChanceWatch) {
			d.r.ChanceWatch = 0
		}
		d.r.Watched = !few && d.r.ChanceWatch >= in.ActAt
		switch {
		case d.r.Watched && in.Watch.any():
			d.say("any find is over the watch level")
		case d.r.Watched:
			d.say("over the watch level of %s (chance %s)", in.Watch.words(in, percent), in.whole(d.r.ChanceWatch))
		}
	}
	if in.Act.none() && in.Watch.any() {
		if d.found() == 0 {
			d.notFound()
			return
		}
		d.set(LookAgain, RuleConfirm, min(in.RecheckDays, DefaultRecheckDays))
		d.say("what was found is a suspect, not proof: %s", cmp.Or(in.Watch.Conditions, "find out what it is before acting"))
		return
	}
	if in.Act.none() {
		why := in.NoThreshold
		if why == "" && in.Act != nil {
			why = in.Act.Conditions
		}
		if why == "" {
			why = "none is known"
		}
		d.set(Hold, RuleNoThreshold, d.recheck())
		d.say("there is no action level: %s; no action on numbers alone", why)
		return
	}
	chance := d.exceeds(in.Act.perUnit(percent))
	if !number(in.Act.perUnit(percent)) || math.IsNaN(chance) {
		d.set(LookAgain, RuleNoThreshold, 0)
		d.say("the action level, or the chance of being over it, is not a number: correct it; nothing is decided by numbers until then")
		return
	}
	d.r.Chance, d.r.ChanceKnown = chance, true
	if in.Act.any() {
		d.anyFind()
		return
	}
	d.say("the action level is %s%s; the chance of being at or over it is %s", in.Act.words(in, percent), in.Act.origin(), in.whole(d.r.Chance))
	if few {
		d.set(LookAgain, RuleTooFew, 0)
		d.r.MoreUnits = in.MinUnits - in.N
		d.say("%s looked at, and %d are needed: not enough to judge, whatever the numbers say so far", in.many(in.N), in.MinUnits)
		return
	}
	if d.r.Chance < in.HoldBelow {
		d.set(Hold, RuleUnder, d.recheck())
		return
	}
	if d.enemiesHold() {
		return
	}
	gate, rule := d.gates()
	if gate == Hold {
		d.set(Hold, rule, d.recheck())
		return
	}
	if d.r.Chance < in.ActAt {
		d.set(LookAgain, RuleNear, nearDays)
		if in.Settle != nil {
			if n, p, ok := in.Settle(); ok {
				d.r.MoreUnits, d.r.SettleChance = n, p
				d.say("too near the level to judge: %d more %s would settle it with a chance of %s; recount in 2 to 4 days", n, in.units(n), in.whole(p))
				return
			}
		} else {
			d.r.MoreUnits = d.more(in.Act.perUnit(percent))
		}
		if d.r.MoreUnits > 0 {
			d.say("too near the level to judge: about %d more %s would probably settle it; recount in 2 to 4 days", d.r.MoreUnits, in.units(d.r.MoreUnits))
		} else {
			d.say("too near the level for any reasonable number of %s to settle: recount in 2 to 4 days", in.units(2))
		}
		return
	}
	if gate == LookAgain {
		d.set(LookAgain, rule, 0)
		return
	}
	if d.found() == 0 {
		d.set(LookAgain, RuleNone, nearDays)
		d.say("none was found in %s, and nothing is done on that alone; so few cannot rule out a level so low: look at more", in.many(in.N))
		return
	}
	d.set(Act, RuleOver, in.RecheckDays)
}

// nearDays is the recount after a count near the level, and risingDays after
// two rising counts over the watch level. Common practice.
const (
	nearDays   = 3
	risingDays = 3
	enemyDays  = 5
)

func (d *decider) recheck() int {
	if d.in.Rising && d.r.Watched {
		d.say("two counts have risen and the watch level is passed: come back in %d to 4 days", risingDays)
		return min(risingDays, d.in.RecheckDays)
	}
	return d.in.RecheckDays
}

// rounding is how far under ActAt a chance is taken to have reached it: an even
// chance must not hang on the last digit of a sum.
const rounding = 1e-6

// exceeds is the chance of being at or over a threshold, NaN where nobody knows.
func (d *decider) exceeds(threshold float64) float64 {
	p := 0.0
	if d.in.Over != nil {
		p = d.in.Over(threshold)
	} else if d.in.Share != nil {
		p = d.in.Share.Exceeds(threshold)
	} else {
		p = d.in.Density.Exceeds(threshold)
	}
	if p < d.in.ActAt && p >= d.in.ActAt-rounding {
		p = d.in.ActAt
	}
	return math.Max(0, math.Min(1, p))
}

// counted says what was counted.
func (d *decider) counted() {
	in := &d.in
	if s := in.Share; s != nil {
		d.say("%d of %d with %s: %s, 95 %% interval %s to %s", s.Infested, s.Looked, cmp.Or(in.Signs, in.pest()), pct(s.P), pct(s.Low), pct(s.High))
		return
	}
	e := in.Density
	mean := fmt.Sprintf("%s %s per %s on average", num(e.Mean), in.pest(), in.unit())
	if num(e.Mean) == "1" {
		mean = fmt.Sprintf("%s: 1 per %s on average", in.pest(), in.unit())
	}
	d.say("%s, 95 %% interval %s to %s, from %s (clumping: %s)", mean, num(e.Low), num(e.High), in.many(e.N), e.KSource)
	if e.Outlier {
		d.say("unit %d, with %d, is far above the others: probably a typing slip or a hot spot; check it", e.OutlierUnit, e.Max)
	}
}
