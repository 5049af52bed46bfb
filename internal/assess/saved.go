package assess

import (
	"crypto/sha256"
	"encoding/binary"
	"math"

	"leafturn/internal/belief"
	"leafturn/internal/civil"
)

// Chain names a belief by all that it was made from: the visits in it, one after
// the other, how the pest clumps by each and how it may have grown between them.
// It holds no day but theirs, so it is the same on every later day.
type Chain [16]byte

// Saved keeps beliefs between runs by what they were made from. Several
// goroutines may use one.
type Saved interface {
	Get(Chain) (belief.Belief, bool)
	Put(Chain, belief.Belief)
}

// savedBack is how many visits before the last the belief is saved. What is read
// off the last ones is made again, and a visit that is amended is one of them
// more often than not.
const savedBack = 3

// named is the chain of a state whose like is of the clumping c.
func (s *state) named(c belief.Clump) Chain {
	var b []byte
	if s.before != nil {
		b = append(b, s.before.chain[:]...)
	}
	number := func(all ...float64) {
		for _, x := range all {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
		}
	}
	whole := func(all ...int) {
		for _, n := range all {
			b = binary.AppendVarint(b, int64(n))
		}
	}
	day := func(d civil.Date) { whole(d.Year, int(d.Month), d.Day) }
	g, e := s.growth, s.evidence
	day(s.day)
	number(g.Rate, g.RateSD, g.Noise, g.HalfLife, c.A, c.B, c.K, e.Scale)
	whole(g.ResetAfter)
	day(g.SeasonStart)
	day(e.Date)
	whole(e.Presence.Infested, e.Presence.Looked, e.Presence.Tally, len(e.Counts))
	whole(e.Counts...)
	sum := sha256.Sum256(b)
	return Chain(sum[:16])
}

// density is the belief of a state as the next one is carried from it, saved or
// made.
func (s *state) density() (*belief.Belief, error) {
	s.mu.Lock()
	if s.belief == nil && s.saved != nil {
		if b, ok := s.saved.Get(s.chain); ok {
			s.belief = &b
		}
	}
	b := s.belief
	s.mu.Unlock()
	if b != nil {
		return b, nil
	}
	b, _, err := s.believed()
	return b, err
}

// SaveBelief saves the belief that an assessment on a later day can begin with,
// where it is still there and something saves it. Of the lists of two weeks that
// of today has it.
func (a *Assessment) SaveBelief() {
	if a.Decider == nil || a.Decider.state == nil || a.Decider.state.saved == nil {
		return
	}
	s := a.Decider.state
	for range savedBack {
		if s = s.before; s == nil {
			return
		}
	}
	s.mu.Lock()
	b := s.belief
	s.mu.Unlock()
	if b != nil {
		s.saved.Put(s.chain, *b)
	}
}
