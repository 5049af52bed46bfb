package assess

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"slices"

	"gonum.org/v1/gonum/stat"

	"leafturn/internal/belief"
	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
)

// OwnClumping moves how the pest clumps on each unit that is counted from the
// published law, or the usual k, towards what the farm's own visits show: the
// more of them there are, the further (see belief.PoolTaylor). It takes the
// valid visits to randomly chosen units, of any bed, and leaves out those in
// which one unit is far above the others, as a slip of the pen makes it.
//
// A visit is read by what the weeks before its own taught (Unit.On), so that
// what it says does not change when later ones arrive; Dispersed is what holds
// in the week of on. The pest is returned anew; p is not changed. kept, which
// may be nil, remembers laws between calls.
func OwnClumping(p Pest, visits []farm.Visit, on civil.Date, kept *Beliefs) (Pest, error) {
	return OwnClumpingBy(p, visits, on, kept, nil)
}

// Law is how a pest clumps on a unit by the visits before a week; Taught is
// false where no visit of before could tell.
type Law struct {
	Taught     bool
	Dispersion estimate.Dispersion
}

// Laws keeps laws between runs.
type Laws interface {
	// Get returns the law of a unit before a week that begins on a Monday.
	Get(u Unit, week civil.Date) (Law, bool)
	Put(u Unit, week civil.Date, l Law)
	// Counted returns the visits with their counts.
	Counted() ([]farm.Visit, error)
}

// OwnClumpingBy is OwnClumping with laws that are known already; only where one
// is not are the counts of visits asked for.
func OwnClumpingBy(p Pest, visits []farm.Visit, on civil.Date, kept *Beliefs, laws Laws) (Pest, error) {
	units := make([]Unit, len(p.Units))
	for i, u := range p.Units {
		units[i] = u
		if u.Percent {
			continue
		}
		var usable *tellers
		law := func(w civil.Date) (l Law, err error) {
			if laws != nil {
				if l, ok := laws.Get(u, w); ok {
					return l, nil
				}
			}
			if usable == nil {
				if laws != nil {
					if visits, err = laws.Counted(); err != nil {
						return l, err
					}
				}
				usable = tellClumping(p.Key, u, visits)
			}
			before := usable.before(w)
			l.Taught = before > 0
			l.Dispersion, err = kept.law(p.Key, u, usable, before)
			if err == nil && laws != nil {
				laws.Put(u, w, l)
			}
			return l, err
		}
		weeks := []civil.Date{monday(on)}
		var last civil.Date
		for i := range visits {
			if v := &visits[i]; v.Pest == p.Key && v.Unit == u.Key && v.Date != last {
				last = v.Date
				weeks = append(weeks, monday(last))
			}
		}
		slices.SortFunc(weeks, civil.Date.Compare)
		for _, w := range slices.Compact(weeks) {
			l, err := law(w)
			if err != nil {
				return p, fmt.Errorf("clumping of %s on %s: %w", p.Key, u.Key, err)
			}
			if l.Taught {
				units[i].known = u.Dispersed
				units[i].weeks = append(units[i].weeks, weekLaw{w, l.Dispersion})
			}
			if w == monday(on) {
				units[i].Dispersed = l.Dispersion
			}
		}
	}
	p.Units = units
	return p, nil
}

// monday is the first day of a day's week.
func monday(d civil.Date) civil.Date { return d.AddDays(-(int(d.Time().Weekday()) + 6) % 7) }

// weekLaw is how a pest clumps on a unit by what was known when a week began.
type weekLaw struct {
	from civil.Date
	law  estimate.Dispersion
}

// On is the unit with the clumping that a visit of that day is read by.
func (u Unit) On(day civil.Date) Unit {
	switch week := u.week(day); {
	case week >= 0:
		u.Dispersed = u.weeks[week].law
	case u.weeks != nil:
		u.Dispersed = u.known
	}
	return u
}

// week is the number of the last of u.weeks that has begun by a day, -1 for none.
func (u *Unit) week(day civil.Date) int {
	n := len(u.weeks) - 1
	for n >= 0 && day.Before(u.weeks[n].from) {
		n--
	}
	return n
}

