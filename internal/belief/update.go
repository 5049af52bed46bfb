package belief

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"leafturn/internal/civil"
	"leafturn/internal/estimate"
)

// Evidence is what one visit saw: counts, a presence sample, or both on
// different units.
type Evidence struct {
	Date     civil.Date // when not zero, the belief must speak of the same day
	Counts   []int      // animals on each unit, in any order
	Presence estimate.Presence
	// Scale turns a mean per unit into the belief's density: 1/3 for traps
	// that stood 3 nights when the density is per trap and night. 0 is 1.
	Scale float64
}

// sample is Evidence as sorted distinct counts.
type sample struct {
	value, freq []int
	n           int
	total       float64
	pr          estimate.Presence
	scale       float64
}

func (e Evidence) sample() (sample, error) { return e.sampleIn(&sampleRoom{}) }

// sampleRoom is room for a sample, which the next one in it overwrites.
type sampleRoom struct{ sorted, value, freq []int }

func (e Evidence) sampleIn(room *sampleRoom) (sample, error) {
	s := sample{n: len(e.Counts), pr: e.Presence}
	var err error
	if s.scale, err = oneScale(e.Scale); err != nil {
		return s, err
	}
	if p := s.pr; p.Looked < 0 || p.Looked > estimate.MaxCount || p.Infested < 0 || p.Infested > p.Looked || p.Tally < 0 || p.Tally > maxTally {
		return s, fmt.Errorf("%d infested of %d looked at, tally %d (want at most %d): %w", p.Infested, p.Looked, p.Tally, maxTally, ErrDomain)
	}
	c := append(room.sorted[:0], e.Counts...)
	slices.Sort(c)
	s.value, s.freq = room.value[:0], room.freq[:0]
	if s.n > 0 && (c[0] < 0 || c[s.n-1] > estimate.MaxCount) {
		return s, fmt.Errorf("a count of %d to %d, want 0 to %d: %w", c[0], c[s.n-1], estimate.MaxCount, ErrDomain)
	}
	for _, x := range c {
		if k := len(s.value) - 1; k >= 0 && s.value[k] == x {
			s.freq[k]++
		} else {
			s.value, s.freq = append(s.value, x), append(s.freq, 1)
		}
		s.total += float64(x)
	}
	room.sorted, room.value, room.freq = c, s.value, s.freq
	return s, nil
}

// maxTally is the highest tally that is accepted.
const maxTally = 1000

// Update returns the belief after a visit: b times the likelihood of the
// evidence. Counts are negative binomial with k tied to the mean by Taylor's
// law, or fixed; with r = a m^(b-1) = 1 + m/k, n units and the total T,
//
//	ln L = T ln(m/r) - n k ln r + Σ_i ln[Γ(k+x_i)/(Γ(k) k^x_i)]
//
// and Poisson where r <= 1. Of the units only looked at, each is infested with
// the chance of more than the tally. Both are used when both are there. No
// units at all return b unchanged, the date apart. The order of units does not
// matter.
//
// The belief's expected variance after a visit, over what the visit may show
// if the belief is right, is at most its variance before (the law of total
// variance); a single surprising visit may widen it. More animals on any unit
// never lower Exceeds, because the likelihood ratio of two densities rises in
// each count for a fixed k and for Taylor's law with 1 <= b <= 2.
//
// Accuracy: chances to 1e-6 against numerical integration (TestUpdate_Scipy),
// also about the density under which Taylor's law says Poisson, where the
// likelihood has a corner (TestUpdate_Corner).
// Errors: ErrDomain for evidence or clumping out of range, or when the
// belief's date is not the visit's: carry it first.
// Sources: Bliss & Fisher 1953, Biometrics 9:176-200 (likelihood); Taylor
// 1961, Nature 189:732-735; Kuno 1986, Researches on Population Ecology
// 28:305-319 (zero term; from memory).
func Update(b Belief, e Evidence, c Clump) (Belief, error) {
	l, err := NewLikelihood(c, e.Scale)
	if err != nil {
		return b, err
	}
	return l.Update(b, e)
}

// check reports evidence that says nothing of the belief's day.
func (e Evidence) check(b Belief) error {
	if !e.Date.IsZero() && !b.Date.IsZero() && e.Date != b.Date {
		return fmt.Errorf("a visit on %s and a belief of %s: carry the belief to the day of the visit: %w", e.Date, b.Date, ErrDomain)
	}
	return nil
}

// Likelihood holds what the visits of a pest share that clumps alike on units
// that stood as long: k at each density. It serves any number of updates and
// of goroutines.
type Likelihood struct {
	clump  Clump
	scale  float64
	lowest float64         // of k
	corner float64         // where the law turns Poisson, see curve
	mean   [points]float64 // per unit
	lnMean [points]float64
	k, lnK [points]float64
	lnR    [points]float64 // ln(1+mean/k)

	mu    sync.Mutex
	tails map[int]*tails // by tally
}

