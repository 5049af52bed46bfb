package estimate_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/estimate"
)

var inf = math.Inf(1)

// Values from Python 3.11, numpy 1.24 and scipy 1.10 (gammaln, betainc,
// gammaincc): log likelihood plus -0.5 ln m - ln(1+m) on 400,001 points of
// ln m within 33 of the largest, cumulative_trapezoid, np.interp. The first two
// rows were also integrated with scipy.integrate.quad and scipy.stats.nbinom,
// agreeing to 1e-7.
func TestEstimate_Reference(t *testing.T) {
	traps := []int{0, 0, 1, 0, 7, 2, 0, 4}
	for _, c := range []struct {
		name       string
		in         estimate.Sample
		disp       estimate.Dispersion
		thresholds []float64
		exceed     []float64
		low, high  float64
	}{
		{"Taylor", estimate.Sample{Counts: traps}, estimate.Dispersion{A: 3.3, B: 1.49}, []float64{1, 2, 3, 5}, []float64{0.8232484, 0.3462559, 0.1137172, 0.0108437}, 0.579118, 4.28968},
		{"Taylor, Poisson below 0.16", estimate.Sample{Counts: traps}, estimate.Dispersion{A: 1.2654, B: 1.1292}, []float64{1, 2, 3}, []float64{0.9135289, 0.2195264, 0.0132197}, 0.808283, 2.79928},
		{"k known", estimate.Sample{Counts: traps}, estimate.Dispersion{K: 0.5}, []float64{1, 2, 3, 5}, []float64{0.8599565, 0.4142220, 0.1827232, 0.0449956}, 0.646441, 6.01007},
		{"nothing found", estimate.Sample{Counts: make([]int, 9)}, estimate.Dispersion{A: 3.3, B: 1.49}, []float64{0.1, 0.5, 1}, []float64{0.2222921, 0.0177592, 0.0019551}, 0, 0.310865},
		{"presence", estimate.Sample{Presence: estimate.Presence{Infested: 12, Looked: 50}}, estimate.Dispersion{A: 3.3, B: 1.49}, []float64{0.3, 0.5, 1}, []float64{0.7803440, 0.3041613, 0.0062747}, 0.177825, 0.837526},
		{"five or more", estimate.Sample{Presence: estimate.Presence{Infested: 14, Looked: 45, Tally: 4}}, estimate.Dispersion{K: 0.8}, []float64{3, 5, 8}, []float64{0.8702741, 0.1475556, 0.0019716}, 2.49086, 6.28347},
		{"both", estimate.Sample{Counts: []int{2, 0, 5, 1}, Presence: estimate.Presence{Infested: 3, Looked: 10}}, estimate.Dispersion{K: 0.8}, []float64{0.5, 1, 2}, []float64{0.9476251, 0.5286579, 0.0744175}, 0.429152, 2.55957},
		{"many", estimate.Sample{Counts: []int{250, 310, 190}}, estimate.Dispersion{K: 2}, []float64{200, 250, 300}, []float64{0.6914084, 0.4720322, 0.3063385}, 120.73, 600.147},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := must[estimate.Density](t)(estimate.Estimate(c.in, c.disp))
			for i, th := range c.thresholds {
				require.InDelta(t, c.exceed[i], d.Exceeds(th), 2e-6, "threshold %v", th)
			}
			require.InDelta(t, c.low, d.Low, 2e-5*c.high)
			require.InEpsilon(t, c.high, d.High, 2e-5)
		})
	}
}

func TestEstimate_Fields(t *testing.T) {
	d := must[estimate.Density](t)(estimate.Estimate(estimate.Sample{Counts: []int{0, 3, 0, 5, 1}}, estimate.Dispersion{A: 3.3, B: 1.49, Words: "Jones 1990"}))
	require.Equal(t, 5, d.N)
	require.Equal(t, 9, d.Total)
	require.Equal(t, 1.8, d.Mean)
	require.Equal(t, 2, d.Zeros)
	require.Equal(t, 5, d.Max)
	require.Equal(t, 0.6, d.PropInfested)
	require.Equal(t, "Jones 1990", d.KSource)
	require.InEpsilon(t, 1.8*1.8/(3.3*math.Pow(1.8, 1.49)-1.8), d.K, 1e-12)
	require.False(t, d.Outlier)
	require.Equal(t, 1.0, d.Exceeds(0))
	require.Equal(t, 1.0, d.Exceeds(-1))
	require.Equal(t, 0.0, d.Exceeds(inf))
	require.Equal(t, 0.0, estimate.Density{}.Exceeds(1))
}

