package forecast

import (
	"math"
	"slices"
	"sync"
)

// plan is the growth of ln density since today on each path, for beds that
// share it.
type plan struct {
	once      sync.Once
	alpha     [][]float64 // by day and path, without the noise
	noise     float64     // standard deviation
	sum       [][]float64 // since today
	low, high []float64   // of sum, by day
	top       []float64   // the most of sum so far, by path and within it by day
	most      []float64   // of sum, by path

	flat, factor []float64 // room for it all
}

// growthKey tells growths apart.
type growthKey struct {
	table *Table
	own   Rate
	is    bool
	noise float64
}

func (g Growth) key() growthKey {
	k := growthKey{table: g.Table, noise: g.Noise}
	if g.Own != nil {
		k.own, k.is = *g.Own, true
	}
	return k
}

// fill sets pl to the plan of a growth, whatever it was of.
func (f *Forecaster) fill(pl *plan, g Growth) {
	n := f.paths
	size := (2*f.days + 2) * n
	pl.flat = slices.Grow(pl.flat[:0], size)[:size]
	flat := pl.flat
	cut := func() []float64 {
		out := flat[:n:n]
		flat = flat[n:]
		return out
	}
	pl.factor = slices.Grow(pl.factor[:0], n)[:n]
	factor := pl.factor
	times := g.factors(f, factor)
	pl.noise = math.Sqrt(g.Noise)
	pl.alpha, pl.sum, pl.most = pl.alpha[:0], append(pl.sum[:0], cut()), cut()
	clear(pl.sum[0])
	clear(pl.most)
	pl.top = slices.Grow(pl.top[:0], topDays*n)[:topDays*n]
	pl.low, pl.high = append(pl.low[:0], 0), append(pl.high[:0], 0)
	for p := range n {
		pl.top[p*topDays] = 0
	}
	for d := range f.days {
		alpha, sum := cut(), cut()
		low, high := math.Inf(1), math.Inf(-1)
		for p, k := range factor {
			if times {
				k *= g.Table.base[d][p]
			}
			alpha[p] = k
			s := pl.sum[d][p] + k + pl.noise*f.noise[d][p]
			sum[p], pl.most[p] = s, max(pl.most[p], s)
			pl.top[p*topDays+d+1] = pl.most[p]
			low, high = min(low, s), max(high, s)
		}
		pl.alpha, pl.sum = append(pl.alpha, alpha), append(pl.sum, sum)
		pl.low, pl.high = append(pl.low, low), append(pl.high, high)
	}
	for p, most := range pl.most {
		for d := f.days + 1; d < topDays; d++ {
			pl.top[p*topDays+d] = most
		}
	}
}

// levels are ln of the cap and of the threshold.
func (b Bed) levels() (lnCap, level float64) {
	lnCap, level = most, math.Inf(1)
	if b.Cap > 0 {
		lnCap = math.Log(b.Cap)
	}
	if b.Threshold > 0 {
		level = math.Log(b.Threshold)
	}
	return lnCap, level
}

// undisturbed is way without steps: growth is added to the start, so that each
// path's days at the threshold and at the cap can be read off the plan.
func (f *Forecaster) undisturbed(b Bed, name string, pl *plan, w *work) Way {
	lnCap, level := b.levels()
	var crossed, ran [MostDays + 2]int
	low, high := math.Inf(1), math.Inf(-1)
	end, first := pl.most[:f.paths], min(level, lnCap)
	for p, s := range w.first {
		if s < low {
			low = s
		}
		if s > high {
			high = s
		}
		w.run[p] = MostDays + 1
		if s+end[p] < first {
			continue
		}
		if s+end[p] >= lnCap {
			w.run[p] = uint8(pl.reaches(p, s, lnCap))
			ran[w.run[p]]++
		}
		// At the cap a path goes no further.
		if level <= lnCap {
			crossed[pl.reaches(p, s, level)]++
		}
	}
	way := newWay(name, f.days)
	t := tally{n: f.paths, level: level, paths: &way, capped: b.Cap > 0}
	for d := range f.days + 1 {
		t.crossed, t.ran = t.crossed+crossed[d], t.ran+ran[d]
		t.days += d * crossed[d]
		from, to := min(low+pl.low[d], lnCap), min(high+pl.high[d], lnCap)
		if t.ran > 0 {
			to = lnCap // where some stay, though all others fall
		}
		w.pick.start(from, to, f.paths)
		if t.ran > 0 {
			w.pick.addHeld(w.first, pl.sum[d], w.ln, w.run, uint8(d), lnCap)
		} else {
			w.pick.addSum(w.first, pl.sum[d], w.ln)
		}
		t.day(w, d, b.Keep)
	}
	t.finish()
	return way
}