// tails are the logs of the chances that a unit holds at most a tally, and more.
type tails struct{ clear, infested [points]float64 }

// tailsOf are the tails of a tally, worked out once.
func (l *Likelihood) tailsOf(tally int) *tails {
	l.mu.Lock()
	defer l.mu.Unlock()
	t := l.tails[tally]
	if t == nil {
		t = &tails{}
		for i := range t.clear {
			t.clear[i], t.infested[i] = lnTails(tally, l.mean[i], l.k[i], l.lnR[i])
		}
		if l.tails == nil {
			l.tails = map[int]*tails{}
		}
		l.tails[tally] = t
	}
	return t
}

// NewLikelihood prepares updates by visits whose pest clumps as c says and
// whose Evidence.Scale is scale. Errors: ErrDomain.
func NewLikelihood(c Clump, scale float64) (*Likelihood, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	one, err := oneScale(scale)
	if err != nil {
		return nil, err
	}
	l := &Likelihood{clump: c, scale: one, lowest: math.Inf(1)}
	law, lnScale := c.law(), math.Log(one)
	if c.A > 0 && c.B > 1 {
		if at := ((lnScale-math.Log(c.A)/(c.B-1))/math.Ln10 + 4) * perTen; at > 0 && at < points-1 {
			l.corner = at
		}
	}
	for i, u := range gridU {
		l.lnMean[i] = u - lnScale
		l.mean[i] = math.Exp(l.lnMean[i])
		l.k[i], l.lnR[i] = law(l.lnMean[i])
		l.lnK[i] = math.Log(l.k[i])
		l.lowest = math.Min(l.lowest, l.k[i])
	}
	return l, nil
}

func oneScale(scale float64) (float64, error) {
	if scale == 0 {
		return 1, nil
	}
	if !(scale >= 1e-3 && scale <= 1e3) {
		return scale, fmt.Errorf("scale %v, want 0.001 to 1000: %w", scale, ErrDomain)
	}
	return scale, nil
}

// Update is the function Update, with the clumping and the scale of l.
func (l *Likelihood) Update(b Belief, e Evidence) (Belief, error) {
	r := rooms.Get().(*room)
	defer rooms.Put(r)
	return l.update(b, e, nil, r)
}

// update is Update with the new density in f, which may be b's own, or in room
// of its own where f is nil.
func (l *Likelihood) update(b Belief, e Evidence, f []float64, r *room) (Belief, error) {
	s, err := e.sampleIn(&r.sample)
	if err != nil {
		return b, err
	}
	if l == nil || s.scale != l.scale {
		if l == nil {
			l = &Likelihood{}
		}
		return b, fmt.Errorf("a visit of scale %v and a likelihood for %v: %w", s.scale, l.scale, ErrDomain)
	}
	if err := e.check(b); err != nil {
		return b, err
	}
	if b.Date.IsZero() {
		b.Date = e.Date
	}
	if s.n+s.pr.Looked == 0 {
		return b, nil
	}
	if f == nil {
		f = make([]float64, points)
	}
	copy(f, b.log())
	l.add(f, s, r)
	b.Seen = b.Date
	b.Units += s.n + s.pr.Looked
	b.Visits++
	if l.corner > 0 {
		b.corner = l.corner
	}
	return b.made(f, &r.reader), nil
}

// add adds the log likelihood of a sample at each grid point to f.
func (l *Likelihood) add(f []float64, s sample, room *room) {
	n := float64(s.n)
	if s.n > 0 {
		for i := range f {
			if math.IsInf(l.k[i], 1) {
				f[i] += s.total*l.lnMean[i] - n*l.mean[i]
			} else {
				f[i] += s.total*(l.lnMean[i]-l.lnR[i]) - n*l.k[i]*l.lnR[i]
			}
		}
		if l.clump.K == 0 { // for a fixed k the sum of ln Γ is a constant
			s.newRiser(l.lowest, &room.rises).add(f, l)
		}
	}
	if s.pr.Looked > 0 {
		t := l.tailsOf(s.pr.Tally)
		if n := float64(s.pr.Infested); n > 0 {
			for i := range f {
				f[i] += n * t.infested[i]
			}
		}
		if n := float64(s.pr.Looked - s.pr.Infested); n > 0 {
			for i := range f {
				f[i] += n * t.clear[i]
			}
		}
	}
}

// riser gives Σ ln[Γ(k+x)/(Γ(k) k^x)] of a sample as a function of k: by a
// table over ln k, which is smooth, and by a series in 1/k for large k. The
// error is below 1e-6 for ordinary counts (TestRiser).
type riser struct {
	lo    float64 // ln k of the first entry
	table []float64
	large float64    // the series holds from here
	sums  [5]float64 // Σ_x Σ_{j<x} j^p for p = 1..5
}

const riseStep = 0.125

