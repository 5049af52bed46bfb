package assess

import (
	"fmt"
	"math"
	"sync"
	"sync/atomic"

	"leafturn/internal/belief"
	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/forecast"
	"leafturn/internal/sampling"
	"leafturn/internal/verdict"
)

// stepUnrest multiplies what is not known of the rate of growth over a time in
// which something was done against the pest. Common practice.
const stepUnrest = 2

// clump is how the pest clumps on a unit. Where nothing is known a percentage
// is of plants or parts taken to be hit at random, and a count is taken to be
// as clumped as k = 1. Common practice.
func (u Unit) clump() belief.Clump {
	d := u.Dispersed
	switch {
	case d.A > 0:
		return belief.Clump{A: d.A, B: d.B}
	case d.K > 0:
		return belief.Clump{K: d.K}
	case u.Percent:
		return belief.Clump{K: math.Inf(1)}
	}
	return belief.Clump{K: 1}
}

// shown is what a reading says to the belief.
type shown struct {
	counts   []farm.UnitCount
	presence estimate.Presence
	scale    float64
}

func (r *Reading) shown() shown {
	s := shown{counts: r.Visit.Counts, scale: r.Scale()}
	if p := r.Visit.Presence; p != nil {
		s.presence = estimate.Presence{Infested: p.Infested, Looked: p.Looked}
	}
	if r.Unit.Percent {
		// A percentage knows only infested or not: counts that were written
		// down anyway are scored.
		s.counts = nil
		s.presence = estimate.Presence{Infested: r.Share.Infested, Looked: r.Share.Looked, Tally: max(r.Unit.Tally, 1) - 1}
	}
	return s
}

func (s shown) looked() int {
	return farm.Visit{Counts: s.counts}.UnitsLooked() + s.presence.Looked
}

func (s shown) evidence() belief.Evidence {
	return belief.Evidence{Counts: farm.Visit{Counts: s.counts}.Seen(), Presence: s.presence, Scale: s.scale}
}

// believe carries a belief for each measure through the valid readings in the
// order of their days, and reads intervals and chances off it; of brief
// readings it only notes where they stand.
func (a *Assessment) believe(in Input) error {
	now := map[string]*state{}
	seen := map[string][]forecast.Seen{}
	for i := range a.Readings {
		r := &a.Readings[i]
		if !r.Valid() {
			continue
		}
		before := now[r.Unit.Measure]
		g := belief.UnknownGrowth()
		if before != nil {
			g = in.growth(before.day, r.Visit.Date, seen[r.Unit.Measure])
		}
		next := in.Beliefs.after(before, r, g)
		if in.Grows != nil {
			if s, ok := r.seen(); ok {
				seen[r.Unit.Measure] = append(seen[r.Unit.Measure], s)
			}
		}
		now[r.Unit.Measure] = next
		r.state, r.Alone = next, before == nil || before.weak
		if !r.brief {
			if err := r.believed(); err != nil {
				return err
			}
		}
	}
	// A hot spot is believed by itself: it says nothing of the bed.
	for i := range a.HotSpots {
		h := &a.HotSpots[i]
		if !h.Valid() {
			continue
		}
		h.state, h.Alone = in.Beliefs.after(nil, h, belief.UnknownGrowth()), true
		if err := h.believed(); err != nil {
			return err
		}
	}
	return nil
}

// Believed is Belief, made where a brief assessment left it out. An error means
// that a stored visit cannot be computed with.
func (r *Reading) Believed() (*belief.Belief, error) {
	if r.state == nil || r.Belief != nil {
		return r.Belief, nil
	}
	b, read, err := r.state.believed()
	if err != nil {
		return nil, r.wrong(err)
	}
	r.Belief, r.read = b, read
	return b, nil
}

// believed fills the belief of a reading and what is read off it.
func (r *Reading) believed() error {
	b, err := r.Believed()
	if b != nil {
		r.readOff()
	}
	return err
}

func (r *Reading) wrong(err error) error {
	return fmt.Errorf("visit %d of %s on %s: %w", r.Visit.ID, r.Visit.Bed, r.Visit.Date, err)
}