// topDays is the room for the days of a path in plan.top, which goes on as it
// ends: enough for today and MostDays.
const topDays = MostDays + 1

// reaches is the first day on which a path from s, that does so, has been at
// level: the number of days on which it has not, taken from the sign of what is
// missing, without a branch that cannot be foreseen.
func (pl *plan) reaches(p int, s, level float64) (d int) {
	for _, top := range (*[topDays]float64)(pl.top[p*topDays:]) {
		d += int(math.Float64bits(s+top-level) >> 63)
	}
	return d
}

// tally makes a way's days.
type tally struct {
	n, crossed, ran, days int
	level                 float64
	capped                bool
	paths                 *Way
}

func newWay(name string, days int) Way {
	return Way{Name: name, Cross: math.NaN(), Likely: -1, Never: 1, Days: make([]Day, 0, days+1)}
}

func (t *tally) day(w *work, d int, keep bool) {
	n := float64(t.n)
	day, over := w.pick.day(w.ln, t.level)
	day.Over, day.Within = float64(over)/n, float64(t.crossed)/n
	if t.capped {
		day.Overrun = float64(t.ran) / n
	}
	if t.paths.Likely < 0 && 2*t.crossed >= t.n {
		t.paths.Likely = d
	}
	t.paths.Days = append(t.paths.Days, day)
	if keep {
		t.paths.Ln = append(t.paths.Ln, slices.Clone(w.ln))
	}
}

func (t *tally) finish() {
	if t.crossed > 0 {
		t.paths.Cross = float64(t.days) / float64(t.crossed)
	}
	t.paths.Never = float64(t.n-t.crossed) / float64(t.n)
}

// way carries all paths through the days, with steps.
func (f *Forecaster) way(b Bed, a Alternative, pl *plan, w *work) (Way, error) {
	lnCap, level := b.levels()
	way := newWay(a.Name, f.days)
	t := tally{n: f.paths, level: level, paths: &way, capped: b.Cap > 0}
	copy(w.ln, w.first)
	clear(w.held)
	for p := range w.over {
		w.over[p], w.run[p] = MostDays+1, MostDays+1
	}
	var release *Release
	for d := 0; ; d++ {
		low, high := math.Inf(1), math.Inf(-1)
		for p, v := range w.ln {
			if v >= lnCap {
				v = lnCap
				w.held[p] = true
				if w.run[p] > MostDays {
					w.run[p] = uint8(d)
					t.ran++
				}
			}
			if v >= level && w.over[p] > MostDays {
				w.over[p] = uint8(d)
				t.crossed++
				t.days += d
			}
			w.ln[p] = v
			low, high = min(low, v), max(high, v)
		}
		w.pick.start(low, high, f.paths)
		w.pick.add(w.ln)
		t.day(w, d, b.Keep)
		if d == f.days {
			t.finish()
			return way, nil
		}
		for _, s := range a.Steps {
			if s.Day != d {
				continue
			}
			if s.Treatment != nil {
				f.treat(w, *s.Treatment, release != nil)
				continue
			}
			w.put(*s.Release, release == nil, f.effect)
			release = s.Release
			way.Outcome = f.outcome(b, *release, way.Days[d].Median, w.predators, d)
		}
		if release == nil {
			for p, v := range w.ln {
				if !w.held[p] {
					w.ln[p] = max(v+pl.alpha[d][p]+pl.noise*f.noise[d][p], gone)
				}
			}
			continue
		}
		if err := f.hunt(w, *release, pl, d); err != nil {
			return Way{}, err
		}
	}
}

// treat leaves a share on each path, of the spot too where there is one.
func (f *Forecaster) treat(w *work, t Treatment, spot bool) {
	for p, z := range f.effect {
		left := math.Min(t.LnLeft+t.SD*z, 0)
		w.ln[p] = math.Max(w.ln[p]+left, gone)
		if spot {
			w.spot[p] *= math.Exp(left)
		}
		w.held[p] = w.held[p] && left == 0
	}
}
