package companion_test

import (
	"math"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/companion"
)

var day = civil.MustParse

func md(m time.Month, d int) civil.MonthDay { return civil.MonthDay{Month: m, Day: d} }

// Every sowing window of the table.
func TestParseSowWindow_Table(t *testing.T) {
	type (
		W = companion.SowWindow
		S = companion.MonthSpan
	)
	span := func(a time.Month, x int, b time.Month, y int) S { return S{From: md(a, x), To: md(b, y)} }
	spring, autumn := span(3, 1, 5, 31), span(9, 1, 11, 30)
	want := map[string]W{
		"transplants Apr-May (6-7 weeks old); resow every 8-10 weeks": {Spans: []S{span(4, 1, 5, 31)}, PlantOut: true, RaiseMax: 49, EveryMin: 56, EveryMax: 70, Resown: true},
		"from 2 weeks after last frost, every 3-4 weeks to early Aug": {AfterFrost: true, FrostDays: 14, EveryMin: 21, EveryMax: 28, Until: md(8, 10)},
		"Mar-Apr and again every 4 weeks to July":                     {Spans: []S{span(3, 1, 4, 30)}, EveryMin: 28, EveryMax: 28, Until: md(7, 31)},
		"spring":                           {Spans: []S{spring}},
		"Apr to July every 4 weeks":        {Spans: []S{span(4, 1, 7, 31)}, EveryMin: 28, EveryMax: 28},
		"Mar to June":                      {Spans: []S{span(3, 1, 6, 30)}},
		"transplant autumn or spring":      {Spans: []S{spring, autumn}, PlantOut: true},
		"spring, needs establishment year": {Spans: []S{spring}},
		"after last frost":                 {AfterFrost: true},
		"Mar-Apr or Sept":                  {Spans: []S{span(3, 1, 4, 30), span(9, 1, 9, 30)}},
		"late May to early July":           {Spans: []S{span(5, 21, 7, 10)}},
		"Apr to June":                      {Spans: []S{span(4, 1, 6, 30)}},
		"Sept or Mar":                      {Spans: []S{span(9, 1, 9, 30), span(3, 1, 3, 31)}},
		"Apr to June in two sowings":       {Spans: []S{span(4, 1, 6, 30)}},
		"Oct (garlic), spring (chives)":    {Spans: []S{span(10, 1, 10, 31), spring}},
		"start Feb-Mar in pots":            {Spans: []S{span(2, 1, 3, 31)}, RaisedInPots: true},
		"2 weeks before dahlias come in":   {BeforePlant: true, PlantDays: 14},
		"Sept to Oct or Mar":               {Spans: []S{span(9, 1, 10, 31), span(3, 1, 3, 31)}},
		"Mar-Apr or Aug":                   {Spans: []S{span(3, 1, 4, 30), span(8, 1, 8, 31)}},
		"Mar-Apr":                          {Spans: []S{span(3, 1, 4, 30)}},
		"Mar":                              {Spans: []S{span(3, 1, 3, 31)}},
		"2 weeks before dahlia planting":   {BeforePlant: true, PlantDays: 14},
		"at or before planting":            {BeforePlant: true},
		"Apr to Sept":                      {Spans: []S{span(4, 1, 9, 30)}},
		"May":                              {Spans: []S{span(5, 1, 5, 31)}},
		"Mar under cover":                  {Spans: []S{span(3, 1, 3, 31)}, RaisedInPots: true},
		"Oct or Feb-Mar":                   {Spans: []S{span(10, 1, 10, 31), span(2, 1, 3, 31)}},
	}
	unread := map[string]bool{"": true, "as above": true, "sow 10-12 weeks before use": true, "when soil above 10 C": true}
	seen := map[string]bool{}
	for _, r := range table(t) {
		w, ok := companion.ParseSowWindow(r.SowWindow)
		seen[r.SowWindow] = true
		if unread[r.SowWindow] {
			require.False(t, ok, r.SowWindow)
			continue
		}
		x, there := want[r.SowWindow]
		require.True(t, there, r.SowWindow)
		require.True(t, ok, r.SowWindow)
		require.Equal(t, x, w, r.SowWindow)
	}
	for text := range want {
		require.True(t, seen[text], text)
	}
}

