package estimate_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/estimate"
)

// strange are the numbers that break arithmetic, among ordinary ones.
var strange = []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, math.Copysign(0, -1), 5e-324, 1e-300, 1e-30, 1e-9,
	0.05, 0.5, 0.95, 1, 1 - 0x1p-53, 2, 3.7, 1000, 1e9, 1e30, 1e300, math.MaxFloat64, -0.5, -1, -1e300}

// strangeWhole are their whole brothers.
var strangeWhole = []int{0, 1, 3, 40, 30_000, estimate.MaxCount, estimate.MaxCount + 1, math.MaxInt, -1, math.MinInt}

// strangeCounts are samples of every awkward kind.
var strangeCounts = [][]int{nil, {0}, {7}, {estimate.MaxCount}, {0, 0, 0, 0, 0}, {2, 2, 2, 2, 2}, {0, 1, 0, 0, 9}, {0, 0, 0, 0, estimate.MaxCount},
	{estimate.MaxCount, estimate.MaxCount - 1, estimate.MaxCount, 0, 1}, {-1, 2}, {math.MaxInt, 1}, {math.MinInt}, {3, 0, 1, 0, 0, 2, 14, 0, 1, 0, 5, 0}}

// numbers fails on an answer that is not a number although there was no error.
func numbers(t *testing.T, err error, what string, args []any, got ...float64) {
	t.Helper()
	if err != nil {
		return
	}
	for _, f := range got {
		if math.IsNaN(f) {
			t.Fatalf("%s of %v: %v and no error", what, args, got)
		}
	}
}

// ordered fails on an interval that is upside down or not a number.
func ordered(t *testing.T, err error, what string, args []any, iv estimate.Interval) {
	t.Helper()
	numbers(t, err, what, args, iv.Low, iv.High)
	if err == nil && iv.Low > iv.High*(1+1e-9)+1e-300 && iv.Low-iv.High > 1e-9*math.Abs(iv.Low) {
		t.Fatalf("%s of %v: %v upside down", what, args, iv)
	}
}

func chance(t *testing.T, what string, args []any, got ...float64) {
	t.Helper()
	for _, p := range got {
		if !(p >= 0 && p <= 1+1e-12) {
			t.Fatalf("%s of %v is %v, no chance", what, args, p)
		}
	}
}

// plainNumbers calls everything that takes numbers alone.
func plainNumbers(t *testing.T, n, m int, a, b, c float64) {
	args := []any{n, m, a, b, c}
	one := func(what string) func(float64, error) {
		return func(v float64, err error) { t.Helper(); numbers(t, err, what, args, v) }
	}
	interval := func(what string) func(estimate.Interval, error) {
		return func(iv estimate.Interval, err error) { t.Helper(); ordered(t, err, what, args, iv) }
	}
	one("Abbott")(estimate.Abbott(a, b))
	one("ActionLevel")(estimate.ActionLevel(a, b, c))
	one("CorrectedMortality")(estimate.CorrectedMortality(a, b))
	one("GrowthRate")(estimate.GrowthRate(a, b, c))
	one("InjuryLevel")(estimate.InjuryLevel(a, b, c, b, c))
	one("MeanFromShare")(estimate.MeanFromShare(a, b))
	one("PoissonDensity")(estimate.PoissonDensity(a, b))
	one("ShareInfested")(estimate.ShareInfested(a, b))
	one("ShareOver")(estimate.ShareOver(n, a, b))
	one("ZeroShareUpper")(estimate.ZeroShareUpper(n, a))
	one("ZeroUpper")(estimate.ZeroUpper(n, a, b))
	numbers(t, nil, "DoublingTime", args, estimate.DoublingTime(a))
	numbers(t, nil, "TaylorK", args, estimate.TaylorK(a, b, c))
	numbers(t, nil, "WeakPrior", args, estimate.WeakPrior(a))
	chance(t, "LogPMF", args, math.Exp(estimate.LogPMF(n, a, b)))
	chance(t, "CDF and Survival", args, estimate.CDF(n, a, b), estimate.Survival(n, a, b))
	p, _, err := estimate.WilsonRoom(a, b, c)
	numbers(t, err, "WilsonRoom", args, p)
	if units, err := estimate.UnitsToDetect(a, b, n); err == nil && units < 1 {
		t.Fatalf("UnitsToDetect of %v: %v", args, units)
	}
	interval("Wilson")(estimate.Wilson(n, m, a))
	interval("MortalityInterval")(estimate.MortalityInterval(n, m, m/2, n, a))
	interval("MortalityInterval")(estimate.MortalityInterval(n/2, n, m, m, 0.95))
	interval("ClopperPearson")(estimate.ClopperPearson(n, m, a))
	interval("LogWald")(estimate.LogWald(a, b, n, c))
	interval("PoissonExact")(estimate.PoissonExact(n, a))
	s, err := estimate.Proportion(n, m)
	ordered(t, err, "Proportion", args, estimate.Interval{Low: s.Low, High: s.High})
	s.Infested, s.Looked = n, m
	chance(t, "Share.Exceeds", args, s.Exceeds(a))
	g := estimate.GammaPoisson{Shape: a, Rate: b}
	ordered(t, nil, "GammaPoisson.Interval", args, g.Interval(c))
	chance(t, "GammaPoisson.Exceeds", args, g.Exceeds(c))
	numbers(t, nil, "GammaPoisson.Mean", args, g.Mean())

	cell := func(total float64, units int) estimate.Cell { return estimate.Cell{Total: total, Units: units} }
	for _, level := range []float64{0.95, c} {
		e, err := estimate.AbbottCounts(cell(a, n), cell(b, m), c, level)
		numbers(t, err, "AbbottCounts", args, e.Percent, e.Low, e.High, e.SELnRatio)
		e, err = estimate.HendersonTilton(cell(a, n), cell(b, m), cell(c, n), cell(a, m), b, level)
		numbers(t, err, "HendersonTilton", args, e.Percent, e.Low, e.High, e.SELnRatio)
		interval("AbbottProfile")(estimate.AbbottProfile(cell(a, n), cell(b, m), c, level))
	}
	steps, total, err := estimate.PestDays([]estimate.Reading{{Date: civil.New(n%3000, 1, 1), Mean: a}, {Date: civil.New(m%3000, 7, 1), Mean: b}, {Date: civil.New(2026, 7, 1), Mean: c}})
	numbers(t, err, "PestDays", args, append(steps, total)...)
	k := estimate.KonoSugino{Line: estimate.Line{Points: n, Intercept: a, Slope: b, MSE: c, XMean: a, XSquares: b}}
	pr, err := k.Predict(a, m)
	numbers(t, err, "Predict", args, pr.Median, pr.Mean, pr.VarLn)
}

