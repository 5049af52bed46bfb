package estimate_test

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/estimate"
)

// gcase is one case of golden.json; its values were computed with R 4.2.2
// (stats, MASS, boot) and most of them again with scipy and statsmodels. Each
// quantity carries the name of its method, which golden.json explains.
type gcase struct {
	Case, Select string
	Quantities   map[string]struct {
		Value  any
		TolRel float64 `json:"tol_rel"`
		TolAbs float64 `json:"tol_abs"`
		Method string
	}
}

// goldenFiles are the datasets checked here; the weather files belong to
// another package.
var goldenFiles = []string{"slugs_under_tiles.csv", "mites_apple_leaves.csv", "webworms_beets.csv", "wireworms_latin_square.csv",
	"insect_sprays.csv", "larvae_nine_treatments.csv", "eelworm_cysts_before_after.csv", "hessianfly_grid.csv", "pitfall_grid_six_dates.csv",
	"codling_moth_trunk_bands.csv", "ground_beetles_farm_site.csv", "tick_drags_site.csv", "moth_traps_site_1.csv", "vineyard_vane_traps_2018.csv"}

// notOurs are the quantities that these packages do not compute: spatial
// autocorrelation.
func notOurs(method string) bool { return strings.HasPrefix(method, "spdep::") }

func TestGoldenDatasets(t *testing.T) {
	raw, err := os.ReadFile(filepath.Join(refDir, "golden.json"))
	require.NoError(t, err)
	var file struct{ Datasets map[string][]gcase }
	require.NoError(t, json.Unmarshal(raw, &file))
	checked, nulls, skipped := 0, 0, 0
	for _, name := range goldenFiles {
		rows := readRows(t, name)
		require.NotEmpty(t, file.Datasets[name], name)
		for _, c := range file.Datasets[name] {
			if strings.Contains(c.Case, "naive forecasts") { // package forecast has them
				skipped += len(c.Quantities)
				continue
			}
			t.Run(name+"/"+c.Case, func(t *testing.T) {
				var out got
				for q, want := range c.Quantities {
					if notOurs(want.Method) {
						skipped++
						continue
					}
					if out == nil {
						out = compute(t, name, c, rows)
					}
					if name == "tick_drags_site.csv" && q == "taylor_groups_used" && want.Value == nil {
						// R counted a group of one drag, whose variance is NA, and got NA.
						// The fit itself leaves such a group out, and its values are checked.
						skipped++
						continue
					}
					v, ok := out[q]
					require.True(t, ok, "nothing computed for %s (%s)", q, want.Method)
					if want.Value == nil {
						require.Nil(t, v, "%s must be said not to exist", q)
						nulls++
					}
					checked += compare(t, q, want.Value, v, want.TolRel, want.TolAbs)
				}
			})
		}
	}
	t.Logf("%d values checked, %d of them that there is no such number; %d left out: spatial or forecast methods, and one NA", checked, nulls, skipped)
	require.Greater(t, checked, 1800)
	require.Equal(t, 151, skipped) // Moran's I (package trend), forecasts, and one NA
	require.Equal(t, 4, nulls)
}

type row map[string]string

func (r row) int(name string) int {
	n, err := strconv.Atoi(r[name])
	if err != nil {
		panic(name + ": " + err.Error())
	}
	return n
}

func readRows(t *testing.T, name string) (out []row) {
	f, err := os.Open(filepath.Join(refDir, name))
	require.NoError(t, err)
	defer f.Close()
	recs, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	for _, r := range recs[1:] {
		m := row{}
		for i, h := range recs[0] {
			m[h] = r[i]
		}
		out = append(out, m)
	}
	return out
}

func where(rows []row, col, val string) (out []row) {
	for _, r := range rows {
		if r[col] == val {
			out = append(out, r)
		}
	}
	return out
}

func column(rows []row, col string) (out []int) {
	for _, r := range rows {
		if r[col] != "NA" {
			out = append(out, r.int(col))
		}
	}
	return out
}

