package verdict

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"leafturn/internal/estimate"
)

// maxMore is the most further units that are worth asking for: above it the
// level is simply where the animals are.
const maxMore = 100

// more returns how many further units would probably settle it: the number at
// which, if the density is what it seems, the log of the estimate lies far
// enough from the log of the level.
//
//	n = (z/ln(level/m))² (1/m + 1/k)
//
// z is the normal quantile of the chance that decides on that side. 0 means
// that no reasonable number would. The form is that of Karandinos 1976,
// Bulletin of the Entomological Society of America 22:417-421, with the
// distance to the level in place of the half-width.
func (d *decider) more(level float64) int {
	in := &d.in
	if in.Share != nil {
		return moreShare(*in.Share, level, in)
	}
	// The posterior median stands for the density; the sample mean can be 0.
	m := 0.0
	if in.Typical != nil {
		m = in.Typical()
	}
	if !(m > 0) {
		m = in.Density.Posterior().Quantile(0.5)
	}
	if !(m > 0) || !(level > 0) {
		return 0
	}
	z := settle(m < level, in)
	gap := math.Log(level / m)
	return clampMore((z/gap)*(z/gap)*(1/m+1/in.Density.K) - float64(in.N))
}

func moreShare(s estimate.Share, level float64, in *Input) int {
	// With 0 or all infested the share is taken half a unit inwards.
	p := (float64(s.Infested) + 0.5) / (float64(s.Looked) + 1)
	z := settle(p < level, in)
	return clampMore((z/(p-level))*(z/(p-level))*p*(1-p) - float64(s.Looked))
}

// settle returns the normal quantile of the chance that must be reached. On
// the upper side at least one standard error is asked for, since an even
// chance needs no distance at all.
func settle(under bool, in *Input) float64 {
	if under {
		return math.Max(0.25, distuv.UnitNormal.Quantile(1-math.Min(in.HoldBelow, 0.999)))
	}
	return math.Max(1, distuv.UnitNormal.Quantile(math.Min(in.ActAt, 0.999)))
}

func clampMore(n float64) int {
	switch {
	case math.IsNaN(n) || n > maxMore:
		return 0
	case n < 5:
		return 5
	}
	return int(math.Ceil(n))
}
