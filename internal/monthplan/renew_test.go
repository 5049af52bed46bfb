package monthplan_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/monthplan"
	"leafturn/internal/schedule"
	"leafturn/internal/units"
)

type farmLabel = farm.Label

var bees = farm.Value(farm.BeesNotForaging)

// weekly is an invented bait: at least 7 days apart, renewed by 14 days, at
// most 6 in a year and 3 in any 30 days.
func weekly(l *farm.Label) {
	l.MinIntervalDays, l.ReapplyByDays, l.ReapplyWhen = farm.Value(7), farm.Value(14), farm.Value("eaten")
	l.MaxApplications, l.MaxInWindow, l.MaxPer = farm.Value(6), farm.Value(farm.Window{Count: 3, Days: 30}), farm.PerYear
}

// applications lists the days of the product, with what is left after each.
func applications(p monthplan.Plan) (out []string) {
	for _, s := range p.Slots {
		if s.Kind == monthplan.Applying {
			w := s.Date.String()
			if s.LeftKnown {
				w += fmt.Sprintf(" left %d", s.Left)
			}
			if s.Late {
				w += " late"
			}
			out = append(out, w)
		}
	}
	return out
}

func treated(in *monthplan.Input, dates ...string) {
	in.Versions = map[int64]farm.Label{}
	for i, d := range dates {
		end := civil.MustParse(d).In(in.Zone).Add(18 * time.Hour)
		in.History = append(in.History, farm.Treatment{ID: int64(i + 1), Bed: "B1", Label: "bait", Pest: "slug", Date: civil.MustParse(d), Start: end, End: end,
			EndKnown: true, Amount: units.Of(30, "g"), AreaM2: 12})
		in.Versions[int64(i+1)] = in.Labels["bait"]
	}
	for i := range in.Offers[0].Products {
		in.Offers[0].Products[i].Versions = in.Versions
	}
}

// The step on Monday 20 July, the count on the 23rd and the first application
// on it; the next 14 days after, on 6 August, and the third on the 20th, which
// lies after the plan.
func TestMake_Renewal(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*farm.Label)
		before []string // earlier applications
		rain   map[string]float64
		want   []string
		event  string
	}{
		{name: "when due", change: weekly, want: []string{"2026-07-23 left 5", "2026-08-06 left 4"}, event: "eaten 2026-08-13 2026-08-20"},
		{name: "no time given: what is found decides", change: func(l *farm.Label) { weekly(l); l.ReapplyByDays, l.ReapplyWhen = farm.None[int](), farm.None[string]() },
			want: []string{"2026-07-23 left 5"}},
		{name: "three in any 30 days: 4, 11 and 18 July, so the first on 3 August", change: weekly, before: []string{"2026-07-04", "2026-07-11", "2026-07-18"},
			want: []string{"2026-08-03 left 2"}, event: "eaten 2026-08-10 2026-08-17"},
		// The year is full, and the twelve months from 1 April 2026 are until 1 April 2027.
		{name: "one left of the year", change: weekly, before: []string{"2026-04-01", "2026-04-20", "2026-05-10", "2026-06-01", "2026-06-20"},
			want: []string{"2026-07-23 left 0"}, event: "eaten 2027-04-01 2026-08-06"},
		{name: "after the rain that the label names, and no sooner than 7 days", change: func(l *farm.Label) { weekly(l); l.ReapplyWhen = farm.Value("after more than 10 mm of rain") },
			rain: map[string]float64{"2026-07-25": 25}, want: []string{"2026-07-23 left 5", "2026-07-30 left 4", "2026-08-13 left 3"},
			event: "after more than 10 mm of rain 2026-08-22 2026-08-27"},
		{name: "less rain than the label names", change: func(l *farm.Label) { weekly(l); l.ReapplyWhen = farm.Value("after more than 0.5 inches of rain") },
			rain: map[string]float64{"2026-07-25": 12}, want: []string{"2026-07-23 left 5", "2026-08-06 left 4"}, event: "after more than 0.5 inches of rain 2026-08-13 2026-08-20"},
		{name: "rain is nothing to a label that does not name it", change: weekly, rain: map[string]float64{"2026-07-25": 25},
			want: []string{"2026-07-23 left 5", "2026-08-06 left 4"}, event: "eaten 2026-08-13 2026-08-20"},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := base(c.change)
			treated(&in, c.before...)
			in.Weather = map[civil.Date]farm.WeatherDay{}
			for d, mm := range c.rain {
				in.Weather[civil.MustParse(d)] = farm.WeatherDay{Date: civil.MustParse(d), RainMM: &mm}
			}
			p := monthplan.Make(in)
			require.Empty(t, judged(in, p))
			require.Equal(t, c.want, applications(p))
			var events []string
			for _, e := range p.Events {
				w := []string{e.When, "", ""}
				for i, d := range []civil.Date{e.From, e.Until} {
					if !d.IsZero() {
						w[i+1] = d.String()
					}
				}
				events = append(events, strings.Join(w, " "))
			}
			require.Equal(t, c.event, strings.Join(events, "; "))
		})
	}
}

