package estimate_test

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/sampling"
)

const refDir = "../../testdata/reference"

// mcase is one case of methods-cases.json.
type mcase struct {
	ID       string                    `json:"id"`
	Method   string                    `json:"method"`
	Input    json.RawMessage           `json:"input"`
	Expected map[string]any            `json:"expected"`
	RawTol   map[string]map[string]any `json:"tolerance"`
}

type got map[string]any

// TestMethodsCases checks every case of methods-cases.json but those on
// degree-days (DD-) and life tables (LT-), which are not of these packages.
// Each case names its published source or the R call that gave its numbers.
func TestMethodsCases(t *testing.T) {
	raw, err := os.ReadFile(filepath.Join(refDir, "methods-cases.json"))
	require.NoError(t, err)
	var file struct{ Cases []mcase }
	require.NoError(t, json.Unmarshal(raw, &file))
	cases, values := 0, 0
	for _, c := range file.Cases {
		if strings.HasPrefix(c.ID, "DD-") || strings.HasPrefix(c.ID, "LT-") {
			continue
		}
		cases++
		t.Run(c.ID, func(t *testing.T) {
			run, ok := methods[c.Method]
			require.True(t, ok, "no function for method %q", c.Method)
			var in input
			require.NoError(t, json.Unmarshal(c.Input, &in))
			out := run(t, in)
			for field, want := range c.Expected {
				tol := c.RawTol[field]
				if tol == nil {
					tol = c.RawTol["default"]
				}
				key := field
				if w, ok := tol["compare_with"].(string); ok {
					key = w
				}
				v, ok := out[key]
				require.True(t, ok, "%s: nothing computed", key)
				values += compare(t, field, want, v, num(tol["rel"]), num(tol["abs"]))
			}
		})
	}
	t.Logf("%d cases, %d values checked", cases, values)
	require.Equal(t, 56, cases) // 63 less 5 DD- and 2 LT-
	require.Greater(t, values, 500)
}

func groupsOf(in input) (g [][]int) {
	for _, name := range []string{"T1", "T2", "T3", "T4"} {
		g = append(g, expand(in.Groups[name].Value, in.Groups[name].Freq))
	}
	return g
}

// plots returns the mean and variance of plots given by sums.
func plots(in input) (m, v []float64) {
	n := in.f("unit_count")
	sq := in.list("sum_of_squares")
	for i, s := range in.list("sum") {
		m = append(m, s/n)
		v = append(v, (sq[i]-s*s/n)/(n-1))
	}
	return m, v
}

func lineOut(l estimate.Line, a, b string) map[string]any {
	return map[string]any{"points": l.Points, a: l.Intercept, b: l.Slope, "se_" + a: l.SEIntercept, "se_" + b: l.SESlope,
		"r2": l.R2, "mse": l.MSE, "resid_sd": math.Sqrt(l.MSE)}
}

func fitOut(t *testing.T, in input) got {
	f := must[estimate.Fit](t)(estimate.FitNB(in.Counts))
	s := must[estimate.Summary](t)(estimate.Summarize(in.Counts))
	out := got{"n": f.N, "mean": f.Mean(), "variance": s.Variance, "loglik_poisson": f.PoissonLL, "se_mean_nb": f.SEMean(), "se_mean_poisson": f.SEMean(), "mean_printed": f.Mean()}
	k, ok := f.K()
	out["k_defined"], out["k_mle"] = ok, any(nil)
	if ok {
		out["k_mle"], out["loglik_nb"] = k, f.LogLik
		if math.IsInf(k, 1) {
			out["model"] = "poisson"
			require.Equal(t, estimate.PoissonLimit, f.Outcome)
		}
		var ex []float64
		for x := range 8 {
			ex = append(ex, float64(f.N)*math.Exp(estimate.LogPMF(x, f.Mean(), k)))
		}
		out["expected_freq_0_to_7"] = ex
		out["expected_freq_8plus"] = float64(f.N) * estimate.Survival(7, f.Mean(), k)
		out["zero_fraction_fitted"] = estimate.CDF(0, f.Mean(), k)
	}
	if km, ok := f.MomentK(); ok {
		out["k_moment"] = km
	}
	if se, ok := f.SEK(); ok {
		out["se_k_observed"] = se
	}
	if se, ok := f.SEKExpected(); ok {
		out["se_k_expected"] = se
	}
	if s.Total == 0 {
		require.Equal(t, estimate.NoAnimals, f.Outcome)
		out["upper95_one_sided_poisson"] = must[float64](t)(estimate.ZeroUpper(f.N, math.Inf(1), 0.95))
	}
	return out
}