// split groups counts by a key, in order of first appearance.
func split(rows []row, col string, key func(row) string) (keys []string, groups [][]int) {
	at := map[string]int{}
	for _, r := range rows {
		if r[col] == "NA" {
			continue
		}
		k := key(r)
		if _, ok := at[k]; !ok {
			at[k] = len(keys)
			keys, groups = append(keys, k), append(groups, nil)
		}
		groups[at[k]] = append(groups[at[k]], r.int(col))
	}
	return keys, groups
}

func by(cols ...string) func(row) string {
	return func(r row) string {
		var p []string
		for _, c := range cols {
			p = append(p, r[c])
		}
		return strings.Join(p, " ")
	}
}

// compute works out everything that a case of a dataset asks for.
func compute(t *testing.T, file string, c gcase, rows []row) got {
	col := map[string]string{"slugs_under_tiles.csv": "slugs", "webworms_beets.csv": "webworms", "wireworms_latin_square.csv": "wireworms",
		"insect_sprays.csv": "insects", "larvae_nine_treatments.csv": "larvae", "pitfall_grid_six_dates.csv": "arthropods",
		"codling_moth_trunk_bands.csv": "larvae", "tick_drags_site.csv": "nymphs", "moth_traps_site_1.csv": "moths"}[file]
	sel := c.Select
	is := func(prefix string) bool { return strings.HasPrefix(c.Case, prefix) }
	_, basic := c.Quantities["mean_t95_low"]
	switch {
	case file == "mites_apple_leaves.csv":
		return basics(t, expand(column(rows, "mites_per_leaf"), column(rows, "leaves")))
	case basic && strings.Contains(sel, "column initial"):
		return basics(t, column(rows, "initial"))
	case basic && strings.Contains(sel, "column final"):
		return basics(t, column(rows, "final"))
	case basic && file == "vineyard_vane_traps_2018.csv":
		return basics(t, column(rows, strings.Fields(c.Case)[0]))
	case basic && strings.HasPrefix(sel, "all"):
		return basics(t, column(rows, col))
	case basic && strings.HasPrefix(sel, "date in "):
		var in []row
		for _, r := range rows {
			if strings.HasPrefix(r["date"], strings.TrimPrefix(sel, "date in ")) {
				in = append(in, r)
			}
		}
		return basics(t, column(in, col))
	case basic:
		f := strings.Fields(strings.TrimSuffix(sel, " ; rows with a count"))
		return basics(t, column(where(rows, f[0], f[2]), col))
	case file == "slugs_under_tiles.csv":
		return slugFields(t, rows)
	case strings.Contains(c.Case, "Henderson"):
		return henderson(t, rows, strings.Contains(c.Case, "by dose"))
	case strings.HasPrefix(sel, "control T1;"):
		_, plotted := split(rows, col, by("block", "treatment"))
		names, _ := split(rows, col, by("block", "treatment"))
		at := map[string][]int{}
		for i, g := range plotted {
			s := 0
			for _, x := range g {
				s += x
			}
			tr := strings.Fields(names[i])[1]
			at[tr] = append(at[tr], s)
		}
		var keys []string
		var groups [][]int
		for _, k := range []string{"T1", "T2", "T3", "T4"} {
			keys, groups = append(keys, k), append(groups, at[k])
		}
		return abbotts(t, keys, groups, "T1")
	case strings.HasPrefix(sel, "control "), strings.HasPrefix(sel, "F taken"):
		key, control := "treatment", strings.Fields(strings.TrimPrefix(sel, "control "))[0]
		if file == "insect_sprays.csv" {
			key = "spray"
		}
		keys, groups := split(rows, col, by(key))
		return abbotts(t, keys, groups, control)
	case strings.HasPrefix(sel, "webworms ~ block + spray*lead"):
		return webwormModel(t, rows)
	case file == "hessianfly_grid.csv":
		return hessian(t, rows)
	case file == "wireworms_latin_square.csv" && is("Poisson"):
		var x [][]float64
		for _, r := range rows {
			x = append(x, slices.Concat([]float64{1}, dummy(r["row"], "2345"), dummy(r["col"], "2345"), dummy(r["treatment"], "MNOP")))
		}
		f := must[estimate.Regression](t)(estimate.Regress(estimate.PoissonLaw, column(rows, col), x, nil))
		return got{"residual_deviance": f.Deviance, "residual_df": len(rows) - len(x[0])}
	case file == "vineyard_vane_traps_2018.csv" && is("trend"):
		f := strings.Fields(c.Case)
		return vineTrend(t, where(rows, "transect", f[2]), f[1])
	case file == "vineyard_vane_traps_2018.csv" && is("margin"):
		var x [][]float64
		for _, r := range rows {
			x = append(x, slices.Concat([]float64{1}, dummy(r["transect"], "m")))
		}
		f := must[estimate.Regression](t)(estimate.Regress(estimate.NegBinLaw, column(rows, "crab_spiders"), x, nil))
		return got{"log_ratio": f.Coef[1], "se": f.SE[1], "k": f.K}
	case file == "vineyard_vane_traps_2018.csv":
		_, g := split(rows, strings.Fields(c.Case)[0], by("date", "transect", "time"))
		return groupFits(t, g)
	case file == "pitfall_grid_six_dates.csv" && is("trend"):
		var w []float64
		first := civil.MustParse("1996-06-07")
		for _, r := range rows {
			w = append(w, float64(civil.MustParse(r["date"]).Sub(first))/7)
		}
		return trendGolden(t, w, column(rows, col), nil)
	case file == "pitfall_grid_six_dates.csv" && is("pest-days"):
		dates, g := split(rows, col, by("date"))
		var r []estimate.Reading
		for i := range dates {
			r = append(r, estimate.Reading{Date: civil.MustParse(dates[i]), Mean: must[estimate.Summary](t)(estimate.Summarize(g[i])).Mean})
		}
		_, total, err := estimate.PestDays(r)
		require.NoError(t, err)
		return got{"cumulative_pest_days": total}
	case file == "ground_beetles_farm_site.csv":
		return beetles(t, rows, c)
	case file == "tick_drags_site.csv" && is("per square"):
		var off []float64
		var x [][]float64
		for _, r := range rows {
			off, x = append(off, math.Log(float64(r.int("area_m2")))), append(x, []float64{1})
		}
		f := must[estimate.Regression](t)(estimate.Regress(estimate.NegBinLaw, column(rows, col), x, off))
		return got{"rate": math.Exp(f.Coef[0]), "log_rate_se": f.SE[0], "k": f.K, "k_se": f.SEK, "loglik": f.LogLik}
	case file == "moth_traps_site_1.csv" && is("rate"):
		var off []float64
		var x [][]float64
		lures := map[string]bool{}
		for _, r := range rows {
			lures[r["lure"]] = true
		}
		var levels []string
		for l := range lures {
			levels = append(levels, l)
		}
		sort.Strings(levels)
		for _, r := range rows {
			if r["moths"] == "NA" {
				continue
			}
			v := make([]float64, len(levels))
			v[slices.Index(levels, r["lure"])] = 1
			x = append(x, v)
			off = append(off, math.Log(float64(civil.MustParse(r["read"]).Sub(civil.MustParse(r["set"])))))
		}
		f := must[estimate.Regression](t)(estimate.Regress(estimate.NegBinLaw, column(rows, col), x, off))
		return got{"k": f.K, "loglik": f.LogLik}
	}
	keys := map[string]func(row) string{"webworms_beets.csv": by("block", "treatment"), "wireworms_latin_square.csv": by("treatment"),
		"insect_sprays.csv": by("spray"), "larvae_nine_treatments.csv": by("treatment"), "pitfall_grid_six_dates.csv": by("date"),
		"moth_traps_site_1.csv": by("lure", "set"), "tick_drags_site.csv": func(r row) string { return r["plot"] + r["date"][:4] }}
	require.Contains(t, keys, file, "%s: %s", c.Case, sel)
	_, g := split(rows, col, keys[file])
	return groupFits(t, g)
}

