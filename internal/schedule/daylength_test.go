package schedule_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/schedule"
)

// flowerBug rests in days under 12 hours: Orius insidiosus, "between 11 and
// 12 h" at 18 °C (van den Meiracker 1994, the abstract).
func flowerBug(latitude *float64, today string) schedule.ReleaseRequest {
	return schedule.ReleaseRequest{Today: day(today), Bed: bed, Latitude: latitude,
		Agent: schedule.AgentRate{Agent: "orius", Name: "Orius insidiosus", Kind: schedule.PerM2, Rate: 1, Releases: 1, LeadDays: 7,
			Days: []schedule.DayLimit{{Hours: 12, Words: "it rests"}}}}
}

func gate(p schedule.ReleasePlan) schedule.Gate {
	for _, g := range p.Gates {
		if g.Name == "day length" {
			return g
		}
	}
	return schedule.Gate{}
}

// Days at 45 degrees north: 12 hours are passed on about 25 September, as the
// equinox of 22 September plus the refraction (almanac, from memory); so the
// last release day lies three weeks before.
func TestRelease_DayLength(t *testing.T) {
	for _, c := range []struct {
		name, today string
		latitude    *float64
		state       string // of the gate, "" where the release is refused
		release     string
	}{
		{"midsummer", "2026-06-20", num(45), schedule.Passed, "2026-06-27"},
		{"long enough for the last time", "2026-08-28", num(45), schedule.Passed, "2026-09-04"},
		{"three weeks on it is too short", "2026-09-01", num(45), "", ""},
		{"autumn", "2026-10-10", num(45), "", ""},
		{"the south, where it is spring", "2026-10-10", num(-45), schedule.Passed, "2026-10-17"},
		{"late winter: put off for some days", "2026-02-26", num(45), schedule.Passed, "2026-03-1"}, // about the 17th: before the equinox, for refraction,
		{"late winter: put off for too long", "2026-02-01", num(45), "", ""},
		{"beyond the circle, the sun never sets", "2026-06-20", num(70), schedule.Passed, "2026-06-27"},
		{"no latitude", "2026-10-10", nil, schedule.Open, "2026-10-17"},
		{"no such latitude", "2026-10-10", num(95), schedule.Open, "2026-10-17"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := schedule.Release(flowerBug(c.latitude, c.today))
			if c.state == "" {
				require.Len(t, p.Refusals, 1)
				require.Equal(t, "day length", p.Refusals[0].Code)
				require.Contains(t, p.Refusals[0].Words, "a release of Orius insidiosus would be wasted")
				require.Contains(t, p.Refusals[0].Words, "long enough again from 2")
				return
			}
			require.Empty(t, p.Refusals)
			require.Equal(t, c.state, gate(p).State)
			require.True(t, strings.HasPrefix(p.Release.String(), c.release), p.Release)
			_, unknown := p.Unknown()
			require.Equal(t, c.state == schedule.Open, unknown != "")
		})
	}
	q := flowerBug(num(45), "2026-06-20")
	q.Agent.Days[0].Hours = 16
	require.Contains(t, schedule.Release(q).Refusals[0].Words, "they are never long enough here")
	q.Agent.Days = nil
	p := schedule.Release(q)
	require.False(t, p.Firm)
	require.Contains(t, gate(p).Words, "the length of day that Orius insidiosus needs is not known")
}

// The prey's rest needs short days and cold nights both, and says nothing of
// what the enemy itself needs.
func TestRelease_PreyRests(t *testing.T) {
	q := flowerBug(num(52), "2026-09-01")
	q.Agent.Days = []schedule.DayLimit{{Hours: 14, NightsBelow: num(15), Pest: "mite", Words: "spider mites go to rest"}}
	for _, c := range []struct {
		nights float64
		days   int
		state  string
	}{{14.9, 7, schedule.Failed}, {15, 7, schedule.Passed}, {10, 6, schedule.Open}} {
		q.Forecast = week("2026-09-08", c.days, c.nights, 22, 70)
		p := schedule.Release(q)
		if c.state == schedule.Failed { // the first day after the cold week, of which nothing is known
			require.Contains(t, p.Warnings[0], "would be wasted")
			require.Equal(t, "2026-09-09", p.Release.String())
			continue
		}
		require.Equal(t, c.state, gate(p).State)
		require.Equal(t, "2026-09-08", p.Release.String())
	}
	q.Forecast = week("2026-09-08", 7, 14.9, 22, 70)
	require.Equal(t, schedule.Failed, gate(schedule.ReleasePlan{Gates: q.GatesOn(day("2026-09-08"))}).State)
	_, unknown := schedule.Release(q).Unknown()
	require.Contains(t, unknown, "that Orius insidiosus needs is not known")
}

// No plan that passes the gate has a short day in its three weeks. The length
// of the day is taken in a second way: half a turn of the hour angle by the
// declination of a fixed yearly sine, good to a quarter of an hour up to 55
// degrees (from memory), so the limit is tested with that slack.
func TestRelease_DayLengthProperty(t *testing.T) {
	rough := func(d civil.Date, latitude float64) float64 {
		n := float64(d.Sub(civil.Date{Year: d.Year, Month: time.January, Day: 1}) + 1)
		decl := 23.44 * math.Sin(2*math.Pi*(284+n)/365) * math.Pi / 180
		return 24 / math.Pi * math.Acos(math.Max(-1, math.Min(1, (math.Sin(-0.833*math.Pi/180)-math.Sin(latitude*math.Pi/180)*math.Sin(decl))/(math.Cos(latitude*math.Pi/180)*math.Cos(decl)))))
	}
	rapid.Check(t, func(t *rapid.T) {
		latitude := rapid.Float64Range(-55, 55).Draw(t, "latitude")
		q := flowerBug(&latitude, "2026-01-01")
		q.Today = q.Today.AddDays(rapid.IntRange(0, 700).Draw(t, "day"))
		q.Agent.Days[0].Hours = rapid.Float64Range(8, 16).Draw(t, "hours")
		p := schedule.Release(q)
		from := q.Today.AddDays(7)
		if len(p.Refusals) == 0 {
			from = p.Release
		}
		low := 24.0
		for i := range 22 {
			low = math.Min(low, rough(from.AddDays(i), latitude))
		}
		if len(p.Refusals) == 0 && low < q.Agent.Days[0].Hours-0.3 {
			t.Fatalf("let out on %s with days of %.2f h", from, low)
		}
		if len(p.Refusals) > 0 && low > q.Agent.Days[0].Hours+0.3 {
			t.Fatalf("refused on %s with days of %.2f h", from, low)
		}
	})
}