// Beliefs keeps what visits showed, so that it is worked out once: the lists of
// two weeks share all but the last round. It holds the last beliefs of each
// bed and pest, each known by the one before it and by its visit, the density
// of a visit by itself, and how pests clump by what was known when a week began.
// A visit never changes once it is stored; those without a record number are
// not kept. Several goroutines may use one; the zero value is ready, and a nil
// one keeps nothing.
type Beliefs struct {
	Saved Saved // beliefs of earlier runs; nil for none

	states      kept[stateKey, *state]
	likelihoods kept[likelihoodKey, *belief.Likelihood]
	densities   kept[densityKey, estimate.Density]
	laws        kept[lawKey, estimate.Dispersion]
	levels      kept[levelKey, float64]
	units       kept[unitWeek, *Unit]
	intervals   kept[intervalKey, estimate.Interval]
}

// kept is a map that several goroutines may use.
type kept[K comparable, V any] struct {
	mu  sync.Mutex
	all map[K]*keptOne[V]
}

type keptOne[V any] struct {
	once sync.Once
	v    V
	err  error
}

// get returns what is kept, or makes it and keeps it. Of those that ask for it
// at once the first makes it.
func (k *kept[K, V]) get(key K, made func() (V, error)) (V, error) {
	k.mu.Lock()
	one := k.all[key]
	if one == nil {
		if k.all == nil {
			k.all = map[K]*keptOne[V]{}
		}
		one = &keptOne[V]{}
		k.all[key] = one
	}
	k.mu.Unlock()
	one.once.Do(func() { one.v, one.err = made() })
	return one.v, one.err
}

// unitWeek is a unit of a pest's facts in a week of its own.
type unitWeek struct {
	unit *Unit
	week int
}

// stateKey is a reading, and how it follows the state before it.
type stateKey struct {
	visit  int64
	pest   string
	unit   string
	clump  belief.Clump
	growth belief.Growth
}

type likelihoodKey struct {
	clump belief.Clump
	scale float64
}

// lawKey names the visits before a week by their number and a sum over theirs.
type lawKey struct {
	pest, unit string
	visits     int
	sum        uint64
}

// levelKey is a share of infested units whose density was looked for.
type levelKey struct {
	clump belief.Clump
	tally int
	level float64
}

// intervalKey is what the interval of a visit by itself depends on.
type intervalKey struct {
	clump        belief.Clump
	units, total int
	presence     estimate.Presence
	level        float64
}

type densityKey struct {
	visit int64
	unit  string
	clump belief.Clump
}

// state is what is believed after a reading: how it is made, and while it is
// kept the belief itself.
type state struct {
	before *state // nil: the first of a season, which begins weak
	day    civil.Date
	growth belief.Growth // since before
	shown  shown
	like   func() (*belief.Likelihood, error) // made when it is needed
	weak   bool                               // no unit was looked at yet
	chain  Chain
	saved  Saved // nil: chain is not set

	key  stateKey
	next atomic.Pointer[state] // that followed it last

	mu     sync.Mutex
	belief *belief.Belief
	read   *belief.Reader // nil where nothing was read off it yet
}

// keptStates is how many of the latest beliefs of a bed and pest are kept: a
// list looks back at the one of the week before. Older ones are made again
// where they are asked for.
const keptStates = 4

// after is the state after a reading. before is the one of the last reading,
// nil for the first of a season, and growth what may have happened since.
func (k *Beliefs) after(before *state, r *Reading, g belief.Growth) *state {
	day, c := r.Visit.Date, r.Unit.clump()
	made := func() *state {
		s := &state{before: before, day: day, growth: g, shown: r.shown()}
		s.weak = (before == nil || before.weak) && s.shown.looked() == 0
		s.like = func() (*belief.Likelihood, error) { return k.likelihood(c, s.shown.scale) }
		if k != nil && k.Saved != nil && (before == nil || before.saved != nil) {
			s.saved, s.chain = k.Saved, s.named(c)
		}
		return s
	}
	if k == nil || r.Visit.ID == 0 {
		return made()
	}
	key := stateKey{r.Visit.ID, r.Visit.Pest, r.Unit.Key, c, g}
	if before == nil {
		s, _ := k.states.get(key, func() (*state, error) { return made(), nil })
		return s
	}
	for {
		old := before.next.Load()
		if old != nil && old.key == key {
			return old
		}
		s := made()
		s.key = key
		if before.next.CompareAndSwap(old, s) {
			return s
		}
	}
}

func (k *Beliefs) likelihood(c belief.Clump, scale float64) (*belief.Likelihood, error) {
	made := func() (*belief.Likelihood, error) { return belief.NewLikelihood(c, scale) }
	if k == nil {
		return made()
	}
	return k.likelihoods.get(likelihoodKey{c, scale}, made)
}

