package companion_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/companion"
	"leafturn/internal/sun"
)

// south is the season 2026/27 of a farm with its last frost on 15 October and
// its first on 25 April: dahlias are planted 20 days after, on 4 November.
func south(today string) companion.Season {
	lat := -42.9
	return companion.Season{Year: 2026, South: true, Today: day(today), LastFrost: md(10, 15), FirstFrost: md(4, 25), PlantAfterFrost: 20, Latitude: &lat}
}

// By hand. What hangs on a frost or on planting is dated by the farm's own;
// months of the facts come 26 weeks later: 1 March + 182 days is 30 August, 30
// April + 182 days 29 October.
func TestPlan_South(t *testing.T) {
	p := companion.Plan(companion.Crop{Plant: "x", SowWindow: "2 weeks before dahlia planting", BloomWindow: "not a flower"}, nil, south("2026-08-01"))
	require.Equal(t, []companion.Days{{From: day("2026-10-14"), To: day("2026-10-21")}}, p.Windows)

	p = companion.Plan(companion.Crop{Plant: "x", SowWindow: "Mar-Apr", BloomWindow: "July to frost"}, nil, south("2026-08-01"))
	require.Equal(t, []companion.Days{{From: day("2026-08-30"), To: day("2026-10-29")}}, p.Windows)
	require.Equal(t, []string{"2026-08-30"}, sown(p))
	require.Equal(t, []companion.Days{{From: day("2026-12-30"), To: day("2027-04-25")}}, p.Bloom, "from 1 July + 182 days to the farm's first frost")

	p = companion.Plan(companion.Crop{Plant: "x", SowWindow: "Mar-Apr", BloomWindow: "July to frost"}, nil, south("2026-11-10"))
	require.Contains(t, p.Notes, "its sowing window for 2026/27 has passed")

	// Phacelia needs days over 13 h: by the sun of the farm, on both sides of its
	// longest day.
	p = companion.Plan(crop(t, "phacelia strip", "aphid"), need(20, 30, 36), south("2026-08-01"))
	require.NotEmpty(t, p.Bloom)
	for _, run := range p.Bloom {
		for d := run.From; !d.After(run.To); d = d.AddDays(1) {
			x, ok := sun.On(d, -42.9, 0)
			require.True(t, ok)
			require.Greater(t, x.Hours, 13.0, d)
		}
	}

	// Over its level on 18 January 2027, in W3; three weeks ahead are W2, W1 and
	// W53 of 2026.
	s := south("2026-08-01")
	needs := companion.Needed([]companion.Curve{{Pest: "aphid", Bed: "A", Points: []companion.ChanceOn{{On: day("2026-11-30"), Chance: 0.1}, {On: day("2027-01-18"), Chance: 0.9}}}}, s, companion.DefaultNeedOptions())
	require.Equal(t, 1, needs[0].Seasons, "one season over new year")
	require.Equal(t, []int{53, 1, 2, 3}, s.ISOWeeks(needs[0].Weeks))
	require.Equal(t, []companion.Days{{From: day("2026-12-28"), To: day("2027-01-24")}}, s.WeekDays(needs[0].Weeks))

	// Sown from 30 October on (May and 182 days) and in bloom for eight weeks from
	// 60 days on; the calendar runs over new year, from the week of 30 August to
	// that of the first frost.
	c := companion.Crop{Plant: "x", SowWindow: "May", BloomWindow: "50-60 days after sowing, 8-9 weeks", BloomsIn: 1, Serves: []string{"aphid"}}
	p = companion.Plan(c, needs, s)
	require.Equal(t, []int{53, 1, 2, 3}, s.ISOWeeks(p.Covered))
	weeks := companion.Calendar([]companion.Timing{p}, map[string][]string{"x": {"aphid"}}, needs, s)
	require.Equal(t, day("2026-08-24"), weeks[0].From)
	require.Equal(t, day("2027-04-19"), weeks[len(weeks)-1].From)
	for i, w := range weeks {
		require.Equal(t, weeks[0].From.AddDays(7*i), w.From)
		in := !w.From.Before(day("2026-12-28")) && !w.From.After(day("2027-01-18"))
		require.Equal(t, in, len(w.Needed) > 0, w.From)
		require.Empty(t, w.Gap)
	}
}

// The plan of a farm whose frosts and counts come 26 weeks later is
// that of the north, 26 weeks later.
func TestPlan_SouthMirrorsNorth(t *testing.T) {
	rows := table(t)
	rapid.Check(t, func(t *rapid.T) {
		year := rapid.IntRange(2024, 2033).Draw(t, "year")
		last, first := civil.New(year, 3, 15).AddDays(rapid.IntRange(0, 70).Draw(t, "last")), civil.New(year, 9, 15).AddDays(rapid.IntRange(0, 60).Draw(t, "first"))
		r := rapid.SampledFrom(rows).Draw(t, "plant")
		c := companion.Crop{Plant: r.Plant, SowWindow: r.SowWindow, BloomWindow: r.BloomWindow, BloomsIn: rapid.IntRange(1, 2).Draw(t, "blooms in"), Serves: []string{"aphid"}}
		n := companion.Season{Year: year, Today: civil.New(year-1, 9, 1).AddDays(rapid.IntRange(0, 300).Draw(t, "today")), PlantAfterFrost: 20,
			LastFrost: md(last.Month, last.Day), FirstFrost: md(first.Month, first.Day)}
		later := func(d civil.Date) civil.Date {
			if d.IsZero() {
				return d
			}
			return d.AddDays(182)
		}
		frost := func(d civil.Date) civil.MonthDay { d = later(d); return md(d.Month, d.Day) }
		s := companion.Season{Year: year, South: true, Today: later(n.Today), PlantAfterFrost: 20, LastFrost: frost(last), FirstFrost: frost(first)}
		points := []companion.ChanceOn{{On: civil.New(year, 7, 1).AddDays(rapid.IntRange(-60, 60).Draw(t, "over")), Chance: 0.9}}
		moved := []companion.ChanceOn{{On: later(points[0].On), Chance: 0.9}}
		opt := companion.DefaultNeedOptions()
		needs, needsS := companion.Needed([]companion.Curve{{Pest: "aphid", Points: points}}, n, opt), companion.Needed([]companion.Curve{{Pest: "aphid", Points: moved}}, s, opt)
		require.Equal(t, needs, needsS)
		p, q := companion.Plan(c, needs, n), companion.Plan(c, needsS, s)
		require.Equal(t, len(p.Sowings), len(q.Sowings))
		for i, x := range p.Sowings {
			y := q.Sowings[i]
			require.Equal(t, [4]civil.Date{later(x.On), later(x.PlantOut), later(x.Bloom.From), later(x.Bloom.To)}, [4]civil.Date{y.On, y.PlantOut, y.Bloom.From, y.Bloom.To})
		}
		require.Equal(t, p.Covered, q.Covered)
		require.Equal(t, p.Missed, q.Missed)
		serves := map[string][]string{r.Plant: {"aphid"}}
		a, b := companion.Calendar([]companion.Timing{p}, serves, needs, n), companion.Calendar([]companion.Timing{q}, serves, needsS, s)
		require.Equal(t, len(a), len(b))
		for i := range a {
			require.Equal(t, later(a[i].From), b[i].From)
			require.Equal(t, [2]bool{len(a[i].Gap) > 0, a[i].Bare}, [2]bool{len(b[i].Gap) > 0, b[i].Bare})
		}
	})
}
