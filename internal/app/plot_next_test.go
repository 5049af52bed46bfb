package app

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/effect"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/plots"
)

func on(s string) civil.Date { return civil.MustParse("2026-" + s) }

// What to do next, as the pictures say it: every kind of answer once. 20 July
// 2026 is a Monday (ISO week 2026-W30).

func TestFanNext(t *testing.T) {
	a := &App{}
	a.farm = farm.Farm{WaitingCost: 1} // hold below 0.2
	counted, today := on("07-20"), on("07-20")
	chance := func(v float64) *float64 { return &v }
	day := func(over float64) plots.FanDay { return plots.FanDay{Date: on("08-03"), Over: chance(over)} }
	bed := func(within float64) *ForecastBed {
		return &ForecastBed{Bed: "D5", Counted: &counted, Ways: []ForecastWay{{Days: []ForecastDay{{Within: chance(within)}}}}}
	}
	fan := func(nothing float64, ways ...float64) plots.Fan {
		f := plots.Fan{Level: 10, Today: today, Nothing: []plots.FanDay{day(nothing)}}
		for i, w := range ways {
			f.Ways = append(f.Ways, plots.FanWay{Name: []string{"water jet", "predators"}[i], On: today, Days: []plots.FanDay{day(w)}})
		}
		return f
	}
	require.Equal(t, "hold; the level is not likely to be passed by Mon 3 Aug. Count D5 again by Mon 27 Jul.", a.fanNext(bed(0.06), fan(0.05, 0.01), nil, ""))
	require.Equal(t, "predators on Mon 20 Jul leaves the lowest chance of what is compared: see it in the week's list. Then count D5 again by Mon 27 Jul.", a.fanNext(bed(0.98), fan(0.93, 0.8, 0.09), nil, ""))
	require.Equal(t, "nothing that is compared lowers the chance much. Open by hand: strip leaves; count before and after. Count D5 again by Mon 27 Jul.", a.fanNext(bed(0.98), fan(0.93, 0.88), []string{"strip leaves"}, ""))
	require.Equal(t, "nothing that is open and compared lowers the chance much: see the week's list. Count D5 again by Mon 27 Jul.", a.fanNext(bed(0.98), fan(0.93), nil, ""))
	none := fan(0.93)
	none.Level = 0
	require.Contains(t, a.fanNext(bed(0.98), none, nil, ""), "Count D5 again by Mon 27 Jul; no action level is known here")
	late := fan(0.93)
	late.Today = on("07-28")
	require.Contains(t, a.fanNext(bed(0.98), late, nil, ""), "Count D5 again now.")

	const week = "By Thu 23 Jul: wash the leaves. Look again by Mon 27 Jul: 40 leaves."
	require.Equal(t, week+" Of what is compared here, predators on Mon 20 Jul leaves the lowest chance.", a.fanNext(bed(0.98), fan(0.93, 0.8, 0.09), nil, week))
	require.Equal(t, week+" The level is not likely to be passed by Mon 3 Aug.", a.fanNext(bed(0.06), fan(0.05, 0.01), nil, week))
	require.Equal(t, week+" Nothing that is compared here lowers the chance much: count before and after a step.", a.fanNext(bed(0.98), fan(0.93, 0.88), []string{"strip leaves"}, week))
	require.Contains(t, a.fanNext(bed(0.98), none, nil, week), week+" No action level is known here")
}

func TestSumNext(t *testing.T) {
	today := on("07-20")
	stage := plots.StageMark{Name: "eggs hatch", Earliest: on("07-10"), Expected: on("07-24"), Latest: on("08-02")}
	steps := []ClockStep{{Date: on("07-24"), Text: "Look at shoot tips."}, {Date: on("07-07"), Text: "Look under leaves."}}
	for _, c := range []struct {
		stages  []plots.StageMark
		steps   []ClockStep
		marks   []plots.SumMark
		unknown string
		want    string
	}{
		{steps: steps, want: "look under leaves. From Fri 24 Jul on: look at shoot tips."},
		{stages: []plots.StageMark{stage}, steps: steps, want: "look under leaves. From Fri 24 Jul on: look at shoot tips."},
		{stages: []plots.StageMark{{Name: "x", Expected: on("07-01")}}, steps: steps[1:], want: "no stage is to come in these days: go by the counts."},
		{stages: []plots.StageMark{stage}, want: "look for eggs hatch from Mon 20 Jul to Sun 2 Aug."},
		{stages: []plots.StageMark{{Name: "x", Expected: on("07-01")}}, want: "no stage is to come in these days: go by the counts."},
		{marks: []plots.SumMark{{Sum: 100, Date: on("05-01")}, {Sum: 900, Date: on("08-06")}}, want: "the sum of 900 is reached about Thu 6 Aug."},
		{unknown: "when to expect nymphs (no figures)", want: "go by the counts; not known is when to expect nymphs (no figures)."},
		{},
	} {
		require.Equal(t, c.want, sumNext(c.stages, c.steps, c.marks, c.unknown, today))
	}
}