func TestEstimate_Outlier(t *testing.T) {
	for _, disp := range []estimate.Dispersion{{A: 3.3, B: 1.49}, {K: 0.8}, {}} {
		d := must[estimate.Density](t)(estimate.Estimate(estimate.Sample{Counts: []int{1, 0, 2, 1, 0, 400, 1, 0, 2}}, disp))
		require.True(t, d.Outlier)
		require.Equal(t, 6, d.OutlierUnit)
		// Ordinary clumping is none, nor is one animal among zeros.
		for _, x := range [][]int{{1, 0, 2, 1, 0, 6, 1, 0, 2}, {0, 0, 0, 0, 0, 0, 0, 0, 1}, {0, 0, 1, 0, 7, 2, 0, 4}} {
			d = must[estimate.Density](t)(estimate.Estimate(estimate.Sample{Counts: x}, disp))
			require.False(t, d.Outlier, "%v", x)
		}
	}
}

// With one or two other units only what no reading of them leads to expect is
// flagged. The chances were summed in R: with k 0.8 and the others' upper limit
// m (2(l(mean) - l(m)) = 3.8415), n pnbinom(x - 1, size = 0.8, mu = m, lower =
// FALSE) is 0.028 for 0 40, 0.0002 for 0 90, 0.46 for 3 4 60, 0.0007 for 3 4 300.
func TestOutlier_FewUnits(t *testing.T) {
	for _, c := range []struct {
		counts []int
		at     int
	}{
		{[]int{0, 40}, 0}, {[]int{3, 30}, 0}, {[]int{3, 4, 60}, 0}, {[]int{0, 0, 5}, 0}, {[]int{5000}, 0}, {[]int{5000, 5000}, 0}, {[]int{5000, 5000, 1}, 0},
		{[]int{0, 90}, 2}, {[]int{0, 90_000}, 2}, {[]int{5000, 1, 0}, 1}, {[]int{3, 300, 4}, 2},
	} {
		at, err := estimate.Outlier(c.counts, estimate.Dispersion{K: 0.8})
		require.NoError(t, err)
		require.Equal(t, c.at, at, "%v", c.counts)
	}
}

func TestEstimate_Refuses(t *testing.T) {
	one := estimate.Sample{Counts: []int{1}}
	for name, c := range map[string]struct {
		in   estimate.Sample
		disp estimate.Dispersion
		err  error
	}{
		"nothing":        {estimate.Sample{}, estimate.Dispersion{}, estimate.ErrEmpty},
		"negative":       {estimate.Sample{Counts: []int{-1}}, estimate.Dispersion{}, estimate.ErrDomain},
		"more than all":  {estimate.Sample{Presence: estimate.Presence{Infested: 3, Looked: 2}}, estimate.Dispersion{}, estimate.ErrDomain},
		"negative k":     {one, estimate.Dispersion{K: -1}, estimate.ErrDomain},
		"NaN k":          {one, estimate.Dispersion{K: math.NaN()}, estimate.ErrDomain},
		"b above 2":      {one, estimate.Dispersion{A: 2, B: 2.5}, estimate.ErrDomain},
		"infinite a":     {one, estimate.Dispersion{A: inf, B: 1.5}, estimate.ErrDomain},
		"absurd a count": {estimate.Sample{Counts: []int{estimate.MaxCount + 1}}, estimate.Dispersion{}, estimate.ErrDomain},
	} {
		_, err := estimate.Estimate(c.in, c.disp)
		require.ErrorIs(t, err, c.err, name)
	}
}

// dispersions draws what may be known of clumping.
func dispersions(t *rapid.T) estimate.Dispersion {
	switch rapid.IntRange(0, 1).Draw(t, "kind") {
	case 0:
		return estimate.Dispersion{K: rapid.Float64Range(0.1, 20).Draw(t, "k")}
	}
	return estimate.Dispersion{A: rapid.Float64Range(0.5, 6).Draw(t, "a"), B: rapid.Float64Range(1, 2).Draw(t, "b")}
}

func samples(t *rapid.T, least, most int) []int {
	return rapid.SliceOfN(rapid.OneOf(rapid.Just(0), rapid.IntRange(0, 6), rapid.IntRange(0, 60)), least, most).Draw(t, "counts")
}

