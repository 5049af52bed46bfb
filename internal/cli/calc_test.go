package cli_test

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
)

// methodCase is one case of methods-cases.json, with its own source or R call.
type methodCase struct {
	ID       string                    `json:"id"`
	Input    json.RawMessage           `json:"input"`
	Expected map[string]any            `json:"expected"`
	Tol      map[string]map[string]any `json:"tolerance"`
}

func (c methodCase) input(t *testing.T, to any) {
	t.Helper()
	require.NoError(t, json.Unmarshal(c.Input, to), c.ID)
}

// holds checks a value, or a list of them, against what the case expects.
func (c methodCase) holds(t *testing.T, name string, got ...float64) {
	t.Helper()
	want, ok := c.Expected[name]
	require.True(t, ok, "%s expects no %s", c.ID, name)
	list, isList := want.([]any)
	if !isList {
		list = []any{want}
	}
	require.Len(t, got, len(list), "%s %s", c.ID, name)
	tol := c.Tol[name]
	if tol == nil {
		tol = c.Tol["default"]
	}
	rel, _ := tol["rel"].(float64)
	abs, _ := tol["abs"].(float64)
	for i, w := range list {
		v := w.(float64)
		require.LessOrEqual(t, math.Abs(got[i]-v), abs+rel*math.Abs(v)+1e-11*math.Abs(v), "%s %s is %.12g, the case has %.12g", c.ID, name, got[i], v)
	}
}

func methodCases(t *testing.T) map[string]methodCase {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(reference, "methods-cases.json"))
	require.NoError(t, err)
	var file struct{ Cases []methodCase }
	require.NoError(t, json.Unmarshal(raw, &file))
	out := map[string]methodCase{}
	for _, c := range file.Cases {
		out[c.ID] = c
	}
	return out
}

type clumpFit struct {
	Samples []struct {
		Mean float64 `json:"mean"`
	} `json:"samples"`
	Taylor *struct {
		Points int     `json:"points"`
		A      float64 `json:"a"`
		B      float64 `json:"b"`
		LnA    float64 `json:"ln_a"`
		SELnA  float64 `json:"se_ln_a"`
		SEB    float64 `json:"se_b"`
		R2     float64 `json:"r2"`
		MSE    float64 `json:"mse"`
	} `json:"taylor"`
	Iwao *struct {
		Points  int     `json:"points"`
		Alpha   float64 `json:"alpha"`
		Beta    float64 `json:"beta"`
		SEAlpha float64 `json:"se_alpha"`
		SEBeta  float64 `json:"se_beta"`
		R2      float64 `json:"r2"`
	} `json:"iwao"`
	CommonK struct {
		K      *float64 `json:"k"`
		SE     *float64 `json:"se"`
		LogLik float64  `json:"loglik"`
	} `json:"common_k"`
	Kono *struct {
		Points int     `json:"points"`
		A      float64 `json:"a"`
		B      float64 `json:"b"`
		SEA    float64 `json:"se_a"`
		SEB    float64 `json:"se_b"`
		R2     float64 `json:"r2"`
		MSE    float64 `json:"mse"`
	} `json:"kono_sugino"`
	Prediction *struct {
		Median float64 `json:"median"`
		Mean   float64 `json:"mean"`
		Var    float64 `json:"var_ln_mean"`
		Low    float64 `json:"low_95"`
		High   float64 `json:"high_95"`
	} `json:"prediction"`
	Curve []struct {
		Mean   float64  `json:"mean"`
		Taylor *float64 `json:"share_by_taylor"`
		K      *float64 `json:"share_by_common_k"`
	} `json:"share_at_mean"`
}

// lines writes samples as a file of lists.
func lines(groups [][]int) string {
	var b strings.Builder
	for i, g := range groups {
		fmt.Fprintf(&b, "sample%d: %s\n", i+1, strings.Join(asTyped(g), " "))
	}
	return b.String()
}

// rowsBy reads a reference file and returns the counts of a column, grouped by
// the values of others in the order of the file.
func rowsBy(t *testing.T, file, want string, by ...string) (keys []string, groups [][]int) {
	t.Helper()
	f, err := os.Open(filepath.Join(reference, file))
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	at := map[string]int{}
	for i, h := range rows[0] {
		at[h] = i
	}
	for _, r := range rows[1:] {
		if r[at[want]] == "" || r[at[want]] == "NA" {
			continue
		}
		n, err := strconv.Atoi(r[at[want]])
		require.NoError(t, err)
		var parts []string
		for _, b := range by {
			parts = append(parts, r[at[b]])
		}
		key := strings.Join(parts, " ")
		i := slices.Index(keys, key)
		if i < 0 {
			i = len(keys)
			keys, groups = append(keys, key), append(groups, nil)
		}
		groups[i] = append(groups[i], n)
	}
	return keys, groups
}

