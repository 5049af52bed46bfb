package forecast_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"leafturn/internal/belief"
	"leafturn/internal/forecast"
	"leafturn/internal/growth"
	"leafturn/internal/trend"
)

// mites is the line of the two-spotted mite, 0.0142 (T - 9.06) up to 30 °C.
var mites = growth.LineCurve(0.0142, 9.06, 30, 35)

// lognormal is a belief with a normal ln density.
type lognormal struct{ m, s float64 }

func (l lognormal) Quantile(p float64) float64 {
	if l.s == 0 {
		return math.Exp(l.m)
	}
	return math.Exp(distuv.Normal{Mu: l.m, Sigma: l.s}.Quantile(p))
}

func fixed(x float64) lognormal { return lognormal{math.Log(x), 0} }

// even is weather with the same temperature all day.
func even(temps ...float64) (w []forecast.Weather) {
	for _, t := range temps {
		w = append(w, forecast.Weather{Min: t, Max: t})
	}
	return w
}

func made(t testing.TB, s forecast.Setup) *forecast.Forecaster {
	t.Helper()
	if s.Paths == 0 {
		s.Paths = 2000
	}
	f, err := forecast.New(s)
	require.NoError(t, err)
	return f
}

func table(t testing.TB, f *forecast.Forecaster, low, high float64) *forecast.Table {
	t.Helper()
	x, err := f.Table(mites, low, high)
	require.NoError(t, err)
	return x
}

func run(t testing.TB, f *forecast.Forecaster, b forecast.Bed) []forecast.Way {
	t.Helper()
	r, err := f.Bed(b)
	require.NoError(t, err)
	return r.Ways
}

// DYN-21 of the worked checks: 0.5 mites a leaf, 14 daily means, 2.441 after
// them. Without uncertainty every path is that one.
func TestNoUncertaintyIsTheGrowthSum(t *testing.T) {
	temps := []float64{14.0, 15.5, 16.0, 18.0, 19.0, 17.5, 16.0, 15.0, 14.5, 17.0, 20.0, 21.0, 18.5, 16.5}
	f := made(t, forecast.Setup{Days: 14, Seed: 3, Weather: even(temps...)})
	w := run(t, f, forecast.Bed{Start: fixed(0.5), Growth: forecast.Growth{Table: table(t, f, 1, 1)}, Threshold: 2})[0]
	require.Len(t, w.Days, 15)
	sum := 0.0
	for d, day := range w.Days {
		if d > 0 {
			sum += 0.0142 * (temps[d-1] - 9.06)
		}
		for _, v := range []float64{day.Low90, day.Low50, day.Median, day.High50, day.High90} {
			require.InEpsilon(t, 0.5*math.Exp(sum), v, 1e-9, "day %d", d)
		}
	}
	require.InEpsilon(t, 2.441, w.Days[14].Median, 1e-3)
	// 1.38629 = ln 4 is first passed on day 13 (1.480), not on day 12 (1.346).
	require.Equal(t, 13, w.Likely)
	require.Equal(t, 13.0, w.Cross)
	require.Zero(t, w.Never)
	require.Zero(t, w.Days[12].Over)
	require.Equal(t, 1.0, w.Days[13].Over)
}

