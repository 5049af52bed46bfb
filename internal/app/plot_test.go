package app

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
	"leafturn/internal/week"
	"leafturn/plots"
)

// A season of the south begins with week 27 and is named by both its years;
// the weeks are those of ISO 8601 (1 January 2027 lies in week 53 of 2026).
func TestPlotYears_SeasonWeek(t *testing.T) {
	for _, c := range []struct {
		day        string
		south      bool
		year, week int
		name       string
	}{
		{"2026-07-20", false, 2026, 30, "2026"},
		{"2027-01-01", false, 2026, 53, "2026"},
		{"2025-12-29", false, 2026, 1, "2026"},
		{"2027-01-01", true, 2026, 53, "2026/27"},
		{"2027-02-10", true, 2026, 6, "2026/27"},
		{"2026-06-28", true, 2025, 26, "2025/26"},
		{"2026-06-29", true, 2026, 27, "2026/27"},
		{"1999-12-06", true, 1999, 49, "1999/00"},
	} {
		year, week := seasonWeek(civil.MustParse(c.day), c.south)
		require.Equal(t, c.year, year, c.day)
		require.Equal(t, c.week, week, c.day)
		require.Equal(t, c.name, farm.SeasonName(year, c.south))
	}
}

// Two visits of a bed in a week are one value of it, and each bed weighs the
// same: (2 + 4)/2 = 3 of A and 9 of B give 6.
func TestPlotYears_Lines(t *testing.T) {
	this, earlier := yearLines([]yearWeek{
		{year: 2026, week: 30, bed: "A", value: 2}, {year: 2026, week: 30, bed: "A", value: 4}, {year: 2026, week: 30, bed: "B", value: 9, compared: true, passed: true},
		{year: 2026, week: 29, bed: "B", value: 1, compared: true},
		{year: 2024, week: 26, bed: "A", value: 7, compared: true, passed: true}, {year: 2024, week: 25, bed: "B", value: 8, compared: true, passed: true},
		{year: 2025, week: 2, bed: "A", value: 5},
	}, 2026, false)
	require.Equal(t, plots.YearLine{Name: "2026", Weeks: []plots.WeekValue{{Week: 29, Value: 1}, {Week: 30, Value: 6}}, Passed: 30, Compared: true}, this)
	require.Equal(t, []plots.YearLine{
		{Name: "2024", Weeks: []plots.WeekValue{{Week: 25, Value: 8}, {Week: 26, Value: 7}}, Passed: 25, Compared: true},
		{Name: "2025", Weeks: []plots.WeekValue{{Week: 2, Value: 5}}},
	}, earlier)

	this, earlier = yearLines([]yearWeek{{year: 2026, week: 2, bed: "A", value: 1, passed: true}, {year: 2026, week: 51, bed: "A", value: 3, passed: true}}, 2026, true)
	require.Equal(t, 51, this.Passed, "in the south week 51 comes first")
	require.Equal(t, []plots.WeekValue{{Week: 51, Value: 3}, {Week: 2, Value: 1}}, this.Weeks)
	require.Empty(t, earlier)

	var many []yearWeek
	for y := range 14 {
		many = append(many, yearWeek{year: 2010 + y, week: 20, bed: "A"})
	}
	_, earlier = yearLines(many, 2026, false)
	require.Len(t, earlier, mostYears)
	require.Equal(t, "2014", earlier[0].Name, "the latest of them")
}

func TestPlotYears_CommonLevel(t *testing.T) {
	on := civil.MustParse("2026-07-01")
	seg := func(v float64) []plots.Segment { return []plots.Segment{{Value: v}} }
	for _, c := range []struct {
		beds [][]plots.Segment
		want float64
		ok   bool
	}{
		{nil, 0, false},
		{[][]plots.Segment{seg(5), seg(10), seg(10)}, 10, true},
		{[][]plots.Segment{seg(5), seg(10)}, 5, true}, // the lower of two as common
		{[][]plots.Segment{{{To: on.AddDays(-1), Value: 5}, {From: on, Value: 10}}}, 10, true},
		{[][]plots.Segment{{{From: on.AddDays(1), Value: 10}}}, 0, false},
	} {
		v, ok := commonLevel(c.beds, on)
		require.Equal(t, c.want, v)
		require.Equal(t, c.ok, ok)
	}
	for _, c := range []struct {
		value    float64
		operator string
		want     bool
	}{{5, ">=", true}, {5, ">", false}, {5.1, ">", true}, {4.9, ">=", false}} {
		require.Equal(t, c.want, reaches(c.value, &assess.Level{Value: 5, Operator: c.operator}))
	}
	levels := []plots.WeekLevel{{From: 45, To: 52, Value: 5}, {From: 1, To: 4, Value: 10}}
	require.Equal(t, 5.0, levelInWeek(levels, 50, true).Value)
	require.Equal(t, 10.0, levelInWeek(levels, 3, true).Value)
	require.Nil(t, levelInWeek(levels, 30, true))
}

