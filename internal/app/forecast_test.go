package app_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/growth"
	"leafturn/internal/render"
	"leafturn/internal/report"
)

// flatDays are days of one temperature, as a file of weather.
func flatDays(from, to string, low, high float64) string {
	out := "date,min_c,max_c\n"
	for d := civil.MustParse(from); !d.After(civil.MustParse(to)); d = d.AddDays(1) {
		out += fmt.Sprintf("%s,%g,%g\n", d, low, high)
	}
	return out
}

func flatMonths(low, high float64) string {
	out := "month,min_c,max_c\n"
	for m := range 12 {
		out += fmt.Sprintf("%d,%g,%g\n", m+1, low, high)
	}
	return out
}

// miteFarm is a bed in bud with weather until 22 July 2026, today, and counts of
// mites in weeks before it, each as words.
func miteFarm(t *testing.T, low, high float64, counts map[string]string) *app.App {
	t.Helper()
	a := newFarm(t, testPath(t), summer, app.FarmOptions{Pests: p("slug,mite"), Country: p("GB")})
	_, err := a.AddBed(ctx, app.BedOptions{Code: "A1", Size: "25 m x 1.2 m", Plants: "100", Site: "outdoor"})
	require.NoError(t, err)
	_, err = a.Stage(ctx, civil.MustParse("2026-06-01"), "budding", []string{"A1"}, "")
	require.NoError(t, err)
	_, err = a.WeatherFile(ctx, strings.NewReader(flatDays("2026-06-01", "2026-07-22", low, high)), "days.csv", app.WeatherFileOptions{}, false)
	require.NoError(t, err)
	_, err = a.WeatherNormals(ctx, strings.NewReader(flatMonths(low, high)), "months.csv")
	require.NoError(t, err)
	for day, words := range counts {
		_, err := a.CountWords(ctx, strings.Fields(words), app.CountOptions{Date: civil.MustParse(day)})
		require.NoError(t, err)
	}
	return a
}

// textOf is a document as people read it, on one line.
func textOf(t *testing.T, doc *report.Document) string {
	t.Helper()
	var text strings.Builder
	require.NoError(t, render.Text(&text, *doc, render.Options{Width: 88}))
	return strings.Join(strings.Fields(text.String()), " ")
}

func forecastOf(t *testing.T, a *app.App, o app.ForecastOptions) app.ForecastData {
	t.Helper()
	doc, err := a.Forecast(ctx, o, a.Today())
	require.NoError(t, err)
	return doc.Data.(app.ForecastData)
}

const someMites = "A1 mite 0 2 1 0 3 0 1 5 0 0 2 1 0 0 4 0 1 2 0 1 foliage=dry"

// A bed with one count grows by the table, hour by hour: at 16 °C all day
// 0.0142 (16 - 9.06) a day, times the middle of 0.5 to 1.25, the root of their
// product (DYN-21's line; the band is common practice).
func TestForecast_GrowsByTheTable(t *testing.T) {
	a := miteFarm(t, 16, 16, map[string]string{"2026-07-22": someMites})
	b := forecastOf(t, a, app.ForecastOptions{Pest: "mite", Bed: "A1", Days: "7"}).Beds[0]
	require.Nil(t, b.OwnRate)
	days := b.Ways[0].Days
	require.Len(t, days, 8)
	rate := 0.0142 * (16 - 9.06) * math.Sqrt(0.5*1.25)
	require.InEpsilon(t, math.Exp(rate), days[1].Median/days[0].Median, 0.01)   // a measured day, and the luck of 2,000 paths
	require.InEpsilon(t, math.Exp(7*rate), days[7].Median/days[0].Median, 0.04) // six more that may be warmer or colder
	// The bands hold each other, and what was counted.
	for _, d := range days {
		require.True(t, d.Low90 <= d.Low50 && d.Low50 <= d.Median && d.Median <= d.High50 && d.High50 <= d.High90)
	}
	require.True(t, days[0].Low90 < *b.Value && *b.Value < days[0].High90)
	// Cold nights and warm noons of the same mean give more: the hours below
	// 9.06 °C take nothing back.
	cold := miteFarm(t, 2, 30, map[string]string{"2026-07-22": someMites})
	c := forecastOf(t, cold, app.ForecastOptions{Pest: "mite", Bed: "A1", Days: "7"}).Beds[0].Ways[0].Days
	require.Greater(t, c[7].Median/c[0].Median, days[7].Median/days[0].Median*1.05)
}

