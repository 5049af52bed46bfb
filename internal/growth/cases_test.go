package growth_test

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/estimate"
	"leafturn/internal/growth"
)

const refDir = "../../testdata/reference"

type tolerance struct{ Abs, Rel float64 }

// kase is one worked check of dynamics-cases.json or methods-cases.json, which
// name the source of each and say whether its numbers were printed or derived.
type kase struct {
	ID        string
	Input     map[string]json.RawMessage
	Expected  map[string]json.RawMessage
	Tolerance map[string]tolerance
}

func readCases(t *testing.T, name string) map[string]kase {
	raw, err := os.ReadFile(filepath.Join(refDir, name))
	require.NoError(t, err)
	var file struct{ Cases []kase }
	require.NoError(t, json.Unmarshal(raw, &file))
	out := map[string]kase{}
	for _, c := range file.Cases {
		out[c.ID] = c
	}
	return out
}

func in[T any](t *testing.T, c kase, name string) (v T) {
	require.NoError(t, json.Unmarshal(c.Input[name], &v), "%s %s", c.ID, name)
	return v
}

// near compares with the expected number or list of that name; null is never.
func near(t *testing.T, c kase, name string, got ...float64) {
	t.Helper()
	var want []*float64
	if err := json.Unmarshal(c.Expected[name], &want); err != nil || want == nil {
		var one *float64
		require.NoError(t, json.Unmarshal(c.Expected[name], &one), "%s %s", c.ID, name)
		want = []*float64{one}
	}
	tol, ok := c.Tolerance[name]
	if !ok {
		tol = c.Tolerance["default"]
	}
	require.Len(t, got, len(want), "%s %s", c.ID, name)
	require.NotEmpty(t, c.Expected[name], "%s %s", c.ID, name)
	for i, w := range want {
		if w == nil {
			require.True(t, math.IsInf(got[i], 1), "%s %s: never, not %v", c.ID, name, got[i])
			continue
		}
		require.InDelta(t, *w, got[i], tol.Abs+tol.Rel*math.Abs(*w), "%s %s", c.ID, name)
	}
}

func all[T any](xs []T, f func(T) float64) (out []float64) {
	for _, x := range xs {
		out = append(out, f(x))
	}
	return out
}

func never(days float64, ok bool) float64 {
	if !ok {
		return math.Inf(1)
	}
	return days
}