// believed is the belief of a state and its reader.
func (s *state) believed() (*belief.Belief, *belief.Reader, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.read != nil {
		return s.belief, s.read, nil
	}
	if s.lookUp() == nil {
		last := &belief.Belief{Date: s.day}
		var err error
		if s.before != nil {
			if last, err = s.before.density(); err != nil {
				return nil, nil, err
			}
		}
		b, err := through(*last, []*state{s})
		if err != nil {
			return nil, nil, err
		}
		s.belief = &b
	}
	if s.read == nil {
		s.read = s.belief.Read()
	}
	old := s
	for range keptStates {
		if old = old.before; old == nil {
			return s.belief, s.read, nil
		}
	}
	old.mu.Lock()
	old.belief, old.read = nil, nil
	old.mu.Unlock()
	return s.belief, s.read, nil
}

// through is what is believed after states that follow each other, from what was
// believed before.
func through(b belief.Belief, way []*state) (belief.Belief, error) {
	steps := make([]belief.Step, len(way))
	last := b.Date
	for i, s := range way {
		like, err := s.like()
		if err != nil {
			return b, err
		}
		steps[i] = belief.Step{Days: s.day.Sub(last), Growth: s.growth, Like: like, Evidence: s.shown.evidence()}
		last = s.day
	}
	return belief.Through(b, steps)
}

// density is what a visit says by itself.
func (k *Beliefs) density(v farm.Visit, u Unit, brief bool) (estimate.Density, error) {
	made := func() (estimate.Density, error) { return k.densityOf(v, u, brief) }
	if k == nil || v.ID == 0 || brief {
		return made()
	}
	d, err := k.densities.get(densityKey{v.ID, u.Key, u.clump()}, made)
	d.KSource = kSource(u)
	return d, err
}

// interval is belief.SampleInterval, once for the same number of animals on as
// many units: it depends on nothing else of them.
func (k *Beliefs) interval(e belief.Evidence, total int, c belief.Clump, level float64) (estimate.Interval, error) {
	made := func() (estimate.Interval, error) { return belief.SampleInterval(e, c, level) }
	if k == nil {
		return made()
	}
	key := intervalKey{c, len(e.Counts), total, e.Presence, level}
	return k.intervals.get(key, func() (estimate.Interval, error) {
		if k.Saved == nil {
			return made()
		}
		name := key.named()
		if in, ok := k.Saved.Interval(name); ok {
			return in, nil
		}
		in, err := made()
		if err == nil {
			k.Saved.PutInterval(name, in)
		}
		return in, err
	})
}

// readOff fills what is read off the belief: the likely range and the chances.
func (r *Reading) readOff() {
	low, high := math.NaN(), math.NaN()
	read := r.read
	if iv, err := read.Interval(0.95); err == nil {
		low, high = iv.Low, iv.High
	}
	if r.Unit.Percent {
		r.LikelyL, r.LikelyH = 100*r.shareAt(low), 100*r.shareAt(high)
	} else {
		r.LikelyL, r.LikelyH = low, high
	}
	if r.found() == 0 && r.Alone {
		r.LikelyL, r.LikelyH = 0, r.inMeasure(read.Quantile(0.95))
	}
	of := func(l *Level) float64 {
		switch {
		case l == nil || l.Operator == "none":
			return math.NaN()
		case l.Operator == ">" && l.Value == 0:
			if r.found() > 0 {
				return 1
			}
			return 0
		}
		return r.over(read, l.Value)
	}
	r.Chance, r.ChanceW = of(r.Act), of(r.Watch)
	r.ChanceThen = r.Chance
}

func (r *Reading) inMeasure(density float64) float64 {
	if r.Unit.Percent {
		return 100 * r.shareAt(density)
	}
	return density
}

// found is the number of animals, or of infested units.
func (r *Reading) found() int {
	if r.Share != nil {
		return r.Share.Infested
	}
	n := r.Density.Total
	if p := r.Visit.Presence; p != nil {
		n += p.Infested
	}
	return n
}

// shareAt is the share of units infested at a density.
func (r *Reading) shareAt(density float64) float64 {
	p, err := estimate.ShareOver(max(r.Unit.Tally, 1)-1, density, r.Unit.clump().At(density))
	if err != nil {
		return math.NaN()
	}
	return p
}

