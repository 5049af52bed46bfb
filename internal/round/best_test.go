package round_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/round"
)

// everyOrder tries every order that ends with the last places.
func everyOrder(places []round.Place, list []int) float64 {
	best := math.Inf(1)
	var try func(done []int, metres float64)
	try = func(done []int, metres float64) {
		if metres >= best {
			return
		}
		if len(done) == len(list) {
			best = metres
			return
		}
		for _, p := range list {
			if slices.Contains(done, p) {
				continue
			}
			if places[p].Last && slices.ContainsFunc(list, func(q int) bool { return !places[q].Last && !slices.Contains(done, q) }) {
				continue
			}
			d := 0.0
			if len(done) > 0 {
				q := places[done[len(done)-1]]
				d = math.Hypot(q.X-places[p].X, q.Y-places[p].Y)
			}
			try(append(slices.Clone(done), p), metres+d)
		}
	}
	try(nil, 0)
	return best
}

// check holds a choice against what it says of itself, and returns the places.
func check(t *testing.T, places []round.Place, looks []round.Look, minutes, speed float64, c round.Choice) []int {
	t.Helper()
	spent, lost := 0.0, 0.0
	var list []int
	out := 0
	for i, l := range looks {
		if !c.Keep[i] {
			lost += l.Risk
			if l.Must {
				out++
			}
			continue
		}
		spent += l.Minutes
		if places[l.Place].Known && !slices.Contains(list, l.Place) {
			list = append(list, l.Place)
		}
	}
	require.InDelta(t, lost, c.Lost, 1e-9)
	require.InDelta(t, spent+c.Metres/speed, c.Minutes, 1e-9)
	require.LessOrEqual(t, c.Minutes, minutes+1e-6, "the minutes are the limit, musts or not")
	require.Equal(t, out, c.Out)
	require.Equal(t, out > 0, c.Short > 0)
	require.LessOrEqual(t, c.OutMin, c.Out)
	require.LessOrEqual(t, c.Least, c.Lost+1e-9)
	if c.Proven {
		require.Equal(t, c.OutMin, c.Out)
		require.InDelta(t, c.Lost, c.Least, 1e-9)
	}
	return list
}

// Against every subset of looks and every order of places.
func TestBest_EverySubsetEveryOrder(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 1))
	overs, some, dropped := 0, 0, 0
	for n := range 400 {
		places := make([]round.Place, 1+rng.IntN(6))
		for i := range places {
			places[i] = round.Place{Point: round.Point{X: float64(rng.IntN(120)), Y: float64(rng.IntN(120))}, Known: rng.IntN(6) > 0, Last: rng.IntN(4) == 0}
		}
		looks := make([]round.Look, 1+rng.IntN(8))
		for i := range looks {
			looks[i] = round.Look{Place: rng.IntN(len(places)), Minutes: float64(rng.IntN(24)) / 2, Risk: float64(rng.IntN(20)) / 20, Must: rng.IntN(7) == 0}
		}
		const speed = 10 // slow feet make the walk matter
		minutes := float64(rng.IntN(60))
		c := round.Best(places, looks, minutes, speed)
		check(t, places, looks, minutes, speed, c)
		require.True(t, c.Proven, "case %d", n)
		least, fewest, musts := math.Inf(1), len(looks), 0.0
		for set := range 1 << len(looks) {
			spent, lost, out := 0.0, 0.0, 0
			var list []int
			only := true
			for i, l := range looks {
				if set&(1<<i) == 0 {
					lost += l.Risk
					if l.Must {
						out++
					}
					continue
				}
				only = only && l.Must
				spent += l.Minutes
				if places[l.Place].Known && !slices.Contains(list, l.Place) {
					list = append(list, l.Place)
				}
			}
			took := spent + everyOrder(places, list)/speed
			if only && out == 0 {
				musts = took
			}
			switch {
			case took > minutes+1e-9:
			case out < fewest:
				fewest, least = out, lost
			case out == fewest:
				least = min(least, lost)
			}
		}
		require.Equal(t, fewest, c.Out, "case %d", n)
		require.InDelta(t, least, c.Lost, 1e-9, "case %d", n)
		if musts > minutes+1e-9 {
			overs++
			require.Positive(t, c.Out)
			require.InDelta(t, musts-minutes, c.Short, 1e-6, "case %d", n)
			if slices.ContainsFunc(c.Keep, func(k bool) bool { return k }) {
				some++
			}
			continue
		}
		require.Zero(t, c.Out)
		require.Zero(t, c.Short)
		if c.Lost > 0 {
			dropped++
		}
	}
	require.Greater(t, overs, 20)
	require.Greater(t, some, 10)
	require.Greater(t, dropped, 100)
}