func TestEstimate_Properties(t *testing.T) {
	thresholds := []float64{0.1, 0.5, 1, 2, 5, 10, 30}
	rapid.Check(t, func(t *rapid.T) {
		disp, x := dispersions(t), samples(t, 1, 15)
		before := slices.Clone(x)
		d, err := estimate.Estimate(estimate.Sample{Counts: x}, disp)
		require.NoError(t, err)
		require.Equal(t, before, x, "the caller's slice is left alone")
		require.LessOrEqual(t, d.Low, d.High)
		require.False(t, math.IsNaN(d.High) || math.IsInf(d.High, 0))
		require.Equal(t, d.Total == 0, d.Low == 0)
		last := 1.0
		for _, th := range thresholds {
			p := d.Exceeds(th)
			require.LessOrEqual(t, p, last+1e-12, "the chance falls as the threshold rises")
			last = p
		}
		// The order of units does not matter.
		y := slices.Clone(x)
		slices.Reverse(y)
		r, err := estimate.Estimate(estimate.Sample{Counts: y}, disp)
		require.NoError(t, err)
		require.Equal(t, []float64{d.Low, d.High, d.Exceeds(1)}, []float64{r.Low, r.High, r.Exceeds(1)})
		// One more animal on any unit never lowers the chance to be over.
		i := rapid.IntRange(0, len(x)-1).Draw(t, "unit")
		y = slices.Clone(x)
		y[i] += rapid.IntRange(1, 20).Draw(t, "more")
		m, err := estimate.Estimate(estimate.Sample{Counts: y}, disp)
		require.NoError(t, err)
		for _, th := range thresholds {
			require.GreaterOrEqual(t, m.Exceeds(th), d.Exceeds(th)-2e-6, "threshold %v: %v, %v", th, x, y)
		}
		// A second sample like the first narrows the interval on the log scale.
		if d.Total >= 3 && len(x) > 2 {
			two, err := estimate.Estimate(estimate.Sample{Counts: append(slices.Clone(x), x...)}, disp)
			require.NoError(t, err)
			require.Less(t, two.High/two.Low, d.High/d.Low)
		}
	})
}

// A rising count never lowers the estimate from presence either, and more
// infested units of the same number raise it.
func TestEstimate_PresenceRises(t *testing.T) {
	for _, tally := range []int{0, 4} {
		last := -1.0
		for x := range 51 {
			d := must[estimate.Density](t)(estimate.Estimate(estimate.Sample{Presence: estimate.Presence{Infested: x, Looked: 50, Tally: tally}}, estimate.Dispersion{A: 3.3, B: 1.49}))
			require.Greater(t, d.Exceeds(2), last-1e-9)
			require.False(t, math.IsInf(d.High, 0) || math.IsNaN(d.High))
			last = d.Exceeds(2)
		}
		require.Greater(t, last, 0.99)
	}
}

// The Poisson limit: at k = 1e9 every answer is the gamma-Poisson one.
func TestPosterior_PoissonLimit(t *testing.T) {
	x := []int{3, 0, 4, 1, 2}
	g := must[estimate.GammaPoisson](t)(estimate.UpdateGamma(1, 0.2, x))
	for _, k := range []float64{1e9, inf} {
		p := must[estimate.Posterior](t)(estimate.PosteriorKnownK(x, k, estimate.GammaPrior(1, 0.2)))
		for _, th := range []float64{0.5, 1, 2, 3, 5} {
			require.InDelta(t, g.Exceeds(th), p.Exceeds(th), 1e-7)
		}
		require.InEpsilon(t, g.Mean(), p.Mean(), 1e-6)
		for _, q := range []float64{0.025, 0.5, 0.975} {
			require.InDelta(t, q, 1-g.Exceeds(p.Quantile(q)), 1e-7)
		}
	}
}