// ofCounts calls everything that takes counts.
func ofCounts(t *testing.T, x []int, a, b, c float64) {
	args := []any{x, a, b, c}
	interval := func(what string) func(estimate.Interval, error) {
		return func(iv estimate.Interval, err error) { t.Helper(); ordered(t, err, what, args, iv) }
	}
	fits := func(f estimate.Fit, err error) {
		t.Helper()
		k, _ := f.K()
		se, _ := f.SEK()
		mk, _ := f.MomentK()
		ex, _ := f.SEKExpected()
		numbers(t, err, "fit", args, k, se, mk, ex, f.LogLik, f.PoissonLL, f.Mean(), f.SEMean())
	}
	fits(estimate.FitNB(x))
	fits(estimate.FitCommonK([][]int{x, {0, 3, 1}, x}))
	s, err := estimate.Summarize(x)
	numbers(t, err, "Summarize", args, s.Mean, s.Variance)
	interval("StudentInterval")(estimate.StudentInterval(x, a))
	interval("ProfileKnownK")(estimate.ProfileKnownK(x, a, b))
	interval("ProfileFreeK")(estimate.ProfileFreeK(x, a))
	bs, err := estimate.BootstrapMean(x, a)
	ordered(t, err, "BootstrapMean", args, bs.Percentile)
	ordered(t, err, "BootstrapMean (BCa)", args, bs.BCa)
	numbers(t, err, "BootstrapMean", args, bs.Z0, bs.Accel)
	d, err := estimate.Disperse(x)
	numbers(t, err, "Disperse", args, d.VarianceToMean, d.Crowding, d.Patchiness, d.Morisita, d.MorisitaChiSquare, d.Green, d.PUpper, d.PLower)
	g, err := estimate.UpdateGamma(a, b, x)
	numbers(t, err, "UpdateGamma", args, g.Mean(), g.Exceeds(c))
	posterior := func(what string) func(estimate.Posterior, error) {
		return func(p estimate.Posterior, err error) {
			t.Helper()
			if err != nil {
				return
			}
			numbers(t, nil, what, args, p.Mean(), p.Quantile(c), p.Quantile(0.5))
			chance(t, what, args, p.Exceeds(c), p.Exceeds(1))
			ordered(t, nil, what, args, estimate.Interval{Low: p.Quantile(0.025), High: p.Quantile(0.975)})
		}
	}
	for _, prior := range []estimate.Prior{nil, estimate.WeakPrior, estimate.GammaPrior(b, c)} {
		posterior("PosteriorKnownK")(estimate.PosteriorKnownK(x, a, prior))
		posterior("PosteriorUnknownK")(estimate.PosteriorUnknownK(x, a, b, prior))
	}
	presences := []estimate.Presence{{Infested: len(x), Looked: 12}, {Infested: 2, Looked: 30, Tally: 4}, {Looked: math.MaxInt}, {Tally: 60, Looked: 9, Infested: 1}}
	for i, disp := range []estimate.Dispersion{{}, {K: a}, {A: a, B: b}} {
		at, err := estimate.Outlier(x, disp)
		if err == nil && (at < 0 || at > len(x)) {
			t.Fatalf("Outlier of %v: %v", args, at)
		}
		for _, pr := range []estimate.Presence{{}, presences[(len(x)+i)%4]} {
			d, err := estimate.Estimate(estimate.Sample{Counts: x, Presence: pr}, disp)
			if err == nil {
				numbers(t, nil, "Estimate", args, d.Mean, d.K, d.PropInfested)
				ordered(t, nil, "Estimate", args, estimate.Interval{Low: d.Low, High: d.High})
				ordered(t, nil, "Estimate (share)", args, estimate.Interval{Low: d.PropLow, High: d.PropHigh})
				chance(t, "Density.Exceeds", args, d.Exceeds(c), d.Exceeds(1))
				numbers(t, nil, "Density.Posterior", args, d.Posterior().Mean())
			}
		}
	}
	// A regression on rows made of the numbers.
	rows, offset, times := make([][]float64, len(x)), make([]float64, len(x)), make([]float64, len(x))
	for i := range x {
		v := []float64{a, b, c, 1, 2}[i%5] * float64(1+i/5)
		rows[i], offset[i], times[i] = []float64{1, v}, []float64{b, 1, c}[i%3], v
	}
	for _, law := range []estimate.Law{estimate.PoissonLaw, estimate.NegBinLaw, 7} {
		for _, off := range [][]float64{nil, offset} {
			r, err := estimate.Regress(law, x, rows, off)
			numbers(t, err, "Regress", args, append(append([]float64{r.LogLik, r.Deviance, r.AIC, r.Pearson, r.K, r.SEK}, r.Coef...), r.SE...)...)
			if err == nil {
				interval("ProfileCoef")(r.ProfileCoef(1, 0.9))
				interval("ProfileCoef")(r.ProfileCoef(0, a))
			}
			tr, err := estimate.FitTrend(law, times, x, off, 0.95)
			numbers(t, err, "FitTrend", args, tr.Slope, tr.SE, tr.Factor, tr.FactorCI.Low, tr.FactorCI.High, tr.Doubling)
		}
	}
}