// dummy codes a factor by the first letter of its levels, the rest being the base.
func dummy(v, levels string) []float64 {
	out := make([]float64, len(levels))
	if i := strings.Index(levels, v[:1]); i >= 0 {
		out[i] = 1
	}
	return out
}

func basics(t *testing.T, counts []int) got {
	s := must[estimate.Summary](t)(estimate.Summarize(counts))
	d := must[estimate.Indices](t)(estimate.Disperse(counts))
	f := must[estimate.Fit](t)(estimate.FitNB(counts))
	iv := must[estimate.Interval](t)
	n := float64(s.N)
	out := got{"n": s.N, "total": s.Total, "mean": s.Mean, "variance": s.Variance, "max": s.Max, "zeros": s.Zeros, "prop_zero": float64(s.Zeros) / n,
		"poisson_loglik": f.PoissonLL, "dispersion_chisq": d.ChiSquare, "dispersion_p": d.PUpper, "morisita": d.Morisita,
		"morisita_chisq": d.MorisitaChiSquare, "lloyd_mean_crowding": d.Crowding, "lloyd_patchiness": d.Patchiness, "green_index": d.Green,
		"k_moments": nil, "k_mle": nil}
	put := func(name string, v estimate.Interval, by float64) {
		out[name+"_low"], out[name+"_high"] = v.Low/by, v.High/by
	}
	put("mean_t95", iv(estimate.StudentInterval(counts, 0.95)), 1)
	put("mean_poisson_exact95", iv(estimate.PoissonExact(s.Total, 0.95)), n)
	put("infested_wilson95", iv(estimate.Wilson(s.N-s.Zeros, s.N, 0.95)), 1)
	put("infested_exact95", iv(estimate.ClopperPearson(s.N-s.Zeros, s.N, 0.95)), 1)
	put("mean_nb_profile95", iv(estimate.ProfileFreeK(counts, 0.95)), 1)
	if k, ok := f.MomentK(); ok {
		out["k_moments"] = k
	}
	if k, ok := f.K(); ok && !math.IsInf(k, 1) {
		se, _ := f.SEK()
		out["k_mle"], out["k_mle_se"], out["nb_loglik"], out["lrt_poisson_vs_nb"] = k, se, f.LogLik, 2*(f.LogLik-f.PoissonLL)
		out["nb_prop_zero_expected"] = estimate.CDF(0, s.Mean, k)
		put("mean_nb_wald95", iv(estimate.LogWald(s.Mean, k, s.N, 0.95)), 1)
		chi := 0.0
		for x := range 8 {
			e, name, seen := n*math.Exp(estimate.LogPMF(x, s.Mean, k)), "nb_expected_"+strconv.Itoa(x), 0.0
			if x == 7 {
				e, name = n*estimate.Survival(6, s.Mean, k), "nb_expected_7_or_more"
			}
			for _, c := range counts {
				if c == x || x == 7 && c > 7 {
					seen++
				}
			}
			out[name] = e
			chi += (seen - e) * (seen - e) / e
		}
		out["nb_chisq_8_classes"] = chi
	} else {
		require.Equal(t, estimate.PoissonLimit, f.Outcome)
	}
	return out
}