func TestFitNB_Edges(t *testing.T) {
	fit := func(x ...int) estimate.Fit { return must[estimate.Fit](t)(estimate.FitNB(x)) }
	for name, c := range map[string]struct {
		f    estimate.Fit
		want estimate.Outcome
		ok   bool
	}{
		"zeros":           {fit(0, 0, 0), estimate.NoAnimals, false},
		"one unit":        {fit(7), estimate.OneUnit, false},
		"all equal":       {fit(4, 4, 4), estimate.PoissonLimit, true},
		"variance = mean": {fit(0, 2), estimate.PoissonLimit, true}, // n-divisor variance 1, mean 1
		"one of many":     {fit(append(make([]int, 99), 1)...), estimate.PoissonLimit, true},
		"two of many":     {fit(append(make([]int, 99), 2)...), estimate.Converged, true},
		"huge":            {fit(0, 0, 3, 1_000_000_000), estimate.Converged, true},
	} {
		k, ok := c.f.K()
		require.Equal(t, c.want, c.f.Outcome, name)
		require.Equal(t, c.ok, ok, name)
		if ok {
			require.False(t, math.IsNaN(k), name)
			require.Equal(t, c.want == estimate.PoissonLimit, math.IsInf(k, 1), name)
		}
		require.False(t, math.IsNaN(c.f.SEMean()) || math.IsNaN(c.f.LogLik), name)
	}
	_, err := estimate.FitNB(nil)
	require.ErrorIs(t, err, estimate.ErrEmpty)
	_, err = estimate.FitNB([]int{1, -2})
	require.ErrorIs(t, err, estimate.ErrDomain)
	_, err = estimate.FitCommonK([][]int{{1}, nil})
	require.ErrorIs(t, err, estimate.ErrEmpty)
}

// The fit is where the likelihood, summed unit by unit from LogPMF, is
// highest, for small and for huge counts (which take another path).
func TestFitNB_IsTheMaximum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.OneOf(rapid.IntRange(0, 5), rapid.IntRange(0, 300), rapid.IntRange(0, 200_000)), 2, 30).Draw(t, "counts")
		f, err := estimate.FitNB(x)
		require.NoError(t, err)
		k, ok := f.K()
		if !ok {
			return
		}
		ll := func(k float64) (s float64) {
			for _, c := range x {
				s += estimate.LogPMF(c, f.Mean(), k)
			}
			return s
		}
		tol := 1e-9 * (1 + math.Abs(f.LogLik))
		require.InDelta(t, ll(k), f.LogLik, tol)
		if math.IsInf(k, 1) {
			for _, other := range []float64{0.1, 1, 10, 1e3, 1e5} {
				require.LessOrEqual(t, ll(other), f.LogLik+tol)
			}
			return
		}
		for _, r := range []float64{0.5, 0.9, 0.999, 1.001, 1.1, 2} {
			require.Less(t, ll(k*r), f.LogLik+tol)
		}
	})
}

func TestNB_Tails(t *testing.T) {
	for _, k := range []float64{1e-3, 0.05, 0.8, 12, 1e4, 1e6, 1e11, 1e14, inf} {
		for _, m := range []float64{0.01, 1, 5, 80} {
			sum := 0.0
			for x := range 200 {
				sum += math.Exp(estimate.LogPMF(x, m, k))
				c, s := estimate.CDF(x, m, k), estimate.Survival(x, m, k)
				require.InDelta(t, sum, c, 2e-11, "x %d mean %v k %v", x, m, k)
				require.InDelta(t, 1, c+s, 1e-12, "x %d mean %v k %v", x, m, k)
			}
		}
	}
	// R 4.2.2: pnbinom(20, size = 0.8, mu = 2, lower.tail = FALSE) and
	// ppois(20, 3, lower.tail = FALSE).
	require.InEpsilon(t, 5.00144630542e-04, estimate.Survival(20, 2, 0.8), 1e-10)
	require.InEpsilon(t, 1.17904481941e-11, estimate.Survival(20, 3, inf), 1e-9)
	require.InEpsilon(t, 1.17904481941e-11, estimate.Survival(20, 3, 1e11), 1e-8)
	require.Equal(t, 1.0, estimate.CDF(0, 0, 1))
	require.Equal(t, 1.0, estimate.Survival(-1, 3, 1))
}