// A normal ln density, a normal rate and daily noise stay normal:
// Var = s² + SD² d² + noise d.
func TestNormalStaysNormal(t *testing.T) {
	for _, c := range []struct{ s, rate, sd, noise, within float64 }{
		{0.5, 0.1, 0, 0, 0.005}, // the start alone, evenly spread: within 0.5 %
		{0, 0.1, 0.03, 0, 0.005},
		{0.6, 0.1, 0.05, 0, 0.02},
		{0.6, -0.1, 0.05, 0.02, 0.08}, // noise is drawn: standard error 1/sqrt(paths) of the density
	} {
		f := made(t, forecast.Setup{Days: 14, Seed: 8, Paths: 4000})
		w := run(t, f, forecast.Bed{Start: lognormal{1, c.s}, Growth: forecast.Growth{Own: &forecast.Rate{Rate: c.rate, SD: c.sd}, Noise: c.noise}})[0]
		for d, day := range w.Days {
			x := float64(d)
			law := distuv.Normal{Mu: 1 + c.rate*x, Sigma: math.Sqrt(c.s*c.s + c.sd*c.sd*x*x + c.noise*x)}
			if law.Sigma == 0 {
				require.InDelta(t, math.E, day.Median, 1e-9)
				continue
			}
			for p, got := range map[float64]float64{0.05: day.Low90, 0.25: day.Low50, 0.5: day.Median, 0.75: day.High50, 0.95: day.High90} {
				require.InDelta(t, law.Quantile(p), math.Log(got), c.within*math.Max(1, 2*law.Sigma), "%+v day %d share %v", c, d, p)
			}
		}
	}
}

// The factor of a table is log-normal with 5 % on each side of the band: from
// one density the quantiles are exact.
func TestBandOfTable(t *testing.T) {
	f := made(t, forecast.Setup{Days: 7, Seed: 1, Weather: even(20, 20, 20, 20, 20, 20, 20)})
	d := run(t, f, forecast.Bed{Start: fixed(1), Growth: forecast.Growth{Table: table(t, f, 0.5, 1.25)}})[0].Days[7]
	g := 7 * 0.0142 * (20 - 9.06)
	require.InEpsilon(t, 0.5*g, math.Log(d.Low90), 0.005)
	require.InEpsilon(t, 1.25*g, math.Log(d.High90), 0.005)
	require.InEpsilon(t, math.Sqrt(0.5*1.25)*g, math.Log(d.Median), 0.005)
}

// Without noise and with a rate that does not change, the chances are those of
// trend.Crossing, which integrates.
func TestChancesAgainstIntegration(t *testing.T) {
	f := made(t, forecast.Setup{Days: 14, Seed: 5, Paths: 8000})
	for _, c := range []struct{ m, s, rate, sd, level float64 }{
		{0, 0.5, 0.08, 0.03, 2}, {0.3, 0.8, 0.02, 0.07, 4}, {1, 0.4, -0.1, 0.05, 3},
	} {
		want, err := trend.Crossing(trend.Belief{LnMean: c.m, LnSD: c.s}, c.rate, c.sd, c.level)
		require.NoError(t, err)
		w := run(t, f, forecast.Bed{Start: lognormal{c.m, c.s}, Growth: forecast.Growth{Own: &forecast.Rate{Rate: c.rate, SD: c.sd}}, Threshold: c.level})[0]
		for d, day := range w.Days {
			require.InDelta(t, want.At[d], day.Over, 0.006, "%+v day %d", c, d)
			require.InDelta(t, want.Within[d], day.Within, 0.006, "%+v day %d", c, d)
		}
		require.InDelta(t, 1-want.Within[14], w.Never, 0.006)
		require.Equal(t, want.Day, w.Likely)
	}
}

// Uncertain weather: a slow simulation with other numbers, that asks growth for
// each day of each path.
func TestUncertainWeather(t *testing.T) {
	days := make([]forecast.Weather, 10)
	for i := range days {
		days[i] = forecast.Weather{Min: 6, Max: 18, SD: 3}
	}
	f := made(t, forecast.Setup{Days: 10, Seed: 2, Paths: 20_000, Weather: days})
	got := run(t, f, forecast.Bed{Start: fixed(1), Growth: forecast.Growth{Table: table(t, f, 1, 1)}})[0].Days[10]
	rng := rand.New(rand.NewPCG(77, 1))
	var ln []float64
	for range 20_000 {
		sum, off := 0.0, rng.NormFloat64()
		for range 10 {
			r, _, err := mites.DayHeld(dayOf(6+3*off, 18+3*off))
			require.NoError(t, err)
			sum += r
			off = 0.7*off + math.Sqrt(1-0.49)*rng.NormFloat64()
		}
		ln = append(ln, sum)
	}
	slices.Sort(ln)
	for share, v := range map[float64]float64{0.05: got.Low90, 0.5: got.Median, 0.95: got.High90} {
		require.InDelta(t, ln[int(share*20_000)], math.Log(v), 0.02, "%v", share)
	}
}

