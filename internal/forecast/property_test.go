package forecast_test

import (
	"math"
	"runtime"
	"slices"
	"sort"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/degreeday"
	"leafturn/internal/forecast"
	"leafturn/internal/growth"
)

func dayOf(low, high float64) degreeday.Day {
	return degreeday.Day{Min: low, Max: high, NextMin: math.NaN()}
}

func quantiles(d forecast.Day) []float64 {
	return []float64{d.Low90, d.Low50, d.Median, d.High50, d.High90}
}

// drawn is a setup, a bed with a random growth, and its table.
func drawn(t *rapid.T) (*forecast.Forecaster, forecast.Bed) {
	days := rapid.IntRange(1, 14).Draw(t, "days")
	var w []forecast.Weather
	for range days {
		low := rapid.Float64Range(-5, 25).Draw(t, "low")
		w = append(w, forecast.Weather{Min: low, Max: low + rapid.Float64Range(0, 20).Draw(t, "range"), SD: rapid.SampledFrom([]float64{0, 1, 4}).Draw(t, "spread")})
	}
	f, err := forecast.New(forecast.Setup{Days: days, Paths: rapid.IntRange(1, 300).Draw(t, "paths"), Seed: rapid.Uint64().Draw(t, "seed"), Weather: w})
	require.NoError(t, err)
	tab, err := f.Table(mites, 0.5, 1.25)
	require.NoError(t, err)
	g := forecast.Growth{Table: tab, Noise: rapid.Float64Range(0, 0.2).Draw(t, "noise")}
	if rapid.Bool().Draw(t, "own") {
		g.Own = &forecast.Rate{Rate: rapid.Float64Range(-0.4, 0.4).Draw(t, "rate"), SD: rapid.Float64Range(0, 0.2).Draw(t, "sd"), Base: rapid.SampledFrom([]float64{0, 0.1}).Draw(t, "base")}
	}
	return f, forecast.Bed{Start: lognormal{rapid.Float64Range(-4, 4).Draw(t, "ln"), rapid.Float64Range(0, 2).Draw(t, "s")}, Growth: g,
		Threshold: rapid.Float64Range(0, 80).Draw(t, "level"), Cap: rapid.SampledFrom([]float64{0, 50}).Draw(t, "cap")}
}

func drawnStep(t *rapid.T, days int) forecast.Step {
	s := forecast.Step{Day: rapid.IntRange(0, days-1).Draw(t, "day")}
	if rapid.Bool().Draw(t, "treat") {
		s.Treatment = &forecast.Treatment{LnLeft: rapid.Float64Range(-4, 1).Draw(t, "left"), SD: rapid.Float64Range(0, 2).Draw(t, "left sd")}
		return s
	}
	s.Release = &forecast.Release{Predators: rapid.Float64Range(1e-3, 5).Draw(t, "predators"), Share: rapid.Float64Range(0.1, 1).Draw(t, "share"), Low: 0.5, High: 1.5,
		Appetite: growth.Curve{Temp: []float64{10, 17, 25}, Rate: []float64{0, 1.5, 3}, End: 35},
		Increase: growth.Curve{Temp: []float64{18, 30}, Rate: []float64{0.096, 0.25}, End: 35}}
	return s
}

// On common random numbers a step never raises anything, one more step never
// raises it either, and the bands hold together.
func TestStepsNeverRaise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, b := drawn(t)
		b.Keep = true
		days := len(run2(t, f, b)[0].Days) - 1
		one := drawnStep(t, days)
		two := []forecast.Step{one}
		if one.Release == nil {
			two = append(two, drawnStep(t, days))
		} else if s := drawnStep(t, days); s.Treatment != nil {
			two = append(two, s)
		}
		b.Alternatives = []forecast.Alternative{{Name: "nothing"}, {Name: "one", Steps: two[:1]}, {Name: "two", Steps: two}}
		ways := run2(t, f, b)
		for i, w := range ways {
			for d, day := range w.Days {
				require.True(t, slices.IsSorted(quantiles(day)), "%s day %d: %+v", w.Name, d, day)
				require.True(t, 0 <= day.Over && day.Over <= day.Within && day.Within <= 1 && 0 <= day.Overrun && day.Overrun <= 1)
				if d > 0 {
					require.True(t, w.Days[d-1].Within <= day.Within && w.Days[d-1].Overrun <= day.Overrun)
				}
				if b.Cap > 0 {
					require.LessOrEqual(t, day.High90, b.Cap*(1+1e-12))
				}
				if i == 0 || i == 2 && two[0].Release != nil {
					// A treatment beside a release kills what the predators live
					// on, so that it may cost more than it gains.
					continue
				}
				before := ways[i-1].Days[d]
				if i == 2 {
					before = ways[0].Days[d]
				}
				for k, v := range quantiles(day) {
					require.LessOrEqual(t, v, quantiles(before)[k]*(1+1e-9)+1e-12, "%s day %d quantile %d", w.Name, d, k)
				}
				require.LessOrEqual(t, day.Overrun, before.Overrun+1e-9)
			}
			if b.Threshold > 0 {
				require.InDelta(t, 1-w.Days[days].Within, w.Never, 1e-12)
			}
		}
	})
}