func TestDynamicsCases(t *testing.T) {
	cases := readCases(t, "dynamics-cases.json")
	seen := 0
	run := func(id string, f func(*testing.T, kase)) {
		seen++
		t.Run(id, func(t *testing.T) {
			c, ok := cases[id]
			require.True(t, ok)
			f(t, c)
		})
	}
	fit := func(t *testing.T, c kase) {
		f, err := growth.FitRequirement(in[[]float64](t, c, "temp_c"), in[[]float64](t, c, "days_egg_to_adult"))
		require.NoError(t, err)
		near(t, c, "T0_c", f.Base)
		near(t, c, "K_dd", f.DD)
		require.Equal(t, f.Points == 2, math.IsNaN(f.SEDD), "two points say nothing of the error")
	}
	run("DYN-01", func(t *testing.T, c kase) {
		fit(t, c)
		f, _ := growth.FitRequirement(in[[]float64](t, c, "temp_c"), in[[]float64](t, c, "days_egg_to_adult"))
		require.InDelta(t, 0.992, f.R2, 0.0005) // as its note says
	})
	run("DYN-02", fit)
	run("DYN-07", fit)
	run("DYN-13", fit)
	run("DYN-03", func(t *testing.T, c kase) {
		type row struct{ R0, T_days float64 }
		near(t, c, "r_per_day", all(in[[]row](t, c, "cases"), func(x row) float64 {
			r, err := growth.RoughR(x.R0, x.T_days)
			require.NoError(t, err)
			return r
		})...)
	})
	run("DYN-04", func(t *testing.T, c kase) {
		r, err := growth.RoughR(in[float64](t, c, "R0"), in[float64](t, c, "T_days"))
		require.NoError(t, err)
		near(t, c, "r_per_day", r)
		need := growth.Requirement{Base: in[float64](t, c, "T0_c"), DD: in[float64](t, c, "egg_to_adult_dd")}
		flag, days := need.Contradicts(in[float64](t, c, "T_days"), in[float64](t, c, "temp_c"))
		require.True(t, flag)
		near(t, c, "egg_to_adult_days", days)
		flag, _ = need.Contradicts(days+0.1, in[float64](t, c, "temp_c"))
		require.False(t, flag)
	})
	run("DYN-05", func(t *testing.T, c kase) {
		r := in[[]float64](t, c, "r_per_day")
		near(t, c, "lambda", all(r, math.Exp)...)
		near(t, c, "doubling_days", all(r, estimate.DoublingTime)...)
	})
	run("DYN-06", func(t *testing.T, c kase) {
		type params struct {
			T0 float64 `json:"T0_c"`
			K  float64 `json:"K_dd"`
		}
		still, moving := in[params](t, c, "params_constant"), in[params](t, c, "params_fluctuating")
		day, night := in[float64](t, c, "day_c"), in[float64](t, c, "night_c")
		halves := []float64{day, night}
		near(t, c, "days_daily_mean_constant_params", never(growth.Requirement{Base: still.T0, DD: still.K}.Days((day+night)/2)))
		near(t, c, "days_hourly_constant_params", never(growth.Requirement{Base: still.T0, DD: still.K}.DaysAt(halves)))
		near(t, c, "days_hourly_fluctuating_params", never(growth.Requirement{Base: moving.T0, DD: moving.K}.DaysAt(halves)))
	})
	run("DYN-08", func(t *testing.T, c kase) {
		near(t, c, "doubling_days", all(in[[]float64](t, c, "r_per_day"), estimate.DoublingTime)...)
	})
	run("DYN-09", func(t *testing.T, c kase) {
		r, err := growth.RoughR(in[float64](t, c, "R0"), in[float64](t, c, "T_days"))
		require.NoError(t, err)
		near(t, c, "r_approx", r)
		near(t, c, "lambda_from_printed_r", math.Exp(in[float64](t, c, "r_printed")))
		near(t, c, "prey_per_predator_offspring", in[float64](t, c, "C0_prey_eggs")/in[float64](t, c, "R0"))
	})
	run("DYN-10", func(t *testing.T, c kase) {
		require.Equal(t, "rate = 0.012*T - 0.093", in[string](t, c, "equation"))
		r, err := growth.Line(-0.093, 0.012)
		require.NoError(t, err)
		near(t, c, "T0_c", r.Base)
		near(t, c, "K_dd", r.DD)
	})
	run("DYN-11", func(t *testing.T, c kase) {
		near(t, c, "max_per_day", growth.Response{Attack: in[float64](t, c, "attack_rate_per_hour"), Handling: in[float64](t, c, "Th_hours")}.MostPerDay())
	})
	run("DYN-12", func(t *testing.T, c kase) {
		r := growth.Response{Attack: in[float64](t, c, "a_per_hour"), Handling: in[float64](t, c, "Th_hours")}
		hours := in[float64](t, c, "T_hours")
		prey := in[[]float64](t, c, "N0")
		near(t, c, "rogers", all(prey, func(n float64) float64 { e, err := r.Depleting(n, hours); require.NoError(t, err); return e })...)
		near(t, c, "disc", all(prey, func(n float64) float64 { e, err := r.Disc(n, hours); require.NoError(t, err); return e })...)
	})
	run("DYN-14", func(t *testing.T, c kase) {
		type stage struct {
			T0 float64 `json:"T0_c"`
			K  float64 `json:"K_dd"`
		}
		at, sum := in[float64](t, c, "temp_c"), 0.0
		for _, s := range in[[]stage](t, c, "stages") {
			sum += never(growth.Requirement{Base: s.T0, DD: s.K}.Days(at))
		}
		near(t, c, "sum_days", sum)
		whole := in[stage](t, c, "whole")
		near(t, c, "whole_days", never(growth.Requirement{Base: whole.T0, DD: whole.K}.Days(at)))
	})
	run("DYN-15", func(t *testing.T, c kase) {
		var want map[string]float64
		require.NoError(t, json.Unmarshal(c.Expected["vpd50_hpa"], &want))
		for who, rh := range in[map[string]float64](t, c, "rh50_pct") {
			v, err := growth.VapourDeficit(in[float64](t, c, "temp_c"), rh)
			require.NoError(t, err)
			require.InEpsilon(t, want[who], v, c.Tolerance["vpd50_hpa"].Rel, who)
		}
	})
	run("DYN-16", func(t *testing.T, c kase) {
		p := growth.Patch{Predators: in[float64](t, c, "P0"), Alpha: in[float64](t, c, "alpha"), Beta: in[float64](t, c, "beta"), Gamma: in[float64](t, c, "gamma")}
		near(t, c, "tau_days", all(in[[]float64](t, c, "N0"), func(n float64) float64 {
			q := p
			q.Prey = n
			course, err := q.Course()
			require.NoError(t, err)
			return course.Gone
		})...)
		p.Prey = 20
		n, _ := p.At(8)
		near(t, c, "N_at_day_8_for_N0_20", n)
	})
	run("DYN-17", func(t *testing.T, c kase) {
		p := growth.Patch{Predators: 1, Alpha: in[float64](t, c, "alpha"), Beta: in[float64](t, c, "beta"), Gamma: in[float64](t, c, "gamma")}
		most := 0.0
		for i, x := range []struct {
			prey float64
			want growth.Outcome
		}{{4, growth.FallsAtOnce}, {20, growth.RisesThenFalls}, {60, growth.NeverControlled}} {
			p.Prey = x.prey
			course, err := p.Course()
			require.NoError(t, err)
			require.Equal(t, x.want, course.Outcome)
			require.True(t, i == 0 || course.Most > most, "1:4 < 1:20 < 1:60")
			most = course.Most
		}
		// The two ratios themselves, from either side.
		for at, want := range map[float64][2]growth.Outcome{10: {growth.FallsAtOnce, growth.RisesThenFalls}, 60: {growth.RisesThenFalls, growth.NeverControlled}} {
			for i, prey := range []float64{at * (1 - 1e-9), at * (1 + 1e-9)} {
				p.Prey = prey
				course, err := p.Course()
				require.NoError(t, err)
				require.Equal(t, want[i], course.Outcome, "%v", prey)
			}
		}
	})
	run("DYN-18", func(t *testing.T, c kase) {
		ft := 0.3048 * 0.3048
		near(t, c, "values", 2300*ft, 400*1e4, 22*ft)
	})
	run("DYN-19", func(t *testing.T, c kase) {
		var want map[string]bool
		require.NoError(t, json.Unmarshal(c.Expected["diapause"], &want))
		for who, critical := range in[map[string]float64](t, c, "critical_h") {
			require.Equal(t, want[who], growth.Diapause(in[float64](t, c, "daylength_h"), critical) == growth.Yes, who)
		}
	})
	run("DYN-20", func(t *testing.T, c kase) {
		type night struct {
			T       float64 `json:"t_c"`
			Wind    float64 `json:"wind_ms"`
			Surface string
			Rain    string
			Freeze  float64 `json:"days_since_freeze"`
		}
		var want []growth.SlugNight
		require.NoError(t, json.Unmarshal(c.Expected["activity"], &want))
		for i, n := range in[[]night](t, c, "nights") {
			wet, driving := n.Surface == "wet", n.Rain == "driving"
			require.Equal(t, want[i], slugLimits.Gate(growth.Night{TempC: n.T, WindMS: n.Wind, Wet: &wet, DrivingRain: &driving, SinceFreeze: n.Freeze}), "night %d", i+1)
		}
	})
	run("DYN-21", func(t *testing.T, c kase) {
		line := growth.LineCurve(0.0142, 9.06, 30, 35)
		sum := 0.0
		temps := in[[]float64](t, c, "daily_mean_c")
		for _, x := range temps {
			r, err := line.At(x)
			require.NoError(t, err)
			sum += r
		}
		near(t, c, "sum_r", sum)
		near(t, c, "N14", in[float64](t, c, "N0_mites_per_leaf")*math.Exp(sum))
		near(t, c, "doubling_days_mean", estimate.DoublingTime(sum/float64(len(temps))))
	})
	run("DYN-22", func(t *testing.T, c kase) {
		need := growth.Requirement{Base: in[float64](t, c, "T0_c"), DD: in[float64](t, c, "K_dd")}
		days := all(in[[]float64](t, c, "temp_c"), func(x float64) float64 { return never(need.Days(x)) })
		near(t, c, "predicted_days", days...)
		seen := in[[]float64](t, c, "observed_days")
		near(t, c, "ratio_observed_to_predicted", seen[0]/days[0], seen[1]/days[1])
	})
	run("DYN-23", func(t *testing.T, c kase) {
		near(t, c, "threshold_c", (in[float64](t, c, "threshold_f")-32)/1.8)
		near(t, c, "dd_c", in[float64](t, c, "dd_f")/1.8)
	})
	require.Equal(t, len(cases), seen, "every worked check is run")
}

