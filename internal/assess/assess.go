package assess

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"leafturn/internal/belief"
	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
)

// SameRound is how many days apart visits may lie and still be judged
// together, such as traps on Monday and shoots on Tuesday. Common practice.
const SameRound = 3

// Assess reads all visits of one bed and pest and gives the verdict.
//
// Strata are never mixed: random units decide, a hot spot can call for spot
// action alone, edge units are kept apart. Of each sample unit the latest
// visit counts; where several units were counted in one round the most
// pressing verdict stands. A visit outside its protocol's validity is kept and
// shown but is never a reason to hold.
//
// An error means that a stored visit cannot be computed with, which the
// entry checks rule out.
func Assess(in Input) (Assessment, error) {
	in.rates = in.Grows.days()
	a := Assessment{Today: in.Today, Bed: in.Bed, Pest: in.Pest, Stage: in.Stage, StageSince: in.StageSince, InSeason: in.Pest.InSeason}
	if err := a.read(in); err != nil {
		return a, err
	}
	if err := a.believe(in); err != nil {
		return a, err
	}
	err := a.decide(in)
	a.Course = a.course()
	return a, err
}

// Read is what each visit to random units says by itself, oldest first: what
// was counted and whether it is valid, without belief and verdict.
func Read(in Input) ([]Reading, error) {
	var a Assessment
	in.Brief = true
	err := a.read(in)
	return a.Readings, err
}

// read fills the readings of each stratum.
func (a *Assessment) read(in Input) error {
	a.Readings = make([]Reading, 0, len(in.Visits))
	for i := range in.Visits {
		v := &in.Visits[i]
		if v.Date.After(in.Today) {
			continue
		}
		list := &a.Readings
		switch v.Stratum {
		case farm.HotSpot:
			list = &a.HotSpots
		case farm.Edge:
			list = &a.Edges
		case farm.Random, "":
		default:
			continue
		}
		*list = append(*list, Reading{})
		if err := (*list)[len(*list)-1].fill(v, &in); err != nil {
			return fmt.Errorf("visit %d of %s on %s: %w", v.ID, v.Bed, v.Date, err)
		}
	}
	// Of two visits on one day the one recorded later counts.
	byDate := func(x, y Reading) int {
		return cmp.Or(x.Visit.Date.Compare(y.Visit.Date), cmp.Compare(x.Visit.ID, y.Visit.ID))
	}
	slices.SortStableFunc(a.Readings, byDate)
	slices.SortStableFunc(a.HotSpots, byDate)
	slices.SortStableFunc(a.Edges, byDate)
	return nil
}

// fill sets r to what one visit says in its unit's measure.
func (r *Reading) fill(v *farm.Visit, in *Input) error {
	u := in.Pest.unit(v.Unit)
	if u == nil {
		return fmt.Errorf("the sample unit %q is not in the catalogue", v.Unit)
	}
	u = in.Beliefs.unitOn(u, v.Date)
	*r = Reading{Visit: v, Unit: u, N: v.UnitsLooked(), Infested: math.NaN(), Chance: math.NaN(), ChanceW: math.NaN(), ChanceThen: math.NaN(),
		kept: in.Beliefs, brief: in.Brief && v.Stratum != farm.HotSpot && v.Stratum != farm.Edge}
	r.Invalid, r.Cautions = verdict.Conditions(*v, u.Needs)
	if !r.brief {
		r.levelsOfDay(*in)
	}
	r.Max = math.NaN()
	for n := range v.Each {
		if x := float64(n); !(r.Max >= x) {
			r.Max = x
		}
	}
	if u.Percent {
		s, err := share(*v, *u)
		if err != nil {
			return err
		}
		r.Share = &s
		r.Infested = s.P
		r.Value, r.Low, r.High = 100*s.P, 100*s.Low, 100*s.High
		return nil
	}
	return r.measure()
}

// measure fills what counts say of the density; of a brief reading by counts
// alone without the interval.
func (r *Reading) measure() error {
	d, err := r.kept.density(*r.Visit, *r.Unit, r.brief && r.Visit.Presence == nil)
	if err != nil {
		return err
	}
	k := r.Scale()
	r.Density = &d
	r.Infested = d.PropInfested
	r.Value, r.Low, r.High = d.Mean*k, d.Low*k, d.High*k
	return nil
}