func run2(t *rapid.T, f *forecast.Forecaster, b forecast.Bed) []forecast.Way {
	r, err := f.Bed(b)
	require.NoError(t, err)
	return r.Ways
}

// Two ways to work out the same: a treatment that leaves all goes day by day,
// nothing is added up at once.
func TestNothingTwoWays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, b := drawn(t)
		idle := forecast.Step{Treatment: &forecast.Treatment{}}
		b.Alternatives = []forecast.Alternative{{}, {Steps: []forecast.Step{idle}}}
		w := run2(t, f, b)
		for d, day := range w[0].Days {
			other := w[1].Days[d]
			for k, v := range quantiles(day) {
				require.InDelta(t, v, quantiles(other)[k], 1e-9*v+1e-15, "day %d", d)
			}
			require.Equal(t, []float64{day.Over, day.Within, day.Overrun}, []float64{other.Over, other.Within, other.Overrun}, "day %d", d)
		}
		require.Equal(t, w[0].Likely, w[1].Likely)
		require.Equal(t, math.Float64bits(w[0].Cross), math.Float64bits(w[1].Cross))
		require.Equal(t, w[0].Never, w[1].Never)
	})
}

// A higher rate, a higher start and a higher temperature never lower anything.
func TestMonotonic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, b := drawn(t)
		b.Growth.Own = &forecast.Rate{Rate: 0.1, SD: 0.05}
		low := run2(t, f, b)[0]
		more := b
		if rapid.Bool().Draw(t, "which") {
			more.Growth.Own = &forecast.Rate{Rate: 0.1 + rapid.Float64Range(0, 1).Draw(t, "more"), SD: 0.05}
		} else {
			l := b.Start.(lognormal)
			l.m += rapid.Float64Range(0, 2).Draw(t, "more")
			more.Start = l
		}
		high := run2(t, f, more)[0]
		for d := range low.Days {
			for k, v := range quantiles(low.Days[d]) {
				require.LessOrEqual(t, v, quantiles(high.Days[d])[k]*(1+1e-9))
			}
			require.LessOrEqual(t, low.Days[d].Over, high.Days[d].Over+1e-9)
		}
	})
}

// Quantiles are those of sorting, interpolated (type 7 of Hyndman & Fan).
func TestQuantilesAgainstSorting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, b := drawn(t)
		b.Keep = true
		w := run2(t, f, b)[0]
		for d, ln := range w.Ln {
			x := slices.Clone(ln)
			sort.Float64s(x)
			for k, p := range []float64{0.05, 0.25, 0.5, 0.75, 0.95} {
				at := p * float64(len(x)-1)
				i := int(at)
				want := x[i] + (x[min(i+1, len(x)-1)]-x[i])*(at-float64(i))
				require.InDelta(t, math.Exp(want), quantiles(w.Days[d])[k], 1e-9*math.Exp(want)+1e-16)
			}
		}
	})
}