// After an application of 15 July only what follows is planned: due on the
// 29th, counted for two days before.
func TestMake_FollowsAnApplicationMade(t *testing.T) {
	in := base(weekly)
	treated(&in, "2026-07-15")
	in.Offers[0].Renews = in.History[0]
	p := monthplan.Make(in)
	require.Empty(t, judged(in, p))
	require.Equal(t, []string{"2026-07-29 left 4", "2026-08-12 left 3"}, applications(p))
	require.Equal(t, "2026-07-27", slot(t, p, "recount:B1:slug:2").Date.String())
}

// What is said of rotation rests on the pest's generation time, or refuses.
func TestMake_Generations(t *testing.T) {
	for _, c := range []struct {
		days int
		want string
	}{
		{0, "nothing is said of rotation"},
		{10, "against the generation before"}, // 14 days from one application to the next
		{20, ""},                              // the same generation
		{5, ""},                               // two generations lie between
	} {
		in := base(func(l *farm.Label) { weekly(l); l.Actives[0].Group = farm.Value("5") })
		in.Offers[0].GenerationDays = c.days
		s := slot(t, monthplan.Make(in), "product:B1:slug:2")
		if c.want == "" {
			require.NotContains(t, strings.Join(s.Conditions, "|"), "mode of action")
			continue
		}
		require.Contains(t, strings.Join(s.Conditions, "|"), c.want)
	}
}

// Sick plants come out first, then the cutting, clean beds before sick ones,
// with clean blades.
func TestMake_RogueCutClean(t *testing.T) {
	in := base(nil)
	in.Offers = nil
	in.Beds = append(in.Beds, farm.Bed{Code: "B0", LengthM: 10, WidthM: 1.2, Site: farm.Outdoor}, farm.Bed{Code: "B2", LengthM: 10, WidthM: 1.2, Site: farm.Outdoor})
	in.Sick = map[string]bool{"B0": true}
	in.Cut = map[string][]time.Weekday{"B0": {time.Monday}, "B1": {time.Monday}, "B2": {time.Monday}}
	in.Tasks = []monthplan.Task{
		{ID: "rogue", Kind: monthplan.Step, Bed: "B0", Pest: "mosaic", Text: "Take them out", Rung: monthplan.Hand, Minutes: 30, Manner: monthplan.Manner{Chore: monthplan.Rogue}},
		{ID: "blades", Kind: monthplan.Step, Bed: "B2", Pest: "mosaic", Text: "Clean the cutters", Rung: monthplan.Prevention, Minutes: 30, Manner: monthplan.Manner{With: monthplan.Cutting}},
	}
	p := monthplan.Make(in)
	require.Empty(t, judged(in, p))
	var order []string
	for _, s := range p.Slots[:4] {
		order = append(order, s.ID)
	}
	require.Equal(t, []string{"rogue", "cut:B1:2026-07-20", "cut:B2:2026-07-20", "cut:B0:2026-07-20"}, order)
	require.Equal(t, []string{"clean the blades first: they come from B1", "Clean the cutters"}, p.Slots[2].With)
	// Without cutting days the blades are nobody's job of an hour.
	uncut := in
	uncut.Cut = nil
	require.Equal(t, "blades", monthplan.Make(uncut).Standing[0].ID)
	// Where the bed is closed the plants cannot come out, and it is not cut.
	in.Tasks[0].From = civil.MustParse("2026-09-01")
	p = monthplan.Make(in)
	require.Contains(t, p.Unplaced[1].Why, "Take them out")
}