// ofLines calls everything that fits a line through pairs.
func ofLines(t *testing.T, x, y []float64, p float64, n int) {
	args := []any{x, y, p, n}
	ty, err := estimate.FitTaylor(x, y)
	numbers(t, err, "FitTaylor", args, ty.A, ty.B, ty.Line.SESlope, ty.Line.SEIntercept, ty.Line.R2)
	l, err := estimate.FitIwao(x, y)
	numbers(t, err, "FitIwao", args, l.Intercept, l.Slope, l.SESlope, l.SEIntercept, l.R2, l.MSE)
	k, err := estimate.FitKonoSugino(x, y)
	numbers(t, err, "FitKonoSugino", args, k.Line.Intercept, k.Line.Slope, k.Line.R2)
	pr, err := k.Predict(p, n)
	numbers(t, err, "Predict", args, pr.Median, pr.Mean, pr.VarLn)
}

// Every function answers every strange number, soon, and with a number or an
// error.
func TestStrangeNumbers(t *testing.T) {
	start := time.Now()
	for _, a := range strange {
		for _, b := range strange {
			for i, c := range strange {
				plainNumbers(t, strangeWhole[i%len(strangeWhole)], strangeWhole[(i/3+1)%len(strangeWhole)], a, b, c)
				plainNumbers(t, 3, 40, a, b, c)
			}
			ofLines(t, []float64{a, b, 1, 2, 1e300}, []float64{b, a, 2, 0.5, 3}, a, 10)
			ofLines(t, []float64{a, a, b}, []float64{b, a, a}, b, 0)
		}
	}
	ofLines(t, nil, nil, 0.5, 1)
	ofLines(t, []float64{1}, nil, 0.5, 1)
	for _, x := range strangeCounts {
		for i, a := range strange {
			ofCounts(t, x, a, strange[(i*5+2)%len(strange)], strange[(i*7+3)%len(strange)])
			ofCounts(t, x, 0.95, a, strange[(i*11+1)%len(strange)])
		}
	}
	require.Less(t, time.Since(start), 2*time.Minute)
}