// The limits of the gate as published, in °C and m/s.
var slugLimits = growth.SlugLimits{LikedLow: 4.4, LikedHigh: 21.1, ActiveLow: 1.1, ActiveHigh: 29.4, WindMS: 2.2, FreezeDays: 5}

func TestLifeTable_Birch1948(t *testing.T) { // LT-01
	c := readCases(t, "methods-cases.json")["LT-01"]
	x, err := growth.LifeTable{Age: in[[]float64](t, c, "x_weeks"), Alive: in[[]float64](t, c, "lx"), Daughters: in[[]float64](t, c, "mx")}.Increase()
	require.NoError(t, err)
	near(t, c, "R0", x.R0)
	near(t, c, "r", x.R)
	near(t, c, "r_printed", x.R)
	near(t, c, "lambda", x.Lambda)
	near(t, c, "T", x.T)
	near(t, c, "cohort_T", x.CohortT)
	near(t, c, "doubling_weeks", x.Doubling)
	rough, err := growth.RoughR(x.R0, x.CohortT)
	require.NoError(t, err)
	near(t, c, "r_approx_lnR0_over_cohort_T", rough)
	require.Less(t, rough, 0.8*x.R, "the short formula is not r")
}

func TestGrowthArithmetic(t *testing.T) { // LT-02
	c := readCases(t, "methods-cases.json")["LT-02"]
	near(t, c, "r_a", math.Log(1.2))
	near(t, c, "doubling_b_years", estimate.DoublingTime(math.Log(1.15)))
	near(t, c, "N_c", 24*math.Exp(0.14/7*65))
	r := math.Log(5) / 28
	near(t, c, "r_d_per_day", r)
	near(t, c, "lambda_d_per_day", math.Exp(r))
}
