package trend_test

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/trend"
)

const refDir = "../../testdata/reference"

var inf = math.Inf(1)

func must[T any](t require.TestingT) func(T, error) T {
	return func(v T, err error) T {
		require.NoError(t, err)
		return v
	}
}

// methodCase reads one case of methods-cases.json: its input, its expected
// numbers and its relative tolerance. Each case names its source there.
func methodCase(t *testing.T, id string, input any) (want map[string]any, rel float64) {
	raw := must[[]byte](t)(os.ReadFile(filepath.Join(refDir, "methods-cases.json")))
	var file struct {
		Cases []struct {
			ID        string
			Input     json.RawMessage
			Expected  map[string]any
			Tolerance map[string]struct{ Rel float64 }
		}
	}
	require.NoError(t, json.Unmarshal(raw, &file))
	for _, c := range file.Cases {
		if c.ID == id {
			require.NoError(t, json.Unmarshal(c.Input, input))
			return c.Expected, c.Tolerance["default"].Rel
		}
	}
	require.Fail(t, "no case "+id)
	return nil, 0
}

var start = civil.MustParse("2026-05-04")

// weekly puts one visit a week, the first on 4 May 2026 plus first weeks.
func weekly(first int, counts ...[]int) (out []trend.Visit) {
	for i, c := range counts {
		out = append(out, trend.Visit{Date: start.AddDays(7 * (first + i)), Counts: c})
	}
	return out
}

func ones(counts []int) (out [][]int) {
	for _, c := range counts {
		out = append(out, []int{c})
	}
	return out
}

// atTime0 is the line's ln density at week 0 of weekly.
func atTime0(r trend.Rate) float64 { return r.LnNow - r.PerDay*float64(r.Last.Sub(start)) }

// TR-01: Wood 2006's teaching counts by a Poisson trend; TR-02: the same by
// MASS::glm.nb; TR-03: six leaves a week by MASS::glm.nb.
func TestGrowth_MethodsCases(t *testing.T) {
	var in struct{ Count []int }
	want, rel := methodCase(t, "TR-01", &in)
	r := must[trend.Rate](t)(trend.Growth(weekly(1, ones(in.Count)...), estimate.Dispersion{K: inf}))
	factor, _ := r.Factor()
	for name, v := range map[string]float64{"slope": 7 * r.PerDay, "se_slope": 7 * r.SE, "intercept": atTime0(r),
		"growth_factor": factor, "pearson_dispersion": r.Scatter} {
		require.InEpsilon(t, want[name], v, rel, name)
	}

	want, rel = methodCase(t, "TR-02", &in)
	r = must[trend.Rate](t)(trend.Growth(weekly(1, ones(in.Count)...), estimate.Dispersion{}))
	for name, v := range map[string]float64{"slope": 7 * r.PerDay, "se_slope": 7 * r.SE, "intercept": atTime0(r), "theta": r.K} {
		require.InEpsilon(t, want[name], v, rel, name)
	}

	var leaves struct {
		Weeks [][]int `json:"counts_by_week"`
	}
	want, rel = methodCase(t, "TR-03", &leaves)
	r = must[trend.Rate](t)(trend.Growth(weekly(0, leaves.Weeks...), estimate.Dispersion{}))
	factor, ci := r.Factor()
	days, _, _, halving := r.Time()
	require.False(t, halving)
	for name, v := range map[string]float64{"slope": 7 * r.PerDay, "se_slope": 7 * r.SE, "intercept": atTime0(r), "theta": r.K,
		"weekly_factor": factor, "doubling_days": days} {
		require.InEpsilon(t, want[name], v, rel, name)
	}
	// R's interval takes k as known: e^(b -+ 1.96 SE). Ours has Student's
	// multiplier for a fitted k (34 degrees of freedom) and so is wider.
	z := want["weekly_factor_ci95"].([]any)
	require.InEpsilon(t, z[0], math.Exp(7*(r.PerDay-1.959964*r.SE)), rel)
	require.InEpsilon(t, z[1], math.Exp(7*(r.PerDay+1.959964*r.SE)), rel)
	require.Equal(t, 1.0, r.Scatter)
	require.InEpsilon(t, math.Exp(7*(r.PerDay+2.032245*r.SE)), ci.High, 1e-6) // R: qt(.975, 34)
	p := must[trend.Rate](t)(trend.Growth(weekly(0, leaves.Weeks...), estimate.Dispersion{K: inf}))
	require.InEpsilon(t, want["poisson_slope"], 7*p.PerDay, rel)
	require.InEpsilon(t, want["poisson_se_slope"], 7*p.SE, rel)
}