// What used to hang, to be NaN without a word, or to be wrong.
func TestStrangeNumbers_Mended(t *testing.T) {
	domain := func(what string) func(any, error) {
		return func(_ any, err error) { t.Helper(); require.ErrorIs(t, err, estimate.ErrDomain, what) }
	}
	two := func(v any, err error) (any, error) { return v, err }
	nan, inf := math.NaN(), math.Inf(1)
	counts := []int{0, 3, 1}

	// A law that is none says nothing.
	for _, g := range []estimate.GammaPoisson{{Shape: nan, Rate: 1}, {Shape: 1, Rate: nan}, {Shape: -1, Rate: 1}, {}, {Shape: 5e-324, Rate: 1}, {Shape: 1, Rate: inf}} {
		require.Equal(t, estimate.Interval{High: inf}, g.Interval(0.95), g)
		require.Equal(t, inf, g.Mean())
		require.Equal(t, 1.0, g.Exceeds(3))
	}
	require.Equal(t, estimate.Interval{High: inf}, estimate.GammaPoisson{Shape: 3, Rate: 2}.Interval(nan))
	require.Zero(t, estimate.GammaPoisson{Shape: 3, Rate: 2}.Exceeds(nan))

	c := func(total float64, units int) estimate.Cell { return estimate.Cell{Total: total, Units: units} }
	domain("means no count has")(two(estimate.AbbottProfile(c(1e300, 3), c(1e-300, 3), inf, 0.95)))
	_, err := estimate.AbbottProfile(c(1e20, 1e12), c(1e20, 1e12), inf, 0.95)
	require.ErrorIs(t, err, estimate.ErrLarge, "rounding hides the ends")
	domain("k is 0 or +Inf all over")(two(estimate.PosteriorUnknownK(counts, 0, 1e300, estimate.WeakPrior)))
	domain("no prior")(two(estimate.PosteriorKnownK(counts, 1, nil)))
	domain("a prior that is none")(two(estimate.PosteriorKnownK(counts, 1, estimate.GammaPrior(nan, 1))))
	domain("a prior that rules the counts out")(two(estimate.PosteriorKnownK(counts, 1, func(float64) float64 { return math.Inf(-1) })))
	domain("a infinite")(two(estimate.PoissonDensity(inf, 1.5)))
	domain("b infinite")(two(estimate.PoissonDensity(2, -inf)))
	domain("too far apart")(two(estimate.FitIwao([]float64{1, 2, 1e300}, []float64{1, 2, 1e300})))
	domain("too far apart")(two(estimate.FitTaylor([]float64{1e-10, 1.0001e-10, 1.0002e-10}, []float64{1e-300, 1, 1e300})))
	domain("a line without spread")(two(estimate.KonoSugino{Line: estimate.Line{Points: 5, MSE: 1}}.Predict(0.3, 10)))
	domain("infinite value")(two(estimate.InjuryLevel(10, inf, 1, 1, 1)))
	domain("infinite days")(two(estimate.GrowthRate(1, 2, inf)))
	domain("over the largest number")(two(estimate.Abbott(1e300, 1e-300)))
	domain("no such law")(two(estimate.Regress(7, counts, [][]float64{{1}, {1}, {1}}, nil)))
	domain("a growth too large for a number")(two(estimate.FitTrend(estimate.PoissonLaw, []float64{0, 1e-3, 2e-3}, []int{1, 20, 400}, nil, 0.95)))
	domain("more units than can be")(two(estimate.Estimate(estimate.Sample{Counts: counts, Presence: estimate.Presence{Looked: math.MaxInt}}, estimate.Dispersion{})))
	domain("k next to nothing")(two(estimate.Estimate(estimate.Sample{Counts: counts}, estimate.Dispersion{K: 5e-324})))
	domain("a level that rounds to 1")(two(estimate.ProfileKnownK(counts, 1, 1-0x1p-53)))
	domain("a mean next to nothing at a level next to nothing")(two(estimate.LogWald(5e-324, inf, 3, 5e-324)))
	_, _, err = estimate.PestDays([]estimate.Reading{{Date: civil.New(2026, 5, 1), Mean: 1e308}, {Date: civil.New(2026, 7, 1), Mean: 1e308}})
	require.ErrorIs(t, err, estimate.ErrDomain)
	_, err = estimate.UnitsToDetect(1e-300, 0.95, 0)
	require.ErrorIs(t, err, estimate.ErrLarge)
	_, err = estimate.UnitsToDetect(1e-300, 0.95, math.MaxInt)
	require.ErrorIs(t, err, estimate.ErrLarge)
	n, err := estimate.UnitsToDetect(1e-300, 0.95, 2000) // one plant of 2000: 95 % of them, as far as a product of 1900 rounds
	require.NoError(t, err)
	require.InDelta(t, 1900, n, 1)

	require.Equal(t, math.Inf(-1), estimate.LogPMF(3, inf, 2))
	require.Zero(t, estimate.CDF(30_000, 1e300, 1e300))
	require.Equal(t, 1.0, estimate.Survival(30_000, 1e300, 1e300))
	require.Equal(t, 1.0, estimate.CDF(30_000, 1e-300, 5e-324))
	// k ln(1+m/k) where m/k is too large for a number.
	require.InEpsilon(t, 1e-90*(250+90)*math.Ln10, -estimate.LogPMF(0, 1e250, 1e-90), 1e-12)
	require.Equal(t, math.Inf(-1), estimate.LogPMF(3, 2, 5e-324))
	// 30,000 of a mean and k of 30,000: half, less the skew; the normal law is
	// good to about skew/6 = 3/(6 sqrt(60,000)).
	require.InDelta(t, 0.5, estimate.CDF(30_000, 30_000, 30_000), 0.01)
	require.Equal(t, inf, estimate.DoublingTime(nan))
	require.Equal(t, math.Inf(-1), estimate.WeakPrior(-1))
	require.Zero(t, estimate.Fit{}.Mean()+estimate.Fit{}.SEMean())
	_, ok := estimate.Fit{}.MomentK()
	require.False(t, ok)
	// A tail of more than five million terms is not summed, and said so.
	f, err := estimate.FitNB([]int{estimate.MaxCount, 0, 5})
	require.NoError(t, err)
	_, ok = f.SEKExpected()
	require.False(t, ok)
	// Wilson & Hilferty against the normal law: 1e13 -/+ 1.96 sqrt(1e13).
	iv, err := estimate.PoissonExact(1e13, 0.95)
	require.NoError(t, err)
	require.InDelta(t, 1e13-1.959963984540054*math.Sqrt(1e13), iv.Low, 3)
	require.InDelta(t, 1e13+1.959963984540054*math.Sqrt(1e13), iv.High, 3)
}

