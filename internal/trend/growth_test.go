package trend_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/trend"
)

// Two visits against R 4.2.2, MASS 7.3:
//
//	summary(glm(y ~ day + offset(-log(scale)), MASS::negative.binomial(k)), dispersion = 1)
//
// (poisson() for k = Inf), the slope, its standard error, and slope -/+ 1.96 SE.
func TestGrowth_TwoVisits(t *testing.T) {
	a, b := []int{0, 3, 1, 0, 6, 2, 0, 1, 4, 3}, []int{2, 9, 4, 1, 12, 7, 0, 5, 8, 2}
	for _, c := range []struct {
		first, second []int
		days          int
		k             float64
		scale         [2]float64
		want          [4]float64
	}{
		{a, b, 7, 1, [2]float64{}, [4]float64{0.130898675982, 0.07423074889532, -0.01459091839823, 0.2763882703623}},
		{a, b, 7, 0.4, [2]float64{}, [4]float64{0.130898675982, 0.1078547776467, -0.08049280376613, 0.3422901557302}},
		{a, b, 7, inf, [2]float64{}, [4]float64{0.130898675982, 0.03779644730064, 0.0568190005292, 0.2049783514348}},
		{[]int{12, 5, 30}, []int{1, 0, 4, 2}, 10, 2, [2]float64{}, [4]float64{-0.2191919525107, 0.06751299171842, -0.3515149847673, -0.086868920254}},
		{[]int{1, 0, 0, 0}, []int{0, 0, 0, 1}, 14, 0.5, [2]float64{}, [4]float64{0, 0.1237179148245, -0.2424826572985, 0.2424826572985}},
		{[]int{5, 7, 6, 9}, []int{22, 18, 30, 25}, 5, 8, [2]float64{1. / 3, 1. / 7}, [4]float64{0.0821484330418, 0.06635159465155, -0.04789830279204, 0.2121951688756}},
		{[]int{40}, []int{160}, 7, 3, [2]float64{}, [4]float64{0.1980420515886, 0.1193448669986, -0.03586958946841, 0.4319536926455}},
	} {
		r := must[trend.Rate](t)(trend.Growth([]trend.Visit{
			{Date: start, Counts: c.first, Scale: c.scale[0]},
			{Date: start.AddDays(c.days), Counts: c.second, Scale: c.scale[1]}}, estimate.Dispersion{K: c.k}))
		require.True(t, r.Rough)
		require.InDeltaSlice(t, c.want[:], []float64{r.PerDay, r.SE, r.Low, r.High}, 1e-9)
		// The definition: ln of the ratio of means in the measure, over the days.
		m := func(x []int, s float64) float64 { return must[estimate.Summary](t)(estimate.Summarize(x)).Mean * s }
		if c.scale[0] == 0 {
			c.scale = [2]float64{1, 1}
		}
		want := must[float64](t)(estimate.GrowthRate(m(c.first, c.scale[0]), m(c.second, c.scale[1]), float64(c.days)))
		require.InDelta(t, want, r.PerDay, 1e-10)
	}
}

// Several visits. R as above on four visits of five leaves with k = 2, whose
// scatter is 14.598 on 2 degrees of freedom:
// q <- qt(.975, 2/((phi-1)/phi)^2); SE*sqrt(phi)*q/qnorm(.975).
func TestGrowth_Scatter(t *testing.T) {
	var v []trend.Visit
	for i, c := range [][]int{{4, 1, 0, 7, 3}, {20, 11, 35, 8, 16}, {6, 3, 9, 1, 5}, {30, 12, 44, 9, 25}} {
		v = append(v, trend.Visit{Date: start.AddDays([]int{0, 6, 14, 21}[i]), Counts: c})
	}
	r := must[trend.Rate](t)(trend.Growth(v, estimate.Dispersion{K: 2}))
	require.InDelta(t, 0.0561321387042, r.PerDay, 1e-8) // R stops at a change of 1e-14 in the deviance
	require.InDelta(t, 0.02174852412797, r.SE, 1e-9)
	require.InDelta(t, 14.59792442531/2, r.Scatter, 1e-6)
	require.InDelta(t, 0.1020502334984, r.SD, 1e-8)
	require.InDelta(t, 1.8514363289264+21*0.0561321387042, r.LnNow, 1e-7)
	require.Equal(t, "no clear trend (anything from halving every 5 days to doubling every 2.7 days)", r.Words())
	require.Contains(t, r.Notes[0], "scatter")
}