// Watering at 06:00 on Saturdays; a spray that needs 30 dry hours keeps off
// the day before.
func TestMake_DryHours(t *testing.T) {
	in := base(func(l *farm.Label) { l.RainfastH, l.Formulation = farm.Value(30.0), farm.Value("liquid") })
	in.Tasks = nil
	in.Today = civil.MustParse("2026-07-24") // a Friday
	in.Water = []time.Weekday{time.Saturday}
	p := monthplan.Make(in)
	require.Empty(t, judged(in, p))
	require.Equal(t, "2026-07-25 06:30", slot(t, p, "product:B1:slug").Start.In(in.Zone).Format("2006-01-02 15:04"))
}

// A board of every morning: until the count, which comes three days after.
func TestMake_Repeats(t *testing.T) {
	in := base(nil)
	in.Tasks[0].Manner = monthplan.Manner{Every: 1}
	p := monthplan.Make(in)
	var days []string
	for _, s := range p.Slots {
		if strings.HasPrefix(s.ID, "pick") {
			days = append(days, s.Date.String()[8:])
		}
	}
	require.Equal(t, []string{"20", "21", "22", "23"}, days)
	require.Contains(t, slot(t, p, "pick:2").Why[0], "until the count of Thu 23 Jul")
	in.Tasks[0].Standing = true
	require.Equal(t, "pick", monthplan.Make(in).Standing[0].ID)
}

// Set in the evening, emptied every morning after.
func TestMake_EmptiedInTheMorning(t *testing.T) {
	in := base(nil)
	sunny(&in)
	in.Offers = nil
	in.Tasks[0].Manner = monthplan.ReadManner("Set shelter traps at bloom height and empty them each morning", "evening and early morning")
	p := monthplan.Make(in)
	require.Empty(t, judged(in, p))
	require.Equal(t, "2026-07-20 19:00", slot(t, p, "pick").Start.In(in.Zone).Format("2006-01-02 15:04"))
	require.Equal(t, "2026-07-21 06:00", slot(t, p, "pick:2").Start.In(in.Zone).Format("2006-01-02 15:04"))
}

// jet is a wash of every three days against the mites of B1, with a release
// there on Monday 27 July.
func jet() monthplan.Input {
	in := base(nil)
	in.Offers = nil
	in.Agents = map[string]string{"mite_eater": "mite eaters"}
	in.Tasks[0].Pest, in.Tasks[0].Manner = "mite", monthplan.Manner{Every: 3, Washes: true}
	in.Courses = []monthplan.Course{{ID: "rel", Pest: "mite", Agent: "mite_eater", Request: schedule.ReleaseRequest{Bed: bed,
		Agent: schedule.AgentRate{Agent: "mite_eater", Name: "mite eaters", Kind: schedule.PerM2, Rate: 5, LeadDays: 7}}}}
	return in
}

func daysOf(p monthplan.Plan, id string) (days []string) {
	for _, s := range p.Slots {
		if s.ID == id || strings.HasPrefix(s.ID, id+":") && len(s.ID) <= len(id)+3 {
			days = append(days, s.Date.String()[5:])
		}
	}
	return days
}

