package forecast

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"leafturn/internal/growth"
)

// Bed is one pest in one bed.
type Bed struct {
	Start     Start
	NoneFound bool // the counts that Start stands on found none
	Growth    Growth
	Threshold float64 // animals per sample unit; 0 for none known
	Cap       float64 // overrun: a path stays there until a step; 0 for none
	// Alternatives are what could be done. Without any it is nothing.
	Alternatives []Alternative
	Keep         bool // keep the paths, for scoring
}

// Alternative is one thing that could be done, or was.
type Alternative struct {
	Name  string
	Steps []Step
}

// Step is a treatment or a release at the end of a day, after its count: one
// on day 0, today, shows on day 1.
type Step struct {
	Day       int
	Treatment *Treatment
	Release   *Release
}

// Treatment leaves a share of the animals: its natural log, and the standard
// deviation of that. A path on which it would leave more than all leaves all.
type Treatment struct{ LnLeft, SD float64 }

// Measured is the treatment with an efficacy in percent and its 95 % interval,
// as counts before and after gave it. The standard deviation comes from the
// interval. Errors: ErrDomain.
func Measured(percent, low, high float64) (Treatment, error) {
	if !(low <= percent && percent <= high && low >= -1e6 && high < 100) {
		return Treatment{}, fmt.Errorf("efficacy %v %%, %v to %v %%: %w", percent, low, high, ErrDomain)
	}
	a, b := math.Log1p(-high/100), math.Log1p(-low/100)
	return Treatment{LnLeft: math.Log1p(-percent / 100), SD: (b - a) / (2 * 1.959963984540054)}, nil
}

// Release is predators set out into a hot spot: growth.Patch, with rates by
// the day's mean temperature.
type Release struct {
	Predators float64 // for each sample unit of the bed
	Share     float64 // of the bed's pest that is in the spot, above 0 to 1
	Appetite  growth.Curve
	Increase  growth.Curve
	// Fails is the chance that it does not settle and does nothing, 0 to below 1.
	Fails float64
	// The appetite is multiplied by a factor that lies below Low, or above
	// High, with a chance of 5 % each.
	Low, High float64
}

// Result is a bed's forecast, one for each alternative in their order.
type Result struct{ Ways []Way }

// Way is what one alternative leads to.
type Way struct {
	Name string
	Days []Day // from today on
	// Cross is the mean day on which the paths that come to the threshold do
	// so, NaN when none does or none is known; Likely the first day by which
	// half of them all have, -1 for none.
	Cross  float64
	Likely int
	Never  float64 // chance not to come to it within the days
	// Outcome is the course from the last release on, with all predators that
	// are out by then, at the weather and rates in the middle; "" without one.
	Outcome growth.Outcome
	Ln      [][]float64 // by day and path, with Keep
}

// Day is the forecast of one day. With no known threshold Over and Within are 0.
type Day struct {
	Median        float64
	Low50, High50 float64
	Low90, High90 float64
	Over          float64 // chance to be at or over the threshold
	Within        float64 // chance to have been on this or any day before
	Overrun       float64 // chance to have been at the cap
}

// gone is ln of a density that is none; most is as high as one goes.
const (
	gone = -46.0
	none = -40.0 // shown as 0
	most = 30.0
)

// Upper is the density below which 95 % of the belief lies: what can be said
// where none were found.
func Upper(s Start) float64 { return s.Quantile(0.95) }

type work struct {
	ln, first, spot, predators []float64
	over, run                  []uint8 // by path: the first day at the threshold and at the cap, later than all for never
	held                       []bool  // at the cap
	pick                       picker
}

// Bed works out one bed. Errors: ErrNoneFound for a bed where nothing was
// found, ErrNoRate, ErrNoWeather, ErrDomain.
func (f *Forecaster) Bed(b Bed) (Result, error) {
	if err := f.check(b); err != nil {
		return Result{}, err
	}
	r := rooms.Get().(*room)
	defer rooms.Put(r)
	f.fill(&r.plan, b.Growth)
	return f.bed(b, &r.plan, &r.work)
}

// room is room to work out a bed in.
type room struct {
	plan plan
	work work
}

var rooms = sync.Pool{New: func() any { return new(room) }}

// All works out many beds, on all cores: the results in their order, and for
// each its error or nil.
func (f *Forecaster) All(beds []Bed) ([]Result, []error) {
	out, errs := make([]Result, len(beds)), make([]error, len(beds))
	plans := make(map[growthKey]*plan)
	for i, b := range beds {
		if errs[i] = f.check(b); errs[i] == nil {
			if k := b.Growth.key(); plans[k] == nil {
				plans[k] = &plan{}
			}
		}
	}
	var next atomic.Int64
	var group sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(beds)) {
		group.Go(func() {
			w := new(work)
			for {
				i := int(next.Add(1)) - 1
				if i >= len(beds) {
					return
				}
				if errs[i] == nil {
					p := plans[beds[i].Growth.key()]
					p.once.Do(func() { f.fill(p, beds[i].Growth) })
					out[i], errs[i] = f.bed(beds[i], p, w)
				}
			}
		})
	}
	group.Wait()
	return out, errs
}