// levelsOfDay fills the levels of the bed's stage on the day of the visit.
func (r *Reading) levelsOfDay(in Input) {
	stage, _ := farm.SeasonOf(r.Visit.Date, in.South).StageOn(in.Events, r.Visit.Date)
	r.Act, r.Watch = levels(in.Pest.Levels, r.Unit.Measure, stage, in.Holds, r.Visit.Date)
	r.Nearest = nearestLevels(in.Pest.Levels, r.Unit.Measure)
}

// complete fills what a brief reading lacks.
func (r *Reading) complete(in Input) error {
	if !r.brief {
		return nil
	}
	r.brief = false
	r.levelsOfDay(in)
	if err := r.believed(); err != nil || r.Unit.Percent {
		return err
	}
	return r.measure()
}

// kSource says where the clumping of a unit comes from.
func kSource(u Unit) string {
	return cmp.Or(u.Dispersed.Words, "k as for most pests on plants: common practice")
}

// densityOf is what one visit says by itself of animals per unit: the mean with
// the interval that keeps its level at every density (see
// belief.SampleInterval). Of a presence sample the density is the one at which
// that share of units would be infested.
// Brief leaves the intervals and the search for an outlier out, which needs a
// visit of counts alone.
func (k *Beliefs) densityOf(v farm.Visit, u Unit, brief bool) (estimate.Density, error) {
	d := estimate.Density{N: v.UnitsLooked(), Level: 0.95, KSource: kSource(u)}
	c := u.clump()
	infested, counted := 0, 0
	for x := range v.Each {
		counted++
		d.Total += x
		d.Max = max(d.Max, x)
		if x == 0 {
			d.Zeros++
		} else {
			infested++
		}
	}
	d.Method = "from counts"
	if p := v.Presence; p != nil {
		infested += p.Infested
		d.Method = "from the share of units infested"
		if counted > 0 {
			d.Method = "from counts and the share of units infested"
		}
	}
	if brief && d.N > 0 {
		d.Mean = float64(d.Total) / float64(counted)
		d.K = c.At(max(d.Mean, belief.Lowest))
		d.PropInfested = float64(infested) / float64(d.N)
		d.Low, d.High, d.PropLow, d.PropHigh = math.NaN(), math.NaN(), math.NaN(), math.NaN()
		return d, nil
	}
	e := belief.Evidence{Counts: v.Seen()}
	if p := v.Presence; p != nil {
		e.Presence = estimate.Presence{Infested: p.Infested, Looked: p.Looked}
	}
	share, err := estimate.Proportion(infested, d.N)
	if err != nil {
		return d, err
	}
	d.PropInfested, d.PropLow, d.PropHigh = share.P, share.Low, share.High
	iv, err := k.interval(e, d.Total, c, d.Level)
	if err != nil {
		return d, err
	}
	d.Low, d.High = iv.Low, iv.High
	alone := counted > 0 && v.Presence == nil
	if alone {
		d.Mean = float64(d.Total) / float64(counted)
	}
	if !alone || math.IsInf(d.High, 1) {
		// Where a visit sets no upper limit, or no mean was counted, the belief
		// that it gives by itself stands in.
		w := belief.Weak()
		w.Date = v.Date
		b, err := belief.Update(w, e, c)
		if err != nil {
			return d, err
		}
		if !alone && infested > 0 {
			d.Mean = b.Median()
		}
		d.High = min(d.High, b.Quantile(0.975))
	}
	d.K = c.At(max(d.Mean, belief.Lowest))
	// Where one unit is far above the others the clumping law can put the
	// interval beside the plain mean; it is widened to hold the number shown.
	d.Low, d.High = min(d.Low, d.Mean), max(d.High, d.Mean)
	if counted > 0 {
		if d.OutlierUnit, err = estimate.Outlier(e.Counts, u.Dispersed); err != nil {
			return d, err
		}
		d.Outlier = d.OutlierUnit > 0
	}
	return d, nil
}

// share counts the infested units of a visit: those scored, and those counted
// that reach the tally.
func share(v farm.Visit, u Unit) (estimate.Share, error) {
	infested, looked := 0, 0
	for c := range v.Each {
		looked++
		if c >= max(u.Tally, 1) {
			infested++
		}
	}
	if p := v.Presence; p != nil {
		infested, looked = infested+p.Infested, looked+p.Looked
	}
	return estimate.Proportion(infested, looked)
}

