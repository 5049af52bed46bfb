package forecast_test

import (
	"encoding/csv"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"leafturn/internal/belief"
	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/forecast"
	"leafturn/internal/trend"
)

// reading is one date of a series: animals on so many units, each worth so much
// effort.
type reading struct {
	date   civil.Date
	total  int
	units  int
	effort float64 // in all: trap-days, traps, drags
}

func (r reading) ln() float64 { return math.Log((float64(r.total) + 0.5) / r.effort) }

// series is one season of readings at one place.
type series struct {
	group string
	at    []reading
}

func rows(t testing.TB, file string) (out []map[string]string) {
	f, err := os.Open("../../testdata/reference/" + file)
	require.NoError(t, err)
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	for _, line := range all[1:] {
		m := map[string]string{}
		for i, v := range line {
			m[all[0][i]] = v
		}
		out = append(out, m)
	}
	return out
}

func num(t testing.TB, s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err, "%q", s)
	return v
}

// gather adds rows up to one reading a date, and to one series a key.
func gather(t testing.TB, group, file, count, date string, key func(map[string]string) string, effort func(map[string]string) (units int, effort float64)) (out []series) {
	var keys []string
	by := map[string]map[civil.Date]reading{}
	for _, r := range rows(t, file) {
		if r[count] == "NA" || r[count] == "" {
			continue
		}
		k := key(r)
		if by[k] == nil {
			by[k] = map[civil.Date]reading{}
			keys = append(keys, k)
		}
		d := civil.MustParse(r[date])
		x := by[k][d]
		n, e := effort(r)
		x.date, x.total, x.units, x.effort = d, x.total+int(num(t, r[count])), x.units+n, x.effort+e
		by[k][d] = x
	}
	slices.Sort(keys)
	for _, k := range keys {
		s := series{group: group}
		for _, x := range by[k] {
			s.at = append(s.at, x)
		}
		slices.SortFunc(s.at, func(a, b reading) int { return a.date.Compare(b.date) })
		out = append(out, s)
	}
	return out
}

func one(map[string]string) (int, float64) { return 1, 1 }

func allSeries(t testing.TB) (out []series) {
	for _, sp := range []string{"carabids", "cratacanthus_dubius"} {
		out = append(out, gather(t, "ground beetles: "+sp, "ground_beetles_farm_site.csv", sp, "date", func(r map[string]string) string { return r["year"] },
			func(r map[string]string) (int, float64) {
				return int(num(t, r["traps_with_catch"])), num(t, r["trap_days_with_catch"])
			})...)
	}
	out = append(out, gather(t, "pitfall grid, by column", "pitfall_grid_six_dates.csv", "arthropods", "date", func(r map[string]string) string { return r["x"] }, one)...)
	for _, sp := range []string{"crab_spiders", "leafminer_flies", "other_spiders", "lady_beetles"} {
		out = append(out, gather(t, "vineyard vane traps: "+sp, "vineyard_vane_traps_2018.csv", sp, "date", func(r map[string]string) string { return r["transect"] }, one)...)
	}
	out = append(out, gather(t, "moth traps, by lure", "moth_traps_site_1.csv", "moths", "read", func(r map[string]string) string { return r["lure"] },
		func(r map[string]string) (int, float64) {
			return 1, float64(civil.MustParse(r["read"]).Sub(civil.MustParse(r["set"])))
		})...)
	out = append(out, gather(t, "tick drags, by plot and year", "tick_drags_site.csv", "nymphs", "date", func(r map[string]string) string { return r["plot"] + r["date"][:4] },
		func(r map[string]string) (int, float64) { return 1, num(t, r["area_m2"]) / 160 })...)
	return out
}

// scored is one forecast and what came, on ln((animals + 0.5)/effort).
type scored struct {
	days               int
	ours, same, last   float64 // error of the median, of no change, of the last growth (NaN for the first)
	crps               float64
	in50, in90, in90as bool // in90as: without widening by past errors
}

// The unseen: what the scores of real catches assume. Catches go up and down
// with the weather by catchSD of their ln beside what sampling explains, traps
// clump with k 1, and a rate is 0 with a standard deviation of 0.07 before the
// counts say otherwise (belief.UnknownGrowth). Common practice; chosen once,
// for all series alike.
const (
	catchSD = 0.5
	trapK   = 1
)

