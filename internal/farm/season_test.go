package farm_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

func date(s string) civil.Date { return civil.MustParse(s) }

func monthDay(t *testing.T, s string) civil.MonthDay {
	t.Helper()
	if s == "" {
		return civil.MonthDay{}
	}
	m, err := civil.ParseMonthDay(s)
	require.NoError(t, err)
	return m
}

// By hand: calendar years in the north, 1 July to 30 June in the south.
func TestSeasonOf(t *testing.T) {
	for _, c := range []struct {
		day               string
		south             bool
		first, last, name string
	}{
		{"2026-01-01", false, "2026-01-01", "2026-12-31", "2026"},
		{"2026-12-31", false, "2026-01-01", "2026-12-31", "2026"},
		{"2026-07-01", true, "2026-07-01", "2027-06-30", "2026/27"},
		{"2026-12-31", true, "2026-07-01", "2027-06-30", "2026/27"},
		{"2027-01-01", true, "2026-07-01", "2027-06-30", "2026/27"},
		{"2027-06-30", true, "2026-07-01", "2027-06-30", "2026/27"},
		{"2026-06-30", true, "2025-07-01", "2026-06-30", "2025/26"},
		{"1999-12-06", true, "1999-07-01", "2000-06-30", "1999/00"},
	} {
		s := farm.SeasonOf(date(c.day), c.south)
		require.Equal(t, farm.Season{First: date(c.first), Last: date(c.last)}, s, c.day)
		require.Equal(t, c.name, s.Name())
		require.Equal(t, c.south, s.South())
	}
}

// Seasons follow each other without a gap, each day lies in its own alone, and
// a day that comes every year comes once in each.
func TestSeason_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		day := date("1990-01-01").AddDays(rapid.IntRange(0, 30000).Draw(t, "day"))
		s := farm.SeasonOf(day, rapid.Bool().Draw(t, "south"))
		require.True(t, s.Holds(day))
		require.False(t, s.Holds(s.First.AddDays(-1)))
		require.False(t, s.Holds(s.Last.AddDays(1)))
		require.Equal(t, s, farm.SeasonOf(s.First, s.South()))
		require.Equal(t, s, farm.SeasonOf(s.Last, s.South()))
		before := s.Back(1)
		require.Equal(t, s.First, before.Last.AddDays(1))
		require.Equal(t, s, before.Back(-1))
		require.Equal(t, s.Year()-1, before.Year())

		some := date("2001-01-01").AddDays(rapid.IntRange(0, 364).Draw(t, "of the year"))
		m := civil.MonthDay{Month: some.Month, Day: some.Day}
		d := s.Day(m)
		require.True(t, s.Holds(d), "%s in %s", m, s.Name())
		require.Equal(t, m, civil.MonthDay{Month: d.Month, Day: d.Day})

		again, ok := farm.ParseSeason(s.Name(), s.South())
		require.True(t, ok)
		require.Equal(t, s, again)
	})
}

func TestParseSeason(t *testing.T) {
	for _, c := range []struct {
		word  string
		south bool
		first string // "" is refused
	}{
		{"2026", false, "2026-01-01"}, {" 2026 ", false, "2026-01-01"},
		{"2026", true, "2026-07-01"}, {"2026/27", true, "2026-07-01"}, {"2026-27", true, "2026-07-01"}, {"2026/2027", true, "2026-07-01"}, {"1999/00", true, "1999-07-01"},
		{"2026/27", false, ""}, {"2026/28", true, ""}, {"2026/26", true, ""}, {"26/27", true, ""}, {"2026/7", true, ""}, {"soon", true, ""}, {"", false, ""}, {"2026-01-01", true, ""},
	} {
		s, ok := farm.ParseSeason(c.word, c.south)
		require.Equal(t, c.first != "", ok, c.word)
		require.Equal(t, c.first, s.First.String(), c.word)
	}
}

func TestFarm_South(t *testing.T) {
	deg := func(v float64) *float64 { return &v }
	for name, c := range map[string]struct {
		lat         *float64
		last, first string
		country     string
		south       bool
		by          string
	}{
		"nothing said":                   {},
		"latitude":                       {lat: deg(-42.9), south: true, by: "latitude"},
		"latitude before all":            {lat: deg(45.1), last: "10-15", first: "04-25", country: "NZ", by: "latitude"},
		"on the equator the frosts say":  {lat: deg(0), last: "10-15", first: "04-25", south: true, by: "frosts"},
		"frosts":                         {last: "10-15", first: "05-05", country: "US", south: true, by: "frosts"},
		"frosts of the north":            {last: "04-25", first: "10-20", country: "NZ", by: "frosts"},
		"a north all but without frost":  {last: "02-10", first: "01-05", by: "frosts"},
		"a north without winter's frost": {last: "01-20", first: "12-28", by: "frosts"},
		"a south all but without frost":  {last: "08-01", first: "07-10", south: true, by: "frosts"},
		"a short summer of the south":    {last: "12-01", first: "02-10", south: true, by: "frosts"},
		"one frost alone says nothing":   {last: "10-15", country: "CL", south: true, by: "country"},
		"country":                        {country: "NZ", south: true, by: "country"},
		"country on both sides":          {country: "BR"},
	} {
		f := farm.Farm{LastFrost: monthDay(t, c.last), FirstFrost: monthDay(t, c.first), Country: c.country, FarmMore: farm.FarmMore{Latitude: c.lat}}
		south, by := f.SouthBy()
		require.Equal(t, c.south, south, name)
		require.Equal(t, c.by, by, name)
		require.Equal(t, c.south, f.South(), name)
		require.Equal(t, c.south, f.Season(date("2027-01-10")).First == date("2026-07-01"), name)
	}
}

// Stages of November hold in January in the south, and end with the season.
func TestSeason_StageOn(t *testing.T) {
	events := []farm.StageEvent{{Date: date("2026-11-10"), Stage: farm.Planted}, {Date: date("2026-12-28"), Stage: farm.Pinched}, {Date: date("2027-05-20"), Stage: farm.Dug}}
	for _, c := range []struct {
		on    string
		south bool
		stage farm.Stage
		since string
	}{
		{"2026-11-09", true, farm.PrePlant, ""}, {"2026-12-31", true, farm.Pinched, "2026-12-28"}, {"2027-01-01", true, farm.Pinched, "2026-12-28"},
		{"2027-06-30", true, farm.Dug, "2027-05-20"}, {"2027-07-01", true, farm.PrePlant, ""},
		{"2026-12-31", false, farm.Pinched, "2026-12-28"}, {"2027-01-01", false, farm.PrePlant, ""},
	} {
		stage, since := farm.SeasonOf(date(c.on), c.south).StageOn(events, date(c.on))
		require.Equal(t, c.stage, stage, c.on)
		require.Equal(t, c.since, since.String(), c.on)
	}
}

func TestSeason_Like(t *testing.T) {
	north, south := farm.SeasonOf(date("2027-01-10"), false), farm.SeasonOf(date("2027-01-10"), true)
	june := civil.MonthDay{Month: time.June, Day: 1}
	require.Equal(t, date("2027-06-01"), north.Like(june))
	require.Equal(t, date("2026-12-01"), south.Like(june))
	require.Equal(t, south.First, south.Like(civil.MonthDay{Month: time.January, Day: 1}))
	require.Equal(t, south.Last, south.Like(civil.MonthDay{Month: time.December, Day: 31}))
}