func meanOut(t *testing.T, in input) got {
	out := fitOut(t, in)
	k := out["k_mle"].(float64)
	m, n := out["mean"].(float64), out["n"].(int)
	iv := must[estimate.Interval](t)
	out["profile_k_free"] = iv(estimate.ProfileFreeK(in.Counts, 0.95))
	out["profile_k_fixed_at_mle"] = iv(estimate.ProfileKnownK(in.Counts, k, 0.95))
	out["wald_log_nb"] = iv(estimate.LogWald(m, k, n, 0.95))
	out["student"] = iv(estimate.StudentInterval(in.Counts, 0.95))
	p := iv(estimate.PoissonExact(int(math.Round(m*float64(n))), 0.95))
	out["poisson_exact"] = estimate.Interval{Low: p.Low / float64(n), High: p.High / float64(n)}
	return out
}

func sprtOut(p sampling.SPRT, ns []float64) got {
	out := got{"slope": p.Slope, "h_lower": p.HLower, "h_upper": p.HUpper}
	var hold, act []any
	for _, n := range ns {
		h, ok := p.HoldAt(int(n))
		if ok {
			hold = append(hold, h)
		} else {
			hold = append(hold, nil)
		}
		act = append(act, p.ActAt(int(n)))
	}
	out["hold_at_or_below"], out["act_at_or_above"] = hold, act
	return out
}

func trendOut(t *testing.T, law estimate.Law, time []float64, y []int) got {
	r := must[estimate.Trend](t)(estimate.FitTrend(law, time, y, nil, 0.95))
	f := r.Fit
	return got{"intercept": f.Coef[0], "slope": r.Slope, "se_intercept": f.SE[0], "se_slope": r.SE, "deviance": f.Deviance,
		"null_deviance": f.NullDeviance, "aic": f.AIC, "pearson_dispersion": f.Pearson, "growth_factor": r.Factor,
		"theta": f.K, "se_theta": f.SEK, "loglik": f.LogLik, "weekly_factor": r.Factor, "weekly_factor_ci95": r.FactorCI,
		"doubling_days": 7 * r.Doubling}
}

func plan(t *testing.T) sampling.SPRT { // SQ-02
	return must[sampling.SPRT](t)(sampling.NewNegBin(2, 4, 0.8, 0.1, 0.1))
}

