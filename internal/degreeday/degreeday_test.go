package degreeday_test

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	dd "leafturn/internal/degreeday"
	"leafturn/internal/testkit"
)

const refDir = "../../testdata/reference"

var methodOf = map[string]dd.Method{"single_sine": dd.SingleSine, "double_sine": dd.DoubleSine, "single_triangle": dd.SingleTriangle, "double_triangle": dd.DoubleTriangle,
	"simple_method1": dd.AverageMean, "simple_method2": dd.AverageEnds, "method1": dd.AverageMean, "method2": dd.AverageEnds, "single_sine_printed": dd.SingleSine}

// TestDay_Published reads the tables of methods-cases.json, whose rows name
// their sources: UC Leaflet 21373 table 7, McMaster & Wilhelm 1997 table 1, a
// grid of every geometric case worked out with an R package, and others.
func TestDay_Published(t *testing.T) {
	raw, err := os.ReadFile(filepath.Join(refDir, "methods-cases.json"))
	require.NoError(t, err)
	var file struct {
		Cases []struct {
			ID, Method string
			Input      json.RawMessage
			Expected   map[string]json.RawMessage
			Tolerance  map[string]struct{ Abs, Rel float64 }
		}
	}
	require.NoError(t, json.Unmarshal(raw, &file))
	checked := 0
	for _, c := range file.Cases {
		if c.Method != "degree_days" && c.Method != "degree_days_simple" {
			continue
		}
		var in struct {
			Lower      float64
			Upper      *float64
			Tmin, Tmax []float64
			Next       []float64 `json:"tmin_next"`
		}
		require.NoError(t, json.Unmarshal(c.Input, &in), c.ID)
		for name, data := range c.Expected {
			var want []float64
			require.NoError(t, json.Unmarshal(data, &want), c.ID+" "+name)
			m := dd.Model{Cutoff: dd.Horizontal, Lower: in.Lower, Upper: math.Inf(1)}
			if in.Upper != nil {
				m.Upper = *in.Upper
			}
			if rest, ok := strings.CutSuffix(name, "_no_upper"); ok {
				name, m.Upper = rest, math.Inf(1)
			}
			for _, cut := range dd.Cutoffs {
				if rest, ok := strings.CutSuffix(name, "_"+string(cut)); ok {
					name, m.Cutoff = rest, cut
				}
			}
			var ok bool
			m.Method, ok = methodOf[name]
			require.True(t, ok, "%s %s", c.ID, name)
			tol, ok := c.Tolerance[name]
			if !ok {
				tol = c.Tolerance["default"]
			}
			for i, w := range want {
				day := dd.Day{Min: in.Tmin[i], Max: in.Tmax[i]}
				if in.Next != nil {
					day.NextMin = in.Next[i]
				}
				v, err := m.Day(day)
				require.NoError(t, err)
				require.InDelta(t, w, v, math.Max(tol.Abs+tol.Rel*math.Abs(w), 1e-12), "%s %s %s row %d %+v", c.ID, m.Method, m.Cutoff, i+1, day)
				checked++
			}
		}
	}
	require.Greater(t, checked, 500)
}

func TestDay_Fahrenheit(t *testing.T) { // DD-05: the ratio is 1.8, without an offset
	f, err := dd.Model{Method: dd.SingleSine, Cutoff: dd.Horizontal, Lower: 50, Upper: 86}.Day(dd.Day{Min: 45, Max: 90})
	require.NoError(t, err)
	c, err := dd.Model{Method: dd.SingleSine, Cutoff: dd.Horizontal, Lower: 10, Upper: 30}.Day(dd.Day{Min: (45.0 - 32) / 1.8, Max: (90.0 - 32) / 1.8})
	require.NoError(t, err)
	require.InDelta(t, 17.7047354953, f, 1e-9)
	require.InDelta(t, dd.FromF(f), c, 1e-9)
}

