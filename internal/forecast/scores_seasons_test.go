package forecast_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/belief"
	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/forecast"
	"leafturn/internal/trend"
)

// A simulated season: ln density on 1 June ~ Normal(ln 0.3, 1); a visit a week
// to 20 leaves, 10 visits; counts negative binomial by Taylor's law (3.3, 1.49);
// the weather is Seattle's of 2012 or 2013. ln density grows by the mites' line
// times the world's factor, with noise of 0.02 a day. In half of the seasons a
// step on the day of the fifth visit leaves a share with ln ~ Normal(-1.2, 0.4),
// and the forecaster knows that.
const (
	leaves   = 20
	visitsIn = 10
)

// world is how the factor of the table's rate is drawn.
type world struct {
	name, words string
	factor      func(*rand.Rand) float64
}

var worlds = []world{
	{"as assumed", "log-normal, 5 % below 0.5 and 5 % above 1.25", func(r *rand.Rand) float64 {
		return math.Exp(math.Log(0.625)/2 + r.NormFloat64()*math.Log(2.5)/2/1.644854)
	}},
	{"slow host", "0.3 always: growth far under the band", func(*rand.Rand) float64 { return 0.3 }},
	{"enemies", "-0.3 always: the pest falls", func(*rand.Rand) float64 { return -0.3 }},
}

// variant is where the growth of a forecast comes from.
type variant struct {
	name, words string
	growth      func(own *forecast.Rate, base float64, tab *forecast.Table) forecast.Growth
}

var variants = []variant{
	{"table", "the table alone, times 0.5 to 1.25", func(_ *forecast.Rate, _ float64, tab *forecast.Table) forecast.Growth {
		return forecast.Growth{Table: tab, Noise: 0.02}
	}},
	{"counts", "the rate of the counts in place of the table, as soon as there is one", func(own *forecast.Rate, _ float64, tab *forecast.Table) forecast.Growth {
		if own == nil {
			return forecast.Growth{Table: tab, Noise: 0.02}
		}
		return forecast.Growth{Own: own, Noise: 0.02}
	}},
	{"field", "`Field`, as soon as there is a rate of the counts: what the tool is to use", func(own *forecast.Rate, base float64, tab *forecast.Table) forecast.Growth {
		if own == nil {
			return forecast.Growth{Table: tab, Noise: 0.02}
		}
		r := forecast.Field(forecast.Rate{Rate: own.Rate, SD: own.SD, Base: math.Max(base, 0.02)})
		return forecast.Growth{Table: tab, Own: &r, Noise: 0.02}
	}},
}

// years is the weather of Seattle, and what is usual there: the mean of 15 days
// on each side in both years, with the spread about it.
func years(t testing.TB) (days map[civil.Date][2]float64, usual func(civil.Date) forecast.Weather) {
	days = map[civil.Date][2]float64{}
	for _, r := range rows(t, "weather_seattle_2012_2013.csv") {
		days[civil.MustParse(r["date"])] = [2]float64{num(t, r["tmin_c"]), num(t, r["tmax_c"])}
	}
	kept := map[string]forecast.Weather{}
	usual = func(d civil.Date) forecast.Weather {
		key := d.String()[5:]
		if w, ok := kept[key]; ok {
			return w
		}
		var w forecast.Weather
		var means []float64
		for _, y := range []string{"2012-", "2013-"} {
			for off := -15; off <= 15; off++ {
				x := days[civil.MustParse(y+key).AddDays(off)]
				w.Min, w.Max = w.Min+x[0]/62, w.Max+x[1]/62
				means = append(means, (x[0]+x[1])/2)
			}
		}
		for _, m := range means {
			w.SD += (m - (w.Min+w.Max)/2) * (m - (w.Min+w.Max)/2) / 61
		}
		w.SD = math.Sqrt(w.SD)
		kept[key] = w
		return w
	}
	return days, usual
}