// A release without uncertainty is growth.Run, and its outcomes are those of
// the worked check DYN-17 (1:4 falls at once, 1:20 rises first, 1:60 never).
func TestReleaseIsThePatch(t *testing.T) {
	level := func(x float64) growth.Curve {
		return growth.Curve{Temp: []float64{0, 30}, Rate: []float64{x, x}, Under: x, End: 40}
	}
	f := made(t, forecast.Setup{Days: 14, Seed: 9, Paths: 50, Weather: even(20, 20, 20, 20, 20, 20, 20, 20, 20, 20, 20, 20, 20, 20)})
	for prey, outcome := range map[float64]growth.Outcome{4: growth.FallsAtOnce, 20: growth.RisesThenFalls, 61: growth.NeverControlled} {
		r := forecast.Release{Predators: 1, Share: 1, Appetite: level(3), Increase: level(0.25), Low: 1, High: 1}
		w := run(t, f, forecast.Bed{Start: fixed(prey), Growth: forecast.Growth{Own: &forecast.Rate{Rate: 0.3}},
			Alternatives: []forecast.Alternative{{Name: "release", Steps: []forecast.Step{{Release: &r}}}}})[0]
		require.Equal(t, outcome, w.Outcome)
		rates := slices.Repeat([]growth.Rates{{Alpha: 0.3, Beta: 3, Gamma: 0.25}}, 14)
		n, _, err := growth.Run(prey, 1, rates)
		require.NoError(t, err)
		for d, want := range n {
			require.InDelta(t, want, w.Days[d+1].Median, 1e-6*math.Max(1, want), "%v prey, day %d", prey, d+1)
		}
	}
	// Half of the pest is outside the spot and grows as it likes.
	r := forecast.Release{Predators: 1, Share: 0.5, Appetite: level(3), Increase: level(0.25), Low: 1, High: 1}
	w := run(t, f, forecast.Bed{Start: fixed(8), Growth: forecast.Growth{Own: &forecast.Rate{Rate: 0.3}},
		Alternatives: []forecast.Alternative{{Name: "release", Steps: []forecast.Step{{Release: &r}}}}})[0]
	require.InEpsilon(t, 4*math.Exp(0.3*14), w.Days[14].Median, 1e-9)
}

func TestTreatment(t *testing.T) {
	f := made(t, forecast.Setup{Days: 7, Seed: 4})
	treat, err := forecast.Measured(80, 80, 80)
	require.NoError(t, err)
	ways := run(t, f, forecast.Bed{Start: lognormal{0, 0.3}, Growth: forecast.Growth{Own: &forecast.Rate{Rate: 0.1, SD: 0.02}}, Threshold: 1.5,
		Alternatives: []forecast.Alternative{{Name: "nothing"}, {Name: "bait", Steps: []forecast.Step{{Day: 2, Treatment: &treat}}}}})
	require.Equal(t, ways[0].Days[:3], ways[1].Days[:3], "a step on day 2 shows on day 3")
	for d := 3; d <= 7; d++ {
		require.InEpsilon(t, 0.2*ways[0].Days[d].Median, ways[1].Days[d].Median, 1e-9, "day %d", d)
	}
	// Its uncertainty: 95 % of paths lie within its interval, none above.
	treat, err = forecast.Measured(80, 60, 90)
	require.NoError(t, err)
	w := run(t, f, forecast.Bed{Start: fixed(1), Growth: forecast.Growth{Own: &forecast.Rate{}}, Keep: true,
		Alternatives: []forecast.Alternative{{Steps: []forecast.Step{{Treatment: &treat}}}}})[0]
	sd := (math.Log(0.4) - math.Log(0.1)) / (2 * 1.959964)
	require.InEpsilon(t, 0.2*math.Exp(1.644854*sd), w.Days[7].High90, 0.01)
	require.InEpsilon(t, 0.2*math.Exp(-1.644854*sd), w.Days[7].Low90, 0.01)
}