// The borers of NB-03 (Bliss & Fisher 1953), typed as a file of lists.
func TestCalcClumping_MethodCases(t *testing.T) {
	f, cases := newField(t, "2026-06-15T18:00:00Z"), methodCases(t)
	c := cases["NB-03"]
	var in struct {
		Groups map[string]struct{ Value, Freq []int }
	}
	c.input(t, &in)
	var text strings.Builder
	for _, k := range slices.Sorted(maps.Keys(in.Groups)) {
		fmt.Fprintf(&text, "%s:", k)
		for i, v := range in.Groups[k].Value {
			fmt.Fprintf(&text, " %d*%d", in.Groups[k].Freq[i], v)
		}
		text.WriteString("\n")
	}
	var got clumpFit
	f.data(&got, "calc", "clumping", "--file", f.file("borers.txt", text.String()))
	c.holds(t, "k_common", *got.CommonK.K)
	c.holds(t, "se_k", *got.CommonK.SE)
	c.holds(t, "loglik", got.CommonK.LogLik)
	var means []float64
	for _, s := range got.Samples {
		means = append(means, s.Mean)
	}
	c.holds(t, "means", means...)

	// The webworms of Beall 1940 by plot: DI-03, DI-04, PA-02. The file has the
	// units themselves; the cases have their sums.
	keys, groups := rowsBy(t, "webworms_beets.csv", "webworms", "block", "treatment")
	require.Len(t, keys, 52)
	var w clumpFit
	f.data(&w, "calc", "clumping", "--file", f.file("webworms.txt", lines(groups)), "--share", "25/50")
	x := w.Taylor
	c = cases["DI-03"]
	for name, v := range map[string]float64{"points": float64(x.Points), "ln_a": x.LnA, "a": x.A, "b": x.B, "se_ln_a": x.SELnA, "se_b": x.SEB, "r2": x.R2, "resid_sd": math.Sqrt(x.MSE)} {
		c.holds(t, name, v)
	}
	c = cases["DI-04"]
	for name, v := range map[string]float64{"points": float64(w.Iwao.Points), "alpha": w.Iwao.Alpha, "beta": w.Iwao.Beta, "se_alpha": w.Iwao.SEAlpha, "se_beta": w.Iwao.SEBeta, "r2": w.Iwao.R2} {
		c.holds(t, name, v)
	}
	c = cases["PA-02"]
	k := w.Kono
	for name, v := range map[string]float64{"points": float64(k.Points), "a": k.A, "b": k.B, "se_a": k.SEA, "se_b": k.SEB, "mse": k.MSE, "r2": k.R2,
		"m_at_p_050": w.Prediction.Median, "m_at_p_050_bias_corrected": w.Prediction.Mean} {
		c.holds(t, name, v)
	}
	// The interval of the prediction by its formula: three parts
	// of the variance of ln m; the sampling part at p = 0.5 of 50 units.
	q := math.Log(0.5)
	require.Greater(t, w.Prediction.Var, k.MSE+k.B*k.B*0.5/(50*0.5*q*q))
	require.InEpsilon(t, w.Prediction.Median*w.Prediction.Median, w.Prediction.Low*w.Prediction.High, 1e-9)
	require.InEpsilon(t, math.Log(w.Prediction.High/w.Prediction.Low), 2*1.959964*math.Sqrt(w.Prediction.Var), 1e-6)
	// The shares by Wilson and Room's formula and by the zero term, written out.
	for _, p := range w.Curve {
		r := x.A * math.Pow(p.Mean, x.B-1)
		want := 1 - math.Exp(-p.Mean*math.Log(r)/(r-1))
		if r < 1 {
			want = 1 - math.Exp(-p.Mean)
		}
		require.InEpsilon(t, want, *p.Taylor, 1e-9)
		require.InEpsilon(t, 1-math.Pow(1 + p.Mean / *w.CommonK.K, -*w.CommonK.K), *p.K, 1e-9)
	}
}