// What a picture says to do next, by verdict.
func TestPlotNext_Words(t *testing.T) {
	u := assess.Unit{Label: "leaf", Wanted: 40}
	x := assess.Assessment{Bed: farm.Bed{Code: "D5"}, Pest: assess.Pest{Key: "spider_mite", Name: "spider mites", Units: []assess.Unit{u}}, InSeason: true}
	today := civil.MustParse("2026-07-20")
	k := [2]string{"D5", "spider_mite"}
	line := week.Line{Head: "Wash the leaf undersides.", By: civil.MustParse("2026-07-23")}
	due := week.Due{By: civil.MustParse("2026-07-27"), More: 12}
	for _, c := range []struct {
		v        verdict.Verdict
		line     *week.Line
		due      *week.Due
		inSeason bool
		want     string
		short    string
	}{
		{verdict.Act, &line, &due, true, "By Thu 23 Jul: wash the leaf undersides. Look again by Mon 27 Jul: 12 more leaves would probably settle it.", "act by 23 Jul"},
		{verdict.Act, nil, nil, true, "Act: `leafturn week` has what is allowed.", ""},
		{verdict.LookAgain, &line, &due, true, "Look again by Mon 27 Jul: 12 more leaves would probably settle it. By Thu 23 Jul: wash the leaf undersides.", "count by 27 Jul"},
		{verdict.LookAgain, nil, &week.Due{By: today.AddDays(-3)}, true, "Look again by Mon 20 Jul: 40 leaves.", "count today"},
		{verdict.Hold, nil, &due, true, "Nothing to do now. Look again by Mon 27 Jul: 12 more leaves would probably settle it.", "count by 27 Jul"},
		{verdict.Stale, nil, nil, false, "The last count is too old to go by. No count is due at this stage.", ""},
		{verdict.NeverCounted, nil, nil, true, "Not counted this season.", ""},
	} {
		n := nextSteps{today: today, do: map[[2]string]week.Line{}, due: map[[2]string]week.Due{}}
		if c.line != nil {
			n.do[k] = *c.line
		}
		if c.due != nil {
			n.due[k] = *c.due
		}
		x.Result.Verdict, x.InSeason = c.v, c.inSeason
		require.Equal(t, c.want, n.words(x), "%s", c.v)
		require.Equal(t, c.short, n.short(x), "%s", c.v)
	}
}

// After a count that was not valid the picture says when one is.
func TestPlotNext_NotValid(t *testing.T) {
	u := assess.Unit{Label: "refuge trap", Wanted: 9, Needs: verdict.Needs{SoilMoist: true}}
	x := assess.Assessment{Pest: assess.Pest{Units: []assess.Unit{u}}, Decider: &assess.Reading{Unit: &u, Invalid: []string{"the soil surface was dry"}}}
	n := nextSteps{today: civil.MustParse("2026-07-20")}
	due := week.Due{By: civil.MustParse("2026-07-23")}
	require.Equal(t, "look again by Thu 23 Jul: 9 refuge traps; the last count was not valid: count only when the soil surface is moist", n.look(x, due))
	x.Decider.Invalid = nil
	require.Equal(t, "look again by Thu 23 Jul: 9 refuge traps", n.look(x, due))
}

// The steps of beds are one where they are the same, those to act first.
func TestPlotNext_Todo(t *testing.T) {
	n := nextSteps{today: civil.MustParse("2026-07-20"), do: map[[2]string]week.Line{}, due: map[[2]string]week.Due{}}
	var list []assess.Assessment
	for _, c := range []struct {
		bed  string
		v    verdict.Verdict
		head string
		by   string
	}{{"A1", verdict.LookAgain, "", "2026-07-21"}, {"A2", verdict.Act, "Lift boards", "2026-07-24"}, {"A3", verdict.Act, "Lift boards", "2026-07-24"}, {"A4", verdict.Act, "Bag blooms", "2026-07-22"}, {"A5", verdict.Hold, "Lift boards", "2026-07-20"}} {
		x := assess.Assessment{Bed: farm.Bed{Code: c.bed}, Pest: assess.Pest{Key: "slug", Name: "slugs"}}
		x.Result.Verdict = c.v
		if c.head != "" {
			n.do[[2]string{c.bed, "slug"}] = week.Line{Head: c.head, By: civil.MustParse(c.by)}
		} else {
			n.due[[2]string{c.bed, "slug"}] = week.Due{By: civil.MustParse(c.by)}
		}
		list = append(list, x)
	}
	require.Equal(t, []plots.Todo{
		{Pest: "slugs", Beds: []string{"A4"}, Words: "bag blooms, by Wed 22 Jul"},
		{Pest: "slugs", Beds: []string{"A2", "A3"}, Words: "lift boards, by Fri 24 Jul"},
		{Pest: "slugs", Beds: []string{"A1"}, Words: "look again, by Tue 21 Jul"},
	}, n.todo(list))

	// A closed bed says so first.
	n.loc, n.closed = time.UTC, map[string]time.Time{"A2": time.Date(2026, 7, 21, 8, 30, 0, 0, time.UTC), "A4": {}}
	require.Equal(t, []plots.Todo{
		{Pest: "slugs", Beds: []string{"A4"}, Words: "bag blooms, by Wed 22 Jul; first keep out: the bed is closed until the re-entry interval has been read off the label"},
		{Pest: "slugs", Beds: []string{"A2"}, Words: "lift boards, by Fri 24 Jul; first keep out until Tue 21 Jul 08:30 (re-entry)"},
		{Pest: "slugs", Beds: []string{"A3"}, Words: "lift boards, by Fri 24 Jul"},
	}, n.todo(list)[:3])
	require.Equal(t, "keep out now", n.short(list[1]))
	require.Equal(t, "Keep out until Tue 21 Jul 08:30 (re-entry). By Fri 24 Jul: lift boards. No count is due at this stage.", n.words(list[1]))
}