func TestCap(t *testing.T) {
	f := made(t, forecast.Setup{Days: 14, Seed: 4})
	w := run(t, f, forecast.Bed{Start: fixed(10), Growth: forecast.Growth{Own: &forecast.Rate{Rate: 0.2}}, Cap: forecast.UsualCap})[0]
	require.Zero(t, w.Days[8].Overrun) // 10 e^1.6 = 49.5
	require.Equal(t, 1.0, w.Days[9].Overrun)
	require.InEpsilon(t, 50, w.Days[14].Median, 1e-12)
	require.True(t, math.IsNaN(w.Cross), "no threshold is known")
	require.Equal(t, 1.0, w.Never)
}

// At the cap a path stays, though its rate falls, until a step brings it down.
func TestCapHoldsUntilAStep(t *testing.T) {
	f := made(t, forecast.Setup{Days: 6, Seed: 4, Paths: 20})
	half := forecast.Treatment{LnLeft: -math.Ln2}
	w := run(t, f, forecast.Bed{Start: fixed(60), Growth: forecast.Growth{Own: &forecast.Rate{Rate: -0.1}}, Cap: 50, Threshold: 40,
		Alternatives: []forecast.Alternative{{}, {Steps: []forecast.Step{{Day: 2, Treatment: &half}}}}})
	require.InEpsilon(t, 50, w[0].Days[6].Median, 1e-12)
	require.InEpsilon(t, 50, w[1].Days[2].Median, 1e-12)
	require.InEpsilon(t, 25*math.Exp(-0.4), w[1].Days[6].Median, 1e-12)
	require.Equal(t, 1.0, w[0].Days[6].Over)
	require.Zero(t, w[1].Days[6].Over)
	require.Equal(t, 1.0, w[1].Days[6].Within)
	// A threshold over the cap is never come to.
	high := run(t, f, forecast.Bed{Start: fixed(40), Growth: forecast.Growth{Own: &forecast.Rate{Rate: 0.3}}, Cap: 50, Threshold: 60})[0]
	require.Zero(t, high.Days[6].Within)
	require.Equal(t, 1.0, high.Never)
}

// What the next count is met with: the belief carried with NextPrior has the
// forecast's own quantiles.
func TestNextPrior(t *testing.T) {
	f := made(t, forecast.Setup{Days: 10, Seed: 6, Paths: 8000, Weather: even(15, 16, 17, 18, 19, 20, 21, 20, 19, 18)})
	b, err := belief.Update(belief.Weak(), belief.Evidence{Counts: []int{2, 0, 5, 1, 3, 2, 4, 0, 1, 2, 6, 3}}, belief.Clump{A: 3.3, B: 1.49})
	require.NoError(t, err)
	rest := belief.UnknownGrowth()
	rest.HalfLife = 1e6
	g := forecast.Growth{Table: table(t, f, 0.5, 1.25), Noise: 0.01}
	treat, err := forecast.Measured(50, 30, 64)
	require.NoError(t, err)
	steps := []forecast.Step{{Day: 1, Treatment: &treat}, {Day: 9, Treatment: &treat}}
	next, err := f.NextPrior(g, 7, steps, rest)
	require.NoError(t, err)
	require.Equal(t, 0.01, next.Noise)
	carried, err := belief.Carry(b, 7, next)
	require.NoError(t, err)
	day := run(t, f, forecast.Bed{Start: b.Read(), Growth: g, Alternatives: []forecast.Alternative{{Steps: steps}}})[0].Days[7]
	for p, got := range map[float64]float64{0.05: day.Low90, 0.25: day.Low50, 0.5: day.Median, 0.75: day.High50, 0.95: day.High90} {
		require.InDelta(t, math.Log(carried.Quantile(p)), math.Log(got), 0.05, "share %v", p)
	}
	// Rate and spread by hand: a rate of its own, no treatment.
	next, err = f.NextPrior(forecast.Growth{Own: &forecast.Rate{Rate: 0.1, SD: 0.03}, Noise: 0.02}, 7, nil, rest)
	require.NoError(t, err)
	require.InDelta(t, 0.1, next.Rate, 1e-3)
	require.InDelta(t, 0.03, next.RateSD, 1e-3)
	require.Equal(t, rest.HalfLife, next.HalfLife)
}