// Golden values computed in R, one file of lists each.
func TestCalcClumping_Reference(t *testing.T) {
	f := newField(t, "2026-06-15T18:00:00Z")
	for _, d := range []struct {
		file, golden, count string
		by                  []string
	}{
		{"webworms_beets.csv", "plots", "webworms", []string{"block", "treatment"}},
		{"wireworms_latin_square.csv", "treatments", "wireworms", []string{"treatment"}},
		{"pitfall_grid_six_dates.csv", "dates", "arthropods", []string{"date"}},
		{"insect_sprays.csv", "sprays", "insects", []string{"spray"}},
		{"larvae_nine_treatments.csv", "treatments", "larvae", []string{"treatment"}},
		{"vineyard_vane_traps_2018.csv", "crab_spiders by date, transect and time", "crab_spiders", []string{"date", "transect", "time"}},
		{"vineyard_vane_traps_2018.csv", "leafminer_flies by date, transect and time", "leafminer_flies", []string{"date", "transect", "time"}},
	} {
		_, groups := rowsBy(t, d.file, d.count, d.by...)
		var got clumpFit
		f.data(&got, "calc", "clumping", "--file", f.file("lists.txt", lines(groups)))
		have := map[string]float64{
			"groups": float64(len(got.Samples)), "taylor_groups_used": float64(got.Taylor.Points), "taylor_a": got.Taylor.A, "taylor_b": got.Taylor.B,
			"taylor_b_se": got.Taylor.SEB, "taylor_r2": got.Taylor.R2,
			"iwao_alpha": got.Iwao.Alpha, "iwao_beta": got.Iwao.Beta, "iwao_beta_se": got.Iwao.SEBeta,
			"common_k_mle": *got.CommonK.K, "common_k_se": *got.CommonK.SE, "common_k_loglik": got.CommonK.LogLik,
		}
		if got.Kono != nil {
			have["kono_groups_used"], have["kono_a"], have["kono_b"], have["kono_r2"], have["kono_mse"] = float64(got.Kono.Points), got.Kono.A, got.Kono.B, got.Kono.R2, got.Kono.MSE
		}
		checked := 0
		for name, q := range goldenCase(t, d.file, d.golden) {
			v, ok := have[name]
			if !ok || q.Value == nil {
				continue
			}
			checked++
			require.LessOrEqual(t, math.Abs(v-*q.Value), q.Abs+q.Rel*math.Abs(*q.Value)+1e-11*math.Abs(*q.Value), "%s %s: %s is %.12g, the reference has %.12g", d.file, d.golden, name, v, *q.Value)
		}
		require.GreaterOrEqual(t, checked, 11, "%s %s", d.file, d.golden)
	}
}

type growth struct {
	Factor   float64   `json:"factor_per_week"`
	Low      float64   `json:"low_95"`
	High     float64   `json:"high_95"`
	Doubling float64   `json:"doubling_days"`
	Counts   int       `json:"counts"`
	NB       growthFit `json:"negative_binomial"`
	Poisson  growthFit `json:"poisson"`
}

type growthFit struct {
	Intercept, SEIntercept, Slope, SESlope float64
	K, LogLik, Deviance, Null, AIC         float64
	Pearson, PLow, PHigh                   float64
}

func (g *growthFit) UnmarshalJSON(raw []byte) error {
	m := map[string]float64{}
	if err := json.Unmarshal(raw, &m); err != nil {
		return err
	}
	*g = growthFit{m["intercept"], m["se_intercept"], m["slope_per_week"], m["se_slope"], m["k"], m["loglik"], m["deviance"], m["null_deviance"], m["aic"],
		m["pearson_dispersion"], m["slope_profile95_low"], m["slope_profile95_high"]}
	return nil
}