// newRiser makes the table in room, which the next one overwrites.
func (s sample) newRiser(lowest float64, room *[]float64) riser {
	var r riser
	if len(s.value) == 0 || s.value[len(s.value)-1] < 2 {
		return r
	}
	r.large = 30 * float64(s.value[len(s.value)-1])
	for i, v := range s.value {
		x, w := float64(v), float64(s.freq[i])
		r.sums[0] += w * x * (x - 1) / 2
		r.sums[1] += w * (x - 1) * x * (2*x - 1) / 6
		r.sums[2] += w * x * x * (x - 1) * (x - 1) / 4
		r.sums[3] += w * (x - 1) * x * (2*x - 1) * (3*x*x - 3*x - 1) / 30
		r.sums[4] += w * x * x * (x - 1) * (x - 1) * (2*x*x - 2*x - 1) / 12
	}
	if lowest >= r.large {
		return r
	}
	r.lo = math.Log(lowest) - riseStep
	steps := max(int((math.Log(r.large)-r.lo)/riseStep)+3, 6)
	r.table = slices.Grow((*room)[:0], steps)[:steps]
	*room = r.table
	for i := range r.table {
		r.table[i] = s.rise(math.Exp(r.lo + float64(i)*riseStep))
	}
	return r
}

// add adds the sum at each grid point to f.
func (r riser) add(f []float64, l *Likelihood) {
	if r.large == 0 {
		return
	}
	for i := range f {
		f[i] += r.at(l.k[i], l.lnK[i])
	}
}

func (r riser) at(k, lnK float64) float64 {
	if r.large == 0 || math.IsInf(k, 1) {
		return 0
	}
	if k >= r.large {
		q := 1 / k
		return q * (r.sums[0] - q*(r.sums[1]/2-q*(r.sums[2]/3-q*(r.sums[3]/4-q*r.sums[4]/5))))
	}
	x := (lnK - r.lo) / riseStep
	i := min(max(int(x), 0), len(r.table)-2)
	return between(r.table, i, x-float64(i))
}

// maxProduct is the largest count whose product is taken term by term.
const maxProduct = 256

// rise is Σ_i ln Π_{j<x_i} (1+j/k), as Σ_j N(x>j) ln(1+j/k): between two
// distinct counts N is constant and the product is taken before its log.
func (s sample) rise(k float64) float64 {
	n := 0 // units that hold more than j, those over maxProduct apart
	for i, x := range s.value {
		if x <= maxProduct {
			n += s.freq[i]
		}
	}
	sum, from, q := 0.0, 1, 1/k
	for i, x := range s.value {
		if x > maxProduct {
			sum += float64(s.freq[i]) * riseLog(k, float64(x))
			continue
		}
		p := 1.0
		for j := from; j < x; j++ {
			if p *= 1 + float64(j)*q; p > 1e200 {
				sum += float64(n) * math.Log(p)
				p = 1
			}
		}
		sum += float64(n) * math.Log(p)
		from = max(from, x)
		n -= s.freq[i]
	}
	return sum
}

// riseLog is ln[Γ(k+x)/(Γ(k) k^x)].
func riseLog(k, x float64) float64 {
	if k < 16 {
		a, _ := math.Lgamma(k + x)
		b, _ := math.Lgamma(k)
		return a - b - x*math.Log(k)
	}
	st := func(z float64) float64 {
		w := 1 / (z * z)
		return (1.0/12 - w*(1.0/360-w*(1.0/1260-w/1680))) / z
	}
	return (k+x-0.5)*math.Log1p(x/k) - x + st(k+x) - st(k)
}

// lnTails returns the logs of the chances that a unit holds at most tally
// animals, and more; neither underflows.
func lnTails(tally int, m, k, lnR float64) (most, more float64) {
	zero := -m // ln of the chance of none
	r := m     // of ratios p(j+1)/p(j) = r (1+j/k)/(j+1)
	inv := 0.0
	if !math.IsInf(k, 1) {
		zero, inv = -k*lnR, 1/k
		r = m / (1 + m*inv)
	}
	if tally == 0 {
		return zero, math.Log(-math.Expm1(zero))
	}
	lp, sum := 0.0, 1.0 // p(j)/p(0) and the sum up to it, less exp(shift)
	shift := 0.0
	p := 1.0
	for j := 0; j < tally; j++ {
		p *= r * (1 + float64(j)*inv) / float64(j+1)
		if sum += p; sum > 1e200 {
			shift += math.Log(sum)
			p /= sum
			sum = 1
		}
		lp += math.Log(r * (1 + float64(j)*inv) / float64(j+1))
	}
	most = math.Min(zero+shift+math.Log(sum), 0)
	if most < -1e-3 {
		return most, math.Log(-math.Expm1(most))
	}
	// Upwards from tally+1, relative to p(tally).
	q, tail := 1.0, 0.0
	for j := tally; j < tally+100_000; j++ {
		q *= r * (1 + float64(j)*inv) / float64(j+1)
		tail += q
		if q < tail*1e-16 || tail == 0 {
			break
		}
	}
	return most, math.Max(zero+lp+math.Log(tail), -1e6)
}
