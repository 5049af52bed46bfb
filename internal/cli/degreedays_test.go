package cli_test

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/testkit"
)

// degreeDays is the payload of `degree-days`.
type degreeDays struct {
	Total   *float64 `json:"total"`
	Missing *string  `json:"missing_from"`
	Filled  int      `json:"filled_days"`
	Usual   int      `json:"usual_days"`
	Days    []struct {
		Date string  `json:"date"`
		Kind string  `json:"kind"`
		DD   float64 `json:"degree_days"`
		Sum  float64 `json:"sum"`
	} `json:"days"`
	Reached []struct {
		Sum  float64 `json:"sum"`
		Date *string `json:"date"`
		Kind string  `json:"kind"`
	} `json:"reached"`
}

// A station's file is read in as a grower would, and every sum, date and day
// of golden.json (exact integrals by scipy, an R package, and sums published
// beside the temperatures) is asked of the program.
func TestDegreeDays_Golden(t *testing.T) {
	datasets := testkit.Golden(t)
	checked := 0
	for _, x := range []struct {
		name, units, unit, start, end string
		per                           float64 // of the file's degree-days in one C
	}{
		{"weather_seattle_2012_2013.csv", "metric", "C", "2012-01-01", "2013-12-31", 1},
		{"weather_seatac_2014_ghcn.csv", "metric", "C", "2014-01-01", "2014-12-31", 1},
		{"degree_days_lost_hills_2005_2006.csv", "us", "F", "2005-01-01", "2006-12-31", 1.8},
	} {
		f := newField(t, "2015-01-01T18:00:00Z")
		f.run("farm", "new", "--name", "Station", "--zone", "UTC", "--units", x.units)
		text, err := os.ReadFile(filepath.Join(reference, x.name))
		require.NoError(t, err)
		if x.unit == "F" { // the fourth column is what was published beside the temperatures
			var lines []string
			for l := range strings.SplitSeq(strings.TrimSpace(string(text)), "\n") {
				lines = append(lines, strings.Join(strings.Split(strings.TrimSpace(l), ",")[:3], ","))
			}
			text = []byte(strings.Join(lines, "\n"))
		}
		words := []string{"weather", "--file", f.file(x.name, string(text))}
		f.run(words...)
		for _, c := range datasets[x.name] {
			w := strings.Fields(strings.ReplaceAll(c.Case, ";", ""))
			at := strings.Index(c.Case, "lower ")
			args := []string{"degree-days", "--start", x.start, "--to", x.end, "--reach", "100,500"}
			switch {
			case strings.HasPrefix(c.Case, "degree-days averages"):
			case strings.HasPrefix(c.Case, "degree-days "):
				args = append(args, "--method", w[1])
				if w[2] != "none" {
					args = append(args, "--cutoff", w[2])
				}
			case strings.HasPrefix(c.Case, "published daily"):
			default:
				continue
			}
			if at < 0 {
				args = append(args, "--base", "55F", "--upper", "94F")
			} else {
				limits := strings.Fields(c.Case[at:])
				args = append(args, "--base", limits[1]+x.unit)
				if len(limits) > 3 && limits[2] == "upper" && !strings.HasPrefix(limits[3], "None") {
					args = append(args, "--upper", strings.Trim(limits[3], ",;")+x.unit)
				}
			}
			methods := map[string]string{"": ""}
			if strings.HasPrefix(c.Case, "degree-days averages") {
				methods = map[string]string{"simple_average_total": "average", "adjusted_average_total": "average-of-clipped-ends"}
			}
			for only, method := range methods {
				ask := args
				if method != "" {
					ask = append(append([]string{}, args...), "--method", method)
				}
				var d degreeDays
				f.data(&d, ask...)
				got := map[string]any{}
				for _, q := range []string{"total", "one_minute_integration_total", "total_second_library", "simple_average_total", "adjusted_average_total", "published_total", "exact_total"} {
					got[q] = *d.Total * x.per
				}
				before, year, last := 0.0, "", 0.0
				for _, day := range d.Days {
					if y := day.Date[:4]; y != year {
						year, before = y, last
					}
					last = day.Sum
					sum := (day.Sum - before) * x.per
					got["total_"+year], got["published_total_"+year] = sum, sum
					got["cumulative_"+year+"_to_end_of_month_"+day.Date[5:7]] = sum
					got["day_"+day.Date] = day.DD * x.per
				}
				for y := range map[string]bool{x.start[:4]: true, x.end[:4]: true} {
					var one degreeDays
					from := append([]string{"degree-days", "--start", y + "-01-01", "--to", y + "-12-31"}, ask[5:]...)
					f.data(&one, from...)
					for _, r := range one.Reached {
						if r.Date != nil {
							n := strconv.Itoa(int(r.Sum*x.per + 0.5))
							got["date_cumulative_"+y+"_reaches_"+n], got["date_"+n+"_reached_"+y] = *r.Date, *r.Date
							require.Equal(t, "measured", r.Kind)
						}
					}
				}
				for q, want := range c.Quantities {
					if only != "" && q != only || q == "max_abs_difference_allowed" {
						continue
					}
					v, ok := got[q]
					require.True(t, ok, "%s %s: %s", x.name, c.Case, q)
					if s, text := want.Value.(string); text {
						require.Equal(t, s, v, "%s %s: %s", x.name, c.Case, q)
					} else {
						number := want.Value.(float64)
						require.InDelta(t, number, v, want.TolAbs+want.TolRel*number, "%s %s: %s", x.name, c.Case, q)
					}
					checked++
				}
			}
		}
	}
	t.Logf("%d values", checked)
	require.Greater(t, checked, 380)
}