// Taylor's law: with b = 2 and b = 1 quasi-likelihood is R's glm with
// quasi(link = "log", variance = "mu^2" or "mu") and dispersion = a; with
// b = 1.49 the score equations were solved with scipy.optimize.fsolve.
func TestGrowth_Taylor(t *testing.T) {
	var v []trend.Visit
	for i, c := range [][]int{{12, 40, 25}, {30, 66, 18}, {90, 51, 140}, {77, 260, 101}} {
		v = append(v, trend.Visit{Date: start.AddDays([]int{0, 7, 14, 28}[i]), Counts: c})
	}
	r := must[trend.Rate](t)(trend.Growth(v, estimate.Dispersion{A: 2, B: 2}))
	require.InDeltaSlice(t, []float64{0.06476863442682, 0.03943231767671, 3.32727897891987}, []float64{r.PerDay, r.SE, r.LnNow - 28*r.PerDay}, 1e-7)
	r = must[trend.Rate](t)(trend.Growth(v, estimate.Dispersion{A: 3, B: 1}))
	require.InDeltaSlice(t, []float64{0.05746113613165, 0.005563910866314, 3.43982376331653}, []float64{r.PerDay, r.SE, r.LnNow - 28*r.PerDay}, 1e-9)

	v = weekly(0, []int{0, 3, 1, 0, 6, 2, 0, 1}, []int{2, 9, 4, 1, 12, 7, 0, 5}, []int{1, 0, 15, 3, 22, 8, 2, 0}, []int{14, 3, 30, 8, 2, 19, 41, 6})
	v[2].Date = start.AddDays(15)
	r = must[trend.Rate](t)(trend.Growth(v, estimate.Dispersion{A: 3.3, B: 1.49}))
	require.InDeltaSlice(t, []float64{0.09543572, 0.02700777, 2.67137787, 0.28195234, 0.70103317, 1},
		[]float64{r.PerDay, r.SE, r.LnNow, r.LnNowSD, r.Corr, r.Scatter}, 1e-8)
}

// Presence samples. With k = 1 the chance of one or more is m/(1+m), so the
// fit is R's glm(cbind(infested, clear) ~ day, binomial); with k = Inf it is
// binomial("cloglog"). More than 4 with k = 0.7, and counts on the last day:
// scipy.stats.nbinom and scipy.optimize.minimize.
func TestGrowth_Presence(t *testing.T) {
	var v []trend.Visit
	for i, x := range []int{6, 11, 17, 24} {
		v = append(v, trend.Visit{Date: start.AddDays([]int{0, 7, 13, 21}[i]), Presence: estimate.Presence{Infested: x, Looked: 40}})
	}
	for k, want := range map[float64][]float64{1: {0.1014834727403, 0.02398722561562}, inf: {0.079196735524, 0.01843126475063}} {
		r := must[trend.Rate](t)(trend.Growth(v, estimate.Dispersion{K: k}))
		require.InDeltaSlice(t, want, []float64{r.PerDay, r.SE}, 1e-8)
	}
	_, err := trend.Growth(v, estimate.Dispersion{})
	require.ErrorIs(t, err, trend.ErrNoClumping)

	v = weekly(3, []int{14, 3, 30, 8, 2, 19, 41, 6})
	for i, x := range []int{3, 8, 15} {
		v = append(v, trend.Visit{Date: start.AddDays(7 * i), Presence: estimate.Presence{Infested: x, Looked: 40, Tally: 4}})
	}
	r := must[trend.Rate](t)(trend.Growth(v, estimate.Dispersion{K: 0.7}))
	require.InDeltaSlice(t, []float64{0.10890651, 0.02257578, 2.51709797}, []float64{r.PerDay, r.SE, r.LnNow}, 1e-7)
}

