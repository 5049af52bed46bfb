package belief

import (
	"math"
	"sort"

	"leafturn/internal/estimate"
)

// Reader reads chances and quantiles off a belief: several of them cost little
// more than one. It holds the chance that the density is above each grid
// point.
// The zero Reader reads the weak belief.
type Reader struct {
	curve  curve // log density of ln density
	lnMass float64
	upper  [points]float64
}

// Read prepares the belief for reading.
func (b Belief) Read() *Reader {
	if b.ln == nil {
		return weakReader
	}
	return newReader(b.curve())
}

// Where the density bends no more than a normal law whose standard deviation
// is six steps of the grid, and rises or falls by no more than a factor of e
// from point to point, the mass of a step comes from the six points around it.
const (
	smoothBend  = 1.0 / 36
	smoothSlope = 1.0
	negligible  = -30 // ln of a density, below the top, that cannot count
)

// inStep integrates the polynomial through six points over the step between
// the third and the fourth. Error 191/60480 h⁷ f⁽⁶⁾, that of the Adams-Moulton
// family.
var inStep = [6]float64{11.0 / 1440, -93.0 / 1440, 802.0 / 1440, 802.0 / 1440, -93.0 / 1440, 11.0 / 1440}

func newReader(c curve) *Reader {
	r := &Reader{}
	r.fill(c)
	return r
}

// fill makes r the reader of a density, whatever it was of.
func (r *Reader) fill(c curve) {
	f := c.f
	r.curve = c
	top := math.Inf(-1)
	for _, v := range f {
		if v > top {
			top = v
		}
	}
	// What lies below the cut cannot count: lo and hi are the first and the last
	// step that can.
	lo, hi := 0, points-2
	for lo < hi && max(f[lo], f[lo+1]) < top-cut-1 {
		lo++
	}
	for hi > lo && max(f[hi], f[hi+1]) < top-cut-1 {
		hi--
	}
	// The steps that must be cut finer, and their mass in logs.
	type fine struct {
		step   int
		lnMass float64
	}
	cutFiner := make([]fine, 0, points) // does not leave the function
	finest := math.Inf(-1)              // of what the masses are made of, in logs
	rough := -1                         // the last point that bends too sharply
	look := func(i int) {
		if i < 1 || i >= points-1 {
			return
		}
		before, here, after := f[i-1], f[i], f[i+1]
		up, down := here-before, after-here
		bend, away := down-up, float64(i)-c.corner
		corner := c.corner > 0 && away > -1 && away < 1
		if !corner && bend <= smoothBend && bend >= -smoothBend && max(up, down) <= smoothSlope && min(up, down) >= -smoothSlope {
			return
		}
		if max(before, here, after) > top+negligible {
			rough = i
		}
	}
	for i := lo - 2; i < lo+3; i++ {
		look(i)
	}
	for i := lo; i <= hi; i++ {
		look(i + 3)
		if i >= 2 && i < points-3 && rough < i-2 {
			w := f[i-2 : i+4]
			finest = max(finest, w[0], w[2], w[3], w[5])
			continue
		}
		m := c.lnStep(i, top)
		cutFiner = append(cutFiner, fine{i, m})
		finest = max(finest, m)
	}
	var p [points]float64
	for i := max(lo-2, 0); i < min(hi+4, points); i++ {
		p[i] = math.Exp(f[i] - finest)
	}
	clear(r.upper[:])
	mass := r.upper[:points-1]
	next := 0
	for i := lo; i <= hi; i++ {
		switch {
		case next < len(cutFiner) && cutFiner[next].step == i:
			mass[i] = math.Exp(cutFiner[next].lnMass - finest)
			next++
		case i >= 2 && i < points-3:
			w := p[i-2 : i+4]
			mass[i] = gridStep * max(inStep[0]*(w[0]+w[5])+inStep[1]*(w[1]+w[4])+inStep[2]*(w[2]+w[3]), 0)
		}
	}
	total := 0.0
	for i := hi; i >= 0; i-- {
		total += mass[i]
		mass[i] = total
	}
	for i := range hi + 1 {
		mass[i] /= total
	}
	r.lnMass = finest + math.Log(total)
}