// ahead is the payload of `ahead`.
type ahead struct {
	Clocks []struct {
		Of     string  `json:"of"`
		Start  *string `json:"start"`
		Stages []struct {
			Generation int     `json:"generation"`
			Earliest   *string `json:"earliest"`
			Expected   *string `json:"expected"`
			Latest     *string `json:"latest"`
			Kind       string  `json:"kind"`
		} `json:"stages"`
	} `json:"clocks"`
	Usual struct {
		Years   int `json:"years"`
		Members int `json:"past_years_in_range"`
	} `json:"usual_weather"`
}

// What two years of a station say of the third, and what the third was: the
// date on which thrips of seven starts in 2014 are grown lies in the range that
// was told beforehand, and within a week of the expected one.
func TestAhead_AgainstTheYearThatCame(t *testing.T) {
	starts := []string{"2014-03-15", "2014-04-15", "2014-05-01", "2014-05-15", "2014-06-01", "2014-06-15", "2014-07-01"}
	load := func(now string, files ...string) *field {
		f := newField(t, now+"T18:00:00Z")
		f.run("farm", "new", "--name", "Station", "--zone", "UTC")
		for _, name := range files {
			text, err := os.ReadFile(filepath.Join(reference, name))
			require.NoError(t, err)
			f.run("weather", "--file", f.file(name, string(text)))
		}
		return f
	}
	after := load("2015-01-01", "weather_seattle_2012_2013.csv", "weather_seatac_2014_ghcn.csv")
	worst := 0
	for _, start := range starts {
		var told, came ahead
		load(start, "weather_seattle_2012_2013.csv").data(&told, "ahead", "thrips", "--start", start)
		after.data(&came, "ahead", "thrips", "--start", start, "--date", "2014-12-31")
		a, b := told.Clocks[0].Stages[0], came.Clocks[0].Stages[0]
		require.Equal(t, "normal", a.Kind)
		require.Equal(t, "measured", b.Kind)
		require.LessOrEqual(t, *a.Earliest, *b.Expected, start)
		require.GreaterOrEqual(t, *a.Latest, *b.Expected, start)
		x, err := time.Parse(time.DateOnly, *a.Expected)
		require.NoError(t, err)
		y, err := time.Parse(time.DateOnly, *b.Expected)
		require.NoError(t, err)
		off := int(x.Sub(y).Hours() / 24)
		t.Logf("start %s: told %s (%s to %s), came %s: %+d days", start, *a.Expected, *a.Earliest, *a.Latest, *b.Expected, off)
		worst = max(worst, off, -off)
	}
	require.LessOrEqual(t, worst, 7)

	// Three years of one's own are in the range; two are not.
	var d ahead
	after.data(&d, "ahead", "thrips", "--start", "2015-01-01")
	require.Equal(t, 3, d.Usual.Years)
	require.Equal(t, 3, d.Usual.Members)
	load("2014-01-01", "weather_seattle_2012_2013.csv").data(&d, "ahead", "thrips", "--start", "2014-01-01")
	require.Zero(t, d.Usual.Members)
}

// Three own years that end in September say nothing of October: monthly
// normals serve there.
func TestDegreeDays_NormalsWhereYearsHaveNone(t *testing.T) {
	f := newField(t, "2026-09-10T18:00:00Z")
	f.run("farm", "new", "--name", "Short years (invented)", "--zone", "UTC")
	days := "date,min_c,max_c\n"
	for _, year := range []string{"2023", "2024", "2025", "2026"} {
		for d, _ := time.Parse(time.DateOnly, year+"-05-01"); d.Format(time.DateOnly) < year+"-09-21" && d.Format(time.DateOnly) <= "2026-09-09"; d = d.AddDate(0, 0, 1) {
			days += d.Format(time.DateOnly) + ",14,14\n"
		}
	}
	f.run("weather", "--file", f.file("days.csv", days))
	months := "month,min_c,max_c\n"
	for m := range 12 {
		months += strconv.Itoa(m+1) + ",12,12\n"
	}
	var d degreeDays
	ask := []string{"degree-days", "--base", "10C", "--start", "2026-09-01", "--to", "2026-10-31"}
	f.data(&d, ask...)
	require.Nil(t, d.Total, "nothing is known of October")
	f.run("weather", "--normals", f.file("months.csv", months))
	f.data(&d, ask...)
	require.NotNil(t, d.Total)
	require.InDelta(t, 4, d.Days[12].DD, 1e-9, "13 September: own years")
	require.InDelta(t, 2, d.Days[50].DD, 1e-9, "21 October: monthly normals")
	require.Contains(t, f.run(ask...), "Where they have none")
}