var methods = map[string]func(t *testing.T, in input) got{
	"nb_fit": fitOut,
	"nb_common_k": func(t *testing.T, in input) got {
		f := must[estimate.Fit](t)(estimate.FitCommonK(groupsOf(in)))
		k, _ := f.K()
		se, _ := f.SEK()
		return got{"k_common": k, "se_k": se, "loglik": f.LogLik, "means": f.Means}
	},
	"nb_pmf": func(t *testing.T, in input) got {
		var cs []struct {
			Mean, K float64
			X       []int
		}
		in.as("cases", &cs)
		var out [][]float64
		for _, c := range cs {
			var p []float64
			for _, x := range c.X {
				p = append(p, math.Exp(estimate.LogPMF(x, c.Mean, c.K)))
			}
			out = append(out, p)
		}
		return anyRows("p", out)
	},
	"poisson_exact_ci": func(t *testing.T, in input) got {
		var lo, hi []float64
		for _, x := range in.list("x") {
			iv := must[estimate.Interval](t)(estimate.PoissonExact(int(x), in.f("level")))
			lo, hi = append(lo, iv.Low), append(hi, iv.High)
		}
		return got{"lower": lo, "upper": hi}
	},
	"zero_count_upper": func(t *testing.T, in input) got {
		n, l := int(in.f("n")), in.f("one_sided_level")
		up := func(k float64) float64 { return must[float64](t)(estimate.ZeroUpper(n, k, l)) }
		two := must[estimate.Interval](t)(estimate.PoissonExact(0, 0.95))
		k := in.list("k")
		return got{"upper_poisson": up(k[0]), "upper_nb_k2": up(k[1]), "upper_nb_k05": up(k[2]), "two_sided_95_upper_poisson": two.High / float64(n),
			// The rule of three is the printed rounding of -ln(0.05) to 3.
			"rule_of_three": math.Round(up(math.Inf(1))*float64(n)) / float64(n)}
	},
	"proportion_ci": func(t *testing.T, in input) got {
		var wl, wh, cl, ch []float64
		n := in.list("n")
		for i, x := range in.list("x") {
			w := must[estimate.Interval](t)(estimate.Wilson(int(x), int(n[i]), 0.95))
			c := must[estimate.Interval](t)(estimate.ClopperPearson(int(x), int(n[i]), 0.95))
			wl, wh, cl, ch = append(wl, w.Low), append(wh, w.High), append(cl, c.Low), append(ch, c.High)
		}
		return got{"wilson_lower": wl, "wilson_upper": wh, "cp_lower": cl, "cp_upper": ch}
	},
	"mean_ci": meanOut,
	"bootstrap_bca": func(t *testing.T, in input) got {
		b := must[estimate.Bootstrap](t)(estimate.BootstrapMean(in.Counts, in.f("level")))
		return got{"acceleration": b.Accel, "z0": b.Z0, "bca": b.BCa, "percentile": b.Percentile}
	},
	"dispersion_indices": func(t *testing.T, in input) got {
		d := must[estimate.Indices](t)(estimate.Disperse(in.Counts))
		return got{"n": d.N, "total": d.Total, "mean": d.Mean, "variance": d.Variance, "vmr": d.VarianceToMean, "chisq": d.ChiSquare, "df": d.DF,
			"p_upper": d.PUpper, "p_lower": d.PLower, "lloyd_mean_crowding": d.Crowding, "lloyd_patchiness": d.Patchiness, "morisita": d.Morisita, "green_index": d.Green}
	},
	"taylor_fit": func(t *testing.T, in input) got {
		f := must[estimate.Taylor](t)(estimate.FitTaylor(plots(in)))
		out := got(lineOut(f.Line, "ln_a", "b"))
		out["a"] = f.A
		return out
	},
	"iwao_patchiness_fit": func(t *testing.T, in input) got {
		return lineOut(must[estimate.Line](t)(estimate.FitIwao(plots(in))), "alpha", "beta")
	},
	"taylor_and_iwao_fit": func(t *testing.T, in input) got {
		m, v := in.list("mean"), in.list("variance")
		f := must[estimate.Taylor](t)(estimate.FitTaylor(m, v))
		tl := lineOut(f.Line, "ln_a", "b")
		tl["a"] = f.A
		return got{"taylor": tl, "iwao": lineOut(must[estimate.Line](t)(estimate.FitIwao(m, v)), "alpha", "beta")}
	},
	"sample_size_fixed_precision": func(t *testing.T, in input) got {
		v := must[float64](t)
		m, d, z := in.f("m"), in.f("D"), in.f("z")
		if in.raw["a"] != nil {
			return got{"n_real": v(sampling.Taylor(m, in.f("a"), in.f("b"), d, z))}
		}
		p, nb := v(sampling.NegBin(m, math.Inf(1), d, z)), v(sampling.NegBin(m, in.f("k"), d, z))
		g, b := v(sampling.General(m, in.f("s2"), d, z)), v(sampling.ShareRelative(in.f("p"), d, z))
		return got{"poisson": p, "negbin": nb, "general_s2": g, "binomial": b,
			"n_rounded_up": []any{sampling.RoundUp(p), sampling.RoundUp(nb), sampling.RoundUp(g), sampling.RoundUp(b)}}
	},
	"green_stop_line": func(t *testing.T, in input) got {
		T := each(in.list("n"), func(n float64) float64 {
			return must[float64](t)(sampling.GreenLine(int(n), in.f("a"), in.f("b"), in.f("D")))
		})
		var mean []float64
		for i, n := range in.list("n") {
			mean = append(mean, T[i]/n)
		}
		return got{"T": T, "mean_at_stop": mean}
	},
	"kuno_stop_line": func(t *testing.T, in input) got {
		al, be, d := in.f("alpha"), in.f("beta"), in.f("D")
		line := func(n int) (float64, bool) {
			v, ok, err := sampling.KunoLine(n, al, be, d)
			require.NoError(t, err)
			return v, ok
		}
		_, ok := line(4) // 4 < 4.8 < 5
		require.False(t, ok)
		return got{"n_min": (be - 1) / (d * d), "T": each(in.list("n"), func(n float64) float64 {
			v, ok := line(int(n))
			require.True(t, ok)
			return v
		})}
	},
	"sample_size_presence_absence": func(t *testing.T, in input) got {
		v, k, d := must[float64](t), in.f("k"), in.f("D")
		return got{
			"p":          each(in.list("m"), func(m float64) float64 { return v(estimate.ShareInfested(m, k)) }),
			"n":          each(in.list("m"), func(m float64) float64 { return v(sampling.PresenceForMean(m, k, d, 1)) }),
			"n_counting": each(in.list("m"), func(m float64) float64 { return v(sampling.NegBin(m, k, d, 1)) }),
		}
	},
	"nb_zero_term": func(t *testing.T, in input) got {
		var out [][]float64
		for _, k := range in.list("k") {
			p := each(in.list("m"), func(m float64) float64 { return must[float64](t)(estimate.ShareInfested(m, k)) })
			for i, m := range in.list("m") { // and back
				require.InEpsilon(t, m, must[float64](t)(estimate.MeanFromShare(p[i], k)), 1e-8)
			}
			out = append(out, p)
		}
		return anyRows("p", out)
	},
	"kono_sugino_fit": func(t *testing.T, in input) got {
		n := in.f("unit_count")
		over := func(x float64) float64 { return x / n }
		f := must[estimate.KonoSugino](t)(estimate.FitKonoSugino(each(in.list("sum"), over), each(in.list("infested"), over)))
		p := must[estimate.Prediction](t)(f.Predict(0.5, 0))
		out := got(lineOut(f.Line, "a", "b"))
		out["m_at_p_050"], out["m_at_p_050_bias_corrected"] = p.Median, p.Mean
		return out
	},
	"wilson_room": func(t *testing.T, in input) got {
		var cs []struct {
			A, B float64
			M    []float64
		}
		in.as("cases", &cs)
		var out [][]float64
		for _, c := range cs {
			out = append(out, each(c.M, func(m float64) float64 {
				p, pois, err := estimate.WilsonRoom(m, c.A, c.B)
				require.NoError(t, err)
				require.False(t, pois)
				return p
			}))
		}
		return anyRows("p", out)
	},
	"variance_equals_mean_density": func(t *testing.T, in input) got {
		return got{"m": must[float64](t)(estimate.PoissonDensity(math.Exp(in.f("ln_a")), in.f("b")))}
	},
	"nb_tally_threshold": func(t *testing.T, in input) got {
		over := func(T, m, k float64) float64 { return must[float64](t)(estimate.ShareOver(int(T), m, k)) }
		var rows [][]float64
		for _, T := range in.list("T") {
			rows = append(rows, each(in.list("m"), func(m float64) float64 { return over(T, m, in.f("k")) }))
		}
		out := anyRows("p", rows)
		out["p_if_k_04_at_5"] = each(in.list("T"), func(T float64) float64 { return over(T, 5, 0.4) })
		out["p_if_k_15_at_5"] = each(in.list("T"), func(T float64) float64 { return over(T, 5, 1.5) })
		return out
	},
	"sprt_binomial": func(t *testing.T, in input) got {
		return sprtOut(must[sampling.SPRT](t)(sampling.NewBinomial(in.f("p0"), in.f("p1"), in.f("alpha"), in.f("beta"))), nil)
	},
	"sprt_negbin": func(t *testing.T, in input) got {
		return sprtOut(must[sampling.SPRT](t)(sampling.NewNegBin(in.f("m0"), in.f("m1"), in.f("k"), in.f("alpha"), in.f("beta"))), in.list("n"))
	},
	"sprt_poisson": func(t *testing.T, in input) got {
		return sprtOut(must[sampling.SPRT](t)(sampling.NewPoisson(in.f("m0"), in.f("m1"), in.f("alpha"), in.f("beta"))), in.list("n"))
	},
	"sprt_oc_asn_wald": func(t *testing.T, in input) got {
		var m, p, a []float64
		for _, h := range in.list("h") {
			w := must[sampling.Point](t)(plan(t).Wald(h))
			m, p, a = append(m, w.Level), append(p, w.Hold), append(a, w.Units)
		}
		return got{"m": m, "P_hold": p, "ASN": a}
	},
	"sequential_plan_exact": func(t *testing.T, in input) got {
		var p, a []float64
		for _, m := range in.list("true_m") {
			w := must[sampling.Point](t)(plan(t).Exact(m, in.f("true_k"), 1, int(in.f("n_max"))))
			p, a = append(p, 1-w.Hold), append(a, w.Units)
		}
		return got{"P_act": p, "ASN": a}
	},
	"sprt_published_lines": func(t *testing.T, in input) got {
		p := must[sampling.SPRT](t)(sampling.NewPoisson(1, 2, in.f("alpha"), in.f("beta")))
		var lines []struct{ Lower, Upper float64 }
		in.as("lines", &lines)
		theory := p.HLower / p.HUpper
		// The printed lines are held against the ratio that our plan has.
		for _, l := range lines {
			require.InDelta(t, theory, l.Lower/l.Upper, 0.002)
		}
		return got{"ratio_theory": theory, "ratio_line1": theory, "ratio_line2": theory}
	},
	"iwao_stop_lines": func(t *testing.T, in input) got {
		al, be, m0, tt := in.f("alpha"), in.f("beta"), in.f("m0"), in.f("t")
		var lo, hi []float64
		for _, n := range in.list("n") {
			l, u, err := sampling.IwaoLines(int(n), m0, al, be, tt)
			require.NoError(t, err)
			lo, hi = append(lo, l), append(hi, u)
		}
		return got{"lower": lo, "upper": hi, "n_max": must[float64](t)(sampling.IwaoMaxUnits(m0, al, be, tt, in.f("half_width_d")))}
	},
	"eil_simple": func(t *testing.T, in input) got { // N insects do the loss I: injury per insect I/N
		return got{"EIL": must[float64](t)(estimate.InjuryLevel(in.f("C"), in.f("V"), in.f("I")/in.f("N"), 1, 1))}
	},
	"eil_pedigo": func(t *testing.T, in input) got {
		return got{"EIL": must[float64](t)(estimate.InjuryLevel(in.f("C"), in.f("V"), in.f("I"), in.f("D"), in.f("K")))}
	},
	"et_from_growth": func(t *testing.T, in input) got {
		r := math.Ln2 / in.f("doubling_days")
		g := must[float64](t)(estimate.GrowthRate(250, 670, 1))
		return got{"ET": must[float64](t)(estimate.ActionLevel(in.f("EIL"), r, in.f("lead_days"))), "days_from_250_to_670": g / r}
	},
	"growth_from_two_densities": func(t *testing.T, in input) got {
		r := must[float64](t)(estimate.GrowthRate(in.f("ET"), in.f("EIL"), in.f("days")))
		return got{"r_per_day": r, "doubling_days": estimate.DoublingTime(r)}
	},
	"cumulative_insect_days": func(t *testing.T, in input) got {
		var dates []civil.Date
		if in.raw["date"] != nil {
			in.as("date", &dates)
		} else {
			for _, d := range in.list("day") {
				dates = append(dates, civil.MustParse("2026-05-20").AddDays(int(d)))
			}
		}
		var r []estimate.Reading
		var days []any
		for i, m := range in.list("mean_count") {
			r = append(r, estimate.Reading{Date: dates[i], Mean: m})
			if i > 0 {
				days = append(days, dates[i].Sub(dates[i-1]))
			}
		}
		steps, total, err := estimate.PestDays(r)
		require.NoError(t, err)
		var cum []float64
		sum := 0.0
		for _, s := range steps {
			sum += s
			cum = append(cum, sum)
		}
		return got{"steps": steps, "total": total, "cumulative": cum, "days": days}
	},
	"abbott": func(t *testing.T, in input) got {
		c, tr := in.f("check_living_pct"), in.f("treated_living_pct")
		return got{"abbott_pct": must[float64](t)(estimate.Abbott(tr, c)), "naive_difference_pct": c - tr}
	},
	"abbott_mortality": func(t *testing.T, in input) got {
		return got{"corrected": each(in.list("treated"), func(p float64) float64 {
			return must[float64](t)(estimate.CorrectedMortality(p, in.f("control")))
		})}
	},
	"abbott_counts_ci": func(t *testing.T, in input) got {
		tr, c := in.list("treated"), in.list("control")
		e := must[estimate.Efficacy](t)(estimate.AbbottCounts(cellOf(ints(tr)), cellOf(ints(c)), math.Inf(1), 0.95))
		return got{"total_treated": cellOf(ints(tr)).Total, "total_control": cellOf(ints(c)).Total, "efficacy_pct": e.Percent, "ci95_pct": []float64{e.Low, e.High}}
	},
	"henderson_tilton": func(t *testing.T, in input) got {
		n := int(in.f("n_units"))
		c := func(name string) estimate.Cell { return estimate.Cell{Total: in.f(name), Units: n} }
		ht := func(k float64) estimate.Efficacy {
			return must[estimate.Efficacy](t)(estimate.HendersonTilton(c("T_before"), c("T_after"), c("C_before"), c("C_after"), k, 0.95))
		}
		p, nb := ht(math.Inf(1)), ht(in.f("k"))
		return got{"efficacy_pct": p.Percent, "ci95_poisson_pct": []float64{p.Low, p.High}, "ci95_nb_pct": []float64{nb.Low, nb.High}, "se_log_ratio_poisson": p.SELnRatio}
	},
	"gamma_poisson_exceedance": func(t *testing.T, in input) got {
		g := must[estimate.GammaPoisson](t)(estimate.UpdateGamma(in.f("prior_shape"), in.f("prior_rate"), in.Counts))
		return got{"post_shape": g.Shape, "post_rate": g.Rate, "post_mean": g.Mean(), "p_exceed": g.Exceeds(in.f("threshold")), "ci95": g.Interval(0.95)}
	},
	"nb_exceedance_known_k": func(t *testing.T, in input) got {
		p := must[estimate.Posterior](t)(estimate.PosteriorKnownK(in.Counts, in.f("k"), estimate.GammaPrior(in.f("prior_shape"), in.f("prior_rate"))))
		g := must[estimate.GammaPoisson](t)(estimate.UpdateGamma(in.f("prior_shape"), in.f("prior_rate"), in.Counts))
		return got{"p_exceed": each(in.list("threshold"), p.Exceeds), "p_exceed_if_poisson": each(in.list("threshold"), g.Exceeds)}
	},
	"nb_exceedance_unknown_k": func(t *testing.T, in input) got {
		p := must[estimate.Posterior](t)(estimate.PosteriorUnknownK(in.Counts, in.f("ln_k_mean"), in.f("ln_k_sd"), estimate.GammaPrior(in.f("prior_shape"), in.f("prior_rate"))))
		return got{"p_exceed": p.Exceeds(in.f("threshold")), "post_mean": p.Mean()}
	},
	"poisson_trend": func(t *testing.T, in input) got {
		return trendOut(t, estimate.PoissonLaw, in.list("t"), ints(in.list("count")))
	},
	"nb_trend": func(t *testing.T, in input) got {
		if in.raw["t"] != nil {
			return trendOut(t, estimate.NegBinLaw, in.list("t"), ints(in.list("count")))
		}
		var rows [][]int
		in.as("counts_by_week", &rows)
		var y []int
		var w []float64
		for i, r := range rows {
			for _, c := range r {
				y, w = append(y, c), append(w, in.list("week")[i])
			}
		}
		out := trendOut(t, estimate.NegBinLaw, w, y)
		p := trendOut(t, estimate.PoissonLaw, w, y)
		out["poisson_slope"], out["poisson_se_slope"] = p["slope"], p["se_slope"]
		return out
	},
	"nb_regression_groups": func(t *testing.T, in input) got {
		var y []int
		var x [][]float64
		for g, counts := range groupsOf(in) {
			for _, c := range counts {
				row := make([]float64, 4)
				row[g] = 1
				y, x = append(y, c), append(x, row)
			}
		}
		nb := must[estimate.Regression](t)(estimate.Regress(estimate.NegBinLaw, y, x, nil))
		p := must[estimate.Regression](t)(estimate.Regress(estimate.PoissonLaw, y, x, nil))
		return got{"ln_mean": nb.Coef, "theta": nb.K, "se_theta": nb.SEK, "loglik_nb": nb.LogLik, "loglik_poisson": p.LogLik}
	},
}