// Nobody has counted anything: every look is a must. As many as fit are kept.
func TestBest_AllMusts(t *testing.T) {
	var places []round.Place
	var looks []round.Look
	for i := range 40 {
		places = append(places, round.Place{Point: round.Point{X: float64(i%10) * 2, Y: float64(i/10) * 30}, Known: true})
		for k := range 3 {
			looks = append(looks, round.Look{Place: i, Minutes: []float64{6.5, 8, 10}[k], Must: true})
		}
	}
	last := len(looks)
	for _, minutes := range []float64{5, 60, 180, 600} {
		begin := time.Now()
		c := round.Best(places, looks, minutes, 50)
		check(t, places, looks, minutes, 50, c)
		t.Logf("%g min: out %d, at least %d, proven %v, %s", minutes, c.Out, c.OutMin, c.Proven, time.Since(begin))
		require.LessOrEqual(t, c.OutMin, last)
		require.LessOrEqual(t, c.Out-c.OutMin, 2)
		last = c.Out
	}
}

// Forty beds in four rows of ten, two pests in most: proven best within any
// time, in a second or so; more time never leaves more risk.
func TestBest_FortyBeds(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 2))
	for range 3 {
		var places []round.Place
		var looks []round.Look
		for i := range 40 {
			places = append(places, round.Place{Point: round.Point{X: float64(i%10) * 2, Y: float64(i/10) * 30}, Known: true, Last: i%13 == 0})
			for range 1 + rng.IntN(2) {
				looks = append(looks, round.Look{Place: i, Minutes: []float64{6.5, 8, 10, 14.5, 22}[rng.IntN(5)], Risk: rng.Float64(), Must: rng.IntN(25) == 0})
			}
		}
		last, out := math.Inf(1), len(looks)
		for _, minutes := range []float64{20, 45, 60, 90, 120, 180, 300} {
			begin := time.Now()
			c := round.Best(places, looks, minutes, 50)
			check(t, places, looks, minutes, 50, c)
			require.Equal(t, c, round.Best(places, looks, minutes, 50))
			t.Logf("%3.0f min: out %d, lost %.3f, least %.3f, proven %v, %s", minutes, c.Out, c.Lost, c.Least, c.Proven, time.Since(begin))
			require.LessOrEqual(t, c.Out, out)
			if c.Out == out {
				require.LessOrEqual(t, c.Least, last+1e-9)
			}
			last, out = c.Lost, c.Out
			require.True(t, c.Proven)
		}
	}
}

// Beds strewn over a field and slow feet: where a gap is left it is said, and
// no choice of a longer search is outside it.
func TestBest_Strewn(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 3))
	proven, all := 0, 0
	for range 6 {
		var places []round.Place
		var looks []round.Look
		for i := range 40 {
			places = append(places, round.Place{Point: round.Point{X: rng.Float64() * 100, Y: rng.Float64() * 100}, Known: i%9 > 0})
			looks = append(looks, round.Look{Place: i, Minutes: float64(4 + rng.IntN(10)), Risk: rng.Float64()})
		}
		least := 0.0
		for _, minutes := range []float64{200, 120, 60} { // less time: never less risk than the bound of more
			c := round.Best(places, looks, minutes, 50)
			check(t, places, looks, minutes, 50, c)
			require.GreaterOrEqual(t, c.Lost, least-1e-9)
			least = c.Least
			all++
			if c.Proven {
				proven++
			}
			t.Logf("%g min: lost %.3f, least %.3f", minutes, c.Lost, c.Least)
		}
	}
	require.Greater(t, proven, all/2)
}
