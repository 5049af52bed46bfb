package forecast

import (
	"fmt"
	"math"
	"slices"
)

// CRPS is the continuous ranked probability score of a sample against what
// came: the mean distance to it less half the mean distance within the sample.
// For a sample of one it is the absolute error. Less is better. NaN for an
// empty sample.
// Source: Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102:359-378 (from
// memory).
func CRPS(sample []float64, came float64) float64 {
	x := slices.Clone(sample)
	slices.Sort(x)
	n := float64(len(x))
	far, within := 0.0, 0.0
	for i, v := range x {
		far += math.Abs(v - came)
		within += v * (2*float64(i) - n + 1)
	}
	return far/n - within/(n*n)
}

// Past is a forecast of a measure and what then came.
type Past struct {
	Middle, SD float64 // of the forecast, on the scale that it is judged on
	Came       float64
}

// Widen is by how much the spread of the next forecast is to be multiplied, for
// past ones that lay further off (or nearer) than their spread said: the root
// of the mean squared error over the spread, with the spread itself counted as
// usual four times, between a third and 3. The weight is ours.
func Widen(past []Past) (float64, error) {
	sum := 4.0
	for i, p := range past {
		z := (p.Came - p.Middle) / p.SD
		if !(p.SD > 0) || !(math.Abs(z) <= 1e6) {
			return 0, fmt.Errorf("forecast %d: %v with a spread of %v, and %v came: %w", i+1, p.Middle, p.SD, p.Came, ErrDomain)
		}
		sum += math.Min(z*z, 25) // one slip of the pen is not the rule
	}
	return math.Min(math.Max(math.Sqrt(sum/float64(4+len(past))), 1.0/3), 3), nil
}