// season draws visits a week apart with means mean e^(7 r (week - middle)),
// scattered by a log-normal of the given spread, and negative binomial units.
func season(rng *rand.Rand, visits, units int, mean, r, noise float64, kOf func(m float64) float64) (out []trend.Visit) {
	for i := range visits {
		m := mean * math.Exp(7*r*float64(i-visits/2)+noise*rng.NormFloat64())
		out = append(out, trend.Visit{Date: start.AddDays(7 * i), Counts: draw(rng, units, m, kOf(m))})
	}
	return out
}

func draw(rng *rand.Rand, units int, m, k float64) []int {
	x := make([]int, units)
	for j := range x {
		g := m
		if !math.IsInf(k, 1) {
			g = distuv.Gamma{Alpha: k, Beta: k / m, Src: rng}.Rand()
		}
		x[j] = int(distuv.Poisson{Lambda: math.Max(g, 1e-9), Src: rng}.Rand())
	}
	return x
}

// TestGrowth_Coverage simulates seasons (seeded) and counts how often the 95 %
// interval holds the truth. The standard error of each share is 0.007. Where
// visits scatter by themselves, three or four cannot show how much, and the
// interval falls short of 95 %; the bounds below say how far.
func TestGrowth_Coverage(t *testing.T) {
	fixed := func(float64) float64 { return 1 }
	taylor := func(m float64) float64 { return estimate.TaylorK(m, 3.3, 1.49) }
	for _, c := range []struct {
		name          string
		visits, units int
		mean, r       float64
		noise         float64
		kOf           func(float64) float64
		give          estimate.Dispersion
		least, most   float64
	}{
		{"two visits", 2, 10, 2, 0.1, 0, fixed, estimate.Dispersion{K: 1}, 0.94, 0.985},
		{"three visits", 3, 10, 2, 0.1, 0, fixed, estimate.Dispersion{K: 1}, 0.94, 0.985},
		{"Taylor", 3, 20, 1, 0.1, 0, taylor, estimate.Dispersion{A: 3.3, B: 1.49}, 0.94, 0.985},
		{"k fitted, 12 units", 3, 4, 2, 0.1, 0, fixed, estimate.Dispersion{}, 0.94, 0.985},
		{"k fitted, 8 counts", 8, 1, 20, 0.05, 0, fixed, estimate.Dispersion{}, 0.92, 0.975},
		{"visits scatter by 0.3", 4, 20, 3, 0.1, 0.3, fixed, estimate.Dispersion{K: 1}, 0.88, 0.96},
		{"visits scatter by 0.6", 6, 20, 3, 0.1, 0.6, fixed, estimate.Dispersion{K: 1}, 0.87, 0.96},
	} {
		rng := rand.New(rand.NewPCG(4, 7))
		held, n := 0, 0
		for range 1000 {
			r, err := trend.Growth(season(rng, c.visits, c.units, c.mean, c.r, c.noise, c.kOf), c.give)
			if err != nil {
				require.ErrorIs(t, err, trend.ErrNoSlope)
				continue
			}
			n++
			if r.Low <= c.r && c.r <= r.High {
				held++
			}
		}
		share := float64(held) / float64(n)
		t.Logf("%-22s %d seasons with a slope, interval holds the truth in %.3f", c.name, n, share)
		require.Greater(t, n, 950, c.name)
		require.GreaterOrEqual(t, share, c.least, c.name)
		require.LessOrEqual(t, share, c.most, c.name)
	}
}

// randomVisits are visits with animals on two dates at least.
func randomVisits(t *rapid.T) []trend.Visit {
	n := rapid.IntRange(2, 6).Draw(t, "visits")
	var v []trend.Visit
	day := 0
	for range n {
		day += rapid.IntRange(1, 20).Draw(t, "gap")
		x := rapid.SliceOfN(rapid.IntRange(0, 60), 1, 8).Draw(t, "counts")
		if len(v) < 2 {
			x[0]++
		}
		v = append(v, trend.Visit{Date: start.AddDays(day), Counts: x, Scale: rapid.Float64Range(0.1, 3).Draw(t, "scale")})
	}
	return v
}

func randomClump(t *rapid.T) estimate.Dispersion {
	return rapid.SampledFrom([]estimate.Dispersion{{K: inf}, {K: 0.5}, {K: 4}, {A: 2.6, B: 1.5}, {A: 1.3, B: 1.1}, {A: 0.8, B: 2}}).Draw(t, "clump")
}