// densityAt is the density at which a share of units is infested: the share
// rises with the density, so the place is found by halving.
func (r *Reading) densityAt(share float64) float64 {
	lo, hi := math.Log(belief.Lowest), math.Log(belief.Highest)
	for range 60 {
		mid := (lo + hi) / 2
		if r.shareAt(math.Exp(mid)) < share {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Exp((lo + hi) / 2)
}

// over is the chance that the truth is at or over a level in the measure.
func (r *Reading) over(b interface{ Exceeds(float64) float64 }, level float64) float64 {
	return b.Exceeds(r.DensityOf(level))
}

// judgeBelief puts the belief of a reading, carried forward to today, into
// the verdict's terms.
func (a *Assessment) judgeBelief(in Input, r *Reading, vin *verdict.Input) (*belief.Ahead, error) {
	if r.Belief == nil {
		return nil, nil
	}
	from := r.Belief.Date
	var seen []forecast.Seen
	if in.Grows != nil {
		for i := range a.Readings {
			x := &a.Readings[i]
			if s, ok := x.seen(); ok && x.Valid() && x.Unit.Measure == r.Unit.Measure && !x.Visit.Date.After(from) {
				seen = append(seen, s)
			}
		}
	}
	now, err := belief.LookAhead(*r.Belief, in.Today.Sub(from), in.growth(from, in.Today, seen))
	if err != nil {
		return nil, err
	}
	scale := r.Scale()
	vin.Over = func(level float64) float64 {
		if r.Unit.Percent {
			return r.over(now, 100*level)
		}
		return r.over(now, level*scale)
	}
	vin.Typical = func() float64 { return now.Belief().Median() / scale }
	if l := r.Act; in.Deep && l != nil && l.Operator != "none" && l.Value > 0 {
		vin.Settle = func() (int, float64, bool) { return settle(now.Belief(), r, l.Value, in, scale) }
	}
	return now, nil
}

// Chance asked of "so many more units would settle it", and the most units
// worth asking for.
const (
	settleChance = 0.8
	settleMost   = 100
)

// settle finds how many more units would bring the chance of being over a
// level to where it decides.
func settle(b belief.Belief, r *Reading, level float64, in Input, scale float64) (int, float64, bool) {
	s := sampling.Settle{Threshold: level / scale, Clump: r.Unit.SamplingClump(), ActAt: in.actAt(), HoldBelow: in.HoldBelow}
	if s.HoldBelow <= 0 {
		s.HoldBelow = min(verdict.DefaultHoldBelow, s.ActAt)
	}
	if r.Unit.Percent {
		s.Percent, s.Threshold, s.Tally, s.Clump = true, level/100, max(r.Unit.Tally, 1)-1, sampling.Clump{}
	}
	s.Belief = r.Levels(b, level)
	n, p, ok, err := s.More(settleChance, settleMost)
	return n, p, ok && err == nil && n > 0
}

// Levels is a belief in the terms of a sampling plan for the reading's unit:
// animals per unit as long as it stood, or the share of units infested. The
// weights at or over level, a level in the measure, are b's chance of it.
func (r *Reading) Levels(b belief.Belief, level float64) sampling.Belief {
	density, weight := b.WeightsAbout(r.DensityOf(level))
	scale := r.Scale()
	levels := make([]float64, len(density))
	for i, m := range density {
		if r.Unit.Percent {
			levels[i] = r.shareAt(m)
		} else {
			levels[i] = m / scale
		}
	}
	return sampling.Belief{Levels: levels, Weights: weight}
}

// SamplingClump is how the pest clumps on the unit, for a sampling plan.
func (u Unit) SamplingClump() sampling.Clump {
	c := u.clump()
	if c.A > 0 {
		return sampling.Clump{TaylorA: c.A, TaylorB: c.B}
	}
	return sampling.Clump{K: c.K}
}

// ClumpAt is k of the pest's counts on the unit at a mean, +Inf for Poisson.
func (u Unit) ClumpAt(mean float64) float64 { return u.clump().At(mean) }

// TrendClump is how the pest clumps on the unit, for package trend.
func (u Unit) TrendClump() estimate.Dispersion { return u.clump().Dispersion() }

// DensityOf is the density of the belief at a level in the measure: the level
// itself, or for a percentage the density at which that share is infested.
func (r *Reading) DensityOf(level float64) float64 {
	if r.Unit == nil || !r.Unit.Percent || math.IsNaN(level) {
		return level
	}
	made := func() (float64, error) { return r.densityAt(level / 100), nil }
	if r.kept == nil {
		d, _ := made()
		return d
	}
	d, _ := r.kept.levels.get(levelKey{r.Unit.clump(), r.Unit.Tally, level}, made)
	return d
}