// Counts too large to sum over, against R 4.2.2: pnbinom(x, size = k, mu = m)
// and the same with lower.tail = FALSE.
func TestNB_TailsOfLargeCounts(t *testing.T) {
	for _, c := range []struct {
		x            int
		m, k         float64
		lower, upper float64
	}{
		{103494, 34968.369824394234, 0.0041909258142272966, 9.840839110924e-01, 1.591608890757e-02},
		{74504, 11502.32057244323, 0.0021206233639908998, 9.921298570758e-01, 7.870142924158e-03},
		{48681, 22336.411595533766, 0.002468847523955145, 9.885730675340e-01, 1.142693246603e-02},
		{30000, 20000, 0.29999999999999999, 7.962950278821e-01, 2.037049721179e-01},
		{30000, 20000, 3, 8.264177119658e-01, 1.735822880342e-01},
		{30000, 200, 0.029999999999999999, 9.999334928515e-01, 6.650714852222e-05},
		{25000, 25000, 0.001, 9.936876665626e-01, 6.312333437363e-03},
		{1000000, 1000000, 0.5, 6.826896131224e-01, 3.173103868776e-01},
		{1000000, 1000, 0.01, 9.999999571808e-01, 4.281914998957e-08},
		{2000000, 1000000, 25, 9.999654451272e-01, 3.455487284228e-05},
		{50000000, 30000000, 2, 8.454126941740e-01, 1.545873058260e-01},
		{1000000, 1000000, 1000000000, 5.002659615195e-01, 4.997340384805e-01},
		{21000, 20500, 100000, 9.992402258741e-01, 7.597741259064e-04},
		{21000, 22000, 100000000, 5.654481121138e-12, 9.999999999943e-01},
		{1000000000, 1000000000, 0.69999999999999996, 6.565890604085e-01, 3.434109395915e-01},
		{40000, 100000, 300, 3.549897297933e-43, 1.000000000000e+00},
	} {
		require.InEpsilon(t, c.lower, estimate.CDF(c.x, c.m, c.k), 1e-8, "%+v", c)
		require.InEpsilon(t, c.upper, estimate.Survival(c.x, c.m, c.k), 1e-8, "%+v", c)
	}
}

func TestIntervals_Edges(t *testing.T) {
	iv := must[estimate.Interval](t)
	// The known-k profile tends to the Poisson likelihood interval, which holds the mean.
	x := []int{3, 0, 4, 1, 2}
	a, b := iv(estimate.ProfileKnownK(x, 1e12, 0.95)), iv(estimate.ProfileKnownK(x, inf, 0.95))
	require.InEpsilon(t, b.Low, a.Low, 1e-9)
	require.InEpsilon(t, b.High, a.High, 1e-9)
	// Zeros: n k ln(1+m/k) = qchisq(0.95,1)/2 at the upper end.
	z := iv(estimate.ProfileKnownK(make([]int, 9), 0.5, 0.95))
	require.Zero(t, z.Low)
	require.InDelta(t, 3.841458820694124/2, 9*0.5*math.Log1p(z.High/0.5), 1e-9)
	z = iv(estimate.ProfileFreeK(make([]int, 9), 0.95))
	require.Equal(t, estimate.Interval{Low: 0, High: inf}, z)
	require.Greater(t, iv(estimate.ProfileFreeK([]int{0, 0, 7}, 0.95)).High, 1000.0, "one unit of three sets hardly any bound")
	require.Equal(t, estimate.Interval{Low: -inf, High: inf}, iv(estimate.StudentInterval([]int{3}, 0.95)))
	boot := must[estimate.Bootstrap](t)(estimate.BootstrapMean([]int{4, 4, 4}, 0.95))
	require.True(t, boot.Fallback)
	require.Equal(t, estimate.Interval{Low: 4, High: 4}, boot.BCa)
	_, err := estimate.BootstrapMean([]int{1, 100_000, 5, 7, 8, 9, 3, 4, 2}, 0.95)
	require.NoError(t, err)
	_, err = estimate.BootstrapMean(append(make([]int, 500), 90_000), 0.95)
	require.ErrorIs(t, err, estimate.ErrLarge)
	_, err = estimate.Wilson(1, 0, 0.95)
	require.ErrorIs(t, err, estimate.ErrDomain)
	_, err = estimate.PoissonExact(3, 1)
	require.ErrorIs(t, err, estimate.ErrDomain)
}

// "What a zero proves": 0 of 10 plants still allows 26 %, of 30 9.5 %, of 50
// 5.8 %, of 100 3.0 %, of 300 1.0 %; and the plants to look at for a 95 %
// chance to meet one sick plant among 2,000. By definition of the binomial and
// hypergeometric laws, computed outside the project.
func TestZeroProves(t *testing.T) {
	for n, want := range map[int]float64{10: 0.26, 30: 0.095, 50: 0.058, 100: 0.030, 300: 0.010} {
		half := 0.0005 // half a unit of the last printed digit
		if n == 10 {
			half = 0.005
		}
		require.InDelta(t, want, must[float64](t)(estimate.ZeroShareUpper(n, 0.95)), half)
		s := must[estimate.Share](t)(estimate.Proportion(0, n))
		require.Zero(t, s.Low)
		require.InDelta(t, want, s.High, half)
	}
	for share, want := range map[float64]int{0.05: 58, 0.02: 143, 0.01: 277, 0.005: 517} {
		require.Equal(t, want, must[int](t)(estimate.UnitsToDetect(share, 0.95, 2000)))
	}
	require.Equal(t, 299, must[int](t)(estimate.UnitsToDetect(0.01, 0.95, 0))) // ln 0.05/ln 0.99 = 298.07
}