// ISO weeks against the calendar's own.
func TestMonday(t *testing.T) {
	for y := 2020; y <= 2040; y++ {
		for w := 1; w <= companion.WeeksIn(y); w++ {
			m := companion.Monday(y, w)
			require.Equal(t, time.Monday, m.Weekday())
			gy, gw := m.ISOWeek()
			require.Equal(t, [2]int{y, w}, [2]int{gy, gw})
		}
		gy, gw := companion.Monday(y, companion.WeeksIn(y)).AddDays(7).ISOWeek()
		require.Equal(t, [2]int{y + 1, 1}, [2]int{gy, gw})
	}
}

// By hand. 2026: 6 Jul is in W28, 13 Jul W29, 20 Jul W30, 3 Aug W32.
func TestNeeded(t *testing.T) {
	on := func(d string, c float64) companion.ChanceOn { return companion.ChanceOn{On: day(d), Chance: c} }
	needs := companion.Needed([]companion.Curve{
		{Pest: "aphid", Bed: "A", Points: []companion.ChanceOn{on("2026-07-06", 0.2), on("2026-07-13", 0.5), on("2026-07-27", 0.9), on("2026-08-31", 0.6)}},
		{Pest: "aphid", Bed: "B", Points: []companion.ChanceOn{on("2025-06-02", 0.8)}}, // W23
		{Pest: "mite", Bed: "A", Points: []companion.ChanceOn{on("2026-07-06", 0.49), on("2026-08-03", math.NaN())}},
	}, companion.Season{Year: 2027}, companion.DefaultNeedOptions())
	require.Equal(t, []companion.Need{
		// W29-W31 join (14 days apart), W36 does not (35 days), W23 of the year before.
		{Pest: "aphid", Over: []int{23, 29, 30, 31, 36}, Weeks: []int{20, 21, 22, 23, 26, 27, 28, 29, 30, 31, 33, 34, 35, 36}, Seasons: 2},
		{Pest: "mite", Seasons: 1},
	}, needs)
	// Week 53 of 2026 falls on the last week of 2027, which has 52.
	needs = companion.Needed([]companion.Curve{{Pest: "x", Points: []companion.ChanceOn{on("2026-12-31", 1)}}}, companion.Season{Year: 2027}, companion.NeedOptions{Over: 0.5})
	require.Equal(t, []int{52}, needs[0].Over)
}

func crop(t testing.TB, plant string, serves ...string) companion.Crop {
	t.Helper()
	for _, r := range table(t) {
		if r.Plant == plant {
			return companion.Crop{Plant: plant, SowWindow: r.SowWindow, BloomWindow: r.BloomWindow, BloomsIn: 1, Serves: serves}
		}
	}
	require.Fail(t, plant)
	return companion.Crop{}
}

func season(year int, today string) companion.Season {
	return companion.Season{Year: year, Today: day(today), LastFrost: lastFrost, FirstFrost: firstFrost, PlantAfterFrost: 20}
}

func need(weeks ...int) []companion.Need { return []companion.Need{{Pest: "aphid", Weeks: weeks}} }

func span(a, b int) []int {
	var out []int
	for w := a; w <= b; w++ {
		out = append(out, w)
	}
	return out
}

func sown(p companion.Timing) []string {
	var out []string
	for _, s := range p.Sowings {
		w := s.On.String()
		if !s.PlantOut.IsZero() {
			w += " out " + s.PlantOut.String()
		}
		out = append(out, w)
	}
	return out
}