func TestCalcGrowth(t *testing.T) {
	f, cases := newField(t, "2026-06-15T18:00:00Z"), methodCases(t)
	start := civil.MustParse("2025-01-01")

	// TR-01: 13 counts, one for each step of time; TR-02 is the negative
	// binomial on the same. The case's time begins at 1, the command's at 0.
	c := cases["TR-01"]
	var in struct{ T, Count []int }
	c.input(t, &in)
	var text strings.Builder
	for i, n := range in.Count {
		fmt.Fprintf(&text, "%s %d\n", start.AddDays(7*in.T[i]), n)
	}
	var got growth
	f.data(&got, "calc", "growth", "--file", f.file("yearly.txt", text.String()))
	for name, v := range map[string]float64{"slope": got.Poisson.Slope, "se_slope": got.Poisson.SESlope, "intercept": got.Poisson.Intercept - got.Poisson.Slope,
		"deviance": got.Poisson.Deviance, "null_deviance": got.Poisson.Null, "aic": got.Poisson.AIC, "pearson_dispersion": got.Poisson.Pearson, "growth_factor": math.Exp(got.Poisson.Slope)} {
		c.holds(t, name, v)
	}
	c = cases["TR-02"]
	for name, v := range map[string]float64{"slope": got.NB.Slope, "se_slope": got.NB.SESlope, "intercept": got.NB.Intercept - got.NB.Slope, "theta": got.NB.K, "loglik": got.NB.LogLik} {
		c.holds(t, name, v)
	}
	require.InEpsilon(t, 7*math.Ln2/got.NB.Slope, got.Doubling, 1e-9)

	// TR-03, six leaves a week for six weeks (invented).
	text.Reset()
	for i, l := range []string{"0 0 1 0 2 0", "1 0 0 3 0 1", "0 4 1 0 2 2", "5 0 3 1 9 0", "2 12 0 7 4 6", "15 3 8 0 21 5"} {
		fmt.Fprintf(&text, "%s %s\n", start.AddDays(7*i), l)
	}
	f.data(&got, "calc", "growth", "--file", f.file("leaves.txt", text.String()))
	c = cases["TR-03"]
	for name, v := range map[string]float64{"intercept": got.NB.Intercept, "slope": got.NB.Slope, "se_intercept": got.NB.SEIntercept, "se_slope": got.NB.SESlope, "theta": got.NB.K,
		"loglik": got.NB.LogLik, "weekly_factor": got.Factor, "doubling_days": got.Doubling, "poisson_slope": got.Poisson.Slope, "poisson_se_slope": got.Poisson.SESlope} {
		c.holds(t, name, v)
	}
	c.holds(t, "weekly_factor_ci95", got.Low, got.High)

	// The same counts as a farm's visits give the same growth.
	f.run("farm", "new", "--name", "Reference field", "--zone", "UTC", "--pests", "mite")
	f.run("bed", "add", "M1", "--size", "25 m x 1.2 m")
	f.run("stage", "planted", "--date", "2026-04-15", "M1")
	var notes strings.Builder
	for i, l := range strings.Split(strings.TrimSpace(text.String()), "\n") {
		_, counts, _ := strings.Cut(l, " ")
		fmt.Fprintf(&notes, "%s M1 mite %s foliage=dry\n", civil.MustParse("2026-05-01").AddDays(7*i), counts)
	}
	f.run("count", "--file", f.file("notes.txt", notes.String()))
	var own growth
	f.data(&own, "calc", "growth", "M1", "mite")
	require.Equal(t, got, own)

	// Golden values from MASS::glm.nb, with and without an effort.
	check := func(file, name string, g growth) {
		want := goldenCase(t, file, name)
		for n, v := range map[string]float64{"points": float64(g.Counts), "slope_per_week": g.NB.Slope, "slope_se": g.NB.SESlope, "intercept": g.NB.Intercept, "k": g.NB.K, "loglik": g.NB.LogLik,
			"slope_profile95_low": g.NB.PLow, "slope_profile95_high": g.NB.PHigh, "growth_factor_per_week": g.Factor, "doubling_or_halving_weeks": g.Doubling / 7,
			"slope_wald95_low": math.Log(g.Low), "slope_wald95_high": math.Log(g.High)} {
			q, ok := want[n]
			require.True(t, ok, n)
			require.LessOrEqual(t, math.Abs(v-*q.Value), q.Abs+q.Rel*math.Abs(*q.Value), "%s: %s is %.12g, the reference has %.12g", name, n, v, *q.Value)
		}
	}
	days, groups := rowsBy(t, "pitfall_grid_six_dates.csv", "arthropods", "date")
	text.Reset()
	for i, g := range groups {
		fmt.Fprintf(&text, "%s %s\n", days[i], strings.Join(asTyped(g), " "))
	}
	f.data(&got, "calc", "growth", "--file", f.file("pitfalls.txt", text.String()))
	check("pitfall_grid_six_dates.csv", "trend", got)

	for _, year := range []string{"2014", "2018", "2019"} {
		text.Reset()
		keys, _ := rowsBy(t, "ground_beetles_farm_site.csv", "carabids", "year", "date", "carabids", "trap_days_with_catch")
		for _, k := range keys {
			if w := strings.Fields(k); w[0] == year {
				fmt.Fprintf(&text, "%s %s effort=%s\n", w[1], w[2], w[3])
			}
		}
		f.data(&got, "calc", "growth", "--file", f.file("beetles.txt", text.String()))
		check("ground_beetles_farm_site.csv", "carabids trend "+year, got)
	}
}

