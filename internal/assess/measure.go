package assess

// InMeasure turns a density of the belief into the reading's measure: itself,
// or for a percentage the percentage of units infested at it.
func (r *Reading) InMeasure(density float64) float64 { return r.inMeasure(density) }

// ShareAt is the share of units infested at a density of the belief.
func (r *Reading) ShareAt(density float64) float64 { return r.shareAt(density) }

// Found is the number of animals that were counted, or of infested units.
func (r *Reading) Found() int { return r.found() }
