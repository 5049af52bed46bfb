package assess_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/assess"
	"leafturn/internal/belief"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// Between visits the belief is carried day by day, by hand here; after the
// last one on to today. A hot spot says nothing of the bed.
func TestThrough_DayByDay(t *testing.T) {
	spot := on(9, "2026-07-05", good(count("spider_mite", "leaf", repeat(20, 40)...)))
	spot.Stratum = farm.HotSpot
	days := []string{"2026-07-01", "2026-07-08", "2026-07-15"}
	in := input(mites(), farm.Budding, spot,
		on(1, days[0], good(count("spider_mite", "leaf", repeat(20, 1)...))),
		on(2, days[1], good(count("spider_mite", "leaf", repeat(20, 3)...))),
		on(3, days[2], good(count("spider_mite", "leaf", repeat(20, 4)...))))
	in.Today = day("2026-07-19")
	a := assessed(t, in)
	unit := mites().Units[0]
	clump := belief.Clump{A: unit.Dispersed.A, B: unit.Dispersed.B}
	var want []assess.Likely
	add := func(b belief.Belief, d civil.Date) {
		iv, err := b.Interval(0.95)
		require.NoError(t, err)
		want = append(want, assess.Likely{Date: d, Low: iv.Low, High: iv.High})
	}
	b := belief.Weak()
	for i, n := range []int{1, 3, 4} {
		if i > 0 {
			for k := 1; k <= 7; k++ {
				carried, err := belief.Carry(b, k, belief.UnknownGrowth())
				require.NoError(t, err)
				add(carried, day(days[i-1]).AddDays(k))
				if k == 7 {
					b = carried
				}
			}
		}
		var err error
		b, err = belief.Update(b, belief.Evidence{Counts: repeat(20, n), Scale: 1}, clump)
		require.NoError(t, err)
		add(b, day(days[i]))
	}
	for k := 1; k <= 4; k++ {
		carried, err := belief.Carry(b, k, belief.UnknownGrowth())
		require.NoError(t, err)
		add(carried, day(days[2]).AddDays(k))
	}
	got, err := a.Through(unit.Measure)
	require.NoError(t, err)
	require.Len(t, got, len(want))
	for i, w := range want {
		require.Equal(t, w.Date, got[i].Date)
		require.InEpsilon(t, w.Low, got[i].Low, 1e-4, "%s", w.Date)
		require.InEpsilon(t, w.High, got[i].High, 1e-4, "%s", w.Date)
		if i > 0 && got[i].Date != got[i-1].Date {
			require.Greater(t, got[i].High/got[i].Low, got[i-1].High/got[i-1].Low, "wider day by day")
		}
	}
	low, high, ok := a.LikelyNow()
	require.True(t, ok)
	last := got[len(got)-1]
	require.Equal(t, []float64{low, high}, []float64{last.Low, last.High}, "what the verdict rests on")

	// It goes by the growth of the weather where that is known: just before a
	// visit it is what the belief of that visit began from.
	in.Grows = rates("2026-06-01", "2026-07-19", 0.2)
	hot := assessed(t, in)
	warm, err := hot.Through(unit.Measure)
	require.NoError(t, err)
	require.Greater(t, warm[6].High, got[6].High, "8 July came after a warm week")

	none, err := a.Through("some other measure")
	require.NoError(t, err)
	require.Empty(t, none)
}

// Any season has a band in the order of its days that holds what each valid
// reading says, and Read reads the same values without it.
func TestThrough_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := season(t)
		a := run(t, in)
		read, err := assess.Read(in)
		require.NoError(t, err)
		require.Len(t, read, len(a.Readings))
		for i, r := range a.Readings {
			require.Equal(t, r.Value, read[i].Value)
			require.Equal(t, r.N, read[i].N)
			require.Equal(t, r.Invalid, read[i].Invalid)
			require.Equal(t, r.Visit.ID, read[i].Visit.ID)
			require.Nil(t, read[i].Belief)
		}
		for _, u := range in.Pest.Units {
			band, err := a.Through(u.Measure)
			require.NoError(t, err)
			for i, l := range band {
				require.LessOrEqual(t, l.Low, l.High)
				require.GreaterOrEqual(t, l.Low, 0.0)
				require.False(t, l.Date.After(in.Today))
				if i > 0 {
					require.Contains(t, []int{0, 1}, l.Date.Sub(band[i-1].Date))
				}
			}
			for _, r := range a.Readings {
				if r.Valid() && r.Unit.Measure == u.Measure {
					require.Contains(t, band, assess.Likely{Date: r.Visit.Date, Low: r.LikelyL, High: r.LikelyH})
				}
			}
		}
	})
}