// A water jet ends before natural enemies are let out, of which it would wash
// off the most; it is not repeated where some were let out already.
func TestMake_NoJetOnNaturalEnemies(t *testing.T) {
	in := jet()
	p := monthplan.Make(in)
	require.Empty(t, judged(in, p))
	require.Equal(t, []string{"07-20", "07-23", "07-26"}, daysOf(p, "pick"))
	require.Contains(t, slot(t, p, "pick").Why, "not again from Mon 27 Jul on: it would wash off mite eaters")
	in.Tasks[0].Washes = false
	require.Len(t, daysOf(monthplan.Make(in), "pick"), 10)
	in = jet()
	in.Courses = nil
	in.Released = []farm.Release{{Bed: "B1", Agent: "mite_eater", Date: civil.MustParse("2026-07-10")}}
	p = monthplan.Make(in)
	require.Equal(t, []string{"07-20"}, daysOf(p, "pick"))
	in.Released[0].Date = civil.MustParse("2026-06-10")
	require.Len(t, daysOf(monthplan.Make(in), "pick"), 10)
}

// A further time that falls on a day without working hours comes on the next
// one, and the one after it is counted from there.
func TestMake_RepeatOnTheNextDay(t *testing.T) {
	in := jet()
	in.Courses = nil
	in.Hours = everyDay()
	in.Days = 27
	delete(in.Hours, time.Sunday)
	p := monthplan.Make(in)
	require.Empty(t, judged(in, p))
	require.Equal(t, []string{"07-20", "07-23", "07-27", "07-30", "08-03", "08-06", "08-10", "08-13"}, daysOf(p, "pick"))
	require.Contains(t, slot(t, p, "pick:3").Why[0], "again after 4 days")
	require.Empty(t, p.Unplaced)
	// One of every day is left out then, and says why.
	in.Tasks[0].Every = 1
	p = monthplan.Make(in)
	require.Equal(t, "Sunday is no working day", p.Unplaced[0].Why)
}

// Two releases a week apart that are looked at after 7 and 14 days: one look on
// the day that both fall on.
func TestMake_OneLookForBoth(t *testing.T) {
	in := jet()
	in.Courses[0].Request.Agent.Releases, in.Courses[0].Request.Agent.IntervalDays = 2, 7
	in.Courses[0].Request.Agent.CheckDays = []int{3, 10}
	p := monthplan.Make(in)
	require.Empty(t, judged(in, p))
	var looks []string
	for _, s := range p.Slots {
		if s.Kind == monthplan.Look {
			looks = append(looks, s.Date.String()[5:])
		}
	}
	require.Equal(t, []string{"07-30", "08-06", "08-13"}, looks)
	require.Subset(t, slot(t, p, "rel:1:look:10").Why, []string{"10 days after those of Mon 27 Jul were let out", "3 days after those of Mon 3 Aug were let out"})
}

// A hand step that cannot be done in time says what is in the way.
func TestMake_LateSaysWhy(t *testing.T) {
	in := base(nil)
	in.Tasks[0].By = in.Today
	delete(in.Hours, time.Monday)
	require.Contains(t, slot(t, monthplan.Make(in), "pick").Why, "late: wanted by Mon 20 Jul; what is in the way: Monday is no working day")
}

// What has failed on this farm is not planned; what is in doubt comes after
// another product, whatever harm that does, and alone if there is none.
func TestMake_OwnResults(t *testing.T) {
	const id = "product:B1:slug"
	in := base(nil)
	other := read("other")
	other.SignalWord = farm.Value("warning")
	q := in.Offers[0].Products[0]
	q.Label = other
	in.Labels["other"] = other
	in.Offers[0].Products = append(in.Offers[0].Products, q)
	require.Equal(t, "bait", slot(t, monthplan.Make(in), id).Label)
	in.Offers[0].Doubt = map[string]string{"bait": "does the pest resist it?"}
	s := slot(t, monthplan.Make(in), id)
	require.Equal(t, "other", s.Label)
	require.Contains(t, s.Others, "Invented bait: does the pest resist it?")
	in.Offers[0].Doubt, in.Offers[0].Failed = nil, map[string]string{"bait": "tried here 2 times"}
	s = slot(t, monthplan.Make(in), id)
	require.Equal(t, "other", s.Label)
	require.Contains(t, s.Others, "Invented bait: tried here 2 times")
	in.Offers[0].Products = in.Offers[0].Products[:1]
	p := monthplan.Make(in)
	require.Empty(t, applications(p))
	require.Equal(t, "Invented bait: tried here 2 times", p.Unplaced[0].Why)
	in.Offers[0].Doubt, in.Offers[0].Failed = map[string]string{"bait": "does the pest resist it?"}, nil
	require.Equal(t, "bait", slot(t, monthplan.Make(in), id).Label)
	// Nor is it used again after one that was made already.
	in = base(weekly)
	treated(&in, "2026-07-18")
	in.Offers[0].Renews = in.History[0]
	require.NotEmpty(t, applications(monthplan.Make(in)))
	in.Offers[0].Failed = map[string]string{"bait": "tried here 2 times"}
	p = monthplan.Make(in)
	require.Empty(t, applications(p))
	require.Equal(t, "tried here 2 times", p.Unplaced[0].Why)
}

