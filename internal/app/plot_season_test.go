package app

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
	"leafturn/plots"
)

// What is believed stops on the last day on which the verdict takes the count,
// and begins again with what the next count says.
func TestUnknownOf(t *testing.T) {
	day := civil.MustParse
	visit := func(date string, reasons ...string) assess.Reading {
		return assess.Reading{Visit: &farm.Visit{Date: day(date)}, Unit: &assess.Unit{Measure: "m"}, Invalid: reasons}
	}
	x := assess.Assessment{Pest: assess.Pest{StaleDays: 10}, Readings: []assess.Reading{
		visit("2026-07-01"), visit("2026-07-11"), visit("2026-07-20", "the foliage was wet"), visit("2026-07-24"),
		{Visit: &farm.Visit{Date: day("2026-07-25")}, Unit: &assess.Unit{Measure: "another"}},
	}}
	gap := plots.Unknown{Since: day("2026-07-11"), From: day("2026-07-21"), To: day("2026-07-24")}
	require.Equal(t, []plots.Unknown{gap}, unknownOf(x, "m", day("2026-08-03")), "10 days after the last count it still holds")
	open := plots.Unknown{Since: day("2026-07-24"), From: day("2026-08-03"), To: day("2026-08-05")}
	require.Equal(t, []plots.Unknown{gap, open}, unknownOf(x, "m", day("2026-08-05")))
	require.Empty(t, unknownOf(assess.Assessment{}, "m", day("2026-08-05")), "no count, so no time after it")

	var through []assess.Likely
	for d := day("2026-07-11"); !d.After(day("2026-08-05")); d = d.AddDays(1) {
		through = append(through, assess.Likely{Date: d, Low: 1, High: 9})
		if d == day("2026-07-24") {
			through = append(through, assess.Likely{Date: d, Low: 2, High: 3})
		}
	}
	var days []string
	for _, l := range known(through, []plots.Unknown{gap, open}) {
		days = append(days, l.Date.String()[5:])
		require.True(t, l.Date != gap.To || l.High == 3, "of the day of the count what it said")
	}
	require.Equal(t, []string{"07-11", "07-12", "07-13", "07-14", "07-15", "07-16", "07-17", "07-18", "07-19", "07-20", "07-21",
		"07-24", "07-25", "07-26", "07-27", "07-28", "07-29", "07-30", "07-31", "08-01", "08-02", "08-03"}, days)
	require.Len(t, known(through, nil), len(through))
}

// After the plants are dug a picture says that the season is over.
func TestPlotNext_Dug(t *testing.T) {
	x := assess.Assessment{Bed: farm.Bed{Code: "D5"}, Pest: assess.Pest{Key: "mite"}, Stage: farm.Dug, StageSince: civil.MustParse("2026-10-28")}
	for _, v := range []verdict.Verdict{verdict.Hold, verdict.Stale, verdict.LookAgain, verdict.NeverCounted} {
		x.Result.Verdict = v
		require.Equal(t, "The season is over: the plants were dug on Wed 28 Oct, and no count is due.", nextSteps{}.words(x), "%s", v)
		require.True(t, dugOver(x))
	}
	x.InSeason = true // a pest of the ground is looked for in dug beds too
	require.False(t, dugOver(x))
	require.Equal(t, "Not counted this season.", nextSteps{}.words(x))
}

// Of many beds those to act on come first.
func TestNeedOf(t *testing.T) {
	var got []int
	for _, v := range []verdict.Verdict{verdict.Act, verdict.LookAgain, verdict.Stale, verdict.Hold, verdict.NeverCounted} {
		x := assess.Assessment{InSeason: true}
		x.Result.Verdict = v
		got = append(got, needOf(x))
	}
	require.Equal(t, []int{0, 1, 2, 3, 3}, got)
	x := assess.Assessment{}
	x.Result.Verdict = verdict.LookAgain
	require.Equal(t, 3, needOf(x), "out of season")
}