// A rate that was read while the table said 0.1 a day is half the table's when
// it was 0.05, in any weather.
func TestOwnRateGoesWithTheTemperature(t *testing.T) {
	f := made(t, forecast.Setup{Days: 3, Seed: 6, Paths: 10, Weather: even(12, 20, 28)})
	tab := table(t, f, 0.5, 1.25)
	days := run(t, f, forecast.Bed{Start: fixed(1), Growth: forecast.Growth{Table: tab, Own: &forecast.Rate{Rate: 0.05, Base: 0.1}}})[0].Days
	sum := 0.0
	for d, temp := range []float64{12, 20, 28} {
		sum += 0.5 * 0.0142 * (temp - 9.06)
		require.InEpsilon(t, math.Exp(sum), days[d+1].Median, 1e-9)
	}
}

func TestHotHoursAreTold(t *testing.T) {
	f := made(t, forecast.Setup{Days: 3, Paths: 1, Weather: []forecast.Weather{{Min: 15, Max: 30}, {Min: 20, Max: 38}, {Min: 36, Max: 37, SD: 2}}})
	tab := table(t, f, 1, 1)
	// 38 down to 20: over 35 while cos < -2/3, 24 × acos(2/3)/π = 6.4 hours, of
	// which 6 middles; the third day all 24.
	require.Equal(t, 30, tab.HotHours)
	require.Equal(t, 2, tab.HotDays)
}

// A release fails on so many paths, on which it is as if there were none, and on
// the others it is as if it could not.
func TestReleaseFails(t *testing.T) {
	level := func(v float64) growth.Curve { return growth.Curve{Temp: []float64{0}, Rate: []float64{v}, End: 40} }
	f := made(t, forecast.Setup{Days: 5, Paths: 4000, Seed: 3, Weather: make([]forecast.Weather, 5)})
	with := func(fails float64) []forecast.Alternative {
		r := forecast.Release{Predators: 1, Share: 1, Appetite: level(3), Increase: level(0.2), Low: 0.5, High: 2, Fails: fails}
		return []forecast.Alternative{{Steps: []forecast.Step{{Day: 1, Release: &r}}}}
	}
	end := func(a []forecast.Alternative) []float64 {
		res, err := f.Bed(forecast.Bed{Start: fixed(8), Growth: forecast.Growth{Own: &forecast.Rate{Rate: 0.1, SD: 0.02}}, Alternatives: a, Keep: true})
		require.NoError(t, err)
		return res.Ways[0].Ln[5]
	}
	none, sure, some := end(nil), end(with(0)), end(with(0.25))
	failed := 0.0
	for p := range none {
		if math.Abs(some[p]-none[p]) < 1e-9 {
			failed++
			continue
		}
		require.InDelta(t, sure[p], some[p], 1e-9)
	}
	require.InDelta(t, 0.25, failed/float64(len(none)), 0.002)
	bad := with(1)
	_, err := f.Bed(forecast.Bed{Start: fixed(8), Growth: forecast.Growth{Own: &forecast.Rate{Rate: 0.1}}, Alternatives: bad})
	require.ErrorIs(t, err, forecast.ErrDomain)
}

