package schedule_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/schedule"
)

// persimilis is the ratio of 1 predator to 10 mites, as tested by Amoah et
// al. 2016, Biocontrol Science and Technology 26:548; limits 18 and 30 °C,
// 60 % and a lead of 7 days are common practice, checks after 7 and 14 days too.
func persimilis() schedule.AgentRate {
	return schedule.AgentRate{Agent: "phytoseiulus", Name: "Phytoseiulus persimilis", Pest: "mite", Kind: schedule.Ratio, Rate: 0.1,
		Releases: 1, TempMin: num(18), TempMax: num(30), RHMin: num(60), LeadDays: 7, CheckDays: []int{7, 14},
		Days:     []schedule.DayLimit{{Hours: 12, Words: "it rests (invented)"}},
		CheckFor: "predators or their eggs on a quarter of 20 infested leaves", NotWhen: "no prey on the plants",
		Basis: "published", Source: "Amoah et al. 2016, Biocontrol Sci. Technol. 26:548"}
}

var bed = farm.Bed{Code: "B3", LengthM: 10, WidthM: 1.2, Site: farm.Outdoor}

func mites(mean float64) schedule.Density { return schedule.Density{Known: true, Mean: mean} }

// week gives n days of one weather from a date on.
func week(from string, n int, low, high, rh float64) []farm.WeatherDay {
	var out []farm.WeatherDay
	for i := range n {
		out = append(out, farm.WeatherDay{Date: day(from).AddDays(i), MinC: num(low), MaxC: num(high), Humidity: num(rh)})
	}
	return out
}

func wanted(today string) schedule.ReleaseRequest {
	return schedule.ReleaseRequest{Today: day(today), Bed: bed, Agent: persimilis(), Density: mites(10), Leaves: 30 * 20, Latitude: num(52),
		Forecast: week("2026-07-01", 40, 14, 26, 70)}
}

// 30 infested plants × 20 infested leaves × 10 mites = 6,000 mites: 600
// predators at 1:10, 1,200 at 1:5.
func TestRelease_WorkedSize(t *testing.T) {
	q := wanted("2026-07-01")
	p := schedule.Release(q)
	require.Empty(t, p.Refusals)
	require.Equal(t, 600, p.Count)
	require.Zero(t, p.CountMax)
	q.Agent.RateMax = 0.2
	require.Equal(t, 1200, schedule.Release(q).CountMax)
	q.Agent.Rate = 0.2
	require.Equal(t, 1200, schedule.Release(q).Count)
	q.Density.Mean = 10.001 // 1200.12 animals are 1201 whole ones
	q.Pack = 500
	p = schedule.Release(q)
	require.Equal(t, 1201, p.Count)
	require.Equal(t, 3, p.Packs)
	q.Density = schedule.Density{Known: true, Mean: 10, Low: 6, High: 15}
	require.Equal(t, 1800, schedule.Release(q).CountMax)
}

func TestRelease_Dates(t *testing.T) {
	q := wanted("2026-07-01")
	p := schedule.Release(q)
	require.True(t, p.Firm)
	require.Equal(t, "2026-07-01", p.Order.String())
	require.Equal(t, "2026-07-08", p.Release.String())
	require.Equal(t, []string{"2026-07-15", "2026-07-22"}, []string{p.Checks[0].Date.String(), p.Checks[1].Date.String()})
	require.Contains(t, p.Words, "order 600 animals of Phytoseiulus persimilis on 2026-07-01, release on 2026-07-08")
	require.Contains(t, strings.Join(p.LookUp, "\n"), "the pack size")

	q.From = day("2026-07-20")
	require.Equal(t, "2026-07-13", schedule.Release(q).Order.String())
	q.From = day("2026-07-03") // too soon: ordering takes 7 days
	p = schedule.Release(q)
	require.Equal(t, "2026-07-08", p.Release.String())
	require.Contains(t, p.Warnings[0], "moves to Wed 8 Jul")

	q.Agent.Releases, q.Agent.IntervalDays, q.Until = 4, 14, day("2026-08-10")
	p = schedule.Release(q)
	require.Equal(t, []civil.Date{day("2026-07-22"), day("2026-08-05")}, p.Repeats)
	require.Contains(t, strings.Join(p.Warnings, "\n"), "release 4 of 4 would come on 2026-08-19")
	require.Len(t, p.Checks, 6)
}