// Two counts of the grower's own replace the table: a pest that stands still
// on warm days is not told to grow as a laboratory's does.
func TestForecast_OwnCountsReplaceTheTable(t *testing.T) {
	still := map[string]string{}
	for _, day := range []string{"2026-07-01", "2026-07-08", "2026-07-15", "2026-07-22"} {
		still[day] = someMites
	}
	a := miteFarm(t, 18, 28, still)
	b := forecastOf(t, a, app.ForecastOptions{Pest: "mite", Bed: "A1", Days: "7"}).Beds[0]
	require.NotNil(t, b.OwnRate)
	require.InDelta(t, 0, *b.OwnRate, 0.01)
	require.InDelta(t, 0.0142*(23-9.06), *b.TableRate, 0.001)
	own := b.Ways[0].Days
	once := forecastOf(t, miteFarm(t, 18, 28, map[string]string{"2026-07-22": someMites}), app.ForecastOptions{Pest: "mite", Bed: "A1", Days: "7"}).Beds[0].Ways[0].Days
	require.Less(t, own[7].Median/own[0].Median, 0.6*once[7].Median/once[0].Median)
}

// Two counts tell growth from 4 to 14 days apart (dynamics.md, section 1); nearer
// or further ones leave the table's. Dug plants have none to come.
func TestForecast_WhichCountsTellGrowth(t *testing.T) {
	for day, own := range map[string]bool{"2026-07-21": false, "2026-07-19": false, "2026-07-18": true, "2026-07-08": true, "2026-07-07": false} {
		a := miteFarm(t, 18, 28, map[string]string{day: someMites, "2026-07-22": someMites})
		b := forecastOf(t, a, app.ForecastOptions{Pest: "mite", Bed: "A1"}).Beds[0]
		require.Equal(t, own, b.OwnRate != nil, day)
	}
	a := miteFarm(t, 18, 28, map[string]string{"2026-06-28": someMites, "2026-07-05": someMites, "2026-07-22": someMites})
	require.NotNil(t, forecastOf(t, a, app.ForecastOptions{Pest: "mite", Bed: "A1"}).Beds[0].OwnRate)
	_, err := a.Stage(ctx, a.Today(), "dug", []string{"A1"}, "")
	require.NoError(t, err)
	require.Equal(t, "its plants are dug", forecastOf(t, a, app.ForecastOptions{Pest: "mite", Bed: "A1"}).Beds[0].Why)
}

// The same seed gives the same numbers, another one nearly the same; what was
// entered for later days changes nothing of an earlier day's forecast.
func TestForecast_SeedAndHindsight(t *testing.T) {
	counts := map[string]string{"2026-07-15": someMites}
	a := miteFarm(t, 14, 24, counts)
	ask := app.ForecastOptions{Pest: "mite", Bed: "A1"}
	x, y := forecastOf(t, a, ask), forecastOf(t, a, ask)
	require.Equal(t, x, y)
	ask.Seed = "7"
	z := forecastOf(t, a, ask)
	last := len(x.Beds[0].Ways[0].Days) - 1
	require.NotEqual(t, x.Beds[0].Ways[0].Days[last].Median, z.Beds[0].Ways[0].Days[last].Median)
	require.InEpsilon(t, x.Beds[0].Ways[0].Days[last].Median, z.Beds[0].Ways[0].Days[last].Median, 0.05)
	// A count is good for 14 days: after a week for 7 more.
	require.Equal(t, civil.MustParse("2026-07-29"), x.Beds[0].Ways[0].Days[last].Date)

	on := civil.MustParse("2026-07-16")
	before, err := a.Forecast(ctx, app.ForecastOptions{Pest: "mite", Bed: "A1"}, on)
	require.NoError(t, err)
	_, err = a.CountWords(ctx, strings.Fields("A1 mite 20*30 foliage=dry"), app.CountOptions{Date: civil.MustParse("2026-07-22")})
	require.NoError(t, err)
	after, err := a.Forecast(ctx, app.ForecastOptions{Pest: "mite", Bed: "A1"}, on)
	require.NoError(t, err)
	require.Equal(t, before.Data, after.Data)
}