func (f *Forecaster) bed(b Bed, p *plan, w *work) (Result, error) {
	w.size(f.paths)
	if err := f.begin(b.Start, w.first); err != nil {
		return Result{}, err
	}
	ways := b.Alternatives
	if len(ways) == 0 {
		ways = []Alternative{{Name: "nothing"}}
	}
	var r Result
	for _, a := range ways {
		if len(a.Steps) == 0 {
			r.Ways = append(r.Ways, f.undisturbed(b, a.Name, p, w))
			continue
		}
		way, err := f.way(b, a, p, w)
		if err != nil {
			return Result{}, err
		}
		r.Ways = append(r.Ways, way)
	}
	return r, nil
}

// The belief is read at standard normal scores of so many steps to one, and in
// ln density along a straight line between them, on which a log-normal one
// lies: a quantile costs much more than a path does.
const (
	scoreSteps = 4
	farScore   = 4
)

// begin sets out to ln density today, by path.
func (f *Forecaster) begin(s Start, out []float64) error {
	var share, node [2*farScore*scoreSteps + 1]float64
	for i := range share {
		share[i] = math.Erfc(-(float64(i)/scoreSteps-farScore)/math.Sqrt2) / 2
	}
	if quick, ok := s.(interface{ LnQuantiles(shares, out []float64) }); ok {
		quick.LnQuantiles(share[:], node[:])
	} else {
		for i, p := range share {
			q := s.Quantile(p)
			if !(q >= 0 && q <= 1e12) {
				return fmt.Errorf("a density of %v in the belief, want 0 to 1e12: %w", q, ErrDomain)
			}
			node[i] = math.Log(q)
		}
	}
	for i := range node {
		node[i] = math.Max(node[i], gone)
		if i > 0 && node[i] < node[i-1] {
			if node[i] < node[i-1]-0.01 { // less is rounding, far out
				return fmt.Errorf("a belief whose quantiles fall, from %v to %v: %w", math.Exp(node[i-1]), math.Exp(node[i]), ErrDomain)
			}
			node[i] = node[i-1]
		}
	}
	var up [2 * farScore * scoreSteps]float64
	for i := range up {
		up[i] = node[i+1] - node[i]
	}
	out = out[:len(f.start)]
	for p, at := range f.start {
		i := at.node & (len(up) - 1)
		out[p] = node[i] + up[i]*at.share
	}
	return nil
}

// place is where in a belief a path starts: the node below it, and the share of
// the way to the next.
type place struct {
	node  int
	share float64
}

// placeOf is the place of a standard normal score.
func placeOf(z float64) place {
	at := (math.Min(math.Max(z, -farScore), farScore) + farScore) * scoreSteps
	i := min(int(at), 2*farScore*scoreSteps-1)
	return place{i, at - float64(i)}
}

func (w *work) size(n int) {
	for _, s := range []*[]float64{&w.ln, &w.first, &w.spot, &w.predators} {
		*s = slices.Grow((*s)[:0], n)[:n]
	}
	w.over, w.run = slices.Grow(w.over[:0], n)[:n], slices.Grow(w.run[:0], n)[:n]
	w.held = slices.Grow(w.held[:0], n)[:n]
}

func (f *Forecaster) check(b Bed) error {
	if b.Start == nil {
		return fmt.Errorf("no belief to start from: %w", ErrDomain)
	}
	if b.NoneFound {
		return fmt.Errorf("no forecast from counts of none; the density is likely below %.2g: %w", Upper(b.Start), ErrNoneFound)
	}
	if err := b.Growth.check(f); err != nil {
		return err
	}
	if !(b.Threshold >= 0 && b.Threshold <= 1e12) || !(b.Cap >= 0 && b.Cap <= 1e12) {
		return fmt.Errorf("threshold %v, cap %v: %w", b.Threshold, b.Cap, ErrDomain)
	}
	for _, a := range b.Alternatives {
		for _, s := range a.Steps {
			if err := f.checkStep(s); err != nil {
				return fmt.Errorf("%s: %w", a.Name, err)
			}
		}
	}
	return nil
}

func (f *Forecaster) checkStep(s Step) error {
	if s.Day < 0 || s.Day >= f.days || (s.Treatment == nil) == (s.Release == nil) {
		return fmt.Errorf("a step on day %d, want day 0 to %d with either a treatment or a release: %w", s.Day, f.days-1, ErrDomain)
	}
	if t := s.Treatment; t != nil {
		if !(math.Abs(t.LnLeft) <= 100 && t.SD >= 0 && t.SD <= 100) {
			return fmt.Errorf("treatment %+v: %w", *t, ErrDomain)
		}
		return nil
	}
	r := s.Release
	if !(r.Predators > 0 && r.Predators <= 1e6 && r.Share > 0 && r.Share <= 1 && r.Low > 0 && r.Low <= r.High && r.High <= 100 && r.Fails >= 0 && r.Fails < 1) {
		return fmt.Errorf("release of %v to a unit for %v of the pest, %v to %v of the appetite: %w", r.Predators, r.Share, r.Low, r.High, ErrDomain)
	}
	if len(f.weather) < f.days {
		return fmt.Errorf("what predators eat goes with the temperature: %w", ErrNoWeather)
	}
	for _, c := range []growth.Curve{r.Appetite, r.Increase} {
		if err := c.Check(); err != nil {
			return fmt.Errorf("%w: %w", ErrDomain, err)
		}
	}
	return nil
}
