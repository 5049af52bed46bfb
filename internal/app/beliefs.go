package app

import (
	"leafturn/internal/assess"
	"leafturn/internal/belief"
)

// savedBeliefs are what was believed of beds and pests some visits ago: on a new
// day all verdicts are new ones, and only the last steps to each are made again.
// They are kept in a file of their own, read where many verdicts are to be made.
type savedBeliefs struct{ parts }

// manyVerdicts is from how many on reading the file takes less than to begin
// each of them at the first visit.
const manyVerdicts = 10

// begin takes what was saved to hand for so many verdicts.
func (p *parts) begin(verdicts int) {
	if verdicts >= manyVerdicts {
		p.a.memory.beliefs.Saved = p.beliefs
	}
}

func (s *savedBeliefs) key(c assess.Chain) partKey { return s.parts.key("belief", c[:]) }

// Get is of assess.Saved.
func (s *savedBeliefs) Get(c assess.Chain) (belief.Belief, bool) {
	var data string
	var b belief.Belief
	ok := s.get(s.key(c), &data) && b.UnmarshalBinary([]byte(data)) == nil
	return b, ok
}

// Put is of assess.Saved.
func (s *savedBeliefs) Put(c assess.Chain, b belief.Belief) {
	var data string
	key := s.key(c)
	if s.get(key, &data) {
		return
	}
	if raw, err := b.MarshalBinary(); err == nil {
		s.put(key, string(raw))
	}
}