// Natural enemies at one to four mites bring them down, and the course is that
// of the patch model; with none let out it has none. What is not open is not reckoned.
func TestForecast_Release(t *testing.T) {
	a := miteFarm(t, 15, 25, map[string]string{"2026-07-22": someMites})
	b := forecastOf(t, a, app.ForecastOptions{Pest: "mite", Bed: "A1"}).Beds[0]
	ways := map[string]app.ForecastWay{}
	for _, w := range b.Ways {
		ways[w.Key] = w
	}
	end := func(w app.ForecastWay) app.ForecastDay { return w.Days[len(w.Days)-1] }
	nothing, release := ways["nothing"], ways["agent:phytoseiulus_persimilis"]
	require.Empty(t, nothing.Outcome)
	require.True(t, release.Open && release.Reckoned)
	// The course of that patch, from the day on which they are let out: mites as
	// they have grown by then, predators one to four of those of today, at 20 °C.
	out := release.On.Sub(a.Today())
	require.Equal(t, 7, out, "the days that they take to come")
	course, err := growth.Patch{Prey: nothing.Days[out].Median, Predators: nothing.Days[0].Median / 4,
		Alpha: 0.0142 * (20 - 9.06) * math.Sqrt(0.5*1.25), Beta: 1.71 * math.Sqrt(0.2*2), Gamma: 0.0269 * (20 - 14)}.Course()
	require.NoError(t, err)
	require.Equal(t, string(course.Outcome), release.Outcome)
	require.Less(t, end(release).Median, end(nothing).Median/2)
	require.Equal(t, nothing.Days[3].Median, release.Days[3].Median, "alike until it is let out")
	// One release in ten fails: then there are as many as without.
	require.Greater(t, end(release).High90, end(nothing).Low50)
	label := ways["label"]
	require.False(t, label.Open)
	require.False(t, label.Reckoned)
	require.Contains(t, label.Why[0], "no label that lists spider mites")
	require.NotEmpty(t, label.LookUp)
	jet := ways["mite_water_jet"]
	require.True(t, jet.Open)
	require.False(t, jet.Reckoned, "its effect here is not known")
	require.Contains(t, jet.How, "not known yet")
}

// Counts of none give an upper limit and no forecast; a count that is too old,
// days without weather and a count in wet leaves are told as such.
func TestForecast_None(t *testing.T) {
	for name, x := range map[string]struct {
		low    float64
		counts map[string]string
		says   string
	}{
		"never":      {15, nil, "never counted"},
		"none":       {15, map[string]string{"2026-07-22": "A1 mite 20*0 foliage=dry"}, "none were found on 20 leaves"},
		"not valid":  {15, map[string]string{"2026-07-22": "A1 mite 20*2 foliage=wet"}, "the foliage was wet"},
		"last valid": {15, map[string]string{"2026-07-12": someMites, "2026-07-22": "A1 mite 20*2 foliage=wet"}, ""},
		"too old":    {15, map[string]string{"2026-07-05": someMites}, "scout again"},
	} {
		b := forecastOf(t, miteFarm(t, x.low, 25, x.counts), app.ForecastOptions{Pest: "mite", Bed: "A1"}).Beds[0]
		if x.says == "" { // from the last valid count, and it says so
			require.Empty(t, b.Why)
			require.Equal(t, civil.MustParse("2026-07-12"), *b.Counted)
			require.NotNil(t, b.ActFrom)
			require.Contains(t, b.Words[0], "is not valid (the foliage was wet): it starts from that of Sun 12 Jul")
			continue
		}
		require.Contains(t, b.Why, x.says, name)
		require.Equal(t, name == "none", b.Upper != nil, name)
		for _, w := range b.Ways {
			require.Empty(t, w.Days, name)
		}
	}
}

// On short days with cold nights the mites rest: no growth is told.
func TestForecast_WinterRest(t *testing.T) {
	a := miteFarm(t, 4, 14, map[string]string{"2026-07-22": someMites})
	_, err := a.SetFarm(ctx, app.FarmOptions{At: p("-20, 30")}) // July is the winter there: 11 h of daylight
	require.NoError(t, err)
	b := forecastOf(t, a, app.ForecastOptions{Pest: "mite", Bed: "A1"}).Beds[0]
	require.Contains(t, b.Why, "winter rest")
}