// levels picks the action and the watch level in a measure at a stage on a
// day, the zero day being any. Where a
// condition of the farm is required and holds, its rows replace the others.
func levels(all []Level, measure string, stage farm.Stage, holds map[string]bool, day civil.Date) (act, watch *Level) {
	special := [2]bool{} // of act and watch
	for i := range all {
		l := &all[i]
		if l.Measure != measure || l.Requires == "" && l.Transfer || !met(l.Requires, holds) || !stage.Between(l.From, l.To) || !l.InForce(day) {
			continue
		}
		to, n := &act, 0
		switch l.Kind {
		case "act":
		case "watch":
			to, n = &watch, 1
		default:
			continue
		}
		if *to == nil || l.Requires != "" && !special[n] {
			*to, special[n] = l, l.Requires != ""
		}
	}
	return act, watch
}

// met reports whether a level's condition of the farm holds. Where it is not
// known whether a tospovirus is about, the levels for a farm without one stand,
// with a caution; any other condition must have been said.
func met(requires string, holds map[string]bool) bool {
	return requires == "" || holds[requires] || requires == "no_tospovirus" && !holds["tospovirus_confirmed"]
}

// nearestLevels are the published levels of other crops in a measure.
func nearestLevels(all []Level, measure string) (nearest []Level) {
	for i := range all {
		if l := &all[i]; l.Measure == measure && (l.Kind == "act" || l.Kind == "watch") && l.Requires == "" && l.Transfer && l.Ref.Basis == "published" {
			nearest = append(nearest, *l)
		}
	}
	return nearest
}

// LevelsAt returns the action and the watch level in a measure at a stage on a
// day, the zero day being any (nil
// where there is none), and the published levels of other crops beside them.
// holds names the conditions of the farm that hold, see Level.Requires.
func LevelsAt(all []Level, measure string, stage farm.Stage, holds map[string]bool, day civil.Date) (act, watch *Level, nearest []Level) {
	act, watch = levels(all, measure, stage, holds, day)
	return act, watch, nearestLevels(all, measure)
}

// decide fills the verdict, the reading that decided and the one before it.
func (a *Assessment) decide(in Input) error {
	cands := a.candidates(in)
	if len(cands) == 0 {
		a.Result = verdict.Decide(verdict.Input{Today: in.Today, Pest: in.Pest.Name, StaleAfterDays: in.Pest.StaleDays})
		a.judgeHotSpot(in)
		return nil
	}
	best := -1
	for _, i := range cands {
		r := &a.Readings[i]
		j, err := a.judge(in, i)
		if err != nil {
			return err
		}
		if best >= 0 && urgency(j.res) <= urgency(a.Result) {
			continue
		}
		best = i
		a.Result, a.now, a.Decider, a.Earlier, a.ToConfirm = j.res, j.now, &a.Readings[j.on], nil, nil
		if j.res.Rule == verdict.RuleConfirm && j.res.Verdict == verdict.LookAgain {
			a.ToConfirm = j.confirm
		}
		if k := a.validBefore(j.on, r.Unit.Key); k >= 0 {
			a.Earlier = &a.Readings[k]
		}
	}
	// An invalid count has no chance of its own: the result's is that of an
	// older one.
	if a.Earlier != nil {
		if err := a.Earlier.complete(in); err != nil {
			return err
		}
	}
	d := a.Decider
	d.Chance, d.ChanceW = math.NaN(), math.NaN()
	if a.Result.ChanceKnown && d.Valid() {
		d.Chance = a.Result.Chance
	}
	if d.Watch != nil && d.Watch.Operator != "none" && d.Valid() {
		d.ChanceW = a.Result.ChanceWatch
	}
	a.judgeHotSpot(in)
	return nil
}