func TestRefusals(t *testing.T) {
	_, err := forecast.New(forecast.Setup{Days: 15, Paths: 1})
	require.ErrorIs(t, err, forecast.ErrFar)
	require.ErrorContains(t, err, "scout again")
	f := made(t, forecast.Setup{Days: 7, Paths: 10, Weather: even(20, 20)})
	_, err = f.Table(mites, 1, 1)
	require.ErrorIs(t, err, forecast.ErrNoWeather)
	require.ErrorContains(t, err, "2 of 7 days")
	own := forecast.Growth{Own: &forecast.Rate{Rate: 0.1}}
	_, err = f.Bed(forecast.Bed{Start: fixed(1)})
	require.ErrorIs(t, err, forecast.ErrNoRate)
	_, err = f.Bed(forecast.Bed{Start: fixed(0.3), Growth: own, NoneFound: true})
	require.ErrorIs(t, err, forecast.ErrNoneFound)
	require.ErrorContains(t, err, "below 0.3")
	_, err = f.Bed(forecast.Bed{Start: fixed(1), Growth: forecast.Growth{Own: &forecast.Rate{Rate: 0.1, Base: 0.1}}})
	require.ErrorIs(t, err, forecast.ErrNoWeather)
	ok := growth.Curve{Temp: []float64{10}, Rate: []float64{1}, End: 30}
	_, err = f.Bed(forecast.Bed{Start: fixed(1), Growth: own, Alternatives: []forecast.Alternative{{Name: "mites", Steps: []forecast.Step{
		{Release: &forecast.Release{Predators: 1, Share: 1, Low: 1, High: 1, Appetite: ok, Increase: ok}}}}}})
	require.ErrorIs(t, err, forecast.ErrNoWeather)

	nan, inf := math.NaN(), math.Inf(1)
	for i, s := range []forecast.Setup{{Days: 0, Paths: 1}, {Days: -1, Paths: 1}, {Days: 1}, {Days: 1, Paths: 100_001},
		{Days: 1, Paths: 1, Weather: []forecast.Weather{{Min: nan, Max: 3}}}, {Days: 1, Paths: 1, Weather: []forecast.Weather{{Min: 9, Max: 3}}},
		{Days: 1, Paths: 1, Weather: []forecast.Weather{{Min: 0, Max: 200}}}, {Days: 1, Paths: 1, Weather: []forecast.Weather{{SD: nan}}}, {Days: 1, Paths: 1, Weather: []forecast.Weather{{SD: -1}}}} {
		_, err := forecast.New(s)
		require.ErrorIs(t, err, forecast.ErrDomain, "setup %d", i)
	}
	day := made(t, forecast.Setup{Days: 1, Paths: 5, Weather: even(20)})
	_, err = day.Table(growth.Curve{}, 1, 1)
	require.ErrorIs(t, err, forecast.ErrDomain)
	for _, b := range [][2]float64{{0, 1}, {2, 1}, {nan, 1}, {1, inf}} {
		_, err = day.Table(mites, b[0], b[1])
		require.ErrorIs(t, err, forecast.ErrDomain, "%v", b)
	}
	other := table(t, made(t, forecast.Setup{Days: 1, Paths: 5, Weather: even(20)}), 1, 1)
	step := func(s forecast.Step) []forecast.Alternative {
		return []forecast.Alternative{{Steps: []forecast.Step{s}}}
	}
	for i, b := range []forecast.Bed{{Growth: own}, {Start: lognormal{nan, 1}, Growth: own}, {Start: lognormal{800, 1}, Growth: own}, {Start: lognormal{0, -1}, Growth: own},
		{Start: fixed(1), Growth: forecast.Growth{Own: &forecast.Rate{Rate: nan}}}, {Start: fixed(1), Growth: forecast.Growth{Own: &forecast.Rate{SD: inf}}},
		{Start: fixed(1), Growth: forecast.Growth{Own: own.Own, Noise: nan}}, {Start: fixed(1), Growth: forecast.Growth{Table: other}},
		{Start: fixed(1), Growth: own, Threshold: nan}, {Start: fixed(1), Growth: own, Threshold: -1}, {Start: fixed(1), Growth: own, Cap: inf},
		{Start: fixed(1), Growth: own, Alternatives: step(forecast.Step{})}, {Start: fixed(1), Growth: own, Alternatives: step(forecast.Step{Day: 1, Treatment: &forecast.Treatment{}})},
		{Start: fixed(1), Growth: own, Alternatives: step(forecast.Step{Treatment: &forecast.Treatment{LnLeft: nan}})},
		{Start: fixed(1), Growth: own, Alternatives: step(forecast.Step{Release: &forecast.Release{Predators: 1, Share: 2, Low: 1, High: 1}})}} {
		_, err := day.Bed(b)
		require.ErrorIs(t, err, forecast.ErrDomain, "bed %d", i)
	}
	for _, e := range [][3]float64{{50, 60, 70}, {100, 90, 100}, {nan, 0, 1}, {50, nan, 60}, {0, -inf, 0}} {
		_, err := forecast.Measured(e[0], e[1], e[2])
		require.ErrorIs(t, err, forecast.ErrDomain, "%v", e)
	}
	_, err = day.NextPrior(own, 2, nil, belief.UnknownGrowth())
	require.ErrorIs(t, err, forecast.ErrDomain)
}