func TestRelease_Unknowns(t *testing.T) {
	code := func(q schedule.ReleaseRequest) string {
		p := schedule.Release(q)
		require.NotEmpty(t, p.Refusals)
		require.True(t, p.Order.IsZero() && p.Release.IsZero())
		require.NotEmpty(t, p.Refusals[0].LookUp)
		return p.Refusals[0].Code
	}
	q := wanted("2026-07-01")
	q.Leaves = 0
	require.Equal(t, "leaves", code(q))
	q = wanted("2026-07-01")
	q.Density = schedule.Density{}
	require.Equal(t, "density", code(q))
	q.Density = mites(0)
	require.Equal(t, "no prey", code(q))
	q = wanted("2026-07-01")
	q.Agent.Rate = 0
	require.Equal(t, "no rate", code(q))
	q = wanted("2026-07-01")
	q.Residues = []schedule.Residue{{Date: day("2026-05-01"), Active: "mystery"}}
	require.Equal(t, "unknown residue", code(q))
	require.Contains(t, schedule.Release(q).Refusals[0].LookUp, "the side effect of mystery on Phytoseiulus persimilis")
	q = wanted("2026-07-01")
	q.Agent.Kind, q.Bed.WidthM = schedule.PerM2, 0
	require.Equal(t, "area", code(q))
	q = wanted("2026-07-01")
	q.Until = day("2026-07-05")
	require.Equal(t, "no day", code(q))
}

// 12 m² at 2 to 5 predators per m² are 24 to 60; a sachet per 2 m² are 6.
func TestRelease_PerArea(t *testing.T) {
	q := wanted("2026-07-01")
	q.Agent.Kind, q.Agent.Rate, q.Agent.RateMax, q.Leaves = schedule.PerM2, 2, 5, 0
	p := schedule.Release(q)
	require.Equal(t, []int{24, 60}, []int{p.Count, p.CountMax})
	q.Agent.Kind, q.Agent.Rate, q.Agent.RateMax = schedule.Sachet, 0.5, 0
	p = schedule.Release(q)
	require.Equal(t, 6, p.Count)
	require.Equal(t, "sachets", p.Unit)
}

// The week's mean holds the lower limit and each day's highest the upper one.
func TestRelease_Weather(t *testing.T) {
	q := wanted("2026-07-01")
	q.Forecast = append(week("2026-07-01", 14, 8, 20, 70), week("2026-07-15", 20, 14, 24, 70)...) // means 14 and 19
	p := schedule.Release(q)
	// 7 days from D: with k warm days the mean is 14+5k/7, which reaches 18 at k = 6 (18.3), so D is 14 July.
	require.Equal(t, "2026-07-14", p.Release.String())
	require.Contains(t, p.Warnings[0], "too cold")

	q.Forecast = week("2026-07-01", 30, 14, 26, 70)
	q.Forecast[10].MaxC = num(30.5) // 11 July: the release waits until the day is behind it
	p = schedule.Release(q)
	require.Equal(t, "2026-07-12", p.Release.String())
	require.Contains(t, p.Warnings[0], "too hot")
	q.Forecast[10].MaxC = num(30)
	require.Equal(t, "2026-07-08", schedule.Release(q).Release.String())

	q.Forecast = week("2026-07-01", 30, 14, 26, 55)
	require.Contains(t, schedule.Release(q).Warnings[0], "too dry")

	q.Forecast = week("2026-07-01", 10, 14, 26, 70) // known for 3 of the 7 days
	p = schedule.Release(q)
	require.False(t, p.Firm)
	require.Equal(t, "2026-07-08", p.Release.String())
	require.Contains(t, p.LookUp[0], "are known for 3 days only: look up the forecast")
	require.Contains(t, p.Words, "not known yet")
	q.Agent.TempMin = nil
	require.Contains(t, strings.Join(schedule.Release(q).LookUp, "\n"), "lowest temperature of Phytoseiulus persimilis is not known")
}

// Spinosad is class 3 on an Orius for 7 days: Biondi et al. 2012, Chemosphere.
// Bifenazate and the like with 15 days: common practice.
func TestRelease_Residues(t *testing.T) {
	q := wanted("2026-07-01")
	q.Residues = []schedule.Residue{{Date: day("2026-07-02"), Active: "spinosad", WaitDays: 7, Known: true}}
	require.Equal(t, "2026-07-09", schedule.Release(q).Release.String())
	q.Residues = append(q.Residues, schedule.Residue{Date: day("2026-07-09"), Active: "bifenazate", WaitDays: 15, Known: true}) // planned
	p := schedule.Release(q)
	require.Equal(t, "2026-07-24", p.Release.String())
	require.Equal(t, "2026-07-17", p.Order.String())
	q.Residues = []schedule.Residue{{Date: day("2026-07-12"), Active: "spinosad", WaitDays: 7, Known: true}} // after the release
	p = schedule.Release(q)
	require.Equal(t, "2026-07-08", p.Release.String())
	require.Contains(t, p.Warnings[0], "spinosad on 2026-07-12 is 4 days after the release of Phytoseiulus persimilis on 2026-07-08 and can harm them (its residue does for 7 days)")
	q.Residues[0].Date = day("2026-07-15") // the wait is for those let out after it: these live in the bed
	require.Contains(t, schedule.Release(q).Warnings[0], "spinosad on 2026-07-15 is 7 days after")
	q.Residues[0].Date = day("2026-07-08").AddDays(schedule.CountedOn)
	require.Len(t, schedule.Release(q).Warnings, 1)
	q.Residues[0].Date = q.Residues[0].Date.AddDays(1) // nobody counts on them any more
	require.Empty(t, schedule.Release(q).Warnings)
	q.Residues[0].Date, q.Residues[0].WaitDays = day("2026-07-12"), 0 // harmless
	require.Empty(t, schedule.Release(q).Warnings)
}