// TestGolden reads the totals, dates and single days that golden.json holds
// for three stations: exact integrals by scipy, one-minute sums, an R package,
// and the degree-days published beside two years of temperatures.
func TestGolden(t *testing.T) {
	datasets := testkit.Golden(t)
	checked := 0
	for name, x := range map[string]struct {
		date, low, high string
		scale           float64
	}{
		"weather_seattle_2012_2013.csv":        {"date", "tmin_c", "tmax_c", 1},
		"weather_seatac_2014_ghcn.csv":         {"DATE", "TMIN", "TMAX", 10},
		"degree_days_lost_hills_2005_2006.csv": {"date", "tmin_f", "tmax_f", 1},
	} {
		days, dates, published := readDays(t, name, x.date, x.low, x.high, x.scale)
		for _, c := range datasets[name] {
			words := strings.Fields(c.Case)
			var models map[string]dd.Model
			switch {
			case strings.HasPrefix(c.Case, "degree-days averages"):
				models = map[string]dd.Model{"simple_average_total": {Method: dd.AverageMean}, "adjusted_average_total": {Method: dd.AverageEnds}}
			case strings.HasPrefix(c.Case, "degree-days "):
				models = map[string]dd.Model{"": {Method: methodOf[words[1]], Cutoff: dd.Cutoff(words[2])}}
			case strings.HasPrefix(c.Case, "published daily"):
				models = map[string]dd.Model{"": {Method: dd.SingleSine, Lower: 55, Upper: 94}}
			default:
				continue
			}
			for only, m := range models {
				if m.Upper == 0 {
					at := strings.Fields(c.Case[strings.Index(c.Case, "lower"):])
					m.Lower = number(t, at[1])
					m.Upper = math.Inf(1)
					if len(at) > 3 && at[2] == "upper" && at[3] != "None" && at[3] != "None;" {
						m.Upper = number(t, at[3])
					}
				}
				if m.Cutoff == "" || m.Cutoff == "none" {
					m.Cutoff = dd.Horizontal
				}
				got := seasonOf(t, m, days, dates)
				worst := 0.0
				for i, p := range published {
					v, err := m.Day(days[i])
					require.NoError(t, err)
					worst = math.Max(worst, math.Abs(v-p))
				}
				for q, want := range c.Quantities {
					if only != "" && q != only {
						continue
					}
					if q == "max_abs_difference_allowed" {
						require.Less(t, worst, want.Value.(float64))
						checked++
						continue
					}
					v, ok := got[q]
					require.True(t, ok, "%s %s: %s", name, c.Case, q)
					if s, text := want.Value.(string); text {
						require.Equal(t, s, v, "%s %s: %s", name, c.Case, q)
					} else {
						w := want.Value.(float64)
						require.InDelta(t, w, v, want.TolAbs+want.TolRel*math.Abs(w), "%s %s: %s", name, c.Case, q)
					}
					checked++
				}
			}
		}
	}
	t.Logf("%d values", checked)
	require.Greater(t, checked, 380)
}

func number(t *testing.T, s string) float64 {
	v, err := strconv.ParseFloat(strings.Trim(s, ",;"), 64)
	require.NoError(t, err)
	return v
}

func readDays(t *testing.T, name, date, low, high string, scale float64) (days []dd.Day, dates []string, published []float64) {
	f, err := os.Open(filepath.Join(refDir, name))
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	col := map[string]int{}
	for i, h := range rows[0] {
		col[h] = i
	}
	for _, r := range rows[1:] {
		d := r[col[date]]
		if len(d) == 8 {
			d = d[:4] + "-" + d[4:6] + "-" + d[6:]
		}
		dates = append(dates, d)
		days = append(days, dd.Day{Min: number(t, r[col[low]]) / scale, Max: number(t, r[col[high]]) / scale})
		if i, ok := col["degree_days_f_published"]; ok {
			published = append(published, number(t, r[i]))
		}
	}
	for i := range days { // the last day of the file uses its own minimum
		days[i].NextMin = days[min(i+1, len(days)-1)].Min
		if i == len(days)-1 {
			days[i].NextMin = days[i].Min
		}
	}
	return days, dates, published
}