func TestGrowth_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v, clump := randomVisits(t), randomClump(t)
		r, err := trend.Growth(v, clump)
		require.NoError(t, err)
		require.LessOrEqual(t, r.Low, r.PerDay)
		require.LessOrEqual(t, r.PerDay, r.High)
		require.GreaterOrEqual(t, r.SD, r.SE)
		require.NotEmpty(t, r.Words())
		days, low, high, _ := r.Time()
		require.True(t, low > 0 && low <= days && days <= high, "%v %v %v", low, days, high)

		// The order of visits, and of units, changes not one bit.
		w := slices.Clone(v)
		slices.Reverse(w)
		for i := range w {
			w[i].Counts = slices.Clone(w[i].Counts)
			slices.Reverse(w[i].Counts)
		}
		again := must[trend.Rate](t)(trend.Growth(w, clump))
		require.Equal(t, r, again)

		// A measure ten times as large leaves the rate.
		for i := range w {
			w[i].Scale *= 10
		}
		again = must[trend.Rate](t)(trend.Growth(w, clump))
		require.InDelta(t, r.PerDay, again.PerDay, 1e-8)
		require.InDelta(t, r.SD, again.SD, 1e-8*(1+r.SD))
		require.InDelta(t, r.LnNow+math.Log(10), again.LnNow, 1e-7)

		// So do counts three times as large, when the weights do not move.
		if math.IsInf(clump.K, 1) || len(v) == 2 {
			w = slices.Clone(v)
			for i := range w {
				w[i].Counts = nil
				for _, x := range v[i].Counts {
					w[i].Counts = append(w[i].Counts, 3*x)
				}
			}
			again = must[trend.Rate](t)(trend.Growth(w, clump))
			require.InDelta(t, r.PerDay, again.PerDay, 1e-8)
		}

		// Time run backwards turns growth into decline.
		w = slices.Clone(v)
		for i := range w {
			w[i].Date = start.AddDays(-v[i].Date.Sub(start))
		}
		again = must[trend.Rate](t)(trend.Growth(w, clump))
		require.InDelta(t, -r.PerDay, again.PerDay, 1e-8)
		require.InDelta(t, r.SE, again.SE, 1e-8*(1+r.SE))

		// A visit split in two on one day says the same.
		if i := slices.IndexFunc(v, func(v trend.Visit) bool { return len(v.Counts) > 1 }); i >= 0 {
			w = slices.Clone(v)
			part := w[i]
			part.Counts, w[i].Counts = w[i].Counts[:1], w[i].Counts[1:]
			again = must[trend.Rate](t)(trend.Growth(append(w, part), clump))
			require.InDelta(t, r.PerDay, again.PerDay, 1e-8)
			require.InDelta(t, r.SE, again.SE, 1e-8*(1+r.SE))
		}
	})
}