func TestSeedAndOrder(t *testing.T) {
	weather := []forecast.Weather{{10, 20, 0}, {11, 21, 2}, {12, 25, 3}}
	setup := forecast.Setup{Days: 3, Paths: 500, Seed: 42, Weather: weather}
	beds := func(f *forecast.Forecaster) (out []forecast.Bed) {
		tab := table(t, f, 0.5, 1.25)
		for i := range 40 {
			out = append(out, forecast.Bed{Start: lognormal{float64(i)/10 - 2, 0.5}, Growth: forecast.Growth{Table: tab, Noise: 0.02}, Threshold: 2, Cap: 50,
				NoneFound: i == 7, Keep: true})
		}
		return out
	}
	f := made(t, setup)
	all, errs := f.All(beds(f))
	g := made(t, setup)
	old := runtime.GOMAXPROCS(1)
	one, _ := g.All(beds(g))
	runtime.GOMAXPROCS(old)
	require.Equal(t, text(one), text(all), "cores do not matter")
	back := beds(f)
	for i := len(back) - 1; i >= 0; i-- {
		r, err := f.Bed(back[i])
		if i == 7 {
			require.ErrorIs(t, err, forecast.ErrNoneFound)
			require.ErrorIs(t, errs[i], forecast.ErrNoneFound)
			continue
		}
		require.NoError(t, errs[i])
		require.Equal(t, text([]forecast.Result{r}), text(all[i:i+1]), "order does not matter")
	}
	// A path is the same however many there are beside it.
	setup.Paths = 700
	more := made(t, setup)
	r, err := more.Bed(beds(more)[3])
	require.NoError(t, err)
	for d, ln := range all[3].Ways[0].Ln {
		require.Equal(t, ln, r.Ways[0].Ln[d][:500])
	}
	setup.Paths, setup.Seed = 500, 43
	other := made(t, setup)
	r, err = other.Bed(beds(other)[3])
	require.NoError(t, err)
	require.NotEqual(t, all[3].Ways[0].Ln, r.Ways[0].Ln)
	require.InEpsilon(t, all[3].Ways[0].Days[3].Median, r.Ways[0].Days[3].Median, 0.05)
}

// text makes NaN comparable.
func text(rs []forecast.Result) (out [][]uint64) {
	for _, r := range rs {
		for _, w := range r.Ways {
			line := []uint64{math.Float64bits(w.Cross), uint64(w.Likely + 1), math.Float64bits(w.Never)}
			for d, day := range w.Days {
				for _, v := range append(quantiles(day), day.Over, day.Within, day.Overrun) {
					line = append(line, math.Float64bits(v))
				}
				for _, v := range w.Ln[d] {
					line = append(line, math.Float64bits(v))
				}
			}
			out = append(out, line)
		}
	}
	return out
}

func FuzzBed(f *testing.F) {
	f.Add(uint64(1), 7, 50, 1.0, 0.5, 0.1, 0.05, 0.02, 5.0, 50.0, 8.0, 20.0, 2.0, 0, -1.0, 0.3, 0.1, 0.5)
	f.Add(uint64(9), 14, 3, 1e-9, 3.0, -5.0, 5.0, 25.0, 1e12, 1e-9, -90.0, 100.0, 20.0, 13, -100.0, 100.0, 1e6, 1.0)
	f.Fuzz(func(t *testing.T, seed uint64, days, paths int, x, s, rate, sd, noise, level, top, low, high, spread float64, day int, left, leftSD, predators, share float64) {
		if paths > 200 {
			return
		}
		fc, err := forecast.New(forecast.Setup{Days: days, Paths: paths, Seed: seed, Weather: slices.Repeat([]forecast.Weather{{low, high, spread}}, min(max(days, 0), 14))})
		if err != nil {
			return
		}
		g := forecast.Growth{Own: &forecast.Rate{Rate: rate, SD: sd}, Noise: noise}
		if seed%2 == 0 {
			if g.Own = nil; seed%4 == 0 {
				g.Table, _ = fc.Table(mites, sd, noise)
			}
		}
		curve := growth.Curve{Temp: []float64{10, 30}, Rate: []float64{rate, leftSD}, End: 35}
		r, err := fc.Bed(forecast.Bed{Start: lognormal{math.Log(x), s}, Growth: g, Threshold: level, Cap: top, Alternatives: []forecast.Alternative{
			{Name: "nothing"}, {Steps: []forecast.Step{{Day: day, Treatment: &forecast.Treatment{LnLeft: left, SD: leftSD}}}},
			{Steps: []forecast.Step{{Day: day, Release: &forecast.Release{Predators: predators, Share: share, Appetite: curve, Increase: curve, Low: 0.5, High: 1}}}}}})
		if err != nil {
			return
		}
		for _, w := range r.Ways {
			for d, q := range w.Days {
				if !slices.IsSorted(quantiles(q)) || !(q.Low90 >= 0) || math.IsInf(q.High90, 0) || !(q.Over >= 0 && q.Within <= 1) {
					t.Fatalf("%s day %d: %+v", w.Name, d, q)
				}
			}
		}
	})
}
