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
	r := s.newRiser(lowest)
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
