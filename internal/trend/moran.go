package trend

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"leafturn/internal/estimate"
)

// Weights says how near place i is to place j: Weights[i][j] >= 0, 0 on the
// diagonal, 0 for no neighbours. It need not be symmetric.
type Weights [][]float64

// Rook returns weight 1 for cells of a grid that share a side.
func Rook(cells [][2]int) Weights {
	return fill(len(cells), func(i, j int) bool {
		return step(cells[i], cells[j]) == 1
	})
}

// Queen returns weight 1 for cells of a grid that share a side or a corner.
func Queen(cells [][2]int) Weights {
	return fill(len(cells), func(i, j int) bool {
		a, b := cells[i], cells[j]
		return max(apart(a[0], b[0]), apart(a[1], b[1])) == 1
	})
}

// Within returns weight 1 for places at most metres apart.
func Within(xy [][2]float64, metres float64) Weights {
	return fill(len(xy), func(i, j int) bool { return far(xy[i], xy[j]) <= metres })
}

// Nearest returns weight 1 for the n nearest other places of each place; of
// places equally far the earlier comes first. The weights are not symmetric.
func Nearest(xy [][2]float64, n int) Weights {
	w := fill(len(xy), func(int, int) bool { return false })
	for i := range xy {
		var order []int
		for j := range xy {
			if j != i {
				order = append(order, j)
			}
		}
		slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(far(xy[i], xy[a]), far(xy[i], xy[b])) })
		for _, j := range order[:min(max(n, 0), len(order))] {
			w[i][j] = 1
		}
	}
	return w
}

// InverseDistance returns weight 1/metres. Two places on one spot give +Inf,
// which Moran refuses.
func InverseDistance(xy [][2]float64) Weights {
	w := fill(len(xy), func(int, int) bool { return false })
	for i := range xy {
		for j := range xy {
			if i != j {
				w[i][j] = 1 / far(xy[i], xy[j])
			}
		}
	}
	return w
}

// RowStandard returns the weights with each row summing to 1, so that each
// place weighs the same however many neighbours it has. Rows of zeros, and rows
// whose sum is no finite number, stay.
func (w Weights) RowStandard() Weights {
	out := make(Weights, len(w))
	for i, row := range w {
		s := 0.0
		for _, v := range row {
			s += v
		}
		out[i] = slices.Clone(row)
		for j := range row {
			if s > 0 && finite(s) {
				out[i][j] /= s
			}
		}
	}
	return out
}

func fill(n int, near func(i, j int) bool) Weights {
	w := make(Weights, n)
	for i := range w {
		w[i] = make([]float64, n)
		for j := range w[i] {
			if i != j && near(i, j) {
				w[i][j] = 1
			}
		}
	}
	return w
}

func apart(a, b int) int { return max(a, b) - min(a, b) }

func step(a, b [2]int) int { return apart(a[0], b[0]) + apart(a[1], b[1]) }

func far(a, b [2]float64) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }

// Pattern is Moran's I of values on places.
type Pattern struct {
	I        float64
	Expected float64 // without pattern: -1/(n-1)
	Variance float64 // under randomisation of the values over the places
	Z        float64
	P        float64 // chance of so large an I without pattern, by the normal law
	Places   int
	// NormalVariance is the variance of I where the values are drawn from a normal
	// law instead. Geary's C is 1 without pattern and lower where neighbours are
	// alike; it looks at differences of neighbours, I at their products.
	NormalVariance, Geary float64
}