func TestGrowth_Edges(t *testing.T) {
	k1 := estimate.Dispersion{K: 1}
	d := func(day int) civil.Date { return start.AddDays(day) }
	some, none := []int{3, 0, 5, 1}, []int{0, 0, 0, 0}
	full := estimate.Presence{Infested: 20, Looked: 20}
	part := estimate.Presence{Infested: 7, Looked: 20}
	for _, c := range []struct {
		name   string
		visits []trend.Visit
		clump  estimate.Dispersion
		want   error
		words  string
	}{
		{"no visits", nil, k1, estimate.ErrEmpty, "no visits"},
		{"one visit", weekly(0, some), k1, trend.ErrNoSlope, "one day only"},
		{"two visits on a day", []trend.Visit{{Date: d(0), Counts: some}, {Date: d(0), Counts: some}}, k1, trend.ErrNoSlope, "one day only"},
		{"zeros", weekly(0, none, none, none), k1, trend.ErrNoSlope, "nothing was found on 3 visits"},
		{"zeros, k not known", weekly(0, none, none, none), estimate.Dispersion{}, trend.ErrNoSlope, "nothing was found"},
		{"zero then some", weekly(0, none, some), k1, trend.ErrNoSlope, "one of two days"},
		{"only the last", weekly(0, none, none, some), k1, trend.ErrNoSlope, "at one end"},
		{"only the first", weekly(0, some, none, none), k1, trend.ErrNoSlope, "at one end"},
		{"all infested", []trend.Visit{{Date: d(0), Presence: full}, {Date: d(7), Presence: full}}, k1, trend.ErrNoSlope, "count animals"},
		{"part, then all", []trend.Visit{{Date: d(0), Presence: part}, {Date: d(7), Presence: full}}, k1, trend.ErrNoSlope, "open"},
		{"clear, then all", []trend.Visit{{Date: d(0), Counts: none}, {Date: d(7), Presence: full}, {Date: d(14), Presence: full}}, k1, trend.ErrNoSlope, "every unit clear or every unit infested"},
		{"k not known, few units", weekly(0, []int{3}, []int{5}, []int{9}), estimate.Dispersion{}, trend.ErrNoClumping, "give k"},
		{"no units", []trend.Visit{{Date: d(0), Counts: some}, {Date: d(7)}}, k1, estimate.ErrEmpty, "visit 2"},
		{"no date", []trend.Visit{{Counts: some}, {Date: d(7), Counts: some}}, k1, estimate.ErrDomain, "no date"},
		{"negative count", weekly(0, some, []int{-1}), k1, estimate.ErrDomain, "visit 2: a count of -1"},
		{"huge count", weekly(0, some, []int{2_000_000_000}), k1, estimate.ErrDomain, "a count of"},
		{"presence upside down", []trend.Visit{{Date: d(0), Presence: estimate.Presence{Infested: 3, Looked: 2}}}, k1, estimate.ErrDomain, "3 infested of 2"},
		{"scale", []trend.Visit{{Date: d(0), Counts: some, Scale: math.NaN()}}, k1, estimate.ErrDomain, "scale"},
		{"negative scale", []trend.Visit{{Date: d(0), Counts: some, Scale: -1}}, k1, estimate.ErrDomain, "scale"},
		{"two seasons", []trend.Visit{{Date: d(0), Counts: some}, {Date: d(400), Counts: some}}, k1, estimate.ErrDomain, "400 days"},
		{"k negative", weekly(0, some, some), estimate.Dispersion{K: -1}, estimate.ErrDomain, "k -1"},
		{"k NaN", weekly(0, some, some), estimate.Dispersion{K: math.NaN()}, estimate.ErrDomain, "k NaN"},
		{"a NaN", weekly(0, some, some), estimate.Dispersion{A: math.NaN(), B: 1.5}, estimate.ErrDomain, "a NaN"},
		{"b out of range", weekly(0, some, some), estimate.Dispersion{A: 2, B: 2.5}, estimate.ErrDomain, "b 2.5"},
	} {
		_, err := trend.Growth(c.visits, c.clump)
		require.ErrorIs(t, err, c.want, c.name)
		require.ErrorContains(t, err, c.words, c.name)
	}

	// Animals in the middle only hold a line, flat by symmetry.
	r := must[trend.Rate](t)(trend.Growth(weekly(0, none, some, none), k1))
	require.InDelta(t, 0, r.PerDay, 1e-9)
	require.False(t, r.Clear())
	days, _, high, _ := r.Time()
	require.True(t, days > 1e6 && math.IsInf(high, 1))

	// One enormous count gives a finite, unclear answer and a note.
	r = must[trend.Rate](t)(trend.Growth(weekly(0, some, some, []int{2, 0, 900_000_000, 1}), k1))
	require.True(t, r.PerDay > 0 && !math.IsInf(r.High, 0) && !math.IsNaN(r.SD))
	require.Contains(t, r.Notes[len(r.Notes)-1], "900000000 on Mon 18 May holds over half")

	// Visits too close or too far apart are noted.
	r = must[trend.Rate](t)(trend.Growth([]trend.Visit{{Date: d(0), Counts: some}, {Date: d(1), Counts: some}}, k1))
	require.Contains(t, r.Notes[1], "1 day apart")
}