// follow forecasts each reading of a series from those before it, up to 14 days;
// later ones are met with the forecast of day 14 and are marked by their days.
func follow(t testing.TB, s series, past *[]forecast.Past, seed uint64) (out []scored) {
	rng := seeded(99, seed)
	rest := belief.UnknownGrowth()
	b := belief.Weak()
	var visits []trend.Visit
	for i, r := range s.at {
		n := max(r.units, 1)
		clump := belief.Clump{K: 1 / (1.0/trapK + catchSD*catchSD*float64(n))}
		x := evenly(r.total, n)
		scale := float64(n) / r.effort
		b = must(belief.Update(b, belief.Evidence{Counts: x, Scale: scale}, clump))
		visits = append(visits, trend.Visit{Date: r.date, Counts: x, Scale: scale})
		if i == len(s.at)-1 {
			break
		}
		rate := forecast.Rate{SD: rest.RateSD}
		if g, err := trend.Growth(trend.Recent(visits, 6, 6), estimate.Dispersion{K: clump.K}); err == nil {
			rate = forecast.Holds(g.PerDay, g.SD)
		}
		next := s.at[i+1]
		gap := next.date.Sub(r.date)
		days := min(gap, forecast.MostDays)
		f := made(t, forecast.Setup{Days: days, Paths: 1000, Seed: seed + uint64(i)})
		g := forecast.Growth{Own: &rate, Noise: rest.Noise}
		w := run(t, f, forecast.Bed{Start: b.Read(), Growth: g, Keep: true})[0]
		y := make([]float64, 0, 1000)
		m := max(next.units, 1)
		k := 1 / (1.0/trapK/float64(m) + catchSD*catchSD)
		for _, ln := range w.Ln[days] {
			mean := math.Exp(ln) * next.effort * distuv.Gamma{Alpha: k, Beta: k, Src: rng}.Rand()
			y = append(y, math.Log((distuv.Poisson{Lambda: mean, Src: rng}.Rand()+0.5)/next.effort))
		}
		out = append(out, judge(t, y, next.ln(), s.at[:i+1], gap, past))
		prior, err := f.NextPrior(g, days, nil, rest)
		require.NoError(t, err)
		b = must(belief.Carry(b, gap, prior))
	}
	return out
}

func judge(t testing.TB, y []float64, came float64, before []reading, days int, past *[]forecast.Past) scored {
	slices.Sort(y)
	n := len(y)
	// The half band's and the 90 % band's quantiles, widened by what the past
	// forecasts of the group were off.
	wide, err := forecast.Widen(*past)
	require.NoError(t, err)
	out := scored{days: days, ours: y[n/2] - came, same: before[len(before)-1].ln() - came, last: math.NaN()}
	if i := len(before) - 1; i > 0 {
		out.last = 2*before[i].ln() - before[i-1].ln() - came
	}
	out.in90as = y[n/20] <= came && came <= y[n-1-n/20]
	middle := y[n/2]
	sd := (y[n*84/100] - y[n*16/100]) / 2
	*past = append(*past, forecast.Past{Middle: middle, SD: math.Max(sd, 0.05), Came: came})
	for i := range y {
		y[i] = middle + wide*(y[i]-middle)
	}
	out.in50 = y[n/4] <= came && came <= y[n-1-n/4]
	out.in90 = y[n/20] <= came && came <= y[n-1-n/20]
	out.crps = forecast.CRPS(y, came)
	return out
}

// evenly shares a total out: with a fixed k only the total counts.
func evenly(total, n int) []int {
	x := make([]int, n)
	for i := range x {
		x[i] = total / n
		if i < total%n {
			x[i]++
		}
	}
	return x
}

// summary is the scores of some forecasts.
type summary struct {
	n, nLast                 int
	ours, same               float64 // RMSE over all
	oursLast, sameLast, last float64 // RMSE where there is a last growth
	crps, mae                float64
	in50, in90, in90as       float64
}

func summed(all []scored) (s summary) {
	sq := func(v float64) float64 { return v * v }
	for _, x := range all {
		s.n++
		s.ours += sq(x.ours)
		s.same += sq(x.same)
		s.crps += x.crps
		s.mae += math.Abs(x.same)
		for p, in := range map[*float64]bool{&s.in50: x.in50, &s.in90: x.in90, &s.in90as: x.in90as} {
			if in {
				*p++
			}
		}
		if !math.IsNaN(x.last) {
			s.nLast++
			s.last, s.oursLast, s.sameLast = s.last+sq(x.last), s.oursLast+sq(x.ours), s.sameLast+sq(x.same)
		}
	}
	n := float64(s.n)
	for _, p := range []*float64{&s.crps, &s.mae, &s.in50, &s.in90, &s.in90as} {
		*p /= n
	}
	s.ours, s.same = math.Sqrt(s.ours/n), math.Sqrt(s.same/n)
	for _, p := range []*float64{&s.last, &s.oursLast, &s.sameLast} {
		*p = math.Sqrt(*p / float64(s.nLast))
	}
	return s
}

type groupScore struct {
	name    string
	series  int
	within  []scored // at most 14 days ahead
	further []scored
}

func realScores(t testing.TB) (out []groupScore) {
	pasts := map[string]*[]forecast.Past{}
	for i, s := range allSeries(t) {
		if len(out) == 0 || out[len(out)-1].name != s.group {
			out = append(out, groupScore{name: s.group})
			pasts[s.group] = new([]forecast.Past)
		}
		g := &out[len(out)-1]
		g.series++
		for _, x := range follow(t, s, pasts[s.group], uint64(1000*i)) {
			if x.days <= forecast.MostDays {
				g.within = append(g.within, x)
			} else {
				g.further = append(g.further, x)
			}
		}
	}
	return out
}