// seasonOf sums a model over days: in all, by year, to the end of a month, and
// the dates on which sums are reached.
func seasonOf(t *testing.T, m dd.Model, days []dd.Day, dates []string) map[string]any {
	total, year, sum := 0.0, "", 0.0
	out := map[string]any{}
	for i, d := range days {
		v, err := m.Day(d)
		require.NoError(t, err)
		y := dates[i][:4]
		if y != year {
			year, sum = y, 0
		}
		for _, at := range []float64{100, 500} {
			if sum < at && sum+v >= at {
				out["date_cumulative_"+y+"_reaches_"+strconv.Itoa(int(at))] = dates[i]
				out["date_"+strconv.Itoa(int(at))+"_reached_"+y] = dates[i]
			}
		}
		sum, total = sum+v, total+v
		out["total_"+y], out["published_total_"+y] = sum, sum
		out["cumulative_"+y+"_to_end_of_month_"+dates[i][5:7]] = sum
		out["day_"+dates[i]] = v
	}
	for _, q := range []string{"total", "one_minute_integration_total", "total_second_library", "simple_average_total", "adjusted_average_total", "published_total", "exact_total"} {
		out[q] = total
	}
	return out
}

// byMinute sums the curve itself minute by minute.
func byMinute(m dd.Model, d dd.Day) float64 {
	const n = 1440
	sum := 0.0
	for i := range n {
		x := (float64(i) + 0.5) / n
		low := d.Min
		if x > 0.5 && m.Method.Double() {
			low = math.Min(d.NextMin, d.Max)
		}
		rise := (1 - math.Cos(2*math.Pi*x)) / 2
		if m.Method == dd.SingleTriangle || m.Method == dd.DoubleTriangle {
			rise = 1 - math.Abs(2*x-1)
		}
		t := low + (d.Max-low)*rise
		above, over := math.Max(t-m.Lower, 0), math.Max(t-m.Upper, 0)
		switch {
		case m.Cutoff == dd.Vertical && t > m.Upper:
		case m.Cutoff == dd.Intermediate:
			sum += above - 2*over
		default:
			sum += above - over
		}
	}
	return sum / n
}

// Every method and cutoff against the curve summed minute by minute, to 0.1 %
// and, where the vertical cutoff jumps, a minute's worth at each jump. An
// intermediate day that would count below zero counts zero in each half.
func TestDay_ByTheMinute(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	cases := map[int]int{}
	for range 3000 {
		m := dd.Model{Method: dd.Methods[r.IntN(4)], Cutoff: dd.Cutoffs[r.IntN(3)], Lower: 10, Upper: 20 + 15*r.Float64()}
		d := dd.Day{Min: -8 + 45*r.Float64()}
		d.Max = d.Min + 22*r.Float64()
		d.NextMin = d.Min + 10*(r.Float64()-0.5)
		got, err := m.Day(d)
		require.NoError(t, err)
		want := byMinute(m, d)
		if m.Cutoff == dd.Intermediate && (d.Max > 2*m.Upper-m.Lower-10) {
			continue // see TestDay_IntermediateNeverNegative
		}
		jump := 0.0
		if m.Cutoff == dd.Vertical {
			jump = 4 * (m.Upper - m.Lower) / 1440
		}
		require.InDelta(t, want, got, 0.001*want+1e-4+jump, "%+v %+v", m, d)
		switch {
		case d.Min >= m.Upper:
			cases[1]++
		case d.Max <= m.Lower:
			cases[2]++
		case d.Min >= m.Lower && d.Max <= m.Upper:
			cases[3]++
		case d.Max <= m.Upper:
			cases[4]++
		case d.Min >= m.Lower:
			cases[5]++
		default:
			cases[6]++
		}
	}
	for c := 1; c <= 6; c++ {
		require.Greater(t, cases[c], 10, "geometric case %d", c)
	}
}

func TestDay_IntermediateNeverNegative(t *testing.T) {
	v, err := dd.Model{Method: dd.SingleSine, Cutoff: dd.Intermediate, Lower: 10, Upper: 20}.Day(dd.Day{Min: 35, Max: 45})
	require.NoError(t, err)
	require.Zero(t, v)
}

func TestDay_Properties(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	for range 5000 {
		m := dd.Model{Method: dd.Methods[r.IntN(len(dd.Methods))], Cutoff: dd.Horizontal, Lower: 10, Upper: 30}
		d := dd.Day{Min: -15 + 45*r.Float64()}
		d.Max = d.Min + 20*r.Float64()
		d.NextMin = d.Min
		v, err := m.Day(d)
		require.NoError(t, err)
		require.True(t, v >= 0 && v <= m.Upper-m.Lower+1e-12, "%+v %+v %v", m, d, v)
		warmer := d
		warmer.Min, warmer.Max, warmer.NextMin = d.Min+1, d.Max+1, d.NextMin+1
		w, err := m.Day(warmer)
		require.NoError(t, err)
		require.GreaterOrEqual(t, w, v-1e-12, "a warmer day is never less")
	}
}