// The published rates end at 35 °C (dynamics.md, section 2): the forecast ends
// before a hotter day to come, and none starts before one that has been.
func TestForecast_EndsBeforeTheHeat(t *testing.T) {
	a := miteFarm(t, 15, 25, map[string]string{"2026-07-20": someMites})
	_, err := a.Weather(ctx, app.WeatherOptions{Date: "2026-07-25", Min: "22C", Max: "37C", Forecast: true})
	require.NoError(t, err)
	doc, err := a.Forecast(ctx, app.ForecastOptions{Pest: "mite", Bed: "A1"}, a.Today())
	require.NoError(t, err)
	days := doc.Data.(app.ForecastData).Beds[0].Ways[0].Days
	require.Equal(t, civil.MustParse("2026-07-25"), days[len(days)-1].Date)
	require.Contains(t, textOf(t, doc), "True temperatures are taken to lie 3 °C from a usual day as a rule (common practice).")
	require.Contains(t, textOf(t, doc), "on Sat 25 Jul it is to be hotter than 35 °C, where the published rates end")

	hot := miteFarm(t, 15, 36, map[string]string{"2026-07-20": someMites})
	b := forecastOf(t, hot, app.ForecastOptions{Pest: "mite", Bed: "A1"}).Beds[0]
	require.Contains(t, b.Why, "on Mon 20 Jul it was hotter than 35 °C")
}

// A weather forecast belongs to what was known from the day on which it was
// entered, and until it was replaced.
func TestForecast_UsesTheWeatherForecastsOfThatDay(t *testing.T) {
	path := testPath(t)
	week := app.WeatherOptions{Date: "2026-07-24", Min: "8C", Max: "12C", Forecast: true}
	a := newFarm(t, path, summer, app.FarmOptions{Pests: p("slug,mite"), Country: p("GB")})
	_, err := a.AddBed(ctx, app.BedOptions{Code: "A1", Size: "25 m x 1.2 m", Plants: "100", Site: "outdoor"})
	require.NoError(t, err)
	_, err = a.Stage(ctx, civil.MustParse("2026-06-01"), "budding", []string{"A1"}, "")
	require.NoError(t, err)
	_, err = a.WeatherFile(ctx, strings.NewReader(flatDays("2026-06-01", "2026-07-22", 14, 24)), "days.csv", app.WeatherFileOptions{}, false)
	require.NoError(t, err)
	_, err = a.WeatherNormals(ctx, strings.NewReader(flatMonths(14, 24)), "months.csv")
	require.NoError(t, err)
	_, err = a.CountWords(ctx, strings.Fields(someMites), app.CountOptions{Date: civil.MustParse("2026-07-22")})
	require.NoError(t, err)
	_, err = a.Weather(ctx, week)
	require.NoError(t, err)
	on := a.Today()
	then := forecastOf(t, a, app.ForecastOptions{Pest: "mite", Bed: "A1"})
	require.Equal(t, "forecast", then.Beds[0].Ways[0].Days[2].Weather)

	later, err := app.Open(ctx, path, summer.AddDate(0, 0, 3))
	require.NoError(t, err)
	defer func() { require.NoError(t, later.Close()) }()
	_, err = later.Weather(ctx, app.WeatherOptions{Date: "2026-07-24", Min: "20C", Max: "30C"}) // measured
	require.NoError(t, err)
	_, err = later.Weather(ctx, app.WeatherOptions{Date: "2026-07-27", Min: "25C", Max: "34C", Forecast: true})
	require.NoError(t, err)
	doc, err := later.Forecast(ctx, app.ForecastOptions{Pest: "mite", Bed: "A1"}, on)
	require.NoError(t, err)
	require.Equal(t, then, doc.Data)
}

// Where predators are told to eat the last mite it is not told as a number that
// is sure, and what may come otherwise is said.
func TestForecast_AlmostNone(t *testing.T) {
	a := miteFarm(t, 17, 27, map[string]string{"2026-07-22": "A1 mite 20*4 foliage=dry +predatory_mite=40"})
	doc, err := a.Forecast(ctx, app.ForecastOptions{Pest: "mite", Bed: "A1"}, a.Today())
	require.NoError(t, err)
	days := doc.Data.(app.ForecastData).Beds[0].Ways[0].Days
	require.Zero(t, days[len(days)-1].High50)
	text := textOf(t, doc)
	require.Contains(t, text, "it could have almost none on Wed 5 Aug; that holds in more than 9 of 10 chances.")
	require.NotContains(t, text, "0 to 0 ")
	require.Contains(t, text, "some hide and eggs hatch")
}