func TestAfterRelease(t *testing.T) {
	releases := []farm.Release{{Bed: "B3", Date: day("2026-06-01")}, {Bed: "B4", Date: day("2026-06-10")}, {Bed: "B5", Date: day("2026-06-20")}}
	spray := schedule.Residue{Date: day("2026-06-12"), Active: "spinosad", WaitDays: 7, Known: true}
	got := schedule.AfterRelease(releases, "Orius", spray)
	require.Len(t, got, 2)
	require.Contains(t, got[0], "B3: spinosad on 2026-06-12 is 11 days after")
	require.Contains(t, got[1], "B4: spinosad on 2026-06-12 is 2 days after")
	releases[1].Date = day("2026-06-11")
	require.Contains(t, schedule.AfterRelease(releases, "Orius", spray)[1], "is 1 day after the release")
	releases[1].Date = day("2026-06-12")
	require.Contains(t, schedule.AfterRelease(releases, "Orius", spray)[1], "is on the day of the release")
	spray.Known = false
	require.Len(t, schedule.AfterRelease(releases, "Orius", spray), 2)
}

// Ordering comes before releasing and never in the past; no release lies in a
// residue's wait; a longer wait or lead never brings it forward; more mites
// never need fewer animals.
func TestRelease_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		today := day("2026-03-01").AddDays(rapid.IntRange(0, 250).Draw(t, "today"))
		q := schedule.ReleaseRequest{Today: today, Bed: bed, Agent: persimilis(), Density: mites(rapid.Float64Range(0.01, 200).Draw(t, "mean")),
			Leaves: float64(rapid.IntRange(1, 5000).Draw(t, "leaves"))}
		q.Agent.LeadDays = rapid.IntRange(0, 21).Draw(t, "lead")
		q.Agent.Releases, q.Agent.IntervalDays = rapid.IntRange(0, 4).Draw(t, "releases"), rapid.IntRange(0, 14).Draw(t, "interval")
		if rapid.Bool().Draw(t, "when") {
			q.From = today.AddDays(rapid.IntRange(-20, 40).Draw(t, "from"))
		}
		for i := range rapid.IntRange(0, 4).Draw(t, "residues") {
			q.Residues = append(q.Residues, schedule.Residue{Date: today.AddDays(rapid.IntRange(-40, 40).Draw(t, "on")), Known: true,
				Active: fmt.Sprint("a", i), WaitDays: rapid.IntRange(0, 30).Draw(t, "wait")})
		}
		for i := range 70 {
			if rapid.IntRange(0, 3).Draw(t, "measured") > 0 {
				low := rapid.Float64Range(5, 20).Draw(t, "low")
				q.Forecast = append(q.Forecast, farm.WeatherDay{Date: today.AddDays(i), MinC: &low, MaxC: num(low + rapid.Float64Range(2, 14).Draw(t, "span"))})
			}
		}
		p := schedule.Release(q)
		require.Empty(t, p.Refusals)
		require.False(t, p.Order.Before(today))
		require.Equal(t, q.Agent.LeadDays, p.Release.Sub(p.Order))
		require.False(t, !q.From.IsZero() && p.Release.Before(q.From))
		for _, d := range append([]civil.Date{p.Release}, p.Repeats...) {
			for _, r := range q.Residues {
				require.False(t, !d.Before(r.Date) && d.Before(r.Date.AddDays(r.WaitDays)), "%s inside the wait of %+v", d, r)
			}
		}
		for _, w := range q.Forecast { // the known days of the week keep under the upper limit
			if n := w.Date.Sub(p.Release); n >= 0 && n < 7 {
				require.LessOrEqual(t, *w.MaxC, 30.0)
			}
		}
		need := q.Density.Mean * q.Leaves / 10
		require.InDelta(t, math.Ceil(need), float64(p.Count), 1)
		require.GreaterOrEqual(t, float64(p.Count), need*(1-1e-9))

		strict := q
		strict.Agent.LeadDays++
		require.False(t, schedule.Release(strict).Release.Before(p.Release))
		strict = q
		strict.Residues = append(append([]schedule.Residue(nil), q.Residues...), schedule.Residue{Date: today, WaitDays: 20, Known: true})
		require.False(t, schedule.Release(strict).Release.Before(p.Release))
		strict = q
		strict.Density.Mean *= 1.5
		require.GreaterOrEqual(t, schedule.Release(strict).Count, p.Count)
	})
}