func TestCalcPestDays(t *testing.T) {
	f, cases := newField(t, "2026-06-15T18:00:00Z"), methodCases(t)
	type days struct {
		Total float64 `json:"total"`
		Steps []struct {
			Step float64 `json:"pest_days"`
			Sum  float64 `json:"cumulative"`
			Days int     `json:"days"`
		} `json:"steps"`
	}
	c := cases["ID-01"]
	var in struct {
		Day  []int
		Mean []float64 `json:"mean_count"`
	}
	c.input(t, &in)
	words := []string{"calc", "pest-days", "--means"}
	for i, d := range in.Day {
		words = append(words, fmt.Sprintf("%s=%g", civil.MustParse("2026-05-01").AddDays(d), in.Mean[i]))
	}
	slices.Reverse(words[3:]) // the order does not matter
	var got days
	f.data(&got, words...)
	c.holds(t, "total", got.Total)
	var steps, sums []float64
	for _, s := range got.Steps[1:] {
		steps, sums = append(steps, s.Step), append(sums, s.Sum)
	}
	c.holds(t, "steps", steps...)
	c.holds(t, "cumulative", sums...)

	c = cases["ID-02"]
	f.data(&got, "calc", "pest-days", "--means", "2024-02-26=2", "2024-03-04=6", "2024-03-11=4")
	c.holds(t, "total", got.Total)
	c.holds(t, "days", float64(got.Steps[1].Days), float64(got.Steps[2].Days))

	// Golden, on the means of 63 pitfalls on six dates.
	keys, groups := rowsBy(t, "pitfall_grid_six_dates.csv", "arthropods", "date")
	words = words[:3]
	for i, g := range groups {
		sum := 0
		for _, n := range g {
			sum += n
		}
		words = append(words, fmt.Sprintf("%s=%.17g", keys[i], float64(sum)/float64(len(g))))
	}
	f.data(&got, words...)
	q := goldenCase(t, "pitfall_grid_six_dates.csv", "pest-days")["cumulative_pest_days"]
	require.InEpsilon(t, *q.Value, got.Total, 1e-9)
}

type efficacy struct {
	Method      string   `json:"method"`
	Percent     float64  `json:"percent"`
	Low         *float64 `json:"low_95"`
	High        *float64 `json:"high_95"`
	ProfileLow  *float64 `json:"profile_low_95"`
	ProfileHigh *float64 `json:"profile_high_95"`
	SE          *float64 `json:"se_ln_ratio"`
	K           *float64 `json:"k"`
}