// Moran returns Moran's I: above Expected when neighbours are alike (patches),
// below when they differ. values are means per unit of each bed or trap.
//
//	I = n/S0 sum_ij w_ij z_i z_j / sum_i z_i², z the values less their mean
//	C = (n-1)/(2 S0) sum_ij w_ij (z_i - z_j)² / sum_i z_i²
//
// It is an indicator only: the normal law is rough below about 20 places, and
// beds that differ in cultivar or treatment look like patches.
//
// Accuracy: 1e-8 against R's spdep::moran.test and geary.test (TestMoran_Golden).
// Errors: estimate.ErrFew below 4 places; estimate.ErrDomain for values all
// the same or not finite, or weights negative, not finite, of the wrong shape,
// on the diagonal, or all 0 on a row.
// Source: Cliff & Ord 1981, Spatial Processes, ch. 2 (from memory).
func Moran(values []float64, w Weights) (Pattern, error) {
	n := len(values)
	if n < 4 {
		return Pattern{}, fmt.Errorf("%s, want at least 4: %w", count(n, "place"), estimate.ErrFew)
	}
	if len(w) != n {
		return Pattern{}, fmt.Errorf("%d places and %d rows of weights: %w", n, len(w), estimate.ErrDomain)
	}
	// Scaled by the largest, so that no square overflows.
	top := 0.0
	for i, v := range values {
		if !finite(v) {
			return Pattern{}, fmt.Errorf("place %d: %v: %w", i+1, v, estimate.ErrDomain)
		}
		top = math.Max(top, math.Abs(v))
	}
	z, mean := make([]float64, n), 0.0
	for _, v := range values {
		mean += v / top / float64(n)
	}
	m2, m4 := 0.0, 0.0
	if slices.Min(values) < slices.Max(values) {
		for i, v := range values {
			z[i] = v/top - mean
			m2 += z[i] * z[i]
			m4 += z[i] * z[i] * z[i] * z[i]
		}
	}
	if !(m2 > 0 && m4 > 0) {
		return Pattern{}, fmt.Errorf("all places hold the same, so there is no pattern: %w", estimate.ErrDomain)
	}
	high := 0.0
	for i, row := range w {
		if len(row) != n || row[i] != 0 {
			return Pattern{}, fmt.Errorf("weights of place %d: %d values, %v to itself: %w", i+1, len(row), diagonal(row, i), estimate.ErrDomain)
		}
		for j, v := range row {
			if !(v >= 0) || math.IsInf(v, 1) {
				return Pattern{}, fmt.Errorf("weight %v between places %d and %d: %w", v, i+1, j+1, estimate.ErrDomain)
			}
			high = math.Max(high, v)
		}
		if slices.Max(row) == 0 {
			return Pattern{}, fmt.Errorf("place %d has no neighbour: leave it out or widen the distance: %w", i+1, estimate.ErrDomain)
		}
	}
	s0, s1, s2, cross, apart := 0.0, 0.0, 0.0, 0.0, 0.0
	for i := range n {
		both := 0.0
		for j := range n {
			a, b := w[i][j]/high, w[j][i]/high
			s0 += a
			s1 += (a + b) * (a + b) / 2
			both += a + b
			cross += a * z[i] * z[j]
			apart += a * (z[i] - z[j]) * (z[i] - z[j])
		}
		s2 += both * both
	}
	f := float64(n)
	p := Pattern{Places: n, Expected: -1 / (f - 1), I: f / s0 * cross / m2}
	p.Geary = (f - 1) / (2 * s0) * apart / m2
	p.NormalVariance = (f*f*s1-f*s2+3*s0*s0)/((f*f-1)*s0*s0) - p.Expected*p.Expected
	kurtosis := f * m4 / (m2 * m2)
	p.Variance = (f*((f*f-3*f+3)*s1-f*s2+3*s0*s0)-kurtosis*((f*f-f)*s1-2*f*s2+6*s0*s0))/
		((f-1)*(f-2)*(f-3)*s0*s0) - p.Expected*p.Expected
	if !(p.Variance > 1e-12) { // every place a neighbour of every other: I is the same for any order
		return Pattern{}, fmt.Errorf("these weights give the same I for any pattern: %w", estimate.ErrDomain)
	}
	p.Z = (p.I - p.Expected) / math.Sqrt(p.Variance)
	p.P = phi(-p.Z)
	return p, nil
}

func diagonal(row []float64, i int) float64 {
	if i < len(row) {
		return row[i]
	}
	return math.NaN()
}

// Words says whether neighbours are alike.
func (p Pattern) Words() string {
	switch {
	case p.P < 0.05:
		return fmt.Sprintf("neighbours are alike: the pest sits in patches (Moran's I %.2f, chance without patches %s)", p.I, percent(p.P))
	case p.P > 0.95:
		return fmt.Sprintf("neighbours differ more than chance leads to expect (Moran's I %.2f)", p.I)
	}
	return fmt.Sprintf("no sign of patches (Moran's I %.2f; as much by chance alone: %s)", p.I, percent(p.P))
}
