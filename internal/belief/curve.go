package belief

import "math"

// curve is a distribution of ln density cut into short pieces, each with three
// Gauss points. Pieces whose mass does not count are left out.
type curve struct {
	f      []float64 // log density at the grid points, not scaled
	lnMass float64
	left   []float64 // left end of each piece
	width  []float64
	upper  []float64 // probability in the piece and in all above it; one more entry, 0
	u, p   []float64 // three Gauss points to a piece, and their probabilities
}

// Gauss-Legendre points and weights on (0, 1).
var (
	gaussX = [3]float64{0.5 - 0.3872983346207417, 0.5, 0.5 + 0.3872983346207417}
	gaussW = [3]float64{5.0 / 18, 8.0 / 18, 5.0 / 18}
)

// whole holds the weights of the six points around a step of the grid that is
// one piece, for each Gauss point.
var whole = func() (w [3][6]float64) {
	for g, t := range gaussX {
		for k := range w[g] {
			var one [6]float64
			one[k] = 1
			w[g][k] = between(one[:], 2, t)
		}
	}
	return w
}()

const (
	cut       = 45.0 // pieces this far below the top, in logs, are left out
	maxPieces = 256  // in one step of the grid
)

// newCurve cuts the log density f at the grid points into pieces of at most a
// third of the local standard deviation, and at most longest when that is
// above 0.
func newCurve(f []float64, longest float64) *curve {
	top := math.Inf(-1)
	for _, v := range f {
		if v > top {
			top = v
		}
	}
	c := &curve{f: f}
	lnp := make([]float64, 0, 3*points)
	c.u = make([]float64, 0, 3*points)
	c.left = make([]float64, 0, points)
	c.width = make([]float64, 0, points)
	for i := 0; i < points-1; i++ {
		// Second differences on both sides tell how sharply the density bends,
		// and how far it may rise between the points.
		bend := 0.0
		if i > 0 {
			bend = math.Abs(f[i-1] - 2*f[i] + f[i+1])
		}
		if i < points-2 {
			bend = math.Max(bend, math.Abs(f[i]-2*f[i+1]+f[i+2]))
		}
		if math.Max(f[i], f[i+1])+bend/4 < top-cut {
			continue
		}
		s := 1
		if need := math.Max(3*math.Sqrt(bend), math.Abs(f[i+1]-f[i])/3); need > 1 {
			s = int(math.Min(math.Ceil(need), maxPieces))
		}
		if longest > 0 {
			s = max(s, int(math.Min(math.Ceil(gridStep/longest), maxPieces)))
		}
		w := 1 / float64(s)
		for j := range s {
			c.left = append(c.left, gridAt(i, float64(j)*w))
			c.width = append(c.width, gridStep*w)
			for g := range gaussX {
				t := (float64(j) + gaussX[g]) * w
				c.u = append(c.u, gridAt(i, t))
				v := 0.0
				if s == 1 && i >= 2 && i < points-3 {
					for k, w := range whole[g] {
						v += w * f[i-2+k]
					}
				} else {
					v = between(f, i, t)
				}
				lnp = append(lnp, v)
			}
		}
	}
	top = math.Inf(-1)
	for _, v := range lnp {
		if v > top {
			top = v
		}
	}
	c.p = lnp
	total := 0.0
	for i, v := range lnp {
		c.p[i] = math.Exp(v-top) * gaussW[i%3] * c.width[i/3]
		total += c.p[i]
	}
	c.lnMass = top + math.Log(total)
	c.upper = make([]float64, len(c.left)+1)
	for i := range c.p {
		c.p[i] /= total
	}
	for j := len(c.left) - 1; j >= 0; j-- {
		c.upper[j] = c.upper[j+1] + c.p[3*j] + c.p[3*j+1] + c.p[3*j+2]
	}
	return c
}

// gridAt is ln density at the share t between grid points i and i+1.
func gridAt(i int, t float64) float64 { return math.Ln10 * ((float64(i)+t)/perTen - 4) }

// between interpolates f at the share t between grid points i and i+1, by the
// polynomial through six points.
func between(f []float64, i int, t float64) float64 {
	at := min(max(i-2, 0), len(f)-6)
	x := float64(i-at) + t // 0 to 5
	y := f[at : at+6]
	a, b, c, d, e, g := x, x-1, x-2, x-3, x-4, x-5
	ab, eg, cd := a*b, e*g, c*d
	return y[0]*b*cd*eg/-120 + y[1]*a*cd*eg/24 + y[2]*ab*d*eg/-12 +
		y[3]*ab*c*eg/12 + y[4]*ab*cd*g/-24 + y[5]*ab*cd*e/120
}

// density is the density of ln density at v.
func (c *curve) density(v float64) float64 {
	x := (v/math.Ln10 + 4) * perTen
	i := min(max(int(x), 0), points-2)
	return math.Exp(between(c.f, i, x-float64(i)) - c.lnMass)
}

// part is the probability from v to the right end of piece j.
func (c *curve) part(j int, v float64) float64 {
	end := c.left[j] + c.width[j]
	w, s := end-v, 0.0
	for g := range gaussX {
		s += gaussW[g] * c.density(v+w*gaussX[g])
	}
	return math.Min(math.Max(s*w, 0), c.upper[j]-c.upper[j+1])
}

// above is the probability of a ln density of v or more.
func (c *curve) above(v float64) float64 {
	lo, hi := 0, len(c.left) // the first piece that ends above v
	for lo < hi {
		if mid := (lo + hi) / 2; c.left[mid]+c.width[mid] > v {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	if lo == len(c.left) {
		return 0
	}
	if v <= c.left[lo] {
		return math.Min(c.upper[lo], 1)
	}
	return math.Min(c.upper[lo+1]+c.part(lo, v), 1)
}

// quantile is the density below which the share p lies.
func (c *curve) quantile(p float64) float64 {
	q := 1 - p
	switch {
	case p <= 0:
		return Lowest
	case p >= 1:
		return Highest
	}
	lo, hi := 0, len(c.left) // upper[lo] > q >= upper[hi]
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; c.upper[mid] > q {
			lo = mid
		} else {
			hi = mid
		}
	}
	a, b := c.left[lo], c.left[lo]+c.width[lo]
	v := (a + b) / 2
	for range 60 {
		d := c.upper[lo+1] + c.part(lo, v) - q // falls in v
		if d > 0 {
			a = v
		} else {
			b = v
		}
		step := d / c.density(v)
		if math.Abs(step) < 1e-13 || b-a < 1e-13 {
			break
		}
		if v += step; !(v > a && v < b) {
			v = (a + b) / 2
		}
	}
	return math.Min(math.Max(math.Exp(v), Lowest), Highest)
}
