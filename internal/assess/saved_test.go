package assess_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/assess"
	"leafturn/internal/belief"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
)

// saves is what earlier runs saved.
type saves struct {
	all       map[assess.Chain]belief.Belief
	intervals map[assess.Chain]estimate.Interval
	hit, miss int
}

// Get is of assess.Saved.
func (s *saves) Get(c assess.Chain) (belief.Belief, *belief.Reader, bool) {
	b, ok := s.all[c]
	if s.miss++; ok {
		s.hit++
		s.miss--
	}
	return b, b.Read(), ok
}

// Put is of assess.Saved.
func (s *saves) Put(c assess.Chain, b belief.Belief) { s.all[c] = b }

// Interval is of assess.Saved.
func (s *saves) Interval(c assess.Chain) (estimate.Interval, bool) {
	in, ok := s.intervals[c]
	return in, ok
}

// PutInterval is of assess.Saved.
func (s *saves) PutInterval(c assess.Chain, in estimate.Interval) { s.intervals[c] = in }

// A season is changed at random, in any of its visits, in how the pest clumps
// and grows and in what was done, day after day. What begins at a belief that was
// saved before says to the last bit what is made from the first visit on.
func TestSaved(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for _, p := range []assess.Pest{slugs(), mites(), wireworms()} {
		visit := func(id int64) farm.Visit {
			u := p.Units[0]
			v := farm.Visit{ID: id, Bed: "B3", Pest: p.Key, Unit: u.Key, Stratum: farm.Random, Conditions: good(farm.Visit{}).Conditions}
			for range 5 + rng.IntN(10) {
				v.Counts = append(v.Counts, farm.UnitCount{Count: int(rng.ExpFloat64() * 4), Seen: true})
			}
			return v
		}
		s := &saves{all: map[assess.Chain]belief.Belief{}, intervals: map[assess.Chain]estimate.Interval{}}
		in := input(p, farm.Bloom)
		first, last := today.AddDays(-60), int64(0)
		for w := range 9 {
			last++
			v := visit(last)
			v.Date = first.AddDays(7 * w)
			in.Visits = append(in.Visits, v)
		}
		rate := 0.03
		for range 200 {
			at := rng.IntN(len(in.Visits))
			in.Visits = slices.Clone(in.Visits)
			switch rng.IntN(8) {
			case 0: // amended: another number
				last++
				v := visit(last)
				v.Date = in.Visits[at].Date
				in.Visits[at] = v
			case 1:
				last++
				in.Visits[at].ID = last
				in.Visits[at].Date = in.Visits[at].Date.AddDays(rng.IntN(3) - 1)
			case 2:
				if len(in.Visits) > 6 {
					in.Visits = slices.Delete(in.Visits, at, at+1)
				}
			case 3:
				last++
				v := visit(last)
				v.Date = first.AddDays(rng.IntN(60))
				in.Visits = append(in.Visits, v)
			case 4:
				in.Pest.Units = slices.Clone(in.Pest.Units)
				in.Pest.Units[0].Dispersed.K *= 0.9 + 0.2*rng.Float64()
				in.Pest.Units[0].Dispersed.A *= 0.9 + 0.2*rng.Float64()
			case 5:
				rate = 0.01 + 0.05*rng.Float64()
			case 6:
				in.Steps = append(slices.Clone(in.Steps), first.AddDays(rng.IntN(60)))
			case 7:
				in.Today = in.Today.AddDays(rng.IntN(3))
			}
			in.Grows = rates(first.String(), today.String(), rate)
			said := func(b *assess.Beliefs) string { // in words, for NaN is not equal to itself
				in := in
				in.Brief, in.Beliefs = true, b
				a := assessed(t, in)
				a.SaveBeliefs()
				short := a.Short()
				out := fmt.Sprintf("%+v", short.Result)
				for _, r := range []*assess.ShortReading{short.Decider, short.Earlier} {
					if r != nil {
						out += fmt.Sprintf("\n%v %v %v %v %v %v %+v", r.Visit, r.LikelyL, r.LikelyH, r.Chance, r.ChanceW, r.ChanceThen, r.Density)
					}
				}
				return out
			}
			require.Equal(t, said(&assess.Beliefs{}), said(&assess.Beliefs{Saved: s}))
		}
		t.Logf("%s: %d beliefs of %d were saved", p.Key, s.hit, s.hit+s.miss)
		require.Greater(t, s.hit, 20)
	}
}