// unitOn is Unit.On, once for all visits of a week.
func (k *Beliefs) unitOn(u *Unit, day civil.Date) *Unit {
	if u.weeks == nil {
		return u
	}
	made := func() (*Unit, error) { on := u.On(day); return &on, nil }
	if k == nil {
		on, _ := made()
		return on
	}
	on, _ := k.units.get(unitWeek{u, u.week(day)}, made)
	return on
}

// law is the law of the unit by the first n visits, once for the same ones.
func (k *Beliefs) law(pest string, u Unit, visits *tellers, n int) (estimate.Dispersion, error) {
	made := func() (estimate.Dispersion, error) { return visits.law(u, n) }
	if k == nil || n == 0 {
		return made()
	}
	h := fnv.New64a()
	var id [8]byte
	for _, x := range visits.all[:n] {
		if x.id == 0 {
			return made()
		}
		binary.LittleEndian.PutUint64(id[:], uint64(x.id))
		_, _ = h.Write(id[:])
	}
	return k.laws.get(lawKey{pest, u.Key, n, h.Sum64()}, made)
}

// law is the unit's clumping after the first n visits.
func (t *tellers) law(u Unit, n int) (estimate.Dispersion, error) {
	known := u.clump()
	law := belief.Law{A: known.A, B: known.B, K: known.K}
	t.use = t.use[:0]
	for i := range n {
		t.use = append(t.use, i)
	}
	own, err := t.pairs.Pool(law, t.use)
	if err != nil {
		return u.Dispersed, err
	}
	// What is far off even by the farm's own clumping is a slip.
	t.use = t.use[:0]
	for i, x := range t.all[:n] {
		far, err := estimate.Outlier(x.counts, own.Dispersion())
		if err != nil {
			return u.Dispersed, err
		}
		if far == 0 {
			t.use = append(t.use, i)
		}
	}
	if len(t.use) < n {
		if own, err = t.pairs.Pool(law, t.use); err != nil {
			return u.Dispersed, err
		}
	}
	if own.Visits == 0 {
		return u.Dispersed, nil
	}
	words := u.Dispersed.Words
	if words == "" {
		words = "k as for most pests on plants: common practice"
	}
	return estimate.Dispersion{A: own.A, B: own.B, K: own.K, Words: words + "; moved by " + visitWords(own.Visits) + " of this farm's earlier weeks of the season"}, nil
}

func visitWords(n int) string {
	if n == 1 {
		return "1 visit"
	}
	return fmt.Sprintf("%d visits", n)
}

// tellers are the visits that can tell how a pest clumps on a unit, oldest
// first.
type tellers struct {
	all   []told
	pairs *belief.Pairs
	use   []int // room to work in
}

// told is a visit that can tell.
type told struct {
	id     int64
	on     civil.Date
	counts []int
}

// before is how many of the visits are before a day.
func (t *tellers) before(day civil.Date) int {
	n, _ := slices.BinarySearchFunc(t.all, day, func(x told, day civil.Date) int { return x.on.Compare(day) })
	return n
}

// tellClumping are the visits that can tell how the pest clumps on the unit.
func tellClumping(pest string, u Unit, visits []farm.Visit) *tellers {
	var out []told
	for i := range visits {
		v := &visits[i]
		if v.Pest != pest || v.Unit != u.Key || v.Stratum == farm.HotSpot || v.Stratum == farm.Edge || len(verdict.Validity(*v, u.Needs)) > 0 {
			continue
		}
		counts := v.Seen()
		if len(counts) < 2 {
			continue
		}
		out = append(out, told{v.ID, v.Date, counts})
	}
	slices.SortStableFunc(out, func(a, b told) int { return a.on.Compare(b.on) })
	pairs, x := make([]belief.MomentPair, len(out)), []float64(nil)
	for i, v := range out {
		x = x[:0]
		for _, c := range v.counts {
			x = append(x, float64(c))
		}
		mean, variance := stat.MeanVariance(x, nil)
		pairs[i] = belief.MomentPair{Mean: mean, Variance: variance, N: len(x)}
	}
	return &tellers{all: out, pairs: belief.NewPairs(pairs)}
}