// groupFits gives the regressions over groups and the common k.
func groupFits(t *testing.T, groups [][]int) got {
	var m, v, p, m1 []float64
	var alive [][]int
	for _, g := range groups {
		s := must[estimate.Summary](t)(estimate.Summarize(g))
		if s.Total > 0 {
			alive = append(alive, g)
		}
		if s.N > 1 {
			m, v = append(m, s.Mean), append(v, s.Variance)
		}
		m1, p = append(m1, s.Mean), append(p, 1-float64(s.Zeros)/float64(s.N))
	}
	tl := must[estimate.Taylor](t)(estimate.FitTaylor(m, v))
	iw := must[estimate.Line](t)(estimate.FitIwao(m, v))
	f := must[estimate.Fit](t)(estimate.FitCommonK(alive))
	k, _ := f.K()
	se, _ := f.SEK()
	out := got{"groups": len(groups), "taylor_groups_used": tl.Line.Points, "taylor_a": tl.A, "taylor_b": tl.B, "taylor_b_se": tl.Line.SESlope,
		"taylor_r2": tl.Line.R2, "iwao_alpha": iw.Intercept, "iwao_beta": iw.Slope, "iwao_beta_se": iw.SESlope,
		"common_k_mle": k, "common_k_se": se, "common_k_loglik": f.LogLik}
	if ks, err := estimate.FitKonoSugino(m1, p); err == nil {
		out["kono_groups_used"], out["kono_a"], out["kono_b"] = ks.Line.Points, ks.Line.Intercept, ks.Line.Slope
		out["kono_r2"], out["kono_mse"] = ks.Line.R2, ks.Line.MSE
	}
	return out
}

