package app

import (
	"leafturn/internal/assess"
	"leafturn/internal/belief"
	"leafturn/internal/estimate"
)

// savedBeliefs are what was believed of beds and pests some visits ago, and the
// intervals of visits: on a new day all verdicts are new ones, and only the last
// steps to each are made again.
// They are kept in a file of their own, which a few are not worth.
type savedBeliefs struct{ *partFile }

const manyBeliefs = 10

func (s *savedBeliefs) key(c assess.Chain) partKey { return s.partFile.key("belief", c[:]) }

// Get is of assess.Saved.
func (s *savedBeliefs) Get(c assess.Chain) (b belief.Belief, read *belief.Reader, ok bool) {
	data, ok := s.bytesOf(s.key(c))
	if !ok {
		return b, nil, false
	}
	b, read, err := belief.Unmarshal(data)
	return b, read, err == nil
}

// Put is of assess.Saved.
func (s *savedBeliefs) Put(c assess.Chain, b belief.Belief) {
	key := s.key(c)
	if _, ok := s.bytesOf(key); ok {
		return
	}
	if raw, err := b.MarshalBinary(); err == nil {
		s.putBytes(key, raw)
	}
}

// Interval is of assess.Saved.
func (s *savedBeliefs) Interval(c assess.Chain) (in estimate.Interval, ok bool) {
	return in, s.get(s.partFile.key("interval", c[:]), &in)
}

// PutInterval is of assess.Saved.
func (s *savedBeliefs) PutInterval(c assess.Chain, in estimate.Interval) {
	s.put(s.partFile.key("interval", c[:]), in)
}