// A count of Thursday whose traps stand two nights is set for on Tuesday; one
// that is due today comes when they have stood, and says so.
func TestMake_SetsTrapsBeforeTheCount(t *testing.T) {
	in := base(nil)
	in.Offers, in.Tasks = nil, []monthplan.Task{{ID: "count", Kind: monthplan.Look, Bed: "B1", Pest: "slug", Text: "Slugs", Minutes: 30, From: civil.MustParse("2026-07-23"),
		Traps: monthplan.Traps{Words: "9 traps", Nights: 2}}}
	p := monthplan.Make(in)
	require.Empty(t, judged(in, p))
	require.Equal(t, "2026-07-21 18:00", slot(t, p, "set:count").Start.In(in.Zone).Format("2006-01-02 15:04"))
	require.Equal(t, "2026-07-23", slot(t, p, "count").Date.String())
	in.Tasks[0].From, in.Tasks[0].By = in.Today, in.Today
	p = monthplan.Make(in)
	require.Equal(t, "2026-07-22", slot(t, p, "count").Date.String())
	require.Contains(t, strings.Join(slot(t, p, "count").Why, "|"), "9 traps stand 2 nights before they are read, and are to be set first")
	// The recount before a product is set for too.
	in = base(nil)
	in.Offers[0].Traps = monthplan.Traps{Words: "9 traps", Nights: 1}
	p = monthplan.Make(in)
	require.Empty(t, judged(in, p))
	require.Equal(t, "2026-07-22", slot(t, p, "set:recount:B1:slug").Date.String())
	// They are set after the step that the recount is to judge, not before it.
	in.Tasks[0].From = civil.MustParse("2026-07-24")
	in.Offers[0].RecountDays, in.Offers[0].Traps.Nights = 2, 5
	p = monthplan.Make(in)
	require.Empty(t, judged(in, p))
	require.False(t, slot(t, p, "set:recount:B1:slug").Start.Before(slot(t, p, "pick").End))
	require.Equal(t, "2026-07-29", slot(t, p, "recount:B1:slug").Date.String())
	in.Tasks[0].Part = monthplan.Dark
	for d := range in.Hours {
		in.Hours[d] = []monthplan.Span{{From: 0, To: 24 * 60}}
	}
	p = monthplan.Make(in)
	require.Equal(t, "22:00", slot(t, p, "pick").Start.In(in.Zone).Format("15:04"))
	require.Equal(t, "2026-07-24 22:30", slot(t, p, "set:recount:B1:slug").Start.In(in.Zone).Format("2006-01-02 15:04"))
}

// Of several reasons the one that the grower can mend is told.
func TestMake_SaysWhatCanBeMended(t *testing.T) {
	in := base(nil)
	in.Offers = nil
	in.Hours = monthplan.Hours{time.Sunday: {{From: 600, To: 615}}}
	require.Equal(t, "no working hour is free", monthplan.Make(in).Unplaced[0].Why)
	in.Hours = monthplan.Hours{}
	require.Contains(t, monthplan.Make(in).Unplaced[0].Why, "is no working day")
}

