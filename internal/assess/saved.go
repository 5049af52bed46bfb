package assess

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
	"slices"

	"leafturn/internal/belief"
	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
)

// Chain names a belief by all that it was made from: the visits in it, one after
// the other, how the pest clumps by each and how it may have grown between them.
// It holds no day but theirs, so it is the same on every later day.
type Chain [16]byte

// Saved keeps beliefs between runs, and the intervals of visits by themselves, by
// what they were made from. Several goroutines may use one.
type Saved interface {
	Get(Chain) (belief.Belief, *belief.Reader, bool)
	Put(Chain, belief.Belief)
	Interval(Chain) (estimate.Interval, bool)
	PutInterval(Chain, estimate.Interval)
}

// savedLast is of how many of the last visits the beliefs are saved: the lists of
// two weeks read numbers off them.
const savedLast = 3

// namer puts together what a Chain names.
type namer []byte

func (b *namer) numbers(all ...float64) {
	for _, x := range all {
		*b = binary.LittleEndian.AppendUint64(*b, math.Float64bits(x))
	}
}

func (b *namer) whole(all ...int) {
	for _, n := range all {
		*b = binary.AppendVarint(*b, int64(n))
	}
}

func (b *namer) day(d civil.Date) { b.whole(d.Year, int(d.Month), d.Day) }

func (b *namer) presence(p estimate.Presence) { b.whole(p.Infested, p.Looked, p.Tally) }

func (b namer) chain() Chain {
	sum := sha256.Sum256(b)
	return Chain(sum[:16])
}

// named is the chain of a state whose like is of the clumping c.
func (s *state) named(c belief.Clump) Chain {
	b := make(namer, 0, 512) // most need no more
	if s.before != nil {
		b = append(b, s.before.chain[:]...)
	}
	g, e := s.growth, s.shown
	b.day(s.day)
	b.numbers(g.Rate, g.RateSD, g.Noise, g.HalfLife, c.A, c.B, c.K, e.scale)
	b.whole(g.ResetAfter)
	b.day(g.SeasonStart)
	b.presence(e.presence)
	for n := range (farm.Visit{Counts: e.counts}).Each {
		b.whole(n)
	}
	return b.chain()
}

func (k intervalKey) named() Chain {
	b := make(namer, 0, 128)
	b.numbers(k.clump.A, k.clump.B, k.clump.K, k.level)
	b.whole(k.units, k.total)
	b.presence(k.presence)
	return b.chain()
}

// known is the belief of a state where it is kept or saved, else nil.
func (s *state) known() *belief.Belief {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.lookUp()
}

// lookUp is known of a state whose lock is held.
func (s *state) lookUp() *belief.Belief {
	if s.belief == nil && s.saved != nil {
		if b, read, ok := s.saved.Get(s.chain); ok {
			s.belief, s.read = &b, read
		}
	}
	return s.belief
}

// density is the belief of a state as the next one is carried from it: kept,
// saved or made. Of the way to the last few nothing is kept.
func (s *state) density() (*belief.Belief, error) {
	if b := s.known(); b != nil {
		return b, nil
	}
	far := s
	for range keptStates - 2 { // s and the one after it are kept too
		if far = far.before; far == nil {
			break
		}
		if far.known() != nil {
			far = nil
			break
		}
	}
	if far != nil {
		if err := far.hurry(); err != nil {
			return nil, err
		}
	}
	b, _, err := s.believed()
	return b, err
}

// hurry makes the belief of a state, where it is not known, and keeps none of
// those before it. Others that ask for it meanwhile wait.
func (s *state) hurry() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.lookUp() != nil {
		return nil
	}
	way := []*state{s}
	b := belief.Belief{Date: s.day}
	for at := s.before; at != nil; at = at.before {
		if known := at.known(); known != nil {
			b = *known
			break
		}
		way = append(way, at)
		b.Date = at.day // of the first one of all
	}
	slices.Reverse(way)
	b, err := through(b, way)
	if err == nil {
		s.belief = &b
	}
	return err
}

// SaveBeliefs saves the beliefs that an assessment on a later day can begin with,
// as far as they are still there and something saves them.
func (a *Assessment) SaveBeliefs() {
	if a.Decider == nil || a.Decider.state == nil || a.Decider.state.saved == nil {
		return
	}
	s := a.Decider.state
	for range savedLast {
		s.mu.Lock()
		b := s.belief
		s.mu.Unlock()
		if b != nil {
			s.saved.Put(s.chain, *b)
		}
		if s = s.before; s == nil {
			return
		}
	}
}