// bytesAsCounts are counts of every size out of bytes.
func bytesAsCounts(raw []byte, scale int) []int {
	x := make([]int, min(len(raw), 40))
	for i := range x {
		x[i] = int(raw[i]) * (scale % 5_000_000)
	}
	return x
}

// FuzzCounts feeds arbitrary counts and constants to every entry point: no
// panic, no NaN, intervals in order.
func FuzzCounts(f *testing.F) {
	f.Add([]byte{0, 0, 1, 0, 7, 2, 0, 4}, 1, 0.5, 1.3, 1.5)
	f.Add([]byte{255, 255}, 3_000_000, 1e-12, 5.0, 2.0)
	f.Add([]byte{}, 1, math.NaN(), -1.0, math.Inf(1))
	f.Add([]byte{0, 0, 0}, 1, math.Inf(1), 1e-300, 1.0)
	f.Fuzz(func(t *testing.T, raw []byte, scale int, a, b, c float64) {
		ofCounts(t, bytesAsCounts(raw, scale), a, b, c)
	})
}

// FuzzNumbers does the same for everything that takes numbers alone.
func FuzzNumbers(f *testing.F) {
	f.Add(3, 40, 0.95, 1.3, 1.5)
	f.Add(30_000, 3, 1e300, 1e300, math.Inf(1))
	f.Add(0, 0, math.NaN(), 1.0, 0.95)
	f.Add(1, math.MaxInt, 5e-324, math.Inf(-1), 1e-300)
	f.Fuzz(func(t *testing.T, n, m int, a, b, c float64) { plainNumbers(t, n, m, a, b, c) })
}

// FuzzLines does the same for lines through pairs.
func FuzzLines(f *testing.F) {
	f.Add(1.0, 2.0, 5.0, 0.1, 0.3, 0.5, 0.4, 20)
	f.Add(1e300, 1e-300, 3.0, 1e300, 1e-300, 5.0, 1e-320, 0)
	f.Fuzz(func(t *testing.T, a, b, c, d, e, g, p float64, n int) {
		ofLines(t, []float64{a, b, c, 1}, []float64{d, e, g, 0.7}, p, n)
	})
}
