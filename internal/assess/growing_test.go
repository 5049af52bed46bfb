package assess_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/assess"
	"leafturn/internal/belief"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/forecast"
)

func rates(from, to string, rate float64) assess.Grows {
	g := assess.Grows{}
	for d := day(from); !d.After(day(to)); d = d.AddDays(1) {
		g[d] = rate
	}
	return g
}

// Of eight days in ten the rest may be missing, of fewer nothing is said.
func TestGrows_Mean(t *testing.T) {
	g := rates("2026-07-01", "2026-07-08", 0.1)
	g[day("2026-07-02")] = 0.3
	for _, x := range []struct {
		from, to string
		want     float64
		ok       bool
	}{
		{"2026-07-01", "2026-07-03", 0.2, true}, // the last day is not in it
		{"2026-07-03", "2026-07-08", 0.1, true},
		{"2026-07-03", "2026-07-10", 0.1, true}, // 6 of 7
		{"2026-07-03", "2026-07-11", 0, false},  // 6 of 8
		{"2026-06-20", "2026-07-05", 0, false},  // 4 of 15
		{"2026-07-03", "2026-07-03", 0, false},  // no day
		{"2026-08-03", "2026-08-05", 0, false},
	} {
		got, ok := g.Mean(day(x.from), day(x.to))
		require.Equal(t, x.ok, ok, "%+v", x)
		require.InDelta(t, x.want, got, 1e-12, "%+v", x)
	}
	_, ok := assess.Grows(nil).Mean(day("2026-07-01"), day("2026-07-02"))
	require.False(t, ok)
}

// The belief after each count is that of the one before, carried by hand with
// the growth that the forecast gives for the days between and updated.
func TestAssess_CarriesByTheForecastsGrowth(t *testing.T) {
	counts := [][]int{repeat(20, 1), append(repeat(10, 1), repeat(10, 3)...), append(repeat(10, 2), repeat(10, 6)...)}
	days := []string{"2026-07-01", "2026-07-08", "2026-07-15"}
	var visits []farm.Visit
	for i, x := range counts {
		visits = append(visits, on(int64(i+1), days[i], good(count("spider_mite", "leaf", x...))))
	}
	in := input(mites(), farm.Budding, visits...)
	in.Today = day("2026-07-19")
	in.Grows = rates("2026-06-01", "2026-07-19", 0.12)
	for d := day("2026-07-08"); !d.After(day("2026-07-15")); d = d.AddDays(1) {
		in.Grows[d] = 0.2 // a warm week
	}
	got := assessed(t, in)
	unit := mites().Units[0]
	clump := belief.Clump{A: unit.Dispersed.A, B: unit.Dispersed.B}
	b := belief.Weak()
	var seen []forecast.Seen
	carry := func(from, to string) belief.Growth {
		base, ok := in.Grows.Mean(day(from), day(to))
		require.True(t, ok)
		g := belief.UnknownGrowth()
		g.Rate, g.RateSD = forecast.Between(base, seen, in.Grows.Mean)
		return g
	}
	for i, x := range counts {
		if i > 0 {
			g := carry(days[i-1], days[i])
			require.NotEqual(t, belief.UnknownGrowth(), g)
			var err error
			b, err = belief.Carry(b, 7, g)
			require.NoError(t, err)
		}
		var err error
		b, err = belief.Update(b, belief.Evidence{Counts: x, Scale: 1}, clump)
		require.NoError(t, err)
		total := 0
		for _, n := range x {
			total += n
		}
		m := (float64(total) + 0.5) / float64(len(x))
		seen = append(seen, forecast.SeenOf(day(days[i]), total, len(x), clump.At(m), 1))
		for _, p := range []float64{0.05, 0.5, 0.95} {
			require.InEpsilon(t, b.Quantile(p), got.Readings[i].Belief.Quantile(p), 1e-6, "count %d at %v", i+1, p)
		}
	}
	// And so is the belief of today, which the verdict rests on.
	now, err := belief.Carry(b, 4, carry("2026-07-15", "2026-07-19"))
	require.NoError(t, err)
	require.InEpsilon(t, now.Median(), got.Now().Median(), 1e-3)
	require.InDelta(t, now.Exceeds(got.Decider.Act.Value), got.Result.Chance, 1e-3)
	plain := in
	plain.Grows = nil
	require.Greater(t, got.Now().Median(), assessed(t, plain).Now().Median(), "it has been warm, and they grew")
}

// Where something was done, or the weather of too many days is not known, the
// growth is the plain one.
func TestAssess_PlainGrowthWhereLittleIsKnown(t *testing.T) {
	in := input(mites(), farm.Budding, on(1, "2026-07-01", good(count("spider_mite", "leaf", repeat(20, 2)...))), on(2, "2026-07-08", good(count("spider_mite", "leaf", repeat(20, 2)...))))
	in.Today = day("2026-07-08")
	plain := assessed(t, in).Decider.Belief
	median := func(g assess.Grows, steps ...civil.Date) float64 {
		x := in
		x.Grows, x.Steps = g, steps
		return assessed(t, x).Decider.Belief.Median()
	}
	full := rates("2026-07-01", "2026-07-08", 0.3)
	require.Greater(t, median(full), plain.Median()*1.01)
	require.Equal(t, plain.Median(), median(rates("2026-07-05", "2026-07-08", 0.3)))
	require.Equal(t, median(nil, day("2026-07-03")), median(full, day("2026-07-03")), "a step")
	require.False(t, math.IsNaN(median(assess.Grows{})))
}

// Between what is kept and what is made anew there is no difference, also when
// a day's temperature is typed in later.
func TestAssess_KeptBeliefsFollowTheWeather(t *testing.T) {
	var kept assess.Beliefs
	in := input(mites(), farm.Budding, on(1, "2026-07-01", good(count("spider_mite", "leaf", repeat(20, 2)...))), on(2, "2026-07-08", good(count("spider_mite", "leaf", repeat(20, 3)...))))
	in.Today, in.Beliefs = day("2026-07-08"), &kept
	for _, rate := range []float64{0.1, 0.3, 0.1} {
		in.Grows = rates("2026-07-01", "2026-07-08", rate)
		alone := in
		alone.Beliefs = nil
		require.Equal(t, assessed(t, alone).Decider.Belief.Median(), assessed(t, in).Decider.Belief.Median(), "%v", rate)
	}
}