// candidates are the latest readings of each sample unit in the last round.
// The round is that of the last valid count by a unit with an action level, if
// it is not stale: a look that can decide nothing takes no verdict back.
func (a *Assessment) candidates(in Input) []int {
	if len(a.Readings) == 0 {
		return nil
	}
	last := a.Readings[len(a.Readings)-1].Visit.Date
	for i := len(a.Readings) - 1; i >= 0; i-- {
		r := &a.Readings[i]
		act, _ := levels(in.Pest.Levels, r.Unit.Measure, in.Stage, in.Holds, in.Today)
		if r.Valid() && act != nil && act.Operator != "none" && in.Today.Sub(r.Visit.Date) <= in.Pest.StaleDays {
			last = r.Visit.Date
			break
		}
	}
	var out []int
	seen := map[string]bool{}
	for i := len(a.Readings) - 1; i >= 0; i-- {
		r := &a.Readings[i]
		if !seen[r.Unit.Key] && last.Sub(r.Visit.Date) <= SameRound {
			out = append(out, i)
		}
		seen[r.Unit.Key] = true
	}
	return out
}

// urgency ranks verdicts; an action level known outranks none known.
func urgency(r verdict.Result) int {
	n := map[verdict.Verdict]int{verdict.Act: 8, verdict.LookAgain: 6, verdict.Stale: 4, verdict.Hold: 2, verdict.NeverCounted: 0}[r.Verdict]
	if r.ChanceKnown {
		n++
	}
	return n
}

// validBefore returns the number of the latest valid reading of the same unit
// before i, or -1.
func (a *Assessment) validBefore(i int, unit string) int {
	for j := i - 1; j >= 0; j-- {
		if r := &a.Readings[j]; r.Unit.Key == unit && r.Valid() {
			return j
		}
	}
	return -1
}

// judged is a verdict, the number of the reading that it rests on, and the
// belief of today behind it.
type judged struct {
	res     verdict.Result
	on      int
	now     *belief.Ahead
	confirm *ToConfirm
}