func TestRecent(t *testing.T) {
	var v []trend.Visit
	for _, day := range []int{70, 0, 63, 63, 7, 40} {
		v = append(v, trend.Visit{Date: start.AddDays(day)})
	}
	days := func(v []trend.Visit) (out []int) {
		for _, x := range v {
			out = append(out, x.Date.Sub(start))
		}
		return out
	}
	require.Equal(t, []int{40, 63, 63, 70}, days(trend.Recent(v, 3, 6)))
	require.Equal(t, []int{63, 63, 70}, days(trend.Recent(v, 2, 6)))
	require.Equal(t, []int{63, 63, 70}, days(trend.Recent(v, 9, 1)))
	require.Equal(t, []int{0, 7, 40, 63, 63, 70}, days(trend.Recent(v, 9, 10)))
	require.Empty(t, trend.Recent(nil, 3, 6))
	require.Equal(t, 70, v[0].Date.Sub(start), "the caller's slice stays")
}

func TestRate_Words(t *testing.T) {
	rate := func(days, low, high float64) trend.Rate {
		return trend.Rate{PerDay: math.Ln2 / days, Low: math.Ln2 / low, High: math.Ln2 / high}
	}
	for want, r := range map[string]trend.Rate{
		"about doubling every 6 days (4 to 12)":                                          rate(6, 12, 4),
		"about halving every 9 days (6 to 20)":                                           rate(-9, -6, -20),
		"about doubling every 2.4 days (1.5 to 6)":                                       rate(2.4, 6, 1.5),
		"more than doubling every day":                                                   rate(0.5, 0.9, 0.3),
		"no clear trend (anything from halving every 30 days to doubling every 5 days)":  rate(12, -30, 5),
		"no clear trend (anything from halving within a day to doubling every 5 days)":   rate(-3, -0.5, 5),
		"no clear trend (anything from halving in over a year to doubling every 5 days)": {PerDay: 0.05, High: math.Ln2 / 5},
		"holding steady (neither doubling nor halving within 60 days)":                   rate(100, -200, 70),
		"about doubling every 7 days (5 to 14); rough, from two visits only":             {PerDay: math.Ln2 / 7, Low: math.Ln2 / 14, High: math.Ln2 / 5, Rough: true},
		"about doubling every 80 days (40 to over 365)":                                  rate(80, 1000, 40),
	} {
		require.Equal(t, want, r.Words())
	}
}

// Hard fits, where plain scoring goes round in circles: scipy.stats.nbinom with
// scipy.optimize.minimize (Nelder-Mead from five starts). And 3000 seeded
// seasons of wild counts and presence samples, all of which must settle.
func TestGrowth_Settles(t *testing.T) {
	at := func(gap int, counts ...int) (v []trend.Visit) {
		for i, c := range counts {
			v = append(v, trend.Visit{Date: start.AddDays(gap * i), Counts: []int{c}})
		}
		return v
	}
	r := must[trend.Rate](t)(trend.Growth(at(6, 0, 77, 5), estimate.Dispersion{K: 0.1}))
	require.InDeltaSlice(t, []float64{0.32989004, 0.37529335, 5.24017525}, []float64{r.PerDay, r.SE, r.LnNow}, 2e-6)
	r = must[trend.Rate](t)(trend.Growth(at(7, 0, 900, 0, 3), estimate.Dispersion{K: 0.5}))
	require.InDeltaSlice(t, []float64{-0.32838735, 0.09355132, 1.10805725}, []float64{r.PerDay, r.SE, r.LnNow}, 1e-6)

	rng := rand.New(rand.NewPCG(1, 1))
	settled := 0
	for range 3000 {
		var v []trend.Visit
		for i := range 3 + rng.IntN(4) {
			day := start.AddDays(i * (1 + rng.IntN(30)))
			if rng.IntN(3) == 0 {
				v = append(v, trend.Visit{Date: day, Presence: estimate.Presence{Infested: rng.IntN(21), Looked: 20, Tally: 5 * rng.IntN(3)}})
			} else {
				v = append(v, trend.Visit{Date: day, Counts: []int{int(math.Exp(6*rng.Float64())) * rng.IntN(2)}})
			}
		}
		clump := []estimate.Dispersion{{K: inf}, {K: 1}, {K: 0.1}, {K: 30}, {A: 2, B: 1.5}, {A: 2, B: 1.5}}[rng.IntN(6)]
		if _, err := trend.Growth(v, clump); err == nil {
			settled++
		} else {
			require.ErrorIs(t, err, trend.ErrNoSlope)
			require.NotContains(t, err.Error(), "settle", "%+v %+v", v, clump)
		}
	}
	require.Greater(t, settled, 2500)
}