func abbotts(t *testing.T, keys []string, groups [][]int, control string) got {
	f := must[estimate.Fit](t)(estimate.FitCommonK(groups))
	k, _ := f.K()
	out := got{"k_common": k}
	check := cellOf(groups[slices.Index(keys, control)])
	for i, g := range groups {
		if keys[i] == control {
			continue
		}
		e := must[estimate.Efficacy](t)(estimate.AbbottCounts(cellOf(g), check, k, 0.95))
		p := must[estimate.Interval](t)(estimate.AbbottProfile(cellOf(g), check, k, 0.95))
		name := "efficacy_" + keys[i]
		out[name], out[name+"_wald95_low"], out[name+"_wald95_high"] = e.Percent, e.Low, e.High
		out[name+"_profile95_low"], out[name+"_profile95_high"] = p.Low, p.High
	}
	return out
}

func henderson(t *testing.T, rows []row, byDose bool) got {
	out := got{}
	check := where(rows, "fumigant", "Con")
	cb, ca := column(check, "initial"), column(check, "final")
	for _, f := range []string{"Chl", "Cym", "Car", "See"} {
		sets := map[string][]row{f: where(rows, "fumigant", f)}
		if byDose {
			sets = map[string][]row{f + "1": where(sets[f], "dose", "1"), f + "2": where(sets[f], "dose", "2")}
		}
		for name, rs := range sets {
			tb, ta := column(rs, "initial"), column(rs, "final")
			fit := must[estimate.Fit](t)(estimate.FitCommonK([][]int{tb, ta, cb, ca}))
			k, _ := fit.K()
			e := must[estimate.Efficacy](t)(estimate.HendersonTilton(cellOf(tb), cellOf(ta), cellOf(cb), cellOf(ca), k, 0.95))
			out["efficacy_"+name], out["efficacy_"+name+"_wald95_low"], out["efficacy_"+name+"_wald95_high"], out["k_"+name] = e.Percent, e.Low, e.High, k
		}
	}
	return out
}

func slugFields(t *testing.T, rows []row) got {
	var x [][]float64
	for _, r := range rows {
		x = append(x, slices.Concat([]float64{1}, dummy(r["field"], "R")))
	}
	y := column(rows, "slugs")
	f := must[estimate.Regression](t)(estimate.Regress(estimate.NegBinLaw, y, x, nil))
	one := must[estimate.Fit](t)(estimate.FitNB(y))
	return got{"log_ratio": f.Coef[1], "log_ratio_se": f.SE[1], "k": f.K, "loglik": f.LogLik, "lrt_field": 2 * (f.LogLik - one.LogLik)}
}

func webwormModel(t *testing.T, rows []row) got {
	var x [][]float64
	for _, r := range rows {
		block := make([]float64, 12)
		if b, _ := strconv.Atoi(r["block"][1:]); b > 1 {
			block[b-2] = 1
		}
		s, l := dummy(r["spray"], "Y"), dummy(r["lead"], "Y")
		x = append(x, slices.Concat([]float64{1}, block, s, l, []float64{s[0] * l[0]}))
	}
	y := column(rows, "webworms")
	p := must[estimate.Regression](t)(estimate.Regress(estimate.PoissonLaw, y, x, nil))
	nb := must[estimate.Regression](t)(estimate.Regress(estimate.NegBinLaw, y, x, nil))
	return got{"poisson_loglik": p.LogLik, "poisson_loglik_published": p.LogLik, "nb_loglik": nb.LogLik, "nb_loglik_published": nb.LogLik, "nb_k": nb.K, "nb_k_se": nb.SEK}
}