// A pest without a published rate gets nights and what is open, no density.
func TestForecast_Gates(t *testing.T) {
	a := miteFarm(t, 15, 20, map[string]string{"2026-07-22": "A1 slug 9*2 soil=moist"})
	d := forecastOf(t, a, app.ForecastOptions{Pest: "slug"})
	require.False(t, d.Density)
	require.Empty(t, d.Beds)
	require.Len(t, d.Nights, 7)
	require.NotEmpty(t, d.Actions)
	for _, g := range d.Actions {
		require.Equal(t, []string{"A1"}, g.Beds)
		require.Equal(t, g.Key != "label", g.Open || g.Key != "label")
	}
	require.NotEmpty(t, d.Clocks)
}

// What past forecasts were worth: the pairs of counts, one by one, and too few
// said as such.
func TestForecast_Past(t *testing.T) {
	counts := map[string]string{}
	for _, day := range []string{"2026-06-10", "2026-06-17", "2026-06-24", "2026-07-01", "2026-07-08"} {
		counts[day] = someMites
	}
	a := miteFarm(t, 15, 25, counts)
	doc, err := a.Forecast(ctx, app.ForecastOptions{Past: true}, a.Today())
	require.NoError(t, err)
	d := doc.Data.(app.PastData)
	require.Len(t, d.Pests, 1)
	require.Equal(t, 4, d.Pests[0].Forecasts)
	require.Equal(t, 3, d.Pests[0].Both)
	require.True(t, d.Pests[0].Few)
	require.Zero(t, *d.Pests[0].SameError, "the very same count again each week")
	require.Zero(t, *d.Pests[0].LastError)
	require.Positive(t, *d.Pests[0].Error)
	require.Contains(t, strings.Join(d.Pests[0].Words, " "), "too few")
	for i, r := range d.Past {
		require.Equal(t, 7, r.Came.Sub(r.On), i)
		require.InDelta(t, 1.15, r.Value, 1e-9)
		require.InDelta(t, 1.15, r.Was, 1e-9)
	}
	// A step between two counts was not known then: the pair is left out.
	_, err = a.Did(ctx, civil.MustParse("2026-06-18"), "mite", "water_jet", []string{"A1"}, "", farm.DoneMore{})
	require.NoError(t, err)
	doc, err = a.Forecast(ctx, app.ForecastOptions{Past: true, Pest: "mite"}, a.Today())
	require.NoError(t, err)
	d = doc.Data.(app.PastData)
	require.Equal(t, 3, d.Pests[0].Forecasts)
	require.Len(t, d.LeftOut, 1)
	require.Equal(t, 1, d.LeftOut[0].Counts)
}

// Predators counted with the pest hunt it where its growth is the table's; where
// the bed's own counts give the growth, they were at work in it already.
func TestForecast_CountedPredators(t *testing.T) {
	with := someMites + " +predatory_mite=4"
	once := forecastOf(t, miteFarm(t, 15, 25, map[string]string{"2026-07-22": with}), app.ForecastOptions{Pest: "mite", Bed: "A1"}).Beds[0]
	none := forecastOf(t, miteFarm(t, 15, 25, map[string]string{"2026-07-22": someMites}), app.ForecastOptions{Pest: "mite", Bed: "A1"}).Beds[0]
	require.InDelta(t, 4.0/20, *once.Predators, 1e-12)
	require.Nil(t, none.Predators)
	require.NotEmpty(t, once.Ways[0].Outcome)
	require.Less(t, once.Ways[0].Days[10].Median, none.Ways[0].Days[10].Median)
	own := forecastOf(t, miteFarm(t, 15, 25, map[string]string{"2026-07-15": with, "2026-07-22": with}), app.ForecastOptions{Pest: "mite", Bed: "A1"}).Beds[0]
	require.NotNil(t, own.OwnRate)
	require.NotNil(t, own.Predators)
	require.Empty(t, own.Ways[0].Outcome)
	require.Contains(t, strings.Join(own.Words, " "), "through the bed's own growth")
}