// R 4.2.2: pbeta(0.2, 12.5, 38.5, lower.tail = FALSE), and the symmetry P(x of n over t) = 1 - P(n-x of n over 1-t).
func TestShareExceeds(t *testing.T) {
	s := must[estimate.Share](t)(estimate.Proportion(12, 50))
	o := must[estimate.Share](t)(estimate.Proportion(38, 50))
	last := 1.0
	for _, th := range []float64{0, 0.05, 0.1, 0.2, 0.3, 0.5, 0.9, 1} {
		p := s.Exceeds(th)
		require.LessOrEqual(t, p, last)
		last = p
		if th > 0 && th < 1 {
			require.InDelta(t, 1, p+o.Exceeds(1-th), 1e-12)
		}
	}
	require.InDelta(t, 0.765701713359, s.Exceeds(0.2), 1e-11)
	require.Zero(t, estimate.Share{}.Exceeds(0.1))
}

func TestTaylorK(t *testing.T) {
	require.True(t, math.IsInf(estimate.TaylorK(0.05, math.Exp(1.76), 1.64), 1), "below the Poisson density")
	require.InEpsilon(t, 25/(3.3*math.Pow(5, 1.49)-5), estimate.TaylorK(5, 3.3, 1.49), 1e-12)
	f := must[estimate.Taylor](t)(estimate.FitTaylor([]float64{0, 1, 2, 4, 8}, []float64{0, 2, 0, 12, 30}))
	require.Equal(t, 2, f.Line.Dropped)
	require.Equal(t, 3, f.Line.Points)
	require.True(t, f.Thin)
	_, err := estimate.FitTaylor([]float64{1, 1, 1, 1}, []float64{2, 3, 4, 5})
	require.ErrorIs(t, err, estimate.ErrFew)
	_, err = estimate.FitTaylor([]float64{1, 2}, []float64{2})
	require.ErrorIs(t, err, estimate.ErrDomain)
}

func TestKonoSugino_PredictionParts(t *testing.T) {
	f := must[estimate.KonoSugino](t)(estimate.FitKonoSugino([]float64{0.2, 0.5, 1, 2, 4, 6, 0, 9}, []float64{0.15, 0.3, 0.5, 0.65, 0.85, 0.9, 0, 1}))
	require.Equal(t, 2, f.Line.Dropped)
	p := must[estimate.Prediction](t)(f.Predict(0.5, 40))
	require.InEpsilon(t, p.Sampling+p.Residual+p.Parameter, p.VarLn, 1e-12)
	// The sampling part is the delta method: b² Var(p) (d ln(-ln(1-p))/dp)².
	h := 1e-6
	d := (math.Log(-math.Log1p(-0.5-h)) - math.Log(-math.Log1p(-0.5+h))) / (2 * h)
	require.InEpsilon(t, f.Line.Slope*f.Line.Slope*0.25/40*d*d, p.Sampling, 1e-6)
	_, err := f.Predict(1, 40)
	require.ErrorIs(t, err, estimate.ErrDomain)
}

func TestEfficacy_Edges(t *testing.T) {
	c := func(total float64) estimate.Cell { return estimate.Cell{Total: total, Units: 10} }
	e := must[estimate.Efficacy](t)(estimate.HendersonTilton(c(40), c(0), c(30), c(36), inf, 0.95))
	require.Equal(t, 100.0, e.Percent)
	require.True(t, e.Adjusted)
	require.Less(t, e.Low, 100.0)
	_, err := estimate.HendersonTilton(c(0), c(3), c(30), c(36), inf, 0.95)
	require.ErrorIs(t, err, estimate.ErrDomain)
	_, err = estimate.HendersonTilton(c(4), c(3), c(30), c(0), inf, 0.95)
	require.ErrorIs(t, err, estimate.ErrDomain)
	p := must[estimate.Interval](t)(estimate.AbbottProfile(c(0), c(36), 0.8, 0.95))
	require.Equal(t, 100.0, p.High)
	require.Less(t, p.Low, 100.0)
	_, err = estimate.CorrectedMortality(0.5, 1)
	require.ErrorIs(t, err, estimate.ErrDomain)
}

