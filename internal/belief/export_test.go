package belief

import "math"

// RiseError returns the largest difference between the table of the riser and
// the exact sum over ln k from lo to hi.
func RiseError(counts []int, ks []float64) (worst float64, err error) {
	s, err := Evidence{Counts: counts}.sample()
	if err != nil {
		return 0, err
	}
	lowest := ks[0]
	for _, k := range ks {
		lowest = min(lowest, k)
	}
	r := s.newRiser(lowest, new([]float64))
	for _, k := range ks {
		exact := 0.0
		for i, x := range s.value {
			for j := range x {
				exact += float64(s.freq[i]) * math.Log1p(float64(j)/k)
			}
		}
		worst = max(worst, math.Abs(r.at(k, math.Log(k))-exact))
	}
	return worst, nil
}

// CarrySlowly is Carry by Gauss points of the whole density, each blurred by
// itself to every point of the grid.
func CarrySlowly(b Belief, days int, g Growth) Belief {
	to, s := b.start(days, g)
	u, p, _ := gauss(b.curve(), s.sd/1.5)
	f := make([]float64, points)
	spread(f, u, p, s.shift, s.sd)
	mass := 0.0
	for i := range f {
		f[i] = (1-s.weak)*f[i] + s.weak*weakDensity[i]
		mass += f[i]
	}
	for i, w := range gregory {
		mass += (w - 1) * (f[i] + f[points-1-i])
	}
	for i := range f {
		f[i] = math.Log(f[i] / (mass * gridStep))
	}
	to.ln, to.corner = f, 0
	return to
}