// season scores the forecasts of one simulated season, 7 and 14 days ahead, on
// ln of the true density. out is by variant and horizon.
func season(t testing.TB, w world, seed uint64, weather map[civil.Date][2]float64, usual func(civil.Date) forecast.Weather, out map[string][2][]scored) {
	rng := seeded(7, seed)
	start := civil.MustParse([]string{"2012-06-01", "2013-06-01"}[seed%2])
	factor := w.factor(rng)
	rate := func(d civil.Date) float64 {
		r, _, err := mites.DayHeld(dayOf(weather[d][0], weather[d][1]))
		require.NoError(t, err)
		return r
	}
	const last = 7 * (visitsIn + 1)
	truth := []float64{math.Log(0.3) + rng.NormFloat64()}
	stepDay := -1
	if seed%4 >= 2 {
		stepDay = 7 * 4
	}
	treat := forecast.Treatment{LnLeft: -1.2, SD: 0.4}
	left := math.Min(treat.LnLeft+treat.SD*rng.NormFloat64(), 0)
	for d := range last {
		x := truth[d] + factor*rate(start.AddDays(d)) + math.Sqrt(0.02)*rng.NormFloat64()
		if d == stepDay {
			x += left
		}
		truth = append(truth, x)
	}
	clump := belief.Clump{A: 3.3, B: 1.49}
	var counts [][]int
	for i := range visitsIn {
		m := math.Exp(truth[7*i])
		counts = append(counts, visit(rng, leaves, m, estimate.TaylorK(m, clump.A, clump.B)))
	}
	rest := belief.UnknownGrowth()
	// The weather as it was foreseen: three days well, then what is usual.
	foreseen := make([][]forecast.Weather, visitsIn)
	for i := range foreseen {
		off := 1.5 * rng.NormFloat64()
		for k := range 14 {
			d := start.AddDays(7*i + k)
			if k < 3 {
				foreseen[i] = append(foreseen[i], forecast.Weather{Min: weather[d][0] + off, Max: weather[d][1] + off, SD: 1.5})
			} else {
				foreseen[i] = append(foreseen[i], usual(d))
			}
		}
	}
	for _, v := range variants {
		scores := out[v.name]
		b := belief.Weak()
		var visits []trend.Visit
		obs := func(i int) float64 {
			return math.Log((float64(sum(counts[i])) + 0.5) / leaves)
		}
		for i := range visitsIn {
			day := start.AddDays(7 * i)
			b = must(belief.Update(b, belief.Evidence{Counts: counts[i]}, clump))
			if 7*i == stepDay+7 {
				visits = nil // growth is read from one side of the step
			}
			visits = append(visits, trend.Visit{Date: day, Counts: counts[i]})
			var own *forecast.Rate
			base := 0.0
			recent := trend.Recent(visits, 6, 6)
			if g, err := trend.Growth(recent, estimate.Dispersion{A: clump.A, B: clump.B}); err == nil {
				own = &forecast.Rate{Rate: g.PerDay, SD: math.Min(g.SD, 5)}
				n := g.Last.Sub(g.First)
				for k := range n {
					base += rate(g.First.AddDays(k)) / float64(n)
				}
			}
			f := made(t, forecast.Setup{Days: 14, Paths: 500, Seed: seed + uint64(i), Weather: foreseen[i]})
			gr := v.growth(own, base, table(t, f, 0.5, 1.25))
			way := forecast.Alternative{}
			if 7*i == stepDay {
				way.Steps = []forecast.Step{{Treatment: &treat}}
			}
			if n := sum(counts[i]); n > 0 && n <= forecast.UsualCap*leaves {
				r := run(t, f, forecast.Bed{Start: b.Read(), Growth: gr, Keep: true, Alternatives: []forecast.Alternative{way}})[0]
				for h, days := range []int{7, 14} {
					if 7*i+days > last || days == 14 && 7*i+7 == stepDay {
						continue
					}
					came := truth[7*i+days]
					y := slices.Clone(r.Ln[days])
					slices.Sort(y)
					x := scored{days: days, ours: y[250] - came, same: obs(i) - came, last: math.NaN(), crps: forecast.CRPS(y, came),
						in50: y[125] <= came && came <= y[374], in90: y[25] <= came && came <= y[474]}
					if i > 0 {
						x.last = obs(i) + float64(days)/7*(obs(i)-obs(i-1)) - came
					}
					scores[h] = append(scores[h], x)
				}
			}
			next, err := f.NextPrior(gr, 7, way.Steps, rest)
			require.NoError(t, err)
			b = must(belief.Carry(b, 7, next))
		}
		out[v.name] = scores
	}
}

func sum(x []int) (s int) {
	for _, v := range x {
		s += v
	}
	return s
}

type worldScore struct {
	world  world
	scores map[string][2][]scored
}

func seasonScores(t testing.TB, seasons int) (out []worldScore) {
	weather, usual := years(t)
	for _, w := range worlds {
		s := worldScore{w, map[string][2][]scored{}}
		for i := range seasons {
			season(t, w, uint64(i), weather, usual, s.scores)
		}
		out = append(out, s)
	}
	return out
}