func TestEconomics_Edges(t *testing.T) {
	for _, z := range [][5]float64{{18, 0, 1, 1, 1}, {18, 1, 0, 1, 1}, {18, 1, 1, 1, 0}, {math.NaN(), 1, 1, 1, 1}} {
		_, err := estimate.InjuryLevel(z[0], z[1], z[2], z[3], z[4])
		require.ErrorIs(t, err, estimate.ErrDomain)
	}
	require.Equal(t, 10.0, must[float64](t)(estimate.ActionLevel(10, -0.1, 7)), "never above the injury level")
	d := civil.MustParse("2026-06-01")
	steps, total, err := estimate.PestDays([]estimate.Reading{{Date: d.AddDays(7), Mean: 4}, {Date: d, Mean: 2}, {Date: d, Mean: 4}})
	require.NoError(t, err)
	require.Equal(t, []float64{24.5}, steps, "two readings of a day are averaged, order does not matter")
	require.Equal(t, 24.5, total)
	_, total, err = estimate.PestDays([]estimate.Reading{{Date: d, Mean: 4}})
	require.NoError(t, err)
	require.Zero(t, total)
}

func TestRegress_Edges(t *testing.T) {
	_, err := estimate.FitTrend(estimate.NegBinLaw, []float64{0, 1, 2}, []int{0, 0, 0}, nil, 0.95)
	require.ErrorIs(t, err, estimate.ErrFew, "zeros only have no slope")
	_, err = estimate.FitTrend(estimate.PoissonLaw, []float64{1, 1, 1, 1}, []int{1, 2, 3, 4}, nil, 0.95)
	require.ErrorIs(t, err, estimate.ErrFew, "one visit")
	_, err = estimate.Regress(estimate.PoissonLaw, []int{1, 2, 3}, [][]float64{{1, 1}, {1, 1}, {1, 1}}, nil)
	require.ErrorIs(t, err, estimate.ErrFew, "columns that depend on each other")
	_, err = estimate.Regress(estimate.PoissonLaw, []int{1, 2}, [][]float64{{1}, {math.NaN()}}, nil)
	require.ErrorIs(t, err, estimate.ErrDomain)
	// Less spread than chance: the Poisson fit, said so.
	r := must[estimate.Trend](t)(estimate.FitTrend(estimate.NegBinLaw, []float64{0, 1, 2, 3, 4}, []int{2, 4, 8, 16, 32}, nil, 0.95))
	require.Equal(t, estimate.PoissonLimit, r.Fit.Outcome)
	require.InDelta(t, 2, r.Factor, 1e-9)
	require.InDelta(t, 1, r.Doubling, 1e-9)
	// An intercept alone gives the mean and the k of FitNB.
	x := []int{0, 0, 1, 0, 7, 2, 0, 4}
	one := must[estimate.Regression](t)(estimate.Regress(estimate.NegBinLaw, x, [][]float64{{1}, {1}, {1}, {1}, {1}, {1}, {1}, {1}}, nil))
	f := must[estimate.Fit](t)(estimate.FitNB(x))
	k, _ := f.K()
	require.InEpsilon(t, k, one.K, 1e-8)
	require.InEpsilon(t, f.LogLik, one.LogLik, 1e-10)
	p := must[estimate.Interval](t)(one.ProfileCoef(0, 0.95))
	want := must[estimate.Interval](t)(estimate.ProfileKnownK(x, k, 0.95))
	require.InEpsilon(t, want.Low, math.Exp(p.Low), 1e-6)
	require.InEpsilon(t, want.High, math.Exp(p.High), 1e-6)
}

// Bliss & Fisher 1953, Biometrics 9:176-200: European red mites on 150 apple
// leaves.
func ExampleFitNB() {
	var leaves []int
	for mites, n := range []int{70, 38, 17, 10, 9, 3, 2, 1} {
		for range n {
			leaves = append(leaves, mites)
		}
	}
	f, _ := estimate.FitNB(leaves)
	k, _ := f.K()
	fmt.Printf("mean %.4f, k %.4f, %s\n", f.Mean(), k, f.Outcome)
	// Output: mean 1.1467, k 1.0246, converged
}