// TR-04: Beall 1940's webworms; the treatments have no time, so two of them
// stand for edge and middle.
func TestEdge_MethodsCase(t *testing.T) {
	var in struct {
		Groups map[string]struct{ Value, Freq []int }
	}
	want, rel := methodCase(t, "TR-04", &in)
	bed := func(name string) []trend.BedCount {
		b := trend.BedCount{Code: name, K: want["theta"].(float64)}
		for i, v := range in.Groups[name].Value {
			b.N, b.Total = b.N+in.Groups[name].Freq[i], b.Total+v*in.Groups[name].Freq[i]
		}
		return []trend.BedCount{b}
	}
	ln := want["ln_mean"].([]any)
	for i, name := range []string{"T2", "T3", "T4"} {
		r := must[trend.Ratio](t)(trend.EdgeAgainstMiddle(bed(name), bed("T1")))
		require.InEpsilon(t, ln[i+1].(float64)-ln[0].(float64), math.Log(r.Ratio), rel, name)
	}
}

// EI-03, EI-04, LT-02: doubling times and days to a level.
func TestArithmeticCases(t *testing.T) {
	var ei struct{ ET, EIL, Days float64 }
	want, rel := methodCase(t, "EI-04", &ei)
	r := trend.Rate{PerDay: math.Log(ei.EIL/ei.ET) / ei.Days}
	days, _, _, _ := r.Time()
	require.InEpsilon(t, want["doubling_days"], days, rel)

	var in struct {
		EIL float64
		Dbl float64 `json:"doubling_days"`
	}
	want, _ = methodCase(t, "EI-03", &in)
	c := must[trend.Chance](t)(trend.Crossing(trend.Belief{LnMean: math.Log(250)}, math.Ln2/in.Dbl, 0, in.EIL))
	require.Equal(t, int(math.Ceil(want["days_from_250_to_670"].(float64))), c.Day)
	require.Equal(t, 0.0, c.Within[9])
	require.Equal(t, 1.0, c.Within[10])

	var lt struct{ D struct{ Factor, Days int } }
	want, rel = methodCase(t, "LT-02", &lt)
	pair := func(a, b, days int) trend.Rate {
		return must[trend.Rate](t)(trend.Growth([]trend.Visit{{Date: start, Counts: []int{a}}, {Date: start.AddDays(days), Counts: []int{b}}}, estimate.Dispersion{K: 2}))
	}
	require.InEpsilon(t, want["r_d_per_day"], pair(30, 30*lt.D.Factor, lt.D.Days).PerDay, rel)
	require.InEpsilon(t, want["r_a"], 7*pair(100, 120, 7).PerDay, rel)
	years, _, _, _ := trend.Rate{PerDay: math.Log(1.15)}.Time()
	require.InEpsilon(t, want["doubling_b_years"], years, rel)
}

type row map[string]string

func (r row) int(name string) int {
	n, err := strconv.Atoi(r[name])
	if err != nil {
		panic(name + ": " + err.Error())
	}
	return n
}

func (r row) float(name string) float64 {
	f, err := strconv.ParseFloat(r[name], 64)
	if err != nil {
		panic(name + ": " + err.Error())
	}
	return f
}

func readRows(t *testing.T, name string) (out []row) {
	f := must[*os.File](t)(os.Open(filepath.Join(refDir, name)))
	defer f.Close()
	recs := must[[][]string](t)(csv.NewReader(f).ReadAll())
	for _, r := range recs[1:] {
		m := row{}
		for i, h := range recs[0] {
			m[h] = r[i]
		}
		out = append(out, m)
	}
	return out
}