func TestCombine(t *testing.T) {
	// 0.1 ± 0.1 with 0.2 ± 0.2: weights 4 to 1.
	c := forecast.Combine(forecast.Rate{Rate: 0.2, SD: 0.2}, forecast.Rate{Rate: 0.1, SD: 0.1, Base: 0.3})
	require.InDelta(t, 0.12, c.Rate, 1e-12)
	require.InDelta(t, math.Sqrt(1/125.0), c.SD, 1e-12)
	require.Equal(t, 0.3, c.Base)
	require.Equal(t, forecast.Rate{Rate: 1}, forecast.Combine(forecast.Rate{Rate: 2, SD: 1}, forecast.Rate{Rate: 1}))
	require.Equal(t, forecast.Rate{Rate: 2}, forecast.Combine(forecast.Rate{Rate: 2}, forecast.Rate{Rate: 1, SD: 1}))
}

// A rate of past counts is drawn to what is usual by the precisions.
func TestHoldsAndField(t *testing.T) {
	// Known to nothing but the drift: halved. SD 0.07 of each: 0.07/sqrt 2.
	r := forecast.Holds(0.2, 0)
	require.InDelta(t, 0.1, r.Rate, 1e-12)
	require.InDelta(t, 0.07/math.Sqrt2, r.SD, 1e-12)
	require.Less(t, forecast.Holds(0.2, 0.2).Rate, 0.03)
	// 0.25 x 0.2 = 0.05 with 0.12 against 0.02 with 0.05: weights 1/0.0144 and 1/0.0025.
	r = forecast.Field(forecast.Rate{Rate: 0.02, SD: 0.04, Base: 0.2})
	require.InDelta(t, (0.05/0.0144+0.02/0.0025)/(1/0.0144+1/0.0025), r.Rate, 1e-12)
	require.InDelta(t, math.Sqrt(1/(1/0.0144+1/0.0025)), r.SD, 1e-12)
	require.Equal(t, 0.2, r.Base)
	require.Equal(t, forecast.Holds(0.1, 0.02), forecast.Field(forecast.Rate{Rate: 0.1, SD: 0.02}))
}