func TestWorkedNext(t *testing.T) {
	today := on("07-20")
	result := func(name string, method effect.Method, from, by string, beds ...string) tried {
		return tried{catalog.Pest{}, effect.Result{Step: effect.Step{Name: name, Beds: beds}, Method: method, CountFrom: on(from), CountBy: on(by)}}
	}
	require.Equal(t, "count D3 from Wed 22 Jul to Wed 12 Aug (sulfur); B4 by Wed 29 Jul (water jet).",
		workedNext([]tried{result("sulfur", effect.None, "07-22", "08-12", "D3"), result("water_jet", effect.None, "07-08", "07-29", "B4"), result("late", effect.None, "06-01", "06-20", "A1")}, nil, today))
	counted := result("bait", effect.None, "07-01", "07-30", "A1")
	counted.After = estimate.Cell{Total: 3, Units: 9}
	require.Equal(t, "count each bed just before a step and after its wait, and one untreated bed with it.", workedNext([]tried{counted}, nil, today), "it was counted, and cannot be told")
	require.Equal(t, "next time leave one bed untreated and count it too.", workedNext([]tried{result("bait", effect.BeforeAndAfter, "06-01", "06-20", "A1")}, nil, today))
	require.Equal(t, "try the next step instead of squash. Go on with night pick where counts ask for it. To be surer, count more units just before and after the next of these, in untreated beds too: a, b, c and 2 more.",
		workedNext(nil, []WorkedOwn{{Name: "squash", PassedOver: true}, {Name: "night_pick", Low: 20, High: 90}, {Name: "a", Low: -5}, {Name: "b"}, {Name: "c"}, {Name: "d"}, {Name: "e"}}, today))
}

// The mean expected after a step, by hand.
func TestExpectedAfter(t *testing.T) {
	m := func(v float64) *plots.Mean { return &plots.Mean{Value: v, Units: 9} }
	v := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		t    plots.Try
		want *float64
	}{
		{plots.Try{Before: m(4), CheckBefore: m(2), CheckAfter: m(3)}, v(6)}, // half as many again in untreated beds
		{plots.Try{Before: m(4), CheckBefore: m(0), CheckAfter: m(3)}, nil},
		{plots.Try{CheckAfter: m(3)}, v(3)},
		{plots.Try{Before: m(4)}, v(4)},
		{plots.Try{}, nil},
	} {
		require.Equal(t, c.want, expectedAfter(c.t))
	}
	require.Equal(t, on("06-03"), middleDay(on("06-01"), on("06-05")))
}

func TestSowingNext(t *testing.T) {
	today := on("03-01")
	require.Contains(t, bloomNext(nil, today), "choose plants")
	rows := []plots.BloomRow{{Plant: "dill", Sow: []civil.Date{on("02-01"), on("04-01")}}, {Plant: "fennel", Sow: []civil.Date{on("04-01")}}, {Plant: "clover"}}
	require.Equal(t, "sow dill, fennel on Wed 1 Apr.", bloomNext(rows, today))
	require.Contains(t, bloomNext(rows, on("05-01")), "no sowing is left")
	beds := []plots.CoverBed{
		{Code: "A1", Cover: "Rye", Sow: on("09-12"), End: on("12-20")}, {Code: "A2", Cover: "Rye", Sow: on("09-12"), End: on("12-20")},
		{Code: "A3", Cover: "Pea", Sow: on("09-20"), End: on("12-10")}, {Code: "A4"}}
	require.Equal(t, "sow Rye in A1 A2 from Sat 12 Sep on.", coverNext(beds, today))
	require.Equal(t, "end Pea in A3 by Thu 10 Dec.", coverNext(beds, on("10-01")))
	require.Empty(t, coverNext(beds, on("12-31")))
	require.Empty(t, coverNext(nil, today))
}

func TestSoFarNext(t *testing.T) {
	x := asked{}
	x.unit.Label = "leaf"
	require.Equal(t, "go on: about 4 more leaves.", soFarNext(x, SampleAdvice{Stop: "go on", More: 3.6}))
	require.Contains(t, soFarNext(x, SampleAdvice{Stop: "act"}), "stop looking: act.")
	require.Contains(t, soFarNext(x, SampleAdvice{Stop: "act", Verdict: "act"}), "stop looking: act.")
	require.Equal(t, "the verdict decides, and it is: look again. The lines alone would say hold.", soFarNext(x, SampleAdvice{Stop: "hold", Verdict: "look again"}))
}

func TestSharedDetails(t *testing.T) {
	beds := []string{"A1", "A10", "B2"}
	require.Equal(t, []string{"each bed (30 m²): 73 g", "gloves", "A1 B2, each: 0 of 6 used", "A10: 1 of 6 used", "B2 is wet"},
		sharedDetails([]string{"A1 (30 m²): 73 g", "gloves", "A1: 0 of 6 used", "A10 (30 m²): 73 g", "A10: 1 of 6 used", "B2 (30 m²): 73 g", "B2: 0 of 6 used", "B2 is wet"}, beds))
	require.Equal(t, []string{"gloves", "gloves"}, sharedDetails([]string{"gloves", "gloves"}, beds), "words of no bed stay")
	require.Empty(t, sharedDetails(nil, nil))
}
