package belief

import "math"

// Gauss-Legendre points and weights on (0, 1).
var (
	gaussX = [3]float64{0.5 - 0.3872983346207417, 0.5, 0.5 + 0.3872983346207417}
	gaussW = [3]float64{5.0 / 18, 8.0 / 18, 5.0 / 18}
)

const (
	cut       = 45.0 // steps this far below the top, in logs, are left out
	maxPieces = 256  // in one step of the grid
)

// curve is the log of a density at the grid points. corner is a place, in steps
// of the grid, at which it turns at once; 0 for none.
type curve struct {
	f      []float64
	corner float64
}

// at interpolates between grid points i and i+1, at the share t of the way, by the
// polynomial through six points on the same side of the corner.
func (c curve) at(i int, t float64) float64 {
	first := min(max(i-2, 0), len(c.f)-6)
	if x := c.corner; x > float64(first) && x < float64(first+5) {
		side := int(math.Ceil(x))
		if float64(i)+t <= x {
			side = int(x) - 5
		}
		if side >= 0 && side <= len(c.f)-6 {
			first = side
		}
	}
	return through(c.f[first:first+6], float64(i)+t-float64(first))
}

// parts calls do for the step from i, from the share t of it on, or for both of its
// sides where the corner lies in it.
func (c curve) parts(i int, t float64, do func(from, to float64)) {
	if x := c.corner - float64(i); c.corner > 0 && x > t && x < 1 {
		do(t, x)
		t = x
	}
	do(t, 1)
}

// cuts is the number of pieces of at most a third of the local standard
// deviation that the step from grid point i wants, 0 where the density lies so
// far below top that the step cannot count.
func cuts(f []float64, i int, top float64) int {
	// Second differences on both sides tell how sharply the density bends, and
	// how far it may rise between the points.
	bend := 0.0
	if i > 0 {
		bend = math.Abs(f[i-1] - 2*f[i] + f[i+1])
	}
	if i < points-2 {
		bend = math.Max(bend, math.Abs(f[i]-2*f[i+1]+f[i+2]))
	}
	if math.Max(f[i], f[i+1])+bend/4 < top-cut {
		return 0
	}
	need := math.Max(3*math.Sqrt(bend), math.Abs(f[i+1]-f[i])/3)
	return max(int(math.Min(math.Ceil(need), maxPieces)), 1)
}

// gauss returns Gauss points of the log density f of ln density and their
// probabilities, in pieces of at most a third of the local standard deviation,
// and at most longest when that is above 0; and the log of the whole mass.
func gauss(c curve, longest float64) (u, p []float64, lnMass float64) {
	f := c.f
	top := math.Inf(-1)
	for _, v := range f {
		top = math.Max(top, v)
	}
	u = make([]float64, 0, 3*points)
	p = make([]float64, 0, 3*points)
	width := make([]float64, 0, 3*points)
	finest := math.Inf(-1)
	for i := range points - 1 {
		s := cuts(f, i, top)
		if s == 0 {
			continue
		}
		if longest > 0 {
			s = max(s, int(math.Min(math.Ceil(gridStep/longest), maxPieces)))
		}
		c.parts(i, 0, func(from, to float64) {
			w := (to - from) / float64(s)
			for j := range s {
				for g := range gaussX {
					t := from + (float64(j)+gaussX[g])*w
					v := c.at(i, t)
					u, p, width = append(u, gridAt(i, t)), append(p, v), append(width, gaussW[g]*w*gridStep)
					finest = math.Max(finest, v)
				}
			}
		})
	}
	total := 0.0
	for i, v := range p {
		p[i] = math.Exp(v-finest) * width[i]
		total += p[i]
	}
	for i := range p {
		p[i] /= total
	}
	return u, p, finest + math.Log(total)
}

// gridAt is ln density at the share t between grid points i and i+1.
func gridAt(i int, t float64) float64 { return math.Ln10 * ((float64(i)+t)/perTen - 4) }

// between interpolates f at the share t between grid points i and i+1, by the
// polynomial through six points.
func between(f []float64, i int, t float64) float64 {
	at := min(max(i-2, 0), len(f)-6)
	return through(f[at:at+6], float64(i-at)+t)
}

// through is the polynomial through six points at 0 to 5.
func through(y []float64, x float64) float64 {
	_ = y[5]
	a, b, c, d, e, g := x, x-1, x-2, x-3, x-4, x-5
	ab, eg, cd := a*b, e*g, c*d
	return y[0]*b*cd*eg/-120 + y[1]*a*cd*eg/24 + y[2]*ab*d*eg/-12 +
		y[3]*ab*c*eg/12 + y[4]*ab*cd*g/-24 + y[5]*ab*cd*e/120
}
