package belief

import "slices"

// Step is a visit and the time before it.
type Step struct {
	Days     int // since the belief's date
	Growth   Growth
	Like     *Likelihood
	Evidence Evidence
}

// Through returns what is believed after steps: the same as Carry and
// Likelihood.Update one after the other, without room for what lies between.
// Errors are theirs.
func Through(b Belief, steps []Step) (Belief, error) {
	r := rooms.Get().(*room)
	defer rooms.Put(r)
	for _, s := range steps {
		// From one half of the room to the other, and updated there.
		f := r.f[0][:]
		if !b.IsWeak() && &b.ln[0] == &f[0] {
			f = r.f[1][:]
		}
		var err error
		if b, err = carry(b, s.Days, s.Growth, f, r); err != nil {
			return b, err
		}
		if b, err = s.Like.update(b, s.Evidence, f, r); err != nil {
			return b, err
		}
	}
	b.ln = slices.Clone(b.ln)
	return b, nil
}