// judge asks for the verdict of reading i.
func (a *Assessment) judge(in Input, i int) (judged, error) {
	r := &a.Readings[i]
	if err := r.complete(in); err != nil {
		return judged{}, err
	}
	vin := verdict.Input{
		Today: in.Today, Pest: in.Pest.Name, Unit: r.Unit.Label, Units: Plural(r.Unit.Label, 2), StaleAfterDays: in.Pest.StaleDays,
		RecheckDays: in.Pest.EveryDays, ActAt: in.ActAt, HoldBelow: in.HoldBelow, VirusConfirmed: in.Holds["tospovirus_confirmed"] && needsVirus(in.Pest),
	}
	if in.Pest.Disease {
		vin.Signs = "signs of " + in.Pest.Name
	}
	on, base := i, r
	if !r.Valid() {
		vin.Invalid, vin.InvalidOn = r.Invalid, r.Visit.Date
		if on = a.validBefore(i, r.Unit.Key); on < 0 {
			return judged{verdict.Decide(vin), i, nil, nil}, nil
		}
		base = &a.Readings[on]
		if err := base.complete(in); err != nil {
			return judged{}, err
		}
	}
	// The decision is for today, so today's growth stage chooses the levels.
	base.Act, base.Watch = levels(in.Pest.Levels, base.Unit.Measure, in.Stage, in.Holds, in.Today)
	confirm := a.confirm(in, base, &vin)
	scale := base.Scale()
	vin.Last, vin.Density, vin.Share, vin.N, vin.MinUnits = base.Visit.Date, base.Density, base.Share, base.N, minUnits(*base.Unit, in.Bed)
	a.unnoted(in, base, &vin)
	vin.Whole = base.Unit.Wanted == 0 && in.Bed.Plants > 0 && base.N >= in.Bed.Plants
	for _, l := range []*Level{base.Act, base.Watch} {
		if l == nil || l.SeasonWords == "" || l.Signs {
			continue
		}
		words := fmt.Sprintf("the %s level is in force %s", l.Kind, l.SeasonWords)
		if l.FrostUnknown {
			words += "; the farm has no date for its first frost, so that end is left open: leafturn farm set --first-frost MM-DD"
		}
		vin.Which = append(vin.Which, words)
	}
	if l := base.Act; in.Deep && l != nil && l.From+l.To != "" && met(l.Requires, in.Holds) {
		vin.Which = append(vin.Which, fmt.Sprintf("the action level is the one for %s: the bed is at the stage %s", l.StageWords, in.Stage))
	}
	if l := base.Act; l != nil && l.Requires == "no_tospovirus" {
		caution := ""
		if _, said := in.Holds[l.Requires]; !said {
			caution = "whether a tospovirus is on the farm is not known; the level is for a farm without one, and a far lower one acts where it is confirmed"
		} else if len(in.Suspects) > 0 {
			caution = "the level is for a farm without a tospovirus, as you say yours is; a far lower one acts where it is confirmed"
		}
		if len(in.Suspects) > 0 {
			caution += "; not tested yet: " + suspectWords(in.Suspects)
		}
		if caution != "" {
			vin.Cautions = append(slices.Clone(vin.Cautions), caution)
		}
	}
	vin.Act, vin.Watch = verdictLevel(base.Act, *base.Unit, scale), verdictLevel(base.Watch, *base.Unit, scale)
	if base.Act == nil {
		vin.NoThreshold = NoLevelWords(in, *base.Unit)
	} else if base.Act.NeedsDamagePct > 0 {
		vin.Damage = verdict.Damage{NeedsPct: &base.Act.NeedsDamagePct, Words: "damage"}
		if d := base.Visit.Damage; d != nil {
			vin.Damage.Hurt, vin.Damage.Looked = d.Hurt, d.Looked
		}
	}
	a.enemies(in, base, &vin)
	if j := a.validBefore(on, base.Unit.Key); j >= 0 {
		prev := &a.Readings[j]
		vin.Rising = base.Value > prev.Value && prev.Value > 0
		vin.Doubling = base.Value >= 2*prev.Value && prev.Value > 0
	}
	now, err := a.judgeBelief(in, base, &vin)
	if err != nil {
		return judged{}, err
	}
	res := verdict.Decide(vin)
	if now != nil && !base.Alone && res.Verdict != verdict.Stale {
		on := ""
		if base.Visit.Date != in.Today {
			on = " on " + base.Visit.Date.Short()
		}
		res.Reasons = append(res.Reasons, fmt.Sprintf("with what earlier visits showed: likely %.3g to %.3g %s%s",
			base.LikelyL, base.LikelyH, base.Unit.Words, on))
	}
	if scale != 1 && res.Verdict != verdict.Stale {
		res.Reasons = append(res.Reasons, fmt.Sprintf("the %s stood %s: %s",
			Plural(base.Unit.Label, base.N), nightWords(base.Visit.Conditions.Nights), base.Unit.Say(fmt.Sprintf("%.3g", base.Value))))
	}
	res = signsFaded(in, orDamage(in, res, base), base)
	if !r.Valid() && (res.Verdict == verdict.Hold || res.Verdict == verdict.Stale) {
		// The last look was worth nothing: an older low count is no reason to
		// leave the bed for another week, and a stale one says no more.
		res.Verdict, res.Rule, res.RecheckInDays = verdict.LookAgain, verdict.RuleInvalid, 0
		return judged{res, i, now, nil}, nil
	}
	return judged{res, on, now, confirm}, nil
}

// unnoted gives the verdict what was not noted of a visit's conditions. What
// was noted that day in the bed, or all over the round, stands in.
func (a *Assessment) unnoted(in Input, r *Reading, vin *verdict.Input) {
	vin.Cautions, vin.Unnoted = r.Cautions, verdict.Unnoted(r.Visit.Conditions, r.Unit.Needs)
	if len(vin.Unnoted) == 0 || in.Noted == nil {
		return
	}
	v := *r.Visit
	day, c := in.Noted(v.Bed, v.Date), &v.Conditions
	a.Asked = append(a.Asked, NotedDay{v.Bed, v.Date, day})
	c.Soil, c.Foliage = cmp.Or(c.Soil, day.Soil), cmp.Or(c.Foliage, day.Foliage)
	c.AirC, c.SoilC = cmp.Or(c.AirC, day.AirC), cmp.Or(c.SoilC, day.SoilC)
	vin.Unnoted = verdict.Unnoted(*c, r.Unit.Needs)
	bad, open := verdict.Conditions(v, r.Unit.Needs)
	vin.Cautions = open
	vin.Doubts = append(vin.Doubts, bad...)
}

// minUnits is the number of units below which there is no verdict: for a
// protocol that looks at every plant, no more than the bed has.
func minUnits(u Unit, b farm.Bed) int {
	if u.Wanted == 0 && b.Plants > 0 {
		return min(u.Min, b.Plants)
	}
	return u.Min
}