func TestHours(t *testing.T) {
	hours, err := dd.Hours(dd.Day{Min: 4, Max: 16, NextMin: 8})
	require.NoError(t, err)
	sum := 0.0
	for _, x := range hours {
		sum += x
		require.True(t, x >= 4 && x <= 16)
	}
	require.InDelta(t, (4+16)/4.0+(8+16)/4.0, sum/24, 1e-9)
	same, err := dd.Hours(dd.Day{Min: 4, Max: 16, NextMin: math.NaN()})
	require.NoError(t, err)
	require.Equal(t, hours[:12], same[:12])
	require.InDelta(t, same[0], same[23], 1e-12)
}

func TestRefusals(t *testing.T) {
	good := dd.Model{Method: dd.SingleSine, Cutoff: dd.Horizontal, Lower: 10, Upper: 30}
	for name, x := range map[string]struct {
		m dd.Model
		d dd.Day
	}{
		"minimum above maximum": {good, dd.Day{Min: 20, Max: 10}},
		"not a number":          {good, dd.Day{Min: math.NaN(), Max: 10}},
		"infinite":              {good, dd.Day{Min: 0, Max: math.Inf(1)}},
		"no next minimum":       {dd.Model{Method: dd.DoubleSine, Cutoff: dd.Horizontal, Lower: 10, Upper: 30}, dd.Day{Min: 0, Max: 10, NextMin: math.NaN()}},
		"upper below lower":     {dd.Model{Method: dd.SingleSine, Cutoff: dd.Horizontal, Lower: 10, Upper: 9}, dd.Day{Min: 0, Max: 20}},
		"no upper":              {dd.Model{Method: dd.SingleSine, Cutoff: dd.Horizontal, Lower: 10, Upper: math.NaN()}, dd.Day{Min: 0, Max: 20}},
		"lower missing":         {dd.Model{Method: dd.SingleSine, Cutoff: dd.Horizontal, Lower: math.NaN(), Upper: 30}, dd.Day{Min: 0, Max: 20}},
		"unknown method":        {dd.Model{Method: "cubic", Cutoff: dd.Horizontal, Lower: 10, Upper: 30}, dd.Day{Min: 0, Max: 20}},
		"unknown cutoff":        {dd.Model{Method: dd.SingleSine, Cutoff: "slanted", Lower: 10, Upper: 30}, dd.Day{Min: 0, Max: 20}},
		"average, vertical":     {dd.Model{Method: dd.AverageMean, Cutoff: dd.Vertical, Lower: 10, Upper: 30}, dd.Day{Min: 0, Max: 20}},
	} {
		_, err := x.m.Day(x.d)
		require.ErrorIs(t, err, dd.ErrDomain, name)
	}
	_, err := dd.Hours(dd.Day{Min: 3, Max: 1})
	require.ErrorIs(t, err, dd.ErrDomain)
}

// FuzzDay: any numbers give an error or degree-days of 0 or more.
func FuzzDay(f *testing.F) {
	f.Add(10.0, 30.0, 8.0, 34.0, 9.0, 0, 0)
	f.Add(-1e300, 1e300, -1e308, 1e308, 0.0, 1, 2)
	f.Add(0.0, math.Inf(1), math.NaN(), 1.0, 1.0, 5, 0)
	f.Fuzz(func(t *testing.T, lower, upper, low, high, next float64, method, cutoff int) {
		m := dd.Model{Method: dd.Methods[uint(method)%uint(len(dd.Methods))], Cutoff: dd.Cutoffs[uint(cutoff)%uint(len(dd.Cutoffs))], Lower: lower, Upper: upper}
		if v, err := m.Day(dd.Day{Min: low, Max: high, NextMin: next}); err == nil && !(v >= 0) {
			t.Fatalf("%+v %v %v %v: %v", m, low, high, next, v)
		}
		if hours, err := dd.Hours(dd.Day{Min: low, Max: high, NextMin: next}); err == nil {
			for _, x := range hours {
				if math.IsNaN(x) {
					t.Fatal(hours)
				}
			}
		}
	})
}