// The bed's own growth is read from one side of a step.
func TestForecast_OwnGrowthSinceTheStep(t *testing.T) {
	many := "A1 mite 20*8 foliage=dry"
	a := miteFarm(t, 15, 25, map[string]string{"2026-07-01": many, "2026-07-08": many, "2026-07-15": someMites, "2026-07-22": someMites})
	before := forecastOf(t, a, app.ForecastOptions{Pest: "mite", Bed: "A1"}).Beds[0]
	require.Less(t, *before.OwnRate, -0.05, "they fell")
	_, err := a.Did(ctx, civil.MustParse("2026-07-09"), "mite", "water_jet", []string{"A1"}, "", farm.DoneMore{})
	require.NoError(t, err)
	after := forecastOf(t, a, app.ForecastOptions{Pest: "mite", Bed: "A1"}).Beds[0]
	require.InDelta(t, 0, *after.OwnRate, 1e-6, "since the step they have stood still")
	// The step's own effect is measured by these counts, and it can be compared.
	for _, w := range after.Ways {
		if w.Key == "mite_water_jet" {
			require.True(t, w.Reckoned)
			require.Less(t, w.Days[3].Median, after.Ways[0].Days[3].Median/2)
		}
	}
	// A step after the count is in what is told for nothing more.
	_, err = a.Did(ctx, civil.MustParse("2026-07-22"), "mite", "water_jet", []string{"A1"}, "", farm.DoneMore{})
	require.NoError(t, err)
	done := forecastOf(t, a, app.ForecastOptions{Pest: "mite", Bed: "A1"}).Beds[0]
	require.Less(t, done.Ways[0].Days[3].Median, after.Ways[0].Days[3].Median/2)
	require.Contains(t, strings.Join(done.Words, " "), "is in it with what it did here")
}

// The expected day of crossing is the mean day on which the paths cross, as the
// chances by day have it.
func TestForecast_ExpectedCrossing(t *testing.T) {
	a := miteFarm(t, 20, 32, map[string]string{"2026-07-22": "A1 mite 4 1 6 3 0 5 2 7 1 3 4 2 5 3 6 1 4 2 8 3 foliage=dry"})
	w := forecastOf(t, a, app.ForecastOptions{Pest: "mite", Bed: "A1"}).Beds[0].Ways[0]
	sum, last := 0.0, *w.Days[len(w.Days)-1].Within
	for d := 1; d < len(w.Days); d++ {
		sum += float64(d) * (*w.Days[d].Within - *w.Days[d-1].Within)
		if *w.Days[d-1].Within < 0.5 && *w.Days[d].Within >= 0.5 {
			require.Equal(t, w.Days[d].Date, *w.EvenBy)
		}
	}
	require.Greater(t, last, 0.5)
	require.InDelta(t, 1-last, *w.Never, 1e-9)
	require.Equal(t, w.Days[0].Date.AddDays(int(math.Round(sum/last))), *w.Expected)
}

// What was seen of a release stands in the place of the one in ten that is
// taken not to settle: seen on 15 of 20 leaves it has; on none after 14 days
// it has not, and on none after 7 it is too early to tell.
func TestForecast_ReleaseThatWasLookedAt(t *testing.T) {
	end := func(let string, look app.SettledOptions) (app.ForecastDay, string) {
		a := miteFarm(t, 15, 25, map[string]string{"2026-07-22": someMites})
		_, err := a.SetBed(ctx, app.BedOptions{Code: "A1", Leaves: "60"})
		require.NoError(t, err)
		_, err = a.Release(ctx, app.ReleaseOptions{Agent: "phytoseiulus_persimilis", Pest: "mite", Amount: "4000", Beds: []string{"A1"}, Date: civil.MustParse(let)})
		require.NoError(t, err)
		if look.Found || look.NotFound || look.Count != "" {
			look.Agent, look.Beds, look.Date = "phytoseiulus_persimilis", []string{"A1"}, a.Today()
			_, err = a.Settled(ctx, look)
			require.NoError(t, err)
		}
		b := forecastOf(t, a, app.ForecastOptions{Pest: "mite", Bed: "A1"}).Beds[0]
		return b.Ways[0].Days[len(b.Ways[0].Days)-1], strings.Join(b.Words, " ")
	}
	unseen, words := end("2026-07-08", app.SettledOptions{})
	require.NotContains(t, words, "settled")
	require.Greater(t, unseen.High90, 2.0, "one in ten does nothing")
	seen, words := end("2026-07-08", app.SettledOptions{Count: "15/20"})
	require.Contains(t, words, "it has settled (found on 15 of 20 looked at")
	require.Less(t, seen.High90, 0.5)
	gone, words := end("2026-07-08", app.SettledOptions{NotFound: true})
	require.Contains(t, words, "is not in it: it has not settled (not found on Wed 22 Jul")
	require.Greater(t, gone.Median, 2.0, "as with none let out")
	unseen, _ = end("2026-07-15", app.SettledOptions{})
	early, words := end("2026-07-15", app.SettledOptions{NotFound: true})
	require.NotContains(t, words, "settled")
	require.Equal(t, unseen, early)
}