type quantity struct {
	Value  any
	TolRel float64 `json:"tol_rel"`
	TolAbs float64 `json:"tol_abs"`
}

type goldenCase struct {
	Case, Select string
	Quantities   map[string]quantity
}

func (g goldenCase) f(name string) float64 { return g.Quantities[name].Value.(float64) }

func (g goldenCase) check(t *testing.T, name string, got float64) {
	t.Helper()
	q, ok := g.Quantities[name]
	require.True(t, ok, name)
	w := q.Value.(float64)
	if !(math.Abs(got-w) <= q.TolAbs+q.TolRel*math.Abs(w)) {
		t.Errorf("%s: got %.12g, want %.12g (rel %g, abs %g)", name, got, w, q.TolRel, q.TolAbs)
	}
}

// golden gives the cases of one dataset, computed with R 4.2.2 (MASS, spdep).
func golden(t *testing.T, file string) []goldenCase {
	raw := must[[]byte](t)(os.ReadFile(filepath.Join(refDir, "golden.json")))
	var all struct{ Datasets map[string][]goldenCase }
	require.NoError(t, json.Unmarshal(raw, &all))
	require.NotEmpty(t, all.Datasets[file], file)
	return all.Datasets[file]
}

// Every trend of golden.json, from MASS::glm.nb: once with its k given, and
// once with k fitted where there are counts enough.
func TestGrowth_Golden(t *testing.T) {
	fitted, given := 0, 0
	for _, file := range []string{"ground_beetles_farm_site.csv", "vineyard_vane_traps_2018.csv", "pitfall_grid_six_dates.csv"} {
		rows := readRows(t, file)
		for _, c := range golden(t, file) {
			if !strings.Contains(c.Case, "trend") {
				continue
			}
			t.Run(c.Case, func(t *testing.T) {
				var visits []trend.Visit
				at := map[civil.Date]int{}
				words := strings.Fields(c.Case)
				for _, r := range rows {
					switch file {
					case "ground_beetles_farm_site.csv":
						if r["year"] == words[2] {
							visits = append(visits, trend.Visit{Date: civil.MustParse(r["date"]), Counts: []int{r.int(words[0])},
								Scale: 1 / r.float("trap_days_with_catch")})
						}
						continue
					case "vineyard_vane_traps_2018.csv":
						if r["transect"] != words[2] {
							continue
						}
					}
					d := civil.MustParse(r["date"])
					if _, ok := at[d]; !ok {
						at[d] = len(visits)
						visits = append(visits, trend.Visit{Date: d})
					}
					v := &visits[at[d]]
					if file == "pitfall_grid_six_dates.csv" {
						v.Counts = append(v.Counts, r.int("arthropods"))
						continue
					}
					if v.Counts == nil { // the sum over all readings of the date
						v.Counts = []int{0}
					}
					v.Counts[0] += r.int(words[1])
					v.Scale = 1 / (1 + readings(v.Scale))
				}
				check := func(r trend.Rate) {
					c.check(t, "slope_per_week", 7*r.PerDay)
					c.check(t, "slope_se", 7*r.SE)
					c.check(t, "slope_wald95_low", 7*(r.PerDay-1.959964*r.SE))
					c.check(t, "slope_wald95_high", 7*(r.PerDay+1.959964*r.SE))
					c.check(t, "intercept", r.LnNow-r.PerDay*float64(r.Last.Sub(r.First)))
					f, _ := r.Factor()
					c.check(t, "growth_factor_per_week", f)
					days, low, high, halving := r.Time()
					require.LessOrEqual(t, low, days)
					require.LessOrEqual(t, days, high)
					if halving {
						days = -days
					}
					c.check(t, "doubling_or_halving_weeks", days/7)
				}
				check(must[trend.Rate](t)(trend.Growth(visits, estimate.Dispersion{K: c.f("k")})))
				given++
				r, err := trend.Growth(visits, estimate.Dispersion{})
				if c.f("points") < 8 {
					require.ErrorIs(t, err, trend.ErrNoClumping)
					return
				}
				require.NoError(t, err)
				check(r)
				c.check(t, "k", r.K)
				fitted++
			})
		}
	}
	t.Logf("%d trends with k given, %d with k fitted", given, fitted)
	require.Equal(t, 16, given)
	require.GreaterOrEqual(t, fitted, 6)
}