// lnStep is the log of the mass between grid points i and i+1, by Gauss's rule
// on as many pieces as the density asks for; -Inf where it cannot count.
func (c curve) lnStep(i int, top float64) float64 {
	s := cuts(c.f, i, top)
	if s == 0 {
		return math.Inf(-1)
	}
	return c.lnFrom(i, 0, s)
}

// lnFrom is the log of the mass from the share t of a step to its end, in s
// pieces.
func (c curve) lnFrom(i int, t float64, s int) float64 {
	peak, sum := math.Inf(-1), 0.0
	c.parts(i, t, func(from, to float64) {
		w := (to - from) / float64(s)
		for j := range s {
			for g, x := range gaussX {
				v := c.at(i, from+(float64(j)+x)*w)
				if v > peak {
					sum *= math.Exp(peak - v)
					peak = v
				}
				sum += gaussW[g] * w * math.Exp(v-peak)
			}
		}
	})
	return peak + math.Log(sum*gridStep)
}

// density is the density of ln density at the share t of step i.
func (r *Reader) density(i int, t float64) float64 {
	return math.Exp(r.curve.at(i, t) - r.lnMass)
}

// part is the probability from the share t of step i to its end.
func (r *Reader) part(i int, t float64) float64 {
	s := cuts(r.curve.f, i, math.Inf(-1))
	s = max(int(math.Ceil(float64(s)*(1-t))), 1)
	return math.Min(math.Max(math.Exp(r.curve.lnFrom(i, t, s)-r.lnMass), 0), r.upper[i]-r.upper[i+1])
}

// known is the reader, or the weak belief's where there is none.
func (r *Reader) known() *Reader {
	if r == nil || r.curve.f == nil {
		return weakReader
	}
	return r
}

// Exceeds is Belief.Exceeds.
func (r *Reader) Exceeds(threshold float64) float64 {
	r = r.known()
	switch {
	case math.IsNaN(threshold), threshold > Highest:
		return 0
	case threshold <= Lowest:
		return 1
	}
	x := (math.Log(threshold)/math.Ln10 + 4) * perTen
	i := min(max(int(x), 0), points-2)
	return math.Min(r.upper[i+1]+r.part(i, math.Min(math.Max(x-float64(i), 0), 1)), 1)
}

// Median is Belief.Median.
func (r *Reader) Median() float64 { return r.Quantile(0.5) }

// Quantile is Belief.Quantile.
func (r *Reader) Quantile(p float64) float64 {
	r = r.known()
	q := 1 - p
	switch {
	case math.IsNaN(p):
		return p
	case p <= 0:
		return Lowest
	case p >= 1:
		return Highest
	}
	i := sort.Search(points-1, func(i int) bool { return r.upper[i+1] <= q }) // upper[i] > q >= upper[i+1]
	i = min(i, points-2)
	a, b, t := 0.0, 1.0, 0.5
	for range 60 {
		d := r.upper[i+1] + r.part(i, t) - q // falls in t
		if d > 0 {
			a = t
		} else {
			b = t
		}
		step := d / (r.density(i, t) * gridStep)
		if math.Abs(step) < 1e-12 || b-a < 1e-12 {
			break
		}
		if t += step; !(t > a && t < b) {
			t = (a + b) / 2
		}
	}
	return math.Min(math.Max(math.Exp(gridAt(i, t)), Lowest), Highest)
}

// Interval is Belief.Interval.
func (r *Reader) Interval(level float64) (estimate.Interval, error) {
	if err := levelOK(level); err != nil {
		return estimate.Interval{}, err
	}
	in := estimate.Interval{Low: r.Quantile((1 - level) / 2), High: r.Quantile((1 + level) / 2)}
	in.High = math.Max(in.High, in.Low) // a point to a millionth, as a prior at the end of the grid
	return in, nil
}

// LnQuantiles sets out to ln of the quantiles at rising shares, the mass of a
// step of the grid taken as even: good to 0.5 % of the density, at a small part
// of the time of Quantile.
func (r *Reader) LnQuantiles(shares, out []float64) {
	r = r.known()
	i := 0
	for k, p := range shares {
		q := 1 - p
		for i < points-2 && r.upper[i+1] > q {
			i++
		}
		t := 0.0
		if w := r.upper[i] - r.upper[i+1]; w > 0 {
			t = math.Min(math.Max((r.upper[i]-q)/w, 0), 1)
		}
		out[k] = gridAt(i, t)
	}
}