// While a product is applied nobody works in any bed, near or far: 40 CFR
// 170.405 keeps people up to 100 ft away, and one person does all jobs. In a week
// of cutting and watering in six beds no job falls into the 45 minutes.
func TestMake_NobodyWorksWhileItIsApplied(t *testing.T) {
	in := base(nil)
	in.Cut = map[string][]time.Weekday{}
	for i := range 6 {
		b := bed
		b.Code = fmt.Sprintf("C%d", i)
		in.Beds = append(in.Beds, b)
		in.Cut[b.Code] = []time.Weekday{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday}
	}
	in.Water = []time.Weekday{time.Thursday, time.Friday}
	p := monthplan.Make(in)
	s := slot(t, p, "product:B1:slug")
	near := 0
	for _, x := range p.Slots {
		require.True(t, x.ID == s.ID || !x.Start.Before(s.End) || !x.End.After(s.Start), x.ID)
		if x.Date == s.Date {
			near++
		}
	}
	require.Greater(t, near, 6)
}

// Who counts or works in a bed with signs of a disease cleans up before the next.
func TestMake_CleansAfterASickBed(t *testing.T) {
	in := base(nil)
	in.Sick = map[string]bool{"B1": true}
	p := monthplan.Make(in)
	const clean = "clean hands and tools after it: signs of a disease were found in B1"
	require.Contains(t, slot(t, p, "pick").With, clean)
	require.Contains(t, slot(t, p, "recount:B1:slug").With, clean)
	in.Sick = nil
	require.Empty(t, slot(t, monthplan.Make(in), "pick").With)
}

// Of the counts and steps of one day, those in clean beds come first: hands and
// tools carry a disease (the order of the cutting, too).
func TestMake_WorksInCleanBedsFirst(t *testing.T) {
	in := base(nil)
	in.Beds = append(in.Beds, farm.Bed{Code: "B2", LengthM: 10, WidthM: 1.2, Site: farm.Outdoor})
	in.Tasks = []monthplan.Task{
		{ID: "count:B1", Kind: monthplan.Look, Bed: "B1", Pest: "thrips", Text: "Count thrips", Minutes: 30},
		{ID: "count:B2", Kind: monthplan.Look, Bed: "B2", Pest: "thrips", Text: "Count thrips", Minutes: 30},
	}
	first := func(a, b string) {
		t.Helper()
		p := monthplan.Make(in)
		require.False(t, slot(t, p, "count:"+b).Start.Before(slot(t, p, "count:"+a).End), "%s before %s", a, b)
		require.Equal(t, slot(t, p, "count:"+a).Date, slot(t, p, "count:"+b).Date)
	}
	first("B1", "B2")
	in.Sick = map[string]bool{"B1": true}
	first("B2", "B1")
	in.Tasks[0].By = civil.MustParse("2026-07-20") // what is wanted sooner stays first
	in.Tasks[1].By = civil.MustParse("2026-07-25")
	first("B1", "B2")
}

// The cutting days of the week after the plan count: on its last day no product
// closes a bed that is to be cut two days later.
func TestMake_MindsTheCuttingAfterThePlan(t *testing.T) {
	in := base(func(l *farm.Label) { l.REIHours = farm.Value(96.0) })
	in.Days = 7 // Monday 20 to Sunday 26 July
	in.Cut = map[string][]time.Weekday{"B1": {time.Monday, time.Wednesday, time.Friday}}
	place := func() (civil.Date, bool) {
		for _, s := range monthplan.Make(in).Slots {
			if s.Kind == monthplan.Applying {
				return s.Date, true
			}
		}
		return civil.Date{}, false
	}
	_, ok := place() // no four days lie between two of them
	require.False(t, ok)
	// Thursday 07:15 and 96 hours is Monday 07:15: after the cutting at 06:00 of
	// Monday the 27th, and well before that of Tuesday the 28th.
	in.Cut["B1"] = []time.Weekday{time.Monday}
	_, ok = place()
	require.False(t, ok)
	in.Cut["B1"] = []time.Weekday{time.Tuesday}
	d, ok := place()
	require.True(t, ok)
	require.Equal(t, "2026-07-23", d.String())
}
