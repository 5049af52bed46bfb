package assess

import (
	"math"

	"leafturn/internal/belief"
)

// InMeasure turns a density into the reading's measure: itself, or for a
// percentage the percentage of units infested at it.
func (r *Reading) InMeasure(density float64) float64 {
	if r.Unit.Percent { // a law of clumping need not reach down to none
		density = math.Max(density, belief.Lowest)
	}
	return r.inMeasure(density)
}

// ShareAt is the share of units infested at a density.
func (r *Reading) ShareAt(density float64) float64 {
	return r.shareAt(math.Max(density, belief.Lowest))
}

// Found is the number of animals that were counted, or of infested units.
func (r *Reading) Found() int { return r.found() }