func hessian(t *testing.T, rows []row) got {
	hurt, plants := 0, 0
	for _, r := range rows {
		hurt, plants = hurt+r.int("damaged"), plants+r.int("plants")
	}
	w := must[estimate.Interval](t)(estimate.Wilson(hurt, plants, 0.95))
	c := must[estimate.Interval](t)(estimate.ClopperPearson(hurt, plants, 0.95))
	p := must[estimate.Share](t)(estimate.Proportion(hurt, plants))
	chi := 0.0
	for _, r := range rows {
		n := float64(r.int("plants"))
		e := float64(r.int("damaged")) - n*p.P
		chi += e * e / (n * p.P * (1 - p.P))
	}
	return got{"damaged": hurt, "plants": plants, "share": p.P, "wilson95_low": w.Low, "wilson95_high": w.High, "exact95_low": c.Low, "exact95_high": c.High,
		"pearson_dispersion": chi / float64(len(rows)-1)}
}

func trendGolden(t *testing.T, week []float64, y []int, effort []float64) got {
	r := must[estimate.Trend](t)(estimate.FitTrend(estimate.NegBinLaw, week, y, effort, 0.95))
	p := must[estimate.Interval](t)(r.Fit.ProfileCoef(1, 0.95))
	return got{"points": len(y), "slope_per_week": r.Slope, "slope_se": r.SE, "intercept": r.Fit.Coef[0], "k": r.Fit.K, "loglik": r.Fit.LogLik,
		"slope_wald95_low": math.Log(r.FactorCI.Low), "slope_wald95_high": math.Log(r.FactorCI.High), "slope_profile95_low": p.Low, "slope_profile95_high": p.High,
		"growth_factor_per_week": r.Factor, "doubling_or_halving_weeks": r.Doubling}
}

func vineTrend(t *testing.T, rows []row, species string) got {
	dates, g := split(rows, species, by("date"))
	first := civil.MustParse(dates[0])
	var w, effort []float64
	var y []int
	for i, d := range dates {
		w = append(w, float64(civil.MustParse(d).Sub(first))/7)
		y = append(y, int(cellOf(g[i]).Total))
		effort = append(effort, float64(len(g[i])))
	}
	return trendGolden(t, w, y, effort)
}

func beetles(t *testing.T, rows []row, c gcase) got {
	f := strings.Fields(c.Case)
	species := f[0]
	if f[1] == "years" {
		var x [][]float64
		var off []float64
		for _, r := range rows {
			v := make([]float64, 7)
			v[r.int("year")-2014] = 1
			x, off = append(x, v), append(off, math.Log(float64(r.int("trap_days_with_catch"))))
		}
		m := must[estimate.Regression](t)(estimate.Regress(estimate.NegBinLaw, column(rows, species), x, off))
		return got{"common_k_mle": m.K, "common_k_se": m.SEK, "loglik": m.LogLik}
	}
	rows = where(rows, "year", f[2])
	var w, effort []float64
	var r []estimate.Reading
	peak, top := 0, -1.0
	traps := 0
	first := civil.MustParse(rows[0]["date"])
	for _, x := range rows {
		d, n := civil.MustParse(x["date"]), float64(x.int("trap_days_with_catch"))
		rate := float64(x.int(species)) / n
		w, effort, r = append(w, float64(d.Sub(first))/7), append(effort, n), append(r, estimate.Reading{Date: d, Mean: rate})
		traps += int(n)
		if rate > top {
			top, peak = rate, d.YearDay()
		}
	}
	if f[1] == "trend" {
		return trendGolden(t, w, column(rows, species), effort)
	}
	_, total, err := estimate.PestDays(r)
	require.NoError(t, err)
	return got{"readings": len(rows), "captures": cellOf(column(rows, species)).Total, "trap_readings": traps, "beetle_days_per_trap": total, "peak_day": peak}
}