// By hand for 2027, last frost 25 Apr, first frost 20 Oct. Week 21 begins on
// Mon 24 May, 30 on 26 Jul, 31 on 2 Aug.
func TestPlan_ByHand(t *testing.T) {
	// Buckwheat from 9 May blooms from day 30 to day 50. Week 24 (14-20 Jun) has
	// four days in bloom when bloom begins by 17 Jun (sown 18 May) and lasts to 17
	// Jun; of the days that cover it the last reaches furthest: to W25 too when
	// sown by 18 May, ends 7 Jul: W26 (28 Jun-4 Jul) whole. First that reaches
	// W26: ends on 1 Jul or later, sown 12 May or later.
	p := companion.Plan(crop(t, "buckwheat strip", "aphid"), need(24), season(2027, "2026-07-20"))
	require.Equal(t, []string{"2027-05-12"}, sown(p))
	require.Equal(t, []companion.Days{{From: day("2027-06-11"), To: day("2027-07-01")}}, p.Bloom)
	// Weeks before the first bloom and long after the last cannot be had.
	p = companion.Plan(crop(t, "buckwheat strip", "aphid"), need(20, 24, 45), season(2027, "2026-07-20"))
	require.Equal(t, []int{24}, p.Covered)
	require.Equal(t, []int{20, 45}, p.Missed)

	// Alyssum is raised for 49 days and planted out from 1 Apr: sown from 11 Feb;
	// it blooms from day 56 to day 42 + 56 - 1 = 97.
	p = companion.Plan(crop(t, "sweet alyssum", "aphid"), need(14), season(2027, "2026-07-20"))
	require.Equal(t, []string{"2027-02-11 out 2027-04-01"}, sown(p))
	require.Equal(t, []companion.Days{{From: day("2027-04-08"), To: day("2027-05-19")}}, p.Bloom)
	require.Equal(t, []companion.Days{{From: day("2027-02-11"), To: day("2027-07-07")}}, p.Windows) // out until 20 Oct - 56 = 25 Aug

	// Cosmos is sown from 25 Apr and blooms after 70 days, not before July, to the frost.
	p = companion.Plan(crop(t, "cosmos", "aphid"), need(span(26, 41)...), season(2027, "2026-07-20"))
	require.Equal(t, []string{"2027-04-25"}, sown(p))
	require.Equal(t, []companion.Days{{From: day("2027-07-04"), To: day("2027-10-20")}}, p.Bloom)
	require.Equal(t, []int{26}, p.Missed) // 28 Jun to 4 Jul

	// Cornflower of September blooms in May of the next year, not of its own.
	p = companion.Plan(crop(t, "bachelor's button (cornflower)", "aphid"), need(20), season(2027, "2026-07-20"))
	require.Equal(t, []string{"2026-09-01"}, sown(p))
	require.Equal(t, []companion.Days{{From: day("2027-05-01"), To: day("2027-08-31")}}, p.Bloom)

	// Yarrow blooms from its second year: planted this autumn, next June.
	c := crop(t, "yarrow", "aphid")
	c.BloomsIn, c.RaiseDays = 2, ptr(56)
	p = companion.Plan(c, need(24), season(2027, "2026-07-20"))
	require.Equal(t, []string{"2026-07-20 out 2026-09-14"}, sown(p))
	require.Equal(t, []companion.Days{{From: day("2027-06-01"), To: day("2027-09-30")}}, p.Bloom)
	require.Contains(t, p.Notes, "it blooms from its second year on")
	// In the year itself there is none.
	p = companion.Plan(c, need(24), season(2026, "2026-03-01"))
	require.Empty(t, p.Bloom)
	require.Equal(t, []int{24}, p.Missed)

	// Wheat goes in 14 days before the dahlias, which follow the frost by 20.
	p = companion.Plan(crop(t, "wheat trap strip"), nil, season(2027, "2026-07-20"))
	require.Equal(t, []string{"2027-04-24"}, sown(p)) // a week is left for it: 24 Apr to 1 May
	require.Empty(t, p.Bloom)

	// Nothing is sown before today, and a window that has passed is named.
	p = companion.Plan(crop(t, "dill", "aphid"), need(30), season(2026, "2026-09-01"))
	require.Empty(t, p.Sowings)
	require.Equal(t, []string{"its sowing window for 2026 has passed"}, p.Notes)
}

func ptr(n int) *int { return &n }