func TestCalcEfficacy(t *testing.T) {
	f, cases := newField(t, "2026-06-15T18:00:00Z"), methodCases(t)
	four := []string{"calc", "efficacy", "--treated-before", "240/40", "--treated-after", "36/40", "--untreated-before", "210/40", "--untreated-after", "252/40"}
	c := cases["EF-04"]
	var got efficacy
	f.data(&got, four...) // no k: Poisson
	c.holds(t, "efficacy_pct", got.Percent)
	c.holds(t, "ci95_poisson_pct", *got.Low, *got.High)
	c.holds(t, "se_log_ratio_poisson", *got.SE)
	f.data(&got, append(four, "--k", "0.8")...)
	require.Equal(t, "Henderson-Tilton", got.Method)
	c.holds(t, "ci95_nb_pct", *got.Low, *got.High)

	c = cases["EF-03"]
	f.data(&got, "calc", "efficacy", "--treated-after", "6/5", "--untreated-after", "29/5")
	c.holds(t, "efficacy_pct", got.Percent)
	c.holds(t, "ci95_pct", *got.Low, *got.High)

	c = cases["EF-01"]
	f.data(&got, "calc", "efficacy", "--treated-after", "2/100", "--untreated-after", "50/100")
	c.holds(t, "abbott_pct", got.Percent)
	c = cases["EF-02"]
	var shares []float64
	for _, dead := range []string{"1/40", "26/40", "40/40"} {
		f.data(&got, "calc", "efficacy", "--treated-dead", dead, "--untreated-dead", "1/40")
		shares = append(shares, got.Percent/100)
	}
	c.holds(t, "corrected", shares...)

	// Golden, MASS::glm.nb: Abbott at the k of all treatments, with profiles.
	for _, d := range []struct{ file, count, by, check string }{
		{"webworms_beets.csv", "webworms", "treatment", "T1"},
		{"insect_sprays.csv", "insects", "spray", "F"},
		{"larvae_nine_treatments.csv", "larvae", "treatment", "T9"},
	} {
		want := goldenCase(t, d.file, "efficacy")
		keys, groups := rowsBy(t, d.file, d.count, d.by)
		check := strings.Join(asTyped(groups[slices.Index(keys, d.check)]), " ")
		for i, key := range keys {
			if key == d.check {
				continue
			}
			f.data(&got, "calc", "efficacy", "--treated-after", strings.Join(asTyped(groups[i]), " "), "--untreated-after", check, "--k", fmt.Sprintf("%.12g", *want["k_common"].Value))
			name := "efficacy_" + key
			for n, v := range map[string]float64{name: got.Percent, name + "_wald95_low": *got.Low, name + "_wald95_high": *got.High, name + "_profile95_low": *got.ProfileLow, name + "_profile95_high": *got.ProfileHigh} {
				q, ok := want[n]
				require.True(t, ok, n)
				require.LessOrEqual(t, math.Abs(v-*q.Value), q.Abs+q.Rel*math.Abs(*q.Value), "%s: %s is %.12g, the reference has %.12g", d.file, n, v, *q.Value)
			}
		}
	}

	// Golden, Henderson and Tilton with k fitted over the four lists.
	want := goldenCase(t, "eelworm_cysts_before_after.csv", "Henderson-Tilton")
	keys, before := rowsBy(t, "eelworm_cysts_before_after.csv", "initial", "fumigant")
	_, after := rowsBy(t, "eelworm_cysts_before_after.csv", "final", "fumigant")
	con := slices.Index(keys, "Con")
	for i, key := range keys {
		if i == con {
			continue
		}
		join := func(c []int) string { return strings.Join(asTyped(c), " ") }
		f.data(&got, "calc", "efficacy", "--treated-before", join(before[i]), "--treated-after", join(after[i]), "--untreated-before", join(before[con]), "--untreated-after", join(after[con]))
		name := "efficacy_" + key
		for n, v := range map[string]float64{name: got.Percent, name + "_wald95_low": *got.Low, name + "_wald95_high": *got.High, "k_" + key: *got.K} {
			q, ok := want[n]
			require.True(t, ok, n)
			require.LessOrEqual(t, math.Abs(v-*q.Value), q.Abs+q.Rel*math.Abs(*q.Value), "%s is %.12g, the reference has %.12g", n, v, *q.Value)
		}
	}
}

func TestCalcInjuryLevel(t *testing.T) {
	f, cases := newField(t, "2026-06-15T18:00:00Z"), methodCases(t)
	var got struct {
		Level float64  `json:"injury_level"`
		Act   *float64 `json:"act_level"`
	}
	f.data(&got, "calc", "injury-level", "--cost", "18", "--value", "1.2", "--injury", "0.01", "--loss", "400", "--prevented", "0.7")
	c := cases["EI-02"]
	c.holds(t, "EIL", got.Level)
	f.data(&got, "calc", "injury-level", "--cost", "20/acre", "--value", "500", "--injury", "10%/800", "--loss", "1/acre")
	c = cases["EI-01"]
	c.holds(t, "EIL", got.Level)
	require.Nil(t, got.Act)
	acres := got.Level
	// The same in other units: an acre is 43.56 times 1,000 square feet and
	// 4046.8564224 m², by definition.
	f.data(&got, "calc", "injury-level", "--cost", "20/1000 sq ft", "--value", "500", "--injury", "10%/800", "--loss", "43.56/acre")
	require.InEpsilon(t, acres, got.Level, 1e-9)
	f.data(&got, "calc", "injury-level", "--cost", "20/acre", "--value", "500", "--injury", "10%/800", "--loss", "2.4710538146716536/ha")
	require.InEpsilon(t, acres, got.Level, 1e-9)
	// EI-03: a level of 670, doubling in 7 days, 7 days' lead.
	f.data(&got, "calc", "injury-level", "--cost", "670", "--value", "1", "--injury", "1", "--loss", "1", "--doubling", "7", "--lead", "7")
	c = cases["EI-03"]
	c.holds(t, "ET", *got.Act)
	f.data(&got, "calc", "injury-level", "--cost", "670", "--value", "1", "--injury", "1", "--loss", "1", "--growth", "2", "--lead", "7")
	c.holds(t, "ET", *got.Act)
}