func readings(scale float64) float64 {
	if scale == 0 {
		return 0
	}
	return 1 / scale
}

// The crab spiders of the vineyard's margin against its control transect:
// MASS::glm.nb(crab_spiders ~ transect), whose coefficient is ln(margin/control).
func TestEdge_Golden(t *testing.T) {
	for _, c := range golden(t, "vineyard_vane_traps_2018.csv") {
		if !strings.HasPrefix(c.Case, "margin") {
			continue
		}
		beds := map[string]*trend.BedCount{"margin": {}, "control": {}}
		for _, r := range readRows(t, "vineyard_vane_traps_2018.csv") {
			b := beds[r["transect"]]
			b.N, b.Total, b.K = b.N+1, b.Total+r.int("crab_spiders"), c.f("k")
		}
		r := must[trend.Ratio](t)(trend.EdgeAgainstMiddle([]trend.BedCount{*beds["margin"]}, []trend.BedCount{*beds["control"]}))
		c.check(t, "log_ratio", math.Log(r.Ratio))
		c.check(t, "se", r.SELn)
		return
	}
	require.Fail(t, "no case for the margin")
}

// Every Moran's I and Geary's C of golden.json, from spdep::moran.test and
// geary.test.
func TestMoran_Golden(t *testing.T) {
	n := 0
	for _, file := range []string{"wireworms_latin_square.csv", "pitfall_grid_six_dates.csv", "hessianfly_grid.csv", "codling_moth_trunk_bands.csv"} {
		rows := readRows(t, file)
		for _, c := range golden(t, file) {
			f := strings.Fields(c.Case)
			if f[0] != "Moran" {
				continue
			}
			t.Run(file+"/"+c.Case, func(t *testing.T) {
				var v []float64
				var cells [][2]int
				var xy [][2]float64
				for _, r := range rows {
					switch file {
					case "wireworms_latin_square.csv":
						v, cells = append(v, r.float("wireworms")), append(cells, [2]int{r.int("col"), r.int("row")})
					case "hessianfly_grid.csv":
						v, cells = append(v, r.float("damaged")/r.float("plants")), append(cells, [2]int{r.int("x"), r.int("y")})
					case "codling_moth_trunk_bands.csv":
						v, xy = append(v, r.float("larvae")), append(xy, [2]float64{r.float("x_m"), r.float("y_m")})
					default:
						if r["date"] == f[3] {
							v, cells = append(v, r.float("arthropods")), append(cells, [2]int{r.int("x"), r.int("y")})
						}
					}
				}
				w := map[string]func() trend.Weights{
					"rook":    func() trend.Weights { return trend.Rook(cells) },
					"queen":   func() trend.Weights { return trend.Queen(cells) },
					"inverse": func() trend.Weights { return trend.InverseDistance(xy) },
					"4":       func() trend.Weights { return trend.Nearest(xy, 4) },
				}[f[1]]()
				if f[2] == "W" || f[1] == "4" {
					w = w.RowStandard()
				}
				before := slices.Clone(v)
				p := must[trend.Pattern](t)(trend.Moran(v, w))
				require.Equal(t, before, v)
				c.check(t, "moran_I", p.I)
				c.check(t, "moran_expected", p.Expected)
				c.check(t, "moran_var_randomisation", p.Variance)
				c.check(t, "moran_z_randomisation", p.Z)
				c.check(t, "moran_p_greater", p.P)
				c.check(t, "moran_var_normality", p.NormalVariance)
				c.check(t, "geary_C", p.Geary)
				require.Len(t, c.Quantities, 7, "every one of them checked")
				n++
			})
		}
	}
	require.Equal(t, 20, n)
}