// Buckwheat stands from its sowing to the end of its bloom on day 50: of those
// sown on 9 May, 26 May and 16 Jun all three stand on 16 June.
func TestParts(t *testing.T) {
	p := companion.Plan(crop(t, "buckwheat strip", "aphid"), need(span(23, 30)...), season(2027, "2026-07-20"))
	require.Equal(t, []string{"2027-05-09", "2027-05-26", "2027-06-16"}, sown(p))
	require.Equal(t, 3, p.Parts())
	p = companion.Plan(crop(t, "buckwheat strip", "aphid"), need(23, 32), season(2027, "2026-07-20"))
	require.Equal(t, []string{"2027-05-09", "2027-07-07"}, sown(p))
	require.Equal(t, 1, p.Parts()) // the first stands to 28 Jun
	// Alyssum stands from planting out: one to 1 Jul, the next from 25 Jun.
	p = companion.Plan(crop(t, "sweet alyssum", "aphid"), need(span(21, 30)...), season(2027, "2026-07-20"))
	require.Equal(t, []string{"2027-03-26 out 2027-05-14", "2027-05-07 out 2027-06-25"}, sown(p))
	require.Equal(t, 2, p.Parts())
	require.Equal(t, 1, companion.Timing{}.Parts())
}

// What is not known is said, with the window that is.
func TestPlan_Unknown(t *testing.T) {
	s := season(2027, "2026-07-20")
	p := companion.Plan(crop(t, "sweet alyssum", "thrips"), need(24), s)
	require.Equal(t, []string{"the weeks in which it is needed are not known: thrips was not counted in any season stored"}, p.Notes)
	require.Empty(t, p.Sowings)
	require.NotEmpty(t, p.Windows)

	bare := companion.Season{Year: 2027, Today: day("2026-07-20")}
	for plant, why := range map[string]string{
		"buckwheat strip":          "it is sown after the last frost, which is not known",
		"borage":                   "it blooms to the first frost, which is not known",
		"wheat trap strip":         "it is sown before the dahlias are planted, and without the last frost that day is not known",
		"dill":                     `its bloom window "60-70 days after sowing" does not say how long it blooms`,
		"yarrow":                   "its dates are of planting out, and how long it takes from sowing to that is not known",
		"potato piece bait":        `its sowing window "when soil above 10 C" cannot be read as dates`,
		"ornamental pepper banker": `its sowing window "sow 10-12 weeks before use" cannot be read as dates`,
	} {
		require.Equal(t, why, companion.Plan(crop(t, plant, "aphid"), need(24), bare).Unknown, plant)
	}
	c := crop(t, "dill", "aphid")
	c.SowWindow = ""
	require.Equal(t, "no sowing window is given", companion.Plan(c, need(24), s).Unknown)
	c = crop(t, "dill", "aphid")
	c.BloomWindow = "when it likes"
	require.Equal(t, `its bloom window "when it likes" cannot be read as dates`, companion.Plan(c, need(24), s).Unknown)
	c.BloomWindow = ""
	require.Equal(t, "no bloom window is given", companion.Plan(c, need(24), s).Unknown)
	// How long dill blooms may come from elsewhere.
	c = crop(t, "dill", "aphid")
	c.BloomDays = ptr(21)
	require.Equal(t, []int{24}, companion.Plan(c, need(24), s).Covered)
}

// Phacelia needs days over 13 h. At 45 degrees north days are longer than that
// from about 11 April to about 1 September (almanac, within two days); at the
// equator no day is.
func TestPlan_LongDays(t *testing.T) {
	s := season(2027, "2026-07-20")
	p := companion.Plan(crop(t, "phacelia strip", "aphid"), need(24), s)
	require.Equal(t, []string{"it needs days over 13 h; the farm's latitude is not set, so that is not checked"}, p.Notes)
	for lat, covered := range map[float64][]int{45: {24, 34}, 0: nil} {
		s.Latitude = &lat
		p = companion.Plan(crop(t, "phacelia strip", "aphid"), need(14, 24, 34, 37), s)
		require.Equal(t, covered, p.Covered, lat)
		require.Empty(t, p.Notes)
	}
}