func TestCRPS(t *testing.T) {
	// By pairs, as it is defined.
	x, y := []float64{3, -1, 2, 2, 7}, 2.5
	far, within := 0.0, 0.0
	for _, a := range x {
		far += math.Abs(a-y) / 5
		for _, b := range x {
			within += math.Abs(a-b) / 50
		}
	}
	require.InDelta(t, far-within, forecast.CRPS(x, y), 1e-12)
	require.InDelta(t, 1.5, forecast.CRPS([]float64{4}, 2.5), 1e-12)
	// Of a standard normal at its mean: (sqrt 2 - 1)/sqrt pi (Gneiting & Raftery, eq. 21).
	var z []float64
	for i := range 20_000 {
		z = append(z, distuv.UnitNormal.Quantile((float64(i)+0.5)/20_000))
	}
	require.InDelta(t, (math.Sqrt2-1)/math.Sqrt(math.Pi), forecast.CRPS(z, 0), 1e-3)
	require.True(t, math.IsNaN(forecast.CRPS(nil, 1)))
}

func TestWiden(t *testing.T) {
	for _, c := range []struct {
		z    []float64
		want float64
	}{
		{nil, 1}, {[]float64{1, -1}, 1}, {[]float64{2, 2, 2, 2}, math.Sqrt(2.5)}, {[]float64{0, 0, 0, 0}, math.Sqrt(0.5)},
		{slices.Repeat([]float64{0}, 100), 1.0 / 3}, {slices.Repeat([]float64{9}, 100), 3}, {[]float64{1000}, math.Sqrt(29.0 / 5)},
	} {
		var past []forecast.Past
		for _, z := range c.z {
			past = append(past, forecast.Past{Middle: 3, SD: 0.5, Came: 3 + 0.5*z})
		}
		w, err := forecast.Widen(past)
		require.NoError(t, err)
		require.InDelta(t, c.want, w, 1e-12)
	}
	_, err := forecast.Widen([]forecast.Past{{SD: 0}})
	require.ErrorIs(t, err, forecast.ErrDomain)
}

func TestChance(t *testing.T) {
	for p, want := range map[float64]string{0: "less than 1 in 100", 0.004: "less than 1 in 100", 0.03: "3 in 100", 0.08: "1 in 10", 0.3: "3 in 10",
		0.5: "5 in 10", 0.94: "9 in 10", 0.97: "97 in 100", 1: "more than 99 in 100", math.NaN(): "unknown"} {
		require.Equal(t, want, forecast.Chance(p), "%v", p)
	}
}

// The course is told from the last release on, with all predators that are out
// by then, against the patch worked out by itself.
func TestBed_OutcomeOfSeveralReleases(t *testing.T) {
	f := made(t, forecast.Setup{Days: 10, Paths: 400, Seed: 1, Weather: even(20, 20, 20, 20, 20, 20, 20, 20, 20, 20)})
	flat := func(v float64) growth.Curve {
		return growth.Curve{Temp: []float64{0, 30}, Rate: []float64{v, v}, End: 40}
	}
	own := forecast.Rate{Rate: 0.2}
	let := func(n float64) *forecast.Release {
		return &forecast.Release{Predators: n, Share: 1, Appetite: flat(1), Increase: flat(0.05), Low: 1, High: 1}
	}
	b := forecast.Bed{Start: must(belief.Update(belief.Weak(), belief.Evidence{Counts: []int{9, 11, 10, 8, 12, 10}}, belief.Clump{K: math.Inf(1)})).Read(),
		Growth: forecast.Growth{Own: &own}, Threshold: 100}
	b.Alternatives = []forecast.Alternative{
		{Name: "few", Steps: []forecast.Step{{Release: let(0.5)}}},
		{Name: "few, then many", Steps: []forecast.Step{{Release: let(0.5)}, {Day: 3, Release: let(20)}}},
	}
	r, err := f.Bed(b)
	require.NoError(t, err)
	require.Equal(t, growth.NeverControlled, r.Ways[0].Outcome)
	prey, predators := r.Ways[0].Days[3].Median, 0.5*math.Exp(3*0.05)+20
	c, err := growth.Patch{Prey: prey, Predators: predators, Alpha: 0.2, Beta: 1, Gamma: 0.05}.Course()
	require.NoError(t, err)
	require.Equal(t, growth.FallsAtOnce, c.Outcome)
	require.Equal(t, c.Outcome, r.Ways[1].Outcome)
}