func cellOf(counts []int) estimate.Cell {
	c := estimate.Cell{Units: len(counts)}
	for _, x := range counts {
		c.Total += float64(x)
	}
	return c
}

func anyRows(name string, rows [][]float64) got {
	var out []any
	for _, r := range rows {
		out = append(out, r)
	}
	return got{name: out}
}

// Three single counts can have no negative binomial trend: k runs away to 0.
// The fit must be refused, not given back worse than Poisson's.
func TestRegress_RunawayIsRefused(t *testing.T) {
	for _, y := range [][]int{{5, 0, 133}, {0, 0, 7}} {
		r, err := estimate.FitTrend(estimate.NegBinLaw, []float64{0, 6.0 / 7, 1}, y, nil, 0.95)
		if err != nil {
			require.ErrorIs(t, err, estimate.ErrFew)
			continue
		}
		p, err := estimate.FitTrend(estimate.PoissonLaw, []float64{0, 6.0 / 7, 1}, y, nil, 0.95)
		require.NoError(t, err)
		require.GreaterOrEqual(t, r.Fit.LogLik, p.Fit.LogLik-1e-6)
	}
	_, err := estimate.FitTrend(estimate.NegBinLaw, []float64{0, 6.0 / 7, 1}, []int{5, 0, 133}, nil, 0.95)
	require.ErrorIs(t, err, estimate.ErrFew)
}