// The number of sowings is the least, by trying all smaller sets of days, with
// the days in bloom counted one by one.
func TestPlan_BruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lo := rapid.IntRange(10, 60).Draw(t, "delay")
		late := rapid.IntRange(0, 10).Draw(t, "late")
		last := rapid.IntRange(3, 40).Draw(t, "last")
		c := companion.Crop{
			Plant: "x", SowWindow: rapid.SampledFrom([]string{"Apr", "Apr to May", "Mar or June", "May to July"}).Draw(t, "sow"), Serves: []string{"aphid"},
			BloomWindow: fmtDays(lo, lo+late) + " after sowing, " + fmtDays(last, last+3), BloomsIn: 1,
		}
		weeks := rapid.SliceOfNDistinct(rapid.IntRange(14, 40), 1, 8, rapid.ID[int]).Draw(t, "weeks")
		s := season(2027, "2026-07-20")
		p := companion.Plan(c, need(weeks...), s)
		require.Len(t, p.Needed, len(weeks))

		covers := func(sow civil.Date, week int) bool {
			n := 0
			for d := companion.Monday(2027, week); n < 7 && d.Before(companion.Monday(2027, week+1)); d = d.AddDays(1) {
				if age := d.Sub(sow); age >= lo+late && age < lo+last && !d.After(firstFrost.In(2027)) {
					n++
				}
			}
			return n >= 4
		}
		var days []civil.Date
		for _, w := range map[string][][2]string{
			"Apr": {{"2027-04-01", "2027-04-30"}}, "Apr to May": {{"2027-04-01", "2027-05-31"}},
			"Mar or June": {{"2027-03-01", "2027-03-31"}, {"2027-06-01", "2027-06-30"}}, "May to July": {{"2027-05-01", "2027-07-31"}},
		}[c.SowWindow] {
			for d := day(w[0]); !d.After(day(w[1])); d = d.AddDays(1) {
				days = append(days, d)
			}
		}
		// Which weeks a day can serve, as a set; the least number by growing sets.
		sets := map[int]bool{}
		all := 0
		for _, d := range days {
			set := 0
			for i, w := range weeks {
				if covers(d, w) {
					set |= 1 << i
				}
			}
			sets[set] = true
			all |= set
		}
		reach, n := map[int]bool{0: true}, 0
		for !reach[all] {
			next := map[int]bool{}
			for a := range reach {
				for b := range sets {
					next[a|b] = true
				}
			}
			reach, n = next, n+1
		}
		for i, w := range weeks {
			require.Equal(t, all>>i&1 == 1, contains(p.Covered, w), "week %d", w)
		}
		if all != 0 {
			require.Len(t, p.Sowings, n)
		}
		for _, w := range p.Covered {
			ok := false
			for _, x := range p.Sowings {
				ok = ok || covers(x.On, w)
			}
			require.True(t, ok, "week %d is said to be covered", w)
		}
	})
}

func fmtDays(a, b int) string {
	if a == b {
		return strconv.Itoa(a) + " days"
	}
	return strconv.Itoa(a) + "-" + strconv.Itoa(b) + " days"
}

func contains(list []int, v int) bool {
	for _, x := range list {
		if x == v {
			return true
		}
	}
	return false
}

// Weeks with a need and no plant that serves it are gaps, weeks of the season
// without any bloom are bare; a further sowing that would fill a gap is found.
func TestCalendar(t *testing.T) {
	s := season(2027, "2026-07-20")
	needs := []companion.Need{{Pest: "aphid", Weeks: []int{20, 24}}, {Pest: "mite", Weeks: []int{24, 45}}}
	p := companion.Plan(crop(t, "buckwheat strip", "aphid"), needs, s)
	weeks := companion.Calendar([]companion.Timing{p}, map[string][]string{p.Plant: {"aphid"}}, needs, s)
	require.Equal(t, 9, weeks[0].Week)             // 1 Mar 2027 is the Monday of W9
	require.Equal(t, 45, weeks[len(weeks)-1].Week) // needed beyond the frost of W42
	gaps := map[int][]string{}
	bare := 0
	for _, w := range weeks {
		gaps[w.Week] = w.Gap
		if w.Bare {
			bare++
		}
	}
	require.Equal(t, []string{"aphid"}, gaps[20])
	require.Equal(t, []string{"mite"}, gaps[24])
	require.Equal(t, []string{"mite"}, gaps[45])
	require.Equal(t, 34-3, bare) // W9 to W42, in bloom W24, W25 and W26

	more, in := p.Fill(companion.Season{Year: 2027}, []int{30, 31})
	require.Equal(t, []int{30, 31}, in)
	require.Equal(t, "2027-06-16", more.On.String()) // W31 begins on 2 Aug; bloom to 5 Aug is four days of it, day 50 of 16 Jun
}
